"""Chances of cases by flights flown toward what was seen, beside exact ones (`known_falls`)."""

import numpy as np
import pytest
from known_falls import AIR, CASES, compared, flights_of, in_order, posterior

from driftmap.observations import targeted_flights
from driftmap.observations.figures import Find
from driftmap.observations.weighing import weigh

FLIGHTS = 1024


@pytest.fixture(scope="module")
def cases():
    """Give plain flights, and fly on in the same falls."""
    with flights_of(FLIGHTS) as plain:
        yield plain


def lost(exact, told):
    """Give how much the logarithmic score is worse than that of exact chances, on average."""
    each = exact * np.log(exact / np.maximum(told, 1e-9))
    return float(each.sum(axis=-1).mean())


@pytest.mark.slow  # many flights
def test_chances_flown_toward_are_exact_within_the_errors_told(cases):
    """Within 5 % where over 5 % is said, in root mean square, and not too sure of itself."""
    lots = compared(cases, np.random.default_rng(4), 12)
    exact, few, many, errors = np.moveaxis(lots, 1, 0)
    assert lost(exact, many) < 0.02 < lost(exact, few) / 5
    spoken = many > 0.05
    off, said = (np.sqrt(np.mean(each[spoken] ** 2)) for each in (many - exact, errors))
    assert off < 0.05
    assert off == pytest.approx(said, rel=0.5)


def test_what_no_plain_flight_hits_is_flown_toward_before_it_is_doubted(cases):
    """Where none hits, all fit alike as mistakes; that is no large number of flights."""
    seen = [Find("rocket", 2200.0, 1300.0, 2.0)]
    known = weigh(cases, seen)
    assert known.doubted
    assert known.effective > 0.9 * len(CASES) * FLIGHTS
    assert known.fitting < 10
    near = targeted_flights.know(known, AIR)
    wanted = posterior(seen)
    assert wanted == pytest.approx(posterior(seen, 451))  # more steps change nothing
    assert in_order(near.chances) == pytest.approx(wanted, abs=0.1)
    assert lost(wanted, np.array(in_order(known.chances))) > 0.2
