"""The way up of one block of flights: their draws, their air, and what breaks on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from driftmap.air.column import draw_air
from driftmap.air.turbulence import thermals
from driftmap.air.wind import WindProfile
from driftmap.core.checks import FloatArray, IntArray
from driftmap.core.spread import draw_all, stream
from driftmap.formulas.flutter import flutter_margin
from driftmap.montecarlo.launch import Plan, rockets
from driftmap.montecarlo.lean import Lean, Steered
from driftmap.montecarlo.openings import chosen_flights, load_and_strength
from driftmap.montecarlo.staging import Ways
from driftmap.rocket.case import LIGHTS, Breaks, CaseTree


class DrawnFlights:
    """The flights of one block: their draws, their air and their ways up.

    ``streams``: seed of the run, and which block of it this is.
    """

    def __init__(
        self,
        plan: Plan,
        tree: CaseTree,
        wind: WindProfile,
        count: int,
        streams: tuple[int, int],
        steered: Steered,
    ) -> None:
        self.plan, self.streams = plan, streams
        self.draws = draw_all({**plan.spreads, **tree.spreads}, count, *streams)
        lean = Lean(wind, plan, steered.lean)
        rng = stream(*streams, "wind")
        self.air = draw_air(wind, plan.sky, plan.top, count, rng, steer=lean)
        self.draws |= {"lean east": lean.along[0], "lean north": lean.along[1]}
        self.draws["lean size"] = lean.size
        self._note_wind()
        self._draw_headings()
        if steered.worth is not None:
            self._spare(steered.worth(self.draws))
        if wind.convection is not None:
            rng, heights = stream(*streams, "thermals"), self.air.height
            up = thermals(heights, wind.convection, self.air.east.shape[1], rng)
            self.air = replace(self.air, up=up)
        self.rocket = rockets(plan, self.draws)
        self.way = Ways(plan.flight, self.rocket, self.draws, self.air)
        self.ascent = self.way("")[1]
        if self.rocket.upper is not None:
            self.draws[LIGHTS] = np.asarray(self.rocket.upper.lights)

    @property
    def count(self) -> int:
        """How many are flown."""
        return int(self.rocket.mass.size)

    def _spare(self, chance: FloatArray) -> None:
        """Let go of flights that are not worth flying."""
        rng, air = stream(*self.streams, "flown at all"), self.air
        kept = np.flatnonzero(rng.random(chance.size) < chance)
        self.draws = {name: drawn[kept] for name, drawn in self.draws.items()}
        self.air = replace(air, east=air.east[:, kept], north=air.north[:, kept])

    def _note_wind(self) -> None:
        """Keep the mean wind below apogee as an input of each flight."""
        z = self.air.height
        low = z <= max(self.plan.apogee, z[1])
        weight = np.gradient(z[low])
        for name, column in (("east", self.air.east), ("north", self.air.north)):
            self.draws[f"wind {name}"] = np.average(column[low], axis=0, weights=weight)

    def _draw_headings(self) -> None:
        """Turn each glide into a velocity that keeps its heading all the way down."""
        for name in [n for n in self.draws if n.endswith(" glide")]:
            rng = stream(*self.streams, f"{name} heading")
            heading = rng.uniform(0, 2 * np.pi, self.draws[name].size)
            self.draws[f"{name} east"] = self.draws[name] * np.sin(heading)
            self.draws[f"{name} north"] = self.draws[name] * np.cos(heading)


class Breakage:
    """What breaks off on the way up of a block of flights.

    Attributes
    ----------
    margins, first : dict of str to ndarray, shape (n,)
        Least margin of each thing that may break, and when it breaks off [s].
    flights : dict of str to (ndarray of int, ndarray), shape (k,)
        The flights in which it is flown, and what each of them stands for.
    chance : ndarray, shape (n,)
        How likely anything breaks off each flight.
    holds : ndarray of bool, shape (n,)
        Flights whose own draws break nothing.
    """

    def __init__(self, drawn: DrawnFlights, tree: CaseTree) -> None:
        self.margins: dict[str, FloatArray] = {}
        self.first: dict[str, FloatArray] = {}
        self.flights: dict[str, tuple[IntArray, FloatArray]] = {}
        self.chance, self.holds = np.zeros(drawn.count), np.ones(drawn.count, bool)
        for what in [c.only for c in tree.cases if isinstance(c.only, Breaks)]:
            self._watch(what, drawn)

    def _watch(self, what: Breaks, flights: DrawnFlights) -> None:
        """Hold the way up against what fins stand; those that break by two ways do so once.

        Strength is drawn apart from the way up, so that a fin which rarely breaks may be
        flown more often with another draw of it.
        """
        ascent, count = flights.ascent, flights.count
        used, limit, factor = load_and_strength(
            what, ascent, flights.draws, flights.plan
        )
        time = ascent.rows[:, 6]
        margin = flutter_margin(used, limit * factor, time)
        natural = np.isfinite(margin.first) & self.holds
        drawn = np.sort(factor)
        below = np.searchsorted(drawn, factor / margin.least)
        rng = stream(*flights.streams, f"flights of {what.fin.name}")
        chance = (1 - self.chance) * below / count
        who, stands_for = chosen_flights(chance, natural, rng)
        own = drawn[(rng.random(who.size) * below[who]).astype(int)]
        own = np.where(natural[who], factor[who], own)
        way = flutter_margin(used[:, who], limit[:, who] * own, time[:, who])
        first = np.full(count, np.inf)
        first[who] = way.first
        self.margins[what.key], self.first[what.key] = margin.least, first
        self.flights[what.key] = who, stands_for
        self.chance = self.chance + chance
        self.holds &= ~natural
