"""``driftmap assess``: the main job."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Final, Literal

import click

__all__ = ["assess_command"]

EXIT: Final = {"go": 0, "hold": 3, "no-go": 4}


@click.command("assess")
@click.argument("flight", metavar="FLIGHT")
@click.option("--site", required=True, metavar="SITE", help="Site file (GeoJSON).")
@click.option(
    "--wind",
    "winds",
    required=True,
    multiple=True,
    metavar="WIND",
    help='A file of layers or a report, or words: "12 mph from 240" at head height. '
    "Give it again to merge a surface reading with winds aloft.",
)
@click.option(
    "--station", metavar="ID", help="Station to take from a report of several."
)
@click.option(
    "--when",
    metavar="TIME",
    help="Time of the flight, such as 14:30 or 18:30Z; tells the age of a report.",
)
@click.option(
    "--samples",
    type=click.IntRange(1, 5_000_000),
    default=20_000,
    show_default=True,
    help="Flights flown in each case.",
)
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="The same seed gives the same points.",
)
@click.option(
    "--units",
    type=click.Choice(["us", "si"]),
    default="us",
    show_default=True,
    help="Units to show.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for map.html and assessment.json.",
)
@click.option("--json", "as_json", is_flag=True, help="Print assessment.json.")
@click.pass_context
def assess_command(  # noqa: PLR0913, PLR0917
    ctx: click.Context,
    flight: str,
    site: str,
    winds: tuple[str, ...],
    station: str | None,
    when: str | None,
    samples: int,
    seed: int,
    units: Literal["us", "si"],
    out: Path,
    as_json: bool,
) -> None:
    """Say where everything can come down, who stands there, and whether to fly.

    Writes map.html, which opens with no network, and assessment.json.

    \b
    Examples:
      driftmap assess examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "8 mph from 240" --out today
      driftmap assess FLIGHT --site SITE --wind layers.csv --samples 100000 --units si
      driftmap assess FLIGHT --site SITE --wind "9 kt from 250" --wind bulletin.txt \\
          --station KXYZ --when 14:30

    Exit codes: 0 go, 3 hold, 4 no-go, 2 bad input.
    """
    from driftmap.assessment import assess, document
    from driftmap.cli.files import write_all
    from driftmap.cli.winds import flight_time
    from driftmap.flightfile import read_flight
    from driftmap.report.map import map_html
    from driftmap.report.terminal import summary
    from driftmap.site import read_site
    from driftmap.winds import read_winds

    rocket, ground = read_flight(flight), read_site(site)
    wind = read_winds(
        winds,
        site_altitude=ground.elevation,
        station=station,
        when=None if when is None else flight_time(when),
        declination=ground.declination,
    )
    with _Progress(samples) as progress:
        result = assess(
            rocket, ground, wind, samples=samples, seed=seed, progress=progress
        )
    text = json.dumps(document(result), indent=1, allow_nan=False, ensure_ascii=False)
    page = map_html(result, units=units)
    write_all(out, {"map.html": page, "assessment.json": text + "\n"})
    if as_json:
        click.echo(text)
    else:
        click.echo(summary(result, units=units))
        click.echo(f"\nMap: {out / 'map.html'}")
    ctx.exit(EXIT[result.verdict])


class _Progress:
    """A progress bar that appears only when the work takes over a second."""

    def __init__(self, total: int) -> None:
        self._total, self._done, self._start = total, 0, time.monotonic()
        self._bar = click.progressbar(length=total, label="Flying", file=sys.stderr)
        self._shown = False

    def __enter__(self) -> _Progress:
        return self

    def __call__(self, flights: int) -> None:
        """Count flights done."""
        self._done += flights
        if self._shown:
            self._bar.update(flights)
        elif time.monotonic() - self._start > 1 and sys.stderr.isatty():
            self._shown = True
            self._bar.__enter__()
            self._bar.update(self._done)

    def __exit__(self, *exception: object) -> None:
        if self._shown:
            self._bar.render_finish()
