"""Scenes with the mildest word that a range officer could give them, and what must say so.

Each starts from a plain club day that is go with everything told, and changes one thing.
"""

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
    holds,
    never_milder,
    no_go,
    refused,
    ring,
    rows,
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
    # What is not seen is bounded by the worst flight drawn: 10,000 are near the limit.
    "a low flight": LOW.but(samples=14_000),
    "a calm morning": CALM.but(samples=12_000),
    "a calm morning and an upright rail": CALM.edited(
        ('angle = "3 deg"', 'angle = "0 deg"')
    ).but(samples=7000),
    "a calm morning and a rail that leans away": ANYWHERE.edited(
        ('azimuth = "into the wind"', 'azimuth = "0 deg"')
    ).but(samples=20_000),
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
    "limits made stricter": DAY.plus('[limits]\narea_hit = "0.09 %"').but(samples=5000),
    "everything told": DAY.but(flight=TOLD, samples=12_000),
    "a likelihood raised": DAY.plus('[cases]\n"nothing deploys" = "4 %"'),
}
"""A word that nobody can reach protects nobody."""
GO_SLOWLY = {
    "a calm morning",
    "a calm morning and an upright rail",
    "a calm morning and a rail that leans away",
    "a crowd far off",
    "limits made stricter",
    "everything told",
    "a likelihood raised",
}
"""A go needs thousands of flights, and these are flights that no other scene flies."""


@pytest.mark.parametrize("scene", rows(GO, GO_SLOWLY))
def test_a_plain_day_is_go(speak, scene):
    verdict, speaking, said = speak(scene)
    assert verdict == "go", shown(speaking, said)


LOOSE = "[limits]\n" + "\n".join(
    f'{key} = "100 %"' for key in ("area_hit", "area_hit_in_failure", "overflight")
)

PEOPLE = {
    "a crowd on the planned landing": no_go(
        DAY.also(crowd(*PLANNED, 10, 120, 120, "Under")), "among people"
    ),
    "a crowd under the nose-first fall": holds(
        DAY.also(crowd(*UNDER, 50, 60, 20, "Under")), "people under the fall"
    ),
    "a dense crowd there": holds(
        DAY.also(crowd(*UNDER, 2000, 60, 40, "Under")), "casualties, if it happens"
    ),
    "a packed crowd there": no_go(
        DAY.also(crowd(*UNDER, 40_000, 60, 40, "Under")), "casualties, if it happens"
    ),
    "nobody counted in the crowd": holds(
        DAY.also(area("spectators", box(0, -900, 60, 20), "Uncounted")), "head count"
    ),
    "nobody counted in the camp": holds(
        DAY.also(area("camp", box(0, -900, 60, 20), "Camp")), "head count"
    ),
    "closed ground with people at 20 m": no_go(
        DAY.also(area("closed ground", box(20, 0, 10, 10), "Nature", people=200))
    ),
    "a crowd at 20 m": no_go(DAY.also(crowd(20, 0, 20, 10, 10, "Near"))),
    "a crowd a little nearer than the table": holds(
        DAY.also(crowd(-20, -20, 20, 10, 10, "Near"))
    ),
    "a road with people at 20 m": no_go(
        DAY.also(area("road", box(15, 0, 8, 100), "Lane", people=30))
    ),
    "a crowd with a hole at the middle of the landing": no_go(
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
        "among people",
    ),
    "people given as many points": no_go(
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
        "among people",
    ),
    "parked cars with people on the landing": no_go(
        DAY.also(
            area("parking", box(*PLANNED, 150, 150), "Cars", people=30, shelter="car")
        ),
        "among people",
    ),
    "a flight line under the way up": no_go(
        DAY.also(area("flight line", box(40, 5, 20, 20), "Line", people=6))
    ),
    "a crowd all round": no_go(
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
        "among people",
    ),
}
PEOPLE |= {
    f"the crowd under the fall cut into {n}": no_go(
        DAY.but(areas=(*DAY.areas, *slices(*UNDER, 120, n, 600)))
    )
    for n in (1, 2, 4, 8, 12, 20, 24, 40)
}
PEOPLE |= {
    f"the crowd under the landing cut into {n}": no_go(
        DAY.but(areas=(*DAY.areas, *slices(*PLANNED, 120, n, 600))), "among people"
    )
    for n in (1, 5, 20, 40)
}

GROUND = {
    "a farmhouse under the fall": no_go(
        DAY.also(area("building", box(*UNDER, 160, 160), "Farm")),
        "among people, in failure",
    ),
    "a farmhouse under the fall in three parts": no_go(
        DAY.also(
            *(
                area("building", box(UNDER[0] + 55 * i, UNDER[1], 54, 160), f"Farm {i}")
                for i in (-1, 0, 1)
            )
        ),
        "among people, in failure",
    ),
    "a road across the planned landing": no_go(
        DAY.also(area("road", box(*PLANNED, 10, 900), "Road")), "among people"
    ),
    "a spring that must not be hit": no_go(
        DAY.also(area("closed ground", box(*PLANNED, 60, 60), "Spring")),
        "on ground kept clear",
    ),
    "a power line drawn a millimetre wide": holds(
        DAY.also(area("power line", box(*PLANNED, 0.001, 1500), "Line")),
        "on a power line",
    ),
    "a crowd drawn as a frame about nothing": holds(
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
        "among people",
    ),
    "a margin of 18 calibres": holds(
        DAY.edited(('stability = "1.8 cal"', 'stability = "18 cal"')), "implausible"
    ),
    "a power line across the landing": no_go(
        DAY.also(area("power line", box(*PLANNED, 20, 1500), "230 kV")),
        "on a power line",
    ),
    "the power line drawn as a line": holds(
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
        "on a power line",
    ),
    "a reservoir under the landing": holds(
        DAY.also(area("water", disc(*PLANNED, 200), "Reservoir")), "in water"
    ),
    "the field ends at the landing": no_go(
        DAY.but(land=700.0), "hurtful outside boundary"
    ),
    "a waiver of 700 m": no_go(DAY.but(waiver=(700.0, "8500 ft")), "outside waiver"),
    "a ceiling of 3,000 ft": no_go(
        DAY.but(waiver=(3000.0, "3000 ft")), "above ceiling"
    ),
    "a ceiling of 3,700 ft": holds(
        DAY.but(waiver=(3000.0, "3700 ft")), "above ceiling"
    ),
}

TALK = {
    "the flier's own limits": refused(DAY.plus(LOOSE)),
    "a limit of one in ten thousand casualties": refused(
        DAY.plus("[limits]\nexpected_casualties = 1000")
    ),
    "the flier's own wind limit age": refused(DAY.plus('[limits]\nwind_age = "99 h"')),
    "the site's limit, for which nobody answers": holds(
        DAY.but(
            members={"limits": {"area_hit": "100 %", "area_hit_in_failure": "100 %"}}
        ).also(crowd(*PLANNED, 0, 120, 120, "Under")),
        "among people",
    ),
    "limits answered for next year": refused(
        DAY.but(
            members={
                "limits": {
                    "area_hit": "100 %",
                    "set_by": "A. Quill",
                    "set_on": "2999-01-01",
                }
            }
        )
    ),
    "limits answered for by nobody": refused(
        DAY.but(members={"limits": {"area_hit": "1 %", "set_on": "2026-06-01"}})
    ),
    "nothing deploys at 0 over a packed crowd": no_go(
        DAY.plus('[cases]\n"nothing deploys" = 0').also(
            crowd(*UNDER, 40_000, 60, 40, "Under")
        ),
        "casualties, if it happens",
    ),
    "nothing deploys at 0 over a crowd": holds(
        DAY.plus('[cases]\n"nothing deploys" = 0').also(
            crowd(*UNDER, 50, 60, 20, "Under")
        ),
        "people under the fall",
    ),
    "nothing deploys at one in a million": holds(
        DAY.plus('[cases]\n"nothing deploys" = 1e-6').also(
            crowd(*UNDER, 50, 60, 20, "Under")
        ),
        "people under the fall",
    ),
    "all failures at 0": holds(
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
        "people under the fall",
    ),
    "18 % come in nose first": no_go(
        DAY.plus('[cases]\n"nothing deploys" = "18 %"'), "recovery fails"
    ),
    "one in eight recoveries fails": holds(
        DAY.plus('[cases]\n"nothing deploys" = "9 %"'), "recovery fails"
    ),
}

OPENINGS = {
    "a canopy at 300 m after a nose-first fall": no_go(
        DAY.edited(('opens_at = "apogee"', 'opens_at = "300 m"'))
    ),
    "a canopy at 12 m": no_go(DAY.edited(('opens_at = "apogee"', 'opens_at = "12 m"'))),
    "a canopy while the motor burns": no_go(
        DAY.edited(('opens_at = "apogee"', 'opens_at = "0.3 s"'))
    ),
    "a canopy at top speed": no_go(
        DAY.edited(('opens_at = "apogee"', 'opens_at = "2.0 s"'))
    ),
    "a canopy at 3 s beside a streamer at apogee": no_go(
        DAY.edited(('opens_at = "apogee"', 'opens_at = "3 s"')).plus(
            '[[recovery]]\nname = "streamer"\nkind = "streamer"\n'
            'length = "1 m"\nwidth = "10 cm"\nopens_at = "apogee"'
        )
    ),
    "a canopy five seconds late": holds(
        DAY.edited(('opens_at = "apogee"', 'opens_at = "20 s"'))
    ),
    "a canopy of 28 cm": holds(DAY.edited(('"1.22 m"', '"0.28 m"')), "descent"),
    "a canopy of 60 cm": holds(DAY.edited(('"1.22 m"', '"0.6 m"')), "descent"),
    "a strength that cannot hold": holds(
        DAY.but(
            flight=DAY.flight.replace(
                "[[piece]]", 'strength = { lines = "20 N" }\n\n[[piece]]', 1
            )
        ),
        "recovery fails",
    ),
    **{
        f"{what}, and a cord of 18 kN told": holds(
            DAY.edited(
                ('opens_at = "apogee"', f'{told}\nstrength = {{ cord = "18 kN" }}')
            ),
            kind,
        )
        for what, told, kind in (
            ("a canopy late", 'opens_at = "12.5 s"', None),
            (
                "plastic film",
                'opens_at = "apogee"\ncloth = "plastic film"',
                "recovery fails",
            ),
        )
    },
    "no fins listed": holds(
        DAY.but(flight=DAY.flight[: DAY.flight.index("[[piece]]")]), "missing"
    ),
    "a longer rail that leans over the crowd": holds(
        DAY.edited(
            ('angle = "4 deg"', 'angle = "16 deg"'), ('"into the wind"', '"180 deg"')
        )
    ),
    "a rail at 25 degrees": no_go(DAY.edited(('angle = "4 deg"', 'angle = "25 deg"'))),
    "a rail of 40 cm": no_go(DAY.edited(('"1.8 m"', '"0.4 m"'))),
    "a motor that cannot lift it": no_go(DAY.edited(("1.85 kg", "40 kg"))),
}


WINDS = {
    "22 mph at head height beside an old table": no_go(
        DAY.edited(('"1.8 m"', '"15 m"')).under("22 mph from 240", ALOFT)
    ),
    "35 mph at head height beside a table": no_go(DAY.under("35 mph from 240", ALOFT)),
    "the table typed first": holds(DAY.under(ALOFT, "35 mph from 240")),
    "a calm, and a rail that is to lean into it": holds(ANYWHERE, "lands in"),
    "3 mph from all sides, and a rail that is to lean into it": holds(
        ANYWHERE.under("3 mph variable"), "lands in"
    ),
    "calm and 25 mph": holds(LOW.under("calm", "25 mph from 240")),
    "25 mph and calm": holds(LOW.under("25 mph from 240", "calm")),
    "two tables that disagree": holds(
        DAY.under(
            ALOFT, table((2, 240, 4), (10, 240, 5), (300, 240, 15), (2500, 240, 25))
        )
    ),
    "two tables that disagree, the other way": holds(
        DAY.under(
            table((2, 240, 4), (10, 240, 5), (300, 240, 15), (2500, 240, 25)), ALOFT
        )
    ),
    "a table that tells no time": holds(DAY.under(ALOFT.replace(READ, ""))),
    "a table of the day before": refused(
        DAY.under(ALOFT.replace("06-13 08:10", "06-12 08:10"))
    ),
    "a table four hours old": holds(
        DAY.under(ALOFT.replace("06-13 08:10", "06-13 04:00")), "wind age"
    ),
    "a table from after the flight": refused(
        DAY.under(ALOFT.replace("06-13 08:10", "06-13 11:10"))
    ),
    "a low flight on an undated table": holds(
        LOW.under(table((2, 90, 2), (300, 90, 4), first=""))
    ),
    "only the surface wind for a high flight": holds(
        DAY.under("4 mph from 75"), "wind gap"
    ),
    "calm at dawn for a high flight": holds(DAY.under("calm"), "wind gap"),
    "a table that ends at 300 m": holds(
        DAY.under(table((2, 75, 1.8), (10, 80, 2.2), (300, 90, 3.5))), "wind gap"
    ),
    "two levels 2 km apart": holds(DAY.under(table((2, 75, 2.2), (2000, 255, 12)))),
    "two levels 6 km apart": holds(DAY.under(table((2, 75, 2.2), (6000, 255, 12)))),
    "a jet above a calm": holds(
        LOW.under(
            table(
                (2, 0, 0),
                (20, 0, 0.5),
                (50, 0, 4),
                (100, 0, 9),
                (200, 0, 12),
                (450, 0, 11),
            )
        ).but(areas=(crowd(0, -300, wide=100, deep=60),))
    ),
    "no wind read near the ground": holds(
        DAY.under(table((300, 90, 3), (1500, 100, 5)))
    ),
    "3 mph gusting to 19": holds(LOW.under("3 mph from 80 gusting to 19 mph at 10 m")),
    "5 mph gusting to 40": holds(LOW.under("5 mph from 80 gusting to 40 mph")),
    "a gust of 30 m/s at 70 m": holds(
        LOW.under(
            READ
            + "height_m,from_deg,speed_mps,gust_mps\n2,90,1.5,\n70,90,3,30\n300,90,4,\n"
        )
    ),
    "a wind of 15 mph": holds(LOW.under("15 mph from 90")),
    "a wind of 18 mph": no_go(LOW.under("18 mph from 90")),
    "a wind of 30 mph": no_go(DAY.under("30 mph from 90", ALOFT)),
    "a METAR of the day before": holds(
        LOW.under("METAR KXYZ 121553Z 08003KT 10SM CLR 10/01 A3001")
    ),
    "a METAR of the week before": refused(
        LOW.under("METAR KXYZ 061553Z 08003KT 10SM CLR 10/01 A3001")
    ),
    "a METAR without the time of the flight": refused(
        LOW.under("METAR KXYZ 031753Z 08003KT 10SM CLR 10/01 A3001").but(when=None)
    ),
    "a METAR from after the flight": refused(
        LOW.under("METAR KXYZ 131853Z 08003KT 10SM CLR 10/01 A3001")
    ),
    "a METAR with a peak wind": holds(
        LOW.under(
            "METAR KXYZ 131453Z 08003KT 10SM CLR 10/01 A3001 RMK AO2 PK WND 20045/1440"
        )
    ),
    "a METAR with a wind shift": holds(
        LOW.under("METAR KXYZ 131453Z 08003KT 10SM CLR 10/01 A3001 RMK AO2 WSHFT 1435")
    ),
    "a METAR with wind shear": holds(
        LOW.under("METAR KXYZ 131453Z 08003KT 9999 10/01 Q1016 WS ALL RWY")
    ),
    "a METAR with a thunderstorm near": holds(
        LOW.under("METAR KXYZ 131453Z 08003KT 10SM VCTS CLR 10/01 A3001")
    ),
    "a METAR with a squall": holds(
        LOW.under("METAR KXYZ 131453Z 08003KT 5SM SQ 10/01 A3001")
    ),
    "a METAR with a worse trend": holds(
        LOW.under("METAR KXYZ 131453Z 08003KT 9999 10/01 Q1016 TEMPO 26025G45KT TSRA")
    ),
    **{
        f"a METAR that tells of {told}": holds(
            LOW.under(f"METAR KXYZ 131453Z 08003KT {told} CLR 10/01 A3001")
        )
        for told in ("GR", "VCSH", "SCT030TCU")
    },
    **{
        f"a METAR with remarks of {told}": holds(
            LOW.under(f"METAR KXYZ 131453Z 08003KT 10SM CLR 10/01 A3001 RMK AO2 {told}")
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
    "a METAR beside a contrary hand": holds(
        LOW.under("calm", "METAR KXYZ 131453Z 24035G45KT 10SM CLR 10/01 A3001")
    ),
}

RULES = {
    "nothing answered": holds(
        DAY.but(answers=dict.fromkeys(("landowner_leave",))), "rule"
    ),
    "the waiver is not active": no_go(DAY.answered(waiver_active="no"), "rule"),
    "a fire ban": no_go(DAY.answered(no_fire_ban="no"), "rule"),
    "no leave of the landowner": no_go(DAY.answered(landowner_leave="no"), "rule"),
    "an uncertified flier": refused(DAY.answered(certification_level=0)),
    "cloud of 6/8": no_go(DAY.answered(cloud_cover="6/8"), "rule"),
    "visibility of 2 mi": no_go(DAY.answered(visibility="2 mi"), "rule"),
    "notice of 2 h": no_go(DAY.answered(notice="2 h"), "rule"),
    "the motor is not allowed": no_go(DAY.answered(motor_allowed="no"), "rule"),
    "stability not checked": no_go(DAY.answered(stability_checked="no"), "rule"),
    "answers of the day before": holds(DAY.answered(date="2026-06-12"), "rule"),
    "no rule set named": refused(DAY.but(rules="")),
    "a rule set of another country": no_go(DAY.but(rules="uk"), "position"),
    "another country again": no_go(DAY.but(rules="australia"), "position"),
    "a bare ceiling": refused(DAY.but(waiver=(3000.0, 3000))),
    "a bare elevation": refused(DAY.but(members={"elevation": 4050})),
    "two pads and none chosen": refused(
        DAY.also(spot("pad", 0, -660, name="Other pad"))
    ),
    "the other pad, by the crowd": no_go(
        DAY.also(spot("pad", 0, -660, name="Other pad")).but(
            options=("--pad", "Other pad")
        )
    ),
    "too few flights to tell": holds(DAY.but(samples=500)),
    "a hundred flights a day that each risk a little": holds(
        LOW.but(
            areas=(crowd(0, -100, people=400, wide=150, deep=20),),
            members={"flights_today": 1000},
        ),
        "casualties in a day",
    ),
}

SCENES = {**PEOPLE, **GROUND, **TALK, **OPENINGS, **WINDS, **RULES}
SLOW = {
    "people given as many points",
    "a canopy five seconds late",
    "a canopy late, and a cord of 18 kN told",
    "a longer rail that leans over the crowd",
    "3 mph gusting to 19",
    *(f"the crowd under the fall cut into {n}" for n in (2, 4, 8, 20, 24)),
    *(f"the crowd under the landing cut into {n}" for n in (5, 20)),
}
"""What only thousands of flights show, and more cuts of one crowd."""


@pytest.mark.parametrize(("scene", "mildest", "kind"), rows(SCENES, SLOW))
def test_never_milder_than_an_officer(speak, scene, mildest, kind):
    never_milder(speak, scene, mildest, kind)


@pytest.mark.parametrize("scene", [DAY, LOW], ids=["the day", "a low flight"])
def test_few_flights_bring_up_nothing_that_no_flight_decides(speak, scene):
    """Else scenes of such a kind, which are flown few times, would show nothing."""
    _, speaking, said = speak(scene.but(samples=FEW))
    assert UNFLOWN.isdisjoint(speaking), shown(speaking, said)
