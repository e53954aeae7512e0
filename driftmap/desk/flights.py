"""Flight files changed by their forms: key by key, with the flier's own comments left alone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from driftmap.core.errors import DriftmapError, InputError, SiteError
from driftmap.core.files import parse_toml
from driftmap.desk.folder import Folder
from driftmap.ground.site import read_site
from driftmap.rocket.altimeter_record import read_record
from driftmap.rocket.case import Case
from driftmap.rocket.cases import build_cases
from driftmap.rocket.curvefile import read_curve
from driftmap.rocket.flight import Flight
from driftmap.rocket.flightfile import read_flight
from driftmap.rocket.likelihood import LIKELIHOOD
from driftmap.verdict.limits import LIMITS, read_limits

_MANY: Final = ("recovery", "piece", "case", "alternative")
_MOST: Final = 20
_DEEPEST: Final = 6  # alternative, 2, recovery, 1, strength, cord
_LONGEST_NAME: Final = 120
_KEY: Final = re.compile(r"[a-z_]{1,40}")


def flight_shown(folder: Folder, name: str) -> dict[str, Any]:
    """Show a flight file: its text, its values as written, and what is wrong with it.

    Result: text, version, values by table and key, what is wrong and where, and the
    curves that lie beside it.
    """
    with folder.held():
        text, revision = folder.text(name), folder.revision(name)
    if text is None:
        raise InputError(name, "", "is not in the folder")
    try:
        values = parse_toml(text, name)
    except InputError as problem:
        told = {"values": {}, "problem": str(problem), "faults": []}
    else:
        told = {"values": values, **_problem(folder, name)}
    curves = [
        n.partition("/")[2] for n in folder.names("flights") if n.endswith(".csv")
    ]
    return {
        "file": name,
        "text": text,
        "revision": revision,
        "curves": curves,
        "names": _names(folder, name),
        **told,
    }


def cases_of(folder: Folder, name: str) -> tuple[Case, ...]:
    """List all that can happen to the flight of a file."""
    return build_cases(read_flight(folder.path(name))).cases


def _names(folder: Folder, name: str) -> dict[str, list[str]]:
    """Name the limits a flight may tighten, and the cases it may give a likelihood."""
    try:
        cases = cases_of(folder, name)
    except DriftmapError:
        return {"limits": list(LIMITS), "cases": []}
    # Cases of one cause share its likelihood; those of the flier's own bear theirs.
    causes = dict.fromkeys(case.cause for case in cases if case.cause in LIKELIHOOD)
    return {"limits": list(LIMITS), "cases": list(causes)}


def _problem(folder: Folder, name: str) -> dict[str, Any]:
    """Tell what is wrong with a flight in a line, and of each place by itself."""
    try:
        cases_of(folder, name)
        _check_limits(folder, read_flight(folder.path(name)))
    except DriftmapError as problem:
        each = getattr(problem, "each", ())
        return {"problem": folder.plain(problem), "faults": each}
    return {"problem": "", "faults": []}


def _check_limits(folder: Folder, flight: Flight) -> None:
    """Refuse own limits that are none, or looser than those of the field, if it is drawn."""
    if not flight.limits:
        return
    try:
        site = read_site(folder.path("site.geojson"))
    except (DriftmapError, OSError):
        return  # the field tells its own faults
    with suppress(SiteError):
        read_limits(flight, site)


def changed(
    folder: Folder, name: str, base: str, path: Sequence[str | int], value: Any
) -> str:
    """Change one key of a flight file; None takes it away, and a table with it.

    ``base``: the version that was shown; ``path``: where the key stands: ``["recovery",
    0, "diameter"]``; a number one past the last begins a new table; ``value``: what it
    is to hold.
    """
    try:
        document = folder.document(name)
        _put(document, list(path), value)
        text = tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError, AttributeError) as problem:
        raise InputError(
            name, ".".join(map(str, path)), f"cannot be set: {problem}"
        ) from None
    parse_toml(text, name)  # what is written can always be read again
    return folder.write(name, text.encode(), base)


def _put(document: Any, path: list[str | int], value: Any) -> None:
    _check(path)
    place, above = document, (document, path[0])
    for here, after in zip(path, path[1:], strict=False):
        above = (place, here)
        place = _step(place, here, after, make=value is not None)
        if place is None and value is None:
            return
        if place is None:
            raise IndexError("there is no such table yet")
    last = path[-1]
    if value is None:
        _take_away(above, place, last)
    elif isinstance(place, list | AoT) and isinstance(last, int):
        place.append(tomlkit.table())
    else:
        place[last] = value


def _check(path: Sequence[str | int]) -> None:
    good = 1 <= len(path) <= _DEEPEST and isinstance(path[0], str)
    for part in path:
        if path[0] == "cases" and len(path) == 2 and isinstance(part, str):
            good &= part.isprintable() and 0 < len(part) <= _LONGEST_NAME
        elif isinstance(part, str):
            good &= bool(_KEY.fullmatch(part))
        else:
            good &= isinstance(part, int) and 0 <= part < _MOST
    if not good:
        raise InputError("path", "", "is no place in a flight file")


def _step(place: Any, here: str | int, after: str | int, *, make: bool) -> Any:
    """Go one table down, and make it where it is to hold something."""
    if isinstance(here, int):
        if here == len(place) and make:
            place.append(tomlkit.table())
        return place[here] if here < len(place) else None
    if here not in place:
        if not make:
            return None
        kinds = {**dict.fromkeys(_MANY, tomlkit.aot), "strength": tomlkit.inline_table}
        place[here] = kinds.get(here, tomlkit.table)()
    return place[here]


def _take_away(above: tuple[Any, str | int], place: Any, last: str | int) -> None:
    """Take a key or a row out, and with its last row a list."""
    if isinstance(last, int):
        del place[last]
        if len(place) == 0:
            del above[0][above[1]]
    elif last in place:
        del place[last]


def text_taken(folder: Folder, name: str, base: str, text: str) -> str:
    """Take the whole text of a flight file, edited by hand."""
    parse_toml(text, name)
    return folder.write(name, text.encode(), base)


def new_flight_file(folder: Folder, rocket: str, like: str = "") -> str:
    """Begin a flight file with a name; the six questions follow.

    ``like``: a file to copy under that name, to see what if.
    """
    rocket = rocket.strip()
    if not rocket or len(rocket) > 80 or not rocket.isprintable():
        raise InputError("name", "", "must be text of 1 to 80 characters")
    with folder.held():
        if like:
            folder.need(like)
            document = folder.document(like)
        else:
            document = tomlkit.parse("# Written at the desk.\n")
        document["name"] = rocket
        name = folder.free("flights", rocket.lower(), ".toml")
        folder.write(name, tomlkit.dumps(document).encode(), "")
    return name


def curve_taken(folder: Folder, given: str, text: str) -> str:
    """Take a motor's curve, or an altimeter's record, as a file beside the flights."""
    stem = Path(given.replace("\\", "/")).stem or "curve"
    try:
        read_curve(text, given)
    except DriftmapError as problem:
        try:
            read_record(text, given)
        except DriftmapError:
            raise problem from None
    with folder.held():
        name = folder.free("flights", stem.lower(), ".csv")
        folder.write(name, text.encode(), "")
    return name.partition("/")[2]
