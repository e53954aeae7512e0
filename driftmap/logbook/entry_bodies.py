"""An assessment or an outcome as an entry, and its inputs read again."""

from __future__ import annotations

import contextlib
import json
import math
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from driftmap.air.wind import MAST, WindProfile, reported_at, surface_wind
from driftmap.core.errors import DriftmapError, InputError, located, nearest, quoted
from driftmap.core.files import bytes_of, toml_of
from driftmap.core.units import bounded
from driftmap.ground.projection import to_local
from driftmap.ground.site import FARTHEST_PLACE, read_site
from driftmap.logbook.entry import Content, Entry, canonical, new_entry
from driftmap.rocket.bodies import Bench
from driftmap.rocket.flight import Flight
from driftmap.rocket.flightfile import read_flight
from driftmap.verdict.assessment import Assessment
from driftmap.verdict.document import as_read, document, forecast, read_again
from driftmap.verdict.setup import Setup

_LARGEST: Final = 20_000_000  # bytes of an input
_LARGEST_PHOTOGRAPH: Final = 500_000_000

TEXTS: Final = ("decided_by", "case", "device", "wind_read", "notes", "flight", "time")
"""Keys of an outcome that hold text."""
_KEYS: Final = (*TEXTS, "flew", "found", "photographs")
_FOUND_KEYS: Final = ("piece", "at", "error", "state")


def assessment_entry(
    assessment: Assessment,
    inputs: Mapping[str, Content],
    *,
    when: str | None = None,
    kinds: Sequence[str] = (),
) -> tuple[Entry, list[Content]]:
    """Make the entry of an assessment.

    ``assessment``: as it was given; ``inputs``: those of `kept_inputs`; ``when``: time of
    the flight (ISO 8601); ``kinds``: what kinds of source the wind came from.

    Result: verdict, checks, the forecast of every piece, and the digests of the inputs.
    """
    told = document(assessment)
    as_it_was_read = canonical(as_read(assessment)).encode()
    contents = {**inputs, "as read": Content("read.json", as_it_was_read)}
    site, wind = assessment.site, assessment.wind
    direction = float(reported_at(wind, MAST)[0])
    near = {"speed_mps": surface_wind(wind)[0], "gust_above_mps": wind.gust}
    if not math.isnan(direction):  # from anywhere
        near["from_rad"] = direction
    body = {
        **{key: told[key] for key in ("verdict", "flight", "site", "wind", "seed")},
        **{key: told[key] for key in ("samples", "version", "inputs", "checks")},
        "place": [site.latitude, site.longitude],
        "when": when,
        "wind_age_h": wind.age,
        "wind_kinds": sorted(set(kinds)),
        "wind_10_m": near,
        "devices": [device.name for device in assessment.flight.devices],
        "drag_areas": _drag_areas(assessment.flight),
        "likelihoods": {c.cause: c.likelihood for c in assessment.cloud.tree.cases},
        "forecast": forecast(assessment.cloud),
    }
    digests = {name: content.digest for name, content in contents.items()}
    return new_entry("assessment", body, contents=digests), list(contents.values())


def _drag_areas(flight: Flight) -> dict[str, float]:
    """Return the drag area that each device is flown with [m²], to four digits."""
    bench, told = Bench(flight), {}
    for device in flight.devices:
        area, name = bench.cloth(device)
        told[device.name] = float(f"{area * bench.spreads[name].middle:.4g}")
    return told


def kept_inputs(files: Mapping[str, Sequence[str]]) -> dict[str, Content]:
    """Keep inputs as typed, before anything is flown: files may be saved anew meanwhile.

    ``files``: names of input files, or words, by what they are: flight, site, wind, answers.
    """
    kept: dict[str, Content] = {}
    for what, texts in files.items():
        for number, text in enumerate(texts, 1):
            name = what if len(texts) == 1 else f"{what} {number}"
            kept[name] = _content(text)
    for text in files.get("flight", ()):
        with contextlib.suppress(InputError):  # whoever reads it tells what is wrong
            kept |= flight_contents(Path(text))
    return kept


def flight_contents(path: Path) -> Iterator[tuple[str, Content]]:
    """Go through a flight file and the curves or the record that it names."""
    yield "flight", _content(str(path))
    for what, curve in curves_of(toml_of(path)):
        yield what, _content(str(path.parent / curve))


def curves_of(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """List the curves or the record beside a flight file, and what the log calls them."""
    for table in ("", "sustainer", "air_start"):
        part = data.get(table) if table else data
        of = f" of the {table.replace('_', ' ')}" if table else ""
        for motor, key in (("motor", "thrust_curve"), ("measured", "curve")):
            own = part.get(motor) if isinstance(part, dict) else None
            if isinstance(own, dict) and isinstance(own.get(key), str):
                yield f"flight's curve{of}", str(own[key])


def _content(text: str) -> Content:
    path = Path(text)
    try:
        there = path.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        return Content("words", text.encode())
    return Content(path.name, bytes_of(path, most=_LARGEST))


def outcome_body(path: Path, photographs: Sequence[Path]) -> dict[str, Any]:
    """Read what came of a flight from a TOML file.

    ``path``: the file; see the guide; ``photographs``: kept by name and digest; the
    pictures themselves stay where they are.

    Raises `InputError`, one line that names the key and what is accepted.
    """
    source, data = str(path), toml_of(path)
    for key in data:
        if key not in _KEYS:
            text = f"is no key here; accepted: {', '.join(_KEYS)}"
            raise InputError(source, key, text)
    wanted = (*TEXTS, "flew")
    body: dict[str, Any] = {key: data[key] for key in wanted if key in data}
    for key, value in body.items():
        if key == "flew" and not isinstance(value, bool):
            raise InputError(source, "flew", "must be true or false")
        if key != "flew" and (not isinstance(value, str) or len(value) > 4000):
            raise InputError(source, key, "must be text of at most 4000 characters")
        if key not in {"flew", "notes"} and not value.isprintable():
            raise InputError(source, key, "must be one line of plain text")
    if not _is_time(body.get("time")):
        text = "must be a date and time with its zone, such as '2026-06-13T12:15-07:00'"
        raise InputError(source, "time", text)
    found = data.get("found", [])
    if not isinstance(found, list):
        raise InputError(source, "found", "must be tables, written [[found]]")
    body["found"] = [_find(source, f"found {i}", f) for i, f in enumerate(found, 1)]
    body["photographs"] = [
        {
            "name": photo.name,
            "sha256": Content("", bytes_of(photo, most=_LARGEST_PHOTOGRAPH)).digest,
        }
        for photo in photographs
    ]
    return body


def _is_time(text: str | None) -> bool:
    try:
        return text is None or datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False


_ODD: Final = 2.0
"""A find so many times as far from the pad as any landing foretold is told of; assumed."""


def unlike(body: Mapping[str, Any], assessed: Entry, source: str) -> list[str]:
    """Say what of an outcome no review can hold beside its assessment.

    A find far from the pad is refused: its latitude and longitude are turned about, or it
    belongs to another flight.
    """
    if assessed.kind != "assessment":
        raise InputError(source, "", f"entry {assessed.id[:8]} is no assessment")
    told = []
    if body["found"] and not body.get("flew", True):
        told.append("what is found of a flight that did not fly counts for no landing")
    told += _another_flight(body, assessed)
    return [*told, *_odd_places(body, assessed, source), *_odd_names(body, assessed)]


_APART: Final = timedelta(hours=6)  # of an outcome from its assessment's hour; assumed


def _another_flight(body: Mapping[str, Any], assessed: Entry) -> Iterator[str]:
    """Say where an outcome tells another flight, or another time, than its assessment."""
    name, judged = body.get("flight"), assessed.body.get("flight")
    if name and judged and name != judged:
        yield f"it is of {quoted(name)}, and that assessment of {quoted(judged)}"
    flown, when = body.get("time"), assessed.body.get("when")
    if flown and when:
        one, other = map(datetime.fromisoformat, (flown, when))
        if None not in (one.tzinfo, other.tzinfo) and abs(one - other) > _APART:
            yield f"it flew at {flown}, and that assessment is for {when}"


def near_by(body: Mapping[str, Any], place: Sequence[float], source: str) -> None:
    """Refuse a find far from the pad: its latitude and longitude are turned about, or lack a sign.

    ``place``: latitude and longitude of the pad [deg].
    """
    for number, find in enumerate(body["found"], 1):
        if (away := _away(find, place)) > FARTHEST_PLACE:
            far = (
                f"lies {away / 1000:,.0f} km from the pad; must be within "
                f"{FARTHEST_PLACE / 1000:g} km, as [latitude, longitude]"
            )
            raise InputError(source, f"found {number}, at", far)


def _away(find: Mapping[str, Any], place: Sequence[float]) -> float:
    """Tell how far from the pad a find lies [m]."""
    east, north = to_local((place[1], place[0]), find["at"][1], find["at"][0])
    return math.hypot(float(east), float(north))


def _odd_places(body: Mapping[str, Any], assessed: Entry, source: str) -> Iterator[str]:
    """Name finds far from any landing foretold; refuse one far from the pad."""
    if "place" not in assessed.body:
        return
    near_by(body, assessed.body["place"], source)
    points = (
        p for pieces in _forecast(assessed) for each in pieces.values() for p in each
    )
    farthest = max((math.hypot(*point) for point in points), default=0.0)
    for number, find in enumerate(body["found"], 1):
        away = _away(find, assessed.body["place"])
        if farthest and away > _ODD * farthest:
            yield (
                f"found {number} lies {away / 1000:.1f} km from the pad, and no landing was "
                f"foretold beyond {farthest / 1000:.1f} km: look at its digits again"
            )


def _odd_names(body: Mapping[str, Any], assessed: Entry) -> Iterator[str]:
    """Name case, pieces and device that the assessment knows nothing of."""
    known = {c["case"] for c in assessed.body.get("forecast", [])}
    known |= set(assessed.body.get("likelihoods", {}))
    if known and (case := body.get("case")) and case not in known:
        yield (
            f"no case of that flight is {quoted(case)}: review counts it for none; "
            f"{nearest(case, sorted(known))}"
        )
    devices = assessed.body.get("devices", [])
    landed = {name for pieces in _forecast(assessed) for name in pieces}
    for piece in dict.fromkeys(find["piece"] for find in body["found"]):
        if landed and piece not in (pieces := {*landed, *devices}):
            near = nearest(piece, sorted(pieces))
            yield f"no piece of that flight is {quoted(piece)}; {near}"
    if devices and (device := body.get("device")) and device not in devices:
        near = nearest(device, devices)
        yield f"no device of that flight is {quoted(device)}; {near}"


def _forecast(assessed: Entry) -> list[dict[str, Any]]:
    """Return the landings foretold of each case, by piece."""
    return [case.get("pieces", {}) for case in assessed.body.get("forecast", [])]


def _find(source: str, where: str, data: object) -> dict[str, Any]:
    if not isinstance(data, dict) or not set(data) <= set(_FOUND_KEYS):
        raise InputError(source, where, f"must have only {', '.join(_FOUND_KEYS)}")
    at = data.get("at")
    pair: list[Any] = at if isinstance(at, list) and len(at) == 2 else [None]
    numbers = all(type(v) in {int, float} for v in pair)
    if not (numbers and abs(pair[0]) <= 90 and abs(pair[1]) <= 180):
        text = f"must be [latitude, longitude] (got {at!r})"
        raise InputError(source, f"{where}, at", text)
    piece, state = data.get("piece", "rocket"), data.get("state", "")
    if not all(isinstance(v, str) and v.isprintable() for v in (piece, state)):
        raise InputError(source, where, "piece and state must be text of one line")
    with located(source, f"{where}, error"):
        error = bounded(data.get("error", 5.0), "length", 0.1, 5000)
    at = [float(v) for v in pair]
    return {"piece": piece, "at": at, "error_m": error, "state": state}


_DEEP: Final = "inputs/of/one/flight"  # a curve may lie so many folders up


def inputs_of(
    entry: Entry, contents: Mapping[str, Content], source: str
) -> tuple[Setup, WindProfile]:
    """Read all that an assessment depends on again.

    ``source``: the log, for messages.

    Raises `InputError` if the log does not hold all of them, or they are no longer
    accepted.
    """
    own = {what: contents[digest] for what, digest in entry.contents.items()}
    where = f"entry {entry.id[:8]}"
    try:
        read = json.loads(own["as read"].data)
        with tempfile.TemporaryDirectory() as folder:
            path = put_back(Path(folder), own)
            field = path.with_name("site.geojson")
            field.write_bytes(own["site"].data)
            flight, site = read_flight(path), read_site(field, pad=read["pad"])
        run = int(entry.body["samples"]), int(entry.body["seed"])
        return read_again(flight, site, *run, read)
    except DriftmapError as problem:
        text = f"its inputs are no longer accepted: {problem}"
        raise InputError(source, where, text) from None
    except (KeyError, TypeError, ValueError) as problem:
        text = f"does not keep all of its inputs ({type(problem).__name__}: {problem})"
        raise InputError(source, where, text) from None


def put_back(folder: Path, own: Mapping[str, Content]) -> Path:
    """Put a flight file into a folder, and its curves as they lay beside it."""
    path = folder / _DEEP / "flight.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(own["flight"].data)
    for what, curve in curves_of(toml_of(path)):
        beside = (path.parent / curve).resolve()
        if not beside.is_relative_to(folder.resolve()):
            raise ValueError(f"the curve {curve!r} lay too far from the flight file")
        beside.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(own[what].data)
    return path
