"""A plain page for a plan: a picture, tables, and what it rests on; no network."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

from driftmap.verdict.assessment import CAUTIONS

__all__ = ["page", "printable", "table"]

_CSS: Final = (
    ":root{--paper:#fff;--ink:#101418;--soft:#4a5158;--rule:#9aa1a8;--sheet:#f3f4f6}"
    "@media screen and (prefers-color-scheme:dark){:root{--paper:#0e1114;--ink:#f4f6f8;"
    "--soft:#bcc4cc;--rule:#5c656e;--sheet:#1a1f24}}"
    "*{box-sizing:border-box}"
    'body{margin:0;font:17px/1.4 system-ui,-apple-system,"Segoe UI",Roboto,"DejaVu Sans",'
    "sans-serif;color:var(--ink);background:var(--paper);overflow-wrap:break-word}"
    "header{padding:.6rem 1rem;background:var(--ink);color:var(--paper)}"
    "header p{margin:.2rem 0 0}main{max-width:62rem;margin:0 auto;padding:0 1rem 2rem}"
    "h1{font-size:1.4rem;line-height:1.15;margin:0}h2{font-size:1.2rem}"
    # Pictures and tables keep a size that can be read, and scroll where it does not fit.
    ".wide{overflow-x:auto;margin:.6rem 0}.wide svg{display:block;width:100%;"
    "min-width:28rem;height:auto;background:#fff}"
    "table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}"
    "th,td{padding:.35rem .6rem;text-align:left;vertical-align:top;"
    "border-bottom:1px solid var(--rule)}th{white-space:nowrap}td{min-width:4.5rem}td:last-child{min-width:14rem}"
    "#why{min-height:44px;padding:.5rem .7rem;border:2px solid var(--ink);"
    "background:var(--sheet);font-weight:700}svg :focus{outline:3px solid #003f8a}"
    "summary{min-height:44px;padding:.6rem 0;cursor:pointer;font-weight:700}"
    "@page{margin:10mm}"
    "@media print{body{font-size:10.5px}header{background:none;color:#000;border:3px solid "
    "#000}#why,details{display:none}.wide{overflow:visible}.wide svg{min-width:0;"
    "max-height:150mm}th,td{padding:1px 5px}}"
)

_SCRIPT: Final = """"use strict";
// Every part of a picture that has a reason tells it: by pointer, tap or arrow keys.
const told = [...document.querySelectorAll("svg title")].map((t) => t.parentElement).filter((e) => e.tagName !== "svg");
const why = document.getElementById("why");
const tell = (part) => { why.textContent = part.querySelector("title").textContent; };
told.forEach((part, i) => {
  part.setAttribute("tabindex", i ? "-1" : "0");
  part.addEventListener("click", () => tell(part));
  part.addEventListener("focus", () => tell(part));
  part.addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    told[(i + step + told.length) % told.length].focus();
  });
});
if (!told.length) why.remove();
"""


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
    asked = _list("To be answered on the day before any go", tuple(questions))
    rests = tuple(assumed)
    folded = (
        f"<details><summary>{len(rests)} things were assumed</summary>"
        f"{_list('Assumed', rests)}</details>"
    )
    body = "".join(_scrolled(block) for block in blocks)
    name = printable(title)
    digest = base64.b64encode(hashlib.sha256(_SCRIPT.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta name="color-scheme" content="light dark"><link rel="icon" href="data:,">'
        f"<title>{name}</title><style>{_CSS}</style></head><body>"
        f"<header><h1>{name}</h1><p>A plan, not a verdict: the range safety officer decides "
        f"on the day.</p></header><main>{body}"
        '<p id="why" role="status">Point at a part of the picture, tap it, or use the arrow '
        f"keys: here stands why.</p>{asked}{_list('Cautions', CAUTIONS)}{folded}</main>"
        f"<script>{_SCRIPT}</script></body></html>\n"
    )


def _scrolled(block: str) -> str:
    """Let a picture scroll by itself where a narrow screen would make it unreadable."""
    if not block.startswith("<svg"):
        return block
    return f'<div class="wide" tabindex="0">{block}</div>'


def _list(name: str, lines: Sequence[str]) -> str:
    if not lines:
        return ""
    items = "".join(f"<li>{printable(line)}</li>" for line in lines)
    return f"<h2>{printable(name)}</h2><ul>{items}</ul>"
