"""Every wind between a few flown ones at once, judged so that none of them is judged milder.

Winds of one seed share their luck: flight by flight the landing moves a little as the wind
does. So between the corners of a span of winds each landing is drawn in on a net as fine as
its own spread, a flight counts as a hit if any of its places is one, and all that is better
the more there is of it is taken at its least. What that passes, every wind of the span passes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final, TypeAlias, cast

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.air.wind import WindProfile, turn
from driftmap.checks import FloatArray
from driftmap.failures.cases import WORKS
from driftmap.ground.contours import Contour, containment
from driftmap.hazard.zones import KILLS
from driftmap.montecarlo.cloud import Cloud, Part
from driftmap.spread import quantile
from driftmap.verdict.assessment import Setup
from driftmap.verdict.check import ALL_CASES, Check, Kind, Outcome
from driftmap.verdict.consequence_checks import Lines, by_default
from driftmap.verdict.judgement import judge, together
from driftmap.verdict.limits import read_limits, tightened

__all__ = ["Corners", "Net", "everywhere", "strictest", "turned_lines"]

Corners: TypeAlias = tuple[tuple[Cloud, Cloud], tuple[Cloud, Cloud]]
"""Clouds at the slow end, left and right, and at the fast end, left and right."""

_STEP: Final = 0.7
"""Greatest step of the net, in spreads of the landings. A bell's height halfway between two
points of it that lie as far apart is within 7 % of that at the nearer one."""

_LIKELY: Final = 0.5
"""Share of the landings whose ground must be clear of people."""

_MOST_STEPS: Final = 14
_LEAST_SPREAD: Final = 1.0  # m

_EVEN: Final = frozenset(
    {
        Kind.RULE,
        Kind.SURFACE_WIND,
        Kind.RAIL_TILT,
        Kind.HEAD_COUNT,
        Kind.MISSING,
        Kind.PRECISION,
    }
)
"""Kinds of checks that no landing enters into."""

_NO_SOURCE: Final = "default of this tool, no source"
_TOO_FAR: Final = "landings move too far between the winds worked out"

_WORST_OF_ALL: Final = frozenset({Kind.UNDER_THE_FALL, Kind.INDIVIDUAL_RISK})
"""Kinds that look at all areas and name the worst, which may change with the wind."""

_ROOM: Final = MappingProxyType(
    {Kind.RAIL_SPEED: 0.03, Kind.RAIL_OVER_WIND: 0.03, Kind.DESCENT: 0.005}
)
"""Share by which a quantile of the flights must keep clear of its limit, for the kinds that
hold one: some standard errors of the 5 % quantile of 4,000 flights. The speed of landing
hangs on no wind: from cell to cell it moves by a part in two thousand. Assumed."""

_GENTLE: Final = frozenset({Kind.INDIVIDUAL_RISK, Kind.CASUALTIES_IF})
"""Kinds that hold above their limit, and fail where the figure is `_TIMES` as much."""

_TIMES: Final = 10.0

Key: TypeAlias = tuple[Kind, str, str, str]
_ORDER: Final[tuple[Outcome, ...]] = ("pass", "warn", "fail")


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Where one part comes down at every point of the net, shape (k, copies, flights).

    With the most energy it has at the five winds, shape (copies, flights).
    """

    east: FloatArray
    north: FloatArray
    energy: FloatArray
    coarse: bool


@dataclass(frozen=True, slots=True, eq=False)
class Net:
    """The flights of all winds of a span at once.

    Parameters
    ----------
    cloud : Cloud
        The flights of the middle. Each landing stands in it once for every point of the
        net, as a further copy of its piece, with the most energy of the five winds; each
        way up goes up and down at all of them; apogees and the wind on the rail are the
        highest, speeds off the rail the lowest.
    lines : mapping of (str, str) to tuple of Contour
        Ground taut about the 50 % lines of the winds flown, for falls that can maim.
    coarse : bool
        Whether a piece moves so far between the winds that the net leaves gaps.
    """

    cloud: Cloud
    lines: Lines
    coarse: bool

    def turned(self, angle: float) -> Net:
        """Turn everything about the pad.

        Result: that of the winds turned as much, for a rail that follows the wind.
        """
        lines = turned_lines(self.lines, angle)
        return Net(self.cloud.turned(angle), lines, self.coarse)


def turned_lines(lines: Lines, angle: float) -> Lines:
    """Turn lines about the pad.

    ``lines``: by case and body.

    Result: the same lines, turned.
    """

    def about_pad(corners: FloatArray) -> FloatArray:
        return np.stack(turn(corners[:, 0], corners[:, 1], angle), axis=1)

    return {
        key: tuple(
            replace(line, shape=shapely.transform(line.shape, about_pad))
            for line in own
        )
        for key, own in lines.items()
    }


def everywhere(corners: Corners, middle: Cloud) -> Net:
    """Put the flights of all winds of a span into one cloud.

    ``corners``: clouds of the same flight and seed at the ends of the span; ``middle``:
    the same halfway between them.

    Result: all that may come down, anywhere between.
    """
    every = [*corners[0], *corners[1], middle]
    nets = [_net(part, corners, middle) for part in middle.parts]
    parts: list[Part] = []
    at = 0
    for part, net in zip(middle.parts, nets, strict=True):
        rows = slice(at, at + net.east.size)
        parts.append(replace(part, count=part.count * len(net.east), rows=rows))
        at = rows.stop

    def again(column: FloatArray) -> FloatArray:
        pairs = zip(middle.parts, nets, strict=True)
        return np.concatenate([np.tile(column[p.rows], len(n.east)) for p, n in pairs])

    cloud = replace(
        middle,
        east=np.concatenate([net.east.ravel() for net in nets]),
        north=np.concatenate([net.north.ravel() for net in nets]),
        time=again(middle.time),
        speed=again(middle.speed),
        angle=again(middle.angle),
        energy=np.concatenate(
            [np.tile(net.energy.ravel(), len(net.east)) for net in nets]
        ),
        parts=tuple(parts),
        way=_ways(every),
        apogee=replace(
            middle.apogee, height=np.max([c.apogee.height for c in every], axis=0)
        ),
        rail_speed=np.min([cloud.rail_speed for cloud in every], axis=0),
        rail_wind=np.max([cloud.rail_wind for cloud in every], axis=0),
        fluttered=np.any([cloud.fluttered for cloud in every], axis=0),
    )
    lines = {
        (part.case, part.body): _taut(part, net.energy, every)
        for part, net in zip(middle.parts, nets, strict=True)
    }
    return Net(cloud, lines, any(net.coarse for net in nets))


def _taut(
    part: Part, energy: FloatArray, clouds: Sequence[Cloud]
) -> tuple[Contour, ...]:
    """Go round the likely ground of a fall that can maim in all winds flown."""
    middle = quantile(energy.ravel(), 0.5, weights=part.weights)
    if part.case == WORKS or float(middle) < KILLS.value:
        return ()
    found = [
        containment(
            cloud.east[own.rows],
            cloud.north[own.rows],
            (_LIKELY,),
            weights=own.weights,
        )[0]
        for cloud in clouds
        for own in cloud.of(part.case)
        if own.body == part.body
    ]
    hull = shapely.union_all([line.shape for line in found]).convex_hull
    return (
        Contour(
            _LIKELY,
            shapely.MultiPolygon([cast("shapely.Polygon", hull)]),
            float(hull.area),
        ),
    )


def _ways(clouds: Sequence[Cloud]) -> NDArray[np.float32]:
    """Join the ways up, one up and the next down: what any of them crosses, this does."""
    ways = [c.way if i % 2 == 0 else c.way[::-1] for i, c in enumerate(clouds)]
    return np.concatenate(ways)


def _net(part: Part, corners: Corners, middle: Cloud) -> _Places:
    every = _places(middle, part, part.who)
    around = [_matched(cloud, part, every) for pair in corners for cloud in pair]
    energy = np.max([every[2], *(one[2] for one in around)], axis=0)
    here = every[:2]
    a, b, c, d = (one[:2] for one in around)
    spread = _least_spread(here)
    along = _steps((c + d - a - b) / 2, spread)
    across = _steps((b + d - a - c) / 2, spread)
    bulge = here - (a + b + c + d) / 4
    places = [
        (1 - u) * ((1 - v) * a + v * b)
        + u * ((1 - v) * c + v * d)
        + 16 * u * (1 - u) * v * (1 - v) * bulge
        for u in np.linspace(0, 1, min(along, _MOST_STEPS) + 1)
        for v in np.linspace(0, 1, min(across, _MOST_STEPS) + 1)
    ]
    east, north = np.moveaxis(np.array(places), 1, 0)
    return _Places(east, north, energy, max(along, across) > _MOST_STEPS)


def _places(cloud: Cloud, part: Part, who: NDArray[np.intp]) -> FloatArray:
    """Give east, north and energy of some flights' landings, shape (3, copies, flights)."""
    at = np.searchsorted(part.who, who)
    rows = np.stack([v[part.rows] for v in (cloud.east, cloud.north, cloud.energy)])
    return np.asarray(rows.reshape(3, part.count, part.flights)[:, :, at])


def _matched(cloud: Cloud, part: Part, here: FloatArray) -> FloatArray:
    """Give the same landings in another wind.

    A flight that goes another way there moves as the mean of the others do.
    """
    own = next((p for p in cloud.of(part.case) if p.body == part.body), None)
    if own is None or own.count != part.count:
        return here
    both, mine, theirs = np.intersect1d(
        part.who, own.who, assume_unique=True, return_indices=True
    )
    if not both.size:
        return here
    there = _places(cloud, own, own.who[theirs])
    moved = here + (there - here[:, :, mine]).mean(axis=(1, 2))[:, None, None]
    moved[:, :, mine] = there
    return np.asarray(moved)


def _least_spread(places: FloatArray) -> float:
    """Give the spread of landings the way it is least [m]."""
    flat = places.reshape(2, -1)
    if flat.shape[1] < 2:
        return _LEAST_SPREAD
    least = float(np.linalg.eigvalsh(np.cov(flat))[0])
    return max(math.sqrt(max(least, 0.0)), _LEAST_SPREAD)


def _steps(moved: FloatArray, spread: float) -> int:
    """Say into how many steps, at least two, a way must be cut."""
    far = float(np.median(np.hypot(*moved)))
    return max(2, 2 * math.ceil(far / (2 * _STEP * spread)))


def strictest(
    setup: Setup,
    net: Net,
    wind: WindProfile,
    flown: Sequence[Iterable[Check]],
) -> tuple[Check, ...]:
    """Judge all winds of a span at once.

    ``setup``: whose site and limits count; ``wind``: the strongest of the winds;
    ``flown``: the checks of the winds flown.

    Result: each check once, with figure, interval and outcome that bound those of every
    wind of the span.

    Shares of flights are counted on the net. Harm to people goes with the hits among
    them, so its worst figure of the winds flown is raised by as much as the net raises
    those. Everything else, rules above all, moves evenly with the wind: half of what it
    moves over the span is allowed for on top of the worst.
    """
    # Between the winds flown nothing that a file eases is believed at all.
    limits = tightened(read_limits(setup.flight, setup.site))
    cloud = by_default(net.cloud) or net.cloud
    seen, _ = judge(cloud, setup.site, wind, limits=limits, lines=net.lines)
    launch = (together(check, setup.answers) for check in seen)
    netted = {_key(check): _with_room(check) for check in launch}
    found: dict[Key, list[Check]] = {}
    for checks in flown:
        for check in checks:
            found.setdefault(_key(check), []).append(check)
    merged = {
        key: _worst([*each, netted[key]])
        if key in netted
        else _bound(each, _raised(each[0], netted, found))
        for key, each in found.items()
    }
    merged |= {key: check for key, check in netted.items() if key not in merged}
    far = [
        Check(kind=Kind.MISSING, name=_TOO_FAR, outcome="warn", source=_NO_SOURCE)
    ] * net.coarse
    return (*merged.values(), *far)


def _with_room(check: Check) -> Check:
    """Let a quantile near its limit not pass.

    Gusts are drawn anew where the air is cut into other layers, and the quantile of a wind
    between moves by that.
    """
    if check.kind not in _ROOM or check.limit is None or check.outcome != "pass":
        return check
    _, high = _ends(check)
    sign = 1.0 if check.sense == "most" else -1.0
    beyond = high + _ROOM[check.kind] * abs(high) > sign * check.limit
    return replace(check, outcome="warn") if beyond else check


def _key(check: Check) -> Key:
    area = "" if check.kind in _WORST_OF_ALL else check.area
    return check.kind, check.name, check.case, area


def _worst(checks: Sequence[Check]) -> Check:
    return max(checks, key=lambda c: (_ORDER.index(c.outcome), *_ends(c)[::-1]))


def _ends(check: Check) -> tuple[float, float]:
    """Give an interval so that more is worse."""
    if check.interval is None:
        return 0.0, 0.0
    low, high = check.interval
    return (low, high) if check.sense == "most" else (-high, -low)


def _raised(
    check: Check, netted: Mapping[Key, Check], found: Mapping[Key, Sequence[Check]]
) -> float | None:
    """Say how many times more hits the net sees than the winds flown do; None for a rule."""
    if check.kind in _EVEN:
        return None
    every = check.case in {"", ALL_CASES}
    kind = Kind.LANDS_IN if every else Kind.LANDS_IN_FAILURE
    most = 1.0
    for key, seen in netted.items():
        if seen.kind is not kind or not (every or seen.case == check.case):
            continue
        flown = [_ends(c)[1] for c in found.get(key, ())]
        if flown:
            most = max(most, _ends(seen)[1] / max(flown))
    return most


def _bound(checks: Sequence[Check], factor: float | None) -> Check:
    """Widen the worst of some checks to what lies between them."""
    worst = _worst(checks)
    if worst.interval is None or worst.limit is None:
        return worst
    low, high = np.array([_ends(c) for c in checks if c.interval is not None]).T
    if factor is None:
        ends = low.max() + np.ptp(low) / 2, high.max() + np.ptp(high) / 2
    else:
        ends = low.max() * factor, high.max() * factor
    sign = 1.0 if worst.sense == "most" else -1.0
    outcome = _outcome(worst, ends, sign * worst.limit)
    value = max((c.value or 0.0) for c in checks) * (factor or 1.0)
    if worst.kind in _GENTLE and value > _TIMES * worst.limit:
        outcome = "fail"
    wide = (float(ends[0]), float(ends[1]))
    interval = wide if sign > 0 else (-wide[1], -wide[0])
    return replace(worst, interval=interval, outcome=outcome)


def _outcome(worst: Check, ends: tuple[float, float], limit: float) -> Outcome:
    """Compare widened ends, of which more is worse; never milder than what was flown.

    Where the ends flown do not agree with their own outcome, as in a rule that has an
    exception, or a figure that only ever warns, widening says nothing new.
    """
    low, high = _ends(worst)
    gentle = worst.kind in _GENTLE
    if not gentle and ends[0] > limit >= low:
        return "fail"
    if worst.outcome == "pass" and ends[1] > limit >= high:
        return "warn"
    return worst.outcome
