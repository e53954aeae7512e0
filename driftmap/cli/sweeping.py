"""What the planning commands share: who works, how far they are, and what is asked."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from driftmap.cli.output import Progress
from driftmap.errors import visible

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from driftmap.planning.sweep import Hands
    from driftmap.planning.trial import Basis

__all__ = [
    "cautions",
    "forewarn",
    "hands_of",
    "plan_options",
    "preamble",
    "warnings",
]

F = TypeVar("F", bound=Callable[..., object])

SAMPLES: Final = 5000
"""Flights in each case of every verdict: enough to show a share under 1 in 1,000."""


def plan_options(command: F) -> F:
    """Add --answers, --samples, --seed, --workers and --processes."""
    for option in (
        click.option(
            "--processes",
            is_flag=True,
            help="Work in processes in place of threads; results are the same.",
        ),
        click.option(
            "--workers",
            type=click.IntRange(1, 256),
            default=None,
            help="Workers; by default one a processor.",
        ),
        click.option(
            "--seed",
            type=click.IntRange(0),
            default=1,
            show_default=True,
            help="One seed for all verdicts, so that they are compared on the same luck.",
        ),
        click.option(
            "--samples",
            type=click.IntRange(1, 1_000_000),
            default=SAMPLES,
            show_default=True,
            help="Flights in each case of every verdict.",
        ),
        click.option(
            "--answers",
            multiple=True,
            metavar="FILE",
            help="Answers to the questions of the rules (TOML). Questions left open are "
            "set aside and listed. Give it again for several files.",
        ),
    ):
        command = option(command)
    return command


@contextmanager
def hands_of(workers: int | None, processes: bool, what: str) -> Iterator[Hands]:
    """Make workers for a sweep, and close them behind it."""
    from concurrent.futures import ThreadPoolExecutor

    from driftmap.planning.sweep import Hands

    count = workers or os.cpu_count() or 1
    renew = (lambda: _process_pool(count)) if processes else None
    pool = renew() if renew else ThreadPoolExecutor(count)
    with Progress(what) as progress:
        try:
            yield Hands(pool, renew, progress, 2 * count)
        finally:
            # On an interruption, do not begin what has only been asked for.
            pool.shutdown(cancel_futures=True)


def _process_pool(count: int) -> Executor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # A fork would copy the locks of threads that are running.
    return ProcessPoolExecutor(count, multiprocessing.get_context("spawn"))


def forewarn(basis: Basis, samples: int) -> None:
    """Say before the long work where no go can come of it."""
    if few := basis.need.warning(samples):
        click.echo(few, err=True)


def preamble(data: Mapping[str, Any]) -> list[str]:
    """Say what every go of a plan hangs on, from the head of its document."""
    lines = [data["too_few"]] if data["too_few"] else []
    if data["conditions"]:
        lines.append(f"Go here means go if {'; and if '.join(data['conditions'])}.")
    if data["questions_set_aside"]:
        lines.append("The questions are listed in --json and by the rules command.")
    return lines


def warnings(data: Mapping[str, Any]) -> list[str]:
    """Say for the head of a page what governs a plan."""
    return preamble(data)[: bool(data["too_few"]) + bool(data["conditions"])]


def cautions(assumed: list[str]) -> str:
    """Write what was assumed, and the cautions, for the end of a command's output."""
    from driftmap.verdict.assessment import CAUTIONS

    notes = [f"assumed: {visible(text)}" for text in assumed]
    return "\n".join(["", *notes, *(f"* {text}" for text in CAUTIONS)])
