"""Figures as people say them."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from driftmap.air.wind import Disagreement, WindLevel
from driftmap.core.units import DIMENSIONS, MILE_PER_HOUR
from driftmap.report import page, reasons, sentences, words
from driftmap.report.sentences import sentence
from driftmap.report.terminal import aligned
from driftmap.report.voice import Voice, english, languages, read_catalogue
from driftmap.rocket.likelihood import LIKELIHOOD
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.limits import LOOSER
from driftmap.winds.profile import read_winds


def check(**changes):
    """A check that fails, with changes."""
    given = {
        "kind": Kind.LANDS_IN,
        "case": "all cases",
        "area": "Camp",
        "value": 0.00202,
        "interval": (0.0015, 0.0027),
        "limit": 0.001,
        "unit": "share",
        "outcome": "fail",
        "source": "a test",
    }
    return Check(**{**given, **changes})


@pytest.mark.parametrize("language", languages())
def test_people_of_all_areas_together_are_told_in_the_reader_s_language(language):
    catalogue = read_catalogue(language)
    voice = Voice(catalogue, catalogue.units)
    over = check(kind=Kind.OVERFLIGHT, area="people", case="")
    for told in (sentence(over, voice), sentences.subject(over, voice)):
        assert voice.say("reason.everybody") in told
        assert language == "en" or "people" not in told


@given(st.floats(1e-6, 1.0))
def test_percent_is_within_half_of_its_second_digit(p):
    told = float(words.percent(p).removesuffix(" %")) / 100
    small = min(p, 1 - p) if p > 0.99 else p
    assert told == pytest.approx(p, abs=0.051 * small + 1e-9)


@given(st.floats(1e-9, 1 - 1e-6))
def test_only_nothing_reads_0_and_only_certainty_reads_100(p):
    told = float(words.percent(p).removesuffix(" %"))
    assert 0 < told < 100


@given(st.floats(1e-6, 0.5))
def test_a_bound_is_never_rounded_to_a_rarer_one(upper):
    told = english("us").one_in(upper, bound=True)
    number = int(told.removeprefix("1 in ").replace(",", ""))
    assert 1 / number >= upper * (1 - 1e-9)


@pytest.mark.parametrize("flights", [1, 50, 20_000])
def test_nothing_seen_is_told_as_a_bound(flights):
    upper = 1 - 0.025 ** (1 / flights)
    told = english("us").share(0.0, (0.0, upper), flights).replace("\u00a0", " ")
    assert told.startswith(f"none seen in {flights:,} flights: under ")
    assert "0 %" not in told


def test_certainty_is_told_as_what_was_counted():
    told = english("us").share(1.0, (0.9998, 1.0), 20_000)
    assert told == "every one of 20,000 flights"


@pytest.mark.parametrize(
    ("degrees", "told"),
    [
        (0, "360° (N)"),
        (359.6, "360° (N)"),
        (11, "011° (N)"),
        (12, "012° (NNE)"),
        (-90, "270° (W)"),
    ],
)
def test_bearing(degrees, told):
    assert words.bearing(math.radians(degrees)) == told


def test_reason_names_place_figure_and_limit():
    (told,) = reasons.verdict_reasons([check()], ["Camp"], english("us"))
    assert told == "1 flight in 500 comes down in Camp; we allow 1 in 1,000"


def test_reason_in_a_case_and_not_sure():
    line = check(
        kind=Kind.LANDS_IN_FAILURE,
        case="nothing deploys",
        value=0.0,
        interval=(0.0, 0.0074),
        limit=0.005,
        outcome="warn",
    )
    (told,) = reasons.verdict_reasons([line], [], english("us"))
    assert told == (
        "Not sure: If nothing opens, fewer than 1 flight in 130 comes down in Camp; "
        "we allow 1 in 200"
    )


def test_figures_that_round_alike_do_not_seem_to_agree():
    line = check(value=0.00101, interval=(0.001005, 0.00102))
    (told,) = reasons.verdict_reasons([line], [], english("us"))
    assert told == "1 flight in 990 comes down in Camp; we allow 1 in 1,000"
    line = check(value=0.001004, interval=(0.0010005, 0.001006))
    (told,) = reasons.verdict_reasons([line], [], english("us"))
    assert told == "1 flight in 996 comes down in Camp; we allow 1 in 1,000"


def test_only_what_hangs_on_more_flights_is_called_not_sure():
    line = check(value=0.0012, interval=(0.0008, 0.0017), outcome="warn")
    (told,) = reasons.verdict_reasons([line], [], english("us"))
    assert told.startswith("Not sure: 1 flight in 830 ")
    line = check(value=0.0001, interval=(0.00002, 0.0012), outcome="warn")
    (told,) = reasons.verdict_reasons([line], [], english("us"))
    assert told.startswith("1 flight in 10,000 ")
    assert told.endswith(" we allow 1 in 1,000 – but it may be 1 flight in 830")
    gap = check(
        kind=Kind.WIND_GAP,
        case="",
        area="",
        value=900.0,
        interval=(900.0, 900.0),
        limit=150.0,
        unit="m",
        outcome="warn",
    )
    (told,) = reasons.verdict_reasons([gap], [], english("si"))
    assert (
        told == "It flies 900\u00a0m above the highest wind known; at most 150\u00a0m"
    )


@pytest.mark.parametrize("language", languages())
def test_every_kind_of_check_has_a_sentence_in_every_language(language):
    """No reason on a foreign sheet is English; rules, reports, claims and what is missing bring their own."""
    voice = Voice(read_catalogue(language), "si")
    own = {Kind.RULE, Kind.MISSING, Kind.WIND_WARNED, Kind.IMPLAUSIBLE}
    for kind in Kind:
        line = check(kind=kind, name="a text of its own", case="nothing deploys")
        told = sentence(line, voice)
        assert told.startswith("a text of its own") == (kind in own), kind
        if kind in own:
            continue
        assert "a text of its own" not in told, kind
        assert f"check.{kind.value}" in voice.catalogue.messages
        assert "{" not in told
        if "failure" in kind.value:
            assert told.startswith(voice.catalogue.messages["when.nothing deploys"])


def test_a_calm_with_gusts_tells_how_far_up_it_may_be():
    calm = check(value=0.0, interval=(0.0, 11.2), limit=8.9, unit="m/s", outcome="warn")
    told = sentence(replace(calm, kind=Kind.SURFACE_WIND), english("si"))
    assert "up to 11.2\u00a0m/s" in told or "up to 11 m/s" in told.replace(
        "\u00a0", " "
    )
    assert "up to 0" not in told


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("other", ["calm", "25 mph from 060", "3 mph variable"])
def test_winds_that_disagree_are_told_in_every_language(language, other):
    """As the readers of winds word it, in the units and words of those who read it."""
    voice = Voice(read_catalogue(language), "si")
    wind = read_winds(["25 mph from 240", other], site_altitude=0.0)
    (two,) = wind.disagree
    assert two.told in wind.warned
    told = sentence(check(kind=Kind.WIND_WARNED, name=two.told, winds=two), voice)
    start = voice.catalogue.messages["winds.reports"].partition("{")[0]
    assert told.startswith(start)
    assert voice.speed(25 * MILE_PER_HOUR) in told
    assert "(25 mph)" not in told
    two = Disagreement(
        "both in words",
        WindLevel(10.0, None, 3.0, 4.0, "flown"),
        WindLevel(10.0, None, 6.0, None, "answered"),
    )
    line = check(kind=Kind.WIND_WARNED, name=two.told, winds=two, answered=True)
    told = sentence(line, voice)
    assert all(voice.speed(speed) in told for speed in (3.0, 4.0, 6.0))
    assert "mph" not in told


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(
    "kind", [Kind.CASUALTIES, Kind.CASUALTIES_IF, Kind.INDIVIDUAL_RISK]
)
def test_a_risk_of_which_nothing_was_seen_is_a_bound_and_no_expectation(language, kind):
    voice = Voice(read_catalogue(language), "si")
    line = check(
        kind=kind,
        case="nothing deploys",
        value=0.0,
        interval=(0.0, 0.00312),
        limit=0.001,
        unit="per flight",
        outcome="warn",
    )
    told = sentence(line, voice)
    seen = sentence(replace(line, value=0.0005), voice)
    assert "320" in told
    assert told != seen
    assert voice.say("chance.unsure", told="") in told


@pytest.mark.parametrize("language", languages())
def test_a_case_that_an_opening_ends_in_is_told_in_every_language(language):
    """Whichever device's opening gave, and by whatever branch, its words are known."""
    voice = Voice(read_catalogue(language), "si")
    for case, wide in (
        ("planned opening, drogue torn", "planned opening, torn"),
        ("main at apogee, holds", "main at apogee"),
        ("fin flutters off", "fins come off"),
    ):
        line = check(kind=Kind.LANDS_IN_FAILURE, case=case)
        assert sentence(line, voice).startswith(voice.say(f"when.{wide}"))
        assert sentences.case_words(case, voice) != case


@pytest.mark.parametrize("language", languages())
def test_a_rule_keeps_its_figure_and_its_limit(language):
    voice = Voice(read_catalogue(language), "si")
    line = check(
        kind=Kind.RULE,
        name="everyone stays at least this far from the pad",
        case="",
        area="",
        value=61.0,
        interval=(61.0, 61.0),
        limit=91.4,
        unit="m",
        sense="least",
    )
    told = sentence(line, voice)
    assert "61\u00a0m" in told
    assert "91\u00a0m" in told


def test_every_cause_begins_a_sentence_of_its_own():
    for language in languages():
        messages = read_catalogue(language).messages
        begun = {
            messages[f"when.{cause}"] for cause in LIKELIHOOD if cause != "flutter"
        }
        assert len(begun) == len(LIKELIHOOD) - ("flutter" in LIKELIHOOD)


@given(st.floats(1e-6, 0.98))
def test_a_bound_in_percent_is_never_rounded_down(upper):
    told = float(words.percent(upper, bound=True).removesuffix(" %")) / 100
    assert upper * (1 - 1e-9) <= told <= upper * 1.11


def test_a_loosened_limit_is_told_with_who_answers_and_never_first():
    by = f"set in field, {LOOSER} of 10 %; answered for by Ada, a name that the file gives"
    kept = check(area="Spring", outcome="pass", beside=True, source=by)
    told = reasons.verdict_reasons([kept, check()], ["Camp"], english("us"))
    assert ["Ada" in line for line in told] == [False, True]
    assert "Camp" in told[0]


@pytest.mark.parametrize("kind", [Kind.RULE, Kind.WIND_WARNED])
def test_what_somebody_did_comes_after_what_governs_and_names_nothing_denied(kind):
    done = check(
        kind=kind, name="taken back by Ann", area="", outcome="pass", beside=True,
        answered=True, limit=None, value=None,
    )  # fmt: skip
    told = reasons.verdict_reasons([done, check()], ["Camp"], english("us"))
    assert "Camp" in told[0]
    assert "taken back by Ann" in told[1].lower().replace("ann", "Ann")
    assert "no" not in told[1].split()


def test_the_worst_come_first():
    """What stands beside the word, fails, people and all of them first, then how far over."""
    fall = {"kind": Kind.UNDER_THE_FALL, "unit": "share of falls", "beside": True}
    slow = {"kind": Kind.RAIL_SPEED, "area": "", "sense": "least", "unit": "m/s"}
    rule = {"kind": Kind.RULE, "name": "asked", "value": None, "limit": None}
    order = [
        check(outcome="warn", value=0.5, limit=0.5, **fall),
        check(kind=Kind.AMONG_PEOPLE, area="", value=0.002),
        check(area="Camp", value=0.003),
        check(area="Crowd", value=0.002),
        check(value=5.0, limit=15.0, **slow),
        check(area="Spring", value=0.0025),
        check(area="Crowd", outcome="warn", value=0.0011),
        check(area="Spring", outcome="warn", value=0.5),
        check(area="Crowd", outcome="warn", value=0.0009),
        check(outcome="warn", question=True, **rule),
    ]
    passes = check(area="Tent", outcome="pass")
    found = reasons.worst_first([passes, *reversed(order)], ["Crowd", "Camp"])
    assert found == order


def test_what_nobody_read_aloft_leads_but_where_something_fails():
    aloft = check(kind=Kind.WIND_GAP, area="", outcome="warn", beside=True, unit="m")
    for other, lead in (("warn", Kind.WIND_GAP), ("fail", Kind.LANDS_IN)):
        first, *_ = reasons._to_tell([aloft, check(outcome=other)], ["Camp"])
        assert first.kind is lead


def test_one_consequence_stands_first_though_it_passes():
    """If nothing opens it comes down among people: that is told before any figure."""
    lines = [
        check(area="Spring", value=0.5),
        check(
            kind=Kind.UNDER_THE_FALL,
            case="nothing deploys",
            area="Crowd",
            unit="share of falls",
            outcome="pass",
            beside=True,
        ),
        check(
            kind=Kind.UNDER_THE_FALL,
            case="canopy tangles",
            area="Crowd",
            unit="share of falls",
            outcome="warn",
            beside=True,
        ),
    ]
    told = {"kind": Kind.LANDS_IN_FAILURE, "case": "canopy tangles", "outcome": "pass"}
    hits = [check(**told, area="Crowd", value=share) for share in (0.01, 0.02, 0.001)]
    (first, *_) = reasons.verdict_reasons([*lines, *hits], ["Crowd"], english("us"))
    # Of how many such flights one does so, where that was counted.
    told = "If it tangles, 1 flight in 50 comes down among the people at Crowd"
    assert first == f"{told}; we allow 1 in 1,000"
    told = reasons.verdict_reasons(lines, ["Crowd"], english("us"))
    assert told[0] == "If it tangles, it can come down among the people at Crowd"
    assert "Spring" in told[1]
    assert told[2] == "If nothing opens, it can come down among the people at Crowd"
    # What passes and leads takes the first that fails with it.
    spring, passing, warned = lines
    assert reasons.leading([spring, passing], ["Crowd"]) == 2
    assert reasons.leading([spring, passing, warned], ["Crowd"]) == 1
    assert reasons.leading([passing], ["Crowd"]) == 1


def test_a_least_value_says_so():
    line = check(
        kind=Kind.RAIL_SPEED,
        case="",
        area="",
        value=12.4,
        interval=(11.0, 14.0),
        limit=15.0,
        unit="m/s",
        sense="least",
    )
    voice = english("si")
    assert sentences.limit(line, voice) == "at least 15.0\u00a0m/s"
    told = ("12.4\u00a0m/s", "11.0 to 14.0\u00a0m/s")
    assert sentences.figure(line, 1, voice) == told


def test_units_are_tied_to_their_numbers():
    told = words.tied("8 mph, 5 m past 3 s and 4 months, 0.1 % of 12 ft lbf")
    assert (
        told
        == "8\u00a0mph, 5\u00a0m past 3\u00a0s and 4 months, 0.1\u00a0% of 12\u00a0ft lbf"
    )
    assert (
        words.tied("Vent : 8 m/s ; au sol :")
        == "Vent\u00a0: 8\u00a0m/s\u00a0; au sol\u00a0:"
    )


def test_other_scripts_are_isolated():
    assert words.isolate("Camp") == "Camp"
    assert words.isolate("מחנה") == "\u2068מחנה\u2069"


@pytest.mark.parametrize(
    ("second", "told"),
    [(0.4, "0 s"), (32.9, "32 s"), (120.9, "120 s"), (121, "2 min 1 s")],
)
def test_a_moment_past_two_minutes_has_its_minutes(second, told):
    assert english("us").clock(second).replace("\u00a0", " ") == told
    assert english("si").clock(966.7) == "16\u00a0min 6\u00a0s"


def test_an_option_to_copy_never_breaks_after_its_hyphens():
    told = page._whole_options("1 < 2: more are needed (--samples 3689). No")
    assert told == (
        '1 &lt; 2: more are needed <span class="whole">(--samples 3689)</span>. No'
    )


@pytest.mark.parametrize("metric", words._US)
def test_figures_of_notes_are_those_of_the_units_table(metric):
    """Against the table that reads what people write; a list keeps its one unit."""
    told = words.in_units_of(f"up to 1,234 {metric} of it", "us")
    number, unit = told.removeprefix("up to ").removesuffix(" of it").split(" ", 1)
    (kind,) = (k for k, table in DIMENSIONS.items() if {metric, unit} <= {*table})
    exact = 1234 * DIMENSIONS[kind][metric] / DIMENSIONS[kind][unit]
    assert float(number.replace(",", "")) == pytest.approx(exact, rel=0.011)


@pytest.mark.parametrize(
    "text", ["0.3, 0.5 and 1 m/s", "62 N s", "1.2 kg/m³", "457 m (1,500 ft)", "F12 m"]
)
def test_other_figures_of_notes_are_left_alone(text):
    assert words.in_units_of(text, "us") == text
    assert words.in_units_of("up to 60 m", "si") == "up to 60 m"


def test_figures_stand_to_the_right_and_sentences_to_the_left():
    rows = [["what", "how much", "why"], ["a", "7 ft", "1 flight in 32 comes down there, which is too many"],
            ["b", "1,200 ft", "wind"]]  # fmt: skip
    lines = aligned(rows).splitlines()
    assert lines[2].startswith("a         7 ft  1 flight")
    assert lines[3].startswith("b     1,200 ft  wind")


@pytest.mark.parametrize(("of_it", "lines"), [(0.03, 1), (0.02, 2)])
def test_a_sum_that_is_all_of_one_place_is_told_once_by_its_name(of_it, lines):
    """One in 33 on closed ground and one in 33 in the spring are one thing."""
    told = reasons.verdict_reasons(
        [
            check(kind=Kind.ON_CLEAR_GROUND, area="", value=0.03),
            check(area="Spring", value=of_it),
        ],
        [],
        english("us"),
    )
    assert len(told) == lines
    assert "Spring" in told[-1]
