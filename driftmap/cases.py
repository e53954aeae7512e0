"""What can happen to a flight: which bodies come down, from when, and how likely.

A case is data. It names the moment its bodies are let go and, for each body, the stages
of its fall. To add a case, write a function that returns one and list it in `_CASES`.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import log, pi, sqrt
from types import MappingProxyType
from typing import Final, Literal

from driftmap.errors import FlightError
from driftmap.flight import Device, Flight, Piece
from driftmap.spread import Spread

__all__ = ["WORKS", "Body", "Case", "CaseTree", "Release", "Stage", "build_cases"]

WORKS: Final = "recovery works"

LIKELIHOOD: Final = MappingProxyType(
    {
        "nothing deploys": 0.04,
        "early opening": 0.01,
        "fins come off": 0.01,
        "main at apogee": 0.02,
        "drogue only": 0.02,
        "nose cone lost": 0.01,
        "motor case ejected": 0.01,
    }
)
"""Likelihood of each failure where the flight file gives none. No source: assumed, for a
club's mixed flying; a club that keeps a logbook should put its own shares in the file."""

CANOPY_DRAG: Final = Spread(
    "lognormal", 0.75, 0.10, "drag coefficient 0.75 on the cloth area, 10 %"
)
"""Flat circular canopy, low end of 0.75 to 0.80 on the nominal area (from memory: Knacke,
*Parachute Recovery Systems Design Manual*, NWC TP 6575, table 5-1); spread assumed."""

STREAMER_DRAG: Final = Spread(
    "loguniform", 0.05, 0.25, "drag coefficient anywhere from 0.05 to 0.25 on one side"
)
"""Streamer of length 5 to 10 widths, pulled by its short end. Assumed: published figures
for flags and streamers disagree; this range spans those seen for limp to stiff cloth."""

CROSSFLOW_DRAG: Final = 1.1
"""Drag coefficient of a long cylinder across the flow, on length times diameter, below the
critical Reynolds number (from memory: Hoerner, *Fluid-Dynamic Drag*, 1965, ch. 3)."""

TUMBLE: Final = Spread(
    "uniform", 4 / (3 * pi), 1.0, "a tumbling body: end over end to flat"
)
"""Share of the broadside drag of a tumbling cylinder: 4/(3π) end over end in a plane that
holds the airstream (mean of sin³ of the angle), 1 in a flat spin. Range assumed between."""

PLATE_DRAG: Final = 1.17
"""Drag coefficient of a square plate across the flow, on its face (*Aeronautical
Engineer's Data Book*, fig. 5.13(b))."""

PIECE_DRAG: Final = MappingProxyType(
    {"fin": PLATE_DRAG, "nose cone": 0.74, "motor case": 0.74}
)
"""Drag coefficient of a loose piece on its mean projected area; 0.74 is a cylinder of
length 5 diameters across the flow (*Aeronautical Engineer's Data Book*, fig. 5.13(b))."""

CLOTH_MASS: Final = 0.10
"""Mass of a canopy or streamer with its lines for each m² of cloth [kg m⁻²]. Common
practice, no source: ripstop cloth near 0.065 kg/m² and as much again in lines and hem."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a fall.

    Parameters
    ----------
    drag : tuple of (float, str)
        Areas [m²] and, for each, the input that multiplies it; their sum is the drag area.
    until : {"ground", "height", "time"}
        What ends the stage.
    mark : str
        The input that gives that height [m] or time [s]; empty for the ground.
    """

    drag: tuple[tuple[float, str], ...]
    until: Literal["ground", "height", "time"] = "ground"
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Body:
    """Something that comes down.

    Parameters
    ----------
    name : str
        What it is.
    mass : float
        Its mass [kg].
    stages : tuple of Stage
        How it falls, one stage after the other.
    count : int
        How many there are; ``{n}`` in the name of an input stands for each one's number.
    """

    name: str
    mass: float
    stages: tuple[Stage, ...]
    count: int = 1


@dataclass(frozen=True, slots=True)
class Release:
    """When the bodies of a case are let go.

    Parameters
    ----------
    at : {"apogee", "max q", "coast", "time"}
        At apogee; at greatest dynamic pressure; a share of the way in time from burnout
        to apogee; a time after lift-off, or apogee if that comes first.
    mark : str
        The input that gives the share or the time.
    """

    at: Literal["apogee", "max q", "coast", "time"] = "apogee"
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """Something that can happen to a flight.

    Parameters
    ----------
    name : str
        What happens, in the trade's words.
    probability : float
        Its share of all flights.
    release : Release
        When the bodies are let go.
    bodies : tuple of Body
        What comes down.
    """

    name: str
    probability: float
    release: Release
    bodies: tuple[Body, ...]


@dataclass(frozen=True, slots=True)
class CaseTree:
    """All cases of a flight and the inputs they draw.

    Parameters
    ----------
    cases : tuple of Case
        The case in which recovery works first; probabilities sum to 1.
    spreads : dict of str to Spread
        Inputs by name.
    assumed : tuple of str
        What was assumed, a sentence each.
    missing : tuple of str
        Failures that could not be flown for want of data, a sentence each.
    """

    cases: tuple[Case, ...]
    spreads: dict[str, Spread]
    assumed: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass
class _Workshop:
    """What the builders of cases share while one tree is made."""

    flight: Flight
    spreads: dict[str, Spread] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)

    def need(self, name: str, spread: Spread, what: str = "") -> str:
        """Register an input and note what it assumes."""
        if name not in self.spreads:
            self.spreads[name] = spread
            if spread.assumed:
                self.assumed.append(f"{what or name}: {spread.assumed} (assumed)")
        return name

    def devices(self) -> list[Device]:
        """Devices in the order in which they open."""

        def order(device: Device) -> tuple[int, float]:
            trigger = device.opens_at
            if trigger.at == "height":
                return 1, -trigger.value
            return 0, trigger.value

        return sorted(self.flight.recovery, key=order)

    def cloth_mass(self, device: Device) -> float:
        """Give the mass of a device with its lines [kg]."""
        if device.mass is not None:
            return device.mass
        mass = CLOTH_MASS * device.cloth_area
        note = f"{device.name}: mass {mass * 1000:.0f} g from its cloth area (assumed)"
        if note not in self.assumed:
            self.assumed.append(note)
        return mass

    def cloth(self, device: Device) -> tuple[float, str]:
        """Give the drag of an open device."""
        given = device.drag_coefficient
        default = CANOPY_DRAG if device.kind == "canopy" else STREAMER_DRAG
        if given is None:
            spread = default
        else:
            share = 0.10 if device.kind == "canopy" else 0.20
            note = "" if given.spread is not None else f"spread {share:.0%} of its drag"
            if given.spread is not None:
                share = given.spread / given.value
            spread = Spread("lognormal", given.value, _log_spread(share), note)
        return device.cloth_area, self.need(f"{device.name} drag", spread, device.name)

    def tumbling(self) -> tuple[float, str]:
        """Give the drag of the tumbling rocket."""
        frame = self.flight.airframe
        area = CROSSFLOW_DRAG * frame.length * frame.diameter
        return area, self.need("tumbling", TUMBLE, "falling rocket")

    def nose_first(self) -> tuple[float, str]:
        """Give the drag of the rocket falling nose first."""
        return self.flight.airframe.cross_section, "drag coefficient"

    def loose(self, piece: Piece) -> Body:
        """Let a piece that has come off tumble to the ground."""
        area = PIECE_DRAG[piece.kind] * piece.mean_projected_area
        for number in range(1, piece.count + 1):
            note = "spread 25 % of its drag area" if number == 1 else ""
            spread = Spread("lognormal", 1.0, 0.25, note)
            self.need(f"{piece.name} {number} drag", spread, f"loose {piece.name}")
        stage = Stage(((area, f"{piece.name} {{n}} drag"),))
        return Body(piece.name, piece.mass, (stage,), piece.count)

    def opening(self, device: Device) -> str:
        """Name the input that gives the height or time at which a device opens."""
        trigger = device.opens_at
        if trigger.at == "height":
            spread, note = 15.0, "opening height spread 15 m"
        else:
            spread, note = 0.10 * trigger.value, "opening time spread 10 %"
        if trigger.spread is not None:
            spread, note = trigger.spread, ""
        return self.need(
            f"{device.name} opens",
            Spread("normal", trigger.value, spread, note),
            device.name,
        )

    def stages(self, devices: list[Device]) -> tuple[Release, tuple[Stage, ...]]:
        """List the stages of the rocket's fall when these devices open as planned."""
        release = Release()
        stages: list[Stage] = []
        drag: tuple[tuple[float, str], ...] = (self.nose_first(),)
        for device in devices:
            at = device.opens_at.at
            if at == "time" and not stages:
                release = Release("time", self.opening(device))
            if at in ("time", "height"):
                mark = self.opening(device)
                stages.append(Stage(drag, "time" if at == "time" else "height", mark))
            # Once something is out, the rocket hangs or tumbles below it.
            cloth = tuple(d for d in drag if d != self.nose_first())
            drag = (*(cloth or (self.tumbling(),)), self.cloth(device))
        return release, (*stages, Stage(drag))

    def rocket(self, stages: tuple[Stage, ...], *, less: float = 0.0) -> Body:
        """Give the rocket after the burn, less the mass that came off [kg]."""
        return Body("rocket", self.flight.dry_mass - less, stages)


def _log_spread(share: float) -> float:
    """Turn a relative standard deviation into that of the logarithm."""
    return sqrt(log(1 + share * share))


def _works(shop: _Workshop) -> Case:
    release, stages = shop.stages(shop.devices())
    return Case(WORKS, 1.0, release, (shop.rocket(stages),))


def _nothing(shop: _Workshop) -> Case:
    body = shop.rocket((Stage((shop.nose_first(),)),))
    return Case("nothing deploys", 0.0, Release(), (body,))


def _early(shop: _Workshop) -> Case:
    """Open the largest device on the way up, rip it off and let it drift empty."""
    device = max(shop.devices(), key=lambda d: d.cloth_area)
    mass = shop.cloth_mass(device)
    when = shop.need(
        "early moment",
        Spread("uniform", 0.0, 1.0, "any moment from burnout to apogee"),
        "early opening",
    )
    area, drag = shop.cloth(device)
    share = shop.need(
        "empty cloth",
        Spread("uniform", 0.2, 1.0, "20 to 100 % of the drag it has under load"),
        "torn-off canopy",
    )
    middle = shop.spreads[drag].middle
    cloth = Body(device.name, mass, (Stage(((area * middle, share),)),))
    body = shop.rocket((Stage((shop.tumbling(),)),), less=mass)
    return Case("early opening", 0.0, Release("coast", when), (body, cloth))


def _fins(shop: _Workshop) -> Case | None:
    fins = [shop.loose(p) for p in shop.flight.pieces if p.kind == "fin"]
    if not fins:
        return None
    less = sum(b.mass * b.count for b in fins)
    body = shop.rocket((Stage((shop.tumbling(),)),), less=less)
    return Case("fins come off", 0.0, Release("max q"), (body, *fins))


def _main_at_apogee(shop: _Workshop) -> Case | None:
    """Everything opens at the first device's trigger."""
    devices = shop.devices()
    if len(devices) < 2:
        return None
    release, stages = shop.stages(devices[:1])
    *before, last = stages
    rest = tuple(shop.cloth(device) for device in devices[1:])
    last = replace(last, drag=last.drag + rest)
    return Case("main at apogee", 0.0, release, (shop.rocket((*before, last)),))


def _drogue_only(shop: _Workshop) -> Case | None:
    devices = shop.devices()
    if len(devices) < 2:
        return None
    release, stages = shop.stages(devices[:-1])
    return Case("drogue only", 0.0, release, (shop.rocket(stages),))


def _nose_lost(shop: _Workshop) -> Case | None:
    noses = [shop.loose(p) for p in shop.flight.pieces if p.kind == "nose cone"]
    if not noses:
        return None
    release, stages = shop.stages(shop.devices())
    body = shop.rocket(stages, less=sum(b.mass * b.count for b in noses))
    return Case("nose cone lost", 0.0, release, (body, *noses))


def _case_ejected(shop: _Workshop) -> Case | None:
    """Push out the motor case in place of the recovery; the rocket falls nose first."""
    motors = [shop.loose(p) for p in shop.flight.pieces if p.kind == "motor case"]
    if not motors:
        return None
    release, _ = shop.stages(shop.devices())
    body = shop.rocket(
        (Stage((shop.nose_first(),)),), less=sum(b.mass * b.count for b in motors)
    )
    return Case("motor case ejected", 0.0, release, (body, *motors))


_CASES: Final[tuple[Callable[[_Workshop], Case | None], ...]] = (
    _works,
    _nothing,
    _early,
    _fins,
    _main_at_apogee,
    _drogue_only,
    _nose_lost,
    _case_ejected,
)


def build_cases(flight: Flight) -> CaseTree:
    """List what can happen to a flight.

    Parameters
    ----------
    flight : Flight
        The flight as planned.

    Returns
    -------
    CaseTree
        Cases, inputs and what was assumed.

    Raises
    ------
    FlightError
        If the flight file gives a likelihood to a case that does not exist for it.
    """
    shop = _Workshop(flight)
    given = flight.airframe.drag_coefficient
    share = 0.10 if given.spread is None else given.spread / given.value
    note = "spread 10 %" if given.spread is None else ""
    shop.need(
        "drag coefficient",
        Spread("lognormal", given.value, _log_spread(share), note),
        "nose-first drag coefficient",
    )
    built = [case for make in _CASES if (case := make(shop)) is not None]
    names = [case.name for case in built[1:]]
    for name in flight.cases:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            hint = (
                f"did you mean {near[0]!r}?"
                if near
                else f"known are {', '.join(names)}"
            )
            raise FlightError(
                flight.source, f"cases.{name}", f"is no case here; {hint}"
            )
    likely = {name: flight.cases.get(name, LIKELIHOOD[name]) for name in names}
    for name in names:
        if name not in flight.cases:
            shop.assumed.append(f"{name}: {likely[name]:.1%} of flights (assumed)")
    works = 1 - sum(likely.values())
    if works < 0:
        raise FlightError(
            flight.source, "cases", "and defaults add up to more than 100 %"
        )
    missing = []
    if "fins come off" not in names:
        missing.append("fins coming off was not flown: the flight file lists no fins")
    cases = tuple(replace(c, probability=likely.get(c.name, works)) for c in built)
    return CaseTree(cases, shop.spreads, tuple(shop.assumed), tuple(missing))
