// The day on a phone: to read only, and never believed when the desk is silent.
import {ask, el, find, sign, tell} from "./net.js";

const WORDS = {go: "GO", hold: "HOLD", "no-go": "NO\u2011GO"}, me = crypto.getRandomValues(new Uint32Array(2)).join("");
let heard = performance.now(), state = null;

function draw(silent) {
  const since = (performance.now() - heard) / 1000;
  const rows = (state?.items || []).filter(item => item.state === "waiting").map((item, place) => {
    const over = item.word === "go" && (silent || item.good_for - since <= 0), word = over ? "hold" : item.word;
    return el("li", {class: `flight ${word}${item.sure ? "" : " unsure"}${place ? "" : " first"}`},
      el("div", {class: "word"}, sign(word), el("strong", {}, WORDS[word]), item.sure ? "" : el("small", {}, "not sure yet")),
      el("div", {class: "say"}, el("h2", {}, `${place + 1}. `, el("bdi", {}, item.name)), el("p", {class: "reason"}, silent ? "The desk does not answer" : over ? "Its time ran out" : item.reason), state.aside ? el("p", {class: "aside"}, state.aside) : ""),
      el("div", {class: "acts"}, el("a", {class: "button", href: `page/map/${item.id}`}, "Map")));
  });
  find("#list").replaceChildren(...rows);
}
async function pulse() {
  try {
    state = await ask(`state?reader=${me}`);
    heard = performance.now();
    find("#site bdi").textContent = state.site.name;
    const low = state.winds.rows.find(row => row.height <= 60) || state.winds.rows[0];
    const minutes = low && Math.max(0, Math.round((Date.parse(state.now) - Date.parse(low.time)) / 6e4));
    find("#wind-now").textContent = low ? `Wind ${low.told}, ${minutes} min old` : "No wind is read yet";
  } catch { /* told below */ }
  const silent = performance.now() - heard > 10000;
  if (silent) find("#wind-now").textContent = ""; // its age stands still
  tell(silent ? "The desk does not answer: every word is HOLD until it does." : "");
  draw(silent);
  setTimeout(pulse, 3000);
}
pulse();
