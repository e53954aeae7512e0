// Draws a field: a map of one's own in metres about the pad, edited by tap, by tape and compass,
// by circle or by walking. It keeps nothing: every change goes to whoever made it.
import {calmly, el, find, keeping, svg} from "./net.js";
import {groundMap} from "./map.js";
import {LENGTH, LINES, PEOPLE, ROLES, asRing, centreOf, checkRing, closes, cornersOf, freeName, nearness, reach, ringAbout, ringsOf, rounded, shapeOf, sizeOf, wrongsOf} from "./features.js";
import {bearing, crossing, distance, frame, heading, latitude, length, longitude, metres, signed, split, strip} from "./geo.js";

const NEEDED = {boundary: "the boundary: land you may land on", spectators: "where spectators stand", waiver: "the waiver: airspace you may fly in"};
const TAP = 22; // px
const copy = value => JSON.parse(JSON.stringify(value));

export function fieldEditor(root, {change, undo, redo, units = () => "us", pictures = null, rules = () => null}) {
  let site = {type: "FeatureCollection", name: "", features: []};
  let picked = -1, mode = null, fault = "", fitted = false, watch = null, here = null, whole = null, chosen = "", way_ = "", inWords = false, typed = {}, under = null, tie = null;
  const told = el("p", {class: "told", role: "status"}), tools = el("div", {class: "acts tools", role: "group", "aria-label": "Map"});
  const list = el("div", {class: "features"}), missing = el("p", {class: "missing"}), adding = el("div", {class: "adding"}), about = el("div", {class: "about"}), beneath = el("div", {class: "about"});

  const pad = () => site.features.find(f => f.properties?.role === "pad" && f.geometry?.type === "Point");
  const origin = () => pad()?.geometry.coordinates || [0, 0];
  let ground = frame([0, 0]);
  const declination = () => { const found = /^\s*([-+]?\d+(\.\d+)?)\s*(deg)?\s*$/.exec(String(site.declination ?? "")); return found ? Number(found[1]) : null; };
  const shown = m => units() === "si" ? `${m < 100 ? m.toFixed(1) : Math.round(m).toLocaleString("en")} m` : `${Math.round(m / .3048).toLocaleString("en")} ft`;
  // In three digits: no outline drawn by hand is known better.
  const areaShown = a => {
    const [size, unit] = units() === "si" ? (a < 1e5 ? [1, "m²"] : [1e6, "km²"]) : a < 4e4 ? [.3048 ** 2, "ft²"] : [4046.8564, "acres"];
    return `${Number((a / size).toPrecision(3)).toLocaleString("en")} ${unit}`;
  };

  const chart = groundMap({units, shown, parts, busy: () => mode, grab, ghost, drop, tap, leave}), {map, px, m, line, zoom, paint} = chart;
  root.replaceChildren(missing, el("div", {class: "field"}, el("div", {class: "canvas"}, tools, map, told), el("div", {class: "forms"}, about, adding, list, beneath)));

  // Every change passes here: the copy is changed, handed on and drawn.
  function apply(work) {
    const next = copy(site);
    work(next);
    site = next;
    fault = pictures ? "The field is being read …" : ""; // not called whole before the desk has read it
    ground = frame(origin());
    change(copy(site));
  }
  function edit(work) { apply(work); draw(); }
  // A change told by leaving a field is drawn once the focus has gone where it was going.
  function edited(work) { apply(work); setTimeout(draw); }
  const say = text => { told.textContent = text; told.classList.remove("bad"); };
  const bad = text => { told.textContent = text; told.classList.add("bad"); };
  function trying(work) { try { work(); return true; } catch (problem) { bad(problem.message); return false; } }

  const rings = feature => ringsOf(feature, ground), shape = (points, kind) => shapeOf(points, kind, ground);
  // That whose corners are moved one by one: of an area its outside, of several parts none.
  const local = feature => feature.geometry?.type?.startsWith("Multi") ? [] : rings(feature)[0] || [];

  // --- what lies on the map
  function fit(wide = true) {
    const points = site.features.filter(f => wide || ["pad", ...PEOPLE].includes(f.properties?.role)).flatMap(f => { const r = reach(f); return rings(f).flat().flatMap(([e, n]) => [[e - r, n - r], [e + r, n + r]]); });
    chart.fit(points.length ? points : [[-200, -200], [200, 200]]);
  }
  function parts(names) {
    // The picture as the desk laid it by its points, washed so that lines stay on top.
    const below = under?.east && pictures ? [svg("image", {href: pictures.url(under.file), transform: chart.laid(under), class: "beneath"})] : [];
    const above = site.features.flatMap((feature, i) => one(feature, i, names));
    if (here) { const [x, y] = px(ground.to(here.at)); above.push(svg("circle", {cx: x, cy: y, r: Math.max(4, here.error * chart.scale()), class: "near"}), svg("circle", {cx: x, cy: y, r: 6, class: "here"})); }
    return {below, above: mode?.points ? [...above, ...draft()] : above};
  }
  // A press takes hold of a corner of what is picked, or of all of it where it is to be moved.
  function grab(at) {
    const corner = picked >= 0 && !mode ? local(site.features[picked]).findIndex(p => distance(px(p), at) < TAP) : -1;
    return corner >= 0 ? {corner} : mode?.kind === "move" ? {} : null;
  }
  function ghost({corner}, from, to) {
    const feature = site.features[picked], moved = p => [p[0] + to[0] - from[0], p[1] + to[1] - from[1]];
    if (corner === undefined) return rings(feature).map(ring => line(ring.map(moved), closes(feature))).join("");
    return line(local(feature).map((p, i) => i === corner ? to : p), closes(feature));
  }
  function drop({corner}, from, to) {
    if (corner === undefined) shift(picked, to[0] - from[0], to[1] - from[1]);
    else moveCorner(picked, corner, to);
  }
  function tieing() {
    if (!pictures || !pad()) return beneath.replaceChildren();
    const known = site.picture ? {file: site.picture.file, points: site.picture.points || []} : null;
    tie ||= known && {...copy(known), pixel: null};
    const choose = el("input", {type: "file", accept: "image/jpeg,image/png", "aria-label": "A picture of the ground", onchange: async event => { const name = event.target.files[0] && await pictures.send(event.target.files[0]); if (name) { tie = {file: name, points: [], pixel: null}; tieing(); say("Tap a place in the picture that you know."); } }});
    const parts = [el("p", {class: "note"}, "A photo from above or a sketch of your own, laid by three or more places that you know in both. It goes with the site, onto the map too."), choose];
    if (tie) {
      const image = el("img", {src: pictures.url(tie.file), alt: "The picture: tap a place that you know", class: "tie"});
      image.addEventListener("click", event => { const box = image.getBoundingClientRect(), scale = image.naturalWidth / box.width; tie.pixel = [event.clientX - box.left, event.clientY - box.top].map(v => Math.round(v * scale)); mode = {kind: "tie"}; say("Now tap the same place on the map, or type it below."); bar(); paint(); tieing(); });
      const [latL, lat] = entry("Latitude of that place"), [lonL, lon] = entry("Longitude of that place");
      remember(lat, lon);
      parts.push(image, el("p", {role: "status"}, tie.pixel ? `Picked: ${tie.pixel.join(", ")}.` : `${tie.points.length} of at least 3 places tied${under?.error !== undefined ? `; they fit to ${shown(under.error)}` : ""}.`, under?.problem ? el("span", {class: "warning"}, under.problem) : ""),
        el("div", {class: "grid"}, latL, lonL, press("It is there", () => trying(() => tied([longitude(lon.value), latitude(lat.value)])))),
        el("div", {class: "acts"}, press("Take the last place back", () => { tie.points.pop(); ties(); }), press("Take the picture away", () => { tie = null; under = null; edit(next => { delete next.picture; }); })));
    }
    const open = beneath.querySelector("details")?.open || false;
    beneath.replaceChildren(el("details", {open}, el("summary", {}, "A picture under the map"), ...parts));
  }
  function tied(at) {
    if (!tie?.pixel) throw new Error("Tap the place in the picture first.");
    tie.points.push({pixel: tie.pixel, at: at.map(rounded)});
    tie.pixel = null;
    for (const at of ["Latitude of that place", "Longitude of that place"]) delete typed[at];
    leave();
    ties();
  }
  // Fewer than three places lay nothing: they wait here.
  function ties() {
    if (tie.points.length >= 3) edit(next => { next.picture = {file: tie.file, points: copy(tie.points)}; });
    else if (site.picture) edit(next => { delete next.picture; });
    tieing();
    if (tie.points.length < 3) say(`${tie.points.length} of 3 places: tap the next in the picture.`);
  }

  function one(feature, i, names) {
    const role = feature.properties?.role || "", kind = feature.geometry?.type, each = rings(feature), points = each[0] || [], r = reach(feature), on = i === picked;
    const look = `area ${role.replace(/ /g, "-")}${PEOPLE.includes(role) ? " people" : ""}${on ? " on" : ""}${faulty(i) ? " faulty" : ""}`, parts = [];
    if (role === "pad") { const [x, y] = px(points[0]); parts.push(svg("path", {d: `M${x} ${y - 11}L${x + 9} ${y + 8}H${x - 9}Z`, class: "pad"})); }
    else if (kind === "Point") parts.push(svg("circle", {cx: px(points[0])[0], cy: px(points[0])[1], r: Math.max(3, r * chart.scale()), class: look}));
    else if (points.length) parts.push(svg("path", {d: each.map(ring => line(ring, closes(feature))).join(""), "fill-rule": "evenodd", class: `${look}${closes(feature) ? "" : " way"}`}));
    if (points.length && role !== "boundary" && role !== "waiver") {
      const n = points.length, [x, y] = px(points.reduce((s, p) => [s[0] + p[0] / n, s[1] + p[1] / n], [0, 0]));
      names.push({text: String(feature.properties?.name || role), x, y: y + (role === "pad" ? 24 : 5), rank: on ? 4 : role === "spectators" ? 3 : PEOPLE.includes(role) ? 2 : role === "pad" ? 1 : 0});
    }
    if (on) local(feature).forEach((p, j) => parts.push(svg("circle", {cx: px(p)[0], cy: px(p)[1], r: 9, class: "corner", "data-corner": j})));
    return parts;
  }
  function draft() {
    const cross = mode.kind === "corners" && crossing(mode.points, mode.points.length > 2), parts = [svg("path", {d: line(mode.points, false), class: `draft${cross ? " faulty" : ""}`})];
    if (mode.kind === "corners" && mode.points.length > 2 && !LINES.includes(mode.role)) parts.push(svg("path", {d: line([mode.points.at(-1), mode.points[0]]), class: "draft closing"}));
    mode.points.forEach(p => parts.push(svg("circle", {cx: px(p)[0], cy: px(p)[1], r: 6, class: "corner"})));
    return parts;
  }
  function tap(at) {
    const place = m(at);
    if (mode?.kind === "tie") return trying(() => tied(ground.from(place)));
    if (mode?.kind === "pad") { const where = ground.from(place); leave(); return putPad(where); }
    if (mode?.points) {
      if (mode.kind === "corners" && mode.points.length > 2 && distance(px(mode.points[0]), at) < TAP) return close();
      mode.points.push(place);
      if (mode.kind === "split" && mode.points.length === 2) return cut();
      if (mode.kind === "ruler" && mode.points.length > 2) mode.points = [place];
      return progress();
    }
    const near = site.features.map((feature, i) => [i, nearness(feature, rings(feature), place)]).filter(([, d]) => d * chart.scale() < TAP).sort((a, b) => a[1] - b[1]);
    picked = near.length ? near[0][0] : -1;
    draw();
    if (picked >= 0) list.querySelector(`[data-of="${picked}"]`)?.scrollIntoView({block: "nearest"});
  }

  // --- what a mode does
  function progress() {
    const n = mode.points.length;
    if (mode.kind === "ruler") say(n < 2 ? "Ruler: tap the second point." : `${shown(distance(...mode.points.slice(-2)))} at ${Math.round(heading(...mode.points.slice(-2)))}° true`);
    else if (mode.kind === "split") say("Split: tap the second point of the line to cut along.");
    else if (mode.kind === "corners") {
      const cross = crossing(mode.points, n > 2 && !LINES.includes(mode.role));
      const much = n > 2 && !LINES.includes(mode.role) ? `, ${areaShown(Math.abs(signed(mode.points)))}` : "";
      if (cross) bad(`Sides ${cross[0] + 1} and ${cross[1] + 1} cross: take a corner back.`);
      else say(`${n} corner${n === 1 ? "" : "s"}${n > 1 ? `, last side ${shown(distance(...mode.points.slice(-2)))}` : ""}${much}. ${n > 2 ? "Tap the first corner, or Close." : "Tap the next."}`);
    }
    bar();
    paint();
  }
  function walk(role) {
    mode = {kind: "corners", role, points: []};
    say("Tap the corners in turn, or stand at each.");
    bar();
    paint();
    map.focus();
    map.scrollIntoView({block: "nearest"});
  }
  function leave() {
    // Taps set no corner from here on: the way is picked anew for the next area.
    if (mode?.kind === "corners" && way_ === "tap") { way_ = ""; mode = null; add_(); }
    mode = null; if (watch !== null) { navigator.geolocation.clearWatch(watch); watch = null; } say("");
    bar();
    paint();
  }
  function add(role, geometry, more = {}) {
    apply(next => { next.features.push({type: "Feature", properties: {role, name: freeName(site, role), ...more}, geometry}); });
    picked = site.features.length - 1;
    chosen = "";
    typed = {needle: typed.needle};
    draw();
    if (!seen(site.features[picked])) fit();
    list.querySelector(`[data-of="${picked}"] input`)?.focus({preventScroll: true});
    const drawn = geometry.type === "Point" ? "circle" : geometry.type === "Polygon" ? "area" : "line";
    say(`${site.features[picked].properties.name} is drawn. Its ${drawn} can be moved here; who and what it is stands in the list.`);
  }
  function seen(feature) {
    const [w, h] = chart.size(), r = reach(feature) * chart.scale();
    return rings(feature).flat().map(px).every(([x, y]) => x - r >= 0 && x + r <= w && y - r >= 0 && y + r <= h);
  }
  function close() {
    const {points, role} = mode, kind = LINES.includes(role) && mode.open ? "LineString" : "Polygon";
    if (points.length < (kind === "Polygon" ? 3 : 2)) return bad(`${kind === "Polygon" ? "An area needs three corners" : "A line needs two"}.`);
    const cross = crossing(points, kind === "Polygon");
    if (cross) return bad(`Sides ${cross[0] + 1} and ${cross[1] + 1} cross: take a corner back.`);
    leave();
    add(role, shape(points, kind));
  }
  function circleAt(role, centre, text) {
    const r = metres(text, "radius");
    if (!(r > 0)) throw new Error("radius: must be more than 0");
    if (!asRing(role)) return add(role, shape([centre], "Point"), {radius: text.trim()});
    add(role, shape(ringAbout(role, centre, r), "Polygon"));
  }
  function cut() {
    const [a, b] = mode.points, ring = local(site.features[picked]), parts = split(ring, a, b);
    leave();
    if (rings(site.features[picked]).length > 1) return bad("It has a hole: it is not cut here. Draw its parts instead.");
    if (!parts) return bad("That line does not cut the area in two.");
    edit(next => {
      const whole = next.features[picked], other = copy(whole);
      whole.geometry = shape(parts[0], "Polygon");
      other.geometry = shape(parts[1], "Polygon");
      other.properties.name = freeName(site, whole.properties.role);
      if (other.properties.people !== undefined) delete other.properties.people;
      next.features.push(other);
    });
    say("Cut in two. Say how many people stand in each part.");
  }
  function moveCorner(i, corner, to) {
    const points = local(site.features[i]), {type: kind, coordinates} = site.features[i].geometry;
    points[corner] = to;
    if (site.features[i].properties.role === "pad") return putPad(ground.from(to), i);
    const cross = kind !== "Point" && crossing(points, kind === "Polygon");
    if (cross) { bad("There the area would cross itself: it stays as it was."); return paint(); }
    const outside = shape(points, kind);
    if (kind === "Polygon") outside.coordinates.push(...coordinates.slice(1)); // its holes stay where they are
    edit(next => { next.features[i].geometry = outside; });
  }
  function shift(i, east, north) {
    const {geometry, properties} = site.features[i];
    const moved = at => { if (Array.isArray(at[0])) return at.map(moved); const [e, n] = ground.to(at); return ground.from([e + east, n + north]).map(rounded); };
    const coordinates = moved(geometry.coordinates);
    leave();
    if (properties.role === "pad") return putPad(coordinates, i);
    edit(next => { next.features[i].geometry.coordinates = coordinates; });
  }
  // The pad that was picked; by the form, the first.
  function putPad([lon, lat], which = site.features.findIndex(f => f.properties?.role === "pad")) {
    edit(next => {
      const known = next.features[which];
      const geometry = {type: "Point", coordinates: [rounded(lon), rounded(lat)]};
      if (known) known.geometry = geometry;
      else next.features.unshift({type: "Feature", properties: {role: "pad", name: "Pad"}, geometry});
    });
    if (!fitted) { fitted = true; fit(); }
  }

  // Where this phone is: the middle of what it says in some seconds, with how well.
  function stand(then) {
    if (!navigator.geolocation) return bad("This device tells no position; type it.");
    const seen = [];
    say("Asking for the position … stand still.");
    const done = () => {
      navigator.geolocation.clearWatch(watch);
      watch = null;
      if (!seen.length) return bad("No position came; step into the open, or type it.");
      const best = seen.filter(c => c.accuracy <= 2 * Math.min(...seen.map(s => s.accuracy)));
      const mean = key => best.reduce((s, c) => s + c[key], 0) / best.length;
      here = {at: [mean("longitude"), mean("latitude")], error: Math.min(...best.map(c => c.accuracy))};
      then(here);
      say(`Good to ${shown(here.error)}.${here.error > 15 ? " That is not well enough for a crowd line: measure it with a tape." : ""}`);
    };
    watch = navigator.geolocation.watchPosition(at => { seen.push(at.coords); if (seen.length >= 8 || at.coords.accuracy < 4) done(); }, problem => { if (!seen.length) { navigator.geolocation.clearWatch(watch); watch = null; bad(`No position: ${problem.message || "it was refused"}; type it.`); } }, {enableHighAccuracy: true, maximumAge: 0, timeout: 20000});
    setTimeout(() => { if (watch !== null) done(); }, 9000);
  }

  // --- forms
  const press = (text, work, more = {}) => el("button", {type: "button", onclick: work, ...more}, text);
  const entry = (text, more = {}) => { const input = el("input", {autocomplete: "off", "data-at": text, value: "", ...more}); return [el("label", {}, text, " ", input), input]; };
  function bar() {
    const free = !mode, corners = mode?.kind === "corners", chosen = site.features[picked];
    const buttons = [
      press("+", () => zoom(1.5), {"aria-label": "Nearer"}), press("−", () => zoom(1 / 1.5), {"aria-label": "Farther"}), press("All", () => fit()), press("People", () => fit(false)),
      free && press("Ruler", () => { mode = {kind: "ruler", points: []}; say("Ruler: tap the first point."); bar(); paint(); }),
      free && press("Undo", undo), free && press("Redo", redo),
      free && chosen && press("Move it", () => { mode = {kind: "move"}; say("Drag it to its place."); bar(); }),
      free && chosen?.geometry.type === "Polygon" && press("Split it", () => { mode = {kind: "split", points: []}; say("Split: tap two points of a line to cut along."); bar(); paint(); }),
      corners && press("I stand at a corner", () => stand(at => { mode?.points?.push(ground.to(at.at)); if (mode) progress(); })),
      corners && press("Take one back", () => { mode.points.pop(); progress(); }),
      corners && press("Close", () => { mode.open = false; close(); }, {class: "main"}),
      corners && LINES.includes(mode.role) && press("Leave it a line", () => { mode.open = true; close(); }, {class: "main"}),
      mode && press("Leave", leave)].filter(Boolean);
    // Buttons that stay are left alone: a press that has begun still finds its button.
    if ([...tools.children].map(b => b.textContent).join() !== buttons.map(b => b.textContent).join()) tools.replaceChildren(...buttons);
  }

  // What is typed and not used yet outlives every drawing.
  function remember(...inputs) {
    for (const input of inputs) {
      const at = input.dataset.at;
      input.value = typed[at] ?? input.value;
      input.told = input.value;
      input.addEventListener("input", () => { typed[at] = input.value; input.told = input.value; });
    }
  }

  // One of the sets that are known, or in words: several with commas between, or a file of one's own.
  function ruling() {
    const sets = rules(), set = value => edited(next => { if (value) next.rules = value; else delete next.rules; });
    const input = el("input", {autocomplete: "off", "data-at": "rules", "aria-label": "Rules that hold here, in words", placeholder: sets ? "us, club.toml" : "us", value: site.rules ?? "", onchange: event => set(event.target.value.trim())});
    if (!sets) return el("label", {}, "Rules that hold here ", input);
    const own = inWords || (site.rules && !sets.includes(site.rules));
    const list = el("select", {"data-at": "rule set", onchange: event => { inWords = event.target.value === "?"; if (inWords) draw(); else set(event.target.value); }},
      el("option", {value: ""}, "not told"), sets.map(name => el("option", {value: name, selected: !own && name === site.rules}, name)), el("option", {value: "?", selected: own}, "several, or a file of your own"));
    return el("label", {}, "Rules that hold here ", list, own ? input : "");
  }

  function site_() {
    const member = (key, text, more) => { const [label, input] = entry(text, {value: site[key] ?? "", ...more}); input.addEventListener("change", () => edited(next => { const v = input.value.trim(); if (v) next[key] = v; else delete next[key]; })); return label; };
    const [latLabel, lat] = entry("Latitude of the pad", {placeholder: "41.6040 or 41° 36' 14.4\" N"}), [lonLabel, lon] = entry("Longitude of the pad", {placeholder: "117° 57' 7.2\" W"});
    if (pad()) { lon.value = origin()[0]; lat.value = origin()[1]; }
    remember(lat, lon);
    const place = () => { trying(() => { if (!lat.value.trim() || !lon.value.trim()) throw new Error("Type both the latitude and the longitude of the pad."); const at = [longitude(lon.value), latitude(lat.value)]; for (const input of [lat, lon]) delete typed[input.dataset.at]; putPad(at); say(`The pad is at ${at[1].toFixed(5)}, ${at[0].toFixed(5)}.`); }); };
    about.replaceChildren(el("details", {open: whole ?? (!pad() || !site.elevation), ontoggle: event => { whole = event.target.open; }}, el("summary", {}, "Site and pad"), el("div", {class: "grid"},
      member("name", "Name of the site", {maxlength: 80}), member("elevation", "Height of the pad above the sea", {placeholder: "such as 4050 ft"}),
      ruling(), member("declination", "The needle's declination, east positive", {placeholder: "such as -12.5"}),
      latLabel, lonLabel, press("Put the pad there", place, {class: "main"}),
      press("Put the pad where I stand", () => stand(at => putPad(at.at))), pad() ? press("Tap its place", () => { mode = {kind: "pad"}; say("Tap where the pad stands."); bar(); paint(); }) : "")));
  }

  function add_() {
    if (!pad()) return adding.replaceChildren(el("p", {class: "note"}, "Put the pad in its place first: everything is measured from it."));
    const role = el("select", {id: "role"}, el("option", {value: ""}, "choose"), ROLES.map(name => el("option", {}, name)));
    role.value = chosen;
    const what = () => { if (!role.value) throw new Error("What is it? Choose what you draw first."); return role.value; };
    role.addEventListener("change", () => { chosen = role.value; if (chosen && mode?.kind === "corners") { mode.role = role.value; bar(); paint(); } });
    const needle = el("select", {onchange: () => { typed.needle = needle.value; }}, el("option", {value: ""}, "choose"), ["true", "magnetic"].map(north => el("option", {selected: typed.needle === north}, north)));
    const angle = text => { if (!needle.value) throw new Error("Are the bearings true or magnetic? Choose it first."); return bearing(text, needle.value === "magnetic", declination()); };
    const [longL, long] = entry("Long", {placeholder: "such as 60 m"}), [offL, off] = entry("Off the pad", {placeholder: "such as 300 ft"}), [wayL, way] = entry("Bearing from the pad", {placeholder: "such as 180, or S"}), [deepL, deep] = entry("Deep", {placeholder: "such as 5 m"});
    const [radL, rad] = entry("Radius", {placeholder: "such as 1500 ft"}), [outL, out] = entry("Its centre off the pad", {placeholder: "such as 400 ft; 0 m: the pad"}), [toL, to] = entry("at bearing", {placeholder: "such as 210"});
    const rows = el("textarea", {"data-at": "corners", rows: 4, placeholder: "such as\n300 ft, 225\n300 ft, 135\n120 m, 90", spellcheck: "false"});
    const made = points => { checkRing(points); add(what(), shape(points, "Polygon")); };
    const ways = {
      tap: [el("p", {class: "note full"}, "Tap its corners on the map in turn, or stand at each; then Close.")],
      strip: [longL, offL, wayL, deepL, press("Draw the strip", () => trying(() => made(strip(metres(long.value, "long"), metres(off.value, "off the pad"), angle(way.value), metres(deep.value, "deep")))), {class: "main"})],
      tape: [el("label", {class: "full"}, "A corner in each line: distance from the pad, bearing ", rows), press("Draw it", () => trying(() => made(cornersOf(rows.value, angle))), {class: "main"})],
      circle: [radL, outL, toL, press("Draw the circle", () => trying(() => circleAt(what(), centreOf(out.value, to.value, angle), rad.value)), {class: "main"})],
    };
    remember(long, off, way, deep, rad, out, to, rows);
    const body = el("div", {class: "grid"}), names = {tap: "by corners", strip: "a strip", tape: "by tape and compass", circle: "a circle"};
    const pick = el("div", {class: "acts"}, Object.entries(names).map(([key, text]) => press(text, () => { if (mode?.kind === "corners") { if (key === "tap") return; leave(); } choose(key); if (key === "tap" && !trying(() => walk(what()))) choose(""); }, {"aria-pressed": "false"})));
    function choose(key) {
      way_ = key;
      body.replaceChildren(...(ways[key] || []));
      [...pick.children].forEach((b, i) => b.setAttribute("aria-pressed", String(Object.keys(names)[i] === key)));
    }
    if (way_) choose(way_);
    adding.replaceChildren(el("h2", {}, "Draw"), el("div", {class: "grid"}, el("label", {}, "What ", role), el("label", {}, "Bearings are ", needle)), pick, body);
  }

  const faulty = i => new RegExp(`feature ${i + 1}\\b`).test(fault);
  function rows() {
    list.replaceChildren(el("h2", {}, `Drawn: ${site.features.length}`), ...site.features.map((feature, i) => {
      const p = feature.properties || {}, points = rings(feature).flat(), kind = feature.geometry?.type;
      const property = (key, text, more = {}) => { const [label, input] = entry(text, {value: p[key] ?? "", "data-at": `${i} ${key}`, ...more}); input.addEventListener("change", () => edited(next => { const v = input.value.trim(), own = next.features[i].properties; if (!v) delete own[key]; else own[key] = key === "people" && /^\d+$/.test(v) ? Number(v) : v; })); return label; };
      const shelter = el("select", {onchange: event => edited(next => { next.features[i].properties.shelter = event.target.value; })}, ["open", "car", "roof"].map(name => el("option", {selected: (p.shelter || "open") === name}, name)));
      const size_ = kind === "Polygon" ? areaShown(sizeOf(rings(feature))) : kind === "LineString" ? shown(length(points)) : kind === "Point" && p.role !== "pad" ? `radius ${p.radius}` : "";
      const off = points.length && !["pad", "boundary", "waiver"].includes(p.role) ? `${shown(nearness(feature, rings(feature), [0, 0]))} from the pad` : "";
      return el("details", {"data-of": i, open: i === picked, class: faulty(i) ? "faulty" : ""}, el("summary", {onclick: () => { picked = i; setTimeout(() => { bar(); paint(); }); }}, `${p.name || p.role || "?"}`, el("small", {}, [p.role, size_, off].filter(Boolean).join(", "))),
        faulty(i) ? el("p", {class: "warning"}, fault) : "",
        el("div", {class: "grid"}, property("name", "Name", {maxlength: 80}),
          el("label", {}, "Role ", el("select", {onchange: event => edited(next => { next.features[i].properties.role = event.target.value; })}, ["pad", ...ROLES].includes(p.role) ? [] : el("option", {value: "", selected: true}, p.role ? `${p.role}?` : "choose"), ["pad", ...ROLES].map(name => el("option", {selected: name === p.role}, name)))),
          ["pad", "boundary", "waiver"].includes(p.role) ? "" : property("people", "People", {inputmode: "numeric"}), ["pad", "boundary", "waiver"].includes(p.role) ? "" : el("label", {}, "Shelter ", shelter),
          kind === "Point" && p.role !== "pad" ? property("radius", "Radius") : "", kind === "LineString" ? property("width", "Width") : "",
          p.role === "waiver" ? property("ceiling", "Ceiling above the ground") : "", p.role === "waiver" ? property("ceiling_altitude", "or above the sea") : "",
          press("Take it away", () => { picked = -1; edit(next => { next.features.splice(i, 1); }); })));
    }));
  }
  function need() {
    const roles = site.features.map(f => f.properties?.role), still = pad() ? [] : ["a pad"], open = Object.entries(NEEDED).filter(([role]) => !roles.includes(role));
    if (!LENGTH.test(site.elevation ?? "")) still.push("the height of the pad above the sea");
    if (site.features.some(f => f.properties?.role === "waiver" && !f.properties.ceiling && !f.properties.ceiling_altitude)) still.push("the waiver's ceiling: type it as the waiver's own text has it");
    const wrong = wrongsOf(site, rules()), said = wrong.length ? wrong : fault && (!(still.length || open.length) || /: (elevation|rules|declination)\b/.test(fault)) ? [fault] : [];
    const draws = pad() ? open.map(([role, text]) => press(`Draw ${text}`, () => { chosen = role; add_(); find("#role").focus(); find("#role").scrollIntoView({block: "center"}); })) : [];
    if (!pad()) still.push(...open.map(([, text]) => text));
    const lacks = still.length > 0 || draws.length > 0;
    missing.replaceChildren(...said.map(text => el("span", {class: "warning"}, `${text} `)), lacks ? `Still needed${still.length ? `: ${still.join("; ")}.` : ":"} ` : said.length ? "" : site.rules ? "The field is whole: flights can be judged here." : "The field is whole but for its rules: name those that hold here, or every flight holds.", ...draws);
    missing.className = lacks || said.length || !site.rules ? "missing" : "missing whole";
  }
  function draw() { calmly(drawn); }
  function drawn() {
    root.classList.toggle("no-pad", !pad());
    keeping(() => { need(); bar(); site_(); add_(); rows(); tieing(); });
    paint();
  }
  new ResizeObserver(() => { if (!fitted && pad() && map.clientWidth) { fitted = true; fit(false); } else paint(); }).observe(map);

  return {
    show(next, text = "") { if (tie?.points.length >= 3) tie = null; site = {type: "FeatureCollection", features: [], ...copy(next)}; fault = text; ground = frame(origin()); if (picked >= site.features.length) picked = -1; draw(); if (!fitted && pad() && map.clientWidth) { fitted = true; fit(false); } },
    fault(text) { fault = text; need(); for (const row of list.querySelectorAll("[data-of]")) row.classList.toggle("faulty", faulty(Number(row.dataset.of))); paint(); },
    beneath(next) { under = next; tieing(); paint(); },
    site: () => copy(site), say, bad,
  };
}
