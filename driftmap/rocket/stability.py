"""How steady a rocket is: static margin, normal force and inertia, stated, computed or assumed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from driftmap.core.errors import FlightError
from driftmap.core.spread import Spread
from driftmap.formulas.drag import NOSE_CENTRE, NOSE_SLOPE, fin_centre, fin_slope
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import Flight
from driftmap.rocket.pieces import Piece

_MARGIN: Final = Spread("uniform", 1.0, 3.0, "1 to 3 calibres")
"""Static margin where it is neither stated nor computed [calibres]. Assumed: what most
fliers aim for (common practice, no source)."""

_LIFT_SLOPE: Final = Spread("uniform", 8.0, 20.0, "8 to 20 for each radian")
"""Slope of the normal force where no fin has its shape [rad⁻¹]. Assumed: three or four fins
of a span of 0.8 to 1.5 diameters."""

INERTIA: Final = Spread(
    "uniform", 0.8, 1.4, "0.8 to 1.4 times that of a rod of its mass and length"
)
"""Moment of inertia over mass times length squared over 12. Assumed: motor and nose weight
lie at the ends, which is more than a rod has; heavy bays in the middle are less."""

_ARM: Final = Spread(
    "uniform", 0.3, 0.5, "as if fins, nose and nozzle were 0.3 to 0.5 lengths away"
)
"""Distance from the centre of mass at which air and jet damp the swing, in lengths. Assumed:
fins and nozzle lie about 0.4 lengths behind the centre of mass, the nose 0.5 before it."""

_SHORT_NOSE: Final = 4.0  # diameters; assumed where no nose cone is listed
_FEW: Final = 3  # fewer fins than this are no set that formulas hold for


@dataclass(frozen=True, slots=True)
class Balance:
    """How steady a rocket is.

    Parameters
    ----------
    spreads : mapping of str to Spread
        ``"static margin"`` [calibres], ``"normal-force slope"`` [rad⁻¹], ``"moment of
        inertia"`` [kg m²] at the planned mass, and ``"swing damping"``, its arm [m].
    known : bool
        Whether the margin was stated or could be computed.
    assumed : tuple of str
        What was assumed, a sentence each.
    """

    spreads: Mapping[str, Spread]
    known: bool
    assumed: tuple[str, ...]

    @property
    def margin(self) -> tuple[float, float, float]:
        """Static margin: low, middle and high [calibres], two standard deviations apart."""
        spread = self.spreads["static margin"]
        if spread.kind == "uniform":
            return spread.first, spread.middle, spread.second
        reach = 2 * spread.second
        return spread.first - reach, spread.first, spread.first + reach


def balance(flight: Flight, *, sustainer: bool = False) -> Balance:
    """Work out how steady a flight's rocket is.

    ``flight``: the flight as planned; ``sustainer``: whether its upper stage by itself;
    fins and pieces listed are those of it.

    Result: stated where the file states it, computed where fins and centre of mass
    allow it, else assumed.
    """
    return _Bench(flight, sustainer=sustainer).balance()


@dataclass
class _Bench:
    """The rocket on the bench."""

    flight: Flight
    sustainer: bool = False
    assumed: list[str] = field(default_factory=list)

    @property
    def frame(self) -> Airframe:
        return self.flight.falling if self.sustainer else self.flight.airframe

    def balance(self) -> Balance:
        frame = self.frame
        fins = self._fins()
        slope = self._slope(fins)
        margin, known = self._margin(fins)
        rod = frame.mass.value * frame.length**2 / 12
        inertia = self._given("moment of inertia", frame.moment_of_inertia, 0.10)
        if inertia is None:
            inertia = self._default("moment of inertia", INERTIA, rod)
        inertia = inertia.above_zero()
        spreads = {
            "static margin": margin,
            "normal-force slope": slope,
            "moment of inertia": inertia,
            "swing damping": self._default("swing damping", _ARM, frame.length),
        }
        return Balance(spreads, known, tuple(self.assumed))

    def _fins(self) -> list[Piece]:
        """List the fins, if all have their shape and they are enough to be computed.

        Those of a booster are not listed, so both stages together are not computed.
        """
        if self.flight.sustainer is not None and not self.sustainer:
            return []
        fins = [piece for piece in self.flight.pieces if piece.kind == "fin"]
        if sum(fin.count for fin in fins) < _FEW or any(not fin.span for fin in fins):
            return []
        return fins

    def _given(self, name: str, given: Uncertain | None, share: float) -> Spread | None:
        if given is None:
            return None
        if given.spread is None:
            self.assumed.append(f"{name}: spread {share:.0%} (assumed)")
        sd = share * abs(given.value) if given.spread is None else given.spread
        return Spread("normal", given.value, sd)

    def _default(self, name: str, spread: Spread, unit: float = 1.0) -> Spread:
        self.assumed.append(f"{name}: {spread.assumed} (assumed)")
        return Spread(
            "uniform", unit * spread.first, unit * spread.second, spread.assumed
        )

    def _slope(self, fins: list[Piece]) -> Spread:
        given = self._given("normal-force slope", self.frame.lift_slope, 0.10)
        if given is not None:
            return given.above_zero()
        if not fins:
            return self._default("normal-force slope", _LIFT_SLOPE)
        slope = NOSE_SLOPE + sum(self._fin_slope(fin) for fin in fins)
        self.assumed.append(
            f"normal-force slope: {slope:.1f} for each radian from the fins' shape, spread "
            "15 % (assumed)"
        )
        return Spread("normal", slope, 0.15 * slope)

    def _margin(self, fins: list[Piece]) -> tuple[Spread, bool]:
        frame = self.frame
        given = self._given("static margin", frame.stability, 0.10)
        if given is not None:
            return given, True
        if frame.centre_of_mass is None or not fins:
            return self._default("static margin", _MARGIN), False
        self._refuse_outside(fins)
        margin = (self._centre(fins) - frame.centre_of_mass.value) / frame.diameter
        sd = 0.25
        if frame.centre_of_mass.spread is not None:
            sd = float(
                (sd**2 + (frame.centre_of_mass.spread / frame.diameter) ** 2) ** 0.5
            )
        self.assumed.append(
            f"static margin: {margin:.1f} calibres computed from the fins' shape and the "
            "centre of mass, spread 0.25 calibres (assumed)"
        )
        return Spread("normal", margin, sd), True

    def _refuse_outside(self, fins: list[Piece]) -> None:
        """Refuse a centre of mass or fins that do not lie on the rocket."""
        frame, source = self.frame, self.flight.source
        middle = 0.0 if frame.centre_of_mass is None else frame.centre_of_mass.value
        if not 0.2 * frame.length <= middle <= 0.95 * frame.length:
            raise FlightError(
                source,
                f"{'sustainer' if self.sustainer else 'airframe'}.centre_of_mass",
                f"must lie from {0.2 * frame.length:.2f} to {0.95 * frame.length:.2f} m "
                f"behind the tip of a rocket of {frame.length:g} m (got {middle:g} m)",
            )
        for fin in fins:
            ends = (fin.position or 0.0) + (fin.root or 0.0)
            if fin.position is not None and ends > frame.length + 0.02:
                raise FlightError(
                    source,
                    f"piece {fin.name!r}.position",
                    f"puts the fin's root to {ends:.2f} m, beyond the end of a rocket of "
                    f"{frame.length:g} m",
                )

    def _fin_slope(self, fin: Piece) -> float:
        sizes = (fin.root or 0.0, fin.tip or 0.0, fin.span or 0.0)
        wide = self.frame.diameter
        return float(fin_slope(fin.count, *sizes, wide, self._sweep(fin)))

    def _sweep(self, fin: Piece) -> float:
        if fin.sweep is not None:
            return fin.sweep
        self._note(f"{fin.name}: straight trailing edge, its sweep not being stated")
        return max((fin.root or 0.0) - (fin.tip or 0.0), 0.0)

    def _note(self, sentence: str) -> None:
        if (told := f"{sentence} (assumed)") not in self.assumed:
            self.assumed.append(told)

    def _centre(self, fins: list[Piece]) -> float:
        """Centre of pressure from the tip of the nose [m]."""
        frame = self.frame
        noses = [p.length or 0.0 for p in self.flight.pieces if p.kind == "nose cone"]
        nose = max(noses, default=min(_SHORT_NOSE * frame.diameter, frame.length / 2))
        slopes, moments = NOSE_SLOPE, NOSE_SLOPE * NOSE_CENTRE * nose
        for fin in fins:
            root, tip = fin.root or 0.0, fin.tip or 0.0
            at = fin.position
            if at is None:
                self._note(
                    f"{fin.name}: at the rocket's end, its position not being stated"
                )
                at = frame.length - root
            slope = self._fin_slope(fin)
            slopes += slope
            moments += slope * (at + float(fin_centre(root, tip, self._sweep(fin))))
        return moments / slopes
