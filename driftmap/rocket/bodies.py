"""What falls and how: the drag of rocket, cloth and loose pieces, with their spreads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import log, pi, sqrt
from typing import Final

from driftmap.core.errors import FlightError
from driftmap.core.spread import Spread
from driftmap.formulas.canopies import GLIDE, drag_spread, streamer_spread
from driftmap.formulas.drag import PLATE_SHARE, plate_glide
from driftmap.formulas.strength import STRENGTH_SPREAD, UNSTATED_SPREAD, Strengths
from driftmap.rocket.airframe import GUESSED_DRAG
from driftmap.rocket.case import Body, Stage
from driftmap.rocket.fields import Trigger, Uncertain
from driftmap.rocket.flight import Flight
from driftmap.rocket.opening_order import by_opening, size_rank
from driftmap.rocket.pieces import Piece
from driftmap.rocket.stages import Device

CROSSFLOW_DRAG: Final = 1.1
"""Drag coefficient of a long cylinder across the flow, on length times diameter, below the
critical Reynolds number (from memory: Hoerner, *Fluid-Dynamic Drag*, 1965, ch. 3)."""

TUMBLE: Final = Spread(
    "uniform", 4 / (3 * pi), 1.0, "a tumbling body: end over end to flat"
)
"""Share of the broadside drag of a tumbling cylinder: 4/(3π) end over end in a plane that
holds the airstream (mean of sin³ of the angle), 1 in a flat spin. Range assumed between."""

HANG: Final = Spread(
    "uniform",
    0.03,
    1.0,
    "a rocket that hangs under its main canopy: end on to the air to lying across it",
)
"""Share of the broadside drag of a rocket in its parts under a canopy that holds them up: what
hangs from one end shows that end alone, 0.03 of it at 20 diameters of length (0.9 on the
face, *Aeronautical Engineer's Data Book*, fig. 5.13(b)). Range assumed between."""

HUNG: Final = ("tumbling", "hanging")
"""Inputs that give the rocket's own drag beside that of what is open."""

PLATE_DRAG: Final = 1.17
"""Drag coefficient of a square plate across the flow, on its face (*Aeronautical
Engineer's Data Book*, fig. 5.13(b))."""

_TUMBLING_DRAG: Final = 0.74
"""Drag coefficient of a tumbling nose cone or motor case on its mean projected area: a
cylinder of length 5 diameters across the flow (*Aeronautical Engineer's Data Book*, fig.
5.13(b))."""

_TIP_FIRST_DRAG: Final = 0.2
"""Drag coefficient of a nose cone that falls tip first, on its base. Assumed."""

_CLOTH_MASS: Final = 0.10
"""Mass of a canopy or streamer with its lines for each m² of cloth [kg m⁻²]. Common
practice, no source: ripstop cloth near 0.065 kg/m² and half as much in lines and hem."""

EMPTY: Final = Spread("uniform", 0.2, 1.0, "20 to 100 % of the drag it has under load")

_CLOTH: Final = "ripstop nylon"  # of a canopy whose cloth is not stated; assumed

Drag = tuple[float, str]


def _log_spread(share: float) -> float:
    """Turn a relative standard deviation into that of the logarithm."""
    return sqrt(log(1 + share * share))


def normal(given: Uncertain | Trigger, spread: float, note: str = "") -> Spread:
    """Spread a stated figure as its file says, or else by so much, which is noted."""
    if given.spread is not None:
        return Spread("normal", given.value, given.spread)
    return Spread("normal", given.value, spread, note)


@dataclass
class Bench:
    """The flight on the bench while its cases are put together.

    Parameters
    ----------
    flight : Flight
        The flight as planned.
    spreads : dict of str to Spread
        Inputs named so far.
    assumed : list of str
        What they assume, a sentence each.
    drag : str
        Input that gives its drag coefficient nose first.
    """

    flight: Flight
    spreads: dict[str, Spread] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)
    drag: str = "drag coefficient"

    def need(self, name: str, spread: Spread, what: str = "") -> str:
        """Register an input and note what it assumes."""
        if name not in self.spreads:
            self.spreads[name] = spread
            if spread.assumed:
                self.note(f"{what or name}: {spread.assumed} (assumed)")
        return name

    def note(self, sentence: str) -> None:
        """Note an assumption once."""
        if sentence not in self.assumed:
            self.assumed.append(sentence)

    def devices(self) -> list[Device]:
        """List the devices in the order in which they open."""
        return by_opening(self.flight)

    def largest(self) -> Device:
        """Return the canopy with the most cloth; a streamer where there is none."""
        return max(self.devices(), key=size_rank)

    def cloth_mass(self, device: Device) -> float:
        """Return the mass of a device with its lines [kg]."""
        if device.mass is not None:
            return device.mass
        mass = _CLOTH_MASS * device.cloth_area
        self.note(
            f"{device.name}: mass {mass * 1000:.0f} g from its cloth area (assumed)"
        )
        return mass

    def cloth(self, device: Device) -> Drag:
        """Return the drag of an open device."""
        given = device.given_drag()
        if given is None and device.kind == "canopy":
            spread = drag_spread(device.drag_like)
        elif given is None:
            size = device.length or 0.0, device.width or 0.0
            spread = streamer_spread(*size, _CLOTH_MASS)
        elif given.spread is None:
            share = 0.10 if device.kind == "canopy" else 0.20
            note = f"spread {share:.0%} of its drag"
            spread = Spread("lognormal", given.value, _log_spread(share), note)
        else:
            share = given.spread / given.value
            spread = Spread("lognormal", given.value, _log_spread(share))
        return device.cloth_area, self.need(f"{device.name} drag", spread, device.name)

    def tumbling(self) -> Drag:
        """Return the drag of the tumbling rocket."""
        return self._broad, self.need(HUNG[0], TUMBLE, "falling rocket")

    def under(self, device: Device, hung: Sequence[Drag]) -> tuple[Drag, ...]:
        """Return the drag of what has hung so far, and of a device that is open beside it.

        Under its main canopy the rocket tumbles no more: its parts hang from their cord.
        """
        before = tuple(hung)
        if device.kind == "canopy" and device is self.largest():
            own = self._broad, HUNG[1]
            before = tuple(
                own if name == HUNG[0] else (area, name) for area, name in hung
            )
            if own in before:
                self.need(HUNG[1], HANG)
        return *before, self.cloth(device)

    @property
    def _broad(self) -> float:
        """Drag area of the rocket broadside on [m²]."""
        frame = self.flight.falling
        return CROSSFLOW_DRAG * frame.length * frame.diameter

    def tumble(self) -> Stage:
        """Let the rocket tumble to the ground."""
        return Stage((self.tumbling(),))

    def unopened(self) -> Stage:
        """Let the rocket fall as it does when nothing opens, to the ground."""
        descent = self.flight.descent
        tumbles = descent is not None and descent.planned == "tumbling"
        return self.tumble() if tumbles else self.nose_first()

    def nose_first(self) -> Stage:
        """Let the rocket fall nose first to the ground."""
        drag = (self.flight.falling.cross_section, self.drag)
        return Stage((drag,), nose_first=True)

    def loose(self, piece: Piece) -> Body:
        """Let a piece that has come off fall to the ground as its shape makes it."""
        what, glide = f"loose {piece.name}", ""
        for number in range(1, piece.count + 1):
            spread = self.piece_drag(piece)
            if number > 1:  # told once
                spread = replace(spread, assumed="")
            self.need(f"{piece.name} {number} drag", spread, what)
            if piece.kind == "fin":
                glides = plate_glide(piece.fin_area, piece.mass)
                glides = glides if number == 1 else replace(glides, assumed="")
                self.need(f"{piece.name} {number} glide", glides, what)
                glide = f"{piece.name} {{n}} glide"
        drag = (1.0, f"{piece.name} {{n}} drag")
        stage = Stage((drag,), glide=glide, per_sink=bool(glide))
        largest, rim = piece.largest_area, piece.rim
        return Body(piece.name, piece.mass, (stage,), largest, piece.count, rim=rim)

    def piece_drag(self, piece: Piece) -> Spread:
        """Return the drag area of a loose piece [m²]."""
        if piece.kind == "fin":
            face = PLATE_DRAG * piece.fin_area
            share = PLATE_SHARE
            return Spread(
                "uniform", share.first * face, share.second * face, share.assumed
            )
        tumbling = _TUMBLING_DRAG * piece.mean_projected_area
        if piece.kind == "nose cone":
            across = pi * (piece.diameter or 0.0) ** 2 / 4
            note = "falls anyhow from tip first, as ballast makes it, to tumbling"
            return Spread("loguniform", _TIP_FIRST_DRAG * across, tumbling, note)
        return Spread("lognormal", tumbling, 0.25, "spread 25 % of its drag area")

    def empty(self, device: Device, before: tuple[Stage, ...]) -> Body:
        """Let a device that has torn off drift away empty."""
        area, drag = self.cloth(device)
        share = self.need("empty cloth", EMPTY, "torn-off canopy")
        stage = Stage(((area * self.spreads[drag].middle, share),))
        mass = self.cloth_mass(device)
        return Body(device.name, mass, (stage,), area, before=before)

    def glide(self, device: Device) -> str:
        """Name the input for the glide of what hangs on a device, whatever opens beside it.

        Only the largest device glides: below a drogue the rocket tumbles.
        """
        if device.kind != "canopy" or device.glide == 0 or device is not self.largest():
            return ""
        spread = GLIDE if device.glide is None else Spread("uniform", 0.0, device.glide)
        return self.need(f"{device.name} glide", spread, device.name)

    def strengths(self, device: Device) -> Strengths:
        """Return the strength of each link of a device that can give.

        A canopy whose own is not stated has that of its cloth, widely spread, whatever is
        stated of what it hangs on; that is taken to hold as much where it is not stated.
        """
        if device.kind != "canopy":
            return {}
        given = {str(k): (v, STRENGTH_SPREAD) for k, v in device.strength.items()}
        if "canopy" in given:
            return given
        cloth = device.cloth or _CLOTH
        force = device.strength_of(cloth)
        self.note(
            f"{device.name}: gives at {force:,.0f} N or so, one in six below 60 % of it, as "
            f"{cloth} of its size; "
            f"{'what else is not stated holds' if given else 'cord and attachment hold'} as "
            "much (assumed)"
        )
        return {"canopy": (force, UNSTATED_SPREAD), **given}

    def weakened(self, device: Device, share: str) -> Drag:
        """Return the drag of a device that keeps only a share of it."""
        area, drag = self.cloth(device)
        return area * self.spreads[drag].middle, share

    def rocket(
        self,
        *stages: Stage,
        less: float = 0.0,
        before: tuple[Stage, ...] = (),
        unlit: bool = False,
    ) -> Body:
        """Return the rocket after the burn, less the mass that came off [kg]."""
        frame = self.flight.falling
        mass = self.flight.dry_mass - less
        if mass <= 0:
            raise FlightError(
                self.flight.source,
                "recovery",
                f"what comes off (devices and pieces, as stated or assumed) weighs "
                f"{less:.3g} kg, no less than the {self.flight.dry_mass:.3g} kg that come "
                "down after the burn; a mass of theirs is stated too great, or too great "
                "a one assumed where none is stated",
            )
        across, rim = frame.length * frame.diameter, 0.0
        # What neither the main canopy nor its fins hold upright comes down lying across.
        main = self.largest() if self.flight.recovery else None
        small = (d for d in self.flight.recovery if d.kind != "canopy" or d is not main)
        flat = {HUNG[0], *(f"{device.name} drag" for device in small)}
        if flat.issuperset(name for _, name in stages[-1].drag):
            rim = 2 * (frame.length + frame.diameter)
        return Body("rocket", mass, stages, across, before=before, unlit=unlit, rim=rim)


def bench_of(flight: Flight) -> Bench:
    """Put a flight on the bench, with its drag nose first."""
    bench = Bench(flight)
    given = flight.falling.drag_coefficient
    if given is GUESSED_DRAG:
        share = (given.spread or 0.0) / given.value
        note = f"{given.value:g}, 0.35 to 0.75 being usual, spread {share:.0%}"
        guess = Spread("lognormal", given.value, _log_spread(share), note)
        bench.need("drag coefficient", guess, "nose-first drag coefficient")
        return bench
    spread = normal(given, 0.10 * given.value, "spread 10 %").above_zero()
    bench.need("drag coefficient", spread, "nose-first drag coefficient")
    return bench
