"""Everyone can use the pages: by keyboard alone, by ear, enlarged, in colours of their own.

Rules are those of WCAG 2.1, levels A and AA (https://www.w3.org/TR/WCAG21/). axe reads every page
in each of its states; what it cannot read is looked at by scripts of our own. Both the demo shop
and an empty one are opened.
"""

import itertools
import os
import re
from datetime import date

import pytest
import test_pages
from test_pages import window

from estimator.demo import demo_shop
from estimator.pages import serving
from estimator.pages.plan_page import PARTS as PLAN_PARTS
from estimator.pages.review_page import PARTS as REVIEW_PARTS
from estimator.shop import new_shop

# A fixture of that module: pytest finds it here by its name.
browser = test_pages.browser
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"],
    # WCAG 2.1, 2.5.3; axe calls its rule an experiment and leaves it off.
    "rules": {"label-content-name-mismatch": {"enabled": True}},
}
IGNORED: dict[str, str] = {}
"""Rules that are passed over, by what they are passed over at: none is."""


@pytest.fixture(scope="module")
def axe():
    """The automatic rules."""
    if os.environ.get("ESTIMATOR_REQUIRE_BROWSER"):
        from axe_playwright_python.sync_playwright import Axe
        return Axe()
    return pytest.importorskip("axe_playwright_python.sync_playwright").Axe()


@pytest.fixture(scope="module")
def demo(tmp_path_factory, chromium):
    """The pages of an invented shop with finished jobs, open ones and quotes sent."""
    folder = tmp_path_factory.mktemp("demo") / "shop"
    demo_shop(folder, jobs=14, seed=3, on=date.today())
    with serving.running(folder) as server:
        yield server


@pytest.fixture(scope="module")
def empty(tmp_path_factory, chromium):
    """The pages of a shop in which nothing has happened yet."""
    with serving.running(new_shop(tmp_path_factory.mktemp("empty") / "shop")) as server:
        yield server


@pytest.fixture(scope="module")
def none(tmp_path_factory, chromium):
    """The pages without a shop folder."""
    with serving.running(None, log=tmp_path_factory.mktemp("none") / "log") as server:
        yield server


# The states of each page ------------------------------------------------------------------------


def ready(page, test, text=""):
    """Wait until something stands on the page."""
    page.get_by_test_id(test).filter(has_text=text).first.wait_for()


def wrong(page, name, value):
    """Type what cannot be into a field, and leave it."""
    box = page.get_by_label(name, exact=True).first
    box.fill(value)
    box.press("Tab")


def press(page, name):
    """Take a button."""
    page.get_by_role("button", name=name, exact=True).first.click()


def quote_states(page):
    """A survey with a price; what takes long; what is wrong; what opens, is found and written."""
    ready(page, "chart-winning")
    yield "opened"
    press(page, "Play it 1,000,000 times")
    page.locator(".est-long .progress").wait_for()
    yield "with a million trials under way"
    ready(page, "long-run")
    yield "with a million trials played"
    page.get_by_label("Budget before tax", exact=True).fill("2500")
    press(page, "Find the best set")
    ready(page, "fit", "would be")
    yield "with lines that fit"
    wrong(page, "Count, row 3", "1o")
    wrong(page, "Margin, %", "140")
    ready(page, "fault", "The margin is 140 %")
    press(page, "Say what lines are worth")
    page.get_by_label(re.compile("^Worth to the customer, line")).first.wait_for()
    wrong(page, "Budget before tax", "x1")
    yield "with faults"
    wrong(page, "Margin, %", "30")
    wrong(page, "Count, row 3", "1")
    page.get_by_label("Pricing", exact=True).select_option(label="time and materials, with a cap")
    ready(page, "cap")
    press(page, "Write the documents")
    ready(page, "written")
    page.get_by_test_id("hours-p80").get_by_role("button").click()
    page.get_by_test_id("origin").locator("summary").nth(1).click()
    page.get_by_test_id("origin").locator("li li").first.wait_for()
    yield "with a figure opened"
    page.keyboard.press("Escape")
    press(page, "Delete")
    page.get_by_label("Assembly of the new line").select_option(index=3)
    press(page, "Add line")
    ready(page, "gaps")
    yield "with a gap"


def resell_states(page):
    """An example and its answer; what is wrong."""
    ready(page, "pays")
    yield "opened"
    wrong(page, "Trials", "1,5x")
    ready(page, "fault")
    yield "with faults"


def plan_states(page):
    """Each part of the plan; what is wrong."""
    ready(page, "promise-0")
    bar = page.get_by_role("navigation", name="Parts of the plan")
    waits = {"dates": "chart-ready-0", "buying": "orders"}
    for key, name in PLAN_PARTS.items():
        bar.get_by_role("button", name=name, exact=True).click()
        if key in waits:
            ready(page, waits[key])
        yield name
    wrong(page, "Search for a better plan for, seconds", "zz")
    page.get_by_label(re.compile("^Priority, ")).first.fill("none")
    page.locator(".est-wrong", has_text="number").wait_for()
    yield "with faults"


def review_states(page):
    """Each part of the page; forms that open; what is wrong, what is asked, what was booked."""
    bar = page.get_by_role("navigation", name="Parts of the page")
    waits = {"job": "chart-hours", "shop": "chart-control", "proposals": "proposal"}
    for key, name in REVIEW_PARTS.items():
        bar.get_by_role("button", name=name, exact=True).click()
        if key in waits:
            ready(page, waits[key])
        yield name
    bar.get_by_role("button", name="Jobs", exact=True).click()
    press(page, "Change the job")
    ready(page, "form-change")
    yield "a change"
    bar.get_by_role("button", name="Book time", exact=True).click()
    hours = page.get_by_test_id("form-hours")
    hours.get_by_label("Hours", exact=True).fill("x")
    press(page, "Book the hours")
    ready(page, "fault")
    yield "with faults"
    hours.get_by_label("Person", exact=True).fill("Somebody new")
    hours.get_by_label("Hours", exact=True).fill("14")
    hours.get_by_label("Work", exact=True).select_option("unbilled:sweeping")
    press(page, "Book the hours")
    ready(page, "hours-asked")
    yield "with a question"
    for cells in ("Somebody,2026-13-01,x,,,ordering", f"Somebody,{date.today()},15,,,ordering"):
        page.get_by_label("Upload a time sheet (CSV)").set_input_files({
            "name": "sheet.csv", "mimeType": "text/csv",
            "buffer": f"person,day,hours,job,item,unbilled\n{cells}\n".encode()})
        ready(page, "form-sheet", "row 2" if "x" in cells else "Yes, book them")
        yield "with a time sheet that is wrong" if "x" in cells else "with a time sheet in question"
    press(page, "Yes, book them")
    ready(page, "sheet-status", "are booked")
    yield "with a time sheet booked"


def only_opened(page):
    """The page as it opens."""
    page.locator("h1").first.wait_for()
    page.wait_for_timeout(1500)
    yield "opened"


OPENED = [
    ("demo", "start", only_opened), ("demo", "quote", quote_states),
    ("demo", "bench-plan", plan_states), ("demo", "review-hours", review_states),
    ("empty", "restore-or-resell", resell_states), ("empty", "bench-plan", only_opened),
    ("empty", "review-hours", only_opened), ("none", "review-hours", only_opened),
]


# What is asked of every state -------------------------------------------------------------------

STRUCTURE = """() => {
  const shown = [...document.querySelectorAll('body *')].filter(e => e.getClientRects().length);
  const all = css => shown.filter(e => e.matches(css));
  const said = e => (e.innerText || '').replace(/\\s+/g, ' ').trim();
  const labels = e => [...(e.labels || [])].map(said).filter(Boolean);
  const name = e => e.getAttribute('aria-label') || labels(e).join(' ') || said(e);
  const at = e => e.outerHTML.slice(0, 160);
  // The heading of the column that a field stands in is the label that is seen.
  const column = e => {
    const cell = e.closest('td');
    const row = cell?.closest('table').tHead?.rows[0];
    return row?.cells[cell.cellIndex] ? said(row.cells[cell.cellIndex]) : '';
  };
  const fields = all('input:not([type=file]), select, textarea');
  const seen = e => e.type === 'range' ? [] : [...labels(e), column(e)].filter(Boolean);
  return {
    lang: document.documentElement.lang,
    title: document.title,
    mains: all('main').length,
    headings: all('h1, h2, h3, h4').map(e => Number(e.tagName[1])),
    nameless: [...fields, ...all('button, a[href], summary')].filter(e => !name(e)).map(at),
    otherwise: fields.filter(e => seen(e).some(
      label => !name(e).toLowerCase().includes(label.toLowerCase()))).map(at),
    scopeless: all('th').filter(e => !e.scope).map(at),
    mute: all('figure svg').filter(e => e.getAttribute('role') !== 'img'
      || !/\\d/.test(e.getAttribute('aria-label') || '')).map(e => at(e)),
    twice: all('[data-say] [role=alert], [role=alert] [data-say], [data-say] [data-say], '
      + '[aria-live=polite]:not([role=status])').map(at),
    jumping: all('[tabindex]').filter(e => e.tabIndex > 0).map(at),
  };
}"""

WIDE = """() => {
  const cut = [...document.querySelectorAll('#rendered_cells *')]
    .filter(e => !e.closest('.est-scroll, .est-table-scroll, svg, .est-unseen, .est-past'))
    .filter(e => e.offsetWidth);
  const page = document.querySelector('#rendered_cells');
  return [...cut.filter(e => e.getBoundingClientRect().right > innerWidth + 1),
          ...cut.filter(e => !e.childElementCount && e.scrollWidth > e.clientWidth + 2
            && e.clientWidth && getComputedStyle(e).overflowX !== 'visible'
            && !e.matches('input, select')),
          ...[...page.querySelectorAll('button:not(.est-past)')]
            .filter(e => e.scrollHeight > e.clientHeight + 2),
          ...(page.scrollWidth > page.clientWidth + 1 ? [page] : [])]
    .map(e => e.outerHTML.slice(0, 160));
}"""


def in_order(page):
    """The page has its language, its name, one main part, and all that is named and in order."""
    found = page.evaluate(STRUCTURE)
    assert found["lang"] == "en"
    assert found["title"]
    assert found["mains"] == 1
    levels = found["headings"]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - at <= 1 for at, after in itertools.pairwise(levels)), levels
    for fault in ("nameless", "otherwise", "scopeless", "mute", "twice", "jumping"):
        assert found[fault] == [], fault


def by_the_rules(page, axe, rules=RULES):
    """axe finds nothing, whatever its weight."""
    size = page.viewport_size
    # Contrast is only judged where it shows, so the window is made as tall as the page.
    tall = page.evaluate("document.querySelector('#rendered_cells').scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": max(tall, size["height"])})
    found = axe.run(page, options=rules).response["violations"]
    page.set_viewport_size(size)
    assert [(one["id"], node["target"], node.get("failureSummary", "")[:200]) for one in found
            for node in one["nodes"][:3] if one["id"] not in IGNORED] == []


def in_colours_of_the_reader(page, axe):
    """Where dark is asked for the page stays light, and can be read; in the colours of a system
    what the browser draws into fields follows them, and what is chosen stands out."""
    scheme = "getComputedStyle(document.querySelector('.est-page')).colorScheme"
    page.emulate_media(color_scheme="dark")
    # In forced colours axe takes some colours for those of the page.
    by_the_rules(page, axe, {"runOnly": {"type": "rule", "values": ["color-contrast"]}})
    assert page.evaluate(scheme) == "normal"
    page.emulate_media(forced_colors="active", color_scheme="dark")
    assert page.evaluate(scheme) == "light dark"
    alike = page.evaluate("""() => [...document.querySelectorAll(
        '.est-parts button:is([aria-current=page], [aria-pressed=true])')].filter(chosen =>
          [...chosen.parentNode.querySelectorAll('button')].some(one => one !== chosen
            && getComputedStyle(one).backgroundColor === getComputedStyle(chosen).backgroundColor))
        .map(one => one.innerText)""")
    assert alike == []
    page.emulate_media(forced_colors="none", color_scheme="light")


def narrow(page):
    """What is cut off or sticks out, once the page had time to lay itself out anew."""
    for _ in range(20):
        found = page.evaluate(WIDE)
        if not found:
            break
        page.wait_for_timeout(100)
    return found


@pytest.mark.parametrize(("shop", "name", "states"), OPENED,
                         ids=[f"{shop}-{name}" for shop, name, _ in OPENED])
def test_a_page_keeps_the_rules_in_each_of_its_states(browser, axe, request, shop, name, states):
    """axe finds nothing, also in colours of the reader's own; all is named as labelled, in order,
    said once; nothing is cut off."""
    server = request.getfixturevalue(shop)
    with window(browser) as page:
        page.goto(server.page(f"{name}.ipynb"), wait_until="commit")
        for nth, state in enumerate(states(page)):
            page.wait_for_timeout(300)
            try:
                if nth == 0 and name != "start":
                    in_colours_of_the_reader(page, axe)
                by_the_rules(page, axe)
                in_order(page)
                for width, height in ((820, 1180), (320, 640)):
                    page.set_viewport_size({"width": width, "height": height})
                    assert narrow(page) == [], f"at {width} px"
            except AssertionError as error:
                raise AssertionError(f"{name}, {state}: {error}") from error
            page.set_viewport_size({"width": 1280, "height": 800})
