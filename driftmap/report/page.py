"""The frame that every page shares, one policy, one look, nothing fetched; and the page of a plan."""

from __future__ import annotations

import base64
import hashlib
import itertools
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from html import escape
from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from driftmap.hazard.harm import HURTS, KILLS
from driftmap.report.voice import Voice
from driftmap.report.words import discs, in_units_of, isolate, tied

if TYPE_CHECKING:
    from jinja2 import Environment


_HERE: Final = "driftmap.report"
_NOTHING: Final = "'none'"


def render(
    template: str,
    voice: Voice | None = None,
    *,
    room: str = _HERE,
    styles: Sequence[str] = (),
    scripts: Sequence[str] = (),
    **content: Any,
) -> str:
    """Write a page that needs nothing from outside.

    ``template``: name of a template of `room`; it extends ``page.html``, and may import the
    signs of the verdicts from ``signs.html``; ``voice``: gives its language, and what it says;
    without one it is in English; ``room``: package that holds the template; ``styles``: style
    sheets after ``look.css``, as text; ``scripts``: scripts at the end of the page, as text;
    no other script runs; ``content``: what the template shows; every text is escaped.

    Result: an HTML document; the same content gives the same text.
    """
    told: dict[str, Any] = {"language": "en", "direction": "ltr"}
    if voice is not None:
        catalogue = voice.catalogue
        told = {
            "language": catalogue.language,
            "direction": catalogue.direction,
            "cautions": catalogue.cautions,
            "say": voice.say,
            "count": voice.count,
            "clock": voice.clock,
            "kills": voice.energy(KILLS.value),
            "hurts": voice.energy(HURTS.value),
        }
    return (
        _environment(room)
        .get_template(template)
        .render(
            policy=policy(scripts),
            styles=[text_of("look.css"), *styles],
            scripts=scripts,
            version=version("driftmap"),
            **told | content,
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
    page.filters.update(
        isolate=isolate, tied=tied, discs=discs, whole_options=_whole_options
    )
    return page


def _whole_options(text: str) -> str:
    """Escape a text, and let no line break within an option of the commands: it is to be copied."""
    from markupsafe import Markup  # noqa: PLC0415

    return Markup(
        re.sub(
            r"\(?--[\w-]+( \d+)?\)?", r'<span class="whole">\g<0></span>', escape(text)
        )
    )


def text_of(name: str, room: str = _HERE) -> str:
    """Read a style sheet or a script."""
    return files(room).joinpath(name).read_text("utf-8")


def style_of(name: str) -> str:
    """Read a style sheet into an element of a picture, all in one line."""
    return f"<style>{''.join(text_of(name).splitlines())}</style>"


def script_constant(name: str, data: object) -> str:
    """Write data as a constant for a page's script.

    Result: a line of script. No text of a file may end the script or begin a comment in
    it.
    """
    told = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return f"const {name} = " + told.replace("<", "\\u003c") + ";"


def words_for_script(voice: Voice, *more: str) -> str:
    """Write the messages that a page's script says.

    ``more``: tables of the catalogue that the script says beside ``tell``.
    """
    kinds = ("danger", "caution", "clear")
    words = {kind: voice.say(f"zone.{kind}") for kind in kinds}
    for table in ("tell", *more):
        words |= voice.catalogue.table(table)
    compass_letters = voice.say("number.compass")
    told = {"words": words, "compass": compass_letters, "units": voice.units}
    return script_constant("SAY", told)


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
    """Return Leaflet's script.

    Result: the script, without the link to its map of sources.
    """
    text = _leaflet("leaflet.js").decode()
    return re.sub(r"//# sourceMappingURL=\S*", "", text).strip()


def leaflet_style() -> str:
    """Return Leaflet's style with its pictures inside."""

    def inline(match: re.Match[str]) -> str:
        picture = base64.b64encode(_leaflet(match[1])).decode()
        return f"url(data:image/png;base64,{picture})"

    text = _leaflet("leaflet.css").decode()
    return re.sub(r"url\((images/[\w-]+\.png)\)", inline, text).strip()


def _leaflet(name: str) -> bytes:
    return files("xstatic.pkg.leaflet").joinpath("data", name).read_bytes()


_KEPT: Final = "\u00a0\u202f\u2060\u2068\u2069"
"""What the pages' own words are tied and isolated with."""

_SHORT: Final = 12
"""Letters up to which a cell is kept on one line."""


def printable(text: str) -> str:
    """Make a text safe to show: nothing unprintable, and escaped."""
    return escape(_shown(text))


def svg(
    box: Sequence[float], title: str, parts: Iterable[str], look: str = 'role="img"'
) -> str:
    """Write a picture: its left, top, width and height, its name and what is in it.

    ``look``: attributes besides.
    """
    view = " ".join(f"{edge:.0f}" for edge in box)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {look} viewBox="{view}">'
        f"<title>{printable(title)}</title>{''.join(parts)}</svg>"
    )


def verdict_word(verdict: str, voice: Voice, *, conditional: bool = False) -> str:
    """Write the word of a verdict in capitals; a go that depends on something says so."""
    if verdict == "go" and conditional:
        return voice.say("plan.go_if")
    return voice.say(f"verdict.{verdict}")


def governing(data: Mapping[str, Any], voice: Voice) -> list[tuple[str, str]]:
    """Say for the head of a page what governs a plan; nothing where every go stands by itself.

    ``data``: its document, with the head of `driftmap.planning.documents.heading`.

    Result: of each what is open, in capitals, and what a go means then; where no go can
    come of so few flights, that alone and nothing before it.
    """
    if data["too_few"]:
        counts = {
            "samples": voice.count(data["samples"]),
            "needed": str(data["samples_needed"]),
        }
        return [("", voice.say("plan.too_few", **counts))]
    told = []
    open_ = len(data["questions_set_aside"])
    if len(data["conditions"]) > bool(open_):
        told.append((voice.say("dial.aloft_word"), voice.say("plan.if_aloft")))
    if open_:
        key = "plan.open_one" if open_ == 1 else "plan.open"
        word = voice.say(key, count=voice.count(open_))
        told.append((word, voice.say("plan.if_answered")))
    return told


def table(rows: Sequence[Sequence[str]], voice: Voice, *, most: int = 0) -> str:
    """Write a table, the first row being its head; the words of verdicts bear their colours.

    ``most``: how many named rows a screen shows at first; all of them where it is 0.
    """
    head = "".join(f'<th scope="col">{printable(c)}</th>' for c in rows[0])
    colours = {verdict_word(v, voice): v for v in ("go", "hold", "no-go")}
    colours[voice.say("plan.go_if")] = "go"
    judged = voice.say("plan.verdict")

    def cell(column: str, text: str) -> str:
        # On a phone, where each row is a card, it bears the head of its column.
        told = printable(text)
        if column == judged and text in colours:
            told = f'<b class="{colours[text]}">{told}</b>'
        short = ' class="short"' if len(text) <= _SHORT else ""
        return f'<td{short} data-label="{printable(column)}">{told}</td>'

    # A row without a name goes on with the row before it.
    named = [0, *itertools.accumulate(bool(row[0]) for row in rows[1:])]
    rest = max(0, named[-1] - (most or named[-1]))
    body = "".join(
        f'<tr class="{"" if row[0] else "again"}{" rest" if rest and at > most else ""}">'
        f"{''.join(map(cell, rows[0], row))}</tr>"
        for row, at in zip(rows[1:], named[1:], strict=True)
    )
    name = printable(voice.say("plan.table"))
    whole = (
        f'<div class="wide" tabindex="0" role="group" aria-label="{name}"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )
    if not rest:
        return whole
    told = printable(voice.say("plan.rest", count=voice.count(rest)))
    box = '<input type="checkbox" autocomplete="off">'
    return f'<div class="folded">{whole}<p><label>{box} {told}</label></p></div>'


def paragraphs(lines: Iterable[str]) -> list[str]:
    """Write what was flown, in which wind and when, above the tables of a page."""
    return [f'<p class="about">{printable(line)}</p>' for line in lines if line]


def page(
    title: str,
    blocks: Iterable[str],
    voice: Voice,
    *,
    assumed: Iterable[str],
    questions: Iterable[str] = (),
    governs: Iterable[tuple[str, str]] = (),
    answer: str = "",
    stands: str = "plan.not_verdict",
) -> str:
    """Write a page that needs nothing from outside.

    ``blocks``: HTML of the body; ``assumed`` and ``questions``: what was assumed, and what
    must be answered on the day; ``governs``: what governs all of it, as `governing` says
    it; what has no word warns, and so does the head; ``answer``: what it comes to, in one
    sentence; ``stands``: key of what the page is, told in its head.
    """
    return render(
        "plan.html",
        voice,
        styles=[text_of("plan.css")],
        scripts=[text_of("plan.js")],
        title=_shown(title),
        answer=_shown(answer),
        stands=stands,
        blocks=list(blocks),
        assumed=[_shown(in_units_of(line, voice.units)) for line in assumed],
        questions=[_shown(line) for line in questions],
        governs=[(word, _shown(line)) for word, line in governs],
    )


def refusal(reason: str, voice: Voice) -> str:
    """Write the page of a flight that must not be tried: no map comes of it."""
    return render(
        "refusal.html",
        voice,
        styles=[text_of("plan.css")],
        word=verdict_word("no-go", voice),
        reason=_shown(reason),
    )


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() or c in _KEPT else "?" for c in text)
