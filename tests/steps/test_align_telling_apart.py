"""Which spots are P3, which P4, and when neither is said: rules that follow from the optics."""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.align.expect import Expected
from rimwise.align.find import behind_iris
from rimwise.align.identify import fainter
from rimwise.picture.frame_planes import frame_planes
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.raster import Raster
from rimwise.picture.rings import Ring
from rimwise.picture.spots import spot_map

SCALE, RADIUS = 50.0, 5.0  # working pixels to the millimetre, and of P1's spots
P4_AT, P3_AT = np.array([200.0, 190.0]), np.array([290.0, 290.0])
PAIR = np.array([[-14.0, 0.0], [14.0, 0.0]])


def scene(spots: list[tuple[np.ndarray, float, float]]):
    """A pupil with pairs of spots: place, height over the ground in grey levels, radius."""
    v, u = np.indices((480, 480)).astype(float)
    grey = np.full((480, 480), 60.0) + np.random.default_rng(1).normal(0.0, 1.5, (480, 480))
    for place, high, radius in spots:
        spread = PAIR if radius < 8.0 else 2.0 * PAIR
        for at in place + spread:
            far = np.hypot(u - at[0], v - at[1])
            grey += high / (1.0 + np.exp((far - radius) / 1.0))
    pixels = np.repeat(np.clip(grey, 0.0, 255.0).astype(np.uint8)[..., None], 3, axis=2)
    planes = frame_planes(Raster(pixels))
    return planes, spot_map(planes, (0, 0, 480, 480), 2.0, np.ones((120, 120), dtype=bool))


def awaited() -> dict[str, Expected]:
    p3 = Expected("P3", P3_AT, 2.0 * PAIR, 40.0, (0.3, 0.3), 0.003, 2.4)
    p4 = Expected("P4", P4_AT, -PAIR, 25.0, (0.3, 0.3), 0.003, -1.0)
    return {"P3": p3, "P4": p4}


def told(spots, clear: bool, hidden: float | None = None):
    planes, found = scene(spots)
    if hidden is not None:
        seen, dark = np.ones(180, dtype=bool), (3.0, 3.0, 3.0)
        pupil = Ring((240.0, 240.0), np.full(180, hidden), seen, 0.3, 0.1, dark, dark)
        found = behind_iris(found, EyeRings(None, pupil), SCALE)
    return set(fainter(found, awaited(), planes, (SCALE, RADIUS), clear)[0])


def test_both_reflexes_of_a_clear_lens_are_told():
    assert told([(P4_AT, 60.0, 5.0), (P3_AT, 50.0, 12.0)], clear=True) == {"P3", "P4"}


def test_p4_paler_than_p3_is_none_of_an_implant():
    """Both surfaces of a clear lens mirror alike, so that the sharper P4 is the plainer one.

    Of a natural lens, which takes light away, the same pair of spots is taken.
    """
    spots = [(P4_AT, 12.0, 5.0), (P3_AT, 50.0, 12.0)]
    assert "P4" not in told(spots, clear=True)
    assert told(spots, clear=False) == {"P3", "P4"}


@pytest.mark.parametrize("clear", [True, False])
def test_sharp_spots_where_p3_could_be_are_no_p3(clear):
    """The front of a lens mirrors the lamps large: glints and bubbles are sharper."""
    planes, found = scene([(P3_AT, 60.0, 3.0)])
    wide = {"P3": replace(awaited()["P3"], offsets_px=PAIR)}
    assert fainter(found, wide, planes, (SCALE, RADIUS), clear) == [{}]


def test_one_broad_blob_is_no_pair():
    """A glare that the margin cuts: both spots of a pattern find a slope of it."""
    planes, found = scene([])
    v, u = np.indices((480, 480))
    glare = 90.0 / (1.0 + np.exp((np.hypot(u - P3_AT[0], v - P3_AT[1]) - 20.0) / 2.0))
    pixels = np.clip(planes.grey + glare[..., None], 0.0, 255.0).astype(np.uint8)
    planes = frame_planes(Raster(pixels))
    found = spot_map(planes, (0, 0, 480, 480), 2.0, np.ones((120, 120), dtype=bool))
    assert "P3" not in fainter(found, awaited(), planes, (SCALE, RADIUS), False)[0]


def test_what_lies_outside_of_the_pupil_is_no_reflex_of_the_lens():
    spots = [(P4_AT, 60.0, 5.0), (P3_AT, 50.0, 12.0)]
    # P3 stands 71 pixels from the pupil's middle, P4 64.
    assert told(spots, clear=True, hidden=200.0) == {"P3", "P4"}
    assert told(spots, clear=True, hidden=30.0) == set()
