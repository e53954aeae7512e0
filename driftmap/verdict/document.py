"""An assessment as plain data: the content of ``assessment.json``, and what a log keeps beside it.

What is kept is all that the assessment depends on beside its files, and its landings.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import asdict, astuple
from datetime import datetime
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np

from driftmap.air.convection import Convection
from driftmap.air.day import AirDay
from driftmap.air.wind import Disagreement, Stronger, WindLevel, WindProfile
from driftmap.core.estimate import CONFIDENCE, Estimate
from driftmap.core.points import SHARES
from driftmap.ground.areas import Site
from driftmap.hazard.exposure import Harm
from driftmap.hazard.precise import Sharpened
from driftmap.hazard.probability import passing_over, ways_down, ways_up
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.margins import after_impact, ends, landed, opening_figures
from driftmap.rocket.flight import Flight
from driftmap.rules.answers import Answers
from driftmap.verdict.assessment import CAUTIONS, Assessment, good_between
from driftmap.verdict.check import Check
from driftmap.verdict.setup import Setup

_MOST_INFLUENCES: Final = 3


def document(assessment: Assessment) -> dict[str, Any]:
    """Write an assessment as plain data: the content of ``assessment.json``.

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    dict
        Only dicts, lists, text and finite numbers in SI units.
    """
    if assessment not in _TOLD:
        _TOLD[assessment] = _document(assessment)
    return dict(_TOLD[assessment])


_TOLD: Final[WeakKeyDictionary[Assessment, dict[str, Any]]] = WeakKeyDictionary()
"""What file and map tell alike, kept no longer than what it tells of."""


def _document(a: Assessment) -> dict[str, Any]:
    cloud = a.cloud
    up, down = ways_up(cloud), ways_down(cloud)
    return {
        "verdict": a.verdict,
        "flight": a.flight.name,
        "site": a.site.name,
        "wind": a.wind.source,
        **_occasion(a),
        "seed": cloud.seed,
        "samples": cloud.flights,
        "version": a.version,
        "confidence": CONFIDENCE,
        "inputs": {
            "flight": _digest(a.flight.content),
            "site": a.site.digest,
            "wind": _digest(_wind_text(a.wind)),
            **_answer_digests(a.answers),
        },
        "checks": [_check(check) for check in a.checks],
        "cases": [
            {
                "name": case.name,
                "probability": case.probability,
                "pieces": [_piece(cloud, part) for part in cloud.of(case.name)],
            }
            for case in cloud.tree.cases
        ],
        "areas": [
            {
                "name": hit.area.name,
                "role": hit.area.role,
                "hit_probability": hit.total.estimate,
                "interval": [hit.total.lower, hit.total.upper],
                **_harm_of_area(a.harm, hit.area.name),
                "cases": {name: p.estimate for name, p in hit.cases.items()},
                "overflown_up": passing_over(up, hit.area.shape).estimate,
                "overflown_down": passing_over(down, hit.area.shape).estimate,
            }
            for hit in a.areas
        ],
        "expected_casualties": _estimate(a.harm.casualties.total),
        "individual_risk": None
        if a.harm.worst is None
        else {"area": a.harm.worst.area, **_estimate(a.harm.worst.risk)},
        "apogee_m": ends(cloud.apogee.height)._asdict(),
        "rail_speed_mps": ends(cloud.rail_speed)._asdict(),
        "top_speed_mps": ends(cloud.fastest[0])._asdict(),
        "top_mach": ends(cloud.fastest[1])._asdict(),
        "openings": opening_figures(cloud),
        "convergence": [_looks(sharp) for sharp in a.sharpened],
        "sensitivity": [asdict(i) for i in a.influences[:_MOST_INFLUENCES]],
        "more_wind": [asdict(worth) for worth in a.more_wind],
        "answers": {
            "given": {**a.answers.confirmed, **a.answers.numbers},
            "stale": dict(a.answers.stale),
        },
        "assumed": list(a.assumed),
        "cautions": list(CAUTIONS),
    }


def _occasion(a: Assessment) -> dict[str, Any]:
    """Tell for when and where the verdict counts, and in which wind: it holds for no other."""
    counts = good_between(a)
    read = [level for level in a.wind.levels if not level.carried]
    lowest = min(read, key=lambda level: level.height, default=None)
    return {
        "when": None if a.answers.when is None else a.answers.when.isoformat(),
        "counts_from": None if counts is None else counts[0].isoformat(),
        "counts_until": None if counts is None else counts[1].isoformat(),
        "place": {
            "pad": a.site.pad,
            "latitude": a.site.latitude,
            "longitude": a.site.longitude,
            "elevation_m": a.site.elevation,
        },
        "wind_read": None if lowest is None else _read(lowest, a.wind),
    }


def _read(level: WindLevel, wind: WindProfile) -> dict[str, float | None]:
    """Return the lowest reading; its gust is the one that counts, of whichever report."""
    return {
        "height_m": level.height,
        "from_deg": None
        if level.direction is None
        else round(math.degrees(level.direction), 6),
        "speed_mps": level.speed,
        "gust_mps": level.speed + wind.gust if wind.gust else level.gust,
        "age_s": None if wind.age is None else 3600 * wind.age,
    }


def _answer_digests(answers: Answers) -> dict[str, str]:
    """Digest each answers file; answers of no file by themselves."""
    if answers.files:
        names = [f"answers {name}" for name, _ in answers.files]
        unique = len(set(names)) == len(names)
        return {
            name if unique else f"{name} ({i})": digest
            for i, (name, (_, digest)) in enumerate(
                zip(names, answers.files, strict=True)
            )
        }
    given = [*sorted(answers.confirmed.items()), *sorted(answers.numbers.items())]
    return {"answers": _digest(repr(given))} if given else {}


def _looks(sharp: Sharpened) -> dict[str, Any]:
    """List the looks at one area, each at the confidence that allows for all."""
    return {
        "area": sharp.area,
        "reached": sharp.reached,
        "looks": [{"flights": p.flights, **_estimate(p)} for p in sharp.looks],
    }


def _check(check: Check) -> dict[str, Any]:
    interval = None if check.interval is None else list(check.interval)
    told = {**asdict(check), "interval": interval}
    del told["winds"]  # which its name tells
    return told


def _harm_of_area(harm: Harm, name: str) -> dict[str, Any]:
    """Return the casualties expected in an area and the risk at its worst spot."""
    expected = harm.casualties.areas.get(name)
    spot = next((spot.risk for spot in harm.spots if spot.area == name), None)
    return {
        "expected_casualties": None if expected is None else _estimate(expected),
        "individual_risk": None if spot is None else _estimate(spot),
    }


def _estimate(p: Estimate) -> dict[str, Any]:
    return {"value": p.estimate, "interval": [p.lower, p.upper]}


def _piece(cloud: Cloud, part: Part) -> dict[str, Any]:
    found, rest = landed(cloud, part), after_impact(cloud, part)
    return {
        "name": part.body,
        "count": part.count,
        "mean_east_m": found.east,
        "mean_north_m": found.north,
        **{
            f"radius_{share * 100:.0f}_m": radius
            for share, radius in zip(SHARES, found.radii, strict=True)
        },
        "time_s": found.time._asdict(),
        "impact_speed_mps": found.speed._asdict(),
        "energy_j": found.energy._asdict(),
        "after_impact_m": None if rest is None else asdict(rest),
    }


def _wind_text(wind: WindProfile) -> str:
    columns = (wind.height, wind.east, wind.north, wind.error)
    stirred = () if wind.convection is None else astuple(wind.convection)
    return repr([[float(v) for v in column] for column in (*columns, stirred)])


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


_KEPT: Final = 200  # landing points kept of each piece of each case

_ANSWERED: Final = (
    *("confirmed", "numbers", "stale", "when", "files"),
    *("taken_back", "holds", "passed_over", "measured"),
)
_SETS: Final = ("read", "assumed", "undated", "warned")


def as_read(assessment: Assessment) -> dict[str, Any]:
    """Return what was read of pad, wind, day and answers, where reading depends on more."""
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
    return [_plain(one) for one in value] if isinstance(value, tuple) else value


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
    for other in ("with_aside", "with_most"):
        if plain.get(other):
            own[other] = _wind(plain[other])
    if plain.get("when"):
        own["when"] = datetime.fromisoformat(plain["when"])
    if plain.get("place"):
        own["place"] = tuple(plain["place"])
    sets = {name: tuple(plain[name]) for name in _SETS}
    levels = tuple(WindLevel(**level) for level in plain["levels"])
    return WindProfile(**{**plain, **sets, **own, "levels": levels})


def _answers(plain: Mapping[str, Any]) -> Answers:
    when, end, holds = (plain.get(key) for key in ("when", "until", "holds"))
    holds = holds or (when and end and (when, end))  # logs of before tell the end alone
    read = {
        "when": when and datetime.fromisoformat(when),
        "holds": holds and tuple(map(datetime.fromisoformat, holds)),
        "files": tuple((name, digest) for name, digest in plain["files"]),
        "taken_back": tuple(plain.get("taken_back", ())),
    }
    kept = {key: value for key, value in plain.items() if key != "until"}
    return Answers(**{**kept, **read})


def forecast(cloud: Cloud) -> list[dict[str, Any]]:
    """Keep every n-th landing of each piece of each case."""
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
