"""Which refraction has an eye along a ray to the retina, however tilted its lens is?

Light from a point of the retina is traced out of the eye in a bundle so narrow that it is
paraxial about its own chief ray; its wavefront's curvatures at the corneal plane are the
refraction. Exact for small pupils; wide pupils need a wavefront.
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.rays import rays
from rimwise.optics.trace import trace
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.frames import axis_deg

# Slopes inside the eye: 0.002 mm at the cornea, where aberration of any pupil has vanished.
_NARROW = 1e-4
_TURNS = 30


@dataclass(frozen=True, slots=True)
class Refraction:
    """Sphere and minus cylinder at the corneal vertex.

    Parameters
    ----------
    sphere_dpt, cylinder_dpt : float
        The cylinder is 0 or negative.
    axis_deg : float or None
        None where the cylinder is below a millionth of a dioptre.
    """

    sphere_dpt: float
    cylinder_dpt: float
    axis_deg: float | None

    @property
    def mean_dpt(self) -> float:
        """The spherical equivalent."""
        return self.sphere_dpt + 0.5 * self.cylinder_dpt


def narrow_refraction(model: EyeModel, retina_mm: tuple[float, float]) -> Refraction:
    """Which refraction has this eye for light through the pupil's centre?

    Parameters
    ----------
    model : EyeModel
        Lens and pupil placed; with its retina.
    retina_mm : tuple of 2 floats
        Point of the retina's plane, x and y.

    Raises
    ------
    WrongInput
        If the eye has no retina, or no ray goes from there through the pupil's centre.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("gullstrand1909"))
    >>> found = narrow_refraction(eye, (0.0, 0.0))
    >>> round(found.mean_dpt, 3), found.axis_deg is None
    (1.008, True)
    """
    if model.retina_depth_mm is None:
        raise WrongInput(f"the eye {model.name!r} has no retina; give axial_mm")
    point = np.array([*retina_mm, -model.retina_depth_mm])
    chief = _chief(model, point)
    probes = _NARROW * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    places, ways = _out(model, point, chief + probes)
    # Across the chief ray, where it crosses the plane of the corneal vertex.
    axis = ways[0]
    right = np.cross([0.0, 1.0, 0.0], axis)
    right /= np.linalg.norm(right)
    frame = np.column_stack([right, np.cross(axis, right)])
    origin = places[0] - axis * (places[0, 2] / axis[2])
    along = (origin - places) @ axis / (ways @ axis)
    at = (places + along[:, None] * ways - origin) @ frame
    slope = (ways @ frame) / (ways @ axis)[:, None]
    by_place = np.column_stack([at[1] - at[2], at[3] - at[4]])
    by_slope = np.column_stack([slope[1] - slope[2], slope[3] - slope[4]])
    vergence = -1000.0 * by_slope @ np.linalg.inv(by_place)
    return _refraction(0.5 * (vergence + vergence.T))


def _chief(model: EyeModel, point: FloatArray) -> FloatArray:
    """Return the slopes, at the retina, of the ray that passes the centre of the pupil."""
    pupil = np.array([*model.pupil_mm, -model.stop_depth_mm])
    slopes = (pupil - point)[:2] / (pupil - point)[2]
    probes = _NARROW * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    steps = model.refracting.reversed().unclipped()
    lens = sum(part.of_lens for part in model.parts)
    for _ in range(_TURNS):
        ways = np.column_stack([slopes + probes, np.ones(5)])
        if lens:
            found = trace(
                type(steps)(steps.steps[:lens], steps.start), rays(point, ways), engine="numpy"
            )
            at, ways = found.positions_mm, found.directions
        else:
            at = np.broadcast_to(point, (5, 3))
        landed = at + ways * ((pupil[2] - at[:, 2]) / ways[:, 2])[:, None]
        gap = landed[:, :2] - pupil[:2]
        if not np.isfinite(gap).all():
            break
        if np.hypot(*gap[0]) < 1e-11:
            return np.asarray(slopes)
        by = np.column_stack([gap[1] - gap[2], gap[3] - gap[4]]) / (2.0 * _NARROW)
        slopes = slopes - np.linalg.solve(by, gap[0])
    raise WrongInput("no ray goes from that point of the retina through the pupil's centre")


def _out(model: EyeModel, point: FloatArray, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    ways = np.column_stack([slopes, np.ones(len(slopes))])
    found = trace(model.refracting.reversed().unclipped(), rays(point, ways), engine="numpy")
    if not found.ok.all():
        raise WrongInput("light from that point of the retina does not leave the eye")
    return found.positions_mm, found.directions


def _refraction(vergence_dpt: FloatArray) -> Refraction:
    """Turn the vergence of light that leaves the eye into what corrects it.

    Light that leaves converging (positive here) belongs to a short-sighted eye, whose correction
    is negative; ``vergence_dpt`` is minus the slope by place, so that it is the far point's.
    """
    values, vectors = np.linalg.eigh(-vergence_dpt)
    # Minus cylinder: the sphere is the more positive power, its meridian is the axis.
    sphere, cylinder = float(values[1]), float(values[0] - values[1])
    if abs(cylinder) < 1e-6:
        return Refraction(sphere, 0.0, None)
    x, y = vectors[:, 1]
    return Refraction(sphere, cylinder, axis_deg(math.degrees(math.atan2(y, x))))
