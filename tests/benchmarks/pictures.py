"""Make the README's pictures anew: run by hand after pages change.

    python tests/benchmarks/pictures.py [FOLDER]

Runs the README's own commands, opens their pages in headless Chromium with the network
closed and the clock at the hour of each flight, and writes what a reader sees, in few
colours, to FOLDER (`examples/pictures`).
"""

import io
import re
import shlex
import sys
import tempfile
from base64 import b64decode
from datetime import datetime
from pathlib import Path
from typing import Final

from PIL import Image
from shell import driftmap

ROOT: Final = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "scenarios")]
from conftest import Browser, start_browser  # noqa: E402

_COLOURS: Final = 64
_SHOTS: Final = (
    ("map-desktop", "noon/map.html", (1280, 900), "2026-06-13T12:18-07:00"),
    ("map-phone", "noon/map.html", (390, 844), "2026-06-13T12:18-07:00"),
    ("dial-phone", "today/dial.html", (390, 844), "2026-06-13T08:32-07:00"),
    ("briefing", "today/briefing.html", (820, 1180), "2026-06-13T08:32-07:00"),
)
_CLOCK: Final = """(() => {
  const Real = Date, ahead = %d - Real.now();
  globalThis.Date = class extends Real {
    constructor(...given) { given.length ? super(...given) : super(Real.now() + ahead); }
    static now() { return Real.now() + ahead; }
  };
})()"""
_READING: Final = """
for (const [box, value] of [['speed', 5], ['from', 110]]) document.getElementById(box).value = value;
document.getElementById('speed').dispatchEvent(new Event('input', { bubbles: true }));"""
"""Wind that the README's picture of the dial is set to."""


def readme_commands(into: Path) -> list[list[str]]:
    """Give the commands of the README that write what is shown, their folders under another."""
    told = (ROOT / "README.md").read_text("utf-8")
    lines = re.findall(r"^\.venv/bin/driftmap (.* --out) (noon|today)$", told, re.M)
    return [[*shlex.split(words), str(into / folder)] for words, folder in lines]


def shoot(browser: Browser, page: Path, size: tuple[int, int], when: str) -> bytes:
    """Open a page at an hour and take what a screen of this size shows of it."""
    clock = _CLOCK % (1000 * datetime.fromisoformat(when).timestamp())
    kept = browser.cdp("Page.addScriptToEvaluateOnNewDocument", source=clock)
    browser.cdp("Emulation.setTimezoneOverride", timezoneId="America/Los_Angeles")
    browser.open(page, width=size[0], height=size[1])
    if page.name == "dial.html":
        browser.js(_READING)
    browser.js("return new Promise(done => setTimeout(done, 400))")
    browser.cdp(
        "Page.removeScriptToEvaluateOnNewDocument", identifier=kept["identifier"]
    )
    return b64decode(browser.cdp("Page.captureScreenshot")["data"])


def main(folder: Path) -> None:
    """Make every picture."""
    with tempfile.TemporaryDirectory() as held, start_browser(Path(held)) as browser:
        for words in readme_commands(Path(held)):
            ended = driftmap(*words, cwd=ROOT)
            print(f"{words[0]}: {ended.returncode} {ended.stderr.strip()}")
        for name, page, size, when in _SHOTS:
            shot = Image.open(io.BytesIO(shoot(browser, Path(held, page), size, when)))
            small = shot.convert("RGB").quantize(_COLOURS)
            small.save(folder / f"{name}.png", optimize=True)
            print(f"{name}: {(folder / f'{name}.png').stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else ROOT / "examples" / "pictures")
