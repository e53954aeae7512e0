"""What the desk answers its page: reads and small changes, each one function of the folder."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import Any

from flask import Blueprint, Flask, Response, abort, jsonify, request

from driftmap.desk import answers, outcomes, winds
from driftmap.desk.day import Day, change, moved, new_item, put, read_day
from driftmap.desk.desk import SITE, Desk
from driftmap.desk.judging import now
from driftmap.desk.web import guarded, own_files, sealed, text_of
from driftmap.errors import InputError
from driftmap.winds.reading import parse_time

__all__ = ["make_app"]

_LARGEST_TEXT = 2_000_000  # byte of a report that is pasted


def make_app(desk: Desk, key: str, hosts: set[str]) -> Flask:
    """Make the server of a desk.

    Parameters
    ----------
    desk : Desk
        The desk.
    key : str
        First part of every address.
    hosts : set of str
        Names by which it may be asked.

    Returns
    -------
    Flask
        A WSGI application.
    """
    app = Flask("driftmap.desk", static_folder=None)
    app.config["ROOT"] = str(desk.folder.root)
    guarded(app, key, hosts)
    for part in (_page(desk), _list(desk), _wind(desk), _people(desk)):
        app.register_blueprint(part, url_prefix=f"/{key}")
    return app


def sent() -> dict[str, Any]:
    """Give what the page sent."""
    data = request.get_json(silent=True)
    if not isinstance(data, dict):
        raise InputError("what was sent", "", "is no JSON object")
    return data


def _page(desk: Desk) -> Blueprint:
    part = Blueprint("page", __name__)

    @part.get("/")
    def start() -> Response:
        return own_files("desk.html")

    @part.get("/own/<name>")
    def own(name: str) -> Response:
        return own_files(name)

    @part.get("/state")
    def state() -> Response:
        return jsonify(desk.state())

    @part.get("/page/<what>/<name>")
    def drawn(what: str, name: str) -> Response:
        if what not in {"map", "sheet"}:
            abort(404)
        return sealed(desk.page(name, what))

    @part.post("/undo")
    def undo() -> Response:
        what = sent()
        name, way = text_of(what, "file"), text_of(what, "way") or "undo"
        if way not in {"undo", "redo"}:
            raise InputError("way", "", 'must be "undo" or "redo"')
        revision = desk.folder.step(name, way)
        desk.queue.hurry()
        return jsonify(revision=revision, steps=desk.folder.steps(name))

    return part


def _list(desk: Desk) -> Blueprint:
    part = Blueprint("list", __name__)

    def changed(day: Day) -> Response:
        desk.queue.hurry()
        return jsonify(date=day.date)

    @part.get("/files")
    def names() -> Response:
        found = [n for n in desk.folder.names("flights") if n.endswith(".toml")]
        return jsonify([{"file": n, "name": desk.rocket(n)} for n in found])

    @part.post("/day/add")
    def add() -> Response:
        what = sent()
        name, pad = text_of(what, "file"), text_of(what, "pad")
        if not desk.folder.revision(name):
            raise InputError(name, "", "is not in the folder")
        item = new_item(name, pad)
        return changed(
            change(desk.folder, lambda d: replace(d, items=(*d.items, item)))
        )

    @part.post("/day/drop")
    def drop() -> Response:
        name = text_of(sent(), "id")

        def without(day: Day) -> Day:
            item = day.item(name)
            if item.state == "flown":
                raise InputError(item.flight, "", "is logged as flown: it stays")
            return replace(day, items=tuple(i for i in day.items if i.id != name))

        return changed(change(desk.folder, without))

    @part.post("/day/move")
    def move() -> Response:
        what = sent()
        name, places = text_of(what, "id"), what.get("by")
        if not isinstance(places, int) or isinstance(places, bool):
            raise InputError("by", "", "must be a whole number")
        return changed(change(desk.folder, lambda day: moved(day, name, places)))

    @part.post("/day/begin")
    def begin() -> Response:
        """Begin a new day: what flew stays in the log, the rest waits again."""

        def fresh(day: Day) -> Day:
            items = tuple(
                replace(i, state="waiting") for i in day.items if i.state != "flown"
            )
            return replace(day, date=now().astimezone().date().isoformat(), items=items)

        return changed(change(desk.folder, fresh))

    @part.post("/day/units")
    def units() -> Response:
        system: Any = text_of(sent(), "units")
        if system not in {"us", "si"}:
            raise InputError("units", "", 'must be "us" or "si"')
        return changed(change(desk.folder, lambda day: replace(day, units=system)))

    @part.post("/day/pad")
    def pad() -> Response:
        what = sent()
        name, to = text_of(what, "id"), text_of(what, "pad")
        return changed(
            change(desk.folder, lambda d: put(d, replace(d.item(name), pad=to)))
        )

    @part.post("/day/flown")
    def flown() -> Response:
        what = sent()
        day = read_day(desk.folder)
        item = day.item(text_of(what, "id"))
        told = desk.queue.full(item, desk.fingerprint(day, item)) if day.winds else None
        body = {
            "flight": desk.rocket(item.flight),
            "decided_by": text_of(what, "decided_by"),
            "time": now().astimezone().isoformat(timespec="minutes"),
            "wind_read": "" if told is None else told.wind,
        }
        return changed(outcomes.flown(desk.folder, item.id, told, body))

    @part.post("/day/happened")
    def happened() -> Response:
        what = sent()
        keys = ("case", "device", "notes")
        body: dict[str, Any] = {
            key: text_of(what, key, 4000) for key in keys if what.get(key)
        }
        if what.get("found"):
            body["found"] = [_find(what["found"])]
        return changed(outcomes.happened(desk.folder, text_of(what, "id"), body))

    return part


def _find(found: Any) -> dict[str, Any]:
    if not isinstance(found, dict):
        raise InputError("found", "", "must be piece, place and state")
    try:
        at = [float(found["latitude"]), float(found["longitude"])]
    except (KeyError, TypeError, ValueError):
        raise InputError("found", "at", "must be latitude and longitude") from None
    told = {key: text_of(found, key) for key in ("piece", "error", "state")}
    return {"piece": told["piece"] or "rocket", "at": at, **told}


def _wind(desk: Desk) -> Blueprint:
    part = Blueprint("wind", __name__)

    @part.post("/winds/try")
    def attempt() -> Response:
        what = sent()
        day, setting = read_day(desk.folder), _setting(desk, what)
        text = text_of(what, "text", _LARGEST_TEXT)
        return jsonify(winds.understood(desk.folder, day, setting, text))

    @part.post("/winds/take")
    def take() -> Response:
        what = sent()
        text = text_of(what, "text", _LARGEST_TEXT)
        told = winds.take(desk.folder, text, _setting(desk, what))
        desk.queue.hurry()
        return jsonify(told)

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
        name, counts = text_of(what, "file"), bool(what.get("counts"))
        if counts and not desk.folder.revision(name):
            raise InputError(name, "", "is not in the folder")

        def edit(day: Day) -> Day:
            rest = tuple(w for w in day.winds if w != name)
            return replace(day, winds=(*rest, name) if counts else rest)

        change(desk.folder, edit)
        desk.queue.hurry()
        return jsonify(file=name)

    return part


def _setting(desk: Desk, what: dict[str, Any]) -> Any:
    told = text_of(what, "read_at")
    if not told:
        return desk.setting()
    return desk.setting(_clock(told))


def _clock(text: str) -> datetime:
    """Read a time of today, 14:05, or one with its day."""
    day = now().astimezone().date().isoformat()
    try:
        return parse_time(f"{day}T{text}" if len(text) <= 8 else text, local=True)
    except ValueError:
        told = f"{text[:40]!r} is no time; accepted is 14:05"
        raise InputError("read at", "", told) from None


def _people(desk: Desk) -> Blueprint:
    part = Blueprint("people", __name__)

    @part.get("/answers/<name>")
    def listed(name: str) -> Response:
        flight, site = _of(desk, name)
        return jsonify(answers.asked(desk.folder, flight, site, now()))

    @part.post("/answers/<name>")
    def answered(name: str) -> Response:
        what = sent()
        flight, site = _of(desk, name)
        told = {key: text_of(what, key) for key in ("name", "scope", "value", "by")}
        if told["scope"] not in {"season", "day", "flight"}:
            raise InputError("scope", "", "must be season, day or flight")
        file = answers.answer(desk.folder, told, flight, site, now())
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
            )

    @part.put("/site")
    def save_site() -> Response:
        what = sent()
        base = text_of(what, "base")
        tree = what.get("site")
        if not isinstance(tree, dict):
            raise InputError(SITE, "", "is no GeoJSON object")
        text = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        revision = desk.folder.write(SITE, text.encode(), base)
        desk.queue.hurry()
        return jsonify(revision=revision, problem=_faults(desk))

    @part.get("/rule-sets")
    def rule_sets() -> Response:
        from driftmap.rules import rule_sets as known  # noqa: PLC0415

        return jsonify([{"name": name, "title": name} for name in known()])

    return part


def _of(desk: Desk, name: str) -> tuple[Any, Any]:
    """Read the flight of a line of the list, and the site about its pad."""
    from driftmap.rocket.flightfile import read_flight  # noqa: PLC0415

    item = read_day(desk.folder).item(name)
    return read_flight(desk.folder.path(item.flight)), desk.site(item.pad)


def _faults(desk: Desk) -> str:
    """Say what a site still lacks; empty where it can be flown from."""
    try:
        desk.anywhere()
    except InputError as problem:
        return desk.plain(problem)
    return ""
