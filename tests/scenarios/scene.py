"""Scenes: a flight at a site in a wind with its answers, told to the command line."""

import hashlib
import json
import math
import re
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import pytest
from once import Once, air
from shell import driftmap

from driftmap.cli import assess
from driftmap.ground import site
from driftmap.montecarlo import cloud
from driftmap.montecarlo.lean import PLAIN
from driftmap.report import map as map_page
from driftmap.rules import template
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import with_answers
from driftmap.verdict import (
    assessment,
    document,
    judgement,
    rule_checks,
    setup,
)
from driftmap.winds import merge as merging

ROOT = Path(__file__).parents[2]
RANK = ("go", "hold", "no-go", "refused")
CODES = {0: "go", 3: "hold", 4: "no-go", 2: "refused"}
WHEN = "2026-06-13T08:30-07:00"
READ = "# read 2026-06-13 08:10-07:00\n"
PLACE = (-117.952, 41.604)
KEPT = 48
KEPT_FLIGHTS = 100_000  # of clouds; some 1 kB each
FEW, SOME = 200, 400
UNFLOWN = {
    *("head count", "implausible", "missing", "nobody near", "position", "rule"),
    "surface wind",
    *("wind age", "wind gap", "wind layer", "wind near ground", "wind undated"),
    *("wind shear", "wind warned"),
}
"""Kinds of checks that speak, or do not, whatever the flights show, however few they are."""

WILLET = (ROOT / "examples" / "willet.toml").read_text(encoding="utf-8")
WILLET = WILLET.replace("willet_motor.csv", str(ROOT / "examples" / "willet_motor.csv"))
TOLD = f"""\
name = "Willet 54"
[airframe]
mass = "1.85 kg +/- 20 g"
diameter = "57 mm"
length = "1.32 m"
stability = "1.8 cal +/- 0.2 cal"
drag_coefficient = "0.48 +/- 5 %"
moment_of_inertia = "0.2 kg m2"
[rail]
length = "1.8 m"
angle = "4 deg +/- 1 deg"
azimuth = "into the wind"
[motor]
thrust_curve = "{ROOT / "examples" / "willet_motor.csv"}"
propellant_mass = "0.19 kg"
count = 1
[[recovery]]
name = "main"
kind = "canopy"
diameter = "1.22 m"
drag_coefficient = "0.75 +/- 5 %"
opens_at = "apogee"
mass = "0.12 kg"
cloth = "ripstop nylon"
strength = {{ lines = "2000 N", cord = "3000 N", attachment = "2500 N", canopy = "2500 N" }}
opening_delay = "0.6 s +/- 0.3 s"
[[piece]]
name = "fin"
kind = "fin"
count = 3
mass = "50 g"
root = "12 cm"
tip = "5 cm"
span = "10 cm"
thickness = "3.2 mm"
material = "glass epoxy"
[[piece]]
name = "nose cone"
kind = "nose cone"
mass = "110 g"
length = "0.22 m"
diameter = "57 mm"
[[piece]]
name = "motor case"
kind = "motor case"
mass = "150 g"
length = "0.2 m"
diameter = "38 mm"
[burst]
pressure = "10 MPa"
volume = "150 cm3"
fragments = 6
fragment_mass = "25 g"
fragment_area = "20 cm2"
"""
"""The Willet with everything told that a file can tell of it."""

DUNLIN = (ROOT / "examples" / "dunlin.toml").read_text(encoding="utf-8")
ALOFT = (
    READ
    + (ROOT / "examples" / "morning.csv")
    .read_text(encoding="utf-8")
    .split("08:10-07:00\n")[-1]
)


def lonlat(east, north):
    """A position so many metres from the pad."""
    a, f = 6378137.0, 1 / 298.257223563
    e2, lat = f * (2 - f), math.radians(PLACE[1])
    w = math.sqrt(1 - e2 * math.sin(lat) ** 2)
    rows, across = a * (1 - e2) / w**3, a / w * math.cos(lat)
    return [
        round(PLACE[0] + math.degrees(east / across), 8),
        round(PLACE[1] + math.degrees(north / rows), 8),
    ]


def ring(points):
    return {
        "type": "Polygon",
        "coordinates": [[lonlat(*p) for p in [*points, points[0]]]],
    }


def box(east, north, wide, deep):
    """A rectangle about a point."""
    w, d = wide / 2, deep / 2
    corners = ((-w, -d), (w, -d), (w, d), (-w, d))
    return ring([(east + x, north + y) for x, y in corners])


def disc(east, north, radius, corners=48):
    turns = (2 * math.pi * i / corners for i in range(corners))
    return ring(
        [(east + radius * math.cos(t), north + radius * math.sin(t)) for t in turns]
    )


def area(role, shape, name="", **properties):
    given = {"role": role, **({"name": name} if name else {}), **properties}
    return {"type": "Feature", "properties": given, "geometry": shape}


def spot(role, east=0.0, north=0.0, **properties):
    place = {"type": "Point", "coordinates": lonlat(east, north)}
    return area(role, place, **properties)


def crowd(east, north, people=60, wide=60, deep=20, name="Crowd", **rest):
    return area("spectators", box(east, north, wide, deep), name, people=people, **rest)


@dataclass(frozen=True)
class Scene:
    """All that is told for one verdict."""

    flight: str = WILLET
    areas: tuple = (crowd(0, -700, 30),)
    winds: tuple = (ALOFT,)
    when: str | None = WHEN
    land: float = 2600.0
    waiver: tuple = (3000.0, "8500 ft")
    rules: str = "us"
    answers: dict = field(default_factory=dict)
    options: tuple = ()
    members: dict = field(default_factory=dict)
    samples: int = 4096

    def but(self, **changes):
        """The same scene with something changed."""
        return replace(self, **changes)

    def under(self, *winds):
        """The same scene in other winds."""
        return self.but(winds=winds)

    def answered(self, **answers):
        """The same scene with more answered, or otherwise."""
        return self.but(answers={**self.answers, **answers})

    def edited(self, *pairs):
        """The same scene with its flight file edited."""
        text = self.flight
        for old, new in pairs:
            assert old in text, old
            text = text.replace(old, new)
        return self.but(flight=text)

    def plus(self, text):
        """The same scene with lines added to its flight file."""
        return self.but(flight=f"{self.flight}\n{text}\n")

    def also(self, *areas):
        """The same scene with more on the ground."""
        return self.but(areas=(*self.areas, *areas))


def geojson(scene):
    radius, ceiling = scene.waiver
    return {
        "type": "FeatureCollection",
        "name": "Test Flat",
        "rules": scene.rules,
        "elevation": "4050 ft",
        **scene.members,
        "features": [
            spot("pad", name="Pad"),
            spot("waiver", radius=f"{radius} m", ceiling=ceiling),
            area("boundary", disc(0, 0, scene.land)),
            *scene.areas,
        ],
    }


def filled_in(text, answers):
    """Answer everything that was asked as the file's own example does, but for some."""
    lines = []
    for line in text.splitlines():
        found = re.match(r"(#?)(\w+) = ", line)
        if found and found[2] in answers:
            continue
        lines.append(line[1:] if found and found[1] else line)
    for key, value in answers.items():
        if value is not None:
            told = value if key == "date" else json.dumps(value)
            lines.append(f"{key} = {told}")
    return "\n".join(lines) + "\n"


def rows_of(said_no, sets, facts, said, asked):
    """List what is asked of one who answers all as a scene does, whatever else may be asked.

    The command tries every answer, so that its file serves whoever fills it in otherwise.
    """
    rows, before = {}, None
    while rows != before:
        before = dict(rows)
        given = {
            name: next(template._answers_to(name, asked, facts))[1] for name in rows
        }
        confirmed = {n: n not in said_no for n in given if n in asked}
        numbers = {n: value for n, value in given.items() if n not in asked}
        told = replace(said, confirmed=confirmed, numbers=numbers)
        results = evaluate(sets, with_answers(facts, told), told)
        rows |= {name: "" for result in results for name in result.answer}
    return rows


def speaker(folder):
    """Make what says the verdict of a scene, and what does not pass by its kind.

    Clouds are flown and outlined once: many scenes differ only in who stands where. Few
    flights, of which no word is taken, are those of the first wind that a flight met, for
    what is asked as for what is judged. Site and wind are read once for both.
    """
    asked, said_no, few = {}, [], False
    planned, flown = Once(KEPT), Once(KEPT_FLIGHTS, lambda cloud: cloud.flights)
    merged, sited = Once(KEPT), Once(KEPT)
    fly, plan = cloud.fly, cloud.plan_launch
    merge, read_site = merging.merge, site.read_site
    # Other aims and other readings are told beside a verdict; no verdict knows of them.
    without = partial(assessment.assess_setup, advice=False)

    def fly_once(flight, wind, altitude, **rest):
        rest.pop("progress", None)
        if few:  # who scouts a height flies what is judged next
            rest.pop("steered", None)
        steered = rest.get("steered", PLAIN)
        if steered.lean is not None or steered.worth is not None:
            return fly(flight, wind, altitude, **rest)
        only = steered.only if steered.only is None else sorted(steered.only)
        told = (
            flight.model_dump_json(exclude_unset=True),
            altitude,
            rest["samples"],
            only,
        )
        if not few and rest["samples"] != FEW:
            others = {**rest, "steered": None}  # but for its cases, nothing
            told += (air(wind), sorted(others.items()))
        return flown(told, partial(fly, flight, wind, altitude, **rest))

    def plan_once(flight, wind, sky):
        told = (flight.model_dump_json(exclude_unset=True), air(wind), sky)
        return planned(told, partial(plan, flight, wind, sky))

    def merge_once(readings, setting):
        # All times of scenes are past: what the present is says nothing.
        told = (readings, replace(setting, now=setting.when))
        return merged(told, partial(merge, readings, setting))

    def site_once(path, **rest):
        name = str(path)  # it has a digest of all that stands in the file
        return sited((name, rest), partial(read_site, path, **rest))

    def told(scene):
        kept = (scene.flight, json.dumps(geojson(scene)), scene.when, scene.winds)
        name = hashlib.sha256(repr(kept).encode()).hexdigest()[:12]
        flight, place = folder / "flight.toml", folder / f"{name}.geojson"
        flight.write_text(scene.flight, encoding="utf-8")
        place.write_text(json.dumps(geojson(scene)), encoding="utf-8")
        common = [str(flight), "--site", str(place)]
        common += [] if scene.when is None else ["--when", scene.when]
        told_winds = []
        for text in scene.winds:
            # Named by what it says, which a wind keeps: the same wind is flown once.
            digest = hashlib.sha256(text.encode()).hexdigest()[:12]
            path = folder / f"{digest}.csv"
            path.write_text(text, encoding="utf-8")
            told_winds += ["--wind", str(path) if "\n" in text else text]
        return common, told_winds

    def run(*words):
        with pytest.MonkeyPatch.context() as patch:
            for room in (cloud, setup, rule_checks):
                patch.setattr(room, "fly", fly_once)
            patch.setattr(cloud, "plan_launch", plan_once)
            patch.setattr(rule_checks, "_SCOUTS", FEW)
            patch.setattr(template, "_every_row", partial(rows_of, said_no))
            patch.setattr(document, "_piece", lambda *_: {})
            patch.setattr(assessment, "influences", lambda _: ())
            patch.setattr(assessment, "assess_setup", without)
            patch.setattr(merging, "merge", merge_once)
            patch.setattr(site, "read_site", site_once)
            need = judgement.Need(0, "")  # told beside a verdict
            patch.setattr(judgement, "flights_needed", lambda *_: need)
            patch.setattr(assess, "need_of", lambda *_: need)
            patch.setattr(map_page, "map_html", lambda *_, **__: "")
            done = driftmap(*words)
        return done.returncode, done.stdout + done.stderr

    def answers_for(scene, common, winds):
        place = json.dumps(geojson(scene))
        key = (scene.flight, place, scene.when, scene.winds, *scene.answers)
        if key not in asked:
            path = folder / f"asked-{len(asked)}.toml"
            said_no[:] = [name for name, text in scene.answers.items() if text == "no"]
            run("rules", *common, *winds, "--write-answers", path)
            asked[key] = path.read_text(encoding="utf-8") if path.exists() else ""
        if not asked[key]:
            return []
        mine = folder / "answers.toml"
        mine.write_text(filled_in(asked[key], scene.answers), encoding="utf-8")
        return ["--answers", str(mine)]

    def word(scene):
        nonlocal few
        few = scene.samples <= FEW
        common, winds = told(scene)
        options = [*answers_for(scene, common, winds), *scene.options]
        out = folder / "out"
        command = ["assess", *common, *winds, *options]
        (out / "assessment.json").unlink(missing_ok=True)
        code, said = run(*command, "--samples", scene.samples, "--out", out)
        verdict = CODES.get(code)
        assert verdict is not None, said
        if not (out / "assessment.json").exists():
            assert verdict in {"refused", "no-go"}, said
            return verdict, {}, said
        found = json.loads((out / "assessment.json").read_text(encoding="utf-8"))
        assert found["verdict"] == verdict
        speaking = {}
        for check in found["checks"]:
            if check["outcome"] != "pass":
                speaking.setdefault(check["kind"], []).append(check)
        return verdict, speaking, said

    word.run = run
    return word


def settled(check, mildest):
    """Whether a check fails, or is over its limit wherever more flights find its figure."""
    low, limit = (check["interval"] or [None])[0], check["limit"]
    over = None not in (low, limit) and low >= limit
    return check["outcome"] == "fail" or (mildest == "hold" and over)


def never_milder(speak, scene, mildest, kind):
    """Hold a scene against the mildest word, and against the check that must say so.

    Few flights do where what no flight decides says it by itself, and where they are
    enough to show a limit passed: more would only show it better.
    """
    verdict, speaking, said = "go", {}, ""
    if kind not in UNFLOWN and (kind is not None or mildest == "no-go"):
        verdict, speaking, said = speak(scene.but(samples=SOME))
        shows = [settled(check, mildest) for check in speaking.get(kind, ())]
        if verdict != "refused" and kind is not None and not any(shows):
            verdict = "go"
    elif kind is None or kind in UNFLOWN:
        verdict, speaking, said = speak(scene.but(samples=min(FEW, scene.samples)))
        sure = [c for k in UNFLOWN & speaking.keys() for c in speaking[k]]
        # A question that was left open says nothing of the scene, unless that is its point.
        outcomes = {c["outcome"] for c in sure if kind == "rule" or not c["question"]}
        if verdict != "refused":
            verdict = "no-go" if "fail" in outcomes else "hold" if outcomes else "go"
    if RANK.index(verdict) < RANK.index(mildest):
        verdict, speaking, said = speak(scene)
    assert RANK.index(verdict) >= RANK.index(mildest), shown(speaking, said)
    # What is refused for another slip would say nothing of the scene.
    assert (verdict == "refused") == (mildest == "refused"), shown(speaking, said)
    if kind is not None:
        assert kind in speaking, shown(speaking, said)


def no_go(scene, kind=None):
    """Tell a scene that must be no-go, and the kind of check that must say so."""
    return scene, "no-go", kind


def holds(scene, kind=None):
    """Tell one of which hold is the mildest word."""
    return scene, "hold", kind


def refused(scene):
    """Tell one that is no input."""
    return scene, "refused", None


def rows(scenes, slow):
    """Make rows of a table; those named are slow, as others of it show the same sooner."""
    assert slow <= scenes.keys()
    return [
        pytest.param(
            *(told if isinstance(told, tuple) else (told,)),
            id=name,
            marks=pytest.mark.slow if name in slow else (),
        )
        for name, told in scenes.items()
    ]


DAY = Scene()
LOW = Scene(
    flight=DUNLIN,
    winds=("4 mph from 90",),
    areas=(crowd(0, -300, wide=100, deep=10),),
    answers={
        "motor_count": 1,
        "stages": 1,
        "total_impulse": "62 N s",
        "average_thrust": "60 N",
        "propellant_mass": "31 g",
    },
)
CALM = LOW.but(winds=("calm",))
ALOFT_8 = (
    READ
    + "height_m,from_deg,speed_mph\n2,0,8\n10,2,11\n100,6,15\n300,10,18\n900,20,22\n1600,25,24\n"
)
BREEZE = DAY.but(
    winds=(ALOFT_8,),
    areas=(crowd(0, 300, 30, wide=120, deep=15),),
    land=3200.0,
    waiver=(3600.0, "8500 ft"),
).edited(('azimuth = "into the wind"', 'azimuth = "180 deg"'))
UNDER = (345, 30)  # m east and north of the pad: where the Willet falls nose first
PLANNED = (-690, 130)  # where it lands as planned


def table(*rows, head="height_m,from_deg,speed_mps", first=READ):
    return first + head + "\n" + "\n".join(",".join(map(str, r)) for r in rows) + "\n"


def shown(speaking, said):
    """What spoke, in short."""
    told = [
        f"{kind}: {c['case']} {c['area']} {c['name'] if kind == 'rule' else ''} "
        f"{c['value']} {c['interval']} against {c['limit']}"
        for kind, checks in speaking.items()
        for c in checks[:3]
    ]
    return "\n".join(["", *told, *said.splitlines()[:3]])
