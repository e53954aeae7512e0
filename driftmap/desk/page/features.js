// The features of a site file as one draws them, without a map: their rings in metres about the
// pad, what lies near them, shapes made of what is typed, and what of a site cannot be read.
import {crossing, distance, metres, polar, signed} from "./geo.js";

export const ROLES = ["spectators", "flight line", "parking", "camp", "boundary", "waiver", "building", "airport", "closed ground", "road", "railway", "power line", "water"];
export const LINES = ["road", "railway", "power line", "water"];
export const PEOPLE = ["spectators", "flight line", "parking", "camp"];
export const LENGTH = /^\s*[-+]?\d[\d.,]*(e[-+]?\d+)?\s*(mm|cm|km|m|ft|in|mi|nmi)\s*$/i;
export const rounded = value => Math.round(value * 1e7) / 1e7;

// Every ring or line of a feature, holes and all its parts, in metres about the pad.
const RINGS = {Point: at => [[at]], LineString: line => [line], MultiLineString: lines => lines, Polygon: rings => rings.map(r => r.slice(0, -1)), MultiPolygon: parts => parts.flat().map(r => r.slice(0, -1))};
export const ringsOf = ({geometry}, ground) => (RINGS[geometry?.type]?.(geometry.coordinates) || []).map(ring => ring.map(ground.to));
export const closes = feature => feature.geometry.type.endsWith("Polygon");
export const sizeOf = rings => rings.reduce((sum, ring, i) => sum + Math.abs(signed(ring)) * (i ? -1 : 1), 0);
export const reach = feature => { try { return metres(String(feature.properties.radius)); } catch { return 0; } };

// How far a place is from the edge of a feature; of a pad, from the pad.
export function nearness(feature, rings, p) {
  if (feature.geometry?.type === "Point") return feature.properties.role === "pad" ? distance(rings[0][0], p) : Math.abs(distance(rings[0][0], p) - reach(feature));
  const sides = rings.flatMap(ring => closes(feature) ? ring.map((q, i) => [q, ring[(i + 1) % ring.length]]) : ring.slice(1).map((q, i) => [ring[i], q]));
  return Math.min(...sides.map(([a, b]) => { const d = distance(a, b) ** 2 || 1, t = Math.min(1, Math.max(0, ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / d)); return distance(p, [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]); }));
}

export function shapeOf(points, kind, ground) {
  const places = points.map(p => ground.from(p).map(rounded));
  if (kind === "LineString") return {type: kind, coordinates: places};
  if (kind === "Point") return {type: kind, coordinates: places[0]};
  const ring = signed(points) < 0 ? places.reverse() : places; // outer rings run against the clock (RFC 7946)
  return {type: "Polygon", coordinates: [[...ring, ring[0]]]};
}
// Refuses what crosses itself, or is too little.
export function checkRing(points) {
  if (points.length < 3) throw new Error("An area needs three corners.");
  const cross = crossing(points);
  if (cross) throw new Error(`Sides ${cross[0] + 1} and ${cross[1] + 1} cross: is a bearing wrong?`);
}
// A boundary and a road are areas in the file: their circle is drawn with 64 corners, on the side that errs toward hold.
export const asRing = role => role === "boundary" || LINES.includes(role);
export function ringAbout(role, centre, r) {
  const far = role === "boundary" ? r : r / Math.cos(Math.PI / 64);
  return Array.from({length: 64}, (_, i) => { const [e, n] = polar(far, i * 360 / 64); return [centre[0] + e, centre[1] + n]; });
}
// Where a circle lies is told: a centre left out is not the pad, nor a bearing north.
export function centreOf(off, way, angle) {
  if (!off.trim()) throw new Error("Its centre off the pad: type how far, 0 m where it is the pad.");
  const far = metres(off, "its centre off the pad");
  if (far > 0 && !way.trim()) throw new Error("At what bearing from the pad is its centre?");
  return far > 0 ? polar(far, angle(way)) : [0, 0];
}
export function cornersOf(text, angle) {
  return text.split("\n").filter(row => row.trim()).map((row, i) => {
    const found = /^\s*([\d.,]+\s*[a-z]+)[\s,;]+(?:at\s+|toward\s+)?(\S.*?)\s*$/i.exec(row);
    if (!found) throw new Error(`Line ${i + 1}: write such as 300 ft, 225`);
    try { return polar(metres(found[1].replace(/,$/, ""), "distance"), angle(found[2])); } catch (problem) { throw new Error(`Line ${i + 1}: ${problem.message}`); }
  });
}

export function freeName(site, role) {
  const names = new Set(site.features.map(f => f.properties?.name));
  for (let i = 1; ; i++) { const name = role[0].toUpperCase() + role.slice(1) + (i > 1 ? ` ${i}` : ""); if (!names.has(name)) return name; }
}
// What is told but cannot be read: said at once, whatever else misses.
export function wrongsOf(site, known) {
  const lengths = [["The height of the pad", site.elevation], ...site.features.flatMap(({properties: p = {}}) => [[`The ceiling of ${p.name}`, p.ceiling], [`The ceiling of ${p.name}`, p.ceiling_altitude]])];
  const odd = known ? String(site.rules ?? "").split(",").map(name => name.trim()).filter(name => name && !known.includes(name) && !name.endsWith(".toml")) : [];
  return [...lengths.filter(([, text]) => text && !LENGTH.test(text)).map(([what, text]) => `${what}: "${text}" is no length; write such as 4050 ft or 1234 m.`),
    ...odd.map(name => `Rules: "${name}" is no rule set; known are ${known.join(", ")}, and files of your own that end in .toml.`)];
}
