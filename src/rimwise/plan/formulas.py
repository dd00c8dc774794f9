"""Published vergence formulas of lens power: where each puts the implant.

All equations are from memory and not yet compared with print (``STATUS``). Radii inside; the
dioptres that a formula asks for are made here with the index that it was made for.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from rimwise.plan.vergence import Numbers, ThinEye
from rimwise.published.formulas import published_formula
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

STATUS = "equations from memory, not yet compared with print"
FormulaKey = Literal["srkt", "holladay1", "hofferq", "haigis", "t2"]
Constants = Mapping[str, Numbers]

# The constant that a surgeon's series moves, by its name in the case sheet.
CONSTANT: dict[FormulaKey, str] = {
    "srkt": "a_constant",
    "holladay1": "sf",
    "hofferq": "pacd",
    "haigis": "a0",
    "t2": "a_constant",
}
NEEDED: dict[FormulaKey, tuple[str, ...]] = {
    "srkt": ("a_constant",),
    "holladay1": ("sf",),
    "hofferq": ("pacd",),
    "haigis": ("a0", "a1", "a2"),
    "t2": ("a_constant",),
}


@dataclass(frozen=True, slots=True, eq=False)
class Biometry:
    """What the formulas want of an eye; numbers or arrays that broadcast.

    Parameters
    ----------
    axial_mm : number or array
    radius_mm : number or array
        Mean front radius of the cornea.
    chamber_depth_mm : number, array or None
        Corneal front to lens front; only Haigis asks for it.
    """

    axial_mm: Numbers
    radius_mm: Numbers
    chamber_depth_mm: Numbers | None = None

    def keratometry_dpt(self, index: float) -> FloatArray:
        """Return what a keratometer with this index would print."""
        return np.asarray(1000.0 * (index - 1.0) / np.asarray(self.radius_mm))


class SrktParts(NamedTuple):
    """Steps of SRK/T: corrected length, corneal width, corneal height; mm."""

    length_mm: FloatArray
    width_mm: FloatArray
    height_mm: FloatArray


def srkt_parts(eye: Biometry) -> SrktParts:
    """Which corrected length, corneal width and height does SRK/T see in this eye?

    Beyond the cusp, where the width exceeds the cornea's diameter, the height is the radius.

    Examples
    --------
    >>> parts = srkt_parts(Biometry(23.5, 337.5 / 43.5))
    >>> [round(float(part), 6) for part in parts]
    [23.5, 12.57982, 3.216239]
    """
    c = published_formula("srkt").numbers
    axial, radius = np.asarray(eye.axial_mm, dtype=np.float64), np.asarray(eye.radius_mm)
    long = c["long_constant_mm"] + (
        c["long_slope_mm_per_mm"] * axial + c["long_bend_per_mm"] * axial**2
    )
    length = np.where(axial > c["long_from_mm"], long, axial)
    width = (
        c["width_constant_mm"]
        + c["width_slope_mm_per_mm"] * length
        + c["width_slope_mm_per_dpt"] * eye.keratometry_dpt(c["keratometric_index"])
    )
    square = radius**2 - width**2 / 4.0
    return SrktParts(length, width, radius - np.sqrt(np.maximum(square, 0.0)))


def t2_height_mm(eye: Biometry) -> FloatArray:
    """Which corneal height does T2 put in place of SRK/T's?

    Examples
    --------
    >>> round(float(t2_height_mm(Biometry(23.5, 337.5 / 43.5))), 6)
    3.228905
    """
    c = published_formula("t2").numbers
    index = published_formula("srkt").numbers["keratometric_index"]
    return np.asarray(
        c["height_constant_mm"]
        + c["height_slope_mm_per_mm"] * np.asarray(eye.axial_mm)
        + c["height_slope_mm_per_dpt"] * eye.keratometry_dpt(index)
    )


def _with_height(eye: Biometry, height_mm: FloatArray, a_constant: Numbers) -> ThinEye:
    c = published_formula("srkt").numbers
    depth = c["depth_slope_mm_per_constant"] * a_constant + c["depth_constant_mm"]
    axial = np.asarray(eye.axial_mm)
    retina = c["retina_constant_mm"] + c["retina_slope_mm_per_mm"] * axial
    cornea = eye.keratometry_dpt(c["cornea_index"])
    return ThinEye(axial + retina, height_mm + depth + c["depth_shift_mm"], cornea, c["eye_index"])


def _srkt(eye: Biometry, constants: Constants) -> ThinEye:
    return _with_height(eye, srkt_parts(eye).height_mm, constants["a_constant"])


def _t2(eye: Biometry, constants: Constants) -> ThinEye:
    return _with_height(eye, t2_height_mm(eye), constants["a_constant"])


class HolladayParts(NamedTuple):
    """Steps of Holladay 1: angle to angle, anatomical depth; mm."""

    angle_to_angle_mm: FloatArray
    depth_mm: FloatArray


def holladay1_parts(eye: Biometry) -> HolladayParts:
    """Which width between the chamber angles and which depth does Holladay 1 see in this eye?

    Examples
    --------
    >>> [round(float(part), 6) for part in holladay1_parts(Biometry(20.5, 337.5 / 46.0))]
    [10.927505, 3.000188]
    """
    c = published_formula("holladay1").numbers
    per_mm = c["angle_to_angle_mm"] / c["angle_to_angle_at_axial_mm"]
    width = np.minimum(per_mm * np.asarray(eye.axial_mm), c["angle_to_angle_largest_mm"])
    radius = np.maximum(np.asarray(eye.radius_mm), c["radius_floor_mm"])
    height = radius - np.sqrt(radius**2 - width**2 / 4.0)
    return HolladayParts(width, c["thickness_mm"] + height)


def _holladay1(eye: Biometry, constants: Constants) -> ThinEye:
    c = published_formula("holladay1").numbers
    length = np.asarray(eye.axial_mm) + c["retina_mm"]
    cornea = eye.keratometry_dpt(1.0 + c["cornea_index_above_1"])
    lens = holladay1_parts(eye).depth_mm + constants["sf"]
    return ThinEye(length, lens, cornea, c["eye_index"])


def hofferq_depth_mm(eye: Biometry, pacd: Numbers) -> FloatArray:
    """Which depth does Hoffer Q see in this eye, before the principal plane is added?

    The tangents take degrees.

    Examples
    --------
    >>> round(float(hofferq_depth_mm(Biometry(30.0, 337.5 / 48.0), 5.2)), 4)
    7.0797
    """
    c = published_formula("hofferq").numbers
    axial = np.clip(np.asarray(eye.axial_mm), c["shortest_mm"], c["longest_mm"])
    short = axial <= c["branch_mm"]
    sign = np.where(short, 1.0, -1.0)
    pole = np.where(short, c["short_pole_mm"], c["long_pole_mm"])
    from_middle = axial - c["middle_mm"]
    steepness = np.tan(np.radians(eye.keratometry_dpt(c["keratometric_index"]))) ** 2
    turn = np.tan(np.radians(c["pole_deg_per_mm2"] * (pole - axial) ** 2))
    return np.asarray(
        pacd
        + c["length_slope_mm_per_mm"] * from_middle
        + steepness
        + c["bend_per_mm"] * sign * from_middle**2 * turn
        + c["depth_constant_mm"]
    )


def _hofferq(eye: Biometry, constants: Constants) -> ThinEye:
    c = published_formula("hofferq").numbers
    lens = hofferq_depth_mm(eye, constants["pacd"]) + c["principal_plane_mm"]
    cornea = eye.keratometry_dpt(c["keratometric_index"])
    return ThinEye(np.asarray(eye.axial_mm), lens, cornea, c["eye_index"])


def _haigis(eye: Biometry, constants: Constants) -> ThinEye:
    c = published_formula("haigis").numbers
    if eye.chamber_depth_mm is None:
        raise WrongInput(
            "Haigis asks for the chamber depth, and none is given; add chamber_depth_mm to "
            "[lengths], from the corneal front to the front of the lens"
        )
    axial = np.asarray(eye.axial_mm)
    depth = np.asarray(eye.chamber_depth_mm)
    lens = constants["a0"] + constants["a1"] * depth + constants["a2"] * axial
    return ThinEye(axial, lens, eye.keratometry_dpt(c["cornea_index"]), c["eye_index"])


_EYES: dict[FormulaKey, Callable[[Biometry, Constants], ThinEye]] = {
    "srkt": _srkt,
    "holladay1": _holladay1,
    "hofferq": _hofferq,
    "haigis": _haigis,
    "t2": _t2,
}


def formula_eye(formula: FormulaKey, eye: Biometry, constants: Constants) -> ThinEye:
    """Which eye of two thin lenses does this formula see?

    Parameters
    ----------
    formula : "srkt", "holladay1", "hofferq", "haigis" or "t2"
    eye : Biometry
    constants : mapping
        By their names in the case sheet: a_constant, sf, pacd, a0, a1, a2.

    Raises
    ------
    WrongInput
        A constant or the chamber depth that the formula needs is not given.

    Examples
    --------
    >>> seen = formula_eye("srkt", Biometry(23.5, 337.5 / 43.5), {"a_constant": 118.4})
    >>> round(float(seen.power_dpt(0.0)), 6)
    20.563679
    """
    missing = [name for name in NEEDED[formula] if name not in constants]
    if missing:
        raise WrongInput(
            f"{published_formula(formula).name} asks for {', '.join(NEEDED[formula])}, and "
            f"{', '.join(missing)} is not given; add it to [implant]"
        )
    return _EYES[formula](eye, constants)


def position_per_constant(formula: FormulaKey) -> float:
    """By how many mm does the implant move in this formula for one unit of its constant?

    Examples
    --------
    >>> position_per_constant("srkt"), position_per_constant("haigis")
    (0.62467, 1.0)
    """
    if formula in ("srkt", "t2"):
        return published_formula("srkt").numbers["depth_slope_mm_per_constant"]
    return 1.0
