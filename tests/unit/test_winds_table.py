"""The table of layers: what it reads, and a line for whatever it cannot."""

import time
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from driftmap.air.uncertainty import SONDE_ERROR, instrument_error
from driftmap.air.wind import WindLevel
from driftmap.core.errors import WindError
from driftmap.core.units import KNOT, MILE_PER_HOUR
from driftmap.winds.profile import read_wind, read_winds
from driftmap.winds.reading import Setting
from driftmap.winds.table import read_table

HEADER = "height_m,from_deg,speed_mps\n"


def _read(text, altitude=100.0):
    return read_table(text, "wind.csv", Setting(altitude))


def test_any_order_of_rows_and_columns():
    reading = _read("speed_kt,gust_kt,height_ft,from_deg\n20,,3000,350\n10,18,0,10\n")
    low, high = reading.levels
    assert (low.height, high.height) == pytest.approx((0.0, 914.4))
    assert (low.speed, low.gust) == pytest.approx((10 * KNOT, 18 * KNOT))
    assert high.gust is None


@pytest.mark.parametrize(
    ("unit", "size"),
    [("mps", 1.0), ("mph", MILE_PER_HOUR), ("kt", KNOT), ("kmh", 1 / 3.6)],
)
def test_speed_units(unit, size):
    reading = _read(f"height_m,from_deg,speed_{unit}\n0,90,10\n")
    assert reading.levels[0].speed == pytest.approx(10 * size)


def test_altitudes_become_heights_above_the_site():
    reading = _read("altitude_ft,from_deg,speed_mps\n1000,0,1\n", altitude=300.0)
    assert reading.levels[0].height == pytest.approx(4.8)


@pytest.mark.parametrize("mark", [";", "\t", " , "])
def test_what_spreadsheets_write_between_columns(mark):
    rows = [["height_m", '"from_deg"', "speed_mps"], ["0", "270", "5"]]
    reading = _read("\n".join(mark.join(row) for row in rows))
    assert reading.levels[0].speed == 5.0


def test_nobody_knows_a_wind_aloft_better_than_a_fresh_reading_does():
    head = HEADER.strip() + ",error_mps\n"
    told, less, more = (
        read_wind(f"{head}10,240,5,\n900,250,9,{error}\n", site_altitude=100.0)
        for error in ("", "0.0001", "4")
    )
    assert less.error.tolist() == told.error.tolist()
    assert more.error[-1] > told.error[-1]
    kept = WindLevel(900.0, 0.0, 9.0, None, "kept", error=0.0001)
    told = instrument_error(kept, 0.0, forecast=False, surface=False)
    assert told == SONDE_ERROR


def test_empty_direction_is_a_variable_wind():
    assert _read(HEADER + "10,,3\n").levels[0].direction is None


def test_comments_blanks_and_byte_order_mark(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_bytes(
        b"\xef\xbb\xbf# morning\r\n\r\n" + HEADER.encode() + b"0,270,5\r\n"
    )
    assert read_wind(str(path), site_altitude=0.0).at(0.0)[0] == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEADER + "0,270,5\n100,270,5\n100,280,6\n", "line 4: .*one height as line 3"),
        (HEADER + "0,2700,5\n", "line 2: direction 2700 deg; accepted is 0 to 360"),
        (HEADER + "0,-10,5\n", "line 2: direction -10"),
        (HEADER + "0,270,-5\n", "line 2: speed -5 m/s"),
        (HEADER + "0,270,500\n", "line 2: speed 500 m/s; accepted is 0 to 120"),
        (HEADER + "0,270,nan\n", "line 2: speed_mps 'nan'"),
        (HEADER + "inf,270,5\n", "line 2: height_m 'inf'"),
        (HEADER + "0,270,five\n", "line 2: speed_mps 'five'"),
        (HEADER + "0,270,\n", "line 2: speed_mps ''"),
        (HEADER + "-5,270,5\n", "line 2: height_m -5 is below the ground"),
        (HEADER + "0,270\n", "line 2: 2 cells; the header names 3"),
        (HEADER + "0,270,5,9\n", "line 2: 4 cells"),
        (HEADER, "0 rows below the header; accepted are 1"),
        ("height_m,from_deg,sped_mps\n0,1,2\n", "line 1: .*'sped_mps'.*'speed_mps'"),
        ("hieght_ft,from_deg,speed_mps\n", "did you mean 'height_ft'"),
        ("height_m,speed_mps\n0,1\n", "no from_deg"),
        ("from_deg,speed_mps\n0,1\n", "no height_m"),
        ("height_m,from_deg\n0,1\n", "no speed_mps"),
        ("height_m,altitude_m,from_deg,speed_mps\n", "both height_m and altitude_m"),
        ("height_m,from_deg,speed_mps,speed_kt\n", "both speed_mps and speed_kt"),
        ("height_m,height_m,from_deg,speed_mps\n", "column 'height_m' stands twice"),
        (HEADER.strip() + ",gust_mps\n0,270,5,4\n", "line 2: gust 4 m/s is less"),
        (HEADER.replace("from", "from_magnetic") + "0,0,1\n", "declination"),
    ],
)
def test_bad_input_names_the_line(text, message):
    with pytest.raises(WindError, match=message) as caught:
        _read(text)
    assert str(caught.value).startswith("wind.csv")
    assert "\n" not in str(caught.value)


def test_altitude_below_the_site():
    with pytest.raises(WindError, match=r"altitude_m 50 is below .*site is at 100 m"):
        _read("altitude_m,from_deg,speed_mps\n50,0,1\n")


@pytest.mark.parametrize(
    "name", ["toward_deg", "to_deg", "heading", "blowing_to", "course_deg", "drift_deg"]
)
def test_where_a_wind_goes_is_never_taken_for_where_it_comes_from(tmp_path, name):
    """Whoever renames a column as he is told would fly the wind turned round."""
    path = tmp_path / "wind.csv"
    path.write_text(f"height_m,{name},speed_mps\n2,75,8\n")
    with pytest.raises(WindError) as refused:
        read_wind(str(path), site_altitude=0.0)
    assert "did you mean" not in str(refused.value)
    assert "where a wind comes from: 180° from there" in str(refused.value)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"\x89PNG\r\n\x1a\n\0\0", "binary"),
        (b"\x01\x02\x05\x06", "binary"),
        (b"0\n" * 1_000_000, "1000000 lines"),
        (b"a\n" + b"x" * 5000, "line 2: is over 1000 characters"),
        (b"height_m,from_deg,speed_mps\n0,270,5\x07\n", "binary"),
        (b"hello there\n", "no wind that can be read"),
        (b"depth,colour\n1,2\n", "unknown column 'depth'"),
    ],
)
def test_files_that_are_no_wind_are_refused_fast(tmp_path, content, message):
    path = tmp_path / "wind.csv"
    path.write_bytes(content)
    start = time.process_time()  # of its own work, whatever else the machine does
    with pytest.raises(WindError, match=message):
        read_wind(str(path), site_altitude=0.0)
    assert time.process_time() - start < 1.0


def test_a_long_table_is_refused(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text(HEADER + "".join(f"{i},270,5\n" for i in range(20_001)))
    with pytest.raises(
        WindError, match="20001 rows below the header; accepted are 1 to 20000"
    ):
        read_wind(str(path), site_altitude=0.0)


@pytest.mark.parametrize("name", ["missing.csv", "."])
def test_no_such_file(tmp_path, name):
    with pytest.raises(WindError):
        read_wind(str(tmp_path / name), site_altitude=0.0)


def test_magnetic_directions_are_turned_by_the_declination():
    reading = read_table(
        "height_m,from_magnetic_deg,speed_mps\n0,355,5\n",
        "wind.csv",
        Setting(0.0, declination=np.radians(10.0)),
    )
    assert np.degrees(reading.levels[0].direction) == pytest.approx(5.0)


def test_linear_in_components_between_levels_through_north(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text(HEADER + "100,350,10\n190,10,10\n")
    wind = read_winds([str(path)], site_altitude=0.0)
    east, north = wind.at(145.0)
    # Two winds of 10 m/s from 350 and 010: from 360 at 9.848 m/s half way.
    assert east == pytest.approx(0.0, abs=1e-12)
    assert north == pytest.approx(-9.848, abs=5e-4)


def test_a_row_from_after_the_flight_is_refused():
    """The oldest row counts for the age, and yet none may be of later."""
    text = (
        "time,height_m,from_deg,speed_mps\n2026-05-19T17:00Z,2,240,3\n"
        "2026-05-19T18:30Z,300,60,12\n"
    )
    late = datetime(2026, 5, 19, 18, tzinfo=UTC)
    with pytest.raises(WindError, match="18:30Z is from after the flight"):
        read_table(text, "t.csv", Setting(0.0, when=late, now=late))
    assert read_table(
        text, "t.csv", Setting(0.0, when=late + timedelta(hours=1))
    ).levels
