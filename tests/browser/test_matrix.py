"""Every page of every example, and of sites that are hard to draw, on every screen and paper.

The lean part runs with the others; the whole of it is a proof run by hand, site by site, which
prints how many views it looked at: ``pytest -m long -s tests/browser/test_matrix.py``.
"""

import base64
import io
import json
from collections import Counter
from datetime import UTC, datetime

import pypdf
import pytest
from awkward import CONTRAST, FINDINGS, ROOT, SITES
from shell import driftmap

from driftmap.ground.site import read_site
from driftmap.report.dialpage import dial_html
from driftmap.report.instructions import watch
from driftmap.report.map import map_html
from driftmap.report.sheet import brief_html, caller_html, poster_html
from driftmap.report.voice import Voice, read_catalogue
from driftmap.rocket.flightfile import read_flight
from driftmap.verdict.assessment import assess
from driftmap.winds.profile import read_wind

pytestmark = pytest.mark.browser

SIZES = ((320, 568), (360, 740), (740, 360), (820, 1180), (1180, 820), (1440, 900))
PAPERS = ((8.27, 11.69), (8.5, 11.0))
LOOKS = (
    {"prefers-color-scheme": "light"},
    {"prefers-color-scheme": "dark"},
    {"forced-colors": "active"},
)
EXAMPLES = {
    "willet": "saltgrass-flat",
    "whimbrel": "saltgrass-flat",
    "plover": "saltgrass-flat",
    "dunlin": "larkfold-farm",
}
CAUTION_ALONE = {"godwit": "saltgrass-west"}  # in a light wind nobody stands in danger
NAMES = [*EXAMPLES, *SITES, *CAUTION_ALONE]


def judged(flight, site, wind="8 mph from 240", samples=300):
    when = datetime(2026, 6, 13, 15, 30, tzinfo=UTC)
    air = read_wind(wind, site_altitude=site.elevation, when=when)
    rocket = read_flight(ROOT / "examples" / f"{flight}.toml")
    return assess(rocket, site, air, samples=samples)


def awkward(name, folder):
    path = folder / "site.geojson"
    path.write_text(json.dumps(SITES[name]()), encoding="utf-8")
    return read_site(path)


def pages(assessment, language="en"):
    """Give every page of an assessment."""
    catalogue = read_catalogue(language)
    yield "map", map_html(assessment, language=catalogue)
    seen = watch(assessment, Voice(catalogue, catalogue.units))
    for name, write in (
        ("sheet", brief_html),
        ("poster", poster_html),
        ("caller", caller_html),
    ):
        yield name, write(seen)


def look(browser, width, height, scheme, text):
    """Turn an open page into another screen, look and size of text."""
    browser.size(width, height)
    features = [{"name": name, "value": value} for name, value in scheme.items()]
    browser.cdp("Emulation.setEmulatedMedia", media="", features=features)
    # Text as large as the reader's own setting: rems and the body's pixels alike.
    browser.js(
        "document.documentElement.style.fontSize = `${16 * arguments[0]}px`;"
        "document.body.style.fontSize = arguments[0] === 1 ? '' : `${17 * arguments[0]}px`;"
        "return new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))",
        text,
    )
    if browser.js("return typeof chart !== 'undefined' && 'invalidateSize' in chart"):
        browser.js(
            "chart.invalidateSize({ animate: false }); (window.view ?? window.frame)('flight'); "
            "(window.placeAll ?? placeLabels)()"
        )


def findings(browser, what, seen, *, sizes=SIZES, looks=LOOKS, texts=(1, 1.3, 2)):
    """Look at the open page in every way; each finding says where."""
    found = []
    for width, height in sizes:
        for scheme in looks:
            for text in texts:
                look(browser, width, height, scheme, text)
                seen["views"] += 1
                where = f"{what} {width}x{height} {'/'.join(scheme.values())} x{text}"
                found += [f"{where}: {line}" for line in browser.js(FINDINGS)]
        for scheme in looks[:2]:
            look(browser, width, height, scheme, 1)
            found += [
                f"{what} {width} {scheme}: {line}" for line in browser.js(CONTRAST)
            ]
    found += [f"{what}: asked for {url}" for url in browser.requests()]
    found += [f"{what}: {line}" for line in browser.complaints()]
    return found


def on_paper(browser, path, what, seen):
    """Print the page as it opens on a phone and on a desk."""
    found = []
    for paper in PAPERS:
        for width in (360, 1440):
            browser.open(path, width=width)
            printed = browser.cdp(
                "Page.printToPDF", paperWidth=paper[0], paperHeight=paper[1]
            )["data"]
            count = len(pypdf.PdfReader(io.BytesIO(base64.b64decode(printed))).pages)
            seen["papers"] += 1
            if count != 1:
                found.append(f"{what} from {width} px: {count} pages of {paper}")
    return found


def walked(browser, folder, assessment, name, seen, language="en", **ways):
    found = []
    for kind, html in pages(assessment, language):
        path = folder / f"{kind}.html"
        path.write_text(html, encoding="utf-8")
        seen["pages"] += 1
        if path.stat().st_size > 2_000_000:
            found.append(f"{name} {kind}: {path.stat().st_size} bytes")
        browser.open(path)
        found += findings(browser, f"{name} {kind}", seen, **ways)
        found += on_paper(browser, path, f"{name} {kind}", seen)
    return found


LANGUAGES = ("en", "de", "fr", "es")


def language_of(name):
    return LANGUAGES[NAMES.index(name) % len(LANGUAGES)]


LEAN = {
    "40 areas": {"sizes": (SIZES[1], SIZES[5]), "texts": (1,)},
    # A field a few centimetres high, where plates are as large as the grounds they name.
    "180th meridian": {"sizes": (SIZES[2],), "texts": (1.3, 2)},
    "right to left": {"sizes": (SIZES[0], SIZES[2]), "texts": (1.5, 2)},
}


@pytest.mark.slow  # beside the crowded sheet, and the labels of the map's own tests
@pytest.mark.parametrize("name", LEAN)
def test_names_that_are_pressed_for_room(browser, tmp_path, name):
    assessment = judged("willet", awkward(name, tmp_path))
    path = tmp_path / "map.html"
    page = map_html(assessment, language=read_catalogue(language_of(name)))
    path.write_text(page, encoding="utf-8")
    browser.open(path)
    assert findings(browser, name, Counter(), looks=LOOKS[:1], **LEAN[name]) == []


def told(seen, found):
    print(dict(seen), f"{len(found)} findings", *found, sep="\n")
    assert found == []


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_every_page_on_every_screen(browser, tmp_path, name):
    seen = Counter()
    if name in EXAMPLES:
        ground = read_site(ROOT / "sites" / f"{EXAMPLES[name]}.geojson")
        assessment = judged(name, ground)
    elif name in CAUTION_ALONE:
        ground = read_site(ROOT / "sites" / f"{CAUTION_ALONE[name]}.geojson")
        assessment = judged(name, ground, "3 mph from 200")
    else:
        assessment = judged("willet", awkward(name, tmp_path))
    told(
        seen,
        walked(browser, tmp_path, assessment, name, seen, language=language_of(name)),
    )


@pytest.mark.long
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_dial_on_every_screen(browser, dial, tmp_path, language):
    seen, path = Counter(pages=1), tmp_path / "dial.html"
    path.write_text(dial_html(dial, language=language), encoding="utf-8")
    browser.open(path)
    browser.js("put({ speed: 4, from: 240, gust: NaN })")
    found = findings(browser, f"dial {language}", seen)
    told(seen, found + on_paper(browser, path, f"dial {language}", seen))


WHERE = ("--site", str(ROOT / "sites" / "saltgrass-flat.geojson"))
FLIGHT = str(ROOT / "examples" / "dunlin.toml")
BREEZE = ("--wind", "4 mph from 240")
WEST = (
    *("--site", str(ROOT / "sites" / "saltgrass-west.geojson")),
    *("--answers", str(ROOT / "examples" / "answers-dunlin.toml")),
    *("--answers", str(ROOT / "examples" / "answers-west.toml")),
    *("--when", "2026-06-13T08:30-07:00", "--samples", "4000"),
)
"""Of fewer flights a plan draws no picture."""
SEEN = (
    *("--when", "2026-06-13T12:15-07:00"),
    *("--seen", str(ROOT / "examples" / "seen.toml")),
)
PLANS = {
    "limits": (FLIGHT, *WEST, "--directions", "6", "--steps", "3"),
    "aim": (FLIGHT, *WEST, *BREEZE),
    "layout": (WEST[1], "--flight", FLIGHT, *BREEZE, "--spacing", "800 m", *WEST[-2:]),
    "cases": (str(ROOT / "examples" / "whimbrel.toml"), *BREEZE),
    "compare": (FLIGHT, *WHERE, *BREEZE),
    "search": (str(ROOT / "examples" / "willet.toml"), *WHERE, *BREEZE, *SEEN),
    "wind": (*BREEZE[1:], *WHERE),
}
DRAWN = ("limits", "aim", "layout")


@pytest.mark.long
@pytest.mark.parametrize("name", PLANS)
def test_every_plan_on_every_screen(browser, tmp_path, name):
    seen, command = Counter(pages=1), {"wind": "winds"}.get(name, name)
    language = LANGUAGES[[*PLANS].index(name) % len(LANGUAGES)]
    few = ("--samples", "400") if name in ("compare", "search") else ()
    words = (command, *PLANS[name], *few, "--language", language, "--out", tmp_path)
    ended = driftmap(*map(str, words), cwd=ROOT)
    assert ended.returncode != 2, ended.stderr
    path = tmp_path / f"{name}.html"
    browser.open(path)
    if name in DRAWN:
        assert (
            browser.js("return document.querySelectorAll('.wide > svg title').length")
            > 6
        )
    found = findings(browser, f"{name} {language}", seen)
    browser.open(path, width=360)
    told(seen, [*found, *map(str, browser.barriers())])
