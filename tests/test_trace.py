"""Opened figures: every tree adds up, every leaf names where it stands, the text can be read."""

import csv
import io
import json
import math
import re
import subprocess
import sys
from datetime import date, timedelta
from decimal import Decimal

import pytest
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator.catalogue import (
    LEVELS,
    Certainty,
    Condition,
    Era,
    Finish,
    Grit,
    Level,
    Mark,
    Material,
    Offer,
    Service,
    Supplier,
)
from estimator.errors import BadInput
from estimator.money import minor_digits
from estimator.quote import FIXED, TIME, Choices, quote
from estimator.quote import as_dict as quote_dict
from estimator.shop import new_shop, open_shop
from estimator.survey import read, template
from estimator.trace import OPS, as_dict, as_text, figures, trace, trace_all

DEFAULTS = open_shop()
ON = date(2026, 1, 5)


def points(value):
    """A number or a range as three points."""
    return value if isinstance(value, tuple) else (value,) * 3


def pointwise(rule):
    """A rule for numbers, carried out for low, typical and high."""
    return lambda step: tuple(
        rule([points(one.value)[k] for one in step.steps]) for k in range(3)
    )


def triple(weight):
    """Mean of a range whose typical value has this weight."""
    return lambda step: points(
        (lambda low, typical, high: (low + weight * typical + high) / (weight + 2))(
            *step.steps[0].value)
    )


def unit_curve(step):
    """The unit learning curve of Wright (1936): the n-th unit takes n^(log2 rate) of the first."""
    count, rate = (one.value for one in step.steps)
    whole = math.floor(count)
    times = [n ** math.log2(rate) for n in range(1, whole + 2)]
    return points(sum(times[:whole]) + (count - whole) * times[whole])


def stretched(step):
    """A range that holds its typical value."""
    typical, (low, _, high) = step.steps[0].value, step.steps[1].value
    return min(low, typical), typical, max(high, typical)


def freight(step):
    """Freight, or nothing from a value of the order on."""
    price, *terms = (one.value for one in step.steps)
    return points(0.0 if terms and terms[0] >= terms[1] - 1e-6 else price)


ADDS_UP = {
    "sum": pointwise(math.fsum),
    "product": pointwise(math.prod),
    "quotient": pointwise(lambda values: values[0] / math.prod(values[1:])),
    "rest": pointwise(lambda values: 1 - sum(values)),
    "plus": pointwise(lambda values: 1 + sum(values)),
    "difference": pointwise(lambda values: values[0] - sum(values[1:])),
    "excess": pointwise(lambda values: max(0.0, values[0] - values[1])),
    "largest": pointwise(max),
    "count": lambda step: points(float(len(step.steps))),
    "mean": triple(4),
    "middle": triple(1),
    "learning": unit_curve,
    "rounded up": pointwise(lambda values: float(math.ceil(values[0] - 1e-6))),
    "offer": stretched,
    "freight": freight,
}


def check(step, currency):
    """The one step against its steps, by its own rule."""
    values = [one.value for one in step.steps]
    if step.op == "row":
        assert not step.steps
        cells = tuple(step.row.cells.values())
        assert step.value == cells if isinstance(step.value, tuple) else step.value in cells
    elif step.op == "definition":
        assert not step.steps
        assert step.row.kind == "definition"
    elif step.op == "equal":
        assert all(value == step.value for value in values)
    elif step.op == "rounded":
        exact, size = values
        size = size or 10 ** -minor_digits(currency)
        assert abs(step.value - exact) <= size / 2 + 1e-6
        assert step.value / size == pytest.approx(round(step.value / size), abs=1e-6)
    elif step.op == "line amount":
        units, price = (Decimal(repr(value)) for value in values)
        coin = Decimal(1).scaleb(-minor_digits(currency))
        assert step.value == float((units * price).quantize(coin, "ROUND_HALF_UP"))
    elif step.op == "bought":
        needed, pack = values
        assert step.value >= needed
        assert step.value % pack == 0
    elif step.op == "date":
        first, days = values
        assert step.value == str(date.fromisoformat(first) + timedelta(math.ceil(days)))
    elif step.op == "class":
        assert step.value in (1, 2, 3, 4, 5)
    elif step.op == "simulated":
        assert step.steps
        assert "trials (seed " in step.how
    else:
        found = ADDS_UP[step.op](step)
        assert points(step.value) == pytest.approx(found, rel=1e-9, abs=step.within + 1e-9)


def walk(*roots):
    """Every step of some trees, once; two that have one key must be the same figure."""
    seen = {}
    waiting = list(roots)
    while waiting:
        step = waiting.pop()
        face = (step.name, step.value, step.op, step.how, [one.key for one in step.steps])
        if step.key in seen:
            assert seen[step.key] == face, f"two figures are called {step.key}"
            continue
        seen[step.key] = face
        yield step
        waiting += step.steps


def check_leaf(step):
    """A leaf says where it stands and on what that rests; only an empty sum has no place."""
    if step.op == "sum" and step.value == 0:
        return
    assert step.row.source
    assert step.row.cells or step.row.kind == "definition"
    if step.row.kind == "table":
        assert step.row.row > 1
        assert step.row.basis
        assert step.row.dated


def check_quote(offer, catalogue):
    """Every figure of a quote adds up; returns them by key."""
    known = figures(offer)
    roots = trace_all(offer, known, catalogue)
    for key, root in zip(known, roots, strict=True):
        assert (root.key, root.name, root.figure) == (key, known[key], True)
    for step in walk(*roots):
        assert step.name
        assert step.how or step.row, step.key
        assert not step.figure or step.key in known, step.key
        try:
            check(step, offer.settings.currency)
            if not step.steps:
                check_leaf(step)
        except AssertionError as error:
            raise AssertionError(f"{step.key}: {step.value} is not {step.how}") from error
    return dict(zip(known, roots, strict=True))


@pytest.fixture(scope="module")
def demo(demo_survey_path):
    """The demo survey."""
    return read(demo_survey_path, DEFAULTS.catalogue, final=True)


@pytest.fixture(scope="module")
def job(demo):
    """A quote of the demo survey with everything in it."""
    return quote(demo, Choices(Level.FULL, on=ON), DEFAULTS, compare=False)


def test_every_rule_of_a_step_is_checked_here():
    """The rules that a tree may use are those that these tests recompute."""
    ruled = {"row", "definition", "equal", "line amount", "rounded", "bought", "date", "class",
             "simulated"}
    assert set(ADDS_UP) | ruled == set(OPS)


@pytest.mark.parametrize("pricing", [FIXED, TIME])
@pytest.mark.parametrize("level", LEVELS)
def test_every_figure_of_the_demo_adds_up(demo, level, pricing):
    """At every level, priced either way, every step is what its steps come to."""
    choices = Choices(level, pricing=pricing, trials=500, on=ON)
    check_quote(quote(demo, choices, DEFAULTS, compare=False), DEFAULTS.catalogue)


def test_opened_figures_are_those_of_the_quote(job):
    """Every number at the top of the quote's JSON opens, and opens to itself."""
    said = quote_dict(job)
    opened = {one.key: one for one in trace_all(job, figures(job), DEFAULTS.catalogue)}
    # Asked for rather than found; ends of ranges are told with what they are about.
    apart = {"schema", "number", "date", "confidence", "margin", "trials", "seed"}
    numbers = {
        key: value for key, value in said.items()
        if isinstance(value, int | float) and key not in apart
        and not key.endswith(("_low", "_high"))
    }
    assert len(numbers) > 15
    for key, value in numbers.items():
        assert opened[key].value == pytest.approx(value, abs=0.051), key
    for key in ("finish_p80", "valid_until"):
        assert opened[key].value == said[key]
    assert opened["parts_budget"].value == pytest.approx(said["parts_budget"]["total"], abs=0.006)
    for place, stage in enumerate(said["stages"], 1):
        assert opened[f"stage-{place}"].value == pytest.approx(stage["amount"])
    for entry in said["price_for_loss"]:
        found = opened[f"price_for_loss.{entry['loss']:g}"].value
        assert found == pytest.approx(entry["price"], abs=0.006)
    for entry in said["taxes"]:
        assert opened[f"tax.{entry['kind']}"].value == pytest.approx(entry["amount"])
    for entry in said["lines"]:
        assert opened[entry["key"]].value == pytest.approx(entry["price"])
        if entry["kind"] == "cover":
            continue
        for what in ("hours_mean", "cost_mean"):
            found = opened[f"{entry['key']}.{what}"].value
            assert found == pytest.approx(entry[what], abs=0.006)
        for kind, amount in entry["kinds"].items():
            if amount:
                assert opened[f"{entry['key']}.{kind}"].value == pytest.approx(amount)


def test_a_table_row_named_holds_what_is_said(job, demo_survey_path):
    """Every cell stands in the file, at the row and in the column that the place names."""
    data = demo_survey_path.parent.parent
    sheets = {path.name: list(csv.reader(io.StringIO(path.read_text("utf-8"), newline="")))
              for path in data.glob("*.csv")}
    survey_rows = list(csv.reader(demo_survey_path.read_text("utf-8-sig").splitlines()))
    survey_header = next(row for row in survey_rows if row[:1] == ["assembly"])
    read_places = set()
    for step in walk(*trace_all(job, figures(job), DEFAULTS.catalogue)):
        place = step.row
        if place is None or place.kind in ("choice", "definition"):
            continue
        rows, header = ((survey_rows, survey_header) if place.kind == "survey"
                        else (sheets[place.file], sheets[place.file][0]))
        cells = dict(zip(header, rows[place.row - 1], strict=True))
        if place.kind == "setting":
            assert place.cells == {cells["rate"]: float(cells["value"])}
        else:
            for column, value in place.cells.items():
                # Blank cells take the default of their column.
                said = cells[column] or {"share": "1", "quantity": "1"}.get(column)
                assert said == str(value) or float(said) == value, (str(place), column)
        if place.kind != "survey":
            assert (place.source, place.dated) == (cells["source"], cells["dated"])
        read_places.add(str(place))
    assert len(read_places) > 300


def test_quantiles_name_trials_seed_and_where_they_lie(demo):
    """A figure of the simulation says on how many trials it rests and how far it may be off."""
    offer = quote(demo, Choices(Level.SHOP_JOB, trials=1000, seed=7, on=ON), DEFAULTS,
                  compare=False)
    for key, unit in (("cost_p80", "USD"), ("hours_p50", "h"), ("days_p80", "d")):
        step = trace(offer, key, DEFAULTS.catalogue)
        assert step.op == "simulated"
        assert step.unit == unit
        assert "1,000 trials (seed 7)" in step.how
        low, high = map(float, re.search(r"give ([\d,.]+) to ([\d,.]+) in 95",
                                         step.how.replace(",", "")).groups())
        assert low < step.value < high
        share = int(key[-2:]) / 100
        assert (low, high) == pytest.approx(offer.odds.sure_of(key[:-4], share), abs=0.006)
    assert str(trace(offer, "cost_p80", DEFAULTS.catalogue).row) == "rates.csv, row 8"
    assert trace(offer, "cost_p90", DEFAULTS.catalogue).row is None


def test_the_printed_repair_opens_to_its_printed_figures():
    """A job of 192, offered at 310, opens to 3 h at 50 and a part of 42."""
    # Franklin, Graybeal, Cooper, Managerial Accounting, OpenStax 2019, 4.8 (television repair):
    # 3 h at 25 with as much overhead again, a picture tube of 42, billed at 310.
    house = shop(thing(), operation(low=3, typical=3, high=3), treatment(),
                 part(low=42, typical=42, high=42), treatment("part", "piece"),
                 overhead_per_year=25_000, margin=118 / 310)
    offer = quote(survey(line()), Choices(Level.FULL, on=ON), house)
    opened = check_quote(offer, house.catalogue)
    assert opened["price"].value == 310
    assert opened["line-1.labour.cost"].value == pytest.approx(150)
    assert opened["line-1.parts.cost"].value == pytest.approx(42)
    assert opened["hour_cost"].value == pytest.approx(50)
    assert opened["line-1.work-1"].steps[0].steps[0].value == (3, 3, 3)


FITTINGS = (
    thing("one"), thing("two", length_mm=300, area_cm2=200),
    operation("mend", 0.5, 1, 2, setup=0.4, learning=0.85, unattended=12),
    treatment(assembly="one"), treatment(assembly="two", measure="length", quantity=3, share=0.5),
    operation("shine", 0.6, 1, 1.8, method="ladder"),
    treatment(item="shine", assembly="two", measure="area", finish="bright"),
    *(row(Grit, grit=grit, grain_um=grain, ladder=True, low=5, typical=8, high=12, life_m2=life)
      for grit, grain, life in (("P320", 46, 0.1), ("P600", 26, 0.2), ("P2500", 8.4, None))),
    *(row(Mark, condition=state, depth_um=20, first_grit="P320", passes=passes)
      for state, passes in (("worn", 2), ("heavy", 4), ("failed", 4))),
    row(Finish, finish="bright", last_grit="P2500", compound_minutes=30),
    row(Material, material="abrasive-sheet", name="Sheet", low=20, typical=30, high=40, pack=50),
    row(Material, material="clear", name="Clear", low=50, typical=80, high=90, pack=0.5,
        sold_whole=True, method="liquid", film_um=50, volume_solids=0.4, transfer=0.5),
    row(Material, material="powder", name="Powder", low=9, typical=12, high=20, pack=1,
        method="powder", film_um=70, density=1.6, transfer=0.6),
    treatment("material", "clear", "two", measure="area", quantity=2),
    treatment("material", "clear", "one", measure="line", quantity=1, share=0.7),
    treatment("material", "powder", "two", measure="area"),
    row(Service, service="plating", name="Plating", low=10, typical=15, high=30, setup=20,
        lot_minimum=60, multiplier=1.3, line_fee=5, freight=12, days_low=5, days_typical=9,
        days_high=20),
    treatment("service", "plating", "one", quantity=2), treatment("service", "plating", "two"),
    part("knob", 1, 2, 4), part("spring", 3, 4, 5), part("lens", 8, 9, 11),
    row(Supplier, supplier="north", name="North", shipping=9, free_over=90, minimum_order=40,
        days_low=1, days_typical=2, days_high=3),
    row(Offer, part="knob", supplier="north", price=1.5, pack=10),
    row(Offer, part="spring", supplier="north", price=6.0),
    treatment("part", "knob", "one", quantity=3, share=0.8),
    treatment("part", "spring", "two"), treatment("part", "lens", "two"),
)
FOUND = survey(
    line("one", 4),
    line("two", 3, Condition.HEAVY, Certainty.ASSUMED, length_mm=410),
    line("two", 2, Condition.WORN, Certainty.HIDDEN, area_cm2=90, row=9),
)
BUSY = {
    "margin": 0.2, "warranty_share": 0.03, "setup_cleanup_share": 0.1, "rework_share": 0.05,
    "learner_multiplier": 1.5, "parts_freight_share": 0.1, "parts_markup": 0.2,
    "outwork_markup": 0.1, "assumed_worse_chance": 0.2, "hidden_worse_chance": 0.4,
    "tax_labour": 0.03, "tax_parts": 0.07, "tax_outwork": 0.05,
}


@pytest.mark.parametrize("pricing", [FIXED, TIME])
@pytest.mark.parametrize("own", [
    {}, {"hours_shape": "triangular"}, {"hours_shape": "lognormal"}, {"currency": "JPY"},
    {"stage_count": 1}, {"deposit_share": 0}, {"stage_count": 5}, {"round_price_to": 5},
    {"learner_multiplier": 1, "parts_freight_share": 0},
], ids=str)
def test_every_rule_of_the_trade_adds_up(own, pricing):
    """Learning, ladder, coats, packs, lots, breaks, minimums, extras: each opens and adds up."""
    house = shop(*FITTINGS, thing("more", extra=True), treatment(assembly="more"), **(BUSY | own))
    choices = Choices(Level.FULL, pricing=pricing, margin=0.3, confidence=0.83, trials=400,
                      added=(("more", 2),), on=ON)
    offer = quote(FOUND, choices, house, compare=False)
    opened = check_quote(offer, house.catalogue)
    used = {step.op for step in walk(*opened.values())}
    assert {"learning", "largest", "count", "rounded up", "offer", "excess", "freight",
            "bought"} <= used
    assert ("cost_p83" in opened) == (pricing == FIXED)


def test_lines_left_out_are_not_opened(demo):
    """A line that the customer leaves out has no figure, and the others still add up."""
    choices = Choices(Level.FULL, dropped=frozenset({19, 55}), trials=400, on=ON)
    offer = quote(demo, choices, DEFAULTS, compare=False)
    opened = check_quote(offer, DEFAULTS.catalogue)
    assert "line-20" not in opened
    assert "line-19" in opened


def test_a_survey_without_a_file_is_named_by_its_lines():
    """On the page there is no file; lines are then counted from 1, extras are choices."""
    house = shop(thing(), operation(), treatment(), thing("extra", extra=True),
                 treatment(assembly="extra"))
    found = survey(line())
    found = type(found)(found.machine, found.lines)
    offer = quote(found, Choices(Level.FULL, added=(("extra", 2),), on=ON), house)
    units = trace(offer, "line-1.work-1", house.catalogue).steps[0].steps[1]
    assert str(units.row) == "survey, row 1"
    extra = trace(offer, "line-2.work-1", house.catalogue).steps[0].steps[1]
    assert (extra.row.kind, dict(extra.row.cells)) == ("choice", {"extra": 2})


def test_a_shop_is_named_with_its_own_figures(tmp_path):
    """What a shop sets itself stands in shop.toml, with the default; its tables have its rows."""
    folder = new_shop(tmp_path / "shop")
    settings = folder / "shop.toml"
    text = settings.read_text(encoding="utf-8")
    assert "pay_per_hour = 30" in text
    settings.write_text(text.replace("pay_per_hour = 30", "pay_per_hour = 41"), encoding="utf-8")
    table = folder / "tables" / "operations.csv"
    rows = list(csv.reader(table.read_text(encoding="utf-8").splitlines()))
    names = rows[0]
    own = next(row for row in rows if row[0] == "intake-inspection")
    for column, cell in (("low", "2"), ("typical", "3"), ("high", "4"), ("source", "our clock")):
        own[names.index(column)] = cell
    with table.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([names, own, *(row for row in rows[1:] if row is not own)])
    house = open_shop(folder)
    found = template(Era.DOT_MATRIX, house.catalogue)
    offer = quote(found, Choices(Level.CLEAN, margin=0.31, on=ON), house, compare=False)
    opened = check_quote(offer, house.catalogue)

    pay = next(step for step in walk(opened["hour_cost"]) if step.key == "setting.pay_per_hour")
    assert (pay.value, str(pay.row), pay.row.default) == (41, "shop.toml", 30)
    assert "the default is 30 (rates.csv, row 2)" in pay.row.source
    margin = next(step for step in walk(opened["price"]) if step.key == "setting.margin")
    assert (margin.value, margin.row.kind) == (0.31, "choice")
    book = next(step for step in walk(opened["line-1"]) if step.key.endswith(".book"))
    assert (book.value, str(book.row), book.row.source) == (
        (2, 3, 4), "operations.csv, row 2", "our clock")
    said = as_text(opened["hour_cost"])
    assert "Pay per hour (shop.toml)" in said
    assert "the default is 30 (rates.csv, row 2)" in said


def test_a_figure_that_is_none_is_refused_with_what_there_is(job):
    """Near names are offered, and the list of all is said once, whatever number are wrong."""
    with pytest.raises(BadInput) as refusal:
        trace_all(job, ["price", "pric", "line-12.labor", "line-900", "%s", ""], DEFAULTS.catalogue)
    faults = refusal.value.faults
    assert [fault.what.split('"')[1] for fault in faults] == [
        "pric", "line-12.labor", "line-900", "%s", ""]
    assert faults[0].fix == 'Did you mean "price"?'
    assert '"line-12.labour"' in faults[1].fix
    assert [fault.fix.count("Figures: ") for fault in faults] == [0, 0, 0, 0, 1]
    assert faults[-2].fix == "All that there are stand below."
    assert "hour_cost" in faults[-1].fix
    assert "line-1 … line-68" in faults[-1].fix


def test_names_can_be_listed_without_opening_anything(job):
    """Names come from the quote alone, in the order of its JSON."""
    known = figures(job)
    assert list(known)[:2] == ["price", "tax"]
    assert known["line-26.labour"] == "Flipper: labour"
    assert len(set(known)) == len(known)


def test_the_data_is_json_and_says_each_figure_once(job):
    """What comes up again refers back; ranges have names; numbers carry no leftovers of adding."""
    step = trace(job, "price", DEFAULTS.catalogue)
    said = json.loads(json.dumps(as_dict(step)))
    given = {}

    def check_data(entry):
        full = [key for key, steps in given.items() if steps]
        if entry["above"]:
            assert entry["key"] in full
            assert entry["steps"] == []
        else:
            assert entry["key"] not in full
            given.setdefault(entry["key"], entry["steps"])
        for one in entry["steps"]:
            check_data(one)

    check_data(said)
    assert set(given) == {one.key for one in walk(step)}
    book = next(one for one in walk(step) if one.key.endswith(".book"))
    assert as_dict(book)["value"] == dict(zip(("low", "typical", "high"), book.value, strict=True))
    assert as_dict(book)["row"]["place"] == str(book.row)


def test_the_text_is_a_column_of_figures_with_names_indented(job):
    """Figures stand right-aligned, names start two blanks further in at each level."""
    text = as_text(trace(job, "line-15", DEFAULTS.catalogue))
    lines = text.split("\n\n")[0].splitlines()
    assert all(len(line) <= 100 for line in text.splitlines())
    assert lines[0].split()[1:4] == ["USD", "Ball", "guide"]
    (end,) = {re.match(r" *[\d,.–]+", line).end() for line in lines}
    further_in = [len(line[end:]) - len(re.sub(r"^ \S* *", "", line[end:])) for line in lines]
    assert further_in[0] < further_in[1] == further_in[0] + 2
    assert all((now - further_in[0]) % 2 == 0 for now in further_in)
    assert any(line.endswith("[line-15.work-1]") for line in lines)
    assert any("(as above)" in line for line in lines)
    assert "rates.csv, rows 7, 10: from memory." in text


def test_the_text_goes_as_deep_as_asked_for(job):
    """Depth 0 is the figure alone; all levels together name every row of the tree."""
    step = trace(job, "line-15", DEFAULTS.catalogue)
    assert as_text(step, 0).splitlines()[0].endswith("[line-15]")
    assert len(as_text(step, 0).splitlines()) == 1
    whole = as_text(step, 99)
    assert "treatments.csv, rows" in whole
    keys = {re.sub(r"\W+", " ", one.name.rpartition(": ")[2]).casefold() for one in walk(step)}
    flat = re.sub(r"\W+", " ", whole).casefold()
    assert not [name for name in keys if name not in flat]


def test_an_ordinary_quote_loads_nothing_of_it(demo_survey_path):
    """Opening figures costs nothing until somebody asks."""
    code = ("import sys; from estimator import cli; "
            "cli.main(['quote', sys.argv[1], '--level', 'clean', '--json']); "
            "print(*sys.modules, file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code, demo_survey_path], text=True,
                          capture_output=True, check=True)
    assert "estimator.quote" in done.stderr.split()
    assert not [name for name in done.stderr.split() if name.startswith("estimator.trace")]
