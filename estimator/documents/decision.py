"""What to do with a machine, on one page: to defend the decision to a partner.

The page is laid out by `decision.typ`; the words are those of `estimator.resale.Words`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from pathlib import Path

from estimator.documents.files import put
from estimator.documents.pdf import laid_out
from estimator.documents.wording import closed, day, figure, paper, signed
from estimator.outside import json_file
from estimator.resale import LEAVE, Choice, Resale, Words, as_dict
from estimator.units import of_a_hundred

_LINES = 4
_MOST_MONTHS = 24
_MOST_LETTERS = 9
"""Of an amount in the table: "-$123,456"."""


def write(found: Resale, folder: Path | str) -> dict[str, Path]:
    """Write `decision.pdf` and `decision.json` into `folder`, both or none; returns them by name.

    Raises
    ------
    BadInput
        If they cannot be written there.

    Examples
    --------
    >>> import tempfile
    >>> from datetime import date
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import Deal, resale
    >>> from estimator.shop import open_shop
    >>> found = resale(small_survey(), Deal(5000, trials=100, on=date(2026, 3, 2)), open_shop())
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     sorted(write(found, folder))
    ['decision.json', 'decision.pdf']
    """
    return put({"decision.pdf": render(found), "decision.json": json_file(as_dict(found))}, folder)


def render(found: Resale) -> bytes:
    """`decision.pdf`: tagged, the same bytes for the same answer.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import Deal, resale
    >>> from estimator.shop import open_shop
    >>> deal = Deal(5000, trials=100, on=date(2026, 3, 2))
    >>> render(resale(small_survey(), deal, open_shop()))[:5]
    b'%PDF-'
    """
    return laid_out("decision.typ", page(found))


def page(found: Resale) -> dict:
    """The data that `decision.typ` lays out: words and figures as they are to be read."""
    settings, words = found.settings, Words(found)
    machine = found.survey.machine
    title = machine.title or "pinball machine"
    amount, in_what = _amounts(found, words)
    return {
        **paper(title, day(found.on, settings), settings, found.on),
        "title": f"What to do with {title}",
        "shop": {"name": settings.name, "lines": ""},
        "machine": title,
        "made": ", ".join(filter(None, (closed(machine.maker), machine.year))),
    } | signed({
        "terms": _terms(found, words),
        "head": words.head(),
        "why": words.why(),
        "columns": ["", "Work", "Hours", "Sale, after fees", "Months", "Profit, mean",
                    "9 in 10 over", "1 in 10 over", "Loss in 100", "Worst tenth", "Worth now",
                    "A year", "Best in 100",
                    "Bid at most" if found.deal.asking is not None else "Take from"],
        "rows": [_row(one, found, amount) for one in found.choices],
        "chart": _chart(found, words),
        "parts": [
            {"heading": heading, "says": " ".join(said)}
            for heading, said in (
                ("Highest bid" if found.deal.asking is not None else "Least to take for it now",
                 words.bid()),
                ("Stop after teardown", words.stop()),
                ("What a bench hour brings in", words.bench()),
                ("What pays", words.pays()),
                ("A look first", words.look()),
                ("What would change the answer", words.turns()),
                ("Spent already", [words.sunk()]),
                ("What this does not know", words.cautions()),
            ) if any(said)
        ],
        "note": f"{in_what}{found.deal.trials:,} trials, seed {found.deal.seed}; the same market "
                "value in all choices. Own hours at cost, "
                f"{words.money(found.hour_cost)}; elsewhere an hour brings in "
                f"{words.money(found.hour_earns)}. Worth now at "
                f"{100 * found.capital_rate:.0f} % a year. "
                + ("Return a year on the money put in."
                   if found.deal.asking is not None else
                   "Return a year on what is put in over selling as found."),
    })


def _terms(found: Resale, words: Words) -> str:
    deal = found.deal
    said = [f"Market value nice and working {words.money(deal.value)}"]
    if deal.asking is not None:
        said.append(f"asking price {words.money(deal.asking)}")
        if found.outlay > deal.asking + 0.005:
            said.append(f"{words.money(found.outlay)} with premium, tax and fetching")
    elif deal.paid is not None:
        said.append(f"{words.money(deal.paid)} paid, which is spent")
    return f"{', '.join(said)}; way of selling: {deal.way.replace('-', ' ')}."


def _money_of(one: Choice) -> tuple[float, ...]:
    return (one.cost, one.sale, one.profit, one.profit_p10, one.profit_p90, one.worst_tenth,
            one.worth, one.highest_price)


def _amounts(found: Resale, words: Words) -> tuple[Callable[[float], str], str]:
    """How the table writes amounts so that its columns hold them, and what the note says of it."""
    every = [value for one in found.choices if one.key != LEAVE for value in _money_of(one)]
    if max(len(words.money(value)) for value in every) <= _MOST_LETTERS:
        return words.money, ""
    # A sign and two marks between thousands leave room for six figures.
    most = max(map(abs, every))
    power = next((power for power in (0, 3, 6, 9) if most < 10 ** (power + 6)), 12)
    many = {0: "", 3: "thousands of ", 6: "millions of ", 9: "billions of "}.get(
        power, "trillions of ")
    return (lambda value: figure(round(value / 10**power) + 0.0, found.settings),
            f"Amounts in the table are in {many}{found.settings.currency}. ")


def _row(one: Choice, found: Resale, amount: Callable[[float], str]) -> dict:
    if one.key == LEAVE:
        cells = [*["–"] * 4, amount(0), *["–"] * 4, amount(0), "–",
                 of_a_hundred(one.best_in), "–"]
    else:
        cost, sale, profit, low, high, worst, worth, highest = map(amount, _money_of(one))
        cells = [cost, f"{one.hours:.0f}", sale, f"{one.months:.1f}", profit, low, high,
                 of_a_hundred(one.chance_of_loss), worst, worth,
                 Words(found).rate(one), of_a_hundred(one.best_in), highest]
    return {"name": one.name, "best": one.key == found.best, "cells": cells}


def _chart(found: Resale, words: Words) -> dict:
    """Expected cash over the months, summed up, of the choices that matter most.

    Points are shares of the width and height, from the left and from the top.
    """
    ranked = sorted((one for one in found.choices if one.key != LEAVE),
                    key=lambda one: (one.key != found.best, -one.worth))[:_LINES]
    sums = {one.key: list(itertools.accumulate(one.flows)) for one in ranked}
    last = min(_MOST_MONTHS, max(len(row) - 1 for row in sums.values())) or 1
    sums = {key: (row + [row[-1]] * last)[:last + 1] for key, row in sums.items()}
    low = min(0.0, *(min(row) for row in sums.values()))
    high = max(0.0, *(max(row) for row in sums.values()))
    low, high = low - 0.04 * (high - low), high + 0.04 * (high - low)
    span = high - low or 1.0

    def down(amount: float) -> float:
        return round((high - amount) / span, 4)

    step = _round_step(span / 4)
    marks = [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
    every = max(1, math.ceil(last / 8))
    said = "; ".join(f"{one.name} ends at {words.money(sums[one.key][-1])}" for one in ranked)
    return {
        "alt": f"Expected cash summed up over {last} months: {said}.",
        "zero": down(0.0),
        "marks": [[down(amount), words.money(amount)] for amount in marks],
        "months": [[round(k / last, 4), str(k)] for k in range(0, last + 1, every)],
        "lines": [
            {"name": f"{one.name}: {words.money(sums[one.key][-1])}",
             "points": [[round(k / last, 4), down(amount)]
                        for k, amount in enumerate(sums[one.key])]}
            for one in ranked
        ],
    }


def _round_step(about: float) -> float:
    """A step of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(about))
    return next(k * power for k in (1, 2, 5, 10) if k * power >= about)


__all__ = ["render", "write"]
