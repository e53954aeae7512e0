"""Station soundings as real packages ship them (tests/data/winds/SOURCES.md).

Rows printed in the files, and one file as `siphon` 0.11.0 decodes it. Heights are
printed to the metre, speeds to the knot or to 0.1 m/s.
"""

import csv
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from driftmap.air.atmosphere import geopotential_of
from driftmap.air.wind import components_from
from driftmap.core.units import KNOT
from driftmap.winds.profile import read_winds
from driftmap.winds.reading import Setting
from driftmap.winds.sounding_list import read_sounding_list

DATA = Path(__file__).parents[1] / "data" / "winds"


@pytest.mark.parametrize(
    ("name", "count", "rows"),
    [
        (
            "list_nashville_2014-02-20.txt",
            80,
            [(180, 180, 10), (302, 186, 17), (610, 200, 33)],
        ),
        (
            "list_melbourne_2010-03-06.txt",
            92,
            [(119, 355, 8), (125, 0, 9), (422, 36, 15)],
        ),
        ("list_hobart_2013-07-09.txt", 49, [(27, 320, 7), (50, 318, 7), (81, 315, 7)]),
    ],
)
def test_rows(name, count, rows):
    reading = read_sounding_list((DATA / name).read_text(), name, Setting(0.0))
    assert len(reading.levels) == count
    for level, (height, bearing, knots) in zip(reading.levels, rows, strict=False):
        assert geopotential_of(level.height) == pytest.approx(height)
        assert math.degrees(level.direction) == pytest.approx(bearing)
        assert level.speed == pytest.approx(knots * KNOT)


NASHVILLE = datetime(2014, 2, 20, 12, 30, tzinfo=UTC)


def test_a_surface_level_just_below_the_site_is_its_ground():
    # Nashville's surface level: 180 m, 180 degrees, 10 kt.
    path = str(DATA / "list_nashville_2014-02-20.txt")
    wind = read_winds([path], site_altitude=200.0, when=NASHVILLE)
    assert wind.levels[0].height == 10.0  # where surface winds are measured
    assert wind.levels[0].speed == pytest.approx(10 * KNOT)
    assert any("20 m below the site taken at the ground" in n for n in wind.assumed)
    higher = read_winds([path], site_altitude=230.0, when=NASHVILLE)
    assert any("1 level below the site (230 m) left out" in n for n in higher.assumed)
    assert higher.levels[0].source.startswith("law from")


def test_a_station_above_the_site_hands_its_surface_wind_down_unweakened():
    path = str(DATA / "list_nashville_2014-02-20.txt")
    wind = read_winds([path], site_altitude=100.0, when=NASHVILLE)
    assert np.hypot(*wind.at([0.0, 10.0, 80.0])) == pytest.approx([10 * KNOT] * 3)
    assert any("below 80 m the wind of sounding BNA" in note for note in wind.assumed)


def test_comma_list_as_another_decoder_reads_it():
    name = "list_norman_1999-05-04.csv"
    reading = read_sounding_list((DATA / name).read_text(), name, Setting(0.0))
    ours = [
        (
            geopotential_of(level.height),
            math.degrees(level.direction),
            level.speed,
            *components_from(level.direction, level.speed),
        )
        for level in reading.levels
    ]
    with (DATA / "list_norman_by_siphon.csv").open() as file:
        theirs = [[float(v) for v in row.values()] for row in csv.DictReader(file)]
    assert np.allclose(ours, theirs, atol=1e-9)


def test_wind_turns_through_north_between_levels():
    # Melbourne turns from 355 over 0 to 36 degrees: nothing in between blows back.
    wind = read_winds(
        [str(DATA / "list_melbourne_2010-03-06.txt")],
        site_altitude=119.0,
        when=datetime(2010, 3, 6, 13, tzinfo=UTC),
    )
    east, north = wind.at(np.linspace(0.0, 300.0, 50))
    assert np.all(north < 0)
    assert np.min(np.hypot(east, north)) > 0.99 * 8 * KNOT


def test_dropsonde_table_is_read_whole():
    path = DATA / "dropsonde_2019-05-16.csv"
    wind = read_winds([str(path)], site_altitude=0.0)
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    rows = rows[np.argsort(rows[:, 0])]
    east, north = wind.at(rows[:, 0])
    assert len(rows) == 624
    assert np.allclose(
        (east, north), components_from(np.radians(rows[:, 1]), rows[:, 2]), atol=1e-9
    )
    assert wind.known_to == rows[-1, 0]
