"""A surgeon's own series with one kind of implant, and what its eyes say about lens constants."""

from dataclasses import dataclass, replace

import numpy as np

from rimwise.plan.formulas import (
    Biometry,
    Constants,
    FormulaKey,
    formula_eye,
    position_per_constant,
)
from rimwise.plan.vergence import VERTEX_MM, ThinEye, lens_position_mm
from rimwise.published.formulas import published_formula
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

CALIBRATED_EYES = 30  # fewer own eyes leave a constant uncalibrated
_FEWEST = 3


@dataclass(frozen=True, slots=True, eq=False)
class LensSeries:
    """Operated eyes with one kind of implant; arrays of one length.

    Parameters
    ----------
    biometry : Biometry
    power_dpt : array
        Implanted.
    achieved_dpt : array
        Spherical equivalent at the spectacle plane.
    persons : tuple of str or None
        Who each eye belongs to; None where every eye is another person's.
    lens_thickness_mm : array or None
        Of the natural lens; the trace needs it, the formulas do not.
    """

    biometry: Biometry
    power_dpt: FloatArray
    achieved_dpt: FloatArray
    persons: tuple[str, ...] | None = None
    lens_thickness_mm: FloatArray | None = None

    @property
    def people(self) -> tuple[str, ...]:
        """Return who each eye belongs to."""
        return self.persons or tuple(str(i) for i in range(len(self)))

    def __len__(self) -> int:
        """Return the number of eyes."""
        return len(self.power_dpt)


def converted_constants(a_constant: float) -> dict[str, float]:
    """Which other constants would go with this A constant, for a first guess?

    Examples
    --------
    >>> {name: round(value, 6) for name, value in converted_constants(118.4).items()}
    {'sf': 1.44992, 'pacd': 5.198688, 'a0': 1.526928, 'a1': 0.4, 'a2': 0.1}
    """
    c, haigis = published_formula("constants").numbers, published_formula("haigis").numbers
    return {
        "sf": c["sf_slope"] * a_constant + c["sf_constant_mm"],
        "pacd": c["pacd_slope"] * a_constant + c["pacd_constant_mm"],
        "a0": c["a0_slope"] * a_constant + c["a0_constant_mm"],
        "a1": haigis["plain_a1_mm_per_mm"],
        "a2": haigis["plain_a2_mm_per_mm"],
    }


def pacd_from_sf(sf: float) -> float:
    """Which personal depth goes with a surgeon factor?

    Examples
    --------
    >>> round(pacd_from_sf(1.44992), 9)
    5.198804617
    """
    c = published_formula("constants").numbers
    return (sf + c["pacd_from_sf_shift_mm"]) / c["pacd_from_sf_divisor"]


def prediction_errors_dpt(
    formula: FormulaKey, series: LensSeries, constants: Constants
) -> FloatArray:
    """How far is each achieved refraction from the predicted one (achieved - predicted)?"""
    seen = formula_eye(formula, series.biometry, constants)
    return np.asarray(series.achieved_dpt - seen.refraction_dpt(series.power_dpt))


def error_slopes(formula: FormulaKey, series: LensSeries, constants: Constants) -> FloatArray:
    """By how many dioptres does each prediction error change for one unit of the constant?

    Closed form: slope over the position, times position over the constant, at the spectacle plane.

    Examples
    --------
    >>> eyes = Biometry(np.array([23.6]), np.array([7.7]))
    >>> one = LensSeries(eyes, np.array([21.0]), np.zeros(1))
    >>> error_slopes("srkt", one, {"a_constant": 118.4}).round(1).tolist()
    [-0.9]
    """
    seen = formula_eye(formula, series.biometry, constants)
    at_cornea = seen.at_cornea_dpt(series.power_dpt)
    to_spectacles = _spectacle_slope(at_cornea)
    per_constant = position_per_constant(formula)
    return -seen.slope_dpt_per_mm(series.power_dpt) * per_constant * to_spectacles


def _spectacle_slope(at_cornea_dpt: FloatArray) -> FloatArray:
    return np.asarray((1.0 + VERTEX_MM / 1000.0 * at_cornea_dpt) ** -2)


def check_enough(series: LensSeries, fewest: int = _FEWEST) -> None:
    """Refuse a series that is too small for the question.

    Raises
    ------
    WrongInput
        Fewer eyes than that.
    """
    if len(series) < fewest:
        raise WrongInput(
            f"a constant was asked of {len(series)} eyes, and at least {fewest} are needed; from "
            f"{CALIBRATED_EYES} on it counts as calibrated"
        )


def haigis_by_position(series: LensSeries) -> tuple[float, float, float]:
    """Which a0, a1, a2 fit the back-calculated positions of the implants best?

    Least squares on positions in mm; answers another question than ``haigis_by_refraction``.
    """
    check_enough(series, 4)
    seen = formula_eye("haigis", series.biometry, {"a0": 0.0, "a1": 0.0, "a2": 0.0})
    positions = positions_mm(seen, series)
    found = np.linalg.lstsq(_haigis_design(series), positions, rcond=None)[0]
    return float(found[0]), float(found[1]), float(found[2])


def haigis_by_refraction(series: LensSeries) -> tuple[float, float, float]:
    """Which a0, a1, a2 leave the smallest sum of squared prediction errors?"""
    from scipy.optimize import least_squares  # noqa: PLC0415 - SciPy is loaded late

    check_enough(series, 4)

    design = _haigis_design(series)

    def constants(triple: FloatArray) -> Constants:
        return dict(zip(("a0", "a1", "a2"), triple.tolist(), strict=True))

    found = least_squares(
        lambda triple: prediction_errors_dpt("haigis", series, constants(triple)),
        haigis_by_position(series),
        jac=lambda triple: error_slopes("haigis", series, constants(triple))[:, None] * design,
        x_scale="jac",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    ).x
    return float(found[0]), float(found[1]), float(found[2])


def _haigis_design(series: LensSeries) -> FloatArray:
    depth, axial = series.biometry.chamber_depth_mm, series.biometry.axial_mm
    count = len(series)
    columns = (np.ones(count), np.broadcast_to(np.asarray(depth), count), np.asarray(axial))
    return np.stack(columns, axis=-1).astype(np.float64)


def positions_mm(seen: ThinEye, series: LensSeries) -> FloatArray:
    """Where must each implant have come to rest, if the formula's eye is right otherwise?"""
    count = len(series)
    lengths = np.broadcast_to(seen.length_mm, count)
    corneas = np.broadcast_to(seen.cornea_dpt, count)
    return np.array(
        [
            lens_position_mm(
                replace(seen, length_mm=float(lengths[i]), cornea_dpt=float(corneas[i])),
                float(series.power_dpt[i]),
                float(series.achieved_dpt[i]),
            )
            for i in range(count)
        ]
    )
