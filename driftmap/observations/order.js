// The order of walking, as driftmap/observations/walk.py has it: the most chance for each metre.
"use strict";
const REGROUP = 60, MOST = 40, ENOUGH = 0.95;

function middle(cell) {
  return [SEARCH.west + (cell[0] + 0.5) * SEARCH.size, SEARCH.south + (cell[1] + 0.5) * SEARCH.size];
}

function detection(walkers) {
  return Math.min(SEARCH.surest, 1 - Math.exp(-SEARCH.widths[walkers.cover] / walkers.spacing));
}

function* unbroken(cells) {
  for (const along of [0, 1]) {
    const other = 1 - along;
    const order = [...cells].sort((a, b) => a[other] - b[other] || a[along] - b[along]);
    let line = [];
    for (const cell of order) {
      const last = line.at(-1);
      if (last && (cell[other] !== last[other] || cell[along] !== last[along] + 1)) {
        yield line;
        line = [];
      }
      line.push(cell);
    }
    if (line.length) yield line;
  }
}

function bestRun(cells, here, walkers) {
  const each = SEARCH.size ** 2 / (walkers.spacing * walkers.count);
  let best = {rate: -1};
  for (const line of unbroken(cells)) {
    for (let first = 0; first < line.length; first++) {
      let chance = 0;
      for (let last = first; last < line.length; last++) {
        chance += line[last][2];
        const ends = [middle(line[first]), middle(line[last])];
        const near = ends.map(end => Math.hypot(end[0] - here[0], end[1] - here[1]));
        const metres = REGROUP + Math.min(...near) + each * (last - first + 1);
        if (chance / metres > best.rate * (1 + 1e-12)) {
          const run = line.slice(first, last + 1);
          best = {rate: chance / metres, metres, chance, cells: near[0] <= near[1] ? run : run.reverse()};
        }
      }
    }
  }
  return best;
}

function crosses(a, b, c, d) {
  const side = (p, q, r) => (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
  return side(a, b, c) * side(a, b, d) <= 0 && side(c, d, a) * side(c, d, b) <= 0;
}

function inside(point, rings) {
  let odd = false;
  for (const ring of rings) {
    for (let i = 1; i < ring.length; i++) {
      const [p, q] = [ring[i - 1], ring[i]];
      const at = p[0] + (point[1] - p[1]) / (q[1] - p[1]) * (q[0] - p[0]);
      if ((p[1] > point[1]) !== (q[1] > point[1]) && point[0] < at) odd = !odd;
    }
  }
  return odd;
}

// What the straight way between two places meets, as driftmap/observations/walk.py has it.
function mindOnTheWay(from, to) {
  return SEARCH.dangers.filter(([, rings]) => inside(from, rings) || rings.some(ring =>
    ring.some((corner, i) => i > 0 && crosses(from, to, ring[i - 1], corner)))).map(([text]) => text);
}

// cells: [column, row, chance, number], chances being those at this moment.
function planWalk(cells, here, walkers) {
  let left = cells, walked = 0, found = 0;
  const goal = ENOUGH * cells.reduce((sum, cell) => sum + cell[2], 0), plan = [];
  while (left.length && walked < goal && plan.length < MOST) {
    const run = bestRun(left, here, walkers);
    const taken = new Set(run.cells);
    left = left.filter(cell => !taken.has(cell));
    walked += run.chance;
    found += run.chance * detection(walkers);
    const first = middle(run.cells[0]);
    plan.push({numbers: run.cells.map(cell => cell[3]), metres: run.metres, gain: run.chance * detection(walkers), left: 1 - found, first, mind: mindOnTheWay(here, first)});
    here = middle(run.cells.at(-1));
  }
  return plan;
}
