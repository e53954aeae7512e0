"""What the rooms of the desk answer: the wind, the answers, the field and the flight."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Final

from flask import Blueprint, Response, abort, jsonify

from driftmap.core.errors import InputError
from driftmap.core.files import parse_toml
from driftmap.desk import answers, flights, ground, winds
from driftmap.desk.day import Day, Meter, change, in_use, read_day
from driftmap.desk.desk import SITE, Desk
from driftmap.desk.forms import tables
from driftmap.desk.plans import Plans, works
from driftmap.desk.web import LARGEST, sealed, sent, text_sent
from driftmap.planning.trial import in_still_air
from driftmap.report.flightsketch import flight_pictures
from driftmap.rocket.flightfile import read_flight
from driftmap.rules import rule_sets as known
from driftmap.rules.kinds import SCOPES
from driftmap.winds.reading import clock_time
from driftmap.winds.reading import present as now

_AHEAD: Final = timedelta(minutes=1)  # of the desk's own clock
_LARGEST_FLIGHT: Final = 1_000_000  # byte, as the reader of flights has it
_LARGEST_CURVE: Final = 4_000_000
_LARGEST_TEXT: Final = 2_000_000  # byte of a report that is pasted


def wind_part(desk: Desk) -> Blueprint:
    """Answer the room of the wind."""
    part = Blueprint("wind", __name__)

    @part.post("/winds/try")
    def attempt() -> Response:
        what = sent()
        day, setting = read_day(desk.folder), _setting(desk, what)
        text = text_sent(what, "text", _LARGEST_TEXT)
        return jsonify(winds.understood(desk.folder, day, setting, text))

    @part.post("/winds/take")
    def take() -> Response:
        what = sent()
        text = text_sent(what, "text", _LARGEST_TEXT)
        name = winds.take(desk.folder, text, _setting(desk, what))
        desk.queue.hurry()
        return jsonify(file=name)

    @part.post("/winds/fetch")
    def fetch() -> Response:
        return jsonify(text=winds.fetched(desk.setting()))

    @part.get("/winds/now")
    def present() -> Response:
        day = read_day(desk.folder)
        return jsonify(winds.understood(desk.folder, day, desk.setting()))

    @part.post("/winds/count")
    def count() -> Response:
        what = sent()
        name, counts = text_sent(what, "file"), what.get("counts")
        if not isinstance(counts, bool):
            raise InputError("counts", "", "must be true or false")
        if counts:
            desk.folder.need(name)

        def edit(day: Day) -> Day:
            rest = tuple(w for w in day.winds if w != name)
            aside = tuple(one for one in day.aside if one.file != name)
            return replace(day, winds=(*rest, name), aside=aside)

        if counts:
            change(desk.folder, edit)
        elif name in read_day(desk.folder).winds:
            why, by = text_sent(what, "why"), text_sent(what, "by")
            rows = desk.winds_told(read_day(desk.folder))["rows"]
            winds.set_aside(desk.folder, rows, name, why=why, by=by)
        desk.queue.hurry()
        return jsonify(file=name)

    @part.post("/meter")
    def meter() -> Response:
        """Take a meter into use, by its name and all that its reader must tell of it."""
        what = sent()
        told = Meter(*(text_sent(what, k) for k in ("name", "unit", "north", "height")))
        change(desk.folder, lambda day: in_use(day, told))
        return jsonify(name=told.name)

    return part


def _setting(desk: Desk, what: dict[str, Any]) -> Any:
    told = text_sent(what, "read_at")
    if not told:
        return desk.setting()
    time = _clock("read at", told, desk.doubt())
    if time > now() + _AHEAD:
        problem = f"{told[:40]!r} is still to come; tell when it was read"
        raise InputError("read at", "", problem)
    return desk.setting(time)


def _clock(what: str, text: str, doubt: str) -> datetime:
    """Read a time of today, 14:05, or one with its day; of this computer's zone, if sure."""
    try:
        time = clock_time(text, now())
    except ValueError:
        told = f"{text[:40]!r} is no time; accepted is 14:05"
        raise InputError(what, "", told) from None
    bare = not re.search(r"(?:Z|[-+]\d\d:?\d\d)$", text.strip(), re.IGNORECASE)
    if bare and doubt:
        told = f"{doubt}; add your zone, such as {text[:5]}-07:00"
        raise InputError(what, "", told)
    return time


def people_part(desk: Desk) -> Blueprint:
    """Answer for the officer's answers and the field."""
    part = Blueprint("people", __name__)

    @part.get("/answers/<name>")
    def listed(name: str) -> Response:
        flight, site = _of(desk, name)
        return jsonify(answers.asked(desk.folder, flight, site, now()))

    @part.post("/answers/<name>")
    def answered(name: str) -> Response:
        what = sent()
        flight, site = _of(desk, name)
        told = {key: text_sent(what, key) for key in ("name", "scope", "value", "by")}
        until = text_sent(what, "until").strip()
        end = _clock("until", until, desk.doubt()) if until else None
        if told["scope"] not in SCOPES:
            raise InputError("scope", "", f"must be one of {', '.join(SCOPES)}")
        if read_day(desk.folder).item(name).state == "flown":
            problem = "has flown: answer for the one that waits"
            raise InputError(flight.name, "", problem)
        file = answers.answer(desk.folder, told, flight, site, now(), end)
        desk.queue.hurry()
        return jsonify(file=file)

    @part.get("/site")
    def site() -> Response:
        with desk.folder.held():
            text = desk.folder.text(SITE)
            return jsonify(
                text=text,
                revision=desk.folder.revision(SITE),
                problem=_faults(desk) if text else "",
                picture=ground.laid(desk.folder, text),
            )

    @part.put("/site")
    def save_site() -> Response:
        what = sent()
        base = text_sent(what, "base")
        tree = what.get("site")
        if not isinstance(tree, dict):
            raise InputError(SITE, "", "is no GeoJSON object")
        ground.check_picture(desk.folder, tree)
        text = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        if what.get("aside") is True:
            desk.folder.lay_aside(SITE, text.encode())
            return jsonify(revision=desk.folder.revision(SITE))
        revision = desk.folder.write(SITE, text.encode(), base)
        desk.queue.hurry()
        picture = ground.laid(desk.folder, text)
        return jsonify(revision=revision, problem=_faults(desk), picture=picture)

    @part.post("/pictures")
    def take_picture() -> Response:
        what = sent()
        data = text_sent(what, "data", LARGEST)
        name = ground.picture_taken(desk.folder, text_sent(what, "name"), data)
        return jsonify(file=name)

    @part.get("/pictures/<name>")
    def show_picture(name: str) -> Response:
        data = desk.folder.read(f"pictures/{name}")
        kind = "image/png" if name.lower().endswith(".png") else "image/jpeg"
        return Response(data or b"", 200 if data else 404, mimetype=kind)

    @part.get("/rule-sets")
    def rule_sets() -> Response:
        return jsonify([{"name": name, "title": name} for name in known()])

    return part


def flight_part(desk: Desk) -> Blueprint:
    """Answer the room of the flight."""
    part = Blueprint("flight", __name__)

    @part.get("/flight-tables")
    def forms() -> Response:
        return jsonify(tables())

    @part.get("/flights/<stem>")
    def shown(stem: str) -> Response:
        return jsonify(flights.flight_shown(desk.folder, _file(stem)))

    @part.put("/flights/<stem>")
    def change(stem: str) -> Response:
        what, name = sent(), _file(stem)
        base = text_sent(what, "base")
        if "text" in what:
            text = text_sent(what, "text", _LARGEST_FLIGHT)
            flights.text_taken(desk.folder, name, base, text)
        else:
            path = what.get("path")
            if not isinstance(path, list):
                raise InputError("path", "", "is no place in a flight file")
            value = _value(what.get("value"), literal=bool(what.get("literal")))
            flights.changed(desk.folder, name, base, path, value)
        desk.queue.hurry()
        return jsonify(flights.flight_shown(desk.folder, name))

    @part.get("/flights/<stem>/pictures")
    def pictures(stem: str) -> Response:
        flight = read_flight(desk.folder.path(_file(stem)))
        try:
            altitude = desk.anywhere().elevation
        except InputError:
            altitude = 0.0
        cloud = in_still_air(flight, altitude)
        return jsonify(flight_pictures(flight, cloud, read_day(desk.folder).units))

    @part.post("/flights")
    def new() -> Response:
        what = sent()
        rocket, like = text_sent(what, "name"), text_sent(what, "like")
        return jsonify(file=flights.made_new(desk.folder, rocket, like))

    @part.post("/curves")
    def curve() -> Response:
        what = sent()
        text = text_sent(what, "text", _LARGEST_CURVE)
        return jsonify(
            curve=flights.curve_taken(desk.folder, text_sent(what, "name"), text)
        )

    return part


def plan_part(desk: Desk, plans: Plans) -> Blueprint:
    """Answer the room of plans."""
    part = Blueprint("plans", __name__)

    @part.get("/plan-forms")
    def forms() -> Response:
        return jsonify([*works().values()])

    @part.get("/plans")
    def told() -> Response:
        return jsonify(plans.told())

    @part.post("/plans")
    def begin() -> Response:
        what = sent()
        given = what.get("given")
        if not isinstance(given, dict):
            raise InputError("given", "", "is no object")
        work, flight, pad = (text_sent(what, k) for k in ("work", "flight", "pad"))
        plans.begin(work, flight, pad, given)
        return jsonify(plans.told())

    @part.post("/plans/stop")
    def stop() -> Response:
        plans.stop()
        return jsonify(plans.told())

    @part.get("/plans/<name>/<file>")
    def file(name: str, file: str) -> Response:
        data = plans.file(name, file)
        if data is None:
            abort(404)
        if file.endswith(".html"):
            return sealed(data.decode("utf-8"))
        head = {"Content-Disposition": f'attachment; filename="{file}"'}
        return Response(data, mimetype="application/octet-stream", headers=head)

    return part


def _file(stem: str) -> str:
    return f"flights/{stem}.toml"


def _value(value: Any, *, literal: bool) -> Any:
    """Take a value for a flight file: plain, or as TOML writes it."""
    if literal and isinstance(value, str):
        return parse_toml(f"x = {value}", "value").get("x")
    if value is not None and not isinstance(value, str | int | float | bool):
        raise InputError("value", "", "must be text, a number, yes or no")
    return value


def _of(desk: Desk, name: str) -> tuple[Any, Any]:
    """Read the flight of a line of the list, and the site about its pad."""
    item = read_day(desk.folder).item(name)
    return read_flight(desk.folder.path(item.flight)), desk.site(item.pad)


def _faults(desk: Desk) -> str:
    """Say what a site still lacks; empty where it can be flown from."""
    try:
        desk.anywhere()
    except InputError as problem:
        return desk.folder.plain(problem)
    return ""
