// Places and lengths as people write them, and a field in metres about its pad.
// Only geometry to draw and measure with: distances that count are worked out by the desk.
const A = 6378137, F = 1 / 298.257223563, E2 = F * (2 - F); // WGS 84
const RAD = Math.PI / 180;
export const UNITS = {m: 1, ft: .3048, yd: .9144, km: 1000, mi: 1609.344, nmi: 1852};
const POINTS = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"];

// "300 ft" to metres; throws what is accepted.
export function metres(text, what = "length") {
  // A comma parts thousands, as everywhere else: 1,200 ft; 1,5 km is refused, and 1,852 km,
  // since nothing here is a thousand of those.
  const found = /^\s*([1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?|\.\d+)\s*([a-z]*)\s*$/i.exec(text);
  const unit = found && (found[2].toLowerCase() || "");
  const far = found && found[1].includes(",") && ["km", "mi", "nmi"].includes(unit);
  if (!found || far || !(unit in UNITS)) throw new Error(`${what}: "${text.trim()}" is no length; write such as 300 ft, 1,200 ft or 1.5 km`);
  return Number(found[1].replaceAll(",", "")) * UNITS[unit];
}

// A bearing in degrees or as a compass point; degrees from true north.
export function bearing(text, magnetic = false, declination = null) {
  const name = text.trim().toUpperCase().replace(/°|DEG.*$/g, "").trim();
  const point = POINTS.indexOf({NORTH: "N", EAST: "E", SOUTH: "S", WEST: "W"}[name] || name);
  const degrees = point >= 0 ? point * 22.5 : /^\d+(\.\d+)?$/.test(name) ? Number(name) : NaN;
  if (!(degrees >= 0 && degrees <= 360)) throw new Error(`bearing: "${text.trim()}" is none; write 0 to 360 or a compass point`);
  if (!magnetic) return degrees;
  if (declination === null) throw new Error("bearing by the needle: tell the declination of the site first");
  return (degrees + declination + 360) % 360;
}

// Decimal degrees, or degrees, minutes and seconds, with or without a letter.
export function degrees(text, letters, most) {
  const clean = text.trim().toUpperCase();
  const letter = new RegExp(`[${letters}]`).exec(clean)?.[0];
  const parts = clean.replace(new RegExp(`[${letters}]`), " ").split(/[°º'’′"”″\s:]+/).filter(Boolean);
  const numbers = parts.map(part => /^[-+]?\d+([.,]\d+)?$/.test(part) ? Number(part.replace(",", ".")) : NaN);
  const [whole, minutes = 0, seconds = 0] = numbers;
  const good = parts.length >= 1 && parts.length <= 3 && numbers.every(Number.isFinite) && minutes >= 0 && minutes < 60 && seconds >= 0 && seconds < 60;
  const negative = letter === letters[1] || parts[0]?.startsWith("-");
  const value = good ? (Math.abs(whole) + minutes / 60 + seconds / 3600) * (negative ? -1 : 1) : NaN;
  if (!(Math.abs(value) <= most)) throw new Error(`"${text.trim()}" is no ${most === 90 ? "latitude" : "longitude"}; write such as ${most === 90 ? "41.6040 or 41° 36' 14.4\" N" : "-117.9520 or 117° 57' 7.2\" W"}`);
  return value;
}
export const latitude = text => degrees(text, "NS", 90);
export const longitude = text => degrees(text, "EW", 180);

// Metres about an origin by the Gauss mid-latitude formulas: within 0.2 m of the geodesic at 5 km.
export function frame([lon0, lat0]) {
  const radii = lat => {
    const w = 1 - E2 * Math.sin(lat) ** 2;
    return [A * (1 - E2) / w ** 1.5, A / Math.sqrt(w)];
  };
  const apart = lon => ((lon - lon0 + 540) % 360) - 180;
  function to([lon, lat]) {
    const middle = (lat + lat0) / 2 * RAD, [m, n] = radii(middle), turn = apart(lon) * RAD;
    const north = m * (lat - lat0) * RAD * Math.cos(turn / 2), east = n * Math.cos(middle) * turn;
    const back = turn * Math.sin(middle) / 2; // the meridians lean together
    return [east * Math.cos(back) - north * Math.sin(back), north * Math.cos(back) + east * Math.sin(back)];
  }
  function from([east, north]) {
    let lon = lon0 + east / (A * Math.cos(lat0 * RAD)) / RAD, lat = lat0 + north / A / RAD;
    for (let i = 0; i < 5; i++) {
      const [e, n] = to([lon, lat]), [rm, rn] = radii(lat * RAD);
      lon += (east - e) / (rn * Math.cos(lat * RAD)) / RAD;
      lat += (north - n) / rm / RAD;
    }
    return [lon > 180 ? lon - 360 : lon < -180 ? lon + 360 : lon, lat];
  }
  return {to, from};
}

export const polar = (distance, degrees) => [distance * Math.sin(degrees * RAD), distance * Math.cos(degrees * RAD)];
export const distance = ([a, b], [c, d]) => Math.hypot(c - a, d - b);
export const heading = ([a, b], [c, d]) => (Math.atan2(c - a, d - b) / RAD + 360) % 360;
export const signed = points => points.reduce((sum, [x, y], i) => { const [u, v] = points[(i + 1) % points.length]; return sum + x * v - u * y; }, 0) / 2;
export const length = points => points.slice(1).reduce((sum, p, i) => sum + distance(points[i], p), 0);

const turn = (a, b, c) => Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
const meet = (a, b, c, d) => turn(a, b, c) * turn(a, b, d) < 0 && turn(c, d, a) * turn(c, d, b) < 0;

// The first two sides of a ring that cross, or null.
export function crossing(points, closed = true) {
  const sides = points.map((p, i) => [p, points[(i + 1) % points.length]]).slice(0, closed ? undefined : -1);
  for (let i = 0; i < sides.length; i++) for (let j = i + 2; j < sides.length; j++) if (meet(...sides[i], ...sides[j])) return [i, j];
  return null;
}

// Two rings from one, cut by the line through two points; null where it does not cut in two.
export function split(ring, a, b) {
  const cut = [];
  ring.forEach((p, i) => {
    const q = ring[(i + 1) % ring.length], s = turn(a, b, p), t = turn(a, b, q);
    if (s * t >= 0) return;
    const d = (x) => (b[0] - a[0]) * (x[1] - a[1]) - (b[1] - a[1]) * (x[0] - a[0]), share = d(p) / (d(p) - d(q));
    cut.push([i, [p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])]]);
  });
  if (cut.length !== 2) return null;
  const [[i, p], [j, q]] = cut;
  return [[p, ...ring.slice(i + 1, j + 1), q], [q, ...ring.slice(j + 1), ...ring.slice(0, i + 1), p]];
}

// A strip across a bearing: its near side so far off, so long, so deep.
export function strip(long, off, degrees, deep) {
  const [x, y] = polar(1, degrees), half = long / 2;
  const at = (out, side) => [x * out + y * side, y * out - x * side];
  return [at(off, -half), at(off, half), at(off + deep, half), at(off + deep, -half)];
}
