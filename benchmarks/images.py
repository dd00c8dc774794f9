"""Images of points: transforms against a general-purpose library, direct sums against NumPy."""

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from rays import in_turns

from rimwise.optics.contrast import transfer_of_image, transfer_of_pupil
from rimwise.optics.direct_sum import Emitters, direct_field
from rimwise.optics.point_spread import (
    point_spread_fft,
    point_spread_window,
    sample_pupil,
)
from rimwise.optics.zernike import Wavefront

Row = tuple[str, str, str, float | None]


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours."""
    return [*_transform_rows(), *_sum_rows()]


def _transform_rows() -> list[Row]:
    wave = Wavefront(np.array([0, 0, 0, 0.05, 0.1, -0.03, 0.02, 0.08]), 2.0)
    pupil = sample_pupil(wave, 512)
    contestants: dict[str, Callable[[], object]] = {
        "image and contrast": lambda: transfer_of_image(point_spread_fft(pupil, 2)).modulation,
        "contrast alone": lambda: transfer_of_pupil(pupil).modulation,
        "window": lambda: point_spread_window(pupil, 128, 1e-5),
    }
    try:
        from prysm.otf import mtf_from_psf  # noqa: PLC0415
        from prysm.propagation import Wavefront as PeerWave  # noqa: PLC0415

        def peer() -> object:
            """Start, as ours do, from amplitude and error: the field is part of the work."""
            error_nm, um = pupil.error_um * 1e3, pupil.wavelength_nm / 1e3
            wave = PeerWave.from_amp_and_phase(pupil.amplitude, error_nm, um, pupil.step_mm)
            return mtf_from_psf(np.abs(wave.focus(17.0, 2).data) ** 2, dx=0.1)

        contestants["prysm"] = peer
    except ImportError:
        pass
    seconds = in_turns(contestants, clock=time.process_time)
    other = seconds.get("prysm")
    shown = "prysm: not installed" if other is None else f"prysm: {1e3 * other:.1f} ms cpu"
    return [
        (
            f"{what}, 1024 x 1024" if what != "window" else "window 128 x 128 of 512 x 512",
            f"{1e3 * seconds[what]:.1f} ms cpu",
            shown,
            None if other is None else other / seconds[what],
        )
        for what in ("image and contrast", "contrast alone", "window")
    ]


def _sum_rows() -> list[Row]:
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(-2, 2, (20_000, 2)), np.full(20_000, 17.0)])
    emitters = Emitters(points, 30.0 + rng.uniform(0, 1e-3, 20_000), np.ones(20_000))
    place = rng.uniform(-0.05, 0.05, (1000, 3))
    contestants: dict[str, Callable[[], object]] = {
        "ours": lambda: direct_field(emitters, place, 555.0, 1.336, "compiled"),
        "numpy": lambda: direct_field(emitters, place[:50], 555.0, 1.336, "numpy"),
    }
    seconds = in_turns(contestants)
    ours, plain = 2e7 / seconds["ours"], 1e6 / seconds["numpy"]
    peer = f"the same in NumPy: {plain / 1e6:.0f} M terms/s"
    a_core = 2e7 / _least_processor_s(contestants["ours"])
    told = f"{ours / 1e6:.0f} M terms/s ({a_core / 1e6:.0f} a core)"
    return [("direct sum of waves, 2 threads", told, peer, ours / plain)]


def _least_processor_s(work: Callable[[], object]) -> float:
    """Return processor seconds over all threads, which other work on the machine spoils less."""
    told = []
    for _ in range(9):
        start = time.process_time()
        work()
        told.append(time.process_time() - start)
    return min(told)
