"""Flights weighed by what was seen: against exact integration and closed forms."""

import dataclasses
import functools
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from scipy.stats import norm

from driftmap import fly, read_winds
from driftmap.montecarlo.lean import Steered
from driftmap.observations.case_flights import FoundAt, flown_cases
from driftmap.observations.fall_path import _cubic
from driftmap.observations.figures import (
    IN_THE_AIR,
    Find,
    SeenMoment,
    Sighted,
    Trace,
)
from driftmap.observations.observation import (
    MISTAKEN,
    STATES,
    FoundState,
    Odds,
    Walked,
    Went,
)
from driftmap.observations.targeted_flights import know, plainly
from driftmap.observations.weighing import AtOddsError, bodies_of, fit_of, weigh
from driftmap.rocket.pieces import FOUND_AS

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wind():
    noon = datetime(2026, 6, 13, 19, 15, tzinfo=UTC)
    path = str(ROOT / "examples" / "noon.csv")
    wind = read_winds([path], site_altitude=1234.0, when=noon)
    # Rising and sinking air shifts a piece between its points by what nothing keeps.
    return dataclasses.replace(wind, convection=None)


@pytest.fixture(scope="module")
def cloud(wind, willet):
    return fly(willet, wind, 1234.0, samples=8192, seed=3, keep_falls=True)


@pytest.fixture(scope="module")
def cases(cloud, wind):
    return {flown.case.name: flown for flown in flown_cases(cloud, wind)}


def test_nothing_seen_leaves_the_likelihoods(cloud, cases):
    known = weigh(tuple(cases.values()), ())
    for case in cloud.tree.cases:
        assert known.chances[case.name] == pytest.approx(case.probability, rel=1e-6)
    assert known.log_evidence == pytest.approx(0, abs=1e-6)


def test_weights_are_bayes_rule_by_hand(cases):
    seen = SeenMoment("rocket", "was down", 150.0, 10.0)
    known = weigh(tuple(cases.values()), (seen,))
    top = {}
    for name, flown in cases.items():
        density = norm.pdf(150.0, flown.landed("rocket")[0], 10.0)
        top[name] = flown.prior @ ((1 - MISTAKEN) * density + MISTAKEN / 600)
    total = sum(top.values())
    for name, value in top.items():
        assert known.chances[name] == pytest.approx(value / total, rel=1e-9)


def test_a_bearing_knows_no_seam(cases):
    flown = cases["recovery works"]
    east, north = flown.landing("rocket")[:, 0, 0]
    for turn in (0.0, 2 * np.pi, -2 * np.pi):
        bearing = np.arctan2(east, north) + turn
        seen = Sighted("rocket", 0.0, 0.0, "pad", None, bearing, 0.1)
        peak = np.log((1 - MISTAKEN) * norm.pdf(0, 0, 0.1) + MISTAKEN / (2 * np.pi))
        assert seen.log_likelihood(flown)[0] == pytest.approx(peak, abs=1e-9)


def test_going_down_behind_something_is_a_chance(cases):
    flown = cases["recovery works"]
    far = np.hypot(*flown.landing("rocket")[:, 0])
    edge = np.sort(far)[far.size // 2 : far.size // 2 + 2].mean()
    seen = Went("rocket", 0.0, 0.0, "pad", float(edge), 1e-6)
    likely = np.exp(seen.log_likelihood(flown))
    beyond = far > edge
    assert np.allclose(likely[beyond], 1 - MISTAKEN / 2)
    assert np.allclose(likely[~beyond], MISTAKEN / 2)


def test_walked_ground_takes_its_share_away(cases):
    """A square walked with detection d, holding p, keeps p(1 - d) / (1 - p d)."""
    flown = tuple(cases.values())
    whole = weigh(flown, ())
    east, north = np.median(flown[0].landing("rocket")[:, 0], axis=1)
    box = shapely.box(east - 400, north - 300, east + 100, north + 300)

    def inside(known):
        return sum(
            w[shapely.intersects_xy(box, *at)].sum()
            for at, w in known.lying("rocket").values()
        )

    before = inside(whole)
    after = inside(weigh(flown, (Walked("rocket", box, 0.7),)))
    assert 0.1 < before < 0.9
    assert after == pytest.approx(before * 0.3 / (1 - 0.7 * before), rel=1e-9)


def test_what_no_flight_allows_is_told(cases):
    flown = tuple(cases.values())
    none = Odds(dict.fromkeys(cases, 0.0), "none of them")
    with pytest.raises(AtOddsError, match="none of them"):
        weigh(flown, (none,))


LOOKED_AT = (
    Find("fin", 300.0, 100.0, 20.0),
    SeenMoment("fin", "came off", 12.0, 3.0, 500.0, 90.0),
    SeenMoment("rocket", "was highest", None, 1.0, 700.0, 30.0),
    SeenMoment("main", "opened", 20.0, 3.0),
    Sighted("fin", 150.0, -250.0, "there", 60.0, 1.0),
    Sighted("rocket", 150.0, -250.0, "there", None, 1.0, last=True),
    Went("fin", 0.0, 0.0, "the pad", 200.0, 50.0),
    Walked("fin", shapely.box(0, 0, 400, 400), 0.8),
    FoundState("fin", ("broken",)),
    FoundState("main", ("torn",)),
    Trace(np.array([11.0, 30.0]), np.array([700.0, 500.0]), np.eye(2) * 100),
)


@pytest.fixture(scope="module")
def few(cloud, wind):
    """Give the flights of few flights flown with some bodies alone, by case."""

    @functools.cache
    def flown(bodies):
        plan = cloud.plan
        some = fly(
            plan.flight,
            wind,
            1234.0,
            samples=400,
            seed=3,
            bodies=bodies,
            keep_falls=True,
        )
        return {flown.case.name: flown for flown in flown_cases(some, wind)}

    return flown


def test_what_is_looked_at_is_all_that_must_come_down(few):
    whole, alone = few(None), {}
    for seen in LOOKED_AT:
        bodies = bodies_of([seen])
        key = None if bodies is None else frozenset(bodies)
        some = alone.setdefault(key, whole if key is None else few(key))
        for name, flown in whole.items():
            expected = seen.log_likelihood(flown)
            assert np.array_equal(seen.log_likelihood(some[name]), expected), name
    assert len(alone) == 3  # the rocket, the fin, and all


def test_a_piece_that_stayed_on_lies_with_the_rocket(cases):
    works, dive = cases["recovery works"], cases["nothing deploys"]
    assert np.array_equal(works.landing("fin"), works.landing("rocket"))
    # After a nose-first fall they lie about it: formulas/scatter.py.
    apart = np.hypot(*(dive.landing("fin") - dive.landing("rocket")))
    assert 0 < np.median(apart) < 10
    # The strike's scatter has a long tail: its speed of rebound is assumed, and wide.
    assert np.quantile(apart, 0.95) < 60


def test_places_on_the_way_down_are_those_of_the_integrator(cloud, wind, cases):
    """Fly the same flights with a fall that ends at a height: the place is near."""
    from driftmap.montecarlo.falls import Leg
    from driftmap.montecarlo.flying import Releases
    from driftmap.montecarlo.way_up import DrawnFlights
    from driftmap.trajectory.descent import fall

    flown = cases["recovery works"]
    tree, plan = cloud.tree, cloud.plan
    drawn = DrawnFlights(plan, tree, wind, 4096, (cloud.seed, 0), Steered())
    block = Releases(drawn, {})
    body = flown.case.bodies[0]
    state = block.release(flown.case.release)
    stages = [*body.before, *body.stages]
    everyone = np.arange(4096)
    whole = block.whole(flown.case.release)
    for stage in stages[:-1]:
        state = block.falls.fly_all([Leg(state, stage, whole, everyone)])[0]
    area = sum(size * drawn.draws[name] for size, name in stages[-1].drag)
    there = fall(state, whole, area, drawn.air, floor=np.full(4096, 500.0))
    time = float(np.median(there.time))
    same = np.flatnonzero(
        (flown.who < 4096) & (np.abs(there.time[flown.who % 4096] - time) < 1)
    )
    assert same.size > 20
    at, who = flown.at("rocket", time)[:, 0, same], flown.who[same]
    off = np.stack([there.east, there.north])[:, who] - at[:2]
    off -= np.stack([there.v_east, there.v_north])[:, who] * (there.time[who] - time)
    glide = np.stack([drawn.draws["main glide east"], drawn.draws["main glide north"]])
    off += (glide * (there.time - state.time))[:, who]
    way = np.hypot(there.east - state.east, there.north - state.north)[who]
    # What the wind's error is at heights between is not kept: `IN_THE_AIR` allows for it.
    rms = np.sqrt((off**2).sum(axis=0).mean()) / way.mean()
    assert 0.5 * IN_THE_AIR < rms < 1.1 * IN_THE_AIR
    assert np.abs(at[2] - 500.0).max() < 25


@pytest.mark.parametrize("case", ["recovery works", "canopy tangles"])
def test_a_lean_moves_every_flight_as_far_as_is_foretold(wind, cloud, few, case):
    """The wind's error has tails: each flight a size of its own, from a third to thrice."""
    flown = few(None)[case]
    own = np.stack([flown.cloud.draws[f"lean {way}"] for way in ("east", "north")])
    plan, lean = cloud.plan, np.array([1.0, -0.5])[:, None]
    again = fly(
        plan.flight,
        wind,
        1234.0,
        samples=400,
        seed=3,
        steered=Steered(own + lean),
        bodies=(),
    )
    at = flown.landing("rocket")
    told = flown.leaned(np.broadcast_to(lean, own.shape)).landing("rocket") - at
    rows = next(again.of(case)).rows
    came = np.stack([again.east[rows], again.north[rows]]) - at[:, 0]
    ratio = came / told[:, 0]
    assert np.ptp(np.quantile(told[0, 0], [0.05, 0.95])) > told[0, 0].mean()
    assert np.quantile(ratio, 0.05) > 0.8
    assert np.quantile(ratio, 0.95) < 1.2


@pytest.mark.long
def test_flights_flown_toward_a_find_agree_with_many_plain_ones(wind, cloud):
    """The chance of each case by steered flights is that of very many plain ones."""
    flight = cloud.plan.flight
    part = next(cloud.of("canopy tangles"))
    middle = cloud.east[part.rows].mean(), cloud.north[part.rows].mean()
    seen = (Find("rocket", float(middle[0]), float(middle[1]), 25.0),)
    plain = fly(flight, wind, 1234.0, samples=65_536, seed=77, keep_falls=True)
    many = weigh(flown_cases(plain, wind), seen)
    few = weigh(flown_cases(cloud, wind), seen)
    steered = know(few, wind, enough=6 * few.effective, most_lots=1)
    assert steered.effective > 3 * few.effective
    # Both are estimates: standard errors of the evidence 1/sqrt(effective) each.
    error = np.sqrt(1 / many.effective + 1 / steered.effective)
    assert error < 0.15
    assert abs(steered.log_evidence - many.log_evidence) < 3 * error
    for name, chance in many.chances.items():
        # An end so rare that no flight of the fewer came to it has no chance there.
        found = steered.chances.get(name, 0.0)
        assert found == pytest.approx(chance, abs=3 * error * 0.5)


@pytest.mark.slow  # many flights
def test_beyond_the_first_lot_only_what_can_be_true_is_flown_and_nothing_else_changes(
    wind, cloud
):
    first = fly(
        cloud.plan.flight,
        wind,
        1234.0,
        samples=4096,
        seed=3,
        bodies=("rocket",),
        keep_falls=True,
    )
    seen = (
        Odds({"recovery works": 0.0}, "something went wrong"),
        SeenMoment("rocket", "was down", 150.0, 10.0),
    )
    once = weigh(flown_cases(cloud, wind), seen)
    known = know(plainly(first, wind, seen, samples=8192), wind)
    flown = {f.case.name: 0 for f in known.cases}
    for lot in known.cases:
        flown[lot.case.name] += lot.who.size
    whole = {f.case.name: f.who.size for f in once.cases}
    likely = {name for name, chance in once.chances.items() if chance > 1e-3}
    assert len(likely) >= 4
    assert all(flown[name] == whole[name] for name in likely)
    assert flown["recovery works"] < 0.6 * whole["recovery works"]
    for name, chance in once.chances.items():
        assert known.chances[name] == pytest.approx(chance, rel=1e-3, abs=2e-4)
    assert known.effective == pytest.approx(once.effective, rel=1e-3)


@pytest.mark.slow  # many flights
def test_flights_that_can_hardly_fit_are_spared_and_the_others_stand_for_them(
    wind, cloud, cases
):
    """Weighted means stay those of plain flights, whatever was learned of what fits."""
    part = next(cloud.of("recovery works"))
    far = np.quantile(cloud.east[part.rows], 0.8), np.median(cloud.north[part.rows])
    seen = (Find("rocket", float(far[0]), float(far[1]), 120.0),)
    plain = weigh(tuple(cases.values()), seen)
    known = plainly(cloud, wind, seen, samples=24_576, sparing=True)
    _, beyond = [f for f in known.cases if f.case.name == "recovery works"]
    assert beyond.who.size < 0.5 * 16_384
    assert known.effective > 2 * plain.effective
    # They stand for all that were drawn, four standard errors allowed for.
    told = beyond.prior / beyond.case.likelihood * 24_576
    error = np.sqrt(told @ (told - 1))
    assert told.sum() == pytest.approx(16_384, abs=4 * error)
    middle = beyond.landing("rocket")[:, 0] @ told / told.sum()
    own = cases["recovery works"].landing("rocket")[:, 0]
    spread = np.sqrt(told @ told) / told.sum() + 1 / np.sqrt(own.shape[1])
    assert np.all(abs(middle - own.mean(axis=1)) < 4 * spread * own.std(axis=1))
    error = np.sqrt(1 / plain.effective + 1 / known.effective)
    assert abs(known.log_evidence - plain.log_evidence) < 4 * error


def test_one_patch_holds_all_that_a_flight_left_on_the_ground(cases):
    """By hand: beside the first find, the way from it to the other piece is told."""
    flown = dataclasses.replace(cases["goes off its path"], coarse=True)
    rocket, nose = flown.landing("rocket")[:, 0], FoundAt("nose cone", 0.0, 0.0, 5.0)
    whole = dataclasses.replace(flown, anchor=FoundAt("rocket", *rocket[:, 7], 1e-3))
    at, error = whole.in_patches(nose)  # it stays on the rocket
    assert error == pytest.approx(5.0)
    assert np.abs(at[:, 0] - rocket[:, [7]]).max() < 0.01
    # A find that is known worse than the patch is wide moves nothing.
    vague = dataclasses.replace(flown, anchor=FoundAt("rocket", 0.0, 0.0, 1e9))
    at, error = vague.in_patches(nose)
    assert np.abs(at[:, 0] - rocket).max() < 0.01
    wide = flown.in_patches(FoundAt("rocket", 0.0, 0.0, 5.0))[1]
    assert error == pytest.approx(wide, rel=1e-3)


def test_what_a_patch_was_moved_to_lies_there_for_all_that_is_told(cases):
    """Ground walked about the find in vain says the same of every flight of a patch."""
    find = Find("rocket", 800.0, 300.0, 1e-3)
    flown = cases["goes off its path"].as_patches(find.told)
    walked = Walked("rocket", shapely.Point(800.0, 300.0).buffer(5.0), 0.9)
    assert walked.log_likelihood(flown) == pytest.approx(np.log(0.1))
    lies = weigh([flown], [find]).lying("nose cone")["goes off its path"][0]
    assert np.abs(lies - [[800.0], [300.0]]).max() < 0.01


def test_what_went_down_beyond_all_landings_is_taken_as_a_mistake(cases):
    near, far = (Went("rocket", 0.0, 0.0, "pad", r, 50.0) for r in (300.0, 40e3))
    assert weigh(tuple(cases.values()), (near, far)).doubted == (far,)


def test_fit_is_checked_on_all_lots_of_a_case_together(cases):
    """The same flights in one lot or in two are told the same, to the digit."""
    flown = cases["recovery works"]
    half = flown.who.size // 2

    def part(rows):
        return dataclasses.replace(
            flown,
            who=flown.who[rows],
            prior=flown.prior[rows],
            lean=flown.lean[:, rows],
            worked_out={},
        )

    lots = [part(slice(0, half)), part(slice(half, None))]
    # By hand: a lot stands for rows from the first on, so the later one is told its places.
    lots[1].worked_out["rocket", None] = flown.landing("rocket")[:, :, half:]
    east, north = flown.landing("rocket")[:, 0, half + 5]
    seen = [Find("rocket", east + 300.0, north, 30.0)]
    whole, first = (fit_of(weigh(own, seen)) for own in ([flown], lots[:1]))
    assert fit_of(weigh(lots, seen)) == whole
    assert first != whole


def test_without_the_rocket_the_first_find_holds_the_patch(cases):
    """The chance of two finds is alike whichever comes first, and not that of each alone."""
    flown = dataclasses.replace(cases["goes off its path"], coarse=True)
    fins, noses = flown.landing("fin")[:, 0], flown.landing("nose cone")[:, 0]
    apart = np.hypot(*(fins - noses))
    one = int(np.abs(apart - np.median(apart)).argmin())
    fin, nose = fins[:, one], noses[:, one]
    finds = Find("fin", *fin, 5.0), Find("nose cone", *nose, 5.0)
    told = []
    for first in finds:
        moved = dataclasses.replace(flown, anchor=first.told)
        each = [np.exp(seen.log_likelihood(moved)) for seen in finds]
        told.append(np.log(each[0] * each[1] @ flown.prior / flown.prior.sum()))
    assert told[0] == pytest.approx(told[1], abs=0.5)
    alone = [np.exp(seen.log_likelihood(flown)) for seen in finds]
    assert told[0] > np.log(alone[0] * alone[1] @ flown.prior / flown.prior.sum()) + 2


def test_where_flights_lie_too_far_apart_to_hit_each_stands_for_a_patch(cases):
    """Finds drawn from some flights of a case are likelier by patches of the others.

    No lean brings flights there: by themselves they hit by luck, nearly always too seldom. A
    log score is proper: on average none is better than that of the density finds come from.
    """
    flown = cases["goes off its path"]
    half = dataclasses.replace(
        flown,
        who=flown.who[: flown.who.size // 2],
        prior=flown.prior[: flown.who.size // 2],
        lean=flown.lean[:, : flown.who.size // 2],
        worked_out={},
    )
    coarse = dataclasses.replace(half, coarse=True, worked_out={})
    at = flown.landing("rocket")[:, 0, half.who.size :][:, ::10]
    score = {False: [], True: []}
    for east, north in at.T:
        seen = Find("rocket", float(east), float(north), 5.0)
        for each in (half, coarse):
            told = np.exp(seen.log_likelihood(each)) @ each.prior / each.prior.sum()
            score[each.coarse].append(np.log(told))
    gain = np.subtract(score[True], score[False])
    assert gain.mean() > 4 * gain.std() / np.sqrt(gain.size)
    assert gain.mean() > 1.0
    # As wide as the rule says, by the narrower way of the cloud.
    narrow = np.sqrt(np.linalg.eigvalsh(np.cov(half.landing("rocket")[:, 0]))[0])
    assert coarse.in_patches(FoundAt("rocket", 0.0, 0.0, 0.0))[1] == pytest.approx(
        narrow * half.who.size ** (-1 / 6), rel=0.01
    )
    assert half.in_patches(FoundAt("rocket", 0.0, 0.0, 5.0))[1] == 5.0


def test_last_seen_is_any_moment_on_the_way_down(cases):
    """By hand: the mean, over ten even moments, of the density of the angles."""
    flown = cases["recovery works"]
    seen = Sighted("rocket", 0.0, 0.0, "pad", None, 1.0, 0.1, 0.5, 0.1, last=True)
    top, down = flown.highest()[0, 5], flown.landed("rocket")[0, 5]
    own = []
    for step in range(1, 11):
        at = flown.at("rocket", float(top + step / 10 * (down - top)))[:, 0, 5]
        angles = np.arctan2(at[0], at[1]), np.arctan2(at[2], np.hypot(*at[:2]))
        error = seen.figure(flown).error
        off = [(1.0 - angles[0] + np.pi) % (2 * np.pi) - np.pi, 0.5 - angles[1]]
        own.append(norm.pdf(off[0], 0, error[0]) * norm.pdf(off[1], 0, error[1]))
    want = (1 - MISTAKEN) * np.mean(own) + MISTAKEN * seen.broad
    assert np.exp(seen.log_likelihood(flown)[5]) == pytest.approx(want, rel=1e-6)


def test_altimeter_reads_the_greatest_height(cases):
    flown = cases["recovery works"]
    height = flown.highest()[1]
    likely = SeenMoment(
        "rocket", "was highest", height=float(height[0]), height_error=5.0
    ).log_likelihood(flown)
    assert likely[0] == likely.max()


def test_behind_something_counts_from_where_one_stands(cases):
    flown = cases["recovery works"]
    east, north = flown.landing("rocket")[:, 0]
    far = np.hypot(east - 400.0, north + 300.0)
    edge = float(np.median(far))
    seen = Went("rocket", 400.0, -300.0, "a stand", edge, 50.0)
    farther = norm.cdf((far - edge) / 50.0)
    told = np.log((1 - MISTAKEN) * farther + MISTAKEN / 2)
    np.testing.assert_allclose(seen.log_likelihood(flown), told, rtol=1e-9)


@pytest.mark.parametrize("number", [1, 3])
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5])
def test_on_the_way_up_it_is_on_the_line_between_points_kept(
    cloud, cases, number, share
):
    flown, way = cases["recovery works"], cloud.way.astype(float)
    for flight in (0, 5):
        who = flown.who[flight]
        time = cloud.apogee.time[who] * (number + share) / (len(way) - 1)
        between = (1 - share) * way[number, :, who] + share * way[number + 1, :, who]
        at = flown.at("rocket", float(time))[:, 0, flight]
        np.testing.assert_allclose(at, between, atol=0.01)


def test_the_cubic_of_a_fall_is_any_cubic():
    s = np.linspace(0.0, 1.0, 7)
    curve = np.polynomial.Polynomial([2.0, -1.0, 3.0, -0.7])
    slope = curve.deriv()
    ends = (curve(0.0), curve(1.0), slope(0.0), slope(1.0))
    told = _cubic(s, *(np.full(7, end) for end in ends))
    np.testing.assert_allclose(told, curve(s), rtol=1e-12)


def striking(*speeds, nose_first=True):
    """Stand for a piece by itself that strikes at given speeds."""
    return SimpleNamespace(
        struck=lambda _: np.array(speeds),
        has=lambda _: False,
        is_nose_first=lambda _: nose_first,
    )


def test_harder_strikes_break_more_and_nose_first_ones_stick():
    """The chances that the docstrings state, and where they tend to."""
    assert tuple(STATES) == FOUND_AS  # what people are offered to tick
    broken = STATES["broken"](striking(0.0, 18.0, 90.0), "nose cone")
    np.testing.assert_allclose(broken, [0.01, 0.5, 1.0], atol=0.01)
    stuck = STATES["stuck in the ground"]
    fast = stuck(striking(0.0, 40.0, 150.0), "rocket")
    np.testing.assert_allclose(fast, [0.0, 0.4, 0.8], atol=0.02)
    flat = stuck(striking(40.0, nose_first=False), "rocket")
    np.testing.assert_allclose(flat, 0.05)
