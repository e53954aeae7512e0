"""What every opening of a flight meets, as figures to show."""

from __future__ import annotations

from typing import Any

import numpy as np

from driftmap.air.atmosphere import FloatArray
from driftmap.failures.likelihood import WORKS
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.openings import OPENED

__all__ = ["opening_figures", "percentiles"]

_KEYS = {
    "speed_mps": "speed",
    "load_n": "load",
    "load_over_weight": "weights",
    "snatch_n": "snatch",
    "height_m": "height",
}


def percentiles(values: FloatArray) -> dict[str, float]:
    """Give the middle of values and where 5 and 95 % of them lie below."""
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    return {"p5": float(low), "p50": float(middle), "p95": float(high)}


def opening_figures(cloud: Cloud) -> list[dict[str, Any]]:
    """List what each device meets on opening, by cause, whatever comes of it.

    Parameters
    ----------
    cloud : Cloud
        The flights.

    Returns
    -------
    list of dict
        ``cause`` and ``device``, percentiles of speed, load, load over weight, snatch and
        height, and the weakest strength stated or None. A failure in which a device opens
        just as planned is left out.
    """
    devices = {device.name: device for device in cloud.plan.flight.recovery}
    found = []
    for (cause, name), opened in cloud.openings.items():
        planned = cloud.openings.get((WORKS, name))
        if cause != WORKS and planned is not None and np.array_equal(opened, planned):
            continue
        rows = dict(zip(OPENED, opened, strict=True))
        figures = {key: percentiles(rows[row]) for key, row in _KEYS.items()}
        weakest = min(devices[name].strength.values(), default=None)
        found.append({"cause": cause, "device": name, **figures, "strength_n": weakest})
    return found
