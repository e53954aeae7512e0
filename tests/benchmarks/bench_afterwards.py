"""Proof of what comes after the flight: run it, read the table.

    python tests/benchmarks/bench_afterwards.py [--kept FOLDER] [PART ...] > rows
    python tests/benchmarks/bench_afterwards.py --write rows ...

Truths are flown apart from the flights that are weighed. One cloud is flown for all reports,
and each report weighs it anew. The richer truth is an integrator of its own
(`truths.richer_landings`). ``--write`` puts what runs have printed into MEASURED.md as one table.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does

import json
import sys
import tempfile
import time
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import numpy as np
import shapely
from known_falls import compared as compared_exactly
from known_falls import flights_of
from truths import (
    Plant,
    Truth,
    draw_truths,
    evidence,
    finds,
    one_of,
    reports,
    richer_landings,
)

from driftmap import fly, read_flight, read_site, read_wind
from driftmap.air.turbulence import thermals
from driftmap.air.winderror import draw_wind
from driftmap.core.estimate import binomial
from driftmap.core.points import SHARES
from driftmap.ground.projection import to_lonlat
from driftmap.logbook import factors, findings
from driftmap.logbook.entry import new_entry
from driftmap.logbook.entry_bodies import assessment_entry, kept_inputs
from driftmap.logbook.store import Log
from driftmap.logbook.verification import Flew, _turned, flew_of, records_of
from driftmap.observations.case_flights import flown_cases
from driftmap.observations.chances import chances_of
from driftmap.observations.observation import Odds
from driftmap.observations.targeted_flights import ENOUGH, FIRST, LOT, know, plainly
from driftmap.observations.weighing import ODD, fit_of, weigh
from driftmap.report.voice import english
from driftmap.verdict.assessment import assess

ROOT = Path(__file__).parents[2]
SITE = read_site(ROOT / "sites" / "saltgrass-flat.geojson")
FLIGHT = read_flight(ROOT / "examples" / "willet.toml")
MARK = (
    "<!-- afterwards: written by bench_afterwards.py -->",
    "<!-- afterwards: end -->",
)
KEPT = None  # a folder for what a run has made, for the next to go on from
DAYS, EACH, LOGS = 50, 40, 40
KINDS = ("words", "surface report (METAR)", "table of layers")
AGES = ("", ", 2 hours ago")
FAILURES = {"late opening": 0.06, "nothing deploys": 0.01}
ASSUMED = {"late opening": 1.0, "nothing deploys": 3.0}  # %


def day(number):
    """Give the wind of a day as it was read."""
    words = f"{6 + number % 7} mph from {(40 * number) % 360}"
    return read_wind(words + AGES[number // 3 % 2], site_altitude=SITE.elevation)


def flown(seed, samples, bodies=None):
    """Fly the demo flight of one day."""
    wind = day(1)
    asked = {"samples": samples, "seed": seed, "bodies": bodies, "keep_falls": True}
    cloud = fly(FLIGHT, wind, SITE.elevation, **asked)
    return wind, cloud


WIND = day(1)
LOOKED_AT = ("rocket", "fin", "nose cone")
CLOUD = cache(lambda: flown(1, 16_384, LOOKED_AT)[1])
FEW = cache(lambda: flown(3, 8192, LOOKED_AT)[1])
TRUTHS = cache(lambda: flown(2, 8192, LOOKED_AT)[1])


def in_lots(name, count, size, make):
    """Make figures in lots, each of luck of its own; those kept before are not made again."""
    found = []
    for number in range(count // size):
        path = KEPT and KEPT / f"{name} {number}.json"
        if path and path.exists():
            lot = json.loads(path.read_text(encoding="utf-8"))
        else:
            lot = make(np.random.default_rng([7, number]), size)
        if path and not path.exists():
            path.write_text(json.dumps(lot), encoding="utf-8")
        found += lot
    return found


def share(hits, count):
    p = binomial(int(hits), int(count))
    return f"{100 * p.estimate:.1f} % ({100 * p.lower:.1f} to {100 * p.upper:.1f})"


def told(figure, unit=""):
    return f"{figure.value:.2f}{unit} ({figure.lower:.2f} to {figure.upper:.2f})"


def search_own():
    """Count how often the least ground held the rocket."""
    rng, (wind, cloud), (_, other) = (
        np.random.default_rng(7),
        flown(1, 16_384),
        flown(2, 8192),
    )
    cases = flown_cases(cloud, wind)
    lots = []
    for truth in draw_truths(other, wind, 2000, rng):
        known = weigh(cases, reports(truth, rng))
        # On fewer, more would be flown toward what was seen.
        if known.fitting >= ENOUGH:
            lots.append((truth.lies("rocket"), known))
    yield from held(lots, f"own truth, {len(lots)} of 2,000 on 200 flights or more")


def held(lots, name):
    yield from counted([inside(*lot) for lot in lots], name)


def inside(lies, known):
    """Tell which of the grounds of 50, 80 and 95 % hold a place."""
    lines = chances_of(known, "rocket", SITE, english("us")).lines
    return [bool(line.shape.covers(shapely.Point(*lies))) for line in lines]


def counted(hits, name):
    for line, count in zip((50, 80, 95), np.sum(hits, axis=0), strict=True):
        yield (
            f"search: {line} % ground held the rocket, {name}",
            share(count, len(hits)),
        )


def search_richer():
    """The same where canopies come down in richer air than any that was flown.

    In the mean wind, each day's stronger or weaker and turning; and in air of which wind and
    thermals err as the forecast says that they do.
    """
    for count, told, name in (
        (240, False, "richer truth"),
        (480, True, "richer truth in air that errs as told"),
    ):
        hits = in_lots(
            f"{name}", count, 60, lambda rng, n, told=told: richer(rng, n, told)
        )
        yield from counted(hits, f"{name}, {count} times")


def richer(rng, count, as_told):
    """Let canopies down in richer air; tell which grounds hold each."""
    works, *_ = flown_cases(CLOUD(), WIND)
    heights, start = np.arange(0.0, 2400.0, 40.0), works.top()
    start = np.stack([*start, works.highest()[1]])[
        :, rng.integers(start.shape[1], size=count)
    ]
    air = grid([WIND] * count)
    if as_told:
        rows = (
            *draw_wind(WIND, heights, count, rng),
            thermals(heights, WIND.convection, count, rng),
        )
        air = 40.0, np.stack(rows, axis=1).T
    plant = Plant(np.ones(count), np.ones(count), np.zeros(count))
    area, mass = np.full(count, drag_area()), np.full(count, FLIGHT.dry_mass)
    lay = richer_landings(np.arange(count), start, area, mass, plant, air, rng)
    hits = []
    for at in lay.T:
        # Seen under its canopy, and going down from where the others stood too.
        stand_in = Truth(Lying(at), 0)
        told = [o for o in reports(stand_in, rng) if type(o).__name__ == "Sighted"]
        hits.append(inside(at, weigh([works], told)))
    return hits


class Lying:
    """A flight of which the place alone is known."""

    def __init__(self, at):
        self.at = at

    def landing(self, piece):
        """Give the place, whatever the piece."""
        del piece
        return self.at[:, None, None]

    def landed(self, piece):
        """Give no time."""
        del piece
        return np.zeros((1, 1))


def evenly(cases, others):
    """Make all cases alike in number, but those too rare to be judged by themselves.

    Those rest on a handful of flights, in the truth as in the cloud. Give the odds, and the
    truths of the cases left.
    """
    judged = {f.case.name: 1 / f.prior.sum() for f in cases if not f.case.rare}
    truths = [f for f in others if f.case.name in judged and not f.case.rare]
    kept = {f.case.name: judged[f.case.name] for f in truths}
    odds = {f.case.name: kept.get(f.case.name, 0.0) for f in cases}
    return Odds(odds, "cases drawn evenly"), truths


def explain_weights(count=480):
    """Hold stated chances of cases against how often they were true."""
    lots = in_lots("weights", count, 240, weighed)
    many = [lot for lot in lots if lot[2] >= ENOUGH]
    few = [lot for lot in lots if lot[2] < ENOUGH]
    name = f"{len(many)} of {count} reports, on 200 flights or more"
    yield from reliability([lot[:2] for lot in many], name)
    name = f"the other {len(few)}, which would fly more"
    yield from reliability([lot[:2] for lot in few], name, gap=True)


def weighed(rng, count):
    """Weigh reports; give each true case, the chances told and how many flights fit."""
    cases, lots = flown_cases(CLOUD(), WIND), []
    level, truths = evenly(cases, flown_cases(TRUTHS(), WIND))
    for number in range(count):
        truth = one_of(truths[number % len(truths)], rng)
        known = weigh(cases, [level, *evidence(truth, rng)])
        lots.append((truth.flown.case.name, known.chances, known.fitting))
    return lots


def explain_toward(name, tell, count):
    """The same of reports that few flights fit, with more flown toward each."""
    lots = in_lots(name, count, 1, partial(flown_toward, tell=tell))
    before = [(true, plain) for true, plain, _ in lots]
    yield from reliability(before, f"{len(lots)} {name} that few fit", gap=True)
    after = [(true, more) for true, _, more in lots]
    yield from reliability(after, f"these {len(lots)} {name}, flown toward")


def flown_toward(rng, count, tell):
    """Weigh reports that few flights fit; give each true case, chances before and after."""
    cases, lots = flown_cases(FEW(), WIND), []
    level, truths = evenly(cases, flown_cases(TRUTHS(), WIND))
    number = int(rng.integers(len(truths)))
    while len(lots) < count:
        truth = one_of(truths[number % len(truths)], rng)
        number += 1
        known = weigh(cases, [level, *tell(truth, rng)])
        if known.fitting < ENOUGH:
            more = know(known, WIND)
            lots.append((truth.flown.case.name, known.chances, more.chances))
    return lots


def explain_plain(seeds=(31, 32, 33, 34)):
    """Hold chances told by flights flown toward reports against those of plain flights."""
    lots = [lot for seed in seeds for lot in beside_plain(seed)]
    yield from compared(lots, f"{len(lots)} other such reports")


def beside_plain(seed, count=30):
    """Weigh reports that few fit by flights flown toward them, and by 98,304 plain ones.

    No luck of a true case is in their difference. Give for each report its true case and both
    chances.
    """
    rng, (wind, cloud), (_, other) = (
        np.random.default_rng(seed),
        flown(10 * seed + 1, 8192),
        flown(10 * seed + 2, 8192),
    )
    cases, lots, number = flown_cases(cloud, wind), [], 0
    level, truths = evenly(cases, flown_cases(other, wind))
    while len(lots) < count:
        truth = one_of(truths[number % len(truths)], rng)
        number += 1
        seen = [level, *evidence(truth, rng)]
        known = weigh(cases, seen)
        if known.fitting < ENOUGH:
            ours = know(known, wind).chances
            lots.append((truth.flown.case.name, ours, seen, {}))
    total = np.zeros(count)
    for lot in (3, 4):
        _, many = flown(10 * seed + lot, 49_152, ("rocket", "fin"))
        plain = flown_cases(many, wind)
        for at, (_, _, seen, theirs) in enumerate(lots):
            known = weigh(plain, seen)
            total[at] += np.exp(known.log_evidence)
            for name, p in known.chances.items():
                theirs[name] = theirs.get(name, 0.0) + p * np.exp(known.log_evidence)
    return [
        (true, ours, {name: p / whole for name, p in theirs.items()})
        for (true, ours, _, theirs), whole in zip(lots, total, strict=True)
    ]


def compared(lots, name):
    """Tell how chances differ from those of plain flights, and how often either was true."""
    rows = np.array(
        [
            (p, theirs.get(case, 0.0), case == true)
            for true, ours, theirs in lots
            for case, p in ours.items()
        ]
    )
    for low, high in ((0.2, 0.4), (0.4, 0.6), (0.6, 1.0)):
        ours, theirs, had = rows[(low <= rows[:, 0]) & (rows[:, 0] < high)].T
        off, error = ours - theirs, 1.96 * np.std(ours - theirs, ddof=1)
        mean, error = off.mean(), error / np.sqrt(off.size)
        yield (
            f"explain: {100 * low:.0f} to {100 * high:.0f} % likely by flights flown toward "
            f"{name}, less what 98,304 plain ones give ({off.size} cases)",
            f"{100 * mean:.1f} % ({100 * (mean - error):.1f} to {100 * (mean + error):.1f})",
        )
        yield (
            f"explain: cases said so to be {100 * low:.0f} to {100 * high:.0f} % likely, on "
            f"average {100 * ours.mean():.1f} % ({name})",
            share(had.sum(), had.size),
        )


def explain_exact(count=400):
    """Hold chances told by flights flown toward reports against exact ones of a stand-in."""
    rows = np.array(in_lots("exact", count, 20, beside_exact))
    exact, _, told, errors = np.moveaxis(rows, 1, 0)
    for low, high in zip((0.0, *EDGES), (*EDGES, 1.01), strict=True):
        within = (low <= told) & (told < high)
        off = (told - exact)[within]
        mean, error = off.mean(), 1.96 * off.std(ddof=1) / np.sqrt(off.size)
        wide = np.sqrt(np.mean(off**2))
        yield (
            f"explain: said to be {100 * low:.0f} to {100 * min(high, 1):.0f} % likely, less the "
            f"exact chance ({off.size} cases of {count} reports of known falls)",
            f"{100 * mean:+.1f} % ({100 * (mean - error):+.1f} to {100 * (mean + error):+.1f}); "
            f"one is off by {100 * wide:.1f} %, told {100 * np.sqrt(np.mean(errors[within] ** 2)):.1f} %",
        )


def beside_exact(rng, count):
    """Give exact chances, those of plain flights, those told and their errors, by report."""
    with flights_of(2048) as cases:
        return compared_exactly(cases, rng, count).tolist()


EDGES = (0.05, 0.2, 0.4, 0.6, 0.8, 0.95)


def gap_of(said, had):
    """Give how far stated chances are off on average, and where over 5 % was said.

    Of cases that are spoken of at all: the many that are all but ruled out are easy.
    """
    place, gaps = np.digitize(said, EDGES), np.zeros(7)
    for number in set(place.tolist()):
        within = place == number
        gaps[number] = abs(said[within].mean() - had[within].mean())
    weight = np.bincount(place, minlength=7) / place.size
    spoken = weight * (np.arange(7) > 0) / max(weight[1:].sum(), 1e-9)
    return weight @ gaps, spoken @ gaps


def luck_alone(lots, said):
    """Give the gap, where over 5 % was said, of as many reports whose chances are right."""
    rng, gaps = np.random.default_rng(0), []
    each = [np.array([*chances.values()]) for _, chances in lots]
    for _ in range(1000):
        had = [rng.multinomial(1, p / p.sum()) for p in each]
        gaps.append(gap_of(said, np.concatenate(had))[1])
    return 100 * np.quantile(gaps, [0.025, 0.975])


def reliability(lots, name, *, gap=False):
    said = np.array([p for _, chances in lots for p in chances.values()])
    had = np.array([case == true for true, chances in lots for case in chances])
    place = np.digitize(said, EDGES)
    for number in range(7):
        within = place == number
        if within.sum() >= 20 and not gap:
            low, high = (0, 5, 20, 40, 60, 80, 95, 100)[number : number + 2]
            yield (
                f"explain: cases said to be {low} to {high} % likely, on average "
                f"{100 * said[within].mean():.1f} % ({name})",
                share(had[within].sum(), within.sum()),
            )
    whole, spoken = gap_of(said, had)
    low, high = luck_alone(lots, said)
    yield (
        f"explain: mean gap of stated chances ({name})",
        f"{100 * whole:.1f} %; {100 * spoken:.1f} % where over 5 % was said "
        f"(luck alone: {low:.1f} to {high:.1f})",
    )
    yield (
        f"explain: mean logarithm of the chance told of the true case ({name})",
        as_promised(lots),
    )


def as_promised(lots):
    """Test whether the true case is told as likely as the chances themselves promise.

    Were they right, the logarithm of the chance told of the true case would have the mean
    and the variance that they give it: one proper score of each report, all cases together.
    """
    each = [np.array([p for p in chances.values() if p > 0]) for _, chances in lots]
    promised = np.array([p @ np.log(p) for p in each])
    spread = sum(p @ np.log(p) ** 2 for p in each) - promised @ promised
    true = np.log([max(chances.get(name, 0.0), 1e-9) for name, chances in lots])
    off = (true - promised).sum() / np.sqrt(spread)
    return (
        f"{true.mean():.3f}, promised {promised.mean():.3f}: {off:+.1f} standard errors; "
        f"under 0.2 % in {np.sum(true < np.log(0.002))}"
    )


def explain_fit():
    """Count how often the true case is called odd."""
    rng, (wind, cloud), (_, other) = (
        np.random.default_rng(5),
        flown(1, 8192),
        flown(2, 8192),
    )
    cases, odd = flown_cases(cloud, wind), 0
    _, truths = evenly(cases, flown_cases(other, wind))
    for number in range(420):
        truth = one_of(truths[number % len(truths)], rng)
        fits = fit_of(weigh(cases, evidence(truth, rng)))
        odd += fits.get(truth.flown.case.name, 1.0) < ODD
    yield "explain: true case called odd, at most 1 % wanted", share(odd, 420)


def drag_area():
    main = FLIGHT.recovery[0]
    return float(main.cloth_area * main.given_drag().value)


def grid(winds):
    """Lay winds out at even heights: step, and (days, 2, k)."""
    heights = np.arange(0.0, 2400.0, 40.0)
    return 40.0, np.array([wind.at(heights) for wind in winds])


class Planted:
    """Forecasts of 50 days, and logs of what came of them in richer air."""

    def __init__(self):
        self.entries, self.contents, self.tops = [], [], []
        for number in range(DAYS):
            result = assess(FLIGHT, SITE, day(number), samples=1000, seed=number + 1)
            entry, contents = assessment_entry(
                result,
                kept_inputs({"flight": [str(ROOT / "examples" / "willet.toml")]}),
                when=f"2026-{1 + number // 25:02d}-{1 + number % 25:02d}T12:00+00:00",
                kinds=[KINDS[number % 3]],
            )
            self.entries.append(entry)
            self.contents += contents
            top = result.cloud.apogee
            self.tops.append(np.stack([top.east, top.north, top.height]))
        self.air = grid([day(number) for number in range(DAYS)])

    def draw(self, rng):
        """Draw the flights of one log: day, device, place and case of each."""
        who = np.repeat(np.arange(DAYS), EACH)
        spare = rng.random(who.size) < 0.4
        kind, old = who % 3, who // 3 % 2 == 1
        plant = Plant(
            drag=np.where(spare, 0.7, 1.4),
            speed=np.where(kind == 0, 1.15, 1.0) * np.where(old, 1.2, 1.0),
            turned=np.where(kind == 1, np.radians(12.0), 0.0),
        )
        start = np.stack(
            [self.tops[d][:, rng.integers(self.tops[d].shape[1])] for d in who], axis=1
        )
        area, mass = np.full(who.size, drag_area()), np.full(who.size, FLIGHT.dry_mass)
        lay = richer_landings(who, start, area, mass, plant, self.air, rng)
        edges = np.cumsum(list(FAILURES.values()))
        case = np.searchsorted(edges, rng.random(who.size), side="right")
        return who, np.where(spare, "spare", "main"), lay, case

    def outcomes(self, who, device, lay, case):
        """Write drawn flights as entries of a log."""
        names = [*FAILURES, "recovery works"]
        places = zip(*to_lonlat((SITE.longitude, SITE.latitude), *lay), strict=True)
        for d, what, at, number in zip(who, device, places, case, strict=True):
            body = {"flew": True, "case": names[number], "device": str(what)}
            if number == len(FAILURES):
                find = {"piece": "rocket", "at": [float(at[1]), float(at[0])]}
                body["found"] = [find]
            yield new_entry("outcome", body, about=self.entries[d].id)


def drawn_again(planted, models, rng):
    """Make the records and flights of a further log, from those of the first."""
    who, device, lay, case = planted.draw(rng)
    records, names = [], [*FAILURES, "recovery works"]
    for d, what, at, number in zip(who, device, lay.T, case, strict=True):
        if number == len(FAILURES):
            came = planted.entries[d].body["wind_10_m"]["from_rad"]
            found = _turned(at, came)
            records.append(replace(models[d], found=found, device=str(what)))
    likely = planted.entries[0].body["likelihoods"]
    return records, [Flew(names[number], likely) for number in case]


def figures(records, flights):
    """Give every figure with an interval that a review has for what was planted."""
    found = {
        "factor on the drift": factors.drift_factor(records),
        "factor on the spread across the wind": factors.width_factor(records),
    }
    for bias in findings._biases(records):
        found[f"{bias.group}, downwind [m]"] = bias.downwind
        found[f"{bias.group}, to the right [m]"] = bias.right
    for cause in factors.causes_of("", flights):
        if cause.cause in FAILURES:
            found[f"{cause.cause}, with its prior [%]"] = percent(cause.updated)
            found[f"{cause.cause}, by itself [%]"] = percent(cause.alone)
    return found


def percent(figure):
    values = (100 * v for v in (figure.value, figure.lower, figure.upper))
    return factors.WithInterval(*values, figure.flights)


def review_planted():
    """Plant biases in 2,000 entries; find and cover them, in one log and in 40."""
    rng, planted = np.random.default_rng(7), Planted()
    with tempfile.TemporaryDirectory() as folder, Log(f"{folder}/log.sqlite") as log:
        log.append(planted.entries, planted.contents)
        first = planted.draw(np.random.default_rng(8))
        log.append(list(planted.outcomes(*first)))
        entries = log.current()
    records, flights = records_of(entries), flew_of(entries)
    days = [r.day for r in records]
    models = [
        records[days.index(f"{e.body['when'][:10]} {SITE.name}")]
        for e in planted.entries
    ]
    one = figures(records, flights)
    logs = [figures(*drawn_again(planted, models, rng)) for _ in range(LOGS)]
    covered = total = 0
    for name, figure in one.items():
        # What is planted is what very many logs show on average.
        truth = float(np.mean([each[name].value for each in logs]))
        cause = name.partition(",")[0]
        truth = 100 * FAILURES[cause] if cause in FAILURES else truth
        hits = sum(each[name].holds(truth) for each in logs)
        covered, total = covered + hits, total + len(logs)
        sound = 1.0 if name.startswith("factor") else 0.0
        found = sum(not each[name].holds(sound) for each in logs)
        if cause in FAILURES:
            found = sum(not each[name].holds(ASSUMED[cause]) for each in logs)
        yield (
            f"review: {name}, planted {truth:.2f}",
            f"{told(figure)}; of {LOGS} logs {hits} cover it, {found} tell it from none",
        )
    yield f"review: intervals of {LOGS} logs of 2,000 that cover", share(covered, total)
    whole = findings.review(records, flights)
    for coverage, line in zip(whole.coverage, SHARES, strict=True):
        seen = percent(coverage.seen)
        yield (
            f"review: finds inside the {line:.0%} line of forecasts that err so",
            f"{seen.value:.1f} % ({seen.lower:.1f} to {seen.upper:.1f})",
        )


def speed():
    """Time a search of many flights a case, and of as many as are flown unless asked."""
    for samples in (100_000, 20_000):
        start = spent()
        first = samples if samples <= LOT else FIRST
        wind, cloud = flown(1, first, ("rocket",))  # what these reports look at
        took, rounds, counts = spent() - start, [], []
        for number in range(5):
            rng = np.random.default_rng(number)
            told = reports(one_of(flown_cases(cloud, wind)[0], rng), rng)
            start = spent()
            plain = plainly(cloud, wind, told, samples=samples, sparing=True)
            known = know(plain, wind)
            chances_of(known, "rocket", SITE, english("us"))
            rounds.append(spent() - start)
            counts.append(known.effective)
        yield (
            f"search: {samples:,} flights a case, processor time",
            f"{took:.1f} s to fly {first:,} of all, {min(rounds):.1f} to {max(rounds):.1f} s "
            f"beyond; {min(counts):,.0f} to {max(counts):,.0f} effective flights",
        )


def spent():
    """Give the processor time of this process and of those it waited for [s]."""
    return sum(os.times()[:4])


PARTS = {
    "search-own": search_own,
    "search-richer": search_richer,
    "explain-weights": explain_weights,
    "explain-sparse": partial(explain_toward, "reports", evidence, 120),
    "explain-finds": partial(
        explain_toward, "finds to 5 m", partial(finds, pieces=("rocket",)), 60
    ),
    "explain-pairs": partial(
        explain_toward,
        "pairs of finds to 5 m",
        partial(finds, pieces=("rocket", "fin")),
        60,
    ),
    "explain-apart": partial(
        explain_toward,
        "pairs without the rocket's",
        partial(finds, pieces=("fin", "nose cone")),
        30,
    ),
    "explain-plain": explain_plain,
    "explain-exact": explain_exact,
    "explain-fit": explain_fit,
    "review": review_planted,
    "speed": speed,
}


def main():
    """Run the parts asked for and print their rows, or write rows into the guide."""
    if sys.argv[1:2] == ["--write"]:
        write([Path(name).read_text(encoding="utf-8") for name in sys.argv[2:]])
        return
    names = sys.argv[1:]
    if names[:1] == ["--kept"]:
        global KEPT
        KEPT, names = Path(names[1]), names[2:]
        KEPT.mkdir(exist_ok=True)
    for name in names or PARTS:
        began = time.process_time()
        for what, figure in PARTS[name]():
            print(f"| {what} | {figure} |", flush=True)
        print(f"{name}: {time.process_time() - began:.0f} s of CPU", file=sys.stderr)


def write(texts):
    """Put printed rows into MEASURED.md as one table."""
    guide = Path(__file__).with_name("MEASURED.md")
    head, _, rest = guide.read_text(encoding="utf-8").partition(MARK[0])
    _, _, tail = rest.partition(MARK[1])
    rows = [line for text in texts for line in text.splitlines() if line[:2] == "| "]
    table = ["| what | figure (95 % interval) |", "| --- | --- |", *rows]
    whole = f"{head}{MARK[0]}\n\n" + "\n".join(table) + f"\n\n{MARK[1]}{tail}"
    guide.write_text(whole, encoding="utf-8")


if __name__ == "__main__":
    main()
