"""Reads a table of soundings, and what a flight through each would tell."""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

MAST = 10.0
"""Height of the wind that a sounding tells at the surface [m]."""


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
    return list(_soundings(rows))


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
