"""No plan is milder than the verdict of the very wind, minute and place that it speaks of.

Winds, hours of light, rails and places are drawn; each is judged by itself, on the same luck,
by the sun of its own minute, and held against what a season's bin, a sector of limits, a dial
and a layout say of it: word by word, and check by check where the plan's word is no no-go.
"""

import math
from collections import Counter, defaultdict
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from driftmap.air.sun import is_light
from driftmap.planning import dial, layout, season
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.dial_cells import CellBlock, work_out
from driftmap.planning.dial_reach import Reach
from driftmap.planning.distances import moved
from driftmap.planning.hours import HourReading, Hours
from driftmap.planning.trial import pack, try_flight
from driftmap.planning.wind_sweep import Sector, flights_of, forget_flights
from driftmap.planning.windlimits import scan_speeds
from driftmap.verdict.check import OUTCOMES, RANK, Kind, decide
from driftmap.verdict.setup import Setup

pytestmark = [pytest.mark.long, pytest.mark.usefixtures("any_word")]

NAMES_THE_WORST = {Kind.INDIVIDUAL_RISK, Kind.UNDER_THE_FALL}


def key_of(check):
    """Tell checks apart; the worst of all areas may be another one in each wind."""
    area = "" if check.kind in NAMES_THE_WORST else check.area
    return check.kind, check.name, check.case, area


class Case:
    """A flight set up at random, with a wind and a minute of light."""

    def __init__(self, rng, flight, site):
        self.rng = rng
        if rng.random() < 0.3:
            flight = flight.aimed(float(rng.uniform(0, 2 * math.pi)))
        self.setup = Setup(flight, site, 600, int(rng.integers(1, 1000)))
        self.supposed = Supposition.over_site(site)
        self.way, self.speed = float(rng.uniform(0, 360)), float(rng.uniform(0.3, 5))
        self.gust = float(rng.uniform(0, 2)) * (rng.random() < 0.4)
        noon = datetime(2026, 1, 1, 12, tzinfo=UTC) - timedelta(
            hours=site.longitude / 15, days=-int(rng.integers(365))
        )
        at = site.latitude, site.longitude
        lit = [noon + timedelta(minutes=10 * n) for n in range(-48, 49)]
        self.when = rng.choice([when for when in lit if is_light(when, *at)])

    def alone(self, setup=None, supposed=None):
        """Judge it by itself, but for open questions."""
        supposed = replace(supposed or self.supposed, when=self.when)
        wind = suppose(supposed, self.way, self.speed)
        return try_flight(setup or self.setup, wind)


def of_a_season(case):
    """The bin of its wind, in a season of its hour and two others of that day."""
    reading = HourReading(case.way, case.speed, case.gust)
    own = case.when.replace(minute=0, second=0, microsecond=0)
    hours = [own, *(own + timedelta(hours=int(h)) for h in case.rng.integers(-5, 6, 2))]
    first = min(hours)
    read = [()] * (1 + int((max(hours) - first) / timedelta(hours=1)))
    for hour in hours:
        read[int((hour - first) / timedelta(hours=1))] = (reading,)
    of_day = Hours(first, tuple(read), "a day")
    binned = season.bin_of(reading)
    speeds = tuple(season.SPEED_STEP * i for i in range(1 + round(binned.speed * 2)))
    for sun in season.season_suns(case.setup, case.supposed, of_day):
        gusty = replace(sun, gust=binned.gust)
        trial = season._try_bin(pack(case.setup), gusty, speeds, binned)
        yield trial.verdict, trial.checks
    return case.alone(supposed=replace(case.supposed, gust=case.gust))


def of_limits(case):
    """The speeds about its own in a sector of sixteen."""
    speeds = scan_speeds(case.setup, 6)
    low = max(v for v in speeds if v <= case.speed)
    high = min(v for v in speeds if v > case.speed)
    middle = round(case.way / 22.5) * 22.5 % 360
    for sun in case.supposed.by_any_sun():
        sector = Sector(flights_of(pack(case.setup), sun, speeds), middle, 11.25)
        trial = sector.between(low, high)
        yield trial.verdict, trial.checks
    return case.alone()


def of_a_dial(case):
    """The cell of a dial made for another hour; its meter reads the wind."""
    gust = float(case.rng.choice([1.0, 1.3]))
    made = Supposition.over_site(case.setup.site, case.when).on_the_meter(gust)
    first, last = dial.hours_served(made, case.setup)
    reach = Reach(
        6.0, int(case.rng.choice([4, 8])), int(case.rng.choice([12, 36])), gust
    )
    i, j = int(case.speed / reach.step), int(case.way / reach.turn)
    block = CellBlock(range(i, i + 1), range(j, j + 1))
    for sun in dial._suns(made, case.setup):
        found = work_out(pack(case.setup), reach, (sun, block))
        nodes = [*found.nodes.values(), *found.cells.values()]
        checks = tuple(check for node in nodes for check in node.checks)
        # The dial counts open questions; here they are left out on both sides.
        word = (
            "no-go" if not found.cells else decide(c for c in checks if not c.question)
        )
        yield word, checks
    case.when = first + float(case.rng.uniform()) * (last - first)
    return case.alone(supposed=replace(made, gust_factor=1 + 0.5 * (gust - 1)))


def of_a_layout(case):
    """A pad somewhere on the field."""
    while True:
        try:
            there = moved(case.setup.site, *map(float, case.rng.uniform(-600, 600, 2)))
        except ValueError:
            continue
        break
    asked = pack(case.setup), pack((there,))
    wind = (0, layout.RoseWind(case.way, case.speed, 1.0))
    (score,) = layout._judge_sites([asked[0]], asked[1], case.supposed, "", wind)
    # Of a layout only what is go is told; the rest counts alike.
    yield ("go" if score.finding == "go" else "no-go"), ()
    return case.alone(setup=replace(case.setup, site=there))


def told(plan):
    """Give what a plan says by each sun, and the verdict alone."""
    said = []
    while True:
        try:
            said.append(next(plan))
        except StopIteration as end:
            return said, end.value


@pytest.mark.parametrize("plan", [of_a_season, of_limits, of_a_dial, of_a_layout])
def test_no_plan_is_milder_than_the_wind_by_itself(plan, dunlin, lenient):
    words = Counter()
    for number in range(8):
        case = Case(np.random.default_rng([16, number]), dunlin, lenient)
        said, alone = told(plan(case))
        forget_flights()
        word = max((verdict for verdict, _ in said), key=RANK.index)
        words[word] += 1
        about = f"{number}: {case.speed:.2f} m/s from {case.way:.0f} at {case.when}"
        assert RANK.index(alone.verdict) <= RANK.index(word), (about, alone.blocks[:2])
        bounds = defaultdict(list)
        for _, checks in said:
            for check in checks:
                bounds[key_of(check)].append(OUTCOMES.index(check.outcome))
        for check in alone.checks if word != "no-go" and bounds else ():
            allowed = max(bounds[key_of(check)], default=0)
            assert OUTCOMES.index(check.outcome) <= allowed, (about, check)
    assert words.total() > words["no-go"]  # else nothing could be milder
