"""The frame that every page shares: one head, one policy, one look, nothing fetched."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from driftmap.report.words import isolate, tied

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = [
    "leaflet_script",
    "leaflet_style",
    "policy",
    "render",
    "text_of",
    "told_to_script",
]

_HERE: Final = "driftmap.report"
_NOTHING: Final = "'none'"


def render(
    template: str,
    *,
    room: str = _HERE,
    styles: Sequence[str] = (),
    scripts: Sequence[str] = (),
    language: str = "en",
    direction: str = "ltr",
    **content: Any,
) -> str:
    """Write a page that needs nothing from outside.

    ``template``: name of a template of `room`; it extends ``page.html``, and may import
    the signs of the verdicts from ``signs.html``; ``room``: package that holds the
    template; ``styles``: style sheets after ``look.css``, as text; ``scripts``: scripts
    at the end of the page, as text; no other script runs;
    ``content``: what the template shows; every text is escaped.

    Result: an HTML document; the same content gives the same text.
    """
    return (
        _environment(room)
        .get_template(template)
        .render(
            policy=policy(scripts),
            styles=[text_of("look.css"), *styles],
            scripts=scripts,
            language=language,
            direction=direction,
            version=version("driftmap"),
            **content,
        )
    )


@cache
def _environment(room: str) -> Environment:
    # jinja2 takes 50 ms to import.
    from jinja2 import (  # noqa: PLC0415
        ChoiceLoader,
        Environment,
        FunctionLoader,
        StrictUndefined,
    )

    def found(package: str) -> FunctionLoader:
        def source(name: str) -> str | None:
            file = files(package).joinpath(name)
            return file.read_text("utf-8") if file.is_file() else None

        return FunctionLoader(source)

    page = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=ChoiceLoader([found(room), found(_HERE)]),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page.filters.update(isolate=isolate, tied=tied)
    return page


def text_of(name: str, room: str = _HERE) -> str:
    """Read a style sheet or a script."""
    return files(room).joinpath(name).read_text("utf-8")


def told_to_script(name: str, data: object) -> str:
    """Write data as a constant for a page's script.

    Result: a line of script. No text of a file may end the script or begin a comment in
    it.
    """
    told = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return f"const {name} = " + told.replace("<", "\\u003c") + ";"


def policy(scripts: Sequence[str]) -> str:
    """Write the content security policy: these scripts run, nothing is fetched.

    ``scripts``: text of each script in the page, exactly as it stands there.
    """
    digests = [
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'"
        for s in scripts
    ]
    return (
        f"default-src 'none'; script-src {' '.join(digests or [_NOTHING])}; "
        f"style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )


def leaflet_script() -> str:
    """Give Leaflet's script.

    Result: the script, without the link to its map of sources.
    """
    text = _leaflet("leaflet.js").decode()
    return re.sub(r"//# sourceMappingURL=\S*", "", text).strip()


def leaflet_style() -> str:
    """Give Leaflet's style with its pictures inside."""

    def inline(match: re.Match[str]) -> str:
        picture = base64.b64encode(_leaflet(match[1])).decode()
        return f"url(data:image/png;base64,{picture})"

    text = _leaflet("leaflet.css").decode()
    return re.sub(r"url\((images/[\w-]+\.png)\)", inline, text).strip()


def _leaflet(name: str) -> bytes:
    return files("xstatic.pkg.leaflet").joinpath("data", name).read_bytes()
