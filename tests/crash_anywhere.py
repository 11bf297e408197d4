"""Kills a writer at every step it takes on the disk; run as a program by `test_faults`.

    python tests/crash_anywhere.py WRITER FOLDER

For each step (a file opened to be written, renamed, linked or taken away; and a file that grows
past one size or another, with SQLite's among them) a process of its own is started on a fresh
folder and killed there. Then every file must be as it was or as it would have become, and the same
act must succeed. Prints JSON: how many steps there were, and what was wrong.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from test_ledger import SECOND_SCHEMA

from estimator import disk, documents, ledger, survey
from estimator.catalogue import Era, load
from estimator.ledger import FILE, Draft, Ledger
from estimator.review import evidence, proposals
from estimator.shop import new_shop, open_shop

STEPS = frozenset({"os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.link", "sqlite3.connect"})
WRITES = os.O_WRONLY | os.O_RDWR
KEY = "flipper-rebuild"


@dataclass(frozen=True)
class Writer:
    """What is there before, what writes, and what a folder says of itself afterwards."""

    before: Callable[[Path], object]
    act: Callable[[Path], object]
    says: Callable[[Path], object]
    every: int = 1


def files(folder: Path) -> dict[str, bytes]:
    """Every file but parts that nobody reads."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*"))
            if path.is_file() and ".estimator-" not in str(path)}


def drafts(folder: Path) -> list:
    """What the ledger holds, which must be whole; none is as good as an empty one."""
    opened = Ledger(folder, "")
    try:
        return [(one.key, one.title) for one in opened.drafts()] + [
            one.number for one in opened.sent()]
    finally:
        opened.close()


def kept(folder: Path) -> list:
    """The ledger, and those that were copied from it."""
    found = [drafts(folder)]
    for path in sorted(folder.glob("kept*")):
        (folder / "aside").mkdir()
        shutil.copyfile(path, folder / "aside" / FILE)
        found.append(drafts(folder / "aside"))
        shutil.rmtree(folder / "aside")
    return found


def _save(folder: Path, title: str = "one") -> None:
    opened = Ledger(folder, "")
    held = opened.draft("a")
    if held is None or held.title != title:
        opened.save(Draft("a", title, {"x": "y" * 5000}, held.revision if held else 0))
    opened.close()


def _backup(folder: Path) -> None:
    opened = Ledger(folder, "")
    (folder / "kept").unlink(missing_ok=True)
    ledger.backup(opened, folder / "kept")
    opened.close()


def _export(folder: Path) -> None:
    opened = Ledger(folder, "")
    shutil.rmtree(folder / "out", ignore_errors=True)
    ledger.export(opened, folder / "out")
    opened.close()


def _exported(folder: Path) -> list:
    """All files or none; of the one that says when it was made, only that it is there."""
    return [(path.name, path.name == "ledger.json" or path.read_bytes())
            for path in sorted((folder / "out").glob("*"))]


def _restore(folder: Path) -> None:
    opened = Ledger(folder, "")
    ledger.restore(opened, folder / "kept")
    opened.close()


def _backed_up(folder: Path, harm: bool) -> None:
    _save(folder)
    _backup(folder)
    _save(folder, "two")
    if harm:
        (folder / FILE).write_bytes((folder / FILE).read_bytes()[:9000])


def _restored(folder: Path) -> list | str:
    """What is held; "damaged" is as it was."""
    try:
        return drafts(folder)
    except ledger.opening.Damaged:
        return "damaged"


def _older(folder: Path) -> None:
    connection = sqlite3.connect(folder / FILE)
    connection.executescript(SECOND_SCHEMA)
    connection.close()


def _version(folder: Path) -> list:
    """Of the database as it lies there, and what it holds of old."""
    connection = sqlite3.connect(folder / FILE)
    found = [connection.execute(said).fetchall() for said in (
        "PRAGMA user_version", "PRAGMA integrity_check", "SELECT key, title FROM drafts")]
    connection.close()
    return found


def _survey(folder: Path, era: Era) -> None:
    survey.write(survey.template(era, TABLES), folder / "survey.csv", TABLES)


def _papers(folder: Path, mark: str) -> None:
    documents.put({f"{name}.csv": (mark * 3000).encode() for name in "abc"}, folder / "out")


def _set_of_papers(folder: Path) -> list:
    """All of one set; where some are still to be moved, a folder says so and they lie in it."""
    disk.finish(folder / "out")
    return sorted(files(folder).items())


def _accept(folder: Path) -> None:
    shop = open_shop(folder / "shop")
    if any(one.key == KEY for one in proposals.decisions(shop)):
        return
    typical = evidence.row_of(shop.catalogue, KEY).typical
    proposals.accept(shop, proposals.Proposal(
        KEY, KEY, "h per each", typical, 2 * typical, typical, 3 * typical, 2.0,
        (evidence.Evidence("a", 1, 2),)))


def _accepted(folder: Path) -> list:
    """Table and log, which say the same."""
    shop = open_shop(folder / "shop")
    return [evidence.row_of(shop.catalogue, KEY).typical,
            [one.key for one in proposals.decisions(shop)]]


def _shop(folder: Path) -> None:
    if not (folder / "shop" / "shop.toml").exists():
        new_shop(folder / "shop")


TABLES = load()
WRITERS = {
    "survey": Writer(lambda f: _survey(f, Era.MODERN), lambda f: _survey(f, Era.DOT_MATRIX),
                     files),
    "papers": Writer(lambda f: _papers(f, "old "), lambda f: _papers(f, "new "),
                     _set_of_papers),
    "new-papers": Writer(lambda f: None, lambda f: _papers(f, "new "), _set_of_papers),
    "new-shop": Writer(lambda f: None, _shop, files, every=5),
    "proposal": Writer(_shop, _accept, _accepted, every=2),
    "new-ledger": Writer(lambda f: None, _save, drafts),
    "draft": Writer(_save, lambda f: _save(f, "two"), drafts),
    "migration": Writer(_older, drafts, _version),
    "backup": Writer(_save, _backup, kept),
    "export": Writer(_save, _export, _exported, every=6),
    "restore": Writer(lambda f: _backed_up(f, False), _restore, drafts),
    "restore-damaged": Writer(lambda f: _backed_up(f, True), _restore, _restored, every=2),
}


def _watch(folder: Path, tell: Callable[[], object]) -> None:
    """Call `tell` before each step that is taken in `folder`."""
    def hook(event: str, given: tuple) -> None:
        if event == "open":
            if not given[2] or not given[2] & WRITES:
                return
        elif event not in STEPS:
            return
        place = given[0]
        if isinstance(place, bytes | str | os.PathLike) and (
                str(folder) in os.fsdecode(place) or given[-1] not in (-1, given[0])):
            tell()
    sys.addaudithook(hook)


def _run(folder: Path, act: Callable, at: int = 0, most: int = 0) -> tuple[bool, int]:
    """Act in a process of its own, killed before step `at` or when a file grows past `most`.

    Returns whether it came to its end, and how many steps it took.
    """
    told, pipe = os.pipe()
    child = os.fork()
    if not child:
        steps = 0

        def tell() -> None:
            nonlocal steps
            steps += 1
            os.write(pipe, b".")
            if steps == at:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.stdout = sys.stderr
        os.dup2(2, 1)
        try:
            _watch(folder, tell)
            if most:
                signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
                resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
            act(folder)
        except BaseException as error:
            print(repr(error), file=sys.stderr)
            os._exit(1)
        os._exit(0)
    os.close(pipe)
    steps = 0
    while more := os.read(told, 1 << 12):
        steps += len(more)
    os.close(told)
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise RuntimeError(f"step {at}, size {most}: it failed")
    return os.WIFEXITED(status), steps


def _mixed(now, old, new) -> bool:
    """Whether something is neither as it was nor as it becomes; files are looked at one by one."""
    if isinstance(now, dict):
        return any(now.get(name) not in (old.get(name), new.get(name)) for name in {*now, *old})
    return now not in (old, new)


def main(name: str, base: Path) -> dict:
    """Kill a writer everywhere."""
    writer, wrong, points = WRITERS[name], [], 0
    start, place = base / "start", base / "place"
    start.mkdir()
    # What takes long to load is loaded before the forks.
    (base / "warm").mkdir()
    _save(base / "warm")
    _run(start, writer.before)

    def fresh() -> Path:
        shutil.rmtree(place, ignore_errors=True)
        return Path(shutil.copytree(start, place))

    old = writer.says(fresh())
    _, steps = _run(fresh(), writer.act)
    new = writer.says(place)
    sizes = sorted({path.stat().st_size for path in place.rglob("*") if path.is_file()})
    largest = sizes[-1]
    cuts = sorted({1, *(max(1, share * largest // 6) for share in range(1, 6))})
    for at, most in [*((at, 0) for at in range(1, steps + 1)), *((0, cut) for cut in cuts)]:
        if at % writer.every:
            continue
        points += 1
        ended, _ = _run(fresh(), writer.act, at, most)
        if not ended:
            now = writer.says(place)
            if _mixed(now, old, new):
                wrong.append([at, most, "half"])
        _run(place, writer.act)
        if writer.says(place) != new:
            wrong.append([at, most, "not done again"])
    return {"points": points, "changed": old != new, "wrong": wrong}


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], Path(sys.argv[2]))))
