// Labels that give way to each other.
//
// One rule: a name stands on its own ground or close beside it, on nobody else's; where there is no room close by, its
// number alone, which the line below the map names. A name far from its ground is read as its place. On narrow maps
// people's places bear numbers first, and names where these leave room. The first free place nearest to the ground is taken: who comes first, by rank,
// chooses first. Paper is alike (plates.py).

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
  label.along = along;
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
const FEW = 6; // people's places that all have a plate of their own, with a line however long
const MANY = 12; // people's places; beyond them those close together share a plate
const NARROW = 600; // width of a map on which a name would cover the field

const GAPS = [4, 12, 22, 34, 48, 64];
const NEAR = GAPS.slice(0, 3);
const LONGEST = 80; // a line to a plate, in pixels: a longer one is lost
const APART = 10; // between the word of a zone and a plate
const TIED = 8; // as near to its ground, a plate needs no line
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

// Whether a line runs into danger, through the pad, a plate, another line, or the ground of others; with care not along it nor over a word either.
function blocked(way, own, crowd, care) {
  const [x, y, u, v] = way;
  const [first, ...rest] = [0, 1, 2, 3, 4, 5, 6, 7, 8].map((i) => lies(boxAt(x + ((u - x) * i) / 8, y + ((v - y) * i) / 8, { width: 0.1, height: 0.1 }), crowd.danger) !== "off");
  if (!first && rest.some(Boolean)) return true;
  const atPad = overlaps(boxAt(x, y, { width: 0, height: 0 }), [crowd.pad]); // of a small field all of it is
  return [...(atPad ? [] : [crowd.pad]), ...(care ? crowd.words : []), ...crowd.plates].some((box) => pierces(way, box)) || crowd.leads.some((lead) => crosses(way, lead))
    || crowd.people.some((ground) => ground !== own && (sidesIn(ground).some((side) => crosses(way, side)) || (care && grazes(way, ground))));
}

// Which ways to set a label, the best first: of each whether it is short, how far off it may stand, and what a place must fit.
function ways({ full, brief }, ground, crowd, shorts, inside = touches(ground, crowd.danger), mild = touches(ground, crowd.caution)) {
  const anywhere = () => true;
  const off = (box) => lies(box, crowd.danger) === "off";
  const calm = (box) => off(box) && lies(box, crowd.caution) === "off"; // whose ground no zone meets, stands in none
  const kept = [...(mild ? [] : [calm]), off, ...(inside ? [anywhere] : [])];
  const forms = kept.flatMap((fits) => shorts.map((short) => ({ short, size: short ? brief : full, gaps: short ? NEAR : GAPS, fits, ordered: short, crowd })));
  return [...forms, { ...forms.at(-1), gaps: GAPS, ordered: false, fits: crowd.hosts.length ? kept.at(-1) : anywhere, crowd: { ...crowd, people: [] } }]; // a number rather hides ground than is gone
}

// Places about a ground, so far off its corners.
function placesAbout(ground, { width, height }, gap) {
  const every = ground.flat(2);
  const corners = every.filter((_, i) => i % Math.ceil(every.length / 24) === 0);
  return ROUND.flatMap(([right, down]) => corners.map(([x, y]) => about({ left: x + right * (width / 2 + gap), top: y + down * (height / 2 + gap) }, { width, height })));
}

// Whether a box lies on the same side of the pad as people's ground, of any other it need not; a number of a few in their
// order too: before no nearer ground and behind no farther one.
function inOrder(box, ground, { pad, grounds }, ordered) {
  if (!grounds.includes(ground)) return true;
  const [x, y] = [(pad.left + pad.right) / 2, (pad.top + pad.bottom) / 2];
  const corners = ground.flat(2);
  const [east, south] = [x, y].map((at, axis) => corners.reduce((sum, corner) => sum + corner[axis], 0) / corners.length - at);
  const along = (((box.left + box.right) / 2 - x) * east + ((box.top + box.bottom) / 2 - y) * south) / (Math.hypot(east, south) || 1);
  if (along < 0 || !ordered || grounds.length > FEW) return along >= 0;
  const away = (most, other) => most(...other.flat(2).map(([u, v]) => Math.hypot(u - x, v - y)));
  const own = away(Math.min, ground);
  return grounds.every((other) => other === ground || (away(Math.min, other) < own ? along >= own : along <= away(Math.max, other)));
}

// The nearest clear place beside a ground, of those as near the one farthest from what is to keep its own word, and the line to it where it is not close by.
function beside(size, ground, crowd, { gaps = GAPS, fits = () => true, tied = TIED, ordered = false, afar = [], care = false } = {}) {
  const room = (box) => Math.min(...afar.map((other) => Math.hypot(box.left + box.right - other.left - other.right, box.top + box.bottom - other.top - other.bottom)));
  for (const gap of gaps) {
    const places = placesAbout(ground, size, gap);
    if (afar.length) places.sort((a, b) => room(b) - room(a));
    for (const box of places) {
      if (!clear(box, ground, crowd) || lies(box, ground) !== "off" || !fits(box) || !inOrder(box, ground, crowd, ordered)) continue;
      const { way, long } = wayTo(ground, box);
      if (long <= tied) return { box };
      if (long <= LONGEST && !blocked(way, ground, crowd, care)) return { box, way };
    }
  }
  return null;
}

// Set a label at a place, with its line.
function setAt(label, { box, way, short = false, bare = false }, crowd) {
  label.box = box;
  const { left, top } = crowd.at.get(label);
  label.classList.toggle("short", short);
  label.classList.toggle("bare", bare);
  Object.assign(label.style, { left: `${box.left - left}px`, top: `${box.top - top}px` });
  const room = label.classList.contains("zone") ? APART : 0; // else it reads as the word of the plate beside it
  crowd.taken.push({ left: box.left - room, right: box.right + room, top: box.top - room, bottom: box.bottom + room });
  crowd.plates.push(box);
  if (!way) return true;
  crowd.leads.push(way);
  const [x, y, u, v] = way;
  const line = document.createElement("i");
  line.className = `leader ${label.classList.contains("zone") ? label.classList[2] : ""}`;
  Object.assign(line.style, { left: `${x - left}px`, top: `${y - top}px`, width: `${Math.hypot(u - x, v - y)}px`, transform: `rotate(${Math.atan2(v - y, u - x)}rad)` });
  label.before(line);
  return true;
}

// The place for a word within its zone nearest to its widest part, off a worse zone and with room for people's numbers.
function fitWithin(size, own, worse, crowd, from) {
  const corners = own.flat(2);
  const { frame } = crowd;
  const [low, high] = [Math.min, Math.max].map((most) => [0, 1].map((axis) => most(...corners.map((corner) => corner[axis]))));
  const tries = [];
  for (let left = Math.max(low[0], frame.left); left <= Math.min(high[0], frame.right) - size.width; left += 10) {
    for (let top = Math.max(low[1], frame.top); top <= Math.min(high[1], frame.bottom) - size.height; top += 10) {
      tries.push({ box: boxAt(left, top, size), away: Math.hypot(left + size.width / 2 - from.left, top + size.height / 2 - from.top) });
    }
  }
  const free = tries.sort((a, b) => a.away - b.away).filter(({ box }) => !overlaps(box, crowd.rooms) && clear(box, null, crowd) && lies(box, own) === "in" && lies(box, worse) === "off");
  return free.find(({ box }) => crowd.keep.every((ground) => lies(box, ground) === "off")) ?? free[0];
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
  return Boolean(place) && setAt(label, place, crowd);
}

// The word of a zone stands in it, with what falls there or alone; that of a zone too small beside it, by a line.
function placeWord(label, crowd) {
  const kind = label.classList.contains("danger") ? "danger" : "caution";
  const [own, worse] = kind === "danger" ? [crowd.danger, []] : [crowd.caution, crowd.danger];
  if (!own.length) return false;
  const { left, top, full, brief, bare } = crowd.at.get(label);
  const { frame } = crowd;
  const from = { left: clamp(left, frame.left, frame.right), top: clamp(top, frame.top, frame.bottom) };
  for (const [size, form] of [[full, {}], [brief, { short: true }], [bare, { short: true, bare: true }]]) {
    const place = fitWithin(size, own, worse, crowd, from);
    if (place) return setAt(label, { ...place, ...form }, crowd);
  }
  // Off both zones if it can be; else danger may be named from within caution, never the other way round, and neither over an edge.
  const off = (box) => lies(box, crowd.danger) === "off" && lies(box, crowd.caution) !== "over";
  const outside = (box) => off(box) && lies(box, crowd.caution) === "off" && !overlaps(box, crowd.rooms);
  const tries = [outside, (box) => off(box) && !overlaps(box, crowd.rooms), off];
  const place = tries.reduce((found, fits) => found ?? beside(bare, own, crowd, { fits, tied: 0, afar: crowd.rooms }), null);
  if (place) return setAt(label, { ...place, short: true, bare: true }, crowd);
  // Rather over ground of people, whose numbers give way, than gone.
  const last = fitWithin(bare, own, worse, { ...crowd, people: [], rooms: [], keep: [] }, from);
  if (!last) crowd.pressed.add(label);
  return Boolean(last) && setAt(label, { ...last, short: true, bare: true }, crowd);
}

const touches = (ground, zone) => ground.flat(2).some(([x, y]) => lies(boxAt(x, y, { width: 1, height: 1 }), zone) !== "off");
const pointOn = ({ left, top }) => [[[[left, top]]]];

// People are never dropped. Nobody's name lies on danger but theirs who are in it, and theirs only if there is no room beside it.
function placePeople(label, crowd) {
  const measured = crowd.at.get(label);
  const ground = crowd.groundOf(label) ?? pointOn(measured);
  // By its word: what the page calls clear has no zone, though its edge may touch one as it is drawn.
  const zone = / (warn|fail)/.test(label.className) ? [crowd.danger, crowd.caution].find((each) => touches(ground, each)) : undefined;
  const inside = zone === crowd.danger;
  const tries = ways(measured, ground, crowd, crowd.numbers || crowd.pressed.has(label) ? [true] : [false, true], inside, Boolean(zone));
  const few = crowd.people.length <= FEW;
  const set = (care) => ({ short, size, gaps, fits, ordered, crowd: seen }) => {
    const on = about(measured, size);
    if ((short || lies(on, ground) === "in") && clear(on, ground, seen) && fits(on)) return setAt(label, { box: on, short }, crowd);
    const place = beside(size, ground, seen, { gaps, fits, ordered, care });
    return Boolean(place) && setAt(label, { ...place, short }, crowd);
  };
  if (tries.slice(0, -1).some(set(true))) return true;
  // Of few places each has its plate, with a line however long: on its side of the pad, off the ground of others if it can
  // be, or where the line meets neither plate nor danger.
  const apart = few ? [0, ...GAPS, 90, 120, 160, 220].flatMap((gap) => placesAbout(ground, measured.brief, gap)) : [];
  const bare = { ...crowd, people: [] };
  const plain = (box, seen = bare) => clear(box, ground, seen) && !crowd.plates.some((plate) => pierces(wayTo(ground, box).way, plate));
  const near = apart.filter((box) => inOrder(box, ground, crowd, true));
  const far = (box) => Boolean(box) && setAt(label, { box, way: wayTo(ground, box).way, short: true }, crowd);
  const mild = (at) => plain(at, crowd) && (inside || lies(at, crowd.danger) === "off");
  const open = (at) => mild(at) && !blocked(wayTo(ground, at).way, ground, crowd, false);
  const careful = (at) => open(at) && wayTo(ground, at).long <= LONGEST && !blocked(wayTo(ground, at).way, ground, crowd, true);
  const home = (at) => careful(at) && (zone ? lies(at, zone) !== "off" : [crowd.danger, crowd.caution].every((each) => lies(at, each) === "off"));
  if (far(near.find(home) ?? near.find(careful)) || tries.slice(0, -1).some(set(false))) return true;
  if (far(near.find(open) ?? apart.find(open) ?? near.find(mild) ?? apart.find(mild))) return true;
  if (!(crowd.many && crowd.hosts.length) && set(false)(tries.at(-1))) return true;
  if (far(near.find((at) => plain(at)) ?? apart.find((at) => plain(at) && !blocked(wayTo(ground, at).way, ground, bare)) ?? apart.find((at) => plain(at)))) return true;
  if (few) crowd.pressed.add(label);
  if (far(near.find((at) => clear(at, ground, { ...bare, leads: [] })))) return true;
  if (crowd.hosts.length) return false; // counted on a plate
  return setAt(label, { box: about(measured, measured.brief), short: true }, crowd); // rather over something than gone
}

// The name of a line stands on it, off the zones if it can; that of one that fails at least beside it.
function placeAlong(label, crowd) {
  const { full } = crowd.at.get(label);
  const spots = sidesIn(polygonsOf([label.along])).flatMap(([a, b, c, d]) => {
    const steps = Math.min(Math.ceil(Math.hypot(c - a, d - b) / 24), 200);
    return Array.from({ length: steps }, (_, i) => [a + ((c - a) * i) / steps, b + ((d - b) * i) / steps]);
  }).filter(([x, y]) => holdsBox(crowd.frame, boxAt(x, y, { width: 0, height: 0 })));
  const boxes = spots.map(([left, top]) => about({ left, top }, full)).sort((a, b) => a.top - b.top).filter((box) => clear(box, null, crowd));
  const bare = boxes.find((box) => [crowd.danger, crowd.caution, ...crowd.keep].every((zone) => lies(box, zone) === "off"));
  const box = bare ?? boxes.find((at) => lies(at, crowd.danger) === "off");
  if (box) return setAt(label, { box }, crowd);
  const place = / (fail|warn)/.test(label.className) && beside(full, spots.map((spot) => [[spot]]), crowd, { fits: (at) => lies(at, crowd.danger) === "off" });
  return Boolean(place) && setAt(label, place, crowd);
}

function placeOther(label, crowd) {
  const measured = crowd.at.get(label);
  const ground = (label.dataset.area && crowd.groundOf(label)) || pointOn(measured);
  const held = /keep|water/.test(label.className); // the name of a way stands on it, wherever
  for (const { short, size, fits } of ways(measured, ground, crowd, label.classList.contains("piece") ? [false, true] : [false], !held || undefined).slice(0, -1)) {
    const on = about(measured, size);
    const fine = !held || lies(on, ground) === "in";
    const place = fine && clear(on, ground, crowd) && fits(on) ? { box: on } : beside(size, ground, crowd, { gaps: NEAR, fits });
    if (place) return setAt(label, { ...place, short }, crowd);
  }
  return false;
}

// Where there is no room even for a number, a place is counted on the plate nearest to it, which is no better off.
function gather(label, crowd, gathered) {
  const { hosts, at } = crowd;
  const away = (host) => Math.hypot(at.get(host).left - at.get(label).left, at.get(host).top - at.get(label).top);
  if (!hosts.length) return;
  const host = hosts.reduce((a, b) => (away(b) < away(a) ? b : a));
  gathered.set(host, [...(gathered.get(host) ?? []), label, ...(gathered.get(label) ?? [])]);
  gathered.delete(label);
}

function showGathered(gathered) {
  const number = (plate) => plate.querySelector("b").textContent;
  for (const more of all(".map .and")) more.remove();
  for (const [host, labels] of gathered) {
    const more = host.appendChild(document.createElement("em"));
    more.className = "and";
    more.textContent = `+${labels.length}`;
    host.title = [host, ...labels].map(number).join(" ");
  }
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

// Where each label belongs and how large it is, whole, short and bare: all read before any is set, so that the page is laid out thrice, not for each.
function measure(labels) {
  const sizes = (...classes) => labels.map((label) => {
    label.classList.remove("short", "bare");
    label.classList.add(...classes);
    return label;
  }).map((label) => {
    const { width, height } = label.getBoundingClientRect();
    return { width, height };
  });
  const [full, brief, bare] = [sizes(), sizes("short"), sizes("short", "bare")];
  return new Map(labels.map((label, i) => {
    const { left, top } = label.parentElement.getBoundingClientRect();
    return [label, { left, top, full: full[i], brief: brief[i], bare: bare[i] }];
  }));
}

function placeLabels() {
  const gathered = new Map();
  for (const line of all(".leader")) line.remove();
  const labels = all(".map .label").sort((a, b) => a.dataset.rank - b.dataset.rank);
  // Dozens of names on a small screen: small numbers.
  const people = labels.filter((label) => label.classList.contains("people"));
  const width = chart.getSize().x;
  chart.getContainer().classList.toggle("crowded", people.length > 20 && width < NARROW);
  const many = people.length > MANY;
  const drawn = { ...groundsDrawn(), pressed: new Set(), many, numbers: many || width < NARROW };
  // A plate that counts others is wider, and who found no free place chooses first: all are set again until each has its room.
  for (let pass = 0; pass < 8 && placeOnce(labels, people, drawn, gathered); pass += 1);
  tellNumbers(people);
}

// Set every label; tell whether a place was gathered or pressed that was not before.
function placeOnce(labels, people, drawn, gathered) {
  for (const line of all(".leader")) line.remove();
  const named = on("#show-names");
  showGathered(gathered);
  const at = measure(labels);
  const rooms = people.map((label) => about(at.get(label), { width: 2 * ROOM, height: 2 * ROOM }));
  const crowd = { ...drawn, at, rooms, taken: [...drawn.fixed], plates: [], leads: [], hosts: [] };
  const counted = new Set([...gathered.values()].flat());
  const pressed = labels.filter((label) => drawn.pressed.has(label));
  let more = false;
  for (const label of new Set([...pressed, ...labels])) {
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
  if (!crowd.many) for (const label of people) addName(label, crowd);
  return more || drawn.pressed.size > pressed.length;
}

// A number that stands alone gets its name toward either side, where that hides nothing and lies on no zone that the number is off.
function addName(label, crowd) {
  const { full } = crowd.at.get(label);
  const own = label.box;
  if (!label.classList.contains("short") || label.classList.contains("off")) return;
  const seen = { ...crowd, taken: crowd.taken.filter((box) => !(box.left === own.left && box.top === own.top)) };
  const top = (own.top + own.bottom - full.height) / 2;
  const boxes = [own.left, own.right - full.width].map((left) => boxAt(left, top, full));
  const bare = (box) => lies(box, crowd.danger) === "off" && (lies(box, crowd.caution) === "off" || lies(own, crowd.caution) !== "off");
  const box = boxes.find((at) => bare(at) && clear(at, crowd.groundOf(label), seen));
  if (box) setAt(label, { box }, crowd);
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

// No number is nameless: of those that stand alone, the names in a line below the map. Dozens stand in the list.
function tellNumbers(people) {
  const shown = (label) => label.classList.contains("short") && (!label.classList.contains("off") || label.classList.contains("joined"));
  const number = (label) => Number(label.querySelector("b").textContent);
  const alone = people.length > MANY ? [] : people.filter(shown).sort((a, b) => number(a) - number(b));
  const line = one("#numbers");
  if (!line) return;
  line.hidden = !alone.length;
  line.replaceChildren(...alone.map((label) => {
    const told = document.createElement("span");
    told.className = label.className.replace("label", "").replace(/short|off|joined/g, "");
    told.append(...[...label.childNodes].filter((part) => part.className !== "and").map((part) => part.cloneNode(true)));
    return told;
  }));
}

function inFrame(label, { at, frame }) {
  const { left, top } = at.get(label);
  return left >= frame.left && left <= frame.right && top >= frame.top && top <= frame.bottom;
}
