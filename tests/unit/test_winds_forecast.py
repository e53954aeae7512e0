"""The forecast document: levels, members, several times, and what it refuses."""

import json
import math
from datetime import UTC, datetime

import numpy as np
import pytest

from driftmap.air.atmosphere import altitude_of, pressure_height
from driftmap.air.wind import WindProfile
from driftmap.core.errors import WindError
from driftmap.core.units import KNOT
from driftmap.winds.forecast import read_forecast
from driftmap.winds.reading import Setting
from driftmap.winds.saved import wind_document

LOW = {"height_m": 10, "from_deg": 240, "speed_mps": 4.2, "gust_mps": 7.5}
HIGH = {"altitude_ft": 5000, "from_deg": 255, "speed_kt": 22, "temperature_c": 6.5}


LEVEL = {"height_m": 10, "from_deg": 240, "speed_mps": 4.2}
WHEN = datetime(2026, 5, 9, 18, tzinfo=UTC)


def _read(document, when=WHEN, altitude=100.0):
    text = document if isinstance(document, str) else json.dumps(document)
    return read_forecast(text, "f.json", Setting(altitude, when=when))


def test_levels():
    reading = _read(
        {
            "based_on": "2026-05-09T06:00Z",
            "valid": "2026-05-09T18:00Z",
            "levels": [HIGH, LOW],
        }
    )
    low, high = reading.levels
    assert (low.height, low.gust) == (10.0, 7.5)
    assert high.height == pytest.approx(1524.0 - 100.0)
    assert high.speed == pytest.approx(22 * KNOT)
    assert high.temperature == pytest.approx(279.65)
    assert reading.forecast
    assert reading.valid == datetime(2026, 5, 9, 18, tzinfo=UTC)


def test_pressure_levels_below_the_site_are_left_out():
    rows = [
        {"pressure_hpa": 1000, "altitude_m": 50, "from_deg": 0, "speed_mps": 1},
        {"pressure_hpa": 900, "altitude_m": 950, "from_deg": 0, "speed_mps": 2},
    ]
    reading = _read({"levels": rows})
    assert [level.height for level in reading.levels] == [850.0]
    assert any("1 level below the site" in note for note in reading.assumed)


def test_pressure_alone_is_placed_by_the_standard_atmosphere_and_said():
    reading = _read({"levels": [{"pressure_hpa": 850, "from_deg": 0, "speed_mps": 1}]})
    height = altitude_of(pressure_height(85_000.0)) - 100.0
    assert reading.levels[0].height == pytest.approx(height)
    assert any("standard atmosphere" in note for note in reading.assumed)


def test_pressure_alone_is_placed_from_a_level_of_known_height():
    rows = [
        {
            "pressure_hpa": 1000,
            "altitude_m": 150,
            "from_deg": 0,
            "speed_mps": 1,
            "temperature_c": 15,
        },
        {"pressure_hpa": 850, "from_deg": 0, "speed_mps": 1, "temperature_c": 5},
    ]
    reading = _read({"levels": rows})
    expected = 150 + 287.053 * 283.15 / 9.80665 * math.log(1000 / 850) - 100
    assert reading.levels[1].height == pytest.approx(expected, abs=1.0)
    assert not any("standard" in note for note in reading.assumed)


def test_members_are_drawn_one_by_one():
    members = [
        {"levels": [{"height_m": z, "from_deg": d, "speed_mps": 10} for z in (0, 1000)]}
        for d in (90, 270)
    ]
    reading = _read({"members": members})
    assert reading.members.shape == (2, 2, 2)
    assert np.allclose(reading.members[:, 0], [[-10, -10], [10, 10]])
    assert reading.levels[0].speed == pytest.approx(0.0, abs=1e-12)


def test_members_on_different_heights_are_brought_together():
    def member(top):
        return {
            "levels": [
                {"height_m": 0, "from_deg": 270, "speed_mps": 0},
                {"height_m": top, "from_deg": 270, "speed_mps": top / 100},
            ]
        }

    reading = _read({"members": [member(1000), member(2000)]})
    assert [level.height for level in reading.levels] == [0.0, 1000.0]
    assert np.allclose(reading.members[:, 0], [[0, 10], [0, 10]])


def test_members_are_known_only_where_all_of_them_are():
    tall = [{"height_m": z, "from_deg": 270, "speed_mps": 5} for z in (0, 50, 900)]
    short = [{"height_m": z, "from_deg": 270, "speed_mps": 5} for z in (20, 400)]
    reading = _read({"members": [{"levels": tall}, {"levels": short}]})
    assert [level.height for level in reading.levels] == [20.0, 50.0, 400.0]
    with pytest.raises(WindError, match="no heights in common"):
        _read({"members": [{"levels": tall[:1]}, {"levels": short}]})


def test_what_one_member_tells_counts_at_the_common_height_nearest_to_it():
    """A strong wind below or above all others as a gust, and an error that was told as it stands."""
    high = {"height_m": 15, "from_deg": 270, "speed_mps": 2}
    low = {"height_m": 2, "from_deg": 270, "speed_mps": 12, "error_mps": 6}
    aloft = {"height_m": 400, "from_deg": 270, "speed_mps": 5, "error_mps": 3}
    over = {"height_m": 600, "from_deg": 270, "speed_mps": 20}
    both = [
        {"levels": [low, high, aloft, over]},
        {"levels": [high, aloft | {"error_mps": 4}]},
    ]
    ground, top = _read({"members": both}).levels
    assert (ground.height, ground.speed, ground.gust) == (15.0, 2.0, 12.0)
    assert (ground.error, top.error, top.gust) == (6.0, 4.0, 20.0)


@pytest.mark.parametrize("notes", ["thunderstorms from noon", ["wind shift", "old"]])
def test_notes_hold_as_remarks_do(notes):
    said = _read({"levels": [LOW], "notes": notes}).warned
    assert len(said) == (1 if isinstance(notes, str) else 2)


@pytest.mark.parametrize(("shared", "holds"), [({}, 1), ({"notes": "storms"}, 1)])
def test_a_note_of_the_next_hour_holds_once(shared, holds):
    hours = [
        {"valid": f"2026-05-09T{h}:00Z", "levels": [LOW], **told}
        for h, told in ((18, shared), (19, {"notes": "storms"}))
    ]
    when = datetime(2026, 5, 9, 18, 20, tzinfo=UTC)
    said = _read({"forecasts": hours}, when=when).warned
    assert sum("storms" in one for one in said) == holds


def test_a_bad_member_is_named():
    members = [{"levels": [LOW]}, {"levels": [LOW | {"speed_mps": -1}]}]
    with pytest.raises(WindError, match="member 2 level 1: speed -1"):
        _read({"members": members})


def test_the_time_nearest_to_the_flight():
    document = {
        "source": "model",
        "forecasts": [
            {"valid": f"2026-05-09T{h:02d}:00Z", "levels": [LOW | {"speed_mps": h / 2}]}
            for h in (6, 9, 12)
        ],
    }
    document["forecasts"] = [
        d | {"levels": [{k: v for k, v in d["levels"][0].items() if k != "gust_mps"}]}
        for d in document["forecasts"]
    ]
    reading = _read(document, when=datetime(2026, 5, 9, 10, tzinfo=UTC))
    assert reading.levels[0].speed == 4.5
    assert reading.source == "model 2026-05-09 09:00Z"


def _of_times(kind, *rows):
    """One document of several times, each with the wind of its lowest level."""
    each = [
        {
            kind: f"2026-05-09T{time}Z",
            "levels": [LEVEL | wind, LEVEL | {"height_m": 80}],
        }
        for time, wind in rows
    ]
    return {"source": "mast", "forecasts": each}


GALE, TURNED, ALIKE = {"speed_mps": 7.3}, {"from_deg": 90}, {"speed_mps": 7.1}
GUSTY, STORM = {"gust_mps": 7.3}, {"speed_mps": 20.0}
ABOUT = {"from_deg": 60, "speed_mps": 6.9}


@pytest.mark.parametrize(
    ("kind", "rows", "held"),
    [
        ("valid", (("17:30", {}), ("18:30", GALE)), "18:30Z tells 7.3 m/s from 240°"),
        ("valid", (("17:30", GALE), ("18:00", {})), "17:30Z tells 7.3 m/s"),
        ("valid", (("18:00", {}), ("18:30", TURNED)), "18:30Z tells 4.2 m/s from 090°"),
        ("valid", (("18:00", {}), ("18:30", GUSTY)), "18:30Z tells 7.3 m/s"),
        ("valid", (("18:00", {}), ("18:30", ALIKE)), None),
        ("valid", (("18:00", GUSTY), ("18:30", GUSTY)), None),
        # Half way at an hour after the flight: 4.2 m/s and 3.1, or 2.5, more.
        ("valid", (("18:00", {}), ("20:00", {"speed_mps": 10.5})), "20:00Z tells 10.5"),
        ("valid", (("18:00", {}), ("20:00", {"speed_mps": 9.2})), None),
        ("valid", (("17:30", {}), ("20:30", STORM)), "20:30Z tells 20.0 m/s"),
        ("valid", (("15:00", STORM), ("18:30", {})), "15:00Z tells 20.0 m/s"),
        # However far off the next time is, the wind goes over to it.
        ("valid", (("18:00", {}), ("22:00", STORM)), "22:00Z tells 20.0 m/s"),
        ("valid", (("14:00", STORM), ("18:30", {})), "14:00Z tells 20.0 m/s"),
        ("valid", (("18:00", {}), ("20:00", ABOUT)), "20:00Z tells 6.9 m/s from 060°"),
        ("valid", (("18:00", {}), ("18:50", {}), ("21:00", STORM)), None),
        ("read", (("16:00", GALE), ("17:50", {})), "16:00Z tells 7.3 m/s"),
        ("read", (("16:00", TURNED), ("17:50", {})), None),
        ("read", (("16:40", TURNED), ("17:50", {})), "16:40Z tells 4.2 m/s from 090°"),
        ("read", (("14:00", GALE), ("17:50", {})), None),
        ("read", (("17:50", {}), ("18:15", {})), "18:15Z is from after the flight"),
    ],
)
def test_another_wind_of_the_same_source_near_the_flight_holds(kind, rows, held):
    reading = _read(_of_times(kind, *rows))
    assert reading.levels[0].speed == 4.2
    assert len(reading.warned) == (held is not None)
    assert held is None or held in reading.warned[0]


@pytest.mark.parametrize(
    ("now", "then", "held"),
    [
        (4.2, (4.2, 9.0), True),  # one member stronger, the mean by 2.4 m/s
        (4.2, (4.2, 4.2), False),
        ((4.2, 9.0), (4.2, 9.0), False),  # as strong a one is flown
        ((4.2, 4.2, 9.0), (9.0, 9.0, 9.0), True),  # the mean by 3.2 m/s
    ],
)
def test_each_member_of_an_ensemble_has_its_say_for_another_time(now, then, held):
    def wind(speeds):
        rows = [[LEVEL | {"speed_mps": v}] for v in np.atleast_1d(speeds)]
        one = {"levels": rows[0]}
        return {"members": [{"levels": row} for row in rows]} if len(rows) > 1 else one

    times = {"2026-05-09T18:00Z": wind(now), "2026-05-09T18:40Z": wind(then)}
    each = [{"valid": time, **levels} for time, levels in times.items()]
    reading = _read({"source": "model", "forecasts": each})
    assert any("18:40Z tells 9.0 m/s" in text for text in reading.warned) == held


GRID = {
    "valid": "2026-05-09T18:00Z",
    "points": [
        {"latitude": 40.0, "longitude": lon, "levels": [LOW | {"from_deg": bearing}]}
        for lon, bearing in ((-119.0, 90), (-119.25, 180))
    ],
}


def test_the_point_of_a_grid_nearest_to_the_site():
    setting = Setting(100.0, place=(40.0, -119.2))
    reading = read_forecast(json.dumps(GRID), "g.json", setting)
    assert math.degrees(reading.levels[0].direction) == pytest.approx(180.0)
    # 0.05 degrees of longitude at 40 north: 4.3 km.
    assert any("its point is 4 km from the site" in note for note in reading.assumed)


def test_points_that_lie_evenly_about_the_site_are_no_place_twice():
    setting = Setting(100.0, place=(40.0, -119.125))
    assert read_forecast(json.dumps(GRID), "g.json", setting).levels


def test_the_antimeridian_is_no_wall():
    points = [{"latitude": 0.0, "longitude": 179.9, "levels": [LOW]}]
    setting = Setting(0.0, place=(0.0, -179.9))
    reading = read_forecast(json.dumps({"points": points}), "g.json", setting)
    assert any("is 22 km from the site" in note for note in reading.assumed)


@pytest.mark.parametrize(
    ("place", "change", "message"),
    [
        (None, {}, "where the site lies is not known"),
        ((41.0, -119.0), {}, "111 km from the site; accepted is 50 km"),
        ((40.0, -119.0), {"points": [{"latitude": 95, "longitude": 0}]}, "latitude 95"),
        ((40.0, -119.0), {"points": [{"longitude": 0}]}, "point 1: latitude 'None'"),
        ((40.0, -119.0), {"points": []}, "points: must be a list"),
        ((40.0, -119.0), {"levels": [LOW]}, "both levels and points; give one"),
        (
            (40.0, -119.0),
            {"points": GRID["points"] * 2},
            "points: hold one place twice",
        ),
    ],
)
def test_bad_grids(place, change, message):
    with pytest.raises(WindError, match=message):
        read_forecast(json.dumps(GRID | change), "g.json", Setting(0.0, place=place))


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ("{", "line 1, column 2: is not JSON"),
        ("[1]", "must be an object"),
        ('{"source": "", "levels": [], "levels": []}', "key 'levels' stands twice"),
        ('{"levels": [{"height_m": NaN}]}', "height_m: must be a finite number"),
        ("[" * 100_000, "nested too deeply"),
        ({}, "either levels or members"),
        ({"levels": [LOW], "members": []}, "both levels and members; give one"),
        ({"levels": []}, "levels: must be a list of 1"),
        ({"levels": [5]}, "level 1: must be an object"),
        ({"layers": [LOW]}, "unknown key 'layers'; did you mean 'levels'"),
        ({"levels": [LOW | {"speed": 3}]}, "level 1: unknown key 'speed'"),
        ({"levels": [LOW | {"speed_kt": 3}]}, "level 1: both speed_mps and speed_kt"),
        ({"levels": [LOW | {"speed_mps": "4"}]}, "level 1: speed_mps '4'"),
        ({"levels": [LOW | {"speed_mps": True}]}, "level 1: speed_mps 'True'"),
        ({"levels": [LOW | {"speed_mps": None}]}, "level 1: speed_mps 'None'"),
        (
            {"levels": [LOW | {"speed_mps": 400, "gust_mps": None}]},
            "level 1: speed 400",
        ),
        ({"levels": [LOW | {"speed_mps": -1}]}, "level 1: speed -1"),
        ({"levels": [LOW | {"from_deg": 2700}]}, "level 1: direction 2700"),
        ({"levels": [LOW, LOW]}, "level 2: a second level at one height as level 1"),
        ({"levels": [LOW | {"height_m": -3}]}, "level 1: height_m -3 is below"),
        ({"levels": [LOW | {"temperature_c": 400}]}, "level 1: temperature_c 400"),
        ({"levels": [{"from_deg": 1, "speed_mps": 1}]}, "level 1: no height_m"),
        (
            {"levels": [{"pressure_hpa": 9e4, "from_deg": 1, "speed_mps": 1}]},
            "pressure_hpa 90000",
        ),
        ({"levels": [LOW], "valid": "soon"}, "valid: time 'soon'"),
        ({"levels": [LOW], "valid": "2026-05-09T18:00"}, "valid: "),
        ({"levels": [LOW], "source": 7}, "source: must be text"),
        (
            {"members": [{"levels": [LOW | {"from_deg": None}]}] * 2},
            "variable direction",
        ),
        ({"forecasts": [{"levels": [LOW]}] * 2}, "holds 2 reports"),
    ],
)
def test_bad_documents_name_the_level(document, message):
    with pytest.raises(WindError, match=message) as caught:
        _read(document)
    assert "\n" not in str(caught.value)


def test_a_wind_made_by_hand_is_listed_by_its_layers():
    wind = WindProfile([0, 100], [0, 3], [-2, -4], [1, 1], known_to=100.0, source="own")
    rows = wind_document(wind)["levels"]
    assert [(r["from_deg"], r["speed_mps"]) for r in rows] == [
        (0.0, 2.0),
        (pytest.approx(323.130102), 5.0),
    ]


def test_what_was_read_is_no_forecast():
    document = {"read": "2026-05-09T17:50Z", "levels": [LEVEL]}
    reading = _read(document)
    assert (reading.forecast, reading.dated) == (False, True)
    forecast = _read({"valid": "2026-05-09T18:00Z", "levels": [LEVEL]})
    assert (forecast.forecast, forecast.dated) == (True, True)
    assert not _read({"levels": [LEVEL]}).dated
    with pytest.raises(WindError, match="either read, or a forecast"):
        _read(document | {"valid": "2026-05-09T18:00Z"})
