"""Flights planned without recovery, and what recovery they would need, by hand."""

from datetime import datetime
from math import exp, pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from driftmap import assess, fly, read_flight, read_wind
from driftmap.air.wind import WindProfile
from driftmap.core.errors import FlightError
from driftmap.formulas.canopies import drag_spread
from driftmap.montecarlo.margins import _holds_until, opening_windows
from driftmap.rocket.alternatives import NONE, alternatives, canopy_for
from driftmap.rocket.bodies import CROSSFLOW_DRAG, HANG
from driftmap.rocket.cases import build_cases
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.verdict.check import Kind
from driftmap.verdict.limits import LIMITS
from driftmap.verdict.recovery_checks import recovery_checks

ROOT = Path(__file__).parents[2]
CALM = WindProfile(np.array([0.0, 3000.0]), [0.0, 0.0], [0.0, 0.0], [0.0, 0.0])


def bare(tmp_path, planned="nose first", *, keep=False):
    text = (ROOT / "examples" / "willet.toml").read_text()
    start, end = text.index("[[recovery]]"), text.index("[[piece]]")
    recovery = text[start:end] if keep else ""
    how = f'[descent]\nplanned = "{planned}"\n\n' if planned else ""
    path = tmp_path / "bare.toml"
    path.write_text(text[:start] + recovery + how + text[end:])
    curve = ROOT / "examples" / "willet_motor.csv"
    (tmp_path / curve.name).write_bytes(curve.read_bytes())
    return path


def test_a_planned_fall_is_flown_as_the_plan(tmp_path):
    """From h at rest, v² = vt² (1 - exp(-2 g h / vt²)), nose first."""
    flight = read_flight(bare(tmp_path))
    cloud = fly(flight, CALM, 0.0, samples=400, seed=3)
    assert cloud.tree.cases[0].name == BARE
    causes = {case.cause for case in cloud.tree.cases}
    under_power = {case.cause for case in cloud.tree.cases if case.any_way}
    assert causes - under_power == {BARE, "fins come off", "nose cone lost"}
    area = 0.48 * flight.airframe.cross_section
    vt2 = 2 * flight.dry_mass * 9.80665 / (1.19 * area)  # air of 300 m, on its way
    height = float(np.median(cloud.apogee.height))
    expected = sqrt(vt2 * (1 - exp(-2 * 9.80665 * height / vt2)))
    speed = np.median(cloud.speed[next(cloud.of(BARE)).rows])
    assert speed == pytest.approx(expected, rel=0.03)
    tumbling = read_flight(bare(tmp_path, "tumbling"))
    slow = fly(tumbling, CALM, 0.0, samples=400, seed=3)
    assert np.median(slow.speed[next(slow.of(BARE)).rows]) < 0.3 * speed


@pytest.mark.parametrize(
    ("planned", "keep", "told"),
    [
        ("", False, "needs \\[\\[recovery\\]\\], or"),
        ("nose first", True, "not both"),
        ("gliding", False, "descent.planned"),
    ],
)
def test_one_way_down_must_be_planned(tmp_path, planned, keep, told):
    with pytest.raises(FlightError, match=told):
        read_flight(bare(tmp_path, planned, keep=keep))


def test_no_recovery_holds_though_no_flight_comes_to_it(tmp_path):
    """Fins of foil all come off: the fall that was planned is never seen."""
    path = bare(tmp_path)
    text = (
        path.read_text()
        .replace('"2.4 mm"', '"0.2 mm"')
        .replace("glass epoxy", "plywood")
    )
    path.write_text(text)
    cloud = fly(read_flight(path), CALM, 0.0, samples=60, seed=3)
    assert next(cloud.of(BARE), None) is None
    told = [c for c in recovery_checks(cloud, LIMITS) if c.kind is Kind.NO_RECOVERY]
    assert [check.outcome for check in told] == ["warn"]


def test_a_light_model_may_tumble_where_people_agree(tmp_path):
    """Below the 20 m/s that fail under a canopy it holds; nose first nobody's word is asked."""
    path = bare(tmp_path, "tumbling")
    for planned, mass, expected in (
        ("tumbling", "0.31 kg", "warn"),
        ("nose first", "0.31 kg", "fail"),
        ("nose first", "1.85 kg", "fail"),
    ):
        text = bare(tmp_path, planned).read_text().replace("1.85 kg", mass, 1)
        text = text[: text.index("[[piece]]")]
        path.write_text(text)
        cloud = fly(read_flight(path), CALM, 0.0, samples=60, seed=3)
        told = [c for c in recovery_checks(cloud, LIMITS) if c.kind is Kind.NO_RECOVERY]
        assert [check.outcome for check in told] == [expected], planned


def test_a_planned_fall_that_kills_is_no_go(tmp_path, saltgrass):
    wind = read_wind(
        str(ROOT / "examples" / "morning.csv"),
        site_altitude=saltgrass.elevation,
        when=datetime.fromisoformat("2026-06-13T08:30-07:00"),
    )
    result = assess(read_flight(bare(tmp_path)), saltgrass, wind, samples=500)
    (check,) = [c for c in result.checks if c.kind is Kind.NO_RECOVERY]
    assert check.outcome == "fail"
    assert "nose first" in check.name
    assert result.verdict == "no-go"
    judged = {c.case for c in result.checks if c.kind is Kind.LANDS_IN_FAILURE}
    assert BARE in judged


def test_alternatives_hold_none_beside_canopies_and_streamers(tmp_path, whimbrel):
    without = alternatives(whimbrel)[NONE]
    cases = fly(without, CALM, 0.0, samples=100, seed=1).tree.cases
    assert cases[0].name == BARE
    # Likelihoods of what cannot happen without recovery go with it.
    assert whimbrel.cases
    assert not without.cases
    others = alternatives(read_flight(bare(tmp_path)))
    assert any("streamer" in name for name in others)
    assert sum("canopy" in name for name in others) == 3
    for other in others.values():
        fly(other, CALM, 0.0, samples=20, seed=1)


def test_no_recovery_throws_off_nothing_whose_likelihood_a_file_tells(willet):
    """What recovery alone lets out is no case of a flight without, unless it is listed."""
    told = {"nose cone lost": 0.01, "motor case ejected": 0.01}
    for pieces in (willet.pieces, willet.pieces[:1]):
        flight = willet.model_copy(update={"cases": told, "pieces": pieces})
        kinds = {piece.kind for piece in pieces}
        others = alternatives(flight).values()
        assert {bool(other.recovery) for other in others} == {True, False}
        for other in others:
            causes = {case.cause for case in build_cases(other).cases}
            thrown = {"nose cone lost", "motor case ejected"}
            listed = {"nose cone lost"} if "nose cone" in kinds else set()
            assert causes & thrown == (thrown if other.recovery else listed)


@pytest.mark.parametrize("speed", [4.5, 6.0, 8.0])
@pytest.mark.parametrize("density", [1.225, 1.05])
def test_a_canopy_for_a_speed_lands_at_that_speed(speed, density, willet):
    across = canopy_for(willet, speed, density)
    frame = willet.airframe
    area = CROSSFLOW_DRAG * frame.length * frame.diameter * HANG.middle
    area += drag_spread("flat circular").middle * pi * across**2 / 4
    lands = np.sqrt(2 * willet.dry_mass * 9.80665 / (density * area))
    assert lands == pytest.approx(speed)
    assert canopy_for(willet, 60.0) is None  # it falls no faster without


def test_the_window_of_an_opening_ends_where_it_gives(willet):
    """In vacuum an opening t off apogee is at g t; the load goes as its square."""

    def window(force):
        device = willet.recovery[0].model_copy(update={"strength": {"canopy": force}})
        flight = willet.model_copy(update={"recovery": (device,)})
        cloud = fly(flight, CALM, 0.0, samples=3000, seed=4)
        return opening_windows(cloud)[0], cloud

    weak, cloud = window(400.0)
    strong, _ = window(1600.0)
    assert 0 < weak["before_s"] < strong["before_s"]
    assert 1.5 < strong["before_s"] / weak["before_s"] < 2.6  # twice the speed
    load = cloud.openings["early opening", "main"][1]
    time = cloud.openings["early opening", "main"][6]
    inside = cloud.apogee.time - time < weak["before_s"]
    assert np.mean(load[inside] < 400.0) > 0.9
    assert WORKS in {case.name for case in cloud.tree.cases}


@pytest.mark.parametrize(("hold", "until"), [(19, 0.75), (18, 0.25)])
def test_a_window_ends_where_fewer_than_nineteen_of_twenty_hold(hold, until):
    """Of twenty openings in each quarter of a second, what is on time among the first."""
    off = np.repeat([-0.1, 0.3, 0.6], 20)
    holds = np.where(off > 0, np.tile(np.arange(20) < hold, 3), 1.0)
    assert _holds_until(off, holds) == until
