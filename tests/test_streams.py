"""Random numbers by name: pinned, uniform, apart from each other; the same however they are got."""

import hashlib
import itertools
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc
from small_shop import line, operation, part, row, shop, survey, thing, treatment

from estimator.catalogue import Certainty, Find, Level, Service
from estimator.estimate import estimate
from estimator.scope import scope
from estimator.simulate import SAMPLERS, Stopped, play, run, shapes, simulate
from estimator.simulate.kept import Kept
from estimator.simulate.plan import Amount, Event, Factors, LinePlan, plan_of
from estimator.simulate.streams import MOST_DIMENSIONS, Streams

WHATS = ("hours", "cost", "days", "find_hours", "find_cost")


def house():
    """A shop with everything that is drawn: hours, prices, breakage, finds, shared factors."""
    finds = [row(Find, find=f"rot-{name}", assembly=name, name="Rot under the film",
                 level_from="clean", probability=0.3, low=1, typical=2, high=6, cost_low=1,
                 cost_typical=5, cost_high=30, days=2, cause="damp") for name in ("one", "two")]
    return shop(
        thing("one"), thing("two"),
        operation("fix", 1, 2, 5), operation("swap", 0.2, 0.3, 1, kind="replace"),
        treatment(item="fix", assembly="one"), treatment(item="fix", assembly="two"),
        treatment(item="swap", assembly="two", share=0.3),
        treatment("part", "piece", "two", share=0.3), part(low=4, typical=5, high=9), *finds,
        row(Service, service="plate", name="Plating", low=20, typical=30, high=70, days_low=5,
            days_typical=8, days_high=20), treatment("service", "plate", "one"),
        job_factor_share=0.1, person_factor_share=0.1, kind_factor_share=0.1, cause_share=0.5,
        assumed_worse_chance=0.2,
    )


def job_of(shop_, *lines):
    """A job of these lines, or of five."""
    lines = lines or (line("one"), line("two", 4), line("one", 2, note="b"),
                      line("two", 7, certainty="assumed"), line("one", 3, note="c"))
    return estimate(scope(survey(*lines), Level.FULL, shop_.catalogue), shop_)


def digest(odds) -> str:
    """A short name for all figures of a run, to the bit."""
    found = hashlib.sha256()
    for what in WHATS:
        found.update(getattr(odds, what).tobytes())
    return found.hexdigest()


# --- ranks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seed", "name", "first", "all_of_them"),
    [
        (1, "flipper 1: rebuild", [26838, 34592, 27259, 45774, 50822, 29548], "1c650f4f46cd621b"),
        (-7, "job", [48448, 15168, 57532, 38480, 3944, 16183], "9579004d7552e034"),
        (2**80, "hand restorer", [60612, 25412, 19763, 10980, 37786, 22229], "90d52f57ab3e3aab"),
    ],
)
def test_a_stream_is_what_it_was(seed, name, first, all_of_them):
    """The figures of old quotes come back: streams are pinned, for any whole number as seed."""
    # Regression values, computed here; the generator is SFC64 started from BLAKE2b.
    ranks = Streams(seed, 1000).ranks(name)
    assert ranks[:6].tolist() == first
    assert hashlib.sha256(ranks.astype("<u2").tobytes()).hexdigest()[:16] == all_of_them


def test_sobol_streams_are_what_they_were():
    """Points come back too, for a negative seed, a huge one and none."""
    names = ["a", "b", "c"]
    for seed, known in ((5, 5), (0, 0), (2**70 + 1, 2**70 + 1), (-5, [5, 1])):
        engine = qmc.Sobol(3, rng=np.random.default_rng(known))
        want = (engine.random(128).T * 65_536).astype(int)
        streams = Streams(seed, 128, "sobol", names)
        assert [streams.ranks(name).tolist() for name in names] == want.tolist()


def test_seeds_that_are_equal_draw_the_same():
    """A seed from an array, or True for 1, is the whole number that it equals."""
    want = Streams(1, 50).ranks("a")
    for seed in (np.int64(1), np.uint8(1), True):
        assert np.array_equal(Streams(seed, 50).ranks("a"), want)
    with pytest.raises(TypeError):
        Streams(1.5, 50)


def test_ranks_are_uniform():
    """Chi-square of the high and of the low byte, over three hundred names, is as it should be."""
    chances = []
    for k in range(300):
        ranks = Streams(11, 8192).ranks(f"thing {k}: mend")
        for byte in (ranks >> 8, ranks & 255):
            chances.append(stats.chisquare(np.bincount(byte, minlength=256)).pvalue)
    # If all is well the chances are uniform themselves.
    assert stats.kstest(chances, "uniform").pvalue > 1e-3
    assert min(chances) > 1e-6


@pytest.mark.parametrize("kin", ["names", "seeds"])
def test_streams_know_nothing_of_each_other(kin):
    """Names that differ in a digit, and seeds that follow each other, are uncorrelated by pair."""
    count, trials = 250, 4096
    ranks = np.stack([
        Streams(3, trials).ranks(f"line {k}") if kin == "names" else Streams(k, trials).ranks("x")
        for k in range(count)])
    scores = shapes.scores(ranks).astype(float)
    # Squares too, so that one stream's spread does not follow another's.
    for values in (scores, scores**2):
        found = np.corrcoef(values)[np.triu_indices(count, 1)] * np.sqrt(trials)
        assert np.abs(found).max() < stats.norm.isf(1e-5 / len(found))
        assert found.var() == pytest.approx(1, abs=6 * np.sqrt(2 / len(found)))


def test_a_trial_knows_nothing_of_the_one_before():
    """Within a stream, numbers one to five apart are uncorrelated; four come of one draw."""
    scores = shapes.scores(Streams(1, 400_000).ranks("a")).astype(float)
    for lag in range(1, 6):
        assert abs(np.mean(scores[lag:] * scores[:-lag])) < 4 / np.sqrt(len(scores))


@pytest.mark.parametrize("trials", [1, 2, 3, 4, 5, 101])
def test_a_stream_has_just_so_many_numbers(trials):
    """Any number of trials, also one that four does not divide."""
    want = Streams(2, 400).ranks("a")[:trials]
    assert np.array_equal(Streams(2, trials).ranks("a"), want)


def test_threads_draw_what_one_alone_draws():
    """Streams drawn by many threads at once do not get into each other's way."""
    streams = Streams(9, 2000)
    names = [f"thing {k % 40}" for k in range(400)]
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(streams.ranks, names))
    assert all(np.array_equal(rows, streams.ranks(name))
               for rows, name in zip(found, names, strict=True))


# --- Sobol points --------------------------------------------------------------------------------


def test_sobol_points_fill_every_slice_of_every_dimension():
    """Of 1,024 points each of 1,024 slices holds one, in each dimension; any two fill the plane."""
    # Properties of a (t, m, s)-net in base 2: I. M. Sobol (1967); A. B. Owen (1995), from memory.
    names = [f"n{k}" for k in range(MOST_DIMENSIONS)]
    streams = Streams(4, 1024, "sobol", names)
    for name in names:
        assert np.array_equal(np.sort(streams.ranks(name) >> 6), np.arange(1024))
    one, other = (streams.ranks(name) >> 11 for name in names[:2])
    assert np.bincount(one * 32 + other.astype(int)).tolist() == [1] * 1024


def test_sobol_points_begin_alike_whatever_their_number():
    """A short run is the beginning of a long one, also beyond what is made at a time."""
    short, long = (Streams(4, trials, "sobol", ["a", "b"]) for trials in (1001, 70_001))
    assert np.array_equal(short.ranks("b"), long.ranks("b")[:1001])
    engine = qmc.Sobol(2, rng=np.random.default_rng(4))
    with pytest.warns(UserWarning, match="balance"):
        want = (engine.random(70_001)[:, 1] * 65_536).astype(int)
    assert np.array_equal(long.ranks("b"), want)


def test_beyond_the_dimensions_numbers_are_independent():
    """What comes after the first 256 names, or was not named, is drawn as always."""
    names = [f"n{k}" for k in range(MOST_DIMENSIONS + 2)]
    points, plain = Streams(4, 256, "sobol", names), Streams(4, 256)
    for name in (*names[MOST_DIMENSIONS:], "stranger"):
        assert np.array_equal(points.ranks(name), plain.ranks(name))
    assert not np.array_equal(points.ranks("n0"), plain.ranks("n0"))


def test_a_name_said_twice_takes_one_dimension():
    """Repeated names do not use up dimensions or shift those after them."""
    once, twice = (Streams(4, 256, "sobol", names) for names in (["a", "b"], ["a", "a", "b", "a"]))
    assert np.array_equal(once.ranks("b"), twice.ranks("b"))


def test_points_are_kept_read_only_and_what_is_drawn_with_them_is_not_kept():
    """Points are handed out again; the same name has other ones in other company."""
    alone, beside = (Streams(1, 128, "sobol", names) for names in (["a"], ["b", "a"]))
    assert not np.array_equal(alone.ranks("a"), beside.ranks("a"))
    assert alone.key is beside.key is None
    with pytest.raises(ValueError, match="read-only"):
        alone.ranks("a")[0] = 0
    assert Streams(1, 128).key == Streams(1, 128, "sobol").key != Streams(2, 128).key


def test_sobol_points_serve_what_finds_share_too():
    """A common cause is drawn by points like the rest: the mean is as much firmer."""
    finds = [row(Find, find=f"rot-{name}", assembly=name, name="Rot under the film",
                 level_from="clean", probability=0.3, low=4, typical=4, high=4, cause="damp")
             for name in ("one", "two")]
    shop_ = shop(thing("one"), thing("two"), operation(), treatment(assembly="one"),
                 treatment(assembly="two"), *finds, cause_share=0.9)
    job = job_of(shop_, line("one"), line("two"))
    spread = {
        sampler: np.std([simulate(job, shop_.settings, trials=1024, sampler=sampler,
                                  seed=seed).cost.mean() for seed in range(30)])
        for sampler in SAMPLERS}
    assert spread["sobol"] < spread["random"] / 4


def test_an_unknown_sampler_is_refused_with_those_that_there_are():
    """The message names the samplers."""
    with pytest.raises(ValueError, match=r'"halton" is no sampler; choose one of: random, sobol'):
        Streams(1, 100, "halton")
    shop_ = house()
    with pytest.raises(ValueError, match="no sampler"):
        simulate(job_of(shop_), shop_.settings, sampler="halton")
    assert SAMPLERS == ("random", "sobol")


# --- the same seed, the same figures -------------------------------------------------------------


@pytest.fixture
def fresh():
    """Nothing kept from other tests, and nothing left to them."""
    play._DRAWN.clear()
    yield play._DRAWN
    play._DRAWN.clear()


def rows_of(kept):
    """All arrays that a memo of draws holds."""
    for (found, _), _ in kept._found.values():
        yield from (row for row in (found if isinstance(found, tuple) else [found])
                    if row is not None)


@pytest.mark.parametrize("sampler", SAMPLERS)
def test_figures_are_the_same_for_any_number_of_workers(fresh, sampler):
    """One worker, two, three or seven: the same to the bit, kept or not."""
    shop_ = house()
    job = job_of(shop_)
    found = set()
    for workers in (1, 2, 3, 7, None):
        fresh.clear()
        for _ in range(2):
            found.add(digest(simulate(job, shop_.settings, trials=3000, workers=workers,
                                      sampler=sampler)))
    assert len(found) == 1


def test_the_order_of_lines_changes_nothing_but_rounding():
    """Every order of unlike lines gives each trial the same figures, to the last digits."""
    shop_ = house()
    lines = line("one"), line("two", 4), line("two", 7, certainty="assumed")
    runs = [simulate(job_of(shop_, *order), shop_.settings, trials=2000)
            for order in itertools.permutations(lines) if order.index(lines[1])
            < order.index(lines[2])]  # lines of one assembly are told apart by their order
    for other in runs[1:]:
        for what in WHATS:
            np.testing.assert_allclose(getattr(other, what), getattr(runs[0], what), rtol=1e-6)


def test_a_fresh_process_gives_the_same_figures():
    """Nothing of a run hangs on what ran before it, or on how Python hashes words."""
    code = ("import test_streams as t; from estimator.simulate import simulate; s = t.house(); "
            "print(t.digest(simulate(t.job_of(s), s.settings, trials=2000)))")
    shop_ = house()
    want = digest(simulate(job_of(shop_), shop_.settings, trials=2000))
    for hashing in ("0", "1"):
        done = subprocess.run([sys.executable, "-c", code], text=True, capture_output=True,
                              env={"PYTHONPATH": ":".join(sys.path), "PYTHONHASHSEED": hashing})
        assert done.stdout.strip() == want, done.stderr


def test_the_first_trials_of_a_long_run_are_those_of_a_short_one():
    """More trials only go on from where fewer ended."""
    shop_ = house()
    job = job_of(shop_)
    short, long = (simulate(job, shop_.settings, trials=n) for n in (1000, 60_000))
    for what in WHATS:
        np.testing.assert_allclose(getattr(long, what)[:1000], getattr(short, what), rtol=1e-12)


def test_totals_alone_are_the_sum_of_the_lines(fresh, monkeypatch):
    """With 250,000 trials nothing is kept, and every trial is what the kept lines add up to."""
    shop_ = house()
    job = job_of(shop_)
    totals = simulate(job, shop_.settings, trials=250_000, workers=2)
    assert not totals.lines
    assert not fresh._found
    for module in (run, play):
        monkeypatch.setattr(module, "KEEP_MOST", 250_000)
    kept = simulate(job, shop_.settings, trials=250_000)
    assert sorted(kept.lines) == [0, 1, 2, 3, 4]
    for what in WHATS:
        np.testing.assert_allclose(getattr(totals, what), getattr(kept, what), rtol=1e-6)
    rest = kept.cost - sum(row.astype(float) for row in kept.line_cost.values())
    np.testing.assert_allclose(rest, kept.kinds["outwork"], atol=1e-3)


def test_what_lines_cost_holds_their_allowances():
    """A quarter on top of every hour, finds too: lines and what is sent out make up the cost."""
    shop_ = house()
    settings = shop_.settings.model_copy(update={"setup_cleanup_share": 0.15, "rework_share": 0.1})
    shop_ = replace(shop_, settings=settings)
    odds = simulate(job_of(shop_), settings)
    assert (odds.trials, odds.seed, odds.hours_factor) == (10_000, 1, 1.25)
    lines = sum(row.astype(float) for row in odds.line_cost.values())
    np.testing.assert_allclose(lines + odds.kinds["outwork"], odds.cost, rtol=1e-6)


def test_negative_and_huge_seeds_are_seeds_like_others():
    """Each whole number gives figures of its own."""
    shop_ = house()
    job = job_of(shop_)
    found = {digest(simulate(job, shop_.settings, trials=500, seed=seed, sampler=sampler))
             for seed in (0, 1, -1, -(2**70), 2**64, 2**64 + 1) for sampler in SAMPLERS}
    assert len(found) == 12


def test_what_was_kept_cannot_be_written_over(fresh):
    """Who changes a line's draws would change the figures of every later run; they are locked."""
    shop_ = house()
    job = job_of(shop_)
    odds = simulate(job, shop_.settings, trials=500)
    with pytest.raises(ValueError, match="read-only"):
        odds.lines[0].hours[:] = 0
    # What belongs to this run alone may be worked on.
    odds.cost[:] = 0
    odds.find_hours[:] = 0
    assert digest(simulate(job, shop_.settings, trials=500)) == digest(
        simulate(job, shop_.settings, trials=500, workers=2))
    assert simulate(job, shop_.settings, trials=500).cost.min() > 0


def test_a_line_edited_gives_what_a_fresh_start_gives(fresh):
    """Whatever is changed, with all else kept: the figures are those without anything kept."""
    shop_ = house()
    edits = [
        {"count": 9}, {"count": 3}, {"certainty": Certainty.HIDDEN},
        {"count": 0}, {"assembly": "one"}, {"count": 8},
    ]
    settings = [shop_.settings, shop_.settings.model_copy(update={"job_factor_share": 0.3})]
    for trials in (60_000, 1000):
        lines = [line(("one", "two")[k % 2], 1 + k, note=f"{k}") for k in range(15)]
        kept = {}
        for k, edit in enumerate(edits):
            lines[7] = replace(lines[7], **edit)
            job = job_of(shop_, *lines)
            kept[k] = [digest(simulate(job, one, trials=trials, seed=seed))
                       for one in settings for seed in (1, 2)]
            # Again, with what the last edits left behind.
            assert kept[k][0] == digest(simulate(job, settings[0], trials=trials, seed=1))
            assert len(set(kept[k])) == 4
            left = dict(fresh._found), fresh._bytes
            fresh.clear()
            assert kept[k] == [digest(simulate(job, one, trials=trials, seed=seed))
                               for one in settings for seed in (1, 2)]
            fresh.clear()
            fresh._found.update(left[0])
            fresh._bytes = left[1]
        assert len({tuple(found) for found in kept.values()}) == len(edits)


@pytest.mark.parametrize(("told", "wanted"), [(None, 1), (1, 1), (3, 3), (4, 4), (64, 4)])
def test_processors_are_counted_where_the_system_does_not_say_which_are_free(
        monkeypatch, told, wanted):
    """At most four, and one where nothing is known; those that are free where the system says."""
    free = {0: set(range(told or 1))}  # process 0 is the one that asks
    monkeypatch.setattr(play.os, "sched_getaffinity", free.__getitem__, raising=False)
    monkeypatch.setattr(play.os, "cpu_count", lambda: 2)
    assert play.processors() == wanted
    monkeypatch.delattr(play.os, "sched_getaffinity")
    monkeypatch.setattr(play.os, "cpu_count", lambda: told)
    assert play.processors() == wanted


@pytest.mark.parametrize(("chance", "times"), [
    (0, 0), (0.00001, 1), (0.3, 19_661), (0.5, 32_768), (0.99999, 65_535), (1, 65_536)])
@pytest.mark.parametrize(("cause", "tied"), [("", 0), ("damp", 0), ("", 0.5)])
def test_over_all_ranks_an_event_happens_just_as_often_as_its_chance(chance, times, cause, tied):
    """Each rank once: so many of 65,536, rounded, and the lowest; a cause of no share is none."""
    streams = Streams(1, 65_536)
    streams.ranks = lambda name: np.arange(65_536).astype(np.uint16)
    never = Amount("", "pert", 0, 0, 0)
    player = play.Player(streams, Factors(0, 0, 0, tied))
    found = player.happens(Event("", chance, cause, never, never))
    assert np.flatnonzero(found).tolist() == list(range(times))


def sure_or_never(k):
    """An event that always happens where `k` is even, never else: an hour, 2 of money, 3 days."""
    return Event(f"{k}", (k + 1) % 2, "", Amount(f"{k} h", "pert", 1, 1, 1),
                 Amount(f"{k} c", "pert", 2, 2, 2), 3)


@pytest.mark.parametrize("events", [1, 15, 16, 17, 32, 33, 40])
def test_which_events_happened_is_told_in_bits(events):
    """By hand: every other bit from the lowest; from the 32nd event on they share the last."""
    player = play.Player(Streams(1, 100), Factors(0, 0, 0, 0))
    found = player.line(LinePlan(events=tuple(map(sure_or_never, range(events)))))
    happened = range(0, events, 2)
    assert set(found.pattern.tolist()) == {sum({1 << min(k, 31) for k in happened})}
    for values, size in ((found.find_hours, 1), (found.find_other, 2), (found.find_days, 3)):
        assert set(values.tolist()) == {size * len(happened)}


# --- progress ------------------------------------------------------------------------------------


@pytest.mark.parametrize("workers", [1, 2, 5])
@pytest.mark.parametrize("trials", [500, 300_000])
def test_progress_grows_to_one(fresh, workers, trials):
    """The share that is done grows line by line and ends at 1."""
    shop_ = house()
    told = []
    simulate(job_of(shop_), shop_.settings, trials=trials, workers=workers, progress=told.append)
    assert told == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0])


@pytest.mark.parametrize("workers", [1, 3])
def test_answering_false_stops(fresh, workers):
    """A run that is told to stop does so at once, and the next one is as if it had not been."""
    shop_ = house()
    job = job_of(shop_)
    want = digest(simulate(job, shop_.settings, trials=1000))
    fresh.clear()
    told = []

    def progress(share):
        told.append(share)
        return share < 0.4

    with pytest.raises(Stopped):
        simulate(job, shop_.settings, trials=1000, workers=workers, progress=progress)
    assert told == pytest.approx([0.2, 0.4])
    # Whole lines may be kept for the next time, never a part of one.
    assert {row.size for row in rows_of(fresh)} == {1000}
    assert digest(simulate(job, shop_.settings, trials=1000)) == want


@pytest.mark.parametrize(("workers", "trials", "threads"), [
    (1, 500_001, False), (2, 100, True), (3, 100, True),
    (None, 500_000, False), (None, 500_001, True)])
def test_one_worker_is_the_caller_and_more_are_threads(monkeypatch, workers, trials, threads):
    """Where nothing is said, over a million draws are worth them: here two lines' trials."""
    monkeypatch.setattr(play, "processors", lambda: 2)
    player = play.Player(Streams(1, trials), Factors(0, 0, 0, 0))
    drew = []
    monkeypatch.setattr(player, "_line", lambda plan: drew.append(threading.get_ident()))
    play.play_lines(player, [LinePlan()] * 2, workers=workers, each=lambda place, drawn: None)
    assert [ident != threading.get_ident() for ident in drew] == [threads] * 2


@pytest.mark.parametrize("workers", [2, 3])
def test_threads_run_a_few_lines_ahead_and_no_more(monkeypatch, workers):
    """Two lines a worker and one wait at most; a run too long to keep must not be held at once."""
    asked = []

    class Pool(ThreadPoolExecutor):
        def submit(self, make, plan):
            asked.append(plan)
            return super().submit(make, plan)

    monkeypatch.setattr(play, "ThreadPoolExecutor", Pool)
    player = play.Player(Streams(1, 100), Factors(0, 0, 0, 0))
    ahead = []
    play.play_lines(player, [LinePlan()] * 12, workers=workers,
                    each=lambda place, drawn: ahead.append(len(asked)))
    assert ahead == [min(12, 2 * workers + 1 + taken) for taken in range(12)]


def test_who_stops_does_not_wait_for_lines_that_were_not_begun(monkeypatch):
    """Of five lines handed out one is done and two may be begun; the others are called off."""
    begun, two_off = threading.Event(), threading.Event()
    off = []

    class Pool(ThreadPoolExecutor):
        def submit(self, make, plan):
            found = super().submit(make, plan)
            found.add_done_callback(told)
            return found

    def told(future):
        off.extend([future] * future.cancelled())
        if len(off) == 2:
            two_off.set()

    def draw(plan):
        # The first takes until another thread is busy; the others until two lines are called off.
        if plan is plans[0]:
            begun.wait(1)
        else:
            begun.set()
            two_off.wait(1)

    monkeypatch.setattr(play, "ThreadPoolExecutor", Pool)
    player = play.Player(Streams(1, 100), Factors(0, 0, 0, 0))
    plans = [LinePlan(events=(sure_or_never(k),)) for k in range(9)]
    monkeypatch.setattr(player, "_line", draw)
    with pytest.raises(Stopped):
        play.play_lines(player, plans, workers=2, each=lambda place, drawn: None,
                        progress=lambda share: False)
    assert len(off) >= 2


def test_a_fault_in_a_worker_comes_through(fresh, monkeypatch):
    """What goes wrong in another thread is raised here, and nothing of that line is kept."""
    shop_ = house()
    job = job_of(shop_)
    draw = play.Player._line

    def broken(self, plan, keep=None):
        if len(plan.parts):
            raise MemoryError("no room")
        return draw(self, plan, keep)

    monkeypatch.setattr(play.Player, "_line", broken)
    with pytest.raises(MemoryError, match="no room"):
        simulate(job, shop_.settings, trials=1000, workers=3)
    monkeypatch.undo()
    assert simulate(job, shop_.settings, trials=1000).cost.min() > 0


# --- what is kept --------------------------------------------------------------------------------


def test_no_more_is_kept_than_there_is_room_for():
    """However things come and go, their bytes never pass the bound, and the sum is right."""
    kept = Kept(1000)
    rng = np.random.default_rng(1)
    for key in rng.integers(0, 40, 2000).tolist():
        size = 17 * key % 311
        assert kept.get(key, lambda key=key, size=size: (str(key), size)) == str(key)
        assert kept._bytes == sum(size for _, size in kept._found.values()) <= 1000
    assert kept._bytes > 0


def test_the_longest_unused_goes_first():
    """What was asked for again stays; what was not makes room."""
    kept = Kept(30)
    for key in "abc":
        kept.get(key, lambda key=key: (key, 10))
    kept.get("a", lambda: pytest.fail("it was kept"))
    kept.get("d", lambda: ("d", 10))
    assert list(kept._found) == ["c", "a", "d"]


def test_what_fills_the_room_to_the_byte_is_kept():
    """Two of 60 bytes have room in 120, one of them in 60."""
    for room, names in ((120, "ab"), (60, "a")):
        kept = Kept(room)
        for name in names:
            kept.get(name, lambda: ("made", 60))
        assert [kept.look(name) for name in names] == ["made"] * len(names)


def test_what_is_larger_than_all_room_is_given_and_not_kept():
    """A thing too large is made each time, and throws nothing else out."""
    kept = Kept(30)
    kept.get("a", lambda: ("a", 10))
    made = [kept.get("big", lambda: ("big", 31)) for _ in range(2)]
    assert made == ["big", "big"]
    assert list(kept._found) == ["a"]


def test_what_fails_to_be_made_is_not_kept():
    """A fault leaves nothing behind; the next one who asks makes it."""
    kept = Kept(30)
    with pytest.raises(ZeroDivisionError):
        kept.get("a", lambda: 1 / 0)
    assert kept.get("a", lambda: ("a", 10)) == "a"


def test_nothing_can_be_kept_as_well_as_something():
    """A made None is a result too."""
    kept = Kept(30)
    for _ in range(2):
        assert kept.get("none", lambda: (None, 0)) is None
    kept.get("none", lambda: pytest.fail("it was kept"))


def test_threads_may_share_what_is_kept():
    """Eight threads that ask for the same things get the right ones, within the bound."""
    kept = Kept(500)
    wrong = []
    start = threading.Barrier(8)

    def ask(seed):
        start.wait()
        for key in np.random.default_rng(seed).integers(0, 60, 3000).tolist():
            if kept.get(key, lambda key=key: (key * key, 1 + key)) != key * key:
                wrong.append(key)
            if kept._bytes > 500 + 61:  # one is taken in before the oldest goes, under the lock
                wrong.append("over")

    threads = [threading.Thread(target=ask, args=(seed,)) for seed in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong
    assert kept._bytes == sum(size for _, size in kept._found.values()) <= 500


@pytest.mark.parametrize(("sampler", "trials", "kept"), [
    ("random", 499, True), ("random", 500, True), ("random", 501, False), ("sobol", 500, False)])
def test_lines_are_kept_up_to_so_many_trials(fresh, monkeypatch, sampler, trials, kept):
    """Up to 500 here: the next player is handed the very arrays; beyond, or by Sobol, others."""
    monkeypatch.setattr(play, "KEEP_MOST", 500)
    shop_ = house()
    job = job_of(shop_)
    plan = plan_of(job, shop_.settings)
    first, again = (run.player_of(plan, job, trials=trials, seed=1, sampler=sampler)
                    for _ in range(2))
    for line_ in plan.lines.values():
        assert again.known(line_) is None
        drawn = first.line(line_)
        known = again.known(line_)
        assert (known is not None) == kept
        for other in (again.line(line_), *([known] if kept else [])):
            same = [one is two for one, two in zip(drawn, other, strict=True)
                    if isinstance(one, np.ndarray)]
            assert set(same) == {kept}
    assert bool(fresh._found) == kept


@pytest.mark.parametrize("workers", [1, 3])
def test_what_is_kept_is_not_drawn_again_and_who_asks_for_each_line_gets_each(
        fresh, monkeypatch, workers):
    """Nothing is left to draw, or to tell of; a long run is given every line, kept or not."""
    shop_ = house()
    job = job_of(shop_)
    plan = plan_of(job, shop_.settings)
    plans = [None, *plan.lines.values(), None]
    player = run.player_of(plan, job, trials=200, seed=1)
    first = play.play_lines(player, plans, workers=workers)
    assert [line_ is None for line_ in first] == [True, *[False] * 5, True]
    with monkeypatch.context() as patch:
        patch.delattr(play.Player, "amount")
        told = []
        again = play.play_lines(player, plans, workers=workers, progress=told.append)
    assert told == []
    assert [line_ and line_.hours is other.hours for line_, other
            in zip(first, again, strict=True)] == [None, *[True] * 5, None]
    given = {}
    assert play.play_lines(player, plans, workers=workers, each=given.__setitem__) == [None] * 7
    assert list(given) == [1, 2, 3, 4, 5]
    for place, line_ in given.items():
        np.testing.assert_array_equal(line_.hours, first[place].hours)


@pytest.mark.parametrize("trials", [100, 50_000])
def test_sums_of_any_number_of_lines_are_those_by_hand(fresh, trials):
    """1 + 2 + … + n = n(n + 1)/2, whatever is kept: groups full, begun, without some lines."""
    player = play.Player(Streams(1, trials), Factors(0, 0, 0, 0))

    def drawn(size):
        rows = [np.full(trials, size, np.float32), None] * 3
        return play.Drawn(*rows, numbers=tuple(next(play._NUMBERS) for _ in rows))

    for count in (0, 1, 2, 5, 6, 7, 36, 37, 217):
        lines = [drawn(k) for k in range(1, count + 1)]
        want = count * (count + 1) / 2
        for _ in range(2):
            assert set(player.summed(lines, "hours").tolist()) == {want}
            assert set(player.summed(lines, "parts").tolist()) == {0}
        for place in {0, count // 2, count - 1} & set(range(count)):
            fewer = [*lines[:place], None, *lines[place + 1:]]
            assert set(player.summed(fewer, "hours").tolist()) == {want - place - 1}
            more = [*lines[:place], drawn(place + 3), *lines[place + 1:]]
            room = np.ones(trials)
            assert player.summed(more, "find_other", out=room) is room
            assert set(room.tolist()) == {want + 2}


@pytest.mark.parametrize("trials", [100, 50_000])
def test_a_line_changed_in_one_kind_of_amount_changes_that_sum_alone(fresh, trials):
    """Two lines of fixed amounts, one changed in each way in turn: all six sums are by hand."""
    player = play.Player(Streams(1, trials), Factors(0, 0, 0, 0))

    def drawn(sizes):
        hours, parts, materials, more, other = (
            Amount("", "pert", size, size, size) for size in sizes[:5])
        find = Event("", 1, "", more, other, sizes[5])
        return player.line(LinePlan((hours,), (parts,), (materials,), (find,)))

    base = (1, 2, 3, 4, 5, 6)
    for place in (None, *range(6), None):
        changed = tuple(size + 10 * (k == place) for k, size in enumerate(base))
        lines = [drawn(base), drawn(changed)]
        got = [set(player.summed(lines, what).tolist()) for what in play.WHATS]
        assert got == [{a + b} for a, b in zip(base, changed, strict=True)]


@pytest.mark.parametrize("trials", [100, 50_000])
def test_sums_of_what_is_not_kept_are_not_kept(fresh, trials):
    """Points of Sobol have no key, and what is drawn with them no number to tell it by."""
    player = play.Player(Streams(1, trials, "sobol", ["a"]), Factors(0, 0, 0, 0))
    for size in (1, 5):
        lines = [play.Drawn(np.full(trials, size, np.float32))] * 3
        assert set(player.summed(lines, "hours").tolist()) == {3 * size}
    assert not fresh._found


@pytest.mark.parametrize(("trials", "kept"), [(49_999, 0), (50_000, 1)])
def test_sums_of_many_trials_are_kept(fresh, trials, kept):
    """From 50,000 trials on looking up is quicker than adding up; a sum has its bytes counted."""
    player = play.Player(Streams(1, trials), Factors(0, 0, 0, 0))
    lines = [play.Drawn(np.ones(trials, np.float32), numbers=(k,) * 6) for k in (1, 2)]
    player.summed(lines, "hours")
    assert (len(fresh._found), fresh._bytes) == (kept, kept * trials * 4)


def test_the_rooms_own_memo_is_bounded(monkeypatch):
    """Line after line, what the draws hold never passes the memo's bytes."""
    small = Kept(100_000)
    monkeypatch.setattr(play, "_DRAWN", small)
    shop_ = house()
    for seed in range(20):
        simulate(job_of(shop_), shop_.settings, trials=1000, seed=seed)
        assert 0 < small._bytes <= 100_000
    assert sum(row.nbytes for row in rows_of(small)) == small._bytes
