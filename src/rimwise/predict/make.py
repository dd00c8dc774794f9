"""The step: what this eye will see with its implant where it is, beside where it should be."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.refraction import PowerVector, least_squares_refraction, paraxial_refraction
from rimwise.predict.criteria import (
    FOCUS_CPD,
    View,
    best_sphere_dpt,
    contrast,
    through_focus,
    view_of,
    visual_strehl,
)
from rimwise.predict.gratings import FREQUENCIES_CPD, USUAL, Sampling
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.sensitivity import Elsewhere, sensitivity
from rimwise.records.eye import EyeRecord
from rimwise.records.sight import (
    ContrastCurve,
    Focusing,
    ImplantPlace,
    Lens,
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
    """

    code: str = ""
    pupils_mm: tuple[float, ...] = PUPILS_MM
    sampling: Sampling = USUAL
    map_pupil_mm: float | None = None
    loss: float = 0.1

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
    depth, each moved by its sd to both sides (independent; own derivation).

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
    sampling = asked.sampling
    best = view_of(placed_model(record, ideal), fovea, GLASSES_PUPIL_MM, sampling)
    squares = least_squares_refraction(best.green)
    glasses = replace(squares, m_dpt=best_sphere_dpt(best, squares))
    models = _moved(record, here)
    meridian = _meridian_rad(here)
    pupils = []
    for pupil_mm in asked.pupils_mm:
        sampling = asked.sampling
        views = [[view_of(m, fovea, pupil_mm, sampling) for m in pair] for pair in models]
        alone = view_of(placed_model(record, ideal), fovea, pupil_mm, sampling)
        is_here = _Seen(views, glasses, meridian).sight()
        would_be = _Seen([[alone]], glasses, meridian).sight()
        pupils.append(_compared(pupil_mm, is_here, would_be))
    return Sight(
        code=asked.code,
        side=record.side,
        status="predicted",
        reasons=(),
        here=here,
        ideal=ideal,
        glasses=_told(glasses.moved_towards_light(best.vertex_mm), None),
        judged_cpd=JUDGED_CPD,
        pupils=tuple(pupils),
        sensitivity=_sensitivity(record, here, glasses, asked),
        assumptions=record.assumptions,
    )


def _sensitivity(
    record: EyeRecord, here: ImplantPlace, glasses: PowerVector, asked: SightQuestion
) -> Sensitivity | None:
    pupil_mm = asked.map_pupil_mm
    if pupil_mm is None:
        return None
    sampling = asked.sampling
    elsewhere = Elsewhere(record, glasses, pupil_mm, JUDGED_CPD, sampling)
    return sensitivity(elsewhere, here, asked.loss)


def _meridian_rad(here: ImplantPlace) -> float:
    """Direction of the shift, of the tilt where there is no shift."""
    x, y = (one.value for one in here.shift_mm)
    if math.hypot(x, y) < 1e-9:
        x, y = (one.value for one in here.tilt_deg)
    return math.atan2(y, x) if math.hypot(x, y) > 0.0 else 0.0


def _moved(record: EyeRecord, here: ImplantPlace) -> list[list[EyeModel]]:
    """The eye as placed, then each uncertain number moved by its sd to both sides."""
    found = [[placed_model(record, here)]]
    for k in (0, 1):
        if here.shift_mm[k].sd > 0.0:
            both = [replace(here, shift_mm=pair) for pair in _stepped(here.shift_mm, k)]
            found.append([placed_model(record, one) for one in both])
        if here.tilt_deg[k].sd > 0.0:
            both = [replace(here, tilt_deg=pair) for pair in _stepped(here.tilt_deg, k)]
            found.append([placed_model(record, one) for one in both])
    if here.marks_deg is not None and here.marks_deg.sd > 0.0:
        both = [replace(here, marks_deg=one) for one in _either_side(here.marks_deg)]
        found.append([placed_model(record, one) for one in both])
    if here.front_depth_mm.sd > 0.0:
        both = [replace(here, front_depth_mm=one) for one in _either_side(here.front_depth_mm)]
        found.append([placed_model(record, one) for one in both])
    return found


def _either_side(one: Estimate) -> tuple[Estimate, Estimate]:
    return replace(one, value=one.value + one.sd), replace(one, value=one.value - one.sd)


def _stepped(
    pair: tuple[Estimate, Estimate], k: int
) -> tuple[tuple[Estimate, Estimate], tuple[Estimate, Estimate]]:
    """The pair with its k-th part one sd up, and one sd down."""
    up, down = _either_side(pair[k])
    return ((up, pair[1]), (down, pair[1])) if k == 0 else ((pair[0], up), (pair[0], down))


def _sd(values: FloatArray, pairs: int) -> FloatArray:
    """Sd of numbers told as (middle, +, -, +, -, ...) along their last axis."""
    if pairs == 0:
        return np.zeros(values.shape[:-1])
    half = 0.5 * (values[..., 1::2] - values[..., 2::2])
    return np.asarray(np.sqrt((half**2).sum(axis=-1)))


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """Views of one placement through one pupil: the middle one, then pairs about it."""

    views: list[list[View]]
    glasses: PowerVector
    meridian_rad: float

    @property
    def middle(self) -> View:
        return self.views[0][0]

    @property
    def all(self) -> list[View]:
        return [view for part in self.views for view in part]

    @property
    def pairs(self) -> int:
        return len(self.views) - 1

    def sight(self) -> PupilSight:
        """Return all that this placement gives through this pupil."""
        view = self.middle
        squares = [least_squares_refraction(one.green) for one in self.all]
        sphere = best_sphere_dpt(view, squares[0])
        best = [replace(one, m_dpt=sphere + one.m_dpt - squares[0].m_dpt) for one in squares]
        plain = [PowerVector(one.m_dpt, 0.0, 0.0) for one in best]
        worn = [self.glasses] * len(self.all)
        modes = np.stack([one.green.coefficients_um for one in self.all], axis=-1)
        return PupilSight(
            pupil_mm=view.pupil_mm,
            coefficients_um=tuple(modes[:, 0].tolist()),
            coefficients_sd_um=tuple(_sd(modes, self.pairs).tolist()),
            paraxial=self._lens([paraxial_refraction(one.green) for one in self.all]),
            least_squares=self._lens(squares),
            best_contrast=self._lens(best),
            with_glasses=self._curve(worn),
            best_sphere=self._curve(plain),
            through_focus=Focusing(
                FOCUS_CPD,
                FOCUS_DPT,
                tuple(through_focus(view, self.glasses, np.array(FOCUS_DPT), FOCUS_CPD).tolist()),
            ),
        )

    def _lens(self, lenses: list[PowerVector]) -> Lens:
        told = [one.moved_towards_light(self.middle.vertex_mm) for one in lenses]
        rows = np.array([(one.m_dpt, one.j0_dpt, one.j45_dpt) for one in told]).T
        return _told(told[0], _sd(rows, self.pairs))

    def _curve(self, lenses: list[PowerVector]) -> ContrastCurve:
        view = self.middle
        waves = np.concatenate(
            [one.behind(lens) for one, lens in zip(self.all, lenses, strict=True)], axis=2
        )
        kept = contrast(waves, view.pupil_mm, view.sampling, self.meridian_rad)
        strehl = visual_strehl(waves, view.pupil_mm, view.sampling)[None]
        return ContrastCurve(
            FREQUENCIES_CPD,
            self._estimates(kept.tangential),
            self._estimates(kept.sagittal),
            self._estimates(kept.mean),
            deg_from_rad(self.meridian_rad),
            self._estimates(strehl)[0],
        )

    def _estimates(self, rows: FloatArray) -> tuple[Estimate, ...]:
        sds = _sd(rows, self.pairs)
        return tuple(
            Estimate(float(value), float(sd), "placement")
            for value, sd in zip(rows[:, 0], sds, strict=True)
        )


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
    return PupilComparison(pupil_mm, here, ideal, _told(induced, sd), lost)
