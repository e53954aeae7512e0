"""Plans as plain data: the content of the JSON files."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from importlib.metadata import version
from typing import Any

from driftmap.air.wind import MAST
from driftmap.planning.aim import Aim
from driftmap.planning.assumed_winds import Supposition, Wind, suppose
from driftmap.planning.layout import Layout, Place
from driftmap.planning.season import DIRECTION_STEP, SPEED_STEP, Agreement, SeasonHour
from driftmap.planning.shares import GoShare, by_month_and_hour, go_share, reasons
from driftmap.planning.trial import Basis, basis_of, held_name
from driftmap.planning.windlimits import TOLERANCE, DirectionLimit
from driftmap.verdict.check import Check
from driftmap.verdict.setup import Setup


def supposed_basis(
    setup: Setup, supposition: Supposition, *winds: Wind, measured: bool = False
) -> Basis:
    """Find what a plan rests on that supposes its winds, by some of them.

    ``winds``: speed [m s⁻¹] and where from [deg]; ``measured``: each aloft as well.
    """
    pairs = [(from_deg, speed) for speed, from_deg in winds]
    known = [supposition.read(*pair) for pair in pairs] * (not measured)
    supposed = [suppose(supposition, *pair) for pair in pairs]
    basis = basis_of(setup, *supposed, known=known)
    return replace(basis, aloft=basis.aloft or any(map(supposition.departs, supposed)))


def heading(setup: Setup, assumed: Iterable[str], *bases: Basis) -> dict[str, Any]:
    """Tell what a plan was made from.

    ``setup``: what was flown, and where; ``bases``: what its verdicts rest on, for each
    flight.

    ``conditions`` is what every go of the plan depends on,
    and ``too_few`` says that no go can come of so few flights.
    """
    need = max((basis.need for basis in bases), key=lambda need: need.flights)
    return {
        "flight": setup.flight.name,
        "site": setup.site.name,
        "seed": setup.seed,
        "samples": setup.samples,
        "samples_needed": need.flights,
        "too_few": need.warning(setup.samples),
        "version": version("driftmap"),
        "conditions": _each(basis.conditions for basis in bases),
        "assumed": list(dict.fromkeys(assumed)),
        "questions_set_aside": _each(basis.questions for basis in bases),
    }


def _each(lists: Iterable[Iterable[str]]) -> list[str]:
    return list(dict.fromkeys(text for texts in lists for text in texts))


def limits_document(
    head: Mapping[str, Any], limits: Iterable[DirectionLimit], head_share: float
) -> dict[str, Any]:
    """Write wind limits as plain data.

    ``head_share``: wind at head height for each of that at 10 m.

    Speeds are those at `speeds_at_m`; ``go_below_mps`` is 0 where not even light
    air is go, and null where nothing is known.
    """
    return {
        **head,
        "speeds_at_m": MAST,
        "head_height_share": head_share,
        "narrowed_to_mps": TOLERANCE,
        "directions": [
            {
                "from_deg": limit.from_deg,
                "go_below_mps": limit.go_below,
                "blocked_by": limit.problem or held_name(limit.held_by),
                "go_spans_mps": [list(span) for span in limit.go],
                "tried": [{"mps": v, "finding": f} for v, f in limit.tried],
            }
            for limit in limits
        ],
    }


def aim_document(
    head: Mapping[str, Any], planned: Aim, aims: Sequence[Aim], best: int
) -> dict[str, Any]:
    """Write rail aims as plain data.

    ``aims``: all that were tried, the best first; ``best``: how many to tell.
    """
    return {
        **head,
        "planned": _aim(planned, head),
        "best": [_aim(aim, head) for aim in aims[:best]],
        "tried": len(aims),
    }


def _aim(aim: Aim, head: Mapping[str, Any]) -> dict[str, Any]:
    verdict, stray = aim.trial.verdict, aim.trial.stray
    return {
        "tilt_deg": aim.tilt_deg,
        "azimuth_deg": aim.azimuth_deg,
        "verdict": "go if" if verdict == "go" and head["conditions"] else verdict,
        "blocked_by": aim.trial.blocked_by,
        "nearest_limit": _finite(aim.nearness),
        "passes_over": [{"area": name, "share": share} for name, share in aim.over],
        "worst_area_in_failure": _check(aim.worst_failure),
        "outside_boundary_when_recovery_works": {
            "value": stray.estimate,
            "interval": [stray.lower, stray.upper],
        },
        "rail_speed_over_wind": _check(aim.rail_margin),
    }


def _check(check: Check | None) -> dict[str, Any] | None:
    if check is None:
        return None
    return {
        "case": check.case,
        "area": check.area,
        "value": check.value,
        "interval": None if check.interval is None else list(check.interval),
        "limit": check.limit,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def layout_document(
    head: Mapping[str, Any],
    question: Layout,
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
) -> dict[str, Any]:
    """Write a layout as plain data.

    ``stands``: places for each area of people that was moved; ``best``: how many to tell
    of each, all the best first.
    """
    drawn = next((p for p in pads if p.shift == 0), None)
    return {
        **head,
        "flights": [setup.flight.name for setup in question.setups],
        "winds": [
            {"from_deg": wind.from_deg, "speed_mps": wind.speed, "weight": wind.weight}
            for wind in question.rose
        ],
        "candidates": len(pads),
        "forbidden": sum(bool(p.broken) for p in pads),
        "pads": [_place(question, p) for p in pads[:best] if not p.broken],
        "as_drawn": None if drawn is None else _place(question, drawn),
        "stands": {
            name: [_place(question, p) for p in places[:best] if not p.broken]
            for name, places in stands.items()
        },
    }


def _place(question: Layout, place: Place) -> dict[str, Any]:
    lon, lat = question.site.to_lonlat(place.east, place.north)
    room = place.capacity
    return {
        "east_m": place.east,
        "north_m": place.north,
        "longitude": float(lon),
        "latitude": float(lat),
        "go_share": None if place.broken else place.go,
        "not_known_share": None if place.broken else place.unknown,
        "hit_over_limit": None if place.broken else place.hazard,
        "blocked_by": held_name(place.held_by),
        "rules_broken": list(place.broken),
        "to_people_m": _finite(place.to_people),
        "to_boundary_m": place.to_boundary,
        "moved_m": place.shift,
        "largest_flight": None
        if room is None
        else {
            "total_impulse_ns": room.total_impulse,
            "motor_class": room.motor_class,
            "altitude_m": room.altitude,
            "impulse_held_by": room.impulse_held_by,
            "altitude_held_by": room.altitude_held_by,
        },
    }


def layout_geojson(
    question: Layout, pads: Sequence[Place], stands: Mapping[str, Sequence[Place]]
) -> dict[str, Any]:
    """Write every candidate as GeoJSON (RFC 7946).

    A FeatureCollection of points; ``rank`` 1 is the best of its kind.
    """
    features = []
    for name, places in (("", pads), *stands.items()):
        for rank, place in enumerate(places, 1):
            values = _place(question, place)
            where = [
                round(values.pop("longitude"), 7),
                round(values.pop("latitude"), 7),
            ]
            features.append(
                {
                    "type": "Feature",
                    "geometry": {"type": "Point", "coordinates": where},
                    "properties": {"candidate": name or "pad", "rank": rank, **values},
                }
            )
    return {"type": "FeatureCollection", "features": features}


def season_document(
    head: Mapping[str, Any],
    hours: Sequence[SeasonHour],
    check: Agreement | None,
    offset: timedelta,
) -> dict[str, Any]:
    """Write a season as plain data.

    ``check``: how the bins did against the winds themselves; None without bins, where
    every sounding was flown as it is; ``offset``: local time less UTC, for month and
    hour.
    """
    cells = by_month_and_hour(hours, offset=offset)
    local = [((h.time + offset).month, h) for h in hours]
    months = sorted({month for month, _ in local})
    return {
        **head,
        "first_hour_utc": hours[0].time.isoformat(),
        "last_hour_utc": hours[-1].time.isoformat(),
        "utc_offset_h": offset / timedelta(hours=1),
        "counted": "hours" if check else "soundings",
        "bins": {
            "direction_deg": DIRECTION_STEP,
            "speed_mps": SPEED_STEP,
            "checked_directly": check.checked,
            "same_finding": check.same,
            "wrongly_go": check.wrongly_go,
        }
        if check
        else None,
        "all": _share(go_share(hours, offset=offset)),
        "months": [
            {
                "month": m,
                **_share(go_share([h for k, h in local if k == m], offset=offset)),
            }
            for m in months
        ],
        "cells": [
            {"month": month, "hour": hour, **_share(share)}
            for (month, hour), share in cells.items()
        ],
        "blocked_by": [{"what": w, "hours": n} for w, n in reasons(hours)],
    }


def _share(share: GoShare) -> dict[str, Any]:
    return {
        "hours": share.hours,
        "known": share.known,
        "go": share.go,
        "hold": share.hold,
        "no_go": share.no_go,
        "go_share_of_known": _finite(share.share),
        "interval": [share.lower, share.upper],
        "coverage": share.coverage,
    }
