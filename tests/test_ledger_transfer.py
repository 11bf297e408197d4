"""A whole ledger in and out: backup, restore, export, import, between both databases."""

import csv
import itertools
import json
import sqlite3
import zipfile
from dataclasses import replace
from decimal import Decimal

import ledgers
import pytest
from ledgers import DAY, NOW, UNBILLED, at, with_job, worked
from test_ledger import FIRST_SCHEMA, SECOND_SCHEMA

from estimator.errors import BadInput, Stopped
from estimator.ledger import (
    FILE,
    Clock,
    Done,
    Draft,
    Frozen,
    Ledger,
    Outwork,
    Purchase,
    Revision,
    Sale,
    TimeEntry,
    backup,
    bring_in,
    export,
    restore,
)


def _fill(ledger):
    """Something of everything, corrections and words that upset a spreadsheet among it."""
    job = with_job(ledger)
    ledger.save(Draft("a", "Ünïcode", {"x": [1.1, None, 'a "b"']}))
    for number in ("260302-B1", "260302-B2"):
        ledger.record(replace(ledger.sent()[0], number=number, outcome="open"), Frozen(
            number, "0.1", {"lines": []}, {"level": "clean"}, {"margin": 0.1}, '{"parts":[]}',
            {"price": 0.1 + 0.2}))
    (wrong,) = ledger.book([worked(2, job=job.number, item=1, note='=cmd|"x", 1')],
                           unbilled=UNBILLED, now=NOW)
    ledger.correct(TimeEntry, wrong.id, "-2", replace(wrong, hours=1.1), unbilled=UNBILLED,
                   now=NOW)
    ledger.add(Purchase(day=DAY, supplier="Oakbench", what="Kit", quantity=2, unit="kit",
                        amount=Decimal("46.10"), currency="USD", job=job.number), now=NOW)
    lot = ledger.add(Outwork(day=DAY, service="powder-coat", what="Brackets", event="sent",
                             quantity=5, unit="piece", currency="USD"), now=NOW)
    ledger.add(replace(lot, id=None, event="back", of=lot.id, amount=Decimal("90")), now=NOW)
    ledger.add(Sale(day=DAY, what="Machine", amount=Decimal("1e3"), currency="USD"), now=NOW)
    (mark, _) = ledger.mark_done(job.number, [1, 3], DAY, now=NOW)
    ledger.not_done(job.number, [mark.item], "sticks", now=NOW)
    for number in ("260304-R1", "260304-R2"):
        ledger.offer(
            replace(ledger.sent()[0], number=number, outcome="open"),
            Frozen(number, "0.1", {"lines": []}, {}, {}, "{}", {}, job.number),
            Revision(number, job.number, job.number, DAY, None, [{"key": "line-1"}]))
    ledger.agree("260304-R1", DAY, promised=DAY, dropped=[2])
    ledger.start(Clock("Anna", at(8), job.number, 1), unbilled=UNBILLED, now=at(8),
                 sure=["done-item"])


def _all(ledger):
    """Everything that a ledger holds, as the program reads it."""
    return (ledger.drafts(), ledger.draft("a"), ledger.sent(), ledger.frozen("260302-B2"),
            ledger.jobs(), ledger.items("260302-A1"), ledger.clocks(),
            *(ledger.entries(kind, history=True)
              for kind in (TimeEntry, Purchase, Outwork, Sale, Done)),
            ledger.revisions(), ledger.revisions("260302-A1"), ledger.dropped("260302-A1"))


@pytest.fixture(params=ledgers.KINDS)
def full(request, tmp_path):
    """A ledger with something of everything."""
    (tmp_path / "shop").mkdir()
    with ledgers.bench(request.param, tmp_path / "shop") as bench:
        ledger = bench.ledger()
        _fill(ledger)
        yield ledger


@pytest.fixture(params=ledgers.KINDS)
def empty(request, tmp_path):
    """A ledger that holds nothing."""
    (tmp_path / "other").mkdir()
    with ledgers.bench(request.param, tmp_path / "other") as bench:
        yield bench.ledger()


def test_a_backup_is_put_back_into_either_database(full, empty, tmp_path):
    """Everything comes back, row for row, and can be gone on with."""
    held = _all(full)
    file = backup(full, tmp_path / "kept")
    counts, kept = restore(empty, file)
    assert kept is None
    assert counts["time_entries"] == 3
    assert _all(empty) == held
    (more,) = empty.book([worked(0.5, note="next")], unbilled=UNBILLED, now=NOW)
    assert more.id == max(one.id for one in held[7]) + 1
    with pytest.raises(BadInput, match="cannot be used"):
        empty.accept(replace(held[4][0], number="no quote"), ())


def test_an_export_is_taken_in_by_either_database(full, empty, tmp_path):
    """The JSON holds all of it; the entries are as safe from change as before."""
    held = _all(full)
    export(full, tmp_path / "out")
    about = json.loads((tmp_path / "out" / "ledger.json").read_text(encoding="utf-8"))
    assert bring_in(empty, tmp_path / "out") == about["rows"]
    assert _all(empty) == held
    with empty._engine.connect() as connection, pytest.raises(Exception, match="never changed"):
        connection.exec_driver_sql("DELETE FROM time_entries")


def test_an_export_is_plain(full, tmp_path):
    """One CSV and one JSON a table; a spreadsheet takes no note for a formula."""
    counts = export(full, tmp_path / "out")
    for name, count in counts.items():
        with (tmp_path / "out" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            assert len(list(csv.reader(file))) == count + 1
        said = json.loads((tmp_path / "out" / f"{name}.json").read_text(encoding="utf-8"))
        assert len(said["rows"]) == count
    with (tmp_path / "out" / "time_entries.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["note"] == '\'=cmd|"x", 1'
    assert [row["hours"] for row in rows] == ["2.0", "-2.0", "1.1"]
    with (tmp_path / "out" / "purchases.csv").open(encoding="utf-8", newline="") as file:
        assert next(csv.DictReader(file))["amount"] == "46.10"


def test_a_ledger_is_not_taken_in_on_top_of_another(full, tmp_path):
    """Import fills an empty ledger only, and says how else."""
    held = _all(full)
    export(full, tmp_path / "out")
    with pytest.raises(BadInput, match=r"holds something already.*restore"):
        bring_in(full, tmp_path / "out")
    assert _all(full) == held


def test_what_a_restore_replaces_is_kept_beside_it(full, tmp_path):
    """Put back the wrong backup, and the copy beside the ledger puts it right again."""
    file = backup(full, tmp_path / "kept")
    full.save(Draft("later", "x", {}))
    held = _all(full)
    _, copy = restore(full, file)
    assert full.draft("later") is None
    assert copy.parent == full.folder
    restore(full, copy)
    assert _all(full) == held


def test_a_restore_that_fails_changes_nothing(full, tmp_path):
    """Rows that point nowhere, in the middle of it: the ledger is as it was."""
    held = _all(full)
    export(full, tmp_path / "out")
    path = tmp_path / "out" / "items.json"
    said = json.loads(path.read_text(encoding="utf-8"))
    said["rows"] = [["gone", *row[1:]] for row in said["rows"]]
    path.write_text(json.dumps(said), encoding="utf-8")
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        for one in (tmp_path / "out").glob("*.json"):
            archive.write(one, one.name)
    with pytest.raises(BadInput):
        restore(full, tmp_path / "bad.zip")
    assert _all(full) == held


@pytest.mark.parametrize(("schema", "version"), [(FIRST_SCHEMA, 1), (SECOND_SCHEMA, 2)])
def test_a_backup_of_an_older_version_is_brought_up_to_date(empty, tmp_path, schema, version):
    """From before the migrations, into either database, without loss."""
    connection = sqlite3.connect(tmp_path / "old.sqlite")
    connection.executescript(schema)
    connection.close()
    restore(empty, tmp_path / "old.sqlite")
    assert empty.draft("a1").content == {"level": "shop-job"}
    assert [one.price for one in empty.sent()] == [Decimal("4180.00")] * (version - 1)


def test_other_files_are_no_backup(empty, tmp_path):
    """Text, a strange database, a damaged one, one from the future, none: each says so."""
    (tmp_path / "a.txt").write_text("hello", encoding="utf-8")
    (tmp_path / "cut.zip").write_bytes(b"PK\x03\x04 and no more")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as archive:
        archive.writestr("a.txt", "hello")
    for name, script in (("strange", "CREATE TABLE x (y)"), ("later", "PRAGMA user_version = 99")):
        connection = sqlite3.connect(tmp_path / f"{name}.sqlite")
        connection.executescript(script + "; CREATE TABLE z (y);")
        connection.close()
    made = Ledger(tmp_path)
    made.save(Draft("a", "x", {}))
    made.close()
    data = (tmp_path / FILE).read_bytes()
    (tmp_path / "damaged.sqlite").write_bytes(data[:4096] + b"x" * (len(data) - 4096))
    for name, words in (("a.txt", "not a backup"), ("cut.zip", "damaged"),
                        ("other.zip", "cannot be read"), ("strange.sqlite", "not a backup"),
                        ("later.sqlite", "later version"), ("damaged.sqlite", "damaged"),
                        ("none", "no such file")):
        with pytest.raises(BadInput, match=words):
            restore(empty, tmp_path / name)
    assert empty.drafts() == ()


def test_damaged_exports_name_every_file(full, empty, tmp_path):
    """A missing file, a short one and one that is no JSON: all three, and nothing goes in."""
    export(full, tmp_path / "out")
    (tmp_path / "out" / "drafts.json").unlink()
    (tmp_path / "out" / "jobs.json").write_text("{", encoding="utf-8")
    said = json.loads((tmp_path / "out" / "items.json").read_text(encoding="utf-8"))
    said["rows"].pop()
    (tmp_path / "out" / "items.json").write_text(json.dumps(said), encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        bring_in(empty, tmp_path / "out")
    assert {fault.file for fault in caught.value.faults} == {"drafts.json", "jobs.json",
                                                             "items.json"}
    with pytest.raises(BadInput, match="not an exported ledger"):
        bring_in(empty, tmp_path)


def test_nothing_is_written_over(full, tmp_path):
    """Neither a file by a backup nor a folder by an export."""
    (tmp_path / "kept").write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match="already"):
        backup(full, tmp_path / "kept")
    for place in (tmp_path, tmp_path / "kept"):
        with pytest.raises(BadInput, match="already"):
            export(full, place)
    assert (tmp_path / "kept").read_text(encoding="utf-8") == "mine"


def test_an_empty_shop_has_nothing_to_back_up(tmp_path):
    """It says so and makes no file."""
    ledger = Ledger(tmp_path)
    for how in (backup, export):
        with pytest.raises(BadInput, match="Nothing was kept"):
            how(ledger, tmp_path / "kept")
    assert list(tmp_path.iterdir()) == []


def test_a_postgresql_ledger_of_the_version_before_is_copied_and_brought_up_to_date(tmp_path):
    """The copy beside shop.toml is a zip of JSON that can be put back."""
    with ledgers.bench("postgresql", tmp_path) as bench:
        from estimator.ledger import opening

        engine = opening.engine_of(bench.address, tmp_path / FILE)
        with engine.begin() as connection:
            opening.migrate(connection, 0, 2)
            connection.exec_driver_sql(
                "INSERT INTO sent VALUES ('1', 't', 'clean', '2026-03-02', '9.50', 1.5, 'USD', "
                "'won')")
        engine.dispose()
        ledger = bench.ledger()
        assert [str(one.price) for one in ledger.sent()] == ["9.50"]
        with_job(ledger)
        (copy,) = tmp_path.glob("ledger-backup-2-*.zip")
        restore(ledger, copy)
        assert ledger.jobs() == ()
        assert len(ledger.sent()) == 1


def _cut(path):
    """As by a disk that was full."""
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _emptied(path):
    """As by a power cut before the first byte was on the disk."""
    path.write_bytes(b"")


def _strange(path):
    """As by another program's file of that name."""
    path.write_bytes(b"not a database" * 1000)


def _headless(path):
    """As by whoever wrote over its beginning."""
    path.write_bytes(b"x" * 100 + path.read_bytes()[100:])


def _holed(path):
    """As by a disk that gives back noughts for a page."""
    data = path.read_bytes()
    path.write_bytes(data[: 2 * 4096] + bytes(8 * 4096) + data[10 * 4096:])


@pytest.mark.parametrize("harm", [_cut, _emptied, _strange, _headless, _holed])
def test_a_damaged_ledger_is_found_and_a_backup_takes_its_place(full, tmp_path, harm):
    """Each kind of damage is told at the first look; the damaged file is kept beside."""
    if full.address:
        pytest.skip("a file of SQLite")
    file, held = backup(full, tmp_path / "kept"), _all(full)
    full.close()
    harm(full.path)
    data = full.path.read_bytes()
    again = Ledger(full.path.parent)
    for act in (again.jobs, again.drafts, lambda: again.save(Draft("b", "x", {})),
                lambda: backup(again, tmp_path / "second"),
                lambda: bring_in(again, export_of(tmp_path))):
        with pytest.raises(BadInput, match=r"(?s)damaged.*estimator restore"):
            act()
    assert not (tmp_path / "second").exists()
    # A log that belongs to the damaged file must not be taken for one of the new.
    log = full.path.with_name(FILE + "-wal")
    log.write_bytes(b"of the damaged one")
    _, kept = restore(again, file)
    assert kept.read_bytes() == data
    assert _all(again) == held
    again.close()
    opened = Ledger(full.path.parent)
    assert _all(opened) == held
    opened.close()


def export_of(tmp_path):
    """An exported folder of a ledger with one draft."""
    folder = tmp_path / "exported"
    if not folder.exists():
        other = Ledger(tmp_path)
        other.save(Draft("a", "x", {}))
        export(other, folder)
        other.close()
    return folder


@pytest.mark.parametrize(("table", "column", "cell"), [
    ("drafts", "content", '{"level": '), ("drafts", "saved", "2O26-03-02"),
    ("sent", "price", "9OO"), ("frozen", "answer", "\x00"),
    ("shop_tables", "content", "x"), ("time_entries", "booked", "yesterday")])
def test_a_cell_that_was_damaged_is_found_before_a_backup_is_made(full, tmp_path, table, column,
                                                                  cell):
    """What no check of the database can see: no backup that could not be put back is written."""
    if full.address:
        pytest.skip("cells of a file")
    full.close()
    connection = sqlite3.connect(full.path)
    for (trigger,) in connection.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {trigger}")
    connection.execute(f"UPDATE {table} SET {column} = ?", (cell,))
    connection.commit()
    connection.close()
    with pytest.raises(BadInput, match=rf"damaged in its {table.replace('_', ' ')}"):
        backup(full, tmp_path / "kept")
    reads = {"drafts": lambda: (full.drafts(), full.draft("a")), "sent": full.sent,
             "frozen": lambda: full.frozen("260302-B2"),
             "shop_tables": lambda: full.frozen_of(["260302-B2"]),
             "time_entries": lambda: full.entries(TimeEntry)}
    with pytest.raises(BadInput, match="damaged"):
        reads[table]()
    assert not (tmp_path / "kept").exists()


@pytest.mark.parametrize(("table", "column", "cell"), [
    ("jobs", "accepted", "20x6-03-02"), ("sales", "amount", "much"), ("items", "name", {}),
    ("shop_tables", "content", "!")])
def test_an_export_with_a_cell_nobody_can_read_is_not_taken_in(full, empty, tmp_path, table,
                                                               column, cell):
    """A day, an amount, an object, packed bytes: the file is named, the ledger stays empty."""
    export(full, tmp_path / "out")
    file = tmp_path / "out" / f"{table}.json"
    said = json.loads(file.read_text(encoding="utf-8"))
    said["rows"][0][said["columns"].index(column)] = cell
    file.write_text(json.dumps(said), encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        bring_in(empty, tmp_path / "out")
    assert [fault.file for fault in caught.value.faults] == [f"{table}.json"]
    assert empty.jobs() == ()


def test_a_backup_into_no_folder_names_the_folder(full, tmp_path):
    """It is not the ledger that cannot be written."""
    with pytest.raises(BadInput, match="no such folder") as caught:
        backup(full, tmp_path / "gone" / "kept")
    assert caught.value.faults[0].file == str(tmp_path / "gone")


# --- how far it is, and stopping it --------------------------------------------------------------


def _files(folder):
    return {str(path.relative_to(folder)): path.read_bytes()
            for path in folder.rglob("*") if path.is_file()}


def _acts(full, empty, tmp_path):
    """Each of the four, with what it works on."""
    file = backup(full, tmp_path / "kept")
    export(full, tmp_path / "out")
    full.save(Draft("later", "x", {}))
    return {
        "backup": (full, lambda tell: backup(full, tmp_path / "new", tell)),
        "export": (full, lambda tell: export(full, tmp_path / "folder", tell)),
        "restore": (full, lambda tell: restore(full, file, tell)),
        "import": (empty, lambda tell: bring_in(empty, tmp_path / "out", tell)),
    }


@pytest.mark.parametrize("name", ["backup", "export", "restore", "import"])
def test_long_work_says_how_far_it_is_and_can_be_stopped_anywhere(full, empty, tmp_path,
                                                                  monkeypatch, caplog, name):
    """It rises to 1 and ends there; stopped at any share, every file and row is as it was."""
    monkeypatch.setattr("estimator.ledger.telling._EACH", 8)
    monkeypatch.setattr("estimator.ledger.telling.AT_ONCE", 2)
    monkeypatch.setattr("estimator.ledger.telling._STEPS", 500)
    monkeypatch.setattr("estimator.ledger.opening._PAGES", 10)
    ledger, act = _acts(full, empty, tmp_path)[name]
    for one in (full, empty):
        one.close()
    held, told = _files(tmp_path), []
    for place in itertools.count(1, 5):
        told.clear()
        try:
            act(lambda share, place=place: told.append(share) or len(told) < place)
        except Stopped as error:
            stopped = str(error)
        else:
            break
        assert len(told) == place
        assert full.draft("later") is not None
        assert empty.jobs() == ()
        for one in (full, empty):
            one.close()
        assert _files(tmp_path) == held
    assert place > 10
    assert stopped.startswith(f"The {name} was stopped; ")
    assert told == sorted(told)
    assert told[-1] == 1 > told[-2]
    assert not caplog.records
    assert len(ledger.jobs()) == 1


def test_a_restore_that_is_stopped_leaves_a_damaged_ledger_as_it_was(full, tmp_path):
    """No copy is left of what nothing took the place of."""
    if full.address:
        pytest.skip("a file of SQLite")
    file = backup(full, tmp_path / "kept")
    full.close()
    _cut(full.path)
    held = _files(tmp_path)
    told = []
    with pytest.raises(Stopped, match="the ledger is as it was"):
        restore(full, file, lambda share: told.append(share) or share < 0.5)
    assert told[-1] < 0.9
    full.close()
    assert _files(tmp_path) == held
