// The field's room: the drawing, saved with every change, and a conflict shown before anything is lost.
import {ask, base, doing, el, find, question, tell} from "./net.js";
import {fieldEditor} from "./draw.js";

const NEW = {type: "FeatureCollection", name: "", features: []};
let editor = null, revision = null, saving = Promise.resolve(), waiting = 0, state = null;

export async function enter(desk) {
  state = desk;
  if (!editor) {
    const sets = (await doing(() => ask("rule-sets")))?.map(set => set.name) || null;
    editor ||= fieldEditor(find("#field-room"), {change: save, undo: () => step("undo"), redo: () => step("redo"), units: () => desk.state?.units || "us", pictures: {url: name => base + name, send}, rules: () => sets});
  }
  await load();
}

async function load() {
  const told = await doing(() => ask("site"));
  if (!told) return;
  revision = told.revision;
  try { editor.show(told.text === null ? NEW : JSON.parse(told.text), told.problem); editor.beneath(told.picture); }
  catch { tell("site.geojson is no JSON: mend it by hand, or undo here."); }
}

async function send(file) {
  const data = await new Promise(resolve => { const reader = new FileReader(); reader.onload = () => resolve(String(reader.result).split(",")[1]); reader.readAsDataURL(file); });
  return (await doing(() => ask("pictures", {name: file.name, data}), "The picture lies in the folder."))?.file;
}

function save(site) {
  waiting++;
  saving = saving.then(async () => {
    try {
      const told = await ask("site", {site, base: revision}, "PUT");
      revision = told.revision;
      editor.fault(told.problem);
      editor.beneath(told.picture);
    } catch (problem) {
      if (problem.conflict) await settle(site);
      else tell(`${problem.message} What you drew stands on this page: try again.`);
    } finally { waiting--; }
  });
}

// Another window or a command changed the field: one of the two is kept on top, the other by undo.
async function settle(site) {
  const mine = await question("The field was changed elsewhere", "Keep what I drew", [el("p", {}, "Leave it to take the other drawing. The one that gives way comes back: theirs by Undo, yours by Redo.")]);
  const other = await ask("site");
  if (mine) revision = (await ask("site", {site, base: other.revision}, "PUT")).revision;
  else await ask("site", {site, base: other.revision, aside: true}, "PUT");
  await load();
}

async function step(way) {
  await saving;
  if (await doing(() => ask("undo", {file: "site.geojson", way, base: revision}), way === "undo" ? "Back to the drawing before." : "Forth again.")) await load();
}

export function draw(desk) {
  if (editor && revision !== null && !waiting && desk.state.site.revision !== revision && !find("#ask").open) load();
}
