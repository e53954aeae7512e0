// Labels that give way to each other, and the names of squares along the edges.
//
// One rule for every map, that on paper too (plates.py): a name stands on its own ground if that holds it, else
// beside it on nobody's, with a line from the nearest edge of its ground. Of the free places it takes the cheapest:
// what one costs is the length of its line, and what it hides or what the line runs through.

// A label at a place. Its text comes from a file: it is set as text, never read as HTML. `along` is the line it names.
function tag(at, classes, rank, { mark, name, more, sign = "", area, along }) {
  const label = document.createElement("span");
  label.className = `label ${classes}`;
  label.dataset.rank = rank;
  label.along = along;
  if (area !== undefined) label.dataset.area = area;
  label.append(sign);
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

const COST = { people: 500, danger: 150, caution: 30, ground: 60, edge: 10, line: 250, short: 300 };
const GAPS = [6, 14, 24, 36, 50, 66, 84, 104, 128, 160, 200, 260, 340];
const NEAR = GAPS.slice(0, 4);
const FAIR = 120; // what a name costs at most that need not be told
// Directions from a box to its point, as parts of half its width and height: all about it.
const ROUND = Array.from({ length: 16 }, (_, i) => {
  const [x, y] = [Math.cos((i * Math.PI) / 8), Math.sin((i * Math.PI) / 8)];
  const most = Math.max(Math.abs(x), Math.abs(y));
  return [x / most, y / most];
});

// What a box hides, of all that is not its own ground.
function costOf(box, own, crowd) {
  return crowd.grounds.reduce((sum, { polygons, cost, line }) => {
    if (polygons === own || polygons[0] === own[0]) return sum;
    const how = lies(box, polygons);
    return sum + (how === "over" || (how === "in" && !line) ? cost : 0);
  }, crowd.leads.some((other) => pierces(other, box)) ? COST.line : 0);
}

// What a line runs through: other lines, the pad, the ground of others.
function costOfWay(way, own, crowd) {
  const over = crowd.leads.filter((other) => crosses(way, other)).length + Number(pierces(way, crowd.pad));
  const others = crowd.grounds.filter(({ polygons, cost }) => cost === COST.people && polygons !== own);
  return COST.line * (over + others.filter(({ polygons }) => sidesIn(polygons).some((side) => crosses(way, side))).length);
}

// Places about a ground, so far off its corners.
function placesAbout(ground, { width, height }, gap, { frame, taken }) {
  const every = ground.flat(2);
  const corners = every.filter((_, i) => i % Math.ceil(every.length / 24) === 0);
  return corners.flatMap(([x, y]) => ROUND.map(([right, down]) => boxAt(x + right * (width / 2 + gap) - width / 2, y + down * (height / 2 + gap) - height / 2, { width, height })))
    .filter((box) => holdsBox(frame, box) && !overlaps(box, taken));
}

// The cheapest place beside a ground that costs no more than so much.
function beside(size, ground, crowd, { gaps = GAPS, most = Infinity, more = () => 0, tied = 8 } = {}) {
  let best = null;
  for (const gap of gaps) {
    if (gap > (best?.cost ?? most)) break;
    for (const box of placesAbout(ground, size, gap, crowd)) {
      const { way, long } = wayTo(ground, box);
      if (long >= (best?.cost ?? most) || crowd.plates.some((plate) => pierces(way, plate))) continue;
      const over = lies(box, ground) === "off" ? 0 : COST.people;
      let cost = long + over + more(box) + (long > tied ? costOfWay(way, ground, crowd) : 0);
      if (cost < (best?.cost ?? most)) cost += costOf(box, ground, crowd);
      if (cost < (best?.cost ?? most)) best = { box, way: long > tied ? way : null, cost };
    }
  }
  return best;
}

// Set a label at a place, with its line.
function setAt(label, { box, way, cost }, crowd) {
  const { left, top } = label.parentElement.getBoundingClientRect();
  Object.assign(label.style, { left: `${box.left - left}px`, top: `${box.top - top}px` });
  crowd.taken.push(box);
  crowd.plates.push(box);
  label.place = { box, way, cost };
  if (!way) return true;
  crowd.leads.push(way);
  const [x, y, u, v] = way;
  const line = document.createElement("i");
  line.className = `leader ${label.classList.contains("zone") ? label.classList[2] : ""}`;
  Object.assign(line.style, { left: `${x - left}px`, top: `${y - top}px`, width: `${Math.hypot(u - x, v - y)}px`, transform: `rotate(${Math.atan2(v - y, u - x)}rad)` });
  label.before(line);
  return true;
}

// Take a label up again.
function lift(label, crowd) {
  const { box, way } = label.place;
  for (const [list, item] of [["taken", box], ["plates", box], ["leads", way]]) crowd[list] = crowd[list].filter((other) => other !== item);
  if (way) label.previousElementSibling.remove();
  label.place = null;
}

// The cheapest place for a word within its zone, off a worse one and off everybody's ground.
function fitWithin(size, own, worse, crowd, from) {
  const corners = own.flat(2);
  const low = (axis, edge) => Math.max(Math.min(...corners.map((c) => c[axis])), edge);
  const high = (axis, edge) => Math.min(Math.max(...corners.map((c) => c[axis])), edge);
  const tries = [];
  for (let left = low(0, crowd.frame.left); left <= high(0, crowd.frame.right) - size.width; left += 8) {
    for (let top = low(1, crowd.frame.top); top <= high(1, crowd.frame.bottom) - size.height; top += 8) {
      tries.push({ box: boxAt(left, top, size), away: Math.hypot(left + size.width / 2 - from.left, top + size.height / 2 - from.top) });
    }
  }
  let best = null;
  for (const { box, away } of tries.sort((a, b) => a.away - b.away)) {
    if (away >= (best?.cost ?? COST.people)) break;
    if (overlaps(box, crowd.taken) || lies(box, own) !== "in" || lies(box, worse) !== "off") continue;
    const cost = away + 2 * costOf(box, own, { ...crowd, grounds: crowd.grounds.filter(({ kind }) => !kind) });
    if (cost < (best?.cost ?? COST.people)) best = { box, cost };
  }
  return best;
}

// The word of a zone stands in it, with what falls there or alone; that of a zone too small beside it, by a line.
function placeWord(label, crowd) {
  const kind = label.classList.contains("danger") ? "danger" : "caution";
  const of = (name) => crowd.grounds.find((ground) => ground.kind === name).polygons;
  const [own, worse] = kind === "danger" ? [of("danger"), []] : [of("caution"), of("danger")];
  if (!own.length) return false;
  const { left, top } = label.parentElement.getBoundingClientRect();
  const { frame } = crowd;
  const from = { left: clamp(left, frame.left, frame.right), top: clamp(top, frame.top, frame.bottom) };
  for (const short of [false, true]) {
    label.classList.toggle("short", short);
    const place = fitWithin(label.getBoundingClientRect(), own, worse, crowd, from);
    if (place) return setAt(label, place, crowd);
  }
  // Danger may be named from within caution, never the other way round, and neither over an edge.
  const open = crowd.grounds.map((ground) => (ground.kind === "caution" ? { ...ground, cost: COST.danger, line: true } : ground));
  const people = { ...crowd, leads: [], grounds: crowd.grounds.filter(({ cost }) => cost === COST.people) };
  const room = ({ left: a, right: b, top: c, bottom: d }) => ({ left: a - 24, right: b + 24, top: c - 24, bottom: d + 24 });
  const near = (box) => (costOf(room(box), own, people) ? FAIR / 2 : 0); // whose names need that room
  const place = beside(label.getBoundingClientRect(), own, { ...crowd, grounds: open }, { gaps: GAPS.slice(1, 7), most: 2 * COST.people, more: near, tied: 0 });
  return Boolean(place) && setAt(label, place, crowd);
}

const pointOn = (label) => {
  const { left, top } = label.parentElement.getBoundingClientRect();
  return [[[[left, top]]]];
};

function boxOn(label, size) {
  const { left, top } = label.parentElement.getBoundingClientRect();
  return boxAt(left - size.width / 2, top - size.height / 2, size);
}

// A name of people is never dropped: where there is no room for it its number stands, which the line below the map tells.
function placePeople(label, crowd) {
  const ground = crowd.groundOf(label) ?? pointOn(label);
  const spots = (box) => (overlaps(box, crowd.spots(label)) ? COST.line : 0);
  const found = [];
  for (const short of crowd.many ? [true] : [false, true]) {
    label.classList.toggle("short", short);
    const size = label.getBoundingClientRect();
    const on = boxOn(label, size);
    const free = holdsBox(crowd.frame, on) && !overlaps(on, crowd.many ? [...crowd.fixed, ...crowd.plates] : crowd.taken);
    const place = free && (crowd.many || lies(on, ground) === "in") ? { box: on, cost: 0 }
      : beside(size, ground, crowd, { gaps: crowd.many ? NEAR : GAPS, most: crowd.many ? COST.line : Infinity, more: spots });
    if (place) found.push({ ...place, short, cost: place.cost + (short ? COST.short : 0) });
  }
  if (!found.length) return false;
  const cheapest = found.reduce((a, b) => (b.cost < a.cost ? b : a));
  label.classList.toggle("short", cheapest.short);
  return setAt(label, cheapest, crowd);
}

// The name of a line stands on it where it hides least, else beside what is in sight of it.
function placeAlong(label, crowd) {
  const { width, height } = label.getBoundingClientRect();
  const spots = sidesIn(polygonsOf([label.along])).flatMap(([a, b, c, d]) => {
    const steps = Math.min(Math.ceil(Math.hypot(c - a, d - b) / 24), 200);
    return Array.from({ length: steps }, (_, i) => [a + ((c - a) * i) / steps, b + ((d - b) * i) / steps]);
  }).filter(([x, y]) => holdsBox(crowd.frame, boxAt(x, y, { width: 0, height: 0 })));
  const grounds = crowd.grounds.filter(({ line }) => !line);
  let best = null;
  for (const [x, y] of spots) {
    const box = boxAt(x - width / 2, y - height / 2, { width, height });
    if (!holdsBox(crowd.frame, box) || overlaps(box, crowd.taken)) continue;
    const cost = 2 * costOf(box, [], { ...crowd, grounds }) + box.top / 100;
    if (cost < (best?.cost ?? COST.people)) best = { box, cost };
  }
  const most = / (fail|warn)/.test(label.className) ? Infinity : FAIR;
  best ??= beside({ width, height }, spots.map((spot) => [[spot]]), crowd, { gaps: GAPS.slice(1, 9), most });
  return Boolean(best) && setAt(label, best, crowd);
}

function placeOther(label, crowd) {
  const ground = (label.dataset.area && crowd.groundOf(label)) || pointOn(label);
  const open = { ...crowd, grounds: crowd.grounds.filter(({ cost }) => cost === COST.people) };
  for (const short of label.classList.contains("piece") ? [false, true] : [false]) {
    label.classList.toggle("short", short);
    const size = label.getBoundingClientRect();
    const on = boxOn(label, size);
    const held = /keep|water/.test(label.className) ? lies(on, ground) === "in" : true; // the name of a way stands on it
    if (held && holdsBox(crowd.frame, on) && !overlaps(on, crowd.taken) && costOf(on, ground, open) === 0) return setAt(label, { box: on }, crowd);
    const place = beside(size, ground, open, { gaps: NEAR, most: FAIR });
    if (place) return setAt(label, place, crowd);
  }
  return false;
}

// Where there is no room even for a number, a place is counted on the plate nearest to it, which is no better off.
function gather(label, hosts, gathered) {
  const at = label.parentElement.getBoundingClientRect();
  const away = (plate) => {
    const { left, right, top, bottom } = plate.getBoundingClientRect();
    return Math.hypot((left + right) / 2 - at.left, (top + bottom) / 2 - at.top);
  };
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

function padBox(half) {
  const { x, y } = chart.latLngToContainerPoint(DRIFTMAP.pad);
  const { left, top } = chart.getContainer().getBoundingClientRect();
  return boxAt(left + x - half, top + y - half, { width: 2 * half, height: 2 * half });
}

// What is drawn, and what it costs to hide it.
function groundsOf() {
  const drawn = areas.map((area) => ({ polygons: polygonsOf([area]), cost: area.options.className.includes("people") ? COST.people : COST.ground }));
  const lines = edgesDrawn.map((edge) => ({ polygons: polygonsOf([edge]), cost: COST.edge, line: true }));
  return [...drawn, ...lines, ...["danger", "caution"].map((kind) => ({ kind, polygons: zonePolygons(kind), cost: COST[kind] }))];
}

function crowdOf(labels) {
  const { left, top, right, bottom } = chart.getContainer().getBoundingClientRect();
  const frame = { left: left + 4, top: top + (edges ? 20 : 4), right: right - (edges ? 26 : 4), bottom: bottom - 4 }; // clear of the edges' names
  const fixed = all(".leaflet-control, #far span, #north").map((c) => c.getBoundingClientRect());
  const picture = all(".pad-picture text, .pad-picture .wind, .pad-picture .rail").map((t) => t.getBoundingClientRect());
  const people = labels.filter((label) => label.classList.contains("people"));
  // The points that other places of people are named at: a plate over one would hide where its line begins.
  const points = people.map((label) => [label, label.parentElement.getBoundingClientRect()]);
  const spots = (label) => points.filter(([other]) => other !== label)
    .map(([, { left: x, top: y }]) => ({ left: x - 5, right: x + 5, top: y - 5, bottom: y + 5 }));
  const grounds = groundsOf();
  const groundOf = (label) => grounds[label.dataset.area]?.polygons;
  return { frame, fixed, taken: [padBox(14), ...fixed, ...picture], pad: padBox(14), grounds, groundOf, spots, plates: [], leads: [], hosts: [], many: people.length > MANY };
}

function placeLabels() {
  const gathered = new Map();
  // A plate that counts others is wider: all are set again until each has its room.
  for (let pass = 0; pass < 8 && placeOnce(gathered); pass += 1);
  tellNumbers();
}

// Set every label; tell whether a place was gathered that was not before.
function placeOnce(gathered) {
  for (const line of all(".leader")) line.remove();
  const named = on("#show-names");
  const labels = all(".map .label").sort((a, b) => a.dataset.rank - b.dataset.rank);
  // Dozens of names on a small screen: numbers alone, and small ones.
  const people = labels.filter((label) => label.classList.contains("people")).length;
  chart.getContainer().classList.toggle("crowded", people > 20 && chart.getSize().x < 600);
  showGathered(gathered);
  const crowd = crowdOf(labels);
  const counted = new Set([...gathered.values()].flat());
  let more = false;
  for (const label of labels) {
    label.classList.remove("short");
    label.classList.toggle("joined", counted.has(label));
    const wanted = !counted.has(label) && (named || !label.classList.contains("area"));
    const free = wanted && placeOne(label, crowd);
    if (wanted && !free && label.classList.contains("people") && inFrame(label, crowd.frame)) {
      gather(label, crowd.hosts, gathered);
      label.classList.toggle("joined", crowd.hosts.length > 0);
      more ||= crowd.hosts.length > 0;
    }
    label.classList.toggle("off", !free);
    if (!crowd.many && label === lastOf(labels)) reorder(crowd);
  }
  return more;
}

const lastOf = (labels) => labels.findLast((label) => label.classList.contains("people"));

// Who is set early knows nothing of those after: of some orders the cheapest is kept.
function reorder(crowd) {
  const at = new Map(crowd.hosts.map((label) => [label, label.parentElement.getBoundingClientRect()]));
  const hosts = crowd.hosts.slice();
  const by = (axis, sign) => hosts.slice().sort((a, b) => sign * (at.get(a)[axis] - at.get(b)[axis]));
  if (hosts.every((label) => label.place.cost < COST.danger)) return;
  const orders = [hosts, by("left", 1), by("left", -1), by("top", 1), by("top", -1)];
  const set = (order) => {
    for (const label of crowd.hosts) if (label.place) lift(label, crowd);
    return order.reduce((sum, label) => sum + (placePeople(label, crowd) ? label.place.cost : COST.short * 10), 0);
  };
  const costs = orders.map(set);
  set(orders[costs.indexOf(Math.min(...costs))]);
}

function placeOne(label, crowd) {
  const is = (name) => label.classList.contains(name);
  if (label.along) return placeAlong(label, crowd);
  if (!is("zone") && !inFrame(label, crowd.frame)) return false;
  if (!is("people") && !is("zone")) return placeOther(label, crowd);
  const free = is("zone") ? placeWord(label, crowd) : placePeople(label, crowd);
  if (free && is("people")) crowd.hosts.push(label);
  return free;
}

// No number is nameless: of those that stand alone, the names in a line below the map. Dozens stand in the list.
function tellNumbers() {
  const alone = all(".map .label.people.short:not(.off)");
  const told = all(".map .label.people").length > MANY ? [] : alone.map((label) => [...label.children].map((part) => part.textContent).join(" "));
  const line = one("#numbers");
  if (!line) return;
  line.hidden = !told.length;
  line.replaceChildren(...told.map((text) => Object.assign(document.createElement("bdi"), { textContent: text })));
}

function inFrame(label, frame) {
  const { left, top } = label.parentElement.getBoundingClientRect();
  return left >= frame.left && left <= frame.right && top >= frame.top && top <= frame.bottom;
}

function showEdges(shown) {
  edges = shown;
  placeEdges();
}

// Write the names along an edge: every one, or every second, fifth … so that none touch.
function fillEdge(edge, names, places, gap, end, style) {
  const apart = Math.abs(places[places.length - 1] - places[0]) / Math.max(1, places.length - 1) || gap;
  const step = [1, 2, 5, 10, 100].find((n) => n * apart >= gap) ?? 100;
  const written = [];
  names.forEach((name, i) => {
    if (i % step || places[i] < 10 || places[i] > end - 10) return;
    const tag = document.createElement("span");
    tag.textContent = name;
    tag.style[style] = `${places[i]}px`;
    written.push(tag);
  });
  edge.replaceChildren(...(edges ? written : []));
}

function placeEdges() {
  const { letters, longitude, latitude } = DRIFTMAP.squares;
  const [lat, lon] = DRIFTMAP.pad;
  const x = longitude.map((l) => chart.latLngToContainerPoint([lat, l]).x);
  const y = latitude.map((l) => chart.latLngToContainerPoint([l, lon]).y);
  fillEdge(one("#columns"), [...letters], x, 18, chart.getSize().x - 24, "left");
  fillEdge(one("#rows"), latitude.map((_, i) => i + 1), y, 20, chart.getSize().y, "top");
}
