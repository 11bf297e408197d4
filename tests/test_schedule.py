"""The bench plan: hours, rules, published optima, plans that can be carried out, dates, ways."""

from __future__ import annotations

import csv
import itertools
import json
import math
import os
import random
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import networkx
import numpy as np
import pytest
import small_shop as small
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator import catalogue, cli, network, schedule
from estimator.catalogue import LEVELS, Catalogue, Certainty, Era, Level
from estimator.durations import Range
from estimator.errors import BadInput
from estimator.estimate import estimate
from estimator.schedule import listing, solving, tasks, ways
from estimator.schedule.dates import lengths
from estimator.schedule.hours import ALWAYS, DAY, Hours, calendars, holidays_of
from estimator.schedule.playing import Axis, Course
from estimator.schedule.records import Activity, Bench, Due
from estimator.schedule.rules import Task, holds
from estimator.schedule.solving import solved
from estimator.scope import scope
from estimator.shop import Closed, Person, new_shop, open_shop
from estimator.simulate import simulate
from estimator.survey import template

DAY_ONE = date(2026, 11, 26)  # a Thursday


def job_of(era=Era.DOT_MATRIX, level=Level.RECONDITIONED, shop=None):
    """An estimate of an era's usual machine."""
    shop = shop or open_shop()
    return estimate(scope(template(era, shop.catalogue), level, shop.catalogue), shop)


def with_settings(**changes):
    """The trade's defaults with other settings."""
    shop = open_shop()
    return replace(shop, settings=shop.settings.model_copy(update=changes))


THREE = (Person(name="Mara", skills="bench finishing cabinet", pace=0.95),
         Person(name="Joris", skills="electronics bench",
                hours="closed 9-17 9-17 9-17 closed closed closed"),
         Person(name="Pim", skills="bench cabinet", pace=1.3,
                hours="10-16 closed 9-17 closed 9-17 closed closed"))


# Hours ------------------------------------------------------------------------------------

def hours_of(steps: list[int]) -> Hours:
    """Open and closed by turns, for so many minutes each, closed first."""
    edges = list(itertools.accumulate(steps[:len(steps) // 2 * 2]))
    return Hours(tuple(zip(edges[::2], edges[1::2], strict=True)))


spans = st.lists(st.integers(1, 300), min_size=2, max_size=12).map(hours_of)


@settings(deadline=None, max_examples=60)
@given(spans, st.data())
def test_open_time_is_what_counting_minutes_gives(hours, data):
    """Turned one way and back, minute by minute, as if each were counted."""
    clock = data.draw(st.integers(0, hours.spans[-1][1] + 50))
    is_open = [any(start <= minute < end for start, end in hours.spans)
               for minute in range(hours.spans[-1][1] + 60)]
    assert hours.opened(clock) == sum(is_open[:clock])
    opened = data.draw(st.integers(1, hours.total))
    moment = hours.clock(opened)
    assert sum(is_open[:moment]) == opened
    assert is_open[moment - 1]
    if clock < hours.spans[-1][1]:
        when = hours.next_open(clock)
        assert when >= clock
        assert is_open[when]
        assert not any(is_open[clock:when])


def test_calendar_leaves_out_holidays_closed_days_and_hours():
    """Public holidays of the country, a closed week, and two hours of one person's day."""
    shop = with_settings(
        country="US", closed=(Closed(first=date(2026, 12, 28), last=date(2027, 1, 3)),
                              Closed(first=date(2026, 12, 1), hours="13-15", person="Mara")))
    people = [Person(name=name, skills="bench") for name in ("Mara", "Joris")]
    mara, joris = calendars(shop.settings, DAY_ONE, 60, people)
    days = {start // DAY for start, _ in mara.spans}
    # Thanksgiving, 5 U.S.C. 6103: the fourth Thursday of November; the day the plan begins.
    assert 0 not in days
    assert (date(2026, 12, 25) - DAY_ONE).days not in days
    assert not {(date(2026, 12, 28) - DAY_ONE).days + n for n in range(7)} & days
    first = (date(2026, 12, 1) - DAY_ONE).days
    assert [(a - first * DAY, b - first * DAY) for a, b in mara.spans if a // DAY == first] == [
        (9 * 60, 13 * 60), (15 * 60, 17 * 60)]
    assert [b - a for a, b in joris.spans if a // DAY == first] == [8 * 60]


def test_holidays_of_a_region():
    """Reformation Day is one in Saxony and not in Bavaria (law of the Land Saxony, 1992)."""
    day = date(2026, 10, 31)
    assert day in holidays_of("DE", "SN", [2026])
    assert day not in holidays_of("DE", "BY", [2026])


@pytest.mark.parametrize(("changes", "wanted"), [
    ({"country": "ZZ"}, "No holidays are known"),
    ({"country": "DE", "region": "QQ"}, "no region"),
    ({"open_hours": "closed closed closed closed closed closed closed"}, "never at the bench"),
    ({"open_hours": "17-9 9-17 9-17 9-17 9-17 closed closed"}, "end before they begin"),
    ({"people": (Person(name="Mara", skills="bench"),)}, "Nobody at the bench does electronics"),
    ({"people": (*THREE, THREE[0])}, "stands twice"),
    ({"closed": (Closed(first=DAY_ONE, person="Nobody"),)}, "who is not at the bench"),
    ({"closed": (Closed(first=DAY_ONE, last=date(2040, 1, 1)),)}, "never at the bench"),
])
def test_a_calendar_or_a_bench_that_cannot_be_is_named(changes, wanted):
    """Each with what is wrong and the setting that it stands in."""
    shop = with_settings(**changes)
    with pytest.raises(BadInput, match=wanted) as caught:
        schedule.plan([schedule.OnBench("a", job_of(shop=shop))], shop, start=DAY_ONE, seconds=0)
    assert all(fault.file == "shop.toml" and fault.column for fault in caught.value.faults)


def test_a_shop_closed_for_years_opens_again():
    """Work goes on after a long closure, however long it is."""
    shop = with_settings(closed=(Closed(first=date(2026, 12, 1), last=date(2030, 12, 31)),))
    plan = schedule.plan([schedule.OnBench("a", job_of(shop=shop))], shop, start=DAY_ONE, seconds=0)
    assert plan.finishes["a"].year == 2031


def test_dates_and_numbers_that_cannot_be_are_said_at_once():
    """A day before the plan, an item, a lot and a name that are none: one fault for each."""
    job = job_of()
    jobs = [schedule.OnBench("a", job, due=date(2026, 1, 1), done={999: DAY_ONE},
                             back=frozenset({"blasting"})),
            schedule.OnBench("a", job)]
    with pytest.raises(BadInput) as caught:
        schedule.plan(jobs, open_shop(), start=DAY_ONE, seconds=0)
    assert len(caught.value.faults) == 4
    with pytest.raises(BadInput, match="no job to plan"):
        schedule.plan([], open_shop(), start=DAY_ONE)


# Rules ------------------------------------------------------------------------------------

@pytest.mark.parametrize("era", Era)
def test_rules_make_no_circle_at_any_level(era):
    """Every era at every level has an order of work, from the inspection to the last test."""
    shop = open_shop()
    for level in LEVELS:
        bench = tasks.bench_of([schedule.OnBench("a", job_of(era, level, shop))], shop, DAY_ONE)
        order = network.in_order(len(bench.activities), [
            (before, at) for at, act in enumerate(bench.activities) for before in act.after])
        work = [bench.activities[at].operation for at in order
                if bench.activities[at].what == "work"]
        tests = [work.index(name) for name in ("final-test", "test-play", "test-brief")
                 if name in work]
        assert all(work.index("intake-inspection") < at for at in tests)


@pytest.mark.parametrize("era", Era)
def test_rules_make_no_circle_in_any_condition(era):
    """With every assembly there in every condition, extras too, there is an order of work."""
    shop = open_shop()
    usual = template(era, shop.catalogue)
    survey = replace(usual, lines=tuple(
        replace(line, condition=condition, count=1)
        for condition in catalogue.CONDITIONS for line in usual.lines))
    extras = [(name, 1) for name, row in shop.catalogue.assemblies.items() if row.extra]
    for level in (Level.SHOP_JOB, Level.RECONDITIONED, Level.FULL, Level.SHOW):
        job = estimate(scope(survey, level, shop.catalogue, added=extras), shop)
        bench = tasks.bench_of([schedule.OnBench("a", job)], shop, DAY_ONE)
        assert len(bench.activities) > len(survey.lines) / 2


def all_before(bench: Bench, operation: str) -> set[str]:
    """Operations that one waits for, near and far."""
    graph = networkx.DiGraph((before, at) for at, act in enumerate(bench.activities)
                             for before in act.after)
    found = set()
    for at, act in enumerate(bench.activities):
        if act.operation == operation and at in graph:
            found |= {bench.activities[before].operation
                      for before in networkx.ancestors(graph, at)}
    return found


@pytest.mark.parametrize(("operation", "first"), [
    # Common practice, no source: the order of work usual at the bench.
    ("guide-polish", "strip-topside"), ("coil-relabel", "coil-check"),
    ("clear-spray", "film-removal"), ("clear-spray", "insert-level"),
    ("clear-final-polish", "clear-spray"), ("refit-underside", "flipper-rebuild"),
    ("refit-topside", "refit-underside"), ("flipper-adjust", "flipper-rebuild"),
    ("refit-underside", "clear-final-polish"), ("decals-apply", "cabinet-strip-prime"),
    ("refit-topside", "tumble-load"), ("final-test", "playfield-reconnect"),
    ("ramp-decals-apply", "ramp-polish"), ("pallet", "final-test"),
    ("refit-underside", "powder-coat-small"), ("decals-apply", "decal-printing"),
])
def test_the_trade_s_order_holds(operation, first):
    """What comes first in the trade comes first in the network of a show-grade machine."""
    shop = open_shop()
    bench = tasks.bench_of([schedule.OnBench("a", job_of(level=Level.SHOW))], shop, DAY_ONE)
    assert first in all_before(bench, operation)


def test_sessions_of_clear_coat_and_flat_sanding_take_turns():
    """Spray, sand, spray, sand, spray: each coat dries two days before it is sanded."""
    bench = tasks.bench_of([schedule.OnBench("a", job_of(level=Level.FULL))], open_shop(), DAY_ONE)
    chain = [at for at, act in enumerate(bench.activities) if act.what == "work"
             and act.operation in ("clear-spray", "clear-flat-sand")]
    found = schedule.plan([schedule.OnBench("a", job_of(level=Level.FULL))], open_shop(),
                          start=DAY_ONE, seconds=0)
    steps = sorted((found.steps[at] for at in chain), key=lambda step: step.start)
    names = [step.operation for step in steps]
    assert names == ["clear-spray", "clear-flat-sand"] * (len(names) // 2) + \
        ["clear-spray"] * (len(names) % 2)
    assert len(names) == 5
    for spray, sand in itertools.pairwise(steps):
        if spray.operation == "clear-spray":
            assert (sand.start - spray.end).total_seconds() >= 48 * 3600
    polish = next(step for step in found.steps if step.operation == "clear-final-polish"
                  and step.what == "work")
    # The coat cures before the last sanding, not after it.
    assert (polish.start - steps[-1].end).days >= 21


def with_rule(**cells) -> Catalogue:
    """The trade's tables with one more rule."""
    whole = open_shop().catalogue
    rule = small.row(catalogue.Precedence, unit="rule", **cells)
    rules = dict(whole.precedence) | {rule.rule: rule}
    return Catalogue(dict(whole.tables) | {"precedence": rules},
                     dict(whole.places) | {("precedence", rule.rule): "precedence.csv, row 99"})


def test_a_circle_of_rules_is_named_by_its_rows():
    """The rows that make work wait for itself stand in the fault, with what to change."""
    tables = with_rule(rule="wrong-way", before="operation:flipper-adjust",
                       after="operation:flipper-rebuild", where="line", why="Made up for a test.")
    shop = replace(open_shop(), catalogue=tables)
    with pytest.raises(BadInput) as caught:
        tasks.bench_of([schedule.OnBench("a", job_of(level=Level.FULL, shop=shop))], shop, DAY_ONE)
    said = str(caught.value)
    assert '"wrong-way" (precedence.csv, row 99)' in said
    assert '"rebuild-before-adjust" (precedence.csv, row' in said
    assert "-operation:" in said


def test_a_rule_about_work_that_there_is_not_is_a_fault_of_the_table(tmp_path):
    """A misspelt operation is found when the tables are read, with row and column."""
    text = (catalogue.data_folder() / "precedence.csv").read_text(encoding="utf-8")
    (tmp_path / "precedence.csv").write_text(text.replace("operation:clear-spray",
                                                          "operation:clear-sprey", 1),
                                             encoding="utf-8")
    with pytest.raises(BadInput, match=r'no operation "clear-sprey".*clear-spray'):
        catalogue.load(catalogue.data_folder(), tmp_path)


def test_words_of_a_rule_mean_work_unless_they_say_otherwise():
    """An assembly's word leaves out its parcels and lots; a later word can take out again."""
    work = Task("w", "work", frozenset({1}), frozenset({"coil"}), frozenset({"mechs"}), "test")
    lot = replace(work, what="outwork", kind="", service="coil-winding")
    assert holds("assembly:coil", work)
    assert not holds("assembly:coil", lot)
    assert holds("outwork+assembly:coil", lot)
    assert holds("all -kind:clean", work)
    assert not holds("all -kind:test", work)
    assert holds("service:coil-winding", lot)


# Published optima -------------------------------------------------------------------------

# H. Fisher, G. L. Thompson 1963, six jobs on six machines: pairs of machine and time. Optimum 55,
# as in instances.json of github.com/tamy0612/JSPLIB.
FT06 = """2 1 0 3 1 6 3 7 5 3 4 6
1 8 2 5 4 10 5 10 0 10 3 4
2 5 3 4 5 8 0 9 1 1 4 7
1 5 0 5 2 5 3 3 4 8 5 9
2 9 1 3 4 5 5 4 0 3 3 1
1 3 3 3 5 9 0 10 4 4 2 1"""
# The first of J. H. Patterson's instances, github.com/ptal/kobe-scheduling: time, use of three
# resources of 2, 1, 2, what follows. Optimum 19; 18 without regard to resources.
PAT1 = """0 0 0 0 2 3 4
6 1 0 0 9 10
4 0 0 0 5 6 7
3 0 0 0 8 11
1 0 0 0 10
6 1 0 1 12
2 1 0 0 8 11
1 0 0 0 13
4 0 1 1 14
3 0 0 1 12
2 0 0 1 12
3 0 1 0 13
5 0 0 0 14
0 0 0 0"""
# The first of the j30 set, R. Kolisch, A. Sprecher 1996 (PSPLIB): resources 12, 13, 4, 12.
# Optimum 43; 38 without regard to resources.
J301_1 = """0 0 0 0 0 2 3 4
8 4 0 0 0 6 11 15
4 10 0 0 0 7 8 13
6 0 0 0 3 5 9 10
3 3 0 0 0 20
8 0 0 0 8 30
5 4 0 0 0 27
9 0 1 0 0 12 19 27
2 6 0 0 0 14
7 0 0 0 1 16 25
9 0 5 0 0 20 26
2 0 7 0 0 14
6 4 0 0 0 17 18
3 0 8 0 0 17
9 3 0 0 0 25
10 0 0 0 5 21 22
6 0 0 0 8 22
5 0 0 0 7 20 22
3 0 1 0 0 24 29
7 0 10 0 0 23 25
2 0 0 0 6 28
7 2 0 0 0 23
2 3 0 0 0 24
3 0 9 0 0 30
3 4 0 0 0 30
7 0 0 4 0 31
8 0 0 0 7 28
3 0 8 0 0 31
7 0 7 0 0 32
2 0 7 0 0 32
2 0 0 2 0 32
0 0 0 0 0"""
J30_OPTIMA = {1: "43 47 47 62 39 48 60 53 49 45", 2: "38 51 43 43 51 47 47 54 54 43"}
"""Of the first twenty, in the set's own file of optima (github.com/ptal/kobe-scheduling)."""


def job_shop(text: str) -> Bench:
    """Jobs whose operations each take one machine; machines are people who never leave."""
    acts = []
    for row in text.splitlines():
        cells = list(map(int, row.split()))
        for n, (machine, minutes) in enumerate(zip(cells[::2], cells[1::2], strict=True)):
            acts.append(Activity(f"{len(acts)}", able=((machine, minutes),),
                                 after=(len(acts) - 1,) if n else ()))
    machines = 1 + max(act.able[0][0] for act in acts)
    return Bench(tuple(acts), tuple((str(n), ALWAYS) for n in range(machines)))


def project(rows: list[list[int]], capacities: list[int]) -> Bench:
    """Activities that take up several of each space: time, use of each, what follows from 1."""
    many = len(capacities)
    after: list[list[int]] = [[] for _ in rows]
    for at, row in enumerate(rows):
        for other in row[1 + many:]:
            after[other - 1].append(at)
    return Bench(
        tuple(Activity(str(at), "wait", minutes=row[0], after=tuple(after[at]),
                       spaces=tuple((n, use) for n, use in enumerate(row[1:1 + many]) if use))
              for at, row in enumerate(rows)),
        spaces=tuple((str(n), count) for n, count in enumerate(capacities)))


def table(text: str) -> list[list[int]]:
    """Rows of whole numbers."""
    return [list(map(int, row.split())) for row in text.splitlines()]


PUBLISHED = {
    "ft06": (lambda: job_shop(FT06), 55),
    "pat1": (lambda: project(table(PAT1), [2, 1, 2]), 19),
    "j301_1": (lambda: project(table(J301_1), [12, 13, 4, 12]), 43),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_optimum_is_reached_and_proven(name):
    """The printed optimum, proven, and a plan drawn at once that is not better than it."""
    make, optimum = PUBLISHED[name]
    bench = make()
    draft = listing.drawn(bench)
    assert optimum <= draft.end <= 1.2 * optimum
    found, proof = solved(bench, draft, seconds=10)
    assert (found.end, proof.proven, proof.gap) == (optimum, True, 0)
    can_be_done(bench, found)


@pytest.mark.parametrize(("text", "bound"), [(PAT1, 18), (J301_1, 38)])
def test_published_bound_without_resources(text, bound):
    """The critical path alone is as long as the set says."""
    bench = project(table(text), [99] * (3 if text is PAT1 else 4))
    links = [(before, at) for at, act in enumerate(bench.activities) for before in act.after]
    assert network.dates([act.minutes for act in bench.activities], links).end == bound


def test_published_set_of_twenty():
    """Every known optimum of the instances in a folder is reached, and 95 % are proven."""
    folder = Path(os.environ.get("ESTIMATOR_PSPLIB") or "missing")
    if not folder.is_dir():
        pytest.skip("ESTIMATOR_PSPLIB names no folder of instances")
    proven = []
    for group, optima in J30_OPTIMA.items():
        for number, optimum in enumerate(map(int, optima.split()), 1):
            bench = instance(folder / f"j30_{group}_{number}.rcp")
            found, proof = solved(bench, listing.drawn(bench), seconds=10)
            assert found.end == optimum
            proven.append(proof.proven)
    assert len(proven) == 20
    assert np.mean(proven) >= 0.95


def instance(path: Path) -> Bench:
    """An instance in the set's plain form: counts, capacities, then each activity's row."""
    cells = iter(map(int, path.read_text(encoding="utf-8").split()))
    count, many = next(cells), next(cells)
    capacities = [next(cells) for _ in range(many)]
    rows = []
    for _ in range(count):
        head = [next(cells) for _ in range(1 + many)]
        rows.append(head + [next(cells) for _ in range(next(cells))])
    return project(rows, capacities)


# Plans that can be carried out ------------------------------------------------------------

def can_be_done(bench: Bench, draft) -> None:
    """Nothing begins before what it waits for, nobody does two things, no space holds too much."""
    for at, act in enumerate(bench.activities):
        start, end, who = draft.starts[at], draft.ends[at], draft.who[at]
        assert start >= act.release - 1e-6
        for before in act.after:
            assert start >= draft.ends[before] - 1e-6
            if act.at_once:
                assert start <= draft.ends[before] + 1e-6
        if act.able:
            hours = bench.people[who][1]
            assert hours.opened(end) - hours.opened(start) == pytest.approx(dict(act.able)[who])
            assert hours.next_open(start) == start
            assert not parted(act, hours, who, start, end)
        else:
            assert who is None
            assert end >= start + act.minutes - 1e-6
    for person in range(len(bench.people)):
        mine = sorted((draft.starts[at], draft.ends[at]) for at in range(len(draft.who))
                      if draft.who[at] == person)
        assert all(first[1] <= second[0] + 1e-6 for first, second in itertools.pairwise(mine))
    for space, (_, count) in enumerate(bench.spaces):
        events = sorted(event for at, act in enumerate(bench.activities)
                        for here, many in act.spaces if here == space
                        for event in ((draft.starts[at], 1, many), (draft.ends[at], 0, -many))
                        if draft.ends[at] > draft.starts[at])
        assert all(used <= count for used in itertools.accumulate(row[2] for row in events))


def parted(act: Activity, hours: Hours, who: int, start: float, end: float) -> bool:
    """Does a night part work that is done in one go and fits into a day?"""
    return (act.in_one_go and end - start > dict(act.able)[who] + 1e-6
            and any(stop - begin >= dict(act.able)[who] for begin, stop in hours.spans))


WEEK = Hours(tuple((day * DAY + 540, day * DAY + 780) for day in range(60) if day % 7 < 5))
FEW = Hours(tuple((day * DAY + 600, day * DAY + 720) for day in range(60) if day % 7 in (1, 3)))


def small_bench(seed: int, in_one_go: bool = False) -> Bench:
    """A few activities of two people, one of them seldom in, with waits and one space."""
    rng = random.Random(seed)
    acts: list[Activity] = []
    for number in range(rng.randint(3, 5)):
        able = rng.choice([((0, 0),), ((1, 0),), ((0, 0), (1, 0))])
        minutes = rng.choice([30, 60, 90, 200])
        able = tuple((person, minutes * (1 + person) // 2 + 5) for person, _ in able)
        work = [at for at, act in enumerate(acts)]
        after = tuple(sorted(rng.sample(work, min(len(work), rng.randint(0, 2)))))
        job, space = rng.randint(0, 1), rng.random() < 0.5
        held = ((0, 1),) if space else ()
        acts.append(Activity(f"w{number}", able=able, after=after, job=job, spaces=held,
                             in_one_go=in_one_go and number != seed % 3))
        if rng.random() < 0.5:
            acts.append(Activity(f"d{number}", "wait", minutes=rng.choice([60, 600, 1440, 3000]),
                                 after=(len(acts) - 1,), at_once=True, job=job, spaces=held))
    return Bench(tuple(acts), (("A", WEEK), ("B", FEW)), (("spray", 1),),
                 (Due("x", 2, rng.choice([None, 3 * DAY])), Due("y", 1, 6 * DAY)))


def best_by_trying(bench: Bench) -> tuple[float, float]:
    """Least lateness on open time and earliest end, by trying every order and every pair of hands.

    An earliest-start plan in the best order is a best plan, since nothing is gained by waiting
    (lateness and end only grow with finishes).
    """
    acts = bench.activities
    works = [at for at, act in enumerate(acts) if act.able]
    shop = listing.Outline(bench).shop
    best = (float("inf"), float("inf"))
    for order in itertools.permutations(works):
        if any(before in order[n + 1:] or set(acts[before].after) & set(order[n + 1:])
               for n, at in enumerate(order) for before in acts[at].after):
            continue
        for hands in itertools.product(*[[person for person, _ in acts[at].able] for at in order]):
            ends: dict[int, float] = {}
            free, space = {0: 0.0, 1: 0.0}, 0.0

            def end_of(at, ends=ends):
                if at not in ends:  # a wait, after work that is over
                    ends[at] = end_of(acts[at].after[0]) + acts[at].minutes
                return ends[at]

            for at, person in zip(order, hands, strict=True):
                hours = bench.people[person][1]
                start = max([free[person], *map(end_of, acts[at].after)])
                if acts[at].spaces:
                    start = max(start, space)
                start, minutes = hours.next_open(start), dict(acts[at].able)[person]
                while parted(acts[at], hours, person, start,
                             hours.clock(hours.opened(start) + minutes)):
                    start = next(morning for morning in hours.starts if morning > start)
                ends[at] = hours.clock(hours.opened(start) + minutes)
                free[person] = ends[at]
                if acts[at].spaces:
                    space = max([ends[at], *(end_of(w) for w, act in enumerate(acts)
                                             if act.at_once and act.after == (at,))])
            for at in range(len(acts)):
                end_of(at)
            finish = [max((ends[at] for at, act in enumerate(acts) if act.job == job), default=0)
                      for job in range(2)]
            late = sum(job.weight * max(0, np.ceil(shop.opened(end)) - shop.opened(job.due))
                       for job, end in zip(bench.jobs, finish, strict=True)
                       if job.due is not None)
            best = min(best, (late, float(np.ceil(shop.opened(max(finish))))))
    return best


@pytest.mark.parametrize(("seed", "in_one_go"), [
    *((seed, False) for seed in range(12)), *((seed, True) for seed in range(20, 28))])
def test_search_finds_what_trying_everything_finds(seed, in_one_go):
    """Two people on hours of their own, drying by the clock, one space, two jobs with due days."""
    bench = small_bench(seed, in_one_go)
    draft = listing.drawn(bench)
    can_be_done(bench, draft)
    found, proof = solved(bench, draft, seconds=10)
    can_be_done(bench, found)
    shop = listing.Outline(bench).shop
    late = sum(job.weight * max(0, np.ceil(shop.opened(end)) - shop.opened(job.due))
               for job, end in zip(bench.jobs, found.finishes, strict=True)
               if job.due is not None)
    assert proof.proven
    assert (late, np.ceil(shop.opened(found.end))) == best_by_trying(bench)


@pytest.mark.parametrize("minutes", [1, 600, 720, 1440, 2880, 5000])
def test_waits_by_the_clock_on_open_time(minutes):
    """The stepped line says for every start what the clock says."""
    steps = solving._steps(WEEK, minutes, 2000)
    for start in range(1900):
        _, slope, offset = [step for step in steps if step[0] <= start][-1]
        assert slope * start + offset == np.ceil(WEEK.opened(WEEK.clock(start) + minutes))


def test_a_real_machine_s_plan_can_be_carried_out():
    """Three people, holidays, a full restoration and a small job: drawn, searched and played."""
    shop = with_settings(people=THREE, country="US")
    jobs = [schedule.OnBench("big", job_of(level=Level.FULL), due=date(2027, 2, 1)),
            schedule.OnBench("small", job_of(Era.MODERN, Level.SHOP_JOB), weight=2,
                             due=date(2026, 12, 10), begins=date(2026, 12, 1))]
    found = schedule.plan(jobs, shop, start=DAY_ONE, seconds=0.3)
    exact = replace(found.bench, activities=tuple(
        replace(act, able=tuple((person, 60 * hours) for (person, _), hours in
                                zip(act.able, act.exact, strict=True)))
        for act in found.bench.activities))
    can_be_done(exact, found.draft)
    assert all(step.start.date() >= date(2026, 12, 1) for step in found.of_job("small")
               if step.what == "work")
    assert {step.person for step in found.steps} == {"Mara", "Joris", "Pim", ""}
    assert max(step.end for step in found.of_job("big") if step.what == "work") \
        == found.finishes["big"]
    assert not [day for day in found.days if day in holidays_of("US", "", [2026, 2027])]


def test_critical_steps_make_a_chain_without_slack():
    """From the start to the end, and what is not on it could end as much later as is said."""
    found = schedule.plan([schedule.OnBench("a", job_of())], open_shop(), start=DAY_ONE, seconds=0)
    held = schedule.critical(found)
    assert held[-1].end == found.finishes["a"]
    assert all(step.slack_hours < 24 for step in held if step.what == "work")
    course = Course(found.bench, found.draft, kind=np.float64)
    hours = [step.hours for step in found.steps]
    end = course.ends(course.play(hours, 1)[1])[0][0]
    free = max((step for step in found.steps if step.what == "work"),
               key=lambda step: step.slack_hours)
    assert free.slack_hours > 1
    hours[free.number] += 0.2 * free.slack_hours * 8 / 24
    assert course.ends(course.play(hours, 1)[1])[0][0] == pytest.approx(end)


def test_work_stands_under_every_day_it_takes():
    """From Friday to Monday it is worked on two days; nothing stands on the weekend between."""
    shop = small.shop(small.thing(), small.operation("mend", 5, 5, 5),
                      small.treatment(item="mend"),
                      small.row(catalogue.Space, space="bench", name="A bench", count=1,
                                holds="all", until="work"), productive_share=0.5)
    job = estimate(scope(small.survey(small.line()), Level.FULL, shop.catalogue), shop)
    plan = schedule.plan([schedule.OnBench("a", job)], shop, start=date(2026, 3, 6), seconds=0)
    # Five hours at half the time are ten: eight on Friday, two on Monday.
    assert list(plan.at_work) == [date(2026, 3, 6), date(2026, 3, 9)]
    assert plan.finishes["a"] == datetime(2026, 3, 9, 11)


def test_same_seed_same_plan():
    """With one worker the search ends the same, steps and all."""
    jobs = [schedule.OnBench("a", job_of())]
    one, other = (schedule.plan(jobs, open_shop(), start=DAY_ONE, seconds=5) for _ in range(2))
    assert one.steps == other.steps
    assert one.proof.proven


def test_search_is_told_to_stop():
    """When the caller has had enough, the best plan so far stands."""
    told = []
    shop = with_settings(people=THREE)

    def enough(end: float, least: float) -> bool:
        told.append((end, least))
        return False

    found = schedule.plan([schedule.OnBench("a", job_of(level=Level.FULL))], shop, start=DAY_ONE,
                          seconds=30, progress=enough)
    assert len(told) == 1
    assert told[0][1] <= told[0][0]
    assert not found.proof.proven


# A plan that follows another --------------------------------------------------------------

def test_a_plan_followed_without_news_stays():
    """Planned again on the same day, with nothing done, every step stays on its day."""
    jobs = [schedule.OnBench("a", job_of())]
    first = schedule.plan(jobs, open_shop(), start=DAY_ONE, seconds=0.5)
    again = schedule.plan(jobs, open_shop(), start=DAY_ONE, seconds=0.5, former=first)
    assert again.proof.moved == 0
    assert again.finishes == first.finishes


def test_a_plan_goes_on_from_what_is_done():
    """What is done is gone, what is begun takes what is left, a lot that is away is on its way."""
    job = job_of(level=Level.FULL)
    shop = open_shop()
    first = schedule.plan([schedule.OnBench("a", job)], shop, start=DAY_ONE, seconds=0)
    today = date(2026, 12, 14)
    done = {step.item + 1: step.end.date() for step in first.steps
            if step.what == "work" and step.end.date() < today
            and all(other.end.date() < today for other in first.steps
                    if other.item == step.item and other.what == "work")}
    begun = next(number for number in range(1, len(job.items) + 1) if number not in done
                 and job.items[number - 1].work.operation.operation == "refit-topside")
    whole = job.items[begun - 1].mean_hours * job.hours_factor
    leads = tuple(replace(lead, ordered=DAY_ONE, arrived=True)
                  for lead in schedule.leads_of(job, shop.catalogue))
    now = [schedule.OnBench("a", job, done=done, booked={begun: whole / 2}, leads=leads,
                            sent={"powder-coat-set": date(2026, 12, 10)})]
    again = schedule.plan(now, shop, start=today, seconds=0, former=first)
    assert not {step.item + 1 for step in again.steps if step.what == "work"} & set(done)
    half = next(step for step in again.steps if step.item == begun - 1 and step.what == "work")
    assert half.hours == pytest.approx(whole / 2 / shop.settings.productive_share)
    lot = next(step for step in again.steps if step.operation == "powder-coat-set")
    mean = (3 + 4 * 10 + 21) / 6
    assert (lot.end - datetime(2026, 12, 14)).total_seconds() / 86400 == pytest.approx(
        mean - 4 + 9 / 24, abs=0.01)
    assert not [step for step in again.steps if step.what == "order"]
    before = {step.name: step for step in first.steps if step.what == "work"}
    stayed = [step.start.date() == before[step.name].start.date() for step in again.steps
              if step.what == "work" and before[step.name].start.date() >= today]
    assert len(stayed) > 50


def test_following_a_plan_moves_less_than_planning_anew():
    """With a day lost, the plan that is followed moves fewer steps than one made anew."""
    shop = with_settings(people=THREE)
    jobs = [schedule.OnBench("a", job_of())]
    first = schedule.plan(jobs, shop, start=DAY_ONE, seconds=0.5, seed=3)
    day = date(2026, 11, 27)
    kept = schedule.plan(jobs, shop, start=day, seconds=0, seed=1, former=first)
    anew = schedule.plan(jobs, shop, start=day, seconds=0, seed=1)
    searched = schedule.plan(jobs, shop, start=day, seconds=0.5, seed=1, former=first)
    begun = {step.name: max(step.start.date(), day) for step in first.steps
             if step.what == "work"}

    def moved(found):
        return sum(step.start.date() != begun[step.name] for step in found.steps
                   if step.what == "work")

    assert moved(kept) < moved(anew)
    # What the search gains is worth a quarter of an hour of open time for each step it moves.
    assert moved(searched) <= moved(kept) + 4 * 8 * 2
    assert kept.proof.moved > 0


def test_search_keeps_steps_on_their_day_where_it_costs_nothing():
    """Of two orders that end the same, the one is taken that was planned before."""
    hours = Hours(tuple((540 + day * DAY, 1020 + day * DAY) for day in range(9)))
    acts = (Activity("a", able=((0, 480),)), Activity("b", able=((0, 480),)))
    bench = Bench(acts, (("A", hours),))
    draft = listing.drawn(bench)
    turned = [float(540 + DAY), 540.0] if draft.starts[0] < draft.starts[1] else [
        540.0, float(540 + DAY)]
    found, proof = solved(bench, draft, former=turned, day_of=lambda clock: int(clock // DAY))
    assert list(found.starts) == turned
    assert (proof.moved, proof.proven) == (0, True)


def test_the_heavier_job_is_late_by_less():
    """Two days of work due on the first day: the job that counts twice is done first."""
    hours = Hours(tuple((540 + day * DAY, 1020 + day * DAY) for day in range(9)))
    acts = (Activity("a", able=((0, 480),)), Activity("b", able=((0, 500),), job=1))
    for weights in ((1, 2), (2, 1)):
        bench = Bench(acts, (("A", hours),), (), tuple(
            Due(name, weight, DAY) for name, weight in zip("xy", weights, strict=True)))
        worst = listing.by_rule(listing.Outline(bench), [-weight for weight in weights][::-1])
        found, proof = solved(bench, worst)
        assert proof.proven
        assert (found.starts[0] < found.starts[1]) == (weights[0] > weights[1])


def test_work_still_waits_through_what_is_done_already():
    """Of three in a row the middle one is done out of turn: the last still waits for the first."""
    names = ("first", "second", "third")
    rules = [small.row(catalogue.Precedence, rule=f"{a}-{b}", before=f"operation:{a}",
                       after=f"operation:{b}", where="line", why="Made up for a test.")
             for a, b in itertools.pairwise(names)]
    shop = small.shop(small.thing(), *(small.operation(name) for name in names),
                      *(small.treatment(item=name) for name in reversed(names)), *rules)
    job = estimate(scope(small.survey(small.line()), Level.FULL, shop.catalogue), shop)
    place = {item.work.operation.operation: at + 1 for at, item in enumerate(job.items)}
    jobs = [schedule.OnBench("a", job, done={place["second"]: DAY_ONE})]
    bench = tasks.bench_of(jobs, shop, DAY_ONE)
    assert [act.operation for act in bench.activities] == ["third", "first"]
    assert bench.activities[0].after == (1,)


# Dates ------------------------------------------------------------------------------------

def certain(job):
    """The same job with nothing left to chance."""
    def fixed(found):
        return Range(found.typical, found.typical, found.typical)

    items = tuple(replace(item, hours=fixed(item.hours), work=replace(item.work, pieces=None))
                  for item in job.items)
    return replace(job, items=items, risks=(), unseen=(),
                   lots=tuple(replace(lot, days=fixed(lot.days)) for lot in job.lots))


def test_the_plan_played_is_the_plan_when_nothing_varies():
    """All trials end when the plan does, and the steps that hold it up are the plan's."""
    shop = with_settings(people=THREE, country="US")
    jobs = []
    for name, level in (("a", Level.FULL), ("b", Level.SHOP_JOB)):
        job = certain(job_of(level=level))
        leads = tuple(replace(lead, days=Range(5, 5, 5))
                      for lead in schedule.leads_of(job, shop.catalogue))
        jobs.append(schedule.OnBench(name, job, leads=leads, due=date(2026, 12, 20)))
    plan = schedule.plan(jobs, shop, start=DAY_ONE, seconds=0.3)
    found = schedule.outlook(plan, jobs, shop, trials=200)
    for ready, end in zip(found.ready.values(), plan.draft.finishes, strict=True):
        assert np.ptp(ready.hours) == 0
        # Half a minute: lots and orders are planned to the minute, and float32 adds seconds.
        assert 60 * ready.hours[0] == pytest.approx(end, abs=0.5)
    assert set(np.array(found.criticality).tolist()) <= {0.0, 1.0}
    apart = [step for share, step in zip(found.criticality, plan.steps, strict=True)
             if bool(share) != step.critical]
    # Two ways to the end that are as long within a minute may be told apart by rounding.
    assert all(step.slack_hours < 1 / 60 for step in apart)
    assert len(apart) < 0.05 * len(plan.steps)


def test_dates_draw_as_the_quote_does():
    """The hours of a job are, trial by trial, those that the quote's odds drew."""
    shop = open_shop()
    job = job_of(level=Level.FULL)
    jobs = [schedule.OnBench("a", job)]
    plan = schedule.plan(jobs, shop, start=DAY_ONE, seconds=0)
    hours, held = lengths(plan, jobs, shop, trials=1000, seed=5)
    work = [row for act, row in zip(plan.bench.activities, hours, strict=True)
            if act.what == "work"]
    odds = simulate(job, shop.settings, trials=1000, seed=5)
    drawn = sum(row.astype(float) for row in work) * shop.settings.productive_share
    assert drawn == pytest.approx(odds.hours, rel=1e-4)
    assert held
    assert any((row > 0).any() for row in held.values())


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10_000))
def test_ends_agree_with_networkx_trial_by_trial(seed):
    """Without calendars and with hands enough, each trial ends with the longest path."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 12))
    acts = tuple(Activity(str(at), "wait", minutes=1, counts=True, after=tuple(
        before for before in range(at) if rng.random() < 0.3)) for at in range(count))
    bench = Bench(acts)
    course = Course(bench, listing.drawn(bench))
    hours = [rng.gamma(2, 5, 40).astype(np.float32) for _ in acts]
    starts, finishes, turned = course.play(hours, 40)
    ends, critical = course.ends(finishes)[0], course.critical(starts, finishes, turned)
    for trial in range(40):
        graph = networkx.DiGraph()
        graph.add_edges_from((("a", at), ("b", at), {"weight": float(hours[at][trial])})
                             for at in range(count))
        graph.add_edges_from((("b", before), ("a", at), {"weight": 0.0})
                             for at, act in enumerate(acts) for before in act.after)
        assert ends[trial] == pytest.approx(networkx.dag_longest_path_length(graph), rel=1e-5)
        path = {at for side, at in networkx.dag_longest_path(graph) if side == "a"}
        assert path <= set(np.flatnonzero(critical[:, trial]).tolist())


def test_work_taken_up_in_hours_of_its_own():
    """Trials of work cross nights and weekends as the calendar of a person says."""
    bench = Bench((Activity("w", able=((0, 60),)), Activity("d", "wait", minutes=600, after=(0,)),
                   Activity("v", able=((1, 60),), after=(1,))), (("A", WEEK), ("B", FEW)))
    course = Course(bench, listing.drawn(bench))
    first, wait = np.array([1, 4, 5, 22], np.float32), np.array([10, 1, 30, 1], np.float32)
    starts, finishes, _ = course.play([first, wait, np.float32(0.5)], 4)
    for trial in range(4):
        end = WEEK.clock(60 * float(first[trial])) + 60 * float(wait[trial])
        begin = FEW.next_open(end)
        assert 60 * course.by_clock(2, starts[2], morning=True)[trial] == pytest.approx(
            begin, abs=0.2)
        assert 60 * course.by_clock(2, finishes[2])[trial] == pytest.approx(
            FEW.clock(FEW.opened(begin) + 30), abs=0.2)


@settings(deadline=None, max_examples=60)
@given(spans, st.sampled_from([np.float32, float]))
def test_whole_arrays_are_turned_as_single_moments_are(hours, kind):
    """Open time and the clock for arrays agree with the calendar's own, off its edges."""
    axis = Axis(hours, kind)
    clock = np.arange(0.5, hours.spans[-1][1] + 100).astype(kind)
    wanted = [hours.opened(float(value)) for value in clock]
    assert 60 * axis.opened(clock / 60) == pytest.approx(wanted, abs=0.05)
    opened = np.arange(0.5, hours.total).astype(kind)
    wanted = [hours.clock(float(value)) for value in opened]
    assert 60 * axis.clock(opened / 60) == pytest.approx(wanted, abs=0.05)
    ends = np.cumsum([end - start for start, end in hours.spans]).astype(kind)
    assert 60 * axis.clock(ends / 60) == pytest.approx([end for _, end in hours.spans], abs=0.05)
    mornings = [start for start, _ in hours.spans[1:]]
    assert 60 * axis.clock(ends[:-1] / 60, morning=True) == pytest.approx(mornings, abs=0.05)


def test_a_wait_that_ends_in_the_evening_may_end_next_morning():
    """Its slack is the night; what is worked before it has none, for the paint must be dry."""
    acts = (Activity("w", able=((0, 60),)), Activity("d", "wait", minutes=180, after=(0,)),
            Activity("v", able=((0, 60),), after=(1,)))
    bench = Bench(acts, (("A", WEEK),))
    draft = listing.drawn(bench)
    assert (draft.ends[1], draft.starts[2]) == (780, 540 + DAY)  # at closing time, and at opening
    course = Course(bench, draft, kind=float)
    hours = [1.0, 3.0, 1.0]
    _, finishes, _ = course.play(hours, 1)
    assert course.slack(hours, finishes) == pytest.approx([3.0, 20.0, 0.0])


def test_work_in_one_go_waits_for_the_morning():
    """Three hours are done of four, the coat takes two: tomorrow; of five hours a night parts."""
    for minutes, begins, ends in ((60, 720, 780), (120, 540 + DAY, 660 + DAY),
                                  (300, 720, 540 + DAY + 240)):
        acts = (Activity("sand", able=((0, 180),)),
                Activity("spray", able=((0, minutes),), after=(0,), in_one_go=True),
                Activity("dry", "wait", minutes=60, after=(1,), at_once=True))
        bench = Bench(acts, (("A", WEEK),))
        for draft in (listing.drawn(bench), solved(bench, listing.drawn(bench))[0]):
            assert (draft.starts[1], draft.ends[1]) == (begins, ends)
            assert draft.starts[2] == ends


def test_trials_of_work_in_one_go_are_the_calendar_s():
    """Trial by trial as single moments say; the night before the coat holds the end up too."""
    acts = (Activity("sand", able=((0, 180),)),
            Activity("spray", able=((0, 60),), after=(0,), in_one_go=True))
    bench = Bench(acts, (("A", WEEK),))
    course = Course(bench, listing.drawn(bench))
    rng = np.random.default_rng(4)
    hours = [rng.uniform(0.2, 9, 300).astype(np.float32),
             rng.uniform(0.2, 6, 300).astype(np.float32)]
    starts, finishes, turned = course.play(hours, 300)
    begins = course.by_clock(1, course.begins(starts, finishes, hours)[1], morning=True)
    moved = 0
    for trial, (first, second) in enumerate(zip(*hours, strict=True)):
        free = WEEK.clock(60 * float(first))
        begin = WEEK.in_one_go(free, 60 * float(second))
        moved += begin > WEEK.next_open(free)
        assert 60 * begins[trial] == pytest.approx(begin, abs=0.3)
        assert 60 * course.by_clock(1, finishes[1])[trial] == pytest.approx(
            WEEK.clock(WEEK.opened(begin) + 60 * float(second)), abs=0.3)
    assert moved > 50
    assert course.critical(starts, finishes, turned).all()


def test_slack_before_work_in_one_go_is_what_the_morning_leaves():
    """Two hours of sanding may end two hours later; the coat then begins with the day as before."""
    acts = (Activity("sand", able=((0, 120),)),
            Activity("spray", able=((0, 180),), after=(0,), in_one_go=True))
    course = Course(Bench(acts, (("A", WEEK),)), listing.drawn(Bench(acts, (("A", WEEK),))),
                    kind=float)
    hours = [2.0, 3.0]
    _, finishes, _ = course.play(hours, 1)
    assert course.slack(hours, finishes) == pytest.approx([2.0, 0.0])
    assert course.ends(course.play([4.0, 3.0], 1)[1])[0][0] == pytest.approx(
        course.ends(finishes)[0][0])
    # Three hours of fitting may begin at ten tomorrow, but no coat of two hours ends at ten: it
    # ends at one today, an hour later than planned.
    acts = (Activity("sand", able=((0, 60),)),
            Activity("spray", able=((0, 120),), after=(0,), in_one_go=True),
            Activity("fit", able=((0, 180),), after=(1,)), Activity("else", able=((1, 480),)))
    bench = Bench(acts, (("A", WEEK), ("B", WEEK)))
    course = Course(bench, listing.drawn(bench), kind=float)
    hours = [1.0, 2.0, 3.0, 8.0]
    _, finishes, _ = course.play(hours, 1)
    assert course.slack(hours, finishes) == pytest.approx([1.0, 1.0, 2.0, 0.0])


def test_no_night_parts_a_session_of_clear_coat():
    """Of a full restoration at one bench, every session ends on the day that it begins."""
    shop = open_shop()
    found = schedule.plan([schedule.OnBench("a", job_of(level=Level.FULL))], shop, start=DAY_ONE,
                          seconds=0)
    sprayed = [step for step in found.steps if step.operation == "clear-spray"
               and step.what == "work"]
    assert len(sprayed) > 1
    assert all(step.start.date() == step.end.date() for step in sprayed)
    assert all(step.end - step.start <= timedelta(hours=step.hours + 0.02) for step in sprayed)


def test_days_of_lots_and_orders_are_those_of_their_tables():
    """Hours by the clock of what is away: within its range, with its mean."""
    shop = open_shop()
    job = job_of(level=Level.FULL)
    jobs = [schedule.OnBench("a", job)]
    plan = schedule.plan(jobs, shop, start=DAY_ONE, seconds=0)
    hours, _ = lengths(plan, jobs, shop, trials=5000, seed=2)
    away = {act.operation: hours[at] / 24 for at, act in enumerate(plan.bench.activities)
            if act.what in ("order", "outwork")}
    ranges = {lot.service: lot.days for lot in job.lots} | {
        lead.name: lead.days for lead in schedule.leads_of(job, shop.catalogue)}
    assert set(away) == set(ranges)
    for name, days in away.items():
        found = ranges[name]
        assert found.low <= days.min() <= days.max() <= found.high
        assert days.mean() == pytest.approx((found.low + 4 * found.typical + found.high) / 6,
                                            rel=0.03)


def test_a_promise_holds_as_often_as_it_says():
    """The first day that holds often enough; a week earlier is later more often and dearer."""
    shop = with_settings(late_per_day=20)
    jobs = [schedule.OnBench("a", job_of(level=Level.FULL), due=date(2027, 2, 10))]
    plan = schedule.plan(jobs, shop, start=DAY_ONE, seconds=0)
    ready = schedule.outlook(plan, jobs, shop, trials=4000).ready["a"]
    promise = ready.promise(0.8)
    assert promise.chance >= 0.8 > ready.earlier(promise, 1).chance
    days = np.array([(DAY_ONE.toordinal() + int(value // 24)) for value in ready.hours])
    assert promise.chance == pytest.approx(np.mean(days <= promise.day.toordinal()), abs=1e-3)
    sooner = ready.earlier(promise)
    late = np.maximum(ready.hours / 24 - (sooner.day - DAY_ONE).days - 1, 0)
    assert sooner.late_days == pytest.approx(late.mean(), rel=1e-4)
    assert sooner.cost == pytest.approx(20 * sooner.late_days)
    assert sooner.cost > promise.cost
    assert ready.due == ready.on(date(2027, 2, 10))
    assert ready.p50 < ready.p80 < ready.p90
    with pytest.raises(BadInput, match="cannot be promised"):
        ready.promise(1)


# Two ways ---------------------------------------------------------------------------------

def test_two_ways_order_the_same_parts_and_do_the_same_work():
    """Where all was seen, everything is ordered on the first day, and nothing lies on the shelf."""
    shop = open_shop()
    job = job_of()
    seen = replace(job, scope=replace(job.scope, lines=tuple(
        replace(line, certainty=Certainty.SEEN) for line in job.scope.lines)))
    for way in schedule.compared(schedule.OnBench("a", seen), shop, start=DAY_ONE):
        assert (way.orders, way.later_orders, way.shelf_most) == (1, 0, 0)
        assert way.parcels == len(schedule.leads_of(job, shop.catalogue))
    unseen = replace(job, scope=replace(job.scope, lines=tuple(
        replace(line, certainty=Certainty.HIDDEN) for line in job.scope.lines)))
    comes, strips = schedule.compared(schedule.OnBench("a", unseen), shop, start=DAY_ONE,
                                      freight={"oakbench-parts": 100.0})
    assert comes.later_orders > 0
    assert strips.later_orders > 0
    assert comes.shelf_days > 0
    assert comes.freight % 100 == 0
    assert comes.freight <= 100 * comes.parcels


def test_hours_of_the_two_ways_are_the_table_s():
    """Stripping first takes the estimate's hours; the other way the table's factors of them."""
    shop = open_shop()
    job = job_of()
    comes, strips = schedule.compared(schedule.OnBench("a", job), shop, start=DAY_ONE)
    known = sum(item.mean_hours for item in job.items) * job.hours_factor
    assert strips.hours == pytest.approx(known, rel=1e-6)
    rows = {"remove": 1.15, "dismantle": 1.15, "assemble": 0.9}
    hours = sum((item.mean_hours - item.setup) * rows.get(item.work.operation.kind, 1.0)
                + item.work.operation.setup for item in job.items) * job.hours_factor
    assert comes.hours == pytest.approx(hours, rel=1e-6)


def test_needs_come_to_light_when_an_assembly_lies_open():
    """By hand: of two pieces off, the first finished at once orders before the second is off."""
    shop = small.shop(
        small.thing("body"), small.thing("bat"), small.thing("bell"),
        small.operation("take-off", kind="remove", low=8, typical=8, high=8),
        small.operation("rebuild-bat", kind="rebuild", low=5, typical=5, high=5),
        small.operation("rebuild-bell", kind="rebuild", low=5, typical=5, high=5),
        small.treatment(item="take-off", assembly="body"),
        small.treatment(item="rebuild-bat", assembly="bat"),
        small.treatment(item="rebuild-bell", assembly="bell"),
        small.treatment("part", "piece", "bat"), small.treatment("part", "piece", "bell"),
        small.part(),
        small.row(catalogue.Supplier, supplier="post", name="By post", shipping=10, days_low=7,
                  days_typical=7, days_high=7),
        small.row(catalogue.Offer, part="piece", supplier="post", price=10),
        small.row(catalogue.Precedence, rule="off-first", before="assembly:body",
                  after="assembly:bat assembly:bell", where="machine", why="It must be off."),
        *(small.row(catalogue.BenchWay, bench_way=name, name="One way", takes_down=1,
                    puts_together=1, setup_each=False, opening_share=0.2, order_days=1)
          for name in ("as-it-comes-off", "strip-first")))
    survey = small.survey(small.line("body"), *(small.line(
        name, certainty=Certainty.HIDDEN) for name in ("bat", "bell")))
    job = estimate(scope(survey, Level.FULL, shop.catalogue), shop)
    comes, strips = schedule.compared(schedule.OnBench("a", job), shop,
                                      start=date(2026, 3, 2))  # a Monday
    # Half of taking off is 4 h, taking apart 1 h. As it comes off: the first lies open after 5 h,
    # on Monday, and the second after 10 h, on Tuesday. Stripped first: after 9 h and 10 h, both
    # on Tuesday. Parts are a week on their way; 4 h of rebuilding are left on each.
    assert (comes.orders, strips.orders) == (2, 1)
    assert (comes.freight, strips.freight) == (20, 10)
    assert comes.hours == strips.hours == pytest.approx(18)
    assert (comes.shelf_most, strips.shelf_most) == (2, 2)
    bench = tasks.bench_of([schedule.OnBench("a", job, leads=())], shop, date(2026, 3, 2))
    for row in shop.catalogue.bench_ways.values():
        acts = ways._parted(list(bench.activities), row, job, shop.catalogue)
        parts = [at for at, act in enumerate(acts) if act.operation == "take-off"]
        bat = next(act for act in acts if act.operation == "rebuild-bat")
        # Stripped first, not even the first that is off is touched before the last one is.
        assert (parts[1] in bat.after) == (row.bench_way == "strip-first")


def test_calendars_of_a_shop_are_kept_with_a_plan():
    """A person's hours in a plan are those of the settings, day by day."""
    shop = with_settings(people=THREE)
    plan = schedule.plan([schedule.OnBench("a", job_of())], shop, start=DAY_ONE, seconds=0)
    for step in plan.steps:
        if step.person == "Joris":
            assert step.start.weekday() in (1, 2, 3)
            assert 9 <= step.start.hour < 17


# The command ------------------------------------------------------------------------------

def test_command_writes_a_plan_and_says_it_in_json(demo_survey_path, tmp_path, capsys):
    """JSON and files hold the same plan, with units in the names; each job has its dates."""
    code = cli.main(["plan", str(demo_survey_path), str(demo_survey_path), "--level", "shop-job",
                     "--start", "2026-11-26", "--due", "-", "2026-12-18", "--seconds", "0.2",
                     "--trials", "500", "--promise", "0.9", "--ways", "--json",
                     "--out", str(tmp_path / "out")])
    assert code == 0
    said = json.loads(capsys.readouterr().out)
    assert said == json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    assert said["schema"] == 1
    first, second = said["jobs"]
    assert first["job"] != second["job"]
    assert (first["due"], second["due"]) == (None, "2026-12-18")
    for job in said["jobs"]:
        assert job["finish_p50"] <= job["finish_p80"] <= job["finish_p90"]
        assert job["promise"]["chance"] >= 0.9
        assert {"day", "chance", "late_days_mean", "cost"} == set(job["week_earlier"])
    assert set(said["ways"]) == {first["job"], second["job"]}
    with (tmp_path / "out" / "plan.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == [step["name"] for step in said["steps"]]
    assert {"hours", "slack_hours", "criticality_share"} <= set(rows[0])


def test_command_says_what_is_bought_and_for_what(demo_survey_path, capsys):
    """Wishes beside each other; orders add up; old prices are told with the row they stand in."""
    code = cli.main(["plan", str(demo_survey_path), "--level", "reconditioned", "--start",
                     "2026-11-26", "--seconds", "0", "--trials", "500", "--buy", "fewest-parcels",
                     "--baskets", "--json"])
    assert code == 0
    said = json.loads(capsys.readouterr().out)["buying"]
    cheapest, fastest, fewest = said["compared"]
    assert said["wish"] == "fewest parcels"
    assert {key: said[key] for key in fewest} == fewest
    assert cheapest["total"] <= min(fastest["total"], fewest["total"])
    assert fastest["days"] <= min(cheapest["days"], fewest["days"])
    assert fewest["parcels"] == len(said["orders"]) < cheapest["parcels"]
    assert all(one["proven"] for one in said["compared"])
    assert math.fsum(row["total"] for row in said["orders"]) == pytest.approx(said["total"],
                                                                              abs=1e-9)
    assert all(row["order_on"] <= row["expected"] for row in said["orders"])
    assert all(row["file"] == "offers.csv" and row["row"] for row in said["notices"])
    for row in said["spares"]:
        assert row["second_order_chance_with_spares"] <= row["second_order_chance"]
        assert row["saves_mean"] >= 0
        assert row["saves_mean"] > 0 or not row["parts"]
    assert any(row["parts"] for row in said["spares"])


def test_command_prints_the_plan_day_by_day(demo_survey_path, capsys):
    """Days with their work, waits, what holds up the end, and dates to promise."""
    assert cli.main(["plan", str(demo_survey_path), "--level", "reconditioned", "--start",
                     "2026-11-26", "--seconds", "0", "--trials", "500"]) == 0
    said = capsys.readouterr().out
    for words in ("Thu 2026-11-26", "Parts from", "holds up the end", "promise 2026-12",
                  "a week earlier", "Drawn at once", "Orders, cheapest",
                  "No other choice of suppliers costs less"):
        assert words in said


@pytest.mark.parametrize(("words", "wanted"), [
    (["--start", "2026-02-30"], "2026-02-30"),
    (["--start", "2026-11-26", "--due", "2026-11-01"], "before the plan begins"),
    (["--promise", "1.2", "--trials", "1"], "2 faults"),
    (["--due", "2026-12-01", "2026-12-02"], "for 1 survey"),
    (["--level", "sparkling"], "There are 2 of --level for 1 survey"),
    (["--seconds", "-1"], "no time to search"),
    (["--buy", "trade-off", "--day-worth", "-1"], "no worth of a day"),
    (["--parcel-worth", "5"], "Write --buy trade-off"),
    (["--start", "2600-01-01"], "1900 to 2199"),
    (["--jobs"], "none was named"),
])
def test_command_names_what_is_wrong(words, wanted, demo_survey_path, capsys):
    """Wrong input is named with what to write instead, and the exit code is 2."""
    assert cli.main(["plan", str(demo_survey_path), "--level", "clean", *words]) == 2
    assert wanted in capsys.readouterr().err


def test_command_names_a_bench_without_a_skill(demo_survey_path, tmp_path, capsys):
    """A shop where nobody does electronics cannot plan it, and is told whom to give it to."""
    folder = new_shop(tmp_path / "shop")
    with (folder / "shop.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[people]]\nname = "Mara"\nskills = "bench finishing cabinet"\n')
    assert cli.main(["plan", str(demo_survey_path), "--level", "shop-job", "--shop",
                     str(folder), "--seconds", "0"]) == 2
    said = capsys.readouterr().err
    assert "Nobody at the bench does electronics" in said
    assert "Mara" in said
