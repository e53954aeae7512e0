// Words of the page in its language, and figures as its readers write them.
"use strict";
const one = (selector, root = document) => root.querySelector(selector);
const all = (selector, root = document) => [...root.querySelectorAll(selector)];
const POINTS = "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW".split(" ")
  .map((point) => [...point].map((letter) => SAY.compass["NESW".indexOf(letter)]).join(""));
const FOOT = 0.3048;
const MILE = 5280 * FOOT;

// One clock stands still while a device sleeps, the other goes as it is set: the longer counts, and a clock set back makes
// nothing young again. A moment on both, how long ago one is [ms], and the time it is by now at the earliest.
const mark = () => ({ steady: performance.now(), wall: Date.now() });
const since = (moment) => Math.max(performance.now() - moment.steady, Date.now() - moment.wall);
let latest = mark();
function present() {
  latest = { steady: performance.now(), wall: latest.wall + since(latest) };
  return new Date(latest.wall);
}

// A message with what stands in its braces; every text goes into the page as text.
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
const say = (key, values = {}) => fill(SAY.words[key], values);

function number(value, digits = 0) {
  return value.toLocaleString(document.documentElement.lang, { maximumFractionDigits: digits });
}

// How far it is over the ground: what is farther than people pace in miles or kilometres, as people say it or, as measured, in hundredths.
function length(metres, digits = 2) {
  const far = SAY.units === "us" ? [2 * MILE, MILE, "mi"] : [10000, 1000, "km"];
  if (metres >= far[0]) {
    const miles = metres / far[1];
    return `${number(miles, miles < 10 ? digits : digits - 1)}\u00a0${far[2]}`;
  }
  const [value, unit] = SAY.units === "us" ? [metres / FOOT, "ft"] : [metres, "m"];
  const step = value < 100 ? 1 : value < 1000 ? 5 : 10;
  return `${number(digits < 2 ? Number(value.toPrecision(2)) : Math.round(value / step) * step)}\u00a0${unit}`;
}

function pointOf(degrees) {
  return POINTS[Math.round(((degrees % 360) + 360) / 22.5) % 16];
}

function bearing(degrees) {
  const whole = (Math.round(degrees) + 720) % 360;
  return `${String(whole || 360).padStart(3, "0")}°\u00a0(${pointOf(whole)})`;
}
