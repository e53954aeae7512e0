"""What the list of a desk shows: its flights with their words, its winds, what is not read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from typing import Any

from driftmap.core.errors import DriftmapError
from driftmap.desk.answers import answers_taken_back
from driftmap.desk.day import Day, Item, read_day
from driftmap.desk.desk import Desk
from driftmap.desk.folder import ROOMS, Folder
from driftmap.desk.queue import word_of
from driftmap.desk.winds import rows_of_winds, winds_set_aside
from driftmap.winds.times import present as now


def state_of(desk: Desk) -> dict[str, Any]:
    """Tell all that the list shows, as it stands now."""
    day, time = read_day(desk.folder), now()
    prints = desk.prints(day)
    items = [_item_told(desk, day, item, time, prints) for item in day.items]
    for later in [item for item in items if item["state"] == "waiting"][1:]:
        later["crowd"] = {}  # the crowd is shown the next flight alone
    return {
        "now": time.isoformat(),
        "date": day.date,
        "today": time.astimezone().date().isoformat(),
        "units": day.units,
        "site": desk.field.told(),
        "items": items,
        "winds": list_winds(desk, day),
        "aside": ". ".join(filter(None, _unsaid(desk, day))),
        "clock": desk.field.doubt(),
        "meters": [asdict(meter) for meter in day.meters],
        "unread": unread(desk.folder),
    }


def _unsaid(desk: Desk, day: Day) -> tuple[str, ...]:
    """Tell what was taken back by hand today, winds and answers."""
    told = winds_set_aside(day.aside)
    try:
        return told, answers_taken_back(
            desk.folder, desk.field.anywhere().longitude, now()
        )
    except DriftmapError:  # each word says of what cannot be read
        return (told,)


def _item_told(
    desk: Desk, day: Day, item: Item, time: datetime, prints: Callable[[Item], str]
) -> dict[str, Any]:
    waits = item.state == "waiting"
    word = desk.word(day, item, prints) if waits else word_of(None, time)
    told, left = word.told, None
    if word.until is not None and word.verdict == "go":
        left = max(0.0, (word.until - time).total_seconds())
    return {
        "id": item.id,
        "file": item.flight,
        "name": desk.rocket(item.flight),
        "pad": item.pad,
        "state": item.state,
        "of": prints(item) if waits else "",
        "word": word.verdict,
        "sure": word.sure,
        "reason": word.reason,
        "more": list(word.more),
        "was": word.was,
        "counts": "" if told is None else told.counts,
        "back": [] if told is None else list(told.back),
        "flown_at": None if told is None else told.when.isoformat(),
        "good_for": left,
        "crowd": {} if told is None else dict(told.crowd),
        "logged": item.logged,
        "outcome": item.outcome,
    }


def list_winds(desk: Desk, day: Day) -> dict[str, Any]:
    """List every wind of the folder, a row each."""
    try:
        rows = rows_of_winds(desk.folder, day, desk.field.setting())
    except DriftmapError as problem:
        return {"rows": [], "problem": desk.folder.plain(problem)}
    return {"rows": rows, "problem": "" if day.winds else "none counts yet"}


def unread(folder: Folder) -> list[str]:
    """Name the files of the folder that are not read for their names."""
    return [name for room in ROOMS for name in folder.unread(room)]
