"""Two zones from all outlines: where what falls can kill or maim, and where it can hurt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.checks import FloatArray
from driftmap.failures.cases import WORKS
from driftmap.failures.likelihood import LIKELIHOOD
from driftmap.ground.contours import Contour
from driftmap.hazard.harm import ENERGIES
from driftmap.montecarlo.cloud import Cloud, Part

__all__ = [
    "HURTS",
    "KILLS",
    "Anywhere",
    "Kind",
    "Zone",
    "anywhere",
    "calmed",
    "grade",
    "zones",
]

Kind: TypeAlias = Literal["danger", "caution"]

KILLS: Final = ENERGIES["hazardous fragment"]
"""Energy from which a piece counts as able to kill or maim [J]: 58 ft lbf."""

HURTS: Final = ENERGIES["counts as a casualty"]
"""Energy from which a piece that strikes a person counts as a casualty [J]: 11 ft lbf."""

_GROWTH: Final = 0.03
"""How far an outline is rounded outward, over the root of its area; half is taken back."""

_CLOSED: Final = 0.08
"""Gaps up to twice this, over the root of the area, are filled: an outline is drawn by few
landings there, and what lies between two of them is no safer."""

_ISLET: Final = 0.005
"""Parts of an outline smaller than this share of its area are noise of the sampling."""

_LOST: Final = 0.001
"""Share of the landings that may lie on such parts; more is no noise, as where a case has so
few flights that one landing is an islet."""


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
    speed, energy : float
        Median speed [m s⁻¹] and energy [J] of that fall.
    soonest : float
        Time after lift-off before which 5 % of that fall are down [s].
    """

    kind: Kind
    shape: shapely.MultiPolygon
    heart: shapely.MultiPolygon
    case: str
    body: str
    speed: float
    energy: float
    soonest: float


def grade(energy: float) -> Kind | None:
    """Grade a piece by the energy it mostly lands with.

    Parameters
    ----------
    energy : float
        Median of its energy on landing [J].

    Returns
    -------
    {"danger", "caution"} or None
        Danger from `KILLS` on, caution from `HURTS` on; None below, as for a loose
        canopy that comes down empty.

    Examples
    --------
    >>> grade(0.6), grade(51.0), grade(11_700.0)
    (None, 'caution', 'danger')
    """
    if energy >= KILLS.value:
        return "danger"
    return "caution" if energy >= HURTS.value else None


def calmed(shape: BaseGeometry, *, islet: float = _ISLET) -> shapely.MultiPolygon:
    """Round an outline outward and drop islets of sampling noise.

    Parameters
    ----------
    shape : BaseGeometry
        Polygons [m].
    islet : float
        Share of the area below which a part is dropped.

    Returns
    -------
    shapely.MultiPolygon
        It covers the shape but for its islets.
    """
    parts = shapely.get_parts(shape)
    whole = shapely.area(parts).sum()
    kept = shapely.union_all(parts[shapely.area(parts) >= islet * whole])
    side = np.sqrt(whole)
    reach, growth = _CLOSED * side, _GROWTH * side / 2
    # Outward only: bays and gaps that narrow are filled, and islets beside it joined.
    round_ = kept.buffer(reach, quad_segs=6).buffer(growth - reach, quad_segs=6)
    return shapely.MultiPolygon(list(shapely.get_parts(round_)))


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

    Returns
    -------
    Anywhere or None
        None where no such case brings down anything that can hurt.
    """
    cases = {case.name: case for case in cloud.tree.cases if case.any_way}
    found = [
        (max(cases[part.case].probability, LIKELIHOOD.get(part.case, 0.0)), part)
        for part in cloud.parts
        if part.case in cases and _grade_of(cloud, part) is not None
    ]
    if not found:
        return None
    away = np.hypot(cloud.east, cloud.north)
    far = max(float(p.quantile(away, 0.99)) for _, p in found)
    return Anywhere(sum({p.case: share for share, p in found}.values()), far)


def zones(
    cloud: Cloud, contours: Mapping[tuple[str, str], tuple[Contour, ...]]
) -> tuple[Zone, ...]:
    """Put the outlines of all pieces in all cases together by the harm they do.

    Cases that may go any way are left to `anywhere`: they would paint the whole field. So
    are those too rare to be judged by themselves, whatever a file says of them.

    Each outline holds 99 % of the landings of its piece, however unlikely its case, so
    a zone holds at least as much of everything that falls with its grade of harm.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    contours : mapping of (str, str) to tuple of Contour
        Outlines by case and body, the widest last.

    Returns
    -------
    tuple of Zone
        Danger before caution; one that nothing falls in is left out.
    """
    apart = {c.name for c in cloud.tree.cases if c.any_way or c.rare}
    graded = [
        (_grade_of(cloud, part), part) for part in cloud.parts if part.case not in apart
    ]
    kinds: tuple[Kind, ...] = ("danger", "caution")
    return tuple(
        _zone(kind, cloud, [part for its, part in graded if its == kind], contours)
        for kind in kinds
        if any(its == kind for its, _ in graded)
    )


def _grade_of(cloud: Cloud, part: Part) -> Kind | None:
    """Grade a piece; the rocket itself is never left out, however softly it lands."""
    found = grade(_median(cloud.energy, part))
    return found or ("caution" if part.body == "rocket" else None)


def _zone(
    kind: Kind,
    cloud: Cloud,
    parts: list[Part],
    contours: Mapping[tuple[str, str], tuple[Contour, ...]],
) -> Zone:
    speaks = max(parts, key=lambda part: _median(cloud.energy, part))
    if kind == "caution":
        planned = [p for p in parts if p.case == WORKS and p.body == "rocket"]
        speaks = planned[0] if planned else speaks
    outlines = {
        p: _outline(cloud, p, contours[p.case, p.body][-1].shape) for p in parts
    }
    whole = shapely.union_all(list(outlines.values()))
    return Zone(
        kind,
        shapely.MultiPolygon(list(shapely.get_parts(whole))),
        outlines[speaks],
        speaks.case,
        speaks.body,
        _median(cloud.speed, speaks),
        _median(cloud.energy, speaks),
        float(speaks.quantile(cloud.time, 0.05)),
    )


def _outline(
    cloud: Cloud, part: Part, shape: shapely.MultiPolygon
) -> shapely.MultiPolygon:
    """Calm an outline; islets stay where more than noise lands on them."""
    calm, at = calmed(shape), (cloud.east[part.rows], cloud.north[part.rows])
    shapely.prepare([shape, calm])
    lost = shapely.intersects_xy(shape, *at) & ~shapely.intersects_xy(calm, *at)
    return (
        calmed(shape, islet=0.0)
        if np.average(lost, weights=part.weights) > _LOST
        else calm
    )


def _median(column: FloatArray, part: Part) -> float:
    return float(part.quantile(column, 0.5))
