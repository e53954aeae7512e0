"""Rail aim: never beyond the code's tilt, away from people, and back inside."""

import re
from dataclasses import replace
from math import radians

import numpy as np
import pytest
import shapely

from driftmap.core.units import quantity
from driftmap.ground.areas import Area, Site, Waiver
from driftmap.planning import aim
from driftmap.planning.aim import Aim, best_aims, grid_of_aims
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.trial import Trial
from driftmap.report import candidates
from driftmap.report.candidates import aim_svg, rail_text
from driftmap.report.plan_pages import aim_rows
from driftmap.report.voice import english
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.assessment import assess_setup
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.setup import Setup, flown


def test_a_flight_is_aimed_and_keeps_its_error(dunlin):
    other = dunlin.aimed(np.radians(90.0), np.radians(10.0))
    assert other.rail.angle.value == pytest.approx(np.radians(10))
    assert other.rail.azimuth == pytest.approx(np.pi / 2)
    assert other.rail.angle.spread == dunlin.rail.angle.spread
    assert dunlin.rail.azimuth == "into the wind"


def test_the_grid_reaches_the_limit_and_no_further():
    tilts = {tilt for tilt, _ in grid_of_aims(20.0)}
    assert max(tilts) == 20.0
    assert min(tilts) == 0.0


@pytest.fixture(scope="module")
def found(dunlin):
    """A crowd to the south, where the wind comes from and the rail would lean."""
    crowd = Area("Crowd", "spectators", shapely.box(-200, -250, 200, -60), people=90)
    site = Site(
        name="Field",
        elevation=300.0,
        longitude=-100.0,
        latitude=40.0,
        areas=(crowd,),
        boundary=shapely.Point(0, 0).buffer(700),
        waiver=Waiver(shapely.Point(0, 0).buffer(4000), 2000.0),
        limits={"rail_tilt": "16.1 deg", "area_hit": "5 %"},
        source="field.geojson",
    )
    setup = Setup(dunlin, site, 200, 2)
    wind = suppose(Supposition(300.0), 180.0, 3.0)
    with pytest.MonkeyPatch.context() as patch:  # a grid of five, to be quick
        patch.setattr(aim, "_SHARES_OF_LIMIT", (0.5, 1.0))
        patch.setattr(aim, "_TURN", 180.0)
        patch.setattr(aim, "_REFINED", 1)
        return setup, wind, *best_aims(setup, wind)


def test_the_best_aim_turns_away_from_the_crowd(found):
    *_, planned, aims = found
    best = aims[0]
    assert best.over == ()
    assert best.worst_failure.value < planned.worst_failure.value
    # What goes as planned is no failure, though a check of the same kind tells of it.
    worst, trial = planned.worst_failure, planned.trial
    more = replace(trial, checks=(*trial.checks, replace(worst, case=WORKS, value=1.0)))
    assert replace(planned, trial=more).worst_failure == worst
    assert best.nearness <= planned.nearness
    # As far within the limit as a rail is set amiss, where the file does not say.
    assert max(a.tilt_deg for a in aims) == pytest.approx(16.1 - 1.0)
    # Every aim over the crowd at full tilt ranks below it.
    over = [i for i, a in enumerate(aims) if a.over]
    assert over
    assert min(over) > 0


@pytest.mark.parametrize(("spread", "most"), [("3 deg", 13.1), ("20 deg", 0.0)])
def test_no_aim_is_nearer_the_limit_than_the_rail_is_set_amiss(
    found, spread, most, monkeypatch
):
    setup, wind, *_ = found
    rail = setup.flight.rail
    angle = replace(rail.angle, spread=quantity(spread, "angle"))
    rail = rail.model_copy(update={"angle": angle})
    flight = setup.flight.model_copy(update={"rail": rail})
    monkeypatch.setattr(aim, "try_flight", lambda *_: Trial("go"))
    _, aims = best_aims(replace(setup, flight=flight), wind)
    assert max(a.tilt_deg for a in aims) == pytest.approx(most)


def test_the_order_is_that_of_the_keys_and_no_aim_is_tried_twice(found):
    *_, aims = found
    assert list(aims) == sorted(aims, key=Aim.order)
    pairs = [(a.tilt_deg, a.azimuth_deg) for a in aims]
    assert len(pairs) == len(set(pairs))


def test_each_aim_is_the_verdict_of_the_flight_so_aimed(found):
    *_, aims = found
    limits = sorted({c.limit for a in aims for c in a.trial.checks if c.unit == "deg"})
    # The site's own, and the code's as a yardstick.
    assert limits == pytest.approx([16.1, 20.0])
    for a in aims[:3]:
        for check in a.trial.checks:
            if check.unit == "deg":
                assert check.value == pytest.approx(a.tilt_deg)


def test_an_aim_set_as_it_is_told_has_the_word_it_is_told_with(found):
    setup, wind, planned, aims = found
    rows = aim_rows(planned, aims[:3], english("us"), held=False)[2:]
    for row, a in zip(rows, aims, strict=False):
        tilt, *toward = (radians(float(n)) for n in re.findall(r"[\d.]+", row[0]))
        flight = setup.flight.aimed(*(toward or [0.0]), tilt)
        alone = assess_setup(replace(setup, flight=flight), wind)
        for check, other in zip(alone.checks, a.trial.checks, strict=True):
            assert (check.name, check.outcome) == (other.name, other.outcome)


def test_each_aim_is_drawn_where_its_hardest_fall_comes_down(found, monkeypatch):
    """In the colour of its word, with what holds it; the best bear their ranks, and who is near is in sight."""
    setup, wind, planned, aims = found
    cloud = flown(setup, wind)
    part = next(
        p for p in cloud.parts if (p.case, p.body) == ("nothing deploys", "rocket")
    )
    strike = planned.trial.strike
    assert strike.case == "nothing deploys"
    means = [cloud.east[part.rows].mean(), cloud.north[part.rows].mean()]
    assert [strike.east, strike.north] == pytest.approx(means)
    monkeypatch.setattr(candidates, "_ROUND", 2)  # of this grid
    svg, voice = aim_svg(setup.site, planned, aims, 3, english("us")), english("us")
    dots = re.findall(
        r'<circle class="aim ([a-z-]+)" cx="([-\d.]+)" cy="([-\d.]+)"[^>]*><title>([^<]*)',
        svg,
    )
    every = [*reversed(aims), planned]
    assert [word for word, *_ in dots] == [a.trial.verdict for a in every]
    for (*_, told), a in zip(dots, every, strict=True):
        assert told.startswith(rail_text(a, voice))
        assert "If nothing opens: " in told
        assert ("; held by: " in told) == bool(a.trial.held_by)
    pairs = [(float(x), float(y)) for _, x, y, _ in dots]
    falls = [(a.trial.strike.east, a.trial.strike.north) for a in every]
    (x, y), (east, north) = np.ptp(pairs, axis=0), np.ptp(falls, axis=0)
    assert x / y == pytest.approx(east / north, rel=0.05)
    assert re.findall(r"<circle/><text>(\d)</text>", svg) == ["3", "2", "1"]
    assert svg.count('class="around') == 2
    assert svg.count(">Crowd</text>") == 2
    _, _, wide, high = map(float, re.search(r'viewBox="([^"]*)"', svg)[1].split())
    assert all(-20 < a < wide - 20 and -20 < b < high - 20 for a, b in pairs)


def test_aims_that_were_not_flown_draw_nothing(found):
    lost = Aim(0.0, 0.0, Trial("not known"))
    assert aim_svg(found[0].site, lost, [lost], 3, english("us")) == ""


def test_not_known_comes_last():
    check = Check(kind=Kind.LANDS_IN, name="x", outcome="fail", source="", unit="share")
    known = Aim(20.0, 0.0, Trial("no-go", (check,)))
    lost = Aim(0.0, 0.0, Trial("not known"))
    assert known.order() < lost.order()
