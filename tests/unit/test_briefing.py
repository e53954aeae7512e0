"""The briefing: what it says, in every language, and what it refuses."""

import dataclasses
import json
import math
import re
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from shapely import affinity

from driftmap.core.errors import InputError
from driftmap.ground.roles import ROLES
from driftmap.hazard.way_out import clear_ground, way_out
from driftmap.hazard.zones import outer_line, zones
from driftmap.report import marks, sheetfacts, tables
from driftmap.report.instructions import CALL, look, sights, watch
from driftmap.report.map import map_html
from driftmap.report.picture import field_image
from driftmap.report.positions import stand
from driftmap.report.reasons import comes_down, hits_like, verdict_reasons
from driftmap.report.sentences import case_words
from driftmap.report.sheet import _MOST_FALLS, brief_html, caller_html, poster_html
from driftmap.report.sheetfacts import falls, straight_down
from driftmap.report.voice import Catalogue, Voice, languages, read_catalogue
from driftmap.report.wind_text import without_clock
from driftmap.rocket.flightfile import read_flight
from driftmap.rocket.likelihood import CERTAIN, LIKELIHOOD, WORKS
from driftmap.rules.answers import Answers
from driftmap.verdict.assessment import CAUTIONS, assess
from driftmap.verdict.check import Check, Kind
from driftmap.winds.profile import read_wind

ROOT = Path(__file__).parents[2]

PACKAGE = Path(str(files("driftmap.report")))
ENGLISH = (PACKAGE / "messages" / "en.toml").read_text("utf-8")


class Spy(dict):
    """Messages that remember which of them were asked for."""

    def __init__(self, messages, asked):
        super().__init__(messages)
        self.asked = asked

    def __getitem__(self, key):
        self.asked.add(key)
        return super().__getitem__(key)


def plain(html):
    """Give the words of a page."""
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]*>", " ", html, flags=re.S)
    body = re.sub("[①-⑳]", lambda mark: str(ord(mark[0]) - 0x245F), body)
    text = re.sub(r"[\s\u00a0]+", " ", body).replace("\u2060", "")
    return text.replace("&#39;", "'").replace("\u2068", "").replace("\u2069", "")


@pytest.fixture(scope="module")
def english():
    return read_catalogue("en")


def test_english_cautions_are_those_of_every_report(english):
    assert english.cautions == CAUTIONS
    assert set(languages()) >= {"de", "en", "es", "fr"}


@pytest.mark.parametrize("language", languages())
def test_every_message_that_is_asked_for_is_in_the_catalogue(language, demo):
    # Reading refuses a catalogue that lacks a key of the English one, or has one more.
    catalogue = read_catalogue(language)
    asked = set()
    spied = dataclasses.replace(catalogue, messages=Spy(catalogue.messages, asked))
    for units in ("us", "si"):
        page = brief_html(watch(demo, Voice(spied, units)))
        assert f'lang="{language}"' in page
        for caution in catalogue.cautions:
            assert caution in plain(page)
    assert asked <= set(read_catalogue("en").messages)
    assert len(asked) > 50


def test_every_key_in_the_code_exists_and_every_message_is_used(english):
    code = "".join(
        path.read_text("utf-8")
        for path in PACKAGE.iterdir()
        if path.suffix in {".py", ".html"}
    )
    plain_keys = set(re.findall(r'say\(\s*"([a-z_.-]+)"', code))
    plain_keys = {key for key in plain_keys if not key.endswith(".")}
    plain_keys |= set(re.findall(r'"((?:reason|back|watch)\.[a-z_]+)"', code))
    plain_keys |= set(re.findall(r"say\('([a-z_.]+)'\)", code))
    assert len(plain_keys) > 40
    assert plain_keys <= set(english.messages)
    open_tables = (
        *("compass.", "role.", "piece.", "case.", "verdict."),
        *("zone.", "harm.", "device.", "check.", "when.", "chance.", "kind."),
        *("more.", "none_seen.", "alternative.", "margin.", "winds.", "cover."),
        *("walk.", "side.", "way."),
    )
    put_together = {"pass", "warn", "fail", "open", "car", "roof"}
    put_together |= {"needle_east", "needle_west", "short_go", "short_aloft"}
    put_together |= {"short_hold", "short_no-go"}
    put_together |= {"move", "move_facing", "danger", "outside"}
    put_together |= {"about"}
    unused = set(english.messages) - plain_keys
    scripts = "".join(
        p.read_text("utf-8")
        for room in ("report", "observations")
        for p in (PACKAGE.parent / room).glob("*.js")
    )
    asked = set(re.findall(r'"(\w+)"', scripts))
    searched = (PACKAGE.parent / "observations" / "search.html").read_text("utf-8")
    searched += " ".join(f"search.{name}" for name in asked)
    rooms = ("cli", "report", "planning", "observations")
    commands = "".join(
        p.read_text("utf-8")
        for room in rooms
        for p in (PACKAGE.parent / room).glob("*.py")
    )
    for key in sorted(unused):
        table, _, name = key.partition(".")
        if table in {"tell", "set"}:  # what scripts say
            assert name in asked, key
        elif table == "search":
            said = f'"{name}"', f"search.{name}"
            assert any(text in commands + searched for text in said), key
        elif table == "plan":  # the commands write plans
            assert f'"{name}"' in commands or f"plan.{name}" in commands, key
        elif table in {
            "map",
            "dial",
            "back",
            "instruct",
        }:  # put together from a word and an outcome
            assert name in put_together, key
        else:
            assert key.startswith(open_tables), key


def test_every_case_and_every_role_has_plain_words(english):
    for cause in LIKELIHOOD:
        assert f"case.{cause}" in english.messages
    for name in ("early opening", "late opening"):
        for ending in ("holds", "torn", "ripped off"):
            assert f"case.{name}, {ending}" in english.messages
    assert CERTAIN == "flutter"
    for role in set(ROLES) - {"pad", "boundary", "waiver"}:
        assert f"role.{role}" in english.messages


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('title = "Who decides"\n', "", "decides.title: missing; in English"),
        ('north = "N"\n', 'north = "N"\nsouth = "S"\n', "picture.south: no such"),
        ('north = "N"', 'north = " "', "picture.north: must be text (got ' ')"),
        ('north = "N"', "north = 7", "picture.north: must be text (got 7)"),
        ('north = "N"', f'north = "{"N" * 481}"', "must have at most 480 characters"),
        ("{piece}: {where}.", "{where}.", "falls.lands: must hold {piece}"),
        ("{piece}: {where}.", "{piece.x}: {where}.", "falls.lands: must hold {piece}"),
        ("{piece}: {where}.", "{piece!r}: {where}.", "falls.lands: must hold {piece}"),
        ("{piece}: {where}.", "{piece:>9}: {where}.", "falls.lands: must hold {piece}"),
        ("{piece}: {where}.", "{piece: {where}.", "falls.lands: must hold {piece}"),
        ('north = "N"', 'north = "{0}"', "picture.north: must hold nothing in braces"),
        ('direction = "ltr"', 'direction = "up"', "direction: must be 'ltr' or 'rtl'"),
        (
            '    "Motors are made, handled and flown only as law and licence allow.",\n',
            "",
            "cautions: must be 5 texts",
        ),
        ("[number]", "[number", "is not TOML"),
    ],
)
def test_a_broken_catalogue_is_refused_by_name(tmp_path, old, new, told):
    assert old in ENGLISH
    path = tmp_path / "ours.toml"
    path.write_text(ENGLISH.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as problem:
        read_catalogue(str(path))
    assert str(problem.value).startswith(f"{path}: ")
    assert told in str(problem.value)


@pytest.mark.parametrize(
    ("key", "word", "told"),
    [
        ("hold", "GO", "reads as go"),
        ("no-go", "Go!", "reads as go"),
        ("no-go", "ADELANTE", "reads as go"),  # what another language says for it
        ("hold", "–", "reads as go"),
        ("no-go", "HOLD", "is the word for hold"),
    ],
)
def test_a_catalogue_that_says_go_for_another_word_is_refused(
    tmp_path, key, word, told
):
    path = tmp_path / "ours.toml"
    path.write_text(
        re.sub(rf'\n{key} = "(HOLD|NO.GO)"', f'\n{key} = "{word}"', ENGLISH, count=1),
        encoding="utf-8",
    )
    with pytest.raises(InputError, match=told):
        read_catalogue(str(path))


def test_a_catalogue_that_is_not_there_is_refused():
    with pytest.raises(InputError, match="must be one of de, en, es, fr, or a cat"):
        read_catalogue("tlh")


def test_a_catalogue_in_another_encoding_is_refused(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_bytes(ENGLISH.replace("north", "nörth").encode("utf-16"))
    with pytest.raises(InputError, match=r"ours\.toml: is not text in UTF-8"):
        read_catalogue(str(path))


def test_a_club_can_bring_its_own_words(tmp_path, demo):
    path = tmp_path / "club.toml"
    path.write_text(
        ENGLISH.replace('title = "When to call HEADS UP"', 'title = "Shout LOOK OUT"')
    )
    page = brief_html(watch(demo, Voice(read_catalogue(str(path)), "us")))
    assert "Shout LOOK OUT" in plain(page)


def test_values_are_not_read_as_messages():
    catalogue = Catalogue("en", "ltr", "us", (), {"x": "{area} here"})
    assert catalogue.say("x", area="{flight!r} {0}") == "{flight!r} {0} here"


@pytest.mark.parametrize(
    ("language", "units", "metres", "told"),
    [
        ("en", "us", 955.0, "3,100 ft"),
        ("de", "si", 1234.0, "1.200 m"),
        ("fr", "si", 1234.0, "1\u202f200 m"),
        ("en", "si", 3.4, "3 m"),
        ("en", "si", 0.0, "0 m"),
        ("en", "si", 99.6, "100 m"),
    ],
)
def test_distances_as_people_say_them(language, units, metres, told):
    voice = Voice(read_catalogue(language), units)
    assert voice.distance(metres).replace("\u00a0", " ") == told


def test_the_earliest_second_is_never_rounded_up(english):
    voice = Voice(english, "us")
    told = voice.seconds(26.97, 33.02).replace("\u2060", "").replace("\u00a0", " ")
    assert told == "26–34 s"
    assert voice.seconds(26.97).replace("\u00a0", " ") == "26 s"
    assert voice.seconds(5.0, 5.0).replace("\u00a0", " ") == "5 s"
    german = Voice(read_catalogue("de"), "si")
    assert german.speed(4.94).replace("\u00a0", " ") == "4,9 m/s"


@pytest.mark.parametrize(
    ("degrees", "told"),
    [
        (0, "north"),
        (22, "north"),
        (23, "north-east"),
        (240, "south-west"),
        (-1, "north"),
    ],
)
def test_eight_points_of_the_compass(english, degrees, told):
    assert Voice(english, "us").compass(math.radians(degrees)) == told


def test_falls_agree_with_the_cloud(demo):
    found = sheetfacts.falls(demo)
    assert len(found) == len(demo.cloud.parts)
    assert found[0].case == WORKS
    firsts = {}
    for fall in found[1:]:
        firsts.setdefault(fall.case, []).append(fall.first)
    assert [min(f) for f in firsts.values()] == sorted(min(f) for f in firsts.values())
    part = next(p for p in demo.cloud.parts if p.case == "nothing deploys")
    fall = next(f for f in found if f.case == "nothing deploys")
    times = demo.cloud.time[part.rows]
    assert np.mean(times < fall.first) == pytest.approx(0.05, abs=0.001)
    assert np.mean(times > fall.last) == pytest.approx(0.05, abs=0.001)
    away = np.hypot(demo.cloud.east[part.rows], demo.cloud.north[part.rows])
    assert np.mean(away <= fall.reach) == pytest.approx(0.9, abs=0.001)
    fast = sheetfacts.straight_down(found)
    assert fast.energy == max(f.energy for f in found if f.case == fast.case)


def test_the_sheet_tells_seconds_for_every_case(demo, english):
    told = plain(brief_html(watch(demo, Voice(english, "us"))))
    voice = Voice(english, "us")
    for fall in sheetfacts.falls(demo)[
        :_MOST_FALLS
    ]:  # the soonest; a page holds no more
        seconds = plain(voice.seconds(fall.first, fall.last))
        assert seconds in told
        if fall.case != WORKS:
            assert plain(case_words(fall.case, voice)) in told


def test_words_go_by_energy_and_not_by_case(demo, english):
    """A rocket that hits hard never floats, whatever it hangs from."""
    voice = Voice(english, "us")
    told = {
        joules: comes_down(demo.flight.recovery, 14.0, joules, voice)
        for joules in (14.0, 61.0, 79.0)
    }
    assert told[14.0].endswith("it can bruise")
    assert (
        told[61.0] == "it comes down under its parachute at 31\u00a0mph: it can injure"
    )
    assert told[79.0].endswith("it can kill or maim")
    # 2 lb from 17 ft: m g h = 0.907 kg * 9.807 m/s2 * 5.18 m.
    assert hits_like(46.1, voice) == "17\u00a0ft"


@pytest.mark.parametrize(
    ("said", "kind", "seen"),
    [
        ("pass", None, "pass"),
        ("pass", "caution", "warn"),
        ("pass", "danger", "fail"),
        ("warn", "danger", "fail"),
        ("fail", "caution", "fail"),
    ],
)
def test_ground_in_a_zone_never_looks_clear_of_it(said, kind, seen):
    assert marks.seen_outcome(said, kind) == seen


SIGNS = {"fail": "move", "warn": "caution", "pass": "clear"}
"""Nobody is passed over, and nobody is told two things."""


@pytest.mark.parametrize(
    "verdict",
    ["go", *(pytest.param(v, marks=pytest.mark.slow) for v in ("hold", "no-go"))],
)
def test_who_reaches_into_a_zone_is_told_what_to_do_on_every_page(demo, verdict):
    """The same words in the same order, whatever the verdict."""
    changed = dataclasses.replace(demo, verdict=verdict)
    for language in languages():
        voice = Voice(read_catalogue(language), "si")
        seen = watch(changed, voice)
        told = stand(seen)
        for spot in (spot for spot in seen.places if spot.stand):
            # Danger names whom it comes nearest: no word to them.
            orders = [order for order in told if order.sign != "danger"]
            mine = [order.sign for order in orders if spot.area.name in order.told]
            assert mine == [SIGNS[spot.seen]]
        pages = [poster_html(seen), caller_html(seen)]
        if language == "en":
            pages += [map_html(changed, units="si"), brief_html(seen)]
        for page in pages:
            words = plain(page)
            pad, *ahead = map(plain, look(seen))
            if (
                page == pages[0] and verdict == "no-go"
            ):  # the poster tells the first alone
                ahead = ahead[:1]
            lines = [*(plain(o.told) for o in told), pad]
            # Whose left and right it is, is not told on every page.
            lines += [line[: line.index(":")] for line in ahead]
            assert all(line.rstrip(".") in words for line in lines)
            places = [words.index(line[:40]) for line in lines[:2]]
            assert places == sorted(places)


def test_who_must_move_is_sent_to_the_nearest_ground_outside_both_zones(demo, english):
    """The place that is told lies in the field, in no zone, with room about it."""
    seen = watch(demo, Voice(english, "si"))
    ground = shapely.union_all([zone.shape for zone in seen.zones])
    clear = clear_ground(demo.site, [ground])
    hit = next(s for s in seen.places if s.stand and s.kind)
    way = way_out(hit.area.shape, ground, clear)
    start, end = map(shapely.Point, way.coords)
    assert (hit.area.shape & ground).contains(start)
    assert end.distance(ground) > 29.9  # room for them
    assert demo.site.boundary.contains(end)
    # No nearer place is clear: all of a ring a little nearer has no such room.
    ring = start.buffer(way.length - 2.0).exterior
    assert not ring.intersects(clear)
    # A field that is all zone has none, and says so.
    none = clear_ground(demo.site, [demo.site.boundary])
    assert way_out(hit.area.shape, ground, none) is None


def test_a_row_walks_until_its_last_is_clear_too():
    """A row 100 m long, along the way: from its middle it would leave 50 m of it behind."""
    zone, row = shapely.box(-200, -200, 200, 0), shapely.box(-10, -100, 10, 0)
    clear = shapely.box(-500, 30, 500, 500)
    way = way_out(row, zone, clear)
    (east, north), (to_east, to_north) = way.coords
    assert (east, north, to_east) == (0, -50, 0)
    assert 130 <= to_north - north < 135  # the last stands 100 m from the zone's edge


def test_the_field_alone_is_a_picture_with_its_colours_and_no_word(demo, english):
    """It stands beside a word that may change: none is in it."""
    image = field_image(watch(demo, Voice(english, "us")))
    root = ElementTree.fromstring(image)
    style, *parts = root
    assert root.tag.endswith("svg")
    assert ".zone.danger" in style.text
    shown = " ".join("".join(part.itertext()) for part in parts)
    assert "DANGER" in shown
    assert not any(
        english.say(f"verdict.{w}") in shown for w in ("go", "hold", "no-go")
    )
    assert "<script" not in image


def test_whose_left_and_right_is_told_where_crowds_differ(demo, english):
    south = next(a for a in demo.site.areas if a.role == "spectators")
    north = dataclasses.replace(
        south,
        name="North crowd",
        shape=affinity.scale(south.shape, 1, -1, origin=(0, 0)),
    )
    whose = f"Then from {south.name}, looking N at the pad:", "Then, facing it:"
    for areas, told in (((south,), whose[1]), ((south, north), whose[0])):
        site = dataclasses.replace(demo.site, areas=areas)
        seen = watch(dataclasses.replace(demo, site=site), Voice(english, "us"))
        (sight, *_) = sights(site.areas)
        still = dataclasses.replace(seen, zones=(), sight=sight)  # nobody must move
        assert plain(look(still)[0]).endswith(told)


@pytest.mark.parametrize("said", ["fail", "warn", "pass"])
def test_who_stands_in_danger_is_told_to_move_and_first(demo, english, said):
    """Whatever the checks say, a go too: no place in caution, nor outside, is told before it."""
    voice = Voice(english, "us")
    seen = watch(demo, voice)
    calm, *others = [s for s in seen.places if s.stand]

    def put(spot, kind, said):
        mark = marks.seen_outcome(said, kind)
        return dataclasses.replace(spot, kind=kind, outcome=said, seen=mark)

    def told(*places):
        return stand(dataclasses.replace(seen, places=list(places)))

    alone = [order.sign for order in told(put(calm, None, said)) if order.sign]
    assert alone[0] == SIGNS[said]
    worst = [put(s, "caution", "fail") for s in others]
    rows = tables.people_rows([*worst, put(calm, "danger", said)], voice)
    assert (rows[0]["name"], rows[0]["flag"]) == (calm.area.name, "MOVE AWAY")
    numbers = [row["number"] for row in rows[1:]]
    assert numbers == sorted(numbers)
    move, caution, danger, watched = told(*worst, put(calm, "danger", said))
    assert watched.told.startswith("Where CLEAR too, watch each flight")  # a no-go too
    # Nobody is named who may stand there; how far it reaches is told by the words of danger.
    assert re.fullmatch(r"keep out: [\d,.]+\s(ft|mi)\s[NESW]+(, .*)?\.", caution.told)
    assert (move.name, danger.name, caution.name) == ("MOVE AWAY", "DANGER", "CAUTION")
    begun = f"to CLEAR. Facing the pad: {rows[0]['number']} {calm.area.name}: "
    assert plain(move.told).startswith(begun)
    assert all(s.area.name in move.told for s in worst)
    assert not any(s.area.name in caution.told for s in worst)
    (off,) = [o for o in told(put(calm, None, "fail")) if o.name == "MOVE AWAY"]
    assert f"{calm.area.name}: ask where to" in plain(off.told)
    for word in ("go", "hold", "no-go"):  # a go is told to those who must stay as well
        judged = dataclasses.replace(demo, verdict=word)
        there = [put(calm, "danger", said)]
        first = stand(dataclasses.replace(seen, told=judged, places=there))[0]
        assert ("is counted: eyes up" in first.told) == (word == "go")
    mild = tables.people_rows([put(s, "caution", said) for s in others], voice)
    flags = {"fail": "MOVE AWAY", "warn": "ask first", "pass": "on your feet, eyes up"}
    assert {row["flag"] for row in mild} == {flags[said]}


def test_partly_is_said_only_of_what_lies_beyond_its_zone_as_well(demo, english):
    voice = Voice(english, "us")
    first = next(a for a in demo.site.areas if a.occupied)
    zoned = zones(demo.cloud, outer_line(demo.cloud, demo.contours))
    ground = {zone.kind: zone.shape for zone in zoned}
    mild = ground["caution"].difference(ground["danger"]).representative_point()
    shapes = {
        "in DANGER": ground["danger"].representative_point().buffer(1.0),
        "partly in DANGER": ground["danger"].envelope.buffer(1.0),
        "in CAUTION": mild.buffer(1.0),
        "": affinity.translate(first.shape, 1e5),
    }
    areas = tuple(
        dataclasses.replace(first, name=f"place {told}", shape=shape)
        for told, shape in shapes.items()
    )
    changed = dataclasses.replace(
        demo, site=dataclasses.replace(demo.site, areas=areas)
    )
    rows = tables.people_rows(sheetfacts.spots(changed, zoned), voice)
    assert {row["name"]: row["zone"] for row in rows} == {
        f"place {t}": t for t in shapes
    }
    # However much of it lies in caution beside.
    wide = dataclasses.replace(zoned[1], shape=shapes["partly in DANGER"].buffer(9.0))
    rows = tables.people_rows(sheetfacts.spots(changed, (zoned[0], wide)), voice)
    assert "partly in DANGER" in {row["zone"] for row in rows}


@pytest.mark.parametrize("outcome", ["pass", "fail"])
def test_of_neighbours_in_caution_all_move_or_none(demo, outcome):
    """A person in a small tent is hit as often as one in the crowd beside it."""
    zoned = zones(demo.cloud, outer_line(demo.cloud, demo.contours))
    ground = {zone.kind: zone.shape for zone in zoned}
    mild = ground["caution"].difference(ground["danger"]).representative_point()
    first = next(a for a in demo.site.areas if a.occupied)
    far = affinity.translate(first.shape, 1e5)
    shapes = {"crowd": mild.buffer(2.0), "tent": mild.buffer(1.0), "far": far}
    areas = tuple(
        dataclasses.replace(first, name=name, shape=shape)
        for name, shape in shapes.items()
    )
    check = dataclasses.replace(demo.checks[0], area="crowd", outcome=outcome)
    site = dataclasses.replace(demo.site, areas=areas)
    changed = dataclasses.replace(demo, site=site, checks=(check,))
    seen = {s.area.name: s.seen for s in sheetfacts.spots(changed, zoned)}
    zoned_as = "fail" if outcome == "fail" else "warn"
    assert seen == {"crowd": zoned_as, "tent": zoned_as, "far": "pass"}


def test_eyes_are_on_the_pad_first_then_on_both_sides_that_can_kill(demo, english):
    """The worst fall, and the likeliest that kills on another side of the pad."""
    seen = watch(demo, Voice(english, "us"))
    pad, *ahead = look(dataclasses.replace(seen, told=go_of(demo)))
    assert pad.startswith("At lift-off: the pad. Then")
    planned = next(fall for fall in seen.falls if fall.works)
    other, worst, well = ahead  # in the order of time
    assert well.startswith(f"From {seen.voice.clock(planned.first)}, if all is well: ")
    fast = seen.fast
    assert ", if nothing opens: " in worst
    assert f"({seen.voice.letters(fast.azimuth)}" in worst
    sides = [f for f in seen.falls if f"({seen.voice.letters(f.azimuth)}" in other]
    assert any(f.deadly for f in sides)
    assert "if nothing opens" not in other
    assert look(seen)[0].startswith("If one still goes up: the pad. ")  # a no-go
    # What opens later than the fall strikes is not waited for.
    late = dataclasses.replace(seen, up=dataclasses.replace(seen.up, last=1e3))
    (worst,) = (line for line in look(late) if ", if nothing opens: " in line)
    assert worst.startswith(f"From {seen.voice.clock(fast.first - CALL)}, ")


def go_of(demo):
    return dataclasses.replace(demo, verdict="go")


@pytest.mark.parametrize("outcome", ["fail", "warn", "pass"])
def test_ground_that_is_not_safe_is_not_offered(demo, english, outcome, monkeypatch):
    """A place over its limit is never just listed among those to stand at."""
    monkeypatch.setattr(sheetfacts, "zone_at", lambda *_: None)  # danger has its own
    area = next(a.name for a in demo.site.areas if a.role == "spectators")
    checks = tuple(
        dataclasses.replace(c, outcome=outcome if c.area == area else "pass")
        for c in demo.checks
        if c.kind
        is not Kind.UNDER_THE_FALL  # who stands there is marked though it passes
    )
    changed = dataclasses.replace(demo, checks=checks)
    told = plain(brief_html(watch(changed, Voice(english, "us"))))
    row = re.search(rf"{area} [^;]*? of the pad; 120 people (.{{30}})", told)[1]
    flags = {"fail": "MOVE AWAY", "warn": "ask first"}
    if outcome == "pass":
        assert not row.startswith(tuple(flags.values()))
    else:
        assert row.startswith(flags[outcome])


@pytest.mark.parametrize(
    ("said", "outcome"), [("fail", "fail"), ("warn", "warn"), ("pass", "warn")]
)
def test_a_check_of_several_places_marks_each_of_them_first(
    demo, english, said, outcome, monkeypatch
):
    """Who stands under a fall is told in one line, though it passes: each is seen as such."""
    # Zones mark too, which is shown elsewhere.
    monkeypatch.setattr(sheetfacts, "zone_at", lambda *_: None)
    calm, *marked = [area.name for area in demo.site.areas if area.occupied][:3]
    under = dataclasses.replace(
        next(c for c in demo.checks if c.kind is Kind.DESCENT),
        kind=Kind.UNDER_THE_FALL,
        area=", ".join(marked),
        outcome=said,
    )
    others = [
        dataclasses.replace(c, outcome="pass")
        for c in demo.checks
        if c.kind is not Kind.UNDER_THE_FALL
    ]
    changed = dataclasses.replace(demo, checks=(*others, under))
    sheet = brief_html(watch(changed, Voice(english, "us")))
    page, chart = map_html(changed), sheet[sheet.index("<svg class=") :]
    assert chart.count(f'<g class="name {outcome}">') == 2
    drawn = json.loads(re.search(r"const DRIFTMAP = (\{.*?\});\n", page)[1])["areas"]
    assert [a["name"] for a in drawn if a["outcome"] == outcome] == marked
    listed = re.findall(r'<li class="(\w+)"><b class="badge people">(\d)', sheet)
    assert [(word, int(number)) for word, number in listed[:3]] == [
        (outcome, 2),
        (outcome, 3),
        ("pass", 1),
    ]
    assert calm in sheet


def check(kind, outcome, area="", question=False):
    """A check of a kind, or of a rule in its own words."""
    own = not isinstance(kind, Kind)
    figures = {} if own else {"value": 0.02, "interval": (0.02, 0.03), "limit": 0.001}
    return Check(
        kind=Kind.RULE if own else kind,
        name=kind if own else "",
        area=area,
        outcome=outcome,
        source="",
        question=question,
        unit="share",
        **figures,
    )


def test_reasons_come_worst_first_and_once(english):
    crowd = check(Kind.LANDS_IN_FAILURE, "fail", "Crowd")
    checks = [
        check(Kind.LANDS_IN, "warn", "Barn"),
        dataclasses.replace(crowd, case="nothing deploys", value=0.5),
        dataclasses.replace(crowd, case="canopy tangles"),
        dataclasses.replace(check(Kind.SURFACE_WIND, "fail"), value=0.001),
        check("is the road closed?", "warn", question=True),
        check("are the pads clear?", "warn", question=True),
        check("a rule of its own", "warn"),
        check(Kind.RAIL_SPEED, "pass"),
    ]
    told = verdict_reasons(checks, ["Crowd"], Voice(english, "us"), once=True)
    assert [line.split(";")[0] for line in told] == [
        "If nothing opens, 1 flight in 2 comes down in Crowd",
        "The wind at mast height is 0\u00a0%, with its gusts and error up to 1 flight in 33",
        "a rule of its own",
        "1 flight in 50 comes down in Barn",
        "Questions of the rules not answered: 2",
    ]


def test_a_storm_leads_over_what_is_only_not_known_well_enough(english):
    unsure = dataclasses.replace(
        check(Kind.INDIVIDUAL_RISK, "warn", "Crowd"),
        value=1e-9,
        interval=(0.0, 1e-3),
        limit=1e-6,
    )
    storm = Check(
        kind=Kind.WIND_WARNED, name="tells of a storm", outcome="warn", source=""
    )
    told = verdict_reasons([unsure, storm], ["Crowd"], Voice(english, "us"))
    assert "storm" in told[0]


@pytest.mark.parametrize("verdict", ["go", "hold", "no-go"])
def test_the_verdict_leads(demo, english, verdict):
    changed = dataclasses.replace(demo, verdict=verdict)
    page = brief_html(watch(changed, Voice(english, "us")))
    word = english.messages[f"verdict.{verdict}"]
    bare = word.replace("\u2011", "-")
    assert f"<title>{bare}: Willet 54</title>" in page
    assert plain(page).split("</title>")[-1].strip().startswith(f"{bare}: Willet 54")
    asked = english.messages["verdict.hold_means"] in plain(page)
    assert asked == (verdict == "hold")
    assert ("checks are within limits" in plain(page)) == (verdict == "go")


def test_failures_set_to_nothing_are_briefed_all_the_same(demo, english):
    """A likelihood of 0 is the flier's word: the sheet still says what then comes down."""
    every = {c.cause: 0.0 for c in demo.cloud.tree.cases if c.cause in LIKELIHOOD}
    flight = demo.flight.model_copy(update={"cases": every})
    alone = assess(flight, demo.site, demo.wind, samples=500)
    told = plain(brief_html(watch(alone, Voice(english, "us"))))
    assert english.messages["case.nothing deploys"] in told
    assert "Count the seconds" in told


def test_the_page_runs_only_its_clock_and_asks_for_nothing(demo, english):
    page = brief_html(watch(demo, Voice(english, "us")))
    assert page.count("<script") == 1
    assert "const AGE = {" in page
    assert "default-src" in page
    assert not re.search(r'(?:src|href)="(?!data:)|url\((?!#)', page)
    assert page == brief_html(watch(demo, Voice(english, "us")))


@pytest.mark.parametrize("language", languages())
def test_figures_in_words_are_those_of_the_english_words(language, english):
    """But for ones, which may be words, and lengths in feet beside those in metres."""

    def figures(text):
        bare = re.sub(r"\{\w+\}|\(\d+ ft\)", "", text).replace(",", ".")
        return sorted({*re.findall(r"\d+(?:\.\d+)?", bare)} - {"1"})

    for key, text in read_catalogue(language).messages.items():
        assert figures(text) == figures(english.messages[key]), key


@pytest.mark.slow  # as one stage does
def test_of_two_stages_the_crowd_looks_where_the_hardest_comes_down(saltgrass):
    wind = read_wind("8 mph from 240", site_altitude=saltgrass.elevation)
    flight = read_flight(ROOT / "examples" / "godwit.toml")
    found = falls(assess(flight, saltgrass, wind, samples=400))
    assert [f.piece for f in found if f.works] == ["rocket", "booster"]
    nothing = [f for f in found if f.case == "nothing deploys"]
    assert {f.piece for f in nothing} > {"rocket", "booster"}
    assert straight_down(found).piece == "rocket"
    assert straight_down(found).energy == max(f.energy for f in nothing)


def test_a_page_without_script_says_with_its_day_until_when_a_go_counts(demo, english):
    """It cannot fall by itself: green paper of yesterday must read as yesterday's."""
    voice = Voice(english, "us")
    when = datetime.fromisoformat("2026-06-13T08:30-07:00")
    there = dataclasses.replace(demo, verdict="go", answers=Answers(when=when))
    told = without_clock(there, voice)
    assert re.search(r"until 2026-06-13 08:\d\d \(15:\d\d UTC\), then it is HOLD", told)
    seen = watch(there, voice)
    for page in (
        map_html(there),
        brief_html(seen),
        poster_html(seen),
        caller_html(seen),
    ):
        (line,) = re.findall(r"<noscript>[^<]*2026-06-13[^<]*</noscript>", page)
        assert "cannot look at the clock" in line
    assert without_clock(dataclasses.replace(there, verdict="hold"), voice) == ""
    assert without_clock(dataclasses.replace(there, answers=Answers()), voice) == ""
