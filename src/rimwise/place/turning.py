"""What turning the implant does for cover: only what was measured, and only beyond its ±.

Nobody knows the shape of a bag. Two pictures of one eye with the haptics at two angles are
evidence; a shape that somebody gives is a supposition, and its answer carries its ±.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwise.place.edge import Edge
from rimwise.records.cover import CoverFinding
from rimwise.records.placement import AngleGain, Turning
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

_Z95 = 1.959963984540054
_OTHER_ANGLE_DEG = 10.0  # haptics that differ by less are at the same angle
_TURNS = 180
DO_NOT_TURN = "no measurable gain: do not turn for cover"


def turning_from_pictures(now: CoverFinding, others: Sequence[CoverFinding]) -> Turning:
    """Did turning the implant help cover in this eye?

    Parameters
    ----------
    now : CoverFinding
        As the implant lies.
    others : sequence of CoverFinding
        The same eye and opening with the haptics at other angles.

    Returns
    -------
    Turning
        A gain only where its 95 % interval lies above zero.

    Examples
    --------
    >>> alone = CoverFinding("e.jpg", "0" * 64, "right", "implant", "measured")
    >>> turning_from_pictures(alone, []).code
    'bag-unknown'
    """
    if now.implant_toric_axis_deg is not None:
        return Turning(
            "toric",
            "The implant is toric: its axis stays where it is, and only its place is moved.",
            None,
        )
    here, axis = _least(now), now.haptic_axis_deg
    gains = () if here is None or axis is None else _gains(here, axis.value, others)
    if here is None or axis is None or not gains:
        return Turning(
            "bag-unknown",
            "No second picture shows the haptics at another angle, and the bag's shape is not "
            f"known; {DO_NOT_TURN}.",
            None,
        )
    best = max(gains, key=lambda one: one.gain_mm.value - _Z95 * one.gain_mm.sd)
    if best.gain_mm.value - _Z95 * best.gain_mm.sd <= 0.0:
        largest = max(gains, key=lambda one: one.gain_mm.value).gain_mm
        sentence = (
            f"The largest gain seen is {largest.value:.2f} ± {largest.sd:.2f} mm, and its interval "
            f"includes zero: {DO_NOT_TURN}."
        )
        return Turning("no-measurable-gain", sentence, None, gains)
    turn = _turn_deg(axis.value, best.haptic_axis_deg)
    sentence = (
        f"With the haptics at {best.haptic_axis_deg:.0f}° the least cover was "
        f"{best.gain_mm.value:.2f} ± {best.gain_mm.sd:.2f} mm more than now."
    )
    return Turning("gain", sentence, turn, gains)


def _least(finding: CoverFinding) -> Estimate | None:
    """Return the least cover; the optic's own diameter is the same in both and its ± cancels."""
    cover = finding.cover
    if cover is None or cover.min_mm is None:
        return None
    return cover.given_optic.get("min_mm", Estimate(cover.min_mm.value, cover.min_mm.sd))


def _gains(
    here: Estimate, axis_deg: float, others: Sequence[CoverFinding]
) -> tuple[AngleGain, ...]:
    found = []
    for other in others:
        least, axis = _least(other), other.haptic_axis_deg
        if least is None or axis is None or abs(_turn_deg(axis_deg, axis.value)) < _OTHER_ANGLE_DEG:
            continue
        gain = Estimate(least.value - here.value, math.hypot(least.sd, here.sd), "two pictures")
        found.append(AngleGain(axis.value, least, gain))
    return tuple(found)


def _turn_deg(start_deg: float, end_deg: float) -> float:
    """Return the smaller turn that brings one axis to the other, (-90, 90]."""
    turn = (end_deg - start_deg) % 180.0
    return turn - 180.0 if turn > 90.0 else turn


@dataclass(frozen=True, slots=True, eq=False)
class SupposedBag:
    """A bag's shape that somebody supposes.

    Parameters
    ----------
    radii_mm : array, shape (n,), n even
        In equal steps from 0° about any one point.
    sd_mm : float
        Of each radius.
    """

    radii_mm: FloatArray
    sd_mm: float

    def __post_init__(self) -> None:
        radii = np.asarray(self.radii_mm, dtype=np.float64)
        if radii.ndim != 1 or len(radii) < 8 or len(radii) % 2 or not (radii > 0.0).all():
            raise WrongInput(
                "a bag is an even number of at least 8 radii above 0 mm in equal steps, got "
                f"{radii.shape}"
            )

    def half_difference_mm(self, angles_rad: FloatArray) -> FloatArray:
        """By how much does the bag reach farther in these directions than in the opposite ones?"""
        radii = np.asarray(self.radii_mm, dtype=np.float64)
        odd = 0.5 * (radii - np.roll(radii, len(radii) // 2))
        at = np.asarray(angles_rad) * len(radii) / (2.0 * math.pi)
        return np.asarray(np.interp(at, np.arange(len(radii)), odd, period=len(radii)))


@dataclass(frozen=True, slots=True)
class SupposedTurn:
    """The best turn in a supposed bag; worth it only where gain - 1.96 sd is above zero."""

    turn_deg: float
    least_cover_mm: float
    gain_mm: Estimate

    @property
    def measurable(self) -> bool:
        """Return whether the gain's 95 % interval lies above zero."""
        return self.gain_mm.value - _Z95 * self.gain_mm.sd > 0.0


def best_turn_in_bag(edge: Edge, bag: SupposedBag, haptic_axis_deg: float) -> SupposedTurn:
    """Which turn of a two-haptic implant gives the most cover, were the bag of this shape?

    Parameters
    ----------
    edge : Edge
        About the optic as it lies now.
    bag : SupposedBag
    haptic_axis_deg : float
        As the haptics lie now.

    Notes
    -----
    Two equal springs hold the optic midway between the places where they touch the bag, so it
    moves along the haptics by half of what the bag reaches farther on one side (own derivation).
    A round or oval bag moves nothing.

    Examples
    --------
    >>> from rimwise.place.edge import edge_of_circle
    >>> round_bag = SupposedBag(np.full(360, 5.0), 0.1)
    >>> turn = best_turn_in_bag(edge_of_circle(5.0, (0.2, 0.0), 6.0), round_bag, 90.0)
    >>> turn.turn_deg, turn.gain_mm.value, turn.measurable
    (0.0, 0.0, False)
    """
    now = math.radians(haptic_axis_deg)
    angles = np.asarray(now + np.arange(_TURNS) * (math.pi / _TURNS), dtype=np.float64)
    along = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    held = bag.half_difference_mm(angles)[:, None] * along
    covers = edge.least_cover_mm(held - held[0])
    # Rounding makes no winner: the present angle stands unless another is truly better.
    best = int(np.argmax(covers)) if covers.max() > covers[0] + 1e-9 else 0
    sd = 0.0 if best == 0 else _gain_sd(edge, bag, (held - held[0])[best], along[[0, best]])
    gain = Estimate(float(covers[best] - covers[0]), sd, "a supposed bag")
    turn = _turn_deg(0.0, best * 180.0 / _TURNS)
    return SupposedTurn(turn, float(covers[best]), gain)


def _gain_sd(edge: Edge, bag: SupposedBag, centre: FloatArray, along: FloatArray) -> float:
    """Return the gain's sd from the bag's: each end of both angles errs by itself.

    What the optic's place at the present angle errs by shifts the place after the turn.
    """
    gap = edge.points_mm - centre
    reach = np.hypot(gap[:, 0], gap[:, 1])
    outward = gap[np.argmax(reach)] / reach.max()
    return bag.sd_mm / math.sqrt(2.0) * float(np.hypot(*(along @ outward)))
