"""Which line to look at first, and what a look is worth: against exact enumeration."""

import numpy as np
import pytest
from scipy import optimize, stats
from small_shop import line, operation, row, shop, survey, thing, treatment

from estimator import decisions, durations
from estimator.catalogue import Certainty, Find, Level
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.simulate import sights, simulate
from estimator.simulate.sights import _chi_square, _luck

HIDDEN = Certainty.HIDDEN


def rot(name="one", chance=0.3, hours=4.0, **more):
    """A find of fixed hours whose chance certainty leaves alone."""
    return row(Find, **({"find": f"rot-{name}", "assembly": name, "name": "Rot under the film",
                         "level_from": "clean", "probability": chance, "assumed": 1, "hidden": 1,
                         "low": hours, "typical": hours, "high": hours} | more))


def house(*rows, names=("one",), spread=(2, 6, 10), **settings):
    """Assemblies that are mended within a symmetric range of hours."""
    low, typical, high = spread
    fixed = [thing(name) for name in names] + [treatment(assembly=name) for name in names]
    return shop(operation(low=low, typical=typical, high=high), *fixed, *rows, **settings)


def looked_at(shop_, *lines, trials=20_000, seed=1, sampler="random", confidence=0.8):
    """The job's odds and the sights on it."""
    job = estimate(scope(survey(*lines), Level.FULL, shop_.catalogue), shop_)
    odds = simulate(job, shop_.settings, trials=trials, seed=seed, sampler=sampler)
    return odds, sights(job, odds, confidence)


def best_loss(chances, places, mean, sd, confidence):
    """Least mean loss with one cover for a mixture of normals, by scipy alone."""
    def cdf(cover):
        return sum(p * stats.norm.cdf(cover, mean + at, sd)
                   for p, at in zip(chances, places, strict=True))

    cover = optimize.brentq(lambda c: cdf(c) - confidence, mean - 9 * sd,
                            mean + max(places) + 9 * sd)
    loss = 0.0
    for p, at in zip(chances, places, strict=True):
        z = (cover - mean - at) / sd
        over = sd * (stats.norm.pdf(z) - z * stats.norm.sf(z))  # E max(cost − cover, 0)
        under = sd * (stats.norm.pdf(z) + z * stats.norm.cdf(z))
        loss += p * (over + (1 - confidence) / confidence * under)
    return loss


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9])
@pytest.mark.parametrize(("chance", "hours"), [(0.3, 8.0), (0.3, 3.0), (0.1, 20.0), (0.7, 8.0)])
def test_the_value_of_a_look_is_that_of_exact_enumeration(confidence, chance, hours):
    """One find on top of a sum that is all but normal: the two-state case in closed form."""
    # Expected value of partial perfect information, H. Raiffa & R. Schlaifer, "Applied
    # Statistical Decision Theory" (1961); the mixture's losses from scipy's normal.
    names = tuple(f"thing-{k}" for k in range(12))
    shop_ = house(rot("thing-0", chance, hours), names=names)
    lines = [line("thing-0", certainty=HIDDEN), *map(line, names[1:])]
    odds, (sight,) = looked_at(shop_, *lines, trials=200_000, confidence=confidence)
    sd = 25 * durations.pert_sd(2, 6, 10) * 12**0.5
    mean = 25 * 6 * 12
    want = (best_loss((1 - chance, chance), (0, 25 * hours), mean, sd, confidence)
            - best_loss((1,), (0,), mean, sd, confidence))
    # The sampling error of 200,000 trials is 0.02; twelve PERTs are not quite a normal.
    assert sight.value == pytest.approx(want, rel=0.03, abs=0.06)
    assert sight.line == 0
    assert sight.chance == pytest.approx(chance, abs=0.005)
    cover = mean + sd * stats.norm.ppf(confidence)
    assert sight.fine == pytest.approx(cover, rel=0.002)
    assert sight.worse == pytest.approx(cover + 25 * hours, rel=0.002)
    assert odds.cost.mean() == pytest.approx(mean + chance * 25 * hours, rel=0.002)


def test_a_line_that_was_seen_is_never_listed():
    """Finds can hide under a seen line too, but looking again before teardown shows nothing."""
    shop_ = house(rot("one"), rot("two"), names=("one", "two"))
    _, found = looked_at(shop_, line("one"), line("two", certainty=HIDDEN))
    assert [sight.line for sight in found] == [1]
    assert looked_at(shop_, line("one"), line("two"))[1] == ()


@pytest.mark.parametrize("sampler", ["random", "sobol"])
def test_a_line_whose_state_does_not_matter_is_not_listed(sampler):
    """Finds that cost next to nothing are not worth a look, and noise does not make them so."""
    names = tuple(f"thing-{k}" for k in range(12))
    finds = [rot(name, 0.1 + 0.05 * k, 0.0) for k, name in enumerate(names)]
    shop_ = house(*finds, names=names)
    listed = 0
    for seed in range(20):
        odds, found = looked_at(shop_, *(line(name, certainty=HIDDEN) for name in names),
                                trials=4096, seed=seed, sampler=sampler)
        listed += len(found)
        assert all(sight.value < odds.cost.std() / 500 for sight in found)
    # Of 240 looks at nothing.
    assert listed <= 5


def test_a_line_that_matters_is_listed_among_many_that_do_not():
    """The one line with a costly find stands first, and next to nothing beside it."""
    names = tuple(f"thing-{k}" for k in range(12))
    finds = [rot(name, 0.3, 10.0 if name == "thing-7" else 0.0) for name in names]
    for seed in range(5):
        _, found = looked_at(house(*finds, names=names),
                             *(line(name, certainty=HIDDEN) for name in names),
                             trials=4096, seed=seed)
        assert found[0].line == 7
        assert len(found) <= 2


def test_the_value_grows_with_the_size_of_the_find():
    """The dearer what may hide, the more a look is worth."""
    values = [looked_at(house(rot(hours=hours)), line("one", certainty=HIDDEN))[1][0].value
              for hours in (2.0, 4.0, 8.0, 16.0, 32.0)]
    assert values == sorted(values)
    assert values[0] > 0


def test_the_most_valuable_look_comes_first():
    """Lines are ordered by value, whatever their order in the survey."""
    names = ("one", "two", "three")
    shop_ = house(rot("one", hours=4), rot("two", hours=16), rot("three", hours=8), names=names)
    _, found = looked_at(shop_, *(line(name, certainty=Certainty.ASSUMED) for name in names))
    assert [sight.line for sight in found] == [1, 2, 0]
    assert [sight.value for sight in found] == sorted((s.value for s in found), reverse=True)


def test_no_look_is_worth_more_than_knowing_everything():
    """A look is worth at most what knowing the cost itself would be, and two at most their sum."""
    shop_ = house(rot("one", 0.3, 9), rot("two", 0.4, 12), names=("one", "two"),
                  assumed_worse_chance=0.2, hidden_worse_chance=0.4)
    odds, found = looked_at(shop_, line("one", certainty=HIDDEN),
                            line("two", certainty=Certainty.ASSUMED))
    everything = decisions.least_loss(odds.cost, 0.8)
    assert len(found) == 2
    for sight in found:
        assert 0 < sight.value < everything
        assert sight.fine < sight.worse
    both = odds.lines[0].pattern.astype(int) * 8 + odds.lines[1].pattern
    together = decisions.value_of_seeing(odds.cost, both, 0.8)
    assert max(s.value for s in found) < together < everything


def test_what_is_sure_to_be_worse_needs_no_look():
    """A find with a chance of one is no question, nor is one that never comes."""
    for chance in (1.0, 0.0):
        _, found = looked_at(house(rot(chance=chance, hours=20)), line("one", certainty=HIDDEN))
        assert found == ()


def test_where_the_cost_is_certain_whatever_hides_there_is_nothing_to_look_for():
    """A find that costs nothing on work of fixed hours is worth no look, not even one at 0."""
    _, found = looked_at(house(rot(hours=0.0), spread=(2, 2, 2)), line("one", certainty=HIDDEN))
    assert found == ()


def test_a_line_one_condition_worse_is_worth_a_look():
    """A hidden line that may be worse than written counts as one where a find may hide."""
    shop_ = shop(thing("one"), operation("mend", 2, 6, 10), operation("remake", 20, 20, 20),
                 treatment(item="mend", assembly="one"),
                 treatment(item="remake", assembly="one", condition_from="heavy"),
                 hidden_worse_chance=0.35)
    _, (sight,) = looked_at(shop_, line("one", certainty=HIDDEN))
    assert sight.chance == pytest.approx(0.35, abs=0.01)
    assert sight.worse - sight.fine == pytest.approx(25 * 20, rel=0.02)


def test_three_finds_on_a_line_are_told_apart():
    """The state of a line is which of its finds are there: eight groups, not two."""
    finds = [rot(find=f"rot-{k}", chance=0.3, hours=4.0 * 2**k) for k in range(3)]
    shop_ = house(*finds)
    odds, (sight,) = looked_at(shop_, line("one", certainty=HIDDEN), trials=100_000)
    patterns = odds.lines[0].pattern
    assert sorted(np.unique(patterns)) == list(range(8))
    sums = sum((patterns >> k & 1) * 4.0 * 2**k for k in range(3))
    np.testing.assert_allclose(odds.find_hours, sums)
    told = decisions.value_of_seeing(odds.cost, patterns, 0.8)
    coarse = decisions.value_of_seeing(odds.cost, patterns > 0, 0.8)
    assert coarse < sight.value <= told
    assert sight.value == pytest.approx(told - 7 * _luck(odds.cost, 0.8), rel=1e-12)


def test_many_finds_on_one_line_do_not_lose_their_bits():
    """Twenty finds on one line: each is there as often as it should, and the line is listed."""
    finds = [rot(find=f"rot-{k}", chance=0.3, hours=2.0) for k in range(20)]
    odds, found = looked_at(house(*finds), line("one", certainty=HIDDEN), trials=2000)
    patterns = odds.lines[0].pattern
    for k in range(20):
        assert np.mean(patterns >> k & 1) == pytest.approx(0.3, abs=0.06)
    counted = sum((patterns >> k & 1).astype(int) for k in range(20))
    np.testing.assert_allclose(odds.find_hours, 2.0 * counted, atol=1e-4)
    assert len(found) <= 1


def test_a_find_that_matters_is_told_from_a_dozen_that_do_not():
    """The thirteenth find of a line carries the value, as if the others were not there."""
    small = [rot(find=f"rot-{k}", chance=0.004, hours=0.01) for k in range(12)]
    shop_ = house(*small, rot(find="rot-big", chance=0.3, hours=20.0))
    odds, (sight,) = looked_at(shop_, line("one", certainty=HIDDEN))
    alone = decisions.value_of_seeing(odds.cost, odds.lines[0].pattern >> 12 & 1, 0.8)
    assert sight.value == pytest.approx(alone, rel=0.02)
    assert sight.chance == pytest.approx(1 - 0.7 * 0.996**12, abs=0.01)


def test_a_look_at_nothing_reads_as_high_as_the_luck_that_is_taken_off():
    """Of costs parted at random, the value read is on average what is taken off a group."""
    # (1 − q) / (2 · trials · density at the quantile): the mean of a chi-square of one degree.
    rng = np.random.default_rng(4)
    read, taken = [], []
    for _ in range(400):
        cost = rng.normal(1000, 100, 2000)
        read.append(decisions.value_of_seeing(cost, rng.integers(0, 2, 2000), 0.8))
        taken.append(_luck(cost, 0.8))
    density = stats.norm.pdf(stats.norm.ppf(0.8)) / 100
    assert np.mean(taken) == pytest.approx(0.2 / (2 * 2000 * density), rel=0.05)
    # 400 values of a chi-square of one degree, sd √2 of its mean.
    assert np.mean(read) == pytest.approx(np.mean(taken), rel=0.25)


@pytest.mark.parametrize("degrees", [1, 2, 7, 100])
def test_what_luck_stays_under_is_that_of_the_reference_library(degrees):
    """The approximation by cubes is good to 3.1 % of scipy's chi-square at 999 in 1,000."""
    assert _chi_square(degrees) == pytest.approx(stats.chi2.ppf(0.999, degrees), rel=0.031)


def test_a_look_can_be_valued_at_the_highest_confidence_that_may_be_asked_for():
    """At 99 % the quantiles beside it stop at the end of what was drawn."""
    odds, (sight,) = looked_at(house(rot(hours=20.0)), line("one", certainty=HIDDEN),
                               confidence=0.99)
    assert sight.fine < sight.worse <= odds.cost.max()


def test_totals_alone_show_no_sights():
    """With too many trials to keep the lines there is nothing to tell them apart by."""
    _, found = looked_at(house(rot()), line("one", certainty=HIDDEN), trials=200_001)
    assert found == ()
