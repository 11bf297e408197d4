"""A shop that has worked for years: a demo shop whose jobs are written many times over.

Every copy of the demo shop is worked by people of its own, under numbers of its own, some of them
years earlier; each of its entries is booked in two halves, as by people who write down every
change of work; the tables of quotes change from year to year, and every fifth job was revised.
Rows go straight into the ledger's tables, which takes seconds where booking would take hours.

`python tests/benchmarks/grown_shop.py DIR [JOBS]` makes one to try things on.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import tempfile
import zlib
from contextlib import closing
from datetime import date, timedelta
from hashlib import sha256
from pathlib import Path

from estimator.demo import demo_shop
from estimator.ledger import FILE, Draft, Ledger, new_key
from estimator.ledger.sealing import SEALED, hash_of

ON = date(2026, 3, 4)
MOST = 100
"""Closed jobs of the demo shop that is copied, at most; ten copies are of one time."""
_AT_ONCE = 10
_REVISED = 5  # one job in so many
_ENTRIES = ("time_entries", "purchases", "outwork", "sales", "done_marks")
_POINTS = ("reverses", "replaces", "of")


def grown_shop(folder: Path | str, jobs: int, *, seed: int = 1) -> Path:
    """Make a shop folder with so many closed jobs, and drafts of quotes; returns it.

    Parameters
    ----------
    jobs
        At least 3; over `MOST` it is a multiple of that.
    """
    folder = Path(folder)
    demo_shop(folder, jobs=min(jobs, MOST), seed=seed, on=ON)
    _draft(folder)
    with closing(sqlite3.connect(folder / FILE)) as ledger:
        ledger.row_factory = sqlite3.Row
        _Grown(ledger).grow(max(1, jobs // MOST))
        ledger.commit()
        ledger.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return folder


def _draft(folder: Path) -> None:
    """One draft, as the page of quotes keeps it."""
    from estimator import survey
    from estimator.catalogue import data_folder
    from estimator.pages import desk
    from estimator.shop import open_shop

    found = survey.read(data_folder() / "demo" / "survey.csv", open_shop(folder).catalogue)
    ledger = Ledger(folder)
    ledger.save(Draft(new_key(), "Draft", desk.as_json(desk.of_survey(found))))
    ledger.close()


class _Grown:
    """A ledger whose rows are held, to be written again and again."""

    def __init__(self, ledger: sqlite3.Connection):
        self.ledger = ledger
        self.held = {table: [dict(row) for row in ledger.execute(f"SELECT * FROM {table}")]
                     for table in ("sent", "frozen", "jobs", "items", *_ENTRIES)}
        self.span = (ON - min(date.fromisoformat(row["sent"]) for row in self.held["sent"])).days
        (self.draft,) = [dict(row) for row in ledger.execute("SELECT * FROM drafts")]
        (tables,) = [row["content"] for row in ledger.execute("SELECT content FROM shop_tables")]
        self.tables = json.loads(zlib.decompress(tables))

    def grow(self, times: int) -> None:
        """Write every copy over the first one; half an entry more for each."""
        self.drafts(times)
        for copy in range(1, times):
            self.copied(copy)
        for copy in range(times):
            self.halves(copy)
        self.revised()

    def copied(self, copy: int) -> None:
        """Everything again under other numbers, by other people."""
        back = timedelta(self.span * (copy // _AT_ONCE))
        mark = self.tables_of(copy)
        for table, rows in self.held.items():
            last = self.ledger.execute(f"SELECT max(rowid) FROM {table}").fetchone()[0] or 0
            if "id" in rows[0]:
                self.write(table, [self.again(row, copy, back, mark, last) for row in rows])
            else:
                self.write(table, [self.again(row, copy, back, mark) for row in rows])

    def again(self, row: dict, copy: int, back: timedelta, mark: str, last: int = 0) -> dict:
        """A row as the copy has it."""
        new = dict(row)
        for name, value in row.items():
            if value is None:
                continue
            if name in ("number", "job", "quote") and value:
                new[name] = f"{value}-{copy}"
            elif name in ("day", "sent", "accepted", "promised", "closed"):
                new[name] = (date.fromisoformat(value) - back).isoformat()
            elif name in ("id", *_POINTS):
                new[name] = last + value
            elif name == "person":
                new[name] = f"{value} {copy % _AT_ONCE + 1}"
            elif name == "name" and "accepted" in row:
                new[name] = f"{value} {copy + 1}"
            elif name == "tables":
                new[name] = mark
            elif name == "answer":
                new[name] = value.replace(row["number"], new["number"])
        return new

    def tables_of(self, copy: int) -> str:
        """The tables of that time, with one figure another than before; their mark."""
        row = self.tables["operations"][copy % len(self.tables["operations"])][0]
        row["source"] = f"{row['source']}; seen through {copy} times"
        text = json.dumps(self.tables).encode()
        mark = sha256(text).hexdigest()
        self.write("shop_tables", [{"hash": mark, "content": zlib.compress(text)}])
        return mark

    def halves(self, copy: int) -> None:
        """Every time entry of a copy a second time, at some minutes of its own."""
        back = timedelta(self.span * (copy // _AT_ONCE))
        last = self.ledger.execute("SELECT max(id) FROM time_entries").fetchone()[0]
        rows = []
        for row in self.held["time_entries"]:
            if row["reverses"] is None and row["replaces"] is None:
                new = self.again(row, copy, back, "") if copy else dict(row)
                rows.append(new | {"id": last + len(rows) + 1, "hours": 0.25})
        self.write("time_entries", rows)

    def revised(self) -> None:
        """One closed job in so many was revised, and the customer agreed."""
        jobs = [dict(row) for row in self.ledger.execute(
            "SELECT * FROM jobs WHERE state = 'closed' ORDER BY number")][::_REVISED]
        frozen = self.ledger.execute("SELECT max(id) FROM frozen").fetchone()[0]
        for place, job in enumerate(jobs, 1):
            number, new = job["number"], f"{job['number']}-R"
            for table, more in (("sent", {}), ("frozen", {"id": frozen + place,
                                                          "revision_of": number})):
                row = dict(self.ledger.execute(f"SELECT * FROM {table} WHERE number = ?",
                                               (number,)).fetchone())
                self.write(table, [row | more | {"number": new}])
            self.write("revisions", [{
                "number": new, "job": number, "of": number, "offered": job["accepted"],
                "ready": None, "changes": json.dumps([{"title": "Flippers", "said": "one more",
                                                       "reason": "find"}])}])
            self.write("answers", [{"number": new, "answer": "agreed", "note": "",
                                    "answered": job["accepted"],
                                    "kept": f"{job['accepted']}T12:00:00.000000+00:00"}])

    def drafts(self, times: int) -> None:
        """A draft for every second quote."""
        count = times * len(self.held["sent"]) // 2
        self.write("drafts", [self.draft | {"key": f"{place:08x}", "title": f"Machine {place}"}
                              for place in range(count)])

    def write(self, table: str, rows: list[dict]) -> None:
        """Add rows."""
        if table in SEALED:
            rows = [row | {"hash": hash_of(cell for name, cell in row.items()
                                           if name not in ("id", "hash"))} for row in rows]
        if rows:
            names = ", ".join(f'"{name}"' for name in rows[0])
            marks = ", ".join("?" * len(rows[0]))
            self.ledger.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})",
                                    [tuple(row.values()) for row in rows])


def main(folder: str, jobs: int) -> None:
    """Make a shop and say what it holds."""
    place = grown_shop(folder, jobs)
    with closing(sqlite3.connect(place / FILE)) as ledger:
        for table in ("sent", "jobs", "items", *_ENTRIES, "revisions", "drafts"):
            count = ledger.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            print(f"{table:<14}{count:>9,}")
    print(f"{FILE}: {(place / FILE).stat().st_size / 1e6:,.0f} MB")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else tempfile.mkdtemp() + "/shop",
         int(sys.argv[2]) if len(sys.argv) > 2 else 2_000)
