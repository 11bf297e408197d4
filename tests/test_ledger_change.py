"""A job changes: revisions from what the quote was frozen from, their answers, done marks, caps."""

import json
import math
import random
import re
import sqlite3
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import ledgers
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ledgers import DAY, NOW, UNBILLED, with_job, worked
from sqlalchemy.exc import DatabaseError
from test_ledger_frozen import _change_the_shop

from estimator import cli, jobs, review
from estimator.catalogue import CONDITIONS, Certainty, Condition, Level, data_folder
from estimator.durations import pert_mean
from estimator.errors import BadInput, Fault
from estimator.ledger import (
    Cap,
    Clock,
    Done,
    Frozen,
    Item,
    Ledger,
    Outwork,
    Purchase,
    TimeEntry,
    Unsure,
    backup,
    restore,
)
from estimator.ledger.caps import use_of
from estimator.ledger.opening import engine_of, lock, migrate
from estimator.ledger.quotes import _freeze
from estimator.ledger.schema import VERSION, tables
from estimator.quote import FIXED, TIME, Choices, as_dict, quote, revised_dict
from estimator.shop import new_shop, open_shop
from estimator.survey import Line, differences, merged, read, write

QUOTED, ACCEPTED = DAY - timedelta(12), DAY - timedelta(10)
PROMISED = DAY + timedelta(30)
SURE = ("long-ago", "before-job", "long-day", "new-person", "cap", "cap-ahead")
CRACKED = {"condition": Condition.FAILED, "note": "base cracked through at two screws"}


@pytest.fixture(scope="module")
def survey():
    """The demo survey."""
    return read(data_folder() / "demo" / "survey.csv", open_shop().catalogue, final=True)


class Bench:
    """A shop with one job of the demo survey on its bench."""

    def __init__(self, folder, survey, pricing=FIXED, address="", trials=300):
        self.shop = open_shop(new_shop(folder))
        self.survey = survey
        self.quoted = quote(survey, Choices(Level.RECONDITIONED, pricing=pricing, on=QUOTED,
                                            trials=trials, seed=7), self.shop)
        self.ledger = Ledger(folder, address)
        jobs.keep(self.ledger, self.quoted, self.shop)
        self.job = jobs.accept(self.ledger, self.quoted.number, name="Harbour", on=ACCEPTED,
                               promised=PROMISED)

    @property
    def quoted_items(self):
        """The job's work items."""
        return self.ledger.items(self.job.number)

    def place(self, assembly, nth=0):
        """Index of the nth line of an assembly."""
        return [i for i, line in enumerate(self.survey.lines) if line.assembly == assembly][nth]

    def revise(self, survey=None, reasons=("find",), **said):
        """A revision of it, not kept."""
        return jobs.revise(self.ledger, "harbour", survey, reasons=reasons,
                           **{"on": DAY} | said)

    def offer(self, survey=None, reasons=("find",), **said):
        """A revision of it, offered."""
        found, used = self.revise(survey, reasons, **said)
        jobs.offer(self.ledger, found, used)
        return found

    def work(self, *entries):
        """Hours booked, whatever is asked."""
        return self.ledger.book(entries, unbilled=(*UNBILLED, "rework"), now=NOW, sure=SURE)

    def kept(self):
        """Everything that a refusal, or a fault, must leave as it was."""
        return (self.ledger.jobs(), self.ledger.items(self.job.number, dropped=True),
                self.ledger.items(self.job.number), dict(self.ledger.standing()),
                [one for one in self.ledger.sent() if one.number == self.job.number])


@pytest.fixture
def bench(tmp_path, survey):
    """A job at a fixed price."""
    found = Bench(tmp_path / "shop", survey)
    yield found
    found.ledger.close()


@pytest.fixture
def timed(tmp_path, survey):
    """A job by time and materials, with a cap."""
    found = Bench(tmp_path / "timed", survey, TIME)
    yield found
    found.ledger.close()


def _found(bench):
    """The survey after a find: one flipper is worse, drop targets come to light."""
    changed = bench.survey.with_line(bench.place("flipper"), **CRACKED)
    lines = list(changed.lines)
    lines.insert(4, Line("drop-target", 3, Condition.HEAVY, note="found under the cover"))
    return replace(changed, lines=tuple(lines))


# --- two surveys of one machine ------------------------------------------------------------------


def test_lines_in_another_order_are_the_same_lines(survey):
    """Whoever sorts the sheet changes nothing."""
    for seed in range(5):
        lines = list(survey.lines)
        random.Random(seed).shuffle(lines)
        assert merged(survey, replace(survey, lines=tuple(lines))) == survey


def test_lines_are_matched_by_what_they_say(bench):
    """The worse one of two alike becomes worse, a new one comes last, one that is gone stays."""
    survey, place = bench.survey, bench.place
    changed = replace(survey, lines=tuple(
        line for i, line in enumerate(_found(bench).lines) if line.assembly != "wiring-hack"))
    found = merged(survey, changed)
    assert len(found.lines) == len(survey.lines) + 1
    assert found.lines[place("flipper")].condition == Condition.FAILED
    assert found.lines[place("flipper", 1)] == survey.lines[place("flipper", 1)]
    assert found.lines[-1].assembly == "drop-target"
    assert found.lines[place("wiring-hack")].count == 0
    moved = {i for i, line in enumerate(survey.lines) if found.lines[i] != line}
    assert moved == {place("flipper"), place("wiring-hack")}


def test_a_line_that_comes_back_gets_its_number_back(bench):
    """Gone by mistake, and put into the sheet again."""
    place = bench.place("wiring-hack")
    lines = tuple(line for i, line in enumerate(bench.survey.lines) if i != place)
    gone = merged(bench.survey, replace(bench.survey, lines=lines))
    assert merged(gone, bench.survey) == bench.survey


def test_what_differs_is_said_in_words():
    """Field by field, notes left out."""
    old = Line("post", 9, Condition.HEAVY, Certainty.ASSUMED, note="a")
    assert differences(old, replace(old, note="b")) == ()
    assert differences(old, replace(old, certainty=Certainty.SEEN, length_mm=12.5)) == (
        "certainty assumed, now seen", "length as usual, now 12.5 mm")


# --- a revision ----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ledgers.KINDS)
@pytest.mark.parametrize("pricing", [FIXED, TIME])
def test_figures_before_and_after_are_those_of_the_quotes(tmp_path, survey, kind, pricing):
    """To the last digit: before as it was sent, after as a fresh quote of the changed survey with
    the tables and settings of the first, whatever the shop changed meanwhile."""
    with ledgers.address(kind) as address:
        bench = Bench(tmp_path / "shop", survey, pricing, address)
        then = bench.shop
        _change_the_shop(tmp_path / "shop")
        found = bench.offer(_found(bench))
        now = merged(survey, _found(bench))
        fresh = quote(replace(now, file=found.offer.survey.file),
                      replace(bench.quoted.choices, on=DAY), then)
        assert as_dict(found.offer) == as_dict(fresh)
        assert as_dict(quote(*jobs.reopen(bench.ledger, found.offer.number))) == as_dict(fresh)
        said = revised_dict(found)
        for side, offer in (("before", bench.quoted), ("after", fresh)):
            answer = as_dict(offer)
            for name in ("number", "price", "total", "cap", "hours_p50", "hours_p80", "days_p80"):
                assert said[side][name] == answer[name], (side, name)
        held = bench.ledger.frozen(found.offer.number)
        assert held.revision_of == bench.quoted.number
        assert held.tables == bench.ledger.frozen(bench.quoted.number).tables
        assert said["price_more"] == pytest.approx(said["after"]["price"]
                                                   - said["before"]["price"])
        assert (said["after"]["cap"] is None) == (pricing == FIXED)
        bench.ledger.close()


def test_lines_that_did_not_change_draw_what_they_drew(bench):
    """Trial by trial, so that the difference of the two is the change and no noise."""
    found, _ = bench.revise(_found(bench))
    old, new = bench.quoted.odds, found.offer.odds
    changed = {one.line for one in found.changes}
    assert changed == {bench.place("flipper"), len(bench.survey.lines)}
    same = set(old.lines) - changed
    assert len(same) > 50
    for place in same:
        for was, now in zip(old.lines[place][:6], new.lines[place][:6], strict=True):
            assert (was is None and now is None) or np.array_equal(was, now), place
    hours = sum(side.lines[place].hours.astype(float) * sign * old.hours_factor
                for side, sign in ((new, 1), (old, -1)) for place in changed
                if place in side.lines)
    # What is left of the difference is set-up, the same in every trial.
    left = (new.hours - new.find_hours) - (old.hours - old.find_hours) - hours
    assert np.ptp(left) < 1e-3


def test_each_change_says_what_and_why(bench):
    """Kind, title, words, the surveyor's note, and the reason with the shop's own words."""
    flipper = bench.place("flipper") + 1
    found, _ = bench.revise(_found(bench), [f"{flipper}=find: seen with the toy off", "wish"])
    worse, added = found.changes
    assert (worse.key, worse.kind, worse.said, worse.reason, worse.words, worse.note) == (
        f"line-{flipper}", "worse", "condition worn, now failed", "find", "seen with the toy off",
        CRACKED["note"])
    assert (added.kind, added.title, added.reason, added.words) == (
        "added", "Drop target (3)", "wish", "")
    assert all(one.amount > 0 and one.hours > 0 for one in found.changes)


@pytest.mark.parametrize("pricing", [FIXED, TIME])
@pytest.mark.parametrize("seed", range(4))
def test_amounts_of_all_changes_make_up_the_difference(tmp_path, survey, pricing, seed):
    """To the cent and to the hour, for any mix of lines that come, go, worsen and get better."""
    bench = Bench(tmp_path / "shop", survey, pricing)
    changed, wish = _at_random(bench, random.Random(seed))
    found, _ = bench.revise(changed, ["wish"], wish=wish)
    told = (*found.changes, *found.rest)
    assert sum(one.amount for one in told) == found.after.price - found.before.price
    assert math.fsum(one.hours for one in told) == pytest.approx(math.fsum(
        sign * line.hours for offer, sign in ((found.offer, 1), (bench.quoted, -1))
        for line in offer.lines))
    bench.ledger.close()


def _at_random(bench, draw):
    """A survey with a few changes, and wishes."""
    droppable = [i for i, line in enumerate(bench.survey.lines)
                 if bench.shop.catalogue.assemblies[line.assembly].droppable]
    lines = list(bench.survey.lines)
    for place in draw.sample(range(len(lines)), 5):
        lines[place] = replace(lines[place], condition=draw.choice(CONDITIONS[:5]))
    lines += [Line(name, draw.randint(1, 3), draw.choice((Condition.WORN, Condition.FAILED)))
              for name in draw.sample(["drop-target", "spinner", "flipper", "eject"], 2)
              if name in bench.shop.catalogue.assemblies]
    left_out = tuple(place + 1 for place in draw.sample(droppable, 3))
    return replace(bench.survey, lines=tuple(lines)), jobs.Wish(
        left_out, extras=(("extra-led-set", 1),))


def test_a_line_that_is_gone_keeps_its_name(bench):
    """It is named with the count that it had, and its price is taken off."""
    place = bench.place("motorised-toy")
    lines = tuple(line for i, line in enumerate(bench.survey.lines) if i != place)
    found, _ = bench.revise(replace(bench.survey, lines=lines), ["wish"])
    (gone,) = found.changes
    assert (gone.key, gone.kind, gone.said) == (
        f"line-{place + 1}", "left out", "no longer in the survey")
    assert gone.title == bench.quoted.titles[place]
    jobs.offer(bench.ledger, *bench.revise(replace(bench.survey, lines=lines), ["wish"]))
    jobs.agree(bench.ledger, "harbour", on=DAY)
    assert jobs.survey_of(bench.ledger, "harbour")[0].lines == lines
    assert gone.amount == -next(line.price for line in bench.quoted.lines if line.line == place)


def test_today_s_tables_are_taken_only_if_asked_for(bench, tmp_path):
    """They are a change of their own, with the rows that differ; the find costs what it costs
    with them."""
    flipper = bench.place("flipper")
    changed = bench.survey.with_line(flipper, **CRACKED)
    frozen, _ = bench.revise(changed)
    assert frozen.rows == ()
    _change_the_shop(tmp_path / "shop")
    today = open_shop(tmp_path / "shop")
    assert bench.revise(changed)[0].after == frozen.after
    found, used = bench.revise(changed, ["find", "price: the list of March"], today=today)
    assert used is today
    lines, prices = found.changes[:-1], found.changes[-1]
    assert [one.line for one in lines] == [flipper]
    assert (prices.key, prices.reason, prices.words) == ("prices", "price", "the list of March")
    alone = quote(bench.survey, bench.quoted.choices, today, compare=False)
    assert prices.amount == alone.price - bench.quoted.price
    assert found.after.price == quote(
        found.offer.survey, found.offer.choices, today, compare=False).price
    assert any(row.startswith("operations.csv, ") for row in found.rows)
    assert "shop.toml: pay_per_hour 30.0, now 44.0" in found.rows
    told = (*found.changes, *found.rest)
    assert sum(one.amount for one in told) == found.after.price - found.before.price


def test_a_day_is_said_with_the_wait_for_new_outwork(bench):
    """Days that the bench needs more are added to the day promised; what is sent out late may
    hold it up longer, and then that is said."""
    found, _ = bench.revise(bench.survey.with_line(bench.place("flipper"), **CRACKED))
    days = [math.ceil(offer.odds.at("days", 0.8)[0]) for offer in (bench.quoted, found.offer)]
    assert found.before.ready == PROMISED
    assert found.after.ready == PROMISED + timedelta(days[1] - days[0])
    late, _ = bench.revise(bench.survey.with_line(bench.place("flipper"), **CRACKED),
                           on=PROMISED + timedelta(9))
    assert late.after.ready >= PROMISED + timedelta(9)
    assert any("has passed" in note for note in late.notes)
    said, _ = bench.revise(bench.survey.with_line(bench.place("flipper"), **CRACKED),
                           ready=PROMISED + timedelta(3))
    assert said.after.ready == PROMISED + timedelta(3)


def test_settings_that_move_nothing_are_no_change(bench, tmp_path):
    """Another address in the settings of today asks for no reason, and changes nothing."""
    path = tmp_path / "shop" / "shop.toml"
    text = path.read_text(encoding="utf-8")
    assert 'address = ""' in text
    path.write_text(text.replace('address = ""', 'address = "Mill Lane"'), encoding="utf-8")
    today = open_shop(tmp_path / "shop")
    found, _ = bench.revise(_found(bench), today=today)
    assert {one.key for one in found.changes} == {"line-26", "line-69"}
    with pytest.raises(BadInput, match="Nothing is different"):
        bench.revise(None, (), today=today)


def test_another_version_s_figures_are_told_apart(bench, monkeypatch):
    """Before is what the customer was sent; what this version computes otherwise has its row."""
    held = bench.ledger.frozen(bench.job.number)
    answer = {**held.answer, "price": held.answer["price"] - 10}
    monkeypatch.setattr(Ledger, "frozen", lambda *_: replace(held, answer=answer))
    found, _ = bench.revise(_found(bench))
    assert found.before.price == bench.quoted.price - 10
    assert [(one.key, one.amount) for one in found.rest][-1] == ("recomputed", Decimal(10))
    told = (*found.changes, *found.rest)
    assert sum(one.amount for one in told) == found.after.price - found.before.price


def test_new_outwork_holds_the_job_up(tmp_path, survey):
    """What goes out now comes back after the day promised: the day moves and the wait is named."""
    shop = open_shop(new_shop(tmp_path / "shop"))
    offer = quote(survey, Choices(Level.FULL, on=QUOTED, trials=300), shop)
    ledger = Ledger(shop.folder)
    jobs.keep(ledger, offer, shop)
    jobs.accept(ledger, offer.number, name="Harbour", on=ACCEPTED, promised=DAY + timedelta(2))
    lot = max(offer.job.lots, key=lambda lot: lot.days.high)
    place = max(lot.shares)
    line = survey.lines[place]
    changed = survey.with_line(place, count=line.count + 1)
    found, _ = jobs.revise(ledger, "harbour", changed, reasons=["find"], on=DAY)
    assert any(note.startswith(f"{lot.name}: away until") for note in found.notes)
    assert DAY + timedelta(lot.days.typical) <= found.after.ready
    assert found.after.ready <= DAY + timedelta(math.ceil(lot.days.high))
    ledger.close()


# --- the answer ----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ledgers.KINDS)
@pytest.mark.parametrize("seed", range(3))
def test_expected_hours_after_a_yes_are_first_and_added_less_dropped(tmp_path, survey, kind, seed):
    """In the review, with hours on some of the items; and what came and went is what is told."""
    with ledgers.address(kind) as address:
        bench = Bench(tmp_path / "shop", survey, address=address)
        draw = random.Random(seed)
        first = {item.item: item for item in bench.ledger.items(bench.job.number)}
        bench.work(*(worked(0.5, item=item, job=bench.job.number, day=DAY - timedelta(i % 5))
                     for i, item in enumerate(draw.sample(sorted(first), 20))))
        changed, wish = _at_random(bench, draw)
        revision = bench.offer(changed, ["wish"], wish=wish)
        before = review.of_job(bench.ledger, "harbour", bench.shop, on=DAY).expected
        kept, came, went, _ = jobs.agree(bench.ledger, "harbour", on=DAY + timedelta(1))
        assert kept.answer == "agreed"
        assert came
        assert went
        after = review.of_job(bench.ledger, "harbour", bench.shop, on=DAY).expected
        assert after == pytest.approx(before + math.fsum(item.expected for item in came)
                                      - math.fsum(item.expected for item in went))
        assert before == pytest.approx(math.fsum(item.expected for item in first.values()))
        assert {item.quote for item in came} == {revision.offer.number}
        booked = {entry.item for entry in bench.ledger.entries(TimeEntry)}
        assert not booked & {item.item for item in went}
        assert bench.ledger.items(bench.job.number) == tuple(
            item for item in (*first.values(), *came) if item not in went)
        bench.ledger.close()


def test_without_hours_the_job_has_the_hours_of_the_revision(bench):
    """But for set-ups of operations that lose a line: what stays keeps the part it had."""
    found = bench.offer(_found(bench))
    jobs.agree(bench.ledger, found.offer.number, on=DAY)
    hours = math.fsum(item.expected for item in bench.ledger.items(bench.job.number))
    kept = {(one.line - 1, one.operation): one.setup
            for one in bench.ledger.items(bench.job.number)}
    lost = math.fsum(item.setup - kept[item.line, item.work.operation.operation]
                     for item in found.offer.job.items)
    assert hours + lost * found.offer.job.hours_factor == pytest.approx(found.offer.job.hours)
    assert 0 <= lost < 0.2


def test_what_has_hours_or_is_done_stays_and_the_rest_of_it_is_added(bench):
    """A line of two where one was: the item with hours stays, and what is left comes."""
    place = bench.place("pop-bumper")
    items = [item for item in bench.ledger.items(bench.job.number) if item.line == place + 1]
    bench.work(worked(0.5, item=items[0].item, job=bench.job.number))
    bench.offer(bench.survey.with_line(place, count=4))
    _, came, went, _ = jobs.agree(bench.ledger, "harbour", on=DAY)
    more = {item.operation: item for item in came}
    assert [item.item for item in went] == [item.item for item in items[1:]]
    assert more[items[0].operation].typical == pytest.approx(items[0].typical)
    assert more[items[0].operation].title.endswith("(4)")
    for item in went:
        assert more[item.operation].typical == pytest.approx(2 * item.typical)


def test_a_set_up_is_done_once_a_job(bench):
    """One flipper more of the same kind: its item carries no set-up, for the others do."""
    setups = {item.work.operation.operation: item.work.operation.setup
              for item in bench.quoted.job.items}
    bench.offer(replace(bench.survey, lines=(*bench.survey.lines, replace(
        bench.survey.lines[bench.place("flipper")], note="the third one"))))
    _, came, went, _ = jobs.agree(bench.ledger, "harbour", on=DAY)
    assert went == ()
    assert any(setups[item.operation] for item in came)
    assert [item.setup for item in came] == [0] * len(came)
    for operation, setup in setups.items():
        shares = [item.setup for item in bench.quoted_items if item.operation == operation]
        assert math.fsum(shares) == pytest.approx(setup)


def test_a_clock_and_a_mark_keep_their_items(bench):
    """What somebody works on now, or has finished, is not dropped."""
    place = max(range(len(bench.survey.lines)), key=lambda place: (
        bench.shop.catalogue.assemblies[bench.survey.lines[place].assembly].droppable,
        sum(item.line == place + 1 for item in bench.quoted_items)))
    items = [item.item for item in bench.quoted_items if item.line == place + 1]
    assert len(items) >= 3
    bench.ledger.start(Clock("Anna", NOW - timedelta(hours=1), bench.job.number, items[0]),
                       unbilled=UNBILLED, now=NOW)
    bench.ledger.mark_done(bench.job.number, items[1:2], DAY, now=NOW)
    bench.offer(None, ["wish"], wish=jobs.Wish((place + 1,)))
    _, came, went, _ = jobs.agree(bench.ledger, "harbour", on=DAY)
    assert came == ()
    assert [item.item for item in went] == items[2:]


def test_no_hours_are_booked_to_what_was_dropped(bench):
    """It says which revision dropped it; nothing is booked."""
    place = bench.place("motorised-toy")
    found = bench.offer(None, ["wish"], wish=jobs.Wish((place + 1,)))
    _, _, went, _ = jobs.agree(bench.ledger, "harbour", on=DAY)
    with pytest.raises(BadInput, match=f"was dropped by the revision {found.offer.number}"):
        bench.work(worked(1, item=went[0].item, job=bench.job.number))
    with pytest.raises(BadInput, match="was dropped by the revision"):
        bench.ledger.mark_done(bench.job.number, [went[0].item], DAY, now=NOW)
    assert bench.ledger.dropped(bench.job.number) == dict.fromkeys(
        [item.item for item in went], found.offer.number)


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_refusing_keeps_the_job_as_it_was(tmp_path, survey, kind):
    """Items, day and price; the revision stays on record with the day and the words."""
    with ledgers.address(kind) as address:
        bench = Bench(tmp_path / "shop", survey, address=address)
        before = bench.kept()
        found = bench.offer(_found(bench))
        bench.ledger.refuse(found.offer.number, DAY + timedelta(2), "too dear")
        assert bench.kept() == before
        (one,) = bench.ledger.revisions(bench.job.number)
        assert (one.answer, one.answered, one.note) == ("refused", DAY + timedelta(2), "too dear")
        outcomes = {sent.number: sent.outcome for sent in bench.ledger.sent()}
        assert outcomes == {bench.job.number: "won", found.offer.number: "lost"}
        assert [sent.number for sent in bench.ledger.sent(revisions=False)] == [bench.job.number]
        bench.ledger.close()


def test_a_revision_of_a_revision_begins_where_that_one_ended(bench):
    """Its before is the other's after; the job, its day and the review follow the last."""
    first = bench.offer(_found(bench))
    jobs.agree(bench.ledger, first.offer.number, on=DAY)
    assert bench.ledger.job("harbour").promised == first.after.ready
    gone = bench.place("motorised-toy")
    second = bench.offer(None, ["wish"], wish=jobs.Wish((gone + 1,)), on=DAY + timedelta(1))
    assert second.nth == 2
    assert second.before == replace(first.after, promised=True, hours_p50=second.before.hours_p50,
                                    hours_p80=second.before.hours_p80,
                                    days_p80=second.before.days_p80)
    assert second.before.hours_p80 == pytest.approx(first.after.hours_p80, abs=0.005)
    jobs.agree(bench.ledger, "harbour", on=DAY + timedelta(1))
    # Back in again, by the number that it always had.
    third = bench.offer(None, ["wish"], wish=jobs.Wish(put_back=(gone + 1,)),
                        on=DAY + timedelta(2))
    assert third.after.price == first.after.price
    assert third.changes[0].kind == "brought back"
    _, came, _, _ = jobs.agree(bench.ledger, "harbour", on=DAY + timedelta(2))
    assert {item.line for item in came} == {gone + 1}
    assert bench.ledger.standing() == {bench.job.number: third.offer.number}
    chain = [one.of for one in bench.ledger.revisions()]
    assert chain == [bench.job.number, first.offer.number, second.offer.number]
    bench.work(worked(1, item=1, job=bench.job.number))
    found = review.of_job(bench.ledger, "harbour", bench.shop, on=DAY)
    assert found.margin.income == third.after.price
    quoted, job = {line.kind: line.quoted for line in found.costs}, third.offer.job
    assert quoted["labour"] == pytest.approx(found.expected * job.hour_cost)
    assert quoted["finds"] == pytest.approx(job.find_cost, abs=0.01)
    assert quoted["material"] == pytest.approx(math.fsum(
        pert_mean(*(getattr(one.cost, name) for name in ("low", "typical", "high")))
        for one in job.supplies), abs=1)
    assert found.outcomes["hours"][0.8] == pytest.approx(third.after.hours_p80, abs=0.005)


def test_extras_keep_their_items_when_lines_come_before_them(bench):
    """Extras stand after the survey's lines; new lines push them on, and their items stay."""
    jobs.agree(bench.ledger, bench.offer(None, ["wish"], wish=jobs.Wish(
        extras=(("extra-led-set", 1),))).offer.number, on=DAY)
    led = [item for item in bench.ledger.items(bench.job.number)
           if item.assembly == "extra-led-set"]
    assert led
    found = bench.offer(_found(bench), on=DAY + timedelta(1))
    assert "extra-extra-led-set" not in {one.key for one in found.changes}
    jobs.agree(bench.ledger, "harbour", on=DAY + timedelta(1))
    assert set(led) <= set(bench.ledger.items(bench.job.number))
    out = bench.offer(None, ["wish"], wish=jobs.Wish(extras=(("extra-led-set", 0),)),
                      on=DAY + timedelta(2))
    assert [(one.key, one.kind) for one in out.changes] == [("extra-extra-led-set", "left out")]
    _, _, went, _ = jobs.agree(bench.ledger, "harbour", on=DAY + timedelta(2))
    assert list(went) == led


def test_one_yes_refuses_the_others(bench):
    """Two offers on one quote: after a yes to one the other revises what holds no more."""
    one = bench.offer(_found(bench))
    two = bench.offer(bench.survey.with_line(bench.place("flipper"), **CRACKED))
    with pytest.raises(BadInput, match="2 revisions of Harbour wait"):
        bench.ledger.revision("harbour")
    _, _, _, others = jobs.agree(bench.ledger, two.offer.number, on=DAY)
    assert others == (one.offer.number,)
    assert {rev.number: rev.answer for rev in bench.ledger.revisions()} == {
        one.offer.number: "refused", two.offer.number: "agreed"}


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_what_was_offered_answered_dropped_and_marked_is_never_changed(tmp_path, survey, kind):
    """The database itself refuses, to this program and to any other."""
    with ledgers.address(kind) as address:
        bench = Bench(tmp_path / "shop", survey, address=address)
        bench.offer(None, ["wish"], wish=jobs.Wish((bench.place("motorised-toy") + 1,)))
        jobs.agree(bench.ledger, "harbour", on=DAY)
        bench.ledger.mark_done(bench.job.number, [1], DAY, now=NOW)
        for table, column in (("revisions", "job"), ("answers", "note"), ("dropped_items", "item"),
                              ("done_marks", "why")):
            for line in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
                with bench.ledger._engine.connect() as connection, \
                        pytest.raises(DatabaseError, match="never changed"):
                    connection.exec_driver_sql(line)
        bench.ledger.close()


# --- what is wrong is said, and nothing is kept --------------------------------------------------


def _other_machine(bench):
    return replace(bench.survey, machine=replace(bench.survey.machine, title="Lighthouse",
                                                 serial="X-2"))


WRONG = {
    "nothing changed": (lambda b: {"survey": b.survey}, "Nothing is different from the quote"),
    "notes alone": (lambda b: {"survey": b.survey.with_line(3, note="dusty")},
                    r"notes do not count"),
    "another machine": (lambda b: {"survey": _other_machine(b)},
                        r'its title is "Lighthouse".*its serial is "X-2"'),
    "no reason": (lambda b: {"survey": _found(b), "reasons": ()},
                  r"Line 26, Flipper .*no reason is given.*Line 69, Drop target"),
    "one reason of two": (lambda b: {"survey": _found(b), "reasons": ["26=find"]},
                          "Line 69, Drop target.*69=find for this one"),
    "no such reason": (lambda b: {"survey": _found(b), "reasons": ["findd"]},
                       '"findd" is no reason for a change. Did you mean "find"'),
    "reason for what stays": (lambda b: {"survey": _found(b), "reasons": ["find", "3=wish"]},
                              "3 has not changed.*What changed: 26, 69"),
    "two reasons for all": (lambda b: {"survey": _found(b), "reasons": ["find", "wish"]},
                            "both given for all lines"),
    "a price for a line": (lambda b: {"survey": _found(b), "reasons": ["find", "26=price"]},
                           "a line because of a find or a wish"),
    "a price alone": (lambda b: {"survey": _found(b), "reasons": ["price"]}, "no reason is given"),
    "only the new lines": (lambda b: {"survey": replace(b.survey, lines=b.survey.lines[:4])},
                           "and [0-9]+ more, which cannot be left out.*all lines"),
    "no such line": (lambda b: {"wish": jobs.Wish((99,)), "reasons": ["wish"]},
                     "There is no line 99"),
    "cannot be left out": (lambda b: {"wish": jobs.Wish((1,)), "reasons": ["wish"]},
                           "cannot be left out"),
    "not left out": (lambda b: {"wish": jobs.Wish(put_back=(16,)), "reasons": ["wish"]},
                     "Line 16 is not left out"),
    "no such extra": (lambda b: {"wish": jobs.Wish(extras=(("extra-gold", 1),)),
                                 "reasons": ["wish"]}, '"extra-gold" is not an extra'),
    "extra not taken": (lambda b: {"wish": jobs.Wish(extras=(("extra-led-set", 0),)),
                                   "reasons": ["wish"]}, "not among the extras taken"),
    "before the quote": (lambda b: {"survey": _found(b), "on": QUOTED - timedelta(1)},
                         "is before the quote"),
    "ready too soon": (lambda b: {"survey": _found(b), "ready": DAY - timedelta(1)},
                       "before the change is offered"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_offered_is_said_and_nothing_is_kept(bench, name):
    """What is wrong and how to put it right; the job and the ledger stay as they were."""
    said, words = WRONG[name]
    before = bench.kept()
    with pytest.raises(BadInput) as caught:
        bench.offer(**said(bench))
    assert re.search(words, str(caught.value).replace("\n", " ")), caught.value
    assert all(fault.fix for fault in caught.value.faults)
    assert bench.kept() == before
    assert bench.ledger.revisions() == ()


def test_a_closed_job_and_an_unknown_one_are_not_changed(bench):
    """Closed says when, and what to do; unknown names the nearest."""
    with pytest.raises(BadInput, match='Did you mean "Harbour"'):
        jobs.revise(bench.ledger, "Harbuor", _found(bench), reasons=["find"])
    found, used = bench.revise(_found(bench))
    bench.ledger.set_state("harbour", "closed", DAY)
    with pytest.raises(BadInput, match=f"was closed on {DAY}.*job state"):
        bench.revise(_found(bench))
    with pytest.raises(BadInput, match="was closed"):
        jobs.offer(bench.ledger, found, used)
    assert bench.ledger.revisions() == ()


def test_an_offer_on_what_holds_no_more_is_refused(bench):
    """Worked out before another one was agreed to: it is to be worked out anew."""
    found, used = bench.revise(_found(bench))
    other = bench.offer(bench.survey.with_line(bench.place("flipper"), **CRACKED))
    jobs.agree(bench.ledger, "harbour", on=DAY)
    with pytest.raises(BadInput, match=f"{other.offer.number} holds for Harbour by now.*anew"):
        jobs.offer(bench.ledger, found, used)
    assert [one.number for one in bench.ledger.revisions()] == [other.offer.number]


def test_an_answer_is_given_once(bench):
    """Neither agreed twice nor refused afterwards, nor before it was offered; the job stays."""
    found = bench.offer(_found(bench))
    number = found.offer.number
    with pytest.raises(BadInput, match="is before"):
        jobs.agree(bench.ledger, number, on=DAY - timedelta(1))
    with pytest.raises(BadInput, match="before it was agreed"):
        jobs.agree(bench.ledger, number, on=DAY, promised=DAY - timedelta(1))
    jobs.agree(bench.ledger, number, on=DAY)
    before = bench.kept()
    for again in (lambda: jobs.agree(bench.ledger, number, on=DAY),
                  lambda: bench.ledger.refuse(number, DAY),
                  lambda: jobs.agree(bench.ledger, "harbour", on=DAY)):
        with pytest.raises(BadInput, match=f"agreed on {DAY}"):
            again()
    with pytest.raises(BadInput, match=r"no revision and no job .*Did you mean"):
        bench.ledger.revision(number[:-1] + "X")
    with pytest.raises(BadInput, match="is a revision of the job"):
        bench.ledger.decide(number, "lost")
    with pytest.raises(BadInput, match="is a revision of the job"):
        jobs.accept(bench.ledger, number)
    assert bench.kept() == before


def test_the_same_offer_again_is_the_same_offer(bench):
    """Twice on a day is once; with other reasons, or after a no, it is another day's."""
    found = bench.offer(_found(bench))
    bench.offer(_found(bench))
    assert len(bench.ledger.revisions()) == 1
    with pytest.raises(BadInput, match="with other reasons"):
        bench.offer(_found(bench), ["wish"])
    bench.ledger.refuse(found.offer.number, DAY)
    with pytest.raises(BadInput, match=r"refused on .*another day"):
        bench.offer(_found(bench))
    bench.offer(_found(bench), on=DAY + timedelta(1))
    assert [one.answer for one in bench.ledger.revisions()] == ["refused", "open"]
    assert bench.revise(_found(bench), on=DAY + timedelta(2))[0].nth == 3


def test_papers_that_cannot_be_written_keep_no_revision(bench):
    """The ledger and the papers go together."""
    found, used = bench.revise(_found(bench))

    def full():
        raise BadInput(Fault("No room."))

    with pytest.raises(BadInput, match="No room"):
        jobs.offer(bench.ledger, found, used, full)
    assert bench.ledger.revisions() == ()
    assert len(bench.ledger.sent()) == 1


# --- the cap -------------------------------------------------------------------------------------


def _capped(ledger, cap=1000.0, supplies=300.0, finds=50.0):
    """A job of two items of 2.5 hours at 80 an hour, by time and materials with a cap."""
    job = with_job(ledger, items=2)
    with ledger._writing() as connection:
        t = tables()
        connection.execute(t.items.update().values(expected=2.5))
    kinds = {"labour": 400.0, "parts": supplies, "materials": 0.0, "outwork": 110.0}
    with ledger._writing() as connection:
        _freeze(connection, Frozen(
            job.number, "0.1", {"lines": []}, {},
            {"billing_increment_hours": 0.5, "parts_markup": 0.2, "outwork_markup": 0.1}, "{}",
            {"cap": cap, "currency": "USD", "hourly_rate": 80.0, "find_allowance": finds,
             "lines": [{"kind": "work", "kinds": kinds}, {"kind": "finds", "kinds": kinds}]}))
    return job


def _bought(amount, **said):
    return Purchase(**{"day": DAY, "supplier": "Oakbench", "what": "Kit", "quantity": 1,
                       "unit": "kit", "amount": Decimal(amount), "currency": "USD"} | said)


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_the_bill_and_the_rest_are_reckoned_by_hand(tmp_path, kind):
    """Hours by the started half hour at 80, parts with 20 %, outwork with 10 %; the rest is what
    each leaves of what was expected, and nothing once all is done."""
    with ledgers.bench(kind, tmp_path) as found:
        ledger = found.ledger()
        job = _capped(ledger)
        use = ledger.cap_use(job.number)
        assert (use.used, use.rest) == (0, 400 + 300 + 110 + 50)
        book = {"unbilled": (*UNBILLED, "rework"), "now": NOW, "sure": SURE}
        ledger.book([worked(1.1, item=1, job=job.number),
                     worked(0.2, job=job.number, unbilled="unlisted"),
                     worked(3, job=job.number)], **book)
        ledger.add(_bought("100", job=job.number), now=NOW)
        ledger.add(_bought("900", job=job.number, currency="EUR"), now=NOW)
        lot = ledger.add(Outwork(day=DAY, service="plating", what="Rails", event="sent",
                                 quantity=2, unit="piece", currency="USD", job=job.number),
                         now=NOW)
        ledger.add(replace(lot, id=None, event="back", of=lot.id, amount=Decimal(50)), now=NOW)
        use = ledger.cap_use(job.number)
        # 1.3 h are billed as 1.5.
        assert use.hours == pytest.approx(1.3)
        assert (use.labour, use.purchases, use.outwork) == pytest.approx((120, 120, 55))
        assert (use.rest_labour, use.rest_purchases, use.rest_outwork, use.rest_finds) == \
            pytest.approx(((1.4 + 2.5) * 80, 180, 55, 50 - 16))
        assert use.share == pytest.approx(295 / 1000)
        ledger.mark_done(job.number, [1, 2], DAY, now=NOW)
        assert ledger.cap_use(job.number).rest == 0


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_passing_a_cap_is_asked_first(tmp_path, kind):
    """Hours or a purchase that pass it are not booked before a yes, and asked about each time."""
    with ledgers.bench(kind, tmp_path) as found:
        ledger = found.ledger()
        job = _capped(ledger, cap=200.0)
        book = {"unbilled": UNBILLED, "now": NOW}
        ahead = ("cap-ahead",)
        ledger.book([worked(2.5, item=1, job=job.number)], sure=ahead, **book)
        with pytest.raises(Unsure, match=r"comes to 240\.00 USD .* passes the cap of 200\.00 USD"):
            ledger.book([worked(0.25, item=1, job=job.number)], **book)
        with pytest.raises(Unsure) as asked:
            ledger.add(_bought("1", job=job.number), now=NOW)
        assert [one.key for one in asked.value.questions] == ["cap"]
        assert ledger.cap_use(job.number).used == 200
        ledger.book([worked(0.25, item=1, job=job.number)], sure=["cap"], **book)
        with pytest.raises(Unsure):
            ledger.book([worked(0.5, item=2, job=job.number)], **book)
        # Time that is on nobody's bill, and a job without a cap, ask nothing.
        ledger.book([worked(1, job=job.number)], **book)
        ledger.book([worked(1.25)], **book)


def test_a_cap_that_will_not_do_is_asked_about_once(tmp_path):
    """When what is left stops fitting below it; later entries that change nothing are quiet."""
    ledger = Ledger(tmp_path)
    job = _capped(ledger, cap=900.0)  # 860 are expected
    book = {"unbilled": UNBILLED, "now": NOW}
    ledger.book([worked(2.5, item=1, job=job.number)], **book)
    with pytest.raises(Unsure) as asked:
        ledger.book([worked(0.4, item=1, job=job.number), worked(0.6, item=1, job=job.number)],
                    **book, rows=[7, 8], file="march.csv")
    (one,) = asked.value.questions
    assert (one.key, one.file, one.row) == ("cap-ahead", "march.csv", 8)
    assert "940.00 USD" in one.text
    ledger.book([worked(1, item=1, job=job.number)], sure=["cap-ahead"], **book)
    ledger.book([worked(1.5, item=2, job=job.number)], **book)
    ledger.close()


def test_at_the_start_the_rest_is_the_expected_bill(tmp_path, survey):
    """The sums from the frozen quote agree with its simulation, but for started quarter hours
    and what a hundred thousand trials leave."""
    timed = Bench(tmp_path / "shop", survey, TIME, trials=100_000)
    use = timed.ledger.cap_use(timed.job.number)
    assert use.cap.amount == timed.quoted.cap
    assert use.comes_to == pytest.approx(float(timed.quoted.price),
                                         abs=use.cap.step * use.cap.rate)
    timed.ledger.close()


def test_a_correction_that_lowers_the_bill_asks_nothing(tmp_path):
    """Past the cap already, hours put right downwards go through; upwards is asked about."""
    ledger = Ledger(tmp_path)
    job = _capped(ledger, cap=200.0)
    book = {"unbilled": UNBILLED, "now": NOW}
    (wrong,) = ledger.book([worked(4, item=1, job=job.number)], sure=["cap"], **book)
    with pytest.raises(Unsure, match="passes the cap"):
        ledger.correct(TimeEntry, wrong.id, "more", replace(wrong, hours=4.5), **book)
    _, right = ledger.correct(TimeEntry, wrong.id, "less", replace(wrong, hours=3.5), **book)
    kit = ledger.add(_bought("50", job=job.number), sure=["cap"], now=NOW)
    ledger.correct(Purchase, kit.id, "less", replace(kit, amount=Decimal(40)), now=NOW)
    assert right.hours == 3.5
    assert ledger.cap_use(job.number).used == pytest.approx(3.5 * 80 + 40 * 1.2)
    ledger.close()


def test_a_revision_raises_the_cap_when_it_is_agreed(timed):
    """Not before; and a fixed price has none."""
    found = timed.offer(_found(timed))
    assert found.after.cap > found.before.cap == timed.quoted.cap
    assert timed.ledger.cap_use(timed.job.number).cap.amount == timed.quoted.cap
    jobs.agree(timed.ledger, "harbour", on=DAY)
    use = timed.ledger.cap_use(timed.job.number)
    assert (use.cap.amount, use.cap.quote) == (found.after.cap, found.offer.number)


def test_without_a_cap_nothing_is_asked(bench):
    """A fixed price takes what is booked, and so does a quote that nothing is known of."""
    assert bench.ledger.cap_use(bench.job.number) is None
    bench.ledger.book([worked(8, item=1, job=bench.job.number)], unbilled=UNBILLED, now=NOW)
    bench.ledger.add(_bought("99999", job=bench.job.number), now=NOW)


# --- done marks ----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_items_are_marked_as_done_and_marks_taken_back(tmp_path, kind):
    """By a counter-entry, with a word why; both stay on record, and it can be marked anew."""
    with ledgers.bench(kind, tmp_path) as found:
        ledger = found.ledger()
        job = with_job(ledger)
        ledger.mark_done("harbour lights", [1, 3, 3], DAY, note="tested", now=NOW)
        assert [mark.item for mark in ledger.entries(Done)] == [1, 3]
        (back,) = ledger.not_done(job.number, [3], "left one sticks again", now=NOW)
        assert [mark.item for mark in ledger.entries(Done)] == [1]
        history = ledger.entries(Done, history=True)
        assert [(mark.item, mark.reverses) for mark in history] == [
            (1, None), (3, None), (3, history[1].id)]
        assert back.why == "left one sticks again"
        ledger.mark_done(job.number, [3], DAY, now=NOW)
        assert [mark.item for mark in ledger.entries(Done)] == [1, 3]


def test_marks_that_cannot_be_are_refused_together(tmp_path):
    """All faults at once, and no mark is kept."""
    ledger = Ledger(tmp_path)
    job = with_job(ledger)
    ledger.mark_done(job.number, [1], DAY, now=NOW)
    with pytest.raises(BadInput, match=rf"(?s)no work item 9.*done since {DAY}"):
        ledger.mark_done(job.number, [2, 9, 1], DAY, now=NOW)
    with pytest.raises(BadInput, match="still to come"):
        ledger.mark_done(job.number, [2], DAY + timedelta(1), now=NOW)
    with pytest.raises(BadInput, match=r"(?s)does not say why.*Item 2 .*not marked"):
        ledger.not_done(job.number, [2], " ", now=NOW)
    assert len(ledger.entries(Done, history=True)) == 1
    ledger.set_state(job.number, "closed", DAY)
    with pytest.raises(BadInput, match="was closed"):
        ledger.mark_done(job.number, [2], DAY, now=NOW)
    ledger.close()


def test_hours_on_what_is_done_are_asked_about(tmp_path):
    """On a later day only: the mark is often set before the day's hours are booked."""
    ledger = Ledger(tmp_path)
    job = with_job(ledger)
    ledger.mark_done(job.number, [1], DAY - timedelta(1), now=NOW)
    ledger.book([worked(1, item=1, job=job.number, day=DAY - timedelta(1))], unbilled=UNBILLED,
                now=NOW)
    with pytest.raises(Unsure, match="marked as done"):
        ledger.book([worked(1, item=1, job=job.number)], unbilled=UNBILLED, now=NOW)
    ledger.close()


def test_progress_goes_by_the_marks_where_there_are_any(tmp_path):
    """Done counts whole and begun counts half, as the 50/50 rule of earned value has it (from
    memory); without marks it goes on as before."""
    shop = open_shop(new_shop(tmp_path / "shop"))
    ledger = Ledger(shop.folder)
    job = with_job(ledger)  # three items of 1.1 hours
    ledger.book([worked(1, item=1, job=job.number), worked(1, item=2, job=job.number)],
                unbilled=UNBILLED, now=NOW)

    def earned(on=DAY):
        return review.of_job(ledger, job.number, shop, on=on).progress.earned

    assert earned() == pytest.approx(1.1 * 1.5)  # the first is done, the last one half
    ledger.mark_done(job.number, [2, 3], DAY, now=NOW)
    assert earned() == pytest.approx(1.1 * 2.5)
    assert earned(DAY - timedelta(1)) == pytest.approx(1.1)
    ledger.not_done(job.number, [2, 3], "wrong job", now=NOW)
    assert earned() == pytest.approx(1.1 * 1.5)
    ledger.close()


# --- older ledgers, and copies -------------------------------------------------------------------


def test_a_ledger_of_the_version_before_goes_on(tmp_path):
    """It is copied, gets the new tables, keeps its job, and takes marks."""
    path = tmp_path / "ledger.sqlite"
    engine = engine_of("", path)
    with engine.begin() as connection:
        lock(connection)
        migrate(connection, 0, 4)
    engine.dispose()
    with sqlite3.connect(path) as connection:
        number = "260302-A1"
        connection.execute("INSERT INTO sent VALUES (?, 'Harbour', 'clean', '2026-03-01', '900', "
                           "700, 'USD', 'won')", (number,))
        connection.execute("INSERT INTO jobs VALUES (?, 'Harbour', '2026-03-02', NULL, "
                           "'accepted', NULL)", (number,))
        connection.execute("INSERT INTO items VALUES (?, 1, ?, 1, 'Line', 'flipper', 'strip', "
                           "'Strip', 'repair', 'bench', 1, 2, 3, 0, 2.2)", (number, number))
        assert connection.execute("PRAGMA user_version").fetchone() == (4,)
    connection.close()
    ledger = Ledger(tmp_path)
    assert [item.expected for item in ledger.items(number)] == [2.2]
    assert ledger.revisions() == ()
    assert ledger.cap_use(number) is None
    ledger.mark_done(number, [1], DAY, now=NOW)
    (copy,) = tmp_path.glob("ledger-backup-4-*.sqlite")
    assert VERSION > 4
    ledger.close()
    with sqlite3.connect(copy) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (4,)
    connection.close()


@pytest.mark.parametrize("kind", ledgers.KINDS)
@pytest.mark.parametrize("other", ledgers.KINDS)
def test_revisions_and_marks_are_in_a_backup(tmp_path, survey, kind, other):
    """They come back into either database, and can be gone on with."""
    with ledgers.address(kind) as address:
        bench = Bench(tmp_path / "shop", survey, address=address)
        bench.offer(None, ["wish"], wish=jobs.Wish((bench.place("motorised-toy") + 1,)))
        jobs.agree(bench.ledger, "harbour", on=DAY)
        bench.offer(_found(bench), on=DAY + timedelta(1))
        bench.ledger.mark_done(bench.job.number, [1], DAY, now=NOW)
        held = (bench.kept(), bench.ledger.revisions(), bench.ledger.entries(Done))
        file = backup(bench.ledger, tmp_path / "kept")
        (tmp_path / "other").mkdir()
        with ledgers.bench(other, tmp_path / "other") as found:
            again = bench.ledger, found.ledger()
            restore(again[1], file)
            bench.ledger = again[1]
            assert (bench.kept(), bench.ledger.revisions(), bench.ledger.entries(Done)) == held
            jobs.agree(bench.ledger, "harbour", on=DAY + timedelta(1))
            bench.ledger.mark_done(bench.job.number, [2], DAY, now=NOW)
        again[0].close()


# --- commands ------------------------------------------------------------------------------------


@pytest.fixture
def run(timed, tmp_path, capsys):
    """Runs a command in the shop; gives its exit code, and its JSON or what it said."""
    write(_found(timed), tmp_path / "changed.csv", timed.shop.catalogue)
    timed.ledger.close()

    def run(*words, json_out=True):
        extra = ["--shop", str(tmp_path / "timed"), *(["--json"] if json_out else [])]
        code = cli.main([*map(str, words), *extra])
        said = capsys.readouterr()
        return code, json.loads(said.out) if json_out and said.out else said.out + said.err

    return run


def test_a_find_from_the_bench_to_the_customer_s_yes(run, timed, tmp_path):
    """Offered with its papers, listed, agreed; the job shows the work, and says so in words."""
    survey = tmp_path / "changed.csv"
    words = ("job", "change", "harbour", survey, "--reason", "find", "--date", DAY)
    code, said = run(*words, "--look")
    assert (code, said["kept"]) == (0, False)
    assert run("job", "list")[1]["jobs"][0]["revisions"] == {}
    code, said = run(*words, "--out", tmp_path / "out")
    assert code == 0
    assert set(said["files"]) == {"addendum.pdf", "change.json"}
    assert json.loads((tmp_path / "out" / "change.json").read_text(encoding="utf-8")) == {
        "schema": 1, "revision": said["revision"]}
    number = said["revision"]["number"]
    assert run("job", "list")[1]["jobs"][0]["revisions"] == {number: "open"}
    quotes = {one["number"]: one["revision_of"] for one in run("quotes")[1]["quotes"]}
    assert quotes == {number: timed.job.number, timed.job.number: None}
    code, text = run("job", "change", "harbour", survey, "--reason", "find", "--date", DAY,
                     json_out=False)
    assert code == 0
    for word in ("Drop target (3)", "a find", "+$", "Cap before tax", "Ready", "If yes: estimator "
                 f"job agree {number}", "If no:", CRACKED["note"]):
        assert word in text, word
    code, said = run("job", "agree", "harbour", "--date", DAY + timedelta(1), "--note", "by phone")
    assert code == 0
    assert (said["revision"]["answer"], said["revision"]["note"]) == ("agreed", "by phone")
    assert said["items_added"][0]["quote"] == number
    shown = run("job", "show", "harbour")[1]
    assert shown["quote"] == number
    assert shown["items_dropped"] == [item["item"] for item in said["items_dropped"]]
    assert shown["cap"]["quote"] == number
    code, text = run("job", "status", "harbour", json_out=False)
    assert code == 0
    assert "Of the cap of $" in text
    assert f"was agreed on {DAY + timedelta(1)}" in text


@pytest.mark.parametrize("name", ["again.csv", "again.xlsx"])
def test_the_survey_of_a_job_is_written_to_be_changed(run, tmp_path, name):
    """As it is, it changes nothing; a file that is there is left alone."""
    code, said = run("job", "survey", "harbour", "-o", tmp_path / name)
    assert (code, said["survey"]) == (0, str(tmp_path / name))
    code, text = run("job", "change", "harbour", tmp_path / name, "--reason", "find",
                     json_out=False)
    assert code == 2
    assert "Nothing is different" in text
    assert run("job", "survey", "harbour", "-o", tmp_path / name)[0] == 2


def test_items_are_marked_from_the_command_line(run):
    """By number or operation; the state says how many are done."""
    code, said = run("job", "done", "harbour", 1, 2, "--date", DAY)
    assert (code, said["items_done"]) == (0, [1, 2])
    assert run("job", "done", "harbour", 2, "--date", DAY)[0] == 2
    code, said = run("job", "not-done", "harbour", 2, "--why", "sticks")
    assert (code, said["items_done"]) == (0, [1])
    shown = run("job", "show", "harbour")[1]
    assert [item["done"] for item in shown["items"][:2]] == [str(DAY), None]
    code, text = run("job", "status", "harbour", json_out=False)
    assert "1 of " in text


def test_a_cap_asks_on_the_command_line(run, timed):
    """Exit code 2 with the key, and booked with --sure."""
    words = ("job", "bought", "Gold", "--job", "harbour", "--amount", 9999, "--day", DAY)
    code, said = run(*words)
    assert (code, [one["key"] for one in said["questions"]]) == (2, ["cap"])
    assert run("job", "amounts")[1]["purchases"] == []
    assert run(*words, "--sure", "cap")[0] == 0
    assert run("job", "status", "harbour")[1]["cap"]["passed"]


@pytest.mark.parametrize(("words", "told"), [
    (("change", "Nobody", "SURVEY", "--reason", "find"), "There is no job"),
    (("change", "harbour", "SURVEY"), "no reason is given"),
    (("change", "harbour"), "Nothing is different"),
    (("change", "harbour", "none.csv", "--reason", "find"), "none.csv"),
    (("change", "harbour", "SURVEY", "--reason", "find", "--date", "soon"), "soon"),
    (("change", "harbour", "SURVEY", "--reason", "find", "--look", "--out", "x"), "--look"),
    (("change", "harbour", "SURVEY", "--reason", "find", "--add", "x=y"), "not a count"),
    (("agree", "harbour"), "No revision of Harbour waits"),
    (("refuse", "nothing"), "no revision and no job"),
    (("status", "nothing"), "There is no job"),
    (("done", "harbour", "999"), "no work item"),
    (("not-done", "harbour", "1", "--why", "x"), "is not marked"),
])
def test_wrong_words_are_told_and_leave_nothing(run, tmp_path, words, told):
    """Exit code 2, what is wrong, how to put it right; no paper and no revision."""
    words = [str(tmp_path / "changed.csv") if word == "SURVEY" else word for word in words]
    code, said = run("job", *words, json_out=False)
    assert code == 2
    assert told in said
    assert run("job", "list")[1]["jobs"][0]["revisions"] == {}
    assert not (tmp_path / "out").exists()


# --- figures that follow from others -------------------------------------------------------------


@given(st.lists(st.tuples(st.floats(0.05, 8), st.booleans()), min_size=1, max_size=12),
       st.floats(0.1, 1.0))
def test_the_bill_never_shrinks_and_the_forecast_never_falls_below_it(hours, step):
    """Whatever is booked to items, done or not: used grows, and what it comes to is no less."""
    cap = Cap("1", "x", "1", Decimal(500), "USD", 80.0, step, 0.2, 0.1, 100.0, 50.0, 20.0)
    items = [Item("1", n, "1", n, "", "", "", "", "", "", 1, 1, 1, 0, 1.5)
             for n in range(1, len(hours) + 1)]
    entries, before = [], use_of(cap, items, [])
    for place, (booked, _) in enumerate(hours, 1):
        entries.append(worked(booked, item=place, job="1"))
        after = use_of(cap, items, entries,
                       {n for n, (_, done) in enumerate(hours[:place], 1) if done})
        assert after.used >= before.used
        assert after.comes_to >= after.used
        assert after.used >= math.fsum(entry.hours for entry in entries) * cap.rate - 1e-6
        before = after
