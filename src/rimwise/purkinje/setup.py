"""What the eye is looked at with: a camera and its lamps."""

from dataclasses import dataclass

import numpy as np

from rimwise.eye.camera import Camera, eye_from_world, eye_rotation
from rimwise.optics.pose import Vec3, as_vec3
from rimwise.records.eye import EyePose
from rimwise.records.picture import Lamps
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class SetUp:
    """A camera and its lamps, in the world frame.

    Parameters
    ----------
    camera : Camera
    lamps_mm : tuple of 3-tuples
        Places of the lamps; none behind the camera.

    Examples
    --------
    >>> len(SetUp(Camera.in_front(200.0), ((8.0, 0.0, 200.0), (-8.0, 0.0, 200.0))).lamps_mm)
    2
    """

    camera: Camera
    lamps_mm: tuple[Vec3, ...]

    def __post_init__(self) -> None:
        if not self.lamps_mm:
            raise WrongInput("no lamp came, and a reflex is the image of one; give its place")
        back = np.array(self.camera.axes)[:, 2]
        for i, lamp in enumerate(self.lamps_mm):
            if not np.all(np.isfinite(lamp)):
                raise WrongInput(f"lamp {i} stands at {lamp} mm; give three finite numbers")
            behind_mm = float((np.array(lamp) - np.array(self.camera.place_mm)) @ back)
            if behind_mm > 1e-9 * self.camera.focus_mm:
                raise WrongInput(
                    f"lamp {i} stands {behind_mm:.6g} mm behind the camera's entrance pupil, and "
                    "0 or less is allowed; check plane_mm (distance towards the eye)"
                )

    def seen_from(self, pose: EyePose) -> tuple[FloatArray, FloatArray]:
        """Return camera (14 numbers, the last two left 0) and lamps (n, 3) in the eye's frame."""
        turn = eye_rotation(pose)
        view = np.zeros(14)
        view[:3] = eye_from_world(pose, np.array(self.camera.place_mm))
        view[3:12] = (turn.T @ np.array(self.camera.axes)).T.ravel()
        return view, eye_from_world(pose, np.array(self.lamps_mm))


def set_up(camera: Camera, lamps: Lamps) -> SetUp:
    """Where do a sheet's lamps stand?

    Parameters
    ----------
    camera : Camera
        Its frame says how picture right and picture up lie to the examiner.
    lamps : Lamps
        From the sheet: picture right and up of the camera's axis, and how far in front.

    Raises
    ------
    WrongInput
        If the lamps stand behind the camera or not in front of the eye.

    Examples
    --------
    >>> found = set_up(Camera.in_front(200.0), Lamps(((-8.3, 0.0), (8.3, 0.0)), 20.0))
    >>> [round(one, 9) + 0.0 for one in found.lamps_mm[0]]
    [-8.3, 0.0, 180.0]
    """
    if not 0.0 <= lamps.plane_mm < camera.focus_mm:
        raise WrongInput(
            f"[lamps] plane_mm is {lamps.plane_mm}; from 0 (beside the camera's entrance pupil) to "
            f"below {camera.focus_mm:g} mm (the eye) is allowed"
        )
    right_down = np.array([(x, -y) for x, y in lamps.places_mm], dtype=np.float64)
    across = camera.frame.examiner_from_picture(right_down)
    axes, place = np.array(camera.axes), np.array(camera.place_mm)
    local = np.column_stack([across, np.full(len(across), -lamps.plane_mm)])
    return SetUp(camera, tuple(as_vec3(place + axes @ one) for one in local))
