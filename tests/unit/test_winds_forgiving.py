"""What no flight meets does not refuse a wind; what it meets still does."""

import json
import math

import pytest
from reading import decode

from driftmap.core.errors import WindError
from driftmap.winds.reading import Setting

HEAD = "height_m,from_deg,speed_mps\n2,240,4\n500,250,8\n"
LIST = """\
99999 XYZ Nowhere Field Observations at 12Z 20 Feb 2014
   PRES   HGHT   TEMP   DWPT   DRCT   SKNT
    hPa     m      C      C    deg   knot
  990.0    180   15.4   12.7    180     10
  941.3    610   14.2   13.4    200     33
"""


def _decoded(text, tmp_path, site=0.0):
    path = tmp_path / "wind.txt"
    path.write_text(text)
    return decode(str(path), Setting(site))


def _json(*rows):
    keys = ("height_m", "from_deg", "speed_mps")
    return json.dumps({"levels": [dict(zip(keys, row, strict=True)) for row in rows]})


@pytest.mark.parametrize(
    ("text", "count"),
    [
        (f"{HEAD}14000,270,30\n14000,280,31\n", 3),
        (_json((10, 240, 4), (14000, 270, 30), (14000, 280, 31)), 2),
        (
            f"{LIST}  141.0  14000  -50.0  -60.0    270     60\n" * 1
            + "  141.0  14000  -50.0  -60.0    280     61\n",
            3,
        ),
    ],
)
def test_two_winds_at_one_height_far_above_leave_the_first(text, count, tmp_path):
    reading = _decoded(text, tmp_path)
    assert len(reading.levels) == count
    assert math.degrees(reading.levels[-1].direction) == pytest.approx(270.0)
    assert any("far above, left out: 1" in note for note in reading.assumed)


@pytest.mark.parametrize(
    "text",
    [
        f"{HEAD}500,90,8\n",
        _json((10, 240, 4), (500, 270, 30), (500, 280, 31)),
        f"{LIST}  941.3    610   14.2   13.4    100     33\n",
    ],
)
def test_two_winds_at_one_height_where_flights_go_are_refused(text, tmp_path):
    with pytest.raises(WindError, match="a second level at one height"):
        _decoded(text, tmp_path)


@pytest.mark.parametrize(
    "row",
    [
        "   50.0  20000  -50.0  -60.0    270    600",  # 309 m/s
        "   50.0  20000  -50.0  -60.0   2700     60",
        "   50.0  20000  400.0  -60.0    270     60",
        "    5.0  65494                            ",
        " 1000.0  65494                            ",  # below the ground, wrapped
    ],
)
def test_an_absurd_row_far_above_or_without_wind_is_left_out(row, tmp_path):
    reading = _decoded(f"{LIST}{row}\n", tmp_path)
    assert [round(level.height) for level in reading.levels] == [180, 610]
    assert any("left out" in note for note in reading.assumed)


def test_a_level_at_the_sites_own_height_counts(tmp_path):
    """A site of 4,050 ft is 1,234.44 m; people write 1234."""
    for altitude in ("altitude_m", "altitude_ft"):
        size = 1.0 if altitude == "altitude_m" else 1 / 0.3048
        text = f"{altitude},from_deg,speed_mps\n{1234 * size:.0f},240,4\n"
        reading = _decoded(text, tmp_path, site=1234.44)
        assert reading.levels[0].height == pytest.approx(0.0, abs=0.3)
    text = "altitude_m,from_deg,speed_mps\n1200,240,4\n"
    with pytest.raises(WindError, match="below the ground; the site is at 1234 m"):
        _decoded(text, tmp_path, site=1234.44)
    with pytest.raises(WindError, match="below the ground"):
        _decoded("height_m,from_deg,speed_mps\n-1,240,4\n", tmp_path)


def test_a_spreadsheet_of_semicolons_and_decimal_commas(tmp_path):
    text = "height_m;from_deg;speed_mps\n2;240;3,5\n500;250,5;8,25\n"
    reading = _decoded(text, tmp_path)
    assert [level.speed for level in reading.levels] == [3.5, 8.25]
    # Three digits after a comma may be thousands: which, nobody can tell.
    with pytest.raises(WindError, match="line 2: height_ft '4,050'"):
        _decoded("height_ft;from_deg;speed_mps\n4,050;240;3,5\n", tmp_path)


BULLETIN = """\
VALID 191800Z
FT  3000    6000    9000   12000   18000   24000  30000  34000  39000
XYZ 2710 2715-07 2720-10 2725-15 2730-20 2735-25 273545 {} 273555
"""


def test_a_bulletin_without_a_high_group_is_fine(tmp_path):
    whole = _decoded(BULLETIN.format("273550"), tmp_path)
    gap = _decoded(BULLETIN.format("      "), tmp_path)
    assert len(whole.levels) - len(gap.levels) == 1
    with pytest.raises(WindError, match="9,000 ft: group missing"):
        _decoded(BULLETIN.format("273550").replace("2720-10", "       "), tmp_path)
