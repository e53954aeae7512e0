"""`driftmap winds`: what the wind reports say, each and together."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import click

from driftmap import units
from driftmap.air.wind import WindLevel, WindProfile
from driftmap.errors import InputError
from driftmap.winds.law import ROUGHNESS
from driftmap.winds.reading import Reading, Setting

__all__ = ["flight_time", "winds_command"]


_PICTURE_TOP: Final = 3000.0  # m, unless --top says otherwise


@click.command("winds")
@click.argument("files", nargs=-1, metavar="FILE...")
@click.option(
    "--site", metavar="SITE", help="Site file; gives elevation and declination."
)
@click.option("--site-elevation", metavar="H", help='Elevation, such as "4,100 ft".')
@click.option("--station", metavar="ID", help="Station to take from a file of several.")
@click.option(
    "--when",
    metavar="TIME",
    help="Time of the flight: 14:30, 18:30Z, or a date and time.",
)
@click.option(
    "--declination", metavar="D", help="Of the magnetic needle, east positive [deg]."
)
@click.option(
    "--terrain",
    type=click.Choice(list(ROUGHNESS)),
    default="open",
    show_default=True,
    help="Ground about the site.",
)
@click.option(
    "--at", metavar="SITE", help="Ask a public forecast service for this site's wind."
)
@click.option(
    "--service",
    metavar="URL",
    envvar="DRIFTMAP_FORECAST_URL",
    help="Address of the forecast service.",
)
@click.option("--decoded", is_flag=True, help="Show what each file says by itself.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option(
    "--units",
    "system",
    type=click.Choice(["us", "si"]),
    default="us",
    show_default=True,
    help="Units to show.",
)
@click.option(
    "--out",
    metavar="DIR",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write the picture, wind.html, into DIR.",
)
@click.option("--top", metavar="H", help="Height up to which to show it; JSON has all.")
def winds_command(  # noqa: PLR0913, PLR0917
    files: tuple[str, ...],
    site: str | None,
    site_elevation: str | None,
    station: str | None,
    when: str | None,
    declination: str | None,
    terrain: str,
    at: str | None,
    service: str | None,
    decoded: bool,
    as_json: bool,
    system: str,
    out: Path | None,
    top: str | None,
) -> None:
    """Show the wind over a site from what you have.

    FILE is a table of layers, a winds-aloft bulletin, a METAR, a sounding, a forecast,
    or words such as "12 mph from 240". Give the most trusted first.

    \b
    Examples:
      driftmap winds "12 mph from 240" --site-elevation "4,100 ft"
      driftmap winds metar.txt bulletin.txt --site field.geojson --station DEN
      driftmap winds --at field.geojson --when 14:30
    """
    from driftmap.winds import decode, merge

    if not files and at is None:
        raise click.UsageError('Give a FILE, words such as "12 mph from 240", or --at.')
    place = _place(at or site, site_elevation)
    setting = Setting(
        place.elevation,
        station,
        flight_time(when) if when else None,
        _quantity(declination, "angle", "--declination")
        if declination
        else place.declination,
        terrain,
        place.position,
    )
    readings = [decode(text, setting) for text in files]
    if at is not None:
        readings.append(_fetched(place, service, setting))
    wind = merge(readings, setting)
    ceiling = _top(top, wind)
    if out is not None:
        _write(wind, out, system, ceiling)
    if as_json:
        _print_json(wind, readings, decoded=decoded)
    elif decoded:
        _print_decoded(readings, system, ceiling)
    else:
        _print_wind(wind, system, ceiling)


@dataclass(frozen=True, slots=True)
class _Place:
    elevation: float
    declination: float | None = None
    position: tuple[float, float] | None = None  # latitude, longitude


def _place(site: str | None, elevation: str | None) -> _Place:
    if site is not None and elevation is not None:
        raise click.UsageError("Give a site file or --site-elevation, not both.")
    if site is not None:
        from driftmap.ground.site import read_site

        read = read_site(site)
        position = (read.latitude, read.longitude)
        return _Place(read.elevation, read.declination, position)
    if elevation is None:
        raise click.UsageError(
            "Give --site or --site-elevation: heights above the site need it."
        )
    height = _quantity(elevation, "length", "--site-elevation")
    if not -500.0 <= height <= 9000.0:
        raise InputError(
            "--site-elevation", "", f"{height:g} m; accepted is -500 to 9000 m"
        )
    return _Place(height)


def _quantity(text: str, dimension: str, option: str) -> float:
    try:
        return units.parse(text, dimension)
    except ValueError as problem:
        raise InputError(option, "", str(problem)) from None


def flight_time(text: str, now: datetime | None = None) -> datetime:
    """Read the time of a flight.

    Parameters
    ----------
    text : str
        ``14:30`` today by this computer's clock, ``18:30Z`` today in UTC, or a date and
        time such as ``2026-05-09T14:30`` with or without its zone.
    now : datetime, optional
        The present time.

    Returns
    -------
    datetime
        In UTC.

    Raises
    ------
    InputError
        If it is none of these.

    Examples
    --------
    >>> noon = datetime(2026, 5, 9, 12, tzinfo=UTC)
    >>> flight_time("18:30Z", noon).isoformat()
    '2026-05-09T18:30:00+00:00'
    """
    now = now or datetime.now(UTC)
    zulu = text.strip().upper().endswith("Z")
    day = now.astimezone(UTC if zulu else None).date()
    clock = re.fullmatch(r"\s*(\d{1,2}):(\d{2})\s*Z?\s*", text, re.IGNORECASE)
    try:
        if clock:
            text = f"{day}T{int(clock[1]):02d}:{clock[2]}{'Z' if zulu else ''}"
        elif not re.match(r"\s*\d{4}-\d\d-\d\d[T ]\d", text):
            raise ValueError("no time of day")
        # A time without a zone is that of this computer, as a person means it.
        return datetime.fromisoformat(text.strip()).astimezone(UTC)
    except (ValueError, OverflowError):
        raise InputError(
            "--when",
            "",
            f"{text[:40]!r}; accepted is 14:30, 18:30Z or 2026-05-09T14:30Z",
        ) from None


def _fetched(place: _Place, service: str | None, setting: Setting) -> Reading:
    from driftmap.winds.fetch import SERVICE, fetch_forecast
    from driftmap.winds.forecast import read_forecast

    if setting.when is None or place.position is None:
        raise click.UsageError("--at needs --when: a forecast is for a time.")
    text = fetch_forecast(*place.position, setting.when, service=service or SERVICE)
    return read_forecast(text, "forecast service", setting)


def _print_json(
    wind: WindProfile, readings: Sequence[Reading], *, decoded: bool
) -> None:
    from driftmap.winds.listing import decoded_document, wind_document

    document = decoded_document(readings) if decoded else wind_document(wind)
    click.echo(json.dumps(document, indent=2, ensure_ascii=False))


def _print_decoded(readings: Sequence[Reading], system: str, top: float) -> None:
    for reading in readings:
        click.echo(f"{_plain(reading.source)}{_air(reading, system)}\n")
        _print_levels(reading.levels, system, top)
    _print_notes(note for reading in readings for note in reading.assumed)


def _print_wind(wind: WindProfile, system: str, top: float) -> None:
    _print_levels(wind.levels, system, top)
    age = (
        "age at the flight not known"
        if wind.age is None
        else f"oldest dated source {wind.age:.1f} h from the flight"
    )
    click.echo(f"known to {units.show(wind.known_to, 'length', system)}; {age}")
    _print_notes(wind.assumed)


def _print_levels(levels: Sequence[WindLevel], system: str, top: float) -> None:
    from driftmap.winds.listing import text_table

    shown = [level for level in levels if level.height <= top] or levels[:1]
    click.echo(text_table(shown, system))
    if len(shown) < len(levels):
        click.echo(
            f"and {len(levels) - len(shown)} levels above "
            f"{units.show(top, 'length', system)}; --top shows them"
        )
    click.echo()


def _print_notes(notes: Iterable[str]) -> None:
    for note in dict.fromkeys(notes):
        click.echo(f"assumed: {_plain(note)}")


def _top(text: str | None, wind: WindProfile) -> float:
    if text is None:
        return min(max(wind.known_to, 300.0), _PICTURE_TOP)
    top = _quantity(text, "length", "--top")
    if not 10.0 <= top <= 30_000.0:
        raise InputError("--top", "", f"{top:g} m; accepted is 10 to 30,000 m")
    return top


def _air(reading: Reading, system: str) -> str:
    """Tell the temperature and pressure that a surface report gives."""
    told = ""
    kelvin = reading.levels[0].temperature
    if reading.kind == "surface" and kelvin is not None:
        celsius = kelvin - 273.15
        us = f"{celsius * 1.8 + 32:.0f} °F"
        told += f", {us if system == 'us' else f'{celsius:.0f} °C'}"
    if reading.pressure is not None:
        us = f"{reading.pressure / units.DIMENSIONS['pressure']['inHg']:.2f} inHg"
        told += f", {us if system == 'us' else f'{reading.pressure / 100:.0f} hPa'}"
    return told


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def _write(wind: WindProfile, out: Path, system: str, top: float) -> None:
    from driftmap.report.windsketch import wind_page
    from driftmap.winds.listing import text_table

    table = text_table(wind.levels, system)
    page = wind_page(wind, top, system, table)
    try:
        out.mkdir(parents=True, exist_ok=True)
        (out / "wind.html").write_text(page, encoding="utf-8")
    except OSError as problem:
        raise InputError(
            "--out", str(out), f"cannot be written ({problem.strerror})"
        ) from None
