"""A recorded clip, decoded safely frame by frame; never more than a few frames in memory."""

import queue
import stat
import threading
from collections.abc import Generator, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from rimwise.exchange.pictures import LIMITS
from rimwise.picture.raster import Box, Picture, Raster
from rimwise.terms.errors import NotAPicture, WrongInput

if TYPE_CHECKING:
    import av.container

SUFFIXES = (".mp4", ".m4v", ".mov", ".mkv", ".avi", ".webm", ".mpg", ".mpeg", ".mts", ".ts", ".wmv")
_FORMATS = "MP4, MOV, MKV, AVI, WebM or MPEG"


@dataclass(frozen=True, slots=True)
class ClipLimits:
    """What is taken as a clip: up to 8K pixels a frame, and twelve hours of 60 frames a second."""

    most_px: int = 34_000_000
    most_frames: int = 2_600_000


CLIP_LIMITS = ClipLimits()


@dataclass(frozen=True, slots=True)
class ClipFrame:
    """One frame: its number from 0, its time as the file tells it, its pixels as stored."""

    number: int
    time_s: float
    picture: Picture

    @property
    def raster(self) -> Raster:
        """All of its pixels, made anew each time."""
        return self.picture.part((0, 0, self.picture.width_px, self.picture.height_px))


@dataclass(frozen=True, slots=True)
class DecodedPicture:
    """A decoded frame whose colours are made for the part that is asked for."""

    frame: "av.VideoFrame"
    orientation: int = 1

    @property
    def width_px(self) -> int:
        """Columns of the frame."""
        return int(self.frame.width)

    @property
    def height_px(self) -> int:
        """Rows of the frame."""
        return int(self.frame.height)

    def part(self, box: Box) -> Raster:
        """Return red, green and blue of what lies in a box; the same as in the whole frame."""
        import av  # noqa: PLC0415

        try:
            return self._part(box)
        except (av.error.FFmpegError, ValueError) as error:
            raise _broken("the clip", "holds a frame without colours", error) from None

    def _part(self, box: Box) -> Raster:
        left, top, right, bottom = box
        whole = box == (0, 0, self.width_px, self.height_px)
        odd = any(side % 2 for side in (*box, self.width_px, self.height_px))
        if whole or odd or self.frame.format.name not in _PLANAR:
            pixels = _coloured(self.frame)
            return Raster(pixels if whole else pixels[top:bottom, left:right])
        return Raster(_coloured_part(self.frame, box))


_PLANAR = ("yuv420p", "yuvj420p")


def _coloured_part(frame: "av.VideoFrame", box: Box) -> NDArray[np.uint8]:
    """Cut brightness and the two half-size colours out, and make of them what the whole shows."""
    import av  # noqa: PLC0415

    left, top, right, bottom = box
    part = av.VideoFrame(right - left, bottom - top, frame.format.name)
    for plane, target, times in zip(frame.planes, part.planes, (1, 2, 2), strict=True):
        stored, cut = _pixels(plane), _pixels(target)
        rows, columns = (slice(a // times, b // times) for a, b in ((top, bottom), (left, right)))
        cut[:, : target.width] = stored[rows, columns]
    part.color_range, part.colorspace = frame.color_range, frame.colorspace
    return _coloured(part)


def _pixels(plane: "av.video.plane.VideoPlane") -> NDArray[np.uint8]:
    """Return a plane as it lies in memory, its lines filled up at their end."""
    lines = np.frombuffer(memoryview(plane), np.uint8).reshape(-1, plane.line_size)
    return lines[: plane.height]


_made = threading.local()


def _coloured(frame: "av.VideoFrame") -> NDArray[np.uint8]:
    """Make colours in this thread: those of the library stall on a busy machine."""
    from av.video.reformatter import VideoReformatter  # noqa: PLC0415

    if not hasattr(_made, "colours"):
        _made.colours = VideoReformatter()
    made = _made.colours.reformat(frame, format="rgb24", threads=1)
    return np.asarray(made.to_ndarray(), dtype=np.uint8)


def is_clip(path: Path | str) -> bool:
    """Does the name say that this is a recorded clip, or a live source?

    Examples
    --------
    >>> is_clip("a.MP4"), is_clip("a.jpg"), is_clip("rtsp://camera")
    (True, False, True)
    """
    return Path(path).suffix.lower() in SUFFIXES or _is_live(str(path))


def _is_live(name: str) -> bool:
    return name.startswith("/dev/") or "://" in name or ":/" in name[1:]


def check_clip(path: Path | str) -> None:
    """Refuse what is no recorded file.

    Raises
    ------
    WrongInput
        A live camera or an address, a folder, or no file at all.
    """
    name = str(path)
    try:
        status = Path(path).stat()
    except (OSError, ValueError):
        if _is_live(name):
            raise _live(name) from None
        raise WrongInput(f"there is no file {name}; check the name and the folder") from None
    if stat.S_ISDIR(status.st_mode):
        raise WrongInput(f"{name} is a folder, and one recorded clip is allowed here; give a file")
    if not stat.S_ISREG(status.st_mode):
        raise _live(name)


def _live(name: str) -> WrongInput:
    return WrongInput(
        f"{name} is a live camera or an address, and only recorded files are read; record it first"
    )


def clip_length(path: Path | str) -> int:
    """How many frames does the clip's header promise? 0 where it does not say.

    Raises
    ------
    WrongInput
        It is no recorded file.
    NotAPicture
        It cannot be opened, holds no video, or frames that are too large or too small.
    """
    with _opened(path) as container:
        stream = container.streams.video[0]
        if stream.frames:
            return int(stream.frames)
        if stream.duration and stream.time_base and stream.average_rate:
            return round(float(stream.duration * stream.time_base * stream.average_rate))
        return 0


def clip_frames(path: Path | str, first: int = 0) -> Iterator[ClipFrame]:
    """What does the clip show, frame after frame?

    Parameters
    ----------
    path : path
        A recorded file.
    first : int
        Frames before this one are decoded, which later ones need, and not given.

    Raises
    ------
    WrongInput
        It is no recorded file.
    NotAPicture
        It cannot be read, breaks off, or holds no frame.
    """
    import av  # noqa: PLC0415 - a tenth of a second

    name, count, size = Path(path).name, 0, None
    with _opened(path) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        try:
            for frame in container.decode(stream):
                if size not in (None, (frame.width, frame.height)):
                    raise NotAPicture(
                        f"{name} changes its size at frame {count}; cut it there into two clips"
                    )
                size = (frame.width, frame.height)
                _check_size(name, *size)
                if count >= CLIP_LIMITS.most_frames:
                    raise NotAPicture(
                        f"{name} has more than {CLIP_LIMITS.most_frames} frames; cut it"
                    )
                if count >= first:
                    yield ClipFrame(count, _time(frame.time, count, stream), DecodedPicture(frame))
                count += 1
        except av.error.FFmpegError as error:
            raise _broken(name, f"breaks off at frame {count}", error) from None
    if count == 0:
        raise NotAPicture(f"{name} holds no frame that can be decoded; give a recorded clip")


_T = TypeVar("_T")


def ahead(frames: Iterator[_T], count: int = 3) -> Generator[_T, None, None]:
    """Make a few frames ready in a thread of their own, while the one before is looked at.

    Parameters
    ----------
    frames : iterator
        Asked in that thread only; what it raises is raised here.
    count : int
        So many wait at most: memory does not grow with the clip.

    Examples
    --------
    >>> list(ahead(iter(range(5))))
    [0, 1, 2, 3, 4]
    """
    ready: queue.Queue[tuple[_T | None, BaseException | None]] = queue.Queue(count)
    stopped = threading.Event()

    def work() -> None:
        fault: BaseException | None = None
        try:
            for one in frames:
                ready.put((one, None))
                if stopped.is_set():
                    break
        except BaseException as error:
            fault = error
        ready.put((None, fault or StopIteration()))

    thread = threading.Thread(target=work, name="frames ahead", daemon=True)
    thread.start()
    try:
        while True:
            one, fault = ready.get()
            if isinstance(fault, StopIteration):
                return
            if fault is not None:
                raise fault
            yield cast("_T", one)
    finally:
        stopped.set()
        while thread.is_alive():
            with suppress(queue.Empty):
                ready.get(timeout=0.01)


def _time(time_s: float | None, count: int, stream: object) -> float:
    if time_s is not None:
        return float(time_s)
    rate = getattr(stream, "average_rate", None)
    return count / float(rate) if rate else float(count)


@contextmanager
def _opened(path: Path | str) -> "Iterator[av.container.InputContainer]":
    import av  # noqa: PLC0415

    check_clip(path)
    name = Path(path).name
    # As a file object: no protocol, playlist or device is ever resolved from the name.
    with _file(path) as file:
        try:
            container = av.open(file, mode="r")
        except (OSError, ValueError) as error:
            raise _broken(name, "is no clip that can be read", error) from None
        with container:
            if not container.streams.video:
                raise NotAPicture(
                    f"{name} holds no video, perhaps sound alone; give a recorded clip"
                )
            context = container.streams.video[0].codec_context
            _check_size(name, context.width, context.height)
            yield container


def _file(path: Path | str) -> IO[bytes]:
    try:
        return Path(path).open("rb")
    except OSError as error:
        words = error.strerror or str(error)
        raise WrongInput(
            f"{path} cannot be read ({words}); check the name and its permissions"
        ) from None


def _check_size(name: str, width_px: int, height_px: int) -> None:
    if width_px * height_px > CLIP_LIMITS.most_px:
        raise NotAPicture(
            f"{name} is {width_px} x {height_px} px, and up to "
            f"{CLIP_LIMITS.most_px // 1_000_000} megapixels a frame are read; scale it down"
        )
    long_px, short_px = max(width_px, height_px), min(width_px, height_px)
    if long_px < LIMITS.least_long_side_px or short_px < LIMITS.least_short_side_px:
        raise NotAPicture(
            f"{name} is {width_px} x {height_px} px, and at least {LIMITS.least_long_side_px} by "
            f"{LIMITS.least_short_side_px} px are needed; give the clip in full size"
        )


def _broken(name: str, how: str, error: Exception) -> NotAPicture:
    words = " ".join(str(getattr(error, "strerror", None) or error).split())[:80]
    return NotAPicture(f"{name} {how} ({words}); copy it again, or save it as {_FORMATS}")
