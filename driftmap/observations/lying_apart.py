"""What finding one piece tells of another that is still looked for."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from driftmap.observations.case_flights import ROCKET
from driftmap.observations.figures import Find
from driftmap.observations.observation import SUREST, Observation, Odds, Walked
from driftmap.rocket.case import Case
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import Flight


def implied_by_finds(
    piece: str, told: Sequence[Observation], flight: Flight, sight: float
) -> tuple[Observation, ...]:
    """Return what the finds of other pieces imply of one that was not found beside them.

    The two do not lie together, and whoever found the one saw the ground about it, `sight`
    being how far off they see what is looked for [m].
    """
    finds = [seen for seen in told if isinstance(seen, Find)]
    others = list(dict.fromkeys(find.piece for find in finds))
    if not finds or piece in others:
        return ()
    # What is not on the rocket is on nothing else that lies with it.
    others = [ROCKET] if ROCKET in others else others
    cases = build_cases(flight).cases
    ruled_out = [seen.by_case for seen in told if isinstance(seen, Odds)]
    possible = {c.name for c in cases if all(o.get(c.name, 1.0) for o in ruled_out)}
    each = [
        {c.name for c in cases if _apart(piece, other, c, flight)} & possible
        for other in others
    ]
    # Where no case parts them all, each that parts one is still better than none.
    left = set.intersection(*each) or set.union(*each) or possible
    odds = dict.fromkeys([c.name for c in cases if c.name not in left], 0.0)
    ground = [shapely.Point(find.east, find.north).buffer(sight) for find in finds]
    walked = [Walked(piece, about, SUREST, "the finder") for about in ground]
    return Odds(odds, _parted(piece, others)), *walked


def _apart(piece: str, other: str, case: Case, flight: Flight) -> bool:
    """Return whether two pieces come down apart, or break apart as the rocket strikes."""
    bodies = {body.name: body for body in case.bodies}
    fins = {p.name for p in flight.pieces if p.kind == "fin"}
    hosts = {one if one in bodies else ROCKET for one in (piece, other)}
    breaks = bodies[ROCKET].stages[-1].nose_first and bool(fins & {piece, other})
    return len(hosts) > 1 or breaks


def _parted(piece: str, others: Sequence[str]) -> str:
    if ROCKET in others:
        return f"{piece} not on the rocket, which was found without it"
    return (
        f"{' and '.join(others)} found, and no {piece} there: taken to have come apart (seen to? "
        f"tell when or how high under [[came_off]]; if the {piece} lay there, under [[found]])"
    )
