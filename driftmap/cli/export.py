"""``driftmap export``: results for other maps, receivers and spreadsheets."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import click

from driftmap.cli.assessing import EXIT, Inputs, assessed, assessment_of
from driftmap.cli.options import Quantity
from driftmap.cli.windoptions import echo_flight
from driftmap.errors import located

if TYPE_CHECKING:
    from driftmap.exports.cells import Cells
    from driftmap.verdict.assessment import Assessment

__all__ = ["export_command"]

_FORMATS = ("geojson", "kml", "gpx", "csv")


@click.command("export")
@assessed
@click.option(
    "--as",
    "formats",
    type=click.Choice(_FORMATS),
    multiple=True,
    required=True,
    help="Format to write; give it again for more.",
)
@click.option(
    "--points",
    type=click.IntRange(0),
    default=100,
    show_default=True,
    help="Landing points written of each piece, at the most (not in GPX).",
)
@click.option(
    "--floor",
    type=Quantity("share", 0.0, 1.0),
    default="0.01 %",
    show_default=True,
    metavar="P",
    help="Squares less likely to be hit are left out (GeoJSON, CSV).",
)
@click.option(
    "--square",
    type=Quantity("length", 0.1, 10_000.0),
    metavar="LENGTH",
    help='Side of the squares, such as "50 m"; by default to suit the spread.',
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("driftmap-out"),
    show_default=True,
    help="Folder for the files.",
)
@click.pass_context
def export_command(
    ctx: click.Context,
    formats: tuple[str, ...],
    points: int,
    floor: float,
    square: float | None,
    out: Path,
    **inputs: Unpack[Inputs],
) -> None:
    """Write contours, landing points, areas and probabilities in open formats.

    \b
    geojson   landing.geojson: everything
    kml       landing.kml: everything but the squares
    gpx       landing.gpx: pad and mean landing points; outlines as tracks
    csv       about.csv, areas.csv, contours.csv, pieces.csv, points.csv, grid.csv

    \b
    Example:
      driftmap export examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "8 mph from 240" --as kml --as gpx --out today

    Exit codes: those of assess, for the verdict stands in the files.
    """
    from driftmap.cli.output import write_all

    result = assessment_of(inputs)
    files = _written(result, formats, points, _cells(result, floor, square))
    write_all(out, files)
    click.echo(f"{result.verdict.upper()}; written to {out}:")
    for name, text in files.items():
        click.echo(f"  {name}, {len(text.encode()) / 1000:,.0f} kB")
    echo_flight(inputs["asked"])
    ctx.exit(EXIT[result.verdict])


def _cells(result: Assessment, floor: float, side: float | None) -> Cells:
    from driftmap.exports.cells import hit_cells

    with located("--floor and --square", ""):
        return hit_cells(result.cloud, floor=floor, size=side)


def _written(
    result: Assessment, formats: Sequence[str], points: int, cells: Cells
) -> dict[str, str]:
    from driftmap.exports import csvs, geojson, gpx, kml

    files = {}
    if "geojson" in formats:
        files["landing.geojson"] = geojson.geojson_text(
            result, points=points, cells=cells
        )
    if "kml" in formats:
        files["landing.kml"] = kml.kml_text(result, points=points)
    if "gpx" in formats:
        files["landing.gpx"] = gpx.gpx_text(result)
    if "csv" in formats:
        files |= {
            "about.csv": csvs.about_csv(result),
            "areas.csv": csvs.areas_csv(result),
            "contours.csv": csvs.contours_csv(result),
            "pieces.csv": csvs.pieces_csv(result),
            "points.csv": csvs.points_csv(result, points=points),
            "grid.csv": csvs.grid_csv(result, cells=cells),
        }
    return files
