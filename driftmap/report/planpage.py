"""A plain page for a plan: a picture, tables, and what it rests on; no network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

from driftmap.verdict.assessment import CAUTIONS

__all__ = ["page", "printable", "table"]

_CSS: Final = (
    "body{font:16px/1.45 system-ui,sans-serif;max-width:60rem;margin:1.5rem auto;"
    "padding:0 1rem;color:#15202b;background:#fff}"
    "h1{font-size:1.4rem}h2{font-size:1.1rem}svg{width:100%;height:auto}"
    "table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}"
    "th,td{padding:.25rem .6rem;text-align:left;border-bottom:1px solid #c9d1d9;"
    "overflow-wrap:anywhere}"
    "div.wide{overflow-x:auto}"
    "@media print{body{margin:0;max-width:none}}"
)


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
    return escape("".join(c if c.isprintable() else "?" for c in text))


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
    body = "".join(
        f"<tr>{''.join(f'<td>{printable(c)}</td>' for c in row)}</tr>"
        for row in rows[1:]
    )
    return f'<div class="wide"><table><tr>{head}</tr>{body}</table></div>'


def page(
    title: str,
    blocks: Iterable[str],
    *,
    assumed: Iterable[str],
    questions: Iterable[str],
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

    Returns
    -------
    str
        A document that needs nothing from outside.
    """
    lists = [
        ("To be answered on the day before any go", questions),
        ("Assumed", assumed),
        ("Cautions", CAUTIONS),
    ]
    ends = [_list(name, tuple(lines)) for name, lines in lists]
    name = printable(title)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{name}</title><style>{_CSS}</style></head><body>"
        f"<h1>{name}</h1>{''.join(blocks)}{''.join(ends)}</body></html>\n"
    )


def _list(name: str, lines: Sequence[str]) -> str:
    if not lines:
        return ""
    items = "".join(f"<li>{printable(line)}</li>" for line in lines)
    return f"<h2>{printable(name)}</h2><ul>{items}</ul>"
