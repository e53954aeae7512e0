"""A page for a plan: a picture, tables, and what it rests on; no network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

from driftmap.report.page import render, text_of
from driftmap.verdict.assessment import CAUTIONS

__all__ = ["page", "printable", "table"]

_WORDS: Final = {"GO": "go", "GO IF": "go", "HOLD": "hold", "NO-GO": "no-go"}
"""Cells of a table that bear the colours of a verdict."""


_SHORT: Final = 20
"""Letters up to which a cell is kept on one line."""


def printable(text: str) -> str:
    """Make a text safe to show: nothing unprintable, and escaped.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        HTML.
    """
    return escape(_shown(text))


def table(rows: Sequence[Sequence[str]]) -> str:
    """Write a table.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells as text, the first row being the head.

    Returns
    -------
    str
        HTML.
    """
    head = "".join(f'<th scope="col">{printable(c)}</th>' for c in rows[0])
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in rows[1:])
    return f'<div class="wide" tabindex="0" role="group" aria-label="Table"><table><tr>{head}</tr>{body}</table></div>'


def _cell(text: str) -> str:
    kind = _WORDS.get(text) or ("short" if len(text) <= _SHORT else "")
    return f'<td class="{kind}">{printable(text)}</td>'


def page(
    title: str,
    blocks: Iterable[str],
    *,
    assumed: Iterable[str],
    questions: Iterable[str] = (),
    warnings: Iterable[str] = (),
) -> str:
    """Write a page.

    Parameters
    ----------
    title : str
        Title as text.
    blocks : iterable of str
        HTML of the body: pictures, tables, paragraphs.
    assumed, questions : iterable of str
        What was assumed, and what must be answered on the day.
    warnings : iterable of str
        What governs all of it; it stands in the head, and the head then warns.

    Returns
    -------
    str
        A document that needs nothing from outside.
    """
    return render(
        "plan.html",
        styles=[text_of("plan.css")],
        scripts=[text_of("plan.js")],
        title=_shown(title),
        blocks=list(blocks),
        assumed=[_shown(line) for line in assumed],
        questions=[_shown(line) for line in questions],
        warnings=[_shown(line) for line in warnings],
        cautions=CAUTIONS,
    )


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)
