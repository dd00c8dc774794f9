"""How far is light ahead of a perfect wave? Path differences on a named reference surface.

Sign: positive where the wave is ahead, W = path of the chief ray - path of the ray. A wave that
is ahead towards +x heads towards -x. Light too strongly bent (a myopic eye) has positive Z(2, 0),
in the eye and, by the reversibility of light, in front of it. Own derivation.
"""

from dataclasses import dataclass

import numpy as np

from rimwise.optics.pose import Vec3
from rimwise.optics.rays import Rays
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

UM_PER_MM = 1000.0


@dataclass(frozen=True, slots=True)
class ReferenceSphere:
    """A perfect wave that heads for, or comes from, a point.

    Parameters
    ----------
    name : str
        What it stands for ("sphere about the fovea through the exit pupil").
    centre_mm : tuple of 3 floats
    through_mm : tuple of 3 floats
        A point of the sphere, as a rule the centre of the pupil.
    """

    name: str
    centre_mm: Vec3
    through_mm: Vec3

    def distance(self, rays: Rays) -> FloatArray:
        """Return how far along each ray the sphere is, mm; NaN where a ray passes it by."""
        centre, through = np.array(self.centre_mm), np.array(self.through_mm)
        to_ray = rays.positions_mm - centre
        along = np.einsum("ij,ij->i", to_ray, rays.directions)
        rest = np.einsum("ij,ij->i", to_ray, to_ray) - float(np.sum((through - centre) ** 2))
        # The same side of the centre, seen along the ray, as the point the sphere goes through.
        side = np.where(rays.directions @ (through - centre) >= 0.0, 1.0, -1.0)
        with np.errstate(invalid="ignore"):
            root = np.sqrt(along * along - rest)
        return np.asarray(side * root - along)


@dataclass(frozen=True, slots=True)
class ReferencePlane:
    """A perfect wave of one direction.

    Parameters
    ----------
    name : str
    through_mm : tuple of 3 floats
        As a rule the centre of the pupil.
    normal : tuple of 3 floats
        Direction in which a perfect wave travels.
    """

    name: str
    through_mm: Vec3
    normal: Vec3

    def distance(self, rays: Rays) -> FloatArray:
        """Return how far along each ray the plane is, mm."""
        normal = np.array(self.normal) / np.linalg.norm(self.normal)
        gap = (np.array(self.through_mm) - rays.positions_mm) @ normal
        return np.asarray(gap / (rays.directions @ normal))


Reference = ReferenceSphere | ReferencePlane


@dataclass(frozen=True, slots=True)
class PathDifference:
    """Samples of a wavefront error on a reference surface; NaN for rays that failed.

    Parameters
    ----------
    places_mm : array, shape (n, 3)
        Where the rays meet the reference, in the system's frame.
    error_um : array, shape (n,)
    reference : str
        The reference's name.
    """

    places_mm: FloatArray
    error_um: FloatArray
    reference: str


def path_difference(
    rays: Rays, reference: Reference, index: float, chief: int = 0
) -> PathDifference:
    """How far is each ray ahead of the chief ray on a reference surface?

    Parameters
    ----------
    rays : Rays
        Behind the last surface; they must have left one wavefront (a point, or a plane across
        their common direction), with their path lengths counted from there.
    reference : ReferenceSphere or ReferencePlane
    index : float
        Of the medium the rays are in.
    chief : int
        Which ray is the chief ray; its error is 0.

    Returns
    -------
    PathDifference

    Raises
    ------
    WrongInput
        If the chief ray did not come through.
    """
    if not rays.ok[chief]:
        raise WrongInput(
            f"the chief ray failed at step {int(rays.at_surface[chief])}; choose a source whose "
            "chief ray passes the system"
        )
    there = rays.advanced(reference.distance(rays), index)
    error = UM_PER_MM * (there.opl_mm[chief] - there.opl_mm)
    return PathDifference(there.positions_mm, error, reference.name)
