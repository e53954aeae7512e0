"""What comes off falls as its shape makes it, by hand."""

from math import pi
from pathlib import Path

import numpy as np
import pytest

from driftmap import fly, read_flight
from driftmap.air.wind import WindProfile
from driftmap.formulas.drag import (
    FLUTTER_GLIDE,
    TUMBLE_GLIDE,
    plate_glide,
    plate_inertia,
)

WILLET = Path(__file__).parents[2] / "examples" / "willet.toml"
CALM = WindProfile(np.array([0.0, 3000.0]), [0.0, 0.0], [0.0, 0.0], [0.0, 0.0])


def test_inertia_is_that_of_a_disk():
    """I = m d² / 16 about a diameter, over the air's density times d to the fifth."""
    mass, across, rho = 0.05, 0.12, 1.1
    by_hand = mass * across**2 / 16 / (rho * across**5)
    area = pi * across**2 / 4
    assert plate_inertia(area, mass, rho) == pytest.approx(by_hand)


def test_a_heavy_plate_tumbles_and_a_sheet_of_foam_flutters():
    assert plate_glide(0.0085, 0.038) is TUMBLE_GLIDE  # a fin of the Willet
    assert plate_glide(0.04, 0.002) is FLUTTER_GLIDE  # 20 cm of 2 mm foam


def test_fins_glide_and_land_at_the_balance_of_their_drag():
    """v² = 2 m g / (rho CdA) downward; sideways that times the glide, any way."""
    flight = read_flight(WILLET)
    cloud = fly(flight, CALM, 0.0, samples=1500, seed=6)
    part = next(p for p in cloud.of("fins come off") if p.body == "fin")
    first = slice(part.rows.start, part.rows.start + part.flights)
    area, ratio = cloud.draws["fin 1 drag"], cloud.draws["fin 1 glide"]
    fin = flight.pieces[0]
    assert area.min() > 0.49 * 1.17 * fin.fin_area
    assert area.max() < 1.01 * 1.17 * fin.fin_area
    sink = np.sqrt(2 * 9.80665 * fin.mass / (1.225 * area))
    sink *= np.sqrt(cloud.draws["lift-off mass"] / 1.85)
    assert cloud.speed[first] == pytest.approx(sink * np.hypot(1, ratio), rel=0.02)
    tilt = np.arctan2(1, ratio)
    assert cloud.angle[first] == pytest.approx(tilt, abs=0.02)
    reach = np.hypot(cloud.east[first], cloud.north[first])
    assert np.corrcoef(reach, ratio)[0, 1] > 0.5


def test_a_nose_cone_may_fall_tip_first():
    """From tumbling, 0.74 on its mean shadow, to tip first, 0.2 on its base."""
    flight = read_flight(WILLET)
    cone = next(p for p in flight.pieces if p.kind == "nose cone")
    cloud = fly(flight, CALM, 0.0, samples=1500, seed=6)
    part = next(p for p in cloud.of("nose cone lost") if p.body == "nose cone")
    fast, slow = (
        np.sqrt(2 * 9.80665 * cone.mass / (1.225 * area))
        for area in (
            0.2 * pi * cone.diameter**2 / 4,
            0.74 * cone.mean_projected_area,
        )
    )
    speed = cloud.speed[part.rows]
    assert fast > 2 * slow
    assert speed.min() == pytest.approx(slow, rel=0.05)
    assert speed.max() == pytest.approx(fast, rel=0.08)  # not yet at its balance


def test_a_canopy_that_glides_lands_as_fast_as_it_glides_and_sinks():
    """v² of a glide of 6 m/s is 36 more; energy and angle follow."""
    flight = read_flight(WILLET)
    fast, slow = (
        fly(
            flight.model_copy(update={"recovery": (main,)}),
            CALM,
            0.0,
            samples=300,
            seed=6,
        )
        for glide in (6.0, 0.0)
        for main in [flight.recovery[0].model_copy(update={"glide": glide})]
    )
    (part,), (same,) = fast.of("recovery works"), slow.of("recovery works")
    glide = fast.draws["main glide"]
    assert glide.max() <= 6.0 < 1.1 * glide.max()
    sinks = slow.speed[same.rows]
    assert fast.speed[part.rows] == pytest.approx(np.hypot(sinks, glide), rel=0.05)
    assert np.all(fast.angle[part.rows] < slow.angle[same.rows])
