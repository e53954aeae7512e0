// Ticking squares off: Bayes' rule on the chances that were worked out before, no physics.
"use strict";
const SPOT = SEARCH.squares;
const KEY = "driftmap-search-" + SEARCH.id;
const find = id => document.getElementById(id);
// Every walk has an id of its own, so that two pages put together count none twice;
// a walk taken back stays, marked, so that it is taken back on the other page too.
let walks = {}, finds = {}, here = SEARCH.start, standing = false, placed = SEARCH.start.some(Boolean);

// A find that was none stays too, marked: else another page would bring it back.
function foundIn() {
  const own = Object.values(finds).find(find => !find.off);
  return own ? own.square : null;
}

function fresh() {
  return Array.from(crypto.getRandomValues(new Uint8Array(8)), b => b.toString(16).padStart(2, "0")).join("");
}

function load(text) {
  const data = JSON.parse(text);
  if (typeof data !== "object" || !data || data.search !== SEARCH.id) {
    throw new Error(say("foreign"));
  }
  const whole = {};
  for (const [id, walk] of Object.entries(data.walks || {})) {
    const known = /^[0-9a-f]{16}$/.test(id) && Array.isArray(walk.squares) &&
      walk.squares.every(n => Number.isInteger(n) && n >= 0 && n < SPOT.length) &&
      walk.seen >= 0 && walk.seen <= 1;
    if (!known) throw new Error(say("unread"));
    whole[id] = {squares: walk.squares, seen: +walk.seen, who: String(walk.who || "").slice(0, 40), off: walk.off === true};
  }
  const places = {};
  for (const [id, find] of Object.entries(data.finds || {})) {
    if (!/^[0-9a-f]{16}$/.test(id) || !SPOT[find.square]) throw new Error(say("unread"));
    places[id] = {square: find.square, off: find.off === true};
  }
  return {walks: whole, finds: places};
}

function state() {
  return JSON.stringify({search: SEARCH.id, walks, finds});
}

// Another window of this page may have kept walks of its own since.
function keep() {
  try { merge(load(localStorage.getItem(KEY) ?? state())); } catch { /* what cannot be read gives way */ }
  try { localStorage.setItem(KEY, state()); } catch { tell(say("keeps_none")); }
}

function merge(other) {
  for (const [id, walk] of Object.entries(other.walks)) {
    walks[id] = walks[id] ? {...walks[id], off: walks[id].off || walk.off} : walk;
  }
  for (const [id, find] of Object.entries(other.finds)) {
    finds[id] = {...find, off: find.off || (finds[id] || find).off};
  }
}

// Chance of each square now, and what was left to expect before anything more is walked.
function chances() {
  const unseen = SPOT.map(() => 1);
  for (const walk of Object.values(walks)) {
    if (!walk.off) for (const n of walk.squares) unseen[n] *= 1 - walk.seen;
  }
  // What is buried, or in a ditch, nobody sees however often they walk.
  const missed = SPOT.map((spot, n) => spot[3] * Math.max(unseen[n], 1 - SEARCH.surest));
  const listed = SPOT.reduce((sum, spot) => sum + spot[3], 0);
  const beside = Math.max(0, 1 - listed);
  const left = missed.reduce((a, b) => a + b, beside);
  return {now: missed.map(m => m / left), beside: beside / left, left};
}

function walkers() {
  return {count: Math.max(1, +find("count").value || 1), spacing: Math.max(0.5, (+find("spacing").value || 10) * SEARCH.unit[1]), cover: find("cover").value};
}

function far(metres) {
  const paced = Number((metres / SEARCH.unit[1]).toPrecision(3)); // nobody walks to the foot
  return number(paced) + "\u00a0" + SEARCH.unit[0];
}

function share(p) {
  if (p > 0 && p < 0.001) return say("under");
  const digits = p < 0.1 ? 1 : 0;
  return (100 * p).toLocaleString(document.documentElement.lang, {minimumFractionDigits: digits, maximumFractionDigits: digits}) + "\u00a0%";
}

function tell(text) {
  find("say").textContent = text;
}

function tick(numbers) {
  const names = numbers.map(n => SPOT[n][0]).join(", ");
  walks[fresh()] = {squares: numbers, seen: detection(walkers()), who: find("who").value.trim().slice(0, 40), off: false};
  standAt(middle([SPOT[numbers.at(-1)][1], SPOT[numbers.at(-1)][2]]));
  tell(say("walked", {names}));
  keep();
  show();
}

function times(n) {
  return Object.values(walks).filter(walk => !walk.off && walk.squares.includes(n)).length;
}

function paint(now) {
  const most = Math.max(...now, 1e-12);
  for (const cell of document.querySelectorAll("rect.cell")) {
    const n = +cell.dataset.n;
    cell.setAttribute("fill-opacity", (0.3 + 0.6 * now[n] / most).toFixed(3));
    cell.classList.toggle("walked", times(n) > 0);
    cell.classList.toggle("here-it-is", foundIn() === n);
    cell.querySelector("title").textContent = `${SPOT[n][0]}: ${share(now[n])}${SPOT[n][4].length ? ". " + SPOT[n][4].join("; ") : ""}`;
  }
}

function element(name, text, of) {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  if (of) made.className = of;
  return made;
}

function button(text, act) {
  const made = element("button", text);
  made.type = "button";
  made.addEventListener("click", act);
  return made;
}

// The squares to walk first, in the words of the list and with a frame about them.
const named = ({numbers}) => {
  const names = numbers.map(n => SPOT[n][0]);
  return names.length === 1 ? names[0] : say("run", {first: names[0], last: names.at(-1), count: number(names.length)});
};

// What to mind there and on the way, what kills first.
function minds({numbers, mind}) {
  const there = new Set(numbers.flatMap(n => SPOT[n][4]));
  return SEARCH.dangers.map(([text]) => text).filter(text => there.has(text) || mind.includes(text)).map(text => there.has(text) ? text : say("on_way", {text}));
}

function frame(sweep) {
  const cells = sweep.numbers.map(n => document.querySelector(`rect.cell[data-n="${n}"]`)), box = find("first");
  for (const [at, long] of [["x", "width"], ["y", "height"]]) {
    const places = cells.map(cell => +cell.getAttribute(at));
    box.setAttribute(at, Math.min(...places));
    box.setAttribute(long, Math.max(...places) - Math.min(...places) + 1);
  }
}

function list(plan) {
  const rows = plan.slice(0, 6).map((sweep, i) => {
    const row = element("li");
    row.append(element("b", named(sweep)), element("span", say("figures", {way: far(sweep.metres), gain: share(sweep.gain), left: share(sweep.left)})));
    row.append(...minds(sweep).map(text => element("em", text)));
    if (i === 0) row.append(element("span", way(sweep)));
    if (i === 0) row.append(button(say("in_vain"), () => tick(sweep.numbers)));
    return row;
  });
  find("order").replaceChildren(...rows);
}

// Move to where one stands now; until it is told, ways count from the pad.
function standAt(place) {
  here = place;
  placed = true;
}

// Where the sweep begins, from where one stands.
function way(sweep) {
  const [east, north] = [sweep.first[0] - here[0], sweep.first[1] - here[1]], off = Math.hypot(east, north);
  if (placed && off < SEARCH.size / 2) return say("from_here");
  const turn = (Math.atan2(east, north) * 180 / Math.PI + 360) % 360;
  return say(placed ? "begins" : "begins_pad", {distance: far(off), bearing: `${String(Math.round(turn) % 360).padStart(3, "0")}°`});
}

function history() {
  const rows = Object.entries(walks).filter(([, walk]) => !walk.off).map(([id, walk]) => {
    const row = element("li", say(walk.who ? "walk_by" : "walk", {names: walk.squares.map(n => SPOT[n][0]).join(", "), who: walk.who, share: share(walk.seen)}));
    row.append(button(say("back"), () => { walks[id] = {...walk, off: true}; keep(); show(); }));
    return row;
  });
  find("walks").replaceChildren(...rows);
  find("none").hidden = rows.length > 0;
}

function show() {
  const {now, beside, left} = chances(), found = foundIn();
  const plan = found !== null ? [] : planWalk(SPOT.map((spot, n) => [spot[1], spot[2], now[n], n]), here, walkers());
  const [first] = plan, vain = SPOT.every((_, n) => times(n) > 0);
  find("status").textContent = found !== null ? say("found", {square: SPOT[found][0]}) : first ? [...(vain ? [say("all_walked")] : []), say("first", {squares: named(first), way: way(first)}), ...minds(first)].join(" ") : "";
  find("first").toggleAttribute("hidden", !first);
  if (first) frame(first);
  const walked = Object.values(walks).some(walk => !walk.off);
  find("left").textContent = `${walked ? `${say("so_far", {share: share(1 - left)})} ` : ""}${say("now", {share: share(1 - beside), beside: share(beside)})}`;
  paint(now);
  document.body.classList.toggle("done", found !== null);
  list(plan);
  history();
  find("state").value = state();
}

// Latitude and longitude as a receiver takes them, to a metre.
function place([east, north]) {
  const [latitude, longitude, toNorth, toEast] = SEARCH.at;
  return `${(latitude + north / toNorth).toFixed(5)}, ${(longitude + east / toEast).toFixed(5)}`;
}

// The phone's own place, where it tells it: nothing leaves the phone.
let watch = null;
function me(fix) {
  const [latitude, longitude, north, east] = SEARCH.at;
  const at = [(fix.coords.longitude - longitude) * east, (fix.coords.latitude - latitude) * north];
  const [x, y] = [(at[0] - SEARCH.west) / SEARCH.size, (at[1] - SEARCH.south) / SEARCH.size];
  const n = SPOT.findIndex(spot => spot[1] === Math.floor(x) && spot[2] === Math.floor(y));
  const dot = find("me");
  dot.setAttribute("cx", x.toFixed(3));
  dot.setAttribute("cy", (SEARCH.rows - y).toFixed(3));
  dot.setAttribute("visibility", "visible");
  tell(say(n >= 0 ? "you_in" : "you_beside", {square: SPOT[n]?.[0], error: far(fix.coords.accuracy)}));
  // The order changes when one has gone somewhere, not with every step.
  if (Math.hypot(at[0] - here[0], at[1] - here[1]) > SEARCH.size / 2 || !placed) { standAt(at); show(); }
}

function follow() {
  const lost = () => { stay(); tell(say("no_place", {stand: say("stand")})); };
  if (!navigator.geolocation) return lost();
  find("follow").setAttribute("aria-pressed", "true");
  tell(say("asking"));
  watch = navigator.geolocation.watchPosition(me, lost, {enableHighAccuracy: true, maximumAge: 5000, timeout: 30000});
}

function stay() {
  if (watch !== null) navigator.geolocation.clearWatch(watch);
  watch = null;
  find("follow").setAttribute("aria-pressed", "false");
  find("me").setAttribute("visibility", "hidden");
}

let picked = null;
function pick(n) {
  if (standing) {
    standing = false;
    find("stand").setAttribute("aria-pressed", "false");
    standAt(middle([SPOT[n][1], SPOT[n][2]]));
    tell(say("you_stand", {square: SPOT[n][0]}));
    show();
    return;
  }
  picked = n;
  const {now} = chances();
  find("picked").hidden = false;
  find("picked-name").textContent = say("picked", {square: SPOT[n][0], share: share(now[n]), count: number(times(n)), place: place(middle([SPOT[n][1], SPOT[n][2]]))});
  find("picked-mind").replaceChildren(...SPOT[n][4].map(text => element("em", text)));
}

for (const cell of document.querySelectorAll("rect.cell")) cell.addEventListener("click", () => pick(+cell.dataset.n));
find("tick").addEventListener("click", () => { tick([picked]); find("picked").hidden = true; });
find("here").addEventListener("click", () => { finds[fresh()] = {square: picked, off: false}; keep(); show(); find("picked").hidden = true; });
find("lost").addEventListener("click", () => { for (const own of Object.values(finds)) own.off = true; keep(); show(); });
find("stand").addEventListener("click", () => { standing = true; find("stand").setAttribute("aria-pressed", "true"); tell(say("tap")); });
find("follow").addEventListener("click", () => watch === null ? follow() : stay());
for (const id of ["count", "spacing", "cover"]) find(id).addEventListener("input", show);
for (const [id, by] of [["nearer", 1.5], ["farther", 1 / 1.5]]) {
  find(id).addEventListener("click", () => {
    const chart = find("chart"), now = parseFloat(chart.style.width) || 100;
    chart.style.width = Math.min(600, Math.max(100, now * by)) + "%";
  });
}
find("copy").addEventListener("click", async () => {
  find("state").select();
  try { await navigator.clipboard.writeText(state()); tell(say("copied")); } catch { tell(say("copy_it")); }
});
find("join").addEventListener("click", () => {
  try {
    merge(load(find("other").value));
    find("other").value = "";
    keep();
    show();
    tell(say("joined"));
  } catch (problem) { tell(problem instanceof SyntaxError ? say("no_text") : problem.message); }
});
find("spacing").value = Math.round(SEARCH.walkers.spacing / SEARCH.unit[1]);
find("count").value = SEARCH.walkers.count;
find("cover").value = SEARCH.walkers.cover;
try {
  const kept = localStorage.getItem(KEY);
  if (kept) merge(load(kept));
} catch { tell(say("kept_unread")); }
show();
