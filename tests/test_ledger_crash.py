"""Killed at random points, the ledger holds every entry that it said it kept, and no half one."""

import json
import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import ledgers
import pytest
from ledgers import NOW, UNBILLED, worked
from test_ledger import SECOND_SCHEMA

from estimator.ledger import FILE, Ledger, TimeEntry
from estimator.ledger.schema import VERSION

HERE = Path(__file__).parent
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="killing needs forks and signals")


def _run(script, *words):
    done = subprocess.run([sys.executable, HERE / script, *map(str, words)], text=True,
                          capture_output=True, env=os.environ | {"PYTHONPATH": str(HERE.parent)})
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_of_four_writers_killed_200_times_no_entry_is_lost_and_none_is_half(tmp_path, kind):
    """Singly and all four at once: what was acknowledged is there, pairs and corrections are
    whole, the database is sound, and the next entry goes in."""
    with ledgers.bench(kind, tmp_path) as bench:
        bench.ledger().jobs()
        bench.close()
        killed, *lines = _run("crash_writers.py", tmp_path, bench.address, 20260304,
                              200).splitlines()
        assert int(killed) >= 200
        said = [json.loads(line) for line in lines]
        assert [one["fault"] for one in said if isinstance(one, dict)] == []
        told = {id: note for kept in said for id, note in kept}
        assert len(told) > 150

        ledger = bench.ledger()
        history = ledger.entries(TimeEntry, history=True)
        held = {one.id: one for one in history}
        assert {id: held[id].note for id in told if id in held} == told
        firsts = {one.note for one in history if one.reverses is None}
        # Every third booking of a writer is of two entries at once: W2.57.3 and W2.57.3b.
        counted = {note: re.fullmatch(r"(W\d\.\d+\.(\d+))b?", note) for note in firsts}
        pairs = {found[1] for found in counted.values() if found and int(found[2]) % 3 == 0}
        assert len(pairs) > 10
        assert pairs | {f"{note}b" for note in pairs} <= firsts
        assert {one.reverses for one in history if one.reverses} == {
            one.replaces for one in history if one.replaces}
        assert sum(round(100 * one.hours) for one in history) == sum(
            round(100 * one.hours) for one in ledger.entries(TimeEntry))
        if kind == "sqlite":
            with ledger._engine.connect() as connection:
                for pragma, wanted in (("integrity_check", [("ok",)]), ("foreign_key_check", [])):
                    found = connection.exec_driver_sql(f"PRAGMA {pragma}").all()
                    assert [tuple(row) for row in found] == wanted
        (last,) = ledger.book([worked(0.5, person="W0", note="after")], unbilled=UNBILLED,
                              sure=("new-person",), now=NOW)
        assert last.id > max(told)


def test_an_older_ledger_that_is_killed_while_it_is_brought_up_to_date_loses_nothing(tmp_path):
    """Twenty times at random points: it opens afterwards, up to date, with all it held."""
    connection = sqlite3.connect(tmp_path / FILE)
    connection.executescript(SECOND_SCHEMA)
    connection.close()
    _run("crash_opening.py", tmp_path, 7, 20)
    versions = set()
    for number in range(20):
        connection = sqlite3.connect(tmp_path / str(number) / FILE)
        versions.add(connection.execute("PRAGMA user_version").fetchone()[0])
        connection.close()
        ledger = Ledger(tmp_path / str(number))
        assert [one.number for one in ledger.sent()] == ["2026-014"]
        assert ledger.draft("a1").content == {"level": "shop-job"}
        assert ledger.jobs() == ()
        ledger.close()
    assert versions <= {2, VERSION}
