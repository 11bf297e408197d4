// A figure that can be typed or slid: a number field and a slider that show the same value.

const TIMES = 50; // ms between answers while a thumb moves, so that figures can follow

function render({ model, el }) {
  const name = model.get("label");
  const id = `est-slider-${Math.random().toString(36).slice(2)}`;
  el.classList.add("est-slider");
  const label = document.createElement("label");
  label.className = "widget-label";
  label.htmlFor = id;
  label.textContent = name;
  const number = document.createElement("input");
  Object.assign(number, { id, type: "number", step: "any", inputMode: "decimal" });
  const range = document.createElement("input");
  range.type = "range";
  range.setAttribute("aria-label", `${name.replace(/,.*$/, "")}, slider`);
  for (const end of ["min", "max", "step"]) range[end] = model.get(end);
  for (const field of [number, range]) field.title = model.get("help");
  el.append(label, number, range);

  let timer = null;
  let wanted = null;
  let last = 0;
  const send = () => {
    clearTimeout(timer);
    timer = null;
    last = Date.now();
    if (wanted === null || wanted === model.get("value")) return;
    model.set("value", wanted);
    model.save_changes();
  };
  const want = (value, soon) => {
    wanted = value;
    if (soon || Date.now() - last > TIMES) send();
    else if (timer === null) timer = setTimeout(send, TIMES);
  };
  const slid = () => {
    number.value = range.value;
    number.removeAttribute("aria-invalid");
    want(Number(range.value), false);
  };
  const typed = () => {
    const said = number.value.trim();
    const good = said !== "" && Number.isFinite(Number(said));
    good ? number.removeAttribute("aria-invalid") : number.setAttribute("aria-invalid", "true");
    if (!good) return;
    range.value = said;
    want(Number(said), true);
  };
  const left = () => {
    if (number.value.trim() === "") show();
  };
  const show = () => {
    // What is being typed is not taken from under the fingers.
    if (document.activeElement !== number || Number(number.value) !== model.get("value"))
      number.value = model.get("value");
    if (document.activeElement !== range) range.value = model.get("value");
    number.removeAttribute("aria-invalid");
  };
  range.addEventListener("input", slid);
  range.addEventListener("change", send);
  number.addEventListener("change", typed);
  number.addEventListener("blur", left);
  model.on("change:value", show);
  show();
  return () => {
    clearTimeout(timer);
    model.off("change:value", show);
  };
}

export default { render };
