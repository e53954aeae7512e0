"""``driftmap explain``: which case fits what was found."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Literal, Unpack

import click

from driftmap.cli.observed import Inputs, observed, read_observed
from driftmap.cli.options import units_option
from driftmap.cli.output import json_text

if TYPE_CHECKING:
    from driftmap.explain.evidence import Explanation

__all__ = ["explain_command"]


class _Options(Inputs):
    """What the options of ``explain`` alone hand over, beside those of `observed`."""

    units: Literal["us", "si"]
    as_json: bool


@click.command("explain")
@observed(
    "--found",
    "Where pieces lay and what was seen (TOML), as for driftmap search.",
    required=True,
)
@units_option
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def explain_command(**options: Unpack[_Options]) -> None:
    """Say which case fits what was found, how surely, and what would settle it.

    \b
    Example:
      driftmap explain examples/willet.toml --site sites/saltgrass-flat.geojson \\
          --wind "14 mph from 230" --found examples/found.toml

    An aid to thought: it knows only the cases of the flight file, and says so when none of
    them explains what was found.
    """
    from driftmap.explain.evidence import explain
    from driftmap.explain.fit import fit_of
    from driftmap.observations.flown import flown_cases
    from driftmap.observations.observation import FAR

    far = FAR[options["units"]]
    seen = read_observed(options)
    cloud = seen.flown(options)
    known = seen.weighed(options, cloud)
    result = explain(known, fit_of(flown_cases(cloud, seen.wind), seen.told), far)
    notes = seen.notes(known)
    if options["as_json"]:
        told = {
            **asdict(result),
            "notes": notes,
            "doubted": [d.says(far) for d in known.doubted],
        }
        click.echo(json_text(told))
        return
    click.echo(_text(result))
    for doubt in known.doubted:
        click.echo(
            f"AT ODDS with everything flown, taken as a mistake: {doubt.says(far)}"
        )
    click.echo("\nAssumed:")
    for note in notes:
        click.echo(f"  {note}")


def _text(result: Explanation) -> str:
    from driftmap.observations.toward import ENOUGH

    lines = []
    if not result.explained:
        lines += [
            "!! NONE OF THE CASES EXPLAINS THIS: each would show something so odd in fewer",
            "!! than 1 flight of 100. The chances below only compare cases that do not fit.",
            "",
        ]
    lines += ["Chance    before    fit     case"]
    lines += [
        f"{100 * s.after:6.1f} %  {100 * s.before:6.1f} %  "
        f"{'odd' if s.fit < 0.01 else f'{s.fit:.2f}':6}  {s.case}"
        f"{f'  (± {100 * s.error:.1f} %)' if s.error > 0.01 else ''}"
        for s in result.shares
        if s.after >= 0.0005 or s.before > 0.5
    ]
    for title, sentences in (
        ("What each thing says", result.evidence),
        ("How surely they are told apart", result.apart),
        ("What would settle it", result.advice),
    ):
        if sentences:
            lines += ["", f"{title}:", *(f"  {text}" for text in sentences)]
    few = "" if result.effective >= ENOUGH else " - FEW: read the chances as rough"
    rests = f"\nRests on {result.effective:,.0f} effective flights{few}."
    return "\n".join([*lines, rests])
