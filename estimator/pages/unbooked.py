"""What stands in the forms of a page and was not booked yet: a file in the shop folder for each
window, which nobody else writes to, so that no window takes another's words away."""

from __future__ import annotations

import contextlib
import json
import re
import time
from collections.abc import Mapping
from pathlib import Path

from estimator import disk
from estimator.ledger import new_key

FOLDER = "typed"
"""In the shop folder."""
_KIND = "typed"
_KEY = re.compile(rf"{_KIND}-[0-9a-f]+")
_KEPT_DAYS = 60
"""So long after its last word a file is kept that nobody opened again."""

Forms = dict[str, dict[str, str]]


class Unbooked:
    """Forms of one window, by name.

    A window that is opened again goes on with its own words; a new one with those of all windows,
    where they differ with those of the one that was typed into last.

    Parameters
    ----------
    shop_folder
        Where they are kept.
    key
        Of the window that is opened again; what is no such key is none.

    Attributes
    ----------
    key
        What opens this window again.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     one, other = Unbooked(Path(folder)), Unbooked(Path(folder))
    ...     kept = one.keep("hours", {"note": "of one"}), other.keep("hours", {"note": "of other"})
    ...     again, new = Unbooked(Path(folder), one.key), Unbooked(Path(folder))
    >>> kept, again.of("hours"), new.of("hours")
    ((True, True), {'note': 'of one'}, {'note': 'of other'})
    """

    def __init__(self, shop_folder: Path, key: str | None = None):
        self._folder = Path(shop_folder) / FOLDER
        # A key of its own each time: two windows may have been opened by one address.
        self.key = new_key(_KIND)
        known = bool(key) and _KEY.fullmatch(key) is not None
        self._forms = (known and _read(self._path(key))) or self._latest()

    def of(self, form: str) -> dict[str, str]:
        """What stood in a form when it was last on the screen."""
        return dict(self._forms.get(form, {}))

    def keep(self, form: str, values: Mapping[str, str]) -> bool:
        """Keep what stands in a form; whether anything was written."""
        if self._forms.get(form) == dict(values):
            return False
        self._forms[form] = dict(values)
        said = json.dumps(self._forms, ensure_ascii=False, indent=1)
        # What was typed stands on the screen too: a folder that cannot be written is no reason to
        # stop somebody's work.
        with contextlib.suppress(OSError):
            self._folder.mkdir(exist_ok=True)
            disk.write(self._path(self.key), said.encode("utf-8", "replace"))
            return True
        return False

    def _path(self, key: str) -> Path:
        return self._folder / f"{key}.json"

    def _latest(self) -> Forms:
        """Forms of all windows; of one that several hold, that of the last."""
        found: Forms = {}
        for _, path in sorted(self._files()):
            found |= _read(path)
        return found

    def _files(self) -> list[tuple[float, Path]]:
        """Files with the time of their last word; those long forgotten are taken away."""
        found = []
        for path in self._folder.glob(f"{_KIND}-*.json"):
            with contextlib.suppress(OSError):
                when = path.lstat().st_mtime
                if time.time() - when > _KEPT_DAYS * 24 * 3600:
                    path.unlink()
                else:
                    found.append((when, path))
        return found


def _read(path: Path) -> Forms:
    """Forms of a file; none of one that is not there, is damaged, or leads somewhere else."""
    try:
        held = {} if path.is_symlink() else json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return {str(form): {str(name): str(value) for name, value in values.items()}
            for form, values in held.items() if isinstance(values, dict)} \
        if isinstance(held, dict) else {}
