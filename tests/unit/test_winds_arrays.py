"""Components in place of speed and direction: tables, levels alone, a model's arrays."""

import json
import math

import numpy as np
import pytest

from driftmap.core.errors import WindError
from driftmap.winds.formats import decode_text
from driftmap.winds.reading import Setting
from driftmap.winds.unread import unread_arrays, unread_blocks

SETTING = Setting(1000.0, place=(41.6, -118.0))

CF = {
    "latitude": 41.6,
    "longitude": -118.0,
    "time": ["2026-05-09T18:00Z", "2026-05-09T19:00"],
    "pressure": [850, 700],
    "u": [[3.0, 8.0], [4.0, 9.0]],
    "v": [[0.0, 1.0], [3.0, 2.0]],
    "geopotential_height": [[1500.0, 3100.0], [1490.0, 3090.0]],
    "units": {"pressure": "hPa", "u": "m s-1", "v": "m/s", "geopotential_height": "m"},
}


def _at(hour):
    from datetime import UTC, datetime

    when = datetime(2026, 5, 9, hour, tzinfo=UTC)
    return Setting(1000.0, place=(41.6, -118.0), when=when, now=when)


def _read(document, setting=None):
    (reading,) = decode_text(json.dumps(document), "model.json", setting or _at(19))
    return reading


def test_a_table_of_components():
    (reading,) = decode_text(
        "height_m,u_mps,v_mps\n10,3,0\n300,0,-5\n", "w.csv", SETTING
    )
    low, high = reading.levels
    assert (low.speed, math.degrees(low.direction)) == pytest.approx((3.0, 270.0))
    assert (high.speed, math.degrees(high.direction)) == pytest.approx((5.0, 0.0))


@pytest.mark.parametrize(
    ("head", "row", "said"),
    [
        ("height_m,u_mps", "10,3", "u_mps needs its other component"),
        ("height_m,u_mps,v_mps,from_deg", "10,3,1,90", "keep one"),
        ("height_m,u_mps,v_mps", "10,300,0", "accepted is 0 to 120"),
    ],
)
def test_components_that_are_none(head, row, said):
    with pytest.raises(WindError, match=said):
        decode_text(f"{head}\n{row}\n", "w.csv", SETTING)


def test_levels_alone_are_of_a_time_that_nobody_tells():
    reading = _read([{"height_m": 10, "u_mps": 3.0, "v_mps": 4.0}])
    assert reading.levels[0].speed == pytest.approx(5.0)
    assert not reading.dated


def test_arrays_by_time_and_level():
    reading = _read(CF)
    assert reading.forecast
    assert reading.valid.hour == 19
    assert [round(level.height) for level in reading.levels] == [490, 2090]
    assert [level.speed for level in reading.levels] == pytest.approx(
        [5.0, math.hypot(9, 2)]
    )
    assert any("0 km from the site" in note for note in reading.assumed)


def test_an_array_of_gusts_counts_and_a_speed_without_direction_is_a_wind():
    arrays = {
        "height": [10, 80],
        "wind_speed": [4, 25],
        "wind_from_direction": [90, None],
    }
    units = {
        "height": "m",
        "wind_speed": "m/s",
        "wind_from_direction": "deg",
        "gust": "m/s",
    }
    low, high = _read({**arrays, "gust": [9, None], "units": units}).levels
    assert (low.speed, low.gust) == (4.0, 9.0)
    assert (high.speed, high.direction, high.gust) == (25.0, None, None)


@pytest.mark.parametrize(
    ("nulls", "speeds", "said"),
    [
        ({"air_temperature": [9, None, 9]}, [2, 20, 3], None),
        ({"pressure": [890, None, 870]}, [2, 20, 3], None),
        ({"wind_speed": [2, None, 3]}, [2, 3], None),
        (
            {"height": [10, None, 900]},
            [2, 3],
            "a level of speed_mps 20.0 tells no height",
        ),
        (
            {"wind_speed": [2, None, 3], "gust": [None, 25, None]},
            [2, 25, 3],
            "a level of gust_mps 25.0, height_m 300.0 tells no mean speed",
        ),
    ],
)
def test_a_null_takes_no_wind_away_in_silence(nulls, speeds, said):
    units = {"height": "m", "wind_speed": "m/s", "gust": "m/s", "pressure": "hPa"}
    units |= {"wind_from_direction": "deg", "air_temperature": "C"}
    arrays = {"height": [10, 300, 900], "wind_speed": [2, 20, 3]}
    arrays |= {"wind_from_direction": [240] * 3, **nulls, "units": units}
    reading = _read({**arrays, "time": "2026-05-09T19:00Z"})
    assert [level.speed for level in reading.levels] == speeds
    assert [said in one for one in reading.warned] == [True] * (said is not None)


def test_arrays_with_their_attributes():
    arrays = {
        "coords": {"height": {"data": [10, 100], "attrs": {"units": "m"}}},
        "data_vars": {
            "wind_speed": {"data": [8, 12], "attrs": {"units": "knots"}},
            "wind_from_direction": {"data": [90, 100], "attrs": {"units": "degree"}},
        },
    }
    # As a dataset writes itself: no array stands at the top.
    reading = _read(arrays)
    assert [level.speed for level in reading.levels] == pytest.approx(
        np.array([8, 12]) * 1852 / 3600
    )


@pytest.mark.parametrize(
    ("beside", "held"),
    [
        ({"weather": ["thunderstorms from noon"]}, True),
        ({"summary": "squalls expected"}, True),
        ({"u10": [9.0, 9.0]}, True),
        ({"data_vars": {"10fg": {"data": [22.0, 25.0]}}}, True),
        ({"wind_speed_10m": [15.0, 15.0]}, True),
        ({"data": {"levels": [{"from_deg": 90, "speed_mps": 29.0}]}}, True),
        ({"later": [{"forecasts": [{"u_mps": 29.0}]}]}, True),
        ({"attrs": {"comment": "a gale by noon", "title": "run"}}, True),
        ({"attrs": {"title": "run", "GRIB_iDirectionIncrementInDegrees": 0.25}}, False),
        ({"coords": {"lat": {"attrs": {"stored_direction": "increasing"}}}}, False),
        (
            {"coords": {"step": {"data": [0], "attrs": {"long_name": "of the run"}}}},
            False,
        ),
        ({"title": "run of 12Z", "relative_humidity": [[40, 50], [40, 50]]}, False),
        ({"coords": {"valid_time": {"data": "2026-05-09"}}, "surface": 0}, False),
    ],
)
def test_wind_weather_and_texts_beside_the_arrays_hold(beside, held):
    told = _read({**CF, **beside}).warned
    assert any("is not read" in one for one in told) is held


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"units": {}}, "'no unit'; accepted is hPa"),
        ({"u": [[1.0], [2.0, 3.0]]}, "arrays of"),
        ({"u": [[1.0, 2.0]]}, "a row of levels for each of 2 times"),
        ({"latitude": 10.0}, "km from the site; accepted is 50 km"),
        ({"time": ["yesterday", "now"]}, "is no time"),
        ({"u": [["x", 1.0], [2.0, 3.0]]}, "accepted is a finite number"),
        ({"ugrd": [[1.0, 2.0]] * 2}, "one meaning: u, ugrd"),
        ({"coords": {"pressure": {"data": [900, 800]}}}, "meaning: pressure, pressure"),
    ],
)
def test_arrays_that_cannot_be_used(change, said):
    when = 18 if "u" in change else 19
    with pytest.raises(WindError, match=said):
        _read({**CF, **change}, _at(when))


_OF_WIND = [
    "uas",
    "vas",
    "ua",
    "va",
    "uwnd",
    "vwnd",
    "si10",
    "10si",
    "w",
    "wspd",
    "wspd_10m",
    "wdir",
    "u_component",
    "zonal",
    "meridional",
    "eastward",
    "northward",
    "velocity",
    "ffmax",
    "FXMAX",
    "wg10m",
    "V10max",
    "PEAKWND",
    "maxw",
    "llws",
    "ww",
    "wx",
    "ltng",
    "lli",
    "hail",
    "prob_ts",
    "peak_realtime",
    "sp_max",
    "surface_max",
    "station_max",
    "x_10m",
    "d_10m",
    "level_max_m_s",
    "ceiling",
    "cape",
    "max",
    "value",
    "10m",
]
_OF_NONE = [
    "t2m",
    "2t",
    "d2m",
    "r",
    "q",
    "sp",
    "tp",
    "msl",
    "tcc",
    "temperature_2m",
    "relative_humidity_2m",
    "precipitation_sum",
    "snow_depth",
    "apparent_temperature_max",
    "soil_moisture_0_to_7cm",
    "shortwave_radiation_sum",
    "freezing_level_height",
    "boundary_layer_height",
    "uv_index_clear_sky",
    "et0_fao_evapotranspiration",
    "vapour_pressure_deficit",
    "surface_pressure",
    "cloud_cover_low",
    "is_day",
    "sunshine_duration",
    "_FillValue",
    "missing_value",
    "scale_factor",
    "add_offset",
    "number",
    "valid_time",
    "generationtime_ms",
    "time_local",
    "location_id",
    "elapsed_s",
    "ascent_rate_m_s",
    "x",
    "geopotential",
    "gh",
]


@pytest.mark.parametrize("name", [*_OF_WIND, *_OF_NONE])
def test_figures_of_a_name_that_is_not_known_to_be_harmless_hold(name):
    """As remarks of a report do: no list of what may blow is ever whole."""
    inside = {"data_vars": {name: {"data": [[26.0, 26.0]], "attrs": {"units": "1"}}}}
    answer = {"hourly": {name: [26.0, None]}, "daily": {name: [26.0]}}
    for told in (unread_arrays({name: [26.0]}), unread_arrays(inside)):
        assert (name in " ".join(told)) is (name in _OF_WIND)
    told = " ".join(unread_blocks(answer))
    assert bool(told) is (name in _OF_WIND)
    assert not [*unread_arrays({name: [None]}), *unread_blocks({"hourly": {name: []}})]


@pytest.mark.parametrize("unit", ["m/s", "kn", "km/h", "m s-1"])
def test_what_is_told_in_a_unit_of_speed_is_never_harmless(unit):
    array = {"surface_pressure": {"data": [26.0], "attrs": {"units": unit}}}
    answer = {"hourly": {"rain": [26.0]}, "hourly_units": {"rain": unit}}
    for told in (unread_arrays(array), unread_blocks(answer)):
        assert len([*told]) == 1
    assert not [*unread_blocks({**answer, "hourly_units": {"rain": "mm"}})]
