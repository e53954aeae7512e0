"""A flight file with an altimeter's record: what is accepted, one line for what is not."""

from pathlib import Path

import numpy as np
import pytest

from driftmap.air.column import Sky
from driftmap.air.wind import WindProfile
from driftmap.core.errors import FlightError
from driftmap.montecarlo.launch import plan_launch
from driftmap.rocket.altimeter_record import Record, read_record
from driftmap.rocket.flight import Flight
from driftmap.rocket.flightfile import read_flight

EXAMPLES = Path(__file__).parents[2] / "examples"
PLOVER = (EXAMPLES / "plover.toml").read_text()
RECORD = (EXAMPLES / "plover_flight.csv").read_text()


def write(tmp_path, flight=PLOVER, record=RECORD):
    data = record if isinstance(record, bytes) else record.encode()
    (tmp_path / "plover_flight.csv").write_bytes(data)
    path = tmp_path / "plover.toml"
    path.write_text(flight)
    return path


@pytest.fixture(scope="module")
def plover():
    return read_flight(EXAMPLES / "plover.toml")


def test_the_record_becomes_an_ordinary_motor_and_drag(plover):
    """Made with 231.6 N s, drag coefficient 0.55, apogee 821.8 m after 12.76 s."""
    assert isinstance(plover, Flight)
    assert plover.apogee is None
    assert plover.motor.total_impulse.value == pytest.approx(231.6, rel=0.02)
    assert plover.motor.propellant_mass == 0.125
    assert plover.motor.times[-1] == plover.motor.burn_time.value
    assert min(plover.motor.thrusts) >= 0
    assert plover.airframe.drag_coefficient.value == pytest.approx(0.55, rel=0.05)
    assert plover.dry_mass == pytest.approx(1.335)


def test_what_was_inferred_and_assumed_reaches_the_plan(plover):
    calm = WindProfile(*np.zeros((4, 1)))
    plan = plan_launch(plover, calm, Sky(240.0))
    first, second = plan.assumed[:2]
    assert "apogee 822 m after 12.8 s" in first
    assert "straight up in still standard air" in second
    assert not any("sea level" in text for text in plan.assumed)
    assert not any("measured heights" in text for text in plan.assumed)
    # The rail leans 4 degrees on the way up again: a little lower than the record.
    assert 0.97 * 822 < plan.apogee < 822


@pytest.mark.slow  # one more record fitted
def test_what_is_left_out_is_told(tmp_path):
    text = PLOVER.replace("height_spread", "# ").replace("altitude", "# ")
    flight = read_flight(write(tmp_path, text))
    assert "measured heights: spread 5% (assumed)" in flight.notes
    assert "measured flight: from a pad at sea level (assumed)" in flight.notes
    # Denser air over the same fall asks for less drag: 2.3 % in 240 m.
    assert flight.airframe.drag_coefficient.value < 0.55


@pytest.mark.slow  # one more record fitted
def test_a_drag_coefficient_given_counts(tmp_path):
    text = PLOVER.replace(
        "length = ", 'drag_coefficient = "0.60 +/- 0.001"\nlength = ', 1
    )
    flight = read_flight(write(tmp_path, text))
    assert flight.airframe.drag_coefficient.value == pytest.approx(0.60, abs=0.003)
    assert "and the drag coefficient given" in flight.notes[0]


BAD_FLIGHTS = [
    ("motor too", "[rail]", "[motor]\n[rail]", r"motor: must be left out beside"),
    ("apogee too", "[rail]", "[apogee]\n[rail]", r"apogee: must be left out beside"),
    ("neither", "[measured]", "[measurd]", r"measurd: .*did you mean 'measured'"),
    ("key", "curve =", "curv =", r"measured\.curv: .*did you mean 'curve'"),
    ("no propellant", 'propellant_mass = "125 g"', "", r"propellant_mass: is missing"),
    ("all propellant", '"125 g"', '"2 kg"', r"propellant_mass: must be less than"),
    ("spread", '"3 %"', '"300 %"', r"measured\.height_spread"),
    ("altitude", '"240 m"', '"240 kg"', r"measured\.altitude.*no unit of length"),
    ("no file", "plover_flight.csv", "nowhere.csv", r"nowhere\.csv: cannot be read"),
    ("NUL", "plover_flight.csv", r"a\u0000b", r"is not a file name"),
    ("not a name", '"plover_flight.csv"', "3", r"measured\.curve"),
    (
        "airframe",
        'mass = "1.46 kg"',
        'mass = "-1 kg"',
        r"airframe\.mass: .*from 1 g to 1000 kg",
    ),
    ("no airframe", "[airframe]", "[airfram]", r"airframe\.mass: is missing"),
    ("notes", "[airframe]", 'notes = ["x"]\n[airframe]', r"notes: is not a key here"),
]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [b[1:] for b in BAD_FLIGHTS],
    ids=[b[0] for b in BAD_FLIGHTS],
)
def test_bad_flights_are_refused_in_one_line(tmp_path, old, new, told):
    assert old in PLOVER
    path = write(tmp_path, PLOVER.replace(old, new, 1))
    with pytest.raises(FlightError, match=told) as problem:
        read_flight(path)
    assert str(problem.value).startswith(str(tmp_path))
    assert "\n" not in str(problem.value)


def rows(height, count=200, step=0.05):
    times = np.arange(count) * step
    lines = [f"{t:.2f},{h:.2f}" for t, h in zip(times, height(times), strict=True)]
    return "time_s,height_m\n" + "\n".join(lines) + "\n"


def hop(t):
    return np.maximum(30 * (t - 2) - 4.9 * (t - 2) ** 2, 0) * (t > 2)


BAD_RECORDS = [
    ("empty", "", r"is empty"),
    ("binary", b"\x89PNG\x00\xff", r"is not text"),
    ("NUL", b"time_s\0", r"NUL"),
    ("header only", "time_s,height_m\n", r"0 rows below the header"),
    ("column", "time_s,hieght_m\n0,0\n", r"line 1: .*did you mean 'height_m'"),
    (
        "far column",
        "# x\ntime_s,zzz\n0,0\n",
        r"line 2: unknown column 'zzz'; accepted: time_s",
    ),
    ("no header", "0.0,1.0\n0.1,1.0\n", r"line 1: unknown column '0.0'"),
    ("no height", "time_s,speed_mps\n0,0\n", r"line 1: has no height"),
    ("no time", "height_m\n0\n", r"line 1: has no time"),
    (
        "two heights",
        "time_s,height_m,height_ft\n0,0,0\n",
        r"line 1: names one quantity",
    ),
    (
        "back",
        "time_s,height_m\n0,0\n# x\n2,1\n1,2\n",
        r"line 5: time_s 1 must not go back",
    ),
    ("word", "time_s,height_m\n0,0\n1,up\n", r"line 3: height_m 'up'; accepted"),
    ("NaN", "time_s,height_m\n0,0\n1,nan\n", r"line 3: height_m 'nan'; accepted"),
    (
        "infinite",
        "time_s,height_m\n0,0\n1e999,2\n",
        r"line 3: time_s '1e999'; accepted",
    ),
    (
        "huge",
        "time_s,height_ft\n0,1e9\n",
        r"line 2: height_ft '1e9'; accepted is -98425.2 to 98425.2",
    ),
    ("cells", "time_s,height_m\n0,0,0\n", r"line 2: 3 cells; the header names 2"),
    ("few", "time_s,height_m\n0,0\n1,50\n2,80\n3,60\n", r"holds 4 usable points"),
    ("one moment", "time_s,height_m\n" + "1,0\n" * 40, r"holds 1 usable points"),
    (
        "flat",
        rows(lambda t: 0 * t),
        r"never rises 20 m above its start \(most is 0.0 m\)",
    ),
    ("low", rows(lambda t: hop(t) / 4), r"never rises 20 m"),
    ("no fall", rows(lambda t: hop(np.minimum(t, 5.0))), r"shows no apogee"),
    ("still rising", rows(lambda t: 10 * t), r"shows no apogee"),
    ("begins high", rows(lambda t: 200 + hop(t + 2.5)), r"begins 2\d\d m up"),
    ("coarse", rows(hop, 12, 1.0), r"holds 12 usable points"),
    ("few on the way up", rows(hop, 30, 0.4), r"on the way up"),
    ("saw", rows(lambda t: 100 * np.sin(1.3 * t) ** 2), r"plover_flight"),
    (
        "long",
        "time_s,height_m\n" + "1,1\n" * 500_001,
        r"500001 rows below the header; accepted are 1 to 500000",
    ),
]


@pytest.mark.parametrize(
    ("record", "told"), [b[1:] for b in BAD_RECORDS], ids=[b[0] for b in BAD_RECORDS]
)
def test_bad_records_are_refused_in_one_line(tmp_path, record, told):
    path = write(tmp_path, record=record)
    with pytest.raises(FlightError, match=told) as problem:
        read_flight(path)
    assert str(problem.value).startswith(str(tmp_path / "plover_flight.csv"))
    assert "\n" not in str(problem.value)


def test_a_record_too_large_is_not_read(tmp_path):
    with pytest.raises(FlightError, match="accepted: 20,000,000 at most"):
        read_flight(write(tmp_path, record=b"#" * 20_000_001))


@pytest.mark.parametrize(
    ("remark", "column"),
    [("heights in metres", "height_ft"), ("feet above the pad", "height_m")],
)
def test_a_record_whose_remark_tells_another_unit_is_refused(remark, column):
    text = f"# {remark}\n{column},time_s\n10,0\n20,1\n"
    with pytest.raises(FlightError, match=r"a remark.*unit that no column is in"):
        read_record(text, "x.csv")


def test_columns_come_in_any_order_and_in_feet():
    record = read_record('"height_ft", time_s,speed_fps\n10,0,1\n20,0,2\n', "x.csv")
    assert record.height == pytest.approx([3.048, 6.096])
    assert record.speed == pytest.approx([0.3048, 0.6096])
    assert list(record.time) == [0, 0]  # the same moment twice is no mistake


def test_a_record_checks_itself():
    with pytest.raises(ValueError, match="must not go back"):
        Record(np.array([1.0, 0.0]), np.zeros(2))
    with pytest.raises(ValueError, match="one length"):
        Record(np.array([0.0, 1.0]), np.zeros(3))
    with pytest.raises(ValueError, match="finite"):
        Record(np.array([0.0, 1.0]), np.array([0.0, np.nan]))
