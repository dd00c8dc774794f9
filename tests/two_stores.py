"""A casebook on both databases for the tests: SQLite, and Debian's PostgreSQL started on loopback.

Without PostgreSQL on the machine those tests are skipped for a user and fail in the gate.
"""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from rimwise.store.book import Casebook


def _server_folder() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


def _as_server(command: list[str]) -> list[str]:
    """The server refuses to run as root."""
    return ["runuser", "-u", "postgres", "--", *command] if os.geteuid() == 0 else command


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    folder = _server_folder()
    if folder is None:
        if os.environ.get("RIMWISE_REQUIRE_ALL") == "1":
            pytest.fail("PostgreSQL is missing; .ci/setup installs it")
        pytest.skip("no PostgreSQL server on this machine (Debian: the package postgresql)")
    # Not in the tests' own folder: whoever else starts tests closes that to the server's user.
    place = Path(tempfile.mkdtemp(prefix="rimwise-server-"))
    place.chmod(0o711)
    data = place / "data"
    data.mkdir()
    if os.geteuid() == 0:
        shutil.chown(data, "postgres")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    make = [str(folder / "initdb"), "-D", str(data), "-U", "test", "-A", "trust", "-N"]
    subprocess.run(_as_server(make), check=True, capture_output=True, cwd="/")
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories= -F"
    control = [str(folder / "pg_ctl"), "-D", str(data), "-w"]
    subprocess.run(
        _as_server([*control, "-o", options, "-l", str(data / "log"), "start"]),
        check=True, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    yield f"postgresql+psycopg://test@127.0.0.1:{port}"
    # A busy machine may not see it end in time: then it is killed, its data are thrown away anyway.
    pid = int((data / "postmaster.pid").read_text(encoding="utf-8").split()[0])
    stop = [*control, "-m", "immediate", "stop"]
    subprocess.run(_as_server(stop), check=False, capture_output=True, cwd="/")
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)
    shutil.rmtree(place, ignore_errors=True)


Open = Callable[[], Casebook]


@pytest.fixture(params=["sqlite", "postgresql"])
def again(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Open]:
    """Open the same casebook, as often as asked."""
    url = None
    if request.param == "postgresql":
        base = request.getfixturevalue("server")
        name = f"t{os.getpid()}_{time.monotonic_ns()}"
        admin = create_engine(f"{base}/postgres", isolation_level="AUTOCOMMIT")
        with admin.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        admin.dispose()
        url = f"{base}/{name}"
    opened = []

    def go() -> Casebook:
        opened.append(Casebook(tmp_path / "book", url))
        return opened[-1]

    yield go
    for one in opened:
        one.close()
