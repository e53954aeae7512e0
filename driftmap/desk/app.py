"""The requests of the desk page: reads and small changes, one function of the folder each."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

from flask import Blueprint, Flask, Response, abort, jsonify, request
from markupsafe import escape

from driftmap.core.errors import DriftmapError, InputError
from driftmap.desk import outcomes
from driftmap.desk.day import Day, change_day, new_item, read_day, reordered, with_item
from driftmap.desk.desk import Desk
from driftmap.desk.field import SITE
from driftmap.desk.listing import state_of
from driftmap.desk.plans import Plans
from driftmap.desk.routes import flight_routes, people_routes, plan_routes, wind_routes
from driftmap.desk.web import current_desk, guarded, page_file, sealed, sent, text_sent
from driftmap.report.voice import languages
from driftmap.winds.times import present as now

_WORDED: Final = ("map", "sheet", "poster", "caller", "dial")
"""Pages that bear a word: the desk's own stands about them."""


def page_of(what: str, name: str, language: str = "en") -> Response:
    """Serve a drawn page; one that asks again while it is being drawn."""
    if what not in {*_WORDED, "field"} or language not in languages():
        abort(404)
    if what in _WORDED and "alone" not in request.args:
        return page_file("watch.html")  # about it, the word as it is now
    answer = page_file("wait.html")
    try:
        text = current_desk.page(name, what, language)
    except DriftmapError as problem:
        # A page of its own shows it to people, not to the script of the desk.
        told = str(escape(current_desk.folder.plain(problem)))
        page = answer.get_data(as_text=True).replace("Being drawn", "Not drawn")
        answer = Response(re.sub(r"<p>.*?</p>", lambda _: f"<p>{told}</p>", page))
        answer.status_code = 400
        return answer
    if what == "field":  # an image asks again by itself
        return Response(status=202) if text is None else sealed(text, "image/svg+xml")
    if text is not None:
        return sealed(text)
    answer.headers["Refresh"] = "2"
    return answer


page_routes = Blueprint("page", __name__)


@page_routes.get("/")
def _front_page() -> Response:
    return page_file("desk.html")


@page_routes.get("/own/<name>")
def _own_file(name: str) -> Response:
    return page_file(name)


@page_routes.get("/state")
def _state() -> Response:
    return jsonify(state_of(current_desk))


@page_routes.get("/page/<what>/<name>")
def _drawn_page(what: str, name: str) -> Response:
    return page_of(what, name, request.args.get("language", "en"))


@page_routes.get("/files")
def _flight_files() -> Response:
    found = [n for n in current_desk.folder.names("flights") if n.endswith(".toml")]
    return jsonify([{"file": n, "name": current_desk.rocket(n)} for n in found])


@page_routes.post("/undo")
def _undo() -> Response:
    what = sent()
    name, way = text_sent(what, "file"), text_sent(what, "way") or "undo"
    if way not in {"undo", "redo"}:
        raise InputError("way", "", 'must be "undo" or "redo"')
    current_desk.folder.path(name)
    if name != SITE and not name.startswith("flights/"):
        text = "is not undone: what was read or answered stays, or is set aside"
        raise InputError(name, "", text)
    revision = current_desk.folder.step(name, way, text_sent(what, "base"))
    current_desk.queue.hurry()
    return jsonify(revision=revision)


def _begun(day: Day) -> Day:
    """Begin a new day: what flew stays in the log, the rest waits for a wind of today.

    What was set aside today stays told.
    """
    items = tuple(replace(i, state="waiting") for i in day.items if i.state != "flown")
    date = now().astimezone().date().isoformat()
    aside = day.aside if day.date == date else ()
    return replace(day, date=date, items=items, winds=(), aside=aside)


list_routes = Blueprint("list", __name__)


def _changed(day: Day) -> Response:
    current_desk.queue.hurry()
    return jsonify(date=day.date)


@list_routes.post("/day/add")
def _add_flight() -> Response:
    what = sent()
    name, pad = text_sent(what, "file"), text_sent(what, "pad")
    current_desk.folder.need(name)
    item = new_item(name, pad)
    return _changed(
        change_day(current_desk.folder, lambda d: replace(d, items=(*d.items, item)))
    )


@list_routes.post("/day/drop")
def _drop_flight() -> Response:
    name = text_sent(sent(), "id")

    def without(day: Day) -> Day:
        item = day.item(name)
        if item.state == "flown":
            raise InputError(item.flight, "", "is logged as flown: it stays")
        return replace(day, items=tuple(i for i in day.items if i.id != name))

    return _changed(change_day(current_desk.folder, without))


@list_routes.post("/day/move")
def _move_flight() -> Response:
    what = sent()
    name, places = text_sent(what, "id"), what.get("by")
    if not isinstance(places, int) or isinstance(places, bool):
        raise InputError("by", "", "must be a whole number")
    return _changed(
        change_day(current_desk.folder, lambda day: reordered(day, name, places))
    )


@list_routes.post("/day/begin")
def _begin_day() -> Response:
    return _changed(change_day(current_desk.folder, _begun))


@list_routes.post("/day/units")
def _set_units() -> Response:
    system: Any = text_sent(sent(), "units")
    if system not in {"us", "si"}:
        raise InputError("units", "", 'must be "us" or "si"')
    return _changed(
        change_day(current_desk.folder, lambda day: replace(day, units=system))
    )


@list_routes.post("/day/pad")
def _set_pad() -> Response:
    what = sent()
    name, to = text_sent(what, "id"), text_sent(what, "pad")
    return _changed(
        change_day(
            current_desk.folder, lambda d: with_item(d, replace(d.item(name), pad=to))
        )
    )


@list_routes.post("/day/flown")
def _note_flown() -> Response:
    what = sent()
    day = read_day(current_desk.folder)
    item = day.item(text_sent(what, "id"))
    told = None
    if day.winds:
        told = current_desk.queue.standing(item, current_desk.fingerprint(day, item))
    body = {
        "flight": current_desk.rocket(item.flight),
        "decided_by": text_sent(what, "decided_by"),
        "time": now().astimezone().isoformat(timespec="minutes"),
        "wind_read": "" if told is None else told.wind,
        "notes": "" if told else "flown before a word of the desk counted: hold",
    }
    return _changed(outcomes.note_flown(current_desk.folder, item.id, told, body))


@list_routes.get("/day/names/<name>")
def _names_on(name: str) -> Response:
    item = read_day(current_desk.folder).item(name)
    return jsonify(outcomes.names(current_desk.folder, item))


@list_routes.post("/day/happened")
def _note_happened() -> Response:
    what = sent()
    keys = ("case", "device", "notes")
    body: dict[str, Any] = {
        key: text_sent(what, key, 4000) for key in keys if what.get(key)
    }
    if what.get("flew") is False:
        body["flew"] = False
    if what.get("found"):
        body["found"] = [_find(what["found"])]
    return _changed(outcomes.happened(current_desk.folder, text_sent(what, "id"), body))


def _find(found: Any) -> dict[str, Any]:
    if not isinstance(found, dict):
        raise InputError("found", "", "must be piece, place and state")
    try:
        at = [float(found["latitude"]), float(found["longitude"])]
    except (KeyError, TypeError, ValueError, OverflowError):
        raise InputError("found", "at", "must be latitude and longitude") from None
    told = {key: text_sent(found, key) for key in ("piece", "error", "state")}
    return {**told, "piece": told["piece"] or "rocket", "at": at}


def make_app(desk: Desk, key: str, hosts: set[str]) -> Flask:
    """Make the server of a desk.

    ``key``: first part of every address; ``hosts``: names by which it may be asked.
    """
    app = Flask("driftmap.desk", static_folder=None)
    guarded(app, desk, key, hosts)
    app.extensions["plans"] = Plans(desk)
    for routes in (
        page_routes,
        list_routes,
        wind_routes,
        people_routes,
        flight_routes,
        plan_routes,
    ):
        app.register_blueprint(routes, url_prefix=f"/{key}")
    return app
