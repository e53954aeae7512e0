"""Two zones from all outlines: where what falls can kill or maim, and where it can hurt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias
from weakref import WeakKeyDictionary

import numpy as np
import shapely

from driftmap.core.pools import in_order
from driftmap.ground.contours import Contour
from driftmap.hazard.harm import HURTS, KILLS
from driftmap.hazard.outlines import Lines, Outlines
from driftmap.hazard.smoothing import put_together, smoothed_outline
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.rocket.likelihood import LIKELIHOOD, WORKS, default_likelihood

ZoneKind: TypeAlias = Literal["danger", "caution"]
Line: TypeAlias = Callable[[Part], shapely.MultiPolygon]

_EARLY: Final = 0.05
"""Share of a piece's landings that are down by the second told of it."""

_DRAWN: Final[WeakKeyDictionary[Cloud, dict[tuple[str, str], shapely.MultiPolygon]]] = (
    WeakKeyDictionary()
)
"""Outlines of the pieces of a cloud, as `outer_line` has them."""


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """Ground on which pieces of one grade of harm come down.

    Parameters
    ----------
    kind : {"danger", "caution"}
        Whether what comes down there can kill or maim.
    shape : shapely.MultiPolygon
        All outlines together, from the pad [m].
    heart : shapely.MultiPolygon
        Outline of the fall that speaks for it.
    case, body : str
        The fall that speaks for it: of danger the hardest; of caution the rocket when
        recovery works, where that is one of them, else the hardest.
    speed : float
        Median speed of that fall [m s⁻¹].
    soonest : float
        Time after lift-off before which 5 % of a fall are down [s]: of that one where it
        is the plan, else of the first of all that do such harm, in whatever case.
    """

    kind: ZoneKind
    shape: shapely.MultiPolygon
    heart: shapely.MultiPolygon
    case: str
    body: str
    speed: float
    soonest: float


_HARDER: Final = 0.75
"""Share of a fall's landings that strike no harder than what it is taken for: one that kills every
fourth time can kill, though its median does not. Assumed."""


def strength(cloud: Cloud, part: Part) -> float:
    """Return the energy by which a fall is graded, in its zone and in the verdict [J].

    What one landing in four passes, where that can kill; else the median: a piece that mostly
    only bruises paints no field.
    """
    hard = float(part.quantile(cloud.energy, _HARDER))
    return hard if hard >= KILLS.value else float(part.quantile(cloud.energy, 0.5))


def grade(energy: float) -> ZoneKind | None:
    """Grade a piece by its `strength` [J].

    Result: danger from `KILLS` on, caution from `HURTS` on; None below, as for a loose
    canopy that comes down empty.

    Examples
    --------
    >>> grade(0.6), grade(51.0), grade(11_700.0)
    (None, 'caution', 'danger')
    """
    if energy >= KILLS.value:
        return "danger"
    return "caution" if energy >= HURTS.value else None


@dataclass(frozen=True, slots=True)
class Anywhere:
    """What may come down on any side, as a rocket that goes off its path under power.

    Parameters
    ----------
    likelihood : float
        Share of flights to which it happens; no file takes it below the default.
    within : float
        Distance from the pad that holds 99 % of each piece of it that can hurt [m].
    """

    likelihood: float
    within: float


def anywhere(cloud: Cloud) -> Anywhere | None:
    """Sum up the cases that may go any way, which no zone can hold.

    Result: None where no such case brings down anything that can hurt.
    """
    cases = {case.name: case for case in cloud.tree.cases if case.any_way}
    flight = cloud.plan.flight
    usual = {c: default_likelihood(c, flight) for c in cases if c in LIKELIHOOD}
    found = [
        (max(cases[part.case].probability, usual.get(part.case, 0.0)), part)
        for part in cloud.parts
        if part.case in cases and _grade_of(cloud, part) is not None
    ]
    if not found:
        return None
    away = np.hypot(cloud.east, cloud.north)
    far = max(float(p.quantile(away, 0.99)) for _, p in found)
    return Anywhere(sum({p.case: share for share, p in found}.values()), far)


def zones(cloud: Cloud, line: Line) -> tuple[Zone, ...]:
    """Put the outlines of all pieces in all cases together by the harm they do.

    Cases that may go any way are left to `anywhere`: they would paint the whole field. So
    are those too rare to be judged by themselves, whatever a file says of them.

    Each outline holds 99 % of the landings of its piece, however unlikely its case, so
    a zone holds at least as much of everything that falls with its grade of harm.

    ``line``: from `outer_line`.

    Result: danger before caution; one that nothing falls in is left out.
    """
    apart = {c.name for c in cloud.tree.cases if c.any_way or c.rare}
    graded: dict[ZoneKind, list[Part]] = {"danger": [], "caution": []}
    for part in (part for part in cloud.parts if part.case not in apart):
        if kind := _grade_of(cloud, part):
            graded[kind].append(part)
    return tuple(_zone(kind, cloud, of, line) for kind, of in graded.items() if of)


def _grade_of(cloud: Cloud, part: Part) -> ZoneKind | None:
    """Grade a piece; the rocket itself is never left out, however softly it lands."""
    found = grade(strength(cloud, part))
    return found or ("caution" if part.body == "rocket" else None)


def _zone(kind: ZoneKind, cloud: Cloud, parts: list[Part], line: Line) -> Zone:
    speaks = max(parts, key=lambda part: strength(cloud, part))
    if kind == "caution":
        planned = [p for p in parts if p.case == WORKS and p.body == "rocket"]
        speaks = planned[0] if planned else speaks
    outlines = {part: line(part) for part in parts}
    return Zone(
        kind,
        put_together(outlines.values()),
        outlines[speaks],
        speaks.case,
        speaks.body,
        float(speaks.quantile(cloud.speed, 0.5)),
        _soonest(cloud, kind, speaks),
    )


def _soonest(cloud: Cloud, kind: ZoneKind, speaks: Part) -> float:
    """Return the second before which few that do such harm are down [s].

    Of all cases, those that no zone holds too, and of every piece that so falls in one flight
    of twenty: who reads a second beside a zone trusts the ground until then.
    """
    own = float(speaks.quantile(cloud.time, _EARLY))
    if speaks.case == WORKS:
        return own
    least = (KILLS if kind == "danger" else HURTS).value
    found = [
        float(part.quantile(cloud.time, _EARLY))
        for part in cloud.parts
        if np.average(cloud.energy[part.rows] >= least, weights=part.weights) >= _EARLY
    ]
    return min([own, *found])


def outer_line(cloud: Cloud, contours: Lines) -> Line:
    """Return what draws the widest outline of a piece as every page has it: smoothed.

    ``contours``: outlines by case and body, the widest last.

    Result: a function of the piece; each outline is worked out once for all pages of a
    cloud, and kept no longer than it.
    """
    kept = _DRAWN.setdefault(cloud, {})

    def line(part: Part) -> shapely.MultiPolygon:
        key = part.case, part.body
        if key not in kept:
            at = cloud.east[part.rows], cloud.north[part.rows]
            kept[key] = smoothed_outline(contours[key][-1].shape, *at, part.weights)
        return kept[key]

    return line


def draw_ahead(cloud: Cloud, contours: Outlines) -> None:
    """Draw the outlines of all pieces on all processors, for a page that shows them all."""
    line, kept = outer_line(cloud, contours), _DRAWN[cloud]
    if len(kept) == len(contours):
        return

    def drawn(i: int) -> tuple[tuple[Contour, ...], shapely.MultiPolygon]:
        part = cloud.parts[i]
        return contours[part.case, part.body], line(part)

    pieces = range(len(cloud.parts))
    for key, (own, outer) in zip(contours, in_order(drawn, pieces), strict=True):
        contours.take({key: own})
        kept[key] = outer
