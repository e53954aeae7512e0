"""What speaks against flying in each wind of a dial, in sentences told once."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

from driftmap.dial.node import Node
from driftmap.planning.trial import nearness
from driftmap.report.sentences import sentence
from driftmap.report.voice import Voice
from driftmap.verdict.check import Check, Kind

__all__ = ["questions_of", "tell_reasons"]

_NUMBER: Final = re.compile(r"\d[\d.,]*")
_FARTHEST: Final = 1e6  # stands for a limit of nothing that is not kept


def tell_reasons(
    nodes: Sequence[Node], people: Iterable[str], voice: Voice
) -> dict[str, Any]:
    """Tell for every wind the checks that do not pass, but for open questions.

    Parameters
    ----------
    nodes : sequence of Node
        The winds.
    people : iterable of str
        Names of the areas where people are.
    voice : Voice
        Writes the sentences.

    Returns
    -------
    dict
        ``texts``: sentences as the pieces between their numbers; ``people``: for each
        kind of check, 1 if it is about people; ``lines``: for each wind a list of
        ``[kind, 2 if it fails else 1, figure over limit, sentence, number, …]``.
    """
    crowd = set(people)
    kinds: dict[tuple[str, ...], int] = {}
    texts: dict[tuple[str, ...], int] = {}
    lines: list[list[list[Any]]] = []
    for node in nodes:
        lines.append([])
        for check in _against(node, voice):
            text = _sentence(check, node, voice)
            pieces = tuple(_NUMBER.split(text))
            key = (check.kind, check.name, check.case, check.area)
            lines[-1].append(
                [
                    kinds.setdefault(key, len(kinds)),
                    2 if check.outcome == "fail" else 1,
                    _over(check),
                    texts.setdefault(pieces, len(texts)),
                    *_NUMBER.findall(text),
                ]
            )
    return {
        "texts": _folded(list(texts), lines),
        "people": [int(area in crowd) for *_, area in kinds],
        "lines": lines,
    }


def _folded(
    texts: Sequence[tuple[str, ...]], lines: Sequence[Sequence[list[Any]]]
) -> list[list[str]]:
    """Write numbers that are the same in every wind into the sentences themselves."""
    every = [line for wind in lines for line in wind]
    folded = []
    for text, pieces in enumerate(texts):
        mine = [line for line in every if line[3] == text]
        whole, left = [pieces[0]], []
        for column, piece in enumerate(pieces[1:], start=4):
            if len({line[column] for line in mine}) == 1:
                whole[-1] += mine[0][column] + piece
            else:
                whole.append(piece)
                left.append(column)
        for line in mine:
            line[4:] = [line[column] for column in left]
        folded.append(whole)
    return folded


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

    Parameters
    ----------
    nodes : iterable of Node
        The winds.

    Returns
    -------
    questions : list of [str, str]
        Each question, and how to answer it as told in the first wind that asks it.
    asked : list of list of int
        For each wind, places among the questions.
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
