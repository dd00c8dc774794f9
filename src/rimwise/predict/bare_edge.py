"""For which pupil does light meet the optic's edge or pass beside it, and where?"""

from collections.abc import Sequence

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.pose import Vec3
from rimwise.predict.on_optic import on_optic
from rimwise.predict.sight import line_of_sight
from rimwise.records.as_seen import Arcs, EdgeInPupil
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_LARGEST_MM, _SMALLEST_MM, _CLOSE_MM = 9.0, 1.0, 0.01


def edges_in_pupils(
    model: EyeModel,
    fovea_mm: Vec3,
    pupils_mm: Sequence[float],
    optic_mm: float,
    cover_mm: Sequence[float | None] | None = None,
) -> tuple[EdgeInPupil, ...]:
    """Over which arcs does the light of these pupils reach the optic's edge?

    A pupil is the entrance pupil, seen through the cornea; its light is traced to the real plane
    of the optic where that stands.

    Parameters
    ----------
    model : EyeModel
        Implant placed.
    fovea_mm : tuple of 3 floats
    pupils_mm : sequence of floats
    optic_mm : float
        Diameter of the optic.
    cover_mm : 360 numbers or None, optional
        Cover by direction about the optic's middle; where it is not known the edge counts as bare.

    Examples
    --------
    >>> from rimwise.eye.build import eye_model
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_model(eye_record(Known("right", "implant", axial_mm=23.6)))
    >>> fovea = (0.0, 0.0, -eye.retina_depth_mm)
    >>> edges_in_pupils(eye, fovea, (4.0,), 6.0)[0].arcs_deg
    ()
    """
    if cover_mm is not None and len(cover_mm) != 360:
        raise WrongInput(f"{len(cover_mm)} widths of cover came; one a degree, 360, are needed")
    smallest, found = _smallest_mm(model, fovea_mm, optic_mm), []
    for pupil_mm in pupils_mm:
        beam = _beam_mm(model, fovea_mm, pupil_mm)
        beside, bare = beam > 0.5 * optic_mm, None
        if cover_mm is not None:
            bare = _arcs(beside & np.array([one is None or one < 0.0 for one in cover_mm]))
        arcs = _arcs(beside)
        found.append(EdgeInPupil(pupil_mm, optic_mm, float(beam.max()), arcs, bare, smallest))
    return tuple(found)


def _beam_mm(model: EyeModel, fovea_mm: Vec3, pupil_mm: float) -> FloatArray:
    """Return how far the light at the pupil's margin is from the optic's axis, by direction."""
    there = on_optic(model, fovea_mm, pupil_mm, line_of_sight(model, fovea_mm))
    turn = 2.0 * np.pi * np.arange(1440) / 1440
    at = there.at(np.cos(turn), np.sin(turn))
    direction = np.degrees(np.arctan2(at[:, 1], at[:, 0]))
    order = np.argsort(direction % 360.0)
    return np.asarray(
        np.interp(
            np.arange(360.0),
            direction[order] % 360.0,
            np.hypot(at[:, 0], at[:, 1])[order],
            period=360.0,
        )
    )


def _smallest_mm(model: EyeModel, fovea_mm: Vec3, optic_mm: float) -> float | None:
    low, high = _SMALLEST_MM, _LARGEST_MM
    if _beam_mm(model, fovea_mm, high).max() <= 0.5 * optic_mm:
        return None
    while high - low > _CLOSE_MM:
        middle = 0.5 * (low + high)
        met = _beam_mm(model, fovea_mm, middle).max() > 0.5 * optic_mm
        low, high = (low, middle) if met else (middle, high)
    return high


def _arcs(inside: np.ndarray) -> Arcs:
    """Return runs of directions, [from, to] in degrees, counter-clockwise."""
    if inside.all():
        return ((0.0, 360.0),)
    starts = np.flatnonzero(inside & ~np.roll(inside, 1))
    ends = np.flatnonzero(inside & ~np.roll(inside, -1))
    found = []
    for start in starts:
        span = (ends - start) % 360
        found.append((float(start), float((start + span.min()) % 360)))
    return tuple(found)
