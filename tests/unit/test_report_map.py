"""The map page as text: safe, stable, light, and sealed."""

import json
import re
import subprocess
import sys
from dataclasses import replace
from html import unescape

import numpy as np
import pytest

from driftmap.report import marks
from driftmap.report.map import map_html
from driftmap.report.marks import lookalikes, marks_of
from driftmap.report.page import policy, text_of
from driftmap.report.shapes import on_earth
from driftmap.report.words import in_units_of


@pytest.fixture(scope="module")
def page(demo):
    return map_html(demo, units="us")


def test_same_assessment_gives_the_same_bytes(demo, page):
    assert map_html(demo, units="us") == page


def test_nothing_is_linked_from_outside(page):
    body = page[page.index("</title>") :]
    assert (
        re.findall(
            r"<(?:script|link|img|iframe)\b[^>]*\s(?:src|href)=\"(?!data:)", body
        )
        == []
    )
    assert "url(images/" not in page
    assert "sourceMappingURL" not in page


def test_page_is_light_and_every_part_is_in_it(demo, page):
    assert len(page.encode()) < 1_000_000
    assert (
        len(re.findall(r"<input [^>]*data-piece=", page))
        == len(demo.cloud.parts)
        == len(marks_of(demo))
    )


def test_no_random_id_is_left(page):
    assert not re.search(r"_[0-9a-f]{32}\b", page)


def test_only_the_scripts_in_the_page_may_run(page):
    allowed = set(re.findall(r"'(sha256-[^']+)'", page.replace("&#39;", "'")))
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    found = set(re.findall(r"'(sha256-[^']+)'", policy(scripts)))
    assert len(scripts) == 3
    assert found == allowed


def test_what_was_assumed_and_the_cautions_are_in_the_page(demo, page):
    text = unescape(page)
    for note in demo.assumed:
        told = in_units_of(note, "us")
        assert told in text.replace("\u2068", "").replace("\u2069", "")
    assert "The range safety officer decides." in text
    assert f"seed {demo.cloud.seed}, {demo.cloud.flights:,} flights" in text


def test_the_head_of_a_go_says_who_decides(demo):
    passed = tuple(check for check in demo.checks if check.outcome == "pass")
    go = map_html(replace(demo, verdict="go", checks=passed), units="us")
    head = go[go.index('<header class="verdict">') : go.index("</header>")]
    assert ">GO<" in head
    assert f"All {len(passed)} checks are within limits" in head
    assert "The range safety officer decides." in head


def test_units_change_every_figure(demo):
    si = map_html(demo, units="si")
    body = re.sub(r"<script>.*?</script>|<style>.*?</style>", "", si, flags=re.DOTALL)
    body = unescape(body).replace("\u2068", "").replace("\u2069", "")
    asked = [text for c in demo.checks for text in (c.name, c.source, c.note)]
    # In the words they were given, or those of the rules; a short one may begin a long.
    for note in sorted((*demo.assumed, demo.wind.source, *asked), key=len)[::-1]:
        body = body.replace(note[1:], "") if note else body  # may be capitalised
    # What is read back is so in both systems, where a wrong unit shows.
    body, told = re.subn(r'<p class="note back">.*?</p>', "", body)
    assert told == 1
    assert not re.search(r"\d\s(ft|mph|lbf)\b", body)


def test_reading_words_does_not_import_folium():
    code = "import sys, driftmap.report.map, driftmap.report.terminal; sys.exit('folium' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_two_pieces_on_the_same_ground_are_named(demo):
    marks = [mark for mark, _, _ in marks_of(demo)]
    alike = lookalikes(demo)
    assert alike[0] == ""
    for mark, other in zip(marks, alike, strict=True):
        if other:
            assert marks.index(other) < marks.index(mark)
            assert alike[marks.index(other)] == ""
    # Without its nose cone the rocket comes down as it does when all is well.
    part = next(
        i
        for i, p in enumerate(demo.cloud.parts)
        if (p.case, p.body) == ("nose cone lost", "rocket")
    )
    assert alike[part] == "1"


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("reach", [40.0, 700.0, 3000.0, 12_000.0])
def test_squares_cover_the_ground_and_meet_at_the_pad(units, reach):
    bounds = (-reach, -reach / 2, reach / 3, reach)
    grid = marks.lay_squares(bounds, units)
    assert grid.west <= bounds[0]
    assert grid.south <= bounds[1]
    assert grid.west + grid.columns * grid.size >= bounds[2]
    assert grid.south + grid.rows * grid.size >= bounds[3]
    assert len(grid.letters) == grid.columns
    assert not {"I", "O"} & set(grid.letters)
    assert grid.west / grid.size == pytest.approx(round(grid.west / grid.size))


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("span", [50.0, 46_172.0, 3e6, 2e7])
def test_no_ground_is_too_wide_for_squares(units, span):
    """A high flight or a far area never keeps a verdict from being written."""
    grid = marks.lay_squares((-span, -span / 3, span, span / 2), units)
    assert grid.west <= -span
    assert grid.west + grid.size * grid.columns >= span
    assert max(grid.columns, grid.rows) <= 12
    assert len(grid.letters) == grid.columns


def drawn(page):
    """The views of a page, and every place that its map draws."""
    data = json.loads(re.search(r"const DRIFTMAP = (\{.*?\});\n", page)[1])
    places = re.findall(r"\[(4\d\.\d+), ?(-?1\d\d\.\d+)\]", page)
    return data["views"], np.array(places, float)


@pytest.mark.parametrize("longitude", [179.999, -179.9985])
def test_the_180th_meridian_is_no_line_across_the_world(demo, page, longitude):
    """The page there is that of the site's own meridian, turned about the poles."""
    far = replace(demo, site=replace(demo.site, longitude=longitude))
    (views, places), (far_views, far_places) = map(
        drawn, (page, map_html(far, units="us"))
    )
    by = np.array([0.0, longitude - demo.site.longitude])
    assert far_views.keys() == views.keys()
    for name, corners in views.items():
        assert np.allclose(far_views[name], corners + by, rtol=0, atol=2e-6)
    assert len(places) > 100
    assert np.allclose(far_places, places + by, rtol=0, atol=2e-6)


def test_rings_lie_at_their_distance(demo):
    rings = marks.rings(500.0)
    assert [radius for radius, _ in rings[:2]] == [500.0, 1000.0]
    for radius, around in rings:
        lat, lon = on_earth(demo.site)(around).T
        east, north = demo.site.to_local(lon, lat)
        # Six decimals of a degree are 0.06 m off at most.
        assert np.abs(np.hypot(east, north) - radius).max() < 0.1


def test_the_desk_has_the_signs_of_the_pages():
    """One set of signs: the desk's script draws what the pages' template draws."""
    pages = text_of("signs.html")
    desk = text_of("page/net.js", "driftmap.desk")
    signs = desk.partition("const shapes = {")[2].partition("};")[0]
    paths = re.findall(r'"(M[^"]+)"', signs)
    assert len(paths) > 2
    for path in paths:
        if not path.startswith("M-11 0A11"):  # a circle, which a path draws by two arcs
            assert f'd="{path}"' in pages
