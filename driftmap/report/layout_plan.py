"""A layout as people and programs take it: pads, and places for people, on page and terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any, Final

from driftmap.ground.areas import Site
from driftmap.planning.assumed_winds import suppose
from driftmap.planning.documents import heading, layout_document, layout_geojson
from driftmap.planning.layout import Layout, Place
from driftmap.planning.trial import Basis
from driftmap.report.candidates import held_of, layout_svg
from driftmap.report.page import printable, table
from driftmap.report.plan_answers import answered, layout_brief, none_go
from driftmap.report.plan_pages import PlanReport, drawn_of, plan_page
from driftmap.report.sentences import subject
from driftmap.report.sketches import held_key
from driftmap.report.terminal import aligned
from driftmap.report.voice import Voice
from driftmap.report.words import isolate

_MOST_WINDS: Final = 6  # told one by one


def layout_plan(
    question: Layout,
    bases: Sequence[Basis],
    assumed: Sequence[str],
    found: tuple[Sequence[Place], Mapping[str, Sequence[Place]]],
    best: int,
    voice: Voice,
) -> PlanReport:
    """Tell the best pads, and places for each area of people that was moved.

    ``assumed``: of the winds that it is scored by.
    """
    pads, _ = found
    data = layout_document(
        _layout_head(question, bases, assumed), question, *found, best
    )
    brief = layout_brief(layout_rows("", pads, best, voice), pads, voice)
    goes = any(place.go for place in pads)
    data["in_brief"] = answered(data, brief, voice, goes=goes)
    page = partial(_layout_page, data, question.site, *found, best, voice)
    told = partial(_layout_told, *found, best, voice)
    more = {"layout.geojson": partial(layout_geojson, question, *found)}
    return PlanReport("layout", data, page, told, more=more)


def _layout_head(
    question: Layout, bases: Sequence[Basis], assumed: Sequence[str]
) -> dict[str, Any]:
    setups, supposition = question.setups, question.supposition
    own = [
        f"{setup.flight.name}: {note}" if len(setups) > 1 else note
        for setup, basis in zip(setups, bases, strict=True)
        for note in basis.assumed
    ]
    level = "the ground is level: each candidate pad stands as high as the one drawn"
    suns = supposition.told_by_any_sun(suppose(supposition, 0.0, 3.0).assumed)
    return heading(setups[0], [*assumed, level, *suns, *own], *bases)


def _layout_told(
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
    voice: Voice,
) -> str:
    """Write the pads and places for people for a terminal."""
    barred = sum(bool(p.broken) for p in pads)
    blocks = [
        f"{len(pads)} pads tried, {barred} of them barred by rules on distances.",
        "",
        aligned(layout_rows(voice.say("plan.pad"), pads, best, voice)),
    ]
    drawn = next(p for p in pads if p.shift == 0)
    if drawn.broken:
        blocks.append(f"The pad as drawn is barred: {drawn.broken[0]}")
    for name, places in stands.items():
        blocks += [
            "",
            aligned(
                layout_rows(voice.say("plan.middle_of", area=name), places, best, voice)
            ),
        ]
    return "\n".join(blocks)


def layout_rows(
    what: str, places: Sequence[Place], best: int, voice: Voice
) -> list[list[str]]:
    """Give a row to each of the best places, and one to that as drawn; ``what``: they are."""
    keys = ("go_in", "hits", "people", "edge", "largest", "held_by")
    rows = [[what, *(voice.say(f"plan.{key}") for key in keys)]]
    chosen = [p for p in places[:best] if not p.broken]
    chosen += [p for p in places if p.shift == 0 and p not in chosen and not p.broken]
    for place in chosen:
        room = place.capacity
        where = voice.say(
            "figure.toward",
            distance=voice.exact_away(math.hypot(place.east, place.north)),
            compass=voice.bearing(math.atan2(place.east, place.north)),
        )
        rows.append(
            [
                voice.say("plan.as_drawn") if place.shift == 0 else where,
                voice.percent(place.go) + (" *" if place.unknown else ""),
                voice.number(f"{100 * place.hazard:.0f} %"),
                voice.exact_away(place.to_people),
                voice.exact_away(place.to_boundary),
                ""
                if room is None
                else _largest(room.motor_class, room.altitude, voice),
                subject(place.held_by, voice),
            ]
        )
    return rows


def _largest(motor: str, altitude: float, voice: Voice) -> str:
    if not motor:
        return voice.say("plan.none")
    return f"{motor}, {voice.exact_distance(altitude)}"


def _layout_page(
    data: dict[str, Any],
    site: Site,
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
    voice: Voice,
) -> str:
    """Write the page of a layout."""
    how = f"<p>{printable(voice.say('plan.layout_how'))}</p>"
    blocks: list[str] = []
    for name, places in {"": pads, **stands}.items():
        drawn = layout_svg(site, places, best, voice)
        key = held_key((held_of(p, voice) for p in places), voice)
        what = voice.say("plan.middle" if name else "plan.pad")
        blocks += [
            *([f"<h2>{printable(name)}</h2>"] if name else []),
            *drawn_of(data, voice, *([] if name else [how]), drawn, *key),
            table(layout_rows(what, places, best, voice), voice),
        ]
    about = voice.say(
        "plan.layout_of",
        flights=", ".join(map(isolate, data["flights"])),
        winds=_winds(data["winds"], voice),
    )
    title = voice.say("plan.layout_title", site=site.name)
    goes = data["too_few"] or any(pad.go for pad in pads if not pad.broken)
    change = [] if goes else [none_go((held_of(pad, voice) for pad in pads), voice)]
    return plan_page(title, blocks, data, voice, about=[about, *change])


def _winds(rose: Sequence[Mapping[str, float]], voice: Voice) -> str:
    """Name the winds of a layout; of many, how many there are."""
    if len(rose) > _MOST_WINDS:
        return voice.count(len(rose))
    return "; ".join(
        f"{voice.speed(one['speed_mps'])}, {voice.bearing(math.radians(one['from_deg']))}"
        for one in rose
    )
