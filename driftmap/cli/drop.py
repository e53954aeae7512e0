"""``driftmap drop``: one body, no luck."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import click

from driftmap.cli.inputs import WindOptions, WindPlace, shape_of, wind_options_for
from driftmap.cli.options import Quantity, json_option
from driftmap.cli.output import json_text
from driftmap.core.errors import InputError, visible
from driftmap.core.units import show

if TYPE_CHECKING:
    from driftmap.air.wind import WindProfile

__all__ = ["drop_command"]

_FASTEST: Final = 3000.0  # m/s, beyond what the drag of bodies is known for
_TOP_OF_AIR: Final = 20_000.0  # m above sea level, as far as the model's air goes


_SPEED: Final = Quantity("speed", -_FASTEST, _FASTEST)


@click.command("drop")
@click.option(
    "--from",
    "height",
    required=True,
    metavar="HEIGHT",
    type=Quantity("length", 0.0),
    help="Height above the site at which it is let go.",
)
@click.option(
    "--mass",
    required=True,
    metavar="M",
    type=Quantity("mass", 1e-6, 1e6),
    help="Its mass.",
)
@click.option(
    "--drag-area",
    required=True,
    metavar="CDA",
    type=Quantity("area", 1e-9, 1e4),
    help="Its drag coefficient times reference area.",
)
@wind_options_for("As in driftmap assess.")
@click.option(
    "--site-elevation",
    default="0",
    metavar="H",
    type=Quantity("length", -500.0, 9000.0),
    help="Elevation of the site above sea level.",
)
@click.option(
    "--speed-east",
    default="0",
    metavar="V",
    type=_SPEED,
    help="Its speed when let go, over the ground.",
)
@click.option("--speed-north", default="0", metavar="V", type=_SPEED)
@click.option("--speed-up", default="0", metavar="V", type=_SPEED)
@json_option()
def drop_command(  # noqa: PLR0913, PLR0917
    height: float,
    mass: float,
    drag_area: float,
    asked: WindOptions,
    site_elevation: float,
    speed_east: float,
    speed_north: float,
    speed_up: float,
    as_json: bool,
) -> None:
    """Drop one body through the wind and say where it lands, without uncertainty.

    Values carry a unit; a bare number is SI.

    \b
    Example, a canopy of 1 m² and drag coefficient 0.75 under 1.5 kg:
      driftmap drop --from "3500 ft" --mass "1.5 kg" --drag-area "0.75 m2" \\
          --wind "12 mph from 240" --site-elevation "4050 ft"
    """
    import numpy as np

    from driftmap.air.column import Sky, mean_air
    from driftmap.core.units import STANDARD_GRAVITY
    from driftmap.trajectory.descent import fall
    from driftmap.trajectory.motion import Motion

    rise = max(speed_up, 0.0) ** 2 / (2 * STANDARD_GRAVITY)
    top = height + rise + 100.0
    if site_elevation + top > _TOP_OF_AIR:
        most = f"{_TOP_OF_AIR:.0f} m above sea level"
        raise InputError("--from", "", f"the body must stay below {most}")
    profile = shape_of(asked, WindPlace(site_elevation))
    if profile is None:
        raise click.UsageError('Give --wind, such as "12 mph from 240".')
    air = mean_air(profile, Sky(site_elevation), top)
    values = (0.0, 0.0, height, speed_east, speed_north, speed_up, 0.0)
    start = Motion(*(np.array([value]) for value in values))
    try:
        with np.errstate(all="ignore"):  # what comes out is held against all bounds
            landed = fall(start, mass, drag_area, air)
    except (ValueError, ArithmeticError) as problem:
        raise InputError("drop", "", str(problem)) from None
    speed = float(landed.speed[0])
    result = {
        "east_m": float(landed.east[0]),
        "north_m": float(landed.north[0]),
        "time_s": float(landed.time[0]),
        "impact_speed_mps": speed,
        "energy_j": mass * speed**2 / 2,
    }
    if not all(map(math.isfinite, result.values())):
        raise InputError(
            "drop", "", "no fall that can be followed; mass, area or speed is no body's"
        )
    notes = list(_of_the_wind(profile, height))
    if as_json:
        click.echo(json_text({**result, "notes": notes}, indent=None))
        return
    click.echo(_told(result))
    for note in notes:
        click.echo(visible(note))


def _of_the_wind(profile: WindProfile, height: float) -> Iterator[str]:
    """Tell what would hold a flight in this wind, and what it is where nobody read it."""
    yield from (f"This wind holds a flight: {note}." for note in profile.warned)
    east, north = (float(v) for v in profile.at(10.0))
    if profile.strongest and math.hypot(east, north) < profile.strongest / 4:
        yield "It comes from no one side: this is the middle of all, it may go any way."
    if height > profile.known_to:
        text = show(profile.known_to, "length", "si")
        yield f"It is known up to {text} only; above that it grows and turns as winds mostly do."


def _told(result: dict[str, float]) -> str:
    east, north = result["east_m"], result["north_m"]
    way = math.hypot(east, north)
    bearing = math.degrees(math.atan2(east, north)) % 360
    return (
        f"Lands {_both(way, 'length')} away toward {bearing:03.0f}°, "
        f"{result['time_s']:.1f} s later, at {_both(result['impact_speed_mps'], 'descent')} "
        f"with {_both(result['energy_j'], 'energy')}.\n"
        f"East {_both(east, 'length')}, north {_both(north, 'length')}.\n"
        "One body in the wind as given, no uncertainty: no ground is safe by this alone."
    )


def _both(value: float, dimension: str) -> str:
    return f"{show(value, dimension, 'us')} ({show(value, dimension, 'si')})"
