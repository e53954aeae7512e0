"""Readers meet anything; what they decode survives being written and read."""

import json
import math
import re
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from reading import decode

from driftmap.air.profile_law import LOG_TOP
from driftmap.air.uncertainty import FRESH_ERROR
from driftmap.air.wind import WindLevel, components_from, direction_and_speed
from driftmap.core.errors import WindError
from driftmap.winds.formats import FORMATS
from driftmap.winds.formats import decode as every
from driftmap.winds.merge import merge
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.saved import keep_readings, looks_kept, read_kept, wind_document
from driftmap.winds.table import read_table
from driftmap.winds.text import load_text

THEN = datetime(2026, 5, 18, 20, tzinfo=UTC)
SETTING = Setting(120.0, when=THEN, now=THEN)
SAMPLES = [
    "height_m,from_deg,speed_mps\n0,270,5\n1000,280,9\n",
    "METAR KXYZ 181955Z 22018G31KT 180V250 10SM CLR 12/M03 A2992",
    "VALID 190600Z FOR USE 0500-0900Z\nFT  3000    6000    9000\nXYB 2807 2715-07 9900-10\n",
    "#USM00070026 2014 09 10 00 2302    1 ncdc-nws ncdc-nws  712889 -1567833\n"
    "10  1230  50000B 5470B -214B-9999 -8888   255   187\n",
    "72327 BNA Nashville Observations at 12Z 20 Feb 2014\n"
    "   PRES   HGHT   TEMP   DRCT   SKNT\n    hPa     m      C    deg   knot\n"
    "  990.0    180   15.4    180     10\n",
    '{"levels": [{"height_m": 10, "from_deg": 240, "speed_mps": 4}]}',
    "TAF KXYZ 181730Z 1818/1918 24008KT P6SM FM182000 26010G16KT TEMPO 1818/1820 27030KT",
    "drifted 350 m toward 60 from 900 m in 120 s, 5 min ago",
    "# ascent 3 m/s\ntime_s,elevation_deg,azimuth_deg\n60,45,80\n120,40,85\n",
    "time_utc,speed_mps,from_deg,gust_mps\n2026-05-18T19:50,4,240,6\n"
    "2026-05-18T19:55,5,250,\n",
    "$GPGGA,195001,4000.000,N,11900.000,W,1,08,1.0,100.0,M,0,M,,\n"
    "$GPGGA,195011,4000.000,N,11900.000,W,1,08,1.0,900.0,M,0,M,,\n"
    "$GPGGA,195041,4000.100,N,11900.000,W,1,08,1.0,700.0,M,0,M,,\n"
    "$GPGGA,195141,4000.300,N,11900.000,W,1,08,1.0,400.0,M,0,M,,\n"
    "$GPGGA,195241,4000.500,N,11900.000,W,1,08,1.0,100.0,M,0,M,,\n",
    "SW 9 mph, gusts 14",
    "12 mph from 240 gusting to 20 mph at 3 m over open land, 5 min ago",
]


@contextmanager
def _refused_in_one_line():
    """Let a `WindError` of one line pass, and nothing else."""
    try:
        yield
    except WindError as problem:
        if "\n" in str(problem):
            raise AssertionError(str(problem)) from problem


def _sane(reading):
    """Hold what was read to numbers that a wind can have, each height once and in order."""
    assert reading.levels
    heights = [level.height for level in reading.levels]
    assert heights == sorted({*heights})
    for level in reading.levels:
        told = [level.height, level.speed, level.direction, level.gust, level.error]
        assert all(math.isfinite(number) for number in told if number is not None)
        assert 0 <= level.speed <= 120
        assert level.gust is None or level.gust >= level.speed


@given(st.text(max_size=300))
@example("\x00")
@example("FT 3000 6000\nABC")
@example("#AAA00000000 2014 ")
def test_random_text_is_refused_or_read(text):
    with _refused_in_one_line():
        _sane(decode(text, SETTING))


@pytest.mark.parametrize("reader", [one.read for one in FORMATS])
@given(text=st.text(max_size=200))
def test_random_text_meets_every_reader(reader, text):
    with _refused_in_one_line():
        told = reader(text, "x", SETTING)
        for reading in told if isinstance(told, tuple) else (told,):
            _sane(reading)


@given(raw=st.binary(max_size=400))
def test_random_bytes_in_a_file(tmp_path_factory, raw):
    path = tmp_path_factory.getbasetemp() / "random.bin"
    path.write_bytes(raw)
    with _refused_in_one_line():
        load_text(path)
        _sane(decode(str(path), SETTING))


@settings(max_examples=300)
@given(st.sampled_from(SAMPLES), st.data())
def test_damaged_reports_are_refused_or_sane(sample, data):
    """Change, drop or repeat a few characters of a good report."""
    text = list(sample)
    for _ in range(data.draw(st.integers(1, 4))):
        i = data.draw(st.integers(0, max(len(text) - 1, 0)))
        text[i : i + data.draw(st.integers(0, 3))] = data.draw(
            st.text('0123456789-+./,:{}"\nKTGVMZ ', max_size=3)
        )
    with _refused_in_one_line():
        readings = every("".join(text), SETTING)  # a record's tens of minutes
        for reading in readings:
            _sane(reading)
        wind = merge(readings, SETTING)
        assert np.all(np.hypot(wind.east, wind.north) < 400)


@pytest.mark.parametrize("sample", SAMPLES)
def test_samples_are_good(sample):
    reading = decode(sample, SETTING)
    _sane(reading)
    then = replace(SETTING, when=reading.valid or SETTING.when)
    assert merge([reading], then).height.size


LEVELS = st.lists(
    st.builds(
        WindLevel,
        height=st.floats(0, 20_000),
        direction=st.none() | st.floats(0, 2 * math.pi),
        speed=st.floats(0, 50),  # the law may more than double it
        gust=st.none() | st.floats(60, 120),
        source=st.just("wind"),
        error=st.none() | st.floats(0, 20),
    ),
    min_size=1,
    max_size=20,
    unique_by=lambda level: round(level.height, 3),
).map(lambda levels: tuple(sorted(levels, key=lambda level: level.height)))


TIMES = st.none() | st.datetimes(
    datetime(2020, 1, 1), datetime(2030, 1, 1), timezones=st.just(UTC)
)
READINGS = st.builds(
    Reading,
    away=st.sampled_from([None, 0.0, 25_000.0]),
    source=st.just("wind"),
    kind=st.just("aloft"),
    levels=LEVELS,
    valid=TIMES,
    forecast=st.booleans(),
)


def _table(reading):
    told = {"based on": reading.based_on}
    told["valid" if reading.forecast else "read"] = reading.valid
    lines = [f"# {key} {time.isoformat()}" for key, time in told.items() if time]
    lines += ["# forecast"] * reading.forecast
    lines.append("height_m,from_deg,speed_mps,gust_mps,error_mps")
    for level in reading.levels:
        way = None if level.direction is None else math.degrees(level.direction)
        row = (level.height, way, level.speed, level.gust, level.error)
        lines.append(",".join("" if cell is None else repr(cell) for cell in row))
    return "\n".join(lines)


@given(READINGS, TIMES)
def test_written_and_read_again(reading, based_on):
    wrote = replace(reading, based_on=based_on if reading.forecast else None)
    again = read_table(_table(wrote), "wind", SETTING)
    assert (again.valid, again.based_on) == (wrote.valid, wrote.based_on)
    assert again.forecast == wrote.forecast
    _same_levels(again.levels, [_knowable(level) for level in wrote.levels])


@given(READINGS, TIMES, st.booleans(), st.lists(st.text(min_size=1), max_size=2))
def test_kept_and_read_again(reading, based_on, from_ground, notes):
    window = reading.valid and (reading.valid, reading.valid + timedelta(hours=3))
    wrote = replace(
        reading,
        based_on=based_on,
        window=window,
        from_ground=from_ground,
        direction_error=0.1,
        pressure=101_325.0,
        cloud_cover=0.875,
        visibility=4000.0,
        cloud_base=150.0,
        lowest_cloud=90.0,
        terrain="rough",
        warned=tuple(notes),
        assumed=tuple(notes),
        members=np.ones((3, 2, len(reading.levels))),
    )
    text = json.dumps(keep_readings([wrote], SETTING))
    assert looks_kept(text)
    (again,) = read_kept(text, "kept", SETTING)
    for field in fields(Reading):
        if field.name not in {
            "levels",
            "members",
            "direction_error",
            "pressure",
            "ends",
        }:
            assert getattr(again, field.name) == getattr(wrote, field.name), field.name
    assert again.direction_error == pytest.approx(0.1)
    assert again.pressure == pytest.approx(101_325.0)
    assert np.array_equal(again.members, wrote.members)
    _same_levels(again.levels, wrote.levels)


def _knowable(level):
    """Of a table nobody is believed to know the wind aloft better than by a fresh reading."""
    least = FRESH_ERROR if level.height > LOG_TOP else 0.2
    claims = level.error is not None and level.error < least
    return replace(level, error=None) if claims else level


def _same_levels(again, wrote):
    assert len(again) == len(wrote)
    for a, b in zip(again, wrote, strict=True):
        assert (a.height, a.speed, a.gust) == (b.height, b.speed, b.gust)
        assert a.error == b.error
        assert (a.direction is None) == (b.direction is None)
        if a.direction is not None:
            assert a.direction == pytest.approx(b.direction, abs=1e-12)


@given(LEVELS)
def test_document_keeps_every_level(levels):
    wind = merge(
        [Reading(source="wind", kind="aloft", levels=levels, away=0.0)], SETTING
    )
    rows = wind_document(wind)["levels"]
    assert [row["from_deg"] is None for row in rows] == [
        level.direction is None for level in wind.levels
    ]
    assert np.allclose(
        [r["speed_mps"] for r in rows], [v.speed for v in wind.levels], atol=1e-6
    )


@given(st.floats(0, 2 * math.pi), st.floats(0.01, 100))
def test_direction_and_components_are_inverse(bearing, speed):
    back, fast = direction_and_speed(*components_from(bearing, speed))
    assert fast == pytest.approx(speed)
    turn = (back - bearing + math.pi) % (2 * math.pi) - math.pi
    assert turn == pytest.approx(0.0, abs=1e-9)


@given(
    st.floats(0, 2 * math.pi),
    st.floats(-1.5, 1.5),
    st.floats(1, 50),
    st.floats(0, 1),
)
def test_wind_between_two_levels_turns_the_short_way(start, turn, speed, part):
    first, last = start, (start + turn) % (2 * math.pi)
    levels = (
        WindLevel(0.0, first, speed, None, "w"),
        WindLevel(1000.0, last, speed, None, "w"),
    )
    wind = merge([Reading(source="w", kind="aloft", levels=levels, away=0.0)], SETTING)
    bearing, fast = direction_and_speed(*wind.at(1000.0 * part))
    away = abs((bearing - start + math.pi) % (2 * math.pi) - math.pi)
    assert away <= abs(turn) + 1e-9
    assert fast >= speed * math.cos(turn / 2) - 1e-6


def test_messages_are_clean_of_control_characters():
    with pytest.raises(WindError) as caught:
        decode("\x1b[31mred", SETTING)
    assert not re.search(r"[\x00-\x1f]", str(caught.value))
