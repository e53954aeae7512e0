// The wind: read, pasted, dropped or fetched; what was understood is drawn beside the old one.
import {ask, clock, doing, el, find, picture, Problem, question, svg, tell} from "./net.js";

const UNITS = {kt: "knots", "m/s": "metres a second", mph: "miles an hour", "km/h": "kilometres an hour"};
let waiting = 0, looks = 0, meters = null, officer = "";

// What a reading must say is chosen once for each meter, and never supposed: knots taken for
// miles an hour are a wind too light, and a needle's bearing taken for true turns it.
const meter = () => find("#meter").value === "" ? undefined : meters?.[Number(find("#meter").value)];

const reading = () => {
  const speed = find("#speed").value.trim(), gust = find("#gust").value.trim(), from = find("#from").value.trim(), ago = find("#ago").value.trim(), by = meter();
  if (!speed) return "";
  if (!by) throw new Problem("Which meter? Tell its unit and its north once: they stay.");
  if (!/^(calm|\d+([.,]\d+)?( ?(-|to) ?\d+([.,]\d+)?)?( ?[a-z/]+)?|light)$/i.test(speed)) throw new Problem(`Speed: "${speed}" is no speed; type such as 9, or 9 to 14`);
  if (ago && !/^\d{1,3}$/.test(ago)) throw new Problem(`Minutes ago: "${ago}" is none; type such as 10, or nothing where it is read now`);
  const calm = /^(0+|calm)$/i.test(speed), named = /\d ?[a-z]|light/i.test(speed.replace(/to/i, ""));
  let text = calm ? "calm" : named ? speed : `${speed} ${by.unit}`;
  if (calm && gust) throw new Problem("A calm has no gust: type the mean speed.");
  if (from && !calm) text += /^(variable|vrb)$/i.test(from) ? " variable" : ` from ${from.replace(/°/g, "")}${by.north === "magnetic" ? " magnetic" : ""}`;
  else if (!calm && text !== "light") throw new Problem("From where? Type degrees or a point of the compass; where it turns about, type variable");
  if (gust) text += `, gusting to ${gust}${/[a-z]/i.test(gust) ? "" : ` ${by.unit}`}`;
  return `${text} at ${by.height}${ago ? `, ${ago} min ago` : ""}`;
};

// A meter that is new to the folder, or picked anew.
async function another() {
  const pick = (name, label, choices) => el("label", {class: "wide"}, `${label} `, el("select", {name, required: true}, el("option", {value: ""}, "choose"), Object.entries(choices).map(([value, text]) => el("option", {value}, text))));
  const said = await question("Which meter is it?", "Use it", [
    el("label", {class: "wide"}, "What do you call it ", el("input", {name: "name", required: true, maxlength: 60, autocomplete: "off"})),
    pick("unit", "It shows", UNITS), pick("north", "Its directions are from", {true: "true north", magnetic: "magnetic north, by a needle"}),
    el("label", {class: "wide"}, "Read how high above the ground ", el("input", {name: "height", required: true, placeholder: "such as 6 ft or 2 m", maxlength: 20, autocomplete: "off"}))]);
  const known = (meters || []).filter(one => one.name !== said?.name);
  if (said && await doing(() => ask("meter", said), `${said.name}: ${UNITS[said.unit]}. It stays until another is chosen.`)) draw_meters([said, ...known]);
  return Boolean(meter());
}

// The meter in use, and what it shows, in full beside each number.
function draw_meters(known) {
  if (JSON.stringify(known) === JSON.stringify(meters) && find("#meter").options.length) { named(); return; }
  meters = known;
  find("#meter").replaceChildren(...(known.length ? [] : [el("option", {value: ""}, "not chosen yet")]),
    ...known.map((one, i) => el("option", {value: String(i)}, `${one.name}: ${UNITS[one.unit]}, ${one.north}, ${one.height}`)), el("option", {value: "new"}, "another meter …"));
  find("#meter").value = known.length ? "0" : "";
  named();
}
function named() {
  const by = meter();
  find("#speed-of").textContent = by ? `Speed, ${UNITS[by.unit]}` : "Speed";
  find("#gust-of").textContent = by ? `Gust, ${UNITS[by.unit]}` : "Gust";
  find("#from-of").textContent = by ? `From, degrees ${by.north} or point` : "From, degrees or point";
}

export function begin(desk) {
  find("#meter").addEventListener("change", async event => {
    if (event.target.value === "new") { event.target.value = meters.length ? "0" : ""; return void another(); }
    if (meter()) await doing(() => ask("meter", meter()));
  });
  find("#reading").addEventListener("submit", async event => {
    event.preventDefault();
    if (!meter() && find("#speed").value.trim() && !await another()) return;
    const text = await doing(() => reading());
    if (text === null) return;
    if (!text) return void doing(() => ask("winds/take", {text: ""}));
    if (await doing(() => ask("winds/take", {text}), `Taken: ${text}, by ${meter().name}. Every flight is worked out again.`)) {
      forget();
      // Where it came from stays no more than how fast: the next reading would go by the last one's bearing unseen.
      for (const id of ["#speed", "#gust", "#from", "#ago"]) find(id).value = "";
      find("#speed").focus();
    } else if (find("#told").textContent.includes("site's declination")) tell("Degrees by the needle need the declination of the field: type it in Field, under Site and pad, or choose a meter read from true north.");
  });
  for (const id of ["#speed", "#gust", "#from", "#ago", "#meter"]) find(id).addEventListener("input", () => { try { soon(reading()); } catch { soon(""); } });
  find("#try").addEventListener("click", () => look(find("#report").value, find("#read-at").value));
  find("#paste").addEventListener("submit", async event => {
    event.preventDefault();
    const told = await doing(() => ask("winds/take", {text: find("#report").value, read_at: find("#read-at").value.trim()}), "Taken. Every flight is worked out again.");
    if (told) { forget(); find("#report").value = ""; }
  });
  find("#file").addEventListener("change", event => read(event.target.files[0]));
  const room = find('section[data-of="wind"]');
  room.addEventListener("dragover", event => event.preventDefault());
  room.addEventListener("drop", event => { event.preventDefault(); read(event.dataTransfer.files[0]); });
  find("#fetch").addEventListener("click", async () => {
    const told = await doing(() => ask("winds/fetch", {}), "This is what the service says. It does not count yet.");
    if (told) { find("#report").value = told.text; find("#paste").closest("details").open = true; look(told.text, ""); }
  });
  balloon(desk);
}

async function read(file) {
  if (!file) return;
  find("#report").value = await file.text();
  find("#paste").closest("details").open = true;
  look(find("#report").value, find("#read-at").value);
}

function balloon(desk) {
  const line = () => {
    const count = find("#angles").children.length;
    const cell = name => el("td", {}, el("input", {inputmode: "decimal", "aria-label": `${name}, line ${count + 1}`}));
    find("#angles").append(el("tr", {}, ["Seconds", "Elevation", "Bearing"].map(cell)));
  };
  for (let i = 0; i < 4; i++) line();
  find("#more-angles").addEventListener("click", line);
  find("#balloon").addEventListener("submit", async event => {
    event.preventDefault();
    if (!find("#balloon-north").value) return void tell("From which north are the bearings: true or magnetic? Choose it.");
    const rows = [...find("#angles").children].map(row => [...row.querySelectorAll("input")].map(input => input.value.trim()));
    const full = rows.filter(row => row.some(Boolean));
    if (desk.state.clock && !/(Z|[-+]\d\d:?\d\d)$/i.test(find("#released").value.trim())) return void tell(`Released at: ${desk.state.clock}; add your zone, such as 08:10-07:00.`);
    const now = new Date(), offset = -now.getTimezoneOffset(), two = n => String(Math.floor(n)).padStart(2, "0");
    const zone = `${offset < 0 ? "-" : "+"}${two(Math.abs(offset) / 60)}:${two(Math.abs(offset) % 60)}`;
    const date = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    const text = [`# released ${date} ${find("#released").value.trim()}${/(Z|[-+]\d\d:?\d\d)$/i.test(find("#released").value.trim()) ? "" : zone}`, `# ascent ${find("#rises").value.trim()}`,
      `time_s,elevation_deg,${find("#balloon-north").value}`, ...full.map(row => row.join(","))].join("\n") + "\n";
    if (await doing(() => ask("winds/take", {text}), "Taken. Every flight is worked out again.")) forget();
  });
}

function soon(text) {
  clearTimeout(waiting);
  if (text) waiting = setTimeout(() => look(text, ""), 400);
  else forget();
}

// What was looked at counts by now, or is none: an answer that is still to come is not shown.
function forget() {
  clearTimeout(waiting);
  looks++;
  find("#new").hidden = true;
}

async function look(text, at) {
  const mine = ++looks, told = await doing(() => ask("winds/try", {text, read_at: at.trim()}));
  if (mine !== looks) return;
  const figure = find("#new");
  figure.hidden = !told;
  if (told) put(figure, "New, not counting yet: ", told);
}

function put(figure, before, told) {
  find("figcaption", figure).replaceChildren(before, el("b", {}, told.told), ` (${told.more})`, ...told.holds.map(text => el("span", {class: "warning"}, ` Holds: ${text}`)));
  find("img", figure).alt = `Wind by height: ${told.told}`;
  picture(find("img", figure), told.svg);
}

export function enter() { forget(); }

// What no longer counts is told beside every word, by name: a gust is not taken back by a click.
async function count(row, box) {
  if (box.checked) return void doing(() => ask("winds/count", {file: row.file, counts: true}));
  const said = await question(`Set aside: ${row.told || row.file}`, "Set it aside", [
    el("p", {}, "Every word tells from now on that it was set aside. Where it was no mistake, the words go on hearing it as long as it would have counted."),
    el("label", {class: "wide"}, "Why ", el("select", {name: "why", required: true}, el("option", {value: ""}, "choose"), el("option", {value: "mistyped"}, "it was typed wrongly"), el("option", {value: "no longer so"}, "it is no longer so"))),
    el("label", {class: "wide"}, "Who says so ", el("input", {name: "by", value: officer, required: true, maxlength: 60, autocomplete: "name"}))]);
  if (said) officer = said.by;
  if (!said || !await doing(() => ask("winds/count", {file: row.file, counts: false, ...said}), "Set aside; every word tells of it.")) box.checked = true;
}

export async function draw(desk) {
  const {rows} = desk.state.winds;
  draw_meters(desk.state.meters);
  strip(rows);
  find("#winds").hidden = rows.length === 0; // a table of heads alone tells nothing
  find("#winds tbody").replaceChildren(...rows.map(row => el("tr", {class: row.counts ? "counts" : ""},
    el("td", {}, el("input", {type: "checkbox", checked: row.counts, "aria-label": `${row.file} counts`, onchange: event => count(row, event.target)})),
    el("td", {}, row.time ? `${row.time.slice(0, 10) === desk.state.today ? "" : row.time.slice(0, 10)} ${clock(row.time)}` : ""),
    el("td", {}, row.problem ? el("span", {class: "warning"}, row.problem) : row.told, el("small", {}, row.source && row.source !== row.told ? `as read: ${row.source}; ${row.file}` : row.file)))));
  find("#aside").textContent = desk.state.aside;
  const figure = find("#old");
  figure.hidden = !rows.some(row => row.counts);
  if (figure.hidden) return;
  const told = await ask("winds/now").catch(() => null); // what is wrong stands in the table
  if (told) put(figure, "Counts now: ", told);
}

// The readings of the day as a strip: arrows over time, speed as height, gusts above.
function strip(rows) {
  const low = rows.filter(row => row.time && row.height <= 60 && row.speed !== undefined && row.kind !== "forecast").reverse();
  find("#strip").hidden = low.length < 1;
  if (low.length < 1) return;
  const times = low.map(row => Date.parse(row.time)), last = Math.max(...times), first = Math.min(...times, last - 36e5);
  const most = Math.max(4, ...low.map(row => row.gust || row.speed));
  const x = time => 24 + 290 * (time - first) / (last - first), y = speed => 110 - 90 * speed / most;
  let written = -40; // no time stands over the one before it
  const apart = at => at - written >= 40 && (written = at, true);
  const drawn = low.map((row, i) => svg("g", {transform: `translate(${x(times[i])} 0)`, class: row.counts ? "counts" : ""},
    svg("line", {x1: 0, x2: 0, y1: 110, y2: y(row.speed), class: "mean"}),
    row.gust ? svg("circle", {cx: 0, cy: y(row.gust), r: 4, class: "gust"}) : svg("g"),
    row.from === null || row.from === undefined ? svg("circle", {cx: 0, cy: y(row.speed), r: 5, class: "way"})
      : svg("path", {d: "M0 9L6 -8L0 -4L-6 -8Z", class: "way", transform: `translate(0 ${y(row.speed)}) rotate(${row.from * 180 / Math.PI})`}),
    apart(x(times[i])) ? svg("text", {x: 0, y: 128, "text-anchor": "middle"}, clock(row.time)) : svg("g")));
  find("#strip").replaceChildren(svg("svg", {viewBox: "0 0 340 136", role: "img", "aria-label": `${low.length} readings; arrows point where the wind goes`}, svg("line", {x1: 10, x2: 330, y1: 110, y2: 110, class: "axis"}), drawn));
}

// The wind that counts and its age, in the head of every room.
export function tick(desk) {
  if (!desk.state) return;
  const counting = desk.state.winds.rows.filter(row => row.counts && !row.problem);
  const low = counting.find(row => row.height <= 60) || counting[0];
  const line = find("#wind-now");
  let text = "No wind counts yet: every word is HOLD";
  if (low) {
    const minutes = Math.max(0, Math.floor((Date.now() - Date.parse(low.time)) / 6e4));
    text = `Wind ${low.told}, ${low.time ? minutes < 1 ? "read now" : minutes < 100 ? `${minutes} min old` : `${(minutes / 60).toFixed(1)} h old` : "time not told"}`;
  }
  if (line.textContent !== text) line.textContent = text;
  const now = new Date(), east = -now.getTimezoneOffset() / 60; // a wrong clock is to be seen
  find("#clock").textContent = `${now.toLocaleDateString("en-GB", {weekday: "short", day: "numeric", month: "short"})}, ${clock(now)} UTC${east < 0 ? "−" : "+"}${Math.abs(east)}${desk.state.clock ? ": not the field's time?" : ""}`;
  find("#clock").classList.toggle("warning", Boolean(desk.state.clock));
}
