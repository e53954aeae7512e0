"""Fit the wind field over height on real soundings, and print ``field.toml``.

    python tests/benchmarks/fit_wind_field.py SOUNDINGS.csv.gz > driftmap/winds/field.toml

A fair flying day shears less than the severe days that most of these soundings are of:
each of the few of an ordinary evening counts three times. Every fifth day is left out: a
part of those stands in ``tests/data/winds/soundings.csv.gz`` to judge the fit by.
"""

import sys

import numpy as np
from soundings import MAST, read

HEIGHTS = np.array([200, 300, 450, 600, 900, 1200, 1500, 2000, 3000.0])
REGIMES = ((-10.0, -91.0, -3.0), (3.0, -3.0, 10.0), (15.0, 10.0, 91.0))
"""Height of the sun that stands for a regime, and its bounds [deg]."""
ORDINARY, WEIGHT = "raob1999", 3.0
LEFT_OUT = 5  # days of which one is not fitted
SPEEDS = (1.0, 13.0)  # m/s at 10 m; a calm has no direction to turn from


def fit(soundings):
    """Give growth and turn by height, and the strays of every sounding."""
    wind = np.array([s.at(HEIGHTS) for s in soundings])
    start = np.array([s.at(MAST) for s in soundings])
    # South of the equator all turns are the other way.
    south = np.array([s.latitude < 0 for s in soundings])
    wind[south], start[south] = wind[south].conj(), start[south].conj()
    weight = np.array([WEIGHT if s.source == ORDINARY else 1.0 for s in soundings])
    weight = weight[:, None] * ~np.isnan(wind)
    wind = np.nan_to_num(wind)
    usual = (weight * wind * start.conj()[:, None]).sum(0)
    usual /= (weight * np.abs(start[:, None]) ** 2).sum(0)
    return usual, wind - usual * start[:, None], weight


def likeness(strays):
    """Fit ``exp(-(|ln z/z'| / length)**power)`` to the correlations of the strays."""
    apart, logs = [], []
    for stray, weight in strays:
        whole = (weight > 0).all(1)
        for i in range(HEIGHTS.size - 1):
            for j in range(i + 1, HEIGHTS.size):
                a, b = stray[whole, i], stray[whole, j]
                r = (a * b.conj()).real.sum()
                r /= np.sqrt((np.abs(a) ** 2).sum() * (np.abs(b) ** 2).sum())
                apart.append(np.log(HEIGHTS[j] / HEIGHTS[i]))
                logs.append(-np.log(r))
    near = np.array(apart) < 1.5
    x, y = np.log(np.array(apart)[near]), np.log(np.array(logs)[near])
    power, shift = np.polyfit(x, y, 1)
    return power, np.exp(-shift / power)


def fit_table(soundings):
    """Fit the field: the content of ``field.toml``."""
    fair = [s for s in soundings if SPEEDS[0] < abs(s.at(MAST)) < SPEEDS[1]]
    fits = [
        (sun, fit([s for s in fair if low < s.sun <= high]))
        for sun, low, high in REGIMES
    ]
    power, length = likeness([(stray, weight) for _, (_, stray, weight) in fits])
    regimes = []
    for sun, (usual, stray, weight) in fits:
        size = np.sqrt((weight * np.abs(stray) ** 2).sum(0) / weight.sum(0) / 2)
        regimes.append(
            {
                "sun": sun,
                "growth": np.abs(usual).round(2).tolist(),
                "turn": (-np.degrees(np.angle(usual))).round(1).tolist(),
                "stray": round(float(np.mean(size / np.sqrt(HEIGHTS))), 3),
            }
        )
    return {
        "height": HEIGHTS.tolist(),
        "power": round(float(power), 2),
        "length": round(float(length), 2),
        "regime": regimes,
    }


def main(path):
    """Print the fit as TOML."""
    table = fit_table([s for s in read(path) if s.day % LEFT_OUT])
    print(
        "# Written by tests/benchmarks/fit_wind_field.py; see driftmap/winds/field.py."
    )
    print(
        "# Fitted on soundings from SHARPpy 1.4.0a5 (BSD), severe days in the US, and"
    )
    print("# siphon 0.11.0 (BSD), the US network on an evening of 1999.")
    for key in ("height", "power", "length"):
        print(f"{key} = {table[key]}")
    for regime in table["regime"]:
        print("\n[[regime]]")
        for key, value in regime.items():
            print(f"{key} = {value}")


if __name__ == "__main__":
    main(sys.argv[1])
