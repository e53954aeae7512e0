// Show it: the next flight for the crowd, pages to print, phones that may read.
import {WORDS, LANGUAGES, ask, clock, doing, el, find, picture, sign, zone} from "./net.js";

let desk = null, language = "en", field = null;

// The field from above as it was judged; it bears no word, and a new judgement brings a new one.
function fieldOf(item) {
  const src = `page/field/${item.id}?language=${language}&of=${encodeURIComponent(`${item.flown_at} ${item.word}`)}`;
  if (field?.dataset.src === src) return field;
  field = el("img", {class: "field", alt: "The field from above: zones, people, wind", hidden: true, "data-src": src, src});
  const own = field; // seen once it is whole
  own.addEventListener("load", () => { own.hidden = false; });
  own.addEventListener("error", () => setTimeout(() => { if (own.isConnected) own.src = `${src}&again=${Date.now()}`; }, 2000));
  return own;
}

export function begin(from) { desk = from; }

export async function enter(from) {
  desk = from;
  find("#show-room").replaceChildren(
    el("button", {type: "button", class: "main", onclick: () => find("#crowd").requestFullscreen?.()}, "Full screen for the crowd"),
    el("div", {id: "crowd"}),
    el("label", {}, "Where to stand, and pages, in ", el("select", {onchange: event => { language = event.target.value; draw(desk); }}, Object.entries(LANGUAGES).map(([tag, name]) => el("option", {value: tag, lang: tag, selected: tag === language}, name)))), el("h2", {}, "To print"), el("ul", {id: "prints", class: "flown"}),
    el("h2", {}, "Phones that may read"), el("p", {class: "note"}, "On request, phones on this network read the day's list and its maps, by a key of their own. They cannot write. The key is void when you press Stop; after a restart of the desk let them read again, and they go on with the same one."),
    el("div", {id: "phones"}));
  draw(desk);
  phones(await doing(() => ask("readers")));
}

export function draw(from) {
  const waiting = from.state.items.filter(item => item.state === "waiting"), crowd = find("#crowd");
  if (!crowd) return;
  const next = waiting[0], low = from.state.winds.rows.find(row => row.counts);
  const [why, ...stand] = next?.crowd[language] || [], same = why && next.reason === next.crowd.en[0];
  crowd.replaceChildren(...(next ? [
    el("div", {class: `flight big ${next.word}${next.sure ? "" : " unsure"}`, "data-id": next.id}, el("div", {class: "word"}, sign(next.word), el("strong", {}, WORDS[next.word]), next.sure ? "" : el("small", {}, "not sure yet")),
      el("div", {class: "say"}, el("h2", {}, "Next: ", el("bdi", {}, next.name)), el("p", {class: "reason", lang: same ? language : null}, same ? why : next.reason), el("p", {}, low ? `Wind ${low.told}` : "No wind is read yet"), from.state.aside ? el("p", {class: "aside"}, from.state.aside) : "",
        next.word === "go" && next.good_for ? el("p", {}, `Valid until ${clock(new Date(Date.parse(from.state.now) + 1000 * next.good_for).toISOString())} (${zone()}). `, el("span", {class: "left"})) : "",
        ...stand.map(text => el("p", {class: "stand", lang: language}, text)), next.sure && next.flown_at ? fieldOf(next) : "",
        el("p", {}, el("a", {class: "button", href: `page/map/${next.id}?language=${language}`, target: "_blank", rel: "noopener"}, "Map: where to stand, which way to look")))),
    el("ol", {class: "after", start: 2}, waiting.slice(1, 5).map(item => el("li", {}, el("bdi", {}, item.name), ` ${WORDS[item.word]}`))),
    el("p", {class: "note"}, "The range safety officer decides. Watch every flight until all of it is down.")] : [el("p", {}, "No flight waits.")]));
  find("#prints").replaceChildren(...waiting.map(item => el("li", {}, el("bdi", {}, item.name), ...["sheet", "poster", "caller", "map", "dial"].map(what => el("a", {class: "button", href: `page/${what}/${item.id}?language=${language}`, target: "_blank", rel: "noopener"}, {sheet: "Sheet", poster: "Poster", caller: "Caller", map: "Map", dial: "Dial (takes minutes)"}[what])))));
}

async function phones(told) {
  const room = find("#phones");
  if (!told || !room) return;
  const press = (text, on) => el("button", {type: "button", class: on ? "main" : "", onclick: async () => phones(await doing(() => ask("readers", {on})))}, text);
  if (!told.address) return void room.replaceChildren(press("Let phones read", true));
  const image = el("img", {class: "code", alt: "QR code of the address for phones"});
  room.replaceChildren(image, el("p", {}, el("b", {}, told.address)), el("p", {id: "phones-now", role: "status"}, `${told.count} ${told.count === 1 ? "phone reads" : "phones read"} now.`), press("Stop", false));
  picture(image, told.code);
  clearTimeout(phones.again);
  phones.again = setTimeout(async function count() {
    const now = find("#phones-now") && await ask("readers").catch(() => null);
    if (!now) return;
    find("#phones-now").textContent = `${now.count} ${now.count === 1 ? "phone reads" : "phones read"} now.`;
    phones.again = setTimeout(count, 5000);
  }, 5000);
}
