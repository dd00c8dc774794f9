"""Which eyes cannot be, and which are only unusual?"""

from rimwise.records.cover import Reason
from rimwise.records.eye import LensKind
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

# Name in a sheet, least and largest that an eye can have, then the usual range; chosen wide.
_LIMITS = {
    "front_flat_mm": ("radius_flat_mm", 5.0, 12.0, 7.0, 8.7),
    "front_steep_mm": ("radius_steep_mm", 5.0, 12.0, 6.9, 8.6),
    "back_flat_mm": ("posterior_flat_mm", 4.0, 10.0, 5.6, 7.4),
    "back_steep_mm": ("posterior_steep_mm", 4.0, 10.0, 5.4, 7.3),
    "corneal_thickness_mm": ("thickness_um / 1000", 0.2, 1.2, 0.43, 0.66),
    "lens_front_depth_mm": ("chamber_depth_mm", 1.0, 8.0, 2.0, 5.6),
    "lens_thickness_mm": ("lens_thickness_mm", 0.2, 8.0, 0.3, 6.0),
    "axial_mm": ("axial_mm", 14.0, 40.0, 20.0, 30.0),
    "white_to_white_mm": ("white_to_white_mm", 7.0, 16.0, 10.2, 13.2),
    "pupil_diameter_mm": ("pupil_photopic_mm", 0.5, 10.0, 1.5, 9.0),
}


def check_biometry(numbers: dict[str, Estimate], lens: LensKind) -> None:
    """Refuse an eye that cannot be.

    Parameters
    ----------
    numbers : dict
        Name to estimate, as in an eye's record.
    lens : "natural", "implant" or "none"

    Raises
    ------
    WrongInput
        Field, value, what is allowed.

    Examples
    --------
    >>> check_biometry({"front_flat_mm": Estimate(-7.7, 0.03)}, "none")
    Traceback (most recent call last):
    rimwise.terms.errors.WrongInput: radius_flat_mm is -7.7, and 5 to 12 mm is allowed; ...
    """
    for key, (name, low, high, _, _) in _LIMITS.items():
        if key in numbers and not low <= numbers[key].value <= high:
            raise WrongInput(
                f"{name} is {numbers[key].value:g}, and {low:g} to {high:g} mm is allowed; check "
                "the printout"
            )
    for which, stem in (("front", "radius"), ("back", "posterior")):
        flat, steep = numbers.get(f"{which}_flat_mm"), numbers.get(f"{which}_steep_mm")
        if flat is not None and steep is not None and steep.value > flat.value:
            raise WrongInput(
                f"{stem}_steep_mm is {steep.value:g}, above {stem}_flat_mm = {flat.value:g}, and "
                "the steep radius is the shorter one; exchange them"
            )
    if lens != "none" and "axial_mm" in numbers:
        _check_room(numbers)


def _check_room(numbers: dict[str, Estimate]) -> None:
    depth, axial = numbers["lens_front_depth_mm"].value, numbers["axial_mm"].value
    cornea = numbers["corneal_thickness_mm"].value
    if not cornea < depth < axial:
        raise WrongInput(
            f"chamber_depth_mm is {depth:g}, and more than {cornea:g} (the cornea's thickness) and "
            f"less than {axial:g} mm (the axial length) is allowed; it runs from the corneal front"
        )
    back = depth + numbers["lens_thickness_mm"].value if "lens_thickness_mm" in numbers else depth
    if not back < axial:
        raise WrongInput(
            f"lens_thickness_mm is {back - depth:g}, and less than {axial - depth:g} mm is "
            f"allowed: the lens would reach {back:g} mm deep, the retina stands at {axial:g} mm"
        )


def unusual(numbers: dict[str, Estimate], lens: LensKind) -> tuple[Reason, ...]:
    """What is possible but so unusual that it should be checked?

    Examples
    --------
    >>> [one.code for one in unusual({"axial_mm": Estimate(31.0, 0.03)}, "none")]
    ['unusual-axial']
    """
    found = []
    for key, (name, _, _, low, high) in _LIMITS.items():
        if key not in numbers or low <= numbers[key].value <= high:
            continue
        sentence = (
            f"{name} is {numbers[key].value:g} mm, outside the usual {low:g} to {high:g} mm; "
            "check the printout"
        )
        found.append(Reason(f"unusual-{key.removesuffix('_mm').replace('_', '-')}", sentence))
    flat, steep = numbers.get("front_flat_mm"), numbers.get("front_steep_mm")
    if flat is not None and steep is not None and flat.value - steep.value > 1.0:
        sentence = f"the corneal radii {flat.value:g} and {steep.value:g} mm are far apart"
        found.append(Reason("unusual-corneal-cylinder", sentence))
    if lens == "natural" and "lens_thickness_mm" in numbers:
        thickness = numbers["lens_thickness_mm"].value
        if thickness < 3.0:
            sentence = f"lens_thickness_mm is {thickness:g} mm, thin for a natural lens"
            found.append(Reason("unusual-natural-lens", sentence))
    return tuple(found)
