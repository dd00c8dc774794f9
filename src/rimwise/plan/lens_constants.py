"""Constants of an implant from a surgeon's own series: several honest answers, each with a name."""

import math

import numpy as np

from rimwise.plan.constant_methods import (
    METHODS,
    ConstantFit,
    Method,
    crossing,
    draws,
    of_eyes,
    rising,
    zero_at,
)
from rimwise.plan.formulas import (
    CONSTANT,
    Constants,
    FormulaKey,
    formula_eye,
    position_per_constant,
)
from rimwise.plan.lens_series import (
    LensSeries,
    check_enough,
    error_slopes,
    positions_mm,
    prediction_errors_dpt,
)
from rimwise.stats.intervals import Interval
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_REACH = 5.0  # constants are sought so far from the start; no implant is mislabelled by more
_NODES = 501
_Z95 = 1.959963984540054


def fit_constant(
    formula: FormulaKey, series: LensSeries, method: Method, constants: Constants
) -> ConstantFit:
    """Which constant fits this series, in the sense that the method names?

    Parameters
    ----------
    formula : str
    series : LensSeries
        At least three eyes.
    method : str
        One of ``METHODS``; they answer different questions and differ.
    constants : mapping
        Where to start; Haigis' a1 and a2 stay as they are.

    Raises
    ------
    WrongInput
        Too few eyes, or no such constant within 5 units of the start.

    Examples
    --------
    >>> from rimwise.plan.formulas import Biometry
    >>> axial, radius = np.array([22.9, 23.6, 24.4]), np.array([7.6, 7.7, 7.8])
    >>> own = LensSeries(Biometry(axial, radius), np.array([23.0, 21.0, 19.0]), np.zeros(3))
    >>> start = {"a_constant": 118.4}
    >>> fit = fit_constant("srkt", own, "mean-zero", start)
    >>> abs(round(fit.offset_dpt, 9)), fit.calibrated
    (0.0, False)
    """
    check_enough(series)
    name = CONSTANT[formula]
    if method in ("mean-of-eyes", "median-of-eyes"):
        own = _constantsof_eyes(formula, series, constants)
        value = float(np.mean(own) if method == "mean-of-eyes" else np.median(own))
    else:
        from scipy.optimize import brentq  # noqa: PLC0415 - SciPy is loaded late

        low, high = _bracket(formula, series, method, constants)
        value = float(
            brentq(
                lambda at: float(_condition(formula, series, method, {**constants, name: at})),
                low,
                high,
                xtol=1e-12,
            )
        )
    errors = prediction_errors_dpt(formula, series, {**constants, name: value})
    return ConstantFit(
        method,
        value,
        float(errors.mean()),
        float(errors.std(ddof=1)),
        float(np.abs(errors).mean()),
        float(np.median(np.abs(errors))),
        len(series),
    )


def bootstrap_constant(
    formula: FormulaKey,
    series: LensSeries,
    fit: ConstantFit,
    constants: Constants,
    generator: np.random.Generator,
) -> Interval:
    """Between which constants does this method's lie with 95 %, were the series drawn again?

    Persons are drawn again, with both their eyes; 2,000 times, percentile interval. A drawn series
    without an answer within 5 units of the start counts at the end that it leans to.

    Examples
    --------
    >>> from rimwise.plan.formulas import Biometry
    >>> axial, radius = np.array([22.9, 23.6, 24.4]), np.array([7.6, 7.7, 7.8])
    >>> own = LensSeries(Biometry(axial, radius), np.array([23.0, 21.0, 19.0]), np.zeros(3))
    >>> start = {"a_constant": 118.4}
    >>> fit = fit_constant("srkt", own, "mean-zero", start)
    >>> found = bootstrap_constant("srkt", own, fit, start, np.random.default_rng(1))
    >>> found.low <= fit.value <= found.high
    True
    """
    counts = draws(series.people, generator)
    if fit.method in ("mean-of-eyes", "median-of-eyes"):
        own = _constantsof_eyes(formula, series, constants)
        found = of_eyes(own, counts, fit.method)
    else:
        nodes, table = _table(formula, series, constants)
        found = np.array([crossing(nodes, table, count, fit.method) for count in counts])
    low, high = np.quantile(found, (0.025, 0.975))
    return Interval(fit.value, float(low), float(high))


def eyes_needed(sd_dpt: float, slope_dpt: float, half_width: float = 0.05) -> int:
    """How many eyes does a mean-zero constant need to be known to ± half_width (95 %)?

    Parameters
    ----------
    sd_dpt : float
        Scatter of the prediction errors.
    slope_dpt : float
        Mean change of a prediction error for one unit of the constant, either sign.
    half_width : float
        In units of the constant.

    Examples
    --------
    >>> eyes_needed(0.4, -0.8166), eyes_needed(0.4, -1.3)
    (369, 146)
    """
    if not (sd_dpt >= 0.0 and slope_dpt != 0.0 and half_width > 0.0):
        raise WrongInput("a number of eyes needs a scatter of 0 or more and a slope that is not 0")
    return math.ceil((_Z95 * sd_dpt / (abs(slope_dpt) * half_width)) ** 2)


def _constantsof_eyes(formula: FormulaKey, series: LensSeries, constants: Constants) -> FloatArray:
    """Return the constant that would fit each eye alone."""
    seen = formula_eye(formula, series.biometry, constants)
    moved = positions_mm(seen, series) - seen.lens_mm
    return np.asarray(constants[CONSTANT[formula]] + moved / position_per_constant(formula))


def _condition(
    formula: FormulaKey, series: LensSeries, method: Method, constants: Constants
) -> FloatArray:
    """Return what is zero at the wanted constant; along the last axis of eyes."""
    errors = prediction_errors_dpt(formula, series, constants)
    slopes = error_slopes(formula, series, constants)
    return zero_at(errors, slopes, method, np.full(len(series), 1.0 / len(series)))


def _nodes(formula: FormulaKey, constants: Constants) -> FloatArray:
    start = float(constants[CONSTANT[formula]])
    return np.linspace(start - _REACH, start + _REACH, _NODES)


def _table(
    formula: FormulaKey, series: LensSeries, constants: Constants
) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """Return constants (k,) with errors and slopes (k, eyes) at each."""
    nodes = _nodes(formula, constants)
    tried = {**constants, CONSTANT[formula]: nodes[:, None]}
    errors = prediction_errors_dpt(formula, series, tried)
    return nodes, (errors, error_slopes(formula, series, tried))


def _bracket(
    formula: FormulaKey, series: LensSeries, method: Method, constants: Constants
) -> tuple[float, float]:
    nodes, (errors, slopes) = _table(formula, series, constants)
    weight = np.full(len(series), 1.0 / len(series))
    at = rising(zero_at(errors, slopes, method, weight), errors, weight)
    if at is None:
        raise WrongInput(
            f"no constant within {_REACH:g} of {float(constants[CONSTANT[formula]]):g} answers "
            f"({METHODS[method]}); check the series, or start elsewhere"
        )
    return float(nodes[at]), float(nodes[at + 1])
