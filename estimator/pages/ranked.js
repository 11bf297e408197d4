// A table that is put in order by a click on a heading. Cells come down as words and, where they
// can be ordered, as numbers too; a blank one is last in either order.

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

function render({ model, el }) {
  el.classList.add("est-ranked");
  let by = -1, down = true; // the column, and whether the greatest is first
  const draw = () => {
    const at = document.activeElement?.closest?.("[data-column]");
    const had = at && el.contains(at) ? at.dataset.column : null;
    const left = el.querySelector(".est-scroll")?.scrollLeft || 0;
    const heads = model.get("heads"), rows = [...model.get("rows")];
    if (by >= 0) rows.sort((a, b) => {
      const [x, y] = [a.values[by], b.values[by]];
      if (x === null || y === null) return (x === null) - (y === null);
      return down ? y - x : x - y;
    });
    const head = (one, place) => {
      const side = one.right ? "n" : "";
      if (!one.sorts) return make("th", { scope: "col", class: side }, one.label);
      const mark = place !== by ? "" : down ? " ▼" : " ▲";
      const button = make("button", { type: "button", "data-column": String(place), title: "Put in order by this" },
        one.label, make("span", { "aria-hidden": "true" }, mark));
      button.addEventListener("click", () => {
        down = place === by ? !down : one.first !== "up";
        by = place;
        draw();
      });
      return make("th", { scope: "col", class: side, "aria-sort": place === by ? (down ? "descending" : "ascending") : "none" }, button);
    };
    const table = make("table", { class: "est-read", "data-testid": model.get("name") },
      make("thead", {}, make("tr", {}, ...heads.map(head))),
      make("tbody", {}, ...rows.map(row => make("tr", { class: row.chosen ? "est-chosen" : "", "data-key": row.key },
        ...row.cells.map((cell, place) => make(place ? "td" : "th", { scope: place ? "" : "row", class: heads[place].right ? "n" : "" }, cell))))));
    const region = make("div", { class: "est-scroll", tabindex: "0", role: "region", "aria-label": model.get("title") }, table);
    el.replaceChildren(region);
    region.scrollLeft = left;
    if (had !== null) el.querySelector(`[data-column="${had}"]`)?.focus();
  };
  model.on("change:rows change:heads", draw);
  draw();
  return () => model.off("change:rows change:heads", draw);
}

export default { render };
