"""The plain list of a sounding: its columns, units and titles, and what is refused."""

import math
from datetime import UTC, datetime

import pytest

from driftmap.core.errors import WindError
from driftmap.core.units import FOOT, KNOT
from driftmap.winds.reading import Setting
from driftmap.winds.sounding_list import looks_like_sounding_list, read_sounding_list

TEXT = """\
99999 XYZ Nowhere Field Observations at 12Z 20 Feb 2014

----------------------------------------------------------
   PRES   HGHT   TEMP   DWPT   DRCT   SKNT
    hPa     m      C      C    deg   knot
----------------------------------------------------------
 1000.0     97
  990.0    180   15.4   12.7    180     10
  941.3    610   14.2   13.4    200     33

Station information and sounding indices
"""
COMMAS = """\
time,pressure_hPa,geopotential height_m,temperature_C,wind direction_degree,wind speed_m/s
2014-02-20 11:04:00, 990.0, 180, 15.4, 180, 5.0
2014-02-20 11:06:00, 941.3, 610, 14.2, 200,16.5
"""


def _read(text, **setting):
    return read_sounding_list(text, "list.txt", Setting(0.0, **setting))


def test_fixed_columns():
    reading = _read(TEXT)
    assert reading.source == "sounding XYZ 2014-02-20 12:00Z"
    assert reading.valid == datetime(2014, 2, 20, 12, tzinfo=UTC)
    assert [level.speed for level in reading.levels] == pytest.approx(
        [10 * KNOT, 33 * KNOT]
    )
    assert any("left out: 1" in note for note in reading.assumed)


def test_a_list_is_as_old_as_its_oldest_row():
    lines = COMMAS.splitlines()
    assert _read("\n".join([lines[0], *lines[:0:-1]]) + "\n").valid == datetime(
        2014, 2, 20, 11, 4, tzinfo=UTC
    )


@pytest.mark.parametrize("lost", [{4: ""}, {1: "", 2: ""}, {3: "999", 4: ""}])
def test_a_speed_without_a_direction_or_a_height_is_no_level_and_holds(lost):
    lines = COMMAS.splitlines()
    cells = [lost.get(i, cell) for i, cell in enumerate(lines[-1].split(","))]
    (held,) = _read("\n".join([*lines[:-1], ",".join(cells)]) + "\n").warned
    assert "a speed and no direction or height (1), of up to 16.5 m/s" in held
    assert not _read(COMMAS).warned


@pytest.mark.parametrize(
    ("hour", "of_the_other", "held"),
    [
        (14, "33", "tells 30.9 m/s from 200° at 610 m, where 17.0 m/s is flown"),
        (14, "33", None),
        (16, "33", "is from after the flight"),
        (10, "33", None),
    ],
)
def test_another_sounding_of_the_hours_before_is_heard(hour, of_the_other, held):
    other = TEXT.replace("12Z", f"{hour}Z")
    if held is not None or hour == 10:
        other = other.replace(of_the_other + "\n", "60\n")
    when = datetime(2014, 2, 20, 15, 30, tzinfo=UTC)
    both = _read(TEXT.replace("12Z", "15Z") + other, when=when, now=when)
    assert both.levels[-1].speed == pytest.approx(33 * KNOT)
    assert [held in told for told in both.warned] == [True] * (held is not None)


def test_direction_is_as_good_as_its_rounding_to_five_degrees():
    assert _read(TEXT).direction_error == pytest.approx(math.radians(5) / math.sqrt(12))


def test_units_are_those_of_the_list():
    text = TEXT.replace("     m  ", "    ft  ").replace("SKNT", "SPED")
    text = text.replace("   knot", "    m/s")
    low = _read(text).levels[0]
    assert low.height == pytest.approx(180 * FOOT, abs=0.01)
    assert low.speed == 10.0


def test_commas():
    reading = _read(COMMAS)
    assert looks_like_sounding_list(COMMAS)
    assert reading.valid == datetime(2014, 2, 20, 11, 4, tzinfo=UTC)
    assert math.degrees(reading.levels[1].direction) == pytest.approx(200.0)


@pytest.mark.parametrize("less", [1, 9])
def test_a_last_line_cut_inside_a_number_is_no_smaller_number(less):
    whole = TEXT[: TEXT.index("33") + 2]
    assert len(_read(whole).levels) == 2
    with pytest.raises(WindError, match=r"line 9: \w+ is cut short"):
        _read(whole[:-less])


def test_several_soundings_under_their_titles():
    text = TEXT + TEXT.replace("12Z 20 Feb", "00Z 21 Feb").replace(
        "180     10", "90      7"
    )
    assert math.degrees(_read(text).levels[0].direction) == pytest.approx(90.0)
    early = _read(text, when=datetime(2014, 2, 20, 15, tzinfo=UTC))
    assert math.degrees(early.levels[0].direction) == pytest.approx(180.0)
    assert any("last before the flight of 2" in note for note in early.assumed)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("   knot", "  mph  "), "line 4: speed in 'mph'; accepted is knot"),
        (("    180     10", "   1800     10"), "line 8: direction 1800"),
        (("    180     10", "    180    300"), "line 8: speed 154"),
        (("    180     10", "    180     ten"), "line 8: speed '"),
        (("  941.3    610", "  941.3    180"), "line 9: a second level at one height"),
        (("  941.3", " 9413.0"), "line 9: pressure"),
        (("   14.2", "  142.0"), "line 9: temperature"),
        (("  941.3    610", "  941.3  99999"), "line 9: height"),
        (("   PRES   HGHT", "   PRES   HEIT"), "no line of columns"),
        (("12Z 20 Feb", "12Z 30 Feb"), None),
    ],
)
def test_bad_lists_name_the_line(change, message):
    assert change[0] in TEXT
    text = TEXT.replace(*change)
    if message is None:  # no such day: read, and its time is not known
        assert _read(text).valid is None
        return
    with pytest.raises(WindError, match=message) as caught:
        _read(text)
    assert str(caught.value).startswith("list.txt")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (TEXT.split("    hPa", maxsplit=1)[0], "no line of units"),
        (TEXT.split("  990.0", maxsplit=1)[0], "no level with a wind"),
        (TEXT.replace("  990.0", "  /////"), "is no level, though"),
        (f"METAR KXYZ 201155Z 24050KT\n{TEXT}", "line 1: is no level, title or ind"),
        (f"{TEXT}\n40 mph from 240, 5 min ago\n", "no level, title or index: '40 mph"),
        (f"{TEXT}\n Surface wind: 40\n", "no level, title or index: 'Surface wind"),
        (
            TEXT.replace("  941.3", "\n  941.3"),
            "line 9: is empty, though levels follow",
        ),
        (TEXT.replace("DWPT", "TEMP"), "two columns of temperature"),
        (COMMAS.replace("temperature_C", "wind speed_knot"), "two columns of speed"),
        (COMMAS.split("\n", maxsplit=1)[0], "no level with a wind"),
        (COMMAS.replace("degree", "grad"), "direction in 'grad'"),
        (
            COMMAS.replace("geopotential height_m,", "level_m,"),
            "no column of geopotential",
        ),
        (COMMAS.replace(" 180, 5.0", " 180"), "line 2: 5 cells; the header names 6"),
        (COMMAS.replace(" 5.0", " -5.0"), "line 2: speed -5"),
    ],
)
def test_cut_short_and_mixed_up(text, message):
    with pytest.raises(WindError, match=message):
        _read(text)


def test_a_sounding_wholly_below_the_site():
    with pytest.raises(WindError, match="2 below it"):
        read_sounding_list(TEXT, "list.txt", Setting(3000.0))


def test_the_only_station_is_taken_whatever_is_named_and_that_is_said():
    assert any("of XYZ, not ABC" in note for note in _read(TEXT, station="ABC").assumed)


def test_where_the_station_stands_is_read_and_known_better_than_told():
    """A tenth of a degree of latitude is 11.1 km."""
    fixed = f"{TEXT}\n   Station latitude: 40.00\n  Station longitude: -119.20\n"
    head, *rows = COMMAS.splitlines()
    rows = [f"{row},40.0,-119.2" for row in rows]
    commas = "\n".join([f"{head},latitude,longitude", *rows])
    for text in (fixed, commas):
        for told in (None, 5000.0):
            reading = _read(text, place=(40.1, -119.2), station_away=told)
            assert reading.away == pytest.approx(11_120, rel=0.01)
    assert _read(COMMAS, place=(40.1, -119.2)).away is None


def test_two_soundings_in_one_table_are_not_mixed():
    later = COMMAS.replace("2014-02-20 11", "2014-02-20 23").splitlines()[1:]
    with pytest.raises(WindError, match="times hours apart; keep one sounding"):
        _read(
            "\n".join(
                [COMMAS.rstrip(), *(row.replace("180,", "185,", 1) for row in later)]
            )
        )


@pytest.mark.parametrize(
    "name",
    [
        *("wind gust_m/s", "gust_kt", "peak wind_m/s", "max wind speed_kt"),
        *("wind speed 2_m/s", "u wind_m/s", "note", "dew point temperature_C"),
    ],
)
def test_a_column_that_is_not_known_to_be_harmless_is_refused(name):
    lines = [
        f"{line},{told}"
        for line, told in zip(COMMAS.splitlines(), (name, 40, 40), strict=True)
    ]
    if name.startswith("dew"):
        assert len(_read("\n".join(lines)).levels) == 2
        lines[2] = lines[2].replace(",40", ",squalls")
    with pytest.raises(WindError, match="is not read"):
        _read("\n".join(lines))


@pytest.mark.parametrize("name", ["RELH", "GUST"])
def test_so_it_is_in_columns_of_characters(name):
    lines = TEXT.splitlines()
    lines[3] += f"   {name}"
    lines[4] += "      m"
    if name == "RELH":
        assert len(_read("\n".join(lines)).levels) == 2
        return
    with pytest.raises(WindError, match="'GUST' is not read"):
        _read("\n".join(lines))
