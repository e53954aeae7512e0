"""What rules can speak of: the facts they use, the limits they set, the classes of motors."""

from __future__ import annotations

import bisect
import math
import unicodedata
from collections.abc import Callable, Container, Set
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, get_args

from driftmap.core.tables import shipped
from driftmap.ground.areas import Area

Sense = Literal["at least", "at most"]

_SENSES: Final[tuple[Sense, ...]] = get_args(Sense)


Scope = Literal["season", "ground", "day", "pad", "flight"]
"""How long an answer holds; one of the ground as one for the season, of one pad."""

SCOPES: Final[tuple[Scope, ...]] = get_args(Scope)
"""Scopes, that whose answers hold for least last."""

LASTING: Final = frozenset({"season", "ground"})
"""Scopes whose answers hold for a year."""

OF_A_PAD: Final = frozenset({"ground", "pad"})
"""Scopes whose answers hold at one pad, not all over a field."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A number about a flight, a site or a day.

    Parameters
    ----------
    dimension : str
        A key of `driftmap.core.units.DIMENSIONS`.
    scope : {"season", "ground", "day", "pad", "flight"}
        How long an answer that gives it holds, and where.
    example : str
        How an answers file may write it.
    least, most : float
        What an answer may be, in SI.
    text : str
        How it is named to people.
    """

    dimension: str
    scope: Scope
    example: str
    least: float
    most: float
    text: str


def _fact(dimension: str, scope: str, example: str, *rest: str) -> Fact:
    least, most, text = rest
    highest = float(most or (1.0 if dimension == "share" else 1e9))
    held = SCOPES[SCOPES.index(scope)]
    return Fact(dimension, held, example, float(least or 1e-9), highest, text)


FACTS: Final = MappingProxyType(
    {name: _fact(*told) for name, *told in shipped(__package__, "facts.csv")}
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
    scope : {"season", "ground", "day", "pad", "flight"}
        How long an answer to it holds: where how near is too near depends on the rocket, for it.
    """

    text: str
    absent: str
    holds: Callable[[Area], bool]
    scope: Scope = "ground"


_PROPERTY: Final = ("building", "road", "railway", "power line", "airport")

GROUPS: Final = MappingProxyType(
    {
        "people": Group(
            "place where people are",
            "no_people_near",
            lambda area: area.perhaps_occupied,
            "flight",
        ),
        "outsiders": Group(
            "person or property that is no part of the launch",
            "no_outsiders_near",
            lambda area: area.role in _PROPERTY,
            "flight",
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
class RuleKind:
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

    def keeps(self, value: float, limit: float) -> bool:
        """Say whether a figure is within a limit."""
        return value >= limit if self.sense == "at least" else value <= limit

    @property
    def dimension(self) -> str:
        """Key of `driftmap.core.units.DIMENSIONS` for the limit."""
        return "length" if self.fact in GROUPS else FACTS[self.fact].dimension


RULE_KINDS: Final = MappingProxyType(
    {
        name: RuleKind(fact, _SENSES[_SENSES.index(sense)])
        for name, fact, sense in shipped(__package__, "kinds.csv")
    }
)
"""Every limit by the name a rule file uses."""

UNIT: Final = MappingProxyType(
    {
        "length": "m",
        "speed": "m/s",
        "mass": "kg",
        "impulse": "N s",
        "force": "N",
        "angle": "deg",
        "time": "h",
        "share": "share",
        "number": "",
    }
)
"""Unit in which a result gives each kind of quantity."""

SCALE: Final = MappingProxyType({"angle": math.pi / 180, "time": 3600.0})
"""SI units in one of `UNIT`, where that is not SI."""


def amount(value: float, dimension: str) -> str:
    """Write a quantity with its unit.

    Parameters
    ----------
    value : float
        In SI.
    dimension : str
        A key of `UNIT`.

    Returns
    -------
    str
        The number, to six digits, and the unit.

    Examples
    --------
    >>> amount(640.01, "impulse")
    '640.01 N s'
    """
    return f"{value / SCALE.get(dimension, 1.0):,.6g} {UNIT[dimension]}".rstrip()


Realm = Literal["ground", "air"]
"""What one code may hold the whole of."""

_TOPICS: Final = tuple(
    (realm, topic, frozenset(names.split()))
    for realm, topic, names in shipped(__package__, "topics.csv")
)
"""What codes for rockets speak of, with the rules or questions that speak of it."""


def not_covered(whole: Container[str], asked: Set[str]) -> tuple[str, ...]:
    """List the topics of which rules say nothing, by the names of those they ask.

    None of a realm that one set holds the ``whole`` of.
    """
    return tuple(
        topic
        for realm, topic, names in _TOPICS
        if realm not in whole and not asked & names
    )


NOT_COVERED: Final = "local_code_read"
"""Question that a person confirms where the rules say nothing of some of `_TOPICS`."""

LARGER_JUDGED: Final = "larger_rockets_judged"
"""Question that a person confirms where larger rockets go together with the one flown."""

LARGER: Final = (
    "each larger rocket launched with it was judged by its own file and is go"
)

FLOOR: Final = ("us-model", "us-high-power")
"""Sets whose yardsticks hold at every site: the only published table of personnel
distances by impulse that we know of."""


_LETTERS: Final[tuple[str, ...]] = ("1/4A", "1/2A", *"ABCDEFGHIJKLMNO")

CLASS_BOUNDS: Final[tuple[float, ...]] = tuple(
    2.5 * 2.0 ** (k - 2) for k in range(len(_LETTERS))
)
"""Greatest total impulse of each class, from 1/4A to O [N s]: A ends at 2.5 and each class
at twice the one before. Seen for 1/2A to O in a public table of combined impulse
(lunar.org, "Launch site Dimensions and Distance to Launch Pad"); 1/4A from memory."""


def motor_class(total_impulse: float) -> str:
    """Name the class of a total impulse.

    Parameters
    ----------
    total_impulse : float
        Total impulse of all motors together [N s].

    Returns
    -------
    str
        Letter of the class; its upper bound belongs to it.

    Raises
    ------
    ValueError
        If the impulse is not positive or beyond class O.

    Examples
    --------
    >>> motor_class(160.0), motor_class(160.01)
    ('G', 'H')
    """
    if not 0 < total_impulse <= CLASS_BOUNDS[-1]:
        raise ValueError(
            f"'total_impulse' must lie above 0 and up to {CLASS_BOUNDS[-1]:g} N s "
            f"(got {total_impulse:g})"
        )
    return _LETTERS[bisect.bisect_left(CLASS_BOUNDS, total_impulse)]


def figure_key(text: str) -> str:
    """Write a figure in words as it is compared, however its powers and spaces are typed."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
