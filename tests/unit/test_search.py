"""Searching as a shell and a reader of the files see it; bad input is one clear line."""

import json
import math
import os
import re
import resource
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import fastkml
import gpxpy
import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from driftmap.cli.search import search_command
from driftmap.core.errors import DriftmapError, InputError
from driftmap.ground.contours import Contour
from driftmap.observations import chances
from driftmap.observations.chances import Chances, Square
from driftmap.observations.figures import Find
from driftmap.observations.lying_apart import implied_by_finds
from driftmap.observations.observation import SMALL, SUREST, Odds, missed
from driftmap.observations.proposal import _stencil, _telling
from driftmap.observations.search_page import (
    _doubts,
    share_sentences,
    walk_cautions,
)
from driftmap.observations.walk import Walkers, plan_walk
from driftmap.report.marks import Squares
from driftmap.report.voice import english, read_catalogue
from driftmap.rocket.case import LIGHTS
from driftmap.rocket.cases import build_cases
from driftmap.rocket.flightfile import read_flight

ROOT = Path(__file__).parents[2]
WHEN = ("--when", "2026-06-13T12:15-07:00")
SITE = str(ROOT / "sites" / "saltgrass-flat.geojson")
BASE = [
    *(str(ROOT / "examples" / "willet.toml"), "--site", SITE),
    *("--wind", str(ROOT / "examples" / "noon.csv"), *WHEN, "--samples", "600"),
]
CASES = [
    case.name for case in build_cases(read_flight(ROOT / "examples/willet.toml")).cases
]


def search(out, *more):
    return CliRunner().invoke(search_command, [*BASE, "--out", str(out), *more])


def facts(out):
    text = (out / "search.html").read_text(encoding="utf-8")
    return json.loads(re.search(r"const SEARCH = (\{.*?\});\n", text)[1])


def test_writes_page_sheet_gpx_and_kml_that_others_read(tmp_path):
    run = search(tmp_path, "--seen", str(ROOT / "examples" / "seen.toml"))
    assert run.exit_code == 0, run.output + str(run.exception)
    assert "effective flights" in run.output
    names = {"search.html", "search-sheet.html", "search.gpx", "search.kml"}
    assert {p.name for p in tmp_path.iterdir()} == names
    gpx = gpxpy.parse((tmp_path / "search.gpx").read_text(encoding="utf-8"))
    assert len(gpx.waypoints) == sum(t.name.startswith("Sweep") for t in gpx.tracks) > 3
    kml = fastkml.KML.parse(tmp_path / "search.kml")
    folders = {f.name for f in kml.features[0].features}
    assert folders == {"Squares", "Least ground", "Order of walking"}
    for name in names:
        told = (tmp_path / name).read_text(encoding="utf-8")
        assert walk_cautions(english("us"))[0][:40] in told
        assert "2026-06-13 12:15" in told  # a log holds many flights of one name
    squares = facts(tmp_path)["squares"]
    assert 0.97 < sum(s[3] for s in squares) <= 1.0000001


def test_a_page_speaks_its_language_alone(tmp_path):
    """Nothing of the English catalogue stays on the German page, its sheet and its files."""
    assert search(tmp_path, "--language", "de").exit_code == 0
    ours, other = (read_catalogue(language) for language in ("en", "de"))
    every = "".join(f.read_text(encoding="utf-8") for f in tmp_path.iterdir())
    assert '<html lang="de"' in every
    for table in ("search", "walk"):
        for key, text in ours.table(table).items():
            long = "{" not in text and len(text) > 12
            assert not (long and text != other.table(table)[key] and text in every), key


@pytest.mark.slow  # as the same verdict does
@pytest.mark.usefixtures("flown_anew")
def test_the_same_search_gives_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        assert search(tmp_path / name).exit_code == 0
    for file in (tmp_path / "a").iterdir():
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes()


def test_what_is_known_moves_the_search(tmp_path):
    seen = tmp_path / "seen.toml"
    seen.write_text('[case]\nis = "nothing deploys"\n')
    assert search(tmp_path / "plain").exit_code == 0
    assert search(tmp_path / "dive", "--seen", str(seen)).exit_code == 0
    plain, dive = facts(tmp_path / "plain"), facts(tmp_path / "dive")
    # A nose-first fall lands upwind, west of the pad; a canopy far to the east.
    middle = [
        sum(s[3] * (d["west"] + (s[1] + 0.5) * d["size"]) for s in d["squares"])
        for d in (plain, dive)
    ]
    assert middle[0] > 500
    assert middle[1] < -200


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[case]\nis = "canopy tangle"', "did you mean 'canopy tangles'"),
        ('[[down]]\ntime = "-5 s"', "accepted is 0 to 21,600 s"),
        ('[[down]]\ntime = "9 h"', "accepted is 0 to 21,600 s"),
        ('[[down]]\ntime = "5 furlongs"', "no unit of time"),
        ('[[down]]\ntimes = "5 s"', "missing"),
        ('[[down]]\ntime = "5 s +/- 0 s"', "error must be above 0"),
        ("[[found]]\nat = [-17.9, 41.6]", "outside the site"),
        ("[[found]]\nat = [141.6, -117.9]", "must lie in"),
        ('[[found]]\nat = "Flight lin"', "did you mean 'Flight line'"),
        ('[[seen]]\nbearing = "10 deg"', "from: missing"),
        ('[[seen]]\nfrom = "nowhere"\nbearing = "10 deg"', "not known here"),
        ('[[seen]]\nfrom = "pad"', "must give bearing"),
        ('[[seen]]\nfrom = "pad"\nbearing = "400 deg"', "accepted is 0 to 360 deg"),
        (
            '[[seen]]\nfrom = "pad"\nmagnetic_bearing = "40 deg"',
            "needs the declination",
        ),
        ('[[seen]]\nfrom = "pad"\nelevation = "40 deg"', "needs the time"),
        ('[[seen]]\nfrom = "pad"\nbearing = "4 deg"\nbering = 3', "is no key here"),
        *(
            (
                f'[[seen]]\nfrom = "pad"\nbearing = "4 deg"\nlast = {last}',
                "last: must be",
            )
            for last in ('"yes"', "[1]", "{ a = 1 }", "1")
        ),
        ("[altimeter]\napogee = 812", "must name its unit of length"),
        ('[altimeter]\napogee = "812 ft +/- 30"', "must name its unit of length"),
        ("[opening]\nheight = 300", "must name its unit of length"),
        ('[[seen]]\nfrom = "pad"\nbeyond = "300"', "must name its unit of length"),
        (
            '[[found]]\nat = "pad"\npiece = "rocket"\nerror = 5',
            "must name its unit of length",
        ),
        (
            '[[seen]]\nfrom = "pad"\nbearing = "4 deg"\nlast = true\ntime = "9 s"',
            "beside no time",
        ),
        ('[[opening]]\ndevice = "man"\ntime = "3 s"', "did you mean 'main'"),
        ('[[came_off]]\npiece = "wing"\ntime = "3 s"', "not known here"),
        ('[[walked]]\naround = "pad"\nradius = "10 m"', "spacing"),
        ("[[walked]]\nground = [[41.6, -117.95], [41.6, -117.94]]", "three or more"),
        ("[[wlked]]\nx = 1", "did you mean 'walked'"),
        ("[[down]\n", "is not TOML"),
        ("down = 3", "must be a table"),
        (f"[case]\nnot = {CASES}", "rules out every case"),
        ('[[beacon]]\nbearing = "10 deg"', "from: missing"),
        ('[[beacon]]\nfrom = [61.6, -117.9]\nbearing = "9 deg"', "outside the site"),
        ('[[opening]]\ntime = "-1 s"', "accepted is 0 to 21,600 s"),
        ('[[came_off]]\npiece = "fin"\ntime = "7 h"', "accepted is 0 to 21,600 s"),
        ('[[walked]]\naround = [41.6, 117.9]\nradius = "9 m"', "outside the site"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(tmp_path, text, told):
    seen, out = tmp_path / "seen.toml", tmp_path / "out"
    seen.write_text(text)
    run = search(out, "--seen", str(seen))
    assert isinstance(run.exception, DriftmapError), run.output
    line = str(run.exception)
    assert told in line
    assert "seen.toml" in line
    assert "\n" not in line
    assert not out.exists()


KILLED = """
import os, signal, sys
from pathlib import Path
from driftmap.cli.output import write_all
left = int(sys.argv[2])
def watch(event, _):
    global left
    if event in {"tempfile.mkstemp", "os.rename"}:
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(watch)
write_all(Path(sys.argv[1]), {"search.html": "new" * 9000, "search.gpx": "new" * 9000})
"""


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is of posix")
def test_a_kill_in_mid_write_leaves_each_file_whole(tmp_path):
    names, old, states = ("search.html", "search.gpx"), "old" * 9000, []
    for name in names:
        (tmp_path / name).write_text(old)
    run, number = None, 0
    while run is None or run.returncode:
        number += 1
        order = [sys.executable, "-c", KILLED, str(tmp_path), str(number)]
        run = subprocess.run(order, check=False)
        assert run.returncode in {0, -signal.SIGKILL}
        states.append([(tmp_path / name).read_text() for name in names])
    assert number == 5  # two files: made aside, then put in place
    new = "new" * 9000
    assert states == [[old, old]] * 3 + [[new, old], [new, new]]


@pytest.mark.skipif(os.name != "posix", reason="asks of posix")
def test_a_full_disk_is_one_line_and_leaves_what_was_there(tmp_path):
    (tmp_path / "search.html").write_text("old")

    def small_disk():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    code = "from driftmap.cli import main; main()"
    run = subprocess.run(
        [
            sys.executable,
            "-B",  # a compiled module would be cut short too
            "-c",
            code,
            "search",
            *BASE,
            "--samples=300",
            "--out",
            tmp_path,
        ],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=small_disk,
    )
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["search.html"]
    assert (tmp_path / "search.html").read_text() == "old"


@pytest.mark.parametrize(
    ("place", "told"),
    [
        ("Nowhere", "'Nowhere' is not known here; accepted: pad, "),
        ("41.6, abc", "is no position; accepted: 41.604, -117.952"),
        ("-117.95, 41.6", "accepted is [latitude, longitude]"),
        ("51.6, -117.95", "outside the site"),
    ],
)
def test_a_place_to_start_from_that_is_none_is_one_line(tmp_path, place, told):
    run = search(tmp_path / "out", f"--from={place}")
    assert isinstance(run.exception, InputError), run.output
    assert str(run.exception).startswith("--from: ")
    assert str(run.exception).count("--from") == 1
    assert told in str(run.exception)
    assert not (tmp_path / "out").exists()


@pytest.mark.slow  # as what no case explains
def test_what_fits_nothing_flown_is_told(tmp_path):
    seen = tmp_path / "seen.toml"
    seen.write_text("[[found]]\nat = [41.9, -117.95]\n")
    run = search(tmp_path / "out", "--seen", str(seen))
    assert "AT ODDS" in run.output
    for path in (
        tmp_path / "out"
    ).iterdir():  # before the squares that rest on the rest
        told = path.read_text(encoding="utf-8")
        assert "nothing that was flown fits it" in told[: told.rindex("Sweep")]


def test_squares_that_rest_on_few_flights_are_told_to_be_rough():
    told = [
        [*_doubts(SimpleNamespace(doubted=(), effective=many), english("us"))]
        for many in (13.4, 4000.0)
    ]
    assert [len(some) for some in told] == [1, 0]
    assert "only 13 of the flights" in told[0][0]


def grid(shares):
    """A row of squares of 50 m with these chances, from the pad eastward."""
    squares = Squares(50.0, 0.0, 0.0, len(shares), 1)
    listed = tuple(Square(f"{i}", i, 0, p, ()) for i, p in enumerate(shares))
    return Chances("rocket", squares, listed, 1 - sum(shares), (), 1000.0)


def test_the_first_sweep_has_the_most_chance_for_each_metre():
    plan = plan_walk(grid([0.01, 0.3, 0.3, 0.01]), Walkers(count=2, spacing=12.0))
    assert plan[0].squares[-1] == "2"
    assert "3" not in plan[0].squares
    seen = 1 - 2.718281828 ** (-1.0)
    assert plan[0].gain == pytest.approx(
        sum([0.3, 0.3] + [0.01] * ("0" in plan[0].squares)) * seen, rel=1e-6
    )


def test_chance_falls_into_the_square_where_places_lie():
    squares = Squares(50.0, -50.0, 100.0, 2, 3)
    at = np.array([[-49.0, -1.0, 1.0, 49.0, 49.0], [101.0, 101.0, 199.0, 249.0, 249.0]])
    found = chances._by_square(squares, at, np.array([0.1, 0.2, 0.3, 0.15, 0.25]))
    assert found == pytest.approx(np.array([[0.3, 0.0], [0.0, 0.3], [0.0, 0.4]]))
    listed = [Square(str(p), 0, 0, p, ()) for p in (0.5, 0.25, 0.125)]
    wanted = {0.5: 1, 0.51: 2, 0.75: 2, 0.8: 3, 0.99: 3}
    assert {share: chances.smallest(listed, share) for share in wanted} == wanted
    assert chances.smallest([], 0.5) == 0


def test_places_are_smoothed_as_far_as_their_number_says():
    """Scott's width n^(-1/6) times the covariance of the densest nine tenths of a normal.

    Within the radius of nine tenths, r² = 2 ln 10, the variance is
    (1 - (1 + r²/2) e^(-r²/2)) / 0.9 = 0.744 of the whole.
    """
    number, rng = 1000, np.random.default_rng(4)
    at = np.linalg.cholesky([[9e4, 2e4], [2e4, 4e4]]) @ rng.standard_normal((2, number))
    drawn, weights = chances._smoothed(at, np.full(number, 0.4 / number), rng)
    assert weights.sum() == pytest.approx(0.4)
    grown = np.diag(np.cov(drawn)) / np.diag(np.cov(at))
    assert grown == pytest.approx(1 + 0.744 * number ** (-1 / 3), rel=0.01)


def test_a_line_forms_up_goes_to_the_nearer_end_and_covers_its_squares():
    """By hand: two people 12 m apart walk 2,500 m²/24 m a square; forming up costs 60 m."""
    walkers = Walkers(count=2, spacing=12.0)
    for start in ((0.0, 0.0), (400.0, 25.0)):
        here = start
        for sweep in plan_walk(grid([0.01, 0.3, 0.3, 0.01]), walkers, start):
            there = math.dist(here, sweep.start)
            assert there <= math.dist(here, sweep.end)
            covered = len(sweep.squares) * 2500 / 24
            assert sweep.metres == pytest.approx(60 + there + covered)
            names = [int(name) for name in sweep.squares]
            for at, name in ((sweep.start, names[0]), (sweep.end, names[-1])):
                assert at == (50.0 * name + 25.0, 25.0)
            here = sweep.end
    west, east = (
        plan_walk(grid([0.0, 0.4, 0.4, 0.0]), walkers, (x, 25.0))[0].squares
        for x in (-300.0, 500.0)
    )
    assert west == tuple(reversed(east))


def test_what_is_left_falls_to_what_walking_cannot_find():
    walkers = Walkers()
    plan = plan_walk(grid([0.2, 0.2, 0.2, 0.2]), walkers)
    left = [sweep.left for sweep in plan]
    assert left == sorted(left, reverse=True)
    assert left[-1] == pytest.approx(1 - 0.8 * walkers.detection, abs=0.8 * 0.05)


def test_a_power_line_in_a_square_is_the_first_thing_told(tmp_path):
    """The demo site with a line and a pond across the likeliest ground."""
    site = json.loads(Path(SITE).read_text(encoding="utf-8"))
    across = [[-117.94, 41.59], [-117.94, 41.62]]
    for role, name in (("water", "Pond <b>"), ("power line", "North line")):
        shape = {"type": "LineString", "coordinates": across}
        marked = {"role": role, "name": name, "width": "20 m"}
        site["features"].append(
            {"type": "Feature", "properties": marked, "geometry": shape}
        )
    file = tmp_path / "site.geojson"
    file.write_text(json.dumps(site))
    out = tmp_path / "out"
    arguments = [*BASE, "--out", str(out)]
    arguments[arguments.index(SITE)] = str(file)
    run = CliRunner().invoke(search_command, arguments)
    assert "CAUTION: power line near: nobody climbs" in run.output
    marked = [s for s in facts(out)["squares"] if s[4]]
    near = [s for s in marked if any("power line" in text for text in s[4])]
    assert near
    assert all(s[4][0].startswith("power line near: nobody climbs") for s in near)
    assert any("wades" in text for s in near for text in s[4])
    # In the squares, or crossed on the way there; the line is told before the pond.
    told = (out / "search.gpx").read_text()
    assert "Mind: power line near" in told
    assert not re.search(r"Mind: water[^<]*Mind: power line", told)
    for name in ("search-sheet.html", "search.kml"):
        text = (out / name).read_text(encoding="utf-8")
        assert "power line near" in text
        assert "Pond <b>" not in text


@pytest.mark.parametrize("steep", [1.0, 1e6, 1e18, 1e30])
def test_the_climb_to_what_was_seen_has_a_way_however_sure_somebody_was(steep):
    def worth(at):
        return -steep * (at[0] + at[1]) ** 2 / 2 - (at**2).sum(axis=0) / 2

    _, slope, curve = _stencil(worth, np.full((2, 3), 0.1))
    step = np.linalg.solve(curve, slope.T[..., None])[..., 0]
    assert np.isfinite(step).all()
    assert (step < 0).all()  # back to the top


def test_what_is_walked_however_often_is_never_surer_than_a_ditch_allows(tmp_path):
    seen = tmp_path / "seen.toml"
    walk = '[[walked]]\naround = "pad"\nradius = "900 m"\ncover = "bare"\nspacing = "5 m"\n'
    seen.write_text('[case]\nis = "recovery works"\n' + 3 * walk)
    out = tmp_path / "out"
    assert search(out, "--seen", str(seen)).exit_code == 0
    plain = tmp_path / "plain"
    seen.write_text('[case]\nis = "recovery works"\n' + walk)
    assert search(plain, "--seen", str(seen)).exit_code == 0
    seen.write_text('[case]\nis = "recovery works"\n')
    assert search(tmp_path / "no walk", "--seen", str(seen)).exit_code == 0
    none, one, often = (
        [s[3] for s in facts(place)["squares"]]
        for place in (tmp_path / "no walk", plain, out)
    )
    assert often == one != none


@pytest.mark.slow  # one more search
def test_a_fin_is_swept_less_wide_than_a_rocket(tmp_path):
    assert search(tmp_path / "rocket").exit_code == 0
    assert search(tmp_path / "fin", "--piece", "fin").exit_code == 0
    rocket, fin = (
        facts(tmp_path / name)["widths"]["grass"] for name in ("rocket", "fin")
    )
    assert fin == pytest.approx(SMALL * rocket)
    seen = tmp_path / "seen.toml"
    seen.write_text(
        '[[walked]]\npiece = "fin"\naround = "pad"\nradius = "9 m"\nspacing = "12 m"'
    )
    run = search(tmp_path / "out", "--piece", "fin", "--seen", str(seen))
    assert run.exit_code == 0
    page = (tmp_path / "out" / "search.html").read_text(encoding="utf-8")
    assert "one walker sweeps 4 m of grass for the fin (assumed)" in page
    assert "seen 28% of the time" in page


@pytest.mark.slow  # one more search
def test_what_is_looked_for_is_not_on_a_rocket_that_lies_found(tmp_path):
    flight = read_flight(ROOT / "examples/willet.toml")
    rocket, fin = Find("rocket", 0.0, 0.0, 5.0), Find("fin", 9.0, 0.0, 5.0)
    odds, _ = implied_by_finds("fin", [rocket], flight, 2.0)
    # It came off in the air, or broke off where the rocket struck nose first.
    left = {"fins come off", "nothing deploys"}
    assert not left & {*odds.by_case}
    assert odds.by_case["recovery works"] == 0
    odds, *ground = implied_by_finds("nose cone", [rocket, fin], flight, 2.0)
    assert len(ground) == 2  # about each find; the fin may lie with the rocket
    assert {*CASES} - {*odds.by_case} == {"nose cone lost"}
    for told in ([], [fin], [rocket, fin]):
        assert implied_by_finds("fin", told, flight, 2.0) == ()
    seen = tmp_path / "seen.toml"
    seen.write_text("[[found]]\nat = [41.6080, -117.9420]\n")
    more = ("--seen", str(seen), "--piece", "nose cone")
    assert search(tmp_path / "out", *more).exit_code == 0
    page = (tmp_path / "out" / "search-sheet.html").read_text(encoding="utf-8")
    assert "nose cone not on the rocket, which was found without it" in page


@pytest.mark.parametrize("piece", ["fin", "nose cone", "main"])
def test_a_piece_found_alone_does_not_send_its_finder_to_where_it_lay(piece):
    """Who holds a fin and looks for the rocket does not have it on the ground they stand on."""
    flight = read_flight(ROOT / "examples/willet.toml")
    odds, walk = implied_by_finds(
        "rocket", [Find(piece, 90.0, 40.0, 5.0)], flight, 20.0
    )
    # What parts them, and nothing else, may have happened.
    parts = {
        "fin": {"fins come off", "fin flutters off", "fin snaps"},
        "nose cone": {"nose cone lost"},
        "main": {case for case in CASES if case.endswith("ripped off")},
    }
    left = {*CASES} - {case for case, share in odds.by_case.items() if share == 0}
    assert parts[piece] <= left
    assert not left & {"recovery works", "canopy tangles", "early opening, holds"}
    assert "[[came_off]]" in odds.says()
    # The ground about the find is as any other that was walked in vain.
    near, far = missed([walk], np.array([[90.0, 90.0], [59.0, 61.0]]))
    assert (near, far) == (pytest.approx(1 - SUREST), 1.0)


def test_pieces_that_no_one_case_parts_leave_a_search_all_the_same():
    """Of a rocket that broke up more than one piece is found; a case told by hand stays."""
    flight = read_flight(ROOT / "examples/willet.toml")
    both = [Find("fin", 0.0, 0.0, 5.0), Find("nose cone", 300.0, 0.0, 5.0)]
    odds, *_ = implied_by_finds("rocket", both, flight, 2.0)
    assert not {"nose cone lost", "fins come off"} & {*odds.by_case}
    assert "recovery works" in odds.by_case
    ruled = Odds(dict.fromkeys({*CASES} - {"canopy tangles"}, 0.0), "told")
    odds, *_ = implied_by_finds("rocket", [*both, ruled], flight, 2.0)
    assert "canopy tangles" not in odds.by_case


def test_little_ground_is_told_in_its_own_digits():
    line = Contour(0.5, shapely.box(0, 0, 8, 8), 64.0)
    squares = Squares(0.0, 0.0, 10.0, 2, 2)
    listed = (Square("A1", 0, 0, 0.99, ()), Square("B1", 1, 0, 0.01, ()))
    chance = Chances("rocket", squares, listed, 0.0, (line,) * 3, 300.0)
    told = share_sentences(chance, english("us"))[0].replace("\xa0", " ")
    assert told == "50 % on 0.02 acres, or in one square"


def test_what_flights_are_spared_by_is_drawn_before_they_fly():
    rng = np.random.default_rng(1)
    far, near, lit = rng.standard_normal((3, 500))
    lies = np.stack([100 * far + lit, 10 * near, near])
    flown = SimpleNamespace(landing=lambda _: lies[:2, None], landed=lambda _: lies[2:])
    draws = {LIGHTS: lit, "near": near, "far": far, "never": np.full(500, np.inf)}
    draws["never"][0] = draws["never"][1] = 0.0
    assert set(_telling(flown, draws)) == {"near", "far"}
