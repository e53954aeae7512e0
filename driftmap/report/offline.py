"""folium without a network: only Leaflet, written into the page; text made harmless."""

from __future__ import annotations

import html
import itertools
import re
from typing import Any, Final
from urllib.parse import urlsplit

import folium
from branca.element import Element, MacroElement
from folium.template import Template

__all__ = [
    "Group",
    "Label",
    "Lines",
    "OfflineMap",
    "Outline",
    "check_background",
    "safe_text",
    "stable_ids",
]

_RANDOM_ID: Final = re.compile(r"(?<=_)[0-9a-f]{32}(?![0-9a-f])")
_SPECIAL: Final = str.maketrans({char: f"&#{ord(char)};" for char in "`$\\{}"})


def safe_text(text: str) -> str:
    """Make text of a file harmless wherever folium puts it.

    folium escapes nothing: a name passes through Jinja and through a JavaScript literal
    before it is HTML. Entities survive the first two and show as the text itself.

    Examples
    --------
    >>> safe_text("<b>{{ 7 }}`${x}")
    '&lt;b&gt;&#123;&#123; 7 &#125;&#125;&#96;&#36;&#123;x&#125;'
    """
    return html.escape(text).translate(_SPECIAL)


def stable_ids(text: str) -> str:
    """Turn the random names folium gives into numbers, in order of their first use.

    ``text``: a page or script as folium writes it.

    Result: the same; two builds of the same content are then the same bytes.
    """
    numbers = itertools.count(1)
    known: dict[str, str] = {}

    def number(match: re.Match[str]) -> str:
        if match[0] not in known:
            known[match[0]] = str(next(numbers))
        return known[match[0]]

    return _RANDOM_ID.sub(number, text)


class _Text(Element):
    """What an element wrote; folium would compile it as one more template."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text.removesuffix("\n")  # as a template does

    def render(self, **_: Any) -> str:
        return self._text


class _Written(MacroElement):
    """Last in line to render: text goes into the page as it was written, not twice."""

    def render(self, **_: Any) -> Any:
        _write(self)


def _write(element: Element) -> None:
    figure: Any = element.get_root()
    for part in ("header", "html", "script"):
        macro = getattr(element._template.module, part, None)
        if macro is not None:
            text = _Text(macro(element, {}))
            getattr(figure, part).add_child(text, name=element.get_name())
    for child in element._children.values():
        # What folium adds by itself, as the icon of a marker.
        if type(child).render is MacroElement.render:
            _write(child)
        else:
            child.render()


class Group(folium.FeatureGroup, _Written):
    """Some shapes that are shown together."""


class Label(folium.Marker, _Written):  # type: ignore[misc] # its render takes nothing
    """HTML at a place."""


class Lines(folium.PolyLine, _Written):
    """Lines."""


class Outline(folium.Polygon, _Written):
    """Polygons."""


class OfflineMap(folium.Map, _Written):
    """A folium map that asks for no script and no style from anywhere.

    The page around it brings Leaflet, viewport and size. `hint` says how to use it, safe
    to show.
    """

    hint = ""

    # Lists of its own: those of folium.Map are shared by every map of the process.
    default_js: list[tuple[str, str]] = []  # noqa: RUF012 (as the parent has it)
    default_css: list[tuple[str, str]] = []  # noqa: RUF012

    _template = Template(
        """
        {% macro html(this, kwargs) %}
        <div id={{ this.get_name()|tojson }} class="map" role="application"
          aria-label="{{ this.hint }}"></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        var {{ this.get_name() }} = L.map({{ this.get_name()|tojson }},
          {center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});
        {% endmacro %}
        """
    )

    def parts(self) -> tuple[str, str]:
        """Render the map once; folium changes a map by rendering it.

        Result: the map's own element, and the script that fills it.
        """
        figure: Any = self.get_root()
        self.render()  # type: ignore[no-untyped-call]
        return figure.html.render(), figure.script.render()


def check_background(template: str) -> str:
    """Check the address of a map background and find its host.

    ``template``: address of tiles with ``{z}``, ``{x}`` and ``{y}``; ``{s}`` may lead
    the host.

    Result: host as a content security policy names it. Raises `ValueError` if it is no
    such address.
    """
    parts = urlsplit(template)
    host = parts.netloc.replace("{s}", "*")
    if (
        parts.scheme not in {"http", "https"}
        or not re.fullmatch(r"(\*\.)?[a-z0-9.-]+(:\d+)?", host)
        or not all(key in template for key in ("{z}", "{x}", "{y}"))
    ):
        raise ValueError(
            "'background' must be an http(s) address with {z}, {x} and {y} "
            f"(got {template!r})"
        )
    return f"{parts.scheme}://{host}"
