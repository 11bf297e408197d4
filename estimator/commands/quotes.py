"""`estimator quotes`: the quotes sent, what came of them, and what they teach."""

from __future__ import annotations

import json
from collections.abc import Mapping

from estimator.commands.shared import ledger_in, options_of, shop_of, table
from estimator.errors import BadInput, Fault


def register(command) -> None:
    """Add the command."""
    quotes = options_of(command(
        "quotes", _quotes, "List the quotes sent, and what they teach; with a number, book one."))
    quotes.add_argument("number", metavar="NUMBER", nargs="?", help="of the quote to book")
    quotes.add_argument("outcome", metavar="OUTCOME", nargs="?",
                        help="what came of it: won, lost or open")


def _quotes(options) -> int:
    from estimator import winning
    from estimator.ledger import OUTCOMES

    shop = shop_of(options)
    if shop.folder is None:
        raise BadInput(Fault("Quotes sent are kept in a shop folder, and none was named.",
                             "Make one with: estimator new-shop shop; then add --shop shop."))
    if options.number is not None and options.outcome is None:
        raise BadInput(Fault(f"What came of {options.number} is missing.",
                             f"Write {', '.join(OUTCOMES[1:])} or {OUTCOMES[0]} after the number."))
    with ledger_in(shop) as ledger:
        booked = (() if options.number is None
                  else (ledger.decide(options.number, options.outcome.strip().casefold()),))
        sent = ledger.sent()
        revises = {one.number: one.of for one in ledger.revisions()}
    # A revision of a job says nothing about winning one.
    asked = [one for one in sent if one.number not in revises]
    advice = winning.advice(asked, reserve=shop.settings.warranty_share)
    listed = booked or sent
    if options.json:
        said = winning.as_dict(listed, advice)
        for one in said["quotes"]:
            one["revision_of"] = revises.get(one["number"])
        print(json.dumps(said, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        print(_listed(listed, shop.settings.locale, revises), *advice.words(shop.settings),
              sep="\n")
    return 0


def _listed(sent, locale: str, revises: Mapping[str, str]) -> str:
    """Quotes sent as a table for a person; blank line at its end."""
    from estimator.money import format_money
    from estimator.winning import ratio_of

    if not sent:
        return "No quotes sent so far: one counts as sent when its documents are written.\n"
    rows = [("Number", "Sent", "Machine", "Level", "Price", "Over cost", "Outcome")]
    rows += [
        (one.number, one.sent.isoformat(), one.title[:40], one.level,
         format_money(one.price, one.currency, locale), f"{ratio_of(one):.2f} ×",
         one.outcome + (f", revises {revises[one.number]}" if one.number in revises else ""))
        for one in sent
    ]
    return table(rows, right=(4, 5)) + "\n"
