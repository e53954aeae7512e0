"""The main job in one call: from flight, site and wind to a verdict with its evidence."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from typing import Final

from driftmap.air import turbulence
from driftmap.air.day import AirDay
from driftmap.air.sun import toward_dark
from driftmap.air.wind import WindProfile
from driftmap.core.errors import InputError
from driftmap.ground.areas import Site
from driftmap.hazard.exposure import Harm
from driftmap.hazard.outlines import Outlines
from driftmap.hazard.precise import Sharpened
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.sensitivity import Influence, influences
from driftmap.rocket.flight import Flight
from driftmap.rules.answers import Answers
from driftmap.verdict.check import (
    ALOFT,
    BY_FLIGHTS,
    Check,
    Verdict,
    decide,
    decide_ahead,
)
from driftmap.verdict.consequence_checks import with_clear_aim
from driftmap.verdict.judgement import judge_all
from driftmap.verdict.limits import LOOSER, read_limits, tightened
from driftmap.verdict.people_checks import AreaHit
from driftmap.verdict.reading_value import Worth, more_wind
from driftmap.verdict.setup import (
    CLOCKS,
    Setup,
    as_if_read,
    check_read_for,
    checks_of,
    flown,
    in_stronger,
)

STALE: Final = 20 * 60.0
"""Age at which a reading of the meter, or a verdict, holds until it is made anew [s]. Assumed:
surface winds are reported over ten minutes, and two of those are long for a breeze."""

_FEWEST: Final = 2  # flights; one has no spread

CAUTIONS: Final = (
    "An aid to judgement, not a permission to fly. The range safety officer decides.",
    "Local codes, the waiver's own text and the landowner's word come before this sheet.",
    "Motors are made, handled and flown only as law and licence allow.",
    "The lines leave pieces outside: 1 in 100 lands beyond the 99 % line. "
    "Everyone watches every flight until all of it is down.",
    "Intervals tell how sure the count of these flights is; errors of the wind given, of "
    "the physics and of what was assumed come on top.",
)
"""What every map, briefing and verdict says."""


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Assessment:
    """A verdict and everything it rests on.

    Parameters
    ----------
    flight, site, wind : Flight, Site, WindProfile
        The inputs.
    cloud : Cloud
        Landing points.
    contours : mapping of (str, str) to tuple of Contour
        Ground that holds 50, 90 and 99 % of a body's landings, by case and body, drawn
        when it is asked for.
    checks : tuple of Check
        Every check.
    areas : tuple of AreaHit
        Probabilities for every area.
    harm : Harm
        Collective and individual risk.
    sharpened : tuple of Sharpened
        Areas whose figure was flown to a wanted precision, with every look.
    verdict : {"go", "hold", "no-go"}
        The verdict.
    assumed : tuple of str
        What was defaulted, assumed or extrapolated.
    influences : tuple of Influence
        Inputs that move the landing most when recovery works, the strongest first; empty
        with too few flights to tell.
    more_wind : tuple of Worth
        One more reading of the wind, and how far it would shrink the 90 % line; the best
        first.
    version : str
        Version of driftmap.
    answers : Answers
        What people answered to the rules.
    """

    flight: Flight
    site: Site
    wind: WindProfile
    cloud: Cloud
    contours: Outlines
    checks: tuple[Check, ...]
    areas: tuple[AreaHit, ...]
    harm: Harm
    sharpened: tuple[Sharpened, ...]
    verdict: Verdict
    assumed: tuple[str, ...]
    influences: tuple[Influence, ...]
    more_wind: tuple[Worth, ...]
    version: str
    answers: Answers = field(default_factory=Answers)

    @property
    def setup(self) -> Setup:
        """What it was made of, to fly again with a change."""
        cloud, day = self.cloud, self.cloud.plan.sky.day
        return Setup(
            self.flight, self.site, cloud.flights, cloud.seed, day, self.answers
        )


def assess(  # noqa: PLR0913 - all but three are options
    flight: Flight,
    site: Site,
    wind: WindProfile,
    *,
    samples: int = 20_000,
    seed: int = 1,
    day: AirDay | None = None,
    answers: Answers | None = None,
    precision: float | None = None,
    progress: Callable[[int], None] | None = None,
) -> Assessment:
    """Say where everything can come down, who stands there, and whether to fly.

    Parameters
    ----------
    flight, site : Flight, Site
        From `read_flight` and `read_site`.
    wind : WindProfile
        From `read_wind`.
    samples, seed, day, answers : see `Setup`
    precision, progress : see `assess_setup`

    Returns
    -------
    Assessment
        Verdict, checks, cloud and contours.

    Raises
    ------
    DriftmapError
        If an input cannot be used, or answers and wind were read for another flight, site
        or time; nothing missing ever turns into "go".
    """
    setup = Setup(flight, site, samples, seed, day, answers)
    check_read_for(setup, wind)
    return assess_setup(setup, wind, precision=precision, progress=progress)


def assess_setup(
    setup: Setup,
    wind: WindProfile,
    *,
    precision: float | None = None,
    progress: Callable[[int], None] | None = None,
    advice: bool = True,
) -> Assessment:
    """Assess a flight as it is set up, in one wind.

    ``precision`` is how well the share of flights that hit each area with people must be
    known, the half-width of its interval over the figure: steered flights are flown for
    it. ``progress`` is called with the number of flights done since the last call.
    Without ``advice`` no other aims and no other readings of the wind are tried, of which
    notes tell and no verdict knows.
    """
    if setup.samples < _FEWEST:
        text = f"{setup.samples}; accepted is {_FEWEST} and more"
        raise InputError("samples", "", text)
    if precision is not None and not 0 < precision <= 1:
        raise InputError("precision", "", f"{precision:g}; accepted is above 0, to 1")
    flight, site, answers = setup.flight, setup.site, setup.answers
    read_limits(flight, site)  # before the work: a bad limit costs no time
    cloud = flown(setup, wind, progress=progress)
    contours = Outlines(cloud)
    found = judge_all(
        cloud, site, wind, answers=answers, precision=precision, lines=contours
    )
    checks = (*found.checks, *in_stronger(setup, wind, found.checks))
    verdict = decide(checks)
    if advice:
        checks = with_clear_aim(checks, cloud, site, wind)
        checks = _aloft_first(checks, setup, wind)
    moving = influences(cloud)
    return Assessment(
        flight=flight,
        site=site,
        wind=wind,
        cloud=cloud,
        contours=contours,
        checks=checks,
        areas=found.areas,
        harm=found.harm,
        sharpened=found.sharpened,
        verdict=verdict,
        assumed=_assumed(setup, wind, cloud, found.checks),
        influences=moving,
        more_wind=more_wind(cloud, wind, moving) if advice else (),
        version=version("driftmap"),
        answers=answers or Answers(),
    )


def _assumed(
    setup: Setup, wind: WindProfile, cloud: Cloud, checks: Iterable[Check]
) -> tuple[str, ...]:
    """List what an assessment rests on that nobody gave, each once."""
    told = (
        *setup.site.assumed,
        *wind.assumed,
        *cloud.plan.assumed,
        *cloud.tree.assumed,
        cloud.plan.sky.told,
        *_loosened(checks),
        f"turbulence from the mean wind at 6 m; {turbulence.ASSUMED}",
        "the ground is flat, at the pad's elevation",
    )
    return tuple(dict.fromkeys(told))


def good_between(a: Assessment) -> tuple[datetime, datetime] | None:
    """Say from when until when a verdict counts.

    Result: about the time of the flight, while it is light if it is then, never longer than
    its wind may be old or what was answered for the day holds, and from when it was found on
    where that is now: a clock set back makes nothing young again. None where nobody told for
    when it is, or when the wind was read.
    """
    when, age = a.answers.when, a.wind.age
    if when is None or age is None or a.wind.undated:
        return None
    limits = tightened(read_limits(a.flight, a.site, when=when))
    left = limits["wind_age"].value - 3600 * age
    if a.wind.renewed_in is not None:
        left = min(left, 3600 * a.wind.renewed_in)
    at = a.site.latitude, a.site.longitude
    late = when + timedelta(seconds=max(0.0, min(STALE, left)))
    late = toward_dark(when, late, *at)
    early = toward_dark(when, when - timedelta(seconds=STALE), *at)
    said = a.answers.holds or (early, late)
    early, late = max(early, said[0]), min(late, said[1])
    now = datetime.now(UTC) - CLOCKS
    if now < late:
        early = max(early, min(when, now))
    return early, late


def _aloft_first(
    checks: tuple[Check, ...], setup: Setup, wind: WindProfile
) -> tuple[Check, ...]:
    """Put an unknown wind aloft beside a no-go that is none if it is as drawn.

    So it is told first, with what would settle it; the verdict stays as hard as it is.
    """
    # Within what an officer answers for above the highest reading it passes, yet is unknown.
    aloft = [c for c in checks if c.kind in ALOFT and c.value]
    unknown = [c for c in aloft if c.outcome != "pass"] or aloft[:1]
    against = {c.kind for c in checks if c.outcome == "fail" and not c.question}
    if not unknown or not against or not against <= BY_FLIGHTS:
        return checks
    if decide_ahead(checks_of(setup.with_few(), as_if_read(wind))) == "no-go":
        return checks
    return tuple(replace(c, beside=True) if c in unknown else c for c in checks)


def _loosened(checks: Iterable[Check]) -> Iterator[str]:
    """Tell which limits a file has loosened."""
    for check in checks:
        if LOOSER in check.source:
            yield f"limit on {check.name.removesuffix(', if')!r}: {check.source}"
