"""Every figure of every rule file, held against a table kept by hand.

The table was written from the published values, not from the files: a figure that is
changed, added or left out in a file fails here until someone looks it up again. Where a
source says "from memory", nobody has had the text open.

Sources, by their key in the table
----------------------------------
cfr: 14 CFR 101.22, 101.25, 101.27 and 1.1, copies of the eCFR. nfpa: NFPA 1127-2018, table
4.16.3, in a secondary copy (lunar.org). tia: NFPA 1127-2018, TIA 18-1. nar: high power code
of August 2012, from memory. model: NFPA 1122-2018 and the model code, public copies.
motor: limits of one model motor, public copies (secondary). memory: from memory alone.
ccr: 19 CCR 1032 and 1036. club: a club's page (secondary). ano: Air Navigation Order,
article 99 of 2005 and caa.co.uk. car: canadianrocketry.org and the exemption of 1998
(secondary). casr: a dealer's and a club's summary of CASR 101.H (secondary). practice:
common practice, no source.
"""

import math
import re

import pytest

from driftmap.rules.reading import read_rules, rule_sets
from driftmap.rules.ruleset import Question

FT, MI, NMI, MPH, G, H = 0.3048, 1609.344, 1852.0, 0.44704, 1e-3, 3600.0
DEG = math.pi / 180


def bands(*rows):
    """Flatten rows of a table: upper end, one motor, several."""
    return tuple(figure for row in rows for figure in (*row, row[-1])[:3])


# Upper ends in N s, distances in ft: one motor, several motors or stages.
PEOPLE = ((1280, 100, 200), (2560, 200, 300), (5120, 300, 500), (10240, 500, 1000),
          (20480, 1000, 1500), (40960, 1500, 2000))  # fmt: skip
DISTANCES = bands(*((end, one * FT, more * FT) for end, one, more in PEOPLE))
TWICE = bands(*((end, None, 2 * more * FT) for end, _, more in PEOPLE))
ONCE = bands(*((end, None, more * FT) for end, _, more in PEOPLE))
CLEARED = ((1280, 50), (2560, 75), (5120, 100), (40960, 125))

ROWS = [
    ("range", "cloud_passed_by", "practice", (1.0,)),
    ("range", "crew_drawn_elsewhere", "practice", (1,)),
    ("range", "night_arranged", "practice", (0.0,)),
    ("range", "side_of_border", "practice", (1,)),
    ("range", "drawn_where_it_is", "practice", (1,)),
    ("range", "elevation_checked", "practice", (200.0,)),
    ("range", "airport_agreed", "practice", (5000.0,)),
    ("range", "motors_told_together", "practice", (1,)),
    ("range", "recovery_of_one_body", "practice", (1,)),
    ("range", "booster_fins_hold", "practice", (1,)),
    ("us-faa-101", "Class 1, model rocket", "cfr", (125 * G, 1500 * G)),
    ("us-faa-101", "Class 2, high-power rocket", "cfr", (40960,)),
    ("us-faa-101", "Class 3, advanced high-power rocket", "cfr", (889600,)),
    ("us-faa-101", "cloud_cover", "cfr", (0.5,)),
    ("us-faa-101", "visibility", "cfr", (5 * MI,)),
    ("us-faa-101", "sun_height", "cfr", (0.0,)),
    ("us-faa-101", "airport_distance", "cfr", (5 * NMI,)),
    ("us-faa-101", "property_separation", "cfr", (1500 * FT, 0.25)),
    ("us-faa-101", "people_separation", "cfr", (1500 * FT, 0.25)),
    ("us-faa-101", "notice_at_least", "cfr", (24 * H,)),
    ("us-faa-101", "notice_at_most", "cfr", (72 * H,)),
    ("us-faa-101", "expected_altitude", "cfr", (1.0,)),
    ("us-high-power", "personnel_distance", "nfpa", DISTANCES),
    ("us-high-power", "boundary_distance", "nar", DISTANCES),
    ("us-high-power", "cleared_diameter", "nar",
     bands(*((end, d * FT) for end, d in CLEARED))),
    ("us-high-power", "cleared_diameter", "nar",
     bands(*((end, 1.5 * d * FT) for end, d in CLEARED))),
    ("us-high-power", "site_dimension", "nar", (160, 1500 * G, 2000 * FT, 1500 * FT, 0.5)),
    ("us-high-power", "site_dimension", "nar", (160, 1500 * G, 2000 * FT, 1000 * FT)),
    ("us-high-power", "building_distance", "nar", (1500 * FT,)),
    ("us-high-power", "road_distance", "nar", (1500 * FT,)),
    ("us-high-power", "rail_tilt", "nar", (20 * DEG,)),
    ("us-high-power", "surface_wind", "nar", (20 * MPH,)),
    ("us-high-power", "liftoff_weight", "nar", (1 / 3,)),
    ("us-high-power", "total_impulse", "nar", (40960,)),
    ("us-high-power", "drag_race_distance", "tia", (3, 2000 * FT, 1.5, *TWICE)),
    ("us-high-power", "drag_race_distance", "tia", (3, 2000 * FT, 1.5, *ONCE)),
    ("us-high-power", "certification_level", "memory",
     bands((640, 1), (5120, 2), (40960, 3))),
    ("us-high-power", "recovery_devices", "nar", (1,)),
    ("us-model", "model rocket", "model motor", (1500 * G, 125 * G, 320, 160, 80)),
    ("us-model", "personnel_distance", "model", bands((20, 15 * FT), (320, 30 * FT))),
    ("us-model", "site_dimension", "model",
     (160, *bands((1.25, 50 * FT), (2.5, 100 * FT), (5, 200 * FT), (10, 400 * FT),
                  (20, 500 * FT), (160, 1000 * FT)))),
    ("us-model", "site_dimension", "memory", (160, 1500 * FT)),
    ("us-model", "rail_tilt", "model", (30 * DEG,)),
    ("us-model", "drag_race_distance", "model memory", (10, 30 * FT, 1.5)),
    ("us-model", "surface_wind", "memory", (20 * MPH,)),
    ("us-model", "recovery_devices", "memory", (1,)),
    ("us-california", "rocket of no motor over 160 N s", "memory",
     (160, 80, 125 * G, 1500 * G)),
    ("us-california", "motor_impulse", "ccr", (10240,)),
    ("us-california", "total_impulse", "ccr", (20480,)),
    ("us-california", "personnel_distance", "ccr",
     bands((320, 30 * FT, 150 * FT), (1280, 150 * FT, 200 * FT), (2560, 200 * FT, 300 * FT),
           (5120, 300 * FT, 500 * FT), (10240, 500 * FT, 1000 * FT), (20480, 1000 * FT, None))),
    ("us-california", "rail_tilt", "ccr", (20 * DEG,)),
    ("us-california", "surface_wind", "ccr", (20 * MPH,)),
    ("us-california", "sun_height", "ccr", (0.0,)),
    ("us-california-sites", "site_dimension", "club",
     (160, *bands((320, 1500 * FT), (640, 2500 * FT), (1280, 3500 * FT), (2560, 5000 * FT),
                  (5120, 7000 * FT), (10240, 10000 * FT), (20480, 15000 * FT)))),
    ("uk", "rocket below the small-rocket rules", "ano", (160,)),
    ("uk", "small rocket", "ano", (10240,)),
    ("uk", "expected_altitude", "ano", (47000,)),
    ("canada", "model rocket", "car", (160, 1500 * G)),
    ("canada", "high power rocket", "car", (40960,)),
    ("canada", "site_dimension", "car",
     (500, 0.5, *bands((3000 * FT, 500), (6000 * FT, 1000), (10000 * FT, 2000),
                       (12000 * FT, 3000)))),
    ("canada", "recovery_devices", "car", (1,)),
    ("australia", "small model rocket", "casr", (500 * G, 25 * G)),
    ("australia", "small model rocket", "casr", (500 * G, 20)),
    ("australia", "model rocket", "casr", (1500 * G, 125 * G, 320, 62.5 * G, 160)),
    ("australia", "expected_altitude", "casr", (400 * FT,)),
    ("germany", "rocket of up to 20 g of propellant", "memory", (20 * G,)),
    ("germany", "airport_distance", "memory", (1500,)),
    ("new-zealand", "rocket of up to 1.5 kg and 320 N s", "memory", (1.5, 320)),
]  # fmt: skip


def figures(rules):
    """List name and figures of every class and row that has any, as they were read."""
    for kind in rules.classes:
        yield kind.name, tuple(c.bound for c in kind.when)
    for rule in rules.rules:
        found = [c.bound for c in (*rule.when, *rule.unless)]
        found += [] if rule.limit is None else [rule.limit]
        found += [rule.share] if rule.share_of else []
        for band in rule.bands:
            found += [band.up_to, band.figure(many=False), band.figure(many=True)]
        yield rule.name, tuple(found)


def in_file(name):
    rules = next(r for r in read_rules([name]) if r.name == name)
    return [(name, row, found) for row, found in figures(rules) if found]


def published(name):
    return [(where, row, found) for where, row, _, found in ROWS if where == name]


def same(one, other):
    """Compare figures to a part in a million."""
    return len(one) == len(other) and all(
        a == b
        if a is None or b is None
        else math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-9)
        for a, b in zip(one, other, strict=True)
    )


@pytest.mark.parametrize("name", rule_sets())
def test_every_figure_is_the_published_one(name):
    found, wanted = in_file(name), published(name)
    assert [row[:2] for row in found] == [row[:2] for row in wanted]
    for mine, theirs in zip(found, wanted, strict=True):
        assert same(mine[2], theirs[2]), (mine, theirs)


def test_the_table_holds_no_set_that_is_gone():
    assert {row[0] for row in ROWS} <= set(rule_sets())
    assert {source for row in ROWS for source in row[2].split()} == {
        *(
            "cfr",
            "nfpa",
            "tia",
            "nar",
            "model",
            "motor",
            "memory",
            "ccr",
            "club",
            "ano",
        ),
        *("car", "casr", "practice"),
    }


def test_no_other_number_of_a_rule_is_left_out():
    """What `figures` does not list holds no number: a new field must be added there."""
    listed = {"limit", "share", "bands", "factor", "when", "unless"}
    for rules in read_rules(rule_sets()):
        for rule in rules.rules:
            for name, value in rule:
                assert (
                    name in listed
                    or isinstance(value, bool)
                    or not isinstance(value, int | float)
                )


TOLD = {
    ("range", "misfire_wait"): ["60"],
    ("us-faa-101", "responsible_person"): ["18"],
    ("us-faa-101", "waiver_request_in_time"): ["101.29", "45"],
    ("us-faa-101", "advanced_waiver_request_in_time"): ["101.29", "45"],
    ("us-high-power", "quiet_roads"): ["10"],
    ("us-california", "visibility_above_site"): ["5,000"],
    ("us-california", "model_sections_read"): ["19"],
    ("canada", "launch_authorization"): ["602.43", "602.44"],
    ("australia", "primary_text_read"): ["101.425", "101.470"],
    ("germany", "airspace_leave"): ["20"],
}
"""Figures that stand in the words of a question, sections of a law among them."""


@pytest.mark.parametrize("name", rule_sets())
def test_figures_in_words(name):
    rules = next(r for r in read_rules([name]) if r.name == name)
    asked = [q for kind in rules.classes for q in kind.confirmed]
    asked += [Question(name=r.name, text=r.question) for r in rules.rules if r.question]
    asked += [q for r in rules.rules for q in (r.excuse, r.stand_in) if q]
    wanted = {key[1]: numbers for key, numbers in TOLD.items() if key[0] == name}
    assert wanted.keys() <= {question.name for question in asked}
    for question in asked:
        found = re.findall(r"\d[\d.,]*\d|\d", question.text)
        assert found == wanted.get(question.name, []), question
