"""Starting the workbench: a port of this machine only, an address that opens once, a clean end."""

import asyncio
import os
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from rimwise.store.folder import default_folder
from rimwise.terms.errors import WrongInput

HOST = "127.0.0.1"
USUAL_PORT = 8437  # any free number: it only keeps the address the same from day to day

Tell = Callable[[str], None]


def serve(port: int | None, browser: bool, casebook: Path | None, tell: Tell) -> None:
    """Serve the workbench until Ctrl-C.

    Parameters
    ----------
    port : int or None
        1 to 65535; None takes the usual one, or a free one where that is taken.
    browser : bool
        Whether to open the address in the person's browser, where there is a screen.
    casebook : Path or None
        Its folder; None takes the usual one. It is made when a page first writes into it.
    tell : callable
        Takes the lines to be printed.

    Raises
    ------
    WrongInput
        The port is taken or may not be used.
    """
    listening = _listen(port)
    import uvicorn  # noqa: PLC0415 - the port is taken first: a wrong one is told at once

    from rimwise.web.app import make_app  # noqa: PLC0415
    from rimwise.web.door import Door  # noqa: PLC0415
    from rimwise.web.keeping import Keeping  # noqa: PLC0415
    from rimwise.web.worker import Worker  # noqa: PLC0415

    door = Door(listening.getsockname()[1])
    worker = Worker()
    keeping = Keeping(casebook or default_folder())
    config = uvicorn.Config(
        make_app(door, worker, keeping),
        log_config=None,  # names of pictures are no log lines
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    address = f"http://{HOST}:{listening.getsockname()[1]}/?token={door.token}"
    try:
        tell(f"Workbench: {address}")
        tell("It opens once, in one browser on this machine. Ctrl-C ends it and forgets results.")
        tell(f"Eyes that you save are kept in {keeping.folder}.")
        threading.Thread(target=worker.warm, daemon=True).start()
        if browser and _has_screen():
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        asyncio.run(server.serve(sockets=[listening]))
    except KeyboardInterrupt:
        tell("Workbench closed; results that were not saved are forgotten.")
    finally:
        worker.close()
        keeping.close()
        listening.close()


def _listen(port: int | None) -> socket.socket:
    if port is not None and not 1 <= port <= 65535:
        raise WrongInput(
            f"--port is {port}, and 1 to 65535 is allowed; leave it out for a free one"
        )
    try:
        return _bound(USUAL_PORT if port is None else port)
    except OSError as error:
        if port is not None:
            raise WrongInput(
                f"port {port} cannot be used ({error.strerror}); give another, or leave out --port "
                "for a free one"
            ) from None
    return _bound(0)


def _bound(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # there the same option would share a port in use
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HOST, port))
        listening.listen(64)
    except OSError:
        listening.close()
        raise
    return listening


def _has_screen() -> bool:
    """Whether a browser would be a window, and not a text browser over this terminal."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
