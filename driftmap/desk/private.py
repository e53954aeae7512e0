"""What a desk keeps in its folder for this user alone: its lock, its address, its keys."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import IO, Any, Final

from driftmap.desk.folder import write_whole

_PRIVATE: Final = ".desk"


def remembered(root: Path, what: str) -> dict[str, Any]:
    """Return what the desk keeps for itself; nothing that others may read or wrote."""
    path = root / _PRIVATE / f"{what}.json"
    try:
        found = path.lstat()
        told = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    own = os.name != "posix" or (
        found.st_uid == os.getuid() and not found.st_mode & 0o077
    )
    return told if own and isinstance(told, dict) else {}


def remember(root: Path, what: str, told: dict[str, Any] | None) -> None:
    """Keep something for this user alone; None forgets it."""
    path = root / _PRIVATE / f"{what}.json"
    if told is None:
        path.unlink(missing_ok=True)
    else:
        write_whole(path, json.dumps(told).encode(), 0o600)


def alone(root: Path) -> IO[str] | None:
    """Lock the folder for one desk; None where another holds it. The lock ends with the process."""
    place = root / _PRIVATE
    place.mkdir(mode=0o700, exist_ok=True)
    held = (place / "open").open("a")
    try:
        _lock_of(held)
    except OSError:
        held.close()
        return None
    return held


def _lock_of(file: IO[str]) -> None:
    """Lock a file until it is closed, however that comes."""
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl  # noqa: PLC0415

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
