"""The lines of a quote: handed out so that every way of adding them up agrees to the cent."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from estimator.catalogue import Catalogue, Certainty, Condition
from estimator.estimate import KINDS, Estimate, Item, LineCost, estimate
from estimator.money import allocate, round_half_up, to_money
from estimator.quote.records import FIXED, Choices, Offered, QuoteLine
from estimator.scope import scope
from estimator.shop import Settings, Shop
from estimator.survey import Line, Survey


def title_of(line: Line, catalogue: Catalogue) -> str:
    """What a survey line is called, with its count.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> title_of(Line("flipper", 2), open_shop().catalogue)
    'Flipper (2)'
    """
    name = catalogue.assemblies[line.assembly].name
    return name if line.count == 1 else f"{name} ({line.count})"


def price_lines(
    job: Estimate,
    price: Decimal,
    divisor: float,
    pricing: str,
    settings: Settings,
    catalogue: Catalogue,
) -> tuple[QuoteLine, ...]:
    """The lines that add up to the price: the work, the finds, the cover for a fixed price."""
    by_line: dict[int, list[Item]] = {}
    for item in job.items:
        by_line.setdefault(item.line, []).append(item)
    rows = [_work(entry, by_line.get(entry.line, []), job, catalogue) for entry in job.lines]
    wanted = [entry.kinds for entry in job.lines]
    if job.find_cost > 0:
        labour = job.find_hours * job.hour_cost
        rows.append(_beside("finds", "Allowance for finds",
                            "Damage that shows only after teardown, at its expected cost.",
                            hours=job.find_hours, cost=job.find_cost))
        wanted.append(
            {"labour": labour, "parts": job.find_cost - labour, "materials": 0.0, "outwork": 0.0}
        )
    asked = [
        {kind: amount * _factor(kind, pricing, divisor, settings) for kind, amount in kinds.items()}
        for kinds in wanted
    ]
    base = math.fsum(math.fsum(kinds.values()) for kinds in asked)
    cover = float(price) - base
    if pricing == FIXED and cover > 0.005 * base:
        rows.append(_beside("cover", "Fixed-price cover",
                            "What makes the price hold when the work takes longer than expected."))
        asked.append({"labour": cover, "parts": 0.0, "materials": 0.0, "outwork": 0.0})
    return _to_the_cent(rows, asked, price, settings.currency)


def _work(entry: LineCost, items: Sequence[Item], job: Estimate, catalogue: Catalogue
          ) -> QuoteLine:
    """A survey line or an extra with its work, not priced yet."""
    line = job.scope.lines[entry.line]
    assembly = catalogue.assemblies[line.assembly]
    rests = dict.fromkeys(catalogue.place(row) for item in items
                          for row in (item.work.treatment, item.work.operation))
    return QuoteLine(
        key=f"line-{entry.line + 1}",
        kind="extra" if entry.line >= job.scope.first_extra else "work",
        heading=assembly.group,
        title=title_of(line, catalogue),
        detail=_detail(items, job, entry.line),
        price=Decimal(0),
        kinds={},
        droppable=assembly.droppable or assembly.extra,
        hours=entry.hours,
        cost=entry.cost,
        line=entry.line,
        places=tuple(rests),
    )


def _beside(key: str, title: str, detail: str, **costs: float) -> QuoteLine:
    """A line that is no work of its own, not priced yet."""
    return QuoteLine(key, key, title, title, detail, Decimal(0), {}, **costs)


def _factor(kind: str, pricing: str, divisor: float, settings: Settings) -> float:
    """What a cost of this kind is multiplied by to become a price."""
    if pricing == FIXED:
        return 1 / divisor
    return {
        "labour": 1 / (1 - settings.margin),
        "parts": 1 + settings.parts_markup,
        "materials": 1 + settings.materials_markup,
        "outwork": 1 + settings.outwork_markup,
    }[kind]


def _to_the_cent(
    rows: list[QuoteLine], asked: list[Mapping[str, float]], price: Decimal, currency: str
) -> tuple[QuoteLine, ...]:
    """Hand the price out over lines and kinds so that both ways of adding it up agree."""
    if not rows:
        return ()
    prices = allocate(price, [math.fsum(kinds.values()) for kinds in asked], currency)
    done = []
    for row, kinds, amount in zip(rows, asked, prices, strict=True):
        parts = (
            allocate(amount, [kinds[kind] for kind in KINDS], currency)
            if amount
            else ((Decimal(0),) * len(KINDS))
        )
        done.append(replace(row, price=amount, kinds=dict(zip(KINDS, parts, strict=True))))
    return tuple(done)


def _detail(items: Iterable[Item], job: Estimate, index: int) -> str:
    """What is done, in the words of the operations; then what is sent out."""
    names = list(dict.fromkeys(item.work.operation.name for item in items))
    names += [lot.name for lot in job.lots if index in lot.shares]
    said = "; ".join(names)
    return said[:1].upper() + said[1:]


def offered_lines(
    survey: Survey, choices: Choices, shop: Shop, divisor: float, price: Decimal, job: Estimate
) -> tuple[Offered, ...]:
    """Lines left out and extras not taken, with what each would add."""
    # The cover grows with the job: what is added carries its share of it.
    known = job.cost + job.find_cost
    lift = float(price) / known if known else 1 / divisor
    found = []
    for index in sorted(choices.dropped):
        line = survey.lines[index]
        alone = estimate(scope(replace(survey, lines=(line,)), choices.level, shop.catalogue), shop)
        found.append(
            Offered(
                f"line-{index + 1}",
                "left out",
                title_of(line, shop.catalogue),
                "Left out at the customer's wish.",
                rounded((alone.cost + alone.find_cost) * lift, shop.settings),
                index,
                line.assembly,
            )
        )
    taken = {name for name, _ in choices.added}
    for name, assembly in shop.catalogue.assemblies.items():
        if assembly.extra and name not in taken:
            extra = Line(name, 1, Condition.FRESH, Certainty.SEEN)
            alone = estimate(
                scope(replace(survey, lines=(extra,)), choices.level, shop.catalogue), shop
            )
            if alone.cost:
                found.append(
                    Offered(
                        f"extra-{name}",
                        "extra",
                        assembly.name,
                        _detail(alone.items, alone, 0),
                        rounded(alone.cost * lift, shop.settings),
                        None,
                        name,
                    )
                )
    return tuple(found)


def rounded(amount: float, settings: Settings) -> Decimal:
    """An amount as money, rounded to the shop's step for prices.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> settings = open_shop().settings
    >>> rounded(1234.567, settings.model_copy(update={"round_price_to": 5.0}))
    Decimal('1235.00')
    """
    money = to_money(amount, settings.currency)
    step = Decimal(str(settings.round_price_to))
    return to_money(round_half_up(money, step), settings.currency) if step else money
