"""The answer as plain numbers and words: what `estimator resell --json` promises."""

from __future__ import annotations

from estimator.resale.paying import Chosen
from estimator.resale.records import Choice, Parted, Paying, Resale, Teardown


def as_dict(found: Resale) -> dict:
    """The answer as plain numbers: units end the keys, money is in `currency`.

    Keys are added over time, never changed. Lines are counted from 1.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import Deal, resale
    >>> from estimator.shop import open_shop
    >>> deal = Deal(5000, asking=1800, trials=100, on=date(2026, 3, 2))
    >>> found = as_dict(resale(small_survey(), deal, open_shop()))
    >>> found["currency"], found["asking"], found["choices"][0]["choice"] == found["best"]
    ('USD', 1800, False)
    """
    return {
        **_asked(found),
        **_advised(found),
        "choices": [_choice(one) for one in found.choices],
        "teardown": _teardown(found.teardown),
        "inspection": _inspection(found),
        "pays": _paying(found.paying),
        "parts": [_part(part) for part in found.parts],
        "changes": [{"what": turn.what, "factor": round(turn.factor, 4),
                     "figure": _money(turn.figure), "best_beyond": turn.to}
                    for turn in found.turns],
        "swings": [
            {"choice": one.key, "over": one.other or None, "profit_mean": _money(one.middle),
             "rows": [{"what": row.what, "low": _money(row.low), "high": _money(row.high)}
                      for row in one.rows]}
            for one in found.swings
        ],
        "notes": list(found.notes),
    }


def _asked(found: Resale) -> dict:
    """The machine, the deal and what of the shop's settings bears on it."""
    deal, machine = found.deal, found.survey.machine
    return {
        "schema": 1,
        "date": found.on.isoformat(),
        "machine": {"title": machine.title, "maker": machine.maker, "year": machine.year,
                    "era": str(machine.era), "serial": machine.serial},
        "currency": found.settings.currency,
        "value": deal.value,
        "asking": deal.asking,
        "paid": deal.paid,
        "paid_is_sunk": deal.paid is not None,
        "outlay": _money(found.outlay),
        "way": deal.way,
        "buying": deal.buying,
        "parts_way": deal.parts_way,
        "found": found.found,
        "found_because": found.found_why,
        "confidence": found.confidence,
        "want_per_year": found.want,
        "capital_rate_per_year": found.capital_rate,
        "hour_cost": _money(found.hour_cost),
        "bench_hour_earns": _money(found.hour_earns),
        "storage_per_month": found.settings.storage_cost_per_month,
        "bench_hours_per_week": found.settings.bench_hours_per_week,
        "trials": deal.trials,
        "seed": deal.seed,
    }


def _advised(found: Resale) -> dict:
    """What to do, by how much that leads, and the most to pay."""
    return {
        "best": found.best,
        "next_best": found.next_best,
        "best_bench_full": found.best_bench_full,
        "lead_mean": _money(found.lead),
        "lead_error": _money(found.lead_error),
        "highest_price": _money(found.bid.highest_price),
        "highest_price_for": found.bid.key,
        "highest_price_bench_full": _money(
            max(one.highest_price_bench_full for one in found.choices)),
    }


def _choice(one: Choice) -> dict:
    return {
        "choice": one.key,
        "name": one.name,
        "level": None if one.level is None else str(one.level),
        "ratio": None if one.ratio is None else list(one.ratio),
        "hours_mean": round(one.hours, 2),
        "hours_p80": round(one.hours_p80, 2),
        "cost_mean": _money(one.cost),
        "cost_p80": _money(one.cost_p80),
        "sale_net_mean": _money(one.sale),
        "sale_net_p10": _money(one.sale_p10),
        "sale_net_p90": _money(one.sale_p90),
        "months_mean": round(one.months, 2),
        "months_p80": round(one.months_p80, 2),
        "profit_mean": _money(one.profit),
        "profit_p10": _money(one.profit_p10),
        "profit_p50": _money(one.profit_p50),
        "profit_p90": _money(one.profit_p90),
        "chance_of_loss": round(one.chance_of_loss, 4),
        "worst_tenth_mean": _money(one.worst_tenth),
        "npv_mean": _money(one.worth),
        "npv_p10": _money(one.worth_p10),
        "npv_p50": _money(one.worth_p50),
        "npv_p90": _money(one.worth_p90),
        "irr_per_year": _share(one.earned.rate),
        "irr_why_none": one.earned.why,
        "irr_roots_per_year": [_share(root) for root in one.earned.roots],
        "mirr_per_year": _share(one.earned_modified),
        "payback_months": _share(one.payback),
        "payback_discounted_months": _share(one.payback_discounted),
        "profitability_index": _share(one.index),
        "break_even_sale_price": _money(one.break_even_price),
        "income_per_bench_hour": _money(one.per_hour),
        "more_income_per_more_hour": _money(one.more_per_hour),
        "profit_mean_bench_full": _money(one.profit_bench_full),
        "best_in_share": round(one.best_in, 4),
        "worse_than_as_found_share": round(one.worse_than_found, 4),
        "highest_price": _money(one.highest_price),
        "highest_price_bench_full": _money(one.highest_price_bench_full),
        "cash_by_month": [_money(flow) for flow in one.flows],
    }


def _inspection(found: Resale) -> dict:
    inspection = found.inspection
    return {
        "changes_over": _money(inspection.limit),
        "chance": round(inspection.chance, 4),
        "worth_perfect": _money(inspection.perfect),
        "worth": _money(inspection.value),
        "worth_of_knowing_all": _money(inspection.everything),
        "best_if_fine": inspection.fine,
        "best_if_bad": inspection.bad,
        "sees": found.settings.inspection_sees,
        "false_alarm": found.settings.inspection_false_alarm,
    }


def _teardown(found: Teardown | None) -> dict | None:
    if found is None:
        return None
    rule = found.rule
    return {
        "choice": found.key,
        "hours_mean": round(found.hours, 2),
        "cost_mean": _money(found.cost),
        "stop_over": _money(found.stop_over),
        "ways": list(rule.ways),
        "limits": [_money(limit) for limit in rule.limits],
        "shares": [round(share, 4) for share in rule.shares],
        "npv_mean": _money(rule.worth),
        "without_choice": rule.single,
        "npv_mean_without_choice": _money(rule.single_worth),
        "option_value": _money(rule.gain),
        "option_value_error": _money(rule.gain_error),
        "finds_p50": _money(found.finds_p50),
        "finds_p90": _money(found.finds_p90),
        "finds_most": _money(found.finds_most),
    }


def _part(part: Parted) -> dict:
    return {
        "line": part.listing.line + 1,
        "title": part.listing.title,
        "pieces": part.listing.count,
        "offers": part.listing.listings,
        "price_each": _money(part.price),
        "sold_share": part.listing.sold,
        "income_mean": _money(part.income),
        "hours_typical": round(part.listing.hours.typical, 2),
        "months_typical": part.listing.months.typical,
        "pays": part.pays,
    }


def _paying(found: Paying | None) -> dict | None:
    if found is None:
        return None
    return {
        "choice": found.key,
        "step": _money(found.step),
        "lines": [
            {"line": row.line + 1, "title": row.title, "gain": _money(row.gain),
             "cost_mean": _money(row.cost), "hours_mean": round(row.hours, 2),
             "optional": row.optional, "pays": row.pays,
             "chosen": row.line in found.chosen.lines}
            for row in found.lines
        ],
        "best": _set(found.chosen),
        "whole": _set(found.whole),
        "frontier": [_set(one) for one in found.frontier],
    }


def _set(one: Chosen) -> dict:
    return {"lines": [line + 1 for line in one.lines], "gain": _money(one.gain),
            "cost_mean": _money(one.cost), "hours_mean": round(one.hours, 2),
            "profit_mean": _money(one.profit), "proven": one.proven}


def _money(amount: float | None) -> float | None:
    return None if amount is None else round(amount, 2) + 0.0


def _share(share: float | None) -> float | None:
    return None if share is None else round(share, 4)


__all__ = ["as_dict"]
