"""Who may talk to the workbench: host, session, origin, headers; what leaves it, and what is kept.

The rules follow from how browsers work (same-origin policy, cookies, Fetch metadata); each test
plays the page, name or file that an attacker would use.
"""

import io
import re
import tempfile
from pathlib import Path
from typing import Any

import anyio
import pytest
import tree
from PIL import Image
from workbench import BASE, OWN, PORT, Browser, HereWorker, csrf

from rimwise.web import app as pages
from rimwise.web import uploads
from rimwise.web.app import make_app
from rimwise.web.catalogue import TEXT
from rimwise.web.door import MOST_RESULTS, Door
from rimwise.web.jobs import MeasuredPicture
from rimwise.web.keeping import Keeping
from rimwise.web.worker import WorkerFault

GOOD = {"side": "left", "optic_diameter_mm": "6,0"}


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put an invented answer in the place of the measurement."""

    def answer(values: dict[str, object], data: bytes, name: str) -> MeasuredPicture:
        line = ("Least cover", "0.14 ± 0.03 mm", "")
        return MeasuredPicture(
            name, "0" * 64, str(values["side"]), None, "measured", "Measured", (line,), (line,),
            (), (), data, '{"results": [{}]}',
        )  # fmt: skip

    monkeypatch.setattr(pages, "measure_job", answer)


@pytest.fixture
def picture(noise: Image.Image) -> bytes:
    sink = io.BytesIO()
    noise.save(sink, "PNG")
    return sink.getvalue()


def send(client: Browser, data: bytes, name: str = "eye.png", **told: str) -> Any:
    return client.post(
        "/measure",
        data={"csrf": csrf(client), **GOOD, **told},
        files={"picture": (name, data, "image/png")},
        headers=OWN,
    )


def test_without_the_token_nothing_is_shown(outside: Browser) -> None:
    for path in ("/", "/measure", "/plan", "/static/workbench.js", "/measured/x", "/nowhere"):
        answer = outside.get(path)
        assert answer.status_code == 403
        assert TEXT["error.session"] in answer.text.replace("&#x27;", "'")


def test_the_token_opens_once_and_leaves_a_strict_cookie(outside: Browser, door: Door) -> None:
    token = door.token
    assert token
    assert len(token) >= 32
    answer = outside.get("/", params={"token": token})
    cookie = answer.headers["set-cookie"]
    assert re.search(rf"^rimwise-{PORT}=", cookie)
    assert {"HttpOnly", "Path=/"} <= set(cookie.split("; "))
    assert "samesite=strict" in cookie.lower()
    assert token not in answer.text
    assert outside.get("/measure").status_code == 200
    outside.client.cookies.clear()
    assert outside.get("/", params={"token": token}).status_code == 403
    assert outside.get("/measure").status_code == 403


@pytest.mark.parametrize("token", ["", "x", "é" * 40, "None"])
def test_a_wrong_token_opens_nothing(outside: Browser, door: Door, token: str) -> None:
    assert outside.get("/", params={"token": token}).status_code == 403
    assert door.token is not None


@pytest.mark.parametrize(
    "host",
    ["evil.example", f"evil.example:{PORT}", "127.0.0.1", "127.0.0.1:1", f"[::1]:{PORT}", ""],
)
def test_another_name_that_points_at_this_machine_is_refused(inside: Browser, host: str) -> None:
    assert inside.get("/measure", headers={"Host": host}).status_code == 421


def test_localhost_is_this_machine_too(outside: Browser, door: Door) -> None:
    answer = outside.get("/", params={"token": door.token}, headers={"Host": f"localhost:{PORT}"})
    assert answer.status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "null"},
        {"Origin": "http://evil.example"},
        {"Origin": f"https://127.0.0.1:{PORT}"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": BASE, "Sec-Fetch-Site": "cross-site"},
        {"Origin": "null", "Sec-Fetch-Site": "cross-site"},
        {"Origin": BASE, "Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_on_another_page_is_refused(inside: Browser, headers: dict[str, str]) -> None:
    told = {"csrf": csrf(inside), "back": "/plan"}
    assert inside.post("/look", data=told, headers=headers).status_code == 403


@pytest.mark.parametrize(
    "headers", [OWN, {"Origin": BASE}, {"Origin": "null", "Sec-Fetch-Site": "same-origin"}]
)
def test_our_own_form_is_taken(inside: Browser, headers: dict[str, str]) -> None:
    answer = inside.post("/look", data={"csrf": csrf(inside), "back": "/plan"}, headers=headers)
    assert (answer.status_code, answer.headers["location"]) == (303, "/plan")


@pytest.mark.parametrize("mark", ["", "wrong", None])
def test_a_form_without_the_mark_of_the_session_is_refused(
    inside: Browser, mark: str | None
) -> None:
    for path in ("/measure", "/plan", "/look", "/forget", "/example"):
        answer = inside.post(path, data={} if mark is None else {"csrf": mark}, headers=OWN)
        assert answer.status_code == 400


@pytest.mark.parametrize(
    "back", ["https://evil.example", "//evil.example", "/\\evil", "/a/b/c", ""]
)
def test_a_form_leads_nowhere_else(inside: Browser, back: str) -> None:
    answer = inside.post("/look", data={"csrf": csrf(inside), "back": back}, headers=OWN)
    assert answer.headers["location"] == "/"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_other_methods_are_refused(inside: Browser, method: str) -> None:
    assert inside.request(method, "/measure", headers=OWN).status_code == 405


def test_a_web_socket_is_refused(inside: Browser) -> None:
    said: list[str] = []

    async def receive() -> dict[str, str]:
        return {"type": "websocket.connect"}

    async def hear(message: dict[str, Any]) -> None:
        said.append(message["type"])

    scope = {"type": "websocket", "path": "/", "headers": [(b"host", b"127.0.0.1:8000")]}
    anyio.run(inside.app, scope, receive, hear)
    assert said == ["websocket.close"]


@pytest.fixture
def every_page(inside: Browser, picture: bytes) -> list[Any]:
    """One answer of every kind that the workbench gives."""
    told = {"csrf": csrf(inside), "side": "right", "corneal_surgery": "none"}
    told["implant.optic_diameter_mm"] = "6"
    measured = send(inside, picture).headers["location"]
    planned = inside.post("/plan", data=told, headers=OWN).headers["location"]
    paths = ["/", "/measure", "/plan", measured, f"{measured}/drawing.png", planned]
    paths += [f"{planned}/drawing.svg", planned.replace("planned", "document"), "/nowhere"]
    paths += [
        "/static/look.css",
        "/static/workbench.css",
        "/static/workbench.js",
        "/static/icon.svg",
    ]
    answers = [inside.get(path) for path in paths]
    answers.append(send(inside, b"", side=""))
    answers.append(inside.get("/measure", headers={"Host": "evil"}))
    return answers


def test_every_answer_carries_the_strict_headers(every_page: list[Any]) -> None:
    for answer in every_page:
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none';")
        assert "unsafe" not in policy
        assert "http" not in policy
        assert "*" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cache-control"] == "no-store"
        assert "server" not in answer.headers


def test_no_page_holds_a_script_a_style_or_an_address_elsewhere(every_page: list[Any]) -> None:
    pages_ = [one for one in every_page if one.headers["content-type"].startswith("text/html")]
    assert len(pages_) >= 8
    for one in pages_:
        assert not re.findall(r"<script(?![^>]*\bsrc=\"/static/)", one.text)
        assert not re.findall(r"<style|\sstyle=|\son[a-z]+=|javascript:", one.text)
        assert not re.findall(r"(?:src|href|action)=\"(?!/|#)", one.text)


def test_nothing_that_is_served_names_another_host() -> None:
    folder = tree.SOURCE / "web"
    for path in [*folder.rglob("*.html"), *folder.rglob("*.css"), *folder.rglob("*.js")]:
        assert not re.findall(r"(?:https?:)?//[\w-]+\.\w", path.read_text("utf-8")), path.name


def test_the_web_library_reports_to_nobody(
    monkeypatch: pytest.MonkeyPatch, door: Door, tmp_path: Path
) -> None:
    monkeypatch.setenv("FASTAPI_OTEL_AUTO_CONFIGURE", "true")
    made = vars(make_app(door, HereWorker(), Keeping(tmp_path)))["_app"]
    assert not made._native_telemetry.enabled()
    assert not made._telemetry["auto_configure"]


def test_what_is_too_large_is_refused_before_it_is_kept(
    inside: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "MOST_BYTES", 2_000_000)
    monkeypatch.setattr(uploads, "MOST_DRAINED_BYTES", 8_000_000)
    for size in (2_000_000, 9_000_000):
        answer = send(inside, b"x" * size)
        assert answer.status_code == 413
        assert TEXT["error.large"] in answer.text


def test_a_picture_is_never_written_to_disk(
    inside: Browser, monkeypatch: pytest.MonkeyPatch, noise: Image.Image
) -> None:
    def spill(*_: object, **__: object) -> None:
        raise AssertionError("a picture was written to a temporary file")

    monkeypatch.setattr(tempfile.SpooledTemporaryFile, "rollover", spill)
    monkeypatch.setattr(tempfile, "mkstemp", spill)
    sink = io.BytesIO()
    noise.resize((1600, 1200)).save(sink, "PNG")
    assert len(sink.getvalue()) > 1_500_000, "above the size at which the parser goes to disk"
    assert send(inside, sink.getvalue()).status_code == 303


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    "name",
    ["../../../etc/passwd", "..", "C:\\eyes\\a.png", "/etc/passwd", "a\x00b.png", "x" * 5000],
)
def test_a_file_name_is_only_a_name(inside: Browser, picture: bytes, name: str) -> None:
    answer = send(inside, picture, name)
    assert answer.status_code in {303, 400}
    if answer.status_code == 303:
        shown = inside.get(answer.headers["location"]).text
        assert "etc/" not in shown
        assert "eyes\\" not in shown
        assert len(max(re.findall("x+", shown), key=len)) <= 80


@pytest.mark.parametrize(
    "path", ["/static/../door.py", "/static/%2e%2e%2fdoor.py", "/static/door.py"]
)
def test_only_the_named_files_are_served(inside: Browser, path: str) -> None:
    assert inside.get(path).status_code == 404


def test_what_was_sent_is_shown_as_text(inside: Browser, picture: bytes) -> None:
    nasty = '"><img src=x onerror=alert(1)>'
    answer = send(inside, picture, f"{nasty}.png".replace('"', ""), code=nasty)
    assert answer.status_code == 422
    assert "<img src=x" not in answer.text
    assert "&lt;img src=x" in answer.text
    named = send(inside, picture, "<b>eye<b>.png")
    assert "<b>eye" not in inside.get(named.headers["location"]).text


@pytest.mark.usefixtures("quick")
def test_a_result_belongs_to_its_session_and_the_oldest_makes_room(
    inside: Browser, picture: bytes
) -> None:
    places = [send(inside, picture).headers["location"] for _ in range(MOST_RESULTS + 1)]
    assert len(set(places)) == MOST_RESULTS + 1
    assert inside.get(places[0]).status_code == 404
    assert inside.get(places[1]).status_code == 200
    inside.post("/forget", data={"csrf": csrf(inside)}, headers=OWN)
    assert inside.get(places[-1]).status_code == 404


def test_a_fault_of_the_program_tells_one_sentence_and_no_secret(
    inside: Browser,
    picture: bytes,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.delenv("RIMWISE_DEBUG", raising=False)

    def broken(*_: object) -> None:
        raise ZeroDivisionError("patient Invented Name")

    def broken_child(*_: object) -> None:
        raise WorkerFault("ZeroDivisionError")

    for job in (broken, broken_child):
        monkeypatch.setattr(pages, "measure_job", job)
        answer = send(inside, picture)
        assert answer.status_code == 500
        assert TEXT["error.fault"] in answer.text
        assert "Invented Name" not in answer.text + caplog.text


def test_the_workbench_listens_on_this_machine_only() -> None:
    text = (Path(tree.SOURCE) / "web" / "serve.py").read_text("utf-8")
    assert 'HOST = "127.0.0.1"' in text
    assert "0.0.0.0" not in text
