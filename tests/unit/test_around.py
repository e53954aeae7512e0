"""The winds about one: what is told was judged, and nothing is told of what was not."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from driftmap.air.transformed import scaled
from driftmap.air.wind import WindProfile
from driftmap.planning import wind_margin
from driftmap.planning.wind_margin import MOST_WINDS, winds_around
from driftmap.report.voice import english
from driftmap.report.wind_text import stops_at
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.assessment import assess
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.setup import Setup, checks_of, flown


def judging(monkeypatch, verdict):
    """Let `verdict(speed from, to, turned from, to)` stand for flying; give what was asked."""
    asked = []

    def spans(assessment, setup, one_more):
        def go_all_over(*span):
            asked.append(span)
            one_more()
            return verdict(*span)

        return go_all_over

    monkeypatch.setattr(wind_margin, "_spans", spans)
    return asked


@pytest.fixture
def calm_go(demo):
    """The demo as a go."""
    kept = Check(kind=Kind.RULE, name="x", outcome="pass", source="a test")
    return replace(demo, verdict="go", checks=(kept,))


def box(found):
    """Give what is told as a span."""
    left, right = (math.degrees(way) for way in (found.left, found.right))
    return found.least, found.most, -left, right


def holds(span, speed, turn):
    low, high, left, right = span
    return low - 1e-9 <= speed <= high + 1e-9 and left - 1e-9 <= turn <= right + 1e-9


def test_where_all_is_go_the_widest_is_told(monkeypatch, calm_go):
    asked = judging(monkeypatch, lambda *span: True)
    found = winds_around(calm_go)
    assert box(found) == pytest.approx((0.5, 1.5, -30, 30))
    assert found.judged == len(asked)
    flown = {(1.0, 0.0)}
    for low, high, left, right in asked:
        flown |= {(v, turn) for v in (low, high) for turn in (left, right)}
        flown.add(((low + high) / 2, (left + right) / 2))
    assert len(flown) == MOST_WINDS


def test_all_that_is_told_was_judged_and_not_its_ends_alone(monkeypatch, calm_go):
    """Any region of go winds: whatever lies in what is told lies in a span that was go."""
    rng = np.random.default_rng(4)
    for _ in range(60):
        low, high = rng.uniform(0.3, 1.0), rng.uniform(1.0, 1.8)
        left, right = rng.uniform(0, 45, 2)
        region = low, high, -left, right

        def inside(v, up, way, on, region=region):
            return holds(region, v, way) and holds(region, up, on)

        asked = judging(monkeypatch, inside)
        told = box(winds_around(calm_go))
        good = [span for span in asked if inside(*span)]
        for speed in np.linspace(*told[:2], 9):
            for turn in np.linspace(*told[2:], 9):
                assert (speed, turn) == (1, 0) or any(
                    holds(span, speed, turn) for span in good
                )


def test_a_crowd_between_two_winds_that_clear_it_is_never_inside(monkeypatch, calm_go):
    """What lands short of it, and what lands beyond, says nothing of what lies between."""
    rng = np.random.default_rng(5)
    for speed, turn in rng.uniform((0.5, -30), (1.5, 30), (60, 2)):
        judging(monkeypatch, lambda *span, at=(speed, turn): not holds(span, *at))
        assert not holds(box(winds_around(calm_go)), speed, turn)


def test_nothing_is_told_of_a_no_go_nor_of_a_calm(monkeypatch, calm_go):
    judging(monkeypatch, lambda *span: True)
    failing = Check(kind=Kind.RULE, name="x", outcome="fail", source="a test")
    assert winds_around(replace(calm_go, verdict="no-go", checks=(failing,))) is None
    still = replace(
        calm_go.wind, east=calm_go.wind.east * 0, north=calm_go.wind.north * 0
    )
    assert winds_around(replace(calm_go, wind=still)) is None


def test_the_sentence_rounds_toward_the_reading(demo):
    told = stops_at(
        demo.wind,
        wind_margin.WindMargin(0.5, 1.5, math.radians(8), 0.0, 9),
        english("us"),
    )
    assert "below 4 mph, above 12 mph" in told.replace("\u00a0", " ")
    assert "outside 232° to 240°" in told


@pytest.mark.slow  # some ten winds are really flown
def test_a_crowd_where_only_a_wind_between_those_flown_comes_down(
    monkeypatch, willet, lenient, any_word
):
    """A wind known aloft: all that is flown lands short of it or beyond it."""
    monkeypatch.setattr(wind_margin, "_STRONGER", (4.0,))
    monkeypatch.setattr(wind_margin, "_WEAKER", ())
    monkeypatch.setattr(wind_margin, "_TURNS", ())

    def people_alone(checks):
        every = [c for c in checks if c.kind is Kind.AMONG_PEOPLE and c.value]
        return "no-go" if any(c.value > c.limit for c in every) else "go"

    monkeypatch.setattr(wind_margin, "decide_ahead", people_alone)
    wind = WindProfile([0, 2000], [14, 14], [0, 0], [0.1, 0.1])
    setup = Setup(willet.aimed(0.0), replace(lenient, areas=()), 300, 1)
    there = flown(setup, scaled(wind, 1.75))
    landed = next(iter(there.of(WORKS))).rows
    middle = float(np.median(there.east[landed])), float(np.median(there.north[landed]))
    crowd = next(area for area in lenient.areas if area.occupied)
    crowd = replace(crowd, people=50, shape=shapely.Point(middle).buffer(250))
    site = replace(lenient, areas=(crowd,))
    result = assess(setup.flight, site, wind, samples=300)
    found = winds_around(replace(result, verdict="go"))
    assert found.most == 1.0
    for factor in (1.0, 2.5, 4.0):
        again = replace(setup, site=site)
        assert people_alone(checks_of(again, scaled(wind, factor))) == "go"
    assert people_alone(checks_of(again, scaled(wind, 1.75))) != "go"
