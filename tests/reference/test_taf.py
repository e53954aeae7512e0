"""Aerodrome forecasts against an independent decoder, `metar-taf-parser-mivek`.

The decoder gives the groups; which of them rules at an hour is picked here by what the
groups mean (WMO FM 51: FM replaces all before it, BECMG is done at its end).
"""

import itertools
import math
from datetime import UTC, datetime

import pytest
from metar_taf_parser.parser.parser import TAFParser

from driftmap.core.units import KNOT
from driftmap.winds.reading import Setting
from driftmap.winds.taf import read_aerodrome_forecast

TAFS = [
    "TAF KXYZ 191130Z 1912/2018 24008KT P6SM SKC FM191600 26010G16KT P6SM FEW040 "
    "FM192200 30020G28KT P6SM SCT050 FM200300 33006KT P6SM SKC",
    "TAF EDXX 191100Z 1912/2012 VRB03KT CAVOK BECMG 1914/1916 23015KT BECMG 1920/1922 "
    "27008KT PROB30 TEMPO 1915/1919 25020G35KT TSRA",
    "TAF AMD CYXX 191340Z 1914/2014 15007MPS 9999 FEW030 FM200200 00000KT 9999 SKC "
    "BECMG 2006/2008 12005G11MPS",
    "TAF COR KABC 191730Z 1918/2024 36099KT P6SM OVC040 TEMPO 1918/1922 02015KT "
    "FM201200 02012KT P6SM BKN200",
]
HOURS = [(19, hour) for hour in (12, 13, 17, 19, 23)] + [
    (20, hour) for hour in (1, 4, 9, 11)
]


def _ruling(text, when):
    """Give the decoder's wind that rules at a time; None while one becomes another."""
    taf = TAFParser().parse(text)
    wind = taf.wind
    for trend in taf.trends:
        kind, span = trend.type.name, trend.validity
        start = datetime(2026, 5, span.start_day, span.start_hour, tzinfo=UTC)
        if kind == "FM" and start <= when:
            wind = trend.wind
        elif kind == "BECMG" and start <= when:
            end = datetime(2026, 5, span.end_day, span.end_hour, tzinfo=UTC)
            if when < end:
                return None
            wind = trend.wind
    return wind


def _compared():
    """Give the forecasts and times at which one wind rules, and the decoder's wind."""
    for (day, hour), text in itertools.product(HOURS, TAFS):
        when = datetime(2026, 5, day, hour, 30, tzinfo=UTC)
        head = TAFParser().parse(text).validity
        begins = datetime(2026, 5, head.start_day, head.start_hour, tzinfo=UTC)
        if when >= begins and (wind := _ruling(text, when)) is not None:
            yield pytest.param(
                text, when, wind, id=f"{day}-{hour}-text{TAFS.index(text)}"
            )


@pytest.mark.parametrize(("text", "when", "theirs"), [*_compared()])
def test_the_wind_that_rules_as_another_decoder_reads_it(text, when, theirs):
    reading = read_aerodrome_forecast(text, "taf", Setting(0.0, when=when, now=when))
    (level,) = reading.levels
    size = {"KT": KNOT, "MPS": 1.0}[theirs.unit]
    assert level.speed == pytest.approx(theirs.speed * size)
    assert level.gust == (
        None if theirs.gust is None else pytest.approx(theirs.gust * size)
    )
    if theirs.degrees is None:
        assert level.direction is None
    else:
        assert math.degrees(level.direction) == pytest.approx(theirs.degrees)


def test_while_one_wind_becomes_another_the_stronger_rules():
    when = datetime(2026, 5, 19, 15, tzinfo=UTC)
    (level,) = read_aerodrome_forecast(TAFS[1], "taf", Setting(0.0, when=when)).levels
    assert level.speed == pytest.approx(15 * KNOT)
    when = datetime(2026, 5, 19, 21, tzinfo=UTC)
    (level,) = read_aerodrome_forecast(TAFS[1], "taf", Setting(0.0, when=when)).levels
    assert level.speed == pytest.approx(15 * KNOT)
