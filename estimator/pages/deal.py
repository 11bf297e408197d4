"""The form of the page "Restore or resell": its fields, and the deal that stands in them.

Plain functions and records; nothing here knows a browser. What is typed is kept as it was typed,
and read anew at every change: shares as per cent, blank for what the shop's settings say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from estimator.catalogue import FOUND
from estimator.documents.wording import whole
from estimator.errors import Fault
from estimator.jobs import day_of
from estimator.pages.entering import Field
from estimator.pages.typed import Values
from estimator.resale import Deal
from estimator.resale.checking import faults
from estimator.shop import Shop
from estimator.survey import cells
from estimator.survey.cells import Reading, Wrong

KIND = "deal"
"""Kind of the drafts of this page."""
SCHEMA = 1
MOST_MONEY = 10_000_000
OWNED, OFFERED = "owned", "offered"
GROUPS = {
    "machine": "The machine and what it is worth",
    "trade": "Where it is bought and how it is sold",
    "bench": "Keeping it, the bench, and what you want from it",
    "limits": "Limits for the lines that pay",
    "trials": "How often it is played",
}
EXAMPLE = {"survey": "demo", "value": "5000", "standing": OFFERED, "asking": "2600",
           "buying": "auction"}
"""What stands in the form before anything was kept, with the demo survey."""

WANTED = {"value": "market value", "asking": "asking price"}
"""Fields that must not be blank."""

_MONEY = ("value", "value_low", "value_high", "asking", "paid", "fetching", "want_profit",
          "storage_per_month", "bench_hour_earns", "budget")
_PLAIN = ("hours", "hours_per_week", "wait_weeks")
# Least and greatest per cent; the deal itself holds shares.
_PER_CENT = {"fee": ("fee", 0, 90), "premium": ("premium", 0, 90),
             "purchase_tax": ("tax", 0, 90), "want": ("return wanted", 0, 500),
             "capital_rate": ("cost of capital", 0, 500), "confidence": ("confidence", 5, 99)}
_BOUGHT_ONLY = ("premium", "purchase_tax", "fetching", "asking")


def fields(values: Values, shop: Shop, surveys: Sequence) -> dict[str, list[Field]]:
    """The fields of each group, filled with what was typed; those that do not apply left out.

    Parameters
    ----------
    surveys
        Options of the choice of a survey.
    """
    bought = values.get("standing") != OWNED
    found = {
        "machine": _of_the_machine(bought, shop, surveys),
        "trade": _of_the_trade(bought, shop),
        "bench": _of_the_bench(shop),
        "limits": [
            Field("budget", "Cost", "number", help=_blank("no limit")),
            Field("hours", "Bench hours", "number", help=_blank("no limit")),
            Field("ready_by", "Ready by", "date", help=_blank("no day")),
        ],
        "trials": [
            Field("trials", "Trials", "number", help=_blank("10,000")),
            Field("seed", "Seed", "number", help=_blank("1")),
        ],
    }
    return {name: [_filled(field, values) for field in group] for name, group in found.items()}


def _of_the_machine(bought: bool, shop: Shop, surveys: Sequence) -> list[Field]:
    spread = f"{100 * shop.settings.value_spread:.0f} %"
    states = (("", "Read it off the survey"),
              *((state, state.replace("-", " ").capitalize()) for state in FOUND))
    return [
        Field("survey", "Survey", "choice", options=tuple(surveys),
              help="A draft is read when it is chosen, and when this page opens."),
        Field("value", "Market value", "number", help="Of the same machine, nice and working."),
        Field("value_low", "Seldom less than", "number", help=_blank(f"{spread} under it")),
        Field("value_high", "Seldom more than", "number", help=_blank(f"{spread} over it")),
        Field("standing", "The machine", "choice",
              options=((OFFERED, "may be bought"), (OWNED, "is owned already"))),
        Field("asking", "Asking price", "number", help="Before premium and tax.") if bought else
        Field("paid", "Paid for it", "number",
              help="Shown, and left out of the choice: it is spent."),
        Field("found", "State it is in", "choice", options=states),
    ]


def _of_the_trade(bought: bool, shop: Shop) -> list[Field]:
    ways = tuple((name, row.name) for name, row in shop.catalogue.ways.items())
    sells = tuple(way for way in ways if (way[0], None) in shop.catalogue.days_to_sell)
    buying = [
        Field("buying", "Bought by", "choice", options=ways),
        Field("premium", "Buyer's premium, %", "number", help=_blank("by the table of ways")),
        Field("purchase_tax", "Tax on the purchase, %", "number", help=_blank("none")),
        Field("fetching", "Cost of fetching it", "number", help=_blank("none")),
    ]
    return [
        *(buying if bought else []),
        Field("way", "Sold by", "choice", options=sells),
        Field("fee", "Seller's fee, %", "number", help=_blank("by the table of ways")),
        Field("parts_way", "Parts sold by", "choice", options=sells),
    ]


def _of_the_bench(shop: Shop) -> list[Field]:
    settings = shop.settings
    return [
        Field("want", "Return wanted a year, %", "number", help=_blank("the cost of capital")),
        Field("want_profit", "Profit wanted on top", "number", help=_blank("none")),
        Field("confidence", "How sure, %", "number",
              help=_blank(f"{100 * settings.confidence:g} %")),
        Field("capital_rate", "Cost of capital a year, %", "number",
              help=_blank(f"{100 * settings.capital_rate_per_year:g} %")),
        Field("storage_per_month", "Storage a month", "number",
              help=_blank(whole(settings.storage_cost_per_month, settings))),
        Field("hours_per_week", "Bench hours a week", "number",
              help=_blank(f"{settings.bench_hours_per_week:g} h")),
        Field("wait_weeks", "Bench free in, weeks", "number", help=_blank("now")),
        Field("bench_hour_earns", "Bench hour elsewhere", "number",
              help=_blank(whole(settings.bench_hour_earns, settings)
                          if settings.bench_hour_earns else "what it is charged at")),
    ]


def _blank(said: str) -> str:
    """What a field means that nothing is written in."""
    return f"Blank: {said}."


def _filled(field: Field, values: Values) -> Field:
    value = values.get(field.name, DEFAULTS.get(field.name, ""))
    if field.kind == "choice":
        known = {one[0] for group in field.options
                 for one in (group[1] if not isinstance(group[1], str) else (group,))}
        if value not in known:
            value = DEFAULTS.get(field.name, "")
    return replace(field, value=value)


DEFAULTS: Mapping[str, str] = {"standing": OFFERED, "buying": "private", "way": "private",
                               "parts_way": "online"}


def read(values: Values, shop: Shop, on: date) -> Deal:
    """The deal that stands in the form.

    Raises
    ------
    BadInput
        With all that is wrong, each fault at its field.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> deal = read({"value": "5000", "asking": "2 600", "fee": "10 %"}, open_shop(),
    ...             date(2026, 3, 2))
    >>> deal.value, deal.asking, deal.fee
    (5000.0, 2600.0, 0.1)
    """
    bought = values.get("standing", OFFERED) != OWNED
    take = Reading({name: said for name, said in values.items()
                    if name != "paid" or not bought} if bought else
                   {name: said for name, said in values.items() if name not in _BOUGHT_ONLY})
    said: dict = {}
    for name in _MONEY:
        said[name] = take.take(name, _money, "Say what the same machine brings nice and working."
                               if name == "value" else "Say what it can be bought for; 0 if it "
                               "is given away." if name == "asking" and bought else "")
    for name in _PLAIN:
        said[name] = take.take(name, lambda cell: cells.number(cell, "20"))
    for name, (what, least, most) in _PER_CENT.items():
        said[name] = take.take(name, lambda cell, w=what, low=least, high=most:
                               _share(cell, w, low, high))
    said["ready_by"] = take.take("ready_by", day_of)
    said["trials"] = take.take("trials", lambda cell: _count(cell, "trials", 100, 100_000))
    said["seed"] = take.take("seed", lambda cell: _count(cell, "seed", 0, 999_999_999))
    for name in ("way", "buying", "parts_way"):
        said[name] = values.get(name) or DEFAULTS[name]
    said["found"] = values.get("found") or None
    wrong = take.wrong
    deal = Deal(on=on, **({name: value for name, value in said.items() if value is not None}
                          | ({} if said["value"] is not None else {"value": 1.0})))
    # What could not be read is said already, and what is reckoned from it says nothing.
    skipped = wrong | ({"value_low", "value_high"} if "value" in wrong else set())
    take.faults += [fault for fault in faults(deal, shop.catalogue, on)
                    if fault.column not in skipped]
    take.done()
    return deal


def _money(cell: str) -> float | None:
    found = cells.number(cell, "1500")
    if found is not None and abs(found) > MOST_MONEY:
        raise Wrong(f"{found:,.0f} is more than {MOST_MONEY:,}.", "Is it the right figure?")
    return found


def _share(cell: str, what: str, least: float, most: float) -> float | None:
    found = cells.number(cell.strip().removesuffix("%"), "10")
    if found is None:
        return None
    if not least <= found <= most:
        raise Wrong(f"The {what} is {found:g} %; it must be {least} to {most} %.",
                    f"Write a per cent such as {80 if least else 10}.")
    return found / 100


def _count(cell: str, what: str, least: int, most: int) -> int | None:
    found = cells.number(cell, f"{least}")
    if found is None:
        return None
    if not found.is_integer() or not least <= found <= most:
        raise Wrong(f"{found:g} is no number of {what}." if what == "trials" else
                    f"{found:g} is no seed.", f"Write a whole number, {least:,} to {most:,}.")
    return int(found)


def by_field(found: Sequence[Fault], groups: Mapping[str, Sequence[str]]
             ) -> tuple[dict[str, dict[str, str]], list[Fault]]:
    """Faults by form and field, and those that belong to none.

    Examples
    --------
    >>> by_field([Fault("No.", column="fee"), Fault("Odd.")], {"trade": ["fee"]})[0]
    {'trade': {'fee': 'No.'}}
    """
    placed: dict[str, dict[str, str]] = {name: {} for name in groups}
    rest = []
    for fault in found:
        home = next((name for name, names in groups.items() if fault.column in names), None)
        if home is None:
            rest.append(fault)
        else:
            held = placed[home].get(fault.column, "")
            placed[home][fault.column] = f"{held} {fault.what} {fault.fix}".strip()
    return placed, rest


def as_json(values: Values, file: Mapping | None, name: str, drawn: Sequence[str]) -> dict:
    """What the ledger keeps: what was typed, the survey of a file, choices drawn as cash."""
    return {"schema": SCHEMA, "typed": dict(values), "file": file, "file_name": name,
            "drawn": list(drawn)}


def from_json(content: Mapping) -> tuple[dict[str, str], Mapping | None, str, tuple[str, ...]]:
    """What `as_json` kept; what cannot be read is left out.

    Examples
    --------
    >>> from_json(as_json({"value": "5000"}, None, "", ["clean"]))
    ({'value': '5000'}, None, '', ('clean',))
    """
    held, file, drawn = (content.get(name) for name in ("typed", "file", "drawn"))
    return ({str(name): str(value) for name, value in held.items()}
            if isinstance(held, Mapping) else {},
            file if isinstance(file, Mapping) else None, str(content.get("file_name") or ""),
            tuple(map(str, drawn)) if isinstance(drawn, list) else ())


def without_limits(deal: Deal) -> Deal:
    """The deal without limits for the lines that pay."""
    return replace(deal, budget=None, hours=None, ready_by=None)


def limit_field(deal: Deal) -> str:
    """The field of the limit that is to be blamed where nothing fits."""
    return "budget" if deal.budget is not None else "hours" if deal.hours is not None \
        else "ready_by"
