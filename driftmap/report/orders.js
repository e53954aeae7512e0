// Under the word of the dial, as on every page: where to stand, and which way to look.

// An order under its sign; in place of `{places}` stand those of a crowd, each by its number on the map and its name, and
// whatever else is told of it.
function orderOf(sign, told, places = [], between = ", ") {
  const line = document.createElement("span");
  line.className = "one";
  if (sign) {
    const mark = document.createElement("b");
    mark.className = `signal ${sign}`;
    mark.textContent = sign === "move" ? DIAL.move : say(sign);
    line.append(mark, " ");
  }
  // Of many places the first, and how many more, as on the sheets; but who must move is named.
  const shown = sign === "move" || places.length <= DIAL.named + 1 ? places : places.slice(0, DIAL.named);
  const rest = places.length - shown.length;
  const [before, after = ""] = told.split("{places}");
  line.append(before, ...shown.flatMap((place, i) => [i ? between : "", ...numbered(place)]));
  line.append(rest ? fill(DIAL.rest, { first: "", count: number(rest) }) : "", after);
  return line;
}

function numbered({ name, number, told: of = "{area}" }) {
  const [disc, told] = ["b", "bdi"].map((part) => document.createElement(part));
  disc.className = "disc";
  disc.textContent = number;
  told.textContent = name;
  const [before, after] = of.split("{area}");
  return [before, disc, "\u00a0", told, after];
}

// How far a zone reaches from the pad, and how far behind it where that is worth a word: east and north, as `reach_of` has it.
function reachOf(corners) {
  const farthest = (some) => some.reduce((a, b) => (Math.hypot(...b) > Math.hypot(...a) ? b : a), [0, 0]);
  const end = farthest(corners);
  const behind = farthest(corners.filter(([east, north]) => east * end[0] + north * end[1] < 0));
  return Math.hypot(...behind) > DIAL.turns.worth * Math.hypot(...end) ? [end, behind] : [end];
}

// The least distance between two rings that do not meet.
function gapBetween(ring, other) {
  const least = (some, loop) => Math.min(...some.flatMap((corner) => sidesIn([[loop]]).map((side) => sideAway(corner, side))));
  return Math.min(least(ring, other), least(other, ring));
}

// How near danger comes to the people nearest to it, where it reaches none of them: on the screen there is room for it, however far.
function endsBefore(pieces, crowd) {
  const gap = ({ kind, rings }) => (kind === "danger" ? 0 : Math.min(...rings.flatMap(([edge]) => pieces.map(({ ring }) => gapBetween(edge, ring)))));
  const nearest = crowd.map((place) => ({ area: place.name, gap: gap(place) })).sort((a, b) => a.gap - b.gap)[0];
  if (!(nearest?.gap > 0)) return "";
  return fill(DIAL.orders.ends_before, { area: nearest.area, distance: length(nearest.gap, 1) });
}

function keepOut(pieces, ends = "") {
  const reach = reachOf(pieces.flatMap(({ ring }) => ring.map(([north, east]) => [east, north])));
  const [end, behind] = reach.map((at) => ({ distance: length(Math.hypot(...at), 1), compass: pointOf(degrees(...at)) }));
  return fill(DIAL.orders.keep_out, { ...end, near: (behind ? fill(DIAL.orders.also, behind) : "") + ends });
}

// Who is in danger or over a limit, and in caution where anybody who stands in it is over one.
function isSent({ kind, outcome }, crowd) {
  return kind === "danger" || outcome === 2 || (kind === "caution" && crowd.some((other) => other.kind === kind && other.outcome === 2));
}
const overOf = (crowd) => crowd.filter((place) => isSent(place, crowd));
// Each in a line of his own, and whither.
function moveAway(sent) {
  const turned = sent.some(({ back }) => back && back !== "away");
  // In a go they are within every limit, though in danger.
  const counted = document.body.className.startsWith("go") ? `\n${DIAL.orders.counted}` : "";
  return orderOf("move", (turned ? DIAL.orders.move_facing : DIAL.orders.move) + counted, sent, "\n");
}

// Who is to go, who is clear, and who in caution, or only perhaps clear: one verb for each.
function showOrders(zoned, crowd, sent) {
  const ready = crowd.filter((place) => place.outcome === 1 && !isSent(place, crowd));
  const { ready_at: at, stay_at: stay } = DIAL.orders;
  const drawn = zoned.danger.length + zoned.caution.length; // else nothing is known of where it comes down
  const clear = drawn ? crowd.filter(({ outcome }) => !outcome) : [];
  const lines = sent.length ? [moveAway(sent)] : [];
  if (clear.length) lines.push(orderOf("clear", stay, clear));
  const caution = [...(zoned.caution.length ? [keepOut(zoned.caution)] : []), ...(ready.length ? [at] : [])];
  if (caution.length) lines.push(orderOf("caution", caution.join(" "), ready));
  if (zoned.danger.length) lines.push(orderOf("danger", keepOut(zoned.danger, endsBefore(zoned.danger, crowd))));
  if (drawn) lines.push(...DIAL.stray.map((line) => orderOf("", line)));
  one("#stand-told").replaceChildren(...lines);
}

const degrees = (east, north) => (Math.atan2(east, north) * 180) / Math.PI;
const compassOf = (turn) => DIAL.compass[Math.round((turn + 360) / 45) % 8];
const seenFrom = (fall) => ({ ...fall, away: Math.hypot(fall.east, fall.north), turn: degrees(fall.east, fall.north) });
const overPad = ({ away, radius }) => away < radius / 2;

// The worst that can kill, and the likeliest of what can on another side of the pad.
function deadlyAt(about) {
  const found = DIAL.cases.map((_, index) => ({ index, ...figuresAt(about, index) }))
    .filter((figures) => figures.graded && !figures.apart && figures.index !== DIAL.planned && gradeOf(figures, figures.index) === "danger")
    .map(seenFrom);
  if (!found.length) return [];
  const worst = found.reduce((a, b) => (b.graded > a.graded ? b : a));
  const likely = ({ index }) => likelyAt(about, DIAL.cases[index]);
  const round = ({ turn }) => Math.abs(((turn - worst.turn + 540) % 360) - 180);
  const other = found.filter((fall) => fall.away > DIAL.turns.over && !overPad(fall) && round(fall) > DIAL.turns.far);
  return [worst, ...other.sort((a, b) => likely(b) - likely(a)).slice(0, 1)];
}

// From where people look: the first crowd that has a left and a right. How far a direction is turned from the pad, to the right.
function turnedFrom(way) {
  const [, x, y] = DIAL.sight[0];
  return ((way - degrees(-x, -y) + 540) % 360) - 180;
}

// Which way from the pad a direction lies for them, as `Sight.hand` has it.
function handOf(way) {
  const turn = turnedFrom(way);
  if (Math.abs(turn) < DIAL.turns.aside) return "past";
  if (Math.abs(turn) > 180 - DIAL.turns.aside) return "toward";
  return turn > 0 ? "right" : "left";
}

// On which side of the pad a place is, as `Sight.side` has it.
function sideOf(east, north) {
  const [, x, y] = DIAL.sight[0];
  const [fallX, fallY] = [east - x, north - y];
  const away = Math.hypot(fallX, fallY);
  const turn = turnedFrom(degrees(fallX, fallY));
  const { over, near, ahead, far, behind } = DIAL.turns;
  if (away < over) return "over";
  if (Math.hypot(east, north) < near * Math.hypot(x, y)) return "at_pad";
  if (Math.abs(turn) < ahead) return away > Math.hypot(x, y) ? "beyond" : "before";
  if (Math.abs(turn) > behind) return "behind";
  return `${Math.abs(turn) > far ? "far_" : ""}${turn > 0 ? "right" : "left"}`;
}

// Which way to look, as `Watch.eyes` has it.
function eyesOn(fall) {
  const { about: round, mostly, mostly_side: mostlyAside, near_side: near, where } = DIAL.orders;
  const compass = compassOf(fall.turn);
  if (overPad(fall) && fall.away <= fall.radius / 8) return round;
  if (!DIAL.sight.length) return fill(overPad(fall) ? mostly : where, { compass });
  const hand = DIAL.sides[handOf(fall.turn)];
  if (overPad(fall)) return fill(mostlyAside, { compass, side: hand });
  const side = sideOf(fall.east, fall.north).replace("far_", "");
  return side === "at_pad" ? fill(near, { compass, side: hand }) : fill(DIAL.sides.next, { compass, side: DIAL.sides[side] });
}

// The second of a moment, as `Voice.clock` writes it.
function clock(second) {
  const whole = Math.floor(Math.max(0, second));
  return whole <= 120 ? `${number(whole)}\u00a0s` : `${Math.floor(whole / 60)}\u00a0min ${whole % 60}\u00a0s`;
}

function showEyes(about) {
  const falls = deadlyAt(about).map((fall) => ({ ...fall, from: fall.soonest - DIAL.call, when: DIAL.whens[DIAL.cases[fall.index]] }));
  const planned = DIAL.planned === null ? null : figuresAt(about, DIAL.planned);
  if (planned) falls.push({ ...seenFrom(planned), from: planned.soonest, when: DIAL.orders.well });
  falls.sort((a, b) => a.from - b.from);
  const lines = falls.map((fall) => fill(DIAL.orders.if, { when: fall.when[0].toLowerCase() + fall.when.slice(1), look: eyesOn(fall), time: clock(fall.from) }));
  // Of a wind in which nobody launches it would read as if somebody did.
  const { pad, pad_later: later, from } = DIAL.orders;
  const where = DIAL.sight.map(([area, x, y]) => ` ${fill(from, { area, compass: compassOf(degrees(-x, -y)) })}`).join(""); // whose left and right it is
  const begins = (document.body.className.startsWith("go") ? pad : later) + where;
  one("#look-told").replaceChildren(...[begins, ...lines].flatMap((line) => [orderOf("", line), " "]));
}
