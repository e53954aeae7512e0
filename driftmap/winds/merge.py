"""One wind over the site from what the reports say, each where it speaks best."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from driftmap.air.atmosphere import FloatArray
from driftmap.air.wind import (
    WindLevel,
    WindProfile,
    components_from,
)
from driftmap.errors import WindError
from driftmap.winds import law, uncertainty
from driftmap.winds.reading import Reading, Setting
from driftmap.winds.times import age_of, lead_of, show_time

__all__ = ["merge"]

_LOW: Final = 10.0
"""A lowest level up to here [m] is held to the ground: the height at which surface wind
is measured (WMO-No. 8)."""

_ABOVE: Final = (500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
"""Heights above the highest level at which its growing error is set down [m]."""

_LAW_SHARE: Final = 0.5
"""Error of a wind carried by a law, as a share of the change the law made; assumed."""


@dataclass(frozen=True, slots=True, eq=False)
class _Node:
    """A level with its components in every member, shape (m, 2), and its error."""

    height: float
    wind: FloatArray
    error: float
    level: WindLevel


def merge(readings: Sequence[Reading], setting: Setting) -> WindProfile:
    """Merge reports into one wind over the site.

    The first reading near the ground rules the lowest tens of metres. The first report
    of layers rules above it; each further one adds what lies above the top of those
    before it. Between levels the wind is linear in its components. The surface layer
    is filled by `driftmap.winds.law.surface_shape`. Above the highest level the wind
    is held and its error grows.

    Parameters
    ----------
    readings : sequence of Reading
        The reports, the most trusted of each kind first.
    setting : Setting
        Place, time and terrain of the flight.

    Returns
    -------
    WindProfile
        The wind, with every assumption in `assumed`.

    Raises
    ------
    WindError
        If there is no report, one is of another day, or ensembles do not match.
    """
    if not readings:
        raise WindError("wind", "", "no reading; give at least one")
    aloft = [reading for reading in readings if reading.kind == "aloft"]
    surface = next((r for r in readings if r.kind == "surface"), None)
    notes = [note for reading in readings for note in reading.assumed]
    notes += _unused(readings, surface)
    if surface:
        setting = replace(setting, terrain=surface.terrain or setting.terrain)
        _check_height(surface, setting)
    nodes = _stacked(aloft, surface, setting, notes)
    nodes = _with_law(nodes, surface or aloft[0], setting, notes)
    known_to = nodes[-1].height
    nodes_above, note = _beyond(nodes[-1])
    ages = _ages(readings, setting, notes)
    return _profile(
        nodes,
        nodes_above,
        known_to=known_to,
        source="; ".join(dict.fromkeys(reading.source for reading in readings)),
        assumed=tuple(dict.fromkeys([*notes, note, uncertainty.ERROR_NOTE])),
        age=max(ages, default=None),
        dated=any(r.valid or r.window or r.based_on for r in readings),
        undated=tuple(r.source for r in readings if not r.dated),
        warned=tuple(dict.fromkeys(note for r in readings for note in r.warned)),
        surface=surface,
        read_from=min(level.height for r in readings for level in r.levels),
    )


def _check_height(surface: Reading, setting: Setting) -> None:
    height = surface.levels[0].height
    lowest = 4 * law.ROUGHNESS[setting.terrain]
    if height < lowest:
        raise WindError(
            surface.source,
            "height",
            f"{height:g} m is among the obstacles of {setting.terrain} terrain and "
            f"tells nothing of the wind aloft; accepted from {lowest:g} m",
        )


def _unused(readings: Iterable[Reading], used: Reading | None) -> list[str]:
    return [
        f"{reading.source}: not used, {used.source} stands for the surface"
        for reading in readings
        if reading.kind == "surface" and used is not None and reading is not used
    ]


def _ages(
    readings: Sequence[Reading], setting: Setting, notes: list[str]
) -> list[float]:
    ages = [(reading, age_of(reading, setting.when)) for reading in readings]
    notes += [_unchecked(reading) for reading, age in ages if age is None]
    return [age for _, age in ages if age is not None]


def _unchecked(reading: Reading) -> str:
    if reading.valid is not None or reading.window is not None:
        time = f"of {show_time(reading.valid)}, " if reading.valid else ""
        return (
            f"{reading.source}: {time}not compared with the flight's time, which is "
            "not given"
        )
    if reading.forecast:
        return f"{reading.source}: the time it is for is not known"
    return (
        f"{reading.source}: age at the flight not known, its error is that of a fresh "
        "reading"
    )


def _base_error(reading: Reading, setting: Setting) -> float:
    if reading.forecast:
        return uncertainty.forecast_error(lead_of(reading, setting.when))
    return uncertainty.observation_error(age_of(reading, setting.when))


def _nodes(reading: Reading, setting: Setting) -> list[_Node]:
    base = _base_error(reading, setting)
    nodes = []
    for i, level in enumerate(reading.levels):
        variable = level.direction is None
        east, north = components_from(level.direction or 0.0, level.speed)
        wind = np.zeros((1, 2)) if variable else np.array([[east, north]], dtype=float)
        if reading.members is not None:
            wind = np.array(reading.members[:, :, i])
        error = uncertainty.component_error(
            base,
            level.speed,
            direction_error=reading.direction_error,
            variable=variable,
        )
        nodes.append(_Node(level.height, wind, error, level))
    return nodes


def _stacked(
    aloft: Sequence[Reading],
    surface: Reading | None,
    setting: Setting,
    notes: list[str],
) -> list[_Node]:
    """Put the reports one above the other, each from the top of those before."""
    nodes = _nodes(surface, setting) if surface else []
    for reading in aloft:
        fresh = _nodes(reading, setting)
        top = nodes[-1].height if nodes else -np.inf
        kept = [node for node in fresh if node.height > top]
        if len(kept) < len(fresh):
            notes.append(
                f"{reading.source}: {len(fresh) - len(kept)} of {len(fresh)} levels "
                f"not used, {nodes[-1].level.source} speaks there"
            )
        nodes += kept
    counts = {node.wind.shape[0] for node in nodes} - {1}
    if len(counts) > 1:
        raise WindError(
            "wind",
            "",
            f"ensembles of {' and '.join(map(str, sorted(counts)))} members cannot be "
            "merged; give one",
        )
    return nodes


def _with_law(
    nodes: list[_Node], lowest: Reading, setting: Setting, notes: list[str]
) -> list[_Node]:
    """Fill the lowest tens of metres by the law of the surface layer."""
    first = nodes[0]
    above = nodes[1].height if len(nodes) > 1 else np.inf
    surface = lowest.kind == "surface"
    # A sounding from a station above the site starts with a wind near its own ground:
    # to scale that down once more would make the wind at the site too weak.
    low = not surface and (first.height <= _LOW or lowest.from_ground)
    top = first.height
    if surface:
        # Half way to the next level at most, so that the measured wind takes over.
        top = law.LAW_TOP if np.isinf(above) else min(law.LOG_TOP, above / 2)
    heights = [z for z in law.LAW_HEIGHTS if z < first.height or z <= top]
    heights = [z for z in heights if z != first.height and not (low and z < top)]
    if first.height > 0:
        notes.append(_law_note(first, top, low, setting))
    nodes = [*nodes, *(_carried(first, z, setting) for z in heights)]
    return sorted(nodes, key=lambda node: node.height)


def _law_note(first: _Node, top: float, low: bool, setting: Setting) -> str:
    if low:
        return f"below {first.height:.0f} m the wind of {first.level.source} is held"
    z0 = law.ROUGHNESS[setting.terrain]
    reach = "down to the ground" if top == first.height else f"up to {top:.0f} m"
    return (
        f"from {first.level.source} at {first.height:.0f} m {reach}: logarithmic law "
        f"to 100 m, roughness {z0:g} m ({setting.terrain}), power law 1/7 from 100 to "
        f"300 m, held below {law.lowest_height(z0):.0f} m; neutral air, no turning "
        "with height; half of the change is added to the error"
    )


def _carried(first: _Node, height: float, setting: Setting) -> _Node:
    z0 = law.ROUGHNESS[setting.terrain]
    factor = float(law.surface_shape(height, z0) / law.surface_shape(first.height, z0))
    speed = first.level.speed * factor
    change = _LAW_SHARE * abs(speed - first.level.speed)
    level = replace(
        first.level,
        height=height,
        speed=speed,
        gust=None,
        temperature=None,
        source=f"law from {first.level.source}",
    )
    return _Node(
        height,
        first.wind * factor,
        float(np.hypot(first.error * max(factor, 1.0), change)),
        level,
    )


def _beyond(top: _Node) -> tuple[list[_Node], str]:
    nodes = [
        replace(
            top,
            height=top.height + dz,
            error=uncertainty.beyond_error(top.error, dz),
        )
        for dz in _ABOVE
    ]
    return nodes, (
        f"above {top.height:.0f} m no source speaks: the wind there is held, its error "
        "grows by 3 m/s per 1000 m"
    )


def _profile(  # noqa: PLR0913 - all parts of one record
    nodes: list[_Node],
    above: list[_Node],
    *,
    known_to: float,
    source: str,
    assumed: tuple[str, ...],
    age: float | None,
    dated: bool,
    undated: tuple[str, ...],
    warned: tuple[str, ...],
    surface: Reading | None,
    read_from: float,
) -> WindProfile:
    every = [*nodes, *above]
    count = max(node.wind.shape[0] for node in every)
    winds = np.stack(
        [np.broadcast_to(node.wind, (count, 2)) for node in every], axis=-1
    )
    mean = winds.mean(axis=0)
    return WindProfile(
        height=np.array([node.height for node in every]),
        east=mean[0],
        north=mean[1],
        error=np.array([node.error for node in every]),
        correlation_height=uncertainty.CORRELATION_HEIGHT,
        known_to=known_to,
        source=source,
        assumed=assumed,
        age=age,
        dated=dated,
        undated=undated,
        warned=warned,
        read_from=max(read_from, 0.0),
        temperature=surface.levels[0].temperature if surface else None,
        altimeter=surface.pressure if surface else None,
        members=winds if count > 1 else None,
        levels=tuple(node.level for node in nodes),
    )
