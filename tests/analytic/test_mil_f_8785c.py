"""Low-altitude turbulence against MIL-F-8785C.

Source: MIL-F-8785C, 1980, sec. 3.7.3.4, read in secondary copies; the rule above 1000 ft
from memory. Worked values computed, to four decimals.
"""

import pytest

from driftmap.air.turbulence import REFERENCE_HEIGHT, turbulence


@pytest.mark.parametrize(
    ("height", "wind", "length", "sideways"),
    [
        (10, 5, 67.3660, 0.94431),
        (30.48, 5, 153.9756, 0.85792),
        (100, 8, 262.7941, 1.10398),
        (304.8, 10, 304.8000, 1.00000),
    ],
)
def test_low_altitude(height, wind, length, sideways):
    air = turbulence(height, wind)
    assert air.length == pytest.approx(length, abs=5e-5)
    assert air.sideways == pytest.approx(sideways, abs=5e-6)


@pytest.mark.parametrize(
    ("feet", "length"), [(1000, 1000), (1500, 1375), (2000, 1750), (9000, 1750)]
)
def test_lengths_above_1000_ft(feet, length):
    air = turbulence(feet * 0.3048, 10.0)
    assert air.length / 0.3048 == pytest.approx(length, abs=1e-9)
    assert turbulence(2000 * 0.3048, 10.0).length == pytest.approx(533.4, abs=0.05)
    assert air.sideways == pytest.approx(1.0)  # assumed: that of 1000 ft


def test_reference_height():
    assert pytest.approx(6.1, abs=0.05) == REFERENCE_HEIGHT  # 20 ft
