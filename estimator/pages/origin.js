// The panel that says where a figure comes from. Whatever has `data-figure` opens it; levels of the
// tree come down one by one, when they are opened. Words are set as text, never as markup.

const PATIENCE_MS = 200; // before an answer that is still on its way is said to be
const GAP = 12, TOP = 64; // px; the top is left to the page's own banner
const SIDE_BY_SIDE = 1080; // px; below, the panel goes under or over the figure

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children.filter(child => child !== "" && child !== null));
  return node;
}

function render({ model, el }) {
  el.classList.add("est-origin-place");
  const id = `est-origin-${Math.random().toString(36).slice(2)}`;
  const title = make("h2", { id, tabindex: "-1" });
  const shut = make("button", { type: "button", class: "est-shut", "aria-label": "Close",
                                title: "Close (Esc)" }, "×");
  const note = make("div", { class: "est-note", role: "status" });
  const body = make("div", { class: "est-tree", tabindex: "0", role: "group",
                             "aria-label": "How it comes about" });
  const panel = make("dialog", { popover: "manual", class: "est-origin", "aria-labelledby": id,
                                 "data-testid": "origin" },
                     make("header", {}, title, shut), note, body);
  el.append(panel);

  let ask = 0;
  let open = null; // { key, of } of the figure that is open
  let timer = null;
  const waiting = new Map(); // path → list to be filled

  const page = () => el.closest(".est-page");
  const figure = () => open && page()?.querySelector(
    `[data-figure="${CSS.escape(open.key)}"][data-of="${CSS.escape(open.of)}"]`);

  function place(from) {
    const wide = innerWidth > SIDE_BY_SIDE;
    const at = (from.closest(".est-strip") ?? from).getBoundingClientRect();
    const style = panel.style;
    if (wide) {
      // On the right if there is room, so that what stands before the figure can still be read.
      const room = innerWidth - at.right - 2 * GAP;
      const left = room < 480;
      const width = Math.min(640, left ? at.left - 2 * GAP : room);
      style.left = `${left ? at.left - GAP - width : at.right + GAP}px`;
      style.width = `${width}px`;
      style.top = `${TOP}px`;
      style.bottom = "auto";
      style.maxHeight = `${innerHeight - TOP - GAP}px`;
    } else {
      const below = innerHeight - at.bottom > at.top - TOP;
      style.left = `${GAP}px`;
      style.width = `${document.documentElement.clientWidth - 2 * GAP}px`;
      style.top = below ? `${at.bottom + GAP}px` : "auto";
      style.bottom = below ? "auto" : `${innerHeight - at.top + GAP}px`;
      style.maxHeight = `${(below ? innerHeight - at.bottom : at.top - TOP) - 2 * GAP}px`;
    }
  }

  function reveal() {
    clearTimeout(timer);
    if (!open) return;
    const from = figure();
    if (from) { place(from); from.setAttribute("aria-expanded", "true"); }
    if (!panel.matches(":popover-open")) panel.showPopover();
    title.focus();
  }

  function look(key, of) {
    figure()?.removeAttribute("aria-expanded");
    open = { key, of };
    ask += 1;
    waiting.clear();
    model.send({ open: key, of, ask });
    clearTimeout(timer);
    timer = setTimeout(() => {
      title.replaceChildren("Looking it up …");
      note.replaceChildren();
      body.replaceChildren();
      reveal();
    }, PATIENCE_MS);
  }

  function close() {
    clearTimeout(timer);
    const from = figure();
    from?.removeAttribute("aria-expanded");
    open = null;
    ask += 1;
    waiting.clear();
    if (panel.matches(":popover-open")) panel.hidePopover();
    model.send({ close: 1 });
    (from ?? page()?.querySelector("[data-figure]"))?.focus();
  }

  function rests(row) {
    if (!row || !row.at) return "";
    return make("span", { class: "est-row" },
      make("b", {}, row.at), row.columns ? `: ${row.columns}` : "",
      ...row.rests.flatMap(([name, said]) =>
        [make("span", {}, make("i", {}, `${name} `), said)]));
  }

  function item(step, path) {
    const words = [
      make("span", { class: "est-value" }, step.value),
      make("span", { class: "est-said" }, make("span", { class: "est-name" }, step.name),
           step.how ? make("span", { class: "est-how" }, step.how) : "", rests(step.row))];
    if (!step.more) return make("li", {}, make("div", { class: "est-leaf" }, ...words));
    const list = make("ul");
    const details = make("details", {}, make("summary", {}, ...words), list);
    details.addEventListener("toggle", () => {
      const at = path.join(".");
      if (!details.open || list.childElementCount || waiting.has(at)) return;
      waiting.set(at, list);
      model.send({ more: path, ask });
    });
    return make("li", {}, details);
  }

  const fill = (list, steps, path) =>
    list.replaceChildren(...steps.map((step, place) => item(step, [...path, place])));

  function hear(message) {
    if (message.ask !== ask || !open) return;
    if (message.opened) {
      const { opened } = message;
      title.replaceChildren(make("span", {}, opened.name), " ", make("b", {}, opened.figure));
      const list = make("ul");
      fill(list, opened.steps, []);
      body.replaceChildren(
        make("p", { class: "est-root" },
             [opened.value, opened.how].filter(said => said).join(": ")),
        rests(opened.row), list);
      body.scrollTop = 0;
      state();
      reveal();
    } else if (message.at) {
      const list = waiting.get(message.at.join("."));
      waiting.delete(message.at.join("."));
      if (list) fill(list, message.steps, message.at);
    } else if (message.faults) {
      title.replaceChildren("Where this comes from");
      body.replaceChildren(make("div", { class: "est-fault", role: "alert", "data-testid": "fault" },
        make("ul", {}, ...message.faults.map(([at, what, fix]) =>
          make("li", {}, at ? make("b", {}, `${at} `) : "", what, fix ? make("i", {}, ` ${fix}`) : "")))));
      reveal();
    }
  }

  function state() {
    const now = model.get("state");
    if (now === "unpriced") {
      note.replaceChildren(make("p", {}, "There is no new price yet: this is from the last one."));
    } else if (now === "changed") {
      const again = make("button", { type: "button", class: "est-button" }, "Show the new one");
      again.addEventListener("click", () => look(open.key, open.of));
      note.replaceChildren(
        make("p", {}, "The job was changed: this is the figure before."), again);
    } else note.replaceChildren();
  }

  const clicked = event => {
    const from = event.target.closest?.("[data-figure]");
    if (from && from.closest(".est-page") === page()) look(from.dataset.figure, from.dataset.of ?? "");
  };
  const keyed = event => {
    // In a field Escape is for the field.
    if (event.key !== "Escape" || !open || event.defaultPrevented) return;
    const at = event.target;
    if (!panel.contains(at) && at !== document.body && !at.closest?.("[data-figure]")) return;
    event.preventDefault();
    close();
  };
  const sized = () => { const from = figure(); if (from) place(from); };
  shut.addEventListener("click", close);
  document.addEventListener("click", clicked);
  document.addEventListener("keydown", keyed);
  window.addEventListener("resize", sized);
  model.on("change:state", state);
  model.on("msg:custom", hear);
  return () => {
    clearTimeout(timer);
    document.removeEventListener("click", clicked);
    document.removeEventListener("keydown", keyed);
    window.removeEventListener("resize", sized);
    model.off("change:state", state);
    model.off("msg:custom", hear);
  };
}

export default { render };
