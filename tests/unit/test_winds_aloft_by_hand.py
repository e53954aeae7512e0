"""Winds aloft that people measure themselves: balloon, tracker, drift; and the TAF."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from reading import decode

from driftmap.cli.winds import balloon_command
from driftmap.core.errors import DriftmapError, WindError
from driftmap.core.units import KNOT
from driftmap.winds.pilot_balloon import ascent_rate, read_balloon
from driftmap.winds.profile import read_winds
from driftmap.winds.reading import Setting
from driftmap.winds.track import read_track

DATA = Path(__file__).parents[1] / "data" / "winds"
NOW = datetime(2026, 5, 19, 18, tzinfo=UTC)
SETTING = Setting(0.0, when=NOW, now=NOW)
RELEASED = "# released 2026-05-19T17:30Z\n"


def _wind(z):
    """Give the components of a wind that grows and turns with height."""
    return 2.0 + 0.006 * z, 3.0 - 0.004 * z


def _path(rate, times, step=0.1):
    """Where a balloon goes in that wind, by small steps."""
    east = north = z = t = 0.0
    rows = []
    for time in times:
        while t < time - 1e-9:
            u, v = _wind(z)
            east, north, z, t = (
                east + u * step,
                north + v * step,
                z + rate * step,
                t + step,
            )
        rows.append((time, east, north, z))
    return np.array(rows)


def _angles(east, north, z):
    way = np.degrees(np.arctan2(east, north)) % 360
    return np.degrees(np.arctan2(z, np.hypot(east, north))), way


def _close(reading, tolerance):
    for level in reading.levels:
        u, v = _wind(level.height)
        way = level.direction
        got = (-level.speed * math.sin(way), -level.speed * math.cos(way))
        assert math.hypot(got[0] - u, got[1] - v) < tolerance


def test_one_observer_finds_the_wind_a_balloon_flew_in():
    rows = _path(3.0, np.arange(30, 331, 30))
    lines = [
        f"{row[0]:g},{up:.4f},{way:.4f}"
        for row in rows
        for up, way in [_angles(*row[1:])]
    ]
    text = RELEASED + "# ascent 3 m/s\ntime_s,elevation_deg,azimuth_deg\n"
    reading = read_balloon(text + "\n".join(lines), "b.csv", SETTING)
    assert [level.height for level in reading.levels] == pytest.approx(
        [90, 270, 450, 630, 810]
    )
    _close(reading, 0.05)  # the wind is linear: its mean is that at the middle
    assert reading.valid == NOW - timedelta(minutes=30)
    assert all(0.3 < level.error < 3.0 for level in reading.levels)
    errors = [level.error for level in reading.levels]
    assert errors[-1] > errors[0]
    wind = read_winds(
        ["4 mph from 230", text + "\n".join(lines)], site_altitude=0.0, when=NOW
    )
    assert wind.known_to == pytest.approx(810, abs=1)
    assert wind.undated == ()


def test_two_observers_need_no_rate_of_ascent():
    rows = _path(2.2, np.arange(30, 271, 30))
    base = (400.0, 0.0)
    lines = []
    for time, east, north, z in rows:
        up, way = _angles(east, north, z)
        up2, way2 = _angles(east - base[0], north - base[1], z)
        lines.append(f"{time:g},{up:.5f},{way:.5f},{up2:.5f},{way2:.5f}")
    text = (
        RELEASED + "# second observer 400 m toward 90\n"
        "time_s,elevation_deg,azimuth_deg,elevation2_deg,azimuth2_deg\n"
    )
    reading = read_balloon(text + "\n".join(lines), "b.csv", SETTING)
    assert len(reading.levels) == 4
    _close(reading, 0.05)
    assert "whose heights differ by 0 m" in reading.assumed[0]


@pytest.mark.parametrize(
    ("last", "held"), [("240,4,80", "under 6 deg"), ("240,44,80", None)]
)
def test_a_balloon_too_low_to_place_holds(last, held):
    """The lower it stands, the farther off the wind took it."""
    body = "# ascent 3 m/s\ntime_s,elevation_deg,azimuth_deg\n60,45,80\n120,45,80\n"
    said = read_balloon(f"{RELEASED}{body}180,44,80\n{last}\n", "b.csv", SETTING).warned
    assert [held in one for one in said] == [True] * (held is not None)


@pytest.mark.parametrize(("speed", "held"), [(3.0, False), (20.0, True)])
def test_a_strong_wind_that_carries_it_where_two_lines_run_alike_holds(speed, held):
    """After 240 s of 3 m/s from west, 400 m north of the pad and of one 400 m south of it."""
    lines = []
    for time in range(60, 421, 60):
        east = 3.0 * min(time, 240) + speed * max(time - 240, 0)
        one, two = (_angles(east, north, 2.5 * time) for north in (400.0, 800.0))
        lines.append(",".join(f"{v:.4f}" for v in (time, *one, *two)))
    head = "time_s,elevation_deg,azimuth_deg,elevation2_deg,azimuth2_deg\n"
    text = f"{RELEASED}# second observer 400 m toward 180\n{head}" + "\n".join(lines)
    said = read_balloon(text, "b.csv", SETTING).warned
    assert [one for one in said if "run too much alike" in one] == [*said]
    assert bool(said) is held


def test_two_observers_of_whom_one_is_wrong_are_refused():
    head = "time_s,elevation_deg,azimuth_deg,elevation2_deg,azimuth2_deg\n"
    text = f"{RELEASED}# second observer 400 m toward 90\n{head}"
    rows = "60,45,45,45,315\n120,45,45,20,315\n"
    with pytest.raises(WindError, match="heights 90 m apart where it is 238 m high"):
        read_balloon(text + rows, "b.csv", SETTING)


def test_a_balloon_that_sinks_holds():
    """Two observers 400 m apart, north of them; it comes down faster than it rose."""
    lines = []
    for time, east, z in ((60, 200, 150), (120, 400, 300), (180, 600, 100)):
        one, two = _angles(east, 400.0, z), _angles(east - 400, 400.0, z)
        lines.append(",".join(f"{v:.4f}" for v in (time, *one, *two)))
    head = "time_s,elevation_deg,azimuth_deg,elevation2_deg,azimuth2_deg\n"
    text = f"{RELEASED}# second observer 400 m toward 90\n{head}" + "\n".join(lines)
    reading = read_balloon(text, "b.csv", SETTING)
    assert len(reading.levels) == 2
    assert any("does not rise are left out (1)" in one for one in reading.warned)


def test_a_balloon_without_release_time_holds_and_magnetic_angles_turn():
    body = "# ascent 3 m/s\ntime_s,elevation_deg,azimuth_magnetic_deg\n60,45,80\n120,45,80\n"
    with pytest.raises(WindError, match="declination"):
        read_balloon(body, "b.csv", SETTING)
    turned = Setting(0.0, when=NOW, now=NOW, declination=math.radians(10.0))
    reading = read_balloon(body, "b.csv", turned)
    assert not reading.dated
    assert math.degrees(reading.levels[0].direction) == pytest.approx(270.0)
    assert reading.levels[0].speed == pytest.approx(3.0)


HEAD = "time_s,elevation_deg,azimuth_deg\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD + "60,45,80\n120,45,80\n", "ascent: is not told; add"),
        ("# ascent fast\n" + HEAD + "60,45,80\n120,45,80\n", "ascent: 'fast'"),
        (
            "# balloon 30 g\n# free lift 125 oz\n" + HEAD + "60,45,80\n120,45,80\n",
            "12 times",
        ),
        ("# ascent 90 m/s\n" + HEAD + "60,45,80\n120,45,80\n", "0.5 to 10 m/s"),
        ("# ascent 3 m/s\n" + HEAD + "60,95,80\n120,45,80\n", "line 3: elevation_deg"),
        ("# ascent 3 m/s\n" + HEAD + "60,45\n120,45,80\n", "line 3: 2 cells"),
        ("# ascent 3 m/s\n" + HEAD + "60,45,x\n120,45,80\n", "line 3: azimuth_deg 'x'"),
        ("# ascent 3 m/s\n" + HEAD + "60,45,80\n50,45,80\n", "must increase"),
        ("# ascent 3 m/s\n" + HEAD + "60,1,80\n120,2,80\n", "no two places"),
        ("# ascent 3 m/s\ntime_s,elevation_deg,azimut\n1,2,3\n2,3,4\n", "did you mean"),
        ("# ascent 3 m/s\n# ascent 4 m/s\n" + HEAD, "line 2: '# ascent' stands twice"),
        (
            "# second observer 1 m\n" + HEAD + "60,45,80\n120,45,80\n",
            "both its columns",
        ),
        ("# released noon\n# ascent 3 m/s\n" + HEAD + "60,45,80\n120,45,80\n", "noon"),
    ],
)
def test_a_bad_balloon_is_one_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        read_balloon(text, "b.csv", SETTING)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("azimuths", "warned"),
    [((280, 100, 280, 100), 1), ((280, 281, 100, 279), 1), ((280, 285, 292, 300), 0)],
)
def test_a_balloon_that_swings_to_and_fro_holds(azimuths, warned):
    """A back bearing taken for a bearing turns the wind of a minute by 180 degrees."""
    rows = "".join(f"{30 * i},61,{a}\n" for i, a in enumerate(azimuths, 1))
    reading = decode(f"# ascent 2.5 m/s\n{HEAD}{rows}", SETTING)
    assert sum("turn about" in told for told in reading.warned) == warned


def test_rows_that_were_not_filled_in_are_passed_over():
    body = "# ascent 3 m/s\n" + HEAD + "60,45,80\n120,45,80\n150,,\n180, ,\n"
    assert len(read_balloon(body, "b.csv", SETTING).levels) == 2


def test_more_lift_rises_faster_and_a_heavier_balloon_slower():
    assert ascent_rate(0.03, 0.2) > ascent_rate(0.03, 0.1) > ascent_rate(0.1, 0.1)
    with pytest.raises(ValueError, match="free_lift"):
        ascent_rate(0.03, 0.0)


@pytest.mark.parametrize(
    "arguments",
    [("--free-lift", "125 g"), ("--ascent", "3 m/s"), ("--observers", "2")],
)
def test_the_sheet_once_filled_in_is_a_wind(arguments):
    result = CliRunner().invoke(balloon_command, [*arguments, "--top", "300 m"])
    assert result.exit_code == 0, result.output
    text = result.output.replace(
        "released  (write date, time, zone: 2026-05-09 08:10-07:00)",
        "released 2026-05-19T17:30Z",
    ).replace(
        "second observer  (write how far and where: 400 m toward 90)",
        "second observer 400 m toward 90",
    )
    two = "--observers" in arguments
    filled = ",45,45,45,315\n" if two else ",45,80\n"
    text = text.replace(",,,,\n" if two else ",,\n", filled)
    text = text.replace(",,,\n", filled)
    reading = decode(text, SETTING)
    assert reading.levels
    assert reading.dated


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("--ascent", "3 m/s", "--free-lift", "125 g"),
        ("--ascent", "90 m/s"),
        ("--ascent", "x"),
        ("--free-lift", "-1 g"),
        ("--ascent", "3 m/s", "--top", "99 km"),
    ],
)
def test_wrong_use_of_the_sheet(arguments):
    result = CliRunner().invoke(balloon_command, list(arguments))
    assert result.exit_code == 2 or isinstance(result.exception, DriftmapError)


def _fixes(fall=6.0, seconds=200, top=900.0):
    """A flight: up in ten seconds, down with the wind; metres and seconds."""
    rows = [(t, 0.0, 0.0, top * t / 10) for t in range(10)]
    east = north = 0.0
    for t in range(10, 10 + seconds):
        z = max(top - fall * (t - 10), 0.0)
        rows.append((t, east, north, z))
        if z > 0:
            u, v = _wind(z - fall / 2)
            east, north = east + u, north + v
    return rows


def _gpx(rows):
    points = "".join(
        f'<trkpt lat="{40 + math.degrees(n / 6_371_000):.9f}" '
        f'lon="{-119 + math.degrees(e / 6_371_000 / math.cos(math.radians(40))):.9f}">'
        f"<ele>{1234 + z:.2f}</ele><time>{NOW - timedelta(minutes=20, seconds=-t):%FT%TZ}"
        "</time></trkpt>"
        for t, e, n, z in rows
    )
    return (
        '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    )


BARE = '<trk><trkpt lat="40" lon="-119"/></trk>'
TRACK = _gpx([(t, 0, 0, 9) for t in range(0, 60, 20)])
TRACK = TRACK[TRACK.index("<trk>") : TRACK.index("</gpx>")]


def _twice(first, other, apart=600):
    """One log of two flights, the second so many seconds after the first."""
    return [*first, *((t + apart, *place) for t, *place in other)]


def _nmea(rows, day="190526"):
    lines = []
    for t, e, n, z in rows:
        when = NOW - timedelta(minutes=20, seconds=-t)
        lat = 40 + math.degrees(n / 6_371_000)
        lon = 119 - math.degrees(e / 6_371_000 / math.cos(math.radians(40)))
        place = (
            f"{int(lat):02d}{lat % 1 * 60:08.5f},N,{int(lon):03d}{lon % 1 * 60:08.5f},W"
        )
        for body in (
            f"GPRMC,{when:%H%M%S}.00,A,{place},0.0,0.0,{day},,,A",
            f"GPGGA,{when:%H%M%S}.00,{place},1,08,1.0,{1234 + z:.1f},M,0.0,M,,",
        ):
            total = 0
            for byte in body.encode():
                total ^= byte
            lines.append(f"${body}*{total:02X}")
    return "\r\n".join(lines) + "\r\n"


@pytest.mark.parametrize("form", [_gpx, _nmea])
def test_a_tracker_that_came_down_tells_the_wind(form):
    here = Setting(1234.0, when=NOW, now=NOW, place=(40.0, -119.0))
    reading = read_track(form(_fixes()), "log", here)
    assert len(reading.levels) == 7
    assert reading.levels[-1].height == pytest.approx(816, abs=30)
    _close(reading, 0.15)
    assert NOW - reading.valid == pytest.approx(
        timedelta(minutes=17), abs=timedelta(minutes=1)
    )
    assert all(0.7 < level.error < 1.0 for level in reading.levels)


@pytest.mark.parametrize("wrong", [-1234.0, 80.0])
@pytest.mark.parametrize("place", [0, 1, -2])
def test_a_receiver_that_errs_on_the_ground_has_not_flown_twice(wrong, place):
    """It begins at the sea's level before it has its place, or one fix is far off."""
    fixes = list(_fixes())
    still = 600.0 if place < 0 else -600.0
    ground = [(still + t, *fixes[place][1:3], 0.0) for t in range(4)]
    ground[place] = (*ground[place][:3], wrong)
    log = [*fixes, *ground] if place < 0 else [*ground, *fixes]
    here = Setting(1234.0, when=NOW, now=NOW, place=(40.0, -119.0))
    _close(read_track(_gpx(log), "log", here), 0.15)


def test_a_log_that_ends_in_the_air_is_above_where_it_began():
    here = Setting(1234.0, when=NOW, now=NOW, place=(40.0, -119.0))
    reading = read_track(_gpx(_fixes()[:100]), "log", here)
    assert reading.levels[0].height > 300
    _close(reading, 0.15)
    assert any("ends in the air" in note for note in reading.assumed)


def test_heights_above_another_ground_hold():
    """Feet taken for metres, or of another place."""
    for altitude, held in ((1234.0, False), (1180.0, False), (1360.0, True)):
        here = Setting(altitude, when=NOW, now=NOW, place=(40.0, -119.0))
        said = read_track(_gpx(_fixes()), "log", here).warned
        assert any("its ground is 126 m below the site" in one for one in said) == held
    here = Setting(1234.0, when=NOW, now=NOW, place=(40.0, -119.0))
    (said,) = read_track(_gpx(_fixes(fall=22.0)), "log", here).warned
    assert "comes down at 22 m/s to the end: are its heights in feet?" in said
    for form in (_gpx, _nmea):
        with pytest.raises(WindError, match="its ground is 1229 m above the site"):
            read_track(form(_fixes()), "log", Setting(5.0, when=NOW, now=NOW))


def test_the_time_that_it_lay_still_is_no_part_of_the_wind():
    here = Setting(1234.0, when=NOW, now=NOW, place=(40.0, -119.0))
    _close(read_track(_gpx(_fixes()[::25]), "log", here), 0.3)


def test_a_damaged_sentence_is_left_out_and_said():
    here = Setting(1234.0, when=NOW, now=NOW)
    text = _nmea(_fixes()).replace(",1,08,", ",1,09,", 1)
    reading = read_track(text, "log", here)
    assert any("cannot be used left out: 1" in note for note in reading.assumed)
    assert not read_track(_nmea(_fixes(), day=""), "log", here).dated
    lines = _nmea(_fixes()).splitlines()
    lines[20], lines[22] = lines[22], lines[20]  # they come in another order
    lines[21], lines[23] = lines[23], lines[21]
    late = read_track("\r\n".join(lines), "log", here)
    assert late.valid == reading.valid
    endless = _nmea(_fixes()).replace(",M,0.0", ",M,,$GPGGA,1799999999999999999,", 1)
    assert len(read_track(endless, "log", here).levels) == 7


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (_gpx(_fixes(top=40.0)), "no flight in it"),
        (_gpx(_fixes(fall=60.0)), "no 20 s of descent"),
        (_gpx(_fixes())[:-20], "is no XML"),
        ("<!DOCTYPE x []>" + _gpx(_fixes()), "holds declarations"),
        (_gpx(_fixes()[:2]), "2 fixes"),
        (_gpx(_twice(_fixes(), _fixes(top=400.0))), "a second flight, up at 17:50:"),
        (_gpx(_twice(_fixes(top=400.0), _fixes())), "a second flight, up at 17:40:"),
        (_gpx(_fixes()).replace("<trk>", TRACK + "<trk>"), "two tracks of one time"),
        (_gpx(_fixes()).replace("<trk>", BARE + "<trk>"), "without times or heights"),
        (_gpx(_fixes()).replace('lat="40', 'lat="400', 1), "is no place"),
        (_gpx(_fixes()).replace("<time>2026", "<time>x026", 1), "no place and time"),
        (_gpx(_fixes()).replace('lat="40', 'lat="50'), "km from the site"),
    ],
)
def test_a_bad_log_is_one_line(text, message):
    here = Setting(1234.0, when=NOW, now=NOW, place=(40.0, -119.0))
    with pytest.raises(WindError, match=message) as caught:
        read_track(text, "log", here)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "speed", "way", "height"),
    [
        ("drifted 350 m toward 60 from 900 m in 120 s", 350 / 120, 240, 450),
        ("drifted 1200 ft towards NE from 3000 ft in 2 min", 3.048, 225, 457.2),
        ("drift 1,150 ft toward 60 from 3,000 ft in 2 min", 350.52 / 120, 240, 457.2),
        ("drifted 0 m toward 0 from 900 m in 120 s, 20 min ago", 0, 180, 450),
    ],
)
def test_the_drift_of_the_flight_before(text, speed, way, height):
    reading = decode(text, SETTING)
    (level,) = reading.levels
    assert (level.speed, level.height) == pytest.approx((speed, height))
    assert math.degrees(level.direction) == pytest.approx(way)
    assert level.error == pytest.approx(math.hypot(0.09 * 2 * height / 120, 0.7))
    ago = timedelta(minutes=20 if "ago" in text else 0)
    assert NOW - reading.valid == ago


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("drifted far", "accepted is"),
        ("drifted 350 m toward 600 from 900 m in 120 s", "direction 600"),
        ("drifted 350 m toward 60 from 900 m in 5 s", "falls at 180 m/s"),
        ("drifted 350 kg toward 60 from 900 m in 120 s", "way: '350 kg'"),
        ("drifted 350 m toward 60 from 900 m in 0 s", "time: '0 s' must be above 0"),
    ],
)
def test_a_bad_drift_is_one_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        decode(text, SETTING)
    assert "\n" not in str(caught.value)


TAF = (
    "TAF KXYZ 191130Z 1912/2018 24008KT P6SM SKC "
    "FM191600 26010G16KT P6SM FEW040 BECMG 1920/1922 30020KT "
    "TEMPO 1917/1919 27018G30KT TSRA PROB30 2000/2004 VRB25G40KT"
)


@pytest.mark.parametrize(
    ("hour", "way", "knots", "gust"),
    [(13, 240, 8, None), (18, 260, 10, 16), (21, 300, 20, None), (23, 300, 20, None)],
)
def test_a_taf_tells_the_wind_at_the_flight(hour, way, knots, gust):
    when = NOW.replace(hour=hour)
    reading = decode(TAF, Setting(0.0, when=when, now=when))
    (level,) = reading.levels
    assert math.degrees(level.direction) == pytest.approx(way)
    assert level.speed == pytest.approx(knots * KNOT)
    assert level.gust == (None if gust is None else pytest.approx(gust * KNOT))
    assert reading.forecast
    assert reading.based_on == datetime(2026, 5, 19, 11, 30, tzinfo=UTC)


def test_what_may_come_by_a_taf_holds_while_it_may():
    def warned(hour, text=TAF):
        when = NOW.replace(hour=hour)
        return " ".join(decode(text, Setting(0.0, when=when, now=when)).warned)

    assert "TEMPO 27018G30KT" in warned(18)
    assert "a thunderstorm" in warned(18)
    assert warned(14) == ""
    assert "BECMG 30020KT" not in warned(23)
    assert "wind shear (WS020/24045KT)" in warned(
        13, TAF.replace("SKC", "WS020/24045KT")
    )


@pytest.mark.parametrize(
    ("change", "minute", "heard"),
    [
        ("FM191800 29028G45KT 3SM TSRA", 59, True),
        ("FM191800 25010KT P6SM SKC", 5, True),
        ("FM191800 25008KT P6SM SKC", 59, False),
        ("BECMG 1918/1920 29028G45KT", 1, True),
        ("TEMPO 1918/1920 29028G45KT TSRA", 1, True),
        ("PROB30 1916/1917 29028G45KT TSRA", 29, True),
        ("PROB30 1916/1917 29028G45KT TSRA", 31, False),
        ("29028G45KT FM191735 25005KT", 59, True),
        ("29028G45KT FM191735 25005KT", 36, True),
        ("29028G45KT FM191725 25005KT", 56, False),
        ("24005KT BECMG 1912/1913 29028G45KT FM191735 25005KT", 36, True),
        ("29028G45KT BECMG 1916/1917 25005KT", 20, True),
        ("29028G45KT BECMG 1916/1917 25005KT", 31, False),
        ("24005KT FM191600 29028G45KT FM191715 25005KT FM191734 26005KT", 35, True),
    ],
)
def test_what_a_taf_tells_of_the_next_hour_or_the_last_half_is_heard(
    change, minute, heard
):
    when = datetime(2026, 5, 19, 17, minute, tzinfo=UTC)
    calm = "" if change[0] == "2" else "24005KT P6SM SKC "
    text = f"TAF KXYZ 191130Z 1912/2018 {calm}{change}"
    warned = decode(text, Setting(0.0, when=when, now=when)).warned
    said = change.split(" ")[0][:5] if calm else "29028G45KT until soon before"
    assert any(said in told for told in warned) == heard


def test_a_calm_is_no_wind_from_elsewhere():
    when = datetime(2026, 5, 19, 17, 30, tzinfo=UTC)
    text = "TAF KXYZ 191130Z 1912/2018 00000KT FM191715 10008KT FM191800 00000KT"
    assert decode(text, Setting(0.0, when=when, now=when)).warned == ()


def test_a_taf_tells_of_the_sky():
    when = NOW.replace(hour=18)
    text = TAF.replace("FEW040", "SCT015 BKN030").replace("TSRA", "0600 FG OVC002")
    reading = decode(text, Setting(0.0, when=when, now=when))
    assert (reading.cloud_cover, reading.cloud_base) == (7 / 8, pytest.approx(914.4))
    assert reading.visibility == pytest.approx(6 * 1609.344)
    told = " ".join(reading.warned)
    assert "cloud from 61 m, maybe" in told
    assert "visibility of 600 m, maybe" in told


def test_a_metar_before_its_taf_is_the_reading():
    text = f"METAR KXYZ 191753Z 23009KT 10SM CLR 20/10 A3000\n{TAF}"
    reading = decode(text, SETTING)
    assert not reading.forecast
    assert any("its TAF" in note for note in reading.assumed)
    told = " ".join(reading.warned)
    assert "expected: a thunderstorm" in told
    assert "wind expected (TEMPO 27018G30KT)" in told


@pytest.mark.parametrize(
    "more",
    [
        "FM1921 24035G50KT",
        "FM19210 24035G50KT",
        "TEMPO 24035G50KT",
        "FROM 192100 24035G50KT",
        "1918/1920 24035G50KT",
        "RMK 24035G50KT LATER",
    ],
)
def test_a_second_wind_whose_time_cannot_be_read_holds(more):
    text = f"TAF KXYZ 191730Z 1918/2018 24008KT P6SM SKC {more}"
    told = [said for said in decode(text, SETTING).warned if "35G50" in said]
    assert "another wind (24035G50KT)" in told[0]


@pytest.mark.parametrize(
    ("remarks", "what"),
    [
        ("CB DSNT W", "wind that no mean tells of (CB)"),
        ("LLWS BY 19Z", "wind that no mean tells of (LLWS)"),
        ("GALE FROM NOON", "what was not understood (GALE FROM NOON)"),
        ("NXT FCST BY 191900Z", None),
        ("FCST BASED ON AUTO OBS. NXT FCST BY 191900Z", None),
    ],
)
def test_remarks_of_a_taf_are_heard_as_those_of_a_report(remarks, what):
    text = f"TAF KXYZ 191730Z 1918/2018 24008KT P6SM SKC RMK {remarks}"
    told = [said for said in decode(text, SETTING).warned if "(RMK)" in said]
    assert [(what or "none") in said for said in told] == [True] * bool(what)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("TAF KXYZ 191130Z 24008KT", "a TAF without station and times"),
        (TAF.replace("26010G16KT", "SKC"), "no wind group"),
        (TAF.replace("1912/2018", "3912/2018"), "its times"),
        (TAF.replace("1912/2018", "1912/1012"), "it ends before it begins"),
        (TAF.replace("26010G16KT", "26010G06KT"), "gust less"),
        (f"{TAF}\n{TAF}", "holds 2 TAFs of KXYZ"),
        (f"{TAF}\n{TAF.replace('KXYZ', 'KABC')}", "2 stations"),
    ],
)
def test_a_bad_taf_is_one_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        decode(text, SETTING)
    assert "\n" not in str(caught.value)


def test_the_examples_read_and_merge_with_a_meter():
    when = datetime(2026, 6, 13, 15, 10, tzinfo=UTC)
    meter, balloon = (
        str(DATA / name)
        for name in ("meter_constructed.csv", "balloon_constructed.csv")
    )
    wind = read_winds([meter, balloon], site_altitude=0.0, when=when)
    assert wind.undated == ()
    assert wind.known_to > 900.0
    for z in (300.0, 600.0):
        u, v = _wind(z)
        east, north = wind.at(z)
        assert math.hypot(float(east) - u, float(north) - v) < 2.0
    track = decode(str(DATA / "track_constructed.gpx"), Setting(1234.0))
    assert len(track.levels) == 7
    then = Setting(0.0, when=NOW, now=NOW)
    assert decode(str(DATA / "taf_constructed.txt"), then).levels[0].gust
