"""Ways to bring a rocket down, or several flights, compared with the same draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from driftmap.air.wind import WindProfile
from driftmap.rocket.alternatives import PLANNED, alternatives
from driftmap.rocket.flight import Flight
from driftmap.rules.answers import of_another
from driftmap.rules.reading import picked_rules
from driftmap.verdict.assessment import Assessment, assess_setup
from driftmap.verdict.people_checks import AreaHit
from driftmap.verdict.setup import Setup, check_read_for


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """One way to bring the rocket down, compared with others on the same draws.

    Parameters
    ----------
    name : str
        What it is called.
    assessment : Assessment
        Its verdict and everything that rests on.
    """

    name: str
    assessment: Assessment

    @property
    def worst(self) -> AreaHit:
        """The area with people that is hit most often, by the upper end of its interval."""
        areas = [hit for hit in self.assessment.areas if hit.area.occupied]
        return max(areas, key=lambda hit: hit.total.upper)


def compare(
    setup: Setup,
    wind: WindProfile,
    *,
    beside: Sequence[Setup] = (),
    progress: Callable[[int, int], object] = lambda done, left: None,
) -> tuple[Compared, ...]:
    """Assess the plan and other ways to bring the rocket down, all with the same random draws.

    Parameters
    ----------
    setup : Setup
        What is flown, and where.
    wind : WindProfile
        From `read_wind`.
    beside : sequence of Setup
        Other flights to compare with the plan, each with the answers given for it.
    progress : callable
        Called after each with how many are done since the last call, and left.

    Returns
    -------
    tuple of Compared
        The plan first, then the flights of `beside`. Without any, the alternatives of the
        flight file, which are made up from the plan where the file has none.
    """
    ways = (
        [(one.flight.name, one) for one in (setup, *beside)]
        if beside
        else [
            (name, setup if name == PLANNED else _instead(setup, flight))
            for name, flight in alternatives(setup.flight).items()
        ]
    )
    for one in (setup, *beside):
        check_read_for(one, wind)
    found = []
    for name, one in ways:
        found.append(Compared(name, assess_setup(one, wind)))
        progress(1, len(ways) - len(found))
    return tuple(found)


def _instead(setup: Setup, flight: Flight) -> Setup:
    """Fly it with another recovery: what people answered of that does not count for it."""
    said = setup.answers
    if said is not None and setup.site.rules.strip():
        said = of_another(said, picked_rules(setup.site))
    return replace(setup, flight=flight, answers=said)
