// Says aloud what the page newly says. Whatever has `data-say` is said when it comes or changes:
// the words of the attribute or, where it is blank, its own. Readers of the screen hear a place only
// if it was there before its words; this one is, and is never redrawn.

const SETTLED_MS = 700; // what follows an edit comes in steps: it is said when it stands
const HEARD_MS = 8000; // then the words are taken away, so that nobody comes upon them twice

function voice(page, el) {
  const place = document.createElement("div");
  place.className = "est-unseen";
  place.setAttribute("role", "status");
  place.dataset.testid = "said-aloud";
  el.append(place);
  let before = [], settled = 0, heard = 0;

  const words = node => (node.dataset.say || node.innerText).replace(/\s+/g, " ").trim();
  const look = () => {
    const now = [...page.querySelectorAll("[data-say]")]
      .filter(node => node.getClientRects().length).map(words).filter(said => said);
    const fresh = now.filter(said => !before.includes(said));
    before = now;
    if (!fresh.length) return;
    place.textContent = fresh.join(" ");
    clearTimeout(heard);
    heard = setTimeout(() => place.replaceChildren(), HEARD_MS);
  };
  const watch = new MutationObserver(() => {
    clearTimeout(settled);
    settled = setTimeout(look, SETTLED_MS);
  });
  watch.observe(page, { subtree: true, childList: true, characterData: true,
                        attributeFilter: ["data-say", "style", "class"] });
  look();
  return () => {
    watch.disconnect();
    clearTimeout(settled);
    clearTimeout(heard);
  };
}

