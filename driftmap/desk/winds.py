"""Winds that come to the desk: read by the same readers, kept as files, drawn at once."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final, TypeAlias

from driftmap.air.wind import WindProfile
from driftmap.core.errors import DriftmapError, InputError
from driftmap.core.units import show
from driftmap.desk.day import WHYS, Aside, Day, change_day, read_day
from driftmap.desk.folder import Folder
from driftmap.ground.areas import Site
from driftmap.report.voice import english
from driftmap.report.wind_text import wind_in_words
from driftmap.report.windsketch import shown_top, wind_picture_svg
from driftmap.report.words import bearing, distance
from driftmap.winds.fetch import fetch_forecast
from driftmap.winds.formats import decode, decode_text
from driftmap.winds.merge import merge
from driftmap.winds.metar import STORM_OVER
from driftmap.winds.reading import ONE_TIME, PAST, Reading, Setting, not_renewed
from driftmap.winds.saved import keep_readings, name_of, wind_document

_STAY: Final = timedelta(minutes=20)
"""How long a reading goes on counting beside a newer one of its kind; assumed. Where the
two disagree the verdict holds: one lull must not take back the gust before it."""

_HEARD: Final = timedelta(hours=ONE_TIME)
"""How long a reading that a newer one took the place of may still disagree with it, and what
a station warned of is heard beside its later reports; one that told gusts is heard as long as
gusts are told."""

_STAMP: Final = re.compile(r"\d{4}-\d\d-\d\d-\d{4}(?=-)")
"""How the name begins of what the desk took: when it was read, by this computer's clock."""

_SKY: Final = ("cloud_cover", "visibility", "cloud_base", "lowest_cloud")
"""What a report tells of the sky."""

_BEFORE: Final = timedelta(minutes=1)
_BESIDE: Final = 1 / 3  # of a height: a level so near says as much of the wind there
_NEAR_GROUND: Final = 15.0  # m; so near one reading stands for another; both assumed


def setting_at(site: Site, when: datetime, read_at: datetime | None = None) -> Setting:
    """Say what the readers of winds must know of a site at a time."""
    place = (site.latitude, site.longitude)
    return Setting(
        site.elevation,
        when=when,
        declination=site.declination,
        place=place,
        read_at=read_at,
        now=when,
    )


def _decoded(text: str, setting: Setting) -> tuple[Reading, ...]:
    """Read what was typed, pasted or dropped; a file's name in it is no file here."""
    if not text.strip():
        raise InputError("wind", "", 'is empty; type such as "9 mph from 240"')
    plain = text.strip("\n") + "\n" * ("\n" in text)
    return decode_text(plain, _name(text), setting)


def _name(text: str) -> str:
    plain = text.strip()
    return "what was given" if "\n" in plain else " ".join(plain.split())[:60]


def take(folder: Folder, text: str, setting: Setting) -> str:
    """Take a wind in, as a file that counts from now on; give its name.

    ``text``: a reading in words, or the text of any report or file; ``setting``: place,
    present, and when it was read if it does not say so. Raises `DriftmapError` if it
    cannot be read: nothing is written.
    """
    readings = _decoded(text, setting)
    undated = [r.source for r in readings if not r.dated]
    if undated:
        raise InputError(undated[0], "", "does not say when it was read: tell its time")
    wind = merge(readings, setting)
    time = readings[0].valid or setting.when
    kind = "forecast" if readings[0].forecast else readings[0].kind
    stem = f"{time.astimezone():%Y-%m-%d-%H%M}-{kind.lower()}"
    document = _document(wind, readings, setting)
    # One that counts though its file is gone holds, until somebody sets it aside.
    day = read_day(folder)
    taken = {*day.winds, *(one.file for one in day.aside)}
    name = folder.free("winds", name_of(stem, document), ".json", taken)
    folder.write(name, document.encode(), "")

    def count(day: Day) -> Day:
        kept = [w for w in day.winds if not _replaced(folder, w, readings, setting)]
        return replace(day, winds=(*kept, name))

    change_day(folder, count)
    return name


def _document(wind: WindProfile, readings: Sequence[Reading], setting: Setting) -> str:
    """Write what `driftmap winds --json` prints, which is itself a wind."""
    whole = {**wind_document(wind), **keep_readings(readings, setting)}
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"


def _replaced(
    folder: Folder, name: str, new: Sequence[Reading], setting: Setting
) -> bool:
    """Return whether a wind stops counting once a newer one of its kind is there."""
    try:
        old = _readings(folder, name, setting)
    except (DriftmapError, OSError):
        return False  # what cannot be read goes on holding the verdict
    newest = max((r.valid for r in new if r.valid), default=setting.when)
    newest = min(newest, setting.when)  # a clock that is fast makes nothing older
    return all(
        _speaks_for(new, r) and r.valid is not None and newest - r.valid > _STAY
        for r in old
    )


def _speaks_for(new: Sequence[Reading], old: Reading) -> bool:
    """Return whether newer readings say all that an older one said, near each of its heights.

    A meter at the field tells no squall that a station warned of, and no cloud: what a
    station reported goes on until the next report of the same station. A kite at 70 m
    tells nothing of what a balloon met at 700, nor do two levels far below and far above.
    """
    mine = [r for r in new if (r.kind, r.forecast) == (old.kind, old.forecast)]
    if not _plain(old):
        mine = [r for r in mine if _station(r) == _station(old)]
    heights = [level.height for r in mine for level in r.levels]
    return bool(heights) and all(
        min(abs(height - was.height) for height in heights)
        <= max(_BESIDE * was.height, _NEAR_GROUND)
        for was in old.levels
    )


def _plain(reading: Reading) -> bool:
    """Tell a wind read at the field, of which nothing else is told."""
    more = [getattr(reading, what) for what in _SKY]
    at_field = reading.away == 0 and not reading.forecast
    return at_field and not reading.warned and more == [None] * len(more)


def _station(reading: Reading) -> tuple[str, float | None]:
    """Name whose report it is, without the times in its name."""
    return re.sub(r"\b\d\S*", "", reading.source), reading.away


def _readings(folder: Folder, name: str, setting: Setting) -> tuple[Reading, ...]:
    """Decode a wind of the folder, where it is there."""
    folder.need(name)
    return decode(str(folder.path(name)), setting)


def rows_of_winds(folder: Folder, day: Day, setting: Setting) -> list[dict[str, Any]]:
    """Tell each wind of the folder in a line, the newest first."""
    names = dict.fromkeys((*folder.names("winds"), *day.winds))
    rows = [_row(folder, name, setting, day) for name in names]
    return sorted(rows, key=lambda row: str(row["time"]), reverse=True)


def _row(folder: Folder, name: str, setting: Setting, day: Day) -> dict[str, Any]:
    row: dict[str, Any] = {"file": name, "counts": name in day.winds}
    row |= {"time": "", "told": ""}
    try:
        readings = _readings(folder, name, setting)
    except (DriftmapError, OSError) as problem:
        return {**row, "problem": folder.plain(problem)}
    first = readings[0]
    level = min(first.levels, key=lambda one: one.height)
    told = show(level.speed, "speed", day.units)
    if level.direction is not None and level.speed > 0.05:
        told += f" from {bearing(level.direction)}"
    if level.gust:
        told += f", gusts {show(level.gust, 'speed', day.units)}"
    told += f" at {distance(level.height, day.units)}"
    more = sum(at.height > level.height for r in readings for at in r.levels)
    time = first.valid or first.based_on
    return {
        **row,
        "told": told + (f", and {more} higher" if more else ""),
        "kind": "forecast" if first.forecast else first.kind,
        "time": "" if time is None else time.astimezone().isoformat(),
        "speed": level.speed,
        "gust": level.gust,
        "from": level.direction,
        "height": level.height,
        "source": first.source,
        "warned": [text for r in readings for text in r.warned],
    }


def counting(folder: Folder, day: Day, setting: Setting) -> WindProfile:
    """Merge the winds that count, as every flight of the day is judged in."""
    return wind_of(folder.root, day.winds, day.aside, setting)


def wind_of(
    root: Path, names: Sequence[str], aside: Sequence[Aside], setting: Setting
) -> WindProfile:
    """Merge the winds that count; those set aside by hand are told, and heard.

    ``names``: files of the winds that count. Result: what is flown. A wind set aside as no
    longer so, or that stopped counting in any other way, may not make it milder while it would
    still have counted: where the two disagree the verdict holds, and it is judged with it as
    well.
    """
    if not names:
        raise InputError("wind", "", "none counts yet: type a reading")
    readings = _of_files(root, names, setting)
    wind = replace(merge(readings, setting), aside=winds_set_aside(aside))
    heard = _heard(root, names, aside, readings, setting)
    if gone := [name for name, told in heard.items() if told is None]:
        told = f"{', '.join(gone)}: taken lately, and gone from the folder"
        wind = replace(wind, warned=(*wind.warned, told))
    beside = [each for told in heard.values() for each in told or ()]
    if not beside:
        return wind
    whole = merge([*readings, *(one for one, _ in beside)], setting)
    # Two winds that disagree anyway are told once.
    known = [two.other for two in wind.disagree]
    more = [two for two in whole.disagree if two.other not in known]
    again = {two.told for two in whole.disagree}.difference(two.told for two in more)
    warned = (*wind.warned, *(one for one in whole.warned if one not in again))
    strongest = [one.strongest for one in (wind, whole) if one.strongest is not None]
    return replace(
        wind,
        warned=tuple(dict.fromkeys(warned)),
        disagree=(*wind.disagree, *more),
        gust=max(wind.gust, whole.gust),
        strongest=max(strongest, default=None),
        stronger=tuple({s.told: s for s in (*wind.stronger, *whole.stronger)}.values()),
        with_aside=whole if any(late for _, late in beside) else None,
    )


_Heard: TypeAlias = dict[str, list[tuple[Reading, bool]] | None]
"""By its file: readings, and whether each would still have counted; None where it is gone."""


def _heard(
    root: Path,
    names: Sequence[str],
    aside: Sequence[Aside],
    readings: Sequence[Reading],
    setting: Setting,
) -> _Heard:
    """Return what is heard beside the winds that count.

    That is what was set aside by hand, unless it was typed wrongly, and all that the desk
    took and that stopped counting in any other way, as newer readings took its place.
    """
    typed = {one.file for one in aside if one.why == WHYS[0]}
    known = dict.fromkeys(one.file for one in aside)
    times = [r.valid for r in readings if r.valid is not None]
    newest = min(max(times), setting.when) if times else None
    found: _Heard = {}
    for name in known | dict.fromkeys(Folder(root).written("winds")):
        told = [] if name in names else _told_by(root / name, setting)
        if told is None:  # gone: its name says when it was taken
            late = newest is not None and _named_since(name, newest - _HEARD)
            found |= {name: None} if late and name not in known else {}
            continue
        # Nobody mistypes what a station reports, or a forecast; what lies there by hand
        # may never have counted.
        own = name in known or _STAMP.match(Path(name).stem)
        told = [r for r in told if (name not in typed if _plain(r) else own)]
        found[name] = [*_still_so(told, readings, setting)]
    return {name: heard for name, heard in found.items() if heard != []}


def _named_since(name: str, since: datetime) -> bool:
    stamp = _STAMP.match(Path(name).stem)
    return stamp is not None and stamp[0] >= f"{since.astimezone():%Y-%m-%d-%H%M}"


def _told_by(file: Path, setting: Setting) -> Sequence[Reading] | None:
    """Read a wind that may be heard: none of one that lies there for a day, None where it is gone."""
    if not file.exists():
        return None
    if file.stat().st_mtime < (setting.now - timedelta(days=1)).timestamp():
        return ()
    try:
        return decode(str(file), setting)
    except DriftmapError:
        if _STAMP.match(file.stem):  # the desk wrote it
            raise
        return ()


def still_heard(root: Path, day: Day, setting: Setting) -> list[str]:
    """Name the files that the day's words go on hearing beside the winds that count."""
    readings = _of_files(root, day.winds, setting)
    return [*_heard(root, day.winds, day.aside, readings, setting)]


def _of_files(root: Path, names: Sequence[str], setting: Setting) -> list[Reading]:
    return [one for name in names for one in decode(str(root / name), setting)]


def _still_so(
    told: Sequence[Reading], now: Sequence[Reading], setting: Setting
) -> Iterator[tuple[Reading, bool]]:
    """Yield what is still heard, and whether it would have counted: none as the one flown.

    What a station told counts until its next report is there, what it warned of half an hour
    longer, a forecast until a new one must be. What was read
    before is flown no more, and its sky is over; but where its wind disagrees, or it told gusts, a
    lull may be all there is.
    """
    times = [r.valid for r in now if r.valid is not None]
    for r in told:
        if not times or r.valid is None:
            yield r, True
            continue
        age = min(max(times), setting.when) - r.valid
        stale = (*not_renewed(r, setting),)
        calm = STORM_OVER if {*r.warned} - {*stale} and age < _HEARD else timedelta(0)
        later = [n for n in now if n.valid is not None and n.valid > r.valid]
        clear = [n for n in later if n.valid and setting.when - n.valid >= calm]
        renewed = _plain(r) or _speaks_for(clear, r) or (r.forecast and bool(stale))
        gusty = any(level.gust is not None for level in r.levels)
        if age <= _STAY or not renewed:
            alike = (n for n in now if (n.kind, n.forecast) == (r.kind, r.forecast))
            newest = max((n.valid for n in alike if n.valid), default=r.valid)
            yield replace(r, valid=min(r.valid, newest - _BEFORE)), True
        elif age <= (timedelta(hours=PAST) if gusty else _HEARD):
            old = replace(r, warned=(), cloud_cover=None, visibility=None)
            yield replace(old, cloud_base=None, lowest_cloud=None), False


def winds_set_aside(aside: Sequence[Aside]) -> str:
    """Tell what was set aside by hand; empty where nothing was."""
    if not aside:
        return ""
    each = "; ".join(f"{one.told}: {one.why}, says {one.by}" for one in aside)
    many = f"{len(aside)} winds" if len(aside) > 1 else "1 wind"
    return f"{many} set aside by hand ({each})"


def set_aside(
    folder: Folder, rows: Sequence[dict[str, Any]], name: str, *, why: str, by: str
) -> None:
    """Let a wind count no more, and keep who said so and why."""
    row = next((row for row in rows if row["file"] == name), {})
    time = row.get("time")
    clock = f"{datetime.fromisoformat(time).astimezone():%H:%M}" if time else "no time"
    text = f"{clock}, {row.get('told') or row.get('problem') or Path(name).stem}"
    text = "; ".join((text, *row.get("warned", ())))
    mark = Aside(name, text, why, by)

    def edit(day: Day) -> Day:
        left = tuple(w for w in day.winds if w != name)
        others = tuple(one for one in day.aside if one.file != name)
        return replace(day, winds=left, aside=(*others, mark))

    change_day(folder, edit)


def understood(
    folder: Folder, day: Day, setting: Setting, text: str | None = None
) -> dict[str, Any]:
    """Tell and draw the wind that counts, with a new one beside it where one is given."""
    wind = (
        counting(folder, day, setting)
        if text is None
        else merge(_decoded(text, setting), setting)
    )
    read, mast, age = wind_in_words(wind, english(day.units))
    return {
        "told": read,
        "more": f"{mast}. {age}",
        "holds": [*wind.undated, *wind.warned],
        "assumed": list(dict.fromkeys(wind.assumed)),
        "svg": wind_picture_svg(wind, shown_top(wind), english(day.units)),
    }


def fetched(setting: Setting) -> str:
    """Ask the public forecast service; give what it said as a wind that can be kept."""
    reading = fetch_forecast(setting)
    return _document(merge([reading], setting), [reading], setting)
