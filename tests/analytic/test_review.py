"""A review finds what is planted in a log, covers it, and finds nothing where there is nothing."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import beta, chi2, kstest, t

from driftmap.ground.projection import to_lonlat
from driftmap.logbook.entry import new_entry
from driftmap.logbook.factors import (
    PRIOR_WEIGHT,
    Cause,
    WithInterval,
    days_of,
    drift_factor,
    mean_by_days,
    width_factor,
)
from driftmap.logbook.findings import _cautions, _is_off, _proposals, review
from driftmap.logbook.reassessment import changes_of
from driftmap.logbook.review_text import format_review
from driftmap.logbook.store import Log
from driftmap.logbook.verification import (
    FindRecord,
    Flew,
    depth_rank,
    flew_of,
    records_of,
)
from driftmap.rocket.flightfile import read_flight

EXAMPLES = Path(__file__).parents[2] / "examples"


def records(count, rng, *, drift=1.0, width=1.0, device="main"):
    """Make finds whose drift and width are so many times what is foretold."""
    found = []
    for _ in range(count):
        middle = np.array([rng.uniform(200, 900), rng.normal(0, 30)])
        spread = np.array([90.0, 70.0])
        cloud = middle[:, None] + spread[:, None] * rng.standard_normal((2, 200))
        lay = middle * [drift, 1] + spread * [1, width] * rng.standard_normal(2)
        found.append(FindRecord(lay, cloud, device, "words"))
    return found


def test_the_depth_rank_of_one_more_landing_is_uniform():
    """Exactly, for a crescent of 60 points too: 1,500 ranks, Kolmogorov-Smirnov at 1 in 1,000."""
    rng = np.random.default_rng(1)

    def crescent(n):
        turn = rng.uniform(0, np.pi, n)
        return np.stack([np.cos(turn), np.sin(turn)]) + 0.05 * rng.standard_normal(
            (2, n)
        )

    ranks = [depth_rank(crescent(1)[:, 0], crescent(60)) for _ in range(1500)]
    assert kstest(ranks, "uniform").pvalue > 1e-3


def test_no_rockets_canopy_tells_of_anothers():
    """Twelve streamers that fell short say nothing of the canopy of a flight never found."""
    rng = np.random.default_rng(3)
    streamers = [
        replace(record, flight="Dunlin 38", device="streamer")
        for record in records(12, rng, drift=0.6)
    ]
    canopies = [
        replace(record, flight="Willet 54") for record in records(9, rng, drift=0.6)
    ]
    found = review([*canopies, *streamers], ())
    assert found.drift_of == ("Dunlin 38", "streamer")
    assert found.drift.flights == 12
    (told,) = [text for text in found.proposals if "the drift was" in text]
    assert told.startswith("Dunlin 38 under streamer: ")
    changes = changes_of(found)
    willet = read_flight(EXAMPLES / "willet.toml")
    dunlin = read_flight(EXAMPLES / "dunlin.toml")
    assert not changes.moves(willet, willet.recovery[0])
    assert changes.moves(dunlin, dunlin.recovery[0])
    few = review([*canopies, *records(4, rng, drift=0.6)], ())  # nine of one: no ten
    assert not [text for text in few.proposals if "the drift was" in text]


@pytest.mark.parametrize(("drift", "factor"), [(0.5, "0.2"), (2.0, "4.")])
def test_a_few_flights_propose_no_drag(drift, factor):
    """Ten do, nine do not: less of it drifts less far, and more of it lands softer."""
    own = [replace(r, day=str(n)) for n, r in enumerate(sure(10, drift=drift))]
    told = f"drag area times {factor}"
    assert any(told in text for text in review(own, ()).proposals)
    assert not review(own[:9], ()).proposals


@pytest.mark.parametrize(("drift", "proposed"), [(0.5, False), (2.0, True)])
def test_where_some_were_never_found_nothing_smaller_is_proposed(drift, proposed):
    """What went farthest is not found: two of twelve are too many, those of another none."""
    own = [
        replace(r, day=str(n), flight="Willet 54")
        for n, r in enumerate(sure(10, drift=drift))
    ]
    few = review(own, (), ["Dunlin 38"] * 20)
    assert any("drag area" in text for text in few.proposals)
    many = review(own, (), ["Willet 54"] * 2)
    assert any("drag area" in text for text in many.proposals) is proposed
    assert any(
        text.startswith("2 flights flew and were never found") for text in many.cautions
    )


def test_what_was_adopted_is_not_proposed_again():
    """Twelve finds by the file of before tell nothing of the drag that it has now."""
    before = [
        replace(r, day=str(n), drag=0.75) for n, r in enumerate(sure(12, drift=0.5))
    ]
    now = [
        replace(r, day=f"{n} now", drag=0.19) for n, r in enumerate(sure(4, drift=1.0))
    ]
    assert review(before, ()).drift_off
    both = review([*before, *now], ())
    assert (both.drift.flights, both.drift_off) == (4, False)
    likely = {"late opening": 0.1}, {"late opening": 0.02}
    flew = [Flew("recovery works", likely[n > 99]) for n in range(110)]
    (cause,) = review((), flew).causes
    assert (cause.assumed, cause.is_off) == (0.02, False)


def test_finds_of_which_nobody_says_what_happened_move_no_factor():
    """The landings of all cases together are wider than those of a flight that went well."""
    untold = [
        replace(r, day=str(n), told=False) for n, r in enumerate(sure(20, drift=0.5))
    ]
    found = review(untold, ())
    assert (found.landings, found.drift, found.width) == (20, None, None)
    assert any(
        "20 finds say nothing of what happened" in text for text in found.cautions
    )


@pytest.mark.parametrize(("assumed", "flights"), [(5e-5, 10), (0.02, 60), (1e-3, 2000)])
def test_a_failure_that_is_too_rare_to_be_seen_is_not_made_rarer(assumed, flights):
    flew = [Flew("recovery works", {"a failure": assumed})] * flights
    (cause,) = review((), flew).causes
    assert not cause.is_off


def sure(count, drift):
    """Make finds that lie where a factor on the drift puts them, but for some metres."""
    rng = np.random.default_rng(9)
    return [
        replace(one, found=one.mean * [drift, 1.0] + rng.normal(0, [9.0, 60.0]))
        for one in records(count, rng)
    ]


@pytest.mark.slow  # many logs
def test_nothing_is_found_where_nothing_is_planted():
    found = review(records(400, np.random.default_rng(2)), ())
    for coverage in found.coverage:
        assert coverage.seen.lower - 0.01 < coverage.share < coverage.seen.upper + 0.01
    assert found.drift.holds(1.0)
    assert found.width.holds(1.0)
    assert found.proposals == ()
    # The forecast knows each day; the reference is one cloud for all.
    assert found.energy.upper < 0
    assert found.log.upper < 0


def test_planted_drift_and_width_are_found_and_covered():
    found = review(records(400, np.random.default_rng(9), drift=1.2, width=1.5), ())
    assert found.drift.holds(1.2)
    assert not found.drift.holds(1.0)
    assert found.width.holds(1.5)
    assert not found.width.holds(1.0)
    assert len(found.proposals) == 2
    assert "drag area times 1.4" in found.proposals[0]


def test_finds_close_together_and_off_the_forecast_propose_no_narrower_lines():
    """All three standard deviations to the right, with a scatter of half of one."""
    rng = np.random.default_rng(3)
    own = [
        replace(r, found=r.mean + r.spread * [0.0, rng.normal(3.0, 0.5)], day=str(n))
        for n, r in enumerate(records(14, rng))
    ]
    found = review(own, ())
    assert found.width.lower > 2.0
    assert any("times as far off as foretold" in text for text in found.proposals)


@pytest.mark.slow  # what is planted in one log is found and covered by quicker tests
@pytest.mark.parametrize("alike", [0.0, 0.7])
def test_intervals_cover_what_was_planted_also_where_days_are_alike(alike):
    """Of 200 logs of 24 days with 4 flights each, 95 % must: 182 or more pass 999 in 1,000.

    Where the flights of a day share most of the error of its wind, intervals that took
    them as independent would cover 70 %.
    """
    rng, spread = np.random.default_rng(11), np.array([90.0, 70.0])
    covered = np.zeros(3)
    for _ in range(200):
        log = []
        for day in range(24):
            middle = np.array([rng.uniform(200, 900), 0.0])
            day_error = rng.standard_normal(2)
            points = middle[:, None] + spread[:, None] * rng.standard_normal((2, 200))
            for _ in range(4):
                own = rng.standard_normal(2)
                off = np.sqrt(alike) * day_error + np.sqrt(1 - alike) * own
                lay = middle * [1.2, 1] + spread * [1, 1.5] * off
                log.append(FindRecord(lay, points, "main", "words", day=str(day)))
        right = mean_by_days(np.array([r.found[1] for r in log]), days_of(log))
        figures = (
            drift_factor(log).holds(1.2),
            width_factor(log).holds(1.5),
            right.holds(0.0),
        )
        covered += figures
    # The spread of few days is skewed: its interval may cover a little less.
    assert (covered >= [182, 174, 182]).all(), covered


@pytest.mark.slow  # as drift of all is found
def test_a_bias_of_one_device_is_found_under_its_name():
    rng = np.random.default_rng(4)
    whole = [*records(150, rng), *records(150, rng, drift=1.3, device="streamer")]
    groups = {b.group: b for b in review(whole, ()).biases}
    assert groups["under main"].downwind.holds(0.0)
    assert groups["under streamer"].downwind.lower > 50


def test_a_likelihood_is_updated_as_beta_and_binomial():
    likely = {"late opening": 0.02, "nothing deploys": 0.03, "recovery works": 0.95}
    flights = [Flew("late opening", likely)] * 12 + [
        Flew("recovery works", likely)
    ] * 88
    causes = {c.cause: c for c in review((), flights).causes}
    late = causes["late opening"]
    after = beta(PRIOR_WEIGHT * 0.02 + 12, PRIOR_WEIGHT * 0.98 + 88)
    assert late.updated.value == pytest.approx(after.mean())
    assert (late.updated.lower, late.updated.upper) == pytest.approx(
        after.interval(0.95)
    )
    assert any("late opening" in text for text in review((), flights).proposals)


def test_what_one_rocket_does_says_nothing_of_another():
    """Sixty good flights of one make no other rocket's failures rarer, nor its own less likely."""
    likely = {"nothing deploys": 0.1, "recovery works": 0.9}
    good = [Flew("recovery works", likely, "Dunlin 38")] * 60
    bad = [Flew("nothing deploys", likely, "Willet 54")] * 9
    found = review((), [*good, *bad])
    milder, worse = found.causes
    assert (milder.flight, worse.flight) == ("Dunlin 38", "Willet 54")
    assert (worse.seen, worse.updated.flights, milder.updated.flights) == (9, 9, 60)
    assert [text.split(":")[0] for text in found.proposals] == [
        "Dunlin 38, nothing deploys",
        "Willet 54, nothing deploys",
    ]
    assert set(changes_of(found).likelihoods) == {
        (c.flight, c.cause) for c in found.causes
    }
    for line in ("Failures of Dunlin 38", "Failures of Willet 54"):
        assert line in format_review(found)


@pytest.mark.parametrize(("assumed", "seen", "told"), [(0.0, 4, True), (0.0, 0, False)])
def test_a_failure_that_was_ruled_out_is_told_when_it_was_seen(assumed, seen, told):
    likely = {"nothing deploys": assumed, "recovery works": 1.0}
    flights = [Flew("nothing deploys", likely)] * seen
    found = review((), [*flights, *[Flew("recovery works", likely)] * 8])
    assert bool(found.causes) is told
    fits = [text for text in found.proposals if "assumed 0.0%; 6.5% fits" in text]
    assert bool(fits) is told  # 4 in 50 + 12


def test_three_flights_tell_little():
    found = review(records(3, np.random.default_rng(5)), ())
    assert any("landings: 3, which tell little" in text for text in found.cautions)
    assert found.coverage[0].seen.upper - found.coverage[0].seen.lower > 0.6
    assert review((), ()).coverage == ()


def test_records_turn_finds_into_the_wind(tmp_path):
    """A find 300 m east in a west wind lies 300 m downwind."""
    longitude, latitude = to_lonlat((-117.952, 41.604), 300.0, 0.0)
    body = {
        "place": [41.604, -117.952],
        "wind_10_m": {"from_rad": np.radians(270.0).item(), "speed_mps": 4.0},
        "devices": ["main"],
        "wind": "12 mph from 270",
        "wind_kinds": ["words"],
        "wind_age_h": 1.0,
        "when": "2026-06-13T08:30-07:00",
        "likelihoods": {"recovery works": 0.9, "late opening": 0.1},
        "forecast": [
            {
                "case": "recovery works",
                "cause": "recovery works",
                "probability": 1.0,
                "pieces": {"rocket": [[280.0, 10.0], [300.0, -10.0], [320.0, 0.0]]},
            }
        ],
    }
    first = new_entry("assessment", body)
    find = {"piece": "rocket", "at": [float(latitude), float(longitude)]}
    slip = {"piece": "rocket", "at": [41.7, -117.952]}  # put right by the one after it
    came = new_entry(
        "outcome", {"case": "recovery works", "found": [slip, find]}, about=first.id
    )
    with Log(tmp_path / "log.sqlite") as log:
        log.append([first, came])
        (record,) = records_of(log.current())
        assert len(flew_of(log.current())) == 1
    assert record.found == pytest.approx([300.0, 0.0], abs=1e-3)
    assert record.mean == pytest.approx([300.0, 0.0], abs=1e-6)
    assert (record.device, record.source) == ("main", "words")
    assert record.age == "half an hour to 1.5 h"
    assert record.day.startswith("2026-06-13")
    for error, counts in ((5.0, 1), (30.0, 0)):  # of a spread of 18 m foretold
        told = {"case": "recovery works", "found": [{**find, "error_m": error}]}
        seen = new_entry("outcome", told, about=first.id)
        assert len(records_of([first, seen])) == counts


def test_a_case_of_the_same_cause_is_not_the_case_told():
    """A canopy that tears at a planned opening has the cause of a recovery that works."""

    def case(name, probability, east):
        points = [[east + i, 0.0] for i in range(200)]
        return {
            "case": name,
            "cause": "recovery works",
            "probability": probability,
            "pieces": {"rocket": points},
        }

    body = {
        "place": [41.604, -117.952],
        "wind_10_m": {"from_rad": np.radians(270.0).item()},
        "forecast": [case("recovery works", 0.99, 0), case("torn", 0.01, 5000)],
    }
    first = new_entry("assessment", body)
    find = {"piece": "rocket", "at": [41.604, -117.952]}
    told = new_entry("outcome", {"case": "torn", "found": [find]}, about=first.id)
    works = new_entry(
        "outcome", {"case": "recovery works", "found": [find]}, about=first.id
    )
    silent = new_entry("outcome", {"found": [find]}, about=first.id)
    means = [r.mean[0] for r in records_of([first, told, works, silent])]
    assert means[:2] == pytest.approx([5099.5, 99.5])
    # Not told: by probability, 198 of the one and 2 of the other.
    assert means[2] == pytest.approx((198 * 99.5 + 2 * 5099.5) / 200, rel=0.02)


FEW = [
    replace(record, day=str(i))
    for i, record in enumerate(records(30, np.random.default_rng(3)))
]
FLOWN = [Flew("recovery works", {"recovery works": 1.0})] * 30


@pytest.mark.parametrize(
    ("drift", "told"),
    [
        (WithInterval(0.7, 0.5, 0.8, 20), "a drag area times 0.49 (0.25 to 0.64)"),
        (
            WithInterval(0.2, 0.0, 0.5, 20),
            "",
        ),  # a drift that may be none says nothing of drag
        (WithInterval(0.9, 0.7, 1.1, 20), ""),
        (None, ""),
    ],
)
def test_a_drag_area_is_proposed_only_where_the_drift_is_off(drift, told):
    off = replace(review((), ()), drift=drift, drift_off=_is_off(drift, ()))
    proposed = [*_proposals(off)]
    assert len(proposed) == bool(told)
    assert all(told in text for text in proposed)


def test_how_many_more_flights_it_takes_to_know():
    """A half-width falls as the root of the number: of 0.4 to 0.1 takes 16 times as many."""
    (told, _) = _cautions(FEW, FLOWN, WithInterval(1.0, 0.6, 1.4, 25), None, ())
    assert "known to ± 0.40; about 375 more flights" in told
    for known in (
        WithInterval(0.1, 0.0, 0.2, 25),
        WithInterval(1.0, -np.inf, np.inf, 25),
    ):
        assert len(_cautions(FEW, FLOWN, known, known, ())) == 1


def test_how_many_flights_it_takes_to_know_a_likelihood():
    """A share of 2 % has an interval of half of it each way from 49 (1.96 / 0.5)² flights on."""
    rare, likely = (
        Cause(
            "a failure",
            p,
            0,
            WithInterval(0.0, 0.0, 0.1, n),
            WithInterval(p, 0.0, 0.1, n),
        )
        for p, n in ((0.01, 25), (0.02, 752))
    )
    told = _cautions(FEW, FLOWN, None, None, (rare, likely))
    assert sum("from about 753 flights on" in text for text in told) == 1
    assert not any("1,52" in text for text in told)
    enough = replace(likely, updated=WithInterval(0.02, 0.01, 0.03, 753))
    assert len(_cautions(FEW, FLOWN, None, None, (rare, enough))) == 1


@pytest.mark.parametrize(("days", "told"), [(19, True), (20, False), (30, False)])
def test_landings_that_share_their_days_are_cautioned(days, told):
    log = [replace(r, day=str(i % days)) for i, r in enumerate(FEW)]
    texts = _cautions(log, FLOWN, None, None, ())
    assert any(f"30 landings fell on {days} days" in text for text in texts) == told


def test_few_landings_and_few_flights_are_told_each_by_itself():
    told = {n: _cautions(FEW[:n], FLOWN[:n], None, None, ()) for n in (9, 10)}
    assert [text[:12] for text in told[9]][:2] == ["landings: 9,", "flights of k"]
    assert not any("tell little" in text for text in told[10])


def test_the_spread_across_the_wind_is_how_far_finds_lie_from_the_forecast():
    """Its interval is the wider of the chi-squared one and of the one that heeds long tails."""
    off = np.array([(r.found[1] - r.mean[1]) / r.spread[1] for r in FEW]) + 0.5
    log = [
        replace(r, found=r.mean + r.spread * [0, o])
        for r, o in zip(FEW, off, strict=True)
    ]
    n, variance = len(log), float(np.mean(off**2))
    pull = (off**2 - variance) / n
    half = t.ppf(0.975, n - 1) * np.sqrt(n / (n - 1) * (pull @ pull))
    low, high = n * variance / chi2.ppf([0.975, 0.025], n)
    found = width_factor(log)
    assert found.value == pytest.approx(np.sqrt(variance))
    assert found.lower == pytest.approx(np.sqrt(min(low, variance - half)))
    assert found.upper == pytest.approx(np.sqrt(max(high, variance + half)))


def test_what_so_few_cannot_tell_is_not_told():
    assert (drift_factor(FEW[:2]), width_factor(FEW[:2])) == (None, None)
    assert drift_factor(FEW[:3]) is not None
    assert width_factor(FEW[:3]) is not None
    assert review(FEW[:5], ()).energy is None
    assert review(FEW[:6], ()).energy is not None


def test_biases_are_told_of_groups_that_are_known_and_large_enough():
    groups = [b.group for b in review(FEW, ()).biases]
    assert groups == ["all flights", "under main", "wind from words"]
    for count, told in ((2, False), (3, True)):
        few = [*FEW, *(replace(r, device="spare") for r in FEW[:count])]
        assert ("under spare" in [b.group for b in review(few, ()).biases]) == told
    assert review(FEW[:1], ()).biases[0].group == "all flights"
