"""A motor that is home-made or experimental differs more, and bursts more often."""

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from driftmap import fly, read_flight
from driftmap.air.wind import WindProfile
from driftmap.rocket.cases import build_cases
from driftmap.rocket.likelihood import LIKELIHOOD, OF_OWN
from driftmap.verdict.claim_checks import implausible

EXAMPLES = Path(__file__).parents[2] / "examples"
CALM = WindProfile(np.array([0.0, 4000.0]), [0.0, 0.0], [0.0, 0.0], [0.0, 0.0])
FIRST, BURSTS = "total impulse", "motor bursts"
WAYS = {  # example, table, what is edited there, input that spreads, what bursts
    "curve": ("willet", "[motor]", (), FIRST, BURSTS),
    "apogee": (
        "dunlin",
        "[apogee]",
        (('"285 m +/- 15 m"', '"285 m"'),),
        "apogee height",
        BURSTS,
    ),
    "record": ("plover", "[measured]", (), FIRST, BURSTS),
    "booster": ("godwit", "[motor]", (), FIRST, BURSTS),
    "sustainer": (
        "godwit",
        "[sustainer.motor]",
        (),
        "impulse in the air",
        "sustainer bursts",
    ),
}


@pytest.fixture
def example(tmp_path):
    """Read an example, edited, with a line that tells whose its motor is, or none."""
    for curve in EXAMPLES.glob("*.csv"):
        (tmp_path / curve.name).write_bytes(curve.read_bytes())
    return partial(read_edited, tmp_path / "flight.toml")


def read_edited(path, name, table, edit, own):
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in edit:
        assert old in text
        text = text.replace(old, new)
    head, rest = text.split(f"\n{table}", 1)
    remark, rest = rest.split("\n", 1)
    told = "" if own is None else f"own = {str(own).lower()}\n"
    path.write_text(f"{head}\n{table}{remark}\n{told}{rest}", encoding="utf-8")
    return read_flight(path)


def cases_of(flight):
    return build_cases(flight).cases


@pytest.mark.parametrize("way", WAYS)
def test_an_own_motor_spreads_and_bursts_more(example, way):
    name, table, edit, spreads, bursts = WAYS[way]
    usual, told, own = (example(name, table, edit, o) for o in (None, False, True))
    assert told == usual
    plan, more = (fly(f, CALM, 0.0, samples=16, seed=1).plan for f in (usual, own))
    before, now = plan.spreads[spreads], more.spreads[spreads]
    assert now.second >= 0.0999 * now.first
    assert now.second > before.second
    # Whose one motor is says nothing of another, nor of anything else.
    its_own = {spreads, "burn time" + " in the air" * spreads.endswith("in the air")}
    others = plan.spreads.keys() - its_own
    assert all(plan.spreads[key] == more.spreads[key] for key in others)
    likely, other = ({c.cause: c.likelihood for c in cases_of(f)} for f in (usual, own))
    assert other[bursts] == pytest.approx(OF_OWN[bursts])
    known = LIKELIHOOD.keys() & likely.keys() - {bursts}
    assert {c: likely[c] for c in known} == {c: other[c] for c in known}


@pytest.mark.parametrize(("own", "holds"), [(False, False), (True, True)])
def test_nobody_knows_an_own_motor_to_a_hundredth(example, own, holds):
    close = (('"160 N s"', '"160 N s +/- 1 %"'),)
    flight = example("godwit", "[motor]", close, own)
    cloud = fly(flight, CALM, 0.0, samples=16, seed=1)
    told = [
        c.name for c in implausible(cloud) if "total impulse" in f"{c.name}{c.note}"
    ]
    assert bool(told) is holds
