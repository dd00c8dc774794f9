"""What misplaced implants do to the wave of an eye, against published and computed numbers.

Sources: Weikert, Golla & Wang 2018 J. Cataract Refract. Surg. 44(6):745-749, abstract, *published
and read* (cylinder by tilt); Bonaque-Gonzalez, Bernal-Molina & Lopez-Gil 2015 J. Cataract Refract.
Surg. 41(5):1110-1111, *published and read* (0.4 mm at a pupil of 6 mm, in proportion to the pupil);
Korynta et al. 1994 J. Refract. Corneal Surg. 10(5):556-564, abstract, *published and read* (3 mm
off: about -2.00 dpt sphere and 0.70 dpt cylinder).
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from rimwise.eye.build import eye_model
from rimwise.eye.implant import ImplantTerms
from rimwise.eye.model import EyeModel
from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.refraction import PowerVector, least_squares_refraction
from rimwise.optics.surface import even_asphere
from rimwise.optics.zernike import Wavefront
from rimwise.predict.sight import placed_waves
from rimwise.records.picture import CorneaSheet

PUBLISHED_TILT = {(16, 5): 0.08, (22, 5): 0.11, (28, 5): 0.14,
                  (16, 10): 0.33, (22, 10): 0.44, (28, 10): 0.56}  # fmt: skip
PUPILS_MM = (3.0, 4.0, 5.0, 6.0)


def eye(power_dpt: float = 21.0) -> EyeModel:
    """An eye with a spherical implant and its pupil on the corneal axis."""
    terms = ImplantTerms(power_dpt, 1.49)
    known = Known("right", "implant", CorneaSheet(radius_mm=7.7), axial_mm=23.6, implant=terms)
    return replace(eye_model(eye_record(known)), pupil_mm=(0.0, 0.0))


def wave(
    model: EyeModel, pupil_mm: float, shift_mm: float = 0.0, tilt_deg: float = 0.0
) -> Wavefront:
    assert model.retina_depth_mm is not None
    placed = model.with_lens((math.radians(tilt_deg), 0.0), (shift_mm, 0.0))
    (found,) = placed_waves(placed, (0.0, 0.0, -model.retina_depth_mm), pupil_mm)
    return found


def change(model: EyeModel, pupil_mm: float, shift_mm: float, tilt_deg: float) -> PowerVector:
    """Refraction at the corneal vertex less that of the same eye with its implant in place."""
    lenses = [
        least_squares_refraction(wave(model, pupil_mm, *where)).moved_towards_light(3.0)
        for where in ((shift_mm, tilt_deg), (0.0, 0.0))
    ]
    return lenses[0].minus(lenses[1])


@pytest.mark.parametrize(("case", "printed"), PUBLISHED_TILT.items())
def test_the_cylinder_of_a_tilted_implant(case: tuple[int, int], printed: float) -> None:
    """Weikert 2018. Within 0.05 dpt, as asked for; the abstract names neither cornea nor shape."""
    power, tilt = case
    _, cylinder, _ = change(eye(float(power)), 2.0, 0.0, float(tilt)).sphere_cylinder_axis()
    assert -cylinder == pytest.approx(printed, abs=0.05)


def with_asphere(base: EyeModel, fourth: float) -> EyeModel:
    """Add fourth * r^4 to the front of the implant."""

    def aspheric(surface):
        return even_asphere(1.0 / surface.curvature_x_per_mm, 0.0, (fourth,), surface.pose)

    return replace(
        base,
        parts=tuple(
            replace(part, surface=aspheric(part.surface)) if part.role == "lens front" else part
            for part in base.parts
        ),
    )


def root(excess: Callable[[float], float], low: float, high: float) -> float:
    rising = excess(high) > 0.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if (excess(middle) > 0.0) is rising else (middle, high)
    return 0.5 * (low + high)


@pytest.fixture(scope="module")
def pair() -> tuple[EyeModel, EyeModel]:
    """An eye whose implant takes all spherical aberration off at 6 mm, and one that leaves 0.26."""
    base = eye()

    def left(fourth: float) -> float:
        return wave(with_asphere(base, fourth), 6.0).coefficient_um(4, 0)

    return tuple(
        with_asphere(base, root(lambda a, w=wanted: left(a) - w, -2e-3, 2e-3))
        for wanted in (0.0, 0.26)
    )


def break_even_mm(pair: tuple[EyeModel, EyeModel], pupil_mm: float) -> float:
    """Shift at which the correction does as much to the wave as it takes off in its place.

    The correction is the wave with it less the wave without it, both at the same shift; what it
    does beyond tilt (defocus and cylinder included) is set against the aberration it is for.
    """

    def correction(shift_mm: float) -> np.ndarray:
        one, other = (wave(m, pupil_mm, shift_mm).coefficients_um for m in pair)
        return one - other

    centred = correction(0.0)
    gain = abs(centred[12])

    def excess(shift_mm: float) -> float:
        return float(np.linalg.norm((correction(shift_mm) - centred)[3:])) - gain

    return root(excess, 0.0, 1.0)


def test_break_even_of_a_correction(pair: tuple[EyeModel, EyeModel]) -> None:
    """Bonaque-Gonzalez 2015: about 0.4 mm at 6 mm, in proportion to the pupil.

    It is what the correction by itself does. In the whole eye it comes later, since the optic's
    own coma, shifted with it, works against that of the correction: 0.46 mm with defocus and
    cylinder, 0.56 mm once they are corrected by glasses.
    """
    found = {pupil: break_even_mm(pair, pupil) for pupil in PUPILS_MM}
    assert 0.37 <= found[6.0] <= 0.41
    ratios = np.array([found[pupil] / pupil for pupil in PUPILS_MM])
    # Straight to 3 %: fifth-order aberration, which does not scale so, is what remains.
    assert np.ptp(ratios) < 0.03 * ratios.mean()


@pytest.mark.parametrize(("first_mode", "told_mm"), [(3, 0.46), (6, 0.56)])
def test_break_even_of_the_whole_eye_comes_later(
    pair: tuple[EyeModel, EyeModel], first_mode: int, told_mm: float
) -> None:
    """No published number: the figures told in docs/accuracy.md are held here, to 0.01 mm.

    Both eyes, each behind the sphere that suits it in place, are shifted alike; the corrected one
    is no better where its wave, from cylinder and defocus or from third order on, is as large as
    that of the other.
    """
    worn = [wave(m, 6.0).coefficient_um(2, 0) * (np.arange(45) == 4) for m in pair]

    def excess(shift_mm: float) -> float:
        corrected, other = (
            float(np.linalg.norm((wave(m, 6.0, shift_mm).coefficients_um - lens)[first_mode:]))
            for m, lens in zip(pair, worn, strict=True)
        )
        return corrected - other

    assert root(excess, 0.05, 1.0) == pytest.approx(told_mm, abs=0.01)


def test_three_millimetres_off() -> None:
    """Korynta 1994, abstract: "about" 0.70 dpt of cylinder and -2.00 dpt of sphere.

    The cylinder agrees. The sphere does not: this eye changes by -1.3 dpt where theirs did by
    -2.0; the abstract names neither the eye, nor the implant's shape, nor where light was judged.
    Asserted is the figure told here, so that the disagreement stays as it is said.
    """
    found = change(eye(), 3.0, 3.0, 0.0)
    sphere, cylinder, _ = found.sphere_cylinder_axis()
    assert -cylinder == pytest.approx(0.70, abs=0.10)
    # In plus cylinder, as printed.
    assert sphere + cylinder == pytest.approx(-1.3, abs=0.1)
