"""Whatever goes wrong while something is written: nothing lost, nothing half, said plainly."""

import contextlib
import errno
import gc
import json
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import ledgers
import pytest
from alembic.runtime.migration import MigrationContext
from ledgers import NOW, UNBILLED, with_job, worked

from estimator import disk
from estimator.errors import BadInput
from estimator.ledger import FILE, Clock, Draft, Ledger, TimeEntry, backup, export, restore
from estimator.ledger.schema import VERSION

try:
    import resource
except ImportError:  # Windows
    resource = None

HERE = Path(__file__).parent
NOBODY = 65534


@pytest.fixture
def held():
    """A folder that others may look into, with a ledger in it that holds a job and an entry."""
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o755)
        ledger = Ledger(folder)
        with_job(ledger)
        ledger.book([worked(2)], unbilled=UNBILLED, now=NOW)
        ledger.close()
        yield Path(folder)
        Path(f"{folder}-kept").unlink(missing_ok=True)
        os.chmod(folder, 0o755)


@contextlib.contextmanager
def _somebody():
    """Not root, whom no permission stops."""
    if os.geteuid():
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="permissions as POSIX has them")
@pytest.mark.parametrize("log", [False, True])
@pytest.mark.parametrize(("of_file", "of_folder"), [(0o444, 0o755), (0o644, 0o555), (0o444, 0o555)])
def test_a_ledger_that_can_only_be_read_is_read(held, tmp_path, of_file, of_folder, log):
    """File or folder for reading only, closed properly or by a kill: all is listed and copied;
    what is to be written is refused in plain words."""
    if log:
        connection = sqlite3.connect(held / FILE)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("UPDATE jobs SET name = 'In the log'")
        connection.commit()
        for path in held.iterdir():  # as they lie there while it is in use
            (tmp_path / path.name).write_bytes(path.read_bytes())
        connection.close()
        for path in tmp_path.iterdir():
            (held / path.name).write_bytes(path.read_bytes())
    for path in held.iterdir():
        path.chmod(of_file)
    held.chmod(of_folder)
    ledger, kept = Ledger(held), Path(f"{held}-kept")
    with _somebody():
        (job,) = ledger.jobs()
        assert job.name == ("In the log" if log else "Harbour Lights")
        assert len(ledger.items(job.number)) == 3
        assert [one.hours for one in ledger.entries(TimeEntry)] == [2]
        if of_file == 0o444 or not log:
            with pytest.raises(BadInput, match=r"cannot be written.*may be written"):
                ledger.book([worked(1)], unbilled=UNBILLED, sure=("overlap",), now=NOW)
            assert [one.hours for one in ledger.entries(TimeEntry)] == [2]
        ledger.close()
        backup(ledger, kept)
        ledger.close()
    assert kept.stat().st_size > 0


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing needs forks and signals")
@pytest.mark.parametrize("writer", [
    "survey", "papers", "new-papers", "new-shop", "proposal", "new-ledger", "draft",
    "migration", "backup", "export", "restore", "restore-damaged"])
def test_a_writer_that_is_killed_at_any_step_leaves_old_or_new(tmp_path, writer):
    """Before each step on the disk and in the middle of each file, SQLite's among them: every
    file is as it was or as it becomes, and the same act succeeds afterwards."""
    done = subprocess.run(
        [sys.executable, HERE / "crash_anywhere.py", writer, tmp_path], text=True,
        capture_output=True, env=os.environ | {"PYTHONPATH": str(HERE.parent)})
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert said["wrong"] == []
    assert said["points"] > 3
    assert said["changed"]


def _in_a_child(act):
    """Act in a process of its own; what it says."""
    told, pipe = os.pipe()
    child = os.fork()
    if not child:
        try:
            said = act() or ""
        except BaseException as error:
            said = f"{type(error).__name__}: {error}"
        os.write(pipe, str(said).encode())
        os._exit(0)
    os.close(pipe)
    said = b""
    while more := os.read(told, 1 << 12):
        said += more
    os.close(told)
    os.waitpid(child, 0)
    return said.decode()


def _with_room_for(most, act):
    """On a disk where no file grows past so many bytes."""
    def limited():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        return act()
    return _in_a_child(limited)


@pytest.mark.skipif(resource is None, reason="limits as POSIX has them")
@pytest.mark.parametrize("most", [1, 5_000, 40_000])
def test_on_a_full_disk_the_ledger_is_read_and_nothing_else_happens(held, tmp_path, most):
    """No room for a log, a new ledger, a backup or an export: said, and nothing left behind."""
    def ledger(folder=held):
        return Ledger(folder)

    before = {path.name: path.read_bytes() for path in held.iterdir()}
    said = _with_room_for(most, lambda: [one.hours for one in ledger().entries(TimeEntry)])
    assert said == "[2.0]"
    words = {
        "export cannot": lambda: export(ledger(), held / "out"),
        "backup cannot": lambda: backup(ledger(), held / "kept"),
        "ledger cannot be written": lambda: ledger().save(Draft("d", "x", {"y": "z" * 300_000})),
        "cannot be written": lambda: ledger(tmp_path).save(Draft("a", "x", {"y": "z" * 50_000}))}
    for wanted, act in words.items():
        # Files of an export are small.
        room = min(most, 100) if wanted.startswith("export") else most
        assert wanted in _with_room_for(room, act), wanted
    assert list(tmp_path.iterdir()) == []
    assert [path.name for path in held.iterdir() if not path.name.endswith(("-wal", "-shm"))] == [
        *before]
    opened = Ledger(held)
    assert opened.drafts() == ()
    opened.save(Draft("a", "room again", {}))
    opened.close()


def test_an_export_that_stops_half_way_stops_reading_too(held, tmp_path, monkeypatch, caplog):
    """Nothing but plain words is said: no cursor is left to be closed after its database."""
    class Full:
        """A file on a disk that is full after a row or two."""

        def __init__(self, file):
            self.file = file

        def __enter__(self):
            return self

        def __exit__(self, *_):
            self.file.close()

        def writelines(self, pieces):
            """Stop where there are more rows."""
            for number, piece in enumerate(pieces):
                if number == 2 and piece != "]}\n":
                    raise OSError(errno.ENOSPC, "No space left")
                self.file.write(piece)

    ledger = Ledger(held)
    assert len(ledger.items(ledger.jobs()[0].number)) > 1
    monkeypatch.setattr("estimator.ledger.telling.AT_ONCE", 1)
    really = Path.open
    monkeypatch.setattr(Path, "open", lambda path, mode="r", *given, **named: Full(
        really(path, mode, **named)) if mode == "w" else really(path, mode, *given, **named))
    try:
        export(ledger, tmp_path / "out")
    except BadInput as error:
        said = error
    ledger.close()
    assert "No space left" in str(said)
    del said
    gc.collect()
    assert caplog.records == []


@pytest.mark.parametrize("kind", ledgers.KINDS)
def test_a_step_that_is_killed_between_two_versions_is_taken_again(tmp_path, kind, monkeypatch):
    """After each of the steps of an older ledger: all or nothing, and the next opening goes on."""
    from sqlalchemy import inspect

    from estimator.ledger import opening

    class Killed(BaseException):
        """As by a kill: nobody tidies up."""

    with ledgers.bench(kind, tmp_path) as bench:
        engine = opening.engine_of(bench.address, tmp_path / FILE)
        with engine.begin() as connection:
            opening.migrate(connection, 0, 1)
        before = inspect(engine).get_table_names()
        engine.dispose()
        stamp = MigrationContext.stamp
        for step in range(1, VERSION + 1):
            stamped = []

            def killed(context, script, revision, step=step, stamped=stamped):
                stamp(context, script, revision)
                stamped.append(revision)
                if len(stamped) == step:
                    raise Killed
            with monkeypatch.context() as patch:
                patch.setattr(MigrationContext, "stamp", killed)
                with pytest.raises(Killed):
                    bench.ledger().drafts()
            engine = opening.engine_of(bench.address, tmp_path / FILE)
            assert inspect(engine).get_table_names() == before
            engine.dispose()
        ledger = bench.ledger()
        ledger.save(Draft("a", "x", {}))
        assert [one.key for one in ledger.drafts()] == ["a"]


def test_what_a_killed_program_left_is_taken_away_when_it_is_old(tmp_path):
    """Not sooner: another program may be writing there. Files of others are left alone."""
    for name in ("old", "new"):
        (tmp_path / f".estimator-{name}.part").write_text("half")
        (tmp_path / f".estimator-{name}x.part").mkdir()
        (tmp_path / f".estimator-{name}x.part" / "a").write_text("half")
    (tmp_path / "download.part").write_text("mine")
    for path in tmp_path.iterdir():
        if "new" not in path.name:
            os.utime(path, (time.time() - 7200,) * 2)
    disk.write(tmp_path / "a.txt", b"whole")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        ".estimator-new.part", ".estimator-newx.part", "a.txt", "download.part"]


def test_a_set_that_was_killed_is_finished_by_the_next_one(tmp_path, monkeypatch):
    """Also by one of other files; until then a folder says that old and new ones are mixed."""
    class Killed(BaseException):
        """As by a kill: nobody puts back."""

    def stop(*_):
        raise Killed

    replace, moved = Path.replace, []

    def once(path, target):
        if moved:
            raise Killed
        moved.append(target)
        return replace(path, target)
    old, new = (dict.fromkeys("abc", word) for word in (b"old", b"new"))
    disk.write_set(old, tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", once)
        patch.setattr(disk, "_put_back", stop)
        with pytest.raises(Killed):
            disk.write_set(new, tmp_path)
    held = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    assert held == old | {"a": b"new"}
    assert [path.name for path in sorted((tmp_path / disk.NOT_FINISHED).iterdir())] == ["b", "c"]
    disk.write_set({"d": b"other"}, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == new | {"d": b"other"}


def test_a_file_that_came_meanwhile_is_not_written_over(tmp_path, monkeypatch):
    """Also where the file system has no hard links."""
    (tmp_path / "a").write_text("mine")
    for _ in range(2):
        with pytest.raises(FileExistsError):
            disk.write(tmp_path / "a", b"x", new=True)
        disk.write(tmp_path / "b", b"x", new=True)
        (tmp_path / "b").unlink()

        def none(*_):
            raise OSError(errno.EPERM, "no links here")
        monkeypatch.setattr(os, "link", none)
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("a", "mine")]


def test_a_link_is_replaced_and_not_followed_and_permissions_stay(tmp_path):
    """What a link of that name leads to is none of ours; a file that others may write stays so."""
    (tmp_path / "outside").write_text("mine")
    (tmp_path / "a").symlink_to(tmp_path / "outside")
    (tmp_path / "b").write_text("old")
    (tmp_path / "b").chmod(0o664)
    disk.write(tmp_path / "a", b"new")
    disk.write(tmp_path / "b", b"new")
    assert not (tmp_path / "a").is_symlink()
    assert [(path.name, path.read_text()) for path in sorted(tmp_path.iterdir())] == [
        ("a", "new"), ("b", "new"), ("outside", "mine")]
    assert (tmp_path / "b").stat().st_mode & 0o777 == 0o664


@pytest.mark.parametrize("back", [timedelta(hours=3), timedelta(days=400)])
def test_a_clock_that_goes_back_loses_nothing(held, monkeypatch, back):
    """Entries keep their order by number, a second copy gets a name of its own, and a running
    clock that began in the future is let go or said."""
    ledger = Ledger(held)
    kept = backup(ledger, held / "kept")
    _, first = restore(ledger, kept)
    frozen_now = datetime.now(UTC)

    class Back(datetime):
        """A clock that stands still."""

        @classmethod
        def now(cls, tz=None):
            return frozen_now.astimezone(tz)
    monkeypatch.setattr("estimator.ledger.opening.datetime", Back)
    copies = {restore(ledger, kept)[1] for _ in range(3)}
    assert len(copies | {first}) == 4
    assert all(path.stat().st_size for path in copies)
    (one,) = ledger.book([worked(1)], unbilled=UNBILLED, sure=("overlap",), now=NOW)
    before = NOW - back
    (two,) = ledger.book([worked(1, day=before.date())], unbilled=UNBILLED,
                         sure=("twice", "long-ago", "before-job"), now=before)
    assert two.id > one.id
    clock = ledger.start(Clock("Anna", NOW, unbilled="ordering"), unbilled=UNBILLED, now=NOW,
                         sure=("overlap",))
    for act in (lambda: ledger.stop("Anna", unbilled=UNBILLED, now=before),
                lambda: ledger.start(Clock("Anna", before, unbilled="ordering"), now=before,
                                     unbilled=UNBILLED, sure=("switch", "overlap"))):
        with pytest.raises(BadInput, match=r"this computer says that it is .*--drop") as told:
            act()
        assert len(told.value.faults) == 1
    assert ledger.clocks() == (clock,)
    ledger.drop("Anna")
    ledger.close()
