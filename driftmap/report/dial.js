// The reading, and everything that follows from it.

const WORD = { go: "GO", "go if aloft": "CHECK ALOFT", hold: "HOLD", "no-go": "NO-GO" };
const FOOT = 0.3048;
let framed = false;

function length(metres) {
  const [value, unit] = DIAL.units === "us" ? [metres / FOOT, "ft"] : [metres, "m"];
  return `${Math.round(Number(value.toPrecision(3))).toLocaleString("en-US")}\u00a0${unit}`;
}

function fall(speed) {
  const [value, unit] = DIAL.units === "us" ? [speed / FOOT, "ft/s"] : [speed, "m/s"];
  return `${Math.ceil(value - ON)}\u00a0${unit}`;
}

function percent(share) {
  const value = share * 100;
  return `${value < 10 ? Number(value.toPrecision(2)) : Math.round(value)}\u00a0%`;
}

function bearing(degrees) {
  const whole = Math.round(degrees + 360) % 360;
  return `${String(whole || 360).padStart(3, "0")}°\u00a0(${POINTS[Math.round(whole / 22.5) % 16]})`;
}

function toward(east, north) {
  const away = Math.hypot(east, north);
  const point = POINTS[Math.round(((Math.atan2(east, north) * 180) / Math.PI + 360) / 22.5) % 16];
  return `${length(away)} ${point}`;
}

function value(id) {
  const text = one(id).value.trim();
  return text === "" ? NaN : Number(text);
}

let readAt = new Date(); // when the meter was read

// The reading as the fields hold it: null while one is empty or no number.
function reading() {
  const [speed, from] = [value("#speed"), value("#from")];
  if (speed === 0 && Number.isNaN(from)) return { speed: 0, from: 0 }; // calm has no direction
  return Number.isFinite(speed) && Number.isFinite(from) ? { speed, from, gust: value("#gust") } : null;
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
  one("#from").value = Number(wind.from.toFixed(1));
}

// A reading set now; what is only shown again keeps its age.
function read() {
  readAt = new Date();
  show();
}

function put(wind) {
  remember();
  write(wind);
  read();
}

// While the knob is dragged there is one redraw for each picture of the screen.
function drag(wind) {
  write(wind);
  readAt = new Date();
  waiting ||= requestAnimationFrame(() => {
    waiting = 0;
    show();
  });
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
  one("#lock").textContent = locked ? "Locked" : "Lock";
  document.documentElement.classList.toggle("locked", locked);
  for (const control of all(".knob input, .knob button")) control.disabled = locked;
}

// Move the reading by keys or buttons; the first press starts from calm and north.
function nudge(speeds, turns) {
  if (one("#lock").getAttribute("aria-pressed") === "true") return;
  const now = reading() ?? { speed: 0, from: 0 };
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
  if (!wind) return { told: ["Set the wind you measure: speed and where it comes from"], more: 0, every: [] };
  if (!about.length) return { told: ["Not a wind: the speed must be 0 or more"], more: 0, every: [] };
  if (beyond(wind.speed * DIAL.speed.size)) {
    const over = wind.speed * DIAL.speed.size > DIAL.limit ? "and than the limit on the wind" : "";
    return { told: [`Stronger than what was worked out ${over}`.trim()], more: 0, every: [] };
  }
  const every = reasonsAt(about).map((reason) => reason.told);
  const asked = askedAt(about).size;
  const shown = asked ? 1 : 2;
  const told = every.slice(0, shown);
  if (asked) told.push(`${asked} ${asked === 1 ? "question" : "questions"} of the rules not answered${every.length ? "" : "; nothing else speaks against it"}`);
  if (!told.length) {
    const open = about.some((place) => DIAL.verdicts[place] === "go if aloft");
    told.push(open
      ? "Go only if the winds aloft are as drawn: read or ask for them first"
      : "All checks are within limits in this wind. The range safety officer decides");
  }
  return { told, more: every.length - Math.min(every.length, shown), every };
}

function showVerdict(wind, about) {
  const old = wind ? lapsed(readAt, new Date()) : "";
  const gust = wind ? gusty(wind.speed, wind.gust) : "";
  const words = wind ? [wordAt(wind.speed * DIAL.speed.size, wind.from)] : [];
  const verdict = worst([...words, ...(old || gust || !wind ? ["hold"] : [])]);
  document.body.className = verdict.replaceAll(" ", "-");
  one(".word").textContent = WORD[verdict];
  one(".word").style.setProperty("--n", WORD[verdict].length);
  for (const sign of all("header .sign g")) sign.toggleAttribute("hidden", sign.dataset.of !== verdict);
  const blows = wind && `${wind.speed} ${DIAL.speed.unit}${wind.speed ? ` from ${bearing(wind.from)}` : ", calm"}`;
  one("#reading").textContent = wind ? blows : "not set";
  const { told: reasons, more, every } = against(wind, about);
  const told = [old, gust].filter(Boolean).concat(old || gust ? [] : reasons);
  lines(one("#why"), told.map((text) => `${text}.`));
  one("#more").hidden = more <= 0;
  one("#more-count").textContent = `${more} more`;
  lines(one("#every"), every);
  one("#against").hidden = !every.length;
  const wheel = one("#wheel");
  wheel.setAttribute("aria-valuenow", wind ? Math.round(wind.from) : 0);
  wheel.setAttribute("aria-valuetext", wind ? `${blows}: ${WORD[verdict]}` : "not set: HOLD");
}

function showPieces(about) {
  all("[data-likely]").forEach((element) => {
    const share = about.length ? likelyAt(about, Number(element.dataset.likely)) : 0;
    element.textContent = about.length ? (share ? `${percent(share)} of flights` : "never came up") : "";
  });
  DIAL.cases.forEach((_, index) => {
    const figures = about.length ? figuresAt(about, index) : null;
    one(`[data-figures="${index}"]`).textContent = figures
      ? `${toward(figures.east, figures.north)}, 99\u00a0% within ${length(figures.farthest)} of the pad · after ${figures.soonest}\u00a0s or more · up to ${fall(figures.speed)}`
      : "no figures";
  });
}

function show() {
  const wind = reading();
  const about = wind ? surrounding(wind.speed * DIAL.speed.size, wind.from) : [];
  showVerdict(wind, about);
  drawHand(one("#wheel"), wind);
  showPieces(about);
  drawLines(about);
  one("#between").textContent = about.length > 1 ? one("#between").dataset.many : about.length ? one("#between").dataset.one : "";
  drawBlow(wind);
  if (about.length && !framed) frame("flight");
  framed ||= about.length > 0;
  follow();
}

const KEYS = {
  ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1], PageUp: [5, 0], PageDown: [-5, 0], Home: [-1000, 0],
};

function start() {
  startGround();
  startWheel(drag, remember, show);
  one("#lock").addEventListener("click", lock);
  one("#undo").addEventListener("click", undo);
  one("#by-cause").addEventListener("click", () => {
    one("#by-cause").setAttribute("aria-pressed", String(!byCause()));
    show();
  });
  for (const box of all("input[type=number]")) box.addEventListener("input", read);
  for (const box of all("input[type=checkbox]")) box.addEventListener("change", show);
  for (const button of all("button[data-speed]")) button.addEventListener("click", () => nudge(Number(button.dataset.speed), 0));
  for (const button of all("button[data-turn]")) button.addEventListener("click", () => nudge(0, Number(button.dataset.turn)));
  one("#wheel").addEventListener("keydown", (event) => {
    const step = KEYS[event.key];
    if (!step) return;
    event.preventDefault();
    nudge(...step);
  });
  frame("everything");
  show();
  setInterval(show, 30000);
}
window.addEventListener("load", start);
