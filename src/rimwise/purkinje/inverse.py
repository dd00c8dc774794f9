"""From reflexes, pupil and limbus back to the eye's rotation and the stand of its lens.

Weighted least squares with priors: every parameter has one, the eye's unknown numbers included,
so that the covariance holds what biometry leaves open. Own derivation, docs/notes/purkinje.md.
"""

import math

import numpy as np

from rimwise.published.load import published_value
from rimwise.purkinje.fit import Fit, PlacePriors
from rimwise.purkinje.scene import LENS, PLACES, SHIFT, TILT, TURN, SceneEye, scene_eye
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyeFinding, EyeRecord, ReflexSighting
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

# Below this share of the prior's variance taken away, the answer is the prior's.
_LEARNT = 0.5


def eye_from_reflexes(
    record: EyeRecord | SceneEye,
    setup: SetUp,
    sighting: ReflexSighting,
    priors: PlacePriors | None = None,
    compiled: bool = True,
) -> EyeFinding:
    """Where does the eye look and how does its lens stand, if its reflexes are seen there?

    Parameters
    ----------
    record : EyeRecord or SceneEye
        The eye's numbers with their spreads; for many frames of one eye, prepared once with
        :func:`prepared`.
    setup : SetUp
        Camera and lamps.
    sighting : ReflexSighting
        Any subset of reflexes, pupil and limbus.
    priors : PlacePriors, optional
    compiled : bool
        False spares loading the compiler, for a single frame; the numbers are the same.

    Returns
    -------
    EyeFinding

    Raises
    ------
    WrongInput
        If the sighting does not fit the lamps, or holds a reflex of a lens that is not there.
    MeasurementRefused
        If nothing was found, or no eye within the priors shows such reflexes.

    Examples
    --------
    >>> from rimwise.eye.camera import Camera
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> setup = SetUp(Camera.in_front(200.0, 50.0), ((8.0, 0.0, 200.0),))
    >>> seen = ReflexSighting({"P1": ((7.7, 0.0),)}, 0.5, limbus_px=(0.0, 0.0))
    >>> found = eye_from_reflexes(eye_record(Known("right")), setup, seen, compiled=False)
    >>> abs(found.turn_deg[1].value) < 0.1, "tilt_x" in found.from_prior
    (True, True)
    """
    eye = prepared(record) if isinstance(record, EyeRecord) else record
    fit = Fit.of(eye, setup, sighting, priors or PlacePriors(), compiled)
    state = fit.solve()
    return _finding(fit, state)


def prepared(record: EyeRecord) -> SceneEye:
    """What can be worked out once for all frames of an eye?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> prepared(eye_record(Known("left"))).pivot_mm
    13.5
    """
    return scene_eye(record, published_value("eye_priors", "centre_of_rotation").value)


def _finding(fit: Fit, x: FloatArray) -> EyeFinding:
    from scipy.special import gammaincc  # noqa: PLC0415 - a tenth of a second

    scaled = np.linalg.inv(fit.by.T @ fit.by)
    covariance = scaled * np.outer(fit.sd, fit.sd)
    state = fit.mean + fit.sd * x
    chi2 = float(fit.residual @ fit.residual)
    dof = 2 * len(fit.names)
    has_lens = fit.scene.eye.lens_rows.start < len(fit.scene.eye.base)
    count = LENS.stop if has_lens else TURN.stop
    names = tuple(name.rsplit("_", 1)[0] for name in PLACES)
    dull = [names[i] for i in range(count) if scaled[i, i] > 1.0 - _LEARNT]
    every = (*names, *fit.scene.eye.names)

    def told(part: slice, unit: float = 1.0) -> tuple[Estimate, ...]:
        return tuple(
            Estimate(float(state[i]) * unit, math.sqrt(covariance[i, i]) * unit,
                     "prior" if names[i] in dull else "reflexes")
            for i in range(part.start, part.stop)
        )  # fmt: skip

    degrees = math.degrees(1.0)
    turn, tilt, shift, place = told(TURN, degrees), told(TILT, degrees), told(LENS), told(SHIFT)
    pole = _pole(fit, state, covariance) if has_lens else None
    return EyeFinding(
        (turn[0], turn[1]),
        (place[0], place[1], place[2]),
        (tilt[0], tilt[1]) if has_lens else None,
        (shift[0], shift[1]) if has_lens else None,
        pole,
        tuple(tuple(row) for row in covariance.tolist()),
        every,
        chi2,
        dof,
        float(gammaincc(dof / 2.0, chi2 / 2.0)),
        tuple(dull),
        fit.names,
    )


def _pole(fit: Fit, state: FloatArray, covariance: FloatArray) -> tuple[Estimate, Estimate]:
    """Carry middle and tilt of the lens to its front pole, half its thickness before the middle."""
    limits = fit.scene.eye.model.lens_limits_mm or (0.0, 0.0)
    half = 0.5 * (limits[1] - limits[0])
    found = []
    for k in range(2):
        lens, tilt = LENS.start + k, TILT.start + k
        value = state[lens] + half * math.sin(state[tilt])
        variance = (
            covariance[lens, lens]
            + half * half * covariance[tilt, tilt]
            + 2.0 * half * covariance[lens, tilt]
        )
        found.append(Estimate(float(value), math.sqrt(max(variance, 0.0)), "reflexes"))
    return found[0], found[1]
