"""The stopwatch: the same seconds as the flights, and never later than what it warns of."""

import dataclasses
import math
import re
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from driftmap.report.calls import before, moments
from driftmap.report.instructions import CALL, Sight, sights, watch
from driftmap.report.map import map_html
from driftmap.report.sheet import brief_html, caller_html, heads_up, poster_html
from driftmap.report.sheetfacts import falls, straight_down
from driftmap.report.voice import Voice, english, languages, read_catalogue
from driftmap.rocket.cases import BROKEN, OWN_NAMES, build_cases
from driftmap.rocket.flightfile import read_flight
from driftmap.rocket.likelihood import LIKELIHOOD
from driftmap.verdict.assessment import assess

ROOT = Path(__file__).parents[2]


def test_moments_come_in_order_and_agree_with_the_flights(demo):
    told = moments(watch(demo, english("us")))
    seconds = [moment.second for moment in told]
    assert seconds == sorted(seconds)
    assert seconds[0] == 0
    top = demo.cloud.apogee.time
    (highest,) = (m for m in told if m.should.startswith("Highest"))
    assert np.mean(top < highest.second) == pytest.approx(0.05, abs=0.01)
    part = next(p for p in demo.cloud.parts if p.case == "nothing deploys")
    (hits,) = (m for m in told if "hit the ground" in m.should)
    assert np.mean(demo.cloud.time[part.rows] < hits.second) <= 0.051
    # Nobody looks away before nine in ten of every piece, whatever happens, are down.
    down = [part.quantile(demo.cloud.time, 0.95) for part in demo.cloud.parts]
    assert seconds[-1] == pytest.approx(max(down))


def test_heads_are_up_in_time_though_the_opening_is_called_too_late_for_it(demo):
    """Two seconds before the fall there is no time to hear it, stand up and find it."""
    seen = watch(demo, english("us"))
    first = seen.fast.first
    for early, called in ((CALL - 3.0, True), (CALL + 3.0, False)):
        up = dataclasses.replace(
            seen.up, last=first - early - 2.0
        )  # s, from trigger to open
        told = moments(dataclasses.replace(seen, up=up))
        ahead = [m for m in told if m.failed and m.second == math.floor(first) - CALL]
        assert bool(ahead) == called


def test_the_call_comes_before_the_fall_and_is_true_as_long_as_it_stands(demo):
    told = moments(watch(demo, english("us")))
    (opening,) = (m for m in told if "must be open" in m.should)
    (hits,) = (m for m in told if "hit the ground" in m.should)
    assert opening.second < hits.second
    assert opening.second == int(opening.second)  # as it is called, not a moment after
    strikes = english("us").seconds(hits.second)
    assert f"It can strike from {strikes} on" in opening.otherwise
    assert "\u00a0s left" not in opening.otherwise
    assert "HEADS UP" in opening.otherwise


@pytest.mark.parametrize("language", languages())
def test_every_language_counts_the_same(demo, language):
    told = moments(watch(demo, Voice(read_catalogue(language), "si")))
    assert [m.second for m in told] == [
        m.second for m in moments(watch(demo, english("us")))
    ]
    assert all(m.should[0] == m.should[0].upper() for m in told)


def test_it_is_light_and_its_table_stands_in_the_page(demo):
    page = map_html(demo, units="us")
    script = files("driftmap.report").joinpath("stopwatch.js").read_text("utf-8")
    assert len(script.encode()) < 20_000
    for moment in moments(watch(demo, english("us"))):
        assert moment.should in page


@pytest.fixture(scope="module")
def staged(demo):
    """Two stages: the booster without its canopy is down long before the sustainer."""
    flight = read_flight(ROOT / "examples" / "godwit.toml")
    return assess(flight, demo.site, demo.wind, samples=400)


def test_every_piece_that_harms_is_told_by_its_second_and_called_before(demo, staged):
    """Soonest and hardest: by name in the caller's rows, by its second in both lists."""
    voice = english("us")
    for flown in (demo, staged):
        rows, found = moments(watch(flown, voice)), falls(flown)
        early = " ".join(before(watch(flown, voice)))  # said before lift-off
        calls = " ".join(heads_up(watch(flown, voice)))
        harm = [
            fall
            for fall in found
            if not fall.works and fall.harms and fall.piece != BROKEN
        ]
        for piece in {fall.piece for fall in harm}:
            own = [fall for fall in harm if fall.piece == piece]
            for fall in (min(own, key=first), max(own, key=lambda f: f.energy)):
                name, second = voice.known("piece", piece), voice.seconds(fall.first)
                told = [row for row in rows if told_in(row, name, second)]
                if fall.unopened and not told:
                    told = [row for row in rows if "must be open" in row.should]
                if fall.first <= 5.0:
                    assert f"{name} {second}" in early, (fall.case, piece)
                    continue
                assert told, (fall.case, piece)
                assert told[0].second <= max(0.0, math.floor(fall.first) - 4)
                assert "HEADS UP" in told[0].otherwise
                assert (
                    piece == "rocket" or f"{name} {second}" in calls or second in calls
                )


def first(fall):
    return fall.first


def told_in(row, name, second):
    said = f"{row.should} {row.otherwise}"
    return name.lower() in said.lower() and second in said


def test_a_booster_without_canopy_is_called_while_it_falls(staged):
    """Down at 8 s beside the pad; the sustainer's fall comes long after."""
    voice, found = english("us"), falls(staged)
    (fall,) = (
        f
        for f in found
        if f.case == "recovery of the booster fails" and f.piece == "booster"
    )
    assert fall.deadly
    rows = moments(watch(staged, voice))
    (strikes,) = (r for r in rows if r.should.startswith("Booster – if it failed"))
    assert strikes.second == math.floor(fall.first)
    (opens,) = (r for r in rows if "must be open" in r.should)
    call = next(
        r for r in rows if r.failed and r.should.startswith("Booster not seen to be")
    )
    assert call.second < strikes.second < opens.second
    assert "HEADS UP" in call.otherwise
    second = voice.seconds(fall.first)
    assert any(
        "booster" in told and second in told for told in heads_up(watch(staged, voice))
    )
    for page in (caller_html, brief_html):
        assert second in page(watch(staged, voice))
    # Of a no-go the crowd reads no line that sounds as if it flew.
    assert staged.verdict == "no-go"
    alone = re.compile(rf"(?<!\d){re.escape(second)}")
    assert not alone.search(poster_html(watch(staged, voice)))
    held = watch(dataclasses.replace(staged, verdict="hold"), voice)
    assert alone.search(poster_html(held))


def test_what_lands_with_nothing_open_is_told_by_the_soonest_cause(demo, staged):
    """Never later than nothing opening on a flight that else goes as planned."""
    for flown in (demo, staged):
        found = falls(flown)
        (planned,) = (
            f for f in found if f.case == "nothing deploys" and f.piece == "rocket"
        )
        assert straight_down(found).first <= planned.first
    (together,) = (
        f
        for f in falls(staged)
        if f.case == "stages do not part" and f.piece == "rocket"
    )
    assert straight_down(falls(staged)).first == together.first < planned.first


@pytest.mark.parametrize(
    "name",
    [
        "willet",
        "godwit",
        "whimbrel",
        "dunlin",
        pytest.param("plover", marks=pytest.mark.slow),
    ],
)
def test_every_piece_the_program_names_is_in_every_language(name):
    """What no file lists has its word; a file's own names stand as they are."""
    flight = read_flight(ROOT / "examples" / f"{name}.toml")
    listed = {
        one.name for one in (*flight.pieces, *flight.booster_fins, *flight.devices)
    }
    bodies = {body.name for case in build_cases(flight).cases for body in case.bodies}
    named = {*OWN_NAMES, "nose cone", "motor case"}  # these two assumed, if need be
    assert bodies - listed <= named
    for language in languages():
        known = read_catalogue(language).messages
        assert all(f"piece.{one}" in known for one in named)
        assert all(f"case.{one}" in known for one in LIKELIHOOD)
        if language != "en":
            other = read_catalogue("en").messages
            assert known["piece.loose motor"] != other["piece.loose motor"]


@pytest.mark.parametrize(
    ("bearing", "distance", "side"),
    [
        (0, 400, "beyond"),
        (90, 300, "right"),
        (270, 300, "left"),
        (180, 300, "before"),
        (135, 700, "far_right"),
        (225, 700, "far_left"),
        (180, 400, "over"),
        (180, 900, "behind"),
    ],
)
@pytest.mark.parametrize("turn", [0, 75, 200])
def test_left_and_right_are_those_of_the_crowd(bearing, distance, side, turn):
    """A crowd 400 m south of the pad faces north; the whole ground turned, they stay as they are."""
    south = math.radians(180 + turn)
    crowd = Sight("Crowd", 400 * math.sin(south), 400 * math.cos(south))
    assert crowd.side(distance, math.radians(bearing + turn)) == side


def test_where_to_look_is_told_by_left_and_right_of_the_crowd(demo):
    """East of the pad is to the right of who stands south of it, and who must move has moved."""
    seen = watch(demo, english("us"))
    (crowd,) = (m for m in seen.moves if m.spot.area.name == "South crowd line")
    assert seen.sight.name == "South crowd line, once moved"
    at = crowd.ground.representative_point()
    assert (seen.sight.east, seen.sight.north) == (at.x, at.y)
    seen = dataclasses.replace(seen, sight=sights(demo.site.areas)[0])
    east = dataclasses.replace(
        seen.falls[0], azimuth=math.pi / 2, distance=300, radius=0
    )
    assert seen.look(east) == "look right (east of the pad)"
    assert seen.eyes(east) == "right (E of pad)"
    # About the pad rather than beside it: which way of it for who stands south of it.
    round_it = dataclasses.replace(east, distance=100, radius=300)
    ways = [
        seen.eyes(dataclasses.replace(round_it, azimuth=turn * math.pi / 2))
        for turn in range(4)
    ]
    assert ways == [
        f"around the pad, mostly {way}"
        for way in (
            "beyond it (N of pad)",
            "right (E of pad)",
            "this side of it (S of pad)",
            "left (W of pad)",
        )
    ]
    by_it = dataclasses.replace(east, distance=90, azimuth=0.0)
    assert seen.eyes(by_it) == "near the pad, beyond it (N of pad)"
    nearer = dataclasses.replace(round_it, distance=10)
    assert seen.eyes(nearer) == "all around the pad"
    assert any("South crowd line, looking N at" in line for line in before(seen))
    alone = dataclasses.replace(seen, sight=None)
    assert alone.look(east) == "look east of the pad"
    assert alone.eyes(east) == "E of the pad"
