// The ground, closer and farther, a scale, and the keys: alike on every map. Nothing glides: a key is never lost on
// a map that still moves, and nobody waits.

const SIGNS = { pass: "", warn: "! ", fail: "✕ " };
const marked = (outcome) => (outcome === "pass" ? "" : ` ${outcome}`);
const polygon = (rings, className, pane = "ground", interactive = false) => L.polygon(rings, { className, pane, interactive });
const areas = [];
const names = L.layerGroup();

// The ground, people last: a road is two lines, as one alone would look like an edge; a railway bears ties, a power line masts.
function drawGround(ground, tapped) {
  for (const { kind, rings, at, name, outcome, rank } of ground.edges) {
    const along = polygon(rings, kind).addTo(chart);
    tag(at, kind + marked(outcome), rank, { more: name, sign: SIGNS[outcome], along }).addTo(names);
  }
  const crowd = ({ kind }) => Number(kind === "people");
  const order = [...ground.areas.entries()].sort(([, a], [, b]) => crowd(a) - crowd(b));
  for (const [index, { kind, rings, beads, at, name, people, number, outcome, rank, go }] of order) {
    areas[index] = polygon(rings, `area ${kind}`, "overlayPane", tapped).addTo(chart);
    if (kind === "road") polygon(rings, "lane", "overlayPane").addTo(chart);
    if (beads.length) L.polyline(beads, { className: `beads ${kind}`, interactive: false }).addTo(chart);
    const sign = number && outcome === "warn" ? "" : SIGNS[outcome]; // a dashed edge tells of people
    const told = { mark: number ?? undefined, name, more: people ? ` · ${people}` : undefined, sign, area: index, go };
    tag(at, `area ${kind}${marked(outcome)}`, rank, told).addTo(names);
  }
  const pad = L.divIcon({ html: one("#pad-picture").content.firstElementChild, iconSize: [0, 0], className: "tag" });
  L.marker(ground.pad, { icon: pad, interactive: false, keyboard: false, zIndexOffset: -1000 }).addTo(names);
}

const STRIDE = 80; // pixels for a press of an arrow key

function startControls(map, units) {
  map.panBy = (by) => L.Map.prototype.panBy.call(map, by, { animate: false });
  // Leaflet hears keys only while the window has the focus, and drops those pressed during a glide.
  map.keyboard.disable();
  map.getContainer().addEventListener("keydown", (event) => steer(map, event));
  for (const [button, step] of [["#nearer", 0.5], ["#farther", -0.5]]) one(button).addEventListener("click", () => map.setZoom(map.getZoom() + step, { animate: false }));
  startScale(map, units);
}

const ARROWS = { ArrowLeft: [-STRIDE, 0], ArrowRight: [STRIDE, 0], ArrowUp: [0, -STRIDE], ArrowDown: [0, STRIDE] };
const ZOOMS = { "+": 0.5, "=": 0.5, "-": -0.5, _: -0.5 };

function steer(map, event) {
  if (event.altKey || event.ctrlKey || event.metaKey || event.target !== map.getContainer()) return;
  if (event.key in ARROWS) map.panBy(ARROWS[event.key].map((step) => step * (event.shiftKey ? 3 : 1)));
  else if (event.key in ZOOMS) map.setZoom(map.getZoom() + ZOOMS[event.key], { animate: false });
  else if (event.key === "Escape") map.closePopup();
  else return;
  event.preventDefault();
}

// A bar in two halves, its whole length a round one.
function startScale(map, units) {
  const [size, unit] = units === "us" ? [FOOT, "ft"] : [1, "m"];
  const draw = () => {
    const middle = map.getSize().divideBy(2);
    const [a, b] = [-50, 50].map((x) => map.containerPointToLatLng(middle.add([x, 0])));
    const each = map.distance(a, b) / 100 / size; // units a pixel
    if (!(each > 0)) return;
    const most = 120 * each;
    const power = 10 ** Math.floor(Math.log10(most));
    const long = [5, 2, 1].find((n) => n * power <= most) * power;
    one("#scale").style.setProperty("--long", `${long / each}px`);
    one("#scale").textContent = `${number(long, 3)}\u00a0${unit}`;
  };
  map.on("moveend zoomend resize", draw);
  map.whenReady(draw);
}
