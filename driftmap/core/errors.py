"""The errors a user can cause, one line each."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from types import MappingProxyType
from typing import Final

_LONGEST_QUOTE: Final = 120
"""Most characters of somebody's input that a message repeats."""

_LONGEST_MESSAGE: Final = 500
_STEERING: Final = (
    *range(0x20),
    *range(0x7F, 0xA0),
    *range(0x200E, 0x2010),
    *range(0x2028, 0x202F),
    *range(0x2066, 0x206A),
)
"""Characters that steer a terminal or turn text about: controls, line and paragraph
separators, marks of direction (Unicode 15, categories Cc, Zl, Zp and part of Cf)."""

_SHOWN: Final = MappingProxyType(
    {
        **dict.fromkeys(_STEERING, "\N{REPLACEMENT CHARACTER}"),
        **{code: chr(0x2400 + code) for code in _STEERING if code < 0x20},
        0x7F: "\N{SYMBOL FOR DELETE}",
        # Isolates of our own sentences: needed on pages.
        **dict.fromkeys(range(0x2066, 0x206A), ""),
    }
)
_OPENING: Final = r"(?<![^\s(\[{:,=])"  # else the quote closes what stands before it
_QUOTE: Final = re.compile(
    rf"""{_OPENING}(?:'[^']{{{_LONGEST_QUOTE},}}'|"[^"]{{{_LONGEST_QUOTE},}}")"""
)


def visible(text: str, *, keep: str = "") -> str:
    r"""Make control characters visible, except those in ``keep``.

    Result: with a picture of each control, and a mark for other characters that steer.

    Examples
    --------
    >>> visible("\x1b[2JGO")
    '␛[2JGO'
    """
    if text.isprintable():
        return text
    shown = {code: to for code, to in _SHOWN.items() if chr(code) not in keep}
    return text.translate(shown)


def quoted(value: object) -> str:
    """Repeat what was given in a message, cut to `_LONGEST_QUOTE`; in quotes where it is text.

    Examples
    --------
    >>> quoted("9 furlongs"), quoted(10**400)
    ("'9 furlongs'", 'a number of 1329 bits')
    """
    if isinstance(value, int) and abs(value) > 10**30:
        return f"a number of {value.bit_length()} bits"
    if isinstance(value, str | bytes):
        value = value[: 2 * _LONGEST_QUOTE]
    return _cut(repr(value), _LONGEST_QUOTE)


def _cut(text: str, most: int) -> str:
    """Keep the beginning and the end of a text."""
    if len(text) <= most:
        return text
    return f"{text[: 2 * most // 3]}…{text[-(most // 3 - 1) :]}"


def nearest(name: str, known: Iterable[str], *, cutoff: float = 0.6) -> str:
    """Ask whether a known name as similar as ``cutoff`` was meant; else list what is accepted.

    Examples
    --------
    >>> nearest("Diametre", ["mass", "diameter"]), nearest("x", ["mass", "diameter"])
    ("did you mean 'diameter'?", 'accepted: mass, diameter')
    """
    names = {one.lower(): one for one in known}
    near = difflib.get_close_matches(name.strip().lower(), names, n=1, cutoff=cutoff)
    if near:
        return f"did you mean {names[near[0]]!r}?"
    return f"accepted: {', '.join(names.values())}"


def one_line(message: str) -> str:
    """Make a message one line without control characters, cut in the middle where too long.

    Examples
    --------
    >>> len(one_line("'" + "x" * 5000 + "' is no wind"))
    131
    """
    line = visible(" ".join(message.split()))
    line = _QUOTE.sub(lambda found: _cut(found[0], _LONGEST_QUOTE), line)
    return _cut(line, _LONGEST_MESSAGE)


class DriftmapError(Exception):
    """Root of every error that driftmap raises on purpose."""


class InputError(DriftmapError):
    """Input that cannot be used.

    Parameters
    ----------
    source : str
        File, option or text the input came from.
    where : str
        Key, line, feature or level inside the source; empty when the whole source
        is meant.
    problem : str
        What was found and what is accepted.

    Attributes
    ----------
    each : tuple of (str, str)
        Every place that is wrong and how, where several are; the line tells some.
    """

    def __init__(self, source: str, where: str, problem: str) -> None:
        self.source, self.where, self.problem = source, where, problem
        self.each: tuple[tuple[str, str], ...] = ((where, problem),)
        names = [_cut(name, _LONGEST_QUOTE) for name in (source, where) if name]
        super().__init__(one_line(": ".join([*names, problem])))

    def __reduce__(self) -> tuple[object, ...]:
        """Travel whole from a worker process: an error that cannot be pickled breaks its pool."""
        told = (self.source, self.where, self.problem)
        return type(self), told, {"each": self.each}


class PlacedError(ValueError):
    """A value that cannot be used, and its place in a source that `located` names."""

    def __init__(self, where: str, problem: str) -> None:
        self.where = where
        super().__init__(problem)


class at:  # noqa: N801 - read as a word; a generator would cost readers of rows a quarter
    """Add a place to a `ValueError` raised in the block, unless it has one already."""

    __slots__ = ("_where",)

    def __init__(self, where: str) -> None:
        self._where = where

    def __enter__(self) -> None:
        pass

    def __exit__(self, _: object, problem: object, trace: object) -> None:
        if isinstance(problem, PlacedError):
            return
        if isinstance(problem, ValueError | OverflowError):
            raise PlacedError(self._where, str(problem)) from None


@contextmanager
def located(
    source: str, where: str, fault: Callable[[str, str, str], InputError] = InputError
) -> Iterator[None]:
    """Turn a `ValueError` of the block into a fault that names its source and place.

    Examples
    --------
    >>> with located("f.toml", "mass"):
    ...     raise ValueError("must be above 0")
    Traceback (most recent call last):
    driftmap.core.errors.InputError: f.toml: mass: must be above 0
    """
    try:
        yield
    except (ValueError, OverflowError) as problem:
        where = getattr(problem, "where", where)
        raise fault(source, where, str(problem)) from None


class FlightPathError(DriftmapError, ValueError):
    """A flight that cannot be followed: it stays on the rail or leaves the air."""


class TooHighError(FlightPathError):
    """A flight that rises above the air which is drawn for it."""


class WeakThrustError(FlightPathError):
    """Thrust that does not carry a flight off the rail, or lets it come down burning."""


class FlightError(InputError):
    """A flight file, or a flight that leaves what is modelled."""


class NoGoError(FlightError):
    """A flight that must not be tried: its thrust does not carry it."""


class SiteError(InputError):
    """A site file, or an area in it."""


class WindError(InputError):
    """A wind file or a wind given in words."""
