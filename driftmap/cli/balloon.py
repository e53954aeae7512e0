"""``driftmap balloon``: what to write down while a pilot balloon rises."""

from __future__ import annotations

import click

from driftmap.cli.options import Quantity
from driftmap.errors import InputError
from driftmap.units import show

__all__ = ["balloon_command"]

_STEP = 30  # s between two readings
_MASS = Quantity("mass", 0.0, 100.0, above=True)


@click.command("balloon")
@click.option(
    "--balloon",
    type=_MASS,
    default="30 g",
    show_default=True,
    metavar="M",
    help="Its own mass.",
)
@click.option(
    "--free-lift",
    type=_MASS,
    metavar="M",
    help="What it lifts besides itself: weights hung on it until it just hovers.",
)
@click.option(
    "--ascent",
    type=Quantity("speed", 0.5, 10.0),
    metavar="V",
    help="Its rate of ascent where that is known otherwise.",
)
@click.option(
    "--observers",
    type=click.IntRange(1, 2),
    default=1,
    show_default=True,
    help="Two at a known distance need no rate of ascent.",
)
@click.option(
    "--top",
    type=Quantity("length", 50.0, 10_000.0),
    default="3000 ft",
    show_default=True,
    metavar="H",
    help="Height to follow it to.",
)
@click.option(
    "--units",
    type=click.Choice(["us", "si"]),
    default="us",
    show_default=True,
    help="Units to show.",
)
def balloon_command(
    balloon: float,
    free_lift: float | None,
    ascent: float | None,
    observers: int,
    top: float,
    units: str,
) -> None:
    """Print a table to fill in while a balloon rises, which --wind then reads.

    Let it go at the pad, start the clock, and each half minute note the angle above the
    horizon and the compass bearing toward it. Ten minutes give the wind to a thousand metres.

    \b
    Example:
      driftmap balloon --balloon "30 g" --free-lift "125 g" > balloon.csv
      driftmap winds balloon.csv --site SITE
    """
    rate, lines = _rate(balloon, free_lift, ascent, observers)
    columns = "time_s,elevation_deg,azimuth_deg"
    second = ",elevation2_deg,azimuth2_deg" if observers == 2 else ""
    count = int(top / (rate * _STEP)) + 2
    click.echo("\n".join(lines))
    click.echo("# released  (write date, time, zone: 2026-05-09 08:10-07:00)")
    click.echo(f"# to {show(top, 'length', units)} in {count * _STEP / 60:.1f} min;")
    click.echo("# azimuth is from true north; azimuth_magnetic_deg where by the needle")
    click.echo(f"{columns}{second}")
    for i in range(1, count + 1):
        click.echo(f"{i * _STEP},{',' * (1 + 2 * (observers - 1))}")


def _rate(
    balloon: float, free_lift: float | None, ascent: float | None, observers: int
) -> tuple[float, list[str]]:
    """Give the rate of ascent and the lines that tell it to the reader."""
    from driftmap.formulas.balloon import ascent_rate

    if ascent is not None and free_lift is not None:
        raise click.UsageError("Give --ascent or --free-lift, not both.")
    lines = []
    if observers == 2:
        lines.append("# second observer  (write how far and where: 400 m toward 90)")
    if ascent is not None:
        rate = ascent
        told = [f"# ascent {rate:.2f} m/s"]
    elif free_lift is not None:
        rate = float(ascent_rate(balloon, free_lift))
        told = [
            f"# balloon {1000 * balloon:g} g",
            f"# free lift {1000 * free_lift:g} g",
        ]
        told.append(f"# which makes {rate:.2f} m/s")
    elif observers == 2:
        return 2.5, lines
    else:
        raise click.UsageError(
            "Give --free-lift or --ascent, or --observers 2: something must tell the height."
        )
    if not 0.5 <= rate <= 10.0:
        raise InputError(
            "--ascent", "", f"rises at {rate:.2f} m/s; accepted is 0.5 to 10 m/s"
        )
    return rate, [*lines, *(told if observers == 1 else [])]
