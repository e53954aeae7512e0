// The reading, and everything that follows from it.

const WORD = DIAL.words;
let framed = false;
let dragging = false;

function fall(speed) {
  const [value, unit] = DIAL.units === "us" ? [speed / FOOT, "ft/s"] : [speed, "m/s"];
  return `${number(Math.ceil(value - ON))}\u00a0${unit}`;
}

function percent(share) {
  const value = share * 100;
  return `${number(value < 10 ? Number(value.toPrecision(2)) : Math.round(value), 6)}\u00a0%`;
}

function value(id) {
  const text = one(id).value.trim();
  return text === "" ? NaN : Number(text);
}

let readAt = present(); // when the meter was read

const magnetic = () => one("#magnetic").getAttribute("aria-pressed") === "true";

// What must be added to a bearing as it is read to make it true [deg]: no number while that is not known, or is none of this Earth.
function offset() {
  const turn = magnetic() ? value("#declination") : 0;
  return Math.abs(turn) <= one("#declination").max ? turn : NaN;
}

// The reading as the fields hold it, its bearing true: null while one is empty or no number.
function reading() {
  const [speed, read, turn] = [value("#speed"), value("#from"), offset()];
  if (speed === 0 && Number.isNaN(read)) return { speed: 0, from: 0, gust: value("#gust") }; // calm has no direction
  if (read < 0 || read > 360) return { speed, from: NaN, gust: value("#gust") }; // 400 may be 040 or 140
  const from = (((read + turn) % 360) + 360) % 360;
  return Number.isFinite(speed) && Number.isFinite(from) ? { speed, from, gust: value("#gust") } : null;
}

// Another north: the wind stays as it is, its bearing is written anew. Without a known needle nothing stands,
// and what was counted from the other north cannot be brought back.
function count(from) {
  if (from === magnetic()) return;
  const wind = reading();
  before = null;
  one("#undo").disabled = true;
  one("#magnetic").setAttribute("aria-pressed", String(from));
  one("#true").setAttribute("aria-pressed", String(!from));
  one("#needle").hidden = !from;
  if (Number.isFinite(wind?.from) && Number.isFinite(offset())) write(wind);
  else one("#from").value = "";
  show();
}

let before = null; // the reading that "undo" brings back, and when it was read
let waiting = 0; // a redraw that waits for the screen
const FIELDS = ["#speed", "#from", "#gust"];

function remember() {
  before = { told: FIELDS.map((field) => one(field).value), at: readAt };
  one("#undo").disabled = false;
}

function write(wind) {
  one("#speed").value = Number(wind.speed.toFixed(2));
  one("#from").value = Number(((((wind.from - (offset() || 0)) % 360) + 360) % 360).toFixed(1));
}

// A reading set now; what is only shown again keeps its age.
function read() {
  readAt = present();
  show();
}

// One redraw for each picture of the screen, however many events there are.
function redraw() {
  waiting ||= requestAnimationFrame(() => {
    waiting = 0;
    show();
  });
}

function put(wind) {
  remember();
  write(wind);
  read();
}

// While the knob is dragged, labels wait: placing them takes most of a redraw.
function drag(wind) {
  dragging = true;
  write(wind);
  readAt = present();
  redraw();
}

function drop() {
  dragging = false;
  show();
}

// What comes back is as old as it was.
function undo() {
  if (!before) return;
  const { told, at } = before;
  remember();
  FIELDS.forEach((field, i) => { one(field).value = told[i]; });
  readAt = at;
  show();
}

function lock() {
  const locked = one("#lock").getAttribute("aria-pressed") !== "true";
  one("#lock").setAttribute("aria-pressed", String(locked));
  one("#lock").textContent = say(locked ? "locked" : "lock");
  document.documentElement.classList.toggle("locked", locked);
  for (const control of all(".knob input, .knob button, .north button")) control.disabled = locked;
}

// Move the reading by keys or buttons; the first press starts from calm and north.
function nudge(speeds, turns) {
  if (one("#lock").getAttribute("aria-pressed") === "true") return;
  const set = reading();
  const now = Number.isFinite(set?.from) ? set : { speed: 0, from: 0 };
  const most = DIAL.top / DIAL.speed.size;
  const speed = Math.min(Math.max(now.speed + speeds * speedStep(), 0), most);
  put({ speed, from: (((now.from + turns * SNAP) % 360) + 360) % 360 });
}

function lines(element, texts) {
  element.replaceChildren(...texts.map((text) => {
    const line = document.createElement(element.tagName === "UL" ? "li" : "p");
    line.textContent = text;
    return line;
  }));
}

function against(wind, about) {
  if (!wind) return { told: [say(magnetic() && !Number.isFinite(offset()) ? "no_needle" : "first")], more: 0, every: [] };
  if (!about.length) return { told: [say(wind.speed >= 0 ? "no_bearing" : "no_wind")], more: 0, every: [] };
  const speed = wind.speed * DIAL.speed.size;
  if (beyond(speed)) return { told: [say(speed > DIAL.limit ? "over_limit" : "stronger", { top: blowing(DIAL.top) })], more: 0, every: [] };
  const found = reasonsAt(about);
  const every = found.map((reason) => `${reason.told}.`);
  const asked = [...askedAt(about)];
  if (asked.length) {
    // A question holds whatever the wind does: only what fails comes before it.
    const fails = every.slice(0, found[0]?.outcome === 2 ? 1 : 0);
    const question = say(asked.length > 1 ? "asked_many" : "asked", { count: number(asked.length), question: DIAL.questions[asked[0]] });
    return { told: [...fails, question], more: every.length - fails.length, every };
  }
  if (every.length) return { told: every.slice(0, 1), more: every.length - 1, every };
  return { told: [say(about.some((place) => DIAL.verdicts[place] === "go if aloft") ? "aloft" : "kept")], more: 0, every };
}

const blowing = (speed) => `${number(speed / DIAL.speed.size, 1)}\u00a0${DIAL.speed.unit}`;

// The wind as it was set; with a needle also as the map counts it.
function told(wind) {
  const speed = `${number(wind.speed, 2)}\u00a0${DIAL.speed.unit}`;
  if (!wind.speed) return `${speed}, ${say("calm")}`;
  if (!Number.isFinite(wind.from)) return say("not");
  const from = magnetic() ? say("true", { bearing: bearing(wind.from) }) : bearing(wind.from);
  return say("reading", { speed, bearing: from });
}

// Which cell the figures are the worst of.
function cellTold(wind) {
  const whole = wind?.speed >= 0 && Number.isFinite(wind.from);
  const cell = whole && !beyond(wind.speed * DIAL.speed.size) && cellOf(wind.speed * DIAL.speed.size, wind.from);
  if (!cell) return "";
  const [low, high, left, right] = cell;
  const way = (degrees) => bearing(degrees).split("\u00a0")[0];
  return say("cell", { low: number(low / DIAL.speed.size, 1), high: blowing(high), left: way(left), right: way(right) });
}

// The strongest gust of a wind that was flown, in its unit and never more than that: what an empty box stands for.
function flownTo(wind) {
  return wind?.speed >= 0 && !beyond(wind.speed * DIAL.speed.size) ? number(Math.floor(10 * (wind.speed * DIAL.gust + ON)) / 10, 1) : "";
}

// How long a go still counts; it falls to hold by itself. Nothing else is good for any time.
function showAge(verdict, old) {
  const served = DIAL.span ? (DIAL.span[1] - present()) / 1000 : DIAL.stale;
  const left = Math.max(0, Math.min(served, DIAL.stale - (present() - readAt) / 1000));
  one("#age").hidden = !verdict.startsWith("go") || Boolean(old);
  one("#left").value = left;
  // By the clock of the site, whatever that of the phone.
  const end = new Date(present().getTime() + 1000 * left + 60000 * DIAL.zone.minutes);
  const time = `${end.toISOString().slice(11, 16)} (${DIAL.zone.name})`;
  one("#left-told").textContent = say("left", { time, minutes: Math.ceil(left / 60) });
}

// What not to do, in the line of why not, so that the head keeps its height under a thumb.
function toDo(verdict, [first, ...more], about) {
  const what = about.length && DIAL.todo[verdict];
  return what ? [`${what} ${first}`, ...more] : [first, ...more];
}

// Why a reading counts no more; what spoke against it stays beside that.
const over = (reasons, word) => (word.startsWith("go") ? [] : reasons.slice(0, 1));

// The reading, why it does not count, and the winds worked out about it: those that judge it, and those whose ground is
// drawn. Of a wind beyond them nothing is.
function taken() {
  const wind = reading();
  const judged = wind ? surrounding(wind.speed * DIAL.speed.size, wind.from) : [];
  const old = wind ? lapsed(readAt, present()) : "";
  const gust = wind ? gusty(wind.speed, wind.gust, one("#gust").validity.badInput) : "";
  const about = !judged.length || beyond(wind.speed * DIAL.speed.size) ? [] : judged;
  return { wind, judged, about, old, gust };
}

function showVerdict({ wind, judged, about, old, gust }) {
  const words = wind ? [wordAt(wind.speed * DIAL.speed.size, wind.from)] : [];
  const verdict = worst([...words, ...(old || gust || !wind ? ["hold"] : [])]);
  document.body.className = verdict.replaceAll(" ", "-");
  document.body.classList.toggle("dragging", dragging);
  document.body.classList.toggle("lapsed", Boolean(old || gust));
  one(".word").textContent = WORD[verdict];
  one(".word").style.setProperty("--n", WORD[verdict].length);
  for (const sign of all("header .sign g")) sign.toggleAttribute("hidden", sign.dataset.of !== verdict);
  const blows = wind ? told(wind) : say("not");
  one("#reading").textContent = blows;
  showAge(verdict, old);
  const { told: reasons, more, every } = against(wind, judged);
  const most = flownTo(wind);
  one("#gust").placeholder = most && `≤\u00a0${most}`;
  const steady = verdict.startsWith("go") && !Number.isFinite(wind.gust) ? [say(DIAL.gust > 1 ? "no_gust_up_to" : "no_gust", { most: `${most}\u00a0${DIAL.speed.unit}` })] : [];
  lines(one("#why"), old || gust ? [old, gust, ...over(reasons, words[0])].filter(Boolean) : [...toDo(verdict, reasons, judged), ...steady]);
  one("#cell").textContent = old || gust ? "" : wind ? cellTold(wind) : say("serves", { top: blowing(DIAL.top), day: DIAL.date });
  one("#more").hidden = more <= 0;
  one("#more-count").textContent = say("more", { count: more });
  lines(one("#every"), every);
  one("#against").hidden = !every.length;
  const wheel = one("#wheel");
  // Where the colours of the disc do not speak of this wind now, they say nothing.
  wheel.classList.toggle("mute", Boolean(old || gust) || !about.length);
  wheel.setAttribute("aria-valuenow", Number.isFinite(wind?.from) ? Math.round(wind.from) : 0);
  wheel.setAttribute("aria-valuetext", `${blows}: ${WORD[verdict]}`);
  showUnknown({ judged, about, old, gust });
}

function showPieces(about) {
  all("[data-likely]").forEach((element) => {
    const share = about.length ? likelyAt(about, Number(element.dataset.likely)) : 0;
    element.textContent = about.length ? (share ? say("of_flights", { share: percent(share) }) : say("never")) : "";
  });
  DIAL.cases.forEach((_, index) => {
    const figures = about.length ? figuresAt(about, index) : null;
    one(`[data-figures="${index}"]`).textContent = figures
      ? say("figures", {
        distance: length(Math.hypot(figures.east, figures.north)),
        compass: pointOf((Math.atan2(figures.east, figures.north) * 180) / Math.PI),
        far: length(figures.farthest), time: number(figures.soonest), speed: fall(figures.speed),
      })
      : say("none");
  });
}

// Whether it is known where anything comes down.
const knownAt = (about) => about.some((place) => WINDS[place].pieces.some(Boolean));

// Why nothing is drawn, or what is drawn is not of this wind now; and where people stay meanwhile, but for those whom the
// nearest wind that was worked out sends away, or has in a zone where this one is stronger.
function showUnknown({ judged, about, old, gust }) {
  const known = knownAt(about);
  const drawn = old ? say("not_now") : gust ? say("not_gusts") : "";
  const why = known ? drawn : say(judged.length ? "not_worked" : "set_first");
  document.body.classList.toggle("unknown", !known);
  one("#unknown").hidden = !why;
  if (!why) return;
  const { crowd } = crowdAt(judged);
  const over = known ? overOf(crowd) : crowd.filter(({ kind, outcome }) => kind || outcome === 2);
  const sent = over.map((place) => ({ ...place, told: DIAL.orders.ask }));
  one("#unknown").replaceChildren(why, known && !over.length ? ` ${say("stay")}` : "");
  if (known) return;
  // Each number has its name under the word.
  one("#stand-told").replaceChildren(...(over.length ? [moveAway(sent)] : [orderOf("", say("stay")), orderOf("", "{places}", crowd)]));
  one("#look-told").replaceChildren(orderOf("", DIAL.orders.pad_later));
}

function show() {
  const { wind, judged, about, ...rest } = taken();
  showVerdict({ wind, judged, about, ...rest });
  drawHand(one("#wheel"), judged.length ? wind : null);
  showPieces(about);
  if (!dragging) showCrowd(about);
  drawLines(about);
  one("#between").textContent = about.length > 1 ? `${cellTold(wind)} ${say("round")}`.trim() : about.length ? say("very") : "";
  drawBlow(about.length ? wind : null);
  if (about.length && !framed) frame("flight");
  framed ||= about.length > 0;
  follow();
}

const KEYS = {
  ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1], PageUp: [5, 0], PageDown: [-5, 0], Home: [-1000, 0],
};

function start() {
  startGround();
  startWheel(drag, remember, drop);
  one("#lock").addEventListener("click", lock);
  one("#undo").addEventListener("click", undo);
  one("#true").addEventListener("click", () => count(false));
  one("#magnetic").addEventListener("click", () => count(true));
  if (DIAL.declination !== null) one("#declination").value = DIAL.declination;
  one("#by-cause").addEventListener("click", () => {
    one("#by-cause").setAttribute("aria-pressed", String(!byCause()));
    show();
  });
  for (const field of ["#speed", "#from"]) one(field).addEventListener("input", read);
  // Another needle is no new reading, nor does a gust read later make the mean before it any younger.
  for (const field of ["#declination", "#gust"]) one(field).addEventListener("input", show);
  // A mouse wheel that scrolls the page turns no number under it.
  for (const box of all("input[type=number]")) box.addEventListener("wheel", () => box.blur());
  for (const box of all("input[type=checkbox]")) box.addEventListener("change", show);
  for (const button of all("button[data-speed]")) button.addEventListener("click", () => nudge(Number(button.dataset.speed), 0));
  for (const button of all("button[data-turn]")) button.addEventListener("click", () => nudge(0, Number(button.dataset.turn)));
  one("#wheel").addEventListener("keydown", (event) => {
    const step = KEYS[event.key];
    if (!step) return;
    event.preventDefault();
    nudge(...step);
  });
  show();
  frame("flight");
  const again = () => showVerdict(taken());
  setInterval(again, 5000);
  window.addEventListener("message", (event) => {
    if (event.source !== window.parent || event.source === window || newer === String(event.data)) return;
    newer = String(event.data);
    show();
  });
  // A page that slept looks at its clock before anyone reads it.
  for (const event of ["pageshow", "focus"]) window.addEventListener(event, again);
  document.addEventListener("visibilitychange", again);
}
window.addEventListener("load", start);
