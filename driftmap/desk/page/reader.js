// The day on a phone: to read only, and never believed when the desk is silent.
import {SILENCE, SILENT, WORDS, el, find, listen, sign, tell} from "./net.js";

let state = null;

function draw(ms) {
  const silent = ms > SILENCE;
  if (silent) find("#wind-now").textContent = ""; // its age stands still
  tell(silent ? SILENT : "");
  const rows = (state?.items || []).filter(item => item.state === "waiting").map((item, place) => {
    const over = item.word === "go" && (silent || item.good_for - ms / 1000 <= 0), word = over ? "hold" : item.word;
    return el("li", {class: `flight ${word}${item.sure ? "" : " unsure"}${place ? "" : " first"}`},
      el("div", {class: "word"}, sign(word), el("strong", {}, WORDS[word]), item.sure ? "" : el("small", {}, "not sure yet")),
      el("div", {class: "say"}, el("h2", {}, `${place + 1}. `, el("bdi", {}, item.name)), el("p", {class: "reason"}, silent ? "The desk does not answer" : over ? "Its time ran out" : item.reason), word === "go" ? el("p", {}, `Good for ${Math.ceil((item.good_for - ms / 1000) / 60)}\u00a0min`) : "", state.aside ? el("p", {class: "aside"}, state.aside) : ""),
      el("div", {class: "acts"}, el("a", {class: "button", href: `page/map/${item.id}`}, "Map")));
  });
  find("#list").replaceChildren(...rows);
}
function take(told) {
  state = told;
  find("#site bdi").textContent = state.site.name;
  const low = state.winds.rows.find(row => row.height <= 60) || state.winds.rows[0];
  const minutes = low && Math.max(0, Math.round((Date.parse(state.now) - Date.parse(low.time)) / 6e4));
  find("#wind-now").textContent = low ? `Wind ${low.told}, ${minutes} min old` : "No wind is read yet";
}
listen("state", 3000, take, draw);
