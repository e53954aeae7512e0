"""The flights of one case, ready to be held against what people saw."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Final, NamedTuple, TypeAlias

import numpy as np

from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray, IntArray, Kept
from driftmap.montecarlo.cloud import Cloud
from driftmap.montecarlo.columns import Part
from driftmap.montecarlo.importance_sampling import response
from driftmap.montecarlo.margins import thrown_on
from driftmap.observations.fall_path import drift_of, on_the_way
from driftmap.rocket.bodies import HUNG
from driftmap.rocket.case import Body, Case, Stage

ROCKET: Final = "rocket"


class FoundAt(NamedTuple):
    """Where a piece was found from the pad, and to within which error each way [m]."""

    piece: str
    east: float
    north: float
    error: float

    @property
    def at(self) -> FloatArray:
        """Its place, shape (2,)."""
        return np.array([self.east, self.north])


_Asked: TypeAlias = tuple[str, float | None]
_BARE: Final = (*HUNG, "drag coefficient")  # inputs that are no cloth
_STEPS: Final = 10  # on the way down, of what was last seen somewhere on it
_LOOKS: Final = 24  # along a fall under power, for its highest point
_FEWEST: Final = 30  # flights from which a response to the wind can be taken


@dataclass(frozen=True, slots=True, eq=False)
class CaseFlights:
    """The flights of one case, among the first `flights` of a cloud that keeps its falls.

    Parameters
    ----------
    cloud : Cloud
        The cloud.
    case : Case
        The case.
    who : ndarray of int, shape (k,)
        Its flights.
    flights : int
        How many flights of the cloud count.
    prior : ndarray, shape (k,)
        Weights before anything was seen; over all cases of a plain cloud they add up to 1.
    drift : ndarray
        Drift of the mean wind, from `drift_of`.
    slopes : dict
        Way east and north by each unit of lean and second [m s⁻¹], shape (2, 2), by piece and
        time (None: it is down). Plain flights fill it as it is asked for.
    lean : ndarray, shape (2, k)
        How much each wind is leaned in thought, beside what was flown.
    worked_out : dict
        Places worked out before, by what was asked; leaning changes none.
    coarse : bool
        Whether the flights lie too far apart to hit what was found. Each then stands for a
        patch of ground.
    anchor : FoundAt or None
        The find that patches are moved to.
    """

    cloud: Cloud
    case: Case
    who: IntArray
    flights: int
    prior: FloatArray
    drift: FloatArray
    slopes: dict[_Asked, FloatArray]
    lean: FloatArray
    worked_out: dict[_Asked, FloatArray] = field(default_factory=dict)
    coarse: bool = False
    anchor: FoundAt | None = None

    def as_patches(self, anchor: FoundAt | None = None) -> CaseFlights:
        """Take each flight for a patch, if they are enough to tell how wide one is."""
        return replace(self, coarse=self.who.size >= _FEWEST, anchor=anchor)

    def leaned(self, lean: FloatArray) -> CaseFlights:
        """Move every fall as a wind leaned by (2, k) deviations would, to first order."""
        return replace(self, lean=lean)

    def has(self, piece: str) -> bool:
        """Return whether a piece comes down by itself, not on the rocket."""
        return any(body.name == piece for body in self.case.bodies)

    def landing(self, piece: str, *, ways: int = 1) -> FloatArray:
        """Return where a piece lies.

        ``piece``: name of a body; one that did not come off lies with the rocket, a fin
        of a rocket that struck nose first about it; ``ways``: in how many ways what a
        strike scatters is drawn for each flight.

        One patch holds all that a flight left: it is moved to the `anchor`, as far as that
        is known better than the patch is wide.

        Result: east and north [m]; ways stand in place of copies, shape (2, copies, k).
        """
        at = self._landing(piece, ways)
        if not self.coarse or self.anchor is None:
            return at
        off = self.anchor.at[:, None, None] - self._landing(self.anchor.piece)[:, :1]
        return at + self._moved(self.anchor) * off  # copies are alike: any may be it

    def _landing(self, piece: str, ways: int = 1) -> FloatArray:
        part, body = self._part(piece)

        def columns() -> FloatArray:
            return np.stack([self._column(name, part) for name in ("east", "north")])

        at = self._leant((piece, None), self.landed(piece), columns)
        fins = [p.name for p in self.cloud.plan.flight.pieces if p.kind == "fin"]
        broken = body.name != piece and body.stages[-1].nose_first and piece in fins
        return at + self._thrown(piece, ways) if broken else at

    def in_patches(self, find: FoundAt, *, ways: int = 1) -> tuple[FloatArray, float]:
        """Return where a piece lies, and how well it is known beside a find of it [m].

        As `landing`, and the error told. Where `coarse`, each landing is the middle of a
        patch, and of a find beside the `anchor` the way from there is what is told.
        """
        if not self.coarse:
            return self.landing(find.piece, ways=ways), find.error
        at, anchor = self._landing(find.piece, ways), self.anchor
        if anchor is None or anchor == find:
            return at, float(np.hypot(find.error, self._patch(at[:, 0])))
        between = self._patch(at[:, 0] - self._landing(anchor.piece)[:, 0])
        moved = self._moved(anchor) * anchor.error**2
        known = np.sqrt(find.error**2 + moved + between**2)
        return self.landing(find.piece, ways=ways), float(known)

    def _moved(self, anchor: FoundAt) -> float:
        """Return how far of the way patches are moved to an anchor, 0 to 1."""
        wide = self._patch(self._landing(anchor.piece)[:, 0]) ** 2
        return wide / (wide + anchor.error**2)

    def _patch(self, places: FloatArray) -> float:
        """Return how wide a patch each of some places (2, k) stands for [m].

        The normal-reference rule for two dimensions, across the narrower way of the cloud
        (D. W. Scott, Multivariate Density Estimation, 1992, from memory).
        """
        spread = np.cov(places, aweights=self.prior)
        number = self.prior.sum() ** 2 / (self.prior @ self.prior)
        return float(number ** (-1 / 6) * np.sqrt(np.linalg.eigvalsh(spread)[0]))

    def _thrown(self, piece: str, ways: int) -> FloatArray:
        """Draw how far from the strike a piece comes to rest, shape (2, ways, k)."""
        asked = (f"{piece} thrown {ways} ways", None)
        if asked not in self.worked_out:
            speed = np.tile(self.struck(piece), (ways, 1))
            what = f"{piece} broken off, {self.case.name}"
            self.worked_out[asked] = thrown_on(self.cloud, speed, what)
        return self.worked_out[asked]

    def _column(self, name: str, part: Part) -> FloatArray:
        """Give a column of a part, shape (copies, k)."""
        rows: Kept = getattr(self.cloud, name)[part.rows].reshape(part.count, -1)
        return rows[:, : self.who.size].astype(float)

    def _knots(self, body: str) -> FloatArray:
        """Return the knots of a body, shape (stages + 1, 5, copies, k)."""
        kept = self.cloud.falls[self.case.name, body][..., : self.who.size]
        return np.asarray(kept, dtype=float)

    def landed(self, piece: str) -> FloatArray:
        """Return when a piece comes down, shape (copies, k) [s]."""
        return self._column("time", self._part(piece)[0])

    def release(self, piece: str) -> FloatArray:
        """Return when [s] and how high [m] a piece came off in the air, NaN where not, (2, k)."""
        if piece == ROCKET or not self.has(piece):
            return np.full((2, self.who.size), np.nan)
        _, body = self._part(piece)
        return np.asarray(self._knots(piece)[len(body.before)][[0, 3], 0])

    def opening(self, device: str = "") -> FloatArray:
        """Return when and how high cloth opened.

        ``device``: name of a device; the first to open when left out.

        Result: time [s] and height [m]; NaN where none opened, shape (2, k).
        """
        for body in sorted(self.case.bodies, key=lambda b: b.name != ROCKET):
            stages = (*body.before, *body.stages)
            hung: set[str] = set()
            for number, stage in enumerate(stages):
                cloth = _cloth(stage)
                new, hung = cloth - hung, cloth
                named = {
                    name.removesuffix(" drag") for name in new if name.endswith(" drag")
                }
                own = device in {"", body.name, *named} or not named
                if new and own:
                    return np.asarray(self._knots(body.name)[number][[0, 3], 0])
        return np.full((2, self.who.size), np.nan)

    def top(self) -> FloatArray:
        """Return east and north of apogee [m], had nothing gone wrong before, (2, k)."""
        way = self.cloud.way[-1, :2]
        return np.asarray(way[:, self.who], dtype=float)

    def highest(self) -> FloatArray:
        """Return when and how high the rocket was highest, as an altimeter in it would tell.

        Result: time since lift-off [s] and height above the site [m], shape (2, k).
        """
        asked = ("highest", None)
        if asked not in self.worked_out:
            self.worked_out[asked] = self._highest()
        return self.worked_out[asked]

    def _highest(self) -> FloatArray:
        apogee = self.cloud.apogee
        top = np.stack([apogee.time, apogee.height])[:, self.who]
        part, body = self._part(ROCKET)
        if self.case.release.at == "apogee" and not self.case.release.way:
            return top
        first = self._knots(ROCKET)[0][[0, 3], 0]
        if any(stage.burn for stage in (*body.before, *body.stages)):
            # It climbs on under power: look along the way.
            lasts = self._column("time", part) - first[0]
            for share in np.linspace(0.04, 0.96, _LOOKS):
                when = first[0] + share * lasts
                high = self._in_the_air(body, when)[2]
                first = np.where(high > first[1], np.concatenate([when, high]), first)
            return np.asarray(first)
        # What opens or comes apart before ends the climb about there.
        return np.where(first[1] < top[1], first, top)

    def struck(self, piece: str) -> FloatArray:
        """Return the speed with which the first of a piece came down, shape (k,) [m s⁻¹]."""
        return np.asarray(self._column("speed", self._part(piece)[0])[0])

    def is_nose_first(self, piece: str) -> bool:
        """Return whether what a piece came down with came nose first."""
        return self._part(piece)[1].stages[-1].nose_first

    def cloth(self, device: str) -> str:
        """Tell what became of a device: open, torn, tangled or unopened."""
        only = self.case.only if isinstance(self.case.only, tuple) else ()
        if any(o.device.name == device and not o.holds for o in only):
            return "torn"
        stages = [s for b in self.case.bodies for s in (*b.before, *b.stages)]
        drags = {name for stage in stages for _, name in stage.drag}
        if f"{device} drag" in drags:
            return "open"
        return "tangled" if "tangled canopy" in drags else "unopened"

    def at(self, piece: str, time: float) -> FloatArray:
        """Return where a piece is at a time since lift-off [s], shape (3, copies, k) [m].

        On the way up, straight lines between the points kept. On the way down, each
        stage sinks evenly, a nose-first fall by the cubic that fits both ends, and
        drifts as the mean wind bends it; the rest of the way that was flown is spread
        evenly in time.
        """
        part, body = self._part(piece)
        when = np.full((part.count, self.who.size), float(time))
        until = np.minimum(when, self.landed(piece))
        there = partial(self._in_the_air, body, when)
        return self._leant((piece, time), until, there)

    def coming_down(self, piece: str) -> FloatArray:
        """Return where a piece is at even steps from its highest to landing, (3, steps, k)."""
        _, body = self._part(piece)
        self.landing(piece)  # learns how the wind's lean carries it
        top, down = self.highest()[0], self.landed(piece)
        places = []
        for step in range(1, _STEPS + 1):
            when, asked = top + step / _STEPS * (down - top), (f"{piece} {step}", None)
            if asked not in self.worked_out:
                self.worked_out[asked] = self._in_the_air(body, when)
            place = self.worked_out[asked]
            places.append(self._carried(place, (piece, None), when))
        return np.concatenate(places, axis=1)

    def _in_the_air(self, body: Body, when: FloatArray) -> FloatArray:
        stages = (*body.before, *body.stages)
        path = self.cloud.way[:, :, self.who], self.cloud.apogee.time[self.who]
        return on_the_way(path, self._knots(body.name), stages, self.drift, when)

    @property
    def own_lean(self) -> FloatArray:
        """What the wind of each flight was leaned by as it flew, shape (2, k)."""
        draws = self.cloud.draws
        both = np.array([draws["lean east"], draws["lean north"]], float)
        return both[:, self.who]

    def _leant(
        self, asked: _Asked, time: FloatArray, work_out: Callable[[], FloatArray]
    ) -> FloatArray:
        """Return places worked out once, moved by the lean; they tell how it carries a piece."""
        if asked not in self.worked_out:
            self.worked_out[asked] = work_out()
            lean = self.own_lean.T
            few = self.who.size < _FEWEST or np.ptp(lean) == 0
            if asked not in self.slopes and not few:  # else plain flights have told
                at = self.worked_out[asked][:2, 0].T
                self.slopes[asked] = response(lean, at, time[0] * self._size)
        return self._carried(self.worked_out[asked], asked, time)

    def _carried(
        self, place: FloatArray, asked: _Asked, time: FloatArray
    ) -> FloatArray:
        """Move places as the lean carries what was asked for in so many seconds."""
        if asked not in self.slopes or not self.lean.any():
            return place
        moved = (self.slopes[asked] @ self.lean * self._size)[:, None] * time
        return np.concatenate([place[:2] + moved, place[2:]])

    @property
    def _size(self) -> FloatArray:
        """How large the wind's error of each flight is for its lean, shape (k,)."""
        return np.asarray(self.cloud.draws["lean size"][self.who], float)

    def _part(self, piece: str) -> tuple[Part, Body]:
        name = piece if self.has(piece) else ROCKET
        part = next(p for p in self.cloud.of(self.case.name) if p.body == name)
        return part, next(b for b in self.case.bodies if b.name == name)


def flown_cases(
    cloud: Cloud,
    wind: WindProfile,
    *,
    first: int | None = None,
    weights: FloatArray | None = None,
    slopes: Mapping[str, dict[_Asked, FloatArray]] | None = None,
) -> tuple[CaseFlights, ...]:
    """Lay out the flights of a cloud by case.

    ``cloud``: flown with its falls kept; ``wind``: the wind it flew in; ``first``: so
    many flights from the start; all when left out; ``weights``, shape (n,): weights of
    steered flights; 1 each when left out; ``slopes``: how the wind's lean carries each
    body by case, as plain flights told it; found from these flights when left out.

    Raises `ValueError` if the falls were not kept.
    """
    if not cloud.falls:
        raise ValueError("'cloud' must be flown with 'keep_falls'")
    drift = drift_of(wind, cloud.plan.top)
    own = np.ones(cloud.flights) if weights is None else weights
    count = cloud.flights if first is None else min(first, cloud.flights)
    found = []
    for case in cloud.tree.cases:
        part = next(cloud.of(case.name), None)
        # Flights stand block by block: those below a whole number of blocks come first.
        size = 0 if part is None else np.count_nonzero(part.who < count)
        if part is None or size == 0:
            continue
        who = part.who[:size]
        prior = cloud.weights(case)[:size] * own[who] / count
        still = np.zeros((2, size))
        told = {} if slopes is None else slopes[case.name]
        found.append(
            CaseFlights(
                cloud=cloud,
                case=case,
                who=who,
                flights=count,
                prior=prior,
                drift=drift,
                slopes=told,
                lean=still,
            )
        )
    return tuple(found)


def _cloth(stage: Stage) -> set[str]:
    return {name for _, name in stage.drag if name not in _BARE and "{n}" not in name}
