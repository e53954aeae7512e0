"""``driftmap balloon``: what to write down while a pilot balloon rises."""

from __future__ import annotations

import click

from driftmap.errors import InputError
from driftmap.units import parse, show

__all__ = ["balloon_command"]

_STEP = 30  # s between two readings


@click.command("balloon")
@click.option(
    "--balloon", default="30 g", show_default=True, metavar="M", help="Its own mass."
)
@click.option(
    "--free-lift",
    metavar="M",
    help="What it lifts besides itself: weights hung on it until it just hovers.",
)
@click.option(
    "--ascent", metavar="V", help="Its rate of ascent where that is known otherwise."
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
    balloon: str,
    free_lift: str | None,
    ascent: str | None,
    observers: int,
    top: str,
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
    height = _read("--top", top, "length")
    if not 50.0 <= height <= 10_000.0:
        raise InputError("--top", "", f"{height:g} m; accepted is 50 m to 10 km")
    rate, lines = _rate(balloon, free_lift, ascent, observers)
    columns = "time_s,elevation_deg,azimuth_deg"
    second = ",elevation2_deg,azimuth2_deg" if observers == 2 else ""
    count = int(height / (rate * _STEP)) + 2
    click.echo("\n".join(lines))
    click.echo("# released  (write date, time, zone: 2026-05-09 08:10-07:00)")
    click.echo(f"# to {show(height, 'length', units)} in {count * _STEP / 60:.1f} min;")
    click.echo("# azimuth is from true north; azimuth_magnetic_deg where by the needle")
    click.echo(f"{columns}{second}")
    for i in range(1, count + 1):
        click.echo(f"{i * _STEP},{',' * (1 + 2 * (observers - 1))}")


def _rate(
    balloon: str, free_lift: str | None, ascent: str | None, observers: int
) -> tuple[float, list[str]]:
    """Give the rate of ascent and the lines that tell it to the reader."""
    from driftmap.formulas.balloon import ascent_rate

    if ascent is not None and free_lift is not None:
        raise click.UsageError("Give --ascent or --free-lift, not both.")
    lines = []
    if observers == 2:
        lines.append("# second observer  (write how far and where: 400 m toward 90)")
    if ascent is not None:
        rate = _read("--ascent", ascent, "speed")
        told = [f"# ascent {rate:.2f} m/s"]
    elif free_lift is not None:
        mass, lift = (
            _read(*pair, "mass")
            for pair in (("--balloon", balloon), ("--free-lift", free_lift))
        )
        if not (mass > 0 and lift > 0):
            raise InputError("--free-lift", "", "masses must be above 0")
        rate = float(ascent_rate(mass, lift))
        told = [f"# balloon {1000 * mass:g} g", f"# free lift {1000 * lift:g} g"]
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


def _read(option: str, text: str, dimension: str) -> float:
    try:
        return parse(text, dimension)
    except ValueError as problem:
        raise InputError(option, "", str(problem)) from None
