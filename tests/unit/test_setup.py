"""The set-up of a run: one record, and what can be called with it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import shapely
from click.testing import CliRunner

import driftmap
from driftmap import Setup, assess, compare, margins
from driftmap.air.column import Sky
from driftmap.air.day import AirDay
from driftmap.air.wind import STILL_AIR, WindProfile
from driftmap.cli.assess import assess_command
from driftmap.cli.inputs import Run, WindOptions, place_of, wind_asked
from driftmap.cli.options import Weather, day_of
from driftmap.core.errors import InputError
from driftmap.core.units import show
from driftmap.montecarlo.margins import landed
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.casedocuments import _word_beside
from driftmap.report.sheetfacts import falls
from driftmap.report.terminal import summary
from driftmap.rocket.alternatives import alternatives
from driftmap.rocket.likelihood import WORKS
from driftmap.rules.answers import Answers
from driftmap.verdict import compared as side_by_side
from driftmap.verdict.assessment import assess_setup
from driftmap.verdict.check import Check, Kind
from driftmap.verdict.launch_checks import air_checks
from driftmap.verdict.setup import flown, if_read, in_stronger


@pytest.fixture(scope="module")
def setup(dunlin, saltgrass):
    return Setup(dunlin, saltgrass, samples=200, seed=4)


@pytest.fixture(scope="module")
def wind(setup):
    return driftmap.read_wind("8 mph from 240", site_altitude=setup.site.elevation)


@pytest.fixture(scope="module")
def one(setup, wind):
    return assess_setup(setup, wind)


def test_every_public_name_is_there():
    for name in driftmap.__all__:
        assert getattr(driftmap, name).__name__ == name


def test_an_assessment_hands_back_what_it_was_made_of(setup, wind, one):
    assert replace(one.setup, answers=None) == setup
    again = assess(setup.flight, setup.site, wind, samples=200, seed=4)
    np.testing.assert_array_equal(one.cloud.east, again.cloud.east)
    assert one.checks == again.checks


@pytest.fixture(scope="module")
def compared(setup, wind):
    """The alternatives, and what was heard of how far it was."""
    heard, few = [], dict([*alternatives(setup.flight).items()][:3])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(side_by_side, "alternatives", lambda flight: few)
        found = compare(setup, wind, progress=lambda *told: heard.append(told))
    return found, heard, few


@pytest.mark.slow  # the command is tried too
def test_compare_holds_the_plan_beside_its_alternatives(setup, one, compared):
    found, _, few = compared
    assert found[0].assessment.checks == one.checks
    assert len({each.name for each in found}) == len(found) > 1
    flown = {each.name: each.assessment.flight for each in found}
    assert flown == few
    for each in found:
        uppers = [h.total.upper for h in each.assessment.areas if h.area.occupied]
        assert each.worst.total.upper == max(uppers)
        assert each.worst.area.occupied
        assert each.assessment.cloud.seed == setup.seed


@pytest.mark.slow  # two whole flights; the command is tried too
def test_flights_are_held_side_by_side_each_with_its_own_answers(setup, wind):
    """Those beside the plan are judged as alone: what was said of one is none of another's."""
    other = replace(
        setup, flight=setup.flight.model_copy(update={"name": "other"}), answers=None
    )
    said = replace(setup, answers=Answers(confirmed={"landing_clear": True}))
    first, second = compare(said, wind, beside=[other])
    assert (first.name, second.name) == (setup.flight.name, "other")
    assert first.assessment.answers == said.answers
    assert second.assessment.checks == assess_setup(other, wind).checks


WHEN = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)
EAST = "4 mph from 90"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("heavier", "answers: read for"),
        ("renamed", "answers: read for"),
        ("other pad", "answers: read for"),
        ("more people", "answers: read for"),
        ("wind of another day", "wind: read for 2026-06-12 15:30"),
        ("wind of an hour ago", "wind: read for 2026-06-13 14:30"),
    ],
)
def test_a_program_reads_answers_and_wind_anew_for_another_flight_pad_or_time(
    setup, change, told
):
    """What was answered for one rocket is none of the next, nor a wind of that of tomorrow."""
    flight, site, when = setup.flight, setup.site, WHEN
    said = driftmap.read_answers(["examples/answers-dunlin.toml"], flight, site, when)
    if change == "heavier":
        mass = replace(flight.airframe.mass, value=1.15)
        airframe = flight.airframe.model_copy(update={"mass": mass})
        flight = flight.model_copy(update={"airframe": airframe})
    elif change == "renamed":
        flight = flight.model_copy(update={"name": "other"})
    elif change == "other pad":
        site = driftmap.read_site("sites/saltgrass-west.geojson")
    elif change == "more people":
        first, *rest = site.areas
        site = replace(site, areas=(replace(first, people=99), *rest))
    else:
        when -= timedelta(days=1) if "day" in change else timedelta(hours=1)
    wind = driftmap.read_wind(EAST, site_altitude=site.elevation, when=when)
    with pytest.raises(InputError, match=told):
        assess(flight, site, wind, answers=said, samples=50)
    with pytest.raises(InputError, match=told):
        compare(Setup(flight, site, answers=said, samples=50), wind)


def test_an_assessment_takes_the_air_of_the_winds_own_report(setup):
    """Forty degrees at the field are thinner air, whether a command or a program flies in it."""
    site = setup.site
    report = "METAR XXXX 131520Z 09004KT 10SM CLR 41/10 A2992"
    said = {"site_altitude": site.elevation, "when": WHEN, "station_away": 3e3}
    wind = driftmap.read_winds([EAST, report], **said)
    found = assess(setup.flight, site, wind, samples=50)
    assert found.cloud.plan.sky.day == day_of(Weather(), site.elevation, wind)
    assert found.cloud.plan.sky.day.temperature == pytest.approx(41 + 273.15)
    assert any("41 °C" in text for text in found.assumed)
    assert not any("standard atmosphere" in text for text in found.assumed)
    typed = AirDay(temperature=300.0, pressure=90e3, humidity=0.0, altitude=1200.0)
    found = assess(setup.flight, site, wind, samples=50, day=typed)
    assert found.cloud.plan.sky.day == typed


def test_a_program_is_told_what_a_report_says_of_the_air(setup):
    """Twenty below zero is no air of the morning on which a report tells of 41 °C."""
    report = "METAR XXXX 131520Z 09004KT 10SM CLR 41/10 A2992"
    told = {"site_altitude": setup.site.elevation, "when": WHEN, "station_away": 3e3}
    wind = driftmap.read_winds([EAST, report], **told)
    cold = AirDay(temperature=253.0, pressure=87.5e3, humidity=0.0, altitude=1234.0)
    lone = replace(wind, temperature=None, altimeter=None)
    for air, doubt in ((wind, "a report tells 41 °C"), (lone, "usual there")):
        found = assess(setup.flight, setup.site, air, samples=50, day=cold)
        assert any(doubt in c.name and c.outcome == "warn" for c in found.checks)


@pytest.mark.parametrize(
    "other",
    [
        {"site_altitude": 0.0},
        {"site_altitude": 4050.0},  # feet for metres
        {"place": (10.0, 20.0)},
        {"place": (-41.6, -117.95)},
    ],
)
def test_a_wind_that_was_read_for_another_site_is_refused(setup, other):
    """Its layers lie at other heights there, its sun stands elsewhere."""
    site = setup.site
    here = {"site_altitude": site.elevation, "place": (site.latitude, site.longitude)}
    flown(replace(setup, samples=50), driftmap.read_wind(EAST, when=WHEN, **here))
    wind = driftmap.read_wind(EAST, when=WHEN, **{**here, **other})
    with pytest.raises(InputError, match=r"wind: read for a site .*accepted is one"):
        assess(setup.flight, site, wind, samples=50)
    shape = Supposition.over_site(site, WHEN, replace(wind, when=None))
    with pytest.raises(InputError, match=r"wind: read for a site .*accepted is one"):
        flown(setup, suppose(shape, 90.0, 3.0))


@pytest.mark.parametrize("precision", [np.nan, 0.0, -1.0, 2.0])
def test_what_cannot_be_flown_is_refused_before_the_work(setup, wind, precision):
    with pytest.raises(InputError, match=r"precision: .* accepted is above 0"):
        assess_setup(setup, wind, precision=precision)
    with pytest.raises(InputError, match="samples: 1; accepted is 2"):
        assess(setup.flight, setup.site, wind, samples=1)
    with pytest.raises(InputError, match="accepted is a time with its zone"):
        driftmap.read_answers([], setup.flight, setup.site, datetime(2026, 6, 13, 8))


def test_the_air_flown_in_is_told():
    """Dry standard air at sea level, and that of a hot noon, which is as thin as higher up."""
    standard = AirDay(
        temperature=288.15, pressure=101_325.0, humidity=0.0, altitude=0.0
    )
    told = (
        "air of the day at the site: 15 °C, 1013 hPa, humidity 0%; density altitude 0 m"
    )
    assert Sky(0.0, standard).told.replace("-0 m", "0 m") == told
    hot = Sky(0.0, replace(standard, temperature=308.15, humidity=0.2)).told
    assert "35 °C" in hot
    assert "humidity 20%" in hot
    assert Sky(0.0).told.startswith("standard atmosphere")


def test_margins_are_those_of_all_flights(one):
    cloud = one.cloud
    by_name = {margin.name: margin for margin in margins(cloud)}
    apogee = by_name["apogee"]
    ends = np.quantile(cloud.apogee.height, [0.05, 0.5, 0.95])
    assert (apogee.p5, apogee.p50, apogee.p95) == pytest.approx(tuple(ends))
    assert apogee.unit == "m"
    assert apogee.against is None
    assert by_name["speed leaving the rail"].p50 == np.median(cloud.rail_speed)


def test_a_piece_is_summed_up_once_for_all_who_tell_of_it(one):
    cloud = one.cloud
    document = driftmap.document(one)
    (fall, *_) = [f for f in falls(one) if f.works]
    part = next(cloud.of(cloud.tree.cases[0].name))
    found = landed(cloud, part)
    told = document["cases"][0]["pieces"][0]
    assert (found.east, found.north) == (told["mean_east_m"], told["mean_north_m"])
    assert found.radii[1] == found.radius == told["radius_90_m"] == fall.radius
    assert found.time.p5 == told["time_s"]["p5"] == fall.first
    assert found.energy.p50 == told["energy_j"]["p50"] == fall.energy
    far = np.hypot(
        cloud.east[part.rows] - found.east, cloud.north[part.rows] - found.north
    )
    assert np.mean(far <= found.radius) == pytest.approx(0.9, abs=0.01)
    assert found.radii[0] < found.radii[1] < found.radii[2]


@pytest.mark.parametrize(
    ("open_", "hard", "word"),
    [(("stable",), (), "go if"), (("leave",), (), "hold"), (("stable", "leave"), (), "hold"),
     (("stable",), ("slow",), "hold"), ((), (), "go")],
)  # fmt: skip
def test_what_was_answered_for_the_plan_alone_makes_an_alternative_go_if(
    open_, hard, word
):
    held = [
        Check(
            kind=Kind.RULE, name=name, outcome="warn", source="", question=name in open_
        )
        for name in (*open_, *hard)
    ]
    assert _word_beside("hold" if held else "go", held, {"leave"}) == word


def test_long_work_says_how_far_it_is(compared):
    found, heard, _ = compared
    assert heard == [(1, len(found) - 1 - i) for i in range(len(found))]


@pytest.mark.parametrize("units", ["us", "si"])
def test_the_terminal_tells_the_figures_of_each_piece(one, units):
    text = summary(one, units=units)
    for part in one.cloud.parts:
        found = landed(one.cloud, part)
        told = [
            f"{found.time.p50:.0f} s after lift-off",
            show(found.speed.p50, "descent", units),
            show(found.energy.p50, "energy", units),
        ]
        assert ", ".join(told) in text


@pytest.mark.parametrize(
    ("when", "ahead", "hot"),
    [("2026-06-13T09:00-07:00", False, True), ("2026-06-13T09:00-07:00", True, True),
     (None, True, False)],
)  # fmt: skip
def test_winds_supposed_blow_in_the_air_of_their_report(when, ahead, hot):
    """A plan of no day yet is flown in no day's air."""
    root = Path(__file__).parents[2]
    run = Run(
        flight=str(root / "examples" / "dunlin.toml"),
        site=str(root / "sites" / "saltgrass-flat.geojson"),
        asked=WindOptions(
            winds=("METAR KXYZ 131553Z 09008KT 10SM CLR 38/05 A2992",),
            when=when,
            station_away=0.0,
        ),
    )
    setup, _ = run.supposed(ahead=ahead)
    assert (setup.day is not None and setup.day.temperature > 310.0) == hot


def test_a_supposed_wind_grows_over_the_ground_that_is_told():
    """Without any wind told too: as words do over that ground."""
    root = Path(__file__).parents[2]
    asked = WindOptions(terrain="very rough", when="2026-06-13T09:00-07:00")
    run = Run(
        flight=str(root / "examples" / "dunlin.toml"),
        site=str(root / "sites" / "saltgrass-flat.geojson"),
        asked=asked,
    )
    setup, supposition = run.supposed()
    wind = suppose(supposition.on_the_meter(), 90.0, 3.6)
    words = wind_asked(replace(asked, winds=("3.6 m/s from 90",)), place_of(setup.site))
    for height in (10.0, 60.0):
        assert np.hypot(*wind.at(height)) == pytest.approx(np.hypot(*words.at(height)))


@pytest.mark.parametrize(
    ("hectopascal", "altitude", "taken"),
    [
        (972, 352.0, False),  # which the standard atmosphere has at 352 m
        (955, 352.0, False),
        (955, 0.0, True),  # a deep low by the sea
        (980, 280.0, True),
    ],
)
def test_the_pressure_at_the_field_is_no_altimeter_setting(
    hectopascal, altitude, taken
):
    weather = Weather(altimeter=hectopascal * 100.0)
    if taken:
        assert day_of(weather, altitude).pressure < hectopascal * 100.0 + 1.0
        return
    with pytest.raises(InputError, match="at the field itself, 972 hPa at 352 m"):
        day_of(weather, altitude)


def test_a_pressure_that_no_sea_level_has_is_no_altimeter_setting():
    """875 hPa at 1,234 m: the standard atmosphere has 873.5 hPa there."""
    root = Path(__file__).parents[2]
    words = [str(root / "examples" / "dunlin.toml"), "--altimeter", "875 hPa"]
    words += ["--site", str(root / "sites" / "saltgrass-flat.geojson")]
    told = CliRunner().invoke(assess_command, words).exception
    assert "--altimeter: '875 hPa' is out of bounds; accepted is 950 to 1,070" in str(
        told
    )


@pytest.mark.parametrize(
    ("typed", "place", "month", "doubted"),
    [
        ({"temperature": 253.15}, (52.0, 10.0), 6, "usual there"),  # 20 C without its digit
        ({"temperature": 253.15}, (52.0, 10.0), 1, None),
        ({"temperature": 253.15}, (-45.0, 170.0), 1, "usual there"),
        ({"temperature": 313.15}, (41.6, -118.0), 7, None),  # a hot noon in the desert
        ({"temperature": 313.15}, (52.0, 10.0), 1, "usual there"),
        ({"temperature": 278.15}, (69.7, 19.0), 1, None),  # a thaw at a coast in the north
        ({"temperature": 298.15}, (69.7, 19.0), 1, "usual there"),
        ({"temperature": 283.15}, (-54.8, -68.3), 7, None),
        ({"temperature": 289.15, "told": 289.15}, (51.0, -114.0), 1, None),  # off the mountains
        ({"temperature": 308.15}, (2.0, 10.0), 1, None),
        ({"temperature": 283.15, "told": 297.15}, (52.0, 10.0), 6, "a report tells 24 °C"),
        ({"temperature": 293.15, "told": 297.15}, (52.0, 10.0), 6, None),
        ({"altimeter": 1.0e5, "told": 1.015e5}, (52.0, 10.0), 6, "is 1003 hPa by a report"),
        ({"altimeter": 1.01e5, "told": 1.015e5}, (52.0, 10.0), 6, None),
    ],
)  # fmt: skip
def test_air_that_no_such_day_has_or_a_report_contradicts_holds(
    typed, place, month, doubted, saltgrass
):
    told = typed.get("told")
    of_it = "altimeter" if "altimeter" in typed else "temperature"
    weather = Weather(**{k: v for k, v in typed.items() if k != "told"})
    latitude, longitude = place
    site = replace(saltgrass, latitude=latitude, longitude=longitude, elevation=100.0)
    wind = replace(STILL_AIR, **({} if told is None else {of_it: told}))
    when = datetime(2026, month, 15, 12, tzinfo=UTC)
    found = [c.name for c in air_checks(day_of(weather, 100.0, wind), site, wind, when)]
    assert [doubted in one for one in found if doubted] == [True] * bool(doubted)
    assert bool(found) is bool(doubted)


def test_what_is_old_spreads_over_a_small_crowd_and_is_no_milder_for_that(
    willet, saltgrass
):
    """Five guests where it comes down are missed more often the less is known of the wind."""
    site = replace(saltgrass, areas=())
    setup = Setup(willet.aimed(0.0), site, 400, 1)
    kept = [Check(kind=Kind.RULE, name="x", outcome="pass", source="a test")]
    levels = [0, 60, 1500], [1, 2, 8], [0, 0, 0]
    fresh, old = (WindProfile(*levels, [0.5, e, e]) for e in (0.9, 6.0))
    cloud = flown(setup, fresh)
    rows = next(iter(cloud.of(WORKS))).rows
    middle = float(np.median(cloud.east[rows])), float(np.median(cloud.north[rows]))
    crowd = next(area for area in saltgrass.areas if area.occupied)
    crowd = replace(crowd, people=5, shape=shapely.Point(middle).buffer(80))
    among = replace(setup, site=replace(site, areas=(crowd,)))
    assert not list(in_stronger(among, fresh, kept))
    (beside,) = in_stronger(among, old, kept)
    assert beside.outcome == "warn"
    assert "just now, at the field; in that wind it is no-go" in beside.name
    assert not list(in_stronger(setup, old, kept))  # with nobody there


@pytest.mark.parametrize(
    ("kind", "few", "all_of_it", "word"),
    [
        (
            Kind.INDIVIDUAL_RISK,
            (1.3, 1.6, 2.0),
            None,
            "hold",
        ),  # whichever way it is drawn
        (Kind.INDIVIDUAL_RISK, (0.9, 1.6, 2.6), (1.3, 1.6, 2.0), "hold"),
        (Kind.INDIVIDUAL_RISK, (0.9, 1.6, 2.6), (0.8, 0.9, 1.1), "go"),
        (Kind.CASUALTIES_IF, (1.3, 1.6, 2.0), None, "hold"),
        (Kind.CASUALTIES_IF, (0.5, 0.8, 1.2), None, "go"),  # no more than few flights
        (Kind.LANDS_IN, (0.9, 1.6, 2.6), None, "go"),
        (Kind.UNDER_THE_FALL, (0.5, 0.5, 0.5), None, "hold"),
    ],
)
def test_what_a_fresh_wind_surely_holds_for_an_old_one_holds_for(
    kind, few, all_of_it, word
):
    """Risks and consequences only fail at ten times their limit: a hold is one as well."""

    def checks(figures):
        low, value, high = figures
        line = {"value": value, "interval": (low, high), "limit": 1.0}
        return [Check(kind=kind, name="x", outcome="warn", source="a test", **line)]

    kept = [Check(kind=Kind.RULE, name="x", outcome="pass", source="a test")]
    old = WindProfile([0, 60], [1, 2], [0, 0], [6.0, 6.0])
    flown_again = None if all_of_it is None else lambda: checks(all_of_it)
    found = [*if_read(old, kept, lambda: checks(few), flown_again)]
    assert [c.name.rsplit(" ", 1)[1] for c in found] == [word] * (word != "go")
