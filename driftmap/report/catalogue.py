"""Catalogues of messages: what the sheet says, in the language of the club."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from driftmap.errors import InputError
from driftmap.files import parse_toml, text_of
from driftmap.report.words import Units
from driftmap.verdict.assessment import CAUTIONS

__all__ = ["Catalogue", "languages", "read_catalogue"]

_PATTERN: Final = "en"  # the catalogue that says which keys there are
_LONGEST: Final = 480  # characters; a longer message would not fit any page
_OWN: Final = ("language", "direction", "units", "cautions")


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Messages in one language.

    Parameters
    ----------
    language : str
        Language tag for the page (BCP 47), such as ``"en"``.
    direction : {"ltr", "rtl"}
        Writing direction.
    units : {"us", "si"}
        Units of its readers, unless they pick others.
    cautions : tuple of str
        Translations of `driftmap.verdict.assessment.CAUTIONS`, in that order.
    messages : mapping of str to str
        Text by key, such as ``"stand.title"``, with names in braces for what changes.
    """

    language: str
    direction: str
    units: Units
    cautions: tuple[str, ...]
    messages: Mapping[str, str]

    def say(self, key: str, **values: str) -> str:
        """Write a message.

        Parameters
        ----------
        key : str
            Its key.
        **values : str
            Text for each name in braces; taken as it is, whatever it holds.

        Returns
        -------
        str
            Plain text.
        """
        return self.messages[key].format(**values)

    def table(self, name: str) -> dict[str, str]:
        """Give the messages of a table, braces and all, for a page's script.

        Parameters
        ----------
        name : str
            Name of the table.

        Returns
        -------
        dict of str to str
            By key within it.
        """
        start = f"{name}."
        return {
            key.removeprefix(start): text
            for key, text in self.messages.items()
            if key.startswith(start)
        }


def languages() -> tuple[str, ...]:
    """Name the catalogues that come with the package.

    Returns
    -------
    tuple of str
        Language tags in alphabetical order.
    """
    names = (entry.name for entry in files(__package__).joinpath("messages").iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in names if n.endswith(".toml")))


def read_catalogue(language: str) -> Catalogue:
    """Read a catalogue.

    Parameters
    ----------
    language : str
        One of `languages`, or the path of a catalogue file (TOML).

    Returns
    -------
    Catalogue
        Complete: it has every key of the English one and no other.

    Raises
    ------
    InputError
        If there is no such catalogue, or a message is missing, unknown, empty, too
        long, or differs from the English one in the names it has in braces.
    """
    if language in languages():
        return _checked(f"{language}.toml", _shipped(language))
    path = Path(language)
    if not path.is_file():
        known = ", ".join(languages())
        problem = f"must be one of {known}, or a catalogue file (got {language!r})"
        raise InputError("--language", "", problem)
    return _checked(str(path), text_of(path))


def _shipped(language: str) -> str:
    return (
        files(__package__)
        .joinpath("messages", f"{language}.toml")
        .read_text(encoding="utf-8")
    )


def _flat(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


@cache
def _pattern() -> Mapping[str, Any]:
    return MappingProxyType(dict(_flat(tomllib.loads(_shipped(_PATTERN)))))


def _checked(source: str, text: str) -> Catalogue:
    found = dict(_flat(parse_toml(text, source)))
    pattern = _pattern()
    for key in found:
        if key not in pattern:
            raise InputError(source, key, "no such message; remove it")
    for key in pattern:
        if key not in found:
            raise InputError(source, key, f"missing; in English: {pattern[key]!r}")
    for key, message in found.items():
        if key != "cautions":
            _check_message(source, key, message)
    if found["direction"] not in {"ltr", "rtl"}:
        told = f"must be 'ltr' or 'rtl' (got {found['direction']!r})"
        raise InputError(source, "direction", told)
    if found["units"] not in {"us", "si"}:
        told = f"must be 'us' or 'si' (got {found['units']!r})"
        raise InputError(source, "units", told)
    return Catalogue(
        language=found["language"],
        direction=found["direction"],
        units=found["units"],
        cautions=_cautions(source, found["cautions"]),
        messages=MappingProxyType({k: v for k, v in found.items() if k not in _OWN}),
    )


def _check_message(source: str, key: str, message: object) -> None:
    # A separator may well be a blank; nothing else may.
    blank = isinstance(message, str) and message.isspace() and key[:7] != "number."
    if not isinstance(message, str) or not message or blank:
        raise InputError(source, key, f"must be text (got {message!r})")
    if len(message) > _LONGEST:
        told = f"must have at most {_LONGEST} characters (got {len(message)})"
        raise InputError(source, key, told)
    wanted, names = _names(_pattern()[key]), _names(message)
    if names != wanted:
        told = (
            ", ".join(f"{{{name}}}" for name in sorted(wanted or ()))
            or "nothing in braces"
        )
        raise InputError(source, key, f"must hold {told} (got {message!r})")


def _names(message: str) -> frozenset[str] | None:
    """Give the names in braces; None where a brace holds anything but a plain name."""
    try:
        fields = [f for f in string.Formatter().parse(message) if f[1] is not None]
    except ValueError:
        return None
    # A conversion or an attribute would reach into the values.
    if any(spec or conversion for _, _, spec, conversion in fields):
        return None
    return frozenset(name for _, name, _, _ in fields if name is not None)


def _cautions(source: str, found: object) -> tuple[str, ...]:
    if (
        not isinstance(found, list)
        or len(found) != len(CAUTIONS)
        or not all(isinstance(c, str) and 0 < len(c.strip()) <= _LONGEST for c in found)
    ):
        told = f"must be {len(CAUTIONS)} texts, a translation of each English one"
        raise InputError(source, "cautions", told)
    return tuple(found)
