"""The eye that a trace takes its refraction from: what was measured, what is predicted, its ±."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rimwise.eye.known import Known
from rimwise.eye.this_eye import eye_record
from rimwise.plan.constants_given import calibration_of
from rimwise.plan.thick_eye import ThickEye
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.eye import EyeRecord, ImplantShape
from rimwise.records.lens_power import BandSource, Calibration
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

SHARE = "position_share"  # its name in [implant]
# Of what this eye's record assumes, what a narrow pencil along the axis meets.
_MATTERING = ("corneal power", "ratio of back to front corneal radius", "corneal thickness")


@dataclass(frozen=True, slots=True)
class TracedEye:
    """The eye before its implant is named: each number that the trace needs, with its ±.

    Parameters
    ----------
    record : EyeRecord
        With a generic implant, which a power replaces.
    chamber_mm, lens_mm, share : Estimate
        Chamber depth and thickness of the natural lens, and the share of the latter that an
        implant's middle lies behind the former.
    calibration : str
    """

    record: EyeRecord
    chamber_mm: Estimate
    lens_mm: Estimate
    share: float
    origin: str
    calibration: Calibration
    assumptions: tuple[Assumption, ...]

    @property
    def depth_mm(self) -> Estimate:
        """Where is the implant's middle expected, behind the corneal front?

        Errors of both measurements and what they leave unexplained, in quadrature.
        """
        left = published_value("refraction", "implant_depth").sd or 0.0
        sd = math.hypot(self.chamber_mm.sd, self.share * self.lens_mm.sd, left)
        middle = self.chamber_mm.value + self.share * self.lens_mm.value
        return Estimate(middle, sd, "chamber depth and lens thickness")

    @property
    def retina_mm(self) -> Estimate:
        """Where is the layer that sees, behind the corneal front?"""
        behind = published_value("refraction", "retina_behind_length")
        axial = self.record.numbers["axial_mm"]
        sd = math.hypot(axial.sd, behind.sd or 0.0)
        return Estimate(axial.value + behind.value, sd, axial.origin)


def trace_lacks(case: CaseSheet) -> Reason | None:
    """What must still be measured before this eye can be traced, if anything?

    A cornea as it grew may leave its back to a published ratio; one that was operated may not, and
    one that is irregular is not described by two radii a surface.

    Examples
    --------
    >>> trace_lacks(CaseSheet("E-1", "right", "keratoconus")).code
    'trace-lacks'
    """
    cornea, missing = case.cornea, []
    irregular = case.corneal_surgery not in ("none", "myopic", "hyperopic")
    if irregular:
        missing.append("maps of both corneal surfaces, which the case sheet cannot hold")
    if cornea.radius_mm is None and cornea.radius_flat_mm is None:
        missing.append("radius_flat_mm and radius_steep_mm in [cornea]")
    if case.corneal_surgery != "none" and not irregular:
        needed = {
            "posterior_flat_mm": cornea.posterior_flat_mm,
            "thickness_um": cornea.thickness_um,
        }
        missing += [f"{name} in [cornea]" for name, value in needed.items() if value is None]
    if case.lengths.axial_mm is None:
        missing.append("axial_mm in [lengths]")
    if case.lengths.chamber_depth_mm is None:
        missing.append("chamber_depth_mm in [lengths]")
    if case.implant is None:
        missing.append("[implant]")
    if not missing:
        return None
    return Reason(
        "trace-lacks",
        "No refraction is expected by a ray trace of this eye, which lacks "
        + "; ".join(missing)
        + ".",
    )


def traced_eye(case: CaseSheet) -> TracedEye:
    """Which eye is traced: what was measured, and priors for the rest?

    Raises
    ------
    WrongInput
        Where ``trace_lacks`` names something.
    """
    lacks = trace_lacks(case)
    if lacks is not None:
        raise WrongInput(lacks.sentence)
    lengths, implant = case.lengths, case.implant
    known = Known(case.side, "implant", case.cornea, case.age_years, axial_mm=lengths.axial_mm)
    record = eye_record(known)
    measured = published_value("instruments", "chamber_depth").sd or 0.0
    prior = published_value("lengths", "lens_thickness")
    assumed = [one for one in record.assumptions if one.what in _MATTERING]
    thickness = Estimate(prior.value, prior.sd or 0.0, "published prior")
    if lengths.lens_thickness_mm is None:
        assumed.append(Assumption.of("lens thickness", prior))
    else:
        thickness = Estimate(lengths.lens_thickness_mm, measured, "measured")
    share = published_value("refraction", "implant_depth_share")
    given = None if implant is None else implant.constants.get(SHARE)
    origin, calibration = calibration_of(None)
    if given is None or implant is None:
        origin = "published share of the lens thickness"
        assumed.append(Assumption.of("share of the lens thickness before the implant", share))
    else:
        origin, calibration = calibration_of(implant.constants_source)
    left = published_value("refraction", "implant_depth")
    assumed += [
        Assumption.of("implant's depth from its prediction", left),
        Assumption.of(
            "layer that sees behind the axial length",
            published_value("refraction", "retina_behind_length"),
        ),
    ]
    return TracedEye(
        record,
        Estimate(lengths.chamber_depth_mm or 0.0, measured, "measured"),
        thickness,
        share.value if given is None else given,
        origin,
        calibration,
        tuple(assumed),
    )


def mean_radius_mm(record: EyeRecord, which: str) -> float:
    """Return the radius of the mean curvature of a corneal surface."""
    flat, steep = (record.value(f"{which}_{one}_mm") for one in ("flat", "steep"))
    return 2.0 / (1.0 / flat + 1.0 / steep)


def traced_numbers(eye: TracedEye) -> dict[BandSource, Estimate]:
    """What enters the refraction, each with its ±; the cornea by its mean radii.

    The back follows the front where only their ratio is known: then the ratio stands here.
    """
    numbers = eye.record.numbers
    front, back = (mean_radius_mm(eye.record, which) for which in ("front", "back"))
    # Flat and steep reading, each with its own error: the mean scatters less by the root of two.
    meridians = math.sqrt(2.0) if eye.record.value("front_flat_mm") != eye.record.value(
        "front_steep_mm") else 1.0  # fmt: skip
    if "ratio" in numbers:
        behind = numbers["ratio"]
    else:
        behind = Estimate(back / front, numbers["back_flat_mm"].sd / meridians / front)
    return {
        "keratometry": Estimate(front, numbers["front_flat_mm"].sd / meridians),
        "posterior-cornea": behind,
        "corneal-thickness": numbers["corneal_thickness_mm"],
        "chamber-depth": eye.chamber_mm,
        "lens-thickness": eye.lens_mm,
        "lens-position": Estimate(0.0, published_value("refraction", "implant_depth").sd or 0.0),
        "axial-length": eye.retina_mm,
    }


def thick_eye(
    eye: TracedEye, implant: ImplantShape, values: Mapping[BandSource, float | FloatArray]
) -> ThickEye:
    """Which eye of four surfaces has these numbers?"""
    front = values["keratometry"]
    if "ratio" in eye.record.numbers:
        back = front * values["posterior-cornea"]
    else:
        # Measured on its own: an error of the front does not move it.
        back = mean_radius_mm(eye.record, "front") * values["posterior-cornea"]
    return ThickEye(
        front,
        back,
        values["corneal-thickness"],
        implant,
        values["chamber-depth"] + eye.share * values["lens-thickness"] + values["lens-position"],
        values["axial-length"],
    )
