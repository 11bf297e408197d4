"""Below `estimator job`: what was bought, sent out, came back and was sold."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from estimator.commands.parsing import amount_option, day_option, number_option, whole_option
from estimator.commands.shared import (
    as_json,
    ledger_of,
    say,
    table,
)
from estimator.errors import BadInput, Fault, one_of

KINDS = ("purchases", "outwork", "sales")
MOST = 500
"""Entries of each kind listed in the terminal, the last ones; JSON has them all."""


def register(add) -> None:
    """Add the commands with `add(name, run, said)`."""
    bought = add("bought", _bought, "Book parts or materials that were bought.")
    sent = add("sent-out", _sent_out, "Book pieces that went to a service.")
    back = add("came-back", _came_back, "Book pieces that came back, and what was charged.")
    sold = add("sold", _sold, "Book what came in: a job paid for, a machine sold.")
    spent = add("amounts", _amounts, "List what was bought, sent out and sold.")
    take = add("take-back", _take_back, "Take an entry back by a counter-entry.")
    take.add_argument("kind", metavar="KIND", help="purchases, outwork or sales")
    take.add_argument("id", metavar="ENTRY", type=whole_option, help="number of the entry")
    take.add_argument("--why", required=True, help="in a few words")
    for found in (bought, sent, sold):
        found.add_argument("what", metavar="WHAT", help="in a few words")
    for found in (bought, sent, sold, spent):
        found.add_argument("--job", metavar="JOB",
                           help="number or name; the shop as a whole by default")
    bought.add_argument("--supplier", metavar="NAME", default="", help="who it came from")
    bought.add_argument("--part", help="its name in the table of parts")
    sent.add_argument("--service", required=True, help="such as powder-coat-small")
    back.add_argument("of", metavar="ENTRY", type=whole_option,
                      help="number of the entry it was sent by")
    for found in (bought, sent, back):
        found.add_argument("--quantity", metavar="N", type=number_option, default="1",
                           help="1 by default")
    for found in (bought, sent):
        found.add_argument("--unit", metavar="WORD", default="piece", help="piece by default")
    for found in (bought, back, sold):
        found.add_argument("--amount", metavar="MONEY", type=amount_option, required=True,
                           help="before tax")
    sold.add_argument("--fees", metavar="MONEY", type=amount_option, default="0",
                      help="what selling cost")
    for found in (bought, sent, back, sold):
        found.add_argument("--sure", metavar="KEY", nargs="+", default=[],
                           help="confirm what was asked, such as twice or cap")
    for found in (bought, sent, back, sold):
        found.add_argument("--day", metavar="YYYY-MM-DD", type=day_option,
                           help="today by default")
        found.add_argument("--note", metavar="WORDS", default="", help="a remark")


def _common(options, shop, ledger) -> dict:
    return {"day": options.day or date.today(), "note": options.note,
            "job": ledger.job(options.job).number if options.job else None,
            "currency": shop.settings.currency, "what": options.what}


def _bought(options) -> int:
    from estimator.ledger import Purchase

    with ledger_of(options) as (shop, ledger):
        if options.part is not None and options.part not in shop.catalogue.parts:
            raise BadInput(Fault(f'"{options.part}" is not in parts.csv.',
                                 one_of(options.part, shop.catalogue.parts), column="part"))
        return _kept(options, ledger.add(Purchase(
            **_common(options, shop, ledger), supplier=options.supplier, part=options.part,
            quantity=options.quantity, unit=options.unit,
            amount=options.amount), sure=options.sure))


def _sent_out(options) -> int:
    from estimator.ledger import Outwork

    with ledger_of(options) as (shop, ledger):
        if options.service not in shop.catalogue.services:
            raise BadInput(Fault(f'"{options.service}" is not in services.csv.',
                                 one_of(options.service, shop.catalogue.services),
                                 column="service"))
        return _kept(options, ledger.add(Outwork(
            **_common(options, shop, ledger), service=options.service, event="sent",
            quantity=options.quantity, unit=options.unit), sure=options.sure))


def _came_back(options) -> int:
    from estimator.ledger import Outwork

    with ledger_of(options) as (shop, ledger):
        lot = ledger.entry(Outwork, options.of)
        if lot is None or lot.event != "sent":
            raise BadInput(Fault(f"Nothing was sent out by entry {options.of}.",
                                 "estimator job amounts lists what was."))
        return _kept(options, ledger.add(Outwork(
            day=options.day or date.today(), note=options.note, job=lot.job,
            currency=shop.settings.currency, what=lot.what, service=lot.service, event="back",
            of=lot.id, quantity=options.quantity, unit=lot.unit,
            amount=options.amount), sure=options.sure))


def _sold(options) -> int:
    from estimator.ledger import Sale

    with ledger_of(options) as (shop, ledger):
        return _kept(options, ledger.add(Sale(
            **_common(options, shop, ledger), amount=options.amount,
            fees=options.fees), sure=options.sure))


def _take_back(options) -> int:
    with ledger_of(options) as (_, ledger):
        if options.kind not in KINDS:
            raise BadInput(Fault(f'"{options.kind}" is no kind of entry.',
                                 one_of(options.kind, KINDS)))
        (back,) = ledger.correct(_types()[options.kind], options.id, options.why)
        return _kept(options, back)


def _amounts(options) -> int:
    with ledger_of(options) as (_, ledger):
        job = ledger.job(options.job).number if options.job else None
        found = {name: ledger.entries(kind, job=job, last=None if options.json else MOST + 1)
                 for name, kind in _types().items()}
    more = [f"the last {MOST} {name}; --json has them all" for name, entries in found.items()
            if len(entries) > MOST and not options.json]
    rows = [("Kind", "Entry", "Day", "Job", "What", "Quantity", "Amount")]
    rows += [_row(name, entry) for name, entries in found.items()
             for entry in entries[-MOST:]]
    return say(options, {name: [as_json(entry) for entry in entries]
                         for name, entries in found.items()},
               "\n".join([table(rows, right=(1, 5, 6)), *more]) if len(rows) > 1
               else "Nothing booked.")


def _kept(options, entry) -> int:
    name = next(name for name, kind in _types().items() if isinstance(entry, kind))
    return say(options, {"entry": as_json(entry)}, "  ".join(filter(None, _row(name, entry))))


def _row(name: str, entry) -> tuple[str, ...]:
    quantity = f"{entry.quantity:g} {entry.unit}" if hasattr(entry, "quantity") else ""
    event = f"{name}, {entry.event}" if hasattr(entry, "event") else name
    amount = "" if entry.amount == Decimal(0) else f"{entry.amount} {entry.currency}"
    return (event, str(entry.id), str(entry.day), entry.job or "", entry.what[:40], quantity,
            amount)


def _types() -> dict:
    from estimator.ledger import Outwork, Purchase, Sale

    return dict(zip(KINDS, (Purchase, Outwork, Sale), strict=True))
