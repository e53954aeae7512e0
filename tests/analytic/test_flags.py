"""Drag of flags against the published forms.

Sources, all from memory unless said: EN 1991-1-4:2005 sec. 7.12 table 7.15; Munson, Young & Okiishi, *Fundamentals of Fluid Mechanics*, fig. 9.30
(length twice the width read in a quote). Worked values of the EN form computed.
"""

import numpy as np
import pytest

from driftmap.air.column import AirColumn
from driftmap.formulas.canopies import (
    STREAMER_RANGE,
    flag_drag,
    streamer_spread,
)
from driftmap.trajectory.descent import fall
from driftmap.trajectory.motion import Motion


@pytest.mark.parametrize(
    ("cloth", "density", "width", "length", "drag"),
    [
        (0.05, 1.25, 0.1, 1.0, 0.035746),
        (0.045, 1.25, 0.15, 1.5, 0.029447),
        (0.045, 1.25, 0.1, 0.5, 0.053705),
    ],
)
def test_en_1991(cloth, density, width, length, drag):
    assert flag_drag(length, width, cloth, density) == pytest.approx(drag, abs=1e-6)


def test_the_two_publications_disagree():
    """One rises with length, the other falls: the reason for a wide assumed range."""
    table = {1: 0.07, 2: 0.12, 3: 0.15}  # length over width: drag on length times width
    ratio = np.array(list(table))
    assert np.all(np.diff(list(table.values())) > 0)
    assert np.all(np.diff(flag_drag(ratio * 0.1, 0.1, 0.05, 1.25)) < 0)


def test_streamer_with_its_body():
    """1 kg under 0.15 m by 1.5 m at 0.12, and 0.045 m² of tumbling body: by hand 14.912 m/s."""
    heights, level = np.array([0.0, 1000.0]), np.ones(2)
    calm = np.zeros((2, 1))
    still = AirColumn(heights, 1.225 * level, 340.0 * level, calm, calm)
    start = Motion(*np.array([[0, 0, 900.0, 0, 0, 0, 0]]).T)
    landed = fall(start, 1.0, 0.12 * 0.15 * 1.5 + 0.045, still)
    assert landed.speed == pytest.approx(14.912177, rel=1e-5)


def test_range_takes_in_the_assumed_middle_and_the_flag():
    spread = streamer_spread(1.0, 0.1, 0.05, 1.25)
    assert spread.first == pytest.approx(0.035746, abs=1e-6)
    assert spread.second == STREAMER_RANGE[1]
    assert spread.first < 0.12 < spread.second
    assert "outside" not in spread.assumed
    assert "outside" in streamer_spread(2.0, 0.1, 0.05).assumed
    # a short heavy flag lies above the range for slender ones
    assert streamer_spread(0.1, 0.1, 0.05, 1.25).second == pytest.approx(0.30)
