"""Layout: the same ground from another pad, rules kept, and hazard ranked."""

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from driftmap.core.errors import SiteError
from driftmap.ground.areas import Area, Site, Waiver
from driftmap.planning import layout, wind_sweep
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.distances import (
    Clearances,
    allowed_ground,
    capacity,
    lattice,
    moved,
    stand_at,
    too_near,
)
from driftmap.planning.layout import Layout, Place, RoseWind, best_pads, best_stands
from driftmap.planning.trial import Trial, flown, judged, pack
from driftmap.report.candidates import held_of as held_by
from driftmap.report.candidates import layout_svg
from driftmap.report.sketches import held_key
from driftmap.report.voice import english
from driftmap.rules.facts import facts_of
from driftmap.rules.reading import read_rules
from driftmap.verdict.judgement import glance
from driftmap.verdict.setup import Setup

FOOT = 0.3048


@pytest.fixture(scope="module")
def site():
    crowd = Area("Crowd", "spectators", shapely.box(-50, -120, 50, -80), people=60)
    return Site(
        name="Field",
        elevation=300.0,
        longitude=-100.0,
        latitude=40.0,
        areas=(crowd,),
        boundary=shapely.box(-600, -600, 600, 600),
        waiver=Waiver(shapely.Point(0, 0).buffer(4000), 2000.0),
        limits={"area_hit": "5 %", "outside_boundary": "60 %"},
        source="field.geojson",
    )


@pytest.fixture(scope="module")
def question(willet, site):
    rose = RoseWind(0.0, 2.0, 3.0), RoseWind(180.0, 2.0, 1.0)
    setup = Setup(willet, site, 200, 2)
    return Layout((setup,), Supposition(300.0), rose, Clearances(distance=100.0))


def test_ground_seen_from_another_pad_is_the_same_ground(saltgrass):
    there = moved(saltgrass, 800.0, -1200.0)
    for mine, other in zip(saltgrass.areas, there.areas, strict=True):
        here = np.array(saltgrass.to_lonlat(*shapely.get_coordinates(mine.shape).T))
        again = np.array(there.to_lonlat(*shapely.get_coordinates(other.shape).T))
        assert np.allclose(here, again, rtol=0, atol=1e-9)  # 0.1 mm
    back = there.to_local(saltgrass.longitude, saltgrass.latitude)
    # The meridians lean together: 1 m over 1.4 km is well beyond it.
    assert np.hypot(back[0] + 800, back[1] - 1200) < 1.0
    assert there.boundary.area == pytest.approx(saltgrass.boundary.area, rel=1e-6)


def test_a_pad_cannot_leave_the_field(site):
    with pytest.raises(ValueError, match="inside the boundary"):
        moved(site, 700.0, 0.0)


def test_candidates_keep_off_people_and_one_is_the_pad(site):
    points = lattice(allowed_ground(site), 50.0)
    assert [0.0, 0.0] in points.tolist()
    assert not shapely.intersects_xy(site.areas[0].shape.buffer(-1), *points.T).any()
    assert shapely.intersects_xy(site.boundary, *points.T).all()
    with pytest.raises(ValueError, match="candidates; accepted are 2,000 at most"):
        lattice(allowed_ground(site), 5.0)


def test_no_free_ground_is_said(site):
    whole = Area("Water", "water", shapely.box(-700, -700, 700, 700))
    full = Site(**{n: getattr(site, n) for n in site.__slots__} | {"areas": (whole,)})
    with pytest.raises(SiteError, match=r"field\.geojson: has no free ground"):
        allowed_ground(full)


def test_a_distance_bars_a_pad_and_names_who_is_near(willet, site):
    near = moved(site, 0.0, -50.0)
    facts = facts_of(willet, near, altitude=400.0)
    floor, text = too_near(Clearances(distance=100.0), near, facts)
    assert text == "Crowd: 30 m from the pad, at least 100 m"
    assert floor.endswith("(Crowd): 30 m, at least 30 m")  # 100 ft, whatever is asked
    assert too_near(Clearances(distance=20.0), near, facts) == (floor,)


def test_the_largest_motor_is_that_of_the_published_table(willet, site):
    """200 ft serves single motors to 2,560 N s; the next row asks 300 ft (NFPA 1127)."""
    keep = Clearances(read_rules(["us-high-power"], source="test"))
    at = shapely.affinity.translate(site.areas[0].shape, 0, 80 - 210 * FOOT)
    # The near edge of the crowd is 210 ft south of the pad; the field is wide enough.
    there = Site(
        **{n: getattr(site, n) for n in site.__slots__}
        | {
            "areas": (Area("Crowd", "spectators", at, people=60),),
            "boundary": shapely.box(-3000, -3000, 3000, 3000),
        }
    )
    room = capacity(keep, willet, there)
    assert room.motor_class == "K"
    assert room.total_impulse == 2560.0
    assert "Crowd" in room.impulse_held_by
    assert room.altitude == there.waiver.ceiling


def test_barred_pads_are_not_flown_and_come_last(question):
    pads = best_pads(question, spacing=200.0)
    barred = [place for place in pads if place.broken]
    assert barred
    assert pads[-len(barred) :] == tuple(barred)
    assert all(place.go == 0.0 for place in barred)
    drawn = [place for place in pads if place.shift == 0]
    assert [(p.east, p.north) for p in drawn] == [(0.0, 0.0)]
    assert "Crowd" in drawn[0].broken[0]


@pytest.mark.slow  # one more search of pads
def test_shares_are_weighed_by_how_often_a_wind_blows(question, monkeypatch):
    """Winds of one speed share their flights, as the rail follows them."""
    fly, speeds = wind_sweep.flown, []

    def counted(setup, wind):
        speeds.append(round(float(np.hypot(*wind.at(10.0))), 3))
        return fly(setup, wind)

    monkeypatch.setattr(wind_sweep, "flown", counted)
    pads = best_pads(question, spacing=300.0)
    assert speeds == [2.0]
    assert {round(p.go, 6) for p in pads} <= {0.0, 0.25, 0.75, 1.0}
    assert list(pads) == sorted(pads, key=Place.order)


def test_what_is_seen_at_a_glance_stands_so_in_the_whole_verdict(question):
    setup, wind = question.setups[0], suppose(question.supposition, 0.0, 2.0)
    cloud, seen = flown(setup, wind), set()
    for east, north in ((0.0, 0.0), (0.0, 300.0), (400.0, -400.0)):
        there = replace(setup, site=moved(setup.site, east, north))
        every = judged(cloud, there, wind).checks
        whole = {(c.kind, c.name, c.case, c.area): c for c in every}
        for check in glance(cloud, there.site, None):
            seen.add(check.outcome)
            same = whole[check.kind, check.name, check.case, check.area]
            assert (same.value, same.interval) == (check.value, check.interval)
            assert check.outcome in {"pass", same.outcome}
    assert seen == {"pass", "warn", "fail"}


def test_a_candidate_has_its_worst_word_by_any_sun(monkeypatch, question):
    """Go by a low sun is not yet go by a high one; what holds is asked no more."""
    supposition = Supposition.over_site(question.site)
    suns = [suppose(sun, 90.0, 3.0).convection for sun in supposition.by_any_sun()]
    holding, asked = {"A": 0, "B": 2}, []

    def judged_at(sites, flights, wind):
        sun = suns.index(flights.air(*wind).convection)
        for name in sites:
            asked.append((name, sun))
            yield Trial("hold" if holding.get(name) == sun else "go")

    monkeypatch.setattr(layout, "_judged_at", judged_at)
    setups, ground = [pack(question.setups[0])], pack(["A", "B", "C"])
    part = 0, RoseWind(90.0, 3.0, 1.0)
    scores = layout._judge_sites(setups, ground, supposition, "", part)
    assert [score.finding for score in scores] == ["hold", "hold", "go"]
    asked_still = [
        (n, s) for s in range(len(suns)) for n in "ABC" if s <= holding.get(n, s)
    ]
    assert asked == asked_still


def test_people_are_moved_whole_and_only_onto_free_ground(question, site):
    places = best_stands(question, "Crowd", spacing=300.0)
    assert places[0].to_people >= 100.0
    for place in places:
        shape = stand_at(site, "Crowd", place.east, place.north).areas[0].shape
        assert site.boundary.covers(shape)
        assert shape.area == pytest.approx(site.areas[0].shape.area)
    drawn = next(p for p in places if p.shift == 0)
    assert (drawn.east, drawn.north) == (0.0, -100.0)


def test_an_unknown_area_is_named_with_those_there_are(question):
    with pytest.raises(SiteError, match="no area is named 'Mob'; accepted: Crowd"):
        best_stands(question, "Mob")


def test_the_picture_says_what_holds_where(site):
    """Each candidate that is held bears a letter, the key below what it stands for."""
    held = [Place(50.0 * i, 0, (), 0.0, 0, 0, "wind", 9.0, 9.0, 0.0) for i in (1, 2)]
    barred = Place(0, 0, ("too near (Crowd): 8 m",), 0, 0, 0, "", 9.0, 9.0, 0.0)
    free = Place(0, 50.0, (), 1.0, 0, 0, "", 9.0, 9.0, 0.0)
    voice = english("us")
    svg = layout_svg(site, [*held, barred, free], 1, voice)
    assert re.findall(r'<text class="held"[^>]*>(\w)<', svg) == ["A", "A", "B"]
    (key,) = held_key([held_by(place, voice) for place in (*held, barred, free)], voice)
    assert "<b>A</b> wind (2×)" in key
    assert "<b>B</b> too near (Crowd) (1×)" in key
    assert held_key([held_by(free, voice)], voice) == []


def test_the_map_escapes_names(site):
    odd = Area("<b>`${x}`", "spectators", shapely.box(100, 100, 150, 150), people=2)
    there = Site(**{n: getattr(site, n) for n in site.__slots__} | {"areas": (odd,)})
    place = Place(0, 0, (), 0.5, 0, 0, "held <i>", 10.0, 10.0, 0.0)
    svg = layout_svg(there, [place], 1, english("us"))
    assert "<b>" not in svg
    assert "<i>" not in svg
    assert "held &lt;i&gt;" in svg
    named = "&lt;b&gt;`${x}`</text>"
    for letters in (13, 30):  # on a wide screen, and on a phone
        assert f'class="called at-{letters}"' in svg
    assert svg.count(named) == 2
