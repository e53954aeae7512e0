"""The map itself by folium, which asks for no script and no style from anywhere."""

from __future__ import annotations

from typing import Any, Final

import folium
from folium.template import Template

__all__ = ["map_script"]

_PANES: Final = {
    "picture": 320,
    "zones": 330,
    "ground": 340,
    "grid": 350,
    "contours": 360,
}
"""Panes that the layers lie in, the lowest first."""


class _Map(folium.Map):
    """A map whose element and Leaflet the page brings; its script calls it ``chart``."""

    # Lists of its own: those of folium.Map are shared by every map of the process.
    default_js: list[tuple[str, str]] = []  # noqa: RUF012 (as the parent has it)
    default_css: list[tuple[str, str]] = []  # noqa: RUF012

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        const chart = L.map("map",
          {center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});
        {% endmacro %}
        """
    )

    def get_name(self) -> str:
        return "chart"


def map_script(latitude: float, longitude: float) -> str:
    """Write the script that makes the map and its panes, for the page's own to draw on.

    ``latitude`` and ``longitude``: of the pad [deg].
    """
    chart = _Map(
        location=[latitude, longitude],
        tiles=None,
        zoom_snap=0,
        zoom_control=False,
        zoom_animation=False,
        fade_animation=False,
        attribution_control=False,
    )
    for name, height in _PANES.items():
        pane = folium.map.CustomPane(name, z_index=height)
        pane._id = name  # folium's own is random, and no two pages would be the same
        pane.add_to(chart)
    figure: Any = chart.get_root()
    chart.render()  # type: ignore[no-untyped-call]
    return str(figure.script.render())
