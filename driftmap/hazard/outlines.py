"""The ground that landings of each body take, outlined when it is first asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeAlias

from driftmap.ground.contours import Contour, containment
from driftmap.montecarlo.cloud import Cloud

Lines: TypeAlias = Mapping[tuple[str, str], tuple[Contour, ...]]
"""Contours of `driftmap.core.points.SHARES`, by case and body."""


class Outlines(Mapping[tuple[str, str], tuple[Contour, ...]]):
    """The contours of a cloud: a verdict asks for some of them, a page for all."""

    def __init__(self, cloud: Cloud) -> None:
        self._cloud = cloud
        self._parts = {(part.case, part.body): part for part in cloud.parts}
        self._drawn: dict[tuple[str, str], tuple[Contour, ...]] = {}

    def __getitem__(self, key: tuple[str, str]) -> tuple[Contour, ...]:
        """Return the contours of a body of a case, the narrowest first."""
        if key not in self._drawn:
            part, cloud = self._parts[key], self._cloud
            at = cloud.east[part.rows], cloud.north[part.rows]
            # All at once: with the widest the lattice under the others is cut too.
            self._drawn[key] = containment(*at, weights=part.weights)
        return self._drawn[key]

    def take(self, drawn: Lines) -> None:
        """Take over contours that were drawn elsewhere."""
        self._drawn |= drawn

    def __iter__(self) -> Iterator[tuple[str, str]]:
        """Go through cases and bodies in the order of the cloud."""
        return iter(self._parts)

    def __len__(self) -> int:
        """Count them."""
        return len(self._parts)
