// About a map, sheet or dial that is open, while the desk is there: its go ends with the desk's own, or when the desk is silent.
import {SILENCE, SILENT, WORDS, find, listen, tell} from "./net.js";

const frame = find("iframe"), id = location.pathname.split("/").pop();
let item = null;

function over(ms) {
  if (ms > SILENCE) return SILENT;
  if (!item) return "The desk is being asked.";
  if (item.state !== "waiting") return `The desk has it as ${item.state}.`;
  const of = frame.contentDocument?.querySelector("meta[name=drawn-of]")?.content;
  // A dial is of any wind, of which the second part tells.
  const parts = location.pathname.includes("/dial/") ? 1 : 2;
  const same = (a, b) => a.split("-", parts).join() === b.split("-", parts).join();
  if (of && !same(of, item.of)) return "It is of another wind, field or file than the desk's word now: load this page anew.";
  if (item.word !== "go") return `The desk says ${WORDS[item.word]} now: ${item.reason}.`;
  return item.good_for - ms / 1000 > 0 ? "" : "Its time ran out.";
}
function draw(ms) {
  const why = over(ms);
  tell(item || ms > SILENCE ? why : "");
  frame.contentWindow.postMessage(why, location.origin);
}
function take(state) {
  item = state.items.find(one => one.id === id) || {state: "no longer on its list"};
  document.title = `${item.name || "Page"}: ${WORDS[item.word] || ""}`;
}
const language = new URLSearchParams(location.search).get("language") || "en";
frame.src = find("#alone").href = `${location.pathname}?alone&language=${language}`;
find("#print").addEventListener("click", () => frame.contentWindow.print());
frame.addEventListener("load", listen("../../state", 2000, take, draw));
