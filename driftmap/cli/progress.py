"""A progress bar that appears only when the work takes over a second."""

from __future__ import annotations

import sys
import time

import click

__all__ = ["Progress"]


class Progress:
    """Count work done; show a bar, in a terminal, once a second has passed.

    Parameters
    ----------
    total : int
        All the work.
    label : str
        What is being done.
    """

    def __init__(self, total: int, label: str = "Flying") -> None:
        self._done, self._start = 0, time.monotonic()
        self._bar = click.progressbar(length=total, label=label, file=sys.stderr)
        self._shown = False

    def __enter__(self) -> Progress:
        return self

    def __call__(self, more: int) -> None:
        """Count more work done."""
        self._done += more
        if self._shown:
            self._bar.update(more)
        elif time.monotonic() - self._start > 1 and sys.stderr.isatty():
            self._shown = True
            self._bar.__enter__()
            self._bar.update(self._done)

    def __exit__(self, *exception: object) -> None:
        if self._shown:
            self._bar.render_finish()
