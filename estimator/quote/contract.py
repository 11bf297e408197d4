"""The quote as plain numbers and words: what `quote.json` and `--json` promise."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from estimator.durations import mean_of
from estimator.estimate import Estimate
from estimator.money import as_number
from estimator.quote.records import LevelPrice, Quote, QuoteLine
from estimator.simulate import Driver, Sight

SHARES = (0.1, 0.25, 0.5, 0.75, 0.8, 0.9, 0.95)
"""Shares of jobs whose hours and cost stay within what is said for them."""
MARGIN_SHARES = (0.05, 0.1, 0.5, 0.9)
DAY_SHARES = (0.5, 0.8)
LOSSES = (0.05, 0.1, 0.2)
"""Shares of jobs that may lose money, for which a price is said."""


def quantile_key(what: str, share: float) -> str:
    """Key of a quantile.

    Examples
    --------
    >>> quantile_key("cost", 0.8), quantile_key("hours", 0.95)
    ('cost_p80', 'hours_p95')
    """
    return f"{what}_p{round(100 * share, 6):g}"


def as_dict(offer: Quote) -> dict:
    """The quote as plain numbers and words: the contract of `quote.json` and `--json`.

    Units end the keys; money is in `currency`. Keys are added over time, never changed.

    Examples
    --------
    >>> from estimator.catalogue import Era, Level
    >>> from estimator.quote import Choices, quote
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> machine = template(Era.MODERN, shop.catalogue)
    >>> found = as_dict(quote(machine, Choices(Level.CLEAN, trials=1000), shop))
    >>> found["currency"], found["hours_p50"] < found["hours_p80"]
    ('USD', True)
    """
    return {
        **_head(offer),
        **_money(offer),
        **_odds(offer),
        "lines": [_line(one) for one in offer.lines],
        "drivers": [_driver(one) for one in offer.drivers],
        "inspect_next": [_sight(one, offer) for one in offer.sights],
        "offered": [
            {"key": one.key, "kind": one.kind, "title": one.title, "price": as_number(one.price)}
            for one in offer.offered
        ],
        "taxes": [
            {"kind": one.kind, "rate": one.rate, "on": as_number(one.on),
             "amount": as_number(one.amount)}
            for one in offer.taxes
        ],
        "stages": [
            {"name": one.name, "due": one.due, "amount": as_number(one.amount)}
            for one in offer.stages
        ],
        "levels": [_level(one) for one in offer.levels],
        "parts_budget": {
            "total": round(offer.budget.total, 4),
            "orders": len(offer.budget.orders),
            "lines": len(offer.budget.rows),
        },
        **standard_dict(offer.job),
        "included": list(offer.included),
        "excluded": list(offer.excluded),
        "assumed": list(offer.assumed),
        "terms": list(offer.terms),
        "cautions": [row.text for row in offer.cautions],
    }


def _head(offer: Quote) -> dict:
    """Which quote this is: of which machine, what was asked for, how it was played."""
    machine = offer.survey.machine
    return {
        "schema": 1,
        "number": offer.number,
        "date": offer.on.isoformat(),
        "valid_until": offer.valid_until.isoformat(),
        "machine": {
            "title": machine.title,
            "maker": machine.maker,
            "year": machine.year,
            "era": str(machine.era),
            "serial": machine.serial,
            "customer": machine.customer,
            "customer_kind": machine.customer_kind,
        },
        "level": str(offer.choices.level),
        "pricing": offer.choices.pricing,
        "currency": offer.settings.currency,
        "confidence": offer.confidence,
        "margin": offer.margin,
        "trials": offer.odds.trials,
        "seed": offer.odds.seed,
        "sampler": offer.odds.sampler,
    }


def _money(offer: Quote) -> dict:
    """What it comes to."""
    return {
        "price": as_number(offer.price),
        "cap": None if offer.cap is None else as_number(offer.cap),
        "tax": as_number(offer.total - offer.price),
        "total": as_number(offer.total),
        "hourly_rate": round(offer.rate, 2),
        "find_allowance": as_number(offer.find_allowance),
        "cover": as_number(offer.cover),
    }


def _odds(offer: Quote) -> dict:
    """How sure it is: hours, cost, margin, days, and the chance of a loss."""
    odds, margins = offer.odds, offer.margins()
    hours, cost = odds.sure_of("hours", 0.8), odds.sure_of("cost", 0.8)
    return {
        "hours_mean": round(float(odds.hours.mean()), 2),
        **_quantiles("hours", SHARES, odds.at("hours", *SHARES), 2),
        "cost_mean": round(float(odds.cost.mean()), 2),
        **_quantiles("cost", SHARES, odds.at("cost", *SHARES), 2),
        "hours_p80_low": round(hours[0], 2),
        "hours_p80_high": round(hours[1], 2),
        "cost_p80_low": round(cost[0], 2),
        "cost_p80_high": round(cost[1], 2),
        "kinds_mean": {kind: round(float(rows.mean()), 2) for kind, rows in odds.kinds.items()},
        "margin_mean": round(float(margins.mean()), 4),
        **_quantiles("margin", MARGIN_SHARES, np.quantile(margins, MARGIN_SHARES), 4),
        "price_for_loss": [] if offer.cap is not None else [
            {"loss": loss, "price": round(offer.price_for_loss(loss), 2)} for loss in LOSSES],
        **_quantiles("days", DAY_SHARES, odds.at("days", *DAY_SHARES), 1),
        "finish_p80": offer.finish_p80.isoformat(),
        "chance_of_loss": round(offer.chance_of_loss, 4),
        "chance_of_loss_low": round(offer.loss_range[0], 4),
        "chance_of_loss_high": round(offer.loss_range[1], 4),
        "estimate_class": offer.estimate_class,
        "seen_share": round(offer.seen_share, 4),
    }


def _quantiles(what: str, shares: Sequence[float], found: Iterable[float], digits: int) -> dict:
    return {quantile_key(what, share): round(float(value), digits)
            for share, value in zip(shares, found, strict=True)}


def _line(line: QuoteLine) -> dict:
    return {
        "key": line.key,
        "kind": line.kind,
        "heading": line.heading,
        "title": line.title,
        "detail": line.detail,
        "price": as_number(line.price),
        "droppable": line.droppable,
        "kinds": {kind: as_number(amount) for kind, amount in line.kinds.items()},
        "hours_mean": round(line.hours, 3),
        "cost_mean": round(line.cost, 2),
        "rows": list(line.places),
    }


def _driver(driver: Driver) -> dict:
    return {
        "name": driver.name,
        "what": driver.what,
        "line": None if driver.line is None else driver.line + 1,
        "cost_low": round(driver.low, 2),
        "cost_high": round(driver.high, 2),
        "variance_share": round(driver.first, 4),
        "variance_share_total": round(driver.total, 4),
    }


def _sight(sight: Sight, offer: Quote) -> dict:
    return {
        "line": sight.line + 1,
        "title": offer.titles[sight.line],
        "chance": round(sight.chance, 4),
        "worth": round(sight.value, 2),
        "worth_minutes": round(60 * sight.value / offer.job.hour_cost, 1),
        "cost_if_fine": round(sight.fine, 2),
        "cost_if_worse": round(sight.worse, 2),
    }


def _level(view: LevelPrice) -> dict:
    return {
        "level": str(view.level),
        "price": as_number(view.price),
        "hours_p50": round(view.hours_p50, 2),
        "hours_p80": round(view.hours_p80, 2),
        "days_p80": round(view.days_p80, 1),
    }


def standard_dict(job: Estimate) -> dict:
    """What a review holds against what came: the part of the contract that an estimate gives.

    Sums that a review goes on reckoning with are not rounded.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> found = standard_dict(small_quote().job)
    >>> round(found["hour_cost"], 2), [one["service"] for one in found["outwork"]]
    (63.9, ['powder-coat-set', 'blasting'])
    """
    supplies: dict[str, dict] = {}
    for one in job.supplies:
        sums = supplies.setdefault(one.item, {
            "item": one.item, "name": one.name, "quantity": 0.0, "unit": one.unit,
            "cost_mean": 0.0})
        sums["quantity"] += one.quantity
        sums["cost_mean"] += mean_of(one.cost)
    return {
        "hour_cost": job.hour_cost,
        "finds": {"cost_mean": job.find_cost},
        "supplies": list(supplies.values()),
        "outwork": [
            {
                "service": lot.service,
                "quantity": round(lot.quantity, 3),
                "unit": lot.unit,
                "charge_low": round(lot.charge.low, 2),
                "charge_typical": round(lot.charge.typical, 2),
                "charge_high": round(lot.charge.high, 2),
                "charge_mean": mean_of(lot.charge),
                "lines": len(lot.shares),
            }
            for lot in job.lots
        ],
    }
