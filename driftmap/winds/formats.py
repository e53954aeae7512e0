"""The formats of wind that are read: which one a text has, and what it says beside its wind."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, NamedTuple

from driftmap.core.errors import WindError, located, quoted
from driftmap.formulas.geomagnetism import points_elsewhere, show_declination
from driftmap.winds import (
    bulletin,
    drift,
    forecast,
    igra,
    metar,
    meter_log,
    model_output,
    pilot_balloon,
    sounding_list,
    table,
    taf,
    track,
)
from driftmap.winds.plain_words import looks_like_words, read_words
from driftmap.winds.reading import Reading, Setting, check_seen, words
from driftmap.winds.saved import looks_kept, named_so, read_kept
from driftmap.winds.text import Reader, check_text, load_text, stated_distance
from driftmap.winds.times import show_time


class Format(NamedTuple):
    """A format of wind: what it is called, what tells it apart, and what reads it."""

    name: str
    looks_so: Callable[[str], bool]
    read: Reader


_WORDS: Final = Format(
    "words", looks_like_words, lambda text, _, setting: read_words(text, setting)
)
_TABLE: Final = Format("table of layers", table.looks_like_table, table.read_table)

FORMATS: Final = (
    _WORDS,
    Format("readings kept", looks_kept, read_kept),
    Format("IGRA v2 sounding", igra.looks_like_igra, igra.read_igra),
    Format(
        "answer of a forecast service",
        model_output.looks_like_answer,
        model_output.read_saved_answer,
    ),
    Format(
        "arrays of a model", model_output.looks_like_arrays, model_output.read_arrays
    ),
    Format("JSON forecast", forecast.looks_like_forecast, forecast.read_forecast),
    Format(
        "sounding list",
        sounding_list.looks_like_sounding_list,
        sounding_list.read_sounding_list,
    ),
    Format("drift of a flight", drift.looks_like_drift, drift.read_drift),
    Format("tracker's log", track.looks_like_track, track.read_track),
    Format(
        "pilot balloon", pilot_balloon.looks_like_balloon, pilot_balloon.read_balloon
    ),
    Format(
        "record of a meter", meter_log.looks_like_meter_log, meter_log.read_meter_log
    ),
    _TABLE,
    Format(
        "winds-aloft bulletin", bulletin.looks_like_bulletin, bulletin.read_bulletin
    ),
    Format(
        "aerodrome forecast (TAF)",
        taf.looks_like_aerodrome_forecast,
        taf.read_aerodrome_forecast,
    ),
    Format(
        "surface report (METAR)",
        metar.looks_like_surface_report,
        metar.read_surface_report,
    ),
)
"""Every format, the most distinct first."""

_TYPED: Final = "report as typed"

_TAKEN_UP: Final = {
    kind: re.compile("|".join(forms), re.IGNORECASE)
    for kind, forms in words("remarks").items()
}
"""What the readers of a format take up of its remarks."""

_FEW: Final = 3  # remarks told word by word

# Where a tracker's log holds what somebody wrote (GPX 1.1, from memory).
_NOTED: Final = re.compile(
    r"<(?:(?:desc|cmt)(?:\s[^>]*)?>|!--)\s*([^<]+?)\s*(?:<|-->)", re.IGNORECASE
)


def unread_remarks(text: str, source: str, kind: str = "") -> tuple[str, ...]:
    r"""Name remarks that the reader of a format does not take up: only people know what they say.

    Examples
    --------
    >>> text = "# read 2026-05-09 08:10Z\n# not here\nheight_m,from_deg\n"
    >>> unread_remarks(text, "layers.csv", "table of layers")
    ("layers.csv: a remark that is not read: 'not here'",)
    """
    lines = (line.strip() for line in text.splitlines())
    told = [line.strip("# \t") for line in lines if line[:1] == "#"]
    if kind in _TAKEN_UP:
        told = [line for line in told if not _TAKEN_UP[kind].fullmatch(line)]
    told = list(filter(None, told))
    told += _NOTED.findall(text)
    more = (
        [f"{source}: {len(told) - _FEW} more such remarks"] if len(told) > _FEW else []
    )
    said = (
        f"{source}: a remark that is not read: {quoted(one)}" for one in told[:_FEW]
    )
    return *said, *more


def decode(text: str, setting: Setting) -> tuple[Reading, ...]:
    """Read one source: the path of a file of any format, a wind in words, or a report's text.

    One reading, or those that ``winds --json`` kept in a file. Raises `WindError` if it is
    none of these, or cannot be used.
    """
    path = _as_file(text)
    if path is None:
        if _known(text) is None:
            shown = "".join(c if c.isprintable() else " " for c in text[:60]).strip()
            message = 'is no file, and no wind in words such as "12 mph from 240"'
            raise WindError(shown or "wind", "", message)
        with located(_TYPED, "", WindError):
            check_text(text)
        return decode_text(text, _TYPED, setting)
    held = load_text(path)
    readings = decode_text(held, path.name, setting)
    doubts = [*_of_another_month(path, held, readings)]
    if not named_so(path.stem, held):
        doubts.append(
            f"{path.name} was changed by hand: it does not hold what its name is for"
        )
    return tuple(replace(r, warned=(*r.warned, *doubts)) for r in readings)


_NO_MONTH: Final = (
    *("winds-aloft bulletin", "aerodrome forecast (TAF)", "surface report (METAR)"),
)
"""Formats that tell the day of a month alone."""


def _of_another_month(
    path: Path, text: str, readings: Sequence[Reading]
) -> Iterator[str]:
    """Doubt the month taken for a report that stands in a file written before it."""
    known = _known(text)
    times = [t for r in readings if (t := r.based_on if r.forecast else r.valid)]
    if known is None or known.name not in _NO_MONTH or not times:
        return
    written = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    if written < min(times) - timedelta(days=1):
        yield (
            f"{path.name} was written on {written:%Y-%m-%d}, before its report of "
            f"{show_time(min(times))}: is that of another month?"
        )


def kind_of(text: str) -> str:
    """Name the format of a source, one of `FORMATS`.

    Words that repeat a forecast err otherwise than those of somebody who stands there.
    """
    path = _as_file(text)
    body = text if path is None else load_text(path)
    kind = (_known(body) or _WORDS).name
    foretold = kind == _WORDS.name and re.search(r"\bforecast\b", body, re.I)
    return "words of a forecast" if foretold else kind


def _known(text: str) -> Format | None:
    return next((each for each in FORMATS if each.looks_so(text)), None)


def _as_file(text: str) -> Path | None:
    try:
        return Path(text) if text.strip() and os.path.exists(text) else None  # noqa: PTH110
    except ValueError:  # a text with a null character is no path
        return None


def decode_text(text: str, source: str, setting: Setting) -> tuple[Reading, ...]:
    """Read the text of one source, of any format.

    Raises `WindError` if it is of none, or cannot be used.
    """
    known = _known(text)
    if known is None and "," not in text.lstrip().split("\n", 1)[0]:
        accepted = ", ".join(each.name for each in FORMATS)
        problem = f"is no wind that can be read; accepted: {accepted}"
        raise WindError(source, "", problem)
    # A table whose header cannot be known is told what that lacks.
    kind, _, read = known or _TABLE
    told = read(text, source, setting)
    readings = told if isinstance(told, tuple) else (told,)
    if read is not read_kept:
        remarks = unread_remarks(text, source, kind)
        with located(source, "", WindError):
            away = None if kind in _HERE else stated_distance(text, setting)
        # A point of a grid stands for its square.
        away = None if readings[0].forecast and kind != _TABLE.name else away
        if "magnetic" in re.sub(r"(?m)^\s*#.*$", "", text).lower():
            readings = tuple(_by_needle(reading, setting) for reading in readings)
        readings = tuple(
            _beside(_read_off(reading, away, source), remarks, setting)
            for reading in readings
        )
    return tuple(check_seen(reading, setting) for reading in readings)


_HERE: Final = (_WORDS.name, "drift of a flight")
"""What people say of the wind where they stand."""


def _read_off(reading: Reading, away: float | None, source: str) -> Reading:
    """Let a wind that does not know its place have been read as far off as is told [m]."""
    if not away or reading.away != 0.0:
        return reading
    note = f"{source}: read {away / 1000:.0f} km from the site, as told"
    return replace(reading, away=away, assumed=(*reading.assumed, note))


def _by_needle(reading: Reading, setting: Setting) -> Reading:
    """Tell by what magnetic bearings were turned, and doubt it where the needle points elsewhere."""
    if setting.declination is None:
        return reading
    turned = f"turned by {show_declination(setting.declination)}"
    note, doubts = f"{reading.source}: magnetic bearings {turned}", list[str]()
    if setting.place is not None:
        year = setting.when.year + (setting.when.month - 0.5) / 12
        points = points_elsewhere(setting.declination, *setting.place, year)
        if points is not None:
            there = show_declination(points, 0)
            doubts = [
                f"{note}, and a needle there points {there}: sign or digit wrong?"
            ]
    assumed, warned = (*reading.assumed, note), (*reading.warned, *doubts)
    return replace(reading, assumed=assumed, warned=warned)


def _beside(reading: Reading, remarks: tuple[str, ...], setting: Setting) -> Reading:
    """Add what stands beside a report: remarks that nobody took up, and its time as told."""
    reading = replace(reading, warned=(*reading.warned, *remarks))
    time = setting.read_at
    if reading.dated or time is None:
        return reading
    if reading.forecast:
        text = 'for when it is: a table \'# valid …\', a document "valid", or "read" if measured'
        raise WindError(reading.source, "", f"when it was read does not tell {text}")
    note = f"{reading.source}: of {show_time(time)}, as told"
    return replace(reading, valid=time, assumed=(*reading.assumed, note))


def each_time(text: str) -> tuple[str, ...]:
    """Take a file apart by time, into texts that its reader reads as files of their own.

    What cannot be taken apart comes back whole: the reader then explains.

    Examples
    --------
    >>> each_time('{"source": "model", "forecasts": [{"valid": 1}, {"valid": 2}]}')
    ('{"source": "model", "valid": 1}', '{"source": "model", "valid": 2}')
    """
    if igra.looks_like_igra(text):
        parts = re.split(r"^(?=#)", text, flags=re.MULTILINE)
        return tuple(part.rstrip("\n") for part in parts if part.strip())
    try:
        document: Any = json.loads(text) if forecast.looks_like_forecast(text) else None
    except (ValueError, RecursionError):
        return (text,)
    each = document.get("forecasts") if isinstance(document, dict) else None
    if not (isinstance(each, list) and all(isinstance(one, dict) for one in each)):
        return (text,)
    shared = {key: value for key, value in document.items() if key != "forecasts"}
    return tuple(json.dumps(shared | one) for one in each) or (text,)
