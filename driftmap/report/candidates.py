"""Candidates over the ground: pads of a layout, and what each lean of a rail brings down where."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from driftmap.ground.areas import Area, Site
from driftmap.planning.aim import Aim
from driftmap.planning.layout import Place
from driftmap.planning.trial import Strike
from driftmap.report.frames import Frame
from driftmap.report.marks import ring_step
from driftmap.report.page import printable, svg, verdict_word
from driftmap.report.plates import Room, widths
from driftmap.report.sentences import case_when, subject
from driftmap.report.sketches import DARK, STEPS, held_letters
from driftmap.report.voice import Voice

_WIDTH: Final = 900.0
_LETTER_SIZES: Final = (13, 30)
"""Sizes of letters: on a wide screen, and on a phone, which shrinks the picture."""

_NEAR: Final = 1.5
"""Of how far falls reach: people, and what holds, nearer than that are in the picture of a rail's leans."""

_LEAST_APART: Final = 40.0
"""Least size of the dots of a rail's leans, in the picture: the small ones lie over each other."""


@dataclass(frozen=True, slots=True)
class Dot:
    """A candidate: where [m], how it looks, what holds it, what a tap tells, and its rank if told.

    ``light``: whether it takes a letter of the paper's colour; ``english``: whether what it
    tells is a rule's own text.
    """

    east: float
    north: float
    kind: str
    held: str
    told: str
    rank: int = 0
    light: bool = False
    english: bool = False


def layout_svg(site: Site, places: Sequence[Place], best: int, voice: Voice) -> str:
    """Draw candidates over the ground, north up, the first ``best`` of them numbered.

    Result: an ``svg`` element; every text is escaped.
    """
    west, south, east, north = site.boundary.bounds
    view = Frame(west, north, _WIDTH / max(east - west, north - south))
    size = ((east - west) * view.scale + 40, (north - south) * view.scale + 40)
    ranks = {id(p): i for i, p in enumerate([p for p in places if not p.broken], 1)}
    dots = [_place_dot(place, ranks.get(id(place), 0), best, voice) for place in places]
    apart = np.diff(np.unique([round(place.east) for place in places]))
    each = float(apart.min(initial=1000.0)) * view.scale
    name = voice.say("plan.layout_name")
    return _over_ground(site, dots, view, size, each, name, voice)


def _place_dot(place: Place, rank: int, best: int, voice: Voice) -> Dot:
    spot, held = (place.east, place.north), held_of(place, voice)
    if place.broken:
        return Dot(*spot, "barred", held, place.broken[0], english=True)
    step = min(int(place.go * STEPS), STEPS - 1)
    told = voice.say(
        "plan.dot",
        share=voice.percent(place.go),
        distance=voice.exact_away(place.to_people),
    )
    told = _held_told(told, subject(place.held_by, voice), voice)
    number = rank if rank <= best else 0
    return Dot(*spot, f"dot step-{step}", held, told, number, light=step >= DARK)


def held_of(place: Place, voice: Voice) -> str:
    """Say what holds a candidate, the figures of a rule left out."""
    if place.broken:
        return place.broken[0].partition(": ")[0]
    return subject(place.held_by, voice) if place.go < 1 else ""


def _held_told(told: str, what: str, voice: Voice) -> str:
    return voice.say("plan.dot_held", told=told, what=what) if what else told


def aim_svg(
    site: Site, planned: Aim, aims: Sequence[Aim], best: int, voice: Voice
) -> str:
    """Draw where each lean of the rail brings it down in the hardest case, north up.

    ``planned``: the rail as the flight has it; ``aims``: all that were tried, the best first.

    Result: an ``svg`` element, or nothing where no such fall is known.
    """
    fallen = {id(a): a.trial.strike for a in (planned, *aims) if a.trial.strike}
    if not fallen:
        return ""
    ranks = {id(aim): rank for rank, aim in enumerate(aims[:best], 1)}
    # The best lie on top of what lies beside them.
    dots = [
        _aim_dot(aim, fallen[id(aim)], ranks.get(id(aim), 0), voice)
        for aim in (*reversed(aims), planned)
        if id(aim) in fallen
    ]
    view, size = _view_of([*fallen.values()], _named(site, dots))
    found = [
        *_tilts(view, aims, fallen),
        *(
            _around(view, fallen[id(aim)], kind)
            for aim, kind in zip((planned, *aims), ("planned", "first"), strict=False)
            if id(aim) in fallen
        ),
    ]
    name = voice.say("plan.aim_name")
    return _over_ground(site, dots, view, size, _LEAST_APART, name, voice, found)


def rail_text(aim: Aim, voice: Voice) -> str:
    """Say how a rail leans."""
    tilt = voice.number(f"{aim.tilt_deg:.1f}°")
    if not aim.tilt_deg:
        return tilt
    if aim.azimuth_deg is None:
        return voice.say("plan.into_wind", tilt=tilt)
    return voice.say("plan.toward", tilt=tilt, bearing=f"{aim.azimuth_deg:03.0f}°")


def aim_held(aim: Aim, voice: Voice) -> str:
    """Say what holds an aim most."""
    return subject(aim.trial.held_by, voice)


def _aim_dot(aim: Aim, strike: Strike, rank: int, voice: Voice) -> Dot:
    way = math.atan2(strike.east, strike.north)
    told = voice.say(
        "plan.aim_dot",
        rail=rail_text(aim, voice),
        word=verdict_word(aim.trial.verdict, voice),
        when=case_when(strike.case, voice),
        place=voice.say(
            "stand.place",
            distance=voice.away(math.hypot(strike.east, strike.north)),
            compass=voice.letters(way),
        ),
    )
    held = aim_held(aim, voice)
    told = _held_told(told, held, voice)
    kind = f"aim {aim.trial.verdict.replace(' ', '-')}"
    return Dot(strike.east, strike.north, kind, held, told, rank)


def _named(site: Site, dots: Sequence[Dot]) -> list[Area]:
    """List the ground that is named: people's, and what holds a candidate."""
    held = {dot.held for dot in dots}
    return [a for a in site.areas if a.occupied or any(a.name in h for h in held)]


def _view_of(
    falls: Sequence[Strike], areas: Sequence[Area]
) -> tuple[Frame, tuple[float, float]]:
    """Frame the falls, the planned one first, with the pad and what of the ground is not far beyond."""
    points = [shapely.Point(f.east, f.north) for f in falls]
    spots = [*points, points[0].buffer(falls[0].radius, 8)]
    pad = shapely.Point(0.0, 0.0)
    reach = max(pad.hausdorff_distance(spot) for spot in spots)
    near = [a.shape for a in areas if a.shape.distance(pad) <= _NEAR * reach]
    seen = shapely.union_all(near) & pad.buffer(_NEAR * reach)
    ground = shapely.union_all([pad.buffer(30.0), *spots, seen])
    west, south, east, north = ground.bounds
    view = Frame(west, north, _WIDTH / max(east - west, north - south))
    return view, ((east - west) * view.scale + 40, (north - south) * view.scale + 40)


def _tilts(
    view: Frame, aims: Sequence[Aim], fallen: Mapping[int, Strike]
) -> Iterable[str]:
    """Join falls of leans of equal tilt, all round, and write the tilt at the first that have room."""
    told: list[tuple[float, float]] = []
    by_tilt: dict[float, list[Aim]] = {}
    for aim in aims:
        by_tilt.setdefault(aim.tilt_deg, []).append(aim)
    for tilt, some in sorted(by_tilt.items(), reverse=True):
        some.sort(key=lambda aim: aim.azimuth_deg or 0.0)
        falls = [fallen[id(aim)] for aim in some if id(aim) in fallen]
        if len(falls) < _ROUND:
            continue
        ring = shapely.LineString([(f.east, f.north) for f in (*falls, falls[0])])
        yield f'<path class="tilt" d="{view.line(ring)}"/>'
        x, y = view.spot(*np.mean([(f.east, f.north) for f in falls[:2]], axis=0))
        if all(math.hypot(x - u, y - v) > _LETTER_SIZES[1] for u, v in told):
            told.append((x, y))
            yield f'<text class="tilt" x="{x:.0f}" y="{y:.0f}">{tilt:g}°</text>'


_ROUND: Final = 12
"""Leans of one tilt that go all round."""


def _around(view: Frame, fall: Strike, kind: str) -> str:
    """Draw the circle that holds nine in ten of the falls."""
    x, y = view.spot(fall.east, fall.north)
    radius = fall.radius * view.scale
    return f'<circle class="around {kind}" cx="{x:.1f}" cy="{y:.1f}" style="r:{radius:.1f}px"/>'


def _over_ground(
    site: Site,
    dots: Sequence[Dot],
    view: Frame,
    size: tuple[float, float],
    each: float,
    name: str,
    voice: Voice,
    found: Iterable[str] = (),
) -> str:
    """Draw dots over the ground; ``each``: how far they stand apart, ``found``: what lies below them."""
    named = _named(site, dots)
    letters = held_letters(dot.held for dot in dots)
    ground = [
        (site.boundary, "field", voice.say("map.edge")),
        *((a.shape, "people" if a.occupied else "area", a.name) for a in site.areas),
    ]
    x, y = view.spot(0.0, 0.0)
    parts = [
        *(
            f'<path class="{kind}" fill-rule="evenodd" d="{view.path(shape)}">'
            f"<title>{printable(told)}</title></path>"
            for shape, kind, told in ground
        ),
        *found,
        *(_dot(view, dot, letters) for dot in dots),
        f'<path class="pad" d="M{x - 12:.1f} {y:.1f}h24M{x:.1f} {y - 12:.1f}v24"/>'
        if found
        else "",
        *(line for dot in dots if dot.rank for line in _number(view, dot)),
        *(
            line
            for wide in _LETTER_SIZES
            for line in _called(view, size, named, dots, wide, voice)
        ),
        _scale(view, size[1], voice),
    ]
    look = f'class="layout" role="group" style="--each:{each:.1f}px"'
    return svg((-20, -20, *size), name, parts, look)


def _dot(view: Frame, dot: Dot, letters: Mapping[str, tuple[str, int]]) -> str:
    x, y = view.spot(dot.east, dot.north)
    letter, _ = letters.get(dot.held, ("", 0))
    light = " light" if dot.light else ""
    mark = f'<text class="held{light}" x="{x:.1f}" y="{y:.1f}">{letter}</text>'
    english = ' lang="en"' if dot.english else ""
    return (
        f'<circle class="{dot.kind}" cx="{x:.1f}" cy="{y:.1f}" r="5">'
        f"<title{english}>{printable(dot.told)}</title></circle>{mark if letter else ''}"
    )


def _number(view: Frame, dot: Dot) -> Iterable[str]:
    x, y = view.spot(dot.east, dot.north)
    yield (
        f'<circle class="best" cx="{x:.1f}" cy="{y:.1f}" r="8"/>'
        f'<g class="rank" transform="translate({x:.1f} {y:.1f})"><circle/>'
        f"<text>{dot.rank}</text></g>"
    )


def _called(
    view: Frame,
    size: tuple[float, float],
    areas: Sequence[Area],
    dots: Sequence[Dot],
    letters: int,
    voice: Voice,
) -> Iterable[str]:
    """Write names beside areas, clear of all areas, of candidates, of each other and the scale."""
    box = shapely.box(0.0, 0.0, size[0] - 40, size[1] - 40)
    grounds = [view.pixels(area.shape) for area in areas]
    room = Room(grounds, size=(size[0] - 24, size[1] - 24))
    long, told = _bar(view, voice)
    right = long + 16 + widths(told, 0.7 * letters)
    room.take((0.0, size[1] - 40 - letters, right, size[1]))
    for ground in grounds:
        room.take(ground.bounds)
    for dot in dots:
        room.take_point(*view.spot(dot.east, dot.north), 0.6 * letters)
    kind = f"called at-{letters}"
    for i, area in enumerate(areas):
        wide = (widths(area.name, 0.62 * letters), 1.3 * letters)
        plate = room.place(i, wide) if grounds[i].intersects(box) else None
        if plate is None:  # over other names nobody reads it: a tap tells it
            continue
        if plate.lead is not None:
            (x, y), (u, v) = plate.lead.coords
            yield f'<path class="{kind} lead" d="M{x:.0f} {y:.0f}L{u:.0f} {v:.0f}"/>'
        yield (
            f'<text class="{kind}" x="{plate.left:.0f}" y="{plate.top + letters:.0f}">{printable(area.name)}</text>'
        )


def _bar(view: Frame, voice: Voice) -> tuple[float, str]:
    """Give a round length in the picture, and tell it."""
    metres = ring_step(_WIDTH / view.scale, voice.units)
    return metres * view.scale, voice.exact_distance(metres)


def _scale(view: Frame, foot: float, voice: Voice) -> str:
    """Draw a bar of a round length above the foot of the picture."""
    (long, told), y = _bar(view, voice), foot - 36
    return (
        f'<path class="scale" d="M0 {y - 6:.0f}V{y:.0f}H{long:.0f}V{y - 6:.0f}"/>'
        f'<text x="{long + 8:.0f}" y="{y:.0f}">{printable(told)}</text>'
    )
