"""The briefing in a real browser with its network closed: it fits a phone and one sheet
of paper, names from files are shown and never run, and an accessibility engine finds
nothing to complain of.
"""

import base64
import dataclasses
import io
import re
import unicodedata
from pathlib import Path

import pypdf
import pytest
from awkward import CONTRAST, HOSTILE

from driftmap.report.instructions import watch
from driftmap.report.sheet import brief_html, caller_html, poster_html
from driftmap.report.voice import Voice, languages, read_catalogue
from driftmap.rocket.flight import OwnCase
from driftmap.rocket.flightfile import read_flight
from driftmap.verdict.assessment import assess

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
PAPERS = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}
W = "W" * 80  # the longest and widest name that a file may hold


def _named(demo, names):
    """Give the demo these names for flight, site and areas, over and over."""
    areas = tuple(
        dataclasses.replace(
            hit, area=dataclasses.replace(hit.area, name=names[i % len(names)])
        )
        for i, hit in enumerate(demo.areas)
    )
    site = dataclasses.replace(
        demo.site, name=names[0], areas=tuple(hit.area for hit in areas)
    )
    flight = demo.flight.model_copy(update={"name": names[0]})
    return dataclasses.replace(demo, flight=flight, site=site, areas=areas)


@pytest.fixture(scope="module")
def crowded(demo):
    """As much as a sheet can hold: the longest names, many areas, many failures."""
    pieces = [
        piece.model_copy(update={"name": f"{i}{W}"[:80]})
        for i, piece in enumerate(demo.flight.pieces)
    ]
    own = [
        OwnCase(
            name=f"{i}{W}"[:80],
            likelihood=0.001,
            at="apogee",
            rocket_falls="tumbling",
            loose=tuple(piece.name for piece in pieces),
        )
        for i in range(12)
    ]
    flight = demo.flight.model_copy(
        update={"name": W, "pieces": tuple(pieces), "own_cases": tuple(own)}
    )
    areas = tuple(
        dataclasses.replace(area, name=f"{i}{W}"[:80])
        for i, area in enumerate((*demo.site.areas, *demo.site.areas))
    )
    site = dataclasses.replace(demo.site, name=W, areas=areas)
    return assess(flight, site, demo.wind, samples=300)


def in_languages(most, *more):
    """Try that in which most must stand on a page; more with every change, all of them rarely."""
    marks = {most: ()} | dict.fromkeys(more, pytest.mark.slow)
    return [
        pytest.param(name, marks=marks.get(name, pytest.mark.long))
        for name in languages()
    ]


def written(assessment, folder, *, language="en", units="us"):
    path = folder / "briefing.html"
    text = brief_html(watch(assessment, Voice(read_catalogue(language), units)))
    path.write_text(text, encoding="utf-8")
    return path


def sheets(browser, paper):
    """Print to PDF and give its pages."""
    width, height = PAPERS[paper]
    told = browser.cdp("Page.printToPDF", paperWidth=width, paperHeight=height)
    return pypdf.PdfReader(io.BytesIO(base64.b64decode(told["data"]))).pages


def printed(browser, paper):
    """Print to PDF and give the text of each page."""
    # Ligatures are taken apart, blanks dropped: lines break where they like.
    return [squeezed(page.extract_text()) for page in sheets(browser, paper)]


def squeezed(text):
    """Give text without what a printer may change."""
    return "".join(unicodedata.normalize("NFKC", text).split())


def on_paper(browser, paper):
    """Lay the page out as for paper with margins of 10 mm, to be measured."""
    width, height = (int(side * 96 - 2 * 37.8) for side in PAPERS[paper])
    browser.cdp("Emulation.setEmulatedMedia", media="print")
    browser.size(width, height)
    return width, height


def nothing_cut_off(browser):
    """Look at the open page as it lies on each paper."""
    for paper in PAPERS:
        width, height = on_paper(browser, paper)
        across, footer, plan, over, hidden = browser.js(
            "const box = e => e.getBoundingClientRect();"
            "const s = [...document.querySelectorAll('main > *, footer, .beside > *')]"
            ".filter(e => e.className != 'beside').map(box);"
            "return [document.documentElement.scrollWidth,"
            " box(document.querySelector('footer')).bottom,"
            " box(document.querySelector('.plan')).height,"
            " s.filter((a, i) => s.some((b, j) => i < j && a.left < b.right - 1 &&"
            " b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1)).length,"
            " (o => o.scrollHeight - o.clientHeight)(document.querySelector('.orders'))]"
        )
        cut = browser.js(
            "return [...document.querySelectorAll('td, thead th, strong, small')]"
            ".filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth)"
            ".map(e => e.innerText)"
        )
        browser.cdp("Emulation.setEmulatedMedia", media="")
        assert across <= width
        assert footer <= height
        assert plan > 150
        assert hidden <= 1
        assert over == 0
        assert cut == []


@pytest.mark.parametrize("language", in_languages("fr", "de"))
def test_asks_for_nothing_fits_and_prints_on_one_page(
    browser, demo, just_now, tmp_path, language
):
    catalogue = read_catalogue(language)
    verdict = {"de": "hold", "en": "no-go", "es": "no-go", "fr": "go"}[language]
    browser.open(written(just_now(demo, verdict), tmp_path, language=language))
    for width in (1280, 390):
        browser.size(width)
        assert browser.js("return document.documentElement.scrollWidth") <= width
    assert browser.requests() == []
    assert browser.barriers() == []
    assert browser.js(CONTRAST) == []
    assert browser.complaints() == []
    assert len(sheets(browser, "A4")) == 1
    (text,) = printed(browser, "letter")  # the shorter
    for caution in catalogue.cautions:
        assert squeezed(caution) in text
    assert squeezed(catalogue.say("decides.text")) in text
    nothing_cut_off(browser)


@pytest.mark.slow  # a common sheet is tried at each call
@pytest.mark.parametrize("language", in_languages("fr"))
def test_the_fullest_sheet_is_readable_and_prints_on_one_page(
    browser, crowded, tmp_path, language
):
    """No column is squeezed to a letter a line: the page stays of a sane length."""
    path = written(crowded, tmp_path, language=language)
    browser.open(path)
    for width, most in ((390, 10500), (1280, 7000)):
        browser.size(width)
        assert browser.js("return document.documentElement.scrollWidth") <= width
        assert browser.js("return document.documentElement.scrollHeight") < most
    assert len(sheets(browser, "A4")) == 1
    (text,) = printed(browser, "letter")
    assert squeezed(read_catalogue(language).cautions[-1]) in text
    nothing_cut_off(browser)


def test_names_are_shown_and_never_run(browser, demo, tmp_path):
    hostile = _named(demo, HOSTILE)
    browser.open(written(hostile, tmp_path))
    assert browser.js("return window.hit") is None
    assert browser.complaints() == []
    assert browser.js("return document.scripts.length") == 1  # the clock of its age
    assert (
        browser.js("return document.querySelectorAll('main b:not(.badge)').length") == 0
    )
    body = browser.js("return document.body.textContent")
    for name in HOSTILE[: len(hostile.areas)]:
        assert name in body
    assert browser.js("return document.title") == f"NO-GO: {HOSTILE[0]}"


@pytest.mark.parametrize("write", [brief_html, poster_html, caller_html])
def test_paper_says_until_when_it_holds(browser, demo, just_now, tmp_path, write):
    """On a screen a go falls to hold by itself; what lapsed prints as it stands."""
    catalogue, path = read_catalogue("en"), tmp_path / "page.html"
    page = write(watch(just_now(demo, "go"), Voice(catalogue, "us")))
    path.write_text(page, encoding="utf-8")
    browser.open(path)
    assert "Valid until" in browser.find("#age").text
    assert browser.find("header .word").text == "GO"
    browser.js(
        "Date.now = () => AGE.until + 1; window.dispatchEvent(new Event('focus'))"
    )
    assert browser.find("header .word").text == "HOLD"
    browser.js(  # a clock set back makes nothing young again
        "Date.now = () => AGE.until - 60000; window.dispatchEvent(new Event('focus'))"
    )
    assert browser.find("header .word").text == "HOLD"
    (told,) = printed(browser, "letter")
    assert told.startswith("HOLD")
    assert "TOOOLD" in told
    assert browser.complaints() == []


def flown(name, demo):
    """Fly an example where the demo stands."""
    flight = read_flight(ROOT / "examples" / f"{name}.toml")
    return assess(flight, demo.site, demo.wind, samples=100)


@pytest.mark.parametrize("language", in_languages("fr"))
@pytest.mark.parametrize(
    "name", ["whimbrel", pytest.param("plover", marks=pytest.mark.long)]
)
def test_the_callers_page_is_one_page(browser, demo, tmp_path, name, language):
    """Of the flights with the most to call."""
    one_page(browser, tmp_path, flown(name, demo), caller_html, language)


@pytest.mark.parametrize("language", in_languages("es"))
def test_the_poster_is_one_page(browser, demo, tmp_path, language):
    one_page(browser, tmp_path, flown("godwit", demo), poster_html, language)


def one_page(browser, folder, assessment, write, language):
    """Look at a page on the narrowest phone and on paper, whose last line is not cut."""
    catalogue, path = read_catalogue(language), folder / "page.html"
    page = write(watch(assessment, Voice(catalogue, catalogue.units)))
    path.write_text(page, encoding="utf-8")
    browser.open(path, width=320)
    assert browser.requests() == browser.complaints() == []
    assert browser.js("return document.documentElement.scrollWidth") <= 320
    assert browser.barriers() == []
    assert browser.js(CONTRAST) == []
    last = ["head.decides", *(["decides.text"] if write is caller_html else [])]
    assert len(sheets(browser, "A4")) == 1
    (text,) = printed(browser, "letter")
    assert catalogue.say(f"verdict.{assessment.verdict}")[:2] in text
    plain = re.sub(r"\W", "", text)
    assert all(re.sub(r"\W", "", catalogue.say(key)) in plain for key in last)


def test_the_poster_is_read_from_two_metres(browser, demo, tmp_path):
    """Lines of 14 pt or more, of a no-go six with the word; none that is to be heard is cut.

    Capitals of such letters (0.73 of their size) are 3.6 mm and more: at 2 m over 6 minutes
    of arc, where a normal eye needs 5 (Snellen's definition, from memory). The plan, which
    says more, keeps half of the page.
    """
    path = tmp_path / "poster.html"
    path.write_text(
        poster_html(watch(demo, Voice(read_catalogue("de"), "si"))), encoding="utf-8"
    )
    browser.open(path)
    browser.cdp("Emulation.setEmulatedMedia", media="print")
    sizes = browser.js(
        "return [...document.querySelectorAll('header :is(.word, .fine), .line')].map(e => "
        "[parseFloat(getComputedStyle(e).fontSize) * .75, e.scrollHeight - e.clientHeight, e.className])"
    )
    browser.cdp("Emulation.setEmulatedMedia", media="")
    assert len(sizes) == 6
    assert min(size for size, _, _ in sizes) > 13.99  # to a hundredth of a pixel
    assert all(cut <= 1 for _, cut, name in sizes if "first" in name)
