"""The ledger keeps drafts, refuses older ones, and says in plain words what is wrong."""

import sqlite3
import threading

import pytest

from estimator.errors import BadInput
from estimator.ledger import FILE, Draft, Ledger, Stale, new_key

CONTENT = {
    "lines": [{"assembly": "flipper", "count": 3, "note": 'a "note", ünïcode'}],
    "level": None,
}


@pytest.fixture
def ledger(tmp_path):
    """A ledger in a folder of its own, closed at the end."""
    found = Ledger(tmp_path)
    yield found
    found.close()


def test_looking_makes_no_file(ledger):
    """A ledger that is only read leaves the folder as it was."""
    assert ledger.drafts() == ()
    assert ledger.latest() is None
    assert ledger.draft("a") is None
    ledger.forget("a")
    assert not ledger.path.exists()


def test_what_is_saved_comes_back_in_another_process_of_ours(ledger, tmp_path):
    """A second ledger on the same folder reads the draft as it was saved."""
    kept = ledger.save(Draft("a", "Harbour Lights", CONTENT))
    other = Ledger(tmp_path)
    assert other.draft("a") == kept
    assert other.draft("a").content == CONTENT
    other.close()


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


def test_of_many_windows_that_save_at_once_exactly_one_wins(ledger, tmp_path):
    """The look and the save are one step: no two saves build on the same revision."""
    start = ledger.save(Draft("a", "x", {"n": -1}))
    outcomes = []
    gate = threading.Barrier(6)

    def save(n):
        mine = Ledger(tmp_path)
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


def test_the_file_is_set_up_to_be_shared_and_to_last(ledger):
    """Write-ahead log, a wait where it is busy, foreign keys, and a version number."""
    ledger.save(Draft("a", "x", {}))
    with ledger._engine.connect() as connection:
        def pragma(name):
            return connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
        assert pragma("journal_mode") == "wal"
        assert pragma("foreign_keys") == 1
        assert pragma("busy_timeout") >= 1000
        assert pragma("user_version") == 1


def test_a_file_that_is_no_ledger_is_reported_in_plain_words(tmp_path):
    """Bytes that are not a database: the file is named and what to do is said."""
    (tmp_path / FILE).write_bytes(b"not a database" * 100)
    ledger = Ledger(tmp_path)
    with pytest.raises(BadInput, match=r"cannot be used.*Move the file away"):
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


def test_a_folder_that_is_not_there_is_reported_in_plain_words(tmp_path):
    """Nothing can be kept in a folder that does not exist, and that is said."""
    ledger = Ledger(tmp_path / "nowhere")
    with pytest.raises(BadInput, match="cannot be written"):
        ledger.save(Draft("a", "x", {}))
    ledger.close()


def test_keys_do_not_repeat():
    """A thousand keys are a thousand different ones."""
    assert len({new_key() for _ in range(1000)}) == 1000
