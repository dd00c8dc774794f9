"""Profiles of implants against closed forms of scalar diffraction.

Sources: the efficiency of a straight (blazed) profile of α waves in its order m is sinc²(α - m),
and a profile of two equal halves φ apart holds cos²(φ/2) in the zeroth and sinc²(m/2) sin²(φ/2)
in the odd orders (J. W. Goodman, Introduction to Fourier Optics, thin gratings; the integrals are
elementary and worked out again here). Zones end at r = √(2 k λ / A) (Fresnel's zones).
"""

import numpy as np
import pytest

from rimwise.predict.profile import orders, path_um, zone_radii_mm
from rimwise.records.implant_profile import ImplantProfile

NM = 555.0


def of_period(*samples: tuple[float, float], add_dpt: float = 3.0) -> ImplantProfile:
    return ImplantProfile("diffractive", (), samples, add_dpt, NM)


def shares_of_samples(profile: ImplantProfile, relief: float, nm: float) -> dict[int, float]:
    """Orders from the sampled profile itself, by a transform of many periods over r²."""
    periods, each = 8, 4096
    period = 2e-3 * NM / abs(profile.add_dpt or 1.0)
    r = np.sqrt((np.arange(periods * each) + 0.5) / each * period)
    field = np.exp(2j * np.pi * path_um(profile, r, relief) / (1e-3 * nm))
    kept = np.abs(np.fft.fft(field) / field.size) ** 2
    # exp(-2πi u) is the first order: more delay in the middle is more power.
    return {m: float(kept[(-periods * m) % field.size]) for m in range(-4, 5)}


@pytest.mark.parametrize("waves", [0.25, 0.5, 0.7, 1.0, 1.5])
@pytest.mark.parametrize("nm", [450.0, 555.0, 650.0])
def test_a_straight_profile_shares_light_as_sinc_squared(waves: float, nm: float) -> None:
    straight = of_period((0.0, waves), (1.0, 0.0))
    sampled = shares_of_samples(straight, 1.0, nm)
    for one in orders(straight, nm):
        expected = np.sinc(waves * NM / nm - one.number) ** 2
        # 1e-3 is what a reader of two decimals may trust; the closed form itself is exact.
        assert one.efficiency == pytest.approx(expected, abs=1e-12)
        assert sampled[one.number] == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("waves", [0.25, 0.4, 0.5])
def test_a_binary_profile_shares_light_as_sinc_squared(waves: float) -> None:
    binary = of_period((0.0, waves), (0.5, waves), (0.5, 0.0), (1.0, 0.0))
    sampled = shares_of_samples(binary, 1.0, NM)
    for one in orders(binary):
        m = one.number
        expected = (
            np.cos(np.pi * waves) ** 2
            if m == 0
            else (m % 2) * np.sinc(m / 2) ** 2 * np.sin(np.pi * waves) ** 2
        )
        assert one.efficiency == pytest.approx(expected, abs=1e-12)
        assert sampled[m] == pytest.approx(expected, abs=1e-3)


def test_three_foci_of_any_period_hold_what_its_samples_hold() -> None:
    period = ((0.0, 0.62), (0.4, 0.25), (0.4, 0.5), (1.0, 0.0))
    profile = of_period(*period, add_dpt=1.75)
    sampled = shares_of_samples(profile, 1.03, 500.0)
    found = orders(profile, 500.0, 1.03, 400)
    for one in found:
        if abs(one.number) <= 4:
            assert one.efficiency == pytest.approx(sampled[one.number], abs=1e-3)
    # All orders together hold all the light; a step leaves at most 1 / (π m)² to the order m, and
    # the two steps here at most 5e-4 to all beyond the 400th.
    assert sum(one.efficiency for one in found) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("add_dpt", [1.5, 3.0, -2.0])
def test_foci_lie_where_the_zone_formula_says(add_dpt: float) -> None:
    profile = of_period((0.0, 0.5), (1.0, 0.0), add_dpt=add_dpt)
    if add_dpt < 0.0:
        profile = of_period((0.0, 0.0), (1.0, 0.5), add_dpt=add_dpt)
    radii = zone_radii_mm(profile, 12)
    assert radii == pytest.approx(np.sqrt(2e-3 * NM * np.arange(1, 13) / abs(add_dpt)), rel=1e-12)
    # The field on the axis behind further power: light gathers at the add. Written as a sum over
    # r², where a round pupil has equal areas; over 400 periods the other order's side lobes move
    # the top by no more than a thousandth.
    square = (np.arange(40_000) + 0.5) / 100 * (radii[0] ** 2)
    delay = path_um(profile, np.sqrt(square))
    powers = add_dpt * np.linspace(0.99, 1.01, 81)
    kept = np.array([
        abs(np.mean(np.exp(2j * np.pi * (delay + 0.5 * p * square) / (1e-3 * NM)))) ** 2
        for p in powers
    ])  # fmt: skip
    assert powers[np.argmax(kept)] == pytest.approx(add_dpt, rel=1e-3)
    assert kept.max() == pytest.approx(np.sinc(0.5) ** 2, abs=1e-3)
    assert next(o.power_dpt for o in orders(profile) if o.number == 1) == add_dpt
    assert next(o.power_dpt for o in orders(profile, 650.0) if o.number == 1) == pytest.approx(
        add_dpt * 650.0 / 555.0
    )


def test_an_apodised_height_fades_and_a_profile_ends() -> None:
    period = ((0.0, 0.5), (1.0, 0.0))
    faded = ImplantProfile("diffractive", (), period, 3.0, NM, None, (0.5, 2.0))
    plain = of_period(*period)
    r = np.array([0.3, 1.25, 2.1])
    ratio = path_um(faded, r) / path_um(plain, r)
    assert ratio == pytest.approx([1.0, 0.5, 0.0], abs=1e-12)
    ended = ImplantProfile("diffractive", (), period, 3.0, NM, 3.2)
    assert path_um(ended, np.array([1.61, 2.5])).tolist() == [0.0, 0.0]
