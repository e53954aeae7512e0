"""The winds about one: what is told was judged, and nothing is told of what was not."""

import math
from dataclasses import replace

import numpy as np
import pytest

from driftmap.air.transformed import scaled
from driftmap.air.wind import direction_and_speed
from driftmap.planning import wind_margin
from driftmap.planning.trial import Trial
from driftmap.planning.wind_margin import MOST_WINDS, winds_around
from driftmap.report.voice import english
from driftmap.report.wind_text import stops_at
from driftmap.verdict.assessment import assess
from driftmap.verdict.check import Check, Kind
from driftmap.winds.profile import read_wind


def judging(monkeypatch, verdict):
    """Let `verdict(times the speed, turn [deg])` stand for flying; give what was asked."""
    asked = []

    def tried(setup, wind):
        way, speed = direction_and_speed(*wind.at(10.0))
        turn = math.remainder(float(way) - judging.way, 2 * math.pi)
        asked.append(
            (round(float(speed) / judging.speed, 3), round(math.degrees(turn)))
        )
        return Trial(verdict(*asked[-1]))

    monkeypatch.setattr(wind_margin, "try_flight", tried)
    return asked


@pytest.fixture
def calm_go(demo):
    """The demo as a go, and its wind at 10 m."""
    way, speed = direction_and_speed(*demo.wind.at(10.0))
    judging.way, judging.speed = float(way), float(speed)
    kept = Check(kind=Kind.RULE, name="x", outcome="pass", source="a test")
    return replace(demo, verdict="go", checks=(kept,))


def test_where_all_is_go_the_widest_is_told(monkeypatch, calm_go):
    asked = judging(monkeypatch, lambda factor, turn: "go")
    found = winds_around(calm_go)
    assert (found.least, found.most) == (0.5, 1.5)
    assert math.degrees(found.left) == pytest.approx(30)
    assert math.degrees(found.right) == pytest.approx(30)
    assert found.judged == len(asked) == MOST_WINDS
    # Every corner of what is told was judged, and every step on the way there.
    turns = {(f, t) for f in (0.5, 1.0, 1.5) for t in (-30, -15, -8, 8, 15, 30)}
    assert set(asked) == turns | {(f, 0) for f in (0.5, 0.75, 1.25, 1.5)}


def test_a_crowd_between_two_winds_that_clear_it_is_never_inside(monkeypatch, calm_go):
    """What lands short of it, and what lands beyond, says nothing of what lies between."""
    for speed, turn in ((1.25, 0), (0.75, 0), (1.0, 15), (1.5, -8), (1.0, -30)):
        judging(
            monkeypatch, lambda f, t, at=(speed, turn): "go" if (f, t) != at else "hold"
        )
        found = winds_around(calm_go)
        inside = found.least <= speed <= found.most
        left, right = (math.degrees(way) + 1 for way in (found.left, found.right))
        assert not (inside and -left <= turn <= right)


def test_what_is_worse_is_never_inside(monkeypatch, calm_go):
    """Any region of go winds: the told corners are in it."""
    rng = np.random.default_rng(4)
    for _ in range(60):
        low, high = rng.uniform(0.3, 1.0), rng.uniform(1.0, 1.8)
        left, right = rng.uniform(0, 45, 2)

        def verdict(factor, turn, low=low, high=high, left=left, right=right):
            return "go" if low <= factor <= high and -left <= turn <= right else "hold"

        asked = judging(monkeypatch, verdict)
        found = winds_around(calm_go)
        assert len(asked) <= MOST_WINDS
        assert low <= found.least <= 1 <= found.most <= high
        assert math.degrees(found.left) <= left + 1e-9
        assert math.degrees(found.right) <= right + 1e-9


def test_nothing_is_told_of_a_no_go_nor_of_a_calm(monkeypatch, calm_go):
    judging(monkeypatch, lambda factor, turn: "go")
    failing = Check(kind=Kind.RULE, name="x", outcome="fail", source="a test")
    assert winds_around(replace(calm_go, verdict="no-go", checks=(failing,))) is None
    still = replace(
        calm_go.wind, east=calm_go.wind.east * 0, north=calm_go.wind.north * 0
    )
    assert winds_around(replace(calm_go, wind=still)) is None


def test_a_flight_that_cannot_be_flown_is_worse(monkeypatch, calm_go):
    judging(monkeypatch, lambda factor, turn: "go" if factor <= 1 else "not known")
    assert winds_around(calm_go).most == 1.0


def test_the_sentence_rounds_toward_the_reading(demo):
    told = stops_at(
        demo.wind, wind_margin.Around(0.5, 1.5, math.radians(8), 0.0, 9), english("us")
    )
    assert "below 4 mph, above 12 mph" in told.replace("\u00a0", " ")
    assert "outside 232° to 240°" in told


@pytest.mark.slow  # what plans propose is flown again by other tests
def test_it_is_really_flown(monkeypatch, lenient, dunlin):
    """With nothing put in its place: a limit on the wind between two steps parts them."""
    monkeypatch.setattr(wind_margin, "_TURNS", ())
    wind = read_wind("4 mph from 90", site_altitude=lenient.elevation)
    speed = math.hypot(*wind.at(10.0))
    limits = {**lenient.limits, "surface_wind": f"{1.4 * speed:.2f} m/s"}
    site = replace(lenient, limits=limits)
    result = assess(dunlin, site, wind, samples=60)
    assert winds_around(result) is None  # a hold stops nothing
    assert winds_around(replace(result, verdict="go")).most == 1.25
    stronger = scaled(wind, 1.5)
    assert wind_margin.try_flight(result.setup, stronger).verdict == "no-go"
