"""Jobs of the shop on the bench plan, from what is done and booked."""

import json

import pytest
from ledgers import DAY, worked
from test_ledger_change import Bench

from estimator import cli
from estimator.catalogue import data_folder
from estimator.shop import open_shop
from estimator.survey import read


@pytest.fixture
def on_the_bench(tmp_path):
    """A shop with one job of the demo survey."""
    survey = read(data_folder() / "demo" / "survey.csv", open_shop().catalogue, final=True)
    found = Bench(tmp_path / "shop", survey)
    yield found
    found.ledger.close()


@pytest.mark.parametrize(("words", "wanted"), [
    (["--jobs", "nowhere", "nobody"], "2 faults"),
    (["--jobs", "--level", "clean"], "have a level and a day already"),
    ([], "There is nothing to plan"),
])
def test_command_names_what_is_wrong_with_jobs(words, wanted, on_the_bench, capsys):
    """Jobs that are not there, a level for a job that has one, nothing at all."""
    assert cli.main(["plan", *words, "--shop", str(on_the_bench.shop.folder)]) == 2
    assert wanted in capsys.readouterr().err


def test_command_plans_jobs_of_the_shop_from_what_is_done(on_the_bench, capsys):
    """Items marked as done are not planned, hours booked shorten what is left; closed ones end."""
    def planned(*words):
        code = cli.main(["plan", "--jobs", *words, "--start", DAY.isoformat(), "--seconds", "0",
                         "--trials", "500", "--json", "--shop", str(on_the_bench.shop.folder)])
        return code, capsys.readouterr()

    def steps():
        code, said = planned()
        assert code == 0, said.err
        return {step["item"]: step["hours"] for step in json.loads(said.out)["steps"]
                if step["item"] is not None}

    before = steps()
    items = on_the_bench.quoted_items
    assert set(before) == {item.item for item in items}
    first, long = items[0], max(items, key=lambda item: item.expected)
    on_the_bench.ledger.mark_done(on_the_bench.job.number, [first.item], DAY)
    on_the_bench.work(worked(long.expected / 2, item=long.item, job=on_the_bench.job.number))
    after = steps()
    assert set(before) - set(after) == {first.item}
    assert after[long.item] < before[long.item]
    on_the_bench.ledger.set_state(on_the_bench.job.number, "closed", DAY)
    assert planned()[0] == 2
    assert "is closed" in planned("harbour")[1].err
