"""Near-infrared eyes with a ring of eight lamps: small grey pictures, a faint limbus.

Own renders built after a list of what real pictures do; what cannot be told is refused, and no
wrong limbus is told with confidence. The renderer shares the eye's model with the step.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.align.frame import align_frame, refused
from rimwise.demo.frames import FrameWish, draw_frame
from rimwise.picture.raster import Raster
from rimwise.records.cover import EllipsePx
from rimwise.records.frame import FrameFinding
from rimwise.terms.errors import MeasurementRefused

KINDS = ("easy", "medium", "hard")
SIZES = ((320, 280), (640, 480))


def told(
    seed: int, scale_given: bool, near: bool = False
) -> tuple[FrameFinding, np.ndarray, np.ndarray]:
    size = SIZES[0] if near else SIZES[seed % 2]
    wish = FrameWish(KINDS[seed % 3], "natural", "ring", "infrared", size, near=near)
    pixels, truth, sheet = draw_frame(np.random.default_rng(seed), wish)
    if not scale_given:
        sheet = replace(sheet, px_per_mm=None)
    try:
        finding = align_frame(Raster(pixels), sheet, "f").finding
    except MeasurementRefused as refusal:
        finding = refused("f", sheet, refusal)
    return finding, truth.pupil_px, truth.limbus_px


def off(ellipse: EllipsePx, curve_px: np.ndarray) -> float:
    """Centre or radius, whichever lies farther off, in pixels."""
    middle = curve_px.mean(axis=0)
    radius = float(np.hypot(*(curve_px - middle).T).mean())
    away = float(np.hypot(ellipse.cx - middle[0], ellipse.cy - middle[1]))
    return max(away, abs(0.5 * (ellipse.a + ellipse.b) - radius))


def judged(seeds: range, scale_given: bool, near: bool = False) -> None:
    """Pupil within 1.5 px at the median; limbus wrong (5 px) in at most a tenth of those told."""
    pupils, limbi = [], []
    for seed in seeds:
        finding, pupil_px, limbus_px = told(seed, scale_given, near)
        if finding.pupil is not None:
            pupils.append(off(finding.pupil.ellipse_px, pupil_px))
        if finding.limbus is not None:
            limbi.append(off(finding.limbus.ellipse_px, limbus_px))
    assert len(pupils) >= 0.85 * len(seeds)
    assert np.median(pupils) <= 1.5
    # Lids, lashes and a sclera hardly brighter than the iris leave a good part untold.
    assert len(limbi) >= (0.25 if near else 0.4) * len(seeds)
    wrong = int((np.array(limbi) > 5.0).sum())
    assert wrong <= max(1.0, 0.1 * len(limbi)), sorted(limbi)


@pytest.mark.parametrize(("scale_given", "near"), [(True, False), (False, False), (False, True)])
def test_pupil_and_limbus_of_infrared_eyes_short(scale_given, near):
    judged(range(61_000, 61_012), scale_given, near)


@pytest.mark.slow
@pytest.mark.parametrize("near", [False, True])
@pytest.mark.parametrize("scale_given", [True, False])
def test_pupil_and_limbus_of_infrared_eyes(scale_given, near):
    judged(range(62_000, 62_096), scale_given, near)


def test_without_lamps_the_rings_are_told_all_the_same():
    wish = FrameWish("easy", "natural", "ring", "infrared", (640, 480))
    pixels, truth, sheet = draw_frame(np.random.default_rng(41_007), wish)
    bare = replace(sheet, lamps=None)
    with pytest.raises(MeasurementRefused, match="no \\[lamps\\]") as caught:
        align_frame(Raster(pixels), bare, "f")
    finding = refused("f", bare, caught.value)
    assert finding.status == "refused"
    assert finding.pupil is not None
    assert off(finding.pupil.ellipse_px, truth.pupil_px) < 3.0
