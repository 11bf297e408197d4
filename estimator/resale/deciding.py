"""From a survey and a deal to what to do with the machine."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from estimator import durations, investing, labour
from estimator.catalogue import LEVELS, Era, Level, SaleRatio, Way
from estimator.durations import Range
from estimator.errors import BadInput, Fault
from estimator.estimate import Estimate, estimate
from estimator.investing import Earned
from estimator.picking import Shared
from estimator.resale import parting, paying, selling, stopping
from estimator.resale.cash import DAYS, Cash, months
from estimator.resale.checking import faults
from estimator.resale.drawing import Market
from estimator.resale.measures import flow_measures, held_by, worst_mean
from estimator.resale.records import (
    LEAVE,
    Choice,
    Deal,
    Parted,
    Paying,
    PayingLine,
    Resale,
    Teardown,
    Turn,
)
from estimator.scope import scope
from estimator.shop import Shop
from estimator.simulate import Odds, simulate
from estimator.simulate.plan import plan_of
from estimator.survey import Survey

AS_FOUND = "as-found"
_TEARDOWN = ("inspect", "remove", "dismantle")
_REFIT = "assemble"


@dataclass(frozen=True)
class _Played:
    """A choice in every trial: its cash with hours at cost, and with what they earn otherwise."""

    key: str
    row: SaleRatio | None
    cash: Cash
    full: Cash
    hours: np.ndarray
    cost: np.ndarray
    job: Estimate | None = None
    odds: Odds | None = None


class _Setting:
    """All that the choices share: the market, fees, rates, the machine's state."""

    def __init__(self, survey: Survey, deal: Deal, shop: Shop, on: date):
        self.survey, self.deal, self.on = survey, deal, on
        said = {"storage_cost_per_month": deal.storage_per_month,
                "capital_rate_per_year": deal.capital_rate,
                "bench_hours_per_week": deal.hours_per_week}
        self.settings = settings = shop.settings.model_copy(
            update={key: value for key, value in said.items() if value is not None})
        self.shop = replace(shop, settings=settings)
        self.tables = shop.catalogue
        self.era: Era = survey.machine.era
        self.rate = investing.monthly_rate(settings.capital_rate_per_year)
        self.want = settings.capital_rate_per_year if deal.want is None else deal.want
        self.confidence = settings.confidence if deal.confidence is None else deal.confidence
        self.hour_cost = _hour_cost(settings)
        earns = settings.bench_hour_earns if deal.bench_hour_earns is None \
            else deal.bench_hour_earns
        self.hour_earns = earns or labour.charge_out(self.hour_cost, settings.margin)
        self.market = Market(deal.seed, deal.trials, settings.ratio_share)
        low = deal.value * (1 - settings.value_spread) if deal.value_low is None \
            else deal.value_low
        high = deal.value * (1 + settings.value_spread) if deal.value_high is None \
            else deal.value_high
        self.value = self.market.amount("value", Range(low, deal.value, high))
        self.found, self.found_why = _state(survey, deal, self.era, self.tables, settings)
        self.outlay = 0.0
        if deal.asking is not None:
            self.outlay = float(selling.all_in(deal.asking, *self.premium,
                                               tax=deal.purchase_tax)) + deal.fetching

    @property
    def premium(self) -> tuple[float, float, float | None]:
        """Buyer's premium of where it is bought: share, least, greatest."""
        return _premium(self.tables.ways[self.deal.buying], self.deal.premium)

    def row(self, choice: str) -> SaleRatio | None:
        """The row of a choice that holds for this machine, the nearest first."""
        for found, era in ((self.found, self.era), (self.found, None), (None, self.era),
                           (None, None)):
            row = self.tables.sale_ratios.get((choice, found, era))
            if row is not None:
                return row
        return None

    def ratio(self, row: SaleRatio, state: str = "") -> np.ndarray:
        return self.market.ratio(state or row.choice, Range(row.low, row.typical, row.high))

    def fee(self, way: Way, own: float | None) -> np.ndarray:
        if own is not None:
            return np.full(self.deal.trials, own)
        return self.market.amount(f"fee of {way.way}", Range(way.low, way.typical, way.high))

    def income(self, ratio: np.ndarray) -> np.ndarray:
        """What the sale of the whole machine leaves in each trial. [money]"""
        way = self.tables.ways[self.deal.way]
        price = self.value * ratio * self.market.amount(
            f"price by {way.way}", Range(way.price_low, way.price_typical, way.price_high))
        hammer = selling.hammer_for(price, *_premium(way))
        return selling.kept(hammer, self.fee(way, self.deal.fee), way.fee_minimum, way.fee_cap,
                            way.fixed)

    def days(self) -> np.ndarray:
        """Days to sell the whole machine. [d]"""
        table = self.tables.days_to_sell
        row = table.get((self.deal.way, self.era)) or table[self.deal.way, None]
        return self.market.amount(f"days by {row.way}", Range(row.low, row.typical, row.high))


def resale(survey: Survey, deal: Deal, shop: Shop) -> Resale:
    """What to do with a machine: every choice on the same trials, and what follows from them.

    Parameters
    ----------
    survey
        Complete, as for a quote.

    Raises
    ------
    BadInput
        With every fault of the deal, or where the tables hold no choice for such a machine.

    Examples
    --------
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
    here = _Setting(survey, deal, shop, on)
    played, parts, notes = _played(here)
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
    teardown, seen = _teardown(here, played, worths, parts)
    return Resale(
        survey=survey, deal=deal, settings=here.settings, on=on, found=here.found,
        found_why=here.found_why, confidence=here.confidence, want=here.want,
        capital_rate=here.settings.capital_rate_per_year, hour_cost=here.hour_cost,
        hour_earns=here.hour_earns, outlay=here.outlay, choices=tuple(choices),
        best=order[0].key, next_best=order[1].key if len(order) > 1 else order[0].key,
        best_bench_full=max(full, key=full.get),
        lead=float(lead.mean()),
        lead_error=float(lead.std() / math.sqrt(len(lead))), teardown=teardown,
        inspection=stopping.inspection(
            seen, worths, sees=here.settings.inspection_sees,
            false_alarm=here.settings.inspection_false_alarm),
        paying=_paying(here, played, worths), parts=parts,
        turns=tuple(_turns(here, played, worths, order[0].key)), notes=notes, worths=worths)


# --- the choices in every trial -------------------------------------------------------------


def _played(here: _Setting) -> tuple[dict[str, _Played], tuple[Parted, ...], tuple[str, ...]]:
    found: dict[str, _Played] = {}
    parts: tuple[Parted, ...] = ()
    notes = []
    floor = here.row(AS_FOUND)
    least = None if floor is None else here.ratio(floor)
    for choice in dict.fromkeys(row.choice for row in here.tables.sale_ratios.values()):
        row = here.row(choice)
        if row is None:
            notes.append(f'"{choice}" has no row for a machine found {here.found} of this era.')
        elif row.method == "part-out":
            found[choice], parts = _parted(here, row)
        else:
            found[choice] = _worked(here, row, least)
    return found, parts, tuple(notes)


def _worked(here: _Setting, row: SaleRatio, least: np.ndarray | None) -> _Played:
    """A choice that ends in the sale of the whole machine."""
    deal, settings = here.deal, here.settings
    dropped = frozenset(k for k, line in enumerate(here.survey.lines)
                        if line.assembly in row.without)
    works = scope(here.survey, row.level, here.tables, dropped=dropped,
                  added=tuple((name, 1) for name in row.adds))
    job = estimate(works, here.shop)
    odds = simulate(job, settings, trials=deal.trials, seed=deal.seed)
    ratio = here.ratio(row)
    if least is not None:
        # Work never makes a machine worth less than it was.
        ratio = np.maximum(ratio, least)
    # The look on arrival is done before the machine is offered; it does not hold up its sale.
    days = np.zeros(deal.trials) if row.level == Level.AS_FOUND else odds.days
    wait = 0 if row.level == Level.AS_FOUND else deal.wait_weeks * 7
    sold = months(wait + days + here.days())
    income = here.income(ratio)
    other = odds.cost - odds.hours * odds.hour_cost
    after = int(wait // DAYS)
    now = here.outlay

    def cash(spent: np.ndarray) -> Cash:
        works = months(wait + days) - after
        return Cash(spent, np.maximum(works, 1), sold, settings.storage_cost_per_month,
                    ((income, sold),), after, now)

    return _Played(row.choice, row, cash(odds.cost), cash(other + odds.hours * here.hour_earns),
                   odds.hours, odds.cost, job, odds)


def _parted(here: _Setting, row: SaleRatio) -> tuple[_Played, tuple[Parted, ...]]:
    """The machine taken to pieces and sold offer by offer."""
    deal, settings, way = here.deal, here.settings, here.tables.ways[here.deal.parts_way]
    names = scope(here.survey, Level.AS_FOUND, here.tables).names
    listings = parting.inventory(here.survey, here.era, names, here.tables)
    ratio = durations.pert_mean(row.low, row.typical, row.high)
    fee = here.fee(way, None)
    price = durations.pert_mean(way.price_low, way.price_typical, way.price_high)
    parts = tuple(
        Parted(one, one.price(deal.value, row.typical),
               one.expected(float(here.value.mean()), ratio) * price * (1 - float(fee.mean())),
               durations.mean_of(one.hours) * here.hour_cost)
        for one in listings)
    gross = here.value * here.ratio(row) * here.market.amount(
        f"price by {way.way}", Range(way.price_low, way.price_typical, way.price_high))
    hours = np.zeros(deal.trials)
    sales, kept = [], np.ones(deal.trials, int)
    taken = [part.listing for part in parts if part.pays]
    for one in taken:
        hours += here.market.amount(f"hours of parting {one.name}", one.hours)
    wait = deal.wait_weeks * 7
    works = months(wait + hours * 7 / settings.bench_hours_per_week)
    for one in taken:
        sold = here.market.sold(one.name, one.listings, one.sold)
        income = gross * one.share / (one.sold * one.listings) * sold * (1 - fee)
        month = months(works * DAYS + DAYS * here.market.amount(
            f"months of {one.name}", one.months))
        sales.append((income, month))
        kept = np.maximum(kept, month)
    # What is left goes when the last part does.
    sales.append((np.full(deal.trials, -settings.disposal_cost), kept))
    after = int(wait // DAYS)

    def cash(hour: float) -> Cash:
        return Cash(hours * hour, np.maximum(works - after, 1), kept,
                    settings.storage_cost_per_month, tuple(sales), after, here.outlay)

    return (_Played(row.choice, row, cash(here.hour_cost), cash(here.hour_earns), hours,
                    hours * here.hour_cost), parts)


# --- what is said of them -------------------------------------------------------------------


def _best_in(worths: Mapping[str, np.ndarray]) -> dict[str, float]:
    """Share of the trials in which each choice is worth most; the first of those as good."""
    first = np.argmax(np.stack(list(worths.values())), axis=0)
    counts = np.bincount(first, minlength=len(worths)) / len(first)
    return dict(zip(worths, counts.tolist(), strict=True))


def _choice(here: _Setting, one: _Played, base: _Played, bought: bool,
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


def _highest(here: _Setting, cash: Cash) -> float:
    """The most to bid: what is held at the confidence at the wanted rate, premium taken off."""
    without = replace(cash, now=0.0).worth(investing.monthly_rate(here.want))
    most = held_by(without, here.confidence) - here.deal.want_profit - here.deal.fetching
    return float(selling.hammer_for(max(most, 0.0), *here.premium, tax=here.deal.purchase_tax))


def _break_even(here: _Setting, one: _Played) -> float:
    """Sale price at which income covers what goes out on average. [money]"""
    needed = float((one.cash.income - one.cash.profit).mean())
    way = here.tables.ways[here.deal.way if one.row.method == "sell" else here.deal.parts_way]
    own = here.deal.fee if one.row.method == "sell" else None
    fee = way.typical if own is None else own
    fixed = way.fixed if one.row.method == "sell" else here.settings.disposal_cost
    hammer = selling.price_for(needed, fee, way.fee_minimum, way.fee_cap, fixed)
    return float(selling.all_in(hammer, *_premium(way)))


def _leave(best_in: float, worths: Mapping[str, np.ndarray]) -> Choice:
    """Not buying: nothing in, nothing out."""
    nothing = dict.fromkeys(Choice.__dataclass_fields__, 0.0)
    return Choice(**(nothing | {
        "key": LEAVE, "name": "Do not buy", "level": None, "ratio": None,
        "earned": Earned(None, (), "No money is paid out, so there is nothing to earn on."),
        "earned_modified": None, "payback": None, "payback_discounted": None, "index": None,
        "break_even_price": None, "per_hour": None, "more_per_hour": None, "best_in": best_in,
        "worse_than_found": float(np.mean(worths[AS_FOUND] > 0)), "flows": (0.0,)}))


# --- stop after teardown --------------------------------------------------------------------


def _work_choices(played: Mapping[str, _Played]) -> list[_Played]:
    """Choices that take the machine apart and sell it whole."""
    least = LEVELS.index(Level.SHOP_JOB)
    return [one for one in played.values()
            if one.job is not None and LEVELS.index(one.row.level) >= least]


def _kind_hours(job: Estimate, kinds: tuple[str, ...]) -> float:
    """Expected hours of these kinds of work, with allowances. [h]"""
    return job.hours_factor * math.fsum(
        item.mean_hours for item in job.items if item.work.operation.kind in kinds)


def finds_seen(job: Estimate, odds: Odds, settings) -> np.ndarray:
    """What the finds that came to light are expected to cost, in each trial. [money]

    Which finds there are is known after teardown; how much work each will be is not yet.
    """
    plan, found = plan_of(job, settings), np.zeros(odds.trials)
    for index, line in odds.lines.items():
        if line.pattern is None:
            continue
        for bit, event in enumerate(plan.lines[index].events[:32]):
            hours = durations.pert_mean(event.hours.low, event.hours.typical, event.hours.high)
            other = durations.pert_mean(event.other.low, event.other.typical, event.other.high)
            here = (line.pattern >> bit) & 1
            found += here * (hours * job.hours_factor * job.hour_cost + other)
    return found


def _teardown(here: _Setting, played: Mapping[str, _Played], worths: Mapping[str, np.ndarray],
              parts: tuple[Parted, ...]) -> tuple[Teardown | None, np.ndarray]:
    """The rule after the teardown of the best choice that has one, and what is seen then."""
    works = _work_choices(played)
    if not works:
        return None, np.zeros(here.deal.trials)
    aim = max(works, key=lambda one: float(worths[one.key].mean()))
    seen = finds_seen(aim.job, aim.odds, here.settings)
    hours, refit = (_kind_hours(aim.job, kinds) for kinds in (_TEARDOWN, (_REFIT,)))
    hour = here.hour_cost
    going = {}
    for one in works:
        # Another level has less to take apart or more; what is off must go on again.
        extra = max(0.0, hours - _kind_hours(one.job, _TEARDOWN)) \
            + max(0.0, refit - _kind_hours(one.job, (_REFIT,)))
        going[one.key] = worths[one.key] - (0.0 if one is aim else extra * hour)
    base, spent = played[AS_FOUND], hours * hour
    # Put back together it is the machine it was, to be sold as found or cleaned.
    plain = [one.key for one in played.values() if one.job is not None and one not in works]
    stops = {"put-back": worths[max(plain, key=lambda key: float(worths[key].mean()))]
             - spent - refit * hour}
    project = here.tables.sale_ratios.get((AS_FOUND, "incomplete", None))
    if project is not None:
        cash = replace(base.cash, sales=((here.income(here.ratio(project, "in pieces")),
                                          base.cash.kept),))
        stops["sell-in-pieces"] = cash.worth(here.rate) - spent
    if "part-out" in played:
        off = math.fsum(part.listing.take_off for part in parts if part.pays)
        stops["part-out"] = worths["part-out"] - spent + min(off, hours) * hour
    rule = stopping.rule(seen, going | stops, setters=stopping.halves(here.deal.trials))
    return Teardown(aim.key, spent, hours, rule, *(
        float(np.quantile(seen, q)) for q in (0.5, 0.9)), float(seen.max())), seen


# --- what would change the answer -----------------------------------------------------------


def _turns(here: _Setting, played: Mapping[str, _Played], worths: Mapping[str, np.ndarray],
           best: str) -> Iterable[Turn]:
    """Where another choice would be worth more on average, one thing changed at a time."""
    means = {key: float(row.mean()) for key, row in worths.items()}
    income = {key: float(_income_worth(one.cash, here.rate).mean())
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


# --- which lines pay ------------------------------------------------------------------------


def _paying(here: _Setting, played: Mapping[str, _Played], worths: Mapping[str, np.ndarray]
            ) -> Paying | None:
    works = _work_choices(played)
    if not works:
        return None
    aim = max(works, key=lambda one: float(worths[one.key].mean()))
    base = played[AS_FOUND]
    step = float((_income_worth(aim.cash, here.rate) - _income_worth(base.cash, here.rate)).mean())
    step = max(step, 0.0)
    job, odds, tables = aim.job, aim.odds, here.tables
    costs = {index: float(row.mean()) for index, row in odds.line_cost.items()}
    sent = {index for lot in job.lots for index in lot.shares}
    indexes = sorted(index for index, cost in costs.items() if cost > 0 or index in sent)
    if not indexes:
        return None
    lines = [job.scope.lines[index] for index in indexes]
    usual = {name: max(1.0, tables.counts[here.era, name].typical)
             for name in tables.sale_weights if (here.era, name) in tables.counts}
    done = _done(here, job)
    weights = [
        tables.sale_weights[line.assembly].weight * tables.wear_worth[line.condition].gain
        * line.count / max(usual.get(line.assembly, 1.0), line.count) * done.get(index, 1.0)
        if line.assembly in tables.sale_weights and line.condition is not None else 0.0
        for index, line in zip(indexes, lines, strict=True)]
    gains = _gains(here, aim.row, step, lines, weights)
    factor = odds.hours_factor
    hours = np.array([factor * sum(float(row.mean()) for row in
                                   (odds.lines[k].hours, odds.lines[k].find_hours)
                                   if row is not None) for k in indexes])
    fixed = np.array([not tables.assemblies[line.assembly].droppable for line in lines])
    whole = paying.Job(gains, np.array([costs[k] for k in indexes]), hours, fixed,
                       _shared(job, indexes, tables))
    limit = _hours_limit(here)
    try:
        chosen = paying.choose(whole, budget=here.deal.budget, hours=limit)
    except paying.NothingFits as error:
        raise BadInput(Fault(
            f"{aim.row.name}: {error}; that is over the limit"
            + ("" if limit is None else f" of {limit:.1f} h")
            + ("" if here.deal.budget is None else f" of {here.deal.budget:.0f}") + ".",
            "Raise the limit, or leave the machine as it is.",
            column="budget" if here.deal.budget is not None else "hours")) from None
    titles = {index: tables.assemblies[line.assembly].name
              for index, line in zip(indexes, lines, strict=True)}
    rows = [PayingLine(index, titles[index], float(gains[k]), costs[index], float(hours[k]),
                       not fixed[k]) for k, index in enumerate(indexes)]
    every = paying.Chosen(tuple(range(len(indexes))), *whole.of(range(len(indexes))))

    def named(one: paying.Chosen) -> paying.Chosen:
        return replace(one, lines=tuple(indexes[k] for k in one.lines))

    return Paying(aim.key, step,
                  tuple(sorted(rows, key=lambda row: (row.cost - row.gain, row.line))),
                  named(chosen), named(every),
                  tuple(named(one) for one in paying.frontier(whole, budget=here.deal.budget)))


def _gains(here: _Setting, row: SaleRatio, step: float, lines: Sequence, weights: Sequence[float]
           ) -> np.ndarray:
    """The step shared out over the lines; together just the step. [money]

    What a machine gains by being whole and playing goes to the lines that kept it from that,
    the rest by the weights.
    """
    stopped = [
        weight if weight and line.condition in ("failed", "missing")
        and (here.found == "incomplete" or here.tables.sale_weights[line.assembly].stops_play)
        else 0.0
        for line, weight in zip(lines, weights, strict=True)]
    plays, now = (here.tables.sale_ratios.get((AS_FOUND, state, None))
                  for state in ("working", here.found))
    part = 0.0
    if here.found in ("not-working", "incomplete") and any(stopped) and plays and now \
            and row.typical > now.typical:
        part = min(1.0, (plays.typical - now.typical) / (row.typical - now.typical))
    return step * (part * paying.shares(stopped) + (1 - part) * paying.shares(weights))


def _done(here: _Setting, job: Estimate) -> dict[int, float]:
    """How much a buyer sees of what could be done on a line, by its index. [–]

    The square root of what the level spends on it over what show grade would: the first hour on
    an assembly shows most. Judgement, no source.
    """
    most = estimate(scope(here.survey, Level.SHOW, here.tables), here.shop)
    could = {line.line: line.cost for line in most.lines}
    return {line.line: math.sqrt(min(1.0, line.cost / could[line.line]))
            for line in job.lines if could.get(line.line)}


def _hours_limit(here: _Setting) -> float | None:
    """Bench hours that may be spent, by the limit itself and by the day."""
    limits = [] if here.deal.hours is None else [here.deal.hours]
    if here.deal.ready_by is not None:
        days = (here.deal.ready_by - here.on).days - 7 * here.deal.wait_weeks
        limits.append(max(0.0, days) * here.settings.bench_hours_per_week / 7)
    return min(limits) if limits else None


def _shared(job: Estimate, indexes: list[int], tables) -> tuple[tuple[Shared, float], ...]:
    """Set-ups, lots and whole packs, which lines share; by the place of a line in `indexes`."""
    place = {index: k for k, index in enumerate(indexes)}
    found: list[tuple[Shared, float]] = []
    users: dict[str, set[int]] = defaultdict(set)
    times: dict[str, float] = defaultdict(float)
    for item in job.items:
        if item.setup and item.line in place:
            name = item.work.operation.operation
            users[name].add(place[item.line])
            times[name] += item.setup * job.hours_factor
    for name, lines in users.items():
        found.append((Shared(times[name] * job.hour_cost, sorted(lines)), times[name]))
    for lot in job.lots:
        row = tables.services[lot.service]
        lines = sorted(place[index] for index in lot.shares if index in place)
        if not lines:
            continue
        mean = durations.pert_mean(row.low, row.typical, row.high)
        parts = [lot.shares[indexes[k]] * lot.quantity * mean for k in lines]
        found.append((Shared(row.setup, lines, row.lot_minimum, parts, row.multiplier), 0.0))
        if row.line_fee:
            found += [(Shared(row.line_fee, [line]), 0.0) for line in lines]
        if row.freight:
            found.append((Shared(row.freight, lines), 0.0))
    packs: dict[str, tuple[set[int], float]] = {}
    for supply in job.supplies:
        if supply.whole and supply.line in place:
            lines, cost = packs.get(supply.item, (set(), 0.0))
            packs[supply.item] = (lines | {place[supply.line]},
                                  cost + durations.mean_of(supply.cost))
    found += [(Shared(cost, sorted(lines)), 0.0) for lines, cost in packs.values()]
    return tuple(found)


def _income_worth(cash: Cash, rate: float) -> np.ndarray:
    """What the sales are worth now. [money]"""
    powers = (1 + rate) ** -np.arange(cash.last + 1.0)
    return sum(net * powers[month] for net, month in cash.sales)


# --- the state of the machine ---------------------------------------------------------------


def _state(survey: Survey, deal: Deal, era: Era, tables, settings) -> tuple[str, str]:
    """The state a machine is found in, and why."""
    if deal.found is not None:
        return deal.found, "as said"
    gone = parting.missing_share(survey, era, tables)
    if gone >= settings.incomplete_share:
        return "incomplete", f"{100 * gone:.0f} % of it is missing, by the worth of its parts"
    for line in survey.lines:
        row = tables.sale_weights.get(line.assembly)
        if row is not None and row.stops_play and line.count \
                and line.condition in ("failed", "missing"):
            name = tables.assemblies[line.assembly].name.lower()
            return "not-working", f"it cannot be played: {name} {line.condition}"
    return "working", "nothing that stops play is failed or missing"


def _premium(way: Way, own: float | None = None) -> tuple[float, float, float | None]:
    share = way.premium if own is None else own
    return share, way.premium_minimum if share else 0.0, way.premium_cap


def _hour_cost(settings) -> float:
    return labour.hourly_cost(settings.pay_per_hour, settings.on_cost_share,
                              settings.paid_hours_per_year, settings.overhead_per_year,
                              settings.productive_share)


__all__ = ["AS_FOUND", "finds_seen", "resale"]
