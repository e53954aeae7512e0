"""``driftmap assess``: the main job."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import Final, Literal

import click

from driftmap.cli.options import (
    answers_of,
    day_of,
    day_options,
    precision_of,
    run_options,
    units_option,
    wind_of,
    wind_options,
)

__all__ = ["assess_command"]

EXIT: Final = {"go": 0, "hold": 3, "no-go": 4}


@click.command("assess")
@click.argument("flight", metavar="FLIGHT")
@click.option("--site", required=True, metavar="SITE", help="Site file (GeoJSON).")
@wind_options
@day_options
@run_options
@units_option
@click.option(
    "--precision",
    metavar="P",
    help='How well each area with people must be known, such as "30 %"; '
    "flies as many steered flights as that takes.",
)
@click.option(
    "--answers",
    metavar="FILE",
    help="Answers to the questions of the rules; driftmap rules lists them.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for map.html and assessment.json.",
)
@click.option(
    "--propose",
    is_flag=True,
    help="Fly changes to the plan and say which would turn the verdict.",
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
    temperature: str | None,
    altimeter: str | None,
    humidity: str | None,
    samples: int,
    seed: int,
    units: Literal["us", "si"],
    precision: str | None,
    answers: str | None,
    out: Path,
    propose: bool,
    as_json: bool,
) -> None:
    """Say where everything can come down, who stands there, and whether to fly.

    Writes map.html, which opens with no network, and assessment.json.

    \b
    Examples:
      driftmap assess examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/morning.csv --answers examples/answers.toml --out today
      driftmap assess FLIGHT --site SITE --wind layers.csv --samples 100000 --units si
      driftmap assess FLIGHT --site SITE --wind "9 kt from 250" --wind bulletin.txt \\
          --station KXYZ --when 14:30

    Exit codes: 0 go, 3 hold, 4 no-go, 2 bad input.
    """
    from driftmap.assessment import assess, document
    from driftmap.cli.files import write_all
    from driftmap.flightfile import read_flight
    from driftmap.report.map import map_html
    from driftmap.report.terminal import proposals, summary
    from driftmap.site import read_site
    from driftmap.turning import turns

    rocket, ground = read_flight(flight), read_site(site)
    wind = wind_of(winds, station, when, ground)
    said, wanted = answers_of(answers, ground), precision_of(precision)
    day = day_of(temperature, altimeter, humidity, ground.elevation)
    with _Progress(samples) as progress:
        result = assess(
            rocket,
            ground,
            wind,
            samples=samples,
            seed=seed,
            day=day,
            answers=said,
            precision=wanted,
            progress=progress,
        )
    proposed = turns(result, answers=said) if propose else None
    data = document(result)
    if proposed is not None:
        data["proposals"] = [asdict(turn) for turn in proposed]
    text = json.dumps(data, indent=1, allow_nan=False, ensure_ascii=False)
    page = map_html(result, units=units)
    write_all(out, {"map.html": page, "assessment.json": text + "\n"})
    if as_json:
        click.echo(text)
    else:
        click.echo(summary(result, units=units))
        if proposed is not None:
            click.echo("\n" + proposals(proposed, units=units))
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
