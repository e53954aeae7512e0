"""Every check of a flight at a site in a wind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from driftmap.air.wind import WindProfile
from driftmap.ground.site import Site
from driftmap.hazard.exposure import Harm
from driftmap.hazard.probability import Probability
from driftmap.montecarlo.cloud import Cloud
from driftmap.verdict.check import Check
from driftmap.verdict.consequence_checks import (
    Lines,
    lowered_likelihoods,
    under_the_fall,
)
from driftmap.verdict.limits import Limit
from driftmap.verdict.people_checks import (
    AreaHit,
    area_hits,
    ground_checks,
    harm_checks,
    people_checks,
)
from driftmap.verdict.rail_checks import rail_checks
from driftmap.verdict.recovery_checks import missing_checks, recovery_checks
from driftmap.verdict.wind_checks import wind_checks

__all__ = ["judge"]


def judge(
    cloud: Cloud,
    site: Site,
    wind: WindProfile,
    *,
    limits: Mapping[str, Limit],
    harm: Harm | None = None,
    known: Mapping[str, Probability] = MappingProxyType({}),
    lines: Lines | None = None,
    rules: Iterable[Check] = (),
) -> tuple[tuple[Check, ...], tuple[AreaHit, ...]]:
    """Check a cloud against a site.

    Parameters
    ----------
    cloud : Cloud
        Landing points.
    site : Site
        Areas, boundary and waiver.
    wind : WindProfile
        The wind the cloud was flown in.
    limits : mapping of str to Limit
        From `driftmap.verdict.limits.read_limits`.
    harm : Harm, optional
        Harm to people, from `driftmap.hazard.exposure.harm_of`.
    known : mapping of str to Probability
        Better figures for some areas, by name, from `driftmap.hazard.precise.sharpen`.
    lines : mapping, optional
        Contours that are drawn already.
    rules : iterable of Check
        What the rules of the range say, from `driftmap.verdict.rule_checks`.

    Returns
    -------
    checks : tuple of Check
        Every line.
    areas : tuple of AreaHit
        Probabilities for every area, checked or not.
    """
    areas = area_hits(cloud, site, known)
    checks = (
        *under_the_fall(cloud, site, lines),
        *lowered_likelihoods(cloud),
        *people_checks(cloud, site, areas, limits),
        *([] if harm is None else harm_checks(cloud, site, harm, limits)),
        *ground_checks(cloud, site, limits),
        *recovery_checks(cloud, limits),
        *rail_checks(cloud, wind, limits),
        *wind_checks(cloud, wind, limits),
        *missing_checks(cloud),
        *rules,
    )
    return checks, areas
