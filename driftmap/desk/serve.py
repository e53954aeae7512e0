"""The desk served on this machine; and the page that surveys a field, which needs no desk."""

from __future__ import annotations

import re
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from driftmap.core.errors import InputError
from driftmap.desk.app import make_app
from driftmap.desk.desk import Desk, open_folder
from driftmap.desk.folder import Folder
from driftmap.desk.private import alone, remember, remembered
from driftmap.desk.readers import Readers, reader_routes
from driftmap.desk.web import listen, new_key, server_of
from driftmap.report.page import render, text_of
from driftmap.rules.reading import rule_sets

_THREADS = 12
_PAGE = "driftmap.desk.page"
# Each after what it imports.
_MODULES = ("net.js", "geo.js", "features.js", "map.js", "draw.js", "survey.js")
_BETWEEN = re.compile(
    r"^import .*?;$\n|^export (?=(?:async )?(?:function|const|class))", re.M
)
_SAFE = 20  # letters of a key that nobody guesses


def serve(
    folder: Path, *, port: int, show: bool, echo: Callable[[str], object]
) -> None:
    """Serve a folder until stopped, and make it if it is not there.

    ``port``: on the loopback; 0 for the one it had last, or a free one; ``echo``: tells
    the address.
    """
    desk = Desk(open_folder(folder))
    held = alone(desk.folder.root)
    known = _known(desk.folder)
    if held is None:
        address = _address(*known) if known[0] else "its address comes in a moment"
        echo(f"The desk of {desk.folder.root} is open already: {address}")
        if show and known[0]:
            webbrowser.open(address)
        return
    with held:
        _serve(desk, port, known, show=show, echo=echo)


def _known(folder: Folder) -> tuple[int, str]:
    """Return the port and key that the folder's desk had last; 0 and a new key else."""
    told = remembered(folder.root, "address")
    port, key = told.get("port"), told.get("key")
    if not isinstance(port, int) or not isinstance(key, str) or len(key) < _SAFE:
        return 0, new_key()
    return port, key


def _address(port: int, key: str) -> str:
    return f"http://127.0.0.1:{port}/{key}/"


def _serve(
    desk: Desk,
    port: int,
    known: tuple[int, str],
    *,
    show: bool,
    echo: Callable[[str], object],
) -> None:
    last, key = known
    listening = _listen(port or last, last=not port)
    port = listening.getsockname()[1]
    remember(desk.folder.root, "address", {"port": port, "key": key})
    app = make_app(desk, key, {f"127.0.0.1:{port}", f"localhost:{port}"})
    readers = Readers(desk)
    app.extensions["readers"] = readers
    app.register_blueprint(reader_routes, url_prefix=f"/{key}")
    server = server_of(app, listening, _THREADS)
    address = _address(port, key)
    echo(f"The desk of {desk.folder.root}: {address}")
    echo("Whoever has this address can change the folder. Stop with Ctrl-C.")
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    desk.queue.start()
    if show:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    try:
        server.run()
    finally:
        readers.stop(void=False)
        app.extensions["plans"].stop()
        desk.queue.stop()


def _listen(port: int, *, last: bool) -> socket.socket:
    """Listen on a port; on a free one where the desk's last is taken."""
    try:
        return listen("127.0.0.1", port)
    except OSError as problem:
        if last:
            return listen("127.0.0.1", 0)
        text = (
            f"{port} cannot be used ({problem.strerror}); leave it out for a free one"
        )
        raise InputError("--port", "", text) from None


def survey_html() -> str:
    """Write the survey page.

    Returns
    -------
    str
        An HTML document; the site file it gives is one that `read_site` reads.
    """
    parts = (_BETWEEN.sub("", text_of(name, _PAGE)) for name in _MODULES)
    script = '(() => {\n"use strict";\n' + "\n".join(parts) + "\n})();"
    return render(
        "survey.html",
        room=_PAGE,
        styles=[text_of("desk.css", _PAGE)],
        scripts=[script],
        rules=" ".join(rule_sets()),
    )
