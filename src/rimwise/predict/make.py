"""The step: what this eye will see with its implant where it is, beside where it should be."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.optics.refraction import PowerVector, least_squares_refraction, paraxial_refraction
from rimwise.optics.zernike import Wavefront
from rimwise.predict.criteria import FOCUS_CPD
from rimwise.predict.gratings import FREQUENCIES_CPD, USUAL, Sampling
from rimwise.predict.judge import Judge, foci_of, judge_of
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.scatter import Cloud, cloud_of, likely, sd_of
from rimwise.predict.sensitivity import Elsewhere, sensitivity
from rimwise.records.eye import EyeRecord
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.sight import (
    ContrastCurve,
    Focusing,
    ImplantPlace,
    Lens,
    Likely,
    PupilComparison,
    PupilSight,
    Sensitivity,
    Sight,
)
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate
from rimwise.terms.units import deg_from_rad

PUPILS_MM = (2.0, 3.0, 4.0, 5.0, 6.0)
GLASSES_PUPIL_MM, MAP_PUPIL_MM = 3.0, 4.0
JUDGED_CPD = 15.0
FOCUS_DPT = tuple(float(round(d, 3)) for d in np.arange(-4.0, 2.01, 0.125))


@dataclass(frozen=True, slots=True)
class SightQuestion:
    """What is asked besides the eye and the place.

    Parameters
    ----------
    code : str
    pupils_mm : tuple of float
        Entrance pupils, 2 to 6 mm.
    sampling : Sampling
    map_pupil_mm : float, optional
        Through which pupil to map what standing elsewhere would cost; no maps if not given.
    loss : float
        Share of the ideal placement's contrast that may be lost within the tolerance circle.
    profile : ImplantProfile, optional
        Of the implant.
    """

    code: str = ""
    pupils_mm: tuple[float, ...] = PUPILS_MM
    sampling: Sampling = USUAL
    map_pupil_mm: float | None = None
    loss: float = 0.1
    profile: ImplantProfile | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.loss < 1.0:
            raise WrongInput(
                f"a loss of {self.loss:g} came; a share of the contrast between 0 and 1 is allowed"
            )


def predict_sight(
    record: EyeRecord, here: ImplantPlace, question: SightQuestion | None = None
) -> Sight:
    """What does this eye see with its implant here, and what would the ideal placement give?

    The ideal one stands upright on the corneal axis at the eye's own depth, a toric implant's
    marks where they belong. Every ± comes from that of the placement alone: shift, tilt, turn and
    depth, drawn independently within their ± (see :mod:`rimwise.predict.scatter`).

    Parameters
    ----------
    record : EyeRecord
        Of an eye with an implant.
    here : ImplantPlace
    question : SightQuestion, optional

    Raises
    ------
    WrongInput
        The eye holds no implant, or it cannot stand there.
    MeasurementRefused
        Light through a pupil does not all pass the optic.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.gratings import COARSE
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> ask = SightQuestion("E-1", (3.0,), COARSE)
    >>> sight = predict_sight(eye, place_at(eye, (0.4, 0.0)), ask)
    >>> sight.pupils[0].contrast_lost.sd, sight.pupils[0].contrast_lost.value > -0.05
    (0.0, True)
    """
    asked = SightQuestion() if question is None else question
    ideal, fovea = place_at(record), fovea_of(record)
    model, upright = placed_model(record, here), placed_model(record, ideal)
    best = judge_of(upright, fovea, GLASSES_PUPIL_MM, asked.sampling, asked.profile)
    squares = least_squares_refraction(best.view.green)
    glasses = replace(squares, m_dpt=best.sphere(squares))
    meridian = _meridian_rad(here)
    pupils = []
    for pupil_mm in asked.pupils_mm:
        judges = (
            judge_of(one, fovea, pupil_mm, asked.sampling, asked.profile)
            for one in (model, upright)
        )
        cloud = cloud_of(record, here, fovea, pupil_mm, asked.profile)
        is_here, would_be = (
            _Seen(judge, one, glasses, meridian).sight()
            for judge, one in zip(judges, (cloud, None), strict=True)
        )
        pupils.append(_compared(pupil_mm, is_here, would_be))
    return Sight(
        code=asked.code,
        side=record.side,
        status="predicted",
        reasons=(),
        here=here,
        ideal=ideal,
        glasses=_told(glasses.moved_towards_light(best.view.vertex_mm), None),
        judged_cpd=JUDGED_CPD,
        pupils=tuple(pupils),
        sensitivity=_sensitivity(record, here, glasses, asked),
        assumptions=record.assumptions,
        foci=foci_of(best, glasses),
    )


def _sensitivity(
    record: EyeRecord, here: ImplantPlace, glasses: PowerVector, asked: SightQuestion
) -> Sensitivity | None:
    pupil_mm = asked.map_pupil_mm
    if pupil_mm is None:
        return None
    sampling = asked.sampling
    elsewhere = Elsewhere(record, glasses, pupil_mm, JUDGED_CPD, sampling, asked.profile)
    return sensitivity(elsewhere, here, asked.loss)


def _meridian_rad(here: ImplantPlace) -> float:
    """Direction of the shift, of the tilt where there is no shift."""
    x, y = (one.value for one in here.shift_mm)
    if math.hypot(x, y) < 1e-9:
        x, y = (one.value for one in here.tilt_deg)
    return math.atan2(y, x) if math.hypot(x, y) > 0.0 else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """One placement through one pupil, and the draws about it where it has a ±."""

    judge: Judge
    cloud: Cloud | None
    glasses: PowerVector
    meridian_rad: float

    @property
    def waves(self) -> list[Wavefront]:
        """The told wave of 555 nm, then those of the cloud."""
        green = self.judge.view.green
        if self.cloud is None:
            return [green]
        drawn = [replace(green, coefficients_um=one) for one in self.cloud.green_um.T]
        return [green, *drawn]

    def sight(self) -> PupilSight:
        """Return all that this placement gives through this pupil."""
        waves = self.waves
        squares = [least_squares_refraction(one) for one in waves]
        sphere = self.judge.sphere(squares[0])
        best = [replace(one, m_dpt=sphere + one.m_dpt - squares[0].m_dpt) for one in squares]
        plain = [PowerVector(one.m_dpt, 0.0, 0.0) for one in best]
        modes = np.stack([one.coefficients_um for one in waves], axis=-1)
        worn, bare = self._curves([self.glasses] * len(waves), plain)
        kept = self.judge.focus(self.glasses, np.array(FOCUS_DPT))
        return PupilSight(
            pupil_mm=self.judge.view.pupil_mm,
            coefficients_um=tuple(modes[:, 0].tolist()),
            coefficients_sd_um=tuple(_sd(modes).tolist()),
            paraxial=self._lens([paraxial_refraction(one) for one in waves]),
            least_squares=self._lens(squares),
            best_contrast=self._lens(best),
            with_glasses=worn,
            best_sphere=bare,
            through_focus=Focusing(FOCUS_CPD, FOCUS_DPT, tuple(kept.tolist())),
        )

    def _lens(self, lenses: list[PowerVector]) -> Lens:
        told = [one.moved_towards_light(self.judge.view.vertex_mm) for one in lenses]
        rows = np.array([(one.m_dpt, one.j0_dpt, one.j45_dpt) for one in told]).T
        return _told(told[0], _sd(rows))

    def _curves(self, *worn: list[PowerVector]) -> list[ContrastCurve]:
        """Return a curve for each lens worn; each list holds that lens for every draw."""
        kept, ratio = self.judge.curves([one[0] for one in worn], self.meridian_rad)
        curves = []
        for k, lenses in enumerate(worn):
            drawn = None
            if self.cloud is not None:
                drawn = self.cloud.contrasts(lenses[1:], self.meridian_rad)
            rows = [one[:, k] for one in (kept.tangential, kept.sagittal, kept.mean)]
            curves.append(_curve([*rows, ratio[k : k + 1]], drawn, self.meridian_rad))
        return curves


def _curve(
    rows: list[FloatArray], drawn: tuple[FloatArray, ...] | None, meridian_rad: float
) -> ContrastCurve:
    told = [_with_range(row, None if drawn is None else drawn[k]) for k, row in enumerate(rows)]
    (along, along_95), (across, across_95), (mean, mean_95), (ratio, ratio_95) = told
    return ContrastCurve(
        FREQUENCIES_CPD, along, across, mean, deg_from_rad(meridian_rad), ratio[0],
        along_95, across_95, mean_95, ratio_95[0],
    )  # fmt: skip


def _sd(rows: FloatArray) -> FloatArray:
    """Sd of numbers told as (told, told by the cloud, draws ...) along their last axis."""
    return np.zeros(rows.shape[:-1]) if rows.shape[-1] == 1 else sd_of(rows[..., 1:])


def _with_range(
    values: FloatArray, drawn: FloatArray | None
) -> tuple[tuple[Estimate, ...], tuple[Likely, ...]]:
    if drawn is None:
        alone = tuple(Estimate(float(one), 0.0, "placement") for one in values)
        return alone, tuple((one.value, one.value) for one in alone)
    told = tuple(
        Estimate(float(one), float(sd), "placement")
        for one, sd in zip(values, sd_of(drawn), strict=True)
    )
    return told, tuple(likely(one.value, row) for one, row in zip(told, drawn, strict=True))


def _told(lens: PowerVector, sd: FloatArray | None) -> Lens:
    parts = (0.0, 0.0, 0.0) if sd is None else tuple(float(one) for one in sd)
    sphere, cylinder, axis = lens.sphere_cylinder_axis()
    numbers = (lens.m_dpt, lens.j0_dpt, lens.j45_dpt)
    m, j0, j45 = (Estimate(v, s, "placement") for v, s in zip(numbers, parts, strict=True))
    return Lens(m, j0, j45, sphere, cylinder, axis if cylinder else None)


def _compared(pupil_mm: float, here: PupilSight, ideal: PupilSight) -> PupilComparison:
    one, other = here.least_squares, ideal.least_squares
    induced = PowerVector(
        one.m_dpt.value - other.m_dpt.value,
        one.j0_dpt.value - other.j0_dpt.value,
        one.j45_dpt.value - other.j45_dpt.value,
    )
    sd = np.array([one.m_dpt.sd, one.j0_dpt.sd, one.j45_dpt.sd])
    at = FREQUENCIES_CPD.index(JUDGED_CPD)
    kept, perfect = here.with_glasses.mean[at], ideal.with_glasses.mean[at]
    lost = Estimate(perfect.value - kept.value, kept.sd, "placement")
    low, high = (perfect.value - one for one in reversed(here.with_glasses.mean_95[at]))
    return PupilComparison(pupil_mm, here, ideal, _told(induced, sd), lost, (low, high))
