"""The quote: a price with its odds, what is in it and what is not, on what terms.

Money is `Decimal` here, rounded once, and every list of amounts adds up to its total to the
cent. What an hour or a part costs stays a float until it becomes a price.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from estimator import buying, simulate
from estimator.catalogue import LEVELS, Catalogue, Caution, Level, LevelRow
from estimator.errors import BadInput, Fault, one_of
from estimator.estimate import KINDS, Estimate, estimate, estimate_class
from estimator.labour import charge_out
from estimator.money import allocate, round_half_up, tax, to_money
from estimator.scope import scope
from estimator.shop import Settings, Shop
from estimator.simulate import Odds
from estimator.survey import Survey

FIXED, TIME = "fixed price", "time and materials"


@dataclass(frozen=True)
class Choices:
    """What is asked for.

    Parameters
    ----------
    level
        Service level.
    pricing
        "fixed price", or "time and materials" with a cap.
    confidence
        Share of jobs that must stay within the cost that the price is built on; None takes the
        shop's. 0.05 to 0.99. [–]
    margin
        Share of the price that is left over cost at that confidence; None takes the shop's. [–]
    dropped
        Indexes of survey lines that the customer leaves out.
    added
        Extras taken: (assembly, count).
    trials, seed
        Of the simulation.
    on
        Date of the quote; None is today.
    """

    level: Level
    pricing: Literal["fixed price", "time and materials"] = FIXED
    confidence: float | None = None
    margin: float | None = None
    dropped: frozenset[int] = frozenset()
    added: tuple[tuple[str, int], ...] = ()
    trials: int = 10_000
    seed: int = 1
    on: date | None = None


@dataclass(frozen=True)
class QuoteLine:
    """One line that a customer reads.

    `kinds` splits the price into labour, parts, materials and outwork, to the cent. `hours` and
    `cost` are expected values for the shop alone. `line` is the index of the survey line.
    """

    key: str
    kind: Literal["work", "extra", "finds", "cover"]
    heading: str
    title: str
    detail: str
    price: Decimal
    kinds: Mapping[str, Decimal]
    droppable: bool = False
    hours: float = 0.0
    cost: float = 0.0
    line: int | None = None
    places: tuple[str, ...] = ()


@dataclass(frozen=True)
class Offered:
    """A line that is not in the price: left out by the customer, or an extra not taken.

    `price` is what it would add, before tax, as far as one line can be taken by itself.
    """

    key: str
    kind: Literal["left out", "extra"]
    title: str
    detail: str
    price: Decimal
    line: int | None = None
    assembly: str = ""


@dataclass(frozen=True)
class Tax:
    """Tax on the lines of one kind."""

    kind: str
    rate: float
    on: Decimal
    amount: Decimal


@dataclass(frozen=True)
class Stage:
    """A payment: what for, when, how much."""

    name: str
    due: str
    amount: Decimal


@dataclass(frozen=True)
class LevelPrice:
    """One service level beside the others, on the same random numbers."""

    level: Level
    name: str
    promise: str
    price: Decimal
    hours_p50: float
    hours_p80: float
    days_p80: float
    chosen: bool


@dataclass(frozen=True)
class Quote:
    """A quote and all it rests on.

    `price` is before tax, `total` with it. For time and materials `price` is the expected bill
    and `cap` the sum that is not passed without asking; for a fixed price `cap` is None.
    """

    number: str
    on: date
    valid_until: date
    finish_p80: date
    survey: Survey
    choices: Choices
    settings: Settings
    level: LevelRow
    confidence: float
    margin: float
    lines: tuple[QuoteLine, ...]
    offered: tuple[Offered, ...]
    price: Decimal
    cap: Decimal | None
    taxes: tuple[Tax, ...]
    total: Decimal
    stages: tuple[Stage, ...]
    included: tuple[str, ...]
    excluded: tuple[str, ...]
    assumed: tuple[str, ...]
    cautions: tuple[Caution, ...]
    levels: tuple[LevelPrice, ...]
    job: Estimate
    odds: Odds
    budget: buying.Budget
    estimate_class: int
    seen_share: float
    chance_of_loss: float
    rate: float

    @property
    def find_allowance(self) -> Decimal:
        """The allowance for finds, before tax."""
        return sum((line.price for line in self.lines if line.kind == "finds"), Decimal(0))

    @property
    def cover(self) -> Decimal:
        """What the price holds above expected cost and margin, for the risk of a fixed price."""
        return sum((line.price for line in self.lines if line.kind == "cover"), Decimal(0))

    def margins(self):
        """Share of the price left over in each trial, after the warranty reserve; (trials,)."""
        income = _income(self.odds, self.price, self.cap)
        return (income - self.odds.cost - self.settings.warranty_share * income) / income


def quote(survey: Survey, choices: Choices, shop: Shop, *, compare: bool = True) -> Quote:
    """Price a survey.

    Parameters
    ----------
    compare
        Also price the other service levels, for showing them side by side.

    Raises
    ------
    BadInput
        If the survey is a draft or a choice is out of range; every fault at once.

    Examples
    --------
    >>> from estimator.catalogue import Era
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> survey = template(Era.DOT_MATRIX, shop.catalogue)
    >>> offer = quote(survey, Choices(Level.SHOP_JOB, on=date(2026, 1, 5)), shop, compare=False)
    >>> offer.price == sum(line.price for line in offer.lines)
    True
    """
    confidence, margin = _checked(choices, shop.settings)
    settings = shop.settings.model_copy(update={"margin": margin})
    shop = replace(shop, settings=settings)
    on = choices.on or date.today()
    works = scope(survey, choices.level, shop.catalogue, dropped=choices.dropped, added=choices.added)
    job = estimate(works, shop)
    odds = simulate.simulate(job, settings, trials=choices.trials, seed=choices.seed)
    price, cap, divisor = _price(job, odds, choices.pricing, confidence, settings)
    lines = _lines(job, odds, price, divisor, choices.pricing, settings, shop.catalogue)
    taxes = _taxes(lines, settings)
    total = price + sum((entry.amount for entry in taxes), Decimal(0))
    income = _income(odds, price, cap)
    grade, seen = estimate_class(job)
    notes = {says: tuple(row.text for row in shop.catalogue.scope_notes.values()
                         if row.says == says and _holds(row, choices.level))
             for says in ("included", "excluded", "assumed")}
    return Quote(
        number=_number(survey, choices, on),
        on=on,
        valid_until=on + timedelta(days=settings.validity_days),
        finish_p80=on + timedelta(days=math.ceil(odds.at("days", 0.8)[0])),
        survey=survey,
        choices=choices,
        settings=settings,
        level=shop.catalogue.levels[choices.level],
        confidence=confidence,
        margin=margin,
        lines=lines,
        offered=_offered(survey, choices, shop, divisor, price, job),
        price=price,
        cap=cap,
        taxes=taxes,
        total=total,
        stages=_stages(total, settings),
        **notes,
        cautions=_cautions(job, shop.catalogue),
        levels=_levels(survey, choices, shop, confidence, (price, odds)) if compare else (),
        job=job,
        odds=odds,
        budget=_budget(job, shop.catalogue),
        estimate_class=grade,
        seen_share=seen,
        chance_of_loss=odds.chance_of_loss(income * (1 - settings.warranty_share)),
        rate=charge_out(job.hour_cost, margin),
    )


def level_named(word: str) -> Level:
    """A level from how people write it: "Shop job", "full", "show-grade".

    Raises
    ------
    BadInput
        If no level, or more than one, begins with the word.

    Examples
    --------
    >>> str(level_named("Full"))
    'full-restoration'
    """
    plain = "-".join(word.casefold().replace("_", " ").replace("-", " ").split())
    found = [level for level in LEVELS if level.startswith(plain)] if plain else []
    exact = [level for level in found if level == plain]
    if len(exact or found) != 1:
        raise BadInput(Fault(f'"{word}" is not a service level.', one_of(word, LEVELS)))
    return (exact or found)[0]


def _checked(choices: Choices, settings: Settings) -> tuple[float, float]:
    confidence = settings.confidence if choices.confidence is None else choices.confidence
    margin = settings.margin if choices.margin is None else choices.margin
    faults = []
    if not 0.05 <= confidence <= 0.99:
        faults.append(Fault(f"The confidence is {confidence:g}; it must be 0.05 to 0.99.",
                            "Write 0.8 for 80 %."))
    most = 0.9 - settings.warranty_share
    if not 0 <= margin <= most:
        faults.append(Fault(f"The margin is {margin:g}; it must be 0 to {most:g}.",
                            "Write 0.25 for 25 %."))
    if not 100 <= choices.trials <= 1_000_000:
        faults.append(Fault(f"{choices.trials} trials; it must be 100 to 1,000,000.",
                            "10,000 is right for a quote."))
    if choices.pricing not in (FIXED, TIME):
        faults.append(Fault(f'"{choices.pricing}" is not a way of pricing.',
                            one_of(choices.pricing, (FIXED, TIME))))
    if faults:
        raise BadInput(faults)
    return confidence, margin


def _price(job: Estimate, odds: Odds, pricing: str, confidence: float, settings: Settings
           ) -> tuple[Decimal, Decimal | None, float]:
    """Price before tax, cap, and what a cost is divided by to become a price."""
    divisor = 1 - settings.margin - settings.warranty_share
    if pricing == TIME:
        (cap,) = odds.at("bill", settings.cap_confidence)
        return (_rounded(float(odds.bill.mean()), settings), _rounded(cap, settings), divisor)
    (cost,) = odds.at("cost", confidence)
    return _rounded(cost / divisor, settings), None, divisor


def _rounded(amount: float, settings: Settings) -> Decimal:
    money = to_money(amount, settings.currency)
    step = Decimal(str(settings.round_price_to))
    return to_money(round_half_up(money, step), settings.currency) if step else money


def _income(odds: Odds, price: Decimal, cap: Decimal | None):
    import numpy as np
    return np.full(odds.trials, float(price)) if cap is None else np.minimum(odds.bill, float(cap))


def _lines(job: Estimate, odds: Odds, price: Decimal, divisor: float, pricing: str,
           settings: Settings, catalogue: Catalogue) -> tuple[QuoteLine, ...]:
    """The lines that add up to the price: the work, the finds, the cover for a fixed price."""
    rows: list[QuoteLine] = []
    wanted: list[Mapping[str, float]] = []
    for entry in job.lines:
        line = job.scope.lines[entry.line]
        assembly = catalogue.assemblies[line.assembly]
        extra = entry.line >= len(job.scope.lines) - sum(
            1 for found in job.scope.lines if catalogue.assemblies[found.assembly].extra)
        items = [item for item in job.items if item.line == entry.line]
        rows.append(QuoteLine(
            key=f"line-{entry.line + 1}",
            kind="extra" if extra and assembly.extra else "work",
            heading=assembly.group,
            title=f"{assembly.name} ({line.count})" if line.count != 1 else assembly.name,
            detail=_detail(line, items, job, entry.line),
            price=Decimal(0), kinds={},
            droppable=assembly.droppable or assembly.extra,
            hours=entry.hours, cost=entry.cost, line=entry.line,
            places=tuple(dict.fromkeys(
                catalogue.place(row) for item in items for row in (item.work.treatment, item.work.operation))),
        ))
        wanted.append(entry.kinds)
    if job.find_cost > 0:
        labour = job.find_hours * job.hour_cost
        rows.append(QuoteLine(
            "finds", "finds", "Allowance for finds", "Allowance for finds",
            "Damage that shows only after teardown, at its expected cost.",
            Decimal(0), {}, hours=job.find_hours, cost=job.find_cost))
        wanted.append({"labour": labour, "parts": job.find_cost - labour,
                       "materials": 0.0, "outwork": 0.0})
    asked = [{kind: amount * _factor(kind, pricing, divisor, settings)
              for kind, amount in kinds.items()} for kinds in wanted]
    base = math.fsum(math.fsum(kinds.values()) for kinds in asked)
    cover = float(price) - base
    if pricing == FIXED and cover > 0.005 * base:
        rows.append(QuoteLine(
            "cover", "cover", "Fixed-price cover", "Fixed-price cover",
            "What makes the price hold when the work takes longer than expected.",
            Decimal(0), {}))
        asked.append({"labour": cover, "parts": 0.0, "materials": 0.0, "outwork": 0.0})
    return _to_the_cent(rows, asked, price, settings.currency)


def _factor(kind: str, pricing: str, divisor: float, settings: Settings) -> float:
    """What a cost of this kind is multiplied by to become a price."""
    if pricing == FIXED:
        return 1 / divisor
    return {"labour": 1 / (1 - settings.margin), "parts": 1 + settings.parts_markup,
            "materials": 1 + settings.materials_markup,
            "outwork": 1 + settings.outwork_markup}[kind]


def _to_the_cent(rows: list[QuoteLine], asked: list[Mapping[str, float]], price: Decimal,
                 currency: str) -> tuple[QuoteLine, ...]:
    """Hand the price out over lines and kinds so that both ways of adding it up agree."""
    if not rows:
        return ()
    prices = allocate(price, [math.fsum(kinds.values()) for kinds in asked], currency)
    done = []
    for row, kinds, amount in zip(rows, asked, prices, strict=True):
        parts = allocate(amount, [kinds[kind] for kind in KINDS], currency) if amount else (
            (Decimal(0),) * len(KINDS))
        done.append(replace(row, price=amount, kinds=dict(zip(KINDS, parts, strict=True))))
    return tuple(done)


def _detail(line, items, job: Estimate, index: int) -> str:
    """What is done, in the words of the operations; then what is sent out."""
    names = list(dict.fromkeys(item.work.operation.name for item in items))
    names += [lot.name for lot in job.lots if index in lot.shares]
    said = "; ".join(names)
    return said[:1].upper() + said[1:]


def _taxes(lines: tuple[QuoteLine, ...], settings: Settings) -> tuple[Tax, ...]:
    """Tax by kind of line, rounded once per kind on the sum of the lines."""
    entries = []
    for kind in KINDS:
        rate = getattr(settings, f"tax_{kind}")
        base = sum((line.kinds.get(kind, Decimal(0)) for line in lines), Decimal(0))
        if rate and base:
            amount = tax([(base, Decimal(str(rate)))], settings.currency)
            entries.append(Tax(kind, rate, base, amount))
    return tuple(entries)


def _stages(total: Decimal, settings: Settings) -> tuple[Stage, ...]:
    """Deposit, then equal stages; the last before the machine leaves. They add up to the total."""
    later = settings.stage_count - 1
    if not later:
        return (Stage("Payment", "before the machine leaves", total),)
    if not settings.deposit_share:
        weights, names = [1.0] * settings.stage_count, []
    else:
        share = settings.deposit_share
        weights, names = [share] + [(1 - share) / later] * later, ["Deposit"]
    amounts = allocate(total, weights, settings.currency)
    stages = []
    for position, amount in enumerate(amounts):
        if position == 0 and names:
            stages.append(Stage("Deposit", "on acceptance", amount))
        elif position == len(amounts) - 1:
            stages.append(Stage("Balance", "before the machine leaves", amount))
        elif position == 1 or (position == 0 and not names):
            stages.append(Stage(f"Stage {position or 1}", "after teardown and inspection", amount))
        else:
            stages.append(Stage(f"Stage {position}", "during reassembly", amount))
    return tuple(stages)


def _holds(row, level: Level) -> bool:
    return LEVELS.index(row.level_from) <= LEVELS.index(level) <= LEVELS.index(row.level_to)


def _cautions(job: Estimate, catalogue: Catalogue) -> tuple[Caution, ...]:
    """The cautions of everything in the job, in the order of the table."""
    names: set[str] = set()
    for item in job.items:
        names |= set(item.work.operation.cautions)
    for lot in job.lots:
        names |= set(catalogue.services[lot.service].cautions)
    for supply in job.supplies:
        if supply.does == "material":
            names |= set(catalogue.materials[supply.item].cautions)
    for risk in job.risks:
        names |= set(risk.find.cautions)
    return tuple(row for name, row in catalogue.cautions.items() if name in names)


def _budget(job: Estimate, catalogue: Catalogue) -> buying.Budget:
    needs: dict[str, float] = {}
    for supply in job.supplies:
        if supply.does == "part":
            needs[supply.item] = needs.get(supply.item, 0.0) + supply.quantity
    # Shares of a need add up over the lines before whole pieces are bought.
    whole = {part: math.ceil(quantity - 1e-9) for part, quantity in needs.items()}
    return buying.choose(whole, catalogue.parts, tuple(catalogue.offers.values()),
                         tuple(catalogue.suppliers.values()))


def _offered(survey: Survey, choices: Choices, shop: Shop, divisor: float, price: Decimal,
             job: Estimate) -> tuple[Offered, ...]:
    """Lines left out and extras not taken, with what each would add."""
    # The cover grows with the job: what is added carries its share of it.
    known = job.cost + job.find_cost
    lift = float(price) / known if known else 1 / divisor
    found = []
    for index in sorted(choices.dropped):
        line = survey.lines[index]
        alone = estimate(scope(replace(survey, lines=(line,)), choices.level, shop.catalogue), shop)
        assembly = shop.catalogue.assemblies[line.assembly]
        found.append(Offered(
            f"line-{index + 1}", "left out",
            f"{assembly.name} ({line.count})" if line.count != 1 else assembly.name,
            "Left out at the customer's wish.",
            _rounded((alone.cost + alone.find_cost) * lift, shop.settings), index, line.assembly))
    taken = {name for name, _ in choices.added}
    for name, assembly in shop.catalogue.assemblies.items():
        if assembly.extra and name not in taken:
            alone = estimate(
                scope(replace(survey, lines=()), choices.level, shop.catalogue, added=((name, 1),)),
                shop) if survey.machine.era else None
            if alone and alone.cost:
                names = dict.fromkeys(item.work.operation.name for item in alone.items)
                said = "; ".join(names)
                found.append(Offered(
                    f"extra-{name}", "extra", assembly.name, said[:1].upper() + said[1:],
                    _rounded(alone.cost * lift, shop.settings), None, name))
    return tuple(found)


def _levels(survey: Survey, choices: Choices, shop: Shop, confidence: float,
            chosen: tuple[Decimal, Odds]) -> tuple[LevelPrice, ...]:
    """Every level with the same lines left out and the same random numbers."""
    found = []
    for level in LEVELS[1:]:
        row = shop.catalogue.levels[level]
        if level == choices.level:
            price, odds = chosen
        else:
            job = estimate(scope(survey, level, shop.catalogue, dropped=choices.dropped,
                                 added=choices.added), shop)
            odds = simulate.simulate(job, shop.settings, trials=choices.trials, seed=choices.seed)
            price, _, _ = _price(job, odds, choices.pricing, confidence, shop.settings)
        p50, p80 = odds.at("hours", 0.5, 0.8)
        found.append(LevelPrice(level, row.name, row.promise, price, p50, p80,
                                odds.at("days", 0.8)[0], level == choices.level))
    return tuple(found)


def _number(survey: Survey, choices: Choices, on: date) -> str:
    """Number of a quote: its date, and a mark that changes when anything in it does."""
    said = repr((survey.machine, survey.lines, choices.level, choices.pricing, choices.confidence,
                 choices.margin, sorted(choices.dropped), choices.added, choices.seed))
    return f"{on:%y%m%d}-{hashlib.blake2b(said.encode(), digest_size=3).hexdigest().upper()}"


def as_dict(offer: Quote) -> dict:
    """The quote as plain numbers and words: the contract of `quote.json` and `--json`.

    Units end the keys; money is in `currency`. Keys are added over time, never changed.
    """
    odds = offer.odds
    p = (0.1, 0.5, 0.8, 0.9, 0.95)
    hours, cost = odds.at("hours", *p), odds.at("cost", *p)
    machine = offer.survey.machine
    budget = offer.budget
    return {
        "schema": 1,
        "number": offer.number,
        "date": offer.on.isoformat(),
        "valid_until": offer.valid_until.isoformat(),
        "machine": {"title": machine.title, "maker": machine.maker, "year": machine.year,
                    "era": str(machine.era), "serial": machine.serial,
                    "customer": machine.customer},
        "level": str(offer.choices.level),
        "pricing": offer.choices.pricing,
        "currency": offer.settings.currency,
        "confidence": offer.confidence,
        "margin": offer.margin,
        "trials": odds.trials,
        "seed": odds.seed,
        "price": _plain(offer.price),
        "cap": None if offer.cap is None else _plain(offer.cap),
        "tax": _plain(offer.total - offer.price),
        "total": _plain(offer.total),
        "hourly_rate": round(offer.rate, 2),
        "find_allowance": _plain(offer.find_allowance),
        "cover": _plain(offer.cover),
        "hours_mean": round(float(odds.hours.mean()), 2),
        **{f"hours_p{round(100 * q)}": round(v, 2) for q, v in zip(p, hours, strict=True)},
        "cost_mean": round(float(odds.cost.mean()), 2),
        **{f"cost_p{round(100 * q)}": round(v, 2) for q, v in zip(p, cost, strict=True)},
        "days_p50": round(odds.at("days", 0.5)[0], 1),
        "days_p80": round(odds.at("days", 0.8)[0], 1),
        "finish_p80": offer.finish_p80.isoformat(),
        "chance_of_loss": round(offer.chance_of_loss, 4),
        "estimate_class": offer.estimate_class,
        "seen_share": round(offer.seen_share, 4),
        "lines": [
            {"key": line.key, "kind": line.kind, "heading": line.heading, "title": line.title,
             "detail": line.detail, "price": _plain(line.price), "droppable": line.droppable,
             "kinds": {kind: _plain(amount) for kind, amount in line.kinds.items()},
             "hours_mean": round(line.hours, 3), "cost_mean": round(line.cost, 2),
             "rows": list(line.places)}
            for line in offer.lines
        ],
        "offered": [{"key": o.key, "kind": o.kind, "title": o.title, "price": _plain(o.price)}
                    for o in offer.offered],
        "taxes": [{"kind": t.kind, "rate": t.rate, "on": _plain(t.on), "amount": _plain(t.amount)}
                  for t in offer.taxes],
        "stages": [{"name": s.name, "due": s.due, "amount": _plain(s.amount)} for s in offer.stages],
        "levels": [{"level": str(v.level), "price": _plain(v.price),
                    "hours_p50": round(v.hours_p50, 2), "hours_p80": round(v.hours_p80, 2),
                    "days_p80": round(v.days_p80, 1)} for v in offer.levels],
        "parts_budget": {"total": round(float(budget.total), 2), "orders": len(budget.orders),
                         "lines": len(budget.rows)},
        "outwork": [{"service": lot.service, "quantity": round(lot.quantity, 3), "unit": lot.unit,
                     "charge_low": round(lot.charge.low, 2),
                     "charge_typical": round(lot.charge.typical, 2),
                     "charge_high": round(lot.charge.high, 2)} for lot in offer.job.lots],
        "included": list(offer.included),
        "excluded": list(offer.excluded),
        "assumed": list(offer.assumed),
        "cautions": [row.text for row in offer.cautions],
    }


def _plain(amount: Decimal) -> float | int:
    return int(amount) if amount == amount.to_integral_value() else float(amount)


__all__ = [
    "FIXED", "TIME", "Choices", "LevelPrice", "Offered", "Quote", "QuoteLine",
    "Stage", "Tax", "as_dict", "level_named", "quote",
]
