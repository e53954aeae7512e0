"""The flights of every wind between a few flown ones, in one cloud.

Winds of one seed share their draws: flight by flight the landing moves a little as the wind
does. So between the corners of a span of winds each landing is drawn in on a net as fine as
its own spread. Corners are drawn together as seen from the wind: what drifts with it then
keeps its distance from the pad on the way round.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from driftmap.core.checks import FloatArray, Kept
from driftmap.core.points import turn
from driftmap.ground.areas import turned_shape
from driftmap.ground.contours import Contour, containment
from driftmap.hazard.outlines import Lines
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.verdict.consequence_checks import maiming

_STEP: Final = 0.7
"""Greatest step of the net, in spreads of the landings. A bell's height halfway between two
points of it that lie as far apart is within 7 % of that at the nearer one."""

_LIKELY: Final = 0.5
"""Share of the landings whose ground must be clear of people."""

_MOST_STEPS: Final = 14
_FAN: Final = math.radians(10)  # between two ways up that stand for all between them
_LEAST_SPREAD: Final = 1.0  # m


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
    """
    return {
        key: tuple(replace(line, shape=turned_shape(line.shape, angle)) for line in own)
        for key, own in lines.items()
    }


def winds_of_span(
    low: float, high: float, left: float, right: float
) -> list[tuple[float, float]]:
    """List the winds that stand for a span, in the order of `everywhere`: corners and middle.

    Speeds from ``low`` to ``high``, directions from ``left`` to ``right``; or the numbers that
    both have on a grid.
    """
    corners = [(speed, way) for speed in (low, high) for way in (left, right)]
    return [*corners, ((low + high) / 2, (left + right) / 2)]


def everywhere(five: Sequence[Cloud], lines: Sequence[Lines], half: float) -> Net:
    """Put the flights of all winds of a span into one cloud.

    ``five``: clouds of the same flight and seed in the corners of the span, at the slow end
    left and right, at the fast end left and right, and in its middle; ``lines``: their
    lines of falls that can maim, where they are drawn already; ``half``: from the middle to
    its sides [rad].

    Result: all that may come down, anywhere between.
    """
    middle = five[4]
    nets = [_net(part, five, half) for part in middle.parts]
    parts: list[Part] = []
    at = 0
    for part, net in zip(middle.parts, nets, strict=True):
        rows = slice(at, at + net.east.size)
        parts.append(replace(part, count=part.count * len(net.east), rows=rows))
        at = rows.stop

    def again(column: Kept) -> Kept:
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
        way=_ways(five, half),
        apogee=replace(
            middle.apogee, height=np.max([c.apogee.height for c in five], axis=0)
        ),
        rail_speed=np.min([cloud.rail_speed for cloud in five], axis=0),
        rail_wind=np.max([cloud.rail_wind for cloud in five], axis=0),
        fluttered=np.any([cloud.fluttered for cloud in five], axis=0),
    )
    taut = {key: _taut(key, five, lines, half) for key in maiming(cloud)}
    return Net(cloud, taut, any(net.coarse for net in nets))


def _taut(
    key: tuple[str, str], five: Sequence[Cloud], lines: Sequence[Lines], half: float
) -> tuple[Contour, ...]:
    """Go round the likely ground of a fall, the arcs between winds in it."""
    found = [
        drawn[key][0].shape if key in drawn else _likely(cloud, part)
        for cloud, drawn in zip(five, lines, strict=True)
        for part in cloud.of(key[0])
        if part.body == key[1]
    ]
    hull = shapely.geometrycollections(found).convex_hull
    far = float(np.hypot(*shapely.get_coordinates(hull).T).max())
    # The widest chord is that from side to side: no middle was flown at the fast end.
    hull = hull.buffer(far * (1 - math.cos(half)))
    return (Contour(_LIKELY, shapely.MultiPolygon([hull]), float(hull.area)),)


def _likely(cloud: Cloud, part: Part) -> shapely.MultiPolygon:
    at = cloud.east[part.rows], cloud.north[part.rows]
    return containment(*at, (_LIKELY,), weights=part.weights)[0].shape


def _ways(five: Sequence[Cloud], half: float) -> NDArray[np.float32]:
    """Join the ways up, one up and the next down: what any of them crosses, this does.

    Those of the sides are drawn in between, round the pad, as many as keep ways within `_FAN`.
    """
    shares = np.linspace(0, 1, 1 + math.ceil(2 * half / _FAN), dtype=np.float32)
    ways = []
    for left, right in (five[:2], five[2:4]):
        one, other = _turned(left.way, half), _turned(right.way, -half)
        ways += [_turned((1 - v) * one + v * other, (2 * v - 1) * half) for v in shares]
    ways.append(five[4].way)
    return np.concatenate([w if i % 2 == 0 else w[::-1] for i, w in enumerate(ways)])


def _turned(way: Kept, angle: float) -> Kept:
    east, north = turn(way[:, 0], way[:, 1], angle)
    return np.stack([east, north, way[:, 2]], axis=1)


def placed(
    u: FloatArray, v: FloatArray, seen: FloatArray, half: float
) -> tuple[FloatArray, FloatArray]:
    """Draw places between those of the winds flown.

    ``u``, shape (k,): from the slow end, 0, to the fast one, 1; ``v``: from the left to the
    right; ``seen``, shape (5, 2, ...): east and north in the corners, in the order of
    `everywhere`, and in the middle, all turned to blow as in the middle; ``half``: from
    there to the sides [rad].

    Result: east and north, shape (k, ...); at the five winds themselves what was flown.
    """
    middle = 16 * u * (1 - u) * v * (1 - v)
    flat = np.array([(1 - u) * (1 - v), (1 - u) * v, u * (1 - v), u * v])
    drawn = np.tensordot(np.array([*(flat - middle / 4), middle]).T, seen, axes=1)
    angle = ((2 * v - 1) * half).reshape(-1, *[1] * (seen.ndim - 2))
    return turn(drawn[:, 0], drawn[:, 1], angle)


def _net(part: Part, five: Sequence[Cloud], half: float) -> _Places:
    every = _places(five[4], part, part.who, 0.0)
    sides = (half, -half, half, -half)
    around = [
        _matched(cloud, part, every, side)
        for cloud, side in zip(five, sides, strict=False)
    ]
    seen = np.array([*around, every])
    a, b, c, d = (
        np.array(turn(one[0], one[1], side))
        for one, side in zip(around, (-half, half, -half, half), strict=True)
    )
    spread = _least_spread(every[:2])
    along = _steps((c + d - a - b) / 2, spread)
    across = _steps((b + d - a - c) / 2, spread)
    steps = (np.linspace(0, 1, min(n, _MOST_STEPS) + 1) for n in (along, across))
    u, v = (each.ravel() for each in np.meshgrid(*steps, indexing="ij"))
    east, north = placed(u, v, seen[:, :2], half)
    return _Places(
        east, north, seen[:, 2].max(axis=0), max(along, across) > _MOST_STEPS
    )


def _places(cloud: Cloud, part: Part, who: NDArray[np.intp], side: float) -> FloatArray:
    """Return east, north and energy of some flights' landings, shape (3, copies, flights).

    ``side``: what the wind is turned by to blow as in the middle [rad].
    """
    at = np.searchsorted(part.who, who)
    ways = turn(cloud.east[part.rows], cloud.north[part.rows], side)
    rows = np.stack([*ways, cloud.energy[part.rows]])
    return np.asarray(rows.reshape(3, part.count, part.flights)[:, :, at], float)


def _matched(cloud: Cloud, part: Part, here: FloatArray, side: float) -> FloatArray:
    """Return the same landings in another wind.

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
    there = _places(cloud, own, own.who[theirs], side)
    moved = here + (there - here[:, :, mine]).mean(axis=(1, 2))[:, None, None]
    moved[:, :, mine] = there
    return np.asarray(moved)


def _least_spread(places: FloatArray) -> float:
    """Return the spread of landings the way it is least [m]."""
    flat = places.reshape(2, -1)
    if flat.shape[1] < 2:
        return _LEAST_SPREAD
    least = float(np.linalg.eigvalsh(np.cov(flat))[0])
    return max(math.sqrt(max(least, 0.0)), _LEAST_SPREAD)


def _steps(moved: FloatArray, spread: float) -> int:
    """Say into how many steps, at least two, a way must be cut."""
    far = float(np.median(np.hypot(*moved)))
    return max(2, 2 * math.ceil(far / (2 * _STEP * spread)))
