// Labels that give way to each other, and the names of squares along the edges.

const AROUND = [[0, 0], [1, 0], [-1, 0], [0, -1], [0, 1], [1, -1], [-1, -1], [1, 1], [-1, 1]];

function overlaps(box, taken) {
  return taken.some((t) => box.left < t.right && t.left < box.right && box.top < t.bottom && t.top < box.bottom);
}

const GAPS = [6, 24, 48];
const FAR_GAPS = [6, 24, 48, 80, 120, 170];
const EVERYWHERE = [6, 14, 24, 36, 50, 66, 84, 104, 128, 154, 184, 220, 260, 310, 370];
const ROUND = Array.from({ length: 24 }, (_, i) => [Math.cos((i * Math.PI) / 12), Math.sin((i * Math.PI) / 12)]);

// Try the places about a label's point, nearest first; tell whether one was free.
function settle(label, frame, taken, gaps = GAPS, around = AROUND) {
  const { width, height } = label.getBoundingClientRect();
  const anchor = label.parentElement.getBoundingClientRect();
  const { left: x, top: y } = anchor;
  if (x < frame.left || x > frame.right || y < frame.top || y > frame.bottom) return false;
  for (const gap of gaps) {
    for (const [right, down] of around) {
      const left = anchor.left + right * (width / 2 + gap) - width / 2;
      const top = anchor.top + down * (height / 2 + gap) - height / 2;
      const box = { left, top, right: left + width, bottom: top + height };
      const inside = left >= frame.left && box.right <= frame.right && top >= frame.top && box.bottom <= frame.bottom;
      if (inside && !overlaps(box, taken)) {
        label.style.left = `${left - anchor.left}px`;
        label.style.top = `${top - anchor.top}px`;
        if (gap > 6) lead(label, anchor, box);
        taken.push(box);
        return true;
      }
    }
  }
  return false;
}

// Names of people and the words of zones are never dropped: a number stands where there is no room for more, over
// anything but the names of other people.
function insist(label, frame, taken, crowd) {
  const { left: x, top: y } = label.parentElement.getBoundingClientRect();
  // No name stands on the ground of others.
  const others = all(".map path.area.people").map((path) => path.getBoundingClientRect())
    .filter((box) => x < box.left || x > box.right || y < box.top || y > box.bottom);
  if (settle(label, frame, [...taken, ...others], FAR_GAPS)) return true;
  label.classList.add("short");
  return settle(label, frame, [...taken, ...others], FAR_GAPS) || settle(label, frame, [...crowd, ...others], EVERYWHERE, ROUND) || settle(label, frame, crowd, EVERYWHERE, ROUND);
}

// Draw a line from a point to a label that had to stand off.
function lead(label, anchor, box) {
  const line = document.createElement("i");
  line.className = "leader";
  const x = Math.min(Math.max(anchor.left, box.left), box.right) - anchor.left;
  const y = Math.min(Math.max(anchor.top, box.top), box.bottom) - anchor.top;
  line.style.width = `${Math.hypot(x, y)}px`;
  line.style.transform = `rotate(${Math.atan2(y, x)}rad)`;
  label.before(line);
}

// Small areas where people are must stay in sight; large ones bear their label inside.
function peopleBoxes() {
  const boxes = all(".map path.area.people").map((path) => path.getBoundingClientRect());
  return boxes.filter((box) => box.width < 150 && box.height < 150);
}

function padBox() {
  const { x, y } = chart.latLngToContainerPoint(DRIFTMAP.pad);
  const { left, top } = chart.getContainer().getBoundingClientRect();
  return { left: left + x - 14, right: left + x + 14, top: top + y - 14, bottom: top + y + 14 };
}

function placeLabels() {
  const { left, top, right, bottom } = chart.getContainer().getBoundingClientRect();
  const frame = { left, top: top + 20, right: right - 26, bottom }; // clear of the edges' names
  const taken = [padBox(), ...all(".leaflet-control, #far span, #north").map((c) => c.getBoundingClientRect())];
  for (const line of all(".leader")) line.remove();
  taken.push(...peopleBoxes(), ...all(".pad-picture text, .pad-picture .wind, .pad-picture .rail").map((t) => t.getBoundingClientRect()));
  const named = on("#show-names");
  const labels = all(".map .label").sort((a, b) => a.dataset.rank - b.dataset.rank);
  const crowd = [];
  // Dozens of names on a small screen: numbers alone, and small ones.
  const many = labels.filter((label) => label.classList.contains("people")).length > 20;
  chart.getContainer().classList.toggle("crowded", many && right - left < 600);
  for (const label of labels) {
    label.classList.remove("short");
    const wanted = named || !label.classList.contains("area");
    const zone = label.classList.contains("zone");
    const people = label.classList.contains("people") || zone;
    let free = wanted && (people ? insist(label, frame, taken, crowd) : settle(label, frame, taken));
    if (people && free) taken.push(label.getBoundingClientRect());
    if (people && free) crowd.push(label.getBoundingClientRect());
    if (wanted && !free && label.classList.contains("piece")) {
      label.classList.add("short");
      free = settle(label, frame, taken);
    }
    label.classList.toggle("off", !free);
  }
}

let edges = false;
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
