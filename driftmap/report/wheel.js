// The big dial: where the wind comes from round the rim, how hard it blows from the middle out.

const SVG = "http://www.w3.org/2000/svg";
const RIM = 100; // size of the top speed in the picture
const SNAP = 5; // deg

function shape(name, attributes, parent) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent.append(element);
  return element;
}

function polar(radius, from) {
  const angle = (from * Math.PI) / 180;
  return [radius * Math.sin(angle), -radius * Math.cos(angle)];
}

function sector(inner, outer, left, right) {
  const p = (radius, from) => polar(radius, from).map((v) => v.toFixed(2)).join(" ");
  return `M${p(inner, left)}L${p(outer, left)}A${outer} ${outer} 0 0 1 ${p(outer, right)}L${p(inner, right)}A${inner} ${inner} 0 0 0 ${p(inner, left)}Z`;
}

// Cells between winds, joined by verdict into three paths: one outline each, no seams.
function drawCells(wheel) {
  const { top, speeds, directions } = DIAL;
  const paths = Object.fromEntries(RANK.map((verdict) => [verdict, ""]));
  for (let i = 0; i < speeds; i += 1) {
    for (let j = 0; j < directions; j += 1) {
      const verdict = wordAt(((i + 0.5) * top) / speeds, ((j + 0.5) * 360) / directions);
      paths[verdict] += sector((i / speeds) * RIM, ((i + 1) / speeds) * RIM, (j * 360) / directions, ((j + 1) * 360) / directions);
    }
  }
  for (const verdict of RANK) {
    const look = verdict.replaceAll(" ", "-");
    shape("path", { class: `cell ${look}`, d: paths[verdict] }, wheel);
    shape("path", { class: `cell over-${look}`, d: paths[verdict] }, wheel);
  }
}

function drawScale(wheel) {
  const most = DIAL.top / DIAL.speed.size;
  const step = [1, 2, 5, 10, 20].find((n) => most / n <= 5) ?? most;
  for (let v = step; v <= most + ON; v += step) {
    shape("circle", { class: "scale", r: (v / most) * RIM }, wheel);
  }
  for (let from = 0; from < 360; from += 10) {
    const [x1, y1] = polar(RIM, from);
    const [x2, y2] = polar(RIM + (from % 30 ? 2 : 4), from);
    shape("line", { class: "tick", x1, y1, x2, y2 }, wheel);
  }
  // Letters begin where the knob at the rim ends, and grow outward.
  for (let i = 0; i < 16; i += 2) {
    const [x, y] = polar(RIM + 13, i * 22.5);
    const anchor = Math.abs(x) < 1 ? "middle" : x > 0 ? "start" : "end";
    const line = Math.abs(y) < 1 ? 4 : y > 0 ? 8.5 : 0;
    shape("text", { class: "point", x, y: y + line, "text-anchor": anchor }, wheel).textContent = POINTS[i];
  }
  for (let v = step; v <= most + ON; v += step) {
    const [x, y] = polar((v / most) * RIM - 6, 45);
    shape("text", { class: "number", x, y: y + 2.5 }, wheel).textContent = `${Number(v.toFixed(2))}${v + step > most + ON ? `\u00a0${DIAL.speed.unit}` : ""}`;
  }
}

// Give speed [shown unit] and direction [deg] of a place on the picture, snapped.
function readWheel(wheel, event) {
  const box = wheel.getBoundingClientRect();
  const size = wheel.viewBox.baseVal.width / box.width;
  const x = (event.clientX - box.left - box.width / 2) * size;
  const y = (event.clientY - box.top - box.height / 2) * size;
  const most = DIAL.top / DIAL.speed.size;
  const speed = Math.min(Math.hypot(x, y) / RIM, 1) * most;
  const from = (Math.atan2(x, -y) * 180) / Math.PI + 360;
  const step = speedStep();
  return { speed: Math.min(Math.round(speed / step) * step, most), from: (Math.round(from / SNAP) * SNAP) % 360 };
}

function speedStep() {
  return DIAL.units === "us" ? 1 : 0.5;
}

function drawHand(wheel, wind) {
  one(".hand", wheel)?.remove();
  const grip = one(".grip", wheel);
  if (!wind) {
    for (const name of ["cx", "cy"]) grip.setAttribute(name, 0);
    const rest = shape("g", { class: "hand" }, wheel);
    shape("circle", { class: "knob", r: 9 }, rest);
    wheel.insertBefore(rest, grip);
    return;
  }
  const hand = shape("g", { class: "hand" }, wheel);
  const most = DIAL.top / DIAL.speed.size;
  const radius = Math.min(wind.speed / most, 1.02) * RIM;
  const [x, y] = polar(radius, wind.from);
  const [bx, by] = polar(8, wind.from);
  for (const name of ["halo", "line"]) {
    if (radius > 12) {
      const [lx, ly] = polar(15, wind.from - 25);
      const [rx, ry] = polar(15, wind.from + 25);
      shape("path", { class: name, d: `M${x} ${y}L${bx} ${by}M${lx} ${ly}L${bx} ${by}L${rx} ${ry}` }, hand);
    }
  }
  drawGust(hand, wind, most, radius);
  shape("circle", { class: "knob", cx: x, cy: y, r: 9 }, hand);
  grip.setAttribute("cx", x);
  grip.setAttribute("cy", y);
  wheel.insertBefore(hand, grip); // the grip itself never moves in the page: it would let go
}

// Gusts are a second hand: on from the knob, dashed, to a ring where the strongest one reaches.
function drawGust(hand, wind, most, radius) {
  if (!(wind.gust > wind.speed)) return;
  const reach = Math.min(wind.gust / most, 1.06) * RIM;
  const [x1, y1] = polar(radius, wind.from);
  const [x2, y2] = polar(reach, wind.from);
  for (const name of ["halo", "line"]) shape("line", { class: `gusts ${name}`, x1, y1, x2, y2 }, hand);
  shape("circle", { class: "gusts ring", cx: x2, cy: y2, r: 5 }, hand);
}

// The reading moves only from its knob, and not while it is locked: a thumb that scrolls the
// page must never set a wind.
function startWheel(set, begin, end) {
  const wheel = one("#wheel");
  drawCells(wheel);
  drawScale(wheel);
  shape("circle", { class: "grip", cx: 0, cy: 0, r: 17 }, wheel);
  const grip = one(".grip", wheel);
  const locked = () => one("#lock").getAttribute("aria-pressed") === "true";
  let held = false;
  // Else the page scrolls away under the finger that holds the knob.
  grip.addEventListener("touchstart", (event) => locked() || event.preventDefault(), { passive: false });
  grip.addEventListener("pointerdown", (event) => {
    if (locked()) return;
    held = true;
    begin();
    grip.setPointerCapture(event.pointerId);
    wheel.focus({ preventScroll: true });
    event.preventDefault();
  });
  grip.addEventListener("pointermove", (event) => {
    if (!held) return;
    event.preventDefault();
    set(readWheel(wheel, event));
  });
  for (const name of ["pointerup", "pointercancel"]) {
    grip.addEventListener(name, () => {
      if (held) end();
      held = false;
    });
  }
}
