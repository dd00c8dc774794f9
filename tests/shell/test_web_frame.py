"""Frames and clips on the page: aligned beside it, told as the command tells, kept, stopped."""

import json
import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from practice import AWAY, FOLDER
from workbench import OWN, Browser, HereWorker, csrf

from rimwise.align.frame import align_frame
from rimwise.demo.frames import FrameWish, draw_frame
from rimwise.demo.photos import photo_jpeg
from rimwise.exchange.frames import frame_document
from rimwise.exchange.pictures import picture_from_bytes
from rimwise.store.waiting import WaitingRoom
from rimwise.web.frame_desk import CANCELLED, DONE, FAILED, RUNS, FrameDesk
from rimwise.web.keeping import Keeping


@pytest.fixture(scope="module")
def frame() -> tuple[bytes, str, Any]:
    """An invented frame, its sheet as a file, and the sheet itself."""
    pixels, _, sheet = draw_frame(np.random.default_rng(8), FrameWish(turn_deg=(2.0, 1.0)))
    lamps, lengths = sheet.lamps, sheet.lengths
    assert lamps
    told = [f'side = "{sheet.side}"', 'kind = "frame"', f'state = "{sheet.state}"',
            f"superior_deg = {sheet.frame.superior_deg}", f"px_per_mm = {sheet.px_per_mm}",
            f"working_distance_mm = {sheet.working_distance_mm}", 'fixation = "claimed"', "[lamps]",
            f"places_mm = {[list(one) for one in lamps.places_mm]}", "fixated = 0", "[cornea]",
            f"radius_mm = {sheet.cornea.radius_mm}", "[lengths]",
            f"white_to_white_mm = {lengths.white_to_white_mm}"]  # fmt: skip
    return photo_jpeg(pixels, 92), "\n".join(told) + "\n", sheet


def _post(inside: Browser, path: str, files: Any = None, **told: Any) -> Any:
    return inside.post(path, data={"csrf": csrf(inside), **told}, files=files, headers=OWN)


def _settled(inside: Browser, path: str) -> str:
    for _ in range(1200):
        state = inside.get(f"{path}/state").json()
        if not state["open"]:
            return inside.get(path).text
        time.sleep(0.1)
    raise AssertionError("it does not end")


def test_a_frame_is_told_as_the_function_tells_it(
    inside: Browser, keeping: Keeping, frame: tuple[bytes, str, Any]
) -> None:
    data, sheet, _ = frame
    files = [("frame", ("../a.jpg", data, "image/jpeg")), ("frame", ("a.toml", sheet.encode(), ""))]
    answer = _post(inside, "/frame", files, code="E-1", make="yes", who="R-2")
    assert answer.status_code == 303, answer.text
    path = answer.headers["location"]
    page = _settled(inside, path)
    assert "a.jpg" in inside.get("/frame").text
    document = json.loads(inside.get(f"{path}/document.json").text)["results"][0]
    assert document["schema"] == "rimwise.frame/1"
    folder = keeping.folder / "frames" / path.rpartition("/")[2]
    told = _alone(folder / "recording-0.jpg", json.loads((folder / "state.json").read_text()))
    assert document["targets"] == told["targets"]
    assert document["offset"] == told["offset"]
    drawing = re.search(rf'src="({path}/file/[^"]+png)"', page)
    assert drawing
    assert inside.get(drawing[1]).content[1:4] == b"PNG"
    assert "Unverified" in page, "one fixation makes no verified reference"
    assert _post(inside, path, code="E-1", why="seen").status_code == 303
    book = keeping.book()
    assert book.versions("E-1", "frame")[0].document["schema"] == "rimwise.frame/1"
    assert book.newest("E-1", "reference") is not None
    assert book.verify() == []
    again = _post(inside, "/frame", files, code="E-1", own_reference="yes")
    page = _settled(inside, again.headers["location"])
    assert "against this eye&#39;s reference" in page or "against this eye's reference" in page
    told = json.loads(inside.get(again.headers["location"] + "/document.json").text)["results"][0]
    assert told["offset"]["turn_words"], "with a reference the turn is told"
    assert _post(inside, path, remove="yes").status_code == 303
    assert inside.get(path).status_code == 404


def _alone(path: Path, state: dict[str, Any]) -> dict[str, Any]:
    from rimwise.exchange.sheets import read_picture_sheet  # noqa: PLC0415

    sheet = read_picture_sheet(path, state["values"] | {"kind": "frame"}).sheet
    raster = picture_from_bytes(path.read_bytes(), path.name).raster
    return frame_document(align_frame(raster, sheet, str(path)).finding)


def test_what_is_no_recording_is_refused_and_a_path_is_never_followed(
    inside: Browser, keeping: Keeping, frame: tuple[bytes, str, Any]
) -> None:
    data, sheet, _ = frame
    assert _post(inside, "/frame").status_code == 422
    for name in ("a.exe", "a", "a.json"):
        files = [("frame", (name, data, ""))]
        assert _post(inside, "/frame", files, side="left").status_code == 422
    alone = [("frame", ("a.jpg", data, ""))]
    assert "lamp" in _post(inside, "/frame", alone, side="left").text
    assert _post(inside, "/frame", alone).status_code == 422, "a side is never guessed"
    sheet = f'reference = "/etc/hostname"\n{sheet}'
    files = [("frame", ("a.jpg", data, "")), ("frame", ("a.toml", sheet.encode(), ""))]
    path = _post(inside, "/frame", files).headers["location"]
    _settled(inside, path)
    state = json.loads(
        (keeping.folder / "frames" / path.rpartition("/")[2] / "state.json").read_text()
    )
    assert "reference" not in state["values"]
    for name in ("state.json", "recording-0.jpg", "..%2F..%2Fcasebook.sqlite", "asked"):
        assert inside.get(f"{path}/file/{name}").status_code == 404
    broken = [("frame", ("a.jpg", b"no picture", "")), ("frame", ("a.toml", sheet.encode(), ""))]
    page = _settled(inside, _post(inside, "/frame", broken).headers["location"])
    assert "is not a picture" in page


class Waiting(HereWorker):
    """Does not end by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.stopped = False

    def run(self, *_: Any) -> Any:
        while not self.stopped:
            time.sleep(0.02)
        raise KeyError("ended")

    def stop(self) -> None:
        self.stopped = True


def test_a_recording_is_cancelled_and_a_restart_goes_on(tmp_path: Path) -> None:
    waiting = Waiting()
    desk = FrameDesk(waiting, tmp_path)
    told = {"values": {"side": "left"}, "code": "", "who": "", "make": False}
    number = desk.add([("a.jpg", b"x")], told)
    while True:
        now = desk.told(number)
        assert now
        if now["state"] == RUNS:
            break
        time.sleep(0.02)
    desk.cancel(number)
    assert waiting.stopped
    time.sleep(0.1)
    now = desk.told(number)
    assert now
    assert now["state"] == CANCELLED
    path = tmp_path / "frames" / number / "state.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"state": RUNS}))
    after = FrameDesk(HereWorker(), tmp_path)
    after.go_on()
    for _ in range(300):
        now = after.told(number)
        assert now
        if now["state"] not in (RUNS, "waits"):
            break
        time.sleep(0.1)
    assert now["state"] in (DONE, FAILED)
    assert WaitingRoom(tmp_path).numbers() == []


@pytest.mark.skipif(not (FOLDER / "clips").is_dir(), reason=AWAY)
def test_a_clip_gives_its_timeline_and_its_best_stills(inside: Browser, tmp_path: Path) -> None:
    import av  # noqa: PLC0415

    source = FOLDER / "clips" / "clip_easy_000.mp4"
    short = tmp_path / "short.mp4"
    with av.open(str(source)) as whole, av.open(str(short), "w") as part:
        video = whole.streams.video[0]
        made = part.add_stream("mpeg4", rate=25)
        made.width, made.height, made.pix_fmt = video.width, video.height, "yuv420p"
        made.bit_rate = 8_000_000
        for count, picture in enumerate(whole.decode(video)):
            if count >= 12:
                break
            plain = av.VideoFrame.from_ndarray(picture.to_ndarray(format="rgb24"), format="rgb24")
            part.mux(made.encode(plain))
        part.mux(made.encode())
    sheet = source.with_suffix(".toml").read_bytes()
    files = [("frame", ("short.mp4", short.read_bytes(), "")), ("frame", ("s.toml", sheet, ""))]
    path = _post(inside, "/frame", files).headers["location"]
    page = _settled(inside, path)
    assert "Offset, turn and confidence over time" in page, page[:3000]
    assert page.count(".align.png") >= 2
    timeline = re.search(rf'src="({path}/file/[^"]+timeline\.png)"', page)
    assert timeline
    assert inside.get(timeline[1]).content[1:4] == b"PNG"
    table = inside.get(f"{path}/file/table.csv").text.splitlines()
    assert len(table) == 13
    assert "<video" not in page
