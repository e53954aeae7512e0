r"""Hold the lines about a drift against real winds.

    python tests/benchmarks/bench_wind_coverage.py SOUNDINGS.csv.gz MAST.csv REPORTS.txt \
        PLACES.csv [--by source] [--exact] [--write]

A canopy falls from each height through a real sounding; driftmap is told a part of it and
says where the canopy lands and how surely. The field is fitted anew without the day (in
turns of five) or without the source that is judged. What the wind did in an hour, and how
another station differs, is taken from real pairs that nothing was fitted on
(`fit_wind_field`): the wind told is the sounding's with the difference of a pair of about its
strength, turned into its direction. What is told is off by as much as it is said to be: the
instrument's error is drawn, and a wind read now is flown some minutes later; ``--exact`` tells
the sounding as it is. ``--write`` puts the table into MEASURED.md.
"""

import argparse
import re
import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from fit_wind_field import fit_change, fit_elsewhere, fit_table
from soundings import later, read, read_mast, read_stations

from driftmap.air import profile_law, uncertainty
from driftmap.air.profile_law import ALIKE, LOG_TOP, surface_shape
from driftmap.air.wind import WindLevel, direction_and_speed
from driftmap.air.winderror import TAILS, error_modes
from driftmap.core.units import KNOT, MILE_PER_HOUR
from driftmap.winds.merge import merge
from driftmap.winds.reading import Reading, Setting

TOPS = (300.0, 450.0, 900.0, 1500.0)
# Radius in standard deviations of a component that holds a share of a t-vector in two
# dimensions with as much variance: 1 - (1 + r² / (n - 2))^(-n / 2) of it.
LINES = {
    share: np.sqrt((TAILS - 2) * ((1 - share / 100) ** (-2 / TAILS) - 1))
    for share in (50, 90, 99, 99.9)
}
MAST, SINK = 10.0, 6.0  # m, m/s
MORNING = 5.0  # h between a morning's balloon and noon
SOON = 1 / 6  # h, the shortest time that the mast tells a change of
DRAWS = {"night": 12, "low sun": 6}
FEWEST = 2
"""Draws of errors and pairs for each sounding: more where soundings are few, so that luck of
the draws is no more than luck of the soundings."""

ALOFT = 0.3  # m/s, error of a component of what a sonde tells
STEPS = (
    100.0,
    250.0,
    400.0,
    550.0,
    700.0,
    850.0,
    1000.0,
    1150.0,
    1300.0,
    1450.0,
    1600.0,
)
JUDGED = np.radians(10.0)  # error of a bearing told by eye, as in `winds.spoken`
WORDS = {"height": 2.0, "unit": MILE_PER_HOUR, "degrees": 10.0, "turn": JUDGED}
REPORT = {"height": MAST, "unit": KNOT, "degrees": 10.0, "away": 0.0}
TOLD = {
    "words at 2 m, now": {"near": WORDS},
    "words at 2 m, an hour old": {"near": WORDS, "hours": 1.0},
    "METAR at the field": {"near": REPORT},
    "METAR 30 km off": {"near": {**REPORT, "away": 30e3}},
    "10, 750 and 1500 m": {"aloft": (MAST, 750.0, 1500.0)},
    "words, 700 and 1500 m": {"near": WORDS, "aloft": (700.0, 1500.0)},
    "words, 1200 and 2000 m": {"near": WORDS, "aloft": (1200.0, 2000.0)},
    "the whole sounding": {"aloft": (MAST, *STEPS)},
    "words, and a balloon of the morning": {
        "near": WORDS,
        "aloft": STEPS,
        "old": MORNING,
    },
}
SIDE = 0.4, 1.6  # a sounding's own speed over that of the pair it borrows from
START, END = "<!-- winds: written by bench_wind_coverage.py -->", "<!-- winds: end -->"


class Pairs:
    """Real differences between a wind told and the true one, by the true one's strength."""

    def __init__(self, told, true, rng):
        order = rng.permutation(told.size)
        self.told, self.true, self.rng = told[order], true[order], rng

    def told_for(self, true):
        """Tell a true wind as the wind of a pair of about its strength was told."""
        speed = abs(self.true)
        like = (speed > SIDE[0] * abs(true)) & (speed < SIDE[1] * abs(true))
        chosen = self.rng.choice(np.flatnonzero(like if like.any() else speed > 0))
        ahead = true / abs(true) if true else 1.0
        turned = abs(self.true[chosen]) / self.true[chosen] * ahead
        return true + (self.told[chosen] - self.true[chosen]) * turned


def reading(wind, heights, name, *, unit, degrees, turn=0.0, error=None, **kept):
    """Tell winds as people would: in whole units and tens of degrees."""
    levels = []
    for z, w in zip(heights, wind, strict=True):
        bearing, speed = (float(v) for v in direction_and_speed(w.real, w.imag))
        told = np.radians(round(np.degrees(bearing) / degrees) * degrees)
        speed = round(speed / unit) * unit
        levels.append(WindLevel(z, told, speed, None, name, error=error))
    turn = turn or np.radians(degrees) / np.sqrt(12)
    kept = {"kind": "aloft", "away": 0.0, **kept}
    return Reading(name, levels=tuple(levels), direction_error=turn, **kept)


def vector(rng, count=None):
    """Draw vectors of unit variance in each component."""
    return rng.standard_normal(count) + 1j * rng.standard_normal(count)


def soon(wind, pairs):
    """Tell a wind as it was in the minutes before it is flown: less than a pair's change."""
    less = uncertainty.change_over(1.0, uncertainty.FLIGHT)
    less /= uncertainty.change_over(1.0, SOON)
    return wind + less * (pairs["soon"].told_for(wind) - wind)


def readings(sounding, how, pairs):
    """Tell a part of a sounding."""
    told, when = [], datetime.fromisoformat(sounding.time)
    if "near" in how:
        near = dict(how["near"])
        z, away = near.pop("height"), near.pop("away", 0.0)
        wind, hours = complex(sounding.at(MAST)), how.get("hours", 0.0)
        if hours:
            wind = pairs["hour"].told_for(wind)
        elif pairs["off"]:
            wind = soon(wind, pairs)
        if away:
            wind = pairs["away"].told_for(wind)
        shape = surface_shape([z, MAST], 0.03)
        wind *= float(shape[0] / shape[1])
        size = uncertainty.FRESH_ERROR, uncertainty.SPEED_SHARE * abs(wind)
        wind += pairs["off"] * np.hypot(*size) * vector(pairs["rng"])
        turned = near.get("turn", 0.0) * pairs["rng"].standard_normal()
        wind *= np.exp(1j * pairs["off"] * turned)
        kept = {"kind": "surface", "away": away, **near}
        valid = when - timedelta(hours=hours)
        told.append(reading([wind], [z], "told", valid=valid, **kept))
    if "aloft" in how:
        heights, age = how["aloft"], how.get("old", 0.0)
        wind = sounding.at(heights)
        if age:
            # The change of the mast's wind, as much larger aloft as changes are there.
            low = complex(sounding.at(MAST))
            off = pairs["morning"].told_for(low) - low
            size = [uncertainty.change_over(abs(w), 1.0) for w in (low, *wind)]
            wind = wind + off * np.array(size[1:]) / size[0]
        alike = np.exp(-abs(np.subtract.outer(heights, heights)) / ALIKE)
        luck = np.linalg.cholesky(alike) @ vector(pairs["rng"], len(heights))
        wind = wind + pairs["off"] * ALOFT * luck
        for i in np.flatnonzero(pairs["off"] * (np.array(heights) <= LOG_TOP)):
            # Near the ground a table too is read by a meter, and flown minutes later.
            wind[i] = wind[i] if age else soon(wind[i], pairs)
            size = uncertainty.FRESH_ERROR, uncertainty.SPEED_SHARE * abs(wind[i])
            wind[i] += np.hypot(*size) * vector(pairs["rng"])
        kept = {"valid": when - timedelta(hours=age), "error": ALOFT}
        told.append(reading(wind, heights, "aloft", unit=KNOT, degrees=5.0, **kept))
    return told


def misses(sounding, how, pairs):
    """Give miss, and deviation of a component, of the drift told, by height [m]."""
    when = datetime.fromisoformat(sounding.time)
    setting = Setting(0.0, when=when, now=when, place=(sounding.latitude, 0.0))
    wind = merge(readings(sounding, how, pairs), setting)
    for top in TOPS:
        true, depth, z = drift(sounding, top)
        east, north = wind.at(z)
        deviation = np.linalg.norm(depth @ error_modes(wind, z))
        off = (true - depth @ (east + 1j * north)) / SINK
        yield top, off, deviation / SINK


def drift(sounding, top):
    """Give the sum of a sounding's wind over the way down, and what each height counts."""
    z = np.linspace(0.0, top, 61)
    depth = np.full(z.size, z[1])
    depth[[0, -1]] /= 2
    shape = surface_shape([*np.minimum(z, MAST), MAST], 0.03)
    return depth @ (sounding.at(np.maximum(z, MAST)) * shape[:-1] / shape[-1]), depth, z


def groups(sounding):
    """Name the groups that a sounding counts in."""
    sun = sounding.sun
    yield "all"
    yield "day" if sun > 10 else "low sun" if sun >= -3 else "night"
    if sounding.source == "raob1999":
        yield "not severe"


def parts(soundings, by):
    """Split soundings into what is judged and what is fitted on."""
    fold = [s.day % 5 if by == "day" else s.source for s in soundings]
    for number, key in enumerate(sorted(set(fold))):
        yield (
            number,
            [s for s, f in zip(soundings, fold, strict=True) if f == key],
            [s for s, f in zip(soundings, fold, strict=True) if f != key],
        )


def merge_sun(sounding):
    """Let the sun stand where the sounding says it did."""
    sys.modules["driftmap.winds.merge"].sun_height = lambda *_: sounding.sun


UNIT = vector(np.random.default_rng(1), 400)
UNIT *= np.sqrt((TAILS - 2) / np.random.default_rng(2).chisquare(TAILS, 400))
APART = np.mean(abs(UNIT[:, None] - UNIT[None, :])) / 2


def energy(off, deviation):
    """Give the energy score of a landing, in two dimensions [m]."""
    return np.mean(abs(off - deviation * UNIT)) - APART * deviation


def climate(drifts):
    """Give the area of the line that holds 90 % of drifts, and their mean energy score."""
    away = drifts - np.mean(drifts)
    size = np.cov(np.array([away.real, away.imag]))
    plain = np.array([away.real, away.imag])
    reach = np.sqrt(np.sum(plain * np.linalg.solve(size, plain), axis=0))
    area = np.pi * np.quantile(reach, 0.9) ** 2 * np.sqrt(np.linalg.det(size))
    apart = np.mean(abs(drifts[:, None] - drifts[None, :]))
    return area, apart / 2


def pairs_of(given):
    """Give what turns a number into real pairs and errors to borrow from."""
    mast = read_mast(given.mast)
    away, (told, true) = read_stations(given.reports, given.places, half=1)
    far = (away > 20e3) & (away < 40e3)

    def pairs(number):
        rng = np.random.default_rng(number)
        return {
            "rng": rng,
            "off": not given.exact,
            "soon": Pairs(*later(mast, SOON, half=1), rng),
            "hour": Pairs(*later(mast, 1.0, half=1), rng),
            "morning": Pairs(*later(mast, MORNING, half=1), rng),
            "away": Pairs(told[far], true[far], rng),
        }

    return pairs


def judged(given):
    """Judge every sounding by a fit without it; misses and drifts by group."""
    soundings = [s for s in read(given.soundings) if abs(s.at(MAST)) < 13]
    kept = {
        "change": fit_change(read_mast(given.mast)),
        "elsewhere": fit_elsewhere(given.reports, given.places),
    }
    pairs, rows, drifts = pairs_of(given), {}, {}
    for number, judged, fitted in parts(soundings, given.by):
        table = {**fit_table(fitted), **kept}
        profile_law.fitted = uncertainty.fitted = lambda table=table: table
        borrowed = pairs(number)
        for sounding in judged[:: given.every]:
            if np.isnan(sounding.at(2000.0).real):
                continue
            merge_sun(sounding)
            for top in TOPS:
                for group in groups(sounding):
                    whole = drift(sounding, top)[0] / SINK
                    drifts.setdefault((top, group), []).append(whole)
            for name, how in TOLD.items():
                draws = {group: DRAWS.get(group, FEWEST) for group in groups(sounding)}
                for drawn in range(max(draws.values())):
                    for top, *miss in misses(sounding, how, borrowed):
                        for group in (g for g in draws if drawn < draws[g]):
                            rows.setdefault((name, top, group), []).append(miss)
    return rows, drifts


def table(rows, drifts):
    """Set the rows as a table."""
    climates = {key: climate(np.array(found)) for key, found in drifts.items()}
    yield (
        "| told | from | when (n) | 50 % | 90 % | 99 % | 99.9 % | spread × "
        "| area of climate's | score of climate's |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    order = ["all", "day", "low sun", "night", "not severe"]
    names = list(TOLD)
    for key in sorted(rows, key=lambda k: (names.index(k[0]), k[1], order.index(k[2]))):
        name, top, group = key
        off, size = np.array(rows[key]).T
        ratio, size = abs(off) / size.real, size.real
        held = " | ".join(
            f"{100 * np.mean(ratio < line):.4g}" for line in LINES.values()
        )
        area, score = climates[top, group]
        own = np.pi * np.mean((LINES[90] * size) ** 2) / area
        ours = np.mean([energy(o, s) for o, s in zip(off, size, strict=True)]) / score
        yield (
            f"| {name} | {top:.0f} m | {group} ({len(drifts[top, group])}) | {held} "
            f"| {np.sqrt(np.mean(ratio**2) / 2):.2f} | {100 * own:.0f} % | {100 * ours:.0f} % |"
        )


def within(lines):
    """Count rows that hold what they say: 50 ± 7, 90 ± 4, 99 ± 1.5, 99.7 or more."""
    good = []
    for row in lines[2:]:
        a, b, c, d = (float(cell) for cell in row.split("|")[4:8])
        good.append(abs(a - 50) <= 7 and abs(b - 90) <= 4 and c >= 97.5 and d >= 99.7)
    return f"{sum(good)} of {len(good)} rows"


def sides(given):
    """Tell how errors along the surface wind compare with those across, and what it costs."""
    found = {}
    for s in read(given.soundings):
        start = complex(s.at(MAST))
        if 1 < abs(start) < 13:
            own = profile_law.field_of(s.sun, s.latitude, abs(start))
            z = np.array([200.0, 450.0, 900.0, 1500.0])
            usual = own.carry(z, 0.03) * start
            usual += own.over(z) * start / np.sqrt(abs(start) ** 2 + 1.0)
            off = (s.at(z) - usual) * abs(start) / start
            for height, e in zip(z, off, strict=True):
                found.setdefault(height, []).append(e)
    for height, errors in found.items():
        e = np.array(errors)[~np.isnan(errors)]
        along, across = np.sqrt(np.mean(e.real**2)), np.sqrt(np.mean(e.imag**2))
        wider = (along**2 + across**2) / 2 / (along * across) - 1
        yield (
            f"{height:.0f} m: along {along:.2f}, across {across:.2f} m/s, ratio "
            f"{along / across:.2f}; an ellipse would take {100 * wider:.1f} % less ground"
        )


def main():
    """Print the tables."""
    ask = argparse.ArgumentParser(description=__doc__)
    for name in ("soundings", "mast", "reports", "places"):
        ask.add_argument(name)
    ask.add_argument("--every", type=int, default=1, help="judge every n-th only")
    ask.add_argument("--by", choices=["day", "source"], default="day")
    ask.add_argument("--exact", action="store_true", help="told as they are")
    ask.add_argument("--write", action="store_true", help="into MEASURED.md")
    given = ask.parse_args()
    lines = list(table(*judged(given)))
    print("\n".join(lines))
    parts = [row for row in lines if not re.search(r"\| (all|not severe) |whole", row)]
    print(within(parts))
    print("\n".join(sides(given)))
    if given.write:
        page = Path(__file__).with_name("MEASURED.md")
        text = page.read_text(encoding="utf-8")
        before, rest = text.split(START)
        _, after = rest.split(END)
        shown = [line for line in lines if not re.search("[|] all |whole", line)]
        middle = "\n".join([START, "", *shown, "", END])
        page.write_text(before + middle + after, encoding="utf-8")


if __name__ == "__main__":
    main()
