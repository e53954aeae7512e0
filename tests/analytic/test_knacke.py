"""Canopies and their opening against values of the trade's handbook.

Source: T. W. Knacke, *Parachute Recovery Systems Design Manual*, NWC TP 6575, 1991,
tables 5-1 to 5-6 and sec. 5.4.3, from memory; no worked example in print was at hand.
Worked values below were computed from those formulas, reductions and loads from the
closed form of the equation of motion, to the digits shown.
"""

from math import log, pi

import numpy as np
import pytest

from driftmap.formulas.canopies import (
    CANOPIES,
    drag_spread,
    nominal_drag,
)
from driftmap.formulas.opening import (
    Inflation,
    load_reduction,
    opening_load,
)
from driftmap.rocket.fields import Uncertain

TABLE = {  # drag on cloth, inflated/nominal diameter, load factor, filling, exponent; assumed
    "flat circular": ((0.75, 0.8), (0.67, 0.7), (1.7, 1.8), (8, 8), 2, ""),
    "conical": ((0.75, 0.9), (0.7, 0.7), (1.8, 1.8), (6, 10), 2, "filling"),
    "biconical": ((0.75, 0.92), (0.7, 0.7), (1.8, 1.8), (6, 10), 2, "filling"),
    "polyconical": ((0.8, 0.96), (0.7, 0.7), (1.8, 1.8), (6, 10), 2, "filling"),
    "extended skirt": ((0.78, 0.87), (0.66, 0.7), (1.4, 1.4), (10, 10), 2, ""),
    "full extended skirt": ((0.75, 0.9), (0.66, 0.7), (1.4, 1.4), (12, 12), 2, ""),
    "hemispherical": ((0.62, 0.77), (0.66, 0.66), (1.6, 1.6), (6, 12), 2, "filling"),
    "annular": ((0.85, 0.95), (0.94, 0.94), (1.4, 1.4), (6, 14), 2, "filling"),
    "cruciform": ((0.6, 0.85), (0.66, 0.72), (1.1, 1.2), (11.7, 11.7), 1, "exponent"),
    "ribbed guide surface": ((0.28, 0.42), (0.62, 0.62), (1.1, 1.1), (4, 8), 2, "filling"),
    "ribless guide surface": ((0.3, 0.34), (0.63, 0.63), (1.4, 1.4), (4, 6), 2, ""),
    "flat ribbon": ((0.45, 0.5), (0.67, 0.67), (1.05, 1.05), (14, 14), 1, ""),
    "conical ribbon": ((0.5, 0.55), (0.7, 0.7), (1.05, 1.05), (14, 14), 1, ""),
    "ringslot": ((0.56, 0.65), (0.67, 0.7), (1.05, 1.05), (14, 14), 1, ""),
    "ringsail": ((0.75, 0.9), (0.69, 0.69), (1.1, 1.1), (7, 7), 1, "exponent"),
    "disk-gap-band": ((0.52, 0.58), (0.65, 0.65), (1.3, 1.3), (6, 14), 2, "filling exponent"),
    "flat hexagon": ((0.6, 0.8), (0.65, 0.72), (1.7, 1.8), (6, 10), 2,
        "drag inflated load_factor filling exponent"),
    "flat square": ((0.55, 0.8), (0.6, 0.72), (1.7, 1.8), (6, 10), 2,
        "drag inflated load_factor filling exponent"),
}  # fmt: skip
REDUCTION = [  # A, X1 for exponents 1/2, 1, 2
    (0.01, 0.10016, 0.04593, 0.02703),
    (0.1, 0.21578, 0.14524, 0.12547),
    (0.5, 0.36898, 0.32476, 0.36688),
    (1, 0.46488, 0.45928, 0.56250),
    (5, 0.77855, 0.82645, 0.87891),
    (10, 0.87891, 0.90703, 0.93652),
    (100, 0.98680, 0.99007, 0.99337),
]


def test_table():
    """And the two sheets made at home, of which nothing is published, have wide ranges."""
    assert CANOPIES.keys() == TABLE.keys()
    for name, (*figures, assumed) in TABLE.items():
        row = CANOPIES[name]
        found = [row.drag, row.inflated, row.load_factor, row.filling, row.exponent]
        assert (found, row.assumed) == (figures, {*assumed.split()}), name
        assert "drag" not in row.assumed or log(row.drag[1] / row.drag[0]) > 0.25


@pytest.mark.parametrize("name", CANOPIES)
def test_spread_covers_the_published_range(name):
    spread, (low, high) = drag_spread(name), CANOPIES[name].drag
    # one standard deviation of the logarithm reaches the ends, or is 10 %
    assert spread.first * np.exp(-spread.second) <= low * (1 + 1e-12)
    assert spread.first * np.exp(spread.second) >= high * (1 - 1e-12)
    assert spread.second >= 0.10


def test_drag_quoted_on_the_inflated_area(willet):
    """Of a flat circle, that inflates to 0.67 to 0.70 of its diameter, less than half counts."""
    assert nominal_drag(1.5, 0.70) == pytest.approx(0.735, abs=5e-4)
    told = {"type": "flat circular", "drag_coefficient": Uncertain(1.5, 0.1)}
    cloth = willet.recovery[0].model_copy(update={**told, "drag_on": "cloth"})
    mouth = cloth.model_copy(update={"drag_on": "inflated"})
    low, high = TABLE["flat circular"][1]
    assert cloth.given_drag() == cloth.drag_coefficient
    assert mouth.given_drag().value == pytest.approx(1.5 * low * high)
    assert mouth.given_drag().spread == pytest.approx(0.1 * low * high)


@pytest.mark.parametrize(("column", "exponent"), [(1, 0.5), (2, 1), (3, 2)])
def test_load_reduction(column, exponent):
    table = np.array(REDUCTION)
    assert load_reduction(table[:, 0], exponent) == pytest.approx(
        table[:, column], abs=5e-6
    )


@pytest.mark.parametrize(
    ("exponent", "critical"), [(0.5, 3.3333), (1, 1.5), (2, 0.66667)]
)
def test_critical_parameter(exponent, critical):
    """Beyond it the load peaks at full opening, where X1 = (1 + 1/((j+1)A))^-2."""
    for a, at_full in ((critical * 1.01, True), (critical * 0.99, False)):
        full = (1 + 1 / ((exponent + 1) * a)) ** -2
        same = load_reduction(a, exponent) == pytest.approx(full, abs=1e-12)
        assert same is at_full


LOADS = [  # mass, D0, drag, load factor, n, speed, density, j: X1, infinite mass, load
    ((10, 2.0, 0.8, 1.7, 8, 30, 1.112, 2), 0.34061, 2137.99, 728.22),
    ((10, 0.6, 0.8, 1.7, 8, 40, 1.112, 2), 0.96094, 342.08, 328.72),
    ((5, 1.2, 0.65, 1.15, 11.7, 50, 1.225, 1), 0.40845, 1294.52, 528.75),
]


@pytest.mark.parametrize(("given", "reduction", "infinite", "peak"), LOADS)
def test_worked_loads(given, reduction, infinite, peak):
    mass, diameter, drag, factor, n, speed, density, j = given
    area = drag * pi / 4 * diameter**2
    canopy = Inflation(diameter, area, factor, n, j)
    share = load_reduction(2 * mass / (density * area * canopy.distance), j)
    assert share == pytest.approx(reduction, abs=5e-6)
    load = opening_load(canopy, mass, speed, density)
    assert load / share == pytest.approx(infinite, abs=5e-3)
    assert load == pytest.approx(peak, abs=5e-3)


def test_worked_loads_in_one_call():
    rows = np.array([given for given, *_ in LOADS[:2]], float)
    mass, diameter, drag, factor, n, speed, density, _ = rows.T
    canopy = Inflation(diameter, drag * pi / 4 * diameter**2, factor, n)
    peaks = opening_load(canopy, mass, speed, density)
    assert peaks == pytest.approx([728.22, 328.72], abs=5e-3)


def test_load_in_weights():
    """728.22 N on 10 kg is 7.43 g; 528.75 N on 5 kg is 10.78 g."""
    for (given, *_, peak), weights in ((LOADS[0], 7.43), (LOADS[2], 10.78)):
        assert peak / (given[0] * 9.80665) == pytest.approx(weights, abs=5e-3)
