"""A clip of a painted eye: followed through a blink, taken up again, refused where it must be."""

import csv
import json
import threading
import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import polars as pl
import pytest
from practice import AWAY, FOLDER
from typer.testing import CliRunner

from rimwise.casebook.clips import ClipRequest, align_clip
from rimwise.cli.main import app
from rimwise.exchange.clip_table import GrowingTable
from rimwise.exchange.clips import ahead, check_clip, clip_frames, clip_length
from rimwise.records.clip import ClipRow
from rimwise.terms.errors import MeasurementRefused, NotAPicture, WrongInput

PX_PER_MM = 30.0
SHEET = f"""side = "left"
kind = "clip"
state = "empty-bag"
px_per_mm = {PX_PER_MM}
working_distance_mm = 200
[lamps]
places_mm = [[-8, 0], [8, 0]]
[cornea]
radius_mm = 7.8
[lengths]
white_to_white_mm = 12.0
"""
# Half of the radius of curvature is the focal length of a mirror (textbook optics): two lamps 16 mm
# apart at 200 mm stand 16 * 3.9 / 204 mm apart.
APART_PX = 16.0 * 3.9 / 203.9 * PX_PER_MM


def painted(shift_px: float) -> np.ndarray:
    """An eye of three even rings with two lamps in its cornea, 640 x 480."""
    rng = np.random.default_rng(3)
    v, u = np.indices((480, 640))
    far = np.hypot(u - 320.0 - shift_px, v - 240.0)
    soft = [1.0 / (1.0 + np.exp(-(far - r) / s)) for r, s in ((105.0, 1.0), (177.0, 3.0))]
    colours = [np.array(c, dtype=float) for c in ((70, 30, 20), (120, 90, 60), (190, 180, 175))]
    eye = colours[0] + soft[0][..., None] * (colours[1] - colours[0])
    eye = eye + soft[1][..., None] * (colours[2] - colours[1])
    for k in (-0.5, 0.5):
        spot = np.hypot(u - 320.0 - shift_px - k * APART_PX, v - 240.0) < 4.0
        eye[spot] = 255.0
    return np.clip(eye + rng.normal(0.0, 2.0, eye.shape), 0, 255).astype(np.uint8)


def lid() -> np.ndarray:
    rng = np.random.default_rng(4)
    return np.clip(rng.normal((150, 110, 95), 3.0, (480, 640, 3)), 0, 255).astype(np.uint8)


def write(path: Path, frames: list[np.ndarray], times: list[int] | None = None) -> Path:
    with av.open(path, "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height = frames[0].shape[1], frames[0].shape[0]
        stream.pix_fmt, stream.options = "yuv420p", {"crf": "10"}
        stream.codec_context.time_base = Fraction(1, 1000)
        for k, pixels in enumerate(frames):
            frame = av.VideoFrame.from_ndarray(pixels, format="rgb24")
            frame.pts, frame.time_base = (times or range(0, 40000, 40))[k], Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    path.with_suffix(".toml").write_text(SHEET)
    return path


@pytest.fixture
def blinking(tmp_path: Path) -> Path:
    frames = [painted(2.0 * k) for k in range(4)] + [lid(), lid()] + [painted(6.0)] * 2
    return write(tmp_path / "eye.mp4", frames)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("alone", [False, True])
def test_an_eye_is_followed_and_a_blink_is_closed(
    blinking: Path, tmp_path: Path, alone: bool
) -> None:
    table = tmp_path / "t.csv"
    align_clip(ClipRequest(blinking, {}, table, reflexes_only=alone))
    told = rows(table)
    assert [row["status"][0] for row in told] == list("ffffccff")
    moved = [float(row["pupil_u"]) for row in told if row["pupil_u"]]
    # 0.4 px: compression of the clip and noise on an even ring, measured.
    assert np.abs(np.array(moved) - [320, 322, 324, 326, 326, 326]).max() < 0.4
    assert all(row["P1_0_u"] == "" for row in told if row["status"] == "closed")


@pytest.mark.parametrize("stopped", [3, 5])  # before the blink and within
def test_a_stopped_run_goes_on_and_ends_alike(blinking: Path, tmp_path: Path, stopped: int) -> None:
    whole, again = tmp_path / "whole.csv", tmp_path / "again.csv"
    align_clip(ClipRequest(blinking, {}, whole))

    class Stop(Exception):
        pass

    def stop(done: int, _of: int, _name: str) -> None:
        if done == stopped:
            raise Stop

    with pytest.raises(Stop):
        align_clip(ClipRequest(blinking, {}, again), stop)
    part = tmp_path / "again.csv.part"
    assert not again.exists()
    with part.open("ab") as file:
        file.write(b"7,0.12,fou")
    outcome = align_clip(ClipRequest(blinking, {}, again))
    assert outcome.resumed_at == stopped
    assert not part.exists()
    for one, other in zip(rows(whole), rows(again), strict=True):
        assert one["status"] == other["status"]
        if one["pupil_u"]:
            # Where a search starts from moves its end by less than a tenth of a pixel (measured).
            assert abs(float(one["pupil_u"]) - float(other["pupil_u"])) < 0.1


def test_rows_of_another_question_are_not_gone_on_with(tmp_path: Path) -> None:
    for asked, done in (("a", 0), ("a", 1), ("b", 0)):
        table = GrowingTable(tmp_path / "t.csv", 1, {"asked": asked})
        assert table.open() == done
        table.add(ClipRow(0, 0.0, "found", {"P1": ((1.0, 2.0),)}, turn_deg=(0.5, 0.25)))
        assert next(iter(table.rows())).reflexes_px["P1"] == ((1.0, 2.0),)
        table.close()


def test_reflexes_alone_are_those_of_the_whole_fit(blinking: Path, tmp_path: Path) -> None:
    """Only the pupil and the reflexes, in the same places; neither limbus nor turn is told."""
    whole, alone = tmp_path / "whole.csv", tmp_path / "alone.csv"
    align_clip(ClipRequest(blinking, {}, whole))
    align_clip(ClipRequest(blinking, {}, alone, reflexes_only=True))
    for one, other in zip(rows(whole), rows(alone), strict=True):
        for name in ("P1_0_u", "P1_0_v", "P1_1_u", "P1_1_v", "pupil_u", "pupil_v", "pupil_a"):
            assert (one[name] == "") == (other[name] == "")
            if one[name]:
                # A hundredth of the spot's own width (4 px) and more, from where searches start.
                assert abs(float(one[name]) - float(other[name])) < 0.1
        assert other["limbus_u"] == "" or other["frame"] == "0"
        assert other["turn_x_deg"] == ""


def test_reflexes_alone_is_no_question_to_single_frames(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(b"")
    done = CliRunner().invoke(app, ["align", str(tmp_path / "a.png"), "--reflexes-only"])
    assert done.exit_code == 2
    assert "--reflexes-only is for a clip" in done.output


def test_parquet_holds_the_same(blinking: Path, tmp_path: Path) -> None:
    align_clip(ClipRequest(blinking, {}, tmp_path / "t.csv"))
    align_clip(ClipRequest(blinking, {}, tmp_path / "t.parquet"))
    frame = pl.read_parquet(tmp_path / "t.parquet")
    assert frame["status"].to_list() == [row["status"] for row in rows(tmp_path / "t.csv")]


def test_uneven_times_are_those_of_the_file(tmp_path: Path) -> None:
    times = [0, 40, 200, 240]
    path = write(tmp_path / "uneven.mp4", [painted(0.0)] * 4, times)
    assert [round(1000 * one.time_s) for one in clip_frames(path)] == times


def test_timeline_and_stills_are_drawn(blinking: Path, tmp_path: Path) -> None:
    told = CliRunner().invoke(
        app, ["align", str(blinking), "--table", str(tmp_path / "t.csv"), "--drawing",
              str(tmp_path / "d")]
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    names = sorted(one.name for one in (tmp_path / "d").iterdir())
    assert "eye.timeline.png" in names
    assert "eye.000000.align.png" in names


def test_a_broken_clip_is_told(blinking: Path, tmp_path: Path) -> None:
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(blinking.read_bytes()[:3000])
    noise = tmp_path / "noise.mp4"
    noise.write_bytes(b"no clip at all" * 50)
    for path in (cut, noise):
        with pytest.raises(NotAPicture, match=r"is no clip|breaks off|no frame"):
            list(clip_frames(path))


def test_sound_alone_is_no_clip(tmp_path: Path) -> None:
    path = tmp_path / "sound.mp4"
    with av.open(path, "w") as container:
        stream = container.add_stream("aac", rate=48000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), dtype=np.float32), "fltp", "mono")
        frame.sample_rate, frame.pts = 48000, 0
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    with pytest.raises(NotAPicture, match="holds no video"):
        clip_length(path)


@pytest.mark.parametrize("name", ["/dev/null", "rtsp://camera/1", "http://camera/1.mp4"])
def test_a_live_camera_is_refused(name: str) -> None:
    with pytest.raises(WrongInput, match="only recorded files"):
        check_clip(name)


def test_a_set_up_of_another_size_is_refused_and_says_what_to_check(tmp_path: Path) -> None:
    path = write(tmp_path / "eye.mp4", [painted(0.0)] * 2)
    path.with_suffix(".toml").write_text(SHEET.replace("px_per_mm = 30.0", "px_per_mm = 60.0"))
    with pytest.raises(MeasurementRefused, match="px_per_mm"):
        align_clip(ClipRequest(path, {}, tmp_path / "t.csv"))


def test_a_wrong_lamp_count_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "eye.mp4", [painted(0.0)] * 2)
    path.with_suffix(".toml").write_text(
        SHEET.replace("[[-8, 0], [8, 0]]", "[[-8, 0], [8, 0], [0, 14]]")
    )
    with pytest.raises(MeasurementRefused, match="lamps"):
        align_clip(ClipRequest(path, {}, tmp_path / "t.csv"))


@pytest.mark.slow
@pytest.mark.parametrize("alone", [False, True])
@pytest.mark.parametrize("name", ["clip_easy_000", "clip_medium_000"])
def test_practice_clips_show_when_the_eye_is_in_sight(
    name: str, alone: bool, tmp_path: Path
) -> None:
    """Truth by an independent ray tracer."""
    path = FOLDER / "clips" / f"{name}.mp4"
    if not path.exists():
        pytest.skip(AWAY)
    align_clip(ClipRequest(path, {}, tmp_path / "t.csv", reflexes_only=alone))
    truth = json.loads(path.with_suffix(".truth.json").read_text())["frames"]
    told = rows(tmp_path / "t.csv")
    shown = [row["status"] in ("found", "partial") for row in told]
    # One frame in a hundred may stand on the verge of half a margin.
    assert sum(a != b["eye_visible"] for a, b in zip(shown, truth, strict=True)) <= 2
    away = [
        np.hypot(float(row["P1_0_u"]) - one["P1"][0]["px"][0],
                 float(row["P1_0_v"]) - one["P1"][0]["px"][1])
        for row, one in zip(told, truth, strict=True)
        if row["P1_0_u"] and one["P1"][0]["visible"]
    ]  # fmt: skip
    assert np.median(away) <= 0.6
    assert np.percentile(away, 95) <= 2.0


def test_frames_made_ahead_stay_few_and_raise_where_they_are_waited_for() -> None:
    made: list[int] = []

    def frames() -> Iterator[int]:
        for k in range(1000):
            made.append(k)
            yield k
        raise NotAPicture("breaks off")

    few = ahead(frames(), 3)
    assert [next(few), next(few)] == [0, 1]
    time.sleep(0.05)
    # Two were given, three wait, one is in the thread's hand.
    assert len(made) <= 6
    few.close()
    assert "frames ahead" not in {one.name for one in threading.enumerate()}
    made.clear()
    with pytest.raises(NotAPicture, match="breaks off"):
        list(ahead(frames(), 3))
    assert len(made) == 1000
