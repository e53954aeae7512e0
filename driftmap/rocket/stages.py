"""What drives a rocket and brings it down: motors, devices, and how its stages part."""

from __future__ import annotations

from math import pi, sqrt
from typing import Annotated, Final, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from driftmap.formulas.canopies import CANOPIES, STREAMER_RANGE, UNTOLD, nominal_drag
from driftmap.formulas.strength import CLOTHS, LINKS, canopy_strength
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.fields import (
    AreaSize,
    Coefficient,
    Delay,
    Force,
    Glide,
    Impulse,
    Length,
    Mass,
    Name,
    OneOf,
    TriggerAt,
    Uncertain,
    UncertainTime,
)
from driftmap.rocket.pieces import Piece, Table

BOOSTER: Final = "booster"
"""Name of the piece that the lower stage is."""


BURNS: Final = 0.05
"""Share of its greatest thrust from and to which a motor is said to burn (NFPA 1125, from
memory)."""


MOTOR_SPREAD: Final = 0.05
"""Spread of impulse and burn time of one certified motor from the next: assumed, within the
6.7 % that NFPA 1125 allows the impulse (from memory)."""

OWN_SPREAD: Final = 0.10
"""The same of motors that are home-made or experimental: assumed, twice as much."""


class Motor(Table):
    """The motor: thrust against time, and the propellant it burns.

    Parameters
    ----------
    propellant_mass : float
        Propellant burned [kg].
    total_impulse : Uncertain
        Total impulse [N s].
    burn_time : Uncertain
        Burn time [s].
    times, thrusts : tuple of float
        Thrust curve [s], [N]; constant thrust when empty.
    count : int
        Number of motors, for the safe distance; thrust, impulse and propellant are those
        of all together. Flown as one when left out, and asked.
    stages : int
        Number of stages, for the safe distance; two are flown where `Sustainer` is given.
    own : bool
        Whether it is home-made or experimental: one differs more from the next, and bursts
        more often.
    """

    propellant_mass: Mass
    total_impulse: Impulse
    burn_time: UncertainTime
    times: tuple[float, ...] = ()
    thrusts: tuple[float, ...] = ()
    count: Annotated[int, Field(ge=1, le=50)] = 1
    stages: Annotated[int, Field(ge=1, le=5)] = 1
    own: bool = False

    @property
    def spread(self) -> float:
        """How much impulse and burn time differ from one to the next, where no file says."""
        return OWN_SPREAD if self.own else MOTOR_SPREAD

    @property
    def counted(self) -> bool:
        """Whether the file tells how many motors there are."""
        return "count" in self.model_fields_set

    @property
    def average_thrust(self) -> float:
        """Impulse over the time at which motors are certified to burn [N].

        From the first to the last moment at `BURNS` of the greatest thrust: what a curve
        has before and behind that stretches nothing.
        """
        impulse = self.total_impulse.value
        if not self.times:
            return impulse / self.burn_time.value
        level = BURNS * max(self.thrusts)
        strong = [i for i, thrust in enumerate(self.thrusts) if thrust >= level]
        begins = self._reaches(level, strong[0] - 1, strong[0])
        return impulse / (self._reaches(level, strong[-1] + 1, strong[-1]) - begins)

    def _reaches(self, level: float, below: int, above: int) -> float:
        """Return when thrust passes a level between two neighbouring points [s]."""
        if not 0 <= below < len(self.times):
            return self.times[above]
        low, high = self.thrusts[below], self.thrusts[above]
        share = (level - low) / (high - low)
        return self.times[below] + share * (self.times[above] - self.times[below])


class Device(Table):
    """A recovery device.

    Parameters
    ----------
    name : str
        What the flier calls it.
    kind : {"canopy", "streamer"}
        What it is.
    opens_at : Trigger
        What lets it go.
    type : str
        Canopy: a key of `driftmap.formulas.canopies.CANOPIES`; flat circular when left out,
        with the drag of any flat sheet.
    diameter, area : float, optional
        Canopy: nominal (laid flat) diameter [m] or cloth area [m²], exactly one.
    spill_hole : float, optional
        Canopy: diameter of the hole at its top [m].
    length, width : float, optional
        Streamer: its length and width [m].
    drag_coefficient : Uncertain, optional
        A published range when left out.
    drag_on : {"cloth", "inflated"}
        Area the coefficient was quoted on: all the cloth, or the inflated mouth.
    mass : float, optional
        Mass of the device with its lines [kg].
    opening_delay : Uncertain, optional
        From the trigger until it is open [s].
    glide : float, optional
        Greatest speed at which the open canopy glides through the air, any way [m s⁻¹].
    strength : mapping of str to float
        Load at which each link gives [N]: canopy, lines (all together), cord, attachment.
    cloth : str, optional
        Canopy: a key of `driftmap.formulas.strength.CLOTHS`, which gives a strength where
        none is stated.
    """

    name: Name
    kind: Literal["canopy", "streamer"]
    opens_at: TriggerAt
    type: Annotated[str, AfterValidator(OneOf(tuple(CANOPIES)))] = "flat circular"
    diameter: Length | None = None
    area: AreaSize | None = None
    spill_hole: Length | None = None
    length: Length | None = None
    width: Length | None = None
    drag_coefficient: Coefficient | None = None
    drag_on: Literal["cloth", "inflated"] = "cloth"
    mass: Mass | None = None
    opening_delay: Delay | None = None
    glide: Glide | None = None
    strength: dict[Literal["canopy", "lines", "cord", "attachment"], Force] = Field(
        default_factory=dict
    )
    cloth: Annotated[str, AfterValidator(OneOf(tuple(CLOTHS)))] | None = None

    @model_validator(mode="after")
    def _sized(self) -> Self:
        flat, round_ = self.told("length", "width"), self.told("diameter", "area")
        if self.kind == "canopy" and (flat or len(round_) != 1):
            raise ValueError("a canopy needs exactly one of diameter, area")
        if self.kind == "streamer" and (round_ or len(flat) != 2 or self.spill_hole):
            raise ValueError("a streamer needs length and width")
        if self.kind == "streamer" and (
            self.strength or self.cloth or self.drag_on != "cloth"
        ):
            raise ValueError("strength, cloth and drag_on are for canopies")
        if self.spill_hole is not None and self.spill_hole > self.nominal_diameter / 2:
            raise ValueError("spill_hole must not exceed half the diameter")
        return self

    @property
    def cloth_area(self) -> float:
        """Area of the cloth, one side, without a spill hole [m²]."""
        if self.kind == "streamer":
            return float((self.length or 0.0) * (self.width or 0.0))
        whole = (
            self.area if self.area is not None else pi * (self.diameter or 0.0) ** 2 / 4
        )
        return whole - pi * (self.spill_hole or 0.0) ** 2 / 4

    @property
    def bare_cloth(self) -> float:
        """Mass of the named cloth without hem and lines [kg m⁻²]; none where none is named."""
        return CLOTHS[self.cloth].mass if self.cloth else 0.0

    @property
    def nominal_diameter(self) -> float:
        """Diameter of the flat circle of that area, hole and all [m]."""
        return (
            self.diameter
            if self.diameter is not None
            else sqrt(4 * (self.area or 0) / pi)
        )

    def given_drag(self) -> Uncertain | None:
        """Return the drag coefficient as stated, on the cloth's area."""
        given = self.drag_coefficient
        if given is None or self.drag_on == "cloth":
            return given
        low, high = CANOPIES[self.type].inflated
        factor = float(nominal_drag(1.0, sqrt(low * high)))
        spread = None if given.spread is None else given.spread * factor
        return Uncertain(given.value * factor, spread)

    @property
    def drag_like(self) -> str:
        """Type of canopy that tells its drag: any flat sheet's, where neither type nor drag is told."""
        told = "type" in self.model_fields_set or self.drag_coefficient is not None
        return self.type if told else UNTOLD

    @property
    def published_drag(self) -> tuple[float, float]:
        """Range of its drag coefficient on the cloth, as published or assumed."""
        if self.kind == "streamer":
            return STREAMER_RANGE
        return CANOPIES[self.drag_like].drag

    @property
    def usual_drag(self) -> float:
        """Drag coefficient on the cloth: as stated, or the middle of what is published."""
        given, (low, high) = self.given_drag(), self.published_drag
        return sqrt(low * high) if given is None else given.value

    @property
    def every_strength(self) -> bool:
        """Whether the strength of all its links is stated."""
        return self.strength.keys() == set(LINKS)

    def strength_of(self, cloth: str) -> float:
        """Return the load at which a canopy as wide as this of some cloth gives [N]."""
        return float(canopy_strength(cloth, self.nominal_diameter))


class Descent(Table):
    """How a rocket without recovery comes down, where that is the plan.

    Parameters
    ----------
    planned : {"nose first", "tumbling"}
        How it falls.
    """

    planned: Literal["nose first", "tumbling"]


def one_way_down(recovery: tuple[Device, ...], descent: Descent | None) -> None:
    """Refuse both ways of coming down, and neither."""
    if bool(recovery) == (descent is not None):
        raise ValueError(
            "needs [[recovery]], or, where none is planned, [descent] with planned = "
            '"nose first" or "tumbling"; not both'
        )


class Sustainer(Airframe):
    """The upper stage, from the moment the stages part.

    Parameters
    ----------
    motor : Motor
        Its motor, which lights in the air.
    ignition : Uncertain
        From parting until it lights [s].
    separation : Uncertain, optional
        From burn-out of the booster until the stages part [s]; 0 to 1 s when left out.
    """

    motor: Motor
    ignition: Delay
    separation: Delay | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.mass.spread is not None:
            raise ValueError(
                "mass takes no spread here: that of airframe.mass counts for both stages"
            )
        if self.motor.stages != 1:
            raise ValueError("motor.stages belongs to the first motor")
        if self.motor.propellant_mass >= self.mass.value:
            raise ValueError("mass must exceed motor.propellant_mass")
        return self


class Booster(Table):
    """The lower stage as it falls away; its mass is what sustainer and propellant leave.

    Parameters
    ----------
    length : float, optional
        Its length [m]; what the sustainer leaves of the whole when left out.
    recovery : tuple of Device
        Its devices; ``[[booster.recovery]]`` in the file.
    descent : Descent or None
        How it falls without any; tumbling when nothing is said.
    pieces : tuple of Piece
        Its fins, which can come off; ``[[booster.piece]]`` in the file.
    """

    length: Length | None = None
    pieces: Annotated[tuple[Piece, ...], Field(alias="piece", max_length=4)] = ()
    recovery: Annotated[tuple[Device, ...], Field(max_length=4)] = ()
    descent: Descent | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.recovery and self.descent:
            raise ValueError("needs recovery or descent, not both")
        if any(piece.kind != "fin" for piece in self.pieces):
            raise ValueError('a piece of it must be of the kind "fin"')
        return self


class AirStart(Table):
    """Motors of the same airframe that light in the air, after the first have burnt out.

    Parameters
    ----------
    motor : Motor
        They, all together.
    ignition : Uncertain
        From burn-out of the first until they light [s].
    """

    motor: Motor
    ignition: Delay
