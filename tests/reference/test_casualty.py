"""Casualty areas, energies and expected casualties against figures worked by hand.

Sources
-------
- Form and size of the person, 1 ft by 6 ft: Montgomery and Ward, RTI/5180/60-31F, 1995
  (from memory); the figures are that geometry worked by hand, to four decimals.
- 11 ft lbf: 14 CFR part 417, appendix A, A417.25(b)(3), read in a copy; 1.3558179483 J in
  a foot pound-force.
- Collective and individual limits: 14 CFR 450.101(a), read in copies.
- Poisson limits: F. Garwood, Biometrika 28, 437-442, 1936, as tabled in textbooks (from
  memory), 95 % two-sided.
"""

import math

import numpy as np
import pytest
import shapely

from driftmap.core.estimate import weighted_mean
from driftmap.core.units import FOOT
from driftmap.ground.areas import Area
from driftmap.hazard.harm import HURTS, KILLS, basic_casualty_area, casualty_area
from driftmap.hazard.impacts import FallenPiece, gather
from driftmap.hazard.people import expected_casualties, individual_risk
from driftmap.verdict.limits import LIMITS


@pytest.mark.parametrize(
    ("radius_ft", "degrees", "square_feet", "square_metres"),
    [
        (0.25, 90, 4.9087, 0.4560),
        (0.25, 45, 19.9087, 1.8496),
        (0.25, 60, 13.5690, 1.2606),
        (0.0, 90, 3.1416, 0.2919),
    ],
)
def test_c41_c42_c44_person_as_a_cylinder(
    radius_ft, degrees, square_feet, square_metres
):
    area = float(basic_casualty_area(radius_ft * FOOT, math.radians(degrees)))
    assert area / FOOT**2 == pytest.approx(square_feet, abs=5e-5)
    assert area == pytest.approx(square_metres, abs=5e-5)


@pytest.mark.parametrize(("length", "width"), [(0.4, 0.025), (1.32, 0.057), (2.0, 0.1)])
@pytest.mark.parametrize("angle", [math.pi / 2, 0.7])
def test_a_rod_across_its_path_strikes_as_far_as_it_reaches(length, width, angle):
    """Counted: feet of people drawn about it, which a rod of any bearing comes within 1 ft of."""
    rng, swept = np.random.default_rng(3), 6 * FOOT / math.tan(angle)
    half = length / 2 + FOOT + 0.05
    x, y = rng.uniform((-half, -half), (swept + half, half), (50_000, 2)).T
    turn = rng.uniform(0, 2 * np.pi, x.size)
    nearest = np.full(x.size, np.inf)
    for along in np.linspace(0.0, swept, 40):
        far = np.abs((x - along) * np.cos(turn) + y * np.sin(turn)) - length / 2
        aside = np.abs(y * np.cos(turn) - (x - along) * np.sin(turn)) - width / 2
        off = np.hypot(np.maximum(far, 0), np.maximum(aside, 0))
        nearest = np.minimum(nearest, off)
    struck = np.mean(nearest < FOOT) * (swept + 2 * half) * 2 * half
    area = float(casualty_area(length * width, angle, rim=2 * (length + width)))
    assert area == pytest.approx(struck, rel=0.03)


def test_seven_times_the_piece_governs_for_large_pieces_only():
    # 1 m² straight down: R = 0.3048 + 0.5642 m, π R² = 2.3726 m² < 7 m².
    assert float(casualty_area(1.0, math.pi / 2)) == 7.0
    # 0.01 m²: 0.07 m² would be less than a person.
    assert float(casualty_area(0.01, math.pi / 2)) == pytest.approx(0.4099, abs=5e-5)


def test_c48_energy_threshold():
    threshold = HURTS.value
    assert threshold == pytest.approx(14.913997, abs=5e-7)
    assert KILLS.value == pytest.approx(78.63744, abs=5e-6)
    assert 0.5 * 0.5 * 7.72**2 < threshold < 0.5 * 0.5 * 7.73**2


def strike(hits, flights, energy, casualty, **more):
    """One piece that lands in the middle of the area in the first `hits` flights."""
    east = np.full(flights, 1e5)
    east[:hits] = 0.0
    full = np.full(flights, 1.0)
    piece = {"likelihood": 1.0, "north": 0 * full} | more
    return gather(
        [
            FallenPiece(
                east=east, energy=energy * full, casualty_area=casualty * full, **piece
            )
        ],
        flights,
    )


def test_c46_expected_casualties_by_hand():
    # P = 1e-3, N = 250, A = 5000 m², A_c = 2.87 m²: 1e-3 * 250 * 2.87 / 5000 = 1.435e-4.
    crowd = Area("crowd", "spectators", shapely.box(-50, -25, 50, 25), 250)
    impacts = strike(10, 10_000, energy=100.0, casualty=2.87)
    found = expected_casualties(impacts, [crowd])
    assert found.total.estimate == pytest.approx(1.435e-4, rel=1e-12)
    assert found.areas["crowd"] == found.total
    # Over the limit unrounded; rounded to one digit it would not be.
    assert found.total.estimate > LIMITS["expected_casualties"].value
    assert float(f"{found.total.estimate:.0e}") == LIMITS["expected_casualties"].value


def test_c46_individual_risk_by_hand():
    # Uniform over 5000 m²: 1e-3 * 2.87 / 5000 = 5.74e-7, below 1e-6.
    side = math.sqrt(5000.0)
    spot = Area(
        "crowd", "spectators", shapely.box(-side / 2, -side / 2, side / 2, side / 2)
    )
    risk = individual_risk(strike(100, 100_000, 100.0, 2.87, side=side), spot).risk
    assert risk.estimate == pytest.approx(5.74e-7, rel=1e-12)
    assert risk.estimate < LIMITS["individual_risk"].value


def test_expected_casualties_of_a_worked_example():
    """Two cases, two pieces, two areas; every term worked by hand.

    Case A, 90 %: of 1000 flights 20 land a 2 m² piece among 50 people on 1000 m² in the
    open, at 20 J. Case B, 10 %: the body (4 m², 200 J) hits that area in 100 flights; a
    fin (1 m², 30 J) hits a car park, 10 people in cars on 500 m², in 40 flights, which is
    below 58 ft lbf = 78.6 J and harms nobody.
    E_c = 0.9 * 0.02 * 2 * 50/1000 + 0.1 * 0.1 * 4 * 50/1000 = 0.0018 + 0.002 = 0.0038.
    """
    flights = 1000
    crowd = Area("crowd", "spectators", shapely.box(0, 0, 50, 20), 50)
    cars = Area("cars", "parking", shapely.box(100, 0, 120, 25), 10, "car")
    away, one = np.full(flights, 1e5), np.ones(flights)

    def put(where, first, last):
        east = away.copy()
        east[first:last] = where
        return east

    pieces = [
        FallenPiece(0.9, put(25.0, 0, 20), 10 * one, 20 * one, 2 * one),
        FallenPiece(0.1, put(25.0, 500, 600), 10 * one, 200 * one, 4 * one),
        FallenPiece(0.1, put(110.0, 500, 540), 10 * one, 30 * one, 1 * one),
    ]
    found = expected_casualties(gather(pieces, flights), [crowd, cars])
    assert found.areas["crowd"].estimate == pytest.approx(0.0038, rel=1e-12)
    assert found.areas["crowd"].hits == 120
    assert found.areas["cars"].estimate == 0.0
    assert found.areas["cars"].upper > 0
    assert found.total.estimate == pytest.approx(0.0038, rel=1e-12)
    assert found.total.lower < 0.0038 < found.total.upper


@pytest.mark.parametrize(
    ("count", "lower", "upper"),
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (10, 4.795, 18.390), (50, 37.11, 65.92)],
)
def test_equal_weights_give_the_exact_poisson_interval(count, lower, upper):
    found = weighted_mean(np.ones(count), 1_000_000, 1.0)
    assert found.lower * 1e6 == pytest.approx(lower, rel=2e-3)
    assert found.upper * 1e6 == pytest.approx(upper, rel=2e-4)
