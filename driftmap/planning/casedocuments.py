"""Cases, alternatives and one body dropped as plain data: the content of their JSON files."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import asdict
from types import MappingProxyType
from typing import Any, Final

from driftmap.air.atmosphere import air_density
from driftmap.air.wind import MAST, WindProfile
from driftmap.core.units import show
from driftmap.montecarlo.cloud import Cloud, fly
from driftmap.montecarlo.drop import drop
from driftmap.montecarlo.margins import margins, opening_figures, opening_windows
from driftmap.montecarlo.sensitivity import influences
from driftmap.rocket.alternatives import LANDING_SPEEDS, PLANNED, canopy_for
from driftmap.rocket.case import Case
from driftmap.rocket.flight import Flight
from driftmap.verdict.assessment import CAUTIONS
from driftmap.verdict.check import Check
from driftmap.verdict.compared import Compared
from driftmap.verdict.document import document
from driftmap.verdict.setup import Setup


def cases_document(
    flight: Flight, wind: WindProfile, altitude: float, *, samples: int, seed: int
) -> dict[str, Any]:
    """Fly a flight, and write what can happen to it as plain data.

    What moves the landing stays empty where flights are too few to tell.
    """
    cloud = fly(flight, wind, altitude, samples=samples, seed=seed)
    plan, tree = cloud.plan, cloud.tree
    enough = cloud.flights >= 10 * len(cloud.draws)
    return {
        "flight": flight.name,
        "wind": wind.source,
        "seed": cloud.seed,
        "samples": cloud.flights,
        "cases": [_case(cloud, case) for case in tree.cases],
        "margins": [asdict(margin) for margin in margins(cloud)],
        "openings": opening_figures(cloud),
        "windows": opening_windows(cloud),
        "sizes": _sizes(flight, float(plan.sky.density(0.0))),
        "inputs": [
            {"name": i.name, "metres": i.metres, "share": i.share}
            for i in (influences(cloud) if enough else ())
        ],
        "assumed": [*plan.assumed, *tree.assumed],
        "missing": list(tree.missing),
    }


def _case(cloud: Cloud, case: Case) -> dict[str, Any]:
    return {
        "name": case.name,
        "cause": case.cause,
        "probability": case.probability,
        "let_go": _LET_GO[case.release.at],
        "bodies": [
            {
                "name": part.body,
                "count": part.count,
                "speed_mps": float(part.quantile(cloud.speed, 0.5)),
                "energy_j": float(part.quantile(cloud.energy, 0.5)),
            }
            for part in cloud.of(case.name)
        ],
    }


_LET_GO: Final = MappingProxyType(
    {
        "apogee": "at apogee",
        "max q": "at greatest dynamic pressure",
        "coast": "between burnout and apogee",
        "time": "a time after lift-off",
        "first second": "in the first second",
        "breaks": "when it has more than it stands",
        "rail": "on leaving the rail",
        "burn": "during the burn",
        "off rail": "a time after lift-off",
    }
)


def _sizes(flight: Flight, density: float) -> list[dict[str, Any]]:
    return [
        {"speed_mps": v, "diameter_m": canopy_for(flight, v, density)}
        for v in LANDING_SPEEDS
    ]


def compare_document(setup: Setup, found: Sequence[Compared]) -> dict[str, Any]:
    """Write alternatives side by side as plain data.

    The figures of each are those when all goes as planned.
    """
    density = float(air_density(setup.site.elevation))
    alone = found[0].name == PLANNED
    asked = {c.name for c in found[0].assessment.checks if c.question}
    return {
        "flight": setup.flight.name,
        "seed": setup.seed,
        "samples": setup.samples,
        "alternatives": [_alternative(one, asked) for one in found],
        # What is assumed of one way alone bears its name in the text.
        "assumed": list(
            dict.fromkeys(note for one in found for note in one.assessment.assumed)
        ),
        "made_up": alone and not setup.flight.alternatives,
        "sizes": _sizes(setup.flight, density) if alone else [],
        "cautions": list(CAUTIONS),
    }


def _word_beside(verdict: str, held: Sequence[Check], asked: Set[str]) -> str:
    """Return the word of an alternative.

    Where it is held by what was answered for the plan alone, it is a go if that is
    answered again.
    """
    anew = all(check.question and check.name not in asked for check in held)
    return "go if" if held and anew else verdict


def _alternative(one: Compared, asked: Set[str]) -> dict[str, Any]:
    """Tell one of them; ``asked``: what is open of the plan."""
    cloud, worst = one.assessment.cloud, one.worst.total
    held = [c for c in one.assessment.checks if c.outcome != "pass"]
    # Recovery as planned comes first; where it never holds, what becomes of it does.
    piece = document(one.assessment)["cases"][0]["pieces"][0]
    keys = (
        *("mean_east_m", "mean_north_m", "radius_90_m"),
        *("time_s", "impact_speed_mps", "energy_j"),
    )
    return {
        "name": one.name,
        "verdict": _word_beside(one.assessment.verdict, held, asked),
        "held_by": [c.name for c in held],
        **{key: piece[key] for key in keys},
        "worst_area_hit": worst.estimate,
        "worst_area_interval": [worst.lower, worst.upper],
        "flights": cloud.flights,
        "windows": opening_windows(cloud),
    }


def drop_document(
    mass: float,
    drag_area: float,
    height: float,
    wind: WindProfile,
    site_altitude: float,
    *,
    speed: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> dict[str, Any]:
    """Drop a body, and write where it lands as plain data; see `driftmap.montecarlo.drop`."""
    landed = drop(mass, drag_area, height, wind, site_altitude, speed=speed)
    return {
        "east_m": landed.east.item(),
        "north_m": landed.north.item(),
        "time_s": landed.time.item(),
        "impact_speed_mps": landed.speed.item(),
        "energy_j": mass * landed.speed.item() ** 2 / 2,
        "notes": list(_of_the_wind(wind, height)),
    }


def drop_lines(landed: Mapping[str, Any]) -> Iterator[str]:
    """Say where a body landed, of the data of `drop_document`."""
    east, north = landed["east_m"], landed["north_m"]
    way = math.hypot(east, north)
    bearing = math.degrees(math.atan2(east, north)) % 360
    yield (
        f"Lands {_both(way, 'length')} away toward {bearing:03.0f}°, "
        f"{landed['time_s']:.1f} s later, at {_both(landed['impact_speed_mps'], 'descent')} "
        f"with {_both(landed['energy_j'], 'energy')}."
    )
    yield f"East {_both(east, 'length')}, north {_both(north, 'length')}."
    yield (
        "One body in the wind as given, no uncertainty: no ground is safe by this alone."
    )
    yield from landed["notes"]


def _both(value: float, dimension: str) -> str:
    return f"{show(value, dimension, 'us')} ({show(value, dimension, 'si')})"


def _of_the_wind(wind: WindProfile, height: float) -> Iterator[str]:
    """Tell what would hold a flight in this wind, and what it is where nobody read it."""
    yield from (f"This wind holds a flight: {note}." for note in wind.warned)
    east, north = (float(v) for v in wind.at(MAST))
    if wind.strongest and math.hypot(east, north) < wind.strongest / 4:
        yield "It comes from no one side: this is the middle of all, it may go any way."
    if wind.with_most is not None:
        yield "It was told by what it is less than: this is its middle, it may be twice that."
    if height > wind.known_to:
        text = show(wind.known_to, "length", "si")
        yield f"It is known up to {text} only; above that it grows and turns as winds mostly do."
