"""Points behind the cornea as a camera sees them, with the compiled kernel; for many frames."""

import numpy as np

from rimwise.eye.camera import Camera, eye_from_world, eye_rotation
from rimwise.eye.model import EyeModel
from rimwise.purkinje.flat import flat_eye
from rimwise.purkinje.kernel import RAY, STATUS, U
from rimwise.purkinje.scene import THROUGH
from rimwise.records.eye import EyePose
from rimwise.terms.arrays import FloatArray


def seen_through(
    model: EyeModel, pose: EyePose, camera: Camera, points_mm: FloatArray
) -> FloatArray:
    """Under which slopes does the camera see points behind the cornea?

    The same as :meth:`rimwise.eye.seen.Sight.project` solves, twenty times faster once the
    compiler is loaded.

    Parameters
    ----------
    model : EyeModel
        Its cornea of conics and biconics.
    pose : EyePose
    camera : Camera
    points_mm : array, shape (n, 3)
        In the eye's frame.

    Returns
    -------
    array, shape (n, 2)
        NaN where no line of sight reaches the point.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye, camera = schematic_model(schematic_eye("legrand")), Camera.in_front(200.0)
    >>> slopes = seen_through(eye, EyePose(), camera, np.array([[2.5, 0.0, -3.6]]))
    >>> round(float(camera.px_from_slopes(slopes)[0, 0]), 3)
    2.753
    """
    from rimwise.purkinje.compiled import follow  # noqa: PLC0415 - takes a second

    flat, turn, n = flat_eye(model), eye_rotation(pose), len(points_mm)
    view = np.zeros(14)
    view[:3] = eye_from_world(pose, np.array(camera.place_mm))
    axes = (turn.T @ np.array(camera.axes)).T
    view[3:12] = axes.ravel()
    view[12], view[13] = -model.stop_depth_mm, flat.corneal
    found = np.zeros((n + 1, RAY))
    local = (points_mm - view[:3]) @ axes.T
    found[:n, U : U + 2] = local[:, :2] / -local[:, 2:]
    moves = np.zeros((n, 1, 2))
    targets = np.ascontiguousarray(points_mm, dtype=np.float64)[None]
    follow(view[None], targets, flat.surfaces[None].copy(), np.full(n, THROUGH), found, moves)
    return np.where(found[:n, STATUS, None] == 0.0, found[:n, U : U + 2], np.nan)
