"""What guards every answer of the desk: its key, the host and origin asked, its policy."""

from __future__ import annotations

import hmac
import json
import secrets
import socket
from collections.abc import Collection
from importlib.resources import files
from typing import Any, Final, cast

from flask import Flask, Response, abort, current_app, jsonify, request
from waitress.server import create_server
from werkzeug.local import LocalProxy

from driftmap.core.errors import DriftmapError, InputError
from driftmap.core.files import parse_json
from driftmap.desk.desk import Desk
from driftmap.desk.folder import ConflictError

current_desk = cast(Desk, LocalProxy(lambda: current_app.extensions["desk"]))

LARGEST: Final = 12_000_000
"""Largest upload [byte]: a photograph of the field."""

_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; frame-src 'self'; frame-ancestors 'self'; form-action 'none'; base-uri 'none'"
)
_TYPES: Final = {".js": "text/javascript", ".css": "text/css", ".html": "text/html"}


def new_key() -> str:
    """Make a key for an address that nobody guesses."""
    return secrets.token_urlsafe(16)


def guarded(app: Flask, desk: Desk, key: str, hosts: Collection[str] | None) -> None:
    """Let an app answer for a desk, to those with the key who ask this machine by its own name.

    ``key``: first part of every address; ``hosts``: names by which it may be asked,
    with their port; None for any address in digits.
    """
    app.extensions["desk"] = desk
    app.config.update(MAX_CONTENT_LENGTH=LARGEST, KEY=key, HOSTS=hosts)
    app.before_request(_guard)
    app.after_request(_with_policy)
    app.register_error_handler(ConflictError, _conflict)
    app.register_error_handler(DriftmapError, _bad_input)
    app.register_error_handler(413, _too_large)
    app.register_error_handler(500, _fault)
    app.register_error_handler(OSError, _disk_failed)


def _guard() -> None:
    host, hosts = request.host, current_app.config["HOSTS"]
    if hosts is None:
        known = all(c in "0123456789." for c in host.rsplit(":", 1)[0])
    else:
        known = host in hosts
    # A page of another site may send a form here, or name this machine its own.
    if not known or request.headers.get("Origin", f"http://{host}") != f"http://{host}":
        abort(403)
    given = request.path.split("/", 2)[1] if "/" in request.path else ""
    if not hmac.compare_digest(given.encode(), current_app.config["KEY"].encode()):
        abort(404)
    if request.method != "GET" and request.headers.get("X-Desk") != "1":
        abort(403)


def _with_policy(answer: Response) -> Response:
    answer.headers.setdefault("Content-Security-Policy", _POLICY)
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _problem(told: str, code: int, **more: object) -> tuple[Response, int]:
    return jsonify(problem=told, **more), code


def _conflict(problem: ConflictError) -> tuple[Response, int]:
    text = "was changed in another window or by a command; nothing was written"
    return _problem(f"{problem} {text}", 409, conflict=True)


def _bad_input(problem: DriftmapError) -> tuple[Response, int]:
    where = problem.where if isinstance(problem, InputError) else ""
    return _problem(current_desk.folder.plain(problem), 400, where=where)


def _too_large(_: object) -> tuple[Response, int]:
    text = f"is larger than {LARGEST // 1_000_000} MB; nothing was taken"
    return _problem(text, 413)


def _fault(_: object) -> tuple[Response, int]:
    text = "a fault in driftmap itself: look whether it is written, and start the desk anew"
    return _problem(text, 500)


def _disk_failed(problem: OSError) -> tuple[Response, int]:
    return _problem(f"not written: {problem.strerror or problem}", 500)


def listen(host: str, port: int) -> socket.socket:
    """Listen on a port; 0 for a free one. Raises `OSError` if it is taken."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError:
        listening.close()
        raise
    return listening


def server_of(app: Flask, listening: socket.socket, threads: int) -> Any:
    """Make the server of an app, to be run."""
    return create_server(
        app,
        sockets=[listening],
        threads=threads,
        ident=None,
        max_request_body_size=5 * LARGEST,  # up to there the page is told why
    )


def page_file(name: str) -> Response:
    """Serve a file of the desk's own page."""
    if name == "colours.css":
        return Response(_colours(), mimetype="text/css")
    place = files("driftmap.desk").joinpath("page")
    known = {item.name for item in place.iterdir()}
    suffix = name[name.rfind(".") :]
    if name not in known or suffix not in _TYPES:
        abort(404)
    data = place.joinpath(name).read_bytes()
    return Response(data, mimetype=_TYPES[suffix])


def _colours() -> str:
    """Return the colours of the report's pages, for the desk to be one with them."""
    sheet = files("driftmap.report").joinpath("look.css").read_text("utf-8")
    return sheet.partition("\n* {")[0]


def sealed(text: str, kind: str = "text/html") -> Response:
    """Serve a page, or a picture, that is whole in itself and brings its own policy."""
    answer = Response(text, mimetype=kind)
    answer.headers["Content-Security-Policy"] = "frame-ancestors 'self'"
    return answer


def text_sent(what: dict[str, Any], key: str, most: int = 200) -> str:
    """Take a text out of what a page sent."""
    value = what.get(key, "")
    if not isinstance(value, str) or len(value) > most:
        raise InputError(key, "", f"must be text of at most {most} characters")
    return value


def sent() -> dict[str, Any]:
    """Return what the page sent."""
    data = None
    if request.is_json:
        data = parse_json(request.get_data(as_text=True), "what was sent")
    if not isinstance(data, dict):
        raise InputError("what was sent", "", "is no JSON object")
    try:
        json.dumps(data, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        text = "holds half a character, which no file can keep"
        raise InputError("what was sent", "", text) from None
    return data
