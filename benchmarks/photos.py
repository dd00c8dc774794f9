"""A photograph measured, warm, one process and one thread, ± included; and at 12 million pixels.

Nobody else does the whole job; OpenCV's circle transform, which only draws a circle, stands beside
it in the same run.
"""

import resource
import time
from collections.abc import Callable

import cv2
import numpy as np

from rimwise.demo.photos import draw_photo
from rimwise.journey import finding_of
from rimwise.picture.raster import Raster

Row = tuple[str, str, str, float | None]
PICTURES, TURNS = 6, 3
LARGE_PX = (4000, 3000)


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours."""
    drawn = [
        draw_photo(np.random.default_rng([n, 41]), ("easy", "medium")[n % 2])
        for n in range(PICTURES)
    ]
    made: list[Row] = []
    for what, size in (("1400 x 1050", None), ("4000 x 3000", LARGE_PX)):
        pictures = [(_sized(pixels, size), sheet) for pixels, _, sheet in drawn]
        ours = [_least(lambda p=p, s=s: finding_of(Raster(p), s, "", "")) for p, s in pictures]
        peer = [_least(lambda p=p: _circle(p)) for p, _ in pictures]
        wall, busy = np.median(ours, axis=0)
        other_ms = 1e3 * float(np.median(peer, axis=0)[0])
        made.append(
            (
                f"a photograph of {what}, ± included",
                f"{wall:.2f} s, {busy:.2f} s of processor time",
                f"circle transform (OpenCV), half size, no ±: {other_ms:.0f} ms",
                None,
            )
        )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    made.append(("  peak memory, drawing them included", f"{peak_mb:.0f} MB", "", None))
    return made


def _sized(pixels: np.ndarray, size: tuple[int, int] | None) -> np.ndarray:
    return pixels if size is None else cv2.resize(pixels, size, interpolation=cv2.INTER_LINEAR)


def _least(work: Callable[[], object]) -> tuple[float, float]:
    """Return the least wall and processor seconds of a few turns."""
    taken = []
    for _ in range(TURNS):
        wall, busy = time.perf_counter(), time.process_time()
        work()
        taken.append((time.perf_counter() - wall, time.process_time() - busy))
    return min(wall for wall, _ in taken), min(busy for _, busy in taken)


def _circle(pixels: np.ndarray) -> object:
    grey = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), (0, 0), 2.0)[::2, ::2].copy()
    radius = 0.2 * grey.shape[1]
    return cv2.HoughCircles(
        grey, cv2.HOUGH_GRADIENT, 1.0, 1000.0, param1=40.0, param2=15.0,
        minRadius=int(0.8 * radius), maxRadius=int(1.2 * radius),
    )  # fmt: skip


if __name__ == "__main__":
    for row in rows():
        print(*row[:3], sep="\t")
