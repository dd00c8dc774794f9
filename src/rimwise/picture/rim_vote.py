"""Where could a near-circular line lie? Candidates by coherence over all directions."""

from dataclasses import dataclass

import cv2
import numpy as np

from rimwise.geometry.medians import median
from rimwise.picture.planes import Float32Array, Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.strip import directions_rad
from rimwise.terms.arrays import FloatArray

_VOTING_RADIUS_PX = 120.0  # the pupil is brought to this size: a rim line is then 2 px wide
_COLUMNS = 120
_REACH = 0.20  # how far the circle's centre may lie from the pupil's, in pupil radii
_GRID = 0.018  # step of the centre's grid in pupil radii: half the width of a rim line
_SMALLEST, _LARGEST = 0.55, 1.14  # radius in pupil radii
_CLIP = 4.0  # noise levels: no reflection, fold or margin may outvote a faint long line
_PRIOR_SHARE = 0.15  # of directions counted as silent: a short arc needs a stronger line
_CANDIDATES = 5
_AT_ONCE = 8  # centres, whose samples still fit the processor's cache


@dataclass(frozen=True, slots=True)
class CircleCandidate:
    """A circle along which the picture darkens outwards in many directions at once."""

    votes: float
    u_px: float
    v_px: float
    radius_px: float


def rim_candidates(planes: Planes, pupil: PupilMargin) -> list[CircleCandidate]:
    """Which circles inside the pupil are candidates for a rim, most coherent first?

    Notes
    -----
    Own derivation: for each centre on a grid the radial derivative of log brightness, clipped at
    the noise so that no single thing outvotes many faint directions, is averaged over directions
    as a function of radius; a circle is a narrow peak.
    """
    zoom = min(1.0, _VOTING_RADIUS_PX / pupil.radius_px)
    slopes, noise = _gradients(planes, pupil, zoom)
    radius = pupil.radius_px * zoom
    centre_u = (pupil.centre_px[0] + 0.5) * zoom - 0.5
    centre_v = (pupil.centre_px[1] + 0.5) * zoom - 0.5
    radii = np.arange(round(_SMALLEST * radius), round(_LARGEST * radius) + 1, dtype=np.float64)
    steps = round(_REACH / _GRID)
    grid = np.arange(-steps, steps + 1) * _GRID * radius
    aside = np.stack(np.meshgrid(grid, grid, indexing="ij"), axis=-1).reshape(-1, 2)
    aside = aside[(aside**2).sum(axis=1) <= (_REACH * radius) ** 2]
    centres = aside + np.array([centre_u, centre_v])
    pieces = np.array_split(centres, -(-len(centres) // _AT_ONCE))
    rays = _rays(radii)
    votes = np.concatenate([_votes(slopes, noise, piece, rays) for piece in pieces])
    return [
        CircleCandidate(
            vote,
            (float(centres[place, 0]) + 0.5) / zoom - 0.5,
            (float(centres[place, 1]) + 0.5) / zoom - 0.5,
            float(radii[ring]) / zoom,
        )
        for vote, place, ring in _peaks(votes, centres, radii, radius)
    ]


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Slopes of log brightness along u and v, and where tissue is usable (1)."""

    along_u: Float32Array
    along_v: Float32Array
    usable: Float32Array


def _gradients(planes: Planes, pupil: PupilMargin, zoom: float) -> tuple[_Slopes, float]:
    """Return slopes of log brightness, and their noise."""
    size = (round(planes.width_px * zoom), round(planes.height_px * zoom))
    log = cv2.resize(planes.log_mean, size, interpolation=cv2.INTER_AREA)
    log = cv2.GaussianBlur(log, (0, 0), 0.8)
    mask = np.zeros(log.shape, dtype=np.uint8)
    inner = pupil.curve_px - np.asarray(pupil.centre_px)
    inner = np.asarray(pupil.centre_px) + inner * (0.975 - 2.0 / pupil.radius_px)
    cv2.fillPoly(mask, [np.round((inner + 0.5) * zoom - 0.5).astype(np.int32)], 1)
    mask[cv2.resize(planes.glare, size, interpolation=cv2.INTER_AREA) > 0.02] = 0
    along_u = cv2.Sobel(log, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    along_v = cv2.Sobel(log, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    steep = np.hypot(along_u, along_v)[mask > 0]
    noise = 1.4826 * median(steep) + 1e-6 if steep.size else 1.0
    return _Slopes(along_u, along_v, mask.astype(np.float32)), noise


@dataclass(frozen=True, slots=True)
class _Rays:
    """Directions, and the places (radii, directions) along them about the origin."""

    cos: Float32Array
    sin: Float32Array
    u_px: Float32Array
    v_px: Float32Array


def _rays(radii: FloatArray) -> _Rays:
    theta = directions_rad(_COLUMNS).astype(np.float32)
    cos, sin = np.cos(theta), np.sin(theta)
    far = radii[:, None].astype(np.float32)
    return _Rays(cos, sin, far * cos, -far * sin)


def _votes(slopes: _Slopes, noise: float, centres: FloatArray, rays: _Rays) -> FloatArray:
    """Return the votes for each radius about each of the centres."""
    about = centres.astype(np.float32)[:, :, None, None]
    u = (rays.u_px + about[:, 0]).reshape(-1, _COLUMNS)
    v = (rays.v_px + about[:, 1]).reshape(-1, _COLUMNS)
    # One plane after the other is quicker than the three at once.
    usable = _sampled(slopes.usable, u, v) > 0.9
    fall, across = _sampled(slopes.along_v, u, v), _sampled(slopes.along_u, u, v)
    fall *= rays.sin
    across *= rays.cos
    fall -= across
    limit = np.float32(_CLIP * noise)
    np.minimum(np.maximum(fall, -limit, out=fall), limit, out=fall)
    fall *= usable
    count = np.count_nonzero(usable, axis=1)
    votes = fall.sum(axis=1) / (count + _PRIOR_SHARE * _COLUMNS) / noise
    votes = votes * np.minimum(1.0, count / (0.12 * _COLUMNS))
    return np.asarray(votes, dtype=np.float64).reshape(len(centres), -1)


def _sampled(plane: Float32Array, u: Float32Array, v: Float32Array) -> Float32Array:
    found = cv2.remap(plane, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(found, dtype=np.float32)


def _peaks(
    votes: FloatArray, centres: FloatArray, radii: FloatArray, pupil_radius: float
) -> list[tuple[float, int, int]]:
    """Return the highest votes that are not each other's neighbours."""
    smooth = votes.copy()
    smooth[:, 1:-1] = (votes[:, :-2] + votes[:, 1:-1] + votes[:, 2:]) / 3.0
    chosen: list[tuple[float, int, int]] = []
    for flat in np.argsort(smooth, axis=None)[::-1][:20000]:
        place, ring = divmod(int(flat), smooth.shape[1])
        near = any(
            abs(radii[ring] - radii[r]) < 0.05 * pupil_radius
            and np.hypot(*(centres[place] - centres[p])) < 0.1 * pupil_radius
            for _, p, r in chosen
        )
        if not near:
            chosen.append((float(smooth[place, ring]), place, ring))
        if len(chosen) == _CANDIDATES:
            break
    return chosen
