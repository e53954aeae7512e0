"""An altimeter's record: read from a file, and the part of it that shows the way up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np

from driftmap.core.checks import FloatArray, checked
from driftmap.core.errors import FlightError, at, located
from driftmap.core.tables import check_remarks, names_of, number_of, rows_of
from driftmap.core.units import FOOT

LARGEST_RECORD: Final = 20_000_000
"""Largest file of a record [bytes]: 100 samples a second for an hour and more."""

_SPIKE: Final = 0.7  # s; running median that passes over a pressure spike
_ON_PAD: Final = 10.0  # s before lift-off that set the zero
_MOST_POINTS: Final = 400  # a denser way up is averaged down to these
_FEWEST_POINTS: Final = 15
_LEAST_RISE: Final = 20.0  # m; less cannot be told from the altimeter's noise


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """What an altimeter wrote down.

    Parameters
    ----------
    time : array_like, shape (r,)
        Its clock, not decreasing [s].
    height : array_like, shape (r,)
        Height over its zero [m].
    speed : array_like, shape (r,), optional
        Upward speed [m s⁻¹].

    Raises
    ------
    ValueError
        If shapes differ, a number is not finite, or time goes back.
    """

    time: FloatArray
    height: FloatArray
    speed: FloatArray | None = None

    def __post_init__(self) -> None:
        for name in ("time", "height", "speed"):
            value = getattr(self, name)
            if value is None:
                continue
            column = np.array(checked(name, value))
            if column.shape != np.shape(self.time) or column.ndim != 1:
                raise ValueError("'time', 'height' and 'speed' must be of one length")
            column.setflags(write=False)
            object.__setattr__(self, name, column)
        if np.any(np.diff(self.time) < 0):
            raise ValueError("'time' must not go back")


@dataclass(frozen=True, slots=True, eq=False)
class WayUp:
    """A record from the pad to apogee, without spikes, zero on the pad.

    Parameters
    ----------
    time, height : ndarray, shape (r,)
        The altimeter's clock, increasing [s], and height above the pad [m].
    speed : ndarray, shape (r,), or None
        Upward speed [m s⁻¹].
    lift_off : float
        First guess of lift-off on that clock [s].
    """

    time: FloatArray
    height: FloatArray
    speed: FloatArray | None
    lift_off: float


def cut_way_up(record: Record) -> WayUp:
    """Cut out the way up, and check that it is one.

    ``record``: what the altimeter wrote down, from before lift-off to after apogee.

    Result: at most 400 points. Raises `ValueError` if the record holds too few points,
    does not begin on the pad, never rises, or ends before the rocket has come down from
    its highest point.
    """
    record, smooth, first, top = _looked_at(record)
    time, height = record.time, record.height - _pad_level(record, smooth, first)
    if np.median(record.height[-3:]) > smooth[top] - max(0.01 * height[top], 3.0):
        raise ValueError(
            "shows no apogee: it must go on until the rocket has come down some metres "
            "from its highest point"
        )
    _need(top - first, " on the way up")
    keep = (time >= time[first] - 2.0) & (time <= time[top])
    speed = None if record.speed is None else record.speed[keep]
    return WayUp(*_averaged(time[keep], height[keep], speed), float(time[first]))


def heights_of(record: Record) -> tuple[FloatArray, FloatArray]:
    """Return the heights of a whole flight as far as a record goes, without spikes.

    ``record``: what the altimeter wrote down, from before lift-off.

    Result: since lift-off, increasing [s], and above the pad [m], shape (r,). Raises
    `ValueError` if the record holds too few points, does not begin on the pad, or never
    rises.
    """
    record, smooth, first, _ = _looked_at(record)
    height = smooth - _pad_level(record, smooth, first)
    return record.time[first:] - record.time[first], height[first:]


_SETTLED, _WINDOW, _LOWEST = 5.0, 4.0, 15.0
"""Time from apogee until all has opened that opens there, time over which a fall is taken [s], and the
height under which nothing counts as falling [m]; assumed."""

Sink: TypeAlias = tuple[float, float, float]
"""Height from which and to which [m], and how fast a record shows the fall between [m s⁻¹]."""


def sinks_of(record: Record) -> tuple[Sink, ...]:
    """Return how fast a record shows the way down, piece by piece.

    Result: empty where the record ends before anything can be told. Raises as `heights_of`.
    """
    time, height = heights_of(record)
    top = int(np.argmax(height))
    kept = (time >= time[top] + _SETTLED) & (height >= _LOWEST)
    time, height = time[kept], height[kept]
    found = []
    for begin in np.arange(time[0], time[-1], _WINDOW) if time.size else ():
        own = (time >= begin) & (time < begin + _WINDOW)
        at, high = time[own], height[own]
        if at.size > 2 and at[-1] - at[0] > _WINDOW / 2:
            speed = (high[0] - high[-1]) / (at[-1] - at[0])
            found.append((float(high[0]), float(high[-1]), float(speed)))
    return tuple(found)


def _looked_at(record: Record) -> tuple[Record, FloatArray, int, int]:
    """Take out spikes, smooth, and find lift-off and the highest sample."""
    record = _without_spikes(_merged(record))
    _need(record.time.size, "")
    smooth = _running_median(record)
    return record, smooth, *_lift_off_and_top(smooth)


def _need(points: int, where: str) -> None:
    if points < _FEWEST_POINTS:
        raise ValueError(
            f"holds {points} usable points{where}; needs {_FEWEST_POINTS} or more"
        )


def _merged(record: Record) -> Record:
    """Average samples of the same moment."""
    time, which, count = np.unique(record.time, return_inverse=True, return_counts=True)
    height, speed = (
        None if column is None else np.bincount(which, column) / count
        for column in (record.height, record.speed)
    )
    assert height is not None
    return Record(time, height, speed)


def _lift_off_and_top(smooth: FloatArray) -> tuple[int, int]:
    """Find the last sample near the pad before the highest one, and that one."""
    top = int(smooth.argmax())
    low = float(np.median(smooth[: min(5, top + 1)]))
    rise = smooth[top] - low
    if rise < _LEAST_RISE:
        raise ValueError(
            f"never rises {_LEAST_RISE:.0f} m above its start (most is {rise:.1f} m)"
        )
    near_pad = smooth[: top + 1] <= low + max(0.02 * rise, 3.0)
    return int(np.flatnonzero(near_pad)[-1]), top


def _pad_level(record: Record, smooth: FloatArray, first: int) -> float:
    """Return the height that the record calls the pad."""
    time = record.time
    waiting = (time <= time[first] - 0.5) & (time >= time[first] - _ON_PAD)
    if np.count_nonzero(waiting) >= 5:
        return float(np.median(record.height[waiting]))
    # No wait on the pad: the altimeter's own zero counts, if the record begins near it.
    if abs(smooth[0]) > max(0.03 * float(smooth.max()), 10.0):
        raise ValueError(
            f"begins {smooth[0]:.0f} m up; it must begin on the pad, best some seconds "
            "before lift-off"
        )
    return 0.0


def _running_median(record: Record) -> FloatArray:
    """Smooth over `_SPIKE` seconds; a steady rise passes unchanged."""
    from scipy.ndimage import median_filter  # noqa: PLC0415 (slow to import)

    step = float(np.median(np.diff(record.time)))
    half = int(np.clip(_SPIKE / 2 / step, 2, 200))
    return np.asarray(median_filter(record.height, 2 * half + 1, mode="nearest"))


def _without_spikes(record: Record) -> Record:
    """Leave out samples more than six deviations from the running median."""
    if record.time.size < _FEWEST_POINTS:
        return record
    off = np.abs(record.height - _running_median(record))
    keep = off <= 6 * 1.4826 * np.median(off) + 3.0
    speed = None if record.speed is None else record.speed[keep]
    return Record(record.time[keep], record.height[keep], speed)


def _averaged(
    time: FloatArray, height: FloatArray, speed: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Average neighbours until few enough points are left."""
    starts = np.unique(np.linspace(0, time.size, _MOST_POINTS + 1).astype(int)[:-1])
    size = np.diff(np.append(starts, time.size))

    def mean(column: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(column, starts) / size)

    return mean(time), mean(height), None if speed is None else mean(speed)


_MOST_LINES: Final = 500_000  # 100 a second for more than an hour
_COLUMNS: Final[Mapping[str, tuple[str, float, float]]] = MappingProxyType(
    {
        "time_s": ("time", 1.0, 1e7),
        "height_m": ("height", 1.0, 30_000.0),
        "height_ft": ("height", FOOT, 30_000.0),
        "speed_mps": ("speed", 1.0, 3000.0),
        "speed_fps": ("speed", FOOT, 3000.0),
    }
)
"""Column name: what it holds, its unit in SI, and the largest size taken for no mistake."""


def read_record(text: str, source: str) -> Record:
    """Read a record.

    ``text``: a header and a row for each moment; lines that start with ``#`` are passed
    over. Columns in any order: ``time_s``; ``height_m`` or ``height_ft``; and, if it
    was recorded, ``speed_mps`` or ``speed_fps`` (upward); ``source``: name of the file.

    Result: the record in SI. Raises `FlightError` if anything in it cannot be used, by
    its line.
    """
    check_remarks(text, source, FlightError)
    rows: list[list[float]] = []
    names = names_of(text)
    clock = names.index("time_s") if "time_s" in names else 0  # which `_check` refuses
    with located(source, "", FlightError):
        for where, cells in rows_of(text, _COLUMNS, _check, 1, _MOST_LINES):
            with at(where):
                row = [_number(cell, name) for name, cell in cells.items()]
                if rows and row[clock] < rows[-1][clock]:
                    before = rows[-1][clock]
                    message = f"time_s {row[clock]:g} must not go back from {before:g}"
                    raise ValueError(message)
                rows.append(row)
    quantities = [_COLUMNS[name][0] for name in names]
    columns = dict(zip(quantities, np.array(rows).T, strict=True))
    return Record(columns["time"], columns["height"], columns.get("speed"))


def _check(names: list[str]) -> None:
    held = [_COLUMNS[name][0] for name in names]
    for quantity in ("time", "height"):
        if quantity not in held:
            raise ValueError(f"has no {quantity}; known: {', '.join(_COLUMNS)}")
    if len(set(held)) < len(held):
        raise ValueError("names one quantity twice")


def _number(cell: str, name: str) -> float:
    _, unit, most = _COLUMNS[name]
    return number_of(cell, name, -most / unit, most / unit) * unit
