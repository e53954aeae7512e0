"""The option that gives answers to the rules' questions, and the answers themselves."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

if TYPE_CHECKING:
    from driftmap.ground.site import Site
    from driftmap.rocket.flight import Flight
    from driftmap.rules import Answers, Occasion

__all__ = ["answers_of", "answers_option", "occasion_of"]

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
