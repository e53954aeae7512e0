"""The records of what can happen to a flight. A case is data; nothing here flies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from driftmap.core.spread import Spread
from driftmap.formulas.strength import HOLDS
from driftmap.rocket.pieces import Piece
from driftmap.rocket.stages import Device

SELDOM: Final = 4
"""Of so many flights one is flown for a case that fewer know as well."""

LIGHTS: Final = "time of lighting in the air"
"""Input that gives when the motor lights that does so in the air [s]."""


@dataclass(frozen=True, slots=True)
class Burn:
    """How thrust that is left acts in a stage.

    Parameters
    ----------
    tilt : str
        The input that gives the tilt from the vertical of the direction it acts in, or
        of the path it turns to; the bearing is any. Empty for on along the path.
    share : str
        The input that gives the share of the thrust that acts; all of it when empty. Where
        the path turns it is that of the motors that are lit.
    turned : bool
        Whether the path turns that way at once, and thrust acts along it from then on.
    alone : bool
        Whether the body is the motor, which carries all the propellant.
    upper : bool
        Whether it is the motor that lights in the air, though it has parted from nothing.
    """

    tilt: str = ""
    share: str = ""
    turned: bool = False
    alone: bool = False
    upper: bool = False


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a fall.

    Parameters
    ----------
    drag : tuple of (float, str)
        Areas [m²] and, for each, the input that multiplies it; their sum is the drag area.
    until : {"ground", "height", "time", "delay", "burnout"}
        What ends the stage: the ground, a height on the way down, a time since lift-off,
        so many seconds from the start of the stage, or the end of the burn.
    mark : str
        The input that gives that height [m], time or delay [s]; empty for the ground.
    gone : str
        The input that gives how much of a delay is over as the stage begins [s]; empty for
        none of it.
    nose_first : bool
        Whether the drag rises with Mach number as the airframe's does.
    glide : str
        The input that gives the glide through the air [m s⁻¹]; empty for none.
    per_sink : bool
        Whether that glide is over the speed of sinking instead.
    opens : str
        Name of the device that has just opened as the stage begins; empty for none.
    burn : Burn or None
        How the motor burns on, in a stage that ends at burnout.
    """

    drag: tuple[tuple[float, str], ...]
    until: Literal["ground", "height", "time", "delay", "burnout"] = "ground"
    mark: str = ""
    gone: str = ""
    nose_first: bool = False
    glide: str = ""
    per_sink: bool = False
    opens: str = ""
    burn: Burn | None = None


@dataclass(frozen=True, slots=True)
class Kick:
    """A throw in any direction on being let go.

    Parameters
    ----------
    energy : float
        Energy that could go into one body [J].
    share : str
        The input that gives the share of it that does.
    """

    energy: float
    share: str


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
    area : float
        Largest area that people can see of it [m²].
    count : int
        How many there are; ``{n}`` in the name of an input stands for each one's number.
    kick : Kick or None
        How it is thrown.
    before : tuple of Stage
        How the whole rocket falls until this body parts from it.
    unlit : bool
        Whether it is the rocket without its motor, and so without propellant.
    broken : bool
        Whether it falls with the rocket and is thrown on from where that strikes.
    release : Release or None
        When it is let go, where that is not when the case is.
    rides : bool
        Whether it weighs what all of the rocket does until its first stage is over.
    rim : float
        Length of the rim of `area`, of what lands lying across its path [m]; 0 for one as
        round as can be.
    """

    name: str
    mass: float
    stages: tuple[Stage, ...]
    area: float
    count: int = 1
    kick: Kick | None = None
    before: tuple[Stage, ...] = ()
    unlit: bool = False
    broken: bool = False
    release: Release | None = None
    rides: bool = False
    rim: float = 0.0


@dataclass(frozen=True, slots=True)
class Release:
    """When the bodies of a case are let go.

    Parameters
    ----------
    at : {"apogee", "max q", "coast", "time", "first second", "breaks", "rail", "burn", "off rail"}
        At apogee; at greatest dynamic pressure; a share of the way in time to apogee from
        burnout, or from the greatest dynamic pressure of one burn where that was before; a time after lift-off, or apogee if that comes first; a share of the
        first second; when a fin first has more than it stands;
        on leaving the rail; a share of the burn from there, so far; a time after lift-off, but
        not before the rail is left.
    mark : str
        The input that gives the share or the time; the key of what breaks.
    way : str
        How its flight goes up: as planned, or a way of `driftmap.rocket.stage_cases`.
    """

    at: Literal[
        "apogee",
        "max q",
        "coast",
        "time",
        "first second",
        "breaks",
        "rail",
        "burn",
        "off rail",
    ] = "apogee"
    mark: str = ""
    way: str = ""


@dataclass(frozen=True, slots=True)
class Opening:
    """How the opening of a device must end for a case, by its load.

    Parameters
    ----------
    device : Device
        The device.
    result : int
        One of `HOLDS`, `TEARS`, `RIPS_OFF` in `driftmap.formulas.strength`.
    before : tuple of Stage
        How the whole rocket falls from the release of the case until it opens.
    release : Release or None
        When what it is part of is let go, where that is not when the case is.
    """

    device: Device
    result: int
    before: tuple[Stage, ...] = ()
    release: Release | None = None

    @property
    def holds(self) -> bool:
        """Whether it must hold."""
        return self.result == HOLDS


@dataclass(frozen=True, slots=True)
class Breaks:
    """What breaks off, and of what.

    Parameters
    ----------
    fin : Piece
        The fins.
    how : {"flutter", "bending"}
        Of what.
    """

    fin: Piece
    how: Literal["flutter", "bending"]

    @property
    def key(self) -> str:
        """Name it, as its margin and its flights are kept."""
        return f"{self.how} of {self.fin.name}"


@dataclass(frozen=True, slots=True)
class Case:
    """Something that can happen to a flight.

    Parameters
    ----------
    name : str
        What happens, in the trade's words.
    likelihood : float
        That of its cause, in the flights that this case is about.
    probability : float
        Its share of all flights; 0 before flying.
    rare : bool
        Whether it happens to so few flights, however likely its cause is said to be, that
        it is counted but not judged by itself.
    release : Release
        When the bodies are let go.
    bodies : tuple of Body
        What comes down.
    cause : str
        The name under which the flight file gives the likelihood.
    only : tuple of Opening, or Breaks
        Which flights it happens to, given its cause: as likely as the openings all end so
        (all flights when empty), or those whose fins have more than they stand.
    any_way : bool
        Whether it may leave in any direction, as a rocket that goes off its path under
        power. Such a case is judged by its risk and by the distance people keep, not by
        where most of it comes down.
    seldom : bool
        Whether one in `SELDOM` flights is enough to know it by.
    ahead : bool
        Whether it happens no later than fins break of themselves, so that fins which break
        make it no rarer.
    """

    name: str
    release: Release
    bodies: tuple[Body, ...]
    cause: str = ""
    only: tuple[Opening, ...] | Breaks = ()
    seldom: bool = False
    ahead: bool = False
    likelihood: float = 0.0
    probability: float = 0.0
    any_way: bool = False
    rare: bool = False


@dataclass(frozen=True, slots=True)
class CaseTree:
    """All cases of a flight and the inputs they draw.

    Parameters
    ----------
    cases : tuple of Case
        The case in which recovery works first.
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
