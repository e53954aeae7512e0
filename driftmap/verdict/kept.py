"""An assessment as it is kept: all that it hangs on beside its files, and its landings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any, Final

import numpy as np

from driftmap.air.convection import Convection
from driftmap.air.day import AirDay
from driftmap.air.wind import Disagreement, Stronger, WindLevel, WindProfile
from driftmap.ground.site import Site
from driftmap.montecarlo.cloud import Cloud, Part
from driftmap.rocket.flight import Flight
from driftmap.rules import Answers
from driftmap.verdict.assessment import Assessment, Setup

_KEPT: Final = 200  # landing points kept of each piece of each case

_ANSWERED: Final = (
    *("confirmed", "numbers", "stale", "when", "files"),
    *("taken_back", "until", "passed_over"),
)
_SETS: Final = ("read", "assumed", "undated", "warned")


def as_read(assessment: Assessment) -> dict[str, Any]:
    """Give what was read of pad, wind, day and answers, where reading hangs on more."""
    day, answers = assessment.cloud.plan.sky.day, assessment.answers
    return {
        "pad": assessment.site.pad,
        "wind": _plain(asdict(assessment.wind)),
        "day": None if day is None else asdict(day),
        "answers": {name: _plain(getattr(answers, name)) for name in _ANSWERED},
    }


def read_again(
    flight: Flight, site: Site, samples: int, seed: int, read: Mapping[str, Any]
) -> tuple[Setup, WindProfile]:
    """Set up again what was assessed, of what `as_read` gave of it."""
    day = None if read["day"] is None else AirDay(**read["day"])
    answers = _answers(read["answers"])
    return Setup(flight, site, samples, seed, day, answers), _wind(read["wind"])


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items()}
    return value


def _wind(plain: Mapping[str, Any]) -> WindProfile:
    own: dict[str, Any] = {}
    if plain.get("convection"):
        own["convection"] = Convection(**plain["convection"])
    own["stronger"] = tuple(
        Stronger(WindLevel(**told["level"]), told["told"])
        for told in plain.get("stronger") or ()
    )
    own["disagree"] = tuple(
        Disagreement(two["told"], WindLevel(**two["flown"]), WindLevel(**two["other"]))
        for two in plain.get("disagree") or ()
    )
    if plain.get("with_aside"):
        own["with_aside"] = _wind(plain["with_aside"])
    sets = {name: tuple(plain[name]) for name in _SETS}
    levels = tuple(WindLevel(**level) for level in plain["levels"])
    return WindProfile(**{**plain, **sets, **own, "levels": levels})


def _answers(plain: Mapping[str, Any]) -> Answers:
    times = {key: plain.get(key) for key in ("when", "until")}
    read = {key: text and datetime.fromisoformat(text) for key, text in times.items()}
    files = tuple((name, digest) for name, digest in plain["files"])
    back = tuple(plain.get("taken_back", ()))
    return Answers(**{**plain, **read, "files": files, "taken_back": back})


def forecast(cloud: Cloud) -> list[dict[str, Any]]:
    """Keep every so-manieth landing of each piece of each case."""
    told = []
    for case in cloud.tree.cases:
        pieces = {part.body: _thinned(cloud, part) for part in cloud.of(case.name)}
        named = {"case": case.name, "cause": case.cause}
        told.append({**named, "probability": case.probability, "pieces": pieces})
    return told


def _thinned(cloud: Cloud, part: Part) -> list[list[float]]:
    """Keep landings so that each stands for as many flights as any other."""
    total = np.cumsum(np.tile(part.stands_for, part.count))
    size = min(_KEPT, total.size)
    picked = np.searchsorted(total, (np.arange(size) + 0.5) / size * total[-1])
    places = np.stack([cloud.east[part.rows], cloud.north[part.rows]], axis=1)
    points: list[list[float]] = places[picked].astype(float).round(1).tolist()
    return points
