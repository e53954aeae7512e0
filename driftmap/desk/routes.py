"""What the rooms of the desk answer: the wind, the answers, the field and the flight."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Final, cast

from flask import Blueprint, Response, abort, current_app, jsonify
from werkzeug.local import LocalProxy

from driftmap.core.errors import InputError
from driftmap.core.files import parse_toml
from driftmap.desk import answers, flights, ground, winds
from driftmap.desk.day import Day, Meter, change_day, in_use, read_day
from driftmap.desk.field import SITE
from driftmap.desk.forms import tables
from driftmap.desk.listing import list_winds
from driftmap.desk.plan_words import works
from driftmap.desk.plans import Plans
from driftmap.desk.web import LARGEST, current_desk, sealed, sent, text_sent
from driftmap.planning.trial import in_still_air
from driftmap.report.flightsketch import flight_pictures
from driftmap.rocket.flightfile import read_flight
from driftmap.rules.reading import rule_sets
from driftmap.rules.vocabulary import SCOPES
from driftmap.winds.times import clock_time
from driftmap.winds.times import present as now

_AHEAD: Final = timedelta(minutes=1)  # of the desk's own clock
_LARGEST_FLIGHT: Final = 1_000_000  # byte, as the reader of flights has it
_LARGEST_CURVE: Final = 4_000_000
_LARGEST_TEXT: Final = 2_000_000  # byte of a report that is pasted


wind_routes = Blueprint("wind", __name__)


@wind_routes.post("/winds/try")
def _try_wind() -> Response:
    what = sent()
    day, setting = read_day(current_desk.folder), _setting(what)
    text = text_sent(what, "text", _LARGEST_TEXT)
    return jsonify(winds.understood(current_desk.folder, day, setting, text))


@wind_routes.post("/winds/take")
def _take_wind() -> Response:
    what = sent()
    text = text_sent(what, "text", _LARGEST_TEXT)
    name = winds.take(current_desk.folder, text, _setting(what))
    current_desk.queue.hurry()
    return jsonify(file=name)


@wind_routes.post("/winds/fetch")
def _fetch_forecast() -> Response:
    return jsonify(text=winds.fetched(current_desk.field.setting()))


@wind_routes.get("/winds/now")
def _wind_now() -> Response:
    day = read_day(current_desk.folder)
    return jsonify(
        winds.understood(current_desk.folder, day, current_desk.field.setting())
    )


@wind_routes.post("/winds/count")
def _count_wind() -> Response:
    what = sent()
    name, counts = text_sent(what, "file"), what.get("counts")
    if not isinstance(counts, bool):
        raise InputError("counts", "", "must be true or false")
    if counts:
        current_desk.folder.need(name)

    def edit(day: Day) -> Day:
        rest = tuple(w for w in day.winds if w != name)
        aside = tuple(one for one in day.aside if one.file != name)
        return replace(day, winds=(*rest, name), aside=aside)

    if counts:
        change_day(current_desk.folder, edit)
    elif name in read_day(current_desk.folder).winds:
        why, by = text_sent(what, "why"), text_sent(what, "by")
        rows = list_winds(current_desk, read_day(current_desk.folder))["rows"]
        winds.set_aside(current_desk.folder, rows, name, why=why, by=by)
    current_desk.queue.hurry()
    return jsonify(file=name)


@wind_routes.post("/meter")
def _take_meter() -> Response:
    """Take a meter into use, by its name and all that its reader must tell of it."""
    what = sent()
    told = Meter(*(text_sent(what, k) for k in ("name", "unit", "north", "height")))
    change_day(current_desk.folder, lambda day: in_use(day, told))
    return jsonify(name=told.name)


def _setting(what: dict[str, Any]) -> Any:
    told = text_sent(what, "read_at")
    if not told:
        return current_desk.field.setting()
    time = _clock("read at", told, current_desk.field.doubt())
    if time > now() + _AHEAD:
        problem = f"{told[:40]!r} is still to come; tell when it was read"
        raise InputError("read at", "", problem)
    return current_desk.field.setting(time)


def _clock(what: str, text: str, doubt: str) -> datetime:
    """Read a time of today, 14:05, or one with its day; of this computer's zone, if sure."""
    try:
        time = clock_time(text, now())
    except ValueError:
        message = f"{text[:40]!r} is no time; accepted is 14:05"
        raise InputError(what, "", message) from None
    bare = not re.search(r"(?:Z|[-+]\d\d:?\d\d)$", text.strip(), re.IGNORECASE)
    if bare and doubt:
        message = f"{doubt}; add your zone, such as {text[:5]}-07:00"
        raise InputError(what, "", message)
    return time


people_routes = Blueprint("people", __name__)


@people_routes.get("/answers/<name>")
def _show_questions(name: str) -> Response:
    flight, site = _of(name)
    return jsonify(answers.asked(current_desk.folder, flight, site, now()))


@people_routes.post("/answers/<name>")
def _answer_question(name: str) -> Response:
    what = sent()
    flight, site = _of(name)
    told = {key: text_sent(what, key) for key in ("name", "scope", "value", "by")}
    until = text_sent(what, "until").strip()
    end = _clock("until", until, current_desk.field.doubt()) if until else None
    if told["scope"] not in SCOPES:
        raise InputError("scope", "", f"must be one of {', '.join(SCOPES)}")
    if read_day(current_desk.folder).item(name).state == "flown":
        problem = "has flown: answer for the one that waits"
        raise InputError(flight.name, "", problem)
    file = answers.answer(current_desk.folder, told, flight, site, now(), end)
    current_desk.queue.hurry()
    return jsonify(file=file)


@people_routes.get("/site")
def _show_site() -> Response:
    with current_desk.folder.held():
        text = current_desk.folder.text(SITE)
        return jsonify(
            text=text,
            revision=current_desk.folder.revision(SITE),
            problem=_faults() if text else "",
            picture=ground.picture_place(current_desk.folder, text),
        )


@people_routes.put("/site")
def _save_site() -> Response:
    what = sent()
    base = text_sent(what, "base")
    tree = what.get("site")
    if not isinstance(tree, dict):
        raise InputError(SITE, "", "is no GeoJSON object")
    ground.check_picture(current_desk.folder, tree)
    text = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    if what.get("aside") is True:
        current_desk.folder.lay_aside(SITE, text.encode())
        return jsonify(revision=current_desk.folder.revision(SITE))
    revision = current_desk.folder.write(SITE, text.encode(), base)
    current_desk.queue.hurry()
    picture = ground.picture_place(current_desk.folder, text)
    return jsonify(revision=revision, problem=_faults(), picture=picture)


@people_routes.post("/pictures")
def _take_picture() -> Response:
    what = sent()
    data = text_sent(what, "data", LARGEST)
    name = ground.picture_taken(current_desk.folder, text_sent(what, "name"), data)
    return jsonify(file=name)


@people_routes.get("/pictures/<name>")
def _show_picture(name: str) -> Response:
    data = current_desk.folder.read(f"pictures/{name}")
    kind = "image/png" if name.lower().endswith(".png") else "image/jpeg"
    return Response(data or b"", 200 if data else 404, mimetype=kind)


@people_routes.get("/rule-sets")
def _list_rule_sets() -> Response:
    return jsonify([{"name": name, "title": name} for name in rule_sets()])


flight_routes = Blueprint("flight", __name__)


@flight_routes.get("/flight-tables")
def _flight_forms() -> Response:
    return jsonify(tables())


@flight_routes.get("/flights/<stem>")
def _show_flight(stem: str) -> Response:
    return jsonify(flights.flight_shown(current_desk.folder, _file(stem)))


@flight_routes.put("/flights/<stem>")
def _change_flight(stem: str) -> Response:
    what, name = sent(), _file(stem)
    base = text_sent(what, "base")
    if "text" in what:
        text = text_sent(what, "text", _LARGEST_FLIGHT)
        flights.text_taken(current_desk.folder, name, base, text)
    else:
        path = what.get("path")
        if not isinstance(path, list):
            raise InputError("path", "", "is no place in a flight file")
        value = _value(what.get("value"), literal=bool(what.get("literal")))
        flights.changed(current_desk.folder, name, base, path, value)
    current_desk.queue.hurry()
    return jsonify(flights.flight_shown(current_desk.folder, name))


@flight_routes.get("/flights/<stem>/pictures")
def _draw_flight(stem: str) -> Response:
    flight = read_flight(current_desk.folder.path(_file(stem)))
    try:
        altitude = current_desk.field.anywhere().elevation
    except InputError:
        altitude = 0.0
    cloud = in_still_air(flight, altitude)
    return jsonify(flight_pictures(flight, cloud, read_day(current_desk.folder).units))


@flight_routes.post("/flights")
def _new_flight() -> Response:
    what = sent()
    rocket, like = text_sent(what, "name"), text_sent(what, "like")
    return jsonify(file=flights.new_flight_file(current_desk.folder, rocket, like))


@flight_routes.post("/curves")
def _take_curve() -> Response:
    what = sent()
    text = text_sent(what, "text", _LARGEST_CURVE)
    return jsonify(
        curve=flights.curve_taken(current_desk.folder, text_sent(what, "name"), text)
    )


plan_routes = Blueprint("plans", __name__)
current_plans = cast(Plans, LocalProxy(lambda: current_app.extensions["plans"]))


@plan_routes.get("/plan-forms")
def _plan_forms() -> Response:
    return jsonify([*works().values()])


@plan_routes.get("/plans")
def _show_plans() -> Response:
    return jsonify(current_plans.told())


@plan_routes.post("/plans")
def _begin_plan() -> Response:
    what = sent()
    given = what.get("given")
    if not isinstance(given, dict):
        raise InputError("given", "", "is no object")
    work, flight, pad = (text_sent(what, k) for k in ("work", "flight", "pad"))
    current_plans.begin(work, flight, pad, given)
    return jsonify(current_plans.told())


@plan_routes.post("/plans/stop")
def _stop_plan() -> Response:
    current_plans.stop()
    return jsonify(current_plans.told())


@plan_routes.get("/plans/<name>/<file>")
def _plan_file(name: str, file: str) -> Response:
    data = current_plans.file(name, file)
    if data is None:
        abort(404)
    if file.endswith(".html"):
        return sealed(data.decode("utf-8"))
    head = {"Content-Disposition": f'attachment; filename="{file}"'}
    return Response(data, mimetype="application/octet-stream", headers=head)


def _file(stem: str) -> str:
    return f"flights/{stem}.toml"


def _value(value: Any, *, literal: bool) -> Any:
    """Take a value for a flight file: plain, or as TOML writes it."""
    if literal and isinstance(value, str):
        return parse_toml(f"x = {value}", "value").get("x")
    if value is not None and not isinstance(value, str | int | float | bool):
        raise InputError("value", "", "must be text, a number, yes or no")
    return value


def _of(name: str) -> tuple[Any, Any]:
    """Read the flight of a line of the list, and the site about its pad."""
    item = read_day(current_desk.folder).item(name)
    return read_flight(current_desk.folder.path(item.flight)), current_desk.field.site(
        item.pad
    )


def _faults() -> str:
    """Say what a site still lacks; empty where it can be flown from."""
    try:
        current_desk.field.anywhere()
    except InputError as problem:
        return current_desk.folder.plain(problem)
    return ""
