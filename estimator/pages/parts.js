// Buttons that lead to the parts of a page; the one that is open says so.

function render({ model, el }) {
  const bar = document.createElement(model.get("main") ? "nav" : "div");
  bar.className = model.get("main") ? "est-parts est-parts-main" : "est-parts";
  bar.setAttribute("aria-label", model.get("title"));
  if (!model.get("main")) bar.setAttribute("role", "group");
  el.append(bar);
  const draw = () => {
    const current = model.get("current");
    if (bar.childElementCount !== model.get("parts").length)
      bar.replaceChildren(...model.get("parts").map(([key, words]) => {
        const node = document.createElement("button");
        node.type = "button";
        node.textContent = words;
        node.dataset.key = key;
        node.addEventListener("click", () => model.send({ go: key }));
        return node;
      }));
    for (const node of bar.children) {
      const here = node.dataset.key === current;
      model.get("main") ? node.setAttribute("aria-current", here ? "page" : "false")
        : node.setAttribute("aria-pressed", String(here));
    }
  };
  model.on("change:current change:parts", draw);
  draw();
  return () => model.off("change:current change:parts", draw);
}

export default { render };
