"""Phones nearby may read the day and its maps, by a key of their own; never write."""

from __future__ import annotations

import contextlib
import io
import ipaddress
import socket
import threading
import time
from dataclasses import dataclass, field
from typing import Any, Final, cast

import segno
from flask import Blueprint, Flask, Response, abort, current_app, jsonify, request
from werkzeug.local import LocalProxy

from driftmap.core.errors import InputError
from driftmap.desk.app import page_of
from driftmap.desk.desk import Desk
from driftmap.desk.listing import state_of
from driftmap.desk.private import remember, remembered
from driftmap.desk.web import (
    current_desk,
    guarded,
    listen,
    new_key,
    page_file,
    sent,
    server_of,
)

_HERE: Final = 15.0  # s since a reader was last heard
_MOST: Final = 500
_THREADS: Final = 6
_OWN: Final = ("reader.js", "watch.js", "net.js", "desk.css", "colours.css")
_SHOWN: Final = (
    *("id", "name", "pad", "state", "word", "sure", "reason"),
    *("was", "good_for", "of"),
)


@dataclass(slots=True)
class Readers:
    """The reading copy of a desk, while it is on."""

    desk: Desk
    address: str = ""
    _seen: dict[str, float] = field(default_factory=dict)
    _server: Any = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self) -> None:
        """Answer phones on this network from now on."""
        with self._lock:
            if self._server is not None:
                return
            known = remembered(self.desk.folder.root, "readers")
            listening = _listen(known.get("port"))
            key, port = str(known.get("key") or new_key()), listening.getsockname()[1]
            remember(self.desk.folder.root, "readers", {"port": port, "key": key})
            app = readers_app(self.desk, key, self)
            self._server = server_of(app, listening, _THREADS)
            threading.Thread(target=_run, args=[self._server], daemon=True).start()
            self.address = f"http://{_own_address()}:{port}/{key}/"

    def stop(self, *, void: bool = True) -> None:
        """Answer them no more; the key is void from now on, unless the desk comes again."""
        with self._lock:
            if void:
                remember(self.desk.folder.root, "readers", None)
            if self._server is not None:
                self._server.close()
            self._server, self.address = None, ""
            self._seen.clear()

    def heard(self, name: str) -> None:
        """Count one who reads."""
        with self._lock:
            if len(self._seen) < _MOST or name in self._seen:
                self._seen[name] = time.monotonic()

    def count(self) -> int:
        """Tell how many read now."""
        with self._lock:
            late = time.monotonic() - _HERE
            for name in [n for n, at in self._seen.items() if at < late]:
                del self._seen[name]
            return len(self._seen)

    def code(self) -> str:
        """Draw the address as a QR code."""
        if not self.address:
            raise InputError("readers", "", "are not let in now")
        drawn = io.BytesIO()
        segno.make(self.address, error="m").save(
            drawn, kind="svg", scale=6, border=4, light="#fff"
        )
        return drawn.getvalue().decode()


def _listen(port: object) -> socket.socket:
    """Listen to this network, on the port that phones know where it is free."""
    try:
        return listen("0.0.0.0", port if isinstance(port, int) else 0)
    except OSError:
        return listen("0.0.0.0", 0)


def _run(server: Any) -> None:
    with contextlib.suppress(OSError):  # its socket was closed: that is how it ends
        server.run()


def _own_address() -> str:
    """Return this machine's address on its network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # of no one (RFC 5737)
            return str(ipaddress.ip_address(probe.getsockname()[0]))
        except OSError:
            return "127.0.0.1"


phone_routes = Blueprint("readers", __name__)
current_readers = cast(Readers, LocalProxy(lambda: current_app.extensions["readers"]))


@phone_routes.get("/")
def _front_page() -> Response:
    return page_file("reader.html")


@phone_routes.get("/own/<name>")
def _own_file(name: str) -> Response:
    if name not in _OWN:
        abort(404)
    return page_file(name)


@phone_routes.get("/state")
def _state() -> Response:
    current_readers.heard(
        request.args.get("reader", "")[:40] or str(request.remote_addr)
    )
    told = state_of(current_desk)
    items = [{key: item[key] for key in _SHOWN} for item in told["items"]]
    winds = [row for row in told["winds"]["rows"] if row["counts"]]
    site = {"name": told["site"]["name"]}
    head = {key: told[key] for key in ("now", "date", "units", "aside")}
    return jsonify({**head, "site": site, "items": items, "winds": {"rows": winds}})


@phone_routes.get("/page/map/<name>")
def _drawn_map(name: str) -> Response:
    return page_of("map", name)


def readers_app(desk: Desk, key: str, readers: Readers) -> Flask:
    """Make the server that phones read from: nothing of it writes."""
    app = Flask("driftmap.readers", static_folder=None)
    guarded(app, desk, key, None)
    app.extensions["readers"] = readers
    app.register_blueprint(phone_routes, url_prefix=f"/{key}")
    return app


reader_routes = Blueprint("letting", __name__)


def _told() -> Response:
    code = current_readers.code() if current_readers.address else ""
    return jsonify(
        address=current_readers.address, count=current_readers.count(), code=code
    )


@reader_routes.get("/readers")
def _readers_now() -> Response:
    return _told()


@reader_routes.post("/readers")
def _let_readers() -> Response:
    if sent().get("on"):
        current_readers.start()
    else:
        current_readers.stop()
    return _told()
