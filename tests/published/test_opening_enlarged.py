"""How much larger than the rim the opening is shown, by tracing rays through a whole eye.

Source: Navarro, Santamaría and Bescós 1985, J Opt Soc Am A 2:1273 (the schematic eye), traced by
the project's exact ray tracer with a camera 105 mm away; status: computed.
"""

from dataclasses import replace

import numpy as np
import pytest

from rimwise.demo.photos import PhotographedEye, opening_against_optic
from rimwise.demo.scene import RoundShape
from rimwise.measure.enlarged import enlarged
from rimwise.published.load import published_value

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
