// A map of one's own in metres about the pad: moved by finger, mouse and keys. What lies on it is
// drawn, picked and changed by whoever made it.
import {svg} from "./net.js";
import {distance} from "./geo.js";

const LABEL = "Map of the field: tap to pick or to set a corner; arrow keys move it, plus and minus zoom, Enter sets a corner at the cross";

// `parts` gives what lies on it and `names` what is called how; `grab` says what a press takes hold of,
// `drop` where it is let go, `ghost` how it looks on the way; `tap` is a press without a way; `leave` is Escape.
export function groundMap({units, shown, parts, busy, grab, ghost, drop, tap, leave}) {
  let view = {east: 0, north: 0, scale: .5}, drag = null, pinch = 0;
  const map = svg("svg", {class: "ground", tabindex: 0, role: "application", "aria-label": LABEL}), fingers = new Map();
  const size = () => [map.clientWidth || 360, map.clientHeight || 360];
  const px = ([east, north]) => { const [w, h] = size(); return [w / 2 + (east - view.east) * view.scale, h / 2 - (north - view.north) * view.scale]; };
  const m = ([x, y]) => { const [w, h] = size(); return [view.east + (x - w / 2) / view.scale, view.north - (y - h / 2) / view.scale]; };
  const line = (points, close) => points.length ? `M${points.map(p => px(p).map(v => v.toFixed(1)).join(" ")).join("L")}${close ? "Z" : ""}` : "";
  const spot = event => { const box = map.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };

  // All of some points, with air about them.
  function fit(points) {
    const [es, ns] = [points.map(p => p[0]), points.map(p => p[1])], [w, h] = size();
    const span = [Math.max(...es) - Math.min(...es), Math.max(...ns) - Math.min(...ns)].map(v => Math.max(v, 100));
    view = {east: (Math.max(...es) + Math.min(...es)) / 2, north: (Math.max(...ns) + Math.min(...ns)) / 2, scale: .85 * Math.min(w / span[0], h / span[1])};
    paint();
  }
  function zoom(by, at) {
    const before = at && m(at);
    view.scale = Math.min(Math.max(view.scale * by, .002), 50);
    if (at) { const after = m(at); view.east += before[0] - after[0]; view.north += before[1] - after[1]; }
    paint();
  }
  function paint() {
    const [w, h] = size(), names = [];
    map.setAttribute("viewBox", `0 0 ${w} ${h}`);
    const {below, above} = parts(names);
    const cross = busy() ? [svg("path", {d: `M${w / 2 - 12} ${h / 2}h24M${w / 2} ${h / 2 - 12}v24`, class: "cross"})] : [];
    map.replaceChildren(...below, grid(w, h), ...above, ...named(names), scale(w, h), ...cross);
  }
  // Lays a picture by the six numbers that take its pixels to metres.
  function laid({east: [a, b, c], north: [d, e, f]}) {
    const [w, h] = size(), k = view.scale;
    return `matrix(${[a * k, -d * k, b * k, -e * k, w / 2 + (c - view.east) * k, h / 2 - (f - view.north) * k].join(" ")})`;
  }
  // Names of people first, clear of scale and north; one that would lie on another is left to the list beside.
  function named(names) {
    const [wide, high] = size(), taken = [[8, high - 38, Math.max(96, 16 + bar() * view.scale), high - 8], [wide - 36, 8, wide - 8, 64]];
    return names.sort((a, b) => b.rank - a.rank).flatMap(({text, x, y}) => {
      const half = text.length * 4.3, at = Math.min(Math.max(x, half), Math.max(wide - half, half));
      if (x < 0 || x > wide) return [];
      const boxes = [0, -20, 20].map(down => [at - half, y + down - 14, at + half, y + down + 5]);
      const box = boxes.find(box => !taken.some(b => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1]));
      if (!box) return [];
      taken.push(box);
      return [svg("text", {x: at, y: box[3] - 5, class: "name"}, text)];
    });
  }
  function step(target) { const power = 10 ** Math.floor(Math.log10(target)); return [1, 2, 5, 10].map(s => s * power).find(s => s >= target) || target; }
  function grid(w, h) {
    const per = units() === "si" ? 1 : .3048, gap = step(90 / view.scale / per) * per, [a, b] = [m([0, h]), m([w, 0])], lines = [];
    for (let e = Math.ceil(a[0] / gap) * gap; e < b[0] && lines.length < 80; e += gap) lines.push(line([[e, a[1]], [e, b[1]]]));
    for (let n = Math.ceil(a[1] / gap) * gap; n < b[1] && lines.length < 160; n += gap) lines.push(line([[a[0], n], [b[0], n]]));
    return svg("path", {d: lines.join(""), class: "net"});
  }
  const bar = () => { const per = units() === "si" ? 1 : .3048; return step(70 / view.scale / per) * per; }; // a round length [m]
  function scale(w, h) {
    const long = bar();
    return svg("g", {class: "scale"}, svg("path", {d: `M12 ${h - 22}v8H${12 + long * view.scale}v-8`}), svg("text", {x: 18, y: h - 20}, shown(long)),
      svg("path", {d: `M${w - 22} 44V12l-7 12M${w - 22} 12l7 12`}), svg("text", {x: w - 27, y: 60}, "N"));
  }

  map.addEventListener("pointerdown", event => {
    map.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, spot(event));
    if (fingers.size === 2) { const [a, b] = [...fingers.values()]; pinch = distance(a, b); drag = null; return; }
    const at = spot(event);
    drag = {from: at, moved: false, held: grab(at), view: {...view}};
  });
  map.addEventListener("pointermove", event => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, spot(event));
    if (fingers.size === 2) { const [a, b] = [...fingers.values()], now = distance(a, b); if (pinch) zoom(now / pinch, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]); pinch = now; return; }
    if (!drag) return;
    const at = spot(event), by = [at[0] - drag.from[0], at[1] - drag.from[1]];
    if (Math.hypot(...by) > 6) drag.moved = true;
    if (!drag.moved) return;
    if (drag.held) { drag.at = at; paint(); map.append(svg("path", {d: ghost(drag.held, m(drag.from), m(at)), class: "draft"})); }
    else { view.east = drag.view.east - by[0] / view.scale; view.north = drag.view.north + by[1] / view.scale; paint(); }
  });
  const lift = event => {
    fingers.delete(event.pointerId);
    if (fingers.size) return;
    pinch = 0;
    const was = drag;
    drag = null;
    if (!was || event.type === "pointercancel") return paint();
    if (!was.moved) return tap(was.from);
    if (was.held && was.at) drop(was.held, m(was.from), m(was.at));
  };
  map.addEventListener("pointerup", lift);
  map.addEventListener("pointercancel", lift);
  // No click follows a touch: the page may have moved under the finger by then.
  map.addEventListener("touchend", event => event.preventDefault(), {passive: false});
  map.addEventListener("wheel", event => { event.preventDefault(); zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, spot(event)); }, {passive: false});
  map.addEventListener("keydown", event => {
    const [w, h] = size(), far = 40 / view.scale, moves = {ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, far], ArrowDown: [0, -far]}[event.key];
    if (moves) { view.east += moves[0]; view.north += moves[1]; paint(); }
    else if (event.key === "+" || event.key === "=") zoom(1.25);
    else if (event.key === "-") zoom(.8);
    else if (event.key === "Enter") tap([w / 2, h / 2]);
    else if (event.key === "Escape") leave();
    else return;
    event.preventDefault();
  });

  return {map, px, m, line, fit, zoom, paint, laid, size, scale: () => view.scale};
}
