"""Surface reports as files hold them, and what is refused."""

import math
from datetime import UTC, datetime

import pytest

from driftmap.core.errors import WindError
from driftmap.winds.formats import decode
from driftmap.winds.merge import merge
from driftmap.winds.metar import (
    looks_like_surface_report,
    read_surface_report,
)
from driftmap.winds.profile import read_winds
from driftmap.winds.reading import Setting
from driftmap.winds.taf import read_aerodrome_forecast

WHEN = datetime(2026, 5, 18, 21, tzinfo=UTC)


def _read(text, **setting):
    return read_surface_report(text, "metar.txt", Setting(0.0, **setting))[0]


def test_a_file_with_a_heading_and_wrapped_lines(tmp_path):
    path = tmp_path / "metar.txt"
    path.write_text(
        "SAXX99 KXYZ 182000\n\nMETAR KXYZ 181955Z AUTO 24008G17KT\n"
        "     10SM CLR 12/03 A3001 RMK AO2 PK WND 25030/1835=\n"
    )
    wind = read_winds([str(path)], site_altitude=0.0, when=WHEN)
    assert wind.age == pytest.approx(65 / 60)
    (level,) = [z for z in wind.levels if z.gust]
    assert level.gust == pytest.approx(17 * 1852 / 3600)


@pytest.mark.parametrize("start", ["SPECI", "METAR COR", "SPECI COR", "metar", ""])
def test_starts(start):
    text = f"{start} KXYZ 181955Z 24008KT 12/03 Q1013"
    assert looks_like_surface_report(text)
    assert _read(text).levels[0].speed > 0


def test_several_stations_and_times():
    text = (
        "METAR KXYZ 181855Z 24008KT=\nMETAR KXYZ 181955Z 25009KT=\n"
        "METAR KABC 181955Z 26010KT="
    )
    with pytest.raises(WindError, match="2 stations; name one: KXYZ, KABC"):
        _read(text)
    reading = _read(text, station="XYZ", when=WHEN)
    assert math.degrees(reading.levels[0].direction) == pytest.approx(250.0)
    assert any("last before the flight of 2" in note for note in reading.assumed)
    with pytest.raises(WindError, match="two reports of 2026-05-18 19:55Z"):
        _read("KXYZ 181955Z 24008KT KXYZ 181955Z 25008KT", when=WHEN)


def test_one_station_that_is_not_the_one_named_is_said():
    reading = _read("KXYZ 181955Z 24008KT", station="DEN")
    assert any("of KXYZ, not DEN" in note for note in reading.assumed)


def test_a_swinging_direction_widens_the_error():
    steady, swinging = (
        _read("KXYZ 181955Z 24008KT"),
        _read("KXYZ 181955Z 24008KT 180V300"),
    )
    # Even over 120 degrees: 120/sqrt(12), with the rounding to 10 degrees.
    expected = math.hypot(math.radians(120), math.radians(10)) / math.sqrt(12)
    assert swinging.direction_error == pytest.approx(expected)
    assert steady.direction_error == pytest.approx(math.radians(10) / math.sqrt(12))


def test_a_direction_swinging_through_north():
    reading = _read("KXYZ 181955Z 01008KT 340V040")
    expected = math.hypot(math.radians(60), math.radians(10)) / math.sqrt(12)
    assert reading.direction_error == pytest.approx(expected)


@pytest.mark.parametrize(
    ("report", "message"),
    [
        ("KXYZ 181955Z /////KT 12/03", "wind is missing"),
        ("KXYZ 181955Z ///// 12/03", "wind is missing"),
        ("KXYZ 181955Z /////G31KT", "direction or mean wind is missing"),
        ("KXYZ 181955Z ///12KT", "direction or mean wind is missing"),
        ("KXYZ 181955Z", "cut short or empty"),
        ("KXYZ 181955Z NIL", "cut short or empty"),
        ("KXYZ 181955Z AUTO", "cut short or empty"),
        ("KXYZ 181955Z 10SM 24012KT", "wind group '10SM'"),
        ("KXYZ 181955Z 240KT", "wind group '240KT'"),
        ("KXYZ 181955Z 24012", "wind group '24012'"),
        ("KXYZ 181955Z 24012MPH", "wind group '24012MPH'"),
        ("KXYZ 181955Z 37012KT", "direction 370"),
        ("KXYZ 181955Z 00012KT", "direction 000 is kept for a calm"),
        ("KXYZ 181955Z 24020G15KT", "gust less than the mean"),
        ("KXYZ 181955Z 240999KT", "speed 513.9 m/s"),
        ("KXYZ 181955Z 24012KT 180V400", "direction 400"),
        ("KXYZ 321955Z 24012KT", "day 32, 19:55 is no time"),
        ("KXYZ 182575Z 24012KT", "is no time"),
        ("METAR KXYZ 24012KT", "without station and time"),
    ],
)
def test_bad_reports_name_the_group(report, message):
    with pytest.raises(WindError, match=message) as caught:
        _read(report)
    assert str(caught.value).startswith("metar.txt")


BEFORE = datetime(2026, 5, 9, 18, tzinfo=UTC)


def _report_of(station, place, away=None):
    text = f"METAR {station} 091753Z 24008KT 10SM CLR 20/10 A3000"
    setting = Setting(0.0, when=BEFORE, now=BEFORE, place=place, station_away=away)
    return read_surface_report(text, "metar.txt", setting)[0], setting


def test_how_far_a_station_stands_is_known_told_or_counts_as_far():
    denver = (39.86, -104.67)
    at_field, setting = _report_of("KDEN", denver)
    assert at_field.away < 3000
    nowhere, _ = _report_of("KQQX", denver)
    assert nowhere.away is None
    told, _ = _report_of("KQQX", denver, away=12_000.0)
    assert told.away == 12_000.0
    errors = [
        merge([reading], setting).error[0] for reading in (at_field, told, nowhere)
    ]
    assert errors == sorted(errors)
    assert errors[2] > 1.4 * errors[0]


def test_a_station_of_other_country_holds():
    """Beside a reading at the field too: somebody took it for one of this field."""
    report, setting = _report_of("KDEN", (44.0, -104.67))
    told = ("surface report KDEN 091753Z was measured 460 km from the site",)
    assert merge([report], setting).warned == told
    (here,) = decode("4 m/s from 240", setting)
    assert merge([here, report], setting).warned == told


def test_the_only_wind_near_the_ground_is_of_this_field_or_holds():
    denver = (39.86, -104.67)
    for away, holds in ((None, True), (31_000.0, True), (29_000.0, False)):
        report, setting = _report_of("KQQX", denver, away)
        told = merge([report], setting).warned
        assert any("read the wind at the field" in one for one in told) is holds
        # One that is only heard beside a reading at the field does not.
        (here,) = decode("4 m/s from 240", setting)
        assert merge([here, report], setting).warned == ()


@pytest.mark.parametrize(
    ("before", "held"),
    [
        ("thunder near: ", True),
        ("yesterday: ", True),
        ("CANCELLED ", True),
        ("TEST ", True),
        ("METAR KABC 181900Z 24005KT NOSIG= EXERCISE ", True),
        ("SAXX99 KXYZ 182000\n", False),
        ("2026/05/18 19:55\n", False),
        ("METAR KABC 181900Z 24005KT 10SM CLR NOSIG=\n", False),
    ],
)
def test_words_before_a_report_hold(before, held):
    told = _read(
        f"{before}METAR KXYZ 181955Z 24008KT", station="KXYZ", when=WHEN
    ).warned
    assert any("not understood" in said for said in told) is held
    setting = Setting(0.0, station="KXYZ", when=WHEN, now=WHEN)
    taf = before.replace("METAR KABC 181900Z", "TAF KABC 181730Z 1818/1918")
    taf += "TAF KXYZ 181955Z 1820/1920 24008KT"
    told = read_aerodrome_forecast(taf, "t.txt", setting).warned
    assert any("not understood" in said for said in told) is held


def test_reports_from_after_the_flight_are_told():
    text = "METAR KXYZ 181955Z 24008KT\nMETAR KXYZ 182155Z 06025G35KT"
    told = _read(text, when=WHEN.replace(hour=20)).warned
    assert any(
        "1 from after the flight" in said and "18.0 m/s" in said for said in told
    )


@pytest.mark.parametrize(
    ("earlier", "held"),
    [
        ("091555Z 18025G38KT", True),
        ("091555Z 18004KT", False),
        ("091355Z 18025G38KT", False),  # over three hours before the flight
        ("091655Z 18025G38KT", False),  # within the hour: it counts as a gust
    ],
)
def test_a_gale_of_the_hours_before_in_one_file_holds_as_in_two(earlier, held):
    """What blew over an hour before the last report counts as no gust of it."""
    text = f"METAR KXYZ {earlier} 10SM CLR\nMETAR KXYZ 091755Z 09003KT 10SM CLR"
    setting = Setting(0.0, when=BEFORE, now=BEFORE)
    reading = read_surface_report(text, "metar.txt", setting)[0]
    assert any("38 kt blew at 15:55Z" in one for one in reading.warned) is held
    assert (reading.levels[0].gust is not None) is (earlier[:6] == "091655")


@pytest.mark.parametrize(
    ("said", "held"),
    [
        ("CLR TEMPO 20015KT", False),  # the newer one says anew what it expects
        ("CLR RMK AO2 8/900", False),  # and what nobody understood
        ("CLR RMK AO2 WSHFT 1740", True),
    ],
)
def test_of_the_report_before_what_was_seen_lasts(said, held):
    text = (
        f"METAR KXYZ 091755Z 18004KT 10SM {said}\nMETAR KXYZ 091815Z 18004KT 10SM CLR"
    )
    when = BEFORE.replace(hour=18, minute=20)
    _, earlier = read_surface_report(text, "m.txt", Setting(0.0, when=when, now=when))
    assert bool(earlier.warned) is held
