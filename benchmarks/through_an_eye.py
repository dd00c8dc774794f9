"""From surfaces to contrast: one eye's trace and transform, against a general-purpose library.

Both trace the same grid of parallel rays through the same four surfaces, the implant tilted and
off, take the wave on the sphere about the chief ray's place on the retina, pad it alike and tell
the contrast of gratings. The curves are compared before anything is timed.
"""

import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

from peers import load
from rays import in_turns

from rimwise.optics.contrast import transfer_of_image
from rimwise.optics.point_spread import Pupil, disc, point_spread_fft
from rimwise.optics.pose import Pose
from rimwise.optics.rays import rays
from rimwise.optics.surface import conic
from rimwise.optics.system import System, refract
from rimwise.optics.trace import trace
from rimwise.optics.wavefront import ReferenceSphere, path_difference
from rimwise.terms.arrays import FloatArray

Row = tuple[str, str, str, float | None]
PUPIL_MM, NM, RETINA_MM, STOP_MM = 4.0, 555.0, 22.5, 3.1
# radius, conic, depth, index behind; the last two tilted about x (rad) and off (mm).
SURFACES = (
    (7.7, -0.2, 0.0, 1.376),
    (6.5, -0.3, 0.5, 1.336),
    (14.0, -1.0, 4.1, 1.49),
    (-12.0, -1.0, 5.0, 1.336),
)
TILT_RAD, OFF_MM = 0.05, (0.4, -0.2)
SAMPLES, PADDING = 128, 2
ENGINES: tuple[Literal["compiled", "numpy"], ...] = ("compiled", "numpy")


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours, all of processor time."""
    mine: dict[str, Callable[[], Any]] = {one: ours(one) for one in ENGINES}
    try:
        peer = {"peer": theirs()}
    except ImportError:
        peer = {}
    for one in mine.values():
        if peer:
            _check(one(), peer["peer"]())
    seconds = in_turns(mine | peer, 5, time.process_time)
    other = seconds.get("peer")
    shown = "optiland: not installed" if other is None else f"optiland: {1e3 * other:.1f} ms cpu"
    return [
        (
            f"eye to contrast, {SAMPLES} x {SAMPLES} rays, {one}",
            f"{1e3 * seconds[one]:.1f} ms cpu",
            shown,
            None if other is None else other / seconds[one],
        )
        for one in ENGINES
    ]


def _check(mine: Any, others: Any) -> None:
    """Compare contrast along x and y at gratings up to a third of the cut-off."""
    gap = max(
        float(np.abs(np.interp(mine[0], others[0], theirs) - ours).max())
        for ours, theirs in zip(mine[1:], others[1:], strict=True)
    )
    if not gap < 0.01:
        raise AssertionError(f"the two eyes differ: {gap:.3f} of contrast")


def eye() -> System:
    """Return the eye's refracting surfaces; light goes to -z."""
    steps = []
    for k, (radius, k_conic, depth, index) in enumerate(SURFACES):
        pose = Pose.at(0.0, 0.0, -depth)
        if k >= 2:
            pose = Pose.at(OFF_MM[0], OFF_MM[1], -depth).tilted(0.0, TILT_RAD)
        steps.append(refract(conic(-radius, k_conic, pose), index))
    return System(tuple(steps))


def ours(engine: Literal["compiled", "numpy"]) -> Callable[[], tuple[FloatArray, ...]]:
    """Return what traces and transforms here."""
    system, coverage = eye(), disc(SAMPLES)
    step = PUPIL_MM / SAMPLES
    side = (np.arange(SAMPLES) - 0.5 * (SAMPLES - 1)) * step
    x, y = np.meshgrid(side, side)
    inside = coverage > 0.0
    at = np.column_stack([x[inside], y[inside], np.full(int(inside.sum()), 5.0)])
    start = rays(np.vstack([[0.0, 0.0, 5.0], at]), [0.0, 0.0, -1.0])

    def run() -> tuple[FloatArray, ...]:
        found = trace(system, start, engine=engine)
        place, way = found.positions_mm[0], found.directions[0]
        image = place + way * ((-RETINA_MM - place[2]) / way[2])
        stop = place + way * ((-STOP_MM - place[2]) / way[2])
        sphere = ReferenceSphere("about the image", tuple(image), tuple(stop))
        error = np.zeros((SAMPLES, SAMPLES))
        error[inside] = path_difference(found, sphere, 1.336).error_um[1:]
        spread = point_spread_fft(Pupil(error, coverage, step, NM), PADDING)
        modulation, middle = transfer_of_image(spread).modulation, SAMPLES * PADDING // 2
        count = SAMPLES // 3
        # Shifts of the pupil, as shares of its width.
        return (
            np.arange(count) / SAMPLES,
            modulation[middle, middle:][:count],
            modulation[middle:, middle][:count],
        )

    return run


def theirs() -> Callable[[], tuple[FloatArray, ...]]:
    """Return what traces and transforms in the library, by its own call."""
    optic, transfers = load("optiland.optic").Optic(), load("optiland.mtf")
    medium = load("optiland.materials").IdealMaterial
    where = {"dx": OFF_MM[0], "dy": OFF_MM[1], "rx": TILT_RAD}
    depths = [row[2] for row in SURFACES] + [RETINA_MM]
    optic.add_surface(index=0, thickness=np.inf)
    for k, (radius, k_conic, depth, index) in enumerate(SURFACES):
        after = STOP_MM if k == 1 else depths[k + 1]
        shape = {"radius": radius, "conic": k_conic, "material": medium(index)}
        at, off = (k + 1, {}) if k < 2 else (k + 2, where)
        optic.add_surface(index=at, thickness=after - depth, **shape, **off)
        if k == 1:
            stop = {"material": medium(index), "is_stop": True}
            optic.add_surface(index=3, thickness=depths[2] - STOP_MM, **stop)
    optic.add_surface(index=len(SURFACES) + 2)
    optic.set_aperture("EPD", PUPIL_MM)
    optic.set_field_type("angle")
    optic.add_field(y=0)
    optic.add_wavelength(NM / 1000.0, is_primary=True)
    asked = {"num_rays": SAMPLES, "grid_size": SAMPLES * PADDING}

    def run() -> tuple[FloatArray, ...]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = transfers.FFTMTF(optic, [(0, 0)], NM / 1000.0, **asked)
        count = SAMPLES // 3
        along_y, along_x = (np.asarray(one)[:count] for one in found.mtf[0])
        return np.arange(count) / (SAMPLES - 1), along_x, along_y

    return run
