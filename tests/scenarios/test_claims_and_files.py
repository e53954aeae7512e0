"""Scenes of what files claim, leave out and name: slips, wishes, own rules, own limits.

A claim beside what is published or can be known is heard and brings no go; a drawing in
pieces is the ground it stands for; a set of rules takes nothing away from another.
"""

import json

import pytest
from scene import (
    ALOFT,
    CODES,
    DAY,
    LOW,
    PLANNED,
    RANK,
    READ,
    ROOT,
    TOLD,
    UNDER,
    area,
    box,
    crowd,
    disc,
    holds,
    never_milder,
    no_go,
    refused,
    rows,
    shown,
    table,
)


def squares(role, place, wide, step, size=1.0, **properties):
    """Ground drawn as small squares with gaps between."""
    number = int(wide // step)
    middle = [step * (i + 0.5) - wide / 2 for i in range(number)]
    rings = [
        box(place[0] + x, place[1] + y, size, size)["coordinates"]
        for x in middle
        for y in middle
    ]
    shape = {"type": "MultiPolygon", "coordinates": rings}
    return area(role, shape, f"{role} in squares", **properties)


def dots(wide, step, people):
    """People as so many areas of their own, two metres wide."""
    number = int(wide // step)
    middle = [step * (i + 0.5) - wide / 2 for i in range(number)]
    return tuple(
        crowd(PLANNED[0] + x, PLANNED[1] + y, people, 2, 2, f"Dot {i} {j}")
        for i, x in enumerate(middle)
        for j, y in enumerate(middle)
    )


def signed(**limits):
    own = {**limits, "set_by": "A. Quill", "set_on": "2026-06-01"}
    return {"members": {"limits": own}}


def metar(time="1453", wind="08003KT", sky="CLR", more=""):
    return f"METAR KXYZ 13{time}Z {wind} 10SM {sky} 10/01 A3001{more}"


def record(*rows):
    """A meter's record of times, directions, speeds and gusts."""
    head = "# zone -07:00\ntime,from_deg,speed_mps,gust_mps\n"
    return head + "".join(f"2026-06-13 {t},{w},{s},{g}\n" for t, w, s, g in rows)


CURVE = f'thrust_curve = "{ROOT / "examples" / "willet_motor.csv"}"'

TWO_BURNS = (
    'total_impulse = "347 N s"\nburn_time = "3.4 s"\n'
    "times = [0, 0.05, 1, 1.05, 2, 2.05, 3.3, 3.4]\n"
    "thrusts = [0, 200, 180, 0, 0, 150, 140, 0]"
)


def says(*pairs):
    return holds(DAY.edited(*pairs), "implausible")


DRAG, CANOPY = 'drag_coefficient = "0.48"', 'drag_coefficient = "0.75"'
RIBBON = """[[recovery]]
name = "ribbon"
kind = "streamer"
length = "1 cm"
width = "1 cm"
opens_at = "apogee"

[[recovery]]"""
BODY = 'diameter = "57 mm"\nlength = "1.32 m"'

# Of each kind of figure one; every range has both its ends tried by `test_claims`.
CLAIMS = {
    "a motor that bursts from a thimble": holds(
        DAY.but(flight=TOLD).edited(('volume = "150 cm3"', 'volume = "1 cm3"')),
        "implausible",
    ),
    "a drag coefficient of 0.1": says((DRAG, 'drag_coefficient = "0.1"')),
    "drag known to a hair": says((DRAG, 'drag_coefficient = "0.48 +/- 0 %"')),
    "a maker's figure on the wrong area": says(
        (CANOPY, 'drag_coefficient = "1.5"'), ('"1.22 m"', '"0.9 m"')
    ),
    "centimetres for millimetres": says(
        (BODY, 'diameter = "57 cm"\nlength = "1.32 m"')
    ),
    "two burns told as one curve": holds(DAY.edited((CURVE, TWO_BURNS)), "implausible"),
    "a cluster that only the answers tell of": holds(
        LOW.answered(motor_count=7), "missing"
    ),
    "a rocket of forty times the impulse beside it": holds(
        LOW.answered(
            rockets_together=2, salvo_impulse="2500 N s", larger_rockets_judged=None
        ),
        "rule",
    ),
    "a larger rocket beside it that is no go by its own file": holds(
        LOW.answered(
            rockets_together=2, salvo_impulse="400 N s", larger_rockets_judged="no"
        ),
        "rule",
    ),
    "two fins": says(("count = 3", "count = 2")),
    "a cord of kilonewtons told in newtons": refused(
        DAY.edited(
            (
                'opens_at = "apogee"',
                'opens_at = "apogee"\nstrength = { cord = "2500 kN" }',
            )
        )
    ),
    "a ribbon of a square centimetre for a drogue": says(
        ('opens_at = "apogee"', 'opens_at = "150 m"'), ("[[recovery]]", RIBBON)
    ),
    "an opening above the apogee": says(('opens_at = "apogee"', 'opens_at = "1500 m"')),
    "a glide of 8, which may be a ratio": refused(
        DAY.edited(('opens_at = "apogee"', 'opens_at = "apogee"\nglide = 8'))
    ),
    "a rail of eight feet told as metres": says(('length = "1.8 m"', 'length = "8 m"')),
    "three motors of which nobody says whose the curve is": holds(
        DAY.edited(("count = 1 ", "count = 3 ")).answered(motors_told_together=None),
        "rule",
    ),
    "three motors lit in the air, of which one may stay out": holds(
        DAY.plus(
            '[air_start]\nignition = "0.5 s"\n[air_start.motor]\ncount = 3\n'
            'total_impulse = "60 N s"\nburn_time = "1.5 s"\npropellant_mass = "30 g"'
        ),
        "missing",
    ),
    "drag by Mach without the coefficient": refused(
        DAY.edited((f"{DRAG}", "drag_by_mach = [[0, 0.2], [0.9, 0.2], [1.1, 0.4]] #"))
    ),
    "an apogee known to a hair": holds(
        LOW.edited(
            ('"285 m +/- 15 m"', '"285 m +/- 0 m"'),
            ('"7.9 s +/- 0.05 s"', '"7.9 s +/- 0 s"'),
        ),
        "implausible",
    ),
    "a label too weak to lift it": holds(
        LOW.answered(average_thrust="3 N"), "implausible"
    ),
    "many rockets by their impulse, of which nobody says how many": holds(
        LOW.answered(salvo_impulse="3000 N s"), "rule"
    ),
    "many rockets with less than the one that is flown": holds(
        LOW.answered(salvo_impulse="30 N s"), "rule"
    ),
    "a largest motor with more than all of the propellant": holds(
        LOW.answered(propellant_mass="31 g", motor_propellant="500 g"),
        "rule",
    ),
    "a label with a tenth of its propellant": holds(
        LOW.answered(propellant_mass="3.1 g"), "implausible"
    ),
    "a streamer that holds like a canopy": holds(
        LOW.edited(('width = "0.26 m"', 'width = "0.26 m"\ndrag_coefficient = "3"')),
        "implausible",
    ),
}

DRAWN = {
    "people as dots forty metres apart": no_go(
        DAY.also(*dots(300.0, 40.0, 1)), "among people"
    ),
    "nobody in squares of a metre": no_go(
        DAY.also(squares("spectators", PLANNED, 150, 12, people=0)), "among people"
    ),
    "nobody in squares far apart": no_go(
        DAY.also(squares("spectators", PLANNED, 300, 25, people=0)), "among people"
    ),
    "closed ground in squares of a metre": no_go(
        DAY.also(squares("closed ground", PLANNED, 200, 12)), "on ground kept clear"
    ),
    "a farm in squares under the fall": no_go(
        DAY.also(squares("building", UNDER, 160, 16)),
        "among people, in failure",
    ),
    "a power line drawn as its poles": holds(
        DAY.also(squares("power line", PLANNED, 300, 25, 3.0)), "on a power line"
    ),
    "a crowd thinned out by ground elsewhere": no_go(
        DAY.also(
            area(
                "spectators",
                {
                    "type": "MultiPolygon",
                    "coordinates": [
                        box(*UNDER, 60, 40)["coordinates"],
                        box(0, -1800, 1500, 800)["coordinates"],
                    ],
                },
                "Both",
                people=40_000,
            )
        ),
        "casualties, if it happens",
    ),
    "a crowd drawn the other way round": no_go(
        DAY.also(
            area(
                "spectators",
                {
                    "type": "Polygon",
                    "coordinates": [
                        list(reversed(box(*PLANNED, 120, 120)["coordinates"][0]))
                    ],
                },
                "Clockwise",
                people=60,
            )
        ),
        "among people",
    ),
    "a crowd in a reserve": no_go(
        DAY.also(
            area("closed ground", box(*PLANNED, 300, 300), "Reserve"),
            crowd(*PLANNED, 60, 100, 100, "In it"),
        ),
        "among people",
    ),
    "people on a power line's strip": no_go(
        DAY.also(area("power line", box(*PLANNED, 60, 600), "Strip", people=30)),
        "among people",
    ),
    "half a person": refused(DAY.also(crowd(*PLANNED, 0.4))),
    "ten million people": refused(DAY.also(crowd(*PLANNED, 10_000_000))),
    "a role of another spelling": refused(
        DAY.also(area("Spectators", box(*PLANNED, 90, 90), "X", people=9))
    ),
    "a field with a hole where it lands": no_go(
        DAY.but(land=500.0).also(
            area(
                "boundary",
                {
                    "type": "Polygon",
                    "coordinates": disc(0, 0, 2500)["coordinates"]
                    + [list(reversed(disc(*PLANNED, 190)["coordinates"][0]))],
                },
                "With a hole",
            )
        ),
        "outside boundary",
    ),
}

NOBODY = {
    "nobody but a crowd of none": holds(
        DAY.but(areas=(crowd(0, -700, 0),)), "nobody near"
    ),
    "nobody but a crowd twelve kilometres off": holds(
        DAY.but(areas=(crowd(9000, -9000, 30),)), "nobody near"
    ),
    "a flight line of none": holds(
        LOW.but(
            areas=(
                crowd(0, -300, 0),
                area("flight line", box(0, -100, 30, 5), "Line", people=0),
            )
        ),
        "nobody near",
    ),
    "nobody says who presses the button": holds(
        DAY.answered(crew_drawn_elsewhere=None), "rule"
    ),
    "whoever presses the button stands nearer": no_go(
        DAY.answered(crew_drawn_elsewhere="no"), "rule"
    ),
}

DILUTED = DAY.also(crowd(*PLANNED, 3, 11, 11, "Three")).plus("[cases]")

SIGNED = {
    "a failure raised until little is left of what works": holds(
        DILUTED.plus('"goes off its path" = "88 %"').but(samples=8000), "among people"
    ),
    "a signature under everything": holds(
        DAY.but(
            **signed(
                area_hit="100 %",
                area_hit_in_failure="100 %",
                overflight="100 %",
                expected_casualties=1000,
                individual_risk=1,
                casualties_if_it_happens=1000,
            )
        ).also(crowd(*PLANNED, 500, 120, 120, "Under")),
        "casualties",
    ),
    "a signature over people of whom none is counted": holds(
        DAY.but(**signed(area_hit="100 %", area_hit_in_failure="100 %")).also(
            crowd(*PLANNED, 0, 120, 120, "Under")
        ),
        "among people",
    ),
    "a signature for the waiver": holds(
        DAY.but(waiver=(700.0, "8500 ft"), **signed(outside_waiver="100 %")),
        "outside waiver",
    ),
    "a signature for the ceiling": holds(
        DAY.but(waiver=(3000.0, "3000 ft"), **signed(above_ceiling="100 %")),
        "above ceiling",
    ),
    "a signature for a power line": holds(
        DAY.but(**signed(power_line_hit="100 %")).also(
            area("power line", box(*PLANNED, 20, 1500), "230 kV")
        ),
        "on a power line",
    ),
    "a signature for a margin of a third": holds(
        DAY.edited(('"1.8 cal"', '"0.3 cal"')).but(**signed(static_margin="0.01 cal")),
        "static margin",
    ),
    "a signature for a wind of the day before": holds(
        DAY.under(ALOFT.replace("06-13 08:10", "06-12 10:00")).but(
            **signed(wind_age="100 h")
        ),
        "wind age",
    ),
    "a signature for a wind that nobody read": holds(
        DAY.under("4 mph from 75").but(**signed(wind_gap="10 km")), "wind gap"
    ),
    "a signature for the code's wind": holds(
        LOW.under("25 mph from 90").but(
            **signed(surface_wind="60 mph", rail_speed_over_wind=0.1)
        )
    ),
}

SKY = {
    "a calm read above a breeze at head height": holds(
        LOW.under("2.5 m/s from 90", "calm at 10 m"), "wind warned"
    ),
    "a forecast that nobody stood in": holds(
        LOW.under("forecast 2 m/s from 90"), "wind warned"
    ),
    "a remark that disowns the wind": holds(
        LOW.under("# another field, not here\n" + table((2, 90, 2))),
        "wind warned",
    ),
    "a balloon that slows to nothing": holds(
        LOW.under(table((2, 90, 3), (10, 90, 4), (40, 90, 2.5), (60, 90, 0.5))),
        "wind warned",
    ),
    "a storm that the next report leaves out": holds(
        LOW.under(f"{metar(sky='TS CLR')}\n{metar('1515')}\n"), "wind warned"
    ),
    "a storm near by twenty minutes ago": holds(
        LOW.under(f"{metar('1445', sky='VCTS CLR')}\n{metar('1510')}\n"),
        "wind warned",
    ),
    "lightning that the next report leaves out": holds(
        LOW.under(f"{metar(more=' RMK AO2 LTG OHD')}\n{metar('1520')}\n"),
        "wind warned",
    ),
    "a gale in the report before": holds(
        LOW.under(f"{metar('1440', '24025G40KT')}\n{metar('1515')}\n")
    ),
    "a peak wind in the report before": holds(
        LOW.under(f"{metar(more=' RMK AO2 PK WND 24045/1450')}\n{metar('1515')}\n")
    ),
    "a forecast of storms below the report": holds(
        LOW.under(
            f"{metar('1515')}\nTAF KXYZ 131140Z 1312/1412 08003KT P6SM SKC TEMPO "
            "1315/1317 24035G50KT TSRA\n"
        ),
        "wind warned",
    ),
    "a report of a storm below the forecast": holds(
        LOW.under(
            "TAF KXYZ 131140Z 1312/1412 08003KT P6SM SKC\n"
            f"{metar('1515', sky='TS CLR')}\n",
            "4 mph from 90",
        ),
        "wind warned",
    ),
    "half a mile at the surface, in the remarks": holds(
        LOW.under(metar(more=" RMK AO2 SFC VIS 1/2")), "wind warned"
    ),
    **{
        f"a meter's record, {told}": (LOW.under(record(*rows)), "hold", kind)
        for told, rows, kind in (
            (
                "a gust on a line of its own",
                (("08:20", 90, 2, ""), ("08:22", "", "", 18), ("08:25", 90, 2, "")),
                None,
            ),
            (
                "a gale before the hour",
                (("07:10", 90, 13, 20), ("08:20", 90, 2, ""), ("08:25", 90, 2, "")),
                "wind warned",
            ),
            (
                "gusts below the mean",
                (("08:20", 90, 2, 0.5), ("08:25", 90, 2, 0.5)),
                "wind warned",
            ),
        )
    },
    "forty miles an hour a foot above the mast": holds(
        DAY.under(ALOFT.replace("300,85,7\n", "34,240,40\n300,85,7\n")),
        "wind warned",
    ),
    "a table that was read, and that an app foretold": refused(
        DAY.under("# forecast by the app\n" + ALOFT)
    ),
    "a kite in a gale within a table's calm": holds(
        DAY.under("4 mph from 75", "30 mph from 240 at 150 m", ALOFT),
        "wind warned",
    ),
    "haze in a report whose wind is passed over": no_go(
        DAY.under(metar().replace("10SM", "2SM"), ALOFT).answered(visibility="10 mi"),
        "rule",
    ),
    "overcast in a report whose wind is passed over": no_go(
        DAY.under(metar(sky="OVC030"), ALOFT).answered(cloud_cover="1/8"),
        "rule",
    ),
    **{
        f"{sky} where no rule asks": holds(
            LOW.under(metar(sky=sky)).but(rules=rules), "into cloud"
        )
        for sky, rules in (
            ("OVC002", "us"),
            ("FEW001 BKN005", "us"),
            ("VV///", "range"),
        )
    },
    **{
        f"{sky} below a flight whose rules ask of no cloud": holds(
            LOW.under(metar(sky=sky)).answered(cloud_passed_by=said),
            "rule",
        )
        for sky, said in (("FEW008 SCT009", None), ("SCT009", "no"))
    },
    "cloud expected": holds(
        LOW.under(f"{metar(sky='FEW040')} TEMPO 0600 FG OVC002"), "wind warned"
    ),
    "a report that the next has taken the place of": holds(
        LOW.under(metar("1345")), "wind warned"
    ),
    "thunder in a remark of a meter's record": holds(
        LOW.under(
            "# thunder in the west\n# zone -07:00\ntime,speed_mph,from_deg\n"
            + "".join(f"2026-06-13 08:{m},{4 + m % 2},90\n" for m in range(15, 30))
        ),
        "wind warned",
    ),
    **{
        f"{told} in a report": holds(LOW.under(metar(sky=f"{told} CLR")), "wind warned")
        for told in ("VCFG", "MIFG", "FZRA", "VA")
    },
    "a gust less than the mean": refused(LOW.under("9 mph from 90 gusting to 4 mph")),
    "9 mph from all sides": holds(LOW.under("9 mph variable")),
    "calm told to the top": holds(
        DAY.under(table((2, 0, 0), (2500, 0, 0))), "wind layer"
    ),
    "a strong wind over a calm": holds(
        LOW.under("calm", "34 mph from 90 at 490 ft"), "wind shear"
    ),
    "a table of another zone": holds(
        DAY.under(ALOFT.replace("08:10-07:00", "08:10+02:00")), "wind age"
    ),
    "a table without a zone": refused(DAY.under(ALOFT.replace("08:10-07:00", "08:10"))),
    "a table read in time to come": refused(
        DAY.under(ALOFT.replace(READ, "")).but(
            options=("--read-at", "2026-06-13T09:30-07:00")
        )
    ),
    "a low flight by night": holds(
        LOW.answered(night_arranged=None).but(when="2026-06-13T02:30-07:00"),
        "rule",
    ),
    "the time in the wrong zone": refused(DAY.but(when="2026-06-13T08:30Z")),
}

SAID = {
    "a mass in pounds, and a label of which nobody tells the impulse": holds(
        LOW.edited(('mass = "0.62 kg"', 'mass = "0.28 kg"')).answered(
            total_impulse=None
        ),
        "rule",
    ),
    "an apogee that the label's motor leaves far below": holds(
        LOW.edited(("285 m +/- 15 m", "60 m +/- 3 m"), ("7.9 s", "3.8 s")).answered(
            total_impulse="62 N s"
        ),
        "implausible",
    ),
    "a motor told smaller than all of it": no_go(
        LOW.answered(total_impulse="310 N s", motor_impulse="99 N s").but(
            areas=(crowd(0, -24, 10, 10, 4),)
        ),
        "rule",
    ),
    "propellant told smaller than all of it": no_go(
        LOW.answered(
            total_impulse="310 N s", motor_impulse="99 N s", motor_propellant="10 g"
        ).but(areas=(crowd(0, -24, 10, 10, 4),)),
        "rule",
    ),
    **{
        f"an airport 500 m off, {told}": (
            LOW.also(area("airport", box(-800, 0, 600, 100), "Strip")).answered(
                airport_agreed=answer
            ),
            mildest,
            "rule",
        )
        for told, answer, mildest in (
            ("of which nobody spoke", None, "hold"),
            ("that does not agree", "no", "no-go"),
        )
    },
    "ground cleared for eighty miles": refused(DAY.answered(cleared_diameter="80 mi")),
    "a level that nobody has": refused(DAY.answered(certification_level=4)),
    "answers for the day after": holds(DAY.answered(date="2026-06-14"), "rule"),
    "answers for another site": holds(DAY.answered(site="Elsewhere"), "rule"),
    "answers for another flight": holds(DAY.answered(flight="Other"), "rule"),
    "answers for another field of the same name": holds(
        DAY.answered(place=[40.95, -117.4, 1234.4]), "rule"
    ),
    "answers from before the elevation was changed": holds(
        DAY.answered(place=[41.604, -117.952, 1000.0]), "rule"
    ),
    "answers of which nobody says where": holds(DAY.answered(place=None), "rule"),
    "answers from before the rocket was changed": holds(
        DAY.answered(rocket="00000000"), "rule"
    ),
    "a yes to what nobody asked": refused(DAY.answered(all_is_well="yes")),
    "a sun told by night": refused(
        LOW.answered(sun_height="20 deg").but(when="2026-06-13T02:30-07:00")
    ),
    "a wind told lower": no_go(
        DAY.under("25 mph from 90", ALOFT).answered(surface_wind="2 mph")
    ),
    "an own case that hides a common one": refused(
        DAY.plus(
            '[[case]]\nname = "nothing deploys"\nlikelihood = "3 %"\n'
            'at = "apogee"\nrocket_falls = "main"'
        )
    ),
    "sparks on ground that is not cleared for them": no_go(
        DAY.answered(no_sparks="no", cleared_diameter="60 ft"), "rule"
    ),
    "notice too early": no_go(DAY.answered(notice="80 h"), "rule"),
    "the rules of the country to the north": no_go(DAY.but(rules="canada"), "position"),
    "a crowd a tenth of a degree away": holds(
        DAY.also(crowd(0, -11_100, 120, name="South crowd line")).answered(
            drawn_where_it_is=None
        ),
        "rule",
    ),
    **{
        f"the site's elevation told as {told}": holds(
            DAY.answered(elevation_checked=None).but(members={"elevation": told}),
            "rule",
        )
        for told in ("4050 m", "1234 ft")
    },
    "only what every range asks": holds(DAY.but(rules="range"), "rule"),
}

SCENES = {**CLAIMS, **DRAWN, **NOBODY, **SIGNED, **SKY, **SAID}
SLOW = {
    "a failure raised until little is left of what works",
    "a signature for a margin of a third",
    "nobody in squares far apart",
    "9 mph from all sides",
}
"""What only thousands of flights show, and more squares."""


@pytest.mark.parametrize(("scene", "mildest", "kind"), rows(SCENES, SLOW))
def test_never_milder_than_an_officer(speak, scene, mildest, kind):
    never_milder(speak, scene, mildest, kind)


FLAG = '[[rule]]\nname = "flag_out"\nquestion = "the flag is out"\n'
NEAR = (crowd(0, -22, 10, 10, 4),)
HOUSE = area("building", box(150, 150, 10, 10), "House", people=3)

OWN_RULES = {
    "nothing but a flag": ("club", FLAG, "{own}", DAY, "hold"),
    "a flag, and all the rest called whole": (
        "club",
        'whole = ["ground", "air"]\n' + FLAG,
        "{own}",
        DAY,
        "hold",
    ),
    "a file named as the law": (
        "us",
        'whole = ["ground", "air"]\n' + FLAG,
        "{own}",
        DAY,
        "hold",
    ),
    "a file that stands in for the code": (
        "club",
        'family = "us-safety-code"\nwhole = ["ground"]\n' + FLAG,
        "{own}, us",
        DAY.also(HOUSE),
        "no-go",
    ),
    "a stricter distance": (
        "club",
        '[[rule]]\nname = "personnel_distance"\ntext = "ours"\nlimit = "900 m"\n',
        "us, {own}",
        DAY,
        "no-go",
    ),
    "a milder distance": (
        "club",
        'extends = ["us"]\n[[rule]]\nname = "personnel_distance"\ntext = "ours"\n'
        'limit = "1 m"\n',
        "{own}",
        DAY.but(areas=NEAR),
        "no-go",
    ),
    "an excuse for a distance": (
        "club",
        'extends = ["us"]\n[[rule]]\nname = "personnel_distance"\ntext = "ours"\n'
        'limit = "100 ft"\nunless_confirmed = { name = "we_know", text = "we know" }\n',
        "{own}",
        DAY.but(areas=NEAR),
        "no-go",
    ),
    "a question of the day made one of the season": (
        "club",
        'extends = ["us"]\n[[rule]]\nname = "no_fire_ban"\nscope = "season"\n'
        'question = "no ban on open fire or on launching is in force here today"\n',
        "{own}",
        DAY.answered(date="2026-04-01"),
        "hold",
    ),
}


@pytest.mark.parametrize(
    ("name", "text", "rules", "scene", "mildest"), OWN_RULES.values(), ids=OWN_RULES
)
def test_rules_of_ones_own_take_nothing_away(
    speak, tmp_path, name, text, rules, scene, mildest
):
    own = tmp_path / f"{name}.toml"
    own.write_text(f'title = "Our club"\nsource = "ours"\n{text}', encoding="utf-8")
    verdict, speaking, said = speak(scene.but(rules=rules.format(own=own)))
    assert RANK.index(verdict) >= RANK.index(mildest), shown(speaking, said)
    assert verdict != "refused", said


PLAIN = {
    "the guide's morning": ("willet", "examples/morning.csv", "answers", 20_000),
    "4 mph": ("dunlin", "4 mph from 75", "answers-dunlin", 20_000),
    "the crowd upwind": ("dunlin", "8 mph from 200", "answers-dunlin", 8000),
}


@pytest.mark.parametrize(
    ("flight", "wind", "answers", "samples"), rows(PLAIN, {"4 mph", "the crowd upwind"})
)
def test_a_plain_day_with_the_examples_as_they_are_is_go(
    speak, tmp_path, monkeypatch, flight, wind, answers, samples
):
    monkeypatch.chdir(ROOT)
    code, said = speak.run(
        *("assess", f"examples/{flight}.toml", "--wind", wind),
        *("--site", "sites/saltgrass-flat.geojson"),
        *("--when", "2026-06-13T08:30-07:00", "--samples", samples),
        *("--answers", f"examples/{answers}.toml", "--out", tmp_path),
    )
    assert CODES[code] == "go", said
    told = json.loads((tmp_path / "assessment.json").read_text(encoding="utf-8"))
    assert all(check["outcome"] == "pass" for check in told["checks"])
    assert "Flight of 2026-06-13 08:30 (15:30 UTC), High-power pads at 41." in said
    assert "answered by people. The range safety officer decides" in said
