"""Proposals: what finished jobs say is off in the book, decided one by one and taken back.

Two things are proposed: book hours of an operation (`evidence`), and how far hours of one job, of
one pair of hands and of one kind of work go together (`shares`). Each may be accepted, accepted
with a figure of one's own (`edit`), or refused; `undo` takes the last decision back. What was
decided, when and why is kept beside the tables (`decided`). Shares that nobody set by hand also
follow by themselves when a job is closed (`_follow`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date

from estimator.catalogue import Basis, Operation, Rate
from estimator.errors import BadInput, Fault, one_of
from estimator.ledger import Ledger
from estimator.review import decided
from estimator.review.decided import Decision
from estimator.review.evidence import worked_items
from estimator.review.proposed import Proposal, hours_proposed, shares_proposed
from estimator.review.tables import Table, table_of
from estimator.shop import LEARNT, Shop, open_shop

NEW_JOBS = 0.5
"""A refused proposal comes again with this share of new jobs, or with a range that left it."""
FARTHEST = 10.0
"""How many times the book or its inverse somebody may choose instead."""


def proposals(ledger: Ledger, shop: Shop,
              progress: Callable[[float], bool | None] | None = None) -> tuple[Proposal, ...]:
    """What finished jobs contradict and nobody refused: hours, the most wrong first, then shares.

    Hours of an operation need three jobs. What was refused is not proposed again until its row
    was changed, at least half as many jobs again have closed, or the range of what the jobs say
    no longer holds what was refused.

    Parameters
    ----------
    progress
        Told the share that is done, 0 to 1; if it answers False, `Stopped` is raised.

    Raises
    ------
    Stopped
        If `progress` said so.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     proposals(ledger, shop)[0].words
    'Rebuild a flipper with a kit: book 0.75 h, 3 jobs say 1.15 (1.12–1.17)'
    """
    items = worked_items(ledger, shop.catalogue, progress)
    found = (*hours_proposed(items, shop), *shares_proposed(items, shop)) if items else ()
    if progress is not None:
        progress(1.0)
    return _not_refused(found, shop)


def _not_refused(found: Iterable[Proposal], shop: Shop) -> tuple[Proposal, ...]:
    last = _last(shop)
    return tuple(one for one in found if not _refused(one, last.get(one.key)))


def decisions(shop: Shop) -> tuple[Decision, ...]:
    """Every decision there was, the oldest first.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     refuse(shop, proposals(ledger, shop)[0], "One stiff coil.")
    ...     [(one.key, one.did, one.why) for one in decisions(shop)]
    [('flipper-rebuild', 'refused', 'One stiff coil.')]
    """
    return decided.log_of(shop.folder / "tables") if shop.folder else ()


def _follow(ledger: Ledger, shop: Shop, why: str) -> tuple[Proposal, ...]:
    """Let the shares follow closed jobs, as their default; returns those that were written.

    Done when a job is closed, and kept in the log like a decision, with `why`. Left alone are
    shares that stand in `shop.toml`, that somebody chose (`edit`) or refused, and what was taken
    back, until the evidence has moved.

    Raises
    ------
    BadInput
        As `accept`.
    """
    if shop.folder is None or not (shop.folder / "tables").is_dir():
        return ()
    log = decisions(shop)
    chosen = {key for key, rows in decided.standing(log).items() if rows[-1].did == "edited"}
    newest = {one.key: one for one in log}
    items = worked_items(ledger, shop.catalogue)
    shares = _not_refused(shares_proposed(items, shop), shop) if items else ()
    found = [one for one in shares
             if not one.caveat and one.key not in chosen
             and not (one.key in newest and newest[one.key].did == "undone"
                      and newest[one.key].file and _unmoved(one, newest[one.key]))]
    # Those that shrink first, so that together they never pass 1 on the way.
    for one in sorted(found, key=lambda one: one.says - one.book):
        _take(shop, one, one.says, "followed", one.source, None, why)
    return tuple(found)


def closed(ledger: Ledger, shop: Shop, number: str) -> tuple[str, ...]:
    """What a job that was closed changed of the shares, in sentences: they follow by themselves.

    The job is closed whatever becomes of the tables: what stands in the way is said.

    Examples
    --------
    >>> from datetime import timedelta
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     job = ledger.job("Harbour Lights")
    ...     job = ledger.set_state(job.number, "closed", job.accepted + timedelta(9))
    ...     closed(ledger, shop, job.number)  # four jobs are too few to move the shares
    ()
    """
    try:
        found = _follow(ledger, shop, f"{number} was closed")
    except BadInput as error:
        return (f"How far hours go together stays as it is set: {error}",)
    return tuple(f"{one.words}: that is set now, and can be taken back." for one in found)


def accept(shop: Shop, proposal: Proposal, on: date | None = None, why: str = "") -> str:
    """Write a proposal into the shop's table; returns where the row stands.

    Low, typical and high hours and the set-up are multiplied, or the share is set; the basis is
    the shop's records and the source the evidence. Every other row stays, byte for byte.

    Parameters
    ----------
    on
        The day that the row is dated; None is today.
    why
        Kept with the decision; may be blank.

    Raises
    ------
    BadInput
        If the shop has no such table of its own, the row is not in it or was edited since, the
        setting stands in `shop.toml`, or the table would not be valid any more.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     first = proposals(ledger, shop)[0]
    ...     row = accept(shop, first)
    ...     now = open_shop(shop.folder).catalogue.operations[first.key, None]
    >>> first.key, first.book, now.typical, str(now.basis)
    ('flipper-rebuild', 0.75, 1.15, 'shop records')
    """
    return _take(shop, proposal, proposal.says, "accepted", proposal.source, on, why)


def edit(shop: Shop, proposal: Proposal, figure: float, why: str, on: date | None = None) -> str:
    """Accept a proposal with another figure, in the unit of its book; returns where it stands.

    The source says what the jobs said, what was chosen instead, and why.

    Parameters
    ----------
    figure
        Hours, a tenth to ten times the book's [h]; or a share, 0 to under 1. [–]
    why
        Kept with the decision and in the row's source; not blank.
    on
        The day that the row is dated; None is today.

    Raises
    ------
    BadInput
        As `accept`; and if the hours are not between a tenth and ten times the book's, a share is
        not below 1, or no reason is given.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     first = proposals(ledger, shop)[0]
    ...     row = edit(shop, first, 0.9, "Two of the three were rusty.")
    ...     open_shop(shop.folder).catalogue.operations[first.key, None].typical
    0.9
    """
    faults = []
    if not why.strip():
        faults.append(Fault("No reason is given for the other figure.", "Say why.", column="why"))
    if proposal.is_setting:
        if not 0 <= figure < 1:
            faults.append(Fault(f"{figure:g} is no share.", "Write one from 0 to below 1.",
                                column="figure"))
    elif not proposal.book / FARTHEST <= figure <= proposal.book * FARTHEST:
        faults.append(Fault(
            f"{figure:g} h is too far from the book, which says {proposal.book:g} h.",
            f"Write hours from {proposal.book / FARTHEST:g} to {proposal.book * FARTHEST:g}.",
            column="figure"))
    if faults:
        raise BadInput(faults)
    source = f"{proposal.source}. {figure:g} was chosen instead: {' '.join(why.split())}"
    return _take(shop, proposal, figure, "edited", source, on, why)


def refuse(shop: Shop, proposal: Proposal, why: str = "") -> None:
    """Keep a proposal from being made again until the evidence has moved; see `proposals`.

    Raises
    ------
    BadInput
        If the shop's folder cannot be written to.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     found = proposals(ledger, shop)
    ...     refuse(shop, found[0], "Two of the three were rusty.")
    ...     len(found), len(proposals(ledger, shop))
    (2, 1)
    """
    tables = _tables(shop)
    with decided.one_writer(tables):
        decided.note(tables, _decision(proposal, "refused", why))


def undo(shop: Shop, key: str) -> str:
    """Take back the last decision on a key that stands; returns where its row is, or blank.

    Raises
    ------
    BadInput
        If nothing was decided on it, or its row was edited since.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     first = proposals(ledger, shop)[0]
    ...     accept(shop, first) == undo(shop, first.key)
    ...     open_shop(shop.folder).catalogue.operations[first.key, None].typical == first.book
    True
    True
    """
    tables = _tables(shop)
    with decided.one_writer(tables):
        standing = decided.standing(decided.log_of(tables))
        if key not in standing:
            raise BadInput(Fault(
                f'Nothing that was decided on "{key}" stands.',
                one_of(key, standing) if standing else "Nothing was decided so far."))
        last = standing[key][-1]
        back = replace(last, did="undone", when="", why="", before=last.after, after=last.before,
                       chosen=None)
        if last.did == "refused":
            decided.note(tables, back)
            return ""
        table = table_of(tables / last.file, Rate if last.file == "rates.csv" else Operation)
        if table.text(key).strip() != last.after.strip():
            raise BadInput(Fault(
                f'The row of "{key}" was edited after the proposal was accepted.',
                f"Before it was: {last.before.strip() or 'not there'}", last.file))
        return decided.change(tables, table, back)


def proposal_named(said: str, found: Iterable[Proposal], past: Sequence[Decision] = ()
                   ) -> Proposal:
    """The proposal for an operation or a setting.

    Parameters
    ----------
    said
        Its key; blanks and capitals do not matter.
    found, past
        Proposals there are, and decisions there were.

    Raises
    ------
    BadInput
        If there is none, with the nearest; or it was refused.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     proposal_named("Flipper rebuild", proposals(ledger, shop)).says
    1.15
    """
    by_key = {one.key: one for one in found}
    key = key_said(said, by_key)
    if key not in by_key:
        standing = decided.standing(past)
        key = key_said(said, standing)
        if key in standing and standing[key][-1].did == "refused":
            raise BadInput(Fault(f'The proposal for "{key}" was refused.',
                                 f"Take that back with: estimator review undo {key}"))
        raise BadInput(Fault(f'Nothing is proposed for "{said}".', one_of(said, by_key) if by_key
                             else "There are no proposals now."))
    return by_key[key]


def key_said(said: str, keys: Iterable[str]) -> str:
    """The key that was meant, blanks and capitals aside; as it was said if there is none.

    Examples
    --------
    >>> key_said("Job factor share", ["flipper-rebuild", "job_factor_share"])
    'job_factor_share'
    >>> key_said("coil", ["flipper-rebuild"])
    'coil'
    """
    plain = {key.replace("_", "-").casefold(): key for key in keys}
    return plain.get("-".join(said.replace("_", "-").split()).casefold(), said)


# --- what was decided before ----------------------------------------------------------------------


def _last(shop: Shop) -> dict[str, Decision]:
    return {key: rows[-1] for key, rows in decided.standing(decisions(shop)).items()}


def _refused(proposal: Proposal, last: Decision | None) -> bool:
    return last is not None and last.did == "refused" and _unmoved(proposal, last)


def _unmoved(proposal: Proposal, last: Decision) -> bool:
    """Whether book and evidence are still what they were when it was decided on."""
    return (last.book == proposal.book
            and len(proposal.evidence) < (1 + NEW_JOBS) * len(last.evidence)
            and proposal.low <= last.says <= proposal.high)


# --- taking one ----------------------------------------------------------------------------------


def _take(shop: Shop, proposal: Proposal, figure: float, did: str, source: str,
          on: date | None, why: str) -> str:
    tables = _tables(shop)
    new = {"basis": str(Basis.RECORDS), "source": source,
           "dated": (on or date.today()).isoformat()}
    with decided.one_writer(tables):
        cells_of = _share_cells if proposal.is_setting else _hours_cells
        table, cells = cells_of(shop, proposal, figure)
        after = table.line(cells | new)
        decision = _decision(proposal, did, why, chosen=figure, file=table.path.name,
                             before=table.text(proposal.key), after=after)
        return decided.change(tables, table, decision)


def _hours_cells(shop: Shop, proposal: Proposal, hours: float) -> tuple[Table, dict[str, str]]:
    path = shop.folder / "tables" / "operations.csv"
    if not path.is_file():
        raise BadInput(Fault("The shop has no table of operations of its own to write into.",
                             "Make a shop with: estimator new-shop shop"))
    table = table_of(path, Operation)
    cells = table.cells(proposal.key)
    if not cells:
        raise BadInput(Fault(f'There is no row for "{proposal.key}".', "Add it.", path.name))
    if _number(cells.get("typical", "")) != proposal.book:
        raise BadInput(Fault(
            f'The row of "{proposal.key}" says {cells.get("typical", "").strip() or "nothing"} '
            f"now, and the proposal was made for {proposal.book:g}.",
            "Look at the proposals again.", path.name))
    for column in ("low", "typical", "high", "setup"):
        value = _number(cells.get(column, ""))
        if value is not None:
            # Six digits: all of the row moves by one ratio, and so do the hours of a quote.
            cells[column] = f"{hours if column == 'typical' else value * hours / proposal.book:.6g}"
    return table, cells


def _share_cells(shop: Shop, proposal: Proposal, share: float) -> tuple[Table, dict[str, str]]:
    # Read anew: somebody may have changed a setting since the proposal was made.
    now, name = open_shop(shop.folder), proposal.key
    if name in now.said:
        raise BadInput(Fault(
            f"{name} is set by hand, to {getattr(now.settings, name):g}, and that comes first.",
            "Take its line out of shop.toml, or put # before it; then accept.", "shop.toml", None,
            name))
    is_set = getattr(now.settings, name)
    if is_set != proposal.book:
        raise BadInput(Fault(f"{name} is {is_set:g} now, and the proposal was made for "
                             f"{proposal.book:g}.", "Look at the proposals again."))
    together = share + sum(getattr(now.settings, other) for other in LEARNT if other != name)
    if together >= 1:
        raise BadInput(Fault(
            f"With {share:g} the shares of job, hands and kind add up to {together:g}; they must "
            "leave some of the variance to each item.",
            "Look at the others first, or choose a smaller one with edit.", column=name))
    table = table_of(shop.folder / "tables" / "rates.csv", Rate)
    standing = now.catalogue.rates[name].model_dump(mode="json")
    cells = {column: "" if value is None else f"{value:g}" if isinstance(value, float) else value
             for column, value in standing.items()}
    return table, cells | {"value": f"{share:g}"}


def _decision(proposal: Proposal, did: str, why: str, **more) -> Decision:
    return Decision(
        proposal.key, did, why=" ".join(why.split()), words=proposal.words, book=proposal.book,
        says=proposal.says, low=proposal.low, high=proposal.high,
        evidence=tuple((one.job, round(one.expected, 4), round(one.booked, 4))
                       for one in proposal.evidence), **more)


def _tables(shop: Shop):
    path = shop.folder / "tables" if shop.folder else None
    if path is None or not path.is_dir():
        raise BadInput(Fault("There is no shop folder with tables of its own to write into.",
                             "Make a shop with: estimator new-shop shop"))
    return path


def _number(cell: str) -> float | None:
    try:
        return float(cell)
    except ValueError:
        return None
