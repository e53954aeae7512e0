"""Read what was seen, found and walked (TOML) as observations."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import pi
from pathlib import Path
from typing import Any, Final

import shapely
from shapely.geometry.base import BaseGeometry

from driftmap.air.day import AirDay
from driftmap.air.wind import WindProfile
from driftmap.core.errors import InputError
from driftmap.core.files import read_text, toml_of
from driftmap.ground.areas import Site
from driftmap.montecarlo.cloud import fly
from driftmap.observations.case_flights import ROCKET
from driftmap.observations.figures import (
    TRACE_ERROR,
    Find,
    SeenMoment,
    Sighted,
    trace_of,
)
from driftmap.observations.observation import (
    MISTAKEN,
    SMALL,
    STATES,
    SUREST,
    SWEEP_WIDTH,
    Far,
    FoundState,
    Observation,
    Odds,
    Walked,
    Went,
    parallel_sweeps,
    random_search,
)
from driftmap.observations.rows import SeenTable
from driftmap.observations.targeted_flights import FIRST, LOT, know, plainly
from driftmap.observations.weighing import AtOddsError, Weighed
from driftmap.rocket.altimeter_record import LARGEST_RECORD, read_record
from driftmap.rocket.case import CaseTree
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flight import Flight
from driftmap.rocket.stages import BOOSTER

_LONGEST: Final = 6 * 3600.0  # s; nothing is in the air for longer
_HIGHEST: Final = 19_000.0  # m
_GPS_ERROR: Final = 5.0
"""Error of a phone's position each way under open sky [m]; assumed from the 4.9 m radius that
GPS.gov states for phones (from memory)."""

_INTO: Final = ("stuck in the ground",)
_LAWS: Final = {"random": random_search, "parallel": parallel_sweeps}


def pieces_of(flight: Flight) -> list[str]:
    """Name everything of a flight that can be looked for."""
    named = [p.name for p in (*flight.pieces, *flight.booster_fins)]
    cloth = [device.name for device in flight.devices]
    burst = [] if flight.burst is None else ["fragment"]
    lower = [] if flight.sustainer is None else [BOOSTER]
    return [ROCKET, *lower, *named, *cloth, *burst]


def is_small(flight: Flight, piece: str) -> bool:
    """Return whether a piece is harder to see on the ground than a rocket or its cloth."""
    large = (ROCKET, BOOSTER, *(device.name for device in flight.devices))
    return piece not in large


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """A flight in a wind, and what people saw of it: `told`, as `read_seen` reads it of `files`.

    ``when``: the time that it flew at, None where nobody told.
    """

    flight: Flight
    site: Site
    wind: WindProfile
    day: AirDay | None
    told: tuple[Observation, ...]
    assumed: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    when: datetime | None = None

    def weighed(
        self,
        samples: int,
        seed: int,
        bodies: set[str] | None = None,
        *,
        sparing: bool = False,
        progress: Callable[[int], None] | None = None,
    ) -> tuple[Weighed, Weighed]:
        """Fly the flight, and weigh the flights by what was seen.

        ``bodies``: what is brought down beside the rocket; all when left out; ``sparing``:
        as in `plainly`, where only places are looked for.

        Result: plain flights weighed, and those flown toward what was seen where few fit.
        """
        cloud = fly(
            self.flight,
            self.wind,
            self.site.elevation,
            samples=samples if samples <= LOT else FIRST,
            seed=seed,
            day=self.day,
            bodies=bodies,
            keep_falls=True,
            progress=progress,
        )
        try:
            plain = plainly(
                cloud,
                self.wind,
                self.told,
                samples=samples,
                sparing=sparing,
                progress=progress,
            )
            return plain, know(plain, self.wind)
        except AtOddsError as problem:
            raise InputError(", ".join(self.files), "", str(problem)) from None

    def sentences(self, known: Weighed, far: Far) -> tuple[str, ...]:
        """Tell what was seen, and what of it fits nothing flown."""
        doubted = known.doubted
        return tuple(
            seen.says(far)
            + " - AT ODDS with everything flown, taken as a mistake" * (seen in doubted)
            for seen in self.told
        )

    def notes(self, known: Weighed) -> list[str]:
        """Tell what the weighed flights rest on."""
        cloud = known.cases[0].cloud
        return [
            f"rests on {known.effective:,.0f} effective flights, seed {cloud.seed}",
            f"one report in {1 / MISTAKEN:.0f} is wrong altogether (assumed)",
            *self.assumed,
            *self.site.assumed,
            *self.wind.assumed,
            *cloud.plan.assumed,
            *cloud.tree.assumed,
        ]


def read_seen(
    files: Sequence[str], flight: Flight, site: Site
) -> tuple[tuple[Observation, ...], tuple[str, ...]]:
    """Read files of what was seen, found and walked (TOML); every table is optional.

    ``flight`` names the pieces and devices.

    Result: the observations, and what was assumed in reading them, a sentence each. Raises
    `InputError`, one line that names the file, the table and key, and what is accepted.
    """
    found: list[Observation] = []
    notes: list[str] = []
    tree = build_cases(flight)
    for file in files:
        reader = _Reader(file, flight, tree, site)
        for key, value in toml_of(Path(file)).items():
            found += reader.read(key, value)
        notes += dict.fromkeys(reader.assumed)
    return tuple(found), tuple(notes)


class _Reader:
    """Turns the tables of one file into observations."""

    def __init__(self, source: str, flight: Flight, tree: CaseTree, site: Site) -> None:
        self.source, self.site, self.flight = source, site, flight
        self.pieces = pieces_of(flight)
        self.devices = [device.name for device in flight.devices]
        self.causes = {case.name: case.cause for case in tree.cases}
        self.assumed: list[str] = []
        self._kinds: Mapping[str, Callable[[SeenTable], Iterator[Observation]]] = {
            "case": self._case,
            "opening": self._opening,
            "came_off": self._came_off,
            "seen": self._seen,
            "beacon": self._beacon,
            "down": self._down,
            "altimeter": self._altimeter,
            "found": self._found,
            "walked": self._walked,
        }

    def read(self, key: str, value: object) -> Iterator[Observation]:
        """Read one key of the file: a table or a list of tables."""
        top = SeenTable(self.source, "", {key: value}, self.site)
        top.one_of("", key, list(self._kinds))
        tables = value if isinstance(value, list) else [value]
        for number, data in enumerate(tables, 1):
            where = key if len(tables) == 1 else f"{key} {number}"
            table = SeenTable(self.source, where, data, self.site)
            yield from self._kinds[key](table)
            table.finish()

    def _piece(self, table: SeenTable) -> str:
        return table.one_of("piece", table.get("piece") or ROCKET, self.pieces)

    def _case(self, table: SeenTable) -> Iterator[Observation]:
        known = [*dict.fromkeys([*self.causes, *self.causes.values()])]
        only, never = table.names("is", known), table.names("not", known)
        odds = dict.fromkeys(self.causes, 1.0)
        for name, cause in self.causes.items():
            if (only and not {name, cause} & {*only}) or {name, cause} & {*never}:
                odds[name] = 0.0
        if (suspected := table.get("suspected")) is not None:
            self._suspect(table, suspected, known, odds)
        if not any(odds.values()):
            raise table.refusal("", "rules out every case")
        told = [f"what happened: {' or '.join(only)}"] if only else []
        told += [f"what did not happen: {', '.join(never)}"] if never else []
        told += ["some cases are suspected more than the flight file says"] * (
            suspected is not None
        )
        yield Odds(odds, "; ".join(told))

    def _suspect(
        self, table: SeenTable, value: object, known: list[str], odds: dict[str, float]
    ) -> None:
        inner = SeenTable(self.source, f"{table.where}.suspected", value, self.site)
        for key in inner.data:
            inner.one_of("", key, known)
            factor = inner.quantity(key, "number", 1e-6, 1e6)
            for name, cause in self.causes.items():
                if key in {name, cause}:
                    odds[name] *= factor or 1.0

    def _when(self, table: SeenTable) -> dict[str, Any]:
        told: dict[str, Any] = table.with_error("time", "time", 1.0, 0, _LONGEST)
        told |= table.with_error("height", "length", 30.0, 0, _HIGHEST)
        if not told:
            raise table.refusal("", "must give a time after lift-off or a height")
        return told

    def _opening(self, table: SeenTable) -> Iterator[Observation]:
        if device := table.text("device"):
            table.one_of("device", device, self.devices)
        yield SeenMoment(device, "opened", **self._when(table))

    def _came_off(self, table: SeenTable) -> Iterator[Observation]:
        others = [p for p in self.pieces if p != ROCKET]
        piece = table.one_of(
            "piece", table.given("piece", table.get("piece"), '; such as "fin"'), others
        )
        yield SeenMoment(piece, "came off", **self._when(table))

    def _seen(self, table: SeenTable) -> Iterator[Observation]:
        piece = self._piece(table)
        east, north, place = table.point("from", '"pad" or [41.604, -117.952]')
        time = table.quantity("time", "time", 0, _LONGEST)
        bearing = table.bearing()
        up = table.with_error("elevation", "angle", 5 * pi / 180, -pi / 2, pi / 2)
        beyond = table.measured("beyond", "length", 50.0, 0, 50_000)
        if not (bearing or up or beyond):
            text = "must give bearing, magnetic_bearing, elevation or beyond"
            raise table.refusal("", text)
        last = table.get("last")
        last = False if last is None else last
        if not isinstance(last, bool) or (last and time is not None):
            raise table.refusal("last", "must be true or left out, and beside no time")
        if up and time is None and not last:
            text = "needs the time after lift-off at which it was seen, or last = true"
            raise table.refusal("elevation", text)
        if bearing or up:
            angles: dict[str, Any] = {**up, "last": last}
            if bearing:
                angles |= {"bearing": bearing[0], "bearing_error": bearing[1]}
            yield Sighted(piece, east, north, place, time, **angles)
        if beyond:
            yield Went(piece, east, north, place, *beyond)

    def _beacon(self, table: SeenTable) -> Iterator[Observation]:
        piece = self._piece(table)
        east, north, place = table.point("from", '"pad" or [41.604, -117.952]')
        wanted = '; such as "245 deg +/- 8 deg"'
        bearing = table.given("bearing", table.bearing(), wanted)
        yield Sighted(piece, east, north, place, None, *bearing)

    def _down(self, table: SeenTable) -> Iterator[Observation]:
        piece = self._piece(table)
        time = table.measured("time", "time", 3.0, 0, _LONGEST)
        time = table.given("time", time, '; such as "85 s +/- 5 s"')
        yield SeenMoment(piece, "was down", *time)

    def _altimeter(self, table: SeenTable) -> Iterator[Observation]:
        height = table.measured("apogee", "length", 10.0, 0, _HIGHEST)
        name = table.text("record")
        if (height is None) == (not name):
            text = 'must give apogee, such as "812 m +/- 10 m", or record, a CSV file'
            raise table.refusal("", text)
        if height:
            yield SeenMoment(ROCKET, "was highest", None, 1.0, *height)
        else:
            yield self._record(table, Path(self.source).parent / name)

    def _record(self, table: SeenTable, path: Path) -> Observation:
        text = read_text(path, most=LARGEST_RECORD)
        try:
            trace = trace_of(read_record(text, str(path)))
        except ValueError as problem:
            raise table.refusal("record", f"{path.name}: {problem}") from None
        own, share, clock = TRACE_ERROR
        self.assumed.append(
            f"an altimeter's record: {own:g} m at each height, {share:.0%} on all, "
            f"{clock:g} s on its clock (assumed)"
        )
        return trace

    def _found(self, table: SeenTable) -> Iterator[Observation]:
        piece = self._piece(table)
        east, north, _ = table.point("at", "[41.606, -117.948]")
        error = table.quantity("error", "length", 0.1, 5000)
        if error is None:
            text = f"finds without an error: {_GPS_ERROR:g} m each way (assumed)"
            self.assumed.append(text)
        yield Find(piece, east, north, error or _GPS_ERROR)
        table.text("remark")
        words = table.names("state", list(STATES))
        self._check_state(table, piece, words)
        if words:
            text = "how often what struck, tore or tangled so is found in such a state"
            self.assumed.append(f"{text} (assumed)")
            yield FoundState(piece, tuple(dict.fromkeys(words)))

    def _check_state(self, table: SeenTable, piece: str, words: list[str]) -> None:
        """Refuse states that no such piece has, or that contradict each other."""
        cloth = piece in self.devices
        own = ("torn", "tangled", "unopened") if cloth else ("broken", *_INTO)
        for word in words:
            if word not in (*own, "whole", "burnt"):
                text = f"{word!r} is no state of the {piece}; accepted: "
                raise table.refusal("state", text + ", ".join((*own, "whole", "burnt")))
        if "whole" in words and {"broken", "torn"} & {*words}:
            raise table.refusal("state", "cannot be whole beside broken or torn")

    def _walked(self, table: SeenTable) -> Iterator[Observation]:
        piece = self._piece(table)
        shape = self._walked_ground(table)
        cover = table.one_of("cover", table.get("cover") or "grass", list(SWEEP_WIDTH))
        width = table.quantity("sweep_width", "length", 0.1, 1000)
        if width is None:
            width = SWEEP_WIDTH[cover] * (SMALL if is_small(self.flight, piece) else 1)
            what = f"{width:.3g} m of {cover} for the {piece}"
            self.assumed.append(f"one walker sweeps {what} (assumed)")
        spacing = table.quantity("spacing", "length", 0.1, 1000)
        spacing = table.given("spacing", spacing, ': between tracks, such as "10 m"')
        law = table.one_of("law", table.get("law") or "random", list(_LAWS))
        passes = table.quantity("passes", "number", 1, 100) or 1.0
        seen = 1 - (1 - float(_LAWS[law](width, spacing))) ** passes
        yield Walked(piece, shape, min(seen, SUREST), table.text("who"))

    def _walked_ground(self, table: SeenTable) -> BaseGeometry:
        shape = table.ground("ground")
        if shape is not None:
            return shape
        table.given("ground", table.get("around"), ": corners, or around and radius")
        east, north, _ = table.point("around", "[41.606, -117.948]")
        radius = table.quantity("radius", "length", 1, 10_000)
        radius = table.given("radius", radius, '; such as "100 m"')
        return shapely.Point(east, north).buffer(radius)
