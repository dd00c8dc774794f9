"""What is known of an eye, whichever sheet said it."""

from dataclasses import dataclass, field

from rimwise.eye.implant import ImplantTerms
from rimwise.published.load import published_value
from rimwise.records.case import CaseSheet
from rimwise.records.eye import LensKind
from rimwise.records.picture import CorneaSheet, PictureSheet
from rimwise.terms.frames import Side


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of an eye, from whichever sheet; None where nobody measured it.

    Parameters
    ----------
    lens : "natural", "implant" or "none"
    implant : ImplantTerms or None
        Of the implant in the eye; None takes a generic one.
    gel : bool
        Whether gel fills the chamber, which deepens it by an unknown length.
    """

    side: Side
    lens: LensKind = "natural"
    cornea: CorneaSheet = field(default_factory=CorneaSheet)
    age_years: float | None = None
    lens_front_depth_mm: float | None = None
    lens_thickness_mm: float | None = None
    axial_mm: float | None = None
    white_to_white_mm: float | None = None
    pupil_diameter_mm: float | None = None
    implant: ImplantTerms | None = None
    gel: bool = False


def known_from_case(case: CaseSheet, lens: LensKind = "natural") -> Known:
    """What does a case sheet say of the eye, with its natural lens or the planned implant?

    Examples
    --------
    >>> known_from_case(CaseSheet("E-1", "right", "none", age_years=71)).age_years
    71
    """
    lengths, planned = case.lengths, case.implant
    implant = None
    if lens == "implant" and planned is not None and planned.power_dpt is not None:
        prior = published_value("eye_priors", "implant_index").value
        implant = ImplantTerms(
            planned.power_dpt,
            prior if planned.index is None else planned.index,
            planned.optic_diameter_mm,
            published_value("eye_priors", "implant_shape_factor").value,
            published_value("eye_priors", "implant_edge").value,
            spherical_aberration_um=planned.spherical_aberration_um,
            aberration_aperture_mm=planned.aberration_aperture_mm,
            # A cylinder without a place for its marks is left to whoever turns it.
            cylinder_dpt=0.0 if planned.axis_deg is None else planned.cylinder_dpt,
            axis_deg=planned.axis_deg,
        )
    natural = lens == "natural"
    return Known(
        case.side,
        lens,
        case.cornea,
        case.age_years,
        lengths.chamber_depth_mm if natural else None,
        lengths.lens_thickness_mm if natural else None,
        lengths.axial_mm,
        lengths.white_to_white_mm,
        lengths.pupil_photopic_mm,
        implant,
    )


def known_from_picture(sheet: PictureSheet, age_years: float | None = None) -> Known:
    """What does a picture's sheet say of the eye, with the lens that is in it then?

    Examples
    --------
    >>> known_from_picture(PictureSheet(side="left", state="gel-natural")).lens
    'natural'
    """
    kinds: dict[str, LensKind] = {"natural": "natural", "gel-natural": "natural"}
    lens = "none" if sheet.state == "empty-bag" else kinds.get(sheet.state, "implant")
    lengths = sheet.lengths
    return Known(
        sheet.side,
        lens,
        sheet.cornea,
        age_years,
        lengths.lens_front_depth_mm,
        lengths.lens_thickness_mm,
        None,
        lengths.white_to_white_mm,
        gel=sheet.state.startswith("gel-"),
    )
