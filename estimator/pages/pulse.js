// The page's heartbeat: says when it is there, and shows when the kernel no longer answers.

const EVERY_MS = 2000;
const LOST_MS = 8000;

function render({ model, el }) {
  const banner = document.createElement("div");
  banner.className = "est-lost";
  banner.setAttribute("role", "alert");
  banner.dataset.testid = "lost";
  banner.hidden = true;
  el.append(banner);

  let heard = Date.now();
  const hear = message => {
    if (message.draft !== undefined) address(message.draft);
    heard = Date.now();
    if (!banner.hidden) banner.hidden = true;
  };
  // A reload opens the same draft again, and two windows keep to their own.
  const address = draft => {
    if (document.body.dataset.voila === undefined) return;
    const url = new URL(location.href);
    draft ? url.searchParams.set("draft", draft) : url.searchParams.delete("draft");
    url.searchParams.delete("token");
    history.replaceState(null, "", url);
  };
  const beat = () => {
    try { model.send({ ping: 1 }); } catch { /* the connection is gone; the banner says so */ }
    // A computer that slept has not lost anything yet: give it one beat more.
    const now = Date.now();
    if (now - last > 3 * EVERY_MS) heard = now;
    last = now;
    if (now - heard > LOST_MS && banner.hidden) {
      const saved = model.get("saved");
      banner.textContent = "Connection lost. " + (saved
        ? `Your entries up to ${saved} are saved: reload this page to go on.`
        : "Reload this page to go on; nothing was saved yet.");
      banner.hidden = false;
    }
  };
  let last = Date.now();
  const timer = setInterval(beat, EVERY_MS);
  // JupyterLab takes letters typed on a drop-down or a button as commands to the notebook,
  // unless the focused element itself says otherwise.
  const keep = event => {
    if (event.target.closest?.(".est-page"))
      event.target.setAttribute("data-lm-suppress-shortcuts", "true");
  };
  document.addEventListener("focusin", keep, true);
  // Voice and focus belong to the page, which is there a moment after this.
  let ends = [], gone = false;
  const begin = () => {
    const page = el.closest(".est-page");
    if (page) ends = [voice(page, el), keepFocus(page)];
    else if (!gone) requestAnimationFrame(begin);
  };
  begin();
  model.on("msg:custom", hear);
  model.send({ hello: 1 });
  return () => {
    gone = true;
    ends.forEach(end => end());
    clearInterval(timer);
    document.removeEventListener("focusin", keep, true);
    model.off("msg:custom", hear);
  };
}

export default { render };
