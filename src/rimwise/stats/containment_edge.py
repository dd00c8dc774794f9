"""How likely does a given, not quite round edge lie inside the optic when its centre scatters?"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.stats.quadrature import panel_nodes
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import WrongInput

_REACH = 9.0  # sd; a normal law leaves 2e-19 beyond
_FINER = 4  # points between the given directions, so that the farthest one is not missed
_PANELS, _NODES = 32, 8  # a change of the touching point bends the integrand: short panels
_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class CentringLaw:
    """Normal law of the opening's centre from the optic's, independent in two axes, mm.

    Parameters
    ----------
    sd_mm : (float, float)
        0 or more.
    bias_mm : (float, float)
    """

    sd_mm: tuple[float, float]
    bias_mm: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        numbers = (*self.sd_mm, *self.bias_mm)
        if not all(math.isfinite(number) for number in numbers) or min(self.sd_mm) < 0.0:
            raise WrongInput(f"a centring law needs finite numbers with sd >= 0, got {numbers}")


def p_contained_edge(
    optic_radius_mm: float, edge_radii_mm: FloatArray, law: CentringLaw, margin_mm: float = 0.0
) -> float:
    """How likely does an edge of this shape lie wholly inside the optic, with a margin?

    Parameters
    ----------
    optic_radius_mm : float
        Above 0.
    edge_radii_mm : array, shape (n,), n >= 8
        Radius of the edge about the opening's centre in n equal steps from 0°.
    law : CentringLaw
        Of that centre about the optic's centre.
    margin_mm : float
        Cover that must remain everywhere.

    Notes
    -----
    The offsets that keep every edge point inside form a convex region (the common part of one
    disc per point). It is cut into chords along the wider axis: the normal law is closed along a
    chord and integrated by quadrature across them (own derivation).

    Examples
    --------
    >>> law = CentringLaw((0.2, 0.2), (0.3, 0.0))
    >>> round(p_contained_edge(3.0, np.full(360, 2.5), law), 5)
    0.76787
    """
    radii = np.asarray(edge_radii_mm, dtype=np.float64)
    if radii.ndim != 1 or len(radii) < 8 or not (np.isfinite(radii) & (radii > 0.0)).all():
        raise WrongInput(f"an edge is a row of at least 8 radii above 0 mm, got {radii.shape}")
    if not optic_radius_mm > 0.0 or not math.isfinite(margin_mm):
        raise WrongInput("the optic's radius must be above 0 mm and the margin finite")
    narrow = int(law.sd_mm[1] < law.sd_mm[0])
    points = _edge_points(radii)
    region = _Region(points[:, narrow], points[:, 1 - narrow], optic_radius_mm - margin_mm)
    sd, bias = law.sd_mm[narrow], law.bias_mm[narrow]
    wide_sd, wide_bias = law.sd_mm[1 - narrow], law.bias_mm[1 - narrow]
    if region.radius <= 0.0:
        return 0.0
    if sd == 0.0:
        return float(_along(region, np.array([bias]), wide_sd, wide_bias)[0])
    ends = region.ends()
    if ends is None:
        return 0.0
    # x = middle + half·sin α: the chords close like a square root at both ends of the region.
    middle, half = 0.5 * (ends[0] + ends[1]), 0.5 * (ends[1] - ends[0])
    reach = bias + sd * np.array([-_REACH, _REACH])
    span = np.arcsin(np.clip((reach - middle) / half, -1.0, 1.0)) if half > 0.0 else np.zeros(2)
    alpha, weight = panel_nodes(np.linspace(span[0], span[1], _PANELS + 1), _NODES)
    x = middle + half * np.sin(alpha)
    density = np.exp(-0.5 * ((x - bias) / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))
    chords = _along(region, x, wide_sd, wide_bias)
    return min(1.0, float(weight @ (half * np.cos(alpha) * density * chords)))


def _edge_points(radii: FloatArray) -> FloatArray:
    """Edge points (n · _FINER, 2): local cubic between the given directions."""
    before, after, second = np.roll(radii, 1), np.roll(radii, -1), np.roll(radii, -2)
    t = np.arange(_FINER)[:, None] / _FINER
    slope, next_slope = 0.5 * (after - before), 0.5 * (second - radii)
    finer = (
        radii * (1 + 2 * t) * (1 - t) ** 2
        + after * t * t * (3 - 2 * t)
        + t * (1 - t) * (slope * (1 - t) - next_slope * t)
    ).T.ravel()
    angles = np.arange(len(finer)) * (2.0 * math.pi / len(finer))
    return np.stack([finer * np.cos(angles), finer * np.sin(angles)], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class _Region:
    """Offsets that keep every edge point (x, y) within ``radius`` of the optic's centre."""

    x: FloatArray
    y: FloatArray
    radius: float

    def chords(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lower and upper end of the region along y at these x offsets; lower > upper if none."""
        square = self.radius**2 - (at[:, None] + self.x) ** 2
        inside: BoolArray = np.asarray(square.min(axis=1) >= 0.0)
        root = np.sqrt(np.clip(square, 0.0, None))
        low, high = (-self.y - root).max(axis=1), (-self.y + root).min(axis=1)
        return np.where(inside, low, 1.0), np.where(inside, high, -1.0)

    def ends(self) -> tuple[float, float] | None:
        """Smallest and largest x offset of the region; None if it is empty."""
        low, high = float(-self.radius - self.x.min()), float(self.radius - self.x.max())
        if low > high:
            return None
        # The chord is a concave function of x: thirds close in on its longest place.
        first, last = low, high
        for _ in range(2 * _HALVINGS):
            inner = np.array([first + (last - first) / 3.0, last - (last - first) / 3.0])
            below, above = self.chords(inner)
            length = above - below
            first, last = (inner[0], last) if length[0] < length[1] else (first, inner[1])
        best = 0.5 * (first + last)
        if not self._is_met(best):
            return None
        return self._closes(best, low), self._closes(best, high)

    def _is_met(self, at: float) -> bool:
        below, above = self.chords(np.array([at]))
        return bool(below[0] <= above[0])

    def _closes(self, inside: float, outside: float) -> float:
        if self._is_met(outside):
            return outside
        for _ in range(_HALVINGS):
            middle = 0.5 * (inside + outside)
            inside, outside = (middle, outside) if self._is_met(middle) else (inside, middle)
        return inside


def _along(region: _Region, at: FloatArray, sd: float, bias: float) -> FloatArray:
    """Probability of the offset's wide component inside the chord at each narrow component."""
    from scipy.special import ndtr  # noqa: PLC0415  scipy is loaded late

    low, high = region.chords(at)
    if sd == 0.0:
        return np.asarray(((low <= bias) & (bias <= high)).astype(np.float64))
    # From the nearer tail, so that no digits are lost far out.
    sign = np.where(low > bias, -1.0, 1.0)
    first, second = sign * (low - bias) / sd, sign * (high - bias) / sd
    inside = np.where(sign > 0.0, ndtr(second) - ndtr(first), ndtr(first) - ndtr(second))
    return np.where(low <= high, inside, 0.0)
