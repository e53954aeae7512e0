"""Reading a flight: what is accepted, and one clear line for what is not."""

import math
from pathlib import Path

import numpy as np
import pytest

from driftmap import fly, read_wind
from driftmap.core.errors import FlightError
from driftmap.core.units import bounded, parse_spread
from driftmap.formulas.materials import SHEAR_MODULUS
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import ByContent
from driftmap.rocket.flightfile import read_flight
from driftmap.rocket.likelihood import CERTAIN
from driftmap.rocket.pieces import SLICED
from driftmap.rules.facts import facts_of

EXAMPLES = Path(__file__).parents[2] / "examples"

GOOD = """
name = "Test"
[airframe]
mass = "2 kg"
diameter = "54 mm"
length = "1.2 m"
drag_coefficient = 0.5
[rail]
length = "6 ft"
angle = "5 deg"
azimuth = "250 deg"
[motor]
total_impulse = "400 N s"
burn_time = "2 s"
propellant_mass = "0.2 kg"
[[recovery]]
name = "main"
kind = "canopy"
diameter = "36 in"
opens_at = "apogee"
[[piece]]
name = "fin"
kind = "fin"
count = 3
mass = "40 g"
area = "90 cm2"
"""


def write(tmp_path, text, name="flight.toml"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize("name", ["willet", "dunlin", "whimbrel", "godwit"])
def test_examples_are_read(name):
    flight = read_flight(EXAMPLES / f"{name}.toml")
    tree = build_cases(flight)
    causes = {case.cause: case.likelihood for case in tree.cases}
    causes.pop(CERTAIN, None)
    assert sum(causes.values()) == pytest.approx(1.0)
    assert tree.missing == ()


def test_units_and_spreads(tmp_path):
    text = GOOD.replace('"2 kg"', '"4.4 lb +/- 2 oz"').replace("0.5", '"0.5 ± 10 %"')
    flight = read_flight(write(tmp_path, text))
    assert flight.airframe.mass.value == pytest.approx(1.9958, abs=1e-4)
    assert flight.airframe.mass.spread == pytest.approx(0.0567, abs=1e-4)
    assert flight.airframe.drag_coefficient.spread == pytest.approx(0.05)
    assert flight.rail.length == pytest.approx(1.8288)
    assert flight.rail.azimuth == pytest.approx(4.3633231)


@pytest.mark.parametrize(
    ("opens_at", "at", "value"),
    [("apogee", "apogee", 0), ("500 ft", "height", 152.4), ("9 s +/- 1 s", "time", 9)],
)
def test_triggers(tmp_path, opens_at, at, value):
    text = GOOD.replace('opens_at = "apogee"', f'opens_at = "{opens_at}"')
    trigger = read_flight(write(tmp_path, text)).recovery[0].opens_at
    assert (trigger.at, trigger.value) == (at, pytest.approx(value))


NOSE = """[[piece]]
name = "nose"
kind = "nose cone"
mass = "50 g"
length = "0.2 m"
diameter = "54 mm"
"""


@pytest.mark.parametrize(
    ("told", "wrong"),
    [
        ("printed = true", "thickness of its wall"),
        ('thickness = "2 mm"', "printed = true"),
        ('printed = true\nthickness = "40 mm"', "half the diameter"),
        ('printed = true\nthickness = "2 mm"\nspan = "5 cm"', "length, diameter"),
        ('printed = true\nthickness = "2 mm"\nstrength = "9 MPa"', "layer_strength"),
    ],
)
def test_a_printed_nose_is_a_shell_with_a_wall(tmp_path, told, wrong):
    with pytest.raises(FlightError, match=wrong):
        read_flight(write(tmp_path, GOOD + NOSE + told))
    good = NOSE + 'printed = true\nthickness = "2 mm"\nlayer_strength = "12 MPa"'
    assert read_flight(write(tmp_path, GOOD + good)).pieces[-1].printed


PLATE = """root = "15 cm"
tip = "9 cm"
span = "7 cm"
thickness = "3.2 mm"
printed = true
"""


@pytest.mark.parametrize("material", [*SHEAR_MODULUS])
def test_what_is_printed_is_of_plastic(tmp_path, material):
    text = GOOD.replace('area = "90 cm2"\n', f'{PLATE}material = "{material}"\n')
    if material == "solid plastic":
        fin = read_flight(write(tmp_path, text)).pieces[0]
        assert fin.filled == SLICED  # as sliced where nobody tells, and not solid
        return
    with pytest.raises(FlightError, match=r"is of solid plastic, not .* shear_modulus"):
        read_flight(write(tmp_path, text))


BAD = [
    ("mass", 'mass = "2 kg"', 'mass = "-2 kg"', r"airframe\.mass.*from 1 g"),
    ("nan", 'mass = "2 kg"', "mass = nan", r"airframe\.mass.*finite"),
    ("inf", 'mass = "2 kg"', "mass = inf", r"airframe\.mass.*finite"),
    ("bool", 'mass = "2 kg"', "mass = true", r"airframe\.mass.*no mass"),
    ("unit", '"54 mm"', '"54 furlongs"', r"airframe\.diameter.*no unit of length"),
    ("grams", 'mass = "2 kg"', "mass = 2000", r"airframe\.mass.*to 1000 kg"),
    ("hair", '"54 mm"', '"5.4e-8 mm"', r"airframe\.diameter.*from 1 mm to 30 m"),
    ("dust", '"40 g"', '"4e-9 g"', r"piece 1 \(fin\), mass.*from 0\.01 g"),
    ("speck", '"90 cm2"', '"9e-9 cm2"', r"piece 1 \(fin\), area.*from 1 mm2"),
    ("unknown", "diameter =", "diametre =", r"diametre.*did you mean 'diameter'"),
    ("section", "[rail]", "[rial]", r"rial.*did you mean 'rail'"),
    ("no name", 'name = "Test"', "", r"name: is missing"),
    ("rail", '"6 ft"', "6", r"rail\.length.*name its unit"),
    ("tilt", '"5 deg"', '"-5 deg"', r"rail\.angle"),
    ("azimuth", '"250 deg"', '"2700 deg"', r"rail\.azimuth"),
    ("azimuth words", '"250 deg"', '"sideways"', r"rail.*sideways.*no angle"),
    (
        "trigger",
        '"apogee"',
        '"150"',
        r"recovery 1 \(main\), opens_at.*height with its unit",
    ),
    ("kind", '"canopy"', '"balloon"', r"recovery 1 \(main\), kind.*canopy"),
    (
        "sizes",
        'diameter = "36 in"',
        "",
        r"recovery 1 \(main\).*exactly one of diameter, area",
    ),
    ("count", "count = 3", "count = 0", r"piece 1 \(fin\), count"),
    ("fin area", 'area = "90 cm2"', "", r"piece 1 \(fin\).*a fin needs either area"),
    ("heavy parts", '"40 g"', '"900 g"', r"airframe\.mass is the lift-off mass"),
    ("both", "[rail]", "[apogee]\nheight = 300\ntime = 8\n[rail]", r"exactly one of"),
    ("syntax", 'name = "Test"', "name = Test", r"not TOML.*line 2"),
    (
        "curve and total",
        "[motor]",
        '[motor]\nthrust_curve = "x.csv"',
        r"left out beside",
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "told"), [b[1:] for b in BAD], ids=[b[0] for b in BAD]
)
def test_bad_flights_are_refused_in_one_line(tmp_path, old, new, told):
    assert old in GOOD
    path = write(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(FlightError, match=told) as problem:
        read_flight(path)
    assert str(problem.value).startswith(str(path))
    assert "\n" not in str(problem.value)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty"),
        (b"\x00\x01\x02\xff", "not text"),
        (b"a = 1\n" * 400_000, "bytes; accepted"),
        (b"a\0b = 1", "NUL"),
    ],
)
def test_files_that_are_no_flight(tmp_path, data, told):
    with pytest.raises(FlightError, match=told):
        read_flight(write(tmp_path, data))


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(FlightError, match="cannot be read"):
        read_flight(tmp_path / "nowhere.toml")
    with pytest.raises(FlightError, match="cannot be read"):
        read_flight(tmp_path)


CURVE = GOOD.replace(
    'total_impulse = "400 N s"\nburn_time = "2 s"', 'thrust_curve = "motor.csv"'
)


def test_thrust_curve_gives_impulse_and_burn_time(tmp_path):
    write(
        tmp_path, "# a motor\ntime_s,thrust_n\n0.1,200\n1.9,200\n2.0,0\n", "motor.csv"
    )
    motor = read_flight(write(tmp_path, CURVE)).motor
    assert motor.total_impulse.value == pytest.approx(10 + 360 + 10)
    assert motor.burn_time.value == 2.0
    assert motor.times[0] == 0.0


@pytest.mark.parametrize(
    ("curve", "told"),
    [
        ("time,thrust\n0,1\n1,0\n", "header.*time_s or time_ms"),
        ("time_s,thrust_n\n0,1\n", "1 rows below the header"),
        ("time_s,thrust_n\n0,1\n1,5\n1,0\n", "line 4: time 1 must follow 1"),
        ("time_s,thrust_n\n0,1\n1,-5\n", "line 3.*below zero by more than noise"),
        ("time_s,thrust_n\n0,nan\n1,5\n", "line 2.*finite"),
        ("time_s,thrust_n\n0,1,2\n1,5\n", "line 2: 3 cells; the header names 2"),
        (
            "time_s,thrust_n\n0,one\n1,5\n",
            "line 2: thrust_n .*accepted is a finite number",
        ),
        ("time_s,thrust_n\n0,0\n1,0\n", "no thrust above zero"),
        ("", "is empty"),
    ],
)
def test_bad_thrust_curves(tmp_path, curve, told):
    write(tmp_path, curve, "motor.csv")
    with pytest.raises(FlightError, match=told):
        read_flight(write(tmp_path, CURVE))


def test_cases_must_exist_for_the_flight(tmp_path):
    flight = read_flight(
        write(tmp_path, GOOD + '\n[cases]\n"nothing deploy" = "5 %"\n')
    )
    with pytest.raises(FlightError, match="did you mean 'nothing deploys'"):
        build_cases(flight)


def test_likelihoods_must_not_pass_one(tmp_path):
    more = '\n[cases]\n"nothing deploys" = "60 %"\n"early opening" = "60 %"\n'
    with pytest.raises(FlightError, match="100 %"):
        read_flight(write(tmp_path, GOOD + more))
    flight = read_flight(write(tmp_path, GOOD + '\n[cases]\n"nothing deploys" = 1.0\n'))
    with pytest.raises(FlightError, match="100 %"):
        build_cases(flight)


def test_no_fins_is_told_not_passed_over(tmp_path):
    flight = read_flight(write(tmp_path, GOOD[: GOOD.index("[[piece]]")]))
    assert "no fins" in build_cases(flight).missing[0]


def test_a_drag_coefficient_left_out_is_guessed_widely_and_told(tmp_path):
    text = (EXAMPLES / "willet.toml").read_text()
    lines = [
        line for line in text.splitlines() if 'drag_coefficient = "0.48' not in line
    ]
    path = tmp_path / "willet.toml"
    path.write_text("\n".join(lines))
    (tmp_path / "willet_motor.csv").write_bytes(
        (EXAMPLES / "willet_motor.csv").read_bytes()
    )
    tree = build_cases(read_flight(path))
    drawn = tree.spreads["drag coefficient"].draw(20_000, np.random.default_rng(1))
    # 0.35 and 0.75 are near two and one and a half standard deviations.
    assert 0.001 < np.mean(drawn < 0.35) < 0.04
    assert 0.02 < np.mean(drawn > 0.75) < 0.12
    assert any("0.35 to 0.75 being usual" in note for note in tree.assumed)


TWO = GOOD.replace("[[recovery]]", """[sustainer]
mass = "1.1 kg"
diameter = "50 mm"
length = "0.8 m"
ignition = "1 s"
[sustainer.motor]
total_impulse = "200 N s"
burn_time = "1.5 s"
propellant_mass = "0.1 kg"
[[booster.recovery]]
name = "small"
kind = "canopy"
diameter = "18 in"
opens_at = "apogee"
[[recovery]]""")  # fmt: skip


def test_two_stages_are_read_and_weighed(tmp_path):
    flight = read_flight(write(tmp_path, TWO))
    assert flight.booster_mass == pytest.approx(2 - 0.2 - 1.1)
    assert flight.dry_mass == pytest.approx(1.0)
    assert [device.name for device in flight.devices] == ["main", "small"]
    assert flight.sustainer.motor.burn_time.value == 1.5


@pytest.mark.parametrize(("below", "above"), [(1, 2), (2, 1), (2, 2), (5, 1)])
def test_a_cluster_hides_no_motor_that_lights_later(tmp_path, saltgrass, below, above):
    """The largest motor is that of any group, each of at least an equal share of its own."""
    flight = read_flight(write(tmp_path, TWO))
    first, later = flight.motors
    first = first.model_copy(update={"count": below})
    upper = flight.sustainer.model_copy(
        update={"motor": later.model_copy(update={"count": above})}
    )
    flight = flight.model_copy(update={"motor": first, "sustainer": upper})
    facts = facts_of(flight, saltgrass)
    for name, of_both in (
        ("motor_impulse", (400.0, 200.0)),
        ("motor_thrust", (200.0, 200.0 / 1.5)),
        ("motor_propellant", (0.2, 0.1)),
    ):
        least = max(v / n for v, n in zip(of_both, (below, above), strict=True))
        sure = facts.numbers.get(name)
        low, high = facts.ranges.get(name, (sure, sure))
        assert (low, high >= max(of_both)) == (pytest.approx(least), True)


def test_rules_are_told_of_every_motor_and_of_the_largest(tmp_path, saltgrass):
    facts = facts_of(read_flight(write(tmp_path, TWO)), saltgrass)
    told = {
        "total_impulse": 600.0, "motor_count": 2.0, "stages": 2.0,
        "propellant_mass": 0.3, "average_thrust": 200.0, "motor_impulse": 400.0,
        "motor_thrust": 200.0, "motor_propellant": 0.2, "recovery_devices": 2.0,
    }  # fmt: skip
    assert {name: facts.numbers[name] for name in told} == pytest.approx(told)
    assert facts.stages_flown == 2


def test_remarks_of_a_curve_are_kept_for_people(tmp_path):
    (tmp_path / "upper.csv").write_text(
        "# Made by hand\n# J\ntime_s,thrust_n\n0,200\n# cracked grain, do not fly\n1,0\n"
    )
    text = TWO.replace('total_impulse = "200 N s"\nburn_time = "1.5 s"', "thrust_curve = 'upper.csv'")  # fmt: skip
    path = tmp_path / "two.toml"
    path.write_text(text)
    told = [said.partition("it: ")[2] for said in read_flight(path).said]
    assert told == ['"Made by hand"', '"cracked grain, do not fly"']


def test_a_curve_of_the_sustainer_lies_beside_the_file(tmp_path):
    write(tmp_path, "time_s,thrust_n\n0,100\n1,100\n2,0\n", "upper.csv")
    text = TWO.replace('total_impulse = "200 N s"\nburn_time = "1.5 s"', "thrust_curve = 'upper.csv'")  # fmt: skip
    motor = read_flight(write(tmp_path, text)).sustainer.motor
    assert motor.total_impulse.value == pytest.approx(150.0)
    lost = text.replace("upper.csv", "none.csv")
    with pytest.raises(FlightError, match=r"none\.csv"):
        read_flight(write(tmp_path, lost))
    both = text.replace("thrust_curve", 'burn_time = "1 s"\nthrust_curve')
    with pytest.raises(FlightError, match=r"sustainer\.motor\.burn_time.*left out"):
        read_flight(write(tmp_path, both))


STAGED = [
    ("no booster left", '"1.1 kg"', '"1.9 kg"', r"airframe\.mass is that of both"),
    ("as long", '"0.8 m"', '"1.2 m"', r"airframe\.length is that of both"),
    ("spread", '"1.1 kg"', '"1.1 kg +/- 5 g"', r"takes no spread"),
    ("never lights", 'ignition = "1 s"\n', "", r"sustainer\.ignition: is missing"),
    ("no motor", "[sustainer.motor]", "[sustainer.moter]", r"moter"),
    ("all burns", 'mass = "0.1 kg"', 'mass = "1.1 kg"', r"must exceed motor"),
    ("same name", '"small"', '"main"', r"every recovery needs a name of its own"),
    ("taken", '"small"', '"booster"', r"belongs to another body"),
    ("apogee", "[motor]\ntotal_impulse = \"400 N s\"\nburn_time = \"2 s\"\n"
     "propellant_mass = \"0.2 kg\"", "[apogee]\nheight = 300\ntime = 8",
     r"goes beside \[motor\]"),
    ("centre", 'length = "1.2 m"', 'length = "1.2 m"\ncentre_of_mass = "0.7 m"',
     r"centre_of_mass is for one stage"),
    ("three", 'burn_time = "1.5 s"', 'burn_time = "1.5 s"\nstages = 2', r"first motor"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "told"), [row[1:] for row in STAGED], ids=[row[0] for row in STAGED])  # fmt: skip
def test_stages_that_do_not_fit_are_refused_in_a_line(tmp_path, old, new, told):
    assert old in TWO
    with pytest.raises(FlightError, match=told) as refused:
        build_cases(read_flight(write(tmp_path, TWO.replace(old, new))))
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("good", "wide"),
    [
        ('mass = "2 kg"', 'mass = "2 kg +/- 1.1 kg"'),
        ("drag_coefficient = 0.5", 'drag_coefficient = "0.5 +/- 0.4"'),
        ('angle = "5 deg"', 'angle = "5 deg +/- 30 deg"'),
    ],
)
def test_a_spread_so_wide_that_nothing_is_known_is_refused(tmp_path, good, wide):
    with pytest.raises(FlightError, match="its spread is too wide"):
        read_flight(write(tmp_path, GOOD.replace(good, wide)))


@pytest.mark.slow  # many flights
@pytest.mark.parametrize(
    ("good", "wide"),
    [
        ('mass = "2 kg"', 'mass = "2 kg +/- 45 %"'),
        ("drag_coefficient = 0.5", 'drag_coefficient = "0.5 +/- 45 %"'),
        ('total_impulse = "400 N s"', 'total_impulse = "400 N s +/- 25 %"'),
    ],
)
def test_a_size_that_is_hardly_known_stays_one_in_every_flight(tmp_path, good, wide):
    flight = read_flight(write(tmp_path, GOOD.replace(good, wide)))
    wind = read_wind("3 m/s from 240", site_altitude=0.0)
    cloud = fly(flight, wind, 0.0, samples=4000, seed=1)
    assert np.isfinite(cloud.east).all()


@pytest.mark.parametrize(
    ("mass", "told"),
    [("0,62 kg", "decimal comma"), ("40 g +/- 3 g", "takes none of")],
)
def test_a_comma_or_a_spread_where_none_belongs_is_named(tmp_path, mass, told):
    text = GOOD.replace('mass = "40 g"', f'mass = "{mass}"')
    with pytest.raises(FlightError, match=told):
        read_flight(write(tmp_path, text))


@pytest.mark.parametrize(
    ("value", "bounds", "told"),
    [
        ("0 m", (0.0, math.inf, True), "accepted is more than 0 m"),
        ("-1 m", (0.0, math.inf, False), "accepted is 0 or more m"),
        ("2.1 m", (1.0, 2.0, False), "accepted is 1 to 2 m"),
        ("1 m", (1.0, 2.0, True), "accepted is more than 1 to 2 m"),
    ],
)
def test_what_is_out_of_bounds_is_told_with_them(value, bounds, told):
    least, most, above = bounds
    with pytest.raises(ValueError, match=f"{value}' is out of bounds; {told}$"):
        bounded(value, "length", least, most, above=above)
    assert bounded("1.5 m", "length", least, most, above=above) == 1.5
    assert bounded("1 m", "length", 1.0, 2.0) == 1.0
    assert bounded("2 m", "length", 1.0, 2.0, above=True) == 2.0
    for edge in ("-45 C", "-49 F", "60 C", "140 F"):  # the bounds as they are told
        assert 228.15 <= bounded(edge, "temperature", 228.15, 333.15) <= 333.15


def test_a_spread_below_nothing_is_refused():
    with pytest.raises(ValueError, match="must not have a negative spread"):
        parse_spread("2 kg +/- -5 g", "mass")


def test_what_a_file_leaves_out_is_another_flight_than_its_default_told(tmp_path):
    """Work kept for the one would else answer for the other, of which nothing is asked."""
    told = (EXAMPLES / "willet.toml").read_text(encoding="utf-8")
    curve = (EXAMPLES / "willet_motor.csv").read_bytes()
    (tmp_path / "willet_motor.csv").write_bytes(curve)
    flights = []
    for left_out in ("", 'azimuth = "into the wind"', "count = 1 "):
        path = tmp_path / "flight.toml"
        path.write_text(told.replace(left_out, "# ", 1) if left_out else told)
        flights += [read_flight(path), read_flight(path)]
    for kept in (ByContent, lambda flight: flight.content):
        keys = list(map(kept, flights))
        assert [keys[0] == key for key in keys] == [True, True, *[False] * 4]
        assert keys[2] == keys[3]
