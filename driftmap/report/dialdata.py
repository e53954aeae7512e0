"""What a dial's page carries: landings in little text, and sentences told once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.core.checks import FloatArray
from driftmap.planning.node import APART, Landing, Node
from driftmap.planning.trial import nearness
from driftmap.report.sentences import sentence
from driftmap.report.voice import Voice
from driftmap.verdict.check import Check, Kind

__all__ = [
    "FINAL",
    "FINENESS",
    "SHARE_STEPS",
    "SYMBOLS",
    "TOLERANCE",
    "line_error",
    "pack_nodes",
    "questions_of",
    "tell_reasons",
]

SYMBOLS: Final = "".join(chr(c) for c in range(32, 127) if chr(c) not in '"\\<')
"""Symbols that stand for themselves in a script: printable, and neither quote, backslash nor
the start of a tag."""

FINAL: Final = 76
"""How many of `SYMBOLS` end a number; the other 16 say that more follow."""

TOLERANCE: Final = 1.5
"""Least distance by which thinning may leave a corner of an outline beside it [m]."""

FINENESS: Final = 400.0
"""The lines of a piece are thinned by the width of the outer one over this, where that is
more than `TOLERANCE`: a screen shows no more."""

SHARE_STEPS: Final = 100_000
"""Steps in which a likelihood is told."""

Pieces = Sequence[tuple[str, str, int]]


def line_error(width: float, fineness: float = FINENESS) -> float:
    """Say how far packing may move the taut lines of a piece.

    ``width``: larger of the extents of the outer one east and north [m].

    Result: the tolerance of thinning, and half the diagonal of a unit for the rounding,
    with a hundredth more for the two together [m].
    """
    tolerance = _tolerance(width, fineness)
    return 1.01 * (tolerance + 2.0 ** _power(tolerance) * math.sqrt(0.5))


def _tolerance(width: float, fineness: float) -> float:
    return max(TOLERANCE, width / fineness)


def _power(tolerance: float) -> int:
    """Find the largest unit no longer than the tolerance, as a power of two."""
    return math.floor(math.log2(tolerance))


def pack_nodes(
    nodes: Iterable[Node], pieces: Pieces, *, fineness: float = FINENESS
) -> str:
    """Pack the landings of winds.

    ``nodes``: the winds, in the order of the text; ``pieces``: every case and body, as
    `Dial.pieces`; ``fineness``: width of an outline over what thinning may move it by.
    """
    cases = list(dict.fromkeys(case for case, _, _ in pieces))
    stream: list[int] = []
    for node in nodes:
        likely, landings = node.likely or {}, node.landings or {}
        for case in cases:
            stream.append(_up(likely.get(case, 0.0) * SHARE_STEPS))
        for case, body, _ in pieces:
            landing = landings.get((case, body))
            stream += [0] if landing is None else _landing(landing, fineness)
    return _written(stream)


def _landing(landing: Landing, fineness: float) -> list[int]:
    numbers = [
        1 + APART.index(landing.apart),
        *_folded(np.rint(landing.mean)),
        _up(landing.radius),
        _up(landing.farthest),
        math.floor(landing.soonest),
        _up(landing.latest),
        _up(landing.speed * 10),
        _up(landing.energy),
        _up(landing.typical),
    ]
    west, south, east, north = landing.lines[-1].bounds
    tolerance = _tolerance(max(east - west, north - south), fineness)
    power = _power(tolerance)
    numbers.append(power)
    for line in landing.lines:
        numbers += _corners(_thinned(shapely.convex_hull(line), tolerance), 2.0**power)
    return numbers


def _thinned(taut: BaseGeometry, tolerance: float) -> BaseGeometry:
    """Leave corners out, none farther than the tolerance from what is left.

    The thinning of the geometry library may go beyond it where a ring begins and ends.
    """
    step = tolerance
    while True:
        thin = shapely.simplify(taut, step)
        if shapely.hausdorff_distance(thin.boundary, taut.boundary) <= tolerance:
            return thin
        step /= 2


def _up(value: float) -> int:
    return math.ceil(value - 1e-9)


def _folded(values: FloatArray) -> list[int]:
    """Tell whole numbers by such as are never negative."""
    return np.where(values >= 0, 2 * values, -2 * values - 1).astype(int).tolist()  # type: ignore[no-any-return]


def _corners(ring: BaseGeometry, unit: float) -> list[int]:
    # The last corner is the first again; the reader closes the ring itself.
    places = np.rint(shapely.get_coordinates(ring)[:-1] / unit)
    return [len(places), *_folded(np.diff(places, axis=0, prepend=0.0).ravel())]


def _written(numbers: Iterable[int]) -> str:
    out = []
    more = len(SYMBOLS) - FINAL
    for number in numbers:
        rest = number
        while rest >= FINAL:
            out.append(SYMBOLS[FINAL + rest % more])
            rest //= more
        out.append(SYMBOLS[rest])
    return "".join(out)


_FARTHEST: Final = 1e6  # stands for a limit of nothing that is not kept


def tell_reasons(
    nodes: Sequence[Node], people: Iterable[str], voice: Voice
) -> dict[str, Any]:
    """Tell for every wind the checks that do not pass, but for open questions.

    ``people``: names of the areas where people are.

    Result: ``texts``: sentences; ``people``: for each kind of check, places among those
    names; ``lines``: for each wind a list of ``[kind, 2 if it fails else 1, figure over
    limit, sentence]``.
    """
    crowd = list(people)
    kinds: dict[tuple[str, ...], list[int]] = {}
    texts: dict[str, int] = {}
    known: dict[int, list[list[Any]]] = {}  # all winds of a span have the same checks
    lines = []
    for node in nodes:
        if node.drawn and id(node.checks) in known:
            lines.append(known[id(node.checks)])
            continue
        told = []
        for check in _against(node, voice):
            text = _sentence(check, node, voice)
            key = (check.kind, check.name, check.case, check.area)
            kinds.setdefault(key, [i for i, a in enumerate(crowd) if check.about(a)])
            outcome = 2 if check.outcome == "fail" else 1
            place = texts.setdefault(text, len(texts))
            told.append([list(kinds).index(key), outcome, _over(check), place])
        known[id(node.checks)] = told
        lines.append(told)
    return {"texts": list(texts), "people": list(kinds.values()), "lines": lines}


def _against(node: Node, voice: Voice) -> list[Check]:
    if node.problem:
        told = voice.say("dial.problem", problem=node.problem)
        return [
            Check(kind=Kind.MISSING, name=told, outcome="warn", source="missing input")
        ]
    return [c for c in node.checks if c.outcome != "pass" and not c.question]


def _sentence(check: Check, node: Node, voice: Voice) -> str:
    told = sentence(check, voice)
    return voice.say("dial.between", told=told) if node.whole else told


def _over(check: Check) -> float:
    over = min(nearness(check), _FARTHEST)
    return float(f"{over:.3g}") if math.isfinite(over) else _FARTHEST


def questions_of(nodes: Iterable[Node]) -> tuple[list[list[str]], list[list[int]]]:
    """List the open questions of the rules, and which of them each wind asks.

    Result: each question, and how to answer it as told in the first wind that asks it.
    Result: for each wind, places among the questions.
    """
    found: dict[tuple[str, str], int] = {}
    told: list[list[str]] = []
    asked: list[list[int]] = []
    for node in nodes:
        asked.append([])
        for check in node.checks:
            if not check.question or check.outcome == "pass":
                continue
            # What the note says of the wind at hand differs; the question does not.
            key = (check.name, check.area)
            if key not in found:
                found[key] = len(found)
                told.append([check.name, check.note])
            asked[-1].append(found[key])
    return told, asked
