"""The standard that a job was quoted at, and the books of many jobs read at once."""

from dataclasses import replace
from datetime import timedelta

import pytest
from ledgers import DAY, with_job

from estimator import jobs
from estimator.catalogue import Level, data_folder
from estimator.errors import BadInput
from estimator.ledger import Ledger
from estimator.quote import Choices, quote
from estimator.review.books import standard_of
from estimator.shop import new_shop, open_shop
from estimator.survey import read


@pytest.fixture
def shop(tmp_path):
    """A shop folder of its own."""
    return open_shop(new_shop(tmp_path / "shop"))


@pytest.fixture
def ledger(shop):
    """Its ledger."""
    found = Ledger(shop.folder)
    yield found
    found.close()


@pytest.fixture
def quoted(ledger, shop):
    """A job of the demo survey, fully restored: with parts, materials, outwork and finds."""
    survey = read(data_folder() / "demo" / "survey.csv", shop.catalogue)
    offer = quote(survey, Choices(Level.FULL, trials=200, on=DAY - timedelta(3)), shop,
                  compare=False)
    jobs.keep(ledger, offer, shop)
    return jobs.accept(ledger, offer.number, on=DAY - timedelta(2))


def test_a_quote_kept_by_an_earlier_version_is_estimated_again(ledger, quoted):
    """Without what is said of supplies and lots, the standard comes out the same."""
    held = ledger.frozen(quoted.number)
    short = {key: value for key, value in held.answer.items()
             if key not in ("supplies", "outwork", "hour_cost", "finds")}
    said = standard_of(held, quoted.number)
    again = standard_of(replace(held, answer=short), quoted.number)
    assert said.supplies.keys() == again.supplies.keys()
    assert len(said.supplies) > 50
    for name, (quantity, unit, cost) in said.supplies.items():
        assert again.supplies[name] == (pytest.approx(quantity), unit, pytest.approx(cost))
    assert again.lots.keys() == said.lots.keys() != set()
    lines = {lot["service"]: lot["lines"] for lot in held.answer["outwork"]}
    assert {service: count for service, (_, count) in said.lots.items()} == lines
    assert max(lines.values()) > 1
    assert (again.hour_cost, again.find_cost) == pytest.approx((said.hour_cost, said.find_cost))
    service, (charge, lines) = next(iter(said.lots.items()))
    (lot,) = [one for one in held.answer["outwork"] if one["service"] == service]
    assert said.charge_of(service, lot["quantity"], lines) == pytest.approx(charge, rel=1e-3)
    with pytest.raises(BadInput, match="before the ledger kept"):
        standard_of(None, quoted.number)


def test_many_are_read_as_one(ledger, quoted):
    """Items and kept quotes of several jobs at once are those of each by itself."""
    other = with_job(ledger)
    numbers = [quoted.number, other.number]
    assert ledger.items_of(numbers) == {one: ledger.items(one) for one in numbers}
    assert ledger.frozen_of(numbers) == {quoted.number: ledger.frozen(quoted.number)}
    assert ledger.frozen_of([]) == {}
