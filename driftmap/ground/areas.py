"""Areas of ground and air about the pad, in local metres."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from shapely.geometry.base import BaseGeometry

from driftmap.errors import quoted
from driftmap.ground.roles import OCCUPIED

__all__ = ["Area", "Waiver", "check_shape"]

_SMALLEST: Final = 1.0  # m²


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """Ground that matters to the verdict.

    Parameters
    ----------
    name : str
        Its name, as in the file: escape it before showing it in a page.
    role : str
        A key of `ROLES`.
    shape : shapely.Polygon or shapely.MultiPolygon
        Its outline in metres from the pad [m].
    people : int or None
        Head count; None if not known.
    shelter : str
        ``"open"``, ``"car"`` or ``"roof"``.

    Raises
    ------
    ValueError
        If the shape is empty, broken, or no area.
    """

    name: str
    role: str
    shape: BaseGeometry
    people: int | None = None
    shelter: str = "open"

    def __post_init__(self) -> None:
        check_shape(self.name, self.shape)

    @property
    def occupied(self) -> bool:
        """Whether people are there: by its role, or by a head count of one or more."""
        return self.role in OCCUPIED or bool(self.people)


@dataclass(frozen=True, slots=True, eq=False)
class Waiver:
    """Airspace we may fly in.

    Parameters
    ----------
    shape : shapely.Polygon or shapely.MultiPolygon
        Its outline in metres from the pad [m].
    ceiling : float
        Its top above the site [m].
    centre : (float, float)
        East and north of its middle [m].
    radius : float or None
        Radius if it was given as a circle [m]. `shape` lies just inside the circle.

    Raises
    ------
    ValueError
        If the shape is no area or the ceiling is not above the ground.
    """

    shape: BaseGeometry
    ceiling: float
    centre: tuple[float, float] = (0.0, 0.0)
    radius: float | None = None

    def __post_init__(self) -> None:
        check_shape("waiver", self.shape)
        if not 0 < self.ceiling < math.inf:
            raise ValueError(f"'ceiling' must be above the ground (got {self.ceiling})")


def check_shape(name: str, shape: BaseGeometry) -> None:
    """Refuse a shape that is no area.

    Parameters
    ----------
    name : str
        Whose shape it is, for the message.
    shape : BaseGeometry
        The shape [m].

    Raises
    ------
    ValueError
        If it is not a valid polygon of 1 m² or more.
    """
    if shape.geom_type not in {"Polygon", "MultiPolygon"} or not shape.is_valid:
        raise ValueError(f"shape of {quoted(name)} must be a valid polygon")
    if not shape.area >= _SMALLEST:
        raise ValueError(
            f"shape of {quoted(name)} must cover {_SMALLEST:g} m² or more "
            f"(got {shape.area:.3g})"
        )
