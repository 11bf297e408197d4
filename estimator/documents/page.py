"""What stands on the quote that the customer signs, in words and formatted figures.

Nothing of the shop's own hours, costs or margin is gathered here, so nothing of it can show.
"""

from __future__ import annotations

from collections import Counter
from datetime import date
from decimal import Decimal

from estimator.catalogue import CONDITIONS, Certainty, Condition
from estimator.documents.wording import (
    counted,
    day,
    facts,
    money,
    paper,
    percent,
    survey_line,
    weeks,
)
from estimator.quote import TIME, Quote, QuoteLine
from estimator.shop import Settings

_CONDITION = {Condition.LIGHT: "light wear", Condition.HEAVY: "heavy wear"}
_SIGHT = {Certainty.ASSUMED: "assumed", Certainty.HIDDEN: "hidden until teardown"}
_KIND = {"outwork": "outside work"}
_WORST_SHOWN = 12


def page(offer: Quote) -> dict:
    """The data that `quote.typ` lays out.

    Every text in it is as the user typed it; every figure is written as the shop's locale writes
    it.
    """
    settings = offer.settings
    timed = offer.choices.pricing == TIME
    title = offer.survey.machine.title or "pinball machine"
    return {
        **paper(f"Quotation {offer.number}", offer.number, settings, offer.on, f": {title}"),
        "machine": _machine(offer),
        "dates": _dates(offer),
        "glance": _glance(offer, timed),
        "level": {"name": offer.level.name, "promise": offer.level.promise},
        "found": _found(offer),
        "work": _work(offer, timed),
        "sums": _sums(offer, timed),
        "pricing": _pricing(offer) if timed else "",
        "choices": _choices(offer),
        "levels": [
            {
                "name": row.name,
                "promise": row.promise,
                "ready": weeks(row.days_p80),
                "price": money(row.price, settings),
                "chosen": row.chosen,
            }
            for row in offer.levels
        ],
        "levels_unit": "Expected bill before tax" if timed else "Price before tax",
        "stages": [
            {"name": row.name, "due": _sentence(row.due), "amount": money(row.amount, settings)}
            for row in offer.stages
        ],
        "stages_name": "Expected bill with tax" if timed else "Total",
        "stages_total": money(offer.total, settings),
        "scope": [
            {"heading": heading, "items": list(items)}
            for heading, items in (
                ("Included", offer.included),
                ("Not included", offer.excluded),
                ("Assumed", offer.assumed),
                ("Terms", offer.terms),
                *_notes(offer),
            )
            if items
        ],
        "cautions": [
            {"hazard": row.hazard.rstrip("."), "text": row.text} for row in offer.cautions
        ],
        "accept": _accept(offer, timed, title),
    }


def _sentence(said: str) -> str:
    return said[:1].upper() + said[1:]


def _condition(condition: Condition) -> str:
    return _CONDITION.get(condition, str(condition))


def _machine(offer: Quote) -> list[list[str]]:
    machine = offer.survey.machine
    return facts(
        ("Customer", machine.customer or "—"),
        ("Machine", machine.title or "—"),
        ("Made", ", ".join(filter(None, (machine.maker, machine.year)))),
        ("Era", _sentence(str(machine.era).replace("-", " ")) if machine.era else ""),
        ("Serial number", machine.serial),
    )


def _dates(offer: Quote) -> list[list[str]]:
    machine, settings = offer.survey.machine, offer.settings
    return facts(
        ("Date", day(offer.on, settings)),
        ("Valid until", day(offer.valid_until, settings)),
        ("Surveyed", ", ".join(filter(None, (_when(machine.surveyed, settings),
                                             machine.surveyor)))),
    )


def _when(said: str, settings: Settings) -> str:
    """A day that was typed after ISO 8601 as the paper writes days; anything else as it stands."""
    try:
        return day(date.fromisoformat(said), settings)
    except ValueError:
        return said


def _glance(offer: Quote, timed: bool) -> list[dict]:
    """The three figures that are looked for first."""
    settings, first = offer.settings, offer.stages[0]

    def entry(name: str, value: str, note: str, strong: bool = False) -> dict:
        return {"name": name, "value": value, "note": note, "strong": strong}

    total = entry(
        "Expected bill" if timed else "Fixed price",
        money(offer.total, settings),
        "with tax" if offer.taxes else "no tax applies",
        strong=True,
    )
    ready = entry("Ready", _sentence(weeks(offer.odds.at("days", 0.8)[0])), "after work starts")
    if timed:
        cap = entry(
            "Cap", money(offer.cap, settings), "before tax, not passed without your consent"
        )
        return [total, cap, ready]
    return [total, ready, entry(first.name, money(first.amount, settings), first.due)]


def _found(offer: Quote) -> dict:
    """How the survey's lines are spread over conditions, and the worst of them in words."""
    lines = [(index, line) for index, line in enumerate(offer.survey.lines) if line.count]
    conditions = Counter(line.condition for _, line in lines)
    sights = Counter(line.certainty for _, line in lines)
    words = {Certainty.SEEN: "inspected", **_SIGHT}
    spread = ", ".join(f"{sights[name]} {said}" for name, said in words.items() if sights[name])
    says = (
        f"The survey has {counted(len(lines), 'line')}, each one assembly in one condition: "
        f"{spread}."
    )
    worst = (Condition.FAILED, Condition.MISSING)
    told = [(index, line) for index, line in lines if line.condition in worst]
    told += [
        (index, line) for index, line in lines if line.condition == Condition.HEAVY and line.note
    ]
    shown = dict(told[:_WORST_SHOWN])
    more = len(told) - len(shown)
    # A note on a line without work would stand nowhere else.
    priced = {row.line for row in offer.lines}
    shown |= {index: line for index, line in lines if line.note and index not in priced}
    names = offer.titles
    return {
        "says": says,
        "note": offer.survey.machine.note,
        "counts": [[_sentence(_condition(name)), str(conditions[name])] for name in CONDITIONS],
        "rows": [_seen(index, line, names[index]) for index, line in sorted(shown.items())],
        "more": f"Besides these, {counted(more, 'more line')} {'is' if more == 1 else 'are'} "
                "in the list of work." if more else "",
    }


def _seen(index: int, line, name: str) -> dict:
    return {
        "no": str(index + 1),
        "title": name,
        "condition": _sentence(_condition(line.condition)),
        "sight": _SIGHT.get(line.certainty, ""),
        "note": line.note,
    }


def _work(offer: Quote, timed: bool) -> dict:
    groups: dict[str, list[QuoteLine]] = {}
    for row in offer.lines:
        if row.kind in ("work", "extra"):
            groups.setdefault(row.heading, []).append(row)
    if not groups:
        says = "No work is priced at this level."
    elif timed:
        says = "What each line is expected to come to, before tax."
    else:
        says = "Prices are before tax."
    if any(row.droppable for rows in groups.values() for row in rows):
        says += (
            " Lines marked optional can be left out; the price of the rest is then worked out "
            "anew. Numbers are those of the survey."
        )
    return {
        "heading": "The work and what we expect it to cost" if timed else "The work and its price",
        "says": says,
        "unit": "Expected" if timed else "Price",
        "groups": [
            {
                "heading": heading,
                "rows": [_row(row, offer) for row in rows],
                "subtotal": money(sum((row.price for row in rows), Decimal(0)), offer.settings)
                if len(rows) > 1
                else "",
            }
            for heading, rows in groups.items()
        ],
    }


def _row(row: QuoteLine, offer: Quote) -> dict:
    line = survey_line(row, offer)
    return {
        "no": str(row.line + 1),
        "title": row.title,
        "detail": row.detail,
        "note": line.note,
        "found": _condition(line.condition) if row.kind == "work" else "extra",
        "sight": _SIGHT.get(line.certainty, "") if row.kind == "work" else "",
        "optional": row.droppable,
        "price": money(row.price, offer.settings),
    }


def _sums(offer: Quote, timed: bool) -> list[dict]:
    settings = offer.settings

    def row(name: str, amount: Decimal, note: str = "", *, strong=False, last=False) -> dict:
        return {
            "name": name,
            "amount": money(amount, settings),
            "note": note,
            "strong": strong,
            "last": last,
        }

    work = sum((line.price for line in offer.lines if line.kind in ("work", "extra")), Decimal(0))
    rows = [row("The lines above", work)]
    rows += [
        row(line.title, line.price, line.detail)
        for line in offer.lines
        if line.kind in ("finds", "cover")
    ]
    before = "Expected bill before tax" if timed else "Price before tax"
    rows.append(row(before, offer.price, strong=True))
    rows += [
        row(
            f"Tax on {_KIND.get(tax.kind, tax.kind)}, {percent(tax.rate, settings)} of "
            f"{money(tax.on, settings)}",
            tax.amount,
        )
        for tax in offer.taxes
    ]
    rows.append(
        row("Expected bill with tax" if timed else "Total", offer.total, strong=True, last=True)
    )
    return rows


def _pricing(offer: Quote) -> str:
    settings = offer.settings
    return (
        f"An hour of work is billed at {money(offer.rate, settings)} before tax; parts, materials "
        "and outside work as they are used. We expect the bill before tax to come to "
        f"{money(offer.price, settings)}. The cap is {money(offer.cap, settings)} before tax: "
        "before the bill passes it we stop, show you what was found and what it would add, and go "
        "on only once you have agreed in writing."
    )


def _choices(offer: Quote) -> list[dict]:
    """Lines left out and extras not taken, each with a box to tick."""
    kinds = (
        ("left out", "Left out", "Surveyed and not in the price. Tick what is to come back in."),
        ("extra", "Extras", "Not in the price. Tick what is to be added."),
    )
    choices = []
    for kind, heading, says in kinds:
        rows = [
            {
                "title": row.title,
                "detail": row.detail if kind == "extra" else "",
                "price": money(row.price, offer.settings),
            }
            for row in offer.offered
            if row.kind == kind
        ]
        if rows:
            choices.append({"heading": heading, "says": says, "rows": rows})
    return choices


def _notes(offer: Quote) -> list[tuple[str, tuple[str]]]:
    settings = offer.settings
    ready = _sentence(weeks(offer.odds.at("days", 0.8)[0]))
    seen = percent(round(offer.seen_share, 2), settings)
    return [
        (
            "When it is ready",
            (
                f"{ready} after work starts. If work starts on the date of this quotation, that is "
                f"about {day(offer.finish_p80, settings)}; four jobs in five of this kind are "
                "ready by then.",
            ),
        ),
        (
            "How firm this is",
            (
                f"{seen} of the value of this work rests on what was inspected; the rest is "
                "assumed or hidden until teardown. That makes it an estimate of class "
                f"{offer.estimate_class}, on a scale from 1, the firmest, to 5, the loosest.",
            ),
        ),
    ]


def _accept(offer: Quote, timed: bool, title: str) -> dict:
    settings = offer.settings
    total = money(offer.total, settings)
    if timed:
        price = (
            f"by time and materials, with an expected bill of {total} and a cap of "
            f"{money(offer.cap, settings)} before tax"
        )
    else:
        price = f"at the fixed price of {total}" + (" with tax" if offer.taxes else "")
    optional = any(row.droppable for row in offer.lines)
    again = (
        " Lines left out or added change the price; the new one is confirmed in writing before "
        "work starts."
        if optional or offer.offered
        else ""
    )
    return {
        "says": f"I accept quotation {offer.number} of {day(offer.on, settings)} for {title}: "
        f"{offer.level.name.lower()}, {price}, on the terms above.{again}",
        "ask": ["Optional lines to leave out, by number:"] if optional else [],
    }
