"""Networks of tasks: dates and slack against printed networks and against networkx."""

from __future__ import annotations

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.durations import chance_by, pert_mean
from estimator.network import Circle, critical_paths, dates, in_order, needed

# J. Heizer, B. Render, "Operations Management", project management, the plant of Milwaukee Paper:
# activity, its time, its predecessors; early start, early finish, late start, late finish, slack.
PLANT = {
    "A": (2, "", (0, 2, 0, 2, 0)), "B": (3, "", (0, 3, 1, 4, 1)),
    "C": (2, "A", (2, 4, 2, 4, 0)), "D": (4, "B", (3, 7, 4, 8, 1)),
    "E": (4, "C", (4, 8, 4, 8, 0)), "F": (3, "C", (4, 7, 10, 13, 6)),
    "G": (5, "DE", (8, 13, 8, 13, 0)), "H": (2, "FG", (13, 15, 13, 15, 0)),
}
# The same book's case of the university's stadium, worked answer at
# https://ru.scribd.com/document/438492051/POM-docx: low, likely, high days and predecessors.
STADIUM = {
    "A": (20, 30, 40, ""), "B": (20, 65, 80, "A"), "C": (50, 60, 100, "A"),
    "D": (30, 50, 100, "C"), "E": (25, 30, 35, "B"), "F": (0.1, 0.1, 0.1, "E"),
    "G": (25, 30, 35, "DF"), "H": (10, 20, 30, "G"), "I": (20, 25, 60, "H"),
    "J": (8, 10, 12, "H"), "K": (0.1, 0.1, 0.1, "J"), "L": (20, 25, 60, "IK"),
}


def links_of(network: dict) -> list[tuple[int, int]]:
    """Links of a network whose tasks are letters and whose last entry but one, or last, waits."""
    names = "".join(network)
    return [(names.index(before), names.index(name)) for name, row in network.items()
            for before in next(part for part in row if isinstance(part, str))]


def test_printed_network_with_its_whole_table():
    """Every date and every slack of the printed table, and the printed critical path."""
    times = [row[0] for row in PLANT.values()]
    found = dates(times, links_of(PLANT))
    assert found.end == 15
    columns = zip(found.early_start, found.early_finish, found.late_start, found.late_finish,
                  found.total_slack, strict=True)
    assert list(columns) == [row[2] for row in PLANT.values()]
    (path,) = critical_paths(times, links_of(PLANT))
    assert "".join("ABCDEFGH"[task] for task in path) == "ACEGH"


def test_printed_case_of_twelve_activities():
    """260 days along A-C-D-G-H-I-L, the printed slack, and the printed chance for day 270."""
    means = [pert_mean(*row[:3]) for row in STADIUM.values()]
    found = dates(means, links_of(STADIUM))
    assert found.end == pytest.approx(260, abs=0.05)
    slack = dict(zip(STADIUM, found.total_slack, strict=True))
    assert [slack[name] for name in "BEFJK"] == pytest.approx([29.9] * 3 + [19.9] * 2, abs=0.05)
    (path,) = critical_paths(means, links_of(STADIUM))
    assert "".join("ABCDEFGHIJKL"[task] for task in path) == "ACDGHIL"
    rows = [STADIUM[name] for name in "ACDGHIL"]
    variances = [((high - low) / 6) ** 2 for low, _, high, _ in rows]
    chance = chance_by(270, [pert_mean(*row[:3]) for row in rows], variances)
    assert chance == pytest.approx(0.7123, abs=0.001)


def test_free_slack_delays_no_task_after():
    """F of the printed plant can slip by six days and H starts no later, D by one."""
    found = dates([row[0] for row in PLANT.values()], links_of(PLANT))
    free = dict(zip(PLANT, found.free_slack, strict=True))
    assert free == {"A": 0, "B": 0, "C": 0, "D": 1, "E": 0, "F": 6, "G": 0, "H": 0}


def test_a_day_it_must_be_ready_by_moves_late_dates_only():
    """A day of grace is added to every slack; early dates stay."""
    times = [row[0] for row in PLANT.values()]
    free, bound = dates(times, links_of(PLANT)), dates(times, links_of(PLANT), end=16)
    assert bound.early_start == free.early_start
    assert bound.total_slack == tuple(slack + 1 for slack in free.total_slack)


networks = st.integers(1, 12).flatmap(lambda count: st.tuples(
    st.lists(st.integers(0, 9), min_size=count, max_size=count),
    st.sets(st.tuples(st.integers(0, count - 1), st.integers(0, count - 1))
            .filter(lambda pair: pair[0] < pair[1])),
    st.permutations(range(count))))


@settings(deadline=None, max_examples=150)
@given(networks)
def test_dates_agree_with_networkx(case):
    """Longest paths, order and the links that are needed are those of a general graph library."""
    durations, pairs, names = case
    links = [(names[a], names[b]) for a, b in pairs]
    graph = networkx.DiGraph(links)
    graph.add_nodes_from(range(len(durations)))
    found = dates(durations, links)
    for task in graph:
        ways = graph.subgraph(networkx.ancestors(graph, task) | {task})
        weighed = networkx.DiGraph()
        weighed.add_edges_from(((a, "in"), (a, "out"), {"w": durations[a]}) for a in ways)
        weighed.add_edges_from(((a, "out"), (b, "in"), {"w": 0}) for a, b in ways.edges)
        assert found.early_finish[task] == networkx.dag_longest_path_length(weighed, "w")
    assert set(needed(len(durations), links)) == set(networkx.transitive_reduction(graph).edges)
    place = {task: at for at, task in enumerate(in_order(len(durations), links))}
    assert all(place[a] < place[b] for a, b in links)
    assert all(slack >= 0 for slack in (*found.total_slack, *found.free_slack))
    for path in critical_paths(durations, links):
        assert sum(durations[task] for task in path) == found.end


@settings(deadline=None, max_examples=60)
@given(networks, st.data())
def test_a_circle_is_named_by_its_tasks(case, data):
    """The tasks given are a circle of the links, wherever it is closed."""
    durations, pairs, _ = case
    pairs = sorted(pairs)
    if not pairs:
        return
    a, b = data.draw(st.sampled_from(pairs))
    links = {*pairs, (b, a)}
    with pytest.raises(Circle) as caught:
        dates(durations, links)
    round_trip = caught.value.tasks
    assert all((x, y) in links
               for x, y in zip(round_trip, (*round_trip[1:], round_trip[0]), strict=True))


@pytest.mark.parametrize("base", [0, 4])
def test_of_several_circles_the_shortest_is_named(base):
    """Two that wait for each other, before or after four in a row, with others hung on both."""
    pair, four = (base, base + 1), [2, 3, 4, 5] if base == 0 else [0, 1, 2, 3]
    links = [pair, pair[::-1], *zip(four, (*four[1:], four[0]), strict=True),
             (6, pair[0]), (pair[1], 7), (four[0], pair[0]), (6, 7)]
    with pytest.raises(Circle) as caught:
        dates([1] * 8, links)
    assert sorted(caught.value.tasks) == list(pair)


def test_no_task_ends_at_once():
    """A plan of nothing takes no time and has no path."""
    assert dates([], []).end == 0
    assert critical_paths([], []) == []


def test_free_slack_is_up_to_the_first_that_waits():
    """A of 2 before B, and with D of 4 before C: D leaves C waiting, B starts when A ends."""
    found = dates([2, 1, 1, 4], [(0, 1), (0, 2), (3, 2)])
    assert found.early_start == (0, 2, 4, 0)
    assert found.free_slack == (0, 2, 0, 0)
    assert found.total_slack == (2, 2, 0, 0)
    assert found.end == 5


def test_paths_come_in_the_order_of_their_tasks_and_no_more_than_asked_for():
    """Two ways of 3 and one of 2 from a start to an end; within 1 the third counts as well."""
    durations, links = [1, 3, 3, 2, 1], [(0, 3), (0, 2), (0, 1), (3, 4), (2, 4), (1, 4)]
    assert critical_paths(durations, links) == [(0, 1, 4), (0, 2, 4)]
    assert critical_paths(durations, links, within=1) == [(0, 1, 4), (0, 2, 4), (0, 3, 4)]
    assert critical_paths(durations, links, most=1) == [(0, 1, 4)]
    assert needed(5, links) == sorted(links)
