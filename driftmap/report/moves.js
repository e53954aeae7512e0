// Who must move whither, as on the map: from what reaches their place straight to the nearest ground of the field that no
// zone reaches and nobody is barred from, until all of the place is on it (`way_out` and `Move`). Corners are north and east of the pad.

const PACES = 5; // between ways that are tried [m]
const WAYS = Array.from({ length: 72 }, (_, i) => [Math.cos((i * Math.PI) / 36), Math.sin((i * Math.PI) / 36)]);
const step = ([north, east], [y, x], far) => [north + far * y, east + far * x];

// How far a point lies from a side of a ring.
function sideAway([x, y], [a, b, c, d]) {
  const along = clamp(((x - a) * (c - a) + (y - b) * (d - b)) / ((c - a) ** 2 + (d - b) ** 2 || 1), 0, 1);
  return Math.hypot(a + along * (c - a) - x, b + along * (d - b) - y);
}

// How far a point lies from polygons; within them less than nothing, by how deep.
function farFrom(at, polygons) {
  let least = Infinity;
  for (const rings of polygons) {
    const { left, right, top, bottom } = sidesOf(rings[0]);
    const box = Math.hypot(at[0] - clamp(at[0], left, right), at[1] - clamp(at[1], top, bottom));
    if (box > 0 && box >= least) continue; // what is that far off as a whole
    const edge = Math.min(...sidesIn([rings]).map((side) => sideAway(at, side)));
    least = Math.min(least, rings.reduce((odd, ring) => odd !== within(ring, at), false) ? -edge : edge);
  }
  return least;
}

// What a point of the field still lacks to lie clear; nothing where it does.
function clearOf(zones) {
  const field = DIAL.edges.find(({ kind }) => kind === "boundary").rings;
  const barred = [...zones, ...DIAL.areas.filter(({ kind }) => kind !== "people").flatMap(({ rings }) => rings)];
  const lack = (at) => DIAL.turns.room - Math.min(farFrom(at, barred), -farFrom(at, field));
  return { lack, barred, wide: acrossOf(field) };
}

function acrossOf(polygons) {
  const box = L.latLngBounds(polygons.flat(2));
  return Math.hypot(box.getNorth() - box.getSouth(), box.getEast() - box.getWest());
}

// A point in the middle of what zones reach of a place: of the widest stretch across it, half way up.
function middleOf(place, zones) {
  const norths = [[place, zones], [zones, place]].flatMap(([some, others]) => some.flatMap(([edge]) => edge.filter((at) => farFrom(at, others) <= 0)))
    .map(([north]) => north);
  for (const [a, b, c, d] of sidesIn(place)) {
    for (const [p, q, r, s] of sidesIn(zones)) {
      if (crosses([a, b, c, d], [p, q, r, s])) norths.push(a + ((c - a) * ((p - a) * (s - q) - (q - b) * (r - p))) / ((c - a) * (s - q) - (d - b) * (r - p)));
    }
  }
  const half = (Math.min(...norths) + Math.max(...norths)) / 2;
  const north = (Math.max(...norths.filter((one) => one <= half)) + Math.min(...norths.filter((one) => one >= half))) / 2;
  const stops = sidesIn([...place, ...zones]).filter(([a, , c]) => a > north !== c > north).map(([a, b, c, d]) => b + ((north - a) / (c - a)) * (d - b));
  const stretches = stops.sort((a, b) => a - b).reduce((found, east, i) => {
    const before = stops[i - 1];
    if (i === 0 || [place, zones].some((some) => farFrom([north, (before + east) / 2], some) > 0)) return found;
    return found.at(-1)?.[1] === before ? [...found.slice(0, -1), [found.at(-1)[0], east]] : [...found, [before, east]];
  }, []);
  const [west, east] = stretches.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a));
  return [north, (west + east) / 2];
}

// Which way, and how far, to the nearest clear ground; null where there is none. A step is never longer than what is lacking,
// but for a hand: by a metre, the first of all ways so nearly as short would stay.
function nearestClear(from, { lack, wide }) {
  let best = null;
  for (const way of WAYS) {
    let far = 0;
    for (let left = lack(from); left > 0 && far < (best?.far ?? wide); left = lack(step(from, way, far))) far += Math.max(left, 0.1);
    if (far < (best?.far ?? wide)) best = { way, far };
  }
  return best;
}

// Whether a whole place lies clear once all of it has gone so far; `outline`: points along its edge.
function allClear(rings, outline, way, far, { lack, barred }) {
  const moved = rings.map(([edge]) => edge.map((at) => step(at, way, far)));
  return outline.every((at) => lack(step(at, way, far)) <= 0) && !barred.some(([edge]) => moved.some((ring) => within(ring, edge[0])));
}

// Points along the edge of a place, so close together that nothing barred lies between two that are clear.
function outlineOf(rings) {
  return sidesIn(rings).flatMap(([a, b, c, d]) => {
    const parts = Math.ceil(Math.hypot(c - a, d - b) / DIAL.turns.room) || 1;
    return Array.from({ length: parts }, (_, i) => [a + ((c - a) * i) / parts, b + ((d - b) * i) / parts]);
  });
}

function wayOut({ rings }, zones) {
  const clear = clearOf(zones);
  const found = nearestClear(middleOf(rings, zones), clear);
  if (!found) return null;
  const most = found.far + acrossOf(rings);
  const outline = outlineOf(rings);
  let far = found.far;
  while (far < most && !allClear(rings, outline, found.way, far, clear)) far += PACES;
  const [y, x] = found.way;
  return { turn: degrees(x, y), far: far < most ? far : found.far };
}

// How the way lies for who faces the pad, as `Move.back` has it; nothing of one toward it, nor beside it.
function backOf({ at: [north, east], rings }, { turn }) {
  const around = ((turn - degrees(east, north) - 180 + 900) % 360) - 180;
  const side = around > 0 ? "right" : "left";
  if (farFrom([0, 0], rings) < DIAL.turns.over) return "";
  return ["", "", side, `back_${side}`, "away"][Math.round(Math.abs(around) / 45)];
}

// What a place that must move is told after its name, which way its arrow points and how the way lies for who faces the pad.
// Outside every zone no way is known to be better.
function whither(place, zoned) {
  const zones = Object.values(zoned).flatMap((pieces) => pieces.map(({ ring }) => [ring]));
  const told = (words, values) => fill(words, { area: "{area}", ...values });
  const { ask, nowhere, to, to_side: aside } = DIAL.orders;
  if (!place.kind) return { told: told(ask) };
  const way = wayOut(place, zones);
  if (!way) return { told: told(nowhere) };
  const back = backOf(place, way);
  const values = { distance: length(way.far, 1), compass: compassOf(way.turn) };
  return { told: back ? told(aside, { ...values, side: DIAL.back[back] }) : told(to, values), go: 45 * Math.round(way.turn / 45), back };
}
