"""A meter's record: mean, swing, gusts, trend, age."""

import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from reading import decode

from driftmap.core.errors import WindError
from driftmap.core.units import MILE_PER_HOUR
from driftmap.winds import formats
from driftmap.winds.balloon_form import balloon_form
from driftmap.winds.formats import unread_remarks
from driftmap.winds.merge import merge
from driftmap.winds.meter_log import looks_like_meter_log, read_meter_log
from driftmap.winds.profile import read_winds
from driftmap.winds.reading import Setting

DATA = Path(__file__).parents[1] / "data" / "winds" / "meter_constructed.csv"
NOW = datetime(2026, 5, 19, 18, tzinfo=UTC)
HEAD = "time_utc,speed_mps,from_deg,gust_mps\n"


def _rows(minutes, speed, way, gust=None, step=1.0):
    """Rows from so many minutes before now up to now; speed and way by the minute.

    No two are quite alike, and gusts are a little more than the wind beside them.
    """
    lines = []
    for i in range(round(minutes / step) + 1):
        time = NOW - timedelta(minutes=minutes - i * step)
        v, d = speed(i * step) + i % 3 * 1e-9, way(i * step) + i % 4 * 1e-9
        g = v + 0.1 if gust is None else gust(i * step)
        lines.append(f"{time:%Y-%m-%dT%H:%M:%S},{v},{d % 360},{g}\n")
    return "".join(lines)


def _read(text, **more):
    setting = Setting(0.0, **{"when": NOW, "now": NOW, **more})
    reading, *_ = read_meter_log(text, "log.csv", setting)
    return reading.levels[0], reading


def test_the_last_ten_minutes_are_the_mean_and_the_hour_gives_the_gust():
    text = HEAD + _rows(60, lambda m: 4.0 if m < 49.5 else 6.0, lambda m: 240)
    text = text.replace(",4.0,240.0,4.1", ",4.0,240.0,9.5", 1)
    level, reading = _read(text)
    assert level.speed == pytest.approx(6.0)
    assert math.degrees(level.direction) == pytest.approx(240.0)
    assert level.gust == 9.5
    assert level.height == 2.0
    assert reading.valid == NOW
    assert not reading.forecast


def test_the_error_of_the_mean_falls_with_the_time_not_with_the_count():
    """A meter read each second tells no more of ten minutes than its eddies do."""
    errors = []
    for step in (1.0, 0.1):
        rng = np.random.default_rng(3)
        noise = {}
        text = HEAD + _rows(
            10,
            lambda m, noise=noise, rng=rng: max(
                0, noise.setdefault(round(m), 5 + rng.normal())
            ),
            lambda m: 0,
            step=step,
        )
        errors.append(_read(text)[0].error)
    assert errors[0] == pytest.approx(errors[1], rel=0.35)
    assert 0.05 < errors[0] < 0.5


def test_readings_from_after_the_flight_hold():
    text = HEAD + _rows(60, lambda m: 2.0 if m < 50 else 11.0, lambda m: 100)
    earlier = NOW - timedelta(minutes=25)
    level, reading = _read(text, when=earlier)
    assert level.speed == pytest.approx(2.0)
    # Ten minutes that two clocks may differ are none.
    (told,) = reading.warned
    assert "15 readings are from after the flight" in told
    assert "11.1 m/s at 17:5" in told
    assert _read(text.replace(",11.", ",2."))[1].warned == ()


def test_a_wind_that_grows_or_turns_holds():
    steady = _read(HEAD + _rows(60, lambda m: 5.0, lambda m: 240))[1]
    assert steady.warned == ()
    grows = _read(HEAD + _rows(60, lambda m: 3 + m / 15, lambda m: 240))[1]
    assert any("grows by 4.0 m/s in an hour" in note for note in grows.warned)
    turns = _read(HEAD + _rows(60, lambda m: 5.0, lambda m: 330 + 1.5 * m))[1]
    assert any("turned 46 deg to the right" in note for note in turns.warned)
    falls = _read(HEAD + _rows(60, lambda m: 7 - m / 15, lambda m: 240))[1]
    assert falls.warned == ()


def test_a_remark_that_somebody_meant_to_be_heard_holds():
    text = f"# thunder heard in the west\n{HEAD}" + _rows(
        20, lambda m: 3, lambda m: 240
    )
    reading = decode(text, Setting(0.0, when=NOW, now=NOW))
    assert any("thunder heard" in said for said in reading.warned)
    assert read_winds([text], site_altitude=0.0, when=NOW).gust == pytest.approx(0.1)
    inset = text.replace("# thunder", "  # thunder")
    assert decode(inset, Setting(0.0, when=NOW, now=NOW)).warned == reading.warned


@pytest.mark.parametrize(
    ("said", "heard"),
    [
        *((line, True) for line in ("cloud base 200 m", "not here", "from Reno", "old", "void")),
        *((line, True) for line in ("by compass", "speeds in knots", "height 2 m on a roof")),
        *((line, True) for line in ("read 2026-05-19 18:00Z, magnetic", "zone -07:00 or so")),
        *((line, True) for line in ("a light easterly", "ascent 3 m/s", "height 2 m", "zone Z")),
        *((line, False) for line in ("read 2026-05-19 18:00Z", "Read: 2026-05-19T17:00-07:00")),
        *((line, False) for line in ("valid for 2026-05-19T18:00Z",)),
        *((line, True) for line in ("forecast of Sunday", "forecast was 40 kt")),
        *((line, False) for line in ("forecast", "# forecast", "away 12 km", "", "#")),
    ],
)  # fmt: skip
def test_a_remark_that_no_reader_takes_up_is_heard(said, heard):
    text = f"#{said}\nheight_m,from_deg,speed_mps\n2,240,3\n"
    assert bool(unread_remarks(text, "layers.csv", "table of layers")) == heard
    if said.lower().startswith("read"):  # or refused, by its time
        return
    foretold = "forecast" in said or "valid" in said
    read_at = None if foretold else NOW  # when it was read tells not for when it is
    reading = decode(text, Setting(0.0, when=NOW, now=NOW, read_at=read_at))
    assert bool(reading.warned) == heard
    assert reading.forecast == foretold


@pytest.mark.parametrize("said", ["forecast", "based on 2026-05-19 12:00Z", "read now"])
def test_what_a_record_cannot_be_is_heard(said):
    """No reader of records takes a forecast up: it holds, and passes for no meter."""
    text = f"# {said}\n# height 10 m\n{HEAD}{_rows(20, lambda m: 3, lambda m: 240)}"
    (told,) = decode(text, Setting(0.0, when=NOW, now=NOW)).warned
    assert said in told


def test_what_the_form_of_a_balloon_says_is_no_remark():
    for lift, rate in ((0.12, None), (None, 2.5)):
        form = balloon_form(
            0.03, 900.0, free_lift=lift, ascent=rate, written=lambda m: f"{m:,.0f} m"
        )
        rows = [line for line in form if "(write" not in line]
        assert not unread_remarks("\n".join(rows), "balloon.csv", "pilot balloon")


def test_a_wind_from_all_round_or_without_direction_is_variable():
    level, reading = _read(HEAD + _rows(10, lambda m: 2.0, lambda m: 36 * m))
    assert level.direction is None
    assert level.speed == pytest.approx(2.0)
    bare = "time_utc,speed_mps\n2026-05-19T17:58:00,2\n2026-05-19T17:59:00,3\n"
    level, reading = _read(bare)
    assert level.direction is None
    assert any("no direction" in note for note in reading.assumed)
    north = _read(HEAD + _rows(10, lambda m: 2.0, lambda m: 0))[0].direction
    assert north == pytest.approx(0.0, abs=1e-9)


def test_what_was_read_after_the_flight_does_not_count():
    text = HEAD + _rows(60, lambda m: m / 10, lambda m: 240)
    earlier = _read(text, when=NOW - timedelta(minutes=30))[0]
    assert earlier.speed < _read(text)[0].speed
    late = NOW - timedelta(hours=3)
    with pytest.raises(WindError, match="after the flight"):
        decode(text, Setting(0.0, when=late, now=NOW))


def test_the_example_reads_and_merges():
    then = datetime(2026, 6, 13, 15, 10, tzinfo=UTC)
    wind = read_winds([str(DATA)], site_altitude=0.0, when=then)
    assert looks_like_meter_log(DATA.read_text())
    rows = np.loadtxt(DATA, delimiter=",", skiprows=5, usecols=(1, 2, 3))
    at = np.hypot(*wind.at(2.0))
    assert at == pytest.approx(rows[-21:, 0].mean() * MILE_PER_HOUR, rel=1e-6)
    assert wind.age == pytest.approx(1 / 6)
    gusts = [level.gust for level in wind.levels if level.gust]
    assert max(gusts) == pytest.approx(rows[:, 2].max() * MILE_PER_HOUR)
    assert wind.undated == ()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD, "0 rows below the header; accepted are 1"),
        ("time_utc,speed_mps,wind\nx,1,2\n", "line 1: unknown column 'wind'"),
        ("time_utc,speed_mps,speed_kt\n", "two columns of speed"),
        (HEAD + "2026-05-19T17:58:00,x,240,\n", "line 2: speed_mps 'x'"),
        (HEAD + "2026-05-19T17:58:00,5,240\n", "line 2: 3 cells; the header names 4"),
        (HEAD + "2026-05-19T17:58:00,5,2400,\n", "line 2: direction 2400"),
        (HEAD + "2026-05-19T17:58:00,500,240,\n", "line 2: speed 500"),
        (HEAD + "17:58,5,240,\n", "line 2: time_utc '17:58'; accepted is such as"),
        ("time,speed_mps\n2026-05-19T17:58:00,5\n", "line '# zone -07:00'"),
        ("# zone west\ntime,speed_mps\n2026-05-19T17:58,5\n", "line 1: zone 'west'"),
        ("# height 3 km\ntime_utc,speed_mps\n2026-05-19T17:58,5\n", "line 1: height"),
        (HEAD + "2026-05-19T17:58:00,,240,\n", "no reading with a speed"),
        ("time_utc,speed_mps\n0001-01-01T00:00,5\n", "line 2: time_utc"),
    ],
)
def test_a_bad_record_is_one_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        _read(text)
    assert "\n" not in str(caught.value)


def _told(text, **more):
    setting = Setting(0.0, when=NOW, now=NOW, **more)
    return merge(formats.decode(text, setting), setting), setting


@pytest.mark.parametrize("minutes", [2, 3, 4])
@pytest.mark.parametrize(("speed", "way"), [(7.0, 110), (2.0, 290)])
def test_what_blew_in_since_a_change_is_the_wind_and_holds(minutes, speed, way):
    """Of ten minutes across a front no mean is flown; the front holds."""
    since = 60 - minutes + 0.5
    text = HEAD + _rows(
        60,
        lambda m: speed if m > since else 2.0,
        lambda m: way if m > since else 110,
    )
    level, reading = _read(text)
    assert level.speed == pytest.approx(speed)
    assert math.degrees(level.direction) == pytest.approx(way)
    assert any("the wind changed at 17:5" in said for said in reading.warned)


def test_few_notes_by_hand_are_no_mean_of_an_hour():
    text = HEAD + _rows(60, lambda m: 2 + m / 15, lambda m: 110, step=15.0)
    level, reading = _read(text)
    assert level.speed == pytest.approx(6.0)
    assert level.error > 1.0  # one reading: as known as the hour swung
    assert any("grows by 4.0 m/s in an hour" in said for said in reading.warned)
    text = HEAD + _rows(54, lambda m: 4.0, lambda m: 110 + 120 * (m > 0), step=54.0)
    assert math.degrees(_read(text)[0].direction) == pytest.approx(230)
    assert any("winds disagree" in said for said in _told(text)[0].warned)


@pytest.mark.parametrize(("before", "way"), [(4.0, 110), (5.0, 290)])
def test_a_lull_of_ten_minutes_is_held_against_what_blew_before(before, way):
    text = HEAD + _rows(
        60,
        lambda m: before if m < 49.5 else 0.5,
        lambda m: way if m < 49.5 else 110,
    )
    wind, _ = _told(text)
    assert np.hypot(*wind.at(2.0)) == pytest.approx(0.5, abs=0.01)
    assert any("winds disagree at 2 m" in said for said in wind.warned)


@pytest.mark.parametrize("cut", ["", ",,240,", ",3.0,240,"])
@pytest.mark.parametrize(("last", "holds"), [(41, "17:11 to 17:41"), (20, "")])
def test_a_record_that_tells_no_wind_for_longer_than_a_mean_takes_holds(
    cut, last, holds
):
    """Its rows left out, or empty, or without the gust that all others have."""
    text = HEAD + _rows(60, lambda m: 3.0, lambda m: 240, lambda m: 5.0)
    head, *rows = text.splitlines()
    for m in range(12, last):
        rows[m] = cut and rows[m].split(",")[0] + cut
    _, reading = _read("\n".join([head, *rows]))
    what = "gust (0 is none)" if cut.startswith(",3") else "wind"
    said = f"log.csv: it tells no {what} from {holds} +0000: what blew then?"
    assert reading.warned == ((said,) if holds else ())


@pytest.mark.parametrize(
    ("told", "hole"),
    [
        (range(49), "17:48 to 18:00"),
        (range(12, 61), "17:00 to 17:12"),
        ((0, 58, 60), "17:00 to 17:58"),
    ],
)
def test_rows_that_stand_there_without_a_wind_hold_wherever_they_stand(told, hole):
    head, *rows = (HEAD + _rows(60, lambda m: 3.0, lambda m: 240)).splitlines()
    rows = [
        row if m in told else row.split(",")[0] + ",,240," for m, row in enumerate(rows)
    ]
    _, reading = _read("\n".join([head, *rows]))
    assert (
        f"log.csv: it tells no wind from {hole} +0000: what blew then?"
        in reading.warned
    )


@pytest.mark.parametrize(
    ("told", "hole"),
    [
        (range(0, 71, 20), "16:50 to 17:10 +0000: what blew then? And 2 times more"),
        ((0, 52, *range(53, 71)), "16:50 to 17:42 +0000: what blew then?"),
        (range(56, 71), ""),
        (range(9, 71), None),
    ],
)
def test_a_record_of_few_rows_holds_and_one_of_few_minutes_says_so(told, hole):
    """Three rows an hour tell no mean, and a meter just switched on nothing of before."""
    rows = (HEAD + _rows(70, lambda m: 3.0, lambda m: 240)).splitlines()[1:]
    _, reading = _read("\n".join([HEAD.strip(), *(rows[m] for m in told)]))
    said = f"log.csv: it tells no wind from {hole}"
    assert reading.warned == ((said,) if hole else ())
    begins = "it begins at 17:46 +0000, 14 min before its last"
    assert any(begins in note for note in reading.assumed) == (hole == "")


def test_a_gust_sensor_that_is_dumb_for_all_of_the_hour_holds():
    rows = HEAD + _rows(
        100, lambda m: 3.0, lambda m: 240, lambda m: "" if m > 38 else 7
    )
    _, reading = _read(rows)
    assert any(
        "no gust (0 is none) from 17:00 to 18:00" in said for said in reading.warned
    )


@pytest.mark.parametrize("column", [None, lambda v: "", lambda v: 0, lambda v: v])
def test_a_column_that_never_tells_a_gust_is_heard_as_one_left_out(column):
    """Nobody knows more by it: usual gusts are flown, and the record says so; one gust told is more."""

    def speed(m):
        return 3.0 + 0.3 * math.sin(m)

    gust = (lambda m: column(speed(m))) if column else lambda m: ""
    rows = HEAD + _rows(60, speed, lambda m: 240 + m % 7, gust)
    if column is None:
        rows = "\n".join(line.rpartition(",")[0] for line in rows.splitlines())
    level, reading = _read(rows)
    assert reading.warned == ()
    assert "log.csv: tells no gusts; such as are usual in its wind are flown" in (
        reading.assumed
    )
    assert level.gust == pytest.approx(3.3, abs=0.01)  # its strongest row
    told = HEAD + _rows(60, speed, lambda m: 240 + m % 7, lambda m: speed(m) + 0.5)
    assert not any("gusts" in note for note in _read(told)[1].assumed)


@pytest.mark.parametrize(
    ("speed", "way", "step", "doubt"),
    [
        (lambda m: 3.0, lambda m: 240, 10.0, "7 rows show one and the same wind"),
        (lambda m: 0.0, lambda m: 240, 1.0, "61 rows show one and the same wind"),
        (lambda m: 3.0 + m % 3, lambda m: 240, 1.0, "61 rows show one direction"),
        (lambda m: 3.0, lambda m: 240 + m % 9, 1.0, "61 rows show one speed"),
        (lambda m: 0.0, lambda m: 240 + m % 9, 1.0, "61 rows show one speed"),
        (lambda m: 3.0, lambda m: 240, 20.0, ""),  # four notes of a steady wind
        (lambda m: 3.0, lambda m: 240 + m % 9, 5.0, ""),
        (lambda m: 3.0 + m % 3, lambda m: 240, 5.0, ""),
        (lambda m: 0.3 * (m % 3), lambda m: 240, 1.0, ""),  # moves no vane
    ],
)
def test_a_meter_whose_rows_are_all_alike_holds(speed, way, step, doubt):
    lines = [
        f"{NOW - timedelta(minutes=60 - m):%Y-%m-%dT%H:%M:%S},{speed(m)},{way(m)}"
        for m in np.arange(0, 61, step).tolist()
    ]
    reading = _read("\n".join(["time_utc,speed_mps,from_deg", *lines]))[1]
    told = [one for one in reading.warned if "rows show" in one]
    assert [doubt in one for one in told] == [True] * bool(doubt)


_ELSEWHERE = {
    "record": HEAD + _rows(20, lambda m: 3.0, lambda m: 240),
    "table": "# read 2026-05-19 18:00Z\nheight_m,from_deg,speed_mps\n10,240,3\n",
    "balloon": "# released 2026-05-19 18:00Z\n# ascent 2 m/s\n"
    "time_s,elevation_deg,azimuth_deg\n10,60,60\n70,60,60\n130,60,60\n",
}


@pytest.mark.parametrize("kind", _ELSEWHERE)
def test_what_was_read_elsewhere_says_so_or_is_told_so(kind):
    text = _ELSEWHERE[kind]
    here, _ = _told(text)
    off, _ = _told(text, station_away=30_000.0)
    line, _ = _told(f"# away 30 km\n{text}")
    far, _ = _told(f"# away 40 km\n{text}")
    near, _ = _told(f"# away 0 m\n{text}", station_away=30_000.0)
    assert here.error[0] == near.error[0] < off.error[0] == line.error[0]
    assert off.error[0] < far.error[0]
    if kind != "balloon":  # which reads no wind near the ground anyway
        assert any("read the wind at the field" in said for said in far.warned)
    assert not here.warned


def test_a_wind_in_a_document_is_of_as_far_off_as_a_station_is_told_to_be():
    """Not a forecast, whose point stands for its square, nor what is said of the wind here."""
    levels = [{"height_m": 10, "from_deg": 240, "speed_mps": 3}]
    for key, away in (("read", 25_000.0), ("valid", 0.0)):
        text = json.dumps({key: "2026-05-19T18:00Z", "levels": levels})
        setting = Setting(0.0, when=NOW, now=NOW, station_away=25_000.0)
        (reading,) = formats.decode_text(text, "mast.json", setting)
        assert reading.away == away
    assert decode("5 mph from 240", setting).away == 0.0
    assert decode("drifted 350 m toward 60 from 900 m in 120 s", setting).away == 0.0


@pytest.mark.parametrize("remark", ["# away 12", "# height 33", "# height 2."])
def test_a_length_without_its_unit_is_refused(remark):
    """33 may be feet, and 12 miles: taken for metres both would be milder."""
    text = "time,speed_mps,from_deg\n2026-06-13T08:25-07:00,3,250\n"
    with pytest.raises(WindError, match="must name its unit"):
        _told(f"{remark}\n{text}")
