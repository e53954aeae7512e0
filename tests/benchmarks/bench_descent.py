"""Landings per second on the standard mix, against scipy and against C.

    python tests/benchmarks/bench_descent.py [BODIES]

Prints, in one run, landings per second of the engine (all cores), of scipy's solve_ivp
(RK45, 1e-6, one body after the other) and, where there is a C compiler, of a plain
Runge-Kutta loop in C on one core at the largest step of a list that is as accurate as the
engine; their ratios; errors against DOP853 at 1e-10; and peak memory. A benchmark measures;
nothing here passes or fails.
"""

import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from mix import bodies, engine_input, one_by_one

from driftmap.trajectory.descent import fall

STEPS = (1.6, 0.8, 0.4, 0.2, 0.1, 0.05)  # s


def best(call, times):
    """Shortest of several runs [s]."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spans.append(time.perf_counter() - start)
    return min(spans)


def misses(east, north, truth):
    """Distance of landings from the true ones [m]."""
    return np.hypot(east - truth[:, 0], north - truth[:, 1])


def told(miss):
    """Say how far off landings are."""
    return f"99 % within {np.quantile(miss, 0.99):.2f} m, all within {miss.max():.2f} m"


class Loop:
    """The loop in C, compiled into a folder of its own."""

    def __init__(self, folder):
        self.program = Path(folder) / "rk4"
        source = Path(__file__).with_name("rk4.c")
        options = ["-O3", "-march=native", "-ffast-math"]
        command = ["cc", *options, source, "-o", self.program, "-lm"]
        subprocess.run(command, check=True)

    def run(self, n, step):
        """Landing points (n, 2) [m] and seconds taken."""
        mass, drag_area, height, scale, turn, sideways = bodies(n)
        columns = (
            drag_area / (2 * mass),
            height,
            *sideways.T,
            scale,
            np.cos(turn),
            np.sin(turn),
        )
        given = np.column_stack(columns).tobytes()
        done = subprocess.run(
            [self.program, str(n), str(step)],
            input=given,
            capture_output=True,
            check=True,
        )
        return np.frombuffer(done.stdout).reshape(n, 2), float(done.stderr)


def against_c(ours, miss, truth, n=100_000):
    """Time the C loop at the largest step that is as accurate as the engine."""
    with tempfile.TemporaryDirectory() as folder:
        loop = Loop(folder)
        for step in STEPS:
            landed, _ = loop.run(len(truth), step)
            off = misses(*landed.T, truth)
            if np.quantile(off, 0.99) <= np.quantile(miss, 0.99):
                break
        rate = n / min(loop.run(n, step)[1] for _ in range(3))
    print(f"C, one core, {step} s:    {rate:12,.0f} landings/s ({told(off)})")
    print(f"ratio:                 {ours / rate:12,.1f}")


def main(n=500_000, few=400):
    """Measure and print."""
    given = engine_input(n)
    ours = n / best(lambda: fall(*given), 5)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    loop = few / best(lambda: one_by_one(few), 1)
    truth, landed = one_by_one(few, tight=True), fall(*engine_input(few))
    miss = misses(landed.east, landed.north, truth)
    print(f"engine, {n:,} bodies:  {ours:12,.0f} landings/s ({told(miss)})")
    print(f"solve_ivp, one by one: {loop:12,.0f} landings/s")
    print(f"ratio:                 {ours / loop:12,.0f}")
    if shutil.which("cc"):
        against_c(ours, miss, truth)
    print(f"peak memory:           {peak:12,.0f} MiB")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:2]))
