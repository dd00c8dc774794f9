"""On a network: TLS and log-in or nothing; what never leaves the machine, and is in no log."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import httpx
import pytest
import tree
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import expect
from typer.testing import CliRunner
from workbench import Browser, HereWorker, csrf

from rimwise.cli.main import app as cli
from rimwise.terms.errors import WrongInput
from rimwise.web.app import make_app
from rimwise.web.catalogue import TEXT
from rimwise.web.door import IDLE_S, Door
from rimwise.web.keeping import Keeping
from rimwise.web.people import TRIES, People, add_person, read_people
from rimwise.web.serve import network_of

SHOTS = os.environ.get("RIMWISE_SCREENSHOTS")
LOOKS: tuple[Literal["light", "dark"], ...] = ("light", "dark")
NAME = "bench.test"
BASE = f"https://{NAME}:8443"
OWN = {"Origin": BASE}
PASSWORD = "a long invented one"
PROGRAM = str(Path(sys.executable).with_name("rimwise"))


@pytest.fixture
def people(tmp_path: Path) -> People:
    path = tmp_path / "people.json"
    for name in ("S-2", "S-3"):
        add_person(path, name, PASSWORD)
    assert path.stat().st_mode & 0o077 == 0, "nobody else on the machine reads the hashes"
    assert PASSWORD not in path.read_text("utf-8")
    return read_people(path)


@pytest.fixture
def door(people: People) -> Door:
    return Door(8443, NAME, people)


@pytest.fixture
def client(door: Door, keeping: Keeping) -> Browser:
    return Browser(make_app(door, HereWorker(), keeping), BASE)


def log_in(client: Browser, name: str = "S-2", password: str = PASSWORD) -> Any:
    return client.post("/log-in", data={"name": name, "password": password}, headers=OWN)


def test_nobody_sees_a_page_before_the_log_in(client: Browser) -> None:
    for path in ("/eyes", "/static/workbench.js", "/nowhere"):
        answer = client.get(path)
        assert answer.status_code == 403
        assert 'type="password"' in answer.text
    assert client.get("/", params={"token": "None"}).status_code == 200
    assert client.get("/eyes").status_code == 403
    assert client.post("/eyes/new", data={"code": "E-1"}, headers=OWN).status_code == 403


def test_a_person_comes_in_by_a_cookie_that_only_tls_carries(client: Browser) -> None:
    answer = log_in(client)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-rimwise=")
    assert {"HttpOnly", "Secure", "Path=/"} <= set(cookie.split("; "))
    assert "Domain" not in cookie, "RFC 6265bis: __Host- needs Secure, Path=/ and no Domain"
    assert answer.headers["strict-transport-security"]
    page = client.get("/eyes")
    assert page.status_code == 200
    assert "Log out: S-2" in page.text


def test_who_logged_in_writes_under_no_other_name(client: Browser, keeping: Keeping) -> None:
    log_in(client)
    told = {"csrf": csrf(client), "code": "E-1", "side": "left", "who": "S-9"}
    assert client.post("/eyes/new", data=told, headers=OWN).status_code == 303
    assert [link["who"] for link in keeping.book().history()] == ["S-2"]


def test_logging_out_and_an_idle_hour_end_the_session(client: Browser, door: Door) -> None:
    log_in(client)
    client.post("/log-out", data={"csrf": csrf(client)}, headers=OWN)
    assert client.get("/eyes").status_code == 403
    log_in(client)
    assert client.get("/eyes").status_code == 200
    next(iter(vars(door)["_sessions"].values())).used -= IDLE_S + 1.0
    assert client.get("/eyes").status_code == 403


@pytest.mark.parametrize(("name", "password"), [("S-2", "wrong"), ("S-9", PASSWORD), ("", "")])
def test_wrong_ones_stay_out_and_guessing_has_to_wait(
    client: Browser, name: str, password: str
) -> None:
    for _ in range(TRIES - 1):
        answer = log_in(client, name, password)
        assert answer.status_code == 403
        assert TEXT["login.wrong"] in answer.text
    log_in(client, name, password)
    assert log_in(client, name, PASSWORD).status_code == 429
    assert log_in(client, "S-3").status_code == 200, "another person does not wait"


def test_after_a_minute_the_right_one_comes_in(people: People) -> None:
    now = [0.0]
    slow = People(vars(people)["_hashes"], lambda: now[0])
    for _ in range(TRIES):
        assert not slow.know("S-2", "wrong")
    assert not slow.know("S-2", PASSWORD)
    now[0] = 61.0
    assert slow.know("S-2", PASSWORD)


@pytest.mark.parametrize("origin", ["http://bench.test:8443", "https://evil.example", "null"])
def test_a_log_in_form_on_another_page_is_refused(client: Browser, origin: str) -> None:
    told = {"name": "S-2", "password": PASSWORD}
    answer = client.post("/log-in", data=told, headers={"Origin": origin})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("password", ["short", "x" * 201])
def test_a_password_is_long_enough(tmp_path: Path, password: str) -> None:
    with pytest.raises(WrongInput, match="signs"):
        add_person(tmp_path / "people.json", "S-2", password)


@pytest.mark.parametrize("left_out", ["certificate", "key", "people", "listen", "name"])
def test_there_is_no_network_without_tls_and_log_in(tmp_path: Path, left_out: str) -> None:
    told = {"listen": "0.0.0.0", "name": NAME, "certificate": "c", "key": "k", "people": "p"}
    del told[left_out]
    path = tmp_path / "network.toml"
    path.write_text("".join(f'{key} = "{value}"\n' for key, value in told.items()), "utf-8")
    with pytest.raises(WrongInput, match="only with TLS and log-in"):
        network_of(path)


@pytest.fixture
def network(tmp_path: Path) -> Path:
    """A set-up with a certificate of its own for this machine."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine (Debian and Ubuntu: the package openssl)")
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-keyout",
         "key.pem", "-out", "cert.pem", "-subj", "/CN=localhost", "-addext",
         "subjectAltName=DNS:localhost,IP:127.0.0.1"],
        cwd=tmp_path, check=True, capture_output=True,
    )  # fmt: skip
    path = tmp_path / "network.toml"
    path.write_text(
        'listen = "127.0.0.1"\nname = "localhost"\ncertificate = "cert.pem"\nkey = "key.pem"\n'
        'people = "people.json"\n', "utf-8",
    )  # fmt: skip
    asked = CliRunner().invoke(
        cli, ["serve", "--network", str(path), "--add", "S-2"], input=f"{PASSWORD}\n{PASSWORD}\n"
    )
    assert asked.exit_code == 0
    assert PASSWORD not in asked.output
    return path


# Writes down each address that a program of ours asks to be connected to.
WATCH = """
import os, sys
def _watch(event, told):
    if event == "socket.connect" and told[0].family.name != "AF_UNIX":
        with open(os.environ["WATCHED"], "a") as file:
            file.write(repr(told[1]) + chr(10))
    if event == "socket.getaddrinfo" and told[0] not in ("127.0.0.1", "localhost", None):
        with open(os.environ["WATCHED"], "a") as file:
            file.write(repr(told[0]) + chr(10))
sys.addaudithook(_watch)
with open(os.environ["WATCHED"] + "-by", "a") as file:
    file.write(str(os.getpid()) + chr(10))
"""


@pytest.fixture
def served(network: Path, tmp_path: Path) -> Iterator[tuple[str, Any]]:
    """A real workbench with TLS, watched."""
    (tmp_path / "watch").mkdir()
    (tmp_path / "watch" / "sitecustomize.py").write_text(WATCH, "utf-8")
    path = os.pathsep.join([str(tmp_path / "watch"), str(tree.SOURCE.parent)])
    child = subprocess.Popen(
        [PROGRAM, "serve", "--network", str(network), "--casebook", str(tmp_path / "book")],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env=os.environ | {"PYTHONPATH": path, "WATCHED": str(tmp_path / "watched")},
    )  # fmt: skip
    assert child.stdout
    address = child.stdout.readline().removeprefix("Workbench: ").strip()
    yield address, child
    child.terminate()
    child.wait(timeout=20)
    child.stdout.close()


@pytest.mark.browser
def test_the_log_in_page_is_for_everybody_and_lets_a_person_in(
    served: tuple[str, Any], chromium: Chromium
) -> None:
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415

    for width in (390, 1280):
        for look in LOOKS:
            context = chromium.new_context(
                viewport={"width": width, "height": 900}, color_scheme=look,
                ignore_https_errors=True, bypass_csp=True,
            )  # fmt: skip
            page = context.new_page()
            page.goto(served[0], wait_until="networkidle")
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
            found: Any = Axe().run(page).response["violations"]
            assert [one["id"] for one in found if one["impact"] in {"serious", "critical"}] == []
            if SHOTS:
                page.screenshot(path=Path(SHOTS) / f"log-in-{width}-{look}.png", full_page=True)
            context.close()
    context = chromium.new_context(ignore_https_errors=True)
    page = context.new_page()
    page.goto(served[0])
    page.get_by_label("Pseudonym").press_sequentially("S-2")
    page.keyboard.press("Tab")
    page.keyboard.type("a wrong one, of course")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text(TEXT["login.wrong"])
    page.get_by_label("Pseudonym").fill("S-2")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button").click()
    expect(page.get_by_role("button", name="Log out: S-2")).to_be_visible(timeout=60_000)
    context.close()


def test_all_of_a_day_over_tls_with_no_connection_out_and_nothing_in_the_log(
    served: tuple[str, Any], tmp_path: Path
) -> None:
    address, child = served
    import ssl  # noqa: PLC0415

    trusted = ssl.create_default_context(cafile=tmp_path / "cert.pem")
    own = {"Origin": address.rstrip("/")}
    with httpx.Client(base_url=address, verify=trusted, timeout=120.0) as client:
        told = {"name": "S-2", "password": PASSWORD}
        assert client.post("/log-in", data=told, headers=own).status_code == 200
        mark = re.search(r'name="csrf" value="([^"]+)"', client.get("/measure").text)
        assert mark
        form = {"csrf": mark[1], "side": "right", "corneal_surgery": "none", "code": "E-77",
                "implant.optic_diameter_mm": "6"}  # fmt: skip
        planned = client.post("/plan", data=form, headers=own).headers["location"]
        assert client.get(f"{planned}/eye.svg").status_code == 200
        name = planned.rpartition("/")[2]
        kept = {"csrf": mark[1], "name": name, "code": "E-77"}
        assert client.post("/plan/save", data=kept, headers=own).status_code == 303
        measured = client.post("/example", data={"csrf": mark[1], "example": "easy"}, headers=own)
        assert client.get(measured.headers["location"]).status_code == 200
        assert json.loads(client.get(f"/document/{name}").text)["results"]
        key = dict(client.cookies)["__Host-rimwise"]
    child.terminate()
    log = child.stdout.read()
    for secret in (PASSWORD, key, mark[1], "E-77", ".jpg", "S-2"):
        assert secret not in log
    watching = (tmp_path / "watched-by").read_text("utf-8").split()
    assert len(set(watching)) >= 2, "server and worker were watched"
    assert not (tmp_path / "watched").exists(), (tmp_path / "watched").read_text("utf-8")
