// A table of choices: native check boxes and fields a row, each with a name of its own. Columns
// and rows come down; what is typed goes up as [row, column, value], what is wrong comes back.

function render({ model, el }) {
  const region = document.createElement("div");
  Object.assign(region, { className: "est-scroll est-chosen-rows", tabIndex: 0 });
  region.dataset.testid = `table-${model.get("name")}`;
  region.setAttribute("role", "region");
  region.setAttribute("aria-label", model.get("title"));
  el.append(region);
  const fields = new Map();
  const waiting = new Map();
  let drawn = "";

  const send = (id, column, value) => model.send({ edit: [id, column, value] });
  const later = (key, id, column, input) => {
    clearTimeout(waiting.get(key)?.timer);
    const now = () => { waiting.delete(key); send(id, column, input.value); };
    waiting.set(key, { now, timer: setTimeout(now, 500) });
  };
  // What was typed goes out before the page is hidden or closed.
  const leaving = () => waiting.forEach(({ now, timer }) => { clearTimeout(timer); now(); });
  const cell = (row, tag, text, name = "") => {
    const node = document.createElement(tag);
    node.textContent = text;
    node.className = name;
    row.append(node);
    return node;
  };
  const field = (row, column) => {
    const input = document.createElement("input");
    const key = `${row.id} ${column.key}`;
    input.type = { check: "checkbox", date: "date" }[column.kind] || "text";
    if (column.kind === "number") input.inputMode = "decimal";
    input.className = `est-in-${column.kind}`;
    input.dataset.lmSuppressShortcuts = "true";
    input.setAttribute("aria-label", `${column.label}, ${row.title}`);
    if (column.kind === "check")
      input.addEventListener("change", () => send(row.id, column.key, input.checked ? "yes" : ""));
    else {
      input.addEventListener("change", () => {
        clearTimeout(waiting.get(key)?.timer);
        waiting.delete(key);
        send(row.id, column.key, input.value);
      });
      if (column.kind !== "date") input.addEventListener("input", () => later(key, row.id, column.key, input));
    }
    return input;
  };
  const draw = () => {
    const rows = model.get("rows"), columns = model.get("columns");
    const wanted = JSON.stringify([columns, rows.map(row => [row.id, row.title, row.note])]);
    if (wanted !== drawn) {
      drawn = wanted;
      fields.clear();
      region.replaceChildren();
      if (!rows.length) {
        const said = document.createElement("p");
        said.textContent = model.get("empty");
        region.append(said);
        return;
      }
      const table = document.createElement("table");
      table.className = "est-read";
      const head = table.createTHead().insertRow();
      for (const column of columns.filter(one => one.kind === "check")) cell(head, "th", column.label).scope = "col";
      cell(head, "th", model.get("head")).scope = "col";
      for (const column of columns.filter(one => one.kind !== "check")) cell(head, "th", column.label).scope = "col";
      const body = table.createTBody();
      for (const row of rows) {
        const tr = body.insertRow();
        const put = column => {
          const td = cell(tr, "td", ""), input = field(row, column), said = document.createElement("div");
          said.className = "est-wrong";
          said.setAttribute("role", "alert");
          said.id = `wrong-${model.get("name")}-${fields.size}`;
          td.append(input, said);
          fields.set(`${row.id} ${column.key}`, { input, said });
        };
        columns.filter(one => one.kind === "check").forEach(put);
        const name = cell(tr, "th", row.title);
        name.scope = "row";
        if (row.note) {
          const small = document.createElement("small");
          small.textContent = row.note;
          name.append(document.createElement("br"), small);
        }
        columns.filter(one => one.kind !== "check").forEach(put);
      }
      region.append(table);
    }
    for (const row of rows) for (const column of columns) {
      const { input, said } = fields.get(`${row.id} ${column.key}`);
      const value = row.cells[column.key] || "", wrong = (row.wrong || {})[column.key] || "";
      if (column.kind === "check") input.checked = Boolean(value);
      else if (document.activeElement !== input) input.value = value;
      if (column.kind !== "check") input.placeholder = (row.hints || {})[column.key] || "";
      if (said.textContent !== wrong) said.textContent = wrong;
      if (wrong) {
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", said.id);
      } else {
        input.removeAttribute("aria-invalid");
        input.removeAttribute("aria-describedby");
      }
    }
  };
  model.on("change:rows", draw);
  draw();
  document.addEventListener("visibilitychange", leaving);
  window.addEventListener("pagehide", leaving);
  return () => {
    leaving();
    model.off("change:rows", draw);
    document.removeEventListener("visibilitychange", leaving);
    window.removeEventListener("pagehide", leaving);
  };
}

export default { render };
