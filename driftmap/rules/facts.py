"""Facts of one flight at one site on one day, as far as they are known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.air.sun import UPPER_RIM, sun_height
from driftmap.air.wind import WindProfile, surface_wind
from driftmap.core.errors import InputError
from driftmap.core.units import STANDARD_GRAVITY
from driftmap.ground.areas import Area, Site, least_width
from driftmap.ground.roles import OCCUPIED
from driftmap.rocket.flight import Flight
from driftmap.rocket.stages import Motor
from driftmap.rules.answers import Answers
from driftmap.rules.jurisdiction import beside_aerodromes, near_a_border
from driftmap.rules.vocabulary import FACTS, GROUPS, amount

_PEOPLE_OFF, _ANYTHING_OFF = 500.0, 10_000.0
"""How far off the land a corner of people of the launch, and anything, may be drawn without asking
[m]: an airport 5 nmi off is drawn for a rule; assumed."""

_SPARSE: Final = (1000.0, 5000.0)
"""Ground for each of some people, and for all of them, beyond which a corner may have slipped
inside the land [m²]: camps and car parks have 100 to 600 a head; assumed."""

_DENSE: Final = 4.0
"""People on a square metre beyond whom a radius lost a digit or its unit: a packed crowd (from
memory, rounded up)."""

_NO_AIRPORT: Final = 1e7  # m; where the site file draws none

_OF_EACH: Final = MappingProxyType(
    {
        "motor_impulse": "total_impulse",
        "motor_thrust": "average_thrust",
        "motor_propellant": "propellant_mass",
    }
)
"""Facts of the largest motor, and those of all motors together."""

_STRICTER: Final = MappingProxyType(
    {
        **dict.fromkeys(("total_impulse", "expected_altitude", "surface_wind"), max),
        "cloud_cover": max,
        "visibility": min,
    }
)
"""Facts that both a person and flights, winds or reports may tell, and which one counts."""


_ROUNDED: Final = 1.05
"""How far two figures of a label may be apart for their rounding; assumed."""

_ALIKE: Final = 1.2
"""How far a label may be from what a record shows, and the impulse of rockets launched together
beyond that of as many like the one flown, which all else counts as alike: motors of one class
differ so; assumed."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What rules are compared with.

    Parameters
    ----------
    numbers : mapping of str to float
        By key of `driftmap.rules.vocabulary.FACTS`, in SI; what is not known is left out.
    groups : mapping of str to tuple of (str, float)
        By key of `driftmap.rules.vocabulary.GROUPS`: name of each area and its distance from
        the pad [m].
    ranges : mapping of str to (float, float)
        Least and greatest value of what is not known exactly; of a number, its interval.
    stages_flown : int
        Stages that are flown apart, each to where it comes down.
    label_apart : float
        How many times as large or small as the total impulse a label may tell it: without
        end where that is what explains a height.
    asked : tuple of str
        Facts that people must answer whatever rules ask: a slip shows by them alone.

    Raises
    ------
    ValueError
        If a key is unknown or a number is not finite.
    """

    numbers: Mapping[str, float] = field(default_factory=dict)
    groups: Mapping[str, tuple[tuple[str, float], ...]] = field(default_factory=dict)
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    stages_flown: int = 1
    label_apart: float = _ROUNDED
    asked: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for given, known in (
            (self.numbers, FACTS),
            (self.ranges, FACTS),
            (self.groups, GROUPS),
        ):
            if unknown := set(given) - set(known):
                raise ValueError(f"{sorted(unknown)[0]!r} is no fact")
        every = [
            *self.numbers.values(),
            *(end for ends in self.ranges.values() for end in ends),
            *(d for g in self.groups.values() for _, d in g),
        ]
        if not all(math.isfinite(number) for number in every):
            raise ValueError("'numbers', 'ranges' and distances must be finite")
        for name in ("numbers", "groups", "ranges"):
            fixed = MappingProxyType(dict(getattr(self, name)))
            object.__setattr__(self, name, fixed)


def facts_of(
    flight: Flight,
    site: Site,
    *,
    altitude: float | None = None,
    wind: WindProfile | None = None,
    impulse: float | None = None,
    when: datetime | None = None,
) -> Facts:
    """Collect what flight and site files tell, and what flights flown have shown.

    ``altitude``: greatest height expected above the site [m], from `expected_altitude`;
    ``impulse``: total impulse that explains the flight where the file names no motor [N
    s]; ``when``: time of the flight, with its zone.

    Result: numbers and distances; what nobody tells is left out.
    """
    mass = float(flight.airframe.mass.value)
    numbers = {
        "liftoff_mass": mass,
        "liftoff_weight": mass * STANDARD_GRAVITY,
        "recovery_devices": float(len(flight.devices)),
        "rail_tilt": float(flight.rail.angle.value),
        "waiver_ceiling": site.waiver.ceiling,
        "site_dimension": least_width(site.boundary),
        "boundary_distance": site.to_boundary,
        "drawn_astray": float(sum(_astray(area, site) for area in site.areas))
        + sum(map(_sticks_out, (site.boundary, site.waiver.shape))),
        "cloud_under": 0.0,  # none is reported
        "crew_drawn": float(sum(map(_crew, site.areas))),
        "border_near": float(near_a_border(site.longitude, site.latitude)),
        "elevation_beside": beside_aerodromes(
            site.longitude, site.latitude, site.elevation
        ),
    }
    ranges: dict[str, tuple[float, float]] = {}
    if flight.motor is not None:
        numbers |= _motors(flight)
        ranges |= _fitted(flight.motor) if flight.fitted else {}
        if len(flight.motors) > 1:
            each = dict(_largest(flight.motors))
            numbers |= {name: low for name, (low, high) in each.items() if low == high}
            ranges |= {name: ends for name, ends in each.items() if name not in numbers}
    elif impulse is not None:
        numbers["total_impulse"] = impulse
    if when is not None:
        height = sun_height(when, site.latitude, site.longitude) + UPPER_RIM
        numbers["sun_height"] = math.radians(height)
    if altitude is not None:
        numbers["expected_altitude"] = altitude
    if wind is not None:
        numbers["surface_wind"], ranges["surface_wind"] = surface_wind(wind)
        numbers |= _sky(wind)
        if altitude is not None and wind.lowest_cloud is not None:
            numbers["cloud_under"] = max(altitude - wind.lowest_cloud, 0.0)
    groups = {
        name: tuple(
            (area.name, area.distance) for area in site.areas if group.holds(area)
        )
        for name, group in GROUPS.items()
    }
    airports = [away for _, away in groups["airports"]]
    numbers["airport_away"] = min([*airports, _NO_AIRPORT])
    apart = 1 if flight.sustainer is None else 2
    known = _ALIKE if flight.fitted else _ROUNDED
    label = math.inf if flight.motor is None else known
    asked = tuple(_asked(flight))
    return of_each_motor(Facts(numbers, groups, ranges, apart, label, asked))


def _asked(flight: Flight) -> Iterator[str]:
    """Name what the label tells of a flight known by its record, and motors nobody counted."""
    if flight.motor is None or flight.fitted:
        yield "total_impulse"
    if not all(motor.counted for motor in flight.motors):
        yield "motor_count"


def _astray(area: Area, site: Site) -> bool:
    """Return whether a corner may have slipped: far off the land, or ground too wide, or too small.

    Of ground where people of the launch stand no part lies far off; roads and the like may
    lead away.
    """
    if area.role not in OCCUPIED:
        return float(area.shape.distance(site.boundary)) > _ANYTHING_OFF
    farthest = shapely.get_coordinates(area.shape.convex_hull)
    off = shapely.distance(shapely.points(farthest), site.boundary)
    each, all_of_it = _SPARSE
    size, count = area.shape.area, area.people or 0
    wide = count and size > max(each * count, all_of_it)
    packed = count > _DENSE * max(size, 1.0)
    return bool(wide or packed or off.max() > _PEOPLE_OFF)


_SHARPEST, _LONG = 25.0, 200.0
"""Angle of a corner of land or waiver below which it may have slipped outward [deg], where it
sticks out farther than that [m]; assumed."""


def _sticks_out(shape: BaseGeometry) -> bool:
    """Return whether a corner is so sharp that a digit of it may have slipped.

    What lies inside is taken for our land or airspace.
    """
    for ring in shapely.get_rings(shapely.simplify(shape, 1.0)):
        points = shapely.get_coordinates(ring)[:-1]
        back, on = (np.roll(points, by, axis=0) - points for by in (1, -1))
        sides = np.hypot(*back.T), np.hypot(*on.T)
        cosine = (back * on).sum(axis=1) / sides[0] / sides[1]
        sharp = cosine > math.cos(math.radians(_SHARPEST))
        if np.any(sharp & (np.minimum(*sides) > _LONG)):
            return True
    return False


def _crew(area: Area) -> int:
    """Count who stands at a flight line; where nobody said, one at the least."""
    if area.role != "flight line":
        return 0
    return 1 if area.people is None else area.people


def _sky(wind: WindProfile) -> dict[str, float]:
    """Take cloud and visibility from a surface report, if there is one."""
    told = {"cloud_cover": wind.cloud_cover, "visibility": wind.visibility}
    return {name: value for name, value in told.items() if value is not None}


def _motors(flight: Flight) -> dict[str, float]:
    """Add up every motor, in whichever stage it is; the thrust is that on the rail."""
    first, motors = flight.motors[0], flight.motors
    apart = 1 if flight.sustainer is None else 2
    return {
        "total_impulse": float(sum(motor.total_impulse.value for motor in motors)),
        "motor_count": float(sum(motor.count for motor in motors)),
        "stages": float(max(first.stages, apart)),
        "propellant_mass": sum(motor.propellant_mass for motor in motors),
        **({} if flight.fitted else {"average_thrust": first.average_thrust}),
    }


def _largest(
    motors: Sequence[Motor],
) -> Iterator[tuple[str, tuple[float, float]]]:
    """Yield least and most of the largest motor, whenever it lights.

    Several that light together may be unequal: one has an equal share at the least.
    """
    for name, told in (
        ("motor_impulse", [float(motor.total_impulse.value) for motor in motors]),
        ("motor_thrust", [float(motor.average_thrust) for motor in motors]),
        ("motor_propellant", [float(motor.propellant_mass) for motor in motors]),
    ):
        shares = (value / m.count for value, m in zip(told, motors, strict=True))
        yield name, (max(shares), max(told))


def _fitted(motor: Motor) -> dict[str, tuple[float, float]]:
    """Return the thrust of a motor that is known by a record: its label knows it better."""
    burn, thrust = motor.burn_time, motor.average_thrust
    wide = 2 * (burn.spread or 0.0) / burn.value
    ends = thrust / (1 + wide), thrust / max(1 - wide, _SHORTEST)
    return {"average_thrust": ends}


def of_each_motor(facts: Facts) -> Facts:
    """Add what all motors together tell of the largest of them.

    Result: with the largest motor's figures: those of all where there is one motor; of
    several, which may be unequal, at least an equal share and at most all. Rockets launched
    together count as alike, unless more was answered for their sum.
    """
    numbers, ranges = dict(facts.numbers), dict(facts.ranges)
    count = numbers.get("motor_count")
    for name, of_all in _OF_EACH.items():
        whole = numbers.get(of_all)
        if count is None:
            continue
        if whole is None:
            if of_all in ranges and name not in numbers:
                low, high = ranges[of_all]
                ranges[name] = low / count, high
            continue
        if count == 1:
            numbers[name] = max(whole, numbers.get(name, whole))
        elif name in numbers:  # no share of all is less than an equal one
            numbers[name] = max(numbers[name], whole / count)
        else:
            low, high = ranges.get(name, (0.0, 0.0))
            ranges[name] = max(low, whole / count), max(high, whole)
    together = numbers.get("rockets_together")
    if together is not None and "total_impulse" in numbers:
        least = together * numbers["total_impulse"]
        numbers["salvo_impulse"] = max(least, numbers.get("salvo_impulse", 0.0))
    return replace(facts, numbers=numbers, ranges=ranges)


_SHORTEST: Final = 0.2  # of a burn as guessed; assumed


def at_odds(facts: Facts, answers: Answers) -> Iterator[tuple[str, str]]:
    """Name the answers that cannot be true beside what else is known, and say why."""
    pairs = dict(_OF_EACH)
    if facts.numbers.get("rockets_together", 1.0) <= 1:
        pairs["salvo_impulse"] = "total_impulse"
    for name, of_all in pairs.items():
        part, whole = answers.numbers.get(name, 0.0), facts.numbers.get(of_all)
        if whole is not None and part > _ROUNDED * whole:
            one, other = (
                f"{FACTS[key].text} {amount(value, FACTS[key].dimension)}"
                for key, value in ((name, part), (of_all, whole))
            )
            how = "; how many rockets go together?" * (name == "salvo_impulse")
            yield name, f"{one}, was answered: that is more than the {other}{how}"
    least = facts.numbers.get("total_impulse", 0.0) / _ROUNDED
    if answers.numbers.get("salvo_impulse", least) < least:
        text = "was answered to be less than that of the one that is flown"
        yield "salvo_impulse", f"{FACTS['salvo_impulse'].text} {text}"


def larger_beside(facts: Facts, answers: Answers) -> bool:
    """Return whether larger rockets than the one flown were answered to go together with it."""
    together = facts.numbers.get("rockets_together", 1.0)
    alike = _ALIKE * together * facts.numbers.get("total_impulse", np.inf)
    return together > 1 and answers.numbers.get("salvo_impulse", 0.0) > alike


def agrees(facts: Facts, name: str, given: float) -> bool:
    """Return whether what was answered [SI] may stand beside what the files tell."""
    if name not in facts.numbers:
        return True
    known, label = facts.numbers[name], facts.label_apart
    if name == "total_impulse":
        return known / label <= given <= known * label
    return name in _STRICTER or given == known


def with_answers(facts: Facts, answers: Answers) -> Facts:
    """Add the numbers that people gave to those the files told.

    A flight file is one rocket: it is launched alone unless an answer says otherwise.
    Where people and flights, winds or reports both tell a figure (height, wind, cloud,
    visibility, and total impulse within what a label may differ), the one that allows less
    counts.

    Result: both together. Raises `InputError` if an answer contradicts what the files tell.
    """
    numbers = {"rockets_together": 1.0, **facts.numbers, **answers.numbers}
    for name in answers.numbers.keys() & facts.numbers.keys():
        given, known = answers.numbers[name], facts.numbers[name]
        if not agrees(facts, name, given):
            this, that = (amount(v, FACTS[name].dimension) for v in (given, known))
            text = f"{FACTS[name].text} is known already: {this} was answered, and the "
            text += f"files tell {that}; change it where it stands"
            raise InputError(answers.source, name, text)
        numbers[name] = _STRICTER.get(name, max)(given, known)
    if (
        math.isinf(facts.label_apart)
        and {"total_impulse", "motor_impulse"} <= numbers.keys()
    ):
        least = answers.numbers.get("total_impulse", numbers["motor_impulse"])
        numbers["total_impulse"] = max(numbers["total_impulse"], least)
    ranges = {  # an end that the figure itself is beyond is none
        name: (min(ends[0], numbers[name]), max(ends[1], numbers[name]))
        for name, ends in facts.ranges.items()
        if name in numbers
    }
    told = replace(facts, numbers=numbers, ranges={**facts.ranges, **ranges})
    return of_each_motor(told)
