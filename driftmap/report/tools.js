// Where a finger points, how far it is, and where the device stands.

const POINTS = "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW".split(" ");
const RADIAN = Math.PI / 180;
const FOOT = 0.3048;

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

function length(metres) {
  const [value, unit] = DRIFTMAP.units === "us" ? [metres / FOOT, "ft"] : [metres, "m"];
  const step = value < 100 ? 1 : value < 1000 ? 5 : 10;
  return `${(Math.round(value / step) * step).toLocaleString("en-US")} ${unit}`;
}

function bearingText(bearing) {
  const degrees = (Math.round(bearing / RADIAN) + 720) % 360;
  return `${String(degrees || 360).padStart(3, "0")}° (${POINTS[Math.round(degrees / 22.5) % 16]})`;
}

function placeText(place) {
  const { distance, bearing } = apart(L.latLng(DRIFTMAP.pad), place);
  const square = squareOf(place);
  return `${square ? `Square ${square}` : "Outside the squares"}: ${length(distance)} from the pad, bearing ${bearingText(bearing)}`;
}

function say(text) {
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
    say(ends ? "Measure: tap where to start." : "Tap the ground for its square, distance and bearing.");
  }

  function measure(place) {
    if (ends.length === 2) {
      ends = [];
      drawn.clearLayers();
    }
    ends.push(place);
    drawn.addTo(chart);
    dot(place, "here", 6, drawn);
    if (ends.length < 2) return say("Measure: tap where to end.");
    L.polyline(ends, { className: "ruler", interactive: false }).addTo(drawn);
    const there = apart(...ends);
    const back = apart(ends[1], ends[0]);
    const squares = ends.map((end) => squareOf(end) || "outside").join(" to ");
    return say(`${length(there.distance)}, bearing ${bearingText(there.bearing)}, back ${bearingText(back.bearing)}; ${squares}. Tap to start again.`);
  }

  function stopLocating(text) {
    navigator.geolocation?.clearWatch(watch);
    watch = null;
    here.clearLayers();
    press("#locate", false);
    say(text);
  }

  function stand({ coords }) {
    const place = L.latLng(coords.latitude, coords.longitude);
    here.clearLayers().addTo(chart);
    L.circle(place, { radius: coords.accuracy, className: "near", interactive: false }).addTo(here);
    dot(place, "here", 9, here);
    if (!found && apart(L.latLng(DRIFTMAP.pad), place).distance < 20000) chart.panTo(place);
    found = true;
    say(`You are in ${placeText(place).replace(/^S/, "s").replace(/^O/, "o")}, good to ${length(coords.accuracy)}.`);
  }

  function toggleLocate() {
    if (watch !== null) return stopLocating("Stopped looking for where you are.");
    if (!navigator.geolocation) return say("This device tells no position.");
    found = false;
    press("#locate", true);
    say("Looking for where you are …");
    watch = navigator.geolocation.watchPosition(
      stand,
      () => stopLocating("No position: the device does not know it, or does not let a page opened from a file ask."),
      { enableHighAccuracy: true, timeout: 30000 },
    );
    return undefined;
  }

  one("#measure").addEventListener("click", toggleMeasure);
  one("#locate").addEventListener("click", toggleLocate);
  return {
    measuring: () => ends !== null,
    tap: (place) => (ends ? measure(place) : say(placeText(place))),
  };
})();
