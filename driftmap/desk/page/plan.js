// Plans: what the commands work out beside the words of the day, each by a form of its own few fields.
import {LANGUAGES, ask, base, clock, doing, el, find} from "./net.js";

let desk = null, forms = null, chosen = {file: "", pad: "", language: "en", work: ""};

export async function enter(from, more) {
  desk = from;
  forms ||= await doing(() => ask("plan-forms"));
  const files = await doing(() => ask("files"));
  if (!forms || !files) return;
  chosen = {...chosen, ...more};
  if (!files.some(one => one.file === chosen.file)) chosen.file = desk.state?.items[0]?.file || files[0]?.file || "";
  const pick = (label, key, choices) => el("label", {}, `${label} `, el("select", {onchange: event => { chosen[key] = event.target.value; if (key === "file") enter(desk); }}, Object.entries(choices).map(([value, text]) => el("option", {value, selected: value === chosen[key]}, text))));
  const {pads} = desk.state.site;
  find("#plan-room").replaceChildren(
    el("p", {class: "note"}, "Each is worked out by the command of its name; the line that does it is shown. A go of a plan is no go: the word of the day is in Day."),
    el("p", {class: "warning"}, desk.state.aside),
    el("div", {class: "line"}, files.length ? pick("Flight", "file", Object.fromEntries(files.map(one => [one.file, one.name]))) : "", pads.length > 1 ? pick("From pad", "pad", {"": "choose", ...Object.fromEntries(pads.map(name => [name, name]))}) : "", pick("Pages in", "language", LANGUAGES)),
    el("div", {id: "plan-now", role: "status"}),
    ...forms.flatMap((form, i) => [form.part === forms[i - 1]?.part ? "" : el("h2", {}, form.part), el("details", {open: form.name === chosen.work, "data-work": form.name}, el("summary", {}, form.head), one(form, files))]).filter(Boolean),
    el("h2", {}, "Worked out"), el("ul", {id: "plans-done", class: "done"}));
  if (more?.work) find(`[data-work="${more.work}"] button`).focus();
  await watch();
}

function one(form, files) {
  return el("form", {class: "line", onsubmit: async event => {
    event.preventDefault();
    const given = {language: chosen.language};
    for (const field of form.asks) {
      const at = [...event.target.elements].filter(e => e.dataset.option === field.option);
      given[field.option] = at[0]?.type === "checkbox" ? at.filter(e => e.checked).map(e => e.value) : at[0]?.value || "";
    }
    const told = await doing(() => ask("plans", {work: form.name, flight: form.takes.some(what => what === "flight" || what === "of") ? chosen.file : "", pad: chosen.pad, given}));
    if (told) { find("#plan-now").scrollIntoView({block: "center"}); show(told); }
  }}, form.note ? el("p", {class: "note wide"}, form.note) : "", ...form.asks.filter(field => !field.more).map(field => entry(field, files)),
    form.more ? el("details", {class: "wide"}, el("summary", {}, "More of it"), el("div", {class: "grid"}, form.asks.filter(field => field.more).map(field => entry(field, files)))) : "", el("button", {type: "submit", class: "main"}, "Work it out"));
}

function entry(field, files) {
  const common = {"data-option": field.option}, winds = desk.state.winds.rows;
  const ticks = choices => el("fieldset", {class: "wide"}, el("legend", {}, field.told), ...choices.map(([value, text, on]) => el("label", {class: "tick"}, el("input", {type: "checkbox", value, checked: on || false, ...common}), ` ${text}`)));
  const list = choices => el("label", {}, `${field.told} `, el("select", common, field.given ? [] : el("option", {value: ""}, "none"), choices.map(text => el("option", {selected: text === field.given}, text))));
  if (field.kind === "flights") return files.length > 1 ? ticks(files.filter(one => one.file !== chosen.file).map(one => [one.file, one.name, one.file === chosen.beside])) : "";
  if (field.kind === "winds") return ticks(winds.map(row => [row.file, `${row.time ? clock(row.time) : "no time"}, ${row.told || row.file}`, row.counts]));
  if (field.kind === "wind") return list(winds.map(row => row.file));
  if (field.kind === "areas") return list(desk.state.site.people);
  if (field.kind === "choice") return list(field.choices);
  const area = field.kind === "rows" || field.kind === "toml";
  return el("label", {class: area ? "wide" : ""}, `${field.told} `, el(area ? "textarea" : "input", {...common, value: field.given, maxlength: 20000, spellcheck: "false", autocomplete: "off", rows: area ? 5 : null}));
}

let again = 0;
async function watch() {
  const told = find("#plan-now") && await ask("plans").catch(() => null);
  if (told) show(told);
}

function show(told) {
  clearTimeout(again);
  const now = find("#plan-now");
  now.replaceChildren(...(told.running ? [el("p", {}, el("b", {}, `Being worked out: ${told.name}. `), told.said.at(-1) || "", " ", el("button", {type: "button", onclick: async () => show(await ask("plans/stop", {}))}, "Stop it")), el("code", {}, told.line)]
    : told.failed ? [el("p", {class: "warning"}, told.said.filter(text => !/^(Usage|Try)/.test(text)).join(" ").replace(/^driftmap: /, "") || "It was stopped."), el("code", {}, told.line)]
    : told.line ? [el("p", {}, `${told.name} is worked out:`), el("code", {}, told.line)] : []));
  find("#plans-done").replaceChildren(...told.done.map((plan, i) => el("li", {},
    el("b", {}, plan.name), ` ${plan.time.slice(0, 10) === desk.state.today ? "" : plan.time.slice(0, 10)} ${clock(plan.time)}`, plan.old ? el("span", {class: "warning"}, "No longer so: the folder has changed since, or the wind is too old. Work it out again.") : "",
    el("div", {class: "acts"}, plan.files.map(file => el("a", {class: "button", href: `${base}plans/${encodeURIComponent(plan.name)}/${file}`, target: "_blank", rel: "noopener"}, file.endsWith(".html") ? `Open ${file.replace(".html", "")}` : file))),
    i === 0 && plan.files.some(file => file.endsWith(".html")) ? el("iframe", {src: `${base}plans/${encodeURIComponent(plan.name)}/${plan.files.find(file => file.endsWith(".html"))}`, sandbox: "allow-scripts", title: plan.name}) : "",
    plan.told ? el("details", {open: i === 0 && !plan.files.length}, el("summary", {}, "What it says"), el("code", {}, plan.line), el("pre", {tabindex: 0, role: "region", "aria-label": `What ${plan.name} says`}, plan.told)) : "")));
  if (told.running) again = setTimeout(watch, 1500);
}
