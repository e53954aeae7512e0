"""Moments of a flight, and the burn that goes on in some of its failures."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from driftmap.air.column import AirColumn
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.spread import stream
from driftmap.failures.case import Release, Stage
from driftmap.trajectory.motion import Ascent, Motion
from driftmap.trajectory.powered import Burning, burn_on
from driftmap.trajectory.rocket import Rocket

__all__ = ["burn_stage", "moment"]


def moment(
    release: Release,
    ascent: Ascent,
    draws: Mapping[str, FloatArray],
    broken: Mapping[str, FloatArray],
) -> Motion:
    """Give the state in which the bodies of a case are let go.

    ``ascent``, shape (n,): the way up; ``draws`` and ``broken``, shape (n,): inputs
    drawn; times at which fins break off, by the key of it [s].

    Result: state then, shape (n,).
    """
    top, off = ascent.apogee, ascent.rail_exit.time
    mark = draws.get(release.mark, top.time)
    match release.at:
        case "max q":
            time = ascent.max_q()[0]
        case "breaks":
            # Flights in which nothing breaks are let go at apogee and then not counted.
            time = np.minimum(broken[release.mark], top.time)
        case "rail":
            time = off
        case "burn":
            time = off + mark * (ascent.first_burnout - off)
        case "off rail":
            time = np.maximum(mark, off)
        case "coast":
            time = ascent.burnout + mark * (top.time - ascent.burnout)
        case "time" | "first second":
            time = mark
        case _:
            return top
    return ascent.at(time)


def burn_stage(
    stage: Stage,
    state: Motion,
    rocket: Rocket,
    air: AirColumn,
    draws: Mapping[str, FloatArray],
    *,
    mass: FloatArray,
    who: IntArray,
    luck: tuple[int, int],
) -> tuple[Motion, FloatArray]:
    """Let some bodies burn on.

    ``stage``: a stage with a burn; ``state``, shape (k,): where they are; ``rocket``,
    shape (n,): all rockets of the block, or the upper part of them whose motor it is;
    ``air``: the air of all flights of the block; ``draws``, shape (n,): inputs drawn;
    ``mass``, shape (k,): mass of the bodies, with what is left of that motor's
    propellant [kg]; ``who``, shape (k,): which flights they are; ``luck``: seed of the
    run and number of the block.

    Result: at burnout or on the ground, shape (k,). Result: mass then [kg], shape (k,).
    """
    burn = stage.burn
    assert burn is not None
    toward = None
    if burn.tilt:
        # One bearing for each input: cases that share it go off the same way.
        bearing = stream(*luck, f"{burn.tilt} bearing").uniform(
            0, 2 * np.pi, rocket.mass.size
        )
        tilt, turn = draws[burn.tilt][who], bearing[who]
        flat = np.sin(tilt)
        toward = np.stack([flat * np.sin(turn), flat * np.cos(turn), np.cos(tilt)])
    if burn.turned and toward is not None:
        rows = state.rows()
        rows[3:6] = state.speed * toward
        state, toward = Motion(*rows), None
    area = sum(
        (size * draws[name][who] for size, name in stage.drag), np.zeros(who.size)
    )
    lights = np.broadcast_to(rocket.lights, rocket.mass.shape)[who]
    burn_time, propellant = rocket.burn_time[who], rocket.propellant[who]
    delivered = rocket.curve.delivered((state.time - lights) / burn_time)
    empty = mass - propellant * (1 - delivered)
    body = Burning(
        mass=empty,
        propellant=propellant,
        impulse=rocket.impulse[who],
        burn_time=burn_time,
        curve=rocket.curve,
        drag_area=area,
        share=draws[burn.share][who] if burn.share else np.ones(who.size),
        toward=toward,
        lights=lights,
    )
    after = burn_on(state, body, air, who=who)
    return after, empty + propellant * (1 - body.burnt(after.time))
