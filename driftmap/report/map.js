// The switches and views of the page. DRIFTMAP holds what is drawn on `chart`, the map.
const on = (box) => one(box).checked;
const lines = (places, className) => L.polyline(places, { className, pane: "grid", interactive: false });

// Danger over caution: where both fall, the worse one counts.
const zones = DRIFTMAP.zones.map(({ kind, rings }) => polygon(rings, `zone ${kind}`, "zones")).reverse();
const zoneWords = L.layerGroup(DRIFTMAP.zones.filter(({ at }) => at).map(({ kind, at, lines: [name, more] }) => tag(at, `zone ${kind}`, -99, { mark: say(kind), name, more })));
// Where who must move is sent to, before their numbers where there is room; where nobody must, after all numbers.
const clearRank = DRIFTMAP.areas.every(({ go }) => go === undefined) ? 30 : innerWidth < 600 ? 9 : -98;
for (const { at, go } of DRIFTMAP.clear) zoneWords.addLayer(tag(at, "zone clear", clearRank, { mark: say("clear"), along: go }));

function drawZones() {
  for (const zone of zones) {
    zone.addTo(chart);
    polygon(zone.getLatLngs(), zone.options.className.replace("zone", "hatch"), "zones").addTo(chart);
  }
}

// Each piece as two layers, its outermost line with its label and the lines within.
const pieces = DRIFTMAP.pieces.map(({ mark, color, dash, works, name, at, lines: drawn, shares }, index) => {
  const [outer, ...inner] = drawn.map((rings, i) => polygon(rings, `contour case-${color} dash-${dash} in-${shares[i]}${works ? " filled" : ""}`, "contours"));
  const label = tag(at, `piece case-${color}`, 30 + index / 100, { mark, name });
  return { mark, color, works, outer: L.layerGroup([outer, label]), inner: L.layerGroup(inner) };
});

const grid = lines(DRIFTMAP.grid, "grid");
const rings = L.layerGroup([
  lines(DRIFTMAP.rings.map(({ places }) => places), "ring"),
  ...DRIFTMAP.rings.map(({ name, at, rank }) => tag(at, "ring", rank, { more: name })),
]);

function put(drawn, shown) {
  if (shown) drawn.addTo(chart);
  else drawn.remove();
}

const boxOf = (piece) => one(`input[data-piece="${piece.mark}"]`);

const byCause = () => one("#by-cause").getAttribute("aria-pressed") === "true";

function apply() {
  const causes = byCause();
  document.body.classList.toggle("by-cause", causes);
  one("#causes").hidden = !causes;
  put(zoneWords, !causes);
  for (const piece of pieces) {
    const shown = causes && boxOf(piece).checked;
    put(piece.outer, shown);
    put(piece.inner, shown && (piece.works || on("#show-inner")));
  }
  for (const whole of all("input.whole")) {
    const parts = all(`input[data-piece][data-case="${whole.dataset.case}"]`);
    const drawn = parts.filter((box) => box.checked).length;
    whole.checked = drawn > 0;
    whole.indeterminate = drawn > 0 && drawn < parts.length;
  }
  put(grid, on("#show-grid"));
  put(rings, on("#show-rings"));
  points.show(on("#show-points"));
  if (DRIFTMAP.picture) {
    chart.getPane("picture").hidden = !on("#show-picture");
    chart.getContainer().classList.toggle("pictured", on("#show-picture"));
  }
  showEdges(on("#show-grid"));
  placeAll();
}

// What the placing of labels keeps to.
const zoneDrawn = (kind) => zones.filter((drawn) => drawn.options.className === `zone ${kind}`);

// The word of a zone that runs out of sight, at whichever edge, points there; where its reach is out of sight it says how far, by the
// figure that stands above the map.
function tellReach() {
  for (const { kind, at, reach: ends } of DRIFTMAP.zones) {
    const word = at && one(`.label.zone.${kind} b`);
    if (!word) continue;
    const beyond = zoneDrawn(kind).flatMap((zone) => zone.getLatLngs().flat(2)).filter((end) => !inSight(end)).map((end) => apart(L.latLng(DRIFTMAP.pad), end));
    const end = ends.find((one) => !inSight(one.at));
    const away = end ?? beyond.reduce((a, b) => (b.distance > (a?.distance ?? 0) ? b : a), null);
    const reach = document.createElement("span");
    reach.className = "reach";
    const told = document.createElement("span");
    if (end) told.append(say("goes_on", { name: "", distance: end.told }));
    if (away) reach.append(told, " ", arrowTo(away.bearing));
    word.replaceChildren(say(kind), ...(away ? [reach] : []));
  }
}

function placeAll() {
  placeCorner();
  tellReach();
  placeLabels();
  placeFar(far);
}

function view(name, options) {
  chart.fitBounds(DRIFTMAP.views[name], { padding: [26, 26], animate: false, ...options });
}

function tapArea(index) {
  return (event) => {
    if (tools.measuring()) return;
    const figures = one(`#area-${index}`).cloneNode(true);
    figures.removeAttribute("id");
    const room = {
      maxHeight: 280,
      maxWidth: Math.min(340, chart.getSize().x - 130),
      autoPanPaddingTopLeft: [8, 24], // clear of the edges' names
      autoPanPaddingBottomRight: [30, 8],
    };
    L.popup(room).setLatLng(event.latlng).setContent(figures).openOn(chart);
  };
}

// A finger is wide: the nearest ground within 22 px counts as hit, people before the rest.
function nearArea(place) {
  const at = chart.latLngToLayerPoint(place);
  let best = null;
  areas.forEach((area, index) => {
    const edge = area.closestLayerPoint(at);
    const away = holds(area, place) ? 0 : edge?.distance ?? Infinity;
    const people = area.options.className.includes("people");
    if (away > (people ? 22 : 11)) return;
    if (!best || people > best.people || (people === best.people && away < best.away)) best = { index, away, people };
  });
  return best;
}

// What a tap, or Enter at the cross-hair, says.
function read(latlng) {
  tools.tap(latlng);
  const near = tools.measuring() ? null : nearArea(latlng);
  if (near) tapArea(near.index)({ latlng });
}

// The keyboard moves the map under a cross-hair in its middle and reads what lies there.
function startKeyboard() {
  const frame = chart.getContainer();
  const cross = (shown) => one("#cross").classList.toggle("on", shown);
  frame.addEventListener("focus", () => cross(frame.matches(":focus-visible")));
  frame.addEventListener("blur", () => cross(false));
  frame.addEventListener("keydown", (event) => {
    if (event.target !== frame) return;
    if (event.key in ARROWS || event.key === "Enter") cross(true);
    if (event.key !== "Enter") return;
    event.preventDefault();
    read(chart.getCenter());
  });
}

// What is told of beyond the edge, the nearest to the pad first.
let far = [];

function findFar() {
  return DRIFTMAP.areas.filter(({ kind, outcome }) => kind === "people" || outcome === "fail").sort((a, b) => a.away.distance - b.away.distance);
}

function showEdges(shown) {
  edges = shown;
  placeEdges();
}

// Write the names along an edge: every one, or every second, fifth … so that none touch.
function fillEdge(edge, names, places, gap, end, style) {
  const apart = Math.abs(places[places.length - 1] - places[0]) / Math.max(1, places.length - 1) || gap;
  const step = [1, 2, 5, 10, 100].find((n) => n * apart >= gap) ?? 100;
  const written = [];
  names.forEach((name, i) => {
    if (i % step || places[i] < 10 || places[i] > end - 10) return;
    const tag = document.createElement("span");
    tag.textContent = name;
    tag.style[style] = `${places[i]}px`;
    written.push(tag);
  });
  edge.replaceChildren(...(edges ? written : []));
}

function placeEdges() {
  const { letters, longitude, latitude } = DRIFTMAP.squares;
  const [lat, lon] = DRIFTMAP.pad;
  const x = longitude.map((l) => chart.latLngToContainerPoint([lat, l]).x);
  const y = latitude.map((l) => chart.latLngToContainerPoint([l, lon]).y);
  fillEdge(one("#columns"), [...letters], x, 18, chart.getSize().x - 24, "left");
  fillEdge(one("#rows"), latitude.map((_, i) => i + 1), y, 20, chart.getSize().y, "top");
}

function start() {
  one(".frame").style.setProperty("--above", `${one("#map").getBoundingClientRect().top + scrollY}px`);
  chart.invalidateSize({ animate: false });
  startControls(chart, DRIFTMAP.units);
  far = findFar();
  drawGround(DRIFTMAP, true);
  drawZones();
  for (const area of areas) {
    area.on("click", (event) => {
      L.DomEvent.stopPropagation(event);
      read(event.latlng);
    });
  }
  if (DRIFTMAP.picture) {
    L.imageOverlay(DRIFTMAP.picture.data, DRIFTMAP.picture.bounds, { pane: "picture", className: "own-ground", alt: "" }).addTo(chart);
  }
  view("opening");
  names.addTo(chart);
  for (const label of all(".label[data-area]")) {
    label.addEventListener("click", (event) => {
      event.stopPropagation();
      tapArea(Number(label.dataset.area))({ latlng: chart.mouseEventToLatLng(event) });
    });
  }
  one("#by-cause").addEventListener("click", () => {
    one("#by-cause").setAttribute("aria-pressed", String(!byCause()));
    apply();
  });
  for (const whole of all("input.whole")) {
    whole.addEventListener("change", () => {
      for (const box of all(`input[data-piece][data-case="${whole.dataset.case}"]`)) box.checked = whole.checked;
      apply();
    });
  }
  for (const box of all("input:not(.whole)")) box.addEventListener("change", apply);
  for (const button of all("button[data-view]")) button.addEventListener("click", () => view(button.dataset.view));
  chart.on("click", (event) => read(event.latlng));
  startKeyboard();
  chart.on("move zoom resize", placeEdges);
  chart.on("zoomend moveend resize", placeAll);
  apply();
}

// On paper the map takes what the rest of the page leaves: the page is laid out here as it will be printed,
// measured, and put back as it was.
const SHEET = 970; // pixels of height inside the margins of US Letter, the shorter of the two papers
const LEAST_MAP = 170;
let before = null;

function printRules() {
  return [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules]).filter((rule) => rule instanceof CSSMediaRule && /^(print|screen)/.test(rule.media.mediaText));
}

function toPaper() {
  if (before) return;
  before = { at: [chart.getCenter(), chart.getZoom()], rules: printRules().map((rule) => [rule, rule.media.mediaText]) };
  for (const [rule, media] of before.rules) rule.media.mediaText = media === "print" ? "all" : "not all";
  const map = chart.getContainer();
  map.style.height = `${LEAST_MAP}px`;
  const rest = () => SHEET - document.body.getBoundingClientRect().height;
  // Too much for the page: fewer checks, then fewer words; never the verdict, the people or the cautions.
  for (const tight of ["tight", "tighter"]) if (rest() < 0) document.body.classList.add(tight);
  map.style.height = `${LEAST_MAP + Math.max(0, rest())}px`;
  chart.invalidateSize({ animate: false });
  view("opening", { padding: [8, 8] });
  placeAll();
}

function fromPaper() {
  if (!before) return;
  for (const [rule, media] of before.rules) rule.media.mediaText = media;
  chart.getContainer().style.height = "";
  document.body.classList.remove("tight", "tighter");
  chart.invalidateSize({ animate: false });
  chart.setView(...before.at, { animate: false });
  before = null;
}
window.addEventListener("beforeprint", toPaper);
window.addEventListener("afterprint", fromPaper);
window.addEventListener("load", start);
