"""``driftmap winds`` and ``balloon``: winds read, shown, and measured by hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from driftmap.cli.inputs import (
    HERE,
    WindOptions,
    place_of,
    place_options,
    readings_of,
    setting_of,
)
from driftmap.cli.options import (
    Quantity,
    json_option,
    no_site,
    out_option,
    pad_option,
    site_of,
    units_option,
    words_options,
)
from driftmap.cli.output import json_text, write_all
from driftmap.cli.times import show_flight
from driftmap.core.errors import located
from driftmap.core.units import show
from driftmap.winds.pilot_balloon import RATES
from driftmap.winds.reading import Setting

if TYPE_CHECKING:
    from driftmap.report.voice import Voice
    from driftmap.report.words import Units


@click.command("winds")
@click.argument("files", nargs=-1, metavar="FILE...")
@click.option(
    "--site", metavar="SITE", help="Site file; gives elevation and declination."
)
@pad_option
@click.option(
    "--site-elevation",
    type=Quantity("length", -500.0, 9000.0),
    help='Elevation, such as "4,100 ft".',
)
@place_options
@click.option("--decoded", is_flag=True, help="Show what each file says by itself.")
@json_option()
@words_options
@out_option("Folder for wind.html, the picture of the wind.")
@click.option(
    "--top",
    type=Quantity("length", 10.0, 30_000.0),
    help="Height up to which to show it; JSON has all.",
)
def winds_command(
    files: tuple[str, ...],
    site: str | None,
    site_elevation: float | None,
    decoded: bool,
    as_json: bool,
    voice: Voice,
    out: Path | None,
    top: float | None,
    **given: Any,
) -> None:
    """Show the wind over a site from what you have.

    FILE is a table of layers, a meter's record, a METAR, TAF or bulletin, a sounding, a
    balloon's angles, a tracker's log, a forecast, or words such as "12 mph from 240".

    \b
    Examples:
      driftmap winds "12 mph from 240" --site-elevation "4,100 ft"
      driftmap winds metar.txt bulletin.txt --site field.geojson --station DEN
      driftmap winds "SW 9 mph, gusts 14" meter.csv balloon.csv --site field.geojson
      driftmap winds --at field.geojson --when 14:30
    """
    from driftmap.report.wind_text import wind_as_read
    from driftmap.report.windsketch import PICTURE_TOP, shown_top, wind_page
    from driftmap.winds.lines import decoded_lines, wind_lines
    from driftmap.winds.merge import merge
    from driftmap.winds.saved import decoded_document, keep_readings, wind_document

    asked = WindOptions(files, **given)
    if not files and asked.at is None:
        raise click.UsageError('Give a FILE, words such as "12 mph from 240", or --at.')
    if decoded and out is not None:
        raise click.UsageError("Give --decoded or --out: the picture is of the whole.")
    if site is None and site_elevation is None and asked.at != HERE:
        site = asked.at
    place = _place(site, site_elevation)
    setting = setting_of(asked, place)
    readings = readings_of(asked, setting)
    if decoded:
        document = decoded_document(readings)
    else:
        wind = merge(readings, setting)
        document, ceiling = wind_document(wind), top or shown_top(wind)
        if out is not None:
            write_all(out, {"wind.html": wind_page(wind, ceiling, voice)})
    if as_json:
        kept = keep_readings(readings, setting)
        whole = {"when": kept["when"], **document, **kept}
        click.echo(json_text(whole, indent=2))
    elif decoded:
        click.echo("\n".join(decoded_lines(readings, voice.units, top or PICTURE_TOP)))
    else:
        click.echo(f"for a flight at {show_flight(setting.when)}\n")
        gust = wind_as_read(wind)[0].gust
        click.echo("\n".join(wind_lines(wind, gust, voice.units, ceiling)))


def _place(site: str | None, elevation: float | None) -> Setting:
    if site is not None and elevation is not None:
        raise click.UsageError("Give a site file or --site-elevation, not both.")
    if site is not None:
        return place_of(site_of(site))
    no_site()
    if elevation is None:
        raise click.UsageError(
            "Give --site or --site-elevation: heights above the site need it."
        )
    return Setting(elevation)


_MASS = Quantity("mass", 0.0, 100.0, above=True)


@click.command("balloon")
@click.option("--balloon", type=_MASS, default="30 g", help="Its own mass.")
@click.option(
    "--free-lift",
    type=_MASS,
    help="What it lifts besides itself: weights hung on it until it just hovers.",
)
@click.option(
    "--ascent",
    type=Quantity("speed", *RATES),
    help="Its rate of ascent where that is known otherwise.",
)
@click.option(
    "--observers",
    type=click.IntRange(1, 2),
    default=1,
    help="Two at a known distance need no rate of ascent.",
)
@click.option(
    "--top",
    type=Quantity("length", 50.0, 10_000.0),
    default="3000 ft",
    help="Height to follow it to.",
)
@units_option
def balloon_command(
    balloon: float,
    free_lift: float | None,
    ascent: float | None,
    observers: int,
    top: float,
    units: Units,
) -> None:
    """Print a table to fill in while a balloon rises, which --wind then reads.

    Let it go at the pad, start the clock, and each half minute note the angle above the
    horizon and the compass bearing toward it. Ten minutes give the wind to a thousand metres.

    \b
    Example:
      driftmap balloon --balloon "30 g" --free-lift "125 g" > balloon.csv
      driftmap winds balloon.csv --site SITE
    """
    from driftmap.winds.balloon_form import balloon_form

    if ascent is not None and free_lift is not None:
        raise click.UsageError("Give --ascent or --free-lift, not both.")
    if observers == 1 and ascent is None and free_lift is None:
        raise click.UsageError(
            "Give --free-lift or --ascent, or --observers 2: something must tell the height."
        )
    with located("--free-lift", ""):
        told = balloon_form(
            balloon,
            top,
            free_lift=free_lift,
            ascent=ascent,
            observers=observers,
            written=lambda height: show(height, "length", units),
        )
    click.echo("\n".join(told))
