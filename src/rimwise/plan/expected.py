"""The refraction that each power is expected to leave, formula by formula, with its band."""

import math
from dataclasses import replace
from typing import get_args

import numpy as np

from rimwise.plan.constants_given import calibration_of
from rimwise.plan.formula_limits import formula_limits, vergence_refusal
from rimwise.plan.formulas import (
    CONSTANT,
    NEEDED,
    STATUS,
    Biometry,
    FormulaKey,
    formula_eye,
)
from rimwise.plan.lens_series import CALIBRATED_EYES, converted_constants
from rimwise.plan.traced import power_steps_dpt
from rimwise.plan.vergence import VERTEX_MM
from rimwise.published.formulas import published_formula
from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet, PlannedImplant
from rimwise.records.cover import Reason
from rimwise.records.lens_power import (
    BandLine,
    BandSource,
    ExpectedRefraction,
    LensConstants,
)
from rimwise.records.picture import CorneaSheet
from rimwise.terms.estimate import Estimate

_MEASURED: tuple[BandSource, ...] = ("keratometry", "axial-length")


def expected_refractions(
    case: CaseSheet,
) -> tuple[tuple[ExpectedRefraction, ...], tuple[Reason, ...]]:
    """Which refraction is each power expected to leave, and what is to be said about that?

    Parameters
    ----------
    case : CaseSheet

    Returns
    -------
    tuple of ExpectedRefraction
        Power by power, every formula that has its constants and measurements; empty with a reason
        where none has. No power is marked as the one to take.
    tuple of Reason

    Examples
    --------
    >>> expected_refractions(CaseSheet("E-1", "right", "keratoconus"))[1][0].code
    'refraction-refused'
    """
    refused = vergence_refusal(case.corneal_surgery)
    if refused is not None:
        return (), (refused,)
    eye = biometry_of(case)
    implant = case.implant
    if eye is None or implant is None or not implant.constants:
        return (), (_absent(case, eye),)
    given = _usable(implant, eye)
    if not given:
        return (), (_absent(case, eye),)
    powers = _powers_dpt(case, eye, given)
    lines = tuple(_line(f, eye, given[f], power) for power in powers for f in given)
    return lines, _warnings(lines)


def first_formula(case: CaseSheet) -> tuple[FormulaKey, LensConstants] | None:
    """Which formula, with which constants, speaks first about this eye, if one may?"""
    eye = biometry_of(case)
    if eye is None or case.implant is None or vergence_refusal(case.corneal_surgery) is not None:
        return None
    return next(iter(_usable(case.implant, eye).items()), None)


def _usable(implant: PlannedImplant, eye: Biometry) -> dict[FormulaKey, LensConstants]:
    """Return every formula that has its constants and measurements, with the constants."""
    formulas = [f for f in get_args(FormulaKey) if f != "haigis" or eye.chamber_depth_mm]
    return {f: found for f in formulas if (found := _constants(f, implant)) is not None}


def biometry_of(case: CaseSheet) -> Biometry | None:
    """What does the sheet give the formulas? None without length or keratometry."""
    radius, axial = _mean_radius_mm(case.cornea), case.lengths.axial_mm
    if radius is None or axial is None:
        return None
    return Biometry(axial, radius, case.lengths.chamber_depth_mm)


def _mean_radius_mm(cornea: CorneaSheet) -> float | None:
    """Return the radius of the mean power, which is what a mean keratometry means."""
    flat, steep = cornea.radius_flat_mm, cornea.radius_steep_mm
    if flat is not None and steep is not None:
        return 2.0 / (1.0 / flat + 1.0 / steep)
    return cornea.radius_mm


def _absent(case: CaseSheet, eye: Biometry | None) -> Reason:
    missing = []
    if eye is None:
        missing += ["axial_mm in [lengths]"] if case.lengths.axial_mm is None else []
        missing += ["radius_flat_mm and radius_steep_mm in [cornea]"] * (
            _mean_radius_mm(case.cornea) is None
        )
    if case.implant is None or not any(
        _constants(formula, case.implant) for formula in get_args(FormulaKey)
    ):
        missing.append("a lens constant (a_constant, sf, pacd, or a0, a1, a2) in [implant]")
    elif not missing:
        missing.append("chamber_depth_mm in [lengths]")
    return Reason(
        "refraction-absent",
        "No refraction is expected by the vergence formulas: the case sheet lacks "
        + ", ".join(missing)
        + ".",
    )


def _constants(formula: FormulaKey, implant: PlannedImplant) -> LensConstants | None:
    own = implant.constants
    needed = NEEDED[formula]
    if CONSTANT[formula] in own:
        values = {**converted_constants(0.0), **own}
        origin, calibration = calibration_of(implant.constants_source)
        pairs = tuple((name, values[name]) for name in needed)
        return LensConstants(pairs, origin, calibration)
    if "a_constant" not in own:
        return None
    values = converted_constants(own["a_constant"])
    origin = f"converted from a_constant {own['a_constant']:g}, a relation from memory"
    return LensConstants(tuple((n, values[n]) for n in needed), origin, "uncalibrated")


def _powers_dpt(
    case: CaseSheet, eye: Biometry, given: dict[FormulaKey, LensConstants]
) -> tuple[float, ...]:
    """Return the steps about the planned power, or about what the formulas want for the goal."""
    middle = None if case.implant is None else case.implant.power_dpt
    if middle is None:
        step = published_value("refraction", "power_step").value
        goal = case.goal.refraction_dpt or 0.0  # only where the list is centred
        wanted = [float(formula_eye(f, eye, dict(given[f].values)).power_dpt(goal)) for f in given]
        middle = step * round(float(np.median(wanted)) / step)
    return power_steps_dpt(middle)


def _line(
    formula: FormulaKey, eye: Biometry, constants: LensConstants, power_dpt: float
) -> ExpectedRefraction:
    values = dict(constants.values)
    seen = formula_eye(formula, eye, values)
    value = float(seen.refraction_dpt(power_dpt))
    band = _band(formula, eye, constants, power_dpt)
    sd = math.sqrt(sum(line.sd_dpt**2 for line in band))
    first = next(line.source for line in band if line.source in _MEASURED)
    return ExpectedRefraction(
        formula=published_formula(formula).name,
        status=STATUS,
        power_dpt=power_dpt,
        refraction_dpt=Estimate(value, sd, "error budget of a thin-lens eye"),
        lens_position_mm=float(seen.lens_mm),
        constants=constants,
        band=band,
        repeat_first=first,
        limits=formula_limits(formula, eye),
    )


def _band(
    formula: FormulaKey, eye: Biometry, constants: LensConstants, power_dpt: float
) -> tuple[BandLine, ...]:
    """Return what each source adds, largest first; slopes through the whole formula."""
    values = dict(constants.values)

    def expected(changed: Biometry) -> float:
        return float(formula_eye(formula, changed, values).refraction_dpt(power_dpt))

    def added(name: str, table: str, key: str) -> float:
        sd = published_value(table, key).sd or 0.0
        middle = getattr(eye, name)
        ends = [expected(replace(eye, **{name: middle + d})) for d in (-0.5 * sd, 0.5 * sd)]
        return abs(ends[1] - ends[0])

    seen = formula_eye(formula, eye, values)
    at_cornea = float(seen.at_cornea_dpt(power_dpt))
    to_spectacles = (1.0 + VERTEX_MM / 1000.0 * at_cornea) ** -2
    slope = float(seen.slope_dpt_per_mm(power_dpt)) * to_spectacles
    position = published_value("refraction", "lens_position").sd or 0.0
    lines = (
        BandLine("lens-position", abs(slope) * position),
        BandLine("keratometry", added("radius_mm", "instruments", "front_radius")),
        BandLine("axial-length", added("axial_mm", "refraction", "axial_length")),
        BandLine("refraction-itself", published_value("refraction", "refraction_itself").sd or 0.0),
    )
    return tuple(sorted(lines, key=lambda line: -line.sd_dpt))


def _warnings(lines: tuple[ExpectedRefraction, ...]) -> tuple[Reason, ...]:
    found = [
        Reason(
            "refraction-expected",
            f"Refractions are expected, by formulas whose status is: {STATUS}; a power is never "
            "chosen here.",
        ),
        Reason(
            "refraction-band",
            "The ± of a refraction adds up recalled scatters of the measurements and of the "
            "lens's place; it was never checked on patients.",
        ),
    ]
    plain = sorted({one.formula for one in lines if one.constants.calibration == "uncalibrated"})
    if plain:
        found.append(
            Reason(
                "refraction-uncalibrated",
                f"Uncalibrated: {', '.join(plain)}; a constant counts from a named source or from "
                f"{CALIBRATED_EYES} own eyes on (constants_source in [implant]).",
            )
        )
    limits = {one.code: one for line in lines for one in line.limits}
    return (*found, *limits.values())
