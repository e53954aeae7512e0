"""``driftmap cases``, ``compare`` and ``drop``: what can happen, other ways down, one body."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from driftmap.cli.inputs import (
    Run,
    WindOptions,
    answers_option,
    echo_flight,
    forewarn,
    into_run,
    need_of,
    place_of,
    shape_of,
    wind_asked,
    wind_options,
    wind_options_for,
)
from driftmap.cli.options import (
    Quantity,
    json_option,
    no_site,
    option_stack,
    out_option,
    pad_option,
    run_options,
    site_of,
    site_options,
    words_options,
)
from driftmap.cli.output import Progress, json_text, write_all
from driftmap.core.errors import (
    InputError,
    TooHighError,
    WindError,
    located,
    visible,
)
from driftmap.winds.reading import Setting

if TYPE_CHECKING:
    from driftmap.report.voice import Voice


@click.command("compare")
@click.argument("flights", metavar="FLIGHT [OTHER]...", nargs=-1, required=True)
@site_options
@wind_options
@answers_option()
@run_options()
@words_options
@out_option("Folder for compare.html.")
@json_option()
@into_run
def compare_command(
    run: Run, flights: tuple[str, ...], voice: Voice, out: Path | None, as_json: bool
) -> None:
    """Hold other ways to bring the rocket down, or other flights, side by side.

    All are flown in one wind, with the same draws. Several flight files are held side by
    side as they are. Of one alone the alternatives are its [[alternative]] tables, each
    with a name and its own [[alternative.recovery]]; where there are none, smaller,
    larger, lower and streamer versions are made up from the plan, and a fall without any
    recovery.

    \b
    Example:
      driftmap compare examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind examples/noon.csv --when 2026-06-13T12:15-07:00
    """
    from driftmap.planning.casedocuments import compare_document
    from driftmap.report.case_pages import compare_page, compare_rows, compare_text
    from driftmap.report.plan_answers import compare_brief
    from driftmap.rocket.flightfile import read_flight
    from driftmap.verdict.compared import compare

    first, *others = flights
    setup, wind = replace(run, flight=first).in_wind()
    beside = [run.setup(read_flight(other), setup.site, wind) for other in others]
    forewarn(run.samples, *(need_of(one, wind) for one in (setup, *beside)))
    with Progress("ways down") as progress:
        found = compare(setup, wind, beside=beside, progress=progress)
    data = compare_document(setup, found)
    rows = compare_rows(data["alternatives"], found, voice)
    data["in_brief"] = compare_brief(data, rows, voice)
    if out is not None:
        page = compare_page(data, rows, found, voice)
        write_all(out, {"compare.html": page})
    if as_json:
        click.echo(json_text(data))
        return
    echo_flight(run.asked)
    click.echo(compare_text(data, rows, voice))


@click.command("cases")
@click.argument("flight", metavar="FLIGHT")
@click.option("--site", metavar="SITE", help="Site file; gives the elevation.")
@pad_option
@wind_options_for("As in assess; calm when left out.")
@run_options()
@words_options
@out_option("Folder for cases.html.")
@json_option()
def cases_command(
    flight: str,
    site: str | None,
    asked: WindOptions,
    samples: int,
    seed: int,
    voice: Voice,
    out: Path | None,
    as_json: bool,
) -> None:
    """Print what can happen to a flight, how likely, with margins and assumptions.

    Edit the likelihoods under [cases] in the flight file, and add
    cases of your own as [[case]] tables.

    \b
    Example:
      driftmap cases examples/whimbrel.toml --wind "8 mph from 240"
    """
    from driftmap.planning.casedocuments import cases_document
    from driftmap.report.case_pages import cases_page, cases_text
    from driftmap.report.plan_answers import cases_brief
    from driftmap.rocket.flightfile import read_flight

    if site is None:
        no_site()
    plan = read_flight(flight)
    place = Setting(0.0) if site is None else place_of(site_of(site))
    if not asked.winds and asked.at is None:
        asked = replace(asked, winds=("calm",))
    wind = wind_asked(asked, place)
    data = cases_document(plan, wind, place.site_altitude, samples=samples, seed=seed)
    data["in_brief"] = cases_brief(data, voice)
    if out is not None:
        write_all(out, {"cases.html": cases_page(data, wind, voice)})
    click.echo(json_text(data) if as_json else cases_text(data, voice))


_FASTEST: Final = 3000.0  # m/s, beyond what the drag of bodies is known for


@click.command("drop")
@click.option(
    "--from",
    "height",
    required=True,
    type=Quantity("length", 0.0),
    help="Height above the site at which it is let go.",
)
@click.option(
    "--mass", required=True, type=Quantity("mass", 1e-6, 1e6), help="Its mass."
)
@click.option(
    "--drag-area",
    required=True,
    type=Quantity("area", 1e-9, 1e4),
    help="Its drag coefficient times reference area.",
)
@wind_options_for("As in driftmap assess.")
@click.option(
    "--site-elevation",
    default="0 m",
    type=Quantity("length", -500.0, 9000.0),
    help="Elevation of the site above sea level.",
)
@option_stack(
    *(
        click.option(
            f"--speed-{way}",
            default="0 m/s",
            type=Quantity("speed", -_FASTEST, _FASTEST),
            help=f"Its speed {way} when let go, over the ground.",
        )
        for way in ("east", "north", "up")
    )
)
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
    from driftmap.planning.casedocuments import drop_document, drop_lines

    profile = shape_of(asked, Setting(site_elevation))
    if profile is None:
        raise click.UsageError('Give --wind, such as "12 mph from 240".')
    if all(level.direction is None for level in profile.levels):
        text = (
            'is from no one side: where would it land? Write such as "12 mph from 240"'
        )
        raise WindError(profile.source, "", text)
    speed = speed_east, speed_north, speed_up
    with located("drop", ""):
        try:
            data = drop_document(
                mass, drag_area, height, profile, site_elevation, speed=speed
            )
        except TooHighError as problem:
            raise InputError("--from", "", str(problem)) from None
    if as_json:
        click.echo(json_text(data, indent=None))
        return
    click.echo("\n".join(map(visible, drop_lines(data))))
