"""Sites read as drawn, and broken ones refused in one line."""

import copy
import dataclasses
import json
import math
from collections.abc import Callable
from pathlib import Path

import pytest
import shapely
from shapely import affinity

from driftmap.core.errors import SiteError
from driftmap.ground.areas import Area, Site, Waiver
from driftmap.ground.geojson import MAX_BYTES
from driftmap.ground.roles import OCCUPIED
from driftmap.ground.site import read_site

SITES = sorted((Path(__file__).parents[2] / "sites").glob("*.geojson"))
FARM = json.loads(
    next(p for p in SITES if p.stem == "larkfold-farm").read_text(encoding="utf-8")
)
NAMES = [f["properties"]["name"] for f in FARM["features"]]
PAD, WAIVER, LAND = map(NAMES.index, ("Pad row", "Waiver", "Larkfold fields"))
LINE, CROWD, CARS = map(NAMES.index, ("Flight line", "Crowd line", "Car park"))
HOUSE, ROAD = map(NAMES.index, ("Farmhouse", "Levee Road"))
AT = (-92.553, 30.091)


@pytest.fixture
def farm() -> dict:
    return copy.deepcopy(FARM)


def write(folder: Path, tree: object) -> Path:
    path = folder / "farm.geojson"
    path.write_text(json.dumps(tree), encoding="utf-8")
    return path


def square(lon: float, lat: float, half: float) -> list:
    return [
        [lon + a * half, lat + b * half]
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    ]


# --- shipped sites -----------------------------------------------------------


@pytest.mark.parametrize("path", SITES, ids=lambda p: p.stem)
def test_shipped_sites_are_sane(path: Path) -> None:
    site = read_site(path)
    assert site.assumed == ()
    people = [area for area in site.areas if area.role in OCCUPIED]
    assert {area.role for area in people} == set(OCCUPIED)
    for area in people:
        assert area.people
        assert site.boundary.covers(area.shape)
        # 200 ft: customary distance for K motors, on the small field
        assert area.shape.distance(shapely.Point(0, 0)) > 200 * 0.3048
    for one, two in zip(people, people[1:], strict=False):
        assert not one.shape.intersects(two.shape)


@pytest.mark.parametrize("path", SITES, ids=lambda p: p.stem)
def test_shipped_rings_wind_as_rfc_7946_wants(path: Path) -> None:
    # RFC 7946, 3.1.6: exteriors counter-clockwise.
    tree = json.loads(path.read_text(encoding="utf-8"))
    shapes = [shapely.geometry.shape(f["geometry"]) for f in tree["features"]]
    polygons = [s for s in shapes if s.geom_type == "Polygon"]
    assert len(polygons) >= 6
    for polygon in polygons:
        assert polygon.is_valid
        assert polygon.exterior.is_ccw


def test_two_sites_are_shipped() -> None:
    assert len(SITES) == 3


# --- what a site gives -------------------------------------------------------


def test_members_and_units(tmp_path: Path, farm: dict) -> None:
    farm |= {
        "elevation": "100 ft",
        "limits": {"any": 1},
        "rules": "club",
        "declination": 2,
    }
    site = read_site(write(tmp_path, farm))
    assert site.elevation == pytest.approx(30.48)
    assert dict(site.limits) == {"any": 1}
    assert site.rules == "club"
    assert site.declination == pytest.approx(math.radians(2))
    assert (site.longitude, site.latitude) == AT
    assert site.source.endswith("farm.geojson")
    assert len(site.digest) == 64
    assert site.waiver.ceiling == pytest.approx(762)
    assert site.waiver.radius == pytest.approx(926)
    assert site.waiver.centre == pytest.approx((0, 0), abs=1e-6)
    crowd = next(area for area in site.areas if area.role == "spectators")
    assert (crowd.people, crowd.shelter) == (45, "open")


def test_name_falls_back_to_the_file(tmp_path: Path, farm: dict) -> None:
    del farm["name"]
    assert read_site(write(tmp_path, farm)).name == "farm"


def test_ceiling_above_sea_level(tmp_path: Path, farm: dict) -> None:
    properties = farm["features"][WAIVER]["properties"]
    del properties["ceiling"]
    properties["ceiling_altitude"] = "1006 m"
    assert read_site(write(tmp_path, farm)).waiver.ceiling == pytest.approx(1000)


def test_circles_err_on_the_safe_side(tmp_path: Path, farm: dict) -> None:
    farm["features"][HOUSE] |= {
        "geometry": {"type": "Point", "coordinates": [AT[0], AT[1] + 0.003]},
        "properties": {"role": "building", "name": "Barn", "radius": "50 m"},
    }
    site = read_site(write(tmp_path, farm))
    barn = next(area for area in site.areas if area.name == "Barn").shape
    east, north = site.to_local(AT[0], AT[1] + 0.003)
    circle = shapely.Point(float(east), float(north)).buffer(50, quad_segs=1000)
    assert barn.buffer(1e-6).covers(circle)
    assert barn.area == pytest.approx(circle.area, rel=1e-3)
    corners = shapely.get_coordinates(site.waiver.shape)
    assert max(math.hypot(*corner) for corner in corners) < 926 + 1e-6


def test_a_road_has_its_width(tmp_path: Path, farm: dict) -> None:
    site = read_site(write(tmp_path, farm))
    road = next(area for area in site.areas if area.role == "road").shape
    del farm["features"][ROAD]["properties"]["width"]
    wide = read_site(write(tmp_path, farm))
    wider = next(area for area in wide.areas if area.role == "road").shape
    # length times width, but for the two half discs at the ends
    assert wider.area / road.area == pytest.approx(10 / 7, rel=2e-3)
    assert any("gives no width; 10 m assumed" in note for note in wide.assumed)


def test_parts_and_holes(tmp_path: Path, farm: dict) -> None:
    ring = farm["features"][LAND]["geometry"]["coordinates"][0]
    hole = square(AT[0] + 0.002, AT[1] + 0.001, 0.0005)[::-1]
    island = square(AT[0] + 0.02, AT[1], 0.001)
    farm["features"][LAND]["geometry"] = {
        "type": "MultiPolygon",
        "coordinates": [[ring, hole], [island]],
    }
    site = read_site(write(tmp_path, farm))
    east, north = site.to_local(AT[0] + 0.002, AT[1] + 0.001)
    assert len(site.boundary.geoms) == 2
    assert not site.boundary.intersects(shapely.Point(float(east), float(north)))


def test_two_boundaries_are_joined(tmp_path: Path, farm: dict) -> None:
    extra = copy.deepcopy(farm["features"][LAND])
    extra["properties"]["name"] = "North field"
    extra["geometry"]["coordinates"] = [square(AT[0], AT[1] + 0.0045, 0.001)]
    before = read_site(write(tmp_path, farm)).boundary
    farm["features"].append(extra)
    after = read_site(write(tmp_path, farm)).boundary
    assert after.buffer(1e-6).covers(before)
    assert after.area > before.area + 1000


def test_clockwise_rings_and_altitudes_are_read(tmp_path: Path, farm: dict) -> None:
    plain = read_site(write(tmp_path, farm)).boundary.area
    ring = farm["features"][LAND]["geometry"]["coordinates"][0]
    ring[:] = [[*p, 12.5] for p in reversed(ring)]
    assert read_site(write(tmp_path, farm)).boundary.area == pytest.approx(plain)


def test_several_pads(tmp_path: Path, farm: dict) -> None:
    away = copy.deepcopy(farm["features"][PAD])
    away["properties"]["name"] = "Away pad"
    away["geometry"]["coordinates"] = [AT[0], AT[1] + 0.001]
    farm["features"].append(away)
    path = write(tmp_path, farm)
    with pytest.raises(SiteError, match=r"2 pads; say which .* 'Pad row', 'Away pad'"):
        read_site(path)
    first, other = (read_site(path, pad=name) for name in ("Pad row", "Away pad"))
    assert first.pad == "Pad row"
    assert (other.pad, other.assumed) == ("Away pad", ())
    assert other.latitude == pytest.approx(AT[1] + 0.001)
    with pytest.raises(SiteError, match="accepted: 'Pad row', 'Away pad'"):
        read_site(path, pad="Far pad")
    away["properties"]["name"] = "Pad row"
    with pytest.raises(SiteError, match="name: stands twice"):
        read_site(write(tmp_path, farm))
    # One without a name is called as pages call it, and is asked for by that.
    del away["properties"]["name"]
    path = write(tmp_path, farm)
    for none in (None, "", "Far pad"):
        with pytest.raises(SiteError, match="'Pad row', 'pad'"):
            read_site(path, pad=none)
    assert read_site(path, pad="pad").latitude == other.latitude


def test_the_nameless_get_names_of_their_own(tmp_path: Path, farm: dict) -> None:
    del farm["features"][CROWD]["properties"]["name"]
    del farm["features"][CARS]["properties"]["name"]
    farm["features"][LINE]["properties"] = {"role": "spectators", "people": 1}
    names = [area.name for area in read_site(write(tmp_path, farm)).areas]
    assert names[:3] == ["spectators", "spectators 2", "parking"]


def test_what_is_assumed_is_told(tmp_path: Path, farm: dict) -> None:
    del farm["features"][CROWD]["properties"]["people"]
    farm["features"][WAIVER]["properties"]["ceiling"] = "800 m"
    farm["features"][HOUSE]["properties"]["stroke"] = "#f00"
    farm["features"][CARS]["geometry"]["coordinates"] = [
        square(AT[0] + 0.02, AT[1], 0.001)
    ]
    told = read_site(write(tmp_path, farm)).assumed
    for part in (
        "head count is not known",
        "keys not read: 'stroke'",
        "parking 'Car park' lies wholly outside the boundary",
    ):
        assert sum(part in note for note in told) == 1
    assert len(told) == 3


def test_what_a_file_says_to_people_is_kept_for_them(
    tmp_path: Path, farm: dict
) -> None:
    """Words under keys that nothing reads; a colour or a mark is no words."""
    farm["description"] = "closed on Sundays"
    farm["generator"], farm["note"] = "ogr2ogr", ["no text", 3]
    farm["features"][HOUSE]["properties"] |= {
        "stroke": "#f00",
        "remark": "ask\nAda first",
    }
    site = read_site(write(tmp_path, farm))
    assert [told.partition("it: ")[2] for told in site.said] == [
        '"closed on Sundays"',
        '"ask Ada first"',
    ]


def test_what_stands_outside_the_properties_is_not_lost(
    tmp_path: Path, farm: dict
) -> None:
    """A head count written one brace too far out would be nobody."""
    farm["features"][HOUSE] |= {"id": 7, "remark": "a school on Saturdays"}
    site = read_site(write(tmp_path, farm))
    (told,) = site.said
    assert "a school on Saturdays" in told
    farm["features"][HOUSE]["people"] = 50
    with pytest.raises(SiteError, match="'people' stands outside 'properties'"):
        read_site(write(tmp_path, farm))


def test_names_are_kept_as_they_are(tmp_path: Path, farm: dict) -> None:
    nasty = "<b>`${x}`</b> {{ 7 }} é 場"
    farm["features"][CROWD]["properties"]["name"] = nasty
    assert nasty in [area.name for area in read_site(write(tmp_path, farm)).areas]


def test_shapes_cut_at_the_far_meridian_are_joined(tmp_path: Path, farm: dict) -> None:
    shift = -180.0 + 0.001 - AT[0]  # the pad 0.001° east of it

    def move(node: list) -> list:
        if isinstance(node[0], list):
            return [move(item) for item in node]
        return [(node[0] + shift + 540) % 360 - 180, node[1]]

    for feature in farm["features"]:
        feature["geometry"]["coordinates"] = move(feature["geometry"]["coordinates"])
    farm["features"] = [farm["features"][i] for i in (PAD, WAIVER, LAND, CROWD)]
    south, north = AT[1] - 0.004, AT[1] + 0.004
    farm["features"][2]["geometry"] = {
        "type": "MultiPolygon",
        "coordinates": [
            [[[179.995, south], [180, south], [180, north], [179.995, north],
              [179.995, south]]],
            [[[-180, south], [-179.994, south], [-179.994, north], [-180, north],
              [-180, south]]],
        ],
    }  # fmt: skip
    (crowd,) = farm["features"][3]["geometry"]["coordinates"]
    whole = shapely.Polygon([((x + 360) % 360, y) for x, y in crowd])
    # Wherever the crowd lies, it is moved onto the meridian and cut there.
    middle = (whole.bounds[0] + whole.bounds[2]) / 2
    whole = affinity.translate(whole, 180 - middle)
    west = whole.intersection(shapely.box(0, -90, 180, 90))
    east = whole.intersection(shapely.box(180, -90, 360, 90))
    farm["features"][3]["geometry"] = {
        "type": "MultiPolygon",
        "coordinates": [
            [[list(c) for c in west.exterior.coords]],
            [[[x - 360, y] for x, y in east.exterior.coords]],
        ],
    }
    site = read_site(write(tmp_path, farm))
    assert site.boundary.covers(shapely.box(-550, -400, 450, 400))
    (people,) = site.areas
    assert people.shape.geom_type == "Polygon"
    side = 111_320.0 * math.cos(math.radians(AT[1]))
    assert people.shape.area == pytest.approx(whole.area * side * 111_100.0, rel=0.01)


# --- bad input ---------------------------------------------------------------

Edit = Callable[[dict], object]


def prop(index: int, key: str, value: object) -> Edit:
    return lambda t: t["features"][index]["properties"].__setitem__(key, value)


def unprop(index: int, key: str) -> Edit:
    return lambda t: t["features"][index]["properties"].pop(key)


def shape(index: int, kind: str, coordinates: object) -> Edit:
    geometry = {"type": kind, "coordinates": coordinates}
    return lambda t: t["features"][index].__setitem__("geometry", geometry)


def member(key: str, value: object) -> Edit:
    return lambda t: t.__setitem__(key, value)


def without(index: int) -> Edit:
    return lambda t: t["features"].pop(index)


def swap(index: int) -> Edit:
    def edit(tree: dict) -> None:
        for p in tree["features"][index]["geometry"]["coordinates"][0]:
            p.reverse()

    return edit


def add(index: int, **properties: object) -> Edit:
    def edit(tree: dict) -> None:
        twin = copy.deepcopy(tree["features"][index])
        twin["properties"] |= properties
        tree["features"].append(twin)

    return edit


BOW = [[AT[0] + x, AT[1] + y] for x, y in ((0, 0), (1, 1), (1, 0), (0, 1), (0, 0))]
FLAT = [[AT[0] + x, AT[1]] for x in (0, 0.1, 0.2, 0)]
OPEN = square(*AT, 0.01)[:-1]
TINY = square(*AT, 1e-7)

BAD: dict[str, tuple[Edit, list[str]]] = {
    # case: edit of a good site, then what the one line must say
    "type": (member("type", "Feature"), ["'FeatureCollection'", "'Feature'"]),
    "no features": (member("features", []), ["features", "[]"]),
    "features no list": (member("features", 7), ["features", "7"]),
    "feature a number": (member("features", [7]), ["feature 1", "'Feature'"]),
    "crs": (
        member("crs", {"type": "name", "properties": {"name": "EPSG:3857"}}),
        ["crs", "CRS84", "EPSG:3857"],
    ),
    "no elevation": (lambda t: t.pop("elevation"), ["elevation", "missing"]),
    "elevation key": (member("elevatoin", 3), ["'elevatoin'", "'elevation'"]),
    "elevation unit": (member("elevation", "6 stone"), ["elevation", "6 stone", "ft"]),
    "elevation -9999": (
        member("elevation", "-9999 m"),
        ["elevation", "-500 to 6000 m"],
    ),
    "elevation bare": (member("elevation", 1234), ["elevation", "its unit", "1234"]),
    "ceiling bare": (prop(WAIVER, "ceiling", 3000), ["ceiling", "its unit", "3000"]),
    "radius bare": (prop(WAIVER, "radius", 1000), ["radius", "its unit", "1000"]),
    "flights of a day": (member("flights_today", 0), ["flights_today", "1 to 10000"]),
    "elevation null": (member("elevation", None), ["elevation", "None"]),
    "limits": (member("limits", [1]), ["limits", "object", "[1]"]),
    "rules": (member("rules", 7), ["rules", "text", "7"]),
    "declination": (member("declination", "90 deg"), ["declination", "60"]),
    "site name": (member("name", ""), ["name", "''"]),
    "no pad": (without(PAD), ["no feature with role pad", "every site needs"]),
    "no spectators": (without(CROWD), ["no feature with role spectators"]),
    "no boundary": (without(LAND), ["no feature with role boundary"]),
    "no waiver": (without(WAIVER), ["no feature with role waiver"]),
    "two waivers": (add(WAIVER, name="Second"), ["one waiver", "got 2"]),
    "no role": (unprop(CROWD, "role"), ["'Crowd line'", "role", "none given"]),
    "role": (prop(LINE, "role", "flight_line"), ["mean 'flight line'", "flight_line"]),
    "role list": (prop(LINE, "role", ["pad"]), ["role", "['pad']", "spectators"]),
    "near key": (prop(CROWD, "poeple", 3), ["Crowd line", "'poeple'", "'people'"]),
    "key with unit": (prop(WAIVER, "radius_m", 3), ["'radius_m'", "'radius'"]),
    "negative people": (prop(CROWD, "people", -1), ["Crowd line", "people", "-1"]),
    "half a person": (prop(CROWD, "people", 2.5), ["people", "whole number", "2.5"]),
    "a point for thousands": (prop(CROWD, "people", "2.000"), ["people", "'2.000'"]),
    "people true": (prop(CROWD, "people", True), ["people", "True"]),
    "people words": (prop(CROWD, "people", "many"), ["people", "'many'"]),
    "people huge": (prop(CROWD, "people", 10**400), ["people"]),
    "shelter": (prop(CARS, "shelter", "tent"), ["shelter", "open, car, roof", "tent"]),
    "width unit": (prop(ROAD, "width", "7 yd"), ["Levee Road", "width", "7 yd", "ft"]),
    "width of a path": (prop(ROAD, "width", "0.3 m"), ["width", "0.3 m is no road"]),
    "width 0": (prop(ROAD, "width", "0 m"), ["width", "more than 0"]),
    "width of polygon": (prop(CROWD, "width", "2 m"), ["width", "no meaning"]),
    "ceiling of camp": (prop(CROWD, "ceiling", "2 m"), ["ceiling", "no meaning"]),
    "people on pad": (prop(PAD, "people", 4), ["Pad row", "people", "no meaning"]),
    "no radius": (unprop(WAIVER, "radius"), ["Waiver", "radius", "missing"]),
    "radius": (prop(WAIVER, "radius", "-1 nmi"), ["radius", "more than 0", "-1 nmi"]),
    "radius list": (prop(WAIVER, "radius", [1]), ["radius", "[1]"]),
    "radius huge": (prop(WAIVER, "radius", "200 km"), ["Waiver", "100 km", "200 km"]),
    "no ceiling": (unprop(WAIVER, "ceiling"), ["ceiling", "ceiling_altitude"]),
    "both ceilings": (
        prop(WAIVER, "ceiling_altitude", "3000 ft"),
        ["either ceiling", "ceiling_altitude"],
    ),
    "ceiling MSL": (
        prop(WAIVER, "ceiling", "8000 ft MSL"),
        ["8000 ft MSL", "ceiling_altitude above sea level"],
    ),
    "ceiling": (prop(WAIVER, "ceiling", "-10 ft"), ["ceiling", "-10 ft"]),
    "duplicate": (prop(CARS, "name", "Crowd line"), ["Crowd line", "name", "twice"]),
    "empty name": (prop(CARS, "name", "  "), ["name", "text"]),
    "bell": (prop(CARS, "name", "a\x07"), ["name", "U+0007"]),
    "right to left": (
        prop(CARS, "name", "a\u202eb"),
        ["name", "turns text about", r"\u202e"],
    ),
    "surrogate": (prop(CARS, "name", "a\ud800"), ["name", "U+D800"]),
    "long name": (prop(CARS, "name", "x" * 81), ["name", "80", "81"]),
    "properties": (
        lambda t: t["features"][2].__setitem__("properties", []),
        ["feature 3", "properties"],
    ),
    "null geometry": (
        lambda t: t["features"][CROWD].__setitem__("geometry", None),
        ["Crowd line", "geometry", "None"],
    ),
    "collection": (shape(CROWD, "GeometryCollection", []), ["GeometryCollection"]),
    "type a list": (shape(CROWD, ["Polygon"], []), ["geometry", "['Polygon']"]),
    "multipoint": (shape(PAD, "MultiPoint", [[1, 2]]), ["MultiPoint", "Polygon"]),
    "pad polygon": (shape(PAD, "Polygon", [square(*AT, 1e-3)]), ["'pad'", "Point"]),
    "line crowd": (shape(CROWD, "LineString", BOW), ["'spectators'", "LineString"]),
    "bow tie": (shape(CROWD, "Polygon", [BOW]), ["Self-intersection", "Crowd line"]),
    "open ring": (shape(CROWD, "Polygon", [OPEN]), ["ring 1", "not closed"]),
    "short ring": (shape(CROWD, "Polygon", [OPEN[:3]]), ["ring 1", "4 or more"]),
    "flat": (shape(CROWD, "Polygon", [FLAT]), ["Crowd line", "polygon must not"]),
    "tiny": (shape(CROWD, "Polygon", [TINY]), ["Crowd line", "1 m² or more"]),
    "no rings": (shape(CROWD, "Polygon", []), ["rings", "[]"]),
    "hole outside": (
        shape(CROWD, "Polygon", [square(*AT, 1e-3), square(0, 0, 1e-3)]),
        ["Crowd line", "Hole lies outside shell"],
    ),
    "no line": (shape(ROAD, "LineString", [list(AT), list(AT)]), ["no length"]),
    "coordinates text": (shape(PAD, "Point", "here"), ["two numbers", "'here'"]),
    "one number": (shape(PAD, "Point", [1.0]), ["two numbers", "[1.0]"]),
    "text number": (shape(PAD, "Point", ["1", "2"]), ["two numbers"]),
    "true": (shape(PAD, "Point", [True, 1]), ["two numbers", "True"]),
    "huge": (shape(PAD, "Point", [10**400, 1]), ["coordinates 1", "at most 1e+15"]),
    "swapped, certain": (swap(CROWD), ["latitude", "-92.55", "swapped?"]),
    "swapped, likely": (
        shape(CROWD, "Polygon", [square(30.09, -82.55, 1e-3)]),
        ["Crowd line", "100 km of the pad", "swapped"],
    ),
    "polar pad": (shape(PAD, "Point", [AT[0], 85]), ["Pad row", "84", "85"]),
    "crosses 180": (
        shape(CROWD, "Polygon", [[[179, 1], [-179, 1], [-179, 2], [179, 1]]]),
        ["180° meridian", "position 1", "3.1.9"],
    ),
    "pad off the land": (
        shape(LAND, "Polygon", [square(AT[0] + 0.01, AT[1], 2e-3)]),
        ["Pad row", "inside the boundary", "771 m outside"],
    ),
    "pad off the waiver": (
        shape(WAIVER, "Point", [AT[0] + 0.02, AT[1]]),
        ["Pad row", "inside the waiver"],
    ),
}


@pytest.mark.parametrize(("edit", "parts"), BAD.values(), ids=BAD)
def test_bad_site_gives_one_clear_line(
    tmp_path: Path, farm: dict, edit: Edit, parts: list[str]
) -> None:
    edit(farm)
    path = write(tmp_path, farm)
    with pytest.raises(SiteError) as caught:
        read_site(path)
    line = str(caught.value)
    assert line.startswith(str(path))
    assert line.isprintable()
    assert len(line) < 700
    for part in parts:
        assert part in line


def test_low_ceiling_above_sea_level(tmp_path: Path, farm: dict) -> None:
    farm["elevation"] = "1000 m"
    unprop(WAIVER, "ceiling")(farm)
    prop(WAIVER, "ceiling_altitude", "900 m")(farm)
    with pytest.raises(SiteError, match="above the site's elevation, 1000 m"):
        read_site(write(tmp_path, farm))


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"", "is empty"),
        (b" \n", "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00", "not text in UTF-8"),
        (b"PK\x03\x04", "line 1, column 1: is not JSON"),
        (b'{"type": ', "not JSON"),
        (b'<?xml version="1.0"?><gpx/>', "is XML, such as GPX or KML"),
        (b"[1, 2]", "'FeatureCollection'"),
        (b'"text"', "'FeatureCollection'"),
        (b'{"type": "FeatureCollection"}', "no 'features'"),
        (b'{"type": "Topology", "objects": {}}', "'Topology'"),
        (b'{"type": "FeatureCollection", "elevation": NaN}', r"elevation: .*\(got nan"),
        (
            b'{"type": "FeatureCollection", "elevation": -Infinity}',
            r"elevation: .*\(got -inf",
        ),
        (b'{"type": "Feature", "type": "FeatureCollection"}', "twice"),
        (b"[" * 100_000, "nested too deeply"),
        (
            b'{"type": "FeatureCollection", "elevation": ' + b"1" * 5000 + b"}",
            "at most 1e",
        ),
    ],
)
def test_no_geojson_gives_one_clear_line(
    tmp_path: Path, data: bytes, part: str
) -> None:
    path = tmp_path / "farm.geojson"
    path.write_bytes(data)
    with pytest.raises(SiteError, match=part) as caught:
        read_site(path)
    assert str(caught.value).startswith(str(path))


def test_infinite_number(tmp_path: Path, farm: dict) -> None:
    text = json.dumps(farm).replace('"6 m"', "1e999")
    path = tmp_path / "farm.geojson"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SiteError, match=r"elevation: must be a finite number"):
        read_site(path)


def test_byte_order_mark_is_no_hindrance(tmp_path: Path, farm: dict) -> None:
    path = tmp_path / "farm.geojson"
    path.write_text(json.dumps(farm), encoding="utf-8-sig")
    assert read_site(path).elevation == 6


def test_missing_file_and_directory(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match="cannot be read"):
        read_site(tmp_path / "none.geojson")
    with pytest.raises(SiteError, match="no ordinary file"):
        read_site(tmp_path)


def test_size_is_looked_at_before_reading(tmp_path: Path) -> None:
    path = tmp_path / "farm.geojson"
    with path.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    with pytest.raises(
        SiteError, match="20,000,001 bytes; accepted: 20,000,000 at most"
    ):
        read_site(path)


# --- records -----------------------------------------------------------------


def test_records_check_themselves() -> None:
    ground = shapely.box(-1e3, -1e3, 1e3, 1e3)
    waiver = Waiver(ground, 1000.0)
    site = Site("s", 0.0, 10.0, 50.0, (), ground, waiver)
    with pytest.raises(ValueError, match="inside the boundary"):
        dataclasses.replace(site, boundary=shapely.box(5, 5, 9, 9))
    with pytest.raises(ValueError, match="ceiling"):
        Waiver(ground, math.nan)
    for broken in (shapely.Polygon(), shapely.Point(0, 0), shapely.Polygon(BOW)):
        with pytest.raises(ValueError, match="shape of 'a' must"):
            Area("a", "camp", broken)
    with pytest.raises(TypeError):
        site.limits["x"] = 1  # type: ignore[index]


@pytest.mark.parametrize("bad", [math.nan, math.inf, 1e9])
def test_projection_refuses_what_is_no_place(bad: float) -> None:
    ground = shapely.box(-1e3, -1e3, 1e3, 1e3)
    site = Site("s", 0.0, 10.0, 50.0, (), ground, Waiver(ground, 1000.0))
    with pytest.raises(ValueError, match="longitude"):
        site.to_local(bad, 50.0)
    with pytest.raises(ValueError, match="finite"):
        site.to_lonlat(0.0, [0.0, bad])


def test_long_edges_stay_straight_in_longitude_and_latitude(
    tmp_path: Path, farm: dict
) -> None:
    # 0.4° along the parallel: its middle bends 15 m poleward from the chord's side.
    lon, lat = AT
    ring = [[lon - 0.2, lat - 0.1], [lon + 0.2, lat - 0.1], [lon + 0.2, lat + 0.1],
            [lon - 0.2, lat + 0.1], [lon - 0.2, lat - 0.1]]  # fmt: skip
    shape(LAND, "Polygon", [ring])(farm)
    site = read_site(write(tmp_path, farm))
    _, middle = site.to_local(lon, lat + 0.1)
    _, corner = site.to_local(lon + 0.2, lat + 0.1)
    assert float(corner - middle) > 10
    edge = site.boundary.intersection(shapely.box(-1, 0, 1, 1e5)).bounds[3]
    assert edge == pytest.approx(float(middle), abs=0.01)
