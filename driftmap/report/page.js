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

function apply() {
  for (const piece of DRIFTMAP.pieces) {
    const shown = boxOf(piece).checked;
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

function start() {
  L.control.scale({ maxWidth: 130, metric: DRIFTMAP.units === "si", imperial: DRIFTMAP.units === "us" }).addTo(chart);
  if (DRIFTMAP.background) L.tileLayer(DRIFTMAP.background, { maxZoom: 20 }).addTo(chart);
  DRIFTMAP.areas.forEach((name, index) => layer(name).on("click", tapArea(index)));
  for (const whole of all("input.whole")) {
    whole.addEventListener("change", () => {
      for (const box of all(`input[data-piece][data-case="${whole.dataset.case}"]`)) box.checked = whole.checked;
      apply();
    });
  }
  for (const box of all("input:not(.whole)")) box.addEventListener("change", apply);
  for (const button of all("button[data-view]")) button.addEventListener("click", () => view(button.dataset.view));
  chart.on("click", (event) => tools.tap(event.latlng));
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
}
function fromPaper() {
  document.body.classList.remove("paper");
  chart.invalidateSize({ animate: false });
  if (before) chart.setView(before[0], before[1], { animate: false });
}
window.addEventListener("beforeprint", toPaper);
window.addEventListener("afterprint", fromPaper);
window.addEventListener("load", start);
