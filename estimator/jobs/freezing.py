"""A quote sent, kept with all that it was computed from, so that it can be computed again.

The survey, the choices, the settings and the tables as they were: whatever the shop changes
afterwards, every figure comes out as it was sent.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from types import MappingProxyType

from estimator import __version__, winning
from estimator.catalogue import TABLES, Catalogue, Service
from estimator.catalogue.load import key_of
from estimator.errors import BadInput, Fault
from estimator.ledger import Frozen, Ledger, Sent
from estimator.quote import Choices, Quote, as_dict
from estimator.reread import reread
from estimator.shop import Settings, Shop, open_shop
from estimator.survey import Survey, cells, parsing

_NOT_KEPT = {"ledger"}
"""Settings that no figure depends on; an address may hold a password."""


def frozen(offer: Quote, shop: Shop, revision_of: str | None = None) -> Frozen:
    """All that a quote was computed from, and its answer, ready for the ledger.

    Parameters
    ----------
    shop
        The one that the quote was computed with.
    revision_of
        Number of the quote that this one takes the place of.

    Raises
    ------
    ValueError
        If the quote was computed with other settings than the shop's.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.quote import quote
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> survey = template(Era.MODERN, shop.catalogue)
    >>> offer = quote(survey, Choices(Level.CLEAN, trials=200), shop, compare=False)
    >>> frozen(offer, shop).answer["number"] == offer.number
    True
    """
    if offer.settings != shop.settings.model_copy(update={"margin": offer.margin}):
        raise ValueError("the quote was computed with other settings than this shop's")
    survey, choices = offer.survey, asdict(offer.choices)
    choices |= {"dropped": sorted(choices["dropped"]), "on": offer.on.isoformat()}
    return Frozen(
        number=offer.number,
        version=__version__,
        survey=_plain({"machine": asdict(survey.machine), "file": survey.file,
                       "lines": [asdict(line) for line in survey.lines]}),
        choices=_plain(choices),
        settings=shop.settings.model_dump(mode="json", exclude=_NOT_KEPT),
        tables=_tables_text(shop.catalogue),
        answer=_plain(as_dict(offer)),
        revision_of=revision_of,
    )


def keep(ledger: Ledger, offer: Quote, shop: Shop, revision_of: str | None = None) -> Sent | None:
    """Keep a quote in the ledger as sent, frozen; returns it as kept.

    None for a quote without a price, which nobody can win or lose: a look at a machine.

    Parameters
    ----------
    shop
        That it was computed with: its settings and tables are kept with the quote.
    revision_of
        Number of the quote that this one takes the place of; None for a quote of its own.

    Raises
    ------
    BadInput
        If the ledger cannot be written, or holds another quote of that number.

    Examples
    --------
    >>> from estimator.demo import small_quote, small_shop
    >>> with small_shop() as (ledger, shop):
    ...     sent = keep(ledger, small_quote("Glass Town"), shop)
    ...     sent.title, sent.price == small_quote("Glass Town").price, sent.outcome
    ('Glass Town', True, 'open')
    """
    if offer.price <= 0:
        return None
    return ledger.record(winning.sent_of(offer), frozen(offer, shop, revision_of))


def reopen(ledger: Ledger, number: str) -> tuple[Survey, Choices, Shop]:
    """What a quote was computed from: `quote(*reopen(ledger, number))` computes it again.

    Raises
    ------
    BadInput
        If no quote of that number was kept; if it was sent before the ledger kept what quotes
        are computed from; or if this version of the program cannot read what another one kept.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     survey, choices, then = reopen(ledger, ledger.job("Night Ferry").number)
    >>> survey.machine.title, str(choices.level), choices.on.isoformat()
    ('Night Ferry', 'full-restoration', '2026-01-21')
    """
    return opened(ledger.frozen(number), number, ledger.folder)


def opened(held: Frozen | None, number: str, folder: Path | None = None
           ) -> tuple[Survey, Choices, Shop]:
    """As `reopen`, from what the ledger kept under a number; None is nothing.

    Raises
    ------
    BadInput
        If nothing was kept, or this version of the program cannot read it.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> held = frozen(small_quote(), open_shop())
    >>> survey, choices, shop = opened(held, held.number)
    >>> survey.lines == small_quote().survey.lines, str(choices.level)
    (True, 'full-restoration')
    """
    if held is None:
        raise BadInput(Fault(
            f"Quote {number} was sent before the ledger kept what a quote is computed from; "
            "only its price and what came of it are known.",
            "Quote the survey again to open its figures."))
    from babel import UnknownLocaleError

    try:
        settings = open_shop().settings.model_dump() | dict(held.settings)
        shop = Shop(Settings.model_validate(settings), _catalogue(held.tables), folder)
        survey, choices = reread(Survey, held.survey), reread(Choices, held.choices)
        _check(survey, choices, shop)
        return survey, choices, shop
    except (KeyError, TypeError, ValueError, RecursionError, UnknownLocaleError):
        raise BadInput(Fault(
            f"Quote {number} was kept by version {held.version} of this program, and this one "
            "cannot compute it again.", f"Use version {held.version}.")) from None


def _check(survey: Survey, choices: Choices, shop: Shop) -> None:
    """Raise an error for what no quote was computed from: it would stop half way, or not at all."""
    from babel import Locale

    Locale.parse(shop.settings.locale)
    for name in (*(line.assembly for line in survey.lines), *(one for one, _ in choices.added)):
        shop.catalogue.assemblies[name]
    limits = [(line.count, cells.MAX_COUNT) for line in survey.lines]
    limits += [(count, cells.MAX_COUNT) for _, count in choices.added]
    limits += [(line.length_mm, parsing.MAX_LENGTH_MM) for line in survey.lines]
    limits += [(line.area_cm2, parsing.MAX_AREA_CM2) for line in survey.lines]
    for size, most in limits:
        if size is not None and not 0 <= size <= most:
            raise ValueError(f"{size} is out of range")


def services_of(held: Frozen) -> Mapping[str, Service]:
    """The price lists of services as they were when a quote was sent.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> services_of(frozen(small_quote(), open_shop()))["powder-coat-set"].unit
    'set'
    """
    return _services(held.tables)


def operations_in(tables: str) -> Sequence[tuple[Mapping, str]]:
    """Rows of operations, and where they stood, in the text of the tables that a quote keeps.

    The other tables are not read: they are nearly all of it, and a shop of years keeps many.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> rows = operations_in(frozen(small_quote(), open_shop()).tables)
    >>> rows[0][0]["operation"], rows[0][1]
    ('intake-inspection', 'operations.csv, row 2')
    """
    # Marks of quotation inside of a text of JSON are escaped, so this stands there as a name.
    _, name, rest = tables.partition('"operations":')
    return json.JSONDecoder().raw_decode(rest.lstrip())[0] if name else ()


def _plain(said):
    """The same as JSON gives it back: lists for tuples, plain text for names."""
    return json.loads(json.dumps(said))


def _tables_text(catalogue: Catalogue) -> str:
    """Every row of every table with its place, as JSON; equal tables give equal text."""
    return json.dumps({
        row_type.table: [[row.model_dump(mode="json"), catalogue.place(row)]
                         for row in catalogue.tables[row_type.table].values()]
        for row_type in TABLES
    }, ensure_ascii=False, separators=(",", ":"))


@functools.lru_cache(maxsize=16)
def _services(text: str) -> Mapping[str, Service]:
    rows = (Service.model_validate(values)
            for values, _ in json.loads(text).get(Service.table, ()))
    return MappingProxyType({row.service: row for row in rows})


@functools.lru_cache(maxsize=8)
def _catalogue(text: str) -> Catalogue:
    """Tables from their text; most quotes of a shop were computed from the same few."""
    said = json.loads(text)
    held: dict[str, Mapping] = {}
    places: dict[tuple[str, object], str] = {}
    for row_type in TABLES:
        rows = {}
        # A table that came later than the quote was not used by it.
        for values, place in said.get(row_type.table, ()):
            row = row_type.model_validate(values)
            key = key_of(row)
            rows[key] = row
            places[row_type.table, key] = place
        held[row_type.table] = MappingProxyType(rows)
    return Catalogue(MappingProxyType(held), places)
