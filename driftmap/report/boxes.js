// Boxes, lines and polygons in pixels of the page: how they lie to each other, and the corner in which a box hides least.

const clamp = (value, low, high) => Math.min(Math.max(value, low), Math.max(low, high));

function overlaps(box, taken) {
  return taken.some((t) => box.left < t.right && t.left < box.right && box.top < t.bottom && t.top < box.bottom);
}

// Whether a line from one point to another runs through a box.
function pierces([x, y, u, v], { left, right, top, bottom }) {
  if (Math.max(x, u) < left || Math.min(x, u) > right || Math.max(y, v) < top || Math.min(y, v) > bottom) return false;
  let [from, to] = [0, 1];
  for (const [start, step, low, high] of [[x, u - x, left, right], [y, v - y, top, bottom]]) {
    if (step === 0) continue;
    const [a, b] = [(low - start) / step, (high - start) / step];
    from = Math.max(from, Math.min(a, b));
    to = Math.min(to, Math.max(a, b));
  }
  return from < to;
}

// Whether two lines cross.
function crosses([ax, ay, bx, by], [cx, cy, dx, dy]) {
  const side = (x, y, u, v, p, q) => Math.sign((u - x) * (q - y) - (v - y) * (p - x));
  return side(ax, ay, bx, by, cx, cy) * side(ax, ay, bx, by, dx, dy) < 0 && side(cx, cy, dx, dy, ax, ay) * side(cx, cy, dx, dy, bx, by) < 0;
}

// Polygons of what is drawn, in pixels of the page, corners closer than three left out. The page gives zoneDrawn.
function polygonsOf(drawn) {
  const { left, top } = chart.getContainer().getBoundingClientRect();
  const pixels = (ring) => ring.reduce((kept, place) => {
    const { x, y } = chart.latLngToContainerPoint(place);
    const [a, b] = kept.at(-1) ?? [Infinity, 0];
    if (Math.abs(left + x - a) + Math.abs(top + y - b) > 3) kept.push([left + x, top + y]);
    return kept;
  }, []);
  return drawn.flatMap((shape) => shape.getLatLngs()).map((polygon) => polygon.map(pixels));
}

const zonePolygons = (kind) => polygonsOf(zoneDrawn(kind));
// Sides of a ring and its bounds, worked out once for each that is asked for.
const known = new WeakMap();

function sidesOf(ring) {
  if (!known.has(ring)) {
    const sides = ring.map((corner, i) => [...corner, ...ring[(i + 1) % ring.length]]);
    const [x, y] = [0, 1].map((axis) => ring.map((corner) => corner[axis]));
    known.set(ring, { sides, left: Math.min(...x), right: Math.max(...x), top: Math.min(...y), bottom: Math.max(...y) });
  }
  return known.get(ring);
}

const sidesIn = (polygons) => polygons.flatMap((rings) => rings.flatMap((ring) => sidesOf(ring).sides));

// How a box lies to polygons: "in" one of them, "off" all, or "over" an edge.
function lies(box, polygons) {
  let word = "off";
  for (const rings of polygons) {
    const how = liesTo(box, rings);
    if (how === "in") return how;
    if (how === "over") word = how;
  }
  return word;
}

function liesTo(box, rings) {
  const [x, y] = [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
  let inside = false;
  for (const ring of rings) {
    const { sides, left, right, top, bottom } = sidesOf(ring);
    if (left > box.right || right < box.left || top > box.bottom || bottom < box.top) continue;
    for (const side of sides) {
      const [a, b, c, d] = side;
      const apart = (a < box.left && c < box.left) || (a > box.right && c > box.right) || (b < box.top && d < box.top) || (b > box.bottom && d > box.bottom);
      if (!apart && pierces(side, box)) return "over";
      if (b > y !== d > y && x < ((c - a) * (y - b)) / (d - b) + a) inside = !inside;
    }
  }
  return inside ? "in" : "off";
}

// The shortest line from the edge of a ground to a box, and how long it is.
function wayTo(ground, { left, right, top, bottom }) {
  let [way, least] = [null, Infinity];
  const consider = (x, y, u, v) => {
    const away = (u - x) ** 2 + (v - y) ** 2;
    if (away < least) [way, least] = [[x, y, u, v], away];
  };
  for (const [a, b, c, d] of sidesIn(ground)) {
    consider(a, b, clamp(a, left, right), clamp(b, top, bottom));
    const long = (c - a) ** 2 + (d - b) ** 2 || 1;
    for (const u of [left, right]) {
      for (const v of [top, bottom]) {
        const along = clamp(((u - a) * (c - a) + (v - b) * (d - b)) / long, 0, 1);
        consider(a + along * (c - a), b + along * (d - b), u, v);
      }
    }
  }
  return { way, long: Math.sqrt(least) };
}

const boxAt = (left, top, { width, height }) => ({ left, top, right: left + width, bottom: top + height });
const grown = (box, by) => boxAt(box.left - by, box.top - by, { width: box.right - box.left + 2 * by, height: box.bottom - box.top + 2 * by });

// The area within the outer rings of polygons.
const areaOf = (polygons) => polygons.reduce((sum, [ring]) => sum + Math.abs(sidesOf(ring).sides.reduce((twice, [a, b, c, d]) => twice + a * d - c * b, 0)) / 2, 0);
const holdsBox = (frame, box) => box.left >= frame.left && box.right <= frame.right && box.top >= frame.top && box.bottom <= frame.bottom;

// Wind and north stand in the corner where they hide least: of danger nothing, nor where people are sent, nor caution, nor people, if there is one.
// Above it is on the first screen too; below, on a small one, it is not. `room`: about people, for their plates.
function placeCorner(room = 0) {
  const [danger, caution] = ["danger", "caution"].map(zonePolygons);
  const people = polygonsOf(areas.filter(({ options }) => options.className.includes("people")));
  const sent = all(".label.zone.clear").map((label) => {
    const { left, top } = label.parentElement.getBoundingClientRect();
    const beyond = { left: left + 2 * ROOM * Math.sin(label.along), top: top - 2 * ROOM * Math.cos(label.along) };
    return about(beyond, { width: 4 * ROOM, height: 3 * ROOM });
  });
  const costs = ["", "beside", "low"].map((corner) => {
    one("#north").className = corner;
    const box = one("#north").getBoundingClientRect();
    const wide = boxAt(box.left - room, box.top - room, { width: box.width + 2 * room, height: box.height + 2 * room });
    const hidden = [lies(box, danger) !== "off", overlaps(box, sent), lies(box, caution) !== "off", lies(wide, people) !== "off"];
    return { corner, cost: hidden.reduce((sum, hides) => 2 * sum + hides, 0) };
  });
  one("#north").className = costs.reduce((a, b) => (b.cost < a.cost ? b : a)).corner;
}

function padBox(half) {
  const { x, y } = chart.latLngToContainerPoint(DRIFTMAP.pad);
  const { left, top } = chart.getContainer().getBoundingClientRect();
  return boxAt(left + x - half, top + y - half, { width: 2 * half, height: 2 * half });
}
