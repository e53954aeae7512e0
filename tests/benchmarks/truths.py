"""Flights flown as the truth, and what people might tell of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from driftmap.observations.flown import Flown, flown_cases
from driftmap.observations.measured import Found, Moment, Sighted
from driftmap.observations.observation import Observation

__all__ = ["Truth", "draw_truths", "finds", "reports"]

BEARING, SECONDS, PLACE = np.radians(8.0), 6.0, 5.0
OBSERVER = (150.0, -250.0)


@dataclass(frozen=True)
class Truth:
    """One flight of one case."""

    flown: Flown
    number: int

    def lies(self, piece):
        """Give where the first copy of a piece lies."""
        return self.flown.landing(piece)[:, 0, self.number]


def draw_truths(cloud, wind, count, rng):
    """Draw flights with their cases by likelihood."""
    cases = flown_cases(cloud, wind)
    chance = np.array([flown.prior.sum() for flown in cases])
    picked = rng.choice(len(cases), count, p=chance / chance.sum())
    return [Truth(cases[i], rng.integers(cases[i].who.size)) for i in picked]


def reports(
    truth: Truth, rng, *, bearing=BEARING, seconds=SECONDS
) -> list[Observation]:
    """Tell where the rocket went down and when, each with its error; some not at all."""
    told: list[Observation] = []
    east, north = truth.lies("rocket") - np.array(OBSERVER)
    if rng.random() < 0.8:
        seen = np.arctan2(east, north) + bearing * rng.standard_normal()
        told.append(Sighted("rocket", *OBSERVER, "there", None, seen, bearing))
    if rng.random() < 0.5:
        time = truth.flown.landed("rocket")[0, truth.number]
        told.append(
            Moment(
                "rocket", "was down", time + seconds * rng.standard_normal(), seconds
            )
        )
    return told


def finds(truth: Truth, rng, pieces) -> list[Observation]:
    """Tell where pieces were found, with the error of a phone."""
    told: list[Observation] = []
    for piece in pieces:
        at = truth.lies(piece) + PLACE * rng.standard_normal(2)
        told.append(Found(piece, float(at[0]), float(at[1]), PLACE))
    return told
