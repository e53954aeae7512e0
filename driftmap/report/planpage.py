"""A page for a plan: a picture, tables, and what it rests on; no network."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any, Final

from driftmap.report.page import render, text_of
from driftmap.report.voice import Voice
from driftmap.report.words import in_units_of

__all__ = ["governing", "page", "printable", "refusal", "table", "verdict_word"]


_KEPT: Final = "\u00a0\u202f\u2060\u2068\u2069"
"""What the pages' own words are tied and isolated with."""

_SHORT: Final = 12
"""Letters up to which a cell is kept on one line."""


def printable(text: str) -> str:
    """Make a text safe to show: nothing unprintable, and escaped."""
    return escape(_shown(text))


def verdict_word(verdict: str, voice: Voice, *, conditional: bool = False) -> str:
    """Write the word of a verdict in capitals; a go that hangs on something says so."""
    if verdict == "go" and conditional:
        return voice.say("plan.go_if")
    return voice.say(f"verdict.{verdict}")


def governing(data: Mapping[str, Any], voice: Voice) -> list[str]:
    """Say for the head of a page what governs a plan; nothing where every go stands by itself.

    ``data``: its document, with the head of `driftmap.planning.documents.heading`.
    """
    told = []
    if data["too_few"]:
        counts = {
            "samples": voice.count(data["samples"]),
            "needed": str(data["samples_needed"]),
        }
        told.append(voice.say("plan.too_few", **counts))
    open_ = len(data["questions_set_aside"])
    if len(data["conditions"]) > bool(open_):
        told.append(voice.say("plan.if_aloft"))
    if open_:
        told.append(voice.say("plan.if_answered", count=voice.count(open_)))
    return told


def table(rows: Sequence[Sequence[str]], voice: Voice) -> str:
    """Write a table, the first row being its head; words of verdicts bear their colours."""
    head = "".join(f'<th scope="col">{printable(c)}</th>' for c in rows[0])
    words = {verdict_word(v, voice): v for v in ("go", "hold", "no-go")}
    words[voice.say("plan.go_if")] = "go"
    body = "".join(
        # A row without a name goes on with the row before it.
        f"<tr{'' if row[0] else ' class=again'}>"
        f"{''.join(_cell(*cell, words) for cell in zip(rows[0], row, strict=True))}</tr>"
        for row in rows[1:]
    )
    name = printable(voice.say("plan.table"))
    return (
        f'<div class="wide" tabindex="0" role="group" aria-label="{name}"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _cell(head: str, text: str, words: Mapping[str, str]) -> str:
    """Write a cell; on a phone, where each row is a card, it bears the head of its column."""
    kind = words.get(text) or ("short" if len(text) <= _SHORT else "")
    return f'<td class="{kind}" data-label="{printable(head)}">{printable(text)}</td>'


def page(
    title: str,
    blocks: Iterable[str],
    voice: Voice,
    *,
    assumed: Iterable[str],
    questions: Iterable[str] = (),
    warnings: Iterable[str] = (),
) -> str:
    """Write a page that needs nothing from outside.

    ``blocks``: HTML of the body; ``assumed`` and ``questions``: what was assumed, and what
    must be answered on the day; ``warnings``: what governs all of it; it stands in the
    head, and the head then warns.
    """
    return render(
        "plan.html",
        styles=[text_of("plan.css")],
        scripts=[text_of("plan.js")],
        language=voice.catalogue.language,
        direction=voice.catalogue.direction,
        say=voice.say,
        title=_shown(title),
        blocks=list(blocks),
        assumed=[_shown(in_units_of(line, voice.units)) for line in assumed],
        questions=[_shown(line) for line in questions],
        warnings=[_shown(line) for line in warnings],
        cautions=voice.catalogue.cautions,
    )


def refusal(reason: str, voice: Voice) -> str:
    """Write the page of a flight that must not be tried: no map comes of it."""
    return render(
        "refusal.html",
        styles=[text_of("plan.css")],
        language=voice.catalogue.language,
        direction=voice.catalogue.direction,
        say=voice.say,
        word=verdict_word("no-go", voice),
        reason=_shown(reason),
        cautions=voice.catalogue.cautions,
    )


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() or c in _KEPT else "?" for c in text)
