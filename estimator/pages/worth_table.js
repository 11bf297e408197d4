// What each line that can be left out is worth: a native table with a number field a row, blank
// where the line's price stands for it. Rows come down; edits go up, [id, text].

function render({ model, el }) {
  const table = document.createElement("table");
  table.className = "est-read est-worth";
  const region = document.createElement("div");
  Object.assign(region, { className: "est-scroll est-narrow", tabIndex: 0 });
  region.setAttribute("role", "region");
  region.setAttribute("aria-label", "What each line is worth");
  region.append(table);
  el.append(region);
  const fields = new Map();
  let drawn = "";

  const cell = (row, tag, text, name = "") => {
    const node = document.createElement(tag);
    node.textContent = text;
    node.className = name;
    row.append(node);
    return node;
  };
  const draw = () => {
    const rows = model.get("rows");
    const wanted = JSON.stringify(rows.map(row => [row.id, row.no, row.title]));
    if (wanted !== drawn) {
      drawn = wanted;
      fields.clear();
      table.replaceChildren();
      const head = table.createTHead().insertRow();
      for (const [said, name] of [["Line", ""], ["Price now", "n"], ["Worth to the customer", "n"]])
        cell(head, "th", said, name).scope = "col";
      const body = table.createTBody();
      for (const row of rows) {
        const tr = body.insertRow();
        cell(tr, "th", `${row.no} ${row.title}`).scope = "row";
        const price = cell(tr, "td", "", "n");
        const input = document.createElement("input");
        Object.assign(input, { type: "text", inputMode: "decimal" });
        input.setAttribute("aria-label", `Worth to the customer, line ${row.no}, ${row.title}`);
        input.addEventListener("change", () => model.send({ worth: [row.id, input.value] }));
        cell(tr, "td", "", "n").append(input);
        fields.set(row.id, { price, input });
      }
    }
    for (const row of rows) {
      const { price, input } = fields.get(row.id);
      price.textContent = row.price;
      input.placeholder = row.price;
      if (document.activeElement !== input) input.value = row.worth;
      row.wrong ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid");
      input.title = row.wrong || "";
    }
  };
  model.on("change:rows", draw);
  draw();
  return () => model.off("change:rows", draw);
}

export default { render };
