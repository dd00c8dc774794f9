"""Gaze, place and stand of the lens from what was found, with the whole covariance."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.looking import Looking, scene_eye_of
from rimwise.eye.model import EyeModel
from rimwise.eye.seen import Sight
from rimwise.purkinje.fit import Fit, PlacePriors, Solved
from rimwise.purkinje.flat import flat_eye
from rimwise.purkinje.scene import LENS, LIMBUS, PLACES, PUPIL, SHIFT, TILT, TURN, SceneEye
from rimwise.purkinje.through import seen_through
from rimwise.records.eye import EyePose, ReflexName, ReflexSighting
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused
from rimwise.terms.estimate import Estimate

_LEAST_P = 1e-4  # a worse fit than one in ten thousand is no fit: some spot was taken for another
_GOOD_P = 0.3  # the likeliest reading that fits so well is not questioned
_ROUGH_P = 0.1  # a worse fit says that the spots scatter more than usual
_DULL = 0.5  # share of the prior's variance: with more left, the answer is the prior's
REFLEX_SD_PX: dict[ReflexName, float] = {"P1": 0.4, "P2": 1.0, "P3": 3.0, "P4": 0.8}
"""What a place found in a picture is usually worth, stored pixels."""
_DEPTH_SD_MM = 1.5
_DEG = math.degrees(1.0)


@dataclass(frozen=True, slots=True)
class Sighted:
    """What was found in a frame, stored pixels.

    Parameters
    ----------
    reflexes_px : dict
        Name to one place a lamp, in the lamps' order; None where not found.
    pupil_px, limbus_px : tuple of (centre, sd) or None
    worth : float
        Plainness of the lens's reflexes in this reading.
    lids_px : float
        Sd along superior by which lids may have drawn the limbus, beside its own.
    """

    reflexes_px: dict[ReflexName, tuple[tuple[float, float] | None, ...]]
    pupil_px: tuple[tuple[float, float], float] | None
    limbus_px: tuple[tuple[float, float], float] | None
    worth: float = 0.0
    lids_px: float = 0.0

    def without(self, name: ReflexName) -> "Sighted":
        """Return the same without one reflex."""
        rest = {key: places for key, places in self.reflexes_px.items() if key != name}
        return replace(self, reflexes_px=rest)


@dataclass(frozen=True, slots=True)
class FrameFit:
    """The state of the eye in one frame: parameters of ``PLACES``, then the eye's own numbers.

    Parameters
    ----------
    mean : array (n,)
        In mm and rad; the eye's own numbers in independent sds.
    covariance : array (n, n)
    prior_sd : array (n,)
    model : EyeModel
        With its lens where it was found to stand.
    p_fit : float
        Probability of a worse fit.
    misfit : float
        Squared residuals over what chance lets them be, on average 1.
    used : tuple of str
    compiled : bool
        Whether lines of sight are solved with compiled code.
    solved : Solved or None
        From which the fit of the next frame of a clip may start.
    """

    mean: FloatArray
    covariance: FloatArray
    prior_sd: FloatArray
    model: EyeModel
    p_fit: float
    misfit: float
    used: tuple[str, ...]
    compiled: bool = False
    solved: Solved | None = None

    @property
    def pose(self) -> EyePose:
        """Where the eye is and looks."""
        x, y, z = (float(one) for one in self.mean[SHIFT])
        return EyePose((float(self.mean[TURN][0]), float(self.mean[TURN][1])), (x, y, z))

    @property
    def has_lens(self) -> bool:
        """Is a lens in the eye?"""
        return self.model.lens_limits_mm is not None

    @property
    def turn_deg(self) -> tuple[Estimate, Estimate]:
        """Corneal axis from the camera's axis."""
        return self._pair(TURN, _DEG, "reflexes")

    @property
    def tilt_deg(self) -> tuple[Estimate, Estimate]:
        """Axis of the lens from the corneal axis."""
        return self._pair(TILT, _DEG, "reflexes")

    def learnt(self, part: slice) -> bool:
        """Did the frame say more of these than their priors?"""
        left = np.diag(self.covariance)[part] / self.prior_sd[part] ** 2
        return bool((left < _DULL).all())

    def told(self, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean and covariance of linear combinations of the parameters, rows (k, n)."""
        return rows @ self.mean, rows @ self.covariance @ rows.T

    @property
    def pole_mm(self) -> tuple[Estimate, Estimate]:
        """Front pole of the lens from the corneal axis."""
        limits = self.model.lens_limits_mm or (0.0, 0.0)
        half = 0.5 * (limits[1] - limits[0])
        rows = np.zeros((2, len(self.mean)))
        for k in range(2):
            rows[k, LENS.start + k], rows[k, TILT.start + k] = 1.0, half
        mean, covariance = self.told(rows)
        return _estimates(mean, covariance, "reflexes")

    def _pair(self, part: slice, unit: float, origin: str) -> tuple[Estimate, Estimate]:
        mean, covariance = self.mean[part] * unit, self.covariance[part, part] * unit**2
        return _estimates(mean, covariance, origin)

    def sight(self, of: Looking, pose: EyePose | None = None) -> Sight:
        """Return this eye before its camera, in its own or another pose."""
        here = pose or self.pose
        if self.compiled and flat_eye(self.model).reach >= self.model.stop_step:
            return Sight(self.model, here, of.camera, "numpy", seen_through)
        return Sight(self.model, here, of.camera, engine="numpy")


def _estimates(mean: FloatArray, covariance: FloatArray, origin: str) -> tuple[Estimate, Estimate]:
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return (
        Estimate(float(mean[0]), float(sd[0]), origin),
        Estimate(float(mean[1]), float(sd[1]), origin),
    )


def fit_frame(of: Looking, readings: list[Sighted], compiled: bool) -> tuple[FrameFit, Sighted]:
    """Where does the eye look, and how does its lens stand?

    Parameters
    ----------
    of : Looking
    readings : list of Sighted
        What the spots may be, plainest first. A reading that fits the eye better is preferred in
        the measure of the logarithm of its probability.
    compiled : bool
        False spares loading the compiler.

    Returns
    -------
    FrameFit
    Sighted
        What the answer rests on: a reflex that fits no eye like this one is given up.

    Raises
    ------
    MeasurementRefused
        If nothing was found, or nothing fits.
    """
    eye = scene_eye_of(of.sheet)
    judged: list[tuple[float, FrameFit, Sighted]] = []
    for reading in readings:
        fit = _fitted(of, eye, reading, compiled)
        if fit is not None and fit.p_fit > _LEAST_P:
            judged.append((reading.worth + math.log(fit.p_fit), fit, reading))
            if len(judged) == 1 and fit.p_fit > _GOOD_P:
                break
    if judged:
        _, fit, seen = max(judged, key=lambda one: one[0])
    else:
        fit, seen = _with_less(of, eye, readings[0], compiled)
    return _as_rough_as_seen((of, eye), fit, seen, compiled), seen


def fit_near(of: Looking, seen: Sighted, last: FrameFit) -> FrameFit | None:
    """Where does the eye look now that was so fitted a moment ago?

    Parameters
    ----------
    of : Looking
        As in the last fit.
    seen : Sighted
    last : FrameFit

    Returns
    -------
    FrameFit or None
        None where the spots are not as well explained from there as chance allows, so that the
        fit must begin anew.
    """
    eye = scene_eye_of(of.sheet)
    fit = _fitted(of, eye, seen, last.compiled, near=last.solved)
    if fit is None or fit.p_fit < _LEAST_P or fit.p_fit > _ROUGH_P:
        return None if fit is None or fit.p_fit < _LEAST_P else fit
    again = _fitted(of, eye, seen, last.compiled, math.sqrt(fit.misfit), fit.solved)
    return None if again is None else replace(again, p_fit=fit.p_fit)


def _as_rough_as_seen(
    about: tuple[Looking, SceneEye], fit: FrameFit, seen: Sighted, compiled: bool
) -> FrameFit:
    """Fit again with the scatter that the spots show, where it is more than spots usually have.

    Biometry has its own spread, so that only the spots' is widened (Birge 1932 for one kind).
    """
    if fit.p_fit > _ROUGH_P:
        return fit
    again = _fitted(*about, seen, compiled, math.sqrt(fit.misfit))
    return fit if again is None else replace(again, p_fit=fit.p_fit)


def _with_less(
    of: Looking, eye: SceneEye, seen: Sighted, compiled: bool
) -> tuple[FrameFit, Sighted]:
    """Give up reflexes of the lens until what is left fits."""
    lens: list[ReflexName] = [name for name in ("P3", "P4") if name in seen.reflexes_px]
    trials = [seen.without(name) for name in lens]
    if len(lens) > 1:
        trials.append(seen.without("P3").without("P4"))
    for trial in trials:
        fit = _fitted(of, eye, trial, compiled)
        if fit is not None and fit.p_fit > _LEAST_P:
            return fit, trial
    raise MeasurementRefused(
        "no-fit",
        "what was found fits no eye like this one; check lamps, scale and biometry in the sheet",
    )


def _fitted(
    of: Looking,
    eye: SceneEye,
    seen: Sighted,
    compiled: bool,
    rough: float = 1.0,
    near: Solved | None = None,
) -> FrameFit | None:
    sighting = ReflexSighting(
        dict(seen.reflexes_px),
        1.0,
        None if seen.pupil_px is None else seen.pupil_px[0],
        1.0 if seen.pupil_px is None else seen.pupil_px[1],
        None if seen.limbus_px is None else seen.limbus_px[0],
        1.0 if seen.limbus_px is None else seen.limbus_px[1],
    )
    fit = Fit.of(eye, of.setup, sighting, PlacePriors(depth_mm=_DEPTH_SD_MM), compiled)
    for i, name in enumerate(fit.names):
        kind = name.split(" ")[0]
        if kind in REFLEX_SD_PX:
            fit.sds[i] *= rough * REFLEX_SD_PX[kind]
    if seen.limbus_px is not None and seen.lids_px > 0.0:
        # The second slope is the one along superior.
        own = fit.names.index("limbus")
        fit.sds[own, 1] *= math.hypot(1.0, seen.lids_px / seen.limbus_px[1])
    x = _solved(fit, near)
    if x is None:
        return None
    mean = fit.mean + fit.sd * x
    covariance = np.linalg.inv(fit.by.T @ fit.by) * np.outer(fit.sd, fit.sd)
    model = fit.scene.eye.model
    if model.lens_limits_mm is not None:
        tilt, shift = mean[TILT], mean[LENS]
        model = model.with_lens(
            (float(tilt[0]), float(tilt[1])), (float(shift[0]), float(shift[1]))
        )
    p_fit, misfit = _judged(fit)
    return FrameFit(
        mean, covariance, fit.sd.copy(), model, p_fit, misfit, fit.names, compiled, fit.solved(x)
    )


def _solved(fit: Fit, near: Solved | None) -> FloatArray | None:
    if near is not None:
        return fit.solve_near(near)
    try:
        return fit.solve()
    except MeasurementRefused:
        return None


def _judged(fit: Fit) -> tuple[float, float]:
    from scipy.special import gammaincc  # noqa: PLC0415 - a tenth of a second

    chi2, half = float(fit.residual @ fit.residual), len(fit.names)
    return float(gammaincc(half, chi2 / 2.0)), chi2 / (2.0 * half)


__all__ = ["LIMBUS", "PLACES", "PUPIL", "FrameFit", "Sighted", "fit_frame"]
