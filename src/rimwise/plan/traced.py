"""The refraction that each power is expected to leave by a trace of this eye with its implant."""

import math
from dataclasses import replace

import numpy as np

from rimwise.eye.build import eye_model
from rimwise.eye.implant import ImplantTerms
from rimwise.eye.known import Known
from rimwise.eye.refraction import narrow_refraction
from rimwise.eye.this_eye import eye_record
from rimwise.plan.lens_series import CALIBRATED_EYES
from rimwise.plan.traced_eye import (
    SHARE,
    TracedEye,
    thick_eye,
    trace_lacks,
    traced_eye,
    traced_numbers,
)
from rimwise.plan.vergence import at_spectacles_dpt
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.eye import EyeRecord, ImplantShape
from rimwise.records.lens_power import (
    BandLine,
    BandSource,
    DrawnBand,
    ExpectedRefraction,
    LensConstants,
)
from rimwise.stats.sampling import stream
from rimwise.terms.estimate import Estimate

FORMULA, STATUS = "exact trace", "rays through the surfaces of this eye; position predicted"
DRAWN_EYES = 10_000
_STEPS_EACH_WAY = 3
_POWERS_DPT = (-20.0, 60.0)  # what a sheet allows, short of where no optic exists
_Z95 = 1.959963984540054
# An implant of no power has plane surfaces; these bend a millionth of a dioptre and have a radius.
FLATTEST_DPT = 1e-6
_POSITION: BandSource = "lens-position"
_ITSELF: BandSource = "refraction-itself"


def traced_refractions(
    case: CaseSheet, powers_dpt: tuple[float, ...]
) -> tuple[tuple[ExpectedRefraction, ...], tuple[Reason, ...], tuple[Assumption, ...]]:
    """Which refraction is each power expected to leave in this very eye, and on what does it rest?

    Parameters
    ----------
    case : CaseSheet
    powers_dpt : tuple of float
        Where empty, the steps about the planned power, or about what leaves the goal.

    Returns
    -------
    tuple of ExpectedRefraction
        Power by power; empty, with a reason, where something must still be measured.
    tuple of Reason
    tuple of Assumption

    Examples
    --------
    >>> traced_refractions(CaseSheet("E-1", "right", "graft"), ())[1][0].code
    'trace-lacks'
    """
    lacks = trace_lacks(case)
    if lacks is not None:
        return (), (lacks,), ()
    eye = traced_eye(case)
    powers = powers_dpt or power_steps_dpt(wanted_power_dpt(eye, case))
    lines = tuple(trace_power(eye, case, power) for power in powers)
    return lines, _said(case, lines), eye.assumptions


def power_steps_dpt(middle_dpt: float) -> tuple[float, ...]:
    """Which steps lie about this power?

    Examples
    --------
    >>> power_steps_dpt(21.0)
    (19.5, 20.0, 20.5, 21.0, 21.5, 22.0, 22.5)
    """
    step = published_value("refraction", "power_step").value
    return tuple(middle_dpt + step * k for k in range(-_STEPS_EACH_WAY, _STEPS_EACH_WAY + 1))


def wanted_power_dpt(eye: TracedEye, case: CaseSheet) -> float:
    """Return the planned power, else the step nearest to what leaves the goal, by halving."""
    implant = case.implant
    if implant is not None and implant.power_dpt is not None:
        return implant.power_dpt
    goal = case.goal.refraction_dpt or 0.0  # only where the list is centred
    middle = {name: one.value for name, one in traced_numbers(eye).items()}
    low, high = _POWERS_DPT
    for _ in range(20):
        tried = 0.5 * (low + high)
        shape = placed_record(eye, case, tried).implant
        assert shape is not None
        left = float(thick_eye(eye, shape, middle).refraction_dpt())
        low, high = (tried, high) if left > goal else (low, tried)
    step = published_value("refraction", "power_step").value
    return step * round(low / step)


def _said(case: CaseSheet, lines: tuple[ExpectedRefraction, ...]) -> tuple[Reason, ...]:
    found = [
        Reason(
            "trace-expected",
            "The exact trace goes along the corneal axis through an upright, centred, generic "
            "implant of this power and index in a narrow pupil; a power is expected, never chosen.",
        ),
        Reason(
            "drawn-eyes",
            f"That the ± holds on {DRAWN_EYES} drawn eyes shows that it was added up rightly and "
            "proves nothing about patients.",
        ),
    ]
    if lines[0].constants.calibration == "uncalibrated":
        found.append(
            Reason(
                "trace-uncalibrated",
                f"Uncalibrated: exact trace; {SHARE} in [implant] counts from a named source or "
                f"from {CALIBRATED_EYES} own eyes on (constants_source).",
            )
        )
    return (*found, *_not_held(case))


def _not_held(case: CaseSheet) -> list[Reason]:
    """Say what of this eye the trace does not hold."""
    found: list[Reason] = []
    if case.implant is not None and case.implant.profile is not None:
        found.append(
            Reason(
                "trace-without-profile",
                "The implant's profile is not in the expected refraction: it is that of the optic "
                "alone, and of several foci at best one.",
            )
        )
    if "weak-zonule" in case.risks:
        found.append(
            Reason(
                "trace-loose-lens",
                "The zonule is weak: the implant's expected position and its ± hold for a firm bag "
                "only, so the refraction may lie well outside its ±.",
            )
        )
    if case.corneal_surgery != "none":
        found.append(
            Reason(
                "trace-after-surgery",
                f"The trace of this cornea, given as {case.corneal_surgery!r}, rests on its "
                "measured front, back and thickness alone; errors of these instruments after "
                "surgery are larger than the ± allows for.",
            )
        )
    return found


def trace_power(eye: TracedEye, case: CaseSheet, power_dpt: float) -> ExpectedRefraction:
    """Which refraction does a trace of this eye expect of one power, and how surely?

    The implant stands upright and centred; light goes along the corneal axis through a narrow
    pupil. The power is expected, never chosen.
    """
    placed = placed_record(eye, case, power_dpt)
    found = narrow_refraction(eye_model(placed), (0.0, 0.0))
    # Both meridians go to the spectacle plane; the mean is taken there.
    ends = (found.sphere_dpt, found.sphere_dpt + found.cylinder_dpt)
    value = float(np.mean([at_spectacles_dpt(one) for one in ends]))
    assert placed.implant is not None
    band = _band(eye, placed.implant)
    sd = math.sqrt(sum(line.sd_dpt**2 for line in band))
    measured = [line.source for line in band if line.source not in (_POSITION, _ITSELF)]
    return ExpectedRefraction(
        formula=FORMULA,
        status=STATUS,
        power_dpt=power_dpt,
        refraction_dpt=Estimate(value, sd, "error budget of the traced eye"),
        lens_position_mm=eye.depth_mm.value,
        constants=LensConstants(((SHARE, eye.share),), eye.origin, eye.calibration),
        band=band,
        repeat_first=measured[0],
        limits=(),
        lens_position_sd_mm=eye.depth_mm.sd,
        drawn=_drawn(eye, placed.implant, sd),
    )


def implant_terms(case: CaseSheet, power_dpt: float) -> ImplantTerms:
    """Which generic implant stands for the planned one at this power, without its cylinder?

    Examples
    --------
    >>> from rimwise.records.case import PlannedImplant
    >>> case = CaseSheet("E-1", "right", "none", implant=PlannedImplant(6.0, index=1.46))
    >>> implant_terms(case, 20.0).index
    1.46
    """
    planned = case.implant
    assert planned is not None
    return ImplantTerms(
        power_dpt or FLATTEST_DPT,
        published_value("eye_priors", "implant_index").value
        if planned.index is None
        else planned.index,
        planned.optic_diameter_mm,
        published_value("eye_priors", "implant_shape_factor").value,
        published_value("eye_priors", "implant_edge").value,
    )


def placed_record(eye: TracedEye, case: CaseSheet, power_dpt: float) -> EyeRecord:
    """Which eye is traced: an implant of this power in its expected place, pupil on the axis?"""
    terms, lengths = implant_terms(case, power_dpt), case.lengths
    known = Known(case.side, "implant", case.cornea, case.age_years, implant=terms,
                  axial_mm=lengths.axial_mm)  # fmt: skip
    record = eye_record(known)
    assert record.implant is not None
    places = {
        "lens_front_depth_mm": eye.depth_mm.value - 0.5 * record.implant.thickness_mm,
        "axial_mm": eye.retina_mm.value,
        "pupil_x_mm": 0.0,
        "pupil_y_mm": 0.0,
    }
    exact = {name: Estimate(at, 0.0, "as expected") for name, at in places.items()}
    return replace(record, numbers=record.numbers | exact)


def _band(eye: TracedEye, implant: ImplantShape) -> tuple[BandLine, ...]:
    """Return what each source adds, largest first; slopes through the whole eye."""
    numbers = traced_numbers(eye)
    middle = {name: one.value for name, one in numbers.items()}
    lines = [BandLine(_ITSELF, published_value("refraction", "refraction_itself").sd or 0.0)]
    for name, one in numbers.items():
        ends = [
            float(thick_eye(eye, implant, middle | {name: at}).refraction_dpt())
            for at in (one.value - 0.5 * one.sd, one.value + 0.5 * one.sd)
        ]
        lines.append(BandLine(name, abs(ends[1] - ends[0])))
    return tuple(sorted(lines, key=lambda line: -line.sd_dpt))


def _drawn(eye: TracedEye, implant: ImplantShape, sd_dpt: float) -> DrawnBand:
    """Throw eyes within the ± of every number: how many end inside 1.96 of the claimed sd?"""
    draw = stream(0, "drawn refractions").standard_normal
    numbers = traced_numbers(eye)
    values = {name: one.value + one.sd * draw(DRAWN_EYES) for name, one in numbers.items()}
    itself = (published_value("refraction", "refraction_itself").sd or 0.0) * draw(DRAWN_EYES)
    left = thick_eye(eye, implant, values).refraction_dpt() + itself
    middle = thick_eye(eye, implant, {name: one.value for name, one in numbers.items()})
    inside = np.abs(left - middle.refraction_dpt()) <= _Z95 * sd_dpt
    return DrawnBand(DRAWN_EYES, float(left.std(ddof=1)), float(inside.mean()))
