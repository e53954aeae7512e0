"""Answers count for the day, site and flight they were given for, and for no other."""

import dataclasses
import re
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.affinity import translate

from driftmap import fly, read_winds
from driftmap.air.wind import STILL_AIR
from driftmap.core.errors import FlightError, InputError
from driftmap.ground.areas import Area
from driftmap.ground.site import read_site
from driftmap.planning.distances import moved
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answer_validity import HEAD as HEAD_KEYS
from driftmap.rules.answer_validity import Head, read_head
from driftmap.rules.answers import (
    Answers,
    answers_to,
    check_answers,
    of_another,
    questions,
)
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, facts_of, with_answers
from driftmap.rules.occasion import OF_THE_BOUNDS, OF_THE_DRAWING, Occasion
from driftmap.rules.reading import picked_rules, read_rules, rule_sets
from driftmap.rules.template import to_fill_in
from driftmap.rules.vocabulary import FACTS, OF_A_PAD
from driftmap.verdict.claim_checks import label_claims

ROOT = Path(__file__).parents[2]
WHEN = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)  # half past eight at the site
HERE = Occasion("Field", "Willet", WHEN, -118.0)
HEAD = 'date = 2026-06-13\nsite = "Field"\nflight = "Willet"\n'
SETS = read_rules(["us"])

# One answer of each scope, with a question and a number.
GIVEN = """waiver_request_in_time = "yes"
certification_level = 2
landowner_leave = "yes"
visibility = "10 mi"
motor_allowed = "yes"
total_impulse = "62 N s"
"""
SEASON = {"waiver_request_in_time"}
DAY = {"landowner_leave", "visibility"}
FLIGHT = {"motor_allowed", "total_impulse", "certification_level"}


def read(tmp_path, *texts, occasion=HERE):
    paths = []
    for i, text in enumerate(texts):
        paths.append(tmp_path / f"answers{i}.toml")
        paths[-1].write_text(text, encoding="utf-8")
    return answers_to(paths, SETS, occasion)


def counted(said):
    return {*said.confirmed, *said.numbers}


def test_all_count_on_their_day(tmp_path):
    said = read(tmp_path, HEAD + GIVEN)
    assert counted(said) == SEASON | DAY | FLIGHT
    assert said.confirmed["landowner_leave"] is True
    assert said.numbers["visibility"] == pytest.approx(16_093.44)
    assert not said.stale
    assert said.when == WHEN
    ((name, digest),) = said.files
    assert name == "answers0.toml"
    assert len(digest) == 64


@pytest.mark.parametrize(
    ("head", "counts", "reason"),
    [
        (HEAD.replace("06-13", "06-12"), SEASON, "answered for 2026-06-12"),
        (HEAD.replace("06-13", "06-14"), set(), "answered for 2026-06-14"),
        (HEAD.replace("2026-06-13", "2025-06-13"), SEASON, "2025-06-13"),
        (HEAD.replace("2026-06-13", "2025-06-12"), set(), "2025-06-12"),
        (HEAD.replace("Field", "Meadow"), set(), "another site, Meadow"),
        (HEAD.replace("Willet", "Dunlin"), SEASON | DAY, "another flight, Dunlin"),
        (HEAD.replace('flight = "Willet"\n', ""), SEASON | DAY, "for no flight"),
        (HEAD.replace("Field", "FIELD"), SEASON | DAY | FLIGHT, ""),
        (HEAD.replace("2026-06-13", '"2026-06-13"'), SEASON | DAY | FLIGHT, ""),
        (HEAD.replace("2026-06-13", "2026-06-13T08:00:00"), SEASON | DAY | FLIGHT, ""),
        (HEAD.replace("2026-06-13", "2026-06-14T03:00:00Z"), set(), "after the flight"),
        (HEAD.replace("2026-06-13", "2026-06-13T03:00:00Z"), SEASON, "2026-06-12"),
    ],
)
def test_what_was_answered_for_something_else_is_open_again(
    tmp_path, head, counts, reason
):
    said = read(tmp_path, head + GIVEN)
    assert counted(said) == counts
    assert set(said.stale) == (SEASON | DAY | FLIGHT) - counts
    assert all(reason in text for text in said.stale.values())


NOBODYS = HEAD.replace('flight = "Willet"\n', "")
MOVED = HEAD + 'rocket = "0a1b2c3d"\nplace = [41.631, -117.952, 1234.4]\n'  # 3 km off
ENDED = HEAD + 'rocket = "0a1b2c3d"\nuntil = 2026-06-13T08:20:00-07:00\n'
ELSEWHERE = HEAD.replace("Field", "Meadow") + "place = [41.604, -117.952, 1234.4]\n"


@pytest.mark.parametrize(
    ("head", "line"),
    [
        (NOBODYS, 'motor_allowed = "no"'),
        (NOBODYS, "rockets_together = 6"),
        (NOBODYS, "motor_count = 3"),
        (NOBODYS, 'total_impulse = "90 N s"'),
        (ELSEWHERE, 'surface_wind = "18 mph"'),
        (ELSEWHERE, 'landowner_leave = "no"'),
        (HEAD, "rockets_together = 6"),  # of no rocket's mark
        (HEAD + 'rocket = "00000000"\n', "rockets_together = 6"),
        (MOVED, "rockets_together = 6"),
        (MOVED, 'surface_wind = "25 mph"'),
        (ENDED, "rockets_together = 6"),
        (ENDED, 'cloud_cover = "8/8"'),
    ],
)
def test_what_may_be_meant_for_this_flight_is_never_passed_over(tmp_path, head, line):
    here = replace(HERE, place=(41.604, -117.952, 1234.4), rocket="0a1b2c3d")
    there = "place = [41.604, -117.952, 1234.4]\n"
    whole = HEAD + f'{there}rocket = "0a1b2c3d"\n' + GIVEN
    placed = head if "place" in head else head + there
    said = read(tmp_path, whole, placed + line, occasion=here)
    assert set(said.passed_over) == {line.split()[0]}
    facts = Facts(dict.fromkeys(FACTS, 1.0))
    (held,) = [r for r in evaluate(SETS, facts, said) if r.name == "answers"]
    assert held.outcome == "hold"
    assert line.split()[0] in held.what
    alone = read(tmp_path, whole, occasion=here)
    assert all(r.name != "answers" for r in evaluate(SETS, facts, alone))


def test_what_is_open_is_asked_and_what_is_said_twice_is_no_doubt(tmp_path):
    said = read(tmp_path, f'{NOBODYS}motor_allowed = "yes"')
    assert not counted(said)
    assert "for no flight" in said.stale["motor_allowed"]
    said = read(tmp_path, HEAD + GIVEN, NOBODYS + 'total_impulse = "62 N s"')
    assert counted(said) == SEASON | DAY | FLIGHT


def test_what_was_answered_after_the_flight_does_not_count(tmp_path):
    for time, counts in (("08:39:00-07:00", True), ("15:41:00Z", False)):
        head = HEAD.replace("2026-06-13", f"2026-06-13T{time}", 1)
        said = read(tmp_path, head + GIVEN)
        assert counted(said) == (SEASON | DAY | FLIGHT if counts else set())
        assert all("after the flight" in why for why in said.stale.values())


@pytest.mark.parametrize(
    ("until", "holds"),
    [("08:30:00-07:00", False), ("08:31:00-07:00", True), ("15:31:00Z", True)],
)
def test_answers_of_the_day_and_of_a_flight_that_end_are_open_from_then_on(
    tmp_path, until, holds
):
    said = read(tmp_path, f"{HEAD}until = 2026-06-13T{until}\n{GIVEN}")
    assert counted(said) == (SEASON | DAY | FLIGHT if holds else set())
    ended = "answered until 2026-06-13 08:30 -0700"
    assert all(ended in said.stale[name] for name in said.stale)
    assert (said.holds is not None) == holds


def test_an_end_counts_for_every_flight_that_its_answers_count_for(tmp_path):
    """A leave of the day that ends ends for all, whichever flight the head names."""
    other = HEAD.replace("Willet", "Dunlin") + "until = 2026-06-13T08:40:00-07:00\n"
    said = read(tmp_path, other + 'landowner_leave = "yes"\n')
    assert said.holds[1] == datetime(2026, 6, 13, 15, 40, tzinfo=UTC)
    assert read(tmp_path, other + 'motor_allowed = "yes"\n').holds is None
    season = read(tmp_path, other + 'misfire_wait = "yes"\n')  # as a membership
    assert season.holds == said.holds


@pytest.mark.parametrize(
    ("longitude", "clock", "ends"),
    [
        (-118.0, 0, "07:52"),
        (0.0, 0, "00:00"),
        (151.0, 0, "13:56"),
        (179.9, 0, "12:00"),
        (-150.0, -8, "08:00"),  # Alaska in summer: two hours before the sun's midnight
        (-150.0, 2, "10:00"),  # of another land
    ],
)
def test_what_was_answered_for_a_day_holds_as_long_as_it_counts(
    tmp_path, longitude, clock, ends
):
    """By the same day at the site as the answers themselves, to the second."""
    head = HEAD + "place = [41.604, -117.952, 1234.4]\n"
    noon = datetime(2026, 6, 13, 12, tzinfo=UTC) - timedelta(hours=longitude / 15)
    noon = noon.astimezone(timezone(timedelta(hours=clock)))
    here = replace(HERE, longitude=longitude, when=noon)
    early, late = read(tmp_path, head + GIVEN, occasion=here).holds
    assert f"{late.astimezone(UTC):%H:%M}" == ends
    second = timedelta(seconds=1)
    for when, counts in (
        *((early - second, False), (early + second, True)),
        *((late - second, True), (late + second, False)),
    ):
        said = read(tmp_path, head + GIVEN, occasion=replace(here, when=when))
        assert (counted(said) >= DAY) == counts


def test_a_no_outlives_the_end_of_its_file(tmp_path):
    past = HEAD + "until = 2026-06-13T08:20:00-07:00\n"
    given = 'local_code_read = "no"\nlandowner_leave = "no"\nno_fire_ban = "yes"\n'
    said = read(tmp_path, past + given)
    assert said.confirmed == {"local_code_read": False, "landowner_leave": False}
    assert set(said.stale) == {"no_fire_ban"}


@pytest.mark.parametrize(
    "until",
    ["14:00:00", '"noon"', "2026-06-13T14:00:00", "3", "2026-06-13T14:00:00-16:00"],
)
def test_an_end_without_its_zone_is_refused(tmp_path, until):
    with pytest.raises(InputError, match=r"until: .*a time with its zone") as caught:
        read(tmp_path, f"{HEAD}until = {until}\n{GIVEN}")
    shown = re.search(r"until = \S+", str(caught.value))[0]  # can be typed as it is
    assert read(tmp_path, f"{HEAD}{shown}\n{GIVEN}").holds[1].hour == 21


GROUND = {"no_airport_near", "elevation_checked"}
PAD = {"cleared_diameter", "no_dry_grass"}
ALL = SEASON | DAY | FLIGHT | GROUND | PAD
THERE = "place = [41.604, -117.952, 1234.4]"
MARK = 'rocket = "0a1b2c3d"'


def test_what_was_denied_at_another_pad_of_the_field_stands_until_it_is_affirmed(
    tmp_path,
):
    here = replace(HERE, place=(41.604, -117.952, 1234.4))
    there = HEAD + "place = [41.604, -117.941, 1234.4]\n"  # 900 m off
    no = there + 'no_airport_near = "no"\nelevation_checked = "yes"\n'
    said = read(tmp_path, no, occasion=here)
    assert said.confirmed == {"no_airport_near": False}
    assert set(said.stale) == {"elevation_checked"}
    yes = f'{HEAD}{THERE}\nno_airport_near = "yes"\n'
    said = read(tmp_path, no, yes, occasion=here)
    assert said.confirmed == {"no_airport_near": True}
    other = no.replace('"Field"', '"Meadow"')
    assert read(tmp_path, other, occasion=here).confirmed == {}


@pytest.mark.parametrize(
    ("head", "counts"),
    [
        (f"{THERE}\n{MARK}", ALL),
        (THERE, ALL - FLIGHT),  # nobody says of which rocket
        (f'{THERE}\nrocket = "ffffffff"', ALL - FLIGHT),
        (MARK, set()),  # nobody says where
        (f"place = [41.604, -117.934, 1234.4]\n{MARK}", ALL - GROUND - PAD),  # 1.5 km
        (f"place = [41.604, -117.949, 1234.4]\n{MARK}", ALL - GROUND - PAD),  # 250 m
        (f"place = [41.604, -117.952, 1214.4]\n{MARK}", ALL - GROUND - PAD),  # mended
        (f"place = [41.604, -117.952, 4050]\n{MARK}", set()),  # feet for metres
        (f"place = [40.95, -117.40, 1234.4]\n{MARK}", set()),  # another of that name
        (f"place = [-41.604, -117.952, 1234.4]\n{MARK}", set()),
    ],
)
def test_answers_count_where_they_were_given_and_of_the_rocket_they_speak_of(
    tmp_path, head, counts
):
    given = GIVEN + 'no_airport_near = "yes"\nelevation_checked = "yes"\n'
    given += 'cleared_diameter = "80 ft"\nno_dry_grass = "yes"\n'
    here = replace(HERE, place=(41.604, -117.952, 1234.4), rocket="0a1b2c3d")
    said = read(tmp_path, f"{HEAD}{head}\n{given}", occasion=here)
    assert counted(said) == counts
    assert set(said.stale) == ALL - counts
    assert all("at the head of the file" in why for why in said.stale.values())


def test_what_was_answered_for_a_flight_is_asked_again_once_it_is_flown(tmp_path):
    given = GIVEN + 'no_airport_near = "yes"\nelevation_checked = "yes"\n'
    given += 'cleared_diameter = "80 ft"\nno_dry_grass = "yes"\n'
    here = replace(HERE, place=(41.604, -117.952, 1234.4), rocket="0a1b2c3d")
    head = f'{HEAD}{THERE}\n{MARK}\nflown = "08:30"\n'
    said = read(tmp_path, head + given, occasion=here)
    assert counted(said) == ALL - FLIGHT
    assert set(said.stale) == FLIGHT
    assert all("flight of 08:30, which is over" in why for why in said.stale.values())


def test_each_pad_of_a_field_has_its_own_cleared_ground_and_none_is_in_doubt(tmp_path):
    here = replace(HERE, place=(41.604, -117.952, 1234.4))
    there = 'place = [41.604, -117.949, 1234.4]\ncleared_diameter = "80 ft"\n'
    own = f'{HEAD}{THERE}\ncleared_diameter = "60 ft"\n'
    said = read(tmp_path, HEAD + there, own, occasion=here)
    assert said.numbers == {"cleared_diameter": pytest.approx(60 * 0.3048)}
    assert not said.passed_over


def test_a_place_that_is_none_is_refused(tmp_path):
    for place in ('"here"', "[41.6, -117.9]", "[1, 2, true]"):
        with pytest.raises(InputError, match="latitude and longitude"):
            read(tmp_path, f"{HEAD}place = {place}\n" + GIVEN)


def test_answers_for_a_flight_hang_on_its_rocket_and_not_on_its_rail(willet, saltgrass):
    rail = willet.rail.model_copy(update={"length": 3.0})
    body = willet.airframe.model_copy(update={"length": 3.0})
    now, leant, longer = (
        Occasion.of(one, saltgrass, WHEN).rocket
        for one in (
            willet,
            willet.model_copy(update={"rail": rail}),
            willet.model_copy(update={"airframe": body}),
        )
    )
    assert now == leant != longer


def test_a_yes_to_who_stands_near_counts_for_nobody_drawn_since(
    tmp_path, willet, saltgrass
):
    """Nor for a pad elsewhere on the field; a "no" stands, and what is no matter of people."""
    name, other = "people_are_of_the_launch", "suborbital_and_unmanned"
    yes = (ROOT / "examples" / "answers.toml").read_text(encoding="utf-8")
    camp = Area("Hikers", "camp", shapely.box(-5, -260, 5, -245), people=6)

    def read_for(areas, text=yes):
        occasion = Occasion.of(willet, replace(saltgrass, areas=areas), WHEN)
        path = tmp_path / "answers.toml"
        path.write_text(text, encoding="utf-8")
        return answers_to([path], picked_rules(saltgrass), occasion)

    here = saltgrass.areas
    aside = [replace(a, shape=translate(a.shape, 90.0, 0.0)) for a in here]
    renamed = [replace(a, name=f"{a.name} 2") for a in here]
    for areas, counts in (
        (here, True),
        (tuple(renamed), True),
        ((*here, camp), False),
        (tuple(aside), False),
        (here[1:], False),
    ):
        said = read_for(areas)
        assert (name in said.confirmed) == counts
        assert said.confirmed[other]
        assert ("drawn" in said.stale.get(name, "")) != counts
    no = yes.replace(f'{name} = "yes"', f'{name} = "no"')
    assert read_for((*here, camp), no).confirmed[name] is False


def test_a_leave_is_none_for_more_ground_or_height_or_by_other_rules(willet, saltgrass):
    """For which it was given, as from every pad of the field; who stands near is no matter."""
    wide = saltgrass.boundary.buffer(200.0)
    high = replace(saltgrass.waiver, ceiling=5334.0)
    wider = replace(saltgrass.waiver, shape=saltgrass.waiver.shape.buffer(800.0))
    head = Occasion.of(willet, saltgrass, WHEN)
    said = read_head("", vars_of(date=date(2026, 6, 13), site=head.site,
                                 bounds=head.bounds), -118.0)  # fmt: skip
    for site, counts in (
        (moved(saltgrass, 300.0, 40.0), True),
        (replace(saltgrass, areas=()), True),
        (replace(saltgrass, boundary=wide), False),
        (replace(saltgrass, boundary=translate(saltgrass.boundary, 30.0)), False),
        (replace(saltgrass, waiver=high), False),
        (replace(saltgrass, waiver=wider), False),
        (replace(saltgrass, rules="us germany"), False),
    ):
        now = Occasion.of(willet, site, WHEN)
        for name in ("waiver_active", "landowner_leave", "side_of_border"):
            assert (said.changed_since(now, name) == "") == counts
        assert not said.changed_since(now, "no_fire_ban")


def vars_of(**given):
    return dict.fromkeys(HEAD_KEYS) | given


def test_the_day_is_that_of_the_site(tmp_path):
    """01:30 UTC on the 14th is the evening of the 13th at 118° west."""
    evening = Occasion(
        "Field", "Willet", datetime(2026, 6, 14, 1, 30, tzinfo=UTC), -118.0
    )
    assert evening.day == date(2026, 6, 13)
    assert (
        counted(read(tmp_path, HEAD + GIVEN, occasion=evening)) == SEASON | DAY | FLIGHT
    )


def test_ahead_of_any_day_what_is_asked_each_day_is_open(tmp_path):
    ahead = Occasion("Field", "Willet")
    assert counted(read(tmp_path, HEAD + GIVEN, occasion=ahead)) == SEASON
    elsewhere = HEAD.replace("Field", "Meadow")
    assert counted(read(tmp_path, elsewhere + GIVEN, occasion=ahead)) == set()


@pytest.mark.parametrize("longitude", [-118.0, 0.0, 175.0])
def test_ahead_of_any_day_what_makes_a_word_harder_counts(tmp_path, longitude):
    """Rockets together, and every "no"; what is good news for a day waits for it."""
    ahead = Occasion("Field", "Willet", longitude=longitude)
    given = 'rockets_together = 3\nsalvo_impulse = "960 N s"\nvisibility = "10 mi"\n'
    given += 'landowner_leave = "no"\nno_dry_grass = "no"\n'
    said = read(tmp_path, HEAD + given, occasion=ahead)
    assert said.numbers == {"rockets_together": 3.0, "salvo_impulse": 960.0}
    denied = {name for name, yes in said.confirmed.items() if not yes}
    assert denied == {"landowner_leave", "no_dry_grass"}
    other = HEAD.replace("Willet", "Dunlin")
    assert read(tmp_path, other + given, occasion=ahead).numbers == {}
    meadow = HEAD.replace("Field", "Meadow")
    assert counted(read(tmp_path, meadow + given, occasion=ahead)) == set()


def test_a_stale_answer_is_asked_and_says_why(tmp_path):
    said = read(tmp_path, HEAD.replace("06-13", "06-12") + GIVEN)
    facts = with_answers(Facts({"total_impulse": 400.0, "liftoff_mass": 2.0,
                                "propellant_mass": 0.2}), said)  # fmt: skip
    lines = {r.name: r for r in evaluate(SETS, facts, said)}
    for name in (
        "landowner_leave",
        "visibility",
        "motor_allowed",
        "certification_level",
    ):
        assert lines[name].outcome == "ask"
        assert (
            "answered for 2026-06-12, and the flight is on 2026-06-13"
            in lines[name].why
        )
    assert lines["waiver_request_in_time"].outcome == "pass"


def test_several_files_are_one(tmp_path):
    season = 'date = 2026-03-01\nsite = "Field"\nmisfire_wait = "yes"\n'
    old = HEAD.replace("06-13", "06-12") + 'landowner_leave = "no"\n'
    today = HEAD + 'landowner_leave = "yes"\n'
    said = read(tmp_path, season, old, today)
    assert said.confirmed == {"landowner_leave": True, "misfire_wait": True}
    assert said.stale == {}
    assert [name for name, _ in said.files] == [f"answers{i}.toml" for i in range(3)]


def test_two_answers_for_one_day_are_refused(tmp_path):
    with pytest.raises(
        InputError, match=r"answers1.*landowner_leave: .*differently in"
    ):
        read(
            tmp_path, HEAD + 'landowner_leave = "yes"', HEAD + 'landowner_leave = "no"'
        )


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ('site = "Field"\n', "date: is missing; accepted is the day"),
        ("date = 2026-06-13\n", "site: is missing"),
        ('date = "yesterday"\nsite = "Field"\n', "date: 'yesterday' is no day"),
        ("date = 20260613\nsite = 'Field'\n", "is no day"),
        ("date = 2026-06-13\nsite = 3\n", "site: 3 is no name"),
        ('date = 2026-06-13\nsite = "Field"\nflihgt = "W"\n', "did you mean 'flight'"),
        (HEAD + "landowner_leave = 1\n", 'must be "yes" or "no"'),
    ],
)
def test_a_bad_file_is_one_line(tmp_path, text, part):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert part in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        answers_to([tmp_path / "none.toml"], SETS, HERE)


@given(st.integers(-800, 800), st.sampled_from(["Field", "Meadow"]),
       st.sampled_from(["Willet", "Dunlin", None]))  # fmt: skip
def test_nothing_but_the_season_outlives_its_day(days, site, flight):
    given_for = date.fromordinal(HERE.day.toordinal() + days)
    held = {s: not Head(given_for, site, None, flight, None, None, ()).not_for(HERE, s)
            for s in ("season", "day", "flight")}  # fmt: skip
    assert held["season"] >= held["day"] >= held["flight"]
    assert held["day"] == (days == 0 and site == "Field")
    assert held["season"] == (-365 <= days <= 0 and site == "Field")


def test_a_person_word_is_told_from_a_figure_worked_out():
    numbers = {"total_impulse": 400.0, "liftoff_mass": 2.0, "propellant_mass": 0.2,
               "motor_count": 1.0, "stages": 1.0, "surface_wind": 3.0}  # fmt: skip
    said = Answers({"landowner_leave": True, "no_building_near": True},
                   {"visibility": 16e3})  # fmt: skip
    lines = evaluate(SETS, with_answers(Facts(numbers), said), said)
    assert {r.name for r in lines if r.answered} == {
        "landowner_leave",
        "building_distance",
        "visibility",
    }
    wind = next(r for r in lines if r.name == "surface_wind")
    assert (wind.outcome, wind.answered) == ("pass", False)


PLAIN_SETS = {"us", "us-model", "uk", "germany", "range"}


@pytest.mark.parametrize(
    "rules",
    [
        pytest.param(name, marks=() if name in PLAIN_SETS else pytest.mark.slow)
        for name in rule_sets()
    ],
)
def test_what_is_asked_can_be_filled_in_and_is_taken(tmp_path, rules):
    """The template reads back as it is, and with every example taken nothing is open."""
    sets = read_rules([rules])
    facts = Facts({"liftoff_mass": 2.0, "expected_altitude": 900.0, "surface_wind": 3.0,
                   "rail_tilt": 0.05, "waiver_ceiling": 2000.0, "site_dimension": 2500.0,
                   "boundary_distance": 900.0, "liftoff_weight": 20.0,
                   "recovery_devices": 1.0}, {"people": (("crowd", 300.0),)})  # fmt: skip
    text = to_fill_in(sets, facts, Answers(), HERE)
    assert tomllib.loads(text) == {
        "date": date(2026, 6, 13), "site": "Field", "flight": "Willet"
    }  # fmt: skip
    path = tmp_path / "today.toml"
    for no in ("", *re.findall(r'#(\w+) = "yes"', text)):  # whatever one of them says
        filled = re.sub(r"^#(\w+ = )", r"\1", text, flags=re.MULTILINE)
        filled = filled.replace(f'\n{no} = "yes"', f'\n{no} = "no"') if no else filled
        path.write_text(filled, encoding="utf-8")
        said = answers_to([path], sets, HERE)
        results = evaluate(sets, with_answers(facts, said), said)
        assert not [r.name for r in results if r.outcome == "ask"], no


@pytest.mark.parametrize(
    ("name", "told", "label"),
    [("total_impulse", 231.357, 1.2), ("total_impulse", 231.357, np.inf),
     ("motor_count", 2.0, 1.05)],
)  # fmt: skip
def test_what_the_files_tell_and_people_are_asked_can_be_filled_in(
    tmp_path, name, told, label
):
    """A record's impulse, motors nobody counted: nobody is refused for an answer not given."""
    sets, other = read_rules(["range"]), {"propellant_mass": 0.1}
    facts = Facts({name: told, **other}, label_apart=label, asked=(name,))
    path = tmp_path / "today.toml"
    text = re.sub(
        r"^#(\w+ = )", r"\1", to_fill_in(sets, facts, Answers(), HERE), flags=re.M
    )
    path.write_text(text, encoding="utf-8")
    said = answers_to([path], sets, HERE)
    assert name in said.numbers
    assert name in with_answers(facts, said).numbers


@pytest.mark.slow  # files of all rule sets are filled in too
def test_what_an_answer_raises_is_in_the_file():
    """Without sparks a light rocket is of the model code, which asks of dry grass."""
    facts = Facts({"liftoff_mass": 0.1, "propellant_mass": 0.012, "motor_count": 1.0,
                   "stages": 1.0, "total_impulse": 9.0, "average_thrust": 6.0})  # fmt: skip
    now = {name for r in evaluate(SETS, facts) for name in r.answer}
    assert "no_dry_grass" not in now
    text = to_fill_in(SETS, facts, Answers(), HERE)
    told = text[: text.index("#no_dry_grass")].rsplit("\n\n", 1)[1]
    assert 'asked only with no_sparks = "yes"' in " ".join(told.split("\n# "))


def test_every_fact_has_an_example_that_is_taken():
    for name, fact in FACTS.items():
        value = tomllib.loads(f"x = {fact.example}")["x"]
        check_answers("test", {name: value}, SETS)


@pytest.mark.parametrize(
    ("flight", "site", "answers"),
    [("willet", "saltgrass-flat", "answers"), ("dunlin", "saltgrass-flat", "answers-dunlin"),
     ("dunlin", "saltgrass-west", "answers-dunlin answers-west"),
     ("dunlin", "larkfold-farm", "answers-larkfold")],
)  # fmt: skip
def test_the_examples_answer_all_that_is_asked(flight, site, answers):
    rocket = read_flight(ROOT / "examples" / f"{flight}.toml")
    ground = read_site(ROOT / "sites" / f"{site}.geojson")
    sets = picked_rules(ground)
    here = Occasion.of(rocket, ground, WHEN)
    said = answers_to(
        [ROOT / "examples" / f"{one}.toml" for one in answers.split()], sets, here
    )
    facts = facts_of(rocket, ground, altitude=1000.0, when=WHEN, impulse=53.0)
    lines = evaluate(sets, with_answers(facts, said), said)
    assert {r.name for r in lines if r.outcome != "pass"} == {"surface_wind"}


@pytest.mark.parametrize(
    ("report", "answered", "outcomes"),
    [
        ("10SM FEW040", {}, ("ask", "ask")),  # who knows where that is
        ("10SM FEW040", {"near": 20e3}, ("pass", "pass")),
        ("3SM BKN040", {}, ("fail", "fail")),
        ("3SM BKN040", {"visibility": 20e3, "cloud_cover": 0.0}, ("fail", "fail")),
        ("10SM CLR", {"visibility": 1e3, "cloud_cover": 1.0}, ("fail", "fail")),
        ("10SM", {"near": 20e3}, ("pass", "ask")),
    ],
)
def test_a_report_tells_cloud_and_visibility_and_the_stricter_counts(
    report, answered, outcomes, saltgrass, willet
):
    wind = read_winds(
        [f"METAR KXYZ 131520Z 08005KT {report} 20/05 A2992"],
        site_altitude=saltgrass.elevation,
        when=WHEN,
        station_away=answered.get("near"),
    )
    facts = facts_of(willet, saltgrass, wind=wind)
    said = Answers(numbers={k: v for k, v in answered.items() if k != "near"})
    lines = {r.name: r for r in evaluate(SETS, with_answers(facts, said), said)}
    assert (lines["visibility"].outcome, lines["cloud_cover"].outcome) == outcomes
    # Whose word the line rests on: a person's where that is the worse.
    worse = answered.get("visibility") == 1e3
    assert {lines[n].answered for n in ("visibility", "cloud_cover")} == {worse}


CLASS_1 = Facts(
    {"total_impulse": 62.0, "liftoff_mass": 0.4, "propellant_mass": 0.031,
     "motor_count": 1.0, "stages": 1.0, "average_thrust": 48.0},
    {"people": (("crowd", 300.0),), "roads": (("lane", 800.0),)},
)  # fmt: skip
LIGHT = {"light_materials": True, "no_sparks": True}


def held(confirmed=(), numbers=()):
    said = Answers({**LIGHT, **dict(confirmed)}, dict(numbers))
    lines = evaluate(SETS, with_answers(CLASS_1, said), said)
    return {r.name: r for r in lines if r.outcome == "hold"}


@pytest.mark.parametrize(
    "name",
    [
        *("clear_of_cloud", "fire_precautions", "responsible_person", "waiver_active"),
        *("controlled_airspace", "built_as_code", "no_airport_near"),
        "people_are_of_the_launch",
    ],
)
def test_a_no_to_what_is_not_asked_of_this_flight_holds(name):
    lines = held({name: False})
    assert lines
    assert all(f'{name} was answered "no"' in line.why for line in lines.values())
    assert not held()
    assert not held({name: True})


@pytest.mark.parametrize(
    ("name", "worse", "fine", "rule"),
    [
        ("visibility", 100.0, 16e3, "visibility"),
        ("cloud_cover", 1.0, 0.25, "cloud_cover"),
        ("notice", 3600.0, 48 * 3600.0, "notice_at_least"),
        ("cleared_diameter", 3.0, 25.0, "cleared_diameter"),
    ],
)
def test_a_figure_beyond_what_is_allowed_to_others_holds(name, worse, fine, rule):
    assert set(held(numbers={name: worse})) == {rule}
    assert not held(numbers={name: fine})


def test_a_no_holds_though_what_is_drawn_says_otherwise():
    """One road drawn far off does not say that none is near; a leave nobody needs is not missed."""
    assert set(held({"no_road_near": False})) == {"no_road_near"}
    assert set(held({"quiet_roads": False})) == {"quiet_roads"}
    assert not held({"recovery_otherwise": False})
    assert not held({"light_materials": False})  # the heavier class, whose rules count


@pytest.mark.parametrize("land", ["new-zealand", "germany", "uk", "australia"])
@pytest.mark.parametrize(
    ("name", "worse", "fine"),
    [("visibility", 200.0, 16e3), ("cloud_cover", 1.0, 0.25)],
)
def test_what_somebody_sees_of_the_sky_counts_where_the_rules_are_silent(
    land, name, worse, fine
):
    """Fog to 200 m is no launch anywhere: 14 CFR 101.25(a), (b) has the figures."""
    for value, holds in ((worse, True), (fine, False)):
        lines = evaluate(
            read_rules([land]),
            with_answers(CLASS_1, Answers({}, {name: value})),
            Answers({}, {name: value}),
        )
        told = [r for r in lines if r.name == name and r.outcome in {"hold", "fail"}]
        assert bool(told) == holds


def test_an_airport_drawn_far_off_tells_of_no_other():
    """A road is seen from the field, a strip four miles off is not: it is asked all the same."""
    groups = {**CLASS_1.groups, "airports": (("Far", 9700.0),)}
    drawn = dataclasses.replace(CLASS_1, groups=groups)
    for told, outcome in (({}, "ask"), ({"no_airport_near": True}, "pass")):
        said = Answers({"light_materials": False, **told})
        lines = evaluate(SETS, with_answers(drawn, said), said)
        asked, drawn_far = (r for r in lines if r.name == "airport_distance")
        assert (asked.outcome, drawn_far.outcome) == (outcome, "pass")
        assert "draws no airport so near" in asked.why


def test_the_figure_that_holds_is_told_with_its_limit():
    (line,) = held(numbers={"cloud_cover": 1.0}).values()
    assert (line.value, line.limit, line.outcome) == (1.0, 0.5, "hold")


@pytest.mark.parametrize(
    ("flight", "stages", "motors"), [("willet", 1, 1.0), ("godwit", 2, 2.0)]
)
def test_facts_of_files_are_those_of_their_figures(flight, stages, motors, saltgrass):
    """Stages flown apart, every motor counted, distances from the pad itself."""
    rocket = read_flight(ROOT / "examples" / f"{flight}.toml")
    facts = facts_of(rocket, saltgrass, altitude=1000.0)
    assert facts.stages_flown == stages
    assert facts.numbers["motor_count"] == motors
    assert facts.numbers["stages"] == stages
    asked = {
        name for r in evaluate(picked_rules(saltgrass), facts) for name in r.answer
    }
    assert ("booster_fins_hold" in asked) == (
        stages > 1
    )  # their flutter is not worked out
    impulse = [float(motor.total_impulse.value) for motor in rocket.motors]
    assert facts.numbers["total_impulse"] == pytest.approx(sum(impulse))
    assert ("motor_impulse" in facts.numbers) == (stages > 1 or motors == 1)
    assert facts.numbers["motor_impulse"] == pytest.approx(max(impulse))
    corners = {
        area.name: min(np.hypot(x, y) for x, y in area.shape.exterior.coords)
        for area in saltgrass.areas
    }
    crowd = dict(facts.groups["people"])
    assert crowd
    for name, away in crowd.items():
        # From the pad, no edge is farther than a corner nor much nearer.
        assert 0.5 * corners[name] < away <= corners[name] + 1e-9


def test_distances_are_from_the_pad_to_the_metre(saltgrass, willet):
    """A point with a radius stands as far off as its middle less its radius."""
    disc = shapely.Point(300.0, 400.0).buffer(100.0, quad_segs=64)
    areas = [dataclasses.replace(a, shape=disc) for a in saltgrass.areas if a.occupied]
    moved = dataclasses.replace(saltgrass, areas=tuple(areas))
    people = dict(facts_of(willet, moved, altitude=1000.0).groups["people"])
    assert people
    for away in people.values():
        assert away == pytest.approx(400.0, abs=0.05)


def test_a_denied_answer_counts_as_answered_by_a_person():
    """What holds by an answer alone is told as one, not as worked out."""
    lines = evaluate(SETS, Facts(), Answers({"no_building_near": False}))
    told = [r for r in lines if r.outcome in {"hold", "fail"} and "building" in r.name]
    assert told
    assert all(r.answered for r in told)


def test_answers_for_the_plan_stand_for_another_recovery_but_those_of_recovery(
    tmp_path,
):
    """What may be otherwise is open, and says why; what was told against flying stands."""
    club = tmp_path / "club.toml"
    club.write_text(
        'title = "Club"\n[[rule]]\nname = "canopy_seen"\nscope = "flight"\n'
        'question = "the canopy was seen by two"\nsource = "the club"\n'
    )
    sets = read_rules(["us", str(club)])
    open_ = {"stability_checked": "yes", "canopy_seen": "yes"}
    stands = {"no_fire_ban": "yes", "motor_allowed": "yes", "built_as_code": "no"}
    said = check_answers("test", {**open_, **stands, "rockets_together": 6}, sets)
    other = of_another(said, sets)
    assert set(other.confirmed) == set(stands)
    assert other.confirmed["built_as_code"] is False
    assert other.numbers == {"rockets_together": 6.0}
    assert other.stale == dict.fromkeys(open_, "answered for the plan: ask again")


@pytest.mark.parametrize("name", rule_sets())
def test_what_speaks_of_one_flight_is_not_answered_for_others(name):
    """A yes to "nearer than that" was given for the distance of one rocket."""
    of_one = re.compile(
        r"this (flight|rocket|large|class|height)|nearer than that|nearer to (that|each such)"
        r"|the flight stays|flies into no|height flown"
    )
    for question in questions(read_rules([name])).values():
        if of_one.search(question.text) and question.name != "quiet_roads":
            assert question.scope == "flight", question
    assert questions(SETS)["quiet_roads"].scope == "ground"
    of_a_pad = re.compile(
        r"(at|to|for) the pad\b|launcher stands|drawn|nearer (than )?that|each such"
    )
    for question in questions(read_rules([name])).values():
        if of_a_pad.search(question.text):
            bound = question.scope in OF_A_PAD or question.name in OF_THE_DRAWING
            assert bound, question
    leave = re.compile(
        r"\bleave\b|\bwaiver\b|authori[sz]|approved|sent to|is kept|permission"
    )
    for question in questions(read_rules([name])).values():
        if leave.search(question.text) and question.name != "night_arranged":
            of_it = question.scope == "flight" or question.name in OF_THE_BOUNDS
            assert of_it, question


@pytest.fixture(scope="module")
def known_by_its_flight():
    """A flight whose motor nobody told, flown a few times."""
    flight = read_flight(ROOT / "examples" / "dunlin.toml")
    return fly(flight, STILL_AIR, 0.0, samples=60, seed=1)


def claimed(cloud, impulse=None, **numbers):
    if impulse is not None:
        fitted = np.array([np.log(impulse), cloud.plan.log_motor[1]])
        cloud = replace(cloud, plan=replace(cloud.plan, log_motor=fitted))
    return [c.name for c in label_claims(cloud, Answers({}, numbers))]


def test_what_nobody_answered_of_a_label_is_held_against_nothing(known_by_its_flight):
    """Nor is what was answered well, whatever motor the air of the day makes fit."""
    rng = np.random.default_rng(1)
    for impulse in np.exp(rng.uniform(np.log(1.0), np.log(5000.0), 300)):
        assert claimed(known_by_its_flight, impulse) == []
        told = {"total_impulse": impulse}
        assert claimed(known_by_its_flight, impulse, **told) == []


def test_each_answer_to_a_label_is_held_against_what_flies(known_by_its_flight):
    impulse, burn = np.exp(known_by_its_flight.plan.log_motor)
    for name, fits, bounds in (
        ("total_impulse", impulse, (0.6, 1.8)),
        ("average_thrust", impulse / burn, (0.6, 4.0)),
        ("propellant_mass", impulse, (1 / 2700, 1 / 700)),
    ):
        for bound, beyond in zip(bounds, (0.99, 1.01), strict=True):
            assert claimed(known_by_its_flight, **{name: bound * fits / beyond}) == []
            (line,) = claimed(known_by_its_flight, **{name: bound * fits * beyond})
            assert name.replace("_", " ").split()[0] in line
    of_one = {"motor_impulse": impulse / 3, "motor_propellant": impulse / 3 / 1000}
    assert claimed(known_by_its_flight, **of_one) == []
    (line,) = claimed(known_by_its_flight, **{**of_one, "motor_propellant": 1.0})
    assert "propellant in the largest motor" in line
    (line,) = claimed(known_by_its_flight, motor_count=2.0)
    assert "several motors" in line
    assert claimed(known_by_its_flight, motor_count=1.0) == []
    for share, lines in ((1.7, 0), (1.9, 1)):  # of the one motor, as of all
        alone = {"motor_count": 1.0, "motor_impulse": share * impulse}
        assert len(claimed(known_by_its_flight, **alone)) == lines


@pytest.mark.parametrize(
    ("apart", "told", "total", "outcomes"),
    [
        (np.inf, {}, 62.0, set()),
        (np.inf, {"total_impulse": 56.0}, 56.0, {"hold"}),
        (1.05, {}, 53.8, {"hold"}),
        (1.05, {"total_impulse": 56.0}, 56.0, {"hold"}),
    ],
)
def test_a_label_outdoes_the_impulse_that_only_explains_a_height(
    apart, told, total, outcomes
):
    said = Answers(numbers={"motor_count": 1.0, "motor_impulse": 62.0, **told})
    facts = with_answers(Facts({"total_impulse": 53.8}, label_apart=apart), said)
    assert facts.numbers["total_impulse"] == total
    lines = evaluate(SETS, facts, said)
    assert {r.outcome for r in lines if r.name == "motor_impulse"} == outcomes


@pytest.mark.parametrize(
    ("flight", "left_out", "asked"),
    [
        ("dunlin", "", {"total_impulse"}),  # by its apogee alone
        ("willet", "", set()),
        ("willet", "count = 1", {"motor_count"}),
        ("godwit", "count = 1", {"motor_count"}),
    ],
)
def test_what_alone_shows_a_slip_is_asked_of_every_flight(
    tmp_path, flight, left_out, asked
):
    """A mass in pounds, and a cluster told as one motor: nothing else gives them away."""
    text = (ROOT / "examples" / f"{flight}.toml").read_text(encoding="utf-8")
    path = tmp_path / "flight.toml"
    path.write_text(text.replace(left_out, "", 1), encoding="utf-8")
    (tmp_path / "willet_motor.csv").write_bytes(
        (ROOT / "examples" / "willet_motor.csv").read_bytes()
    )
    site = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
    known = facts_of(read_flight(path), site, impulse=60.0)

    def open_lines(**numbers):
        said = Answers(numbers=numbers)
        lines = evaluate(SETS, with_answers(known, said), said)
        own = {r.name for r in lines if r.outcome == "ask" and r.answer == (r.name,)}
        return own & {"total_impulse", "motor_count"}

    assert open_lines() == asked
    told = {"total_impulse": 60.0, "motor_count": known.numbers.get("motor_count", 1.0)}
    assert not open_lines(**{name: told[name] for name in asked})


@pytest.mark.slow  # one more record fitted
def test_the_thrust_of_a_record_is_a_guess_that_the_label_settles():
    """Heights fix impulse and drag, not how thrust begins: at 80 N that is a class."""
    flight = read_flight(ROOT / "examples" / "plover.toml")
    known = facts_of(flight, read_site(ROOT / "sites" / "saltgrass-flat.geojson"))
    assert not {"average_thrust", "motor_thrust"} & known.numbers.keys()
    low, high = known.ranges["average_thrust"]
    assert low < flight.motor.average_thrust < high
    assert known.ranges["motor_thrust"] == (low, high)
    told = with_answers(known, Answers(numbers={"average_thrust": 95.0}))
    assert told.numbers["average_thrust"] == told.numbers["motor_thrust"] == 95.0
    for weight, outcome in ((low / 3.1, "pass"), (low / 2.9, "ask"), (high, "ask")):
        numbers = {**known.numbers, "liftoff_weight": weight}
        lines = evaluate(SETS, replace(known, numbers=numbers))
        assert {r.outcome for r in lines if r.name == "liftoff_weight"} == {outcome}
    cloud = fly(flight, STILL_AIR, 0.0, samples=20, seed=1)
    assert claimed(cloud) == []
    assert claimed(cloud, average_thrust=95.0) == []
    assert claimed(cloud, average_thrust=30.0) != []


def test_a_curve_that_a_flier_tells_is_no_guess_however_long_it_burns(
    tmp_path, saltgrass
):
    """Only a record leaves its thrust to the label: here that answer changes nothing known."""
    text = (ROOT / "examples" / "willet.toml").read_text()
    told = (
        'total_impulse = "241 N s"\nburn_time = "5 s +/- 0.3 s"\n'
        "times = [0, 0.1, 4.8, 5.0]\nthrusts = [0, 52, 48, 0]"
    )
    curve = 'thrust_curve = "willet_motor.csv"'
    assert curve in text
    path = tmp_path / "own.toml"
    path.write_text(text.replace(curve, told))
    flight = read_flight(path)
    known = facts_of(flight, saltgrass)
    assert known.numbers["average_thrust"] == flight.motor.average_thrust
    with pytest.raises(InputError, match="average_thrust: average thrust is known"):
        with_answers(known, Answers(numbers={"average_thrust": 190.0}))
    path.write_text("fitted = true\n" + text)
    with pytest.raises(FlightError, match="fitted: is not a key here"):
        read_flight(path)


@pytest.mark.parametrize(
    ("salvo", "confirmed", "outcome"),
    [
        (410.0, {}, "ask"),
        (410.0, {"larger_rockets_judged": True}, "pass"),
        (410.0, {"larger_rockets_judged": False}, "fail"),
        (140.0, {}, None),  # two of a kind, as nearly as motors are
        (140.0, {"larger_rockets_judged": False}, "hold"),  # said, though not asked
    ],
)
def test_larger_rockets_beside_it_are_judged_by_their_own_files(
    salvo, confirmed, outcome
):
    numbers = {"rockets_together": 2.0, "salvo_impulse": salvo}
    said = Answers(confirmed, numbers)
    facts = with_answers(Facts({"total_impulse": 62.0, "motor_count": 1.0}), said)
    lines = {r.name: r.outcome for r in evaluate(SETS, facts, said)}
    assert lines.get("larger_rockets_judged") == outcome
    assert facts.numbers["salvo_impulse"] == salvo  # distances and all else go by it
