// What the dial knows, unpacked; and the rule between its winds. No physics here.

const RANK = ["go", "go if aloft", "hold", "no-go"];
const ON = 1e-6; // of a step: this near, a wind counts as one that was flown

// Whole numbers in symbols, the low end first; signed ones folded.
function reader(text) {
  const { symbols, final } = DIAL;
  const places = new Map([...symbols].map((symbol, place) => [symbol, place]));
  let at = 0;
  const number = () => {
    let value = 0;
    let scale = 1;
    for (;;) {
      const place = places.get(text[at]);
      at += 1;
      if (place < final) return value + place * scale;
      value += (place - final) * scale;
      scale *= symbols.length - final;
    }
  };
  const signed = () => {
    const n = number();
    return n % 2 ? -(n + 1) / 2 : n / 2;
  };
  return { number, signed };
}

function readRing({ number, signed }, unit) {
  const ring = [];
  let east = 0;
  let north = 0;
  for (let left = number(); left > 0; left -= 1) {
    east += signed();
    north += signed();
    ring.push([east * unit, north * unit]);
  }
  return ring;
}

function readPiece(stream) {
  const { number, signed } = stream;
  const apart = number() - 1; // 0 for what belongs to a zone
  if (apart < 0) return null;
  const piece = {
    apart, east: signed(), north: signed(), radius: number(), farthest: number(),
    soonest: number(), latest: number(), speed: number() / 10, energy: number(), graded: number(), lines: [],
  };
  const unit = 2 ** number();
  for (let line = 0; line < 2; line += 1) piece.lines.push(readRing(stream, unit));
  return piece;
}

// One entry for each wind: likelihood of each case, landing of each piece.
const WINDS = (() => {
  const stream = reader(DIAL.packed);
  const cases = Math.max(...DIAL.cases) + 1;
  return DIAL.verdicts.map(() => ({
    likely: Array.from({ length: cases }, () => stream.number() / DIAL.shareSteps),
    pieces: DIAL.cases.map(() => readPiece(stream)),
  }));
})();

function bothSides(place) {
  const nearest = Math.round(place);
  if (Math.abs(place - nearest) < ON) return [nearest];
  return [Math.floor(place), Math.floor(place) + 1];
}

// Places of the winds about a reading [m/s, deg], and of its cell, of those beside it on an
// edge or on a wind flown; a cell left out stands for its corners. Beyond the top those of the
// rim at that bearing; none for what is no wind.
function surrounding(speed, from) {
  const { top, speeds, directions, cells } = DIAL;
  if (!(Number.isFinite(speed) && Number.isFinite(from)) || speed < 0) return [];
  const rows = bothSides(Math.min(speed, top) / (top / speeds));
  const columns = bothSides((((from % 360) + 360) % 360) / (360 / directions));
  const at = (i, j) => (i === 0 ? 0 : 1 + (i - 1) * directions + ((j + directions) % directions));
  const found = new Set();
  for (const i of rows) {
    // The lightest air about a reading stands in its cell.
    if (i === 0 && rows.length > 1) continue;
    for (const j of columns) found.add(at(i, j));
  }
  if (rows.length === 1 && rows[0] === 0) return [...found];
  for (const i of rows.length > 1 ? [rows[0]] : [rows[0] - 1, rows[0]]) {
    for (const j of columns.length > 1 ? [columns[0]] : [columns[0] - 1, columns[0]]) {
      const cell = cells[`${i},${(j + directions) % directions}`];
      if (cell !== undefined) found.add(cell);
      else if (i < speeds) for (const [a, b] of [[i, j], [i, j + 1], [i + 1, j], [i + 1, j + 1]]) found.add(at(a, b));
    }
  }
  return [...found];
}

function worst(words) {
  if (!words.length) return "hold";
  return words.reduce((a, b) => (RANK.indexOf(b) > RANK.indexOf(a) ? b : a));
}

// Beyond the top the dial is never milder than its rim there, and never go.
function beyond(speed) {
  return speed > DIAL.top * (1 + 1e-9);
}

// The word for a reading: the worst of all that is about it.
function wordAt(speed, from) {
  const words = surrounding(speed, from).map((place) => DIAL.verdicts[place]);
  if (words.length && beyond(speed)) words.push(speed > DIAL.limit ? "no-go" : "hold");
  return worst(words);
}

let newer = ""; // where the page is shown by one that knows of newer words, why its own are over

// Why a reading no longer counts: another day or hour than the dial was made for, or too old.
function lapsed(readAt, now) {
  if (newer) return newer;
  const today = [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
  const served = DIAL.span ? now >= DIAL.span[0] && now < DIAL.span[1] : today === DIAL.date;
  if (!served) return say("other_day", { date: DIAL.date });
  const age = (now - readAt) / 1000;
  if (!(age >= 0 && age < DIAL.stale)) return say("stale", { minutes: Math.floor(age / 60) });
  return "";
}

// Why a gust is not covered; where nothing stands none was read.
function gusty(speed, gust, unread = false) {
  if (unread || gust < 0) return say("gust_unread");
  if (gust < speed) return say("gust_less");
  if (!Number.isFinite(gust) || gust <= speed * DIAL.gust * (1 + 1e-9)) return "";
  return DIAL.gust > 1 ? say("gust_more", { times: number(DIAL.gust, 2) }) : say("gust_none");
}

// The cell that a reading is judged by: speeds [m/s] and bearings [deg]; null on a wind that was flown.
function cellOf(speed, from) {
  const { top, speeds, directions } = DIAL;
  const rows = bothSides(Math.min(speed, top) / (top / speeds));
  const columns = bothSides((((from % 360) + 360) % 360) / (360 / directions));
  if (rows.length + columns.length === 2 || (rows.length === 1 && rows[0] === 0)) return null;
  // On an edge between cells, both count.
  const ends = (places, size) => (places.length > 1 ? places : [places[0] - 1, places[0] + 1]).map((at) => at * size);
  const [low, high] = ends(rows, top / speeds);
  return [Math.max(low, 0), Math.min(high, top), ...ends(columns, 360 / directions)];
}

// What speaks against flying in any of these winds: each kind of check once, at its worst.
function reasonsAt(places) {
  const { lines, texts, people } = DIAL.reasons;
  const found = new Map();
  for (const place of places) {
    for (const [kind, outcome, over, text] of lines[place]) {
      const before = found.get(kind);
      if (before && (before.outcome > outcome || (before.outcome === outcome && before.over >= over))) continue;
      found.set(kind, { outcome, over, told: texts[text], people: people[kind] });
    }
  }
  return [...found.values()].sort((a, b) => b.outcome - a.outcome || Math.sign(b.people.length) - Math.sign(a.people.length) || b.over - a.over);
}

function askedAt(places) {
  return new Set(places.flatMap((place) => DIAL.asked[place]));
}

// Figures of a piece: of the wind that carries it farthest, times and speeds the worst of all.
function figuresAt(places, index) {
  const found = places.map((place) => WINDS[place].pieces[index]).filter(Boolean);
  if (!found.length) return null;
  const most = (key) => Math.max(...found.map((piece) => piece[key]));
  const far = found.reduce((a, b) => (b.farthest > a.farthest ? b : a));
  return {
    east: far.east, north: far.north, farthest: most("farthest"), radius: most("radius"),
    soonest: Math.min(...found.map((piece) => piece.soonest)), latest: most("latest"),
    apart: Math.min(...found.map((piece) => piece.apart)), speed: most("speed"), energy: most("energy"), graded: most("graded"),
  };
}

function likelyAt(places, index) {
  return Math.max(0, ...places.map((place) => WINDS[place].likely[index]));
}

// The smallest convex ring about points (A. M. Andrew's monotone chain).
function hull(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const turns = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
  const half = (list) => {
    const chain = [];
    for (const point of list) {
      while (chain.length > 1 && turns(chain[chain.length - 2], chain[chain.length - 1], point) <= 0) chain.pop();
      chain.push(point);
    }
    return chain.slice(0, -1);
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

// The ring of a line: taut round the ground of every wind about the reading.
function lineAt(places, index, line) {
  const found = places.map((place) => WINDS[place].pieces[index]).filter(Boolean);
  return found.length ? hull(found.flatMap((piece) => piece.lines[line])) : null;
}
