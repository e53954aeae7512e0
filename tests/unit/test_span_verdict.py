"""All winds between a few at once: what bounds their figures, on checks made by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from driftmap.montecarlo.cloud import fly
from driftmap.planning import envelope
from driftmap.planning import span_verdict as span
from driftmap.planning.subdivision import most_cells, settled_spans, tile
from driftmap.rules.answers import Answers
from driftmap.verdict.check import Check, Kind, decide
from driftmap.verdict.setup import Setup
from driftmap.winds.profile import read_wind


def line(kind, low, high, limit, outcome="pass", **more):
    """A check of a figure in the middle of its interval."""
    given = {"value": (low + high) / 2, "interval": (low, high), "limit": limit}
    least = kind in {Kind.RAIL_SPEED, Kind.RAIL_OVER_WIND, Kind.STATIC_MARGIN}
    told = {"sense": "least" if least else "most", "source": "a test", "name": "x"}
    return Check(kind=kind, outcome=outcome, **{**given, **told, **more})


def _at(angle, away):
    return away * math.sin(angle), away * math.cos(angle)


def shares(*uppers, kind=Kind.LANDS_IN, limit=0.001, **more):
    return [line(kind, 0.0, upper, limit, **more) for upper in uppers]


@pytest.mark.parametrize(
    ("kind", "flown", "limit", "ends", "outcome"),
    [  # half of what it moves over the span, on top of the worst
        (Kind.SURFACE_WIND, [(4, 4), (6, 6)], 8.0, (7, 7), "pass"),
        (Kind.SURFACE_WIND, [(4, 4), (6, 6)], 6.5, (7, 7), "fail"),
        (Kind.SURFACE_WIND, [(3, 5), (5, 7)], 7.5, (6, 8), "warn"),
        (Kind.RAIL_SPEED, [(17, 17), (19, 19)], 15.0, (16, 16), "pass"),
        (Kind.RAIL_SPEED, [(17, 17), (19, 19)], 16.5, (16, 16), "fail"),
        (Kind.RAIL_SPEED, [(17, 18), (19, 22)], 16.5, (16, 16), "fail"),
        (Kind.RAIL_SPEED, [(17, 21), (19, 21)], 16.5, (16, 21), "warn"),
    ],
)
def test_what_moves_evenly_is_bound_beyond_its_worst(kind, flown, limit, ends, outcome):
    told = span._bound([line(kind, *each, limit) for each in flown], None)
    assert told.interval == pytest.approx(ends)
    assert told.outcome == outcome


@pytest.mark.parametrize(
    ("kind", "factor", "upper", "outcome"),
    [
        (Kind.CASUALTIES, 1.5, 0.0009, "pass"),
        (Kind.CASUALTIES, 2.0, 0.0012, "warn"),
        # One that fails only where it is ten times its limit: by its value, raised as well.
        (Kind.CASUALTIES_IF, 2.0, 0.0012, "warn"),
        (Kind.CASUALTIES_IF, 40.0, 0.024, "fail"),
    ],
)
def test_harm_is_raised_by_as_much_as_the_hits(kind, factor, upper, outcome):
    told = span._bound(shares(0.0006, 0.0004, kind=kind), factor)
    assert told.interval == pytest.approx((0.0, upper))
    assert told.outcome == outcome


def test_a_span_is_no_milder_than_what_was_flown():
    over = line(
        Kind.CASUALTIES, 0.0, 0.0001, 0.001, "fail"
    )  # by an exception of its own
    assert span._bound([*shares(0.0006, kind=Kind.CASUALTIES), over], 1.0).outcome == (
        "fail"
    )


def test_how_many_times_more_the_net_sees():
    """All cases together by all, one failure by the same one; never fewer than were flown."""
    fails = {"kind": Kind.LANDS_IN_FAILURE, "case": "canopy tangles", "area": "Camp"}
    other = {**fails, "case": "nothing deploys"}
    whole = {"case": "all cases", "area": "Camp"}
    flown = [
        *shares(0.001, 0.002, **whole),
        *shares(0.1, **fails),
        *shares(0.1, **other),
    ]
    net = [*shares(0.006, **whole), *shares(0.15, **fails), *shares(0.01, **other)]
    found = {}
    for check in flown:
        found.setdefault(span._key(check), []).append(check)
    netted = {span._key(check): check for check in net}
    for case, factor in (
        ("all cases", 3.0),
        ("canopy tangles", 1.5),
        ("nothing deploys", 1.0),
    ):
        (harm,) = shares(0.001, kind=Kind.CASUALTIES, case=case)
        assert span._raised(harm, netted, found) == pytest.approx(factor)
    (rule,) = shares(0.001, kind=Kind.RULE)
    assert span._raised(rule, netted, found) is None


@pytest.mark.parametrize(
    ("kind", "ends", "limit", "outcome"),
    [  # 3 % of a speed on leaving the rail, half a percent of that of landing
        (Kind.RAIL_SPEED, (15.4, 18), 15.0, "warn"),
        (Kind.RAIL_SPEED, (15.5, 18), 15.0, "pass"),
        # The slowest may reach three quarters of it in a gust, and so they may between winds.
        (Kind.RAIL_OVER_WIND, (3.05, 6), 4.0, "warn"),
        (Kind.RAIL_OVER_WIND, (3.1, 6), 4.0, "pass"),
        (Kind.DESCENT, (5, 8.97), 9.0, "warn"),
        (Kind.DESCENT, (5, 8.95), 9.0, "pass"),
        (Kind.CASUALTIES, (0, 0.001), 0.001, "pass"),
    ],
)
def test_a_quantile_near_its_limit_does_not_pass(kind, ends, limit, outcome):
    told = span._with_room(line(kind, *ends, limit))
    assert told.outcome == outcome
    if outcome == "warn":  # and is told with its room, or it would read as a pass
        low, high = told.interval
        assert low < limit if told.sense == "least" else high > limit


def test_the_worst_is_that_of_the_worse_outcome_then_of_the_higher_ends():
    mild, high, low = shares(0.0004, 0.0009, 0.0009)
    held = line(Kind.LANDS_IN, 0.0, 0.0002, 0.0001, "warn")
    wide = line(Kind.LANDS_IN, 0.0001, 0.0009, 0.001)
    assert span._worst([mild, high]) is high
    assert span._worst([low, wide, mild]) is wide
    assert span._worst([high, held]) is held
    slow = [line(Kind.RAIL_SPEED, v, 20.0, 15.0) for v in (17.0, 16.0)]
    assert span._worst(slow).interval == (16.0, 20.0)


def fails(area, kind=Kind.LANDS_IN):
    return line(kind, 0.01, 0.02, 0.001, "fail", area=area)


@pytest.mark.parametrize(
    ("flown", "whole", "edges", "word"),
    [
        (["a", "a"], None, [], "no-go"),  # the same place in every wind
        (["a", "b"], "ab", [], None),  # another in each: between them may be none
        (["ab", "b"], None, [], "no-go"),
        (["", ""], "", [], "go"),
        (["", ""], "a", [], None),  # what lies between is worse
        (["", "a"], "a", [], None),
        (["a", "b", "a", "b"], None, [(0, 2)], "no-go"),  # all along an edge
        (["a", "b", "a", "b"], "ab", [(0, 1)], None),
        (["S", "S"], "S", [], None),  # a sum over places: each wind may hit another
    ],
)
def test_a_span_has_one_word_only_where_all_its_winds_do(flown, whole, edges, word):
    fine = line(Kind.RAIL_TILT, 0.0, 0.0, 5.0)

    def checks(names):
        sums = {"S": fails("", Kind.AMONG_PEOPLE)}
        return (fine, *(sums.get(name) or fails(name) for name in names))

    def judged():
        assert whole is not None, (
            "nothing is worse than a no-go: nobody judges the whole"
        )
        return checks(whole)

    told = span.alike([checks(names) for names in flown], judged, decide, edges)
    assert (told and decide(told)) == word


@given(st.integers(1, 9), st.integers(4, 36), st.floats(0.3, 3.0), st.integers(0, 999))
def test_cells_judged_together_lie_in_one_span_that_has_one_word(
    rows, ways, step, luck
):
    """Whatever the words of a grid are: a stripe of its own here and there."""
    rng = np.random.default_rng(luck)
    words = np.zeros((rows, ways), int)
    words[rng.integers(rows) :] += rng.integers(2)
    words[:, : rng.integers(ways)] += rng.integers(2)
    size, most = (rows, ways), most_cells((rows, ways), step, 360 / ways)
    words[:, : most[1]] += rng.integers(2)  # where a tile ends
    judged = []

    def judge(one):
        i, up, j, on = one
        assert 0 <= i < up <= rows
        assert 0 <= j < on <= ways
        assert (up - i - 1) * step < 5.0 or up - i == 1  # rounded up to whole cells
        assert (on - j) * 360 / ways <= 45.0 + 1e-9 or on - j == 1
        judged.append(one)
        inside = words[i:up, j:on]
        return int(words[i, j]) if np.ptp(inside) == 0 else [*"goes"]

    cells = {
        (i, i + 1, j, j + 1): words[i, j] for i in range(rows) for j in range(ways)
    }
    found = settled_spans(cells, size, most, judge)
    assert {cell: cells[cell] for cell in found} == found
    assert len(judged) == len({*judged})
    for cell in (
        cells.keys() - found.keys()
    ):  # alone in its tile, or beside another word
        i, up, j, on = tile(cell, size, most)
        assert (i, up, j, on) == cell or np.ptp(words[i:up, j:on])


@pytest.mark.parametrize("half", [0.05, 0.3])
def test_likely_ground_between_winds_lies_inside_what_is_taut_about_theirs(half):
    """It goes round the pad with the wind, on the arc outside the chords between those flown."""
    far, key = 1000.0, ("nothing deploys", "rocket")
    cloud = SimpleNamespace(of=lambda _: [SimpleNamespace(body="rocket")])

    def ground(angle, away=far):
        return shapely.Point(_at(angle, away)).buffer(30.0)

    flown = [ground(a, far * u) for u in (0.6, 1.0) for a in (-half, half)]
    flown.append(ground(0.0, 0.8 * far))
    lines = [{key: (SimpleNamespace(shape=shape),)} for shape in flown]
    (taut,) = envelope._taut(key, [cloud] * 5, lines, half)
    for share in np.linspace(-1, 1, 9):
        assert taut.shape.covers(ground(share * half)), share


@pytest.mark.parametrize("half", [0.0, 0.05, 0.5])
def test_ways_up_between_winds_reach_as_far_as_theirs(half):
    """They go round the pad too: drawn straight between those flown they would fall short."""
    far = 300.0

    def up(angle, away=far):
        ends = np.array([[0.0, 0.0, 0.0], [*_at(angle, away), 900.0]], np.float32)
        return SimpleNamespace(way=np.repeat(ends[:, :, None], 3, axis=2))

    five = [up(a, far * u) for u in (0.6, 1.0) for a in (-half, half)]
    ways = envelope._ways([*five, up(0.0, 0.8 * far)], half)
    assert ways.dtype == np.float32
    tips = np.unique(ways[ways[:, 2, 0] > 0][:, :2, 0].round(3), axis=0)
    away = np.hypot(*tips.T)
    assert (
        np.isclose(away[:, None], far * np.array([0.6, 0.8, 1.0]), 1e-4)
        .any(axis=1)
        .all()
    )
    turned = np.sort(np.arctan2(*tips[away > 0.9 * far].T))
    assert turned[[0, -1]] == pytest.approx([-half, half], abs=1e-4)
    assert np.diff(turned).max(initial=0.0) < envelope._FAN + 1e-3


def test_a_net_has_the_worst_of_the_rail_and_the_top_of_every_wind(dunlin):
    winds = [(u, a) for u in (2, 4) for a in (85, 95)] + [(3, 90)]
    five = [
        fly(dunlin, read_wind(f"{u} m/s from {a}", site_altitude=0.0), 0.0,
            samples=40, seed=1)
        for u, a in winds
    ]  # fmt: skip
    net = envelope.everywhere(five, [{}] * 5, math.radians(5)).cloud
    for name, worst in (("rail_speed", np.min), ("rail_wind", np.max)):
        every = [getattr(cloud, name) for cloud in five]
        assert (getattr(net, name) == worst(every, axis=0)).all()
        assert (getattr(net, name) != getattr(five[4], name)).any()
    top = np.max([cloud.apogee.height for cloud in five], axis=0)
    assert (net.apogee.height == top).all()
    every = [
        cloud.energy[part.rows]
        for cloud in five
        for part in cloud.of("nothing deploys")
        if part.body == "rocket"
    ]
    (fall,) = (p for p in net.of("nothing deploys") if p.body == "rocket")
    hardest = net.energy[fall.rows].reshape(-1, fall.flights)
    assert (hardest == np.max(every, axis=0)).all()


@pytest.mark.parametrize("eased", [True, False])
def test_between_winds_no_likelihood_that_a_file_sets_is_believed(
    eased, dunlin, saltgrass, monkeypatch
):
    judged = []

    def judge(cloud, *_, **__):
        judged.append(cloud)
        return (), ()

    monkeypatch.setattr(span, "judge", judge)
    monkeypatch.setattr(span, "by_default", lambda cloud: f"{cloud} by default" * eased)
    net = SimpleNamespace(cloud="as told", lines={}, coarse=False)
    assert span.strictest_of_span(Setup(dunlin, saltgrass), net, None, []) == ()
    assert judged == ["as told by default" if eased else "as told"]


def test_what_rockets_launched_together_do_counts_between_winds(
    dunlin, saltgrass, monkeypatch
):
    seen = line(Kind.AMONG_PEOPLE, 0.0, 0.0005, 0.001, unit="share")
    monkeypatch.setattr(span, "judge", lambda *_, **__: ((seen,), ()))
    monkeypatch.setattr(span, "by_default", lambda _: None)
    net = SimpleNamespace(cloud=None, lines={}, coarse=False)
    for rockets, outcome in ((1.0, "pass"), (3.0, "warn")):
        said = Answers(numbers={"rockets_together": rockets})
        setup = Setup(dunlin, saltgrass, answers=said)
        (found,) = span.strictest_of_span(setup, net, None, [])
        assert (found.outcome, found.interval[1]) == (outcome, rockets * 0.0005)


@pytest.mark.parametrize(("middle", "outcome"), [(4.1, "warn"), (4.2, "pass")])
def test_the_middle_of_flights_near_its_limit_does_not_pass(middle, outcome):
    """One flight in twenty may come slower, in a gust; half of them may not."""
    check = line(Kind.RAIL_OVER_WIND, 3.5, 6.0, 4.0, value=middle)
    assert span._with_room(check).outcome == outcome
