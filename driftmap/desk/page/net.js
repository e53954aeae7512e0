// Asks the desk, builds elements, tells problems. Text from files is only ever text.
export const base = location.pathname.replace(/[^/]*$/, "");

export class Problem extends Error {
  constructor(text, more) { super(text); Object.assign(this, more); }
}

export async function ask(path, body, method = body === undefined ? "GET" : "POST", patience = 0) {
  let answer;
  try {
    answer = await fetch(base + path, {
      method,
      signal: patience ? AbortSignal.timeout(patience) : undefined, // a desk that hangs is silent too
      headers: {"X-Desk": "1", ...(body === undefined ? {} : {"Content-Type": "application/json"})},
      body: body === undefined ? undefined : JSON.stringify(body),
    });
  } catch { throw new Problem("The desk does not answer. Is it still running?", {gone: true}); }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Problem(told.problem || `The desk refused (${answer.status})`, told);
  return told;
}

// One clock stands still while a device sleeps, the other goes as it is set: the longer counts.
export const mark = () => ({steady: performance.now(), wall: Date.now()});
export const since = from => Math.max(performance.now() - from.steady, Date.now() - from.wall); // ms

// Asks for the day again and again and draws what was heard last. Who is out of reach waits for an answer
// that never comes: what is shown ends all the same, by the time since the desk was heard [ms].
export const SILENCE = 10000; // ms
export const SILENT = "The desk does not answer: every word is HOLD until it does.";
export function listen(path, every, take, draw) {
  const me = crypto.getRandomValues(new Uint32Array(2)).join("");
  let heard = mark();
  const drawn = () => draw(since(heard));
  async function pulse() {
    try {
      const state = await ask(`${path}?reader=${me}`, undefined, "GET", SILENCE - every);
      heard = mark();
      take(state);
    } catch { /* told as silence */ }
    drawn();
    setTimeout(pulse, every);
  }
  setInterval(drawn, every);
  for (const event of ["pageshow", "focus", "visibilitychange"]) addEventListener(event, drawn);
  pulse();
  return drawn;
}

export const find = (selector, within = document) => within.querySelector(selector);

export function el(tag, more = {}, ...children) {
  const made = document.createElement(tag);
  for (const [key, value] of Object.entries(more)) {
    if (value === false || value === null || value === undefined) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked") { made[key] = value; made.told = value; }
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat().filter(child => child !== null && child !== undefined && child !== ""));
  return made;
}

const SVG = "http://www.w3.org/2000/svg";
export function svg(tag, more = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(more)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...children.flat());
  return made;
}

// Nothing is drawn anew under a button that is being pressed: its press would be lost.
let held = false;
const due = new Set();
export function calmly(draw) {
  if (held) due.add(draw);
  else draw();
}
function release() {
  held = false;
  const now = [...due];
  due.clear();
  for (const draw of now) draw();
}
const hold = event => { held = Boolean(event.target.closest?.("button, summary, a, label")); };
addEventListener("pointerdown", hold, true);
addEventListener("keydown", event => { if (event.key === " ") hold(event); }, true);
// What a click asks for is drawn at once; of a finger the click comes a little after its lift.
addEventListener("click", () => { held = false; setTimeout(release); }, true);
for (const end of ["pointerup", "pointercancel", "keyup"]) addEventListener(end, event => { if (held) setTimeout(release, event.pointerType === "touch" ? 350 : 0); }, true);
addEventListener("blur", event => { if (event.target === window) release(); });

// A name by which a field or a button is found again once it was drawn anew.
function called(element) {
  if (!element || element === document.body) return null;
  if (element.dataset.at) return `[data-at="${CSS.escape(element.dataset.at)}"]`;
  const text = one => one.getAttribute("aria-label") || one.closest("label")?.firstChild.textContent || one.textContent;
  const alike = [...document.querySelectorAll(element.tagName)].filter(one => text(one) === text(element));
  return {tag: element.tagName, text: text(element), place: alike.indexOf(element), of: text};
}
function again(name) {
  if (typeof name === "string") return find(name);
  return [...document.querySelectorAll(name.tag)].filter(one => name.of(one) === name.text)[name.place];
}

// Draws anew and leaves a person where they were: the field, what is typed in it, the place in it.
export function keeping(draw) {
  const was = document.activeElement, name = called(was), typed = was?.value;
  const dirty = was?.dataset?.at && typed !== undefined && typed !== String(was.told ?? "") && was.tagName !== "SELECT";
  draw();
  if (!name || was.isConnected) return;
  const now = again(name);
  if (!now) return;
  now.focus({preventScroll: true});
  if (!dirty) return;
  now.value = typed;
  now.setSelectionRange?.(typed.length, typed.length);
  // A browser tells no change of what a script put there.
  now.addEventListener("blur", () => { if (now.isConnected && now.value === typed) now.dispatchEvent(new Event("change")); }, {once: true});
}

export const WORDS = {go: "GO", hold: "HOLD", "no-go": "NO\u2011GO"};
export const LANGUAGES = {en: "English", de: "Deutsch", es: "Español", fr: "Français"};

// The sign of a word: its shape tells it where colours do not.
export function sign(word) {
  const shapes = {
    "no-go": ["M-4.6 -11H4.6L11 -4.6V4.6L4.6 11H-4.6L-11 4.6V-4.6Z", "M-5 -5L5 5M5 -5L-5 5"],
    hold: ["M0 -11L12 10H-12Z", "M0 -4V3M0 5.4V7.4"],
    go: ["M-11 0A11 11 0 1 0 11 0A11 11 0 1 0 -11 0", "M-5 0L-1.5 4.5L5.5 -4.5"],
  };
  const [plate, glyph] = shapes[word];
  return svg("svg", {viewBox: "-12 -12 24 24", class: "sign", "aria-hidden": "true"},
    svg("path", {class: "plate", d: plate}), svg("path", {class: "glyph", d: glyph}));
}

let quiet;
export function tell(text, kind = "bad") {
  const told = find("#told");
  told.textContent = text;
  told.className = kind;
  told.hidden = !text;
  clearTimeout(quiet);
  if (text && kind === "good") quiet = setTimeout(() => { told.hidden = true; }, 6000);
}

// Runs what a press asks for; a problem is told in words and nothing is lost.
export async function doing(work, done = "") {
  try {
    const result = await work();
    if (done || find("#told").className === "bad") tell(done, "good"); // good news stays its time
    return result;
  } catch (problem) {
    if (!(problem instanceof Problem)) throw problem;
    tell(problem.message);
    return null;
  }
}

// A question with a few fields; gives their values, or null where it was left.
export function question(title, yes, fields) {
  const dialog = find("#ask");
  find("#ask-title").textContent = title;
  find(".main", dialog).textContent = yes;
  find("#ask-body").replaceChildren(...fields);
  // No button of the form but "yes": the Enter key in a field means it.
  find("[value=no]", dialog).onclick = () => dialog.close("no");
  dialog.returnValue = "no";
  dialog.showModal();
  return new Promise(resolve => dialog.addEventListener("close", () => {
    if (dialog.returnValue !== "yes") return resolve(null);
    const values = {};
    for (const field of dialog.querySelectorAll("[name]")) values[field.name] = field.value;
    resolve(values);
  }, {once: true}));
}

export const clock = text => new Date(text).toLocaleTimeString([], {hour: "2-digit", minute: "2-digit", hour12: false});
// The clock that this machine tells the time by, as pages on paper name it.
export const zone = () => {
  const ahead = -new Date().getTimezoneOffset(), [hours, rest] = [Math.floor(Math.abs(ahead) / 60), Math.abs(ahead) % 60];
  return `UTC${ahead ? `${ahead < 0 ? "−" : "+"}${hours}` : ""}${rest ? `:${rest}` : ""}`;
};

// A picture that the desk drew, shown without its styles reaching the page.
export function picture(image, text) {
  if (image.src.startsWith("blob:")) URL.revokeObjectURL(image.src);
  image.src = URL.createObjectURL(new Blob([text], {type: "image/svg+xml"}));
}
