"""What one more reading of the wind would gain: how much smaller the ground would be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from driftmap.air.uncertainty import (
    FORECAST_SHARE,
    FRESH_ERROR,
    RATE_ERROR,
    SPEED_SHARE,
    change_over,
    forecast_error,
)
from driftmap.air.wind import HEAD, WindProfile
from driftmap.air.winderror import error_modes
from driftmap.core.checks import FloatArray
from driftmap.core.errors import DriftmapError
from driftmap.core.units import FOOT
from driftmap.montecarlo.cloud import Cloud, fly_again
from driftmap.montecarlo.falls import KNOT_COLUMNS
from driftmap.montecarlo.sensitivity import Influence

_FEW = 64  # flights that tell how long a fall stays at which height
_STEP: Final = 150.0  # m between the winds of a balloon: a minute at 2.5 m/s
_BALLOON: Final = 0.8  # m/s by the angles of each; see `driftmap.winds.pilot_balloon`
_BULLETIN: Final = tuple(thousand * 1000 * FOOT for thousand in (3, 6, 9, 12, 18))
_CLEAR: Final = 450.0  # m above the ground from which a bulletin tells a level
_LEAD: Final = 6.0  # h, of a bulletin
_ALIKE: Final = 1000.0  # m; as for forecasts in `driftmap.air.profile_law`
_TURN: Final = math.radians(10.0)  # of a direction judged at the field


@dataclass(frozen=True, slots=True)
class Worth:
    """What one more reading would leave of the ground that holds nine landings in ten.

    A pilot balloon let go now, a bulletin of winds aloft, or the wind at head height read now.
    """

    reading: str
    left: float


def dwell(heights: FloatArray, knots: FloatArray) -> FloatArray:
    """Return the seconds that a fall spends about each height, shape (k,), from the ground [m].

    From the time [s] and height [m] along the fall, shape (s, 2), from the top; what is
    flown above the highest height counts there.
    """
    time, height = knots[::-1].T
    # Half of each layer belongs to the height below it, and half to the one above.
    edges = np.concatenate(
        [[-np.inf], (heights[1:] + heights[:-1]) / 2, [max(height[-1], heights[-1])]]
    )
    return np.asarray(-np.diff(np.interp(edges, height, time)))


def worths(
    wind: WindProfile, seconds: FloatArray, share: float, site_altitude: float
) -> tuple[Worth, ...]:
    """Rank readings by how far each would shrink the 90 % line, the best first.

    From `dwell` at the wind's heights [s], and the share of the variance of the landing point
    that the wind's error makes.

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, *Gaussian Processes for Machine Learning*,
       2006, Eq. (2.24) (from memory).
    """
    flown = seconds > 0
    if not np.any(flown):
        return ()
    top = float(wind.height[flown][-1])
    modes = error_modes(wind, wind.height)
    drift = seconds @ modes
    before = float(drift @ drift)
    if before <= 0:
        return ()
    found = []
    for name, at in (
        ("balloon", np.arange(_STEP / 2, max(top, _STEP), _STEP)),
        ("bulletin", _levels_of_bulletin(top, site_altitude)),
        ("ground", np.array([HEAD])),
    ):
        if at.size:
            here = error_modes(wind, at)
            noise = _noise(name, at, np.hypot(*wind.at(at)))
            known = here @ drift
            gain = known @ np.linalg.solve(here @ here.T + noise, known)
            found.append(Worth(name, 1.0 - share * float(gain) / before))
    return tuple(sorted(found, key=lambda worth: worth.left))


def _levels_of_bulletin(top: float, site_altitude: float) -> FloatArray:
    """Return the heights that a bulletin would tell, to one level above the top."""
    heights = np.array(_BULLETIN) - site_altitude
    heights = heights[heights >= _CLEAR]
    return heights[: int(np.searchsorted(heights, top)) + 1]


def _noise(name: str, at: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the covariance of the error that a reading would have itself [m² s⁻²]."""
    if name == "balloon":
        now = np.array([change_over(float(v), 1 / 30) for v in speed])
        alike = np.multiply.outer(speed, speed) * RATE_ERROR**2
        return np.asarray(
            alike + np.multiply.outer(now, now) + _BALLOON**2 * np.eye(at.size)
        )
    if name == "bulletin":
        size = np.hypot(forecast_error(_LEAD), FORECAST_SHARE * speed)
        apart = np.abs(np.subtract.outer(at, at)) / _ALIKE
        return np.asarray(np.multiply.outer(size, size) * np.exp(-apart))
    error = np.hypot(FRESH_ERROR, math.hypot(SPEED_SHARE, _TURN) * speed)
    return np.asarray(
        np.diag(np.hypot(error, change_over(float(speed[0]), 1 / 12)) ** 2)
    )


def more_wind(
    cloud: Cloud, wind: WindProfile, found: Sequence[Influence]
) -> tuple[Worth, ...]:
    """Rank readings of the wind by how far each would shrink the 90 % line.

    ``cloud``: where everything came down; ``wind``: the wind it was flown in;
    ``found``: from `influences`, which tells what the wind has to do with it.

    Result: for the case in which all goes as planned, the best first; empty where too
    few flights were flown to tell.
    """
    share = sum(one.share for one in found if one.name == "wind")
    knots = _fall(cloud, wind) if share > 0 else None
    if knots is None:
        return ()
    seconds = dwell(wind.height, knots)
    return worths(wind, seconds, min(share, 1.0), cloud.plan.sky.altitude)


def _fall(cloud: Cloud, wind: WindProfile) -> FloatArray | None:
    """Return time and height along a middle fall, shape (s, 2), of a few flights more."""
    few_more = fly_again(cloud, wind)
    try:
        few = few_more(samples=_FEW, seed=cloud.seed, bodies=(), keep_falls=True)
    except DriftmapError:
        return None  # what is told beside a verdict does not cost the verdict
    part = next(few.of(few.tree.cases[0].name), None)
    if part is None or not part.flights:
        return None
    fall = few.falls[part.case, part.body]
    middle = np.median(fall[:, :, 0, :], axis=-1)
    return np.asarray(
        middle[:, [KNOT_COLUMNS.index("time"), KNOT_COLUMNS.index("height")]], float
    )
