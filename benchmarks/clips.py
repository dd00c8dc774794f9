"""A frame and a clip of an eye, against decoding alone and a general library's circles."""

import io
import math
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import av
import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from rays import in_turns

from rimwise.align.frame import Question, align_frame
from rimwise.align.looking import given_scale, looking
from rimwise.align.tracking import Followed, Wanted, follow_frame
from rimwise.exchange.clips import ahead, clip_frames
from rimwise.picture.raster import Raster
from rimwise.purkinje.forward import reflexes
from rimwise.records.eye import EyePose
from rimwise.records.picture import CorneaSheet, Lamps, PictureLengths, PictureSheet

Row = tuple[str, str, str, float | None]
_FRAMES = 48
_ROUNDS = 5
POSE = EyePose((0.085, 0.01))  # turned so far that P1 does not outshine P4


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours."""
    return [_frame_row(), *_clip_rows()]


def _eye(width: int, height: int, shift_px: float) -> np.ndarray:
    """Paint an eye's rings and its lamps in P1 and P4; 12 mm of it fill 0.7 of the height."""
    px = 0.7 * height / 12.0
    v, u = np.indices((height, width))
    arm = (POSE.pivot_depth_mm - 3.2) * px  # from the globe's middle to pupil and limbus
    right, up = (arm * math.tan(turn) for turn in POSE.turn_rad)
    far = np.hypot(u - 0.5 * width - shift_px - right, v - 0.5 * height + up) / px
    inner = 1.0 / (1.0 + np.exp(-(far - 3.4) * 30.0))[..., None]
    outer = 1.0 / (1.0 + np.exp(-(far - 5.85) * 10.0))[..., None]
    eye = np.array([70.0, 30.0, 20.0]) * (1 - inner) + inner * (
        np.array([120.0, 90.0, 60.0]) * (1 - outer) + outer * np.array([190.0, 180.0, 175.0])
    )
    for name, x, y in _spots(width, height):
        away = np.hypot(u - shift_px - x, v - y)
        if name == "P1":
            eye[away < 0.12 * px] = 255.0
        else:
            eye += 60.0 * np.exp(-0.5 * (away / (0.06 * px)) ** 2)[..., None]
    noise = np.random.default_rng(1).normal(0.0, 2.0, eye.shape)
    return np.clip(eye + noise, 0, 255).astype(np.uint8)


@lru_cache(maxsize=2)
def _spots(width: int, height: int) -> list[tuple[str, float, float]]:
    """Where does this eye show its lamps, which stand beside the camera, in P1 and P4?"""
    sheet = _sheet(height)
    of = looking(sheet, (width, height), given_scale(sheet))
    seen = reflexes(of.model, POSE, of.setup, ("P1", "P4"), "plain")
    return [(one.name, *one.px) for one in seen]


def _sheet(height: int) -> PictureSheet:
    return PictureSheet(
        "left",
        "frame",
        "natural",
        px_per_mm=0.7 * height / 12.0,
        working_distance_mm=200.0,
        lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))),
        cornea=CorneaSheet(radius_mm=7.8),
        lengths=PictureLengths(white_to_white_mm=12.0),
    )


def _circles(pixels: np.ndarray) -> None:
    """Find pupil and limbus as a general library does: at half size, by gradient votes."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    half = cv2.medianBlur(cv2.resize(grey, None, fx=0.5, fy=0.5), 5)
    size = half.shape[0]
    for low, high in ((0.1, 0.25), (0.28, 0.42)):
        cv2.HoughCircles(
            half, cv2.HOUGH_GRADIENT, 1.5, size, param1=80, param2=30,
            minRadius=round(low * size), maxRadius=round(high * size),
        )  # fmt: skip


def _frame_row() -> Row:
    pixels, sheet = _eye(1280, 960, 0.0), _sheet(960)
    raster = Raster(pixels)
    work: dict[str, Callable[[], object]] = {
        "ours": lambda: align_frame(raster, sheet, "painted"),
        "peer": lambda: _circles(pixels),
    }
    seconds = in_turns(work, _ROUNDS)
    processor = in_turns(work, _ROUNDS, time.process_time)
    value = f"{1e3 * seconds['ours']:.0f} ms ({1e3 * processor['ours']:.0f} ms cpu)"
    peer = (
        f"Hough circles of pupil and limbus: {1e3 * seconds['peer']:.0f} ms "
        f"({1e3 * processor['peer']:.0f} ms cpu)"
    )
    return "frame 1280 x 960, whole fit", value, peer, seconds["peer"] / seconds["ours"]


def _clip_rows() -> list[Row]:
    sheet = _sheet(1080)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "eye.mp4"
        path.write_bytes(_clip())

        def decode() -> None:
            with av.open(str(path)) as container:
                container.streams.video[0].thread_type = "AUTO"
                for _ in container.decode(video=0):
                    pass

        def follow(whole: bool) -> None:
            wanted = Wanted(sheet, Question(), whole)
            last: Followed | None = None
            for one in ahead(clip_frames(path)):
                last = follow_frame(one.picture, (one.number, one.time_s), wanted, last)

        def circles() -> None:
            for one in clip_frames(path):
                _circles(one.raster.pixels)

        work: dict[str, Callable[[], object]] = {
            "decode": decode,
            "follow": lambda: follow(True),
            "reflexes": lambda: follow(False),
            "circles": circles,
        }
        seconds = in_turns(work, _ROUNDS)
        processor = in_turns(work, _ROUNDS, time.process_time)
    told = {
        name: f"{_FRAMES / one:.1f} frames/s ({1e3 * processor[name] / _FRAMES:.0f} ms cpu)"
        for name, one in seconds.items()
    }
    ways = (
        ("clip 1920 x 1080, whole fit in every frame", "follow"),
        ("clip 1920 x 1080, pupil, P1 and P4 alone", "reflexes"),
    )
    return [
        (label, told[way], f"{what}: {told[name]}", seconds[name] / seconds[way])
        for label, way in ways
        for name, what in (("decode", "decoding alone"), ("circles", "decoding, Hough circles"))
    ]  # fmt: skip


def _clip() -> bytes:
    sink = io.BytesIO()
    with av.open(sink, "w", format="mp4") as container:
        stream = container.add_stream("libx264", rate=Fraction(60))
        stream.width, stream.height, stream.pix_fmt = 1920, 1080, "yuv420p"
        stream.bit_rate = 20_000_000
        for k in range(_FRAMES):
            frame = av.VideoFrame.from_ndarray(_eye(1920, 1080, 1.0 * k), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return sink.getvalue()
