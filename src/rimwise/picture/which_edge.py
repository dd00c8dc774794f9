"""Two closed edges where one is expected: at which of them begins a sheet before the disc?"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import label

from rimwise.picture.order import Begins, sheet_before_rim
from rimwise.picture.planes import Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.seam import Seam
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class WhichSettings:
    """When a runner-up counts as a second edge, with reasons.

    Parameters
    ----------
    second : float
        Share of all directions in which it stands out clear of the rim; what a rim's own lines,
        haptics and folds are strung together to stays below.
    second_grey : float
        Without colour: as the share of the best one's directions.
    touch : float
        Nearer to each other than this, in rim radii, two edges may cross; the paths through them
        are kept apart by a little less.
    beyond_columns : int
        Half degrees before and after a touch in which both must show for it to be a crossing.
    """

    second: float = 0.25
    second_grey: float = 0.5
    touch: float = 0.05
    beyond_columns: int = 24


SETTINGS = WhichSettings()


@dataclass(frozen=True, slots=True)
class Rival:
    """The edge that was not taken.

    Parameters
    ----------
    inward_share : float
        How far inside of the one taken it runs, median, in rim radii; negative outside.
    found_deg : int
        In how many directions it stands out.
    taken_before : bool or None
        Whether the one taken begins before the rim.
    radii_px : array (720,)
        Its course, working pixels.
    found : array (720,)
        Where it stands out.
    counted : bool
        Whether it stands out over so much that it is an edge of its own, not a string of folds.
    """

    inward_share: float
    found_deg: int
    taken_before: bool | None
    radii_px: FloatArray
    found: BoolArray
    counted: bool = True


@dataclass(frozen=True, slots=True)
class Choice:
    """The edge taken, whether it begins before the rim (None: not told), and the one not taken."""

    edge: Begins
    before: bool | None
    rival: Rival | None = None


def which_edge(
    planes: Planes,
    pupil: PupilMargin,
    rim: Rim,
    seams: tuple[Seam, Seam],
    stands_out: Callable[[Seam], BoolArray],
) -> Choice:
    """At which seam does a sheet begin that lies before the rim?

    Parameters
    ----------
    planes : Planes
    pupil : PupilMargin
    rim : Rim
    seams : Seam, Seam
        The best and its runner-up.
    stands_out : callable
        In which of the 720 directions a seam stands out.

    Notes
    -----
    Own derivation. Of two edges that both stand out, that is taken at which the rim's colours tell
    of a sheet before it; where they do not tell, the outer one: the opening that a laser cuts
    in the rear capsule is cut inside of the front one (common practice, no source).
    """
    best, runner_up = (Begins(seam, stands_out(seam)) for seam in seams)
    clear = runner_up.found & runner_up.inside(rim)
    # Without colour a fold, a reflex's border and texture are lines as well as an edge is.
    least = SETTINGS.second_grey * best.found.mean() if planes.is_grey else SETTINGS.second
    if clear.mean() < least:
        before = sheet_before_rim(planes, pupil, rim, best)
        seen = replace(runner_up, found=clear)
        rival = replace(_rival(best, seen, rim, before), counted=False) if clear.any() else None
        return Choice(best, before, rival)
    outer, inner = _nested(best, runner_up, rim)
    outer_before = sheet_before_rim(planes, pupil, rim, outer)
    if outer_before:
        return Choice(outer, True, _rival(outer, inner, rim, True))
    inner_before = sheet_before_rim(planes, pupil, rim, inner, farther=outer)
    if inner_before or (outer_before is False and inner_before is None):
        return Choice(inner, inner_before, _rival(inner, outer, rim, inner_before))
    return Choice(outer, outer_before, _rival(outer, inner, rim, outer_before))


def _nested(one: Begins, other: Begins, rim: Rim) -> tuple[Begins, Begins]:
    """Return the outer edge and the inner one, where it is known which is which.

    Where two edges touch they may cross, or the paths along them change over: they are told apart
    on the longest way between such places, and nothing is claimed of either on the rest.
    """
    outward = one.seam.radii_px - other.seam.radii_px
    both = one.found & other.found
    known = _longest(~_crossings(np.abs(outward) / rim.radius_px, both), both)
    one, other = (replace(edge, found=edge.found & known) for edge in (one, other))
    shared = outward[known & both]
    if shared.size:
        return (one, other) if np.median(shared) > 0.0 else (other, one)
    # Nowhere do both show: each by its own way about the rim.
    first, second = (float(_course(edge).mean()) for edge in (one, other))
    return (one, other) if first > second else (other, one)


def _course(edge: Begins) -> FloatArray:
    """Return the radii where an edge stands out; where it never does, all."""
    return edge.seam.radii_px[edge.found] if edge.found.any() else edge.seam.radii_px


def _crossings(distance: FloatArray, both: BoolArray) -> BoolArray:
    """Where may two edges cross? Where they touch and both are seen to come and to go on.

    A path that has no edge of its own to follow runs along the other's, and that is no touch.
    """
    touch = distance < SETTINGS.touch
    zones, count, start = _runs(touch)
    beyond = np.arange(1, SETTINGS.beyond_columns + 1)
    crossing = np.zeros_like(touch)
    for k in range(1, count + 1):
        first, last = np.flatnonzero(np.roll(zones == k, -start))[[0, -1]] + start
        comes, goes = (both[at % COLUMNS].any() for at in (first - beyond, last + beyond))
        if comes and goes:
            crossing |= zones == k
    return crossing


def _runs(flags: BoolArray) -> tuple[IntArray, int, int]:
    """Return runs of true flags round the turn by number, how many, and a place between them."""
    start = int(np.argmin(flags))
    runs, count = label(np.roll(flags, -start))
    return np.roll(runs, start), int(count), start


def _longest(flags: BoolArray, counted: BoolArray) -> BoolArray:
    """Return the run of true flags round the turn that holds most of what is counted."""
    if flags.all() or not flags.any():
        return np.ones_like(flags)
    runs, count, _ = _runs(flags)
    sizes = np.bincount(runs[counted], minlength=count + 1)
    return np.asarray(runs == 1 + int(np.argmax(sizes[1:])), dtype=np.bool_)


def _rival(taken: Begins, left: Begins, rim: Rim, before: bool | None) -> Rival:
    inward_share = (taken.seam.radii_px - left.seam.radii_px)[left.found] / rim.radius_px
    found_deg = round(left.found.sum() * 360 / COLUMNS)
    share = float(np.median(inward_share)) if left.found.any() else 0.0
    return Rival(share, found_deg, before, left.seam.radii_px, left.found)
