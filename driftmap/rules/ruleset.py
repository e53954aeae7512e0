"""Rules as records, as they stand in a file, and their facts and amounts in words."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StrictStr,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from driftmap.core.errors import nearest
from driftmap.core.units import quantity
from driftmap.rules.vocabulary import FACTS, RULE_KINDS, Realm, Scope, amount

Text = Annotated[StrictStr, Field(min_length=1, max_length=500)]
Key = Annotated[StrictStr, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]


def _known(name: str) -> str:
    if name not in FACTS:
        raise ValueError(f"{name!r} is no fact; {nearest(name, FACTS)}")
    return name


_FactName = Annotated[Key, AfterValidator(_known)]
Figure = Annotated[float | None, WithJsonSchema({})]
"""A quantity, written with its unit; its dimension depends on what stands beside it."""


def _limit(value: object, dimension: str) -> float:
    """Read a figure that a limit can have."""
    number = quantity(value, dimension)
    most = 1.0 if dimension == "share" else 1e9
    least_angle = dimension == "angle" and number == 0  # the horizon is one
    if not (0 < number <= most or least_angle):
        raise ValueError(f"must lie above 0 and up to {most:g} (got {value!r})")
    return number


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


_Sign: TypeAlias = Literal["up_to", "below", "above", "at_least"]

_SIGN: Final[dict[_Sign, tuple[str, Callable[[float, float], bool]]]] = {
    "up_to": ("at most", operator.le),
    "below": ("below", operator.lt),
    "above": ("above", operator.gt),
    "at_least": ("at least", operator.ge),
}


class Condition(_Row):
    """A fact within one bound; only ``up_to`` and ``at_least`` hold the bound itself."""

    fact: _FactName
    up_to: Figure = None
    below: Figure = None
    above: Figure = None
    at_least: Figure = None

    @field_validator(*_SIGN, mode="before")
    @classmethod
    def _read(cls, value: object, info: ValidationInfo) -> float | None:
        fact = FACTS.get(info.data.get("fact", ""))
        return None if fact is None else _limit(value, fact.dimension)

    @model_validator(mode="after")
    def _one(self) -> Self:
        if len(self.model_fields_set) != 2:
            raise ValueError(f"needs exactly one of {', '.join(_SIGN)}")
        return self

    @property
    def sign(self) -> _Sign:
        """Which side of the bound is meant."""
        return next(sign for sign in _SIGN if sign in self.model_fields_set)

    @property
    def bound(self) -> float:
        """The bound in SI."""
        return float(getattr(self, self.sign))

    def holds(self, value: float) -> bool:
        """Say whether a value, in SI, lies on the meant side."""
        return _SIGN[self.sign][1](value, self.bound)


class Band(_Row):
    """A row of a table of limits: up to a fact, for any rocket, or by its number of motors."""

    up_to: Annotated[float, WithJsonSchema({})] = Field(
        default_factory=lambda: math.inf
    )
    value: Figure = None
    single: Figure = None
    complex: Figure = None

    @model_validator(mode="after")
    def _figures(self) -> Self:
        if (self.value is None) == (self.single is None and self.complex is None):
            raise ValueError("needs 'value', or 'single' and 'complex'")
        return self

    def figure(self, *, many: bool) -> float | None:
        """Return the limit for one motor or for many; None where the table has none."""
        own = self.complex if many else self.single
        return own if self.value is None else self.value


class Question(_Row):
    """What a person must confirm: its name in an answers file, and how long it holds."""

    name: Key
    text: Text
    scope: Scope = "day"


class RocketClass(_Row):
    """A class of rocket: all of ``when`` hold, and all of ``confirmed`` were answered."""

    name: Text
    when: tuple[Condition, ...] = ()
    confirmed: tuple[Question, ...] = ()
    source: Text


_OF_A_LIMIT: Final = (
    *("text", "limit", "share", "share_of", "excuse", "take", "stand_in"),
    *("bands", "bands_by", "factor", "column"),
)


class Rule(_Row):
    """One row of a rule file: a limit, or a question.

    A limit is the stricter of what `limit`, `share` (of a fact) and `table` (by a fact) ask
    for, unless `take` says otherwise, and is named by a key of
    `driftmap.rules.vocabulary.RULE_KINDS`. It applies where all of `when` hold and not all of
    `unless` do, to some `classes` of rocket or to all. `unless_confirmed` lets a figure
    beyond the limit stand, `if_not_known` stands in for a figure that is not known.
    `yardstick` tells what breaking it means at a site whose rules do not name it.
    """

    name: Key
    question: Text | None = None
    text: Text | None = None
    limit: Figure = None
    share: Annotated[float, WithJsonSchema({})] = 0.0
    share_of: _FactName = ""
    bands_by: _FactName = Field("", alias="table_by")
    factor: Annotated[float, Field(gt=0, le=100, alias="table_factor")] = 1.0
    bands: Annotated[tuple[Band, ...], Field(max_length=50, alias="table")] = ()
    column: Literal["by motors", "complex"] = Field("by motors", alias="table_column")
    take: Literal["strictest", "least"] = "strictest"
    when: tuple[Condition, ...] = ()
    unless: tuple[Condition, ...] = ()
    classes: tuple[Text, ...] = ()
    scope: Scope = "day"
    excuse: Question | None = Field(None, alias="unless_confirmed")
    stand_in: Question | None = Field(None, alias="if_not_known")
    source: Text = ""
    edition: Text = ""
    from_memory: bool = False
    note: Text = ""
    yardstick: Literal["", "fails", "holds"] = ""

    @field_validator(*_OF_A_LIMIT, mode="before")
    @classmethod
    def _of_a_limit(cls, value: object, info: ValidationInfo) -> object:
        """Keep a question from hiding a limit; read the figures of one."""
        if info.data.get("question") is not None:
            raise ValueError("has no meaning for a question")
        key = info.field_name or ""
        if key not in {"limit", "share", "bands"}:
            return value
        kind, by = (info.data.get(name, "") for name in ("name", "bands_by"))
        if kind not in RULE_KINDS or (key == "bands" and by not in FACTS):
            return cls.model_fields[key].default  # what is amiss is told elsewhere
        of = "number" if key == "share" else RULE_KINDS[kind].dimension
        if key != "bands":
            return _limit(value, of)
        if not isinstance(value, list):
            return value
        return _table(value, FACTS[by].dimension, of, info.data.get("factor", 1.0))

    @field_validator("scope", mode="before")
    @classmethod
    def _of_a_question(cls, value: object, info: ValidationInfo) -> object:
        if info.data.get("question") is None:
            raise ValueError("has no meaning for a limit")
        return value

    @field_validator("share_of")
    @classmethod
    def _alike(cls, value: str, info: ValidationInfo) -> str:
        of, kind = FACTS[value].dimension, RULE_KINDS.get(info.data.get("name", ""))
        if kind is not None and of != kind.dimension:
            text = f"{value!r} is measured as {of}, the limit as {kind.dimension}"
            raise ValueError(text)
        return value

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.question is not None:
            if self.name in RULE_KINDS or self.name in FACTS:
                raise ValueError("names a limit; a question needs another name")
            return self
        if self.name not in RULE_KINDS:
            hint = (
                f"{nearest(self.name, RULE_KINDS)}; a question needs the key 'question'"
            )
            raise ValueError(f"is no rule; {hint}")
        if self.text is None:
            raise ValueError("needs 'text': what is asked for, in words")
        given = self.model_fields_set
        if not self.bands and {"factor", "column"} & given:
            raise ValueError("table_factor and table_column need a table")
        for one, other, told in (
            ("share", "share_of", "share and share_of"),
            ("bands", "bands_by", "table and table_by"),
        ):
            if (one in given) != (other in given):
                raise ValueError(f"needs {told} together")
        if "bands" in given and not self.bands:
            raise ValueError("table needs a row")
        if not given & {"limit", "share", "bands"}:
            raise ValueError("needs one of limit, share, table")
        return self

    @property
    def asks(self) -> str:
        """What is asked for, in words; the question itself for a question."""
        return self.question or self.text or ""

    @property
    def cited(self) -> str:
        """Source, edition and whether it is from memory, in one line."""
        memory = "from memory" if self.from_memory else ""
        return "; ".join(part for part in (self.source, self.edition, memory) if part)


def _table(rows: list[Any], by: str, dimension: str, factor: float) -> list[Any]:
    """Read the figures of a table, by the dimension of what it goes by and of its limits."""
    found, before = [], 0.0
    for number, row in enumerate(rows, 1):
        if not isinstance(row, dict):
            return rows  # told by the form of a row
        read = dict(row)
        for key in row.keys() & {"up_to", "value", "single", "complex"}:
            try:
                of = by if key == "up_to" else dimension
                read[key] = _limit(row[key], of) * (1.0 if key == "up_to" else factor)
            except ValueError as problem:
                raise ValueError(f"row {number}, {key}: {problem}") from None
        end = read.get("up_to", math.inf)
        if not end > before:
            raise ValueError(f"row {number} must reach further than the row before")
        before = end
        found.append(read)
    return found


class RuleFile(_Row):
    """A rule file.

    `governs` says which text governs in its place; `whole` what it holds the whole code of,
    so that its silence is the code's. Files of one `family` are alternatives: the first
    that has a class for the rocket applies. Classes go from the lightest to the heaviest;
    without any it is for every rocket.
    """

    title: Text
    governs: Text = "the current local text governs"
    source: Text = ""
    edition: Text = ""
    family: Text = ""
    whole: tuple[Realm, ...] = ()
    extends: tuple[Text, ...] = ()
    rocket_class: Annotated[tuple[RocketClass, ...], Field(alias="class")] = ()
    rule: tuple[Rule, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The rules of one file, by the file's name without its ending.

    ``family``: as in `RuleFile`, and of a file of one's own its path, so that it stands in
    for no set of the package.
    """

    name: str
    title: str
    governs: str
    family: str
    classes: tuple[RocketClass, ...]
    rules: tuple[Rule, ...]
    whole: tuple[Realm, ...] = ()

    @property
    def asked(self) -> Iterator[Question]:
        """Every question of it, one behind a class or a limit among them."""
        for kind in self.classes:
            yield from kind.confirmed
        for rule in self.rules:
            if rule.question:
                yield Question(name=rule.name, text=rule.question, scope=rule.scope)
            yield from (q for q in (rule.excuse, rule.stand_in) if q is not None)


def reason(condition: Condition, value: float) -> str:
    """Say how a fact meets a condition that it holds.

    ``value``: the fact in SI.
    """
    fact = FACTS[condition.fact]
    bound = amount(condition.bound, fact.dimension)
    figure = amount(value, fact.dimension)
    return f"{fact.text} {figure} is {_SIGN[condition.sign][0]} {bound}"


def not_known(names: Iterable[str]) -> str:
    """Say which facts are missing and under what name they can be answered."""
    return "; ".join(
        f"{FACTS[name].text} is not known: answer {name}" for name in names
    )


def joined(*parts: str) -> str:
    """Put clauses in one line.

    ``parts``: clauses; empty ones are left out.
    """
    return "; ".join(part for part in parts if part)
