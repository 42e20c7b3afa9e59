"""Starts the page: the port, the browser, the phone's address, and an end that leaves no process behind."""

from __future__ import annotations

import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path

__all__ = ["PORT", "free_port", "open_page", "own_address"]

#: the same every time, so that entries kept in the browser are found again; unassigned by IANA's register, from memory
PORT = 8731
_TRIED = 20


def free_port(host: str, first: int = PORT) -> socket.socket:
    """Return a socket that listens on the first port nobody uses.

    Raises
    ------
    OSError
        Where none of some twenty is free.
    """
    for port in range(first, first + _TRIED):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
            return listener
        except OSError:
            listener.close()
    raise OSError(f"no port from {first} to {first + _TRIED - 1} is free")


def own_address() -> str:
    """Return the address of this machine in its network; no packet is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address of the documentation range: only the route is looked up
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def open_page(folder: Path, share: bool, browser: bool, tell: Callable[[str], None], port: int, draws: int) -> None:
    """Serve the page of a folder until it is stopped.

    Parameters
    ----------
    folder : Path
        Of cases, or one case.
    share : bool
        Whether telephones in the same network may come in by a code.
    browser : bool
        Whether to open the page in the browser.
    tell : callable
        Takes what is to be printed.
    port : int
        The first to try.
    draws : int
        Of a decision, as `burden report` takes them.
    """
    import uvicorn

    from burden.page.app import build_app
    from burden.page.catalogue import say
    from burden.page.guard import Guard, Shared
    from burden.page.jobs import Jobs, Trials
    from burden.page.library import Library

    library = Library(folder)
    listener = free_port("0.0.0.0" if share else "127.0.0.1", port)
    number = listener.getsockname()[1]
    hosts = [f"{name}:{number}" for name in ("127.0.0.1", "localhost")]
    shared = Shared() if share else None
    path = "/" if library.only is None else f"/case/{library.only}"
    tell(say("cli.serving", address=f"http://{hosts[0]}{path}"))
    if shared is not None:
        hosts.append(f"{own_address()}:{number}")
        tell(say("cli.share", address=f"http://{hosts[-1]}/enter", code=shared.code))
    jobs, trials = Jobs(draws), Trials(draws)
    guarded = Guard(build_app(library, jobs, trials, shared), hosts, shared)
    config = uvicorn.Config(guarded, log_level="warning", lifespan="off", server_header=False, access_log=False)
    server = uvicorn.Server(config)
    if browser:
        threading.Thread(target=_browse, args=(server, f"http://{hosts[0]}{path}"), daemon=True).start()
    try:
        server.run(sockets=[listener])
    finally:
        jobs.close()
        trials.close()
        listener.close()


def _browse(server: object, address: str) -> None:
    """Open the page once it answers."""
    for _ in range(100):
        if getattr(server, "started", False):
            webbrowser.open(address)
            return
        time.sleep(0.05)
