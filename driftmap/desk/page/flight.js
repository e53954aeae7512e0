// The flight: six questions that open to all of the file, drawn to scale as they are answered.
import {ask, calmly, doing, el, find, keeping, picture, question, tell} from "./net.js";

const SIX = [["airframe", "How heavy, how thick, how long"], ["motor", "Which motor"], ["recovery", "How it comes down"], ["rail", "From what rail"]];
const LATER = ["piece", "case", "burst", "sustainer", "air_start", "alternative"];
let tables = null, file = "", told = null, faults = new Map(), opened = new Set(), desk = null, saving = Promise.resolve();
const copies = new Map(); // of what each was copied, to compare it with
const unitless = new Map(); // numbers typed whose unit nobody has told yet, by their place

// The place of a field as the reader of the file tells it: "recovery 1, strength.cord".
const place = path => path.reduce((text, part, i) => typeof part === "number" ? `${text} ${part + 1}` : !i ? part : typeof path[i - 1] === "number" ? `${text}, ${part}` : `${text}.${part}`, "");
// What the reader says of each place; names of rows, in brackets, are left to the eye.
const faultsOf = each => new Map(each.map(([at, text]) => [at.replace(/ \(.*?\)(?=,|$)/g, ""), text]));
// The faults of a table that stand at no field of it: a key that is none, a row that lacks something.
function rest_(path, fields) {
  const here = place(path), known = new Set(fields.map(field => place([...path, ...field.key.split(".")])));
  const mine = [...faults].filter(([at, text]) => text !== "is missing" && (at === here || (at.startsWith(typeof path.at(-1) === "number" ? `${here}, ` : `${here}.`) && !known.has(at) && !/ \d|\..*\./.test(at.slice(here.length)))));
  return mine.map(([at, text]) => el("p", {class: "warning"}, `${at.slice(here.length).replace(/^[,. ]+/, "")} ${text}`.trim()));
}
const faulty = path => [...faults.keys()].some(at => at === place(path) || [" ", ".", ","].some(end => at.startsWith(place(path) + end)));

const stem = () => encodeURIComponent(file.replace(/^flights\//, "").replace(/\.toml$/, ""));

export async function enter(from, chosen) {
  desk = from;
  tables ||= await doing(() => ask("flight-tables"));
  const files = await doing(() => ask("files"));
  if (!tables || !files) return;
  if (chosen?.file && chosen.file !== file) { file = chosen.file; afresh(); }
  if (!files.some(one => one.file === file)) file = files[0]?.file || "";
  const pick = el("select", {id: "pick", onchange: event => { file = event.target.value; afresh(); load(); }}, files.map(one => el("option", {value: one.file, selected: one.file === file}, one.name)));
  find("#flight-room").replaceChildren(
    el("div", {class: "line"}, files.length ? el("label", {}, "Flight ", pick) : "",
      el("button", {type: "button", class: files.length ? "" : "main", onclick: () => begin_("")}, "A new flight"),
      files.length ? el("button", {type: "button", onclick: () => begin_(file)}, "Copy: what if?") : "",
      files.length ? el("button", {type: "button", onclick: () => desk.open("plan", {work: "compare", file, beside: copies.get(file) || ""})}, "Compare") : "",
      files.length ? el("button", {type: "button", onclick: () => doing(() => ask("day/add", {file}), "It is on the day's list.")}, "Add to the day") : "",
      files.length ? el("button", {type: "button", onclick: () => step("undo")}, "Undo") : "", files.length ? el("button", {type: "button", onclick: () => step("redo")}, "Redo") : ""),
    el("div", {id: "flight-form"}));
  if (file) await load();
  else find("#flight-form").replaceChildren(el("p", {class: "note"}, "A flight begins with a name; then six questions: mass, diameter, length, motor, recovery, rail."));
}

async function begin_(like) {
  const name = find("#pick")?.selectedOptions[0]?.textContent || "";
  const said = await question(like ? `What if, from ${name}` : "A new flight", like ? "Copy it" : "Begin", [
    el("label", {class: "wide"}, "Name of the rocket ", el("input", {name: "name", required: true, maxlength: 80, value: like ? `${name}, what if` : ""}))]);
  if (!said) return;
  const made = await doing(() => ask("flights", {name: said.name, like}), like ? "Copied: change it, then Compare." : "Begun.");
  if (made) { if (like) copies.set(made.file, like); file = made.file; afresh(); enter(desk); }
}

// What was opened, picked or half typed was so of another flight.
function afresh() {
  opened = new Set();
  unitless.clear();
  for (const key of Object.keys(ways_)) delete ways_[key];
}

async function load() {
  told = await doing(() => ask(`flights/${stem()}`));
  if (told) draw_();
}

async function step(way) {
  await saving;
  if (await doing(() => ask("undo", {file, way, base: told?.revision || ""}), way === "undo" ? "Back to what stood before." : "Forth again.")) return void load();
  told = await ask(`flights/${stem()}`);  // what stands there, beside why
  draw_();
}

// Each change is written as it is made; one that met another's is shown and made again.
function put(path, value, more = {}) {
  saving = saving.then(async () => {
    try {
      told = await ask(`flights/${stem()}`, {base: told.revision, path, value, ...more}, "PUT");
      tell("");
    } catch (problem) {
      tell(problem.conflict ? "The file was changed elsewhere: here is what stands there now. Make your change again." : problem.message);
      told = await ask(`flights/${stem()}`);
    }
    draw_();
  });
  return saving;
}

function draw_() { calmly(drawn_); }
function drawn_() {
  const form = find("#flight-form"), v = told.values;
  if (!form) return;
  faults = faultsOf(told.faults);
  const lacks = [...unitless].map(([at, typed]) => `${at}: ${typed} of what? Pick its unit`).join("; ");
  keeping(() => form.replaceChildren(
    el("p", {class: `missing${told.problem || lacks ? "" : " whole"}`, role: "status"}, lacks ? `Not taken yet: ${lacks}.` : told.problem ? `Not whole yet: ${told.problem.replace(`${file}: `, "")} ` : "The flight is whole and can be judged.",
      faults.size && !lacks ? el("button", {type: "button", onclick: () => { const wrong = find(".field-of.wrong :is(input, select), .field-of.open :is(input, select)"), at = wrong || find("fieldset .warning"); at?.scrollIntoView({block: "center"}); wrong?.focus({preventScroll: true}); }}, "Go to it") : ""),
    el("div", {class: "flight-room"}, el("div", {}, text_("name", "Name of the rocket", v.name),
      ...SIX.map(([name, head]) => section(name, head)), el("h2", {}, "More"), ...LATER.map(name => section(name, "")),
      pairs("cases", "How likely each failure is", "As a share, such as 2 %. Left out, each is as the tool assumes; one told lower than that counts in every figure, but brings no go."),
      pairs("limits", "Own limits", "They may only be stricter than the tool's."), whole()),
      el("div", {class: "pictures"}, el("ul", {id: "facts"}), ...["side", "thrust", "rise"].map(what => el("img", {id: `pic-${what}`, class: "drawn", alt: "", hidden: true}))))));
  pictures();
}

async function pictures() {
  if (told.problem) return;
  const now = told.revision;
  let drawn;
  try { drawn = await ask(`flights/${stem()}/pictures`); } catch (problem) { find("#facts")?.replaceChildren(el("li", {class: "warning"}, problem.message)); return; }
  if (now !== told.revision || !find("#facts")) return;
  find("#facts").replaceChildren(...drawn.facts.map(fact => el("li", {}, fact)));
  const names = {side: "The rocket from the side, to scale", thrust: "Thrust over time", rise: "Height over time"};
  for (const [what, name] of Object.entries(names)) {
    const image = find(`#pic-${what}`);
    image.hidden = !drawn[what];
    image.alt = name;
    if (drawn[what]) picture(image, drawn[what]);
  }
}

const text_ = (key, label, value) => el("label", {class: "wide"}, `${label} `, el("input", {value: value || "", maxlength: 80, "data-at": key, onchange: event => put([key], event.target.value.trim() || null)}));
const table = name => tables.find(one => one.name === name);

const at_ = path => path.reduce((v, k) => v?.[k], told.values);

function section(name, head) {
  const body = {motor, recovery, sustainer: staged, air_start: lit_later}[name]?.() || (table(name).many ? many(name, [name]) : one(name, [name]));
  const set = el("fieldset", {class: "table", id: `table-${name}`}, el("legend", {}, head || table(name).head), body);
  const title = {sustainer: "A second stage"}[name] || table(name).head;
  return LATER.includes(name) ? el("details", {open: Boolean(told.values[name]) || opened.has(`+${name}`) || faulty([name]), ontoggle: event => event.target.open ? opened.add(`+${name}`) : opened.delete(`+${name}`), class: "later"}, el("summary", {}, title), set) : set;
}

const part = (name, ...more) => el("div", {class: "one"}, el("h2", {class: "small"}, table(name).head), ...(more.length ? more : [one(name, name.split("."))]));
const without = (name, text) => told.values[name] ? el("button", {type: "button", onclick: async () => { for (const key of [].concat(name === "sustainer" ? ["booster", name] : name)) await put([key], null); }}, text) : "";

// Two stages: what stands above under rocket and motor is then both together, and the lower one's motor.
function staged() {
  const fall = told.values.booster?.descent && !told.values.booster.recovery;
  return el("div", {}, el("p", {class: "note"}, "Above, Rocket is then both stages together, Motor the lower stage's, and Recovery the upper stage's. A lower stage of which nothing is said tumbles."),
    one("sustainer", ["sustainer"]), part("sustainer.motor"), ...(told.values.sustainer ? [part("booster"), part("booster.recovery", many("booster.recovery", ["booster", "recovery"])), ...(fall ? [part("booster.descent")] : [])] : []), without("sustainer", "Take the second stage away"));
}
function lit_later() {
  return el("div", {}, one("air_start", ["air_start"]), part("air_start.motor"), without("air_start", "Take these motors away"));
}

// A motor is told by its curve, by impulse and time, by the height once flown, or by a record.
function motor() {
  const ways = {motor: "By its thrust", apogee: "By height and time as flown before", measured: "By an altimeter's record"};
  const now = Object.keys(ways).find(key => told.values[key]) || "motor";
  const pick = el("select", {"data-at": "motor-way", onchange: async event => { const way = event.target.value; for (const key of Object.keys(ways)) if (key !== way && told.values[key]) await put([key], null); await put([way], {}, {}).catch(() => {}); ways_.motor = way; draw_(); }}, Object.entries(ways).map(([key, text]) => el("option", {value: key, selected: key === (ways_.motor && told.values[ways_.motor] ? ways_.motor : ways_.motor || now)}, text)));
  const way = pick.value;
  return el("div", {}, el("label", {}, "How is it known? ", pick), one(way, [way]));
}
const ways_ = {};

function recovery() {
  const none = Boolean(told.values.descent), way = ways_.recovery ?? (none ? "descent" : "recovery");
  const pick = el("select", {"data-at": "recovery-way", onchange: async event => { const next = event.target.value; ways_.recovery = next; await put([next === "descent" ? "recovery" : "descent"], null); draw_(); }},
    el("option", {value: "recovery", selected: way === "recovery"}, "Under canopies or streamers"), el("option", {value: "descent", selected: way === "descent"}, "With no recovery"));
  return el("div", {}, el("label", {}, "It comes down ", pick), way === "descent" ? el("div", {}, el("p", {class: "note"}, "A planned fall holds, and is judged as a failure is."), one("descent", ["descent"])) : many("recovery", ["recovery"]));
}

function many(name, path) {
  const rows = at_(path) || [], word = {recovery: "device", piece: "piece", case: "case", alternative: "other way"}[path.at(-1)];
  const shown = rows.length || name !== "recovery" || path.length > 1 ? rows : [{}];
  return el("div", {}, ...shown.map((values, i) => el("div", {class: "one"}, el("h2", {class: "small"}, values.name || `A new ${word}`), one(name, [...path, i]), name === "alternative" ? devices([...path, i]) : "",
    rows[i] ? el("button", {type: "button", onclick: () => put([...path, i], null)}, `Take ${values.name || `this ${word}`} away`) : "")),
    el("button", {type: "button", onclick: () => put([...path, rows.length, "name"], `${word} ${rows.length + 1}`)}, `Another ${word}`));
}

// Another way down has devices of its own, or falls as told.
function devices(path) {
  return at_(path).descent ? one("descent", [...path, "descent"]) : many("recovery", [...path, "recovery"]);
}

function one(name, path) {
  const values = at_(path) || {};
  const fields = table(name).fields, at = path.join("."), relevant = fields.filter(field => fits(path.filter(k => typeof k === "string").at(-1), field.key, values));
  const first = relevant.filter(field => field.first), rest = relevant.filter(field => !field.first);
  const set = key => key.split(".").reduce((v, k) => v?.[k], values) !== undefined;
  const more = rest.length ? el("details", {open: opened.has(at) || !first.length || rest.some(field => faulty([...path, ...field.key.split(".")])), ontoggle: event => event.target.open ? opened.add(at) : opened.delete(at)}, el("summary", {}, `More of it${rest.some(f => set(f.key)) ? `: ${rest.filter(f => set(f.key)).map(f => f.key.replace(/_/g, " ")).join(", ")}` : ""}`), el("div", {class: "grid"}, rest.map(field => input(field, path, values)))) : "";
  return el("div", {}, rest_(path, relevant), el("div", {class: "grid"}, first.map(field => input(field, path, values))), more);
}

// Of a streamer's keys a canopy has none, and the other way round; of a fin's a nose cone none.
function fits(name, key, values) {
  const canopy = ["diameter", "area", "type", "spill_hole", "drag_on", "cloth"], streamer = ["length", "width"], fin = ["area", "root", "tip", "span", "thickness", "sweep", "position", "material", "shear_modulus", "printed", "infill", "layer_strength", "strength"];
  const has = key.split(".").reduce((v, k) => v?.[k], values) !== undefined;
  if (has) return true;
  if (name === "recovery") return values.kind === "streamer" ? !canopy.includes(key) && !key.startsWith("strength") : !streamer.includes(key);
  if (name === "piece") return !values.kind || values.kind === "fin" ? !["length", "diameter"].includes(key) || !values.kind : !fin.includes(key);
  if (name === "motor" && values.thrust_curve) return !["total_impulse", "burn_time"].includes(key);
  return true;
}

function input(field, path, values) {
  const full = [...path, ...field.key.split(".")], at = full.join("."), value = field.key.split(".").reduce((v, k) => v?.[k], values);
  const label = field.key.replace(/[_.]/g, " "), fault = faults.get(place(full)), wrong = fault === "is missing" && value === undefined ? "" : fault; // what is still to be answered is marked as open
  const hint = [field.told, field.range && `Accepted: ${field.range}.`, field.needed ? "Needed." : ""].filter(Boolean).join(" ");
  const help = el("small", {id: `help-${at}`}, hint), common = {"data-at": at, "aria-describedby": `help-${at}`, "aria-invalid": wrong ? "true" : null};
  return el("div", {class: `field-of${wrong ? " wrong" : ""}${field.needed && value === undefined ? " open" : ""}`}, el("label", {}, `${label[0].toUpperCase()}${label.slice(1)} `, entry(field, full, value, common)), wrong ? el("p", {class: "warning"}, wrong) : "", help);
}

function entry(field, path, value, common) {
  const save = next => put(path, next === "" ? null : next);
  if (field.kind === "choice") return el("select", {...common, onchange: event => save(event.target.value)}, el("option", {value: ""}, "not told"), field.choices.map(choice => el("option", {selected: choice === value}, choice)));
  if (field.kind === "yes or no") return el("select", {...common, onchange: event => save(event.target.value === "" ? "" : event.target.value === "yes")}, el("option", {value: ""}, "not told"), ["yes", "no"].map(word => el("option", {selected: value === (word === "yes")}, word)));
  if (field.kind === "whole") return el("input", {...common, inputmode: "numeric", value: value ?? "", onchange: event => save(/^\d+$/.test(event.target.value.trim()) ? Number(event.target.value) : event.target.value.trim())});
  if (field.kind === "data") return el("input", {...common, value: value === undefined ? "" : JSON.stringify(value), placeholder: field.key === "loose" ? '["nose cone"]' : "[[0, 0.45], [1.05, 0.9]]", onchange: event => put(path, event.target.value.trim() || null, {literal: event.target.value.trim() !== ""})});
  if (field.kind === "curve") return curve(path, value, common);
  if (field.kind === "quantity") return quantity(field, path, value, common);
  return el("input", {...common, value: value ?? "", placeholder: field.example || "", maxlength: 200, onchange: event => save(event.target.value.trim().replace(/^"(.*)"$/, "$1"))});
}

function curve(path, value, common) {
  const load_ = async event => {
    const chosen = event.target.files[0];
    if (!chosen) return;
    const made = await doing(async () => ask("curves", {name: chosen.name, text: await chosen.text()}), "The curve lies beside the flight.");
    if (!made) return;
    const motor = path.slice(0, -1);
    for (const key of ["total_impulse", "burn_time"]) if (at_(motor)?.[key] !== undefined) await put([...motor, key], null);
    put(path, made.curve);
  };
  return el("span", {}, el("select", {...common, onchange: event => put(path, event.target.value || null)}, el("option", {value: ""}, "none: impulse and time below"), told.curves.map(name => el("option", {selected: name === value}, name))),
    el("input", {type: "file", accept: ".csv,.txt", "aria-label": "A CSV file of time and thrust", onchange: load_}));
}

// A number, its unit, and where it may have one its spread: "1.85 kg +/- 50 g".
function quantity(field, path, value, common) {
  const found = /^\s*([-+]?[\d.,]+(?:e[-+]?\d+)?)\s*(.*?)\s*(?:(?:\+\/-|±)\s*(.*))?$/i.exec(String(value ?? "")) || [];
  const wild = value !== undefined && !found.length;
  const at = common["data-at"], number = el("input", {...common, inputmode: "decimal", value: unitless.get(at) ?? (wild ? value : found[1] ?? "")});
  // No unit is supposed: a kilogram taken for a pound is a rocket too light.
  const one = field.units.length === 1, units = field.units.length ? el("select", {"data-at": `${at}#unit`, class: unitless.has(at) ? "ask" : null, "aria-label": `unit of ${path.at(-1).replace(/_/g, " ")}`}, one ? [] : el("option", {value: ""}, "unit?"), field.units.map(unit => el("option", {selected: one || unit === found[2]}, unit))) : null;
  const spread = field.spread ? el("input", {"data-at": `${common["data-at"]}#spread`, "aria-label": `spread of ${path.at(-1).replace(/_/g, " ")}, one standard deviation`, placeholder: "± assumed", value: found[3] ?? "", class: "spread"}) : null;
  const save = () => {
    const typed = number.value.trim();
    if (!typed) unitless.delete(at);
    if (!typed) return value === undefined ? null : put(path, null);
    const bare = /^[-+]?[\d.,]+(e[-+]?\d+)?$/i.test(typed);
    unitless.delete(at);
    if (bare && units && !units.value) { unitless.set(at, typed); draw_(); return void tell(`${path.at(-1).replace(/_/g, " ")}: ${typed} of what? Pick its unit, or type it: ${typed} ${field.units[0]}.`); }
    const text = !bare || !units ? typed : `${typed} ${units.value}`;
    put(path, spread?.value.trim() ? `${text} +/- ${spread.value.trim().replace(/^(±|\+\/-)\s*/, "")}` : text);
  };
  number.addEventListener("change", save);
  units?.addEventListener("change", () => number.value.trim() && save());
  spread?.addEventListener("change", () => number.value.trim() && save());
  return el("span", {class: "quantity"}, number, units, spread);
}

// Names with a value each: those that are set, and one more to pick from the list.
function pairs(name, head, hint) {
  const values = told.values[name] || {}, left = told.names[name].filter(key => !(key in values)), plain = key => key.replace(/_/g, " ");
  const set = Object.entries(values).map(([key, value]) => el("label", {}, `${plain(key)} `, el("input", {value, "data-at": `${name}.${key}`, maxlength: 60, onchange: event => put([name, key], event.target.value.trim() || null)})));
  const pick = el("select", {"data-at": `${name}#pick`}, el("option", {value: ""}, "choose"), left.map(key => el("option", {value: key}, plain(key))));
  const value = el("input", {"data-at": `${name}#value`, maxlength: 60});
  const more = left.length ? [el("label", {}, "Another ", pick), el("label", {}, "Its value ", value), el("button", {type: "button", onclick: () => pick.value && value.value.trim() ? put([name, pick.value], value.value.trim()) : tell("Choose which, and type its value.")}, "Set it")] : [];
  return el("details", {class: "later", open: opened.has(name) || set.length > 0, ontoggle: event => event.target.open ? opened.add(name) : opened.delete(name)}, el("summary", {}, head), el("p", {class: "note"}, hint), el("div", {class: "grid"}, set, more));
}

function whole() {
  const area = el("textarea", {rows: 14, spellcheck: "false", "aria-label": "The flight file"}, told.text);
  area.value = told.text;
  return el("details", {open: opened.has("whole"), ontoggle: event => event.target.open ? opened.add("whole") : opened.delete("whole")}, el("summary", {}, "The file itself"),
    el("p", {class: "note"}, `${file}: your own comments stay.`), area,
    el("button", {type: "button", class: "main", onclick: () => { saving = saving.then(async () => { const next = await doing(() => ask(`flights/${stem()}`, {base: told.revision, text: area.value}, "PUT"), "Written."); if (next) { told = next; draw_(); } }); }}, "Write it"));
}
