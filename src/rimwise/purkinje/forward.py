"""Where do the reflexes of the lamps appear, how large, how bright and how deep?"""

import math
from collections.abc import Callable
from typing import Literal

import numpy as np

from rimwise.eye.camera import Camera
from rimwise.eye.model import EyeModel
from rimwise.purkinje import kernel
from rimwise.purkinje.flat import FlatEye, flat_eye, start_rows
from rimwise.purkinje.general import Path, solve_path
from rimwise.purkinje.kernel import (
    CXX,
    INX,
    LIGHT,
    LXX,
    MISSED,
    RAY,
    STATUS,
    STUCK,
    TOTAL,
    U,
)  # fmt: skip
from rimwise.purkinje.mirrors import REFLEXES
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyePose, Reflex, ReflexName, ReflexStatus
from rimwise.terms.arrays import FloatArray

Engine = Literal["auto", "plain", "compiled", "general"]
# So many paths take as long in plain Python as the compiled kernel takes to load.
_MANY = 1000
_STATUS: dict[int, ReflexStatus] = {
    MISSED: "missed",
    TOTAL: "total reflection",
    STUCK: "no convergence",
}
_UNSEEN = (math.nan, math.nan)
STAGES = 24
Solver = Callable[[FloatArray, FloatArray], FloatArray]


def reflexes(
    model: EyeModel,
    pose: EyePose,
    setup: SetUp,
    names: tuple[ReflexName, ...] = REFLEXES,
    engine: Engine = "auto",
) -> tuple[Reflex, ...]:
    """Where does each lamp's reflex appear in each mirror of this eye?

    Parameters
    ----------
    model : EyeModel
        The eye, its lens placed.
    pose : EyePose
        Where the eye is and looks.
    setup : SetUp
        Camera and lamps.
    names : tuple of str
        Which reflexes; those of surfaces that the eye lacks are left out.
    engine : "auto", "plain", "compiled" or "general"
        All give the same numbers. "auto" loads the compiled kernel for very many paths only; ask
        for "compiled" where many frames follow each other, it loads in about a second.
        Gradients and shapes that the kernel does not know always go the general way.

    Returns
    -------
    tuple of Reflex
        Lamp by lamp, the reflexes in the order of ``names``.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("legrand"))
    >>> seen = reflexes(eye, EyePose(), SetUp(Camera.in_front(200.0), ((20.0, 0.0, 200.0),)))
    >>> [(one.name, round(one.plane_mm[0], 3), one.upright) for one in seen]
    [('P1', 0.374, True), ('P2', 0.308, True), ('P3', 0.691, True), ('P4', -0.284, False)]
    """
    present = [(name, part) for name in names if (part := model.index_of(name)) is not None]
    view, lamps = setup.seen_from(pose)
    flat = flat_eye(model)
    view[12], view[13] = -model.stop_depth_mm, flat.corneal
    starts = [start_rows(model, view, lamps, part) for _, part in present]
    rows = np.stack(starts, axis=1) if starts else np.zeros((len(lamps), 0, kernel.COLUMNS))
    quick = [i for i, (_, part) in enumerate(present) if part < flat.reach]
    if engine == "general":
        quick = []
    if quick:
        parts = [present[i][1] for i in quick]
        rows[:, quick] = solve_rows(flat, view, lamps, parts, rows[:, quick], engine)
    for i, (_, part) in enumerate(present):
        solver = _solver(model, view, part, engine if i in quick else "general")
        if i not in quick:
            rows[:, i] = solver(lamps, rows[:, i])
        for lamp in np.flatnonzero(rows[:, i, STATUS]):
            rows[lamp, i] = _approached(solver, model, (view, lamps[lamp], part), rows[lamp, i])
    described = rows.tolist()
    pixels = setup.camera.px_from_slopes(rows[..., U : U + 2].reshape(-1, 2)).reshape(
        *rows.shape[:2], 2
    )
    px = pixels.tolist()
    return tuple(
        _reflex(model, setup.camera, (name, lamp, tuple(px[lamp][i])), described[lamp][i])
        for lamp in range(len(lamps))
        for i, (name, _) in enumerate(present)
    )


def _solver(model: EyeModel, view: FloatArray, part: int, engine: Engine) -> Solver:
    """Return what turns lamps and starts into rows for one mirror."""
    if engine == "general":
        path = general_path(model, part)
        return lambda lamps, rows: solve_path(path, view, lamps, rows)
    flat = flat_eye(model)
    return lambda lamps, rows: solve_rows(flat, view, lamps, [part], rows[:, None], engine)[:, 0]


def _approached(
    solver: Solver, model: EyeModel, of: tuple[FloatArray, FloatArray, int], failed: FloatArray
) -> FloatArray:
    """Come to a far lamp step by step from the camera's own place, where the path is a normal."""
    view, lamp, part = of
    before = now = None
    for share in np.linspace(0.0, 1.0, STAGES + 1):
        near = (view[:3] + share * (lamp - view[:3]))[None]
        row = start_rows(model, view, near, part) if now is None else now.copy()
        if now is not None and before is not None:
            row[:, U : U + 2] += now[:, U : U + 2] - before[:, U : U + 2]
        before, now = now, solver(near, row)
        if now[0, STATUS]:
            return failed
    return failed if now is None else now[0]


def general_path(model: EyeModel, part: int) -> Path:
    """Which path does the general trace follow for the mirror ``part``?

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> general_path(schematic_model(schematic_eye("legrand")), 3).mirror
    3
    """
    return Path(
        model.mirror_path(part),
        part,
        model.stop_step,
        -model.stop_depth_mm,
        model.placed[part].behind,
    )


def solve_rows(
    flat: FlatEye,
    view: FloatArray,
    lamps: FloatArray,
    parts: list[int],
    rows: FloatArray,
    engine: Engine = "auto",
) -> FloatArray:
    """Solve the paths of all lamps by these mirrors with the kernel, plain or compiled.

    Parameters
    ----------
    flat : FlatEye
    view : array, shape (14,)
    lamps : array, shape (n, 3)
    parts : list of int
        The m mirrors.
    rows : array, shape (n, m, COLUMNS)
        With starts; not changed.
    engine : "auto", "plain" or "compiled"

    Returns
    -------
    array, shape (n, m, COLUMNS)

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> flat = flat_eye(schematic_model(schematic_eye("legrand")))
    >>> view = np.array([0, 0, 200.0, 1, 0, 0, 0, 1, 0, 0, 0, 1, -3.6, 2])
    >>> lamp = np.array([[0.0, 0.0, 200.0]])
    >>> solve_rows(flat, view, lamp, [0], np.zeros((1, 1, 23)))[0, 0, :2].tolist()
    [0.0, 0.0]
    """
    shape = rows.shape
    if engine == "compiled" or (engine == "auto" and len(lamps) * len(parts) >= _MANY):
        try:
            from rimwise.purkinje import compiled  # noqa: PLC0415 - a second, only where it pays
        except ImportError:
            return solve_rows(flat, view, lamps, parts, rows, "plain")
        found = np.ascontiguousarray(rows.reshape(-1, kernel.COLUMNS))
        if found is rows or np.shares_memory(found, rows):
            found = found.copy()
        mirrors = np.array(parts, dtype=np.int64)
        store = np.zeros(RAY)
        # Copies, since what is read only would be compiled once more.
        table = flat.surfaces.copy()
        compiled.solve_all(view.copy(), lamps.copy(), table, mirrors, found, store)
        return found.reshape(shape)
    listed = rows.reshape(-1, kernel.COLUMNS).tolist()
    surfaces = flat.surfaces.tolist()
    kernel.solve_all(view.tolist(), lamps.tolist(), surfaces, parts, listed, [0.0] * RAY)
    return np.array(listed).reshape(shape)


def _reflex(
    model: EyeModel,
    camera: Camera,
    what: tuple[ReflexName, int, tuple[float, float]],
    row: list[float],
) -> Reflex:
    name, lamp, px = what
    bad = int(row[STATUS])
    if bad:
        nothing = (math.nan,) * 6
        return Reflex(name, lamp, _STATUS[bad], _UNSEEN, _UNSEEN, (math.nan,) * 3, *nothing)
    u, v = row[U], row[U + 1]
    # Along its two meridians the image stands where its bearing does not move with the camera.
    a, b, c, d = row[CXX : CXX + 4]
    half, part = 0.5 * (a + d), math.sqrt(max(0.25 * (a - d) ** 2 + b * c, 0.0))
    distance = -1.0 / half
    spread = abs(1.0 / (half - part) - 1.0 / (half + part))
    p, q, r, s = row[LXX : LXX + 4]
    size = math.sqrt(abs(p * s - q * r)) * distance
    image = tuple(
        place + distance * (right * u + up * v - back)
        for place, (right, up, back) in zip(camera.place_mm, camera.axes, strict=True)
    )
    focus = camera.focus_mm
    return Reflex(
        name,
        lamp,
        _seen_status(model, row),
        px,
        (u * focus, v * focus),
        (image[0], image[1], image[2]),
        distance,
        spread,
        math.copysign(size, p + s),
        row[LIGHT],
        1000.0 / focus - 1000.0 / distance,
        _blur_px(camera, distance),
    )


def _blur_px(camera: Camera, distance_mm: float) -> float | None:
    if camera.aperture_mm is None:
        return None
    return camera.aperture_mm * abs(1.0 - camera.focus_mm / distance_mm) * camera.px_per_mm


def _seen_status(model: EyeModel, row: list[float]) -> ReflexStatus:
    """Does the path pass the iris and the optic both ways? The cornea's do not meet them."""
    points = [(row[INX], row[INX + 1]), (row[INX + 2], row[INX + 3])]
    there = [(x, y) for x, y in points if not math.isnan(x)]
    x, y = model.pupil_mm
    if any(math.hypot(px - x, py - y) > model.pupil_diameter_mm / 2.0 for px, py in there):
        return "behind the iris"
    x, y = model.lens.shift_mm
    if any(math.hypot(px - x, py - y) > model.lens_semi_diameter_mm for px, py in there):
        return "beside the optic"
    return "seen"
