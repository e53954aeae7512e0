"""Where a compass points, beside an independent library from the registry.

Declinations of the whole model, WMM2025, in the middle of 2026 by pygeomag 1.1.0; and
sums of its coefficients as the file WMM_2025.COF of that package prints them.
"""

import math
from datetime import UTC, datetime

import pytest

from driftmap.formulas.geomagnetism import _MODEL, needle_at
from driftmap.winds.formats import decode, decode_text
from driftmap.winds.reading import Setting

NEVADA = (41.6, -118.0)


@pytest.mark.parametrize(
    ("latitude", "longitude", "declination"),
    [
        (*NEVADA, 12.74),
        (44.5, -69.0, -15.04),
        (47.0, 7.5, 3.36),
        (-35.3, 149.1, 12.63),
        (-30.0, 24.0, -24.78),
        (64.1, -21.9, -11.10),
        (-45.0, 170.0, 25.48),
        (19.4, -99.1, 3.88),
        (-54.8, -68.3, 11.66),
    ],
)
def test_declinations_are_those_of_the_whole_model(latitude, longitude, declination):
    angle, field = needle_at(latitude, longitude, 2026.5)
    assert math.degrees(angle) == pytest.approx(declination, abs=1.0)
    assert 10_000 < field < 45_000


def test_no_coefficient_of_the_model_is_another_than_the_published_one():
    """Degrees 1 to 6, in order: each line counts as often as its number."""
    assert [(n, m) for n, m, *_ in _MODEL] == [
        (n, m) for n in range(1, 7) for m in range(n + 1)
    ]
    sums = [
        sum(i * figure for i, figure in enumerate(column, start=1))
        for column in list(zip(*_MODEL, strict=True))[2:]
    ]
    assert sums == pytest.approx([789.9, -4904.7, -230.1, -97.2], abs=1e-3)


def test_a_needle_at_a_pole_of_the_field_is_no_guide():
    """The north dip pole lay near 85.7° N, 138° E at the beginning of 2025 (from memory)."""
    assert needle_at(85.7, 138.0, 2025.0)[1] < 1000.0


@pytest.mark.parametrize(
    ("told", "asked"),
    [(13.0, False), (9.0, False), (-13.0, True), (59.0, True), (None, False)],
)
def test_a_declination_whose_sign_slipped_is_asked_about(told, asked):
    """And what any magnetic bearing was turned by is told."""
    noon = datetime(2026, 6, 13, 19, tzinfo=UTC)
    angle = None if told is None else math.radians(told)
    setting = Setting(1300.0, when=noon, now=noon, declination=angle, place=NEVADA)
    table = "height_m,from_magnetic_deg,speed_mps\n10,90,3\n"
    true = "5 mph from 90"
    for reading in decode(true, setting):
        assert "magnetic" not in str((reading.warned, reading.assumed))
    if told is None:
        return
    side = f"{abs(told):.1f}° {'east' if told > 0 else 'west'}"
    readings = (*decode(f"{true} magnetic", setting), *decode_text(table, "t", setting))
    for reading in readings:
        assert any(f"turned by {side}" in note for note in reading.assumed)
        doubts = [said for said in reading.warned if "sign or digit" in said]
        assert bool(doubts) == asked
        assert all("13° east" in said for said in doubts)
