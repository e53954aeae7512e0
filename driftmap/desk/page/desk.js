// The rooms of the desk, and the pulse that keeps every word true.
import {SILENT, ask, find, mark, since, tell} from "./net.js";
import * as day from "./day.js";
import * as wind from "./wind.js";
import * as people from "./people.js";
import * as flight from "./flight.js";
import * as field from "./field.js";
import * as plan from "./plan.js";
import * as show from "./show.js";

const PULSE = 1000; // ms
const SILENCE = 5000; // ms after which nothing here may be believed
const rooms = {day, wind, flight, field, plan, show, answers: people};
const desk = {state: null, heard: mark(), silent: false, open};
let last = "", room = "";

export function open(name, more) {
  for (const section of document.querySelectorAll("section[data-of]")) section.hidden = section.dataset.of !== name;
  for (const button of document.querySelectorAll("#rooms button")) {
    if (button.dataset.room === name) button.setAttribute("aria-current", "page");
    else button.removeAttribute("aria-current");
  }
  room = name;
  if (location.hash.slice(1).split("/")[0] !== name) history.replaceState(null, "", `#${name}`);
  tell("");
  const main = find("main"), entering = Promise.resolve(rooms[name].enter?.(desk, more));
  main.setAttribute("aria-busy", "true");
  entering.finally(() => { if (room === name) main.removeAttribute("aria-busy"); });
  if (desk.state) rooms[name].draw?.(desk);
}

async function pulse() {
  try {
    const state = await ask(`state?reader=${find("html").dataset.reader || ""}`, undefined, "GET", SILENCE - PULSE);
    desk.heard = mark();
    desk.silent = false;
    day.lapse(state, 0, false);
    const text = JSON.stringify({...state, now: 0, items: state.items.map(item => ({...item, good_for: 0}))});
    const first = desk.state === null;
    desk.state = state;
    if (first || text !== last) {
      last = text;
      head();
      if (first) open(location.hash.slice(1).split("/")[0] in rooms ? location.hash.slice(1).split("/")[0] : "day");
      else rooms[room].draw?.(desk);
    }
  } catch { /* silence is told below */ }
  const silent = since(desk.heard) > SILENCE;
  const fell = desk.state && day.lapse(desk.state, (since(desk.heard)) / 1000, silent);
  if (desk.state && (fell || silent !== desk.silent)) {
    desk.silent = silent;
    last = ""; // the next answer draws everything anew
    rooms[room].draw?.(desk);
  }
  document.body.classList.toggle("silent", silent);
  if (silent) tell(SILENT);
  else if (find("#told").textContent === SILENT) tell("");
  day.tick(desk);
  wind.tick(desk);
  setTimeout(pulse, PULSE);
}

function head() {
  find("#site bdi").textContent = desk.state.site.name || (desk.state.site.missing ? "No field drawn yet" : "The field is not whole yet");
  document.title = `${desk.state.site.name || "Range desk"} · ${desk.state.date}`;
}

for (const button of document.querySelectorAll("button[data-room]")) button.addEventListener("click", () => open(button.dataset.room));
for (const one of Object.values(rooms)) one.begin?.(desk);
pulse();
