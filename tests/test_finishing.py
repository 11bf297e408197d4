"""The grit ladder: which grits are run, what that takes, and that worse never takes less."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_shop import row

from estimator.catalogue import CONDITIONS, Condition, Finish, Grit, Mark
from estimator.finishing import hours, ladder, runs, sheets, step_ratios

# Median grains of ISO 6344 (FEPA 43): P12, P220 and P2500 as in reference.com, "sandpaper grit
# chart"; P40 up within 1.6 µm of ruddwoodfinishes.com; tenths from memory. The finest two stand
# outside the published scale.
GRAINS = {
    "P12": 1815, "P80": 201, "P120": 125, "P180": 82, "P220": 68, "P320": 46.2, "P400": 35.0,
    "P600": 25.8, "P800": 21.8, "P1000": 18.3, "P1500": 12.6, "P2000": 10.3, "P2500": 8.4,
    "P3000": 7.0, "P5000": 5.0,
}
STEPS = ("P320", "P600", "P800", "P1000", "P1500", "P2000", "P2500", "P3000", "P5000")
FINISHES = ("brushed", "satin", "bright", "mirror")


def grit(name, minutes=60.0, life=0.1, ladder=None, **points):
    """A grit of the table; an hour a square metre unless said."""
    return row(Grit, grit=name, grain_um=GRAINS[name], life_m2=life,
               ladder=name in STEPS if ladder is None else ladder,
               **({"low": minutes / 2, "typical": minutes, "high": minutes * 2} | points))


TABLE = tuple(map(grit, GRAINS))


def mark(first, passes=1.0, condition=Condition.WORN):
    """Marks whose ladder starts at a grit."""
    return row(Mark, condition=condition, depth_um=10, first_grit=first, passes=passes)


def finish(last, compound=0.0, name="bright"):
    """A finish whose ladder ends at a grit."""
    return row(Finish, finish=name, last_grit=last, compound_minutes=compound)


def names(steps):
    """Names of the grits of a ladder."""
    return [step.grit for step in steps]


# --- which grits ---------------------------------------------------------------------------------


def test_bright_from_light_marks_starts_at_600():
    """Ramp metal with ball lines runs from 600 through the finer steps."""
    # Common practice, no source: 600, 800, 1000, 1500, 2500, 3000, 5000.
    steps = names(ladder(TABLE, "P600", "P5000"))
    assert steps == ["P600", "P800", "P1000", "P1500", "P2000", "P2500", "P3000", "P5000"]


def test_bright_from_rust_starts_at_320():
    """A flap with rust or bluing runs the same ladder from 320, after the wire wheel."""
    # Common practice, no source.
    steps = names(ladder(TABLE, "P320", "P5000"))
    assert steps == ["P320", *names(ladder(TABLE, "P600", "P5000"))]


def test_brushed_stops_at_320():
    """Flat steel takes one pad of 320, whether its marks ask for 320 or only for 600."""
    # Common practice, no source: one 320 pad, always along the grain.
    assert names(ladder(TABLE, "P320", "P320")) == ["P320"]
    assert names(ladder(TABLE, "P600", "P320")) == ["P320"]


def test_grits_outside_the_shops_ladder_are_run_only_at_its_ends():
    """A first or last grit that is no step of the ladder is run; others between are not."""
    assert names(ladder(TABLE, "P180", "P400")) == ["P180", "P320", "P400"]


def test_the_order_of_the_table_does_not_matter():
    """The ladder runs coarse to fine however the rows stand."""
    assert ladder(reversed(TABLE), "P320", "P2500") == ladder(TABLE, "P320", "P2500")


def test_an_unknown_grit_is_refused():
    """The message names the grit and what is near it."""
    with pytest.raises(ValueError, match=r'"P550" is not in the table of grits. Did you mean'):
        ladder(TABLE, "P550", "P2500")


def test_steps_are_as_much_finer_as_the_grain_table_says():
    """Ratios of median grains over the jumps that sanding schedules make."""
    # Derived from the medians of ISO 6344 (FEPA 43).
    jumps = {("P80", "P120"): 1.608, ("P120", "P180"): 1.524, ("P180", "P320"): 1.775,
             ("P80", "P180"): 2.451}
    for (coarse, fine), ratio in jumps.items():
        bare = (grit(coarse, ladder=False), grit(fine, ladder=False))
        assert step_ratios(ladder(bare, coarse, fine)) == pytest.approx([ratio], abs=0.005)


def test_all_steps_make_up_the_whole_jump():
    """The ratios along a ladder multiply to that of its ends."""
    product = 1.0
    for ratio in step_ratios(ladder(TABLE, "P320", "P5000")):
        assert ratio > 1
        product *= ratio
    assert product == pytest.approx(46.2 / 5)


# --- what it takes -------------------------------------------------------------------------------


def test_hours_by_hand():
    """Half a square metre, three passes at 320, then 600 and 800, then compound."""
    table = [grit("P320", 30), grit("P600", 20), grit("P800", 10)]
    low, typical, high = hours(0.5, table, mark("P320", 3), finish("P800", 40))
    assert typical == pytest.approx(0.5 * (3 * 30 + 20 + 10 + 40) / 60)
    assert low == pytest.approx(0.5 * ((3 * 30 + 20 + 10) / 2 + 40) / 60)
    assert high == pytest.approx(0.5 * ((3 * 30 + 20 + 10) * 2 + 40) / 60)


def test_one_pass_where_the_finish_is_coarser_than_the_marks_ask():
    """A brushed grain over marks that 600 would take out in two passes goes in one of 320."""
    # Common practice, no source: a light track goes in one pass.
    steps = ladder(TABLE, "P600", "P320")
    assert runs(steps, mark("P600", 2)) == (1.0,)
    assert hours(1, TABLE, mark("P600", 2), finish("P320"))[1] == pytest.approx(1)
    assert runs((), mark("P600")) == ()


def test_deep_marks_take_several_passes():
    """A hard-played guide takes as many passes of 320 as its marks ask."""
    # Common practice, no source: hard-played machines take several passes.
    assert hours(1, TABLE, mark("P320", 4), finish("P320"))[1] == pytest.approx(4)


def test_sheets_by_hand():
    """Two passes on the first grit; grits without a life use no sheet."""
    steps = (grit("P320", life=0.1), grit("P600", life=0.2), grit("P800", life=None))
    assert sheets(0.4, steps, 2) == pytest.approx(0.4 * (2 / 0.1 + 1 / 0.2))
    assert sheets(0, steps, 2) == 0


def test_no_area_takes_no_time():
    """Nothing to polish takes nothing, compound included; less than nothing is refused."""
    assert hours(0, TABLE, mark("P320", 2), finish("P2500", 40)) == (0, 0, 0)
    with pytest.raises(ValueError, match="area_m2 is -1"):
        hours(-1, TABLE, mark("P320"), finish("P2500"))


# --- worse never takes less ----------------------------------------------------------------------

MINUTES = st.lists(st.floats(1, 300), min_size=len(STEPS), max_size=len(STEPS))
PLACES = st.integers(0, len(STEPS) - 1)


@given(MINUTES, PLACES, PLACES, PLACES, st.floats(1, 9), st.floats(0, 900))
def test_a_finer_finish_never_takes_less(minutes, first, last, finer, passes, compound):
    """From the same marks, ending finer adds steps whatever each of them takes."""
    first, last, finer = sorted((first, last, finer))
    table = [grit(name, some) for name, some in zip(STEPS, minutes, strict=True)]
    marks = mark(STEPS[first], passes)
    short = hours(0.2, table, marks, finish(STEPS[last], compound))
    long = hours(0.2, table, marks, finish(STEPS[finer], compound))
    assert all(a <= b + 1e-12 for a, b in zip(short, long, strict=True))


@given(MINUTES, PLACES, PLACES, PLACES, st.floats(1, 5), st.floats(0, 5))
def test_a_deeper_mark_never_takes_less(minutes, first, coarser, last, passes, more):
    """A coarser start with as many passes or more, where coarse grits are no quicker to run."""
    coarser, first = sorted((first, coarser))
    table = [grit(name, some)
             for name, some in zip(STEPS, sorted(minutes, reverse=True), strict=True)]
    end = finish(STEPS[last])
    light = hours(0.2, table, mark(STEPS[first], passes), end)
    deep = hours(0.2, table, mark(STEPS[coarser], passes + more), end)
    assert all(a <= b + 1e-12 for a, b in zip(light, deep, strict=True))


def test_the_trades_tables_keep_that_order(catalogue):
    """Hours and sheets of the default tables rise with the condition and with the finish."""
    grits = catalogue.grits.values()
    found = {}
    for condition, name in itertools.product(CONDITIONS, FINISHES):
        marks, end = catalogue.marks[condition], catalogue.finishes[name]
        steps = ladder(grits, marks.first_grit, end.last_grit)
        used = sheets(0.01, steps, runs(steps, marks)[0])
        found[condition, name] = (*hours(0.01, grits, marks, end), used)
    for condition, name in found:
        here = found[condition, name]
        worse = CONDITIONS[CONDITIONS.index(condition) + 1:]
        finer = FINISHES[FINISHES.index(name) + 1:]
        for later in [(other, name) for other in worse] + [(condition, other) for other in finer]:
            assert all(a <= b + 1e-12 for a, b in zip(here, found[later], strict=True)), (
                condition, name, later)


def test_the_trades_tables_start_and_stop_where_the_trade_does(catalogue):
    """Light marks brought to bright start at 600, heavy ones at 320; brushed is one pad of 320."""
    # Common practice, no source.
    grits = catalogue.grits.values()

    def steps(condition, name):
        return names(ladder(grits, catalogue.marks[condition].first_grit,
                            catalogue.finishes[name].last_grit))

    assert steps("light", "bright")[:4] == ["P600", "P800", "P1000", "P1500"]
    assert steps("heavy", "bright")[:2] == ["P320", "P600"]
    assert steps("light", "mirror")[-1] == "P5000"
    assert steps("light", "brushed") == steps("heavy", "brushed") == ["P320"]
