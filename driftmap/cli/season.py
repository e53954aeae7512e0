"""``driftmap layout`` and ``season``: where pads could stand, and in how many hours it is go."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
from click.core import ParameterSource

from driftmap.cli.inputs import Run, forewarn
from driftmap.cli.options import (
    Quantity,
    json_option,
    language_option,
    out_option,
    pad_option,
    site_of,
    site_options,
    voice_of,
    words_options,
)
from driftmap.cli.plans import plan_options, put_out, workers_of
from driftmap.core.errors import InputError, located

if TYPE_CHECKING:
    from driftmap.ground.areas import Site
    from driftmap.planning.assumed_winds import Supposition
    from driftmap.planning.hours import Hours
    from driftmap.planning.layout import Rose
    from driftmap.planning.season import Agreement, SeasonHour
    from driftmap.planning.season_aloft import Sounding
    from driftmap.report.voice import Voice
    from driftmap.verdict.setup import Setup
    from driftmap.winds.reading import Setting


_LENGTH: Final = Quantity("length", 0.0, 10_000.0, above=True)


@click.command("layout")
@click.argument("site", metavar="SITE")
@click.option(
    "--flight",
    "flights",
    multiple=True,
    required=True,
    metavar="FLIGHT",
    help="Flight file. Give it again for several: a wind counts as go when all are.",
)
@click.option(
    "--wind",
    "winds",
    multiple=True,
    metavar="WIND",
    help='Wind in words at 10 m, such as "4 m/s from 240". Give it again for several; '
    "each weighs the same.",
)
@click.option(
    "--winds",
    "season",
    metavar="FILE",
    help="Hourly winds (CSV, as for season): scored by how often each blows.",
)
@click.option(
    "--rules",
    "sets",
    multiple=True,
    metavar="SET",
    help="Rule set for distances, in place of those the site file names.",
)
@click.option(
    "--distance",
    type=_LENGTH,
    help='Least distance from pad to people and edge, such as "500 ft", beside the rules.',
)
@click.option(
    "--spacing", type=_LENGTH, help="Between candidates; a round one by default."
)
@click.option(
    "--move",
    "areas",
    multiple=True,
    metavar="AREA",
    help="Also find a place for this area of people, the pad staying where it is.",
)
@click.option(
    "--best", type=click.IntRange(1, 50), default=5, help="How many of each to show."
)
@pad_option
@plan_options
@words_options
@json_option()
@out_option("Folder for layout.html, layout.json and layout.geojson.")
def layout_command(  # noqa: PLR0913, PLR0917 - one an option, or a group of them
    flights: tuple[str, ...],
    winds: tuple[str, ...],
    season: str | None,
    sets: tuple[str, ...],
    distance: float | None,
    spacing: float | None,
    areas: tuple[str, ...],
    best: int,
    run: Run,
    voice: Voice,
    as_json: bool,
    out: Path | None,
) -> None:
    """Score pads, and places for people, all over the allowed ground of a site.

    Distances come from the rules that the site names. Without --wind and --winds, eight
    directions at 3 and at 6 m/s weigh the same.

    \b
    Example:
      driftmap layout sites/saltgrass-flat.geojson --flight examples/dunlin.toml \\
          --move "South crowd line" --out plan
    """
    from driftmap.planning.assumed_winds import Supposition, Wind
    from driftmap.planning.distances import Clearances, pad_spots, stand_spots
    from driftmap.planning.documents import supposed_basis
    from driftmap.planning.layout import Layout, best_pads, best_stands
    from driftmap.report.layout_plan import layout_plan
    from driftmap.rocket.flightfile import read_flight

    ground = site_of(run.site)
    with located("--spacing", ""):
        pad_spots(ground, spacing)
    for name in areas:
        with located("--move", ""):
            stand_spots(ground, name, spacing)
    rockets = [read_flight(path) for path in flights]
    setups = tuple(run.setup(rocket, ground, ahead=True) for rocket in rockets)
    supposition = Supposition.over_site(ground)
    rose, assumed = _rose(winds, season)
    keep = Clearances.at(ground, sets, distance or 0.0)
    question = Layout(setups, supposition, rose, keep)
    two = Wind(3.0, 0.0), Wind(3.0, 90.0)
    bases = [supposed_basis(setup, supposition, *two) for setup in setups]
    forewarn(run.samples, *(basis.need for basis in bases))
    with workers_of(run, "flights in a wind", apart=True) as workers:
        pads = best_pads(question, spacing=spacing, workers=workers)
        stands = {
            name: best_stands(question, name, spacing=spacing, workers=workers)
            for name in dict.fromkeys(areas)
        }
    plan = layout_plan(question, bases, assumed, (pads, stands), best, voice)
    put_out(plan, out, as_json=as_json)


def _rose(winds: tuple[str, ...], season: str | None) -> tuple[Rose, list[str]]:
    """Make the winds to score by, and say what was assumed of them."""
    if winds and season:
        raise click.UsageError("Give --wind or --winds, not both.")
    from driftmap.planning.hours import even_rose, read_hours, rose_of, spoken_rose

    if season:
        return rose_of(read_hours(season))
    return (spoken_rose(winds), []) if winds else even_rose()


@click.command("season")
@click.argument("flight", metavar="FLIGHT")
@site_options
@click.option(
    "--winds",
    "file",
    metavar="FILE",
    help="Hourly winds (CSV): time_utc, from_deg, and speed_mps, speed_kt, speed_mph or "
    "speed_kmh; gusts as gust_mps and so on, 0 of none. Gaps are not known, never go.",
)
@click.option(
    "--soundings",
    multiple=True,
    metavar="FILE",
    help="Winds aloft in place of hourly winds: soundings or forecasts that tell their "
    "time, one or many a file; may be given again. Each is flown as it is.",
)
@click.option(
    "--log",
    metavar="[FILE]",
    is_flag=False,
    flag_value="",
    help="Winds of the days you were out, from your log or from FILE: those at 10 m that "
    "its assessments were made for, at the times of their flights.",
)
@click.option(
    "--height",
    type=Quantity("length", 1.0, 100.0),
    default="10 m",
    help="Height of hourly winds above the ground.",
)
@click.option(
    "--utc-offset",
    type=Quantity("number", -12.0, 14.0),
    default="0",
    help="Local time less UTC, a plain number of hours such as -7, for months and hours "
    "of the day.",
)
@click.option(
    "--check",
    type=click.IntRange(0, 1000),
    default=20,
    help="Readings flown as they are, to see what the bins cost.",
)
@plan_options
@language_option
@json_option()
@out_option(
    "Folder for season.html, season.json and season-verdicts.jsonl, from which an "
    "interrupted run goes on."
)
def season_command(  # noqa: PLR0913, PLR0917 - one an option, or a group of them
    run: Run,
    file: str | None,
    soundings: tuple[str, ...],
    log: str | None,
    height: float,
    utc_offset: float,
    check: int,
    language: str,
    as_json: bool,
    out: Path | None,
) -> None:
    """Give the share of a season's hours that would have been go, by month and hour.

    Hourly winds are put into bins of 10 degrees, 0.5 m/s and 2 m/s of gusts, rounded up;
    each bin is one verdict in full. Soundings are one verdict each.

    \b
    Examples:
      driftmap season FLIGHT --site SITE --soundings station.txt --out season
      driftmap season FLIGHT --site SITE --log flights.sqlite
      driftmap season examples/dunlin.toml --site sites/saltgrass-flat.geojson \\
          --winds hourly.csv --out season
    """
    from driftmap.planning.assumed_winds import NO_HOUR, Supposition, Wind, suppose
    from driftmap.planning.documents import heading, supposed_basis
    from driftmap.planning.hours import ALOFT_NOTES, hourly_notes
    from driftmap.report.plan_pages import season_plan

    if bool(file) + bool(soundings) + (log is not None) != 1:
        raise InputError("season", "", "give one of --winds, --soundings and --log")
    _of_no_use(("height",) * (not file) + ("check",) * bool(soundings))
    voice = voice_of(language, None)
    height = 10.0 if log is not None else height
    rocket, ground = run.read()
    aloft = _aloft(ground, soundings)
    hours = None if soundings else _hours(file, log, ground)
    setup = run.setup(rocket, ground, ahead=True)
    supposition = Supposition.over_site(ground)
    two = Wind(0.0, 0.0), Wind(4.0, 90.0)
    basis = supposed_basis(setup, supposition, *two, measured=bool(soundings))
    forewarn(run.samples, basis.need)
    path = None if out is None else out / "season-verdicts.jsonl"
    same: Agreement | None = None
    if hours is None:
        found = _flown_aloft(run, setup, supposition, aloft, path)
        notes = [*ALOFT_NOTES, *basis.assumed]
    else:
        hours = hours.scaled(supposition.over(height))
        found, same = _flown_by_hour(run, setup, supposition, hours, path, check)
        told = suppose(supposition, 90.0, 4.0).assumed
        above = (note for note in told if NO_HOUR not in note)
        notes = [*hourly_notes(hours.source, height), *above, *basis.assumed]
    head, offset = heading(setup, notes, basis), timedelta(hours=utc_offset)
    plan = season_plan(head, found, same, offset, voice)
    put_out(plan, out, as_json=as_json)


def _of_no_use(names: tuple[str, ...]) -> None:
    """Refuse options that what is given of winds leaves unread."""
    context = click.get_current_context()
    for name in names:
        if context.get_parameter_source(name) is ParameterSource.COMMANDLINE:
            raise InputError(f"--{name}", "", "is of hourly winds alone: leave it out")


def _setting(ground: Site) -> Setting:
    from driftmap.winds.reading import Setting

    return Setting(ground.elevation, place=(ground.latitude, ground.longitude))


def _aloft(ground: Site, files: tuple[str, ...]) -> tuple[Sounding, ...]:
    """Read winds aloft, before anything is flown."""
    from driftmap.planning.season_aloft import read_soundings

    return read_soundings(files, _setting(ground))


def _hours(file: str | None, log: str | None, ground: Site) -> Hours:
    """Read winds by the hour from a file, or those of the log's assessments at the field."""
    from driftmap.planning.hours import HourReading, hours_of, read_hours

    if file is not None:
        return read_hours(file)
    from driftmap.logbook.store import Log, default_path
    from driftmap.logbook.verification import winds_of

    with Log(Path(log) if log else default_path(), create=False) as opened:
        entries, name = opened.current(), opened.path.name
        rows = winds_of(entries, (ground.latitude, ground.longitude))
    every = sum(entry.kind == "assessment" for entry in entries)
    winds = [(w.time, HourReading(w.way, w.speed, w.gust)) for w in rows]
    text = f"{len(rows)} assessments in {name}"
    if every > len(rows):
        text += f" ({every - len(rows)} of elsewhere or in a wind foretold left out)"
    hours = hours_of(winds, text)
    held = {
        wind.time.replace(minute=0, second=0, microsecond=0): wind.held
        for wind in rows
        if wind.held
    }
    return replace(hours, held=held)


def _flown_by_hour(
    run: Run,
    setup: Setup,
    supposition: Supposition,
    hours: Hours,
    path: Path | None,
    check: int,
) -> tuple[tuple[SeasonHour, ...], Agreement]:
    """Fly every bin of hourly winds that is not in the ledger yet, and some winds as they are."""
    from driftmap.planning.ledger import open_ledger, run_key
    from driftmap.planning.season import (
        agreement,
        bins_to_fly,
        season_hours,
        season_suns,
    )

    suns = (sun.when for sun in season_suns(setup, supposition, hours))
    ledger = open_ledger(path, run_key(setup, supposition, *suns))
    every, left = bins_to_fly(hours, ledger)
    _going_on(every - left, every)
    with workers_of(run, "winds") as workers:
        found = season_hours(setup, supposition, hours, ledger, workers=workers)
    with workers_of(run, "checks") as workers:
        same = agreement(setup, supposition, hours, ledger, check, workers=workers)
    return found, same


def _flown_aloft(
    run: Run,
    setup: Setup,
    supposition: Supposition,
    aloft: tuple[Sounding, ...],
    path: Path | None,
) -> tuple[SeasonHour, ...]:
    """Fly every sounding that is not in the ledger yet."""
    from driftmap.planning.ledger import open_ledger, run_key
    from driftmap.planning.season_aloft import season_soundings

    setting = _setting(setup.site)
    ledger = open_ledger(path, run_key(setup, supposition, "soundings", setting.place))
    _going_on(sum(one.name in ledger.found for one in aloft), len(aloft))
    with workers_of(run, "soundings") as workers:
        return season_soundings(setup, aloft, setting, ledger, workers=workers)


def _going_on(done: int, every: int) -> None:
    if done:
        click.echo(f"going on: {done} of {every} winds are done", err=True)
