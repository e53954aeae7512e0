"""Names that say a quantity and its unit, and a wind level from a row of them.

Shared by the table and the forecast: `height_ft`, `from_deg`, `speed_kt` and so on.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.units import FOOT, KNOT, MILE_PER_HOUR
from driftmap.winds.reading import Setting, check_direction, check_speed

__all__ = ["NAMES", "check_names", "level_from", "nearest_name", "vertical"]

_SPEED: Final = MappingProxyType(
    {"mps": 1.0, "mph": MILE_PER_HOUR, "kt": KNOT, "kmh": 1 / 3.6}
)
_HIGHEST: Final = 50_000.0  # m above the site; no balloon goes higher
_LARGEST_ERROR: Final = 100.0  # m/s
_LENGTH: Final = MappingProxyType({"m": 1.0, "ft": FOOT})

NAMES: Final = MappingProxyType(
    {f"height_{u}": ("height", f) for u, f in _LENGTH.items()}
    | {f"altitude_{u}": ("altitude", f) for u, f in _LENGTH.items()}
    | {"from_deg": ("direction", 1.0), "from_magnetic_deg": ("magnetic", 1.0)}
    | {f"speed_{u}": ("speed", f) for u, f in _SPEED.items()}
    | {f"gust_{u}": ("gust", f) for u, f in _SPEED.items()}
    | {f"error_{u}": ("error", f) for u, f in _SPEED.items()}
)
"""Quantity and size of the unit in SI for each name (directions stay in degrees)."""

_NEEDED: Final = (
    (("direction", "magnetic"), "from_deg or from_magnetic_deg"),
    (("speed",), "speed_mps, speed_mph, speed_kt or speed_kmh"),
)
_VERTICAL: Final = (
    ("height", "altitude"),
    "height_m, height_ft, altitude_m or altitude_ft",
)


def nearest_name(name: str, accepted: Iterable[str]) -> str:
    """Say that a name is not known, with the nearest that is.

    Parameters
    ----------
    name : str
        What was found.
    accepted : iterable of str
        Names that are known.

    Returns
    -------
    str
        For a message.
    """
    names = list(accepted)
    near = difflib.get_close_matches(name.lower(), names, n=1, cutoff=0.4)
    hint = f"did you mean {near[0]!r}?" if near else f"accepted: {', '.join(names)}"
    return f"{name[:40]!r}; {hint}"


def check_names(
    names: Iterable[str], source: str, where: str, *, vertical: bool = True
) -> None:
    """Refuse a set of names that leaves a quantity out or gives it twice.

    Parameters
    ----------
    names : iterable of str
        Keys of `NAMES`.
    source, where : str
        For the message.
    vertical : bool
        Whether a height or an altitude must be there.

    Raises
    ------
    WindError
        If a needed quantity is missing, or any is given in two ways.
    """
    held: dict[str, list[str]] = {}
    for name in names:
        quantity = NAMES[name][0]
        group = {"altitude": "height", "magnetic": "direction"}.get(quantity, quantity)
        held.setdefault(group, []).append(name)
    for given in held.values():
        if len(given) > 1:
            raise WindError(
                source, where, f"both {' and '.join(given)}; keep one of them"
            )
    for (first, *_), accepted in (*_NEEDED, *([_VERTICAL] if vertical else [])):
        if first not in held:
            raise WindError(source, where, f"no {accepted}; add one")


def vertical(
    row: Mapping[str, float],
    setting: Setting,
    source: str,
    where: str,
    *,
    lenient: bool = False,
) -> float:
    """Give the height above the site that a row names.

    Parameters
    ----------
    row : mapping of str to float
        Values by name.
    setting : Setting
        Place of the flight.
    source, where : str
        For the message.
    lenient : bool
        Whether it may lie below the ground, for the caller to leave out.

    Returns
    -------
    float
        Height above the site [m].

    Raises
    ------
    WindError
        If it lies below the ground.
    """
    name = next(n for n in row if NAMES.get(n, ("",))[0] in _VERTICAL[0])
    quantity, factor = NAMES[name]
    value = row[name] * factor
    height = value if quantity == "height" else value - setting.site_altitude
    if not height <= _HIGHEST:
        raise WindError(
            source, where, f"{name} {row[name]:.5g} is above {_HIGHEST / 1000:.0f} km"
        )
    if height < 0 and not lenient:
        site = f"; the site is at {setting.site_altitude:.4g} m"
        raise WindError(
            source,
            where,
            f"{name} {row[name]:.5g} is below the ground"
            f"{site if quantity == 'altitude' else ''}",
        )
    return height


def level_from(
    row: Mapping[str, float], height: float, setting: Setting, source: str, where: str
) -> WindLevel:
    """Make a level from a row.

    Parameters
    ----------
    row : mapping of str to float
        Values by name; a direction, a gust or an error may be NaN, which is a variable
        wind, no gust, or an error that is not told.
    height : float
        Height above the site [m].
    setting : Setting
        For magnetic directions.
    source, where : str
        For the message.

    Returns
    -------
    WindLevel
        The level.

    Raises
    ------
    WindError
        If a value is out of range.
    """
    si = {
        NAMES[name][0]: value * NAMES[name][1]
        for name, value in row.items()
        if name in NAMES and not math.isnan(value)
    }
    direction = None
    if "direction" in si:
        direction = check_direction(si["direction"], source, where)
    elif "magnetic" in si:
        direction = setting.true_bearing(
            check_direction(si["magnetic"], source, where), source, where
        )
    speed, gust = check_speed(si["speed"], source, where), si.get("gust")
    if gust is not None and check_speed(gust, source, where, what="gust") < speed:
        raise WindError(
            source, where, f"gust {gust:.4g} m/s is less than the mean {speed:.4g} m/s"
        )
    error = si.get("error")
    if error is not None and not 0.0 <= error <= _LARGEST_ERROR:
        raise WindError(
            source, where, f"error {error:.4g} m/s; accepted is 0 to {_LARGEST_ERROR:g}"
        )
    return WindLevel(height, direction, speed, gust, source, error=error)
