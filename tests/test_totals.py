"""Whole machines of typical counts and condition come to what the trade says a level takes.

The totals are those that forum threads, repair guides, shop pages and one newspaper piece give
for each level, widened where the eras differ by bench judgement: common practice, no source.
"""

import itertools

import pytest

from estimator.catalogue import CONDITIONS, LEVELS, Certainty, Era, Level
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.shop import open_shop
from estimator.survey import template

SHOP = open_shop()
REST = (Era.EARLY_SOLID_STATE, Era.LATE_SOLID_STATE, Era.DOT_MATRIX, Era.Y2000S)

# Hours with allowances for set-up, clean-up and rework. Common practice, no source.
HOURS = {
    # Repair guide: three to four machines a day.
    Level.CLEAN: dict.fromkeys(Era, (1.5, 2.7)),
    # Forum threads 10 to 20 h; a repair guide 16 h.
    Level.SHOP_JOB: dict.fromkeys(Era, (10, 20)),
    # Forum threads 20 to 30 h, to 40 with boards; electromechanical three to six days of work;
    # modern one to three days, now and then a week.
    Level.RECONDITIONED: dict.fromkeys(REST, (20, 40)) | {
        Era.ELECTROMECHANICAL: (20, 48), Era.MODERN: (7, 30)},
    # A workshop, 2010: 150 to 200 h with every part off; fewer where the machine holds less.
    Level.FULL: dict.fromkeys(Era, (100, 200)) | {Era.DOT_MATRIX: (150, 200)},
    Level.SHOW: dict.fromkeys(Era, (150, 400)),
}

# Parts and materials together, from a restorer's memory of bills. Common practice, no source.
MONEY = {
    Level.SHOP_JOB: dict.fromkeys(Era, (60, 250)),
    Level.RECONDITIONED: dict.fromkeys(Era, (200, 800)),
    Level.FULL: dict.fromkeys(Era, (700, 3000)),
    Level.SHOW: dict.fromkeys(Era, (1500, 5000)),
}


def _job(era, level):
    return estimate(scope(template(era, SHOP.catalogue), level, SHOP.catalogue), SHOP)


JOBS = {(era, level): _job(era, level) for era in Era for level in LEVELS}


@pytest.mark.parametrize("level", HOURS)
@pytest.mark.parametrize("era", list(Era))
def test_hours_of_a_level_are_those_of_the_trade(era, level):
    """A typical machine takes the hours that practitioners name for the level."""
    low, high = HOURS[level][era]
    assert low <= JOBS[era, level].hours <= high


@pytest.mark.parametrize("level", MONEY)
@pytest.mark.parametrize("era", list(Era))
def test_parts_and_materials_of_a_level_are_those_of_the_trade(era, level):
    """A typical machine needs parts and materials for about what the trade remembers paying."""
    low, high = MONEY[level][era]
    kinds = [line.kinds for line in JOBS[era, level].lines]
    assert low <= sum(kind["parts"] + kind["materials"] for kind in kinds) <= high


@pytest.mark.parametrize(
    ("level", "low", "high"),
    # Bottom-up sums of the bench for a dot-matrix machine, hands-on, before allowances:
    # 17.5, 31 and 158 h at typical figures. Common practice, no source.
    [(Level.SHOP_JOB, 13, 17.5), (Level.RECONDITIONED, 25, 31.5), (Level.FULL, 130, 160)],
)
def test_a_dot_matrix_machine_adds_up_from_the_bottom(level, low, high):
    """Hands-on hours agree with a sum made by hand over the assemblies of one machine."""
    job = JOBS[Era.DOT_MATRIX, level]
    assert low <= job.hours / job.hours_factor <= high


@pytest.mark.parametrize("era", list(Era))
def test_each_level_takes_more_than_the_one_below(era):
    """Hours and cost of a whole machine rise from level to level."""
    for low, high in itertools.pairwise(LEVELS):
        assert JOBS[era, low].hours < JOBS[era, high].hours
        assert JOBS[era, low].cost < JOBS[era, high].cost


@pytest.mark.parametrize("level", [Level.SHOP_JOB, Level.RECONDITIONED, Level.FULL, Level.SHOW])
@pytest.mark.parametrize("era", list(Era))
def test_the_allowance_for_the_unseen_is_that_of_a_quote_on_photos(era, level):
    """With every line assumed, finds add hours, but not more than the half that the trade allows.

    Contingency on a machine seen only in photos is 20 to 50 %. Common practice, no source.
    """
    job = JOBS[era, level]
    assert 0 < job.find_hours <= 0.5 * job.hours


def test_a_machine_that_was_looked_at_needs_less_contingency():
    """Seeing every line takes away the chance of worse than assumed and lowers every find."""
    survey = template(Era.DOT_MATRIX, SHOP.catalogue)
    for index in range(len(survey.lines)):
        survey = survey.with_line(index, certainty=Certainty.SEEN)
    seen = estimate(scope(survey, Level.FULL, SHOP.catalogue), SHOP)
    assert seen.hours == pytest.approx(JOBS[Era.DOT_MATRIX, Level.FULL].hours)
    assert not seen.unseen
    # Opened and surveyed: 10 to 20 % at most. Common practice, no source.
    assert 0 < seen.find_hours <= 0.2 * seen.hours


def test_the_whole_machine_takes_longer_the_worse_it_is():
    """One condition for all lines, from fresh to missing: hours and cost never fall."""
    for level in LEVELS:
        before = (0.0, 0.0)
        for condition in CONDITIONS:
            survey = template(Era.LATE_SOLID_STATE, SHOP.catalogue)
            for index in range(len(survey.lines)):
                survey = survey.with_line(index, condition=condition)
            job = estimate(scope(survey, level, SHOP.catalogue), SHOP)
            assert job.hours >= before[0] - 1e-9
            assert job.cost >= before[1] - 1e-9
            before = job.hours, job.cost
