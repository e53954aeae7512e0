"""Pick the one report that is meant from a file that holds several."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from driftmap.errors import WindError
from driftmap.winds.reading import Setting
from driftmap.winds.times import SLIP, show_time

__all__ = ["choose_station", "choose_time", "clear_of_ground"]


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


def clear_of_ground(below: int, source: str, setting: Setting) -> tuple[str, ...]:
    """Say how many levels lay below the site.

    Parameters
    ----------
    below : int
        Number of levels left out.
    source : str
        Name of the report.
    setting : Setting
        Place of the flight.

    Returns
    -------
    tuple of str
        A sentence for `assumed`, or none.
    """
    if not below:
        return ()
    return (
        f"{source}: {below} level{'s' if below > 1 else ''} below the site "
        f"({setting.site_altitude:.0f} m) left out",
    )
