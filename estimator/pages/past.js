// Quotes sent: a native table with a native list each for what came of it. Rows come down in
// `rows`; a choice goes up as a message, and its row comes back as it is kept.

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

function render({ model, el }) {
  const lists = new Map(); // number → select
  const heads = model.get("heads");
  const figures = heads.length - 3; // the two before the outcome stand right
  const body = make("tbody");
  const table = make("table", { class: "est-read", "data-testid": "sent" },
    make("thead", {}, make("tr", {}, ...heads.map((said, at) =>
      make("th", { scope: "col", class: at >= figures && at < figures + 2 ? "n" : "" }, said)))),
    body);
  el.classList.add("est-sent");
  el.append(make("div", { class: "est-scroll", tabindex: "0", role: "region",
                          "aria-label": "Quotes sent" }, table));

  const list = row => {
    const node = make("select", { "aria-label": `Outcome of quote ${row.number}` },
      ...model.get("outcomes").map(word => make("option", { value: word }, word)));
    node.addEventListener("change", () => model.send({ decide: [row.number, node.value] }));
    lists.set(row.number, node);
    return node;
  };
  const still = row => JSON.stringify([row.number, row.words, row.figures]);
  let drawn = "";
  const draw = () => {
    const rows = model.get("rows");
    const wanted = rows.map(still).join();
    // Lists stay where they are while only outcomes change: somebody may be choosing.
    if (wanted !== drawn) {
      drawn = wanted;
      lists.clear();
      body.replaceChildren(...rows.map(row => make("tr", {},
        make("th", { scope: "row" }, row.number),
        ...row.words.map(said => make("td", {}, said)),
        ...row.figures.map(said => make("td", { class: "n" }, said)),
        make("td", {}, list(row)))));
    }
    for (const row of rows) lists.get(row.number).value = row.outcome;
  };
  model.on("change:rows", draw);
  model.on("msg:custom", draw);
  draw();
  return () => {
    model.off("change:rows", draw);
    model.off("msg:custom", draw);
  };
}

export default { render };
