"""The inputs of an assessment as the log keeps them, ready to be assessed again."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from driftmap.air.day import Day
from driftmap.air.turbulence import Convection
from driftmap.air.wind import WindLevel, WindProfile
from driftmap.errors import DriftmapError, InputError
from driftmap.files import toml_of
from driftmap.ground.site import Site, read_site
from driftmap.logbook.entry import Content, Entry
from driftmap.logbook.written import curve_of
from driftmap.rocket.flight import Flight
from driftmap.rocket.flightfile import read_flight
from driftmap.rules import Answers
from driftmap.verdict.assessment import Setup

__all__ = ["Inputs", "inputs_of"]

_DEEP: Final = "inputs/of/one/flight"  # a curve may lie so many folders up
_SETS: Final = ("read", "assumed", "undated", "warned")


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """All that an assessment hangs on."""

    setup: Setup
    wind: WindProfile


def inputs_of(entry: Entry, contents: Mapping[str, Content], source: str) -> Inputs:
    """Read the inputs of an assessment again.

    Parameters
    ----------
    entry : Entry
        The assessment.
    contents : mapping of str to Content
        Contents by digest.
    source : str
        The log, for messages.

    Returns
    -------
    Inputs
        As they were.

    Raises
    ------
    InputError
        If the log does not hold all of them, or they are no longer accepted.
    """
    own = {what: contents[digest] for what, digest in entry.contents.items()}
    where = f"entry {entry.id[:8]}"
    try:
        read = json.loads(own["as read"].data)
        with tempfile.TemporaryDirectory() as folder:
            flight, site = _files(Path(folder), own, read["pad"])
        day = None if read["day"] is None else Day(**read["day"])
        run = int(entry.body["samples"]), int(entry.body["seed"])
        setup = Setup(flight, site, *run, day, _answers(read["answers"]))
        return Inputs(setup, _wind(read["wind"]))
    except DriftmapError as problem:
        told = f"its inputs are no longer accepted: {problem}"
        raise InputError(source, where, told) from None
    except (KeyError, TypeError, ValueError) as problem:
        told = f"does not keep all of its inputs ({type(problem).__name__}: {problem})"
        raise InputError(source, where, told) from None


def _files(
    folder: Path, own: Mapping[str, Content], pad: str | None
) -> tuple[Flight, Site]:
    """Put the files back as they lay beside each other, and read them."""
    place = folder / _DEEP
    place.mkdir(parents=True)
    (place / "flight.toml").write_bytes(own["flight"].data)
    if curve := curve_of(toml_of(place / "flight.toml")):
        beside = (place / curve).resolve()
        if not beside.is_relative_to(folder.resolve()):
            raise ValueError(f"the curve {curve!r} lay too far from the flight file")
        beside.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(own["flight's curve"].data)
    (place / "site.geojson").write_bytes(own["site"].data)
    return read_flight(place / "flight.toml"), read_site(
        place / "site.geojson", pad=pad
    )


def _wind(plain: Mapping[str, Any]) -> WindProfile:
    sets = {name: tuple(plain[name]) for name in _SETS}
    levels = tuple(WindLevel(**level) for level in plain["levels"])
    stirred = plain.get("convection")
    air = None if stirred is None else Convection(**stirred)
    return WindProfile(**{**plain, **sets, "levels": levels, "convection": air})


def _answers(plain: Mapping[str, Any]) -> Answers:
    when = None if plain["when"] is None else datetime.fromisoformat(plain["when"])
    files = tuple((name, digest) for name, digest in plain["files"])
    return Answers(**{**plain, "when": when, "files": files})
