"""The errors a user can cause, each told in one line."""

from __future__ import annotations

__all__ = [
    "DriftmapError",
    "FlightError",
    "FlightPathError",
    "InputError",
    "NoGoError",
    "SiteError",
    "WeakThrustError",
    "WindError",
]


class DriftmapError(Exception):
    """Root of every error that driftmap raises on purpose."""


class InputError(DriftmapError):
    """Input that cannot be used.

    Parameters
    ----------
    source : str
        File, option or text the input came from.
    where : str
        Key, line, feature or level inside the source; empty when the whole source
        is meant.
    problem : str
        What was found and what is accepted.
    """

    def __init__(self, source: str, where: str, problem: str) -> None:
        self.source, self.where, self.problem = source, where, problem
        place = f"{source}: {where}" if where else source
        super().__init__(" ".join(f"{place}: {problem}".split()))


class FlightPathError(DriftmapError, ValueError):
    """A flight that cannot be followed: it stays on the rail or leaves the air."""


class WeakThrustError(FlightPathError):
    """Thrust that does not carry a flight off the rail, or lets it come down burning."""


class FlightError(InputError):
    """A flight file, or a flight that leaves what is modelled."""


class NoGoError(FlightError):
    """A flight that must not be tried: its thrust does not carry it."""


class SiteError(InputError):
    """A site file, or an area in it."""


class WindError(InputError):
    """A wind file or a wind given in words."""
