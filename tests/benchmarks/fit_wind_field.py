r"""Fit the wind's field on real winds, and print ``field.toml``.

    python tests/benchmarks/fit_wind_field.py SOUNDINGS.csv.gz MAST.csv REPORTS.txt PLACES.csv \
        > driftmap/air/field.toml

Over height on soundings; its change with time on every other week of a mast (MAST.csv:
``demo_data.csv`` of brightwind 2.7.0, MIT); a station's distance on half of the stations of
one hour's surface reports (REPORTS.txt: ``metar_20190715_0000.txt`` in the source of MetPy
0.12.2, BSD; PLACES.csv: ``airports.csv`` of airportsdata 20260905, MIT). The other halves
are to judge by.

A fair flying day shears less than the severe days that most of these soundings are of:
each of the few of an ordinary evening counts three times. Every fifth day is left out: a
part of those stands in ``tests/data/winds/soundings.csv.gz`` to judge the fit by.
"""

import sys

import numpy as np
from scipy.optimize import least_squares, minimize
from soundings import MAST, later, read, read_mast, read_stations

from driftmap.air.profile_law import STIRRED, Field, ReadLevels, conditioned_on
from driftmap.air.winderror import TAILS

HEIGHTS = np.array([200, 300, 450, 600, 900, 1200, 1500, 2000, 3000.0])
DROPS = (300.0, 450.0, 900.0, 1500.0)  # m, from which a canopy drifts
REGIMES = ((-5.0, -91.0, -3.0), (3.0, -3.0, 10.0), (15.0, 10.0, 91.0))
"""Height of the sun that stands for a regime, and its bounds [deg]."""
DEEP = -25.0
"""Height of the sun from which the night is as still as it gets [deg]."""
ORDINARY, WEIGHT = "raob1999", 3.0
LEFT_OUT = 5  # days of which one is not fitted
TURNS = 5  # in which strays are sized
SPEEDS = (1.0, 13.0)  # m/s at 10 m; a calm has no direction to turn from


def fit(soundings):
    """Give growth and what else blows by height, and the strays of every sounding."""
    wind = np.array([s.at(HEIGHTS) for s in soundings])
    start = np.array([s.at(MAST) for s in soundings])
    # South of the equator all turns are the other way.
    south = np.array([s.latitude < 0 for s in soundings])
    wind[south], start[south] = wind[south].conj(), start[south].conj()
    weight = np.array([WEIGHT if s.source == ORDINARY else 1.0 for s in soundings])
    weight = weight[:, None] * ~np.isnan(wind)
    wind = np.nan_to_num(wind)
    from_start = np.stack([start, start / np.sqrt(abs(start) ** 2 + 1.0)], axis=1)
    usual = np.array(
        [
            np.linalg.lstsq(from_start * r[:, None], w * r, rcond=None)[0]
            for w, r in zip(wind.T, np.sqrt(weight).T, strict=True)
        ]
    )
    return usual, wind - from_start @ usual.T, weight


def likeness(strays):
    """Fit power, length and depth of `Field` to the correlations of the strays."""
    apart, deep, logs, many = [], [], [], []
    for stray, weight in strays:
        whole = (weight > 0).all(1)
        size = stray[whole] * np.sqrt(weight[whole, :1])
        alike = (size.conj().T @ size).real
        alike /= np.sqrt(np.multiply.outer(np.diag(alike), np.diag(alike)))
        # Up to 2000 m: few canopies open higher.
        i, j = np.triu_indices(HEIGHTS.size - 1, 1)
        apart.append(np.log(HEIGHTS[j] / HEIGHTS[i]))
        deep.append(HEIGHTS[j] - HEIGHTS[i])
        logs.append(np.log(-np.log(alike[i, j])))
        many.append(np.full(i.size, np.sqrt(whole.sum())))
    x, y, z, n = map(np.concatenate, (apart, deep, logs, many))

    def miss(p):
        return n * (p[0] * (np.log(x + y / np.exp(p[2])) - p[1]) - z)

    power, length, depth = least_squares(miss, [1.6, 1.0, 7.0]).x
    return {
        "power": round(float(power), 2),
        "length": round(float(np.exp(length)), 2),
        "depth": round(float(np.exp(depth)), -1),
    }


def misses(regime, shape, soundings):
    """Give the squares of how far drifts are off, over the variance of strays of size one.

    For each sounding and height, the wind at a mast being told.
    """
    unit = Field(
        height=HEIGHTS,
        growth=np.array(regime["growth"]),
        turn=np.radians(regime["turn"]),
        beside=np.array(regime["along"]) - 1j * np.array(regime["right"]),
        stray=1.0,
        **shape,
    )
    z = np.linspace(MAST, DROPS[-1], 61)
    depth = np.array([(z <= top) * 1.0 for top in DROPS])
    none = np.zeros(1)
    for s in soundings:
        wind = s.at(z) if s.latitude >= 0 else s.at(z).conj()
        told = ReadLevels(np.array([MAST]), wind[:1], none, none, [0], none == 0)
        known = conditioned_on(unit, told, z, 0.03)
        off = depth @ (wind - known.weights @ told.wind - known.beside)
        yield abs(off) ** 2 / np.einsum("dz,zy,dy->d", depth, known.covariance, depth)


def fit_strays(off, soundings, *, night):
    """Fit the most likely sizes of strays: over a calm deep in the night, and else."""
    speed = np.array([abs(complex(s.at(MAST))) for s in soundings])
    sun = np.array([s.sun for s in soundings])
    weight = np.array([WEIGHT if s.source == ORDINARY else 1.0 for s in soundings])
    dusk = REGIMES[0][0]
    deep = np.clip((dusk - sun) / (dusk - DEEP), 0.0, 1.0) * night
    still = deep * np.clip(1.0 - speed / STIRRED, 0.0, 1.0)

    def miss(x):
        size = np.exp(2 * x[0]) * (1.0 + np.exp(x[1]) * still[:, None]) ** 2
        tails = (TAILS / 2 + 1) * np.log1p(off / size / (TAILS - 2))
        likely = weight[:, None] * (np.log(size) + tails)
        return np.sum(np.where(np.isfinite(off), likely, 0.0))

    size, more = np.exp(minimize(miss, [-1.7, -1.0], method="Nelder-Mead").x)
    return size * (1.0 + more * night), size


def fit_regime(usual):
    """Give the usual wind as ``field.toml`` has it."""
    return {
        "growth": np.abs(usual[:, 0]).round(2).tolist(),
        "turn": (-np.degrees(np.angle(usual[:, 0]))).round(1).tolist(),
        "along": usual[:, 1].real.round(1).tolist(),
        "right": (-usual[:, 1].imag).round(1).tolist(),
    }


def fit_table(soundings):
    """Fit the field: the content of ``field.toml``."""
    kept = [s for s in soundings if abs(s.at(MAST)) < SPEEDS[1]]
    kinds = [[s for s in kept if low < s.sun <= high] for _, low, high in REGIMES]
    fair = [[s for s in kind if abs(s.at(MAST)) > SPEEDS[0]] for kind in kinds]
    fits = [fit(kind) for kind in fair]
    shape = likeness([(stray, weight) for _, stray, weight in fits])
    regimes = []
    for (sun, *_), kind, mild, (usual, *_) in zip(
        REGIMES, kinds, fair, fits, strict=True
    ):
        # Calms too, and each day against the usual wind of the others.
        off, judged = [], []
        for turn in range(TURNS):
            own = fit_regime(fit([s for s in mild if s.day % 7 % TURNS != turn])[0])
            of = [s for s in kind if s.day % 7 % TURNS == turn]
            off += misses(own, shape, of)
            judged += of
        night = sun == REGIMES[0][0]
        sizes = fit_strays(np.array(off), judged, night=night)
        calm, stirred = (round(float(size), 3) for size in sizes)
        # Over a light wind strays grow through the night; at dusk, and by day, they do not.
        for at, size in [(DEEP, calm)] * night + [(sun, stirred)]:
            usual_at = {"sun": at, **fit_regime(usual)}
            regimes.append({**usual_at, "stray": [size, stirred]})
    return {"height": HEIGHTS.tolist(), **shape, "regime": regimes}


def fit_change(mast):
    """Fit ``hypot(still, share * speed) * hours**power`` to what a mast's wind changes by."""
    rows = []
    for hours in (1 / 6, 1 / 3, 0.5, 1, 2, 3, 5, 8, 12):
        told, true = later(mast, hours, half=0)
        speed, off = abs(told), abs(true - told) ** 2 / 2
        for low, high in ((0, 2), (2, 4), (4, 6), (6, 8), (8, 10), (10, 13)):
            of = (speed >= low) & (speed < high)
            rows.append((hours, np.mean(speed[of]), np.mean(off[of])))
    hours, speed, off = np.array(rows).T

    def miss(x):
        size = np.exp(2 * x[0]) + np.exp(2 * x[1]) * speed**2
        return np.sum((np.log(off) - np.log(size) - 2 * x[2] * np.log(hours)) ** 2)

    return _coefficients(minimize(miss, [0.0, -2.0, 0.4], method="Nelder-Mead").x)


def fit_elsewhere(reports, places):
    """Fit ``hypot(still, share * speed) * (distance / 30 km)**power``, with tails."""
    away, (told, true) = read_stations(reports, places, half=0)
    off, speed = abs(true - told) ** 2, abs(told)
    # Far pairs are many and near ones few: each class of distance counts alike.
    kind = np.searchsorted([20e3, 40e3, 80e3], away)
    weight = 1.0 / np.bincount(kind)[kind]

    def size(x):
        still, share = np.exp(2 * x[:2])
        return (still + share * speed**2) * (away / 30e3) ** (2 * x[2])

    def miss(x):
        tails = (TAILS / 2 + 1) * np.log1p(off / size(x) / (TAILS - 2))
        return np.average(np.log(size(x)) + tails, weights=weight)

    best = minimize(miss, [0.0, -1.0, 0.1], method="Nelder-Mead").x

    def asked():
        """Give by how much each class of distance is larger, as a logarithm."""
        more = [np.mean(off[kind == k] / size(best)[kind == k]) for k in range(4)]
        return np.log(np.array(more) / 2) / 2

    # As large as they are, lest the tails be called rarer than they are: with distance as
    # the classes on the whole, and for the one that asks most.
    far = [np.mean(np.log(away[kind == k] / 30e3)) for k in range(4)]
    best[2] += np.polyfit(far, asked(), 1)[0]
    best[:2] += max(asked())
    return _coefficients(best)


def _coefficients(x):
    return {
        "still": round(float(np.exp(x[0])), 2),
        "share": round(float(np.exp(x[1])), 3),
        "power": round(float(x[2]), 2),
    }


def main(soundings, mast, reports, places):
    """Print the fit as TOML."""
    table = fit_table([s for s in read(soundings) if s.day % LEFT_OUT])
    table["change"] = fit_change(read_mast(mast))
    table["elsewhere"] = fit_elsewhere(reports, places)
    print(
        "# Written by tests/benchmarks/fit_wind_field.py, which names the packages that the"
    )
    print(
        "# winds are from; see driftmap/air/profile_law.py. Soundings: SHARPpy 1.4.0a5 (BSD),"
    )
    print(
        "# severe days in the US, and siphon 0.11.0 (BSD), the US on an evening of 1999."
    )
    for key in ("height", "power", "length", "depth"):
        print(f"{key} = {table[key]}")
    parts = [(f"[{key}]", table[key]) for key in ("change", "elsewhere")]
    for head, part in [*parts, *(("[[regime]]", one) for one in table["regime"])]:
        print(f"\n{head}")
        for key, value in part.items():
            print(f"{key} = {value}")


if __name__ == "__main__":
    main(*sys.argv[1:])
