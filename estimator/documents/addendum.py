"""The addendum: what a job's revision changes, as the customer reads and signs it.

Like the quote it names no hours' cost and no margin of the shop's; hours stand there because the
customer is told how much longer the work takes.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal

from estimator.documents.pdf import laid_out
from estimator.documents.wording import counted, day, facts, money, paper
from estimator.outside import json_file
from estimator.quote import Revised, revised_dict

_WHY = {"find": "Found", "wish": "Your wish", "price": "Prices"}
_REST = {
    "finds": "Damage that shows only after more teardown, at its expected cost.",
    "cover": "What makes the price hold when the work takes longer than expected.",
    "shared": "Set-ups and lots sent out are shared by several lines, and change with them.",
    "recomputed": "",
}


def addendum(found: Revised) -> dict[str, bytes]:
    """The papers of a revision: `addendum.pdf` to sign, `change.json` for programs.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_shop
    >>> from estimator.jobs import Wish, revise
    >>> with small_shop() as (ledger, shop):
    ...     found, used = revise(ledger, "Harbour Lights", reasons=["wish"], on=date(2026, 3, 9),
    ...                          wish=Wish(extras=(("extra-led-set", 1),)))
    >>> papers = addendum(found)
    >>> sorted(papers), papers["addendum.pdf"][:5]
    (['addendum.pdf', 'change.json'], b'%PDF-')
    """
    return {"addendum.pdf": laid_out("addendum.typ", page(found)),
            "change.json": json_file({"schema": 1, "revision": revised_dict(found)})}


def page(found: Revised) -> dict:
    """The data that `addendum.typ` lays out: every figure as the shop's locale writes it."""
    settings, offer, before = found.settings, found.offer, found.before
    machine = offer.survey.machine
    title = machine.title or "pinball machine"
    return {
        **paper(f"Addendum {offer.number}", offer.number, settings, offer.on,
                f" to quotation {found.job}: {title}"),
        "machine": facts(
            ("Customer", machine.customer or "—"), ("Machine", machine.title or "—"),
            ("Made", ", ".join(filter(None, (machine.maker, machine.year)))),
            ("Serial number", machine.serial)),
        "dates": facts(
            ("Date", day(offer.on, settings)),
            ("Valid until", day(offer.valid_until, settings)),
            ("Takes the place of", _replaced(found)),
            ("Job", f"{found.job}, revision {found.nth}")),
        "glance": _glance(found),
        "says": _says(found),
        "unit": "Expected" if before.cap is not None else "Price",
        "rows": [_row(one, found) for one in found.changes],
        "rest": [{"title": one.title, "says": _REST[one.key],
                  "price": _more(one.amount, found)} for one in found.rest],
        "together": _more(found.after.price - before.price, found),
        "sides": _sides(found),
        "stays": _stays(found),
        "no": _no(found, title),
        "cautions": [{"hazard": row.hazard.rstrip("."), "text": row.text}
                     for row in found.cautions],
        "accept": _accept(found, title),
    }


def _replaced(found: Revised) -> str:
    """The paper that this one takes the place of."""
    number = found.before.number
    return f"{'quotation' if number == found.job else 'addendum'} {number}"


def _more(amount: Decimal, found: Revised) -> str:
    """A difference with its sign."""
    said = money(abs(amount), found.settings)
    return f"+{said}" if amount > 0 else f"−{said}" if amount < 0 else said


def _hours(hours: float, found: Revised) -> str:
    """Hours with one decimal as the shop's locale writes it."""
    from babel.numbers import format_decimal

    return format_decimal(round(hours, 1), "#,##0.0", locale=found.settings.locale) + " h"


def _days(was: date, now: date) -> str:
    count = (now - was).days
    if not count:
        return "the same day"
    return counted(abs(count), "day") + (" later" if count > 0 else " earlier")


def _glance(found: Revised) -> list[dict]:
    before, after = found.before, found.after
    timed = before.cap is not None
    taxed = after.total != after.price or before.total != before.price
    return [
        {"name": "Added to the expected bill" if timed else "Added to the price",
         "value": _more(after.total - before.total, found),
         "note": "with tax" if taxed else "no tax applies", "strong": True},
        {"name": "New expected bill" if timed else "New price",
         "value": money(after.total, found.settings),
         "note": f"before: {money(before.total, found.settings)}", "strong": False},
        {"name": "Ready", "value": day(after.ready, found.settings),
         "note": _days(before.ready, after.ready), "strong": False},
    ]


def _says(found: Revised) -> str:
    reasons = [one.reason for one in found.changes]
    said = {
        "find": "Work on the machine has brought something to light that the quotation did not "
                "know of.",
        "wish": "You wish for something other than what was agreed.",
        "price": "What things cost has changed since the quotation.",
    }
    return " ".join(said[name] for name in said if name in reasons) + \
        " Nothing of it is begun before you agree."


def _row(one, found: Revised) -> dict:
    return {
        "no": "" if one.line is None else str(one.line + 1),
        "title": one.title,
        "said": _worn(one.said[:1].upper() + one.said[1:]),
        "note": "\n".join(filter(None, (one.words, one.note))),
        "why": _WHY[one.reason],
        "price": _more(one.amount, found),
    }


def _worn(said: str) -> str:
    """Conditions as the quote names them.

    >>> _worn("Condition light, now failed")
    'Condition light wear, now failed'
    """
    return re.sub(r"(?i)\b(condition |now )(light|heavy)\b", r"\1\2 wear", said)


def _sides(found: Revised) -> list[dict]:
    """The rows of the table before and after."""
    settings, before, after = found.settings, found.before, found.after

    def row(name: str, was: str, now: str, more: str, *, strong: bool = False) -> dict:
        return {"name": name, "was": was, "now": now, "more": more, "strong": strong}

    def sums(name: str, was: Decimal, now: Decimal, **look) -> dict:
        return row(name, money(was, settings), money(now, settings), _more(now - was, found),
                   **look)

    def hours(name: str, was: float, now: float) -> dict:
        # Rounded first, so that the difference is that of the figures shown.
        was, now = round(was, 1), round(now, 1)
        sign = "+" if now > was else "−" if now < was else ""
        return row(name, _hours(was, found), _hours(now, found),
                   f"{sign}{_hours(abs(now - was), found)}")

    timed = before.cap is not None
    rows = [sums("Expected bill before tax" if timed else "Price before tax", before.price,
                 after.price)]
    if after.total != after.price or before.total != before.price:
        rows.append(sums("Tax", before.total - before.price, after.total - after.price))
    rows.append(sums("Expected bill with tax" if timed else "Total", before.total, after.total,
                     strong=True))
    if timed and after.cap is not None:
        rows.append(sums("Cap before tax, not passed without your consent", before.cap,
                         after.cap, strong=True))
    rows += [hours("Hours of work, as often as not", before.hours_p50, after.hours_p50),
             hours("Hours of work, four jobs in five within", before.hours_p80,
                   after.hours_p80)]
    rows.append(row("Ready", day(before.ready, settings), day(after.ready, settings),
                    _days(before.ready, after.ready), strong=True))
    return rows


def _stays(found: Revised) -> list[str]:
    offer, settings = found.offer, found.settings
    changed = {one.line for one in found.changes if one.line is not None}
    others = sum(line.kind == "work" and line.line not in changed for line in offer.lines)
    said = [
        f"The other {counted(others, 'line')} of work, the service level "
        f"({offer.level.name.lower()}), terms and warranty of quotation {found.job} hold as "
        "agreed.",
        "Payments made stay as they are; the difference is settled with the last payment.",
    ]
    if found.before.cap is not None:
        said.append(f"An hour of work is billed at {money(offer.rate, settings)} before tax; "
                    "parts, materials and outside work as they are used.")
    return said


def _no(found: Revised, title: str) -> str:
    """What holds if the customer refuses."""
    settings, before = found.settings, found.before
    said = (f"The job goes on as agreed: {money(before.total, settings)}"
            + (" with tax" if before.total != before.price else "")
            + f", ready {day(before.ready, settings)}"
            + (" as promised." if before.promised else "."))
    finds = [one for one in found.changes if one.reason == "find"]
    if finds:
        named = [one.title if one.line is None else f"line {one.line + 1}, {one.title}"
                 for one in finds[:6]]
        more = f" and {len(finds) - 6} more" if len(finds) > 6 else ""
        said += (f" What was found stays as it was found: {'; '.join(named)}{more}. We tell you "
                 f"if {title} cannot be handed over working, or safe, without it.")
    return said


def _accept(found: Revised, title: str) -> str:
    settings, offer, after = found.settings, found.offer, found.after
    total = money(after.total, settings)
    if after.cap is None:
        price = f"the price is {total}" + (" with tax" if after.total != after.price else "")
    else:
        price = (f"the expected bill is {total} and the cap {money(after.cap, settings)} before "
                 "tax")
    return (f"I agree to addendum {offer.number} of {day(offer.on, settings)} to quotation "
            f"{found.job} for {title}: {price}, and the machine is ready on "
            f"{day(after.ready, settings)}.")


__all__ = ["addendum"]
