"""The day in order: photographs to findings, findings to a surgeon's spread, spread to a plan.

The one file that knows which step follows which. Pure: pictures and sheets come in as values.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from rimwise.picture.raster import Raster
from rimwise.records.case import CaseSheet, Spread
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding, Reason
from rimwise.records.picture import PictureSheet
from rimwise.records.placement import Placement
from rimwise.records.plan import Plan
from rimwise.terms.errors import MeasurementRefused, WrongInput

FEWEST_OPENINGS = 5  # below five a scatter is a guess: its own relative sd exceeds 35 %


class Measure(Protocol):
    """The step that measures one photograph."""

    def __call__(
        self, raster: Raster, sheet: PictureSheet, *, picture: str, sha256: str
    ) -> CoverFinding:
        """What does this photograph show?"""


@dataclass(frozen=True, slots=True)
class OpeningMade:
    """What became of one opening: where its centroid lies from the optic's centre, and its size.

    ``diameter_error_mm`` is made minus intended, of the circle of equal area; real mm.
    """

    nasal_mm: float
    superior_mm: float
    diameter_error_mm: float


def finding_of(
    raster: Raster, sheet: PictureSheet, picture: str, sha256: str, measure: Measure | None = None
) -> CoverFinding:
    """What does a photograph show, a refusal included as a finding?

    Parameters
    ----------
    raster : Raster
        The decoded photograph.
    sheet : PictureSheet
        What is known about it.
    picture, sha256 : str
        Its name and the hash of its file.
    measure : callable, optional
        The measuring step; the real one unless another is given.

    Examples
    --------
    >>> def blind(raster, sheet, *, picture, sha256):
    ...     raise MeasurementRefused("dark", "The picture is black.")
    >>> black = Raster(np.zeros((4, 4), dtype=np.uint8))
    >>> finding_of(black, PictureSheet("right"), "eye.jpg", "0" * 64, blind).status
    'refused'
    """
    try:
        if measure is not None:
            return measure(raster, sheet, picture=picture, sha256=sha256)
        found = _graded(_measure_step()(raster, sheet, picture=picture, sha256=sha256), raster)
        return _advised(_with_reflexes(found, raster, sheet), raster, sheet)
    except MeasurementRefused as refusal:
        reason = Reason(refusal.code, refusal.sentence)
        return CoverFinding(picture, sha256, sheet.side, sheet.state, "refused", (reason,))


def corrected_finding(
    finding: CoverFinding,
    sheet: PictureSheet,
    corrections: Corrections,
    raster: Raster | None = None,
) -> CoverFinding:
    """What does a finding become when a reader corrects its curves?

    Answers as :func:`rimwise.measure.correct.correct`; with the picture at hand the rear capsule's
    opacity within the corrected opening is graded too.

    Examples
    --------
    >>> refused = CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")
    >>> corrected_finding(refused, PictureSheet("right"), Corrections()) is refused
    True
    """
    from rimwise.measure.correct import correct  # noqa: PLC0415 - brings SciPy

    if raster is not None:
        _check_within(corrections, raster)
    new = correct(finding, sheet, corrections)
    if new is finding:
        return finding
    new = _reflex_pairs(replace(new, reflexes=finding.reflexes), sheet)
    return new if raster is None else _graded(new, raster)


def _check_within(corrections: Corrections, raster: Raster) -> None:
    """Refuse points that no hand can have placed on this picture."""
    height, width = raster.pixels.shape[:2]
    edges = (corrections.opening_px, corrections.optic_px, corrections.haptic_px)
    for u, v in (point for points in edges for point in points):
        if not (-1.0 <= u <= width and -1.0 <= v <= height):
            raise WrongInput(
                f"a point lies at ({u:g}, {v:g}), outside of the picture of {width} x {height} "
                "pixels; give points in the stored picture's pixels"
            )


def with_budget(finding: CoverFinding, sheet: PictureSheet) -> CoverFinding:
    """Add to a finding where its ± comes from; a refused one stays as it is.

    Examples
    --------
    >>> refused = CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")
    >>> with_budget(refused, PictureSheet("right")) is refused
    True
    """
    if finding.cover is None or finding.curves is None:
        return finding
    from rimwise.measure.budget import cover_budget  # noqa: PLC0415 - brings SciPy

    return replace(finding, budget=cover_budget(finding, sheet))


def opening_made(finding: CoverFinding, intended_mm: float) -> OpeningMade | None:
    """What does a finding tell about the hand that made the opening? None where not measured.

    Examples
    --------
    >>> opening_made(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused"), 5.2) is None
    True
    """
    offset = finding.decentration.get("opening-from-optic")
    size = None if finding.opening is None else finding.opening.equivalent_diameter_mm
    if offset is None or size is None:
        return None
    return OpeningMade(offset.nasal_mm.value, offset.superior_mm.value, size.value - intended_mm)


def spread_of(made: Sequence[OpeningMade]) -> Spread:
    """Which mean and scatter do these openings show?

    The optic stands in for the target: opening from optic is taken whole as the hand's, and the
    optic's own scatter as none, so that nothing is counted twice. Measurement error is not taken
    off, which errs to the wide side.

    Parameters
    ----------
    made : sequence of OpeningMade
        At least five.

    Raises
    ------
    WrongInput
        Fewer than five openings.

    Examples
    --------
    >>> made = [OpeningMade(n, 0.1, 0.0) for n in (-0.2, -0.1, 0.0, 0.1, 0.2)]
    >>> spread = spread_of(made)
    >>> spread.opening_from_target_bias_mm, round(spread.opening_from_target_sd_mm[0], 4)
    ((0.0, 0.1), 0.1581)
    """
    if len(made) < FEWEST_OPENINGS:
        raise WrongInput(
            f"a spread was asked of {len(made)} measured openings, and at least {FEWEST_OPENINGS} "
            "are needed for a scatter; measure more, or leave the spread to the prior"
        )
    table = np.array([(one.nasal_mm, one.superior_mm, one.diameter_error_mm) for one in made])
    mean = [float(value) + 0.0 for value in np.round(table.mean(axis=0), 12)]
    sd = [float(value) for value in table.std(axis=0, ddof=1)]
    return Spread(
        opening_from_target_bias_mm=(mean[0], mean[1]),
        opening_from_target_sd_mm=(sd[0], sd[1]),
        diameter_bias_mm=mean[2],
        diameter_sd_mm=sd[2],
        optic_from_rest_sd_mm=(0.0, 0.0),
        optic_rest="lens",
        origin=f"mean and scatter of opening from optic over {len(made)} measured eyes",
    )


def plan_of(case: CaseSheet, spread: Spread | None) -> Plan:
    """What should be made in the next eye, by a hand with this spread?

    Examples
    --------
    >>> from rimwise.records.case import OpeningWish, PlannedImplant
    >>> steady = spread_of([OpeningMade(x, -x, 0.0) for x in (-0.1, -0.05, 0.0, 0.05, 0.1)])
    >>> case = CaseSheet(
    ...     "E-1", "right", "none", implant=PlannedImplant(6.0), opening=OpeningWish(centre="lens")
    ... )
    >>> plan_of(case, steady).centre
    'lens'
    """
    from rimwise.plan.make import make_plan  # noqa: PLC0415 - brings SciPy, so late

    return make_plan(case, spread)


def placement_of(
    finding: CoverFinding, case: CaseSheet | None = None, others: Sequence[CoverFinding] = ()
) -> Placement:
    """With the opening that a picture shows, where should the optic sit?

    Examples
    --------
    >>> blind = CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")
    >>> placement_of(blind).reasons[0].code
    'no-cover'
    """
    from rimwise.place.make import make_placement  # noqa: PLC0415 - brings SciPy, so late

    return make_placement(finding, case, others)


def _graded(finding: CoverFinding, raster: Raster) -> CoverFinding:
    """Add to what was measured how opaque the rear capsule is."""
    from rimwise.measure.opacification import grade_opacification  # noqa: PLC0415 - brings SciPy

    return replace(finding, opacification=grade_opacification(raster, finding))


def _with_reflexes(finding: CoverFinding, raster: Raster, sheet: PictureSheet) -> CoverFinding:
    """Add what the lamps' reflexes say, where the sheet tells the lamps."""
    scale, optic = finding.scale, finding.optic
    if sheet.lamps is None or scale is None or optic is None or finding.status == "refused":
        return _reflex_pairs(finding, sheet)
    from rimwise.align.in_photograph import RimAsRuler, implant_reflexes  # noqa: PLC0415
    from rimwise.measure.magnification import magnification  # noqa: PLC0415

    enlarged, rim = magnification(sheet), optic.ellipse_px
    relative = math.hypot(scale.px_per_mm.sd / scale.px_per_mm.value, enlarged.sd / enlarged.value)
    ruler = RimAsRuler((rim.cx, rim.cy), 0.5 * (rim.a + rim.b), optic.diameter_mm, relative)
    try:
        seen = implant_reflexes(raster, sheet, ruler)
    except (MeasurementRefused, WrongInput) as refusal:
        why = f"P1, P4 and the optic's tilt are not told: {refusal}."
        reason = Reason("reflexes-not-told", why)
        finding = replace(finding, reasons=(*finding.reasons, reason))
        return _reflex_pairs(finding, sheet)
    return _reflex_pairs(replace(finding, reflexes=seen), sheet)


def _reflex_pairs(finding: CoverFinding, sheet: PictureSheet) -> CoverFinding:
    from rimwise.measure.from_reflexes import with_reflex_pairs  # noqa: PLC0415

    return finding if finding.status == "refused" else with_reflex_pairs(finding, sheet)


def _advised(finding: CoverFinding, raster: Raster, sheet: PictureSheet) -> CoverFinding:
    """Add what is wrong with the picture, and which one to take instead."""
    from rimwise.measure.quality import quality_reasons  # noqa: PLC0415 - brings SciPy

    return replace(finding, reasons=(*finding.reasons, *quality_reasons(raster, finding, sheet)))


def _measure_step() -> Measure:
    from rimwise.measure.photograph import measure_photograph  # noqa: PLC0415 - brings SciPy

    return measure_photograph
