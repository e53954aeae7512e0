"""Rows of the page's tables: every figure as the text a person reads."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np

from driftmap.air.wind import reported_at
from driftmap.core.estimate import Estimate
from driftmap.planning.wind_margin import WindMargin
from driftmap.report import marks, reasons, wind_text
from driftmap.report.moving import Move
from driftmap.report.sentences import case_name, figure, limit, subject
from driftmap.report.sheetfacts import Spot
from driftmap.report.voice import Voice
from driftmap.report.words import flown_at, in_units_of
from driftmap.rocket.likelihood import WORKS
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import OUTCOMES, Check, Kind, counted
from driftmap.verdict.limits import LOOSER
from driftmap.verdict.rule_checks import show_position

_MOST_WIND_ROWS: Final = 16


def headline(
    a: Assessment, voice: Voice, around: WindMargin | None = None, *, most: int = 2
) -> dict[str, Any]:
    """Give the verdict, the wind it holds for, and what speaks against flying: the head of a page.

    ``around``: the winds judged about this one; ``most``: reasons to tell.
    """
    crowd = [area.name for area in a.site.areas if area.occupied]
    against = reasons.verdict_reasons(a.checks, crowd, voice, once=True)
    # As beside it: what passes and is told all the same is within limits.
    count = sum(check.outcome != "pass" for check in a.checks) or len(against)
    lead = reasons.leading(a.checks, crowd)
    read, mast, age = wind_text.wind_in_words(a.wind, voice, a.answers.when)
    out, said = counted(a.checks)
    stop, judged = "", ""
    if around is not None and (stop := wind_text.stops_at(a.wind, around, voice)):
        judged = voice.say("head.judged", count=voice.count(around.judged))
    return {
        "verdict": a.verdict,
        "word": voice.say(f"verdict.{a.verdict}"),
        "wind": read,
        "mast": mast,
        "age": age,
        "good": wind_text.good_until(a, voice),
        "still": wind_text.without_clock(a, voice),
        "stop": stop or ("" if a.verdict == "no-go" else voice.say("verdict.valid")),
        "judged": judged,
        "pad": a.site.pad,
        "place": show_position(a.site.longitude, a.site.latitude),
        "time": flown_at(a.answers.when) or voice.say("head.no_time"),
        "more_wind": wind_text.more_wind_text(a.more_wind, voice),
        "counts": voice.say(
            "verdict.counts",
            kept=voice.count(out + said),
            count=voice.count(len(a.checks)),
            said=voice.count(said),
        ),
        "back": reasons.read_back(a, voice),
        "settled": reasons.settled(a.checks, voice),
        "reasons": against[: max(most, lead)],
        "lead": lead,
        "more": voice.count(count) if count > 1 else "",
        "kept": _all_kept(a, voice),
    }


def _all_kept(a: Assessment, voice: Voice) -> list[str]:
    """Say that nothing speaks against a go, and which limits that rests on; of a hold what it asks."""
    if a.verdict != "go":
        return [voice.say("verdict.hold_means")] if a.verdict == "hold" else []
    told = [voice.say("head.kept", count=voice.count(len(a.checks)))]
    if looser := sum(LOOSER in check.source for check in a.checks):
        told.append(voice.say("head.loosened", count=voice.count(looser)))
    return told


def case_rows(
    assessment: Assessment, cases: list[dict[str, Any]], voice: Voice
) -> list[dict[str, Any]]:
    """Give each case with its pieces, in the order of the assessment.

    ``cases``: those of `driftmap.verdict.document.document`.
    """
    looks = zip(marks.marks_of(assessment), marks.lookalikes(assessment), strict=True)
    given, rows = assessment.flight.cases, []
    flown = assessment.cloud.tree.cases
    for number, (case, told) in enumerate(zip(flown, cases, strict=True), start=1):
        p, works = case.probability, case.name == WORKS
        pieces = [
            {**_piece_row(piece, mark, voice), "alike": alike}
            for piece, (mark, alike) in zip(told["pieces"], looks, strict=False)
        ]
        likely = voice.say("figure.of_flights", share=voice.percent(p))
        rows.append(
            {
                "number": number,
                "name": case_name(assessment.flight, case.name, case.cause, voice),
                "likely": likely + (f", {voice.one_in(p)}" if 0 < p < 0.1 else ""),
                "assumed": not works and case.name not in given,
                "pieces": pieces,
            }
        )
    return rows


def _piece_row(
    piece: Mapping[str, Any], mark: tuple[str, int, int], voice: Voice
) -> dict[str, Any]:
    def three(key: str, write: Callable[[float], str]) -> tuple[str, str]:
        low, middle, high = (write(piece[key][q]) for q in ("p5", "p50", "p95"))
        return middle, voice.span(low, high)

    name, color, dash = mark
    east, north = piece["mean_east_m"], piece["mean_north_m"]
    return {
        "mark": name,
        "color": color,
        "dash": dash,
        "name": voice.known("piece", piece["name"]),
        "count": piece["count"],
        "drift": voice.toward(east, north),
        "bearing": voice.bearing(math.atan2(east, north)),
        "radius": voice.exact_away(piece["radius_90_m"]),
        "time": three("time_s", lambda v: voice.shown(v, "time")),
        "speed": three("impact_speed_mps", lambda v: voice.shown(v, "descent")),
        "energy": three("energy_j", voice.energy),
    }


def _note(check: Check, voice: Voice) -> str:
    """Return what else a check says; a rule's own figures stay as they are printed."""
    if check.question:
        return ""
    rule = check.kind is Kind.RULE
    return check.note if rule else in_units_of(check.note, voice.units)


def check_rows(assessment: Assessment, voice: Voice) -> list[dict[str, Any]]:
    """Give every check, the worst first."""
    people = [area.name for area in assessment.site.areas if area.occupied]
    worst = reasons.worst_first(assessment.checks, people)
    passed = [c for c in assessment.checks if c.outcome == "pass"]
    # A case that depends on a draw flew fewer than all.
    flown = {part.case: part.flights for part in assessment.cloud.parts}

    def row(check: Check) -> dict[str, Any]:
        flights = flown.get(check.case, assessment.cloud.flights)
        value, interval = figure(check, flights, voice)
        return {
            "outcome": check.outcome,
            "word": voice.say(f"map.{check.outcome}"),
            "what": subject(check, voice),
            "translated": f"kind.{check.kind.value}" in voice.catalogue.messages,
            "value": value,
            "interval": interval,
            "limit": limit(check, voice),
            "source": check.source,
            "note": _note(check, voice),
        }

    return [row(check) for check in (*worst, *passed)]


def people_rows(
    places: Sequence[Spot], voice: Voice, sent: Sequence[Move] = ()
) -> list[dict[str, Any]]:
    """Return the places of people, numbered as on the map, danger first, then what fails.

    Each by the verb that stands at the head of the page for its state.
    """
    way = {move.spot.area.name: move.azimuth for move in sent}
    numbers = marks.people_numbers(spot.area for spot in places)
    people = [spot for spot in places if spot.stand]
    people.sort(key=lambda s: (s.kind != "danger", -OUTCOMES.index(s.seen)))
    return [
        {
            "number": numbers[spot.area.name],
            "name": spot.area.name,
            "people": "" if spot.area.people is None else voice.count(spot.area.people),
            "where": voice.say(
                "stand.place",
                distance=voice.away(spot.distance),
                compass=voice.compass(spot.azimuth),
            )
            if spot.distance > 0
            else voice.say("stand.at_pad"),
            "kind": spot.kind,
            "inside": spot.inside,
            "zone": _zone_told(spot, voice),
            "seen": spot.seen,
            "flag": _flag(spot, voice, way.get(spot.area.name)),
        }
        for spot in people
    ]


def _flag(spot: Spot, voice: Voice, way: float | None) -> str:
    """Say what people at a place are to do, and which way [rad] those who must move are sent."""
    if spot.seen == "fail":
        compass = "" if way is None else f" {voice.letters(way)}"
        return f"{voice.say('stand.unsafe')}{compass}"
    if spot.outcome == "warn":
        return voice.say("stand.unsure")
    return voice.say("stand.ready") if spot.kind else voice.say("zone.clear")


def _zone_told(spot: Spot, voice: Voice) -> str:
    if spot.kind is None:
        return ""
    zone = voice.say(f"zone.{spot.kind}")
    if spot.inside:
        return voice.say("stand.inside", zone=zone)
    return voice.say("stand.in_zone", zone=zone)


def area_rows(assessment: Assessment, voice: Voice) -> list[dict[str, Any]]:
    """Return the probabilities of every area, in the order of the site file."""
    every = assessment.cloud.flights

    def told(p: Estimate) -> str:
        # The mixture adds up the flights of all cases; each case flew no more than all.
        flights = min(p.flights, every)
        text = voice.share(p.estimate, (p.lower, p.upper), flights)
        if p.estimate == 0:
            return text
        low, high = voice.percent(p.lower), voice.percent(p.upper)
        return voice.say("figure.between", figure=text, low=low, high=high)

    causes = {case.name: case.cause for case in assessment.cloud.tree.cases}

    def named(case: str) -> str:
        return case_name(assessment.flight, case, causes.get(case, case), voice)

    return [
        {
            "name": hit.area.name,
            "role": voice.known("role", hit.area.role),
            "people": hit.area.people,
            "shelter": voice.say(f"map.{hit.area.shelter}")
            if hit.area.occupied
            else "",
            "total": told(hit.total),
            "cases": [(named(name), told(p)) for name, p in hit.cases.items()],
        }
        for hit in assessment.areas
    ]


def wind_rows(assessment: Assessment, voice: Voice) -> dict[str, Any]:
    """Return the wind by height, from where the rocket flies down, and up to where it is known."""
    wind = assessment.wind
    top = float(np.quantile(assessment.cloud.apogee.height, 0.95))
    heights = np.unique([*wind.height[(wind.height < top) & (wind.height >= 2)], top])
    if heights.size > _MOST_WIND_ROWS:
        keep = np.linspace(0, heights.size - 1, _MOST_WIND_ROWS).round().astype(int)
        heights = heights[keep]
    direction, speed = reported_at(wind, heights)
    error = np.interp(heights, wind.height, wind.error)
    rows = [
        {
            "height": voice.exact_distance(float(h)),
            "bearing": wind_text.comes_from(float(d), float(v), voice),
            "speed": voice.speed(float(v)),
            "error": voice.speed(float(e)),
            "held": h > wind.known_to,
        }
        for h, d, v, e in zip(heights, direction, speed, error, strict=True)
    ]
    return {
        "rows": rows[::-1],
        "top": top,
        "known_to": voice.exact_distance(wind.known_to),
        "held": bool(top > wind.known_to),
        "thinned": heights.size == _MOST_WIND_ROWS < wind.height.size,
    }
