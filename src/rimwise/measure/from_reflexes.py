"""Where the optic's centre lies from the reflexes of known lamps."""

import math
from dataclasses import replace

import numpy as np

from rimwise.measure.opening_size import vector_estimate
from rimwise.published.load import published_value
from rimwise.records.cover import CoverFinding, FoundCurves, Reason, VectorEstimate
from rimwise.records.implant_reflexes import MirrorName, MirrorPlace
from rimwise.records.picture import PictureSheet

LAMPS_UNKNOWN = Reason(
    "lamps-unknown",
    "P1, P4 and the optic's tilt are not told: a reflex is the image of a lamp, and the sheet has "
    "no [lamps]; write their places_mm into the picture's sheet or clinic.toml.",
)
_NO_FIXATION = Reason(
    "fixation-not-confirmed",
    "The optic's place from P1 and P4 is not told: the reflexes move with the gaze, and only "
    'fixation = "confirmed" ties them to where the patient looks; the optic\'s tilt needs none.',
)
_NO_P4 = Reason(
    "P4-not-found",
    "P4, the reflex of the implant's back, was not found: the optic's place from P4 and its tilt "
    "are not told; take a picture in which no lamp's reflex covers another, the pupil wide.",
)
_TILT_NOT_TOLD = Reason(
    "tilt-not-told",
    "The reflexes say no more of the optic's tilt than what is usual; give corneal radius and "
    "depth of the implant in the sheet, or use lamps farther apart.",
)
_PAIRS: dict[str, MirrorName] = {"optic-from-P1": "P1", "optic-from-P4": "P4"}
PAIRS_OF_REFLEXES = tuple(_PAIRS)


def with_reflex_pairs(finding: CoverFinding, sheet: PictureSheet) -> CoverFinding:
    """Where does the optic lie from P1 and P4, and why not where it is not told?

    Parameters
    ----------
    finding : CoverFinding
        With its ``reflexes``, where lamps were given.
    sheet : PictureSheet
        Without confirmed fixation a place from a reflex means nothing.

    Examples
    --------
    >>> blank = CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")
    >>> with_reflex_pairs(blank, PictureSheet("right")) is blank
    True
    """
    if finding.curves is None or finding.curves.rim is None or finding.scale is None:
        return finding
    pairs: dict[str, VectorEstimate | None] = dict.fromkeys(_PAIRS)
    reflexes = finding.reflexes
    if reflexes is None:
        why = () if sheet.lamps is not None else (LAMPS_UNKNOWN,)
        return _with(finding, pairs, why)
    reasons = []
    if reflexes.mirrors.get("P4") is None:
        reasons.append(_NO_P4)
    elif reflexes.lens_tilt_deg is None:
        reasons.append(_TILT_NOT_TOLD)
    if sheet.fixation != "confirmed":
        reasons.append(_NO_FIXATION)
    else:
        for pair, name in _PAIRS.items():
            mirror = reflexes.mirrors.get(name)
            if mirror is not None:
                pairs[pair] = _from(finding.curves, mirror, finding, sheet)
    return _with(finding, pairs, tuple(reasons))


def _with(
    finding: CoverFinding, pairs: dict[str, VectorEstimate | None], reasons: tuple[Reason, ...]
) -> CoverFinding:
    """Add to a finding, but never over what a reader has placed by hand."""
    kept = {pair: one for pair, one in finding.decentration.items() if one is not None}
    told = finding.decentration | pairs | kept
    return replace(finding, decentration=told, reasons=(*finding.reasons, *reasons))


def _from(
    curves: FoundCurves, mirror: MirrorPlace, finding: CoverFinding, sheet: PictureSheet
) -> VectorEstimate:
    """Return the rim's centre from where an axial lamp's reflex is, apparent, along the view.

    In the millimetres of the optic plane. The gaze of an eye that somebody watched fixating still
    scatters, and the reflex moves with it.
    """
    assert curves.rim is not None
    assert finding.scale is not None
    px_per_mm = finding.scale.px_per_mm.value
    rim = curves.rim.ellipse_px
    away = np.subtract((rim.cx, rim.cy), mirror.axial_px)
    axes = np.array([curves.right_px, curves.up_px])
    x, y = (float(part) for part in axes @ away / px_per_mm)
    gaze_rad = math.radians(published_value("microscope", "fixation_confirmed").sd or 0.0)
    rim_sd_px = math.sqrt(max(curves.rim.covariance_px2[k][k] for k in (1, 2)))
    shared = math.hypot(mirror.axial_sd_px, rim_sd_px, gaze_rad * mirror.moves_px_per_rad)
    relative = finding.scale.px_per_mm.sd / px_per_mm
    sd = tuple(math.hypot(shared / px_per_mm, relative * part) for part in (x, y))
    return vector_estimate(
        (x, y), (sd[0], sd[1]), sheet.side, math.radians(sheet.superior_sd_deg),
        "rim against a reflex of the lamps, apparent, along the view",
    )  # fmt: skip
