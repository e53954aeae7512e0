"""What a file claims of pieces that come off, and of a motor that bursts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from driftmap.rocket.flight import Flight
from driftmap.rocket.pieces import Piece
from driftmap.verdict.claim import MEMORY, Claim

_BREAKS: Final = 0.5  # MPa, the softest plastics; from memory
_FINS: Final = (0.2, 100.0)  # kg/m², balsa of 1.5 mm to aluminium of 30 mm; assumed

_CONE, _TUBE = 0.26, 0.79
"""Volume over length and diameter squared."""

_SHELL: Final = (15.0, 9000.0)
"""Mass of a nose cone or a motor case over its volume [kg m⁻³]: a hollow shell of thin
plastic to solid steel; assumed."""

_OF_ALL: Final = {
    "nose cone": (0.01, 0.5),
    "motor case": (0.01, 0.7),
    "fin": (0.003, 0.2),
}
"""Mass of a piece, or of one fin, over all that comes down without propellant; assumed. Those
of the invented rockets of the examples lie at some 0.07 and 0.02."""

_WIDE: Final = {"nose cone": (0.7, 1.3), "motor case": (0.1, 1.05)}
_LONG: Final = {"nose cone": (0.02, 0.5), "motor case": (0.02, 0.8)}
"""Diameter and length of a piece over those of the body that it sits on or in: heads wider than
it are rare, and what is larger than the rocket is a slip of either; assumed."""

_TAPER: Final = (0.0, 1.2)  # tip over root; wider ones are rarely made: common practice
_FIN: Final = (0.005, 0.6)
"""Area of a fin over the body's seen from the side; 0.08 to 0.3 of the invented rockets of the
examples, margins assumed."""

_STAGE: Final = {"diameter": (0.3, 1.05), "length": (0.1, 0.9)}
_TOGETHER: Final = (0.8, 1.3)
"""Size of a stage over that of both as they stand, and the two lengths together over it: a
coupling counts in both; assumed."""

_ALIKE: Final = (0.25, 3.0)
"""Density of one stage over the other's, the booster's without what it burns; assumed."""

_STIFF: Final = 0.1  # GPa, soft plastics, and a margin; assumed
_STIFFER: Final = 2.0
"""Stiffness or strength that a file tells of a fin, over the greatest of what is as dense: what is
stiff is dense, and steel fins are not flown. Carbon laid askew for shear is as stiff; assumed."""

_GIVES: Final = (2.0, 60.0)
"""Pressure at which a motor's case gives [MPa]: two to four times the 2 to 10 that motors
burn at (from memory); paper and steel, and a margin, assumed."""

_SHARD: Final = (0.5, 200.0)  # kg/m², paper of 1 mm to steel of 25 mm; assumed

_THROWN: Final = (0.1, 10.0)
"""Mass of all fragments over that of the propellant: cases weigh about as much as it, and of
one a part stays whole; assumed."""

_OF_THE_ROCKET: Final = 0.35
"""Mass of all fragments over all of the rocket without propellant: a case is rarely a third; assumed."""

_FREE: Final = (0.1, 20.0)
"""Free volume of a motor over its propellant [l kg⁻¹]: the port of a fresh grain to an empty
case, at 1.7 kg per litre of propellant (from memory), with margins; assumed."""

_PACKED: Final = (300.0, 1900.0)
"""Propellant over the volume of the case it burns in [kg m⁻³]: some 1,700 of the grain itself (from
memory), a good half of which fills a case; margins assumed."""

_LEAST_FINS: Final = 3  # fewer are a slip: common practice, no source


def piece_claims(flight: Flight) -> Iterator[Claim]:
    """List what a file says of fins, nose cones and motor cases."""
    for of, listed in (("", flight.pieces), (" of the booster", flight.booster_fins)):
        fins = [piece for piece in listed if piece.kind == "fin"]
        if fins:
            count = float(sum(fin.count for fin in fins))
            yield Claim(f"number of fins{of} listed", count, (_LEAST_FINS, 50.0))
    falls, both = flight.falling, flight.airframe
    own = (flight.dry_mass, falls.diameter, falls.length)
    # A booster's fins carry both stages: a short one may be smaller than its fins.
    low = (flight.booster_mass, both.diameter, both.length)
    for piece, (whole, across, along) in (
        *((piece, own) for piece in flight.pieces),
        *((piece, low) for piece in flight.booster_fins),
    ):
        yield _weight(piece)
        yield from _sizes(piece, across, along)
        if piece.kind == "fin" and piece.thickness is not None:
            yield _density(piece, piece.thickness)
        what = f"mass of {piece.name} over all of the rocket without propellant"
        common = _OF_ALL[piece.kind]
        yield Claim(what, piece.mass / whole, common, by_hand=True)
        yield from _stands(piece)


def case_claims(flight: Flight) -> Iterator[Claim]:
    """Hold propellant against the case it burns in, where there is one motor and one case."""
    cases = [piece for piece in flight.pieces if piece.kind == "motor case"]
    motors = flight.motors[-1:] if flight.sustainer else flight.motors
    if len(cases) != 1 or len(motors) != 1:
        return
    (case,), (motor,) = cases, motors
    across, along = case.diameter or 1.0, case.length or 1.0
    one = motor.propellant_mass / motor.count
    what = "propellant of a motor over the volume of its case"
    dense = one / (_TUBE * across**2 * along)
    yield Claim(what, dense, _PACKED, "kg/m³", MEMORY, by_hand=True)


def stage_claims(flight: Flight) -> Iterator[Claim]:
    """List the sizes of stages beside those of both together, which no stage exceeds."""
    upper, both = flight.sustainer, flight.airframe
    if upper is None:
        return
    lower = _booster_length(flight)
    for what, size, of, share in (
        ("diameter of the sustainer", upper.diameter, both.diameter, "diameter"),
        ("length of the sustainer", upper.length, both.length, "length"),
        ("length of the booster", lower, both.length, "length"),
    ):
        told = f"{what} over that of both stages"
        yield Claim(told, size / of, _STAGE[share], by_hand=True)
    whole = flight.booster_mass / (both.cross_section * max(lower, 1e-3))
    above = upper.mass.value / (upper.cross_section * upper.length)
    what = "mass of the booster over its volume, over the sustainer's"
    yield Claim(what, whole / above, _ALIKE, by_hand=True)
    what = "lengths of sustainer and booster over that of both stages"
    long = (upper.length + lower) / both.length
    yield Claim(what, long, _TOGETHER, by_hand=True)


def _booster_length(flight: Flight) -> float:
    """Length of the lower stage as told, or what the upper one leaves [m]."""
    told = flight.booster_length
    return flight.airframe.length - flight.falling.length if told is None else told


def _sizes(piece: Piece, across: float, along: float) -> Iterator[Claim]:
    """Hold a piece's size against that of the body it sits on or in, either of which may slip."""
    if piece.kind == "fin":
        what = f"area of {piece.name} over the body's from the side"
        share = piece.fin_area / (across * along)
        yield Claim(what, share, _FIN, by_hand=True)
        if piece.root:
            taper = (piece.tip or 0.0) / piece.root
            told = f"tip of {piece.name} over its root"
            yield Claim(told, taper, _TAPER, by_hand=True)
        return
    for what, size, of, common in (
        ("diameter", piece.diameter or 0.0, across, _WIDE),
        ("length", piece.length or 0.0, along, _LONG),
    ):
        told = f"{what} of {piece.name} over the body's"
        yield Claim(told, size / of, common[piece.kind], by_hand=True)


def _weight(piece: Piece) -> Claim:
    if piece.kind == "fin":
        dense = piece.mass / piece.fin_area
        what = f"mass of {piece.name} over its area"
        return Claim(what, dense, _FINS, "kg/m²", by_hand=True)
    across, along = piece.diameter or 1.0, piece.length or 1.0
    share = _CONE if piece.kind == "nose cone" else _TUBE
    dense = piece.mass / (across**2 * along * share)
    what = f"mass of {piece.name} over its volume"
    return Claim(what, dense, _SHELL, "kg/m³", by_hand=True)


def _density(fin: Piece, thickness: float) -> Claim:
    """Hold a fin's mass against its size: a digit of its thickness is a factor in its flutter."""
    what = f"density of {fin.name} by mass, area and thickness"
    dense = fin.mass / (fin.fin_area * thickness)
    return Claim(what, dense, fin.densities, "kg/m³", MEMORY)


def _stands(piece: Piece) -> Iterator[Claim]:
    """Hold what a file tells a piece stands against what is as dense, or is named."""
    stiff, strong, layers = piece.strongest
    for what, told, most, unit, size, least in (
        ("shear modulus", piece.shear_modulus, stiff, "GPa", 1e9, _STIFF),
        ("strength", piece.strength, strong, "MPa", 1e6, _BREAKS),
        ("strength", piece.layer_strength, layers, "MPa", 1e6, _BREAKS),
    ):
        if told is not None:
            common = (least, max(least, _STIFFER * most / size))
            yield Claim(f"{what} of {piece.name}", told / size, common, unit, MEMORY)


def burst_claims(flight: Flight) -> Iterator[Claim]:
    """List what a file says of a motor that bursts."""
    burst, motor = flight.burst, flight.motor
    if burst is None:
        return
    pressure = burst.pressure / 1e6
    yield Claim("pressure at which the motor bursts", pressure, _GIVES, "MPa", MEMORY)
    share = burst.fragments * burst.fragment_mass / flight.dry_mass
    what = "share of the rocket without propellant that flies as fragments"
    yield Claim(what, share, (0.0, _OF_THE_ROCKET))
    dense = burst.fragment_mass / burst.fragment_area
    yield Claim("mass of a fragment over its area", dense, _SHARD, "kg/m²")
    if motor is not None:
        thrown = burst.fragments * burst.fragment_mass / motor.propellant_mass
        yield Claim("mass of all fragments over the propellant's", thrown, _THROWN)
        free = burst.volume / motor.propellant_mass * 1e3
        what = "free volume of the motor over its propellant"
        yield Claim(what, free, _FREE, "l/kg")
