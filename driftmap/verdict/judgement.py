"""All that is asked of a landing cloud at a site: hits, people, rules; in one call."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass

from driftmap.air.wind import WindProfile
from driftmap.ground.site import Site
from driftmap.hazard.exposure import Harm, harm_of
from driftmap.hazard.precise import Sharpened, sharpen
from driftmap.hazard.probability import Probability
from driftmap.montecarlo.cloud import Cloud
from driftmap.rules import Answers
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.limits import read_limits
from driftmap.verdict.people_checks import AreaHit
from driftmap.verdict.rule_checks import rule_checks
from driftmap.verdict.verdict import judge

__all__ = ["Judgement", "judge_all"]


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What was asked and what was found.

    Parameters
    ----------
    checks : tuple of Check
        Every line.
    areas : tuple of AreaHit
        Probabilities for every area.
    harm : Harm
        Collective and individual risk.
    sharpened : tuple of Sharpened
        Areas whose figure was flown to a wanted precision.
    """

    checks: tuple[Check, ...]
    areas: tuple[AreaHit, ...]
    harm: Harm
    sharpened: tuple[Sharpened, ...]


def judge_all(
    cloud: Cloud,
    site: Site,
    wind: WindProfile,
    *,
    answers: Answers | None = None,
    precision: float | None = None,
) -> Judgement:
    """Judge a cloud by the limits of its flight and site, its people and the rules.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    site : Site
        The site.
    wind : WindProfile
        The wind the cloud was flown in.
    answers : Answers, optional
        What people confirmed of the rules that the site names.
    precision : float, optional
        As in `driftmap.verdict.assessment.assess`.

    Returns
    -------
    Judgement
        Every check, and what it rests on.

    Raises
    ------
    DriftmapError
        If a limit or a rule set cannot be used.
    """
    limits = read_limits(cloud.plan.flight, site)
    harm = harm_of(cloud, site)
    sharpened: tuple[Sharpened, ...] = ()
    if precision is not None:
        people = [area for area in site.areas if area.occupied]
        bound = limits["area_hit"].value
        sharpened = sharpen(cloud, wind, people, relative=precision, limit=bound)
    checks, areas = judge(
        cloud,
        site,
        wind,
        limits,
        harm=harm,
        known={s.area: Probability(*astuple(s.estimate)) for s in sharpened},
        rules=rule_checks(cloud, site, wind, answers),
    )
    return Judgement((*checks, *_unreached(sharpened)), areas, harm, sharpened)


def _unreached(sharpened: Iterable[Sharpened]) -> Iterator[Check]:
    """Hold where a figure could not be known as well as was asked."""
    for sharp in sharpened:
        if not sharp.looks.reached:
            yield Check(
                kind=Kind.PRECISION,
                area=sharp.area,
                outcome="warn",
                source="--precision",
            )
