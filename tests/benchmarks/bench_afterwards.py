"""Proof of what comes after the flight: run it, read the table.

    python tests/benchmarks/bench_afterwards.py [--write]

Truths are flown apart from the flights that are weighed. Where the truth is richer than the
sampler, its canopy is larger and glides, its mass is off, the wind errs more and turns on the
way. ``--write`` puts the table into DEVELOPERS.md.
"""

from __future__ import annotations

import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from truths import Truth, draw_truths, finds, reports

from driftmap import fly, read_flight, read_site, read_wind
from driftmap.ground.frame import to_lonlat
from driftmap.hazard.probability import binomial
from driftmap.logbook.entry import new_entry
from driftmap.logbook.store import Log
from driftmap.logbook.written import assessment_entry
from driftmap.observations.flown import flown_cases
from driftmap.observations.observation import Odds
from driftmap.observations.toward import know
from driftmap.review.findings import review
from driftmap.review.records import flights_of, records_of
from driftmap.search.chances import chances_of
from driftmap.verdict.assessment import SHARES, assess

ROOT = Path(__file__).parents[2]
SITE = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
FLIGHT = read_flight(ROOT / "examples" / "willet.toml")
MARK = (
    "<!-- afterwards: written by bench_afterwards.py -->",
    "<!-- afterwards: end -->",
)
FLIGHTS = 8192


def day(number):
    """Give the wind of a day as it was read."""
    words = f"{6 + number % 7} mph from {(40 * number) % 360}"
    return read_wind(words, site_altitude=SITE.elevation)


def richer():
    """Give the same flight as it truly is: more cloth, more glide, more mass."""
    main = FLIGHT.recovery[0]
    drag = main.drag_coefficient
    more = main.model_copy(
        update={
            "drag_coefficient": drag.__class__(drag.value * 1.6, drag.spread),
            "glide": 4.0,
        }
    )
    mass = FLIGHT.airframe.mass
    heavy = mass.__class__(mass.value * 1.03, mass.spread)
    frame = FLIGHT.airframe.model_copy(update={"mass": heavy})
    return FLIGHT.model_copy(update={"recovery": (more,), "airframe": frame})


def wilder(wind, rng):
    """Give a wind as it truly is: it errs half as much again, and turns with height."""
    height = np.minimum(np.asarray(wind.height), 1500.0)
    angle = np.radians(rng.normal(0, 8)) * height / 600
    c, s = np.cos(angle), np.sin(angle)
    east, north = np.asarray(wind.east), np.asarray(wind.north)
    more = np.asarray(wind.error) * 1.5
    return replace(
        wind, east=c * east + s * north, north=c * north - s * east, error=more
    )


def share(hits, count):
    p = binomial(int(hits), int(count))
    return f"{100 * p.estimate:.1f} % ({100 * p.lower:.1f} to {100 * p.upper:.1f})"


def ground(wind, truths, cloud, rng, name):
    """Count how often the least ground held the rocket."""
    held = np.zeros(3)
    for truth in truths:
        known = know(cloud, wind, reports(truth, rng), most_lots=1)
        lies = shapely.Point(*truth.lies("rocket"))
        lines = chances_of(known, "rocket", SITE, "us").lines
        held += [line.shape.covers(lies) for line in lines]
    for line, hits in zip((50, 80, 95), held, strict=True):
        yield (
            f"search: {line} % ground held the rocket, {name}",
            share(hits, len(truths)),
        )


def reliability(wind, cloud, truths, rng, name, *, found, level):
    """Compare stated chances of cases with how often they were the true one."""
    told, had = [], []
    for truth in truths:
        seen = finds(truth, rng, ("rocket",)) if found else reports(truth, rng)
        known = know(cloud, wind, [level, *seen], most_lots=1)
        for case, chance in known.chances.items():
            told.append(chance)
            had.append(case == truth.flown.case.name)
    told, had = np.array(told), np.array(had)
    place = np.digitize(told, (0.05, 0.2, 0.4, 0.6, 0.8, 0.95))
    for number in range(7):
        within = place == number
        if within.sum() >= 20:
            low, high = (0, 5, 20, 40, 60, 80, 95, 100)[number : number + 2]
            yield (
                f"explain: case said to be {low} to {high} % likely ({name}; on average "
                f"{100 * told[within].mean():.1f} %)",
                share(had[within].sum(), within.sum()),
            )
    weight = np.bincount(place, minlength=7) / place.size
    gaps = [
        abs(told[place == n].mean() - had[place == n].mean()) if weight[n] else 0.0
        for n in range(7)
    ]
    yield (
        f"explain: mean gap of stated chances ({name})",
        f"{100 * weight @ gaps:.1f} %",
    )


def even(cases, truths, count, rng):
    """Draw truths evenly over cases, with the odds that make that so."""
    level = Odds({f.case.name: 1 / f.prior.sum() for f in cases}, "cases drawn evenly")
    drawn = []
    for number in range(count):
        flown = truths[number % len(truths)]
        weights = flown.prior / flown.prior.sum()
        drawn.append(Truth(flown, int(rng.choice(weights.size, p=weights))))
    return level, drawn


def logged(log, rng, *, days=20, each=100):
    """Write 2,000 outcomes whose truth is richer than the forecast; give what was planted."""
    truths = []
    for number in range(days):
        wind = day(number)
        result = assess(FLIGHT, SITE, wind, samples=2000, seed=number + 1)
        entry, contents = assessment_entry(
            result, {"flight": [str(ROOT / "examples" / "willet.toml")]}, None
        )
        log.append([entry], contents)
        lay = []
        for turned in range(4):
            true = fly(
                richer(),
                wilder(wind, rng),
                SITE.elevation,
                samples=4096,
                seed=1000 + 10 * number + turned,
                keep_falls=True,
            )
            works = flown_cases(true, wind)[0]
            at = works.landing("rocket")[:, 0]
            lay.append(at)
            entries = []
            for who in rng.choice(at.shape[1], each // 4, replace=False):
                longitude, latitude = to_lonlat(
                    (SITE.longitude, SITE.latitude), *at[:, who]
                )
                case = "late opening" if rng.random() < 0.06 else "recovery works"
                find = {"piece": "rocket", "at": [float(latitude), float(longitude)]}
                body = {"flew": True, "case": case, "found": [find]}
                if case == "late opening":
                    del body["found"]
                entries.append(new_entry("outcome", body, about=entry.id))
            log.append(entries)
        truths.append(np.concatenate(lay, axis=1))
    return truths


def planted(log, rng):
    """Hold what the review finds against what was planted."""
    truths = logged(log, rng)
    entries = log.current()
    records = records_of(entries)
    found = review(records, flights_of(entries))
    assessments = [e for e in entries if e.kind == "assessment"]
    x, y, across = [], [], []
    for entry, lay in zip(assessments, truths, strict=True):
        s = np.sin(entry.body["wind_10_m"]["from_rad"])
        c = np.cos(entry.body["wind_10_m"]["from_rad"])
        works = entry.body["forecast"][0]["pieces"]["rocket"]
        told = np.array(works).T
        x.append(
            (-s * told[0] - c * told[1]).mean() / (-s * told[0] - c * told[1]).std()
        )
        y.append((-s * lay[0] - c * lay[1]).mean() / (-s * told[0] - c * told[1]).std())
        right = -c * told[0] + s * told[1]
        across.append(((-c * lay[0] + s * lay[1]) - right.mean()) / right.std(ddof=1))
    drift = float(np.dot(x, y) / np.dot(x, x))
    width = float(np.concatenate(across).std())
    for name, truth, figure in (
        ("drift", drift, found.drift),
        ("spread across the wind", width, found.width),
    ):
        yield (
            f"review: factor on the {name}, planted {truth:.2f}",
            f"{figure.value:.2f} ({figure.lower:.2f} to {figure.upper:.2f})",
        )
    late = next(c for c in found.causes if c.cause == "late opening")
    yield (
        f"review: late opening, planted 6.0 %, assumed {100 * late.assumed:.1f} %",
        f"{100 * late.updated.value:.1f} % ({100 * late.updated.lower:.1f} to "
        f"{100 * late.updated.upper:.1f})",
    )
    for coverage, line in zip(found.coverage, SHARES, strict=True):
        seen = coverage.seen
        yield (
            f"review: finds inside the {line:.0%} line of forecasts that err so",
            f"{100 * seen.value:.1f} % ({100 * seen.lower:.1f} to {100 * seen.upper:.1f})",
        )


def speed(wind):
    """Time a search of 100,000 flights a case, beyond flying them."""
    start = time.perf_counter()
    cloud = fly(FLIGHT, wind, SITE.elevation, samples=100_000, seed=1, keep_falls=True)
    flown = time.perf_counter()
    truth = Truth(flown_cases(cloud, wind)[0], 5)
    known = know(cloud, wind, reports(truth, np.random.default_rng(1)))
    chances_of(known, "rocket", SITE, "us")
    done = time.perf_counter()
    yield "search: 100,000 flights a case, beyond flying them", f"{done - flown:.1f} s"
    yield "flying them", f"{flown - start:.1f} s"


def flown(seed, *, rich=False, samples=FLIGHTS):
    """Fly the demo flight of one day, as foretold or as richer truth."""
    wind = day(1)
    flight, air = FLIGHT, wind
    if rich:
        flight, air = richer(), wilder(wind, np.random.default_rng(seed))
    cloud = fly(
        flight, air, SITE.elevation, samples=samples, seed=seed, keep_falls=True
    )
    return wind, cloud


def part(name):
    """Work out the rows of one part of the table; tell them as soon as they are known."""
    rows = _part(name)
    for row in rows:
        print(*row, sep=": ", file=sys.stderr, flush=True)
    return rows


def _part(name):
    rng = np.random.default_rng(7)
    if name == "speed":
        return list(speed(day(1)))
    if name == "review":
        with (
            tempfile.TemporaryDirectory() as folder,
            Log(f"{folder}/log.sqlite") as log,
        ):
            return list(planted(log, rng))
    wind, cloud = flown(1)
    _, other = flown(3 if name == "richer" else 2, rich=name == "richer")
    if name in ("own", "richer"):
        truths = draw_truths(other, wind, 400 if name == "own" else 100, rng)
        return list(ground(wind, truths, cloud, rng, f"{name} truth"))
    cases, truths = flown_cases(cloud, wind), flown_cases(other, wind)
    found = name == "finds"
    level, drawn = even(cases, truths, 16 if found else 700, rng)
    told = "a find to 5 m" if found else "reports"
    return list(reliability(wind, cloud, drawn, rng, told, found=found, level=level))


def main():
    """Run all, print the table, and write it where asked."""
    names = ("own", "review", "reports", "finds", "richer")
    with ProcessPoolExecutor(2) as pool:
        lots = dict(zip(names, pool.map(part, names), strict=True))
    # Alone on the machine, as far as that goes.
    lots["speed"] = part("speed")
    order = ("own", "richer", "reports", "finds", "review", "speed")
    rows = [row for name in order for row in lots[name]]
    table = ["| what | figure (95 % interval) |", "| --- | --- |"]
    table += [f"| {name} | {figure} |" for name, figure in rows]
    text = "\n".join(table)
    print(text)
    if "--write" in sys.argv:
        guide = ROOT / "DEVELOPERS.md"
        head, _, rest = guide.read_text(encoding="utf-8").partition(MARK[0])
        _, _, tail = rest.partition(MARK[1])
        whole = f"{head}{MARK[0]}\n\n{text}\n\n{MARK[1]}{tail}"
        guide.write_text(whole, encoding="utf-8")


if __name__ == "__main__":
    main()
