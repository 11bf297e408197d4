"""A whole list judged: in pieces kept when done, on all processors here or on a Dask cluster.

A piece holds machines of one kind in an order that follows from what they are, so neither the
order of the rows, nor the size of the pieces, nor who works on them moves a figure. A finished
piece is written beside its place and then renamed; its name is a hash of all it was made from.
"""

from __future__ import annotations

import gc
import hashlib
import itertools
import json
import os
import re
import signal
import socket
import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, fields, replace
from datetime import date
from pathlib import Path

from estimator import __version__, disk
from estimator.auction.judging import Judge
from estimator.auction.records import Judged, Offered
from estimator.errors import BadInput, Fault
from estimator.reread import reread
from estimator.resale import Deal
from estimator.shop import Shop
from estimator.simulate import Stopped, processors

PIECE = 250
"""Machines in a piece."""
_TASKS_EACH = 4
"""Fewer kinds of machine are drawn sooner than a process starts."""
_WHAT = "lot-1"
"""Changed when what is kept changes, so that older pieces are not taken for it."""


def judge(machines: Sequence[Offered], terms: Deal, shop: Shop, on: date, *,
          keep: Path | str | None = None, scheduler: str | None = None, piece: int = PIECE,
          full: bool = False, workers: int | None = 1,
          progress: Callable[[int, int], bool | None] | None = None) -> list[Judged]:
    """What is said of each machine, in the order given.

    Parameters
    ----------
    terms
        How machines are bought and sold; its value and asking price do not count.
    keep
        Folder for finished pieces, which a later run of the same takes up again.
    scheduler
        Address of a Dask scheduler, whose workers then do it; the figures are the same.
    full
        Play the trials of every machine, however clear.
    workers
        Processes here; None takes one for each processor, up to four, where there are enough kinds
        of machine. The figures are the same for any number. A script that asks for more than one
        starts anew in each, so it must keep its own work under `if __name__ == "__main__":`.
    progress
        Told how many are done, of how many; if it answers False, `Stopped` is raised. What was
        finished is kept.

    Raises
    ------
    BadInput
        If the cluster cannot be used, or the folder not be written.

    Examples
    --------
    >>> from estimator.catalogue import Era
    >>> from estimator.shop import open_shop
    >>> one = Offered("7", Era.DOT_MATRIX, "working", 4000, asking=1500)
    >>> (said,) = judge([one], Deal(1, trials=500), open_shop(), date(2026, 3, 2))
    >>> said.limit > 1500
    True
    """
    base = _base(terms, shop, full)
    pieces = [(_hash(base, *(_content(machines[place]) for place in places)), places)
              for places in _pieces(machines, piece)]
    folder = None if keep is None else _folder(Path(keep))
    found: list[Judged | None] = [None] * len(machines)
    done = 0

    def take(places: Sequence[int], said: Sequence[Judged]) -> None:
        nonlocal done
        for place, one in zip(places, said, strict=True):
            found[place] = one
        done += len(places)
        if progress is not None and progress(done, len(machines)) is False:
            raise Stopped("The list was stopped; finished pieces are kept.")

    waiting = []
    for key, places in pieces:
        said = None if folder is None else _kept(folder / f"{key}.json", len(places))
        if said is None:
            waiting.append((key, places))
        else:
            take(places, said)
    if scheduler is not None:
        work = _cluster(scheduler, waiting, machines, terms, shop, on, full)
    else:
        if workers is None:
            kinds = {_kind(machines[places[0]]) for _, places in waiting}
            workers = _workers(len(waiting if full else kinds))
        work = _here(waiting, machines, terms, shop, on, full) if workers < 2 else \
            _beside(workers, base, waiting, machines, terms, shop, on, full)
    for key, places, said in work:
        if folder is not None:
            _keep(folder / f"{key}.json", said)
        take(places, said)
    if folder is not None:
        _tidy(folder, {key for key, _ in pieces})
    return found


_Pieces = Iterable[tuple[str, Sequence[int], Sequence[Judged]]]


def _here(waiting, machines, terms, shop, on, full) -> _Pieces:
    judges = Judge(terms, shop, on)
    for key, places in waiting:
        yield key, places, judges.of([machines[place] for place in places], full=full)


def _workers(tasks: int) -> int:
    """How many processes are worth their start, for so much to do."""
    return min(processors(), tasks // _TASKS_EACH)


def _beside(count: int, base: str, waiting, machines, terms, shop, on, full) -> _Pieces:
    """This process and others beside it, each at pieces next to each other, which have most in
    common: the others from the end of their span, this one from the front of all that is left."""
    import multiprocessing
    from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
    from concurrent.futures.process import BrokenProcessPool

    fresh = multiprocessing.get_context("spawn")
    here = Judge(terms, shop, on)
    pools = [ProcessPoolExecutor(1, fresh, _begin, gc.get_threshold())
             for _ in range(count - 1)]
    # The first of the others shares a span of twice the length with this process.
    edges = [0, *(len(waiting) * k // count for k in range(2, count + 1))]
    spans = [deque(waiting[start:end]) for start, end in itertools.pairwise(edges)]
    given: dict[Future, tuple[str, Sequence[int]]] = {}
    lock = threading.RLock()

    def hand(pool, span) -> None:
        """Give a process its next piece, and another whenever it is done with one."""
        def again(done: Future) -> None:
            if not (done.cancelled() or done.exception()):
                hand(pool, span)

        with lock:
            if not span:
                return
            group = [machines[place] for place in span[-1][1]]
            try:
                future = pool.submit(_piece, base, group, full)
            except RuntimeError:
                # It takes no more: the list was stopped, or its process is gone.
                return
            given[future] = span.pop()
            future.add_done_callback(again)

    try:
        for pool, span in zip(pools, spans, strict=True):
            # As work, not with the start: that would have this process wait until it is read.
            pool.submit(_ready, base, terms, shop, on)
            # One at work, one at hand.
            hand(pool, span)
            hand(pool, span)
        while True:
            for future in [future for future in list(given) if future.done()]:
                said = future.result()
                yield *given.pop(future), said
            with lock:
                mine = next((span.popleft() for span in spans if span), None)
            if mine is not None:
                key, places = mine
                yield key, places, here.of([machines[place] for place in places], full=full)
            elif given:
                wait(list(given), return_when=FIRST_COMPLETED)
            else:
                return
    except BrokenProcessPool:
        # A process was killed, for want of memory perhaps: what is left is done in this one.
        _shut(pools)
        left = [*given.values(), *itertools.chain.from_iterable(spans)]
        yield from _here(left, machines, terms, shop, on, full)
    finally:
        _shut(pools)


def _shut(pools) -> None:
    for pool in pools:
        pool.shutdown(wait=False, cancel_futures=True)


_JUDGES: dict[str, Judge] = {}
"""That of a worker, by what its figures depend on; it keeps what machines of one kind share."""


def _begin(*seldom: int) -> None:
    """A worker begins. A stop is for who started it to hear, and it ends when they do.

    It looks for what it could let go as `seldom` as they do: it keeps nearly all that it makes.
    """
    import multiprocessing

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(*seldom)

    def watch() -> None:
        multiprocessing.parent_process().join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _ready(base: str, terms: Deal, shop: Shop, on: date) -> None:
    _JUDGES.clear()
    _JUDGES[base] = Judge(terms, shop, on)


def _piece(base: str, group: Sequence[Offered], full: bool) -> list[Judged]:
    return _JUDGES[base].of(group, full=full)


def _far(base: str, group: Sequence[Offered], terms: Deal, shop: Shop, on: date, full: bool
         ) -> list[Judged]:
    """A piece on a worker of a cluster, which serves one list after another."""
    if base not in _JUDGES:
        _ready(base, terms, shop, on)
    return _piece(base, group, full)


def _cluster(address: str, waiting, machines, terms, shop, on, full) -> _Pieces:
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise BadInput(Fault("Dask is not installed here.",
                             'Install it: pip install "restoration-estimator[cluster]".',
                             column="--scheduler")) from None
    _answers(address)
    client = Client(address, timeout="10s", set_as_default=False)
    try:
        versions = client.run(_version)
        if not versions:
            raise BadInput(Fault(f'The scheduler at "{address}" has no workers.',
                                 f"Start some with: dask worker {address}.",
                                 column="--scheduler"))
        other = sorted({version for version in versions.values() if version != __version__})
        if other:
            raise BadInput(Fault(
                f"Workers run version {', '.join(map(str, other))}, here is {__version__}.",
                "Install the same on all.", column="--scheduler"))
        base = _base(terms, shop, full)
        (held,) = client.scatter([_without_address(shop)], broadcast=True)
        futures = {client.submit(_far, base, [machines[place] for place in places], terms, held,
                                 on, full, pure=False): (key, places)
                   for key, places in waiting}
        for future, said in as_completed(futures, loop=client.loop, with_results=True):
            yield (*futures[future], said)
    finally:
        client.close()


def _without_address(shop: Shop) -> Shop:
    """The shop as workers need it: not where its ledger is, and the word that opens it."""
    return replace(shop, settings=shop.settings.model_copy(update={"ledger": ""}))


def _answers(address: str) -> None:
    """Is somebody there? Asked before the library is, which is long in giving up."""
    where = re.fullmatch(r"(?:(?:tcp|tls)://)?\[?([^/\s]+?)\]?:([0-9]{1,5})", address.strip())
    fix = "Start one with: dask scheduler; then name it as tcp://HOST:8786."
    if where is None:
        raise BadInput(Fault(f'"{address}" is no address of a Dask scheduler.', fix,
                             column="--scheduler"))
    try:
        socket.create_connection((where[1], int(where[2])), timeout=10).close()
    except (OSError, OverflowError, UnicodeError) as error:
        said = getattr(error, "strerror", None) or error
        raise BadInput(Fault(f'No Dask scheduler answers at "{address}" ({said}).', fix,
                             column="--scheduler")) from None


def _version() -> str:
    return __version__


# --- pieces ---------------------------------------------------------------------------------


def _pieces(machines: Sequence[Offered], most: int) -> list[list[int]]:
    """Places of the machines of each piece: one kind each, in the order of their contents."""
    kinds: dict[str, list[tuple[str, int]]] = {}
    for place, one in enumerate(machines):
        kinds.setdefault(_kind(one), []).append((_content(one), place))
    found = []
    for kind in sorted(kinds):
        ordered = [place for _, place in sorted(kinds[kind])]
        found += [ordered[at:at + most] for at in range(0, len(ordered), most)]
    return found


def _kind(one: Offered) -> str:
    return f"{one.era} {one.found} {_survey(one)}"


def _content(one: Offered) -> str:
    """All that a machine's figures depend on."""
    return (f"{one.era} {one.found} {one.value!r} {one.value_low!r} {one.value_high!r} "
            f"{one.asking!r} {one.bad!r} {_survey(one)}")


def _survey(one: Offered) -> str:
    return "" if one.survey is None else _hash(repr(one.survey.lines), one.survey.machine.era)


def _hash(*parts: object) -> str:
    return hashlib.blake2b("\0".join(map(str, parts)).encode("utf-8", "surrogatepass"),
                           digest_size=16).hexdigest()


def _base(terms: Deal, shop: Shop, full: bool) -> str:
    """All that the figures of every machine depend on; the day does not move them."""
    tables = [list(rows.values()) for rows in shop.catalogue.tables.values()]
    return _hash(_WHAT, __version__, repr(shop.settings), repr(tables),
                 replace(terms, on=None, ready_by=None), full)


def _folder(path: Path) -> Path:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(Fault(f"The folder cannot be made ({error.strerror or error}).",
                             "Choose another folder.", str(path))) from None
    return path


_FIELDS = tuple(field.name for field in fields(Judged))


def _kept(path: Path, count: int) -> list[Judged] | None:
    """A finished piece, or None where there is none that can be used."""
    try:
        rows = reread(list[list], json.loads(path.read_bytes()))
        found = reread(list[Judged], [dict(zip(_FIELDS, row, strict=True)) for row in rows])
    except (OSError, ValueError, RecursionError):
        return None
    return found if len(found) == count else None


def _keep(path: Path, said: Sequence[Judged]) -> None:
    rows = [[asdict(one)[name] for name in _FIELDS] for one in said]
    try:
        # Figures are written so that reading gives them back to the last bit.
        disk.write(path, json.dumps(rows).encode())
    except OSError as error:
        raise BadInput(Fault(f"A finished piece cannot be written ({error.strerror or error}).",
                             "Make room, or choose another folder.", str(path.parent))) from None


def _tidy(folder: Path, keys: set[str]) -> None:
    """Drop pieces of earlier lists."""
    for path in folder.glob("*.json"):
        if path.stem not in keys:
            path.unlink(missing_ok=True)


__all__ = ["judge"]
