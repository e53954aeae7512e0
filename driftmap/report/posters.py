"""Two pages of one thing each: six lines for the crowd, and the seconds for the caller."""

from __future__ import annotations

from typing import Any

from driftmap.hazard.zones import zones
from driftmap.planning.around import Around
from driftmap.report.instruct import instruction, moments
from driftmap.report.page import render, text_of
from driftmap.report.picture import field_picture
from driftmap.report.sheet import heads_up
from driftmap.report.sheetfacts import falls, spots
from driftmap.report.sight import shown
from driftmap.report.tables import headline, people_rows
from driftmap.report.voice import Catalogue, Voice
from driftmap.report.windtold import age_script
from driftmap.report.words import Units
from driftmap.verdict.assessment import Assessment

__all__ = ["caller_html", "poster_html"]


def poster_html(
    assessment: Assessment,
    *,
    catalogue: Catalogue,
    units: Units,
    around: Around | None = None,
) -> str:
    """Write what hangs at the crowd: word, wind, why, where to stand, what to count, who decides."""
    voice = Voice(catalogue, units)
    zoned = shown(zones(assessment.cloud, assessment.contours))
    picture = field_picture(assessment, spots(assessment), zoned, voice)
    told = instruction(assessment, voice)  # the page shows the first and the last
    return _page("poster.html", assessment, voice, around, picture=picture, told=told)


def caller_html(
    assessment: Assessment,
    *,
    catalogue: Catalogue,
    units: Units,
    around: Around | None = None,
) -> str:
    """Write what the caller reads aloud: the seconds, and when to call."""
    voice = Voice(catalogue, units)
    zoned = zones(assessment.cloud, assessment.contours)
    return _page(
        "caller.html",
        assessment,
        voice,
        around,
        moments=moments(assessment, voice),
        people=people_rows(assessment, zoned, voice)[:8],
        heads_up=heads_up(falls(assessment), voice),
    )


def _page(
    template: str, a: Assessment, voice: Voice, around: Around | None, **content: Any
) -> str:
    return render(
        template,
        styles=[text_of("poster.css"), text_of("picture.css")],
        scripts=[age_script(a, voice)],
        language=voice.catalogue.language,
        direction=voice.catalogue.direction,
        say=voice.say,
        flight=a.flight.name,
        site=a.site.name,
        head=headline(a, voice, around, most=1),
        **content,
    )
