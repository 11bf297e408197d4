"""What is frozen in the ledger is found where it was damaged, and said; all else goes on."""

import contextlib
import json
import sqlite3
from datetime import date
from decimal import Decimal

import ledgers
import pytest

from estimator import cli, jobs, review
from estimator.demo import small_quote, small_shop
from estimator.errors import BadInput
from estimator.ledger import (
    FILE,
    Damaged,
    Frozen,
    Ledger,
    Revision,
    Sent,
    TimeEntry,
    backup,
    bring_in,
    export,
    restore,
)
from estimator.ledger.schema import tables
from estimator.ledger.sealing import hash_of, seal, sealed, unsealed
from estimator.review import proposals

DAY = date(2026, 3, 9)
CELLS = [("frozen", name) for name in ("survey", "choices", "settings", "answer")] + [
    ("revisions", "changes")]


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The small shop with a revision that waits for an answer, as a backup."""
    place = tmp_path_factory.mktemp("whole") / "kept"
    with small_shop() as (ledger, _):
        found, used = jobs.revise(ledger, "Harbour Lights", reasons=["wish"], on=DAY,
                                  wish=jobs.Wish(extras=(("extra-led-set", 1),)))
        jobs.offer(ledger, found, used)
        backup(ledger, place)
    return place


@pytest.fixture
def shop(whole):
    """The small shop with that as its ledger."""
    with small_shop() as (ledger, shop):
        ledger.path.write_bytes(whole.read_bytes())
        yield ledger, shop


def _rows(folder):
    """Table, number and column of each frozen cell, with what it holds."""
    with contextlib.closing(sqlite3.connect(folder / FILE)) as held:
        return [(table, number, column, cell) for table, column in CELLS
                for number, cell in held.execute(f"SELECT number, {column} FROM {table}")]


def _put(folder, table, number, column, cell):
    """Put a cell where the database itself lets nobody put one, as a failing disk does."""
    with contextlib.closing(sqlite3.connect(folder / FILE)) as held:
        (said,) = held.execute("SELECT sql FROM sqlite_schema WHERE name = ?",
                               (f"{table}_no_update",)).fetchone()
        held.execute(f"DROP TRIGGER {table}_no_update")
        held.execute(f"UPDATE {table} SET {column} = CAST(? AS TEXT) WHERE number = ?",
                     (cell, number))
        held.execute(said)
        held.commit()


def _spoiled(cell):
    """The cell with one character another in turn: a figure, a letter, what is no text."""
    said = cell.encode()
    for wanted, put in ((bytes.isdigit, b"7"), (bytes.isalpha, b"q"), (bytes.isalpha, b"\xff")):
        places = [at for at in range(len(said))
                  if wanted(said[at:at + 1]) and said[at:at + 1] != put]
        if places:
            at = places[len(places) // 2]
            yield said[:at] + put + said[at + 1:]


def test_every_frozen_cell_that_is_spoiled_by_one_character_is_found_and_said(shop, whole):
    """What, which quote, in which table, what to do; read one by one and together. The backup that
    is named as the cure is one."""
    ledger, _ = shop
    rows = _rows(ledger.folder)
    tried = 0
    assert len(rows) == 4 * 5 + 1  # four jobs and the revision, and what it changes
    for table, number, column, cell in rows:
        for place, spoiled in enumerate(_spoiled(cell)):
            _put(ledger.folder, table, number, column, spoiled)
            reads = [lambda number=number: ledger.revision(number)] if table == "revisions" else [
                lambda number=number: ledger.frozen(number),
                lambda number=number: jobs.reopen(ledger, number),
                lambda number=number: ledger.frozen_of([number])]
            if place == 0:
                reads.append(lambda: backup(ledger, ledger.folder / "no"))
            for read in reads:
                with pytest.raises(BadInput) as caught:
                    read()
                (fault,) = caught.value.faults
                assert f"{number} in its table {table} is not as kept" in fault.what, column
                assert "estimator restore FILE" in fault.fix
                assert fault.file == str(ledger.path)
            tried += 1
        _put(ledger.folder, table, number, column, cell.encode())
        assert len(ledger.frozen_of([number])) == 1
    _put(ledger.folder, *rows[0][:3], b"{}")
    restore(ledger, whole)
    assert ledger.frozen(rows[0][1]).survey == json.loads(rows[0][3])
    assert tried > 3 * len(rows) - 3  # the change of a wish holds few figures


@pytest.mark.parametrize("survey", [b'{"machine": {"erb": "modern"}}', b"{", b"{}",
                                    b'{"machine": {"era": "modexn"}}'])
def test_proposals_tell_a_quote_whose_era_is_gone(shop, survey):
    """They read no more of it than that; what else is damaged is told by those who read it."""
    ledger, made = shop
    number = ledger.job("Night Ferry").number
    before = proposals.proposals(ledger, made)
    _put(ledger.folder, "frozen", number, "answer", b"[]")
    assert proposals.proposals(ledger, made) == before
    _put(ledger.folder, "frozen", number, "survey", survey)
    with pytest.raises(BadInput, match=f"{number} in its table frozen is not as kept"):
        proposals.proposals(ledger, made)
    spoiled = set()
    assert number not in ledger.behind([job.number for job in ledger.jobs()], spoiled=spoiled)
    assert spoiled == {number}


@pytest.mark.parametrize("words", [
    ["job", "list"], ["quotes"], ["job", "show", "JOB"], ["job", "status", "JOB"],
    ["review"], ["review", "JOB"], ["review", "Night Ferry"], ["job", "amounts"], ["time", "list"],
    ["job", "done", "JOB", "2"], ["job", "state", "JOB", "waiting"],
    ["job", "close", "JOB", "--date", "2026-03-20"],
    ["time", "add", "--job", "JOB", "--item", "3", "--hours", "1", "--person", "Mara", "--sure",
     "cap", "long-ago", "new-person"]])
def test_what_needs_no_spoiled_quote_goes_on(shop, capsys, words):
    """Of the job itself too: hours are booked, items done, the job closed."""
    ledger, _ = shop
    number = ledger.job("Harbour Lights").number
    (revision,) = ledger.revisions()
    _put(ledger.folder, "frozen", number, "answer", b'{"cap": 1}')
    _put(ledger.folder, "revisions", revision.number, "changes", b"[]")
    words = [number if word == "JOB" else word for word in words]
    assert cli.main([*words, "--shop", str(ledger.folder)]) == 0
    said = capsys.readouterr()
    assert said.out
    if words[:2] in (["job", "show"], ["job", "status"]):
        assert f"{number} in its table frozen is not as kept" in said.out
        assert f"{revision.number} in its table revisions is not as kept" in said.out
        assert revision.number in said.out
    if words == ["review", number]:
        assert f"What quote {number} was computed from is damaged in the ledger" in said.out


@pytest.mark.parametrize("words", [
    ["plan", "--jobs", "JOB"], ["job", "survey", "JOB", "-o", "now.csv"],
    ["job", "change", "JOB", "--leave-out", "1", "--reason", "1=wish", "--look"],
    ["job", "agree", "REVISION"], ["job", "refuse", "REVISION"]])
def test_what_needs_a_spoiled_quote_is_refused_in_plain_words(shop, capsys, monkeypatch, words):
    """No other figures, and nothing written."""
    ledger, _ = shop
    monkeypatch.chdir(ledger.folder)
    number = ledger.job("Harbour Lights").number
    (revision,) = ledger.revisions()
    _put(ledger.folder, "frozen", number, "survey", b"{}")
    _put(ledger.folder, "revisions", revision.number, "changes", b"[]")
    names = {"JOB": number, "REVISION": revision.number}
    assert cli.main([*(names.get(word, word) for word in words),
                     "--shop", str(ledger.folder)]) == 2
    said = capsys.readouterr().err
    assert "is not as kept" in said
    assert "estimator restore FILE" in said
    assert ledger.revisions() == (revision,)
    assert not (ledger.folder / "now.csv").exists()


def test_hours_of_a_job_whose_cap_is_not_known_are_asked_about(shop):
    """Not that a cap which nobody can read is passed unasked."""
    ledger, _ = shop
    job = ledger.job("Harbour Lights")
    _put(ledger.folder, "frozen", job.number, "answer", b"{}")
    entry = TimeEntry(person="Mara", day=DAY, hours=1.0, job=job.number, item=3)
    sure = ["long-ago", "new-person"]
    with pytest.raises(BadInput, match="whether this passes a cap is not known") as caught:
        ledger.book([entry], unbilled=(), sure=sure)
    assert [one.key for one in caught.value.questions] == ["cap"]
    ledger.book([entry], unbilled=(), sure=[*sure, "cap"])
    other = ledger.job("Night Ferry")
    ledger.book([TimeEntry(person="Mara", day=DAY, hours=1.0, job=other.number, item=3)],
                unbilled=(), sure=[*sure, "closed-job"])


def test_the_review_of_the_shop_tells_whose_costs_it_cannot_split(shop):
    """The others are reviewed as before."""
    ledger, made = shop
    number = ledger.job("Night Ferry").number
    before = review.of_shop(ledger, made, on=DAY)
    _put(ledger.folder, "frozen", number, "answer", b"{}")
    after = review.of_shop(ledger, made, on=DAY)
    assert [note for note in after.notes if note not in before.notes] == [
        f"What quote {number} was computed from is damaged in the ledger; put a backup in its "
        "place with: estimator restore FILE. Its costs are not split."]
    for one, then in zip(after.jobs, before.jobs, strict=True):
        assert one.booked == then.booked
        assert (one == then) == (one.job.number != number)


def test_a_spoiled_quote_that_is_sent_again_stands_again(shop):
    """The later comes to stand before the earlier."""
    ledger, made = shop
    offer = small_quote("Glass Town")
    jobs.keep(ledger, offer, made)
    _put(ledger.folder, "frozen", offer.number, "answer", b"{}")
    with pytest.raises(Damaged):
        ledger.frozen(offer.number)
    jobs.keep(ledger, offer, made)
    assert ledger.frozen(offer.number).answer["number"] == offer.number
    assert len(ledger.frozen_of([offer.number])) == 1


def test_a_backup_and_an_export_with_a_spoiled_figure_are_not_taken_in(shop, whole, tmp_path):
    """The price of one quote is another one: told by its number."""
    ledger, _ = shop
    number = ledger.job("Salt Wind").number
    export(ledger, tmp_path / "out")
    file = tmp_path / "out" / "frozen.json"
    said = json.loads(file.read_text())
    at = said["columns"].index("answer")
    row = next(row for row in said["rows"] if row[said["columns"].index("number")] == number)
    row[at]["price"] += 1
    file.write_text(json.dumps(said))
    copy = tmp_path / FILE
    copy.write_bytes(whole.read_bytes())
    _put(tmp_path, "frozen", number, "answer", b"{}")
    (tmp_path / "new").mkdir()
    new = Ledger(tmp_path / "new", "")
    for take in (lambda: bring_in(new, tmp_path / "out"), lambda: restore(new, copy)):
        with pytest.raises(BadInput, match=f"{number} in its table frozen is not") as caught:
            take()
        assert caught.value.faults[0].file == "frozen.json"
        assert new.jobs() == ()
    new.close()


@pytest.fixture(params=ledgers.KINDS)
def kept(request, tmp_path):
    """A ledger on either database with a quote, a job and a revision; what is written in it."""
    (tmp_path / "shop").mkdir()
    with ledgers.bench(request.param, tmp_path / "shop") as bench:
        ledger = bench.ledger()
        job = ledgers.with_job(ledger)
        for number, of in (("260302-B1", None), ("260304-R1", job.number)):
            sent = Sent(number, "Ünïcode", "clean", DAY, Decimal("4180.00"), 2100.5, "USD")
            held = Frozen(number, "0.1", {"lines": ["é", 'a "b"', 1e-7]}, {"level": "clean"},
                          {"margin": 0.1}, "{}", {"price": 0.1 + 0.2, "big": 10**30}, of)
            if of is None:
                ledger.record(sent, held)
            else:
                ledger.offer(sent, held, Revision(number, of, of, DAY, None, [{"key": "line-1"}]))
        yield ledger


def _hashes(ledger):
    t = tables()
    with ledger._reading() as connection:
        return [tuple(row) for table in (t.frozen, t.revisions)
                for row in connection.execute(table.select().with_only_columns(
                    table.c.number, table.c.hash).order_by(table.c.number))]


def test_a_figure_that_another_program_changed_is_found_in_either_database(kept):
    """Where cells are JSON by their type, as in PostgreSQL, too."""
    with kept._engine.begin() as connection:
        if kept.address:
            for table in ("frozen", "revisions"):
                connection.exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        else:
            for table in ("frozen", "revisions"):
                connection.exec_driver_sql(f"DROP TRIGGER {table}_no_update")
        connection.exec_driver_sql("UPDATE frozen SET settings = '{\"margin\": 0.2}' "
                                   "WHERE number = '260302-B1'")
        connection.exec_driver_sql("UPDATE revisions SET changes = '[{\"key\": \"line-2\"}]'")
    assert kept.frozen("260304-R1").answer["big"] == 10**30
    for read, number in ((lambda: kept.frozen("260302-B1"), "260302-B1"),
                         (lambda: kept.revision("260304-R1"), "260304-R1")):
        with pytest.raises(Damaged, match=f"{number} in its table .* is not as kept"):
            read()


def test_an_export_of_the_version_before_gets_the_same_hashes(kept, tmp_path):
    """The step that fills them and the program that writes them agree, on either database."""
    export(kept, tmp_path / "out")
    about = tmp_path / "out" / "ledger.json"
    about.write_text(json.dumps(json.loads(about.read_text()) | {"ledger": 6}))
    for name in ("frozen", "revisions"):
        file = tmp_path / "out" / f"{name}.json"
        said = json.loads(file.read_text(encoding="utf-8"))
        own = [at for at, column in enumerate(said["columns"]) if column != "hash"]
        file.write_text(json.dumps(said | {
            "columns": [said["columns"][at] for at in own],
            "rows": [[row[at] for at in own] for row in said["rows"]]}), encoding="utf-8")
    (tmp_path / "other").mkdir()
    with ledgers.bench("postgresql" if kept.address else "sqlite", tmp_path / "other") as bench:
        other = bench.ledger()
        bring_in(other, tmp_path / "out")
        assert _hashes(other) == _hashes(kept)
        assert other.frozen("260302-B1") == kept.frozen("260302-B1")
        assert other.revisions("260302-A1") == kept.revisions("260302-A1")


def test_a_row_says_the_same_as_it_was_sealed(kept):
    """Hashes of what is about to be written are those of what is read; the length stands before
    each cell, so that none can run into the next."""
    assert hash_of(["ab", "c"]) != hash_of(["a", "bc"])
    assert hash_of([None, "-"]) != hash_of(["-", None])
    table = tables().frozen
    with kept._reading() as connection:
        for row in connection.execute(table.select().with_only_columns(
                *sealed(table, connection))):
            said = unsealed(table, row._mapping)
            assert seal(table, said) == {"hash": row.hash}
            assert unsealed(table, row._asdict() | {"version": b"0.2"}) is None
