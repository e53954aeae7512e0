// The switches and views of the page. DRIFTMAP holds what the map was drawn from.
"use strict";
const chart = window[DRIFTMAP.map];
const one = (selector) => document.querySelector(selector);
const all = (selector) => [...document.querySelectorAll(selector)];
const layer = (name) => window[name];
const on = (box) => one(box).checked;

function put(name, shown) {
  if (shown) layer(name).addTo(chart);
  else layer(name).remove();
}

const boxOf = (piece) => one(`input[data-piece="${piece.mark}"]`);

const byCause = () => one("#by-cause").getAttribute("aria-pressed") === "true";

function apply() {
  const causes = byCause();
  document.body.classList.toggle("by-cause", causes);
  one("#causes").hidden = !causes;
  const words = DRIFTMAP.zones.length - 1;
  DRIFTMAP.zones.forEach((name, place) => put(name, place < words || !causes));
  for (const piece of DRIFTMAP.pieces) {
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
  put(DRIFTMAP.grid, on("#show-grid"));
  put(DRIFTMAP.rings, on("#show-rings"));
  points.show(on("#show-points"));
  showEdges(on("#show-grid"));
  placeLabels();
}

function view(name, options) {
  chart.fitBounds(DRIFTMAP.views[name], { padding: [26, 26], ...options });
}

function tapArea(index) {
  return (event) => {
    if (tools.measuring()) return;
    const figures = one(`#area-${index}`).cloneNode(true);
    figures.removeAttribute("id");
    const room = {
      maxHeight: 280,
      maxWidth: Math.min(340, chart.getSize().x - 130),
      autoPanPaddingTopLeft: [62, 24], // clear of the zoom buttons and the edges' names
      autoPanPaddingBottomRight: [30, 8],
    };
    L.popup(room).setLatLng(event.latlng).setContent(figures).openOn(chart);
  };
}

// A finger is wide: ground where people are counts as hit when it is within 22 px.
function nearArea(event) {
  let best = null;
  DRIFTMAP.areas.forEach((name, index) => {
    const area = layer(name);
    const near = area.options.className.includes("people") && area.closestLayerPoint(chart.latLngToLayerPoint(event.latlng));
    if (near && near.distance <= 22 && near.distance < (best?.away ?? Infinity)) best = { index, away: near.distance };
  });
  return best;
}

function start() {
  L.control.scale({ maxWidth: 130, metric: DRIFTMAP.units === "si", imperial: DRIFTMAP.units === "us" }).addTo(chart);
  if (DRIFTMAP.background) L.tileLayer(DRIFTMAP.background, { maxZoom: 20 }).addTo(chart);
  DRIFTMAP.areas.forEach((name, index) => layer(name).on("click", tapArea(index)));
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
  chart.on("click", (event) => {
    tools.tap(event.latlng);
    const near = nearArea(event);
    if (near) tapArea(near.index)(event);
  });
  chart.on("move zoom resize", placeEdges);
  chart.on("zoomend moveend resize", placeLabels);
  view("flight", { animate: false });
  put(DRIFTMAP.names, true);
  apply();
}

// On paper the map is laid out for the sheet, then put back as it was.
let before = null;
function toPaper() {
  before = [chart.getCenter(), chart.getZoom()];
  document.body.classList.add("paper");
  chart.invalidateSize({ animate: false });
  view("flight", { animate: false, padding: [8, 8] });
  placeLabels();
}
function fromPaper() {
  document.body.classList.remove("paper");
  chart.invalidateSize({ animate: false });
  if (before) chart.setView(before[0], before[1], { animate: false });
}
window.addEventListener("beforeprint", toPaper);
window.addEventListener("afterprint", fromPaper);
window.addEventListener("load", start);
