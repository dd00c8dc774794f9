"""From an eye, a pose and a set-up to the flat numbers that the path kernel works on."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.media import Gradient
from rimwise.purkinje.kernel import COLUMNS, U, V
from rimwise.purkinje.mirrors import equivalent_mirror, index_at
from rimwise.terms.arrays import FloatArray

_KINDS = {"conic": 0.0, "biconic": 2.0}
# A mirror flatter than this shows its image beyond any scene; the start is then taken nearer.
_FAR_MM = 200.0


@dataclass(frozen=True)
class FlatEye:
    """An eye's surfaces as the kernel reads them.

    Parameters
    ----------
    surfaces : array
        The flat table of :mod:`rimwise.purkinje.kernel`, eye's frame.
    reach : int
        Mirrors below this part can be solved by the kernel; beyond lies a gradient or a shape
        that only the general trace knows.
    corneal : int
        Number of corneal surfaces.
    """

    surfaces: FloatArray
    reach: int
    corneal: int


@lru_cache(maxsize=128)
def flat_eye(model: EyeModel) -> FlatEye:
    """Which numbers describe this eye to the kernel?

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> flat_eye(schematic_model(schematic_eye("legrand"))).reach
    4
    >>> flat_eye(schematic_model(schematic_eye("liou_brennan1997"))).reach
    2
    """
    table = flat_surfaces(model).ravel()
    table.setflags(write=False)
    # A gradient's index changes over the mirror: even its brightness is not the kernel's.
    beyond = [
        i
        for i, part in enumerate(model.parts)
        if part.surface.kind not in _KINDS or isinstance(part.behind, Gradient)
    ]
    return FlatEye(table, min(beyond, default=len(model.parts)), model.stop_step)


def flat_surfaces(model: EyeModel) -> FloatArray:
    """Which row of the kernel's table has each surface? Shape (s, WIDTH).

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> flat_surfaces(schematic_model(schematic_eye("legrand"))).shape
    (4, 19)
    """
    rows: list[list[float]] = []
    before = 1.0
    for part, upright in zip(model.placed, model.parts, strict=True):
        surface, pose = part.surface, part.surface.pose
        if surface.axis_rad:
            pose = pose.turned(surface.axis_rad)
        behind = index_at(upright.behind, upright.surface.pose.vertex_mm[2])
        shape = (
            _KINDS.get(surface.kind, math.nan),
            surface.curvature_x_per_mm,
            surface.curvature_y_per_mm,
            surface.conic_x,
            surface.conic_y,
        )
        turned = [one for row in pose.rotation for one in row]
        rows.append([*shape, before, behind, *turned, *pose.vertex_mm])
        before = behind
    return np.array(rows)


def start_rows(model: EyeModel, view: FloatArray, lamps: FloatArray, part: int) -> FloatArray:
    """Where does the paraxial image of each lamp lead the camera to look?

    The equivalent mirror's bisector rule: the reflex appears near the point of the mirror at
    which the direction from its centre halves the angle between lamp and camera.

    Parameters
    ----------
    view : array, shape (14,)
    lamps : array, shape (n, 3)
        Both in the eye's frame.

    Returns
    -------
    array, shape (n, COLUMNS)
        Rows with U and V filled in.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("legrand"))
    >>> view = np.array([0, 0, 200.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0])
    >>> start_rows(eye, view, np.array([[0.0, 0.0, 200.0]]), 0)[0, :2].tolist()
    [0.0, 0.0]
    """
    centre, radius = _bisector(model, part)
    camera = (float(view[0]), float(view[1]), float(view[2]))
    cx, cy, cz = (c - m for c, m in zip(camera, centre, strict=True))
    there = math.sqrt(cx * cx + cy * cy + cz * cz)
    axes = view[3:12].tolist()
    rows = np.zeros((len(lamps), COLUMNS))
    for row, lamp in zip(rows, lamps.tolist(), strict=True):
        lx, ly, lz = (c - m for c, m in zip(lamp, centre, strict=True))
        away = math.sqrt(lx * lx + ly * ly + lz * lz)
        ox, oy, oz = lx / away + cx / there, ly / away + cy / there, lz / away + cz / there
        out = radius / math.sqrt(ox * ox + oy * oy + oz * oz)
        px, py, pz = out * ox - cx, out * oy - cy, out * oz - cz
        right, up, back = (axes[k] * px + axes[k + 1] * py + axes[k + 2] * pz for k in (0, 3, 6))
        row[U], row[V] = right / -back, up / -back
    return rows


def _bisector(model: EyeModel, part: int) -> tuple[tuple[float, float, float], float]:
    """Return centre and radius of the sphere whose bisector leads to a mirror's image."""
    mirror, lens = equivalent_mirror(model, part), model.lens
    x, y, z = 0.0, 0.0, mirror.centre_z_mm
    radius = mirror.vertex_z_mm - z
    if abs(radius) > _FAR_MM:
        radius = math.copysign(_FAR_MM, radius)
        z = mirror.vertex_z_mm - radius
    if model.parts[part].of_lens and not lens.upright:
        deep = z - model.pivot_mm[2]
        x = lens.shift_mm[0] + math.tan(lens.tilt_rad[0]) * deep
        y = lens.shift_mm[1] + math.tan(lens.tilt_rad[1]) * deep
    return (x, y, z), radius
