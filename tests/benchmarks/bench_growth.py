"""How the time of a verdict grows, and how long a cold start takes.

    python tests/benchmarks/bench_growth.py

Prints the time to fly and judge the embedded example as flights, cases and levels of wind
grow, one bar a row, and the time of the command from a cold shell, with that of its
imports.
A benchmark measures; nothing here passes or fails.
"""

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from driftmap.air.column import Sky
from driftmap.air.wind import WindProfile
from driftmap.ground.site import read_site
from driftmap.montecarlo.flying import fly_block
from driftmap.montecarlo.launch import plan_launch
from driftmap.planning.trial import try_flight
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flightfile import read_flight
from driftmap.verdict.setup import Setup

ROOT = Path(__file__).parents[2]
FLIGHT, SITE = ROOT / "examples/willet.toml", ROOT / "sites/saltgrass-flat.geojson"
WIDE = 50  # characters of the longest bar


def seconds(call, times=3):
    """Shortest of several runs [s]."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spans.append(time.perf_counter() - start)
    return min(spans)


def plot(what, counts, spans):
    """Print times as bars."""
    print(f"\n{what}")
    for count, span in zip(counts, spans, strict=True):
        bar = "#" * round(WIDE * span / max(spans))
        print(f"{count:9,d} {span:8.3f} s  {bar}")


def levels(count):
    """A wind that strengthens and veers upward, told at a number of heights."""
    height = np.linspace(0, 3000, count)
    speed, toward = 3 + height / 500, np.deg2rad(30 + height / 100)
    error = np.full(count, 1.0)
    return WindProfile(height, speed * np.sin(toward), speed * np.cos(toward), error)


def growth():
    """Time flights, cases and levels."""
    flight, site, wind = read_flight(FLIGHT), read_site(SITE), levels(8)
    counts = (5_000, 10_000, 20_000, 40_000, 80_000)
    spans = [
        seconds(lambda n=n: try_flight(Setup(flight, site, n, 1), wind)) for n in counts
    ]
    plot("flights in each case, flown and judged", counts, spans)

    tree = build_cases(flight)
    plan = plan_launch(flight, wind, Sky(site.elevation, None))
    counts = range(1, len(tree.cases) + 1)
    trees = [replace(tree, cases=tree.cases[:count]) for count in counts]
    spans = [seconds(lambda t=t: fly_block(plan, t, wind, 4096, 1, 0)) for t in trees]
    plot(
        "cases, 4,096 flights, on one core (cases differ in their pieces)",
        counts,
        spans,
    )

    counts = (2, 10, 20, 40, 80, 160)
    setup = Setup(flight, site, 20_000, 1)
    spans = [seconds(lambda n=n: try_flight(setup, levels(n))) for n in counts]
    plot("levels of wind, 20,000 flights in each case", counts, spans)


def command(*words):
    """Time a command from a cold shell [s]."""
    begun = [sys.executable, "-c", "from driftmap.cli import main; main()", *words]
    return seconds(lambda: subprocess.run(begun, capture_output=True, check=False))


def main():
    """Measure and print."""
    growth()
    answers = ["--answers", str(ROOT / "examples/answers.toml")]
    given = [str(FLIGHT), "--site", str(SITE), *answers]
    wind = ["--wind", str(ROOT / "examples/morning.csv")]
    wind += ["--when", "2026-06-13T08:30-07:00"]
    with tempfile.TemporaryDirectory() as folder:
        out = ["--out", folder]
        first = command("assess", *given, *wind, "--samples", "5000", *out)
        print(f"\nassess, 5,000 a case, cold shell, with its map: {first:6.2f} s")
        rooms = "driftmap.verdict.assessment, driftmap.winds, driftmap.report.map"
        code = f"import time; t = time.perf_counter(); import {rooms}; "
        code += "print(time.perf_counter() - t)"
        told = subprocess.run(
            [sys.executable, "-c", code], check=True, capture_output=True, text=True
        )
        print(f"of it imports: {float(told.stdout):39.2f} s")


if __name__ == "__main__":
    main()
