"""The map: one HTML file that opens with no network."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from driftmap.hazard.zones import HURTS, KILLS, zones
from driftmap.report import tables
from driftmap.report.facts import spots
from driftmap.report.harms import zone_lines
from driftmap.report.instruct import instruction
from driftmap.report.pad import wind_arrow
from driftmap.report.page import (
    leaflet_script,
    leaflet_style,
    render,
    text_of,
    told_to_script,
)
from driftmap.report.picture import field_picture
from driftmap.report.pieces import KINDS
from driftmap.report.sight import shown
from driftmap.report.stopwatch import moments
from driftmap.report.voice import english
from driftmap.report.windsketch import wind_picture_svg
from driftmap.report.words import Units, energy
from driftmap.verdict.assessment import CAUTIONS, Assessment, document

__all__ = ["map_html"]

_SCRIPTS: Final = ("map.js", "labels.js", "points.js", "tools.js", "stopwatch.js")


def map_html(
    assessment: Assessment, *, units: Units, background: str | None = None
) -> str:
    """Write an assessment as one page with its map.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}
        Units the reader picked.
    background : str, optional
        Address of tiles of a map background, with ``{z}``, ``{x}`` and ``{y}``. The
        page then asks that host for pictures, and says so. By default nothing is
        asked of any network.

    Returns
    -------
    str
        An HTML document; the same assessment gives the same text.

    Raises
    ------
    ValueError
        If `background` is no such address.
    """
    # folium takes 0.2 s to import: only those who want a map wait for it.
    from driftmap.report import offline  # noqa: PLC0415
    from driftmap.report.layers import draw  # noqa: PLC0415

    host = None if background is None else offline.check_background(background)
    chart, data = draw(assessment, units)
    element, drawing = chart.parts()
    watch = [asdict(moment) for moment in moments(assessment, english(units))]
    told = {**data, "background": background, "moments": watch}
    own = "\n".join(text_of(name) for name in _SCRIPTS)
    facts = told_to_script("DRIFTMAP", told)
    whole = offline.stable_ids("\0".join([element, f"{drawing}\n{facts}\n{own}"]))
    element, drawing = whole.split("\0")
    return render(
        "map.html",
        styles=[leaflet_style(), text_of("map.css")],
        scripts=[leaflet_script(), drawing],
        pictures_from=host,
        chart=element,
        background=host,
        **_content(assessment, units),
    )


def _content(assessment: Assessment, units: Units) -> dict[str, Any]:
    facts = document(assessment)
    voice = english(units)
    zoned = shown(zones(assessment.cloud, assessment.contours))
    wind = tables.wind_rows(assessment, units)
    return {
        "facts": facts,
        "still": field_picture(assessment, spots(assessment), zoned, voice),
        "still_style": text_of("picture.css"),
        "zones": [
            {
                "kind": zone.kind,
                "word": voice.say(f"zone.{zone.kind}"),
                "means": voice.say(f"zone.{zone.kind}_means"),
                "told": " ".join(zone_lines(assessment.flight, zone, voice)),
            }
            for zone in zoned
        ],
        "kills": energy(KILLS.value, units),
        "hurts": energy(HURTS.value, units),
        "instruction": instruction(assessment, voice),
        "moments": moments(assessment, voice),
        "people": tables.people_rows(assessment, units),
        "arrow": wind_arrow(assessment),
        "drawn": frozenset(
            KINDS.get(area.role, "keep") for area in assessment.site.areas
        ),
        "source": assessment.wind.source,
        "age": assessment.wind.age,
        "head": tables.headline(assessment, units),
        "cases": tables.case_rows(assessment, facts["cases"], units),
        "checks": tables.check_rows(assessment, units),
        "areas": tables.area_rows(assessment),
        "wind": wind,
        "picture": wind_picture_svg(assessment.wind, wind["top"], units),
        "declination": assessment.site.declination,
        "assumed": assessment.assumed,
        "cautions": CAUTIONS,
    }
