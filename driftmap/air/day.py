"""The air of the day: density and speed of sound from readings at the field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.air.atmosphere import (
    EARTH_RADIUS,
    GAS_CONSTANT,
    HEAT_RATIO,
    LAPSE_RATE,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    TROPOPAUSE,
)
from driftmap.air.atmosphere import pressure as standard_pressure
from driftmap.air.atmosphere import temperature as standard_temperature
from driftmap.core.checks import FloatArray, checked
from driftmap.core.units import STANDARD_GRAVITY, ZERO_CELSIUS

_EXPONENT: Final = STANDARD_GRAVITY / (GAS_CONSTANT * LAPSE_RATE)
_COLDEST, _HOTTEST = 228.15, 333.15  # K, range of the formula over water


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    r"""Pressure of water vapour over water at saturation.

    .. math:: e_s = 611.2 \exp\!\left(\frac{17.62\, t}{243.12 + t}\right)

    with `t` in °C [1]_. The enhancement factor of the same annex, at most 0.5 % of the
    vapour pressure, is left out: it moves the density by less than 1e-4.

    Parameters
    ----------
    temperature : array_like, shape (...)
        Air temperature, -45 to 60 °C [K].

    Returns
    -------
    ndarray, shape (...)
        Vapour pressure [Pa].

    Raises
    ------
    ValueError
        If a temperature is out of range.

    References
    ----------
    .. [1] WMO-No. 8, *Guide to Meteorological Instruments*, 7th ed., 2008, annex 4.B;
       read in secondary copies.

    Examples
    --------
    >>> float(saturation_pressure(273.15).round(1))
    611.2
    """
    return _saturation(
        checked("temperature", temperature, least=_COLDEST, most=_HOTTEST)
    )


def _saturation(temperature: FloatArray) -> FloatArray:
    t = temperature - ZERO_CELSIUS
    return np.asarray(611.2 * np.exp(17.62 * t / (243.12 + t)))


def _virtual(
    temperature: FloatArray, pressure: FloatArray, humidity: FloatArray
) -> FloatArray:
    """Return the temperature at which dry air would be as light as this moist air [K].

    Two ideal gases whose molar masses are as 0.622 to 1 (textbook; WMO-No. 8).
    """
    vapour = humidity * _saturation(temperature)
    return np.asarray(temperature / (1 - 0.378 * vapour / pressure))


def station_pressure(setting: ArrayLike, altitude: ArrayLike) -> FloatArray:
    r"""Pressure at a place from the altimeter setting (QNH).

    An altimeter set to QNH shows the altitude of the field, so the pressure there lies
    that much of the standard atmosphere above QNH:

    .. math:: p = p_0 \left((q / p_0)^{R_d L / g_0} - L H / T_0\right)^{g_0 / (R_d L)}

    Parameters
    ----------
    setting : array_like, shape (...)
        Altimeter setting, 85 000 to 110 000 [Pa].
    altitude : array_like, shape (...)
        Geometric altitude of the place above mean sea level, -610 to 9000 [m].

    Returns
    -------
    ndarray, shape (...)
        Pressure at the place [Pa].

    Examples
    --------
    >>> float(station_pressure(101_325.0, 1000.0).round(1))
    89876.3
    """
    q = checked("setting", setting, least=85_000, most=110_000)
    z = checked("altitude", altitude, least=-610, most=9000)
    geopotential = EARTH_RADIUS * z / (EARTH_RADIUS + z)
    base = (q / SEA_LEVEL_PRESSURE) ** (
        1 / _EXPONENT
    ) - LAPSE_RATE * geopotential / SEA_LEVEL_TEMPERATURE
    return np.asarray(SEA_LEVEL_PRESSURE * base**_EXPONENT)


@dataclass(frozen=True, slots=True)
class AirDay:
    """The atmosphere of a day, hung on readings at one place.

    Temperature keeps its difference from the standard at all altitudes; pressure follows
    from it by hydrostatics of dry air; relative humidity is the same at all altitudes.

    Parameters
    ----------
    temperature : float
        Air temperature at the place [K].
    pressure : float
        Pressure at the place, not reduced to sea level [Pa]; see `station_pressure`.
    humidity : float
        Relative humidity at the place, 0 to 1.
    altitude : float
        Geometric altitude of the place above mean sea level [m].

    Raises
    ------
    ValueError
        If a reading is not finite or out of range.

    Notes
    -----
    A standard dry day is the standard atmosphere. Left out: inversions, the weight of
    the vapour in the pressure aloft (below 0.5 % at 3 km on a day of 35 °C and 60 %,
    ``tests/analytic/test_day.py``). Below -45 °C the vapour formula is used outside its
    range, where all the vapour there can be changes the density by less than 0.1 %.

    Examples
    --------
    >>> hot = AirDay(308.15, 85_000.0, 0.2, 1400.0)
    >>> float(hot.density(1400.0).round(3)), round(hot.density_altitude())
    (0.956, 2508)
    """

    temperature: float
    pressure: float
    humidity: float
    altitude: float

    def __post_init__(self) -> None:
        checked("temperature", self.temperature, least=_COLDEST, most=_HOTTEST)
        checked("pressure", self.pressure, least=30_000, most=110_000)
        checked("humidity", self.humidity, least=0, most=1)
        checked("altitude", self.altitude, least=-610, most=9000)

    def temperature_at(self, altitude: ArrayLike) -> FloatArray:
        """Temperature by altitude.

        Parameters
        ----------
        altitude : array_like, shape (...)
            Geometric altitude above mean sea level, -610 to 20 063 [m].

        Returns
        -------
        ndarray, shape (...)
            Temperature [K].
        """
        return standard_temperature(altitude) + self._warmer()

    def pressure_at(self, altitude: ArrayLike) -> FloatArray:
        """Pressure by altitude.

        Parameters
        ----------
        altitude : array_like, shape (...)
            Geometric altitude above mean sea level, -610 to 20 063 [m].

        Returns
        -------
        ndarray, shape (...)
            Pressure [Pa].
        """
        kelvin = self.temperature_at(altitude)
        below = self.pressure * (kelvin / self.temperature) ** _EXPONENT
        # Above, the air is isothermal: d ln p goes as 1/T, so the standard day's fall in
        # pressure since the tropopause is raised to the ratio of the temperatures.
        cold = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
        tropopause = SEA_LEVEL_PRESSURE * (cold / SEA_LEVEL_TEMPERATURE) ** _EXPONENT
        fall = np.minimum(standard_pressure(altitude) / tropopause, 1.0)
        return np.asarray(below * fall ** (cold / (cold + self._warmer())))

    def density(self, altitude: ArrayLike) -> FloatArray:
        """Air density by altitude.

        Parameters
        ----------
        altitude : array_like, shape (...)
            Geometric altitude above mean sea level, -610 to 20 063 [m].

        Returns
        -------
        ndarray, shape (...)
            Air density [kg m⁻³].
        """
        virtual = self._virtual_at(altitude)
        return np.asarray(self.pressure_at(altitude) / (GAS_CONSTANT * virtual))

    def speed_of_sound(self, altitude: ArrayLike) -> FloatArray:
        """Speed of sound by altitude, from the virtual temperature.

        The ratio of specific heats stays that of dry air.

        Parameters
        ----------
        altitude : array_like, shape (...)
            Geometric altitude above mean sea level, -610 to 20 063 [m].

        Returns
        -------
        ndarray, shape (...)
            Speed of sound [m s⁻¹].
        """
        return np.sqrt(HEAT_RATIO * GAS_CONSTANT * self._virtual_at(altitude))

    def density_altitude(self) -> float:
        """Altitude at which the standard atmosphere is as dense as the air at the place.

        Returns
        -------
        float
            Geometric altitude above mean sea level [m]; the closed form of the lowest
            standard layer, also below sea level.

        Raises
        ------
        ValueError
            If the air is thinner than anywhere in that layer.
        """
        thin = (
            float(self.density(self.altitude))
            * GAS_CONSTANT
            * SEA_LEVEL_TEMPERATURE
            / SEA_LEVEL_PRESSURE
        )
        h = SEA_LEVEL_TEMPERATURE / LAPSE_RATE * (1 - thin ** (1 / (_EXPONENT - 1)))
        checked("density altitude", h, most=TROPOPAUSE)
        return float(EARTH_RADIUS * h / (EARTH_RADIUS - h))

    def _warmer(self) -> float:
        return self.temperature - float(standard_temperature(self.altitude))

    def _virtual_at(self, altitude: ArrayLike) -> FloatArray:
        return _virtual(
            self.temperature_at(altitude),
            self.pressure_at(altitude),
            np.asarray(self.humidity, float),
        )


def day_from_readings(
    altitude: float,
    temperature: float | None = None,
    setting: float | None = None,
    humidity: float | None = None,
) -> AirDay | None:
    """Return the day from readings at a place; what is left out is standard, and dry.

    Parameters
    ----------
    altitude : float
        Geometric altitude of the place above mean sea level [m].
    temperature : float, optional
        Of the air there [K]; standard when left out.
    setting : float, optional
        Altimeter setting (QNH) [Pa]; standard when left out.
    humidity : float, optional
        Relative humidity, as a share; dry when left out.

    Returns
    -------
    AirDay or None
        None where there is no reading at all.
    """
    if temperature is None and setting is None and humidity is None:
        return None
    warmth = (
        float(standard_temperature(altitude)) if temperature is None else temperature
    )
    qnh = SEA_LEVEL_PRESSURE if setting is None else setting
    pressure = float(station_pressure(np.float64(qnh), altitude))
    return AirDay(warmth, pressure, humidity or 0.0, altitude)
