"""Hours of closed jobs that are kept beside the ledger: the same figures, whatever is kept."""

import os
from dataclasses import astuple, replace
from datetime import timedelta

import numpy as np
import pytest
from ledgers import DAY, KINDS, NOW, UNBILLED, bench, with_job, worked

from estimator.ledger import Behind, Frozen, Ledger, Sent, TimeEntry, backup, restore
from estimator.review import evidence, kept, proposals
from estimator.shop import new_shop, open_shop

SURE = ("new-person", "long-ago", "before-job", "closed-job", "twice", "long-day")
NAMES = [f"260302-{n:03}" for n in range(4)]


def book(ledger, *entries):
    """Hours, the moment of booking a moment later each time."""
    book.now += timedelta(seconds=1)
    return ledger.book(entries, unbilled=UNBILLED, sure=SURE, now=book.now)


book.now = NOW


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    """Four closed jobs of three items, Anna and Ben on them, in a shop that keeps their hours."""
    monkeypatch.setattr(kept, "MANY", 2)
    monkeypatch.setattr(kept, "_AT_ONCE", 3)
    found = Ledger(new_shop(tmp_path / "shop"))
    for nth, number in enumerate(NAMES):
        with_job(found, number, f"Harbour {nth}")
        book(found, *(worked(item=item, job=number, hours=1.1 + 0.1 * nth + 0.01 * item)
                      for item in (1, 2, 3)),
             worked(item=2, job=number, person="Ben", hours=0.3 + nth))
        found.set_state(number, "closed", DAY + timedelta(nth))
    yield found
    found.close()


def plain(items):
    """What is known of each item in plain words and numbers, to the last bit."""
    job = np.repeat(np.arange(len(items.jobs)), items.counts)
    return [(items.jobs[one], *(items.names[place] for place in row[:3]), *row[3:])
            for one, row in zip(job.tolist(), items.rows.tolist(), strict=True)]


def looked(ledger, jobs=NAMES):
    """What is found with what is kept, which jobs were read for it; the same as made anew."""
    read = []
    asked = ledger.worked
    ledger.worked = lambda numbers: read.extend(numbers) or asked(numbers)
    try:
        found = kept.on_items(ledger, jobs)
        was = list(read)
        path = ledger.folder / kept.FILE
        aside = path.rename(path.with_suffix(".aside")) if path.exists() else None
        assert plain(kept.on_items(ledger, jobs)) == plain(found)
        if aside:
            aside.replace(path)
    finally:
        del ledger.worked
    return plain(found), was


def test_what_is_kept_is_what_would_be_read(ledger):
    """The first look reads all jobs, the next none; to the last bit the sums are the same."""
    first, read = looked(ledger)
    assert read == NAMES
    assert looked(ledger) == (first, [])
    assert len(first) == 12
    assert first[1] == (NAMES[0], NAMES[0], "flipper-rebuild", "Anna", 1.1, 1.12 + 0.3)
    assert first[4][3:] == ("Ben", 1.1, pytest.approx(1.22 + 1.3))


def test_only_jobs_that_changed_are_read_again(ledger):
    """Hours booked late, taken back or put right; a job more, or one that is open again."""
    looked(ledger)
    (late,) = book(ledger, worked(item=1, job=NAMES[2], hours=0.7))
    found, read = looked(ledger)
    assert read == [NAMES[2]]
    assert found[6][-1] == pytest.approx(1.31 + 0.7)
    ledger.correct(TimeEntry, late.id, "a slip", replace(late, job=NAMES[3]), unbilled=UNBILLED,
                   sure=SURE, now=NOW)
    found, read = looked(ledger)
    assert (read, found[6][-1], found[9][-1]) == (
        NAMES[2:], pytest.approx(1.31), pytest.approx(1.41 + 0.7))
    assert looked(ledger, NAMES[1:])[0] == found[3:]
    assert looked(ledger, NAMES[::-1])[0] == [one for job in NAMES[::-1]
                                             for one in found if one[0] == job]
    assert looked(ledger)[1] == []


def test_a_ledger_in_the_place_of_another_is_not_taken_for_it(ledger, tmp_path):
    """Put back to before, and booked on to the same number of entries: other moments, read."""
    backup(ledger, tmp_path / "before.sqlite")
    book(ledger, worked(item=1, job=NAMES[0], hours=1.0))
    looked(ledger)
    ledger.close()
    restore(ledger, tmp_path / "before.sqlite")
    assert looked(ledger)[1] == [NAMES[0]]
    (entry,) = book(ledger, worked(item=1, job=NAMES[0], hours=4.0))
    found, read = looked(ledger)
    assert (entry.id, read, found[0][-1]) == (17, [NAMES[0]], 1.11 + 4.0)


def spoiled(file):
    """Ways in which a file may not be what it was."""
    whole = file.read_bytes()
    with np.load(file) as held:
        parts = dict(held)
    yield from (whole[:size] for size in range(0, len(whole), 97))
    for place in range(0, len(whole), 41):
        yield whole[:place] + bytes([whole[place] ^ 0x55]) + whole[place + 1:]
    yield b"{}"
    file.unlink()
    rows = parts["rows"].copy()
    rows["operation"] = len(parts["names"])
    for other in ({"form": np.array(kept._FORM + 1)}, {"counts": parts["counts"] + 1},
                  {"names": parts["names"][:1]}, {"rows": rows}, {"rows": rows[:-1]},
                  {"jobs": parts["jobs"][:-1]}, {"marks": np.array([{}] * 4, object)}):
        np.savez(file, **parts | other)
        yield file.read_bytes()
    np.savez_compressed(file, **parts, more=np.zeros(10**6))
    yield file.read_bytes()


def test_a_spoiled_file_is_read_anew_or_says_the_same(ledger, monkeypatch):
    """Cut short, a bit turned, another form, or rows that do not fit: no figure changes."""
    right, _ = looked(ledger)
    file = ledger.folder / kept.FILE
    with monkeypatch.context() as patch:
        patch.setattr(kept, "_write", lambda *_: None)
        for nth, content in enumerate(spoiled(file)):
            file.write_bytes(content)
            assert plain(kept.on_items(ledger, NAMES)) == right, nth
    assert looked(ledger) == (right, NAMES)
    assert looked(ledger) == (right, [])


def test_where_nothing_can_be_kept_nothing_is_missing(ledger, monkeypatch):
    """A folder that is only read: the figures are there, and no file."""
    def refuse(path, data):
        raise OSError("read-only file system")

    monkeypatch.setattr(kept.disk, "write", refuse)
    first, _ = looked(ledger)
    assert looked(ledger) == (first, NAMES)
    assert not (ledger.folder / kept.FILE).exists()


@pytest.mark.parametrize("kind", KINDS)
def test_both_databases_mark_work_and_know_the_book_behind_a_quote(kind, tmp_path):
    """A mark stays until something is booked; the last book counts that was kept of a quote."""
    with bench(kind, tmp_path) as opened:
        ledger = opened.ledger()
        job = with_job(ledger).number
        book(ledger, *(worked(item=item, job=job, hours=0.1 * item) for item in (1, 2, 3)))
        marks = ledger.work_marks([job, "260302-B2"])
        assert opened.ledger().work_marks([job]) == marks
        ledger.set_state(job, "waiting")
        assert list(marks) == [job]
        assert ledger.work_marks([job]) == marks
        book(ledger, worked(job=job, hours=0.2))
        assert ledger.work_marks([job]) != marks
        sent = Sent("260310-C3", "Harbour", "shop-job", DAY, 800, 600.0, "USD")
        for era in ("electronic", "solid-state"):
            ledger.record(sent, Frozen(sent.number, "1", {"machine": {"era": era}}, {}, {},
                                       '{"operations":[]}', {}))
        ledger.record(replace(sent, number="260310-D4"),
                      Frozen("260310-D4", "1", {"machine": {}}, {}, {}, "{}", {}))
        assert ledger.behind([job, sent.number, "260310-D4"]) == {
            sent.number: Behind("solid-state", '{"operations":[]}')}


def test_few_jobs_leave_nothing_behind(ledger, monkeypatch):
    """A shop that begins has no file of it; nor has one whose look was stopped."""
    with pytest.raises(kept.Stopped):
        kept.on_items(ledger, NAMES, lambda share: share == 0)
    monkeypatch.setattr(kept, "MANY", 5)
    assert len(looked(ledger)[0]) == 12
    assert kept.FILE not in os.listdir(ledger.folder)


def test_proposals_and_their_evidence_are_the_same_from_what_is_kept(ledger, monkeypatch):
    """Columns and records to the last bit, by a book that changed since the quotes."""
    shop = open_shop(ledger.folder)
    monkeypatch.setattr(Ledger, "behind", lambda _, numbers: {
        number: Behind("dot-matrix", '{"operations":[[{"operation":"flipper-rebuild",'
                                '"era":null,"typical":0.3}, ""]]}') for number in numbers})
    first = evidence.worked_items(ledger, shop.catalogue)
    said = proposals.proposals(ledger, shop)
    again = evidence.worked_items(ledger, shop.catalogue)
    assert len(first) == 8
    for one, other in zip(astuple(first), astuple(again), strict=True):
        assert str(one) == str(other)
    assert (first.expected.tobytes(), first.booked.tobytes()) \
        == (again.expected.tobytes(), again.booked.tobytes())
    row = shop.catalogue.operations["flipper-rebuild", None]
    assert set(first.expected.tolist()) == {1.1 * row.typical / 0.3}
    assert proposals.proposals(ledger, shop) == said
