"""No reader drops a strong wind in silence, whatever else is wrong with its report.

A report of each format is given a gale in one place, and any other word of it is damaged as
people and machines damage words: left out, null, a code of what is missing, naught. It is
refused then, or its gale is heard, or something is told for which a verdict holds.
"""

import re
from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driftmap.core.errors import WindError
from driftmap.winds.formats import decode_text
from driftmap.winds.merge import merge
from driftmap.winds.reading import Setting

THEN = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)
SETTING = Setting(1234.0, when=THEN, now=THEN, place=(41.6, -118.0), zone=UTC)
SLOT = "§"
HEARD = 0.7  # of the gale's speed: a gust of it is flown less than whole
BARS = "-" * 41

# The report with a place for each speed, a mild one, a gale, and the gale's speed [m s⁻¹].
REPORTS = {
    "table": (
        "# read 2026-06-13 15:10Z\nheight_ft,from_deg,speed_mph,gust_mph,error_mph\n"
        "7,240,§,§,1\n300,240,§,,1\n1000,245,§,,1\n3000,250,§,,2\n",
        ("4", "60", 26.0),
    ),
    "table by components": (
        "# read 2026-06-13 15:10Z\naltitude_m,u_mps,v_mps\n"
        "1236,§,1\n1334,1,§\n1534,§,2\n2234,2,§\n",
        ("2", "26", 24.0),
    ),
    "forecast": (
        '{"valid": "2026-06-13T15:30Z", "levels": ['
        '{"height_m": 10, "from_deg": 240, "speed_mps": §, "gust_mps": §},'
        '{"height_m": 100, "from_deg": 245, "speed_mps": §, "pressure_hpa": 870},'
        '{"altitude_m": 2234, "from_deg": 245, "speed_mps": §, "pressure_hpa": 770}]}',
        ("3", "26", 26.0),
    ),
    "members": (
        '{"valid": "2026-06-13T15:30Z", "members": ['
        '{"levels": [{"height_m": 10, "from_deg": 240, "speed_mps": §},'
        '{"height_m": 500, "from_deg": 245, "speed_mps": §}]},'
        '{"levels": [{"height_m": 10, "from_deg": 240, "speed_mps": §},'
        '{"height_m": 500, "from_deg": 245, "speed_mps": §}]}]}',
        ("3", "26", 26.0),
    ),
    "answer of a service": (
        '{"latitude": 41.6, "longitude": -118.0, "elevation": 1234,'
        '"utc_offset_seconds": 0, "hourly_units": {"time": "iso8601",'
        '"wind_speed_10m": "m/s", "wind_direction_10m": "°", "wind_gusts_10m": "m/s",'
        '"wind_speed_700hPa": "m/s", "wind_direction_700hPa": "°",'
        '"geopotential_height_700hPa": "m"}, "hourly": {'
        '"time": ["2026-06-13T15:00", "2026-06-13T16:00"],'
        '"wind_speed_10m": [§, §], "wind_direction_10m": [240, 241],'
        '"wind_gusts_10m": [§, §], "wind_speed_700hPa": [§, §],'
        '"wind_direction_700hPa": [250, 251],'
        '"geopotential_height_700hPa": [3110, 3111]}}',
        ("4", "29", 29.0),
    ),
    "arrays": (
        '{"time": ["2026-06-13T15:30Z"], "height": [10, 100, 300, 1900],'
        '"wind_speed": [[§, §, §, §]], "wind_from_direction": [[240, 241, 242, 243]],'
        '"wind_speed_of_gust": [[§, null, null, null]],'
        '"air_temperature": [[20, 19, 17, 15]], "units": {"height": "m",'
        '"wind_speed": "m s-1", "wind_from_direction": "degree",'
        '"air_temperature": "degC", "wind_speed_of_gust": "m s-1"}}',
        ("3", "27", 27.0),
    ),
    "arrays by pressure": (
        '{"time": ["2026-06-13T15:30Z"], "pressure": [870, 850, 800, 700],'
        '"u": [[§, §, §, §]], "v": [[1, 1.5, 2, 2.5]],'
        '"geopotential_height": [[1250, 1450, 1980, 3040]], "units": {'
        '"pressure": "hPa", "u": "m s-1", "v": "m s-1", "geopotential_height": "m"}}',
        ("3", "27", 27.0),
    ),
    "METAR": (
        "METAR KWMC 131515Z 240§G§KT 10SM CLR 12/03 A3002 RMK AO2 PK WND 240§/1500",
        ("05", "50", 24.0),
    ),
    "TAF": (
        "TAF KWMC 131130Z 1312/1412 240§KT P6SM SKC TEMPO 1315/1317 240§G§KT",
        ("08", "50", 24.0),
    ),
    "winds aloft": (
        "DATA BASED ON 131200Z\nVALID 131500Z   FOR USE 1200-1800Z. TEMPS NEG ABV 24000"
        "\n\nFT  6000    9000   12000   18000\n\nWMC 24§+15 24§+12 25§+06 25§-08\n",
        ("08", "50", 24.0),
    ),
    "list": (
        f"72583 WMC Winnemucca Observations at 12Z 13 Jun 2026\n\n{BARS}\n"
        "   PRES   HGHT   TEMP   DWPT   DRCT   SKNT\n"
        f"    hPa     m      C      C    deg   knot\n{BARS}\n"
        "  870.0   1310   15.4   12.7    240     §\n"
        "  850.0   1510   14.4   10.7    242     §\n"
        "  800.0   2010   12.4    8.7    244     §\n"
        "  700.0   3110    5.4    2.7    250     §\n",
        ("08", "50", 24.0),
    ),
    "list with commas": (
        "time,longitude,latitude,pressure_hPa,geopotential height_m,temperature_C,"
        "wind direction_degree,wind speed_m/s\n"
        "2026-06-13 12:00:00,-117.8,40.9, 870.0, 1310, 15.0,240,§\n"
        "2026-06-13 12:01:00,-117.8,40.9, 850.0, 1510, 14.0,242,§\n"
        "2026-06-13 12:05:00,-117.8,40.9, 800.0, 2010, 12.0,244,§\n"
        "2026-06-13 12:09:00,-117.8,40.9, 700.0, 3110, 5.0,250,§\n",
        ("4.0", "26.0", 26.0),
    ),
    "IGRA": (
        "#USM00072583 2026 06 13 12 1100    4 ncdc-nws ncdc-nws  409000 -1178000\n"
        "21  0000  87000B 1310B  154B  700   100   240   §\n"
        "10  0100  85000B 1510B  144B  700   100   242   §\n"
        "10  0300  80000B 2010B  124B  700   100   244   §\n"
        "10  0800  70000B 3110B   54B  700   100   250   §\n",
        (" 40", "260", 26.0),
    ),
    "meter": (
        "# height 2 m\n# zone 00:00\ntime,speed_mph,from_deg,gust_mph\n"
        + "".join(
            f"2026-06-13T15:{m}:00,§,{240 + m % 7},§\n" for m in range(12, 29, 2)
        ),
        ("6.0", "60.0", 26.0),
    ),
    "drift": ("drifted § m toward 60 from 900 m in 120 s, 5 min ago", ("350", "3500", 25.0)),
    "words": ("§ mph from 240, gusts §", ("6", "50", 22.0)),
    "words of a range": (
        "§ to § kt from 230 at 10 m over open land, 5 min ago",
        ("6", "50", 24.0),
    ),
}  # fmt: skip
FIXED = {"list", "IGRA"}  # in columns of characters, which damage keeps in place
WORD = re.compile(r"[^\s,:{}\[\]\"#]+")
DAMAGE = ("", "null", "M", "///", "x", "0", "-999", "-9999", "99999")


def _read(text):
    """Give the strongest wind that is told [m s⁻¹], and what a verdict holds for."""
    readings = decode_text(text, "report", SETTING)
    wind = merge(readings, SETTING)
    held = {*wind.warned, *wind.undated, *(each.told for each in wind.stronger)}
    told = [wind.strongest or 0.0, *np.hypot(wind.east, wind.north)]
    told += [level.peak for reading in readings for level in reading.levels]
    told += [
        float(np.hypot(m[0], m[1]).max())
        for r in readings
        for m in (() if r.members is None else r.members)
    ]
    told += [r.up_to * level.speed for r in readings for level in r.levels]
    return max(told), held


@cache
def _usual(name):
    """Give what a verdict holds for already in the mild report."""
    text, (mild, *_) = REPORTS[name]
    strongest, held = _read(text.replace(SLOT, mild))
    assert strongest < 10
    return held


def _heard(name, text):
    try:
        strongest, held = _read(text)
    except WindError:
        return True
    return strongest > HEARD * REPORTS[name][1][2] or bool(held - _usual(name))


@cache
def _gales(name):
    """Give the report with a gale in each of its places, and the words beside it."""
    text, (mild, gale, _) = REPORTS[name]
    parts = text.split(SLOT)
    found = []
    for k in range(1, len(parts)):
        before, after = mild.join(parts[:k]), mild.join(parts[k:])
        whole, start = before + gale + after, len(before)
        words = [
            m.span()
            for m in WORD.finditer(whole)
            if not m.start() <= start < m.end() and whole[m.end() : m.end() + 2] != '":'
        ]
        found.append((whole, words))
    return found


def _damaged(name, whole, word, damage):
    start, end = word
    if name in FIXED:
        short = damage[: end - start].rjust(end - start)
        return whole[:start] + short + whole[end:]
    return whole[:start] + damage + whole[end:]


@pytest.mark.parametrize("name", REPORTS)
def test_a_gale_is_heard_wherever_it_stands(name):
    gales = _gales(name)
    assert gales
    assert all(_heard(name, whole) for whole, _ in gales), name


@given(st.sampled_from(sorted(REPORTS)), st.sampled_from(DAMAGE), st.randoms())
@settings(max_examples=400)
def test_a_gale_is_heard_beside_a_damaged_word(name, damage, luck):
    whole, words = luck.choice(_gales(name))
    text = _damaged(name, whole, luck.choice(words), damage)
    assert _heard(name, text), text


@pytest.mark.long
@pytest.mark.parametrize("name", REPORTS)
def test_a_gale_is_heard_beside_each_damaged_word(name):
    lost = [
        text
        for whole, words in _gales(name)
        for word in words
        for damage in DAMAGE
        if not _heard(name, text := _damaged(name, whole, word, damage))
    ]
    assert not lost, f"{len(lost)} unheard: {lost[:3]}"
