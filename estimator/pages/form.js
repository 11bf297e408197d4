// A form of native fields. What is typed goes up as it changes, so that it can be kept; a button
// sends all of it. Faults come back by field, questions are answered with a yes.

const HOLD_MS = 100;

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes))
    if (value !== false && value !== undefined && value !== "") node.setAttribute(name, value === true ? "" : value);
  node.append(...children);
  return node;
}

// `held` outlives the view, which goes and comes with its part of the page: number and value of
// each field's last edit, how many there were, and which layout they belong to.
function render(model, el, held) {
  const name = model.get("name");
  const inputs = new Map(); // field → its input
  const faults = new Map(); // field → where its fault stands
  let sure = [], act = "", waiting = 0;

  const grid = make("div", { class: "est-fields" });
  const general = make("div", {});
  const asked = make("div", {});
  const buttons = make("div", { class: "est-buttons" });
  const status = make("div", { role: "status", class: "est-form-status", "data-testid": `${name}-status` });
  const form = make("form", { class: "est-form", novalidate: true, "aria-label": model.get("title"),
                              "data-testid": `form-${name}` }, grid, general, asked, buttons, status);
  el.append(form);

  const values = () => Object.fromEntries([...inputs].map(([key, node]) => [key, node.value]));
  const send = (what, yes) => {
    clearTimeout(waiting);
    waiting = 0;
    act = what;
    model.send({ act: what, values: values(), sure: yes, at: held.count });
  };
  const typed = (name, at) => {
    held.edits.set(name, ++held.count);
    held.values.set(name, inputs.get(name).value);
    clearTimeout(waiting);
    sure = [];
    asked.replaceChildren();
    waiting = setTimeout(tell, at);
  };
  const tell = () => {
    waiting = 0;
    model.send({ typed: values(), at: held.count });
  };
  // What was typed goes out before the page is hidden or closed.
  const leaving = () => {
    if (!waiting) return;
    clearTimeout(waiting);
    tell();
  };

  const option = ([value, words]) => {
    const node = make("option", {}, words);
    node.value = value;
    return node;
  };
  const options = (node, found) => node.append(...found.map(one => Array.isArray(one[1])
    ? make("optgroup", { label: one[0] }, ...one[1].map(option)) : option(one)));
  const field = (one, again) => {
    const id = `${name}-${one.name}`;
    const choice = one.kind === "choice";
    const node = make(choice ? "select" : "input", {
      id, name: one.name, autocomplete: "off",
      type: choice ? false : ["number", "long"].includes(one.kind) ? "text" : one.kind,
      inputmode: one.kind === "number" ? "decimal" : false,
      list: !choice && one.options.length ? `${id}-list` : false,
      "aria-describedby": `${id}-help ${id}-fault`,
    });
    if (choice) options(node, one.options);
    node.value = one.value;
    // What was typed in this layout, or since Python last knew, is newer than what comes down.
    const mine = held.values.get(one.name);
    if (mine !== undefined && (again || held.edits.get(one.name) > model.get("seen"))) {
      node.value = mine;
      if (node.value !== mine) node.value = one.value;
    } else held.values.delete(one.name);
    node.addEventListener("input", () => { if (!choice) typed(one.name, HOLD_MS); });
    node.addEventListener("change", () => typed(one.name, 0));
    const fault = make("p", { id: `${id}-fault`, class: "est-field-fault", role: "alert" });
    fault.hidden = true;
    inputs.set(one.name, node);
    faults.set(one.name, fault);
    const found = make("div", { class: `est-field est-field-${one.kind}` },
      make("label", { for: id }, one.label), node,
      make("small", { id: `${id}-help` }, one.help), fault);
    if (!choice && one.options.length)
      found.append(make("datalist", { id: `${id}-list` }, ...one.options.map(word => make("option", { value: word }))));
    return found;
  };

  const build = () => {
    const there = document.activeElement;
    const at = [...inputs].find(([, node]) => node === there)?.[0];
    const typing = at && [there.selectionStart, there.selectionEnd];
    const again = model.get("turn") === held.turn;
    held.turn = model.get("turn");
    inputs.clear();
    faults.clear();
    grid.replaceChildren(...model.get("fields").map(one => field(one, again)));
    if (at && inputs.has(at)) {
      inputs.get(at).focus();
      // Where there is a place to type; a date or a choice has none.
      if (Number.isInteger(typing[0])) inputs.get(at).setSelectionRange?.(...typing);
    }
    mark();
  };
  const mark = () => {
    const found = model.get("faults");
    for (const [key, node] of inputs) {
      const said = found[key] || "";
      said ? node.setAttribute("aria-invalid", "true") : node.removeAttribute("aria-invalid");
      const place = faults.get(key);
      place.textContent = said;
      place.hidden = !said;
      said ? place.setAttribute("data-testid", "fault") : place.removeAttribute("data-testid");
    }
    const rest = model.get("general");
    general.replaceChildren(...(rest.length ? [make("div", { class: "est-fault", role: "alert", "data-testid": "fault" },
      make("ul", {}, ...rest.map(said => make("li", {}, said))))] : []));
  };
  const ask = () => {
    const found = model.get("questions");
    asked.replaceChildren();
    if (!found.length) return;
    const yes = make("button", { type: "button", class: "est-button est-first" }, model.get("yes"));
    const no = make("button", { type: "button", class: "est-button" }, "No, I will change it");
    yes.addEventListener("click", () => {
      sure = [...new Set([...sure, ...found.map(one => one.key)])];
      send(act || model.get("buttons")[0]?.act || "sure", sure);
    });
    no.addEventListener("click", () => {
      asked.replaceChildren();
      model.send({ no: 1 });
      [...inputs.values()][0]?.focus();
    });
    asked.append(make("div", { class: "est-asked", role: "alert", "data-testid": `${name}-asked` },
      make("p", {}, "Is this right?"), make("ul", {}, ...found.map(one => make("li", {}, one.text))),
      make("div", { class: "est-buttons" }, yes, no)));
    yes.focus();
  };
  const offer = () => buttons.replaceChildren(...model.get("buttons").map((one, place) => {
    const alone = place || !model.get("enter");
    const node = make("button", { type: alone ? "button" : "submit", class: `est-button${one.first ? " est-first" : ""}` }, one.label);
    if (alone) node.addEventListener("click", () => { sure = []; send(one.act, []); });
    return node;
  }));
  form.addEventListener("submit", event => {
    event.preventDefault();
    if (!model.get("enter")) return; // The first button has to be taken itself.
    const first = model.get("buttons")[0];
    if (first) { sure = []; send(first.act, []); }
  });
  const say = () => {
    status.textContent = model.get("status");
    // The question that was answered is gone, and the focus with it.
    if (status.textContent && document.activeElement === document.body) [...inputs.values()][0]?.focus();
  };
  const told = message => {
    if (message.focus !== undefined) {
      const node = inputs.get(message.focus) || [...inputs.values()][0];
      node?.focus();
      node?.scrollIntoView({ block: "nearest" });
    }
    if (message.wrong !== undefined) [...inputs.values()].find(one => one.getAttribute("aria-invalid"))?.focus();
  };
  const all = [["change:turn", build], ["change:faults change:general", mark], ["change:questions", ask],
               ["change:buttons", offer], ["change:status", say], ["msg:custom", told]];
  all.forEach(([event, what]) => model.on(event, what));
  build(); offer(); ask(); say();
  document.addEventListener("visibilitychange", leaving);
  window.addEventListener("pagehide", leaving);
  return () => {
    leaving();
    document.removeEventListener("visibilitychange", leaving);
    window.removeEventListener("pagehide", leaving);
    all.forEach(([event, what]) => model.off(event, what));
  };
}

export default () => {
  const held = { edits: new Map(), values: new Map(), count: 0, turn: -1 };
  return { render: ({ model, el }) => render(model, el, held) };
};
