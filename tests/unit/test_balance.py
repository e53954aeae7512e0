"""Static margin, normal force and inertia: stated, computed, assumed, and judged."""

from dataclasses import replace
from pathlib import Path

import pytest

from driftmap.cli import main
from driftmap.core.errors import FlightError, NoGoError
from driftmap.montecarlo.cloud import fly
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flightfile import read_flight
from driftmap.rocket.stability import balance
from driftmap.verdict.check import Kind
from driftmap.verdict.claim_checks import implausible
from driftmap.verdict.launch_checks import rail_checks
from driftmap.verdict.limits import LIMITS
from driftmap.winds.profile import read_wind

EXAMPLES = Path(__file__).parents[2] / "examples"
WHIMBREL = (EXAMPLES / "whimbrel.toml").read_text(encoding="utf-8")
CENTRE = 'centre_of_mass = "1.71 m"'


@pytest.fixture
def whimbrel(tmp_path):
    def read(*changes):
        text = WHIMBREL
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "whimbrel.toml"
        path.write_text(text, encoding="utf-8")
        return read_flight(path)

    return read


def test_margin_by_hand_from_fins_and_centre_of_mass(whimbrel):
    """Nose: 2 at 0.57 x 0.46 m. Fins: 12.22 at 2.15 m + 0.0485 + 0.0379 m behind the nose.

    Centre of pressure (2 x 0.262 + 12.22 x 2.2363) / 14.22 = 1.9585 m, less 1.71 m, over
    0.102 m: 2.44 calibres.
    """
    steady = balance(whimbrel())
    assert steady.known
    assert steady.margin[1] == pytest.approx(2.44, abs=0.01)
    assert steady.spreads["normal-force slope"].middle == pytest.approx(14.22, abs=0.01)
    # Two spreads to either side: of the computed centre 0.25 calibres, and of what is told.
    for told, spread in ((CENTRE, 0.25), ('centre_of_mass = "1.71 m +/- 5 cm"', 0.551)):
        low, middle, high = balance(whimbrel((CENTRE, told))).margin
        assert (middle - low, high - middle) == pytest.approx(
            (2 * spread,) * 2, abs=0.002
        )


def test_a_fin_further_back_or_swept_steadies(whimbrel):
    before = balance(whimbrel()).margin[1]
    root = 'root = "20 cm"'
    swept = balance(whimbrel((root, f'{root}\nsweep = "20 cm"'))).margin[1]
    forward = balance(whimbrel((root, f'{root}\nposition = "1.6 m"'))).margin[1]
    assert forward < before - 2 < swept - 2


def test_stated_figures_stand(whimbrel):
    keys = 'stability = "1.4 cal +/- 0.1 cal"\nmoment_of_inertia = "5 kg m2"\nlift_slope = 11'
    steady = balance(whimbrel((CENTRE, keys)))
    assert steady.margin == pytest.approx((1.2, 1.4, 1.6))
    assert steady.spreads["moment of inertia"].middle == 5
    assert steady.spreads["normal-force slope"].middle == 11
    assert not any("static margin" in note for note in steady.assumed)


def test_what_is_not_stated_is_assumed_and_told(whimbrel):
    steady = balance(whimbrel((CENTRE, "")))
    assert not steady.known
    assert steady.margin == (1.0, 2.0, 3.0)
    for name in ("static margin", "moment of inertia", "swing damping"):
        assert any(note.startswith(name) for note in steady.assumed), name


@pytest.mark.parametrize(
    ("keys", "outcome"),
    [
        ("", "warn"),
        ('stability = "2 cal"', "pass"),
        ('stability = "1.05 cal"', "warn"),
        ('stability = "0.7 cal"', "fail"),
        ('stability = "-1 cal"', "fail"),
        (CENTRE, "pass"),
        ('centre_of_mass = "1.86 m"', "warn"),
        ('centre_of_mass = "2.0 m"', "fail"),
    ],
)
def test_a_margin_under_one_calibre_holds_or_fails(whimbrel, keys, outcome):
    flight = whimbrel((CENTRE, keys))
    wind = read_wind("6 mph from 240", site_altitude=0.0)
    checks = rail_checks(fly(flight, wind, 0.0, samples=40, seed=1), wind, LIMITS)
    (check,) = [c for c in checks if c.kind is Kind.STATIC_MARGIN]
    assert check.outcome == outcome
    assert check.source == "common practice, no source"
    assert (check.value is None) == (keys == "")


@pytest.mark.parametrize(
    ("margin", "length", "held"),
    [(5.9, 1.3, False), (6.1, 1.3, True), (6.1, 3.3, False), (9.3, 2.3, True)],
)
def test_a_great_margin_is_doubted_beside_the_length(whimbrel, margin, length, held):
    """Slender rockets are steady by many diameters: told truly they fly."""
    flight = whimbrel((CENTRE, f'stability = "{margin} cal"'))
    wind = read_wind("6 mph from 240", site_altitude=0.0)
    cloud = fly(flight, wind, 0.0, samples=40, seed=1)
    frame = flight.airframe.model_copy(update={"length": length})
    plan = replace(cloud.plan, flight=flight.model_copy(update={"airframe": frame}))
    told = [c.name for c in implausible(replace(cloud, plan=plan))]
    assert any("static margin" in name for name in told) == held


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        (f'{CENTRE}\nstability = "2 cal"', "not both"),
        ('centre_of_mass = "2.4 m"', "within the length"),
        ('moment_of_inertia = "80 kg m2"', "must not exceed"),
        ('stability = "60 cal"', "from -20 to 20 cal"),
        ('stability = "2 m"', "no unit of margin"),
        ("lift_slope = 1.0", "must lie from 1.9 to 100"),
    ],
)
def test_bad_keys_are_one_line(whimbrel, keys, says):
    with pytest.raises(FlightError, match=says):
        whimbrel((CENTRE, keys))


def test_sweep_goes_with_a_shape(whimbrel):
    length = 'length = "0.46 m"'
    with pytest.raises(FlightError, match="sweep goes with root"):
        whimbrel((length, f'{length}\nsweep = "0.1 m"'))


def test_thrust_that_does_not_lift_is_no_go(whimbrel, monkeypatch, capsys):
    flight = whimbrel(('total_impulse = "2250 N s"', 'total_impulse = "200 N s"'))
    wind = read_wind("6 mph from 240", site_altitude=0.0)
    with pytest.raises(NoGoError, match="off the rail"):
        fly(flight, wind, 0.0, samples=10, seed=1)
    words = ["driftmap", "cases", flight.source, "--wind", "6 mph from 240"]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 4
    assert capsys.readouterr().err.startswith("driftmap: NO-GO: ")


def test_a_burn_that_outlasts_the_way_up_is_no_go(willet):
    """The noise of a bench, recorded on after the thrust: its top would be where that ends."""
    motor = willet.motor
    noise = {"times": (*motor.times, 30.0), "thrusts": (*motor.thrusts[:-1], 0.5, 0.0)}
    noise["burn_time"] = Uncertain(30.0, None)
    flight = willet.model_copy(update={"motor": motor.model_copy(update=noise)})
    wind = read_wind("6 mph from 240", site_altitude=0.0)
    with pytest.raises(NoGoError, match="before 30 s, when its motor is burnt out"):
        fly(flight, wind, 0.0, samples=10, seed=1)


@pytest.mark.parametrize("impulse", ["60000 N s", "200000 N s"])
def test_beyond_the_models_is_bad_input(whimbrel, impulse):
    """Above Mach 5 or 20 km."""
    flight = whimbrel(('"2250 N s"', f'"{impulse}"'))
    wind = read_wind("6 mph from 240", site_altitude=0.0)
    with pytest.raises(FlightError) as refused:
        fly(flight, wind, 0.0, samples=10, seed=1)
    assert not isinstance(refused.value, NoGoError)
    assert len(str(refused.value).splitlines()) == 1
