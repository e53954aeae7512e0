"""Reads real winds: soundings, a mast's record, and stations beside each other."""

import csv
import gzip
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zlib import crc32

import numpy as np

from driftmap.air.profile_law import surface_shape
from driftmap.core.units import FOOT, KNOT

MAST = 10.0
"""Height of the wind that a sounding tells at the surface [m]."""

_REPORT = re.compile(
    r"\b([A-Z][A-Z0-9]{3}) \d{6}Z (?:AUTO |COR )?(\d{3})(\d{2,3})(?:G\d+)?(KT|MPS)\b"
)


@dataclass(frozen=True)
class Sounding:
    """One sounding: where, when, and its levels above the ground in m and m/s."""

    source: str
    time: str
    latitude: float
    sun: float
    height: np.ndarray
    wind: np.ndarray  # east + i north

    @property
    def day(self):
        """Number of its day."""
        return datetime.fromisoformat(self.time).toordinal()

    def at(self, heights):
        """Interpolate the wind; NaN above its top."""
        z = np.asarray(heights, float)
        east = np.interp(z, self.height, self.wind.real)
        north = np.interp(z, self.height, self.wind.imag)
        return np.where(z > self.height[-1] + 50.0, np.nan, east + 1j * north)


def read(path: str | Path) -> list[Sounding]:
    """Read columns source, id, time_utc, latitude, sun_deg, height_m, east_mps, north_mps."""
    opened = gzip.open if str(path).endswith(".gz") else open
    rows: dict[tuple[str, str], list[dict[str, str]]] = {}
    with opened(path, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(line for line in file if line[0] != "#"):
            rows.setdefault((row["source"], row["id"] + row["time_utc"]), []).append(
                row
            )
    kept: dict[tuple[object, ...], Sounding] = {}
    for sounding in _soundings(rows):
        # One sounding may stand in two sources: it is of the first, lest it judge itself.
        where = (
            round(sounding.latitude, 1),
            sounding.time[:13],
            round(float(sounding.at(900.0).real), 1),
        )
        kept.setdefault(where, sounding)
    return list(kept.values())


def _soundings(rows) -> Iterator[Sounding]:
    for (source, _), levels in rows.items():
        levels.sort(key=lambda row: float(row["height_m"]))
        height = np.array([float(row["height_m"]) for row in levels])
        wind = np.array(
            [complex(float(row["east_mps"]), float(row["north_mps"])) for row in levels]
        )
        keep = np.r_[True, (height[1:] > MAST) & (np.diff(height) > 0)]
        height, wind = height[keep], wind[keep]
        height[0] = MAST
        first = levels[0]
        if height.size > 1:
            yield Sounding(
                source,
                first["time_utc"],
                float(first["latitude"]),
                float(first["sun_deg"]),
                height,
                wind,
            )


Pairs = tuple[np.ndarray, np.ndarray]
"""Winds told and true, complex, of shape (n,) each [m/s]."""


def read_mast(path: str | Path) -> np.ndarray:
    """Read ten-minute means of a mast at 40 m, brought to 10 m; NaN where one is missing."""
    with Path(path).open(encoding="utf-8-sig") as file:
        rows = [
            (row["Timestamp"], row["Spd40mN"], row["Dir38mS"])
            for row in csv.DictReader(file)
        ]
    times = [datetime.fromisoformat(time) for time, *_ in rows]
    steps = [round((time - times[0]) / timedelta(minutes=10)) for time in times]
    speed, way = (np.array([float(row[i] or "nan") for row in rows]) for i in (1, 2))
    low, high = surface_shape([MAST, 40.0], 0.03)
    mast = np.full(steps[-1] + 1, np.nan, complex)
    mast[steps] = -speed * low / high * np.exp(1j * np.radians(90.0 - way))
    return mast


def later(mast: np.ndarray, hours: float, half: int | None = None) -> Pairs:
    """Pair the winds of a mast with those some hours later; of every other week if `half`."""
    step = round(6 * hours)
    before, after = mast[:-step], mast[step:]
    good = np.isfinite(before) & np.isfinite(after) & (abs(before) > 0)
    if half is not None:
        good &= np.arange(before.size) // (6 * 24 * 7) % 2 == half
    return before[good], after[good]


def read_stations(
    reports: str | Path, places: str | Path, half: int | None = None
) -> tuple[np.ndarray, Pairs]:
    """Pair the winds that stations of alike altitude report at one time, each both ways.

    Give their distances [m] and winds; of half of the stations if `half`. Calms and
    variable winds are left out: they have no direction.
    """
    with Path(places).open(encoding="utf-8") as file:
        place = {
            row["icao"]: tuple(float(row[k] or 0) for k in ("lat", "lon", "elevation"))
            for row in csv.DictReader(file)
        }
    told = {}
    for found in _REPORT.finditer(" ".join(Path(reports).read_text("latin-1").split())):
        station, way, speed, unit = found.groups()
        wind = float(speed) * (KNOT if unit == "KT" else 1.0)
        mine = half is None or crc32(station.encode()) % 2 == half
        if station in place and mine and 0 < wind < 20:
            told.setdefault(station, -wind * np.exp(1j * np.radians(90 - float(way))))
    wind = np.array(list(told.values()))
    lat, lon, feet = np.array([place[name] for name in told]).T
    i, j = np.triu_indices(wind.size, 1)
    east = (lon[i] - lon[j]) * np.cos(np.radians((lat[i] + lat[j]) / 2))
    away = 111.2e3 * np.hypot(lat[i] - lat[j], east)
    level = (away < 150e3) & (away > 3e3) & (abs(feet[i] - feet[j]) * FOOT < 150)
    i, j, away = i[level], j[level], away[level]
    return np.r_[away, away], (np.r_[wind[i], wind[j]], np.r_[wind[j], wind[i]])
