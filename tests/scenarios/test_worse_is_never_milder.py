"""Step by step worse: more people, more ground, less known, older, rarer; never milder."""

import json
from datetime import datetime
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scene import ALOFT, DUNLIN, RANK, WHEN, Scene, area, box, crowd, geojson

from driftmap import read_flight, read_site
from driftmap.hazard.exposure import harm_of
from driftmap.montecarlo.cloud import fly
from driftmap.verdict.check import Kind
from driftmap.verdict.judgement import judge
from driftmap.verdict.limits import read_limits
from driftmap.winds.profile import read_winds

OUTCOMES = ("pass", "warn", "fail")

STEPS = {
    "more people": [
        Scene(areas=(crowd(0, -500), crowd(345, 30, people, 60, 20, "Under")))
        for people in (1, 50, 500, 5_000, 50_000)
    ],
    "a crowd that spreads": [
        Scene(areas=(crowd(-690, 130, 60, wide, wide),))
        for wide in (20, 60, 150, 400, 900)
    ],
    "one area more": [
        Scene(
            areas=tuple(
                crowd(-690 + 60 * i, -400 + 100 * i, 20, 40, 40, f"c{i}")
                for i in range(n)
            )
        )
        for n in (1, 2, 4, 7)
    ],
    "one area cut": [
        Scene(
            areas=tuple(
                crowd(
                    345 - 60 + 120 * (i + 0.5) / n, 30, 120 // n, 120 / n, 80, f"c{i}"
                )
                for i in range(n)
            )
        )
        for n in (1, 2, 5, 20)
    ],
    "a crowd moved under the fall": [
        Scene(areas=(crowd(east, 30, 50, 60, 20),)) for east in (1400, 900, 345)
    ],
    "a crowd moved to the pad": [
        Scene(areas=(crowd(-2, -north, 20, 20, 6),)) for north in (300, 60, 33, 20, 9)
    ],
    "a heavier rocket": [
        Scene().edited(("1.85 kg", f"{mass} kg")) for mass in (1.85, 3.0, 5.0, 12.0)
    ],
    "a smaller canopy": [
        Scene().edited(('"1.22 m"', f'"{wide} m"')) for wide in (1.22, 0.8, 0.5, 0.3)
    ],
    "a stronger wind": [
        Scene(flight=DUNLIN, areas=(crowd(0, -300),), winds=(f"{mph} mph from 90",))
        for mph in (4, 10, 16, 22, 30)
    ],
    "a stronger gust": [
        Scene(
            flight=DUNLIN,
            areas=(crowd(0, -300),),
            winds=(f"4 mph from 90 gusting to {mph} mph",),
        )
        for mph in (5, 14, 22, 40)
    ],
    "an older table": [
        Scene(winds=(ALOFT.replace("06-13 08:10", told),))
        for told in ("06-13 08:10", "06-13 06:00", "06-13 02:00", "06-12 02:00")
    ],
    "less known aloft": [
        Scene(winds=("\n".join(ALOFT.splitlines()[:n]) + "\n",))
        for n in (len(ALOFT.splitlines()), 6, 5, 4)
    ],
    "a lower ceiling": [
        Scene(waiver=(3000.0, f"{feet} ft")) for feet in (8500, 3900, 3600, 3000)
    ],
    "a narrower field": [Scene(land=land) for land in (2600, 1300, 900, 600)],
    "a case made rarer": [
        Scene(areas=(crowd(345, 30, 900, 60, 40, "Under"),)).plus(
            f'[cases]\n"nothing deploys" = {share}'
        )
        for share in (0.03, 0.01, 1e-4, 1e-9, 0)
    ],
    "every case made rarer": [
        Scene(areas=(crowd(-690, 130, 40, 120, 120, "Under"),)).plus(
            "[cases]\n"
            + "\n".join(
                f'"{name}" = {share}'
                for name in ("nothing deploys", "late opening", "canopy tangles")
            )
        )
        for share in (0.02, 0.001, 0)
    ],
    "an answer less": [
        Scene(answers=dict.fromkeys(gone))
        for gone in (
            (),
            ("landowner_leave",),
            ("landowner_leave", "waiver_active", "sky_watched"),
        )
    ],
    "flights of the day": [
        Scene(members={"flights_today": n} if n else {}) for n in (0, 1, 100, 10_000)
    ],
}


@pytest.mark.long
@pytest.mark.parametrize("scenes", STEPS.values(), ids=STEPS)
def test_worse_is_never_milder(speak, scenes):
    words = [speak(scene)[0] for scene in scenes]
    ranks = [RANK.index(word) for word in words]
    assert ranks == sorted(ranks), words


STARTS = {
    "far off": (crowd(0, -950),),
    "under the fall": (crowd(345, 30, 4, 8, 4),),
    "at the landing": (crowd(-690, 130, 4, 60, 60, "Camp"),),
}
"""A day that is go but for its questions, one that holds, one that is no-go."""


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """Judge any ground on one cloud, flown once; the worst outcome of each kind and case."""
    folder = tmp_path_factory.mktemp("more")
    path, flown = folder / "flight.toml", {}
    path.write_text(Scene().flight, encoding="utf-8")
    flight, when = read_flight(path), datetime.fromisoformat(WHEN)

    @cache
    def start(name):
        return worst(*STARTS[name])

    def worst(*areas):
        ground = folder / "site.geojson"
        ground.write_text(json.dumps(geojson(Scene(areas=areas))), encoding="utf-8")
        site = read_site(ground)
        wind = flown.setdefault("wind", None) or read_winds(
            [str(folder / "wind.csv")], site_altitude=site.elevation, when=when
        )
        flown["wind"] = wind
        if "cloud" not in flown:
            flown["cloud"] = fly(flight, wind, site.elevation, samples=5000, seed=1)
        cloud = flown["cloud"]
        found = {}
        checks, _ = judge(
            cloud,
            site,
            wind,
            limits=read_limits(flight, site),
            harm=harm_of(cloud, site),
        )
        for check in checks:
            key = check.kind, check.case
            rank = OUTCOMES.index(check.outcome)
            found[key] = max(found.get(key, 0), rank)
        return found

    (folder / "wind.csv").write_text(ALOFT, encoding="utf-8")
    return start, worst


def test_the_days_that_more_is_added_to_are_of_every_word(judged):
    """Else nothing could get milder, and the next test would show nothing."""
    asked = {Kind.AMONG_PEOPLE, Kind.UNDER_THE_FALL}
    start, _ = judged
    ranks = [
        max(rank for (kind, _), rank in start(name).items() if kind in asked)
        for name in STARTS
    ]
    assert ranks == [0, 1, 2]


@given(
    st.sampled_from(sorted(STARTS)),
    st.integers(-900, 900),
    st.integers(-600, 600),
    st.integers(10, 200),
    st.integers(10, 200),
    st.integers(0, 2000),
    st.sampled_from(["spectators", "camp", "parking", "building", "closed ground"]),
)
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_area_more_is_never_milder(
    judged, start, east, north, wide, deep, people, role
):
    """A day as it is, and with one area more anywhere: check by check."""
    of_start, worst = judged
    more = area(role, box(east, north, wide, deep), "More", people=people)
    after = worst(*STARTS[start], more)
    for key, rank in of_start(start).items():
        assert after[key] >= rank, key
