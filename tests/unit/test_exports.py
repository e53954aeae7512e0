"""Exports, read back by independent readers: what is written is what was assessed."""

import csv
import dataclasses
import io
import json
import math
from xml.etree import ElementTree as ET

import fastkml
import gpxpy
import numpy as np
import pytest
import shapely
from fastkml import utils
from fastkml.features import Placemark
from fastkml.validator import validate
from lxml import etree
from shapely.geometry import shape

from driftmap.hazard.probability import inside, mixture, struck
from driftmap.hazard.squares import hit_cells
from driftmap.report import geojson_csv
from driftmap.report.export_common import place, polygons, sound, statements, title_of
from driftmap.report.geojson_csv import geojson_text
from driftmap.report.kml_gpx import gpx_text, kml_text
from driftmap.rocket.likelihood import LIKELIHOOD
from driftmap.verdict.assessment import CAUTIONS, assess, good_between

KML = "{http://www.opengis.net/kml/2.2}"
GPX = "{http://www.topografix.com/GPX/1/1}"
HOSTILE = (
    "<script>window.hit=1</script>",
    "]]> & &amp; \"q\" 'q'",
    "=1+1",
    "'quoted",
    '@SUM(1,2);"x"',
    "🚀 מגרש השקה",
    "not a character \ufffe",
)


@pytest.fixture(scope="module")
def hostile(demo):
    """The demo with names that break careless writers."""
    areas = tuple(
        dataclasses.replace(hit, area=dataclasses.replace(hit.area, name=name))
        for hit, name in zip(demo.areas, HOSTILE, strict=False)
    )
    assert len(areas) > 4
    flight = demo.flight.model_copy(update={"name": HOSTILE[0]})
    site = dataclasses.replace(
        demo.site, name=HOSTILE[1], areas=tuple(hit.area for hit in areas)
    )
    return dataclasses.replace(demo, flight=flight, site=site, areas=areas)


@pytest.fixture(scope="module")
def collection(demo):
    return json.loads(geojson_text(demo))


def kind(collection, name):
    return [f for f in collection["features"] if f["properties"]["kind"] == name]


def table(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_geojson_geometries_are_valid_and_wind_to_the_right(collection):
    assert collection["features"]
    for feature in collection["features"]:
        read = shape(feature["geometry"])
        assert read.is_valid
        assert not read.is_empty
        for part in shapely.get_parts(read):
            if part.geom_type == "Polygon":
                assert part.exterior.is_ccw
                assert not any(hole.is_ccw for hole in part.interiors)


def test_geojson_says_longitude_first_with_so_many_decimals(collection, demo):
    (pad,) = kind(collection, "pad")
    assert pad["geometry"]["coordinates"] == [demo.site.longitude, demo.site.latitude]
    text = str(kind(collection, "contour")[0]["geometry"]["coordinates"])
    decimals = [
        len(n.split(".")[1])
        for n in text.strip("[]").replace("]", "").replace("[", "").split(", ")
    ]
    assert max(decimals) == 7


def test_geojson_contours_cover_the_ground_that_was_found(collection, demo):
    found = {
        (p["case"], p["piece"], round(p["percent_inside"])): shape(f["geometry"])
        for f in kind(collection, "contour")
        for p in [f["properties"]]
    }
    assert len(found) == 3 * len(demo.cloud.parts)
    for (case, piece), contours in demo.contours.items():
        for contour in contours:
            read = found[case, piece, round(contour.share * 100)]
            back = shapely.transform(
                read, lambda p: np.column_stack(demo.site.to_local(p[:, 0], p[:, 1]))
            )
            # Seven decimals are 1.1 cm; an outline is a few kilometres long.
            assert back.symmetric_difference(contour.shape).area < 0.02 * back.length


def test_geojson_thins_the_landing_points(demo):
    count = len(demo.cloud.parts)
    for most in (0, 1, 7):
        points = kind(json.loads(geojson_text(demo, points=most)), "landing point")
        assert len(points) == most * count


def test_the_cautions_travel_with_every_file(demo):
    texts = {
        "geojson": geojson_text(demo),
        "kml": kml_text(demo).replace("&amp;#x27;", "'"),
        "gpx": gpx_text(demo),
        "csv": geojson_csv.about_csv(demo),
    }
    for name, text in texts.items():
        for caution in CAUTIONS:
            assert caution in text, name
    (pad,) = kind(json.loads(texts["geojson"]), "pad")
    assert pad["properties"]["cautions"] == list(CAUTIONS)
    ends = good_between(demo)
    counts = None if ends is None else ends[1].isoformat()
    assert pad["properties"]["counts_until"] == counts
    assert pad["properties"]["verdict"] == demo.verdict


def test_a_go_in_a_receiver_says_until_when_and_a_no_go_why(demo):
    """A receiver cannot let a go fall to hold: its name says when it does."""
    go = dataclasses.replace(demo, verdict="go")
    ends = good_between(go)
    when = "its wind is read anew" if ends is None else f"{ends[1]:%H:%M}"
    assert title_of(go).startswith("GO until ")
    assert when in title_of(go)
    assert title_of(demo) in gpx_text(demo)
    against = [c.name for c in demo.checks if c.outcome != "pass"]
    assert against
    told = dict(reversed(statements(demo)))
    assert told["not surely kept"].startswith(against[0])
    areas = [c.area for c in demo.checks if c.outcome != "pass" and c.area]
    assert all(any(area in text for _, text in statements(demo)) for area in areas)
    assert when in told["judge anew after"]
    assert "go until" not in told
    assert when in dict(statements(go))["go until"]


def test_a_square_is_as_likely_as_the_hazard_of_its_ground(demo):
    cells = hit_cells(demo.cloud, floor=0.0, size=200.0)
    east, north = cells.corners()
    for i in np.argsort(-cells.estimate)[[0, 5, 40]]:
        # A square holds its lower edges, a shape all of them; points on edges are rare.
        ground = shapely.Polygon(np.column_stack([east[i], north[i]]))
        p = mixture(demo.cloud, struck(demo.cloud, inside(ground)))
        assert cells.estimate[i] == pytest.approx(p.estimate, rel=1e-12)
        assert cells.lower[i] == pytest.approx(p.lower, rel=1e-12)
        assert cells.upper[i] == pytest.approx(p.upper, rel=1e-12)


def test_three_fins_in_one_square_are_one_hit(demo):
    # One square for all: some piece of every flight lands in it.
    cells = hit_cells(demo.cloud, floor=0.0, size=200_000.0)
    assert cells.estimate.max() <= 1 + 1e-12
    assert cells.estimate.sum() >= 1 - 1e-12


def test_the_floor_leaves_out_squares(demo):
    low, high = (hit_cells(demo.cloud, floor=f) for f in (0.0, 0.002))
    assert 0 < high.estimate.size < low.estimate.size
    assert high.estimate.min() >= 0.002
    assert set(high.estimate) == {p for p in low.estimate if p >= 0.002}
    with pytest.raises(ValueError, match="'floor' must lie in 0 to 1"):
        hit_cells(demo.cloud, floor=1.1)
    for size, told in ((1e-3, "more than 1,000,000"), (0.0, "0 m"), (np.nan, "0 m")):
        with pytest.raises(ValueError, match=told):
            hit_cells(demo.cloud, size=size)


def test_kml_is_read_by_another_reader(demo):
    document = fastkml.KML.from_string(kml_text(demo).partition("\n")[2])
    marks = list(utils.find_all(document, of_type=Placemark))
    by_name = {}
    for mark in marks:
        by_name.setdefault(mark.name, mark)
        assert mark.geometry is not None
    pad = by_name[demo.site.pad].geometry
    assert (pad.x, pad.y) == (demo.site.longitude, demo.site.latitude)
    assert {area.name for area in demo.site.areas} <= set(by_name)
    waiver = shape(by_name["waiver"].geometry.__geo_interface__)
    assert waiver.equals(place(demo.site, demo.site.waiver.shape))


def test_kml_coordinates_have_no_blanks_inside_and_colours_eight_digits(demo):
    ground = [demo.site.boundary, demo.site.waiver.shape]
    ground += [hit.area.shape for hit in demo.areas]
    ground += [line.shape for lines in demo.contours.values() for line in lines]
    drawn = shapely.get_coordinates(ground)
    landed = np.hypot(demo.cloud.east, demo.cloud.north).max()
    reach = max(np.hypot(*drawn.T).max(), landed) + 0.1  # seven decimals are 1.1 cm
    root = ET.fromstring(kml_text(demo))
    assert root.attrib["version"] == "2.3"
    for row in root.iter(f"{KML}coordinates"):
        for spot in row.text.split():
            longitude, latitude = map(float, spot.split(","))
            # East is by longitude: swapped, a place would lie half the world away.
            assert np.hypot(*demo.site.to_local(longitude, latitude)) <= reach
    colours = [c.text for c in root.iter(f"{KML}color")]
    assert colours
    assert all(len(c) == 8 and set(c) <= set("0123456789abcdef") for c in colours)


# GPX 1.1 schema, wptType, trkType and metadataType (from memory): order of the elements.
_GPX = {
    "gpx": ("metadata", "wpt", "rte", "trk", "extensions"),
    "metadata": (
        "name",
        "desc",
        "author",
        "copyright",
        "link",
        "time",
        "keywords",
        "bounds",
    ),
    "wpt": (
        "ele",
        "time",
        "magvar",
        "geoidheight",
        "name",
        "cmt",
        "desc",
        "src",
        "type",
    ),
    "trk": (
        "name",
        "cmt",
        "desc",
        "src",
        "link",
        "number",
        "type",
        "extensions",
        "trkseg",
    ),
    "trkseg": ("trkpt",),
    "trkpt": ("ele", "time"),
}


def test_kml_keeps_the_published_schema(demo, hostile):
    """The OGC's own schema of KML 2.2, which fastkml carries; 2.3 adds ``version``."""
    for assessment in (demo, hostile):
        root = etree.fromstring(kml_text(assessment).encode())
        del root.attrib["version"]
        assert validate(element=root)
        root[0].append(root[0][0])  # a name at the end: the schema does see order
        with pytest.raises(AssertionError):
            validate(element=root)


def test_gpx_elements_stand_in_the_order_of_the_schema(demo):
    root = ET.fromstring(gpx_text(demo))
    assert root.attrib["version"] == "1.1"
    assert root.attrib["creator"].startswith("driftmap ")
    for element in root.iter():
        order = _GPX.get(element.tag.removeprefix(GPX))
        if order is not None:
            places = [order.index(child.tag.removeprefix(GPX)) for child in element]
            assert places == sorted(places)


def test_gpx_is_read_by_another_reader(demo):
    read = gpxpy.parse(gpx_text(demo))
    pad, *means = read.waypoints
    assert (pad.longitude, pad.latitude) == (demo.site.longitude, demo.site.latitude)
    assert pad.elevation == pytest.approx(demo.site.elevation, abs=0.05)
    assert len(means) == len(demo.cloud.parts)
    for waypoint, part in zip(means, demo.cloud.parts, strict=True):
        assert waypoint.name == f"{part.case}: {part.body}"
        east, north = demo.site.to_local(waypoint.longitude, waypoint.latitude)
        for at, column in ((east, demo.cloud.east), (north, demo.cloud.north)):
            mean = np.average(column[part.rows], weights=part.weights)
            assert at == pytest.approx(mean, abs=0.02)
    assert len(read.tracks) == 2 + len(demo.areas) + 3 * len(demo.cloud.parts)
    for track in read.tracks:
        for segment in track.segments:
            first, last = segment.points[0], segment.points[-1]
            assert (first.longitude, first.latitude) == (last.longitude, last.latitude)


def test_csv_rows_agree_with_their_headers(demo):
    for text in (
        geojson_csv.about_csv(demo),
        geojson_csv.areas_csv(demo),
        geojson_csv.contours_csv(demo),
        geojson_csv.pieces_csv(demo),
        geojson_csv.points_csv(demo),
        geojson_csv.grid_csv(demo),
    ):
        rows = list(csv.reader(io.StringIO(text, newline="")))
        assert len(rows) > 1
        assert {len(row) for row in rows} == {len(rows[0])}
        assert all(name and not name.startswith("#") for name in rows[0])


def test_csv_points_hold_their_landing(demo):
    rows = table(geojson_csv.points_csv(demo, points=5))
    assert len(rows) == 5 * len(demo.cloud.parts)
    times = set(demo.cloud.time.astype(float).round(1).tolist())
    for row in rows:
        east, north = demo.site.to_local(
            float(row["longitude_deg"]), float(row["latitude_deg"])
        )
        assert east == pytest.approx(float(row["east_m"]), abs=0.07)
        assert north == pytest.approx(float(row["north_m"]), abs=0.07)
        assert float(row["time_s"]) in times


def test_csv_outlines_are_read_as_well_known_text(demo):
    rows = table(geojson_csv.contours_csv(demo))
    for row in rows:
        assert shapely.from_wkt(row["outline_wkt_deg"]).is_valid
    areas = table(geojson_csv.areas_csv(demo))
    assert [row["name"] for row in areas[3:]] == [hit.area.name for hit in demo.areas]


def test_hostile_names_come_back_as_they_were(hostile):
    names = {sound(area.name) for area in hostile.site.areas}
    collection = json.loads(geojson_text(hostile))
    assert {f["properties"]["name"] for f in kind(collection, "area")} == names
    marks = ET.fromstring(kml_text(hostile)).iter(f"{KML}Placemark")
    assert names <= {mark.findtext(f"{KML}name") for mark in marks}
    assert names <= {track.name for track in gpxpy.parse(gpx_text(hostile)).tracks}
    rows = table(geojson_csv.areas_csv(hostile))
    assert names <= {row["name"].removeprefix("'") for row in rows} | {"'quoted"}
    # A spreadsheet takes none of them for a formula.
    assert not [r["name"] for r in rows if r["name"].startswith(("=", "+", "-", "@"))]


def test_hostile_names_cannot_run_in_the_description_that_kml_shows_as_html(hostile):
    root = ET.fromstring(kml_text(hostile))
    shown = root.findtext(f"{KML}Document/{KML}description")
    assert "<script>" not in shown
    assert "&lt;script&gt;" in shown


@pytest.mark.slow  # as maps do
def test_the_same_assessment_gives_the_same_bytes(demo):
    for write in (geojson_text, kml_text, gpx_text, geojson_csv.grid_csv):
        assert write(demo) == write(demo)


def test_a_site_at_the_antimeridian_is_cut_there(demo):
    site = dataclasses.replace(demo.site, longitude=179.999, latitude=-18.0)
    whole = shapely.Point(0, 0).buffer(1000)
    cut = place(site, whole)
    rings = polygons(cut)
    assert len(rings) == 2
    for (outer,) in rings:
        east = [longitude for longitude, _ in outer]
        assert all(-180 <= x <= 180 for x in east)
        assert max(east) - min(east) < 0.02
    metres = math.cos(math.radians(18)) * 111_320**2 * 0.993  # of a square degree there
    assert cut.area * metres == pytest.approx(whole.area, rel=0.01)


def test_characters_no_file_can_hold_are_replaced():
    assert sound("a\x00b\ud800c\ufffed\te\n") == "a\ufffdb\ufffdc\ufffdd\te\n"


@pytest.mark.slow  # as they are briefed
def test_failures_set_to_nothing_are_written_all_the_same(demo):
    every = {c.cause: 0.0 for c in demo.cloud.tree.cases if c.cause in LIKELIHOOD}
    flight = demo.flight.model_copy(update={"cases": every})
    plain = assess(flight, demo.site, demo.wind, samples=500)
    contours = kind(json.loads(geojson_text(plain)), "contour")
    assert len(contours) == 3 * len(plain.cloud.parts)
    assert len(gpxpy.parse(gpx_text(plain)).waypoints) >= 2
