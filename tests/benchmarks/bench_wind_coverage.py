"""Hold the lines about a drift against real soundings.

    python tests/benchmarks/bench_wind_coverage.py SOUNDINGS.csv.gz [--by source]

A canopy falls from each height through the sounding; driftmap is told a part of it and says
where the canopy lands and how surely. The field is fitted anew without
the day (in turns of five) or without the source that is judged.
"""

import argparse
import sys
from datetime import datetime
from math import degrees

import numpy as np
from fit_wind_field import fit_table
from soundings import read

from driftmap.air.wind import TAILS, WindLevel, direction_and_speed, error_modes
from driftmap.units import MILE_PER_HOUR
from driftmap.winds import field, merge
from driftmap.winds.law import surface_shape
from driftmap.winds.reading import Reading, Setting

TOPS = (300.0, 450.0, 900.0, 1500.0)
# Radius in standard deviations of a component that holds a share of a t-vector in two
# dimensions with as much variance: 1 - (1 + r² / (n - 2))^(-n / 2) of it.
LINES = {
    share: np.sqrt((TAILS - 2) * ((1 - share / 100) ** (-2 / TAILS) - 1))
    for share in (50, 90, 99, 99.9)
}
WORDS, MAST = 2.0, 10.0
SINK = 6.0  # m/s
TOLD = {
    "words at 2 m, now": ((WORDS,), ()),
    "words at 10 m, now": ((MAST,), ()),
    "three levels: 10, 750, 1500 m": ((), (MAST, 750.0, 1500.0)),
    "words, and 700 and 1500 m": ((WORDS,), (700.0, 1500.0)),
    "words, and 1200 and 2000 m": ((WORDS,), (1200.0, 2000.0)),
}


def readings(sounding, near, aloft):
    """Tell a part of a sounding as people would: in whole mph and tens of degrees."""
    told = []
    for z in near:
        east, north = sounding.at(MAST).real, sounding.at(MAST).imag
        bearing, speed = direction_and_speed(east, north)
        shape = surface_shape([z, MAST], 0.03)
        speed = float(speed * shape[0] / shape[1])
        if z == WORDS:
            speed = round(speed / MILE_PER_HOUR) * MILE_PER_HOUR
            bearing = np.radians(round(degrees(bearing) / 10) * 10)
        level = WindLevel(z, float(bearing), speed, None, "told")
        told.append(
            Reading(
                "told", "surface", (level,), age=0.0, direction_error=np.radians(5.0)
            )
        )
    if aloft:
        winds = sounding.at(aloft)
        levels = tuple(
            WindLevel(
                z, *map(float, direction_and_speed(w.real, w.imag)), None, "aloft"
            )
            for z, w in zip(aloft, winds, strict=True)
        )
        told.append(Reading("aloft", "aloft", levels, age=0.0))
    return told


def misses(sounding, near, aloft):
    """Give how far each landing is off, in standard deviations, and those [m]."""
    when = datetime.fromisoformat(sounding.time)
    setting = Setting(0.0, when=when, now=when, place=(sounding.latitude, 0.0))
    wind = merge(readings(sounding, near, aloft), setting)
    for top in TOPS:
        z = np.linspace(0.0, top, 61)
        depth = np.full(z.size, z[1])
        depth[[0, -1]] /= 2
        shape = surface_shape([*np.minimum(z, MAST), MAST], 0.03)
        true = sounding.at(np.maximum(z, MAST)) * shape[:-1] / shape[-1]
        east, north = wind.at(z)
        off = abs(depth @ (true - east - 1j * north))
        deviation = np.linalg.norm(depth @ error_modes(wind, z))
        yield top, off / deviation, deviation / SINK


def groups(sounding):
    """Name the groups that a sounding counts in."""
    sun = sounding.sun
    yield "all"
    yield "day" if sun > 10 else "low sun" if sun >= -3 else "night"
    if sounding.source == "raob1999":
        yield "not severe"


def parts(soundings, by):
    """Split soundings into what is judged and what is fitted on."""
    if by == "day":
        fold = [s.day % 5 for s in soundings]
        keys = range(5)
    else:
        fold = [s.source for s in soundings]
        keys = sorted(set(fold))
    for key in keys:
        yield (
            [s for s, f in zip(soundings, fold, strict=True) if f == key],
            [s for s, f in zip(soundings, fold, strict=True) if f != key],
        )


def main():
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("soundings")
    ask.add_argument("--every", type=int, default=1, help="judge every n-th only")
    ask.add_argument("--by", choices=["day", "source", "none"], default="day")
    given = ask.parse_args()
    soundings = [s for s in read(given.soundings) if abs(s.at(MAST)) < 13]
    own = field._table
    rows = {}
    split = [(soundings, None)] if given.by == "none" else parts(soundings, given.by)
    for judged, fitted in split:
        table = own() if fitted is None else fit_table(fitted)
        field._table = lambda table=table: table
        for sounding in judged[:: given.every]:
            merge_sun(sounding)
            for name, (near, aloft) in TOLD.items():
                if np.isnan(sounding.at([TOPS[-1], *aloft]).real).any():
                    continue
                for top, off, size in misses(sounding, near, aloft):
                    for group in groups(sounding):
                        rows.setdefault((name, top, group), []).append((off, size))
    for (name, top, group), found in sorted(rows.items()):
        off, size = np.array(found).T
        held = "  ".join(f"{100 * np.mean(off < line):5.1f}" for line in LINES.values())
        ratio = np.sqrt(np.mean(off**2) / 2)
        print(
            f"{name:32s} {top:6.0f} m  {group:10s} {off.size:5d}  {held}   x{ratio:.2f}  {np.median(size):5.0f} m"
        )


def merge_sun(sounding):
    """Let the sun stand where the sounding says it did."""
    sys.modules["driftmap.winds.merge"].sun_height = lambda *_: sounding.sun


if __name__ == "__main__":
    main()
