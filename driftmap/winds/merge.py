"""One wind over the site from all reports, each used where it knows best."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final

import numpy as np

from driftmap.air import profile_law, uncertainty
from driftmap.air.convection import SUNNY, Convection, convection
from driftmap.air.profile_law import Field, field_of
from driftmap.air.sun import sun_height
from driftmap.air.wind import LAW_TOP, MAST, WindProfile
from driftmap.air.winderror import modes_of
from driftmap.core.checks import FloatArray
from driftmap.core.errors import WindError
from driftmap.winds.consistency import SAME_SKY, doubted
from driftmap.winds.laying import held_below, laid_through
from driftmap.winds.levels import (
    SURFACE,
    Node,
    Source,
    at_head,
    carried,
    ground_rank,
    rank,
    source_of,
)
from driftmap.winds.reading import ONE_TIME, Reading, Setting, next_due
from driftmap.winds.stacking import Stack, stacked

_LIGHT: Final = 3.0
"""A surface wind lighter than this at 10 m [m s⁻¹] tells nothing of the wind above it: by
night the air may then be so stable that the wind aloft slides over it (Pasquill's classes
E and F, from memory)."""

_POOR_COVER, _POOR_SIGHT = 0.5, 9000.0
"""A sky so covered, and sight of so much [m], are heard from wherever they are told."""


def merge(readings: Sequence[Reading], setting: Setting) -> WindProfile:
    """Merge reports into one wind over the site, the same however they are ordered.

    Of the reports that speak of the wind near the ground the best known, which is the
    freshest that was measured, rules up to 60 m, and the wind goes over from it to older
    layers up to 120 m. Above, the best known layers rule; each further report adds what
    lies above the top of those before it. Where a report that is passed over tells another
    wind than the one flown, `warned` says so. The surface layer is filled by
    `driftmap.air.profile_law.surface_shape`. Between far levels and above the highest the error
    grows.

    Raises `WindError` if there is no report, one is of another day or from after the flight,
    or ensembles do not match.
    """
    if not readings:
        raise WindError("wind", "", "no reading; give at least one")
    readings = [at_head(reading, setting) for reading in readings]
    sources = sorted((source_of(r, setting) for r in readings), key=rank)
    ground = _ruling(sources, setting)
    if ground is not None:
        terrain = ground.reading.terrain or setting.terrain
        setting = replace(setting, terrain=terrain)
        _check_height(ground.reading, setting)
    roughness = profile_law.ROUGHNESS[setting.terrain]
    stack = stacked(sources, ground, roughness)
    _check_members(stack.nodes)
    field = _field(stack, setting)
    nodes, covariance = laid_through(stack, field, roughness)
    notes = [note for reading in readings for note in reading.assumed]
    notes += [*stack.notes, *(_unchecked(s.reading) for s in sources if s.age is None)]
    notes += _field_notes(stack, setting)
    stirred, note = _stirred(stack, setting)
    profile = _profile(nodes, covariance, stack, roughness)
    low = (source for source in sources if source.nodes[0].height <= SURFACE)
    profile = _with_doubts(
        profile, stack, ground or next(low, None), [*notes, note], setting
    )
    profile = _with_ground(profile, stack, ground, roughness)
    most = None
    if any(reading.up_to > 1 for reading in readings):
        most = merge([_at_most(reading) for reading in readings], setting)
    return _with_sky(replace(profile, convection=stirred, with_most=most), stack)


def _at_most(reading: Reading) -> Reading:
    """Take a wind that was told by what it is less than for as strong as that."""
    if reading.up_to <= 1:
        return reading
    levels = tuple(
        replace(level, speed=reading.up_to * level.speed, error=None)
        for level in reading.levels
    )
    return replace(reading, levels=levels, up_to=1.0)


def _ruling(sources: Sequence[Source], setting: Setting) -> Source | None:
    """Find the report that rules near the ground."""
    near = [source for source in sources if source.near_ground]

    def order(source: Source) -> tuple[object, ...]:
        terrain = source.reading.terrain or setting.terrain
        return ground_rank(source, profile_law.ROUGHNESS[terrain])

    return min(near, key=order, default=None)


def _check_height(surface: Reading, setting: Setting) -> None:
    height = surface.levels[0].height
    lowest = 4 * profile_law.ROUGHNESS[setting.terrain]
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


def _unchecked(reading: Reading) -> str:
    if reading.forecast:
        return f"{reading.source}: the time it is for is not known"
    return (
        f"{reading.source}: age at the flight not known, its error is that of a reading "
        f"{uncertainty.UNKNOWN_AGE:.0f} h old"
    )


def _field(stack: Stack, setting: Setting) -> Field:
    """Return how the wind usually is above that near the ground, at this hour and place."""
    low = carried(stack.nodes[0], MAST, profile_law.ROUGHNESS[setting.terrain])
    if setting.place is None:
        return field_of(None, None, low.speed)
    sun = sun_height(setting.when, *setting.place)
    return field_of(sun, setting.place[0], low.speed)


def _field_notes(stack: Stack, setting: Setting) -> list[str]:
    z0, lowest = profile_law.ROUGHNESS[setting.terrain], stack.nodes[0]
    known = "by the sun's height" if setting.place else "as by night, the widest"
    notes = [
        "between far levels and beyond them the wind is as it usually grows and turns with "
        f"height in some 1,200 real soundings, {known}; near the ground, up to 60 m, by "
        f"the logarithmic law, roughness {z0:g} m ({setting.terrain}), held below "
        f"{profile_law.lowest_height(z0):.0f} m"
    ]
    if held := held_below(stack):
        notes.append(f"below {held:.0f} m the wind of {lowest.level.source} is held")
    return notes


def _stirred(stack: Stack, setting: Setting) -> tuple[Convection | None, str]:
    """Tell how the sun stirs the air, and what is assumed of it."""
    seen = (s.reading for s in stack.used if _of_this_sky(s.reading))
    told = (one.cloud_cover for one in seen if one.cloud_cover is not None)
    cloud = min(told, default=None)  # the least, as cloud stills the air
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
    """Return the heights at which a source speaks.

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


def _each(stack: Stack, what: str, poor: float = math.inf) -> Iterator[float]:
    """Go through what reports say of the sky.

    What was forecast, or seen by somebody who may stand far off, counts only where it is `poor`
    or worse: of a better sky it knows nothing here.
    """
    for reading in (source.reading for source in stack.sources):
        value, sign = getattr(reading, what), -1 if what == "cloud_cover" else 1
        if value is not None and (_of_this_sky(reading) or sign * value <= sign * poor):
            yield value


def _of_this_sky(reading: Reading) -> bool:
    away = reading.away
    return not reading.forecast and away is not None and away <= SAME_SKY


def _of_one_time(sources: Sequence[Source], ground: Source | None) -> list[Source]:
    """List the reports that speak of the same time as the one that rules near the ground."""
    if ground is None or ground.age is None:
        return list(sources)
    newest = ground.age
    return [s for s in sources if s.age is None or s.age - newest < ONE_TIME]


def _profile(
    nodes: list[Node], covariance: FloatArray, stack: Stack, roughness: float
) -> WindProfile:
    """Return the wind by height, and up to where somebody read it."""
    count = max(node.wind.shape[0] for node in nodes)
    winds = np.stack([np.broadcast_to(n.wind, (count, 2)) for n in nodes], axis=-1)
    error = np.array([node.error for node in nodes])
    mean = winds.mean(axis=0)
    read = _read_heights(stack, roughness)
    return WindProfile(
        height=np.array([node.height for node in nodes]),
        east=mean[0],
        north=mean[1],
        error=error,
        modes=modes_of(covariance, error),
        members=winds if count > 1 else None,
        levels=tuple(n.level for n in nodes if n.height <= max(read[-1], LAW_TOP)),
        known_to=read[-1],
        read=read,
        read_from=max(min(node.height for node in stack.nodes), 0.0),
        source="; ".join(dict.fromkeys(source.name for source in stack.sources)),
    )


def _with_doubts(
    profile: WindProfile,
    stack: Stack,
    ground: Source | None,
    notes: list[str],
    setting: Setting,
) -> WindProfile:
    """Add how old the reports are, and what a verdict must hold for."""
    ages = [source.age for source in stack.used]
    ends = [source.reading.ends for source in stack.sources]
    if ground is not None and not ground.reading.forecast:
        ends.append(next_due(ground.reading))
    now = _of_one_time(stack.sources, ground)
    supposed = (
        f"above {profile.known_to:.0f} m no source speaks: the wind there is supposed, its "
        "error grows with height"
    )
    return replace(
        profile,
        age=None if None in ages else max(age for age in ages if age is not None),
        when=setting.when,
        altitude=setting.site_altitude,
        place=setting.place,
        foretold=ground is not None and ground.reading.forecast,
        undated=tuple(s.name for s in stack.used if s.age is None),
        renewed_in=min(
            ((end - setting.when) / timedelta(hours=1) for end in ends if end),
            default=None,
        ),
        warned=doubted(stack, None if setting.ahead else ground, now),
        disagree=stack.doubts,
        stronger=stack.stronger,
        assumed=tuple(dict.fromkeys((*notes, supposed, uncertainty.ERROR_NOTE))),
    )


def _with_ground(
    profile: WindProfile, stack: Stack, ground: Source | None, roughness: float
) -> WindProfile:
    """Add what the reports of this hour tell near the ground: gusts, the strongest, the air."""
    now = _of_one_time(stack.sources, ground)
    low = [n.level for s in now for n in s.nodes if n.height <= profile_law.LOG_TOP]
    at_mast = (
        s.reading.up_to * carried(s.nodes[0], MAST, roughness).speed
        for s in now
        if s.near_ground
    )
    # A report's air counts, as its sky does, though the wind of another is flown.
    both = (s.reading for s in (*stack.used, *stack.sources))
    reports = [reading for reading in both if reading.kind == "surface"]
    warmth = (one.levels[0].temperature for one in reports)
    pressure = (one.pressure for one in reports)
    above = (level.peak - level.speed for level in low)
    return replace(
        profile,
        gust=max(above, default=0.0),
        strongest=max(at_mast, default=None),
        temperature=next((t for t in warmth if t is not None), None),
        altimeter=next((p for p in pressure if p is not None), None),
    )


def _with_sky(profile: WindProfile, stack: Stack) -> WindProfile:
    """Add the sky, which counts whosever wind is flown."""
    return replace(
        profile,
        cloud_cover=max(_each(stack, "cloud_cover", _POOR_COVER), default=None),
        visibility=min(_each(stack, "visibility", _POOR_SIGHT), default=None),
        cloud_base=min(_each(stack, "cloud_base"), default=None),
        lowest_cloud=min(_each(stack, "lowest_cloud"), default=None),
    )
