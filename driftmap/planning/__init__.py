"""Planning a site and a day: many verdicts, never a second way to compute one.

Every figure here comes from `driftmap.planning.trial.try_flight`, which flies, judges and
decides with the functions that an assessment uses, on the same seed for all alternatives.
"""

from __future__ import annotations

from driftmap.planning.aim import Aim, best_aims
from driftmap.planning.around import Around, winds_around
from driftmap.planning.layout import Place, Question, best_pads, best_stands
from driftmap.planning.season import SeasonHour, season_hours
from driftmap.planning.supposed import Supposition, suppose
from driftmap.planning.sweep import Hands, Lost, sweep
from driftmap.planning.trial import Trial, try_flight
from driftmap.planning.windlimits import DirectionLimit, wind_limits

__all__ = [
    "Aim",
    "Around",
    "DirectionLimit",
    "Hands",
    "Lost",
    "Place",
    "Question",
    "SeasonHour",
    "Supposition",
    "Trial",
    "best_aims",
    "best_pads",
    "best_stands",
    "season_hours",
    "suppose",
    "sweep",
    "try_flight",
    "wind_limits",
    "winds_around",
]
