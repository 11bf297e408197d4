"""Whole jobs by the keyboard alone: everything is reached, seen while it has the focus, and works.

After WCAG 2.1 (https://www.w3.org/TR/WCAG21/): 2.1.1 keyboard, 2.1.2 no trap, 2.4.3 order of focus,
2.4.7 focus that is seen; and 2.4.11 of WCAG 2.2, that nothing lies over it.
"""

import itertools
import re
from datetime import datetime

import pytest
import test_pages
from test_pages import window
from test_plan_page import filled

from estimator.ledger import Ledger, TimeEntry
from estimator.pages import serving
from estimator.pages.opening import PAGES

# A fixture of that module: pytest finds it here by its name.
browser = test_pages.browser
READY = {"quote": "what-drives", "restore-or-resell": "gaps", "bench-plan": "promise-0",
         "review-hours": "form-hours"}


@pytest.fixture(scope="module")
def served(tmp_path_factory, chromium):
    """A shop with a job and a draft, served; its folder and its server."""
    folder, _ = filled(tmp_path_factory.mktemp("keys") / "shop", datetime.now().date(), "0")
    with serving.running(folder) as server:
        yield folder, server


def opened(page, server, name):
    """A page that has been drawn."""
    page.goto(server.page(f"{name}.ipynb"), wait_until="commit")
    page.get_by_test_id(READY[name]).first.wait_for()
    page.wait_for_timeout(1500)


FOCUSED = """() => {
  const e = document.activeElement;
  const said = node => (node.innerText || '').replace(/\\s+/g, ' ').trim();
  return e === document.body ? '' : e.getAttribute('aria-label')
    || [...(e.labels || [])].map(said).join(' ') || said(e) || e.tagName;
}"""


def tab_to(page, name, key="Tab", most=150):
    """Press Tab until a name has the focus."""
    came = []
    for _ in range(most):
        page.keyboard.press(key)
        came.append(page.evaluate(FOCUSED))
        if re.fullmatch(name, came[-1]):
            return
    raise AssertionError(f"{name} is not reached: {came}")


def see(page, test, text):
    """Wait until something on the page says so."""
    from playwright.sync_api import expect
    expect(page.get_by_test_id(test).first).to_contain_text(text)


def saved(page):
    """The file that the focused button hands out."""
    with page.expect_download() as got:
        page.keyboard.press("Enter")
    return got.value.path().read_bytes()


NUMBERED = """() => {
  const can = 'a[href], button, input, select, textarea, summary, [tabindex="0"]';
  const found = [...document.querySelectorAll('#rendered_cells *')].filter(e => e.matches(can)
    && e.getClientRects().length && !e.disabled && e.tabIndex >= 0);
  found.forEach((e, at) => { e.dataset.stop = at; });
  return found.map(e => e.outerHTML.slice(0, 120));
}"""

# Which stop it is, whether its outline is seen, and whether anything lies over it.
STOP = """() => {
  const e = document.activeElement;
  if (e === document.body) return null;
  const edge = e.matches('.est-hidden-input') ? e.closest('label') : e;
  const look = getComputedStyle(edge), box = edge.getBoundingClientRect();
  const left = Math.max(box.left, 0), right = Math.min(box.right, innerWidth);
  const top = Math.max(box.top, 0), foot = Math.min(box.bottom, innerHeight);
  const over = document.elementFromPoint((left + right) / 2, (top + foot) / 2);
  return { at: Number(e.dataset.stop ?? -1), name: edge.outerHTML.slice(0, 120),
           edged: look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) >= 2,
           seen: right > left && foot > top && Boolean(over)
                 && (edge.contains(over) || over.contains(edge)
                     || over.matches('.est-lost')) };  // a busy machine
}"""


@pytest.mark.parametrize("name", PAGES)
def test_tab_reaches_everything_in_order_and_is_seen(browser, served, name):
    """From the top to the end: each stop once, in the order of the page, outlined, not covered."""
    _, server = served
    with window(browser) as page:
        opened(page, server, name)
        expected = page.evaluate(NUMBERED)
        stops = []
        for _ in range(len(expected) + 60):
            page.keyboard.press("Tab")
            stop = page.evaluate(STOP)
            if stop is None or (stops and stop["at"] == 0):
                break
            assert stop["edged"], stop
            assert stop["seen"], stop
            stops.append(stop)
        # A field of a date is several stops in one; what scrolls is one that browsers add.
        order = [at for at, _ in itertools.groupby(stop["at"] for stop in stops) if at >= 0]
        assert order == sorted(order)
        assert [expected[at] for at in range(len(expected)) if at not in order] == []


def test_a_survey_is_edited_and_its_quote_saved(browser, served):
    """A condition is made worse, the price follows and is said aloud, the PDF is saved."""
    from playwright.sync_api import expect
    _, server = served
    with window(browser) as page:
        opened(page, server, "quote")
        price = page.get_by_test_id("price")
        before = price.inner_text()
        tab_to(page, "Past the lines")
        tab_to(page, "Condition, row 2")
        page.keyboard.type("light")
        page.keyboard.press("Tab")
        expect(price).not_to_have_text(before)
        aloud = page.get_by_test_id("said-aloud")
        expect(aloud).to_have_text(f"Price before tax {price.inner_text()}, with tax "
                                   f"{page.get_by_test_id('total').inner_text()}.")
        tab_to(page, "Past the lines", "Shift+Tab")
        page.keyboard.press("Enter")
        assert page.evaluate(FOCUSED) == "Assembly of the new line"
        tab_to(page, r"Quote \(PDF\)", most=250)
        assert saved(page).startswith(b"%PDF-")
        assert page.evaluate(FOCUSED) == "Quote (PDF)"
        expect(page.get_by_test_id("fault")).to_have_count(0)


def test_the_focus_stays_where_the_page_is_drawn_anew(browser, served):
    """A figure, a line that is removed, a heading of a table: none loses the focus by an answer."""
    from playwright.sync_api import expect
    _, server = served
    with window(browser) as page:
        opened(page, server, "quote")
        price = page.get_by_test_id("price")
        price.get_by_role("button").focus()
        before = price.inner_text()
        margin = page.get_by_label("Margin, %", exact=True)
        late = "(e, value) => { e.value = value; e.dispatchEvent(new Event('change')); }"
        margin.evaluate(late, "40")
        expect(price).not_to_have_text(before)
        expect(price.get_by_role("button")).to_be_focused()
        levels = page.get_by_test_id("levels").get_by_role("button").nth(4)
        levels.focus()
        again = levels.get_attribute("data-of")
        margin.evaluate(late, "25")
        expect(price).to_have_text(before)
        page.wait_for_timeout(2500)
        assert page.evaluate("document.activeElement.dataset.of") == again
        tab_to(page, "Assembly of the new line", "Shift+Tab", 200)
        page.keyboard.type("Apron")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.get_by_label("Count, row 6", exact=True)).to_be_focused()
        tab_to(page, "Remove row 6, .*")
        page.keyboard.press("Enter")
        expect(page.get_by_label("Count, row 6", exact=True)).to_have_count(0)
        assert re.fullmatch("Remove row 5, .*", page.evaluate(FOCUSED))


def test_an_hour_is_booked(browser, served):
    """Its part of the page is opened, the form filled in and sent, and what came of it is said."""
    folder, server = served
    with window(browser) as page:
        opened(page, server, "review-hours")
        tab_to(page, "Book time")
        page.keyboard.press("Enter")
        page.get_by_test_id("form-hours").wait_for()
        tab_to(page, "Book the hours")
        tab_to(page, "Person", "Shift+Tab")
        page.keyboard.type("Anna")
        tab_to(page, "Hours")
        page.keyboard.type("1.25")
        tab_to(page, "Work")
        page.keyboard.press("ArrowDown")
        tab_to(page, "Book the hours")
        page.keyboard.press("Enter")
        see(page, "hours-status", "1.25 hours of Anna")
        assert page.evaluate("document.activeElement !== document.body")
    ledger = Ledger(folder)
    assert [entry.hours for entry in ledger.entries(TimeEntry)] == [1.25]
    ledger.close()


def test_a_decision_is_made_and_its_paper_saved(browser, served):
    """What a machine is worth is typed, the answer follows and is said aloud, the page is saved."""
    from playwright.sync_api import expect
    _, server = served
    with window(browser) as page:
        opened(page, server, "restore-or-resell")
        tab_to(page, "Market value")
        page.keyboard.press("Control+a")
        page.keyboard.type("5000")
        tab_to(page, "Asking price")
        page.keyboard.press("Control+a")
        page.keyboard.type("900")
        advice = page.get_by_test_id("advice")
        expect(advice).to_contain_text("Buy it")
        expect(page.get_by_test_id("said-aloud")).to_contain_text(advice.inner_text())
        assert page.evaluate(FOCUSED) == "Asking price"
        page.get_by_test_id("pays").wait_for()
        tab_to(page, "Profit, mean")
        page.keyboard.press("Enter")
        expect(page.locator("th[aria-sort=descending]")).to_have_text(re.compile("Profit, mean"))
        assert page.evaluate(FOCUSED).startswith("Profit, mean")
        tab_to(page, r"Decision on one page \(PDF\)")
        assert saved(page).startswith(b"%PDF-")


def test_a_plan_is_made_and_its_papers_saved(browser, served):
    """A draft is ticked, the plan follows and says so, its labels are saved."""
    from playwright.sync_api import expect
    _, server = served
    with window(browser) as page:
        opened(page, server, "bench-plan")
        tab_to(page, "Plan it, Comet Parade.*")
        page.keyboard.press("Space")
        expect(page.get_by_test_id("promise-1")).not_to_be_empty()
        assert re.match("Plan it, Comet Parade", page.evaluate(FOCUSED))
        tab_to(page, "Papers")
        page.keyboard.press("Enter")
        page.get_by_role("button", name="Labels for bags").wait_for()
        assert page.evaluate(FOCUSED) == "Papers"
        tab_to(page, "Labels for bags.*")
        assert saved(page).startswith(b"%PDF-")
