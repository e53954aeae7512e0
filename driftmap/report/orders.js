// Under the word of the dial, as on every page: where to stand, and which way to look.

function orderOf(sign, told) {
  const line = document.createElement("span");
  line.className = "one";
  if (sign) {
    const mark = document.createElement("b");
    mark.className = `signal ${sign}`;
    mark.textContent = sign === "move" ? DIAL.move : say(sign);
    line.append(mark, " ");
  }
  line.append(told);
  return line;
}

// Who is in danger or over a limit, and who else in caution: one verb for each.
function showOrders(zoned, crowd) {
  const names = (of) => crowd.filter(of).map(({ name }) => name).join(", ");
  const over = names(({ kind, outcome }) => kind === "danger" || outcome === 2);
  const ready = names(({ kind, outcome }) => kind === "caution" && outcome !== 2);
  const { danger, move, ready: calm, ready_at: at } = DIAL.orders;
  const lines = [];
  if (over) lines.push(orderOf("move", fill(move, { places: over })));
  if (zoned.danger.length) lines.push(orderOf("danger", danger));
  if (zoned.caution.length) lines.push(orderOf("caution", ready ? fill(at, { places: ready }) : calm));
  one("#stand-told").replaceChildren(...(lines.length ? lines : [one("#unknown").textContent]));
}

const SIDE = 60; // deg; what can kill farther round than this is told beside the rest
const OVER = 50; // m; nearer than this it is at the pad

// The worst that can kill, and the likeliest of what can on another side of the pad.
function deadlyAt(about) {
  const found = DIAL.cases.map((_, index) => ({ index, ...figuresAt(about, index) }))
    .filter((figures) => figures.typical && !figures.apart && gradeOf(figures, figures.index) === "danger")
    .map((figures) => ({ ...figures, away: Math.hypot(figures.east, figures.north), turn: (Math.atan2(figures.east, figures.north) * 180) / Math.PI }));
  if (!found.length) return [];
  const worst = found.reduce((a, b) => (b.typical > a.typical ? b : a));
  const likely = ({ index }) => likelyAt(about, DIAL.cases[index]);
  const round = ({ turn }) => Math.abs(((turn - worst.turn + 540) % 360) - 180);
  const other = found.filter((one) => one.away > OVER && one.away >= one.radius / 2 && round(one) > SIDE);
  return [worst, ...other.sort((a, b) => likely(b) - likely(a)).slice(0, 1)];
}

function showEyes(about) {
  one("#look-told").parentElement.hidden = !about.length;
  const lines = [DIAL.orders.pad];
  for (const { index, away, radius, turn, soonest } of deadlyAt(about)) {
    const point = DIAL.compass[Math.round((turn + 360) / 45) % 8];
    const look = away < radius / 2 ? DIAL.orders.around : fill(DIAL.orders.look, { compass: point });
    const time = `${number(Math.max(0, Math.floor(soonest - DIAL.call)))}\u00a0s`;
    lines.push(fill(DIAL.orders.if, { when: DIAL.whens[DIAL.cases[index]], look, time }));
  }
  one("#look-told").replaceChildren(...lines.flatMap((line) => [orderOf("", line), " "]));
}
