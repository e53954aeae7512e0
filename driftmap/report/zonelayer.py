"""The two zones on the map: outlines, hatches and words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import shapely

from driftmap.hazard.zones import Zone
from driftmap.report.offline import Group, OfflineMap, safe_text
from driftmap.report.reasons import zone_lines
from driftmap.report.shapes import latlon_of, outline, rings_of, tag
from driftmap.report.sight import shown
from driftmap.report.voice import Voice
from driftmap.verdict.assessment import Assessment

__all__ = ["draw_zones"]


def draw_zones(
    chart: OfflineMap, assessment: Assessment, zoned: Sequence[Zone], voice: Voice
) -> list[str]:
    """Draw danger over caution, each with its word and what comes down there.

    ``chart``: the map; the zones are put on it.

    Result: names of the layers, that of the words last.
    """
    names, above = [], shapely.union_all([a.shape for a in assessment.site.areas])
    for zone in reversed(zoned):
        rings = rings_of(assessment.site, zone.shape)
        for classes in (f"zone {zone.kind}", f"hatch {zone.kind}"):
            shape = outline(rings, classes, pane="zones")
            shape.add_to(chart)
            names.append(str(shape.get_name()))
    group = Group(name="zone words", show=False)
    for zone in shown(zoned):
        free = shapely.difference(zone.heart, above)
        heart = zone.heart if free.is_empty else free
        pole = shapely.get_point(
            shapely.maximum_inscribed_circle(
                cast("shapely.Polygon", heart), tolerance=5.0
            ),
            0,
        )
        word = safe_text(voice.say(f"zone.{zone.kind}"))
        told = "<br>".join(
            safe_text(line) for line in zone_lines(assessment.flight, zone, voice)
        )
        inner = f"<b>{word}</b><span>{told}</span>"
        tag(latlon_of(assessment.site, pole), inner, f"zone {zone.kind}", -99).add_to(
            group
        )
        above = shapely.union(above, zone.shape)
    group.add_to(chart)
    return [*names, str(group.get_name())]
