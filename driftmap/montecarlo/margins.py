"""What a cloud comes to, as figures to show: landings, margins, openings."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from driftmap.core.checks import FloatArray, Kept
from driftmap.core.points import SHARES, mean_point, radii
from driftmap.core.spread import quantile, stream
from driftmap.formulas.fragments import strike_offsets
from driftmap.formulas.strength import HOLDS
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.openings import OPENED, outcomes
from driftmap.rocket.bodies import Bench
from driftmap.rocket.likelihood import WORKS

_EXPECTED_QUANTILE: Final = 0.99
"""Share of flights that stay below the greatest height expected. Our choice: no rule read
says how sure a "maximum expected altitude" must be."""

_KEYS = {
    "speed_mps": "speed",
    "load_n": "load",
    "load_over_weight": "weights",
    "snatch_n": "snatch",
    "height_m": "height",
}


class Ends(NamedTuple):
    """The middle of values, and where 5 and 95 % of them lie below."""

    p5: float
    p50: float
    p95: float


def ends(values: Kept, weights: FloatArray | None = None) -> Ends:
    """Return the middle of values and where 5 and 95 % of them lie below."""
    low, middle, high = quantile(values, [0.05, 0.5, 0.95], weights=weights)
    return Ends(float(low), float(middle), float(high))


def expected_altitude(cloud: Cloud) -> float:
    """Return the greatest height expected of a flight.

    Result: height above the site that 99 % of those flown stay below [m]. Raises
    `ValueError` if an apogee is not finite.
    """
    height = cloud.apogee.height
    if not np.isfinite(height).all():
        raise ValueError("'cloud' must hold finite apogees only")
    return float(np.quantile(height, _EXPECTED_QUANTILE))


@dataclass(frozen=True, slots=True)
class Landed:
    """How one piece of a case comes down: what map, terminal, sheets, dial and files tell.

    Parameters
    ----------
    east, north : float
        Mean landing point from the pad [m].
    radii : (float, float, float)
        About that point, 50, 90 and 99 % of landings lie within these [m].
    reach : float
        Within this of the pad, 90 % land [m].
    time, speed, energy : Ends
        Time after lift-off [s], speed [m s⁻¹] and energy [J] of landing.
    """

    east: float
    north: float
    radii: tuple[float, float, float]
    reach: float
    time: Ends
    speed: Ends
    energy: Ends

    @property
    def radius(self) -> float:
        """About the mean landing point, 90 % land within this [m]."""
        return self.radii[SHARES.index(0.9)]


_KNOWN: Final[WeakKeyDictionary[Cloud, dict[tuple[str, str], Landed]]] = (
    WeakKeyDictionary()
)
"""What was summed up, as long as its cloud lives: map and sheet ask for it eight times."""


def landed(cloud: Cloud, part: Part) -> Landed:
    """Sum up the landings of a piece, each flight counted by what it stands for.

    ``part``: one of its parts.
    """
    known, key = _KNOWN.setdefault(cloud, {}), (part.case, part.body)
    if key not in known:
        known[key] = _landed(cloud, part)
    return known[key]


def _landed(cloud: Cloud, part: Part) -> Landed:
    east, north, weights = cloud.east[part.rows], cloud.north[part.rows], part.weights
    mean_east, mean_north = mean_point(east, north, weights=weights)
    near, wide, all_but_few = radii(east, north, SHARES, weights=weights)
    time, speed, energy = (
        ends(column[part.rows], weights)
        for column in (cloud.time, cloud.speed, cloud.energy)
    )
    return Landed(
        float(mean_east),
        float(mean_north),
        (float(near), float(wide), float(all_but_few)),
        float(quantile(np.hypot(east, north), 0.9, weights=weights)),
        time,
        speed,
        energy,
    )


@dataclass(frozen=True, slots=True)
class Margin:
    """A figure of the flight over all flights.

    Parameters
    ----------
    name : str
        What it is of.
    p5, p50, p95 : float
        The middle of all flights, and where 5 and 95 % of them lie below, in `unit`.
    unit : str
        ``"m/s"``, ``"m"``, ``"Pa"``, ``"times"``, or none for a plain number.
    against : float or None
        What it is held against.
    kind, piece : str
        Of a piece that may come off: ``"flutter"`` or ``"bending"``, and its name.
    """

    name: str
    p5: float
    p50: float
    p95: float
    unit: str = ""
    against: float | None = None
    kind: str = ""
    piece: str = ""


_OVER: Final = MappingProxyType(
    {
        "flutter": "flutter speed over speed",
        "bending": "strength of the root over its stress",
    }
)


def margins(cloud: Cloud) -> tuple[Margin, ...]:
    """List the margins of a flight: rail, apogee, speeds, flutter and bending of fins.

    Parameters
    ----------
    cloud : Cloud
        The flights.

    Returns
    -------
    tuple of Margin
        Flutter and bending only for fins with such data, no more than 100 times.
    """
    figures = [
        ("speed leaving the rail", cloud.rail_speed, "m/s"),
        ("apogee", cloud.apogee.height, "m"),
        ("top speed", cloud.fastest[0], "m/s"),
        ("top Mach number", cloud.fastest[1], ""),
        ("greatest dynamic pressure", cloud.max_q[1], "Pa"),
    ]
    found = [Margin(name, *ends(v), unit=unit) for name, v, unit in figures]
    for name, values in cloud.margins.items():
        kind, _, piece = name.partition(" of ")
        label = f"{name}: {_OVER[kind]}, least on the way"
        least = ends(np.minimum(values, 100.0))
        found.append(Margin(label, *least, "times", 1.0, kind, piece))
    return tuple(found)


_SURE: Final = 0.95  # of openings in a window hold
_STEP: Final = 0.25  # s


def opening_windows(cloud: Cloud) -> list[dict[str, Any]]:
    """Say how early and how late about apogee devices may open and still hold.

    Result: ``device``, and ``before_s`` and ``after_s``: so long before and after
    apogee 19 of 20 openings hold, by the strength stated or assumed. None where no
    flight opened it early or late.
    """
    bench = Bench(cloud.plan.flight)
    found = []
    for device in bench.devices():
        strength = bench.strengths(device)
        if not strength:  # nothing of it gives
            continue
        ends: dict[str, float | None] = {}
        for key, cause, sign in (
            ("before_s", "early opening", -1.0),
            ("after_s", "late opening", 1.0),
        ):
            opened = cloud.openings.get((cause, device.name))
            ends[key] = None
            if opened is not None:
                off = sign * (opened[OPENED.index("time")] - cloud.apogee.time)
                holds = outcomes(opened.astype(float), strength)[HOLDS]
                ends[key] = _holds_until(off, holds)
        if any(end is not None for end in ends.values()):
            found.append({"device": device.name, **ends})
    return found


def _holds_until(off: FloatArray, holds: FloatArray) -> float:
    """Return the time up to which enough of all openings hold, in steps [s]."""
    step = np.maximum(off, 0.0) // _STEP
    for number in range(int(step.max()) + 1):
        here = step == number
        if here.any() and holds[here].mean() < _SURE:
            return number * _STEP
    return float(step.max() + 1) * _STEP


def opening_figures(cloud: Cloud) -> list[dict[str, Any]]:
    """List what each device meets on opening, by cause, whatever comes of it.

    Result: ``cause`` and ``device``, percentiles of speed, load, load over weight,
    snatch and height, and the weakest strength stated or None. A failure in which a
    device opens just as planned is left out.
    """
    devices = {device.name: device for device in cloud.plan.flight.devices}
    found = []
    for (cause, name), opened in cloud.openings.items():
        planned = cloud.openings.get((WORKS, name))
        if cause != WORKS and planned is not None and np.array_equal(opened, planned):
            continue
        rows = dict(zip(OPENED, opened.astype(float), strict=True))
        figures = {key: ends(rows[row])._asdict() for key, row in _KEYS.items()}
        weakest = min(devices[name].strength.values(), default=None)
        found.append({"cause": cause, "device": name, **figures, "strength_n": weakest})
    return found


@dataclass(frozen=True, slots=True)
class Rest:
    """How far from its strike a broken rocket's fins come to rest.

    Parameters
    ----------
    p50, p95 : float
        Half and 95 % of them lie within these distances of the strike [m].
    """

    p50: float
    p95: float


def after_impact(cloud: Cloud, part: Part) -> Rest | None:
    """Say how far the fins of a rocket that struck nose first are thrown.

    ``part``: one of its parts.

    Result: none for what does not strike nose first.
    """
    case = next(c for c in cloud.tree.cases if c.name == part.case)
    body = next(b for b in case.bodies if b.name == part.body)
    if body.broken or not body.stages[-1].nose_first:
        return None
    thrown = thrown_on(cloud, cloud.speed[part.rows], f"break-up of {part.case}")
    p50, p95 = np.quantile(np.hypot(*thrown), [0.5, 0.95])
    return Rest(float(p50), float(p95))


def thrown_on(cloud: Cloud, speed: Kept, what: str) -> FloatArray:
    """Draw how far from a strike of some speed (...) pieces come to rest [m], shape (2, ...).

    ``what``: names the random stream.
    """
    return np.stack(strike_offsets(speed, stream(cloud.seed, 0, what))[:2])
