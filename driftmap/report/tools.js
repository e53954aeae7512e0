// Where a finger points, how far it is, and where the device stands.

const RADIAN = Math.PI / 180;

// Distance [m] and bearing [rad] from a to b on WGS 84 by the mid-latitude formula: within
// 1 part in 100,000 out to 20 km.
function apart(a, b) {
  const middle = ((a.lat + b.lat) / 2) * RADIAN;
  const flat = (2 - 1 / 298.257223563) / 298.257223563;
  const w = 1 - flat * Math.sin(middle) ** 2;
  const turn = (b.lng - a.lng) * RADIAN;
  const east = turn * Math.cos(middle) * (6378137 / Math.sqrt(w));
  const north = (b.lat - a.lat) * RADIAN * (6378137 * (1 - flat) / w ** 1.5);
  // Half the convergence of the meridians turns the mean bearing into that at a.
  const bearing = Math.atan2(east, north) - (turn * Math.sin(middle)) / 2;
  return { distance: Math.hypot(east, north), bearing };
}

function squareOf(place) {
  const { size, west, south, letters, latitude } = DRIFTMAP.squares;
  const { distance, bearing } = apart(L.latLng(DRIFTMAP.pad), place);
  const column = Math.floor((distance * Math.sin(bearing) - west) / size);
  const row = Math.floor((distance * Math.cos(bearing) - south) / size);
  const named = letters[column] && row >= 0 && row < latitude.length;
  return named ? `${letters[column]}${row + 1}` : "";
}

const turned = (radians) => bearing(radians / RADIAN);

function placeText(place) {
  const from = apart(L.latLng(DRIFTMAP.pad), place);
  const square = squareOf(place);
  return say(square ? "square" : "outside", { square, distance: length(from.distance), bearing: turned(from.bearing) });
}

// Which zone a place lies in, or how far the nearest begins.
function zoneText(place) {
  let nearest = null;
  for (const zone of [...zones].reverse()) {
    const kind = zone.options.className.replace("zone ", "");
    if (holds(zone, place)) return say("you_zone", { zone: say(kind) });
    const near = zone.closestLayerPoint(chart.latLngToLayerPoint(place));
    const away = near && apart(place, chart.layerPointToLatLng(near)).distance;
    if (near && away < (nearest?.away ?? Infinity)) nearest = { away, kind };
  }
  return nearest ? say("you_near", { zone: say(nearest.kind), distance: length(nearest.away) }) : "";
}

// Whether polygons hold a place: an odd number of edges lies to the east of it.
function holds(polygons, place) {
  const rings = polygons.getLatLngs().flat(1);
  return rings.reduce((odd, ring) => ring.reduce((now, a, i) => {
    const b = ring[(i + 1) % ring.length];
    const crosses = a.lat > place.lat !== b.lat > place.lat && place.lng < a.lng + ((b.lng - a.lng) * (place.lat - a.lat)) / (b.lat - a.lat);
    return crosses ? !now : now;
  }, odd), false);
}

function tell(text) {
  one("#readout").textContent = text;
}

const tools = (() => {
  const drawn = L.layerGroup();
  const here = L.layerGroup();
  let ends = null;
  let watch = null;
  let found = false;

  function press(id, pressed) {
    one(id).setAttribute("aria-pressed", String(pressed));
  }

  function dot(place, name, radius, group) {
    L.circleMarker(place, { radius, className: name, interactive: false }).addTo(group);
  }

  function toggleMeasure() {
    ends = ends ? null : [];
    drawn.clearLayers();
    press("#measure", ends !== null);
    tell(say(ends ? "start" : "ground"));
  }

  function measure(place) {
    if (ends.length === 2) {
      ends = [];
      drawn.clearLayers();
    }
    ends.push(place);
    drawn.addTo(chart);
    dot(place, "here", 6, drawn);
    if (ends.length < 2) return tell(say("end"));
    L.polyline(ends, { className: "ruler", interactive: false }).addTo(drawn);
    const there = apart(...ends);
    const back = apart(ends[1], ends[0]);
    return tell(say("measured", { distance: length(there.distance), bearing: turned(there.bearing), back: turned(back.bearing) }));
  }

  function stopLocating(text) {
    navigator.geolocation?.clearWatch(watch);
    watch = null;
    here.clearLayers();
    press("#locate", false);
    tell(text);
  }

  function stand({ coords }) {
    const place = L.latLng(coords.latitude, coords.longitude);
    // Near the 180th meridian the map counts on beyond it.
    place.lng += 360 * Math.round((DRIFTMAP.pad[1] - place.lng) / 360);
    here.clearLayers().addTo(chart);
    L.circle(place, { radius: coords.accuracy, className: "near", interactive: false }).addTo(here);
    dot(place, "here", 9, here);
    if (!found && apart(L.latLng(DRIFTMAP.pad), place).distance < 20000) chart.panTo(place, { animate: false });
    found = true;
    tell(`${zoneText(place)} ${say("you", { place: placeText(place), error: length(coords.accuracy) })}`.trim());
  }

  // Only a denial ends the watch: a receiver that is slow may still find itself.
  function lost(problem) {
    if (problem?.code === 1) stopLocating(say("denied"));
    else if (!found) tell(say("not_yet"));
  }

  function toggleLocate() {
    if (watch !== null) return stopLocating(say("stopped"));
    if (!navigator.geolocation) return tell(say("no_device"));
    found = false;
    press("#locate", true);
    tell(say("looking"));
    watch = navigator.geolocation.watchPosition(stand, lost, { enableHighAccuracy: true, timeout: 30000 });
    return undefined;
  }

  one("#measure").addEventListener("click", toggleMeasure);
  one("#locate").addEventListener("click", toggleLocate);
  return {
    measuring: () => ends !== null,
    tap: (place) => (ends ? measure(place) : tell(placeText(place))),
  };
})();
