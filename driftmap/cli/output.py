"""What commands write: whole files, JSON, progress, and text free of control characters."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Final, TextIO

import click

from driftmap.core.errors import visible

EXIT: Final = {"go": 0, "hold": 3, "no-go": 4}
"""Exit code of every command that reaches a verdict."""

BAD_INPUT: Final = 2

_EVERY: Final = 60.0  # s between lines where standard error is no terminal
_OFTEN: Final = 0.5  # s between two looks of a line that is written over


def write_all(folder: Path, files: Mapping[str, str]) -> None:
    """Write text files into a folder, which is made, each whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    waiting: list[tuple[str, Path]] = []
    try:
        for name, text in files.items():
            handle, temporary = tempfile.mkstemp(dir=folder, prefix=f".{name}.")
            waiting.append((temporary, folder / name))
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
        mask = os.umask(0)
        os.umask(mask)
        for temporary, target in waiting:
            Path(temporary).chmod(0o666 & ~mask)
            Path(temporary).replace(target)
    except OSError as problem:  # a full disk tells no name
        raise OSError(problem.errno, problem.strerror, str(folder / name)) from None
    finally:
        for temporary, _ in waiting:
            Path(temporary).unlink(missing_ok=True)


def json_text(data: object, *, indent: int | None = 1) -> str:
    """Write JSON for people and programs, control characters as escapes."""
    text = json.dumps(data, indent=indent, allow_nan=False, ensure_ascii=False)
    steering = (c for c in set(text) if visible(c, keep="\n") != c)
    escapes = {ord(c): f"\\u{ord(c):04x}" for c in steering}
    return text.translate(escapes) if escapes else text


class Plain(io.TextIOWrapper):
    """A stream that shows the control characters in names and files in place of obeying them."""

    _keep = ""

    @classmethod
    def of(cls, stream: TextIO | None, *, keep: str) -> TextIO:
        """Wrap a stream; one without a buffer beneath it is left as it is.

        Where there is none, as when a shell has closed it, nobody reads.
        """
        if stream is None:
            return Path(os.devnull).open("w", encoding="utf-8")
        buffer = getattr(stream, "buffer", None)
        if buffer is None:
            return stream
        stream.flush()
        plain = cls(
            buffer,
            encoding=stream.encoding,
            errors="replace",  # a screen without a letter still shows the line
            line_buffering=stream.isatty(),
            write_through=True,
        )
        plain._keep = keep
        return plain

    def write(self, text: str) -> int:
        """Write a text, each control in it as a picture."""
        with self._unread():
            super().write(visible(text, keep=self._keep))
        return len(text)

    def flush(self) -> None:
        """Hand on what waits."""
        with self._unread():
            super().flush()

    @contextlib.contextmanager
    def _unread(self) -> Iterator[None]:
        """Go on where the reader has closed the pipe.

        The files are still written, and the exit code still tells the verdict.
        """
        try:
            yield
        except BrokenPipeError:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self.fileno())
            os.close(nowhere)


class Progress:
    """Say on standard error how far long work is, and how long it will take.

    Nothing is said in the first second. A terminal shows one line that is written over;
    elsewhere a line comes each minute.

    Parameters
    ----------
    what : str
        What is counted.
    total : int, optional
        All of it; where it is not known beforehand, each call says what is left.
    meanwhile : callable, optional
        What this process may do once the work is under way in others.
    """

    def __init__(
        self,
        what: str,
        total: int | None = None,
        *,
        meanwhile: Callable[[], object] = int,
    ) -> None:
        self._meanwhile = meanwhile
        self._what, self._total, self._done = what, total, 0
        self._start = self._told = time.monotonic()
        self._live = sys.stderr.isatty()

    def __enter__(self) -> Progress:
        return self

    def __call__(self, done: int, left: int | None = None) -> None:
        """Count what is done, and say what is left."""
        if done == 0:
            self._meanwhile()
        self._done += done
        if left is None:
            left = max((self._total or 0) - self._done, 0)
        now = time.monotonic()
        due = now - self._told >= (_OFTEN if self._live else _EVERY)
        if now - self._start < 1.0 or not (due or (self._live and not left)):
            return
        self._told = now
        rest = (now - self._start) / max(self._done, 1) * left
        whole = self._done + left
        line = f"{self._done:,} of {whole:,} {self._what}, {_duration(rest)} left"
        click.echo(f"\r{line:60}" if self._live else line, err=True, nl=not self._live)

    def __exit__(self, *exception: object) -> None:
        """Leave the line."""
        if self._live and self._told > self._start:
            click.echo(err=True)


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
