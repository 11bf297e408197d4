"""A large ledger is read whole where anybody may have touched it, and once a day; not each time."""

import contextlib
import json
import os
import sqlite3
from datetime import UTC, datetime, timedelta

import pytest
from ledgers import NOW, UNBILLED, with_job, worked
from test_faults import _in_a_child

from estimator.errors import BadInput
from estimator.ledger import FILE, Draft, Ledger, TimeEntry, backup, checking, export, restore

SURE = ("overlap", "twice")


@pytest.fixture
def large(tmp_path, monkeypatch):
    """A ledger that counts as large, and was read whole as it was made."""
    monkeypatch.setattr(checking, "LARGE", 1)
    ledger = Ledger(tmp_path)
    with_job(ledger)
    ledger.close()
    return tmp_path


def reads(folder, act=Ledger.jobs):
    """How often the ledger is read whole where a program opens it, acts and closes it."""
    counted = []
    whole = checking.check_whole
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(checking, "check_whole",
                      lambda *given: (counted.append(1), whole(*given)))
        ledger = Ledger(folder)
        try:
            act(ledger)
        finally:
            ledger.close()
    return len(counted)


def booked(ledger):
    """An hour more."""
    ledger.book([worked(1)], unbilled=UNBILLED, sure=SURE, now=NOW)


def harmed(path):
    """Noughts in the place of the first page of the time entries, as by a disk that fails."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        page, size = (connection.execute(said).fetchone()[0] for said in (
            "SELECT rootpage FROM sqlite_schema WHERE name = 'time_entries'", "PRAGMA page_size"))
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(bytes(size))


def test_what_we_wrote_ourselves_is_not_read_again(large):
    """Much or little, closed or left to be closed, also beside another window that stays open."""
    def much(key):
        # More than the log takes before it is written into the file.
        return Draft(key, "x", {"y": "z" * 6_000_000})
    assert reads(large, booked) == 0
    assert reads(large, lambda ledger: ledger.save(much("a"))) == 0
    assert reads(large) == 0
    other = Ledger(large)
    booked(other)
    assert reads(large, booked) == 0
    other.save(much("b"))
    assert reads(large, lambda ledger: ledger.forget("a")) == 0
    booked(other)
    del other
    assert reads(large) == 0


def test_a_program_that_was_killed_leaves_a_ledger_to_be_read_whole_or_untouched(large):
    """What lies in the log has sums of its own; while that is taken in, the file is not as marked.
    """
    def killed(taking_in):
        ledger = Ledger(large)
        ledger.save(Draft("a", "x", {}))
        if taking_in:
            with ledger._engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint")
        os._exit(9)

    if not hasattr(os, "fork"):
        pytest.skip("killing needs forks")
    _in_a_child(lambda: killed(False))
    assert (large / f"{FILE}-wal").exists()
    assert reads(large, lambda ledger: ledger.forget("a")) == 0
    _in_a_child(lambda: killed(True))
    assert reads(large) == 1
    assert reads(large) == 0


@pytest.mark.parametrize("touch", [
    lambda path: os.utime(path), lambda path: os.utime(path, (1, 1)),
    lambda path: path.chmod(0o600),
    lambda path: (path.rename(f"{path}-a"), path.write_bytes(path.with_name(
        path.name + "-a").read_bytes())),
    lambda path: path.with_name(checking.MARK).unlink(),
    lambda path: path.with_name(checking.MARK).write_text("{"),
    lambda path: path.with_name(checking.MARK).write_text("[]"),
    lambda path: path.with_name(checking.MARK).write_text('{"checked": "2026-01-01", "lies": []}'),
    lambda path: path.with_name(checking.MARK).write_bytes(b"\xff"),
])
def test_a_ledger_that_anybody_touched_is_read_whole_once(large, touch):
    """Its times, its bytes in another file, or the mark itself."""
    touch(large / FILE)
    assert reads(large) == 1
    assert reads(large) == 0


@pytest.mark.parametrize("ago", [timedelta(days=1), timedelta(days=-1)])
def test_a_ledger_is_read_whole_once_a_day(large, ago):
    """Also where the clock went back; how often it was opened and written meanwhile is the same."""
    assert reads(large, booked) == 0
    mark = json.loads((large / checking.MARK).read_text())
    mark["checked"] = (datetime.now(UTC) - ago).isoformat()
    (large / checking.MARK).write_text(json.dumps(mark))
    assert reads(large, booked) == 1
    assert reads(large) == 0


def test_what_is_kept_for_years_is_read_whole_before(large, tmp_path_factory):
    """Backup and export, and what a restore would keep a copy of."""
    aside = tmp_path_factory.mktemp("aside")
    assert reads(large, lambda ledger: backup(ledger, aside / "kept")) == 1
    assert reads(large, lambda ledger: export(ledger, aside / "all")) == 1
    assert reads(large, lambda ledger: restore(ledger, aside / "kept")) == 1


@pytest.mark.parametrize("look", [
    lambda ledger: ledger.entries(TimeEntry),
    lambda ledger: backup(ledger, ledger.folder / "kept"),
    lambda ledger: export(ledger, ledger.folder / "all")])
def test_what_went_bad_without_a_trace_is_told_by_who_reads_it(large, look):
    """Others read on until then; after that the ledger is refused, until a backup is in its place.
    """
    ledger = Ledger(large)
    booked(ledger)
    kept = backup(ledger, large.parent / f"{large.name}-kept")
    ledger.close()
    harmed(large / FILE)
    mark = json.loads((large / checking.MARK).read_text())
    mark["lies"] = checking._lies(large / FILE)  # as if no time had changed at all
    (large / checking.MARK).write_text(json.dumps(mark))
    reads(large)
    with pytest.raises(BadInput, match=r"damaged.*estimator restore"):
        reads(large, look)
    for act in (Ledger.jobs, Ledger.drafts):
        with pytest.raises(BadInput, match=r"damaged.*estimator restore"):
            reads(large, act)
    ledger = Ledger(large)
    restore(ledger, kept)
    assert len(ledger.entries(TimeEntry)) == 1
    ledger.close()
    kept.unlink()


def test_damage_behind_our_back_is_found_before_anything_is_read(large):
    """The times of the file tell it."""
    harmed(large / FILE)
    os.utime(large / FILE)
    with pytest.raises(BadInput, match=r"damaged.*estimator restore"):
        reads(large)


def test_damage_done_while_a_window_is_open_is_not_sealed_by_it(large):
    """What it writes after that, it does not vouch for."""
    ledger = Ledger(large)
    ledger.jobs()
    os.utime(large / FILE, (1, 1))
    booked(ledger)
    ledger.close()
    assert reads(large) == 1


def test_a_ledger_in_a_folder_that_cannot_be_written_is_read_whole_once_a_program(
        large, monkeypatch):
    """The mark is then known to the program alone."""
    (large / checking.MARK).unlink()

    def refuse(*_given, **_said):
        raise OSError("read-only")
    monkeypatch.setattr("estimator.disk.write", refuse)
    assert reads(large) == 1
    assert reads(large) == 0
    checking.forget(large / FILE)
    assert reads(large) == 1
    checking.forget(large / FILE)


def test_a_small_ledger_is_read_whole_each_time_and_leaves_no_mark(tmp_path):
    """That takes no time."""
    ledger = Ledger(tmp_path)
    with_job(ledger)
    ledger.close()
    assert reads(tmp_path) == reads(tmp_path, booked) == 1
    assert not (tmp_path / checking.MARK).exists()


def test_an_older_ledger_is_read_whole_before_it_is_brought_up_to_date(tmp_path, monkeypatch):
    """Its copy beside it is what a person would go back to."""
    from test_ledger import SECOND_SCHEMA

    with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as connection:
        connection.executescript(SECOND_SCHEMA)
    monkeypatch.setattr(checking, "_known", lambda _path: True)
    monkeypatch.setattr(checking, "LARGE", 1)
    assert reads(tmp_path) == 1
