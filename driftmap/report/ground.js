// The site in metres about the pad, and the lines of every piece on it.

const DRIFTMAP = DIAL; // what the placing of labels asks for
const chart = L.map("chart-map", {
  crs: L.CRS.Simple, zoomSnap: 0, zoomDelta: 0.5, minZoom: -8, maxZoom: 2, attributionControl: false, zoomControl: false, zoomAnimation: false, fadeAnimation: false,
});
const on = () => true;
const OUTLINES = [];
const zoneDrawn = (kind) => OUTLINES.filter((drawn) => drawn.options.className === `edge ${kind}`);
const place = ([east, north]) => [north, east];

function startGround() {
  for (const [name, height] of [["picture", 210], ["zones", 330], ["ground", 340], ["contours", 360]]) chart.createPane(name).style.zIndex = height;
  chart.setView([0, 0], -3);
  startControls(chart, DIAL.units);
  if (DIAL.picture) {
    L.imageOverlay(DIAL.picture.data, DIAL.picture.bounds, { pane: "picture", className: "own-ground", alt: "" }).addTo(chart);
    chart.getContainer().classList.add("pictured");
  }
  drawGround(DIAL, false);
  names.addTo(chart);
  chart.on("zoomend moveend resize", placeAll);
  for (const button of all("button[data-view]")) button.addEventListener("click", () => frame(button.dataset.view));
}

function placeAll() {
  placeCorner(ROOM);
  placeLabels();
  placeFar(far);
}

const byCause = () => one("#by-cause").getAttribute("aria-pressed") === "true";

function gradeOf(figures, index) {
  if (figures.graded >= DIAL.kills) return "danger";
  return figures.graded >= DIAL.hurts || DIAL.rocket[index] ? "caution" : "";
}

// Two zones, of the cases that zones of the map hold: the ground of all that can kill or maim, and that of all that can hurt.
function zonesAt(about) {
  const found = { caution: [], danger: [] };
  DIAL.cases.forEach((_, index) => {
    const figures = figuresAt(about, index);
    const kind = figures && !figures.apart ? gradeOf(figures, index) : "";
    if (kind) found[kind].push({ index, figures, ring: lineAt(about, index, 1).map(place) });
  });
  // Caution that danger covers whole is no zone of its own.
  const covered = ({ ring }) => found.danger.some((worse) => ring.every((corner) => within(worse.ring, corner)));
  if (found.caution.every(covered)) found.caution = [];
  return found;
}

// When the first of all that do such harm may be down, those that no zone holds too.
function soonestOf(about, kind) {
  const all = DIAL.cases.map((_, index) => figuresAt(about, index));
  return Math.min(...all.filter((figures, index) => figures && gradeOf(figures, index) === kind).map((figures) => figures.soonest));
}

// Danger over caution. Rings of one path join where they overlap; the fill hides the inner halves of their strokes.
function drawZones(about) {
  for (const [kind, pieces] of Object.entries(zonesAt(about))) {
    if (!pieces.length) continue;
    for (const part of ["edge", "fill", "hatch"]) {
      const rings = pieces.map(({ ring }) => [ring]);
      OUTLINES.push(L.polygon(rings, { className: `${part} ${kind}`, pane: "zones", interactive: false, fillRule: "nonzero" }).addTo(chart));
    }
    if (byCause()) continue;
    const planned = kind === "caution" && pieces.find(({ index }) => DIAL.cases[index] === 0 && DIAL.rocket[index]);
    const hardest = planned || pieces.reduce((a, b) => (b.figures.graded > a.figures.graded ? b : a));
    const at = L.latLngBounds(hardest.ring).getCenter();
    const words = { mark: say(kind), name: say("up_to", { speed: pace(hardest.figures.speed) }), more: say("later", { time: number(planned ? hardest.figures.soonest : soonestOf(about, kind)) }) };
    OUTLINES.push(tag(at, `zone ${kind}`, kind === "danger" ? -99 : -98, words).addTo(chart));
  }
}

// Whether a ring holds a point: an odd number of its edges lies to one side.
function within(ring, [y, x]) {
  return ring.reduce((odd, [ay, ax], i) => {
    const [by, bx] = ring[(i + 1) % ring.length];
    return ay > y !== by > y && x < ax + ((bx - ax) * (y - ay)) / (by - ay) ? !odd : odd;
  }, false);
}

// A speed for people who know how fast a car goes.
function pace(speed) {
  const [size, unit] = DIAL.units === "us" ? [0.44704, "mph"] : [1 / 3.6, "km/h"];
  return `${number(Math.ceil(speed / size - ON))}\u00a0${unit}`;
}

// Draw the zones, or the lines of every piece that is switched on.
function drawLines(about) {
  for (const outline of OUTLINES.splice(0)) outline.remove();
  document.body.classList.toggle("by-cause", byCause());
  one("#causes").hidden = !byCause();
  drawZones(about);
  if (dragging) return undefined;
  if (!byCause()) return placeAll();
  DIAL.cases.forEach((number, index) => {
    if (!one(`input[data-piece="${index}"]`).checked) return;
    const box = one(`label[data-look="${index}"]`).dataset;
    for (const [line, name] of [[1, "in-99"], [0, "in-90"]]) {
      if (line === 0 && number > 0 && !one("#show-inner").checked) continue;
      const ring = lineAt(about, index, line)?.map(place);
      if (!ring) continue;
      const classes = `contour case-${box.color} dash-${box.dash} ${name}${number === 0 ? " filled" : ""}`;
      OUTLINES.push(L.polygon(ring, { className: classes, pane: "contours", interactive: false }).addTo(chart));
      if (line === 1) {
        const far = ring.reduce((a, b) => (Math.hypot(...b) > Math.hypot(...a) ? b : a));
        OUTLINES.push(tag(far, `piece case-${box.color}`, 20 + index, { mark: DIAL.marks[index] }).addTo(chart));
      }
    }
  });
  return placeAll();
}

// Whether ground, by its polygons, reaches into a ring.
function reaches(polygons, ring) {
  const sides = (loop) => loop.map((corner, i) => [...corner, ...loop[(i + 1) % loop.length]]);
  return polygons.some(([edge]) => edge.some((corner) => within(ring, corner)) || ring.some((corner) => within(edge, corner))
    || sides(edge).some((one) => sides(ring).some((other) => crosses(one, other))));
}

// The places of people, of each its zone and the worst outcome of the checks that speak of it in these winds. What reaches
// into a zone never looks clear of it, danger is no place to stand, and who stands in caution moves where others in it must.
function crowdAt(about) {
  const worst = new Map();
  const mark = (at, outcome) => worst.set(at, Math.max(outcome, worst.get(at) ?? 0));
  for (const { outcome, people } of about.length ? reasonsAt(about) : []) people.forEach((at) => mark(at, outcome));
  const zoned = zonesAt(about);
  const crowd = DIAL.areas.filter(({ kind }) => kind === "people").map(({ name, number, rings, away, at: middle }, at) => {
    const kind = ["danger", "caution"].find((grade) => zoned[grade].some(({ ring }) => reaches(rings, ring)));
    if (kind) mark(at, kind === "danger" ? 2 : 1);
    return { name, number, rings, away, at: middle, kind, outcome: worst.get(at) };
  });
  const mild = crowd.filter(({ kind }) => kind === "caution");
  if (mild.some(({ outcome }) => outcome === 2)) mild.forEach((place) => Object.assign(place, { outcome: 2 }));
  return { zoned, crowd };
}

let far = []; // the places of people, the nearest to the pad first

function findFar(crowd) {
  return crowd.map((place) => ({ ...place, kind: "people", outcome: place.outcome ? "fail" : "pass" }))
    .sort((a, b) => a.away.distance - b.away.distance);
}

// Mark them on the map and in the list, say who is to do what, and point whither on the map.
function showCrowd(about) {
  const { zoned, crowd } = crowdAt(about);
  const sent = overOf(crowd).map((place) => ({ ...place, ...whither(place, zoned) }));
  far = findFar(crowd);
  if (knownAt(about)) {
    showOrders(zoned, crowd, sent);
    showEyes(about);
  }
  all(".map .label.people").forEach((label, at) => {
    label.go = sent.find(({ number }) => number === crowd[at].number)?.go;
    one(".whither", label)?.remove();
    if (label.go !== undefined) label.prepend(arrowTo(label.go));
  });
  for (const row of [all(".map .label.people"), all(".people-list li")]) {
    row.forEach((shown, at) => ["warn", "fail"].forEach((word, i) => shown.classList.toggle(word, crowd[at].outcome === i + 1)));
  }
}

// Point the arrow in the corner where the wind blows to; none while it is calm or not set.
function drawBlow(wind) {
  one("#blows").hidden = !wind?.speed;
  one("#blows path").setAttribute("transform", `rotate(${(wind?.from ?? 0) + 180})`);
  one("#blows span").textContent = wind ? `${number(wind.speed, 2)}\u00a0${DIAL.speed.unit}` : "";
}

// Bring the lines back into sight where they have left it.
function follow() {
  const seen = chart.getBounds();
  if (OUTLINES.some((outline) => outline.getBounds && !seen.contains(outline.getBounds()))) frame("flight");
}

const NEAR_CROWD = 1.5; // of the way to the nearest place of people: those farther off make the rest small

// Frame what is drawn with the pad and the crowd, or the whole site; who is far off and clear has an arrow at the edge.
function frame(view) {
  const bounds = L.latLngBounds([[-60, -60], [60, 60]]);
  const whole = view === "everything";
  const near = NEAR_CROWD * far[0]?.away.distance;
  const crowd = far.filter(({ outcome, away }) => outcome === "fail" || away.distance <= near);
  for (const { rings } of whole ? [...DIAL.edges, ...DIAL.areas] : crowd) bounds.extend(rings.flat(2));
  for (const outline of OUTLINES) if (outline.getBounds) bounds.extend(outline.getBounds());
  chart.fitBounds(bounds, { animate: false, padding: [20, 20] });
}
