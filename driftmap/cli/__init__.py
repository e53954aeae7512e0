"""The command line: arguments in, calls, exit codes."""

from __future__ import annotations

import difflib
import gc
import importlib
import os
import sys
from collections import Counter
from importlib.metadata import version
from types import MappingProxyType
from typing import Final

import click

from driftmap.cli.output import BAD_INPUT, EXIT, Plain
from driftmap.core.errors import DriftmapError, InputError, NoGoError, one_line

_FAULT: Final = 1

_COMMANDS: Final = MappingProxyType(
    {
        "assess": ("assess", "Verdict and map for a flight."),
        "cases": ("compare", "What can go wrong, how likely."),
        "compare": ("compare", "Streamer, small or large canopy, side by side."),
        "dial": ("dial", "Every wind of the day in one page for the pad."),
        "brief": ("assess", "A sheet to read aloud, a poster, the caller's seconds."),
        "export": ("assess", "Results for other maps, receivers, spreadsheets."),
        "drop": ("compare", "Where one body lands, nothing drawn."),
        "limits": ("plans", "The strongest wind that is still go, by direction."),
        "aim": ("plans", "Where to lean the rail."),
        "layout": ("season", "Where to put pads and people."),
        "season": ("season", "How many hours of a season are go."),
        "rules": ("rules", "What the rules of the range ask of a flight."),
        "explain": ("search", "Which case fits what was found."),
        "log": ("log", "What was assessed, decided and found."),
        "review": ("log", "Were the forecasts any good?"),
        "search": ("search", "Where to look for what came down."),
        "balloon": ("winds", "A sheet for the angles of a pilot balloon."),
        "winds": ("winds", "Read, merge and show winds."),
        "help": ("help", "Files, winds and verdicts explained: driftmap help flight."),
        "survey": ("dial", "A page to draw or walk a field with."),
        "desk": ("dial", "All of it in a browser window."),
    }
)
"""Each command with the module it lives in, imported only when it is called."""


class _Lazy(click.Group):
    """A group that imports a command when it is called, so that help comes at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands."""
        del ctx
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in _COMMANDS:
            near = difflib.get_close_matches(cmd_name, _COMMANDS, n=1)
            if near:
                ctx.fail(f"No such command {cmd_name!r}. Did you mean {near[0]!r}?")
            return None
        module = importlib.import_module(f"driftmap.cli.{_COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, f"{cmd_name}_command")
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command; refuse an option that is given twice where one would be lost."""
        name, command, rest = super().resolve_command(ctx, args)
        if command is not None and (twice := _lost(command, name, ctx, rest)):
            ctx.fail(f"{twice} is given twice; give it once.")
        return name, command, rest

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """List the commands without importing them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in _COMMANDS.items()])


def _lost(
    command: click.Command, name: str | None, ctx: click.Context, args: list[str]
) -> str:
    """Name an option of which only the last would count, though it stands there twice."""
    own = click.Context(command, parent=ctx, info_name=name)
    try:
        order = command.make_parser(own).parse_args(list(args))[2]
    except click.UsageError:
        return ""  # the command tells it as it is
    once = (
        parameter
        for parameter in order
        if isinstance(parameter, click.Option)
        and not (parameter.multiple or parameter.is_flag or parameter.count)
    )
    times = Counter(parameter.opts[0] for parameter in once)
    return next((option for option, n in times.items() if n > 1), "")


@click.group(
    cls=_Lazy,
    context_settings={
        "help_option_names": ["-h", "--help"],
        "max_content_width": 88,
        "show_default": True,
    },
)
@click.version_option(version("driftmap"), message="driftmap %(version)s")
def cli() -> None:
    """Show where a rocket and its pieces can come down, and whether to fly.

    \b
    A verdict and a map for the wind of this hour:
      driftmap assess examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/morning.csv --when 2026-06-13T08:30-07:00 \\
          --answers examples/answers.toml
    A wind measured by layers:
      driftmap assess FLIGHT --site SITE --wind layers.csv
    One body, nothing drawn by chance:
      driftmap drop --from "3500 ft" --mass "1.5 kg" --drag-area "0.45 m2" \\
          --wind "12 mph from 240"

    Exit codes: 2 bad input; of assess, brief and export 0 go, 3 hold, 4 no-go; of
    plans and all else 0, which does not mean go. An aid to judgement: the range safety
    officer, the local code, the waiver and the landowner decide.
    """


def main() -> None:
    """Run the command line; bad input is one line and exit code 2."""
    # Blocks of flights share the processors out; the algebra library's own threads, which
    # wait for each other at full speed, would only be in their way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Imports and pages make many objects that stay: to look for rubbish among them after
    # every 700 takes a twentieth of a short run.
    gc.set_threshold(20_000)
    sys.stdout = Plain.of(sys.stdout, keep="\n\t")
    sys.stderr = Plain.of(sys.stderr, keep="\n\t\r")  # a bar of progress goes back
    try:
        sys.exit(cli.main(standalone_mode=False, prog_name="driftmap"))
    except click.exceptions.Abort:
        _leave("stopped; nothing more was written", 130)
    except click.exceptions.NoArgsIsHelpError as problem:
        click.echo(problem.ctx.get_help() if problem.ctx else "")
        sys.exit(0)
    except click.ClickException as problem:
        _leave(problem.format_message(), BAD_INPUT)
    except NoGoError as problem:
        _leave(f"NO-GO: {problem}", EXIT["no-go"])
    except DriftmapError as problem:
        _leave(str(problem), BAD_INPUT)
    except OSError as problem:
        named = str(problem.filename or "the system")
        _leave(str(InputError(named, "", problem.strerror or str(problem))), BAD_INPUT)
    except MemoryError:
        _leave(
            "--samples: memory ran out, or the system ended a process of this run: no "
            "verdict; try again, or ask for fewer",
            BAD_INPUT,
        )
    except Exception as problem:
        if os.environ.get("DRIFTMAP_DEBUG"):
            raise
        _leave(
            f"a fault in driftmap itself, no verdict: {type(problem).__name__}: {problem} "
            "(DRIFTMAP_DEBUG=1 tells the whole story)",
            _FAULT,
        )


def _leave(message: str, code: int) -> None:
    click.echo(f"driftmap: {one_line(message)}", err=True)
    sys.exit(code)
