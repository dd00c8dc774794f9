"""Which other eye could this be? Draws within the spread of what is known."""

import math
from dataclasses import replace

import numpy as np

from rimwise.eye.biometry_checks import check_biometry
from rimwise.eye.implant import ImplantTerms, implant_shape
from rimwise.eye.this_eye import NUMBERS
from rimwise.published.load import published_value
from rimwise.records.eye import EyeRecord, ImplantShape
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

_TRIES = 100
_REACH = {
    "lens_index": "implant_index_reach",
    "implant_shape_factor": "implant_shape_factor_reach",
    "implant_edge_mm": "implant_edge_reach",
    "lens_front_conic": "lens_conic_reach",
    "lens_back_conic": "lens_conic_reach",
}
_CORRELATED = (
    ("axial_mm", "lens_front_depth_mm", "correlation_axial_chamber", 1.0),
    # More power is a shorter radius.
    ("axial_mm", "front_flat_mm", "correlation_axial_power", -1.0),
    ("lens_front_depth_mm", "lens_thickness_mm", "correlation_chamber_lens", 1.0),
    ("axial_mm", "lens_thickness_mm", "correlation_axial_lens", 1.0),
    ("axial_mm", "white_to_white_mm", "correlation_axial_white", 1.0),
)


def spread_names(record: EyeRecord) -> tuple[str, ...]:
    """Which numbers of this eye vary?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> "axial_mm" in spread_names(eye_record(Known("right")))
    True
    """
    follows = _followers(record)
    return tuple(
        name
        for name in NUMBERS
        if name in record.numbers and record.numbers[name].sd > 0.0 and name not in follows
    )


def _followers(record: EyeRecord) -> tuple[str, ...]:
    """Return the numbers that are worked out from others when an eye is varied."""
    found: tuple[str, ...] = ()
    if "prior" in record.numbers["front_steep_mm"].origin:
        found += ("front_steep_mm",)
    if record.lens == "implant":
        found += ("lens_thickness_mm", "lens_front_radius_mm", "lens_back_radius_mm")
    return found


def spread_matrix(record: EyeRecord) -> FloatArray:
    """How do the numbers of :func:`spread_names` vary together, in units of their sds?

    Assumed ones are correlated as in the population; measured ones have errors of their own.

    Returns
    -------
    array, shape (k, k)
        Correlations.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> spread_matrix(eye_record(Known("right"))).shape[0] > 10
    True
    """
    names = spread_names(record)
    assumed = [name for name in names if "prior" in record.numbers[name].origin]
    matrix = np.eye(len(names))
    for one, other, key, sign in _CORRELATED:
        natural = record.lens == "natural" or "lens" not in one + other
        if one in assumed and other in assumed and natural:
            i, j = names.index(one), names.index(other)
            matrix[i, j] = matrix[j, i] = sign * published_value("eye_priors", key).value
    return matrix


def varied_eye(record: EyeRecord, steps: FloatArray) -> EyeRecord:
    """Which eye lies so many sds away in each number of :func:`spread_names`?

    Parameters
    ----------
    record : EyeRecord
    steps : array, shape (k,)
        In units of the sds.

    Returns
    -------
    EyeRecord
        With other values; sds and assumptions as they were.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_record(Known("right"))
    >>> varied_eye(eye, np.zeros(len(spread_names(eye)))).numbers == eye.numbers
    True
    """
    numbers = dict(record.numbers)
    for name, step in zip(spread_names(record), steps, strict=True):
        given = numbers[name]
        if step != 0.0:
            numbers[name] = Estimate(_moved(name, given, float(step)), given.sd, given.origin)
    if "prior" in numbers["front_steep_mm"].origin:
        numbers["front_steep_mm"] = numbers["front_flat_mm"]
    if "ratio" in numbers:
        for meridian in ("flat", "steep"):
            back = numbers["ratio"].value * numbers[f"front_{meridian}_mm"].value
            name = f"back_{meridian}_mm"
            numbers[name] = replace(numbers[name], value=back)
    implant = record.implant
    if implant is not None:
        implant = _remade(implant, numbers)
        numbers["lens_thickness_mm"] = Estimate(implant.thickness_mm, 0.0, "implant's terms")
    return replace(record, numbers=numbers, implant=implant)


def _moved(name: str, given: Estimate, step: float) -> float:
    """Move a number; what an implant cannot be is only approached, never reached."""
    if name not in _REACH or "by age" in given.origin:
        return given.value + step * given.sd
    reach = published_value("eye_priors", _REACH[name]).value
    return given.value + reach * math.tanh(step * given.sd / reach)


def drawn_eye(record: EyeRecord, rng: np.random.Generator) -> EyeRecord:
    """Which other eye could this be, within the spread of what is known?

    Parameters
    ----------
    record : EyeRecord
    rng : numpy Generator

    Returns
    -------
    EyeRecord
        With drawn values; sds and assumptions as they were. Draws that no eye can have are
        drawn anew.

    Raises
    ------
    WrongInput
        If hardly any draw is a possible eye.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_record(Known("right"))
    >>> drawn_eye(eye, np.random.default_rng(1)).value("axial_mm") == eye.value("axial_mm")
    False
    """
    matrix = np.linalg.cholesky(spread_matrix(record))
    for _ in range(_TRIES):
        try:
            drawn = varied_eye(record, matrix @ rng.standard_normal(len(matrix)))
            check_biometry(drawn.numbers, drawn.lens)
        except WrongInput:
            continue
        return drawn
    raise WrongInput(
        f"not one of {_TRIES} eyes drawn within the spreads of this record is possible; check its "
        "values against the warnings"
    )


def _remade(shape: ImplantShape, numbers: dict[str, Estimate]) -> ImplantShape:
    """Make the implant anew from its varied terms."""
    return implant_shape(
        ImplantTerms(
            shape.power_dpt,
            numbers["lens_index"].value,
            shape.optic_diameter_mm,
            numbers["implant_shape_factor"].value,
            numbers["implant_edge_mm"].value,
            numbers["lens_front_conic"].value,
            numbers["lens_back_conic"].value,
            front_r4_per_mm3=shape.front_r4_per_mm3,
            cylinder_dpt=shape.cylinder_dpt,
            axis_deg=shape.axis_deg,
            haptic_axis_deg=shape.haptic_axis_deg,
        )
    )
