"""P3 and P4 near where they were a moment ago, or where the fit of the eye foretells them."""

from dataclasses import dataclass, replace

import numpy as np

from rimwise.align.expect import Expected
from rimwise.align.find import GLOW_MM, SPOT_MM, behind_iris, spots_between
from rimwise.align.identify import believed, by_chance, candidates, doubtful, share_a_spot
from rimwise.align.masking import without
from rimwise.align.settling import Found, refined
from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.frame_rings import EyeRings
from rimwise.picture.planes import Float32Array
from rimwise.picture.rings import Ring
from rimwise.picture.spots import SpotMap, spot_map
from rimwise.records.eye import ReflexName
from rimwise.terms.arrays import FloatArray

# How far P3 and P4 move against P1 between two frames: about two degrees of turn.
_MOVED_MM: dict[ReflexName, float] = {"P3": 0.15, "P4": 0.10}
_SIZE_SD = 0.03  # of a pattern that was seen a moment ago
_GROUND_MM = 0.9  # about a reflex, from which its plainness is told
_PALED = 0.5  # level now over then, that a doubtful reflex keeps
_LEAST_PX = 24  # side of a part in which spots can be told from their ground


@dataclass(frozen=True, slots=True)
class Sought:
    """A reflex of the lens to be found again.

    Parameters
    ----------
    awaited : Expected
        As the model foretold it at the last whole look.
    last : Found
        Where it is awaited now, within the planes.
    seen : bool
        Whether it was seen there, so that it stands near and looks alike.
    """

    awaited: Expected
    last: Found
    seen: bool

    def here(self, planes: FramePlanes, px_per_mm: float) -> Expected:
        """Return what the model foretold, at the place and of the size that are awaited now."""
        offsets = self.awaited.offsets_px * self.last.size
        middle = np.nanmean(self.last.points_px - offsets * planes.factor, axis=0)
        there = replace(self.awaited, place_px=planes.stored(middle), offsets_px=offsets)
        if not self.seen:
            return there
        sd = _MOVED_MM[self.awaited.name] * px_per_mm / planes.factor
        return replace(there, sd_px=sd, size_sd=(_SIZE_SD, _SIZE_SD))


def box_about(planes: FramePlanes, points: FloatArray, reach: float) -> tuple[int, int, int, int]:
    """Which left, top, right and bottom lie about points, within the planes?

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.raster import Raster
    >>> planes = frame_planes(Raster(np.zeros((96, 128), dtype=np.uint8)))
    >>> box_about(planes, np.array([[10.0, 50.0]]), 20.0)
    (0, 30, 30, 70)
    """
    height, width = planes.grey.shape[:2]
    left, top = np.maximum(0, (points.min(axis=0) - reach).astype(int))
    right, bottom = np.minimum((width, height), (points.max(axis=0) + reach).astype(int))
    return int(left), int(top), int(right), int(bottom)


def too_small(box: tuple[int, int, int, int]) -> bool:
    """Is it so small that no spot can be told from its ground?

    Examples
    --------
    >>> too_small((0, 0, 20, 100))
    True
    """
    return min(box[2] - box[0], box[3] - box[1]) < _LEAST_PX


def lens_again(
    planes: FramePlanes,
    sought: list[Sought],
    near: tuple[Found, Ring],
    scale: tuple[float, Float32Array | None],
) -> tuple[dict[ReflexName, Found], Float32Array | None]:
    """Which reflexes of the lens are seen again?

    Parameters
    ----------
    planes : FramePlanes
    sought : list of Sought
        Those that were seen there go before others, and P4 before P3.
    near : (Found, Ring)
        P1 and pupil, within the planes.
    scale : (float, array (3,) or None)
        Working pixels to the millimetre, and weights of the channels in the map of spots, which
        are told anew from the whole pupil where None.

    Returns
    -------
    found : dict
    weights : array (3,) or None

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> lens_again(SimpleNamespace(), [], (None, None), (60.0, None))
    ({}, None)
    """
    px_per_mm, weights = scale
    if not sought:
        return {}, weights
    p1, pupil = near
    now = [(one, one.here(planes, px_per_mm)) for one in sought]
    if weights is None:
        spots = spots_between(planes, EyeRings(None, pupil), px_per_mm)
    else:
        box = _box(planes, [awaited for _, awaited in now], px_per_mm)
        if too_small(box):
            return {}, weights
        spots = spot_map(planes, box, SPOT_MM * px_per_mm, weights)
    weights = spots.weights
    spots = without(spots, p1, GLOW_MM * px_per_mm)
    spots = behind_iris(spots, EyeRings(None, pupil), px_per_mm)
    found: dict[ReflexName, Found] = {}
    for one, awaited in sorted(now, key=lambda pair: (not pair[0].seen, pair[1].name != "P4")):
        if awaited.name in found:
            continue
        again = _again(spots, awaited, one, (planes, px_per_mm, p1.radius_px))
        if again is not None and not share_a_spot([again, *found.values()], p1.radius_px):
            found[awaited.name] = again
    return found, weights


def _box(
    planes: FramePlanes, awaited: list[Expected], px_per_mm: float
) -> tuple[int, int, int, int]:
    points = []
    for one in awaited:
        far = max(0.0, 3.0 * one.sd_px - _GROUND_MM * px_per_mm / planes.factor)
        for way in (-far, far):
            points.append(planes.working(one.place_px + one.offsets_px + way))
    return box_about(planes, np.concatenate(points), _GROUND_MM * px_per_mm)


def _again(
    spots: SpotMap, awaited: Expected, sought: Sought, of: tuple[FramePlanes, float, float]
) -> Found | None:
    planes, px_per_mm, radius = of
    last = sought.last
    for one in candidates(spots, awaited, planes, (px_per_mm, radius)):
        found = refined(spots, one, awaited, (planes, px_per_mm))
        if found is None or not believed(awaited.name, found, spots):
            continue
        alike = not doubtful(awaited.name, found) or found.level > _PALED * last.level
        if alike or found.worth > by_chance(spots, awaited, planes, (px_per_mm, radius)):
            return replace(found, size=found.size * last.size)
    return None
