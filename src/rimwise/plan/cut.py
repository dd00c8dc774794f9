"""What a cut of a set size is expected to leave: the capsule stretches and retracts."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.plan import CutExpected
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

_FEWEST = 3


@dataclass(frozen=True, slots=True)
class Stretch:
    """Diameter left = ``factor`` x size set + ``shift_mm``, ± ``sd_mm`` and ± ``factor_sd``.

    ``eyes`` is how many own eyes stand behind the factor: its own doubt then joins its scatter.
    """

    factor: float
    shift_mm: float
    factor_sd: float
    sd_mm: float
    origin: str
    eyes: int | None = None

    def left_mm(self, cut_mm: float) -> Estimate:
        """Which diameter is a cut of this size expected to leave?

        Examples
        --------
        >>> Stretch(1.0, 0.33, 0.0, 0.31, "adults").left_mm(5.0).value
        5.33
        """
        doubt = 1.0 if self.eyes is None else math.sqrt(1.0 + 1.0 / self.eyes)
        sd = math.hypot(self.sd_mm, self.factor_sd * doubt * cut_mm)
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
    return Stretch(float(ratio.mean()), 0.0, float(ratio.std(ddof=1)), 0.0, origin, len(one))


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


def child_stretch(case: CaseSheet) -> tuple[Reason, ...]:
    """What does a published relation say of this child's capsule? Nothing is planned from it.

    Examples
    --------
    >>> child_stretch(CaseSheet("E-1", "right", "none", age_years=9.0))
    ()
    """
    chamber, axial = case.lengths.chamber_depth_mm, case.lengths.axial_mm
    if chamber is None or axial is None:
        return ()
    entry = published_value("opening", "stretch_child_constant")
    return (
        Reason(
            "child-stretch",
            "In children a capsule cut to a size was found to open "
            f"{stretch_of_child(chamber, axial):.2f} times as wide in eyes of this chamber depth "
            f"and length ({entry.source.cite}; {entry.source.status}); nothing is planned from it.",
        ),
    )


def cut_expected(
    case: CaseSheet, planned_mm: float | None, own: Stretch | None = None
) -> CutExpected | None:
    """What does the cut of the sheet leave, or which cut is expected to leave what is planned?

    Parameters
    ----------
    case : CaseSheet
        Its stretch ratio outranks the surgeon's own, which outranks the published relation.
    planned_mm : float or None
    own : Stretch, optional
        Fitted from the surgeon's own eyes.

    Examples
    --------
    >>> cut_expected(CaseSheet("E-1", "right", "none"), 5.25).cut_mm
    4.92
    """
    wish, stretch = case.opening, own or _of_adults()
    if wish.stretch_ratio is not None:
        stretch = Stretch(wish.stretch_ratio, 0.0, wish.stretch_ratio_sd or 0.0, 0.0, "case sheet")
    if wish.cut_mm is not None:
        return CutExpected(wish.cut_mm, stretch.left_mm(wish.cut_mm))
    if planned_mm is None:
        return None
    cut = stretch.cut_mm(planned_mm)
    return CutExpected(cut, stretch.left_mm(cut))


def _of_adults() -> Stretch:
    prior = published_value("opening", "stretch_adult")
    words = f"published adults, {prior.source.status}"
    return Stretch(1.0, prior.value, 0.0, prior.sd or 0.0, words)
