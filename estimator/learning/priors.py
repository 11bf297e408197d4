"""What the model takes for granted before a shop has records of its own, in one place.

These are constants of the model, not figures of the trade: weak guesses about ln(actual /
estimate) that some dozens of a shop's own tasks outweigh. Where no source is given they are
judgement, set on made-up shops of many kinds.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Pool:
    """Prior of one pooled model: value = mean + slope · size + effects of labels + noise.

    Parameters
    ----------
    mean, mean_sd
        Of the shop as a whole.
    slope_sd
        Of the slope per unit of ln(estimate); its mean is 0.
    effect_sds
        Scale of the spread between labels (half-normal), one for each of: kinds, persons,
        kinds in the hands of a person, sizes, stretches of time.
    noise, noise_count
        Standard deviation within labels, and how many tasks this guess is worth.
    """

    mean: float
    mean_sd: float
    slope_sd: float
    effect_sds: tuple[float, ...]
    noise: float
    noise_count: float


# ln(actual / estimate) of tasks that did not come out exactly at the estimate.
LEVEL = Pool(0.0, 0.45, 0.10, (0.25, 0.25, 0.10, 0.10, 0.08), 0.65, 6.0)
# ln of how far a task lands from its level. 1.1 is the sd of ln|z| of a normal z (pi/sqrt(8)).
SPREAD = Pool(-1.10, 0.35, 0.08, (0.12, 0.15, 0.05, 0.05, 0.03), 1.1, 20.0)
# The share of tasks exactly at the estimate: 5 to 50 % has been seen.
EXACT = Pool(0.20, 0.12, 0.03, (0.08, 0.12, 0.05, 0.05, 0.03), 0.37, 20.0)

# Mean of ln|z| of a standard normal z: (-γ - ln 2) / 2.
LOG_OF_NORMAL = -0.635
HALF_LIFE = 500.0  # tasks after which a record counts half
WINDOW = 3072  # tasks kept; what is older would weigh less than 1/70
SIZE_STEP = 0.5  # width of a size, in ln(estimate)
STRETCH = 64  # tasks in the youngest stretch of time; each older one is twice as long

CLIP = 2.5  # spreads from its level beyond which a task pulls no harder
WILDER = 0.9  # of ln(spread): how far a label's spread may lie from its shop's
SHAPE_COUNT = 120.0  # tasks that the guessed shape of the spread is worth
SHAPE_MIX = ((0.75, 0.75), (0.25, 1.55))  # share and sd of the normals it is mixed from

SIMILAR_MOST = 2048  # youngest tasks that are looked through for similar ones
SIMILAR_COUNT = 15.0  # tasks alike after which they outweigh the others of the shop
SIMILAR_WIDTH = 0.7  # distance in ln(estimate) at which a task counts half
SIMILAR_SHARE, SIMILAR_NEEDS = 0.5, 50.0  # their weight beside the pooled model; half of it at

LEVEL_COUNT = 150.0  # tasks that taking the forecast levels as right is worth
RHO, RHO_COUNT, RHO_MOST = 0.09, 40.0, 0.5  # correlation within a job: guess, its weight, limit

ROUND_COUNT = 12.0  # tasks that a person's booking as the shop does, or not in steps, is worth
ROUND_FROM = 0.8  # share of multiples from which a step is believed in; fully at 0.97
ROUND_LEFT = 0.05  # of the distance to a multiple, what is left where a step is believed in
