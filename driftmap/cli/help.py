"""``driftmap help``: the guide's chapters and the README's, printed in the terminal."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Iterator
from importlib.metadata import metadata
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

import click

from driftmap.cli.output import json_text
from driftmap.core.errors import InputError, nearest
from driftmap.core.files import FORM

CHAPTERS: Final = MappingProxyType(
    {
        "flight": "The flight file",
        "answers": "The answers file",
        "site": "The site file",
        "winds": "The wind",
        "verdict": "Reading the verdict",
        "pages": "Reading the pages",
        "words": "Words",
        "after": "After the flight",
        "desk": "The range desk",
        "limits": "What it does, and what it leaves out",
    }
)
"""Chapters by the word that asks for them."""


@click.command("help")
@click.argument(
    "topic",
    required=False,
    shell_complete=lambda context, argument, begun: [
        topic for topic in CHAPTERS if topic.startswith(begun)
    ],
)
@click.option(
    "--schema",
    is_flag=True,
    help="Print the JSON Schema of a file for an editor (topics flight, site, answers, "
    "rules).",
)
def help_command(topic: str | None, *, schema: bool) -> None:
    """Explain flight files, site files, winds, verdicts: the guide's own chapters.

    \b
    Example:
      driftmap help flight
      driftmap help flight --schema > flight.schema.json
    """
    if schema:
        click.echo(json_text(_schema(topic)))
        return
    if topic is None:
        known = [f"  {name:10}{title}" for name, title in CHAPTERS.items()]
        click.echo("\n".join(["driftmap help TOPIC, one of", *known]))
        return
    if topic not in CHAPTERS:
        message = f"no topic {topic!r}; {nearest(topic, CHAPTERS)}"
        raise InputError("help", "", message)
    columns = min(shutil.get_terminal_size().columns, 100)
    guide = (files("driftmap") / "guide.md").read_text(encoding="utf-8")
    readme = metadata("driftmap")["Description"]  # as it was installed
    text = f"{guide}\n## README\n{readme}"
    click.echo(chapter(text, CHAPTERS[topic], columns))


def _schema(topic: str | None) -> dict[str, Any]:
    if topic == "flight":
        from driftmap.rocket.flightfile import flight_schema

        schema = flight_schema()
    elif topic == "rules":
        from driftmap.rules.ruleset import RuleFile

        schema = RuleFile.model_json_schema(by_alias=True)
    elif topic == "site":
        from driftmap.ground.site_schema import site_schema

        schema = site_schema()
    elif topic == "answers":
        from driftmap.rules.answers import answers_schema

        schema = answers_schema()
    else:
        text = "there is one for flight, site, answers and rules"
        raise InputError("--schema", "", text)
    schema["properties"]["form"] = {"type": "integer", "minimum": 1, "maximum": FORM}
    return schema


def chapter(guide: str, title: str, columns: int = 80) -> str:
    """Set one chapter of a text in Markdown for a terminal.

    Result: its paragraphs wrapped, rows of tables as an entry each; without marks.
    Raises `InputError` if there is no such chapter.
    """
    found = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", guide, re.M | re.S)
    if found is None:
        raise InputError("help", title, "is not in this copy of the guide")
    blocks = re.split(r"\n\s*\n", found[1].strip())
    told = [line for block in blocks for line in (*_block(block, columns), "")]
    return "\n".join([title.upper(), "", *told]).rstrip()


def _block(block: str, columns: int) -> Iterator[str]:
    """Set a paragraph, a list, a table or commands."""
    if block.startswith("```"):
        yield from (f"  {line}" for line in block.splitlines()[1:-1])
    elif block.startswith("|"):
        head, _, *rows = block.splitlines()
        yield from _table([_cells(row) for row in (head, *rows)], columns)
    elif not block.startswith(("!", "<!--")):
        for item in re.split(r"\n(?=- )", block):
            indent = "  " if item.startswith("- ") else ""
            yield from _wrapped(_bare(item), columns, "", indent)


def _table(rows: list[list[str]], columns: int) -> Iterator[str]:
    """Set a table in columns where it is narrow enough, else each row as an entry."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    if sum(widths) + 2 * len(widths) <= columns:
        for row in rows:
            cells = (f"{cell:{width}}" for cell, width in zip(row, widths, strict=True))
            yield f"  {'  '.join(cells)}".rstrip()
        return
    for first, *rest in rows[1:]:
        yield from _wrapped(first, columns, "  ", "  ")
        for cell in filter(None, rest):
            yield from _wrapped(cell, columns, "      ", "      ")


def _cells(row: str) -> list[str]:
    return [_bare(cell.strip()) for cell in re.split(r"\s\|(?=\s|$)", row.strip()[1:])][
        :-1
    ]


def _bare(text: str) -> str:
    """Drop the marks of Markdown."""
    text = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", r"\1", text)
    return re.sub(r"\*\*|`|(?<!\w)\*(?=\w)|(?<=\w)\*(?!\w)", "", text)


def _wrapped(text: str, columns: int, first: str, other: str) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()),
        columns,
        initial_indent=first,
        subsequent_indent=other,
        break_long_words=False,
        break_on_hyphens=False,
    )
