"""Who must move where: away from what reaches their place, until all of it is clear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import Site
from driftmap.hazard.way_out import clear_ground, way_out
from driftmap.hazard.zones import Zone
from driftmap.report.sheetfacts import Spot

OVER: Final = 50.0
"""What comes down nearer to people than this is above them [m]. Assumed."""


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """Whose people must move, and the way to clear ground.

    Parameters
    ----------
    spot : Spot
        Their place.
    line : shapely.LineString or None
        From the middle of what a zone reaches of it to the nearest clear ground [m]; None
        where no way is known.
    """

    spot: Spot
    line: shapely.LineString | None

    @property
    def azimuth(self) -> float | None:
        """Which way [rad]."""
        if self.line is None:
            return None
        (east, north), (to_east, to_north) = self.line.coords
        return math.atan2(to_east - east, to_north - north)

    @property
    def back(self) -> str:
        """How the way lies for somebody who faces the pad; empty for a way toward it."""
        if self.azimuth is None or self.spot.distance < OVER:
            return ""
        pad = self.spot.azimuth + math.pi
        turn = math.degrees(math.remainder(self.azimuth - pad, math.tau))
        side = "right" if turn > 0 else "left"
        return ("", "", side, f"back_{side}", "away")[round(abs(turn) / 45)]

    @property
    def ground(self) -> BaseGeometry:
        """Where they stand once they have moved [m]."""
        if self.line is None:
            return self.spot.area.shape
        (east, north), (to_east, to_north) = self.line.coords
        return affinity.translate(
            self.spot.area.shape, to_east - east, to_north - north
        )


def moves(site: Site, zoned: Sequence[Zone], places: Sequence[Spot]) -> list[Move]:
    """List whose people must move, those in danger first."""
    over = [spot for spot in places if spot.stand and spot.seen == "fail"]
    over.sort(key=lambda spot: spot.kind != "danger")
    if not over:
        return []
    shapes = [zone.shape for zone in zoned]
    ground, clear = shapely.union_all(shapes), clear_ground(site, shapes)
    # Outside both no zone tells which way is better.
    return [
        Move(s, way_out(s.area.shape, ground, clear) if s.kind else None) for s in over
    ]
