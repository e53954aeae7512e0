// On paper nobody sets a wind: who must move stands in the table of words, at the worst of all winds of a field; how far each zone
// reaches and which way to look below it, at the worst of the winds of a column in which somebody may launch.

const NONE = "–";
const MOST_RUNS = 3; // of numbers in a field: beyond them those between are sent away too

// The winds that a field stands for, as its word does (`_worst_about`).
function windsOf(row, column) {
  const { top, speeds, directions, table: { every, deep } } = DIAL;
  const [step, turn] = [top / speeds, 360 / directions];
  const found = new Set();
  for (let i = row * deep; i < Math.min((row + 1) * deep, speeds); i += 1) {
    for (let side = -every; side < every; side += 1) {
      for (const place of surrounding((i + 0.5) * step, (column * every + (side + 0.5) / 2) * turn)) found.add(place);
    }
  }
  return [...found];
}

// Numbers as people write them: 1–3 7.
function runsOf(numbers) {
  const runs = [...numbers].sort((a, b) => a - b).map((n) => [n, n]);
  const gap = (i) => runs[i + 1][0] - runs[i][1];
  const join = (i) => runs.splice(i, 2, [runs[i][0], runs[i + 1][1]]);
  for (let i = runs.length - 2; i >= 0; i -= 1) if (gap(i) === 1) join(i);
  while (runs.length > MOST_RUNS) join([...runs.keys()].slice(1).map((i) => i - 1).reduce((a, b) => (gap(b) < gap(a) ? b : a)));
  return runs.map(([first, last]) => (first === last ? first : `${first}–${last}`)).join(" ");
}

// Who moves, and who is on his feet, below the word of a field.
function tellField(cell, about) {
  const { crowd } = crowdAt(about);
  const sent = overOf(crowd);
  const ready = crowd.filter((place) => place.outcome === 1 && !sent.includes(place));
  all("span", cell).forEach((told) => told.remove());
  for (const [sign, places] of [["✕", sent], ["!", ready]]) {
    if (!places.length) continue;
    const told = document.createElement("span");
    told.textContent = `${sign}\u00a0${runsOf(places.map((place) => place.number))}`;
    cell.append(told);
  }
}

// Which way a fall lies, in few words: for the first crowd, and by the compass.
function wayOf(fall) {
  const compass = compassOf(fall.turn);
  if (overPad(fall) && fall.away <= fall.radius / 8) return DIAL.orders.about;
  if (!DIAL.sight.length) return compass;
  const side = sideOf(fall.east, fall.north);
  return `${DIAL.sides[["behind", "over"].includes(side) ? side : handOf(fall.turn)]} (${compass})`;
}

function outOf(about, zone) {
  const pieces = zonesAt(about)[zone];
  if (!pieces.length) return NONE;
  const ends = reachOf(pieces.flatMap(({ ring }) => ring.map(([north, east]) => [east, north])));
  return ends.map((at) => `${length(Math.hypot(...at), 1)} ${pointOf(degrees(...at))}`).join(", ");
}

// A row below the words: of each column what all its winds come to.
function addRow(table, name, texts) {
  const row = table.insertRow();
  row.className = "of-all";
  const head = row.appendChild(document.createElement("th"));
  head.scope = "row";
  head.textContent = name;
  for (const text of texts) row.insertCell().textContent = text;
}

function tellPaper() {
  const table = one("#paper table");
  all(".of-all", table).forEach((row) => row.remove());
  const [, ...rows] = table.rows;
  const fields = rows.map((row, i) => [...row.cells].slice(1).map((cell, j) => ({ cell, about: cell.dataset.word === "no-go" ? [] : windsOf(i, j) })));
  const flown = fields.flat().filter(({ about }) => about.length);
  for (const { cell, about } of flown) tellField(cell, about);
  if (!flown.length || !flown.every(({ about }) => knownAt(about))) return;
  const columns = fields[0].map((_, j) => [...new Set(fields.flatMap((row) => row[j].about))]);
  for (const zone of ["danger", "caution"]) {
    const ends = columns.map((about) => outOf(about, zone));
    if (ends.some((end) => end !== NONE)) addRow(table, say("paper_out", { zone: say(zone) }), ends);
  }
  addRow(table, DIAL.orders.eyes, [DIAL.orders.pad]);
  table.rows[table.rows.length - 1].cells[1].colSpan = columns.length;
  const failing = columns.map(deadlyAt);
  const planned = columns.map((about) => (DIAL.planned === null ? [] : [figuresAt(about, DIAL.planned)].filter(Boolean).map(seenFrom)));
  for (const [key, falls] of [["paper_look", failing], ["paper_well", planned]]) {
    if (!falls.flat().length) continue;
    const soonest = Math.min(...falls.flat().map((fall) => fall.soonest)) - (key === "paper_look" ? DIAL.call : 0);
    addRow(table, say(key, { time: clock(soonest) }), falls.map((some) => [...new Set(some.map(wayOf))].join(", ") || NONE));
  }
  const note = DIAL.sight.map(([area, x, y]) => ` ${fill(DIAL.sides.note, { area, compass: compassOf(degrees(-x, -y)) })}`).join("");
  one("#stands").textContent = say("paper_stands", { move: DIAL.move, nogo: DIAL.no }) + note;
}
window.addEventListener("beforeprint", tellPaper);
