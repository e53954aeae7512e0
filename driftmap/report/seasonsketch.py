"""A season as a picture: a cell for each month and hour, filled by the share of go."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from driftmap.planning.shares import GoShare
from driftmap.report.planpage import printable
from driftmap.report.voice import Voice

__all__ = ["season_svg"]

_LEFT, _TOP, _CELL, _ROW = 46.0, 28.0, 30.0, 26.0
_STEPS: Final = ("#f4f4f4", "#d5f0e3", "#93d3b3", "#3f9c74", "#04643f")
_DARK: Final = 3  # fills from here on take white figures
_LEAST_KNOWN: Final = 0.5


def season_svg(cells: Mapping[tuple[int, int], GoShare], voice: Voice) -> str:
    """Draw the share of hours that were go.

    Parameters
    ----------
    cells : mapping of (int, int) to GoShare
        By month, 1 to 12, and hour of the day.
    voice : Voice
        Writes words and figures.

    Returns
    -------
    str
        An ``svg`` element that needs nothing from outside. Figures are percent of the
        known hours; a dashed frame marks a cell of which less than half is known.
    """
    width, height = _LEFT + 24 * _CELL + 10, _TOP + 12 * _ROW + 10
    hours = (
        f'<text x="{_LEFT + (h + 0.5) * _CELL:.0f}" y="{_TOP - 10:.0f}">{h:02d}</text>'
        for h in range(24)
    )
    months = (
        f'<text x="22" y="{_TOP + (m + 0.65) * _ROW:.0f}">{printable(name)}</text>'
        for m, name in enumerate(_months(voice))
    )
    title = printable(voice.say("plan.season_name"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="year" role="group" '
        f'viewBox="0 0 {width:.0f} {height:.0f}"><title>{title}</title>'
        f"{''.join(hours)}{''.join(months)}"
        f"{''.join(_cells(cells, voice))}</svg>"
    )


def _months(voice: Voice) -> list[str]:
    names = voice.say("plan.months").split()
    return names if len(names) == 12 else [str(n) for n in range(1, 13)]


def _cells(cells: Mapping[tuple[int, int], GoShare], voice: Voice) -> Iterable[str]:
    for month in range(1, 13):
        for hour in range(24):
            yield _cell(month, hour, cells.get((month, hour)), voice)


def _cell(month: int, hour: int, share: GoShare | None, voice: Voice) -> str:
    x, y = _LEFT + hour * _CELL, _TOP + (month - 1) * _ROW
    box = f'x="{x + 1:.0f}" y="{y + 1:.0f}" width="{_CELL - 2:.0f}" height="{_ROW - 2:.0f}"'
    if share is None or not share.known:
        return f'<rect class="none" {box}><title>{printable(voice.say("plan.not_known"))}</title></rect>'
    step = min(int(share.share * len(_STEPS)), len(_STEPS) - 1)
    thin = ' class="thin"' if share.coverage < _LEAST_KNOWN else ""
    told = voice.say(
        "plan.cell",
        month=_months(voice)[month - 1],
        hour=f"{hour:02d}",
        share=voice.percent(share.share),
        known=voice.count(share.known),
        low=voice.percent(share.lower),
        high=voice.percent(share.upper),
        coverage=voice.percent(share.coverage),
    )
    light = ' class="light"' if step >= _DARK else ""
    return (
        f'<rect{thin} {box} fill="{_STEPS[step]}"><title>{printable(told)}</title></rect>'
        f'<text{light} x="{x + _CELL / 2:.0f}" y="{y + _ROW * 0.65:.0f}">'
        f"{share.share * 100:.0f}</text>"
    )
