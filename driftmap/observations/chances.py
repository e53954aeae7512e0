"""Where a piece may lie: chance by named square, and the least ground that holds a share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.core.spread import stream
from driftmap.ground.areas import PAD, Site
from driftmap.ground.contours import Contour, containment
from driftmap.ground.site import FARTHEST_PLACE
from driftmap.observations.observation import Walked, missed
from driftmap.observations.weighing import Weighed, effective_number, without
from driftmap.report.marks import Squares, lay_squares
from driftmap.report.voice import Voice

HELD_SHARES: Final = (0.5, 0.8, 0.95)
"""Shares of all chance that the least ground is given for."""

_MOST_POINTS: Final = 60_000  # drawn of all cases together
_FEWEST_POINTS: Final = 200  # drawn of one case
_LEAST_CASE: Final = 1e-5  # chance of a case below which its places are left out
_LEAST: Final = 1e-4  # chance below which a square is not listed
_SIZE: Final = 1.0  # m; no cloud is drawn smaller
_SHY: Final = 15.0  # m from a power line within which a square is marked; assumed

_MINDED: Final = (
    *("power line", "road", "railway", "water", "building", "airport"),
    "closed ground",
)
"""Roles of ground that searchers must mind."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Ground to mind, in metres from the pad, a power line with some metres about it.

    `text` says what to do and not to do there.
    """

    text: str
    shape: BaseGeometry
    deadly: bool = False


@dataclass(frozen=True, slots=True)
class Square:
    """A named square, its place from the south-west corner, and the chance that it holds it."""

    name: str
    column: int
    row: int
    chance: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Chances:
    """Where a piece may lie.

    `listed` are the squares of the grid worth listing, the likeliest first; `beside` is the chance
    that it lies in none of them; `lines` are the least ground that holds each of
    `HELD_SHARES`; `dangers` what to mind, what kills first.
    """

    piece: str
    squares: Squares
    listed: tuple[Square, ...]
    beside: float
    lines: tuple[Contour, ...]
    effective: float
    dangers: tuple[Obstacle, ...] = ()


def chances_of(known: Weighed, piece: str, site: Site, voice: Voice) -> Chances:
    """Say where a piece may lie.

    ``known``: flights weighed by what was seen; ``piece``: what is looked for;
    ``voice``: in whose units the sides of squares are round, and what it says to mind.
    """
    at, weights = _places(known, piece)
    lines = tuple(containment(at[0], at[1], HELD_SHARES, weights=weights))
    bounds = shapely.union_all([line.shape for line in lines]).bounds
    squares = lay_squares(bounds, voice.units)
    chance = _by_square(squares, at, weights)
    dangers = _dangers_of(site, voice)
    listed = [
        Square(
            f"{squares.letters[column]}{row + 1}",
            column,
            row,
            float(chance[row, column]),
            _cautions(squares, column, row, dangers),
        )
        for row, column in np.argwhere(chance > _LEAST).tolist()
    ]
    listed.sort(key=lambda square: -square.chance)
    total = sum(square.chance for square in listed)
    beside = max(0.0, 1 - total)
    return Chances(
        piece, squares, tuple(listed), beside, lines, known.effective, dangers
    )


def _places(known: Weighed, piece: str) -> tuple[FloatArray, FloatArray]:
    """Draw places of a piece, shape (2, m), and their weights.

    Those of each case are drawn from its flights, smoothed as befits their effective
    number, with their covariance kept. Ground walked in vain is weighed last, so that its
    edges stay sharp.
    """
    walked = [
        o for o in known.observations if isinstance(o, Walked) and o.piece == piece
    ]
    seed = known.cases[0].cloud.seed
    places = [
        _smoothed(*lying, stream(seed, number, "smoothing"))
        for number, lying in enumerate(without(known, walked).lying(piece).values())
        if lying[1].sum() > _LEAST_CASE
    ]
    at = np.concatenate([place for place, _ in places], axis=1)
    weights = np.concatenate([own for _, own in places])
    weights = weights * missed(walked, at)
    return at, weights / weights.sum()


def _smoothed(
    at: FloatArray, weights: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Draw places of one case from a normal kernel estimate, all of one weight.

    The kernel has the shape of the densest nine tenths of the cloud, whose tails are
    longer than a normal's and would blur its middle, and the width of the normal-reference
    rule for two dimensions (D. W. Scott, Multivariate Density Estimation, 1992, from memory).
    """
    share = float(weights.sum())
    size = max(int(_MOST_POINTS * share), _FEWEST_POINTS)
    total = np.cumsum(weights)
    picked = np.searchsorted(total, (np.arange(size) + 0.5) / size * total[-1])
    drawn = at[:, np.minimum(picked, weights.size - 1)]
    width = effective_number(weights) ** (-1 / 6)
    noise = width * np.linalg.cholesky(_shape(drawn)) @ rng.standard_normal(drawn.shape)
    return drawn + noise, np.full(size, share / size)


def _shape(points: FloatArray) -> FloatArray:
    """Return the covariance of the densest nine tenths, no smaller than `_SIZE`."""
    kept = points
    for _ in range(2):  # the second time about the middle that the first one found
        middle, spread = kept.mean(axis=1), np.cov(kept) + np.eye(2) * _SIZE**2
        off = points - middle[:, None]
        far = np.sum(off * np.linalg.solve(spread, off), axis=0)
        kept = points[:, far <= np.quantile(far, 0.9)]
    return np.asarray(np.cov(kept) + np.eye(2) * _SIZE**2)


def _by_square(squares: Squares, at: FloatArray, weights: FloatArray) -> FloatArray:
    """Share out the chance, shape (rows, columns)."""
    count, *_ = np.histogram2d(
        (at[1] - squares.south) / squares.size,
        (at[0] - squares.west) / squares.size,
        bins=(squares.rows, squares.columns),
        range=((0, squares.rows), (0, squares.columns)),
        weights=weights,
    )
    return np.asarray(count)


def _dangers_of(site: Site, voice: Voice) -> tuple[Obstacle, ...]:
    """List what searchers must mind.

    Result: power lines first: they kill. All beyond the boundary last.
    """
    marked = [area for area in site.areas if area.role in _MINDED]
    marked.sort(key=lambda area: area.role != "power line")
    told = [
        Obstacle(
            f"{voice.say(f'walk.{area.role}')} ({area.name})",
            area.shape.buffer(_SHY if area.role == "power line" else 0.0),
            area.role == "power line",
        )
        for area in marked
    ]
    far = PAD.buffer(FARTHEST_PLACE)
    return (
        *told,
        Obstacle(voice.say("walk.beyond"), shapely.difference(far, site.boundary)),
    )


def _cautions(
    squares: Squares, column: int, row: int, dangers: Sequence[Obstacle]
) -> tuple[str, ...]:
    box = box_of(squares, column, row)
    return tuple(d.text for d in dangers if d.shape.intersects(box))


def box_of(squares: Squares, column: int, row: int) -> shapely.Polygon:
    """Return the ground of a square."""
    west = squares.west + column * squares.size
    south = squares.south + row * squares.size
    return shapely.box(west, south, west + squares.size, south + squares.size)


def smallest(listed: Sequence[Square], share: float) -> int:
    """Count the likeliest squares that together hold a share; all if they never do.

    ``listed``: squares, the likeliest first.
    """
    total = np.cumsum([square.chance for square in listed])
    return min(int(np.searchsorted(total, share)) + 1, len(listed)) if listed else 0


def square_middle(squares: Squares, column: float, row: float) -> tuple[float, float]:
    """Return the middle of a square."""
    east = squares.west + (column + 0.5) * squares.size
    north = squares.south + (row + 0.5) * squares.size
    return east, north
