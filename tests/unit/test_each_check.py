"""Each check by itself: a quiet cloud made by hand, in which one thing at a time goes wrong."""

import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import affinity

from driftmap.core.errors import DriftmapError
from driftmap.core.estimate import Estimate, binomial
from driftmap.ground.areas import Area, Site, Waiver
from driftmap.hazard.exposure import danger_of, harm_of
from driftmap.hazard.probability import beyond_reach, never_there
from driftmap.montecarlo.cloud import fly
from driftmap.report.sentences import sentence
from driftmap.report.voice import english
from driftmap.rocket.likelihood import BARE, LIKELIHOOD, WORKS
from driftmap.rules.answers import Answers
from driftmap.rules.jurisdiction import (
    beside_aerodromes,
    near_a_border,
    standing,
)
from driftmap.verdict import consequence_checks, judgement, launch_checks
from driftmap.verdict.check import (
    FAILS,
    OUTCOMES,
    Check,
    Kind,
    at_most,
    compared,
    counted,
    estimated,
    outcome_of,
)
from driftmap.verdict.consequence_checks import (
    by_default,
    lowered_likelihoods,
    under_the_fall,
    with_clear_aim,
)
from driftmap.verdict.limits import LIMITS, SIGNED, show_limit
from driftmap.verdict.people_checks import (
    AreaHit,
    _among_dots,
    _between,
    _known,
    _union,
    area_hits,
    details,
    ground_checks,
    harm_checks,
    people_checks,
)
from driftmap.verdict.rule_checks import facts_flown, position_checks
from driftmap.winds.profile import read_wind

ROOT = Path(__file__).parents[2]
N = 6000
DETAIL = {Kind.LANDS_IN, Kind.LANDS_IN_FAILURE}
CROWD = Area("Crowd", "spectators", shapely.box(-500, -40, -400, 40), people=40)
HOUSE = Area("House", "building", shapely.box(400, 400, 420, 420), people=4)
WIRES = Area("Wires", "power line", shapely.box(-900, 600, 900, 620))
RESERVE = Area("Reserve", "closed ground", shapely.box(700, -400, 720, -380))
POND = Area("Pond", "water", shapely.box(-900, -700, 900, -600))


@pytest.mark.parametrize(
    ("interval", "limit", "outcome"),
    [
        ((0.0, 0.9), 1.0, "pass"),
        ((0.0, 1.0), 1.0, "pass"),
        ((0.0, math.nextafter(1.0, 2.0)), 1.0, "warn"),
        ((1.0, 2.0), 1.0, "warn"),
        ((math.nextafter(1.0, 2.0), 2.0), 1.0, "fail"),
        ((math.nan, 0.5), 1.0, "warn"),
        ((0.5, math.nan), 1.0, "warn"),
        ((math.nan, math.nan), 1.0, "warn"),
        ((0.0, math.inf), 1.0, "warn"),
        ((-math.inf, 0.0), 1.0, "warn"),
    ],
)
def test_a_figure_against_its_limit(interval, limit, outcome):
    lower, upper = interval
    assert at_most(interval, limit) == outcome
    least = replace(LIMITS["rail_speed"], value=-limit)
    mirror = compared(Kind.RAIL_SPEED, 0.0, "", least, interval=(-upper, -lower))
    assert (mirror.outcome, mirror.sense) == (outcome, "least")


def test_the_table_of_kinds_has_a_row_for_each_and_marks_that_its_head_explains():
    lines = (ROOT / "driftmap/verdict/kinds.csv").read_text("utf-8").splitlines()
    rows = [line.split("|") for line in lines if line[0] != "#"]
    assert [row[0] for row in rows] == list(Kind)
    head = " ".join(line for line in lines if line[0] == "#")
    assert {m for row in rows for m in row[4].split()} == {
        *re.findall(r'"(\w+)"', head)
    }


@pytest.mark.parametrize("kind", FAILS)
def test_kinds_that_hold_beyond_their_limit_fail_where_the_figure_is_far_beyond(kind):
    times = FAILS[kind]
    for value, outcome in ((1.0, "pass"), (1.01, "warn"), (9.99, "warn")):
        assert outcome_of(kind, value, (value, value), 1.0) == outcome
    for value in (10.01, 1e9):
        beyond = "warn" if math.isinf(times) else "fail"
        assert outcome_of(kind, value, (value, value), 1.0) == beyond
        assert outcome_of(kind, value, (0.5, value), 1.0) == beyond
    # A figure far beyond counts though its lower end does not lie beyond at all.
    assert outcome_of(kind, 0.0, (0.0, 0.0), 0.0) == "pass"


PAIRS = [(one, other) for one in OUTCOMES for other in OUTCOMES]


@pytest.mark.parametrize("most", ["warn", "fail"])
@pytest.mark.parametrize(("eased", "strict"), PAIRS)
def test_what_only_an_eased_limit_lets_pass_holds(eased, strict, most):
    """And what fails by default likelihoods fails, whatever a file says is rarer."""
    one, other = (
        Check(kind=Kind.CASUALTIES, outcome=outcome, source=source, limit=limit)
        for outcome, source, limit in ((eased, "eased", 2.0), (strict, "own", 1.0))
    )
    (told,) = judgement._capped([one], [other], "a loosened limit", most)
    worst = min(strict, most, key=OUTCOMES.index)
    if OUTCOMES.index(eased) < OUTCOMES.index(worst):
        assert (told.outcome, told.limit, told.source) == (worst, 1.0, "eased")
        assert told.note == "kept only by a loosened limit."
    else:
        assert told == one


def test_flights_that_show_a_limit_kept_and_no_more_than_two_in_a_hundred_above():
    for limit in (0.3, 0.05, 0.01, 0.001):
        least = judgement._alone(limit)
        assert (
            binomial(0, least).upper <= limit < binomial(0, least * 49 // 50 - 1).upper
        )
    need = judgement.Need(500, "x")
    assert not need.warning(500)
    assert "needs 500 flights or more" in need.warning(499)


def test_a_go_of_rockets_launched_together_needs_as_many_times_the_flights(quiet):
    """But for what is asked of one failure by itself."""
    one, three = (
        {n.why: n.flights for n in judgement._needs(quiet, site(CROWD), answers)}
        for answers in (None, Answers(numbers={"rockets_together": 3.0}))
    )
    assert one.keys() == three.keys()
    for why, flights in one.items():
        alone = why.endswith(("alone", "(casualties_if_it_happens)"))
        assert three[why] == pytest.approx((1 if alone else 3) * flights, abs=3), why


def test_a_wind_read_at_the_height_that_the_law_reaches_from_is_near_the_ground():
    def told(height):
        return launch_checks._lowest(SimpleNamespace(read_from=height))

    assert told(launch_checks.NEAR_GROUND) == []
    (check,) = told(math.nextafter(launch_checks.NEAR_GROUND, math.inf))
    assert check.outcome == "warn"


def test_the_guide_tells_the_limits():
    text = (ROOT / "driftmap" / "guide.md").read_text(encoding="utf-8")
    table = text[text.index("| key | default | signed |") :].split("\n\n")[0]
    rows = re.findall(r"`(\w+)` \| ([^|]+?) \| ([^|]+?) \|", table)
    told = {key: default for key, default, _ in rows}
    signed = {key: figure for key, _, figure in rows}
    assert set(told) == set(LIMITS)
    for key, limit in LIMITS.items():
        if limit.value == math.inf:
            assert told[key] == "the rules'"
            continue
        if key in SIGNED:
            furthest = float(show_limit(replace(limit, value=SIGNED[key])).split()[0])
            written = told[key] if signed[key] == "no more" else signed[key]
            number = float(re.match(r"[\d.e-]+", written)[0])
            assert number == pytest.approx(furthest), key
        number = float(re.match(r"[\d.e-]+", told[key])[0])
        assert number == pytest.approx(float(show_limit(limit).split()[0])), key


@pytest.fixture(scope="module")
def wind():
    return read_wind("4 mph from 90", site_altitude=300.0)


@pytest.fixture(scope="module")
def quiet(wind, dunlin):
    """A cloud whose every piece lies gently on open ground, 100 m from the pad."""
    cloud = fly(dunlin, wind, 300.0, samples=N, seed=1)
    still = np.zeros_like(cloud.east)
    way = np.zeros_like(cloud.way)
    way[:, 2] = np.linspace(0, 280, len(way))[:, None]
    return replace(
        cloud,
        east=still + 100.0,
        north=still,
        energy=still + 1.0,
        speed=still + 3.0,
        angle=still + math.pi / 2,
        way=way,
        apogee=replace(cloud.apogee, height=np.full(N, 280.0)),
    )


def site(*areas, flights_today=None, **rest):
    land = shapely.Point(0, 0).buffer(1500, quad_segs=32)
    given = {
        "name": "Test Field",
        "elevation": 300.0,
        "longitude": -100.0,
        "latitude": 40.0,
        "areas": areas or (CROWD, HOUSE, RESERVE, WIRES, POND),
        "boundary": land,
        "waiver": Waiver(land.buffer(500), 900.0),
    }
    return Site(**{**given, **rest}, flights_today=flights_today)


def spoken(cloud, where):
    """The kinds of check that do not pass, without the lines of single areas."""
    harm = harm_of(cloud, where)
    checks = [
        *people_checks(cloud, where, area_hits(cloud, where, {}), LIMITS),
        *harm_checks(cloud, where, harm, LIMITS),
        *ground_checks(cloud, where, LIMITS),
        *under_the_fall(cloud, where),
        *lowered_likelihoods(cloud),
        *position_checks(where),
    ]
    return {c.kind: c for c in checks if c.outcome != "pass" and c.kind not in DETAIL}


def moved(cloud, case, to, share, *, energy=1.0):
    """Put the first body of a share of a case's flights somewhere else."""
    east, north, joules = cloud.east.copy(), cloud.north.copy(), cloud.energy.copy()
    part = next(cloud.of(case))
    rows = np.arange(part.rows.start, part.rows.start + round(share * part.flights))
    east[rows], north[rows], joules[rows] = *to, energy
    return replace(cloud, east=east, north=north, energy=joules)


def test_the_quiet_cloud_is_clear_of_everything(quiet):
    assert spoken(quiet, site()) == {}


@pytest.mark.parametrize(
    ("to", "kind", "unsure", "beyond", "worst"),
    [
        ((-450, 0), Kind.AMONG_PEOPLE, 0.0007, 0.004, "fail"),
        ((-399.9, 0), Kind.AMONG_PEOPLE, 0.0007, 0.004, "fail"),
        ((410, 410), Kind.AMONG_PEOPLE, 0.0007, 0.004, "fail"),
        ((710, -390), Kind.ON_CLEAR_GROUND, 0.0007, 0.004, "fail"),
        ((100, 610), Kind.ON_POWER_LINE, 0.0095, 0.015, "fail"),
        ((100, -650), Kind.IN_WATER, 0.052, 0.07, "warn"),
        ((1600, 0), Kind.OUTSIDE_BOUNDARY, 0.052, 0.07, "fail"),
    ],
)
def test_where_the_planned_landing_must_not_be(quiet, to, kind, unsure, beyond, worst):
    """The middle flight is likely 0.9, so shares are divided by that."""
    works = next(c.probability for c in quiet.tree.cases if c.name == WORKS)
    for share, outcome in ((unsure, "warn"), (beyond, worst)):
        found = spoken(moved(quiet, WORKS, to, share / works), site())
        assert {k: c.outcome for k, c in found.items()} == {kind: outcome}
        assert found[kind].value == pytest.approx(share, rel=0.15)


@pytest.mark.parametrize(
    ("to", "kinds"),
    [
        ((100, 589.8), {Kind.ON_POWER_LINE}),  # the rod that a rocket is reaches 0.32 m
        ((100, 589.6), set()),
        ((100, -599.0), set()),
    ],
)
def test_wires_are_reached_from_ten_metres_and_water_is_not(quiet, to, kinds):
    assert set(spoken(moved(quiet, WORKS, to, 0.2), site())) == kinds


@pytest.mark.parametrize(("away", "hit"), [(24.8, True), (25.4, False)])
def test_wires_catch_what_drifts_over_them_too_low(quiet, away, hit):
    """At as much on as down it meets wires of 25 m as far before its landing.

    Most do: that a few come down steeply counts for nobody else.
    """
    angle = np.full_like(quiet.angle, math.pi / 4)
    angle[::10] = math.pi / 2
    leaning = replace(quiet, angle=angle)
    found = spoken(moved(leaning, WORKS, (100, 620 + away), 0.2), site())
    assert (Kind.ON_POWER_LINE in found) == hit


@pytest.mark.parametrize(("wide", "away", "hit"), [
    (0.01, 19.9, True), (0.01, 20.4, False),  # no narrower than one of no width
    (20.0, 9.9, True), (20.0, 10.4, False), (60.0, 9.9, True), (60.0, 10.4, False),
])  # fmt: skip
def test_a_power_line_told_thin_is_no_thinner(quiet, wide, away, hit):
    line = replace(WIRES, shape=shapely.box(-900, 600, 900, 600 + wide))
    to = (100, 600 - away)
    found = spoken(moved(quiet, WORKS, to, 0.2), replace(site(), areas=(line,)))
    assert (Kind.ON_POWER_LINE in found) == hit


def test_the_flights_that_a_go_needs_are_those_of_its_limits(quiet):
    """Nothing seen in n flights is under 1 - 0.025^(1/n), near 3.69 / n (Clopper-Pearson)."""
    where = site(CROWD, WIRES, POND)
    needs = {need.why: need.flights for need in judgement._needs(quiet, where)}
    assert needs["a share of 0.001 (area_hit)"] == 3689
    bound = LIMITS["area_hit_in_failure"].value
    alone = math.log(0.025) / math.log(1 - bound)
    unjudged = {case.name for case in quiet.tree.cases if case.any_way or case.rare}
    for part in quiet.parts:
        why = f"{bound:.3g} in {part.case!r} alone"
        assert (why in needs) == (part.case not in {WORKS, *unjudged})
        if why in needs:
            wanted = alone * N / part.flights
            assert wanted <= needs[why] <= 1.03 * wanted + N / part.flights + 1
    harm = harm_of(quiet, where)
    for key, upper in (
        ("expected_casualties", harm.casualties.total.upper),
        ("individual_risk", max(spot.risk.upper for spot in harm.spots)),
        (
            "casualties_if_it_happens",
            max(
                harm.if_it_happens[case.name].upper
                for case in quiet.tree.cases
                if not (case.any_way or case.rare)
            ),
        ),
    ):
        limit = LIMITS[key].value
        (found,) = (n for why, n in needs.items() if why.endswith(f"({key})"))
        assert found == pytest.approx(N * upper / limit, rel=0.01, abs=1)
    most = judgement.flights_needed(quiet, where)
    assert most.flights == max(needs.values())
    # What happens to a quarter of the scouts needs four times as many to happen as often.
    seldom = tuple(
        replace(part, flights=N // 4, who=part.who[: N // 4])
        if (part.case, part.flights) == ("nothing deploys", N)
        else part
        for part in quiet.parts
    )
    assert any(part.flights == N // 4 for part in seldom)
    why = f"{bound:.3g} in 'nothing deploys' alone"
    few = (need for need in judgement._needs(replace(quiet, parts=seldom), where))
    assert next(n.flights for n in few if n.why == why) == 4 * math.ceil(alone)
    nobody = site(replace(HOUSE, people=0), WIRES)
    assert [n.flights for n in judgement._needs(quiet, nobody)] == [3689]
    rare = replace(
        quiet.tree,
        cases=tuple(
            replace(case, rare=case.name != WORKS) for case in quiet.tree.cases
        ),
    )
    told = [need.why for need in judgement._needs(replace(quiet, tree=rare), where)]
    assert not [why for why in told if "alone" in why]  # what is not judged needs none
    signed = {"area_hit": "0.2 %", "set_by": "Ada Quill", "set_on": "2026-06-01"}
    eased = replace(nobody, limits=signed)
    for year, flights in ((2026, 1845), (2027, 3689)):  # of the flight's day
        said = Answers(when=datetime(year, 6, 13, 15, 30, tzinfo=UTC))
        assert judgement.flights_needed(quiet, eased, said).flights == flights


def test_the_flights_that_a_go_needs_hang_on_nobody_that_scouts_hit(quiet):
    hit = moved(quiet, WORKS, (-450, 0), 0.5, energy=100.0)
    safe = moved(quiet, WORKS, (9e5, 0), 0.5, energy=100.0)
    assert [*judgement._needs(hit, site())] == [*judgement._needs(safe, site())]


@pytest.mark.parametrize("number", [5, 6])
@pytest.mark.parametrize("apart", [20.0, 90.0])
@pytest.mark.parametrize("rows", [1, 2])  # in a line, or about open ground
def test_six_small_spots_near_each_other_are_one_crowd(number, apart, rows):
    at = [(300 + apart * (i // rows), apart * (i % rows)) for i in range(number)]
    spots = [shapely.box(x, y, x + 5, y + 5) for x, y in at]
    assert len(_among_dots(spots)) == (number == 6)
    for ground in _among_dots(spots):  # it holds what lies between them
        far = at[-1][0]
        assert ground.covers(shapely.box(300, 1, far, 4 if rows == 1 else apart + 4))
    # Some of them far off: not so many lie near each other.
    far = [shapely.box(5e3 * i, 9e3, 5e3 * i + 5, 9e3 + 5) for i in range(3)]
    assert len(_among_dots([*spots[:5], *far])) == 0


@pytest.mark.parametrize(("gap", "joined"), [(29.0, True), (31.0, False)])
def test_ground_between_two_places_of_people_near_each_other_is_theirs(gap, joined):
    one, other = shapely.box(0, 100, 5, 105), shapely.box(5 + gap, 100, 10 + gap, 105)
    ground = _union(tuple(replace(CROWD, shape=s) for s in (one, other)), people=True)
    assert ground.covers(shapely.box(5, 101, 5 + gap, 104)) == joined
    assert ground.covers(one.union(other))


@pytest.mark.parametrize(
    ("expected", "outcome"),
    [((0.2, 0.3), "pass"), ((0.5, 1.5), "warn"), ((1.1, 1.9), "fail")],
)
def test_casualties_surely_beyond_their_yardstick_fail_at_once(expected, outcome):
    limit = LIMITS["expected_casualties"]
    low, high = (limit.value * times for times in expected)
    p = Estimate((low + high) / 2, low, high, 9, 1000)
    found = estimated(Kind.CASUALTIES, p, limit, unit="per flight")
    assert found.outcome == outcome


@pytest.mark.parametrize(
    ("role", "people", "told"),
    [("spectators", 9, 2), ("building", 0, 1), ("water", None, 0), ("power line", None, 0)],
)  # fmt: skip
def test_of_one_area_is_told_what_is_judged_of_all(quiet, role, people, told):
    one = site(replace(CROWD, role=role, people=people))
    (hit,) = area_hits(quiet, one, {})
    assert len(details(hit, LIMITS, {"nothing deploys"})) == told


def test_a_hurtful_piece_outside_counts_before_a_light_one(quiet):
    share = 0.02
    light = spoken(moved(quiet, WORKS, (1600, 0), share), site())
    heavy = spoken(moved(quiet, WORKS, (1600, 0), share, energy=40.0), site())
    assert light == {}
    assert {k: c.outcome for k, c in heavy.items()} == {Kind.HURTFUL_OUTSIDE: "fail"}


def test_outside_the_waiver_is_held_apart_from_outside_the_land(quiet):
    wide = site(boundary=shapely.Point(0, 0).buffer(5000))
    found = spoken(moved(quiet, WORKS, (2500, 0), 0.02), wide)
    assert {k: c.outcome for k, c in found.items()} == {Kind.OUTSIDE_WAIVER: "fail"}


@pytest.mark.parametrize("to", [(-450, 0), (410, 410)])
def test_a_failure_is_taken_as_certain(quiet, to):
    """Light pieces, so that nothing else speaks: 10 % of one failure is 0.3 % of flights."""
    kind = Kind.AMONG_PEOPLE_IN_FAILURE
    gone = moved(quiet, "nothing deploys", to, 0.10)
    found = spoken(gone, site())
    assert found[kind].outcome == "fail"
    assert found[kind].case == "nothing deploys"
    few = spoken(moved(quiet, "nothing deploys", to, 0.02), site())
    assert kind not in few


@pytest.mark.parametrize("role", ["building", "road", "railway", "airport", "camp"])
def test_a_crowd_cut_by_role_is_one_crowd(quiet, role):
    """Half of what is too much on either, however the other is called; an empty one is none."""
    other = replace(HOUSE, role=role, people=None)
    cloud = moved(quiet, "nothing deploys", (-450, 0), 0.035)
    part = next(cloud.of("nothing deploys"))
    rows = slice(part.rows.stop - round(0.035 * part.flights), part.rows.stop)
    cloud.east[rows], cloud.north[rows], cloud.energy[rows] = 410.0, 410.0, 1.0
    kind = Kind.AMONG_PEOPLE_IN_FAILURE
    assert spoken(cloud, site(CROWD, other))[kind].outcome == "fail"
    if role != "camp":
        assert kind not in spoken(cloud, site(CROWD, replace(other, people=0)))


@pytest.mark.parametrize(("apart", "counts"), [(1.6, True), (0.6, False)])
def test_ground_between_people_counts_unless_they_reach_all_of_it(quiet, apart, counts):
    """Fifty square metres of it, where none is left beyond a foot on either side."""
    one = replace(CROWD, name="One", shape=shapely.box(-500, 0, -450, 20))
    other = replace(
        one, name="Other", shape=affinity.translate(one.shape, 0, 20 + apart)
    )
    ground = _union((one, other), people=True)
    assert (_between(quiet, site(one, other), ground) is not None) == counts


def test_a_road_round_a_field_is_no_crowd_on_it():
    ring = shapely.box(200, 200, 900, 900).boundary.buffer(5)
    for role, filled in (("road", False), ("railway", False), ("camp", True)):
        ground = _union((CROWD, Area("Ring", role, ring)), people=True)
        assert ground.contains(shapely.Point(550, 550)) == filled
        assert ground.covers(ring.union(CROWD.shape))
    manned = Area("Ring", "road", ring, people=50)
    assert _union((manned,), people=True).contains(shapely.Point(550, 550))
    assert _union(()).is_empty


def test_a_road_drawn_in_dashes_is_a_road_and_its_verge_lies_among_houses():
    whole, house = shapely.box(100, -10, 110, 410), shapely.box(130, 0, 140, 10)
    dashes = [shapely.box(100, y, 110, y + 10) for y in range(-10, 405, 35)]
    drawn = Area("Road", "road", shapely.union_all(dashes))
    assert _union((drawn,), people=True).area > 0.9 * whole.area
    both = (Area("House", "building", house), Area("Road", "road", whole))
    assert _union(both, people=True).covers(shapely.Point(120, 5))


def test_the_worst_spot_is_known_no_better_than_that_of_any_place(quiet):
    """However its people are sheltered: more spots were looked at over wide ground."""
    wide = Area("Cars", "parking", shapely.box(-900, 100, 0, 900), 9, "car")
    harm = harm_of(quiet, site(CROWD, wide))
    assert len({spot.risk.upper for spot in harm.spots}) == 2
    assert harm.worst.risk.upper >= max(spot.risk.upper for spot in harm.spots)


def test_what_lands_beside_people_counts_for_who_stands_at_the_edge(quiet):
    """A spot is judged by what comes down in the square about it, the crowd's edge within."""
    beside, inside = (
        harm_of(moved(quiet, "nothing deploys", (x, 0), 0.5, energy=500), site()).worst
        for x in (-398.0, -420.0)
    )
    assert beside.risk.estimate == pytest.approx(inside.risk.estimate, rel=0.01)


def test_what_harms_nobody_bounds_what_was_not_seen_only_where_all_else_does_so(quiet):
    """A large canopy that lands gently does not stand for the most that a flight could do."""
    (part,) = quiet.of(WORKS)
    assert danger_of(quiet).peaks[WORKS, part.body] > 0
    hard = replace(quiet, energy=quiet.energy + 1000.0)
    hard.energy[part.rows] = 1.0
    assert danger_of(hard).peaks[WORKS, part.body] == 0
    assert danger_of(hard).gentle == {WORKS}


def test_better_figures_of_places_bound_that_of_all_of_them():
    """As many hits as the sum of theirs at the most, and as that of one at the least."""
    plain = Estimate(0.002, 0.001, 0.004, 12, N)
    one, two = (
        Estimate(0.0005, 0.0004, 0.0006, 9, N),
        Estimate(0.0003, 0.0, 0.001, 1, N),
    )
    hits = [AreaHit(CROWD, each, {}) for each in (one, two)]
    empty = replace(HOUSE, people=0)
    hits.append(AreaHit(empty, Estimate(0.1, 0.1, 0.1, 600, N), {}))
    told = _known(hits, plain, None)
    assert (told.lower, told.estimate) == (0.0004, pytest.approx(0.0008))
    assert told.upper == pytest.approx(0.0016)
    assert _known(hits, plain, Estimate(0.001, 0.0, 0.003, 3, N)) == plain


def test_an_empty_house_is_no_crowd(quiet):
    empty = replace(HOUSE, people=0)
    gone = moved(quiet, "nothing deploys", (410, 410), 0.10)
    assert Kind.AMONG_PEOPLE_IN_FAILURE not in spoken(gone, site(CROWD, empty))


def test_a_case_that_never_counts_is_judged_all_the_same(quiet):
    never = tuple(
        replace(c, likelihood=0.0, probability=0.0)
        if c.name == "nothing deploys"
        else c
        for c in quiet.tree.cases
    )
    cloud = replace(quiet, tree=replace(quiet.tree, cases=never))
    found = spoken(
        moved(cloud, "nothing deploys", (-450, 0), 0.5, energy=5000.0), site()
    )
    assert found[Kind.AMONG_PEOPLE_IN_FAILURE].outcome == "fail"
    assert found[Kind.CASUALTIES_IF].outcome == "warn"
    assert found[Kind.UNDER_THE_FALL].outcome == "warn"
    assert Kind.AMONG_PEOPLE not in found


@pytest.mark.parametrize(("hard", "told"), [(0.2, False), (0.3, True)])
def test_a_fall_that_kills_every_fourth_time_is_one_that_can(quiet, hard, told):
    """Its median energy says nothing of those that strike harder."""
    near = moved(quiet, "nothing deploys", (-450, 0), 1.0, energy=20.0)
    (part,) = [p for p in near.of("nothing deploys") if p.body == "rocket"]
    energy = near.energy.copy()
    rows = np.arange(energy.size)[part.rows]
    energy[rows[: round(hard * rows.size)]] = 200.0
    found = spoken(replace(near, energy=energy), site())
    assert (Kind.UNDER_THE_FALL in found) == told


def test_a_case_that_goes_any_way_is_left_to_its_risk(quiet):
    any_way = tuple(
        replace(c, any_way=c.name == "nothing deploys") for c in quiet.tree.cases
    )
    cloud = replace(quiet, tree=replace(quiet.tree, cases=any_way))
    found = spoken(
        moved(cloud, "nothing deploys", (-450, 0), 0.5, energy=5000.0),
        site(flights_today=1),
    )
    assert set(found) == {Kind.AMONG_PEOPLE, Kind.INDIVIDUAL_RISK}
    hits = area_hits(cloud, site(), {})
    told = {c.case for c in people_checks(cloud, site(), hits, LIMITS)}
    assert "nothing deploys" not in told


def test_casualties_of_one_failure_hold_and_ten_times_fail(quiet):
    """By hand: 40 people on 8,000 m², a casualty area of π (0.305 + r)² or 7 πr² m²."""
    hit = moved(quiet, "nothing deploys", (-450, 0), 0.5, energy=5000.0)
    found = spoken(hit, site())
    check = found[Kind.CASUALTIES_IF]
    (case,) = (c for c in quiet.tree.cases if c.name == "nothing deploys")
    radius = math.sqrt(case.bodies[0].area / math.pi)
    area = max(math.pi * (0.3048 + radius) ** 2, 7 * math.pi * radius**2)
    assert check.outcome == "warn"
    assert check.value == pytest.approx(0.5 * area * 40 / 8000, rel=0.02)
    packed = replace(CROWD, people=1000)
    assert spoken(hit, site(packed))[Kind.CASUALTIES_IF].outcome == "fail"
    few = replace(CROWD, people=1)
    assert Kind.CASUALTIES_IF not in spoken(hit, site(few))


def test_risks_of_the_whole_flight(quiet):
    hit = moved(quiet, "canopy tangles", (-450, 0), 0.05, energy=100.0)
    found = spoken(hit, site())
    assert found[Kind.INDIVIDUAL_RISK].outcome == "warn"
    assert found[Kind.INDIVIDUAL_RISK].area == "Crowd"
    often = moved(quiet, WORKS, (-450, 0), 0.5, energy=100.0)
    assert spoken(often, site())[Kind.INDIVIDUAL_RISK].outcome == "fail"
    assert spoken(often, site())[Kind.CASUALTIES].outcome == "fail"


@pytest.mark.parametrize(
    ("limit", "outcome"), [(0.99, "fail"), (1.0, "warn"), (1.01, "pass")]
)
def test_casualties_fail_as_soon_as_all_of_their_interval_is_beyond(
    quiet, limit, outcome
):
    """No ten times of grace, as the risk to one person has, stands between."""
    often = moved(quiet, WORKS, (-450, 0), 0.5, energy=100.0)
    harm = harm_of(often, site())
    total = harm.casualties.total
    assert total.upper < 1.5 * total.lower
    end = {"fail": total.lower, "pass": total.upper}.get(outcome, total.estimate)
    limits = LIMITS | {
        "expected_casualties": replace(LIMITS["expected_casualties"], value=limit * end)
    }
    check = harm_checks(often, site(), harm, limits)[0]
    assert (check.kind, check.outcome) == (Kind.CASUALTIES, outcome)


@pytest.mark.parametrize(("share", "asked"), [(0.9, False), (1.1, True)])
def test_how_many_flights_a_day_has_is_asked_where_a_usual_day_would_pass_its_limit(
    quiet, share, asked
):
    """Ten are within the limit of the one: who flies thirty and tells none is no milder."""
    hit = moved(quiet, WORKS, (-450, 0), 0.0003, energy=100.0)
    one = harm_of(hit, site()).casualties.total.estimate
    name = "casualties_in_a_day"
    limits = LIMITS | {name: replace(LIMITS[name], value=30 * one / share)}

    def told(today):
        land = site(flights_today=today)
        found = harm_checks(hit, land, harm_of(hit, land), limits)
        return [c.name for c in found if c.kind is Kind.MISSING]

    assert ["flights_today" in name for name in told(None)] == [True] * asked
    assert not told(3)


def test_a_day_of_flights_shares_one_budget(quiet):
    hit = moved(quiet, WORKS, (-450, 0), 0.0003, energy=100.0)
    one = harm_of(hit, site()).casualties.total.estimate
    limit = LIMITS["casualties_in_a_day"].value
    many = math.ceil(3 * limit / one)
    assert Kind.CASUALTIES_IN_A_DAY not in spoken(hit, site())
    assert Kind.CASUALTIES_IN_A_DAY not in spoken(hit, site(flights_today=1))
    check = spoken(hit, site(flights_today=many))[Kind.CASUALTIES_IN_A_DAY]
    assert check.value == pytest.approx(many * one)
    whole = harm_of(hit, site()).casualties.total
    assert check.interval == pytest.approx((many * whole.lower, many * whole.upper))
    assert check.outcome in {"warn", "fail"}


@pytest.mark.parametrize("one", [CROWD, HOUSE])
def test_an_unknown_head_count_holds(quiet, one):
    rest = [area for area in (CROWD, HOUSE) if area is not one]
    found = spoken(quiet, site(replace(one, people=None), *rest))
    assert {k: c.outcome for k, c in found.items()} == {Kind.HEAD_COUNT: "warn"}


def test_nobody_near_the_pad_holds_and_says_what_is_asked(quiet):
    found = spoken(quiet, site(replace(CROWD, people=0)))
    assert {k: c.outcome for k, c in found.items()} == {Kind.NOBODY_NEAR: "warn"}
    told = sentence(found[Kind.NOBODY_NEAR], english("si"))
    assert told.startswith("Nobody is counted near the pad")


@pytest.mark.parametrize(("away", "held"), [(980.0, False), (1020.0, True)])
def test_who_stands_far_off_presses_no_button(quiet, away, held):
    far = replace(CROWD, shape=shapely.box(away, 0.0, away + 50.0, 50.0))
    assert (Kind.NOBODY_NEAR in spoken(quiet, site(far))) == held


def test_above_the_ceiling_and_out_of_the_cylinder(quiet):
    height = np.full(N, 280.0)
    height[: round(0.02 * N)] = 950.0
    high = replace(quiet, apogee=replace(quiet.apogee, height=height))
    found = spoken(high, site())
    assert {k: c.outcome for k, c in found.items()} == {Kind.ABOVE_CEILING: "fail"}
    level = replace(quiet, apogee=replace(quiet.apogee, height=np.full(N, 900.0)))
    assert spoken(level, site()) == {}  # what reaches the ceiling is not above it
    way = quiet.way.copy()
    way[3, 2, : round(0.02 * N)] = 950.0
    found = spoken(replace(quiet, way=way), site())
    assert {k: c.outcome for k, c in found.items()} == {Kind.WAY_UP_OUT: "fail"}


def test_over_peoples_heads(quiet):
    way = quiet.way.copy()
    way[1, 0, : round(0.02 * N)] = -700.0
    over = replace(quiet, way=way)
    assert {k: c.outcome for k, c in spoken(over, site()).items()} == {
        Kind.OVERFLIGHT: "fail"
    }
    lived_in = replace(HOUSE, shape=CROWD.shape, people=None)
    assert Kind.OVERFLIGHT in spoken(over, site(lived_in))
    assert Kind.OVERFLIGHT not in spoken(over, site(replace(lived_in, people=0)))


def test_people_under_the_fall(quiet):
    """A Gaussian fall of 60 m: its 50 % line has a radius of 71 m, its 90 % line 129 m."""
    part = next(quiet.of("nothing deploys"))
    rng = np.random.default_rng(1)
    east, north, energy = quiet.east.copy(), quiet.north.copy(), quiet.energy.copy()
    east[part.rows] = rng.normal(0, 60, part.flights)
    north[part.rows] = rng.normal(800, 60, part.flights)
    energy[part.rows] = 5000.0
    cloud = replace(quiet, east=east, north=north, energy=energy)

    def told(away, cloud=cloud):
        camp = Area("Camp", "camp", shapely.box(away, 790, away + 5, 810), people=1)
        found = [c for c in under_the_fall(cloud, site(camp)) if c.beside]
        return [(c.outcome, c.area, c.value, c.case) for c in found]

    assert told(40) == [("warn", "Camp", 0.5, "nothing deploys")]
    house = Area("Farm", "building", shapely.box(40, 790, 45, 810))
    assert [c.outcome for c in under_the_fall(cloud, site(house))] == ["warn"]
    assert not list(under_the_fall(cloud, site(replace(house, people=0))))
    assert told(100) == [("pass", "Camp", 0.9, "nothing deploys")]
    assert told(180) == []
    light = energy.copy()
    light[part.rows] = 70.0  # J: under 58 ft lbf
    assert told(40, replace(cloud, energy=light)) == []


def test_the_aim_told_is_that_for_the_worst_fall_and_the_commonest(quiet, monkeypatch):
    asked = []
    monkeypatch.setattr(
        consequence_checks, "_told", lambda case, *_: asked.append(case) or "an aim"
    )
    chance = {c.name: c.probability for c in quiet.tree.cases}
    common, rare = (
        pick(("nothing deploys", "canopy tangles"), key=chance.get)
        for pick in (max, min)
    )

    def under(case, outcome):
        return Check(
            kind=Kind.UNDER_THE_FALL, case=case, outcome=outcome, source="", note="near"
        )

    other = Check(kind=Kind.WIND_AGE, outcome="fail", source="")

    def told(*checks):
        asked.clear()
        found = with_clear_aim(checks, quiet, site(), None)
        notes = {c.case: c.note for c in found if c.kind is Kind.UNDER_THE_FALL}
        assert [c.kind for c in found] == [c.kind for c in checks]
        return asked, notes

    cases, notes = told(other, under(common, "pass"), under(rare, "warn"))
    assert cases == [rare]
    assert notes == {common: "near", rare: "near; an aim"}
    cases, notes = told(under(rare, "warn"), under(common, "warn"), other)
    assert cases == [common]
    assert told(other) == ([], {})


def test_aims_are_tried_all_about_the_compass_at_the_tilt_planned_and_at_another(quiet):
    rail = quiet.plan.flight.rail.angle.value
    tilts, ways = zip(*consequence_checks._aims(quiet), strict=True)
    assert set(tilts) == {rail, np.radians(10.0)}
    assert list(tilts) == sorted(tilts)
    about = np.radians(np.arange(0.0, 360.0, 45.0))
    assert ways == pytest.approx((*about, *about))


def test_an_aim_that_cannot_be_flown_clears_nobody(quiet, monkeypatch):
    def refused(*_, **__):
        raise DriftmapError("flight", "", "leaves the rail backwards")

    monkeypatch.setattr(consequence_checks, "fly", refused)
    assert not consequence_checks._clear("any", 0.1, 0.0, quiet, site(), None)


@pytest.mark.parametrize("under", [(), ("somebody",)])
def test_an_aim_with_somebody_under_its_falls_clears_nobody(quiet, monkeypatch, under):
    monkeypatch.setattr(consequence_checks, "fly", lambda *_, **__: quiet)
    monkeypatch.setattr(consequence_checks, "under_the_fall", lambda *_: iter(under))
    clear = consequence_checks._clear("any", 0.1, 0.0, quiet, site(CROWD), None)
    assert clear == (not under)


def test_only_what_passes_counts_as_passed():
    def line(outcome, *, answered=False):
        kind = Kind.RAIL_SPEED
        return Check(kind=kind, outcome=outcome, source="", answered=answered)

    told = [line(each, answered=word) for each in OUTCOMES for word in (True, False)]
    assert counted(told) == (1, 1)
    assert counted([line("warn"), line("fail")]) == (0, 0)


def test_a_lowered_likelihood_stands_beside_the_word(quiet):
    def told(**cases):
        flight = quiet.plan.flight.model_copy(update={"cases": cases})
        return list(
            lowered_likelihoods(replace(quiet, plan=replace(quiet.plan, flight=flight)))
        )

    default = LIKELIHOOD["nothing deploys"]
    (check,) = told(**{"nothing deploys": default / 2})
    assert check.beside
    assert (check.value, check.limit) == (default / 2, default)
    assert told(**{"nothing deploys": default}) == []
    assert told(**{"nothing deploys": 2 * default}) == []


def test_rules_are_asked_of_the_impulse_that_explains_the_height(quiet, dunlin):
    """Of a flight that names an apogee in place of a motor."""
    known = facts_flown(dunlin, site()).numbers["total_impulse"]
    assert known == pytest.approx(math.exp(quiet.plan.log_motor[0]), rel=0.01)


@pytest.mark.parametrize(
    ("rules", "place", "outcomes"),
    [
        ("us", (-118.0, 41.6), ["pass"]),
        ("us", (41.6, -79.0), ["fail"]),
        ("us-high-power, us-faa-101", (-79.0, 43.0), ["pass"]),
        ("us-high-power", (-118.0, 41.6), ["pass", "warn"]),  # no law of the air
        ("us-faa-101", (-118.0, 41.6), ["pass", "warn"]),  # no code of the ground
        ("us-high-power, us-model, us-faa-101", (-118.0, 41.6), ["pass"]),
        ("us", (-80.5, 43.5), ["fail", "warn"]),  # Ontario
        ("us", (-122.9, 49.4), ["fail", "warn"]),  # British Columbia
        ("us", (-135.1, 60.7), ["fail", "warn"]),  # Yukon
        ("us", (-100.3, 25.7), ["fail"]),  # Mexico
        ("us", (-106.4, 31.3), ["fail"]),
        ("us", (-122.4, 47.6), ["pass"]),
        ("us", (-84.4, 33.7), ["pass"]),
        ("us", (-149.9, 61.2), ["pass"]),
        ("us", (-157.9, 21.3), ["pass"]),
        ("us", (-118.2, 35.1), ["pass", "warn"]),  # California, without its own rules
        ("us, us-california", (-118.2, 35.1), ["pass", "pass"]),
        ("us", (-115.1, 36.2), ["pass"]),  # Nevada
        ("canada", (-113.5, 53.5), ["pass"]),
        ("canada", (-63.6, 44.6), ["pass"]),
        ("canada", (-93.6, 41.6), ["fail", "warn"]),
        ("uk", (-8.9, 53.3), ["fail"]),  # Ireland
        ("uk", (-6.7, 54.6), ["pass"]),
        ("uk", (-1.8, 48.7), ["fail"]),
        ("uk", (-3.2, 55.9), ["pass"]),
        ("germany", (11.6, 48.9), ["pass"]),
        ("germany", (8.2, 47.0), ["fail", "warn"]),  # Switzerland
        ("germany", (14.4, 50.1), ["fail"]),  # Bohemia
        ("germany", (5.1, 52.1), ["fail"]),
        ("switzerland", (8.2, 47.0), ["pass"]),
        ("switzerland", (9.2, 45.5), ["fail"]),
        ("australia", (147.2, -9.4), ["fail"]),
        ("new-zealand", (175.0, -40.0), ["pass"]),
        ("us", (2.0, 48.0), ["fail"]),
        ("us", (-173.2, 64.4), ["fail"]),  # Chukotka
        ("uk", (-1.5, 53.0), ["pass"]),
        ("uk", (53.0, -1.5), ["fail"]),
        ("canada", (-79.0, 44.0), ["pass"]),
        ("australia", (145.0, -37.0), ["pass"]),
        ("australia", (145.0, 37.0), ["fail"]),
    ],
)
def test_the_pad_lies_in_the_land_of_its_rules(rules, place, outcomes):
    where = site(rules=rules, longitude=place[0], latitude=place[1])
    found = list(position_checks(where))
    assert [check.outcome for check in found] == outcomes
    for check in found:
        assert "° N" in check.note or "° S" in check.note
        swapped = check.outcome == "fail" and abs(place[0]) < 60 and place[1] < 0
        assert ("swapped" in check.note) == swapped or rules == "australia"


@pytest.mark.parametrize(
    ("land", "towns"),
    [
        ("us", ((-157.9, 21.3), (-149.9, 61.2), (-81.8, 24.6), (-156.8, 71.3))),
        ("us", ((-66.1, 18.5), (144.8, 13.5), (-176.7, 51.9), (-171.7, 63.8))),
        ("us", ((-170.7, -14.3), (-177.4, 28.2))),
        ("canada", ((-52.7, 47.6), (-63.6, 44.6), (-133.7, 68.4), (-62.3, 82.5))),
        ("uk", ((-1.1, 60.2), (-5.5, 50.1), (1.75, 52.5), (-6.4, 58.2))),
        ("australia", ((130.8, -12.5), (147.3, -42.9), (115.9, -32.0), (153.0, -27.5))),
        ("australia", ((159.1, -31.5), (168.0, -29.0), (105.7, -10.4))),
        ("new-zealand", ((-176.6, -44.0),)),
        ("new-zealand", ((168.4, -46.4), (173.3, -35.1), (178.0, -38.7))),
        ("switzerland", ((7.4, 46.9), (8.6, 46.6))),
    ],
)
def test_the_farthest_towns_of_a_land_lie_in_it(land, towns):
    """Places from memory, to a tenth of a degree."""
    assert {standing(land, *town) for town in towns} == {"inside"}


@pytest.mark.parametrize(
    ("place", "near"),
    [
        ((-123.1, 49.2), True),  # Vancouver
        ((-117.0, 32.5), True),  # Tijuana
        ((-79.05, 43.1), True),  # Niagara
        ((8.54, 47.5), True),  # Zürich
        ((-6.4, 54.0), True),  # Dundalk
        ((-118.0, 41.6), False),
        ((-70.2, 43.7), False),  # coasts are no borders
        ((-122.4, 37.8), False),
        ((1.3, 51.15), False),
        ((13.1, 54.4), False),
        ((151.2, -33.9), False),
        ((-63.6, 44.6), False),
    ],
)
def test_near_a_border_people_say_the_side(place, near):
    assert near_a_border(*place) is near


@pytest.mark.parametrize(("longitude", "latitude"), [(179.98, 68.9), (-179.98, 63.0)])
def test_aerodromes_across_the_far_meridian_are_near(longitude, latitude):
    """The nearest stands on its other side, 6 m and 1 m high."""
    assert 20.0 < beside_aerodromes(longitude, latitude, 30.0) < 30.0


@pytest.mark.parametrize(
    ("extends", "outcomes"),
    [('["uk"]', ["fail"]), ('["us", "uk"]', ["fail", "fail"]), ("[]", [])],
)
def test_a_clubs_file_speaks_for_the_land_it_extends(tmp_path, extends, outcomes):
    path = tmp_path / "club.toml"
    path.write_text(f'title = "Club"\nextends = {extends}\n', encoding="utf-8")
    found = position_checks(site(rules=str(path), longitude=0.0, latitude=0.0))
    assert [check.outcome for check in found] == outcomes


def test_beyond_twice_the_farthest_landing_nobody_is_in_reach(quiet):
    """By hand: all lands at 100 m but one piece at 700 m, so reach ends at 1,400 m."""
    far = moved(quiet, WORKS, (700, 0), 1 / N)
    for away, out in ((1390, False), (1410, True)):
        shape = shapely.box(away, -1, away + 2, 1)
        assert beyond_reach(far)(shape) is out
    never = never_there(far)
    assert (never.estimate, never.upper, never.flights) == (0.0, 1 / N**2, N)


@pytest.mark.parametrize("parts", [1, 2, 7, 20])
def test_cutting_a_crowd_up_changes_nothing(quiet, parts):
    """Slices of one crowd, with its people shared out, are one crowd."""
    edges = np.linspace(-500, -400, parts + 1)
    slices = [
        Area(f"s{i}", "spectators", shapely.box(a, -40, b, 40), people=40 / parts)
        for i, (a, b) in enumerate(zip(edges, edges[1:], strict=False))
    ]
    cloud = quiet
    for share, east in ((0.0004, -490), (0.0004, -450), (0.0004, -410)):
        cloud = moved(
            cloud, "canopy tangles" if east == -450 else WORKS, (east, 0), share
        )
    whole, cut = spoken(cloud, site()), spoken(cloud, site(*slices, HOUSE, WIRES, POND))
    assert {k: c.outcome for k, c in cut.items()} == {
        k: c.outcome for k, c in whole.items()
    }


def test_a_check_brings_words_or_its_kind_has_them():
    assert Check(kind=Kind.CASUALTIES, outcome="pass", source="").name
    with pytest.raises(ValueError, match="'name' must be given"):
        Check(kind=Kind.RULE, outcome="pass", source="")


@pytest.mark.parametrize(
    ("kind", "unit", "value", "interval", "limit", "rockets", "outcome"),
    [
        (Kind.CASUALTIES, "per flight", 4e-5, (3e-5, 5e-5), 1e-4, 1, "pass"),
        (Kind.CASUALTIES, "per flight", 4e-5, (3e-5, 5e-5), 1e-4, 2, "pass"),
        (Kind.CASUALTIES, "per flight", 4e-5, (3e-5, 5e-5), 1e-4, 3, "warn"),
        (Kind.CASUALTIES, "per flight", 4e-5, (3e-5, 5e-5), 1e-4, 4, "fail"),
        (Kind.AMONG_PEOPLE, "share", 4e-4, (3e-4, 6e-4), 1e-3, 2, "warn"),
        (Kind.INDIVIDUAL_RISK, "per flight", 4e-7, (3e-7, 5e-7), 1e-6, 9, "warn"),
        *(
            (kind, "share", 0.007, (0.006, 0.008), 0.01, 2, outcome)
            for kind, outcome in (
                (Kind.HURTFUL_OUTSIDE, "fail"),
                (Kind.OUTSIDE_BOUNDARY, "fail"),
                (Kind.OUTSIDE_WAIVER, "fail"),
                (Kind.ABOVE_CEILING, "fail"),
                (Kind.WAY_UP_OUT, "fail"),
                (Kind.IN_WATER, "warn"),
                (Kind.OVERFLIGHT, "fail"),
            )
        ),
        (Kind.INDIVIDUAL_RISK, "per flight", 4e-7, (3e-7, 5e-7), 1e-6, 25, "warn"),
        (Kind.INDIVIDUAL_RISK, "per flight", 4e-7, (3e-7, 5e-7), 1e-6, 26, "fail"),
        (Kind.DESCENT, "m/s", 8.0, (7.0, 8.5), 9.0, 9, "pass"),
    ],
)
def test_what_rockets_launched_together_do_counts_for_all_of_them(
    kind, unit, value, interval, limit, rockets, outcome
):
    check = Check(
        kind=kind,
        value=value,
        interval=interval,
        limit=limit,
        unit=unit,
        outcome="pass",
        source="",
    )
    said = Answers(numbers={"rockets_together": float(rockets)})
    found = judgement.together(check, said)
    assert judgement.together(check, None) is check
    assert found.outcome == outcome
    if kind is not Kind.DESCENT:
        assert found.value == pytest.approx(rockets * value)
    often = replace(check, value=0.3, interval=(0.2, 0.4))
    if unit == "share":
        assert judgement.together(often, said).interval == pytest.approx((0.4, 0.8))


def test_neither_a_lowered_nor_a_raised_likelihood_makes_any_case_lighter(quiet):
    """Raised, one failure leaves fewer flights to what works."""
    for told in (
        {"nothing deploys": 0.001},
        {"nothing deploys": 0.5},
        {"nothing deploys": 0.3, "late opening": 0.2},
    ):
        flight = quiet.plan.flight.model_copy(update={"cases": told})
        more = {cause: share - LIKELIHOOD[cause] for cause, share in told.items()}
        more[WORKS] = -sum(more.values())
        cases = tuple(
            replace(case, likelihood=case.likelihood + more.get(case.cause, 0.0))
            for case in quiet.tree.cases
        )
        said = replace(
            quiet,
            plan=replace(quiet.plan, flight=flight),
            tree=replace(quiet.tree, cases=cases),
        )
        plain = by_default(said)
        for case, as_told, usual in zip(
            plain.tree.cases, cases, quiet.tree.cases, strict=True
        ):
            least = max(as_told.likelihood, usual.likelihood)
            assert case.likelihood >= least - 1e-12, case.name
    assert by_default(quiet) is None
    # A case of one's own takes as much from what works, and gives it back alike.
    own = (SimpleNamespace(name="its own", likelihood=0.3),)
    flight = quiet.plan.flight.model_copy(update={"own_cases": own})
    for planned in (WORKS, BARE):
        cases = tuple(
            replace(case, likelihood=case.likelihood - 0.3, cause=planned)
            if case.cause == WORKS
            else case
            for case in quiet.tree.cases
        )
        said = replace(
            quiet,
            plan=replace(quiet.plan, flight=flight),
            tree=replace(quiet.tree, cases=cases),
        )
        again = by_default(said).tree.cases
        for what in ("likelihood", "probability"):
            found, usual = (
                {case.name: getattr(case, what) for case in each}
                for each in (again, quiet.tree.cases)
            )
            assert found == pytest.approx(usual)


def test_what_fails_by_default_fails_whatever_files_ease(quiet, wind):
    """A case said never to happen, and a limit of the field's that allows what it comes to."""
    cloud = moved(quiet, "nothing deploys", (-450.0, 0.0), 1.0)
    flight = cloud.plan.flight.model_copy(update={"cases": {"nothing deploys": 0.0}})
    cases = tuple(
        replace(case, likelihood=0.0, probability=0.0)
        if case.name == "nothing deploys"
        else case
        for case in cloud.tree.cases
    )
    said = replace(
        cloud,
        plan=replace(cloud.plan, flight=flight),
        tree=replace(cloud.tree, cases=cases),
    )
    for limits in ({}, {"area_hit": "10 %"}):
        judged = judgement.judge_all(said, site(limits=limits), wind)
        (crowd,) = (c for c in judged.checks if c.kind is Kind.AMONG_PEOPLE)
        assert (crowd.outcome, crowd.limit) == ("fail", 0.001)
        assert crowd.value == pytest.approx(LIKELIHOOD["nothing deploys"])
        assert "likelihoods that the file sets" in crowd.note


@pytest.mark.parametrize(
    ("kind", "source", "beside"),
    [
        (Kind.RAIL_SPEED, f"site.geojson, {judgement.LOOSER}", True),
        (
            Kind.LANDS_IN,
            f"site.geojson, {judgement.LOOSER}",
            False,
        ),  # the crowd's line tells it
        (Kind.LANDS_IN_FAILURE, f"site.geojson, {judgement.LOOSER}", False),
        (Kind.RAIL_SPEED, "site.geojson", False),
    ],
)
def test_a_loosened_limit_stands_beside_the_word_once(kind, source, beside):
    line = Check(kind=kind, outcome="pass", source=source)
    assert judgement._told(line).beside == beside
