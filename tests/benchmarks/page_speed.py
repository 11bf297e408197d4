"""How soon the page answers, measured in a real browser: a slider moved until its chart is drawn.

Run it with `python tests/benchmarks/page_speed.py`. It serves the pages as `estimator pages`
does, opens the demo's survey and one of 200 work items, and moves the sliders as a person would.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

MOVES = 60
LEVEL = "full-restoration"


def main() -> None:
    """Print the table."""
    from playwright.sync_api import sync_playwright
    from test_pages import ARGUMENTS

    from estimator import ledger, survey
    from estimator.catalogue import Level
    from estimator.pages import desk as desks
    from estimator.pages import serving
    from estimator.quote import quote
    from estimator.shop import open_shop

    folder = serving.prepare_shop(Path(tempfile.mkdtemp()) / "shop")
    shop = open_shop(folder)
    demo = survey.read(Path(__file__).parents[2] / "data" / "demo" / "survey.csv", shop.catalogue)
    # Some of its lines twice over: more pieces of the same kinds.
    larger = replace(demo, lines=demo.lines + demo.lines[:20])
    rows = []
    with serving.running(folder) as server, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        for name, found in (("demo", demo), ("larger", larger)):
            desk = desks.of_survey(found)
            desk = desks.replace(desk, level=Level(LEVEL))
            kept = ledger.Ledger(folder).save(ledger.Draft(
                ledger.new_key(), name, desks.as_json(desk)))
            offer = quote(desk.survey(), desk.choices(), shop, compare=False)
            items = len(offer.job.items)
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.goto(server.page(serving.FIRST, f"draft={kept.key}"), wait_until="commit")
            page.get_by_test_id("chart-drivers").locator("svg").wait_for(timeout=120_000)
            page.wait_for_timeout(2_000)
            for label in ("Confidence", "Margin"):
                took = page.evaluate(_MOVE, [label, MOVES])
                rows.append((name, len(found.lines), items, label, took))
            page.close()
        browser.close()
    print("Slider moved until the redrawn chart is on the screen [ms]")
    heads = (f"{'survey':<10}{'lines':>6}{'items':>7}  {'slider':<12}"
             f"{'median':>8}{'p95':>8}{'max':>8}")
    print(heads)
    for name, lines, items, label, took in rows:
        p95 = statistics.quantiles(took, n=20)[-1]
        print(f"{name:<10}{lines:>6}{items:>7}  {label:<12}{statistics.median(took):>8.0f}"
              f"{p95:>8.0f}{max(took):>8.0f}")


# Moves the slider, waits until another chart is in the page and two frames have been painted.
_MOVE = """async ([label, moves]) => {
  const slider = document.querySelector(`input[type=range][aria-label^="${label}"]`);
  const chart = () => document.querySelector('[data-testid="chart-cost"] svg');
  const frame = () => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
  const took = [];
  for (let move = 0; move < moves; move++) {
    const before = chart();
    const start = performance.now();
    slider.value = Number(slider.value) + (move % 2 ? -1 : 1) * (1 + move % 5);
    slider.dispatchEvent(new Event("input", {bubbles: true}));
    while (chart() === before) {
      if (performance.now() - start > 5000) return took;
      await new Promise(done => setTimeout(done, 2));
    }
    await frame();
    took.push(performance.now() - start);
    await new Promise(done => setTimeout(done, 120 + 40 * (move % 3)));
  }
  return took;
}"""


if __name__ == "__main__":
    main()
