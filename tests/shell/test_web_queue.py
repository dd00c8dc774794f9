"""The queue: pictures are measured one after the other, and a restart loses none of them."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from workbench import OWN, Browser, HereWorker, csrf

from rimwise.store.waiting import WaitingRoom
from rimwise.terms.errors import WrongInput
from rimwise.web.examples import example_picture
from rimwise.web.keeping import Keeping
from rimwise.web.queue import DONE, FAILED, RUNS, WAITS, Queue


def _settled(listed: Any) -> list[dict[str, Any]]:
    for _ in range(600):
        found: list[dict[str, Any]] = listed()
        if all(one["state"] not in ("waits", "runs") for one in found):
            return found
        time.sleep(0.1)
    raise AssertionError("the queue does not end")


def test_pictures_are_measured_and_kept(inside: Browser, keeping: Keeping) -> None:
    values, data = example_picture("easy")
    told = {"csrf": csrf(inside), "who": "R-2", "side": str(values["side"]), "code": "E-5",
            "optic_diameter_mm": "5,5"}  # fmt: skip
    files = {"picture": ("../x.jpg", data, "image/jpeg")}
    assert inside.post("/queue", data=told, files=files, headers=OWN).status_code == 303
    bad = {"picture": ("b.jpg", b"no picture", "image/jpeg")}
    assert inside.post("/queue", data=told, files=bad, headers=OWN).status_code == 303
    refused = inside.post("/queue", data=told | {"side": ""}, files=files, headers=OWN)
    assert refused.status_code == 400, "a side is never guessed"
    queue = Queue(HereWorker(), keeping)
    found = _settled(queue.listed)
    assert [one["state"] for one in found] == [DONE, FAILED]
    assert keeping.book().newest("E-5", "cover", found[0]["sha256"]) is not None
    assert "x.jpg" in inside.get("/queue").text
    state = inside.get("/queue/state").json()
    assert inside.get(state[0]["to"]).status_code == 200
    inside.post("/queue/cancel", data={"csrf": told["csrf"], "clear": "yes"}, headers=OWN)
    assert inside.get("/queue/state").json() == []


def test_what_was_running_at_the_end_is_measured_after_a_restart(keeping: Keeping) -> None:
    values, data = example_picture("easy")
    room = WaitingRoom(keeping.folder)
    told = {"name": "x.jpg", "values": dict(values) | {"code": "E-6"}, "who": "", "at": "1",
            "state": RUNS}  # fmt: skip
    room.add(data, told)
    queue = Queue(HereWorker(), keeping)
    queue.go_on()
    assert [one["state"] for one in _settled(queue.listed)] == [DONE]
    assert keeping.book().eye("E-6") is not None


class OddWorker(HereWorker):
    """Meets what nobody thought of at one picture."""

    def run(self, job: Callable[..., Any], *inputs: object) -> Any:
        if inputs[2] == "odd.jpg":
            raise KeyError("nobody thought of it")
        return super().run(job, *inputs)


def test_an_unknown_error_in_one_picture_stops_no_other(keeping: Keeping) -> None:
    values, data = example_picture("easy")
    room = WaitingRoom(keeping.folder)
    told = {"values": dict(values) | {"code": "E-7"}, "who": "", "state": WAITS}
    room.add(data, told | {"name": "odd.jpg", "at": "1"})
    room.add(data, told | {"name": "x.jpg", "at": "2"})
    room.add(data, {"name": "half told"})
    queue = Queue(OddWorker(), keeping)
    queue.go_on()
    found = _settled(queue.listed)
    assert [one["state"] for one in found] == [FAILED, DONE]
    assert "fault of the program" in found[0]["sentence"]


def test_a_number_from_outside_never_becomes_a_path(tmp_path: Path) -> None:
    with pytest.raises(WrongInput):
        WaitingRoom(tmp_path).told("../../etc/passwd")
