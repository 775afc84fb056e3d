"""Runs the server until it is told to stop, then ends everything within two seconds."""

from __future__ import annotations

import contextlib
import gc
import logging
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cheroot.wsgi import Server

from coach.clock import Clock
from coach.drive.worker import ChildWorker
from coach.errors import BadInput, StoreError
from coach.server.app import create_app
from coach.server.guard import HOSTS
from coach.server.models import StartDrive
from coach.server.port import bound
from coach.server.services import Services
from coach.server.starting import Given
from coach.sources.table_child import read_table_in_child
from coach.store import Store
from coach.store.folder import default_folder

if TYPE_CHECKING:
    from flask import Flask

    from coach.server.joining import Joining, Lan

THREADS = 48
DRIVE_STOP_S = 1.0
"""How long the drive's last window files may take at the end; with the rest it stays under two seconds."""
HTTP_STOP_S = 0.4
SWITCH_S = 0.001
"""How long one thread may keep the interpreter from another: a page being sent must not hold up the judge."""


@dataclass(frozen=True)
class Demo:
    """A drive to start at once: a source's id, a recipe's SHA-256 (the first bundled or given one if None), a speed."""

    source: str = "replay:everything-qualifies"
    recipe: str | None = None
    speed: float | None = 1.0


def serve(
    host: str = "127.0.0.1",
    port: int = 8765,
    data_dir: Path | None = None,
    clock: Clock | None = None,
    *,
    demo: Demo | None = None,
    given: Given | None = None,
    lan: Lan | None = None,
    open_browser: bool = False,
    on_ready: Callable[[str], None] | None = None,
    on_lan: Callable[[Joining], None] | None = None,
    stop: threading.Event | None = None,
) -> None:
    """Serves until SIGINT, SIGTERM or `stop`.

    Args:
        host: a loopback address or name.
        port: 0 takes a free one.
        data_dir: the data folder; the user's own if left out.
        clock: the system's if left out.
        demo: a drive to start at once.
        given: recipes and tables besides the bundled ones.
        lan: lets phones on the network join, over https, besides the page on this machine.
        open_browser: opens the page.
        on_ready: called with the page's address once it can be opened.
        on_lan: called, in a thread of its own, once phones can join and the name is announced or cannot be.
        stop: ends the server when set; signals are handled only in the main thread.

    Raises:
        BadInput: the address is not this machine's own.
        Conflict: a port is in use, or a drive of the demo cannot start.
        StoreError: the data folder cannot be used.
    """
    clock = clock or Clock()
    folder = data_dir or default_folder()
    stop = stop or threading.Event()
    sys.setswitchinterval(min(sys.getswitchinterval(), SWITCH_S))
    # From the first moment on: a Ctrl-C while the page is being opened must end it as cleanly as one later.
    with _signals(stop):
        server = listen(host, port)
        with contextlib.ExitStack() as undo:
            undo.callback(server.stop)
            store = undo.enter_context(Store(folder, clock))
            joining = _joining(folder, clock, lan)
            if joining is not None:
                undo.callback(joining.close)
            services = Services.make(store, ChildWorker(folder), clock, read_table_in_child, given)
            # A review may take seconds: it must not stand in the way of a window that waits to be saved.
            services.reviewer = ChildWorker(folder)
            undo.pop_all()
        address = f"http://{_named(host)}:{server.bind_addr[1]}/"
        _run(server, services, stop, address, demo, joining, on_ready, on_lan, open_browser)


def _joining(folder: Path, clock: Clock, lan: Lan | None) -> Joining | None:
    if lan is None:
        return None
    # Only here: a server for this machine alone pays nothing for certificates and announcements.
    from coach.server.joining import Joining

    return Joining.open(folder, clock, lan)


def _run(
    server: Server, services: Services, stop: threading.Event, address: str, demo: Demo | None,
    joining: Joining | None, on_ready: Callable[[str], None] | None, on_lan: Callable[[Joining], None] | None,
    open_browser: bool,
) -> None:  # fmt: skip
    thread = None
    try:
        services.recover()
        app = create_app(services, joining=joining)
        server.wsgi_app = app
        thread = threading.Thread(target=server.serve, name="http", daemon=True)
        thread.start()
        if demo is not None:
            start_demo(services, demo)
        # What stands by now stays: looking through all of it for garbage would stop every thread for long moments.
        gc.freeze()
        if on_ready is not None:
            on_ready(address)
        if joining is not None:
            _let_in(joining, app, on_lan)
        if open_browser:
            _open(address)
        while not stop.wait(0.5):
            if joining is not None:
                _keep_up(joining)
    finally:
        gc.unfreeze()
        if joining is not None:
            joining.shut()
        services.close(DRIVE_STOP_S)
        # All doors at the same time: each takes a moment to notice.
        closing = threading.Thread(target=_close, args=(joining,), daemon=True)
        closing.start()
        server.shutdown_timeout = HTTP_STOP_S
        server.stop()
        closing.join()
        if thread is not None:
            thread.join(HTTP_STOP_S)


def _close(joining: Joining | None) -> None:
    if joining is not None:
        joining.close(HTTP_STOP_S)


def _let_in(joining: Joining, app: Flask, on_lan: Callable[[Joining], None] | None) -> None:
    from coach.server.help_app import create_help_app

    joining.start(app, create_help_app(joining))

    def tell() -> None:
        joining.wait_announced()
        if on_lan is not None:
            on_lan(joining)

    threading.Thread(target=tell, name="lan-ready", daemon=True).start()


def _keep_up(joining: Joining) -> None:
    try:
        joining.tick()
    except StoreError as error:
        # A full disk must not end a drive because a certificate could not be renewed: it is tried again.
        logging.getLogger("coach.server").warning("the certificate was not renewed: %s", error)


def listen(host: str, port: int) -> Server:
    """A server that is bound and not yet serving, so that a port in use is known before anything is begun.

    Raises:
        BadInput, Conflict: see `serve`.
    """
    if host not in HOSTS:
        raise BadInput("the server listens on this machine only: use 127.0.0.1 or localhost", where=host)
    return bound(Server, host, port, threads=THREADS)


def start_demo(services: Services, demo: Demo) -> None:
    """Starts the demo's drive. Raises NotFound, Conflict, BadInput."""
    recipe = demo.recipe or services.shelf.bundled[0]
    services.start(
        StartDrive(recipe=recipe, source=demo.source, speed=demo.speed, role="passenger", acknowledged=[], vehicle=None)
    )


def _named(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _open(address: str) -> None:
    import webbrowser

    # A browser that blocks (a text one) must not keep the server from hearing a signal.
    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


@contextlib.contextmanager
def _signals(stop: threading.Event) -> Iterator[None]:
    """Lets SIGINT and SIGTERM set `stop`, in the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    names = [n for n in ("SIGINT", "SIGTERM", "SIGBREAK") if hasattr(signal, n)]
    before = {n: signal.signal(getattr(signal, n), lambda *_: stop.set()) for n in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


__all__ = ["Demo", "listen", "serve", "start_demo"]
