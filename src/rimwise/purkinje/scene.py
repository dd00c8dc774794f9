"""One eye before one set-up as numbers that can be varied: the forward side of the inverse.

A state is a vector of parameters; a batch of states becomes, in one go, surfaces, views and
targets for the path kernel. The eye's own numbers vary linearly in units of their sds.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.eye.build import eye_model
from rimwise.eye.draws import spread_matrix, spread_names, varied_eye
from rimwise.eye.model import EyeModel
from rimwise.purkinje import kernel
from rimwise.purkinje.flat import flat_surfaces
from rimwise.purkinje.kernel import RAY, STATUS, U
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyeRecord
from rimwise.terms.arrays import FloatArray

PLACES = (
    "shift_x_mm",
    "shift_y_mm",
    "shift_z_mm",
    "turn_x_rad",
    "turn_y_rad",
    "tilt_x_rad",
    "tilt_y_rad",
    "lens_x_mm",
    "lens_y_mm",
    "pupil_x_mm",
    "pupil_y_mm",
    "limbus_x_mm",
    "limbus_y_mm",
)
SHIFT, TURN, TILT, LENS, PUPIL, LIMBUS = (
    slice(0, 3), slice(3, 5), slice(5, 7), slice(7, 9), slice(9, 11), slice(11, 13),
)  # fmt: skip
# A rim's centre is the mean of its points: exact for views that are quadratic over the rim.
RIM = 4
# Numbers of an eye that no reflex, pupil or limbus centre depends on, or that have a place here.
NOT_SEEN = ("axial_mm", "pupil_x_mm", "pupil_y_mm", "visual_x_deg", "visual_y_deg",
            "white_to_white_mm", "pupil_diameter_mm")  # fmt: skip
THROUGH, IN_AIR = -1, -2
# Of an sd: a forward difference of the surfaces is good to this share of one.
TINY = 1e-4


@dataclass(frozen=True)
class SceneEye:
    """An eye whose numbers may vary, flat.

    Parameters
    ----------
    base, slopes : array, shape (s, WIDTH) and (k, s, WIDTH)
        Surfaces with the lens upright are base + z · slopes for independent variations z, each
        in units of its sd; exact at the z that :meth:`about` was asked for.
    names : tuple of str
        What varies.
    model : EyeModel
    limbus_mm : tuple of float
        Radius and depth of the limbus.
    pivot_mm : float
        Depth of the globe's centre of rotation.
    pupil_sd_mm : tuple of 2 floats
        How sure the pupil's real centre is.
    record : EyeRecord
    mix : array, shape (names, k)
        Steps of the record's spreads, in sds, for each independent variation.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = scene_eye(eye_record(Known("right")), 13.5)
    >>> eye.about(np.zeros(len(eye.names))).base.shape == eye.base.shape
    True
    """

    base: FloatArray
    slopes: FloatArray
    names: tuple[str, ...]
    model: EyeModel
    limbus_mm: tuple[float, float]
    pivot_mm: float
    pupil_sd_mm: tuple[float, float]
    record: EyeRecord
    mix: FloatArray

    def about(self, z: FloatArray) -> "SceneEye":
        """Return the same eye with its surfaces linear about other variations z, (k,)."""

        def surfaces(steps: FloatArray) -> FloatArray:
            return flat_surfaces(eye_model(varied_eye(self.record, self.mix @ steps)))

        here = surfaces(z)
        slopes = np.zeros((len(z), *here.shape))
        for i in range(len(z)):
            ahead = z.copy()
            ahead[i] += TINY
            slopes[i] = (surfaces(ahead) - here) / TINY
        base = here - np.einsum("k,ksw->sw", z, slopes)
        return replace(self, base=base, slopes=slopes)

    @property
    def corneal(self) -> int:
        """How many surfaces has the cornea?"""
        return self.model.stop_step

    @property
    def lens_rows(self) -> slice:
        """Which surfaces move with the lens?"""
        return slice(self.model.stop_step, len(self.base))


def scene_eye(record: EyeRecord, pivot_mm: float) -> SceneEye:
    """How do the surfaces of this eye vary with what is not known of it?

    Correlated spreads are split into independent ones first.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> scene_eye(eye_record(Known("right")), 13.5).base.shape
    (4, 19)
    """
    model = eye_model(record)
    names, matrix = spread_names(record), spread_matrix(record)
    keep = [i for i, name in enumerate(names) if name not in NOT_SEEN]
    mix = np.zeros((len(names), len(keep)))
    mix[keep] = np.linalg.cholesky(matrix[np.ix_(keep, keep)])
    width, depth = limbus_of(record, model)
    pupil_sd = (record.numbers["pupil_x_mm"].sd, record.numbers["pupil_y_mm"].sd)
    varied = tuple(names[i] for i in keep)
    none = np.zeros((0, 0))
    eye = SceneEye(none, none, varied, model, (width, depth), pivot_mm, pupil_sd, record, mix)
    return eye.about(np.zeros(len(keep)))


def limbus_of(record: EyeRecord, model: EyeModel) -> tuple[float, float]:
    """How wide is the limbus's radius and how deep does its plane lie, mm?

    Where the corneal front, taken round, has the white-to-white's width.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> record = eye_record(Known("right", white_to_white_mm=11.8))
    >>> radius, depth = limbus_of(record, eye_model(record))
    >>> round(radius, 2), 2.2 < depth < 2.8
    (5.9, True)
    """
    width = record.value("white_to_white_mm") / 2.0
    depth = -float(model.parts[0].rounded.surface.sag_mm(np.array(width), np.array(0.0)))
    return width, depth if math.isfinite(depth) else 0.5 * width


@dataclass(frozen=True)
class Scene:
    """What is looked at: which paths lead from the camera, in which order.

    Parameters
    ----------
    eye : SceneEye
    setup : SetUp
    paths : tuple of (mirror, lamp)
        Reflexes that were found.
    pupil, limbus : bool
        Whether their centres were found.

    Examples
    --------
    >>> from rimwise.eye.camera import Camera
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> setup = SetUp(Camera.in_front(200.0), ((8.0, 0.0, 200.0),))
    >>> eye = scene_eye(eye_record(Known("right")), 13.5)
    >>> Scene(eye, setup, ((0, 0),), False, True).mirrors
    [0, -2, -2, -2, -2]
    """

    eye: SceneEye
    setup: SetUp
    paths: tuple[tuple[int, int], ...]
    pupil: bool
    limbus: bool

    @property
    def mirrors(self) -> list[int]:
        """The kernel's code of every path."""
        return (
            [mirror for mirror, _ in self.paths]
            + [THROUGH] * (RIM * self.pupil)
            + [IN_AIR] * (RIM * self.limbus)
        )

    def surfaces(self, states: FloatArray) -> FloatArray:
        """Return the surfaces, (m, s, WIDTH), of m states, lens placed."""
        eye, m = self.eye, len(states)
        flat = states[:, len(PLACES) :] @ eye.slopes.reshape(len(eye.slopes), -1)
        tables: FloatArray = flat.reshape(m, *eye.base.shape) + eye.base
        rows = eye.lens_rows
        if rows.start == len(eye.base):
            return tables
        lens = tables[:, rows]
        turn = _rotations(states[:, TILT])[:, None]
        middle = 0.5 * (lens[:, 0, 18] + lens[:, -1, 18])[:, None]
        away = lens[..., 16:19].copy()
        away[..., 2] -= middle
        moved = (turn @ away[..., None])[..., 0]
        moved[..., :2] += states[:, None, LENS]
        moved[..., 2] += middle
        own = lens[..., 7:16].reshape(*lens.shape[:2], 3, 3)
        lens[..., 7:16] = (turn @ own).reshape(*lens.shape[:2], 9)
        lens[..., 16:19] = moved
        return tables

    def views_and_targets(
        self, states: FloatArray, tables: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return cameras, (m, 14), and targets, (m, paths, 3), in the eye's own frame."""
        m, camera = len(states), self.setup.camera
        turn = _rotations(states[:, TURN])
        pivot = np.array([0.0, 0.0, -self.eye.pivot_mm])
        centre = pivot + states[:, SHIFT]
        lamps = [self.setup.lamps_mm[lamp] for _, lamp in self.paths]
        world = np.array([camera.place_mm, *lamps])
        local = (world - centre[:, None]) @ turn + pivot
        views = np.zeros((m, 14))
        views[:, :3] = local[:, 0]
        views[:, 3:12] = (np.array(camera.axes).T @ turn).reshape(m, 9)
        views[:, 12] = -self.eye.model.stop_depth_mm
        views[:, 13] = self.eye.model.stop_step
        targets = [local[:, 1:]]
        if self.pupil:
            depth = np.full(m, self.eye.model.stop_depth_mm)
            if self.eye.model.parts[-1].of_lens and self._iris_on_lens:
                depth = -tables[:, self.eye.lens_rows.start, 18]
            radius = self.eye.model.pupil_diameter_mm / 2.0
            targets.append(_rim(states[:, PUPIL], radius, depth))
        if self.limbus:
            radius, depth_mm = self.eye.limbus_mm
            targets.append(_rim(states[:, LIMBUS], radius, np.full(m, depth_mm)))
        return views, np.concatenate(targets, axis=1)

    @property
    def _iris_on_lens(self) -> bool:
        model = self.eye.model
        limits = model.lens_limits_mm
        return limits is not None and limits[0] == model.stop_depth_mm

    def follow(
        self, states: FloatArray, starts: FloatArray, compiled: bool
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Solve the first state's paths and say how the others' observations differ from it.

        Returns
        -------
        seen : array, shape (obs, 2)
            Slopes of the reflexes, then of the centres of pupil and limbus; NaN where lost.
        moves : array, shape (m, obs, 2)
        rows : array
            Solved rows, the start for the next call.
        """
        tables = self.surfaces(states)
        views, targets = self.views_and_targets(states, tables)
        mirrors = self.mirrors
        n = len(mirrors)
        found = np.zeros((n + 1, RAY))
        found[:n, U : U + 2] = starts
        moves = np.zeros((n, len(states), 2))
        flat = tables.reshape(len(states), -1)
        if compiled:
            from rimwise.purkinje.compiled import follow  # noqa: PLC0415 - takes a second

            follow(views, targets, flat, np.array(mirrors), found, moves)
        else:
            rows, way = found.tolist(), moves.tolist()
            kernel.follow(
                views.tolist(), targets.tolist(), flat.tolist(), mirrors, rows, way
            )  # fmt: skip
            found, moves = np.array(rows), np.array(way)
        slopes = np.where(found[:n, STATUS, None] == 0.0, found[:n, U : U + 2], np.nan)
        moves = np.swapaxes(moves, 0, 1)
        return self._centres(slopes), self._centres(moves), slopes

    def _centres(self, of_paths: FloatArray) -> FloatArray:
        """Replace the points of each rim by their mean; paths on the last axis but one."""
        k, rims = len(self.paths), int(self.pupil) + int(self.limbus)
        if not rims:
            return of_paths
        shape = (*of_paths.shape[:-2], rims, RIM, 2)
        centres = of_paths[..., k:, :].reshape(shape).sum(axis=-2) * (1.0 / RIM)
        return np.concatenate([of_paths[..., :k, :], centres], axis=-2)


def _rotations(slopes_rad: FloatArray) -> FloatArray:
    """Return :func:`rimwise.optics.pose.tilt_rotation` of many slopes, (m, 2), at once."""
    x, y = np.tan(slopes_rad).T
    az = 1.0 / np.sqrt(1.0 + x * x + y * y)
    ax, ay, share = x * az, y * az, 1.0 / (1.0 + az)
    found = np.empty((len(slopes_rad), 3, 3))
    found[:, 0, 0], found[:, 1, 1], found[:, 2, 2] = (
        1.0 - ax * ax * share,
        1.0 - ay * ay * share,
        az,
    )
    found[:, 0, 1] = found[:, 1, 0] = -ax * ay * share
    found[:, 0, 2], found[:, 1, 2], found[:, 2, 0], found[:, 2, 1] = ax, ay, -ax, -ay
    return found


def _rim(centres: FloatArray, radius: float, depths: FloatArray) -> FloatArray:
    angle = 2.0 * np.pi * np.arange(RIM) / RIM
    points = np.zeros((len(centres), RIM, 3))
    points[..., 0] = centres[:, :1] + radius * np.cos(angle)
    points[..., 1] = centres[:, 1:] + radius * np.sin(angle)
    points[..., 2] = -depths[:, None]
    return points
