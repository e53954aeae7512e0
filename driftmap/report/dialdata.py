"""What a dial's page carries: landings packed as short text, and each sentence once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.pools import in_order
from driftmap.planning.dial_node import APART, DialNode, Landing
from driftmap.planning.trial import nearness
from driftmap.report.sentences import sentence
from driftmap.report.voice import Voice
from driftmap.verdict.check import Check, Kind

SYMBOLS: Final = "".join(chr(c) for c in range(32, 127) if chr(c) not in '"\\<')
"""Symbols that stand for themselves in a script: printable, and neither quote, backslash nor
the start of a tag."""

FINAL: Final = 76
"""How many of `SYMBOLS` end a number; the other 16 say that more follow."""

_THINNED_BY: Final = 1.5
"""Least distance by which thinning may leave a corner of an outline beside it [m]."""

FINENESS: Final = 400.0
"""The lines of a piece are thinned by the width of the outer one over this, where that is
more than `_THINNED_BY`: a screen shows no more."""

_LEAST_CORNERS: Final = 4  # of a triangle, its first once more at its end

_AT_ONCE: Final = 200  # winds packed by one process

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
    unit = 2.0 ** _power(tolerance)
    return float(1.01 * (tolerance + unit * math.sqrt(0.5)))


def _tolerance(width: ArrayLike, fineness: float) -> FloatArray:
    return np.maximum(_THINNED_BY, np.asarray(width) / fineness)


def _power(tolerance: FloatArray) -> IntArray:
    """Find the largest unit no longer than the tolerance, as a power of two."""
    return np.floor(np.log2(tolerance)).astype(int)


def pack_nodes(
    nodes: Iterable[DialNode], pieces: Pieces, *, fineness: float = FINENESS
) -> str:
    """Pack the landings of winds.

    ``nodes``: the winds, in the order of the text; ``pieces``: every case and body, as
    `Dial.pieces`; ``fineness``: width of an outline over what thinning may move it by.
    """
    every = list(nodes)

    def part(start: int) -> str:
        return _written(
            list(_stream(every[start : start + _AT_ONCE], pieces, fineness))
        )

    return "".join(in_order(part, range(0, len(every), _AT_ONCE)))


def _stream(
    nodes: Sequence[DialNode], pieces: Pieces, fineness: float
) -> Iterator[int]:
    cases = list(dict.fromkeys(case for case, _, _ in pieces))
    keys = [(case, body) for case, body, _ in pieces]
    landings = [(node.landings or {}).get(key) for node in nodes for key in keys]
    told = _told([one for one in landings if one is not None], fineness)
    numbers = iter([[0] if one is None else next(told) for one in landings])
    for node in nodes:
        likely = node.likely or {}
        yield from (_up(likely.get(case, 0.0) * SHARE_STEPS) for case in cases)
        for _ in keys:
            yield from next(numbers)


def _told(landings: Sequence[Landing], fineness: float) -> Iterator[list[int]]:
    """Write landings as whole numbers, none of them negative."""
    if not landings:
        return
    sizes = shapely.bounds([one.lines[-1] for one in landings]).reshape(-1, 4)
    width = np.maximum(*(sizes[:, 2:] - sizes[:, :2]).T)
    tolerance = _tolerance(width, fineness)
    powers = _power(tolerance)
    rings: Any = shapely.convex_hull([one.lines for one in landings])
    thin = _thinned(rings.ravel(), np.repeat(tolerance, rings[0].size))
    lines = _corners(thin, np.repeat(2.0**powers, rings[0].size))
    for landing, power in zip(landings, powers.tolist(), strict=True):
        yield [
            1 + APART.index(landing.apart),
            *_folded(np.rint(landing.mean)).tolist(),
            _up(landing.radius),
            _up(landing.farthest),
            math.floor(landing.soonest),
            _up(landing.latest),
            _up(landing.speed * 10),
            _up(landing.energy),
            _up(landing.graded),
            power,
            *itertools.chain.from_iterable(next(lines) for _ in landing.lines),
        ]


def _thinned(rings: NDArray[np.object_], tolerance: FloatArray) -> NDArray[np.object_]:
    """Leave corners of convex rings out, none farther than the tolerance from what is left.

    As lines that end where they begin: of a ring the geometry library would leave out its
    ends too, beyond the tolerance. Where nothing with an area is left, less is left out.
    """
    lines: Any = shapely.boundary(rings)
    thin, step, left = lines.copy(), tolerance.copy(), np.arange(rings.size)
    while left.size:
        thin[left] = shapely.simplify(lines[left], step[left], preserve_topology=False)
        left = left[shapely.get_num_points(thin[left]) < _LEAST_CORNERS]
        step[left] /= 2
    return np.asarray(thin)


def _up(value: float) -> int:
    return math.ceil(value - 1e-9)


def _folded(values: FloatArray) -> IntArray:
    """Map whole numbers to others that are never negative."""
    return np.where(values >= 0, 2 * values, -2 * values - 1).astype(int)


def _corners(rings: NDArray[np.object_], unit: FloatArray) -> Iterator[list[int]]:
    """Write the corners of each ring: how many, and each by its way from the one before."""
    places, of = shapely.get_coordinates(rings, return_index=True)
    places = np.rint(places / unit[of, None])
    first = np.searchsorted(of, np.arange(rings.size + 1))
    ways = np.diff(places, axis=0, prepend=0.0)
    ways[first[:-1]] = places[first[:-1]]
    told = _folded(ways)
    # The last corner is the first again; the reader closes the ring itself.
    for start, end in itertools.pairwise(first.tolist()):
        yield [end - 1 - start, *told[start : end - 1].ravel().tolist()]


def _written(numbers: Sequence[int]) -> str:
    rest, more = np.array(numbers), len(SYMBOLS) - FINAL
    symbols = np.frombuffer(SYMBOLS.encode("ascii"), np.uint8)
    columns = []
    while (rest >= 0).any():
        last = rest < FINAL
        column = symbols[np.where(last, rest, FINAL + rest % more)]
        columns.append(np.where(rest < 0, 0, column))
        rest = np.where(last, -1, rest // more)
    text = np.stack(columns, axis=1)
    return text[text > 0].tobytes().decode("ascii")


_FARTHEST: Final = 1e6  # stands for a limit of nothing that is not kept


def tell_reasons(
    nodes: Sequence[DialNode], people: Iterable[str], voice: Voice
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


def _against(node: DialNode, voice: Voice) -> list[Check]:
    if node.problem:
        text = voice.say("dial.problem", problem=node.problem)
        return [
            Check(kind=Kind.MISSING, name=text, outcome="warn", source="missing input")
        ]
    return [c for c in node.checks if c.outcome != "pass" and not c.question]


def _sentence(check: Check, node: DialNode, voice: Voice) -> str:
    told = sentence(check, voice)
    return voice.say("dial.between", told=told) if node.drawn else told


def _over(check: Check) -> float:
    over = min(nearness(check), _FARTHEST)
    return float(f"{over:.3g}") if math.isfinite(over) else _FARTHEST


def questions_of(nodes: Iterable[DialNode]) -> tuple[list[list[str]], list[list[int]]]:
    """List the open questions of the rules, and which of them each wind asks.

    Result: each question, and how to answer it as told in the first wind that asks it;
    and for each wind, places among the questions.
    """
    found: dict[tuple[str, str], int] = {}
    told: list[list[str]] = []
    asked: list[list[int]] = []
    for node in nodes:
        asked.append([])
        for check in node.checks:
            if not check.question or check.outcome == "pass":
                continue
            # Notes differ by the wind; the question does not.
            key = (check.name, check.area)
            if key not in found:
                found[key] = len(found)
                told.append([check.name, check.note])
            asked[-1].append(found[key])
    return told, asked
