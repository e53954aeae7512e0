"""Soundings of IGRA version 2: the format's columns, and an independent decoder.

Lines constructed after "Format Description of IGRA 2 Sounding Data Files"; and a real
file as the package `siphon` 0.11.0 decodes it (tests/data/winds/SOURCES.md).
"""

import csv
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from driftmap.air.atmosphere import geopotential_of
from driftmap.air.wind import components_from
from driftmap.core.errors import WindError
from driftmap.winds.igra import read_igra
from driftmap.winds.reading import Setting

DATA = Path(__file__).parents[1] / "data" / "winds"
TEXT = """\
#USM00070026 2014 09 10 00 2302    4 ncdc-nws ncdc-nws  712889 -1567833
21     0 102095B   12B   11B-9999    15    90    36
10    35 100000B  178B    3B-9999    20   100    52
10  1230  50000B 5470B -214B-9999 -8888   255   187
30 -9999  -9999  3048 -9999 -9999 -9999   270   103
"""


def test_constructed_lines():
    reading = read_igra(TEXT, "igra.txt", Setting(0.0))
    assert reading.source == "sounding USM00070026 2014-09-09 23:02Z"
    assert reading.valid == datetime(2014, 9, 9, 23, 2, tzinfo=UTC)
    rows = [
        (
            geopotential_of(level.height),
            math.degrees(level.direction),
            level.speed,
            level.temperature,
        )
        for level in reading.levels
    ]
    expected = [
        (12.0, 90.0, 3.6, 274.25),
        (178.0, 100.0, 5.2, 273.45),
        (3048.0, 270.0, 10.3, None),
        (5470.0, 255.0, 18.7, 251.75),
    ]
    for row, wanted in zip(rows, expected, strict=True):
        assert row[:3] == pytest.approx(wanted[:3])
        assert row[3] == (None if wanted[3] is None else pytest.approx(wanted[3]))


def test_real_file_as_another_decoder_reads_it():
    when = datetime(2010, 6, 1, 0, tzinfo=UTC)
    text = (DATA / "igra_barrow_2010-06.txt").read_text()
    reading = read_igra(text, "igra", Setting(0.0, when=when))
    ours = np.array(
        [
            (
                geopotential_of(level.height),
                math.degrees(level.direction),
                level.speed,
                *components_from(level.direction, level.speed),
            )
            for level in reading.levels
        ]
    )
    with (DATA / "igra_barrow_by_siphon.csv").open() as file:
        rows = [[float(v) for v in row.values()] for row in csv.DictReader(file)]
    theirs = np.array(sorted(rows))  # the file lists its kinds of level apart
    assert len(theirs) == len(ours) == 154
    assert np.allclose(ours[:, 0], theirs[:, 0], atol=1e-6)
    assert np.allclose(ours[:, 1:3], theirs[:, 1:3], atol=1e-9)
    assert np.allclose(ours[:, 3:], theirs[:, 3:], atol=0.0501)  # it rounds to 0.1 m/s


def test_latest_sounding_unless_a_time_is_given():
    text = (DATA / "igra_barrow_2010-06.txt").read_text()
    reading = read_igra(text, "igra", Setting(0.0))
    assert reading.valid == datetime(2010, 6, 1, 11, 0, tzinfo=UTC)
    assert any("last before the flight of 2" in note for note in reading.assumed)


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("2014 09 10 00 2302", datetime(2014, 9, 9, 23, 2, tzinfo=UTC)),
        ("2014 09 10 12 1115", datetime(2014, 9, 10, 11, 15, tzinfo=UTC)),
        ("2014 09 10 12 9999", datetime(2014, 9, 10, 12, 0, tzinfo=UTC)),
        ("2014 09 10 12 1199", datetime(2014, 9, 10, 12, 0, tzinfo=UTC)),
        ("2014 09 10 99 1430", datetime(2014, 9, 10, 14, 30, tzinfo=UTC)),
    ],
)
def test_release_time_or_nominal_hour(head, expected):
    text = TEXT.replace("2014 09 10 00 2302", head)
    assert read_igra(text, "igra.txt", Setting(0.0)).valid == expected


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda text: text.rsplit("\n", 2)[0], "line 1: header counts 4 levels, 3"),
        (lambda text: text[:-6], "line 5: 46 characters, of 51; it is cut short"),
        (lambda text: text.replace("  255   187", " 2550   187"), "line 4: direction"),
        (lambda text: text.replace("   187", "  1870"), "line 4: speed"),
        (lambda text: text.replace("2014 09 10", "2014 13 10"), "line 1: its time"),
        (
            lambda text: text.replace("10 00 2302", "10 99 9999"),
            "line 1: its time: no h",
        ),
        (lambda text: text.replace("  178B", "   12B"), "line 3: a second level"),
        (lambda text: text.replace("2302    4", "2302   x4"), "line 1: header"),
    ],
)
def test_bad_input_names_the_line(change, message):
    with pytest.raises(WindError, match=message):
        read_igra(change(TEXT), "igra.txt", Setting(0.0))
