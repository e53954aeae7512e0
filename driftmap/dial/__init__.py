"""The wind dial: every surface wind worked out beforehand, read at the pad in one page."""

from __future__ import annotations

from driftmap.dial.between import Halfway, check_halfway, surrounding, verdict_at
from driftmap.dial.compute import Dial, Landing, Node, Reach, compute_dial
from driftmap.dial.page import dial_html
from driftmap.dial.winds import METER_HEIGHT, metered_wind

__all__ = [
    "METER_HEIGHT",
    "Dial",
    "Halfway",
    "Landing",
    "Node",
    "Reach",
    "check_halfway",
    "compute_dial",
    "dial_html",
    "metered_wind",
    "surrounding",
    "verdict_at",
]
