// Where the plates of people's places stand: of all places free about a ground the one that costs least, nearest first.
// Their numbers are those that the head of the page names them by.

const FEW = 6; // people's places that all have a plate of their own, with a tail however long
const FAR = [...GAPS, 90, 120, 160, 220];
// What it costs people's plate to stand so, in pixels farther off.
const COST = { number: 25, hides: 300, own: 250, danger: 400, zone: 80, edge: 40, over: 40, keep: 20, rail: 20, outside: 30, within: 15, toDanger: 70, aside: 200, order: 45, blocked: 450, strikes: 300, grazes: 50, long: 100 };
const STROKE = 4; // a plate as near to a zone stands on its edge
const MARGIN = 5; // of its own ground, left in sight all about a plate
const SEEN = 10; // as much of a tail is seen
const ARROW = 12; // from the left of a plate to its arrow
const SHORT = 30; // a tail as short costs its length, each pixel more three times that
const BEHIND = 8; // as much farther out stands the plate of ground that is farther
const BAD = 250; // from so much on, a plate seeks other room

// Whether a box lies on the same side of the pad as people's ground, of any other it need not; a number of a few in their
// order too: before no nearer ground and behind no farther one.
function inOrder(box, ground, { pad, grounds, hosts, groundOf }, ordered) {
  if (!grounds.includes(ground)) return true;
  const at = [(pad.left + pad.right) / 2, (pad.top + pad.bottom) / 2];
  const middle = (points) => at.map((own, axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length - own);
  const [east, south] = middle(ground.flat(2));
  const out = ([x, y]) => (x * east + y * south) / (Math.hypot(east, south) || 1);
  const outOf = ({ left, right, top, bottom }) => out(middle([[left, top], [right, bottom]]));
  const along = outOf(box);
  if (along < 0 || !ordered || grounds.length > FEW) return along >= 0;
  const away = (most, other) => most(...other.flat(2).map(([u, v]) => Math.hypot(u - at[0], v - at[1])));
  const own = away(Math.min, ground);
  // Of the same crowd, those set before it too: side by side they would be read from left to right.
  const apart = hosts.every((host) => {
    const gap = own - away(Math.min, groundOf(host));
    const way = middle(groundOf(host).flat(2));
    return Math.abs(gap) < 1 || out(way) < 0.8 * Math.hypot(...way) || (along - outOf(host.box)) * Math.sign(gap) >= BEHIND;
  });
  return apart && grounds.every((other) => other === ground || (away(Math.min, other) < own ? along >= own : along <= away(Math.max, other)));
}

// Whether a plate's arrow [deg], at its left, stands off danger and points into it.
function leadsInto(box, go, danger) {
  const [east, south] = [Math.sin((go * Math.PI) / 180), -Math.cos((go * Math.PI) / 180)];
  const meets = (far) => lies(boxAt(box.left + ARROW + far * east, (box.top + box.bottom) / 2 + far * south, { width: 1, height: 1 }), danger) !== "off";
  return go !== undefined && !meets(0) && [15, 30, 50, 70, 90, 120, 150].some(meets);
}

// How bad it is for people's plate to stand at a box: how far off its ground, and what speaks against it.
function costAt(box, { ground, zone, go }, crowd) {
  const { way, long } = wayTo(ground, box);
  const [inDanger, inCaution] = [crowd.danger, crowd.caution].map((each) => lies(box, each) !== "off");
  const tail = lies(box, ground) === "off";
  const wide = grown(box, STROKE);
  const against = {
    hides: crowd.people.some((other) => other !== ground && lies(box, other) !== "off"),
    danger: inDanger && zone !== crowd.danger,
    within: inDanger,
    rail: overlaps(box, crowd.words),
    zone: inCaution && !zone,
    edge: [crowd.danger, crowd.caution].some((each) => lies(box, each) === "off" && lies(wide, each) !== "off"),
    own: lies(box, ground) !== "off" && lies(grown(box, MARGIN), ground) !== "in",
    over: [crowd.danger, crowd.caution].some((each) => lies(box, each) === "over"),
    keep: crowd.keep.some((other) => lies(box, other) !== "off"),
    outside: zone && lies(box, zone) !== "in",
    toDanger: leadsInto(box, go, crowd.danger),
    aside: !inOrder(box, ground, crowd, false),
    order: !inOrder(box, ground, crowd, true),
    blocked: tail && blocked(way, box, ground, crowd, false),
    strikes: tail && strikes(way, box, BASES.at(-1), crowd.plates),
    grazes: tail && blocked(way, box, ground, crowd, true),
    long: long > LONGEST,
  };
  return Object.entries(against).reduce((sum, [what, is]) => sum + (is ? COST[what] : 0), long + 2 * Math.max(0, long - SHORT) + 3 * Math.max(0, tail ? SEEN - long : 0));
}

// People are never dropped: of all places free their plate takes the one that costs least.
function placePeople(label, crowd) {
  const measured = crowd.at.get(label);
  const ground = crowd.groundOf(label) ?? pointOn(measured);
  // By its word: what the page calls clear has no zone, though its edge may touch one as it is drawn.
  const zone = / (warn|fail)/.test(label.className) ? [crowd.danger, crowd.caution].find((each) => touches(ground, each)) : undefined;
  const few = crowd.people.length <= FEW;
  const bare = { ...crowd, people: [], taken: crowd.taken.filter((box) => !crowd.words.includes(box)) };
  const numbered = crowd.numbers || crowd.first.includes(label);
  let best = { cost: Infinity };
  for (const short of numbered ? [true] : [false, true]) {
    const size = short ? measured.brief : measured.full;
    const more = short && !numbered ? COST.number : 0;
    const consider = (box) => {
      const cost = clear(box, null, bare) ? more + costAt(box, { ground, zone, go: label.go }, crowd) : Infinity;
      if (cost < best.cost) best = { box, short, cost };
    };
    const on = about(measured, size);
    if (short || lies(on, ground) === "in") consider(on);
    for (const gap of few ? FAR : GAPS) {
      if (more + gap >= best.cost) break;
      for (const box of placesAbout(ground, size, gap)) if (lies(box, ground) === "off") consider(box);
    }
  }
  if (few) press(label, crowd, Math.min(best.cost, LOST));
  if (best.cost >= BAD && (crowd.many || !best.box) && crowd.hosts.length) return false; // counted on a plate
  return setAt(label, best.box ? best : { box: about(measured, measured.brief), short: true }, crowd, ground); // rather over something than gone
}

// Where there is no room even for a number, a place is counted on the plate nearest to it, which is no better off.
function gather(label, crowd, gathered) {
  const { hosts, at } = crowd;
  const away = (host) => Math.hypot(at.get(host).left - at.get(label).left, at.get(host).top - at.get(label).top);
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

// Numbers that stand alone get their names toward either side, where that hides nothing, lies to the zones as the number does and
// is tied to its ground no worse; on a narrow map all of them or none, for one that alone has a name reads as another kind of place.
function addNames(people, crowd) {
  const named = people.filter((label) => label.classList.contains("short") && !label.classList.contains("off")).map((label) => {
    const { full } = crowd.at.get(label);
    const { box: own, leads } = label;
    const ground = crowd.groundOf(label);
    const seen = { ...crowd, plates: crowd.plates.filter((box) => box !== own), taken: crowd.taken.filter((box) => !(box.left === own.left && box.top === own.top)), leads: crowd.leads.filter((lead) => !leads.includes(lead)) };
    const top = (own.top + own.bottom - full.height) / 2;
    const alike = (box) => [ground, crowd.danger, crowd.caution].every((drawn) => lies(box, drawn) === lies(own, drawn));
    const tied = (box) => !leads.length || !blocked(wayTo(ground, box).way, box, ground, seen, false);
    const box = [own.left, own.right - full.width].map((left) => boxAt(left, top, full)).find((at) => alike(at) && clear(at, ground, seen) && tied(at));
    if (box) { // the names that follow keep clear of it and of its tail
      crowd.taken.push(box);
      crowd.plates.push(box);
      if (leads.length) crowd.leads.push(wayTo(ground, box).way);
    }
    return { label, box };
  });
  if (crowd.numbers && named.some(({ box }) => !box)) return;
  for (const { label, box } of named) if (box) setAt(label, { box }, crowd, crowd.groundOf(label));
}

// No number is nameless: of those that stand alone, the names in a line below the map. Dozens stand in the list.
function tellNumbers(people) {
  const shown = (label) => label.classList.contains("short") && (!label.classList.contains("off") || label.classList.contains("joined"));
  const number = (label) => Number(label.querySelector("b").textContent);
  const alone = people.length > MANY ? [] : people.filter(shown).sort((a, b) => number(a) - number(b));
  const line = one("#numbers");
  if (!line) return;
  line.hidden = !alone.length;
  line.replaceChildren(...alone.map((label) => {
    const told = document.createElement("span");
    told.className = label.className.replace("label", "").replace(/short|off|joined/g, "");
    told.append(...[...label.childNodes].filter((part) => part.className !== "and").map((part) => part.cloneNode(true)));
    return told;
  }));
}
