"""The map: one HTML file that opens with no network."""

from __future__ import annotations

from dataclasses import asdict
from html import escape
from typing import Any, Final

from driftmap.planning.around import Around
from driftmap.report import tables
from driftmap.report.instruct import Watch, before, instruction, moments, watch
from driftmap.report.layers import drawn
from driftmap.report.marks import KINDS, MOST_POINTS
from driftmap.report.page import (
    leaflet_script,
    leaflet_style,
    render,
    text_of,
    told_to_script,
    words_for_script,
)
from driftmap.report.picture import field_picture
from driftmap.report.reasons import needle_told, zone_lines
from driftmap.report.voice import Catalogue, Voice, read_catalogue
from driftmap.report.windsketch import pad_picture, wind_arrow, wind_picture_svg
from driftmap.report.windtold import age_script
from driftmap.report.words import Units, in_units_of
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.document import document

__all__ = ["map_html"]

_SCRIPTS: Final = (
    "say.js",
    "controls.js",
    "map.js",
    "labels.js",
    "points.js",
    "tools.js",
    "stopwatch.js",
)


def map_html(
    assessment: Assessment,
    *,
    units: Units | None = None,
    language: str | Catalogue = "en",
    around: Around | None = None,
) -> str:
    """Write an assessment as one page with its map.

    Parameters
    ----------
    assessment : Assessment
        The assessment.
    units : {"us", "si"}, optional
        Units the reader picked; those of the language when left out.
    language : str or Catalogue
        One of `driftmap.report.voice.languages`, the path of a catalogue, or one that
        is read already.
    around : Around, optional
        From `driftmap.planning.winds_around`: the page then says at which reading of the
        meter it stops being true.

    Returns
    -------
    str
        An HTML document; the same assessment gives the same text.
    """
    catalogue = read_catalogue(language) if isinstance(language, str) else language
    voice = Voice(catalogue, units or catalogue.units)
    seen = watch(assessment, voice)
    told = {
        **drawn(seen),
        "moments": [asdict(moment) for moment in moments(seen)],
    }
    facts = [words_for_script(voice), told_to_script("DRIFTMAP", told)]
    chart = _map_script(assessment.site.latitude, assessment.site.longitude)
    own = "\n".join([*facts, chart, *(text_of(name) for name in _SCRIPTS)])
    return render(
        "map.html",
        voice,
        styles=[leaflet_style(), text_of("map.css")],
        scripts=[age_script(assessment, voice), leaflet_script(), own],
        **_content(seen, around),
    )


_PANES: Final = {
    "picture": 320,
    "zones": 330,
    "ground": 340,
    "grid": 350,
    "contours": 360,
}
"""Panes that the layers lie in, the lowest first."""

_CHART: Final = """{% macro script(this, kwargs) %}
const chart = L.map("map", {center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});
const {{ this.get_name() }} = chart;
{% endmacro %}"""


def _map_script(latitude: float, longitude: float) -> str:
    """Write the script that makes the map and its panes, for the page's own to draw on."""
    # folium takes 0.2 s to import: only those who want a map wait for it.
    import folium  # noqa: PLC0415
    from folium.template import Template  # noqa: PLC0415

    chart = folium.Map(
        location=[latitude, longitude],
        tiles=None,
        zoom_snap=0,
        zoom_control=False,
        zoom_animation=False,
        fade_animation=False,
        attribution_control=False,
    )
    # The page brings element, script and style: folium asks for none from anywhere.
    chart.default_js, chart.default_css, chart._template = [], [], Template(_CHART)
    chart._id = ""  # else random, and no two pages would be the same
    for name, height in _PANES.items():
        pane = folium.map.CustomPane(name, z_index=height)
        pane._id = name
        pane.add_to(chart)
    figure: Any = chart.get_root()
    chart.render()  # type: ignore[no-untyped-call]
    return str(figure.script.render())


def _content(seen: Watch, around: Around | None) -> dict[str, Any]:
    a, voice, facts = seen.told, seen.voice, document(seen.told)
    wind, people = tables.wind_rows(a, voice), tables.people_rows(seen.places, voice)
    return {
        "facts": facts,
        "still": field_picture(seen),
        "still_style": text_of("picture.css"),
        "zones": [
            (z.kind, " ".join(zone_lines(a.flight, z, voice))) for z in seen.drawn
        ],
        "instruction": instruction(seen),
        "before": before(seen),
        "moments": moments(seen),
        "people": people,
        "arrow": wind_arrow(a),
        "pad_picture": pad_picture(a, escape(voice.say("map.rail"))),
        "drawn": frozenset(KINDS.get(area.role, "keep") for area in a.site.areas),
        "source": a.wind.source,
        "head": tables.headline(a, voice, around, people=people),
        "cases": tables.case_rows(a, facts["cases"], voice),
        "checks": tables.check_rows(a, voice),
        "areas": tables.area_rows(a, voice),
        "wind": wind,
        "picture": wind_picture_svg(a.wind, wind["top"], voice),
        "needle": needle_told(a.site.declination, voice),
        "most_points": voice.count(MOST_POINTS),
        "ground_error": voice.distance(a.site.picture.error) if a.site.picture else "",
        "assumed": [in_units_of(note, voice.units) for note in a.assumed],
    }
