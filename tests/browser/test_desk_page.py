"""The desk in a real browser with its network closed: a stranger's field and flight from
nothing to a word, by mouse, by keys alone, by touch on a phone; and what goes wrong is said.
"""

import json
import re
import shutil
import signal
import subprocess
import sys
import time
from datetime import datetime
from functools import partial
from pathlib import Path

import pytest
from awkward import CONTRAST
from click.testing import CliRunner
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from driftmap.cli import cli
from driftmap.ground.site import read_site
from driftmap.rocket.flightfile import read_flight

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
RUN = """
from driftmap.desk import judging
judging.FULL = 600  # a word that counts comes thirty times sooner
from driftmap.desk import queue
if not {judges}:
    queue.Queue.start = lambda self: None
if __name__ == "__main__":  # the workers begin with this file too
    from driftmap.cli import main
    main()
"""
PATIENCE = 300  # s; a loaded machine flies slowly, and only what fails waits so long
# What a look may meet in between: an element drawn anew, a file not yet there.
BETWEEN = (WebDriverException, LookupError, OSError)


METER = """
[[meter]]
name = "club meter"
unit = "mph"
north = "true"
height = "2 m"
"""


class Desk:
    """A desk of a folder, really served; it may leave the flights unjudged."""

    def __init__(self, folder, *, judges=True):
        self.folder, run = folder, folder.with_name("run_desk.py")
        run.write_text(RUN.format(judges=judges), "utf-8")
        command = [sys.executable, str(run), "desk", str(folder), "--no-browser"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self.address = self.process.stdout.readline().split()[-1]

    def stop(self, how=signal.SIGTERM):
        """End it, and wait until it is gone."""
        self.process.send_signal(how)
        self.process.wait(PATIENCE)
        self.process.stdout.close()


@pytest.fixture
def empty(tmp_path):
    """The desk of a folder that is not there yet."""
    desk = Desk(tmp_path / "own")
    yield desk
    desk.stop()


@pytest.fixture
def unjudged(tmp_path):
    """Such a desk that only keeps the files."""
    desk = Desk(tmp_path / "own", judges=False)
    yield desk
    desk.stop()


@pytest.fixture(scope="module")
def demo_desk(tmp_path_factory):
    """A desk with the demo field and its flights; it judges nothing."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "flights").mkdir()
    shutil.copy(ROOT / "sites" / "saltgrass-flat.geojson", folder / "site.geojson")
    for name in ("willet.toml", "willet_motor.csv", "dunlin.toml"):
        shutil.copy(ROOT / "examples" / name, folder / "flights" / name)
    (folder / "day.toml").write_text(METER)
    desk = Desk(folder, judges=False)
    yield desk
    desk.stop()


def until(found, what):
    """Wait for something to be true, or say what never was."""
    end = time.monotonic() + PATIENCE
    met, pause = None, 0.05
    while time.monotonic() < end:
        try:
            if got := found():
                return got
        except BETWEEN as problem:
            met = problem
        time.sleep(pause)
        pause = min(1.2 * pause, 0.3)  # each look costs the browser some work
    raise AssertionError(f"waited in vain for {what}") from met


def room(browser, desk, name, **size):
    browser.open(f"{desk.address}#{name}", **size)
    until(lambda: stands(browser, name), f"the room {name!r}")


def stands(browser, name):
    """Tell whether a room is open and has all that it asked for."""
    code = "const c = document.querySelector('#rooms [aria-current]'); return c && c.dataset.room === arguments[0] && !document.querySelector('main[aria-busy]')"
    return browser.js(code, name)


NAMED = """((name, within) => {
  const room = [...document.querySelectorAll(`${within} section:not([hidden]), dialog[open]`)].pop() || document.querySelector(within);
  const labels = [...room.querySelectorAll('label')].filter(l => l.checkVisibility());
  const text = l => l.textContent.trim();
  const label = labels.find(l => text(l) === name) || labels.find(l => text(l).startsWith(name));
  return label && label.querySelector('input, select, textarea');
})"""


def labelled(browser, text, within="main"):
    """Find the field that a person would name so."""
    code = f"return {NAMED}(arguments[0], arguments[1])"
    return until(lambda: browser.js(code, text, within), f"the field {text!r}")


def button(browser, text):
    """Find the button that can be seen and says so."""
    code = """
      const room = document.querySelector('dialog[open]') || document;
      return [...room.querySelectorAll('button, a.button, summary')].find(b => b.checkVisibility() && !b.disabled && b.textContent.trim() === arguments[0]);
    """
    return until(lambda: browser.js(code, text), f"the button {text!r}")


WATCH = """
  arguments[0].scrollIntoView({block: 'center'});
  window.pressed = false;
  arguments[0].addEventListener('click', () => { window.pressed = true; }, {once: true, capture: true});
"""


def click(browser, text):
    """Press a button; again where it was drawn anew, or moved, under the press."""

    def clicked():
        found = button(browser, text)
        browser.js(WATCH, found)
        found.click()
        return browser.js("return window.pressed")

    until(clicked, f"a click on {text!r}")


PUT = """
  const [field, value] = arguments;
  field.scrollIntoView({block: 'center'});
  field.focus();
  if (field.tagName !== 'SELECT') { field.select(); return false; }
  [...field.options].find(o => o.text === value || o.value === value).selected = true;
  return field.dispatchEvent(new Event('change', {bubbles: true}));
"""


def put(browser, field, value):
    """Put a text into a field at once and leave it, or pick it: tell which.

    A key for each letter costs the browser thirty times as much: who comes by keys alone
    types.
    """
    picked = browser.js(PUT, field, value)
    if not picked:
        browser.cdp("Input.insertText", text=value)
        browser.js("document.activeElement.blur()")
    return picked


def fill(browser, label, value):
    """Fill in a field by its label; it may be drawn anew while it is saved."""

    def filled():
        if put(browser, labelled(browser, label), value):
            return True
        return labelled(browser, label).get_property("value") == value

    until(filled, f"{value!r} in {label!r}")


def problem(browser):
    return browser.find("#told").text


FIELD = (
    ("Name of the site", "Far Meadow"),
    ("Height of the pad", "300 ft"),
    ("Latitude of the pad", "41° 36' 14.4\" N"),
    ("Longitude of the pad", "117° 57' 7.2\" W"),
)
STRIP = (
    ("Bearings are", "true"),
    ("Long", "60 m"),
    ("Off the pad", "300 ft"),
    ("Bearing from the pad", "S"),
    ("Deep", "5 m"),
)
FLIGHT = (
    ("airframe.mass", "1.2 kg"),
    ("airframe.diameter", "54 mm"),
    ("airframe.length", "1.1 m"),
    ("motor.propellant_mass", "60 g"),
    ("motor.total_impulse", "90 N s"),
    ("motor.burn_time", "1.4 s"),
    ("recovery.0.name", "main"),
    ("recovery.0.diameter", "0.9 m"),
    ("recovery.0.opens_at", "apogee"),
    ("rail.length", "1.8 m"),
    ("rail.angle", "2 deg"),
)


def at(browser, path):
    """Find a field of the flight's form by its place in the file."""
    return until(lambda: browser.find(f'[data-at="{path}"]'), path)


def draw_field(browser, desk):
    """The whole field by forms: pad, boundary, waiver, a crowd line by tape."""
    for label, value in FIELD:
        fill(browser, label, value)
    click(browser, "Put the pad there")
    for role, radius in (("boundary", "3000 ft"), ("waiver", "0.5 mi")):
        fill(browser, "What", role)
        click(browser, "a circle")
        fill(browser, "Radius", radius)
        fill(browser, "Its centre off the pad", "0 m")
        click(browser, "Draw the circle")
    fill(browser, "Ceiling above the ground", "3000 ft")
    fill(browser, "What", "spectators")
    click(browser, "a strip")
    for label, value in STRIP:
        fill(browser, label, value)
    click(browser, "Draw the strip")
    until(lambda: len(features(desk)) == 4, "the four that were drawn")
    fill(browser, "People", "40")
    until(lambda: "whole" in browser.find(".missing").text, "a whole field")


def put_in(browser, path, value, file):
    """Type into a field of the flight's form until the file holds it."""

    def typed():
        put(browser, browser.find(f'[data-at="{path}"]'), value)
        end = time.monotonic() + 5
        while value not in (text := file.read_text("utf-8")) and time.monotonic() < end:
            time.sleep(0.02)
        return value in text

    until(typed, f"{value!r} at {path} in {file.name}")


def write_flight(browser, desk):
    click(browser, "A new flight")
    fill(browser, "Name of the rocket", "Own Rocket")
    click(browser, "Begin")
    (path,) = until(
        lambda: list((desk.folder / "flights").glob("*.toml")), "the file of the flight"
    )
    number = at(browser, "airframe.mass")
    number.send_keys("1.2", Keys.TAB)
    until(lambda: "1.2 of what?" in problem(browser), "that no unit is supposed")
    until(lambda: "Not taken yet" in browser.find("#flight-form .missing").text, "it")
    assert "mass" not in path.read_text("utf-8")
    for key, value in FLIGHT:
        put_in(browser, key, value, path)
        if key == "recovery.0.name":
            until(
                lambda: browser.find("#table-recovery h2").text == "main", "the device"
            )
            kind = '[data-at="recovery.0.kind"] option:nth-child(2)'
            until(lambda k=kind: browser.find(k).click() or True, "the canopy to pick")
            until(lambda: "canopy" in path.read_text("utf-8"), "its kind")
    until(
        lambda: "whole" in browser.find("#flight-form .missing").text, "a whole flight"
    )


@pytest.mark.slow  # each room is walked by itself too, and a word judged without a browser
@pytest.mark.usefixtures("no_map")  # of the command it is compared with
def test_a_stranger_comes_from_nothing_to_a_word_by_mouse(browser, empty):
    room(browser, empty, "day", width=1440)
    click(browser, "Next: draw the field")
    draw_field(browser, empty)
    click(browser, "Flight")
    write_flight(browser, empty)
    until(lambda: browser.find("#pic-side").get_attribute("src"), "the side view")
    click(browser, "Add to the day")
    until(lambda: "day's list" in problem(browser), "that it is on the day's list")
    click(browser, "Wind")
    fill(browser, "Speed", "4")
    fill(browser, "From", "200")
    click(browser, "Take this reading")  # of what meter, in what unit, from what north?
    for label, value in (
        ("What do you call it", "cups"),
        ("It shows", "knots"),
        ("Its directions are from", "true north"),
        ("Read how high", "2 m"),
    ):
        fill(browser, label, value)
    click(browser, "Use it")
    until(
        lambda: "4 kt from 200 at 2 m, by cups" in problem(browser),
        "that the reading is taken",
    )
    click(browser, "Day")
    row = "#list .flight:not(.unsure) .rest"
    until(lambda: "worked out for" in browser.find(row).text, "a word that counts")
    word = browser.find("#list .word strong").text.replace("\u2011", "-")
    reason = browser.find("#list .reason").text
    assert browser.complaints() == []
    asked = [u for u in browser.requests() if not u.startswith("blob:")]
    assert asked == []

    # The files are those of the commands, and the word is theirs.
    site = read_site(empty.folder / "site.geojson")
    assert (site.name, len(site.areas)) == ("Far Meadow", 1)
    assert site.latitude == pytest.approx(41.604, abs=1e-6)
    crowd = site.areas[0].shape
    assert crowd.area == pytest.approx(300, abs=1.0)
    assert -crowd.bounds[3] == pytest.approx(300 * 0.3048, abs=0.1)
    assert site.boundary.area == pytest.approx(3.1366 * 914.4**2, rel=1e-3)
    (path,) = (empty.folder / "flights").iterdir()
    flight = read_flight(path)
    assert flight.airframe.mass.value == 1.2
    (wind,) = (empty.folder / "winds").iterdir()
    given = ["assess", flight.source, "--site", site.source, "--wind", str(wind)]
    given += ["--samples", "600", "--out", str(empty.folder / "out"), "--json"]
    given += ["--when", datetime.now().astimezone().isoformat(timespec="minutes")]
    out = CliRunner().invoke(cli, given)
    assert json.loads(out.stdout)["verdict"].upper() == word, reason


# Where the focus is among all that Tab leads to, and where it is to go.
ALL = """[...(document.querySelector('dialog[open]') || document).querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex="0"]')]
    .filter(e => !e.disabled && e.tabIndex >= 0 && e.checkVisibility())"""
WAY = f"goal => {{ const all = {ALL}; return [all.indexOf(document.activeElement), all.indexOf(goal)]; }}"
NEAR = f"(goal, off) => {{ const all = {ALL}; all[all.indexOf(goal) + off].focus(); }}"
FAR = 8  # steps beyond which the way begins nearer


class Keyboard:
    """A person without a pointer: Tab until it is there, then type."""

    def __init__(self, browser):
        self.browser = browser

    def send(self, *keys):
        """Press keys, wherever the focus is; Alt, Shift and Control hold for those after."""
        chain = ActionChains(self.browser.driver, duration=0)
        held = [key for key in keys if key in {Keys.ALT, Keys.SHIFT, Keys.CONTROL}]
        for key in keys:
            (chain.key_down if key in held else chain.send_keys)(key)
        for key in held:
            chain.key_up(key)
        chain.perform()

    def to(self, wanted):
        """Go to what a script finds, by Tab alone; a drawing may change the way."""
        way = f"return ({WAY})({wanted})"
        until(lambda: self.browser.js(way)[1] >= 0, f"a way to {wanted[-60:]}")
        for _ in range(30):
            at, goal = self.browser.js(way)
            if at == goal >= 0:
                return
            back = () if goal > at else (Keys.SHIFT,)
            steps = abs(goal - at) or 1
            if steps > FAR:  # each of a hundred costs the browser some work
                self.browser.js(
                    f"({NEAR})({wanted}, arguments[0])", FAR if back else -FAR
                )
                steps = FAR
            self.send(*back, Keys.TAB * steps)
        raise AssertionError(f"no key leads to {wanted}")

    def fill(self, wanted, value, holds=None):
        """Type into what a script finds, until it holds it."""

        def filled():
            self.to(wanted)
            self.send(Keys.CONTROL, "a")
            self.send(value, Keys.TAB)
            if holds is None:
                return self.browser.js(f"return ({wanted}).value") == value
            end = time.monotonic() + 5
            while not holds() and time.monotonic() < end:
                time.sleep(0.02)
            return holds()

        until(filled, f"{value!r} in {wanted[-60:]}")

    def named(self, label, value):
        """Type into the field of a label."""
        self.fill(f"{NAMED}({json.dumps(label)}, 'main')", value)

    def press(self, text):
        """Go to a button and press it by Enter."""
        found = f"[...(document.querySelector('dialog[open]') || document).querySelectorAll('button, summary')].find(b => b.checkVisibility() && b.textContent.trim() === {text!r})"

        def pressed():
            self.to(found)
            self.browser.js(WATCH, self.browser.driver.switch_to.active_element)
            self.send(Keys.ENTER)
            return self.browser.js("return window.pressed")

        until(lambda: self.browser.js(f"return {found}"), f"the button {text!r}")
        until(pressed, f"a press of {text!r}")

    def type(self, selector, *keys):
        """Go to a field and type."""
        self.to(f"document.querySelector({selector!r})")
        self.send(*keys)


def listed(browser):
    return len(browser.driver.find_elements(By.CSS_SELECTOR, "#list li"))


@pytest.mark.long  # how wind, list and plans are worked by keys is tried at each change
def test_a_stranger_comes_from_nothing_to_the_list_by_keys_alone(browser, unjudged):
    desk = unjudged
    room(browser, desk, "day", width=820)
    keys = Keyboard(browser)
    keys.press("Next: draw the field")
    for label, value in FIELD:
        keys.named(label, value)
    keys.press("Put the pad there")
    keys.press("Draw where spectators stand")
    keys.press("a strip")
    for label, value in STRIP:
        keys.named(label, value)
    keys.press("Draw the strip")
    for needed, radius in (
        ("the boundary: land you may land on", "3000 ft"),
        ("the waiver: airspace you may fly in", "0.5 mi"),
    ):
        keys.press(f"Draw {needed}")
        keys.press("a circle")
        keys.named("Radius", radius)
        keys.named("Its centre off the pad", "0 m")
        keys.press("Draw the circle")
    until(lambda: len(features(desk)) == 4, "the four that were drawn")
    missing = browser.find(".missing")
    until(lambda: "the waiver's ceiling" in missing.text, "what is not told")
    assert all("ceiling" not in f["properties"] for f in features(desk))
    keys.named("Ceiling above the ground", "3000 ft")
    until(lambda: "whole" in missing.text, "a whole field")
    keys.press("Flight")
    keys.press("A new flight")
    keys.fill("document.querySelector('dialog input')", "Own Rocket")
    keys.press("Begin")
    (path,) = until(
        lambda: list((desk.folder / "flights").glob("*.toml")), "the flight's file"
    )
    for key, value in FLIGHT:
        keys.fill(
            f"document.querySelector('[data-at=\"{key}\"]')",
            value,
            lambda v=value: v in path.read_text("utf-8"),
        )
        if key == "recovery.0.name":
            kind = "document.querySelector('[data-at=\"recovery.0.kind\"]')"
            keys.fill(kind, "canopy", lambda: "canopy" in path.read_text("utf-8"))
    keys.press("Add to the day")
    keys.press("Wind")
    keys.named("Speed", "4")
    keys.to(f"{NAMED}('From', 'main')")
    keys.send("200", Keys.ENTER)
    for label, value in (("name", "cups"), ("unit", "k"), ("north", "t")):
        keys.type(f"dialog [name={label}]", value)
    keys.type("dialog [name=height]", "2 m", Keys.ENTER)
    until(
        lambda: "4 kt from 200 at 2 m" in problem(browser), "that the reading is taken"
    )
    keys.press("Day")
    until(lambda: browser.find("#list .flight strong").text == "HOLD", "its word")
    now = "#wind-now"
    until(lambda: "5 mph from 200" in browser.find(now).text, "the wind in the head")
    assert browser.complaints() == []


def test_the_wind_is_read_and_the_list_ordered_by_keys_alone(browser, demo_desk):
    room(browser, demo_desk, "day")
    keys = Keyboard(browser)
    keys.press("Add to the day")
    until(lambda: listed(browser) == 1, "the first of the list")
    keys.type("#add-file", Keys.ARROW_DOWN)
    keys.press("Add to the day")
    until(lambda: listed(browser) == 2, "the second of the list")
    second = browser.find("#list li:nth-child(2) bdi").text
    keys.press("Wind")
    keys.type("#speed", "5")
    keys.type("#from", "E", Keys.ENTER)
    until(lambda: "Taken" in problem(browser), "that the reading is taken")
    until(lambda: "5 mph" in browser.find("#wind-now").text, "the wind in the head")
    assert browser.find("#from").get_property("value") == ""  # nothing fills the next
    keys.press("Day")
    keys.to("document.querySelector('#list li:nth-child(2) button')")
    keys.send(Keys.ALT, Keys.ARROW_UP)
    until(
        lambda: browser.find("#list li:first-child bdi").text == second, "the new order"
    )
    focus = browser.js("return document.activeElement.closest('li') !== null")
    assert focus  # the keys stay where they were
    # The field's map, too: a corner at the cross by Enter.
    keys.press("Field")
    until(lambda: browser.find(".ground path.area"), "the map")
    keys.type("#role", "w")
    keys.press("by corners")
    for move in (Keys.ARROW_UP, Keys.ARROW_RIGHT, Keys.ARROW_DOWN):
        keys.send(Keys.ENTER, move)
    until(lambda: "3 corners" in browser.find(".told").text, "three corners")
    keys.press("Leave")


TAP = """
  const box = document.querySelector('.ground').getBoundingClientRect();
  return [box.left + box.width * arguments[0], box.top + box.height * arguments[1]];
"""


def touch(browser, across, down, *to):
    """Put a finger on the map, and draw it elsewhere."""
    x, y = browser.js(TAP, across, down)
    spot = {"x": x, "y": y}
    browser.cdp("Input.dispatchTouchEvent", type="touchStart", touchPoints=[spot])
    for a, b in to:
        x, y = browser.js(TAP, a, b)
        spot = {"x": x, "y": y}
        browser.cdp("Input.dispatchTouchEvent", type="touchMove", touchPoints=[spot])
    browser.cdp("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])


def press(browser, across, down):
    """Press the mouse's button on the map."""
    x, y = browser.js(TAP, across, down)
    told = {"x": x, "y": y, "button": "left", "clickCount": 1}
    for kind in ("mousePressed", "mouseReleased"):
        browser.cdp("Input.dispatchMouseEvent", type=kind, **told)


def features(desk):
    return json.loads((desk.folder / "site.geojson").read_text("utf-8"))["features"]


@pytest.mark.slow  # the survey is drawn too, by mouse
def test_a_field_is_drawn_by_touch_on_a_phone(browser, unjudged):
    room(browser, unjudged, "field", width=360, height=740)
    browser.cdp("Emulation.setTouchEmulationEnabled", enabled=True)
    try:
        for label, value in FIELD:
            fill(browser, label, value)
        click(browser, "Put the pad there")
        until((unjudged.folder / "site.geojson").exists, "the site's file")
        fill(browser, "What", "camp")
        click(browser, "by corners")
        ground = browser.find(".ground")
        browser.js("arguments[0].scrollIntoView({block: 'center'})", ground)
        corners = [(0.2, 0.2), (0.8, 0.8), (0.8, 0.2), (0.2, 0.8)]
        for corner in corners:
            touch(browser, *corner)
        # Said at once, where it happens.
        until(lambda: "cross" in browser.find(".told.bad").text, "that sides cross")
        click(browser, "Take one back")
        browser.js("arguments[0].scrollIntoView({block: 'center'})", ground)
        touch(browser, 0.2, 0.2)  # back at the first corner: the area is closed
        until(lambda: len(features(unjudged)) == 2, "the closed area")
        (ring,) = features(unjudged)[1]["geometry"]["coordinates"]
        assert len(ring) == 4
        # A corner is drawn elsewhere, and undo brings it back.
        before = features(unjudged)
        browser.js("arguments[0].scrollIntoView({block: 'center'})", ground)
        touch(browser, 0.8, 0.8, (0.85, 0.7), (0.9, 0.6))
        until(lambda: features(unjudged) != before, "the corner moved")
        click(browser, "Undo")
        until(lambda: features(unjudged) == before, "it undone")
        # The ruler.
        click(browser, "Ruler")
        browser.js("arguments[0].scrollIntoView({block: 'center'})", ground)
        touch(browser, 0.3, 0.5)
        touch(browser, 0.7, 0.5)
        until(lambda: "90° true" in browser.find(".told").text, "what is measured")
        click(browser, "Leave")
    finally:
        browser.cdp("Emulation.setTouchEmulationEnabled", enabled=False)
    assert browser.complaints() == []


@pytest.mark.slow  # one more way to change a drawing
def test_an_area_is_split_by_two_taps(browser, demo_desk):
    room(browser, demo_desk, "field", width=1440)
    until(lambda: browser.find(".ground path.area"), "the map")
    before = features(demo_desk)
    click(browser, "People")
    count = next(i for i, f in enumerate(before) if f["properties"]["role"] == "camp")
    browser.js(f"document.querySelector('[data-of=\"{count}\"] summary').click()")
    button(browser, "Split it")
    ring = browser.js(
        "const b = document.querySelector('.ground path.area.on').getBoundingClientRect(),"
        "g = document.querySelector('.ground').getBoundingClientRect();"
        "return [(b.left + b.width / 2 - g.left) / g.width, (b.top - 9 - g.top) / g.height, (b.bottom + 9 - g.top) / g.height]"
    )
    click(browser, "Split it")
    for down in ring[1:]:
        press(browser, ring[0], down)
    until(lambda: len(features(demo_desk)) == len(before) + 1, "two areas")
    camps = [f for f in features(demo_desk) if f["properties"]["role"] == "camp"]
    assert [("people" in f["properties"]) for f in camps] == [True, False]
    click(browser, "Undo")
    until(lambda: features(demo_desk) == before, "it undone")


def test_what_the_field_cannot_read_is_said_while_other_parts_miss(browser, unjudged):
    room(browser, unjudged, "field")
    fill(browser, "Height of the pad", "banana")
    fill(browser, "Rules that hold here", "several, or a file of your own")
    words = '[data-at="rules"]'  # drawn anew when what was told before is kept
    until(lambda: put(browser, browser.find(words), "Narnia") or True, "the words")

    def said():
        text = browser.find(".missing").text
        needed = ("a pad", "the height of the pad above the sea")
        return all(t in text for t in ('"banana" is no', '"Narnia" is no', *needed))

    until(said, "both, beside what is needed")


PASTE = "Paste or drop a report, a bulletin, a record, any file of winds"
FORMS = {
    "a reading": (
        "wind",
        ((("Speed", "nine"), "Take this reading"), "no speed"),
        ((("Speed", "9"), "Take this reading"), "From where?"),
        ((("From", "400"), "Take this reading"), "400"),
        ((("From", "80"), ("Gust", "big"), "Take this reading"), "big"),
    ),
    "the pad": (
        "field",
        (
            ("Site and pad", ("Latitude of the pad", "95"), "Put the pad there"),
            "latitude",
        ),
        ((("Longitude of the pad", "200"), "Put the pad there"), "no longitude"),
    ),
    "a circle": (
        "field",
        (("a circle", ("Radius", "300 ft"), "Draw the circle"), "What is it?"),
        (
            (("What", "camp"), ("Radius", "300 ft"), "Draw the circle"),
            "type how far, 0 m where it is the pad",
        ),
        (
            (
                ("Its centre off the pad", "0 m"),
                ("Radius", "100"),
                "Draw the circle",
            ),
            "write such as 300 ft",
        ),
    ),
    "tape and compass": (
        "field",
        (
            (
                *(("What", "camp"), "by tape and compass"),
                *(("A corner in each line", "300 ft, 20"), "Draw it"),
            ),
            "true or magnetic?",
        ),
        (
            (
                ("Bearings are", "true"),
                *(("A corner in each line", "300 ft 225\nfar 20"), "Draw it"),
            ),
            "Line 2",
        ),
        ((("A corner in each line", "300 ft 225"), "Draw it"), "three"),
    ),
    "a strip": (
        "field",
        (
            (
                *(("What", "camp"), ("Bearings are", "true"), "a strip"),
                *((label, "9 m") for label in ("Long", "Off the pad", "Deep")),
                *(("Bearing from the pad", "370"), "Draw the strip"),
            ),
            "bearing",
        ),
    ),
    "a text": (
        "wind",
        ((PASTE, ("Its text", "breezy"), "Let it count"), "breezy"),
        (
            (("Its text", "5 mph from 80"), ("Read at", "25:99"), "Let it count"),
            "accepted is 14:05",
        ),
    ),
    # Nothing is supposed that nobody chose.
    "a balloon": (
        "wind",
        (
            ("Angles of a pilot balloon", ("Released at", "08:10"), "Let it count"),
            "true or magnetic?",
        ),
        (
            (
                *(("Bearings are", "true"), ("Released at", "eight+00:00")),
                "Let it count",
            ),
            "accepted is such as 2026",
        ),
    ),
    "a file": (
        "flight",
        (("The file itself", ("textarea", "mass = ["), "Write it"), "TOML"),
    ),
}

# They tell what they cannot take as the others of their room do.
MORE_FORMS = {"a circle", "tape and compass", "a strip", "a text", "a balloon"}

TOLD = "return [...document.querySelectorAll('#told, .told')].map(e => e.textContent).join(' ')"


@pytest.mark.parametrize(
    "form",
    [
        pytest.param(
            form, id=name, marks=pytest.mark.slow if name in MORE_FORMS else ()
        )
        for name, form in FORMS.items()
    ],
)
def test_no_form_takes_what_is_none_of_its_kind(browser, demo_desk, form):
    """It is said, it stays to be mended, and nothing is written."""
    name, *tries = form
    room(browser, demo_desk, name)  # what another test took back is gone by then
    before = {p: p.read_bytes() for p in demo_desk.folder.rglob("*.*") if p.is_file()}
    for steps, said in tries:
        assert said not in browser.js(TOLD)
        for step in steps:
            if isinstance(step, str):
                click(browser, step)
            elif step[0] == "textarea":
                area = until(lambda: browser.find("#flight-form textarea"), "the file")
                browser.js("arguments[0].value = arguments[1]", area, step[1])
            else:
                fill(browser, *step)
        until(lambda said=said: said in browser.js(TOLD), said)
        label, value = steps[-2]
        if label != "textarea":
            assert labelled(browser, label).get_attribute("value") == value
    after = {p: p.read_bytes() for p in demo_desk.folder.rglob("*.*") if p.is_file()}
    assert after == before


def test_a_wrong_value_of_a_flight_is_shown_at_its_field(browser, demo_desk):
    room(browser, demo_desk, "flight")
    at(browser, "airframe.diameter")
    path = demo_desk.folder / "flights" / "dunlin.toml"
    before = path.read_text("utf-8")
    put_in(browser, "airframe.diameter", "57 furlongs", path)
    until(lambda: "furlongs" in browser.find("#flight-form .missing").text, "the fault")
    assert "Diameter" in browser.find(".field-of.wrong").text
    while (now := path.read_text("utf-8")) != before:
        click(browser, "Undo")
        until(lambda n=now: path.read_text("utf-8") != n, "a step back")
    until(
        lambda: "can be judged" in browser.find("#flight-form .missing").text,
        "it mended",
    )


@pytest.mark.slow  # as a wrong value at its field
def test_a_fault_of_a_row_stands_at_its_row_however_deep(browser, demo_desk):
    """One in a device of another way down, one in a fin, and a key that is none."""
    path = demo_desk.folder / "flights" / "willet.toml"
    before = path.read_text("utf-8")
    wrong = before.replace('kind = "fin"', 'kind = "fin"\nwings = 3\ncount = 900', 1)
    other = '\n[[alternative]]\nname = "small (blue)"\n[[alternative.recovery]]\nname = "b"\nkind = "canopy"\nopens_at = "apogee"\ndiameter = "3 parsec"\n'
    put_back(path, wrong.replace("\ncount = 3\n", "\n", 1) + other)
    room(browser, demo_desk, "flight")
    fill(browser, "Flight", "Willet 54")
    until(lambda: browser.find(".field-of.wrong"), "the faults")
    at_row = """return Object.fromEntries([...document.querySelectorAll('.field-of.wrong')].map(
        e => [e.querySelector('[data-at]').dataset.at, e.querySelector('.warning').textContent]))"""
    shown = browser.js(at_row)
    assert "parsec" in shown["alternative.0.recovery.0.diameter"]
    assert "900" in shown["piece.0.count"]
    told = browser.js("return document.querySelector('#table-piece .one').textContent")
    assert "wings is not a key here" in told
    click(browser, "Go to it")
    seen = "const b = document.activeElement.getBoundingClientRect(); return [document.activeElement.dataset.at, b.top > 0 && b.bottom < innerHeight]"
    assert browser.js(seen)[1]
    put_back(path, before)


def test_a_plan_is_begun_by_keys_stopped_and_told(browser, demo_desk):
    room(browser, demo_desk, "wind", width=360, height=740)
    fill(browser, "Speed", "4")
    fill(browser, "From", "200")
    click(browser, "Take this reading")
    until(lambda: "Taken" in problem(browser), "that it is taken")
    keys = Keyboard(browser)
    keys.press("Flight")
    keys.press("Compare")
    until(lambda: browser.find("[data-work=compare] button"), "the form")
    keys.press("Work it out")
    until(lambda: "driftmap compare flights/" in browser.find("#plan-now").text, "it")
    keys.press("Stop it")
    until(lambda: "stopped" in browser.find("#plan-now").text, "its end")
    assert browser.js("return document.documentElement.scrollWidth") <= 360
    assert browser.barriers() == []
    assert browser.js(CONTRAST) == []
    assert browser.complaints() == []


@pytest.mark.slow  # runs two commands; what they tell is looked at without a browser too
def test_what_a_plan_refuses_and_finds_is_told(browser, demo_desk):
    room(browser, demo_desk, "wind", width=360, height=740)
    browser.find("#speed").send_keys("5")
    browser.find("#from").send_keys("E", Keys.ENTER)
    until(lambda: "Taken" in problem(browser), "that the reading is taken")
    click(browser, "Plan")
    click(browser, "A quick sum: where one body lands")
    for label, value in (("From", "900 m"), ("Its mass", "1 kg"), ("Drag area", "x")):
        fill(browser, label, value)
    press = "[...document.querySelectorAll('[data-work=drop] button')].pop().click()"
    browser.js(press)
    until(lambda: "'x'" in browser.find("#plan-now .warning").text, "what it is not")
    fill(browser, "Drag area", "0.5 m2")
    browser.js(press)
    until(lambda: "Lands" in browser.find("#plans-done pre").text, "where it lands")
    assert browser.barriers() == []
    assert browser.js(CONTRAST) == []
    assert browser.complaints() == []


@pytest.mark.slow  # as what another window changes
def test_what_a_command_changes_is_seen_at_once(browser, demo_desk):
    room(browser, demo_desk, "field")
    until(lambda: browser.find(".ground path.area"), "the map")
    path = demo_desk.folder / "site.geojson"
    text = path.read_text("utf-8")
    put_back(path, text.replace("Saltgrass Road", "The New Road"))
    until(lambda: "The New Road" in browser.find(".features").text, "the new name")
    put_back(path, text)
    until(lambda: "Saltgrass Road" in browser.find(".features").text, "the old name")


A_GO = """
  // A go as the desk would tell it, good for a quarter of an hour.
  const real = window.fetch;
  window.fetch = async (...given) => {
    const answer = await real(...given);
    if (!String(given[0]).includes('state')) return answer;
    const told = await answer.json();
    for (const item of told.items) Object.assign(item, {word: 'go', sure: true, reason: 'All checks are within limits', good_for: 900});
    return new Response(JSON.stringify(told), {headers: {'Content-Type': 'application/json'}});
  };
"""


HURRY = """
  // Five seconds in one, by both clocks and for all that is waited for.
  const [one, many, wall, limit] = [setTimeout, setInterval, Date.now, AbortSignal.timeout];
  const steady = performance.now.bind(performance), quick = clock => { const from = clock(); return () => from + 5 * (clock() - from); };
  window.setTimeout = (then, ms = 0, ...more) => one(then, ms / 5, ...more);
  window.setInterval = (then, ms = 0, ...more) => many(then, ms / 5, ...more);
  AbortSignal.timeout = ms => limit.call(AbortSignal, ms / 5);
  Date.now = quick(wall);
  performance.now = quick(steady);
"""


# What does not show whole in letters of twice the size: a number cut short reads as another.
CUT = """
  const [page, body] = [document.documentElement.style, document.body.style], pen = document.createElement('canvas').getContext('2d');
  page.fontSize = '32px'; body.fontSize = '34px';
  const cut = [...document.querySelectorAll('input[inputmode], select')].filter(e => {
    const s = getComputedStyle(e), text = e.value && (e.selectedOptions?.[0].text ?? e.value);
    pen.font = s.font;
    const words = s.whiteSpace === 'normal' && e.matches('select') ? text.split(' ') : [text];
    return e.offsetParent && words.some(word => pen.measureText(word).width > e.clientWidth - parseFloat(s.paddingLeft) - parseFloat(s.paddingRight));
  }).map(e => e.outerHTML.slice(0, 200));
  page.fontSize = body.fontSize = '';
  return cut;
"""


# Names of the drawing that lie on its scale, or on each other.
HIDDEN = """
  const boxes = s => [...document.querySelectorAll(s)].map(e => [e.textContent, e.getBoundingClientRect()]);
  const names = boxes('svg text.name'), meets = (a, b) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1;
  if (!names.length) return ['no name is drawn'];
  return names.flatMap(([name, box], i) => [...boxes('svg .scale text'), ...names.slice(i + 1)].filter(([, other]) => meets(box, other)).map(([other]) => `${name} / ${other}`));
"""


@pytest.mark.parametrize(
    "widths", [(360,), pytest.param((320, 820, 1440), marks=pytest.mark.slow)]
)
def test_every_room_fits_and_its_names_are_told(browser, demo_desk, widths):
    room(browser, demo_desk, "day", width=widths[0], dark=True)
    if not listed(browser):
        click(browser, "Add to the day")
        until(lambda: listed(browser), "the flight on the list")
    browser.js(A_GO)
    until(lambda: "Good for" in browser.find("#list .left").text, "a go")
    for name in ("Day", "Wind", "Flight", "Field", "Plan", "Show"):
        click(browser, name)
        until(lambda n=name: stands(browser, n.lower()), name)
        for width in widths:
            browser.size(width)
            assert browser.js("return document.documentElement.scrollWidth") <= width
            if width in {360, 1440}:
                assert browser.js(CONTRAST) == [], name
            if width == 360:
                assert browser.barriers() == [], name
            small = browser.js(
                "return [...document.querySelectorAll('button, .button, select, input, summary')]"
                ".filter(e => e.offsetParent && e.type !== 'checkbox' && e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML)"
            )
            assert small == []
            if width == 320:
                assert browser.js(CUT) == [], name
            if name == "Field":
                assert browser.js(HIDDEN) == [], width
    assert browser.complaints() == []


def test_the_survey_gives_a_site_that_the_commands_read(browser, tmp_path):
    made = CliRunner().invoke(cli, ["survey", "--out", str(tmp_path)])
    assert (tmp_path / "survey.html").exists(), made.output + repr(made.exception)
    browser.cdp(
        "Page.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path)
    )
    browser.open(tmp_path / "survey.html", width=360, height=740)
    browser.js("localStorage.clear(); location.reload()")
    for label, value in FIELD:
        fill(browser, label, value)
    click(browser, "Put the pad there")
    for role, radius in (
        ("boundary", "900 m"),
        ("waiver", "0.5 mi"),
        ("spectators", "10 m"),
    ):
        fill(browser, "What", role)
        click(browser, "a circle")
        fill(browser, "Radius", radius)
        # A comma parts thousands, as the command line has it.
        far = "1,200 ft" if role == "spectators" else "0 m"
        fill(browser, "Its centre off the pad", far)
        if role == "spectators":
            fill(browser, "Bearings are", "true")
            fill(browser, "at bearing", "247.5")
        click(browser, "Draw the circle")
        if role == "waiver":
            fill(browser, "Ceiling above the ground", "900 m")
    browser.driver.refresh()  # what was drawn is on the phone
    until(lambda: "4" in browser.find(".features h2").text, "the four that were drawn")
    click(browser, "Take the file")
    until((tmp_path / "site.geojson").exists, "the file that was taken")
    site = read_site(tmp_path / "site.geojson")
    east, north = site.areas[0].shape.centroid.coords[0]
    assert east == pytest.approx(-337.92, abs=0.2)
    assert north == pytest.approx(-139.97, abs=0.2)
    assert browser.complaints() == []
    assert browser.requests() == []


def lonlat(east, north):
    """A position so many thousandths of a degree from the pad's."""
    return [round(-117.952 + east / 1000, 7), round(41.604 + north / 1000, 7)]


pairs = partial(zip, strict=True)


def square(size, east=0.0, north=0.0):
    sides = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    return [lonlat(east + x * size, north + y * size) for x, y in sides]


def drawn(role, kind, coordinates):
    return {
        "type": "Feature",
        "properties": {"role": role, "name": role.capitalize()},
        "geometry": {"type": kind, "coordinates": coordinates},
    }


@pytest.mark.slow  # one more way to change a drawing
def test_what_is_moved_keeps_its_holes_and_its_parts(browser, tmp_path):
    """A neighbour's field inside the land stays his, and the pad that is moved is the one meant."""
    CliRunner().invoke(cli, ["survey", "--out", str(tmp_path)])
    hole = square(1, 2, 2)[::-1]
    site = [
        drawn("pad", "Point", lonlat(0, 0)),
        drawn("boundary", "Polygon", [square(6), hole]),
        drawn("parking", "MultiPolygon", [[square(1, -4, 0)], [square(1, -4, -4)]]),
        {
            **drawn("pad", "Point", lonlat(-2, 3)),
            "properties": {"role": "pad", "name": "B"},
        },
    ]
    whole = {"type": "FeatureCollection", "name": "", "features": site}
    kept = json.dumps({"site": whole, "before": [], "after": [], "system": "si"})
    browser.open(tmp_path / "survey.html", width=1200, height=900)
    browser.js("localStorage.setItem('driftmap survey', arguments[0])", kept)
    browser.driver.refresh()
    until(lambda: "4" in browser.find(".features h2").text, "what was drawn")
    click(browser, "All")

    def places():
        told = json.loads(browser.js("return localStorage['driftmap survey']"))
        return [f["geometry"]["coordinates"] for f in told["site"]["features"]]

    def drag(number, spot):
        before = places()
        browser.js(f"document.querySelector('[data-of=\"{number}\"] summary').click()")
        if spot == ".area.on":
            click(browser, "Move it")
        box = """arguments[0].scrollIntoView({block: 'center'});
          const e = arguments[0].getBoundingClientRect(); return [e.left + e.width / 2, e.top + e.height / 2];"""
        x, y = until(lambda: browser.js(box, browser.find(f".ground {spot}")), "a hold")
        for kind, far in (
            ("Pressed", 0),
            ("Moved", 20),
            ("Moved", 40),
            ("Released", 40),
        ):
            told = {"x": x - far, "y": y, "button": "left", "clickCount": 1}
            browser.cdp("Input.dispatchMouseEvent", type=f"mouse{kind}", **told)
        until(lambda: places() != before, "what was moved")
        return before, places()

    before, after = drag(1, '[data-corner="0"]')
    assert after[1][0] != before[1][0]
    assert after[1][1] == before[1][1]
    before, after = drag(2, ".area.on")
    assert [len(part) for part in after[2]] == [1, 1]
    assert all(a[0][0][0] < b[0][0][0] for a, b in pairs(after[2], before[2]))
    before, after = drag(3, '[data-corner="0"]')
    assert [a == b for a, b in pairs(after, before)] == [True, True, True, False]
    assert browser.complaints() == []


def test_a_silent_desk_leaves_no_go_standing(browser, tmp_path):
    """The page alone, its desk gone: every word turns to hold and says why."""
    flights = tmp_path / "own" / "flights"
    flights.mkdir(parents=True)
    shutil.copy(ROOT / "examples" / "dunlin.toml", flights)
    desk = Desk(tmp_path / "own", judges=False)
    try:
        room(browser, desk, "day")
        click(browser, "Add to the day")
        until(lambda: browser.find("#list li"), "the flight on the list")
        browser.js(HURRY + A_GO)
        until(lambda: "Good for" in browser.find("#list .left").text, "a go")
        assert browser.find("#list strong").text == "GO"
        # It hangs with its connections open, which is worse than being gone.
        desk.process.send_signal(signal.SIGSTOP)
        until(lambda: browser.find("#list strong").text == "HOLD", "hold")
        assert "does not answer" in browser.find("#list .reason").text
        assert "nothing may go" in browser.find("#step").text
        assert browser.find("#list .left").text == ""
        click(browser, "Show")
        until(
            lambda: browser.find("#crowd strong").text == "HOLD", "hold for the crowd"
        )
        assert "Valid until" not in browser.find("#crowd").text
        # What answers again is believed again.
        desk.process.send_signal(signal.SIGCONT)
        until(lambda: browser.find("#crowd strong").text == "GO", "the word again")
        assert "Valid until" in browser.find("#crowd").text
        desk.process.send_signal(signal.SIGSTOP)
        browser.js("const now = Date.now; Date.now = () => now() + 20000;")
        until(lambda: browser.find("#crowd strong").text == "HOLD", "hold once more")
        assert "does not answer" in problem(browser)
        # A phone that only reads: it goes out of reach, or sleeps, while it shows a go.
        desk.process.send_signal(signal.SIGCONT)
        let = """fetch('readers', {method: 'POST', body: '{"on": true}', headers:
          {'X-Desk': '1', 'Content-Type': 'application/json'}})"""
        told = browser.driver.execute_async_script(
            f"{let}.then(a => a.json()).then(arguments[0])"
        )
        browser.driver.get(re.sub(r"//[\d.]+:", "//127.0.0.1:", told["address"]))
        browser.js(A_GO)
        until(lambda: browser.find("#list strong").text == "GO", "a go on the phone")
        assert "Good for 15" in browser.find("#list").text
        browser.js("""
          window.fetch = () => new Promise(() => {});
          const now = Date.now;
          Date.now = () => now() + 20000;
        """)
        until(lambda: browser.find("#list strong").text == "HOLD", "hold on the phone")
        assert "does not answer" in browser.find("#list .reason").text
        # A map that stays open has the desk's word of now about it.
        item = re.search(r'id = "(\w+)"', (desk.folder / "day.toml").read_text())[1]
        browser.driver.get(f"{desk.address}page/map/{item}")
        until(lambda: "says HOLD now: No field" in problem(browser), "the word of now")
        # A go of another wind than the page was drawn of is not the page's.
        browser.js(
            """
          window.of = "new";
          const row = () => ({id: arguments[0], state: "waiting", word: "go", good_for: 500, of});
          const fetched = window.fetch;
          window.fetch = async (...asked) => of ? new Response(JSON.stringify({items: [row()]})) : fetched(...asked);
          document.querySelector("iframe").contentDocument.head.innerHTML += '<meta name="drawn-of" content="old">';
        """,
            item,
        )
        until(lambda: "of another wind" in problem(browser), "an older wind's page")
        browser.js("window.of = 'old'")
        until(lambda: not problem(browser), "the page of the word")
        desk.process.send_signal(signal.SIGSTOP)
        browser.js(
            "window.of = ''; const now = Date.now; Date.now = () => now() + 20000;"
        )
        until(lambda: "does not answer" in problem(browser), "silence over a map")
    finally:
        desk.stop(signal.SIGKILL)


@pytest.mark.parametrize(
    ("press", "stands"),
    [
        ("Keep what I drew", "Mine"),
        pytest.param("Leave it", "Theirs", marks=pytest.mark.slow),
    ],
)
def test_two_windows_on_one_field_lose_no_drawing(browser, demo_desk, press, stands):
    path = demo_desk.folder / "site.geojson"
    before = path.read_text("utf-8")
    room(browser, demo_desk, "field")
    until(lambda: browser.find(".ground path.area"), "the map")
    # Another window saves, and this one before it can have seen that.
    browser.js("""
      const ask = (body) => { const r = new XMLHttpRequest(); r.open(body ? 'PUT' : 'GET', 'site', false); r.setRequestHeader('X-Desk', '1'); r.setRequestHeader('Content-Type', 'application/json'); r.send(body && JSON.stringify(body)); return JSON.parse(r.responseText); };
      const told = ask(), site = JSON.parse(told.text);
      ask({site: {...site, name: 'Theirs'}, base: told.revision});
      const field = document.querySelector('[data-at="Name of the site"]');
      field.value = 'Mine';
      field.dispatchEvent(new Event('change'));
    """)
    until(
        lambda: (
            browser.find("dialog[open] h2").text == "The field was changed elsewhere"
        ),
        "the conflict",
    )
    click(browser, press)
    until(lambda: named(browser, path) == (stands, stands), stands)
    other = {"Mine": "Theirs", "Theirs": "Mine"}[stands]
    click(browser, "Undo" if stands == "Mine" else "Redo")
    until(lambda: named(browser, path) == (other, other), other)
    put_back(path, before)


def named(browser, path):
    """Give the name of the field as the page has it, and as the file has it."""
    shown = browser.find('[data-at="Name of the site"]').get_property("value")
    return shown, json.loads(path.read_text("utf-8"))["name"]


def put_back(path, text):
    """Put a file in its place whole, as a good program would: a desk may be reading it."""
    new = path.with_suffix(".new")
    new.write_text(text, "utf-8")
    new.replace(path)


@pytest.mark.slow  # how it is laid is tried without a browser
def test_a_picture_is_laid_by_three_places_tapped_in_both(browser, demo_desk, tmp_path):
    from PIL import Image

    path = demo_desk.folder / "site.geojson"
    before = path.read_text("utf-8")
    Image.new("RGB", (600, 600), "#486").save(tmp_path / "above.png")
    room(browser, demo_desk, "field", width=1440)
    until(lambda: browser.find(".ground path.area"), "the map")
    click(browser, "A picture under the map")
    chooser = "input[type=file][aria-label='A picture of the ground']"
    browser.find(chooser).send_keys(str(tmp_path / "above.png"))
    for across, down in ((0.1, 0.1), (0.9, 0.1), (0.1, 0.9)):
        until(lambda: browser.find("img.tie").rect["height"] > 50, "the picture")
        image = browser.find("img.tie")
        browser.js("arguments[0].scrollIntoView({block: 'center'})", image)
        browser.js(
            "const b = arguments[0].getBoundingClientRect();"
            "arguments[0].dispatchEvent(new MouseEvent('click', {clientX: b.left + arguments[1] * b.width, clientY: b.top + arguments[2] * b.height}))",
            *(image, across, down),
        )
        until(lambda: "same place" in browser.find(".told").text, "what to tap next")
        ground = browser.find(".ground")
        browser.js("arguments[0].scrollIntoView({block: 'center'})", ground)
        # A square picture onto a square of the map.
        w, h = browser.js(
            "return [arguments[0].clientWidth, arguments[0].clientHeight]", ground
        )
        press(browser, 0.5 + (across - 0.5) * h / w, down)
    until(lambda: '"picture"' in path.read_text("utf-8"), "the picture in the site")
    until(
        lambda: browser.find("image.beneath").get_attribute("transform"),
        "it on the map",
    )
    assert browser.complaints() == []
    put_back(path, before)


@pytest.mark.slow  # one more reading typed
def test_a_wind_that_counts_is_no_longer_called_new(browser, demo_desk):
    room(browser, demo_desk, "wind")
    click(browser, PASTE)
    fill(browser, "Its text", "6 mph from 80")
    click(browser, "What does it say?")
    until(lambda: "not counting yet" in browser.find("#new").text, "what it says")
    click(browser, "Let it count")
    until(lambda: "Taken" in problem(browser), "that it is taken")
    until(lambda: "6 mph" in browser.find("#old").text, "it under what counts")
    assert not browser.find("#new").is_displayed()
    # A picture of dark lines keeps its white ground where a reader chose the colours.
    forced = {"name": "forced-colors", "value": "active"}
    browser.cdp("Emulation.setEmulatedMedia", features=[forced])
    ground = (
        "return getComputedStyle(document.querySelector('#old img')).backgroundColor"
    )
    assert browser.js(ground) == "rgb(255, 255, 255)"
    browser.cdp("Emulation.setEmulatedMedia", features=[])
