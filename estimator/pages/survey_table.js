// The survey table: native fields in a native table. Rows come down once in `rows`; edits go up
// as messages, gathered, [[id, column, value], …]; prices and marks come down by themselves, so
// that an answer never redraws a field that somebody is typing in.

const GATHER_MS = 150;
const FIELDS = ["count", "condition", "certainty", "measure", "note"];
const WORDS = { count: "Count", condition: "Condition", certainty: "Certainty", note: "Note" };

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name === "text") node.textContent = value;
    else if (name === "value") node.value = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children);
  return node;
}

// What a field may hold; null where it is fine, else what to do about it.
function wrong(column, read) {
  const said = read.trim().replace(",", ".");
  if (column === "count" && said !== "" && !/^\d{1,4}$/.test(said))
    return "write a whole number from 0 to 9999";
  if (column === "measure" && said !== "" && !(/^\d*\.?\d+$/.test(said) && Number(said) > 0))
    return "write a number over 0, or leave it blank for the usual one";
  return null;
}

function render({ model, el }) {
  const pending = new Map();
  let timer = null;
  const rows = new Map(); // id → {row, cells, tr, good}

  const flush = () => {
    clearTimeout(timer);
    timer = null;
    if (!pending.size) return;
    model.send({ edits: [...pending.values()] });
    pending.clear();
  };
  const send = (id, column, value, soon) => {
    pending.set(`${id} ${column}`, [id, column, value]);
    clearTimeout(timer);
    timer = setTimeout(flush, soon ? 0 : GATHER_MS);
  };

  const own = `est-survey-${Math.random().toString(36).slice(2)}`;
  // A survey has some hundred fields: with the keyboard one may go past them.
  const past = make("button", { type: "button", class: "est-button est-past", text: "Past the lines" });
  past.addEventListener("click", () => foot.querySelector("select").focus());
  const body = make("div", { class: "est-table-scroll" });
  const said = make("p", { class: "est-table-said", role: "status", "aria-live": "polite" });
  const foot = make("div", { class: "est-table-foot" });
  el.classList.add("est-table");
  el.append(past, body, said, foot);

  const columnOf = (row, field) => (field !== "measure" ? field : row.measure);
  const label = (row, field) =>
    `${field === "measure" ? `Size of one in ${row.measure === "area_cm2" ? "cm²" : "mm"}`
                           : WORDS[field]}, row ${row.no}`;

  function mark(entry, field, message) {
    const node = entry.cells[field];
    if (!node) return;
    if (message) {
      node.setAttribute("aria-invalid", "true");
      node.title = message;
    } else {
      node.removeAttribute("aria-invalid");
      node.title = field === "condition" ? signs(entry.row, node.value)
                 : field === "note" ? node.value : "";
    }
  }

  function signs(row, condition) {
    return row.signs[condition] || "";
  }

  function tell(entry, field) {
    const node = entry.cells[field];
    if (node && node.getAttribute("aria-invalid") === "true") {
      said.textContent = `Row ${entry.row.no}, ${label(entry.row, field).split(",")[0].toLowerCase()}: ${node.title}.`;
      said.classList.add("est-bad");
      return;
    }
    said.classList.remove("est-bad");
    if (field !== "condition") { said.textContent = ""; return; }
    const known = Object.entries(entry.row.signs).filter(([, text]) => text);
    said.textContent = known.length
      ? `${entry.row.name}: ` + known.map(([name, text]) => `${name}: ${text}`).join("; ") + "."
      : "";
  }

  function changed(entry, field, soon) {
    const node = entry.cells[field];
    const fault = node.tagName === "INPUT" ? wrong(field, node.value) : null;
    if (fault) {
      const column = columnOf(entry.row, field);
      pending.delete(`${entry.row.id} ${column}`);
      const good = entry.good[field];
      mark(entry, field, `${fault}; ${good === "" ? "nothing" : good} still counts`);
      tell(entry, field);
      return;
    }
    const value = node.value;
    const same = value === entry.good[field] && node.getAttribute("aria-invalid") !== "true";
    mark(entry, field, null);
    tell(entry, field);
    if (same && !pending.has(`${entry.row.id} ${columnOf(entry.row, field)}`)) return;
    entry.good[field] = value;
    if (field === "count") entry.tr.classList.toggle("est-none", value.trim() === "0");
    send(entry.row.id, columnOf(entry.row, field), value, soon);
  }

  function move(entry, field, step) {
    const shown = [...body.querySelectorAll("tr[data-id]")];
    for (let at = shown.indexOf(entry.tr) + step; at >= 0 && at < shown.length; at += step) {
      const node = rows.get(Number(shown[at].dataset.id)).cells[field];
      if (node && !node.disabled) {
        node.focus();
        if (node.select) node.select();
        return;
      }
    }
  }

  function listen(entry, field) {
    const node = entry.cells[field];
    const typed = node.tagName === "INPUT" && node.type === "text";
    node.addEventListener(typed ? "input" : "change", () => changed(entry, field, !typed));
    node.addEventListener("focus", () => {
      // JupyterLab takes letters typed on a drop-down as commands to the notebook, unless told.
      node.setAttribute("data-lm-suppress-shortcuts", "true");
      tell(entry, field);
    });
    node.addEventListener("blur", flush);
    node.addEventListener("keydown", event => {
      if (event.key === "Enter" && !event.isComposing) {
        event.preventDefault();
        flush();
        move(entry, field, event.shiftKey ? -1 : 1);
      } else if (event.key === "Escape" && typed) {
        node.value = entry.good[field];
        changed(entry, field, true);
      }
    });
  }

  function select(options, value, name) {
    const node = make("select", { "aria-label": name });
    if (!value) node.append(make("option", { value: "", text: "choose …" }));
    for (const word of options) node.append(make("option", { value: word, text: word }));
    node.value = value || "";
    return node;
  }

  function draw(row) {
    const entry = { row, cells: {}, good: {} };
    const { conditions, certainties } = model.get("choices");
    const keep = make("input", {
      type: "checkbox", "aria-label": `In the price, row ${row.no}`, disabled: !row.droppable,
      title: row.droppable ? "Untick what the customer leaves out."
                           : "The rest of the work depends on it.",
    });
    keep.checked = row.keep;
    keep.addEventListener("change", () => {
      entry.tr.classList.toggle("est-out", !keep.checked);
      send(row.id, "keep", keep.checked, true);
    });
    keep.addEventListener("keydown", event => {
      if (event.key === "Enter") { event.preventDefault(); move(entry, "keep", event.shiftKey ? -1 : 1); }
    });
    entry.cells.keep = keep;
    const input = (field, attributes) => make("input", {
      type: "text", autocomplete: "off", "aria-label": label(row, field), ...attributes });
    entry.cells.count = input("count", { inputmode: "numeric", value: row.count, class: "est-figure" });
    entry.cells.condition = select(conditions, row.condition, label(row, "condition"));
    entry.cells.certainty = select(certainties, row.certainty, label(row, "certainty"));
    if (row.measure)
      entry.cells.measure = input("measure", { inputmode: "decimal", value: row.size,
        placeholder: row.usual, class: "est-figure" });
    entry.cells.note = input("note", { value: row.note, maxlength: 2000 });
    for (const field of FIELDS)
      if (entry.cells[field]) { entry.good[field] = entry.cells[field].value; listen(entry, field); }
    entry.price = make("output", { "data-testid": `price-row-${row.no}`, "aria-live": "off",
                                   "aria-label": `Price, row ${row.no}` });
    const remove = make("button", { type: "button", class: "est-remove", text: "×",
      "aria-label": `Remove row ${row.no}, ${row.name}`, title: "Remove the line" });
    remove.addEventListener("click", () => { flush(); model.send({ remove: row.id }); });
    const unit = row.measure ? make("span", { class: "est-unit", "aria-hidden": "true",
      text: row.measure === "area_cm2" ? "cm²" : "mm" }) : "";
    const named = `${own}-${row.id}`;
    entry.tr = make("tr", { "data-id": row.id },
      make("td", { class: "c-keep" }, keep),
      make("th", { scope: "row", class: "c-name" },
        make("span", { class: "est-no", text: row.no }), make("span", { id: named, text: row.name })),
      make("td", { class: "c-count" }, entry.cells.count),
      make("td", { class: "c-condition" }, entry.cells.condition),
      make("td", { class: "c-certainty" }, entry.cells.certainty),
      make("td", { class: "c-measure" }, entry.cells.measure || "", unit),
      make("td", { class: "c-note" }, entry.cells.note),
      make("td", { class: "c-price" }, entry.price),
      make("td", { class: "c-remove" }, remove));
    entry.tr.classList.toggle("est-out", !row.keep);
    entry.tr.classList.toggle("est-none", String(row.count) === "0");
    rows.set(row.id, entry);
    // Of which assembly a row is, for those who hear the fields one by one.
    for (const node of Object.values(entry.cells)) node.setAttribute("aria-describedby", named);
    mark(entry, "condition", null);
    mark(entry, "note", null);
    return entry.tr;
  }

  function drawAll() {
    const focused = document.activeElement;
    const tr = el.contains(focused) ? focused.closest("tr[data-id]") : null;
    const old = tr && rows.get(Number(tr.dataset.id));
    const field = old && Object.keys(old.cells).find(name => old.cells[name] === focused);
    const at = tr && [...body.querySelectorAll("tr[data-id]")].indexOf(tr);
    const scroll = body.scrollTop;
    rows.clear();
    const head = make("thead", {}, make("tr", {},
      ...[["In", "c-keep"], ["Assembly", "c-name"], ["Count", "c-count"],
          ["Condition", "c-condition"], ["Certainty", "c-certainty"], ["Size of one", "c-measure"],
          ["Note", "c-note"], ["Price", "c-price"]]
        .map(([text, cls]) => make("th", { scope: "col", class: cls, text })),
      make("td", { class: "c-remove" })));
    const table = make("table", { "aria-label": "Survey" }, head);
    let group = null;
    let part = null;
    for (const row of model.get("rows")) {
      if (row.group !== group) {
        group = row.group;
        part = make("tbody", {}, make("tr", { class: "est-group" },
          make("th", { colspan: 9, scope: "rowgroup", text: group })));
        table.append(part);
      }
      part.append(draw(row));
    }
    body.replaceChildren(table);
    body.scrollTop = scroll;
    drawPrices();
    drawMarks();
    drawFoot();
    const still = old && rows.get(old.row.id);
    if (still) (still.cells[field] ?? still.tr.querySelector(`button.${focused.className}`))?.focus();
    else if (tr) { // Taken out by its own button: that of the next line stands in its place.
      const left = [...body.querySelectorAll(".est-remove")];
      (left[at] ?? left.at(-1) ?? foot.querySelector("select")).focus();
    }
  }

  function drawPrices() {
    const prices = model.get("prices");
    const opens = model.get("opens");
    for (const [id, entry] of rows) {
      const said = prices[id] ?? "";
      const key = opens[id];
      let button = entry.price.querySelector("button");
      if (!key) {
        if (button || entry.price.textContent !== said) entry.price.textContent = said;
        continue;
      }
      if (!button) {
        button = make("button", { type: "button", class: "est-opens", "data-of": "",
          "aria-haspopup": "dialog", title: "Where this comes from" });
        entry.price.replaceChildren(button);
      }
      if (button.textContent === said && button.dataset.figure === key) continue;
      button.textContent = said;
      button.dataset.figure = key;
      button.setAttribute("aria-label",
        `Price of row ${entry.row.no}, ${entry.row.name}, ${said}: where this comes from`);
    }
  }

  function drawMarks() {
    const marks = model.get("marks");
    for (const [id, entry] of rows)
      for (const field of FIELDS) {
        const message = marks[id]?.[columnOf(entry.row, field)];
        const node = entry.cells[field];
        if (!node) continue;
        if (message) {
          mark(entry, field, message);
          node.dataset.told = "1";
          if (node === document.activeElement) tell(entry, field);
        } else if (node.dataset.told) {
          delete node.dataset.told;
          if (!(node.tagName === "INPUT" && wrong(field, node.value))) mark(entry, field, null);
        }
      }
  }

  function drawFoot() {
    const list = make("select", { "aria-label": "Assembly of the new line" },
                      make("option", { value: "", text: "Assembly …" }));
    const groups = new Map();
    for (const [value, name, group] of model.get("choices").assemblies) {
      if (!groups.has(group)) groups.set(group, make("optgroup", { label: group }));
      groups.get(group).append(make("option", { value, text: name }));
    }
    list.append(...groups.values());
    list.addEventListener("focus", () => list.setAttribute("data-lm-suppress-shortcuts", "true"));
    const add = make("button", { type: "button", class: "est-button", text: "Add line" });
    add.addEventListener("click", () => {
      if (!list.value) { list.focus(); return; }
      flush();
      model.send({ add: list.value });
      list.value = "";
    });
    foot.replaceChildren(list, add,
      make("span", { class: "est-count", text: `${rows.size} lines` }));
  }

  const focusOn = message => {
    if (!message.focus) return;
    const entry = rows.get(message.focus);
    if (!entry) return;
    entry.tr.scrollIntoView({ block: "center" });
    entry.cells.count.focus();
    entry.cells.count.select();
  };
  // What was typed goes out before the page is hidden or closed.
  const leaving = () => flush();
  model.on("change:rows", drawAll);
  model.on("change:prices change:opens", drawPrices);
  model.on("change:marks", drawMarks);
  model.on("msg:custom", focusOn);
  document.addEventListener("visibilitychange", leaving);
  window.addEventListener("pagehide", leaving);
  drawAll();
  return () => {
    flush();
    model.off("change:rows", drawAll);
    model.off("change:prices change:opens", drawPrices);
    model.off("change:marks", drawMarks);
    model.off("msg:custom", focusOn);
    document.removeEventListener("visibilitychange", leaving);
    window.removeEventListener("pagehide", leaving);
  };
}

export default { render };
