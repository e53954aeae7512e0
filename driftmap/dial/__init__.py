"""The wind dial: every surface wind worked out beforehand, read at the pad in one page."""

from __future__ import annotations

from driftmap.dial.between import Between, check_between, surrounding, word_at
from driftmap.dial.compute import Dial, compute_dial
from driftmap.dial.node import APART, WORDS, Landing, Node, Word
from driftmap.dial.reach import Reach
from driftmap.dial.winds import METER_HEIGHT, metered_wind

__all__ = [
    "APART",
    "METER_HEIGHT",
    "WORDS",
    "Between",
    "Dial",
    "Landing",
    "Node",
    "Reach",
    "Word",
    "check_between",
    "compute_dial",
    "metered_wind",
    "surrounding",
    "word_at",
]
