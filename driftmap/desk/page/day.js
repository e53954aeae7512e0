// The day's list: each flight with its word, the one reason that governs, and what can be done.
import {WORDS, ask, calmly, clock, doing, el, find, question, sign, since} from "./net.js";

const drawn = new Map();
let officer = "", shown = null;

export function begin(desk) {
  find("#add").addEventListener("submit", async event => {
    event.preventDefault();
    const file = find("#add-file").value;
    if (file) await doing(() => ask("day/add", {file}), "Added to the day.");
  });
  find("#units").addEventListener("change", event => doing(() => ask("day/units", {units: event.target.value})));
  find("#list").addEventListener("keydown", event => {
    const row = event.target.closest("li");
    if (!row || !event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    event.preventDefault();
    doing(() => ask("day/move", {id: row.dataset.id, by: event.key === "ArrowUp" ? -1 : 1}));
  });
}

export async function enter() {
  const files = await doing(() => ask("files"));
  if (!files) return;
  find("#add-file").replaceChildren(...files.map(file => el("option", {value: file.file}, file.name)));
  find("#add").hidden = files.length === 0;
  if (shown) find("#step").replaceChildren(...step(shown));
}

// The one thing to do next, said first.
function step(desk) {
  const {state} = desk, waiting = state.items.filter(item => item.state === "waiting");
  if (desk.silent) return ["The desk does not answer: nothing may go."];
  const go = (text, room, more) => [el("button", {type: "button", class: "main", onclick: () => desk.open(room, more)}, text)];
  if (state.site.missing) return go("Next: draw the field", "field");
  if (state.site.problem) return [`The field: ${state.site.problem} `, ...go("Open the field", "field")];
  if (state.date !== state.today) return [state.date ? `This list is of ${state.date}. ` : "This list has no date. ", el("button", {type: "button", class: "main", onclick: () => doing(() => ask("day/begin", {}), "A new day.")}, "Begin today")];
  if (!waiting.length) return find("#add-file").options.length ? ["Next: add a flight below. "] : go("Next: write a flight", "flight");
  if (!state.winds.rows.some(row => row.counts)) return go("Next: read the wind", "wind");
  const next = waiting[0];
  if (!next.sure) return [`Being worked out: ${next.name}. The word stands when it is done.`];
  if (next.word === "hold" && [next.reason, ...next.more].some(text => /question|answer/i.test(text))) return [el("b", {}, `${next.name}: HOLD. `), ...go(`Next: answer for ${next.name}`, "answers", next)];
  const said = el("b", {}, `${next.name}: ${WORDS[next.word]}. `);
  if (next.word === "go") return [said, "Next on the pad, if the officer says so."];
  if (next.word === "no-go") return [said, "Not in this wind as planned: take another flight first, or ", ...go("see what would turn it", "plan", {work: "assess", file: next.file, pad: next.pad})];
  if (/too old|too long ago/i.test(next.reason)) return [said, ...go("Next: read the wind again", "wind")];
  if (/\baloft|height|wind/i.test(next.reason)) return [said, ...go("Next: tell more of the wind", "wind")];
  return [said, "It may not go until its reason is settled. ", el("button", {type: "button", onclick: () => desk.open("flight", next)}, "Look at the flight")];
}

export function draw(desk) { shown = desk; calmly(drawAll); }

function drawAll() {
  const desk = shown, {state} = desk, waiting = state.items.filter(item => item.state === "waiting");
  find("#step").replaceChildren(...step(desk));
  find("#unread").textContent = state.unread.length ? `Not read, for its name, its ending or where it lies: ${state.unread.join(", ")}. Give it a name that begins with a letter or a digit, the ending of its kind, and put it into the folder itself.` : "";
  if (document.activeElement !== find("#units")) find("#units").value = state.units;
  const list = find("#list"), focus = document.activeElement?.dataset?.focus;
  const rows = waiting.map((item, place) => {
    const text = JSON.stringify([{...item, good_for: item.good_for !== null}, place, waiting.length, state.aside, state.site.pads]);
    const known = drawn.get(item.id);
    if (known?.text === text) return known.row;
    const made = row(desk, item, place, waiting.length);
    if (known && find("details", known.row)?.open && find("details", made)) find("details", made).open = true;
    drawn.set(item.id, {text, row: made});
    return made;
  });
  list.replaceChildren(...rows);
  const back = focus && find(`[data-focus="${CSS.escape(focus)}"]`);
  // The first of the list cannot go earlier: the keys stay in its row.
  if (back) (back.disabled ? find("button:enabled", back.closest("li")) : back).focus();
  done(desk);
}

function row(desk, item, place, count) {
  const button = (label, work, more = {}) => el("button", {type: "button", "data-focus": `${label} ${item.id}`, onclick: work, ...more}, label);
  const page = what => el("a", {class: "button", href: `page/${what}/${item.id}`, target: "_blank", rel: "noopener"}, what === "map" ? "Map" : "Sheet");
  return el("li", {class: `flight ${item.word}${item.sure ? "" : " unsure"}${place === 0 ? " first" : ""}`, "data-id": item.id},
    el("div", {class: "word"}, sign(item.word), el("strong", {}, WORDS[item.word]), el("small", {class: "state"}, item.sure ? "" : "not sure yet")),
    el("div", {class: "say"},
      el("h2", {}, `${place + 1}. `, el("bdi", {}, item.name), item.pad ? el("small", {}, el("bdi", {}, item.pad)) : ""),
      el("p", {class: "reason"}, item.reason), pads(desk, item),
      item.was ? el("p", {class: "was"}, `was ${WORDS[item.was]} before`) : "",
      el("p", {class: "rest"}, [item.counts?.replace(/\.$/, ""), item.flown_at ? `worked out for ${clock(item.flown_at)}` : ""].filter(Boolean).join("; "), " ", el("span", {class: "left"})),
      desk.state.aside && item.word !== "no-go" ? el("p", {class: "aside"}, desk.state.aside) : "",
      item.back.length ? el("details", {class: "back"}, el("summary", {}, `Read back: ${item.back[0]} …`), el("p", {}, `A wrong unit shows here: ${item.back.join(", ")}.`)) : "",
      item.more.length ? el("details", {}, el("summary", {}, `${item.more.length} more reason${item.more.length > 1 ? "s" : ""}`), el("ul", {}, item.more.map(text => el("li", {}, text)))) : ""),
    el("div", {class: "acts"},
      page("map"), page("sheet"),
      button("Answers", () => desk.open("answers", item)),
      button("Earlier", () => doing(() => ask("day/move", {id: item.id, by: -1})), {disabled: place === 0, "aria-label": `${item.name} earlier`}),
      button("Later", () => doing(() => ask("day/move", {id: item.id, by: 1})), {disabled: place === count - 1, "aria-label": `${item.name} later`}),
      button("Off the list", () => doing(() => ask("day/drop", {id: item.id}), `${item.name} is off the list.`)),
      button("Flown", () => flown(item), item.word === "go" && item.sure ? {class: "strong"} : {})));
}

// Of several pads a flight is given one: each has its own distance to people.
function pads(desk, item) {
  const {pads: known} = desk.state.site;
  if (known.length < 2) return "";
  return el("label", {}, "From pad ", el("select", {"data-focus": `pad ${item.id}`, onchange: event => doing(() => ask("day/pad", {id: item.id, pad: event.target.value}))},
    el("option", {value: ""}, "choose"), known.map(name => el("option", {selected: name === item.pad}, name))));
}

async function flown(item) {
  const more = item.word === "go" && item.sure ? "" : el("p", {class: "warning"}, `The word was ${WORDS[item.word]}${item.sure ? "" : ", not sure yet"}. It is logged as flown all the same.`);
  const said = await question(`${item.name} has flown`, "Log it", [
    more, el("label", {class: "wide"}, "Who decided ", el("input", {name: "decided_by", value: officer, required: true, maxlength: 60, autocomplete: "name"}))].filter(Boolean));
  if (!said) return;
  officer = said.decided_by;
  await doing(() => ask("day/flown", {id: item.id, ...said}), `${item.name} is in the log.`);
}

function done(desk) {
  const flew = desk.state.items.filter(item => item.state === "flown");
  find("#done").replaceChildren(...(flew.length ? [el("h2", {}, "Flown today"), el("ul", {class: "flown"}, flew.map(item => el("li", {},
    el("bdi", {}, item.name), " ",
    el("button", {type: "button", onclick: () => happened(item)}, "What happened"),
    el("button", {type: "button", onclick: () => found(item)}, "Found"),
    el("button", {type: "button", onclick: () => stayed(item)}, "It did not fly"))))] : []));
}

async function stayed(item) {
  const said = await question(`${item.name} did not fly`, "Log it", [
    el("p", {class: "warning"}, "It waits again, and what was answered for the flight is asked anew. A misfire may still light: keep away as long as the code says, and make the igniter safe first."),
    el("label", {class: "wide"}, "Notes ", el("textarea", {name: "notes", rows: 3, maxlength: 4000, required: true, placeholder: "such as misfire; logged by mistake"}))]);
  if (said) await doing(() => ask("day/happened", {id: item.id, flew: false, ...said}), `${item.name} waits again; the log tells both.`);
}

async function happened(item) {
  const names = await doing(() => ask(`day/names/${item.id}`));
  const said = names && await question(`What happened to ${item.name}?`, "Log it", [
    el("label", {class: "wide"}, "What of these ", el("select", {name: "case"}, el("option", {value: ""}, "not known"), names.cases.map(name => el("option", {}, name)))),
    el("label", {class: "wide"}, "Notes ", el("textarea", {name: "notes", rows: 4, maxlength: 4000}))]);
  if (said) await doing(() => ask("day/happened", {id: item.id, ...said}), "In the log; what stood there before stays in it too.");
}

async function found(item) {
  const names = await doing(() => ask(`day/names/${item.id}`));
  const said = names && await question(`Where was ${item.name} found?`, "Log it", [
    el("label", {class: "wide"}, "Piece ", el("select", {name: "piece", required: true}, names.pieces.length > 1 ? el("option", {value: ""}, "choose") : "", names.pieces.map(name => el("option", {}, name)))),
    el("label", {class: "wide"}, "Latitude, degrees ", el("input", {name: "latitude", inputmode: "decimal", required: true})),
    el("label", {class: "wide"}, "Longitude, degrees (west is negative) ", el("input", {name: "longitude", inputmode: "decimal", required: true})),
    el("label", {class: "wide"}, "Good to ", el("input", {name: "error", placeholder: "such as 5 m", required: true, maxlength: 20})),
    el("label", {class: "wide"}, "State ", el("select", {name: "state"}, el("option", {value: ""}, "not told"), names.states.map(name => el("option", {}, name))))]);
  if (said) await doing(() => ask("day/happened", {id: item.id, found: said}), "In the log.");
}

// A go turns to hold, in every room, when its time is out or the desk is silent.
export function lapse(state, ago, silent) {
  const over = state.items.filter(item => item.word === "go" && (silent || !(item.good_for > ago)));
  for (const item of over) Object.assign(item, {word: "hold", good_for: null, reason: silent ? "The desk does not answer" : "Its time ran out; it is being worked out again"});
  return over.length > 0;
}

// Each second: a go counts down.
export function tick(desk) {
  const ago = since(desk.heard) / 1000;
  for (const item of desk.state?.items || []) {
    if (item.word !== "go") continue;
    const left = Math.max(0, item.good_for - ago), text = `Good for ${Math.floor(left / 60)} min ${String(Math.floor(left % 60)).padStart(2, "0")} s`;
    for (const good of document.querySelectorAll(`.flight[data-id="${CSS.escape(item.id)}"] .left`)) good.textContent = text;
  }
}
