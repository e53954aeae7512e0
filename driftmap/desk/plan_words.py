"""The words of a plan's command: what its form takes of the desk's folder, and what was typed."""

from __future__ import annotations

import contextlib
import tomllib
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import tomlkit

from driftmap.core.errors import DriftmapError, InputError
from driftmap.desk.answers import answer_files
from driftmap.desk.day import WHYS, Day, read_day
from driftmap.desk.desk import Desk
from driftmap.desk.field import SITE
from driftmap.desk.outcomes import Logged, last_flown, seen_of
from driftmap.desk.winds import still_heard, winds_set_aside
from driftmap.logbook.entry_bodies import flight_contents, put_back
from driftmap.winds.times import clock_time

LONGEST: Final = 20_000  # letters of what is typed into one field


@cache
def works() -> dict[str, dict[str, Any]]:
    """Read what can be worked out, by the name of its command, in the order of the forms."""
    table = tomllib.loads(
        files(__package__).joinpath("page/plans.toml").read_text("utf-8")
    )
    more, none = table.pop("more"), {"kind": "text", "given": "", "choices": []}
    asked = {
        name: [
            *({**none, **ask, "more": False} for ask in work.get("asks", [])),
            *(
                {**none, **a, "more": True}
                for k in work.get("more", [])
                for a in more[k]
            ),
        ]
        for name, work in table.items()
    }
    return {
        name: {"note": "", "fixed": [], **work, "name": name, "asks": asked[name]}
        for name, work in table.items()
    }


def words_of(
    desk: Desk, work: str, place: Path, flight: str, pad: str, given: Mapping[str, Any]
) -> Iterator[str]:
    """Write the words of a command: what is fixed, what it takes, what was typed.

    ``place``: the folder of the plan; what is written for the command is written there.
    """
    here, day = works()[work], read_day(desk.folder)
    takes = here["takes"]
    if {"flight", "of"} & {*takes} and not desk.folder.revision(flight):
        raise InputError("plan", "flight", "choose one")
    if "answers" in takes and (listed := desk.busy(day)):
        text = f"the list holds {listed}, more than the field tells: tell them there"
        raise InputError(SITE, "flights_today", text)
    yield from here["fixed"]
    if "of" in takes:
        yield f"--flight={flight}"
    flew = _flew(desk, flight, given.get("--when")) if "finds" in takes else None
    if "flight" in takes:
        yield flight if flew is None else _as_flown(desk, place, flight, flew)
    yield from _of_the_field(desk, work, day, pad)
    if "words" in takes:
        language = str(given.get("language") or "en")
        yield f"--language={language if language.isalpha() else 'en'}"
    if {"words", "units"} & {*takes}:
        yield f"--units={day.units}"
    for ask in here["asks"]:
        value = given.get(ask["option"])
        yield from _typed(desk, place, ask, _known(work, ask, value, flew))
    if "out" in takes:
        yield f"--out={_within(desk, place)}"


def _of_the_field(desk: Desk, work: str, day: Day, pad: str) -> Iterator[str]:
    """Yield the field, its winds and its answers, as far as a plan takes them."""
    takes = works()[work]["takes"]
    if "site" in takes:
        desk.field.site(pad)
        yield SITE if work == "layout" else f"--site={SITE}"
        yield from [f"--pad={pad}"] if pad else []
    if "elevation" in takes:
        yield f"--site-elevation={desk.field.anywhere().elevation:g} m"
    if "winds" in takes:
        yield from _winds(desk, day, handed="word" in takes)
    if "answers" in takes:
        desk.check_told()
        yield from (f"--answers={name}" for name in answer_files(desk.folder))


def _winds(desk: Desk, day: Day, *, handed: bool) -> Iterator[str]:
    """Yield the winds that the words hear; what is handed out must tell what was set aside."""
    if handed and any(one.why == WHYS[0] for one in day.aside):
        text = f"{winds_set_aside(day.aside)}: this would not tell so; Map and Sheet in Show do"
        raise InputError("plan", "", text)
    names = [*day.winds, *still_heard(desk.folder.root, day, desk.field.setting())]
    if not names:
        raise InputError("wind", "", "none counts yet: type a reading")
    yield from (f"--wind={name}" for name in names)


def _flew(desk: Desk, flight: str, when: Any) -> Logged | None:
    """Find in the log which flight of a rocket is looked for: that of a time, or the last."""
    text, time = str(when or "").strip(), None
    if text:
        with contextlib.suppress(ValueError, InputError):  # the command says it
            time = clock_time(text, datetime.now(UTC))
        if time is None:
            return None
    return last_flown(desk.folder, desk.rocket(flight), time)


def _as_flown(desk: Desk, place: Path, flight: str, flew: Logged) -> str:
    """Name the flight's file, or where it is put as it flew if it was changed since."""
    root = desk.folder.root
    try:
        now = dict(flight_contents(root / flight))
    except DriftmapError:
        now = {}
    same = [now.get(what) == content for what, content in flew.own.items()]
    if all(same):
        return flight
    return str(put_back(place / "flown", flew.own).relative_to(root))


def _known(work: str, ask: dict[str, Any], value: Any, flew: Logged | None) -> Any:
    """Fill in what the log knows of a flight where nothing else was typed."""
    if ask["option"] == "--when" and flew is not None:
        return value or flew.time.isoformat()
    if ask["kind"] == "toml" and value == ask["given"]:
        return tomlkit.dumps(seen_of(flew, of_case=work == "search"))
    return value


def _typed(desk: Desk, place: Path, ask: dict[str, Any], value: Any) -> Iterator[str]:
    """Yield the words of one field: files by their names here, all else as typed."""
    texts = value if isinstance(value, list) else [value or ""]
    if not all(isinstance(text, str) and len(text) <= LONGEST for text in texts):
        raise InputError("plan", ask["told"], f"must be text of at most {LONGEST}")
    kind, option = ask["kind"], ask["option"]
    if kind == "rows":
        texts = texts[0].splitlines()
    if kind == "toml":
        path = place / "seen.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(texts[0], "utf-8")
        texts = [_within(desk, path)]
    elif kind == "choice":
        texts = [text for text in texts if text in ask["choices"]]
    elif kind in {"flights", "wind", "winds"}:
        texts = [text for text in texts if text and desk.folder.revision(text)]
    for text in filter(None, map(str.strip, texts)):
        yield f"{option}={text}" if option else text


def _within(desk: Desk, path: Path) -> str:
    return path.relative_to(desk.folder.root).as_posix()
