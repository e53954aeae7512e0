"""Explaining what was found: the right case, in words, and loud when there is none."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from driftmap import fly, read_flight, read_wind
from driftmap.cli.explain import explain_command
from driftmap.explain.fit import ODD, fit_of
from driftmap.observations.flown import flown_cases
from driftmap.observations.observation import Odds
from driftmap.observations.weighing import weigh

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "benchmarks"))


def explain(found, *more, samples=2000):
    site = str(ROOT / "sites" / "saltgrass-flat.geojson")
    arguments = [
        *(str(ROOT / "examples" / "willet.toml"), "--site", site),
        *("--wind", "14 mph from 230", "--samples", str(samples)),
        *("--found", str(found), *more),
    ]
    return CliRunner().invoke(explain_command, arguments)


def test_fins_by_a_buried_rocket_broke_on_the_ground(tmp_path):
    run = explain(ROOT / "examples" / "found.toml")
    assert run.exit_code == 0, run.output + str(run.exception)
    first = next(line for line in run.output.splitlines()[1:] if line)
    assert first.endswith("nothing deploys") or "nothing deploys" in first
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


def test_what_no_case_explains_is_told_loudly(tmp_path):
    found = tmp_path / "found.toml"
    # 200 m upwind, and in the air for ten minutes.
    found.write_text(
        '[[found]]\nat = [41.602, -117.956]\nerror = "20 m"\n'
        '[[down]]\ntime = "600 s +/- 5 s"\n'
    )
    run = explain(found)
    assert run.exit_code == 0
    assert "NONE OF THE CASES EXPLAINS THIS" in run.output
    assert not json.loads(explain(found, "--json").output)["explained"]


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


@pytest.mark.long
@pytest.mark.slow
def test_a_true_case_is_seldom_called_odd():
    """False alarms: fewer than 1 in 100 by construction; 3 errors of 200 above it fail.

    With 200 draws of a chance of 0.01, 0.01 + 3 sqrt(0.01 * 0.99 / 200) = 0.031.
    """
    from truths import draw_truths, reports

    wind = read_wind("14 mph from 230", site_altitude=1234.0)
    flight = read_flight(ROOT / "examples" / "willet.toml")
    cloud = fly(flight, wind, 1234.0, samples=4096, seed=1, keep_falls=True)
    other = fly(flight, wind, 1234.0, samples=4096, seed=2, keep_falls=True)
    cases = flown_cases(cloud, wind)
    rng = np.random.default_rng(3)
    odd = 0
    for truth in draw_truths(other, wind, 200, rng):
        told = reports(truth, rng)
        name = truth.flown.case.name
        odd += fit_of(cases, told).get(name, 1.0) < ODD
    assert odd / 200 < 0.031


@pytest.mark.slow
def test_chances_told_are_chances_had():
    """Stated chances against how often the case was the true one, for 600 flights.

    Cases are drawn alike in number so that rare ones are tried; the chances are told for
    that. Brier score: 600 draws at the stated chances give its mean and spread.
    """
    from truths import Truth, reports

    wind = read_wind("14 mph from 230", site_altitude=1234.0)
    flight = read_flight(ROOT / "examples" / "willet.toml")
    clouds = [
        fly(flight, wind, 1234.0, samples=4096, seed=s, keep_falls=True) for s in (1, 2)
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
