"""The examiner's frame, the picture's frame, and the names of directions (conventions 1-5, 19).

The examiner faces the patient: +x to his right, +y up to the brow, +z out of the eye,
for right and left eyes alike. Angles run counter-clockwise from +x as he sees them.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.terms.arrays import FloatArray

Side = Literal["right", "left"]


def direction_deg(angle_deg: float) -> float:
    """Which direction in [0, 360) is this angle?

    Examples
    --------
    >>> direction_deg(-90.0)
    270.0
    """
    wrapped = angle_deg % 360.0
    return 0.0 if wrapped >= 360.0 else wrapped


def axis_deg(angle_deg: float) -> float:
    """Which axis in (0, 180] is this angle? (180 is written, never 0.)

    Examples
    --------
    >>> axis_deg(0.0), axis_deg(270.0)
    (180.0, 90.0)
    """
    wrapped = angle_deg % 180.0
    return 180.0 if wrapped <= 0.0 or wrapped >= 180.0 else wrapped


def clock_hour(angle_deg: float) -> float:
    """Which hour of the clock, as the examiner sees the eye, lies in this direction?

    Hour h lies at 90° - 30°·h (convention 19): 12 is superior, 3 is +x for both eyes.

    Returns
    -------
    float
        Hours in (0, 12].

    Examples
    --------
    >>> clock_hour(90.0), clock_hour(0.0), clock_hour(180.0), clock_hour(270.0)
    (12.0, 3.0, 9.0, 6.0)
    """
    hour = ((90.0 - angle_deg) / 30.0) % 12.0
    return 12.0 if hour <= 0.0 else hour


def nasal_superior(x: float, y: float, side: Side) -> tuple[float, float]:
    """What are the nasal and superior components of a vector in the examiner's frame?

    The one function that turns (x, y, side) into anatomy (convention 4).

    Parameters
    ----------
    x, y : float
        Components in the examiner's frame, any unit.
    side : "right" or "left"
        The patient's eye; nasal is +x in a right eye and -x in a left eye.

    Examples
    --------
    >>> nasal_superior(0.2, 0.1, "right"), nasal_superior(0.2, 0.1, "left")
    ((0.2, 0.1), (-0.2, 0.1))
    """
    return (x if side == "right" else -x), y


def examiner_from_nasal_superior(nasal: float, superior: float, side: Side) -> tuple[float, float]:
    """Which vector in the examiner's frame has these nasal and superior components?

    Examples
    --------
    >>> examiner_from_nasal_superior(0.2, 0.1, "left")
    (-0.2, 0.1)
    """
    return (nasal if side == "right" else -nasal), superior


def direction_words(angle_deg: float, side: Side) -> str:
    """How does a surgeon call this direction?

    Eight names, each for 45°.

    Examples
    --------
    >>> direction_words(0.0, "right"), direction_words(0.0, "left"), direction_words(225.0, "right")
    ('nasal', 'temporal', 'inferior-temporal')
    """
    east, west = ("nasal", "temporal") if side == "right" else ("temporal", "nasal")
    names = (
        east,
        f"superior-{east}",
        "superior",
        f"superior-{west}",
        west,
        f"inferior-{west}",
        "inferior",
        f"inferior-{east}",
    )
    return names[round(direction_deg(angle_deg) / 45.0) % 8]


@dataclass(frozen=True, slots=True)
class PictureFrame:
    """How a picture was held: turns picture vectors into the examiner's frame and back.

    Picture vectors are (right, down) in pixels, the first pixel's centre at (0, 0).

    Parameters
    ----------
    superior_deg : float
        Where the eye's superior points in the picture, counter-clockwise from picture right.
    mirrored : bool
        Whether the picture shows the eye as in a mirror.

    Examples
    --------
    >>> upright = PictureFrame(90.0, False)
    >>> upright.examiner_from_picture(np.array([1.0, 0.0])).round(9).tolist()
    [1.0, 0.0]
    >>> head_end = PictureFrame(270.0, False)
    >>> (head_end.examiner_from_picture(np.array([1.0, 0.0])).round(9) + 0.0).tolist()
    [-1.0, 0.0]
    """

    superior_deg: float = 90.0
    mirrored: bool = False

    def _axes(self) -> tuple[FloatArray, FloatArray]:
        angle_rad = math.radians(self.superior_deg)
        up = np.array([math.cos(angle_rad), -math.sin(angle_rad)])
        right = np.array([-up[1], up[0]])
        return (-right if self.mirrored else right), up

    def examiner_from_picture(self, vectors: FloatArray) -> FloatArray:
        """Return vectors (..., 2) of (right, down) as (x, y) of the examiner."""
        right, up = self._axes()
        return np.stack([vectors @ right, vectors @ up], axis=-1)

    def picture_from_examiner(self, vectors: FloatArray) -> FloatArray:
        """Return vectors (..., 2) of the examiner's (x, y) as picture (right, down)."""
        right, up = self._axes()
        return np.asarray(vectors[..., :1] * right + vectors[..., 1:] * up)

    def examiner_deg(self, picture_deg: float) -> float:
        """Return the examiner's direction of a picture direction (ccw from picture right)."""
        angle_rad = math.radians(picture_deg)
        x, y = self.examiner_from_picture(np.array([math.cos(angle_rad), -math.sin(angle_rad)]))
        return direction_deg(math.degrees(math.atan2(y, x)))

    def picture_deg(self, examiner_angle_deg: float) -> float:
        """Return the picture direction (ccw from picture right) of an examiner's direction."""
        angle_rad = math.radians(examiner_angle_deg)
        u, v = self.picture_from_examiner(np.array([math.cos(angle_rad), math.sin(angle_rad)]))
        return direction_deg(math.degrees(math.atan2(-v, u)))

    def stored(self, orientation: int) -> "PictureFrame":
        """How is the stored raster held, if this frame describes the picture as displayed?

        Parameters
        ----------
        orientation : int
            EXIF orientation tag, 1 to 8 (CIPA DC-008, tag 0x0112; from memory).

        Examples
        --------
        >>> PictureFrame(90.0).stored(6)
        PictureFrame(superior_deg=180.0, mirrored=False)
        """
        turn = {1: 0.0, 3: 180.0, 6: 90.0, 8: 270.0}
        flip = {2: 180.0, 4: 0.0, 5: 270.0, 7: 90.0}
        if orientation in turn:
            return PictureFrame(direction_deg(self.superior_deg + turn[orientation]), self.mirrored)
        if orientation in flip:
            return PictureFrame(
                direction_deg(flip[orientation] - self.superior_deg), not self.mirrored
            )
        raise ValueError(f"an orientation tag is 1 to 8, got {orientation}")
