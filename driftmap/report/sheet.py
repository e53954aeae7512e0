"""The briefing on paper: a sheet, six lines for the crowd, the seconds for the caller."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.ground.areas import PAD
from driftmap.hazard.zones import grade
from driftmap.planning.wind_margin import WindMargin
from driftmap.report.calls import before, moments
from driftmap.report.frames import fit
from driftmap.report.instructions import Watch, falls_free, look
from driftmap.report.marks import WAYS
from driftmap.report.page import render, text_of
from driftmap.report.picture import POSTER, drawn_kinds, field_picture
from driftmap.report.positions import stand
from driftmap.report.reasons import comes_down, hits_like, weight_name
from driftmap.report.sentences import case_name
from driftmap.report.sheetfacts import Fall, Spot, arrivals
from driftmap.report.tables import headline, people_rows
from driftmap.report.voice import Voice
from driftmap.report.wind_text import age_script
from driftmap.report.words import isolate
from driftmap.rocket.stages import BOOSTER, Device
from driftmap.verdict.assessment import Assessment

_MOST_REASONS: Final = 3
_MOST_PLACES: Final = 6
_MOST_CLOSED: Final = 4
_MOST_FALLS: Final = 18
_SIZES: Final = ((8, "large"), (13, "middle"), (math.inf, "small"))
"""Type on paper, by the most rows of the table with which it fits the page."""

_PAGE: Final = 343_000.0
"""Letters of one point that the caller's page holds, beside its head."""

_LINE_END: Final = 30
_MOST_CALLED: Final = 8
_LARGEST: Final = 15.0


def brief_html(seen: Watch, around: WindMargin | None = None) -> str:
    """Write the briefing of a flight.

    ``around``: from `driftmap.planning.wind_margin.winds_around`: the sheet then says when it stops
    being true.

    Result: an HTML document; the same assessment gives the same text.
    """
    assessment, voice = seen.told, seen.voice
    people = [spot for spot in seen.places if spot.stand]
    closed = _by_risk(seen.places)
    return _page(
        "sheet",
        seen,
        around,
        picture=field_picture(seen),
        drawn=drawn_kinds(seen) | ({"astray"} if _astray(seen) else set()),
        ways=WAYS,
        zones=seen.drawn,
        stand_more=_count(len(people) - _MOST_PLACES, voice),
        heads_up=heads_up(seen),
        closed=[_closed(spot, voice) for spot in closed[:_MOST_CLOSED]],
        closed_more=_count(len(closed) - _MOST_CLOSED, voice),
        made=_made(assessment, voice),
        **_table(seen),
    )


def _count(more: int, voice: Voice) -> str:
    return voice.count(more) if more > 0 else ""


def _piece(fall: Fall, voice: Voice) -> str:
    name = voice.known("piece", fall.piece)
    if fall.count == 1:
        return voice.say("falls.piece", piece=name)
    return voice.say("falls.pieces", piece=name, count=voice.count(fall.count))


def _where(fall: Fall, voice: Voice) -> str:
    reach, compass = voice.away(fall.reach), voice.compass(fall.azimuth)
    if fall.around:
        return voice.say("falls.around", radius=reach)
    if fall.distance < fall.radius:
        return voice.say("falls.mostly", compass=compass, radius=reach)
    far, radius = voice.away(fall.distance), voice.away(fall.radius)
    return voice.say("falls.away", distance=far, compass=compass, radius=radius)


def _astray(seen: Watch) -> set[str]:
    """Name the cases that may come down on any side, beyond what the zones hold."""
    cases = {c.name for c in seen.told.cloud.tree.cases if c.any_way or c.rare}
    held = shapely.union_all([zone.shape for zone in seen.zones])
    return {
        fall.case
        for fall in seen.falls
        if fall.case in cases and not held.covers(PAD.buffer(fall.reach))
    }


def _table(seen: Watch) -> dict[str, Any]:
    a, found, voice = seen.told, seen.falls, seen.voice
    apart = _astray(seen)

    def told(fall: Fall, before: str) -> dict[str, Any]:
        where, astray = _where(fall, voice), fall.case in apart
        return {
            "case": case_name(a.flight, fall.case, fall.cause, voice),
            "again": before == fall.case,
            "grade": "astray"
            if astray and grade(fall.strength)
            else grade(fall.strength),
            "like": hits_like(fall.energy, voice),
            "piece": _piece(fall, voice),
            "where": voice.say("falls.astray", where=where) if astray else where,
            "when": voice.seconds(fall.first, fall.last),
        }

    before = ["", *(fall.case for fall in found)]
    rows = [told(*pair) for pair in zip(found, before, strict=False)]
    planned = sum(fall.works for fall in found)
    well = [
        row | {"case": comes_down(_devices(a, fall), fall.speed, fall.strength, voice)}
        for row, fall in zip(rows[:planned], found, strict=False)
    ]
    shown = {fall.case for fall in found[:_MOST_FALLS]}
    left = {fall.case for fall in found} - shown
    return {
        "well": well,
        "weight": weight_name(voice),
        "falls": rows[planned:_MOST_FALLS],
        "falls_more": _count(len(left), voice),
        "size": next(name for most, name in _SIZES if len(rows) <= most),
    }


def _devices(a: Assessment, fall: Fall) -> Sequence[Device]:
    """Return what slows a piece of the plan."""
    if fall.piece != BOOSTER:
        return a.flight.recovery
    return () if a.flight.booster is None else a.flight.booster.recovery


def heads_up(seen: Watch) -> list[str]:
    """Say when to call, and by when a piece can be down."""
    voice, fast = seen.voice, seen.fast
    failed = [fall.first for fall in seen.falls if not fall.works]
    told = [voice.say("heads_up.count")]
    if failed and fast is not None:
        beside = [fall for fall in arrivals(seen.falls) if fall.piece != "rocket"]
        lines = [
            (fast.first, voice.say("heads_up.fast", time=voice.seconds(fast.first)))
        ]
        lines += [(beside[0].first, line) for line in falls_free(beside, voice)]
        told += [
            voice.say("heads_up.off", time=voice.seconds(min(failed))),
            *(line for _, line in sorted(lines)),
        ]
    return [*told, voice.say("heads_up.people"), voice.say("heads_up.then")]


def _by_risk(places: Sequence[Spot]) -> list[Spot]:
    """Return ground where nobody should be, what is likely hit first, then the nearest."""
    ground = [spot for spot in places if not spot.stand]
    return sorted(ground, key=lambda s: (not s.hit, s.distance))


def _closed(spot: Spot, voice: Voice) -> dict[str, str]:
    where = voice.say(
        "closed.place",
        role=voice.say(f"role.{spot.area.role}"),
        distance=voice.away(spot.distance),
        compass=voice.compass(spot.azimuth),
    )
    flag = voice.say("closed.often_hit") if spot.hit else ""
    return {"name": spot.area.name, "where": where, "flag": flag}


def _made(a: Assessment, voice: Voice) -> str:
    return voice.say(
        "decides.made",
        flight=isolate(a.flight.name),
        site=isolate(a.site.name),
        wind=isolate(a.wind.source),
        flights=voice.count(a.cloud.flights),
        seed=str(a.cloud.seed),
        version=a.version,
        assumed=voice.count(len(a.assumed)),
    )


def poster_html(seen: Watch, around: WindMargin | None = None) -> str:
    """Write what hangs at the crowd: word, who decides, why, wind, where to stand and look.

    Parameters as for `brief_html`.
    """
    people = [spot for spot in seen.places if spot.stand]
    shown = fit(seen.opening, POSTER).box()
    names = [
        {"number": str(number), "who": _who(spot, shown, seen.voice), "seen": spot.seen}
        for number, spot in enumerate(people[:_MOST_PLACES], start=1)
    ]
    picture = field_picture(seen, POSTER)
    return _page("poster", seen, around, picture=picture, names=names)


def _who(spot: Spot, shown: BaseGeometry, voice: Voice) -> str:
    """Name people and count them; say where they are if they are out of the picture."""
    told = isolate(spot.area.name)
    if spot.area.people:
        told += f" ({voice.count(spot.area.people)})"
    if spot.area.shape.intersects(shown):
        return told
    return f"{told}, {voice.away(spot.distance)} {voice.letters(spot.azimuth)}"


def caller_html(seen: Watch, around: WindMargin | None = None) -> str:
    """Write what the caller reads aloud: the seconds, and when to call.

    Parameters as for `brief_html`.
    """
    calls, told = moments(seen), heads_up(seen)
    eyes = [*look(seen), seen.voice.say("caller.then")]
    lines = [line for call in calls for line in (call.should, call.otherwise) if line]
    keys = ("caller.no_flight", "map.read_aloud", "caller.only_seen")
    lines += [*told, " ".join(map(seen.voice.say, keys))]
    half = [*eyes, *(one for o in stand(seen) for one in o.told.split("\n"))]
    lines += [*before(seen), *half, *half]  # on half the width
    rows = _people(seen)[:_MOST_CALLED]
    lines += ["".join((r["name"], r["where"], r["zone"], r["flag"])) for r in rows]
    return _page(
        "caller",
        seen,
        around,
        before=before(seen),
        look=eyes,
        moments=calls,
        heads_up=told,
        size=_type_for(lines),
    )


def _people(seen: Watch) -> list[dict[str, Any]]:
    return people_rows(seen.places, seen.voice, seen.moves)


def _type_for(lines: Sequence[str]) -> str:
    """Choose the size of type [pt] in which lines fill a page: its square for each letter."""
    letters = sum(len(line) + _LINE_END for line in lines)
    return f"{min(_LARGEST, math.sqrt(_PAGE / letters)):.1f}"


def _page(kind: str, seen: Watch, around: WindMargin | None, **content: Any) -> str:
    """Fill a page with what all three bear: head, people and the age of the word."""
    a, voice, rows = seen.told, seen.voice, _people(seen)
    style = "sheet.css" if kind == "sheet" else "poster.css"
    most = _MOST_REASONS if kind == "sheet" else 1
    return render(
        f"{kind}.html",
        voice,
        styles=[text_of(style), text_of("picture.css")],
        scripts=[age_script(a, voice)],
        flight=a.flight.name,
        site=a.site.name,
        head=headline(a, voice, around, most=most),
        people=rows,
        **{"stand": stand(seen), "look": look(seen), **content},
    )
