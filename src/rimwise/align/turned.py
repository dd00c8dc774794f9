"""An eye that lies turned about its axis: told by iris and vessels, allowed for in its turn."""

import math

import numpy as np

from rimwise.align.find import FoundInFrame
from rimwise.align.looking import spread_of
from rimwise.picture.eye_strip import EyeStrip, eye_strip, roll_between, strip_from_text
from rimwise.records.cover import Reason
from rimwise.records.frame import EyeReference
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

Gaussian = tuple[FloatArray, FloatArray]
_MOST_DEG = 30.0  # no eye turns so far about its axis, nor does a head lie so
_X, _Y = "_x_", "_y_"
_USUAL = "usual"


def strip_of(found: FoundInFrame) -> EyeStrip | None:
    """What surrounds the limbus of this frame? None where no limbus is told."""
    limbus, pupil = found.rings.limbus, found.rings.pupil
    if limbus is None:
        return None
    return eye_strip(found.planes, limbus, pupil, found.of.camera.frame)


def turned_about(first: EyeStrip | None, now: EyeStrip | None) -> Estimate:
    """How far does an eye lie turned about its axis, degrees counter-clockwise to the examiner?

    Returns
    -------
    Estimate
        Nought with the usual spread, and its origin "usual", where the frames do not tell it.

    Raises
    ------
    WrongInput
        If iris and vessels match at a turn that no eye makes.

    Examples
    --------
    >>> turned_about(None, None).origin
    'usual'
    """
    told = None if first is None or now is None else roll_between(first, now)
    if told is None:
        return Estimate(0.0, spread_of("eye_roll"), _USUAL)
    if abs(told.value) > _MOST_DEG:
        raise WrongInput(
            f"iris and vessels of two frames lie turned by {abs(told.value):.0f}° against each "
            f"other, and no eye turns by more than {_MOST_DEG:.0f}°; check superior_deg and "
            "mirrored in both sheets"
        )
    return told


def rolled_since(reference: EyeReference, strip: EyeStrip | None) -> Estimate:
    """How far is the eye turned about its axis since its reference was taken?

    Raises
    ------
    WrongInput
        As :func:`turned_about`.
    """
    return turned_about(strip_from_text(reference.around) if reference.around else None, strip)


def told_roll(roll: Estimate) -> Estimate | None:
    """Which turn about the eye's axis was told by the frames, not assumed?

    Examples
    --------
    >>> told_roll(turned_about(None, None)) is None
    True
    """
    return None if roll.origin == _USUAL else roll


def roll_reasons(roll: Estimate) -> list[Reason]:
    """What is to be said of a turn about the eye's axis that was not told?

    Examples
    --------
    >>> [one.code for one in roll_reasons(turned_about(None, None))]
    ['roll-not-told']
    """
    if roll.origin != _USUAL:
        return []
    sentence = (
        "how far the eye lies turned about its axis is not told, since iris and vessels of frame "
        f"and reference do not match or are not there; ±{roll.sd:g}° are allowed for"
    )
    return [Reason("roll-not-told", sentence)]


def rolled(told: Gaussian, names: tuple[str, ...], roll: Estimate) -> Gaussian:
    """What is known of an eye, once it lies turned about its axis?

    Parameters
    ----------
    told : (mean, covariance)
    names : tuple of str
        Of the parameters; those that differ in x and y alone are vectors.
    roll : Estimate
        Degrees counter-clockwise.

    Examples
    --------
    >>> mean, spread = rolled(
    ...     (np.array([1.0, 0.0]), np.zeros((2, 2))), ("axis_x_rad", "axis_y_rad"),
    ...     Estimate(90.0, 1.0),
    ... )
    >>> mean.round(9).tolist(), np.sqrt(spread.diagonal()).round(4).tolist()
    ([0.0, 1.0], [0.0175, 0.0])
    """
    mean, covariance = told
    turn, moves = np.eye(len(names)), np.zeros(len(names))
    c, s = math.cos(math.radians(roll.value)), math.sin(math.radians(roll.value))
    pairs = [(names.index(n), names.index(n.replace(_X, _Y))) for n in names if _X in n]
    for x, y in pairs:
        turn[[x, x, y, y], [x, y, x, y]] = c, -s, s, c
    mean = turn @ mean
    for x, y in pairs:
        moves[x], moves[y] = -mean[y], mean[x]
    spread = turn @ covariance @ turn.T + math.radians(roll.sd) ** 2 * np.outer(moves, moves)
    return mean, spread
