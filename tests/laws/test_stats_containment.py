"""Laws of containment, and drawn openings as the second route."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwise.stats.containment import (
    ContainmentSpec,
    largest_opening_mm,
    p_contained,
    p_contained_by_magnitude,
    p_not_contained,
)
from rimwise.stats.containment_edge import CentringLaw, p_contained_edge
from rimwise.stats.sampling import stream
from rimwise.terms.errors import WrongInput

SDS = st.one_of(st.just(0.0), st.floats(0.01, 0.5))
BIASES = st.floats(-0.4, 0.4)
DRAWS = 200_000


@st.composite
def specs(draw):
    return ContainmentSpec(
        draw(st.floats(5.0, 7.0)),
        draw(st.floats(4.0, 6.0)),
        draw(SDS),
        (draw(SDS), draw(SDS)),
        (draw(BIASES), draw(BIASES)),
        draw(st.floats(0.0, 0.3)),
    )


# Two quadratures with other panels: each is good to 1e-12, a step function to rounding.
SLIP = 1e-10


@given(specs(), st.floats(0.0, 0.5))
def test_never_likelier_when_the_opening_or_the_margin_grows(spec, more):
    larger = replace(spec, opening_mean_mm=spec.opening_mean_mm + more)
    stricter = replace(spec, margin_mm=spec.margin_mm + more)
    assert p_contained(larger) <= p_contained(spec) + SLIP
    assert p_contained(stricter) <= p_contained(spec) + SLIP
    assert p_contained(replace(spec, optic_diameter_mm=spec.optic_diameter_mm + more)) >= (
        p_contained(spec) - SLIP
    )


@given(specs(), st.floats(1.0, 2.0))
def test_never_likelier_when_centring_scatters_more_about_no_bias(spec, factor):
    """A law for bias 0 only: with a large bias more scatter may bring an opening back in."""
    centred = replace(spec, bias_mm=(0.0, 0.0))
    sd = centred.centring_sd_mm
    wider = replace(centred, centring_sd_mm=(sd[0] * factor, sd[1]))
    assert p_contained(wider) <= p_contained(centred) + SLIP


@given(specs())
def test_the_two_chances_add_up(spec):
    assert p_contained(spec) + p_not_contained(spec) == pytest.approx(1.0, abs=1e-11)
    assert 0.0 <= p_contained(spec) <= 1.0
    assert 0.0 <= p_not_contained(spec) <= 1.0


@given(specs())
def test_mirrored_or_with_axes_exchanged_it_is_the_same(spec):
    (sx, sy), (bx, by) = spec.centring_sd_mm, spec.bias_mm
    for other in (
        replace(spec, bias_mm=(-bx, by)),
        replace(spec, centring_sd_mm=(sy, sx), bias_mm=(by, bx)),
    ):
        assert p_contained(other) == pytest.approx(p_contained(spec), abs=1e-11)


def test_the_tail_keeps_its_digits():
    """Without bias and with a fixed size: exp(-M²/2σ²), far below 1e-16."""
    spec = ContainmentSpec(6.0, 5.0, 0.0, (0.02, 0.02))
    exact = math.exp(-0.5 * (0.5 / 0.02) ** 2)
    assert exact < 1e-130
    assert p_not_contained(spec) == pytest.approx(exact, rel=1e-9)
    unequal = replace(spec, centring_sd_mm=(0.02, 0.02 * (1.0 + 1e-13)))
    # The route of unequal axes drops what lies beyond 9 sd of the narrow axis: 2e-19 absolute.
    assert p_not_contained(unequal) == pytest.approx(exact, abs=3e-19)


def test_degenerate_laws():
    fixed = ContainmentSpec(6.0, 5.0, 0.0, (0.0, 0.0), (0.3, 0.4))
    assert p_contained(fixed) == 1.0  # |offset| = 0.5 = slack: touching is still contained
    assert p_contained(replace(fixed, margin_mm=0.001)) == 0.0
    only_size = replace(fixed, opening_sd_mm=0.2, margin_mm=0.1)
    # R ~ N(0.4, 0.1²) against an offset of 0.5: Φ(-1).
    assert p_contained(only_size) == pytest.approx(0.15865525393145707, abs=1e-14)
    line = ContainmentSpec(6.0, 5.0, 0.0, (0.0, 0.2), (0.3, 0.0))
    # |y| <= 0.4 = 2 sd.
    assert p_contained(line) == pytest.approx(math.erf(2.0 / math.sqrt(2.0)), abs=1e-14)


@pytest.mark.parametrize("narrow", [1e-4, 1e-6, 1e-9])
def test_a_vanishing_axis_leads_to_no_axis(narrow):
    spec = ContainmentSpec(6.0, 5.2, 0.3, (0.0, 0.3), (0.2, 0.1))
    near = replace(spec, centring_sd_mm=(narrow, 0.3))
    # The limit is approached in proportion to the axis, with a density of order 1 per mm.
    assert p_contained(near) == pytest.approx(p_contained(spec), abs=narrow + 1e-12)


@pytest.mark.parametrize(
    "spec",
    [
        ContainmentSpec(6.0, 5.2, 0.15, (0.2, 0.1), (0.1, -0.05)),
        ContainmentSpec(6.0, 5.2, 0.6, (0.2, 0.03), (0.1, -0.05), 0.1),
        ContainmentSpec(6.0, 5.9, 0.3, (0.1, 0.3), (0.0, 0.1)),
        ContainmentSpec(5.5, 5.0, 0.0, (0.0, 0.2), (0.05, 0.05)),
        ContainmentSpec(6.0, 5.0, 0.3, (0.25, 0.25), (0.1, 0.2), 0.05),
    ],
)
def test_drawn_openings_agree(spec):
    generator = stream(20, "containment")
    offset = spec.bias_mm + generator.standard_normal((DRAWS, 2)) * spec.centring_sd_mm
    diameter = spec.opening_mean_mm + spec.opening_sd_mm * generator.standard_normal(DRAWS)
    inside = np.hypot(*offset.T) + 0.5 * diameter + spec.margin_mm <= 0.5 * spec.optic_diameter_mm
    expected = p_contained(spec)
    error = math.sqrt(expected * (1.0 - expected) / DRAWS)
    assert abs(inside.mean() - expected) <= 4.0 * error


@given(specs(), st.floats(0.05, 0.99))
def test_the_largest_opening_has_the_wanted_chance(spec, wanted):
    if max(*spec.centring_sd_mm, spec.opening_sd_mm) == 0.0:
        return
    fixed_size = spec.opening_sd_mm == 0.0 and min(spec.centring_sd_mm) == 0.0
    diameter = largest_opening_mm(spec, wanted)
    # Solved to 1e-10 mm; where a bias along a missing axis shuts the way the chance leaps.
    found = p_contained(replace(spec, opening_mean_mm=diameter))
    if not fixed_size:
        assert found == pytest.approx(wanted, abs=1e-7)


@given(specs())
def test_a_round_edge_is_a_circle(spec):
    if spec.opening_mean_mm / 2.0 + spec.margin_mm >= spec.optic_diameter_mm / 2.0:
        return
    spec = replace(spec, opening_sd_mm=0.0)
    if 0.0 in spec.centring_sd_mm:
        return
    edge = np.full(360, 0.5 * spec.opening_mean_mm)
    law = CentringLaw(spec.centring_sd_mm, spec.bias_mm)
    found = p_contained_edge(0.5 * spec.optic_diameter_mm, edge, law, spec.margin_mm)
    # 1440 points stand for the edge: the farthest is missed by up to 0.5 mm · 0.002² / 2 = 1 nm,
    # against a density of up to 1/(2 sd) = 50 per mm.
    assert found == pytest.approx(p_contained(spec), abs=5e-5)


@pytest.mark.parametrize(
    "law",
    [CentringLaw((0.2, 0.12), (0.1, -0.15)), CentringLaw((0.0, 0.2), (0.1, 0.0))],
)
def test_a_lobed_edge_against_drawn_offsets(law):
    angles = np.radians(np.arange(360.0))
    radii = 2.6 + 0.1 * np.cos(2 * angles + 0.4) + 0.05 * np.cos(3 * angles)
    found = p_contained_edge(3.0, radii, law, 0.05)
    offset = law.bias_mm + stream(20, "edge").standard_normal((DRAWS // 4, 2)) * law.sd_mm
    farthest = np.zeros(len(offset))
    for x, y in zip(radii * np.cos(angles), radii * np.sin(angles), strict=True):
        np.maximum(farthest, np.hypot(offset[:, 0] + x, offset[:, 1] + y), out=farthest)
    error = math.sqrt(found * (1.0 - found) / len(offset))
    assert abs((farthest <= 2.95).mean() - found) <= 4.0 * error


def test_an_edge_that_never_fits_and_one_that_cannot_miss():
    angles = np.radians(np.arange(360.0))
    flat = 2.6 + 0.45 * np.cos(2 * angles)
    assert p_contained_edge(3.0, flat, CentringLaw((0.1, 0.1))) == 0.0
    assert p_contained_edge(3.0, flat - 0.5, CentringLaw((0.0, 0.0))) == 1.0
    assert p_contained_edge(3.0, flat, CentringLaw((0.1, 0.1)), 4.0) == 0.0


@given(st.floats(4.0, 5.9), st.floats(0.05, 0.5))
def test_the_magnitude_law_is_one_half_at_touching(diameter, decentration):
    optic = diameter + 2.0 * decentration
    touching = p_contained_by_magnitude(optic, (diameter, 0.1), (decentration, 0.1))
    assert touching == pytest.approx(0.5, abs=1e-12)


def test_wrong_laws_are_refused():
    with pytest.raises(WrongInput, match="0 mm or more"):
        ContainmentSpec(6.0, 5.0, -0.1, (0.1, 0.1))
    with pytest.raises(WrongInput, match="finite"):
        ContainmentSpec(6.0, math.nan, 0.1, (0.1, 0.1))
    with pytest.raises(WrongInput, match="above 0 mm"):
        ContainmentSpec(0.0, 5.0, 0.1, (0.1, 0.1))
    with pytest.raises(WrongInput, match="sd >= 0"):
        CentringLaw((-0.1, 0.1))
    with pytest.raises(WrongInput, match="8 radii"):
        p_contained_edge(3.0, np.zeros(360), CentringLaw((0.1, 0.1)))
    with pytest.raises(WrongInput, match="between 0 and 1"):
        largest_opening_mm(ContainmentSpec(6.0, 5.0, 0.1, (0.1, 0.1)), 1.0)


@pytest.mark.parametrize("sd", [5e-324, 1e-310, 1e-200, 1e-30])
@pytest.mark.parametrize("law", [(1, 1, 0), (1, 0, 0), (0, 1, 0), (1, 1, 1), (0, 0, 1)])
def test_scatters_too_small_to_square_count_as_none(sd, law):
    """The limit is the law without that scatter; nothing overflows on the way."""
    tiny = ContainmentSpec(6.0, 5.0, sd * law[2], (sd * law[0], sd * law[1]), (0.3, 0.0))
    beside = replace(tiny, bias_mm=(0.6, 0.0))
    assert p_contained(tiny) == 1.0
    assert p_contained(beside) == 0.0
