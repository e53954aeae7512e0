// The officer's answers: season, day, flight; each once, dated, by name.
import {ask, doing, el, find} from "./net.js";

const HEADS = {season: "Once a season, at this site", ground: "Once a season, at this pad", day: "For today", pad: "For today, at this pad", flight: "For this flight"};
let item = null;

export async function enter(desk, chosen) {
  item = chosen || item || desk.state?.items.find(one => one.state === "waiting");
  if (!item) return void desk.open("day");
  find("#answers-of").textContent = item.name;
  find("#questions").replaceChildren(el("p", {}, "Reading the rules …"));
  const rows = await doing(() => ask(`answers/${item.id}`));
  find("#questions").replaceChildren(...(rows ? Object.entries(HEADS).flatMap(([scope, head]) => part(desk, scope, head, rows)) : []));
}

function part(desk, scope, head, rows) {
  const mine = rows.filter(row => row.scope === scope);
  if (!mine.length) return [];
  const open = mine.filter(row => row.needed && !row.given).length;
  return [el("h2", {}, `${head}: ${open ? `${open} open` : "all answered"}`), ...mine.map(row => line(desk, row))];
}

function line(desk, row) {
  const give = async value => {
    const by = find("#by").value.trim(), until = !["season", "ground"].includes(row.scope) && value ? find("#until").value.trim() : "";
    if (!by) find("#by").focus();  // the desk says that a name is wanted
    if (await doing(() => ask(`answers/${item.id}`, {name: row.name, scope: row.scope, value, by, until}), "Answered.")) enter(desk, item);
  };
  const choice = (value, label) => el("button", {type: "button", "aria-pressed": String(row.given === value), onclick: () => give(value)}, label);
  const field = row.example ? el("input", {value: row.given, placeholder: `such as ${row.example}`, "aria-label": row.text, maxlength: 80}) : null;
  return el("div", {class: `question${row.needed && !row.given ? " open" : ""}`, role: "group", "aria-label": row.text},
    el("p", {}, row.text, row.given ? el("small", {}, `answered${row.by ? ` by ${row.by}` : ""}`) : row.needed ? "" : el("small", {}, "may be told, need not"), row.stale ? el("small", {class: "warning"}, row.stale) : ""),
    el("div", {class: "acts"}, ...(field ? [field, el("button", {type: "button", onclick: () => give(field.value)}, "Answer")] : [choice("yes", "Yes"), choice("no", "No")]),
      row.given ? el("button", {type: "button", onclick: () => give("")}, "Take back") : null));
}
