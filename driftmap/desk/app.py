"""What the desk answers its page: reads and small changes, each one function of the folder."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

from flask import Blueprint, Flask, Response, abort, jsonify, request
from markupsafe import escape

from driftmap.core.errors import DriftmapError, InputError
from driftmap.desk import outcomes
from driftmap.desk.day import Day, change, new_item, put, read_day, reordered
from driftmap.desk.desk import SITE, Desk
from driftmap.desk.plans import Plans
from driftmap.desk.rooms import flight_part, people_part, plan_part, wind_part
from driftmap.desk.web import guarded, page_file, sealed, sent, text_sent
from driftmap.report.voice import languages
from driftmap.winds.reading import present as now


def make_app(desk: Desk, key: str, hosts: set[str]) -> Flask:
    """Make the server of a desk.

    ``key``: first part of every address; ``hosts``: names by which it may be asked.
    """
    app = Flask("driftmap.desk", static_folder=None)
    guarded(app, desk.folder, key, hosts)
    plans = app.extensions["plans"] = Plans(desk)
    parts = [p(desk) for p in (_page, _list, wind_part, people_part, flight_part)]
    for part in (*parts, plan_part(desk, plans)):
        app.register_blueprint(part, url_prefix=f"/{key}")
    return app


_WORDED: Final = ("map", "sheet", "poster", "caller")
"""Pages that bear a word: the desk's own stands about them."""


def page_of(desk: Desk, what: str, name: str, language: str = "en") -> Response:
    """Serve a drawn page; one that asks again while it is being drawn."""
    if what not in {*_WORDED, "dial", "field"} or language not in languages():
        abort(404)
    if what in _WORDED and "alone" not in request.args:
        return page_file("watch.html")  # about it, the word as it is now
    answer = page_file("wait.html")
    try:
        text = desk.page(name, what, language)
    except DriftmapError as problem:
        # A page of its own shows it to people, not to the script of the desk.
        told = str(escape(desk.folder.plain(problem)))
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


def _page(desk: Desk) -> Blueprint:
    part = Blueprint("page", __name__)

    @part.get("/")
    def start() -> Response:
        return page_file("desk.html")

    @part.get("/own/<name>")
    def own(name: str) -> Response:
        return page_file(name)

    @part.get("/state")
    def state() -> Response:
        return jsonify(desk.state())

    @part.get("/page/<what>/<name>")
    def drawn(what: str, name: str) -> Response:
        return page_of(desk, what, name, request.args.get("language", "en"))

    @part.get("/files")
    def names() -> Response:
        found = [n for n in desk.folder.names("flights") if n.endswith(".toml")]
        return jsonify([{"file": n, "name": desk.rocket(n)} for n in found])

    @part.post("/undo")
    def undo() -> Response:
        what = sent()
        name, way = text_sent(what, "file"), text_sent(what, "way") or "undo"
        if way not in {"undo", "redo"}:
            raise InputError("way", "", 'must be "undo" or "redo"')
        desk.folder.path(name)
        if name != SITE and not name.startswith("flights/"):
            told = "is not undone: what was read or answered stays, or is set aside"
            raise InputError(name, "", told)
        revision = desk.folder.step(name, way, text_sent(what, "base"))
        desk.queue.hurry()
        return jsonify(revision=revision)

    return part


def _begun(day: Day) -> Day:
    """Begin a new day: what flew stays in the log, the rest waits for a wind of today.

    What was set aside today stays told.
    """
    items = tuple(replace(i, state="waiting") for i in day.items if i.state != "flown")
    date = now().astimezone().date().isoformat()
    aside = day.aside if day.date == date else ()
    return replace(day, date=date, items=items, winds=(), aside=aside)


def _list(desk: Desk) -> Blueprint:
    part = Blueprint("list", __name__)

    def changed(day: Day) -> Response:
        desk.queue.hurry()
        return jsonify(date=day.date)

    @part.post("/day/add")
    def add() -> Response:
        what = sent()
        name, pad = text_sent(what, "file"), text_sent(what, "pad")
        desk.folder.need(name)
        item = new_item(name, pad)
        return changed(
            change(desk.folder, lambda d: replace(d, items=(*d.items, item)))
        )

    @part.post("/day/drop")
    def drop() -> Response:
        name = text_sent(sent(), "id")

        def without(day: Day) -> Day:
            item = day.item(name)
            if item.state == "flown":
                raise InputError(item.flight, "", "is logged as flown: it stays")
            return replace(day, items=tuple(i for i in day.items if i.id != name))

        return changed(change(desk.folder, without))

    @part.post("/day/move")
    def move() -> Response:
        what = sent()
        name, places = text_sent(what, "id"), what.get("by")
        if not isinstance(places, int) or isinstance(places, bool):
            raise InputError("by", "", "must be a whole number")
        return changed(change(desk.folder, lambda day: reordered(day, name, places)))

    @part.post("/day/begin")
    def begin() -> Response:
        return changed(change(desk.folder, _begun))

    @part.post("/day/units")
    def units() -> Response:
        system: Any = text_sent(sent(), "units")
        if system not in {"us", "si"}:
            raise InputError("units", "", 'must be "us" or "si"')
        return changed(change(desk.folder, lambda day: replace(day, units=system)))

    @part.post("/day/pad")
    def pad() -> Response:
        what = sent()
        name, to = text_sent(what, "id"), text_sent(what, "pad")
        return changed(
            change(desk.folder, lambda d: put(d, replace(d.item(name), pad=to)))
        )

    @part.post("/day/flown")
    def flown() -> Response:
        what = sent()
        day = read_day(desk.folder)
        item = day.item(text_sent(what, "id"))
        told = None
        if day.winds:
            told = desk.queue.standing(item, desk.fingerprint(day, item))
        body = {
            "flight": desk.rocket(item.flight),
            "decided_by": text_sent(what, "decided_by"),
            "time": now().astimezone().isoformat(timespec="minutes"),
            "wind_read": "" if told is None else told.wind,
            "notes": "" if told else "flown before a word of the desk counted: hold",
        }
        return changed(outcomes.note_flown(desk.folder, item.id, told, body))

    @part.get("/day/names/<name>")
    def names_of(name: str) -> Response:
        item = read_day(desk.folder).item(name)
        return jsonify(outcomes.names(desk.folder, item))

    @part.post("/day/happened")
    def happened() -> Response:
        what = sent()
        keys = ("case", "device", "notes")
        body: dict[str, Any] = {
            key: text_sent(what, key, 4000) for key in keys if what.get(key)
        }
        if what.get("flew") is False:
            body["flew"] = False
        if what.get("found"):
            body["found"] = [_find(what["found"])]
        return changed(outcomes.happened(desk.folder, text_sent(what, "id"), body))

    return part


def _find(found: Any) -> dict[str, Any]:
    if not isinstance(found, dict):
        raise InputError("found", "", "must be piece, place and state")
    try:
        at = [float(found["latitude"]), float(found["longitude"])]
    except (KeyError, TypeError, ValueError, OverflowError):
        raise InputError("found", "at", "must be latitude and longitude") from None
    told = {key: text_sent(found, key) for key in ("piece", "error", "state")}
    return {**told, "piece": told["piece"] or "rocket", "at": at}
