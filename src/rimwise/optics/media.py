"""What light travels in: a uniform medium is its index, a gradient an index by position."""

import math
from dataclasses import dataclass, field

import numpy as np

from rimwise.optics.pose import Pose
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Gradient:
    """A medium whose index is a polynomial in r² = x² + y² and z of its own frame.

    Parameters
    ----------
    terms : tuple of (i, j, factor)
        n = Σ factor · r^(2i) · z^j; factors in mm^-(2i + j).
    pose : Pose
        Where the medium's own frame stands.
    semi_diameter_mm : float
        Half the width within which the polynomial holds.
    z_limits_mm : tuple of 2 floats
        Least and largest z, in the own frame, at which it holds.
    name : str
        For people.

    Examples
    --------
    >>> lens = Gradient(((0, 0, 1.407), (1, 0, -0.001978)))
    >>> round(lens.index_on_axis(0.0), 6)
    1.407
    """

    terms: tuple[tuple[int, int, float], ...]
    pose: Pose = field(default_factory=Pose)
    semi_diameter_mm: float = math.inf
    z_limits_mm: tuple[float, float] = (-math.inf, math.inf)
    name: str = ""

    def __post_init__(self) -> None:
        if not self.terms or any(i < 0 or j < 0 or not math.isfinite(f) for i, j, f in self.terms):
            raise WrongInput(
                f"the gradient {self.name!r} has terms {self.terms}; each needs whole powers "
                "of 0 or more and a finite factor"
            )
        if not (self.semi_diameter_mm > 0.0 and self.z_limits_mm[0] < self.z_limits_mm[1]):
            raise WrongInput(
                f"the gradient {self.name!r} has semi_diameter_mm = {self.semi_diameter_mm}, "
                f"z_limits_mm = {self.z_limits_mm}; give a width above 0 and limits in order"
            )

    def placed(self, pose: Pose) -> "Gradient":
        """Return the same medium standing elsewhere."""
        return Gradient(self.terms, pose, self.semi_diameter_mm, self.z_limits_mm, self.name)

    def index(self, points_mm: FloatArray) -> FloatArray:
        """Return the index at points of the medium's own frame, shape (..., 3)."""
        return self.index_and_slope(points_mm)[0]

    def index_and_slope(self, points_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the index, shape (...), and its gradient, shape (..., 3), in the own frame."""
        x, y, z = points_mm[..., 0], points_mm[..., 1], points_mm[..., 2]
        r2 = x * x + y * y
        index, by_r2, by_z = np.zeros_like(z), np.zeros_like(z), np.zeros_like(z)
        for i, j, factor in self.terms:
            radial, axial = r2**i, z**j
            index += factor * radial * axial
            if i:
                by_r2 += factor * i * r2 ** (i - 1) * axial
            if j:
                by_z += factor * j * radial * z ** (j - 1)
        return index, np.stack([2.0 * x * by_r2, 2.0 * y * by_r2, by_z], axis=-1)

    def index_on_axis(self, z_mm: float) -> float:
        """Return the index at height z on the medium's own axis."""
        return math.fsum(f * z_mm**j for i, j, f in self.terms if i == 0)

    def holds(self, points_mm: FloatArray, slack_mm: float = 0.0) -> BoolArray:
        """Return which points of the own frame lie where the polynomial holds."""
        x, y, z = points_mm[..., 0], points_mm[..., 1], points_mm[..., 2]
        low, high = self.z_limits_mm
        inside = (x * x + y * y <= (self.semi_diameter_mm + slack_mm) ** 2) & (z >= low - slack_mm)
        return np.asarray(inside & (z <= high + slack_mm))


Medium = float | Gradient


def checked_index(index: float, where: str) -> float:
    """Return a uniform medium's index, or refuse one that no transparent medium has."""
    if not 1.0 <= index <= 5.0:
        raise WrongInput(f"the index {where} is {index}; a number from 1 to 5 is allowed")
    return float(index)
