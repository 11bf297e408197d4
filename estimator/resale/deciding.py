"""From a survey and a deal to what to do with the machine."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date

import numpy as np

from estimator import investing
from estimator.errors import BadInput, Fault
from estimator.investing import Earned
from estimator.resale import selling, stopping
from estimator.resale.after import teardown
from estimator.resale.cash import Cash
from estimator.resale.checking import faults
from estimator.resale.lines import paying_lines
from estimator.resale.measures import flow_measures, held_by, worst_mean
from estimator.resale.playing import AS_FOUND, Jobs, Played, Setting, play, premium_terms
from estimator.resale.records import LEAVE, Choice, Deal, Resale, Turn
from estimator.resale.swings import swings
from estimator.shop import Shop
from estimator.survey import Survey


def resale(survey: Survey, deal: Deal, shop: Shop, *, jobs: Jobs | None = None,
           progress: Callable[[float], bool | None] | None = None) -> Resale:
    """What to do with a machine: every choice on the same trials, and what follows from them.

    Parameters
    ----------
    survey
        Complete, as for a quote.
    jobs
        Where jobs and their odds are kept from one deal to the next.
    progress
        Told the share that is done; if it answers False, `simulate.Stopped` is raised.

    Raises
    ------
    BadInput
        With every fault of the deal, or where the tables hold no choice for such a machine.

    Examples
    --------
    >>> from estimator.catalogue import Era
    >>> from estimator.shop import open_shop
    >>> from estimator.survey import template
    >>> shop = open_shop()
    >>> found = resale(template(Era.DOT_MATRIX, shop.catalogue), Deal(5000, trials=500), shop)
    >>> found.best in {one.key for one in found.choices}
    True
    """
    on = deal.on or date.today()
    wrong = faults(deal, shop.catalogue, on)
    if survey.is_draft:
        wrong.insert(0, Fault("The survey has gaps, or its era is not known.",
                              "Run: estimator check, and fill them.", survey.file or None))
    if wrong:
        raise BadInput(wrong)
    here = Setting(survey, deal, shop, on, jobs)
    played, parts, notes = play(here, progress)
    if AS_FOUND not in played:
        raise BadInput(Fault(f'sale_ratios.csv has no row "{AS_FOUND}" for a machine found '
                             f"{here.found}.", "Add it: all choices are held against it."))
    base = played[AS_FOUND]
    bought = deal.asking is not None
    worths = {key: one.cash.worth(here.rate) for key, one in played.items()}
    if bought:
        worths[LEAVE] = np.zeros(deal.trials)
    best_in = _best_in(worths)
    choices = [_choice(here, one, base, bought, worths, best_in) for one in played.values()]
    if bought:
        choices.append(_leave(best_in[LEAVE], worths))
    order = sorted(choices, key=lambda one: -one.worth)
    lead = worths[order[0].key] - worths[order[1].key] if len(order) > 1 else np.zeros(1)
    full = {key: float(one.full.worth(here.rate).mean()) for key, one in played.items()}
    if bought:
        full[LEAVE] = 0.0
    down, seen = teardown(here, played, worths, parts)
    return Resale(
        survey=survey, deal=deal, settings=here.settings, on=on, found=here.found,
        found_why=here.found_why, confidence=here.confidence, want=here.want,
        capital_rate=here.settings.capital_rate_per_year, hour_cost=here.hour_cost,
        hour_earns=here.hour_earns, outlay=here.outlay, choices=tuple(choices),
        best=order[0].key, next_best=order[1].key if len(order) > 1 else order[0].key,
        best_bench_full=max(full, key=full.get),
        lead=float(lead.mean()),
        lead_error=float(lead.std() / math.sqrt(len(lead))), teardown=down,
        inspection=stopping.inspection(
            seen, worths, sees=here.settings.inspection_sees,
            false_alarm=here.settings.inspection_false_alarm),
        paying=paying_lines(here, played, worths), parts=parts,
        turns=tuple(_turns(here, played, worths, order[0].key)), notes=notes,
        swings=swings(here, played, [one.key for one in order if one.key != LEAVE]), worths=worths)


# --- what is said of them -------------------------------------------------------------------


def _best_in(worths: Mapping[str, np.ndarray]) -> dict[str, float]:
    """Share of the trials in which each choice is worth most; the first of those as good."""
    first = np.argmax(np.stack(list(worths.values())), axis=0)
    counts = np.bincount(first, minlength=len(worths)) / len(first)
    return dict(zip(worths, counts.tolist(), strict=True))


def _choice(here: Setting, one: Played, base: Played, bought: bool,
            worths: Mapping[str, np.ndarray], best_in: Mapping[str, float]) -> Choice:
    cash, worth = one.cash, worths[one.key]
    profit, income = cash.profit, cash.income
    hours = float(one.hours.mean())
    through = float((profit + one.hours * here.hour_cost).mean())
    more_hours = hours - float(base.hours.mean())
    base_through = float((base.cash.profit + base.hours * here.hour_cost).mean())
    return Choice(
        key=one.key, name=one.row.name, level=one.row.level,
        ratio=(one.row.low, one.row.typical, one.row.high),
        hours=hours, hours_p80=float(np.quantile(one.hours, 0.8)),
        cost=float(one.cost.mean()), cost_p80=float(np.quantile(one.cost, 0.8)),
        sale=float(income.mean()), sale_p10=float(np.quantile(income, 0.1)),
        sale_p90=float(np.quantile(income, 0.9)),
        months=float(cash.kept.mean()), months_p80=float(np.quantile(cash.kept, 0.8)),
        profit=float(profit.mean()),
        **{f"profit_p{q}": float(np.quantile(profit, q / 100)) for q in (10, 50, 90)},
        chance_of_loss=float(np.mean(profit < 0)), worst_tenth=worst_mean(profit),
        worth=float(worth.mean()),
        **{f"worth_p{q}": float(np.quantile(worth, q / 100)) for q in (10, 50, 90)},
        **flow_measures(cash, None if bought else base.cash, here.rate),
        break_even_price=_break_even(here, one),
        per_hour=through / hours if hours > 0.05 else None,
        more_per_hour=(through - base_through) / more_hours if more_hours > 0.05 else None,
        profit_bench_full=float(one.full.profit.mean()),
        best_in=best_in[one.key],
        worse_than_found=0.0 if one is base else float(np.mean(worth < worths[base.key])),
        highest_price=_highest(here, one.cash), highest_price_bench_full=_highest(here, one.full),
    )


def _highest(here: Setting, cash: Cash) -> float:
    """The most to bid: what is held at the confidence at the wanted rate, premium taken off."""
    without = replace(cash, now=0.0).worth(investing.monthly_rate(here.want))
    most = held_by(without, here.confidence) - here.deal.want_profit - here.deal.fetching
    return float(selling.hammer_for(max(most, 0.0), *here.premium, tax=here.deal.purchase_tax))


def _break_even(here: Setting, one: Played) -> float:
    """Sale price at which income covers what goes out on average. [money]"""
    needed = float((one.cash.income - one.cash.profit).mean())
    way = here.tables.ways[here.deal.way if one.row.method == "sell" else here.deal.parts_way]
    own = here.deal.fee if one.row.method == "sell" else None
    fee = way.typical if own is None else own
    fixed = way.fixed if one.row.method == "sell" else here.settings.disposal_cost
    hammer = selling.price_for(needed, fee, way.fee_minimum, way.fee_cap, fixed)
    return float(selling.all_in(hammer, *premium_terms(way)))


def _leave(best_in: float, worths: Mapping[str, np.ndarray]) -> Choice:
    """Not buying: nothing in, nothing out."""
    nothing = dict.fromkeys(Choice.__dataclass_fields__, 0.0)
    return Choice(**(nothing | {
        "key": LEAVE, "name": "Do not buy", "level": None, "ratio": None,
        "earned": Earned(None, (), "No money is paid out, so there is nothing to earn on."),
        "earned_modified": None, "payback": None, "payback_discounted": None, "index": None,
        "break_even_price": None, "per_hour": None, "more_per_hour": None, "best_in": best_in,
        "worse_than_found": float(np.mean(worths[AS_FOUND] > 0)), "flows": (0.0,)}))


# --- what would change the answer -----------------------------------------------------------


def _turns(here: Setting, played: Mapping[str, Played], worths: Mapping[str, np.ndarray],
           best: str) -> Iterable[Turn]:
    """Where another choice would be worth more on average, one thing changed at a time."""
    means = {key: float(row.mean()) for key, row in worths.items()}
    income = {key: float(one.cash.income_worth(here.rate).mean())
              for key, one in played.items()} | {LEAVE: 0.0}
    work = {key: float((replace(one.cash, spent=np.zeros_like(one.cash.spent)).worth(here.rate)
                        - worths[key]).mean()) for key, one in played.items()} | {LEAVE: 0.0}

    def nearest(slopes: Mapping[str, float], sign: int) -> tuple[float, str] | None:
        """The least change, as a share, that puts another choice before the best."""
        found = [((means[best] - means[key]) / (sign * (slopes[key] - slopes[best])), key)
                 for key in means if key != best and sign * (slopes[key] - slopes[best]) > 1e-9]
        return min(found) if found else None

    for what, slopes, figure in (("value", income, here.deal.value),
                                 ("work", {key: -cost for key, cost in work.items()}, None)):
        for sign in (1, -1):
            found = nearest(slopes, sign)
            # Under nothing, or many times as much, is no change that anyone would meet.
            if found is not None and found[0] < (0.8 if sign < 0 else 3):
                factor = 1 + sign * found[0]
                yield Turn(what, factor, None if figure is None else figure * factor, found[1])
    if here.deal.asking is not None:
        most = max(value for key, value in means.items() if key != LEAVE) + here.outlay
        hammer = float(selling.hammer_for(max(most - here.deal.fetching, 0.0), *here.premium,
                                          tax=here.deal.purchase_tax))
        yield Turn("asking", hammer / here.deal.asking if here.deal.asking else 0.0, hammer,
                   LEAVE if best != LEAVE else max(
                       (key for key in means if key != LEAVE), key=means.get))


__all__ = ["resale"]
