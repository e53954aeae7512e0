"""Landings per second on the standard mix, against one solve_ivp call a body.

    python tests/benchmarks/bench_descent.py [BODIES]

Prints landings per second of the engine (both cores) and of scipy's solve_ivp (RK45,
1e-6, one body after the other), their ratio, the engine's error against DOP853 at 1e-10,
and peak memory. A benchmark measures; nothing here passes or fails.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
from mix import engine_input, one_by_one

from driftmap.trajectory.descent import fall


def best(call, times):
    """Shortest of several runs [s]."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spans.append(time.perf_counter() - start)
    return min(spans)


def main(n=500_000, few=400):
    """Measure and print."""
    given = engine_input(n)
    ours = n / best(lambda: fall(*given), 5)
    loop = few / best(lambda: one_by_one(few), 1)
    truth, landed = one_by_one(few, tight=True), fall(*engine_input(few))
    miss = np.hypot(landed.east - truth[:, 0], landed.north - truth[:, 1])
    print(f"engine, {n:,} bodies:  {ours:12,.0f} landings/s")
    print(f"solve_ivp, one by one: {loop:12,.0f} landings/s")
    print(f"ratio:                 {ours / loop:12,.0f}")
    print(
        f"against DOP853 1e-10:  99 % within {np.quantile(miss, 0.99):.2f} m, "
        f"all {few} within {miss.max():.2f} m, speed within "
        f"{np.abs(landed.speed - truth[:, 3]).max():.3f} m/s"
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory:           {peak:12,.0f} MiB")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:2]))
