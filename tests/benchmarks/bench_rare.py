"""How well a rare hit is known from steered flights, against plain flights by the million.

    python tests/benchmarks/bench_rare.py [PLAIN]

Flies the embedded example plainly, ten million times unless told otherwise (eight minutes
on two cores), and counts hits of squares of 34 m about the pad. Then estimates each ten
times from 16,384 steered flights with seeds of their own, and prints these figures over
the plain one, the share of their intervals that hold it, and the time of one. A benchmark
measures; nothing here passes or fails.
"""

import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import shapely

from driftmap.ground.areas import Area
from driftmap.ground.site import read_site
from driftmap.hazard.precise import steered_hit
from driftmap.hazard.probability import inside, mixture, struck
from driftmap.montecarlo.cloud import fly, fly_again
from driftmap.rocket.flightfile import read_flight
from driftmap.winds.profile import read_wind

ROOT = Path(__file__).parents[2]
SPOTS = (
    (-200, -200), (-1100, 500), (-600, 900), (500, -100), (-400, 900), (200, 300),
    (-1000, 800), (-1300, 200), (-900, -400),
)  # fmt: skip
HALF = 17.0  # m
AT_ONCE, RUNS, FLIGHTS = 250_000, 10, 16_384


def main():
    wanted = int(float(sys.argv[1])) if len(sys.argv) > 1 else 10_000_000
    flight = read_flight(ROOT / "examples/willet.toml")
    site = read_site(ROOT / "sites/saltgrass-flat.geojson")
    wind = read_wind(
        str(ROOT / "examples/morning.csv"),
        site_altitude=site.elevation,
        when=datetime(2026, 6, 13, 15, 30, tzinfo=UTC),
    )
    areas = [
        Area(
            "spot",
            "camp",
            shapely.box(x - HALF, y - HALF, x + HALF, y + HALF),
            people=1,
        )
        for x, y in SPOTS
    ]
    parts = max(1, wanted // AT_ONCE)
    plain = np.zeros((parts, len(areas)))
    start = time.perf_counter()
    for i in range(parts):
        cloud = fly(flight, wind, site.elevation, samples=AT_ONCE, seed=7000 + i)
        plain[i] = [
            mixture(cloud, struck(cloud, inside(a.shape))).estimate for a in areas
        ]
    took = time.perf_counter() - start
    print(f"{parts * AT_ONCE:,} plain flights in {took:.0f} s")
    pilot = fly(flight, wind, site.elevation, samples=4096, seed=1)
    truth, error = plain.mean(axis=0), plain.std(axis=0) / np.sqrt(parts)
    for area, spot, true, off in zip(areas, SPOTS, truth, error, strict=True):
        start = time.perf_counter()
        found = [
            steered_hit(pilot, fly_again(pilot, wind), area, FLIGHTS, seed=100 + run)
            for run in range(RUNS)
        ]
        each = (time.perf_counter() - start) / RUNS
        over = " ".join(f"{one.estimate / true:.2f}" for one in found)
        held = sum(one.lower <= true <= one.upper for one in found)
        print(
            f"{spot[0]:6d} {spot[1]:5d} m: {true:.3g} ±{off / true:.0%}; steered over it: "
            f"{over}; {held} of {RUNS} intervals hold it; {each:.2f} s each",
            flush=True,
        )


if __name__ == "__main__":
    main()
