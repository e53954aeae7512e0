"""Falls of which the exact answer is known, in the place of a rocket's.

Time in the air is lognormal, the mean wind is told with a normal error whose size is lognormal, and
the rest of the scatter is normal. Given time and size a place is normal, so the evidence of a case
is a sum over even steps of both, which for such smooth functions is exact. What weighs, leans and
aims is driftmap's own.
"""

from contextlib import contextmanager
from types import SimpleNamespace

import numpy as np

from driftmap.montecarlo.columns import Part
from driftmap.observations import targeted_flights
from driftmap.observations.case_flights import flown_cases
from driftmap.observations.figures import Find, SeenMoment
from driftmap.observations.observation import MISTAKEN
from driftmap.observations.weighing import weigh

__all__ = ["CASES", "compared", "exact", "flights_of", "in_order", "posterior"]

WIND, ERROR, SIZE = np.array([5.0, 2.0]), 2.0, 0.4  # m/s, m/s, of its logarithm
# Seconds in the air, spread of their logarithm, other scatter [m], what the wind moves.
CASES = {
    "large canopy": (150.0, 0.12, 60.0, 1.0),
    "small canopy": (70.0, 0.3, 90.0, 1.0),
    "strikes": (20.0, 0.1, 250.0, 1.0),
    "goes astray": (25.0, 0.3, 600.0, 0.3),
}
LIKELY = 1 / len(CASES)
AIR = SimpleNamespace(at=lambda heights: np.zeros((2, heights.size)))


class Falls:
    """A cloud of such falls: as much of one as observations look at."""

    def __init__(self, names, flights, seed, lean=None):
        rng = np.random.default_rng([seed, 0])
        own = rng.standard_normal((2, flights))
        lean = own if lean is None else lean
        size = np.exp(SIZE * rng.standard_normal(flights))
        self.seed, self.flights, self.falls = seed, flights, True
        self.draws = {"lean east": lean[0], "lean north": lean[1], "lean size": size}
        body = SimpleNamespace(name="rocket", stages=[], before=[])
        cases = [
            SimpleNamespace(name=n, bodies=(body,), likelihood=LIKELY) for n in names
        ]
        self.tree = SimpleNamespace(cases=cases)
        pieces = SimpleNamespace(pieces=())
        self.plan = SimpleNamespace(top=1000.0, flight=pieces)
        columns = [fallen(name, seed, size, lean) for name in names]
        self.east, self.north, self.time = np.concatenate(columns, axis=1)
        everyone, alike = np.arange(flights), np.ones(flights)
        self.parts = {}
        for number, name in enumerate(names):
            rows = slice(number * flights, (number + 1) * flights)
            self.parts[name] = Part(name, "rocket", 1, flights, rows, everyone, alike)

    def of(self, case):
        """Give the part of a case."""
        return iter([self.parts[case]])

    def weights(self, case):
        """Give the likelihood of a case in each flight."""
        return np.full(self.flights, case.likelihood)


def fallen(name, seed, size, lean):
    """Let one case fall: east, north and time."""
    time, spread, scatter, moved = CASES[name]
    luck = np.random.default_rng([seed, 1 + list(CASES).index(name)])
    time = time * np.exp(spread * luck.standard_normal(size.size))
    off = moved * ERROR * size * lean
    at = time * (WIND[:, None] + off) + scatter * luck.standard_normal((2, size.size))
    return np.concatenate([at, [time]])


@contextmanager
def flights_of(number, seed=1):
    """Give so many plain flights of each case, and fly on in the same falls meanwhile."""

    def fly_again(cloud, wind):
        del wind
        return lambda *, seed, steered, **_: Falls(
            [*steered.only], cloud.flights, seed, steered.lean
        )

    before, targeted_flights.fly_again = targeted_flights.fly_again, fly_again
    try:
        yield flown_cases(Falls(CASES, number, seed), AIR)
    finally:
        targeted_flights.fly_again = before


def exact(name, seen, nodes=301):
    """Give the logarithm of the evidence of a case."""
    x = np.linspace(-7.0, 7.0, nodes)
    share = np.exp(-(x**2) / 2)
    share = share / share.sum()
    time, spread, scatter, moved = CASES[name]
    time = (time * np.exp(spread * x))[:, None]
    wide = (time * moved * ERROR * np.exp(SIZE * x)) ** 2 + scatter**2
    like = np.outer(share, share)
    for one in seen:
        if isinstance(one, Find):
            var = wide + one.error**2
            off = (one.east - time * WIND[0]) ** 2 + (one.north - time * WIND[1]) ** 2
            near, broad = np.exp(-off / 2 / var) / (2 * np.pi * var), 1e-8
        else:
            off, error = (one.time - time) / one.time_error, one.time_error
            near, broad = np.exp(-(off**2) / 2) / np.sqrt(2 * np.pi) / error, 1 / 600
        like = like * ((1 - MISTAKEN) * near + MISTAKEN * broad)
    return float(np.log(like.sum()))


def told(name, rng):
    """Tell of one flight of a case: a find to 5 m, at times the seconds as well."""
    luck = rng.standard_normal(3), np.exp(SIZE * rng.standard_normal(1))
    lean = rng.standard_normal((2, 1))
    east, north, time = fallen(name, int(rng.integers(1 << 30)), luck[1], lean)[:, 0]
    east, north = np.array([east, north]) + 5.0 * luck[0][:2]
    seen = [Find("rocket", float(east), float(north), 5.0)]
    if rng.random() < 0.5:
        time = float(time + 4.0 * luck[0][2])
        seen.append(SeenMoment("rocket", "was down", time, 4.0))
    return seen


def posterior(seen, nodes=301):
    """Give the exact chances of the cases."""
    logs = np.array([exact(name, seen, nodes) for name in CASES])
    return np.exp(logs - np.logaddexp.reduce(logs))


def in_order(by_case):
    """Lay figures out by case."""
    return [by_case[name] for name in CASES]


def compared(cases, rng, count):
    """Give chances exact, plain and flown toward, and the errors told, (count, 4, cases)."""
    lots = []
    for number in range(count):
        seen = told([*CASES][number % len(CASES)], rng)
        known = weigh(cases, seen)
        near = targeted_flights.know(known, AIR)
        rows = known.chances, near.chances, near.errors
        lots.append([posterior(seen), *map(in_order, rows)])
    return np.array(lots)
