"""Proposals: book hours that finished jobs say are off, accepted one by one and taken back.

A record is one operation in one closed job: hours booked over hours expected, of the items that
hours are booked to. What a quote expected by an older book is brought to today's, so that jobs
quoted before and after a change say the same thing. Logs of the ratios are partially pooled over
operations (`learning.pool`): few records are drawn towards what all work of the shop does. Jobs
in which everything goes slowly are not told apart; ranges are a little narrow for it.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import numpy as np

from estimator.catalogue import Catalogue, Era, read_table
from estimator.catalogue.rows import Basis, Operation
from estimator.errors import BadInput, Fault, one_of
from estimator.learning import pool
from estimator.ledger import Ledger
from estimator.review.books import books_of
from estimator.shop import Shop

FEWEST = 3
"""Jobs that must have worked on an operation before anything is proposed."""
_Z90 = 1.6449  # standard normal: 5 % above, 5 % below −1.6449
_NAMED = 20
LOG = "accepted.json"
"""Beside the tables: rows as they were before a proposal was accepted, and after."""


@dataclass(frozen=True)
class Evidence:
    """One closed job's record of an operation.

    Parameters
    ----------
    job
        Its number.
    expected
        Of the items that hours are booked to, by the book of today. [h]
    booked
        [h]
    """

    job: str
    expected: float
    booked: float


@dataclass(frozen=True)
class Proposal:
    """Book hours of an operation that finished jobs contradict.

    Parameters
    ----------
    key
        Name of the operation, and after a slash the era where the row is for one era.
    name, unit
        For people, and what the hours are counted in, from the row.
    book
        Typical hours of the row today. [unit]
    says, low, high
        What the jobs say instead, and its 90 % range. [unit]
    ratio
        By which low, typical, high and set-up of the row are multiplied. [–]
    evidence
        Each job's record.

    Examples
    --------
    >>> Proposal("flipper-rebuild", "Flipper rebuild", "h per each", 0.75, 0.95, 0.85, 1.06, 1.27,
    ...          (Evidence("a", 1, 1.3),) * 14).words
    'Flipper rebuild: book 0.75 h, 14 jobs say 0.95 (0.85–1.06)'
    """

    key: str
    name: str
    unit: str
    book: float
    says: float
    low: float
    high: float
    ratio: float
    evidence: tuple[Evidence, ...]

    @property
    def words(self) -> str:
        """The proposal as a sentence."""
        return f"{self.name}: book {self.book:g} {self.unit.split(' per ')[0]}, {self._said}"

    @property
    def source(self) -> str:
        """What an accepted row gives as its source: what was seen, and in which jobs."""
        numbers = [one.job for one in self.evidence]
        more = f" and {len(numbers) - _NAMED} more" if len(numbers) > _NAMED else ""
        return (f"The shop's own records: {self._said} where the book said {self.book:g}; jobs "
                f"{', '.join(numbers[:_NAMED])}{more}")

    @property
    def _said(self) -> str:
        return (f"{len(self.evidence)} jobs say {_written(self.says)} "
                f"({_written(self.low)}–{_written(self.high)})")


def proposals(ledger: Ledger, shop: Shop) -> tuple[Proposal, ...]:
    """Every operation whose book hours lie outside of what its finished jobs say, in their order.

    The most wrong first, by ratio. Needs three jobs of an operation; none are proposed on less.
    """
    records = records_of(ledger, shop.catalogue)
    if not records:
        return ()
    found = []
    for key, (middle, low, high) in pooled(records).items():
        row = _row(shop.catalogue, key)
        evidence = records[key]
        if len(evidence) < FEWEST or low <= 1 <= high or not row.typical:
            continue
        says, least, most = (_round(row.typical * ratio) for ratio in (middle, low, high))
        found.append(Proposal(key, row.name, row.unit, row.typical, says, least, most, middle,
                              tuple(evidence)))
    return tuple(sorted(found, key=lambda one: (-abs(math.log(one.ratio)), one.key)))


def records_of(ledger: Ledger, catalogue: Catalogue) -> dict[str, list[Evidence]]:
    """Each closed job's record of each operation, by key of the row it stands on today."""
    closed = sorted((job for job in ledger.jobs() if job.state == "closed"),
                    key=lambda job: (job.closed, job.number))
    found: dict[str, list[Evidence]] = defaultdict(list)
    for books in books_of(ledger, closed):
        held = ledger.frozen(books.job.number)
        if held is None:
            continue
        era = Era(held.survey["machine"]["era"])
        then = {(row["operation"], row["era"]): row["typical"]
                for row, _ in json.loads(held.tables)["operations"]}
        booked, sums = books.on_items(), defaultdict(lambda: [0.0, 0.0])
        for item in books.items:
            row = (catalogue.operations.get((item.operation, era))
                   or catalogue.operations.get((item.operation, None)))
            old = then.get((item.operation, str(era)), then.get((item.operation, None)))
            if row is None or not old or not booked[item.item] > 0 or not item.expected > 0:
                continue
            one = sums[_key(row)]
            one[0] += item.expected * row.typical / old
            one[1] += booked[item.item]
        for key, (expected, hours) in sums.items():
            found[key].append(Evidence(books.job.number, expected, hours))
    return dict(found)


def pooled(records: dict[str, Sequence[Evidence]]) -> dict[str, tuple[float, float, float]]:
    """Ratio of booked to expected hours on average, and its 90 % range, of each operation.

    The mean of a ratio whose log is normal is exp(mean + variance / 2).

    Examples
    --------
    >>> few = [Evidence("a", 1, 1.2), Evidence("b", 1, 1.3), Evidence("c", 1, 1.25)]
    >>> even = [Evidence("a", 1, 0.95), Evidence("b", 1, 1.05), Evidence("c", 1, 1)]
    >>> [round(ratio, 2) for ratio in pooled({"flipper-rebuild": few, "test": even})["test"]]
    [1.0, 0.96, 1.05]
    """
    logs = {key: np.log([one.booked / one.expected for one in found])
            for key, found in records.items()}
    count, total, square = (np.array([how(one) for one in logs.values()])
                            for how in (len, np.sum, lambda one: float((one**2).sum())))
    try:
        fit = pool(count, total, square)
    except ValueError:
        # One operation, or records that are all alike: each stands by itself.
        return {key: _alone(one) for key, one in logs.items()}
    kept = fit.between * count / (fit.within + fit.between * count)
    middle = 1 / float((count / (fit.within + fit.between * count)).sum())
    sds = np.sqrt(fit.sds**2 + (1 - kept) ** 2 * middle)
    return {key: _range(mean, sd, fit.within)
            for key, mean, sd in zip(logs, fit.means, sds, strict=True)}


def accept(shop: Shop, proposal: Proposal, on: date | None = None) -> str:
    """Write a proposal into the shop's table of operations; returns where the row stands.

    Its hours and set-up are multiplied, its source is the evidence; every other row stays as it
    is, byte for byte. What the row was is kept for `undo`.

    Raises
    ------
    BadInput
        If the shop has no table of operations of its own, the row is not in it, or the table
        would not be valid any more.
    """
    path = _table(shop)
    lines, rows = _rows(path)
    header, place, cells = _found(rows, proposal.key, path)
    new = dict(zip(header, cells, strict=False))
    for column in ("low", "typical", "high", "setup"):
        if new.get(column, "").strip():
            new[column] = f"{_round(float(new[column]) * proposal.ratio):g}"
    # The table knows no basis of its own for the shop's records; this one claims the least.
    new |= {"basis": str(Basis.MEMORY), "source": proposal.source,
            "dated": (on or date.today()).isoformat()}
    before = "".join(lines[slice(*place)])
    after = _line([new.get(column, "") for column in header], before)
    log = _log(shop)
    log.append({"key": proposal.key, "before": before, "after": after,
                "proposal": asdict(proposal)})
    _write_log(shop, log)
    return _replace(path, lines, place, after, proposal.key)


def undo(shop: Shop, key: str) -> str:
    """Put a row back as it was before its last proposal was accepted; returns where it stands.

    Raises
    ------
    BadInput
        If none was accepted for it, or the row was edited since.
    """
    path, log = _table(shop), _log(shop)
    mine = [one for one in log if one["key"] == key]
    if not mine:
        keys = list(dict.fromkeys(one["key"] for one in log))
        raise BadInput(Fault(f'No proposal for "{key}" was accepted.',
                             one_of(key, keys) if keys else "None was accepted so far."))
    lines, rows = _rows(path)
    _, place, _ = _found(rows, key, path)
    if "".join(lines[slice(*place)]).strip() != mine[-1]["after"].strip():
        raise BadInput(Fault(f'The row of "{key}" was edited after the proposal was accepted.',
                             f"Before it was: {mine[-1]['before'].strip()}", path.name))
    where = _replace(path, lines, place, mine[-1]["before"], key)
    log.remove(mine[-1])
    _write_log(shop, log)
    return where


def proposal_named(said: str, found: Iterable[Proposal]) -> Proposal:
    """The proposal for an operation.

    Raises
    ------
    BadInput
        If there is none, with the nearest.
    """
    by_key = {one.key: one for one in found}
    key = "-".join(said.split()).casefold()
    if key not in by_key:
        raise BadInput(Fault(f'Nothing is proposed for "{said}".', one_of(said, by_key) if by_key
                             else "There are no proposals now."))
    return by_key[key]


# --- figures -------------------------------------------------------------------------------------


def _alone(logs: np.ndarray) -> tuple[float, float, float]:
    if len(logs) < FEWEST:
        return 1.0, 0.0, math.inf
    variance = float(logs.var(ddof=1))
    return _range(float(logs.mean()), math.sqrt(variance / len(logs)), variance)


def _range(mean: float, sd: float, within: float) -> tuple[float, float, float]:
    middle = mean + within / 2
    return tuple(float(math.exp(middle + z * sd)) for z in (0.0, -_Z90, _Z90))


def _round(hours: float) -> float:
    """To the hundredth, and where that is coarse to two digits."""
    return float(f"{hours:.2g}") if hours < 0.1 else round(hours, 2)


def _written(hours: float) -> str:
    return f"{hours:.2g}" if hours < 0.1 else f"{hours:.2f}"


def _key(row: Operation) -> str:
    return f"{row.operation}/{row.era}" if row.era else row.operation


def _row(catalogue: Catalogue, key: str) -> Operation:
    operation, _, era = key.partition("/")
    return catalogue.operations[operation, Era(era) if era else None]


# --- the table -----------------------------------------------------------------------------------


def _table(shop: Shop) -> Path:
    path = (shop.folder / "tables" / "operations.csv") if shop.folder else None
    if path is None or not path.is_file():
        raise BadInput(Fault("The shop has no table of operations of its own to write into.",
                             "Make a shop with: estimator new-shop shop"))
    return path


def _rows(path: Path) -> tuple[list[str], list[tuple[tuple[int, int], list[str]]]]:
    """Lines as they stand, ends included, and rows: from which line to which, and cells."""
    lines = list(io.StringIO(path.read_bytes().decode("utf-8"), newline=""))
    reader, rows, start = csv.reader(lines), [], 0
    for cells in reader:
        rows.append(((start, reader.line_num), cells))
        start = reader.line_num
    return lines, rows


def _found(rows, key: str, path: Path) -> tuple[list[str], tuple[int, int], list[str]]:
    header = [cell.strip().removeprefix("\ufeff") for cell in rows[0][1]]
    for place, cells in rows[1:]:
        said = {column: cell.strip() for column, cell in zip(header, cells, strict=False)}
        here = "/".join(filter(None, (said.get("operation", ""), said.get("era", ""))))
        if here == key:
            return header, place, cells
    raise BadInput(Fault(f'There is no row for "{key}".', "Add it.", path.name))


def _line(cells: Sequence[str], before: str) -> str:
    """A row as CSV, with the line end of the row in whose place it comes."""
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(cells)
    return out.getvalue() + before[len(before.rstrip("\r\n")):]


def _replace(path: Path, lines: list[str], place: tuple[int, int], row: str, key: str) -> str:
    """Write the table with one row in another's place, if it is valid then."""
    text = "".join([*lines[:place[0]], row, *lines[place[1]:]])
    part = path.with_name(path.name + ".part")
    part.write_bytes(text.encode("utf-8"))
    _, faults, where = read_table(part, Operation)
    if faults:
        part.unlink()
        raise BadInput(faults)
    part.replace(path)
    operation, _, era = key.partition("/")
    return where[operation, Era(era) if era else None].replace(part.name, path.name)


def _log(shop: Shop) -> list[dict]:
    path = shop.folder / "tables" / LOG
    return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else []


def _write_log(shop: Shop, log: list[dict]) -> None:
    path = shop.folder / "tables" / LOG
    part = path.with_name(LOG + ".part")
    part.write_text(json.dumps(log, indent=1, ensure_ascii=False), encoding="utf-8")
    part.replace(path)
