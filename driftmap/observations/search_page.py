"""The search page, which keeps count on a phone."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from driftmap.core.units import FOOT
from driftmap.ground.areas import Site
from driftmap.observations.chances import HELD_SHARES, Chances, chances_of, smallest
from driftmap.observations.figures import Find
from driftmap.observations.observation import FAR_IN, SUREST, SWEEP_WIDTH
from driftmap.observations.search_picture import drawn_in, outline_rings, picture
from driftmap.observations.seenfile import Observed
from driftmap.observations.targeted_flights import ENOUGH
from driftmap.observations.walk import Sweep, Walkers, plan_walk
from driftmap.observations.weighing import Weighed
from driftmap.report.page import render, script_constant, text_of, words_for_script
from driftmap.report.sentences import case_words
from driftmap.report.voice import Voice
from driftmap.report.words import Units, flown_at, isolate, tied

_ROOM: Final = "driftmap.observations"
_SCRIPTS: Final = ("order.js", "search.js")
_ACRE: Final = 4046.8564224  # m2, exact (66 by 660 international feet)


def walk_cautions(voice: Voice) -> list[str]:
    """Return what every page, sheet and file of a search says; power lines first."""
    return [voice.say(f"walk.{number}") for number in range(1, 5)]


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """A search as it is handed to those who walk.

    Parameters
    ----------
    flight, when : str
        Name of the flight, and when it flew; empty where nobody told.
    site : Site
        Its site.
    chances : Chances
        Where the piece may lie.
    walkers : Walkers
        Who walks, and how.
    sweeps : tuple of Sweep
        The order of walking.
    start : (float, float)
        Where the walkers stand, from the pad [m].
    told, doubts : tuple of str
        What was seen, a sentence each, and why it should be asked about again.
    found : tuple of (str, float, float)
        Pieces found already, and where, from the pad [m].
    cases : tuple of (str, float)
        Chance of each case after that, the likeliest first.
    notes : tuple of str
        What was assumed, and what all this rests on.
    """

    flight: str
    when: str
    site: Site
    chances: Chances
    walkers: Walkers
    sweeps: tuple[Sweep, ...]
    start: tuple[float, float]
    told: tuple[str, ...]
    doubts: tuple[str, ...]
    found: tuple[tuple[str, float, float], ...]
    cases: tuple[tuple[str, float], ...]
    notes: tuple[str, ...]


def plan_search(
    seen: Observed,
    known: Weighed,
    piece: str,
    who: Walkers,
    start: tuple[float, float],
    voice: Voice,
) -> Search:
    """Say where to look for a piece and in which order to walk.

    ``seen``: what was seen of the flight, and ``known``: its flights weighed by that;
    ``who``: who walks; ``start``: where they stand, from the pad [m].

    Raises `ValueError` if no squares can be laid over where it may lie.
    """
    chances = chances_of(known, piece, seen.site, voice)
    walking = (
        f"one walker sweeps {who.widths[who.cover]:.3g} m of {who.cover} (assumed); searchers "
        "do not keep line: Koopman's formula of random search (from memory)"
    )
    return Search(
        flight=seen.flight.name,
        when=flown_at(seen.when),
        site=seen.site,
        chances=chances,
        walkers=who,
        sweeps=plan_walk(chances, who, start),
        start=start,
        told=seen.sentences(known, FAR_IN[voice.units]),
        doubts=tuple(_doubts(known, voice)),
        found=tuple(
            (o.piece, o.east, o.north) for o in seen.told if isinstance(o, Find)
        ),
        cases=tuple(sorted(known.chances.items(), key=lambda c: -c[1])),
        notes=tuple(dict.fromkeys([*seen.notes(known), walking])),
    )


def _doubts(known: Weighed, voice: Voice) -> Iterator[str]:
    """Say what speaks against walking where the squares say, a sentence each."""
    if odd := known.doubted:
        what = "; ".join(isolate(one.says(FAR_IN[voice.units])) for one in odd)
        yield voice.say("search.odd", what=what)
    if known.effective < ENOUGH:
        yield voice.say("search.few", count=voice.count(int(known.effective)))


def whose(search: Search, voice: Voice) -> str:
    """Say what flew where, and when where that was told."""
    told = {"flight": isolate(search.flight), "site": isolate(search.site.name)}
    said = voice.say("search.at", **told)
    return f"{said}, {search.when}" if search.when else said


def search_html(search: Search, voice: Voice) -> str:
    """Write a search as one page.

    Result: an HTML document that needs nothing from outside; the same search gives the
    same text.
    """
    facts = words_for_script(voice, "search"), text_of("say.js")
    data = script_constant("SEARCH", _data(search, voice.units))
    script = "\n".join([*facts, data, *(text_of(name, _ROOM) for name in _SCRIPTS)])
    chances = search.chances
    return render(
        "search.html",
        voice,
        room=_ROOM,
        styles=[text_of(name, _ROOM) for name in ("chart.css", "search.css")],
        scripts=[script],
        picture=picture(chances, search.site, voice, found=search.found),
        drawn=drawn_in(chances, search.site, voice),
        flight=search.flight,
        site=search.site.name,
        at=whose(search, voice),
        doubts=search.doubts,
        piece=voice.known("piece", chances.piece),
        told=search.told,
        cases=[
            (
                case_words(name, voice),
                voice.say("search.under")
                if chance < 0.001
                else tied(voice.number(f"{100 * chance:.1f} %")),
            )
            for name, chance in search.cases
        ],
        notes=search.notes,
        cautions=walk_cautions(voice),
        covers=list(SWEEP_WIDTH),
        walkers=search.walkers,
        side=voice.exact_distance(chances.squares.size),
        shares=share_sentences(chances, voice),
    )


def share_sentences(chances: Chances, voice: Voice) -> list[str]:
    """Tell how much ground holds each share, and in how many squares, a sentence each."""
    told = []
    size, key = (_ACRE, "acres") if voice.units == "us" else (1e4, "hectares")
    for line, share in zip(chances.lines, HELD_SHARES, strict=True):
        area = line.shape.area / size
        digits = ",.0f" if area >= 100 else ",.1f" if area >= 0.1 else ".1g"
        count = smallest(chances.listed, share)
        told.append(
            voice.say(
                "search.holds" if count > 1 else "search.holds_one",
                share=voice.percent(share),
                ground=voice.say(
                    f"search.{key}", size=voice.number(f"{area:{digits}}")
                ),
                count=voice.count(count),
            )
        )
    return told


def _data(search: Search, units: Units) -> dict[str, Any]:
    chances, grid = search.chances, search.chances.squares
    data = {
        "piece": chances.piece,
        "size": grid.size,
        "west": grid.west,
        "south": grid.south,
        "rows": grid.rows,
        "unit": {"us": ["ft", FOOT], "si": ["m", 1.0]}[units],
        "squares": [
            [s.name, s.column, s.row, round(s.chance, 7), list(s.cautions)]
            for s in chances.listed
        ],
        "widths": search.walkers.widths,
        "surest": SUREST,
        "walkers": asdict(search.walkers),
        "start": [round(v, 1) for v in search.start],
        "dangers": [
            [d.text, [ring.round().tolist() for ring in outline_rings(d.shape, 1.0)]]
            for d in chances.dangers
        ],
        "at": _linear(search.site),
    }
    whole = json.dumps(data, sort_keys=True)
    # Only pages of one and the same search may be put together.
    return {**data, "id": hashlib.sha256(whole.encode()).hexdigest()[:16]}


def _linear(site: Site) -> list[float]:
    """Return latitude and longitude of the pad, and metres for a degree of each there.

    Good to a metre within 3 km, which is less than a phone's own error.
    """
    place, step = (site.latitude, site.longitude), 0.01
    east = float(site.to_local(place[1] + step, place[0])[0]) / step
    north = float(site.to_local(place[1], place[0] + step)[1]) / step
    return [*place, round(north, 1), round(east, 1)]


def run_name(sweep: Sweep, voice: Voice) -> str:
    """Name the squares of a sweep by the first and the last."""
    first, last, count = sweep.squares[0], sweep.squares[-1], len(sweep.squares)
    words = {"first": first, "last": last, "count": voice.count(count)}
    return voice.say("search.run", **words) if count > 1 else first


def planned(sweeps: Sequence[Sweep], voice: Voice) -> list[list[str]]:
    """Lay out the order of walking as a table."""
    keys = ("sweep", "squares", "way", "finds", "left", "mind")
    rows = [[voice.say(f"search.{key}") for key in keys]]
    for number, sweep in enumerate(sweeps, 1):
        finds, left = (
            voice.number(f"{100 * p:.{digits}f} %")
            for p, digits in ((sweep.gain, 1), (sweep.left, 0))
        )
        way = voice.exact_distance(sweep.metres)
        rows.append(
            [
                str(number),
                run_name(sweep, voice),
                way,
                finds,
                left,
                "; ".join(sweep.mind),
            ]
        )
    return rows
