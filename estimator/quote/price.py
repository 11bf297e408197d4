"""From a survey and the choices made to a priced quote."""

from __future__ import annotations

import functools
import hashlib
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from estimator import buying, simulate
from estimator.catalogue import LEVELS, Catalogue, Level
from estimator.errors import BadInput, Fault, one_of, quoted
from estimator.estimate import Estimate, estimate, estimate_class
from estimator.labour import charge_out
from estimator.quote.lines import offered_lines, price_lines, rounded, title_of
from estimator.quote.records import FIXED, TIME, Choices, LevelPrice, Quote, income_of
from estimator.quote.terms import cautions_of, holds, stages_of, taxes_on, terms_of
from estimator.scope import scope
from estimator.shop import Settings, Shop
from estimator.simulate import Odds
from estimator.survey import Survey

COMPARE_MOST = 50_000


def quote(survey: Survey, choices: Choices, shop: Shop, *, compare: bool = True,
          progress: Callable[[float], bool | None] | None = None) -> Quote:
    """Price a survey.

    Parameters
    ----------
    compare
        Also price the other service levels, for showing them side by side.
    progress
        Told the share of the simulation that is done; if it answers False, `simulate.Stopped` is
        raised and nothing is changed.

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
    confidence, margin = aims_of(choices, shop.settings)
    settings = shop.settings.model_copy(update={"margin": margin})
    shop = replace(shop, settings=settings)
    on = choices.on or date.today()
    job = _job(survey, choices.level, choices.dropped, choices.added, settings.model_copy(
        update={"margin": 0.0}), shop.catalogue)
    works = job.scope
    odds = simulate.simulate(job, settings, trials=choices.trials, seed=choices.seed,
                             sampler=choices.sampler, progress=progress)
    price, cap, divisor = _price(odds, choices.pricing, confidence, settings)
    lines = price_lines(job, price, divisor, choices.pricing, settings, shop.catalogue)
    taxes = taxes_on(lines, settings)
    total = price + sum((entry.amount for entry in taxes), Decimal(0))
    left = income_of(odds, price, cap) * (1 - settings.warranty_share)
    grade, seen = estimate_class(job)
    notes = {
        says: tuple(
            row.text
            for row in shop.catalogue.scope_notes.values()
            if row.says == says and holds(row, choices.level)
        )
        for says in ("included", "excluded", "assumed")
    }
    return Quote(
        number=_number(survey, choices, on),
        on=on,
        valid_until=on + timedelta(days=settings.validity_days),
        finish_p80=on + timedelta(days=math.ceil(odds.at("days", 0.8)[0])),
        survey=survey,
        titles=tuple(title_of(line, shop.catalogue) for line in works.lines),
        supplier_names={name: row.name for name, row in shop.catalogue.suppliers.items()},
        choices=choices,
        settings=settings,
        level=shop.catalogue.levels[choices.level],
        confidence=confidence,
        margin=margin,
        lines=lines,
        offered=offered_lines(survey, choices, shop, divisor, price, job),
        price=price,
        cap=cap,
        taxes=taxes,
        total=total,
        stages=stages_of(total, settings),
        **notes,
        terms=terms_of(cap, settings),
        cautions=cautions_of(job, shop.catalogue),
        levels=_levels(survey, choices, shop, confidence, (price, odds)) if compare else (),
        job=job,
        odds=odds,
        budget=_budget(job, shop.catalogue, settings.currency),
        estimate_class=grade,
        seen_share=seen,
        chance_of_loss=odds.chance_of_loss(left),
        loss_range=odds.loss_range(left),
        rate=charge_out(job.hour_cost, margin),
    )


@functools.lru_cache(maxsize=32)
def _job(survey: Survey, level: Level, dropped: frozenset[int], added: tuple, settings: Settings,
         catalogue: Catalogue) -> Estimate:
    """The estimate, which confidence and margin do not change: they may slide."""
    works = scope(survey, level, catalogue, dropped=dropped, added=added)
    return estimate(works, Shop(settings, catalogue))


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
    if len(found) != 1:
        raise BadInput(Fault(f"{quoted(word)} is not a service level.", one_of(word, LEVELS),
                             column="level"))
    return found[0]


def aims_of(choices: Choices, settings: Settings) -> tuple[float, float]:
    """Confidence and margin that a quote aims at: those chosen, or the shop's.

    Raises
    ------
    BadInput
        With all that is wrong with the choices, other than those of lines.

    Examples
    --------
    >>> from estimator.catalogue import Level
    >>> from estimator.shop import open_shop
    >>> aims_of(Choices(Level.CLEAN, margin=0.3), open_shop().settings)
    (0.8, 0.3)
    """
    confidence = settings.confidence if choices.confidence is None else choices.confidence
    margin = settings.margin if choices.margin is None else choices.margin
    faults = []
    if not 0.05 <= confidence <= 0.99:
        faults.append(
            Fault(
                f"The confidence is {confidence:g}; it must be 0.05 to 0.99.",
                "Write 0.8 for 80 %.", column="confidence"
            )
        )
    most = 0.9 - settings.warranty_share
    if not 0 <= margin <= most:
        faults.append(
            Fault(f"The margin is {margin:g}; it must be 0 to {most:g}.", "Write 0.25 for 25 %.",
                  column="margin")
        )
    if not 100 <= choices.trials <= 1_000_000:
        faults.append(
            Fault(
                f"{choices.trials} trials; it must be 100 to 1,000,000.",
                "10,000 is right for a quote.",
                column="trials",
            )
        )
    if choices.sampler not in simulate.SAMPLERS:
        faults.append(Fault(f"{quoted(choices.sampler)} is not a way of drawing numbers.",
                            one_of(choices.sampler, simulate.SAMPLERS), column="sampler"))
    if choices.pricing not in (FIXED, TIME):
        faults.append(
            Fault(
                f"{quoted(choices.pricing)} is not a way of pricing.",
                one_of(choices.pricing, (FIXED, TIME)),
                column="pricing",
            )
        )
    if faults:
        raise BadInput(faults)
    return confidence, margin


def _price(odds: Odds, pricing: str, confidence: float, settings: Settings
           ) -> tuple[Decimal, Decimal | None, float]:
    """Price before tax, cap, and what a cost is divided by to become a price."""
    divisor = 1 - settings.margin - settings.warranty_share
    if pricing == TIME:
        (cap,) = odds.at("bill", settings.cap_confidence)
        return (rounded(float(odds.bill.mean()), settings), rounded(cap, settings), divisor)
    (cost,) = odds.at("cost", confidence)
    return rounded(cost / divisor, settings), None, divisor


def _budget(job: Estimate, catalogue: Catalogue, currency: str) -> buying.Budget:
    needs: dict[str, float] = {}
    for supply in job.supplies:
        if supply.does == "part":
            needs[supply.item] = needs.get(supply.item, 0.0) + supply.quantity
    # Shares of a need add up over the lines before whole pieces are bought.
    return buying.choose(
        needs,
        catalogue.parts,
        tuple(catalogue.offers.values()),
        tuple(catalogue.suppliers.values()),
        currency,
    )


def _levels(
    survey: Survey, choices: Choices, shop: Shop, confidence: float, chosen: tuple[Decimal, Odds]
) -> tuple[LevelPrice, ...]:
    """Every level with the same lines left out and the same random numbers."""
    found = []
    for level in LEVELS if choices.level == Level.AS_FOUND else LEVELS[1:]:
        row = shop.catalogue.levels[level]
        if level == choices.level:
            price, odds = chosen
        else:
            job = estimate(
                scope(survey, level, shop.catalogue, dropped=choices.dropped, added=choices.added),
                shop,
            )
            # Beside each other, levels need no more trials than show on paper.
            odds = simulate.simulate(job, shop.settings, seed=choices.seed,
                                     trials=min(choices.trials, COMPARE_MOST),
                                     sampler=choices.sampler)
            price, _, _ = _price(odds, choices.pricing, confidence, shop.settings)
        p50, p80 = odds.at("hours", 0.5, 0.8)
        found.append(
            LevelPrice(
                level,
                row.name,
                row.promise,
                price,
                p50,
                p80,
                odds.at("days", 0.8)[0],
                level == choices.level,
            )
        )
    return tuple(found)


def _number(survey: Survey, choices: Choices, on: date) -> str:
    """Number of a quote: its date, and a mark that changes when anything in it does."""
    said = repr(
        (
            survey.machine,
            survey.lines,
            choices.level,
            choices.pricing,
            choices.confidence,
            choices.margin,
            sorted(choices.dropped),
            choices.added,
            choices.seed,
            *((choices.sampler,) if choices.sampler != "random" else ()),
            *((survey.machine.customer_kind,) if survey.machine.customer_kind else ()),
        )
    )
    return f"{on:%y%m%d}-{hashlib.blake2b(said.encode(), digest_size=3).hexdigest().upper()}"
