"""The day's list as a file: which flights, in what order, in which winds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from typing import Any, Final, Literal, TypeAlias, TypeVar, cast
from uuid import uuid4

import tomlkit

from driftmap.core.checks import names_somebody
from driftmap.core.errors import InputError, located
from driftmap.core.units import check_bounds, quantity
from driftmap.desk.folder import Folder, write_whole
from driftmap.report.words import Units

DAY: Final = "day.toml"

State: TypeAlias = Literal["waiting", "flown", "not today"]
_STATES: Final = ("waiting", "flown", "not today")
_MOST: Final = 200
_MOST_METERS: Final = 12
_LONGEST: Final = 60

_METER_UNITS: Final = ("kt", "m/s", "mph", "km/h")
"""What meters show."""

WHYS: Final = ("mistyped", "no longer so")
"""Why a wind may be set aside by hand."""

_NORTHS: Final = ("true", "magnetic")
_MAST: Final = 20.0
"""What is read higher [m] is no meter in a hand or on a mast; assumed."""

_HEAD: Final = """\
# The day's list, kept by driftmap desk. Winds are the files in which every flight of the
# list is judged; a flight's state is waiting, flown or not today."""


def is_name(text: str) -> bool:
    """Return whether a text may be the name of somebody who answers for something."""
    return len(text) <= _LONGEST and text.isprintable() and names_somebody(text)


@dataclass(frozen=True, slots=True)
class Item:
    """One flight of the day, by a name of its own in the list: a rocket may fly twice."""

    id: str
    flight: str
    pad: str = ""  # empty where the site has one
    state: State = "waiting"
    logged: str = ""  # entries of the log: the assessment it flew by,
    outcome: str = ""  # and what came of it


@dataclass(frozen=True, slots=True)
class Meter:
    """A wind meter as its user described it: nothing of it is assumed."""

    name: str
    unit: str
    north: str
    height: str

    def __post_init__(self) -> None:
        if not 1 <= len(self.name.strip()) <= _LONGEST or not self.name.isprintable():
            raise InputError("meter", "name", "is missing: what do you call it?")
        if self.unit not in _METER_UNITS:
            text = f"choose what it shows: {', '.join(_METER_UNITS)}"
            raise InputError("meter", "unit", text)
        if self.north not in _NORTHS:
            text = "choose from which north its directions are: true or magnetic"
            raise InputError("meter", "north", text)
        with located("meter", "height"):
            check_bounds(
                quantity(self.height, "length"), self.height, "length", 0.5, _MAST
            )


@dataclass(frozen=True, slots=True)
class Aside:
    """A wind that somebody set aside by hand, which the day's words tell of."""

    file: str
    told: str  # when it was read and what it said
    why: str  # only one that was typed wrongly is out of the verdict
    by: str

    def __post_init__(self) -> None:
        if self.why not in WHYS:
            text = f"choose why: {' or '.join(WHYS)}"
            raise InputError("set aside", "why", text)
        if not is_name(self.by):
            raise InputError("set aside", "by", "who sets it aside? Type a name")


@dataclass(frozen=True, slots=True)
class Day:
    """A day's list, the next flight first."""

    date: str = ""
    units: Units = "us"
    winds: tuple[str, ...] = ()  # files of those that count
    items: tuple[Item, ...] = field(default=())
    aside: tuple[Aside, ...] = ()
    meters: tuple[Meter, ...] = ()  # the one in use first

    def item(self, name: str) -> Item:
        """Find a flight of the list."""
        for item in self.items:
            if item.id == name:
                return item
        raise InputError(DAY, name[:20], "is no longer in the list")


def read_day(folder: Folder) -> Day:
    """Read the day's list; an empty one where there is none yet.

    A line written by hand gets a name of its own in the file, before anybody changes it: what
    is logged of a flight is met again by that name, on another day too.
    """
    day = _read(folder)
    if len({item.id for item in day.items} - {""}) == len(day.items):
        return day
    with folder.held():  # no version to go back to: the names were never others
        day = _named(_read(folder))
        write_whole(folder.path(DAY), _text(day).encode())
    return day


def _named(day: Day) -> Day:
    """Give each line a name of its own; a copy of a line is another flight, which waits."""
    known: set[str] = set()
    items = []
    for item in day.items:
        copied = item.id in known
        one = new_item(item.flight, item.pad) if copied else item
        items.append(one if one.id else replace(one, id=_fresh()))
        known.add(items[-1].id)
    return replace(day, items=tuple(items))


def _read(folder: Folder) -> Day:
    if folder.text(DAY) is None:
        return Day(date.today().isoformat())
    data = folder.tables(DAY)
    winds, items = data.get("winds", []), data.get("flight", [])
    _check(isinstance(winds, list) and all(isinstance(w, str) for w in winds), "winds")
    _check(isinstance(items, list) and len(items) <= _MOST, "flight")
    units = data.get("units", "us")
    _check(units in ("us", "si"), "units")
    return Day(
        str(data.get("date", "")),
        cast(Units, units),
        tuple(winds),
        tuple(_item(i, row) for i, row in enumerate(items, 1)),
        tuple(_rows(data, "set_aside", Aside)),
        tuple(_rows(data, "meter", Meter)),
    )


_Row = TypeVar("_Row", Aside, Meter)


def _rows(data: dict[str, Any], key: str, kind: type[_Row]) -> Iterator[_Row]:
    """Read tables of one kind; each must tell all of it."""
    rows = data.get(key, [])
    _check(isinstance(rows, list) and len(rows) <= _MOST, key)
    for row in rows:
        _check(isinstance(row, dict), key)
        yield kind(**{name: str(row.get(name, "")) for name in kind.__slots__})


def _check(good: bool, key: str) -> None:
    accepted = {"winds": "a list of files", "units": '"us" or "si"'}
    if not good:
        told = accepted.get(key, f"tables [[{key}]], at most {_MOST}")
        raise InputError(DAY, key, f"must be {told}")


def _item(number: int, row: object) -> Item:
    if not isinstance(row, dict) or not isinstance(row.get("file"), str):
        raise InputError(DAY, f"flight {number}", 'needs file = "flights/NAME.toml"')
    state = row.get("state", "waiting")
    if state not in _STATES:
        text = f"state must be one of {', '.join(_STATES)}"
        raise InputError(DAY, f"flight {number}", text)
    texts = [str(row.get(key, "")) for key in ("pad", "logged", "outcome")]
    if state == "waiting" and texts[2]:
        text = 'waits, yet the log has its outcome: set state = "flown", or take that line out'
        raise InputError(DAY, f"flight {number}", text)
    name = str(row.get("id", ""))
    return Item(name, row["file"], texts[0], cast(State, state), texts[1], texts[2])


def change_day(folder: Folder, edit: Callable[[Day], Day]) -> Day:
    """Change the list as it stands now, whoever wrote it last."""
    with folder.held():
        base = folder.revision(DAY)
        day = edit(_named(_read(folder)))
        # What would not be read again is not written: the list would be lost to everybody.
        for rows in (day.items, day.aside):
            if len(rows) > _MOST:
                raise InputError(DAY, "", f"holds {_MOST} at most: begin a new day")
        folder.write(DAY, _text(day).encode(), base)
        return day


def _text(day: Day) -> str:
    head = {"date": day.date, "units": day.units, "winds": list(day.winds)}
    rows = [{"id": item.id, "file": item.flight, **_told(item)} for item in day.items]
    asides, meters = map(asdict, day.aside), map(asdict, day.meters)
    tables = {"flight": rows, "set_aside": [*asides], "meter": [*meters]}
    told = {**head, **{key: kept for key, kept in tables.items() if kept}}
    return f"{_HEAD}\n{tomlkit.dumps(told)}"


def _told(item: Item) -> dict[str, str]:
    known = asdict(item)
    keys = ("pad", "state", "logged", "outcome")
    return {key: known[key] for key in keys if known[key]}


def new_item(flight: str, pad: str = "") -> Item:
    """Make a line of the list."""
    return Item(_fresh(), flight, pad)


def _fresh() -> str:
    return uuid4().hex[:8]


def reordered(day: Day, name: str, places: int) -> Day:
    """Move a flight up (negative) or down among those that wait."""
    item = day.item(name)
    waiting = [one for one in day.items if one.state == "waiting"]
    if item not in waiting:
        return day
    at = waiting.index(item)
    to = min(max(at + places, 0), len(waiting) - 1)
    waiting.insert(to, waiting.pop(at))
    rest = (one for one in day.items if one.state != "waiting")
    return replace(day, items=(*waiting, *rest))


def in_use(day: Day, meter: Meter) -> Day:
    """Take a meter into use: the one of its name that was known gives way."""
    others = (one for one in day.meters if one.name != meter.name)
    return replace(day, meters=(meter, *others)[:_MOST_METERS])


def with_item(day: Day, item: Item) -> Day:
    """Return a day with a line in place of the one of its name."""
    items = tuple(item if one.id == item.id else one for one in day.items)
    return replace(day, items=items)
