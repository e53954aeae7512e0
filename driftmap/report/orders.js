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

const WORTH = 0.2; // of its reach: from so much on danger is told of behind the pad too, as on the sheet

// How far danger reaches from the pad, and which way, behind it too.
function reachOf(pieces) {
  const corners = pieces.flatMap(({ ring }) => ring);
  const farthest = (some) => some.reduce((a, b) => (Math.hypot(...b) > Math.hypot(...a) ? b : a), [0, 0]);
  const told = ([north, east]) => ({ distance: length(Math.hypot(north, east), 1), compass: pointOf(degrees(east, north)) });
  const end = farthest(corners);
  const behind = farthest(corners.filter(([north, east]) => north * end[0] + east * end[1] < 0));
  const also = Math.hypot(...behind) > WORTH * Math.hypot(...end) ? fill(DIAL.orders.danger_and, told(behind)) : "";
  return { ...told(end), near: also };
}

const namesOf = (crowd, of) => crowd.filter(of).map(({ name }) => name).join(", ");

// Who is in danger or over a limit, and in caution where anybody who stands in it is over one.
function isSent({ kind, outcome }, crowd) {
  return kind === "danger" || outcome === 2 || (kind === "caution" && crowd.some((other) => other.kind === kind && other.outcome === 2));
}
const overOf = (crowd) => namesOf(crowd, (place) => isSent(place, crowd));

// Who is to go, who is clear, and who in caution, or only perhaps clear: one verb for each.
function showOrders(zoned, crowd) {
  const sent = overOf(crowd);
  const ready = namesOf(crowd, (place) => place.outcome === 1 && !isSent(place, crowd));
  const { danger_to: danger, move, ready: calm, left, ready_at: at, stay_at: stay } = DIAL.orders;
  const drawn = zoned.danger.length + zoned.caution.length; // else nothing is known of where it comes down
  const calmly = ({ outcome }) => !outcome;
  const clear = drawn ? namesOf(crowd, calmly) : "";
  const lines = sent ? [orderOf("move", fill(move, { places: sent }))] : [];
  if (clear) lines.push(orderOf("clear", crowd.every(calmly) ? DIAL.orders.outside : fill(stay, { places: clear })));
  if (ready || zoned.caution.length) lines.push(orderOf("caution", ready ? fill(at, { places: ready }) : crowd.some((place) => place.kind === "caution") ? left : calm));
  if (zoned.danger.length) lines.push(orderOf("danger", fill(danger, reachOf(zoned.danger))));
  if (drawn && !document.body.classList.contains("no-go")) lines.push(...DIAL.stray.map((line) => orderOf("", line)));
  one("#stand-told").replaceChildren(...lines);
}

const degrees = (east, north) => (Math.atan2(east, north) * 180) / Math.PI;
const compassOf = (turn) => DIAL.compass[Math.round((turn + 360) / 45) % 8];
const seenFrom = (fall) => ({ ...fall, away: Math.hypot(fall.east, fall.north), turn: degrees(fall.east, fall.north) });
const overPad = ({ away, radius }) => away < radius / 2;

// The worst that can kill, and the likeliest of what can on another side of the pad.
function deadlyAt(about) {
  const found = DIAL.cases.map((_, index) => ({ index, ...figuresAt(about, index) }))
    .filter((figures) => figures.typical && !figures.apart && figures.index !== DIAL.planned && gradeOf(figures, figures.index) === "danger")
    .map(seenFrom);
  if (!found.length) return [];
  const worst = found.reduce((a, b) => (b.typical > a.typical ? b : a));
  const likely = ({ index }) => likelyAt(about, DIAL.cases[index]);
  const round = ({ turn }) => Math.abs(((turn - worst.turn + 540) % 360) - 180);
  const other = found.filter((fall) => fall.away > DIAL.turns.over && !overPad(fall) && round(fall) > DIAL.turns.far);
  return [worst, ...other.sort((a, b) => likely(b) - likely(a)).slice(0, 1)];
}

// From where people look: the first crowd that has a left and a right. The side as `Sight.side` has it.
function sideOf(east, north) {
  const [, x, y] = DIAL.sight[0];
  const [fallX, fallY] = [east - x, north - y];
  const away = Math.hypot(fallX, fallY);
  const turn = (((degrees(fallX, fallY) - degrees(-x, -y) + 540) % 360) - 180);
  const { over, near, ahead, far, behind } = DIAL.turns;
  if (away < over) return "over";
  if (Math.hypot(east, north) < near * Math.hypot(x, y)) return "at_pad";
  if (Math.abs(turn) < ahead) return away > Math.hypot(x, y) ? "beyond" : "before";
  if (Math.abs(turn) > behind) return "behind";
  return `${Math.abs(turn) > far ? "far_" : ""}${turn > 0 ? "right" : "left"}`;
}

// Which way to look.
function eyesOn(fall) {
  const compass = compassOf(fall.turn);
  if (overPad(fall)) return fill(fall.away > fall.radius / 8 ? DIAL.orders.mostly : DIAL.orders.about, { compass });
  if (!DIAL.sight.length) return fill(DIAL.orders.where, { compass });
  const side = DIAL.sides[sideOf(fall.east, fall.north)];
  return fill(DIAL.sides.next, { compass, side });
}

// The second of a moment, as `Voice.clock` writes it.
function clock(second) {
  const whole = Math.floor(Math.max(0, second));
  return whole <= 120 ? `${number(whole)}\u00a0s` : `${Math.floor(whole / 60)}\u00a0min ${whole % 60}\u00a0s`;
}

function showEyes(about) {
  one("#look-told").parentElement.hidden = !about.length;
  const falls = deadlyAt(about).map((fall) => ({ ...fall, from: fall.soonest - DIAL.call, when: DIAL.whens[DIAL.cases[fall.index]] }));
  const planned = DIAL.planned === null ? null : figuresAt(about, DIAL.planned);
  if (planned) falls.push({ ...seenFrom(planned), from: planned.soonest, when: DIAL.orders.well });
  falls.sort((a, b) => a.from - b.from);
  const lines = falls.map((fall) => fill(DIAL.orders.if, { when: fall.when[0].toLowerCase() + fall.when.slice(1), look: eyesOn(fall), time: clock(fall.from) }));
  // Of a wind in which nobody launches it would read as if somebody did.
  const { pad, pad_later: later, from } = DIAL.orders;
  const where = DIAL.sight.length && !falls.every(overPad) ? ` ${fill(from, { area: DIAL.sight[0][0] })}` : ""; // whose left and right it is
  const begins = (document.body.className.startsWith("go") ? pad : later) + where;
  one("#look-told").replaceChildren(...[begins, ...lines].flatMap((line) => [orderOf("", line), " "]));
}
