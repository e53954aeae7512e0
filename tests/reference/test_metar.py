"""Surface reports: worked examples, and two independent decoders.

Examples: Aeronautical Information Manual and P-304, read in secondary copies. The
decoders are the packages `metar` and `metar-taf-parser-mivek`; where one of them cannot
read a legal group the reason stands beside the case.
"""

import math

import pytest
from metar.Metar import Metar
from metar_taf_parser.parser.parser import MetarParser

from driftmap.core.units import KNOT
from driftmap.winds.metar import read_surface_report
from driftmap.winds.reading import Setting


def _read(wind, rest="10SM CLR 12/M03 A2992"):
    text = f"METAR KXYZ 181955Z {wind} {rest}"
    return read_surface_report(text, "report", Setting(0.0))[0]


@pytest.mark.parametrize(
    ("wind", "direction", "knots", "gust"),
    [
        ("13008KT", 130, 8, None),
        ("08032G45KT", 80, 32, 45),
        ("VRB04KT", None, 4, None),
        ("00000KT", 0, 0, None),
        ("210103G130KT", 210, 103, 130),
        ("32012G22KT 280V350", 320, 12, 22),
        ("21012KT 160V250", 210, 12, None),
        ("33065G105KT", 330, 65, 105),
        ("270112KT", 270, 112, None),
        ("05010MPS", 50, 19.44, None),
        ("27020KMH", 270, 20 / 1.852, None),
        ("270P99KT", 270, 100, None),
        ("27045GP99KT", 270, 45, 100),
        ("270P49MPS", 270, 50 / KNOT, None),
    ],
)
def test_wind_group(wind, direction, knots, gust):
    (level,) = _read(wind).levels
    assert level.height == 10.0
    if direction is None:
        assert level.direction is None
    else:
        assert math.degrees(level.direction) == pytest.approx(direction)
    assert level.speed / KNOT == pytest.approx(knots, abs=5e-3)
    if gust is None:
        assert level.gust is None
    else:
        assert level.gust / KNOT == pytest.approx(gust)


@pytest.mark.parametrize(
    ("group", "hectopascal"),
    [("A2992", 1013.21), ("A3000", 1015.92), ("Q1013", 1013.0)],
)
def test_pressure(group, hectopascal):
    reading = _read("13008KT", f"10SM CLR 12/10 {group}")
    assert reading.pressure / 100 == pytest.approx(hectopascal, abs=5e-3)


WINDS = [
    "24012KT",
    "36005KT",
    "01003KT",
    "22018G31KT 180V250",
    "VRB03KT",
    "00000KT",
    "05010MPS",
    "31007G12MPS",
    "10015G25KT 060V130",
]
REST = ["10SM CLR 12/M03 A2992", "9999 FEW030 M02/M07 Q1021", "CAVOK 25/18 Q0998"]


@pytest.mark.parametrize("rest", REST)
@pytest.mark.parametrize("wind", [*WINDS, "210103G130KT"])
def test_against_metar_package(wind, rest):
    ours, theirs = _read(wind, rest), Metar(f"METAR KXYZ 181955Z {wind} {rest}")
    (level,) = ours.levels
    assert level.speed == pytest.approx(theirs.wind_speed.value("MPS"), abs=1e-3)
    if level.direction is None:
        assert theirs.wind_dir is None
    elif level.speed:
        assert math.degrees(level.direction) == pytest.approx(theirs.wind_dir.value())
    gust = theirs.wind_gust
    assert (level.gust is None) == (gust is None)
    if gust is not None:
        assert level.gust == pytest.approx(gust.value("MPS"), abs=1e-3)
    assert level.temperature == pytest.approx(theirs.temp.value("K"), abs=1e-6)
    # It rounds an inch of mercury to 33.86398 hPa.
    assert ours.pressure / 100 == pytest.approx(theirs.press.value("HPA"), abs=5e-3)


@pytest.mark.parametrize("rest", REST)
@pytest.mark.parametrize("wind", WINDS)  # it drops the third digit of 100 kt and more
def test_against_metar_taf_parser(wind, rest):
    (level,) = _read(wind, rest).levels
    theirs = MetarParser().parse(f"KXYZ 181955Z {wind} {rest}")
    unit = {"KT": KNOT, "MPS": 1.0}[theirs.wind.unit]
    assert level.speed == pytest.approx(theirs.wind.speed * unit)
    if level.direction is None:
        assert theirs.wind.degrees is None
    else:
        assert math.degrees(level.direction) == pytest.approx(theirs.wind.degrees)
    if level.gust is None:
        assert theirs.wind.gust is None
    else:
        assert level.gust == pytest.approx(theirs.wind.gust * unit)
    assert level.temperature - 273.15 == pytest.approx(theirs.temperature)
