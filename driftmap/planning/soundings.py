"""A season from winds aloft as measured or forecast: each flown as it is, at its time."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from driftmap.errors import DriftmapError, WindError
from driftmap.planning.ledger import Ledger
from driftmap.planning.season import SeasonHour
from driftmap.planning.sweep import Hands, Lost, sweep
from driftmap.planning.trial import NOT_KNOWN, Trial, pack, try_flight, unpack
from driftmap.verdict.assessment import Setup
from driftmap.winds import Setting, decode_text, merge
from driftmap.winds.forecast import each_time
from driftmap.winds.soundings import looks_like_igra, sounding_time
from driftmap.winds.text import load_text

__all__ = ["Sounding", "read_soundings", "season_soundings"]


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

    Parameters
    ----------
    paths : sequence of str or Path
        Files with one wind or many; each wind must say its time.
    setting : Setting
        Altitude and place of the site.

    Returns
    -------
    tuple of Sounding
        By time. One whose levels cannot be used is kept: it is not known, never go.

    Raises
    ------
    WindError
        If a file cannot be read, holds a wind without a time, or soundings of two
        stations.
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
    valid = decode_text(text, source, setting).valid
    if valid is None:
        raise WindError(source, "", "does not say its time; a season needs it")
    return valid.astimezone(UTC)


def season_soundings(
    setup: Setup,
    soundings: Sequence[Sounding],
    setting: Setting,
    ledger: Ledger,
    *,
    hands: Hands | None = None,
) -> tuple[SeasonHour, ...]:
    """Give every sounding of a season its verdict.

    Parameters
    ----------
    setup : Setup
        What is flown, and where.
    soundings : sequence of Sounding
        The winds.
    setting : Setting
        Altitude and place of the site.
    ledger : Ledger
        What is found already, and where to keep the rest.
    hands : Hands, optional
        Who works on it; a part is a sounding.

    Returns
    -------
    tuple of SeasonHour
        One for each sounding, of its own minute; not known where it cannot be used or a
        worker was lost.
    """
    todo = [one for one in soundings if one.name not in ledger.found]

    def keep(i: int, trial: Trial) -> None:
        ledger.keep(todo[i].name, trial.verdict, trial.blocked_by)

    found = sweep(partial(_try_sounding, pack(setup), setting), todo, hands, done=keep)
    for one, result in zip(todo, found, strict=True):
        if isinstance(result, Lost):
            ledger.keep(one.name, NOT_KNOWN, result.reason)
    return tuple(SeasonHour(one.time, *ledger.found[one.name]) for one in soundings)


def _try_sounding(packed: bytes, setting: Setting, one: Sounding) -> Trial:
    now = replace(setting, when=one.time)
    try:
        wind = merge([decode_text(one.text, one.source, now)], now)
    except (DriftmapError, ValueError) as problem:
        return Trial(NOT_KNOWN, problem=" ".join(str(problem).split()))
    return try_flight(unpack(packed), wind)
