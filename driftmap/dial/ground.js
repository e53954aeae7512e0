// The site in metres about the pad, and the lines of every piece on it.

const DRIFTMAP = { pad: [0, 0] }; // what the placing of labels asks for
const chart = L.map("chart-map", {
  crs: L.CRS.Simple, zoomSnap: 0, zoomDelta: 0.5, minZoom: -8, maxZoom: 2, attributionControl: false, zoomAnimation: false,
});
const on = () => true;
const OUTLINES = [];

const place = ([east, north]) => [north, east];
const places = (rings) => rings.map((ring) => ring.map(place));

// A label whose text comes from a file is set as text, never read as HTML.
function tag(at, classes, rank, { name, more, mark }) {
  const label = document.createElement("span");
  label.className = `label ${classes}`;
  label.dataset.rank = rank;
  for (const [element, text] of [["b", mark], ["bdi", name], ["i", more]]) {
    if (text === undefined) continue;
    const part = document.createElement(element);
    part.textContent = text;
    label.append(part);
  }
  const holder = document.createElement("div");
  holder.append(label);
  const icon = L.divIcon({ html: holder, iconSize: [0, 0], className: "tag" });
  return L.marker(at, { icon, interactive: false, keyboard: false });
}

function drawGround() {
  for (const { kind, name, rings, people } of DIAL.ground) {
    const drawn = kind === "waiver" || kind === "boundary" ? kind : `area ${kind}`;
    const outline = L.polygon(places(rings), { className: drawn, interactive: false, pane: "ground", fillRule: "evenodd" }).addTo(chart);
    const crowd = kind === "people";
    const wide = kind === "waiver" || kind === "boundary";
    const middle = wide ? outline.getBounds().getSouthWest() : outline.getBounds().getCenter();
    const at = wide ? places(rings)[0].reduce((a, b) => (a[0] + a[1] < b[0] + b[1] ? a : b)) : middle;
    tag(at, wide ? kind : `area ${kind}`, crowd ? 40 : 60, { name, more: people ? ` ${people} people` : undefined }).addTo(chart);
  }
  const pad = L.divIcon({ html: one("#pad-picture").content.firstElementChild.cloneNode(true), iconSize: [0, 0], className: "tag" });
  L.marker([0, 0], { icon: pad, interactive: false, keyboard: false }).addTo(chart);
}

function startGround() {
  for (const [name, height] of [["ground", 340], ["contours", 360]]) chart.createPane(name).style.zIndex = height;
  chart.setView([0, 0], -3);
  L.control.scale({ maxWidth: 130, metric: DIAL.units === "si", imperial: DIAL.units === "us" }).addTo(chart);
  drawGround();
  chart.on("zoomend moveend resize", placeLabels);
  for (const button of all("button[data-view]")) button.addEventListener("click", () => frame(button.dataset.view));
}

// Draw the lines of every piece that is switched on.
function drawLines(about) {
  for (const outline of OUTLINES.splice(0)) outline.remove();
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
  placeLabels();
}

// Point the pad's arrow where the wind blows to; none while it is calm or not set.
function drawBlow(wind) {
  const arrow = one(".map .blow");
  arrow.toggleAttribute("hidden", !wind?.speed);
  arrow.setAttribute("transform", `rotate(${(wind?.from ?? 0) + 180})`);
}

// Bring the lines back into sight where they have left it.
function follow() {
  const seen = chart.getBounds();
  if (OUTLINES.some((outline) => outline.getBounds && !seen.contains(outline.getBounds()))) frame("flight");
}

// Frame what is drawn with the pad and the crowd, or the whole site.
function frame(view) {
  const bounds = L.latLngBounds([[-60, -60], [60, 60]]);
  for (const { near, rings } of DIAL.ground) {
    if (view === "everything" || near) bounds.extend(places(rings).flat());
  }
  for (const outline of OUTLINES) if (outline.getBounds) bounds.extend(outline.getBounds());
  chart.fitBounds(bounds, { animate: false, padding: [14, 14] });
}
