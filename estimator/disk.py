"""Files that appear whole or not at all, whatever stops the program on the way.

What is written is written beside its place, brought to the disk, and then moved there in one step.
A program that is killed leaves at most a file or folder named `.estimator-…part`, which nobody
reads; the next one that writes there takes it away once it is an hour old.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

_MARK, _END = ".estimator-", ".part"
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
