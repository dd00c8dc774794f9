"""Is the claimed ± of circle, ellipse and Fourier fits true? Pulls over synthetic noisy points.

A pull is error over claimed sd; its sd over 400 draws is known to 3.5 %, so 0.9 to 1.1 is
within three standard errors of 1.
"""

import math

import numpy as np
import pytest

from rimwise.geometry.arcs import axis_turn_between_rad
from rimwise.geometry.circle import fit_circle
from rimwise.geometry.ellipse import Ellipse, fit_ellipse
from rimwise.geometry.fourier import FourierSettings, fourier_radius, fourier_terms
from rimwise.stats.sampling import stream

DRAWS = 400
TURN = np.radians(np.arange(0.0, 360.0))
TRUTH = Ellipse(1010.0, 790.0, 302.0, 281.0, 0.7)


def ellipse_pulls(arc_deg: float, sd_px: float, wrong: float, known: bool) -> np.ndarray:
    generator = stream(31, f"ellipse {arc_deg} {sd_px} {wrong} {known}")
    pulls = []
    for _ in range(DRAWS):
        clean = TRUTH.points(TURN[: int(arc_deg)])
        points = clean + generator.normal(0.0, sd_px, clean.shape)
        bad = generator.choice(len(points), int(wrong * len(points)), replace=False)
        # Everywhere, also on the unseen side, where one wrong point could bend the outline.
        points[bad] = TRUTH.centre + generator.uniform(-1.4, 1.4, (len(bad), 2)) * TRUTH.a
        fit = fit_ellipse(points, sd=sd_px if known else None)
        found = fit.ellipse
        turn = float(axis_turn_between_rad(TRUTH.angle_rad, found.angle_rad))
        errors = [found.cx - TRUTH.cx, found.cy - TRUTH.cy, found.a - TRUTH.a, found.b - TRUTH.b]
        pulls.append(np.array([*errors, turn]) / np.sqrt(np.diag(fit.covariance)))
    return np.array(pulls)


@pytest.mark.parametrize(
    ("arc_deg", "sd_px", "wrong", "known"),
    [
        (360, 1.0, 0.0, False),
        (360, 1.0, 0.0, True),
        (360, 1.0, 0.2, False),
        (200, 0.3, 0.1, False),
        (120, 0.2, 0.1, True),
    ],
)
def test_ellipse(arc_deg, sd_px, wrong, known):
    pulls = ellipse_pulls(arc_deg, sd_px, wrong, known)
    assert ((pulls.std(axis=0) > 0.9) & (pulls.std(axis=0) < 1.1)).all(), pulls.std(axis=0)
    # Four standard errors of a mean.
    assert np.abs(pulls.mean(axis=0)).max() < 4.0 / math.sqrt(DRAWS)


@pytest.mark.parametrize(
    ("arc_deg", "robust"), [(360, False), (120, False), (360, True), (150, True)]
)
def test_circle(arc_deg, robust):
    generator = stream(32, f"circle {arc_deg} {robust}")
    pulls = []
    for _ in range(DRAWS):
        t = TURN[:arc_deg]
        points = np.stack([5.0 + 3.0 * np.cos(t), 3.0 * np.sin(t) - 2.0], axis=-1)
        # Fine enough that few wrong points fall within the noise, where nothing can tell them.
        points += generator.normal(0.0, 0.002, points.shape)
        if robust:
            bad = generator.choice(arc_deg, arc_deg // 6, replace=False)
            points[bad] = np.array([5.0, -2.0]) + generator.uniform(-4.0, 4.0, (len(bad), 2))
        fit = fit_circle(points, robust=robust)
        errors = np.array([fit.cx - 5.0, fit.cy + 2.0, fit.radius - 3.0])
        pulls.append(errors / np.sqrt(np.diag(fit.covariance)))
    spread = np.std(pulls, axis=0)
    assert ((spread > 0.9) & (spread < 1.1)).all(), spread
    assert np.abs(np.mean(pulls, axis=0)).max() < 4.0 / math.sqrt(DRAWS)


@pytest.mark.parametrize("gap_deg", [0, 75])
def test_fourier_radius_also_across_a_gap(gap_deg):
    """With the waviness known beforehand, the ± holds where nothing was seen, too."""
    generator = stream(33, f"fourier {gap_deg}")
    waviness = (0.10, 0.08, 0.05, 0.03, 0.02, 0.01)
    pulls = []
    for _ in range(DRAWS):
        true = np.concatenate([[2.5], np.repeat(waviness, 2) * generator.standard_normal(12)])
        seen = TURN[gap_deg:]
        radii = fourier_terms(seen, 6) @ true + generator.normal(0.0, 0.01, len(seen))
        bad = generator.choice(len(seen), len(seen) // 10, replace=False)
        radii[bad] += generator.uniform(0.1, 0.8, len(bad))
        fit = fourier_radius(seen, radii, 6, settings=FourierSettings(prior_sd=waviness))
        pulls.append((fit.radius(TURN) - fourier_terms(TURN, 6) @ true) / fit.sd(TURN))
    spread = np.std(pulls)
    assert 0.9 < spread < 1.1
    if gap_deg:
        assert 0.9 < np.std(np.array(pulls)[:, 10 : gap_deg - 10]) < 1.1
    held = np.mean(np.abs(pulls) < 1.959963984540054)
    # Directions go together; about 13 free numbers a draw.
    assert 0.93 < held < 0.97
