"""The survey page alone: the field's drawing in one file that needs no desk and no network."""

from __future__ import annotations

import re

from driftmap.report.page import render, text_of
from driftmap.rules import rule_sets

__all__ = ["survey_html"]

_ROOM = "driftmap.desk.page"
_MODULES = ("net.js", "geo.js", "draw.js", "survey.js")  # each after what it imports
_BETWEEN = re.compile(
    r"^import .*?;$\n|^export (?=(?:async )?(?:function|const|class))", re.M
)


def survey_html() -> str:
    """Write the survey page.

    Result: an HTML document; the site file it gives is one that `read_site` reads.
    """
    parts = (_BETWEEN.sub("", text_of(name, _ROOM)) for name in _MODULES)
    script = '(() => {\n"use strict";\n' + "\n".join(parts) + "\n})();"
    return render(
        "survey.html",
        room=_ROOM,
        styles=[text_of("desk.css", _ROOM)],
        scripts=[script],
        rules=" ".join(rule_sets()),
    )
