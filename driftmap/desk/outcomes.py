"""Flown, what happened, found: written to the log as `driftmap log add` writes it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

import tomlkit

from driftmap.core.errors import DriftmapError, InputError
from driftmap.desk.answers import spend
from driftmap.desk.day import (
    Day,
    Item,
    change_day,
    is_name,
    new_item,
    read_day,
    with_item,
)
from driftmap.desk.field import FieldFile
from driftmap.desk.flights import cases_of
from driftmap.desk.folder import Folder
from driftmap.desk.judging import TaskResult
from driftmap.logbook.entry import Content, holding, new_entry
from driftmap.logbook.entry_bodies import (
    TEXTS,
    flight_contents,
    near_by,
    outcome_body,
)
from driftmap.logbook.store import Log
from driftmap.rocket.pieces import FOUND_AS
from driftmap.winds.times import parse_time
from driftmap.winds.times import present as now

LOG: Final = "log.sqlite"


def note_flown(
    folder: Folder, name: str, told: TaskResult | None, what: dict[str, Any]
) -> Day:
    """Log that a flight of the list flew, with the assessment it flew by.

    ``name``: the flight's name in the list; ``told``: what was flown of it in full;
    None where there was nothing; ``what``: rocket, who decided, time, wind read.
    """
    if not is_name(str(what.get("decided_by", ""))):
        raise InputError("flown", "", "who decided? Type a name")
    with folder.held():
        day = read_day(folder)
        item = day.item(name)
        if item.outcome:  # pressed twice: one flight is one entry
            return day
        body = _body(folder, item, {**what, "flew": True})
        spend(folder, str(what["flight"]), datetime.fromisoformat(what["time"]))
        entry = None if told is None else told.entry
        new = new_entry("outcome", body, about=None if entry is None else entry.id)
        contents = () if told is None else told.contents
        if entry is None:  # what flew, for those who look for it
            own = dict(flight_contents(folder.path(item.flight)))
            contents = tuple(own.values())
            new = replace(new, contents={what: own[what].digest for what in own})
        with Log(folder.path(LOG)) as log:
            named = _id(day, item)
            outcome = next((e for e in log.entries() if e.id == named), None)
            if outcome is None:
                outcome = replace(new, id=named)
                log.append([*([] if entry is None else [entry]), outcome], contents)
        about = outcome.about or ""
        done = replace(item, state="flown", logged=about, outcome=outcome.id)
        return change_day(folder, lambda day: with_item(day, done))


def _id(day: Day, item: Item) -> str:
    """Name the outcome after the flight: one that a kill kept off the list is met again.

    A list that was copied for another day has the same lines, and other flights.
    """
    text = f"flown {day.date} {item.id} {item.flight}"
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def happened(folder: Folder, name: str, what: dict[str, Any]) -> Day:
    """Log what happened to a flight, or where it was found: a new entry in place of the last."""
    with folder.held():
        item = read_day(folder).item(name)
        if not item.outcome:
            raise InputError("what happened", "", "the flight is not logged as flown")
        with Log(folder.path(LOG), create=False) as log:
            old = log.find(item.outcome)
            before = {key: old.body[key] for key in TEXTS if old.body.get(key)}
            found = [_again(find) for find in old.body.get("found", [])]
            told = {**before, "flew": old.body.get("flew", True), **what}
            told["found"] = [*found, *what.get("found", [])]
            flew_by = log.find(old.about).body if old.about else {}
            place = flew_by.get("place") or _pad_of(folder, item)
            body = _body(folder, item, told, place)
            entry = new_entry("outcome", body, about=old.about, corrects=old.id)
            log.append([entry])
        # A misfire is looked at again, whoever answered since.
        if not body.get("flew", True):
            spend(folder, str(body.get("flight", "")), now())
        done = replace(item, outcome=entry.id)
        return change_day(
            folder, lambda day: _put_back(with_item(day, done), done, body)
        )


def _put_back(day: Day, item: Item, body: dict[str, Any]) -> Day:
    """Let what did not fly after all wait again, in a line of its own."""
    if body.get("flew", True):
        return day
    rest = tuple(one for one in day.items if one.id != item.id)
    return replace(day, items=(new_item(item.flight, item.pad), *rest))


def names(folder: Folder, item: Item) -> dict[str, list[str]]:
    """Name what can have happened to a flight, its pieces, and how a piece is found."""
    cases = cases_of(folder, item.flight)
    pieces = dict.fromkeys(body.name for case in cases for body in case.bodies)
    return {
        "cases": [case.name for case in cases],
        "pieces": list(pieces),
        "states": list(FOUND_AS),
    }


@dataclass(frozen=True, slots=True)
class Logged:
    """A flight as the log has it."""

    time: datetime
    body: dict[str, Any]
    own: dict[str, Content]  # the flight file and its curves, as they were


_OTHER: Final = timedelta(hours=1)
"""A flight logged farther from a time than this is another one."""


def last_flown(folder: Folder, rocket: str, when: datetime | None) -> Logged | None:
    """Find the flight of a rocket in the log: that of a time, or the last; None for none."""
    if not folder.revision(LOG):
        return None
    with Log(folder.path(LOG), create=False) as log:
        entries, contents = log.entries(), {c.digest: c for c in log.contents()}
    known = {entry.id: entry for entry in entries}
    flew = []
    for last in holding(entries):
        mine = last.kind == "outcome" and last.body.get("flight") == rocket
        if mine and last.body.get("flew") and "time" in last.body:
            first = last
            while first.corrects is not None:
                first = known[first.corrects]
            held = known.get(last.about or "", first).contents
            own = {k: contents[v] for k, v in held.items() if k.startswith("flight")}
            flew.append(Logged(parse_time(last.body["time"]), dict(last.body), own))
    if when is not None:
        flew = [one for one in flew if abs(one.time - when) < _OTHER]
        return min(flew, key=lambda one: abs(one.time - when), default=None)
    return max(flew, key=lambda one: one.time, default=None)


def seen_of(flew: Logged | None, *, of_case: bool) -> dict[str, Any]:
    """Return what the log says of a flight as a file of what was seen has it.

    ``of_case``: what happened as well, as somebody said that it did.
    """
    body = {} if flew is None else flew.body
    told = {"found": [_again(find) for find in body.get("found", [])]}
    case = body.get("case") if of_case else None
    return told if case is None else {"case": {"is": case}, **told}


def _again(find: dict[str, Any]) -> dict[str, Any]:
    state = {"state": find["state"]} if find["state"] else {}
    place = {"at": find["at"], "error": f"{find['error_m']:g} m"}
    return {"piece": find["piece"], **place, **state}


def _pad_of(folder: Folder, item: Item) -> tuple[float, float] | None:
    """Return latitude and longitude of a flight's pad, as the field is drawn now."""
    try:
        site = FieldFile(folder).site(item.pad)
    except DriftmapError:
        return None
    return site.latitude, site.longitude


def _body(
    folder: Folder,
    item: Item,
    what: dict[str, Any],
    place: Sequence[float] | None = None,
) -> dict[str, Any]:
    """Write the outcome as a file and read it back: one way to take it in.

    ``place``: of the pad, from which no find may lie far.
    """
    told = {
        key: what[key] for key in ("flew", *TEXTS) if what.get(key) not in {None, ""}
    }
    finds = [
        {k: v for k, v in find.items() if v != ""} for find in what.get("found", [])
    ]
    if finds:
        told["found"] = finds
    name = f"outcomes/{item.id}.toml"
    folder.write(name, tomlkit.dumps(told).encode(), None)
    try:
        body = outcome_body(folder.path(name), ())
        if place is not None:
            near_by(body, place, "what was found")
    except InputError:
        folder.step(name, "undo")
        raise
    return body
