"""An eye's reference: made from frames that fixate, and brought together with a frame that may not.

What belongs to the eye (its visual axis, the stand of its lens, its own numbers) is one and the
same in both frames, so that errors of biometry cancel in the turn. Linear fusion of the two
posteriors; own derivation, docs/align.md.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal, cast

import numpy as np

from rimwise.align.axes import PIVOT_MM, axis_through, nodal_depth_mm
from rimwise.align.fit import FrameFit
from rimwise.align.looking import Looking, spread_of
from rimwise.align.turned import Gaussian, rolled, turned_about
from rimwise.eye.known import known_from_picture
from rimwise.picture.eye_strip import EyeStrip, strip_text
from rimwise.purkinje.scene import LENS, LIMBUS, PLACES, TILT, TURN
from rimwise.records.frame import EyeReference, Pair
from rimwise.records.picture import State
from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

_DRIFT = 0.05
"""Share of each prior's sd by which what belongs to the eye may differ between frames: a lens hangs
a little otherwise in a lying eye than in a sitting one (a choice; common practice, no source)."""

AXIS = ("axis_x_rad", "axis_y_rad")
VERIFIED_FROM = 3


@dataclass(frozen=True, slots=True)
class FixatingFrame:
    """One frame in which the eye is said to look at a lamp, with what surrounds its limbus."""

    of: Looking
    fit: FrameFit
    offset_mm: Pair | None
    strip: EyeStrip | None = None


def shared_index(fit: FrameFit, lens_too: bool) -> IntArray:
    """Which parameters of a fit belong to the eye and not to the frame?"""
    numbers = range(len(PLACES), len(fit.mean))
    lens = [*range(TILT.start, TILT.stop), *range(LENS.start, LENS.stop)] if lens_too else []
    return np.array([*lens, *range(LIMBUS.start, LIMBUS.stop), *numbers], dtype=np.int64)


def _names(index: IntArray) -> tuple[str, ...]:
    return tuple(PLACES[i] if i < len(PLACES) else f"number_{i - len(PLACES)}" for i in index)


def _axis_of(frame: FixatingFrame) -> tuple[FloatArray, FloatArray]:
    """Return axis and what of the eye stays, with their covariance."""
    index = shared_index(frame.fit, frame.fit.has_lens)
    mean, covariance = own_axis(frame)
    told = np.concatenate([[0, 1], index + 2])
    return mean[told], covariance[np.ix_(told, told)]


def own_axis(frame: FixatingFrame) -> Gaussian:
    """What does a frame in which the eye fixates say of its own visual axis?

    Parameters
    ----------
    frame : FixatingFrame

    Returns
    -------
    mean, covariance
        The axis's slopes before the frame's parameters, sizes (2 + n,) and (2 + n, 2 + n). The
        frame is counted once: what it says of gaze, axis and lens hangs together.
    """
    of, fit, n = frame.of, frame.fit, len(frame.fit.mean)
    axis = axis_through(fit.pose, of.setup.lamps_mm[fixated_lamp(of)])
    rows = np.vstack([np.zeros((2, n)), np.eye(n)])
    # Turning the eye carries its nodal point along a little.
    gain = 1.0 + (PIVOT_MM - nodal_depth_mm()) / (of.camera.focus_mm + nodal_depth_mm())
    for k in range(2):
        rows[k, TURN.start + k] = -gain
    _, covariance = fit.told(rows)
    covariance[:2, :2] += _fixation_sd_rad(of.sheet.fixation) ** 2 * np.eye(2)
    return np.concatenate([axis, fit.mean]), covariance


def _fixation_sd_rad(fixation: str) -> float:
    """How far off the lamp may an eye look that is said to look at it?"""
    return math.radians(spread_of(f"fixation_{fixation}"))


def fixated_lamp(of: Looking) -> int:
    """Which lamp does the sheet say is looked at? The first, where there is only one."""
    lamps = of.sheet.lamps
    if lamps is not None and lamps.fixated is not None:
        return lamps.fixated
    if len(of.setup.lamps_mm) == 1:
        return 0
    raise WrongInput(
        "[lamps] does not say which lamp the patient looked at; write fixated, counted from 0"
    )


def make_reference(frames: list[FixatingFrame]) -> EyeReference:
    """What does this eye show while it fixates?

    Parameters
    ----------
    frames : list of FixatingFrame
        Separate fixations of one eye, in one state.

    Raises
    ------
    WrongInput
        If the frames are of different eyes or states, or no frame is said to fixate.

    Examples
    --------
    >>> make_reference([])
    Traceback (most recent call last):
    ...
    rimwise.terms.errors.WrongInput: no frame came, and a reference needs at least one that fixates
    """
    _check_alike(frames)
    first = frames[0]
    index = shared_index(first.fit, first.fit.has_lens)
    names = (*AXIS, *_names(index))
    mean, covariance = _together(frames, names, _prior(first.fit, index))
    sheet = first.of.sheet
    sd = np.sqrt(np.diag(covariance)[:2])
    axis = tuple(
        Estimate(math.degrees(math.atan(mean[k])), math.degrees(float(sd[k])), "fixation")
        for k in range(2)
    )
    lamps = sheet.lamps
    weakest: Literal["claimed", "confirmed"] = (
        "claimed" if any(f.of.sheet.fixation != "confirmed" for f in frames) else "confirmed"
    )
    return EyeReference(
        code=sheet.code,
        side=sheet.side,
        state=sheet.state,
        taken=sheet.taken,
        fixations=len(frames),
        status="verified" if len(frames) >= VERIFIED_FROM else "unverified",
        fixation=weakest,
        anaesthesia=sheet.anaesthesia,
        lamp=fixated_lamp(first.of),
        lamps_mm=() if lamps is None else lamps.places_mm,
        superior_deg=sheet.superior_deg,
        working_distance_mm=sheet.working_distance_mm,
        px_per_mm=sheet.px_per_mm,
        offset_mm=_mean_offset(frames),
        axis_deg=(axis[0], axis[1]),
        parameters=names,
        mean=tuple(float(one) for one in mean),
        covariance=tuple(tuple(float(c) for c in row) for row in covariance),
        around=() if first.strip is None else strip_text(first.strip),
    )


def _together(frames: list[FixatingFrame], names: tuple[str, ...], prior: FloatArray) -> Gaussian:
    """Bring all frames together, each turned about the eye's axis as the first one lies."""
    first = frames[0]
    told = _axis_of(first)
    for frame in frames[1:]:
        back = turned_about(frame.strip, first.strip)
        told = _fused(told, rolled(_axis_of(frame), names, back), prior)
    return told


def _check_alike(frames: list[FixatingFrame]) -> None:
    if not frames:
        raise WrongInput("no frame came, and a reference needs at least one that fixates")
    first = frames[0].of.sheet
    for frame in frames:
        sheet = frame.of.sheet
        if (sheet.code, sheet.side, sheet.state) != (first.code, first.side, first.state):
            raise WrongInput(
                f"frames of {first.code or 'an eye'} ({first.side}, {first.state}) and of "
                f"{sheet.code or 'an eye'} ({sheet.side}, {sheet.state}) came together; a "
                "reference belongs to one eye in one state"
            )
        if sheet.fixation == "none":
            raise WrongInput(
                'fixation = "none" is said of a frame for a reference; only frames in which the '
                'patient looked at a lamp count: fixation = "confirmed" or "claimed"'
            )


def _mean_offset(frames: list[FixatingFrame]) -> Pair | None:
    known = [frame.offset_mm for frame in frames if frame.offset_mm is not None]
    if not known:
        return None
    values = np.array([[one.value for one in pair] for pair in known])
    sds = np.array([[one.sd for one in pair] for pair in known]).mean(axis=0)
    if len(known) >= VERIFIED_FROM:
        sds = np.maximum(sds, values.std(axis=0, ddof=1) / math.sqrt(len(known)))
    mean = values.mean(axis=0)
    x, y = (Estimate(float(m), float(s), "fixation") for m, s in zip(mean, sds, strict=True))
    return x, y


def _prior(fit: FrameFit, index: IntArray) -> FloatArray:
    """Return the prior precision of axis (none) and of what stays."""
    return np.concatenate([np.zeros(2), fit.prior_sd[index] ** -2.0])


def _fused(one: Gaussian, other: Gaussian, prior: FloatArray) -> Gaussian:
    """Bring two answers about the same eye together; their common prior counts once."""
    a, b = np.linalg.inv(one[1]), np.linalg.inv(other[1])
    information = a + b - np.diag(prior)
    covariance = np.linalg.inv(information)
    # The prior's mean is nought for all but the limbus and pupil, which have none of their own.
    mean = covariance @ (a @ one[0] + b @ other[0])
    return mean, covariance


def of_another_lens(reference: EyeReference, of: Looking) -> bool:
    """Was the reference taken with another lens in the eye than the frame shows?

    Parameters
    ----------
    reference : EyeReference
    of : Looking
        At the frame.
    """
    there = known_from_picture(replace(of.sheet, state=cast("State", reference.state)))
    return there.lens != of.record.lens


def with_reference(
    fit: FrameFit, reference: EyeReference, of: Looking, roll: Estimate
) -> tuple[FrameFit, Gaussian]:
    """What do a frame and an eye's reference say together?

    How the lens stands is shared only where it is the same lens; with another one cornea, limbus
    and axis are the eye's still, so that fixation rests on P1 with the limbus.

    Parameters
    ----------
    fit : FrameFit
    reference : EyeReference
    of : Looking
        At the frame of the fit.
    roll : Estimate
        How far the eye is turned about its axis since the reference, see
        :func:`~rimwise.align.turned.rolled_since`.

    Returns
    -------
    FrameFit
        With less spread where the reference knows more of the eye.
    axis : (mean, covariance) of the frame's parameters with the axis put before them
        Sizes (2 + n,) and (2 + n, 2 + n).
    """
    n = len(fit.mean)
    other = of_another_lens(reference, of)
    index = shared_index(fit, fit.has_lens and not other)
    names = _names(index)
    common = [k for k, name in enumerate(names) if name in reference.parameters]
    if reference.state != of.sheet.state or len(common) < len(names):
        # Another lens, a chamber deepened by gel, or other biometry: not the same numbers.
        common = [k for k in common if not names[k].startswith("number")]
    mine = index[common] + 2
    theirs = [reference.parameters.index(names[k]) for k in common]
    pick = [0, 1, *theirs]
    there = np.array(reference.mean)[pick], np.array(reference.covariance)[np.ix_(pick, pick)]
    mean, spread = rolled(there, tuple(reference.parameters[k] for k in pick), roll)
    sd = fit.prior_sd[index[common]]
    spread[2:, 2:] += np.diag((_DRIFT * sd) ** 2)
    told = np.linalg.inv(spread)
    information, weighted = np.zeros((n + 2, n + 2)), np.zeros(n + 2)
    own = np.linalg.inv(fit.covariance)
    information[2:, 2:] = own
    weighted[2:] = own @ fit.mean
    where = np.concatenate([[0, 1], mine]).astype(np.int64)
    information[np.ix_(where, where)] += told
    weighted[where] += told @ mean
    information[mine, mine] -= sd**-2.0
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    both = covariance @ weighted
    return _narrowed(fit, both[2:], covariance[2:, 2:]), (both, covariance)


def _narrowed(fit: FrameFit, mean: FloatArray, covariance: FloatArray) -> FrameFit:
    model = fit.model
    if fit.has_lens:
        tilt, shift = mean[TILT], mean[LENS]
        model = model.with_lens(
            (float(tilt[0]), float(tilt[1])), (float(shift[0]), float(shift[1]))
        )
    return replace(fit, mean=mean, covariance=covariance, model=model)
