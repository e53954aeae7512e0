// Labels that give way to each other, and the names of squares along the edges.

// A label at a place. Its text comes from a file: it is set as text, never read as HTML.
function tag(at, classes, rank, { mark, name, more, sign = "", area }) {
  const label = document.createElement("span");
  label.className = `label ${classes}`;
  label.dataset.rank = rank;
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

const AROUND = [[0, 0], [1, 0], [-1, 0], [0, -1], [0, 1], [1, -1], [-1, -1], [1, 1], [-1, 1]];

function overlaps(box, taken) {
  return taken.some((t) => box.left < t.right && t.left < box.right && box.top < t.bottom && t.top < box.bottom);
}

const GAPS = [6, 24, 48];
const FAR_GAPS = [6, 24, 48, 80, 120, 170];
const EVERYWHERE = [6, 14, 24, 36, 50, 66, 84, 104, 128, 154, 184, 220, 260, 310, 370];
const NEARBY = EVERYWHERE.filter((gap) => gap < 130);
const ROUND = Array.from({ length: 24 }, (_, i) => [Math.cos((i * Math.PI) / 12), Math.sin((i * Math.PI) / 12)]);
let edges = false; // whether the names of squares stand there
const MANY = 12; // people's places; beyond them those close together share a plate

// Whether a line from one point to another runs through a box.
function pierces([x, y, u, v], box) {
  let [from, to] = [0, 1];
  for (const [start, step, low, high] of [[x, u - x, box.left, box.right], [y, v - y, box.top, box.bottom]]) {
    if (step === 0 && (start < low || start > high)) return false;
    if (step === 0) continue;
    const ends = [(low - start) / step, (high - start) / step].sort((a, b) => a - b);
    from = Math.max(from, ends[0]);
    to = Math.min(to, ends[1]);
  }
  return from < to;
}

// Whether two lines cross.
function crosses([ax, ay, bx, by], [cx, cy, dx, dy]) {
  const side = (x, y, u, v, p, q) => Math.sign((u - x) * (q - y) - (v - y) * (p - x));
  return side(ax, ay, bx, by, cx, cy) * side(ax, ay, bx, by, dx, dy) < 0 && side(cx, cy, dx, dy, ax, ay) * side(cx, cy, dx, dy, bx, by) < 0;
}

// The line from a label's point to the label.
function leadTo(anchor, box) {
  const [x, y] = [anchor.left, anchor.top];
  return [x, y, Math.min(Math.max(x, box.left), box.right), Math.min(Math.max(y, box.top), box.bottom)];
}

// Polygons of what is drawn, in pixels of the page. The page gives zoneDrawn and ownDrawn.
function polygonsOf(drawn) {
  const { left, top } = chart.getContainer().getBoundingClientRect();
  const pixel = (place) => {
    const { x, y } = chart.latLngToContainerPoint(place);
    return [left + x, top + y];
  };
  return drawn.flatMap((shape) => shape.getLatLngs()).map((polygon) => polygon.map((ring) => ring.map(pixel)));
}

const zonePolygons = (kind) => polygonsOf(zoneDrawn(kind));

// How a box lies to polygons: "in" one of them, "off" all, or "over" an edge.
function lies(box, polygons) {
  const found = polygons.map((rings) => liesTo(box, rings));
  return found.find((word) => word === "in") ?? found.find((word) => word === "over") ?? "off";
}

function liesTo(box, rings) {
  const [x, y] = [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
  let inside = false;
  for (const ring of rings) {
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
      const [[a, b], [c, d]] = [ring[i], ring[j]];
      if (pierces([a, b, c, d], box)) return "over";
      if (b > y !== d > y && x < ((c - a) * (y - b)) / (d - b) + a) inside = !inside;
    }
  }
  return inside ? "in" : "off";
}

// Set the word of a zone inside it, nearest to its middle, clear of what is taken and of a worse zone. Of a
// small zone it is enough that the middle part of the word lies in it, or that the word touches it.
function inZone(label, frame, taken, own, worse, leads, part = 1, about = null) {
  const { width, height } = label.getBoundingClientRect();
  const { left: x, top: y } = label.parentElement.getBoundingClientRect();
  const corners = own.flat(2);
  if (!corners.length) return false;
  const aside = ((1 - part) / 2) * width;
  const low = (axis, edge) => Math.max(Math.min(...corners.map((c) => c[axis])), edge);
  const high = (axis, edge) => Math.min(Math.max(...corners.map((c) => c[axis])), edge);
  const tries = [];
  for (let left = low(0, frame.left + aside) - aside; left <= high(0, frame.right - aside) + aside - width; left += 8) {
    for (let top = low(1, frame.top); top <= high(1, frame.bottom) - height; top += 8) {
      tries.push({ left, top, right: left + width, bottom: top + height, away: Math.hypot(left + width / 2 - x, top + height / 2 - y) });
    }
  }
  const middle = (box) => ({ ...box, left: box.left + aside, right: box.right - aside });
  const tied = (box) => (part ? lies(middle(box), own) === "in" : lies(box, own) !== "off") && (!about || lies(box, about) === "in");
  const fits = (box) => !overlaps(box, taken) && tied(box) && lies(box, worse) === "off" && !leads.some((way) => pierces(way, box));
  const box = tries.sort((a, b) => a.away - b.away).find(fits);
  if (!box) return false;
  label.style.left = `${box.left - x}px`;
  label.style.top = `${box.top - y}px`;
  return true;
}

// Whether a line keeps off other plates, other lines, and the points of other places.
function clear(way, label, crowd) {
  return (crowd.crossing || !crowd.leads.some((other) => crosses(way, other))) && ![...crowd.boxes, ...crowd.spots(label)].some((box) => pierces(way, box));
}

// Try the places about a label's point, nearest first; tell whether one was free. Where names of people
// stand (crowd), no line runs through any of them, nor a name over a line.
function settle(label, frame, taken, gaps = GAPS, around = AROUND, crowd = null) {
  const { width, height } = label.getBoundingClientRect();
  const anchor = label.parentElement.getBoundingClientRect();
  const { left: x, top: y } = anchor;
  if (x < frame.left || x > frame.right || y < frame.top || y > frame.bottom) return false;
  for (const gap of gaps) {
    for (const [right, down] of around) {
      const left = anchor.left + right * (width / 2 + gap) - width / 2;
      const top = anchor.top + down * (height / 2 + gap) - height / 2;
      const box = { left, top, right: left + width, bottom: top + height };
      const inside = left >= frame.left && box.right <= frame.right && top >= frame.top && box.bottom <= frame.bottom;
      if (!inside || overlaps(box, taken)) continue;
      if (crowd?.off && lies(box, crowd.off) !== "off" && lies(box, crowd.own) !== "in") continue;
      const way = leadTo(anchor, box);
      const far = Math.hypot(way[2] - way[0], way[3] - way[1]) > 8;
      if (crowd && ((!crowd.over && crowd.leads.some((other) => pierces(other, box))) || (far && !clear(way, label, crowd)))) continue;
      label.style.left = `${left - anchor.left}px`;
      label.style.top = `${top - anchor.top}px`;
      // A word of a zone that had to go anywhere is told by its colour: no line to it runs over others.
      if (far && (crowd || !label.classList.contains("zone"))) {
        lead(label, way);
        crowd?.leads.push(way);
      }
      taken.push(box);
      return true;
    }
  }
  return false;
}

// Names of people and the words of zones are never dropped: a number stands where there is no room for more.
function insist(label, frame, taken, crowd) {
  const { left: x, top: y } = label.parentElement.getBoundingClientRect();
  const people = label.classList.contains("people");
  // No name stands on the ground of others, no word of a zone on that of anyone.
  const others = all(".map path.area.people").map((path) => path.getBoundingClientRect())
    .filter((box) => !people || x < box.left || x > box.right || y < box.top || y > box.bottom);
  const free = [...taken, ...others];
  const easier = { ...crowd, spots: () => [] }; // a line may run over the point of another place, before a name goes
  if (!people) {
    const own = label.classList.contains("danger") ? [crowd.danger, []] : [crowd.caution, crowd.danger];
    if (inZone(label, frame, free, ...own, crowd.leads)) return true;
    label.classList.add("short");
    // A word that hangs out of a small danger zone hangs over caution before it does over open ground.
    const about = label.classList.contains("danger") ? crowd.caution : null;
    if ([[1], [0.7], [0.4], [0, about], [0]].some((how) => inZone(label, frame, free, ...own, crowd.leads, ...how))) return true;
  } else if (!crowd.many) {
    // Near by off both zones, or at least off danger, unless it is their own ground: a name there reads as if they stood there.
    const own = polygonsOf(ownDrawn(label));
    const tries = [[GAPS, AROUND, crowd], [NEARBY, ROUND, crowd], [NEARBY, ROUND, easier], [FAR_GAPS, AROUND, easier]];
    const settled = (off) => tries.some(([gaps, around, ways]) => settle(label, frame, free, gaps, around, { ...ways, off, own }));
    if (settle(label, frame, free, GAPS, AROUND, { ...crowd, off: [...crowd.danger, ...crowd.caution], own }) || settled(crowd.danger)) return true;
    label.classList.add("short");
    if (settled(crowd.danger)) return true;
    label.classList.remove("short");
  }
  if (!crowd.many && (settle(label, frame, free, FAR_GAPS, AROUND, crowd) || settle(label, frame, free, FAR_GAPS, AROUND, easier))) return true;
  label.classList.add("short");
  if (people && crowd.many && settle(label, frame, [...crowd.fixed, ...crowd.boxes], [0], [[0, 0]], crowd)) return true;
  if (settle(label, frame, free, crowd.many ? GAPS : FAR_GAPS, AROUND, crowd) || settle(label, frame, free, GAPS, AROUND, easier)) return true;
  if (people && crowd.many && crowd.hosts.length) return false;
  if (settle(label, frame, [...crowd.fixed, ...crowd.boxes, ...others], EVERYWHERE, ROUND, crowd)) return true;
  if (settle(label, frame, [...crowd.fixed, ...crowd.boxes, ...crowd.spots(label)], EVERYWHERE, ROUND, easier)) return true;
  if (!crowd.many && settle(label, frame, [...crowd.fixed, ...crowd.boxes, ...others], EVERYWHERE, ROUND, { ...easier, crossing: true })) return true;
  if (people && crowd.hosts.length) return false;
  // Over lines and others' ground, before a line runs through a word.
  const over = { ...easier, over: true, crossing: true };
  return (people && settle(label, frame, [...crowd.fixed, ...crowd.boxes], EVERYWHERE, ROUND, over)) || settle(label, frame, [...crowd.fixed, ...crowd.boxes], EVERYWHERE, ROUND);
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

// Draw a line from a point to a label that had to stand off.
function lead(label, [x, y, u, v]) {
  const line = document.createElement("i");
  line.className = "leader";
  line.style.width = `${Math.hypot(u - x, v - y)}px`;
  line.style.transform = `rotate(${Math.atan2(v - y, u - x)}rad)`;
  label.before(line);
}

// Small areas where people are must stay in sight; large ones bear their label inside.
function peopleBoxes() {
  const boxes = all(".map path.area.people").map((path) => path.getBoundingClientRect());
  return boxes.filter((box) => box.width < 150 && box.height < 150);
}

function padBox() {
  const { x, y } = chart.latLngToContainerPoint(DRIFTMAP.pad);
  const { left, top } = chart.getContainer().getBoundingClientRect();
  return { left: left + x - 14, right: left + x + 14, top: top + y - 14, bottom: top + y + 14 };
}

function placeLabels() {
  const gathered = new Map();
  // A plate that counts others is wider: all are set again until each has its room.
  for (let pass = 0; pass < 8 && placeOnce(gathered); pass += 1);
}

// Set every label; tell whether a place was gathered that was not before.
function placeOnce(gathered) {
  const { left, top, right, bottom } = chart.getContainer().getBoundingClientRect();
  const frame = { left: left + 4, top: top + (edges ? 20 : 4), right: right - (edges ? 26 : 4), bottom: bottom - 4 }; // clear of the edges' names
  const fixed = all(".leaflet-control, #far span, #north").map((c) => c.getBoundingClientRect());
  const taken = [padBox(), ...fixed];
  for (const line of all(".leader")) line.remove();
  taken.push(...peopleBoxes(), ...all(".pad-picture text, .pad-picture .wind, .pad-picture .rail").map((t) => t.getBoundingClientRect()));
  const named = on("#show-names");
  const labels = all(".map .label").sort((a, b) => a.dataset.rank - b.dataset.rank);
  const people = labels.filter((label) => label.classList.contains("people"));
  const crowd = { boxes: [], fixed, leads: [], hosts: [], many: people.length > MANY, danger: zonePolygons("danger"), caution: zonePolygons("caution") };
  // The points that other places of people are named at: a plate over one would hide where its line begins.
  const points = people.map((label) => [label, label.parentElement.getBoundingClientRect()]);
  crowd.spots = (label) => points.filter(([other]) => other !== label)
    .map(([, { left: x, top: y }]) => ({ left: x - 5, right: x + 5, top: y - 5, bottom: y + 5 }));
  // Dozens of names on a small screen: numbers alone, and small ones.
  chart.getContainer().classList.toggle("crowded", people.length > 20 && right - left < 600);
  showGathered(gathered);
  const counted = new Set([...gathered.values()].flat());
  let more = false;
  for (const label of labels) {
    label.classList.remove("short");
    label.classList.toggle("joined", counted.has(label));
    const wanted = !counted.has(label) && (named || !label.classList.contains("area"));
    const insists = label.classList.contains("people") || label.classList.contains("zone");
    let free = wanted && (insists ? insist(label, frame, taken, crowd) : settle(label, frame, taken, GAPS, AROUND, crowd));
    if (insists && free) {
      const box = label.getBoundingClientRect();
      taken.push(box);
      crowd.boxes.push(box);
      if (label.classList.contains("people")) crowd.hosts.push(label);
    }
    if (insists && wanted && !free && inFrame(label, frame)) {
      gather(label, crowd.hosts, gathered);
      label.classList.toggle("joined", crowd.hosts.length > 0);
      more ||= crowd.hosts.length > 0;
    }
    if (wanted && !free && label.classList.contains("piece")) {
      label.classList.add("short");
      free = settle(label, frame, taken, GAPS, AROUND, crowd);
    }
    label.classList.toggle("off", !free);
  }
  return more;
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
