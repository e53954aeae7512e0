// About a map or sheet that is open, while the desk is there: its go ends with the desk's own, or when the desk is silent.
import {WORDS, ask, find, mark, since, tell} from "./net.js";

const PULSE = 2000, SILENCE = 10000; // ms
const me = crypto.getRandomValues(new Uint32Array(2)).join("");
const frame = find("iframe"), id = location.pathname.split("/").pop();
let heard = mark(), item = null;

function over() {
  const ms = since(heard);
  if (ms > SILENCE) return "The desk does not answer: every word is HOLD until it does.";
  if (!item) return "The desk is being asked.";
  if (item.state !== "waiting") return `The desk has it as ${item.state}.`;
  if (item.word !== "go") return `The desk says ${WORDS[item.word]} now: ${item.reason}.`;
  return item.good_for - ms / 1000 > 0 ? "" : "Its time ran out.";
}
function draw() {
  const why = over();
  tell(item || since(heard) > SILENCE ? why : "");
  frame.contentWindow.postMessage(why, location.origin);
}
async function pulse() {
  try {
    const state = await ask(`../../state?reader=${me}`, undefined, "GET", SILENCE - PULSE);
    heard = mark();
    item = state.items.find(one => one.id === id) || {state: "no longer on its list"};
    document.title = `${item.name || "Page"}: ${WORDS[item.word] || ""}`;
  } catch { /* told as silence */ }
  draw();
  setTimeout(pulse, PULSE);
}
const language = new URLSearchParams(location.search).get("language") || "en";
frame.src = find("#alone").href = `${location.pathname}?alone&language=${language}`;
frame.addEventListener("load", draw);
find("#print").addEventListener("click", () => frame.contentWindow.print());
setInterval(draw, PULSE);
for (const event of ["pageshow", "focus", "visibilitychange"]) addEventListener(event, draw);
pulse();
