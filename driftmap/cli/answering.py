"""Answers to the rules' questions, and with them the set-up of a run."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

from driftmap.cli.options import NO_READINGS, Weather, day_of

if TYPE_CHECKING:
    from driftmap.air.wind import WindProfile
    from driftmap.ground.site import Site
    from driftmap.rocket.flight import Flight
    from driftmap.rules import Answers, Occasion
    from driftmap.verdict.assessment import Setup

__all__ = ["answers_of", "answers_option", "occasion_of", "setup_of"]

F = TypeVar("F", bound=Callable[..., object])


def answers_option(command: F) -> F:
    """Add --answers."""
    return click.option(
        "--answers",
        multiple=True,
        metavar="FILE",
        help="Answers to the questions of the rules (TOML); driftmap rules lists them. "
        "Give it again for several files.",
    )(command)


def occasion_of(
    flight: Flight, site: Site, when: str | None, *, ahead: bool = False
) -> Occasion:
    """Say what is flown where and when: now, or on no day yet, where nobody says when."""
    from datetime import UTC, datetime

    from driftmap.cli.windoptions import flight_time
    from driftmap.rules import Occasion

    time = None if ahead else datetime.now(UTC)
    if when is not None:
        time = flight_time(when)
    return Occasion(site.name, flight.name, time, site.longitude)


def answers_of(
    paths: tuple[str, ...],
    flight: Flight,
    site: Site,
    when: str | None,
    *,
    ahead: bool = False,
) -> Answers:
    """Read what people answered to the rules that the site names, for that flight."""
    from driftmap.rules import picked_rules, read_answers

    sets = picked_rules(site) if site.rules.strip() or paths else ()
    return read_answers(paths, sets, occasion_of(flight, site, when, ahead=ahead))


def setup_of(
    flight: Flight,
    site: Site,
    run: tuple[int, int],
    answers: tuple[str, ...],
    *,
    weather: Weather = NO_READINGS,
    wind: WindProfile | None = None,
    when: str | None = None,
    ahead: bool = False,
) -> Setup:
    """Put together what is flown and where from what the options say.

    ``run`` is samples and seed. Surface readings come from the wind where the options
    leave them out; ``ahead`` is planning for no day yet.
    """
    from driftmap.verdict.assessment import Setup

    day = day_of(weather, site.elevation, wind)
    said = answers_of(answers, flight, site, when, ahead=ahead)
    return Setup(flight, site, *run, day, said)
