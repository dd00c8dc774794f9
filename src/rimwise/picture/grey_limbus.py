"""The limbus in near-infrared: a faint ring about the pupil, told mostly by its two sides.

Own derivation: the sum of clipped steps from iris to sclera over all circles near the pupil
(after the integro-differential operator of Daugman 1993, taken on logarithms of brightness and of
radius), then the edge by direction. Lids run above and below, so that the sides weigh more.
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.picture.frame_planes import FramePlanes
from rimwise.picture.grey_pupil import LARGEST, SMALLEST, brighter_outside
from rimwise.picture.ring_outline import COLUMNS, BandSettings, outline_through
from rimwise.picture.rings import Ring, in_working_pixels
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    points_at,
    radial_mean,
    radius_about,
    smooth_along,
    unroll,
)
from rimwise.published.load import published_value
from rimwise.terms.arrays import BoolArray, FloatArray

_BAND = BandSettings(reach=0.05, window=0.05, gap=0.05, harmonics=2, stiff=6.0)
_ROW = 0.006  # spacing of the rows, natural logarithm of the radius
_WIDE, _NARROW = 0.09, 0.05  # strips compared at first and in the end, of the radius
_ALONG = 3.0  # columns: furrows of the iris are narrower
_CLIP = 0.12  # log units: what is stronger than sclera beside iris counts no more
_TOLERANCE = 0.09  # of a radius that scale and white-to-white foretell
_BELIEVED = 0.05  # and where the ring must lie in the end: three sd of both
_MOST = 0.62  # of the picture's width
_MOVES = np.linspace(-0.12, 0.12, 9)  # limbus from pupil, of the radius
_OFF_CENTRE_SD, _PRIOR = 0.06, 0.05
_OVAL = 20.0  # weight of the belief in the usual second wave


@dataclass(frozen=True, slots=True)
class Told:
    """A limbus and how much speaks for it.

    Parameters
    ----------
    ring : Ring
    worth : float
        Mean clipped step along it, 1 at most.
    sure : bool
        Whether both sides are seen, and all that is seen of it makes it likely enough.
    """

    ring: Ring
    worth: float
    sure: bool


@dataclass(frozen=True, slots=True)
class _Polar:
    """Steps about the pupil's centre: rows are logarithms of the radius, columns directions."""

    centre_px: tuple[float, float]
    rows: FloatArray
    wide: FloatArray
    narrow: FloatArray
    known: BoolArray
    beyond: FloatArray
    across: FloatArray
    usual: tuple[float, float]

    @property
    def weights(self) -> FloatArray:
        """How much each direction counts."""
        sides = 0.15 + self.across**2
        return np.asarray(sides / sides.sum())

    @property
    def side(self) -> BoolArray:
        """Which directions are sideways."""
        return np.abs(self.across) > _SIDEWAYS


def limbus_about(
    planes: FramePlanes, pupil: Ring, expected_px: float | None, superior_deg: float = 90.0
) -> Told | None:
    """Where is the limbus about this pupil of a near-infrared frame?

    Parameters
    ----------
    planes : FramePlanes
    pupil : Ring
    expected_px : float or None
        Mean radius of the limbus in working pixels, where it is known.
    superior_deg : float
        Where the brow lies, counter-clockwise from picture right; lids run across it.

    Returns
    -------
    Told or None
        None where no ring is found; read ``sure`` before it is taken.

    Examples
    --------
    >>> from rimwise.picture.frame_planes import frame_planes
    >>> from rimwise.picture.grey_pupil import dark_rings
    >>> from rimwise.picture.raster import Raster
    >>> v, u = np.indices((240, 320))
    >>> far = np.hypot(u - 170.0, v - 115.0)
    >>> planes = frame_planes(Raster(np.select([far < 40, far < 90], [30, 110], 140).astype("u1")))
    >>> told = limbus_about(planes, dark_rings(planes, None)[0], None)
    >>> round(told.ring.radius_px), told.sure
    (90, True)
    """
    inner = 0.5 * pupil.radius_px
    if expected_px is None:
        low, high = inner / LARGEST, min(inner / SMALLEST, _MOST * planes.log_half.shape[1])
    else:
        low, high = (0.5 * expected_px * (1.0 + k * _TOLERANCE) for k in (-1.0, 1.0))
        low = max(low, inner / (LARGEST + 0.05))
    if high < 1.05 * low:
        return None
    polar = _polar(planes, pupil, high, superior_deg)
    # Lids make rings of their own: the plainest after each has found its best shape is taken.
    ways = [_climbed(polar, shape) for shape in _coarse(polar, low, high)]
    told = _traced(polar, max(ways, key=lambda way: way[1])[0])
    if told is None or brighter_outside(told.ring) < 0.0:
        return None
    # An iris against sclera is fainter than against a pupil, or the "pupil" lies within one.
    sure = told.sure and brighter_outside(told.ring) < _FAINTER * brighter_outside(pupil)
    if expected_px is not None:
        sure = sure and abs(told.ring.radius_px / expected_px - 1.0) < _BELIEVED
    return Told(told.ring, told.worth, sure)


_FAINTER = 1.0


def _polar(planes: FramePlanes, pupil: Ring, high: float, superior_deg: float) -> _Polar:
    centre = 0.5 * pupil.centre_px[0] - 0.25, 0.5 * pupil.centre_px[1] - 0.25
    inner = 0.5 * pupil.radius_px
    rows = np.arange(np.log(inner), np.log(1.3 * high), _ROW)
    grid = np.repeat(np.exp(rows)[:, None], COLUMNS, axis=1)
    level = unroll(np.ascontiguousarray(planes.log_half[..., 1]), centre, grid)
    usable = inside_frame(planes.log_half.shape[:2], centre, grid)
    usable *= unroll(planes.glare_half, centre, grid) < 0.05
    usable[rows < np.log(1.1 * inner)] = 0.0
    weight = smooth_along(usable, _ALONG)
    level = smooth_along(level * usable, _ALONG)
    wide, _, _ = _rise(level, weight, _WIDE)
    narrow, known, beyond = _rise(level, weight, _NARROW)
    across = np.sin(directions_rad(COLUMNS) - np.radians(superior_deg))
    return _Polar(centre, rows, wide, narrow, known, beyond, across, _usual(superior_deg))


def _usual(superior_deg: float) -> tuple[float, float]:
    """Return the second wave of a limbus that is wider than high, as shares of its radius."""
    height = published_value("microscope", "limbus_height_over_width").value
    flat, twice_rad = (1.0 - height) / (1.0 + height), 2.0 * math.radians(superior_deg - 90.0)
    return flat * math.cos(twice_rad), flat * math.sin(twice_rad)


_SIDEWAYS = 0.7


def _rise(
    level: FloatArray, weight: FloatArray, window: float
) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Return outside less inside, where both are known, and the level outside."""
    half = round(window / _ROW)
    much, more = radial_mean(weight, 1, half), radial_mean(weight, -half, -1)
    outside = radial_mean(level, 1, half) / (much + 1e-6)
    inside = radial_mean(level, -half, -1) / (more + 1e-6)
    known = (much > 0.5) & (more > 0.5)
    return np.where(known, outside - inside, 0.0), known, outside


def _coarse(polar: _Polar, low: float, high: float) -> list[FloatArray]:
    """Return the best ellipses as oval as is usual: log of the radius, shift, second wave."""
    every = 2  # columns; they are smoothed over more
    theta = directions_rad(COLUMNS)[::every]
    step = np.clip(polar.wide[:, ::every], -_CLIP, _CLIP) / _CLIP
    weights = every * polar.weights[::every]
    moves = np.array([(a, b) for a in _MOVES for b in _MOVES])
    oval = np.array(polar.usual) @ _WAVES[2:, ::every]
    away = np.log1p(moves @ np.stack([np.cos(theta), np.sin(theta)]) + oval)
    index = np.rint(away / _ROW).astype(np.intp)
    first, last = np.searchsorted(polar.rows, (np.log(low), np.log(high)))
    at = np.clip(np.arange(first, last, 2)[None, :, None] + index[:, None], 0, len(step) - 1)
    scores = step[at, np.arange(len(theta))] @ weights
    scores -= 0.5 * _PRIOR * ((moves / _OFF_CENTRE_SD) ** 2).sum(axis=1)[:, None]
    found: list[FloatArray] = []
    for best in np.argsort(-scores, axis=None)[:_SEARCHED]:
        k, row = np.unravel_index(int(best), scores.shape)
        shape = np.array([polar.rows[first + 2 * row], *moves[k], *polar.usual])
        if all(np.abs(shape - one)[:3].max() > _ELSEWHERE for one in found):
            found.append(shape)
    return found[:_WAYS]


_SEARCHED, _WAYS, _ELSEWHERE = 300, 4, 0.055  # best scores, shapes kept, share of the radius


_THETA = directions_rad(COLUMNS)
_WAVES = np.stack([np.cos(_THETA), np.sin(_THETA), np.cos(2.0 * _THETA), np.sin(2.0 * _THETA)])


def _curve(shape: FloatArray) -> FloatArray:
    """Return the logarithm of the radius by direction."""
    return np.asarray(shape[0] + np.log1p(shape[1:] @ _WAVES))


def _step_along(polar: _Polar, shape: FloatArray) -> FloatArray:
    at = np.clip((_curve(shape) - polar.rows[0]) / _ROW, 0, len(polar.rows) - 2)
    low = at.astype(np.intp)
    columns, share = np.arange(COLUMNS), at - low
    return np.asarray(
        (1.0 - share) * polar.narrow[low, columns] + share * polar.narrow[low + 1, columns]
    )


def _worth(polar: _Polar, shape: FloatArray, clip: float, trust: float) -> float:
    """Return the mean clipped step less what speaks against such a shape."""
    told = np.clip(_step_along(polar, shape) / clip, -1.0, 1.0) @ polar.weights
    _, a, b, c, d = shape
    away = 0.5 * _PRIOR * (a * a + b * b) / _OFF_CENTRE_SD**2
    return float(
        told - trust * away - _OVAL * ((c - polar.usual[0]) ** 2 + (d - polar.usual[1]) ** 2)
    )


def _climbed(polar: _Polar, shape: FloatArray) -> tuple[FloatArray, float]:
    """Return the ellipse to which steps of halving size lead, and its worth."""
    plain = float(np.median(np.clip(_step_along(polar, shape), 0.0, None)))
    clip = max(_CLIP, 1.2 * plain)
    best, worth = shape, _worth(polar, shape, clip, 0.5)
    size = np.array([0.02, 0.02, 0.02, 0.012, 0.012])
    while size[0] > 0.002:
        moved = False
        for k in range(5):
            for sign in (1.0, -1.0):
                trial = best.copy()
                trial[k] += sign * size[k]
                value = _worth(polar, trial, clip, 0.5)
                if value > worth:
                    best, worth, moved = trial, value, True
        if not moved:
            size = 0.5 * size
    return best, worth


def _traced(polar: _Polar, shape: FloatArray) -> Told | None:
    """Follow the edge by direction near an ellipse; lids and wires are left out."""
    reach, columns = round(_BAND.reach / _ROW), np.arange(COLUMNS)
    at = np.rint((_curve(shape) - polar.rows[0]) / _ROW).astype(np.intp)
    rows = np.clip(at + np.arange(-reach, reach + 1)[:, None], 0, len(polar.rows) - 1)
    near = np.where(polar.known[rows, columns], polar.narrow[rows, columns], -1.0)
    k = near.argmax(axis=0)
    top, inner = near[k, columns], (k > 0) & (k < 2 * reach)
    before = near[np.maximum(k - 1, 0), columns]
    after = near[np.minimum(k + 1, 2 * reach), columns]
    bend = np.minimum(before - 2.0 * top + after, -1e-6)
    fine = np.where(inner, np.clip(0.5 * (before - after) / bend, -1.0, 1.0), 0.0)
    found = np.exp(polar.rows[rows[k, columns]] + fine * _ROW)
    beyond = polar.beyond[rows[k, columns], columns]
    seen, plain = _of_one_kind(polar, top, beyond, inner)
    if seen.sum() < COLUMNS // 6:
        return None
    flat = 1.0 + np.array(polar.usual) @ _WAVES[2:]
    seen = _with_the_sides(polar, found / flat, seen)
    if seen.sum() < COLUMNS // 6:
        return None
    smooth, residual, sd = outline_through(found / flat, seen, _BAND)
    smooth = smooth * flat
    centre, radii = _about_own_centre(polar, smooth)
    outside = float(np.median(beyond[seen]))
    ring = Ring(centre, radii, seen, residual, sd, (outside - plain,) * 3, (outside,) * 3)
    worth = _worth(polar, shape, _CLIP, 1.0)
    return Told(in_working_pixels(ring), worth, _sure(polar, ring, shape, (plain, worth)))


def _of_one_kind(
    polar: _Polar, top: FloatArray, beyond: FloatArray, inner: BoolArray
) -> tuple[BoolArray, float]:
    """Return where a step and what lies beyond are those of the two sides, and the usual step.

    Skin and the wires of a speculum are of another brightness than sclera, which may be lit
    unevenly from one side to the other.
    """
    usual = float(np.quantile(top, 0.6))
    seen = (top > max(_SHARE * usual, _LEAST)) & inner
    on = seen & polar.side
    if on.sum() < _ENOUGH:
        return seen, usual
    usual = float(np.median(top[on]))
    slope = np.stack([np.ones(COLUMNS), _WAVES[0], _WAVES[1]], axis=1)
    ridge = np.diag([0.0, 1.0, 1.0])
    fit = np.linalg.solve(slope[on].T @ slope[on] + ridge, slope[on].T @ beyond[on])
    off = np.abs(beyond - slope @ fit)
    spread = 1.4826 * float(np.median(off[on])) + 0.01
    alike = (off < max(2.5 * spread, 0.3 * usual)) & (top < 2.0 * usual)
    return seen & alike, usual


_SHARE, _LEAST, _ENOUGH = 0.35, 0.02, 10


def _with_the_sides(polar: _Polar, found: FloatArray, seen: BoolArray) -> BoolArray:
    """Return where an edge agrees with the sides': a lid's edge above or below leads off them."""
    sides = seen & (np.abs(polar.across) > _OBLIQUE)
    if sides.sum() < _ENOUGH:
        return seen
    curve, scatter, _ = outline_through(found, sides, _BAND)
    strayed = np.abs(found - curve) > np.maximum(3.0 * scatter, _STRAYED * curve)
    return seen & ~strayed


_OBLIQUE, _STRAYED = 0.5, 0.02  # sine of the direction; share of the radius


def _about_own_centre(polar: _Polar, smooth: FloatArray) -> tuple[tuple[float, float], FloatArray]:
    """Return the outline by direction about its own centre, which is not the pupil's."""
    curve = points_at(polar.centre_px, _THETA, smooth)
    around = np.roll(curve, -1, axis=0) - curve
    length = 0.5 * np.hypot(*around.T)
    length += np.roll(length, 1)
    u, v = (length @ curve) / length.sum()
    centre = float(u), float(v)
    return centre, radius_about(curve, centre, _THETA)


def _sure(polar: _Polar, ring: Ring, shape: FloatArray, signs: tuple[float, float]) -> bool:
    """Are both sides seen, plainly enough, and is the limbus rather this ring than a lid's?

    A sum of what speaks for it (logistic regression, own renders of 720 eyes, half of them with
    lids and lashes over a limbus that fills the picture): mean step along it, how well its centre
    and its edge are placed, how much of both sides is seen, and how near to the pupil it stands.
    """
    plain, worth = signs
    sides = [polar.across > _SIDEWAYS, polar.across < -_SIDEWAYS]
    fewest = min(float(ring.seen[one].mean()) for one in sides)
    if plain <= _FAINTEST or fewest <= _ONE_SIDE:
        return False
    away = float((shape[1:3] ** 2).sum())
    placed, rough = ring.centre_sd_px / ring.radius_px, ring.residual_px / ring.radius_px
    for_it = (worth, math.log(placed + _TINY), math.log(rough + _TINY), fewest, away, 1.0)
    return float(np.dot(_SPEAKS, for_it)) > _LIKELY


_ONE_SIDE, _FAINTEST, _TINY = 0.2, 0.04, 1e-6
_SPEAKS = (1.74, -0.96, -2.88, 3.08, -271.0, -17.64)
_LIKELY = math.log(0.93 / 0.07)  # a choice: so likely that a ring told is right
