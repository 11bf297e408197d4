"""Reviews as plain numbers and words: what `estimator review --json` promises.

Units end the keys: `_h` hours, `_share` and `_ratio` numbers without unit; money is in
`currency`. Keys are added over time, never changed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from estimator.earned import Forecast, Status
from estimator.review.books import SHARES
from estimator.review.records import (
    ByRecords,
    Enough,
    Group,
    HourCost,
    JobReview,
    Reserve,
    ShopReview,
    Walk,
)
from estimator.variances import Review, side


def job_dict(found: JobReview, currency: str) -> dict:
    """One job's review.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_shop
    >>> from estimator.review import of_job
    >>> with small_shop() as (ledger, shop):
    ...     found = job_dict(of_job(ledger, "Night Ferry", shop, on=date(2026, 3, 6)), "USD")
    >>> found["expected_h"], found["booked_h"], found["margin"]["left"]
    (3.526, 4.63, 252.161)
    """
    margin = found.margin
    return {
        "currency": currency,
        "number": found.job.number,
        "name": found.job.name,
        "state": found.job.state,
        "level": found.level,
        "customer_kind": found.customer_kind,
        "date": found.on.isoformat(),
        "expected_h": _h(found.expected),
        "booked_h": _h(found.booked),
        "found_h": _h(found.found),
        "done_again_h": _h(found.again),
        "warranty_h": _h(found.came_back),
        "unbilled_h": {kind: _h(hours) for kind, hours in found.unbilled.items()},
        "hours_by": _groups(found.groups),
        "hour_cost": _money(found.hour_cost),
        "costs": _costs(found.costs),
        "variances": _variances(found.variances),
        "margin": {
            "income": _money(margin.income),
            "sold": margin.sold,
            "cost": _money(margin.cost),
            "warranty_cost": _money(margin.warranty),
            "left": _money(margin.left),
            "left_share": _ratio(margin.share),
        },
        "quoted": {f"{what}_p{round(100 * share)}{'_h' if what == 'hours' else ''}": value
                   for what, values in found.outcomes.items() for share, value in values.items()},
        "progress": _progress(found.progress),
        "forecast": _forecast(found.forecast),
        "notes": list(found.notes),
    }


def shop_dict(found: ShopReview, currency: str, walked: Walk | None = None) -> dict:
    """The review of all closed jobs; with how they would have been forecast by the shop's records.

    Parameters
    ----------
    currency
        Three letters after ISO 4217.
    walked
        How jobs would have been forecast by the records of earlier ones; None leaves that out.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_shop
    >>> from estimator.review import of_shop
    >>> with small_shop() as (ledger, shop):
    ...     found = shop_dict(of_shop(ledger, shop, on=date(2026, 3, 6)), "USD")
    >>> found["closed_jobs"], found["levels"][0]["left_share"], found["chart"]["signals"]
    (3, 0.3367, [])
    """
    return {
        "currency": currency,
        "closed_jobs": len(found.jobs),
        "jobs": [_closed(one) for one in found.jobs],
        "hours_by": _groups(found.groups),
        "costs": _costs(found.costs),
        "variances": _variances(found.variances),
        "enough": _enough(found.enough),
        "by_records": None if walked is None else _by_records(walked),
        "chart": _chart(found),
        "levels": [
            {"level": one.name, "jobs": one.jobs, "income": _money(one.income),
             "cost": _money(one.cost), "left_share": _ratio(one.share)}
            for one in found.levels
        ],
        "margins_by": {
            _key(by): [{"name": one.name, "jobs": one.jobs, "income": _money(one.income),
                        "cost": _money(one.cost), "left": _money(one.left),
                        "left_share": _ratio(one.share)} for one in groups]
            for by, groups in found.margins.items()
        },
        "warranty": _warranty(found.reserve),
        "unbilled_h": {kind: _h(hours) for kind, hours in found.unbilled.items()},
        "hour": _hour(found.hour),
        "notes": list(found.notes),
    }


def _closed(one: JobReview) -> dict:
    """A closed job among all."""
    return {
        "number": one.job.number,
        "name": one.job.name,
        "level": one.level,
        "customer_kind": one.customer_kind,
        "closed": one.job.closed.isoformat(),
        "expected_h": _h(one.expected),
        "booked_h": _h(one.booked),
        "found_h": _h(one.found),
        "done_again_h": _h(one.again),
        "warranty_h": _h(one.came_back),
        "income": _money(one.margin.income),
        "sold": one.margin.sold,
        "cost": _money(one.margin.cost),
        "left": _money(one.margin.left),
        "left_share": _ratio(one.margin.share),
        "cost_quoted": _money(one.variances.quoted) if one.variances else None,
    }


def _by_records(walked: Walk) -> dict:
    return {
        "jobs": [
            {"number": number,
             **{f"hours_p{round(100 * share)}_h": _h(hours)
                for share, hours in quantiles.items()},
             "came_h": _h(came), "place_share": _ratio(place)}
            for number, quantiles, came, place in zip(
                walked.jobs, walked.quantiles, walked.came, walked.places, strict=True)
        ],
        "enough": _enough(walked.enough),
        "places_by_tenth": list(walked.histogram),
    }


def _hour(found: HourCost) -> dict:
    """What an hour costs and how many of them quotes pay for."""
    return {
        "billed_h": _h(found.billed),
        "unbilled_h": _h(found.unbilled),
        "booked_share": _ratio(found.share),
        "settings_share": found.settings_share,
        "cost_by_settings": _money(found.settings_cost),
        "cost_by_bookings": _money(found.cost),
        "charged_at": _money(found.rate),
        "break_even_h_per_year": round(found.break_even, 1),
    }


def forecasts_of(status: Status) -> dict[str, float | None]:
    """The published estimates at completion, by what each supposes of the rest. [h]

    Examples
    --------
    >>> found = forecasts_of(Status(budget=40.0, planned=20.0, earned=16.0, spent=20.0))
    >>> {name: round(hours, 1) for name, hours in found.items()}
    {'at_budget': 44.0, 'at_cpi': 50.0, 'at_cpi_and_spi': 57.5}
    """
    return {"at_budget": status.eac_at_budget, "at_cpi": status.eac_at_cpi,
            "at_cpi_and_spi": status.eac_at_both}


def _progress(status: Status | None) -> dict | None:
    if status is None:
        return None
    return {
        "budget_h": _h(status.budget),
        "planned_h": _h(status.planned),
        "earned_h": _h(status.earned),
        "spent_h": _h(status.spent),
        "cost_variance_h": _h(status.cost_variance),
        "schedule_variance_h": _h(status.schedule_variance),
        "cpi_ratio": _ratio(status.cpi),
        "spi_ratio": _ratio(status.spi),
        "at_completion": {
            name: None if eac is None else {
                "total_h": _h(eac), "to_come_h": _h(status.etc(eac)),
                "variance_h": _h(status.vac(eac)), "tcpi_ratio": _ratio(status.tcpi(eac))}
            for name, eac in forecasts_of(status).items()
        },
        "tcpi_to_budget_ratio": _ratio(status.tcpi(status.budget)),
        "notes": list(status.notes),
    }


def _forecast(found: Forecast | None) -> dict | None:
    return None if found is None else {
        "own_weight_share": _ratio(found.weight), "rest_ratio": _ratio(found.ratio),
        "spent_h": _h(found.spent), "to_come_h": _h(found.rest), "total_h": _h(found.mean),
        "low_h": _h(found.low), "high_h": _h(found.high)}


def _chart(found: ShopReview) -> dict | None:
    chart = found.chart
    if chart is None:
        return None
    low, high = chart.limits
    return {
        "points": [{"number": number, "ratio": _ratio(math.exp(point))}
                   for number, point in zip(found.charted, chart.points, strict=True)],
        "centre_ratio": _ratio(math.exp(chart.centre)),
        "low_ratio": _ratio(math.exp(low)),
        "high_ratio": _ratio(math.exp(high)),
        "signals": [{"number": found.charted[one.at], "rule": one.rule, "words": one.words,
                     "side": "longer" if one.side > 0 else "shorter"} for one in chart.signals],
        "caution": chart.caution,
    }


def _enough(rows: Iterable[Enough]) -> list[dict]:
    return [{"what": one.what, "quantile_share": one.share, "jobs": one.held.cases,
             "enough_jobs": one.held.hits, "enough_share": _ratio(one.held.share),
             "low_share": _ratio(one.held.low), "high_share": _ratio(one.held.high),
             "luck_share": round(one.luck, 4)}
            for one in rows]


def _warranty(found: Reserve | None) -> dict | None:
    return None if found is None else {
        "closed_days": found.days,
        "jobs": [{"number": one.job, "reserve": _money(one.reserve),
                  "came_back_h": _h(one.hours), "came_back_cost": _money(one.cost)}
                 for one in found.jobs],
        "reserve": _money(found.held),
        "reserve_share": _ratio(found.held_share),
        "came_back_h": _h(found.hours),
        "came_back_cost": _money(found.cost),
        "needed_share": _ratio(found.needed_share),
        "jobs_came_back": found.back,
        "came_back_low_share": _ratio(found.low),
        "came_back_high_share": _ratio(found.high),
    }


def records_dict(found: ByRecords | None) -> dict:
    """Hours of an offer by the shop's records, as `estimator quote --json` has them.

    Examples
    --------
    >>> found = records_dict(ByRecords(12, 340, {0.5: 41.5, 0.8: 51.0, 0.9: 57.25}))
    >>> found["hours_by_records_p80"], found["records_jobs"], records_dict(None)["records_jobs"]
    (51.0, 12, None)
    """
    return {
        **{f"hours_by_records_p{round(100 * share)}":
           None if found is None else round(found.hours[share], 2) for share in SHARES},
        "records_jobs": None if found is None else found.jobs,
        "records_tasks": None if found is None else found.tasks,
    }


def _groups(groups: Mapping[str, tuple[Group, ...]]) -> dict:
    return {
        _key(by): [
            {"name": one.name, "jobs": one.jobs, "items": one.items, "worked": one.worked,
             "expected_h": _h(one.expected), "expected_worked_h": _h(one.expected_worked),
             "booked_h": _h(one.booked), "booked_ratio": _ratio(one.ratio)}
            for one in found
        ]
        for by, found in groups.items()
    }


def _key(by: str) -> str:
    return by.replace(" ", "_")


def _costs(lines) -> list[dict]:
    return [{"kind": one.kind, "quoted": _money(one.quoted), "actual": _money(one.actual)}
            for one in lines]


def _variances(found: Review | None) -> dict | None:
    return None if found is None else {
        "quoted": _money(found.quoted),
        "actual": _money(found.actual),
        "total": _money(found.total),
        "parts": [{"kind": one.kind, "cause": one.cause, "amount": _money(one.amount),
                   "side": side(round(one.amount, 2))} for one in found.parts],
    }


def _h(hours: float) -> float:
    return round(hours, 4)


def _money(amount) -> float | None:
    return None if amount is None else round(float(amount), 4)


def _ratio(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
