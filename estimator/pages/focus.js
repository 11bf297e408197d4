// Keeps the focus where it was when what had it is drawn anew, or goes: on its like in the same
// place, else on the first that can have it in what is left around it. Else the keyboard begins
// at the top of the page again, and a reader of the screen falls silent.

const CAN = 'a[href], button, input, select, textarea, summary, [tabindex="0"]';
const MARKS = ["id", "name", "data-figure", "data-of", "data-act", "data-key", "role"];
const DRAWN_MS = 60; // those who redraw put the focus back themselves, if they can

function keepFocus(page) {
  let had = null, timer = 0;

  const shows = node => node.isConnected && node.getClientRects().length > 0 && !node.disabled;
  const like = node => {
    const marks = MARKS.filter(mark => node.hasAttribute(mark));
    if (node.hasAttribute("role")) marks.push("aria-label");
    return node.localName + marks.map(mark =>
      `[${mark}="${CSS.escape(node.getAttribute(mark) ?? "")}"]`).join("");
  };
  const placed = test => test && page.querySelector(`[data-testid="${CSS.escape(test)}"]`);
  const kin = (test, same) => {
    const place = placed(test);
    return place ? [...place.querySelectorAll(same)] : same.includes("[") ? [...page.querySelectorAll(same)] : [];
  };

  const came = event => {
    const node = event.target;
    if (!page.contains(node)) { had = null; return; }
    const same = like(node), test = node.closest("[data-testid]")?.dataset.testid;
    const around = [];
    for (let at = node.parentElement; at && at !== page; at = at.parentElement) around.push(at);
    had = { node, same, test, around, place: kin(test, same).indexOf(node) };
  };
  // Who clicks beside everything wants the focus nowhere.
  const pressed = () => { had = null; };
  const lost = () => had && document.activeElement === document.body && !shows(had.node);
  const look = () => {
    if (!lost()) return;
    const found = kin(had.test, had.same).filter(shows);
    const left = had.around.find(at => at.isConnected && [...at.querySelectorAll(CAN)].some(shows));
    const next = found[had.place] ?? found.at(-1) ?? (left && [...left.querySelectorAll(CAN)].find(shows));
    next?.focus({ preventScroll: true });
  };
  const watch = new MutationObserver(() => {
    if (!lost()) return;
    clearTimeout(timer);
    timer = setTimeout(look, DRAWN_MS);
  });
  watch.observe(page, { subtree: true, childList: true, attributeFilter: ["style", "class", "hidden", "disabled"] });
  document.addEventListener("focusin", came);
  document.addEventListener("pointerdown", pressed, true);
  return () => {
    watch.disconnect();
    clearTimeout(timer);
    document.removeEventListener("focusin", came);
    document.removeEventListener("pointerdown", pressed, true);
  };
}

