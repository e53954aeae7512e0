"""Intervals of a share against published worked examples.

NIST/SEMATECH e-Handbook of Statistical Methods 7.2.4.2 (4 of 20, 90 %; the printed answer
from memory); Newcombe, *Statistics in Medicine* 17, 857-872, 1998, table I, exact method
(from memory); further rows computed from the beta form.
"""

import pytest

from driftmap.core import estimate
from driftmap.core.estimate import binomial


@pytest.mark.parametrize(
    ("hits", "flights", "lower", "upper", "digit"),
    [
        (81, 263, 0.2527, 0.3676, 5e-5),
        (0, 20, 0.0, 0.1684, 5e-5),
        (0, 1000, 0.0, 0.00368208, 5e-9),
        (3, 1000, 0.00061910, 0.00874202, 5e-9),
        (5, 1000, 0.001625, 0.011629, 5e-7),
        (5000, 5000, 0.9992625, 1.0, 5e-8),
        (1, 10000, 2.5318e-6, 5.5704e-4, 5e-9),
    ],
)
def test_published_and_computed_rows(hits, flights, lower, upper, digit):
    p = binomial(hits, flights)
    assert p.lower == pytest.approx(lower, abs=digit)
    assert p.upper == pytest.approx(upper, abs=digit)
    assert p.estimate == hits / flights


def test_nist_example_at_90_percent(monkeypatch):
    monkeypatch.setattr(estimate, "CONFIDENCE", 0.90)
    p = binomial(4, 20)
    assert (p.lower, p.upper) == pytest.approx((0.071354, 0.401028), abs=1e-6)


def test_nothing_seen_is_not_nothing():
    """The rule of three, 3/n, lies inside; the two-sided bound is 3.69/n."""
    assert binomial(0, 100_000).upper == pytest.approx(3.69e-5, rel=2e-3)


@pytest.mark.parametrize(("hits", "flights"), [(1, 0), (-1, 10), (11, 10)])
def test_impossible_counts(hits, flights):
    with pytest.raises(ValueError, match="hits"):
        binomial(hits, flights)
