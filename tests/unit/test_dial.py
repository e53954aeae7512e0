"""The dial: winds as the meter reads them, the worst between them, and its packing."""

import dataclasses
import itertools
import math
import pickle
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from driftmap.air.wind import WindProfile, direction_and_speed, surface_wind
from driftmap.cli.dial import dial_command
from driftmap.core.errors import InputError
from driftmap.core.units import MILE_PER_HOUR
from driftmap.planning import dial as planned
from driftmap.planning import dial_cells
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.dial import compute_dial
from driftmap.planning.dial_cells import CellBlock
from driftmap.planning.dial_node import APART, WORDS, DialNode, Landing, drawn_landings
from driftmap.planning.dial_reach import Reach
from driftmap.planning.dial_reading import check_between, surrounding, word_at
from driftmap.planning.trial import flown, judged, pack
from driftmap.planning.wind_sweep import Flights
from driftmap.report import dialdata
from driftmap.report.dialdata import (
    FINAL,
    FINENESS,
    SHARE_STEPS,
    SYMBOLS,
    line_error,
    pack_nodes,
    tell_reasons,
)
from driftmap.report.dialpage import dial_html
from driftmap.report.sentences import sentence
from driftmap.report.voice import english
from driftmap.verdict.check import Check, Kind, decide
from driftmap.verdict.launch_checks import wind_checks
from driftmap.verdict.limits import read_limits
from driftmap.verdict.setup import Setup
from driftmap.winds.formats import decode_text
from driftmap.winds.merge import merge
from driftmap.winds.plain_words import read_words
from driftmap.winds.profile import read_wind
from driftmap.winds.reading import Setting
from driftmap.winds.times import present

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.usefixtures("any_word")


@pytest.mark.parametrize(
    ("outcome", "departs", "hangs", "supposed"),
    [
        ("pass", False, False, False),
        ("pass", True, False, True),  # the wind flown is not the one that was read
        ("pass", False, True, True),
        ("warn", False, False, True),
    ],
)
def test_a_go_that_hangs_on_winds_nobody_read_is_one_if_they_are_so(
    monkeypatch, outcome, departs, hangs, supposed
):
    check = Check(kind=Kind.OVERFLIGHT, outcome=outcome, source="a test")
    told = SimpleNamespace(departs=lambda air: departs, read=lambda way, speed: None)
    flights = SimpleNamespace(
        trial=lambda *wind: SimpleNamespace(problem="", checks=(check,)),
        drawn=lambda *wind: ({}, {}),
        flown=lambda *wind: SimpleNamespace(cloud=None),
        air=lambda *wind: None,
        supposition=told,
        setup=None,
    )
    monkeypatch.setattr(dial_cells, "hangs_on_aloft", lambda *given: hangs)
    node = dial_cells._Bench(flights, Reach(8.0, 4, 12)).node(1, 0)
    assert node.supposed == supposed
    assert node.word == (
        "hold" if outcome == "warn" else ("go", "go if aloft")[supposed]
    )


@pytest.mark.parametrize("place", [(1, 0), (1, 1), (2, 0), (2, 1), (1.5, 0.5), None])
def test_a_cell_is_go_only_where_none_of_its_winds_hangs_on_what_nobody_read(place):
    fine = Check(kind=Kind.OVERFLIGHT, outcome="pass", source="a test")
    bench = dial_cells._Bench(
        SimpleNamespace(strictest=lambda *span: (fine,)), Reach(8.0, 4, 12)
    )
    places = [*itertools.product((1, 2), (0, 1)), (1.5, 0.5)]
    bench.known = {
        at: DialNode((2.0, 0.0), "go", (fine,), supposed=at == place) for at in places
    }
    assert bench.cell(1, 0).word == ("go" if place is None else "go if aloft")


def a_bench(places, **flights):
    """A bench of a dial whose winds at some places, all go, are known already."""
    bench = dial_cells._Bench(SimpleNamespace(**flights), Reach(8.0, 4, 12))
    likely = itertools.count(1)
    bench.known = {
        at: DialNode((2.0, 0.0), "go", likely={"x": next(likely) / 100}, supposed=False)
        for at in places
    }
    return bench


@pytest.mark.parametrize(("outcome", "word"), [("warn", "hold"), ("fail", "no-go")])
def test_a_cell_has_the_word_of_its_winds_as_a_whole(outcome, word):
    """Though each wind flown in it is go."""
    line = Check(kind=Kind.OVERFLIGHT, outcome=outcome, source="a test")
    places = [*itertools.product((1, 2), (0, 1)), (1.5, 0.5)]
    cell = a_bench(places, strictest=lambda *span: (line,)).cell(1, 0)
    assert (cell.word, cell.checks, cell.whole) == (word, (line,), True)


def test_a_lowest_cell_has_the_lightest_air_from_its_sides(monkeypatch):
    monkeypatch.setattr(dial_cells, "_with_calm", lambda cell, calm: calm)
    fine = Check(kind=Kind.OVERFLIGHT, outcome="pass", source="a test")
    places = [*itertools.product((0, 1), (0, 1)), (0.5, 0.5)]
    bench = a_bench(places, strictest=lambda *span: (fine,))
    assert bench.cell(0, 0) == [bench.known[0, 0], bench.known[0, 1]]


def test_a_span_tells_of_each_case_the_greatest_likelihood_of_its_winds():
    fine = Check(kind=Kind.OVERFLIGHT, outcome="pass", source="a test")
    places = [(2, 1), *itertools.product((1, 3), (2, 0))]
    wide = a_bench(places, alike=lambda *_: (fine,)).alike((1, 3, 0, 2))
    assert wide.node.likely == {"x": 0.05}
    assert (wide.node.word, wide.half) == ("go", pytest.approx(math.radians(30)))


def test_the_law_gives_the_wind_of_the_same_words():
    wind = suppose(Supposition(300.0).on_the_meter(), 240.0, 5.0)
    words = read_wind("5 m/s from 240", site_altitude=300.0)
    for name in ("height", "east", "north", "error"):
        np.testing.assert_allclose(getattr(wind, name), getattr(words, name), rtol=1e-9)
    assert wind.known_to == wind.height[-1]
    assert any("supposes the wind aloft" in note for note in wind.assumed)


def test_layers_are_no_surer_on_a_dial_than_at_the_end_of_its_hours(saltgrass):
    """With a meter read now, and as old as they are by then."""
    text = (
        "# read 2026-06-13 15:30Z\nheight_m,from_deg,speed_mps\n2,180,1.8\n10,180,2.4\n"
    )
    text += "60,180,3.6\n100,180,4.2\n300,180,6\n600,180,7\n"
    when = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)
    place = saltgrass.latitude, saltgrass.longitude

    def merged(later, *more):
        then = when + timedelta(hours=later)
        own = Setting(saltgrass.elevation, when=then, now=then, place=place)
        (layers,) = decode_text(text, "layers.csv", own)
        fresh = replace(own, read_at=then)
        return merge([layers, *(read_words(said, fresh) for said in more)], own)

    told = Supposition.over_site(saltgrass, when, merged(0.0)).on_the_meter()
    wind = suppose(told, 180.0, 1.8)
    for later in (0.0, 1.5, 3.0):
        day = merged(later, "1.8 m/s from 180")
        for height, least in ((10.0, 0.8), (100.0, 0.8), (200.0, 0.95), (400.0, 0.95)):
            ours, theirs = (np.interp(height, w.height, w.error) for w in (wind, day))
            assert ours > least * theirs, (later, height)
    # By a plan of no hour the layers blow as they were read.
    plan = suppose(Supposition(saltgrass.elevation, merged(0.0)), 180.0, 2.4)
    assert np.interp(300.0, plan.height, plan.error) == pytest.approx(
        np.interp(300.0, merged(0.0).height, merged(0.0).error)
    )


def test_a_shape_is_set_at_the_meter_and_turned_as_a_whole():
    shape = WindProfile([2, 10, 500], [3.0, 4.0, 0.0], [0.0, 1.0, -9.0], [1, 1, 1])
    wind = suppose(Supposition(0.0, shape).on_the_meter(), 30.0, 6.0)
    bearing, speed = direction_and_speed(*wind.at(2.0))
    assert math.degrees(bearing) == pytest.approx(30.0)
    assert speed == pytest.approx(6.0)
    before, after = (
        np.subtract(*direction_and_speed(*w.at([500.0, 2.0]))[0]) for w in (shape, wind)
    )
    assert after % (2 * np.pi) == pytest.approx(before % (2 * np.pi))
    assert np.hypot(*wind.at(500.0)) == pytest.approx(18.0)


@pytest.mark.parametrize(
    ("speed", "from_deg"),
    [(-0.1, 0.0), (math.nan, 0.0), (3.0, math.nan), (math.inf, 0.0)],
)
def test_nothing_surrounds_what_is_no_wind(speed, from_deg):
    assert surrounding(Reach(10.0), speed, from_deg) == ()


def test_winds_about_a_reading():
    reach = Reach(10.0, 10, 36)
    winds = reach.winds()
    assert len(winds) == 361
    for place, (speed, from_deg) in enumerate(winds):
        assert surrounding(reach, speed, from_deg) == (place,)
    rng = np.random.default_rng(5)
    for speed, from_deg in rng.uniform((reach.step, 0), (10, 360), (200, 2)):
        places = surrounding(reach, speed, from_deg)
        assert places == surrounding(reach, speed, from_deg + 360)
        assert places == surrounding(reach, speed, from_deg - 720)
        about = [winds[i] for i in places]
        assert min(v for v, _ in about) <= speed <= max(v for v, _ in about)
        turns = [(d - from_deg + 180) % 360 - 180 for v, d in about if v > 0]
        assert min(turns) < 0 < max(turns)
        assert max(map(abs, turns)) <= reach.turn


def test_the_worst_of_the_winds_about_it_and_of_its_cell(dial):
    rng = np.random.default_rng(6)
    seen = set()
    for speed, from_deg in rng.uniform((0, 0), (dial.reach.top, 360), (300, 2)):
        got = WORDS.index(word_at(dial, speed, from_deg))
        seen.add(WORDS[got])
        about = [dial.nodes[i] for i in surrounding(dial.reach, speed, from_deg)]
        cell = int(speed // dial.reach.step), int(from_deg // dial.reach.turn)
        about += [dial.cells[cell]] if cell in dial.cells else []
        assert got == max(WORDS.index(node.word) for node in about)
        assert got == WORDS.index(word_at(dial, speed, from_deg - 360))
    assert {"go", "hold"} <= seen


def test_a_cell_left_out_has_a_no_go_corner(dial):
    reach = dial.reach
    for i in range(reach.speeds):
        for j in range(reach.directions):
            corners = [reach.place(a, b) for a in (i, i + 1) for b in (j, j + 1)]
            worst = {dial.nodes[place].verdict for place in corners}
            assert ((i, j) in dial.cells) == (i == 0 or "no-go" not in worst)


def test_a_worse_cell_counts_all_over_it_and_on_its_edges(dial):
    speed, from_deg = dial.reach.wind(0.5, 3.5)
    bad = DialNode((speed, from_deg), "no-go")
    with_it = dataclasses.replace(dial, cells={**dial.cells, (0, 3): bad})
    assert word_at(dial, speed, from_deg) != "no-go"
    assert word_at(with_it, speed * 1.1, from_deg) == "no-go"
    assert word_at(with_it, dial.reach.step, from_deg) == "no-go"
    assert word_at(with_it, speed, from_deg + dial.reach.turn / 2) == "no-go"
    assert word_at(with_it, *dial.reach.wind(1, 4)) == "no-go"  # at its corner
    assert word_at(with_it, *dial.reach.wind(1, 6)) == word_at(
        dial, *dial.reach.wind(1, 6)
    )
    assert check_between(with_it).milder == check_between(dial).milder + 1


def test_beyond_the_top_never_milder_than_the_rim_nor_ever_go(dial):
    calm = DialNode((0.0, 0.0), "go", supposed=False)
    rim = {dial.reach.place(dial.reach.speeds, 2): DialNode((9.0, 0.0), "no-go")}
    nodes = tuple(rim.get(i, calm) for i in range(len(dial.nodes)))
    gentle = dataclasses.replace(dial, nodes=nodes, cells={}, limit=1e3)
    assert word_at(gentle, dial.reach.top, 0.0) == "go"
    assert word_at(gentle, dial.reach.top * 1.01, 0.0) == "hold"
    turn = dial.reach.turn
    for from_deg in (1.5 * turn, 2 * turn, 2.5 * turn):
        assert word_at(gentle, dial.reach.top * 1.01, from_deg) == "no-go"
    strict = dataclasses.replace(gentle, limit=dial.reach.top * 1.1)
    assert word_at(strict, dial.reach.top * 1.05, 0.0) == "hold"
    assert word_at(strict, dial.reach.top * 1.11, 0.0) == "no-go"


def test_the_limit_on_the_wind_is_told_as_the_meter_reads_it(dial):
    wind = suppose(dial.supposition, 0.0, dial.limit)
    assert np.hypot(*wind.at(10.0)) == pytest.approx(20 * MILE_PER_HOUR, rel=0.01)


def test_what_is_no_wind_holds(dial):
    assert word_at(dial, -1.0, 0.0) == "hold"
    assert word_at(dial, 1.0, math.nan) == "hold"


def test_a_dial_that_is_go_nowhere_says_what_flights_may_settle_it(dial):
    """A page that holds everywhere for want of flights alone is not thrown away."""
    ends = {"value": 0.0, "interval": (0.0, 2e-3), "limit": 1e-3, "unit": "share"}
    few = Check(kind=Kind.AMONG_PEOPLE, outcome="warn", source="", **ends)
    held = replace(dial.nodes[0], verdict="hold", checks=(few,))
    lost = replace(held, checks=())
    setup = replace(dial.setup, samples=20_000)
    for word, wanted in (("go", 0), ("hold", 96_000)):
        more = (replace(node, verdict=word, checks=()) for node in dial.nodes[2:])
        told = replace(dial, setup=setup, nodes=(held, lost, *more))
        assert told.samples_to_settle == wanted
        assert ("--samples 96000" in dial_html(told)) == bool(wanted)


def test_a_go_on_winds_nobody_read_is_no_plain_go(dial):
    go = next(node for node in dial.nodes if node.verdict == "go")
    assert dataclasses.replace(go, supposed=True).word == "go if aloft"
    assert dataclasses.replace(go, supposed=False).word == "go"
    assert dataclasses.replace(go, verdict="hold", supposed=True).word == "hold"
    for node in dial.nodes[:3]:
        speed, from_deg = node.wind
        known = dial.supposition.read(from_deg, speed)
        cloud = flown(dial.setup, suppose(dial.supposition, from_deg, speed))
        limits = read_limits(dial.setup.flight, dial.setup.site)
        unread = decide(wind_checks(cloud, known, limits)) != "go"
        assert node.supposed == unread


def test_a_wind_of_the_dial_is_judged_as_any_flight(dial):
    """From north by the very flights, from elsewhere by these turned with the wind."""
    for place in (1, 9):
        node = dial.nodes[place]
        north = suppose(dial.supposition, 0.0, node.wind[0])
        cloud = flown(dial.setup, north).turned(math.radians(node.wind[1]))
        wind = suppose(dial.supposition, node.wind[1], node.wind[0])
        trial = judged(cloud, dial.setup, wind)
        assert node.checks == trial.checks
        for part in cloud.parts:
            mean = node.landings[part.case, part.body].mean
            landed = np.stack([cloud.east[part.rows], cloud.north[part.rows]])
            own = landed.mean(1, dtype=float).tolist()
            assert mean == pytest.approx(own, abs=1e-4)


def test_a_rail_with_a_bearing_is_flown_in_every_wind(dial, monkeypatch):
    flight = dial.setup.flight
    rail = flight.rail.model_copy(update={"azimuth": 2.0})
    setup = dataclasses.replace(
        dial.setup, flight=flight.model_copy(update={"rail": rail}), samples=60
    )
    flights = Flights(pack(setup), dial.supposition, (0.0, 4.0))
    for way in (0.0, 90.0):
        wind = suppose(dial.supposition, way, 4.0)
        own = judged(flown(setup, wind), setup, wind)
        assert flights.trial(4.0, way).checks == own.checks
    # Another process that takes what was made ready flies nothing for it.
    other = Flights(pack(setup), dial.supposition, (0.0, 4.0), True)
    ready = Flights(pack(setup), dial.supposition, (0.0, 4.0), True).ready([(4.0, 0.0)])
    other.take(ready)
    monkeypatch.setattr("driftmap.planning.wind_sweep.flown", None)
    assert other.trial(4.0, 0.0).checks == flights.trial(4.0, 0.0).checks
    assert other.drawn(4.0, 0.0)[1].keys() == set(dial.nodes[1].landings)


class Reader:
    """What a page does with the packed text, written a second time from its description."""

    def __init__(self, text):
        self.symbols = iter(text)

    def number(self):
        """Read a number that is not negative."""
        value, scale = 0, 1
        for symbol in self.symbols:
            place = SYMBOLS.index(symbol)
            if place < FINAL:
                return value + place * scale
            value += (place - FINAL) * scale
            scale *= len(SYMBOLS) - FINAL
        raise AssertionError("the text ends within a number")

    def signed(self):
        """Read a number of either sign."""
        number = self.number()
        return -(number + 1) // 2 if number % 2 else number // 2

    def line(self, unit):
        """Read the corners of a line."""
        steps = [(self.signed(), self.signed()) for _ in range(self.number())]
        return np.cumsum(steps, axis=0) * unit


@pytest.mark.parametrize(
    "fineness", [FINENESS, pytest.param(60.0, marks=pytest.mark.slow)]
)
def test_what_is_packed_comes_back_within_the_stated_error(dial, fineness):
    reader = Reader(pack_nodes(dial.nodes, dial.pieces, fineness=fineness))
    moved = []
    for number, node in enumerate(dial.nodes):
        for case in dict.fromkeys(case for case, _, _ in dial.pieces):
            likely = node.likely.get(case, 0.0) * SHARE_STEPS
            assert likely - 1e-6 <= reader.number() < likely + 1
        for case, body, _ in dial.pieces:
            landing = node.landings.get((case, body))
            kind = 0 if landing is None else 1 + APART.index(landing.apart)
            assert reader.number() == kind
            if landing is None:
                continue
            assert abs(reader.signed() - landing.mean[0]) <= 0.5
            assert abs(reader.signed() - landing.mean[1]) <= 0.5
            for value in (landing.radius, landing.farthest):
                assert value - 1e-6 <= reader.number() < value + 1
            assert landing.soonest - 1 < reader.number() <= landing.soonest
            assert landing.latest - 1e-6 <= reader.number() < landing.latest + 1
            assert landing.speed - 1e-6 <= reader.number() / 10 < landing.speed + 0.1
            assert landing.energy - 1e-6 <= reader.number() < landing.energy + 1
            assert landing.graded - 1e-6 <= reader.number() < landing.graded + 1
            unit = 2.0 ** reader.number()
            west, south, east, north = landing.lines[-1].bounds
            allowed = line_error(max(east - west, north - south), fineness)
            for line in landing.lines:
                drawn = shapely.Polygon(reader.line(unit))
                if number % 3:  # read, so that what follows is; measured at every third
                    continue
                taut = shapely.convex_hull(line)
                off = shapely.hausdorff_distance(
                    shapely.segmentize(drawn.boundary, 5.0),
                    shapely.segmentize(taut.boundary, 5.0),
                )
                assert off <= allowed
                assert drawn.buffer(allowed).covers(line)
                moved.append(off / allowed)
    assert next(reader.symbols, None) is None
    assert max(moved) > 0.3  # the bound is not idle


def circle(speed, from_deg, radius=40.0):
    """A piece that drifts 100 m for each m/s, down within a circle."""
    way = math.radians(from_deg + 180)
    place = 100 * speed * math.sin(way), 100 * speed * math.cos(way)
    line = shapely.MultiPolygon([shapely.Point(place).buffer(radius, quad_segs=32)])
    far = 100 * speed + radius
    energy = 20.0 + speed
    return Landing(place, radius, far, 9.0, 60.0, 5.0, energy, 12.0, "", (line, line))


def test_landings_drawn_between_winds_are_those_of_the_winds_themselves():
    five = [(3.0, 40.0), (3.0, 80.0), (6.0, 40.0), (6.0, 80.0), (4.5, 60.0)]
    places = [(u, v) for u in (0.0, 0.3, 0.5, 1.0) for v in (0.0, 0.5, 0.8, 1.0)]
    key = ("recovery works", "rocket")
    drawn = drawn_landings(
        [{key: circle(*wind)} for wind in five], math.radians(20), places
    )
    for (u, v), landings in zip(places, drawn, strict=True):
        one, true = landings[key], circle(3 + 3 * u, 40 + 40 * v)
        assert one.mean == pytest.approx(true.mean, abs=1e-6)
        assert one.energy == 26.0  # the worst of the five
        off = shapely.hausdorff_distance(
            one.lines[-1].boundary, true.lines[-1].boundary
        )
        assert off < 1.0
        assert one.farthest == pytest.approx(true.farthest, abs=0.2)


def test_a_line_that_has_no_width_between_winds_is_given_some():
    """Halfway between a narrow line and one across it nothing is left of either."""
    key, way = ("nothing deploys", "rocket"), math.radians(20)
    flat = shapely.MultiPolygon([shapely.Polygon([(0, 0), (9, 0), (4, 1e-9)])])
    one = dataclasses.replace(circle(3.0, 60.0), lines=(flat, flat))
    (landings,) = drawn_landings([{key: one}] * 5, way, [(0.5, 0.5)])
    assert all(line.area > 0 for line in landings[key].lines)


def test_a_piece_that_does_not_come_down_everywhere_has_one_landing_all_over():
    key = ("early opening", "canopy")
    some = [{}, {key: circle(3.0, 80.0)}, {key: circle(6.0, 40.0)}, {}, {}]
    drawn = drawn_landings(some, math.radians(20), [(0.1, 0.1), (0.5, 0.5)])
    for landings in drawn:
        for flown_there in some[1:3]:
            line = landings[key].lines[-1]
            assert line.buffer(1e-6).covers(flown_there[key].lines[-1])


def test_large_numbers_come_back():
    landing = Landing(
        (-123_456.4, 98_765.6),
        5e5,
        1e6,
        0.0,
        1e5,
        300.0,
        4e6,
        3e6,
        "any way",
        (shapely.MultiPolygon([shapely.box(-2e5, 0, -1e5, 3e5)]),) * 2,
    )
    node = DialNode((1.0, 0.0), "go", likely={"a": 1.0}, landings={("a", "b"): landing})
    reader = Reader(pack_nodes([node], [("a", "b", 1)]))
    assert [reader.number() for _ in range(2)] == [SHARE_STEPS, 2]
    assert (reader.signed(), reader.signed()) == (-123_456, 98_766)
    assert [reader.number() for _ in range(7)] == [
        500_000,
        1_000_000,
        0,
        100_000,
        3000,
        4_000_000,
        3_000_000,
    ]


def test_symbols_need_no_escape():
    assert len(SYMBOLS) == len(set(SYMBOLS)) == 92
    assert not set(SYMBOLS) & set('"\\<\n')


def few_winds(dial, site, seed):
    """A dial of few winds and flights."""
    # The limits of the site itself leave a dozen checks open, with figures of their own.
    setup = dataclasses.replace(dial.setup, site=site, samples=60, seed=seed)
    return compute_dial(setup, dial.supposition, Reach(dial.reach.top, 1, 4))


@pytest.fixture(scope="module")
def small(dial, saltgrass):
    """Dials of two seeds."""
    return {seed: few_winds(dial, saltgrass, seed) for seed in (1, 2)}


@pytest.mark.slow  # two more dials
@pytest.mark.usefixtures("flown_anew")
def test_the_same_seed_gives_the_same_page(small, dial, saltgrass):
    every = *small.values(), few_winds(dial, saltgrass, 1)
    one, other, again = (dial_html(each, units="us") for each in every)
    assert one == again != other


def test_a_wind_that_cannot_be_flown_holds_and_says_why():
    node = DialNode((1.0, 0.0), "hold", problem="the rail is too short")
    told = tell_reasons([node], [], english("us"))
    [[_, outcome, _, text]] = told["lines"][0]
    assert outcome == 1
    assert "the rail is too short" in "".join(told["texts"][text])


@pytest.mark.slow  # of those dials; reasons are looked at in the page too
def test_sentences_come_back_word_for_word(small):
    """Each wind has the sentences of its own checks, each told once."""
    nodes = small[1].nodes
    told = tell_reasons(nodes, [], english("si"))
    for node, lines in zip(nodes, told["lines"], strict=True):
        bad = [c for c in node.checks if c.outcome != "pass" and not c.question]
        for check, (_, outcome, _, text) in zip(bad, lines, strict=True):
            whole = told["texts"][text].removesuffix(
                " (the worst of a wider range of winds)"
            )
            assert whole == sentence(check, english("si"))
            assert outcome == {"warn": 1, "fail": 2}[check.outcome]
    assert len(set(told["texts"])) == len(told["texts"]) > 3


def test_pages_are_small_and_made_of_one_file(dial):
    page = dial_html(dial, units="si")
    assert len(page.encode()) < 900_000
    assert "src=" not in page.partition("<script>")[0]


@pytest.mark.parametrize("shaped", [False, True])
def test_a_gust_is_carried_by_every_wind_of_the_dial(shaped):
    shape = WindProfile([2, 10, 500], [3.0, 4.0, 0.0], [0.0, 1.0, -9.0], [1, 1, 1])
    read = shape if shaped else None
    gusty = Supposition(300.0, read).on_the_meter(1.4)
    for wind in (suppose(gusty, 240.0, 5.0), gusty.read(240.0, 5.0)):
        assert wind.gust == pytest.approx(2.0, abs=0.01)
        _, (_, strongest) = surface_wind(wind)
        assert strongest >= 7.0
        gusts = [level.gust for level in wind.levels if level.gust]
        assert gusts == [pytest.approx(7.0)]
    with pytest.raises(ValueError, match="'gust'"):
        Reach(5.0, gust=0.9)


@pytest.mark.slow  # one more dial
def test_a_page_says_its_day_and_differs_by_it(dial):
    pages = [dial_html(dial, units="us", made_for=date(2026, 6, day)) for day in (1, 2)]
    assert "For 2026-06-01 only." in pages[0]
    assert '"date":"2026-06-02"' in pages[1]


@pytest.mark.parametrize(
    ("hour", "first", "last"),
    [
        ("2026-06-13T08:30-07:00", "2026-06-13 05:30", "11:30"),
        ("2026-06-13T19:00-07:00", "2026-06-13 16:00", "20:"),  # sunset
        ("2026-06-13T06:00-07:00", "2026-06-13 05:", "09:00"),  # sunrise
        (
            "2026-06-13T23:00-07:00",
            "2026-06-13 20:00",
            "00:5",
        ),  # meant to be dark, till
        ("2026-06-13T01:30-07:00", "2026-06-13 00:5", "04:30"),  # the answers' day ends
    ],
)
def test_a_page_serves_some_hours_of_light_of_its_day_about_its_own(
    dial, hour, first, last
):
    when = datetime.fromisoformat(hour)
    supposed = Supposition.over_site(dial.setup.site, when)
    page = dial_html(replace(dial, supposition=supposed), units="us")
    told = re.search(r"For ([^<]*) only", page)[1]
    assert told.startswith(first)
    assert f" – {last}" in told
    start, end = map(int, re.search(r'"span":\[(\d+),(\d+)\]', page).groups())
    assert 0 < when.timestamp() * 1000 - start <= 3 * 3_600_000
    assert 0 < end - when.timestamp() * 1000 <= 3 * 3_600_000


def test_each_wind_has_its_worst_word_by_the_suns_of_the_time_served(dial, monkeypatch):
    """By the hour all is go; by the lowest sun one wind holds, by the highest another fails."""
    when = datetime.fromisoformat("2026-06-13T08:30-07:00")
    supposed = Supposition.over_site(dial.setup.site, when)
    bad = {5: ((1, 1), "hold"), 8: None, 11: ((1, 2), "no-go")}
    asked = []

    def worked(packed, suns, reach, blocks, workers):
        return [by_one(sun, reach, blocks) for sun in suns]

    def by_one(supposition, reach, blocks):
        winds = {at for block in blocks for at in block.winds(reach.directions)}
        cells = {at for block in blocks for at in block.cells()}
        asked.append((supposition.when.hour, len(cells)))
        nodes = {at: DialNode(reach.wind(*at), "go", supposed=False) for at in winds}
        if (one := bad[supposition.when.hour]) is not None:
            nodes[one[0]] = DialNode(reach.wind(*one[0]), one[1])
        return nodes, {
            at: DialNode(reach.wind(*at), max(words, key=WORDS.index), supposed=False)
            for at in cells
            for words in [[nodes[w].word for w in CellBlock(
                range(at[0], at[0] + 1), range(at[1], at[1] + 1)).winds(4)]]
            if "no-go" not in words
        }  # fmt: skip

    monkeypatch.setattr(planned, "_worked", worked)
    setup = dataclasses.replace(dial.setup, samples=50)
    found = compute_dial(setup, supposed, Reach(3.0, 2, 4))
    assert asked == [(8, 8), (5, 8), (11, 8)]
    assert [node.word for node in found.nodes] == [
        *("go", "go", "hold", "no-go", "go", "go", "go", "go", "go")
    ]
    beside = {(0, 0): "hold", (0, 3): "go", (1, 0): "hold", (1, 3): "go"}
    assert {at: cell.word for at, cell in found.cells.items()} == beside
    assert any("the sun at 08:30, 05:30, 11:30" in note for note in found.assumed)


def test_layers_are_stirred_by_the_sun_of_the_flights(dunlin, saltgrass):
    """Read at dawn and flown at noon they are as at noon; a dial has its other suns too."""
    site = saltgrass
    shape = WindProfile([2, 10, 500], [3.0, 4.0, 0.0], [0.0, 1.0, -9.0], [1, 1, 1])
    noon = datetime.fromisoformat("2026-06-13T12:00-07:00")
    still = suppose(Supposition.over_site(site, None, shape), 240.0, 5.0)
    assert still.convection is shape.convection is None
    supposed = Supposition.over_site(site, noon, shape)
    words = suppose(Supposition.over_site(site, noon), 240.0, 5.0)
    wind = suppose(supposed, 240.0, 5.0)
    assert wind.convection == words.convection
    assert wind.convection.speed > 2
    assert any(note.startswith("rising and sinking air") for note in wind.assumed)
    setup = Setup(dunlin, site)
    hours = [sun.when.hour for sun in planned._suns(supposed, setup)]
    assert hours == [12, 9, 14]


@pytest.mark.parametrize("ahead", [-400, -1, 0, 3, 24 * 20])
def test_a_wind_that_is_supposed_has_no_age(ahead, saltgrass):
    when = present() + timedelta(hours=ahead)
    supposed = Supposition.over_site(saltgrass, when)
    for wind in (supposed.read(240.0, 5.0), supposed.read(None, 5.0)):
        assert (wind.age, wind.undated) == (0.0, ())
        assert not any("counts as read" in note for note in wind.assumed)


@pytest.mark.parametrize("top", [0.0, 100.0, float("nan")])
def test_reach_must_make_sense(top):
    with pytest.raises(ValueError, match="'top'"):
        Reach(top)


def run(*more):
    flight, site = "examples/dunlin.toml", "sites/saltgrass-flat.geojson"
    words = (ROOT / flight, "--site", ROOT / site, *more)
    return CliRunner().invoke(dial_command, [str(word) for word in words])


@pytest.mark.parametrize("speed", ["fast", "0 mph", "200 mph", "3 kg"])
def test_a_bad_top_speed_is_told_by_its_option(tmp_path, speed):
    result = run("--top-speed", speed, "--out", tmp_path / "out")
    assert isinstance(result.exception, InputError)
    assert "--top-speed" in str(result.exception)
    assert not (tmp_path / "out").exists()


class HandedOver(ThreadPoolExecutor):
    """One who works on what a process would be handed, and hands back alike."""

    def __init__(self, _):
        super().__init__(1)

    def submit(self, work, *given):
        """Take and give only what pickles."""
        told = pickle.dumps(partial(work, *given))
        done = super().submit(lambda: pickle.dumps(pickle.loads(told)()))
        return super().submit(lambda: pickle.loads(done.result()))


def test_the_command_writes_one_page(tmp_path, monkeypatch):
    # Beside other threads no process is a fork: each would read all modules anew, twice.
    monkeypatch.setattr("driftmap.cli.dial.processes", HandedOver)
    result = run(
        *("--wind", ROOT / "examples" / "morning.csv", "--samples", 50),
        *("--when", "2026-06-13T08:30-07:00"),
        *("--speeds", 1, "--directions", 4, "--top-speed", "3 m/s"),
        *("--units", "si", "--out", tmp_path),
    )
    assert result.exit_code == 0, result.output
    assert "5 winds: 0 go, 0 check aloft" in result.output
    assert "no verdict here can be go" in result.output
    page = (tmp_path / "dial.html").read_text("utf-8")
    assert "as in morning.csv, scaled and turned with the meter" in page
    assert [p.name for p in tmp_path.iterdir()] == ["dial.html"]


def test_every_order_that_the_page_words_stands_in_the_catalogue():
    """A script that asks for a word which is gone stops, and its orders stay those of before."""
    scripts = Path(dialdata.__file__).parent.glob("*.js")
    code = "\n".join(path.read_text("utf-8") for path in scripts)
    asked = set(re.findall(r"DIAL\.orders\.(\w+)", code))
    for names in re.findall(r"\{([^{}]*)\} = DIAL\.orders", code):
        asked |= {name.split(":")[0].strip() for name in names.split(",")}
    assert len(asked) > 15
    assert asked <= english("us").catalogue.table("instruct").keys()
