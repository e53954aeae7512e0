"""The user's own picture under the field's map: taken in, kept in the folder, laid by known points."""

from __future__ import annotations

import base64
import binascii
from pathlib import Path
from typing import Any

from driftmap.core.errors import InputError
from driftmap.core.files import parse_json
from driftmap.desk.folder import Folder
from driftmap.ground.georeference import open_picture, read_picture
from driftmap.ground.projection import to_local


def picture_taken(folder: Folder, given: str, data: str) -> str:
    """Keep a picture that was sent; nothing stays of what is none."""
    try:
        content = base64.b64decode(data, validate=True)
    except (ValueError, binascii.Error):
        raise InputError("picture", "", "was not sent whole") from None
    path = Path(given.replace("\\", "/"))
    with folder.held():
        name = folder.free("pictures", path.stem, path.suffix.lower())
        folder.write(name, content, "")
    try:
        open_picture(folder.path(name)).close()
    except ValueError as problem:
        folder.path(name).unlink(missing_ok=True)
        raise InputError("picture", "", str(problem)) from None
    return name


def check_picture(folder: Folder, tree: dict[str, Any]) -> None:
    """Refuse a site whose picture lies elsewhere than in the folder."""
    told = tree.get("picture")
    name = told.get("file") if isinstance(told, dict) else None
    if told is not None and not (isinstance(name, str) and folder.revision(name)):
        raise InputError("picture", "file", "must be one of the folder's pictures")


def picture_place(folder: Folder, text: str | None) -> dict[str, Any] | None:
    """Say where the picture of a site lies, for the map to draw; None where there is none."""
    try:
        tree: Any = parse_json(text or "{}", "site")
        pads = [
            f["geometry"]["coordinates"]
            for f in tree.get("features", [])
            if f["properties"].get("role") == "pad"
        ]
        if not pads or "picture" not in tree:
            return None
        pad = (float(pads[0][0]), float(pads[0][1]))
        check_picture(folder, tree)
        found = read_picture(
            tree["picture"], folder.root, lambda *at: to_local(pad, *at)
        )
    except (InputError, ValueError) as problem:
        return {"problem": str(problem)}
    except (KeyError, TypeError, IndexError, AttributeError):
        return None  # a site that is no site yet; what is wrong in it is told elsewhere
    return {
        "file": tree["picture"]["file"],
        "east": list(found.east),
        "north": list(found.north),
        "error": found.error,
    }
