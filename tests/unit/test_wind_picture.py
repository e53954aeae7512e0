"""The picture of a wind: what it draws, and that no text in it is live."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from driftmap.air.wind import WindLevel, WindProfile
from driftmap.report.voice import Voice, english, read_catalogue
from driftmap.report.windsketch import wind_page, wind_picture_svg
from driftmap.winds.profile import read_wind

SVG = "{http://www.w3.org/2000/svg}"


def _wind(source="mast", known_to=np.inf):
    levels = (WindLevel(10.0, None, 3.0, 6.0, source),)
    return WindProfile(
        [0, 1000],
        [3, 8],
        [0, 5],
        [1, 2],
        source=source,
        levels=levels,
        known_to=known_to,
    )


@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("top", [50.0, 1000.0, 12_345.0])
def test_well_formed_and_inside_its_frame(top, system):
    root = ET.fromstring(wind_picture_svg(_wind(), top, english(system)))
    _, _, width, height = map(float, root.get("viewBox").split())
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x")) <= width
        assert 0 <= float(text.get("y")) <= height
    (mean,) = [p for p in root.iter(f"{SVG}path") if p.get("class") == "mean"]
    points = np.array([p.split() for p in mean.get("d")[1:].split("L")], dtype=float)
    assert np.all(np.isfinite(points))
    assert points[:, 1].min() == pytest.approx(40.0)
    assert points[:, 1].max() == pytest.approx(370.0)


def test_what_is_not_known_is_shaded():
    assert 'class="beyond"' in wind_picture_svg(
        _wind(known_to=300.0), 1000.0, english("si")
    )
    assert 'class="beyond"' not in wind_picture_svg(_wind(), 1000.0, english("si"))


def test_gust_and_calm_are_shown():
    assert 'class="gust"' in wind_picture_svg(_wind(), 100.0, english("si"))
    calm = WindProfile([0], [0], [0], [1])
    assert ">calm<" in wind_picture_svg(calm, 100.0, english("si"))


def test_every_text_is_escaped():
    bad = "</title><script>alert(1)</script>`${x}` \x07"
    wind = _wind(bad)
    picture = wind_picture_svg(wind, 100.0, english("si"))
    assert "<script" not in picture
    ET.fromstring(picture)
    page = wind_page(wind, 100.0, english("si"))
    assert "<script>alert" not in page
    assert page.count("<script") == 1  # the page's own


@pytest.mark.parametrize("language", ["en", "de", "es", "fr"])
@pytest.mark.parametrize("units", ["us", "si"])
def test_the_page_leads_with_the_wind_as_read_in_both_units(language, units):
    """As on every page: speed, where from, at which height and how old, whatever the units."""
    wind = read_wind("9 mph from 240 gusting 14, 12 min ago", site_altitude=0.0)
    voice = Voice(read_catalogue(language), units)
    text = wind_page(wind, 300.0, voice).replace("\u00a0", " ")
    head = text[text.index("<header") : text.index("<svg xmlns")]
    for speeds in (("9 mph", "14 mph"), ("4.0 m/s", "6.3 m/s")):
        assert all(voice.number(speed) in head for speed in speeds)
    assert head.count("240°") == 2
    assert head.count("12 min") > 2  # once more in its own words


@pytest.mark.parametrize("top", [0.0, -1.0, np.nan, np.inf])
def test_bad_top(top):
    with pytest.raises(ValueError, match="'top'"):
        wind_picture_svg(_wind(), top, english("si"))
