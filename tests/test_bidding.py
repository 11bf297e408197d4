"""Chances of winning as printed, and a curve that finds the truth it was simulated from."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, special

from estimator.bidding import (
    Answered,
    best_bid,
    best_price,
    enough,
    friedman,
    gates,
    win_against_normal,
    winning_curve,
)

# --- known rivals --------------------------------------------------------------------------------

# "Bidding and optimal markup", scribd.com/document/391641414: the chance of beating each of four
# rivals at three mark-ups. Gates is printed there; Friedman's follows from the same chances.
RIVALS = {3: [0.75, 0.82, 0.67, 0.88], 5: [0.68, 0.75, 0.60, 0.80], 7: [0.60, 0.68, 0.54, 0.72]}


@pytest.mark.parametrize(
    ("formula", "chances", "expected", "best"),
    [(gates, [0.4583, 0.3676, 0.2960], [1.375, 1.838, 2.072], 7),
     (friedman, [0.3626, 0.2448, 0.1586], [1.088, 1.224, 1.110], 5)],
)
def test_four_known_rivals(formula, chances, expected, best):
    """Chances and expected mark-ups; Gates bids 7 % of the three, Friedman 5 %."""
    # "Bidding and optimal markup", as above.
    found = formula(list(RIVALS.values()))
    earns = found * list(RIVALS)
    assert found == pytest.approx(chances, abs=5e-4)
    assert earns == pytest.approx(expected, abs=5e-4)
    assert list(RIVALS)[int(earns.argmax())] == best


@given(st.lists(st.floats(0.01, 1), min_size=1, max_size=6))
def test_independent_rivals_are_harder_to_beat(chances):
    """Friedman never gives more than Gates, neither more than the hardest rival alone."""
    assert friedman(chances) <= gates(chances) + 1e-12
    assert gates(chances) <= min(chances) + 1e-12
    assert gates(chances[:1]) == pytest.approx(friedman(chances[:1])) == chances[0]


def test_against_a_normal_best_rival():
    """Chance and expected mark-up of four bids where the best rival is 60, give or take 30."""
    # Samuelson & Marks, Managerial Economics, bidding problem.
    bids = np.array([20, 40, 60, 80])
    chances = win_against_normal(bids, 60, 30)
    assert chances == pytest.approx([0.9088, 0.7475, 0.5, 0.2525], abs=1e-4)
    assert bids * chances == pytest.approx([18.176, 29.9, 30, 20.199], abs=1e-3)
    assert win_against_normal(1.1 + 0.3 / 2, 1.1, 0.3 / 2) == pytest.approx(0.1586553)  # Φ(−1)


# --- the best bid --------------------------------------------------------------------------------


@pytest.mark.parametrize(("mean", "bid"), [(60, 50.049), (40, 38.815), (80, 63.028)])
def test_best_bid_against_a_normal_best_rival(mean, bid):
    """The mark-up that earns most lies under the rivals' mean where they are strong."""
    # Samuelson & Marks, as above; optima derived.
    found = best_bid(lambda bids: win_against_normal(bids, mean, 30), 0, 200)
    assert found.bid == pytest.approx(bid, abs=1e-3)
    # There the gain of a dearer bid is its loss: bid = sd × (1 − Φ)/φ.
    z = (found.bid - mean) / 30
    mills = special.ndtr(-z) / (math.exp(-z * z / 2) / math.sqrt(2 * math.pi))
    assert found.bid == pytest.approx(30 * mills, abs=1e-3)
    if mean == 60:
        assert (found.win, found.earns) == pytest.approx((0.6299, 31.528), abs=5e-4)


def test_best_bid_in_closed_form():
    """Uniform rivals: half-way from cost to the highest; exponential ones: cost and their mean."""
    # First-order conditions of (b − p)/(b − a)·(p − c) and of exp(−p/m)·(p − c).
    uniform = best_bid(lambda bids: np.clip((5000 - bids) / 2000, 0, 1), 3000, 5000, cost=2400)
    assert uniform.bid == pytest.approx((5000 + 2400) / 2, abs=0.01)
    falling = best_bid(lambda bids: np.exp(-bids / 700), 2000, 9000, cost=2400)
    assert falling.bid == pytest.approx(2400 + 700, abs=0.01)
    assert uniform.edge is falling.edge is None
    assert uniform.caution == ""


def test_of_two_rises_the_higher_is_found():
    """A chance that falls in steps has several rises; the best of them counts."""
    found = best_bid(lambda bids: np.where(bids < 4, 0.5, np.where(bids < 9, 0.4, 0.1)), 0, 10)
    assert (found.bid, found.win) == pytest.approx((9, 0.4), abs=1e-4)


def test_an_optimum_at_the_end_is_told():
    """Where more would still earn more, or less, the end is named."""
    high = best_bid(lambda bids: np.ones_like(bids), 1, 2)
    assert (high.bid, high.edge) == (2, "highest")
    assert "more than this" in high.caution
    low = best_bid(lambda bids: np.exp(-9 * bids), 1, 2)
    assert (low.bid, low.edge) == (1, "lowest")
    assert "less than this" in low.caution
    with pytest.raises(ValueError, match="in order"):
        best_bid(np.ones_like, 2, 1)
    only = best_bid(np.ones_like, 2, 2, cost=0.5)
    assert (only.bid, only.win, only.earns) == (2, 1, 1.5)


# --- the shop's own quotes -----------------------------------------------------------------------


def _simulated(rng, n, chance, mean=0.35, sd=0.12):
    """Quotes at random prices over their cost, won with the chance at ln(price/cost)."""
    x = rng.normal(mean, sd, n)
    return [Answered(2000 * math.exp(at), 2000, bool(won))
            for at, won in zip(x, rng.random(n) < chance(x), strict=True)]


def _even(won, n=20, low=1.2, high=1.8):
    """n quotes evenly over a range of price against cost."""
    return [Answered(1000 * ratio, 1000, won(i)) for i, ratio in
            enumerate(np.linspace(low, high, n))]


HISTORIES = {
    "one quote": [Answered(1300, 1000, True)],
    "all won": _even(lambda i: True),
    "all lost": _even(lambda i: False, 40),
    "separable": _even(lambda i: i < 10),
    "wrong way round": _even(lambda i: i > 10, 60),
    "one price": [Answered(1400, 1000, i % 2 == 0) for i in range(30)],
    "far out": [*_even(lambda i: i % 3 > 0), Answered(9000, 1000, True)],
}


@pytest.mark.parametrize("name", HISTORIES)
def test_a_curve_exists_for_any_history_and_never_rises(name):
    """All won, all lost, separable, one price: chances inside 0 and 1 that fall with the price."""
    curve = winning_curve(HISTORIES[name])
    ratios = np.linspace(curve.lowest, curve.highest, 50)
    chances = curve.win(ratios)
    low, high = curve.band(ratios)
    assert ((chances > 0) & (chances < 1)).all()
    assert (np.diff(chances) <= 1e-12).all()
    assert ((low < chances) & (chances < high)).all()
    found = best_price(curve, 1000)
    assert curve.lowest <= found.bid / 1000 <= curve.highest * (1 + 1e-12)


def _posterior(history, ratio):
    """Mean chance and quantiles at one ratio by brute force over a fine grid of curves."""
    x = np.log([one.ratio for one in history])
    at = math.log(ratio) - x.mean()
    x = x - x.mean()
    won = np.array([one.won for one in history], float)
    intercepts, logs = np.linspace(-16, 16, 641)[:, None], np.linspace(-4, 8, 601)
    height = -(intercepts / 2.5) ** 2 / 2 - (logs - math.log(8)) ** 2 / 2
    for place, here in zip(x, won, strict=True):
        height = height - np.logaddexp(0, (1 - 2 * here) * (intercepts - np.exp(logs) * place))
    weights = np.exp(height - height.max())
    weights /= weights.sum()
    logits = intercepts - np.exp(logs) * at
    order = logits.ravel().argsort()
    ends = np.searchsorted(weights.ravel()[order].cumsum(), [0.025, 0.975])
    return (weights * special.expit(logits)).sum(), special.expit(logits.ravel()[order][ends])


@pytest.mark.parametrize("name", HISTORIES)
def test_the_curve_is_the_posterior(name):
    """Mean and band agree with brute force, the mean to 0.0005, the band to a hundredth or so."""
    history = HISTORIES[name]
    curve = winning_curve(history)
    for ratio in (curve.lowest, math.exp(curve.centre)):
        mean, ends = _posterior(history, ratio)
        assert curve.win(ratio) == pytest.approx(mean, abs=5e-4)
        assert curve.band(ratio) == pytest.approx(ends, abs=0.012)


def test_much_history_gives_the_likeliest_curve():
    """With 3,000 quotes the prior no longer counts: maximum likelihood from another library."""
    history = _simulated(np.random.default_rng(5), 3000, lambda x: special.expit(4 - 12 * x))
    x = np.log([one.ratio for one in history])
    won = np.array([one.won for one in history])
    fit = optimize.minimize(lambda at: np.logaddexp(0, np.where(won, -1, 1) * (at[0] + at[1] * x))
                            .sum(), [0, 0], method="BFGS")
    ratios = np.exp(np.linspace(0.1, 0.6, 6))
    expected = special.expit(fit.x[0] + fit.x[1] * np.log(ratios))
    curve = winning_curve(history)
    assert curve.win(ratios) == pytest.approx(expected, abs=0.004)
    assert curve.win(ratios) == pytest.approx(special.expit(4 - 12 * np.log(ratios)), abs=0.03)


def test_bands_hold_what_they_promise():
    """Of curves drawn from the prior, the 80 % band holds 80 % after 25 quotes each."""
    # Simulation-based calibration: Cook, Gelman & Rubin, J. Comp. Graph. Statistics 15, 2006.
    rng = np.random.default_rng(11)
    held = []
    for _ in range(300):
        intercept, slope = rng.normal(0, 2.5), 8 * math.exp(rng.normal())
        x = rng.normal(0.35, 0.12, 25)
        chances = special.expit(intercept - slope * (x - x.mean()))
        curve = winning_curve([Answered(math.exp(at), 1, bool(won)) for at, won in
                               zip(x, rng.random(25) < chances, strict=True)])
        for place in (0.1, 0.5, 0.9):
            at = np.quantile(x, place)
            low, high = curve.band(math.exp(at), 0.8)
            held.append(low <= special.expit(intercept - slope * (at - x.mean())) <= high)
    # Three checks of each curve hang together; 0.8 ± 3 √(0.16/300).
    assert np.mean(held) == pytest.approx(0.8, abs=0.07)


@pytest.mark.parametrize("slope", [4, 12, 25])
def test_bands_hold_a_known_curve(slope):
    """A curve that was not drawn from the prior lies in the 95 % band nearly as often, or more."""
    rng = np.random.default_rng(slope)
    ratios = np.exp([0.25, 0.35, 0.45])
    truth = special.expit(-0.3 - slope * (np.log(ratios) - 0.35))
    held = []
    for _ in range(100):
        curve = winning_curve(
            _simulated(rng, 40, lambda x: special.expit(-0.3 - slope * (x - 0.35))))
        low, high = curve.band(ratios)
        held.append((low <= truth) & (truth <= high))
    assert 0.90 <= np.mean(held) <= 0.99


def test_the_best_price_is_that_of_another_library():
    """A bounded search from elsewhere finds the same price, and the costs count by their mean."""
    history = _simulated(np.random.default_rng(2), 120, lambda x: special.expit(4.5 - 13 * x))
    curve = winning_curve(history)
    costs = np.random.default_rng(3).lognormal(8, 0.3, 2000)
    cost = costs.mean()
    other = optimize.minimize_scalar(
        lambda price: -float(curve.win(price / cost)) * (price - cost),
        bounds=(curve.lowest * cost, curve.highest * cost), method="bounded",
        options={"xatol": 1e-6})
    found = best_price(curve, costs)
    assert found.bid == pytest.approx(other.x, rel=1e-4)
    assert found.earns == pytest.approx(-other.fun, rel=1e-8)
    assert found.win == pytest.approx(curve.win(found.bid / cost))
    assert found.edge is None
    assert best_price(curve, cost).bid == pytest.approx(found.bid)


def test_the_best_price_earns_nearly_what_the_truth_would():
    """After 100 quotes the price found earns, by the true curve, 95 % of the best one or more."""
    rng = np.random.default_rng(8)

    def truth(ratio):
        return special.expit(4.5 - 13 * np.log(ratio))

    kept = []
    for _ in range(20):
        curve = winning_curve(_simulated(rng, 100, lambda x: truth(np.exp(x))))
        best = best_bid(truth, curve.lowest, curve.highest, cost=1)
        found = best_price(curve, 1)
        kept.append(truth(found.bid) * (found.bid - 1) / best.earns)
    assert np.mean(kept) > 0.95


def test_nothing_is_said_of_prices_that_were_never_tried():
    """Outside the history the chance is not a number; inside, both ends count."""
    curve = winning_curve(HISTORIES["separable"])
    assert (curve.answered, curve.won) == (20, 10)
    assert np.isnan(curve.win([1.1, 1.9])).all()
    assert np.isnan(curve.band([1.1, 1.9])).all()
    assert np.isfinite(curve.win([curve.lowest, curve.highest])).all()
    dust = [math.nextafter(curve.lowest, 0), math.nextafter(curve.highest, 9)]
    assert np.isfinite(curve.win(dust)).all()


def test_the_best_price_never_leaves_what_was_tried():
    """All won: the dearest quote so far, and a word that more was never asked."""
    found = best_price(winning_curve(HISTORIES["all won"]), 2000)
    assert (found.bid, found.edge) == (pytest.approx(3600), "highest")
    assert "more than this" in found.caution
    lost = best_price(winning_curve(HISTORIES["all lost"]), 2000)
    assert (lost.bid, lost.edge) == (pytest.approx(2400), "lowest")


def test_a_prior_of_little_slope_may_be_given():
    """With a slope sure to be next to none, the price makes no difference to the chance."""
    curve = winning_curve(_even(lambda i: i < 10), slope_median=0.001, slope_spread=0.01)
    assert curve.win([1.2, 1.8]) == pytest.approx(0.5, abs=0.001)


def test_the_currency_does_not_matter():
    """Prices and costs in another money give the same curve."""
    history = HISTORIES["far out"]
    other = [Answered(7.3 * one.price, 7.3 * one.cost, one.won) for one in history]
    assert winning_curve(other).win(1.5) == pytest.approx(winning_curve(history).win(1.5))


@pytest.mark.parametrize(
    ("history", "said"),
    [([], r"20 answered quotes \(0 so far\), 5 of them won \(0 so far\) and 5 of them lost"),
     (_even(lambda i: i < 10, 19), r"only with 20 answered quotes \(19 so far\)\.$"),
     (_even(lambda i: i < 4, 30), r"only with 5 of them won \(4 so far\)\.$"),
     (_even(lambda i: i > 3, 30), r"only with 5 of them lost \(4 so far\)\.$"),
     ([Answered(math.exp(at), 1, at > 0) for at in (0.0402, -0.0402)] * 10,
      r"only with prices that differ by 5 % or more against their costs \(4 % so far\)"),
     (_even(lambda i: i < 10, 20, 1.4, 1.5),
      r"only with prices that differ by 5 % or more against their costs \(2 % so far\)")],
)
def test_too_little_history_says_what_is_missing(history, said):
    """Each thing that is missing is named, with how far it has come."""
    # 5 to 10 cases of the rarer outcome: Peduzzi et al., J. Clin. Epidemiol. 49, 1996 (memory).
    assert re.search(said, enough(history))


def test_enough_history_is_enough():
    """20 quotes, 5 won, at prices that differ: nothing is missing."""
    assert enough(_even(lambda i: i < 5)) is None
    assert enough(iter(_even(lambda i: i < 15))) is None


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: gates([0.5, 0]), r"chances is 0; .* Write 0\.8 for 80 %"),
     (lambda: friedman([75, 82]), r"Write 0\.8 for 80 %"),
     (lambda: win_against_normal(1, 1, 0), "sd is 0"),
     (lambda: Answered(0, 1000, True), "price is 0"),
     (lambda: Answered(1000, math.nan, True), "cost is nan"),
     (lambda: winning_curve([]), "history is empty"),
     (lambda: winning_curve(HISTORIES["all won"], slope_median=-8), "slope_median is -8"),
     (lambda: winning_curve(HISTORIES["all won"], slope_spread=0), "slope_spread is 0"),
     (lambda: winning_curve(HISTORIES["all won"], intercept_sd=0), "intercept_sd is 0"),
     (lambda: winning_curve(HISTORIES["all won"]).win(0), "over 0"),
     (lambda: winning_curve(HISTORIES["all won"]).band(1.5, 95), r"Write 0\.95 for 95 %"),
     (lambda: best_price(winning_curve(HISTORIES["all won"]), 0), "mean of costs is 0")],
)
def test_figures_out_of_range_are_refused(call, said):
    """Percents, no spread, no price, no history, no cost."""
    with pytest.raises(ValueError, match=said):
        call()
