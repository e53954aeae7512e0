"""The JSON Schema of a site file, for editors, made from the tables that the reader uses."""

from __future__ import annotations

from typing import Any, Final

from driftmap.ground.roles import KEYS, MOST_PEOPLE, ROLES, SHELTERS, meant_for
from driftmap.ground.site import MOST_FLIGHTS

_AMOUNT: Final = {"type": ["number", "string"]}
_TEXT: Final = {"type": "string"}


def site_schema() -> dict[str, Any]:
    """Describe a site file.

    Result: roles, how each is drawn and which properties it may have; whether a shape is
    whole, a quantity has the right unit or a strange key is nearly ours only reading tells.
    """
    own = {
        **dict.fromkeys(KEYS, _AMOUNT),
        "role": {"enum": [*ROLES]},
        "name": _TEXT,
        "people": _count(0, MOST_PEOPLE),
        "shelter": {"enum": [*SHELTERS]},
    }
    feature = {
        "type": "object",
        "required": ["type", "properties", "geometry"],
        "properties": {
            "type": {"const": "Feature"},
            "properties": {"type": "object", "properties": own, "required": ["role"]},
            "geometry": {"type": "object", "required": ["type", "coordinates"]},
        },
        "allOf": [_drawn(role) for role in ROLES]
        + [_read(role, kind) for role, kinds in ROLES.items() for kind in kinds],
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "type": "object",
        "required": ["type", "elevation", "features"],
        "properties": {
            "type": {"const": "FeatureCollection"},
            "name": _TEXT,
            "rules": _TEXT,
            "elevation": _AMOUNT,
            "declination": _AMOUNT,
            "limits": {"type": "object"},
            "flights_today": _count(1, MOST_FLIGHTS),
            "picture": {"type": "object", "required": ["file", "points"]},
            "features": {"type": "array", "minItems": 1, "items": feature},
        },
    }


def _count(least: int, most: int) -> dict[str, Any]:
    digits = {"type": "string", "pattern": r"^\s*[0-9][0-9,]*\s*$"}
    return {"anyOf": [{"type": "integer", "minimum": least, "maximum": most}, digits]}


def _of(role: dict[str, Any], kind: dict[str, Any]) -> dict[str, Any]:
    """Speak of the role of a feature and the type of its geometry."""
    return {
        "properties": {"properties": role, "geometry": {"properties": {"type": kind}}}
    }


def _drawn(role: str) -> dict[str, Any]:
    here = {"properties": {"role": {"const": role}}}
    return {"if": _of(here, {}), "then": _of({}, {"enum": [*ROLES[role]]})}


def _read(role: str, kind: str) -> dict[str, Any]:
    """Say which properties a role drawn in some way may have, and must."""
    meant = meant_for(role, kind)
    here = {"properties": {"role": {"const": role}}, "required": ["role"]}
    then = {
        "properties": {key: False for key in KEYS if key not in meant},
        "required": ["radius"] if "radius" in meant else [],
    }
    return {"if": _of(here, {"const": kind}), "then": _of(then, {})}
