"""A season: gaps are not known, a run goes on where it stopped, shares have intervals."""

import dataclasses
import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from driftmap.air.sun import sun_height
from driftmap.air.wind import surface_wind
from driftmap.core.errors import WindError
from driftmap.ground.site import read_site
from driftmap.planning import season
from driftmap.planning.assumed_winds import Supposition
from driftmap.planning.hours import HourReading, read_hours, rose_of
from driftmap.planning.ledger import Ledger, open_ledger, run_key
from driftmap.planning.season import (
    Agreement,
    SeasonHour,
    agreement,
    bin_of,
    bins_to_fly,
    season_hours,
)
from driftmap.planning.shares import by_month_and_hour, go_share, reasons
from driftmap.planning.trial import Trial, pack
from driftmap.report.plan_pages import season_plan
from driftmap.report.sketches import season_svg
from driftmap.report.voice import english
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import Answers
from driftmap.rules.reading import picked_rules
from driftmap.verdict.setup import Setup

ROOT = Path(__file__).parents[2]
START = datetime(2026, 5, 1, tzinfo=UTC)


def write(tmp_path, *rows, header="time_utc,from_deg,speed_mps"):
    path = tmp_path / "hourly.csv"
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def test_gaps_and_empty_speeds_are_not_known(tmp_path):
    hours = read_hours(
        write(
            tmp_path,
            "2026-05-01T03:00Z,250,4.0",
            "2026-05-01T00:00,240,3.0",
            "2026-05-01T01:00Z,240,",
            "2026-05-01T03:40Z,,5.0",
        )
    )
    assert hours.start == START
    last = ((250.0, 4.0, 0.0), (None, 5.0, 0.0))
    assert hours.readings == (((240.0, 3.0, 0.0),), (), (), last)
    assert hours.known == 2


def test_speeds_come_in_their_unit_and_times_in_their_zone(tmp_path):
    path = write(
        tmp_path, "2026-05-01T02:00+02:00,360,10", header="time_utc,from_deg,speed_kt"
    )
    hours = read_hours(path)
    assert hours.start == START
    assert hours.readings[0] == ((0.0, pytest.approx(10 * 1852 / 3600), 0.0),)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["2026-05-01T00:00Z,400,3"], r"line 2: from_deg '400'; accepted is 0 to 360"),
        (["2026-05-01T00:00Z,40,-3"], r"line 2: speed_mps -3; accepted is 0 to 60"),
        (["2026-05-01T00:00Z,40,999"], r"line 2: speed_mps 999; accepted"),
        (["2026-05-01T00:00Z,40,inf"], r"line 2: speed_mps 'inf'; accepted"),
        (["yesterday,40,3"], r"line 2: time_utc 'yesterday'; accepted is such as"),
        (["2026-05-01T00:00Z,40"], r"line 2: 2 cells; the header names 3"),
        (
            ["2026-05-01T00:00Z,40,3", "2026-05-01T00:00Z,50,3"],
            r"line 3: 2026-05-01T00:00Z stands in line 2 already",
        ),
        (["2026-05-01T00:00Z,40,"], r"holds no wind"),
        (
            ["1901-05-01T00:00Z,40,3", "2026-05-01T00:00Z,40,3"],
            r"accepted is a century",
        ),
    ],
)
def test_bad_rows_are_one_line_with_their_place(tmp_path, rows, said):
    with pytest.raises(WindError, match=said) as caught:
        read_hours(write(tmp_path, *rows))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("header", "row", "told"),
    [
        ("time_utc,from_deg,speed_mps,weather", "2026-05-01T02:00Z,40,3,TS", "'weather'"),
        ("time_utc,from_deg,speed_mps,gusts_mps", "2026-05-01T02:00Z,40,3,14", "column 'gusts_mps'"),
        ("time_utc,from_deg,speed_mps,Peak wind", "2026-05-01T02:00Z,40,3,14", "column 'peak wind'"),
        *((f"time_utc,from_deg,speed_mps,{name}", "2026-05-01T02:00Z,40,3,14", f"column '{name}'")
          for name in ("max_mph", "fx_mps", "fg", "d", "x", "speed2_mph", "speed_mph_10m", "visibility_m", "ts", "flag", "raf")),
        ("time_utc,from_deg,speed_mps,rain", "2026-05-01T02:00Z,40,3,squalls", "'squalls', which is not read"),
        ("time_utc,from_deg,speed_mps,gust_mps", "2026-05-01T02:00Z,40,,25",
         "line 2: tells a gust and no speed"),
        ("time_utc,from_deg,speed_mps,gust_mps,gust_kt", "2026-05-01T02:00Z,40,3,4,28",
         "gust_mps, gust_kt; accepted is one of gust_mps"),
        ("# thunderstorms all week\ntime_utc,from_deg,speed_mps", "2026-05-01T02:00Z,40,3",
         "a remark that is not read"),
        ("# speed in knots\ntime_utc,from_deg,speed_mps", "2026-05-01T02:00Z,40,3",
         "a remark that is not read"),
    ],
)  # fmt: skip
def test_what_would_be_passed_over_of_a_season_is_refused(tmp_path, header, row, told):
    with pytest.raises(WindError, match=told):
        read_hours(write(tmp_path, row, header=header))


@pytest.mark.parametrize(
    ("name", "cell"),
    [("storm_time", "10:30"), ("weather_zone", "storm"), ("lightning_date", "1 May")],
)
def test_a_time_or_place_of_weather_is_of_weather(tmp_path, name, cell):
    header = f"time_utc,from_deg,speed_mps,{name}"
    with pytest.raises(WindError, match=f"column '{name}' is not read"):
        read_hours(write(tmp_path, f"2026-05-01T02:00Z,40,3,{cell}", header=header))


def test_columns_known_to_be_harmless_stay(tmp_path):
    header = (
        "time_utc,from_deg,speed_mps,temperature_c,rain_mm,station,relative humidity"
    )
    hours = read_hours(
        write(tmp_path, "2026-05-01T02:00Z,40,3,12.5,NA,KXYZ,", header=header)
    )
    assert hours.readings[0] == ((40.0, 3.0, 0.0),)


@pytest.mark.parametrize(
    "header", ["time_utc,from_deg", "when,from_deg,speed_mps", "time_utc,from_deg,wind"]
)
def test_a_header_without_what_is_needed_is_refused(tmp_path, header):
    with pytest.raises(WindError, match="line 1: columns"):
        read_hours(write(tmp_path, header=header))


def test_bins_never_make_a_wind_lighter():
    rng = np.random.default_rng(3)
    for way, speed in zip(
        rng.uniform(0, 360, 200), rng.uniform(0, 20, 200), strict=True
    ):
        there, strength, _ = bin_of(HourReading(float(way), float(speed)))
        assert 0 <= strength - speed < 0.5 + 1e-9 or speed == strength
        assert abs((there - way + 180) % 360 - 180) <= 5.0 + 1e-9
    assert bin_of(HourReading(350.0, 3.0)) == HourReading(350.0, 3.0)


@pytest.fixture(scope="module")
def setup(saltgrass, dunlin):
    return Setup(dunlin, saltgrass, 60, 1)


@pytest.fixture
def flown(monkeypatch):
    """Count verdicts, which hang on the speed alone; one wind stops the run."""
    calls = []

    def stand_in(*given):
        wind = given[-1]
        calls.append(wind)
        if wind[1] == stop.get("at"):
            raise KeyboardInterrupt
        return Trial(
            "go" if wind[1] <= 3 else "hold", problem="" if wind[1] <= 3 else "x"
        )

    stop = {}
    monkeypatch.setattr(season, "_try_reading", stand_in)
    monkeypatch.setattr(season, "_try_bin", stand_in)
    return calls, stop


def rows(*speeds):
    morning = START + timedelta(hours=16)  # at the site
    times = (morning + timedelta(hours=i) for i in range(len(speeds)))
    return [f"{t:%Y-%m-%dT%H:%MZ},90,{v}" for t, v in zip(times, speeds, strict=True)]


def test_each_bin_is_flown_once_and_a_gap_is_never_go(tmp_path, setup, flown):
    hours = read_hours(write(tmp_path, *rows(2.0, 2.0, "", 4.0, 1.9)))
    found = season_hours(setup, Supposition(0.0), hours, Ledger("k"))
    assert [h.finding for h in found] == ["go", "go", "not known", "hold", "go"]
    assert sorted(flown[0]) == [(90.0, 2.0, 0.0), (90.0, 4.0, 0.0)]


def test_an_hour_in_the_dark_holds_unless_it_is_meant(tmp_path, setup, flown):
    """And one in which the sun rises, near 12:55Z, or sets, near 02:46Z."""
    said = ("01T02:30Z,90,6", "01T08:00Z,90,2", "01T12:00Z,90,2", "01T18:00Z,90,2",
            "02T02:00Z,90,2")  # fmt: skip
    hours = read_hours(write(tmp_path, *(f"2026-05-{row}" for row in said)))
    found = season_hours(setup, Supposition(0.0), hours, Ledger("k"))
    told = {f"{h.time:%dT%H}": (h.finding, h.blocked_by) for h in found}
    for dark in ("01T08", "01T12", "02T02"):
        assert told[dark] == ("hold", "it is dark")
    assert told["01T18"] == ("go", "")
    assert told["01T02"] == ("hold", "x")  # its own reason stays
    meant = dataclasses.replace(setup, answers=Answers({"night_arranged": True}))
    found = season_hours(meant, Supposition(0.0), hours, Ledger("k"))
    assert {f"{h.time:%dT%H}": h.finding for h in found}["01T08"] == "go"


def test_a_bin_has_its_worst_word_by_the_suns_of_the_hours(
    tmp_path, setup, monkeypatch
):
    """A June noon may hold what the equinox lets go; a no-go is not flown by other suns."""
    asked = []

    def by_sun(packed, supposition, speeds, wind):
        height = sun_height(supposition.when, *supposition.place)
        asked.append((height, wind.speed))
        worse = "no-go" if wind.speed > 3 else "hold" if height > 60 else "go"
        return Trial(worse, problem="" if worse == "go" else worse)

    monkeypatch.setattr(season, "_try_bin", by_sun)
    path = write(tmp_path, "2026-06-21T14:00Z,90,2", "2026-06-21T20:00Z,90,4",
                 "2026-06-21T17:00Z,90,2", "2026-06-21T08:00Z,90,6")  # fmt: skip
    hours, ledger = read_hours(path), Ledger("k")
    supposition = Supposition.over_site(setup.site)
    found = season_hours(setup, supposition, hours, ledger)
    told = {h.time.hour: h.finding for h in found if h.finding != "not known"}
    assert told == {14: "hold", 17: "hold", 20: "no-go", 8: "no-go"}
    suns = sorted({height for height, _ in asked})
    assert len(suns) == 2  # of the hours of light alone; the lowest stirs least as well
    assert 0 < suns[0] < 30 < suns[1] - 30
    assert len([one for one in asked if one[1] == 2]) == 2
    assert len([one for one in asked if one[1] == 4]) == 1
    assert bins_to_fly(hours, ledger) == (3, 0)


def test_an_hour_is_go_only_if_all_its_readings_are(tmp_path, setup, flown):
    path = write(tmp_path, "2026-05-01T00:00Z,90,2", "2026-05-01T00:30Z,90,6")
    (hour,) = season_hours(setup, Supposition(0.0), read_hours(path), Ledger("k"))
    assert hour.finding == "hold"


def test_an_hour_that_was_held_for_its_sky_is_never_go(tmp_path, setup, flown):
    hours = read_hours(write(tmp_path, *rows(2.0, 2.0)))
    _, last = hours.times()
    hours = dataclasses.replace(hours, held={last: "tells of a thunderstorm"})
    hours = hours.scaled(1.0)
    told = season_hours(setup, Supposition(0.0), hours, Ledger("k"))
    assert [(h.finding, h.blocked_by) for h in told] == [
        ("go", ""),
        ("hold", "tells of a thunderstorm"),
    ]


def test_an_interrupted_run_goes_on_where_it_stopped(tmp_path, setup, flown):
    calls, stop = flown
    hours = read_hours(write(tmp_path, *rows(1.0, 2.0, 3.0, 4.0, 5.0)))
    path, key = tmp_path / "kept" / "verdicts.jsonl", "key"
    stop["at"] = 4.0
    with pytest.raises(BaseException):  # noqa: B017, PT011 (as Ctrl-C would)
        season_hours(setup, Supposition(0.0), hours, open_ledger(path, key))
    kept = open_ledger(path, key)
    done = set(kept.found)
    assert done
    assert "90 deg 4.0 m/s" not in done
    # A line that was cut short is passed over, and the next does not grow onto it.
    with path.open("a") as file:
        file.write('{"key": "key", "part": "90 deg 5.0 m/s", "verd')
    stop.clear()
    calls.clear()
    again = open_ledger(path, key)
    assert bins_to_fly(hours, again) == (5, 5 - len(done))
    found = season_hours(setup, Supposition(0.0), hours, again)
    assert len(calls) == 5 - len(done)
    assert [h.finding for h in found] == ["go", "go", "go", "hold", "hold"]
    assert bins_to_fly(hours, open_ledger(path, key)) == (5, 0)


def test_a_ledger_of_other_inputs_or_with_odd_lines_is_not_believed(tmp_path):
    path = tmp_path / "verdicts.jsonl"
    lines = [
        {"key": "other", "part": "a", "verdict": "go", "by": ""},
        {"key": "mine", "part": "b", "verdict": "fine", "by": ""},
        {"key": "mine", "part": "c", "verdict": "hold", "by": "x"},
        ["go"],
    ]
    path.write_text("\n".join([*map(json.dumps, lines), "nonsense"]))
    assert open_ledger(path, "mine").found == {"c": ("hold", "x")}


def test_what_is_not_known_is_not_kept(tmp_path):
    ledger = open_ledger(tmp_path / "v.jsonl", "k")
    ledger.keep("a", "not known", "lost")
    assert ledger.found["a"][0] == "not known"
    assert open_ledger(tmp_path / "v.jsonl", "k").found == {}


def test_the_key_changes_with_every_input(setup):
    from dataclasses import replace

    base = run_key(setup, Supposition(0.0))
    others = [
        run_key(replace(setup, samples=201), Supposition(0.0)),
        run_key(replace(setup, seed=2), Supposition(0.0)),
        run_key(setup, Supposition(1.0)),
        run_key(
            replace(setup, site=replace(setup.site, limits={"area_hit": 0.5})),
            Supposition(0.0),
        ),
        run_key(
            replace(setup, flight=setup.flight.model_copy(update={"name": "Other"})),
            Supposition(0.0),
        ),
    ]
    assert len({base, *others}) == 6


def test_a_run_goes_on_from_wherever_the_same_inputs_lie(tmp_path):
    def key(folder, rules):
        place = shutil.copytree(ROOT / "examples", tmp_path / folder)
        told = (ROOT / "sites" / "saltgrass-flat.geojson").read_text("utf-8")
        site = place / "field.geojson"
        site.write_text(
            told.replace('"rules": "us"', '"rules": "us, club.toml"'), "utf-8"
        )
        (place / "club.toml").write_text(rules, "utf-8")
        setup = Setup(read_flight(place / "willet.toml"), read_site(site), samples=200)
        assert picked_rules(setup.site)[-1].name == "club"
        return run_key(setup, Supposition(0.0))

    club = (
        'title = "Club"\n[[rule]]\nname = "surface_wind"\ntext = "wind"\nlimit = "{}"\n'
    )
    one, other, changed = (
        key(folder, club.format(most))
        for folder, most in (("a", "15 mph"), ("b", "15 mph"), ("c", "16 mph"))
    )
    assert one == other != changed


def test_the_key_changes_with_the_rule_sets_asked_for(setup):
    sites = [
        dataclasses.replace(setup.site, rules=each) for each in ("us", "uk", "us, uk")
    ]
    setups = [dataclasses.replace(setup, site=site) for site in sites]
    assert len({run_key(each, Supposition(0.0)) for each in setups}) == 3


@pytest.mark.slow  # one more search of a season
def test_bins_agree_with_winds_that_stand_on_them(tmp_path, setup):
    hours = read_hours(write(tmp_path, *rows(4.0, 9.5)))
    ledger = Ledger("k")
    supposition = Supposition(setup.site.elevation)
    season_hours(setup, supposition, hours, ledger)
    check = agreement(setup, supposition, hours, ledger, 2)
    assert (check.checked, check.same, check.wrongly_go) == (2, 2, 0)


def hours_of(text, start=START):
    names = {"g": "go", "h": "hold", "n": "no-go", "?": "not known"}
    return [
        SeasonHour(start + timedelta(hours=i), names[c], "" if c == "g" else c)
        for i, c in enumerate(text)
    ]


def test_shares_count_known_hours_only_and_tell_the_rest():
    share = go_share(hours_of("gghn??" * 20))
    assert (share.hours, share.known, share.go) == (120, 80, 40)
    assert share.share == 0.5
    assert share.coverage == pytest.approx(2 / 3)
    assert share.lower <= 0.5 <= share.upper


def test_hours_of_a_day_do_not_count_as_so_many_trials():
    """Forty days, each all go or all not: the interval is that of forty, not of 960."""
    rng = np.random.default_rng(5)
    days = rng.integers(0, 2, 40)
    share = go_share(hours_of("".join(("g" if d else "h") * 24 for d in days)))
    sd = np.sqrt(share.share * (1 - share.share) / 40)
    assert share.upper - share.lower == pytest.approx(2 * 1.96 * sd, rel=0.1)


def test_none_seen_is_no_zero():
    share = go_share(hours_of("h" * 240))
    assert share.share == 0.0
    assert share.upper == pytest.approx(1 - 0.025 ** (1 / 10))
    assert go_share(hours_of("?")).upper == 1.0


def test_a_single_day_of_both_kinds_tells_nothing_of_the_season():
    mixed = go_share(hours_of("gghn?"))
    assert (mixed.go, mixed.hold, mixed.no_go, mixed.days) == (2, 1, 1, 1)
    assert (mixed.share, mixed.lower, mixed.upper) == (0.5, 0.0, 1.0)
    every = go_share(hours_of("g" * 72))
    assert (every.days, every.share, every.upper) == (3, 1.0, 1.0)
    assert every.lower == pytest.approx(0.025 ** (1 / 3))
    assert go_share(hours_of("g" * 24), offset=timedelta(hours=-1)).days == 2
    late = hours_of("g" * 24, START + timedelta(hours=1))
    assert go_share(late, offset=timedelta(hours=-1)).days == 1


def test_months_and_hours_are_local():
    cells = by_month_and_hour(hours_of("g" * 3), offset=timedelta(hours=-7))
    assert set(cells) == {(4, 17), (4, 18), (4, 19)}


def test_reasons_come_by_how_often_they_blocked():
    assert reasons(hours_of("ghhn")) == [("h", 2), ("n", 1)]


@pytest.mark.parametrize(("found", "goes"), [("ghhn", True), ("hhn", False)])
def test_the_page_says_what_holds_most_often_and_what_may_change_it(found, goes):
    """What the terminal says of it stands on the page; where nothing is go, a way on as well."""
    head = {
        **dict.fromkeys(("flight", "site", "version"), "x"),
        **{key: [] for key in ("conditions", "assumed", "questions_set_aside")},
        "too_few": "",
        "samples": 9,
        "samples_needed": 9,
    }
    hours, voice = hours_of(found), english("us")
    page = season_plan(head, hours, Agreement(1, 1, 0), timedelta(), voice).page()
    assert '<ul lang="en" dir="ltr"><li>h (2×)</li><li>n (1×)</li></ul>' in page
    assert (voice.say("plan.may_change") in page) == (not goes)


def test_the_picture_marks_what_is_hardly_known():
    thin = by_month_and_hour(hours_of("g" + "?" * 23 + "?" * 24 + "?" * 24))
    svg = season_svg(thin, english("us"))
    assert svg.count(' thin"') == 1
    assert "100" in svg


def test_a_rose_holds_the_most_frequent_winds_and_says_what_is_left(tmp_path):
    hours = read_hours(write(tmp_path, *rows(2.0, 0.1, 1.2, 4.1, 9.0)))
    rose, (note,) = rose_of(hours, most=2)
    assert rose == ((90.0, 2.0, 3.0), (90.0, 6.0, 1.0))
    assert "80.0% of all readings" in note


def test_a_reading_without_a_gust_is_not_known_where_others_tell_one(tmp_path):
    """Empty cells are no milder than what they held: only a gust of 0 is none."""
    header = "time_utc,from_deg,speed_mps,gust_mps"
    told = ("2026-05-01T02:00Z,40,3,9", "2026-05-01T03:00Z,40,3,0")
    for empty in ("", "M", "nan"):
        lost = f"2026-05-01T04:00Z,40,3,{empty}"
        hours = read_hours(write(tmp_path, *told, lost, header=header))
        assert [len(each) for each in hours.readings] == [1, 1, 0]
        assert "(1 readings tell no gust, where others do: not known" in hours.source
    whole = read_hours(write(tmp_path, *told, header=header))
    assert whole.source.endswith("csv, with its gusts")
    none = read_hours(write(tmp_path, "2026-05-01T02:00Z,40,3,", header=header))
    assert (none.known, none.source.endswith("csv")) == (1, True)


def test_an_hour_keeps_its_gust_and_a_rose_takes_it_for_a_wind(tmp_path):
    path = tmp_path / "hours.csv"
    path.write_text(
        "time_utc,from_deg,speed_mps,gust_mps\n"
        "2026-05-09T14:00Z,75,1.5,20\n2026-05-09T15:00Z,75,1.5,0\n",
        encoding="utf-8",
    )
    hours = read_hours(path)
    assert hours.readings == (((75.0, 1.5, 18.5),), ((75.0, 1.5, 0.0),))
    rose, (note,) = rose_of(hours)
    assert [wind[1] for wind in rose] == [2.0, 20.0]
    assert "gusts as winds of their own" in note
    path.write_text(path.read_text("utf-8").replace("1.5,20", "1.5,-20"), "utf-8")
    with pytest.raises(WindError, match=r"line 2: gust_mps -20; accepted is 0 or more"):
        read_hours(path)


def test_an_hour_with_a_gust_is_flown_as_the_same_words_are(monkeypatch, setup):
    winds = []
    monkeypatch.setattr(season, "try_flight", lambda _, w: winds.append(w))
    season._try_reading(pack(setup), Supposition(0.0), HourReading(75.0, 1.5, 3.5))
    words = Supposition(0.0)._spoken("1.5 m/s from 75 gusting to 5 m/s at 10 m")
    assert winds[0].gust == words.gust == pytest.approx(3.5)
    assert surface_wind(winds[0]) == surface_wind(words)
    assert np.allclose(winds[0].error, words.error)


def test_a_gust_never_falls_into_a_lighter_bin(tmp_path, setup, flown):
    path = write(
        tmp_path,
        "2026-05-01T00:00Z,90,2,0",
        "2026-05-01T01:00Z,90,2,3.5",
        "2026-05-01T02:00Z,90,2,6.1",
        header="time_utc,from_deg,speed_kt,gust_kt",
    )
    hours = read_hours(path)
    for readings in hours.readings:
        ((_, speed, gust),) = readings
        there = bin_of(readings[0])
        assert there.speed >= speed
        assert 0 <= there.gust - gust < 2.0
    season_hours(setup, Supposition(0.0), hours, Ledger("k"))
    assert sorted(call.gust for call in flown[0]) == [0.0, 2.0, 4.0]
