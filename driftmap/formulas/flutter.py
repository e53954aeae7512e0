"""What a fin withstands in flutter and bending, and how near a flight comes to it."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray, IntArray, checked

_AXIS_OFFSET: Final = 0.25  # chords from the aerodynamic centre to the centre of mass
_RATIO: Final = 1.4  # ratio of specific heats
# The report prints 39.3 lbf/in² over 14.7 lbf/in². With the factor (taper + 1) / 2 kept,
# half of this constant would put all speeds too high by the square root of two.
_CONSTANT: Final = 24 * _AXIS_OFFSET * _RATIO / pi

_WALL: Final = 0.8e-3  # m; two lines of the usual nozzle on each face; assumed
_STALL: Final = 0.35  # rad; beyond it the normal force of a flat fin grows no more
_COMPRESSED: Final = 2.0  # most that the speed of sound adds to the force; assumed


@dataclass(frozen=True, slots=True)
class FinPlanform:
    """A trapezoidal fin.

    Parameters
    ----------
    root, tip : float
        Chord at the body and at the tip; 0 for a pointed tip [m].
    span : float
        From the body to the tip [m].
    thickness : float
        Greatest thickness [m].

    Raises
    ------
    ValueError
        If a size is not finite, not positive, or a fin is thicker than a tenth of
        its root chord.
    """

    root: float
    tip: float
    span: float
    thickness: float

    def __post_init__(self) -> None:
        for name in ("root", "span", "thickness"):
            checked(name, getattr(self, name), above=0)
        checked("tip", self.tip, least=0)
        checked("thickness", self.thickness, most=self.root / 10)

    @property
    def area(self) -> float:
        """Area of one side [m²]."""
        return (self.root + self.tip) / 2 * self.span

    @property
    def aspect_ratio(self) -> float:
        """Span squared over area, of the exposed panel alone."""
        return self.span**2 / self.area


def flutter_speed(
    fin: FinPlanform,
    modulus: ArrayLike,
    pressure: ArrayLike,
    sound: ArrayLike,
    *,
    knock_down: ArrayLike = 1.0,
) -> FloatArray:
    r"""Speed at which a fin begins to flutter.

    .. math:: V_f = a \sqrt{\frac{k\, G}{X}}, \qquad X = \frac{24\, \epsilon\, \gamma\,
              p}{\pi} \frac{A^3}{(t/c)^3 (A + 2)} \frac{\lambda + 1}{2}

    with aspect ratio `A` of the exposed panel, taper λ, thickness over root chord `t/c`
    and ε = 0.25 [1]_ Eq. (18); its printed 39.3 over 14.7 lbf/in² is 24 ε γ / π.

    Parameters
    ----------
    fin : FinPlanform
        Shape of the fin.
    modulus : array_like, shape (...)
        Shear modulus of its material [Pa].
    pressure : array_like, shape (...)
        Air pressure [Pa].
    sound : array_like, shape (...)
        Speed of sound [m s⁻¹].
    knock_down : array_like, shape (...)
        Share of the modulus left in the fin as made, above 0 and up to 1.

    Returns
    -------
    ndarray, shape (...)
        Speed through the air [m s⁻¹].

    Notes
    -----
    A line through scattered tests of thin, little-swept panels; its derivation is
    subsonic. A margin of 1.25 to 1.5 is common practice, no source.

    References
    ----------
    .. [1] D. J. Martin, *Summary of flutter experiences as a guide to the preliminary
       design of lifting surfaces on missiles*, NACA TN 4197, 1958; from memory.

    Examples
    --------
    >>> fin = FinPlanform(0.15, 0.075, 0.075, 0.003175)
    >>> float(flutter_speed(fin, 4.136e9, 101325.0, 340.294).round(1))
    448.5
    """
    stiff = checked("modulus", modulus, above=0)
    stiff = stiff * checked("knock_down", knock_down, above=0, most=1)
    load = checked("pressure", pressure, above=0)
    a, slim = fin.aspect_ratio, fin.thickness / fin.root
    shape = a**3 / (slim**3 * (a + 2)) * (fin.tip / fin.root + 1) / 2
    return checked("sound", sound, above=0) * np.sqrt(
        stiff / (_CONSTANT * load * shape)
    )


def solid_share(thickness: float, infill: float) -> float:
    r"""Share of the bending stiffness of a solid plate that a printed one has.

    .. math:: 1 - (1 - f) \left(1 - \frac{2 w}{t}\right)^3

    two walls of 0.8 mm, `w` (assumed), about a core that is as stiff as its share `f` of
    plastic (beam theory of a sandwich, textbook).

    Parameters
    ----------
    thickness : float
        Of the fin [m].
    infill : float
        Share of the core that is plastic, 0 to 1.

    Returns
    -------
    float
        Share, of the section modulus as well.

    Examples
    --------
    >>> round(solid_share(4e-3, 0.2), 3)
    0.827
    """
    core = max(1 - 2 * _WALL / thickness, 0.0)
    return 1 - (1 - infill) * core**3


def shell_stress(
    pressure: ArrayLike,
    angle: ArrayLike,
    *,
    slope_area: float,
    arm: float,
    radius: float,
    wall: float,
) -> FloatArray:
    r"""Return the bending stress at the base of a thin nose at an angle to the airstream.

    .. math:: \sigma = \frac{q\, C_{N\alpha} A\, \alpha\, y}{\pi r^2 t}

    the force of the air at a distance `y` before the base, over the section modulus of a
    thin tube (textbook). What presses the nose on its base is left out, which errs high.

    Parameters
    ----------
    pressure, angle : array_like, shape (...)
        Dynamic pressure, `q` [Pa], and angle of attack [rad].
    slope_area : float
        Slope of its normal force times the cross-section [m²].
    arm : float
        Distance `y` [m].
    radius, wall : float
        Radius `r` of the base and thickness `t` of the wall [m].

    Returns
    -------
    ndarray, shape (...)
        Stress [Pa].

    Examples
    --------
    At 20 kPa and 0.1 rad 50 cm² for each radian push with 10 N, 0.1 m before a base of
    27 mm and 2 mm: 1 N m over 4.58e-6 m³.

    >>> float(shell_stress(2e4, 0.1, slope_area=5e-3, arm=0.1, radius=0.027, wall=0.002).round(-3))
    218000.0
    """
    q = checked("pressure", pressure, least=0)
    force = q * slope_area * np.abs(checked("angle", angle))
    return np.asarray(force * arm / (np.pi * radius**2 * wall))


def root_stress(
    fin: FinPlanform,
    pressure: ArrayLike,
    angle: ArrayLike,
    mach: ArrayLike,
    *,
    slope: float,
    share: float = 1.0,
) -> FloatArray:
    r"""Return the bending stress at the root of a fin at an angle to the airstream.

    .. math:: \sigma = \frac{F y}{c_r t^2 / 6}, \qquad
              F = q\, C_{F\alpha}\, \alpha\, \frac{1}{\sqrt{1 - M^2}}, \qquad
              y = \frac{s}{3} \frac{c_r + 2 c_t}{c_r + c_t}

    a cantilever of rectangular section (Euler and Bernoulli's beam, textbook) whose load
    acts at the middle of the mean chord; the rise near the speed of sound is that of
    Prandtl and Glauert (textbook), held at twice.

    Parameters
    ----------
    fin : FinPlanform
        The fin.
    pressure : array_like, shape (...)
        Dynamic pressure, `q` [Pa].
    angle : array_like, shape (...)
        Angle of attack of the fin; beyond 0.35 it counts as that [rad].
    mach : array_like, shape (...)
        Mach number.
    slope : float
        Normal force of one fin for each radian and pascal, :math:`C_{F\alpha}` [m²].
    share : float
        Section modulus over that of the solid, from `solid_share`.

    Returns
    -------
    ndarray, shape (...)
        Stress [Pa].

    Examples
    --------
    At 10 kPa and 0.1 rad 10 cm² for each radian push with 1 N, 6 cm out of the body:

    >>> fin = FinPlanform(root=0.1, tip=0.1, span=0.12, thickness=0.003)
    >>> float(root_stress(fin, 1e4, 0.1, 0.0, slope=1e-3).round())
    400000.0
    """
    q = checked("pressure", pressure, least=0)
    bent = np.minimum(np.abs(checked("angle", angle)), _STALL)
    slow = np.sqrt(np.maximum(1 - checked("mach", mach, least=0) ** 2, 1e-9))
    arm = fin.span / 3 * (fin.root + 2 * fin.tip) / (fin.root + fin.tip)
    section = share * fin.root * fin.thickness**2 / 6
    force = q * slope * bent * np.minimum(1 / slow, _COMPRESSED)
    return np.asarray(force * arm / section)


@dataclass(frozen=True, slots=True, eq=False)
class FlutterMargin:
    """How near flights come to flutter.

    Parameters
    ----------
    least : ndarray, shape (n,)
        Least flutter speed over speed on the way; infinite for a flight that never moves.
    when : ndarray, shape (n,)
        Time of that [s].
    first : ndarray, shape (n,)
        Time at which the speed first passes flutter speed; infinite if it never does [s].
    """

    least: FloatArray
    when: FloatArray
    first: FloatArray


def flutter_margin(
    speed: ArrayLike, limit: ArrayLike, time: ArrayLike
) -> FlutterMargin:
    """Find the least margin against flutter on each flight, and when it is used up.

    Parameters
    ----------
    speed : array_like, shape (s, n)
        Speed through the air after each of ``s`` steps [m s⁻¹].
    limit : array_like, shape (s, n)
        Flutter speed there, from `flutter_speed` [m s⁻¹].
    time : array_like, shape (s, n)
        Time since ignition, never falling [s].

    Returns
    -------
    FlutterMargin
        Margins and times, shape (n,).

    Raises
    ------
    ValueError
        If shapes differ, there is no step, or a number is out of range.

    Notes
    -----
    The least margin is that of the worst step; the first passing is found by a line
    between steps in the ratio of the two speeds.
    """
    v = checked("speed", speed, least=0)
    if v.ndim != 2 or len(v) == 0:
        raise ValueError(f"'speed' must have the shape (s, n) (got {v.shape})")
    used = v / checked("limit", limit, above=0)
    t = np.broadcast_to(checked("time", time), v.shape)
    if used.shape != v.shape or np.any(np.diff(t, axis=0) < 0):
        raise ValueError("'limit' must have the shape of 'speed', 'time' must not fall")
    flights = np.arange(v.shape[1])
    worst = used.argmax(0)
    most = used[worst, flights]
    least = np.divide(1.0, most, out=np.full(most.shape, np.inf), where=most > 0)
    return FlutterMargin(least, t[worst, flights], _first_over(used, t, flights))


def _first_over(used: FloatArray, time: FloatArray, flights: IntArray) -> FloatArray:
    """Time at which `used` first rises over 1, infinite where it never does."""
    over = used > 1
    after = over.argmax(0)
    before = np.maximum(after - 1, 0)
    low, high = used[before, flights], used[after, flights]
    step = time[after, flights] - time[before, flights]
    rise = high - low
    share = np.divide(1 - low, rise, out=np.zeros_like(rise), where=rise > 0)
    passed = time[before, flights] + share * step
    return np.asarray(np.where(over.any(0), passed, np.inf))
