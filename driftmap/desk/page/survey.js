// The survey by itself: drawn or walked with no network, kept on this phone, taken home as a file.
import {el, find} from "./net.js";
import {fieldEditor} from "./draw.js";

const KEPT = "driftmap survey";
const before = [], after = [];
let site = {type: "FeatureCollection", name: "", features: []}, system = "us";

function keep() {
  try { localStorage.setItem(KEPT, JSON.stringify({site, before: before.slice(-10), after, system})); } catch { editor.bad("This browser keeps nothing: take the file before you leave the page."); }
}
function change(next) { before.push(site); after.length = 0; site = next; keep(); }
function step(from, to, none) {
  if (!from.length) return editor.bad(none);
  to.push(site);
  site = from.pop();
  keep();
  editor.show(site);
}
const editor = fieldEditor(find("#survey"), {change, undo: () => step(before, after, "Nothing to undo."), redo: () => step(after, before, "Nothing to redo."), units: () => system, rules: () => find("#survey").dataset.rules.split(" ")});

try {
  const known = JSON.parse(localStorage.getItem(KEPT) || "null");
  if (known) { site = known.site; before.push(...known.before); after.push(...known.after); system = known.system; }
} catch { /* what is damaged is not taken up */ }
find("#units").value = system;
find("#units").addEventListener("change", event => { system = event.target.value; keep(); editor.show(site); });
find("#take").addEventListener("click", () => {
  const link = el("a", {href: URL.createObjectURL(new Blob([JSON.stringify(site, null, 1) + "\n"], {type: "application/geo+json"})), download: "site.geojson"});
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
});
find("#bring").addEventListener("change", async event => {
  try {
    const next = JSON.parse(await event.target.files[0].text());
    if (next.type !== "FeatureCollection" || !Array.isArray(next.features)) throw new Error();
    change(next);
    editor.show(site);
  } catch { editor.bad("That file is no site (GeoJSON FeatureCollection)."); }
});
find("#anew").addEventListener("click", () => { change({type: "FeatureCollection", name: "", features: []}); editor.show(site); });
editor.show(site);
