"""Explaining what was found: the right case, in words, and loud when there is none."""

import json
from functools import cache
from math import erfc, exp, sqrt
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from driftmap import fly, read_flight, read_wind
from driftmap.cli.search import explain_command
from driftmap.core.errors import DriftmapError
from driftmap.observations import evidence, weighing
from driftmap.observations.case_flights import flown_cases
from driftmap.observations.figures import Find
from driftmap.observations.observation import Odds
from driftmap.observations.weighing import ODD, fit_of, weigh

ROOT = Path(__file__).parents[2]


def explain(found, *more, samples=600):
    site = str(ROOT / "sites" / "saltgrass-flat.geojson")
    arguments = [
        *(str(ROOT / "examples" / "willet.toml"), "--site", site),
        *("--wind", "14 mph from 230", "--samples", str(samples)),
        # The air hangs on the sun, and flights on the air: one hour, whenever this is run.
        *("--when", "2026-06-13T12:30-07:00"),
        *("--found", str(found), *more),
    ]
    return CliRunner().invoke(explain_command, arguments)


@pytest.mark.slow  # as fins far from it, the other way round
def test_fins_by_a_buried_rocket_broke_on_the_ground():
    run = explain(ROOT / "examples" / "found.toml")
    assert run.exit_code == 0, run.output + str(run.exception)
    first = next(line for line in run.output.splitlines()[1:] if line)
    assert "nothing deploys" in first
    assert "(it broke off on the ground)" in run.output
    assert "NONE OF THE CASES" not in run.output


def test_fins_far_from_the_rocket_came_off_in_the_air(tmp_path):
    found = tmp_path / "found.toml"
    # Both within 200 m of the pad, the rocket farther upwind than its fin.
    found.write_text(
        "[[found]]\nat = [41.60405, -117.9515]\n"
        '[[found]]\npiece = "fin"\nat = [41.6042, -117.9508]\n'
        '[[down]]\ntime = "19 s"\n'
    )
    run = explain(found, "--json")
    told = json.loads(run.output)
    assert told["shares"][0]["case"] == "fins come off"
    assert told["shares"][0]["after"] > 0.95
    assert any("(it came off in the air)" in line for line in told["evidence"])


def test_each_case_says_what_became_of_a_find_in_it():
    """The reason of one case does not stand for another beside it."""
    known = weigh(flights(), [Odds({}, "nothing")])
    names = ["early opening, torn", "fins come off", "recovery works"]
    told = evidence._alike(known, Find("fin", 0.0, 0.0, 5.0), names)
    assert told == (
        "“early opening, torn” and “recovery works” (it stayed on the rocket until it was "
        "down), and “fins come off” (it came off in the air)"
    )


def test_what_no_case_explains_is_told_loudly(tmp_path):
    found = tmp_path / "found.toml"
    # 2.4 km upwind, and in the air for ten minutes.
    found.write_text(
        '[[found]]\nat = [41.589, -117.972]\nerror = "20 m"\n'
        '[[down]]\ntime = "600 s +/- 5 s"\n'
    )
    run = explain(found, samples=2000)
    assert run.exit_code == 0
    assert "NONE OF THE CASES EXPLAINS THIS" in run.output


@cache
def flights():
    """Fly some, of every case."""
    wind = read_wind("14 mph from 230", site_altitude=1234.0)
    flight = read_flight(ROOT / "examples" / "willet.toml")
    cloud = fly(flight, wind, 1234.0, samples=512, seed=9, keep_falls=True)
    return flown_cases(cloud, wind)


def recorded(folder, case):
    """Write the heights of a flight of one case as an altimeter would, noise and all."""
    flown = next(f for f in flights() if f.case.name == case)
    rng, down = np.random.default_rng(9), flown.landed("rocket")[0, 0]
    rows = ["time_s,height_ft"]
    for time in np.arange(-3.0, down + 5.0, 0.5):
        high = flown.at("rocket", max(time, 0.0))[2, 0, 0] / 0.3048
        rows.append(f"{time + 100:.2f},{1.02 * high + 3 * rng.standard_normal():.1f}")
    (folder / "flight.csv").write_text("\n".join(rows) + "\n")
    found = folder / "found.toml"
    found.write_text('[altimeter]\nrecord = "flight.csv"\n')
    return found


@pytest.mark.parametrize(
    "case", ["nothing deploys", pytest.param("canopy tangles", marks=pytest.mark.slow)]
)
def test_an_altimeters_record_tells_cases_apart(tmp_path, case):
    told = json.loads(explain(recorded(tmp_path, case), "--json").output)
    assert told["shares"][0]["case"] == case
    assert told["shares"][0]["after"] > 0.8
    assert told["explained"]
    assert any("the altimeter's record" in line for line in told["evidence"])


@pytest.mark.slow  # as finds that no case explains
def test_a_record_of_no_such_flight_is_explained_by_none(tmp_path):
    found = recorded(tmp_path, "recovery works")
    record = tmp_path / "flight.csv"
    head, *rows = record.read_text().split()
    cut = [row.split(",") for row in rows]
    # Twice as high as the rocket can go.
    twice = "\n".join([head, *(f"{t},{2 * float(h)}" for t, h in cut)])
    record.write_text(twice)
    assert not json.loads(explain(found, "--json").output)["explained"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[altimeter]\nrecord = "none.csv"', "none.csv: cannot be read"),
        ('[altimeter]\nrecord = "words.csv"', "words.csv"),
        ('[altimeter]\nrecord = "flat.csv"', "never rises"),
        ('[altimeter]\nrecord = "flat.csv"\napogee = "3 m"', "must give apogee"),
        ("[[found]]\nat = [41.6, 117.9]", "outside the site"),
        ('[[found]]\nat = "pad"\nstate = "brokn"', "did you mean 'broken'"),
        ('[[found]]\nat = "pad"\nstate = "torn"', "no state of the rocket"),
        ('[[found]]\nat = "pad"\nstate = ["whole", "broken"]', "cannot be whole"),
    ],
)
def test_a_record_or_a_state_that_cannot_be_is_one_line(tmp_path, text, told):
    (tmp_path / "words.csv").write_text("a letter\nto my aunt\n")
    flat = "".join(f"{i},1.0\n" for i in range(40))
    (tmp_path / "flat.csv").write_text("time_s,height_m\n" + flat)
    found = tmp_path / "found.toml"
    found.write_text(text)
    run = explain(found)
    assert isinstance(run.exception, DriftmapError), run.output
    assert told in str(run.exception)
    assert "\n" not in str(run.exception)


def test_a_state_speaks_for_what_leads_to_it_and_settles_nothing(tmp_path):
    after = {}
    for state in ("stuck in the ground", "whole", "broken"):
        found = tmp_path / "found.toml"
        # All over the field: the place tells nothing.
        found.write_text(
            f'[[found]]\nat = "pad"\nerror = "5000 m"\nstate = "{state}"\n'
        )
        told = json.loads(explain(found, "--json").output)
        after[state] = {s["case"]: s["after"] for s in told["shares"]}
    dive, works = "nothing deploys", "recovery works"
    odds = {state: chance[dive] / chance[works] for state, chance in after.items()}
    assert odds["stuck in the ground"] > 4 * odds["broken"] > 40 * odds["whole"]
    # No state is surer than 0.98 to 0.02.
    assert odds["stuck in the ground"] / odds["whole"] < (0.98 / 0.02) ** 2


def test_causes_that_come_down_alike_are_named_and_not_told_apart(willet):
    wind = read_wind("8 mph from 230", site_altitude=1234.0)
    cloud = fly(willet, wind, 1234.0, samples=64, seed=1, keep_falls=True)
    cases = flown_cases(cloud, wind)
    for cause, named in (("early opening", 1), ("nothing deploys", 0)):
        odds = {f.case.name: f.case.name.startswith(cause) * 1.0 for f in cases}
        advice = evidence.explain(weigh(cases, [Odds(odds, "told")]), {}).advice
        told = [text for text in advice if "barometer misled" in text]
        assert len(told) == named
        # The Willet stays well below the speed of sound.
        assert all("hardly by speed: it stays under Mach 0." in text for text in told)


def test_nothing_found_is_refused():
    found = ROOT / "examples" / "no-such-file.toml"
    run = explain(found)
    assert "cannot be read" in str(run.exception)


def test_what_would_settle_it_does(tmp_path):
    """What is asked for takes different values in the two cases it is to tell apart."""
    found = tmp_path / "found.toml"
    found.write_text('[case]\nis = ["early opening", "nose cone lost"]\n')
    told = json.loads(explain(found, "--json").output)
    assert any("opened would settle it" in line for line in told["advice"])


@pytest.mark.parametrize("apart", [0.0, 0.5, 1.0, 2.0, 3.0])
def test_answers_overlap_as_their_errors_do(apart):
    """Two sure answers, each asked with a normal error: twice the tail of half the way."""
    one = np.ones(1)
    told = evidence._overlap((0.0 * one, one), (10.0 * apart * one, one), 10.0)
    assert told == pytest.approx(erfc(apart / 2 / sqrt(2)), abs=0.005)


def test_an_answer_that_only_one_case_has_tells_all():
    one, none = (np.ones(3), np.ones(3)), (np.full(3, np.nan), np.ones(3))
    assert evidence._overlap(one, none, 1.0) == 0
    assert evidence._overlap(none, none, 1.0) == 1
    assert evidence._span(*none, str) == "none"


def test_how_far_a_piece_lies_from_its_rocket_is_the_way_between():
    class Fallen:
        def landing(self, piece):
            at = {"fin": (3.0, 8.0), "rocket": (6.0, 4.0)}[piece]
            return np.array(at)[:, None, None]

    assert evidence._away("fin", Fallen()) == pytest.approx(5.0)


def test_how_near_flights_lie_is_their_mean_kernel():
    """Flights at 0 and 1 about a report at 0, and each of them about the other."""
    here, points = np.zeros((1, 1)), np.array([[0.0, 1.0]])
    near = weighing._density(here, points, leave=False)
    assert near == pytest.approx([(1 + exp(-0.5)) / 2])
    beside = weighing._density(points, points, leave=True)
    assert beside == pytest.approx([exp(-0.5)] * 2)


@pytest.mark.parametrize("off", [0.0, 2.0, 4.0, 6.0])
def test_a_report_is_as_odd_as_the_tail_beyond_it(off):
    """Normal flights and a normal error: both tails beyond, of both spreads together."""
    shown = off + 3.0 * np.random.default_rng(2).standard_normal((1, 1, 4000))
    seen = SimpleNamespace(figure=lambda _: SimpleNamespace(misses=lambda: shown))
    one = SimpleNamespace(seed=1, name="x")
    told = weighing._odd([SimpleNamespace(cloud=one, case=one)], seen, np.ones(4000))
    assert told == pytest.approx(erfc(off / sqrt(10) / sqrt(2)), abs=0.06)


@pytest.mark.long
@pytest.mark.slow
def test_a_true_case_is_seldom_called_odd(willet):
    """False alarms: fewer than 1 in 100 by construction; 3 errors of 200 above it fail.

    With 200 draws of a chance of 0.01, 0.01 + 3 sqrt(0.01 * 0.99 / 200) = 0.031. Cases alike in
    number: the rare ones, flown by few flights of very unlike weight, are the hard ones.
    """
    from truths import evidence, one_of

    wind = read_wind("14 mph from 230", site_altitude=1234.0)
    cloud = fly(willet, wind, 1234.0, samples=8192, seed=1, keep_falls=True)
    other = fly(willet, wind, 1234.0, samples=8192, seed=2, keep_falls=True)
    cases, truths = flown_cases(cloud, wind), flown_cases(other, wind)
    rng, odd = np.random.default_rng(3), 0
    for number in range(200):
        truth = one_of(truths[number % len(truths)], rng)
        told = evidence(truth, rng)
        name = truth.flown.case.name
        odd += fit_of(weigh(cases, told)).get(name, 1.0) < ODD
    assert odd / 200 < 0.031


@pytest.mark.long
def test_chances_told_are_chances_had(willet):
    """Stated chances against how often the case was the true one, for 600 flights.

    Cases are drawn alike in number so that rare ones are tried; the chances are told for
    that. Brier score: 600 draws at the stated chances give its mean and spread.
    """
    from truths import Truth, reports

    wind = read_wind("14 mph from 230", site_altitude=1234.0)
    clouds = [
        fly(willet, wind, 1234.0, samples=2048, seed=s, keep_falls=True) for s in (1, 2)
    ]
    cases, truths = (flown_cases(cloud, wind) for cloud in clouds)

    level = Odds({f.case.name: 1 / f.prior.sum() for f in cases}, "")
    rng = np.random.default_rng(4)
    told, had = [], []
    for number in range(600):
        flown = truths[number % len(truths)]
        weights = flown.prior / flown.prior.sum()
        truth = Truth(flown, rng.choice(weights.size, p=weights))
        known = weigh(cases, [level, *reports(truth, rng)])
        for name, chance in known.chances.items():
            told.append(chance)
            had.append(name == flown.case.name)
    told, had = np.array(told), np.array(had)
    for low, high in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 1.01)):
        within = (told >= low) & (told < high)
        error = np.sqrt((told[within] * (1 - told[within])).sum()) / within.sum()
        assert abs(told[within].mean() - had[within].mean()) < 0.01 + 4 * error
