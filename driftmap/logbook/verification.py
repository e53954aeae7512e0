"""Forecasts beside what was found, from the entries of a log, with their ranks and scores."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.ground.projection import to_local
from driftmap.logbook.entry import Entry
from driftmap.verdict.check import Kind

_ROCKET = "rocket"
_READ = ("forecast", "place", "wind_10_m")  # an assessment without them tells nothing
_SKY = (Kind.WIND_WARNED, Kind.WIND_SHEAR, Kind.INTO_CLOUD)  # no wind at 10 m tells it
_MIXED = 200  # landings drawn where the case is not known
_AGES = (
    (0.5, "under half an hour"),
    (1.5, "half an hour to 1.5 h"),
    (3.0, "1.5 to 3 h"),
)


@dataclass(frozen=True, slots=True, eq=False)
class FindRecord:
    """Where the rocket of one flight lay, beside its forecast, turned into the wind.

    `found` has shape (2,), `forecast` (2, m): downwind and to the right of it, from the pad [m].
    `device` is what it came down under, as told, or as planned if there was one only; `source`
    and `age` are of the wind; `day` is day and site, as flights of one day share the error
    of its wind; `flight` is the name of what flew; `drag` is the drag area that the device was
    foretold with, where that is known [m²]; `told` whether the outcome says what happened.
    """

    found: FloatArray
    forecast: FloatArray
    device: str
    source: str
    age: str = "not told"
    day: str = ""
    flight: str = ""
    drag: float | None = None
    told: bool = True

    @property
    def mean(self) -> FloatArray:
        """Mean of the landings foretold, shape (2,) [m]."""
        return np.asarray(self.forecast.mean(axis=1))

    @property
    def spread(self) -> FloatArray:
        """Their standard deviations, shape (2,) [m]."""
        return np.asarray(self.forecast.std(axis=1, ddof=1))


@dataclass(frozen=True, slots=True)
class Flew:
    """A flight whose case is known, by its cause, beside the likelihood assumed for each.

    `flight` names what flew.
    """

    cause: str
    likelihoods: Mapping[str, float]
    flight: str = ""


def _pairs(entries: Sequence[Entry]) -> Iterator[tuple[Entry, Entry]]:
    """Go through assessments with the outcomes of what flew."""
    known = {
        entry.id: entry
        for entry in entries
        if entry.kind == "assessment" and {*_READ} <= {*entry.body}
    }
    for entry in entries:
        flew = entry.kind == "outcome" and entry.body.get("flew", True)
        if flew and entry.about in known:
            yield known[entry.about], entry


_COARSE: Final = 0.5
"""Error of a place over the spread foretold, beyond which it shows nothing of a forecast; assumed."""


def records_of(entries: Sequence[Entry]) -> tuple[FindRecord, ...]:
    """Put forecasts and finds side by side.

    Result: one for each outcome that says where the rocket lay, well enough to tell.
    """
    found = []
    for assessed, outcome in _pairs(entries):
        finds = outcome.body.get("found", [])
        rockets = [find for find in finds if find["piece"] == _ROCKET]
        places = [find["at"] for find in rockets]
        errors = [find.get("error_m", 0.0) for find in rockets]
        points = _foretold(assessed.body, outcome.body.get("case"))
        wind = assessed.body["wind_10_m"].get("from_rad")
        # From anywhere: no way is downwind.
        if not places or points is None or wind is None:
            continue
        latitude, longitude = assessed.body["place"]
        spread = float(np.hypot(*points.std(axis=1)))
        if errors[-1] > _COARSE * spread:
            continue
        north, east = places[-1]  # who finds it elsewhere adds where it was
        east, north = to_local((longitude, latitude), east, north)
        devices = assessed.body.get("devices", [])
        device = outcome.body.get("device") or (devices[0] if len(devices) == 1 else "")
        kinds = assessed.body.get("wind_kinds", [])
        found.append(
            FindRecord(
                _turned(np.array([float(east), float(north)]), wind),
                _turned(points, wind),
                device or "not told",
                " and ".join(kinds) or "not told",
                _age(assessed.body.get("wind_age_h")),
                _day(assessed),
                str(assessed.body.get("flight", "")),
                assessed.body.get("drag_areas", {}).get(device),
                outcome.body.get("case") is not None,
            )
        )
    return tuple(found)


def lost_of(entries: Sequence[Entry]) -> tuple[str, ...]:
    """Name the flight of each outcome that flew and tells no place of the rocket."""
    return tuple(
        str(assessed.body.get("flight", ""))
        for assessed, outcome in _pairs(entries)
        if all(find["piece"] != _ROCKET for find in outcome.body.get("found", []))
    )


def _age(hours: float | None) -> str:
    if hours is None:
        return "not told"
    return next((told for most, told in _AGES if hours < most), "over 3 h")


def _day(assessed: Entry) -> str:
    when = assessed.body.get("when") or assessed.at
    return f"{when[:10]} {assessed.body.get('site', '')}"


def _turned(points: FloatArray, wind_from: float) -> FloatArray:
    """Turn east and north into downwind and right of it."""
    s, c = np.sin(wind_from), np.cos(wind_from)
    east, north = points
    return np.stack([-s * east - c * north, -c * east + s * north])


def _foretold(body: Mapping[str, Any], case: str | None) -> FloatArray | None:
    """Return the landings of the case that happened, or of all by their probability."""
    lots = [
        (c["probability"], np.array(c["pieces"][_ROCKET], dtype=float).T, c)
        for c in body["forecast"]
        if _ROCKET in c["pieces"]
    ]
    for key in ("case", "cause"):
        own = [lot for lot in lots if lot[2][key] == case]
        if len(own) == 1:
            return own[0][1]
        lots = own or lots
    return _mixed(lots) if lots else None


def _mixed(lots: Sequence[tuple[float, FloatArray, object]]) -> FloatArray:
    """Take landings of several cases by their probability."""
    total = sum(probability for probability, _, _ in lots)
    picked = []
    for probability, points, _ in lots:
        count = min(round(_MIXED * probability / total), points.shape[1])
        at = np.linspace(0, points.shape[1] - 1, count).astype(int)
        picked.append(points[:, at])
    return np.concatenate(picked, axis=1)


def flew_of(entries: Sequence[Entry]) -> tuple[Flew, ...]:
    """Collect the flights whose case is known."""
    found = []
    for assessed, outcome in _pairs(entries):
        case = outcome.body.get("case")
        causes = {c["case"]: c["cause"] for c in assessed.body["forecast"]}
        likely = assessed.body.get("likelihoods", {})
        cause = str(causes.get(case, case))
        if cause in likely:
            found.append(Flew(cause, likely, str(assessed.body.get("flight", ""))))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class LoggedWind:
    """The wind near the ground that a flight was assessed in.

    `time` of the flight (UTC); `way` it came from [deg], None where it was variable; `speed` at
    10 m, and how far `gust` stood above it [m s⁻¹]; `held`, what the reports themselves held for,
    a thunderstorm, shear or cloud too low.
    """

    time: datetime
    way: float | None
    speed: float
    gust: float
    held: str


_NEAR: Final = 2000.0
"""How far off another pad of the same field lies at the most [m], as for answers; assumed."""

_FORETOLD: Final = {
    *("answer of a forecast service", "arrays of a model", "JSON forecast"),
    *("aerodrome forecast (TAF)", "words of a forecast", "forecast asked for"),
}
"""Kinds of source that tell of a wind that nobody met."""


def winds_of(
    entries: Sequence[Entry], place: tuple[float, float]
) -> tuple[LoggedWind, ...]:
    """Collect the winds near the ground that assessments at one field were made for.

    ``place``: latitude and longitude of the field [deg].

    Result: of this field, and read by somebody; what was foretold alone is left out.
    """
    found = []
    for entry in entries:
        wind = entry.body.get("wind_10_m", {})
        kinds = set(entry.body.get("wind_kinds", ()))
        met = not kinds or not kinds <= _FORETOLD
        if entry.kind == "assessment" and wind and met and _is_near(entry, place):
            when = datetime.fromisoformat(entry.body.get("when") or entry.at)
            came = wind.get("from_rad")
            way = None if came is None else float(np.degrees(came)) % 360
            above = float(wind.get("gust_above_mps", 0.0))
            speed, held = float(wind["speed_mps"]), _warned(entry.body)
            found.append(LoggedWind(when.astimezone(UTC), way, speed, above, held))
    return tuple(found)


def _is_near(entry: Entry, place: tuple[float, float]) -> bool:
    """Return whether an assessment was made at a field; one without a place was not."""
    if "place" not in entry.body:
        return False
    latitude, longitude = entry.body["place"]
    east, north = to_local((longitude, latitude), place[1], place[0])
    return bool(np.hypot(east, north) <= _NEAR)


def _warned(body: Mapping[str, Any]) -> str:
    """Return what the reports of an assessment held for."""
    held = (
        c["name"]
        for c in body.get("checks", ())
        if c["kind"] in _SKY and c["outcome"] != "pass"
    )
    return "; ".join(held)


def _distances(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(((a[:, :, None] - b[:, None, :]) ** 2).sum(axis=0)))


def energy_score(found: ArrayLike, forecast: ArrayLike) -> float:
    r"""Energy score of a forecast made of points; less is better.

    .. math:: \mathrm{ES} = \frac{1}{m} \sum_i \lVert x_i - y \rVert
              - \frac{1}{2 m^2} \sum_{i,j} \lVert x_i - x_j \rVert

    Parameters
    ----------
    found : array_like, shape (2,)
        Where it lay [m].
    forecast : array_like, shape (2, m)
        Landings foretold [m].

    Returns
    -------
    float
        Score [m].

    References
    ----------
    .. [1] T. Gneiting and A. E. Raftery, "Strictly proper scoring rules, prediction, and
       estimation", J. American Statistical Association 102, 359-378, 2007, Eq. (22) (from
       memory). Checked against an independent library in
       ``tests/reference/test_proper_scores.py``.

    Examples
    --------
    >>> energy_score([0.0, 0.0], [[3.0, 3.0], [4.0, 4.0]])
    5.0
    """
    y, x = np.asarray(found, float)[:, None], np.asarray(forecast, float)
    return float(_distances(x, y).mean() - _distances(x, x).mean() / 2)


def normal_energy(found: ArrayLike, mean: ArrayLike, cov: ArrayLike) -> float:
    """Energy score of a normal forecast, from even points of it.

    ``found`` and ``mean``, shape (2,): where it lay, and the mean of the forecast [m];
    ``cov``, shape (2, 2): covariance of the forecast [m²].
    """
    radius, turn = (np.arange(20) + 0.5) / 20, np.arange(20) * 2 * np.pi / 20
    r = np.sqrt(-2 * np.log1p(-radius))[:, None]
    unit = np.stack([(r * np.cos(turn)).ravel(), (r * np.sin(turn)).ravel()])
    points = (
        np.asarray(mean, float)[:, None] + np.linalg.cholesky(np.asarray(cov)) @ unit
    )
    return energy_score(found, points)


def log_score(found: ArrayLike, forecast: ArrayLike) -> float:
    """Logarithmic score of a forecast made of points: minus the logarithm of its density.

    The density is a normal kernel estimate with the normal-reference width (D. W. Scott,
    Multivariate Density Estimation, 1992, from memory).

    ``found``, shape (2,): where it lay [m]; ``forecast``, shape (2, m): landings
    foretold [m].
    """
    y, x = np.asarray(found, float)[:, None], np.asarray(forecast, float)
    turn, size = _whitening(x)
    off = ((turn @ (x - y)) ** 2).sum(axis=0)
    top = float(-off.min() / 2)
    total = float(np.exp(-off / 2 - top).mean())
    return -float(np.log(total) + top - np.log(2 * np.pi * size))


def _whitening(points: FloatArray) -> tuple[FloatArray, float]:
    """Return what makes the kernel round, and the area it stands for."""
    wide = np.cov(points) * points.shape[1] ** (-1 / 3) + np.eye(2) * 1e-6
    root = np.linalg.cholesky(wide)
    return np.linalg.inv(root), float(np.prod(np.diag(root)))


def depth_rank(found: ArrayLike, forecast: ArrayLike) -> float:
    """Return the share of all chance that the line through the find holds, 0 to 1.

    The find and the landings foretold are treated alike: each has a density estimated from
    all the others. If the find is one more landing of the same kind, the rank is uniform,
    exactly, whatever the shape of the cloud.

    ``found``, shape (2,): where it lay [m]; ``forecast``, shape (2, m): landings
    foretold [m].

    Result: 0 at the densest place; 1 beyond all landings foretold.
    """
    y = np.asarray(found, float)[:, None]
    points = np.concatenate([np.asarray(forecast, float), y], axis=1)
    turn, _ = _whitening(points)
    flat = turn @ points
    kernel = np.exp(-(_distances(flat, flat) ** 2) / 2)
    np.fill_diagonal(kernel, 0.0)
    density = kernel.sum(axis=1)
    # Denser ones, and half of itself: the middle of its step.
    return float((np.count_nonzero(density[:-1] > density[-1]) + 0.5) / density.size)
