"""Layout: where on the site pads, and the people about them, could stand."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Final, NamedTuple, TypeAlias

import numpy as np

from driftmap.core.errors import DriftmapError
from driftmap.ground.areas import Site
from driftmap.montecarlo.margins import expected_altitude
from driftmap.planning.assumed_winds import Supposition, Wind, suppose
from driftmap.planning.distances import (
    Candidate,
    Capacity,
    Clearances,
    capacity,
    moved,
    pad_spots,
    stand_at,
    stand_spots,
    too_near,
)
from driftmap.planning.sweep import LostPart, Workers, sweep
from driftmap.planning.trial import (
    NOT_KNOWN,
    Finding,
    Held,
    Trial,
    held_name,
    pack,
    unknown_trial,
    unpack,
)
from driftmap.planning.wind_sweep import Flights, flights_of, forget_flights
from driftmap.rules.facts import facts_of
from driftmap.verdict.check import Kind, decide
from driftmap.verdict.judgement import glance
from driftmap.verdict.setup import Setup, flown


class RoseWind(NamedTuple):
    """A wind to score by: where from [deg], speed at 10 m [m s⁻¹], and how much it weighs."""

    from_deg: float
    speed: float
    weight: float


Rose: TypeAlias = tuple[RoseWind, ...]

_TOGETHER: Final = 10  # candidates whose largest flight is looked for in one part


@dataclass(frozen=True, slots=True)
class Layout:
    """What a layout is asked to serve.

    Parameters
    ----------
    setups : tuple of Setup
        The flights, all at one site.
    supposition : Supposition
        How winds grow with height.
    rose : tuple of RoseWind
        Winds with their weights.
    keep : Clearances
        What keeps pads away from people and edges.
    heights : tuple of float
        Greatest height expected of each flight, in a calm [m]; worked out.

    Raises
    ------
    ValueError
        If there is no flight or no wind of positive weight.
    FlightError
        If a flight cannot be flown even in a calm.
    """

    setups: tuple[Setup, ...]
    supposition: Supposition
    rose: Rose
    keep: Clearances
    heights: tuple[float, ...] = field(init=False)

    def __post_init__(self) -> None:
        if not self.setups or not sum(wind.weight for wind in self.rose) > 0:
            raise ValueError("'setups' and 'rose' must not be empty")
        calm = suppose(self.supposition, 0.0, 0.0)
        heights = tuple(expected_altitude(flown(s, calm)) for s in self.setups)
        object.__setattr__(self, "heights", heights)

    @property
    def site(self) -> Site:
        """The site as drawn."""
        return self.setups[0].site

    def broken_at(self, site: Site) -> tuple[str, ...]:
        """Say which rules on distances any of the flights breaks at a site.

        ``site``: the site with pad or people elsewhere.
        """
        wrong = (
            text
            for setup, height in zip(self.setups, self.heights, strict=True)
            for text in too_near(
                self.keep, site, facts_of(setup.flight, site, altitude=height)
            )
        )
        return tuple(dict.fromkeys(wrong))


@dataclass(frozen=True, slots=True)
class Place:
    """A candidate with its score.

    Parameters
    ----------
    east, north : float
        From the pad as drawn [m].
    broken : tuple of str
        Rules on distances that forbid it; it is then not flown.
    go : float
        Share of the winds, by weight, in which every flight is go.
    unknown : float
        Share of the winds without a verdict; never counted as go.
    hazard : float
        Mean over winds and flights of a figure over its limit: that of the area hit
        most for its limit.
    held_by : Check or str
        What most often speaks against a go; empty where nothing does.
    to_people, to_boundary : float
        From the pad to the nearest people, and to the edge of the site [m].
    shift : float
        From where the pad, or the area, is drawn [m].
    capacity : Capacity or None
        The largest flight the distance rules let it host; pads only.
    """

    east: float
    north: float
    broken: tuple[str, ...]
    go: float
    unknown: float
    hazard: float
    held_by: Held
    to_people: float
    to_boundary: float
    shift: float
    capacity: Capacity | None = None

    def order(self) -> tuple[float, ...]:
        """Return the key by which places are ranked, the best first."""
        return (
            float(bool(self.broken)),
            -round(self.go, 6),
            round(self.hazard, 4),
            -round(min(self.to_people, self.to_boundary), 3),
            round(self.shift, 3),
            self.east,
            self.north,
        )


@dataclass(frozen=True, slots=True)
class _Score:
    """How one flight in one wind does at one candidate."""

    finding: Finding
    hazard: float
    held_by: Held


def best_pads(
    question: Layout, *, spacing: float | None = None, workers: Workers | None = None
) -> tuple[Place, ...]:
    """Score pads all over the allowed ground.

    ``question``: flights, winds and rules; ``spacing``: distance between candidates
    [m]; ``workers``: who works on it; a part is a flight in a wind.

    Result: every candidate, the best first; the pad as drawn is among them. Raises
    `ValueError` if there are too many candidates.

    The landing points do not depend on where the pad stands: each flight is flown once
    in each wind and judged at every candidate. The ground is taken to be level.
    """
    spots = pad_spots(question.site, spacing)
    places = list(_places(question, spots, moved, workers))
    some = [spots[i : i + _TOGETHER] for i in range(0, len(spots), _TOGETHER)]
    heaviest = max(question.setups, key=lambda s: s.flight.airframe.mass.value).flight
    work = partial(_hosted, pack((question.keep, heaviest, question.site)))
    quiet = replace(workers or Workers(), progress=None)
    rooms: list[Capacity | None] = []
    for part, known in zip(some, sweep(work, some, quiet), strict=True):
        rooms += [None] * len(part) if isinstance(known, LostPart) else known
    pairs = zip(places, rooms, strict=True)
    found = (replace(place, capacity=room) for place, room in pairs)
    return tuple(sorted(found, key=Place.order))


def _hosted(packed: bytes, spots: Iterable[Candidate]) -> list[Capacity]:
    """Find the largest flight that each of some pads may host."""
    keep, flight, site = unpack(packed)
    return [capacity(keep, flight, moved(site, *spot)) for spot in spots]


def best_stands(
    question: Layout,
    area: str,
    *,
    spacing: float | None = None,
    workers: Workers | None = None,
) -> tuple[Place, ...]:
    """Score places for an area of people, the pad staying where it is.

    ``question``: flights, winds and rules; ``area``: name of the area; it is moved as
    it is, without turning; ``spacing``: distance between candidates [m]; ``workers``: who
    works on it; a part is a flight in a wind.

    Result: every candidate whose ground is free, by the middle of the area, the best
    first. The place as drawn is among them. Raises `SiteError` if the site has no such
    area.
    """
    spots = stand_spots(question.site, area, spacing)

    def stood(site: Site, east: float, north: float) -> Site:
        return stand_at(site, area, east, north)

    found = _places(question, spots, stood, workers, watched=area)
    return tuple(sorted(found, key=Place.order))


def _places(
    question: Layout,
    spots: Sequence[Candidate],
    move: Callable[[Site, float, float], Site],
    workers: Workers | None,
    *,
    watched: str = "",
) -> Iterator[Place]:
    """Score candidates, the one as drawn first; what a rule forbids is not flown."""
    sites = {spot: move(question.site, *spot) for spot in spots}
    broken = {spot: question.broken_at(site) for spot, site in sites.items()}
    asked = {spot: site for spot, site in sites.items() if not broken[spot]}
    scores = _scored(question, asked, watched, workers)
    for spot in spots:
        people = (area.distance for area in sites[spot].areas if area.occupied)
        go, unknown, hazard, held_by = _weighed(question.rose, scores.get(spot, []))
        yield Place(
            *spot,
            broken=broken[spot],
            go=go,
            unknown=unknown,
            hazard=hazard,
            held_by=held_by,
            to_people=min(people, default=np.inf),
            to_boundary=sites[spot].to_boundary,
            shift=math.dist(spot, spots[0]),
        )


def _scored(
    question: Layout,
    sites: Mapping[Candidate, Site],
    watched: str,
    workers: Workers | None,
) -> Mapping[Candidate, list[list[_Score]]]:
    """Fly every flight in every wind; give, for each spot, the scores by wind."""
    parts = [
        (i, wind) for i in range(len(question.setups)) for wind in question.rose
    ] * bool(sites)
    packed = [pack(setup) for setup in question.setups]
    ground = pack(tuple(sites.values()))
    work = partial(_judge_sites, packed, ground, question.supposition, watched)
    found: dict[Candidate, list[list[_Score]]] = {
        spot: [[] for _ in question.rose] for spot in sites
    }
    try:
        every = sweep(work, parts, workers)
    finally:
        forget_flights()
    for (_, wind), result in zip(parts, every, strict=True):
        at = question.rose.index(wind)
        lost = [_Score(NOT_KNOWN, 0.0, "a worker was lost")] * len(sites)
        each = lost if isinstance(result, LostPart) else result
        for spot, score in zip(sites, each, strict=True):
            found[spot][at].append(score)
    return found


def _judge_sites(
    packed: Sequence[bytes],
    ground: bytes,
    supposition: Supposition,
    watched: str,
    part: tuple[int, RoseWind],
) -> list[_Score]:
    """Fly one flight in one wind, and judge it at every candidate by any sun of the year.

    What does not pass at a glance is no go, whatever else there is: only where all of that
    passes is a candidate judged in full, and by the next sun only where it is go by the last.
    """
    number, wind = part
    sites = unpack(ground)
    found = [_Score("go", 0.0, "")] * len(sites)
    for sun in supposition.by_any_sun():
        still = [i for i, score in enumerate(found) if score.finding == "go"]
        if not still:  # no sun makes what is no go already one
            break
        flights = flights_of(packed[number], sun, ())
        trials = _judged_at(
            [sites[i] for i in still], flights, Wind(wind.speed, wind.from_deg)
        )
        for i, trial in zip(still, trials, strict=True):
            found[i] = _score(trial, watched, found[i].hazard)
    return found


def _judged_at(sites: Sequence[Site], flights: Flights, wind: Wind) -> Iterator[Trial]:
    """Judge a wind at some candidates."""
    try:
        done = flights.flown(*wind)
    except DriftmapError as problem:
        yield from [unknown_trial(problem)] * len(sites)
        return
    for site in sites:
        seen = glance(done.cloud, site, flights.setup.answers)
        trial = Trial(decide(seen), seen)
        yield flights.judged_at(site, *wind) if trial.verdict == "go" else trial


def _score(trial: Trial, watched: str, before: float) -> _Score:
    """Score a candidate by one sun more; its hazard is the worst by those flown."""
    hits = [
        check.value / check.limit
        for check in trial.checks
        if check.value is not None and check.limit
        if check.kind is Kind.LANDS_IN and watched in {"", check.area}
    ]
    return _Score(trial.verdict, max(before, *hits, 0.0), trial.held_by)


def _weighed(
    rose: Rose, scores: Sequence[Sequence[_Score]]
) -> tuple[float, float, float, Held]:
    """Weigh the scores of one candidate by the winds: go, not known, hazard, what holds most."""
    total = sum(wind.weight for wind in rose)
    go = unknown = hazard = 0.0
    blocks: defaultdict[str, float] = defaultdict(float)
    named: dict[str, Held] = {"": ""}
    for (_, _, weight), each in zip(rose, scores, strict=bool(scores)):
        findings = {score.finding for score in each}
        go += weight * (findings == {"go"})
        unknown += weight * (NOT_KNOWN in findings)
        hazard += weight * float(np.mean([score.hazard for score in each]))
        for score in each:
            if name := held_name(score.held_by):
                blocks[name] += weight
                named.setdefault(name, score.held_by)
    most = max(blocks, key=lambda text: (blocks[text], text), default="")
    return go / total, unknown / total, hazard / total, named[most]
