"""Axes by definition and by trace: what must hold in every eye."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.eye.axes import eye_axes, fovea_mm
from rimwise.eye.build import eye_model
from rimwise.eye.draws import drawn_eye
from rimwise.eye.known import Known
from rimwise.eye.schematic import schematic_model
from rimwise.eye.this_eye import eye_record
from rimwise.published.eyes import schematic_eye
from rimwise.terms.errors import WrongInput

ANGLES = st.floats(-6.0, 6.0)


def test_in_an_eye_on_one_axis_all_axes_are_one():
    eye = schematic_model(schematic_eye("navarro1985"))
    axes = eye_axes(eye, fovea_mm(eye, (0.0, 0.0)))
    for one in (axes.optical, axes.pupillary, axes.visual, axes.line_of_sight):
        assert one.direction_deg == pytest.approx((0.0, 0.0), abs=1e-9)
        assert one.at_cornea_mm == pytest.approx((0.0, 0.0), abs=1e-9)
    assert axes.chord_mu_mm == pytest.approx((0.0, 0.0), abs=1e-7)


@given(x=ANGLES, y=ANGLES, lens=st.sampled_from(["natural", "implant"]), seed=st.integers(0, 99))
@settings(max_examples=15)
def test_axes_of_drawn_eyes(x, y, lens, seed):
    record = eye_record(Known("right", lens, axial_mm=23.6))
    eye = eye_model(drawn_eye(record, np.random.default_rng(seed)))
    axes = eye_axes(eye, fovea_mm(eye, (x, y)))
    # By definition and by trace: the nodal ray found exactly points where it was defined to,
    # within what aberration over its small height leaves.
    assert axes.visual.direction_deg == pytest.approx((x, y), abs=0.15)
    # alpha is counted from the optical axis, kappa and lambda from the pupillary axis.
    for k in range(2):
        kappa = axes.visual.direction_deg[k] - axes.pupillary.direction_deg[k]
        assert axes.kappa_deg[k] == pytest.approx(kappa)
        assert axes.alpha_deg[k] == pytest.approx(
            axes.visual.direction_deg[k] - axes.optical.direction_deg[k]
        )
    # Chord mu is the apparent pupil against P1; the cornea enlarges what is behind it.
    reach = math.hypot(*axes.chord_mu_real_mm)
    if reach > 0.2:
        assert math.hypot(*axes.chord_mu_mm) > reach


def test_the_optical_axis_follows_a_tilted_lens():
    eye = schematic_model(schematic_eye("legrand")).with_lens((math.radians(4.0), 0.0), (0.0, 0.0))
    axes = eye_axes(eye, fovea_mm(eye, (5.0, 0.0)))
    assert 0.5 < axes.optical.direction_deg[0] < 6.0
    assert axes.alpha_deg[0] < 5.0


def test_mirror_image_eyes_have_mirror_image_axes():
    eye = replace(schematic_model(schematic_eye("legrand")), pupil_mm=(0.2, 0.1))
    twin = replace(eye, pupil_mm=(-0.2, 0.1))
    one, other = (
        eye_axes(eye, fovea_mm(eye, (5.0, 1.0))),
        eye_axes(twin, fovea_mm(twin, (-5.0, 1.0))),
    )
    for name in ("alpha_deg", "kappa_deg", "lambda_deg", "chord_mu_mm", "chord_alpha_mm"):
        (x, y), (u, v) = getattr(one, name), getattr(other, name)
        assert x == pytest.approx(-u, abs=1e-7)
        assert y == pytest.approx(v, abs=1e-7)


def test_an_eye_without_a_retina_has_no_fovea():
    eye = replace(schematic_model(schematic_eye("legrand")), retina_depth_mm=None)
    with pytest.raises(WrongInput, match="axial_mm"):
        fovea_mm(eye, (5.0, 0.0))
