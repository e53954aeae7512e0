"""Pick the one report that is meant from a file that holds several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

from driftmap.air.wind import WindLevel
from driftmap.errors import WindError
from driftmap.winds.reading import Setting
from driftmap.winds.times import SLIP, show_time

__all__ = [
    "FAR_ABOVE",
    "NEAR",
    "Placed",
    "above_ground",
    "choose_station",
    "choose_time",
    "without_doubles",
]

FAR_ABOVE: Final = 6000.0
"""A level higher above the site than this [m] may be left out where it cannot be right: few
flights reach it, and the note says so; assumed."""

NEAR: Final = 30.0
"""How far below the site a level is still its ground [m]; assumed."""

Placed = tuple[str, WindLevel]
"""A level with its place in the source."""


def choose_station(
    stations: Sequence[str], setting: Setting, source: str, *, strict: bool = False
) -> tuple[str, tuple[str, ...]]:
    """Pick the station that is meant.

    Parameters
    ----------
    stations : sequence of str
        Stations that the source holds, in capitals.
    setting : Setting
        Names the station, if any; ``DEN`` and ``KDEN`` are one.
    source : str
        For the message.
    strict : bool
        Whether the only station of a source must be the one named; else it is taken
        with a note, since a name may be meant for another source.

    Returns
    -------
    station : str
        The station.
    assumed : tuple of str
        That it is another than the one named.

    Raises
    ------
    WindError
        If it is not there, or there are several and none is named.
    """
    names = list(dict.fromkeys(stations))
    shown = ", ".join(names[:12]) + (", …" if len(names) > 12 else "")
    if setting.station is None:
        if len(names) == 1:
            return names[0], ()
        raise WindError(source, "", f"holds {len(names)} stations; name one: {shown}")
    wanted = setting.station.upper()
    for name in names:
        if name in {wanted, f"K{wanted}"} or f"K{name}" == wanted:
            return name, ()
    if len(names) == 1 and not strict:
        return names[0], (
            f"{source}: of {names[0] or 'a station not told'}, not {wanted}",
        )
    raise WindError(source, "", f"holds no station {wanted}; it holds {shown}")


def choose_time(
    times: Sequence[datetime | None],
    setting: Setting,
    source: str,
    *,
    forecast: bool = False,
) -> tuple[int, tuple[str, ...]]:
    """Pick the report that speaks of the flight best.

    Parameters
    ----------
    times : sequence of datetime or None
        Time of each report of one station.
    setting : Setting
        Time of the flight.
    source : str
        For the message.
    forecast : bool
        Whether they are forecasts, of which the nearest is picked; of what was measured
        it is the last that can have been seen.

    Returns
    -------
    index : int
        Which report.
    assumed : tuple of str
        That it was one of several.

    Raises
    ------
    WindError
        If there are several and their times are not known, or are the same.
    """
    if len(times) == 1:
        return 0, ()
    known = [time for time in times if time is not None]
    if len(known) < len(times):
        raise WindError(
            source, "", f"holds {len(times)} reports, not all with a time; keep one"
        )
    seen = [time for time in known if time - setting.seen_by <= SLIP]
    if forecast:
        time = min(known, key=lambda each: abs(each - setting.when))
        how = "the nearest to the flight"
    else:
        time, how = max(seen, default=min(known)), "the last before the flight"
    if known.count(time) > 1:
        raise WindError(
            source, "", f"holds two reports of {show_time(time)}; keep one of them"
        )
    note = f"{source}: {show_time(time)} is {how} of {len(times)} reports"
    return known.index(time), (note,)


def above_ground(
    levels: list[Placed], name: str, setting: Setting
) -> tuple[list[Placed], tuple[str, ...]]:
    """Leave out what lies below the site, but keep a foot that all but reaches it.

    Parameters
    ----------
    levels : list of (str, WindLevel)
        Levels with their place in the source; heights may be below 0.
    name : str
        Name of the report.
    setting : Setting
        Place of the flight.

    Returns
    -------
    levels : list of (str, WindLevel)
        At or above the ground.
    assumed : tuple of str
        What was left out or moved.
    """
    clear = [pair for pair in levels if pair[1].height >= 0]
    under = [pair for pair in levels if pair[1].height < 0]
    where, foot = max(under, key=lambda pair: pair[1].height, default=("", None))
    notes: tuple[str, ...] = ()
    below = len(under)
    if (
        foot is not None
        and foot.height >= -NEAR
        and all(level.height >= 1.0 for _, level in clear)
    ):
        notes = (
            f"{name}: its level {-foot.height:.0f} m below the site taken at the ground",
        )
        clear, below = [(where, replace(foot, height=0.0)), *clear], below - 1
    if below:
        notes += (
            f"{name}: {below} level{'s' if below > 1 else ''} below the site "
            f"({setting.site_altitude:.0f} m) left out",
        )
    return clear, notes


def without_doubles(
    levels: list[Placed], name: str
) -> tuple[list[Placed], tuple[str, ...]]:
    """Leave out the second of two winds at one height, far above the site.

    Parameters
    ----------
    levels : list of (str, WindLevel)
        Levels with their place in the source.
    name : str
        Name of the report.

    Returns
    -------
    levels : list of (str, WindLevel)
        By height; lower ones are left for the reader to refuse.
    assumed : tuple of str
        How many were left out.
    """
    rows = sorted(levels, key=lambda row: row[1].height)
    kept = rows[:1]
    for row in rows[1:]:
        if row[1].height < FAR_ABOVE or row[1].height - kept[-1][1].height > 1e-6:
            kept.append(row)
    less = len(rows) - len(kept)
    if not less:
        return kept, ()
    return kept, (f"{name}: second levels at one height, far above, left out: {less}",)
