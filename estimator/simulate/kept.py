"""What was drawn is kept for the next time, as far as it fits into so many bytes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable

MOST_BYTES = 512 * 2**20
_MISSING = object()


class Kept:
    """Results by what they were made from; the longest unused go first when room runs short.

    Several threads may use it. What two of them make at once is made twice, and is the same.

    Examples
    --------
    >>> kept = Kept(100)
    >>> kept.get("a", lambda: ("made", 60)), kept.get("b", lambda: ("made", 60))
    ('made', 'made')
    >>> kept.get("b", lambda: ("made again", 60)), kept.get("a", lambda: ("made again", 60))
    ('made', 'made again')
    """

    def __init__(self, most_bytes: int = MOST_BYTES):
        self._most = most_bytes
        self._lock = threading.Lock()
        self.clear()

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._found: OrderedDict[Hashable, tuple[object, int]] = OrderedDict()
            self._bytes = 0

    def look(self, key: Hashable, missing: object = None):
        """What was kept under `key`, or `missing`."""
        with self._lock:
            # Out and in again: it is the last to go now.
            found = self._found.pop(key, None)
            if found is None:
                return missing
            self._found[key] = found
            return found[0]

    def get(self, key: Hashable, make: Callable[[], tuple[object, int]]):
        """What was kept under `key`, or what `make` gives: the thing and its size in bytes."""
        found = self.look(key, _MISSING)
        if found is not _MISSING:
            return found
        thing, size = make()
        with self._lock:
            if key not in self._found and size <= self._most:
                self._found[key] = thing, size
                self._bytes += size
                while self._bytes > self._most:
                    self._bytes -= self._found.popitem(last=False)[1][1]
        return thing


__all__ = ["Kept"]
