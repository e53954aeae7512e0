"""The rows of a meter's record: when it showed what wind, and when none."""

from __future__ import annotations

import contextlib
import math
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from typing import Final

import numpy as np

from driftmap.air.wind import HEAD, components_from
from driftmap.core import units
from driftmap.core.checks import FloatArray
from driftmap.core.errors import at
from driftmap.core.tables import number_of, remarks_of, rows_of
from driftmap.winds.reading import SLIP, Setting, check_direction, check_speed
from driftmap.winds.text import NAMES, read_time
from driftmap.winds.times import parse_time

_MOST: Final = 100_000
STAMPS: Final = ("time", "time_utc")
_COLUMNS: Final = tuple(
    name for name in NAMES if name.startswith(("from", "speed", "gust"))
)
_OR_ZONE: Final = ", or without its zone below a line '# zone -07:00'"
_NONE: Final = ("", "-", "--", "na", "nan", "none")


@dataclass(frozen=True, slots=True)
class Row:
    """What it showed at a time: from where [rad], how strong and its gust [m s⁻¹]."""

    time: datetime
    direction: float | None
    speed: float
    gust: float | None

    @property
    def peak(self) -> float:
        """The most that it showed [m s⁻¹]."""
        return max(self.speed, self.gust or 0.0)


def components_of(rows: list[Row]) -> tuple[FloatArray, FloatArray]:
    """Return the winds of rows that tell a direction, toward east and north [m s⁻¹]."""
    return components_from(
        np.array([row.direction for row in rows], float),
        np.array([row.speed for row in rows]),
    )


def _with_lone_gusts(rows: list[Row], lone: list[Row]) -> list[Row]:
    """Give each gust that was recorded without a mean to the row nearest in time."""
    kept = list(rows)
    for gust in lone:
        near = min(range(len(kept)), key=lambda i: abs(kept[i].time - gust.time))
        most = max(kept[near].gust or 0.0, gust.gust or 0.0)
        kept[near] = replace(kept[near], gust=most)
    return kept


def height_and_zone(text: str) -> tuple[float, tzinfo | None]:
    """Read the lines that tell the meter's height and the zone of its clock."""
    told = remarks_of(text, ("height", "zone"))
    height, zone = HEAD, None
    if "height" in told:
        with at(told["height"][0]):
            height = units.quantity(told["height"][1], "length")
            if not 0.5 <= height <= 150.0:
                raise ValueError(f"height {height:g} m; accepted is 0.5 to 150 m")
    if "zone" in told:
        with at(told["zone"][0]):
            zone = _zone(told["zone"][1])
    return height, zone


def _zone(text: str) -> tzinfo:
    found = re.fullmatch(r"(?:UTC)?\s*([-+]\d\d:?\d\d|Z)|UTC", text, re.IGNORECASE)
    with contextlib.suppress(ValueError):
        if found and (zone := parse_time(f"2000-01-01T00{found[1] or 'Z'}").tzinfo):
            return zone
    raise ValueError(f"zone {text[:20]!r}; accepted is such as -07:00, or Z")


def rows_of_record(
    text: str, zone: tzinfo | None, setting: Setting
) -> tuple[list[Row], list[datetime]]:
    """Read the rows in order of time, and when rows tell no wind, as far as it was seen."""
    rows: list[Row] = []
    for where, cells in rows_of(text, (*STAMPS, *_COLUMNS), _check_record, 1, _MOST):
        with at(where):
            rows.append(_row(cells, zone, setting))
    whole = [row for row in rows if not math.isnan(row.speed)]
    if not whole:
        raise ValueError("holds no reading with a speed")
    rest = [row for row in rows if math.isnan(row.speed)]
    lone = [row for row in rest if row.gust is not None]
    silent = (row.time for row in rest if row.gust is None)
    dumb = sorted(time for time in silent if time - setting.seen_by <= SLIP)
    return sorted(_with_lone_gusts(whole, lone), key=lambda row: row.time), dumb


def _check_record(names: list[str]) -> None:
    for start in ("time", "from", "speed", "gust"):
        if sum(name.startswith(start) for name in names) > 1:
            raise ValueError(f"two columns of {start}; keep one of them")


def _row(cells: dict[str, str], zone: tzinfo | None, setting: Setting) -> Row:
    values = {
        name.split("_")[0]: number_of(cell, name) * NAMES[name][1]
        for name, cell in cells.items()
        if name not in STAMPS and cell.lower() not in _NONE
    }
    direction = None
    if "from" in values:
        direction = check_direction(values["from"])
        if "from_magnetic_deg" in cells:
            direction = setting.true_bearing(direction)
    speed = check_speed(values["speed"]) if "speed" in values else math.nan
    gust = values.get("gust")
    if gust is not None:
        check_speed(gust, what="gust")
    name = next(name for name in cells if name in STAMPS)
    own = UTC if name == "time_utc" else zone
    time = read_time(cells[name], name, own, also=_OR_ZONE)
    return Row(time, direction, speed, gust)
