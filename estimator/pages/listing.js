// A table to read with buttons in its rows; a click goes up as [what, which row].

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

function render({ model, el }) {
  el.classList.add("est-listing");
  const draw = () => {
    const at = document.activeElement?.closest?.("[data-act]");
    const had = at && el.contains(at) ? [at.dataset.act, at.dataset.key] : null;
    const heads = model.get("heads"), rows = model.get("rows");
    const acts = rows.some(row => row.buttons.length);
    const side = (place, cell) => heads[place].right ? "n" : /^\d{4}-\d\d-\d\d$/.test(cell) ? "est-day" : "";
    const table = make("table", { class: "est-read", "data-testid": model.get("name") },
      make("thead", {}, make("tr", {}, ...heads.map((one, place) => make("th", { scope: "col", class: side(place) }, one.label)),
        ...(acts ? [make("td", {})] : []))),
      make("tbody", {}, ...rows.map(row => make("tr", { class: row.chosen ? "est-chosen" : "", "aria-current": row.chosen ? "true" : "" },
        ...row.cells.map((cell, place) => make(place ? "td" : "th", { scope: place ? "" : "row", class: side(place, cell) }, cell)),
        ...(acts ? [make("td", { class: "est-acts" }, ...row.buttons.map(one => {
          const node = make("button", { type: "button", class: "est-button est-small", "aria-label": one.said,
                                        "data-act": one.act, "data-key": row.key }, one.label);
          node.addEventListener("click", () => model.send({ act: [one.act, row.key] }));
          return node;
        }))] : [])))));
    el.replaceChildren(...(rows.length
      ? [make("div", { class: "est-scroll", tabindex: "0", role: "region", "aria-label": model.get("title") }, table)]
      : [make("p", {}, model.get("empty"))]));
    if (had) {
      const there = [...el.querySelectorAll("[data-act]")].filter(one => one.dataset.key === had[1]);
      (there.find(one => one.dataset.act === had[0]) || there[0])?.focus();
    }
  };
  model.on("change:rows", draw);
  draw();
  return () => model.off("change:rows", draw);
}

export default { render };
