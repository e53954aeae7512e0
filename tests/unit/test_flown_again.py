"""What plans propose is flown again by an assessment, from files that say what was proposed.

Flight and site files are written as a reader of the plan would change them and are read anew, so
that nothing of the plan's own way there is taken over. No outside figure is needed: two ways of
this project to one word must agree.
"""

import json
import re
from dataclasses import replace
from datetime import datetime
from math import radians
from pathlib import Path
from types import SimpleNamespace

import pytest
import tomlkit

from driftmap.air.transformed import scaled
from driftmap.ground.site import read_site
from driftmap.planning import aim, wind_margin
from driftmap.planning.aim import best_aims
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.distances import Clearances
from driftmap.planning.layout import Layout, RoseWind, best_pads
from driftmap.planning.wind_margin import winds_around
from driftmap.rocket.flightfile import read_flight
from driftmap.verdict import what_if
from driftmap.verdict.assessment import assess_setup
from driftmap.verdict.check import decide
from driftmap.verdict.setup import Setup
from driftmap.verdict.what_if import turns
from driftmap.winds.profile import read_wind

ROOT = Path(__file__).parents[2]
FEW = 100

pytestmark = pytest.mark.usefixtures("any_word")


@pytest.fixture(scope="module")
def field(lenient, tmp_path_factory):
    """Files of a flight and a field that are changed, and the winds of a morning."""
    folder = tmp_path_factory.mktemp("again")

    def flight(tilt, azimuth):
        told = tomlkit.parse((ROOT / "examples" / "dunlin.toml").read_text("utf-8"))
        told["rail"] |= {"angle": f"{tilt} deg", "azimuth": f"{azimuth} deg"}
        (folder / "flight.toml").write_text(tomlkit.dumps(told), "utf-8")
        return read_flight(folder / "flight.toml")

    def site(pad=None):
        told = json.loads((ROOT / "sites" / "saltgrass-flat.geojson").read_text())
        told["limits"] = dict(lenient.limits)
        for feature in told["features"]:
            if feature["properties"]["role"] == "pad" and pad:
                feature["geometry"]["coordinates"] = list(pad)
        (folder / "site.geojson").write_text(json.dumps(told), "utf-8")
        return read_site(folder / "site.geojson")

    return SimpleNamespace(flight=flight, site=site)


def lines(checks):
    """Everything that a verdict hangs on, but for questions."""
    return {
        (c.kind, c.name, c.case, c.area): (
            c.outcome,
            pytest.approx(c.value or 0.0, rel=1e-4),
        )
        for c in checks
        if not c.question
    }


@pytest.mark.slow  # as proposals are flown again
def test_the_best_aim(field, dunlin, monkeypatch):
    monkeypatch.setattr(aim, "_SHARES_OF_LIMIT", (0.3719,))
    monkeypatch.setattr(aim, "_TURN", 200.0)
    monkeypatch.setattr(aim, "_REFINED", 0)
    site = field.site()
    wind = read_wind("5 mph from 200", site_altitude=site.elevation)
    _, aims = best_aims(Setup(dunlin, site, FEW, 3), wind)
    assert len({a.azimuth_deg for a in aims}) == 2
    for one in aims[:2]:
        # As a page tells it: tenths of a degree, and whole ones.
        flight = field.flight(f"{one.tilt_deg:.1f}", f"{one.azimuth_deg:03.0f}")
        again = assess_setup(Setup(flight, site, FEW, 3), wind, advice=False)
        assert lines(again.checks) == lines(one.trial.checks)


@pytest.mark.slow  # as proposals are flown again
def test_the_best_pads(field, dunlin):
    """A place is go in as many winds as an assessment with the pad drawn there."""
    drawn = field.site()
    rose = RoseWind(240.0, 2.0, 1.0), RoseWind(0.0, 5.0, 2.0)
    supposed = replace(
        Supposition.over_site(drawn),
        when=datetime.fromisoformat("2026-06-13T09:00-07:00"),
    )
    setup = Setup(dunlin, drawn, 500, 3)
    keep = Clearances(distance=100.0)
    pads = best_pads(Layout((setup,), supposed, rose, keep), spacing=1500.0)
    free = [place for place in pads if not place.broken]
    assert free[0].go > 0.5 > free[-1].go
    for place in (free[0], free[-1]):
        there = field.site(map(float, drawn.to_lonlat(place.east, place.north)))
        over = replace(Supposition.over_site(there), when=supposed.when)
        go = 0.0
        for way, speed, weight in rose:
            wind = suppose(over, way, speed)
            again = assess_setup(replace(setup, site=there), wind, advice=False)
            go += weight * (decide(c for c in again.checks if not c.question) == "go")
        assert place.go == pytest.approx(go / 3.0)


def test_proposals(field, dunlin, monkeypatch):
    """Each change told in words, made in the file: the same word, as many lines against it."""
    monkeypatch.setattr(what_if, "_DIRECTIONS", 1)
    monkeypatch.setattr(what_if, "_WEAKER", (0.5,))
    monkeypatch.setattr(what_if, "alternatives", lambda flight: {})
    monkeypatch.setattr(what_if, "_pairs", lambda tried: ())
    site = field.site()
    wind = read_wind("9 mph from 20", site_altitude=site.elevation)
    planned = field.flight(15, 180)  # over the crowd
    plan = assess_setup(Setup(planned, site, FEW, 3), wind, advice=False)
    better = turns(plan).better
    assert {turn.kind for turn in better} == {"rail", "wind"}
    for turn in better:
        aimed = re.fullmatch(r"(.+)° (?:from the vertical|toward (\d+)°)", turn.name)
        weaker = re.fullmatch(r"(\d+)% of the wind", turn.name)
        tilt, way = (aimed[1], aimed[2] or 180) if aimed else (15, 180)
        flight = field.flight(tilt, way)
        there = wind if aimed else scaled(wind, float(weaker[1]) / 100)
        again = assess_setup(Setup(flight, site, FEW, 3), there, advice=False)
        told = [c for c in again.checks if not c.question]
        assert decide(told) == turn.verdict
        assert sum(c.outcome == "fail" for c in told) == turn.failing
        assert sum(c.outcome == "warn" for c in told) == turn.warning


def test_where_a_wind_stops_a_launch(field, dunlin, monkeypatch):
    """What the meter reads at a corner of what is told is no worse: the rail stays as it was."""
    monkeypatch.setattr(wind_margin, "_TURNS", (15.0,))
    monkeypatch.setattr(wind_margin, "_STRONGER", (1.5,))
    monkeypatch.setattr(wind_margin, "_WEAKER", ())
    site = field.site()
    setup = Setup(dunlin, site, 600, 3)
    wind = read_wind("4 mph from 120", site_altitude=site.elevation)
    plan = assess_setup(setup, wind, advice=False)
    assert decide(c for c in plan.checks if not c.question) == "go"
    found = winds_around(replace(plan, verdict="go"))
    assert (found.most, found.right) == (1.5, pytest.approx(radians(15)))
    aimed = dunlin.aimed(plan.cloud.plan.azimuth)
    read = read_wind("6 mph from 135", site_altitude=site.elevation)
    again = assess_setup(replace(setup, flight=aimed), read, advice=False)
    assert decide(c for c in again.checks if not c.question) == "go"
