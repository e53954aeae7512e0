"""The dial as one page that opens with no network."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from driftmap.air.wind import LAW_TOP
from driftmap.core.units import DIMENSIONS, unit_of
from driftmap.ground.underlay import underlay_in_metres
from driftmap.hazard.harm import HURTS, KILLS
from driftmap.hazard.way_out import ROOM
from driftmap.planning.assumed_winds import METER_HEIGHT, Supposition
from driftmap.planning.dial import Dial, hours_served
from driftmap.planning.dial_node import WORDS, Landing, PieceKey
from driftmap.planning.dial_reading import check_between
from driftmap.report import dialdata
from driftmap.report.dialtable import dial_table, table_steps
from driftmap.report.instructions import (
    AHEAD,
    ASIDE,
    AT_PAD,
    BEHIND,
    CALL,
    FAR,
    astray,
    sights,
)
from driftmap.report.marks import piece_marks
from driftmap.report.moving import OVER
from driftmap.report.page import (
    leaflet_script,
    leaflet_style,
    render,
    script_constant,
    text_of,
    words_for_script,
)
from driftmap.report.positions import WORTH
from driftmap.report.reasons import needle_text
from driftmap.report.sentences import MOST_NAMED, case_name, case_when
from driftmap.report.shapes import in_metres
from driftmap.report.site_layer import site_layer
from driftmap.report.voice import Catalogue, Voice, read_catalogue
from driftmap.report.words import Units, in_units_of, isolate, zone_of
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.verdict.assessment import STALE

_SCRIPTS: Final = (
    "say.js",
    "read.js",
    "wheel.js",
    "controls.js",
    "moves.js",
    "orders.js",
    "paper.js",
    "ground.js",
    "dial.js",
)
_MOST_TEXT: Final = 400_000
"""Size of the packed lines above which they are thinned more; the page stays small."""

_LEAST_FINE: Final = 40.0
_ONE_IN: Final = 16


def dial_html(
    dial: Dial,
    *,
    units: Units | None = None,
    language: str | Catalogue = "en",
    made_for: date | None = None,
) -> str:
    """Write a dial as one page.

    Parameters
    ----------
    dial : Dial
        From `compute_dial`.
    units : {"us", "si"}, optional
        Units the reader picked; those of the language when left out.
    language : str or Catalogue
        As for `driftmap.report.map.map_html`.
    made_for : date, optional
        The day it serves, today by default; on any other day the page holds. Where the
        winds are supposed of an hour, it holds in the dark and far from that hour.

    Returns
    -------
    str
        An HTML document that needs nothing from outside; the same dial for the same day
        gives the same text.
    """
    catalogue = read_catalogue(language) if isinstance(language, str) else language
    voice = Voice(catalogue, units or catalogue.units)
    day = made_for or datetime.now().astimezone().date()
    span = hours_served(dial.supposition, dial.setup)
    data, fineness = _data(dial, voice, day, span)
    # Labels give way to each other as on the map of an assessment.
    texts = [
        text_of(name)
        for name in (*_SCRIPTS, "boxes.js", "far.js", "labels.js", "plates.js")
    ]
    words = words_for_script(voice, "set")
    own = "\n".join([words, script_constant("DIAL", data), *texts])
    return render(
        "dial.html",
        voice,
        styles=[leaflet_style(), text_of("map.css"), text_of("dial.css")],
        scripts=[leaflet_script(), own],
        made_for=day.isoformat() if span is None else _told_span(span),
        answers=_answers(dial, voice),
        **_content(dial, data, fineness, voice),
    )


def _told_span(span: tuple[datetime, datetime]) -> str:
    first, last = (t if t.utcoffset() else t.astimezone() for t in span)
    return f"{first:%Y-%m-%d %H:%M} – {last:%H:%M} ({zone_of(first)})"


def _data(
    dial: Dial, voice: Voice, day: date, span: tuple[datetime, datetime] | None
) -> tuple[dict[str, Any], float]:
    """Collect what the page's script must know, and the fineness of its lines."""
    nodes, pieces = [*dial.nodes, *dial.cells.values()], _pieces(dial, voice)
    site, reach = dial.setup.site, dial.reach
    packed, fineness = _packed(dial)
    speed = unit_of("speed", voice.units)
    first = len(dial.nodes)
    questions, asked = dialdata.questions_of(nodes)
    cells = {f"{i},{j}": first + n for n, (i, j) in enumerate(dial.cells)}
    return {
        "units": voice.units,
        "speed": {"unit": speed, "size": DIMENSIONS["speed"][speed]},
        "top": reach.top,
        "speeds": reach.speeds,
        "directions": reach.directions,
        "limit": dial.limit,
        "gust": reach.gust,
        "date": day.isoformat() if span is None else _told_span(span),
        "span": span and [1000 * round(end.timestamp()) for end in span],
        "stale": STALE,
        "verdicts": [node.word for node in nodes],
        "cells": cells,
        "reasons": dialdata.tell_reasons(
            nodes, (a.name for a in site.areas if a.occupied), voice
        ),
        "questions": [isolate(name) for name, _ in questions],
        "asked": asked,
        "cases": [piece["case"] for piece in pieces],
        "rocket": [int(body == "rocket") for _, body, _ in dial.pieces],
        "kills": KILLS.value,
        "hurts": HURTS.value,
        "marks": [piece["mark"] for piece in pieces],
        "shareSteps": dialdata.SHARE_STEPS,
        "pad": [0, 0],
        **site_layer(
            site,
            defaultdict(lambda: "pass"),
            in_metres,
            voice,
            astray=_astray(dial) if dial.astray else 0.0,
        ),
        "picture": underlay_in_metres(site),
        "no": voice.say("dial.short_no-go"),
        "table": dict(zip(("every", "deep"), table_steps(reach), strict=True)),
        "words": _words(voice),
        "todo": _todo(voice),
        "orders": voice.catalogue.table("instruct"),
        "stray": astray(dial.astray, _astray(dial), voice),
        "move": voice.say("stand.unsafe"),
        "named": MOST_NAMED,
        "rest": voice.say("reason.places", first="{first}", count="{count}"),
        "call": CALL,
        "planned": _planned(dial),
        "sight": [(isolate(s.name), s.east, s.north) for s in sights(site.areas)[:1]],
        "sides": voice.catalogue.table("side"),
        "back": voice.catalogue.table("way"),
        "turns": {
            "ahead": AHEAD,
            "far": FAR,
            "behind": BEHIND,
            "over": OVER,
            "near": AT_PAD,
            "aside": ASIDE,
            "worth": WORTH,
            "room": ROOM,
        },
        "whens": [case_when(case, voice) for case in _case_names(dial)],
        "compass": [voice.letters(math.radians(45 * i)) for i in range(8)],
        "zone": _zone(span),
        "declination": None
        if site.declination is None
        else round(math.degrees(site.declination), 2),
        "symbols": dialdata.SYMBOLS,
        "final": dialdata.FINAL,
        "packed": packed,
    }, fineness


def _packed(dial: Dial) -> tuple[str, float]:
    """Pack the landings, thinned just as much as the page's size asks for."""
    nodes, fineness = [*dial.nodes, *dial.cells.values()], dialdata.FINENESS
    for some in (nodes[::_ONE_IN], nodes):  # few of them tell how thin all must be
        most = _MOST_TEXT * len(some) / len(nodes)
        packed = dialdata.pack_nodes(some, dial.pieces, fineness=fineness)
        while len(packed) > most and fineness > _LEAST_FINE:
            fineness /= 1.25
            packed = dialdata.pack_nodes(some, dial.pieces, fineness=fineness)
    return packed, fineness


def _zone(span: tuple[datetime, datetime] | None) -> dict[str, Any]:
    """Return the clock of the site: that of its hours, else that of this machine."""
    when = datetime.now().astimezone() if span is None else span[0]
    offset = when.utcoffset() or when.astimezone().utcoffset() or timedelta()
    return {"minutes": offset.total_seconds() / 60, "name": zone_of(when)}


def _answers(dial: Dial, voice: Voice) -> dict[str, Any]:
    """List what people answered, on which every go rests."""
    said = dial.setup.answers
    if said is None:
        return {"source": "answers", "given": []}
    given = [
        (name.replace("_", " "), "yes") for name, yes in said.confirmed.items() if yes
    ]
    given += [(what, voice.number(text)) for what, text in said.amounts.items()]
    return {"source": Path(said.source).name, "given": given}


def _planned(dial: Dial) -> int | None:
    """Return the place of the rocket where all goes as planned."""
    planned = (
        place
        for place, (case, body, _) in enumerate(dial.pieces)
        if case in {WORKS, BARE} and body == "rocket"
    )
    return next(planned, None)


def _case_names(dial: Dial) -> list[str]:
    return list(dict.fromkeys(case for case, _, _ in dial.pieces))


def _pieces(dial: Dial, voice: Voice) -> list[dict[str, Any]]:
    """Give each piece its mark and look, as the map of an assessment does."""
    names = _case_names(dial)
    marks = piece_marks((case, body) for case, body, _ in dial.pieces)
    return [
        {
            "place": place,
            "case": names.index(case),
            "name": voice.known("piece", body),
            "count": count,
            "mark": mark,
            "color": color,
            "dash": dash,
        }
        for place, ((case, body, count), (mark, color, dash)) in enumerate(
            zip(dial.pieces, marks, strict=True)
        )
    ]


def _content(
    dial: Dial, data: dict[str, Any], fineness: float, voice: Voice
) -> dict[str, Any]:
    pieces = _pieces(dial, voice)
    site, flight, reach = dial.setup.site, dial.setup.flight, dial.reach
    half = check_between(dial)
    return {
        "words": data["words"],
        "stray": data["stray"],
        "short": {word: voice.say(f"dial.short_{key}") for word, key in _KEYS.items()},
        "flight": flight.name,
        "site": site.name,
        "pad": site.pad,
        "unit": data["speed"]["unit"],
        "gust": voice.number(f"{reach.gust:g}") if reach.gust > 1 else "",
        "stale": f"{STALE / 60:.0f}",
        "stale_seconds": f"{STALE:.0f}",
        "top": voice.speed(reach.top),
        "step": voice.speed(reach.step),
        "turn": f"{reach.turn:.0f}°" if reach.turn % 1 == 0 else f"{reach.turn:.1f}°",
        "winds": len(dial.nodes),
        "cases": [
            {
                "number": i + 1,
                "name": case_name(flight, name, name, voice),
                "assumed": name != WORKS and name not in flight.cases,
                "pieces": [p for p in pieces if p["case"] == i],
            }
            for i, name in enumerate(_case_names(dial))
        ],
        "questions": dialdata.questions_of([*dial.nodes, *dial.cells.values()])[0],
        "aloft": _aloft(dial.supposition, voice),
        "too_few": _too_few(dial, voice),
        "half": half,
        "outside": voice.exact_distance(half.outside),
        "outside_share": voice.percent(half.outside_share),
        "line_error": voice.exact_distance(dialdata.line_error(0.0)),
        "line_share": voice.number(f"{dialdata.line_error(1e6, fineness) / 1e4:.1f} %"),
        "meter": voice.shown(METER_HEIGHT, "length"),
        "needle": needle_text(site.declination, voice),
        "assumed": [in_units_of(note, voice.units) for note in dial.assumed],
        "table": dial_table(dial, voice),
        "zones": _zones(dial, voice),
        "people": [
            {**area, "where": _where(area["away"], voice), "zone": "", "flag": ""}
            for area in data["areas"]
            if area["number"]
        ],
        "seed": dial.setup.seed,
        "samples": voice.count(dial.setup.samples),
        "digest": site.digest,
    }


def _where(away: dict[str, float], voice: Voice) -> str:
    """Say how far from the pad people are, and which way."""
    compass = voice.letters(math.radians(away["bearing"]))
    distance = voice.away(away["distance"])
    return voice.say("stand.place", distance=distance, compass=compass)


def _zones(dial: Dial, voice: Voice) -> list[str]:
    """Say how far each zone reaches in the worst of all winds; nothing of what is no zone."""
    far = {"danger": 0.0, "caution": 0.0}
    for (_, body), landing in _landings(dial):
        if landing.graded >= KILLS.value:
            kind = "danger"
        elif landing.graded >= HURTS.value or body == "rocket":
            kind = "caution"
        else:
            continue
        if not landing.apart:
            far[kind] = max(far[kind], landing.farthest)
    say, away = voice.say, voice.away
    return [
        say("picture.beyond", zone=say(f"zone.{kind}"), distance=away(most))
        for kind, most in far.items()
        if most
    ]


def _landings(dial: Dial) -> Iterator[tuple[PieceKey, Landing]]:
    for node in (*dial.nodes, *dial.cells.values()):
        yield from (node.landings or {}).items()


def _astray(dial: Dial) -> float:
    """Return the farthest that what can hurt comes down of a case that may go any way."""
    return max(
        (
            landing.farthest
            for _, landing in _landings(dial)
            if landing.apart == "any way" and landing.graded >= HURTS.value
        ),
        default=0.0,
    )


_KEYS: Final = {"go": "go", "go if aloft": "aloft", "hold": "hold", "no-go": "no-go"}


def _words(voice: Voice) -> dict[str, str]:
    """Return what stands in capitals for each word of a dial."""
    aloft = voice.say("dial.aloft_word")
    return {
        w: aloft if w == "go if aloft" else voice.say(f"verdict.{w}") for w in WORDS
    }


def _todo(voice: Voice) -> dict[str, str]:
    """Return what not to do for each word of a dial."""
    return {"hold": voice.say("dial.not_yet"), "no-go": voice.say("dial.do_not")}


def _too_few(dial: Dial, voice: Voice) -> str:
    """Say where so few flights were flown that no wind can be go, or that none is."""
    samples, needed = dial.setup.samples, dial.samples_needed
    if samples >= needed:
        more = dial.samples_to_settle
        return voice.say("plan.more_flights", needed=str(more)) if more else ""
    return voice.say("plan.too_few", samples=voice.count(samples), needed=str(needed))


def _aloft(supposition: Supposition, voice: Voice) -> str:
    """Say what the dial supposes of the wind aloft."""
    if supposition.shape is None:
        return voice.say("dial.aloft_law", height=voice.distance(LAW_TOP))
    return voice.say("dial.aloft_as", source=isolate(supposition.shape.source))
