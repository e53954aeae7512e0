"""The answer of a plan in one sentence, for the head of its page."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from driftmap.core.units import show
from driftmap.planning.layout import Place
from driftmap.planning.windlimits import DirectionLimit
from driftmap.report.sentences import case_words
from driftmap.report.voice import Voice
from driftmap.report.words import rounded_down
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.verdict.check import RANK


def answered(data: Mapping[str, Any], text: str, voice: Voice, *, goes: bool) -> str:
    """Return the answer of a plan: on what its goes hang, and nothing of too few flights.

    ``text``: of one of the functions below; ``goes``: whether it tells of a go.
    """
    if data["too_few"]:
        return ""
    if data["conditions"] and text and goes:
        return voice.say("plan.answer_if", text=text)
    return text


def limits_brief(found: Sequence[DirectionLimit], share: float, voice: Voice) -> str:
    """Say up to which wind at head height it is go from each side, and from the best one.

    ``share``: wind at head height for each of that at 10 m.
    """
    least, best = (
        pick(found, key=lambda limit: limit.go_below or 0.0) for pick in (min, max)
    )
    if not best.go_below and any(limit.go for limit in found):
        return ""  # go only from some wind on: the table says where
    if not best.go_below:
        findings = [finding for limit in found for _, finding in limit.tried]
        count, go = str(len(findings)), findings.count("go")
        if go:
            return voice.say("plan.no_side_goes", go=str(go), count=count)
        return voice.say("plan.no_wind_goes", count=count)

    def speed(value: float) -> str:
        told = rounded_down(value * share, voice.units, 0.1)
        return voice.number(show(told, "speed", voice.units, digits=1))

    most, way = speed(best.go_below), voice.bearing(math.radians(best.from_deg))
    if least.go_below:
        low = speed(least.go_below)
        if low == most:
            return voice.say("plan.limits_alike", most=most)
        return voice.say("plan.limits_brief", least=low, most=most, way=way)
    none = sum(not limit.go_below for limit in found)
    return voice.say(
        "plan.limits_some", most=most, way=way, none=str(none), all=str(len(found))
    )


def none_go(reasons: Iterable[str], voice: Voice) -> str:
    """Say, where nothing is go, what holds most often and what may change it.

    ``reasons``: of each that was tried, what holds it; nothing of one that is not known.
    """
    counts = Counter(reasons)
    told = [voice.say("plan.may_change")]
    for what, count in Counter({k: n for k, n in counts.items() if k}).most_common(1):
        all_ = voice.count(counts.total())
        told.insert(
            0,
            voice.say("plan.held_most", what=what, count=voice.count(count), all=all_),
        )
    return " ".join(told)


def aims_brief(rows: Sequence[Sequence[str]], voice: Voice) -> str:
    """Say how the rail as planned does, and the best aim found."""
    (_, planned, *_), *best = rows[1:]
    text = voice.say("plan.aim_brief", word=planned)
    if best:
        text += " " + voice.say("plan.aim_best", rail=best[0][0], word=best[0][1])
    return text


def layout_brief(
    rows: Sequence[Sequence[str]], pads: Sequence[Place], voice: Voice
) -> str:
    """Say which pad is best, and how the one as drawn does; rows as in its table."""
    drawn = voice.say("plan.as_drawn")
    shares = {row[0]: row[1] for row in rows[1:]}
    if not shares:
        return voice.say("plan.layout_none")
    if not any(pad.go for pad in pads if not pad.broken):
        return voice.say("plan.layout_nowhere")
    best, share = next(iter(shares.items()))
    if best == drawn:
        return voice.say("plan.layout_drawn", share=share)
    return voice.say(
        "plan.layout_brief",
        pad=best,
        share=share,
        drawn=shares.get(drawn, voice.say("plan.barred")),
    )


def season_brief(data: Mapping[str, Any], months: Sequence[str], voice: Voice) -> str:
    """Say which share was go, and in which month surely most: one known hour is no month."""
    what, all_ = voice.say(f"plan.{data['counted']}"), data["all"]
    if all_["go_share_of_known"] is None:
        return voice.say("plan.season_none", what=what)
    best = max(
        (m for m in data["months"] if m["go_share_of_known"] is not None),
        key=lambda m: m["interval"][0],
    )
    return voice.say(
        "plan.season_brief",
        share=voice.percent(all_["go_share_of_known"]),
        known=voice.say(
            "plan.of", known=voice.count(all_["known"]), all=voice.count(all_["hours"])
        ),
        what=what,
        month=months[best["month"] - 1],
        best=voice.percent(best["go_share_of_known"]),
    )


def compare_brief(
    data: Mapping[str, Any], rows: Sequence[Sequence[str]], voice: Voice
) -> str:
    """Say which ways to come down have the mildest word; rows as in the table."""
    words = [one["verdict"] for one in data["alternatives"]]
    # A go on conditions comes after one without.
    least = min(words, key=lambda word: (RANK.index(word.removesuffix(" if")), word))
    ways = zip(rows[1:], words, strict=True)
    mildest = [row for row, word in ways if word == least]
    told = {"word": mildest[0][1], "count": str(len(words))}
    if len(mildest) == len(words):
        return voice.say("plan.compare_alike", **told)
    names = "; ".join(row[0] for row in mildest)
    return voice.say("plan.compare_brief", names=names, **told)


def cases_brief(data: Mapping[str, Any], voice: Voice) -> str:
    """Say how often something goes wrong, and what most often."""
    wrong = [case for case in data["cases"] if case["name"] not in {WORKS, BARE}]
    if not wrong:
        return ""
    first = max(wrong, key=lambda case: case["probability"])
    total = math.fsum(case["probability"] for case in wrong)
    return voice.say(
        "plan.cases_brief",
        share=voice.percent(total),
        first=case_words(first["name"], voice, first["cause"]),
        often=voice.percent(first["probability"]),
    )
