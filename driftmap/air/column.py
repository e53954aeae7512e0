"""One column of air over the site for each flight: density and drawn wind by height."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.atmosphere import air_density, pressure, speed_of_sound
from driftmap.air.day import AirDay
from driftmap.air.turbulence import REFERENCE_HEIGHT, gusts, mean_behind
from driftmap.air.wind import WindProfile
from driftmap.air.winderror import draw_wind
from driftmap.core.checks import FloatArray, IntArray, Kept
from driftmap.core.errors import TooHighError
from driftmap.core.units import ZERO_CELSIUS

SINGLE: Final = np.float32
"""Of falls: half a millimetre in 5 km, where a step in time errs by decimetres."""

_NEAR_GROUND = (0.0, 5.0, 10.0, 20.0, 35.0, 60.0, 100.0)
"""Heights where the wind changes most with height [m]."""

_NARROWEST, _NARROW_SHARE = 1.0, 0.02  # m, and of the height
_KINK = 0.1  # m/s, by which the wind may be off where a level was left out
_MOST_CELLS = 4096  # of a column, to look heights up by
_WIDEST = 90.0  # m; keeps descents within 0.5 m of a tight ODE solver (tests/analytic)


@dataclass(frozen=True, slots=True)
class Sky:
    """The atmosphere over a site.

    Parameters
    ----------
    altitude : float
        Altitude of the site above mean sea level [m].
    day : AirDay or None
        Surface readings; None for the standard atmosphere.
    """

    altitude: float
    day: AirDay | None = None

    def density(self, height: ArrayLike) -> FloatArray:
        """Return the air density at heights above the site [m], in [kg m⁻³]."""
        altitude = self.altitude + np.asarray(height, float)
        return air_density(altitude) if self.day is None else self.day.density(altitude)

    def sound(self, height: ArrayLike) -> FloatArray:
        """Return the speed of sound at heights above the site [m], in [m s⁻¹]."""
        altitude = self.altitude + np.asarray(height, float)
        if self.day is None:
            return speed_of_sound(altitude)
        return self.day.speed_of_sound(altitude)

    def pressure(self, height: ArrayLike) -> FloatArray:
        """Return the pressure at heights above the site [m], in [Pa]."""
        altitude = self.altitude + np.asarray(height, float)
        return (
            pressure(altitude) if self.day is None else self.day.pressure_at(altitude)
        )

    @property
    def told(self) -> str:
        """What air that is, in words."""
        if (day := self.day) is None:
            return "standard atmosphere: no temperature or pressure was given"
        return (
            f"air of the day at the site: {day.temperature - ZERO_CELSIUS:.0f} °C, "
            f"{day.pressure / 100:.0f} hPa, humidity {day.humidity:.0%}; "
            f"density altitude {day.density_altitude():.0f} m"
        )

    @property
    def top(self) -> float:
        """Greatest height above the site that the modelled air reaches [m]."""
        return 20_000.0 - self.altitude


@dataclass(frozen=True, slots=True, eq=False)
class AirColumn:
    """Air that ``n`` flights fly through, linear between ``k`` common heights.

    Parameters
    ----------
    height : ndarray, shape (k,)
        Heights above the site, increasing from the ground [m].
    density : ndarray, shape (k,)
        Air density [kg m⁻³].
    sound : ndarray, shape (k,)
        Speed of sound [m s⁻¹].
    east, north : ndarray, shape (k, n)
        Velocity of the air toward east and north [m s⁻¹].
    up : ndarray, shape (k, n), or None
        Velocity of the air upward [m s⁻¹], felt by what sinks steadily; None for none.
    """

    height: FloatArray
    density: FloatArray
    sound: FloatArray
    east: Kept
    north: Kept
    up: Kept | None = None
    _depth: FloatArray = field(init=False, repr=False)
    _per_depth: FloatArray = field(init=False, repr=False)
    _upper: FloatArray = field(init=False, repr=False)
    _cell: float = field(init=False, repr=False)
    _below: IntArray = field(init=False, repr=False)
    _wind: list[Kept] = field(init=False, repr=False, default_factory=list)

    def __post_init__(self) -> None:
        k = self.height.size
        if k < 2 or self.height[0] != 0 or np.any(np.diff(self.height) <= 0):
            raise ValueError(
                "'height' must increase from 0 and hold two levels or more"
            )
        for name in ("density", "sound", "east", "north"):
            values = getattr(self, name)
            if values.shape[0] != k or not np.all(np.isfinite(values)):
                raise ValueError(f"'{name}' must hold {k} finite levels")
        depth = np.diff(self.height)
        object.__setattr__(self, "_depth", depth)
        object.__setattr__(self, "_per_depth", 1 / depth)
        cell = max(float(depth.min()) / 2, float(self.height[-1]) / _MOST_CELLS)
        starts = np.arange(-0.5, self.height[-1] / cell + 1) * cell
        below = self.height[1:-1].searchsorted(starts, side="right")
        object.__setattr__(self, "_cell", cell)
        object.__setattr__(self, "_below", below)
        object.__setattr__(self, "_upper", np.append(self.height[1:-1], np.inf))

    def layer(self, height: FloatArray) -> tuple[IntArray, FloatArray]:
        """Find the layer that holds each height.

        Parameters
        ----------
        height : ndarray, shape (n,)
            Heights above the site [m].

        Returns
        -------
        index : ndarray of int, shape (n,)
            Lower level of the layer.
        share : ndarray, shape (n,)
            How far up the layer the height lies, 0 to 1.

        Raises
        ------
        TooHighError
            If a height lies above the column; air is never extrapolated.
        """
        if height.size and not height.max() <= self.height[-1]:
            raise TooHighError(
                f"rises to {height.max():,.0f} m, above the top of the air that is drawn, "
                f"{self.height[-1]:,.0f} m"
            )
        # From that of a cell's lower end, or a little lower, up: quicker than to halve.
        index = self._below.take((height / self._cell).astype(np.intp), mode="clip")
        while (above := height >= self._upper.take(index)).any():
            index += above
        return index, (height - self.height.take(index)) / self._depth.take(index)

    def split(self, deepest: float) -> AirColumn:
        """Split layers deeper than that [m]; the air between levels stays linear."""
        gaps = np.diff(self.height)
        if gaps.size == 0 or gaps.max() <= deepest:
            return self
        parts = np.ceil(gaps / deepest).astype(int)
        low = np.repeat(np.arange(gaps.size), parts)
        step = np.concatenate([np.arange(n) / n for n in parts])
        low, step = np.append(low, gaps.size - 1), np.append(step, 1.0)

        def between(name: str) -> FloatArray | None:
            if (values := getattr(self, name)) is None:
                return None
            share = step.reshape(-1, *[1] * (values.ndim - 1))
            return np.asarray(values[low] * (1 - share) + values[low + 1] * share)

        names = ("height", "density", "sound", "east", "north", "up")
        return AirColumn(*map(between, names))  # type: ignore[arg-type]

    def for_falls(self) -> AirColumn:
        """Return its winds in the precision of falls; levels and densities stay as they are."""
        if self.east.dtype == SINGLE:
            return self
        up = None if self.up is None else self.up.astype(SINGLE)
        east, north = self.east.astype(SINGLE), self.north.astype(SINGLE)
        return replace(self, east=east, north=north, up=up)

    def density_at(self, height: FloatArray) -> FloatArray:
        """Return the air density at heights above the site [m], shape (n,) [kg m⁻³]."""
        i, share = self.layer(height)
        low = self.density.take(i)
        return np.asarray(low + share * (self.density.take(i + 1) - low))

    def wind_by_layer(self) -> Kept:
        """Return the wind of each layer and column where it lies together in memory.

        Returns
        -------
        ndarray, shape ((k - 1) n, 4)
            East and north at the lower level, and how much more of each at the upper.
        """
        if not self._wind:  # by two threads at once: the same twice
            table = np.empty((*self.east[1:].shape, 4), self.east.dtype)
            for i, way in enumerate((self.east, self.north)):
                table[..., i] = way[:-1]
                np.subtract(way[1:], way[:-1], out=table[..., i + 2])
            self._wind.append(table.reshape(-1, 4))
        return self._wind[0]


def local_air(air: AirColumn, height: FloatArray, who: IntArray) -> FloatArray:
    """Linearise the air about each body's height.

    Parameters
    ----------
    air : AirColumn
        One column for each flight, or one for all.
    height : ndarray, shape (n,)
        Heights above the site [m].
    who : ndarray of int, shape (n,)
        Column of each body.

    Returns
    -------
    ndarray, shape (7, n)
        The height itself [m]; wind east and north [m s⁻¹] and their change with height
        [s⁻¹]; density [kg m⁻³] and its change with height [kg m⁻⁴].
    """
    i, share = air.layer(height)
    columns = air.east.shape[1]
    per_depth = air._per_depth.take(i)
    near = np.empty((7, height.size), height.dtype)
    near[0] = height
    # One place in memory for each body: what takes the time is to reach it.
    wind = air.wind_by_layer().take(i * columns + who if columns > 1 else i, axis=0).T
    np.multiply(wind[2:], share, out=near[1:3])
    near[1:3] += wind[:2]
    np.multiply(wind[2:], per_depth, out=near[3:5])
    low = air.density.take(i)
    rise = air.density.take(i + 1) - low
    near[5], near[6] = low + share * rise, rise * per_depth
    return near


def through_air(state: FloatArray, near: FloatArray) -> tuple[FloatArray, ...]:
    """Return the velocity through the air and the air's density.

    Parameters
    ----------
    state : ndarray, shape (6 or more, n)
        East, north, height [m] and velocity over the ground [m s⁻¹].
    near : ndarray, shape (7, n)
        The air about each body, from `local_air`; where its last two rows were
        multiplied by a factor, so is the density given back.

    Returns
    -------
    east, north, speed, density : ndarray, shape (n,)
        Sideways velocity through the air and speed through the air [m s⁻¹]; density.
    """
    rise = state[2] - near[0]
    east = state[3] - near[1] - near[3] * rise
    north = state[4] - near[2] - near[4] * rise
    speed = np.sqrt(east * east + north * north + state[5] * state[5])
    return east, north, speed, near[5] + near[6] * rise


def column_heights(wind: WindProfile, top: float) -> FloatArray:
    """Choose the common heights of a column.

    Wind levels are kept, so that no kink of the wind falls inside a layer, and layers are
    thin near the ground, where the wind turns and the impact speed is decided. A level very
    near the one below it goes where the wind is the same without it.

    Parameters
    ----------
    wind : WindProfile
        The wind as known.
    top : float
        Height the column must reach [m].

    Returns
    -------
    ndarray, shape (k,)
        Heights from 0 to `top` [m].
    """
    marks = np.union1d(wind.height[wind.height < top], [0.0, *_NEAR_GROUND, top])
    marks = marks[marks <= top]
    each = (
        (wind.east, wind.north)
        if wind.members is None
        else wind.members.reshape(-1, wind.height.size)
    )
    winds = np.array([np.interp(marks, wind.height, part) for part in each])
    kept, below = [float(marks[0])], 0
    for i, z in enumerate(marks[1:-1].tolist(), 1):
        least = max(_NARROWEST, _NARROW_SHARE * z)
        if z - kept[-1] <= least or top - z <= least:
            share = (z - kept[-1]) / (marks[i + 1] - kept[-1])
            rise = winds[:, i + 1] - winds[:, below]
            if np.all(np.abs(winds[:, below] + share * rise - winds[:, i]) < _KINK):
                continue
        kept, below = [*kept, z], i
    marks = np.array([*kept, top])
    parts = [
        np.linspace(a, b, int(np.ceil((b - a) / _WIDEST)), endpoint=False)
        for a, b in zip(marks[:-1], marks[1:], strict=True)
    ]
    return np.concatenate([*parts, marks[-1:]])


def draw_air(
    wind: WindProfile,
    sky: Sky,
    top: float,
    count: int,
    rng: np.random.Generator,
    *,
    steer: Callable[[FloatArray, FloatArray], FloatArray] | None = None,
) -> AirColumn:
    """Draw the air of `count` flights: wind as far as it is known, and turbulence.

    Parameters
    ----------
    wind : WindProfile
        The wind as known, with its error.
    sky : Sky
        Density and speed of sound over the site.
    top : float
        Height the column must reach [m].
    count : int
        Number of flights.
    rng : numpy.random.Generator
        Source of randomness.
    steer : callable, optional
        As in `driftmap.air.winderror.draw_wind`.

    Returns
    -------
    AirColumn
        One column for each flight.
    """
    height = column_heights(wind, top)
    # Random streams apart: how many numbers a wind takes must not change its gusts.
    east, north = draw_wind(wind, height, count, rng.spawn(1)[0], steer=steer)
    # Each flight has the turbulence of its own wind, and at least that of the gusts told.
    low = np.hypot(_at(height, east), _at(height, north))
    low = np.maximum(low, mean_behind(wind.gust))
    gusts(height, low, count, rng, wind.convection, onto=(east, north))
    return _column(height, sky, east, north)


def _at(height: FloatArray, levels: FloatArray) -> FloatArray:
    """Interpolate columns to the height that sets the strength of turbulence."""
    i = int(np.searchsorted(height, REFERENCE_HEIGHT)) - 1
    share = (REFERENCE_HEIGHT - height[i]) / (height[i + 1] - height[i])
    return np.asarray((1 - share) * levels[i] + share * levels[i + 1])


def mean_air(wind: WindProfile, sky: Sky, top: float) -> AirColumn:
    """Return the column of the wind exactly as known, without error.

    Parameters
    ----------
    wind : WindProfile
        The wind as known.
    sky : Sky
        Density and speed of sound over the site.
    top : float
        Height the column must reach [m].

    Returns
    -------
    AirColumn
        One column.
    """
    height = column_heights(wind, top)
    east, north = wind.at(height)
    return _column(height, sky, east[:, None], north[:, None])


def _column(
    height: FloatArray, sky: Sky, east: FloatArray, north: FloatArray
) -> AirColumn:
    return AirColumn(height, sky.density(height), sky.sound(height), east, north)
