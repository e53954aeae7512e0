"""Normal force of fins against the two theories that its formula joins.

Short fins: R. T. Jones, NACA Report 835, 1946: the lift slope of a slender wing is π AR / 2 on
its area. Slender fins: thin-aerofoil theory, 2π. (Both from memory; any aerodynamics
textbook.) A fin far from the body's axis feels no body: the factor of interference is 1.
Mean aerodynamic chord and its quarter: integrals of the chord, done here by numbers.
"""

import numpy as np
import pytest

from driftmap.formulas.drag import fin_centre, fin_slope


def of_a_wing(slope, chord, span, diameter):
    """Four fins are two wings, of which one lies across the wind."""
    area = 2 * span * chord
    return slope * area / (np.pi * diameter**2 / 4)


def test_short_fins_are_a_slender_wing():
    chord, span, diameter = 10.0, 0.1, 1e-6
    aspect = (2 * span) ** 2 / (2 * span * chord)
    wanted = of_a_wing(np.pi * aspect / 2, chord, span, diameter)
    assert fin_slope(4, chord, chord, span, diameter) == pytest.approx(wanted, rel=1e-4)


def test_slender_fins_are_a_thin_aerofoil():
    chord, span, diameter = 0.01, 10.0, 1e-6
    wanted = of_a_wing(2 * np.pi, chord, span, diameter)
    assert fin_slope(4, chord, chord, span, diameter) == pytest.approx(wanted, rel=1e-3)


def test_the_body_doubles_the_force_of_fins_that_hardly_leave_it():
    """Slender-body theory: wing-body interference goes to 2 as the span goes to 0."""
    far = fin_slope(4, 0.1, 0.1, 1e-6, 1.0) / (1e-6 / 1.0) ** 2
    alone = fin_slope(4, 0.1, 0.1, 1e-6, 1e-12) / (1e-6 / 1e-12) ** 2
    assert far / alone == pytest.approx(2.0, rel=1e-4)


@pytest.mark.parametrize(
    ("root", "tip", "sweep"), [(0.2, 0.09, 0.11), (0.15, 0.15, 0.05), (0.1, 0.0, 0.1)]
)
def test_the_force_acts_at_the_quarter_of_the_mean_chord(root, tip, sweep):
    share = (np.arange(200_000) + 0.5) / 200_000
    chord, edge = root + share * (tip - root), share * sweep
    wanted = np.sum(chord * (edge + chord / 4)) / np.sum(chord)
    assert fin_centre(root, tip, sweep) == pytest.approx(wanted, rel=1e-6)
