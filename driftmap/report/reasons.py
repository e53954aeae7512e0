"""What checks found, what speaks against flying, and what the harm is, as sentences."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final, Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.air.wind import MAST, reported_at
from driftmap.core.units import FOOT, STANDARD_GRAVITY, ZERO_CELSIUS, parse
from driftmap.hazard.zones import Zone, grade
from driftmap.report.sentences import sentence
from driftmap.report.voice import Voice
from driftmap.report.words import isolate, tied
from driftmap.rocket.flight import Flight
from driftmap.rocket.likelihood import WORKS
from driftmap.rocket.stages import Device
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import ALOFT, Check, Kind, settled_by_word
from driftmap.verdict.limits import LOOSER


def worst_first(checks: Iterable[Check], people: Collection[str]) -> list[Check]:
    """Order the checks that do not pass.

    ``people``: names of the areas where people are; these come before others.

    Result: what must stand beside the verdict first, then failing before warning, what is so
    before what is only not known well enough, people before the rest and all of them
    together before each place, then by how far over the limit.
    """

    def order(check: Check) -> tuple[bool, bool, bool, bool, bool, bool, float]:
        over = math.inf
        if check.limit and check.value is not None:
            over = check.value / check.limit
            if check.sense == "least":
                over = 1 / over if over else math.inf
        crowd = check.kind in {Kind.AMONG_PEOPLE, Kind.AMONG_PEOPLE_IN_FAILURE}
        calm = not (crowd or any(check.about(name) for name in people))
        within = over <= 1  # but for its interval
        milder = not check.beside, check.outcome != "fail"
        return *milder, check.question, within, calm, not crowd, -over

    return sorted((c for c in checks if c.outcome != "pass"), key=order)


def _to_tell(checks: Iterable[Check], people: Collection[str]) -> list[Check]:
    """Order what is told of a verdict.

    ``people``: names of the areas where people are; these come before others.

    Result: first one that must stand beside the verdict even though it passes, then all
    that do not pass, the worst first, then others that must stand beside it.
    """
    every = list(checks)
    worst = worst_first(every, people)
    beside = [check for check in worst if check.beside]
    beside += [check for check in every if check.beside and check.outcome == "pass"]
    # A loosened limit that is kept speaks against nothing, nor does an answer: never first.
    # Nor what is not known, where something fails.
    beside.sort(key=lambda check: (_history(check), check.kind in ALOFT))
    fails = any(check.outcome == "fail" for check in worst)
    late = not beside or _history(beside[0]) or (fails and beside[0].kind in ALOFT)
    first = int(not late)
    return [*beside[:first], *(c for c in worst if not c.beside), *beside[first:]]


def leading(checks: Collection[Check], people: Collection[str]) -> int:
    """Count the reasons that lead: what passes and leads never stands without what fails."""
    first = next(iter(_to_tell(checks, people)), None)
    passes = first is not None and first.outcome == "pass"
    return 1 + (passes and any(check.outcome == "fail" for check in checks))


def _history(check: Check) -> bool:
    """Tell a check that only says what somebody did, from one that says what may happen."""
    done = LOOSER in check.source or check.kind in {Kind.RULE, Kind.WIND_WARNED}
    return done and check.outcome == "pass"


def verdict_reasons(
    checks: Collection[Check],
    people: Collection[str],
    voice: Voice,
    *,
    once: bool = False,
) -> list[str]:
    """Say in a line each what speaks against flying, the worst first.

    ``people``: names of the areas where people are; these come before others; ``once``:
    whether of each kind of check and area only the worst is told, for a page with room
    for few.

    Result: one for each check that does not pass, then for each that passes but must
    stand beside the verdict, and one for all questions together.
    """
    worst = [_counted(check, checks) for check in _to_tell(checks, people)]
    places = (_one_place(check, worst) for check in worst)
    worst = list({id(check): check for check in places}.values())
    told: dict[object, str] = {}
    for place, check in enumerate(worst):
        if not check.question:
            key = (check.kind, check.area or check.name) if once else place
            told.setdefault(key, sentence(check, voice) + _who_loosened(check))
    lines = list(told.values())
    open_ = sum(check.question for check in worst)
    if open_:
        lines.append(voice.say("reason.questions", count=voice.count(open_)))
    return lines


_SUMS: Final = {
    Kind.AMONG_PEOPLE: Kind.LANDS_IN,
    Kind.ON_CLEAR_GROUND: Kind.LANDS_IN,
    Kind.AMONG_PEOPLE_IN_FAILURE: Kind.LANDS_IN_FAILURE,
}
"""Checks of all places together, and of each."""

_ALL_OF_IT: Final = 0.99
"""Share of a sum from which one place is all that is told of it."""


def _one_place(check: Check, checks: Iterable[Check]) -> Check:
    """Return the place that is all of a sum, with the same limit: it is told once, by name."""
    value = check.value or 0.0
    same = [
        c
        for c in checks
        if c.kind is _SUMS.get(check.kind)
        and (c.case, c.limit, c.outcome) == (check.case, check.limit, check.outcome)
        and 0.0 < _ALL_OF_IT * value <= (c.value or 0.0) <= value
    ]
    return same[0] if same and not check.beside else check


def _counted(check: Check, checks: Iterable[Check]) -> Check:
    """Give the check of people under a fall the share of such flights that put a piece there."""
    if check.kind is not Kind.UNDER_THE_FALL:
        return check
    hits = [
        c
        for c in checks
        if c.kind is Kind.LANDS_IN_FAILURE
        and c.case == check.case
        and c.limit is not None
        and check.about(c.area)
    ]
    if not hits:
        return check
    most = max(hits, key=lambda c: c.value or 0.0)
    return replace(
        check,
        area=most.area,
        value=most.value,
        interval=most.interval,
        unit=most.unit,
        limit=most.limit,
        sense=most.sense,
    )


def _who_loosened(check: Check) -> str:
    """Say which file loosened a limit, and who answers for that, as sources are written."""
    loosened = check.beside and LOOSER in check.source
    return f" ({isolate(check.source)})" if loosened else ""


_WEIGHTS: Final = {"us": "2 lb", "si": "1 kg"}
"""A weight that everybody has held, to tell an energy by the height it is dropped from."""

_LEAST: Final = {"us": "1 ft", "si": "1 m"}


def comes_down(
    devices: Sequence[Device], speed: float, energy: float, voice: Voice
) -> str:
    """Say how something comes down when all is well, and what it does to a person.

    ``speed``: median on landing [m s⁻¹]; ``energy``: by which it is graded [J].

    Result: by its energy, never by its case.
    """
    harm = voice.say(f"harm.{_harm(energy)}")
    told = voice.fall(speed)
    device = _last(devices)
    if not device:
        return voice.say("harm.bare", speed=told, harm=harm)
    name = voice.say(f"device.{device}")
    return voice.say("harm.under", device=name, speed=told, harm=harm)


def _harm(energy: float) -> str:
    """Grade an energy; below the published one of a casualty it still hurts."""
    if grade(energy) == "danger":
        return "kills"
    return "injures" if grade(energy) else "bruises"


def _last(devices: Sequence[Device]) -> str:
    """Return the kind of the device that something lands under."""
    low = [d for d in devices if d.opens_at.at == "height"]
    if low:
        return min(low, key=lambda d: d.opens_at.value).kind
    return max(devices, key=lambda d: d.opens_at.value).kind if devices else ""


def hits_like(energy: float, voice: Voice) -> str:
    """Tell an energy as the height that a weight is dropped from."""
    mass = parse(_WEIGHTS[voice.units], "mass")
    height = energy / (mass * STANDARD_GRAVITY)
    least = parse(_LEAST[voice.units], "length")
    if height < least:
        return voice.say("figure.under", height=voice.distance(least))
    return voice.distance(height)


def weight_name(voice: Voice) -> str:
    """Name the weight that `hits_like` speaks of."""
    return voice.number(_WEIGHTS[voice.units])


def zone_lines(flight: Flight, zone: Zone, voice: Voice) -> list[str]:
    """Say in two short lines what comes down in a zone.

    Both of the plan's own fall, else of the hardest and of the first: no fall is told by
    the speed of one and the second of another.
    """
    speed, time = voice.fall(zone.speed), voice.seconds(zone.soonest)
    if zone.case != WORKS:
        hardest = voice.say("zone.hardest", speed=speed)
        if zone.soonest < 1.0:
            return [hardest, voice.say("zone.first_at_once")]
        return [hardest, voice.say("zone.first", time=time)]
    first = voice.say("zone.falls", speed=speed)
    if device := _last(flight.recovery):
        name = voice.say(f"device.{device}")
        first = voice.say("zone.under", device=name, speed=speed)
    return [first, voice.say("zone.after", time=time)]


def settled(checks: Iterable[Check], voice: Voice) -> str:
    """Name the limits that an officer of the range may answer for; empty for none."""
    found = settled_by_word(checks)
    text = ", ".join(f"{key} {most}" for key, most in found.items())
    return voice.say("settled.by", list=text) if found else ""


def read_back(a: Assessment, voice: Voice) -> list[str]:
    """Say what the verdict depends on in both systems of units: a slip shows in one of them."""
    other = replace(voice, units="si" if voice.units == "us" else "us")

    def both(value: float, kind: str) -> str:
        return f"{voice.shown(value, kind)} ({other.shown(value, kind)})"

    told = [
        (x.height, x.speed) for x in a.wind.levels if x.height > 0 and not x.carried
    ]
    height, speed = min(told or [(MAST, float(reported_at(a.wind, MAST)[1]))])
    apogee, rail = np.median(a.cloud.apogee.height), np.median(a.cloud.rail_speed)
    length, body = a.flight.rail.length, a.flight.airframe
    say = voice.say
    lines = [
        say("back.mass", mass=both(body.mass.value, "mass")),
        *(
            say(
                "back.stages",
                upper=both(upper.mass.value, "mass"),
                lower=both(a.flight.booster_mass, "mass"),
            )
            for upper in [a.flight.sustainer]
            if upper is not None
        ),
        say(
            "back.body",
            length=f"{_short(body.length, voice)} ({_short(body.length, other)})",
            across=f"{_narrow(body.diameter, voice)} ({_narrow(body.diameter, other)})",
        ),
        say(
            "back.rail",
            length=f"{_short(length, voice)} ({_short(length, other)})",
            speed=both(float(rail), "speed"),
        ),
        *_lean(a, voice),
        say("back.pad", height=both(a.site.elevation, "length")),
        say("back.ceiling", height=both(a.site.waiver.ceiling, "length")),
        say("back.land", **_extent(a.site.boundary, voice, both)),
        say("back.waiver", **_extent(a.site.waiver.shape, voice, both)),
        say("back.apogee", height=both(float(apogee), "length")),
    ]
    if motors := a.flight.motors:
        count = sum(motor.count for motor in motors)
        impulse = sum(motor.total_impulse.value for motor in motors)
        shown = tied(voice.number(f"{impulse:,.0f} N s"))
        burnt = both(sum(motor.propellant_mass for motor in motors), "mass")
        motor_line = say(
            "back.motors", count=str(count), impulse=shown, propellant=burnt
        )
        lines.insert(2, motor_line)
    if (balance := a.cloud.plan.balance) is not None and balance.known:
        calibres = voice.number(f"{balance.margin[1]:.1f}")
        lines.insert(2, say("back.margin", margin=calibres))
    if (day := a.setup.day) is not None:
        celsius = day.temperature - ZERO_CELSIUS
        warm = f"{celsius:.0f} °C ({9 / 5 * celsius + 32:.0f} °F)"
        high = both(day.density_altitude(), "length")
        lines.append(say("back.air", warm=tied(voice.number(warm)), height=high))
    lines += [
        say(
            "back.opens",
            device=isolate(d.name),
            height=both(d.opens_at.value, "length"),
        )
        for d in a.flight.devices
        if d.opens_at.at == "height"
    ]
    lines += [
        say(
            "back.lands" if check.name == check.kind.told else "back.booster_lands",
            speed=both(check.value, "speed"),
        )
        for check in a.checks
        if check.kind == Kind.DESCENT and check.value is not None
    ]
    lines += [
        say("back.glides", device=isolate(d.name), speed=both(d.glide, "speed"))
        for d in a.flight.devices
        if d.glide
    ]
    wind = say("back.wind", speed=both(speed, "speed"), height=both(height, "length"))
    needle = needle_text(a.site.declination, voice, "back")
    return [*lines, wind, *([needle] if needle else [])]


def _extent(
    shape: BaseGeometry, voice: Voice, both: Callable[[float, str], str]
) -> dict[str, str]:
    """Tell how near and how far the edge of a ground lies, and which way farthest."""
    corners = shapely.get_coordinates(shape)
    east, north = corners[np.hypot(*corners.T).argmax()]
    near = shape.boundary.distance(shapely.Point(0, 0))
    return {
        "near": both(near, "length"),
        "far": both(float(np.hypot(east, north)), "length"),
        "way": voice.number(
            f"{round(math.degrees(math.atan2(east, north))) % 360:03d}°"
        ),
    }


def _lean(a: Assessment, voice: Voice) -> Iterator[str]:
    """Say which way the rail leans, as it was flown; nothing where it stands upright."""
    tilt, toward = a.flight.rail.angle.value, math.degrees(a.cloud.plan.azimuth)
    if tilt > 0:
        yield voice.say(
            "back.lean",
            angle=voice.number(f"{math.degrees(tilt):.1f}°"),
            way=voice.number(f"{round(toward) % 360:03d}°"),
        )


def needle_text(
    declination: float | None, voice: Voice, table: Literal["back", "map"] = "map"
) -> str:
    """Say how far a needle points beside true north [rad, east positive]; empty if unknown.

    ``table``: of the messages: a sentence, or read back, as a sign the wrong way shows.
    """
    if declination is None:
        return ""
    side = "east" if declination >= 0 else "west"
    angle = voice.number(f"{abs(math.degrees(declination)):.1f}°")
    return voice.say(f"{table}.needle_{side}", angle=angle)


def _short(metres: float, voice: Voice) -> str:
    """Write a length whose tenths matter."""
    value, unit = (metres / FOOT, "ft") if voice.units == "us" else (metres, "m")
    return tied(voice.number(f"{value:.1f} {unit}"))


def _narrow(metres: float, voice: Voice) -> str:
    """Write the width of a body."""
    inches = voice.units == "us"
    text = f"{metres / FOOT * 12:.1f} in" if inches else f"{metres * 1000:.0f} mm"
    return tied(voice.number(text))
