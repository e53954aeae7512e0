"""Rows of the page's tables: every figure as the text a person reads."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np

from driftmap.air.wind import direction_and_speed
from driftmap.failures.cases import WORKS
from driftmap.hazard.sampling import Estimate
from driftmap.hazard.zones import zones
from driftmap.report import reasons, words
from driftmap.report.facts import spots
from driftmap.report.pieces import (
    has_people,
    lookalikes,
    people_numbers,
    piece_marks,
)
from driftmap.report.reading import more_wind_told, wind_told
from driftmap.report.sight import zone_at
from driftmap.report.voice import english
from driftmap.report.words import Units
from driftmap.units import show, unit_of
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.check import Check, counted
from driftmap.verdict.limits import LOOSER
from driftmap.verdict.rule_checks import show_position

__all__ = [
    "area_rows",
    "case_rows",
    "check_rows",
    "headline",
    "people_rows",
    "wind_rows",
]

_WORDS: Final = {"go": "GO", "hold": "HOLD", "no-go": "NO-GO"}
_MOST_WIND_ROWS: Final = 16


def headline(assessment: Assessment, units: Units) -> dict[str, Any]:
    """Give the verdict and what speaks against flying.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    dict
        Word, time, place, wind in words, counts, the worst reasons, and how many more
        there are.
    """
    a = assessment
    people = [area.name for area in a.site.areas if has_people(area)]
    against = reasons.verdict_reasons(a.checks, people, english(units))
    read, more = wind_told(a.wind, units)
    out, said = counted(a.checks)
    return {
        "verdict": a.verdict,
        "word": _WORDS[a.verdict],
        "wind": read,
        "place": show_position(a.site.longitude, a.site.latitude),
        "time": words.flown_at(a.answers.when) or "time of the flight not told",
        "wind_more": more,
        "more_wind": more_wind_told(a.more_wind),
        "counts": f"{out} checks worked out, {said} answered by people",
        "reasons": ([_all_kept(a)] if a.verdict == "go" else []) + against[:2],
        "more": max(0, len(against) - 2),
    }


def _all_kept(a: Assessment) -> str:
    """Say that nothing speaks against flying, and which limits that rests on."""
    told = f"All {len(a.checks)} checks are within limits"
    looser = sum(LOOSER in check.source for check in a.checks)
    if looser:
        told += f"; {looser} of these limits were loosened by a file"
    return told


def case_rows(
    assessment: Assessment, cases: list[dict[str, Any]], units: Units
) -> list[dict[str, Any]]:
    """Give each case with its pieces.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    cases : list of dict
        The cases of `driftmap.verdict.assessment.document`.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    list of dict
        In the order of the assessment.
    """
    marks, alike = iter(piece_marks(assessment)), iter(lookalikes(assessment))
    given = assessment.flight.cases
    rows = []
    for number, case in enumerate(cases, start=1):
        p, works = case["probability"], case["name"] == WORKS
        pieces = [
            {**_piece_row(piece, next(marks), units), "alike": next(alike)}
            for piece in case["pieces"]
        ]
        rows.append(
            {
                "number": number,
                "name": case["name"],
                "likely": f"{words.percent(p)} of flights"
                + (f", {words.one_in(p)}" if 0 < p < 0.1 else ""),
                "assumed": not works and case["name"] not in given,
                "works": works,
                "pieces": pieces,
            }
        )
    return rows


def _piece_row(
    piece: Mapping[str, Any], mark: tuple[str, int, int], units: Units
) -> dict[str, Any]:
    def three(key: str, write: Callable[[float], str]) -> tuple[str, str]:
        low, middle, high = (write(piece[key][q]) for q in ("p5", "p50", "p95"))
        return middle, words.span(low, high)

    name, color, dash = mark
    return {
        "mark": name,
        "color": color,
        "dash": dash,
        "name": piece["name"],
        "count": piece["count"],
        "drift": words.toward(piece["mean_east_m"], piece["mean_north_m"], units),
        "bearing": words.bearing(
            math.atan2(piece["mean_east_m"], piece["mean_north_m"])
        ),
        "radius": words.distance(piece["radius_90_m"], units),
        "time": three("time_s", lambda v: show(v, "time", units)),
        "speed": three("impact_speed_mps", lambda v: show(v, "descent", units)),
        "energy": three("energy_j", lambda v: words.energy(v, units)),
    }


_OUTCOMES: Final = {"fail": "FAIL", "warn": "WARN", "pass": "PASS"}


def check_rows(assessment: Assessment, units: Units) -> list[dict[str, Any]]:
    """Give every check, the worst first.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    list of dict
        Outcome, what was checked, figure, interval, limit and source.
    """
    people = [area.name for area in assessment.site.areas if has_people(area)]
    worst = reasons.worst_first(assessment.checks, people)
    passed = [c for c in assessment.checks if c.outcome == "pass"]
    flown = reasons.flights_flown(assessment.cloud)

    def row(check: Check) -> dict[str, Any]:
        value, interval = reasons.figure(
            check, flown.get(check.case, assessment.cloud.flights), units
        )
        return {
            "outcome": check.outcome,
            "word": _OUTCOMES[check.outcome],
            "what": reasons.subject(check),
            "value": value,
            "interval": interval,
            "limit": reasons.limit(check, units),
            "source": check.source,
            "note": "" if check.question else check.note,
        }

    return [row(check) for check in (*worst, *passed)]


def people_rows(assessment: Assessment, units: Units) -> list[dict[str, Any]]:
    """Give the places of people as numbered on the map.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    list of dict
        Number, name, head count, where it lies from the pad, and what checks say of it.
    """
    numbers = people_numbers(assessment.site.areas)
    zoned = zones(assessment.cloud, assessment.contours)
    rows = []
    for spot in spots(assessment):
        if has_people(spot.area):
            away = words.distance(spot.distance, units)
            where = f"{away} {words.compass(spot.azimuth)} of the pad"
            rows.append(
                {
                    "number": numbers[spot.area.name],
                    "name": spot.area.name,
                    "people": spot.area.people,
                    "where": where if spot.distance > 0 else "at the pad",
                    "zone": zone_at(spot.area.shape, zoned),
                    "outcome": spot.outcome,
                }
            )
    return rows


def area_rows(assessment: Assessment) -> list[dict[str, Any]]:
    """Give the probabilities of every area.

    Parameters
    ----------
    assessment : Assessment
        The assessment.

    Returns
    -------
    list of dict
        In the order of the site file.
    """
    every = assessment.cloud.flights

    def told(p: Estimate) -> str:
        # The mixture adds up the flights of all cases; each case flew no more than all.
        flights = min(p.flights, every)
        text = words.share(p.estimate, (p.lower, p.upper), flights)
        between = words.span(words.percent(p.lower), words.percent(p.upper))
        return text if p.estimate == 0 else f"{text}, between {between}"

    return [
        {
            "name": hit.area.name,
            "role": hit.area.role,
            "people": hit.area.people,
            "shelter": hit.area.shelter if has_people(hit.area) else "",
            "total": told(hit.total),
            "cases": [(name, told(p)) for name, p in hit.cases.items()],
        }
        for hit in assessment.areas
    ]


def wind_rows(assessment: Assessment, units: Units) -> dict[str, Any]:
    """Give the wind by height up to where the rocket flies.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}
        Units the reader picked.

    Returns
    -------
    dict
        Rows from the top down, the unit names, and up to where the wind is known.
    """
    wind = assessment.wind
    top = float(np.quantile(assessment.cloud.apogee.height, 0.95))
    heights = np.unique([*wind.height[(wind.height < top) & (wind.height >= 2)], top])
    if heights.size > _MOST_WIND_ROWS:
        keep = np.linspace(0, heights.size - 1, _MOST_WIND_ROWS).round().astype(int)
        heights = heights[keep]
    direction, speed = direction_and_speed(*wind.at(heights))
    error = np.interp(heights, wind.height, wind.error)
    rows = [
        {
            "height": words.distance(float(h), units),
            "bearing": words.bearing(float(d)) if v > 0.05 else "calm",
            "speed": show(float(v), "speed", units),
            "error": show(float(e), "speed", units),
            "held": h > wind.known_to,
        }
        for h, d, v, e in zip(heights, direction, speed, error, strict=True)
    ]
    return {
        "rows": rows[::-1],
        "top": top,
        "known_to": words.distance(wind.known_to, units),
        "held": bool(top > wind.known_to),
        "thinned": heights.size == _MOST_WIND_ROWS < wind.height.size,
        "unit": unit_of("speed", units),
    }
