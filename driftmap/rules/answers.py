"""Answers to what no file can know: clouds, permissions, what a person must confirm."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta, timezone
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from driftmap.core.errors import InputError, nearest
from driftmap.core.files import toml_of
from driftmap.core.units import quantity
from driftmap.ground.areas import Site
from driftmap.rocket.flight import Flight
from driftmap.rules.answer_validity import HEAD, read_head
from driftmap.rules.occasion import Occasion
from driftmap.rules.reading import picked_rules, read_rules, rule_sets
from driftmap.rules.ruleset import Question, RuleSet
from driftmap.rules.vocabulary import (
    FACTS,
    FLOOR,
    GROUPS,
    LARGER,
    LARGER_JUDGED,
    LASTING,
    NOT_COVERED,
    SCOPES,
    Scope,
    amount,
    figure_key,
)


@dataclass(frozen=True, slots=True)
class Answers:
    """What people answered for a day.

    Parameters
    ----------
    confirmed : mapping of str to bool
        Answer to each question by its name.
    numbers : mapping of str to float
        Facts by key of `driftmap.rules.vocabulary.FACTS`, in SI.
    source : str
        Where they were read.
    stale : mapping of str to str
        Why an answer that was given does not count, by its name.
    when : datetime or None
        Time of the flight, if it is known.
    occasion : Occasion or None
        Flight, site and time that they were read for; None where they were given by hand.
    files : tuple of (str, str)
        Name and SHA-256 of each file.
    taken_back : tuple of str
        Answers against flying that were taken back on the day, and who had given them.
    holds : (datetime, datetime) or None
        From when until when what was answered for the day holds, if anything was: its day
        at the site, or as far as it was told to.
    passed_over : mapping of str to str
        What does not count though it may be meant for the flight, and nothing else would
        tell, with file and reason.
    measured : mapping of str to str
        Figures that were found so when the rocket was measured again, as `figure_key` writes
        them, and by whom.
    """

    confirmed: Mapping[str, bool] = field(default_factory=dict)
    numbers: Mapping[str, float] = field(default_factory=dict)
    source: str = "answers"
    stale: Mapping[str, str] = field(default_factory=dict)
    when: datetime | None = None
    occasion: Occasion | None = None
    files: tuple[tuple[str, str], ...] = ()
    taken_back: tuple[str, ...] = ()
    holds: tuple[datetime, datetime] | None = None
    passed_over: Mapping[str, str] = field(default_factory=dict)
    measured: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("confirmed", "numbers", "stale", "passed_over", "measured"):
            fixed = MappingProxyType(dict(getattr(self, name)))
            object.__setattr__(self, name, fixed)

    @property
    def amounts(self) -> dict[str, str]:
        """The facts answered, each in words with its amount."""
        told = ((FACTS[name], value) for name, value in self.numbers.items())
        return {fact.text: amount(value, fact.dimension) for fact, value in told}

    def without(self, stale: Mapping[str, str]) -> Answers:
        """Leave out what does not count, and keep why."""
        return replace(
            self,
            confirmed={k: v for k, v in self.confirmed.items() if k not in stale},
            numbers={k: v for k, v in self.numbers.items() if k not in stale},
            stale={**self.stale, **stale},
        )


def read_answers(
    paths: Sequence[str | Path], flight: Flight, site: Site, when: datetime | None
) -> Answers:
    """Read what people answered to the rules that a site names.

    Parameters
    ----------
    paths : sequence of str or Path
        Answers files (TOML), such as one for the season, one for the day and one for the
        flight.
    flight, site : Flight, Site
        From `read_flight` and `read_site`. An answer for another day, site or flight does
        not count, and the question is open; what answers once a season holds for a year.
    when : datetime or None
        Time of the flight, with its zone; None while it is planned ahead of any day, when
        no answer for a day counts.

    Returns
    -------
    Answers
        What counts; nothing of it is needed where neither rules nor answers are.

    Raises
    ------
    InputError
        If a file cannot be read, does not say what day and site it is for, answers what
        nobody asks, or contradicts another.
    """
    if when is not None and when.tzinfo is None:
        raise InputError("when", "", f"{when}; accepted is a time with its zone")
    sets = picked_rules(site) if site.rules.strip() or paths else ()
    return answers_to(paths, sets, Occasion.of(flight, site, when))


def answers_to(
    paths: Iterable[str | Path], sets: Iterable[RuleSet], occasion: Occasion
) -> Answers:
    """Read answers files: what they are for, then one ``name = answer`` a line.

    ``sets``: the rules they answer; ``occasion``: what is to be flown, where and when.
    Raises `InputError` as `read_answers`.
    """
    asked = questions(sets)
    found, read = Answers(when=occasion.when, occasion=occasion), _Read([], [])
    for path in paths:
        found = _joined(found, _file(Path(path), asked, occasion, read))
    # What was denied at another pad of the field stands until somebody says yes at this one.
    denied = [name for name in read.denied if name not in found.confirmed]
    return replace(
        found,
        confirmed={**found.confirmed, **dict.fromkeys(denied, False)},
        stale={k: v for k, v in found.stale.items() if k not in denied},
        passed_over=_passed_over(found, read),
    )


class _Read(NamedTuple):
    """What was answered "no" at another pad, and name, value and reason of what may be meant."""

    denied: list[str]
    doubts: list[tuple[str, object, str]]


def _passed_over(found: Answers, read: _Read) -> dict[str, str]:
    """Name what may be meant and does not count: it says otherwise, or need not be asked."""
    counted = {**found.confirmed, **found.numbers}
    return {
        name: why
        for name, value, why in read.doubts
        if (counted[name] != value if name in counted else name in FACTS)
    }


def _file(
    path: Path, asked: Mapping[str, Question], occasion: Occasion, read: _Read
) -> Answers:
    source, content = str(path), toml_of(path)
    named = {key: content.pop(key, None) for key in HEAD}
    head = read_head(source, named, occasion.longitude)
    given = _checked(source, content, asked)
    stale, anywhere = {}, replace(occasion, place=None)
    endless = replace(head, until=None)  # a "no" outlives its end
    of_then = _ahead(occasion, head.day)
    today: Scope = "day" if head.flight is None else "flight"
    counts = not head.not_for(occasion, today)
    for name, value in {**given.confirmed, **given.numbers}.items():
        scope = scope_of(name, asked)
        text = head.not_for(occasion, scope)
        if value is True:
            text = text or head.changed_since(occasion, name)
        then = of_then is not None and not endless.not_for(of_then, scope)
        if text and then and name in _MORE:
            continue
        if text:
            stale[name] = text
            if value is False and (then or not endless.not_for(anywhere, scope)):
                read.denied.append(name)
            elif head.may_be_for(occasion, scope, changed=name in FACTS):
                read.doubts.append((name, value, f"{path.name}: {text}"))
        else:  # what counts for the day does so though the file is for another flight
            counts |= scope not in LASTING or head.until is not None
    measured = {figure_key(text): head.by or "" for text in head.measured}
    if measured and (text := head.not_for(occasion, "flight")):
        measured, stale["measured"] = {}, text
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return replace(
        given.without(stale),
        files=((path.name, digest),),
        taken_back=head.taken_back if counts else (),
        holds=head.holds(occasion) if counts else None,
        measured=measured,
    )


_MORE: Final = ("rockets_together", "salvo_impulse")
"""Figures of a day that only make a word harder: a plan for no day yet counts them."""


def _ahead(occasion: Occasion, day: date) -> Occasion | None:
    """Return the occasion as of the day that was answered for, where it is of no day yet."""
    if occasion.when is not None:
        return None
    sun = timezone(timedelta(hours=occasion.longitude / 15))
    return replace(occasion, when=datetime.combine(day, time(23, 59), sun))


def _joined(one: Answers, other: Answers) -> Answers:
    """Put two files together: what counts in either counts, and none contradicts."""
    for mine, theirs in (
        (one.confirmed, other.confirmed),
        (one.numbers, other.numbers),
    ):
        for name in mine.keys() & theirs.keys():
            if mine[name] != theirs[name]:
                text = f"is answered differently in {one.source}"
                raise InputError(other.source, name, text)
    confirmed = {**one.confirmed, **other.confirmed}
    numbers = {**one.numbers, **other.numbers}
    stale = {**one.stale, **other.stale}
    each = [said.holds for said in (one, other) if said.holds is not None]
    return replace(
        one,
        confirmed=confirmed,
        numbers=numbers,
        source=" and ".join(s for s in (one.source, other.source) if s != "answers"),
        stale={k: v for k, v in stale.items() if k not in {*confirmed, *numbers}},
        files=(*one.files, *other.files),
        taken_back=tuple(dict.fromkeys((*one.taken_back, *other.taken_back))),
        measured={**one.measured, **other.measured},
        holds=(max(a for a, _ in each), min(b for _, b in each)) if each else None,
    )


_OF_THE_FILE: Final = {
    "liftoff_mass",
    "liftoff_weight",
    "recovery_devices",
    "rail_tilt",
}
"""Facts that every flight file tells."""

_OF_RECOVERY: Final = {
    *("stability_checked", "recovery_otherwise", "recovery_of_one_body")
}
"""What is asked of a flight and may be otherwise with another recovery."""


def of_another(said: Answers, sets: Iterable[RuleSet]) -> Answers:
    """Leave out what was answered for a flight and may be otherwise with another recovery.

    That is what depends on recovery, and each yes to a question of one's own rules, of which
    nobody here knows; a "no", and figures such as of rockets launched together, stand.

    ``said``: answers for a flight; ``sets``: the rules they answer.
    """
    asked, known = questions(sets), questions(read_rules(rule_sets()))
    own = said.numbers.keys() & _OF_THE_FILE
    for name, yes in said.confirmed.items():
        doubtful = name in _OF_RECOVERY or name not in known
        if yes and doubtful and scope_of(name, asked) == "flight":
            own.add(name)
    return said.without(dict.fromkeys(own, "answered for the plan: ask again"))


def scope_of(name: str, asked: Mapping[str, Question]) -> Scope:
    """Say how long an answer holds, to a question or as a fact."""
    return asked[name].scope if name in asked else FACTS[name].scope


def check_answers(
    source: str, given: Mapping[str, object], sets: Iterable[RuleSet]
) -> Answers:
    """Check answers against the questions that the rules ask.

    ``source``: where they come from, for messages; ``given``: answer by name: yes or no
    to a question, a quantity for a fact. They are taken to be for the flight at hand;
    ``sets``: the rules they answer.

    Result: the answers in SI. Raises `InputError` if a name is not asked for, or an
    answer is none.
    """
    return _checked(source, given, questions(sets))


def _checked(
    source: str, given: Mapping[str, object], asked: Mapping[str, Question]
) -> Answers:
    confirmed, numbers = {}, {}
    for name, value in given.items():
        try:
            if name in asked:
                confirmed[name] = _yes_or_no(value)
            elif name in FACTS:
                numbers[name] = _number(name, value)
            else:
                hint = nearest(name, [*asked, *FACTS, *HEAD])
                raise InputError(source, name[:60], f"is not asked for; {hint}")
        except ValueError as problem:
            raise InputError(source, name, str(problem)) from None
    return Answers(confirmed, numbers, source)


def questions(sets: Iterable[RuleSet]) -> dict[str, Question]:
    """List every question that rules may ask."""
    rest = "the local code on what these rules leave out was read, and this flight keeps it"
    found = [
        *(
            Question(name=g.absent, text=f"no {g.text} is near", scope=g.scope)
            for g in GROUPS.values()
        ),
        Question(name=NOT_COVERED, text=rest, scope="flight"),
        Question(name=LARGER_JUDGED, text=LARGER, scope="flight"),
    ]
    for rules in (*sets, *read_rules(FLOOR)):
        found += rules.asked
    named: dict[str, Question] = {}
    for question in found:  # of two of one name that whose answer holds for less counts
        held = named.get(question.name)
        if held is None or SCOPES.index(question.scope) > SCOPES.index(held.scope):
            named[question.name] = question
    return named


def _yes_or_no(value: object) -> bool:
    if isinstance(value, bool):
        return value
    word = value.strip().lower() if isinstance(value, str) else ""
    if word not in {"yes", "no"}:
        raise ValueError(f'must be "yes" or "no" (got {value!r:.60})')
    return word == "yes"


def answers_schema() -> dict[str, Any]:
    """Describe an answers file to an editor, as JSON Schema, with all questions of the package.

    Result: a club's own questions may stand beside them; whether a strange key is one, or a
    quantity has the right unit, only reading tells.
    """
    text, word = {"type": "string"}, {"enum": ["yes", "no", True, False]}
    texts = {"type": "array", "items": text}
    place = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "type": "object",
        "required": ["date", "site"],
        "properties": {
            **dict.fromkeys(HEAD, text),
            "date": {},  # no JSON has a word for a time
            "until": {},
            "place": place,
            "taken_back": texts,
            "measured": texts,
            **{
                name: {**word, "description": one.text}
                for name, one in questions(read_rules(rule_sets())).items()
            },
            **{
                name: {"type": ["number", "string"], "description": fact.text}
                for name, fact in FACTS.items()
            },
        },
        "additionalProperties": word,
    }


def _number(name: str, value: object) -> float:
    fact = FACTS[name]
    try:
        number = quantity(value, fact.dimension)
    except ValueError:
        number = -1.0
    whole = fact.dimension != "number" or number.is_integer()
    if not fact.least <= number <= fact.most or not whole:
        meant = fact.text.removeprefix("the ")
        raise ValueError(f"{value!r:.60} is no {meant}; write {name} = {fact.example}")
    return number
