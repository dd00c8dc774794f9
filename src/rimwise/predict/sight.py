"""Which wave leaves this eye's fovea through this pupil, in each colour?

Light from the fovea is traced out of the eye. The wave is taken across the line of sight of
555 nm, in the plane through the middle of the entrance pupil (ISO 24157), against a plane wave
along that line; other colours keep their tilt against it (transverse chromatic aberration).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.eye.schematic import eye_optics
from rimwise.optics.pose import Vec3
from rimwise.optics.rays import rays
from rimwise.optics.system import System
from rimwise.optics.trace import trace, trace_numpy
from rimwise.optics.wavefront import UM_PER_MM
from rimwise.optics.zernike import Wavefront, basis
from rimwise.predict.light import MIDDLE_NM, in_colour
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

ORDER = 8
RINGS, SPOKES = 9, 20
_PROBE = 1e-5
_PROBES = _PROBE * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]], dtype=np.float64)
_TURNS, _HIT_MM, _CLOSE_MM = 12, 1e-10, 2e-4


@dataclass(frozen=True, slots=True)
class LineOfSight:
    """The ray from the fovea through the middle of the pupil, and the plane across it.

    Parameters
    ----------
    slopes : array, shape (2,)
        At the fovea.
    origin_mm : array, shape (3,)
        Where it, prolonged, crosses the plane of the entrance pupil.
    axes : array, shape (3, 3)
        Rows: right, up and the way of the light, in the eye's frame.
    by_slope : array, shape (2, 2)
        How far places in the plane move with the slopes.
    """

    slopes: FloatArray
    origin_mm: FloatArray
    axes: FloatArray
    by_slope: FloatArray

    @property
    def pupil_depth_mm(self) -> float:
        """How far behind the corneal vertex does the entrance pupil lie?"""
        return -float(self.origin_mm[2])


def line_of_sight(model: EyeModel, fovea_mm: Vec3) -> LineOfSight:
    """Which ray from the fovea passes the middle of the pupil, and where does it leave the eye?

    Raises
    ------
    WrongInput
        If there is none.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1985"))
    >>> sight = line_of_sight(eye, (0.0, 0.0, -eye.retina_depth_mm))
    >>> round(sight.pupil_depth_mm, 2), (sight.axes[2] + 0.0).tolist()
    (3.04, [0.0, 0.0, 1.0])
    """
    outward = model.refracting.reversed().unclipped()
    slopes = _through_pupil(model, outward, np.array(fovea_mm))
    places, ways, _ = _out(outward, fovea_mm, slopes + _PROBES)
    way = ways[0]
    depth = _pupil_depth_mm(_round_and_upright(model))
    origin = places[0] - way * ((places[0, 2] + depth) / way[2])
    right = np.cross([0.0, 1.0, 0.0], way)
    right /= np.linalg.norm(right)
    axes = np.array([right, np.cross(way, right), way])
    at = _in_plane(places, ways, origin, axes)[0]
    by = np.column_stack([at[1] - at[2], at[3] - at[4]]) / (2.0 * _PROBE)
    return LineOfSight(slopes, origin, axes, by)


def placed_waves(
    model: EyeModel,
    fovea_mm: Vec3,
    pupil_mm: float,
    wavelengths_nm: Sequence[float] = (MIDDLE_NM,),
    sight: LineOfSight | None = None,
) -> tuple[Wavefront, ...]:
    """Which wave leaves the eye through a round entrance pupil, in each colour?

    Parameters
    ----------
    model : EyeModel
        Implant and pupil placed; indices at 555 nm.
    fovea_mm : tuple of 3 floats
    pupil_mm : float
        Diameter of the entrance pupil, 0.5 to 9.
    wavelengths_nm : sequence of floats
    sight : LineOfSight, optional
        Of this model, where it is known already.

    Returns
    -------
    tuple of Wavefront
        One a colour, Zernike coefficients to the 8th order; a short-sighted eye has positive
        c(2, 0).

    Raises
    ------
    WrongInput
        If the pupil is out of range.
    MeasurementRefused
        If light through this pupil does not get out of the eye.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1985"))
    >>> (wave,) = placed_waves(eye, (0.0, 0.0, -eye.retina_depth_mm), 5.0)
    >>> bool(0.05 < wave.coefficient_um(4, 0) < 0.3)
    True
    """
    if not 0.5 <= pupil_mm <= 9.0:
        raise WrongInput(f"a pupil of {pupil_mm} mm came; 0.5 to 9 mm is allowed")
    line = line_of_sight(model, fovea_mm) if sight is None else sight
    nodes, solve = _disc_nodes(RINGS, SPOKES)
    wanted = nodes * (0.5 * pupil_mm)
    slopes = line.slopes + wanted @ np.linalg.inv(line.by_slope).T
    outward = model.refracting.reversed().unclipped()
    indices = _indices(model, wavelengths_nm)
    error = _errors_um(_Aim(outward, fovea_mm, line, wanted), slopes, indices)
    if not np.isfinite(error).all():
        raise MeasurementRefused(
            "pupil-beyond-optic",
            f"Light through a pupil of {pupil_mm:g} mm does not all pass this optic where it "
            "stands; judge a smaller pupil.",
        )
    return tuple(
        Wavefront(modes, 0.5 * pupil_mm, "entrance pupil", nm)
        for nm, modes in zip(wavelengths_nm, error @ solve.T, strict=True)
    )


def _indices(model: EyeModel, wavelengths_nm: Sequence[float]) -> FloatArray:
    """Return the indices that light out of the eye meets, (media, colours)."""
    behind = [[part.behind for part in in_colour(model, nm).parts] for nm in wavelengths_nm]
    inward = np.column_stack([np.ones(len(behind)), np.array(behind, dtype=np.float64)])
    return np.asarray(inward[:, ::-1].T)


@dataclass(frozen=True, slots=True)
class _Aim:
    """From where, through what and to which places in the pupil's plane light is sent."""

    outward: System
    fovea_mm: Vec3
    line: LineOfSight
    wanted: FloatArray


def _errors_um(aim: _Aim, slopes: FloatArray, indices: FloatArray) -> FloatArray:
    """Aim all colours at the nodes with one Jacobian; what is missed still is allowed for.

    Returns (colours, nodes) without the first node, the middle, which the others are told against.
    """
    count, line = indices.shape[1], aim.line
    each = np.repeat(indices, len(aim.wanted), axis=1)
    wanted = np.tile(aim.wanted, (count, 1))
    slopes = np.tile(slopes, (count, 1))
    inverse = np.linalg.inv(line.by_slope).T
    for _ in range(_TURNS):
        start = rays(np.array(aim.fovea_mm), np.column_stack([slopes, np.ones(len(slopes))]))
        found = trace_numpy(aim.outward, start, indices=each)
        ways = found.directions
        at, along = _in_plane(found.positions_mm, ways, line.origin_mm, line.axes)
        miss = wanted - at
        # Malus: the wave's slope is the ray's direction, so that a near miss is known for a hit
        # to half the wave's curvature times the miss squared: 1e-7 µm for 5 dpt.
        heading = ways @ line.axes[:2].T
        path = found.opl_mm + along + np.einsum("ij,ij->i", heading, miss)
        worst = np.abs(miss).max()
        if not worst > _CLOSE_MM:
            break
        slopes = slopes + miss @ inverse
    told = path.reshape(count, -1)
    return np.asarray(UM_PER_MM * (told[:, :1] - told[:, 1:]))


@lru_cache(maxsize=8)
def _disc_nodes(rings: int, spokes: int) -> tuple[FloatArray, FloatArray]:
    """Return the middle and Gauss's nodes over a unit disc, and the matrix that fits order 8."""
    u, w = np.polynomial.legendre.leggauss(rings)
    r = np.sqrt(0.5 * (u + 1.0))
    # Every second ring is turned by half a step.
    turn = 2.0 * np.pi * (np.arange(spokes) + 0.5 * (np.arange(rings) % 2)[:, None]) / spokes
    x, y = (r[:, None] * np.cos(turn)).ravel(), (r[:, None] * np.sin(turn)).ravel()
    root = np.sqrt(np.repeat(w, spokes))
    solve = np.linalg.pinv(root[:, None] * basis(ORDER, x, y)) * root
    return np.vstack([[0.0, 0.0], np.column_stack([x, y])]), np.asarray(solve, dtype=np.float64)


@lru_cache(maxsize=64)
def _pupil_depth_mm(centred: EyeModel) -> float:
    return -eye_optics(centred).entrance.z_mm


def _round_and_upright(model: EyeModel) -> EyeModel:
    """Return the eye without cylinder and tilt: its entrance pupil has one depth."""
    parts = tuple(part.rounded for part in model.parts)
    return replace(model.with_lens((0.0, 0.0), (0.0, 0.0)), parts=parts)


def _out(
    outward: System, fovea_mm: Vec3, slopes: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    ways = np.column_stack([slopes, np.ones(len(slopes))])
    found = trace(outward, rays(np.array(fovea_mm), ways), engine="numpy")
    return found.positions_mm, found.directions, found.opl_mm


def _in_plane(
    places: FloatArray, ways: FloatArray, origin: FloatArray, axes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return where rays, prolonged, cross the plane, (n, 2), and how far along that is."""
    along = (origin - places) @ axes[2] / (ways @ axes[2])
    return (places + along[:, None] * ways - origin) @ axes[:2].T, along


def _through_pupil(model: EyeModel, outward: System, fovea: FloatArray) -> FloatArray:
    """Return the slopes at the fovea of the ray through the pupil's middle, by Newton."""
    pupil = np.array([*model.pupil_mm, -model.stop_depth_mm])
    slopes: FloatArray = (pupil - fovea)[:2] / (pupil - fovea)[2]
    lens = sum(part.of_lens for part in model.parts)
    inside = System(outward.steps[:lens], outward.start) if lens else None
    for _ in range(30):
        ways = np.column_stack([slopes + _PROBES, np.ones(5)])
        at: FloatArray = np.broadcast_to(fovea, (5, 3))
        if inside is not None:
            found = trace(inside, rays(fovea, ways), engine="numpy")
            at, ways = found.positions_mm, found.directions
        landed = at + ways * ((pupil[2] - at[:, 2]) / ways[:, 2])[:, None]
        gap = landed[:, :2] - pupil[:2]
        if not np.isfinite(gap).all():
            break
        if np.hypot(*gap[0]) < _HIT_MM:
            return slopes
        by = np.column_stack([gap[1] - gap[2], gap[3] - gap[4]]) / (2.0 * _PROBE)
        slopes = slopes - np.linalg.solve(by, gap[0])
    raise WrongInput("no ray goes from the fovea through the middle of the pupil; check the eye")
