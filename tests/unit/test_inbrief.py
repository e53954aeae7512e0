"""The first sentence of a plan's page: what it claims is what its table holds, never milder."""

from types import SimpleNamespace

import pytest

from driftmap.core.units import MILE_PER_HOUR
from driftmap.report import plan_answers
from driftmap.report.case_pages import _against
from driftmap.report.voice import Voice, read_catalogue
from driftmap.verdict.check import Check, Kind

EN = Voice(read_catalogue("en"), "us")


def side(from_deg, mph, go=True, tried=("hold", "hold", "no-go")):
    """Wind limits from one side: go up to so many mph, or none."""
    return SimpleNamespace(
        from_deg=from_deg,
        go_below=mph and mph * MILE_PER_HOUR,
        go=go,
        tried=[*enumerate(tried)],
    )


def test_limits_are_told_of_the_worst_and_the_best_side_and_rounded_down():
    told = plan_answers.limits_brief([side(0, 9.97), side(90, 4.1)], 0.5, EN)
    assert "2.0" in told  # 2.05 at head height, and never 2.1
    assert "4.9" in told  # 4.985
    assert "360° (N)" in told
    alike = plan_answers.limits_brief([side(0, 4.1), side(90, 4.1)], 0.5, EN)
    assert alike == EN.say("plan.limits_alike", most="2.0\xa0mph")


def test_limits_say_how_many_sides_have_none():
    told = plan_answers.limits_brief([side(0, 8.0), side(90, None, go=False)], 1.0, EN)
    assert "below 8.0\xa0mph" in told
    assert "from 1 of 2 sides" in told


def test_where_no_wind_goes_that_is_all_that_is_said():
    none = [side(0, None, go=False), side(90, None, go=False)]
    assert plan_answers.limits_brief(none, 1.0, EN) == EN.say(
        "plan.no_wind_goes", count="6"
    )
    some = [*none, side(180, 0.0, go=False, tried=("go", "go", "hold"))]
    told = plan_answers.limits_brief(some, 1.0, EN)
    assert told == EN.say("plan.no_side_goes", go="2", count="9")
    # Go from some wind on only: no limit below which it is go may be told.
    assert plan_answers.limits_brief([side(0, None)], 1.0, EN) == ""


def test_the_aim_as_planned_leads_and_the_best_follows():
    rows = [
        ("", "rail", "word"),
        ("", "HOLD"),
        ("10° north", "GO"),
        ("5° east", "HOLD"),
    ]
    told = plan_answers.aims_brief(rows, EN)
    assert told.index("HOLD") < told.index("10° north") < told.index("GO")
    assert plan_answers.aims_brief(rows[:2], EN) == EN.say(
        "plan.aim_brief", word="HOLD"
    )


def test_where_nothing_is_go_the_commonest_reason_and_the_way_on_are_told():
    told = plan_answers.none_go(["a crowd", "the wind", "a crowd", ""], EN)
    assert "a crowd (2 of 4)" in told
    assert "the wind" not in told
    change = EN.say("plan.may_change")
    assert told.endswith(change)
    assert all(f"({word})" in change for word in ("compare", "aim"))
    assert plan_answers.none_go([""], EN) == change


@pytest.mark.parametrize(
    ("rows", "go", "said"),
    [
        ([], True, "plan.layout_none"),
        ([("as drawn", "90 %")], False, "plan.layout_nowhere"),
    ],
)
def test_no_pad_is_praised_that_never_goes(rows, go, said):
    pads = [SimpleNamespace(go=go, broken=()), SimpleNamespace(go=1, broken=("rule",))]
    assert plan_answers.layout_brief([("pad", "share"), *rows], pads, EN) == EN.say(
        said
    )


def test_the_best_pad_is_told_beside_the_one_as_drawn():
    pads, drawn = [SimpleNamespace(go=3, broken=())], EN.say("plan.as_drawn")
    rows = [("pad", "share"), ("B2", "80 %"), (drawn, "30 %")]
    told = plan_answers.layout_brief(rows, pads, EN)
    assert all(word in told for word in ("B2", "80", "30"))
    barred = plan_answers.layout_brief(rows[:2], pads, EN)
    assert EN.say("plan.barred") in barred


def test_a_month_of_few_known_hours_or_none_is_no_best_month():
    data = {
        "counted": "hours",
        "all": {"go_share_of_known": 0.25, "known": 80, "hours": 100},
        "months": [
            {"month": 1, "go_share_of_known": None},
            {"month": 2, "go_share_of_known": 0.5, "interval": (0.4, 0.6)},
            {"month": 3, "go_share_of_known": 1.0, "interval": (0.05, 1.0)},  # of one
        ],
    }
    told = plan_answers.season_brief(data, ["January", "February", "March"], EN)
    assert "February" in told
    assert "January" not in told
    assert "March" not in told
    none = data | {"all": {"go_share_of_known": None}}
    assert "February" not in plan_answers.season_brief(
        none, ["January", "February"], EN
    )


def test_a_go_on_conditions_is_no_better_than_a_plain_one():
    rows = [("way", "word"), ("drogue", "GO if"), ("main", "GO"), ("none", "NO-GO")]
    words = ("go if", "go", "no-go")
    data = {"alternatives": [{"verdict": word} for word in words]}
    told = plan_answers.compare_brief(data, rows, EN)
    assert "main" in told
    assert "drogue" not in told
    alike = [{"verdict": "no-go"}] * 3
    told = plan_answers.compare_brief(
        {"alternatives": alike}, [*rows[:1], *rows[3:] * 3], EN
    )
    assert "none" not in told  # the table names them
    assert "NO-GO" in told


def test_what_goes_wrong_is_added_up_without_what_goes_as_planned():
    cases = [
        {"name": "recovery works", "cause": "", "probability": 0.9},
        {"name": "nothing deploys", "cause": "", "probability": 0.07},
        {"name": "canopy tangles", "cause": "", "probability": 0.03},
    ]
    told = plan_answers.cases_brief({"cases": cases}, EN)
    assert EN.percent(0.1) in told
    assert EN.percent(0.07) in told
    assert plan_answers.cases_brief({"cases": cases[:1]}, EN) == ""


def test_a_way_that_a_question_holds_names_it_as_open():
    stable = Check(
        kind=Kind.RULE,
        name="found stable",
        outcome="warn",
        question=True,
        source="a code",
    )
    site = SimpleNamespace(areas=[])
    way = SimpleNamespace(assessment=SimpleNamespace(site=site, checks=[stable]))
    told = _against(way, EN)
    assert told.startswith("Open question: ")
    assert "found stable" in told
