"""Give every reader damaged inputs by the hundred thousand: its own function, no command.

    python tests/benchmarks/million.py [INPUTS] [--counts FILE] [--reader NAME] [--first N]

`hostile.py` calls the whole command line for each input, which tells what people see of it; this
calls what reads the input, many times as often in the same time. A reader must give what it read
or refuse it by one of our errors: one line of bounded length that steers no terminal. Anything
else, a warning or more than 10 s is a fault, told with its number, which makes it again. What was
counted stands in FILE after every thousand, and the next run goes on from there.
"""

import argparse
import random
import signal
import sys
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from damage import damaged, damaged_words
from hostile import READERS, ROOT, SITE, WHEN, Counts, Late, bounded, late, seed_of
from odd_rockets import odd_rocket

from driftmap.cli.times import flight_time
from driftmap.core.errors import DriftmapError, located, visible
from driftmap.core.files import read_text
from driftmap.core.units import parse_spread
from driftmap.ground.site import read_site
from driftmap.logbook.entry_bodies import outcome_body
from driftmap.logbook.exchange import read_export, stands_alone
from driftmap.logbook.store import Log
from driftmap.observations.seenfile import read_seen
from driftmap.planning.hours import read_hours
from driftmap.planning.season_aloft import read_soundings
from driftmap.rocket.altimeter_record import cut_way_up, read_record
from driftmap.rocket.curvefile import read_curve
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import answers_to
from driftmap.rules.occasion import Occasion
from driftmap.rules.reading import picked_rules, read_rules
from driftmap.winds.formats import decode
from driftmap.winds.merge import merge
from driftmap.winds.reading import Setting

LONGEST = 10  # s of processor time
HOURS = "time_utc,from_deg,speed_kt,gust_kt\n" + "".join(
    f"2026-05-0{1 + i // 24}T{i % 24:02d}:00Z,{37 * i % 360},{i % 19},{i % 19 + 4}\n"
    for i in range(60)
)
WORDS = (
    *("12 mph from 240", "SW 9 mph, gusts 14", "calm", "5-8 kt from the north-west"),
    *(
        "light and variable",
        "9 mph from SW, gusting to 14 mph; at 300 m 20 kt from 250",
    ),
    *("METAR KXYZ 131520Z 08004KT 10SM CLR 35/05 A2992", "3 m/s, 270°, 4 m/s at 100 m"),
)
AMOUNTS = (
    *(("1.85 kg +/- 20 g", "mass"), ("57 mm", "length"), ("4 deg +/- 1 deg", "angle")),
    *(("20 mph", "speed"), ("0.75 +/- 5 %", "share"), ("4,100 ft", "length")),
)


@dataclass(frozen=True, slots=True)
class Hearer:
    """A reader's own function, whole inputs for it, and how often it is tried."""

    read: Callable[[Path], object]
    seeds: tuple[str, ...]
    share: float
    makes: Callable[[random.Random], bytes] | None = None  # in place of damage


@cache
def _here() -> tuple[object, object, object]:
    site = read_site(ROOT / SITE)
    when = flight_time(WHEN[1])
    place = (site.latitude, site.longitude)
    now = datetime(2026, 6, 13, 15, 20, tzinfo=UTC)
    return site, Setting(site.elevation, when=when, place=place, now=now), when


@cache
def _asked() -> tuple[object, object]:
    site, _, when = _here()
    occasion = Occasion(site.name, "Willet 54", when, site.longitude)
    return picked_rules(site), occasion


@cache
def _willet() -> object:
    return read_flight(ROOT / "examples/willet.toml")


def _wind(path: Path) -> None:
    setting = _here()[1]
    merge(decode(str(path), setting), setting)


def _words(path: Path) -> None:
    setting = _here()[1]
    text = path.read_bytes().decode("utf-8", "replace")
    merge(decode(text, setting), setting)


def _amount(path: Path) -> None:
    dimension, _, text = path.read_bytes().decode("utf-8", "replace").partition("|")
    with located("amount", dimension):
        parse_spread(text, dimension)


def _log(path: Path) -> None:
    with Log(path) as log:
        log.faults()
        log.entries()


def _export(path: Path) -> None:
    stands_alone(*read_export(read_text(path), str(path)), str(path))


def _record(path: Path) -> None:
    with located(path.name, ""):  # as the flight that names it does
        cut_way_up(read_record(read_text(path), path.name))


def _typed(rng: random.Random) -> bytes:
    text = damaged_words(rng, rng.choice(WORDS))
    return (text if rng.random() < 0.5 else damaged_words(rng, text)).encode()


def _told(rng: random.Random) -> bytes:
    text, dimension = rng.choice(AMOUNTS)
    return f"{dimension}|{damaged_words(rng, text)}".encode()


HEARERS = {
    "flight file": Hearer(read_flight, READERS["flight file"].seeds, 8),
    "odd rocket": Hearer(read_flight, (), 2, lambda rng: odd_rocket(rng).encode()),
    "motor curve": Hearer(
        lambda path: read_curve(read_text(path), path.name),
        READERS["motor curve"].seeds,
        15,
    ),
    "altimeter's record": Hearer(_record, ("examples/plover_flight.csv",), 4),
    "site": Hearer(read_site, READERS["site"].seeds, 8),
    "wind": Hearer(_wind, READERS["wind"].seeds, 15),
    "wind in words": Hearer(_words, (), 15, _typed),
    "hours of a season": Hearer(read_hours, ("HOURS",), 10),
    "soundings of a season": Hearer(
        lambda path: read_soundings([path], _here()[1]), READERS["wind"].seeds, 8
    ),
    "answers": Hearer(
        lambda path: answers_to([path], *_asked()), READERS["answers"].seeds, 12
    ),
    "rule file": Hearer(
        lambda path: read_rules([str(path)], base="/"), READERS["rule file"].seeds, 4
    ),
    "outcome": Hearer(
        lambda path: outcome_body(path, ()), READERS["outcome"].seeds, 12
    ),
    "log": Hearer(_log, ("LOG",), 8),
    "log's export": Hearer(_export, ("EXPORT",), 8),
    "found and seen": Hearer(
        lambda path: read_seen([str(path)], _willet(), _here()[0]),
        READERS["found"].seeds,
        4,
    ),
    "amount with a unit": Hearer(_amount, (), 15, _told),
}
"""Every reader, the cheap ones tried more often."""


def _whole(name: str) -> bytes:
    return HOURS.encode() if name == "HOURS" else seed_of(name)


def _given(name: str, number: int) -> tuple[bytes, str]:
    """Make an input; the same number makes it again."""
    rng, hearer = random.Random(f"{name} {number}"), HEARERS[name]
    if hearer.makes is not None:
        return hearer.makes(rng), ".toml"
    seed = rng.choice(hearer.seeds)
    other = rng.choice([h for h in HEARERS.values() if h.seeds]).seeds
    suffix = Path(seed).suffix or {"HOURS": ".csv"}.get(seed, ".sqlite")
    return damaged(rng, _whole(seed), _whole(rng.choice(other))), suffix


def attempt(name: str, number: int, folder: Path) -> tuple[str, str]:
    """Hand one input to its reader, and tell how that ended."""
    data, suffix = _given(name, number)
    path = folder / f"hostile{suffix}"
    path.write_bytes(data)
    try:
        signal.setitimer(signal.ITIMER_PROF, LONGEST)
        try:
            HEARERS[name].read(path)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
    except DriftmapError as problem:
        told = str(problem)
        if not told.strip() or len(told) > 700 or told != visible(told):
            return "fault", f"says {told[:300]!r}"
        return "refused", ""
    except Late:
        return "late", f"more than {LONGEST} s"
    except BaseException as problem:
        if isinstance(problem, KeyboardInterrupt):
            raise
        return "fault", repr(problem)[:300]
    finally:
        if suffix == ".sqlite":
            for left in folder.glob("hostile.sqlite*"):
                left.unlink()
    return "read", ""


def campaign(names: list[str], inputs: int, counts: Counts) -> None:
    """Try inputs by number, a reader drawn for each, and count."""
    shares = [HEARERS[name].share for name in names]
    signal.signal(signal.SIGPROF, late)
    with tempfile.TemporaryDirectory() as place, warnings.catch_warnings():
        warnings.simplefilter("error")
        for number in range(counts.first, counts.first + inputs):
            (name,) = random.Random(number).choices(names, shares)
            ended, why = attempt(name, number, Path(place))
            counts.by[name][ended] += 1
            if why:
                print(f"{name}, input {number}: {ended}: {why}", flush=True)
            if number % 1000 == 999:
                counts.keep(number + 1)


def main() -> int:
    """Run a campaign, or go on with one, and print what it counted."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("inputs", nargs="?", type=int, default=20_000)
    asked.add_argument("--counts", type=Path, help="goes on from what stands there")
    asked.add_argument("--reader", choices=HEARERS)
    asked.add_argument("--first", type=int, default=0)
    given = asked.parse_args()
    names = [given.reader] if given.reader else list(HEARERS)
    counts = Counts(names, given.counts, given.first)
    bounded()
    try:
        campaign(names, given.inputs, counts)
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    return counts.told("read", "refused", "fault", "late")


if __name__ == "__main__":
    raise SystemExit(main())
