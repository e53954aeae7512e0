"""One wind over the site from what the reports say, each where it speaks best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from driftmap.air.sun import sun_height
from driftmap.air.turbulence import SUNNY, Convection, convection
from driftmap.air.wind import WindProfile, direction_and_speed, modes_of
from driftmap.checks import FloatArray
from driftmap.errors import WindError
from driftmap.winds import law, uncertainty
from driftmap.winds.aerodrome_code import POOR
from driftmap.winds.field import Field, Told, field_of, given
from driftmap.winds.law import MAST
from driftmap.winds.reading import Reading, Setting, show_time
from driftmap.winds.sources import (
    SURFACE,
    Node,
    Source,
    Stack,
    carried,
    ground_rank,
    rank,
    source_of,
    stacked,
)

__all__ = ["merge"]

_LADDER: Final = tuple(
    float(z)
    for z in (
        *(0, 2, 3, 5, 10, 20, 35, 60, 100, 140, 200, 300, 480, 660, 930, 1200, 1560),
        *(2010, 2550, 3000, 4000, 6000, 8000, 12000, 16000, 20000),
    )
)
"""Heights at which the field has its say where no level is near [m]; apart by what a
column of air is cut into anyway, so that they cost no layers."""

_THICK: Final = 100.0
"""In a layer up to this depth the wind is linear between its levels [m]; assumed."""

_NARROW: Final = 5.0
"""Levels nearer than this tell nothing more of the wind elsewhere [m]."""

_LAWFUL: Final = (10.0, 30.0, SURFACE)
"""Heights at which the law holds against a report above it [m]."""

_CARRIED: Final = "law from"

_LIGHT: Final = 3.0
"""A surface wind lighter than this at 10 m [m s⁻¹] tells nothing of the wind above it: by
night the air may then be so stable that the wind aloft slides over it (Pasquill's classes
E and F, from memory)."""

_FAR_OFF: Final = 200_000.0
"""A report from farther off than this holds [m]; assumed."""

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
    field = _field(stack, setting)
    nodes, covariance = _nodes(stack, field, roughness)
    notes = [note for reading in readings for note in reading.assumed]
    notes += [*stack.notes, *(_unchecked(s) for s in sources if s.age is None)]
    notes += _field_notes(stack, setting)
    stirred, note = _stirred(stack, setting)
    profile = _profile(nodes, covariance, stack, ground, roughness, [*notes, note])
    return replace(profile, convection=stirred)


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


def _heights(stack: Stack) -> FloatArray:
    """Choose the heights of the profile: as read, and where the field has its say."""
    read = np.array([node.height for node in stack.nodes])
    open_to = np.array([True, *map(_far_apart, stack.nodes, stack.nodes[1:]), True])
    ladder = np.array(_LADDER)
    gaps = ladder[open_to[np.searchsorted(read, ladder)] & (ladder >= _held(stack))]
    heights = np.union1d(read, gaps)
    clear = np.abs(heights[:, None] - read[None, :])
    apart = np.where(clear == 0, np.inf, clear).min(axis=1)
    # A height of the ladder right beside one that was read would only be a kink.
    kept = np.isin(heights, read) | (apart > 0.02 * heights + 0.5)
    return np.asarray(heights[kept])


def _far_apart(low: Node, high: Node) -> bool:
    """Tell whether the field has its say between two levels."""
    if low.reading is high.reading and low.reading.from_ground:
        return False  # levels of a sounding are picked so that straight lines will do
    apart = high.height - low.height
    return apart > _THICK or (low.height < SURFACE and apart > 2 * low.height)


def _held(stack: Stack) -> float:
    """Give the height below which the lowest wind is held as it is [m]."""
    lowest = stack.nodes[0]
    # A sounding from a station above the site starts with a wind near its own ground:
    # to scale that down once more would make the wind at the site too weak.
    layers = lowest.reading.kind == "aloft"
    held = layers and (lowest.height <= MAST or lowest.reading.from_ground)
    return lowest.height if held else 0.0


def _field(stack: Stack, setting: Setting) -> Field:
    """Give how the wind usually is above that near the ground, at this hour and place."""
    low = carried(stack.nodes[0], MAST, law.ROUGHNESS[setting.terrain])
    if setting.place is None:
        return field_of(None, None, low.speed)
    sun = sun_height(setting.when, *setting.place)
    return field_of(sun, setting.place[0], low.speed)


def _nodes(
    stack: Stack, field: Field, roughness: float
) -> tuple[list[Node], FloatArray]:
    """Let the field pass through the levels: the wind and its covariance by height."""
    heights = _heights(stack)
    read = _spread_out(_with_law(stack, roughness))
    lowest = max(_held(stack), law.lowest_height(roughness))
    known = given(field, _told(read), np.maximum(heights, lowest), roughness)
    count = max(node.wind.shape[0] for node in read)
    winds = [np.broadcast_to(node.wind, (count, 2)) @ [1, 1j] for node in read]
    across = known.weights @ np.array(winds) + known.beside[:, None]
    error = np.sqrt(np.maximum(np.diag(known.covariance), 0.0))
    as_read = {node.height: node for node in stack.nodes}
    nodes = []
    for z, column, sigma in zip(heights, across, error, strict=True):
        if z in as_read:
            nodes.append(replace(as_read[z], error=max(sigma, as_read[z].error)))
        else:
            nodes.append(
                _between(float(z), column, float(sigma), stack.nodes, roughness)
            )
    return nodes, known.covariance


def _with_law(stack: Stack, roughness: float) -> list[Node]:
    """Let the law carry a reading up to `SURFACE` against a report less sure above it."""
    nodes, first = list(stack.nodes), stack.lawful
    above = next((n for n in nodes if first and n.height > first.height), None)
    if first is None or above is None or above.reading is first.reading:
        return nodes
    growth = law.surface_shape([SURFACE, first.height], roughness)
    if above.error <= first.error * growth[0] / growth[1]:
        return nodes
    heights = (z for z in _LAWFUL if 2 * first.height < z < 0.8 * above.height)
    carried_up = [carried(first, z, roughness) for z in heights]
    return sorted([*nodes, *carried_up], key=lambda node: node.height)


def _told(read: Sequence[Node]) -> Told:
    """Take the mean of each level, and its error apart by what it comes from."""
    lasting = np.array([node.lasting for node in read])
    whole = np.array([node.error for node in read])
    return Told(
        height=np.array([node.height for node in read]),
        wind=np.array([complex(*node.mean) for node in read]),
        error=np.sqrt(np.maximum(whole**2 - lasting**2, 0.0)),
        lasting=lasting,
        source=[node.reading for node in read],
        read=np.array([not node.level.source.startswith(_CARRIED) for node in read]),
    )


def _spread_out(nodes: Sequence[Node]) -> list[Node]:
    """Pick levels that are far enough apart to tell each something of its own."""
    kept = [nodes[0]]
    for node in nodes[1:]:
        if node.height - kept[-1].height >= max(_NARROW, 0.03 * node.height):
            kept.append(node)
    return kept


def _between(
    height: float,
    column: NDArray[np.complex128],
    error: float,
    read: Sequence[Node],
    roughness: float,
) -> Node:
    wind = np.stack([column.real, column.imag], axis=1)
    direction, speed = direction_and_speed(*wind.mean(axis=0))
    nearest = min(read, key=lambda node: abs(node.height - height))
    variable = nearest.level.direction is None
    if variable:  # no mean, yet no calm: its speed grows with height as any wind's
        speed = np.maximum(speed, carried(nearest, height, roughness).level.speed)
    level = replace(
        nearest.level,
        height=height,
        direction=None if variable else float(direction),
        speed=float(speed),
        gust=None,
        temperature=None,
        source=f"{_CARRIED} {nearest.level.source}",
    )
    return Node(height, wind, error, level, nearest.reading)


def _field_notes(stack: Stack, setting: Setting) -> list[str]:
    z0, lowest = law.ROUGHNESS[setting.terrain], stack.nodes[0]
    known = "by the sun's height" if setting.place else "as by night, the widest"
    notes = [
        "between far levels and beyond them the wind is as it usually grows and turns with "
        f"height in some 1,200 real soundings, {known}; near the ground, up to 60 m, by "
        f"the logarithmic law, roughness {z0:g} m ({setting.terrain}), held below "
        f"{law.lowest_height(z0):.0f} m"
    ]
    if held := _held(stack):
        notes.append(f"below {held:.0f} m the wind of {lowest.level.source} is held")
    return notes


def _stirred(stack: Stack, setting: Setting) -> tuple[Convection | None, str]:
    """Tell how the sun stirs the air, and what is assumed of it."""
    cloud = max(
        (c for s in stack.used if (c := s.reading.cloud_cover) is not None),
        default=None,
    )
    if setting.place is None:
        air: Convection | None = SUNNY
        known = "place not known, so as on a sunny noon"
    else:
        air = convection(setting.when, *setting.place, cloud)
        sky = "a clear sky" if cloud is None else f"{cloud:.0%} of cloud"
        known = f"by the sun's height, dry ground and {sky}"
    if air is None:
        return None, "no rising air: the sun is too low to warm the ground"
    return air, (
        f"rising and sinking air up to {1.2 * air.depth:.0f} m, of a scale of "
        f"{air.speed:.1f} m/s, {known} (assumed)"
    )


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


def _far_off(reading: Reading) -> Iterator[str]:
    """Say that a report is of other country."""
    if reading.away is not None and reading.away > _FAR_OFF:
        yield f"{reading.source} was measured {reading.away / 1000:.0f} km from the site"


def _of_one_time(sources: Sequence[Source], ground: Source | None) -> list[Source]:
    """List the reports near the ground that speak of the same wind as the ruling one."""
    if ground is None:
        return list(sources)
    near = [source for source in sources if source.near_ground]
    if ground.age is None:
        return near
    newest = ground.age
    return [s for s in near if s.age is None or s.age - newest < _ONE_TIME]


def _unseen(reading: Reading) -> tuple[str, ...]:
    """Warn of air through which a fall is not seen from afar, whatever rules say."""
    seen = reading.visibility
    if seen is None or seen >= POOR:
        return ()
    return (f"{reading.source}: visibility of {seen / 1000:.1f} km",)


def _profile(
    nodes: list[Node],
    covariance: FloatArray,
    stack: Stack,
    ground: Source | None,
    roughness: float,
    notes: list[str],
) -> WindProfile:
    count = max(node.wind.shape[0] for node in nodes)
    winds = np.stack(
        [np.broadcast_to(node.wind, (count, 2)) for node in nodes], axis=-1
    )
    error = np.array([node.error for node in nodes])
    mean = winds.mean(axis=0)
    used, read = stack.used, _read_heights(stack, roughness)
    ages = [source.age for source in used]
    near = _of_one_time(stack.sources, ground)
    low = [n for s in near for n in s.nodes if n.height <= law.LOG_TOP]
    # A report's air counts, as its sky does, though the wind of another is flown.
    reports = (s.reading for s in (*used, *stack.sources))
    surface = next((each for each in reports if each.kind == "surface"), None)
    notes += [
        f"above {read[-1]:.0f} m no source speaks: the wind there is supposed, its error "
        "grows with height",
        uncertainty.ERROR_NOTE,
    ]
    return WindProfile(
        height=np.array([node.height for node in nodes]),
        east=mean[0],
        north=mean[1],
        error=error,
        modes=modes_of(covariance, error),
        known_to=read[-1],
        source="; ".join(dict.fromkeys(source.name for source in stack.sources)),
        assumed=tuple(dict.fromkeys(notes)),
        age=None if None in ages else max(age for age in ages if age is not None),
        dated=any(source.reading.dated for source in used),
        undated=tuple(s.name for s in used if s.age is None),
        warned=tuple(
            dict.fromkeys(
                [
                    *stack.doubts,
                    *(w for s in stack.sources for w in s.reading.warned),
                    *(w for s in stack.sources for w in _unseen(s.reading)),
                    *(told for s in used for told in _far_off(s.reading)),
                ]
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
        stronger=stack.stronger,
        read_from=max(min(node.height for node in stack.nodes), 0.0),
        temperature=surface.levels[0].temperature if surface else None,
        altimeter=surface.pressure if surface else None,
        # The sky counts whosever wind is flown.
        cloud_cover=max(
            (c for s in stack.sources if (c := s.reading.cloud_cover) is not None),
            default=None,
        ),
        visibility=min(
            (v for s in stack.sources if (v := s.reading.visibility) is not None),
            default=None,
        ),
        cloud_base=min(
            (b for s in stack.sources if (b := s.reading.cloud_base) is not None),
            default=None,
        ),
        lowest_cloud=min(
            (b for s in stack.sources if (b := s.reading.lowest_cloud) is not None),
            default=None,
        ),
        members=winds if count > 1 else None,
        levels=tuple(n.level for n in nodes if n.height <= max(read[-1], law.LAW_TOP)),
    )
