"""The sun's height against published times of equinox, solstice and equation of time.

Equinox 2024-03-20 03:06 UTC, solstices 2024-06-20 20:51 and 2024-12-21 09:20 UTC, and an
equation of time of +16.4 min at the start of November and -14.2 min in mid-February (all
as almanacs print them; from memory).
"""

from datetime import UTC, datetime, timedelta

import pytest

from driftmap.air.sun import sun_height


@pytest.mark.parametrize(
    ("when", "declination"),
    [
        (datetime(2024, 3, 20, 3, 6, tzinfo=UTC), 0.0),
        (datetime(2024, 6, 20, 20, 51, tzinfo=UTC), 23.44),
        (datetime(2024, 12, 21, 9, 20, tzinfo=UTC), -23.44),
    ],
)
def test_seen_from_the_pole_the_height_is_the_declination(when, declination):
    for longitude in (-120.0, 0.0, 95.0):
        assert sun_height(when, 90.0, longitude) == pytest.approx(declination, abs=0.02)


@pytest.mark.parametrize(
    ("day", "minutes"),
    [
        (datetime(2024, 11, 3, tzinfo=UTC), 16.4),
        (datetime(2024, 2, 11, tzinfo=UTC), -14.2),
    ],
)
def test_noon_comes_early_or_late_by_the_equation_of_time(day, minutes):
    noon = max(
        (day + timedelta(hours=11, minutes=m / 4) for m in range(480)),
        key=lambda time: sun_height(time, 40.0, 0.0),
    )
    early = (day + timedelta(hours=12) - noon) / timedelta(minutes=1)
    assert early == pytest.approx(minutes, abs=0.4)


def test_midnight_sun_and_polar_night():
    day = datetime(2024, 6, 21, tzinfo=UTC)
    heights = [sun_height(day + timedelta(hours=h), 70.0, 20.0) for h in range(24)]
    assert min(heights) == pytest.approx(23.44 - 20.0, abs=0.5)
    assert (
        max(
            sun_height(datetime(2024, 12, 21, h, tzinfo=UTC), 70.0, 0.0)
            for h in range(24)
        )
        < 0
    )
