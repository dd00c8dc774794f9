"""The forms: which keys of which sheet are asked for, in which order, under which headings."""

from rimwise.web.fields import Field, Group

_OPTIC_HINT = "field.optic_diameter_mm.hint"
_RADIUS_HINT = "field.cornea.radius_mm.hint"


def _words(*values: str) -> tuple[tuple[str, str], ...]:
    return tuple((value, f"choice.{value}" if value else "choice.unsaid") for value in values)


_SIDE = Field("side", "choice", choices=_words("right", "left"), required=True,
              missing="error.side")  # fmt: skip
_CODE = Field("code", "text", hint="field.code.hint")
_PERSON = Field("person", "text", hint="field.person.hint")
_ANAESTHESIA = _words("", "topical", "block", "general")


def _mm(key: str, hint: str = "") -> Field:
    return Field(key, "number", "mm", hint)


def _number(key: str, unit: str = "", hint: str = "") -> Field:
    return Field(key, "number", unit, hint)


def _pair(key: str, hint: str = "") -> Field:
    return Field(key, "pair", "mm", hint)


MEASURE_FORM = (
    Group(
        "group.eye",
        (
            _SIDE,
            Field("optic_diameter_mm", "number", "mm", _OPTIC_HINT, required=True,
                  missing="error.optic"),
            Field("superior_deg", "choice", choices=_words("90", "270", "0", "180")),
        ),
    ),
    Group(
        "group.more",
        (
            _CODE,
            Field("visit_day", "whole"),
            _mm("optic_diameter_sd_mm", "field.optic_diameter_sd_mm.hint"),
            Field("state", "choice", choices=_words("visit", "implant", "gel-implant")),
            Field("mirrored", "flag"),
        ),
        folded=True,
    ),
    Group(
        "group.photo_lamps",
        (
            Field("lamps.places_mm", "points", hint="field.lamps.places_mm.hint"),
            Field("lamps.fixated", "whole", hint="field.lamps.fixated.hint"),
            Field("fixation", "choice", choices=_words("none", "claimed", "confirmed")),
            _mm("working_distance_mm", "field.working_distance_mm.hint"),
            _mm("cornea.radius_mm", _RADIUS_HINT),
            _mm("lengths.lens_front_depth_mm", "field.lengths.lens_front_depth_mm.hint"),
            _mm("lengths.white_to_white_mm", "field.lengths.white_to_white_mm.hint"),
        ),
        folded=True,
    ),
)  # fmt: skip

FRAME_FORM = (
    Group(
        "group.eye",
        (
            Field("side", "choice", choices=_words("", "right", "left")),
            Field("state", "choice", choices=_words("", "natural", "gel-natural", "empty-bag",
                                                    "gel-implant", "implant", "visit")),
            Field("superior_deg", "choice", choices=_words("", "90", "270", "0", "180")),
            Field("fixation", "choice", choices=_words("", "none", "claimed", "confirmed")),
            _CODE,
        ),
    ),
    Group(
        "group.lamps",
        (
            Field("lamps.places_mm", "points", hint="field.lamps.places_mm.hint"),
            _mm("lamps.plane_mm", "field.lamps.plane_mm.hint"),
            Field("lamps.fixated", "whole", hint="field.lamps.fixated.hint"),
            _mm("working_distance_mm", "field.working_distance_mm.hint"),
            _number("px_per_mm", "px/mm", "field.px_per_mm.hint"),
        ),
        folded=True,
    ),
    Group(
        "group.frame_eye",
        (
            _mm("cornea.radius_mm", _RADIUS_HINT),
            _number("cornea.thickness_um", "µm"),
            _mm("lengths.white_to_white_mm", "field.lengths.white_to_white_mm.hint"),
            _mm("lengths.lens_front_depth_mm", "field.lengths.lens_front_depth_mm.hint"),
            _mm("lengths.lens_thickness_mm", "field.lengths.lens_thickness_mm.hint"),
            Field("mirrored", "flag"),
        ),
        folded=True,
    ),
)  # fmt: skip

EYE_FORM = (Group("group.eye", (Field("code", "text", hint="field.code.hint", required=True,
                                      missing="error.code"), _SIDE, _PERSON)),)  # fmt: skip

_HEAD = (
    Group(
        "group.eye",
        (
            _SIDE,
            _number("age_years"),
            Field("corneal_surgery", "choice", required=True, missing="error.corneal_surgery",
                  choices=_words("none", "myopic", "hyperopic", "radial", "graft", "keratoconus",
                                 "unknown")),
            _CODE,
        ),
    ),
    Group(
        "group.cornea",
        (
            _mm("cornea.radius_flat_mm", _RADIUS_HINT),
            _mm("cornea.radius_steep_mm", _RADIUS_HINT),
            _mm("lengths.chamber_depth_mm", "field.lengths.chamber_depth_mm.hint"),
            _mm("lengths.pupil_dilated_mm", "field.lengths.pupil_dilated_mm.hint"),
        ),
    ),
    Group(
        "group.opening",
        (
            Field("implant.optic_diameter_mm", "number", "mm", _OPTIC_HINT, required=True,
                  missing="error.optic"),
            Field("opening.centre", "choice",
                  choices=(("", "choice.all_centres"),
                           *_words("visual_axis", "lens", "pupil", "limbus"))),
            _mm("opening.diameter_mm", "field.opening.diameter_mm.hint"),
        ),
    ),
)  # fmt: skip

_MORE = (
    Group(
        "group.risks",
        (Field("risks", "several",
               choices=_words("pseudoexfoliation", "weak-zonule", "uveitis", "vitrectomy",
                              "dense-lens", "alpha-blocker", "small-pupil", "high-myopia")),),
        folded=True,
    ),
    Group(
        "group.hand",
        (
            Field("opening.technique", "choice", choices=_words("", "manual", "guided")),
            _pair("spread.opening_from_target_bias_mm",
                  "field.spread.opening_from_target_bias_mm.hint"),
            _pair("spread.opening_from_target_sd_mm"),
            _mm("spread.diameter_bias_mm", "field.spread.diameter_bias_mm.hint"),
            _mm("spread.diameter_sd_mm"),
            _pair("spread.optic_from_rest_sd_mm"),
            Field("spread.optic_rest", "choice", choices=_words("", "lens", "opening")),
        ),
        folded=True,
    ),
    Group(
        "group.refraction",
        (
            _mm("lengths.axial_mm", "field.lengths.axial_mm.hint"),
            _number("implant.a_constant"),
            Field("implant.constants_source", "text", hint="field.implant.constants_source.hint"),
            _number("implant.power_dpt", "dpt", "field.implant.power_dpt.hint"),
            _number("goal.refraction_dpt", "dpt"),
            _mm("lengths.lens_thickness_mm", "field.lengths.lens_thickness_mm.hint"),
            _mm("lengths.white_to_white_mm", "field.lengths.white_to_white_mm.hint"),
            _mm("lengths.bag_diameter_mm", "field.lengths.bag_diameter_mm.hint"),
        ),
        folded=True,
    ),
    Group(
        "group.goal",
        (
            Field("goal.p_complete", "choice", choices=_words("0.95", "0.9", "0.98", "0.99")),
            _mm("goal.least_cover_mm", "field.goal.least_cover_mm.hint"),
            _pair("goal.diameter_limits_mm", "field.goal.diameter_limits_mm.hint"),
        ),
        folded=True,
    ),
    Group(
        "group.centres",
        (
            _pair("centres.lens_mm", "field.centres.visual_axis_mm.hint"),
            _pair("centres.visual_axis_mm", "field.centres.visual_axis_mm.hint"),
            _pair("centres.pupil_mm", "field.centres.visual_axis_mm.hint"),
            _mm("centres.sd_mm", "field.centres.sd_mm.hint"),
        ),
        folded=True,
    ),
)  # fmt: skip

_SELDOM = (
    Group(
        "group.stretch",
        (
            _mm("opening.cut_mm", "field.opening.cut_mm.hint"),
            _number("opening.stretch_ratio", "", "field.opening.stretch_ratio.hint"),
            _number("opening.stretch_ratio_sd"),
        ),
        folded=True,
    ),
    Group(
        "group.incision",
        (
            _number("incision.centroid_dpt", "dpt", "field.incision.centroid_dpt.hint"),
            _number("incision.steep_deg", "°"),
            _number("incision.component_sd_dpt", "dpt"),
            Field("incision.eyes", "whole", hint="field.incision.eyes.hint"),
        ),
        folded=True,
    ),
    Group(
        "group.eye_more",
        (
            _PERSON,
            Field("sex", "choice", choices=_words("", "female", "male")),
            _number("cornea.steep_axis_deg", "°", "field.axis.hint"),
            _mm("cornea.radius_mm", "field.cornea.radius_mean.hint"),
            _number("cornea.thickness_um", "µm"),
            _mm("cornea.posterior_flat_mm"),
            _mm("cornea.posterior_steep_mm"),
            _number("cornea.asphericity_q"),
            _mm("lengths.pupil_photopic_mm"),
        ),
        folded=True,
    ),
    Group(
        "group.implant",
        (
            _number("implant.cylinder_dpt", "dpt", "field.implant.cylinder_dpt.hint"),
            _number("implant.axis_deg", "°", "field.axis.hint"),
            _number("implant.index"),
            _number("implant.spherical_aberration_um", "µm"),
            _mm("implant.aberration_aperture_mm"),
        ),
        folded=True,
    ),
    Group(
        "group.constants",
        (
            _number("implant.sf"),
            _number("implant.pacd"),
            _number("implant.a0"),
            _number("implant.a1"),
            _number("implant.a2"),
            _number("implant.position_share"),
        ),
        folded=True,
    ),
    Group(
        "group.profile",
        (
            Field("implant.profile.kind", "choice", choices=_words("", "smooth", "diffractive")),
            Field("implant.profile.path_um", "points", hint="field.implant.profile.path_um.hint"),
            Field("implant.profile.period_waves", "points",
                  hint="field.implant.profile.period_waves.hint"),
            _number("implant.profile.add_dpt", "dpt"),
            _number("implant.profile.design_nm", "nm"),
            _mm("implant.profile.diameter_mm"),
            _pair("implant.profile.apodised_mm", "field.implant.profile.apodised_mm.hint"),
        ),
        folded=True,
    ),
)  # fmt: skip

PLAN_FORM = _HEAD + _MORE + _SELDOM

OPERATION_FORM = (
    Group(
        "group.operation",
        (
            Field("operation.day", "whole", hint="field.operation.day.hint"),
            Field("operation.surgeon", "text", hint="field.operation.surgeon.hint"),
            Field("operation.technique", "text", hint="field.operation.technique.hint"),
            Field("operation.anaesthesia", "choice", choices=_ANAESTHESIA),
            _number("operation.implant_power_dpt", "dpt"),
            _number("operation.implant_axis_deg", "°", "field.axis.hint"),
            _number("operation.haptic_axis_deg", "°", "field.axis.hint"),
            Field("operation.opening", "choice", choices=_words("", "intact", "torn")),
            Field("operation.capsular_ring", "answer"),
            Field("operation.complications", "list", hint="field.operation.complications.hint"),
        ),
    ),
)  # fmt: skip

VISIT_FORM = (
    Group(
        "group.visit",
        (
            Field("visit.day", "whole", required=True, missing="error.day",
                  hint="field.visit.day.hint"),
            _number("visit.acuity_logmar", "", "field.visit.acuity_logmar.hint"),
            _mm("visit.pupil_dilated_mm"),
            _number("visit.opacification_score", "", "field.visit.opacification_score.hint"),
            Field("visit.laser", "choice", choices=_words("", "none", "anterior", "posterior")),
            Field("visit.laser_day", "whole"),
            Field("visit.intervention", "text"),
        ),
    ),
    Group(
        "group.visit_refraction",
        (
            _number("visit.refraction.sphere_dpt", "dpt"),
            _number("visit.refraction.cylinder_dpt", "dpt",
                    "field.visit.refraction.cylinder_dpt.hint"),
            _number("visit.refraction.axis_deg", "°", "field.axis.hint"),
            _number("visit.refraction.distance_m", "m"),
            _mm("visit.refraction.vertex_mm"),
        ),
    ),
    Group(
        "group.visit_tilt",
        (
            _number("visit.optic_tilt.nasal_deg", "°", "field.visit.optic_tilt.hint"),
            _number("visit.optic_tilt.superior_deg", "°"),
            _number("visit.optic_tilt.sd_deg", "°"),
        ),
    ),
)  # fmt: skip

SIGHT_FORM = (
    Group("sight.eye", (Field("code", "text", hint="sight.code.hint", required=True,
                              missing="error.code"),)),
    Group(
        "sight.place",
        (
            Field("sight.decentration_mm", "pair", "mm", "sight.decentration.hint"),
            Field("sight.tilt_deg", "pair", "°", "sight.tilt.hint"),
            Field("sight.marks_deg", "number", "°", "sight.marks.hint"),
        ),
    ),
    Group(
        "sight.pupils",
        (
            Field("sight.pupil_mm", "number", "mm", "sight.pupil.hint"),
            Field("sight.second_mm", "number", "mm", "sight.second.hint"),
            Field("sight.map_pupil_mm", "number", "mm", "sight.map.hint"),
        ),
    ),
)  # fmt: skip

SHEET_FORMS = {"case": PLAN_FORM, "operation": OPERATION_FORM, "visit": VISIT_FORM}
FORMS = (MEASURE_FORM, EYE_FORM, PLAN_FORM, OPERATION_FORM, VISIT_FORM, SIGHT_FORM, FRAME_FORM)
