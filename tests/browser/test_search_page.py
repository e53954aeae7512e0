"""The search page in a real browser with its network closed: Bayes' rule, merging, walking."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from driftmap.cli.search import search_command

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
WHEN = ("--when", "2026-06-13T12:15-07:00")


@pytest.fixture(scope="session")
def search_page(tmp_path_factory):
    """A search of the demo flight, with hostile text in what was seen."""
    out = tmp_path_factory.mktemp("search")
    seen = out / "seen.toml"
    seen.write_text(
        (ROOT / "examples" / "seen.toml").read_text()
        + '\n[[walked]]\nwho = "</script><img src=x onerror=window.hit=1>`${1}"\n'
        'around = [41.6, -117.95]\nradius = "50 m"\nspacing = "10 m"\n'
    )
    base = [
        *(str(ROOT / "examples" / "willet.toml"), "--site"),
        *(str(ROOT / "sites" / "saltgrass-flat.geojson"), "--wind"),
        *(str(ROOT / "examples" / "noon.csv"), *WHEN, "--samples", "1500"),
    ]
    run = CliRunner().invoke(
        search_command, [*base, "--seen", str(seen), "--out", str(out / "made")]
    )
    assert run.exit_code == 0, run.output
    return out / "made"


def start(browser, page, **size):
    """Open the page as a phone that has kept nothing."""
    kept = {"origin": "file://", "storageTypes": "local_storage"}
    browser.cdp("Storage.clearDataForOrigin", **kept)
    browser.open(page / "search.html", **size)


def facts(page):
    text = (page / "search.html").read_text(encoding="utf-8")
    return json.loads(re.search(r"const SEARCH = (\{.*?\});\n", text)[1])


def test_no_letter_of_the_sheet_hides_its_squares(browser, search_page):
    browser.open(search_page / "search-sheet.html")
    assert browser.js("""
      const wide = document.querySelector('.chart').getBoundingClientRect().width;
      const texts = [...document.querySelectorAll('.chart text')].map(t => t.getBoundingClientRect());
      return texts.length > 20 && texts.every(t => t.height < wide / 12);""")


@pytest.mark.parametrize(
    ("width", "height", "dark"), [(360, 780, True), (1440, 900, False)]
)
def test_asks_for_nothing_and_fits(browser, search_page, width, height, dark):
    start(browser, search_page, width=width, height=height, dark=dark)
    assert browser.requests() == []
    assert browser.complaints() == []
    assert browser.js("return document.documentElement.scrollWidth") <= width
    assert browser.js("return window.hit") is None
    assert "power line" in browser.find("header .warn").text


def test_a_phone_on_its_side_shows_squares_and_what_to_walk(browser, search_page):
    """On the first screen, side by side."""
    start(browser, search_page, width=740, height=360)
    squares, walk = browser.js(
        "return ['.frame', '#plan-title'].map((part) => document.querySelector(part).getBoundingClientRect()).map(({ left, top }) => [left, top])"
    )
    assert squares[1] < 200
    assert walk[1] < 330
    assert walk[0] > 370 > squares[0]
    assert browser.js("return document.documentElement.scrollWidth") <= 740


def test_the_likelier_square_stands_out_more_in_every_scheme(browser, search_page):
    """Its fill is the more opaque, on paper that it stands out from."""
    start(browser, search_page)
    found = {}
    for look in ("color-scheme: light", "color-scheme: dark", "forced: active"):
        name, _, value = look.partition(": ")
        feature = {"forced": "forced-colors"}.get(name, f"prefers-{name}")
        emulated = [{"name": feature, "value": value}]
        browser.cdp("Emulation.setEmulatedMedia", features=emulated)
        found[value] = browser.js(
            "const look = s => getComputedStyle(document.querySelector(s));"
            "return [look('.frame').backgroundColor, look('.cell').fill]"
        )
    browser.cdp("Emulation.setEmulatedMedia", features=[])
    assert found == {
        "light": ["rgb(255, 255, 255)", "rgb(11, 88, 176)"],
        "dark": ["rgb(14, 17, 20)", "rgb(93, 176, 255)"],
        "active": ["rgb(255, 255, 255)", "rgb(11, 88, 176)"],
    }


def test_a_tick_is_bayes_rule(browser, search_page):
    start(browser, search_page)
    before = browser.js("return chances().now")
    numbers = browser.js(
        "const p = planWalk(SPOT.map((s, n) => [s[1], s[2], chances().now[n], n]),"
        " here, walkers()); return p[0].numbers"
    )
    seen = browser.js("return detection(walkers())")
    browser.find("#order button").click()
    after = browser.js("return chances().now")
    held = sum(before[n] for n in numbers)
    for n in (numbers[0], numbers[-1]):
        wanted = before[n] * (1 - seen) / (1 - held * seen)
        assert after[n] == pytest.approx(wanted, rel=1e-9)
    other = next(n for n in range(len(before)) if n not in numbers)
    assert after[other] == pytest.approx(before[other] / (1 - held * seen), rel=1e-9)
    assert browser.js("return chances().left") == pytest.approx(
        1 - held * seen, rel=1e-9
    )
    status = "return document.querySelector('#status').textContent"
    assert "in vain" not in browser.js(status)
    # However often it is walked: it may be buried, or in a ditch.
    browser.js("for (let i = 0; i < 30; i++) tick(arguments[0])", numbers)
    surest = facts(search_page)["surest"]
    assert browser.js("return chances().left") == pytest.approx(
        1 - held * surest, rel=1e-9
    )
    browser.js("tick(SPOT.map((_, n) => n))")
    assert browser.js(status).startswith("Every square has been walked in vain")


def test_the_page_walks_in_the_order_of_the_sheet(browser, search_page):
    start(browser, search_page)
    assert browser.js("return foundIn()") is None
    plan = browser.js(
        "return planWalk(SPOT.map((s, n) => [s[1], s[2], s[3], n]), SEARCH.start,"
        " SEARCH.walkers).map(s => [s.numbers.map(n => SPOT[n][0]), s.metres, s.gain])"
    )
    sheet = (search_page / "search.kml").read_text(encoding="utf-8")
    for number, (names, _, _) in enumerate(plan, 1):
        # Both plan from the same squares, the page from chances rounded to 1e-7.
        assert f"<name>Sweep {number}</name>" in sheet
        if number <= 5:
            assert " ".join(names) in sheet


def test_two_pages_put_together_count_no_walk_twice(browser, search_page):
    start(browser, search_page)
    browser.find("#order button").click()
    one = browser.js("return state()")
    browser.js("walks = {}; keep(); show()")
    browser.js("tick([0])")
    two = browser.js("return state()")
    for text in (one, one, two):
        browser.js("document.getElementById('other').value = arguments[0]", text)
        browser.find("#join").click()
    together = json.loads(browser.js("return state()"))["walks"]
    assert together == json.loads(one)["walks"] | json.loads(two)["walks"]
    # Taken back on one page, it is taken back on the other.
    first = next(iter(json.loads(one)["walks"]))
    browser.js("walks[arguments[0]].off = true; keep(); show()", first)
    browser.js("document.getElementById('other').value = arguments[0]", one)
    browser.find("#join").click()
    assert browser.js("return walks[arguments[0]].off", first) is True


FOREIGN = ("", "{", "{}", '{"search":"x"}', "[]", "null")


def test_foreign_text_changes_nothing(browser, search_page):
    start(browser, search_page)
    browser.js("tick([1])")
    before = browser.js("return state()")
    own = json.dumps({"search": facts(search_page)["id"], "walks": {"a": 1}})
    for text in (*FOREIGN, own):
        browser.js("document.getElementById('say').textContent = ''")
        browser.js("document.getElementById('other').value = arguments[0]", text)
        browser.find("#join").click()
        assert browser.js("return state()") == before
        assert "nothing was changed" in browser.find("#say").text


def test_what_was_walked_outlives_a_reload(browser, search_page):
    start(browser, search_page)
    browser.find("#order button").click()
    before = browser.js("return chances().now")
    browser.open(search_page / "search.html")
    assert browser.js("return chances().now") == pytest.approx(before, rel=1e-12)
    browser.find("rect.cell").click()
    browser.find("#here").click()
    assert "Found in" in browser.find("#status").text


@pytest.mark.slow  # as two pages put together
def test_walks_of_another_window_are_kept(browser, search_page):
    """Both write what the phone keeps: neither wipes what the other walked, nor what it took back."""
    start(browser, search_page)
    kept = browser.js(
        """tick([0]);
        const mine = Object.keys(walks)[0], other = JSON.parse(localStorage.getItem(KEY));
        other.walks["00112233445566aa"] = {squares: [1], seen: 0.5, who: "B", off: false};
        other.walks[mine].off = true;
        localStorage.setItem(KEY, JSON.stringify(other));  // as the other window does
        tick([2]);
        const now = JSON.parse(localStorage.getItem(KEY)).walks;
        return [Object.keys(now).length, "00112233445566aa" in now, now[mine].off, Object.keys(walks).length];"""
    )
    assert kept == [3, True, True, 3]


def test_a_find_that_was_none_is_none_on_the_other_page_too(browser, search_page):
    start(browser, search_page)
    browser.find("rect.cell").click()
    browser.find("#here").click()
    one = browser.js("return state()")
    browser.find("#lost").click()
    assert "Walk first" in browser.find("#status").text
    browser.js("document.getElementById('other').value = arguments[0]", one)
    browser.find("#join").click()
    assert "Walk first" in browser.find("#status").text


def test_the_page_follows_the_phone(browser, search_page):
    """The phone tells its place, then walks on; the order begins where it is."""
    start(browser, search_page)
    data = facts(search_page)
    name, column, row, *_ = data["squares"][0]
    east, north = ((v + 0.5) * data["size"] for v in (column, row))
    latitude, longitude, for_north, for_east = data["at"]
    browser.js(
        "navigator.geolocation.watchPosition = done => { done({coords: {latitude: "
        f"{latitude + (data['south'] + north) / for_north}, longitude: "
        f"{longitude + (data['west'] + east) / for_east}, accuracy: 9}}}}); return 1; }}"
    )
    browser.find("#follow").click()
    assert f"You are in {name}" in browser.find("#say").text
    assert browser.js("return find('me').getAttribute('visibility')") == "visible"
    assert browser.js("return here") == pytest.approx(
        [data["west"] + east, data["south"] + north], abs=0.5
    )
    assert "where you stand" in browser.find("#order li").text
    browser.find("#follow").click()
    assert browser.find("#follow").get_attribute("aria-pressed") == "false"


def test_a_phone_that_does_not_tell_its_place_says_so(browser, search_page):
    start(browser, search_page)
    browser.js(
        "navigator.geolocation.watchPosition = (done, lost) => { lost(); return 1; }"
    )
    browser.find("#follow").click()
    assert "I stand here" in browser.find("#say").text


def test_the_way_there_is_minded_as_in_the_plan(browser, search_page):
    """Squares and lines drawn at random: the page crosses what shapely crosses."""
    start(browser, search_page)
    rng = np.random.default_rng(2)
    data = facts(search_page)
    shapes = [
        (text, shapely.Polygon(rings[0], rings[1:])) for text, rings in data["dangers"]
    ]
    assert len(shapes) > 1
    crossed = 0
    for _ in range(60):
        ends = rng.uniform(-3000, 3000, (2, 2)).tolist()
        way = shapely.LineString(ends)
        mind = [text for text, shape in shapes if shape.intersects(way)]
        assert browser.js("return mindOnTheWay(...arguments)", *ends) == mind
        crossed += len(mind)
    assert crossed > 20
