"""When the vergence formulas are refused, and where each is at or beyond its limits."""

from rimwise.plan.formulas import Biometry, FormulaKey, srkt_parts
from rimwise.published.formulas import published_formula
from rimwise.records.case import CornealSurgery
from rimwise.records.cover import Reason

# Corneal height per mm of length is some 0.3 in an ordinary eye; beyond this the cusp is near.
_STEEP_MM_PER_MM = 0.75
_NEAR_BRANCH_MM = 0.1  # three times what optical biometry scatters


def vergence_refusal(surgery: CornealSurgery) -> Reason | None:
    """Why must the vergence formulas be silent about this cornea, if they must?

    They take the back surface and the lens's place from the front radius alone, which holds only
    for corneas as they grew.

    Examples
    --------
    >>> vergence_refusal("myopic").code, vergence_refusal("none")
    ('refraction-refused', None)
    """
    if surgery == "none":
        return None
    return Reason(
        "refraction-refused",
        f"No refraction is expected by the vergence formulas, for the cornea is given as "
        f"{surgery!r}: its power and the lens's place no longer follow from the front radius; "
        "only a ray trace through measured front and back surfaces and thickness can.",
    )


def formula_limits(formula: FormulaKey, eye: Biometry) -> tuple[Reason, ...]:
    """Where is this formula at or beyond its limits in this eye?

    Parameters
    ----------
    formula : str
    eye : Biometry
        Of one eye.

    Examples
    --------
    >>> [one.code for one in formula_limits("srkt", Biometry(27.0, 337.5 / 48.0))]
    ['srkt-cusp']
    >>> formula_limits("srkt", Biometry(23.5, 7.8))
    ()
    """
    match formula:
        case "srkt":
            return _srkt_limits(eye)
        case "holladay1":
            return _holladay1_limits(eye)
        case "hofferq":
            return _hofferq_limits(eye)
        case _:
            return ()


def _srkt_limits(eye: Biometry) -> tuple[Reason, ...]:
    c = published_formula("srkt").numbers
    step_mm = 1e-4
    here = srkt_parts(eye)
    there = srkt_parts(Biometry(eye.axial_mm + step_mm, eye.radius_mm))
    grown = (float(there.height_mm) - float(here.height_mm)) / step_mm
    beyond = float(here.width_mm) >= 2.0 * float(eye.radius_mm)
    if not beyond and grown < _STEEP_MM_PER_MM:
        return ()
    words = "beyond" if beyond else "near"
    steep = float(eye.keratometry_dpt(c["keratometric_index"]))
    return (
        Reason(
            "srkt-cusp",
            f"SRK/T is {words} its cusp at {float(eye.axial_mm):.2f} mm with {steep:.1f} dpt: the "
            "height of the cornea breaks off there and the expected refraction with it; compare "
            "T2, which has no cusp.",
        ),
    )


def _holladay1_limits(eye: Biometry) -> tuple[Reason, ...]:
    c = published_formula("holladay1").numbers
    found = []
    floor = c["radius_floor_mm"]
    if float(eye.radius_mm) < floor:
        steepest = 1000.0 * (c["keratometric_index"] - 1.0) / floor
        found.append(
            Reason(
                "holladay1-steep",
                f"Holladay 1 takes every cornea steeper than {steepest:.1f} dpt for one of "
                f"{steepest:.1f} dpt when it places the lens; this one has "
                f"{float(eye.keratometry_dpt(c['keratometric_index'])):.1f} dpt.",
            )
        )
    longest = (
        c["angle_to_angle_largest_mm"] * c["angle_to_angle_at_axial_mm"] / c["angle_to_angle_mm"]
    )
    if float(eye.axial_mm) > longest:
        found.append(
            Reason(
                "holladay1-long",
                f"Holladay 1 places the lens in every eye longer than {longest:.2f} mm as in one "
                f"of {longest:.2f} mm; this eye has {float(eye.axial_mm):.2f} mm.",
            )
        )
    return tuple(found)


def _hofferq_limits(eye: Biometry) -> tuple[Reason, ...]:
    c = published_formula("hofferq").numbers
    axial = float(eye.axial_mm)
    found = []
    if abs(axial - c["branch_mm"]) <= _NEAR_BRANCH_MM:
        found.append(
            Reason(
                "hofferq-jump",
                f"Hoffer Q changes its branch and jumps at {c['branch_mm']:.1f} mm (by about "
                f"0.001 mm of lens position); this eye has {axial:.2f} mm.",
            )
        )
    if not c["shortest_mm"] <= axial <= c["longest_mm"]:
        found.append(
            Reason(
                "hofferq-length",
                f"Hoffer Q places the lens for {c['shortest_mm']:g} to {c['longest_mm']:g} mm "
                f"only and takes the nearer end beyond; this eye has {axial:.2f} mm.",
            )
        )
    return tuple(found)
