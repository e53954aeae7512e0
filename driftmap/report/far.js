// People and failing ground beyond the edge of a map: an arrow there, with name and distance; the nearest first.

// Clear of the names along the edges.
function inSight(place) {
  const [{ x, y }, size] = [chart.latLngToContainerPoint(place), chart.getSize()];
  return x >= 4 && y >= (edges ? 20 : 4) && x <= size.x - (edges ? 26 : 4) && y <= size.y - 4;
}

// `far`: such ground, each with how far `away` its nearest edge is from the pad [m] and which way its middle [deg].
function placeFar(far) {
  const size = chart.getSize();
  const taken = all(".leaflet-control, #north, .map .label:not(.off), .map path.area:is(.people, .keep)").map((box) => box.getBoundingClientRect()).concat(padBox(14));
  const { left, top } = chart.getContainer().getBoundingClientRect();
  one("#far").replaceChildren();
  for (const { name, number, kind, outcome, rings, at: middle, away } of far) {
    if ([middle, ...(kind === "people" ? rings.flat(2) : [])].some(inSight)) continue;
    const point = chart.latLngToContainerPoint(middle);
    const chip = document.createElement("span");
    const arrow = document.createElement("i");
    arrow.style.transform = `rotate(${away.bearing - 90}deg)`; // from the pad, as its words tell
    const told = document.createElement("bdi");
    const words = { name: `\u2068${name}\u2069`, distance: length(away.distance, 1), compass: pointOf(away.bearing) };
    told.textContent = `${number ? `${number} ` : ""}${say("far", words)}`;
    chip.append(arrow, told);
    one("#far").append(chip);
    settleFar(chip, { point, calm: kind !== "people" || outcome === "pass" }, size, taken, left, top);
  }
}

function settleFar(chip, { point, calm }, size, taken, left, top) {
  const { width, height } = chip.getBoundingClientRect();
  const x = clamp(point.x - width / 2, 4, size.x - width - 30);
  const y = clamp(point.y - height / 2, 24, size.y - height - 4);
  const steps = [...Array(25).keys()].map((i) => i - 12);
  const boxOf = ([across, down]) => boxAt(left + across, top + down, { width, height });
  const free = steps.flatMap((i) => steps.map((j) => [clamp(x + 40 * j, 4, size.x - width - 30), clamp(y + i * (height + 3), 24, size.y - height - 4)]))
    .sort((a, b) => Math.hypot(a[0] - x, a[1] - y) - Math.hypot(b[0] - x, b[1] - y)).filter((spot) => !overlaps(boxOf(spot), taken));
  // Along the edge it lies beyond: within the map it would read as the name of what is there.
  const beyond = [[0, x, point.x - width / 2], [1, y, point.y - height / 2]].filter(([, at, wanted]) => at !== wanted);
  const along = free.filter((spot) => !beyond.length || beyond.some(([axis, at]) => spot[axis] === at));
  const danger = zonePolygons("danger");
  // Nobody far off who is clear, and no ground, hides where nobody may stand; the words above the map name them.
  const spot = along.find((one) => lies(boxOf(one), danger) === "off") ?? (calm ? undefined : along[0] ?? free[0]);
  const at = spot && boxOf(spot);
  if (!at) return chip.remove();
  Object.assign(chip.style, { left: `${at.left - left}px`, top: `${at.top - top}px` });
  taken.push(at);
}
