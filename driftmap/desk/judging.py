"""One flight of the day judged by the same functions as the commands, in a process of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache, lru_cache
from pathlib import Path
from typing import Final

from driftmap.air.day import AirDay, day_from_readings
from driftmap.air.wind import WindProfile
from driftmap.core.errors import DriftmapError, NoGoError
from driftmap.core.units import MILE_PER_HOUR
from driftmap.desk.day import Aside
from driftmap.desk.folder import Folder
from driftmap.desk.winds import setting_at, wind_of
from driftmap.ground.areas import Site
from driftmap.ground.site import read_site
from driftmap.logbook.entry import Content, Entry
from driftmap.logbook.entry_bodies import assessment_entry, kept_inputs
from driftmap.planning.assumed_winds import Supposition
from driftmap.planning.dial import compute_dial
from driftmap.planning.dial_reach import Reach
from driftmap.report.dialpage import dial_html
from driftmap.report.instructions import watch
from driftmap.report.map import map_html
from driftmap.report.picture import field_image
from driftmap.report.positions import as_plain_text
from driftmap.report.reasons import verdict_reasons
from driftmap.report.sheet import brief_html, caller_html, poster_html
from driftmap.report.tables import headline
from driftmap.report.voice import Catalogue, Voice, languages, read_catalogue
from driftmap.report.words import Units
from driftmap.rocket.flight import Flight
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import Answers, read_answers
from driftmap.verdict.assessment import Assessment, assess_setup, good_between
from driftmap.verdict.check import Verdict
from driftmap.verdict.setup import Setup
from driftmap.winds.formats import kind_of

FULL: Final = 20_000
"""Flights in each case for a word that counts: as many as `driftmap assess` flies."""

QUICK: Final = 500
"""Flights in each case for the first word, which is never go; a no-go of them stands."""

_MOST_REASONS: Final = 12
_DIAL_SAMPLES: Final = 4000  # as `driftmap dial` flies
_DIAL_TOP: Final = 20 * MILE_PER_HOUR
_DIAL_STEPS: Final = (5, 12)  # speeds, directions


class StaleError(Exception):
    """The files were changed while a flight was flown in them."""


@dataclass(frozen=True, slots=True)
class Task:
    """A flight to be judged: names of files in the desk's folder."""

    root: str
    flight: str
    own: str  # a print of the flight's file and of its curves
    site: str
    pad: str | None
    winds: tuple[str, ...]
    aside: tuple[Aside, ...]
    answers: tuple[str, ...]
    when: datetime
    samples: int
    units: Units
    flights: int = 0  # of the day, where the list has more than the field's file tells

    def path(self, name: str) -> str:
        """Return the path of one of its files."""
        return str(Path(self.root) / name)


@dataclass(frozen=True, slots=True)
class TaskResult:
    """What came of a task: hold where there could be none, with the problem as its reason."""

    verdict: Verdict
    reasons: tuple[str, ...]  # the worst first
    counts: str  # what the word rests on
    wind: str
    when: datetime
    expires: datetime | None  # when the wind is too old
    samples: int
    problem: bool = False
    back: tuple[str, ...] = ()  # what the word hangs on, in both systems of units
    # By language the reason that governs, where to stand, what to count; of all flights only.
    crowd: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    entry: Entry | None = None
    contents: tuple[Content, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether the word counts; a go and a hold take all of the flights.

        What makes a no-go of few lies beyond its limit with all of its interval, as of many.
        """
        return self.samples >= FULL or self.verdict == "no-go"


def warm() -> bool:
    """Read what judging needs, so that the first word does not wait for it."""
    _catalogues()
    return True


def _inputs(task: Task) -> tuple[Flight, Site, Answers]:
    """Read flight, site and answers."""
    flight = _flight(task.path(task.flight), task.own)
    site = read_site(task.path(task.site), pad=task.pad)
    if task.flights:
        site = replace(site, flights_today=task.flights)
    files = [task.path(name) for name in task.answers]
    return flight, site, read_answers(files, flight, site, task.when)


@lru_cache(maxsize=64)
def _flight(path: str, _own: str) -> Flight:
    """Read a flight, once for all winds: what its motor needs in calm air is kept by it."""
    return read_flight(path)


def _assessment_for(
    task: Task, *, advice: bool = True, progress: Callable[[int], None] | None = None
) -> Assessment:
    """Read the files of a task and assess the flight, as `driftmap assess` does."""
    flight, site, answers = _inputs(task)
    wind, day = _weather(task, site)
    setup = Setup(flight, site, task.samples, day=day, answers=answers)
    return assess_setup(setup, wind, advice=advice, progress=progress)


def _weather(task: Task, site: Site) -> tuple[WindProfile, AirDay | None]:
    """Read the winds that count, and what they tell of the day's air."""
    setting = setting_at(site, task.when)
    wind = wind_of(Path(task.root), task.winds, task.aside, setting)
    return wind, day_from_readings(site.elevation, wind.temperature, wind.altimeter)


def judge_task(task: Task, progress: Callable[[int], None] | None = None) -> TaskResult:
    """Judge a task; what cannot be judged holds and says why.

    ``progress`` is called between parts of the work; a `StaleError` of it ends it.
    """
    try:
        inputs = kept_inputs(_files(task))
        result = _assessment_for(task, advice=False, progress=progress)
        return _told(task, result, inputs)
    except StaleError:
        raise
    except NoGoError as problem:
        return _cannot(task, "no-go", str(problem))
    except DriftmapError as problem:
        return _cannot(task, "hold", str(problem))
    except OSError as problem:
        return _cannot(task, "hold", f"{problem.filename}: {problem.strerror}")
    except Exception as problem:
        text = f"a fault in driftmap itself, no verdict: {type(problem).__name__}"
        return _cannot(task, "hold", f"{text}: {problem}")


def _cannot(task: Task, word: Verdict, text: str) -> TaskResult:
    reasons = (Folder(Path(task.root)).plain(text),)
    return TaskResult(
        verdict=word,
        reasons=reasons,
        counts="",
        wind="",
        when=task.when,
        expires=None,
        samples=task.samples,
        problem=True,
    )


def _told(task: Task, result: Assessment, inputs: Mapping[str, Content]) -> TaskResult:
    people = [area.name for area in result.site.areas if area.occupied]
    voice = Voice(_catalogues()["en"], task.units)
    reasons = verdict_reasons(result.checks, people, voice)
    head = headline(result, voice)
    entry, contents = _entry(task, result, inputs)
    return TaskResult(
        verdict=result.verdict,
        reasons=tuple(reasons[:_MOST_REASONS]),
        counts=head["counts"],
        wind=f"{head['wind']} ({head['mast']}. {head['age']})",
        when=task.when,
        expires=_expires(task, result),
        samples=task.samples,
        back=tuple(head["back"]),
        crowd={
            language: _crowd(result, people, Voice(found, task.units))
            for language, found in _catalogues().items()
            if task.samples >= FULL
        },
        entry=entry,
        contents=contents,
    )


def _crowd(result: Assessment, people: list[str], voice: Voice) -> tuple[str, ...]:
    reasons = verdict_reasons(result.checks, people, voice)
    return (reasons[0] if reasons else "", *as_plain_text(watch(result, voice)))


@cache
def _catalogues() -> Mapping[str, Catalogue]:
    return {language: read_catalogue(language) for language in languages()}


def _files(task: Task) -> dict[str, list[str]]:
    return {
        "flight": [task.path(task.flight)],
        "site": [task.path(task.site)],
        "wind": [task.path(name) for name in task.winds],
        "answers": [task.path(name) for name in task.answers],
    }


def _entry(
    task: Task, result: Assessment, inputs: Mapping[str, Content]
) -> tuple[Entry, tuple[Content, ...]]:
    entry, contents = assessment_entry(
        result,
        inputs,
        when=task.when.isoformat(timespec="minutes"),
        kinds=[kind_of(task.path(name)) for name in task.winds],
    )
    return entry, tuple(contents)


def _expires(task: Task, result: Assessment) -> datetime | None:
    """Tell when the wind is too old, or it gets dark; now, where nobody dated the wind."""
    found = good_between(result)
    return task.when if found is None else found[1]


def drawn(task: Task, what: str, language: str = "en") -> str:
    """Write a page of a task: its map, what hangs or is read aloud, the field alone, or the dial."""
    if what == "dial":
        return _dial(task, language)
    result = _assessment_for(task)
    if what == "map":
        return map_html(result, units=task.units, language=language)
    seen = watch(result, Voice(read_catalogue(language), task.units))
    if what == "field":
        return field_image(seen)
    papers = {"sheet": brief_html, "poster": poster_html, "caller": caller_html}
    return papers[what](seen)


def _dial(task: Task, language: str) -> str:
    """Work out every wind of the day: coarser than the command's, so that it is done soon."""
    flight, site, answers = _inputs(task)
    wind, air = _weather(task, site) if task.winds else (None, None)
    setup = Setup(flight, site, _DIAL_SAMPLES, 1, air, answers)
    reach = Reach(_DIAL_TOP, *_DIAL_STEPS)
    supposition = replace(Supposition.over_site(site, task.when), sky=wind)
    dial = compute_dial(setup, supposition, reach)
    day = task.when.astimezone().date()
    return dial_html(dial, units=task.units, language=language, made_for=day)
