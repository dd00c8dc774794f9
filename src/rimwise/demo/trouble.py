"""What makes real photographs hard: edges that are missing or doubled, texture, odd light, cases.

Everything here is off by default, so that a scene shows only what it says.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import FloatArray

SOFT_DEG = 4.0  # over which an arc fades in and out


@dataclass(frozen=True, slots=True)
class Arc:
    """Directions about the optic's centre: the middle one and half the width, degrees."""

    middle_deg: float
    half_deg: float

    def share(self, at_deg: FloatArray) -> FloatArray:
        """How much of each direction lies in the arc, with soft ends?

        Examples
        --------
        >>> Arc(350.0, 20.0).share(np.array([5.0, 180.0])).round(2).tolist()
        [0.92, 0.0]
        """
        away = np.abs((np.asarray(at_deg) - self.middle_deg + 180.0) % 360.0 - 180.0)
        return np.asarray(1.0 / (1.0 + np.exp((away - self.half_deg) / (0.5 * SOFT_DEG))))


@dataclass(frozen=True, slots=True)
class Haze:
    """A sector of the rear capsule that is opaque: from, to (counter-clockwise), veil in [0, 1]."""

    from_deg: float
    to_deg: float
    veil: float


@dataclass(frozen=True, slots=True)
class Trouble:
    """What may go wrong in a photograph of an eye with an implant.

    Parameters
    ----------
    gaps : tuple of Arc
        Where the opening's edge fades away.
    fibrosis_arc : Arc or None
        Where the edge is whitened; None is all round.
    second_rim, second_rim_px : float
        Darkness of a second line inside the optic's rim, and how far inside.
    mesh : float
        Strength of the rear capsule's fine texture.
    slope : float
        How much darker the red reflex is at one side than in the middle.
    hazes : tuple of Haze
        Opaque sectors of the rear capsule.
    gains_rgb : tuple of float
        Colour cast.
    monochrome : bool
        No colour at all.
    compressed : bool
        The pixels have been through the camera's JPEG.
    ring_radii_mm : tuple of float
        Steps of a diffractive optic.
    laser_radius_mm : float or None
        Ragged opening cut into the rear capsule, about ``laser_centre_mm``.
    captured : bool
        The optic stands before the opening's edge: nothing of it is covered.
    """

    gaps: tuple[Arc, ...] = ()
    fibrosis_arc: Arc | None = None
    second_rim: float = 0.0
    second_rim_px: float = 9.0
    mesh: float = 0.0
    slope: float = 0.0
    hazes: tuple[Haze, ...] = ()
    gains_rgb: tuple[float, float, float] = (1.0, 1.0, 1.0)
    monochrome: bool = False
    compressed: bool = False
    ring_radii_mm: tuple[float, ...] = ()
    laser_radius_mm: float | None = None
    laser_centre_mm: tuple[float, float] = (0.0, 0.0)
    captured: bool = False

    def edge_left(self, at_deg: FloatArray) -> FloatArray:
        """How much of the opening's edge is left in these directions? 1 all, 0 none."""
        left = np.ones_like(np.asarray(at_deg, dtype=np.float64))
        for gap in self.gaps:
            left *= 1.0 - gap.share(at_deg)
        return left
