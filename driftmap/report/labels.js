// Labels that give way to each other.
//
// One rule: a name stands on its own ground or close beside it, on nobody else's; where there is no room close by, its
// number alone, which the head of the page names. What stands beside its ground points into it with a tail, for a name off its
// ground is read as its place. On narrow maps people's places bear numbers first, and names where these leave room. Who comes
// first, by rank, chooses first. Paper is alike (plates.py).

// Which way people are to go from there: degrees from north.
function arrowTo(degrees) {
  const arrow = document.createElement("em");
  arrow.className = "whither";
  arrow.style.transform = `rotate(${degrees - 90}deg)`;
  return arrow;
}

// A label at a place. Its text comes from a file: it is set as text, never read as HTML. `along` is the line it names.
function tag(at, classes, rank, { mark, name, more, sign = "", area, along, go }) {
  const label = document.createElement("span");
  label.className = `label ${classes}`;
  label.dataset.rank = rank;
  Object.assign(label, { along, go });
  if (area !== undefined) label.dataset.area = area;
  label.append(go === undefined ? sign : arrowTo(go));
  for (const [element, text] of [["b", mark], ["bdi", name], ["i", more]]) {
    if (text === undefined) continue;
    const part = document.createElement(element);
    part.textContent = text;
    label.append(part);
  }
  const holder = document.createElement("div");
  holder.append(label);
  return L.marker(at, { icon: L.divIcon({ html: holder, iconSize: [0, 0], className: "tag" }), interactive: false, keyboard: false });
}


let edges = false; // whether the names of squares stand there
const MANY = 12; // people's places; beyond them those close together share a plate
const [NARROW, LOW] = [600, 300]; // width, and height, of a map on which a name would cover the field

const GAPS = [4, 12, 22, 34, 48, 64];
const NEAR = GAPS.slice(0, 3);
const LONGEST = 80; // a tail, in pixels: a longer one is lost
const HIDDEN = 0.2; // of a zone, the most that its word may hide
const SMALL = 200; // a zone in which each few pixels are tried for its word
const PAD = 10; // half the width of what a word leaves of the pad
const OFF = 6; // between a word and an edge, if there is room
const APART = 10; // between the word of a zone and a plate
const TIED = 8; // as near to its ground, a name without a plate needs no tail
const TIP = 5; // of a tail, within its ground
const BASES = [7, 3, 1.5]; // half the width of a tail where it leaves the plate: the thinner, the closer others stand
const LOST = 5000; // what a word costs that finds no place
const ROOM = 22; // about the middle of people's ground, for their number
// Directions from a box to its point, as parts of half its width and height: all about it.
const ROUND = Array.from({ length: 16 }, (_, i) => {
  const [x, y] = [Math.cos((i * Math.PI) / 8), Math.sin((i * Math.PI) / 8)];
  const most = Math.max(Math.abs(x), Math.abs(y));
  return [x / most, y / most];
});

const about = ({ left, top }, { width, height }) => boxAt(left - width / 2, top - height / 2, { width, height });

// Whether a box is in sight and hides no other label, line or people.
function clear(box, own, crowd) {
  return holdsBox(crowd.frame, box) && !overlaps(box, crowd.taken) && !crowd.leads.some((lead) => pierces(lead, box))
    && crowd.people.every((ground) => ground === own || lies(box, ground) === "off");
}

// Whether a line, a little way from its ground, touches other ground.
const grazes = ([x, y, u, v], ground) => [2, 3, 4, 5, 6, 7, 8].some((i) => lies(boxAt(x + ((u - x) * i) / 8 - 3, y + ((v - y) * i) / 8 - 3, { width: 6, height: 6 }), ground) !== "off");

// Whether a tail of such a width runs through a box.
const strikes = (way, box, base, others) => [way, ...sidesOfTail(box, way, base)].some((line) => others.some((other) => pierces(line, other)));

// Whether a line runs into danger, through the pad, a plate, another line, or the ground of others; with care not along it nor over a word either.
function blocked(way, box, own, crowd, care) {
  const [x, y, u, v] = way;
  const lines = [way, ...sidesOfTail(box, way, BASES.at(-1))];
  const [first, ...rest] = [0, 1, 2, 3, 4, 5, 6, 7, 8].map((i) => lies(boxAt(x + ((u - x) * i) / 8, y + ((v - y) * i) / 8, { width: 0.1, height: 0.1 }), crowd.danger) !== "off");
  if (!first && rest.some(Boolean)) return true;
  const atPad = overlaps(boxAt(x, y, { width: 0, height: 0 }), [crowd.pad]); // of a small field all of it is
  return [...(atPad ? [] : [crowd.pad]), ...(care ? crowd.words : []), ...crowd.plates].some((other) => lines.some((line) => pierces(line, other))) || crowd.leads.some((lead) => lines.some((line) => crosses(line, lead)))
    || crowd.people.some((ground) => ground !== own && (sidesIn(ground).some((side) => crosses(way, side)) || (care && grazes(way, ground))));
}

// Places about a ground, so far off its corners.
function placesAbout(ground, { width, height }, gap) {
  const every = ground.flat(2);
  const corners = every.filter((_, i) => i % Math.ceil(every.length / 24) === 0);
  return ROUND.flatMap(([right, down]) => corners.map(([x, y]) => about({ left: x + right * (width / 2 + gap), top: y + down * (height / 2 + gap) }, { width, height })));
}

// The nearest clear place beside a ground, or of those near the one farthest from what is to keep its own word.
function beside(size, ground, crowd, { gaps = GAPS, fits = () => true, tied = TIED, afar = [] } = {}) {
  const room = (box) => Math.min(...afar.map((other) => Math.hypot(box.left + box.right - other.left - other.right, box.top + box.bottom - other.top - other.bottom)));
  for (const some of afar.length ? [gaps.slice(0, 3), gaps.slice(3)] : gaps.map((gap) => [gap])) {
    const places = some.flatMap((gap) => placesAbout(ground, size, gap));
    if (afar.length) places.sort((a, b) => room(b) - room(a));
    for (const box of places) {
      if (!clear(box, ground, crowd) || lies(box, ground) !== "off" || !fits(box)) continue;
      const { way, long } = wayTo(ground, box);
      if (long <= tied || (long <= LONGEST && !blocked(way, box, ground, crowd, false))) return { box };
    }
  }
  return null;
}

// Set a label at a place; beside its ground, with a tail whose tip stands in it.
function setAt(label, { box, short = false, bare = false, tiny = false }, crowd, ground) {
  Object.assign(label, { box, leads: [] });
  const { left, top } = crowd.at.get(label);
  for (const [form, kept] of Object.entries({ short, bare, tiny })) label.classList.toggle(form, kept);
  Object.assign(label.style, { left: `${box.left - left}px`, top: `${box.top - top}px` });
  const room = label.classList.contains("zone") ? APART : 0; // else it reads as the word of the plate beside it
  crowd.taken.push(grown(box, room));
  crowd.plates.push(box);
  label.parentElement.querySelector(".leader")?.remove();
  if (!ground || lies(box, ground) !== "off") return true;
  const { way, long } = wayTo(ground, box);
  if (long > (/ (people|zone) /.test(` ${label.className} `) ? 1 : TIED)) {
    const others = crowd.plates.filter((other) => !holdsBox(box, other));
    const base = BASES.find((wide) => !strikes(way, box, wide, others)) ?? BASES.at(-1);
    label.leads = [way, ...sidesOfTail(box, way, base)];
    crowd.leads.push(...label.leads);
    label.before(tailOf(label, box, way, base, { left, top }));
  }
  return true;
}

// Where a tail ends: a little within its ground.
function tipOf([x, y, u, v]) {
  const part = TIP / Math.hypot(u - x, v - y);
  return [x - (u - x) * part, y - (v - y) * part];
}

// Corners of a tail: its tip, and both ends of its foot within the plate, which hides it.
function cornersOfTail(box, way, base) {
  const [x, y] = way;
  const tip = tipOf(way);
  const half = Math.min(box.right - box.left, box.bottom - box.top) / 2;
  const foot = [clamp(x, box.left + half, box.right - half), clamp(y, box.top + half, box.bottom - half)];
  const away = Math.hypot(foot[0] - tip[0], foot[1] - tip[1]);
  const wide = Math.min(base, half * 0.8) / away;
  const [across, down] = [(tip[1] - foot[1]) * wide, (foot[0] - tip[0]) * wide];
  return [tip, [foot[0] + across, foot[1] + down], [foot[0] - across, foot[1] - down]];
}

// A tail is a wedge: what its middle clears its sides may touch.
function sidesOfTail(box, way, base) {
  const [tip, ...feet] = cornersOfTail(box, way, base);
  return feet.map((foot) => [...tip, ...foot]);
}

// A wedge from a plate to its ground, in pixels from where the label belongs.
function tailOf(label, box, [x, y, u, v], base, { left, top }) {
  const corners = cornersOfTail(box, [x, y, u, v], base);
  const tail = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  tail.setAttribute("class", ["leader", ...["fail", "danger", "caution"].filter((kind) => label.classList.contains(kind))].join(" "));
  tail.dataset.way = [x - left, y - top, u - left, v - top].join(" ");
  const wedge = tail.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "path"));
  wedge.setAttribute("d", `M${corners.map(([a, b]) => `${(a - left).toFixed(1)} ${(b - top).toFixed(1)}`).join("L")}Z`);
  return tail;
}

// The place for a word within its zone nearest to its widest part, off a worse zone and with room for people's numbers;
// never over its edge, and none that would hide more than a part of it.
function fitWithin(size, own, worse, crowd, from) {
  const corners = own.flat(2);
  const { frame } = crowd;
  const [low, high] = [Math.min, Math.max].map((most) => [0, 1].map((axis) => most(...corners.map((corner) => corner[axis]))));
  const step = Math.min(high[0] - low[0], high[1] - low[1]) < SMALL ? 3 : 10;
  const tries = [];
  for (let left = Math.max(low[0], frame.left); left <= Math.min(high[0], frame.right) - size.width; left += step) {
    for (let top = Math.max(low[1], frame.top); top <= Math.min(high[1], frame.bottom) - size.height; top += step) {
      tries.push({ box: boxAt(left, top, size), away: Math.hypot(left + size.width / 2 - from.left, top + size.height / 2 - from.top) });
    }
  }
  const free = tries.sort((a, b) => a.away - b.away).filter(({ box }) => !overlaps(box, crowd.rooms) && clear(box, null, crowd) && lies(box, own) === "in" && lies(box, worse) === "off");
  const bare = ({ box }) => crowd.keep.every((ground) => lies(box, ground) === "off");
  const apart = ({ box }) => lies(grown(box, OFF), own) === "in" && lies(grown(box, OFF), worse) === "off";
  return free.find((place) => bare(place) && apart(place)) ?? free.find(bare) ?? free[0];
}

// Note what it costs that a label stands so, and who is badly off.
function press(label, crowd, cost = LOST) {
  crowd.cost += cost;
  if (cost >= BAD) crowd.pressed.push({ label, cost });
}

// The word of clear ground stands on it, off both zones, where the way leads or else beyond its end, off people's numbers if it can; or nowhere.
function placeClear(label, crowd) {
  const { brief, left, top } = crowd.at.get(label);
  const [east, south] = [Math.sin(label.along), -Math.cos(label.along)];
  const turned = (box) => [[east, south], [-south, east]].map(([x, y]) => ((box.left + box.right) / 2 - left) * x + ((box.top + box.bottom) / 2 - top) * y);
  const calm = (box) => [crowd.danger, crowd.caution].every((zone) => lies(box, zone) === "off");
  const bare = (box) => calm(box) && !overlaps(box, crowd.rooms);
  const ahead = (box) => turned(box)[0] >= Math.abs(turned(box)[1]) - 1;
  const onward = (box) => turned(box)[0] > -1;
  const on = about({ left, top }, brief);
  const find = (fits) => (fits(on) && clear(on, null, crowd) ? { box: on } : beside(brief, pointOn({ left, top }), crowd, { gaps: [4, 12, 22, 34, 50, 70, 95], fits, tied: Infinity }));
  const tries = [ahead, onward].flatMap((way) => [bare, calm].map((ground) => (box) => way(box) && ground(box)));
  const place = tries.reduce((found, fits) => found ?? find(fits), null);
  if (!place) press(label, crowd, LOST / 5); // rather than a zone's
  return Boolean(place) && setAt(label, place, crowd);
}

// The word of a zone stands in it, with what falls there or alone, rather small and over the rail than beside it; that of a
// zone smaller than its word stands beside it, with a tail.
function placeWord(label, crowd) {
  const kind = label.classList.contains("danger") ? "danger" : "caution";
  const [own, worse] = kind === "danger" ? [crowd.danger, []] : [crowd.caution, crowd.danger];
  if (!own.length) return false;
  const { left, top, full, brief, bare, tiny } = crowd.at.get(label);
  const { frame } = crowd;
  const from = { left: clamp(left, frame.left, frame.right), top: clamp(top, frame.top, frame.bottom) };
  const over = { ...crowd, taken: [padBox(PAD), ...crowd.taken.filter((box) => box !== crowd.pad && !crowd.words.includes(box))] };
  const [asBare, asTiny] = [{ short: true, bare: true }, { short: true, bare: true, tiny: true }];
  const forms = [[full, {}, crowd], [brief, { short: true }, crowd], [bare, asBare, crowd], [bare, asBare, over], [tiny, asTiny, over]];
  const room = HIDDEN * areaOf(own);
  for (const [size, form, seen] of forms.filter(([{ width, height }]) => width * height <= room)) {
    const place = fitWithin(size, own, worse, seen, from);
    if (place) return setAt(label, { ...place, ...form }, crowd);
  }
  // Danger is rather named from within caution than from clear ground, never the other way round, and neither over an edge.
  const off = (box) => lies(box, crowd.danger) === "off" && lies(box, crowd.caution) !== "over";
  const tipped = (box) => { // else its tail would name the worse zone
    const [left, top] = tipOf(wayTo(own, box).way);
    return lies(about({ left, top }, { width: 8, height: 8 }), worse) === "off";
  };
  const apart = (box) => tipped(box) && off(box) && !overlaps(box, crowd.rooms);
  const tries = [(box) => apart(box) && lies(box, crowd.caution) === (kind === "danger" ? "in" : "off"), apart, off];
  const place = tries.reduce((found, fits) => found ?? beside(bare, own, crowd, { fits, tied: 0, afar: crowd.rooms }), null);
  if (place) return setAt(label, { ...place, ...asBare }, crowd, own);
  // Rather over ground of people, whose numbers give way, than gone.
  const last = fitWithin(bare, own, worse, { ...crowd, people: [], rooms: [], keep: [] }, from);
  if (!last) press(label, crowd);
  return Boolean(last) && setAt(label, { ...last, ...asBare }, crowd);
}

const touches = (ground, zone) => ground.flat(2).some(([x, y]) => lies(boxAt(x, y, { width: 1, height: 1 }), zone) !== "off");
const pointOn = ({ left, top }) => [[[[left, top]]]];

// The name of a line stands on it, off the zones if it can; that of one that fails at least beside it.
function placeAlong(label, crowd) {
  const { full } = crowd.at.get(label);
  const spots = sidesIn(polygonsOf([label.along])).flatMap(([a, b, c, d]) => {
    const steps = Math.min(Math.ceil(Math.hypot(c - a, d - b) / 24), 200);
    return Array.from({ length: steps }, (_, i) => [a + ((c - a) * i) / steps, b + ((d - b) * i) / steps]);
  }).filter(([x, y]) => holdsBox(crowd.frame, boxAt(x, y, { width: 0, height: 0 })));
  const boxes = spots.map(([left, top]) => about({ left, top }, full)).sort((a, b) => a.top - b.top).filter((box) => clear(box, null, crowd));
  const bare = boxes.find((box) => [crowd.danger, crowd.caution, ...crowd.keep].every((zone) => lies(box, zone) === "off"));
  const off = boxes.filter((at) => lies(at, crowd.danger) === "off");
  const bad = / (fail|warn)/.test(label.className);
  const box = bare ?? off.find((at) => lies(at, crowd.caution) !== "over") ?? (bad ? off[0] : undefined);
  if (box) return setAt(label, { box }, crowd);
  const onLine = spots.map((spot) => [[spot]]);
  const place = bad && beside(full, onLine, crowd, { fits: (at) => lies(at, crowd.danger) === "off" });
  return Boolean(place) && setAt(label, place, crowd, onLine);
}

function placeOther(label, crowd) {
  const measured = crowd.at.get(label);
  const ground = (label.dataset.area && crowd.groundOf(label)) || pointOn(measured);
  const held = /keep|water/.test(label.className); // the name of a way stands on it, wherever
  const off = (box) => lies(box, crowd.danger) === "off";
  const calm = (box) => off(box) && lies(box, crowd.caution) === "off"; // whose ground no zone meets, stands in none
  const kept = [...(touches(ground, crowd.caution) ? [] : [calm]), off, ...(!held || touches(ground, crowd.danger) ? [() => true] : [])];
  const forms = kept.flatMap((fits) => (label.classList.contains("piece") ? [false, true] : [false]).map((short) => ({ fits, short })));
  for (const { fits, short } of forms) {
    const size = short ? measured.brief : measured.full;
    const on = about(measured, size);
    const fine = !held || lies(on, ground) === "in";
    const place = fine && clear(on, ground, crowd) && fits(on) ? { box: on } : beside(size, ground, crowd, { gaps: NEAR, fits });
    if (place) return setAt(label, { ...place, short }, crowd, ground);
  }
  return false;
}

// What is drawn and does not change while labels are set.
function groundsDrawn() {
  const { left, top, right, bottom } = chart.getContainer().getBoundingClientRect();
  const frame = { left: left + 4, top: top + (edges ? 20 : 4), right: right - (edges ? 26 : 4), bottom: bottom - 4 }; // clear of the edges' names
  const drawn = areas.map((area) => polygonsOf([area]));
  const people = drawn.filter((_, i) => areas[i].options.className.includes("people"));
  const fixed = all(".leaflet-control, #north").map((control) => control.getBoundingClientRect());
  const picture = all(".pad-picture text, .pad-picture .wind, .pad-picture .rail").map((part) => part.getBoundingClientRect());
  const pad = padBox(14);
  const [danger, caution] = ["danger", "caution"].map(zonePolygons);
  return { frame, people, grounds: people, keep: drawn.filter((ground) => !people.includes(ground)), groundOf: (label) => drawn[label.dataset.area], danger, caution, pad, words: picture, fixed: [pad, ...fixed, ...picture] };
}

// Where each label belongs and how large it is in each form: all read before any is set, so that the page is laid out four times, not for each.
function measure(labels) {
  const sizes = (...classes) => labels.map((label) => {
    label.classList.remove("short", "bare", "tiny");
    label.classList.add(...classes);
    return label;
  }).map((label) => {
    const { width, height } = label.getBoundingClientRect();
    return { width, height };
  });
  const [full, brief, bare, tiny] = [sizes(), sizes("short"), sizes("short", "bare"), sizes("short", "bare", "tiny")];
  return new Map(labels.map((label, i) => {
    const { left, top } = label.parentElement.getBoundingClientRect();
    return [label, { left, top, full: full[i], brief: brief[i], bare: bare[i], tiny: tiny[i] }];
  }));
}

// By rank; a few places of people that are alike but for their number of people, from the pad outward, so that none nearer is shut in.
function inTurn(labels) {
  const rank = ({ dataset }) => Number(dataset.rank);
  const few = labels.filter((label) => label.classList.contains("people")).length <= FEW;
  const { left, top } = padBox(0);
  const away = new Map(labels.map((label) => {
    const at = label.parentElement.getBoundingClientRect();
    return [label, Math.hypot(at.left - left, at.top - top)];
  }));
  return labels.sort((a, b) => (few && Math.ceil(rank(a)) - Math.ceil(rank(b))) || (few && away.get(a) - away.get(b)) || rank(a) - rank(b));
}

function placeLabels() {
  const gathered = new Map();
  for (const line of all(".leader")) line.remove();
  const labels = inTurn(all(".map .label"));
  // Dozens of names on a small screen: small numbers.
  const people = labels.filter((label) => label.classList.contains("people"));
  const { x: width, y: height } = chart.getSize();
  chart.getContainer().classList.toggle("crowded", people.length > 20 && width < NARROW);
  const many = people.length > MANY;
  const drawn = { ...groundsDrawn(), first: [], many, numbers: many || width < NARROW || height < LOW };
  // A plate that counts others is wider, and who is badly off chooses first the next time, the worst off before all others.
  // No order serves everybody: of these turns the one that costs least stays.
  const turns = [];
  const tried = (order) => turns.some(({ first }) => first.length === order.length && first.every((label, i) => label === order[i]));
  let turn;
  do {
    turn = { first: drawn.first, ...placeOnce(labels, people, drawn, gathered) };
    turns.push(turn);
    drawn.first = [...new Set([...turn.pressed, ...drawn.first])];
  } while ((turn.more || !tried(drawn.first)) && turns.length < 8);
  const best = turns.reduce((a, b) => (b.cost <= a.cost ? b : a));
  if (best !== turn) placeOnce(labels, people, { ...drawn, first: best.first }, gathered);
  const words = all(".label.zone:not(.off) b, .label.people:not(.off)").map((word) => word.getBoundingClientRect());
  for (const text of all(".pad-picture text")) text.classList.toggle("off", overlaps(text.getBoundingClientRect(), words));
  tellNumbers(people);
}

// Set every label; tell what it costs, who is badly off, and whether a place was gathered that was not before.
function placeOnce(labels, people, drawn, gathered) {
  for (const line of all(".leader")) line.remove();
  const named = on("#show-names");
  showGathered(gathered);
  const at = measure(labels);
  const rooms = people.map((label) => about(at.get(label), { width: 2 * ROOM, height: 2 * ROOM }));
  const crowd = { ...drawn, at, rooms, taken: [...drawn.fixed], plates: [], leads: [], hosts: [], pressed: [], cost: 0 };
  const counted = new Set([...gathered.values()].flat());
  let more = false;
  for (const label of new Set([...drawn.first, ...labels])) {
    label.classList.toggle("joined", counted.has(label));
    const wanted = !counted.has(label) && (named || !label.classList.contains("area"));
    const free = wanted && placeOne(label, crowd);
    if (wanted && !free && people.includes(label) && inFrame(label, crowd)) {
      gather(label, crowd, gathered);
      label.classList.toggle("joined", crowd.hosts.length > 0);
      more ||= crowd.hosts.length > 0;
    }
    label.classList.toggle("off", !free);
  }
  if (!crowd.many) addNames(people, crowd);
  const pressed = crowd.pressed.sort((a, b) => b.cost - a.cost).map(({ label }) => label);
  return { cost: more ? Infinity : crowd.cost, more, pressed };
}

function placeOne(label, crowd) {
  const is = (name) => label.classList.contains(name);
  if (is("clear")) return inFrame(label, crowd) && placeClear(label, crowd);
  if (label.along) return placeAlong(label, crowd);
  if (is("zone")) return placeWord(label, crowd);
  if (!inFrame(label, crowd)) return false;
  if (!is("people")) return placeOther(label, crowd);
  return placePeople(label, crowd) && Boolean(crowd.hosts.push(label));
}

// Whether where it belongs is in sight; of people any corner of their ground, for what is seen of it is named.
function inFrame(label, { at, frame, groundOf }) {
  const { left, top } = at.get(label);
  const corners = label.classList.contains("people") ? (groundOf(label) ?? []).flat(2) : [];
  return [[left, top], ...corners].some(([x, y]) => x >= frame.left && x <= frame.right && y >= frame.top && y <= frame.bottom);
}
