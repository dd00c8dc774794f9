"""The step itself: one frame in, what it says out."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.axes import turn_onto
from rimwise.align.find import PLAINLY_DEG, FoundInFrame, RefusedFrame, find_in_frame
from rimwise.align.fit import FrameFit, Sighted, fit_frame
from rimwise.align.looking import Looking
from rimwise.align.reference import (
    FixatingFrame,
    fixated_lamp,
    of_another_lens,
    own_axis,
    with_reference,
)
from rimwise.align.targets import Aim, corneal_mark, target_places, targets
from rimwise.align.turned import roll_reasons, rolled_since, strip_of, told_roll
from rimwise.align.which_reflex import check_named
from rimwise.align.words import turn_words
from rimwise.geometry.ellipse import Ellipse, fit_ellipse
from rimwise.geometry.ellipse_outline import outline_ellipse
from rimwise.picture.frame_planes import FramePlanes, told_planes
from rimwise.picture.raster import Raster
from rimwise.picture.rings import Ring
from rimwise.picture.standing_out import gleams
from rimwise.purkinje.forward import Engine, reflexes
from rimwise.purkinje.scene import LENS, TILT
from rimwise.records.cover import EllipsePx, Reason, ScaleFinding
from rimwise.records.eye import EyePose, ReflexName
from rimwise.records.frame import (
    EyeReference,
    FrameFinding,
    OffsetFinding,
    Pair,
    Point,
    ReflexFinding,
    RingFinding,
)
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.terms.estimate import Estimate

_NAMES: tuple[ReflexName, ...] = ("P1", "P2", "P3", "P4")
_SD_PX: dict[ReflexName, float] = {"P1": 0.4, "P2": 1.0, "P3": 3.0, "P4": 0.8}
WIDEST_TURN_SD_DEG = 1.0
"""A turn that is known less well is not told."""
_DEG = math.degrees(1.0)


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a frame beyond itself.

    Parameters
    ----------
    reference : EyeReference or None
    opening_mm : float or None
        Diameter of the planned opening.
    compiled : bool
        False spares loading the compiler for a single frame.
    """

    reference: EyeReference | None = None
    opening_mm: float | None = None
    compiled: bool = True


@dataclass(frozen=True, slots=True)
class Answered:
    """A finding, and what a reference could be made from."""

    finding: FrameFinding
    fixating: FixatingFrame | None


def align_frame(
    raster: Raster, sheet: PictureSheet, picture: str, question: Question | None = None
) -> Answered:
    """Where is the centre in this frame, and how far is the eye from fixation?

    Parameters
    ----------
    raster : Raster
    sheet : PictureSheet
        With [lamps].
    picture : str
        Its name.
    question : Question, optional

    Raises
    ------
    MeasurementRefused
        If the frame cannot answer; ``code`` says why.
    WrongInput
        If sheet and reference do not go together.

    Examples
    --------
    >>> from rimwise.records.picture import Lamps
    >>> sheet = PictureSheet("left", "frame", "natural", lamps=Lamps(((-8.0, 0.0), (8.0, 0.0))))
    >>> align_frame(Raster(np.full((96, 128), 90, dtype=np.uint8)), sheet, "blank.png")
    Traceback (most recent call last):
    ...
    rimwise.align.find.RefusedFrame: no limbus was found where an eye's could be; ...
    """
    asked = question or Question()
    if asked.reference is not None:
        check_reference(sheet, asked.reference)
    found = find_in_frame(raster, sheet, asked.compiled)
    fit, seen = fit_frame(found.of, found.sighted(), asked.compiled)
    check_named(found, seen)
    offset = offset_mm(found.of, seen)
    strip = strip_of(found) if sheet.fixation != "none" or asked.reference else None
    fixating = FixatingFrame(found.of, fit, offset, strip) if sheet.fixation != "none" else None
    axis, turn = None, OffsetFinding(offset)
    reasons: list[Reason] = []
    if asked.reference is not None:
        roll = rolled_since(asked.reference, strip)
        fit, axis = with_reference(fit, asked.reference, found.of, roll)
        turn, reasons = turn_back(found.of, fit, (axis, offset), asked)
        turn = replace(turn, rolled_deg=told_roll(roll))
        reasons += roll_reasons(roll)
    elif fixating is not None and _lamp_known(found.of):
        axis = own_axis(fixating)
    aim = Aim(found.of, fit, seen, axis, asked.opening_mm)
    finding = _finding(found, aim, turn, picture)
    finding = replace(finding, reasons=(*reasons, *finding.reasons))
    return Answered(finding, fixating)


def _lamp_known(of: Looking) -> bool:
    lamps = of.sheet.lamps
    return lamps is not None and (lamps.fixated is not None or len(lamps.places_mm) == 1)


def check_reference(sheet: PictureSheet, reference: EyeReference) -> None:
    """Refuse a reference of another eye.

    Raises
    ------
    WrongInput
        Side or code differ.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> check_reference(PictureSheet("left"), SimpleNamespace(side="right", code=None))
    Traceback (most recent call last):
    ...
    rimwise.terms.errors.WrongInput: the reference is of a right eye, and the frame is of a left ...
    """
    if sheet.side != reference.side:
        raise WrongInput(
            f"the reference is of a {reference.side} eye, and the frame is of a {sheet.side} eye; "
            "give the reference of this eye"
        )
    if None not in (sheet.code, reference.code) and sheet.code != reference.code:
        raise WrongInput(
            f"the reference is of {reference.code}, and the frame is of {sheet.code}; give the "
            "reference of this eye"
        )


def offset_mm(of: Looking, seen: Sighted) -> Pair | None:
    """How far is P4 from P1, mean over the lamps that are seen in both?"""
    first, last = (seen.reflexes_px.get(name) for name in ("P1", "P4"))
    if first is None or last is None:
        return None
    pairs = [
        np.subtract(b, a)
        for a, b in zip(first, last, strict=True)
        if a is not None and b is not None
    ]
    if not pairs:
        return None
    mean = (
        of.camera.frame.examiner_from_picture(np.mean(pairs, axis=0)[None])[0] / of.px_per_mm.value
    )
    spot = math.hypot(_SD_PX["P1"], _SD_PX["P4"]) / math.sqrt(len(pairs)) / of.px_per_mm.value
    relative = of.px_per_mm.sd / of.px_per_mm.value
    x, y = (Estimate(float(m), math.hypot(spot, relative * float(m)), "reflexes") for m in mean)
    return x, y


def turn_back(
    of: Looking,
    fit: FrameFit,
    known: tuple[tuple[FloatArray, FloatArray], Pair | None],
    asked: Question,
) -> tuple[OffsetFinding, list[Reason]]:
    """Return the rotation that would restore fixation."""
    axis, offset = known
    reference = asked.reference
    wanted, move, sd = turn_wanted(of, fit, axis, reference)
    if float(sd.max()) > WIDEST_TURN_SD_DEG:
        sentence = (
            f"the turn is known to ±{float(sd.max()):.1f}° only, and {WIDEST_TURN_SD_DEG:g}° is "
            "the most that is told; frames in which P4 is seen tell it better"
        )
        return OffsetFinding(offset), [
            *_of_reference(of, reference),
            Reason("turn-too-wide", sentence),
        ]
    x, y = (Estimate(float(m), float(s), "reference") for m, s in zip(move, sd, strict=True))
    there = EyePose((float(wanted[0]), float(wanted[1])), fit.pose.shift_mm)
    ghost = _points(of, fit, there, asked)
    reasons = _of_reference(of, reference)
    away = _moved(of, fit, (fit.pose, there), asked)
    words = turn_words(x.value, y.value, of.record.side)
    return OffsetFinding(offset, away, (x, y), words, ghost.get("P4", ())), reasons


def turn_wanted(
    of: Looking,
    fit: FrameFit,
    axis: tuple[FloatArray, FloatArray],
    reference: EyeReference | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the turn at which the eye fixates, rad, and the way there with its sd, degrees."""
    mean, covariance = axis
    lamp = _lamp_now(of, reference)
    wanted = turn_onto(of.setup.lamps_mm[lamp], fit.pose.shift_mm, mean[:2])
    rows = np.zeros((2, len(mean)))
    for k in range(2):
        rows[k, k], rows[k, 2 + 3 + k] = -1.0, -1.0
    sd = np.sqrt(np.diag(rows @ covariance @ rows.T)) * _DEG
    return wanted, (wanted - np.array(fit.pose.turn_rad)) * _DEG, sd


def _of_reference(of: Looking, reference: EyeReference | None) -> list[Reason]:
    """Say what is weak about the reference."""
    reasons: list[Reason] = []
    if reference is None:
        return reasons
    if reference.status == "unverified":
        sentence = (
            f"the reference rests on {reference.fixations} fixation(s); from three on their "
            "scatter says how far it can be trusted"
        )
        reasons.append(Reason("reference-unverified", sentence))
    if of_another_lens(reference, of):
        sentence = (
            f'the reference was taken in the state "{reference.state}", and the frame is of '
            f'"{of.sheet.state}": P3 and P4 came from another lens, so that only the cornea and '
            "the limbus are compared and the ± is larger"
        )
        reasons.append(Reason("reference-of-another-lens", sentence))
    return reasons


def _lamp_now(of: Looking, reference: EyeReference | None) -> int:
    lamps = of.sheet.lamps
    if lamps is not None and lamps.fixated is not None:
        return lamps.fixated
    if reference is not None and reference.lamp < len(of.setup.lamps_mm):
        return reference.lamp
    return fixated_lamp(of)


def _points(
    of: Looking, fit: FrameFit, pose: EyePose, asked: Question
) -> dict[str, tuple[Point, ...]]:
    engine: Engine = "compiled" if asked.compiled else "plain"
    found: dict[str, tuple[Point, ...]] = {}
    for one in reflexes(fit.model, pose, of.setup, ("P1", "P4"), engine):
        if math.isfinite(one.px[0]):
            found[one.name] = (*found.get(one.name, ()), one.px)
    return found


def _moved(
    of: Looking, fit: FrameFit, poses: tuple[EyePose, EyePose], asked: Question
) -> Point | None:
    """Return the offset at the first pose less that at the second."""
    offsets = []
    for pose in poses:
        points = _points(of, fit, pose, asked)
        if "P4" not in points or "P1" not in points:
            return None
        offsets.append(np.mean(points["P4"], axis=0) - np.mean(points["P1"], axis=0))
    away = of.camera.frame.examiner_from_picture((offsets[0] - offsets[1])[None])[0]
    return float(away[0] / of.px_per_mm.value), float(away[1] / of.px_per_mm.value)


def _finding(found: FoundInFrame, aim: Aim, turn: OffsetFinding, picture: str) -> FrameFinding:
    of, fit, seen = aim.of, aim.fit, aim.seen
    places = target_places(aim)
    told_places, wide = targets(aim, places)
    p1 = np.array([p for p in seen.reflexes_px["P1"] if p is not None]).mean(axis=0)
    told = fit.has_lens and (fit.learnt(TILT) or fit.learnt(LENS))
    reasons = [*wide, *_missing(seen, fit, told)]
    if found.rings.limbus is None:
        reasons.append(Reason("no-limbus", "the limbus was not told surely; the pupil stood in"))
    return FrameFinding(
        picture,
        of.record.side,
        of.sheet.state,
        "partial" if any(r.code in _PARTIAL for r in reasons) else "measured",
        tuple(reasons),
        {name: _reflex(seen, name) for name in _NAMES},
        ring_finding(found.rings.pupil, found.planes),
        ring_finding(found.rings.limbus, found.planes, even=True),
        ScaleFinding(of.px_per_mm, "limbus", of.scale_from),
        fit.turn_deg,
        fit.tilt_deg if told else None,
        fit.pole_mm if told else None,
        told_places,
        corneal_mark(aim, places, told_places, p1),
        turn,
    )


_PARTIAL = ("P4-not-found", "lens-not-told", "no-pupil", "no-limbus")


def _missing(seen: Sighted, fit: FrameFit, told: bool) -> list[Reason]:
    reasons = [
        Reason("torsion", "reflexes tell two rotations of the eye and never the one about its axis")
    ]
    if fit.has_lens and "P4" not in seen.reflexes_px:
        sentence = (
            "P4 was not found: behind a dense lens, or too faint in this picture to be sure of it; "
            "nothing is put in its place"
        )
        reasons.append(Reason("P4-not-found", sentence))
    if fit.has_lens and not told:
        sentence = "how the lens stands is not told, since no reflex of it was found"
        reasons.append(Reason("lens-not-told", sentence))
    if seen.pupil_px is None:
        reasons.append(Reason("no-pupil", "the pupil's margin was not found"))
    return reasons


def _reflex(seen: Sighted, name: ReflexName) -> ReflexFinding | None:
    points = seen.reflexes_px.get(name)
    return None if points is None else ReflexFinding(points, _SD_PX[name])


def ring_finding(ring: Ring | None, planes: FramePlanes, even: bool = False) -> RingFinding | None:
    """Which ellipse is this ring in stored pixels?

    Parameters
    ----------
    ring : Ring or None
    planes : FramePlanes
    even : bool
        Whether its outline has too few waves for an arc that lies off, as that of a limbus.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> planes = frame_planes(Raster(np.zeros((96, 128, 3), dtype=np.uint8)))
    >>> ring_finding(None, planes) is None
    True
    """
    if ring is None:
        return None
    # Few waves: every second direction says all.
    curve = planes.stored(ring.curve_px[::2])
    way = outline_ellipse if even else _within
    ellipse = way(curve, planes.compiled)
    angle_deg = math.degrees(ellipse.angle_rad) % 180.0
    shape = EllipsePx(ellipse.cx, ellipse.cy, ellipse.a, ellipse.b, angle_deg)
    return RingFinding(shape, ring.centre_sd_px / planes.factor, ring.seen_deg)


def _within(curve: FloatArray, compiled: bool) -> Ellipse:
    return fit_ellipse(curve, compiled=compiled).ellipse


def refused(picture: str, sheet: PictureSheet, refusal: MeasurementRefused) -> FrameFinding:
    """How is a frame told that cannot answer? Rings are told if plain, and a lamp mirrors in them.

    Examples
    --------
    >>> refused("f.jpg", PictureSheet("left"), MeasurementRefused("no-p1", "No P1.")).status
    'refused'
    """
    reason = Reason(refusal.code, refusal.sentence)
    finding = FrameFinding(picture, sheet.side, sheet.state, "refused", (reason,))
    if not isinstance(refusal, RefusedFrame):
        return finding
    planes, rings = refusal.planes, refusal.rings
    # In near-infrared the two sides have vouched for a limbus before.
    enough = (0.5 if told_planes(planes) < 1.0 else 1.0) * PLAINLY_DEG
    asked = (rings.pupil, PLAINLY_DEG, 2.0), (rings.limbus, enough, 0.8)
    pupil, limbus = (
        ring if ring and ring.seen_deg >= deg and gleams(planes, ring, share) else None
        for ring, deg, share in asked
    )
    return replace(
        finding,
        pupil=ring_finding(pupil, planes),
        limbus=ring_finding(limbus, planes, even=True),
    )
