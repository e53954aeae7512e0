"""The desk's folder: plain files, written whole or not at all, the last ten kept.

Nothing outside the folder is read or written, and nobody's change is lost: who writes
says which version was changed, and is refused when another stands there by now.
"""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Callable, Collection, Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import RLock
from typing import Any, Final, TypeVar

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError

from driftmap.core.errors import InputError
from driftmap.core.files import parse_toml

KEPT: Final = 10
"""Versions of each file that can be had back."""

_T = TypeVar("_T")

_HISTORY: Final = ".versions"
_TOP: Final = ("site.geojson", "day.toml", "answers.toml", "log.sqlite")
ROOMS: Final = {
    "flights": (".toml", ".csv"),
    "winds": (".json", ".csv", ".txt", ".gpx", ".nmea", ".log", ".dat"),
    "answers": (".toml",),
    "outcomes": (".toml",),
    "pictures": (".png", ".jpg", ".jpeg"),
}
"""Rooms of the folder and what may lie in them."""

_NAME: Final = re.compile(r"[^\W_][^/\\:*?\"<>|\x00-\x1f\x7f]{0,79}")
_NONE: Final = ".none"  # stands for a file that was not there


def _of_a_system(name: str) -> bool:
    """Return whether computers leave such a file by themselves, out of sight."""
    return name[0] == "." or name.lower() in {"desktop.ini", "thumbs.db", "icon\r"}


class ConflictError(Exception):
    """Somebody else changed the file in the meantime."""


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder of the desk."""

    root: Path
    _lock: RLock = field(default_factory=RLock, repr=False, compare=False)
    _seen: dict[str, tuple[tuple[int, ...], str]] = field(
        default_factory=dict, repr=False, compare=False
    )
    _read: dict[Hashable, tuple[str, Any]] = field(
        default_factory=dict, repr=False, compare=False
    )
    refused: dict[str, str] = field(default_factory=dict, repr=False, compare=False)
    """Why the disk took no change of a file, until it takes one; of winds by their room."""

    def path(self, name: str) -> Path:
        """Return the path of a file by its name in the folder; refuse any other."""
        room, _, rest = name.rpartition("/")
        known = name in _TOP if not room else room in ROOMS
        if room and known:
            known = bool(_NAME.fullmatch(rest)) and rest.lower().endswith(ROOMS[room])
        if not known:
            raise InputError(name, "", "is no file of the desk's folder")
        path = self.root / name
        if path.is_symlink() or path.parent.is_symlink():
            raise InputError(name, "", "leads out of the folder: it is a link")
        return path

    def plain(self, problem: object) -> str:
        """Tell a problem without the path of the folder."""
        return str(problem).replace(f"{self.root}/", "")

    def need(self, name: str) -> str:
        """Name the version of a file that must be there."""
        if not (found := self.revision(name)):
            raise InputError(name, "", "is not in the folder")
        return found

    def names(self, room: str) -> list[str]:
        """List the files of one room, in order of their names."""
        place = self.root / room
        if not place.is_dir() or place.is_symlink():
            return []
        found = (f"{room}/{path.name}" for path in place.iterdir())
        return sorted(name for name in found if self._usable(name))

    def written(self, room: str) -> list[str]:
        """List the files of one room, those too that were written and are gone."""
        kept = (self.root / _HISTORY).glob(f"{room}__*")
        before = {path.name.replace("__", "/", 1) for path in kept}
        return sorted({*self.names(room), *before})

    def free(
        self, room: str, stem: str, suffix: str, taken: Collection[str] = ()
    ) -> str:
        """Name a file that is not there yet, after what people call it."""
        stem = "-".join(re.findall(r"\w+", stem))[:40].strip("_") or "own"
        tries = (f"{room}/{stem}{f'-{i}' if i else ''}{suffix}" for i in range(1000))
        return next(n for n in tries if n not in taken and not self.revision(n))

    def unread(self, room: str) -> list[str]:
        """List what lies in a room and is not taken: for its name or ending, as a link or folder."""
        place = self.root / room
        if not place.is_dir():
            return []
        here = (p.name for p in place.iterdir() if not _of_a_system(p.name))
        found = {f"{room}/{name}" for name in here}
        return sorted(found - set(self.names(room)))

    def _usable(self, name: str) -> bool:
        try:
            return self.path(name).is_file()
        except InputError:
            return False

    def read(self, name: str) -> bytes | None:
        """Read a file; None where there is none."""
        try:
            return self.path(name).read_bytes()
        except FileNotFoundError:
            return None

    def text(self, name: str) -> str | None:
        """Read a file as text; None where there is none."""
        data = self.read(name)
        try:
            return None if data is None else data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError(name, "", "is not text (UTF-8)") from None

    def tables(self, name: str) -> dict[str, Any]:
        """Read a file of tables; empty where there is none."""
        return parse_toml(self.text(name) or "", name)

    def document(self, name: str, default: str = "") -> TOMLDocument:
        """Read a file of tables to be written again, its remarks and order kept."""
        try:
            return tomlkit.parse(self.text(name) or default)
        except (TOMLKitError, RecursionError) as problem:
            text = " ".join(str(problem).split())
            raise InputError(name, "", f"is not TOML: {text}") from None

    def revision(self, name: str) -> str:
        """Name the version of a file that stands there now; empty where there is none."""
        path = self.path(name)
        key = stamp(path)
        if not key:
            return ""
        known = self._seen.get(name)
        if known is None or known[0] != key:
            digest = hashlib.sha256(path.read_bytes()).hexdigest()[:20]
            known = self._seen[name] = (key, digest)
        return known[1]

    def once(self, name: str, what: Hashable, read: Callable[[], _T]) -> _T:
        """Read something of a file as it stands, once for each version of it."""
        revision = self.revision(name)
        known = self._read.get((name, what))
        if known is None or known[0] != revision:
            known = self._read[name, what] = (revision, read())
        found: _T = known[1]
        return found

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep other windows from writing while one file follows from another."""
        with self._lock:
            yield

    @contextmanager
    def _writing(self, name: str) -> Iterator[None]:
        """Keep other windows from writing, and in mind whether the disk took the change."""
        # A wind told again is another file; a picture bears on no word.
        room = name.partition("/")[0]
        about = room if room == "winds" else name
        with self._lock:
            try:
                yield
            except OSError as problem:
                if room != "pictures":
                    self.refused[about] = problem.strerror or str(problem)
                raise
            self.refused.pop(about, None)

    def write(self, name: str, data: bytes, base: str | None) -> str:
        """Write a file whole, its version before kept; give its new version.

        ``base``: the version that was changed; None where there is nothing to conflict
        with. Raises `ConflictError` if another stands there by now: nothing is written.
        """
        path = self.path(name)
        with self._writing(name):
            if base is not None and self.revision(name) != base:
                raise ConflictError(name)
            before = self.read(name)
            if before != data:
                self._push(name, "undo", before)
                self._clear(name, "redo")
                write_whole(path, data)
            return self.revision(name)

    def lay_aside(self, name: str, data: bytes) -> None:
        """Keep a version that gave way to the one that stands: "redo" brings it back."""
        with self._lock:
            self._push(name, "redo", data)

    def step(self, name: str, way: str, base: str | None = None) -> str:
        """Go back to the version before ("undo"), or forth again ("redo").

        ``base``: as of `write`: nobody takes back what he has not seen.
        """
        other = {"undo": "redo", "redo": "undo"}[way]
        with self._writing(name):
            if base is not None and self.revision(name) != base:
                raise ConflictError(name)
            now = self.read(name)
            while kept := self._stack(name, way):
                version = None if kept[-1].suffix == _NONE else kept[-1].read_bytes()
                if version == now:  # a kill between the two steps of a write
                    kept[-1].unlink()
                    continue
                self._push(name, other, now)
                if version is None:
                    self.path(name).unlink(missing_ok=True)
                else:
                    write_whole(self.path(name), version)
                kept[-1].unlink(missing_ok=True)
                return self.revision(name)
        raise InputError(name, "", f"has nothing to {way}")

    def _place(self, name: str, way: str) -> Path:
        return self.root / _HISTORY / name.replace("/", "__") / way

    def _stack(self, name: str, way: str) -> list[Path]:
        place = self._place(name, way)
        if not place.is_dir():
            return []
        return sorted(p for p in place.iterdir() if p.stem.isdigit())

    def _push(self, name: str, way: str, data: bytes | None) -> None:
        stack = self._stack(name, way)
        number = int(stack[-1].stem) + 1 if stack else 1
        suffix = _NONE if data is None else ".file"
        write_whole(self._place(name, way) / f"{number:06d}{suffix}", data or b"")
        for old in stack[: max(0, len(stack) + 1 - KEPT)]:
            old.unlink(missing_ok=True)

    def _clear(self, name: str, way: str) -> None:
        for old in self._stack(name, way):
            old.unlink(missing_ok=True)


def stamp(path: Path) -> tuple[int, ...]:
    """Mark a version of a file, also apart from an equal one before it; empty without a file.

    A file's own time may be set back by hand, that of its change may not.
    """
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return ()
    return found.st_ino, found.st_mtime_ns, found.st_ctime_ns, found.st_size


def write_whole(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Put a file in its place in one step, synced to the disk before it counts as written."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, waiting = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(waiting).chmod(mode)
        Path(waiting).replace(path)
    finally:
        Path(waiting).unlink(missing_ok=True)
    if os.name == "posix":
        place = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(place)
        finally:
            os.close(place)
