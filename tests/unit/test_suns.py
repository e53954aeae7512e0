"""The suns that plans are judged by: what each is worst for, held against all hours of a year."""

from datetime import UTC, datetime, timedelta

import pytest

from driftmap.air.convection import convection
from driftmap.air.sun import is_light, sun_height
from driftmap.planning.worst_hours import worst_of_a_year, worst_suns

PLACES = [(41.6, -118.0), (-35.0, 149.0), (60.0, 10.0), (5.0, 0.0)]


@pytest.mark.parametrize("place", PLACES)
def test_no_hour_of_a_year_is_beyond_the_suns_picked(place):
    """No lower sun, no air more or less stirred, no low sun with more stirred air."""

    def stirred(at):
        air = convection(at, *place, None)
        return 0.0 if air is None else air.speed

    noon = datetime(2000, 3, 20, 12, tzinfo=UTC) - timedelta(hours=place[1] / 15)
    low, evening, least, most = worst_of_a_year(noon, place)
    hours = (noon + timedelta(hours=5.0 * n) for n in range(1752))
    for at in (at for at in hours if is_light(at, *place)):
        height, strength = sun_height(at, *place), stirred(at)
        assert height > sun_height(low, *place) - 2
        assert strength < stirred(most) + 0.1
        if height < 8:
            assert strength < stirred(evening) + 0.15
        if height > 8:
            assert strength > stirred(least) - 0.15


def test_a_season_of_one_hour_has_few_suns_and_early_afternoons_stir_most():
    place = PLACES[0]
    noon = datetime(2026, 6, 21, 20, tzinfo=UTC)
    assert len(worst_suns([noon], place)) == 1
    day = [noon + timedelta(minutes=10 * n) for n in range(-18, 18)]
    beside = worst_suns(day, place, noon)
    assert len(beside) == 2
    assert timedelta(hours=1) < beside[1] - noon < timedelta(hours=2)


def test_of_a_month_the_day_counts_that_stirs_most():
    """From July on that is the first one, in spring the last."""
    for month, days in ((10, (1, 2)), (3, (30, 31))):
        hours = [
            datetime(2026, month, day, hour, tzinfo=UTC)
            for day in range(1, 32)
            for hour in (16, 18, 20, 21, 22)
        ]
        assert worst_suns(hours, PLACES[0])[-1].day in days
