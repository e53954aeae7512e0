"""Every wind between a few flown ones at once, judged so that none of them is judged milder.

A flight counts as a hit if any of its places on a net (`driftmap.planning.envelope`) is one, and
all that is better the more there is of it is taken at its least. What that passes, every wind
of the span passes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.planning.envelope import Net
from driftmap.planning.trial import limits_believed
from driftmap.verdict.check import (
    ALL_CASES,
    FAILS,
    NO_SOURCE,
    OUTCOMES,
    RANK,
    Check,
    Kind,
    Outcome,
    Verdict,
    kinds_marked,
)
from driftmap.verdict.consequence_checks import by_default
from driftmap.verdict.judgement import judge, together
from driftmap.verdict.launch_checks import IN_A_GUST
from driftmap.verdict.setup import Setup

_EVEN: Final = kinds_marked("even")
"""Kinds of checks that no landing enters into."""

_TOO_FAR: Final = "landings move too far between the winds worked out"

_WORST_OF_ALL: Final = kinds_marked("worst")
"""Kinds that look at all areas and name the worst, which may change with the wind."""

_SUMMED: Final = kinds_marked("summed") | _WORST_OF_ALL
"""Kinds that sum over places: another one may be hit in each wind, and none between them."""

_ROOM: Final = MappingProxyType(
    {Kind.RAIL_SPEED: 0.03, Kind.RAIL_OVER_WIND: 0.03, Kind.DESCENT: 0.005}
)
"""Share by which a quantile of the flights must keep clear of its limit, for the kinds that
hold one: some standard errors of the 5 % quantile of 4,000 flights. The speed of landing
depends on no wind: from cell to cell it moves by a part in two thousand. Assumed."""

_CheckKey: TypeAlias = tuple[Kind, str, str, str]


def strictest_of_span(
    setup: Setup, net: Net, wind: WindProfile, flown: Sequence[Iterable[Check]]
) -> tuple[Check, ...]:
    """Judge all winds of a span at once.

    ``setup``: whose site and limits count; ``wind``: the strongest of the winds;
    ``flown``: the checks of the winds flown.

    Result: each check once, with figure, interval and outcome that bound those of every
    wind of the span.

    Shares of flights are counted on the net. Harm to people goes with the hits among
    them, so its worst figure of the winds flown is raised by as much as the net raises
    those. Everything else, rules above all, moves evenly with the wind: half of what it
    moves over the span is allowed for on top of the worst.
    """
    # Between the winds flown nothing that a file eases is believed at all.
    limits = limits_believed(setup)
    cloud = by_default(net.cloud) or net.cloud
    seen, _ = judge(cloud, setup.site, wind, limits=limits, lines=net.lines)
    launch = (together(check, setup.answers) for check in seen)
    netted = {_key(check): _with_room(check) for check in launch}
    found: dict[_CheckKey, list[Check]] = {}
    for checks in flown:
        for check in checks:
            found.setdefault(_key(check), []).append(check)
    merged = {
        key: _worst([*each, netted[key]])
        if key in netted
        else _bound(each, _raised(each[0], netted, found))
        for key, each in found.items()
    }
    merged |= {key: check for key, check in netted.items() if key not in merged}
    far = [
        Check(kind=Kind.MISSING, name=_TOO_FAR, outcome="warn", source=NO_SOURCE)
    ] * net.coarse
    return (*merged.values(), *far)


def alike(
    flown: Sequence[Iterable[Check]],
    whole: Callable[[], tuple[Check, ...]],
    verdict: Callable[[Iterable[Check]], Verdict],
    edges: Iterable[tuple[int, int]] = (),
) -> tuple[Check, ...] | None:
    """Return the checks of a span that has one verdict all over.

    ``flown``: the checks of the winds flown; ``whole``: gives those of `strictest_of_span`;
    ``verdict``: what a verdict is made of; ``edges``: ends of edges of which whatever is
    to be told a word has a part.

    Result: checks that bound those of every wind; None where verdicts may differ. The
    same checks, each of one place, speak against a go in every wind flown, or all along
    an edge, and those of the span as a whole say no more; where they fail, nothing can be
    worse.
    """
    every = [{_key(c): c for c in checks} for checks in flown]
    ways = [every, *([every[a], every[b]] for a, b in edges)]
    least = max((verdict(_shared(way)) for way in ways), key=RANK.index)
    if least == "no-go":
        keys = dict.fromkeys(key for own in every for key in own)
        return tuple(_worst([own[k] for own in every if k in own]) for k in keys)
    if max((verdict(own.values()) for own in every), key=RANK.index) != least:
        return None  # the whole is no better than any of its winds
    checks = whole()
    return checks if verdict(checks) == least else None


def _shared(every: Sequence[Mapping[_CheckKey, Check]]) -> list[Check]:
    """Return the checks that some winds have in common, each at its mildest."""
    keys = set.intersection(*(set(own) for own in every))
    return [
        min((own[key] for own in every), key=lambda c: OUTCOMES.index(c.outcome))
        for key in keys
        if key[0] not in _SUMMED
    ]


def _with_room(check: Check) -> Check:
    """Let a quantile near its limit not pass.

    Gusts are drawn anew where the air is cut into other layers, and the quantile of a wind
    between moves by that.
    """
    if check.kind not in _ROOM or check.limit is None or check.outcome != "pass":
        return check
    low, high = _ends(check)
    sign = 1.0 if check.sense == "most" else -1.0
    room = _ROOM[check.kind]
    high += room * abs(high)
    share = IN_A_GUST if check.kind is Kind.RAIL_OVER_WIND else 1.0
    middle = high if check.value is None else sign * check.value
    near = middle + room * abs(middle) > sign * check.limit
    if high <= sign * share * check.limit and not (share < 1 and near):
        return check
    # Told with its room: a figure within its limit that holds would read as a pass.
    interval = (low, high) if sign > 0 else (-high, -low)
    return replace(check, outcome="warn", interval=interval)


def _key(check: Check) -> _CheckKey:
    area = "" if check.kind in _WORST_OF_ALL else check.area
    return check.kind, check.name, check.case, area


def _worst(checks: Sequence[Check]) -> Check:
    return max(checks, key=lambda c: (OUTCOMES.index(c.outcome), *_ends(c)[::-1]))


def _ends(check: Check) -> tuple[float, float]:
    """Give an interval so that more is worse."""
    if check.interval is None:
        return 0.0, 0.0
    low, high = check.interval
    return (low, high) if check.sense == "most" else (-high, -low)


def _raised(
    check: Check,
    netted: Mapping[_CheckKey, Check],
    found: Mapping[_CheckKey, Sequence[Check]],
) -> float | None:
    """Say how many times more hits the net sees than the winds flown do; None for a rule."""
    if check.kind in _EVEN:
        return None
    every = check.case in {"", ALL_CASES}
    kind = Kind.LANDS_IN if every else Kind.LANDS_IN_FAILURE
    most = 1.0
    for key, seen in netted.items():
        if seen.kind is not kind or not (every or seen.case == check.case):
            continue
        flown = [_ends(c)[1] for c in found.get(key, ())]
        if flown:
            most = max(most, _ends(seen)[1] / max(flown))
    return most


def _bound(checks: Sequence[Check], factor: float | None) -> Check:
    """Widen the worst of some checks to what lies between them."""
    worst = _worst(checks)
    if worst.interval is None or worst.limit is None:
        return worst
    low, high = np.array([_ends(c) for c in checks if c.interval is not None]).T
    if factor is None:
        ends = low.max() + np.ptp(low) / 2, high.max() + np.ptp(high) / 2
    else:
        ends = low.max() * factor, high.max() * factor
    sign = 1.0 if worst.sense == "most" else -1.0
    outcome = _outcome(worst, ends, sign * worst.limit)
    value = max((c.value or 0.0) for c in checks) * (factor or 1.0)
    if worst.kind in FAILS and value > FAILS[worst.kind] * worst.limit:
        outcome = "fail"
    wide = (float(ends[0]), float(ends[1]))
    interval = wide if sign > 0 else (-wide[1], -wide[0])
    return replace(worst, interval=interval, outcome=outcome)


def _outcome(worst: Check, ends: tuple[float, float], limit: float) -> Outcome:
    """Compare widened ends, of which more is worse; never milder than what was flown.

    Where the ends flown do not agree with their own outcome, as in a rule that has an
    exception, widening says nothing new.
    """
    low, high = _ends(worst)
    if worst.kind not in FAILS and ends[0] > limit >= low:
        return "fail"
    if worst.outcome == "pass" and ends[1] > limit >= high:
        return "warn"
    return worst.outcome
