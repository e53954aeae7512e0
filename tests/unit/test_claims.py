"""Figures that files claim: each is told beside its range, and never within it.

Each range is approached from both sides, by a flight that is otherwise as it is told.
"""

from dataclasses import is_dataclass, replace
from datetime import UTC, datetime
from math import pi, radians

import numpy as np
import pytest
from scene import LOW, ROOT, TOLD

from driftmap.core.errors import InputError
from driftmap.core.spread import Spread
from driftmap.formulas.canopies import CANOPIES, STREAMER_RANGE
from driftmap.formulas.strength import canopy_strength
from driftmap.montecarlo.cloud import fly
from driftmap.montecarlo.openings import OPENED
from driftmap.rocket.altimeter_record import Record, sinks_of
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import Answers, read_answers
from driftmap.rules.occasion import Occasion
from driftmap.verdict.claim_checks import implausible, label_claims
from driftmap.winds.profile import read_wind

APOGEE = 900.0
AREA = pi / 4 * 0.057**2  # of the body
INERTIA = 1.85 * 1.32**2
IMPULSE, BURN = 344.23, 1.9  # of the curve
WEIGHT = 1.85 * 9.80665
DRY = 1.85 - 0.19
FIN = 0.0085  # m², half of root and tip by the span
PLATE = FIN * 0.0032  # m³, as thick all over
CLOTH = pi / 4 * 1.22**2


@pytest.fixture(scope="module")
def clouds(tmp_path_factory):
    """Flights of which all is told, of two stages, of an air start, and known by how they fly."""
    folder = tmp_path_factory.mktemp("flights")
    calm, found = read_wind("calm", site_altitude=0.0), {}
    staged = (ROOT / "examples" / "godwit.toml").read_text("utf-8")
    lit = f"""{TOLD}
[air_start]
ignition = "0.5 s"
[air_start.motor]
total_impulse = "60 N s"
burn_time = "1.5 s"
propellant_mass = "30 g"
"""
    flights = {"told": TOLD, "low": LOW.flight, "staged": staged, "lit": lit}
    for name, text in flights.items():
        path = folder / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        cloud = fly(read_flight(path), calm, 0.0, samples=10, seed=1)
        high = replace(cloud.apogee, height=np.full(10, APOGEE))
        found[name] = replace(cloud, apogee=high)
    low = replace(found["told"].apogee, height=np.full(10, 100.0))
    return {**found, "hop": replace(found["told"], apogee=low)}


def put(record, path, value):
    """Change a figure deep in a record."""
    key, _, rest = path.partition(".")
    if isinstance(record, tuple):
        at = int(key)
        new = put(record[at], rest, value) if rest else value
        return (*record[:at], new, *record[at + 1 :])
    if isinstance(record, dict):
        return {**record, key: value}
    new = put(getattr(record, key), rest, value) if rest else value
    if is_dataclass(record):
        return replace(record, **{key: new})
    return record.model_copy(update={key: new})


def spoken(cloud, *changes):
    """What is told of a flight with some figures changed."""
    flight = cloud.plan.flight
    for path, value in changes:
        flight = put(flight, path, value)
    return [
        c.name
        for c in implausible(replace(cloud, plan=replace(cloud.plan, flight=flight)))
    ]


OPENS = "recovery.0.opens_at"
AT_HEIGHT = (f"{OPENS}.at", "height")
CANOPY = CANOPIES["flat circular"].drag


def hardly_brakes(length, diameter, drag, times=2):
    """Diameter of a canopy under which a body falls so many times as fast as it tumbles [m]."""
    tumbling = 1.1 * length * diameter * (4 / (3 * pi) + 1) / 2  # over end, or flat
    return (tumbling / times**2 / drag / (pi / 4)) ** 0.5


SOLID = {"nose cone": 0.26 * 0.057**2 * 0.22, "motor case": 0.79 * 0.038**2 * 0.2}

# What is told, the figure changed, its ends, and what else is changed.
TOLD_ENDS = [
    ("drag coefficient nose first", "airframe.drag_coefficient.value", 0.2, 1.2),
    ("slope of the normal force", "airframe.lift_slope.value", 4, 40, ("airframe.lift_slope", Uncertain(9.0))),
    ("drag at Mach 0.9 over", "airframe.drag_by_mach.1.1", 0.6 * 0.5, 4 * 0.5, ("airframe.drag_by_mach", ((0.0, 0.5), (0.9, 0.5)))),
    *((f"drag at Mach {mach:g} over", "airframe.drag_by_mach.1.1", low * 0.5, high * 0.5, ("airframe.drag_by_mach", ((0.0, 0.5), (mach, 0.5))))
        for mach, low, high in ((0.05, 0.8, 1.3), (0.74, 0.8, 1.3), (0.76, 0.6, 4))),
    ("drag at Mach 0.3 over", "airframe.drag_by_mach.1.1", 0.6 * 0.5, 1.6 * 0.5, ("airframe.drag_by_mach", ((0.0, 0.5), (0.6, 0.5)))),  # half the way
    ("drag coefficient at Mach 1", "airframe.drag_by_mach.1.1", 0.5 * 0.15 / 0.48, 0.5 * 1.6 / 0.48, ("airframe.drag_by_mach", ((0.0, 0.5), (1.0, 0.5)))),
    ("propellant of a motor over the volume of its case", "motor.propellant_mass", 300 * SOLID["motor case"], 1900 * SOLID["motor case"]),
    ("propellant of a motor over the volume of its case", "motor.propellant_mass", 2 * 300 * SOLID["motor case"], 2 * 1900 * SOLID["motor case"], ("motor.count", 2)),
    ("moment of inertia", "airframe.moment_of_inertia.value", 0.02 * INERTIA, 0.2 * INERTIA),
    ("lift-off mass over", "airframe.length", 1.85 / AREA / 1800, 1.85 / AREA / 70),
    ("length over diameter", "airframe.length", 4 * 0.057, 40 * 0.057),
    ("travel on the rail", "rail.length", 0.3, 3.5 * 1.32),
    ("travel on the rail", "rail.length", 0.3, 2.0, ("airframe.length", 0.5)),
    ("travel on the rail", "rail.length", 0.3, 8.0, ("airframe.length", 3.0)),
    ("total impulse over propellant", "motor.propellant_mass", IMPULSE / 2700, IMPULSE / 1000),
    ("total impulse over propellant", "motor.propellant_mass", IMPULSE / 2700, IMPULSE / 700, ("motor.count", 5)),
    ("greatest thrust", "motor.thrusts.0", IMPULSE / BURN, 6 * IMPULSE / BURN, ("motor.times", ()), ("motor.thrusts", (200.0,))),
    ("average thrust over the weight", "motor.total_impulse.value", WEIGHT * BURN, 50 * WEIGHT * BURN, ("motor.times", ()), ("motor.thrusts", ())),
    ("burn time, ", "motor.burn_time.value", 0.25 * (IMPULSE / 320) ** (1 / 3), 60.0, ("motor.times", ()), ("motor.thrusts", ())),
    ("height at which main opens", f"{OPENS}.value", 75, 600, AT_HEIGHT),
    *(("mass of main over its cloth", "recovery.0.mass", least * CLOTH, 1.0 * CLOTH, ("recovery.0.cloth", cloth)) for cloth, least in (
        (None, 0.02), ("ripstop nylon", 0.9 * 0.037), ("heavy nylon", 0.9 * 0.07), ("cotton", 0.09), ("plastic film", 0.9 * 0.037),
    )),
    ("mass of all devices, as told", "recovery.0.mass", None, 0.25 * DRY),
    ("mass of all devices, as told", "recovery.0.diameter", None, (0.25 * DRY / 0.1 / (pi / 4)) ** 0.5, ("recovery.0.mass", None)),
    ("speed under all devices", "recovery.0.diameter", None, (2 * DRY * 9.80665 / (1.225 * 2.5**2 * 0.75 * pi / 4)) ** 0.5),
    ("share of the rocket without propellant that flies", "burst.fragment_mass", None, 0.35 * DRY / 6),
    ("drag coefficient of main on", "recovery.0.drag_coefficient.value", 0.7 * CANOPY[0], 1.3 * CANOPY[1]),
    ("greatest glide of main", "recovery.0.glide", 1.0, None),
    ("speed under main alone over that of the tumbling", "recovery.0.diameter", hardly_brakes(1.32, 0.057, 0.75), None),
    ("number of fins", "pieces.0.count", 3, 50),
    ("mass of fin over all", "pieces.0.mass", 0.003 * DRY, 0.2 * DRY),
    ("mass of nose cone over all", "pieces.1.mass", 0.01 * DRY, 0.5 * DRY),
    ("mass of motor case over all", "pieces.2.mass", 0.01 * DRY, 0.7 * DRY),
    ("tip of fin over its root", "pieces.0.tip", None, 1.2 * 0.12),
    ("mass of fin over its area", "pieces.0.mass", 0.2 * FIN, 100 * FIN),
    ("density of fin", "pieces.0.mass", 0.7 * 1700 * PLATE, 2 * 2000 * PLATE),
    ("density of fin", "pieces.0.thickness", 0.05 / FIN / 2 / 2000, 0.05 / FIN / 0.7 / 1700),
    *(("density of fin", "pieces.0.mass", 0.7 * low * PLATE, 2 * high * PLATE, *more) for low, high, *more in (
        (2700, 2800, ("pieces.0.material", "aluminium")),
        (90, 250, ("pieces.0.material", "balsa")),
        (70, 4500, ("pieces.0.material", None)),
        (0.15 * 900, 1400, ("pieces.0.material", None), ("pieces.0.printed", True)),
        (0.2 * 900, 1400, ("pieces.0.material", "solid plastic"), ("pieces.0.printed", True), ("pieces.0.infill", 0.2)),
    )),
    *((f"mass of {name} over its volume", f"pieces.{i}.mass", 15 * SOLID[name], 9000 * SOLID[name]) for i, name in ((1, "nose cone"), (2, "motor case"))),
    ("strength of fin", "pieces.0.strength", 0.5e6, 2 * 450e6),
    ("strength of fin", "pieces.0.layer_strength", 0.5e6, 2 * 35e6),
    ("strength of nose cone", "pieces.1.layer_strength", 0.5e6, 2 * 35e6, ("pieces.1.thickness", 0.002)),
    ("shear modulus of fin", "pieces.0.shear_modulus", 0.1e9, 2 * 6e9),
    # Of no material told, no stiffer and no stronger than what is as dense.
    *((f"{what} of fin", f"pieces.0.{key}", None, 2 * most, ("pieces.0.material", None), ("pieces.0.mass", dense * PLATE), *more) for what, key, dense, most, *more in (
        ("shear modulus", "shear_modulus", 193, 0.2e9),
        ("shear modulus", "shear_modulus", 300, 0.9e9),
        ("shear modulus", "shear_modulus", 640, 1.4e9),
        ("shear modulus", "shear_modulus", 1500, 6e9),
        ("shear modulus", "shear_modulus", 2700, 28e9),
        ("shear modulus", "shear_modulus", 160, 1.4e9, ("pieces.0.infill", 0.2)),
        ("shear modulus", "shear_modulus", 1500, 1.4e9, ("pieces.0.printed", True)),
        ("strength", "strength", 193, 25e6),
        ("strength", "strength", 640, 80e6),
        ("strength", "strength", 1300, 600e6),
    )),
    # No piece is larger than the rocket it sits on or in, whichever of the two slipped.
    ("diameter of nose cone over the body", "pieces.1.diameter", 0.7 * 0.057, 1.3 * 0.057),
    ("diameter of nose cone over the body", "airframe.diameter", 0.057 / 1.3, 0.057 / 0.7),
    ("length of nose cone over the body", "pieces.1.length", 0.02 * 1.32, 0.5 * 1.32),
    ("length of nose cone over the body", "airframe.length", 0.22 / 0.5, 0.22 / 0.02),
    ("diameter of motor case over the body", "pieces.2.diameter", 0.1 * 0.057, 1.05 * 0.057),
    ("length of motor case over the body", "pieces.2.length", 0.02 * 1.32, 0.8 * 1.32),
    ("area of fin over the body", "pieces.0.area", 0.005 * 0.057 * 1.32, 0.6 * 0.057 * 1.32),
    ("pressure at which the motor bursts", "burst.pressure", 2e6, 60e6),
    ("mass of a fragment", "burst.fragment_mass", 0.5 * 0.002, 200 * 0.002),
    ("mass of all fragments", "burst.fragment_mass", 0.1 * 0.19 / 6, 10 * 0.19 / 6),
    ("free volume of the motor", "burst.volume", 0.1e-3 * 0.19, 20e-3 * 0.19),
    *((f"strength of {link} of main", f"recovery.0.strength.{link}", None, 30_000) for link in ("lines", "cord")),
    ("strength of canopy of main", "recovery.0.strength.canopy", None, 3 * canopy_strength("ripstop nylon", 1.22)),
    ("strength of canopy of main", "recovery.0.strength.canopy", None, 3 * canopy_strength("heavy nylon", 1.22), ("recovery.0.cloth", None)),
]  # fmt: skip
BOOSTER = 2.4 - 1.3 - 0.09  # kg, without its propellant
BOTH = 1.3 * 0.7 * 0.057**2 / 1.2 / 0.054**2  # a booster as dense as the sustainer [kg]
STAGED_ENDS = [
    ("drag coefficient nose first of the sustainer", "sustainer.drag_coefficient.value", 0.2, 1.2),
    ("lift-off mass over the body's volume of the sustainer", "sustainer.mass.value", 70 * pi / 4 * 0.054**2 * 1.2, 1800 * pi / 4 * 0.054**2 * 1.2),
    ("diameter of the sustainer over", "sustainer.diameter", 0.3 * 0.057, 1.05 * 0.057),
    ("length of the sustainer over", "sustainer.length", 0.1 * 1.9, 0.9 * 1.9),
    ("length of the booster over", "booster.length", 0.1 * 1.9, 0.9 * 1.9),
    ("lengths of sustainer and booster over", "booster.length", 0.8 * 1.9 - 1.2, 1.3 * 1.9 - 1.2),
    ("lengths of sustainer and booster over", "sustainer.length", 0.8 * 1.9 - 0.7, 1.3 * 1.9 - 0.7, ("booster.length", 0.7)),
    ("diameter of nose cone over the body", "pieces.1.diameter", 0.7 * 0.054, 1.3 * 0.054),
    ("area of booster fin over the body", "booster.pieces.0.area", 0.005 * 0.057 * 1.9, 0.6 * 0.057 * 1.9),
    ("number of fins of the booster", "booster.pieces.0.count", 3, 50),
    ("mass of booster fin over all", "booster.pieces.0.mass", 0.003 * BOOSTER, 0.2 * BOOSTER),
    ("mass of the booster over its volume", "airframe.mass.value", 1.39 + 0.25 * BOTH, 1.39 + 3 * BOTH),
    ("length over diameter,", "airframe.length", 4 * 0.057, 60 * 0.057),
    ("length over diameter of the sustainer", "sustainer.length", 4 * 0.054, 40 * 0.054),
    ("mass of booster fin over its area", "booster.pieces.0.mass", 0.2 * 0.011, 100 * 0.011),
    ("drag coefficient of booster canopy", "booster.recovery.0.drag_coefficient.value", 0.7 * CANOPY[0], 1.3 * CANOPY[1], ("booster.recovery.0.drag_coefficient", Uncertain(0.8))),
    ("height at which booster canopy opens", "booster.recovery.0.opens_at.value", 75, 600, ("booster.recovery.0.opens_at.at", "height")),
    ("speed under booster canopy alone over that of the tumbling", "booster.recovery.0.diameter", hardly_brakes(1.9 - 1.2, 0.057, (0.55 * 0.8) ** 0.5), None),
    # Only the device that opens lowest may not open too high.
    ("height at which main opens", f"{OPENS}.value", 75, APOGEE, AT_HEIGHT, ("booster.recovery.0.opens_at.at", "height"), ("booster.recovery.0.opens_at.value", 74.0)),
    ("total impulse over propellant", "sustainer.motor.propellant_mass", 140 / 2700, 140 / 1000),
]  # fmt: skip
LOW_ENDS = [
    ("length of streamer over its width", "recovery.0.length", 4 * 0.26, 30 * 0.26),
    ("drag coefficient of streamer on", "recovery.0.drag_coefficient.value", 0.5 * STREAMER_RANGE[0], 2 * STREAMER_RANGE[1], ("recovery.0.drag_coefficient", Uncertain(0.2))),
    # Streamers of two inches by three feet, as small rockets have, are none (from memory).
    ("speed under streamer alone over that of the tumbling", "recovery.0.width", hardly_brakes(0.98, 0.041, 0.2, 3) ** 2 * pi / 4, None, ("recovery.0.drag_coefficient", Uncertain(0.2)), ("recovery.0.length", 1.0)),
]  # fmt: skip
ENDS = [
    *(("told", row) for row in TOLD_ENDS),
    *(("staged", row) for row in STAGED_ENDS),
    *(("low", row) for row in LOW_ENDS),
    ("hop", ("height at which main opens", f"{OPENS}.value", 50, 100, AT_HEIGHT)),
]
LEAST = [
    ("told", "drag coefficient", "airframe.drag_coefficient.spread", 0.01 * 0.48),
    ("told", "rail's aim", "rail.angle.spread", radians(0.2)),
    ("told", "static margin", "airframe.stability.spread", 0.03),
    ("told", "drag coefficient of main", "recovery.0.drag_coefficient.spread", 0.02 * 0.75),
    ("told", "opening delay of main", "recovery.0.opening_delay.spread", 0.05),
    ("told", "what opens main", f"{OPENS}.spread", 1.0, AT_HEIGHT),
    ("told", "what opens main", f"{OPENS}.spread", 0.05, (f"{OPENS}.at", "time")),
    ("told", "total impulse", "motor.total_impulse.spread", 0.005 * IMPULSE),
    ("told", "lift-off mass", "airframe.mass.spread", 0.001 * 1.85),
    ("told", "moment of inertia", "airframe.moment_of_inertia.spread", 0.02 * 0.2),
    ("told", "slope of the normal force", "airframe.lift_slope.spread", 0.02 * 9, ("airframe.lift_slope", Uncertain(9.0))),
    ("told", "burn time", "motor.burn_time.spread", 0.005 * BURN),
    ("low", "apogee", "apogee.height.spread", 0.005 * 285),
    ("low", "time to apogee", "apogee.time.spread", 0.02),
    ("staged", "ignition delay", "sustainer.ignition.spread", 0.02),
    ("lit", "ignition delay", "air_start.ignition.spread", 0.02),
    ("lit", "impulse in the air", "air_start.motor.total_impulse.spread", 0.3),
    ("staged", "impulse in the air", "sustainer.motor.total_impulse.spread", 0.7),
    ("staged", "drag coefficient of the sustainer", "sustainer.drag_coefficient.spread", 0.005),
    ("staged", "static margin of the sustainer", "sustainer.stability.spread", 0.03),
    ("staged", "separation delay", "sustainer.separation.spread", 0.02),
]  # fmt: skip


def beside(cloud, what, path, edge, sign, *more):
    """Whether a figure is told a hair below (-1) or above (1) an end of its range."""
    apart = sign if path.endswith("count") else 1e-3 * sign * edge
    names = spoken(cloud, *more, (path, edge + apart))
    return any(name.startswith(what) for name in names)


@pytest.mark.parametrize(("cloud", "least"), [("told", 30.0), ("hop", 25.0)])
def test_what_is_open_only_near_the_ground_is_told_whatever_opens_it(
    clouds, cloud, least
):
    """Of a hundred flights two may not be open so low: by height, by a timer or by delay."""
    flown = clouds[cloud]
    key = ("recovery works", "main")
    opened = flown.openings[key]
    told = {}
    for high, low_ones in ((least - 1, 2), (least + 1, 2), (0.0, 0)):
        height = np.full(100, 80.0)
        height[:low_ones] = high
        rows = np.tile(opened[:, :1], (1, 100))
        rows[OPENED.index("height")] = height
        names = [c.name for c in implausible(replace(flown, openings={key: rows}))]
        told[high] = any("is open in 99 of 100" in name for name in names)
    assert told == {least - 1: True, least + 1: False, 0.0: False}


def test_a_flight_that_is_told_well_claims_nothing(clouds):
    assert [spoken(cloud) for cloud in clouds.values()] == [[]] * 5


@pytest.mark.parametrize(
    ("name", "row"), ENDS, ids=lambda row: " ".join(map(str, row[:2]))
)
def test_a_figure_is_told_beyond_either_end_of_what_is_common(clouds, name, row):
    what, path, low, high, *more = row
    cloud = clouds[name]
    if low is not None:
        assert beside(cloud, what, path, low, -1, *more)
        assert not beside(cloud, what, path, low, +1, *more)
    if high is not None:
        assert not beside(cloud, what, path, high, -1, *more)
        assert beside(cloud, what, path, high, +1, *more)


@pytest.mark.parametrize("row", LEAST, ids=lambda row: f"{row[1]} {row[2]}")
def test_nobody_knows_a_figure_better_than_that(clouds, row):
    name, what, path, least, *more = row
    what = f"spread of {what},"
    assert beside(clouds[name], what, path, least, -1, *more)
    assert not beside(clouds[name], what, path, least, +1, *more)


@pytest.mark.parametrize(("length", "held"), [(0.09, False), (0.11, True)])
def test_thrust_that_comes_back_is_another_motors(clouds, length, held):
    times = (0.0, 0.05, 1.0, 1.001, 1.0 + length, 1.001 + length, 1.9)
    burns = ("motor.times", times), ("motor.thrusts", (0, 200, 200, 0, 0, 200, 200))
    told = any(name.startswith("pause") for name in spoken(clouds["told"], *burns))
    assert told == held


def lines_of(cloud, change, said=None):
    """Check a flight with a figure changed, beside what was answered."""
    flight = put(cloud.plan.flight, *change)
    return [*implausible(replace(cloud, plan=replace(cloud.plan, flight=flight)), said)]


SLENDER = "airframe.length"
HEAVY = "airframe.mass.value"


@pytest.mark.parametrize(
    ("what", "path", "value", "counts"),
    [
        ("length over diameter", SLENDER, 50 * 0.057, True),
        (
            "length over diameter",
            SLENDER,
            90 * 0.057,
            False,
        ),  # feet for metres, read twice
        ("lift-off mass over", HEAVY, 1.05 * 1800 * AREA * 1.32, True),
        ("lift-off mass over", HEAVY, 2.2 * 1800 * AREA * 1.32, False),
        (
            "drag coefficient nose first",
            "airframe.drag_coefficient.value",
            0.15,
            False,
        ),  # which no tape tells
        ("spread of drag coefficient", "airframe.drag_coefficient.spread", 0.0, False),
    ],
)
def test_what_was_measured_again_stands_beside_the_word(
    clouds, tmp_path, saltgrass, what, path, value, counts
):
    """By who measured, of this figure of this rocket, and no farther than a slip would take it."""
    cloud, change = clouds["told"], (path, value)
    (line,) = [c for c in lines_of(cloud, change) if c.name.startswith(what)]
    assert ("measured = [" in line.note) is counts
    figure = line.name.split(", lies beside")[0].split(", is less")[0]
    flight, when = put(cloud.plan.flight, *change), datetime(2026, 6, 13, 8, tzinfo=UTC)
    here = Occasion.of(flight, saltgrass, when)
    head = (
        f'date = 2026-06-13\nsite = "{here.site}"\nflight = "{here.flight}"\n'
        f'place = {here.placed}\nrocket = "{here.rocket}"\n'
    )
    file = tmp_path / "measured.toml"

    def left(text):
        file.write_text(f"{head}{text}", encoding="utf-8")
        said = read_answers([file], flight, saltgrass, when)
        return [c for c in lines_of(cloud, change, said) if c.name.startswith(figure)]

    (told,) = left(f'measured = ["{figure.replace("³", "3")}"]\nby = "Ann Lee"\n')
    assert (told.outcome == "pass") is counts
    assert told.beside is counts
    assert ("measured again by Ann Lee" in told.name) is counts
    (told,) = left(f'measured = ["{figure}1"]\nby = "Ann Lee"\n')
    assert told.outcome == "warn"
    head = head.replace(here.rocket, "0badcafe")
    (told,) = left(f'measured = ["{figure}"]\nby = "Ann Lee"\n')
    assert told.outcome == "warn"
    assert ("does not count: answered before" in told.note) is counts
    with pytest.raises(InputError, match="nobody's word; accepted beside it is"):
        left(f'measured = ["{figure}"]\n')


def test_ten_times_a_figure_is_no_spread_of_it(clouds):
    path = "airframe.drag_coefficient.spread"
    assert not beside(clouds["told"], "spread of", path, 4.8, -1)
    assert beside(clouds["told"], "spread of drag coefficient,", path, 4.8, 1)
    far = (f"{OPENS}.spread", 50.0)
    assert not any("spread" in told for told in spoken(clouds["told"], AT_HEIGHT, far))


@pytest.mark.parametrize(("share", "held"), [(0.6, 1), (0.7, 0), (1.4, 0), (1.6, 1)])
def test_a_way_down_is_held_against_the_record_of_it(clouds, share, held):
    """A torn canopy, or another one, shows in the record: the file plans a slower fall."""
    dense = 1.225 * (1 - 0.0065 * 490 / 288.15) ** 4.2559
    planned = (2 * DRY * 9.80665 / (dense * 0.75 * CLOTH)) ** 0.5
    sinks = ("sinks", ((500.0, 480.0, share * planned),))
    name = "speed of the record's way down at 480 to 500 m"
    told = [n for n in spoken(clouds["told"], sinks) if n.startswith(name)]
    assert len(told) == held
    opens = AT_HEIGHT, (f"{OPENS}.value", 490.0)  # within, and not yet
    for change in (opens, (AT_HEIGHT, (f"{OPENS}.value", 300.0))):
        names = spoken(clouds["told"], sinks, *change)
        assert not [n for n in names if n.startswith(name)]


def test_a_record_tells_how_fast_it_came_down():
    time = np.arange(0.0, 120.0, 0.1)
    up = np.interp(time, [1.0, 12.0], [0.0, 800.0])
    down = np.maximum(np.interp(time, [12.0, 132.0], [800.0, 80.0]), 0.0)  # 6 m/s
    height = np.where(time < 12.0, up, down)
    found = sinks_of(Record(time, height))
    assert len(found) > 10
    assert all(high > low >= 15 for high, low, _ in found)
    assert [speed for *_, speed in found] == pytest.approx([6.0] * len(found), rel=0.02)
    short = time < 15.0
    assert sinks_of(Record(time[short], height[short])) == ()


def test_what_opens_under_a_larger_device_was_swapped_with_it(tmp_path):
    """The main at apogee, and a drogue lower down that changes nothing: all comes down elsewhere."""
    text = (ROOT / "examples" / "whimbrel.toml").read_text("utf-8")
    drogue, main = 'opens_at = "apogee"', 'opens_at = "180 m"'
    assert drogue in text
    assert main in text
    swapped = text.replace(drogue, "X").replace(main, drogue).replace("X", main)
    calm, told = read_wind("calm", site_altitude=0.0), []
    for written in (text, swapped):
        path = tmp_path / "flight.toml"
        path.write_text(written, encoding="utf-8")
        cloud = fly(read_flight(path), calm, 0.0, samples=10, seed=1)
        names = [c.name for c in implausible(cloud)]
        told.append([name for name in names if name.startswith("drag area of drogue")])
    assert [len(names) for names in told] == [0, 1]


@pytest.mark.parametrize(
    ("of", "which", "frame", "most"),
    [
        ("", "balance", "airframe", 0.2 * 1.9 / 0.057),
        (" of the sustainer", "upper_balance", "sustainer", 6.0),
    ],
)
def test_a_margin_is_told_beyond_what_fliers_aim_for(clouds, of, which, frame, most):
    plan = clouds["staged"].plan
    stubby = put(plan.flight, f"{frame}.length", 0.5)

    def told(margin, flight=plan.flight, *, known=True):
        balance = getattr(plan, which)
        spreads = {**balance.spreads, "static margin": Spread("normal", margin, 0.2)}
        changed = replace(balance, spreads=spreads, known=known)
        other = replace(plan, flight=flight, **{which: changed})
        names = [c.name for c in implausible(replace(clouds["staged"], plan=other))]
        return any(name.startswith(f"static margin{of},") for name in names)

    assert [told(m) for m in (-0.01, 0.01)] == [True, False]
    assert [told(m) for m in (most - 0.01, most + 0.01)] == [False, True]
    assert [told(m, stubby) for m in (5.99, 6.01)] == [False, True]
    assert not told(99.0, known=False)


def test_a_label_is_held_against_the_flight(clouds):
    cloud = clouds["low"]
    impulse, burn = np.exp(cloud.plan.log_motor)
    thrust = impulse / burn

    def told(**numbers):
        return [c.name for c in label_claims(cloud, Answers(numbers=numbers))]

    for key, takes, (low, high) in (
        ("total_impulse", impulse, (0.6, 1.8)),
        ("average_thrust", thrust, (0.6, 4.0)),
    ):
        for end, beyond in ((low, -1), (high, 1)):
            assert not told(**{key: takes * end * (1 - 1e-3 * beyond)})
            (line,) = told(**{key: takes * end * (1 + 1e-3 * beyond)})
            assert line.startswith(f"{key.replace('_', ' ')} on the label")
    label = {"total_impulse": float(impulse), "motor_impulse": 20.0}
    for key, of, given in (
        ("propellant_mass", impulse, {}),
        ("propellant_mass", impulse, label),
        ("motor_propellant", 20.0, label),
        ("motor_propellant", impulse, {}),
    ):
        for end, beyond in ((of / 2700, -1), (of / 700, 1)):
            assert not told(**given, **{key: end * (1 - 1e-3 * beyond)})
            (line,) = told(**given, **{key: end * (1 + 1e-3 * beyond)})
            assert line.startswith("total impulse over")
    assert [c.kind for c in label_claims(cloud, Answers(numbers={"motor_count": 2}))]
    assert not told(motor_count=1)
    assert not [*label_claims(cloud, None)]
    assert not [*label_claims(clouds["told"], Answers(numbers={"total_impulse": 1.0}))]
