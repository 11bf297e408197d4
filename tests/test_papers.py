"""Papers for the bench: what they say, that they fit their sheets, that codes can be read."""

import csv
import io
import json
import re
import subprocess
from dataclasses import replace
from datetime import date

import pytest
from conftest import needed

from estimator import buying, schedule
from estimator.catalogue import Certainty, Condition, Era, Level
from estimator.catalogue.bench import PAPERS, LabelSheet
from estimator.cli import main
from estimator.documents import bench, bench_rows
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.schedule.supplying import parts_of
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey import Line, Machine, Survey

TODAY = date(2026, 11, 26)
HOSTILE = '=cmd|"x" #let y = 1; $5 *b* <t> \\u{41}'
SHOP = open_shop()


def on_bench(name="Harbour Lights", level=Level.FULL, lamps="12 red, 6 amber; nice ones",
             coils="3 flipper, 4 pop bumper"):
    """A small machine with lamps, coils, posts for the tumbler and legs to be sent out."""
    lines = (
        Line("topside-strip-and-refit", 1, Condition.WORN),
        Line("lamp", 20, Condition.WORN, note=lamps),
        Line("coil", 7, Condition.WORN, note=coils),
        Line("post", 12, Condition.HEAVY),
        Line("flipper", 2, Condition.HEAVY),
        Line("leg", 4, Condition.HEAVY, Certainty.SEEN),
    )
    survey = Survey(Machine(title=name, era=Era.DOT_MATRIX), lines)
    return schedule.OnBench(name, estimate(scope(survey, level, SHOP.catalogue), SHOP))


@pytest.fixture(scope="module")
def planned():
    """A plan for two machines, one with a name that means something to other programs."""
    jobs = [on_bench(), on_bench(HOSTILE, Level.SHOP_JOB)]
    basket = schedule.basket_of(jobs, SHOP)
    jobs = schedule.ordered(jobs, basket)
    return schedule.plan(jobs, SHOP, start=TODAY, seconds=0), jobs, basket


def rows_of(data: bytes) -> list[dict]:
    """Rows of a CSV by header."""
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))


def text_of(pdf: bytes) -> str:
    """The text of a PDF, its blanks drawn together."""
    done = subprocess.run([needed("pdftotext", "poppler-utils"), "-layout", "-", "-"], input=pdf,
                          capture_output=True, check=True)
    return " ".join(done.stdout.decode().split())


def pictures(pdf: bytes, folder, dots: int) -> list:
    """Pages of a PDF as pictures."""
    from PIL import Image

    subprocess.run([needed("pdftoppm", "poppler-utils"), "-r", str(dots), "-png", "-",
                    str(folder / "page")], input=pdf, capture_output=True, check=True)
    return [Image.open(path) for path in sorted(folder.glob("page*.png"))]


def test_a_job_card_has_every_work_item_in_the_plans_order(planned):
    """Each step of the job stands on the card once, by when it begins."""
    plan, (one, _), _ = planned
    rows = rows_of(bench.card_csv(plan, one, SHOP))
    work = [step for step in plan.of_job(one.name) if step.what == "work"]
    assert len(rows) == len(work) > 10
    assert [row["start"] for row in rows] == sorted(row["start"] for row in rows)
    assert {int(row["item"]) for row in rows} == set(range(1, len(one.job.items) + 1))
    hours = sum(float(row["hours"]) for row in rows)
    # Hours of work on the card are those that the estimate expects.
    assert hours == pytest.approx(one.job.hours, abs=0.01 * len(rows))


def test_a_job_card_says_what_work_waits_for(planned):
    """What stands under "waits for" is over before the work begins, and is named as it is."""
    plan, (one, _), _ = planned
    ends = {}
    for step in plan.of_job(one.name):
        ends[step.name] = max(step.end, ends.get(step.name, step.end))
    checked = 0
    for task in bench_rows.card_rows(plan, one, SHOP):
        for said in task.waits_for.split("; "):
            name = said if said in ends else f"{task.assembly}: {said}"
            if name in ends:
                checked += 1
                assert ends[name] <= task.step.start or name == task.step.name
    assert checked > 10


def test_a_job_card_warns_where_work_can_hurt(planned):
    """Cautions of every item on the card stand on it in full, and defer to local codes."""
    plan, (one, _), _ = planned
    text = text_of(bench.card_pdf(plan, one, SHOP, today=TODAY, number="Q-7"))
    names = {name for item in one.job.items for name in item.work.operation.cautions}
    assert names
    for name in names:
        row = SHOP.catalogue.cautions[name]
        assert row.hazard in text
        assert " ".join(row.text.split()[:4]) in text
    assert "Local codes" in text
    assert "Q-7" in text
    assert "Booked, h" in text


def test_what_was_typed_stays_text(planned):
    """Signs that mean something to a typesetter or a spreadsheet come out as typed."""
    plan, (_, other), _ = planned
    assert HOSTILE in text_of(bench.card_pdf(plan, other, SHOP, today=TODAY))
    assert {row["job"] for row in rows_of(bench.card_csv(plan, other, SHOP))} == {"'" + HOSTILE}


@pytest.mark.parametrize("sheet", list(SHOP.catalogue.label_sheets))
def test_every_code_on_a_sheet_of_labels_can_be_read(planned, sheet, tmp_path):
    """A reader that is none of ours reads each label's code, and finds it on its own label.

    QR codes after ISO/IEC 18004; read by ZXing-C++.
    """
    zxingcpp = pytest.importorskip("zxingcpp")
    plan, jobs, _ = planned
    rows = bench_rows.labels(plan, jobs, SHOP, {HOSTILE: "Q-2026-0002"})
    size, dots = SHOP.catalogue.label_sheets[sheet], 200
    pages = pictures(bench.labels_pdf(rows, SHOP, today=TODAY, sheet=sheet), tmp_path,
                     dots)
    per = size.columns * size.rows
    assert len(pages) == -(-len(rows) // per)
    seen = 0
    for at, page in enumerate(pages):
        assert page.size == pytest.approx([mm / 25.4 * dots for mm in PAPERS[size.paper]], abs=1.5)
        found = zxingcpp.read_barcodes(page.convert("L"))
        for one in found:
            middle = [(getattr(one.position.top_left, axis)
                       + getattr(one.position.bottom_right, axis)) / 2 / dots * 25.4
                      for axis in "xy"]
            across, down = ((middle[0] - size.left_mm) / size.across_mm,
                            (middle[1] - size.top_mm) / size.down_mm)
            assert one.text == rows[at * per + int(down) * size.columns + int(across)].code
            # It stands within its label and not between two.
            assert (across % 1) * size.across_mm < size.width_mm
            assert (down % 1) * size.down_mm < size.height_mm
        seen += len(found)
    assert seen == len(rows) > 4


def test_a_label_names_the_assembly_its_next_step_and_what_that_waits_for(planned):
    """One label an assembly that comes off, with the item that is next in the plan."""
    plan, (one, _), _ = planned
    found = {row.assembly: row for row in bench_rows.labels(plan, [one], SHOP)}
    assert not any(SHOP.catalogue.assemblies[one.job.scope.lines[0].assembly].name in name
                   for name in found)
    posts = found[f"{SHOP.catalogue.assemblies['post'].name} (12)"]
    item = one.job.items[posts.item - 1]
    assert item.line == 3
    assert item.work.operation.name in posts.step
    others = [task for task in bench_rows.card_rows(plan, one, SHOP)
              if one.job.items[task.item - 1].line == 3
              and one.job.items[task.item - 1].work.operation.kind
              not in ("inspect", "remove", "dismantle", "admin", "test")]
    assert others[0].item == posts.item
    assert posts.code == f"Harbour Lights/{posts.item}"


def test_label_sheets_must_fit_their_paper():
    """A row whose labels run off the paper or over each other is refused.

    ISO 216: A4 is 210 mm wide.
    """
    row = SHOP.catalogue.label_sheets["a4-24"].model_dump()
    assert LabelSheet.model_validate(row)
    with pytest.raises(ValueError, match="the paper is 210 x 297 mm"):
        LabelSheet.model_validate(row | {"columns": 4})
    with pytest.raises(ValueError, match="overlap"):
        LabelSheet.model_validate(row | {"down_mm": 30})


def test_the_first_sheet_for_the_shops_paper_is_taken():
    """Without a name it is one of the shop's paper; another name is refused with those near it."""
    name = bench.sheet_named(None, SHOP)
    assert SHOP.catalogue.label_sheets[name].paper == SHOP.settings.paper
    with pytest.raises(BadInput, match="a4-24"):
        bench.sheet_named("a4-25", SHOP)


def test_lamps_are_listed_by_colour_of_the_insert():
    """Counts of the note, and the rest without a colour; all lamps of the line together."""
    rows = bench_rows.lamps([on_bench()], SHOP.catalogue)
    assert [(row.kind, row.count) for row in rows] == [("red", 12), ("amber", 6), ("", 2)]
    said = rows_of(bench.lamps_csv(rows, SHOP.catalogue))
    assert said[0]["lamp"] == SHOP.catalogue.insert_colours["red"].lamp
    assert "20 lamps in all" in text_of(bench.lamps_pdf(rows, SHOP, today=TODAY))
    assert bench_rows.lamps([on_bench(lamps="grubby")], SHOP.catalogue)[0].count == 20


def test_a_note_that_counts_too_many_is_told():
    """More than the line has is not passed over in silence."""
    rows = bench_rows.lamps([on_bench(lamps="15 red, 8 green")], SHOP.catalogue)
    assert sum(row.count for row in rows) == 23
    assert "count again" in rows[-1].note
    assert "count again" in text_of(bench.lamps_pdf(rows, SHOP, today=TODAY))


def test_coil_labels_are_listed_by_type_and_count():
    """As many as the estimate puts on: by the note's types, the rest without one."""
    rows = bench_rows.coil_labels([on_bench(coils="3 flipper, 2 pop bumper")])
    assert [(row.kind, row.count) for row in rows] == [("flipper", 3), ("pop bumper", 2), ("", 2)]
    assert bench_rows.coil_labels([on_bench(level=Level.CLEAN)]) == []
    said = text_of(bench.coil_labels_pdf([], SHOP, today=TODAY))
    assert "nothing on this list" in said


def test_the_waiting_list_goes_by_the_day_that_a_wait_is_over(planned):
    """Every wait of the plan once, in order, with a word for its kind."""
    plan, _, _ = planned
    rows = rows_of(bench.waits_csv(plan, SHOP.catalogue))
    assert len(rows) == sum(step.end > step.start for step in plan.waits)
    assert [row["over"] for row in rows] == sorted(row["over"] for row in rows)
    kinds = {row["kind"] for row in rows}
    assert kinds <= {"parts", "outwork", "tumbler", "cure"}
    assert {"parts", "outwork"} <= kinds
    for row in rows:
        if row["kind"] == "parts":
            assert row["what"].startswith("Parts from")
    assert "Holds up" in text_of(bench.waits_pdf(plan, SHOP, today=TODAY))


@pytest.mark.parametrize(("what", "operation", "word"), [
    ("order", "oakbench-parts", "parts"), ("outwork", "blasting", "outwork"),
    ("wait", "tumble-load", "tumbler"), ("wait", "clear-spray", "cure"),
    ("wait", "clear-final-polish", "cure"), ("wait", "seams-reglue", "cure")])
def test_each_wait_has_its_word(planned, what, operation, word):
    """What a machine does by itself is told from what dries, though both take up a place."""
    step = replace(planned[0].steps[0], what=what, operation=operation)
    assert schedule.wait_word(step, SHOP.catalogue) == word


def test_orders_follow_from_the_plan(planned):
    """A part is needed when the first work begins that waits for it; orders go out before."""
    plan, jobs, basket = planned
    needed_on = schedule.needed_on(plan, jobs)
    assert needed_on
    for part, when in needed_on.items():
        lines = [(one.name, supply.line) for one in jobs for supply in one.job.supplies
                 if supply.item == part]
        starts = [(step.start - plan.steps[0].start.replace(hour=0, minute=0)).total_seconds()
                  for step in plan.steps if step.what == "work"
                  for line in step.lines if (step.job, line) in lines]
        assert when >= min(starts) / 86400 - 1e-6
    found = schedule.ordering_of(plan, jobs, basket, chance=0.5)
    for dated in found.orders:
        if dated.needed is not None and dated.place_on > 0:
            assert dated.place_on <= dated.needed
            assert dated.chance_late <= 0.5 + 1e-9


def test_what_was_bought_for_lines_that_are_done_is_used_up():
    """One of two lines is done: what was bought for it is not there for the other."""
    lamps = Line("lamp", 20, Condition.WORN)
    job = estimate(scope(Survey(Machine(era=Era.DOT_MATRIX), (lamps, lamps)), Level.FULL,
                         SHOP.catalogue), SHOP)
    first = {place: TODAY for place, item in enumerate(job.items, 1) if item.line == 0}
    half = schedule.OnBench("Harbour Lights", job, done=first)
    used = parts_of(half)  # the line that is open takes as much as the one that is done

    def covered(bought):
        return {part: units for order in schedule.basket_of([half], SHOP, bought=bought).orders
                for line in order.lines for part, units in line.covers}

    assert covered(used) == covered({})
    assert set(covered({})) == set(used)
    assert covered({part: 2 * units for part, units in used.items()}) == {}
    # What may break counts from what is there: more was bought, a second parcel is less likely.
    part = next(iter(used))
    basket = schedule.basket_of([half], SHOP)
    bare = schedule.spares_of([half], SHOP, basket)
    ahead = schedule.spares_of([half], SHOP, basket, bought={part: used[part] + 20})
    whole = schedule.spares_of([schedule.OnBench("Harbour Lights", job)], SHOP, basket)
    assert sum(one.chance_without for one in ahead.values()) < sum(
        one.chance_without for one in bare.values()) < sum(
        one.chance_without for one in whole.values())


def test_a_basket_that_is_there_is_not_bought_again():
    """Side by side stand the basket itself and the three wishes, its own only once."""
    market, jobs = schedule.market_of(SHOP), [on_bench()]
    fast = schedule.basket_of(jobs, SHOP, offered=market, wish=buying.FASTEST)
    own = schedule.basket_of(jobs, SHOP, offered=market, wish=buying.trade_off(15))
    beside = schedule.baskets_of(jobs, SHOP, fast, offered=market)
    assert [one.wish.name for one in beside] == ["cheapest", "fastest", "fewest parcels"]
    assert beside[1] is fast
    assert schedule.baskets_of(jobs, SHOP, own, offered=market)[3] is own


def test_parts_that_come_are_on_the_waiting_list(planned):
    """By the day they come, with the day they are needed; nobody's parts are told as such."""
    plan, jobs, basket = planned
    ordering = schedule.ordering_of(plan, jobs, basket)
    assert ordering.waiting
    text = text_of(bench.waits_pdf(plan, SHOP, today=TODAY, ordering=ordering))
    assert "Parts by the day they come" in text
    for row in ordering.waiting:
        assert SHOP.catalogue.parts[row.part].name.split()[0] in text
    gone = replace(ordering, waiting=(replace(ordering.waiting[0], expected=None, supplier=""),))
    assert "nobody offers it" in text_of(bench.waits_pdf(plan, SHOP, today=TODAY, ordering=gone))


def test_a_long_number_is_read_with_its_hyphens(planned):
    """No hyphen hangs over the letters that follow it."""
    plan, (one, _), _ = planned
    number = "20261126-brindle-quay-full-3"
    assert number in text_of(bench.card_pdf(plan, one, SHOP, today=TODAY, number=number))


def test_papers_write_days_as_the_shop_does(planned):
    """One way of writing days on all papers of a shop."""
    plan, (one, _), _ = planned
    house = replace(SHOP, settings=SHOP.settings.model_copy(update={"locale": "de_DE"}))
    for pdf in (bench.card_pdf(plan, one, house, today=TODAY),
                bench.waits_pdf(plan, house, today=TODAY)):
        said = text_of(pdf)
        assert re.search(r"\d\. (November|Nov\.|Dezember|Dez\.)", said)
        assert not re.search(r"\b2026-\d\d-\d\d|\b(Thu|Fri|Mon)\b", said)


def test_lots_are_listed_piece_by_piece(planned):
    """Every piece of every lot once, with the days it leaves and is back."""
    plan, jobs, _ = planned
    lots = schedule.lots_of(plan, jobs, SHOP).best.lots
    rows = rows_of(bench.lots_csv(lots, SHOP.catalogue, TODAY))
    assert len(rows) == sum(len(lot.pieces) for lot in lots) > 0
    assert sum(int(row["count"]) for row in rows) == sum(lot.count for lot in lots)
    assert all(TODAY.isoformat() <= row["leaves"] <= row["back"] for row in rows)
    # Each leaves on the day on which the plan sends something of its own job to that service.
    sent = {(step.start.date().isoformat(), step.job) for step in plan.steps
            if step.what == "outwork"}
    assert {(row["leaves"], row["job"].lstrip("'")) for row in rows} <= sent


def test_days_of_parts_are_the_same_on_every_list(planned):
    """A part is needed on the day its work begins, on the list to print and on that to sort."""
    plan, jobs, basket = planned
    ordering = schedule.ordering_of(plan, jobs, basket)
    listed = rows_of(bench.papers(plan, jobs, SHOP, ordering=ordering)["parts-waiting.csv"])
    begins = {step.start.date().isoformat() for step in plan.steps}
    assert {row["needed"] for row in listed} - {""} <= begins
    shown = {f"{day:%b} {day.day}" for day in map(date.fromisoformat, (
        row["needed"] for row in listed if row["needed"]))}
    text = text_of(bench.waits_pdf(plan, SHOP, today=plan.start, ordering=ordering))
    assert all(day in text for day in shown)


def test_the_same_plan_gives_the_same_papers(planned):
    """Bytes do not change from one making to the next."""
    plan, jobs, basket = planned
    ordering = schedule.ordering_of(plan, jobs, basket)
    lots = schedule.lots_of(plan, jobs, SHOP).best.lots
    made = [bench.papers(plan, jobs, SHOP, ordering=ordering, lots=lots) for _ in range(2)]
    assert made[0] == made[1]
    assert {name.rpartition(".")[2] for name in made[0]} == {"pdf", "csv"}
    assert sum(name.startswith("job-card") for name in made[0]) == 4
    assert all(data[:5] == b"%PDF-" for name, data in made[0].items() if name.endswith(".pdf"))


def test_the_command_writes_papers_beside_the_plan(tmp_path, demo_survey_path, capsys):
    """`estimator plan … --out DIR` writes plan and papers; a sheet that is none writes nothing."""
    out = tmp_path / "plan"
    common = ["plan", str(demo_survey_path), "--level", "clean", "--start", "2026-11-26",
              "--seconds", "0", "--trials", "100", "--out", str(out)]
    assert main([*common, "--labels", "none-such"]) != 0
    assert not out.exists()
    capsys.readouterr()
    out.mkdir()
    for name in ("order-gone.pdf", "order of mine.pdf", "job-card-2-gone.csv"):
        (out / name).write_text("old")
    assert main(common) == 0
    assert "not of this one: job-card-2-gone.csv, order-gone.pdf\n" in capsys.readouterr().out
    names = {path.name for path in out.iterdir()}
    assert {"plan.json", "plan.csv", "job-card.pdf", "job-card.csv", "labels.pdf", "labels.csv",
            "lamps.pdf", "coil-labels.csv", "waiting.pdf", "waiting.csv"} <= names
    whole = json.loads((out / "plan.json").read_text())
    assert len(rows_of((out / "plan.csv").read_bytes())) == len(whole["steps"])
