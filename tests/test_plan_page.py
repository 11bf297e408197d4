"""The page "Bench plan": what is asked for, the plan of it, what is kept, and papers."""

import contextlib
import html
import io
import re
import zipfile
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
import test_pages
from test_pages import PATIENCE_MS, window

from estimator import jobs, schedule
from estimator.catalogue import Certainty, Condition, Era, Level
from estimator.errors import BadInput, Fault
from estimator.ledger import Draft, Ledger, Outwork, Purchase, TimeEntry, new_key
from estimator.pages import bench_desk as desks
from estimator.pages import bench_form as forms
from estimator.pages import bench_papers, bench_shown, plan_page, serving
from estimator.pages import desk as quote_desks
from estimator.pages.plan_page import PARTS, ROWS, PlanPage
from estimator.quote import Choices, quote
from estimator.shop import new_shop, open_shop
from estimator.survey import Line, Machine, Survey

# A fixture of that module: pytest finds it here by its name.
browser = test_pages.browser
EVIL = '<script>alert("x")</script>'
TODAY = date(2026, 11, 25)  # a Wednesday


def survey(title, **more):
    """A small machine: top off, flippers to rebuild, posts for the tumbler, legs to be coated."""
    return Survey(Machine(title=title, era=Era.DOT_MATRIX, customer="R. Example", **more), (
        Line("topside-strip-and-refit", 1, Condition.WORN),
        Line("flipper", 2, Condition.HEAVY),
        Line("post", 12, Condition.HEAVY),
        Line("lamp", 20, Condition.WORN),
        Line("leg", 4, Condition.HEAVY, Certainty.SEEN)))


def filled(folder, today=TODAY, seconds="0", title="Harbour Lights", again=True):
    """A shop with one job, accepted a week ago, and one draft of a quote."""
    shop = open_shop(new_shop(folder))
    ledger = Ledger(shop.folder)
    offer = quote(survey(title), Choices(Level.FULL, trials=200, on=today - timedelta(9)), shop,
                  compare=False)
    jobs.keep(ledger, offer, shop)
    jobs.accept(ledger, offer.number, on=today - timedelta(7), promised=today + timedelta(60))
    desk = quote_desks.of_survey(survey("Comet Parade"))
    ledger.save(Draft(new_key(), desk.title, quote_desks.as_json(desk)))
    if again:
        ledger.save(Draft(new_key(forms.KIND), "Bench plan", {"form": {"seconds": seconds}}))
    ledger.close()
    return shop.folder, offer.number


@pytest.fixture
def made(tmp_path):
    """Its folder and the number of the job."""
    return filled(tmp_path / "shop")


@pytest.fixture
def opened(made):
    """Opens pages without a browser; closed at the end."""
    pages = []

    def another(draft=None):
        page = PlanPage(made[0], open_shop(made[0]), lambda: TODAY, draft)
        pages.append(page)
        return page

    yield another
    for page in pages:
        page.ledger.close()


def faults(page):
    """All that alerts of the page say."""
    return "".join(alert.widget.value for alert in (page.alerts | page.papers.alerts).values())


def job_row(page, title):
    """The row of a machine in the table of choices."""
    return next(row for row in page.jobs.rows if title in row["title"])


def edit(page, title, column, value):
    """Type into the row of a machine."""
    page.jobs._heard(None, {"edit": [job_row(page, title)["id"], column, value]}, [])


def read(shown):
    """The words of a piece of the page."""
    return " ".join(html.unescape(re.sub(r"<svg.*?</svg>|<[^>]*>", " ", shown.value,
                                         flags=re.DOTALL)).split())


def test_it_opens_with_jobs_chosen_and_drafts_offered(opened):
    """A job under way is planned at once, with the day it is promised for; a draft is not."""
    page = opened()
    job, draft = job_row(page, "Harbour Lights"), job_row(page, "Comet Parade")
    assert job["cells"]["in"] == "yes"
    assert job["cells"]["due"] == str(TODAY + timedelta(60))
    assert draft["cells"]["in"] == ""
    assert [one.name for one in page.found.jobs] == [job["title"]]
    assert faults(page) == ""
    assert "Drawn at once" in page.proof.value


def test_every_part_shows_what_it_is_for(opened):
    """Chart, loads, dates, waits, orders and lots, none of them empty, and no fault."""
    page = opened()
    for part in PARTS:
        page._go(part)
        assert page.body.children == (page.blocks[part],)
    assert faults(page) == ""
    for chart in (page.days, page.load, page.dates):
        assert "<svg" in chart.value
    assert "Rebuild a flipper" in read(page.by_day)
    for words in ("parts", "outwork"):
        assert words in read(page.waiting)
    assert "Order by" in read(page.orders)
    assert "Leaves" in read(page.lots)
    assert "A week earlier" in read(page.dates)
    assert "Strip everything" in read(page.ways)


@pytest.mark.parametrize("by", ROWS)
def test_rows_of_the_chart_hold_every_step_once(opened, by):
    """Whatever the rows are, work and waits are all there; of people only the work."""
    page = opened()
    edit(page, "Comet Parade", "in", "yes")
    page._by(by)
    rows = desks.day_rows(page.found, by)
    steps = [step for step in page.found.plan.steps if step.end > step.start
             and (by != "person" or step.what == "work")]
    assert sum(len(bars) for _, bars in rows) == len(steps)
    assert faults(page) == ""


def test_several_machines_are_planned_together(opened):
    """A draft that is ticked comes onto the bench beside the job, and both have a day."""
    page = opened()
    alone = page.found.plan.finishes
    edit(page, "Comet Parade", "in", "yes")
    both = page.found.plan.finishes
    assert set(alone) < set(both)
    assert len(both) == 2
    assert page.strip.value.count("<output") == 2
    edit(page, "Harbour Lights", "in", "")
    assert set(page.found.plan.finishes) == set(both) - set(alone)


@pytest.mark.parametrize(("column", "typed", "said"), [
    ("due", "soon", "day"), ("weight", "0", "1 to 99"), ("weight", "2.5", "whole number"),
])
def test_a_fault_in_a_row_is_said_at_its_field(opened, column, typed, said):
    """What cannot be read is told where it stands; the last good plan stays, marked as old."""
    page = opened()
    before = page.found
    edit(page, "Harbour Lights", column, typed)
    assert said in job_row(page, "Harbour Lights")["wrong"][column]
    assert job_row(page, "Harbour Lights")["cells"][column] == typed
    assert page.found is before
    assert "est-old" in page.answer._dom_classes
    assert all(button.disabled for button in page.papers.files.values())
    edit(page, "Harbour Lights", column, "")
    assert job_row(page, "Harbour Lights")["wrong"] == {}
    assert "est-old" not in page.answer._dom_classes


@pytest.mark.parametrize(("field", "typed"), [
    ("start", "30 February"), ("promise", "100"), ("in_time", "much"), ("seconds", "-1"),
    ("buy", "for nothing")])
def test_a_fault_in_the_form_is_said_at_its_field(opened, field, typed):
    """Days, shares and seconds that cannot be are told at the field."""
    page = opened()
    page.form._heard(None, {"typed": {field: typed}}, [])
    assert list(page.form.faults) == [field]
    page.form._heard(None, {"typed": {field: forms.FORM[field] or str(TODAY),
                                      "seconds": "0"}}, [])
    assert page.form.faults == {}


def test_parts_are_bought_for_what_is_wished(opened):
    """In fewest parcels there are no more orders, and no less to pay, than at the least price."""
    page = opened()
    cheapest = page.found.basket
    page.form._heard(None, {"typed": {"buy": "fewest parcels"}}, [])
    fewest = page.found.basket
    assert fewest.wish == forms.WISHES["fewest parcels"]
    assert fewest.parcels < cheapest.parcels
    assert fewest.total > cheapest.total
    assert fewest.proven
    ahead = sum(bool(one.spares) for one in page.found.spares.values())
    assert bench_shown.orders(page.found).count("Ordered ahead from") == ahead > 0


def test_parts_lie_ready_as_many_days_as_the_shop_says(made):
    """Orders go out earlier by the days that parts are to lie ready, as far as there is time."""
    def by(margin):
        shop = open_shop(made[0])
        settings = shop.settings.model_copy(update={"order_margin_days": margin})
        page = PlanPage(made[0], replace(shop, settings=settings), lambda: TODAY)
        page.ledger.close()
        return [one.order_by for one in page.found.ordering.orders if one.needed is not None]

    assert by(2.0) == pytest.approx([day - 2 for day in by(0.0)])
    assert by(0.0)


def test_a_trade_off_weighs_days_and_parcels(opened):
    """Its fields come and go with it; a blank day is worth what a day late costs."""
    page = opened()
    assert "day_worth" not in page.form.values
    page.form._heard(None, {"typed": {"buy": "trade-off"}}, [])
    wish = page.found.ask.wish
    assert (wish.day, wish.parcel) == (page.shop.settings.late_per_day, 0)
    assert page.found.basket.wish == wish
    page.bar._on_go("buying")
    assert "is worth more" in page.orders.value or "could be saved" in page.orders.value
    page.form._heard(None, {"typed": {"day_worth": "0", "parcel_worth": "1e4"}}, [])
    few = page.found.basket
    assert (few.wish.day, few.wish.parcel) == (0, 10_000)
    page.form._heard(None, {"typed": {"parcel_worth": "-1"}}, [])
    assert "Write money" in page.form.faults["parcel_worth"]
    page.form._heard(None, {"typed": {"buy": "fewest parcels"}}, [])
    assert "parcel_worth" not in page.form.values
    assert not page.form.faults
    # A parcel that is worth more than anything saved by another makes the fewest parcels.
    assert (page.found.basket.parcels, page.found.basket.total) == (
        few.parcels, pytest.approx(few.total))
    page.form._heard(None, {"typed": {"buy": "trade-off"}}, [])
    assert page.form.values["parcel_worth"] == "-1"


def test_prices_are_as_old_as_the_page_says(made):
    """Ages of prices count from the day that the page is given, whenever the plan begins."""
    def told(today):
        page = PlanPage(made[0], open_shop(made[0]), lambda: today)
        page.ledger.close()
        return " ".join(fault.what for fault in page.found.basket.faults)

    # The prices that the program comes with are of 1 November 2025.
    assert " 389 days old" in told(TODAY)
    assert " 1389 days old" in told(TODAY + timedelta(1000))


def test_nothing_and_nobody_are_said(opened):
    """Without a machine or without anybody at the bench there is no plan, and it says so."""
    page = opened()
    edit(page, "Harbour Lights", "in", "")
    assert "No machine is chosen" in faults(page)
    edit(page, "Harbour Lights", "in", "yes")
    assert faults(page) == ""
    for row in page.people.rows:
        page.people._heard(None, {"edit": [row["id"], "in", ""]}, [])
    assert "Nobody is at the bench" in faults(page)


def test_hours_of_a_person_move_the_plan(opened):
    """Half days take longer; hours that are none are told at the field."""
    page = opened()
    (row,) = page.people.rows
    before = page.found.plan.finishes
    page.people._heard(None, {"edit": [row["id"], "hours", "9-12 " * 5 + "closed closed"]}, [])
    assert all(page.found.plan.finishes[name] > end for name, end in before.items())
    page.people._heard(None, {"edit": [row["id"], "hours", "mornings"]}, [])
    assert "no hours of a week" in page.people.rows[0]["wrong"]["hours"]


def test_a_draft_with_gaps_is_said_at_its_row(opened, made):
    """Lines without a condition cannot be planned."""
    ledger = Ledger(made[0])
    desk = quote_desks.of_survey(Survey(Machine(title="Unseen", era=Era.MODERN),
                                        (Line("flipper", 2, None),)))
    ledger.save(Draft(new_key(), desk.title, quote_desks.as_json(desk)))
    ledger.close()
    page = opened()
    edit(page, "Unseen", "in", "yes")
    assert "not surveyed to the end" in job_row(page, "Unseen")["wrong"]["in"]


def test_what_is_typed_is_kept_as_it_was_typed(opened, made):
    """Another page of the shop shows the same, faults too; the quote's drafts do not list it."""
    page = opened()
    edit(page, "Comet Parade", "in", "yes")
    edit(page, "Comet Parade", "due", "2027-13-01")
    page._go("dates")
    page._by("person")
    other = opened()
    assert job_row(other, "Comet Parade")["cells"] == {
        "in": "yes", "due": "2027-13-01", "weight": "1"}
    assert job_row(other, "Comet Parade")["wrong"]["due"]
    assert (other.bar.current, other.by.current) == ("dates", "person")
    ledger = Ledger(made[0])
    assert "Bench plan" not in {draft.title for draft in ledger.drafts()}
    ledger.close()


def test_a_newer_plan_is_not_overwritten(opened):
    """What was changed in another window meanwhile is told at every edit, and stands."""
    first, second = opened(), opened()
    edit(first, "Harbour Lights", "weight", "3")
    for typed in ("7", "3", "8"):
        edit(second, "Harbour Lights", "weight", typed)
        assert "This plan was changed in another window" in faults(second)
        assert job_row(second, "Harbour Lights")["cells"]["weight"] == typed
    assert job_row(opened(), "Harbour Lights")["cells"]["weight"] == "3"


def test_a_plan_asked_for_by_its_key_is_opened(opened):
    """A reload opens the window's own plan; a key that is none, or another page's, the last one."""
    page = opened()
    edit(page, "Harbour Lights", "weight", "3")
    last = page.ledger.save(Draft(new_key(forms.KIND), "Bench plan", {"form": {"seconds": "0"}}))
    other = page.ledger.drafts()[0].key
    for key, wanted in ((page.keeping.draft.key, page.keeping.draft.key), ("none", last.key),
                        (other, last.key), (None, last.key)):
        assert opened(key).keeping.draft.key == wanted


def test_what_changed_nothing_is_not_saved(opened):
    """Looking at a plan, or typing the same again, makes no newer one of it."""
    page = opened()
    edit(page, "Harbour Lights", "weight", "3")
    revision = page.keeping.draft.revision
    edit(page, "Harbour Lights", "weight", "3")
    page.save()
    assert page.keeping.draft.revision == revision
    other = opened()
    edit(other, "Harbour Lights", "weight", "4")
    assert faults(other) == ""
    assert "Saved at" in other.keeping.widget.value


def test_a_plan_that_cannot_be_kept_stays_on_the_page_and_is_kept_later(opened, monkeypatch):
    """It is said, the plan is drawn all the same, and once it can be written nothing is lost."""
    page = opened()
    with monkeypatch.context() as broken:
        def refused(_draft):
            raise BadInput(Fault("The folder cannot be written.", "Make room."))
        broken.setattr(page.ledger, "save", refused)
        edit(page, "Comet Parade", "in", "yes")
        assert "cannot be written" in faults(page)
        assert len(page.found.jobs) == 2
        assert job_row(opened(), "Comet Parade")["cells"]["in"] == ""
    page.save()
    assert faults(page) == ""
    assert job_row(opened(), "Comet Parade")["cells"]["in"] == "yes"


def test_the_sheet_of_labels_is_the_one_that_was_chosen_after_a_reload(opened):
    """The form shows what the papers are printed on."""
    page = opened()
    page.papers.sheet._heard(None, {"typed": {"sheet": "a4-14"}}, [])
    assert opened().papers.sheet.values == {"sheet": "a4-14"}


def test_any_draft_is_found_by_machine_customer_and_number(opened, made, monkeypatch):
    """Older ones too; what is planned stays in sight and in the plan, whatever is looked for."""
    monkeypatch.setattr(forms, "DRAFTS", 2)
    with contextlib.closing(Ledger(made[0])) as ledger:
        for n in range(4):
            desk = quote_desks.of_survey(survey(f"Night Ferry {n}", serial=f"NF-{n}70"))
            ledger.save(Draft(new_key(), desk.title, quote_desks.as_json(desk)))
    page = opened()
    titles = lambda: [row["title"] for row in page.jobs.rows]  # noqa: E731
    assert page.find.widget.layout.display == ""
    assert len(titles()) == 3
    for words, wanted in (("comet example", "Comet Parade"), ("nf-170", "Night Ferry 1"),
                          ("NIGHT 2", "Night Ferry 2")):
        page.find.field.value = words
        assert [title for title in titles() if "Harbour" not in title and "Ferry 3" not in title
                ] == [f"{wanted} – R. Example"]
        assert titles()[0].startswith(wanted)
        assert "1 found." in page.find.said.value
    plan = page.found
    page.find.field.value = "nothing of ours"
    assert "Nothing holds all these words." in page.find.said.value
    assert job_row(page, "Harbour Lights")["cells"]["in"] == "yes"
    page.find.field.value = "comet"
    edit(page, "Comet Parade", "in", "yes")
    page.find.field.value = ""
    assert job_row(page, "Comet Parade")["cells"]["in"] == "yes"
    assert len(page.found.jobs) == len(plan.jobs) + 1
    assert faults(page) == ""


def test_of_more_jobs_than_can_be_planned_the_soonest_are_ticked(opened, made, monkeypatch):
    """A shop with many open jobs has a plan at once, and is told how many are left out."""
    monkeypatch.setattr(forms, "MOST_JOBS", 1)
    with contextlib.closing(Ledger(made[0])) as ledger:
        offer = quote(survey("Night Ferry"), Choices(Level.CLEAN, trials=200, on=TODAY),
                      open_shop(made[0]), compare=False)
        jobs.keep(ledger, offer, open_shop(made[0]))
        jobs.accept(ledger, offer.number, on=TODAY, promised=TODAY + timedelta(20))
    page = opened()
    assert [one.name for one in page.found.jobs] == [job_row(page, "Night Ferry")["title"]]
    assert job_row(page, "Harbour Lights")["cells"]["in"] == ""
    assert "of 2 jobs those that are promised soonest" in page.many.value
    assert faults(page) == ""


def test_the_search_takes_the_place_of_what_was_drawn(opened):
    """It is never worse, and how good it is stands in words."""
    page = opened()
    drawn = page.found
    page.form._heard(None, {"typed": {"seconds": "5"}}, [])
    assert page.found is not drawn
    assert page.found.plan.proof.seconds > 0
    assert page.found.outlook.trials == desks.MANY
    assert page.found.plan.draft.worth <= drawn.plan.draft.worth
    assert re.search("No better plan exists|could be saved|cannot say yet|thousandth",
                     page.proof.value)


def test_a_search_that_is_stopped_leaves_the_best_so_far(opened):
    """The button ends it with a plan; an edit ends it with none."""
    page = opened()
    edit(page, "Comet Parade", "in", "yes")
    asked = []

    def told(end, least):
        asked.append((end, least))
        return False

    found = desks.bettered(page.found, told)
    assert found.plan.draft.worth <= page.found.plan.draft.worth
    page.search._run = object()
    page.search.stop()
    assert page.search.enough
    assert page.search.running
    page.search.stop("")
    assert not page.search.running


def test_proofs_are_said_in_words():
    """Proven, drawn at once, a gap, not known, and how much was moved."""
    class Plan:
        proof = None

    def words(proven=False, gap=0.0, seconds=1.0, of="end", moved=0, stopped=False):
        Plan.proof = schedule.Proof(proven, gap, seconds, of, moved)
        return schedule.proof_words(Plan, stopped)

    assert words(proven=True) == "No better plan exists for these hours."
    assert "Drawn at once" in words(seconds=0.0, gap=1.0)
    assert words(gap=0.034) == ("The search ended. At most 3.4 % of the time to the end could be "
                                "saved by another plan.")
    assert "stopped" in words(gap=0.5, of="lateness", stopped=True)
    assert "lateness" in words(gap=0.5, of="lateness")
    assert "cannot say yet" in words(gap=1.0)
    assert "3 pieces of work begin on another day" in words(proven=True, moved=3)


def test_what_is_done_and_booked_is_not_planned_again(opened, made):
    """A done mark takes an item off the plan, booked hours shorten another; by one click."""
    folder, number = made
    page = opened()
    plan = page.found.plan
    (job,) = page.found.jobs
    work = {step.item: step for step in plan.steps if step.what == "work"}
    done, begun = 1, max(work, key=lambda item: work[item].hours)
    ledger = Ledger(folder)
    ledger.mark_done(number, [done], TODAY - timedelta(1))
    ledger.book([TimeEntry(day=TODAY - timedelta(1), job=number, person="Mara",
                           hours=0.25, item=begun + 1)],
                unbilled=(), sure=("new-person", "before-job", "long-ago"))
    ledger.close()
    page._again()
    after = {step.item: step for step in page.found.plan.steps if step.what == "work"}
    assert done - 1 not in after
    assert set(after) == set(work) - {done - 1}
    share = open_shop(folder).settings.productive_share
    assert after[begun].hours == pytest.approx(work[begun].hours - 0.25 / share, abs=0.02)
    assert len(page.found.jobs) == 1
    assert page.found.jobs[0].name == job.name


def test_lots_away_and_parts_bought_are_known(opened, made):
    """A lot that was sent is awaited from that day; parts that were bought are not ordered."""
    folder, number = made
    page = opened()
    (job,) = page.found.jobs
    lot = job.job.lots[0]
    dated = page.found.ordering.orders[0]
    part, units = next(pair for line in dated.order.lines for pair in line.covers)
    ledger = Ledger(folder)
    ledger.add(Outwork(day=TODAY - timedelta(2), job=number, service=lot.service, what="Legs",
                       event="sent", quantity=4, unit="piece", currency="USD"))
    ledger.add(Purchase(day=TODAY - timedelta(3), job=number, supplier=dated.order.name,
                        what="Parts", quantity=units, unit="each", amount=Decimal("5.00"),
                        currency="USD", part=part))
    ledger.close()
    page._again()
    (after,) = page.found.jobs
    assert after.sent == {lot.service: TODAY - timedelta(2)}
    assert any(lead.ordered == TODAY - timedelta(3) for lead in after.leads)
    bought = {name for one in page.found.ordering.orders for line in one.order.lines
              for name, _ in line.covers}
    assert part not in bought
    page._go("buying")
    assert f"{TODAY - timedelta(3):%Y-%m-%d}" in read(page.waiting)


def test_loads_add_up_to_the_hours_of_the_plan(opened):
    """Over all weeks and people they are the hours of all work; nobody is over their hours."""
    found = opened().found
    rows = desks.week_loads(found)
    worked = sum(step.hours for step in found.plan.steps if step.what == "work")
    assert sum(planned for _, _, planned, _ in rows) == pytest.approx(worked, abs=0.5)
    assert all(planned <= there + 1e-6 for _, _, planned, there in rows)
    assert {monday.weekday() for monday, *_ in rows} == {0}
    # From Wednesday on the first week has three days of eight hours.
    assert rows[0][3] == 24


def test_weekends_are_closed_days(opened):
    """Saturdays and Sundays of a shop that works on weekdays, and no others."""
    found = opened().found
    days = {(TODAY + timedelta(day)).weekday() for day in desks.closed_days(found)}
    assert days == {5, 6}


def test_a_job_that_is_overdue_is_planned_all_the_same(opened):
    """A day before the first is as due on the first: it is late whatever is done."""
    page = opened()
    edit(page, "Harbour Lights", "due", str(TODAY - timedelta(30)))
    assert faults(page) == ""
    assert page.found.jobs[0].due == TODAY
    assert "holds in none" in read(page.strip)


def test_promise_and_cost_of_a_week_less_come_from_the_trials(opened):
    """The promise holds as often as was asked or more; a week earlier seldomer, and later."""
    page = opened()
    (ready,) = page.found.outlook.ready.values()
    promise = ready.promise(0.8)
    sooner = ready.earlier(promise)
    assert promise.chance >= 0.8 > sooner.chance
    page._go("dates")
    said = read(page.dates)
    assert f"holds in {round(100 * promise.chance)} in 100" in said
    assert f"{sooner.late_days:.1f} d late on average" in said


def test_what_was_typed_elsewhere_is_escaped(tmp_path):
    """A job whose name is a script is a name, in every table, chart and figure."""
    folder, _ = filled(tmp_path / "shop", title=EVIL)
    page = PlanPage(folder, open_shop(folder), lambda: TODAY)
    for part in PARTS:
        page._go(part)
    shown = [page.strip, page.days, page.load, page.by_day, page.critical, page.dates, page.late,
             page.ways, page.waiting, page.orders, page.lots]
    assert any("&lt;script&gt;" in one.value for one in shown)
    assert not any("<script" in one.value for one in shown)
    page.ledger.close()


def test_papers_are_handed_out_as_pdf_or_zip(opened, monkeypatch):
    """One file as it is, several in an archive; of the plan that stands on the page."""
    page = opened()
    out = {}
    for key, button in page.papers.files.items():
        monkeypatch.setattr(button, "hand_out", lambda name, media, data, key=key: out.update(
            {key: (name, media, data)}))
        page.papers.hand_out(key)
    assert faults(page) == ""
    assert set(out) == set(bench_papers._FILES)
    assert out["labels"][0] == "labels.pdf"
    assert out["job-cards"][2][:5] == b"%PDF-"
    with zipfile.ZipFile(io.BytesIO(out["papers"][2])) as file:
        names = file.namelist()
    assert {"job-card.pdf", "labels.csv", "waiting.pdf", "parts-waiting.csv"} <= set(names)
    page.papers.sheet._heard(None, {"typed": {"sheet": "a4-14"}}, [])
    before = out["labels"][2]
    page.papers.hand_out("labels")
    assert out["labels"][2] != before


def test_a_shop_without_jobs_says_what_to_do(tmp_path):
    """No job and no draft: the page opens, and leads to where they are made."""
    folder = new_shop(tmp_path / "shop")
    page = PlanPage(folder, open_shop(folder), lambda: TODAY)
    assert page.found is None
    assert "Make a draft" in faults(page)
    assert page.answer.layout.display == "none"
    page.papers.hand_out("labels")
    assert "no plan yet" in faults(page)
    page.ledger.close()


def test_without_a_shop_folder_the_page_says_so(monkeypatch):
    """There is nowhere that jobs could stand in: a sentence, and no traceback."""
    monkeypatch.setenv(serving.SHOP_VARIABLE, "")
    assert "shop folder" in plan_page.opened().children[-1].value


def test_a_plan_asks_for_no_more_machines_than_it_can_take():
    """More than a dozen together are refused in words."""
    shop = open_shop()
    known = [forms.Candidate(f"job:{n}", f"Machine {n}", "", first=True)
             for n in range(forms.MOST_JOBS + 1)]
    with pytest.raises(BadInput, match="at most"):
        forms.asked({}, known, shop, TODAY)
    assert len(forms.asked({}, known[1:], shop, TODAY).jobs) == forms.MOST_JOBS


# In a browser


@pytest.fixture(scope="module")
def served(tmp_path_factory, chromium):
    """The pages, served for a shop with a job and a draft."""
    today = datetime.now().date()
    folder, number = filled(tmp_path_factory.mktemp("plan") / "shop", today, again=False)
    with contextlib.closing(Ledger(folder)) as ledger:
        for n in range(forms.DRAFTS):
            ledger.save(Draft(new_key(), f"Night Ferry {n}", {}))
    with serving.running(folder) as server:
        yield folder, number, server


def open_page(page, server):
    """Open the page and wait for its plan."""
    page.goto(server.page("bench-plan.ipynb"), wait_until="commit")
    page.get_by_test_id("promise-0").wait_for()


def test_a_plan_is_made_by_keyboard_and_stands_after_a_reload(browser, served):
    """From the start page on: tick a draft by the keyboard, see its day, look again, print."""
    from playwright.sync_api import expect
    folder, _, server = served
    with window(browser) as page:
        page.goto(server.page("start.ipynb"), wait_until="commit")
        page.get_by_role("link", name="Bench plan").click()
        page.get_by_test_id("chart-days").locator("svg").wait_for()
        expect(page.get_by_test_id("proof")).to_contain_text("better")
        assert "def " not in page.content()
        tick = page.get_by_label("Plan it, Comet Parade – R. Example", exact=True)
        expect(tick).to_have_count(0)
        page.get_by_label("Find a job or draft by machine, customer or number").focus()
        page.keyboard.type("example comet")
        page.keyboard.press("Enter")
        expect(page.get_by_test_id("found-job-or-draft")).to_have_text("1 found.")
        tick.focus()
        page.keyboard.press("Space")
        expect(page.get_by_test_id("promise-1")).not_to_be_empty()
        seconds = page.get_by_label("Search for a better plan for, seconds")
        seconds.fill("0")
        seconds.press("Tab")
        expect(page.get_by_test_id("proof")).to_contain_text("Drawn at once")
        weight = page.get_by_label("Priority, Comet Parade – R. Example", exact=True)
        weight.fill("none")
        weight.press("Tab")
        expect(page.locator(".est-wrong", has_text="number")).to_be_visible()
        expect(weight).to_have_attribute("aria-invalid", "true")
        weight.fill("2")
        weight.press("Tab")
        expect(weight).not_to_have_attribute("aria-invalid", "true")
        expect(page.get_by_test_id("fault")).to_have_count(0)
        page.get_by_role("button", name="Papers", exact=True).click()
        with page.expect_download() as got:
            page.get_by_role("button", name="Labels for bags").click()
        assert got.value.path().read_bytes()[:5] == b"%PDF-"
        expect(page.locator(".est-head")).to_contain_text("Saved at")
        page.wait_for_timeout(800)
        page.reload(wait_until="commit")
        page.get_by_test_id("proof").wait_for(timeout=PATIENCE_MS)
        expect(page.get_by_label("Priority, Comet Parade – R. Example",
                                 exact=True)).to_have_value("2")
        expect(page.get_by_label("Plan it, Comet Parade – R. Example",
                                 exact=True)).to_be_checked()
    ledger = Ledger(folder)
    assert ledger.latest(forms.KIND).content["form"]["seconds"] == "0"
    ledger.close()
