"""Tables of a file of observations: each key read once, each mistake told in one line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from math import pi
from typing import Any, TypeVar

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.errors import InputError, located, nearest, quoted
from driftmap.core.units import bounded, check_bounds, parse_spread, quantity
from driftmap.ground.areas import Site
from driftmap.ground.site import FARTHEST_PLACE

V = TypeVar("V")

_LONGEST_TEXT = 120


class SeenTable:
    """One table of a file, `where` it stands in it, and the site where its places are."""

    def __init__(self, source: str, where: str, data: object, site: Site) -> None:
        self.source, self.where, self.site = source, where, site
        if not isinstance(data, Mapping):
            raise self.refusal("", f"must be a table (got {data!r:.40})")
        self.data: Mapping[str, Any] = data
        self._known: set[str] = set()

    def refusal(self, key: str, problem: str) -> InputError:
        """Say what is wrong with a key."""
        return InputError(self.source, self._at(key), problem)

    def _at(self, key: str) -> str:
        return ".".join(part for part in (self.where, key) if part)

    def get(self, key: str) -> object:
        """Return what stands at a key, or None."""
        self._known.add(key)
        return self.data.get(key)

    def text(self, key: str) -> str:
        """Read a short text, empty where there is none."""
        value = self.get(key)
        if value is None:
            return ""
        if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
            text = f"must be text of at most {_LONGEST_TEXT} characters"
            raise self.refusal(key, text)
        return " ".join("".join(c if c.isprintable() else " " for c in value).split())

    def names(self, key: str, accepted: list[str]) -> list[str]:
        """Read one or more names of a list."""
        value = self.get(key)
        given = [] if value is None else value if isinstance(value, list) else [value]
        for name in given:
            self.one_of(key, name, accepted)
        return [str(name) for name in given]

    def one_of(self, key: str, name: object, accepted: list[str]) -> str:
        """Refuse what is not in a list."""
        if name not in accepted:
            text = f"{quoted(name)} is not known here; {nearest(str(name), accepted)}"
            raise self.refusal(key, text)
        return str(name)

    def quantity(
        self, key: str, dimension: str, low: float, high: float
    ) -> float | None:
        """Read a quantity within bounds [SI], or None."""
        value = self.get(key)
        with located(self.source, self._at(key)):
            _check_unit(value, dimension)
            return None if value is None else bounded(value, dimension, low, high)

    def measured(
        self, key: str, dimension: str, error: float, low: float, high: float
    ) -> tuple[float, float] | None:
        """Read a quantity with its error in SI, or None; `error` where it gives none."""
        value = self.get(key)
        if value is None:
            return None
        with located(self.source, self._at(key)):
            _check_unit(value, dimension)
            number, told = parse_spread(value, dimension)
            check_bounds(number, value, dimension, low, high)
        if told is not None and told <= 0:
            raise self.refusal(key, f"the error must be above 0 (got {value!r})")
        return number, error if told is None else told

    def with_error(
        self, key: str, dimension: str, error: float, low: float, high: float
    ) -> dict[str, float]:
        """Read a quantity as fields by the names of key and error; none where it is not told."""
        told = self.measured(key, dimension, error, low, high)
        return {} if told is None else {key: told[0], f"{key}_error": told[1]}

    def given(self, key: str, value: V | None, wanted: str) -> V:
        """Return what was read at a key that must stand there."""
        if value is None:
            raise self.refusal(key, f"missing{wanted}")
        return value

    def bearing(self) -> tuple[float, float] | None:
        """Read a true or a magnetic bearing with its error [rad], or None."""
        error = 5 * pi / 180
        true = self.measured("bearing", "angle", error, 0, 2 * pi)
        needle = self.measured("magnetic_bearing", "angle", error, 0, 2 * pi)
        if true and needle:
            raise self.refusal("bearing", "stands beside magnetic_bearing; give one")
        if needle is None:
            return true
        off = self.quantity("declination", "angle", -pi, pi)
        off = self.site.declination if off is None else off
        if off is None:
            text = "needs the declination, here or in the site file, such as '13.5 deg'"
            raise self.refusal("magnetic_bearing", text)
        return (needle[0] + off) % (2 * pi), needle[1]

    def point(self, key: str, example: str) -> tuple[float, float, str]:
        """Read a place: a name of the site, or latitude and longitude; metres and words."""
        value = self.given(key, self.get(key), f"; such as {example}")
        if isinstance(value, str):
            return self._named(key, value)
        pair = value if isinstance(value, list) and len(value) == 2 else [None]
        if not all(type(v) in {int, float} for v in pair):
            text = f"must be [latitude, longitude] or a name, such as {example}"
            raise self.refusal(key, text)
        east, north = self.local(key, *map(float, pair))
        return east, north, f"{pair[0]}, {pair[1]}"

    def _named(self, key: str, name: str) -> tuple[float, float, str]:
        site = self.site
        if name in {"pad", site.pad}:
            return 0.0, 0.0, "the pad"
        self.one_of(key, name, ["pad", *(area.name for area in site.areas)])
        area = next(area for area in site.areas if area.name == name)
        middle = area.shape.representative_point()
        return float(middle.x), float(middle.y), name

    def local(self, key: str, latitude: float, longitude: float) -> tuple[float, float]:
        """Project a position to metres from the pad, near enough to belong here."""
        try:
            east, north = (float(v) for v in self.site.to_local(longitude, latitude))
        except ValueError as problem:
            text = f"{problem}; accepted is [latitude, longitude]"
            raise self.refusal(key, text) from None
        away = (east**2 + north**2) ** 0.5
        if away > FARTHEST_PLACE:
            message = (
                f"lies {away / 1000:,.0f} km from the pad, which is outside the site; "
                f"must be within {FARTHEST_PLACE / 1000:g} km, as [latitude, longitude]"
            )
            raise self.refusal(key, message)
        return east, north

    def ground(self, key: str) -> BaseGeometry | None:
        """Read an outline of ground as a list of positions, or None."""
        value = self.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) < 3:
            raise self.refusal(key, "must be three or more [latitude, longitude]")
        corners = []
        for corner in value:
            if not isinstance(corner, list) or len(corner) != 2:
                raise self.refusal(key, "each corner must be [latitude, longitude]")
            try:
                place = float(corner[0]), float(corner[1])
            except (TypeError, ValueError):
                raise self.refusal(key, f"{corner!r} is no position") from None
            corners.append(self.local(key, *place))
        shape = shapely.Polygon(corners)
        if not shape.is_valid or shape.area <= 0:
            raise self.refusal(key, "must be an outline that does not cross itself")
        return shape

    def finish(self) -> None:
        """Refuse keys that nobody read."""
        for key in self.data:
            if key not in self._known:
                hint = nearest(key, sorted(self._known))
                raise self.refusal(key, f"is no key here; {hint}")


def _check_unit(value: object, dimension: str) -> None:
    """Refuse a length without its unit, in an error too: an altimeter shows feet."""
    if dimension == "length" and value is not None:
        for part in re.split(r"±|\+/-", str(value)):
            if "%" not in part:
                quantity(part, dimension)
