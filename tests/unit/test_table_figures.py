"""Figures of the tables that a verdict rests on, each beside where it comes from.

Kept by hand, not made from the files: a figure that is changed, added or left out in a table
fails here until someone looks it up again. Rule files: ``test_rule_figures.py``; canopies:
``test_knacke.py``; the needle: ``test_needle.py``.
"""

import hashlib
from importlib.resources import files
from math import inf

import pytest

from driftmap.formulas.materials import BENDING_STRENGTH, SHEAR_MODULUS
from driftmap.rocket.likelihood import _OF_EACH, LIKELIHOOD, OF_OWN
from driftmap.rules.vocabulary import FACTS
from driftmap.verdict.limits import LIMITS, SIGNED
from driftmap.winds.reading import words
from driftmap.winds.text import unit_size

HOUR = 3600.0

# 14 CFR 450.101, read in a public copy but for (c), which is from memory: (a)(1)(i) 1e-4
# expected casualties for people of the public, (a)(1)(ii) 2e-4 for neighbouring people of the
# range; (a)(2) 1e-6 and 1e-5 for one person; (c) 1e-3 of one failure. Descents and rails:
# common practice, no source. All others are assumed.
LIMITED = {  # default, furthest that an officer's word goes; in SI, angles in degrees
    "area_hit": (0.001, 0.01),
    "area_hit_in_failure": (0.05, 0.2),
    "expected_casualties": (1e-4, 2e-4),
    "individual_risk": (1e-6, 1e-5),
    "casualties_if_it_happens": (1e-3, 1e-3),
    "casualties_in_a_day": (10 * 1e-4, 10 * 2e-4),
    "power_line_hit": (0.01, 0.01),
    "water_hit": (0.05, None),
    "outside_boundary": (0.05, 0.2),
    "hurtful_outside_boundary": (0.01, 0.05),
    "outside_waiver": (0.01, 0.01),
    "above_ceiling": (0.01, 0.01),
    "fins_flutter_off": (0.01, 0.05),
    "recovery_fails": (0.1, 0.2),
    "descent_speed": (9.0, 15.0),
    "descent_speed_streamer": (15.0, 20.0),
    "opening_speed": (40.0, 60.0),
    "opening_load": (20.0, 50.0),
    "overflight": (0.01, 0.05),
    "surface_wind": (inf, None),
    "rail_tilt": (inf, None),
    "rail_speed": (15.0, 12.0),
    "rail_speed_over_wind": (4.0, 3.0),
    "static_margin": (1.0, 0.5),
    "wind_gap": (350.0, 700.0),
    "wind_layer": (1000.0, 2000.0),
    "wind_age": (3 * HOUR, 6 * HOUR),
}

# Per thousand flights. Only their sums have a source, an association's count of 6,169 flights
# (second hand): 8.5 % failed, three quarters of these in recovery; clusters and stages twice
# as often. How they share is assumed. The second figure, where there is one: of a failure of
# one motor, how many motors the first is meant for (assumed). The third: of a motor that is
# home-made or experimental, ten times as often (assumed).
LIKELY = {
    "nothing deploys": (30,),
    "early opening": (5,),
    "late opening": (10,),
    "canopy tangles": (15,),
    "cord cuts the tube": (2,),
    "fins come off": (3,),
    "main at apogee": (5,),
    "drogue only": (5,),
    "drogue fails": (5,),
    "nose cone lost": (5,),
    "motor case ejected": (5, 1),
    "motor bursts": (3, 1, 30),
    "goes off its path": (6,),
    "rod tips over": (2,),
    "part of the cluster lights": (15, 2),
    "motor tears loose": (2, 1),
    "sustainer does not light": (35,),
    "sustainer lights late": (15,),
    "air start does not light": (35,),
    "air start lights late": (15,),
    "sustainer bursts": (3, 1, 30),
    "air start bursts": (3, 1, 30),
    "stages do not part": (15,),
    "recovery of the booster fails": (20,),
    "fins of the booster come off": (3,),
}

# Aluminium's modulus: 26 GPa in any handbook of materials (from memory). All others assumed,
# so wide that handbooks' values of each lie within.
MATERIALS = {  # shear modulus [GPa], stress at the root at which a fin fails [MPa]
    "aluminium": ((25, 28), (150, 400)),
    "glass epoxy": ((3, 6), (200, 450)),
    "carbon epoxy": ((3, 6), (200, 600)),
    "plywood": ((0.4, 0.9), (25, 70)),
    "balsa": ((0.05, 0.2), (8, 25)),
    "card": ((0.3, 1), (8, 30)),
    "solid plastic": ((0.7, 1.4), (30, 80)),
}

# A windsock stands out a fifth for each 3 kt and straight at 15 kt (FAA AC 150/5345-27, from
# memory); that an eye errs by a fifth, or 2 kt and more, is assumed.
SOCK = {
    ("limp", "down", "0"): (0, 3),
    ("1",): (0, 6),
    ("quarter", "a quarter", "1/4"): (2, 6),
    ("2",): (3, 9),
    ("half", "1/2"): (5, 10),
    ("3",): (6, 12),
    ("three quarter", "three quarters", "3/4"): (8, 14),
    ("4",): (9, 15),
    ("full", "fully", "straight", "5"): (15, 25),
}

# Units that files tell their columns in, in the unit of the form: exact by their definitions
# (The International System of Units, BIPM; foot, mile and knot: ``test_units.py``).
KT, MPH, KMH, FT = 1852 / 3600, 0.44704, 1 / 3.6, 0.3048
SIZES = {
    "sounding": {
        "pressure": {"hpa": 100.0, "mb": 100.0, "pa": 1.0},
        "geopotential": {"m": 1.0, "ft": FT},
        "temperature": {"c": 1.0},
        "direction": {"deg": 1.0, "degree": 1.0},
        "speed": {"knot": KT, "kt": KT, "m/s": 1.0},
    },
    "model": {
        "share": {"%": 0.01},
        "mps": {
            **dict.fromkeys(("m/s", "ms", "m s-1", "m s**-1"), 1.0),
            **dict.fromkeys(("km/h", "kmh"), KMH),
            **dict.fromkeys(("mp/h", "mph"), MPH),
            **dict.fromkeys(("kn", "kt", "knots"), KT),
        },
        "deg": dict.fromkeys(("°", "deg", "degree", "degrees"), 1.0),
        "hpa": {
            **dict.fromkeys(("hPa", "mbar", "mb", "millibar", "millibars"), 1.0),
            "Pa": 0.01,
        },
        "m": {"m": 1.0, "gpm": 1.0, "ft": FT},
        "c": {"°C": 1.0, "C": 1.0, "degC": 1.0},
    },
}

# What an answer can be at most, beyond which a digit or a unit has slipped (assumed); levels of
# certification are three (the national associations, from memory), a year has 366 days.
MOST = {
    "cleared_diameter": 500.0,
    "visibility": 300e3,
    "notice": 366 * 24 * HOUR,
    "rockets_together": 50.0,
    "certification_level": 3.0,
    "cloud_cover": 1.0,
}
FROM_NOTHING = {
    *("recovery_devices", "rail_tilt", "surface_wind", "sun_height"),
    *("boundary_distance", "cleared_diameter", "cloud_cover", "visibility", "notice"),
}


def test_limits():
    assert {key: limit.value for key, limit in LIMITS.items()} == pytest.approx(
        {key: default for key, (default, _) in LIMITED.items()}
    )
    assert dict(SIGNED) == pytest.approx(
        {key: most for key, (_, most) in LIMITED.items() if most}
    )


def test_likelihoods():
    assert {k: 1e3 * v for k, v in LIKELIHOOD.items()} == pytest.approx(
        {cause: told[0] for cause, told in LIKELY.items()}
    )
    assert {c: told[1] for c, told in LIKELY.items() if told[1:]} == _OF_EACH
    own = {cause: told[2] / 1e3 for cause, told in LIKELY.items() if told[2:]}
    assert own == pytest.approx(OF_OWN)


def test_materials():
    assert SHEAR_MODULUS.keys() == BENDING_STRENGTH.keys() == MATERIALS.keys()
    for name, ((low, high), (weak, strong)) in MATERIALS.items():
        modulus, stress = SHEAR_MODULUS[name], BENDING_STRENGTH[name]
        assert (modulus.first, modulus.second) == pytest.approx((low * 1e9, high * 1e9))
        assert (stress.first, stress.second) == pytest.approx(
            (weak * 1e6, strong * 1e6)
        )


def test_windsocks():
    assert {
        tuple(row["out"]): tuple(row["kt"]) for row in words("spoken")["sock"]
    } == SOCK


@pytest.mark.parametrize("form", SIZES)
def test_units_of_columns(form):
    found = {
        quantity: {unit: unit_size(form, quantity, unit) for unit in units}
        for quantity, units in words("units")[form].items()
    }
    assert found == {
        quantity: pytest.approx(units) for quantity, units in SIZES[form].items()
    }


def test_what_an_answer_may_be():
    for name, fact in FACTS.items():
        assert fact.most == MOST.get(name, 1e9), name
        assert fact.least == (0.0 if name in FROM_NOTHING else 1e-9), name


@pytest.mark.parametrize(
    ("table", "digest"),
    [
        ("rules/elevations.csv", "feca115249b9d802"),
        ("winds/stations.csv", "a372a6613529c840"),
        ("rules/outlines.csv", "903cc1fa5d10902f"),
        ("air/field.toml", "3f8866fd42f2b001"),
    ],
)
def test_long_tables_are_as_they_were_when_they_were_held_against_their_source(
    table, digest
):
    """Elevations and stations: every line, against airportsdata 20260905. Corners of lands are
    from memory (towns of each: ``test_each_check.py``); the field of winds is as the fit wrote
    it (how it does on other winds: ``test_wind_coverage.py``).
    """
    text = files("driftmap").joinpath(table).read_text("utf-8")
    told = "".join(line for line in text.splitlines(True) if line[0] != "#")
    assert hashlib.sha256(told.encode()).hexdigest()[:16] == digest
