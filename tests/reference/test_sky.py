"""Cloud and visibility of surface reports against two independent decoders.

Sources
-------
- metar (package registry): visibility in statute miles.
- metar-taf-parser-mivek (package registry): amounts of cloud layers.
- WMO FM 15: FEW 1 to 2 eighths, SCT 3 to 4, BKN 5 to 7, OVC 8; 9999 is 10 km or more (in
  secondary copies).
"""

import pytest
from metar.Metar import Metar
from metar_taf_parser.parser.parser import MetarParser

from driftmap.winds.sky import cloud_base, cloud_cover, visibility

MOST = {"SKC": 0.0, "CLR": 0.0, "FEW": 2 / 8, "SCT": 4 / 8, "BKN": 7 / 8, "OVC": 1.0}

REPORTS = [
    "KXYZ 131556Z 24008KT 10SM CLR 20/05 A2992",
    "KXYZ 131556Z 24008KT 10SM FEW030 SCT250 20/05 A2992",
    "KXYZ 131556Z 24008KT 1 1/2SM BR BKN005 OVC010 10/09 A2992",
    "KXYZ 131556Z 24008KT 3/4SM FG OVC002 10/09 A2992",
    "KXYZ 131556Z 24008KT 7SM SCT015CB BKN040 20/05 A2992",
    "EGXX 131550Z 24008KT 4000 BR SCT012 12/11 Q1013",
    "EGXX 131550Z 24008KT 9999 FEW040 18/09 Q1013",
    "EGXX 131550Z 24008KT 0800 FG OVC002 12/12 Q1013",
]


@pytest.mark.parametrize("report", REPORTS)
def test_two_decoders_agree(report):
    words = report.split()[2:]
    seen = Metar(report).vis.value("M")
    assert visibility(words) == pytest.approx(seen, rel=2e-4)  # a mile of 1609.344 m
    layers = MetarParser().parse(report).clouds
    amounts = [MOST[layer.quantity.name] for layer in layers] or [0.0]
    assert cloud_cover(words) == max(amounts)
    hidden = [layer.height for layer in layers if layer.quantity.name in {"BKN", "OVC"}]
    told = cloud_base(words)
    assert (told is None) == (not hidden)
    if hidden:
        assert told == pytest.approx(0.3048 * min(hidden), abs=1e-6)


@pytest.mark.parametrize(
    ("words", "cover", "seen"),
    [
        ("24008KT M1/4SM FG VV001", 1.0, 0.0),
        ("24008KT P6SM SCT030", 0.5, 6 * 1609.344),
        ("24008KT CAVOK", None, 10_000.0),  # cloud above 5,000 ft is not told
        ("24008KT 9999 NSC", None, 10_000.0),
        ("24008KT 10SM SKC", 0.0, 10 * 1609.344),
        ("24008KT", None, None),
        ("24008KT 9999 BKN///", 7 / 8, 10_000.0),
        ("24008KT 9999 //////", None, 10_000.0),
        ("24008KT 6000 2000NE FEW010", 2 / 8, 2000.0),
        ("24008KT 9999 R09/0450U FEW010", 2 / 8, 450.0),
        ("24008KT 9999 R24/290050 FEW010", 2 / 8, 10_000.0),  # what lies on the runway
        ("24008KT 9999 R09/P1500 FEW010", 2 / 8, 10_000.0),
    ],
)
def test_bounds_and_what_is_not_told(words, cover, seen):
    assert cloud_cover(words.split()) == cover
    assert visibility(words.split()) == (seen if seen is None else pytest.approx(seen))


@pytest.mark.parametrize(
    ("clouds", "cover", "base"),
    [
        ("///008", None, 800),  # an amount not seen may be any, and hide
        ("///008///", None, 800),
        ("SCT040 ///008", None, 800),
        ("BKN040 ///008", 7 / 8, 800),
        ("///045TCU", None, 4500),
        ("//////", None, None),  # nothing was looked at
    ],
)
def test_a_layer_of_no_told_amount_counts_at_its_height(clouds, cover, base):
    words = f"24008KT 9999 {clouds}".split()
    assert cloud_cover(words) == cover
    told = cloud_base(words)
    assert told == (base if base is None else pytest.approx(0.3048 * base))
