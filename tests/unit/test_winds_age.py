"""Every wind has an age: what is told, what is asked, what is refused, what holds."""

import json
import math
import os
import time
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from click.testing import CliRunner
from reading import decode

from driftmap.cli.times import flight_time
from driftmap.cli.winds import winds_command
from driftmap.core.errors import InputError, WindError
from driftmap.core.units import KNOT
from driftmap.desk.queue import now as desk_now
from driftmap.winds import formats
from driftmap.winds.merge import merge
from driftmap.winds.profile import read_winds
from driftmap.winds.reading import Setting

NOW = datetime(2026, 5, 19, 18, tzinfo=UTC)
TABLE = "height_m,from_deg,speed_mps\n2,240,4\n500,250,8\n"


def _setting(**more):
    return Setting(0.0, **{"when": NOW, "now": NOW, **more})


def _wind(text, tmp_path, **more):
    path = tmp_path / "wind.txt"
    path.write_text(text)
    setting = _setting(**more)
    return merge(formats.decode(str(path), setting), setting)


@pytest.mark.parametrize(
    ("said", "hours"),
    [
        ("", 0.0),
        (", 20 min ago", 1 / 3),
        (", 20 mins ago", 1 / 3),
        (", 20 minutes ago", 1 / 3),
        (" 1 minute ago", 1 / 60),
        (", 1 hour ago", 1.0),
        (", 1.5 hours ago", 1.5),
        (", 2 hrs ago", 2.0),
        (" at 17:05Z", 55 / 60),
        (" at 3 m at 17:05 UTC", 55 / 60),
        (", at 12:45 +01:00", 6.25),
    ],
)
def test_words_tell_their_age(said, hours):
    reading = decode(f"9 mph from 240{said}", _setting())
    assert (NOW - reading.valid) / timedelta(hours=1) == pytest.approx(hours)
    assert ("counts as read now" in " ".join(reading.assumed)) == (said == "")


def test_a_time_of_day_without_a_zone_is_this_computers_clock():
    local = (NOW - timedelta(minutes=30)).astimezone()
    reading = decode(f"calm at {local:%H:%M}", _setting())
    assert reading.valid == NOW - timedelta(minutes=30)


def test_the_present_is_told_as_the_clock_on_the_wrist_shows_it(monkeypatch):
    """Paper that ends in another zone's hours would be good for seven hours by mistake."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "XXX+7")
        time.tzset()
        told = [Setting(0.0).when, desk_now()]
    time.tzset()
    assert [t.utcoffset() for t in told] == [timedelta(hours=-7)] * 2


def test_a_time_of_day_without_a_zone_is_of_the_flights_zone():
    """A reading two minutes old must not count as one of hours ago, and be set aside."""
    for hours in (-7, 9):
        there = timezone(timedelta(hours=hours))
        flight = _setting(when=NOW.astimezone(there), zone=there)
        reading = decode(f"calm at {NOW.astimezone(there):%H:%M}", flight)
        assert reading.valid == NOW.replace(second=0, microsecond=0)
        assert any("the zone of --when" in note for note in reading.assumed)
        at = f"{NOW.astimezone(there):%H:%M}"
        assert flight_time(at, NOW, option="--read-at", zone=there) == reading.valid


def test_a_time_of_day_is_refused_where_its_zone_is_anybodys_guess(monkeypatch):
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "XXX+7")
        time.tzset()
        with pytest.raises(WindError, match="names no zone, and --when is in UTC"):
            decode(f"calm at {NOW:%H:%M}", _setting(zone=UTC))
        decode(f"calm at {NOW:%H:%M}Z", _setting(zone=UTC))
    time.tzset()


@pytest.mark.parametrize("at", ["2026-03-08T02:30", "2026-11-01T01:30"])
def test_an_hour_that_clocks_skip_or_show_twice_is_refused(monkeypatch, at):
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "PST8PDT,M3.2.0,M11.1.0")
        time.tzset()
        with pytest.raises(InputError, match="comes twice, or never"):
            flight_time(at)
        told = [flight_time(more) for more in (f"{at}-08:00", at.replace("30", "00Z"))]
        assert [t.utcoffset() / timedelta(hours=1) for t in told] == [-8, 0]
        assert flight_time(at.replace("T0", "T1")).minute == 30
    time.tzset()


@pytest.mark.parametrize("zone", ["-16:00", "+14:30", "-12:30", "+23:59"])
def test_a_zone_that_no_place_has_is_refused(zone, tmp_path):
    with pytest.raises(InputError, match="accepted is 14:30"):
        flight_time(f"2026-06-13T08:30{zone}")
    head = f"# read 2026-06-13 08:10{zone}\n{TABLE}"
    meter = f"# zone {zone}\ntime,speed_mps\n2026-05-19T17:58,5\n"
    for text in (head, meter, f"4 mph from 240 at 08:10{zone}"):
        with pytest.raises(WindError, match=r"time|zone|is no file"):
            _wind(text, tmp_path)


def test_words_for_a_flight_to_come_grow_old_until_it():
    later = _setting(when=NOW + timedelta(hours=5))
    assert merge([decode("9 mph from 240", later)], later).age == pytest.approx(5.0)
    past = _setting(when=NOW - timedelta(days=30))
    reading = decode("9 mph from 240", past)
    assert reading.valid == past.when
    assert any("at the time of the flight" in note for note in reading.assumed)


@pytest.mark.parametrize("said", ["at 19:30Z", "at 25:00Z", "at 17:75"])
def test_words_of_no_time_are_refused(said):
    with pytest.raises(WindError, match=r"after the flight|is no time"):
        decode(f"9 mph from 240 {said}", _setting())


def test_a_report_without_a_flights_time_is_aged_to_now():
    """What was measured a week ago is never fresh because nobody said when we fly."""
    for days, hours in ((0.1, 2.4), (8, 192)):
        time = datetime.now(UTC) - timedelta(days=days)
        report = f"METAR KXYZ {time:%d%H%M}Z 24004KT 10SM CLR 20/10 A3000"
        if days < 1:
            wind = read_winds([report], site_altitude=0.0)
            assert wind.age == pytest.approx(hours, abs=0.05)
            continue
        with pytest.raises(WindError, match=rf"is {hours} h from the flight's time"):
            read_winds([report], site_altitude=0.0)


def test_a_bulletin_of_last_week_is_refused_without_a_flights_time():
    time = datetime.now(UTC) - timedelta(days=7)
    text = f"VALID {time:%d}1800Z\nFT  3000    6000\nXYZ 2710 2715-07\n"
    with pytest.raises(WindError, match="h from the flight's time"):
        read_winds([text], site_altitude=0.0)


def test_a_day_that_is_not_near_is_one_of_the_month_before():
    with pytest.raises(WindError, match=r"is 373 h from the flight's time"):
        read_winds(["METAR KXYZ 040500Z 24004KT"], site_altitude=0.0, when=NOW)
    with pytest.raises(WindError, match=r"is 600 h from the flight's time"):
        read_winds(["METAR KXYZ 241800Z 24004KT"], site_altitude=0.0, when=NOW)


@pytest.mark.parametrize("minutes", [60, 60 * 20])
def test_what_was_measured_after_the_flight_is_refused(minutes):
    time = NOW + timedelta(minutes=minutes)
    for setting, than in (
        (_setting(), "after the flight"),
        (_setting(when=NOW + timedelta(days=20)), "after the present"),
    ):
        with pytest.raises(WindError, match=rf"h {than} .*check the day") as caught:
            decode(f"METAR KXYZ {time:%d%H%M}Z 24004KT", setting)
        assert "\n" not in str(caught.value)


def test_when_a_forecast_was_read_tells_not_for_when_it_is(tmp_path):
    table = f"# forecast\n{TABLE}"
    document = '{"based_on": "2026-05-19T12:00Z", "levels": [%s]}'
    level = '{"height_m": 10, "from_deg": 240, "speed_mps": 4}'
    for text in (table, document % level):
        assert _wind(text, tmp_path).undated
        with pytest.raises(WindError, match="does not tell for when it is: a table"):
            _wind(text, tmp_path, read_at=NOW)


@pytest.mark.parametrize(
    ("said", "holds"),
    [
        (["4 mph from 240, 80 min ago"], None),
        (["4 mph from 240, 100 min ago"], "read 1.7 h before; read the wind again"),
        (["4 mph from 240, 100 min ago", "4 mph from 240"], None),
        (["# read 2026-05-19 16:20Z\n" + TABLE], "read 1.7 h before"),
        (["# read 2026-05-19 16:20Z\n" + TABLE, "4 mph from 240"], None),
    ],
)
def test_a_wind_near_the_ground_is_read_again_after_an_hour_and_a_half(said, holds):
    setting = _setting()
    wind = merge(
        [one for text in said for one in formats.decode_text(text, "w.csv", setting)],
        setting,
    )
    assert [holds in told for told in wind.warned] == [True] * (holds is not None)
    if len(said) == 1 and not holds:  # until then a go is good
        assert 60 * wind.renewed_in == pytest.approx(10.0)


def test_a_clock_may_be_some_minutes_ahead():
    wind = decode("METAR KXYZ 191808Z 24004KT", _setting())
    assert wind.valid == NOW + timedelta(minutes=8)


def test_a_forecast_from_data_of_the_future_is_refused(tmp_path):
    levels = [{"height_m": 10, "from_deg": 240, "speed_mps": 4}]
    document = {"valid": "2026-05-19T21:00Z", "levels": levels}
    text = json.dumps(document | {"based_on": "2026-05-19T18:30Z"})
    with pytest.raises(WindError, match="rests on data of 2026-05-19 18:30Z"):
        _wind(text, tmp_path)
    late = {"valid": "2026-05-19T17:00Z", "based_on": "2026-05-19T17:50Z"}
    assert _wind(json.dumps(document | late), tmp_path).age == pytest.approx(1.0)
    early = {"valid": "2026-05-19T12:00Z", "based_on": "2026-05-19T17:00Z"}
    with pytest.raises(WindError, match="17:00Z: are the two swapped"):
        _wind(json.dumps(document | early), tmp_path)
    good = json.dumps(document | {"based_on": "2026-05-19T12:00Z"})
    assert _wind(good, tmp_path).age is not None


def test_a_table_without_a_time_is_undated_until_told(tmp_path):
    assert _wind(TABLE, tmp_path).undated == ("wind.txt",)
    told = _wind(TABLE, tmp_path, read_at=NOW - timedelta(hours=2))
    assert told.undated == ()
    assert told.age == pytest.approx(2.0)
    for other in (
        '{"levels": [{"height_m": 10, "from_deg": 240, "speed_mps": 4}]}',
        "FT  3000    6000\nXYZ 2710 2715-07\n",
    ):
        assert _wind(other, tmp_path).undated


@pytest.mark.parametrize(
    ("line", "hours", "forecast"),
    [
        ("# read 2026-05-19 10:00-07:00", 1.0, False),
        ("# Read at: 2026-05-19T17:00Z", None, None),
        ("#read: 2026-05-19T16:30Z", 1.5, False),
        ("# read at 2026-05-19 17:00 Z", 1.0, False),
        ("# valid 2026-05-19T18:00Z", 0.0, True),
        ("# valid for 2026-05-19T18:00Z\n# based on 2026-05-19T12:00Z", 0.0, True),
    ],
)
def test_a_table_tells_its_time(line, hours, forecast, tmp_path):
    if hours is None:  # a remark in other words tells nothing, and the verdict holds
        assert _wind(f"{line}\n{TABLE}", tmp_path).undated
        return
    path = tmp_path / "wind.csv"
    path.write_text(f"# by hand\n{line}\n{TABLE}")
    reading = decode(str(path), _setting())
    assert reading.forecast == forecast
    assert (NOW - reading.valid) / timedelta(hours=1) == pytest.approx(hours)


def test_the_oldest_of_a_column_of_times_counts(tmp_path):
    text = (
        "time,height_m,from_deg,speed_mps\n"
        "2026-05-19T17:30Z,2,240,4\n2026-05-19T15:00Z,500,250,8\n"
    )
    assert _wind(text, tmp_path).age == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (f"# read 8:10\n{TABLE}", "line 1: time '8:10'; accepted is such as"),
        (f"# read 2026-05-19 10:00\n{TABLE}", "line 1: time"),
        (f"# read 2026-05-19T10:00Z\n# read 2026-05-19T11:00Z\n{TABLE}", "twice"),
        (f"# read 2026-05-19T10:00Z\n# valid 2026-05-19T11:00Z\n{TABLE}", "either"),
        (
            "# read 2026-05-19T10:00Z\ntime,height_m,from_deg,speed_mps\n"
            "2026-05-19T10:00Z,2,240,4\n",
            "tells its time twice",
        ),
        (f"# read 2026-05-20T10:00Z\n{TABLE}", "16.0 h after the flight"),
        (f"# read 2026-05-17T10:00Z\n{TABLE}", "56 h from the flight's time"),
    ],
)
def test_a_bad_time_is_one_line(text, message, tmp_path):
    with pytest.raises(WindError, match=message) as caught:
        _wind(text, tmp_path)
    assert "\n" not in str(caught.value)


REPORT = "METAR KXYZ 191753Z 24005KT 10SM{} CLR 20/10 A3000{}"


@pytest.mark.parametrize(
    ("observed", "more", "what"),
    [
        ("", " RMK AO2 WSHFT 1735", "a wind shift (WSHFT 1735)"),
        ("", " RMK AO2 WSHFT 1735 FROPA SLP1", "a wind shift (WSHFT 1735 FROPA)"),
        (" VCTS", "", "a thunderstorm (VCTS)"),
        (" +TSRA", "", "a thunderstorm (+TSRA)"),
        (" RETS", "", "a thunderstorm (RETS)"),
        (" SQ", "", "a squall (SQ)"),
        (" +FC", "", "a funnel cloud (+FC)"),
        (" PO", "", "dust whirls (PO)"),
        (" SCT040CB", "", "a storm cloud (SCT040CB)"),
        ("", " WS ALL RWY", "wind shear near the ground (WS)"),
        ("", " WS R24", "wind shear near the ground (WS)"),
        ("", " RMK AO2 TSB35", "a thunderstorm (TSB35)"),
        ("", " RMK LTGICCG VC W", "lightning (LTGICCG)"),
        ("", " RMK OCNL LTGCG DSNT SW", "lightning (LTGCG DSNT)"),
        ("", " RMK CB DSNT S", "wind that no mean tells of (CB)"),
        (" +RA", "", "heavy rain (+RA)"),
        ("", "\nWW 313 SEVERE THUNDERSTORM WATCH", "what was not understood"),
        (" CB/NE", "", "what was not understood"),
        (" TURB", "", "what was not understood"),
        ("", "\nGale warning in force", "what was not understood"),
        ("", " TEMPO 26025G45KT TSRA", "wind expected (TEMPO 26025G45KT)"),
        ("", " TEMPO 26025G45KT TSRA", "expected: a thunderstorm (TSRA)"),
        ("", " TEMPO SHRA", "expected: wind that no mean tells of (SHRA)"),
        ("", " TEMPO +RA", "expected: heavy rain (+RA)"),
        ("", " TEMPO GS", "expected: wind that no mean tells of (GS)"),
        ("", " BECMG FEW040CB", "expected: a storm cloud (FEW040CB)"),
        ("", " TEMPO SCT030TCU", "expected: wind that no mean tells of (TCU)"),
        ("", " TEMPO WS", "expected: wind shear near the ground (WS)"),
        ("", " TEMPO VIRGA", "expected: wind that no mean tells of (VIRGA)"),
        ("", " TEMPO GUST FRONT", "expected: wind that no mean tells of (GUST)"),
        ("", " BECMG THUNDER", "expected: what was not understood (THUNDER)"),
        ("", " TEMPO 24040KTS", "expected: what was not understood (24040KTS)"),
        ("", " TEMPO 24040", "expected: what was not understood (24040)"),
        ("", " TEMPO 24040 KT", "expected: what was not understood (24040 KT)"),
        ("", " TEMPO 2404OKT", "expected: what was not understood (2404OKT)"),
        ("", " TEMPO ///G40KT", "expected: what was not understood (///G40KT)"),
        ("", " TEMPO 24004G//KT", "wind expected (TEMPO 24004G//KT)"),
        ("", " PROB30 TEMPO 40KT", "expected: what was not understood (40KT)"),
        (
            *("", " TAF KXYZ 191730Z 1918/2018 24004KT P6SM TEMPO 1918/1920 SCT030CB"),
            "expected: a storm cloud (SCT030CB)",
        ),
        ("", " BECMG FM1900 24012KT", "wind expected (BECMG 24012KT)"),
        ("", " BECMG 06005KT", "wind expected (BECMG 06005KT)"),
        ("", " PROB40 TEMPO 24020KT", "wind expected (TEMPO 24020KT)"),
        ("", " RMK PK WND 20010/1740 WALL OF DUST W", "what was not understood (WALL"),
        ("", " RMK SFC WND 25045", "what was not understood (SFC WND 25045)"),
        ("", " RMK RWY27 25045", "what was not understood (RWY27 25045)"),
        ("", " RMK RWY02 20045", "what was not understood (RWY02)"),  # 20045: -4.5 °C
        ("", " RMK 8/578 8/9//", "what was not understood (8/9//)"),  # a cumulonimbus
        ("", " RMK 8/240", "what was not understood (8/240)"),  # towers below waves
        ("", " RMK 20/45", "what was not understood (20/45)"),
        (" 24030KT", "", "another wind (24030KT)"),
        ("", " FM1830 24030KT", "another wind (24030KT)"),
        (" WIND 08L 24030G40KT", "", "another wind (24030G40KT)"),
        (" VCBLSA", "", "wind that no mean tells of (VCBLSA)"),
        (" REGR", "", "wind that no mean tells of (REGR)"),
        ("", " RMK AO2 PK WND MISG", "a peak wind that cannot be read (PK WND MISG)"),
        (
            *("", " RMK AO2 PK WND 20045KT"),
            "a peak wind that cannot be read (PK WND 20045KT)",
        ),
        (
            *("", " TAF KXYZ 191730Z 1918/2018 24004KT FM192000 24035G50KT"),
            "wind expected (FM192000 24035G50KT)",
        ),
    ],
)
def test_what_stands_beside_the_wind_holds(observed, more, what):
    setting = _setting()
    wind = merge([decode(REPORT.format(observed, more), setting)], setting)
    told = f"surface report KXYZ 191753Z tells of {what}"
    assert any(one.startswith(told) for one in wind.warned)
    assert not any("blew at" in one for one in wind.warned)


@pytest.mark.parametrize(
    ("observed", "more"),
    [
        ("", " RMK AO2 SLP123 T02000100 10200 21001 402001001 53012 60012 70035"),
        ("", " NOSIG"),
        ("", " BECMG FM1900 TL2000 -RA FEW040 NSW"),
        ("", " TEMPO 9999 SCT060"),
        (
            "",
            " TAF KXYZ 191730Z 1918/2018 24004KT P6SM SKC FM192200 24005KT TX22/1922Z",
        ),
        ("", " RMK AO2 TSNO PNO CHINO RWY06L NOSPECI"),
        ("", " RMK AO2 8/578 4/002 7//// SNINCR 1/8 I1001"),
        ("", " RMK AO2 SFC VIS 5 VIS 3 1/2V5 VIS NE 10 VIS 4 RWY11"),
        ("", " RMK AO2 CIG 038V042 CIG 017 RWY11 BKN014 V OVC"),
        (" TSNO", ""),
        ("", " BECMG 25004KT"),
        (" -RA", " RMK TCU DSNT S"),
        ("", " RMK AO2 TCU DSNT W-NW SLP142"),
        (" RERA BLU NOSIG", ""),
    ],
)
def test_what_says_nothing_of_the_wind_does_not_hold(observed, more):
    assert decode(REPORT.format(observed, more), _setting()).warned == ()


@pytest.mark.parametrize(
    ("remark", "miles", "hundreds"),  # FMH-1 ch. 12, from memory
    [
        ("VIS 1/16V2", 1 / 16, None),
        ("TWR VIS N-NE 2", 2, None),
        ("VIS M1/4V5", 0, None),
        ("SFC VIS 5 CIG 008V012", 5, 8),
        ("CIG 030 CIG 017 RWY11", 10, 17),
    ],
)
def test_the_least_sight_and_ceiling_of_remarks_count(remark, miles, hundreds):
    reading = decode(REPORT.format("", f" RMK {remark}"), _setting())
    assert reading.visibility == pytest.approx(miles * 1609.344)
    base = None if hundreds is None else pytest.approx(hundreds * 30.48)
    assert reading.cloud_base == reading.lowest_cloud == base


def test_a_gust_that_is_not_told_holds():
    reading = decode("METAR KXYZ 191753Z 24012G//KT", _setting())
    assert reading.levels[0].gust is None
    assert any("gust that is not told" in note for note in reading.warned)


@pytest.mark.parametrize(
    ("remark", "gust"),
    [
        ("PK WND 20045/1740", 45),
        ("PK WND 20045/40", 45),
        ("PK WND 200103/1740", 103),
        ("PK WND 20045/58", 45),  # 16:58
        ("PK WND 20030/1735 PK WND 20045/1740", 45),
        ("PK WND 20045/1640", None),
        ("PK WND MISG", None),
    ],
)
def test_a_peak_within_the_hour_counts_as_a_gust(remark, gust):
    reading = decode(REPORT.format("", f" RMK AO2 {remark}"), _setting())
    expected = None if gust is None else pytest.approx(gust * KNOT)
    assert reading.levels[0].gust == expected
    told = (*reading.assumed, *reading.warned)
    assert any("peak" in n or "PK WND" in n for n in told)
    over = [n for n in reading.warned if "45 kt blew at 16:40Z: is it over?" in n]
    assert len(over) == ("1640" in remark)


@pytest.mark.parametrize(
    ("before", "holds"),
    [
        ("191723Z 06010KT 10SM CLR", "winds disagree"),
        ("191553Z 06010KT 10SM CLR", None),  # and steady since: no wind of now
        ("191723Z 20008KT 10SM CLR", None),
        ("191723Z 24005KT 2SM BR OVC005", "visibility of 3.2 km"),
        ("191723Z /////KT 10SM CLR", None),
    ],
)
def test_reports_of_one_file_hold_as_those_of_two_do(before, holds):
    older, last = f"METAR KXYZ {before}", "METAR KXYZ 191745Z 24010KT 10SM CLR"
    setting = _setting(station_away=3000.0)
    one = merge(formats.decode(f"{older}\n{last}", setting), setting)
    assert [holds in told for told in one.warned] == [True] * (holds is not None)
    if holds:
        each = [*formats.decode(older, setting), *formats.decode(last, setting)]
        assert set(one.warned) <= set(merge(each, setting).warned)


def test_the_mean_of_the_report_before_is_the_strongest_near_the_ground():
    text = "METAR KXYZ 191723Z 24018KT 10SM CLR\nMETAR KXYZ 191745Z 24005KT 10SM CLR"
    setting = _setting(station_away=3000.0)
    assert merge(formats.decode(text, setting), setting).strongest == pytest.approx(
        18 * KNOT
    )


def test_a_gust_above_the_peak_stays():
    text = "METAR KXYZ 191753Z 24005G50KT RMK PK WND 20045/1740"
    assert decode(text, _setting()).levels[0].gust == pytest.approx(50 * KNOT)


FIRST = "METAR KXYZ 191753Z 24005KT 12/03 Q1013"


@pytest.mark.parametrize(
    "second",
    [
        "METAR COR KXYZ 191753Z 30015KT 12/03 Q1013",
        "METAR KXYZ 191753Z COR 30015KT 12/03 Q1013",
        "METAR KXYZ 191753Z CCA 30015KT 12/03 Q1013",
        "SPECI KXYZ 191753Z AUTO CCB 30015KT 12/03 Q1013",
    ],
)
def test_a_corrected_report_wins(second, tmp_path):
    for order in ((FIRST, second), (second, FIRST)):
        path = tmp_path / "metar.txt"
        path.write_text("\n".join(order) + "\n")
        level = decode(str(path), _setting()).levels[0]
        assert math.degrees(level.direction) == pytest.approx(300.0)
        assert level.speed == pytest.approx(15 * KNOT)


def test_the_last_of_several_corrections_wins_and_a_repeat_is_one():
    later = FIRST.replace("Z 24", "Z CCB 31"), FIRST.replace("Z 24", "Z CCA 30")
    text = "\n".join([FIRST, *later])
    assert math.degrees(decode(text, _setting()).levels[0].direction) == (
        pytest.approx(310.0)
    )
    assert decode(f"{FIRST}\n{FIRST}", _setting()).levels[0].speed == (
        pytest.approx(5 * KNOT)
    )
    with pytest.raises(WindError, match="two reports of 2026-05-19 17:53Z"):
        decode(f"{FIRST}\n{FIRST.replace('24005', '24009')}", _setting())


KEPT = {
    "words": ["9 mph from 240 gusting to 14 mph, 20 min ago"],
    "report": ["METAR KXYZ 191753Z 24005KT 180V250 20/10 A3000 RMK WSHFT 1735"],
    "forecast": [
        '{"valid": "2026-05-19T18:00Z", "based_on": "2026-05-19T12:00Z", "levels": '
        '[{"height_m": 10, "from_deg": 240, "speed_mps": 2, "gust_mps": 5},'
        ' {"height_m": 500, "from_deg": 250, "speed_mps": 6}]}'
    ],
    "bulletin and words": [
        "VALID 191800Z FOR USE 1400-2100Z\nFT  3000    6000\nXYZ 2710 2715-07\n",
        "calm",
    ],
    "undated": ["height_m,from_deg,speed_mps\n2,240,4\n500,250,8\n"],
    "members": [
        '{"valid": "2026-05-19T18:00Z", "members": [{"levels": [{"height_m": 10, '
        '"from_deg": 240, "speed_mps": 2}]}, {"levels": [{"height_m": 10, '
        '"from_deg": 90, "speed_mps": 2}]}]}'
    ],
}


@pytest.mark.parametrize("name", KEPT)
def test_what_winds_prints_reads_back_the_same(name, tmp_path):
    """A forecast never comes back as a measurement, nor words with a smaller error."""
    sources = []
    for i, text in enumerate(KEPT[name]):
        path = tmp_path / f"source{i}.txt"
        path.write_text(text)
        sources.append(str(path) if "\n" in text or text.startswith("{") else text)
    where = ("--site-elevation", "100 m", "--when", "2026-05-19T18:00Z")
    result = CliRunner().invoke(winds_command, [*sources, *where, "--json"])
    assert result.exit_code == 0, result.output
    kept = tmp_path / "kept.json"
    kept.write_text(result.stdout)
    first = read_winds(sources, site_altitude=100.0, when=NOW)
    again = read_winds([str(kept)], site_altitude=100.0, when=NOW)
    for column in ("height", "east", "north", "error"):
        assert np.allclose(getattr(first, column), getattr(again, column), atol=1e-9)
    assert (first.members is None) == (again.members is None)
    for field in ("known_to", "read_from", "source", "undated", "warned"):
        assert getattr(first, field) == getattr(again, field), field
    assert first.age == (None if again.age is None else pytest.approx(again.age))
    assert [a.gust for a in first.levels] == [b.gust for b in again.levels]


def test_a_wind_kept_for_another_site_or_damaged_is_refused(tmp_path):
    where = ("--site-elevation", "100 m", "--json")
    text = CliRunner().invoke(winds_command, ["9 mph from 240", *where]).stdout
    path = tmp_path / "kept.json"
    path.write_text(text)
    with pytest.raises(WindError, match="site_altitude_m: 100 m"):
        read_winds([str(path)], site_altitude=500.0)
    for old, new, message in (
        ('"kind": "surface"', '"kind": "deep"', "reading 1 kind"),
        ('"forecast": false', '"forecast": "no"', "reading 1 forecast"),
        ('"valid": "20', '"valid": "x20', "reading 1 valid"),
        ('"from_deg": 2', '"from_deg": 12', "reading 1 level 1: from_deg 1240"),
        ('"warned": []', '"warned": [3]', "reading 1 warned"),
        ('"height_m"', '"heigth_m"', "did you mean 'height_m'"),
    ):
        assert old in text
        path.write_text(text.replace(old, new))
        with pytest.raises(WindError, match=message) as caught:
            read_winds([str(path)], site_altitude=100.0)
        assert "\n" not in str(caught.value)


def test_a_time_of_day_long_past_asks_for_the_day():
    from driftmap.cli.times import flight_time

    evening = datetime(2026, 5, 19, 20, tzinfo=UTC)
    with pytest.raises(InputError, match=r"was 10\.9 h ago; give the day too"):
        flight_time("9:05Z", evening)
    assert flight_time("19:30Z", evening).hour == 19
    assert flight_time("9:05Z", evening, option="--read-at").hour == 9


def test_the_flights_time_is_shown_back_with_day_zone_and_utc():
    when = ("--when", "2026-05-19T11:00-07:00")
    shown = CliRunner().invoke(
        winds_command, ["calm", "--site-elevation", "0 m", *when]
    )
    assert "Tue 2026-05-19 11:00 UTC-07:00 (2026-05-19 18:00Z)" in shown.output


@pytest.mark.parametrize(
    "text",
    [
        "METAR KXYZ 191753Z 24005KT 10SM CLR 20/10 A3000",
        "TAF KXYZ 191730Z 1918/2018 24008KT P6SM SKC",
    ],
)
def test_a_report_of_a_file_that_was_written_before_it_is_of_another_month(
    text, tmp_path
):
    path = tmp_path / "kept.txt"
    path.write_text(text, encoding="utf-8")
    setting = _setting()
    for days, doubted in ((31, True), (0.9, False), (0.0, False)):
        written = setting.when.timestamp() - days * 86400
        os.utime(path, (written, written))
        told = formats.decode(str(path), setting)[0].warned
        assert any("is that of another month?" in one for one in told) is doubted


def test_words_behind_the_mark_of_a_forecast_are_a_remark(tmp_path):
    for more, heard in (("", False), (" of gusts of 40 kt", True)):
        text = f"# forecast{more}\n# valid 2026-05-19 18:00Z\n{TABLE}"
        told = _wind(text, tmp_path).warned
        assert any("not read: 'forecast of gusts" in one for one in told) is heard
    with pytest.raises(WindError, match="either read, or a forecast"):
        _wind(f"# forecast\n# read 2026-05-19 18:00Z\n{TABLE}", tmp_path)


def test_an_empty_time_is_no_time():
    """As of a variable of the shell that is not set: it is not now."""
    run = CliRunner().invoke(
        winds_command, ["5 mph from 240", "--site-elevation", "100 m", "--when", ""]
    )
    assert isinstance(run.exception, InputError)
    assert "--when: ''" in str(run.exception)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            {"place": (-117.95, 41.6)},
            "latitude of place: -117.95; accepted is -90 to 90",
        ),
        ({"place": (41.6, 242.05)}, "longitude of place: 242.05"),
        ({"site_altitude": 9001.0}, "site_altitude: 9001"),
        ({"station_away": -5.0}, "station_away: -5"),
        ({"declination": float("nan")}, "declination: nan"),
        (
            {"when": datetime(2026, 6, 13, 8)},
            "when: .*accepted is a time with its zone",
        ),
    ],
)
def test_a_program_is_told_what_of_the_site_cannot_be(said, told):
    with pytest.raises(WindError, match=told):
        read_winds(["4 mph from 90"], **{"site_altitude": 1200.0, **said})


@pytest.mark.parametrize(("place", "held"), [(None, True), ((41.6, -117.95), False)])
def test_a_wind_that_tells_its_place_holds_until_the_site_tells_its_own(
    place, held, tmp_path
):
    told = {"read": "2026-05-19T17:50Z", "latitude": 41.61, "longitude": -117.94}
    levels = [{"height_m": 10, "from_deg": 90, "speed_mps": 2}]
    path = tmp_path / "wind.json"
    path.write_text(json.dumps({**told, "levels": levels}), "utf-8")
    wind = read_winds([str(path)], site_altitude=1200.0, when=NOW, place=place)
    assert any("where the site is" in one for one in wind.warned) == held
