"""Made-up shops whose truth is known, and a walk through their weeks as a shop would live them.

Every shop is drawn from a seed. The figures are invented; they only span what records of hours
look like: heavy tails, people who book exactly the estimate, rounding, drift, jobs that run over
as a whole, slips of the keyboard.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from time import process_time

import numpy as np

from estimator.scoring import crps_lognormal

LEVELS = np.concatenate([[0.005], np.arange(1, 100) / 100, [0.995]])
JOB_LEVELS = LEVELS


@dataclass(frozen=True)
class Shop:
    """What a made-up shop is like; spreads are those of ln(actual / estimate)."""

    tasks: int = 1500
    weekly: int = 25
    people: int = 4
    kinds: int = 8
    bias: float = 0.05
    person_sd: float = 0.2
    kind_sd: float = 0.2
    cell_sd: float = 0.1
    sigma: float = 0.6
    sigma_sd: float = 0.25  # of ln(sigma), over people and over kinds
    slope: float = -0.06  # per unit of ln(estimate)
    slope_sigma: float = -0.08  # how ln(sigma) changes with ln(estimate)
    tails: str = "heavy"  # normal, heavy, skew, humps (some take thrice as long), low (some stop)
    exact: float = 0.2
    exact_sd: float = 0.8  # of the logit, over people; half of it over kinds
    round_estimates: bool = True
    step: float = 0.25  # actual hours are booked in steps of; 0 for none
    size: float = 0.9  # median of ln(estimate)
    size_sd: float = 0.9
    drift: float = 0.0  # random walk, sd over 250 tasks
    jump: float = 0.0  # once, in the middle
    job_size: float = 8.0
    rho: float = 0.08
    slips: float = 0.0  # share of actual hours typed a hundred times too high or too low
    blank: float = 0.05  # share without person or kind
    arrivals: bool = False  # people come and go instead of staying throughout
    slope_kind_sd: float = 0.0  # of the slope, over kinds
    person_drift: float = 0.0  # random walk of each person, sd over 250 tasks of the shop


NICE = np.array([0.1, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 32, 40,
                 60, 80, 120, 160])


@dataclass(frozen=True)
class Truth:
    """What every task of a made-up shop was drawn from, in their order: arrays of one length.

    ln(actual / estimate) is `middle` + `spread` × a score of the shop's tails, unless the task came
    out at the estimate, with the chance `exact`.
    """

    estimate: np.ndarray
    middle: np.ndarray
    spread: np.ndarray
    exact: np.ndarray
    job: np.ndarray


def make(shop: Shop, seed: int) -> list[dict]:
    """Records of a shop, in the order in which tasks were finished."""
    return make_known(shop, seed)[0]


def tailed(shop: Shop, scores: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Standard normal scores with the tails of a shop."""
    if shop.tails == "heavy":
        return scores * np.where(rng.random(len(scores)) < 0.2, 1.9, 0.65)
    if shop.tails == "skew":
        return np.where(scores > 0, 1.3, 0.7) * scores - 0.24
    if shop.tails == "humps":
        return 0.6 * scores + (rng.random(len(scores)) < 0.15) * math.log(3) / shop.sigma
    if shop.tails == "low":
        return 0.7 * scores - (rng.random(len(scores)) < 0.1) * 2.5
    return scores


def booked(shop: Shop, actual: np.ndarray) -> np.ndarray:
    """Actual hours as they are booked, in steps."""
    if shop.step:
        return np.maximum(np.round(actual / shop.step), 1) * shop.step
    return np.maximum(np.round(actual * 60), 1) / 60


def make_known(shop: Shop, seed: int) -> tuple[list[dict], Truth]:
    """The same with what the records were drawn from; slips of the keyboard are not in it."""
    rng = np.random.default_rng(seed)
    n = shop.tasks
    share = lambda count: rng.dirichlet(np.full(count, 0.8))  # noqa: E731
    person = rng.choice(shop.people, n, p=share(shop.people))
    if shop.arrivals:
        span = n / (shop.people - 2)  # three are there at any time
        person = np.clip((np.arange(n) / span).astype(int) + rng.integers(0, 3, n), 0,
                         shop.people - 1)
    kind = rng.choice(shop.kinds, n, p=share(shop.kinds))
    job = np.zeros(n, int)
    open_jobs, next_job = [0, 1, 2], 3
    for i in range(n):
        spot = rng.integers(len(open_jobs))
        job[i] = open_jobs[spot]
        if rng.random() < 1 / shop.job_size:
            open_jobs[spot], next_job = next_job, next_job + 1
    normal = rng.standard_normal
    person_mean = shop.person_sd * normal(shop.people)
    kind_mean = shop.kind_sd * normal(shop.kinds)
    cell = shop.cell_sd * normal((shop.people, shop.kinds))
    log_sigma = (math.log(shop.sigma) + shop.sigma_sd * normal(shop.people)[person]
                 + shop.sigma_sd * normal(shop.kinds)[kind])
    estimate = np.exp(shop.size + 0.6 * shop.size_sd * normal(shop.kinds)[kind]
                      + 0.8 * shop.size_sd * normal(n))
    if shop.round_estimates:
        estimate = NICE[np.abs(np.log(NICE)[None] - np.log(estimate)[:, None]).argmin(1)]
    else:
        estimate = np.maximum(np.round(estimate * 60) / 60, 1 / 60)
    x = np.log(estimate) - shop.size
    log_sigma = log_sigma + shop.slope_sigma * x
    shared = normal(next_job)[job]
    latent = math.sqrt(shop.rho) * shared + math.sqrt(1 - shop.rho) * normal(n)
    latent = tailed(shop, latent, rng)
    walk = np.cumsum(normal(n)) * shop.drift / math.sqrt(250)
    walk += shop.jump * (np.arange(n) > n // 2)
    walk += ((np.cumsum(normal((n, shop.people)), axis=0) * shop.person_drift
              / math.sqrt(250))[np.arange(n), person] if shop.person_drift else 0.0)
    x_kind = shop.slope_kind_sd * normal(shop.kinds)[kind] * x if shop.slope_kind_sd else 0.0
    middle = (shop.bias + x_kind + person_mean[person] + kind_mean[kind] + cell[person, kind]
              + shop.slope * x + walk)
    actual = booked(shop, estimate * np.exp(middle + np.exp(log_sigma) * latent))
    logit = (math.log(shop.exact / (1 - shop.exact)) + shop.exact_sd * normal(shop.people)[person]
             + shop.exact_sd / 2 * normal(shop.kinds)[kind] - 0.2 * x)
    exact = 1 / (1 + np.exp(-logit))
    actual = np.where(rng.random(n) < exact, estimate, actual)
    slips = rng.random(n) < shop.slips
    actual = np.where(slips, actual * np.where(rng.random(n) < 0.6, 100, 0.01), actual)
    day = (np.arange(n) * 7) // shop.weekly
    hidden = rng.random((2, n)) < shop.blank
    records = [
        {"est": float(estimate[i]), "act": float(actual[i]),
         "kind": None if hidden[0, i] else f"kind {kind[i]}",
         "person": None if hidden[1, i] else int(person[i]),
         "job": int(job[i]), "day": int(day[i])}
        for i in range(n)
    ]
    return records, Truth(estimate, middle, np.exp(log_sigma), exact, job)


class Knows:
    """A model that knows all that a made-up shop was drawn from, and is as good as can be there."""

    def __init__(self, shop: Shop, truth: Truth, draws: int = 3000):
        self._shop, self._truth, self._draws = shop, truth, draws
        self._rng, self._at = np.random.default_rng(1), 0

    def update(self, records: list[dict]) -> None:
        """Nothing is new to it."""
        self._at += len(records)

    def predict(self, estimates, kinds, persons, probs) -> np.ndarray:
        """Quantiles of the next tasks."""
        return np.stack([np.quantile(self._one(self._at + k, 0.0), probs)
                         for k in range(len(estimates))])

    def predict_total(self, estimates, kinds, persons, probs, job) -> np.ndarray:
        """Quantiles of a job's sum."""
        shared = self._rng.standard_normal(self._draws)
        return np.quantile(sum(self._one(i, shared)
                               for i in np.flatnonzero(self._truth.job == job)), probs)

    def _one(self, i: int, shared) -> np.ndarray:
        rho = self._shop.rho if np.ndim(shared) else 0.0
        scores = (math.sqrt(rho) * shared
                  + math.sqrt(1 - rho) * self._rng.standard_normal(self._draws))
        truth = self._truth
        hours = truth.estimate[i] * np.exp(
            truth.middle[i] + truth.spread[i] * tailed(self._shop, scores, self._rng))
        hours = booked(self._shop, hours)
        return np.where(self._rng.random(self._draws) < truth.exact[i], truth.estimate[i], hours)


BASE = Shop()
FAMILY: dict[str, Shop] = {
    "plain": BASE,
    "lognormal": replace(BASE, tails="normal", exact=0.05, exact_sd=0.3, step=0, sigma_sd=0.05,
                         slope_sigma=0.0),
    "wide minutes": replace(BASE, sigma=0.9, step=0, round_estimates=False, exact=0.06, size=0.0,
                            size_sd=1.2, people=8, kinds=20, tasks=3000, weekly=60),
    "many people": replace(BASE, people=25, kinds=30, tasks=4000, weekly=80, person_sd=0.3),
    "one person": replace(BASE, people=1, kinds=5, tasks=600, weekly=10),
    "half estimates": replace(BASE, bias=0.7, exact=0.05, sigma=0.4),
    "overestimates": replace(BASE, bias=-0.25, exact=0.3, tails="skew"),
    "rounders": replace(BASE, exact=0.45, step=0.5, exact_sd=1.2),
    "whole hours": replace(BASE, step=1.0, exact=0.25, size=1.4),
    "drift": replace(BASE, drift=0.15, tasks=2500),
    "jump": replace(BASE, jump=0.5, tasks=2000),
    "strong slope": replace(BASE, slope=-0.25, size_sd=1.1),
    "rising slope": replace(BASE, slope=0.12, size_sd=1.1),
    "rare kinds": replace(BASE, kinds=400, tasks=1200),
    "slips": replace(BASE, slips=0.01),
    "jobs apart": replace(BASE, rho=0.0),
    "jobs alike": replace(BASE, rho=0.3, job_size=12),
    "alike all round": replace(BASE, person_sd=0.0, kind_sd=0.0, cell_sd=0.0, sigma_sd=0.0,
                               slope=0.0, slope_sigma=0.0, exact_sd=0.0),
}
# A second family: totals and young shops were looked at on it as well.
MORE: dict[str, Shop] = {
    "two humps": replace(BASE, tails="humps"),
    "tasks given up": replace(BASE, tails="low", exact=0.1),
    "people come and go": replace(BASE, people=20, arrivals=True, person_sd=0.35, tasks=2000),
    "slopes of kinds": replace(BASE, slope_kind_sd=0.2),
    "people change": replace(BASE, person_drift=0.2, tasks=2000),
    "very wide": replace(BASE, sigma=1.2, step=0.1, exact=0.08, size=0.0, tasks=2500, weekly=50),
    "few sizes": replace(BASE, size_sd=0.3, size=1.4, exact=0.35, step=1.0),
    "steady": replace(BASE, sigma=0.2, exact=0.3, bias=-0.1),
    "jobs of twenty": replace(BASE, job_size=20, rho=0.15, tasks=2500),
}
SMALL: dict[str, Shop] = {
    f"small {count} {name}": replace(FAMILY[name], tasks=count, weekly=4, people=2, kinds=5)
    for count, name in [(10, "plain"), (20, "half estimates"), (40, "overestimates"),
                        (60, "strong slope"), (60, "rounders"), (30, "lognormal"),
                        (40, "wide minutes"), (50, "plain")]
}



def drawn(count: int, seed: int = 77) -> dict[str, Shop]:
    """Shops with everything drawn at random: nothing in the model was set on any of them."""
    rng = np.random.default_rng(seed)
    found = {}
    for at in range(count):
        few = at % 3 == 2
        found[f"drawn {at}{' young' if few else ''}"] = Shop(
            tasks=int(rng.integers(15, 60) if few else rng.integers(400, 2500)),
            weekly=int(rng.integers(3, 8) if few else rng.integers(8, 50)),
            people=int(rng.integers(1, 15)), kinds=int(rng.integers(1, 40)),
            bias=rng.normal(0, 0.25), person_sd=rng.uniform(0, 0.4), kind_sd=rng.uniform(0, 0.4),
            cell_sd=rng.uniform(0, 0.2), sigma=rng.uniform(0.35, 0.9),
            sigma_sd=rng.uniform(0, 0.4), slope=rng.normal(-0.08, 0.1),
            slope_sigma=rng.normal(-0.05, 0.06),
            tails=str(rng.choice(["normal", "heavy", "skew", "humps", "low"])),
            exact=rng.uniform(0.05, 0.5), exact_sd=rng.uniform(0, 1.2),
            round_estimates=bool(rng.random() < 0.7),
            step=float(rng.choice([0, 0.1, 0.25, 0.5, 1])), size=rng.normal(0.8, 0.5),
            size_sd=rng.uniform(0.4, 1.2), drift=rng.uniform(0, 0.12),
            jump=float(rng.choice([0, 0, rng.normal(0, 0.4)])), job_size=rng.uniform(3, 20),
            rho=rng.uniform(0, 0.25), slips=float(rng.choice([0, 0, 0.003])))
    return found


@dataclass
class Found:
    """Scores of a walk: sums over tasks and over jobs, to be added up over shops."""

    tasks: np.ndarray  # rows of: crps, base, log crps, log base, in 80 %, by P80, by P90
    pits: np.ndarray  # histogram of 10 cells
    jobs: np.ndarray  # rows of: crps, base, in 80 %, by P80, by P90, ln(P90/P10)
    weeks_ms: np.ndarray


def pinball_crps(observed: np.ndarray, quantiles: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """CRPS of forecasts known by their quantiles: twice the penalty, averaged over the levels."""
    weight = np.gradient(levels)
    weight = weight / weight.sum()
    over = observed[:, None] - quantiles
    return (np.where(over < 0, levels - 1, levels) * over * 2 @ weight)


def pit_histogram(observed: np.ndarray, quantiles: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """Cells of 1/10: each case spread evenly between the levels below it and up to it."""
    low = np.concatenate([[0.0], levels])[(quantiles < observed[:, None]).sum(1)]
    high = np.concatenate([levels, [1.0]])[(quantiles <= observed[:, None]).sum(1)]
    edges = np.linspace(0, 1, 11)
    part = (np.clip((edges[None] - low[:, None]) / (high - low)[:, None], 0, 1))
    return np.diff(part, axis=1).sum(0)


def walk(model, records: list[dict], start: int = 0) -> Found:
    """Forecast each week's tasks and each job's total before they are known, then learn them."""
    weeks: dict[int, list[dict]] = {}
    for record in records[start:]:
        weeks.setdefault(record["day"] // 7, []).append(record)
    jobs: dict[object, list[dict]] = {}
    for record in records[start:]:
        jobs.setdefault(record["job"], []).append(record)
    begun = {name: tasks[0]["day"] // 7 for name, tasks in jobs.items()}
    if start:
        model.update(records[:start])
    past = [math.log(r["act"] / r["est"]) for r in records[:start]]
    rows, job_rows, took = [], [], []
    pits = np.zeros(10)
    for week, tasks in sorted(weeks.items()):
        est = np.array([t["est"] for t in tasks])
        act = np.array([t["act"] for t in tasks])
        clock = process_time()
        q = model.predict(est, [t["kind"] for t in tasks], [t["person"] for t in tasks], LEVELS)
        spent = process_time() - clock
        # The baseline starts from the same guess: as estimated, give or take 0.8 of the logarithm.
        mu, sd = (np.mean(past), np.std(past)) if len(past) > 1 else (0.0, 0.8)
        sd = max(sd, 0.05)
        rows.append(np.stack([
            pinball_crps(act, q, LEVELS), crps_lognormal(act, np.log(est) + mu, sd),
            pinball_crps(np.log(act), np.log(np.maximum(q, 1e-12)), LEVELS),
            _crps_normal(np.log(act / est), mu, sd),
            (act >= q[:, 10]) & (act <= q[:, 90]), act <= q[:, 80], act <= q[:, 90]], axis=1))
        pits += pit_histogram(act, q, LEVELS)
        for name, in_job in jobs.items():
            if name is not None and begun[name] == week and len(in_job) > 1:
                clock = process_time()
                total = model.predict_total([t["est"] for t in in_job], [t["kind"] for t in in_job],
                                            [t["person"] for t in in_job], LEVELS, name)
                if name == min((k for k in begun if begun[k] == week), key=str):
                    spent += process_time() - clock
                job_rows.append(_job_row(in_job, total, mu, sd))
        clock = process_time()
        model.update(tasks)
        took.append(1000 * (process_time() - clock + spent))
        past += list(np.log(act / est))
    return Found(np.concatenate(rows), pits, np.array(job_rows).reshape(-1, 6), np.array(took))


def _job_row(tasks: list[dict], total: np.ndarray, mu: float, sd: float) -> list[float]:
    """Scores of one job's total; the baseline adds independent lognormals by their moments."""
    est = np.array([t["est"] for t in tasks])
    act = np.array([sum(t["act"] for t in tasks)])
    mean = est.sum() * math.exp(mu + sd**2 / 2)
    var = (est**2).sum() * math.exp(2 * mu + sd**2) * math.expm1(sd**2)
    s2 = math.log1p(var / mean**2)
    base = crps_lognormal(act, math.log(mean) - s2 / 2, math.sqrt(s2))[0]
    ours = pinball_crps(act, total[None], LEVELS)[0]
    a = act[0]
    return [ours, base, total[10] <= a <= total[90], a <= total[80], a <= total[90],
            math.log(total[90] / total[10])]


def _crps_normal(y, mu, sd):
    from estimator.scoring import crps_normal
    return crps_normal(y, mu, sd)


def summary(found: list[Found]) -> dict[str, float]:
    """The bar's figures, over shops taken together; skills are means over shops."""
    tasks = np.concatenate([f.tasks for f in found])
    jobs = np.concatenate([f.jobs for f in found])
    pits = sum(f.pits for f in found)
    skill = lambda a, b: float(np.mean([1 - f.tasks[:, a].sum() / f.tasks[:, b].sum()  # noqa: E731
                                        for f in found]))
    return {
        "hours": skill(0, 1), "logs": skill(2, 3), "80": tasks[:, 4].mean(),
        "P80": tasks[:, 5].mean(), "P90": tasks[:, 6].mean(),
        "pit": float(np.abs(pits / pits.sum() - 0.1).sum() / 2),
        "job 80": jobs[:, 2].mean() if len(jobs) else math.nan,
        "job P80": jobs[:, 3].mean() if len(jobs) else math.nan,
        "job P90": jobs[:, 4].mean() if len(jobs) else math.nan,
        "job skill": 1 - jobs[:, 0].sum() / jobs[:, 1].sum() if len(jobs) else math.nan,
        "sharp": jobs[:, 5].mean() if len(jobs) else math.nan,
        "ms": float(np.concatenate([f.weeks_ms for f in found]).mean()),
    }


def against_the_best(make_model: Callable[[], object], family: dict[str, Shop], seeds: range
                     ) -> str:
    """The figures of a model over a family of shops, beside those of one who knows all."""
    ours, best = [], []
    for shop in family.values():
        for seed in seeds:
            records, truth = make_known(shop, seed)
            ours.append(walk(make_model(), records))
            best.append(walk(Knows(shop, truth), records))
    ours, best = summary(ours), summary(best)
    return "\n".join([f"{'':<12}{'ours':>8}{'at best':>10}",
                      *(f"{name:<12}{ours[name]:8.3f}{best[name]:10.3f}" for name in ours)])


def table(make_model: Callable[[], object], family: dict[str, Shop], seeds: range) -> str:
    """Walk every shop of a family and print the figures of each and of all."""
    lines, everything = [], []
    for name, shop in family.items():
        found = [walk(make_model(), make(shop, seed)) for seed in seeds]
        everything += found
        lines.append((name, summary(found)))
    lines.append(("all", summary(everything)))
    head = list(lines[0][1])
    text = [f"{'':<28}" + "".join(f"{h:>9}" for h in head)]
    text += [f"{n:<28}" + "".join(f"{v[h]:9.3f}" for h in head) for n, v in lines]
    return "\n".join(text)
