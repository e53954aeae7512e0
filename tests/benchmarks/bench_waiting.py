"""What people wait for, side by side with an earlier commit, in one run.

    python tests/benchmarks/bench_waiting.py [--than COMMIT] [WHAT ...]

Runs each command of a list from this tree and from a copy of COMMIT, in turns, and prints
for both the processor time of user and system together (which a busy machine moves little),
the ratio, the time on the clock and the greatest memory; then whether clouds of the two are
alike (two-sample tests on landings of every piece, as the luck of a seed may differ). WHAT
picks rows by their names; without any, all are run: some minutes. A command that COMMIT does
not know has no figure there. A benchmark measures; nothing here passes or fails.
"""

import argparse
import math
import os
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).parents[2]
THAN = "d1885fb"
SITE, WHEN = "sites/saltgrass-flat.geojson", ["--when", "2026-06-13T08:30-07:00"]
MORNING = ["--site", SITE, "--wind", "examples/morning.csv", *WHEN]
PLAN = ["--site", SITE, "--samples", "2000"]
FIXED, YEAR = "fixed.toml", "year.csv"
CLOUDS = """
import sys, numpy as np
from driftmap.air.wind import WindProfile
from driftmap.montecarlo.cloud import fly
from driftmap.rocket.flightfile import read_flight
z = np.array([0, 10, 100, 300, 600, 1000, 1500, 2000, 3000.0])
wind = WindProfile(z, 5 * (0.5 + z / 1500), 0 * z + 1.5, 0 * z + 1.0)
cloud = fly(read_flight(sys.argv[1]), wind, 1200.0, samples=int(sys.argv[2]), seed=3)
if len(sys.argv) > 3:
    rows = {f"{p.case}|{p.body}": np.stack([cloud.east[p.rows], cloud.north[p.rows],
            cloud.speed[p.rows]]) for p in cloud.parts if np.ptp(p.stands_for) == 0}
    np.savez(sys.argv[3], **rows)
"""
ROWS = {
    **{
        f"assess {name}": ["assess", f"examples/{name}.toml", *MORNING]
        for name in ("willet", "whimbrel", "dunlin")
    },
    "assess --propose": ["assess", "examples/willet.toml", *MORNING, "--propose"],
    "dial, rail with the wind": ["dial", "examples/willet.toml", *PLAN],
    "dial, rail fixed": ["dial", FIXED, *PLAN],
    "limits, 16 directions": ["limits", "examples/willet.toml", *PLAN],
    "limits, 36 by 10 winds": [
        *("limits", "examples/willet.toml", *PLAN),
        *("--directions", "36", "--steps", "10"),
    ],
    "layout": ["layout", SITE, "--flight", "examples/willet.toml"],
    "season, a year of hours": [
        *("season", "examples/willet.toml", *PLAN, "--winds", YEAR, "--check", "0")
    ],
    "a million flights": ["examples/willet.toml", "1000000"],
}


def copy_of(commit, folder):
    """Unpack a commit."""
    packed = subprocess.run(
        ["git", "archive", commit], cwd=ROOT, check=True, capture_output=True
    )
    subprocess.run(["tar", "-x", "-C", folder], input=packed.stdout, check=True)


def fix_the_rail(tree):
    """Write the flight with a rail of fixed bearing beside its examples."""
    text = (tree / "examples/willet.toml").read_text()
    text = text.replace('"into the wind"', '"245 deg"')
    curve = tree / "examples/willet_motor"
    return text.replace("willet_motor", str(curve))


def a_year():
    """Write a year of hourly winds, strong by day and light by night, as invented."""
    hours = range(8760)
    start = datetime(2025, 1, 1, tzinfo=UTC)
    rows = ["time_utc,from_deg,speed_mps"]
    for hour in hours:
        speed = 4 + 2.5 * math.sin(hour * math.tau / 24) + 2 * math.sin(hour / 37)
        way = (240 + 90 * math.sin(hour / 53) + 60 * math.sin(hour / 11)) % 360
        time = start + timedelta(hours=hour)
        rows.append(f"{time:%Y-%m-%dT%H:%MZ},{way:.0f},{max(speed, 0.0):.1f}")
    return "\n".join(rows) + "\n"


def measured(tree, words, folder):
    """Run a command in a tree; give processor time [s], time [s], memory [MiB], or None."""
    own = {FIXED, YEAR}
    words = [str(folder / word) if word in own else word for word in words]
    code = "from driftmap.cli import main; main()"
    if words[0].endswith(".toml"):
        code = CLOUDS
    elif words[0] != "limits":
        out = tempfile.mkdtemp(dir=folder)  # nothing is left to go on from
        words = [*words, "--out", out]
    command = [sys.executable, "-c", code, *words]
    env = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": ""}
    start = time.perf_counter()
    process = subprocess.Popen(
        command,
        cwd=tree,
        env=env,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 3, 4):
        return None
    spent = time.perf_counter() - start
    return used.ru_utime + used.ru_stime, spent, used.ru_maxrss / 1024


def best(runs):
    """Least of each figure; None where the command is not known."""
    runs = [run for run in runs if run is not None]
    return [min(figures) for figures in zip(*runs, strict=True)] if runs else None


def alike(trees, folder):
    """Say how unlike landings of the two trees are: least p of all tests, and how many."""
    import numpy as np
    from scipy.stats import ks_2samp

    found = []
    for name in ("willet", "whimbrel", "dunlin"):
        files = [folder / f"{name}-{i}.npz" for i in range(2)]
        for tree, file in zip(trees, files, strict=True):
            measured(tree, [f"examples/{name}.toml", "8000", str(file)], folder)
        one, other = (np.load(file) for file in files)
        for key in set(one.files) & set(other.files):
            pairs = zip(one[key], other[key], strict=True)
            found += [(ks_2samp(a, b).pvalue, f"{name} {key}") for a, b in pairs]
    least, where = min(found)
    return (
        f"{len(found)} two-sample tests of landings: least p {least:.2g} ({where}); one "
        f"in twenty runs has less than {0.05 / len(found):.2g}"
    )


def main():
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--than", default=THAN)
    asked.add_argument("--times", type=int, default=2)
    asked.add_argument("what", nargs="*")
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        then = folder / "then"
        then.mkdir()
        copy_of(told.than, then)
        (folder / YEAR).write_text(a_year())
        trees = ROOT, then
        print(f"{'':26} {'now':>30}    {told.than:>30}    ratio")
        for name, words in ROWS.items():
            if told.what and not any(what in name for what in told.what):
                continue
            runs = ([], [])
            for _ in range(told.times):
                for tree, own in zip(trees, runs, strict=True):
                    (folder / FIXED).write_text(fix_the_rail(tree))
                    own.append(measured(tree, words, folder))
            now, before = (best(own) for own in runs)
            shown = [
                "not known there".rjust(30)
                if each is None
                else f"{each[0]:7.2f} s cpu {each[1]:7.2f} s {each[2]:6,.0f} MiB"
                for each in (now, before)
            ]
            ratio = f"{now[0] / before[0]:.2f}" if now and before else ""
            print(f"{name:26} {shown[0]:>32}  {shown[1]:>32}  {ratio}", flush=True)
        if not told.what or "alike" in told.what:
            print(alike(trees, folder))


if __name__ == "__main__":
    main()
