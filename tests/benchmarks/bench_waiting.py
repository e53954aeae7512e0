"""What people wait for, and side by side with an earlier commit where one is named.

    python tests/benchmarks/bench_waiting.py [--than COMMIT] [--times N] [WHAT ...]

Prints time on the clock, processor time of user and system together (which a busy machine
moves less) and the greatest memory of a process for each command of a list, as rows of the
guide's table, and the load of the machine at their start. With `--than` each is run from a
copy of COMMIT too, in turns, with the ratio of processor times; then it is told whether
clouds of the two are alike (two-sample tests on landings of every piece, as the luck of a
seed may differ). WHAT picks rows by their names; without any, all are run: some minutes. A
command that COMMIT does not know has no figure there. A benchmark measures; nothing here
passes or fails.
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
SITE, WHEN = "sites/saltgrass-flat.geojson", ["--when", "2026-06-13T08:30-07:00"]
MORNING = ["--site", SITE, "--wind", "examples/morning.csv", *WHEN]
ANSWERED = ["--answers", "examples/answers.toml"]
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
    "`assess` of the README, 20,000 flights, with its page": [
        *("assess", "examples/willet.toml", *MORNING, *ANSWERED)
    ],
    "the same, its questions open, with `--propose`": [
        *("assess", "examples/willet.toml", *MORNING, "--propose")
    ],
    "a no-go of the README's noon with `--propose`": [
        *("assess", "examples/willet.toml", "--site", SITE, "--propose"),
        *("--wind", "examples/noon.csv", "--when", "2026-06-13T12:15-07:00"),
    ],
    "the README's with 1,000,000 flights": [
        *("assess", "examples/willet.toml", *MORNING, *ANSWERED),
        *("--samples", "1000000"),
    ],
    "`assess` of the Whimbrel": ["assess", "examples/whimbrel.toml", *MORNING],
    "`assess` of the Dunlin": ["assess", "examples/dunlin.toml", *MORNING],
    "the README's dial, 12 by 6 winds of 4,000 flights": [
        *("dial", "examples/dunlin.toml", "--site", "sites/saltgrass-west.geojson"),
        *("--answers", "examples/answers-dunlin.toml"),
        *("--answers", "examples/answers-west.toml", *WHEN),
        *("--directions", "12", "--speeds", "6", "--top-speed", "9 mph"),
    ],
    "a dial of 36 by 10 winds of 2,000 flights, rail with the wind": [
        *("dial", "examples/willet.toml", *PLAN, *WHEN)
    ],
    "the same with a fixed rail": ["dial", FIXED, *PLAN, *WHEN],
    "limits in 8 directions, the README's": [
        *("limits", "examples/dunlin.toml", "--site", "sites/larkfold-farm.geojson"),
        *("--directions", "8"),
    ],
    "limits in 36 directions, 10 speeds of 2,000 flights": [
        *("limits", "examples/willet.toml", *PLAN),
        *("--directions", "36", "--steps", "10"),
    ],
    "a layout, 185 places in 16 winds of 5,000 flights": [
        *("layout", SITE, "--flight", "examples/willet.toml")
    ],
    "a season of a year of hours": [
        *("season", "examples/willet.toml", *PLAN, "--winds", YEAR, "--check", "0")
    ],
    "`search` of the README, 100,000 flights": [
        *("search", "examples/willet.toml", "--site", SITE, "--seen"),
        *("examples/seen.toml", "--wind", "examples/noon.csv"),
        *("--when", "2026-06-13T12:15-07:00", "--samples", "100000"),
    ],
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


def told(run):
    """Write a measurement as cells of the guide's table."""
    if run is None:
        return "not known there | | "
    cpu, spent, memory = run
    return f"{spent:.1f} s | {cpu:.1f} s | {memory:,.0f} MiB"


def main():
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--than")
    asked.add_argument("--times", type=int, default=2)
    asked.add_argument("what", nargs="*")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder, trees = Path(place), [ROOT]
        (folder / YEAR).write_text(a_year())
        if given.than:
            trees.append(folder / "then")
            trees[1].mkdir()
            copy_of(given.than, trees[1])
        print(f"best of {given.times}; load {os.getloadavg()[0]:.1f}\n")
        more = f" | {given.than}: clock | processor | memory | ratio" * bool(given.than)
        print(f"| what | clock | processor | memory{more} |")
        print("| --- " * (8 if more else 4) + "|")
        for name, words in ROWS.items():
            if given.what and not any(what in name for what in given.what):
                continue
            runs = [[] for _ in trees]
            for _ in range(given.times):
                for tree, own in zip(trees, runs, strict=True):
                    (folder / FIXED).write_text(fix_the_rail(tree))
                    own.append(measured(tree, words, folder))
            figures = [best(own) for own in runs]
            cells = [name, *map(told, figures)]
            if given.than:
                known = None not in figures
                cells.append(f"{figures[0][0] / figures[1][0]:.2f}" if known else "")
            print(f"| {' | '.join(cells)} |", flush=True)
        if given.than and (not given.what or "alike" in given.what):
            print(f"\n{alike(trees, folder)}")


if __name__ == "__main__":
    main()
