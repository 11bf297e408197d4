"""Files that appear whole or not at all, whatever stops the program on the way.

What is written is written beside its place, brought to the disk, and then moved there in one step.
A program that is killed leaves at most a file or folder named `.estimator-…part`, which nobody
reads; the next one that writes there takes it away once it is an hour old. Of files that belong
together it may leave some that were not moved yet, in a folder that says so.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import tempfile
import time
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

_MARK, _END = ".estimator-", ".part"
NOT_FINISHED = "not-finished-by-estimator"
"""Holds the files of a set that are still to be moved up; what is beside it may be of before."""
_FORGOTTEN = 3600.0
"""Seconds after which nobody writes to a part any more."""


def write(path: Path | str, data: bytes, *, new: bool = False) -> None:
    """Write a file whole or not at all; what stood there before stands there until then.

    Parameters
    ----------
    path
        Where; its folder must be there. A link of that name is replaced and not followed: it
        could lead anywhere.
    new
        Refuse to replace a file that is there.

    Raises
    ------
    OSError
        As the system says it; FileExistsError for a file that is there and is not to be replaced.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(Path(folder, "a.txt"), b"one")
    ...     write(Path(folder, "a.txt"), b"two")
    ...     [(path.name, path.read_bytes()) for path in Path(folder).iterdir()]
    [('a.txt', b'two')]
    """
    with beside(path, new=new) as part:
        part.write_bytes(data)


@contextlib.contextmanager
def beside(path: Path | str, *, new: bool = False) -> Iterator[Path]:
    """A name beside `path` to write to; moved there if the block ends well, else taken away.

    Raises
    ------
    OSError
        As `write`.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with beside(Path(folder, "a.txt")) as part:
    ...         _ = part.write_text("whole")
    ...     Path(folder, "a.txt").read_text()
    'whole'
    """
    path = Path(path)
    _tidy(path.parent)
    part = path.with_name(f"{_MARK}{secrets.token_hex(6)}{_END}")
    try:
        yield part
        to_disk(part)
        if not path.is_symlink():
            with contextlib.suppress(OSError):
                shutil.copymode(path, part)
        _move(part, path, new)
        to_disk(path.parent)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


@contextlib.contextmanager
def aside(folder: Path | str) -> Iterator[Path]:
    """A folder inside `folder` to make ready in what belongs together; it is gone afterwards.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with aside(folder) as made:
    ...         _ = (made / "a.txt").write_text("ready")
    ...         _ = (made / "a.txt").replace(Path(folder, "a.txt"))
    ...     [path.name for path in Path(folder).iterdir()]
    ['a.txt']
    """
    _tidy(Path(folder))
    made = Path(tempfile.mkdtemp(prefix=_MARK, suffix=_END, dir=folder))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


@contextlib.contextmanager
def whole(folder: Path | str) -> Iterator[Path]:
    """A folder to fill that takes the place of `folder` if the block ends well, else is gone.

    Parameters
    ----------
    folder
        Where; nothing may be in it. Folders that it lies in are made.

    Raises
    ------
    OSError
        As the system says it, also for a folder with something in it.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as place:
    ...     with whole(Path(place, "new")) as made:
    ...         _ = (made / "a.txt").write_text("ready")
    ...     [path.name for path in Path(place, "new").iterdir()]
    ['a.txt']
    """
    folder = Path(folder).resolve()
    folder.parent.mkdir(parents=True, exist_ok=True)
    with aside(folder.parent) as part:
        made = part / folder.name
        made.mkdir(0o700)
        yield made
        if folder.exists():
            folder.rmdir()
        made.rename(folder)
    to_disk(folder.parent)


def write_set(made: Mapping[str, bytes], folder: Path | str) -> None:
    """Write files that belong together: all of them, or none if anything goes wrong.

    A program that is killed while it moves them leaves those that are still to come in a folder
    `NOT_FINISHED`, for people to see; the next set that is written there moves them up first.

    Parameters
    ----------
    made
        Bytes of each file by its name; files of the same names are replaced.
    folder
        Where; it must be there.

    Raises
    ------
    OSError
        As the system says it; then those that stood there before stand there still.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_set({"a.txt": b"1", "b.txt": b"2"}, folder)
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['a.txt', 'b.txt']
    """
    folder = Path(folder)
    finish(folder)
    with aside(folder) as new, aside(folder) as old:
        for name, data in made.items():
            target = folder / name
            if target.is_dir():
                raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), name)
            (new / name).write_bytes(data)
            to_disk(new / name)
            if os.path.lexists(target):
                shutil.copy2(target, old / name, follow_symlinks=False)
        to_disk(new)
        new.rename(folder / NOT_FINISHED)
        try:
            finish(folder)
        except BaseException:
            _put_back(made, folder / NOT_FINISHED, old, folder)
            (folder / NOT_FINISHED).rename(new)
            raise


def finish(folder: Path | str) -> None:
    """Move up what a set still lacks, if anything."""
    folder = Path(folder)
    coming = folder / NOT_FINISHED
    if not coming.is_dir():
        return
    for path in sorted(coming.iterdir()):
        with contextlib.suppress(FileNotFoundError):  # another program moved it
            path.replace(folder / path.name)
    to_disk(folder)
    with contextlib.suppress(OSError):  # somebody looks into it: gone with the next set
        coming.rmdir()


def _put_back(names: Collection[str], new: Path, old: Path, folder: Path) -> None:
    """What stood in `folder` before, of all that is not in `new` any more.

    Through `new`, so that it is always the new set that a kill leaves to be finished. One that is
    held meanwhile stays new, and whole; the others are put back.
    """
    for name in names:
        if not (new / name).exists():
            with contextlib.suppress(OSError):
                (folder / name).replace(new / name)
    for name in names:
        if os.path.lexists(old / name):
            with contextlib.suppress(OSError):
                (old / name).replace(folder / name)


def to_disk(path: Path) -> None:
    """Wait until a file is on the disk, or a folder's names are, where the system can say so.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "a.txt")
    ...     size = path.write_text("kept", encoding="utf-8")
    ...     to_disk(path)
    ...     to_disk(path.parent)
    """
    if path.is_dir():
        # Some systems open no folders: there the names come by themselves.
        with contextlib.suppress(OSError):
            _sync(path, os.O_RDONLY)
    else:
        _sync(path, os.O_RDWR)


def _sync(path: Path, how: int) -> None:
    held = os.open(path, how)
    try:
        os.fsync(held)
    finally:
        os.close(held)


def _move(part: Path, path: Path, new: bool) -> None:
    if not new:
        os.replace(part, path)
    elif os.name == "nt":
        os.rename(part, path)  # which refuses there what stands there
    else:
        try:
            os.link(part, path)
        except FileExistsError:
            raise
        except OSError:  # a file system without hard links
            if os.path.lexists(path):
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
            os.replace(part, path)


def _tidy(folder: Path) -> None:
    """Take away what a killed program left; nobody else's business is ever a reason to stop."""
    with contextlib.suppress(OSError):
        for path in folder.glob(f"{_MARK}*{_END}*"):
            with contextlib.suppress(OSError):
                if time.time() - path.lstat().st_mtime > _FORGOTTEN:
                    if path.is_dir():
                        shutil.rmtree(path, ignore_errors=True)
                    else:
                        path.unlink()
