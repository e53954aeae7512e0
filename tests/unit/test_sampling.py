"""How many flights: goals, doubling, precision, and what is refused."""

import math
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from driftmap.core.estimate import Estimate, Goal, converge, weighted_mean
from driftmap.hazard.precise import Sharpened
from driftmap.hazard.probability import beyond_reach
from driftmap.montecarlo.importance_sampling import Mixture, tilted_mean
from driftmap.verdict import judgement
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import LIMITS

EXAMPLES = Path(__file__).parents[2] / "examples"


def coin(probability, seed=1, asked=None):
    """A sampler of a figure, each look with the flights of the look before and more."""
    luck = np.random.default_rng(seed).random(1 << 18) < probability

    def sample(flights, confidence):
        hits = int(luck[:flights].sum())
        if asked is not None:
            asked.append(confidence)
        return weighted_mean(np.ones(hits), flights, 1.0, confidence=confidence)

    return sample


def test_doubles_until_the_interval_leaves_the_limit():
    goal = Goal(limit=1e-3)
    looks, reached = converge(coin(2e-3), goal, first=1024, cap=1 << 18)
    assert reached
    assert looks[-1].lower > 1e-3
    assert [look.flights for look in looks] == [1024 << i for i in range(len(looks))]
    assert not any(goal.met(look) for look in looks[:-1])
    assert len(looks) > 1


def test_relative_precision_is_met_and_costs_flights():
    wide, _ = converge(coin(0.01), Goal(relative=0.5), first=512, cap=1 << 18)
    fine, reached = converge(coin(0.01), Goal(relative=0.1), first=512, cap=1 << 18)
    assert reached
    assert (fine[-1].upper - fine[-1].lower) / 2 <= 0.1 * fine[-1].estimate
    assert fine[-1].flights > wide[-1].flights


def test_zero_hits_settle_only_through_an_absolute_width():
    never, reached = converge(coin(0.0), Goal(relative=0.1), first=512, cap=4096)
    assert not reached
    assert len(never) == 4
    enough = Goal(relative=0.1, absolute=1e-3)
    assert converge(coin(0.0), enough, first=512, cap=1 << 16)[1]


def test_figure_on_the_limit_stops_at_the_cap_and_says_so():
    looks, reached = converge(coin(1e-3), Goal(limit=1e-3), first=1024, cap=8192)
    assert not reached
    assert looks[-1].flights == 8192


def test_an_area_not_known_as_well_as_was_asked_holds(demo, monkeypatch):
    asked = {}

    def sharpen(pilot, more, people, **wanted):
        asked.update(wanted, people={area.name for area in people})
        look = Estimate(5e-4, 1e-4, 2e-3, 5, 2000)
        return tuple(Sharpened(a.name, (look,), a is not people[-1]) for a in people)

    monkeypatch.setattr(judgement, "sharpen", sharpen)
    found = judgement.judge_all(demo.cloud, demo.site, demo.wind, precision=0.3)
    assert (asked["relative"], asked["limit"]) == (0.3, LIMITS["area_hit"].value)
    far = beyond_reach(demo.cloud)
    near = [area for area in demo.site.areas if not far(area.shape)]
    # All that counts as one crowd, a road or a house that nobody said to be empty too.
    assert asked["people"] == {area.name for area in near if area.peopled}
    assert {"road", "spectators"} <= {area.role for area in near if area.peopled}
    (held,) = (check for check in found.checks if check.kind == Kind.PRECISION)
    assert held.outcome == "warn"
    assert held.area in asked["people"]
    sharp = [hit for hit in found.areas if hit.area.name in asked["people"]]
    assert sharp
    assert {hit.total.estimate for hit in sharp} == {5e-4}


def test_looks_share_the_chance_of_error():
    asked = []
    converge(coin(0.5, asked=asked), Goal(limit=0.1), first=1024, cap=8192)
    assert asked == [pytest.approx(1 - 0.05 / 4)]


def test_equality_with_the_limit_counts_as_kept():
    assert Goal(limit=1e-4).met(Estimate(5e-5, 1e-5, 1e-4, 5, 10))
    assert not Goal(limit=1e-4).met(Estimate(1.2e-4, 1e-4, 2e-4, 5, 10))


@pytest.mark.parametrize("cap", [0, 100])
def test_cap_below_first_is_refused(cap):
    with pytest.raises(ValueError, match="cap"):
        converge(coin(0.1), Goal(), first=1024, cap=cap)


@pytest.mark.parametrize(
    ("values", "flights", "largest"),
    [([2.0], 10, 1.0), ([-1.0], 10, 1.0), ([math.nan], 10, 1.0), ([1.0, 1.0], 1, 1.0),
     ([], 0, 1.0), ([], 10, 0.0), ([], 10, math.inf)],
)  # fmt: skip
def test_impossible_sums_are_refused(values, flights, largest):
    with pytest.raises(ValueError, match="must"):
        weighted_mean(values, flights, largest)


def test_upper_end_never_passes_what_one_flight_can_add():
    assert weighted_mean(np.ones(10), 10, 1.0).upper == 1.0


def test_tilted_mean_refuses_a_weight_beyond_its_bound():
    with pytest.raises(ValueError, match="bound"):
        tilted_mean(np.full(100, 2.0), 1000, 1.0)


ONE = {
    "middle": np.zeros((1, 3, 2)),
    "width": np.ones((1, 3)),
    "share": np.ones((1, 3)),
    "plain": 0.2,
}


@pytest.mark.parametrize(
    ("name", "value"),
    [("middle", np.zeros((1, 3))), ("middle", np.full((1, 3, 2), math.nan)),
     ("width", np.zeros((1, 3))), ("width", np.ones(3)), ("share", np.full((1, 3), 0.5)),
     ("share", np.ones((2, 3))), ("share", np.full((1, 3), math.nan)),
     ("plain", 0.0), ("plain", 1.5), ("plain", math.nan)],
)  # fmt: skip
def test_broken_aims_are_refused(name, value):
    Mixture(**ONE)
    with pytest.raises(ValueError, match=name):
        Mixture(**ONE | {name: value})


SPREAD_OUT = """
import os, signal, sys, threading, time
import numpy as np
from driftmap import fly, read_flight, read_wind
from driftmap.core.errors import WeakThrustError
from driftmap.core.pools import in_order, processes

os.cpu_count = lambda: 2

def alone():  # a thread that has ended may take leave of the system later
    while len(os.listdir("/proc/self/task")) > 1:
        time.sleep(0.01)

tasks = range(0, 50, 10)
mine = os.getpid()

def refuse(task):
    if task == 30:
        raise WeakThrustError("too weak")

def die(task):
    if task == 30:
        os.kill(os.getpid(), signal.SIGKILL)

def nobody_is_left():
    try:
        os.waitpid(-1, os.WNOHANG)
    except ChildProcessError:
        return True

done = list(in_order(lambda task: (task, os.getpid()), tasks))
assert [task for task, _ in done] == [*tasks]
assert mine not in {who for _, who in done}
for work, kind in ((refuse, WeakThrustError), (die, MemoryError)):
    alone()
    try:
        list(in_order(work, tasks))
        raise AssertionError(kind)
    except kind:
        assert nobody_is_left()
alone()
with processes(2) as pool:
    assert pool.submit(os.getpid).result() != mine
    # A fork has what was imported here; a fresh process would not.
    assert pool.submit(eval, "'driftmap.montecarlo.cloud' in __import__('sys').modules").result()
assert nobody_is_left()
alone()
some = in_order(lambda task: bytes(1 << 20), range(100))
next(some)
some.close()
assert nobody_is_left()

flight, wind = read_flight(sys.argv[1]), read_wind("9 mph from 240", site_altitude=1200)
def cloud():
    return fly(flight, wind, 1200, samples=4100, seed=1, bodies=(), keep_falls=True)
alone()
by_processes, leave = cloud(), threading.Event()
beside = threading.Thread(target=leave.wait)
beside.start()
assert {who for who in in_order(lambda task: os.getpid(), tasks)} == {mine}
by_threads = cloud()
leave.set()
beside.join()
alone()
for name in ("east", "north", "time", "way"):
    assert np.array_equal(getattr(by_processes, name), getattr(by_threads, name))
print("alike", flush=True)
for _ in in_order(lambda task: bytes(1 << 20), range(1000)):
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.slow  # starts processes
@pytest.mark.skipif(sys.platform != "linux", reason="forks where that is safe")
def test_flights_of_processes_are_those_of_threads_and_none_outlives_its_parent():
    order = [sys.executable, "-W", "error", "-c", SPREAD_OUT, EXAMPLES / "dunlin.toml"]
    one = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}  # as the command line has it
    run = subprocess.run(order, capture_output=True, env=one, check=False)
    # All that was forked holds the other end of what is read here to its end.
    assert (run.returncode, run.stdout) == (-signal.SIGKILL, b"alike\n"), run.stderr
