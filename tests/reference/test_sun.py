"""The sun's height against an independent library.

Sources
-------
- astral 3.2 (package registry): sunrise and sunset, for which the upper rim is on the
  horizon. It takes a slightly thicker refraction: 0.04 to 0.05 degrees, 12 to 30 seconds.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from driftmap.formulas.sun import sun_height


@pytest.mark.parametrize(
    ("text", "latitude", "longitude"),
    [
        ("2026-06-13T12:17:19", 41.604, -117.952),
        ("2026-06-13T03:26:19", 41.604, -117.952),
        ("2026-12-21T08:04:04", 51.5, -0.13),
        ("2026-12-21T15:53:06", 51.5, -0.13),
        ("2026-03-20T19:58:58", -33.9, 151.2),
        ("2026-03-20T08:06:46", -33.9, 151.2),
        ("2030-09-01T06:10:35", 64.1, -21.9),
        ("2030-09-01T20:42:37", 64.1, -21.9),
        ("2026-01-15T17:06:31", -41.3, 174.8),
        ("2026-01-15T07:54:12", -41.3, 174.8),
    ],
)
def test_sunrise_and_sunset(text, latitude, longitude):
    when = datetime.fromisoformat(text).replace(tzinfo=UTC)
    assert sun_height(when, latitude, longitude) == pytest.approx(0.0, abs=0.06)


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="zone"):
        sun_height(datetime(2026, 6, 13, 8), 0.0, 0.0)
