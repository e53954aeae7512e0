"""The forms of a flight, made from the file's own schema: units, ranges, what happens if left out."""

from __future__ import annotations

import inspect
import re
import tomllib
import types
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from operator import itemgetter
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from driftmap.core.units import DIMENSIONS
from driftmap.rocket.airframe import GUESSED_DRAG
from driftmap.rocket.fields import OneOf, Reads, Within
from driftmap.rocket.flight import table_of

_OWN: Final = ("motor", "recovery", "descent", "pieces")
"""What a stage or an alternative has a table of its own for."""

_LINKS: Final = ("canopy", "lines", "cord", "attachment")


@cache
def _forms() -> dict[str, dict[str, Any]]:
    """Read which tables of the file have a form, and what is asked first of each."""
    return tomllib.loads(
        files(__package__).joinpath("page/flight.toml").read_text("utf-8")
    )


@cache
def tables() -> tuple[dict[str, Any], ...]:
    """List the tables of a flight file with their fields.

    Result: name, heading, whether it repeats, and for each field its key, kind, units,
    range, whether it is asked first, and what it means.
    """
    return tuple(
        {
            "name": name,
            "head": form["head"],
            "many": form.get("many", False),
            "fields": [field for _, field in sorted(_fields(name), key=itemgetter(0))],
        }
        for name, form in _forms().items()
    )


def _fields(name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    place = name.split(".")
    model, table = table_of(place), place[-1]  # a motor is a motor on either stage
    told, form = _told(model), _forms()[table]
    first, typed_not = form.get("first", ()), (*form.get("untyped", ()), *_OWN)
    keys = [key for key in model.model_fields if key not in typed_not]
    for number, key in enumerate(keys):
        example = form.get("examples", {}).get(key, "")
        field = _field(key, model.model_fields[key], told.get(key, ""), example)
        rank = first.index(key) if key in first else 100 + 10 * number
        field["first"] = key in first
        field["needed"] &= key not in form.get("by_curve", ())
        links = _LINKS if (table, key) == ("recovery", "strength") else ()
        for below, link in enumerate(links):
            yield rank + below, {**field, "key": f"{key}.{link}"}
        if not links:
            yield rank, field
    if table == "motor":
        text = "A CSV file of time and thrust beside the flight; impulse and burn time follow from it."
        curve = {"key": "thrust_curve", "kind": "curve", "needed": False, "told": text}
        yield first.index("thrust_curve"), {**curve, "first": True}


def _field(key: str, info: FieldInfo, told: str, example: str) -> dict[str, Any]:
    marks = list(_marks(info))
    field: dict[str, Any] = {
        "key": key,
        "needed": info.is_required(),
        "told": told,
        "kind": "text",
    }
    picked = next((mark for mark in marks if isinstance(mark, OneOf)), None)
    if picked is not None:
        return {**field, "kind": "choice", "choices": list(picked.names)}
    if example:  # of what the model holds, read from text
        return {**field, "example": example}
    reads = next((mark for mark in marks if isinstance(mark, Reads)), None)
    if reads is not None:
        return {**field, **_quantity(reads, marks)}
    return {**field, **_plain_kind(list(_kinds(info.annotation)), marks)}


def _plain_kind(kinds: list[Any], marks: list[Any]) -> dict[str, Any]:
    """Tell the kind of a field that is no quantity."""
    named = [kind for kind in kinds if get_origin(kind) is Literal]
    if named:
        return {
            "kind": "choice",
            "choices": [c for kind in named for c in get_args(kind)],
        }
    if bool in kinds:
        return {"kind": "yes or no"}
    if int in kinds:
        return {"kind": "whole", "range": _whole(marks)}
    data = any(get_origin(kind) in {tuple, dict} for kind in kinds)
    return {"kind": "data" if data else "text"}


def _quantity(reads: Reads, marks: list[Any]) -> dict[str, Any]:
    units = [unit for unit in DIMENSIONS[reads.dimension] if unit]
    bounds = (mark.accepted for mark in marks if isinstance(mark, Within))
    told = {"units": units, "range": next(bounds, "")}
    if reads.dimension == "share":
        told = {"units": ["%"], "range": "from 0 to 100 %"}
    return {"kind": "quantity", "spread": reads.spread, **told}


def _marks(info: FieldInfo) -> Iterator[Any]:
    """Yield all that an annotation says of a field, however deep it says it."""
    yield from (_own(mark) for mark in info.metadata)
    yield from _deep(info.annotation)


def _deep(annotation: Any) -> Iterator[Any]:
    if get_origin(annotation) is Annotated:
        for mark in annotation.__metadata__:
            yield _own(mark)
    for part in get_args(annotation):
        if not isinstance(part, str):
            yield from _deep(part)


def _own(mark: Any) -> Any:
    return mark.func if isinstance(mark, BeforeValidator | AfterValidator) else mark


def _kinds(annotation: Any) -> Iterator[Any]:
    """Yield the types that a field may have, without None."""
    if get_origin(annotation) is Annotated:
        yield from _kinds(get_args(annotation)[0])
    elif get_origin(annotation) in {Union, types.UnionType}:
        for part in get_args(annotation):
            yield from _kinds(part)
    elif annotation is not type(None):
        yield annotation


def _whole(marks: list[Any]) -> str:
    parts = [part for mark in marks for part in getattr(mark, "metadata", [mark])]
    low = [part.ge for part in parts if hasattr(part, "ge")]
    high = [part.le for part in parts if hasattr(part, "le")]
    return f"from {low[-1]} to {high[-1]}" if low and high else ""


def _told(model: type[BaseModel]) -> dict[str, str]:
    """Take what each field means from the model's own description."""
    documents = [inspect.cleandoc(one.__doc__ or "") for one in reversed(model.__mro__)]
    lines = "\n".join(documents).splitlines()
    told: dict[str, str] = {}
    names: list[str] = []
    for line in lines:
        head = re.match(r"(\w[\w, ]*) : ", line)
        if head:
            names = head[1].split(", ")
            told.update(dict.fromkeys(names, ""))
        elif line.startswith("    ") and names:
            for name in names:
                told[name] = f"{told.get(name, '')} {line.strip()}".strip()
    return {name: _plain(text) for name, text in told.items()}


def _plain(text: str) -> str:
    guess = f"{GUESSED_DRAG.value} ± {GUESSED_DRAG.spread}"
    text = text.replace("`GUESSED_DRAG`", f"{guess}, marked as assumed,")
    text = re.sub(r"a key of `[\w.]*`", "one of the list", text)
    return re.sub(r" \[[^\]]*\]|[`]|``", "", text)
