"""The officer's answers: asked once each, dated, by name, in files as the commands read them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from itertools import count
from typing import Any, cast

import tomlkit

from driftmap.core.errors import DriftmapError, InputError
from driftmap.desk.day import is_name
from driftmap.desk.folder import Folder
from driftmap.ground.areas import Site
from driftmap.rocket.flight import Flight
from driftmap.rules.answer_validity import HEAD, read_head
from driftmap.rules.answers import answers_to, check_answers, questions
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import with_answers
from driftmap.rules.occasion import Occasion
from driftmap.rules.reading import picked_rules
from driftmap.rules.vocabulary import FACTS, LASTING, Scope
from driftmap.verdict.rule_checks import facts_flown


def answer_files(folder: Folder) -> tuple[str, ...]:
    """Name every answers file of the folder: what is not for the flight does not count."""
    own = ("answers.toml",) if folder.revision("answers.toml") else ()
    return (*own, *folder.names("answers"))


def asked(
    folder: Folder, flight: Flight, site: Site, when: datetime
) -> list[dict[str, Any]]:
    """List what the rules ask of a flight, with the answers that count.

    ``site``: the site whose rules ask; ``when``: time of the flight.

    Result: name, question, scope, what is accepted, the answer that counts, or why one
    that was given does not.
    """
    sets = picked_rules(site)
    known = questions(sets)
    paths = [folder.path(name) for name in answer_files(folder)]
    now = Occasion.of(flight, site, when)
    said = answers_to(paths, sets, now)
    needed, optional = _open(flight, site, said, sets)
    rows = []
    for name in dict.fromkeys((*needed, *said.confirmed, *said.numbers, *optional)):
        told = known.get(name) or FACTS.get(name)
        typed, by = _given(folder, name, str(now.day))
        given = {True: "yes", False: "no", None: ""}[said.confirmed.get(name)]
        given = typed if name in said.numbers else given
        rows.append(
            {
                "name": name,
                "text": told.text if told else name,
                "scope": told.scope if told else "day",
                "example": getattr(told, "example", "").strip('"'),
                "given": given,
                "stale": said.stale.get(name, ""),
                "by": by if given else "",
                "needed": name in needed,
            }
        )
    return rows


def _open(
    flight: Flight, site: Site, said: Any, sets: Any
) -> tuple[list[str], list[str]]:
    """Name what is open in the rules, and what may be told besides."""
    facts = facts_flown(flight, site, when=said.when)
    results = evaluate(sets, with_answers(facts, said), said)
    needed = [n for r in results if r.outcome == "ask" for n in r.answer]
    rest = [n for r in results if r.outcome == "pass" for n in r.answer]
    told = {"surface_wind", "expected_altitude"}  # the wind and the flights tell them
    return [n for n in needed if n not in told], rest


def _given(folder: Folder, name: str, day: str) -> tuple[str, str]:
    """Give an answer as it was typed, and who gave it and when: of several that of the day."""
    found = ("", "")
    for file in answer_files(folder):
        document = folder.document(file)
        if name in document and (not found[0] or str(document.get("date")) == day):
            who = [str(document[key]) for key in ("by", "date") if key in document]
            who += [f"until {document['until']}"] if "until" in document else []
            found = str(document[name]), ", ".join(who)
    return found


def answer(
    folder: Folder,
    told: dict[str, str],
    flight: Flight,
    site: Site,
    when: datetime,
    until: datetime | None = None,
) -> str:
    """Write one answer, in the place of any that counts now.

    ``told``: name, scope and value of the answer, and who gives it; ``flight``: the
    flight it is for, where its scope is one; ``when``: when it is given; ``until``: when
    it ends, if it is for the day and ends sooner.

    Result: the file it was written to. A "no" that is taken back is kept as such, for the
    words of the day to tell. Raises `InputError` if it is no answer to that
    question; nothing is written.
    """
    name, value, by = told["name"], told["value"].strip(), told["by"].strip()
    if not is_name(by):
        raise InputError(
            "answer", name, "who gives it? Type a name, no role and no single letter"
        )
    if value:
        check_answers("answer", {name: _plain(value)}, picked_rules(site))
    now = Occasion.of(flight, site, when)
    scope = told["scope"]
    if until is not None and (scope in LASTING or until <= when):
        said = "ends what is answered for the day or a flight, later than now"
        raise InputError("until", "", f"{until:%Y-%m-%d %H:%M} does not: it {said}")
    with folder.held():
        target = _target(folder, scope, now, by, until)
        every = answer_files(folder)
        files = [file for file in every if _counts_now(folder, file, scope, now)]
        before = [_no_in(folder, file, name) for file in files]
        document = folder.document(target, _head(scope, now, by, until))
        if value.lower() != "no" and any(before):
            back = [f"{who} on {name}, taken back by {by}" for who in before if who]
            back = [*document.get("taken_back", []), *back]
            document["taken_back"] = list(dict.fromkeys(back))
        document.pop(name, None)
        if value:
            document[name] = _plain(value)
        # The new one first: two that contradict each other hold, a "no" that is gone does not.
        folder.write(target, tomlkit.dumps(document).encode(), None)
        for file in files:
            if file != target:
                _drop(folder, file, name)
    return target


def _plain(value: str) -> str | int | float:
    """Give a bare number as one; texts stay."""
    if re.fullmatch(r"[+-]?\d+", value):
        return int(value)
    return float(value) if re.fullmatch(r"[+-]?\d*\.\d+", value) else value


def _target(
    folder: Folder, scope: str, now: Occasion, by: str, until: datetime | None
) -> str:
    """Name the file of one person's answers: of one scope and day, place, flight and end."""
    who = "-".join(re.findall(r"\w+", by.lower()))[:16] or "officer"
    about = now.placed + now.bounds + ("" if scope == "season" else now.drawn)
    of = hashlib.sha256(about.encode()).hexdigest()[:6]
    if scope == "flight":
        flight = "-".join(re.findall(r"\w+", now.flight.lower()))[:16]
        of = f"{flight}-{now.rocket}-{of}"
    end = "" if until is None else f"-{until.astimezone(UTC):%H%MZ}"
    stem = f"answers/{now.day}-{scope}-{of}-{who}{end}"
    names = (f"{stem}{f'-{again}' if again else ''}.toml" for again in count())
    return next(name for name in names if _takes(folder.document(name), by))


def _takes(document: Mapping[str, Any], by: str) -> bool:
    """Return whether a file may take another answer: none is spent, nor another person's."""
    return "flown" not in document and document.get("by", by) == by


def _head(scope: str, now: Occasion, by: str, until: datetime | None) -> str:
    lines = [f"# Answered at the desk by {by}.", f"date = {now.day}"]
    lines.append(f"site = {json.dumps(now.site, ensure_ascii=False)}")
    lines.append(f"place = {now.placed}")
    if scope == "flight":
        lines.append(f"flight = {json.dumps(now.flight, ensure_ascii=False)}")
        lines.append(f'rocket = "{now.rocket}"')
    lines += [f'drawn = "{now.drawn}"', f'bounds = "{now.bounds}"']
    if until is not None:
        lines.append(f"until = {until.isoformat(timespec='seconds')}")
    lines.append(f"by = {json.dumps(by, ensure_ascii=False)}")
    return "\n".join(lines) + "\n\n"


def _counts_now(folder: Folder, file: str, scope: str, now: Occasion) -> bool:
    """Return whether an answer there counts: those of other days and places stay as they are."""
    try:
        given = folder.document(file).unwrap()
        head = read_head(file, {key: given.get(key) for key in HEAD}, now.longitude)
    except DriftmapError:
        return False
    return not head.not_for(now, cast("Scope", scope))


def _no_in(folder: Folder, file: str, name: str) -> str:
    """Tell whose "no" an answer of a file is; empty where it is none."""
    document = folder.document(file)
    was = document.get(name)
    no = was is False or str(was).strip().lower() == "no"
    return f'the "no" of {document.get("by", "somebody")}' if no else ""


def _drop(folder: Folder, file: str, name: str) -> None:
    """Take an answer out of a file, so that two never contradict each other."""
    document = folder.document(file)
    if name in document:
        del document[name]
        folder.write(file, tomlkit.dumps(document).encode(), None)


def spend(folder: Folder, flight: str, time: datetime) -> None:
    """Let no answer for a flight count for the next of the same rocket, once it is flown."""
    for file in answer_files(folder):
        with suppress(DriftmapError):  # what cannot be read holds anyway
            document = folder.document(file)
            mine = str(document.get("flight", "")).casefold() == flight.casefold()
            if mine and "flown" not in document:
                document["flown"] = f"{time:%Y-%m-%d %H:%M}"
                folder.write(file, tomlkit.dumps(document).encode(), None)


def answers_taken_back(folder: Folder, longitude: float, when: datetime) -> str:
    """Tell which answers against flying were taken back that day there; empty for none."""
    found: list[str] = []
    day = Occasion("", "", when, longitude).day
    for file in answer_files(folder):
        document = folder.document(file)
        if str(document.get("date")) == str(day):
            found += map(str, document.get("taken_back", []))
    return "; ".join(dict.fromkeys(found))
