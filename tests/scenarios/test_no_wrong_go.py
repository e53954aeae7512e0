"""Scenes with the mildest word that a range officer could give them, and what must say so.

Each starts from a plain club day that is go with everything told, and changes one thing.
"""

from __future__ import annotations

import math

import pytest
from scene import (
    ALOFT,
    BREEZE,
    CALM,
    DAY,
    FEW,
    LOW,
    PLANNED,
    READ,
    TOLD,
    UNDER,
    UNFLOWN,
    area,
    box,
    crowd,
    disc,
    never_milder,
    ring,
    shown,
    spot,
    table,
)


def slices(east, north, radius, number, people):
    """One disc of people cut into strips of equal width."""
    edges = [-radius + 2 * radius * i / number for i in range(number + 1)]
    found = []
    for i in range(number):
        xs = [edges[i] + (edges[i + 1] - edges[i]) * j / 8 for j in range(9)]
        top = [(x, math.sqrt(max(radius**2 - x**2, 0.04))) for x in xs]
        points = [*top, *((x, -y) for x, y in reversed(top))]
        shape = ring([(east + x, north + y) for x, y in points])
        found.append(
            area("spectators", shape, f"strip {i + 1}", people=people // number)
        )
    return tuple(found)


ANYWHERE = CALM.edited(('angle = "3 deg"', 'angle = "8 deg"')).but(
    areas=(crowd(0, -150, wide=120, deep=20, people=200),), samples=4000
)
"""No wind says that this rail does not lean toward the crowd."""

GO = {
    "the day": DAY,
    # What is not seen is bounded by the worst flight drawn: 6,000 are near the limit.
    "a low flight": LOW.but(samples=7000),
    "a calm morning": CALM.but(samples=7000),
    "a calm morning and an upright rail": CALM.edited(
        ('angle = "3 deg"', 'angle = "0 deg"')
    ).but(samples=7000),
    "a calm morning and a rail that leans away": ANYWHERE.edited(
        ('azimuth = "into the wind"', 'azimuth = "0 deg"')
    ).but(samples=10_000),
    "8 mph and the crowd upwind": BREEZE,
    "a crowd far off": DAY.but(
        areas=(
            crowd(1500, -1500, people=400, wide=200, deep=60),
            area("flight line", box(0, -150, 20, 4), "Line", people=3),
        ),
        samples=7000,
    ),
    "an empty barn near by": DAY.also(
        area("building", box(500, 900, 30, 20), "Barn", people=0)
    ),
    "a camp of few far off": DAY.also(
        area("camp", box(-1500, -1500, 100, 60), "Camp", people=20)
    ),
    "limits made stricter": DAY.plus('[limits]\narea_hit = "0.09 %"'),
    "everything told": DAY.but(flight=TOLD, samples=20_000),
    "a likelihood raised": DAY.plus('[cases]\n"nothing deploys" = "4 %"'),
}
"""A word that nobody can reach protects nobody."""


@pytest.mark.parametrize("scene", GO.values(), ids=GO)
def test_a_plain_day_is_go(speak, scene):
    verdict, speaking, said = speak(scene)
    assert verdict == "go", shown(speaking, said)


LOOSE = "[limits]\n" + "\n".join(
    f'{key} = "100 %"' for key in ("area_hit", "area_hit_in_failure", "overflight")
)

PEOPLE = {
    "a crowd on the planned landing": (
        DAY.also(crowd(*PLANNED, 10, 120, 120, "Under")),
        "no-go",
        "among people",
    ),
    "a crowd under the nose-first fall": (
        DAY.also(crowd(*UNDER, 50, 60, 20, "Under")),
        "hold",
        "people under the fall",
    ),
    "a dense crowd there": (
        DAY.also(crowd(*UNDER, 2000, 60, 40, "Under")),
        "hold",
        "casualties, if it happens",
    ),
    "a packed crowd there": (
        DAY.also(crowd(*UNDER, 40_000, 60, 40, "Under")),
        "no-go",
        "casualties, if it happens",
    ),
    "nobody counted in the crowd": (
        DAY.also(area("spectators", box(0, -900, 60, 20), "Uncounted")),
        "hold",
        "head count",
    ),
    "nobody counted in the camp": (
        DAY.also(area("camp", box(0, -900, 60, 20), "Camp")),
        "hold",
        "head count",
    ),
    "closed ground with people at 20 m": (
        DAY.also(area("closed ground", box(20, 0, 10, 10), "Nature", people=200)),
        "no-go",
        None,
    ),
    "a crowd at 20 m": (DAY.also(crowd(20, 0, 20, 10, 10, "Near")), "no-go", None),
    "a crowd a little nearer than the table": (
        DAY.also(crowd(-20, -20, 20, 10, 10, "Near")),
        "hold",
        None,
    ),
    "a road with people at 20 m": (
        DAY.also(area("road", box(15, 0, 8, 100), "Lane", people=30)),
        "no-go",
        None,
    ),
    "a crowd with a hole at the middle of the landing": (
        DAY.also(
            area(
                "spectators",
                {
                    "type": "Polygon",
                    "coordinates": disc(*PLANNED, 400)["coordinates"]
                    + [list(reversed(disc(*PLANNED, 5)["coordinates"][0]))],
                },
                "Ring",
                people=100,
            )
        ),
        "no-go",
        "among people",
    ),
    "people given as many points": (
        DAY.but(
            areas=(
                *DAY.areas,
                *(
                    spot(
                        "spectators",
                        PLANNED[0] + 25 * (i % 6),
                        PLANNED[1] + 25 * (i // 6),
                        name=f"p{i}",
                        radius="15 m",
                        people=1,
                    )
                    for i in range(36)
                ),
            )
        ),
        "no-go",
        "among people",
    ),
    "parked cars with people on the landing": (
        DAY.also(
            area("parking", box(*PLANNED, 150, 150), "Cars", people=30, shelter="car")
        ),
        "no-go",
        "among people",
    ),
    "a flight line under the way up": (
        DAY.also(area("flight line", box(40, 5, 20, 20), "Line", people=6)),
        "no-go",
        None,
    ),
    "a crowd all round": (
        DAY.but(
            areas=(
                area(
                    "spectators",
                    {
                        "type": "Polygon",
                        "coordinates": disc(0, 0, 900)["coordinates"]
                        + [list(reversed(disc(0, 0, 100)["coordinates"][0]))],
                    },
                    "All round",
                    people=500,
                ),
            )
        ),
        "no-go",
        "among people",
    ),
}
PEOPLE |= {
    f"the crowd under the fall cut into {n}": (
        DAY.but(areas=(*DAY.areas, *slices(*UNDER, 120, n, 600))),
        "no-go",
        None,
    )
    for n in (1, 2, 4, 8, 12, 20, 24, 40)
}
PEOPLE |= {
    f"the crowd under the landing cut into {n}": (
        DAY.but(areas=(*DAY.areas, *slices(*PLANNED, 120, n, 600))),
        "no-go",
        "among people",
    )
    for n in (1, 5, 20, 40)
}

GROUND = {
    "a farmhouse under the fall": (
        DAY.also(area("building", box(*UNDER, 160, 160), "Farm")),
        "no-go",
        "on ground kept clear, in failure",
    ),
    "a farmhouse under the fall in three parts": (
        DAY.also(
            *(
                area("building", box(UNDER[0] + 55 * i, UNDER[1], 54, 160), f"Farm {i}")
                for i in (-1, 0, 1)
            )
        ),
        "no-go",
        "on ground kept clear, in failure",
    ),
    "a road across the planned landing": (
        DAY.also(area("road", box(*PLANNED, 10, 900), "Road")),
        "no-go",
        "on ground kept clear",
    ),
    "a spring that must not be hit": (
        DAY.also(area("closed ground", box(*PLANNED, 60, 60), "Spring")),
        "no-go",
        "on ground kept clear",
    ),
    "a power line drawn a millimetre wide": (
        DAY.also(area("power line", box(*PLANNED, 0.001, 1500), "Line")),
        "hold",
        "on a power line",
    ),
    "a crowd drawn as a frame about nothing": (
        DAY.also(
            area(
                "spectators",
                {
                    "type": "Polygon",
                    "coordinates": box(*PLANNED, 120, 120)["coordinates"]
                    + [list(reversed(box(*PLANNED, 118, 118)["coordinates"][0]))],
                },
                "Frame",
                people=0,
            )
        ),
        "hold",
        "among people",
    ),
    "a margin of 18 calibres": (
        DAY.edited(('stability = "1.8 cal"', 'stability = "18 cal"')),
        "hold",
        "implausible",
    ),
    "a power line across the landing": (
        DAY.also(area("power line", box(*PLANNED, 20, 1500), "230 kV")),
        "no-go",
        "on a power line",
    ),
    "the power line drawn as a line": (
        DAY.also(
            {
                "type": "Feature",
                "properties": {"role": "power line", "name": "230 kV"},
                "geometry": {
                    "type": "LineString",
                    "coordinates": [
                        box(PLANNED[0], PLANNED[1], 1, 2000)["coordinates"][0][0],
                        box(PLANNED[0], PLANNED[1], 1, 2000)["coordinates"][0][2],
                    ],
                },
            }
        ),
        "hold",
        "on a power line",
    ),
    "a reservoir under the landing": (
        DAY.also(area("water", disc(*PLANNED, 200), "Reservoir")),
        "hold",
        "in water",
    ),
    "the field ends at the landing": (
        DAY.but(land=700.0),
        "no-go",
        "hurtful outside boundary",
    ),
    "a waiver of 700 m": (
        DAY.but(waiver=(700.0, "8500 ft")),
        "no-go",
        "outside waiver",
    ),
    "a ceiling of 3,000 ft": (
        DAY.but(waiver=(3000.0, "3000 ft")),
        "no-go",
        "above ceiling",
    ),
    "a ceiling of 3,700 ft": (
        DAY.but(waiver=(3000.0, "3700 ft")),
        "hold",
        "above ceiling",
    ),
}

TALK = {
    "the flier's own limits": (DAY.plus(LOOSE), "refused", None),
    "a limit of one in ten thousand casualties": (
        DAY.plus("[limits]\nexpected_casualties = 1000"),
        "refused",
        None,
    ),
    "the flier's own wind limit age": (
        DAY.plus('[limits]\nwind_age = "99 h"'),
        "refused",
        None,
    ),
    "the site's limit, for which nobody answers": (
        DAY.but(
            members={"limits": {"area_hit": "100 %", "area_hit_in_failure": "100 %"}}
        ).also(crowd(*PLANNED, 0, 120, 120, "Under")),
        "hold",
        "among people",
    ),
    "limits answered for next year": (
        DAY.but(
            members={
                "limits": {
                    "area_hit": "100 %",
                    "set_by": "A. Officer",
                    "set_on": "2999-01-01",
                }
            }
        ),
        "refused",
        None,
    ),
    "limits answered for by nobody": (
        DAY.but(members={"limits": {"area_hit": "1 %", "set_on": "2026-06-01"}}),
        "refused",
        None,
    ),
    "nothing deploys at 0 over a packed crowd": (
        DAY.plus('[cases]\n"nothing deploys" = 0').also(
            crowd(*UNDER, 40_000, 60, 40, "Under")
        ),
        "no-go",
        "casualties, if it happens",
    ),
    "nothing deploys at 0 over a crowd": (
        DAY.plus('[cases]\n"nothing deploys" = 0').also(
            crowd(*UNDER, 50, 60, 20, "Under")
        ),
        "hold",
        "people under the fall",
    ),
    "nothing deploys at one in a million": (
        DAY.plus('[cases]\n"nothing deploys" = 1e-6').also(
            crowd(*UNDER, 50, 60, 20, "Under")
        ),
        "hold",
        "people under the fall",
    ),
    "all failures at 0": (
        DAY.plus(
            "[cases]\n"
            + "\n".join(
                f'"{name}" = 0'
                for name in (
                    "nothing deploys",
                    "early opening",
                    "late opening",
                    "canopy tangles",
                    "fins come off",
                    "nose cone lost",
                )
            )
        ).also(crowd(*UNDER, 2000, 60, 40, "Under")),
        "hold",
        "people under the fall",
    ),
    "18 % come in nose first": (
        DAY.plus('[cases]\n"nothing deploys" = "18 %"'),
        "no-go",
        "recovery fails",
    ),
    "one in eight recoveries fails": (
        DAY.plus('[cases]\n"nothing deploys" = "9 %"'),
        "hold",
        "recovery fails",
    ),
}

OPENINGS = {
    "a canopy at 300 m after a nose-first fall": (
        DAY.edited(('opens_at = "apogee"', 'opens_at = "300 m"')),
        "no-go",
        None,
    ),
    "a canopy at 12 m": (
        DAY.edited(('opens_at = "apogee"', 'opens_at = "12 m"')),
        "no-go",
        None,
    ),
    "a canopy while the motor burns": (
        DAY.edited(('opens_at = "apogee"', 'opens_at = "0.3 s"')),
        "no-go",
        None,
    ),
    "a canopy at top speed": (
        DAY.edited(('opens_at = "apogee"', 'opens_at = "2.0 s"')),
        "no-go",
        None,
    ),
    "a canopy five seconds late": (
        DAY.edited(('opens_at = "apogee"', 'opens_at = "20 s"')),
        "hold",
        None,
    ),
    "a canopy of 28 cm": (
        DAY.edited(('"1.22 m"', '"0.28 m"')),
        "hold",
        "descent",
    ),
    "a canopy of 60 cm": (DAY.edited(('"1.22 m"', '"0.6 m"')), "hold", "descent"),
    "a strength that cannot hold": (
        DAY.but(
            flight=DAY.flight.replace(
                "[[piece]]", 'strength = { lines = "20 N" }\n\n[[piece]]', 1
            )
        ),
        "hold",
        None,
    ),
    "no fins listed": (
        DAY.but(flight=DAY.flight[: DAY.flight.index("[[piece]]")]),
        "hold",
        "missing",
    ),
    "a longer rail that leans over the crowd": (
        DAY.edited(
            ('angle = "4 deg"', 'angle = "16 deg"'), ('"into the wind"', '"180 deg"')
        ),
        "hold",
        None,
    ),
    "a rail at 25 degrees": (
        DAY.edited(('angle = "4 deg"', 'angle = "25 deg"')),
        "no-go",
        None,
    ),
    "a rail of 40 cm": (
        DAY.edited(('"1.8 m"', '"0.4 m"')),
        "no-go",
        None,
    ),
    "a motor that cannot lift it": (
        DAY.edited(("1.85 kg", "40 kg")),
        "no-go",
        None,
    ),
}


WINDS = {
    "22 mph at head height beside an old table": (
        DAY.edited(('"1.8 m"', '"15 m"')).but(winds=("22 mph from 240", ALOFT)),
        "no-go",
        None,
    ),
    "35 mph at head height beside a table": (
        DAY.but(winds=("35 mph from 240", ALOFT)),
        "no-go",
        None,
    ),
    "the table typed first": (
        DAY.but(winds=(ALOFT, "35 mph from 240")),
        "hold",
        None,
    ),
    "a calm, and a rail that is to lean into it": (ANYWHERE, "hold", "lands in"),
    "3 mph from all sides, and a rail that is to lean into it": (
        ANYWHERE.but(winds=("3 mph variable",)),
        "hold",
        "lands in",
    ),
    "calm and 25 mph": (LOW.but(winds=("calm", "25 mph from 240")), "hold", None),
    "25 mph and calm": (LOW.but(winds=("25 mph from 240", "calm")), "hold", None),
    "two tables that disagree": (
        DAY.but(
            winds=(
                ALOFT,
                table((2, 240, 4), (10, 240, 5), (300, 240, 15), (2500, 240, 25)),
            )
        ),
        "hold",
        None,
    ),
    "two tables that disagree, the other way": (
        DAY.but(
            winds=(
                table((2, 240, 4), (10, 240, 5), (300, 240, 15), (2500, 240, 25)),
                ALOFT,
            )
        ),
        "hold",
        None,
    ),
    "a table that tells no time": (
        DAY.but(winds=(ALOFT.replace(READ, ""),)),
        "hold",
        None,
    ),
    "a table of the day before": (
        DAY.but(winds=(ALOFT.replace("06-13 08:10", "06-12 08:10"),)),
        "hold",
        None,
    ),
    "a table four hours old": (
        DAY.but(winds=(ALOFT.replace("06-13 08:10", "06-13 04:00"),)),
        "hold",
        "wind age",
    ),
    "a table from after the flight": (
        DAY.but(winds=(ALOFT.replace("06-13 08:10", "06-13 11:10"),)),
        "refused",
        None,
    ),
    "a low flight on an undated table": (
        LOW.but(winds=(table((2, 90, 2), (300, 90, 4), first=""),)),
        "hold",
        None,
    ),
    "only the surface wind for a high flight": (
        DAY.but(winds=("4 mph from 75",)),
        "hold",
        "wind gap",
    ),
    "calm at dawn for a high flight": (DAY.but(winds=("calm",)), "hold", "wind gap"),
    "a table that ends at 300 m": (
        DAY.but(winds=(table((2, 75, 1.8), (10, 80, 2.2), (300, 90, 3.5)),)),
        "hold",
        "wind gap",
    ),
    "two levels 2 km apart": (
        DAY.but(winds=(table((2, 75, 2.2), (2000, 255, 12)),)),
        "hold",
        None,
    ),
    "two levels 6 km apart": (
        DAY.but(winds=(table((2, 75, 2.2), (6000, 255, 12)),)),
        "hold",
        None,
    ),
    "a jet above a calm": (
        LOW.but(
            winds=(
                table(
                    (2, 0, 0),
                    (20, 0, 0.5),
                    (50, 0, 4),
                    (100, 0, 9),
                    (200, 0, 12),
                    (450, 0, 11),
                ),
            ),
            areas=(crowd(0, -300, wide=100, deep=60),),
        ),
        "hold",
        None,
    ),
    "no wind read near the ground": (
        DAY.but(winds=(table((300, 90, 3), (1500, 100, 5)),)),
        "hold",
        None,
    ),
    "3 mph gusting to 19": (
        LOW.but(winds=("3 mph from 80 gusting to 19 mph at 10 m",)),
        "hold",
        None,
    ),
    "5 mph gusting to 40": (
        LOW.but(winds=("5 mph from 80 gusting to 40 mph",)),
        "hold",
        None,
    ),
    "a gust of 30 m/s at 70 m": (
        LOW.but(
            winds=(
                READ
                + "height_m,from_deg,speed_mps,gust_mps\n2,90,1.5,\n70,90,3,30\n300,90,4,\n",
            )
        ),
        "hold",
        None,
    ),
    "a wind of 15 mph": (LOW.but(winds=("15 mph from 90",)), "hold", None),
    "a wind of 18 mph": (LOW.but(winds=("18 mph from 90",)), "no-go", None),
    "a wind of 30 mph": (DAY.but(winds=("30 mph from 90", ALOFT)), "no-go", None),
    "a METAR of the day before": (
        LOW.but(winds=("METAR KXYZ 121553Z 08003KT 10SM CLR 10/01 A3001",)),
        "hold",
        None,
    ),
    "a METAR of the week before": (
        LOW.but(winds=("METAR KXYZ 061553Z 08003KT 10SM CLR 10/01 A3001",)),
        "hold",
        None,
    ),
    "a METAR without the time of the flight": (
        LOW.but(when=None, winds=("METAR KXYZ 031753Z 08003KT 10SM CLR 10/01 A3001",)),
        "hold",
        None,
    ),
    "a METAR from after the flight": (
        LOW.but(winds=("METAR KXYZ 131853Z 08003KT 10SM CLR 10/01 A3001",)),
        "refused",
        None,
    ),
    "a METAR with a peak wind": (
        LOW.but(
            winds=(
                "METAR KXYZ 131453Z 08003KT 10SM CLR 10/01 A3001 "
                "RMK AO2 PK WND 20045/1440",
            )
        ),
        "hold",
        None,
    ),
    "a METAR with a wind shift": (
        LOW.but(
            winds=(
                "METAR KXYZ 131453Z 08003KT 10SM CLR 10/01 A3001 RMK AO2 WSHFT 1435",
            )
        ),
        "hold",
        None,
    ),
    "a METAR with wind shear": (
        LOW.but(winds=("METAR KXYZ 131453Z 08003KT 9999 10/01 Q1016 WS ALL RWY",)),
        "hold",
        None,
    ),
    "a METAR with a thunderstorm near": (
        LOW.but(winds=("METAR KXYZ 131453Z 08003KT 10SM VCTS CLR 10/01 A3001",)),
        "hold",
        None,
    ),
    "a METAR with a squall": (
        LOW.but(winds=("METAR KXYZ 131453Z 08003KT 5SM SQ 10/01 A3001",)),
        "hold",
        None,
    ),
    "a METAR with a worse trend": (
        LOW.but(
            winds=("METAR KXYZ 131453Z 08003KT 9999 10/01 Q1016 TEMPO 26025G45KT TSRA",)
        ),
        "hold",
        None,
    ),
    **{
        f"a METAR that tells of {told}": (
            LOW.but(winds=(f"METAR KXYZ 131453Z 08003KT {told} CLR 10/01 A3001",)),
            "hold",
            None,
        )
        for told in ("GR", "VCSH", "SCT030TCU")
    },
    **{
        f"a METAR with remarks of {told}": (
            LOW.but(
                winds=(
                    f"METAR KXYZ 131453Z 08003KT 10SM CLR 10/01 A3001 RMK AO2 {told}",
                )
            ),
            "hold",
            None,
        )
        for told in (
            "TORNADO B02 8 SW MOV NE",
            "LLWS RPRTD",
            "OUTFLOW BDRY W",
            "DUST DEVILS N",
            "FROPA",
            "WORDS NOBODY KNOWS",
        )
    },
    "a METAR beside a contrary hand": (
        LOW.but(winds=("calm", "METAR KXYZ 131453Z 24035G45KT 10SM CLR 10/01 A3001")),
        "hold",
        None,
    ),
}

RULES = {
    "nothing answered": (
        DAY.but(answers=dict.fromkeys(("landowner_leave",))),
        "hold",
        "rule",
    ),
    "the waiver is not active": (
        DAY.but(answers={"waiver_active": "no"}),
        "no-go",
        "rule",
    ),
    "a fire ban": (DAY.but(answers={"no_fire_ban": "no"}), "no-go", "rule"),
    "no leave of the landowner": (
        DAY.but(answers={"landowner_leave": "no"}),
        "no-go",
        "rule",
    ),
    "an uncertified flier": (
        DAY.but(answers={"certification_level": 0}),
        "refused",
        None,
    ),
    "cloud of 6/8": (DAY.but(answers={"cloud_cover": "6/8"}), "no-go", "rule"),
    "visibility of 2 mi": (DAY.but(answers={"visibility": "2 mi"}), "no-go", "rule"),
    "notice of 2 h": (DAY.but(answers={"notice": "2 h"}), "no-go", "rule"),
    "the motor is not allowed": (
        DAY.but(answers={"motor_allowed": "no"}),
        "no-go",
        "rule",
    ),
    "stability not checked": (
        DAY.but(answers={"stability_checked": "no"}),
        "no-go",
        "rule",
    ),
    "answers of the day before": (
        DAY.but(answers={"date": "2026-06-12"}),
        "hold",
        "rule",
    ),
    "no rule set named": (DAY.but(rules=""), "refused", None),
    "a rule set of another country": (DAY.but(rules="uk"), "no-go", "position"),
    "another country again": (DAY.but(rules="australia"), "no-go", "position"),
    "a bare ceiling": (
        DAY.but(waiver=(3000.0, 3000)),
        "refused",
        None,
    ),
    "a bare elevation": (DAY.but(members={"elevation": 4050}), "refused", None),
    "two pads and none chosen": (
        DAY.also(spot("pad", 0, -660, name="Other pad")),
        "hold",
        None,
    ),
    "the other pad, by the crowd": (
        DAY.also(spot("pad", 0, -660, name="Other pad")).but(
            options=("--pad", "Other pad")
        ),
        "no-go",
        None,
    ),
    "too few flights to tell": (DAY.but(samples=500), "hold", None),
    "a hundred flights a day that each risk a little": (
        LOW.but(
            areas=(crowd(0, -100, people=400, wide=150, deep=20),),
            members={"flights_today": 1000},
        ),
        "hold",
        None,
    ),
}

SCENES = {**PEOPLE, **GROUND, **TALK, **OPENINGS, **WINDS, **RULES}


@pytest.mark.parametrize(("scene", "mildest", "kind"), SCENES.values(), ids=SCENES)
def test_never_milder_than_an_officer(speak, scene, mildest, kind):
    never_milder(speak, scene, mildest, kind)


@pytest.mark.parametrize("scene", [DAY, LOW], ids=["the day", "a low flight"])
def test_few_flights_bring_up_nothing_that_no_flight_decides(speak, scene):
    """Else scenes of such a kind, which are flown few times, would show nothing."""
    _, speaking, said = speak(scene.but(samples=FEW))
    assert UNFLOWN.isdisjoint(speaking), shown(speaking, said)
