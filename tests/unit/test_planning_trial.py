"""A planned verdict is the one an assessment gives, but for questions of the day."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from driftmap.air.transformed import scaled
from driftmap.air.wind import Stronger, WindLevel, WindProfile, direction_and_speed
from driftmap.core.errors import WindError
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.documents import supposed_basis
from driftmap.planning.trial import (
    Trial,
    basis_of,
    limits_believed,
    nearness,
    pack,
    try_flight,
    unpack,
)
from driftmap.rocket.fields import Uncertain
from driftmap.rules.answers import Answers
from driftmap.verdict.assessment import assess
from driftmap.verdict.check import Check, Kind, decide
from driftmap.verdict.setup import Setup
from driftmap.winds.profile import read_wind


@pytest.fixture(scope="module")
def setup(saltgrass, dunlin):
    return Setup(dunlin, saltgrass, 300, 7)


@pytest.mark.parametrize("rules", ["", "us"])
@pytest.mark.parametrize(
    "stronger",
    [(), (Stronger(WindLevel(10.0, 3.5, 10.0, None, "mast"), "10 m/s an hour ago"),)],
)
def test_checks_are_those_of_an_assessment(setup, rules, stronger):
    here = replace(setup, site=replace(setup.site, rules=rules))
    wind = suppose(Supposition(here.site.elevation), 200.0, 5.0)
    wind = replace(wind, stronger=stronger)
    trial = try_flight(here, wind)
    whole = assess(here.flight, here.site, wind, samples=300, seed=7)
    # An assessment alone flies the aim that would avoid a fall on people, and notes it.
    bare = [[replace(c, note="") for c in one.checks] for one in (trial, whole)]
    assert bare[0] == bare[1]
    assert trial.verdict == decide(c for c in whole.checks if not c.question)
    assert trial.questions  # without rules, that there are none is one


def test_open_questions_are_listed_and_none_of_them_blocks(setup):
    here = replace(setup, site=replace(setup.site, rules="us"))
    wind = suppose(Supposition(here.site.elevation), 200.0, 2.0)
    basis = basis_of(here, wind, suppose(Supposition(here.site.elevation), 20.0, 2.0))
    assert any("sunrise" in question for question in basis.questions)
    assert any("of flights (assumed)" in note for note in basis.assumed)
    assert not any("rail leans" in note for note in basis.assumed)
    assert not any(check.question for check in try_flight(here, wind).blocks)


def test_a_setup_travels_with_its_read_only_mappings(setup):
    here = replace(setup, site=replace(setup.site, limits={"area_hit": "2 %"}))
    back = unpack(pack(here))
    assert dict(back.site.limits) == {"area_hit": "2 %"}
    wind = suppose(Supposition(here.site.elevation), 30.0, 4.0)
    assert try_flight(back, wind) == try_flight(here, wind)


def test_what_cannot_be_flown_is_not_known_and_never_go(setup):
    tall = setup.flight.apogee.model_copy(update={"time": Uncertain(0.5)})
    wrong = replace(setup, flight=setup.flight.model_copy(update={"apogee": tall}))
    trial = try_flight(wrong, suppose(Supposition(setup.site.elevation), 0.0, 1.0))
    assert trial.verdict == "not known"
    assert "no motor brings" in trial.blocked_by


def test_too_few_samples_are_told(setup):
    basis = basis_of(setup, suppose(Supposition(setup.site.elevation), 20.0, 2.0))
    assert basis.need.flights >= 3689
    assert "no verdict here can be go" in basis.need.warning(setup.samples)
    assert basis.need.warning(basis.need.flights) == ""


def test_the_worst_is_named_first(setup):
    wind = suppose(Supposition(setup.site.elevation), 200.0, 12.0)
    trial = try_flight(setup, wind)
    outcomes = [check.outcome for check in trial.blocks]
    assert outcomes == sorted(outcomes, key=["fail", "warn"].index)
    assert outcomes[0] == "fail"
    assert nearness(trial.blocks[0]) > 1


def test_the_worse_end_tells_how_near_a_limit_is():
    line = {"kind": Kind.RAIL_SPEED, "outcome": "warn", "source": "", "value": 14.0}
    ends = {"interval": (10.0, 20.0), "limit": 16.0}
    assert nearness(Check(**line, **ends, sense="least")) == pytest.approx(1.6)
    assert nearness(Check(**line, **ends, sense="most")) == pytest.approx(1.25)


def test_a_supposed_wind_is_that_in_words_but_known_to_the_top():
    said = read_wind("4 m/s from 250 at 10 m", site_altitude=900.0)
    wind = suppose(Supposition(900.0), 250.0, 4.0)
    for name in ("height", "east", "north", "error"):
        assert np.allclose(getattr(wind, name), getattr(said, name), rtol=1e-12)
    assert wind.known_to == wind.height[-1] > said.known_to
    notes = " ".join(wind.assumed)
    assert "counts as known to the top" in notes
    assert "no source speaks" not in notes
    assert "age at the flight" not in notes
    assert "4.000000" not in notes


def test_a_shape_keeps_its_growth_and_its_turning():
    shape = WindProfile(
        [10, 1000], [0, 3], [-2, -4], [0.5, 1.0], source="noon", age=2.0
    )
    wind = suppose(Supposition(0.0, shape), 90.0, 4.0)
    before, after = (direction_and_speed(w.east, w.north) for w in (shape, wind))
    assert np.allclose(after[1], 2 * before[1])
    assert np.degrees(after[0][0]) == pytest.approx(90.0)
    turned = np.diff(after[0]) - np.diff(before[0])
    assert np.cos(turned) == pytest.approx(1.0)
    assert np.allclose(wind.error, 2 * shape.error)
    assert wind.age == 0.0  # a plan's wind counts as fresh
    lighter = suppose(Supposition(0.0, shape), 90.0, 1.0)
    assert np.allclose(lighter.error, shape.error)


def test_a_calm_shape_cannot_be_scaled():
    calm = WindProfile([10.0], [0.1], [0.0], [1.0], source="dawn.csv")
    with pytest.raises(WindError, match=r"dawn\.csv: 0\.1 m/s at 10 m"):
        Supposition(0.0, calm)


def test_head_height_is_less_than_ten_metres():
    # ln(2/0.03) / ln(10/0.03), the logarithmic law over open land
    assert 1 / Supposition(0.0).over(2.0) == pytest.approx(
        np.log(2 / 0.03) / np.log(10 / 0.03)
    )


def test_a_word_on_limits_counts_on_the_day_of_the_flights(setup):
    """A season is over: what counts today says nothing of a flight before it was given."""
    signed = {"area_hit": "1 %", "set_by": "Ada Quill"}
    today = datetime.now(UTC)
    for given, loosened in ((today - timedelta(days=90), True), (today, False)):
        limits = {**signed, "set_on": given.date().isoformat()}
        site = replace(setup.site, limits=limits)
        said = Answers(when=today - timedelta(days=30))
        there = limits_believed(replace(setup, site=site, answers=said))["area_hit"]
        assert (there.value == 0.01) == loosened


@pytest.mark.parametrize(
    "told",
    [
        {"members": [[[0.5, 3.0, 4.0]] * 2, [[0.5, 9.0, 25.0]] * 2]},
        {"stronger": (Stronger(WindLevel(300.0, 3.5, 9.0, None, "t"), "9 m/s"),)},
        {"with_most": WindProfile([2.0, 3000.0], [1.0, 9.0], [1.0, 9.0], [1.0, 1.0])},
        {"with_aside": WindProfile([2.0, 3000.0], [1.0, 9.0], [1.0, 9.0], [1.0, 1.0])},
        {},
    ],
)
def test_a_shape_of_which_more_is_told_leaves_no_go_without_a_look_aloft(setup, told):
    """An assessment in that wind judges the other winds too, and may hold for one."""
    shape = WindProfile([2, 300, 3000], [0.5, 3, 4], [0.5, 3, 4], [1, 1, 1], **told)
    supposition = Supposition(setup.site.elevation, shape)
    wind = suppose(supposition, 200.0, 0.8)
    # As if all of it had been read at the ground.
    assert basis_of(setup, wind, known=[wind]).aloft is bool(told)


def test_what_else_was_told_is_made_stronger_and_turned_with_the_wind():
    told = Stronger(WindLevel(300.0, 1.0, 9.0, 12.0, "table"), "9 m/s")
    other = WindProfile([10.0], [0.0], [6.0], [1.0])
    wind = WindProfile([10], [0], [4], [1], stronger=(told,), with_aside=other)
    for factor, expected in ((2.0, 18.0), (0.5, 9.0)):  # never milder than it was
        there = scaled(wind, factor, 0.5)
        level = there.stronger[0].level
        assert (level.speed, level.direction) == (expected, 1.5)
        aside = np.hypot(*there.with_aside.at(10.0))
        assert aside == pytest.approx(expected / 1.5)


def test_what_is_beyond_its_limit_is_named_before_what_so_few_flights_cannot_tell():
    told = {"outcome": "warn", "source": "a code"}
    few = Check(
        kind=Kind.INDIVIDUAL_RISK,
        name="few",
        value=1e-7,
        interval=(0, 1e-3),
        limit=1e-6,
        **told,
    )
    over = Check(
        kind=Kind.RAIL_OVER_WIND, name="over", value=3.5, interval=(3.4, 3.6), limit=4.0, sense="least", **told
    )  # fmt: skip
    for checks in ((few, over), (over, few)):
        assert Trial("hold", checks).held_by is over


@pytest.mark.parametrize(
    ("speed", "way", "known_to", "other"),
    [
        (3.0, 270.0, 600, False),
        (2.5, 270.0, 600, True),
        (3.0, 230.0, 600, True),
        (2.5, 230.0, 60, False),
    ],
)
def test_a_meter_that_reads_another_wind_leaves_no_go_by_other_winds_aloft_than_were_read(
    setup, speed, way, known_to, other
):
    """13 m/s from 270 at 300 m and 3.2 at the meter: 0.8, 2.8 and 9 m/s from that."""
    shape = WindProfile(
        [2, 100, 300, 600], [3.2, 8, 13, 14], [0] * 4, [0.5, 1, 1, 1], known_to=known_to
    )
    supposition = Supposition(setup.site.elevation, shape, at=2.0)
    basis = supposed_basis(setup, supposition, (speed, way), measured=True)
    assert basis.aloft is other


def test_what_another_report_told_is_not_moved_by_the_meter(setup):
    told = Stronger(WindLevel(10.0, 1.0, 4.6, None, "METAR"), "4.6 m/s")
    shape = WindProfile([2, 10, 60], [2, 3, 4], [0] * 3, [1] * 3, strongest=4.6)
    shape = replace(shape, stronger=(told,))
    supposition = Supposition(setup.site.elevation, shape, at=2.0)
    for speed in (1.0, 4.0):
        wind = suppose(supposition, 200.0, speed)
        assert (wind.strongest, wind.stronger) == (4.6, (told,))
