"""What a cut of a set size is expected to leave: the capsule stretches and retracts."""

from dataclasses import dataclass

import numpy as np

from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet
from rimwise.records.plan import CutExpected
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

_FEWEST = 3


@dataclass(frozen=True, slots=True)
class Stretch:
    """Diameter left = ``factor`` x size set + ``shift_mm``, ± ``sd_mm`` and ± ``factor_sd``."""

    factor: float
    shift_mm: float
    factor_sd: float
    sd_mm: float
    origin: str

    def left_mm(self, cut_mm: float) -> Estimate:
        """Which diameter is a cut of this size expected to leave?

        Examples
        --------
        >>> Stretch(1.0, 0.33, 0.0, 0.31, "adults").left_mm(5.0).value
        5.33
        """
        sd = float(np.hypot(self.sd_mm, self.factor_sd * cut_mm))
        return Estimate(self.factor * cut_mm + self.shift_mm, sd, self.origin)

    def cut_mm(self, left_mm: float) -> float:
        """Which size of cut is expected to leave this diameter?

        Examples
        --------
        >>> round(Stretch(1.05, 0.0, 0.03, 0.0, "own eyes").cut_mm(5.25), 9)
        5.0
        """
        return (left_mm - self.shift_mm) / self.factor


def fit_stretch(set_mm: FloatArray, left_mm: FloatArray) -> Stretch:
    """Which stretch ratio, with which scatter, do these own eyes show?

    Raises
    ------
    WrongInput
        Fewer than three eyes, or sizes that are not above 0.

    Examples
    --------
    >>> found = fit_stretch(np.array([5.0, 5.0, 5.2]), np.array([5.2, 5.3, 5.46]))
    >>> round(found.factor, 3), round(found.factor_sd, 3)
    (1.05, 0.01)
    """
    one, other = np.asarray(set_mm, np.float64), np.asarray(left_mm, np.float64)
    if one.shape != other.shape or one.ndim != 1 or len(one) < _FEWEST:
        raise WrongInput(
            f"a stretch ratio was asked of {one.size} sizes set and {other.size} diameters left; "
            f"{_FEWEST} pairs or more are needed"
        )
    if not min(one.min(), other.min()) > 0.0:
        raise WrongInput("sizes set and diameters left must be above 0 mm; check the table")
    ratio = other / one
    origin = f"{len(one)} own eyes"
    return Stretch(float(ratio.mean()), 0.0, float(ratio.std(ddof=1)), 0.0, origin)


def stretch_of_child(chamber_mm: float, axial_mm: float) -> float:
    """Which stretch ratio does the published relation expect of a child's capsule?

    For the reader; no opening of a child is planned here.

    Examples
    --------
    >>> round(stretch_of_child(3.0, 21.0), 3)
    1.21
    """
    constant, chamber, axial = (
        published_value("opening", f"stretch_child_{key}").value
        for key in ("constant", "per_chamber", "per_axial")
    )
    return constant + chamber * chamber_mm + axial * axial_mm


def cut_expected(case: CaseSheet, planned_mm: float | None) -> CutExpected | None:
    """What does the cut of the sheet leave, or which cut is expected to leave what is planned?

    Examples
    --------
    >>> cut_expected(CaseSheet("E-1", "right", "none"), 5.25).cut_mm
    4.92
    """
    wish = case.opening
    if wish.stretch_ratio is None:
        prior = published_value("opening", "stretch_adult")
        words = f"published adults, {prior.source.status}"
        stretch = Stretch(1.0, prior.value, 0.0, prior.sd or 0.0, words)
    else:
        stretch = Stretch(wish.stretch_ratio, 0.0, wish.stretch_ratio_sd or 0.0, 0.0, "case sheet")
    if wish.cut_mm is not None:
        return CutExpected(wish.cut_mm, stretch.left_mm(wish.cut_mm))
    if planned_mm is None:
        return None
    cut = stretch.cut_mm(planned_mm)
    return CutExpected(cut, stretch.left_mm(cut))
