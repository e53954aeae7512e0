"""Whether the pad lies in the country whose rules the site names."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType
from typing import Final, TypeAlias

from driftmap.ground.site import Site
from driftmap.rules import picked_rules
from driftmap.verdict.check import Check, Kind

__all__ = ["BOXES", "position_checks", "show_position"]

_Box: TypeAlias = tuple[float, float, float, float]

BOXES: Final = MappingProxyType(
    {
        "us-california": ((-124.6, 32.4, -114.0, 42.1),),
        "us": (
            (-125.0, 24.3, -66.8, 49.5),
            (-180.0, 51.0, -129.9, 71.6),  # Alaska; its last isles lie past 180°
            (172.3, 51.0, 180.0, 53.2),
            (-160.4, 18.8, -154.7, 22.4),
            (-67.4, 17.6, -64.5, 18.6),
            (144.5, 13.1, 146.2, 20.7),
        ),
        "uk": ((-8.7, 49.8, 2.0, 60.9),),
        "canada": ((-141.1, 41.6, -52.5, 83.2),),
        "australia": ((112.9, -43.8, 153.7, -9.1),),
        "germany": ((5.8, 47.2, 15.1, 55.1),),
        "switzerland": ((5.9, 45.8, 10.6, 47.9),),
        "new-zealand": ((166.3, -47.4, 178.7, -34.3),),
    }
)
"""West, south, east and north ends of the lands whose rules are known [deg], by the start
of the name of a rule set; from memory, rounded outward."""


def show_position(longitude: float, latitude: float) -> str:
    """Write a position for people to hold against what they know."""
    north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{abs(latitude):.5f}° {north}, {abs(longitude):.5f}° {east}"


def position_checks(site: Site) -> Iterator[Check]:
    """Fail where the pad lies in none of the lands that its rules are made for."""
    longitude, latitude = site.longitude, site.latitude
    # A club's own file speaks for the lands of the sets that it extends.
    names = [rules.name for rules in picked_rules(site)] if site.rules.strip() else []
    lands = (next((key for key in BOXES if _of(name, key)), "") for name in names)
    for land in dict.fromkeys(land for land in lands if land):
        inside = _within(land, longitude, latitude)
        hint = ""
        if not inside and _within(land, latitude, longitude):
            hint = "; latitude and longitude are swapped: GeoJSON has longitude first"
        yield Check(
            kind=Kind.POSITION,
            area=land,
            outcome="pass" if inside else "fail",
            source=f"bounds of {land}, from memory",
            note=f"the pad is at {show_position(longitude, latitude)}{hint}",
        )


def _of(name: str, land: str) -> bool:
    return name == land or name.startswith(f"{land}-")


def _within(land: str, longitude: float, latitude: float) -> bool:
    return any(
        west <= longitude <= east and south <= latitude <= north
        for west, south, east, north in BOXES[land]
    )
