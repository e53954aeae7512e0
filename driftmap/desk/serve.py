"""The desk served on this machine, and on request a reading copy for phones nearby."""

from __future__ import annotations

import signal
import socket
import sys
import threading
import webbrowser
from pathlib import Path

from driftmap.desk.app import make_app
from driftmap.desk.desk import Desk, made
from driftmap.desk.readers import Readers, readers_part
from driftmap.desk.web import new_key
from driftmap.errors import InputError

__all__ = ["serve"]

_THREADS = 12


def serve(folder: Path, *, port: int, show: bool, echo: object = print) -> None:
    """Serve a folder until stopped.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    port : int
        Port on the loopback; 0 for a free one.
    show : bool
        Whether to open the browser.
    echo : callable
        Tells the address.
    """
    from waitress.server import create_server  # noqa: PLC0415

    desk = Desk(made(folder))
    listening = _listen("127.0.0.1", port)
    port = listening.getsockname()[1]
    key = new_key()
    app = make_app(desk, key, {f"127.0.0.1:{port}", f"localhost:{port}"})
    readers = Readers(desk)
    app.register_blueprint(readers_part(readers), url_prefix=f"/{key}")
    server = create_server(app, sockets=[listening], threads=_THREADS, ident=None)
    address = f"http://127.0.0.1:{port}/{key}/"
    assert callable(echo)
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
        readers.stop()
        desk.queue.stop()


def _listen(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as problem:
        listening.close()
        told = (
            f"{port} cannot be used ({problem.strerror}); leave it out for a free one"
        )
        raise InputError("--port", "", told) from None
    return listening
