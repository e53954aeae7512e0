"""Thrust curves as data sheets and load cells write them."""

import pytest

from driftmap.core.errors import FlightError
from driftmap.rocket.curvefile import read_curve
from driftmap.rocket.stages import Motor

PLAIN = "time_s,thrust_n\n0,0\n0.1,98.0665\n1.2,0\n"


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        "# load cell\ntime_ms;thrust_kgf\n0;0\n100;10,0\n1200;0\n",
        "thrust_kgf\ttime_s\n0\t0\n10\t0.1\n0\t1.2\n",
        "Time (s);Force [N]\n0;0\n0,1;98,0665\n1,2;0\n",
        "t (ms),load_g\n0,0\n100,10000\n1200,0\n",
        # 10 kgf is 22.0462 lbf
        "time_s,thrust_lbf\n0,0\n0.1,22.046226218\n1.2,0\n",
    ],
)
def test_units_and_separators_say_the_same(text):
    times, thrusts = read_curve(text, "motor.csv")
    assert times == pytest.approx([0.0, 0.1, 1.2])
    assert thrusts == pytest.approx([0.0, 98.0665, 0.0])


def test_noise_below_zero_is_no_thrust_and_the_tail_is_cut():
    text = PLAIN + "1.3,-0.3\n1.4,-0.1\n1.5,0\n"
    times, thrusts = read_curve(text, "motor.csv")
    assert times[-1] == 1.2
    assert min(thrusts) == 0.0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f"# thrust in pounds force\n{PLAIN}", "a remark.*unit that no column is in"),
        (f"# Newtons\n{PLAIN.replace('_n', '_lbf')}", "a remark.*unit that no column"),
        ("time_s,thrust_n\n0,0\n1,50\n2,-8\n", "line 4.*below zero by more than noise"),
        ("time,thrust\n0,0\n", "header.*time_s or time_ms, and thrust_n"),
        ("times,thrust_n\n0,0\n", "header"),
        ("time_s,load\n0,0\n", "header"),
        ("time_s,thrust_n,note\n0,0,x\n", "header"),
        ("time_s,thrust_n\n0,0\n0,5\n", "line 3: time 0 must follow 0"),
        (
            "time_s,thrust_n\n0,x\n1,2\n",
            "line 2: thrust_n .x.; accepted is a finite number",
        ),
        ("time_s,thrust_n\n-1,0\n1,2\n", "line 2: time -1 must not be negative"),
        ("time_s,thrust_n\n0,0\n1,0\n", "no thrust above zero"),
        ("time_s,thrust_n\n0,0\n1,90\n2,5\n", "line 4: ends with 5 N, the motor still"),
        ('time_s,thrust_n\n0,0\n1,"1,234"\n', "line 3: thrust_n '1,234'; accepted"),
        ("time_s\tthrust_n\n0\t0\n1\t1,234\n", "line 3: thrust_n '1,234'; accepted"),
        ("time_s;thrust_n\n0;0\n1;1,234\n", "line 3: thrust_n '1,234'; accepted"),
        ("time_s,thrust_n\n0,0\n", "1 rows below the header"),
    ],
)
def test_what_cannot_be_a_thrust_curve_is_refused(text, told):
    with pytest.raises(FlightError, match=told):
        read_curve(text, "motor.csv")


@pytest.mark.parametrize("before", ["", "1.0,0.2\n", "0.5,0\n0.9,1\n"])
@pytest.mark.parametrize("behind", ["", "2.5,0.4\n3,0\n"])
def test_nothing_before_or_behind_a_burn_stretches_it(before, behind):
    """A zero that stands or wanders makes no motor a weaker one, nor lights it later."""
    at = 1.0 if before else 0.0
    burn = [(0.01, 100), (1.4, 100), (1.45, 0.4 if behind else 0)]
    rows = "".join(f"{at + time},{thrust}\n" for time, thrust in burn)
    behind = behind.replace("3,", f"{at + 3},").replace("2.5,", f"{at + 2.5},")
    text = f"time_s,thrust_n\n0,0\n{before}{rows}{behind}"
    times, thrusts = read_curve(text, "motor.csv")
    assert times[1] <= 0.11 + 1e-9
    impulse = sum(
        (b - a) * (f + g) / 2
        for a, b, f, g in zip(times, times[1:], thrusts, thrusts[1:], strict=False)
    )
    motor = Motor(
        propellant_mass=0.075, total_impulse=impulse, burn_time=times[-1],
        times=times, thrusts=thrusts,
    )  # fmt: skip
    # A row just before it is joined to it by a straight line: some 3 % at the most.
    assert motor.average_thrust == pytest.approx(98.5, abs=3.5)
