"""The dial in a real browser with its network closed: it reads as the winds it was made
from say, at the worst between them, and holds where it knows nothing.
"""

import base64
import dataclasses
import io
import math
import re
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import product

import numpy as np
import pypdf
import pytest
import shapely
import shapely.affinity
from awkward import CONTRAST, FINDINGS, HOSTILE, foreign, latin_words
from PIL import Image
from selenium.webdriver.common.keys import Keys

from driftmap.core.units import FOOT, MILE_PER_HOUR
from driftmap.ground.georeference import Picture
from driftmap.hazard.way_out import clear_ground, way_out
from driftmap.hazard.zones import anywhere, outer_line, zones
from driftmap.planning.assumed_winds import Supposition, suppose
from driftmap.planning.dial_node import WORDS as RANK
from driftmap.planning.dial_reading import surrounding, word_at
from driftmap.report.dialdata import line_error
from driftmap.report.dialpage import dial_html
from driftmap.report.instructions import sights
from driftmap.report.positions import reach_of
from driftmap.report.voice import read_catalogue
from driftmap.verdict.assessment import assess_setup

pytestmark = pytest.mark.browser

WORDS = {
    "go": "GO",
    "go if aloft": "CHECK ALOFT",
    "hold": "HOLD",
    "no-go": "NO-GO",
}


@pytest.fixture(scope="session")
def page(dial, tmp_path_factory):
    """The demo dial as a file."""
    path = tmp_path_factory.mktemp("dial") / "dial.html"
    path.write_text(dial_html(dial, units="us"), encoding="utf-8")
    return path


SET = """
  const [speed, from] = arguments;
  one('#speed').value = speed;
  one('#from').value = from;
  one('#gust').value = '';
  one('#from').dispatchEvent(new Event('input', {bubbles: true}));
  if (one('#by-cause').getAttribute('aria-pressed') === 'false') one('#by-cause').click();
"""


def put(browser, speed, from_deg):
    """Set a reading at once; each key typed would draw all anew."""
    browser.js(SET, str(speed), str(from_deg))


def word(browser):
    return browser.find("header .word").text.replace("\u2011", "-")


def lines(browser):
    """Give the outlines of the pieces as they are drawn."""
    return browser.js(
        "return [...document.querySelectorAll('.map path.contour')].map(p => p.getAttribute('d'))"
    )


def wind_with(dial, verdict):
    """Find a wind of the dial with this verdict."""
    return next(n.wind for n in dial.nodes if word_at(dial, *n.wind) == verdict)


@pytest.mark.parametrize(
    ("width", "height", "dark"),
    [(390, 844, True), pytest.param(1280, 900, False, marks=pytest.mark.slow)],
)
def test_asks_for_nothing_and_fits(browser, page, width, height, dark):
    browser.open(page, width=width, height=height, dark=dark)
    for selector, value in (("#speed", "4"), ("#from", "245")):
        browser.find(selector).send_keys(value)
    browser.js("one('#by-cause').click()")
    assert browser.requests() == []
    assert browser.complaints() == []
    assert browser.js("return document.documentElement.scrollWidth") <= width
    assert len(lines(browser)) > 5


def test_a_reading_stands_whole_in_its_boxes(browser, page):
    browser.look(page, width=390, height=844)
    put(browser, 12.5, 338)
    for width in (320, 360, 390):
        browser.size(width, 844)
        wide = browser.js(BOXES)
        assert all(0 < text <= room for text, room in wide), (width, wide)


BOXES = """
  const pen = document.createElement('canvas').getContext('2d');
  return [one('#speed'), one('#from')].map(box => {
    const style = getComputedStyle(box), gaps = [style.paddingLeft, style.paddingRight];
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const room = gaps.reduce((left, gap) => left - parseFloat(gap), box.clientWidth);
    return [pen.measureText(box.value).width, room];
  });
"""
"""How wide a reading is, and its box."""


SHOWN = "return all(arguments[0]).map((part) => part.checkVisibility())"


def says_nothing_of_the_ground(browser, why):
    """What was not worked out draws nothing, names no way to look, and the disc has no colour."""
    assert lines(browser) == []
    assert browser.js("return OUTLINES.length") == 0
    assert browser.js("return document.body.innerText").count(why) == 1
    assert why in browser.find("#unknown").text
    assert not any(browser.js(SHOWN, ".map .astray"))
    assert browser.find("#look-told").text == "If one still goes up: the pad."
    assert browser.js(SHOWN, ".which") == [True]
    assert "DANGER" not in browser.find("#stand-told").text
    assert browser.js("return one('#wheel').matches('.mute')")


def stays(browser, why):
    """What is drawn is of another wind: it stays, muted, and nobody is told to stay whom it sends away."""
    told, stand = (browser.find(part).text for part in ("#unknown", "#stand-told"))
    assert why in told
    assert ("Stay at the places" in told) == ("MOVE AWAY" not in stand)
    assert "DANGER keep out" in stand
    assert browser.js("return one('#wheel').matches('.mute')")


def test_holds_until_a_wind_is_set(browser, page):
    browser.open(page)
    assert word(browser) == "HOLD"
    assert "Set the wind" in browser.find("#why").text
    says_nothing_of_the_ground(browser, "No wind set:")
    assert "Stay at the places for people" in browser.find("#stand-told").text
    browser.find("#speed").send_keys("3")
    assert word(browser) == "HOLD"
    assert lines(browser) == []


def test_each_verdict_is_told_by_word_and_shape(browser, page, dial):
    browser.look(page)
    for verdict in ("go", "hold", "no-go"):
        speed, from_deg = wind_with(dial, verdict)
        put(browser, round(speed / MILE_PER_HOUR, 9), from_deg)
        assert word(browser) == WORDS[verdict]
        shown = browser.js(
            "return [...document.querySelectorAll('header .sign g:not([hidden])')].map(g => g.dataset.of)"
        )
        assert shown == [verdict]
        told = browser.find("#why").text
        assert told
        assert "Set the wind" not in told
        assert ("All checks are within limits" in told) == (verdict == "go")
        begun = {"hold": "Do not launch yet. ", "no-go": "Do not launch. "}
        assert told.startswith(begun.get(verdict, "All checks"))
        age = browser.find("#age").text
        assert bool(re.search(r"Valid until \d\d:\d\d \(UTC.*\), 20 min", age)) == (
            verdict == "go"
        )
        assert "DANGER keep out: " in browser.find("#stand-told").text
        assert not browser.find("#unknown").is_displayed()
        first = {"go": "At lift-off: the pad."}.get(verdict, "If one ")
        assert browser.find("#look-told").text.startswith(first)
        assert ("No gusts read: flown as steady, none above " in told) == (
            verdict == "go"
        )
        clear = browser.js(
            "return all('.people-list li:not(.warn, .fail)').map((row) => row.querySelector('bdi').textContent)"
        )
        stay = browser.js(
            "return all('#stand-told .one:has(.clear) bdi').map((name) => name.textContent)"
        )
        assert stay == clear
        assert ("CLEAR may stay: " in browser.find("#stand-told").text) == bool(clear)
        look = browser.find("#look-told").text
        assert look.count("if all is well: ") == 1
        assert look.count(f" from {sights(dial.setup.site.areas)[0].name}") <= 1
        times = [int(s) for s in re.findall(r"From (\d+)\s+s,", look)]
        assert len(times) > 1
        assert times == sorted(times)


def test_left_and_right_are_those_of_the_map(browser, page, dial):
    browser.look(page)
    crowd = sights(dial.setup.site.areas)[0]
    turns = np.arange(0.1, 6.2, 0.3)
    told = [
        browser.js("return sideOf(...arguments)", far * np.sin(t), far * np.cos(t))
        for far in (90.0, 400.0, 2000.0)
        for t in turns
    ]
    assert told == [crowd.side(far, t) for far in (90.0, 400.0, 2000.0) for t in turns]
    assert len(set(told)) > 5


def test_the_hand_and_danger_reach_are_those_of_the_sheets(browser, page, dial):
    browser.look(page)
    crowd = sights(dial.setup.site.areas)[0]
    turns = np.arange(0.1, 6.2, 0.3)
    told = browser.js("return arguments[0].map(handOf)", np.degrees(turns).tolist())
    assert told == [crowd.hand(t) for t in turns]
    assert set(told) == {"left", "right", "past", "toward"}
    rng = np.random.default_rng(1)
    grounds = [
        rng.normal(middle, 300, (9, 2)).round(3)
        for middle in (0, 200, 400, 2000)
        for _ in range(5)
    ]
    reach = [browser.js("return reachOf(arguments[0])", g.tolist()) for g in grounds]
    assert [list(map(tuple, r)) for r in reach] == [
        reach_of(shapely.MultiPoint(g)) for g in grounds
    ]
    assert {len(r) for r in reach} == {1, 2}
    shapes = [shapely.convex_hull(shapely.MultiPoint(g)) for g in grounds]
    away = [shapely.affinity.translate(shape, 9000, 500) for shape in shapes[1:]]
    pairs = list(zip(shapes, away, strict=False))
    rings = [[list(one.exterior.coords)[:-1] for one in pair] for pair in pairs]
    gaps = browser.js("return arguments[0].map((pair) => gapBetween(...pair))", rings)
    assert gaps == pytest.approx([shapely.distance(*pair) for pair in pairs])


def test_who_must_move_is_sent_where_the_map_would_send_them(browser, page, dial):
    """Each way is that of the map for the same ground, and ends where all of the place is clear."""
    browser.look(page)
    site, sent, others = dial.setup.site, 0, 0
    places = {area.name: area.shape for area in site.areas}
    for zoned, ways in browser.js(WAYS_OUT):
        shapes = [shapely.Polygon(ring) for ring in zoned]
        clear, ground = clear_ground(site, shapes), shapely.union_all(shapes)
        for name, way in ways:
            own = way_out(places[name], ground, clear)
            ((east, north),) = np.diff(own.coords, axis=0)
            turn = math.remainder(
                way["turn"] - math.degrees(math.atan2(east, north)), 360
            )
            # Ways are tried every 5 deg; of two grounds that are as near either may be taken.
            others += abs(way["far"] - own.length) > 15 or abs(turn) > 6
            step = way["far"] * np.exp(1j * np.radians(90 - way["turn"]))
            moved = shapely.affinity.translate(places[name], step.real, step.imag)
            assert clear.buffer(2).covers(moved)
            sent += 1
    assert sent > 30
    assert others < 0.1 * sent, f"{others} of {sent}"


WAYS_OUT = """
  const turned = (ring) => ring.map(([north, east]) => [east, north]);
  return DIAL.verdicts.map((_, at) => crowdAt([at])).map(({ zoned, crowd }) => {
    const zones = Object.values(zoned).flatMap((pieces) => pieces.map(({ ring }) => [ring]));
    return [zones.map(([ring]) => turned(ring)), crowd.filter(({ kind }) => kind).map((place) => [place.name, wayOut(place, zones)])];
  });
"""


def test_whither_is_told_and_pointed_to_alike(browser, page):
    """The arrow of a place points where its line says; who stays has none."""
    browser.look(page)
    known = {True: 0, False: 0}
    for from_deg in range(0, 360, 30):
        put(browser, 8, from_deg)
        for number, told, turn in browser.js(SENT):
            compass = re.search(r"[(\s]([NESW]{1,2})\)?$", told)
            assert (turn is None) == (compass is None), (number, told)
            if compass:
                letters = browser.js("return compassOf(arguments[0])", turn)
                assert letters == compass[1]
            known[compass is not None] += 1
    assert known[True] > 5
    assert known[False] > 5


SENT = """
  const told = (one('#stand-told .move')?.parentElement.innerText ?? '').split('\\n').slice(1);
  return all('.map .label.people').map((label) => {
    const number = one('b', label).textContent, arrow = one('.whither', label);
    const turn = arrow && Number(arrow.style.transform.match(/-?\\d+/)[0]) + 90;
    return [number, told.find((line) => line.startsWith(number)) ?? '', turn];
  });
"""


@pytest.mark.parametrize(
    "language",
    [
        "en",
        *(pytest.param(each, marks=pytest.mark.slow) for each in ("de", "es", "fr")),
    ],
)
def test_every_word_is_told_without_a_complaint(browser, dial, tmp_path, language):
    """The console stays empty, and no message shows its braces, whatever the page has to say."""
    calm = replace(dial.nodes[0], verdict="go", supposed=True)
    whole, path = replace(dial, nodes=(calm, *dial.nodes[1:])), tmp_path / "dial.html"
    path.write_text(dial_html(whole, language=language), encoding="utf-8")
    browser.open(path)
    size = browser.js("return DIAL.speed.size")
    winds = [wind_with(whole, word) for word in WORDS]
    winds += [(99.0, 10.0), (-1.0, 10.0), (1.0, 400.0)]
    shown = set()
    for speed, from_deg in winds:
        put(browser, round(speed / size, 9), from_deg)
        for change in ("0", "one('#gust').value = 99", "readAt = new Date(0)"):
            browser.js(f"{change}; show()")
            told = browser.js("return document.body.innerText")
            assert not re.search(r"[{}]|undefined|NaN|\bnull\b", told)
            assert browser.complaints() == []
            shown.add(browser.js("return document.body.className.split(' ')[0]"))
    assert shown == {"go", "go-if-aloft", "hold", "no-go"}


def test_reads_as_the_rule_says(browser, page, dial):
    """Every reading of a fine net: the page and the package agree, and none is milder
    than a wind about it.
    """
    browser.look(page)
    net = [
        (float(speed), float(from_deg))
        for speed in np.arange(0.0, dial.reach.top + 1.5, 0.37)
        for from_deg in np.arange(-34.0, 400.0, 17.0)
    ]
    read = browser.js(
        "return arguments[0].map(wind => [surrounding(...wind), wordAt(...wind)])", net
    )
    for wind, (about, got) in zip(net, read, strict=True):
        nodes = surrounding(dial.reach, *wind)
        assert set(nodes) <= {at for at in about if at < len(dial.nodes)}
        assert got == word_at(dial, *wind)
        assert all(RANK.index(got) >= RANK.index(dial.nodes[i].word) for i in nodes)


def test_outside_the_range_is_never_go(browser, page):
    browser.look(page)
    for speed, from_deg, told, why in (
        (99, 10, "NO-GO", "than the limit on the wind"),
        (-1, 10, "HOLD", "Not a wind"),
        ("5e9", 0, "NO-GO", "than the limit on the wind"),
    ):
        put(browser, speed, from_deg)
        assert word(browser) == told
        assert why in browser.find("#why").text
        says_nothing_of_the_ground(
            browser, "No wind set" if speed == -1 else "Not worked out"
        )


def test_beyond_the_range_whom_its_rim_sends_away_is_sent_away(browser, page):
    """Nobody is told to stay in a stronger wind than that in which he must go."""
    browser.look(page)
    told = set()
    for from_deg in range(0, 360, 60):
        put(browser, browser.js("return DIAL.top / DIAL.speed.size"), from_deg)
        sent = browser.js(
            "const told = one('#stand-told .move')?.parentElement.innerText ?? '';"
            "return DIAL.areas.map(({ name }) => name).filter((name) => told.includes(name))"
        )
        put(browser, 99, from_deg)
        unknown = browser.find("#stand-told").text
        assert all(name in unknown for name in sent)
        assert ("MOVE AWAY" in unknown) != ("Stay at the places" in unknown)
        told.add("MOVE AWAY" in unknown)
    assert told == {True, False}


def test_what_is_no_bearing_is_refused(browser, page):
    """400 may be a slip of 040 or of 140: nobody guesses which."""
    browser.look(page)
    for bearing in (361, 400, -20, 760):
        put(browser, 5, 90)
        assert lines(browser) != []
        put(browser, 5, bearing)
        assert word(browser) == "HOLD"
        assert "Not a bearing" in browser.find("#why").text
        assert lines(browser) == []
        assert browser.find("#cell").text == ""
        assert not browser.find("#age").is_displayed()
    put(browser, 5, 360)
    north = browser.find("#reading").text, lines(browser)
    put(browser, 5, 0)
    assert (browser.find("#reading").text, lines(browser)) == north


def test_a_gust_that_cannot_be_holds(browser, page, dial):
    browser.look(page)
    speed, from_deg = wind_with(dial, "go")
    for gust, told in (
        ("1", "less than the wind"),
        ("-3", "Not a gust"),
        ("e", "Not a gust"),
    ):
        browser.find("#gust").clear()
        put(browser, max(2.0, round(speed / MILE_PER_HOUR, 6)), from_deg)
        assert told not in browser.find("#why").text
        browser.find("#gust").send_keys(gust)
        assert word(browser) in {"HOLD", "NO-GO"}
        assert told in browser.find("#why").text


def test_a_reading_grows_old_and_holds_until_it_is_set_again(browser, page, dial):
    browser.look(page)
    speed, from_deg = wind_with(dial, "go")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    assert word(browser) == "GO"
    browser.js("readAt = new Date(Date.now() - 1000 * (DIAL.stale - 300)); show()")
    browser.find("#gust").send_keys("0")  # told later, it renews nothing
    browser.find("#gust").clear()
    browser.js("show()")
    assert re.search(r", [45] min left", browser.find("#age").text)
    browser.js("readAt = new Date(Date.now() - 1000 * (DIAL.stale + 60)); show()")
    assert word(browser) == "HOLD"
    assert (
        "TOO OLD: read 21 min ago. Read the meter again." in browser.find("#why").text
    )
    stays(browser, "for the wind read then.")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    assert word(browser) == "GO"
    # Nor does a clock that runs backwards make it young again.
    browser.js("readAt = new Date(Date.now() + 60000); show()")
    assert word(browser) == "HOLD"


def test_a_clock_set_back_makes_no_reading_younger(browser, page, dial):
    """Nor does one that stood still while the phone slept: the longer of two counts."""
    browser.open(page)
    speed, from_deg = wind_with(dial, "go")
    put(browser, round(speed / MILE_PER_HOUR, 9), from_deg)
    aged = "const wall = Date.now, far = 1000 * arguments[0]; Date.now = () => wall() + far; show()"
    browser.js(aged, 1190)
    assert word(browser) == "GO"
    browser.js(aged, -600)
    browser.js(
        "const steady = performance.now.bind(performance); performance.now = () => steady() + 20000; show()"
    )
    assert word(browser) == "HOLD"
    assert "TOO OLD" in browser.find("#why").text


def test_an_old_reading_never_makes_a_no_go_milder(browser, page, dial):
    browser.look(page)
    speed, from_deg = wind_with(dial, "no-go")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    browser.js("readAt = new Date(0); show()")
    assert word(browser) == "NO-GO"


def test_on_another_day_every_wind_holds(browser, dial, tmp_path):
    path = tmp_path / "dial.html"
    yesterday = datetime.now().astimezone().date() - timedelta(days=1)
    path.write_text(dial_html(dial, units="us", made_for=yesterday), encoding="utf-8")
    browser.open(path)
    speed, from_deg = wind_with(dial, "go")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    assert word(browser) == "HOLD"
    assert f"made for {yesterday}" in browser.find("#why").text


@pytest.mark.parametrize(("hours", "word_then"), [(0, "GO"), (-4, "HOLD"), (4, "HOLD")])
def test_hours_off_its_own_every_wind_holds(browser, dial, tmp_path, hours, word_then):
    path, now = tmp_path / "dial.html", datetime.now(UTC)
    noon = replace(dial.setup.site, longitude=180.0 - 15 * now.hour)
    supposed = Supposition.over_site(noon, now + timedelta(hours=hours))
    any_day = replace(dial.setup.answers, holds=None)
    setup = replace(dial.setup, site=noon, answers=any_day)
    hourly = replace(dial, supposition=supposed, setup=setup)
    path.write_text(dial_html(hourly, units="us"), encoding="utf-8")
    browser.open(path)
    speed, from_deg = wind_with(dial, "go")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    assert word(browser) == word_then


def test_a_gust_that_was_not_worked_out_holds(browser, page, dial):
    browser.look(page)
    speed, from_deg = wind_with(dial, "go")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    browser.find("#gust").send_keys("15")
    assert word(browser) == "HOLD"
    assert "steady wind" in browser.find("#why").text
    stays(browser, "for the wind without them.")
    browser.find("#gust").clear()
    put(browser, speed / MILE_PER_HOUR, from_deg)
    assert word(browser) == "GO"


def test_the_answers_it_rests_on_are_listed(browser, page):
    browser.look(page)
    told = browser.find("#answers").text
    assert "answers-dunlin.toml" in told
    assert "no fire ban: yes" in told


@pytest.mark.slow  # buttons and knob are tried too
def test_keys_turn_the_dial(browser, page):
    browser.open(page)
    browser.js("document.querySelector('#by-cause').click()")
    wheel = browser.find("#wheel")
    wheel.send_keys(Keys.ARROW_UP * 4 + Keys.ARROW_LEFT * 3)
    assert browser.find("#speed").get_attribute("value") == "4"
    assert browser.find("#from").get_attribute("value") == "345"
    assert "4 mph from 345° (NNW)" in browser.find("#reading").text.replace("\xa0", " ")
    assert wheel.get_attribute("aria-valuenow") == "345"
    assert word(browser) in wheel.get_attribute("aria-valuetext")
    before = lines(browser)
    wheel.send_keys(Keys.ARROW_RIGHT * 9)
    assert lines(browser) != before
    wheel.send_keys(Keys.ARROW_UP * 12)
    assert float(browser.find("#speed").get_attribute("value")) == 12.0
    wheel.send_keys(Keys.HOME)
    assert browser.find("#reading").text == "0 mph, calm"


def wheel_at(browser, right, down):
    """Give the place on the screen of a point of the wheel, in its own units."""
    x, y, size = browser.js(
        "const w = document.querySelector('#wheel'), b = w.getBoundingClientRect();"
        "return [b.left + b.width / 2, b.top + b.height / 2, b.width / w.viewBox.baseVal.width]"
    )
    return {"x": x + right * size, "y": y + down * size}


def swipe(browser, start, stop):
    """Draw one finger over the screen."""
    browser.cdp("Input.dispatchTouchEvent", type="touchStart", touchPoints=[start])
    for part in (0.25, 0.5, 0.75, 1.0):
        point = {key: start[key] + part * (stop[key] - start[key]) for key in start}
        browser.cdp("Input.dispatchTouchEvent", type="touchMove", touchPoints=[point])
    browser.cdp("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])


def values(browser):
    return [browser.find(s).get_attribute("value") for s in ("#speed", "#from")]


def test_the_knob_sets_both_and_undo_brings_back(browser, page, dial):
    browser.look(page, width=390, height=844)
    put(browser, 8, 0)
    browser.js("one('#wheel').scrollIntoView({ block: 'center' })")
    # Half of the top speed, from the east.
    swipe(browser, wheel_at(browser, 0, -80), wheel_at(browser, 50, 0))
    browser.js("return new Promise(done => requestAnimationFrame(done))")
    assert values(browser) == ["6", "90"]
    assert len(lines(browser)) > 5
    browser.js("document.querySelector('#undo').click()")
    assert values(browser) == ["8", "0"]
    assert word(browser) == WORDS[word_at(dial, 8 * MILE_PER_HOUR, 0.0)]


@pytest.mark.slow  # the knob alone is tried at each call
def test_a_thumb_that_scrolls_never_sets_a_wind(browser, page):
    """Only the knob moves the reading; and not even it while the reading is locked."""
    browser.look(page, width=390, height=844)
    put(browser, 8, 0)
    for right in (-90, -60, -30, 30, 60, 90):
        for down in (90, 50, -30):
            browser.js("one('#wheel').scrollIntoView({ block: 'center' })")
            swipe(
                browser,
                wheel_at(browser, right, down),
                wheel_at(browser, right, down - 120),
            )
            assert values(browser) == ["8", "0"]
    browser.js("scrollTo(0, 0); document.querySelector('#speed').focus()")
    box = "const b = document.querySelector('#speed').getBoundingClientRect();"
    x, y = browser.js(f"{box} return [b.left + b.width / 2, b.top + b.height / 2]")
    turn = {"type": "mouseWheel", "x": x, "y": y, "deltaX": 0, "deltaY": -120}
    browser.cdp(
        "Input.dispatchMouseEvent", **turn
    )  # a wheel over the field it stands in
    browser.js("return new Promise(done => setTimeout(done, 200))")
    assert values(browser) == ["8", "0"]
    browser.js("one('#wheel').scrollIntoView({ block: 'center' })")
    browser.js("document.querySelector('#lock').click()")
    swipe(browser, wheel_at(browser, 0, -80), wheel_at(browser, 50, 0))
    browser.find("#wheel").send_keys(Keys.ARROW_DOWN * 3)
    assert values(browser) == ["8", "0"]
    assert not browser.find("#speed").is_enabled()
    browser.js("document.querySelector('#lock').click()")


def test_two_zones_open_and_people_stand_on_top(browser, page):
    browser.look(page, width=390, height=844)
    put(browser, 4, 100)
    browser.find("#by-cause").click()
    assert lines(browser) == []
    shown = browser.js(
        "return [...document.querySelectorAll('.map .label.zone:not(.off) b, "
        ".map .label.people:not(.off) b')].map(b => b.textContent)"
    )
    assert {"DANGER", "CAUTION", "1", "2", "3"} <= set(shown)
    assert browser.js(FINDINGS) == []
    # The ground is seen while the reading is set, below a line for each who must move, and one
    # for those whom the go counts there.
    browser.js("scrollTo(0, 0)")
    box = browser.js("return one('#chart-map').getBoundingClientRect().toJSON()")
    assert 844 - box["top"] > 0.4 * box["height"]


def test_buttons_step(browser, page):
    browser.open(page, width=390, height=844)
    put(browser, 3, 0)
    for selector in ("[data-speed='1']", "[data-turn='-1']"):
        browser.find(selector).click()
    assert browser.find("#speed").get_attribute("value") == "4"
    assert browser.find("#from").get_attribute("value") == "355"


def test_targets_are_large_and_named(browser, page):
    browser.look(page, width=390, height=844)
    put(browser, 9, 245)
    small = browser.js(
        "return [...document.querySelectorAll('button, .knob input, label.piece, .extra label, summary')]"
        ".filter(e => e.offsetParent).map(e => [e.getBoundingClientRect(), e.textContent])"
        ".filter(([b]) => b.height < 44 || b.width < 44).map(([, t]) => t)"
    )
    assert small == []
    nameless = browser.js(
        "return [...document.querySelectorAll('input, button')]"
        ".filter(e => !(e.ariaLabel || e.textContent.trim() || e.labels?.length)).length"
    )
    assert nameless == 0


@pytest.mark.slow  # reasons and zones are tried at each call
def test_people_that_a_check_speaks_of_are_marked_on_the_map_and_in_the_list(
    browser, page
):
    """In every wind: their plates bear the outcome by colour and sign, and lose it again.

    What stands in a zone is marked whatever the checks say.
    """
    browser.look(page)
    marked, wrong = browser.js("""
      const plates = () => ['.map .label.people', '.people-list li'].map(s => all(s).map(e =>
        e.classList.contains('fail') ? 2 : e.classList.contains('warn') ? 1 : 0));
      let [marked, wrong] = [0, 0];
      for (let speed = 1; speed < 12; speed += 3) for (let from = 30; from < 360; from += 60) {
        put({ speed, from, gust: NaN });
        const about = surrounding(speed * DIAL.speed.size, from);
        for (const told of plates()) told.forEach((outcome, at) => {
          const said = reasonsAt(about).filter(r => r.people.includes(at)).map(r => r.outcome);
          const {rings} = DIAL.areas.filter(a => a.kind === 'people')[at], {danger, caution} = zonesAt(about);
          const [y, x] = rings[0][0].reduce(([a, b], [c, d], i, all) => [a + c / all.length, b + d / all.length], [0, 0]);
          const inside = pieces => pieces.some(({ring}) => within(ring, [y, x]));
          const bad = danger.some(({ring}) => reaches(rings, ring)), near = caution.some(({ring}) => reaches(rings, ring));
          if ((inside(danger) && !bad) || (inside(caution) && !near)) wrong += 1;
          const least = bad ? 2 : near ? 1 : 0; // whatever the word; and who stands in caution moves where others in it must
          const moves = near && !bad && crowdAt(about).crowd.some(({ kind, outcome: other }) => kind === 'caution' && other === 2);
          if (outcome !== Math.max(moves ? 2 : least, ...said)) wrong += 1;
          if (outcome) marked += 1;
        });
      }
      return [marked, wrong];""")
    assert marked > 0
    assert wrong == 0


def test_its_zones_are_those_of_the_map(browser, page, dial):
    """What may come down on any side is told, as on the map, and paints no zone."""
    browser.look(page)
    wind = suppose(dial.supposition, 240.0, dial.reach.wind(1, 4)[0])
    told = assess_setup(dial.setup, wind)
    line = outer_line(told.cloud, told.contours)
    danger = next(z for z in zones(told.cloud, line) if z.kind == "danger")
    place = dial.reach.place(1, 4)
    assert dial.nodes[place].wind[1] == pytest.approx(240.0)
    drawn = [
        shapely.Polygon(
            browser.js("return lineAt([arguments[0]], arguments[1], 1)", *at)
        )
        for index in range(len(dial.pieces))
        for at in [(place, index)]
        if browser.js(
            "const f = figuresAt([arguments[0]], arguments[1]);"
            "return Boolean(f) && !f.apart && gradeOf(f, arguments[1]) === 'danger'",
            *at,
        )
    ]
    ground = shapely.union_all(drawn)
    both = ground.intersection(danger.shape).area
    assert both > 0.9 * danger.shape.area
    assert ground.area < 1.4 * danger.shape.area  # taut: bays are filled
    astray = anywhere(told.cloud)
    assert f"1 in {int(1 / astray.likelihood)} may go astray" in (
        browser.js(
            "put({ speed: 4, from: 240, gust: NaN });"
            "return document.getElementById('stand-told').textContent"
        )
    )


def test_the_dial_prints_on_one_page_with_its_words(browser, page, dial, tmp_path):
    longest = tmp_path / "dial.html"  # of the languages
    longest.write_text(dial_html(dial, language="de"), encoding="utf-8")
    for path, paper in ((longest, (8.5, 11.0)), (page, (8.27, 11.69))):
        browser.look(path)
        pdf = browser.cdp("Page.printToPDF", paperWidth=paper[0], paperHeight=paper[1])[
            "data"
        ]
        text = pypdf.PdfReader(io.BytesIO(base64.b64decode(pdf)))
        assert len(text.pages) == 1
    told = browser.js("return document.querySelector('#paper p').textContent")
    for zone in ("danger", "caution"):
        (reach,) = re.findall(rf"{zone.upper()} to ([\d,]+)\s+ft", told)
        drawn = browser.js(
            "return DIAL.verdicts.map((_, at) => zonesAt([at])[arguments[0]].flatMap(({ ring }) => ring))",
            zone,
        )
        farthest = max(np.hypot(*corner) for ring in drawn for corner in ring) / FOOT
        assert float(reach.replace(",", "")) == pytest.approx(
            farthest, rel=0.05
        )  # 2 digits
    places = browser.js(
        "return [...document.querySelectorAll('.people-list small')].map(e => e.textContent)"
    )
    assert len(places) == sum(area.occupied for area in dial.setup.site.areas)
    assert all(re.match(r"[\d,.]+\s+(ft|mi) [NESW]+ of the pad", p) for p in places)
    cells = browser.js(
        "return [...document.querySelectorAll('.words td[data-word]')].map(c => c.textContent)"
    )
    assert len(cells) >= dial.reach.speeds * dial.reach.directions
    rows = browser.js(
        "return [...document.querySelectorAll('.words tr:not(.of-all) th[scope=row]')].map(c => parseFloat(c.textContent.replace('up to ', '')))"
    )
    steps = dial.reach.step / MILE_PER_HOUR * np.arange(1, len(rows) + 1)
    assert rows == pytest.approx(list(steps), rel=0.005)  # three digits
    words = {re.split("[✕!]", cell)[0] for cell in cells}
    assert words - {f"{60 * j:03d}°" for j in range(6)} <= {
        *("go", "aloft?", "hold", "NO")
    }


PRINTED = """
  tellPaper();
  const { every, deep } = DIAL.table;
  const rows = [...one('#paper table').rows].slice(1), told = [];
  rows.filter((row) => !row.matches('.of-all')).forEach((row, i) => [...row.cells].slice(1).forEach((cell, j) => {
    const speed = ((i * deep + 0.5) * DIAL.top) / DIAL.speeds, from = ((j * every + 0.2) * 360) / DIAL.directions;
    const { crowd } = crowdAt(surrounding(speed, from));
    told.push({ word: cell.dataset.word, cell: cell.textContent, sent: overOf(crowd).map((place) => place.number), ready: crowd.filter((place) => place.outcome === 1).map((place) => place.number) });
  }));
  return [told, rows.filter((row) => row.matches('.of-all')).map((row) => [...row.cells].map((cell) => cell.textContent))];
"""
"""What the table on paper says of each field, beside what the screen says of a wind in it."""


def numbers(told):
    """Read numbers as people write them: 1–3 7."""
    runs = [[int(n) for n in run.split("–")] for run in told.split()]
    return {n for run in runs for n in range(run[0], run[-1] + 1)}


def test_paper_says_who_must_move_and_which_way_to_look(browser, page):
    """Nobody whom the screen sends away in a wind of a field may stay by the table, nor sits."""
    browser.look(page)
    fields, below = browser.js(PRINTED)
    asked = 0
    for field in fields:
        _, sent, ready = re.fullmatch(
            r"([^✕!]*)(?:✕\s([\d– ]+))?(?:!\s([\d– ]+))?", field["cell"]
        ).groups(default="")
        if field["word"] == "no-go":
            assert not sent + ready  # nobody launches
            continue
        asked += len(field["sent"]) + len(field["ready"])
        assert numbers(sent) >= set(field["sent"])
        assert numbers(sent) | numbers(ready) >= set(field["ready"])
    assert asked
    heads = [head.replace("\xa0", " ") for head, *_ in below]
    assert [head.split(", from ")[0] for head in heads] == [
        "DANGER: keep out",
        "CAUTION: keep out",
        "LOOK",
        "LOOK if it fails",
        "LOOK if all is well",
    ]
    words = [
        [f["word"] for f in fields[j :: len(below[0]) - 1]]
        for j in range(len(below[0]) - 1)
    ]
    assert below.pop(2)[1:] == ["At lift-off: the pad."]
    for row in below:
        empty = [cell == "–" for cell in row[1:]]
        assert empty == [set(column) == {"no-go"} for column in words]


def test_a_dial_in_a_page_that_knows_better_falls_to_hold(browser, page, tmp_path):
    """Whoever shows the dial may end its go, and never make one."""
    around = tmp_path / "around.html"
    around.write_text(f"<iframe src='{page.as_uri()}'></iframe>")
    browser.open(around)
    browser.driver.switch_to.frame(0)
    seen = "return [wordAt(2, 0), one('.word').textContent, one('#why').textContent]"
    browser.js(
        "DIAL.verdicts.fill('go'); put({ speed: 2 / DIAL.speed.size, from: 0, gust: NaN })"
    )
    assert browser.js(seen)[:2] == ["go", "GO"]
    for said, word in (("the desk says HOLD", "HOLD"), ("", "GO")):
        browser.driver.switch_to.default_content()
        browser.js("frames[0].postMessage(arguments[0], '*')", said)
        browser.driver.switch_to.frame(0)
        until = time.monotonic() + 5
        while browser.js(seen)[1] != word and time.monotonic() < until:
            time.sleep(0.02)
        of_cell, shown, why = browser.js(seen)
        assert (of_cell, shown) == ("go", word)
        assert said in why
    browser.driver.switch_to.default_content()


def test_many_numbers_on_paper_leave_nobody_out(browser, page):
    browser.look(page)
    for some in ([7], [1, 2, 3], [1, 3, 5, 7, 20], [*range(1, 40, 2)]):
        told = browser.js("return String(runsOf(arguments[0]))", some)
        assert numbers(told) >= set(some)
        assert len(told.split()) <= 3


def test_the_dial_names_its_pad(browser, page, dial):
    """Distances count from it, and a field may have several."""
    browser.look(page)
    for part in ("header.verdict .whose", "footer"):
        assert dial.setup.site.pad in browser.find(part).text


@pytest.mark.parametrize(
    ("width", "height"), [(740, 360), pytest.param(844, 390, marks=pytest.mark.slow)]
)
def test_which_way_to_look_is_in_sight_on_a_phone_on_its_side(
    browser, page, width, height
):
    """With the wind and the word, on the first screen, while places that need not move are told too."""
    browser.look(page, width=width, height=height)
    looked = 0
    for speed, from_deg in ((None, None), *product((2, 5, 9), range(10, 360, 50))):
        if speed:
            put(browser, speed, from_deg)
        if browser.js("return one('#stand-told .signal.move')"):
            continue  # each of whom has a line of his own, and comes first
        looked += 1
        ends = browser.js(
            "scrollTo(0, 0); return ['#from', '.word', '#look-told'].map((part) => one(part).getBoundingClientRect().bottom)"
        )
        assert max(ends) <= height, (speed, from_deg)
    assert looked > 1


def test_lines_are_where_the_landings_are(browser, page, dial):
    """The page's unpacked lines against the ground they were made from."""
    browser.look(page)
    fineness = 400.0  # a small dial is not thinned further
    for number in (0, 7, len(dial.nodes) - 1):
        node = dial.nodes[number]
        for index, (case, body, _) in enumerate(dial.pieces):
            landing = node.landings.get((case, body))
            got = browser.js(
                "return lineAt([arguments[0]], arguments[1], 1)", number, index
            )
            if landing is None:
                assert got is None
                continue
            taut = shapely.convex_hull(landing.lines[-1])
            west, south, east, north = landing.lines[-1].bounds
            allowed = line_error(max(east - west, north - south), fineness)
            drawn = shapely.Polygon(got)
            assert shapely.hausdorff_distance(drawn.boundary, taut.boundary) <= allowed
            figures = browser.js(
                "return figuresAt([arguments[0]], arguments[1])", number, index
            )
            assert landing.farthest <= figures["farthest"] < landing.farthest + 1
            assert landing.speed <= figures["speed"] < landing.speed + 0.11
            assert landing.soonest - 1 < figures["soonest"] <= landing.soonest


def test_between_winds_lines_and_figures_are_the_worst(browser, page, dial):
    browser.look(page)
    speed, from_deg = dial.reach.wind(1.5, 2.5)
    about = surrounding(dial.reach, speed, from_deg)
    assert len(about) == 4
    for index, (case, body, _) in enumerate(dial.pieces):
        ring = browser.js("return lineAt(arguments[0], arguments[1], 1)", about, index)
        single = [
            browser.js("return lineAt([arguments[0]], arguments[1], 1)", at, index)
            for at in about
        ]
        whole = shapely.Polygon(ring).buffer(1e-6)
        assert all(whole.covers(shapely.Polygon(one)) for one in single if one)
        figures = browser.js(
            "return figuresAt(arguments[0], arguments[1])", about, index
        )
        far = max(dial.nodes[i].landings[case, body].farthest for i in about)
        assert figures["farthest"] >= far


def test_reasons_are_those_of_the_winds(browser, page, dial):
    browser.look(page)
    for number, node in enumerate(dial.nodes):
        told = browser.js("return reasonsAt([arguments[0]])", number)
        bad = [c for c in node.checks if c.outcome != "pass" and not c.question]
        assert len(told) == len(bad)
        fails = [r["outcome"] for r in told]
        assert fails == sorted(fails, reverse=True)
        assert fails.count(2) == sum(c.outcome == "fail" for c in bad)


def test_open_questions_hold_and_are_listed(browser, dial, tmp_path):
    """A question is no weather: every wind holds that is not a no-go anyway."""
    check = next(c for c in dial.nodes[0].checks if c.outcome == "pass")
    question = dataclasses.replace(
        check,
        name="is the ground wet",
        outcome="warn",
        question=True,
        value=None,
        interval=None,
    )
    nodes = tuple(
        dataclasses.replace(
            node,
            checks=(*node.checks, question),
            verdict="hold" if node.verdict == "go" else node.verdict,
        )
        for node in dial.nodes
    )
    path = tmp_path / "dial.html"
    path.write_text(
        dial_html(dataclasses.replace(dial, nodes=nodes), units="us"), encoding="utf-8"
    )
    browser.open(path)
    speed, from_deg = wind_with(dial, "go")
    put(browser, speed / MILE_PER_HOUR, from_deg)
    assert word(browser) == "HOLD"
    assert browser.find("#why").text == (
        "Do not launch yet. Open question: “is the ground wet”. "
        "Until it is answered, no wind is go."
    )
    assert "is the ground wet" in browser.find("#questions").text


@pytest.mark.slow  # as those of the map
def test_switches_of_pieces(browser, page):
    browser.look(page)
    put(browser, 4, 100)
    before = len(lines(browser))
    browser.js("document.querySelector('input[data-piece=\"1\"]').click()")
    assert len(lines(browser)) == before - 1
    browser.js("document.querySelector('#show-inner').click()")
    assert len(lines(browser)) > before
    for box in ("#show-inner", 'input[data-piece="1"]'):
        browser.js("document.querySelector(arguments[0]).click()", box)
    assert len(lines(browser)) == before


def renamed(dial, text):
    """The dial with hostile text for every name that a file can give, all of it on pieces."""
    setup = dial.setup
    areas = tuple(
        dataclasses.replace(area, name=f"{text(i)} {i}")
        for i, area in enumerate(setup.site.areas)
    )
    site = dataclasses.replace(setup.site, name=text(0), areas=areas)
    flight = setup.flight.model_copy(update={"name": text(1)})
    whole = " ".join(HOSTILE)
    pieces = tuple((case, f"{body} {whole}", n) for case, body, n in dial.pieces)
    nodes = tuple(
        dataclasses.replace(
            node,
            checks=tuple(
                dataclasses.replace(c, area=text(i) if c.area else "")
                for i, c in enumerate(node.checks)
            ),
            landings={(c, f"{b} {whole}"): v for (c, b), v in node.landings.items()},
        )
        for node in dial.nodes
    )
    return dataclasses.replace(
        dial,
        setup=dataclasses.replace(setup, site=site, flight=flight),
        pieces=pieces,
        nodes=nodes,
        cells={},
    )


@pytest.mark.parametrize("turn", [0, pytest.param(4, marks=pytest.mark.slow)])
def test_names_show_as_text_and_never_run(browser, dial, tmp_path, turn):
    def text(place):
        return HOSTILE[(place + turn) % len(HOSTILE)]

    path = tmp_path / "dial.html"
    path.write_text(dial_html(renamed(dial, text), units="us"), encoding="utf-8")
    browser.open(path)
    put(browser, 9, 245)
    assert browser.complaints() == []
    assert browser.js("return window.hit") is None
    legend = browser.js("return document.querySelector('#legend').textContent")
    assert all(each in legend for each in HOSTILE)
    footer = browser.js("return document.querySelector('footer').textContent")
    assert text(0) in footer
    assert text(1) in browser.js("return document.body.textContent")
    labels = browser.js(
        "return [...document.querySelectorAll('.map .label bdi')].map(e => e.textContent)"
    )
    for i in range(len(dial.setup.site.areas)):
        assert any(text(i) in label for label in labels)
    assert len(lines(browser)) > 5


@pytest.mark.parametrize("dark", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_contrast(browser, page, dial, dark):
    """Contrast of every text by the formula of WCAG 2.2, success criterion 1.4.3."""
    browser.look(page, dark=dark)
    for verdict in ("go", "hold", "no-go"):
        speed, from_deg = wind_with(dial, verdict)
        put(browser, speed / MILE_PER_HOUR, from_deg)
        assert word(browser) == WORDS[verdict]
        assert browser.js(CONTRAST) == []


@pytest.mark.parametrize(
    ("width", "verdicts"),
    [(1280, ("hold",)), pytest.param(390, ("go", "no-go"), marks=pytest.mark.slow)],
)
def test_the_engine_finds_no_barrier(browser, page, dial, width, verdicts):
    browser.look(page, **({"width": width, "height": 844} if width < 600 else {}))
    for verdict in verdicts:
        speed, from_deg = wind_with(dial, verdict)
        put(browser, speed / MILE_PER_HOUR, from_deg)
        assert browser.barriers() == []


def test_the_engine_can_complain(browser, page, tmp_path):
    path = tmp_path / "dial.html"
    text = page.read_text("utf-8").replace('lang="en"', "")
    path.write_text(text.replace('<label for="speed">', "<label>"), encoding="utf-8")
    browser.open(path)
    assert {"html-has-lang", "label"} <= {name for name, _ in browser.barriers()}


def test_a_magnetic_bearing_counts_from_the_needle(browser, page):
    """240 by a needle 13 degrees east is 253 true; while the needle is not known, it holds."""
    browser.open(page)
    put(browser, 4, 240)
    browser.js("DIAL.declination = null; one('#declination').value = ''")
    browser.find("#magnetic").click()
    assert word(browser) == "HOLD"
    assert browser.find("#from").get_attribute("value") == ""
    put(browser, 4, 240)
    assert word(browser) == "HOLD"
    assert "not known" in browser.find("#why").text
    browser.find("#declination").send_keys("13")
    assert "253°" in browser.find("#reading").text
    assert browser.js("return Math.round(reading().from)") == 253
    browser.js("one('#declination').value = -200; show()")  # a slip turns no wind about
    assert word(browser) == "HOLD"
    browser.js("one('#declination').value = 13; show()")
    browser.find("#true").click()
    assert browser.find("#from").get_attribute("value") == "253"


def test_the_age_falls_to_hold_and_is_not_renewed_by_another_needle(
    browser, page, dial
):
    browser.open(page)
    speed, from_deg = wind_with(dial, "go")
    put(browser, round(speed / MILE_PER_HOUR, 6), from_deg)
    assert browser.find("#age").is_displayed()
    assert browser.js("return one('#left').value > 1100")
    # Nor longer than the hours that the dial itself serves.
    browser.js("DIAL.span = [0, Date.now() + 300000]; show()")
    assert browser.js("return one('#left').value <= 300")
    browser.js(
        "readAt = new Date(Date.now() - 1000 * (DIAL.stale + 1)); one('#declination').dispatchEvent(new Event('input'))"
    )
    assert word(browser) == "HOLD"
    assert not browser.find("#age").is_displayed()


def test_only_a_go_is_good_for_a_time(browser, page, dial):
    browser.look(page)
    for told in ("hold", "go", "no-go", "go", "not a wind"):
        speed, from_deg = (-1.0, 200) if told == "not a wind" else wind_with(dial, told)
        put(browser, round(speed / MILE_PER_HOUR, 6), from_deg)
        assert browser.find("#age").is_displayed() == (told == "go")


def test_gusts_are_a_second_hand_and_the_cell_is_told(browser, page, dial):
    browser.look(page)
    put(browser, 6, 250)
    assert browser.js("return all('.gusts').length") == 0
    most = browser.js("return DIAL.gust * 6")
    assert browser.find("#gust").get_attribute("placeholder") == f"≤\xa0{most:g}"
    browser.find("#gust").send_keys("9")
    assert browser.js("return all('.gusts').length") == 3
    assert browser.js(
        "return cellOf(6 * DIAL.speed.size, 250).map(v => Math.round(v * 100) / 100)"
    ) == [1.34, 4.02, 240, 300]
    told = word_at(dial, 6 * MILE_PER_HOUR, 250)
    assert word(browser) == WORDS[max(told, "hold", key=RANK.index)]


def test_pages_say_nothing_that_stands_in_no_catalogue(browser, dial, tmp_path):
    """Rules, sources and what was assumed keep their English, and say so."""
    language = read_catalogue(foreign(tmp_path / "x.toml"))
    path = tmp_path / "page.html"
    path.write_text(dial_html(dial, language=language), encoding="utf-8")
    browser.open(path, width=320, height=740)
    put(browser, 2, 245)
    assert browser.requests() == browser.complaints() == []
    assert browser.js("return document.documentElement.scrollWidth") <= 320
    names = (repr(dial.setup.site), "Dunlin", "answers-dunlin.toml")
    told = browser.js("return document.documentElement.outerHTML")
    assert latin_words(told, *names) == set()


def test_every_number_on_the_map_has_its_name(browser, page):
    """Whatever is set, and on the narrowest phone: on its plate, below the map or under the word."""
    browser.look(page, width=320, height=568)
    for change in ("", "put({ speed: 4, from: 240, gust: NaN })", "chart.setZoom(-3)"):
        browser.js(f"{change}; return 0")
        nameless = browser.js(
            "const told = all('#numbers b').map((e) => e.textContent);"
            "const bare = all('.map .label.people.short:not(.off) b').map((e) => e.textContent);"
            "return bare.filter((number) => !told.includes(number))"
        )
        assert nameless == []
    browser.look(page, width=360, height=740)
    stay = browser.find("#stand-told").text
    names = browser.js(
        "return DIAL.areas.filter((area) => area.number).map((area) => area.name)"
    )
    assert [name for name in names if name not in stay] == []


def test_no_figure_of_the_wind_is_cut(browser, page):
    """A direction of three digits is read as set, on a phone held either way."""
    for width, height in ((320, 568), (360, 740), (740, 360), (820, 1180)):
        browser.look(page, width=width, height=height)
        browser.js("put({ speed: 44, from: 244, gust: NaN }); return 0")
        cut = browser.js(
            "return all('.knobs input').filter((e) => e.scrollWidth > e.clientWidth)"
            ".map((e) => e.id)"
        )
        assert cut == []


def test_who_is_far_off_leaves_the_rest_large(browser, dial, tmp_path):
    """A place miles away has an arrow at the edge, unless it is in a zone or over a limit."""
    site = dial.setup.site
    camp = next(area for area in site.areas if area.name == "Camp")
    shape = shapely.affinity.translate(camp.shape, 20000.0)
    far = replace(camp, name="Far chapel", shape=shape)
    whole = replace(
        dial, setup=replace(dial.setup, site=replace(site, areas=(*site.areas, far)))
    )
    path = tmp_path / "dial.html"
    path.write_text(dial_html(whole), encoding="utf-8")
    browser.open(path, width=390, height=844)
    put(browser, 4, 240)
    browser.js("frame('flight')")
    assert "Far chapel" in browser.find("#far").get_attribute("textContent")
    wide = browser.js(
        "const box = chart.getBounds(); return box.getEast() - box.getWest()"
    )
    assert 300 < wide < 3000
    browser.js("frame('everything')")
    assert "Far chapel" not in browser.find("#far").get_attribute("textContent")


def test_own_ground_lies_under_the_zones(browser, dial, tmp_path):
    """The club's picture, where its points say it lies; washed out, and none of it hides a line."""
    shot = Image.new("RGB", (400, 300), "#446644")
    shot.save(tmp_path / "field.png")
    way = Picture(tmp_path / "field.png", (5.0, 0.0, -900.0), (0.0, -5.0, 700.0), 1.0)
    site = replace(dial.setup.site, picture=way)
    path = tmp_path / "dial.html"
    whole = replace(dial, setup=replace(dial.setup, site=site))
    path.write_text(dial_html(whole), encoding="utf-8")
    browser.open(path)
    put(browser, 8, 60)
    assert browser.complaints() == []
    lies = browser.js("""
      const at = L.latLngBounds(DIAL.picture.bounds), drawn = one('.own-ground').getBoundingClientRect();
      const {left, top} = chart.getContainer().getBoundingClientRect();
      const back = (x, y) => chart.containerPointToLatLng([x - left, y - top]);
      const ends = [back(drawn.left, drawn.bottom), back(drawn.right, drawn.top)];
      return [ends[0].lng, ends[0].lat, ends[1].lng, ends[1].lat, one('.own-ground').naturalWidth > 100,
        getComputedStyle(one('.own-ground')).opacity < 1, getComputedStyle(one('path.fill')).fillOpacity < 1];""")
    assert lies[:4] == pytest.approx([-900, -800, 1100, 700], abs=12)
    assert lies[4:] == [True, True, True]
