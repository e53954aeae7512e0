"""Flights flown as the truth, what people might tell of them, and a richer truth."""

from dataclasses import dataclass

import numpy as np

from driftmap.observations.case_flights import CaseFlights, flown_cases
from driftmap.observations.figures import Find, SeenMoment, Sighted
from driftmap.observations.observation import (
    MISTAKEN,
    STATES,
    FoundState,
    Observation,
)

__all__ = ["Truth", "draw_truths", "evidence", "finds", "reports", "richer_landings"]

BEARING, SECONDS, PLACE = np.radians(8.0), 6.0, 5.0
OBSERVER = (150.0, -250.0)


@dataclass(frozen=True)
class Truth:
    """One flight of one case."""

    flown: CaseFlights
    number: int

    def lies(self, piece):
        """Give where the first copy of a piece lies."""
        return self.flown.landing(piece)[:, 0, self.number]


def draw_truths(cloud, wind, count, rng):
    """Draw flights with their cases by likelihood."""
    cases = flown_cases(cloud, wind)
    chance = np.array([flown.prior.sum() for flown in cases])
    picked = rng.choice(len(cases), count, p=chance / chance.sum())
    return [one_of(cases[i], rng) for i in picked]


def one_of(flown, rng):
    """Draw a flight of a case, as often as it stands for."""
    weights = flown.prior / flown.prior.sum()
    return Truth(flown, int(rng.choice(weights.size, p=weights)))


def reports(
    truth: Truth, rng, *, bearing=BEARING, seconds=SECONDS
) -> list[Observation]:
    """Tell where the rocket went down and when, each with its error; some not at all.

    As many as is assumed are wrong altogether.
    """
    told: list[Observation] = []
    east, north = truth.lies("rocket") - np.array(OBSERVER)
    if rng.random() < 0.8:
        seen = np.arctan2(east, north) + bearing * rng.standard_normal()
        if rng.random() < MISTAKEN:
            seen = rng.uniform(-np.pi, np.pi)
        told.append(Sighted("rocket", *OBSERVER, "there", None, seen, bearing))
    if rng.random() < 0.5:
        time = truth.flown.landed("rocket")[0, truth.number]
        time = time + seconds * rng.standard_normal()
        if rng.random() < MISTAKEN:
            time = rng.uniform(0.0, 600.0)
        told.append(SeenMoment("rocket", "was down", time, seconds))
    return told


def finds(truth: Truth, rng, pieces, error=PLACE) -> list[Observation]:
    """Tell where pieces were found."""
    told: list[Observation] = []
    for piece in pieces:
        at = truth.lies(piece) + error * rng.standard_normal(2)
        told.append(Find(piece, float(at[0]), float(at[1]), error))
    return told


def evidence(truth: Truth, rng, *, place=40.0) -> list[Observation]:
    """Tell some of what may be told of any flight: places, times, heights, states.

    What is told must not hang on what happened: a kind that only some cases can show would
    tell by its absence, which nobody weighs.
    """
    flown, one = truth.flown, truth.number
    told = finds(
        truth, rng, [p for p in ("rocket", "fin") if rng.random() < 0.7], place
    )
    if rng.random() < 0.5:
        down = flown.landed("rocket")[0, one] + 4.0 * rng.standard_normal()
        told.append(SeenMoment("rocket", "was down", down, 4.0))
    if rng.random() < 0.5:
        high = flown.highest()[1, one] + 15.0 * rng.standard_normal()
        error = {"height": high, "height_error": 15.0}
        told.append(SeenMoment("rocket", "was highest", **error))
    if rng.random() < 0.4:
        chance = np.clip(STATES["broken"](flown, "rocket")[one], 0.02, 0.98)
        word = "broken" if rng.random() < chance else "whole"
        told.append(FoundState("rocket", (word,)))
    return told


TURNS, SPEEDS = np.radians(20.0), 0.25  # of each day: turn in 600 m, and share of speed
STEP = 0.5  # s


@dataclass(frozen=True)
class Plant:
    """What is wrong with the forecast of one flight: each array of shape (n,)."""

    drag: np.ndarray  # times the drag area foretold
    speed: np.ndarray  # times the wind told
    turned: np.ndarray  # rad, the true wind clockwise of that told


def richer_landings(day, start, area, mass, plant, air, rng):
    """Let canopies down in air that is richer than that of the forecasts.

    Each day its wind is a share stronger or weaker and turns with height; gusts are chains in
    time, not in height, and stronger; air rises and sinks in thermals; canopies glide and
    spiral; the rocket is 5 % heavier. Written apart from the integrator of falls.

    Parameters
    ----------
    day : ndarray of int, shape (n,)
        The day of each flight, a row of `air`.
    start : ndarray, shape (3, n)
        East, north and height of apogee [m].
    area, mass : ndarray, shape (n,)
        Drag area foretold [m²] and mass [kg].
    plant : Plant
        What is planted.
    air : (float, ndarray, ndarray)
        Distance of heights from the ground up [m], and the wind told, shape (days, 2, k); or
        (days, 3, k): winds that err already as a forecast says that they do, and how fast air
        rises. Else each day's wind is stronger or weaker and turns, and air rises in chains.
    rng : numpy.random.Generator
        Luck.

    Returns
    -------
    ndarray, shape (2, n)
        Where they lie [m].
    """
    count, days, erring = day.size, air[1].shape[0], air[1].shape[1] == 2
    turn = erring * TURNS * rng.standard_normal(days)[day]
    stronger = np.exp(erring * SPEEDS * rng.standard_normal(days))[day] * plant.speed
    heavy = 1.05 * mass * (1 + 0.02 * rng.standard_normal(count))
    size = plant.drag * area * np.exp(0.1 * rng.standard_normal(count))
    glide, way = rng.uniform(0, 3.5, count), rng.uniform(0, 2 * np.pi, count)
    spiral = 0.06 * rng.standard_normal(count)
    at = start.astype(float)
    gust, rise = rng.standard_normal((2, count)), rng.standard_normal(count)
    keep, lift = np.exp(-STEP / 25.0), np.exp(-STEP / 60.0)
    up = np.full(count, True)
    while up.any():
        z = np.maximum(at[2], 0.0)
        level = np.minimum(z / air[0], air[1].shape[2] - 1.001)
        low, part = level.astype(int), level % 1
        told = air[1][day, :, low] * (1 - part)[:, None] + (
            air[1][day, :, low + 1] * part[:, None]
        )
        angle = plant.turned + turn * np.minimum(z, 1500.0) / 600
        c, s = np.cos(angle), np.sin(angle)
        east, north = told.T[:2] * stronger
        wind = np.stack([c * east + s * north, c * north - s * east])
        rough = 0.2 * np.hypot(*wind) + 0.4
        way = way + spiral * STEP
        over = wind + rough * gust + glide * np.stack([np.sin(way), np.cos(way)])
        sink = np.sqrt(2 * heavy * 9.80665 / (1.06 * np.exp(-z / 9000.0) * size))
        at[:2, up] += STEP * over[:, up]
        thermal = 0.8 * rise if erring else told[:, 2]
        at[2, up] -= STEP * np.maximum(sink - thermal, 0.5)[up]
        gust = keep * gust + np.sqrt(1 - keep**2) * rng.standard_normal((2, count))
        rise = lift * rise + np.sqrt(1 - lift**2) * rng.standard_normal(count)
        up = at[2] > 0
    return at[:2]
