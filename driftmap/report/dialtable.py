"""The words of a dial by speed and bearing, for paper and for a page that nobody can tap."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from driftmap.core.units import DIMENSIONS, unit_of
from driftmap.planning.dial import Dial
from driftmap.planning.dial_node import WORDS, DialWord
from driftmap.planning.dial_reach import Reach
from driftmap.planning.dial_reading import word_at
from driftmap.report.voice import Voice
from driftmap.report.words import rounded

_MOST_COLUMNS: Final = 12
_MOST_ROWS: Final = 12


def dial_table(dial: Dial, voice: Voice) -> list[list[str]]:
    """Write the words by speed and bearing, for a page that nobody can tap."""
    reach, unit = dial.reach, unit_of("speed", voice.units)
    every, deep = table_steps(reach)
    turns = [j * reach.turn for j in range(0, reach.directions, every)]
    head = ["", *(f"{round(turn):03d}°" for turn in turns)]
    rows = []
    for i in range(0, reach.speeds, deep):
        some = range(i, min(i + deep, reach.speeds))
        # To a tenth: a row rounded up would tell its word of winds beyond it.
        most = rounded(some.stop * reach.step / DIMENSIONS["speed"][unit], 3)
        name = voice.say("set.up_to", speed=voice.number(f"{most:g} {unit}"))
        words = [_worst_about(dial, some, turn, every) for turn in turns]
        rows.append([name, *words])
    return [head, *rows]


def table_steps(reach: Reach) -> tuple[int, int]:
    """Return how many directions a column of the table stands for, and speeds a row."""
    columns, rows = reach.directions / _MOST_COLUMNS, reach.speeds / _MOST_ROWS
    return math.ceil(columns), math.ceil(rows)


def _worst_about(dial: Dial, rows: range, turn: float, every: int) -> DialWord:
    """Return the worst word of the cells that a field of the table stands for."""
    reach = dial.reach
    sides = (np.arange(-every, every) + 0.5) / 2 * reach.turn
    found = (
        word_at(dial, (i + 0.5) * reach.step, float((turn + side) % 360))
        for i in rows
        for side in sides
    )
    return max(found, key=WORDS.index)
