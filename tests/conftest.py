"""Fixtures that several kinds of test share: the demo assessment and a real browser."""

import dataclasses
import gc
import hashlib
import json
import os
import shutil
import sys
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache, partial
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import settings

# As the command line does: the algebra library's own threads, which wait for each other at
# full speed, made a quarter of the suite's work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# A hundred processes start here: what one has compiled, the others read.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

from once import Once, air

from driftmap.core.units import MILE_PER_HOUR
from driftmap.ground.site import read_site
from driftmap.hazard import outlines, zones
from driftmap.montecarlo import cloud, flying, launch
from driftmap.planning.assumed_winds import Supposition
from driftmap.planning.dial import compute_dial
from driftmap.planning.dial_reach import Reach
from driftmap.report import map as map_page
from driftmap.rocket import altimeter_fit
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.answers import answers_to
from driftmap.rules.occasion import Occasion
from driftmap.rules.reading import picked_rules
from driftmap.verdict import (
    assessment,
    consequence_checks,
    limits,
    reading_value,
    rule_checks,
)
from driftmap.verdict.assessment import assess
from driftmap.verdict.setup import Setup
from driftmap.winds.profile import read_wind

# How long one example takes is a matter of what else the machine does; what a change must
# pass is the same hundred for every change, and each call by hand seeks forty new ones.
CI = os.environ.get("CI") == "true"
settings.register_profile(
    "driftmap", deadline=None, derandomize=CI, max_examples=100 if CI else 40
)
settings.load_profile("driftmap")
sys.dont_write_bytecode = False

ROOT = Path(__file__).parents[1]
CHROMIUM, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"
SWITCHES = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--no-zygote",  # a twentieth less work
    # No name is ever looked up: a page that needs the network fails as in a field. The desk
    # is this machine.
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
)


# Thousands of tests that stay are no rubbish to be looked for again and again.
gc.set_threshold(20_000, 50, 50)

KEPT_FLIGHTS = 100_000  # of blocks flown; some 1 kB each

LONGEST = ("tests/browser", "tests/scenarios", "")
SILENT = ["TimeoutException", "WebDriverException", "ReadTimeoutError"]


def pytest_collection_modifyitems(items):
    """Begin with what takes longest; ask once more where a browser did not answer.

    Two cores may starve a real browser until it is silent. What a page shows wrong is no
    silence: that fails at once. The report counts the tests that ran again.
    """
    items.sort(key=lambda item: list(map(item.nodeid.startswith, LONGEST)).index(True))
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.flaky(reruns=1, only_rerun=SILENT))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    """Leave no page to the next test that a failing one was at."""
    report = yield
    if report.failed and "browser" in item.funcargs:
        item.funcargs["browser"].looked = None
    return report


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give a worker all files of one name: what their tests share is made once.

    A browser test waits for the browser half of its time: one worker in two opens pages, and
    the others work meanwhile.
    """
    if config.option.dist != "load":  # that of `-n 3` by itself
        return None
    from xdist.scheduler import LoadFileScheduling

    class ByName(LoadFileScheduling):
        def _split_scope(self, nodeid):
            return Path(super()._split_scope(nodeid)).name

        def _assign_work_unit(self, node):
            opens = self.nodes.index(node) % 2 == 0
            for name, tests in self.workqueue.items():
                if opens == next(iter(tests)).startswith(LONGEST[0]):
                    self.workqueue.move_to_end(name, last=False)
                    break
            super()._assign_work_unit(node)

    config.option.loadscopereorder = False  # the number of tests says little
    return ByName(config, log)


@pytest.fixture(scope="session", autouse=True)
def outlines_smoothed_once():
    """Smooth an outline once: many pages are drawn of one assessment."""
    smooth, kept = zones.smoothed_outline, {}

    def once(shape, east, north, weights=None):
        said = hashlib.sha256(shape.wkb)
        for given in (east, north, weights):
            said.update(b"" if given is None else given.tobytes())
        key = said.digest()
        if key not in kept:
            kept[key] = smooth(shape, east, north, weights)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(zones, "smoothed_outline", once)
        yield


@pytest.fixture(scope="session", autouse=True)
def outlines_drawn_once():
    """Outline landings once: many assessments are of the same flights."""
    draw, kept = outlines.containment, Once(500)

    def once(*points, **rest):
        return kept((points, rest), partial(draw, *points, **rest))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(outlines, "containment", once)
        yield


@pytest.fixture(scope="session", autouse=True)
def blocks_flown_once():
    """Plan and fly a block once: many tests ask for flights that another one flew.

    A test of flying itself takes `flown_anew`.
    """
    planned, flown = Once(100), Once(KEPT_FLIGHTS, lambda block: block.count)

    def plan(flight, wind, sky):
        text = flight.model_dump_json(warnings=False, exclude_unset=True)
        told = text, air(wind), sky
        return planned(told, partial(launch.plan_launch, flight, wind, sky))

    def fly(plan, tree, wind, *numbers, **rest):
        told = plan, tree, air(wind), numbers, rest
        return flown(
            told, partial(flying.fly_block, plan, tree, wind, *numbers, **rest)
        )

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cloud, "plan_launch", plan)
        patch.setattr(cloud, "fly_block", fly)
        yield


@pytest.fixture(scope="session", autouse=True)
def records_fitted_once():
    """Fit a flight's record once: an example that has one is read by many tests."""
    kept, infer = Once(50), altimeter_fit.infer

    def once(*told):
        return kept(told, partial(infer, *told))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(altimeter_fit, "infer", once)
        yield


@pytest.fixture(scope="session", autouse=True)
def few_scouts():
    """Fly few for the height that rules ask of: two thousand are most of many a test."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rule_checks, "_SCOUTS", 200)
        yield


@pytest.fixture(scope="session", autouse=True)
def no_sync():
    """Wait for no disk: processes that are killed, and what they leave, keep their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield


@pytest.fixture(scope="session", autouse=True)
def no_advice():
    """Try no other aim and no other reading beside a verdict, of which no check knows.

    They take longer than few flights. What is told of them is tried with `advised`.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assessment, "with_clear_aim", lambda checks, *_: checks)
        patch.setattr(assessment, "more_wind", lambda *_: ())
        yield


@pytest.fixture
def advised(monkeypatch):
    """Try other aims and other readings beside a verdict."""
    with_advice(monkeypatch)


def with_advice(patch):
    """Tell of other aims and other readings as the program does."""
    for way in (consequence_checks.with_clear_aim, reading_value.more_wind):
        patch.setattr(assessment, way.__name__, way)


@pytest.fixture
def flown_anew(monkeypatch):
    """Fly every block, whoever flew it before."""
    monkeypatch.setattr(cloud, "plan_launch", launch.plan_launch)
    monkeypatch.setattr(cloud, "fly_block", flying.fly_block)


@pytest.fixture(scope="session")
def willet():
    """The demo flight."""
    return read_flight(ROOT / "examples" / "willet.toml")


@pytest.fixture(scope="session")
def dunlin():
    """A small flight."""
    return read_flight(ROOT / "examples" / "dunlin.toml")


@pytest.fixture(scope="session")
def whimbrel():
    """A flight with two devices."""
    return read_flight(ROOT / "examples" / "whimbrel.toml")


@pytest.fixture(scope="session")
def saltgrass():
    """The demo site."""
    return read_site(ROOT / "sites" / "saltgrass-flat.geojson")


@pytest.fixture(scope="session")
def demo(willet, saltgrass):
    """The demo flight at the demo site, with few samples."""
    wind = read_wind("8 mph from 240", site_altitude=saltgrass.elevation)
    with pytest.MonkeyPatch.context() as patch:
        with_advice(patch)  # its pages are looked at whole
        return assess(willet, saltgrass, wind, samples=2000)


@pytest.fixture
def no_map(monkeypatch):
    """Draw no map, which takes longer than a few hundred flights."""
    monkeypatch.setattr(map_page, "map_html", lambda *_, **__: "no map")


@pytest.fixture
def just_now(monkeypatch):
    """Give an assessment another word, as if for a flight at this minute, light or dark."""
    monkeypatch.setattr(assessment, "toward_dark", lambda when, end, *at: end)

    def judged(known, verdict):
        answers = dataclasses.replace(known.answers, when=datetime.now(UTC))
        wind = dataclasses.replace(known.wind, age=0.0, undated=())
        return dataclasses.replace(known, verdict=verdict, answers=answers, wind=wind)

    return judged


@pytest.fixture(scope="session")
def lenient(saltgrass):
    """The demo site with limits that some hundred flights can show to be kept."""
    own = {
        "area_hit": "5 %",
        "descent_speed_streamer": "17 m/s",
        "individual_risk": 1e-4,
        "expected_casualties": 1e-3,
        "casualties_in_a_day": 0.05,
        "set_by": "Ada Quill",
        "set_on": "2026-06-01",
    }
    return dataclasses.replace(saltgrass, limits={**saltgrass.limits, **own})


@pytest.fixture(scope="session")
def dial(dunlin, lenient):
    """A small dial of a small flight: it has winds to go, to hold and not to go in."""
    # With every question answered, so that a go is a go.
    when = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)
    occasion = Occasion(lenient.name, dunlin.name, when, lenient.longitude)
    files = [ROOT / "examples" / "answers-dunlin.toml"]
    answers = answers_to(files, picked_rules(lenient), occasion)
    setup = Setup(dunlin, lenient, samples=600, seed=1, answers=answers)
    reach = Reach(12 * MILE_PER_HOUR, speeds=4, directions=6)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "SIGNED", {})  # few flights need limits beyond any word
        return compute_dial(setup, Supposition(lenient.elevation), reach)


@pytest.fixture(scope="module")
def any_word():
    """Let an officer's word go as far as the few flights of a test need."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "SIGNED", {})
        yield


@cache
def _engine():
    package = files("axe_playwright_python")  # only carries the engine
    return package.joinpath("axe.min.js").read_text("utf-8")


class Browser:
    """Chromium with a closed network, and what it asked for and complained of."""

    def __init__(self, driver):
        self.driver = driver
        self.looked = None

    def look(self, path, *, dark=False, **size):
        """Show a page as `open` does, or keep it where tests before looked at the same.

        They left it as it was but for what each sets by itself, and for how far down it
        was: a press meets what lies there, not the head that stays above.
        """
        if self.looked == (path, size):
            self.scheme(dark)
            self.js("scrollTo({top: 0, behavior: 'instant'})")
        else:
            self.open(path, dark=dark, **size)
            self.looked = path, size

    def size(self, width, height=900):
        """Give the window this size; a narrow one is a phone's."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1}
        self.cdp("Emulation.setDeviceMetricsOverride", **size, mobile=width < 600)

    def scheme(self, dark):
        """Ask for light or dark colours."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.cdp("Emulation.setEmulatedMedia", media="", features=[scheme])

    def open(self, path, *, width=1280, height=900, dark=False):
        """Open a file or an address in a window of this size, its logs drained before."""
        self.looked = None
        self.driver.get("about:blank")
        for log in ("performance", "browser"):
            self.driver.get_log(log)
        self.size(width, height)
        self.scheme(dark)
        here = str(path).startswith("http://127.0.0.1:")
        self.driver.get(str(path) if here else Path(path).as_uri())

    def cdp(self, command, **arguments):
        """Send a command of the DevTools protocol."""
        return self.driver.execute_cdp_cmd(command, arguments)

    def js(self, code, *arguments):
        """Run a function body in the page."""
        return self.driver.execute_script(code, *arguments)

    def find(self, selector):
        """Find one element."""
        return self.driver.find_element("css selector", selector)

    def requests(self):
        """Give the addresses the page asked for, blocked ones too, but its own."""
        entries = self.driver.get_log("performance")
        messages = [json.loads(entry["message"])["message"] for entry in entries]
        asked = [
            message["params"]["request"]["url"]
            for message in messages
            if message["method"] == "Network.requestWillBeSent"
        ]
        page = self.driver.current_url.partition("#")[0]
        own = (page, "data:", "about:", "chrome:")
        return [url for url in asked if not url.startswith(own)]

    def barriers(self):
        """Run the accessibility engine: what it finds, and what it cannot decide.

        DevTools runs it past the page's policy, which lets no script in. It leaves contrast
        and the size of targets, nine tenths of its work, to `awkward.CONTRAST`, which sees
        pictures too, and to tests of 44 px, which ask for more.
        """
        self.cdp("Runtime.evaluate", expression=_engine())
        left = {name: {"enabled": False} for name in ("color-contrast", "target-size")}
        # What passes is only counted: no way to it is worked out.
        how = {"resultTypes": ["violations"], "selectors": False, "rules": left}
        told = self.cdp(
            "Runtime.evaluate",
            expression=f"axe.run({json.dumps(how)})"
            ".then(r => JSON.stringify([r.passes.length, "
            "[...r.violations, ...r.incomplete]"
            ".map(v => [v.id, v.nodes.map(n => n.html)])]))",
            awaitPromise=True,
            returnByValue=True,
        )
        passes, found = json.loads(told["result"]["value"])
        assert passes > 15
        return found

    def complaints(self):
        """Give what stands on the console."""
        return [entry["message"] for entry in self.driver.get_log("browser")]


@contextmanager
def start_browser(profile):
    """Start Chromium with a folder of its own, and end it."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for switch in (*SWITCHES, f"--user-data-dir={profile}"):
        options.add_argument(switch)
    options.set_capability(
        "goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"}
    )
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        yield Browser(driver)
    finally:
        driver.quit()


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """A real browser; where there is none, CI fails and other machines skip."""
    if not (Path(CHROMIUM).exists() and shutil.which(DRIVER)):
        told = "Chromium and its driver are not installed (see DEVELOPERS.md)"
        if CI:
            pytest.fail(told)
        pytest.skip(told)
    with start_browser(tmp_path_factory.mktemp("profile")) as started:
        yield started
