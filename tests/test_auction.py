"""Auction lists: the screening against trials, the trials against `resale`, restarts, clusters."""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import json
import math
import os
import random
import re
import signal
import subprocess
import sys
import time
from dataclasses import astuple, replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from estimator import auction, cli, survey
from estimator.auction import Bad, Offered, papers
from estimator.auction.cases import cases_of, with_bad
from estimator.auction.judging import BEND, Judge
from estimator.auction.profiles import Table, joint, worth
from estimator.auction.ranking import cautions
from estimator.catalogue import FOUND, LEVELS, Condition, Era
from estimator.errors import BadInput
from estimator.resale import LEAVE, Deal, resale, selling
from estimator.resale.measures import held_by
from estimator.resale.screening import Moments
from estimator.shop import open_shop
from estimator.simulate import Stopped
from estimator.simulate.streams import RANKS, Streams

ON = date(2026, 3, 2)
TRIALS = 1_000
TERMS = Deal(1.0, buying="auction", trials=TRIALS, on=ON)
ERAS = (Era.ELECTROMECHANICAL, Era.DOT_MATRIX)


@pytest.fixture(scope="module")
def shop():
    return open_shop()


@pytest.fixture(scope="module")
def judge(shop):
    return Judge(TERMS, shop, ON)


def a_list(count: int, seed: int = 1) -> list[Offered]:
    """Machines of two eras and all states, with and without an asking price and a known range."""
    draw = random.Random(seed)
    found = []
    for number in range(count):
        value = round(math.exp(draw.gauss(8.1, 0.6)))
        spread = draw.random() < 0.3
        found.append(Offered(
            str(number), draw.choice(ERAS), draw.choice(FOUND), value,
            value_low=round(0.7 * value) if spread else None,
            value_high=round(1.1 * value) if spread else None,
            asking=None if draw.random() < 0.2 else round(value * draw.uniform(0.05, 1.2)),
            row=number + 2))
    return found


# --- moments --------------------------------------------------------------------------------


def test_moments_of_value_times_a_less_b_are_those_of_every_outcome_counted():
    """Mean, variance, third and fourth cumulant of V·A − B, A and B tied, V apart from them."""
    pairs = [(0.8, 300.0), (1.0, 900.0), (1.3, 500.0)]
    values = [3_000.0, 4_000.0, 7_000.0]
    outcomes = np.array([v * a - b for v in values for a, b in pairs])
    a, b = np.array(pairs).T
    table = Table(float(b.mean()), joint(a, b - b.mean()))
    found = worth(_moments(np.array(values)), np.array([table.b]), np.array([table.powers]))
    expected = _moments(outcomes)
    for one, other in zip((found.mean, found.variance, found.third, found.fourth),
                          (expected.mean, expected.variance, expected.third, expected.fourth),
                          strict=True):
        assert one[0] == pytest.approx(other, rel=1e-9)


def test_the_variance_of_a_product_is_goodmans():
    """Var XY = μx²σy² + μy²σx² + σx²σy² (L. A. Goodman, JASA 55, 1960, for independent ones)."""
    a = np.array([0.5, 1.5, 1.0, 3.0])
    value = Moments.of(np.array([4_000.0]), 600.0)
    found = worth(value, np.zeros(1), np.array([joint(a, np.zeros(4))]))
    mean, variance = a.mean(), a.var()
    assert found.variance[0] == pytest.approx(
        4_000**2 * variance + mean**2 * 600**2 + 600**2 * variance)


def _moments(values: np.ndarray) -> Moments:
    """Cumulants of outcomes that are equally likely."""
    mean = values.mean()
    second, third, fourth = (((values - mean)**n).mean() for n in (2, 3, 4))
    return Moments(mean, second, third, fourth - 3 * second**2)


# --- the trials -----------------------------------------------------------------------------


@pytest.mark.parametrize(("way", "buying"), [("private", "auction"), ("auction", "club-auction"),
                                             ("club-auction", "private")])
@pytest.mark.parametrize("value", [900, 4_000, 12_000])
def test_a_machine_with_its_own_survey_is_judged_as_resell_does(shop, way, buying, value):
    """Bid limit, best choice and every figure are those of `resale` on the same trials."""
    its = cases_of(Offered("1", Era.DOT_MATRIX, "not-working", value), shop.catalogue)[1][1]
    terms = replace(TERMS, way=way, buying=buying, fetching=120, want=0.25, want_profit=50,
                    purchase_tax=0.06, wait_weeks=9)
    one = Offered("1", Era.DOT_MATRIX, "not-working", value, asking=0.2 * value, survey=its)
    (said,) = Judge(terms, shop, ON).of([one])
    answer = resale(its, replace(terms, value=value, asking=0.2 * value, found="not-working"),
                    shop)
    own = [choice for choice in answer.choices if choice.key != LEAVE]
    best = max(own, key=lambda choice: choice.worth)
    assert (said.limit_for, said.best, said.played) == (answer.bid.key, best.key, True)
    assert astuple(said)[4:15] == pytest.approx((
        0.2 * value, answer.outlay, best.profit, best.profit_p10, best.profit_p50,
        best.profit_p90, best.worth, best.hours, best.cost, best.months, best.per_hour),
        rel=1e-9, abs=1e-6)
    assert said.limit == pytest.approx(answer.bid.highest_price, rel=1e-9, abs=1e-6)


def test_a_part_out_is_judged_as_resell_does(shop):
    """Where only parts are sold, just the offers that pay at this value are."""
    tables = shop.catalogue
    dear = {key: row if row.method == "part-out" or row.choice == "as-found"
            else row.model_copy(update={"low": 0.01, "typical": 0.02, "high": 0.03})
            for key, row in tables.sale_ratios.items()}
    dear["as-found", "incomplete", None] = dear["as-found", "incomplete", None].model_copy(
        update={"low": 0.01, "typical": 0.02, "high": 0.03})
    shop = replace(shop, catalogue=replace(tables, tables={**tables.tables, "sale_ratios": dear}))
    its = cases_of(Offered("1", Era.DOT_MATRIX, "working", 1), tables)[1][1]
    for value in (5_000, 9_000, 30_000):
        one = Offered("1", Era.DOT_MATRIX, "incomplete", value, asking=10, survey=its)
        (said,) = Judge(TERMS, shop, ON).of([one])
        answer = resale(its, replace(TERMS, value=value, asking=10, found="incomplete"), shop)
        best = answer.choice("part-out")
        assert said.best == said.limit_for == "part-out"
        assert said.limit == pytest.approx(best.highest_price, rel=1e-9)
        assert (said.profit, said.hours) == pytest.approx((best.profit, best.hours), rel=1e-9)


def test_a_state_is_a_mixture_of_its_cases(shop, judge):
    """Each trial is of one case, drawn by weight; the limit is that of the trials so mixed."""
    one = Offered("1", Era.DOT_MATRIX, "not-working", 6_000, asking=500)
    (said,) = judge.of([one], full=True)
    cases = cases_of(one, shop.catalogue)
    deal = replace(TERMS, value=6_000, asking=500, found="not-working")
    answers = [resale(its, deal, shop) for _, its in cases]
    ranks = Streams(TERMS.seed, TRIALS).ranks("lot: case")
    case = (ranks >= cases[0][0] * RANKS).astype(int)
    assert 0.35 < case.mean() < 0.45, "two in five are poor"
    premium = (0.1, 0.0, None)
    limits, worths = {}, {}
    for key in answers[0].worths:
        if key != LEAVE:
            mixed = np.choose(case, [answer.worths[key] for answer in answers])
            worths[key] = mixed.mean()
            limits[key] = selling.hammer_for(
                max(held_by(mixed + answers[0].outlay, 0.8), 0), *premium)
    # What a part-out offers goes by the case alone, so that it too is a mixture.
    assert said.best == max(worths, key=worths.get)
    assert said.worth == pytest.approx(max(worths.values()), rel=1e-9)
    assert said.limit == pytest.approx(float(max(limits.values())), rel=1e-9)
    assert said.lead == pytest.approx(
        sorted(worths.values())[-1] - sorted(worths.values())[-2], rel=1e-9)


def test_screening_decides_as_the_trials_do(judge):
    """Bid or not and the best choice are those of the full trials, for every machine."""
    machines = a_list(250)
    screened, played = judge.of(machines), judge.of(machines, full=True)
    assert all(said.played for said in played)
    few = sum(said.played for said in screened)
    assert 0 < few < 0.35 * len(machines)
    for one, fast, slow in zip(machines, screened, played, strict=True):
        assert fast.best == slow.best
        assert auction.ranking.worth_bidding(one, fast) == auction.ranking.worth_bidding(one, slow)
        spread = (slow.profit_p90 - slow.profit_p10) / 2.5
        outside = 0.0 if fast.played else BEND * spread
        assert abs(fast.limit - slow.limit) <= outside + 0.01
        if fast.played:
            assert fast.limit == slow.limit
        assert fast.profit == pytest.approx(slow.profit, abs=0.12 * spread + 1)


def test_capital_that_costs_nothing_is_screened_as_it_is_played(shop):
    """At no rate of return the bid and the spread of profit ask quantiles of the same worths."""
    judge = Judge(replace(TERMS, want=0.0, capital_rate=0.0), shop, ON)
    machines = a_list(12)
    screened, played = judge.of(machines), judge.of(machines, full=True)
    assert not all(said.played for said in screened)
    for fast, slow in zip(screened, played, strict=True):
        spread = (slow.profit_p90 - slow.profit_p10) / 2.5
        assert abs(fast.limit - slow.limit) <= BEND * spread + 0.01
        assert fast.profit_p10 == pytest.approx(slow.profit_p10, abs=BEND * spread + 1)


def test_what_stands_close_is_played(judge):
    """A machine asked for at its limit is played, one asked for at half of it is not."""
    one = Offered("1", Era.DOT_MATRIX, "working", 5_000)
    (free,) = judge.of([one])
    assert not free.played, "nothing is asked, so nothing is close"
    near, far = judge.of([replace(one, asking=free.limit * 1.005),
                          replace(one, asking=free.limit * 0.5)])
    assert near.played
    assert not far.played


def test_the_premium_with_its_least_and_its_cap_is_inside_the_limit(shop):
    """What a bid at the limit costs in all is the same, however the premium is taken."""
    one = Offered("1", Era.DOT_MATRIX, "working", 5_000)
    costs = {}
    for buying in ("private", "auction", "club-auction"):
        terms = replace(TERMS, buying=buying, fetching=80)
        (said,) = Judge(terms, shop, ON).of([one], full=True)
        costs[buying] = said.outlay
        way = shop.catalogue.ways[buying]
        added = said.outlay - 80 - said.limit
        assert added == pytest.approx(min(max(way.premium * said.limit, way.premium_minimum),
                                          way.premium_cap or math.inf))
    assert max(costs.values()) == pytest.approx(min(costs.values()))


def test_known_bad_pieces_lower_the_limit(judge):
    """The more is known to be bad, the less may be bid; screened and played agree on it."""
    plain = Offered("1", Era.DOT_MATRIX, "not-working", 12_000, asking=100)
    boards = tuple(Bad(name, 1, Condition.MISSING) for name in ("cpu-board", "driver-board"))
    (a,), (b,), (c,) = (judge.of([replace(plain, bad=boards[:count])], full=True)
                        for count in range(3))
    assert a.limit > b.limit > c.limit
    (fast,) = judge.of([replace(plain, bad=boards)])
    assert fast.limit == pytest.approx(c.limit, rel=0.03)
    assert fast.cost == pytest.approx(c.cost, rel=0.15)


def test_bad_pieces_are_taken_from_the_lines_that_hold_them():
    """No piece is counted twice, and more than usual are there all the same."""
    line = survey.Line("flipper", 3, Condition.WORN)
    plain = survey.Survey(survey.Machine(era=Era.DOT_MATRIX), (line,))
    for count in range(1, 6):
        for known in ((Bad("flipper", count, Condition.FAILED),),
                      (Bad("flipper", 1, Condition.MISSING), Bad("flipper", count,
                                                                 Condition.FAILED))):
            lines = with_bad(plain, known).lines
            whole = sum(found.count for found in lines)
            assert whole == max(3, sum(bad.count for bad in known))
            failed = sum(found.count for found in lines if found.condition == Condition.FAILED)
            assert failed == count


def test_worse_states_cost_more(judge, shop):
    """For the same value the limit falls from collector down to incomplete, in every era."""
    for era in ERAS:
        limits = [said.limit for said in judge.of(
            [Offered("1", era, found, 4_000) for found in FOUND], full=True)]
        assert limits == sorted(limits)
    for chance, its in cases_of(Offered("1", Era.DOT_MATRIX, "incomplete", 1), shop.catalogue):
        assert 0 < chance < 1
        assert any(line.condition == Condition.MISSING for line in its.lines)


# --- the list as a whole --------------------------------------------------------------------


def test_the_same_whatever_the_pieces_and_the_order(shop):
    """Bit for bit: pieces of one, of seven and of all, rows forward and shuffled, twice."""
    machines = a_list(60)
    first = auction.judge(machines, TERMS, shop, ON)
    for piece in (1, 7, 1_000):
        assert auction.judge(machines, TERMS, shop, ON, piece=piece) == first
    order = list(range(len(machines)))
    random.Random(5).shuffle(order)
    again = auction.judge([machines[place] for place in order], TERMS, shop, ON)
    assert again == [first[place] for place in order]
    other = auction.judge(machines, replace(TERMS, seed=2), shop, ON)
    assert other != first


def test_finished_pieces_are_taken_up_again(shop, tmp_path):
    """After a stop the rest alone is worked on; a damaged piece is worked on anew."""
    machines = a_list(40)
    told: list[int] = []

    def stop(done: int, of: int) -> bool:
        told.append(done)
        return len(told) < 3

    with pytest.raises(Stopped):
        auction.judge(machines, TERMS, shop, ON, keep=tmp_path, piece=5, progress=stop)
    kept = sorted(tmp_path.glob("*.json"))
    assert len(kept) == 3
    stamps = [path.stat().st_mtime_ns for path in kept]
    kept[0].write_text("[[1, 2", encoding="utf-8")
    half = tmp_path / ".estimator-half.part"
    half.write_bytes(b"[")
    os.utime(half, (0, 0))
    whole = auction.judge(machines, TERMS, shop, ON, keep=tmp_path, piece=5)
    assert whole == auction.judge(machines, TERMS, shop, ON)
    assert [path.stat().st_mtime_ns for path in kept][1:] == stamps[1:]
    assert not list(tmp_path.glob(".*"))
    auction.judge(machines, replace(TERMS, confidence=0.9), shop, ON, keep=tmp_path, piece=5)
    assert not set(kept) & set(tmp_path.glob("*.json")), "other terms, other pieces"


def _stats() -> dict[int, tuple[str, int]]:
    """State and parent of every process, where the system tells them in files."""
    found = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, parent = path.read_text().rpartition(")")[2].split()[:2]
            found[int(path.parent.name)] = state, int(parent)
    return found


def _children(process: int) -> set[int]:
    return {number for number, (_, parent) in _stats().items() if parent == process}


def _alive() -> set[int]:
    return {number for number, (state, _) in _stats().items() if state != "Z"}


def test_a_killed_command_goes_on_where_it_was(tmp_path):
    """Killed midway, the same command ends with the very files of one that was not."""
    path = tmp_path / "lot.csv"
    rows = [["lot", "era", "found", "value", "asking"]]
    rows += [[one.lot, one.era, one.found, one.value, one.asking or ""] for one in a_list(200)]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    command = [sys.executable, "-m", "estimator", "lot", str(path), "--trials", "2000",
               "--date", "2026-03-02", "--out"]
    pieces = tmp_path / "a" / "pieces"
    running = subprocess.Popen([*command, str(tmp_path / "a")], stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)
    until = time.monotonic() + 120
    while not list(pieces.glob("*.json")) and running.poll() is None:
        assert time.monotonic() < until
        time.sleep(0.01)
    others = _children(running.pid)
    assert others or not hasattr(os, "sched_getaffinity") or len(os.sched_getaffinity(0)) < 2
    running.kill()
    assert running.wait() == -signal.SIGKILL
    while others & _alive():
        assert time.monotonic() < until, "who worked beside it goes on"
        time.sleep(0.01)
    before = {path.name: path.stat().st_mtime_ns for path in pieces.glob("*.json")}
    assert before
    assert not (tmp_path / "a" / "lot.csv").exists()
    for folder in ("a", "b"):
        subprocess.run([*command, str(tmp_path / folder)], check=True, capture_output=True)
    after = {path.name: path.stat().st_mtime_ns for path in pieces.glob("*.json")}
    assert before.items() <= after.items()
    assert len(after) > len(before)
    for name in ("lot.csv", "lot.xlsx", "lot.json", "bids.pdf"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_processes_beside_give_the_same(shop, tmp_path):
    """Two and three processes answer bit for bit as one does, and keep the same pieces."""
    machines = a_list(60)
    alone = auction.judge(machines, TERMS, shop, ON, keep=tmp_path / "a")
    for workers in (2, 3):
        kept = tmp_path / str(workers)
        assert auction.judge(machines, TERMS, shop, ON, keep=kept, workers=workers) == alone
        assert {path.name for path in kept.iterdir()} == {
            path.name for path in (tmp_path / "a").iterdir()}


def test_processes_beside_stop_and_fall(shop, monkeypatch):
    """A stop ends the run at once; where a process is killed the rest is done in this one."""
    import concurrent.futures

    machines = a_list(40)
    with pytest.raises(Stopped):
        auction.judge(machines, TERMS, shop, ON, workers=2, piece=5,
                      progress=lambda done, of: False)

    class Falls(concurrent.futures.ProcessPoolExecutor):
        """Its process dies after the first piece."""

        def submit(self, *given):
            if self._pending_work_items:
                return super().submit(os._exit, 9)
            return super().submit(*given)

    monkeypatch.setattr(concurrent.futures, "ProcessPoolExecutor", Falls)
    assert auction.judge(machines, TERMS, shop, ON, workers=2, piece=5) == \
        auction.judge(machines, TERMS, shop, ON)


def test_a_cluster_gives_the_same(shop, tmp_path):
    """Two worker processes of a Dask cluster answer bit for bit as one machine does."""
    distributed = pytest.importorskip("distributed")
    machines = a_list(40)
    machines.append(replace(machines[0], lot="x", bad=(Bad("flipper", 1, Condition.FAILED),)))
    here = auction.judge(machines, TERMS, shop, ON)
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True,
                                  dashboard_address="127.0.0.1:0", host="127.0.0.1") as cluster:
        there = auction.judge(machines, TERMS, shop, ON, piece=9, keep=tmp_path,
                              scheduler=cluster.scheduler_address)
    assert there == here
    assert auction.judge(machines, TERMS, shop, ON, piece=9, keep=tmp_path) == here


@pytest.mark.parametrize(("address", "said"), [
    ("nowhere", "no address"), ("tcp://127.0.0.1:9", "No Dask scheduler answers"),
    ("tcp://127.0.0.1:99999", "No Dask scheduler answers")])
def test_a_cluster_that_is_not_there_is_said(shop, address, said):
    """A wrong or dead address is bad input, told at once."""
    pytest.importorskip("distributed")
    with pytest.raises(BadInput, match=said):
        auction.judge(a_list(1), TERMS, shop, ON, scheduler=address)


def test_ranking_puts_bids_first_and_the_best_hour_on_top(judge):
    """Bids before the rest, within them by what an hour brings in; ties by the lot's number."""
    machines = a_list(60)
    rows = auction.ranked(machines, judge.of(machines))
    bids = [row.bid for row in rows]
    assert bids == sorted(bids, reverse=True)
    assert True in bids
    assert False in bids
    for _, part in itertools.groupby(rows, key=lambda row: row.bid):
        hours = [row.said.per_hour for row in part]
        assert hours == sorted(hours, reverse=True)
    assert [row.rank for row in rows] == list(range(1, 61))
    one = machines[0]
    alike = [replace(one, lot=lot) for lot in ("10", "9", "9a")]
    assert [row.one.lot for row in auction.ranked(alike, judge.of(alike))] == ["9", "9a", "10"]


# --- the file -------------------------------------------------------------------------------


def read(text: str | bytes, catalogue, name: str = "lot.csv", **more):
    data = text.encode() if isinstance(text, str) else text
    return auction.read_bytes(data, name, catalogue, **more)[0]


def test_lists_are_read_as_surveys_are(catalogue):
    """Case, marks, separators, decimal commas and encodings do not matter."""
    plain = "lot,title,era,found,value,asking\n7,Café Lune,dot-matrix,not-working,4200.5,1800\n"
    expected = read(plain, catalogue)
    assert expected[0].title == "Café Lune"
    other = ("LOT;Title;Era;State;VALUE;Start price\n"
             "7;Café Lune;Dot Matrix;Not Working;4200,5;1800\n")
    for data in (other.encode("utf-8-sig"), other.encode("cp1252"), other.encode("utf-16"),
                 other.replace(";", "\t").encode()):
        assert read(data, catalogue) == expected


def test_a_workbook_is_read_like_text(catalogue):
    """The same rows in XLSX give the same machines."""
    import openpyxl

    book = openpyxl.Workbook()
    rows = list(csv.reader(io.StringIO(auction.EXAMPLE)))
    for row in rows:
        book.active.append([float(cell) if cell.isdigit() else cell or None for cell in row])
    out = io.BytesIO()
    book.save(out)
    assert read(out.getvalue(), catalogue, "lot.xlsx") == read(auction.EXAMPLE, catalogue)


def test_every_fault_is_told_at_once_with_its_row_and_column(catalogue):
    """Unknown era and state, bad prices, bad pieces and lots that stand twice, in one go."""
    text = ("lot,era,state,value,value_low,start,bad\n"
            "1,dot-matrx,working,4000,,100,\n"
            "2,dot-matrix,brokn,4000,,100,\n"
            "3,dot-matrix,working,-5,,100,\n"
            "4,dot-matrix,working,0,,100,\n"
            "5,dot-matrix,working,4000,5000,100,\n"
            "6,dot-matrix,working,4000,,lots,\n"
            "7,dot-matrix,working,4000,,100,fliper 2\n"
            "8,dot-matrix,working,4000,,100,flipper 2 3\n"
            "9,,working,4000,,100,\n"
            "10,dot-matrix,working,,,100,\n"
            "11,dot-matrix,working,4000,,100,\n"
            "11,dot-matrix,working,4000,,100,\n"
            "12,dot-matrix,working,1e300,,100,\n")
    with pytest.raises(BadInput) as caught:
        read(text, catalogue)
    found = [(fault.row, fault.column) for fault in caught.value.faults]
    assert found == [(2, "era"), (3, "state"), (4, "value"), (5, "value"), (6, "value_low"),
                     (7, "start"), (8, "bad"), (9, "bad"), (10, "era"), (11, "value"),
                     (13, "lot"), (14, "value")]
    assert all(fault.file == "lot.csv" for fault in caught.value.faults)
    said = str(caught.value)
    assert 'Did you mean "dot-matrix"?' in said
    assert '"flipper"' in said


@pytest.mark.parametrize(("text", "said"), [
    ("", "empty"),
    ("a,b\n1,2\n", "No header row"),
    ("lot,era,found\n1,dot-matrix,nice\n", '"value" is missing'),
    ("lot,era,value\n", "no machines"),
    ("lot,era,value,colour\n1,modern,1000,red\n", "no column"),
    ("lot,era,value,asking,reserve\n1,modern,1000,1,2\n", "one column"),
    ("era,value\nmodern,1000\n", "Neither lot nor title"),
    ("lot,value\n1,1000\n", "Neither era nor year"),
    ("lot,era,value\n1,modern,1000,5\n", "under no header"),
])
def test_a_list_that_cannot_be_read_says_why(catalogue, text, said):
    """What is missing or stands where it should not is named."""
    with pytest.raises(BadInput, match=said):
        read(text, catalogue)


def test_what_the_list_does_not_say_is_taken_from_the_tables_and_said(catalogue):
    """Era by the year, the usual state, the usual spread, a value for all: each is told."""
    (one,) = read("lot,year,value\n1,c. 1994,\n", catalogue, value=3_000)
    assert (one.era, one.found, one.value) == (Era.DOT_MATRIX, "not-working", 3_000)
    assert len(one.taken) == 4
    for year, era in (("1965", Era.ELECTROMECHANICAL), ("1978", Era.EARLY_SOLID_STATE),
                      ("1990", Era.LATE_SOLID_STATE), ("2005", Era("2000s")),
                      ("2019", Era.MODERN)):
        assert read(f"lot,year,value\n1,{year},900\n", catalogue)[0].era == era


def test_a_survey_beside_the_list_takes_the_place_of_the_state(catalogue, shop, tmp_path):
    """The survey's era and condition count; a survey with faults is told with its place."""
    its = cases_of(Offered("1", Era.DOT_MATRIX, "nice", 1), shop.catalogue)[0][1]
    survey.write(its, tmp_path / "mine.csv", catalogue)
    path = tmp_path / "lot.csv"
    path.write_text("lot,survey,value\n1,mine.csv,4000\n", encoding="utf-8")
    (one,) = auction.read(path, catalogue)[0]
    assert (one.era, one.found) == (Era.DOT_MATRIX, None)
    assert one.survey.lines == its.lines
    path.write_text("lot,era,survey,value\n1,modern,mine.csv,4000\n2,modern,no.csv,4000\n",
                    encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        auction.read(path, catalogue)
    assert [(fault.row, fault.column) for fault in caught.value.faults] == [(2, "era"),
                                                                           (3, "survey")]


# --- what is written ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rows(judge):
    machines = a_list(60)
    machines[3] = replace(machines[3], title="=2+3", note="left\nleg")
    return auction.ranked(machines, judge.of(machines))


def test_json_says_every_machine_and_holds_no_odd_figures(rows, shop):
    """Schema 1, every machine once in its rank, nothing that JSON does not know."""
    said = json.loads(json.dumps(auction.as_dict(rows, TERMS, shop), allow_nan=False))
    assert said["schema"] == 1
    assert [lot["rank"] for lot in said["lots"]] == list(range(1, 61))
    assert {lot["lot"] for lot in said["lots"]} == {str(number) for number in range(60)}
    assert said["played_in_full"] == sum(lot["judged"] == "played" for lot in said["lots"])
    assert said["to_bid_on"] == sum(lot["bid"] for lot in said["lots"])


def test_csv_and_workbook_hold_the_figures_of_the_json(rows, shop):
    """Same rows, same columns; text that a spreadsheet would reckon is kept from it."""
    import openpyxl

    said = auction.as_dict(rows, TERMS, shop)["lots"]
    lines = list(csv.DictReader(io.StringIO(papers.csv_bytes(rows).decode("utf-8-sig"))))
    assert len(lines) == len(said)
    for line, lot in zip(lines, said, strict=True):
        assert list(line) == list(lot)
        assert float(line["bid_limit"]) == lot["bid_limit"]
        assert line["bid"] == ("yes" if lot["bid"] else "no")
    assert sum(line["title"] == "'=2+3" for line in lines) == 1
    sheet = openpyxl.load_workbook(io.BytesIO(papers.workbook(rows, TERMS, shop))).worksheets[0]
    assert sheet.auto_filter.ref.startswith("A4:")
    assert sheet.auto_filter.ref.endswith(str(4 + len(rows)))
    assert [sheet.cell(5 + k, 10).value for k in range(60)] == [lot["bid_limit"] for lot in said]
    assert any(sheet.cell(5 + k, 3).value == "=2+3" and sheet.cell(5 + k, 3).data_type == "s"
               for k in range(60))


def test_the_bid_sheet_is_one_page_in_the_order_of_the_sale(rows, shop, tmp_path):
    """However many bids there are, one page; each lot with its limit and where to look."""
    data = papers.bid_sheet(rows, TERMS, shop)
    assert len(data["rows"]) == min(papers.BIDS, sum(row.bid for row in rows))
    numbers = [int(row[0]) for row in data["rows"]]
    assert numbers == sorted(numbers)
    assert all(row[5] for row in data["rows"])
    longest = replace(rows[0].one, title="Of the Long Night " * 8, maker="W" * 50)
    many = [replace(rows[0], one=replace(longest, lot=f"1{k}0{k}")) for k in range(50)]
    found = papers.write(many, TERMS, shop, tmp_path)
    assert len(re.findall(rb"/Type ?/Page[^s]", found["bids.pdf"].read_bytes())) == 1


def test_a_list_without_a_bid_is_written_too(shop, judge, tmp_path):
    """Where every asking price is over its limit, the papers say so and are whole."""
    machines = [replace(one, asking=2.0 * one.value) for one in a_list(3)]
    rows = auction.ranked(machines, judge.of(machines))
    assert not any(row.bid for row in rows)
    assert set(papers.write(rows, TERMS, shop, tmp_path)) == {
        "lot.csv", "lot.xlsx", "bids.pdf", "lot.json"}
    assert "None of 3 lots" in papers.bid_sheet(rows, TERMS, shop)["says"]


def test_cautions_are_one_plain_line(catalogue):
    """Mains always; batteries and lead paint with how many machines may hold them."""
    old = Offered("1", Era.ELECTROMECHANICAL, "working", 1)
    new = Offered("2", Era.LATE_SOLID_STATE, "working", 1)
    said = cautions([old, new, new], catalogue)
    assert "2 machines may hold leaking batteries" in said
    assert "paint of 1" in said
    assert "mains" in said
    assert "\n" not in said
    assert "batteries" not in cautions([old], catalogue)


def run(capsys, *arguments: object) -> tuple[int, str, str]:
    code = cli.main(["lot", *map(str, arguments)])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_command_answers_and_writes(tmp_path, capsys):
    """The example is judged, shown in rank, written in four files and never written over."""
    path = tmp_path / "lot.csv"
    assert run(capsys, "--example", path)[0] == 0
    assert run(capsys, "--example", path)[0] == 2
    code, out, _ = run(capsys, path, "--trials", 500, "--top", 2, "--out", tmp_path / "out")
    assert code == 0
    assert "3 more: --all shows them." in out
    assert {found.name for found in (tmp_path / "out").iterdir()} == {
        "lot.csv", "lot.xlsx", "lot.json", "bids.pdf", "pieces"}
    code, out, _ = run(capsys, path, "--trials", 500, "--json", "--full")
    assert code == 0
    assert json.loads(out)["played_in_full"] == 5


def test_the_command_tells_all_that_is_wrong_at_once(tmp_path, capsys):
    """Faults of options and of the list in one answer, exit code 2, nothing written."""
    path = tmp_path / "lot.csv"
    path.write_text("lot,era,value\n1,modem,1000\n", encoding="utf-8")
    code, _, err = run(capsys, path, "--want", "much", "--way", "pigeon", "--trials", "ten",
                       "--confidence", "3", "--out", tmp_path / "out")
    assert code == 2
    for word in ("--want", "--way", "--trials", "--confidence", "row 2, era"):
        assert word in err
    assert not (tmp_path / "out").exists()


def test_dask_is_loaded_only_for_a_cluster(tmp_path):
    """A list judged on one machine does not load Dask, nor do the other commands."""
    path = tmp_path / "lot.csv"
    path.write_text("lot,era,found,value\n1,dot-matrix,nice,1000\n", encoding="utf-8")
    code = ("import sys; from estimator import cli; "
            "code = cli.main(['lot', sys.argv[1], '--trials', '100']); "
            "sys.exit(code or 'distributed' in sys.modules or 'dask' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True,
                          cwd=Path(__file__).parent.parent, env=os.environ | {"COLUMNS": "200"})
    assert done.returncode == 0, done.stderr


def test_every_state_has_cases_for_every_era(shop):
    """Each can be surveyed, and every survey can be worked on at every level."""
    from estimator.scope import scope

    for era in Era:
        for found in FOUND:
            cases = cases_of(Offered("1", era, found, 1), shop.catalogue)
            assert sum(chance for chance, _ in cases) == pytest.approx(1)
            for _, its in cases:
                assert not its.is_draft
                for level in (LEVELS[0], LEVELS[-1]):
                    assert scope(its, level, shop.catalogue).works


@pytest.mark.parametrize("name", ["lot.csv", "lot.xlsx"])
def test_the_list_that_is_read_is_not_written_over(tmp_path, capsys, monkeypatch, name):
    """Results of the same name in the same folder would be the end of the list."""
    monkeypatch.chdir(tmp_path)
    assert cli.main(["lot", "--example", "lot.csv"]) == 0
    held = Path("lot.csv").read_bytes()
    Path(name).write_bytes(held)
    assert cli.main(["lot", name, "--trials", "200", "--out", "."]) == 2
    assert "written over" in capsys.readouterr().err
    assert Path(name).read_bytes() == held
    assert {path.name for path in tmp_path.iterdir()} == {"lot.csv", name}
