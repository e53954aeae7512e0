"""What a rule can speak of: the facts it may use and the limits it may set."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from driftmap.ground.areas import Area

__all__ = [
    "FACTS",
    "FLOOR",
    "GROUPS",
    "KINDS",
    "NOT_COVERED",
    "TOPICS",
    "Fact",
    "Group",
    "Kind",
    "Sense",
]

Sense = Literal["at least", "at most"]


@dataclass(frozen=True, slots=True)
class Fact:
    """A number about a flight, a site or a day.

    Parameters
    ----------
    text : str
        How it is named to people.
    dimension : str
        A key of `driftmap.units.DIMENSIONS`.
    """

    text: str
    dimension: str


FACTS: Final = MappingProxyType(
    {
        "total_impulse": Fact("total impulse", "impulse"),
        "motor_count": Fact("number of motors", "number"),
        "average_thrust": Fact("average thrust", "force"),
        "motor_impulse": Fact("total impulse of the largest motor", "impulse"),
        "motor_thrust": Fact("average thrust of the strongest motor", "force"),
        "stages": Fact("number of stages", "number"),
        "propellant_mass": Fact("mass of propellant", "mass"),
        "liftoff_mass": Fact("lift-off mass", "mass"),
        "liftoff_weight": Fact("lift-off weight", "force"),
        "expected_altitude": Fact("greatest height expected above the site", "length"),
        "rail_tilt": Fact("rail's tilt from the vertical", "angle"),
        "surface_wind": Fact("surface wind", "speed"),
        "waiver_ceiling": Fact("waiver's ceiling above the site", "length"),
        "site_dimension": Fact("site's least dimension", "length"),
        "boundary_distance": Fact("distance from the pad to the boundary", "length"),
        "cleared_diameter": Fact("diameter of the cleared ground at the pad", "length"),
        "cloud_cover": Fact("cloud cover", "share"),
        "visibility": Fact("horizontal visibility", "length"),
        "notice": Fact("time from notice to launch", "time"),
        "rockets_together": Fact("rockets launched together", "number"),
    }
)
"""Every single number that a rule may compare or depend on."""


@dataclass(frozen=True, slots=True)
class Group:
    """Areas of a site that a rule keeps at a distance from the pad.

    Parameters
    ----------
    text : str
        How one of them is named to people.
    absent : str
        The question to confirm where a site file draws none.
    holds : callable
        Whether an area belongs to it.
    """

    text: str
    absent: str
    holds: Callable[[Area], bool]


def _with_people(area: Area) -> bool:
    """Tell whether people may stand there; a building is empty only if the file says so."""
    return area.occupied or (area.role == "building" and area.people is None)


_PROPERTY: Final = ("building", "road", "railway", "power line", "airport")

GROUPS: Final = MappingProxyType(
    {
        "people": Group("place where people are", "no_people_near", _with_people),
        "outsiders": Group(
            "person or property that is no part of the launch",
            "no_outsiders_near",
            lambda area: area.role in _PROPERTY,
        ),
        "buildings": Group(
            "occupied building",
            "no_building_near",
            lambda area: area.role == "building" and area.people != 0,
        ),
        "roads": Group("road", "no_road_near", lambda area: area.role == "road"),
        "airports": Group(
            "airport", "no_airport_near", lambda area: area.role == "airport"
        ),
    }
)
"""Every kind of area that a rule may keep away from."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A limit that a rule file may set.

    Parameters
    ----------
    fact : str
        Key of `FACTS` or `GROUPS`: what is compared. A group's areas are compared by
        their distance from the pad.
    sense : {"at least", "at most"}
        Which side of the limit is within it; the stricter of two follows from it.
    """

    fact: str
    sense: Sense

    @property
    def dimension(self) -> str:
        """Key of `driftmap.units.DIMENSIONS` for the limit."""
        return "length" if self.fact in GROUPS else FACTS[self.fact].dimension


KINDS: Final = MappingProxyType(
    {
        "personnel_distance": Kind("people", "at least"),
        "drag_race_distance": Kind("people", "at least"),
        "people_separation": Kind("people", "at least"),
        "property_separation": Kind("outsiders", "at least"),
        "building_distance": Kind("buildings", "at least"),
        "road_distance": Kind("roads", "at least"),
        "airport_distance": Kind("airports", "at least"),
        "boundary_distance": Kind("boundary_distance", "at least"),
        "cleared_diameter": Kind("cleared_diameter", "at least"),
        "site_dimension": Kind("site_dimension", "at least"),
        "visibility": Kind("visibility", "at least"),
        "notice_at_least": Kind("notice", "at least"),
        "notice_at_most": Kind("notice", "at most"),
        "rail_tilt": Kind("rail_tilt", "at most"),
        "surface_wind": Kind("surface_wind", "at most"),
        "cloud_cover": Kind("cloud_cover", "at most"),
        "total_impulse": Kind("total_impulse", "at most"),
        "propellant_mass": Kind("propellant_mass", "at most"),
        "liftoff_mass": Kind("liftoff_mass", "at most"),
        "liftoff_weight": Kind("liftoff_weight", "at most"),
        "expected_altitude": Kind("expected_altitude", "at most"),
    }
)
"""Every limit by the name a rule file uses."""

TOPICS: Final = MappingProxyType(
    {
        "people's distance from the pad": {"personnel_distance"},
        "buildings and roads": {
            "building_distance",
            "road_distance",
            "property_separation",
        },
        "the size of the site": {"site_dimension"},
        "cleared ground": {"cleared_diameter", "dry_grass"},
        "wind": {"surface_wind"},
        "the rail's tilt": {"rail_tilt"},
        "airspace": {"controlled_airspace", "airport_distance", "airspace_leave"},
        "cloud and visibility": {"cloud_cover", "clear_of_cloud", "visibility"},
        "who may fly which motor": {"flier_certified"},
    }
)
"""What a code for rockets speaks of, with the rules or questions that speak of it."""

NOT_COVERED: Final = "local_code_read"
"""Question that a person confirms where the rules say nothing of some of `TOPICS`."""

FLOOR: Final = ("us-model", "us-high-power")
"""Sets whose yardsticks hold at every site: the only published table of personnel
distances by impulse that we know of."""
