"""How much larger than the rim the opening is shown, by tracing rays through a whole eye.

Source: Navarro, Santamaría and Bescós 1985, J Opt Soc Am A 2:1273 (the schematic eye), traced by
the project's exact ray tracer with a camera 105 mm away; status: computed.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.photos import PhotographedEye, opening_against_optic, opening_seen
from rimwise.demo.scene import RoundShape
from rimwise.demo.usual_eyes import as_usual
from rimwise.measure.aslant import DRAWN, Aslant, set_straight, usual_aslant
from rimwise.measure.enlarged import enlarged
from rimwise.published.load import published_value
from rimwise.terms.arrays import FloatArray

EYE = PhotographedEye("right", RoundShape(2.6), gap_mm=0.14)  # the usual gap


@pytest.mark.parametrize("rim_mm", [2.75, 3.0, 3.25])
@pytest.mark.parametrize("share", [0.7, 0.8, 0.9, 0.98])
@pytest.mark.parametrize("corneal_radius_mm", [7.3, 7.7, 8.1])
def test_a_ring_before_the_rim_is_enlarged_as_rays_say(rim_mm, share, corneal_radius_mm):
    ring_mm = share * rim_mm
    eye = replace(
        EYE,
        opening=RoundShape(ring_mm),
        optic_diameter_mm=2.0 * rim_mm,
        corneal_radius_mm=corneal_radius_mm,
    )
    told = float(enlarged(np.array([ring_mm]), rim_mm).value[0])
    # Within one told sd of the outward rate, which leaves room for the cornea's own radius.
    room = (
        0.0003
        + (published_value("photograph", "enlarged_outward").sd or 0.0)
        * (rim_mm**2 - ring_mm**2)
        / published_value("photograph", "traced_cornea").value ** 2
    )
    assert opening_against_optic(eye) == pytest.approx(told, abs=room)


def test_the_gaps_scatter_is_in_the_sd():
    rings = [opening_against_optic(replace(EYE, gap_mm=gap)) for gap in (0.07, 0.21)]
    sd = float(enlarged(np.array([2.6]), 3.0).sd[0])
    assert 0.5 * (rings[0] - rings[1]) < sd < 0.7 * (rings[0] - rings[1])


def set_straight_about_the_rim(eye: PhotographedEye) -> FloatArray:
    """The traced ring as a photograph shows it, put through what a measurement takes off.

    Returns (3,): error of its centre along the view (mm), across it, and of its radius (relative).
    """
    size, shift = opening_seen(eye)
    x, y = np.add(eye.opening.centre_mm, shift)
    around = np.radians(np.arange(360.0))
    along = x * np.cos(around) + y * np.sin(around)
    shown_mm = eye.opening.radius_mm * size
    course = along + np.sqrt(shown_mm**2 - x**2 - y**2 + along**2)
    rim_mm, view = 0.5 * eye.optic_diameter_mm, np.tan(np.radians(eye.tilt_deg))
    rate, unit_mm = (
        published_value("photograph", name).value for name in ("grows_aslant", "traced_cornea")
    )
    none = np.zeros((1, 2))
    usual = Aslant(eye.gap_mm * view, rate / unit_mm * view, none, none, none)
    true = set_straight(course / enlarged(course, rim_mm).value, rim_mm, usual)
    middle = [2.0 * np.mean(true * wave(around)) for wave in (np.cos, np.sin)]
    radius_mm = np.sqrt(np.mean(true**2))  # of the circle of the same area
    error_mm = np.subtract(middle, eye.opening.centre_mm)
    return np.array([*error_mm, radius_mm / eye.opening.radius_mm - 1.0])


@pytest.mark.parametrize("turn_deg", [2.0, 4.4, 7.0])
@pytest.mark.parametrize("tilt_deg", [0.0, 2.5, 5.0])
@pytest.mark.parametrize("off_mm", [(0.0, 0.0), (0.2, 0.0), (-0.2, 0.0), (0.0, 0.2)])
def test_a_ring_seen_aslant_is_set_straight_as_rays_say(turn_deg, tilt_deg, off_mm):
    view_deg = turn_deg + tilt_deg
    eye = replace(
        EYE,
        opening=RoundShape(2.6, off_mm),
        tilt_deg=(view_deg, 0.0),
        lens_tilt_deg=(tilt_deg, 0.0),
    )
    along, across, larger = set_straight_about_the_rim(eye)
    # One told sd of the rate, by as much as the rim's square is beyond the ring's; 0.001 mm besides
    # for the line of sight's angle, which a turn and a tilt do not add up to exactly.
    rate = published_value("photograph", "grows_aslant")
    slope = np.tan(np.radians(view_deg)) / published_value("photograph", "traced_cornea").value
    room_mm = 0.001 + (rate.sd or 0.0) * slope * (3.0**2 - 2.6**2)
    assert abs(along) < room_mm
    assert abs(across) < 0.001
    # 0.0003 is what the ring straight on is allowed; what an opening off the middle adds is known
    # as well as the rate (area grows as its cube, the radius by half of that).
    assert abs(larger) < 0.0003 + 1.5 * (rate.sd or 0.0) * slope * np.hypot(*off_mm)


def test_the_shift_of_usual_eyes_scatters_by_its_sd():
    rng = np.random.default_rng(8)
    shifts = np.array([opening_seen(as_usual(rng, EYE))[1] for _ in range(150)])
    law = usual_aslant("right", {name: rng.normal(size=(4000, 1)) for name in DRAWN})
    beyond = 3.0**2 - 2.6**2
    told = law.by_gap_mm + law.by_view_mm - law.growth_per_mm * beyond
    # The sd of 150 draws is known to 6 %: two and a half of that.
    assert shifts.std(axis=0) == pytest.approx(told.std(axis=0), rel=0.15)
    usual = law.shift_mm - law.grows_per_mm * beyond
    assert shifts.mean(axis=0) == pytest.approx(usual, abs=0.0025)
