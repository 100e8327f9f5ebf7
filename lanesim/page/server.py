"""Serving the page: one process, one port on this machine, until Ctrl-C."""

from __future__ import annotations

import contextlib
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from ..errors import InputError
from .desk import Desk
from .folder import Folder
from .guard import ADDRESS, Guard
from .routes import application

DEFAULT_PORT = 7430
# How long a thread may keep the interpreter to itself while another waits [s]: the whole shot is
# Python's work, and what follows the hand must not wait for it.
_TURN_S = 0.0005


def bind(port: int | None) -> socket.socket:
    """A socket on this machine: `port`, or the usual one, or any free one if that is taken.

    Raises
    ------
    InputError
        if a port that was asked for cannot be had.
    """
    wanted = [port] if port is not None else [DEFAULT_PORT, 0]
    for number in wanted:
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((ADDRESS, number))
            sock.listen(128)  # from here on nobody is turned away, though nobody answers yet
        except OSError as error:
            sock.close()
            if number == wanted[-1]:
                raise InputError(f"port {number} cannot be used: {error.strerror}; accepted: a "
                                 "free port, 1024 to 65535") from None
            continue
        return sock
    raise AssertionError


def prepare(folder: str | Path) -> Folder:
    """The folder, made if it is not there."""
    path = Path(folder)
    if path.exists() and not path.is_dir():
        raise InputError(f"{path} is a file; accepted: a folder")
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot make the folder {path}: {error.strerror}") from None
    return Folder(path)


def run(folder: str | Path, *, port: int | None = None, browser: bool = True,
        say: Callable[[str], None] = print) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    folder : where the user's files lie. port : on 127.0.0.1; None: any. browser : open one.
    say : told the address.
    """
    import uvicorn

    held = prepare(folder)
    sock = bind(port)
    number = sock.getsockname()[1]
    token = secrets.token_urlsafe(24)
    sys.setswitchinterval(_TURN_S)
    desk = Desk(held)
    guarded = Guard(application(desk), port=number, token=token)
    config = uvicorn.Config(guarded, log_level="error", access_log=False, server_header=False,
                            date_header=False, loop="asyncio", http="h11", ws="none",
                            lifespan="on", timeout_graceful_shutdown=1, timeout_keep_alive=60)
    server = uvicorn.Server(config)
    address = f"http://{ADDRESS}:{number}/?token={token}"
    say(f"lanesim is at {address}")
    say(f"files: {held.root}; stop with Ctrl-C")
    if browser:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[sock])
