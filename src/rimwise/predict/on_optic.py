"""Where on the optic does the light of each place of the pupil pass?"""

from dataclasses import dataclass

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.pose import Vec3
from rimwise.optics.rays import rays
from rimwise.optics.system import System
from rimwise.optics.trace import trace
from rimwise.optics.zernike import basis
from rimwise.predict.sight import LineOfSight
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused

_ORDER = 6
_RINGS, _SPOKES = 12, 24
_REACH = 1.08


@dataclass(frozen=True, slots=True)
class OnOptic:
    """From places in the entrance pupil to places on the optic's front, by polynomials.

    Parameters
    ----------
    modes : array, shape (modes, 2)
        Of the optic's own x and y, mm, over a disc a little larger than the pupil.
    radius_mm : float
        Of the pupil.
    """

    modes: FloatArray
    radius_mm: float

    @property
    def scale(self) -> float:
        """How long is a small step of the pupil on the optic?"""
        step = self.at(np.array([0.01, -0.01]), np.zeros(2))
        return float(np.hypot(*(step[0] - step[1]))) / (0.02 * self.radius_mm)

    def at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return (..., 2) mm from the optic's axis; x and y in radii of the pupil."""
        flat = basis(_ORDER, np.ravel(x) / _REACH, np.ravel(y) / _REACH) @ self.modes
        return np.asarray(flat.reshape(*np.shape(x), 2))


def on_optic(model: EyeModel, fovea_mm: Vec3, pupil_mm: float, sight: LineOfSight) -> OnOptic:
    """Where does the light of this pupil pass the front of the implant?

    Light is traced from the fovea, as if the optic had no rim, out to the entrance pupil's plane.

    Examples
    --------
    >>> from rimwise.eye.build import eye_model
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.sight import line_of_sight
    >>> eye = eye_model(eye_record(Known("right", "implant", axial_mm=23.6)))
    >>> fovea = (0.0, 0.0, -eye.retina_depth_mm)
    >>> there = on_optic(eye, fovea, 4.0, line_of_sight(eye, fovea))
    >>> rim = there.at(np.array([1.0]), np.array([0.0]))
    >>> bool(1.5 < rim[0, 0] < 1.9)
    True
    """
    radius = 0.5 * pupil_mm
    reach = _REACH * radius
    r = np.sqrt((np.arange(_RINGS) + 0.5) / _RINGS)
    turn = 2.0 * np.pi * np.arange(_SPOKES) / _SPOKES
    x, y = np.outer(r, np.cos(turn)).ravel(), np.outer(r, np.sin(turn)).ravel()
    slopes = sight.slopes + reach * np.column_stack([x, y]) @ np.linalg.inv(sight.by_slope).T
    start = rays(np.array(fovea_mm), np.column_stack([slopes, np.ones(len(slopes))]))
    outward = model.refracting.reversed().unclipped()
    count = sum(part.of_lens for part in model.parts)
    inside = trace(System(outward.steps[:count], outward.start), start, engine="numpy")
    front = next(part for part in model.placed if part.role == "lens front")
    local = front.surface.pose.inward(inside.positions_mm)[:, :2]
    left = trace(outward, start, engine="numpy")
    along = (
        (sight.origin_mm - left.positions_mm) @ sight.axes[2] / (left.directions @ sight.axes[2])
    )
    there = left.positions_mm + along[:, None] * left.directions - sight.origin_mm
    seen = there @ sight.axes[:2].T / reach
    if not (np.isfinite(local).all() and np.isfinite(seen).all()):
        raise MeasurementRefused(
            "pupil-beyond-optic",
            "Where the light of a pupil meets this optic cannot be told, since some of it misses "
            "the optic where it stands; check the placement.",
        )
    modes = np.linalg.lstsq(basis(_ORDER, seen[:, 0], seen[:, 1]), local, rcond=None)[0]
    return OnOptic(np.asarray(modes, dtype=np.float64), radius)
