"""A series of operated eyes in, the constants of its implant out."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rimwise.exchange.lens_table import read_lens_series
from rimwise.exchange.results import document_of
from rimwise.exchange.writing import check_not_input, check_writable, write_json
from rimwise.plan.constant_methods import METHODS, ConstantFit
from rimwise.plan.formulas import CONSTANT, FormulaKey
from rimwise.plan.lens_constants import bootstrap_constant, eyes_needed, fit_constant
from rimwise.plan.lens_series import LensSeries, converted_constants, error_slopes
from rimwise.plan.share_series import share_table
from rimwise.plan.traced import FORMULA
from rimwise.plan.traced_eye import SHARE
from rimwise.published.formulas import published_formula
from rimwise.stats.intervals import Interval
from rimwise.stats.sampling import stream

SCHEMA = "rimwise.constants/1"
_FORMULAS: tuple[FormulaKey, ...] = ("srkt", "t2", "holladay1", "hofferq", "haigis")


@dataclass(frozen=True, slots=True)
class OwnConstant:
    """One answer: a formula's constant by one method, with its interval."""

    formula: str
    name: str
    fit: ConstantFit
    interval: Interval
    eyes_for_005: int

    def document(self) -> dict[str, Any]:
        """Return the entry of the results."""
        return {
            "formula": self.formula,
            "constant": self.name,
            **asdict(self.fit),
            "question": METHODS[self.fit.method],
            "interval_95": [self.interval.low, self.interval.high],
            "eyes_needed_for_0.05": self.eyes_for_005,
            "calibration": "own series" if self.fit.calibrated else "uncalibrated",
        }


def own_constants(
    table: Path,
    a_constant: float,
    keratometer_index: float | None = None,
    json_out: Path | str | None = None,
    implant_index: float | None = None,
) -> tuple[OwnConstant, ...]:
    """Which constants fit this surgeon's own series, in each honest sense?

    Parameters
    ----------
    table : path
        As :func:`rimwise.exchange.lens_table.read_lens_series` reads it.
    a_constant : float
        Where the search starts, for example as printed for the implant.
    keratometer_index : float, optional
    json_out : path, "-" or None
    implant_index : float, optional
        Of the implant, for the trace; the published middle if not given.

    Raises
    ------
    WrongInput
        The table cannot be used, or no constant near the start fits it.
    OutputFailed
        The document cannot be written.
    """
    if json_out is not None:
        check_writable(json_out)
        check_not_input(json_out, [table])
    series = read_lens_series(table, keratometer_index)
    start = {"a_constant": a_constant, **converted_constants(a_constant)}
    found = tuple(
        one
        for formula in _FORMULAS
        if formula != "haigis" or series.biometry.chamber_depth_mm is not None
        for one in _of_formula(formula, series, start)
    )
    found += _of_trace(series, implant_index)
    if json_out is not None:
        entry = {"schema": SCHEMA, "table": str(table), "eyes": len(series)}
        entry["constants"] = [one.document() for one in found]
        write_json(json_out, document_of([entry]))
    return found


def _of_formula(
    formula: FormulaKey, series: LensSeries, start: dict[str, float]
) -> list[OwnConstant]:
    answers = []
    for method in METHODS:
        fit = fit_constant(formula, series, method, start)
        drawn = stream(0, f"constants {formula} {method}")
        interval = bootstrap_constant(formula, series, fit, start, drawn)
        slope = float(
            np.mean(error_slopes(formula, series, {**start, CONSTANT[formula]: fit.value}))
        )
        needed = eyes_needed(fit.sd_dpt, slope)
        answers.append(
            OwnConstant(published_formula(formula).name, CONSTANT[formula], fit, interval, needed)
        )
    return answers


def _of_trace(series: LensSeries, implant_index: float | None) -> tuple[OwnConstant, ...]:
    """Return the share of the trace, where every eye has its chamber depth and lens thickness."""
    table = share_table(series, implant_index)
    if table is None:
        return ()
    answers = []
    for method in METHODS:
        fit = table.fit(method)
        interval = table.interval(fit, stream(0, f"constants {SHARE} {method}"))
        needed = eyes_needed(fit.sd_dpt, table.slope_dpt(fit.value))
        answers.append(OwnConstant(FORMULA, SHARE, fit, interval, needed))
    return tuple(answers)
