"""Reading a dial between its winds: the worst of those about it, and how good that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from driftmap.dial.compute import Dial, Node, Reach
from driftmap.verdict.check import RANK, Verdict

__all__ = ["Halfway", "check_halfway", "surrounding", "verdict_at"]

_ON: Final = 1e-6  # of a step: this near, a wind counts as one that was flown


def surrounding(reach: Reach, speed: float, from_deg: float) -> tuple[int, ...]:
    """Find the winds of a dial about a reading.

    Parameters
    ----------
    reach : Reach
        The winds of the dial.
    speed : float
        Reading at the meter [m s⁻¹].
    from_deg : float
        Direction it comes from [deg].

    Returns
    -------
    tuple of int
        Places in ``reach.winds()``: one on a wind that was flown, else up to four;
        none outside the range.

    Examples
    --------
    >>> surrounding(Reach(10.0, 10, 36), 1.5, 355.0)
    (36, 1, 72, 37)
    >>> surrounding(Reach(10.0, 10, 36), 10.5, 0.0)
    ()
    """
    if not (math.isfinite(from_deg) and 0 <= speed <= reach.top * (1 + 1e-9)):
        return ()
    rows = _both_sides(speed / reach.step)
    columns = _both_sides(from_deg % 360 / reach.turn)
    found = [
        0 if i == 0 else 1 + (i - 1) * reach.directions + j % reach.directions
        for i in rows
        for j in columns
    ]
    return tuple(dict.fromkeys(found))


def _both_sides(place: float) -> tuple[int, ...]:
    nearest = round(place)
    if abs(place - nearest) < _ON:
        return (nearest,)
    return (math.floor(place), math.floor(place) + 1)


def verdict_at(dial: Dial, speed: float, from_deg: float) -> Verdict:
    """Read the verdict of a dial.

    Parameters
    ----------
    dial : Dial
        The dial.
    speed : float
        Reading at the meter [m s⁻¹].
    from_deg : float
        Direction it comes from [deg].

    Returns
    -------
    {"go", "hold", "no-go"}
        The worst of the winds about the reading, with the one flown in the middle of
        their cell if there is one; hold outside the range.
    """
    about = [dial.nodes[i] for i in surrounding(dial.reach, speed, from_deg)]
    if len(about) > 1:
        cell = (int(speed // dial.reach.step), int(from_deg % 360 // dial.reach.turn))
        if cell in dial.halfway:
            about.append(dial.halfway[cell])
    return _worst(about)


def _worst(nodes: list[Node]) -> Verdict:
    if not nodes:
        return "hold"
    return max((node.verdict for node in nodes), key=RANK.index)


@dataclass(frozen=True, slots=True)
class Halfway:
    """How well a dial reads halfway between its winds.

    Parameters
    ----------
    checked : int
        Winds flown halfway.
    same, safer, worse : int
        How many of them have the verdict the dial reads there from the winds about them,
        a better one, and a worse one.
    outside, outside_share : float
        Farthest that a 99 % line of theirs reaches outside what the dial draws [m], and
        the most as a share of the line's width.
    clear : float
        Share of these lines that lie wholly inside what the dial draws.
    """

    checked: int
    same: int
    safer: int
    worse: int
    outside: float
    outside_share: float
    clear: float


def check_halfway(dial: Dial) -> Halfway:
    """Hold the winds flown halfway against what the dial reads without them.

    Parameters
    ----------
    dial : Dial
        The dial.

    Returns
    -------
    Halfway
        Counts and distances.
    """
    ranks: list[int] = []
    away: list[tuple[float, float]] = []
    for cell, node in dial.halfway.items():
        places = surrounding(dial.reach, *dial.reach.middle(cell))
        about = [dial.nodes[i] for i in places]
        ranks.append(RANK.index(node.verdict) - RANK.index(_worst(about)))
        away += _outside(node, about)
    sign = np.sign(ranks).tolist()
    return Halfway(
        len(ranks),
        sign.count(0),
        sign.count(-1),
        sign.count(1),
        max((far for far, _ in away), default=0.0),
        max((far / width for far, width in away), default=0.0),
        float(np.mean([far == 0 for far, _ in away])) if away else 1.0,
    )


def _outside(node: Node, about: list[Node]) -> list[tuple[float, float]]:
    """Say for each piece how far its outer line leaves the hull about theirs; its width."""
    found = []
    for key, landing in (node.landings or {}).items():
        theirs = [n.landings[key] for n in about if n.landings and key in n.landings]
        if theirs:
            hull = shapely.union_all([t.lines[-1] for t in theirs]).convex_hull
            corners = shapely.points(shapely.get_coordinates(landing.lines[-1]))
            west, south, east, north = landing.lines[-1].bounds
            far = float(shapely.distance(corners, hull).max())
            found.append((far, max(east - west, north - south)))
    return found
