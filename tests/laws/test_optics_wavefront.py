"""Wavefronts, refraction and images: signs, exact changes of the pupil, one answer by two ways."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rimwise.optics.contrast import best_focus, transfer_of_pupil
from rimwise.optics.direct_sum import Emitters, direct_field
from rimwise.optics.point_spread import (
    Pupil,
    defocus_um,
    disc,
    point_spread_fft,
    point_spread_window,
    polychromatic,
    sample_pupil,
    strehl,
    through_focus,
)
from rimwise.optics.pose import Pose
from rimwise.optics.pupil_change import change_pupil, continue_pupil
from rimwise.optics.rays import rays, rays_towards
from rimwise.optics.refraction import (
    PowerVector,
    least_squares_refraction,
    paraxial_refraction,
    wavefront_of_lens_um,
)
from rimwise.optics.surface import sphere
from rimwise.optics.system import System, refract
from rimwise.optics.trace import trace
from rimwise.optics.wavefront import ReferencePlane, ReferenceSphere, path_difference
from rimwise.optics.zernike import Wavefront, basis, fit_wavefront, mode_count
from rimwise.terms.errors import WrongInput

coefficients = arrays(np.float64, mode_count(6), elements=st.floats(-1.0, 1.0))


@given(coefficients, st.floats(0.2, 0.7), st.floats(-0.2, 0.2), st.floats(-3.0, 3.0))
def test_a_changed_pupil_is_the_same_wavefront(
    c: np.ndarray, radius: float, shift: float, turn: float
) -> None:
    old = Wavefront(c, 1.0)
    new = change_pupil(old, radius, (shift, -shift / 2), turn)
    x, y = np.array([0.3, -0.1, 0.0]) * radius, np.array([0.1, 0.5, 0.0]) * radius
    there_x = shift + math.cos(turn) * x - math.sin(turn) * y
    there_y = -shift / 2 + math.sin(turn) * x + math.cos(turn) * y
    # Coefficients up to 1 µm, 28 modes: 1e-9 is the identity that is asked for.
    assert np.allclose(new.at_um(x, y), old.at_um(there_x, there_y), rtol=0.0, atol=1e-9)


@given(coefficients, st.floats(0.3, 0.9), st.floats(-0.1, 0.1))
def test_a_change_and_its_inverse_cancel(c: np.ndarray, radius: float, shift: float) -> None:
    new = continue_pupil(Wavefront(c, 1.0), radius, (shift, 0.0), 0.3)
    back = np.array([-shift * math.cos(0.3), shift * math.sin(0.3)])
    again = continue_pupil(new, 1.0, (float(back[0]), float(back[1])), -0.3)
    # Blowing a 0.3 pupil up to 1 multiplies round-off by 0.3⁻⁶ = 1400.
    assert np.allclose(again.coefficients_um, c, rtol=0.0, atol=1e-9)


@given(coefficients)
def test_a_fit_recovers_what_was_there(c: np.ndarray) -> None:
    side = np.linspace(-2.0, 2.0, 21)
    x, y = (v.ravel() for v in np.meshgrid(side, side))
    truth = Wavefront(c, 2.0)
    fit = fit_wavefront(np.column_stack([x, y]), truth.at_um(x, y), 6, 2.0)
    assert np.allclose(fit.wavefront.coefficients_um, c, rtol=0.0, atol=1e-11)
    assert fit.residual_rms_um < 1e-11


def test_modes_are_orthonormal_over_the_disc() -> None:
    nodes, weights = np.polynomial.legendre.leggauss(20)
    r = np.sqrt(0.5 * (nodes + 1.0))[:, None]
    t = np.arange(40) * 2.0 * np.pi / 40
    values = basis(8, r * np.cos(t), r * np.sin(t))
    gram = np.einsum("i,ijk,ijl->kl", 0.5 * weights, values, values) / 40
    assert np.abs(gram - np.eye(mode_count(8))).max() < 1e-12


def test_too_few_samples_are_refused() -> None:
    with pytest.raises(WrongInput, match="do not tell them apart"):
        fit_wavefront(np.zeros((40, 2)), np.zeros(40), 4, 1.0)


powers = st.floats(-10.0, 10.0)


@given(powers, st.floats(-6.0, 0.0), st.floats(0.5, 180.0))
def test_sphere_cylinder_axis_survive_the_power_vector(s: float, c: float, axis: float) -> None:
    again = PowerVector.of(s, c, axis).sphere_cylinder_axis()
    assert again[:2] == pytest.approx((s, c), abs=1e-9)
    if c < -0.01:
        assert again[2] == pytest.approx(axis, abs=1e-6)


@given(powers, powers, st.floats(-3.0, 3.0))
def test_refractions_find_the_lens_whose_wavefront_it_is(m: float, j0: float, j45: float) -> None:
    lens = PowerVector(m, j0 / 3.0, j45)
    side = np.linspace(-2.0, 2.0, 15)
    x, y = (v.ravel() for v in np.meshgrid(side, side))
    error = wavefront_of_lens_um(lens, x, y)
    wave = fit_wavefront(np.column_stack([x, y]), error, 4, 2.0).wavefront
    for found in (least_squares_refraction(wave), paraxial_refraction(wave)):
        assert found.minus(lens).blur_dpt() < 1e-9


@given(st.floats(-8.0, 8.0), st.floats(-2.0, 2.0), st.floats(0.0, 15.0))
def test_a_lens_moved_there_and_back_is_the_same(m: float, j: float, d: float) -> None:
    lens = PowerVector(m, j, -j)
    again = lens.moved_towards_light(d).moved_towards_light(-d)
    assert again.minus(lens).blur_dpt() < 1e-9


def _outgoing(myopic_mm: float) -> Wavefront:
    """Return the wave that leaves a one-surface eye longer than its focus by so much."""
    focus = 1.336 / 0.336 * 7.8
    eye = System((refract(sphere(-7.8), 1.336),)).reversed()
    fovea = np.array([0.0, 0.0, -focus - myopic_mm])
    angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    ring = np.concatenate([r * np.array([np.cos(angle), np.sin(angle)]).T for r in (0.1, 0.2, 0.3)])
    aims = np.column_stack([np.vstack([[[0.0, 0.0]], ring]), np.zeros(73)])
    out = trace(eye, rays_towards(fovea, aims))
    plane = ReferencePlane("corneal vertex", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    found = path_difference(out, plane, 1.0)
    return fit_wavefront(found.places_mm[:, :2], found.error_um, 4, 0.28).wavefront


def test_a_longer_eye_is_myopic_and_has_positive_z20() -> None:
    """Sign of the wavefront: vergence of the far point of a reduced eye, by hand."""
    wave = _outgoing(0.5)
    focus = 1.336 / 0.336 * 7.8
    expected = 1336.0 / (focus + 0.5) - 1336.0 / focus
    assert wave.coefficient_um(2, 0) > 0.0
    # The fit's r⁶ remainder over 0.28 mm and the finite plane leave less than 1e-4 dpt.
    assert paraxial_refraction(wave).m_dpt == pytest.approx(expected, abs=1e-3)


def test_in_and_out_of_the_eye_give_one_wavefront_error() -> None:
    """Light in from infinity, judged on a sphere about its focus, differs by reversal only."""
    focus = 1.336 / 0.336 * 7.8
    eye = System((refract(sphere(-7.8), 1.336),))
    heights = np.linspace(0.0, 1.0, 11)
    start = rays(np.column_stack([heights, 0 * heights, 5.0 + 0 * heights]), [0.0, 0.0, -1.0])
    longer = (0.0, 0.0, -focus - 0.5)
    inward = path_difference(
        trace(eye, start), ReferenceSphere("about the fovea", longer, (0.0, 0.0, 0.0)), 1.336
    )
    outward = _outgoing(0.5)
    # Same defocus to the accuracy of its fourth-order mate over 0.2 mm.
    assert inward.error_um[2] == pytest.approx(
        float(outward.at_um(0.2, 0.0) - outward.at_um(0.0, 0.0)), abs=2e-4
    )
    assert inward.error_um[0] == 0.0


def test_a_sphere_focuses_its_own_centre_without_error() -> None:
    """A point at the centre of curvature sees no refraction: the wave stays perfect."""
    ball = System((refract(sphere(-7.8, Pose.at(0.1, -0.2, 0.0)), 1.0),), 1.4)
    centre = (0.1, -0.2, -7.8)
    rng = np.random.default_rng(0)
    out = trace(
        ball, rays_towards(centre, np.column_stack([rng.uniform(-3, 3, (50, 2)), np.zeros(50)]))
    )
    found = path_difference(out, ReferenceSphere("about the centre", centre, (0.1, -0.2, 2.0)), 1.0)
    assert np.abs(found.error_um).max() < 1e-9


def test_a_wave_ahead_on_the_right_moves_the_image_left() -> None:
    tilt = Wavefront(np.array([0.0, 0.0, 0.5]), 2.0)
    image = point_spread_window(sample_pupil(tilt, 64), 101, 1e-5)
    row, column = np.unravel_index(np.argmax(image.intensity), image.intensity.shape)
    assert image.angles_rad[column] == pytest.approx(-2.0 * 0.5e-3 / 2.0, abs=1e-5)
    assert row == 50


@given(arrays(np.float64, 15, elements=st.floats(-0.2, 0.2)), st.sampled_from([2, 3, 4]))
@settings(max_examples=30)
def test_two_transforms_give_one_image(c: np.ndarray, padding: int) -> None:
    for samples in (32, 33):
        pupil = sample_pupil(Wavefront(c, 2.0), samples)
        whole = point_spread_fft(pupil, padding)
        window = point_spread_window(pupil, 21, whole.step_rad)
        near = slice(samples * padding // 2 - 10, samples * padding // 2 + 11)
        assert np.allclose(window.intensity, whole.intensity[near, near], rtol=0.0, atol=1e-12)
        assert strehl(pupil) == pytest.approx(float(window.intensity[10, 10]), abs=1e-12)


@pytest.mark.parametrize("engine", ["numpy", "compiled"])
def test_the_direct_sum_gives_the_image_of_the_transform(engine: str) -> None:
    """Huygens on a sphere of 17 mm: the far field is reached to the square of the image's size."""
    wave = Wavefront(np.array([0, 0, 0, 0.05, 0.06, -0.04, 0.03, 0.05, 0.02, 0, 0, 0, 0.04]), 1.5)
    pupil = sample_pupil(wave, 96)
    x, y = np.meshgrid(pupil.places_mm, pupil.places_mm)
    inside = pupil.coverage > 0.0
    x, y, radius = x[inside], y[inside], 17.0
    # Light travels to -z; the wave ahead starts with less path.
    z = np.sqrt(radius**2 - x * x - y * y)
    emitters = Emitters(
        np.column_stack([x, y, z]), -pupil.error_um[inside] / 1000.0, pupil.coverage[inside]
    )
    angles = np.arange(-10, 11) * 2e-5
    place = np.column_stack([angles * radius, 0 * angles, 0 * angles])
    field = direct_field(emitters, place, 555.0, 1.0, engine)
    mine = np.abs(field * radius / pupil.coverage.sum()) ** 2
    window = point_spread_window(pupil, 21, 2e-5)
    # Obliquity 1 / r and the sphere's sag change the sum by (image / 17 mm)² and (θ · sag).
    assert np.allclose(mine, window.intensity[10], rtol=0.0, atol=2e-4)


@pytest.mark.parametrize("padding", [2, 4])
def test_transform_and_direct_sum_agree_to_1e_4_of_the_peak(padding: int) -> None:
    """From 1 m away, where obliquity and sag (each 2e-4 at an eye's 17 mm) no longer count."""
    wave = Wavefront(np.array([0, 0, 0, 0.05, 0.06, -0.04, 0.03, 0.05, 0.02, 0, 0, 0, 0.04]), 1.5)
    pupil = sample_pupil(wave, 64)
    image = point_spread_fft(pupil, padding)
    middle = image.intensity.shape[0] // 2
    x, y = np.meshgrid(pupil.places_mm, pupil.places_mm)
    inside, radius = pupil.coverage > 0.0, 1000.0
    x, y = x[inside], y[inside]
    emitters = Emitters(
        np.column_stack([x, y, np.sqrt(radius**2 - x * x - y * y)]),
        -pupil.error_um[inside] / 1000.0,
        pupil.coverage[inside],
    )
    steps = np.arange(-8, 9)
    at = steps * image.step_rad * radius
    field = direct_field(emitters, np.column_stack([at, 0 * at, 0 * at]), 555.0, 1.0, "numpy")
    summed = np.abs(field * radius / pupil.coverage.sum()) ** 2
    assert np.allclose(summed, image.intensity[middle, middle + steps], rtol=0.0, atol=1e-4)


@pytest.mark.parametrize("padding", [2, 3])
def test_the_image_holds_all_light_of_the_pupil(padding: int) -> None:
    """Parseval's theorem, asked for within 1e-4; the transform keeps it to round-off."""
    wave = Wavefront(np.array([0, 0, 0, 0.3, 0.9, -0.4, 0.3, 0.5, 0.2, 0, 0, 0, 0.4]), 3.0)
    pupil = sample_pupil(wave, 128)
    image = point_spread_fft(pupil, padding)
    side = image.intensity.shape[0]
    sent = float(np.sum(pupil.amplitude**2)) / float(pupil.amplitude.sum()) ** 2 * side**2
    assert float(image.intensity.sum()) == pytest.approx(sent, rel=1e-4)


def test_both_direct_sums_agree() -> None:
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(-2, 2, (1000, 2)), np.full(1000, 17.0)])
    emitters = Emitters(points, 30.0 + rng.uniform(0, 1e-3, 1000), rng.uniform(0, 1, 1000))
    place = rng.uniform(-0.05, 0.05, (50, 3))
    one, two = (direct_field(emitters, place, 555.0, 1.336, e) for e in ("numpy", "compiled"))
    # 1.1e5 waves of phase: 1.5e-11 turns of round-off each, times the sum of amplitudes.
    assert np.abs(one - two).max() < 1e-9 * np.sum(emitters.weights) / 17.0


def test_strehl_follows_the_variance_for_small_errors() -> None:
    """Maréchal's exp(-σ²), exact to the fourth power of the phase error."""
    wave = Wavefront(np.array([0, 0, 0, 0.01, 0.0, -0.012, 0.005, 0, 0.006]), 2.0)
    phase = 2.0 * math.pi * wave.rms_um(1) / 0.555
    assert strehl(sample_pupil(wave, 256)) == pytest.approx(math.exp(-(phase**2)), abs=phase**4)


def test_best_focus_undoes_pure_defocus_and_through_focus_peaks_there() -> None:
    pupil = sample_pupil(Wavefront(np.zeros(1), 1.5), 64)
    blurred = pupil.with_added(defocus_um(pupil, -1.3))
    assert best_focus(blurred, 10.0).lens_dpt == pytest.approx(-1.3, abs=2e-3)
    lenses = np.linspace(-2.0, 0.0, 21)
    curve = through_focus(blurred, lenses, strehl)
    assert lenses[int(np.argmax(curve))] == pytest.approx(-1.3)
    assert curve.max() == pytest.approx(1.0, abs=1e-9)
    with pytest.raises(WrongInput, match="wider range_dpt"):
        best_focus(blurred, 10.0, (0.0, 2.0))


def test_blur_only_takes_contrast_away() -> None:
    pupil = sample_pupil(Wavefront(np.zeros(1), 1.5), 128)
    perfect = transfer_of_pupil(pupil).modulation
    for dpt in (0.1, 0.5, 2.0):
        blurred = transfer_of_pupil(pupil.with_added(defocus_um(pupil, dpt))).modulation
        assert np.all(blurred <= perfect + 1e-9)
    values = [float(transfer_of_pupil(pupil).at(f)) for f in range(0, 95, 5)]
    assert all(a > b for a, b in pairwise(values))


def test_polychromatic_of_one_colour_is_that_colour() -> None:
    wave = Wavefront(np.array([0, 0, 0, 0.05, 0.1]), 1.5)
    pupil = sample_pupil(wave, 48)
    alone = point_spread_window(pupil, 31, 2e-5).intensity
    assert np.allclose(polychromatic([pupil, pupil], [1.0, 3.0], 31, 2e-5).intensity, alone)
    red = Pupil(pupil.error_um, pupil.coverage, pupil.step_mm, 650.0)
    both = polychromatic([pupil, red], [1.0, 0.0], 31, 2e-5)
    assert np.allclose(both.intensity, alone)
    with pytest.raises(WrongInput, match="one each"):
        polychromatic([pupil], [1.0, 2.0], 31, 2e-5)


def test_the_disc_has_the_area_of_a_circle() -> None:
    # 16 × 16 samples a rim cell.
    assert disc(256).sum() / 256**2 == pytest.approx(math.pi / 4.0, abs=2e-6)
