"""Sites that are hard to draw, a language that is none, and what every page must keep to."""

import copy
import json
import math
import re
import string
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import shapely
from shapely import affinity
from shapely.geometry import mapping, shape

ROOT = Path(__file__).parents[2]
Tree = dict[str, Any]

HOSTILE = (
    "<script>window.hit=1</script>",
    "<img src=x onerror=window.hit=1>",
    "a`b${window.hit=1} {{ 7*7 }} {% raw %} {piece}",
    r"\u{zz} \x41 </script><!--",
    "</style></svg><b>bold</b>",
    "\"quoted\" & 'single' &amp;",
    "🚀 emoji מגרש השקה",
    "ملعب الإطلاق الشمالي",
)
"""Names that a file may hold and no page may run."""

HEBREW = 'מגרש {} <b>"x"</b> `${{window.hit=1}}`'


def _each(node: list, change: Callable[[float, float], list]) -> list:
    if isinstance(node[0], int | float):
        return change(node[0], node[1])
    return [_each(item, change) for item in node]


def _demo() -> tuple[Tree, tuple[float, float]]:
    tree = json.loads((ROOT / "sites" / "saltgrass-flat.geojson").read_text("utf-8"))
    del tree["rules"]  # they hold at home
    pad = next(f for f in tree["features"] if f["properties"]["role"] == "pad")
    return tree, tuple(pad["geometry"]["coordinates"])


def moved(lon: float, lat: float, scale: float = 1.0) -> Tree:
    """The demo site elsewhere on Earth, larger or smaller."""
    tree, (west, south) = _demo()
    narrow = math.cos(math.radians(south)) / math.cos(math.radians(lat)) * scale

    def change(x: float, y: float) -> list:
        x = lon + (x - west) * narrow
        return [round((x + 180) % 360 - 180, 7), round(lat + (y - south) * scale, 7)]

    for feature in tree["features"]:
        geometry = feature["geometry"]
        geometry["coordinates"] = _each(geometry["coordinates"], change)
    return tree


def dateline() -> Tree:
    """The 180th meridian through crowd and field, shapes cut there (RFC 7946, 3.1.9)."""
    tree = moved(179.9985, 10.0)
    for feature in tree["features"]:
        geometry = feature["geometry"]
        if geometry["type"] not in {"Polygon", "LineString"}:
            continue
        whole = shape(
            {
                **geometry,
                "coordinates": _each(
                    geometry["coordinates"], lambda x, y: [x % 360, y]
                ),
            }
        )
        west = whole.intersection(shapely.box(0, -90, 180, 90))
        east = whole.intersection(shapely.box(180, -90, 360, 90))
        parts = [p for p in (west, affinity.translate(east, -360)) if not p.is_empty]
        feature["geometry"] = mapping(parts[0])
        if len(parts) > 1:
            feature["geometry"] = {
                "type": f"Multi{geometry['type']}",
                "coordinates": [mapping(p)["coordinates"] for p in parts],
            }
    return json.loads(json.dumps(tree))


def crowded(count: int = 40) -> Tree:
    """So many more car parks, most of them where something may fall."""
    tree, _ = _demo()
    lot = next(f for f in tree["features"] if f["properties"]["role"] == "parking")
    for i in range(count):
        other = copy.deepcopy(lot)
        other["properties"].update(name=f"Lot {i + 1}", people=5 + i)
        right, up = 0.0035 * (i % 8) - 0.012, -0.0022 * (i // 8) - 0.003
        other["geometry"]["coordinates"] = _each(
            lot["geometry"]["coordinates"], lambda x, y, e=right, n=up: [x + e, y + n]
        )
        tree["features"].append(other)
    return tree


def hostile() -> Tree:
    """Names from right to left, with all that means something to a page."""
    tree, _ = _demo()
    tree["name"] = HEBREW.format("השקה")
    for i, feature in enumerate(tree["features"]):
        if feature["properties"].get("name"):
            feature["properties"]["name"] = HEBREW.format(i)
    return tree


SITES: dict[str, Callable[[], Tree]] = {
    "100 m field": lambda: moved(-117.952, 41.604, 0.06),
    "8 km field": lambda: moved(-117.952, 41.604, 3.0),
    "40 areas": crowded,
    "65 N": lambda: moved(20.0, 65.0),
    "south": lambda: moved(150.0, -33.0),
    "180th meridian": dateline,
    "right to left": hostile,
}

_STRANGE = str.maketrans(
    string.ascii_letters, "абвгдежзиклмнопрстуфхцчшщэАБВГДЕЖЗИКЛМНОПРСТУФХЦЧШЩЭ"
)


def foreign(path: Path) -> str:
    """Write a catalogue in which no message has a Latin letter, and give its path."""
    english = (ROOT / "driftmap/report/messages/en.toml").read_text("utf-8")

    def strange(text: str) -> str:
        return re.sub(
            r"\{\w+\}|\\u....|\\.|[^{\\]+",
            lambda m: m[0] if m[0][0] in "{\\" else m[0].translate(_STRANGE),
            text,
        )

    head, messages = english.split("cautions = [", 1)
    told = re.sub(
        r'(^\s*|= )"((?:[^"\\]|\\.)*)"(?=,?$)',
        lambda m: f'{m[1]}"{strange(m[2])}"',
        messages,
        flags=re.M,
    )
    head = head.replace('"en"', '"ru"')
    path.write_text(f"{head}cautions = [{told}", encoding="utf-8")
    return str(path)


class _Shown(HTMLParser):
    """Texts that a page shows or tells, but those marked as English."""

    TELLING = ("aria-label", "title", "alt", "placeholder", "data-label")
    EMPTY = frozenset({"meta", "link", "input", "br", "hr", "img"})

    def __init__(self) -> None:
        super().__init__()
        self.inside: list[tuple[str, bool]] = [("", False)]
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = dict(attrs)
        hidden = tag in {"script", "style", "code"} or own.get("lang") == "en"
        hidden = hidden or self.inside[-1][1]
        if not hidden:
            self.texts += [own[key] or "" for key in self.TELLING if key in own]
        if tag not in self.EMPTY:
            self.inside.append((tag, hidden))

    def handle_endtag(self, tag: str) -> None:
        if any(tag == other for other, _ in self.inside):
            while self.inside.pop()[0] != tag:
                pass

    def handle_data(self, data: str) -> None:
        if not self.inside[-1][1]:
            self.texts.append(data)


UNITS = "mph lbf psi min UTC driftmap"


def latin_words(page: str, *names: str) -> set[str]:
    """List the words in Latin letters that a page says by itself.

    ``names``: what may stand there: names from files, and what was typed.
    """
    shown = _Shown()
    shown.feed(page)
    told = re.findall(r"[A-Za-z]{3,}", " ".join(shown.texts))
    return set(told) - set(re.findall(r"[A-Za-z]{3,}", " ".join([UNITS, *names])))


# Each finding in a line; nothing to say is an empty list.
FINDINGS = """
const found = [];
const box = (e) => e.getBoundingClientRect();
const meets = (a, b, by = 1) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > by && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > by;
const every = (s) => [...document.querySelectorAll(s)];
if (document.documentElement.scrollWidth > innerWidth) found.push(`scrolls sideways: ${document.documentElement.scrollWidth} of ${innerWidth}`);
for (const word of every('header .word')) {
  if (word.getClientRects().length > 1) found.push('the word breaks');
  if (box(word).right > innerWidth + 1) found.push('the word is cut');
  const sign = word.closest('header').querySelector('.sign');
  if (sign && (box(sign).right > box(word).left + 1 || box(sign).bottom < box(word).top || box(sign).top > box(word).bottom)) found.push('the sign stands off its word');
}
const map = document.querySelector('.map');
if (map) {
  const frame = box(map);
  const labels = every('.map .label');
  const shown = labels.filter((l) => !l.classList.contains('off'));
  const said = (l) => l.textContent.slice(0, 24);
  const people = shown.filter((l) => l.classList.contains('people') || l.classList.contains('zone'));
  people.forEach((a, i) => people.slice(i + 1).forEach((b) => { if (meets(box(a), box(b))) found.push(`overlap: ${said(a)} / ${said(b)}`); }));
  const arrows = every('#far bdi').map((told) => told.textContent);
  for (const label of labels) {
    if (!label.classList.contains('off') || label.classList.contains('joined') || !(label.classList.contains('people') || label.classList.contains('zone'))) continue;
    if (label.classList.contains('clear')) continue; // where there is room: the arrow of who must move tells the way
    const at = box(label.parentElement);
    const number = label.querySelector('b')?.textContent;
    if (number && arrows.some((told) => told.startsWith(`${number} `))) continue; // at the very edge: an arrow
    if (at.left >= frame.left && at.left <= frame.right && at.top >= frame.top && at.top <= frame.bottom) found.push(`missing: ${said(label)}`);
  }
  const ways = every('.map .leader').map((l) => ({ l, own: l.nextElementSibling }));
  const line = (w) => { const o = box(w.l.parentElement); return w.l.dataset.way.split(' ').map((at, i) => Number(at) + (i % 2 ? o.top : o.left)); };
  const through = ([x, y, u, v], b) => { for (let t = 0.06; t <= 0.94; t += 0.02) { const p = x + t * (u - x), q = y + t * (v - y); if (p > b.left + 2 && p < b.right - 2 && q > b.top + 2 && q < b.bottom - 2) return true; } return false; };
  const wedge = (w) => { const o = box(w.l.parentElement); const [tip, ...feet] = w.l.firstChild.getAttribute('d').slice(1, -1).split('L').map((at) => at.split(' ').map((v, i) => Number(v) + (i ? o.top : o.left))); return feet.map((foot) => [...tip, ...foot]); };
  for (const w of ways) for (const l of people) if (l !== w.own && [line(w), ...wedge(w)].some((side) => through(side, box(l.querySelector('b') ?? l)))) found.push(`leader of ${said(w.own)} through ${said(l)}`);
  if (typeof grown === 'function') {
    const grounds = areas.map((area) => polygonsOf([area]));
    const folk = areas.map((area, i) => [area, i]).filter(([area]) => area.options.className.includes('people')).map(([, i]) => i);
    for (const l of shown.filter((l) => l.classList.contains('people'))) {
      const at = grown(box(l), -1.5);
      const plain = parseFloat(getComputedStyle(document.documentElement).fontSize) <= 16; // of larger letters rather so than a tail through another's
      if (plain && lies(at, grounds[l.dataset.area]) === 'over') found.push(`hides its own ground: ${said(l)}`);
      if (folk.length <= 6 && folk.some((i) => i !== Number(l.dataset.area) && lies(at, grounds[i]) !== 'off')) found.push(`hides others' ground: ${said(l)}`);
    }
    for (const kind of ['danger', 'caution']) {
      const zone = zonePolygons(kind), [word] = shown.filter((l) => l.matches(`.zone.${kind}`));
      if (!word || !zone.length) continue;
      const plate = box(word.querySelector('b'));
      if (lies(grown(plate, -1.5), zone) === 'in' && plate.width * plate.height > 0.25 * areaOf(zone)) found.push(`hides its own zone: ${said(word)}`);
      if (['danger', 'caution'].some((each) => lies(grown(plate, -1.5), zonePolygons(each)) === 'over')) found.push(`over an edge: ${said(word)}`);
      if (typeof tellReach === 'function' && zone.flat(2).some(([x, y]) => x < frame.left || y < frame.top || x > frame.right || y > frame.bottom) && !word.querySelector('.whither')) found.push(`cut without an arrow: ${said(word)}`);
    }
  }
  if (typeof polygonsOf === 'function' && zoneDrawn('danger').length) for (const l of labels.filter((l) => l.classList.contains('people'))) {
    const ground = polygonsOf([areas[l.dataset.area]]), name = l.querySelector('bdi').textContent;
    const drawn = ['danger', 'caution'].filter((kind) => ground.flat(2).some(([x, y]) => lies(boxAt(x, y, { width: 1, height: 1 }), zonePolygons(kind)) === 'in'));
    for (const line of every('#stand-told .one')) {
      const [told] = ['clear', 'caution', 'move'].filter((kind) => line.querySelector(`.signal.${kind}`));
      const names = line.textContent.split(/[:;,.\\n]|–/).map((part) => part.replace(/[\u2068\u2069]/g, '').trim().replace(/^\\d+\\s/, ''));
      if (names.includes(name) && { clear: drawn.length, caution: drawn.includes('danger') }[told]) found.push(`told ${told}, drawn in ${drawn}: ${said(l)}`);
    }
  }
  for (const chip of every('#far span')) { const b = box(chip); if (Math.min(b.left - frame.left, frame.right - b.right, b.top - frame.top, frame.bottom - b.bottom) > 31) found.push(`off the edge: ${chip.textContent}`); }
  for (const path of every('.map path')) { const b = box(path); if (b.width > 20000 && !path.classList.contains('waiver')) found.push(`a line across the world: ${path.className.baseVal}`); }
}
const colours = {}; // of one number: red says move, on a list as in an order
for (const number of every('.disc, .badge.people, .people-list .number')) {
  const [red, green] = getComputedStyle(number).backgroundColor.match(/[\\d.]+/g).map(Number);
  (colours[number.textContent] ??= new Set()).add(red - green > 60);
}
for (const [number, kinds] of Object.entries(colours)) if (kinds.size > 1) found.push(`number ${number} in two colours`);
const targets = every('button, summary, input, select, label').filter((e) => e.offsetParent && !e.closest('svg'));
for (const e of targets) {
  const whole = e.matches('input[type=checkbox]') ? e.closest('label') ?? e : e;
  if (e.matches('label') && !e.querySelector('input')) continue;
  const { width, height } = box(whole);
  if (height < 43.5 || width < 43.5) found.push(`small: ${(e.innerText || e.id || e.className).slice(0, 20)} ${width.toFixed(0)} x ${height.toFixed(0)}`);
}
return found;
"""

CONTRAST = """
const light = (c) => { const v = c.match(/[\\d.]+/g).slice(0, 3).map(x => x / 255)
  .map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
  return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
const ratio = (a, b) => { const [x, y] = [light(a), light(b)]; return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); };
const ground = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor;
  if (!/rgba\\(.*, 0\\)|transparent|color\\(/.test(c)) return c; } return getComputedStyle(document.body).backgroundColor; };
for (const d of document.querySelectorAll('details')) d.open = true;
const texts = [...document.querySelectorAll('body *')]
  .filter(e => !e.closest('svg, .leaflet-pane, noscript, template, script') && e.offsetParent && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
  .map(e => [ratio(getComputedStyle(e).color, ground(e)), e.innerText.slice(0, 30)])
  .filter(([r]) => r < 4.5).map(([r, t]) => `text ${r.toFixed(2)}: ${t}`);
const paper = getComputedStyle(document.body).backgroundColor;
const lines = [...document.querySelectorAll('.map path.boundary, .map path.zone, .map path.area.people, .map path.contour, .map path.edge')]
  .map(e => [ratio(getComputedStyle(e).stroke, paper), e.className.baseVal])
  .filter(([r]) => r < 3).map(([r, t]) => `line ${r.toFixed(2)}: ${t}`);
return [...new Set([...texts, ...lines])];
"""
"""Texts and lines of a page that stand out too little: WCAG 2.2, success criteria 1.4.3 and 1.4.11."""
