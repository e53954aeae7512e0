"""The bulletin as a whole: columns, stations, times, and what is cut short."""

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest

from driftmap.air.atmosphere import geopotential_of
from driftmap.core.errors import WindError
from driftmap.core.units import FOOT, KNOT
from driftmap.winds.bulletin import read_bulletin
from driftmap.winds.reading import Setting

TEXT = (
    Path(__file__).parents[1] / "data" / "winds" / "bulletin_constructed.txt"
).read_text()
WHEN = datetime(2026, 5, 19, 7, tzinfo=UTC)


def _read(text=TEXT, station="XYC", when=WHEN, altitude=0.0):
    return read_bulletin(text, "fb.txt", Setting(altitude, station, when))


def _decoded(reading):
    return [
        (
            round(geopotential_of(level.height) / FOOT)
            if level.height > 4000
            else round(level.height / FOOT),
            None if level.direction is None else round(math.degrees(level.direction)),
            round(level.speed / KNOT),
            None if level.temperature is None else round(level.temperature - 273.15),
        )
        for level in reading.levels
    ]


def test_blank_columns_are_the_lowest_levels():
    assert _decoded(_read()) == [
        (9000, None, 5, 8),
        (12000, 260, 8, 2),
        (18000, 260, 14, -12),
        (24000, 250, 18, -24),
        (30000, 250, 21, -38),
        (34000, 270, 199, -48),
        (39000, 230, 119, -60),
    ]


def test_low_station_without_temperature_at_3000():
    rows = _decoded(_read(station="XYB"))
    assert rows[0] == (3000, 280, 7, None)
    assert rows[-3:] == [
        (30000, 250, 110, -41),
        (34000, 270, 111, -50),
        (39000, 280, 108, -55),
    ]


def test_times():
    reading = _read()
    assert reading.valid == datetime(2026, 5, 19, 6, tzinfo=UTC)
    assert reading.based_on == datetime(2026, 5, 19, 0, tzinfo=UTC)
    assert reading.window == (
        datetime(2026, 5, 19, 5, tzinfo=UTC),
        datetime(2026, 5, 19, 9, tzinfo=UTC),
    )
    assert reading.forecast
    # Even over the ten degrees that a direction is rounded to.
    assert reading.direction_error == pytest.approx(math.radians(10) / math.sqrt(12))


def test_hours_for_use_across_midnight():
    text = TEXT.replace("190600Z   FOR USE 0500-0900Z", "200000Z   FOR USE 2000-0300Z")
    reading = _read(text)
    assert reading.window == (
        datetime(2026, 5, 19, 20, tzinfo=UTC),
        datetime(2026, 5, 20, 3, tzinfo=UTC),
    )


def test_hours_for_use_that_start_at_the_valid_time():
    reading = _read(TEXT.replace("FOR USE 0500-0900Z", "FOR USE 0600-0900Z"))
    assert reading.window[0] == reading.valid
    assert _read(TEXT.replace("FOR USE 0500-0900Z", "")).window is None


def test_of_several_the_one_for_use_at_the_flight_is_taken():
    """Not the one whose valid time is nearest: 08 to 14Z at 12Z, 14 to 21Z at 18Z."""
    early = TEXT.replace("190600Z   FOR USE 0500-0900Z", "191200Z   FOR USE 0800-1400Z")
    late = TEXT.replace("190600Z   FOR USE 0500-0900Z", "191800Z   FOR USE 1400-2100Z")
    for minute, hour in ((55, 12), (5, 18)):
        when = WHEN.replace(hour=13 + (hour > 12), minute=minute)
        assert _read(early + late, when=when).valid.hour == hour


def test_what_is_bounded_is_said():
    said = " ".join(_read().assumed)
    assert "less than 5 kt" in said
    assert "199 kt or more" in said
    assert "pressure altitudes" in said


def test_levels_below_the_site_are_left_out_and_said():
    reading = _read(station="XYB", altitude=2000.0)
    assert len(reading.levels) == 7
    assert any("2 levels below the site" in note for note in reading.assumed)


def test_the_nearest_of_several_times_is_taken():
    later = TEXT.replace("VALID 190600Z   FOR USE 0500-0900Z", "VALID 191200Z")
    later = later.replace("9900+08 2608+02", "9900+08 3608+02")
    both = TEXT + "\n" + later
    assert _decoded(_read(both))[1][1] == 260
    assert _decoded(_read(both, when=WHEN.replace(hour=13)))[1][1] == 360


def test_the_hours_that_begin_soon_are_heard_too():
    later = TEXT.replace(
        "VALID 190600Z   FOR USE 0500-0900Z", "VALID 191200Z   FOR USE 0900-1800Z"
    )
    both = TEXT + "\n" + later.replace("9900+08 2608+02", "9900+08 2648+02")
    (held,) = _read(both, when=WHEN.replace(hour=8, minute=30)).warned
    assert "191200Z tells 24.7 m/s from 260°" in held
    assert not _read(both, when=WHEN.replace(hour=7, minute=30)).warned


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            ("9900+08 2608+02 2614-12", "9900+08         2614-12"),
            "12,000 ft: group missing",
        ),
        (("731960", "7319"), "line 9, XYC, 39,000 ft: group '7319' is cut short"),
        (("731960", "73196"), "39,000 ft: group '73196' is not"),
        (("2608+02", "4008+02"), "12,000 ft: group '4008.02' has direction 40"),
        (("2608+02", "2608   "), "12,000 ft: no temperature, though"),
        (
            ("         9900+08", " 9900+08"),
            "stands under no level|group missing|without its sign",
        ),
        (("FT  3000", "XX  3000"), "without a line of levels"),
        (("VALID 190600Z", "VALID 390600Z"), "its times"),
        (("FOR USE 0500", "FOR USE 0575"), "its times"),
        (("9900+08 2608+02 2614-12 2518-24 252138 779948 731960", ""), "no group"),
        (("6000    9000", "9000    6000"), "levels do not increase"),
        (("TEMPS NEG", "WINDS IN MPS. TEMPS NEG"), "winds in MPS; accepted are"),
    ],
)
def test_bad_bulletins_name_the_level(change, message):
    assert change[0] in TEXT
    with pytest.raises(WindError, match=message) as caught:
        _read(TEXT.replace(*change))
    assert "\n" not in str(caught.value)


def test_a_group_without_temperature_stands_at_the_left_of_its_field():
    # As for a station at 4,000 ft: no wind at 3,000, no temperature at 6,000 ft.
    text = TEXT.replace("XYB 2807 2715-07", "XYB      2715   ")
    assert _decoded(_read(text, "XYB"))[:2] == [
        (6000, 270, 15, None),
        (9000, 270, 28, -10),
    ]


def test_station_must_be_named_and_there():
    with pytest.raises(WindError, match="3 stations; name one: XYA, XYB, XYC"):
        _read(station=None)
    with pytest.raises(WindError, match="holds no station ZZZ"):
        _read(station="zzz")


def test_full_rows_may_have_lost_their_spaces():
    squeezed = "\n".join(
        " ".join(line.split()) if line.startswith("XYB") else line
        for line in TEXT.splitlines()
    )
    assert _decoded(_read(squeezed, "XYB")) == _decoded(_read(station="XYB"))


@pytest.mark.parametrize(
    ("line", "held"),
    [("CANCELLED", True), ("yesterday's", True), ("FD1US9", False), ("NNNN", False)],
)
@pytest.mark.parametrize("mark", ["FT  3000", "XYA "])
def test_a_line_that_is_no_part_of_a_bulletin_holds(line, held, mark):
    reading = _read(TEXT.replace(mark, f"{line}\n{mark}"))
    assert any(line[:6] in told for told in reading.warned) is held
    assert _read().warned == ()


def test_words_beside_the_times_of_a_bulletin_hold():
    assert _read(TEXT.replace("VALID", "CANCELLED VALID")).warned
