"""The ledger keeps drafts and quotes sent, and says in plain words what is wrong."""

import dataclasses
import gc
import math
import sqlite3
import threading
from datetime import date
from decimal import Decimal

import ledgers
import pytest

from estimator.errors import BadInput
from estimator.ledger import FILE, Draft, Ledger, Sent, Stale, new_key, opening
from estimator.ledger.schema import VERSION, tables

CONTENT = {
    "lines": [{"assembly": "flipper", "count": 3, "note": 'a "note", ünïcode'}],
    "level": None,
}

QUOTE = Sent("2026-014", "Harbour Lights", "shop-job", date(2026, 3, 2), Decimal("4180.00"),
             3127.4182, "GBP")
# As the first version of the program made it.
FIRST_SCHEMA = """
CREATE TABLE drafts ("key" VARCHAR(40) NOT NULL, title VARCHAR NOT NULL, content JSON NOT NULL,
                     revision INTEGER NOT NULL, saved VARCHAR(32) NOT NULL, PRIMARY KEY ("key"));
CREATE INDEX ix_drafts_saved ON drafts (saved);
INSERT INTO drafts VALUES ('a1', 'Harbour Lights', '{"level": "shop-job"}', 3,
                           '2026-01-25T16:29:58.624398+00:00');
PRAGMA user_version = 1;
"""
# What the second version made of it, with a quote sent.
SECOND_SCHEMA = FIRST_SCHEMA + """
CREATE TABLE sent (number VARCHAR(40) NOT NULL, title VARCHAR NOT NULL, level VARCHAR(40) NOT NULL,
                   sent VARCHAR(10) NOT NULL, price VARCHAR(40) NOT NULL, cost_mean FLOAT NOT NULL,
                   currency VARCHAR(3) NOT NULL, outcome VARCHAR(4) NOT NULL, PRIMARY KEY (number));
CREATE INDEX ix_sent_sent ON sent (sent);
INSERT INTO sent VALUES ('2026-014', 'Harbour Lights', 'shop-job', '2026-03-02', '4180.00',
                         3127.4182, 'GBP', 'won');
PRAGMA user_version = 2;
"""


@pytest.fixture(params=ledgers.KINDS)
def bench(request, tmp_path):
    """A database of its own to open ledgers on; closed at the end."""
    with ledgers.bench(request.param, tmp_path) as found:
        yield found


@pytest.fixture
def ledger(bench):
    """A ledger on it."""
    return bench.ledger()


def test_looking_makes_no_file(tmp_path):
    """A ledger that is only read leaves the folder as it was."""
    ledger = Ledger(tmp_path)
    assert ledger.drafts() == ()
    assert ledger.latest() is None
    assert ledger.draft("a") is None
    ledger.forget("a")
    assert ledger.sent() == ()
    with pytest.raises(BadInput, match="None was kept so far"):
        ledger.decide("2026-014", "won")
    assert not ledger.path.exists()


def test_what_is_saved_comes_back_in_another_process_of_ours(ledger, bench):
    """A second ledger on the same database reads the draft as it was saved."""
    kept = ledger.save(Draft("a", "Harbour Lights", CONTENT))
    other = bench.ledger()
    assert other.draft("a") == kept
    assert other.draft("a").content == CONTENT


def test_each_save_counts_one_up(ledger):
    """Revisions run 1, 2, 3 and the time never goes back."""
    first = ledger.save(Draft("a", "x", CONTENT))
    second = ledger.save(first)
    assert (first.revision, second.revision) == (1, 2)
    assert second.saved >= first.saved


def test_an_older_revision_is_refused(ledger):
    """Two windows on one draft: the one that was left behind does not overwrite the other."""
    mine = ledger.save(Draft("a", "x", {"from": "first"}))
    theirs = ledger.save(Draft("a", "x", {"from": "second window"}, mine.revision, mine.saved))
    with pytest.raises(Stale) as caught:
        ledger.save(Draft("a", "x", {"from": "old window"}, mine.revision, mine.saved))
    assert caught.value.newer == theirs
    assert "another window" in str(caught.value)
    assert ledger.draft("a").content == {"from": "second window"}


def test_a_new_draft_does_not_take_the_place_of_one_with_the_same_key(ledger):
    """Revision 0 means never saved: it is refused where the key is in use."""
    ledger.save(Draft("a", "x", CONTENT))
    with pytest.raises(Stale):
        ledger.save(Draft("a", "y", {}))


def test_a_draft_that_was_deleted_meanwhile_is_kept_again(ledger):
    """What somebody is still typing is worth more than a deletion elsewhere."""
    first = ledger.save(Draft("a", "x", CONTENT))
    ledger.forget("a")
    assert ledger.draft("a") is None
    assert ledger.save(first).revision == 2
    assert ledger.draft("a").content == CONTENT


def test_drafts_are_listed_last_saved_first(ledger):
    """The list opens with what was worked on last, and carries no contents."""
    first = ledger.save(Draft("a", "one", CONTENT))
    ledger.save(Draft("b", "two", CONTENT))
    ledger.save(first)
    assert [draft.key for draft in ledger.drafts()] == ["a", "b"]
    assert all(draft.content is None for draft in ledger.drafts())
    assert ledger.latest().key == "a"


def test_of_many_windows_that_save_at_once_exactly_one_wins(ledger, bench):
    """The look and the save are one step: no two saves build on the same revision."""
    start = ledger.save(Draft("a", "x", {"n": -1}))
    outcomes = []
    gate = threading.Barrier(6)

    def save(n):
        mine = bench.ledger()
        gate.wait()
        try:
            mine.save(Draft("a", "x", {"n": n}, start.revision, start.saved))
            outcomes.append(n)
        except Stale:
            outcomes.append(None)
        finally:
            mine.close()

    threads = [threading.Thread(target=save, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    winners = [n for n in outcomes if n is not None]
    assert len(outcomes) == 6
    assert len(winners) == 1
    assert ledger.draft("a").content == {"n": winners[0]}


def test_the_file_is_set_up_to_be_shared_and_to_last(tmp_path):
    """Write-ahead log, a wait where it is busy, foreign keys, and a version number."""
    ledger = Ledger(tmp_path)
    ledger.save(Draft("a", "x", {}))
    with ledger._engine.connect() as connection:
        def pragma(name):
            return connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
        assert pragma("journal_mode") == "wal"
        assert pragma("foreign_keys") == 1
        assert pragma("busy_timeout") >= 1000
        assert pragma("synchronous") == 2  # full
        assert pragma("user_version") == VERSION
    ledger.close()


def test_a_file_that_is_no_ledger_is_reported_in_plain_words(tmp_path):
    """Bytes that are not a database: the file is named and what to do is said."""
    (tmp_path / FILE).write_bytes(b"not a database" * 100)
    ledger = Ledger(tmp_path)
    with pytest.raises(BadInput, match=r"damaged.*estimator restore"):
        ledger.drafts()
    ledger.close()


def test_a_ledger_of_a_later_version_is_refused_and_left_alone(tmp_path):
    """A file from the future is not guessed at."""
    with sqlite3.connect(tmp_path / FILE) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    ledger = Ledger(tmp_path)
    with pytest.raises(BadInput, match="later version"):
        ledger.save(Draft("a", "x", {}))
    ledger.close()


def _old_ledger(folder, schema):
    with sqlite3.connect(folder / FILE) as connection:
        connection.executescript(schema)
    connection.close()
    return Ledger(folder)


def test_a_ledger_of_the_first_version_goes_on_as_it_is(tmp_path):
    """It gets the table of quotes and loses nothing; its drafts are saved and refused as before."""
    ledger = _old_ledger(tmp_path, FIRST_SCHEMA)
    draft = ledger.draft("a1")
    assert (draft.title, draft.content, draft.revision) == (
        "Harbour Lights", {"level": "shop-job"}, 3)
    assert draft.saved.isoformat() == "2026-01-25T16:29:58.624398+00:00"
    assert ledger.sent() == ()
    assert ledger.record(QUOTE) == QUOTE
    assert ledger.save(draft).revision == 4
    with pytest.raises(Stale):
        ledger.save(draft)
    ledger.close()
    connection = sqlite3.connect(tmp_path / FILE)
    assert connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
    assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [
        (f"{VERSION:04}",)]
    connection.close()


@pytest.mark.parametrize(("schema", "version"), [(FIRST_SCHEMA, 1), (SECOND_SCHEMA, 2)])
def test_an_older_ledger_is_copied_before_it_is_changed(tmp_path, schema, version):
    """The copy is a ledger of the old version with all it held, beside the new one."""
    ledger = _old_ledger(tmp_path, schema)
    assert len(ledger.drafts()) == 1
    assert [one.outcome for one in ledger.sent()] == ["won"] * (version - 1)
    ledger.close()
    (copy,) = tmp_path.glob(f"ledger-backup-{version}-*.sqlite")
    connection = sqlite3.connect(copy)
    assert connection.execute("PRAGMA user_version").fetchone() == (version,)
    made = sqlite3.connect(":memory:")
    made.executescript(schema)
    assert list(connection.iterdump()) == list(made.iterdump())
    made.close()
    connection.close()
    again = Ledger(tmp_path)
    again.drafts()
    again.close()
    assert len(list(tmp_path.glob("ledger-backup-*"))) == 1


def test_a_copy_that_cannot_be_made_leaves_the_older_ledger_as_it_was(tmp_path, monkeypatch):
    """A full disk stops the step before anything is changed; the next opening takes it."""
    ledger = _old_ledger(tmp_path, SECOND_SCHEMA)

    def full(*_paths):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(opening, "copy_file", full)
    with pytest.raises(BadInput, match=r"cannot be written.*No space left"):
        ledger.sent()
    connection = sqlite3.connect(tmp_path / FILE)
    assert connection.execute("PRAGMA user_version").fetchone() == (2,)
    connection.close()
    monkeypatch.undo()
    assert [one.number for one in ledger.sent()] == ["2026-014"]
    ledger.close()


def test_the_migrations_make_what_the_program_reads(ledger):
    """Column by column, type by type: what the steps make is what `schema` says."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    ledger.save(Draft("a", "x", {}))
    with ledger._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables().about) == []


def test_the_last_step_is_the_version_of_the_program():
    """No step is forgotten, and they stand in one row."""
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(opening._MIGRATIONS))
    steps = [step.revision for step in script.walk_revisions()]
    assert steps == [f"{number:04}" for number in range(VERSION, 0, -1)]


def test_many_windows_may_bring_an_old_ledger_up_to_date_at_once(tmp_path):
    """Whoever comes second finds it done, and nobody is turned away."""
    first = _old_ledger(tmp_path, FIRST_SCHEMA)
    gate, found = threading.Barrier(6), []

    def look():
        mine = Ledger(tmp_path)
        gate.wait()
        try:
            found.append((len(mine.drafts()), mine.sent()))
        except BadInput as error:
            found.append(str(error))
        finally:
            mine.close()

    threads = [threading.Thread(target=look) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [(1, ())] * 6
    first.close()


def test_nobody_writes_while_an_old_ledger_is_brought_up_to_date(tmp_path, monkeypatch):
    """The look at its version and the new tables are one step for every other window."""
    ledger = _old_ledger(tmp_path, FIRST_SCHEMA)
    migrate, said = opening.migrate, []

    def migrate_while_another_tries(connection, version):
        other = sqlite3.connect(tmp_path / FILE, timeout=0)
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        said.append("tried")
        other.close()
        migrate(connection, version)

    monkeypatch.setattr(opening, "migrate", migrate_while_another_tries)
    assert len(ledger.drafts()) == len(said) == 1
    ledger.close()


def test_many_may_make_a_new_ledger_at_once(bench):
    """The first six saves of a new ledger: one makes the tables, all six are kept."""
    gate, wrong = threading.Barrier(6), []

    def save(n):
        gate.wait()
        try:
            bench.ledger().save(Draft(str(n), "x", {}))
        except BadInput as error:
            wrong.append(str(error))

    threads = [threading.Thread(target=save, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert len(bench.ledger().drafts()) == 6


def test_the_settings_say_where_the_ledger_is(tmp_path):
    """An address in shop.toml is taken, one that is none is named, a blank one is the file."""
    (tmp_path / "shop.toml").write_text('ledger = "sqlite:///elsewhere.db"\n', encoding="utf-8")
    ledger = Ledger(tmp_path)
    with pytest.raises(BadInput, match=r"shop.toml, ledger: .*not one of PostgreSQL"):
        ledger.drafts()
    (tmp_path / "shop.toml").write_text('ledger = ""\n', encoding="utf-8")
    ledger = Ledger(tmp_path)
    ledger.save(Draft("a", "x", {}))
    ledger.close()
    assert (tmp_path / FILE).exists()


def test_a_server_that_does_not_answer_is_reported_in_plain_words(tmp_path):
    """Nobody listens there; the word in the address is not shown."""
    ledger = Ledger(tmp_path, f"postgresql://me:secret@/shop?host={tmp_path}")
    with pytest.raises(BadInput, match="database cannot be used") as caught:
        ledger.drafts()
    assert "secret" not in str(caught.value)


def test_a_folder_that_is_not_there_is_reported_in_plain_words(tmp_path):
    """Nothing can be kept in a folder that does not exist, and that is said."""
    ledger = Ledger(tmp_path / "nowhere")
    with pytest.raises(BadInput, match="cannot be written"):
        ledger.save(Draft("a", "x", {}))
    ledger.close()


def test_a_ledger_that_nobody_holds_keeps_no_connection(tmp_path):
    """A page that was left behind lets go of the file, without being told to."""
    ledger = Ledger(tmp_path)
    ledger.save(Draft("a", "x", {}))
    pool = ledger._engine.pool
    assert pool.checkedin() == 1
    del ledger
    gc.collect()
    assert pool.checkedin() == 0


def test_keys_do_not_repeat():
    """A thousand keys are a thousand different ones."""
    assert len({new_key() for _ in range(1000)}) == 1000


# --- quotes sent ---------------------------------------------------------------------------------


def test_a_quote_sent_comes_back_as_it_was_sent(ledger, bench):
    """Every figure, the price to its last digit, also for another ledger on the database."""
    assert ledger.record(QUOTE) == QUOTE
    other = bench.ledger()
    assert other.sent() == (QUOTE,)
    assert str(other.sent()[0].price) == "4180.00"


def test_quotes_are_listed_newest_first(ledger):
    """By the day they were sent, then by number, not by when they were recorded."""
    for number, day in (("2", 5), ("3", 1), ("1", 5), ("4", 9)):
        ledger.record(dataclasses.replace(QUOTE, number=number, sent=date(2026, 3, day)))
    assert [sent.number for sent in ledger.sent()] == ["4", "2", "1", "3"]


def test_an_open_quote_that_is_sent_again_is_replaced(ledger):
    """The same number again: the new price counts, and there is still one quote."""
    ledger.record(QUOTE)
    again = dataclasses.replace(QUOTE, price=Decimal("4010.50"), level="reconditioned",
                                sent=date(2026, 3, 9), cost_mean=3000.0)
    assert ledger.record(again) == again
    assert ledger.sent() == (again,)


@pytest.mark.parametrize("outcome", ["won", "lost"])
def test_a_decided_quote_stays_as_it_was_decided(ledger, outcome):
    """The price that was won or lost is history; sending the number again does not change it."""
    ledger.record(QUOTE)
    decided = ledger.decide(QUOTE.number, outcome)
    assert decided == dataclasses.replace(QUOTE, outcome=outcome)
    assert ledger.record(dataclasses.replace(QUOTE, price=Decimal(1))) == decided
    assert ledger.sent() == (decided,)


def test_an_outcome_may_be_put_right(ledger):
    """A slip of the hand is no history: lost becomes won, or open again and is replaced."""
    ledger.record(QUOTE)
    ledger.decide(QUOTE.number, "lost")
    assert ledger.decide(QUOTE.number, "won").outcome == "won"
    assert ledger.decide(QUOTE.number, "open") == QUOTE
    again = dataclasses.replace(QUOTE, cost_mean=1.0)
    assert ledger.record(again) == again


def test_a_quote_of_the_past_may_be_recorded_with_its_outcome(ledger):
    """History from before the ledger goes in decided."""
    past = dataclasses.replace(QUOTE, number="2019-3", outcome="won")
    assert ledger.record(past) == past
    assert ledger.sent() == (past,)


def test_deciding_touches_one_quote_only(ledger):
    """The other quotes stay open."""
    ledger.record(QUOTE)
    other = ledger.record(dataclasses.replace(QUOTE, number="2026-015"))
    ledger.decide(QUOTE.number, "won")
    assert other in ledger.sent()


def test_an_unknown_number_names_the_nearest(ledger):
    """A mistyped number is not decided; the ones like it are offered."""
    ledger.record(QUOTE)
    ledger.record(dataclasses.replace(QUOTE, number="K-7"))
    with pytest.raises(BadInput, match=r'"2026-14".* Did you mean "2026-014"\?'):
        ledger.decide("2026-14", "won")
    assert all(sent.outcome == "open" for sent in ledger.sent())


def test_an_unknown_outcome_is_refused(ledger):
    """Only what is known can come of a quote."""
    ledger.record(QUOTE)
    with pytest.raises(BadInput, match=r'"wonn" is no outcome.*Did you mean "won"'):
        ledger.decide(QUOTE.number, "wonn")
    with pytest.raises(BadInput, match="Allowed: open, won, lost"):
        ledger.decide(QUOTE.number, "accepted")


def test_every_fault_of_a_quote_is_told_at_once():
    """No number, no price, no cost and no outcome: four faults."""
    with pytest.raises(BadInput) as caught:
        dataclasses.replace(QUOTE, number=" ", price=Decimal("-1"), cost_mean=math.nan,
                            outcome="gone")
    assert len(caught.value.faults) == 4
    assert "The price" in str(caught.value)
    assert "nan" in str(caught.value)
