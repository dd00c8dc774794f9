"""Faults of invented photographs are named, with what to do; a good photograph is left alone."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rimwise.demo.photos import draw_photo
from rimwise.demo.render import render_photo
from rimwise.demo.scene import Lamp, PhotoLook, PhotoScene, RoundShape
from rimwise.geometry.ellipse import fit_ellipse
from rimwise.journey import finding_of
from rimwise.measure import photograph
from rimwise.measure.quality import blur_px, quality_reasons
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding
from rimwise.records.picture import PictureSheet

SHEET = PictureSheet(side="left", optic_diameter_mm=6.0)
LOOK = PhotoLook(lamps=())
# Seen on the wide side, so that a good pupil leaves the whole rim free.
GOOD = PhotoScene("left", px_per_mm=100.0, pupil=RoundShape(3.8), look=LOOK)


def codes(scene: PhotoScene) -> tuple[str, list[str]]:
    pixels, _ = render_photo(scene, np.random.default_rng(3))
    finding = finding_of(Raster(pixels), SHEET, "eye.png", "0" * 64)
    return finding.status, [reason.code for reason in finding.reasons]


def test_a_good_photograph_is_left_alone() -> None:
    status, found = codes(GOOD)
    assert status == "measured"
    assert not {"out-of-focus", "too-dark", "too-bright", "gaze-away", "reflex-over-edge"} & set(
        found
    )


@pytest.mark.parametrize(
    ("scene", "code"),
    [
        (replace(GOOD, look=replace(LOOK, exposure=0.06)), "too-dark"),
        (replace(GOOD, look=replace(LOOK, exposure=6.0)), "too-bright"),
        (replace(GOOD, pupil=RoundShape(2.9)), "pupil-not-wide"),
    ],
)
def test_a_fault_is_named_with_what_to_do(scene: PhotoScene, code: str) -> None:
    _, found = codes(scene)
    assert code in found
    pixels, _ = render_photo(scene, np.random.default_rng(3))
    finding = finding_of(Raster(pixels), SHEET, "eye.png", "0" * 64)
    sentence = next(one.sentence for one in finding.reasons if one.code == code)
    assert "take" in sentence


@pytest.mark.parametrize("sigma_px", [3.0, 6.0, 10.0])
def test_the_blur_of_a_known_step_is_found(sigma_px: float) -> None:
    """A step blurred by a known amount, with a sensor's noise: arithmetic of the renderer alone."""
    step = np.where(np.arange(400.0) < 200.0, 60.0, 160.0)[None, :].repeat(200, axis=0)
    soft = cv2.GaussianBlur(step, (0, 0), sigma_px)
    soft += np.random.default_rng(1).normal(0.0, 1.0, soft.shape)
    found = blur_px(soft, np.ones(soft.shape, dtype=bool))
    # A gate between sharp (1 to 3 px) and blurred (8 px and more) needs no better than a third.
    assert found == pytest.approx(sigma_px, rel=0.33)


def test_a_blank_picture_has_no_blur() -> None:
    assert blur_px(np.full((50, 50), 90.0), np.ones((50, 50), dtype=bool)) is None


def test_nothing_is_said_of_a_refused_black_picture_but_that_it_is_dark() -> None:
    refused = CoverFinding("eye.jpg", "", "right", "visit", "refused")
    black = Raster(np.zeros((400, 600, 3), dtype=np.uint8))
    assert [one.code for one in quality_reasons(black, refused, SHEET)] == ["too-dark"]


def test_an_outline_that_is_no_ellipse_asks_for_another_photograph(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Who gave no points is not told to choose others."""

    def fails(*_: object) -> None:
        fit_ellipse(np.column_stack([np.arange(9.0), np.arange(9.0)]))

    monkeypatch.setattr(photograph, "find_eye_edges", fails)
    grey = Raster(np.full((400, 600, 3), 90, dtype=np.uint8))
    (reason,) = photograph.measure_photograph(grey, SHEET, picture="", sha256="").reasons
    assert reason.code == "no-ellipse"
    assert "take a sharper photograph" in reason.sentence


@pytest.mark.parametrize("sigma_px", [1.0, 4.0, 9.0, 13.0])
def test_blur_of_a_known_photograph_is_judged_by_its_limit(sigma_px: float) -> None:
    """The limit of 0.06 mm is some 6 px here: named above, never below."""
    pixels, _ = render_photo(replace(GOOD, pupil=RoundShape(2.9)), np.random.default_rng(3))
    soft = Raster(cv2.GaussianBlur(pixels, (0, 0), sigma_px))
    finding = finding_of(soft, SHEET, "eye.png", "0" * 64)
    found = [reason.code for reason in finding.reasons]
    assert ("out-of-focus" in found) == (sigma_px > 6.0)


def test_a_reflex_over_an_edge_and_a_turned_eye_are_named() -> None:
    lamp = Lamp("disc", (2.6, 0.0), 60.0)
    _, found = codes(replace(GOOD, look=replace(LOOK, lamps=(lamp,))))
    assert "reflex-over-edge" in found
    _, found = codes(replace(GOOD, tilt_deg=(14.0, 0.0)))
    assert "gaze-away" in found


@pytest.mark.parametrize("radius_mm", [2.75, 2.9])
def test_an_edge_alone_in_a_narrow_pupil_is_no_rim(radius_mm: float) -> None:
    """The iris hides the rim; the ring that shows is the opening's: too small an eye."""
    for limbus_mm in (4.5, 4.9, 5.3):
        scene = replace(GOOD, pupil=RoundShape(radius_mm), limbus=RoundShape(limbus_mm))
        assert codes(scene)[0] == "refused", limbus_mm


def test_two_lines_of_one_edge_are_not_taken_for_both() -> None:
    """A wide opening alone in a pupil that hides the rim was measured, 0.35 mm wrong."""
    waves = ((2, 0.004, -0.003), (3, 0.002, 0.001))
    opening, pupil = RoundShape(2.78, (0.03, -0.02), waves), RoundShape(2.93, (-0.02, 0.03), waves)
    scene = replace(GOOD, opening=opening, pupil=pupil)
    assert codes(scene)[0] == "refused"


def test_the_shade_within_a_pupil_s_margin_is_no_rim() -> None:
    """An opening in a wide pupil, no implant: the iris's shade was the rim, and cover complete."""
    look = replace(LOOK, optic_line=0.0, optic_shade=0.0, optic_dim=0.0, rim_glow=0.0)
    for radius_mm in (3.1, 3.3, 3.5):
        for seed in (3, 4):
            scene = replace(GOOD, pupil=RoundShape(radius_mm), haptic_axis_deg=None, look=look)
            pixels, _ = render_photo(scene, np.random.default_rng(seed))
            assert finding_of(Raster(pixels), SHEET, "", "").status == "refused", radius_mm


def test_an_eye_that_does_not_fill_the_picture_is_looked_at_from_nearer_by() -> None:
    """The same pixels within a frame twice as large tell the same; places move with them."""
    pixels, truth = render_photo(GOOD, np.random.default_rng(3))
    around = np.pad(pixels, ((525, 525), (700, 700), (0, 0)), constant_values=110)
    alone, within = (finding_of(Raster(one), SHEET, "", "") for one in (pixels, around))
    assert (alone.status, within.status) == ("measured", "measured")
    assert alone.cover is not None
    assert within.cover is not None
    told = np.array([np.nan if w is None else w for w in within.cover.width_mm])
    assert np.isfinite(told).mean() > 0.9
    # 0.02 mm is the bar of easy pictures; own renders know their truth.
    assert np.nanmax(np.abs(told - truth.cover_mm)) < 0.05
    assert np.nanmean(np.abs(told - truth.cover_mm)) < 0.02
    assert alone.optic is not None
    assert within.optic is not None
    rim, moved = alone.optic.ellipse_px, within.optic.ellipse_px
    assert np.hypot(moved.cx - rim.cx - 700.0, moved.cy - rim.cy - 525.0) < 1.0
    assert abs(moved.a - rim.a) < 1.5
    assert within.pupil is not None
    assert alone.pupil is not None
    assert abs(within.pupil.ellipse_px.cx - alone.pupil.ellipse_px.cx - 700.0) < 2.0


def test_an_eye_of_too_few_pixels_is_refused() -> None:
    """An optic of a quarter of a picture of 1400 px, shrunk: its lines are finer than a pixel."""
    pixels, _ = render_photo(GOOD, np.random.default_rng(3))
    around = np.pad(pixels, ((900, 900), (1200, 1200), (0, 0)), constant_values=110)
    small = cv2.resize(around, (1400, 1050), interpolation=cv2.INTER_AREA)
    finding = finding_of(Raster(small), SHEET, "eye.png", "0" * 64)
    assert (finding.status, finding.reasons[0].code) == ("refused", "eye-too-small")
    assert "nearer" in finding.reasons[0].sentence


def test_a_curve_that_nobody_could_verify_tells_no_size() -> None:
    pixels, _, sheet = draw_photo(np.random.default_rng([8, 77]), 1)
    soft = Raster(cv2.GaussianBlur(pixels, (0, 0), 5.0))
    finding = finding_of(soft, sheet, "eye.png", "0" * 64)
    assert finding.status == "partial"
    assert "opening-not-verified" in {reason.code for reason in finding.reasons}
    assert finding.opening is not None
    assert finding.opening.equivalent_diameter_mm is None
    assert finding.cover is None or finding.cover.complete is None
