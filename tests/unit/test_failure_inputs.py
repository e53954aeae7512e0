"""What the modules on canopies, opening, flutter, gusts, impact and the day refuse."""

import re

import numpy as np
import pytest

from driftmap.air.day import (
    AirDay,
    saturation_pressure,
    station_pressure,
)
from driftmap.air.turbulence import gusts, turbulence
from driftmap.formulas.canopies import (
    drag_spread,
    flag_drag,
    nominal_drag,
)
from driftmap.formulas.drag import DragTable, drag_rise, plate_inertia
from driftmap.formulas.flutter import (
    FinPlanform,
    flutter_margin,
    flutter_speed,
)
from driftmap.formulas.fragments import (
    fragment_speed,
    gas_energy,
    slide_distance,
    strike_offsets,
    throws,
)
from driftmap.formulas.opening import (
    Inflation,
    load_reduction,
    opening_load,
)
from driftmap.formulas.strength import (
    breaking_chances,
    canopy_strength,
    rope_stiffness,
    snatch_load,
)

FIN = FinPlanform(0.15, 0.075, 0.075, 0.003175)
CANOPY = Inflation(1.0, 0.6, 1.7, 8)
RNG = np.random.default_rng(0)

# A function of array arguments, and good values for each of them.
SWEPT = {
    "burst.fragment_speed": (fragment_speed, (1000.0, 0.2, 0.1)),
    "burst.gas_energy": (gas_energy, (1e6, 1e-3, 1.2)),
    "canopies.nominal_drag": (nominal_drag, (1.5, 0.7)),
    "day.saturation_pressure": (saturation_pressure, (290.0,)),
    "day.station_pressure": (station_pressure, (1e5, 500.0)),
    "flutter.flutter_speed": (
        lambda g, p, a: flutter_speed(FIN, g, p, a),
        (4e9, 9e4, 340.0),
    ),
    "machdrag.drag_rise": (drag_rise, (1.2, 1.9, 0.7)),
    "opening.load_reduction": (lambda a: load_reduction(a, 2.0), (0.5,)),
    "opening.opening_load": (
        lambda m, v, rho: opening_load(CANOPY, m, v, rho),
        (1.0, 20.0, 1.2),
    ),
    "plates.plate_inertia": (plate_inertia, (0.0085, 0.038, 1.2)),
    "strength.canopy_strength": (lambda d: canopy_strength("cotton", d), (1.0,)),
    "strength.rope_stiffness": (rope_stiffness, (5000.0, 8.0)),
    "strength.snatch_load": (snatch_load, (20.0, 0.2, 2000.0)),
    "scatter.slide_distance": (slide_distance, (5.0, 0.5)),
    "streamers.flag_drag": (flag_drag, (1.0, 0.1, 0.05, 1.2)),
    "turbulence.turbulence": (lambda z, w: turbulence(z, w).sideways, (50.0, 8.0)),
}


@pytest.mark.parametrize("name", SWEPT)
@pytest.mark.parametrize("bad", [np.nan, np.inf, -1.0])
def test_not_a_number_infinite_or_negative(name, bad):
    function, good = SWEPT[name]
    for place in range(len(good)):
        if name == "day.station_pressure" and place == 1 and bad == -1.0:
            continue  # a field below the sea is no mistake
        args = list(good)
        args[place] = [good[place], bad]
        with pytest.raises(ValueError, match=re.escape(f"(got {bad})")):
            function(*args)


@pytest.mark.parametrize("name", SWEPT)
def test_shapes(name):
    """Scalars, (n,), (n, b) and empty arrays give the same numbers in the same shape."""
    function, good = SWEPT[name]
    one = function(*good)
    assert np.shape(one) == ()
    assert np.isfinite(one)
    for shape in ((3,), (3, 2), (0,)):
        many = function(*(np.full(shape, value) for value in good))
        assert np.shape(many) == shape
        assert np.allclose(many, one, rtol=1e-14, atol=0)
    row = function(np.full((4, 1), good[0]), *(np.full(3, v) for v in good[1:]))
    assert np.shape(row) == ((4, 3) if len(good) > 1 else (4, 1))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: drag_spread("balloon"), "'kind' must be one of flat circular"),
        (lambda: nominal_drag(1.5, 1.1), "'inflated_ratio' must"),
        (lambda: Inflation(1.0, 0.6, 1.7, 0.0), "'filling' must"),
        (lambda: Inflation(np.nan, 0.6, 1.7, 8), "'diameter' must"),
        (lambda: Inflation(1.0, 0.6, 1.7, 8, 3.0), "'exponent' must be 0.5, 1 or 2"),
        (lambda: opening_load(CANOPY, 1, 20, 1.2, dive=1.5), "'dive' must"),
        (lambda: breaking_chances([1.0], {}), "'strength' must name .* none"),
        (lambda: breaking_chances([1.0], {"rope": (5.0, 0.1)}), "got rope"),
        (
            lambda: breaking_chances([1.0], {"cord": (0.0, 0.1)}),
            "'strength of cord' must",
        ),
        (
            lambda: breaking_chances([1.0], {"cord": (5.0, 0.0)}),
            "'spread of cord' must",
        ),
        (lambda: breaking_chances([np.nan], {"cord": (5.0, 0.1)}), "'load' must"),
        (
            lambda: breaking_chances([1.0], {"cord": (5.0, 0.1)}, torn_band=0.9),
            "'torn_band'",
        ),
        (lambda: canopy_strength("lace", 1.0), "'cloth' must be one of"),
        (lambda: snatch_load(-1.0, 1.0, 1.0), "'speed' must"),
        (lambda: rope_stiffness(0.0, 1.0), "'strength' must"),
        (lambda: FinPlanform(0.1, 0.05, 0.08, 0.02), "'thickness' must"),
        (lambda: FinPlanform(0.1, -0.05, 0.08, 0.002), "'tip' must"),
        (lambda: flutter_speed(FIN, 1e9, 9e4, 340, knock_down=1.2), "'knock_down'"),
        (lambda: flutter_margin([1.0], [1.0], [1.0]), "'speed' must have the shape"),
        (lambda: flutter_margin([[1.0]], [[1.0, 2.0]], [[1.0]]), "'limit' must have"),
        (lambda: flutter_margin([[1.0], [1.0]], [[1.0]], [[2.0], [1.0]]), "'time'"),
        (lambda: flutter_margin(np.empty((0, 1)), 1.0, 1.0), r"got \(0, 1\)"),
        (lambda: gusts([0.0, 10, 10], 5.0, 2, RNG), "'heights' must increase"),
        (lambda: gusts([0.0, 10], -5.0, 2, RNG), "'wind' must"),
        (lambda: drag_rise(5.1), "'mach' must"),
        (lambda: drag_rise(1.0, 0.9), "'peak' must"),
        (lambda: DragTable([0.0, 1.0], [0.4]), "must hold the same"),
        (lambda: DragTable([0.0], [0.4]), "must hold the same"),
        (lambda: DragTable([0.1, 1.0], [0.4, 0.5]), "'mach' must increase from 0"),
        (lambda: DragTable([0.0, 1.0, 1.0], [0.4, 0.5, 0.6]), "'mach' must increase"),
        (lambda: DragTable([0.0, 1.0], [0.4, 0.0]), "'coefficient' must"),
        (lambda: DragTable([0.0, 1.0], [0.4, 0.5]).at(1.01), "'mach' must"),
        (lambda: strike_offsets([np.nan], RNG), "'speed' must"),
        (lambda: plate_inertia(0.0, 1.0), "'area' must"),
        (lambda: throws([-1.0], RNG), "'speed' must"),
        (lambda: AirDay(25.0, 9e4, 0.5, 0.0), "'temperature' must"),
        (lambda: AirDay(298.0, 1013.25, 0.5, 0.0), "'pressure' must"),
        (lambda: AirDay(298.0, 9e4, 50.0, 0.0), "'humidity' must"),
        (lambda: AirDay(298.0, 9e4, 0.5, np.nan), "'altitude' must"),
        (lambda: AirDay(298.0, 9e4, 0.5, 0.0).density(25_000.0), "'altitude' must"),
        (lambda: saturation_pressure(200.0), "'temperature' must"),
    ],
)
def test_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_tables_cannot_be_changed():
    mach = np.array([0.0, 1.0])
    table = DragTable(mach, [0.4, 0.5])
    mach[1] = 9.0
    assert table.at(1.0) == 0.5
    with pytest.raises(ValueError, match="read-only"):
        table.mach[1] = 9.0
