"""What follows of itself where one piece was found while another is looked for."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from driftmap.observations.case_flights import ROCKET
from driftmap.observations.figures import Find
from driftmap.observations.observation import SUREST, Observation, Odds, Walked
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import Flight


def looked_for(
    piece: str, told: Sequence[Observation], flight: Flight, sight: float
) -> tuple[Observation, ...]:
    """Tell what follows of itself where another piece was found, and this one was not.

    The two do not lie together, and whoever found the one saw the ground about it, `sight`
    being how far off they see what is looked for [m].
    """
    finds = [seen for seen in told if isinstance(seen, Find)]
    if piece in {find.piece for find in finds}:
        return ()
    follows: list[Observation] = []
    for other in dict.fromkeys(find.piece for find in finds):
        together = _together(piece, other, flight)
        if all(together.values()):
            continue  # the flight file knows no way for them to part
        odds = dict.fromkeys((case for case, one in together.items() if one), 0.0)
        follows.append(Odds(odds, _parted(piece, other)))
    ground = [shapely.Point(find.east, find.north).buffer(sight) for find in finds]
    return (*follows, *(Walked(piece, g, SUREST, "the finder") for g in ground))


def _together(piece: str, other: str, flight: Flight) -> dict[str, bool]:
    """Tell of each case whether two pieces come down as one and stay so."""
    fins = {p.name for p in flight.pieces if p.kind == "fin"}
    found = {}
    for case in build_cases(flight).cases:
        bodies = {body.name: body for body in case.bodies}
        hosts = {one if one in bodies else ROCKET for one in (piece, other)}
        breaks = bodies[ROCKET].stages[-1].nose_first and bool(fins & {piece, other})
        found[case.name] = len(hosts) == 1 and not breaks
    return found


def _parted(piece: str, other: str) -> str:
    if other == ROCKET:
        return f"{piece} not on the rocket, which was found without it"
    return (
        f"{other} found, and no {piece} with it: taken to have come off (seen to? tell when or "
        f"how high under [[came_off]]; if the {piece} lay there, tell it under [[found]])"
    )
