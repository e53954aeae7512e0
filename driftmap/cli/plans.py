"""What plans share, and ``driftmap aim`` and ``limits``: how to set the rail, in which wind."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from itertools import starmap
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from driftmap.cli.inputs import (
    Run,
    answers_option,
    echo_flight,
    forewarn,
    into_run,
    wind_options,
    wind_options_for,
)
from driftmap.cli.options import (
    day_options,
    json_option,
    option_stack,
    out_option,
    run_options,
    site_options,
    words_options,
)
from driftmap.cli.output import Progress, json_text, write_all
from driftmap.core.errors import visible
from driftmap.core.pools import processes

if TYPE_CHECKING:
    from driftmap.planning.sweep import Workers
    from driftmap.report.plan_pages import PlanReport
    from driftmap.report.voice import Voice
    from driftmap.verdict.what_if import Through


T = TypeVar("T")


SAMPLES: Final = 6000
"""Flights in each case of every verdict: enough for a go of a small flight on open ground, which
needs 3,700 to 5,400. Where more is asked, as among many houses, the plan says how many."""

_LONG: Final = 4000  # flights a verdict from which processes are worth their start
_HEAVY: Final = 100_000  # flights beyond which they take too much memory


@contextmanager
def workers_of(run: Run, what: str, *, apart: bool = False) -> Iterator[Workers]:
    """Make workers for each sweep.

    ``apart``: whether its parts share nothing they fly; long ones are then worked on
    in processes, as threads wait for each other between their many small steps.
    """
    from driftmap.planning.sweep import Workers

    count = run.workers or os.cpu_count() or 1
    forks = run.processes or (apart and run.samples >= _LONG)
    make: Callable[[int], Executor] = processes if forks else ThreadPoolExecutor
    with Progress(what) as progress:
        yield Workers(None, partial(make, count), progress, 2 * count)


def plan_options(command: Callable[..., T]) -> Callable[..., T]:
    """Add what every sweep of verdicts takes; the command gets one ``run``."""
    return option_stack(
        answers_option(
            "Answers to the questions of the rules (TOML). Questions left open are set "
            "aside and listed. Give it again for several files."
        ),
        run_options(
            SAMPLES,
            1,
            1_000_000,
            samples="Flights in each case of every verdict.",
            seed="One seed for all verdicts, so that they are compared with the same draws.",
        ),
        click.option(
            "--workers",
            type=click.IntRange(1, 256),
            default=None,
            help="Workers; by default one a processor.",
        ),
        click.option(
            "--processes",
            is_flag=True,
            help="Work in processes in place of threads, as long layouts and aims do; results are the same.",
        ),
        into_run,
    )(command)


@contextmanager
def in_processes(samples: int) -> Iterator[Through]:
    """Give what works through plans of so many flights, in processes where that pays.

    Many more take too much memory side by side. Where a process is lost the rest is worked
    out here.
    """
    if not _LONG <= samples <= _HEAVY:
        yield starmap
        return
    from driftmap.planning.trial import pack

    pool = processes(os.cpu_count() or 1)

    def through(
        work: Callable[..., T], parts: Sequence[tuple[Any, ...]]
    ) -> Iterator[T]:
        done = 0
        try:
            for found in pool.map(partial(_unpacked, work), map(pack, parts)):
                yield found
                done += 1
        except BrokenExecutor:
            yield from starmap(work, parts[done:])

    try:
        yield through
    finally:
        pool.shutdown(cancel_futures=True)


def _unpacked(work: Callable[..., T], packed: bytes) -> T:
    from driftmap.planning.trial import unpack

    return work(*unpack(packed))


def put_out(plan: PlanReport, out: Path | None, *, as_json: bool) -> None:
    """Write a plan's page and data into a folder, and print it one way or the other."""
    from driftmap.verdict.assessment import CAUTIONS

    data, page = plan.data, f"{plan.name}.html"
    text = json_text(data)
    if out is not None:
        more = {
            name: json_text(make(), indent=None) for name, make in plan.more.items()
        }
        write_all(out, {page: plan.page(), f"{plan.name}.json": f"{text}\n", **more})
    if as_json:
        click.echo(text)
        return
    head = [*plan.first, *([data["too_few"]] if data["too_few"] else [])]
    if data["conditions"]:  # what every go of a plan hangs on
        head.append(f"Go here means go if {'; and if '.join(data['conditions'])}.")
    if data["questions_set_aside"]:
        head.append("The questions are listed in --json and by the rules command.")
    notes = [f"assumed: {visible(note)}" for note in data["assumed"]]
    notes += [f"* {caution}" for caution in CAUTIONS]
    click.echo("\n".join([*head, *[""] * bool(head), plan.told(), "", *notes]))
    if out is not None:
        click.echo(f"\nPicture: {out / page}")


@click.command("aim")
@click.argument("flight", metavar="FLIGHT")
@site_options
@wind_options
@day_options
@plan_options
@click.option(
    "--best", type=click.IntRange(1, 50), default=5, help="How many aims to show."
)
@words_options
@json_option()
@out_option("Folder for aim.html and aim.json.")
def aim_command(
    run: Run, best: int, voice: Voice, as_json: bool, out: Path | None
) -> None:
    """Find the rail's tilt and azimuth that keep the flight inside and people clear.

    Tries aims within the limit on the rail's tilt, by as much as a rail is set amiss (the
    spread of its angle, else 1 degree), each a verdict in full on the same seed, and shows
    the best with what each brings.

    \b
    Example:
      driftmap aim examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/noon.csv --when 2026-06-13T12:15-07:00
    """
    from driftmap.planning.aim import best_aims
    from driftmap.planning.trial import basis_of
    from driftmap.report.plan_pages import aim_plan

    setup, wind = run.in_wind()
    basis = basis_of(setup, wind)
    forewarn(run.samples, basis.need)
    with workers_of(run, "aims", apart=True) as workers:
        found = best_aims(setup, wind, workers)
    plan = aim_plan(setup, wind, basis, found, best, voice)
    if not as_json:
        echo_flight(run.asked)
    put_out(plan, out, as_json=as_json)


@click.command("limits")
@click.argument("flight", metavar="FLIGHT")
@site_options
@click.option(
    "--directions",
    type=click.IntRange(6, 72),
    default=16,
    help="How many, evenly around from north.",
)
@wind_options_for(
    "A wind whose growth and turning with height are kept; without it, the law of "
    "the surface layer over the ground of --terrain."
)
@click.option(
    "--steps",
    type=click.IntRange(1, 50),
    default=6,
    help="Steps of the scan from light air to the limit of the surface wind.",
)
@day_options
@plan_options
@words_options
@json_option()
@out_option("Folder for limits.html and limits.json.")
def limits_command(
    run: Run, directions: int, steps: int, voice: Voice, as_json: bool, out: Path | None
) -> None:
    """Find, for every direction, the strongest surface wind that is still go.

    Winds are assumed: they count as known to the top, and every go is a go if the winds
    aloft are as assumed. Speeds are given at 10 m and at head height.

    \b
    Example:
      driftmap limits examples/dunlin.toml --site sites/saltgrass-west.geojson \\
          --when 2026-06-13T08:30-07:00 --answers examples/answers-dunlin.toml \\
          --answers examples/answers-west.toml --directions 8 --samples 4000 --out plan
    """
    from driftmap.planning.assumed_winds import Wind
    from driftmap.planning.documents import supposed_basis
    from driftmap.planning.windlimits import LIGHTEST, scan_speeds, wind_limits
    from driftmap.report.plan_pages import limits_plan

    setup, supposition = run.supposed(ahead=True)
    most = scan_speeds(setup, steps)[-2]
    basis = supposed_basis(setup, supposition, Wind(LIGHTEST, 0.0), Wind(most, 90.0))
    forewarn(run.samples, basis.need)
    ways, half = [360 / directions * i for i in range(directions)], 180 / directions
    with workers_of(run, "directions") as workers:
        found = wind_limits(
            setup, supposition, ways, half=half, steps=steps, workers=workers
        )
    plan = limits_plan(setup, supposition, basis, found, most, voice)
    put_out(plan, out, as_json=as_json)
