"""Chances of cases by flights flown toward what was seen, beside exact ones.

The falls are a stand-in of which the exact answer is known: time in the air is lognormal, the mean
wind is told with a normal error whose size is lognormal, and the rest of the scatter is normal. Given
time and size a place is normal, so the evidence of a case is a sum over even steps of both, which
for such smooth functions is exact (more steps change nothing). All that weighs, leans and aims is driftmap's own.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from driftmap.montecarlo.cloud import Part
from driftmap.observations import toward
from driftmap.observations.figures import Find, SeenMoment
from driftmap.observations.flown import flown_cases
from driftmap.observations.observation import MISTAKEN
from driftmap.observations.weighing import weigh

FLIGHTS = 1024
WIND, ERROR, SIZE = np.array([5.0, 2.0]), 2.0, 0.4  # m/s, m/s, of its logarithm
# Seconds in the air, spread of their logarithm, other scatter [m], what the wind moves.
CASES = {
    "large canopy": (150.0, 0.12, 60.0, 1.0),
    "small canopy": (70.0, 0.3, 90.0, 1.0),
    "strikes": (20.0, 0.1, 250.0, 1.0),
    "goes astray": (25.0, 0.3, 600.0, 0.3),
}
LIKELY = 1 / len(CASES)
REPORTS = 12


class Falls:
    """A cloud of such falls: as much of one as observations look at."""

    def __init__(self, names, seed, lean=None):
        rng = np.random.default_rng([seed, 0])
        own = rng.standard_normal((2, FLIGHTS))
        lean = own if lean is None else lean
        size = np.exp(SIZE * rng.standard_normal(FLIGHTS))
        self.seed, self.flights, self.falls = seed, FLIGHTS, True
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
        everyone, alike = np.arange(FLIGHTS), np.ones(FLIGHTS)
        self.parts = {
            name: Part(
                name,
                "rocket",
                1,
                FLIGHTS,
                slice(n * FLIGHTS, n * FLIGHTS + FLIGHTS),
                everyone,
                alike,
            )
            for n, name in enumerate(names)
        }

    def of(self, case):
        """Give the part of a case."""
        return iter([self.parts[case]])

    def weights(self, case):
        """Give the likelihood of a case in each flight."""
        return np.full(FLIGHTS, case.likelihood)


def fallen(name, seed, size, lean):
    """Let one case fall: east, north and time."""
    time, spread, scatter, moved = CASES[name]
    luck = np.random.default_rng([seed, 1 + list(CASES).index(name)])
    time = time * np.exp(spread * luck.standard_normal(size.size))
    off = moved * ERROR * size * lean
    at = time * (WIND[:, None] + off) + scatter * luck.standard_normal((2, size.size))
    return np.concatenate([at, [time]])


def again(cloud, wind):
    """Fly such falls once more, in the place of the flights of a rocket."""
    del cloud, wind
    return lambda *, seed, steered, **_: Falls([*steered.only], seed, steered.lean)


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


@pytest.fixture(scope="module")
def plain():
    """Give plain flights of all cases, and fly on in the same falls."""
    wind = SimpleNamespace(at=lambda heights: np.zeros((2, heights.size)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(toward, "again", again)
        yield flown_cases(Falls(CASES, 1), wind), wind


def posterior(seen):
    """Give the exact chances of the cases."""
    logs = np.array([exact(name, seen) for name in CASES])
    assert logs == pytest.approx([exact(name, seen, 451) for name in CASES])
    return np.exp(logs - np.logaddexp.reduce(logs))


def in_order(by_case):
    return [by_case[name] for name in CASES]


def lost(exact, told):
    """Give how much the logarithmic score is worse than that of exact chances, on average."""
    each = exact * np.log(exact / np.maximum(told, 1e-9))
    return float(each.sum(axis=-1).mean())


def test_chances_flown_toward_are_exact_within_the_errors_told(plain):
    """Within 5 % where over 5 % is said, in root mean square, and not too sure of itself."""
    (cases, wind), rng, lots = plain, np.random.default_rng(4), []
    for number in range(REPORTS):
        seen = told([*CASES][number % len(CASES)], rng)
        known = weigh(cases, seen)
        near = toward.know(known, wind)
        rows = known.chances, near.chances, near.errors
        lots.append([posterior(seen), *map(in_order, rows)])
    exact, few, many, errors = np.moveaxis(np.array(lots), 1, 0)
    assert lost(exact, many) < 0.02 < lost(exact, few) / 5
    spoken = many > 0.05
    off, said = (np.sqrt(np.mean(each[spoken] ** 2)) for each in (many - exact, errors))
    assert off < 0.05
    assert off == pytest.approx(said, rel=0.5)


def test_what_no_plain_flight_hits_is_flown_toward_before_it_is_doubted(plain):
    """Where none hits, all fit alike as mistakes; that is no large number of flights."""
    cases, wind = plain
    seen = [Find("rocket", 2200.0, 1300.0, 2.0)]
    known = weigh(cases, seen)
    assert known.doubted
    assert known.effective > 0.9 * len(CASES) * FLIGHTS
    assert known.fitting < 10
    near = toward.know(known, wind)
    wanted = posterior(seen)
    assert in_order(near.chances) == pytest.approx(wanted, abs=0.1)
    assert lost(wanted, np.array(in_order(known.chances))) > 0.2
