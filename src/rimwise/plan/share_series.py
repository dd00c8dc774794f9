"""The trace's own constant from a surgeon's series: the share of the lens before the implant."""

from dataclasses import dataclass

import numpy as np

from rimwise.plan.constant_methods import METHODS, ConstantFit, Method, crossing, draws, of_eyes
from rimwise.plan.lens_series import LensSeries, check_enough
from rimwise.plan.traced import placed_record
from rimwise.plan.traced_eye import thick_eye, traced_eye, traced_numbers
from rimwise.published.load import published_value
from rimwise.records.case import CaseLengths, CaseSheet, PlannedImplant
from rimwise.records.picture import CorneaSheet
from rimwise.stats.intervals import Interval
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_LIMITS = (-0.5, 1.5)  # as a case sheet allows
_NODES = 401


@dataclass(frozen=True, slots=True, eq=False)
class ShareTable:
    """What the trace makes of every eye of a series at every share, 401 of them.

    Parameters
    ----------
    shares : array (k,)
    errors_dpt, slopes_dpt : array (k, eyes)
        Prediction errors (achieved - predicted) and their change with the share.
    people : tuple of str
    """

    shares: FloatArray
    errors_dpt: FloatArray
    slopes_dpt: FloatArray
    people: tuple[str, ...]

    def fit(self, method: Method) -> ConstantFit:
        """Which share fits this series, in the sense that the method names?

        Raises
        ------
        WrongInput
            None between -0.5 and 1.5 does.
        """
        everyone = np.ones(len(self.people))
        if method in ("mean-of-eyes", "median-of-eyes"):
            value = float(of_eyes(self._of_each(), everyone[None], method)[0])
        else:
            value = crossing(self.shares, (self.errors_dpt, self.slopes_dpt), everyone, method)
        if value in (self.shares[0], self.shares[-1]):
            raise WrongInput(
                f"no share between {_LIMITS[0]:g} and {_LIMITS[1]:g} answers ({METHODS[method]}); "
                "check the lengths and refractions of the table"
            )
        errors = np.array([np.interp(value, self.shares, one) for one in self.errors_dpt.T])
        return ConstantFit(
            method,
            value,
            float(errors.mean()),
            float(errors.std(ddof=1)),
            float(np.abs(errors).mean()),
            float(np.median(np.abs(errors))),
            len(errors),
        )

    def interval(self, fit: ConstantFit, generator: np.random.Generator) -> Interval:
        """Between which shares does this method's lie with 95 %, were the series drawn again?"""
        counts = draws(self.people, generator)
        if fit.method in ("mean-of-eyes", "median-of-eyes"):
            found = of_eyes(self._of_each(), counts, fit.method)
        else:
            table = (self.errors_dpt, self.slopes_dpt)
            found = np.array([crossing(self.shares, table, one, fit.method) for one in counts])
        low, high = np.quantile(found, (0.025, 0.975))
        return Interval(fit.value, float(low), float(high))

    def slope_dpt(self, share: float) -> float:
        """By how many dioptres does the mean prediction error change for a whole lens?"""
        return float(np.interp(share, self.shares, self.slopes_dpt.mean(axis=1)))

    def _of_each(self) -> FloatArray:
        """Return the share that would fit each eye alone; a deeper implant always errs lower."""
        return np.array([np.interp(0.0, -one, self.shares) for one in self.errors_dpt.T])


def share_table(series: LensSeries, index: float | None = None) -> ShareTable | None:
    """What does the trace make of this series, by the share of the lens before the implant?

    Parameters
    ----------
    series : LensSeries
        At least three eyes.
    index : float, optional
        Of the implant; the published middle if not given.

    Returns
    -------
    ShareTable or None
        None without chamber depth and lens thickness for every eye.

    Raises
    ------
    WrongInput
        Fewer than three eyes.

    Examples
    --------
    >>> from rimwise.plan.formulas import Biometry
    >>> eyes = Biometry(np.array([22.9, 23.6, 24.4]), np.full(3, 7.7), np.array([2.9, 3.1, 3.3]))
    >>> own = LensSeries(eyes, np.array([22.5, 20.5, 18.5]), np.zeros(3), None, np.full(3, 4.5))
    >>> table = share_table(own)
    >>> table.errors_dpt.shape, abs(table.fit("mean-zero").offset_dpt) < 1e-4
    ((401, 3), True)
    """
    check_enough(series)
    chamber, thickness = series.biometry.chamber_depth_mm, series.lens_thickness_mm
    if chamber is None or thickness is None:
        return None
    shares = np.linspace(*_LIMITS, _NODES)
    columns = (series.biometry.radius_mm, series.biometry.axial_mm, chamber, thickness)
    rows = np.column_stack([np.broadcast_to(np.asarray(one), len(series)) for one in columns])
    predicted = [
        _predicted_dpt(_case(row, index), float(power), shares)
        for row, power in zip(rows, series.power_dpt, strict=True)
    ]
    errors = series.achieved_dpt - np.array(predicted).T
    return ShareTable(shares, errors, np.gradient(errors, shares, axis=0), series.people)


def _case(row: FloatArray, index: float | None) -> CaseSheet:
    radius, axial, chamber, thickness = (float(one) for one in row)
    optic = published_value("eye_priors", "implant_optic").value
    return CaseSheet(
        "series",
        "right",  # the mean refraction along the axis knows no side
        "none",
        cornea=CorneaSheet(radius),
        lengths=CaseLengths(axial, chamber, thickness),
        implant=PlannedImplant(optic, index=index),
    )


def _predicted_dpt(case: CaseSheet, power_dpt: float, shares: FloatArray) -> FloatArray:
    eye = traced_eye(case)
    shape = placed_record(eye, case, power_dpt).implant
    assert shape is not None
    values = {name: one.value for name, one in traced_numbers(eye).items()}
    moved = (shares - eye.share) * eye.lens_mm.value
    return thick_eye(eye, shape, values | {"lens-position": moved}).refraction_dpt()
