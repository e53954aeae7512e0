"""A season of winds aloft: dated soundings or forecasts, each flown as it is."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from driftmap.core.errors import DriftmapError, WindError
from driftmap.planning.ledger import Ledger
from driftmap.planning.season import SeasonHour, by_light, fill
from driftmap.planning.sweep import Workers
from driftmap.planning.trial import Trial, pack, try_flight, unknown_trial, unpack
from driftmap.verdict.setup import Setup
from driftmap.winds.formats import decode_text, each_time
from driftmap.winds.igra import looks_like_igra, sounding_time
from driftmap.winds.merge import merge
from driftmap.winds.reading import Setting
from driftmap.winds.text import load_text


@dataclass(frozen=True, slots=True)
class Sounding:
    """The wind aloft at one time, as text.

    Parameters
    ----------
    time : datetime
        When it was measured or is valid, in UTC.
    text : str
        A wind in any format that the winds' readers know.
    source : str
        Name of the file.
    """

    time: datetime
    text: str
    source: str

    @property
    def name(self) -> str:
        """Its time with a digest of its text: the same wind has the same name."""
        digest = hashlib.sha256(self.text.encode()).hexdigest()[:12]
        return f"{self.time.isoformat()} {digest}"


def read_soundings(
    paths: Sequence[str | Path], setting: Setting
) -> tuple[Sounding, ...]:
    """Read the times of winds aloft.

    ``paths``: files with one wind or many; each wind must say its time; ``setting``:
    altitude and place of the site.

    Result: by time. One whose levels cannot be used is kept: it is not known, never go.
    Raises `WindError` if a file cannot be read, holds a wind without a time, or
    soundings of two stations.
    """
    found: dict[str, Sounding] = {}
    for path in map(Path, paths):
        parts = each_time(load_text(path))
        stations = {part[1:12] for part in parts if looks_like_igra(part)}
        if len(stations) > 1:
            text = f"holds {len(stations)} stations; give a file for each"
            raise WindError(path.name, "", text)
        for part in parts:
            one = Sounding(_time(part, path.name, setting), part, path.name)
            found[one.name] = one  # the same wind twice is one
    return tuple(sorted(found.values(), key=lambda sounding: sounding.time))


def _time(text: str, source: str, setting: Setting) -> datetime:
    if looks_like_igra(text):  # whose header tells it though no level may have a wind
        return sounding_time(text, source)
    first, *others = decode_text(text, source, replace(setting, one_time=True))
    if others:
        raise WindError(source, "", "holds several winds; give a file of each")
    if (valid := first.valid) is None:
        raise WindError(source, "", "does not say its time; a season needs it")
    return valid.astimezone(UTC)


def season_soundings(
    setup: Setup,
    soundings: Sequence[Sounding],
    setting: Setting,
    ledger: Ledger,
    *,
    workers: Workers | None = None,
) -> tuple[SeasonHour, ...]:
    """Give every sounding of a season its verdict.

    ``setup``: what is flown, and where; ``setting``: altitude and place of the site;
    ``ledger``: what is found already, and where to keep the rest; ``workers``: who works
    on it; a part is a sounding.

    Result: one for each sounding, of its own minute; not known where it cannot be used
    or a worker was lost.
    """
    work = partial(_try_sounding, pack(setup), setting)
    fill(ledger, work, {one.name: one for one in soundings}, workers)
    return tuple(
        by_light(setup, SeasonHour(one.time, *ledger.found[one.name]), one.time)
        for one in soundings
    )


def _try_sounding(packed: bytes, setting: Setting, one: Sounding) -> Trial:
    now = replace(setting, when=one.time, ahead=True)
    try:
        wind = merge(decode_text(one.text, one.source, now), now)
    except (DriftmapError, ValueError) as problem:
        return unknown_trial(problem)
    return try_flight(unpack(packed), wind)
