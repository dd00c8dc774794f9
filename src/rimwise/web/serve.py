"""Starting the workbench: a port of this machine only, an address that opens once, a clean end."""

import asyncio
import os
import socket
import sys
import threading
import tomllib
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimwise.store.folder import default_folder
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.web.door import Door

HOST = "127.0.0.1"
HAND_S = 20.0  # numbers that follow a hand take a tenth of a second; the first loads libraries
LONG_S = 3600.0  # a clip of minutes; it is taken up again where it was left
USUAL_PORT = 8437  # any free number: it only keeps the address the same from day to day

ONE_BROWSER = "It opens once, in one browser on this machine. Ctrl-C ends it and forgets results."
ON_NETWORK = "Whoever is in the file of people logs in. Ctrl-C ends it and forgets results."

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Network:
    """What the workbench needs to be on a network: all of it, or it stays on this machine.

    Parameters
    ----------
    listen : str
        Address of this machine to listen on.
    name : str
        By which name browsers call it; the certificate is for this name.
    certificate, key : Path
        TLS, PEM files.
    people : Path
        Who may log in; ``--add`` writes it.
    """

    listen: str
    name: str
    certificate: Path
    key: Path
    people: Path


KEYS = {"listen", "name", "certificate", "key", "people"}


def network_of(path: Path) -> Network:
    """How is the workbench to be on a network, by this TOML file?

    Its files are looked for from its own folder.

    Raises
    ------
    WrongInput
        It cannot be read, or something is missing: without TLS and log-in there is no network.
    """
    try:
        told = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); check the name") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError):
        raise WrongInput(f"{path} is no TOML; correct it") from None
    if set(told) != KEYS or not all(isinstance(one, str) and one for one in told.values()):
        raise WrongInput(
            f"{path.name} needs {', '.join(sorted(KEYS))}, each a text and nothing else; a "
            "workbench is on a network only with TLS and log-in"
        )
    files = {one: path.absolute().parent / told[one] for one in ("certificate", "key", "people")}
    return Network(told["listen"], told["name"], **files)


def serve(
    port: int | None,
    browser: bool,
    casebook: Path | None,
    tell: Tell,
    network: Network | None = None,
) -> None:
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
    network : Network, optional
        Without it only this machine is served.

    Raises
    ------
    WrongInput
        The port is taken or may not be used.
    """
    if network is not None:
        _check_tls(network)
    listening = _listen(port, HOST if network is None else network.listen)
    import uvicorn  # noqa: PLC0415 - the port is taken first: a wrong one is told at once

    from rimwise.web.app import make_app  # noqa: PLC0415
    from rimwise.web.keeping import Keeping  # noqa: PLC0415
    from rimwise.web.worker import Worker  # noqa: PLC0415

    door, address = _door(listening.getsockname()[1], network)
    worker, hand, long = Worker(), Worker(HAND_S), Worker(LONG_S)
    keeping = Keeping(casebook or default_folder())
    config = uvicorn.Config(make_app(door, worker, keeping, hand, long), **_settings(network))
    server = uvicorn.Server(config)
    try:
        tell(f"Workbench: {address}")
        tell(ONE_BROWSER if network is None else ON_NETWORK)
        tell(f"Eyes that you save are kept in {keeping.folder}.")
        threading.Thread(target=worker.warm, daemon=True).start()
        if browser and network is None and _has_screen():
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        asyncio.run(server.serve(sockets=[listening]))
    except KeyboardInterrupt:
        tell("Workbench closed; results that were not saved are forgotten.")
    finally:
        worker.close()
        hand.close()
        long.close()
        keeping.close()
        listening.close()


def _door(port: int, network: Network | None) -> "tuple[Door, str]":
    """Return who may come in, and the address for a browser."""
    from rimwise.web.door import Door  # noqa: PLC0415

    if network is None:
        door = Door(port)
        return door, f"http://{HOST}:{port}/?token={door.token}"
    from rimwise.web.people import read_people  # noqa: PLC0415

    return Door(port, network.name, read_people(network.people)), f"https://{network.name}:{port}/"


def _settings(network: Network | None) -> dict[str, Any]:
    return {
        "log_config": None,  # names of pictures are no log lines
        "access_log": False,
        "server_header": False,
        "lifespan": "off",
        "ws": "none",
        "timeout_graceful_shutdown": 2,
        "ssl_certfile": None if network is None else network.certificate,
        "ssl_keyfile": None if network is None else network.key,
    }


def _check_tls(network: Network) -> None:
    import ssl  # noqa: PLC0415

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(network.certificate, network.key)
    except (OSError, ssl.SSLError, ValueError) as error:
        raise WrongInput(
            f"{network.certificate} and {network.key} make no TLS ({type(error).__name__}); give a "
            "certificate and its key as PEM files"
        ) from None


def _listen(port: int | None, host: str) -> socket.socket:
    if port is not None and not 1 <= port <= 65535:
        raise WrongInput(
            f"--port is {port}, and 1 to 65535 is allowed; leave it out for a free one"
        )
    try:
        return _bound(USUAL_PORT if port is None else port, host)
    except OSError as error:
        if port is not None:
            raise WrongInput(
                f"port {port} cannot be used ({error.strerror}); give another, or leave out --port "
                "for a free one"
            ) from None
    try:
        return _bound(0, host)
    except OSError as error:
        raise WrongInput(
            f"{host} cannot be listened on ({error.strerror}); give an address of this machine"
        ) from None


def _bound(port: int, host: str) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # there the same option would share a port in use
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
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
