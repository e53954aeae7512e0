"""One wind over the site from what the reports say, each where it speaks best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.errors import WindError
from driftmap.winds import law, uncertainty
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.sources import (
    MAST,
    SURFACE,
    Node,
    Source,
    carried,
    ground_rank,
    rank,
    source_of,
)
from driftmap.winds.stack import Stack, stacked
from driftmap.winds.times import show_time

__all__ = ["merge"]

_ABOVE: Final = (100.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
"""Heights above the highest level at which its growing error is set down [m]."""

_BETWEEN: Final = (0.25, 0.5, 0.75)
"""Shares of a layer at which the error between its levels is set down."""

_THICK: Final = 100.0
"""A layer up to this depth gets no error of its own between its levels [m]; assumed."""

_LIGHT: Final = 3.0
"""A surface wind lighter than this at 10 m [m s⁻¹] tells nothing of the wind above it: by
night the air may then be so stable that the wind aloft slides over it (Pasquill's classes
E and F, from memory)."""

_ONE_TIME: Final = 1.0
"""Reports near the ground whose ages differ by less than this speak of one wind [h]."""


def merge(readings: Sequence[Reading], setting: Setting) -> WindProfile:
    """Merge reports into one wind over the site, the same however they are ordered.

    Of the reports that speak of the wind near the ground the best known, which is the
    freshest that was measured, rules up to 60 m, and the wind goes over from it to older
    layers up to 120 m. Above, the best known layers rule; each further report adds what
    lies above the top of those before it. Where a report that is passed over tells another
    wind than the one flown, `warned` says so. The surface layer is filled by
    `driftmap.winds.law.surface_shape`. Between far levels and above the highest the error
    grows.

    Parameters
    ----------
    readings : sequence of Reading
        The reports, in any order.
    setting : Setting
        Place, time and terrain of the flight.

    Returns
    -------
    WindProfile
        The wind, with every assumption in `assumed`.

    Raises
    ------
    WindError
        If there is no report, one is of another day or from after the flight, or
        ensembles do not match.
    """
    if not readings:
        raise WindError("wind", "", "no reading; give at least one")
    sources = sorted((source_of(r, setting) for r in readings), key=rank)
    ground = _ruling(sources, setting)
    if ground is not None:
        terrain = ground.reading.terrain or setting.terrain
        setting = replace(setting, terrain=terrain)
        _check_height(ground.reading, setting)
    roughness = law.ROUGHNESS[setting.terrain]
    stack = stacked(sources, ground, roughness)
    _check_members(stack.nodes)
    nodes, law_note = _with_law(stack, ground, setting)
    notes = [note for reading in readings for note in reading.assumed]
    notes += [*stack.notes, *(_unchecked(s) for s in sources if s.age is None)]
    notes += [law_note] if law_note else []
    return _profile(nodes, stack, ground, roughness, notes)


def _ruling(sources: Sequence[Source], setting: Setting) -> Source | None:
    """Find the report that rules near the ground."""
    near = [source for source in sources if source.near_ground]

    def order(source: Source) -> tuple[object, ...]:
        terrain = source.reading.terrain or setting.terrain
        return ground_rank(source, law.ROUGHNESS[terrain])

    return min(near, key=order, default=None)


def _check_height(surface: Reading, setting: Setting) -> None:
    height = surface.levels[0].height
    lowest = 4 * law.ROUGHNESS[setting.terrain]
    if surface.kind == "surface" and height < lowest:
        raise WindError(
            surface.source,
            "height",
            f"{height:g} m is among the obstacles of {setting.terrain} terrain and "
            f"tells nothing of the wind aloft; accepted from {lowest:g} m",
        )


def _check_members(nodes: Sequence[Node]) -> None:
    counts = {node.wind.shape[0] for node in nodes} - {1}
    if len(counts) > 1:
        raise WindError(
            "wind",
            "",
            f"ensembles of {' and '.join(map(str, sorted(counts)))} members cannot be "
            "merged; give one",
        )


def _unchecked(source: Source) -> str:
    reading = source.reading
    if reading.valid is not None or reading.window is not None:
        time = f"of {show_time(reading.valid)}, " if reading.valid else ""
        return (
            f"{reading.source}: {time}not compared with the flight's time, which is "
            "not given"
        )
    if reading.forecast:
        return f"{reading.source}: the time it is for is not known"
    return (
        f"{reading.source}: age at the flight not known, its error is that of a reading "
        f"{uncertainty.UNKNOWN_AGE:.0f} h old"
    )


def _with_law(
    stack: Stack, ground: Source | None, setting: Setting
) -> tuple[list[Node], str]:
    """Fill the lowest tens of metres by the law of the surface layer."""
    nodes = stack.nodes
    lowest, roughness = nodes[0], law.ROUGHNESS[setting.terrain]
    top = _law_top(stack, ground)
    first = stack.lawful or lowest
    # A sounding from a station above the site starts with a wind near its own ground:
    # to scale that down once more would make the wind at the site too weak.
    layers = lowest.reading.kind == "aloft"
    held = layers and (lowest.height <= MAST or lowest.reading.from_ground)
    heights = [z for z in law.LAW_HEIGHTS if first.height < z <= top]
    below = [z for z in law.LAW_HEIGHTS if z < lowest.height and not held]
    filled = [*nodes, *(carried(first, z, roughness) for z in heights)]
    filled += [carried(lowest, z, roughness) for z in below]
    note = _law_note(first, top, setting) if heights or below else ""
    if held and lowest.height > 0:
        name = lowest.level.source
        note = f"below {lowest.height:.0f} m the wind of {name} is held; {note}"
    return sorted(filled, key=lambda node: node.height), note.removesuffix("; ")


def _law_top(stack: Stack, ground: Source | None) -> float:
    """Give the height up to which the law carries the highest level near the ground."""
    first = stack.lawful
    if first is None or ground is None:
        return 0.0
    above = next((n for n in stack.nodes if n.height > first.height), None)
    if above is None:
        return law.LAW_TOP
    # Half way to the next level at most, so that the measured wind takes over.
    half = min(law.LOG_TOP, above.height / 2)
    if above.reading is not ground.reading:
        return min(max(SURFACE, half), above.height - 1.0)
    if ground.reading.from_ground:
        return 0.0  # its levels are picked so that straight lines between them will do
    return half if above.height > law.LOG_TOP else 0.0


def _law_note(first: Node, top: float, setting: Setting) -> str:
    z0 = law.ROUGHNESS[setting.terrain]
    reach = f"up to {top:.0f} m" if top > first.height else "down to the ground"
    return (
        f"from {first.level.source} at {first.height:.0f} m {reach}: logarithmic law "
        f"to 100 m, roughness {z0:g} m ({setting.terrain}), power law 1/7 from 100 to "
        f"300 m, held below {law.lowest_height(z0):.0f} m; neutral air, no turning "
        "with height; its error grows with the root of the distance, 2.1 m/s over 100 m"
    )


def _between(nodes: Sequence[Node]) -> list[Node]:
    """Set down the error between far levels."""
    every = list(nodes[:1])
    for low, high in zip(nodes[:-1], nodes[1:], strict=True):
        depth = high.height - low.height
        for share in _BETWEEN if depth > _THICK else ():
            wind = (1 - share) * low.wind + share * high.wind
            grown = uncertainty.between_error(
                (1 - share) * low.error + share * high.error,
                share,
                depth,
                low.mean,
                high.mean,
            )
            height = low.height + share * depth
            every.append(replace(low, height=height, wind=wind, error=grown))
        every.append(high)
    return every


def _beyond(top: Node) -> list[Node]:
    return [
        replace(
            top,
            height=top.height + dz,
            error=uncertainty.beyond_error(top.error, dz),
        )
        for dz in _ABOVE
    ]


def _read_heights(stack: Stack, roughness: float) -> tuple[float, ...]:
    """Give the heights at which a source speaks.

    A surface wind speaks for the lowest tens of metres, unless it is so light that the
    air above may slide over it.
    """
    heights = [node.height for node in stack.nodes]
    first = stack.lawful
    if first is not None and first.height < SURFACE:
        at_mast = carried(first, MAST, roughness)
        if float(np.median(np.hypot(*at_mast.wind.T))) >= _LIGHT or (
            first.level.direction is None and at_mast.level.speed >= _LIGHT
        ):
            heights.append(SURFACE)
    return tuple(sorted(set(heights)))


def _of_one_time(sources: Sequence[Source], ground: Source | None) -> list[Source]:
    """List the reports near the ground that speak of the same wind as the ruling one."""
    if ground is None:
        return list(sources)
    near = [source for source in sources if source.near_ground]
    if ground.age is None:
        return near
    newest = ground.age
    return [s for s in near if s.age is None or s.age - newest < _ONE_TIME]


def _profile(
    nodes: list[Node],
    stack: Stack,
    ground: Source | None,
    roughness: float,
    notes: list[str],
) -> WindProfile:
    every = [*_between(nodes), *_beyond(nodes[-1])]
    count = max(node.wind.shape[0] for node in every)
    winds = np.stack(
        [np.broadcast_to(node.wind, (count, 2)) for node in every], axis=-1
    )
    mean = winds.mean(axis=0)
    used, read = stack.used, _read_heights(stack, roughness)
    ages = [source.age for source in used]
    near = _of_one_time(stack.sources, ground)
    low = [n for s in near for n in s.nodes if n.height <= law.LOG_TOP]
    surface = next((s.reading for s in used if s.reading.kind == "surface"), None)
    notes += [
        f"above {read[-1]:.0f} m no source speaks: the wind there is held from "
        f"{nodes[-1].height:.0f} m up, its error grows by 5.5 m/s over 1000 m",
        uncertainty.ERROR_NOTE,
    ]
    return WindProfile(
        height=np.array([node.height for node in every]),
        east=mean[0],
        north=mean[1],
        error=np.array([node.error for node in every]),
        correlation_height=uncertainty.CORRELATION_HEIGHT,
        known_to=read[-1],
        source="; ".join(dict.fromkeys(source.name for source in stack.sources)),
        assumed=tuple(dict.fromkeys(notes)),
        age=None if None in ages else max(age for age in ages if age is not None),
        dated=any(source.reading.dated for source in used),
        undated=tuple(s.name for s in used if s.age is None),
        warned=tuple(
            dict.fromkeys(
                [*stack.doubts, *(w for s in stack.sources for w in s.reading.warned)]
            )
        ),
        read=read,
        gust=max((n.level.gust or n.level.speed) - n.level.speed for n in low)
        if low
        else 0.0,
        strongest=max(
            (carried(s.nodes[0], MAST, roughness).speed for s in near if s.near_ground),
            default=None,
        ),
        read_from=max(min(node.height for node in stack.nodes), 0.0),
        temperature=surface.levels[0].temperature if surface else None,
        altimeter=surface.pressure if surface else None,
        cloud_cover=max(
            (c for s in used if (c := s.reading.cloud_cover) is not None), default=None
        ),
        visibility=min(
            (v for s in used if (v := s.reading.visibility) is not None), default=None
        ),
        members=winds if count > 1 else None,
        levels=tuple(node.level for node in nodes),
    )
