"""A planning page in a real browser: readable on a phone, sealed, and it tells why by keys."""

import pytest
from awkward import CONTRAST, FINDINGS
from selenium.webdriver.common.keys import Keys

from driftmap.planning.windlimits import DirectionLimit
from driftmap.report.page import page, table
from driftmap.report.sketches import dial_svg, held_key
from driftmap.report.voice import english

pytestmark = pytest.mark.browser

VOICE = english("us")


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    limits = [
        DirectionLimit(45.0 * i, ((0.0, 2.0 + i),), "", ((0.0, None),), "")
        for i in range(8)
    ]
    path = tmp_path_factory.mktemp("plan") / "limits.html"
    rows = [["wind from", "go up to"], *([f"{45 * i:03d}°", "5 mph"] for i in range(8))]
    held = f"a piece lands in the South crowd line, {'W' * 60}"
    rows = [
        [*rows[0], *["more"] * 6, "held by"],
        *([*r, *["7 s"] * 6, held] for r in rows[1:]),
    ]
    path.write_text(
        page(
            "Wind limits: <b>x</b>",
            [
                dial_svg(limits, 12.0, VOICE, 0.7),
                *held_key([held, "the waiver"], VOICE),
                table(rows, VOICE),
            ],
            VOICE,
            assumed=["one thing"],
            questions=["is the road closed?"],
        ),
        encoding="utf-8",
    )
    return path


@pytest.mark.parametrize(
    ("width", "dark"),
    [
        (320, True),
        (1440, False),
        pytest.param(360, False, marks=pytest.mark.slow),
        pytest.param(820, True, marks=pytest.mark.slow),
    ],
)
def test_it_asks_for_nothing_and_fits(browser, plan, width, dark):
    browser.open(plan, width=width, dark=dark)
    assert browser.requests() == []
    assert browser.complaints() == []
    assert browser.js("return document.documentElement.scrollWidth") <= width
    heads = browser.js(
        "return [...document.querySelectorAll('th')].map(t => t.getClientRects().length && t.offsetHeight)"
    )
    assert max(heads) < 70  # two lines: no word is broken letter by letter
    cut = "return [...document.querySelectorAll('.wide')].filter(w => w.scrollWidth > w.clientWidth + 1).length"
    assert browser.js(cut) == 0
    assert "<b>x</b>" in browser.find("h1").text


def test_why_is_told_by_tap_and_by_keys(browser, plan):
    browser.open(plan, width=360)
    browser.js("document.querySelector('.dial .go').focus()")
    first = browser.find(".why-told").text
    assert first.startswith("0°: go from")
    browser.driver.switch_to.active_element.send_keys(Keys.ARROW_RIGHT)
    assert browser.find(".why-told").text.startswith("45°: go from")


def test_the_engine_finds_no_barrier(browser, plan):
    browser.open(plan, width=360)
    assert browser.barriers() == []
    assert browser.js(CONTRAST) == browser.js(FINDINGS) == []


def test_what_governs_a_plan_stands_in_its_head(browser, tmp_path):
    """What is open is no verdict: only what no go can come of bears the sign of a hold."""
    path = tmp_path / "plan.html"
    for word, look in (("", "hold"), ("2 QUESTIONS OPEN", "plan")):
        told = [(word, "no go stands by itself")]
        ways = {"assumed": [], "governs": told, "answer": "The best of all " * 8}
        text = page("Season", [], VOICE, **ways)
        path.write_text(text, encoding="utf-8")
        browser.open(path, width=320)
        head = browser.find("header.verdict").text
        assert f"{word} no go stands by itself".strip() in head
        assert "range safety officer decides" in head
        assert browser.js("return document.body.className") == look
        browser.size(760)  # as wide as paper
        browser.cdp("Emulation.setEmulatedMedia", media="print")
        assert browser.js("return document.querySelector('.why').offsetWidth") > 500
        browser.cdp("Emulation.setEmulatedMedia", media="")


def test_a_long_table_shows_its_worst_and_the_rest_when_asked(browser, tmp_path):
    rows = [["case", "piece"], *([f"case {i}", "fin"] for i in range(12))]
    rows.insert(3, ["", "nose cone"])
    path = tmp_path / "plan.html"
    blocks = [table(rows, VOICE, most=9)]
    path.write_text(page("Cases", blocks, VOICE, assumed=[]), encoding="utf-8")
    browser.open(path, width=320)
    seen = "return [...document.querySelectorAll('tbody tr')].filter(r => r.getClientRects().length).length"
    assert browser.js(seen) == 10
    assert "other 3" in browser.find(".folded p").text
    browser.find(".folded input").click()
    assert browser.js(seen) == 13
