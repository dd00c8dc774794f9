"""The surfaces in the order in which light meets them, and the one table they compile into."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np

from rimwise.optics.media import Gradient, Medium, checked_index
from rimwise.optics.pose import Pose, as_vec3
from rimwise.optics.surface import MAX_COEFFICIENTS, Kind, Surface
from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.errors import WrongInput

Action = Literal["refract", "reflect", "pass"]

# Codes and columns of the compiled table, shared by both kernels.
KINDS: dict[Kind, int] = {"conic": 0, "even asphere": 1, "biconic": 2, "toric": 3}
ACTIONS: dict[Action, int] = {"refract": 0, "reflect": 1, "pass": 2}
MATRIX, SHIFT = 0, 9
CX, CY, KX, KY = 12, 13, 14, 15
INDEX, MU, SEMI2 = 16, 17, 18
TERMS = 19
WIDTH = TERMS + MAX_COEFFICIENTS


@dataclass(frozen=True, slots=True)
class Step:
    """One meeting of light with a surface.

    Parameters
    ----------
    surface : Surface
    action : "refract", "reflect" or "pass"
        A stop, a reference plane or a retina is passed.
    after : float or Gradient, optional
        The medium light goes on in; only with "refract".
    """

    surface: Surface
    action: Action
    after: Medium | None = None

    def __post_init__(self) -> None:
        if (self.action == "refract") != (self.after is not None):
            raise WrongInput(
                f"the step {self.action!r} at {self.surface.name!r} came with the medium "
                f"{self.after!r}; only a refraction names the medium behind it, and it must"
            )
        if self.after is not None and not isinstance(self.after, Gradient):
            checked_index(self.after, f"behind {self.surface.name or 'a surface'}")


def refract(surface: Surface, into: Medium) -> Step:
    """Light crosses the surface into this medium."""
    return Step(surface, "refract", into)


def reflect(surface: Surface) -> Step:
    """Light is mirrored by the surface and stays in its medium."""
    return Step(surface, "reflect")


def pass_through(surface: Surface) -> Step:
    """Light crosses a stop or a plane of reference, or ends there."""
    return Step(surface, "pass")


@dataclass(frozen=True, slots=True)
class System:
    """An ordered path of light: the first medium and the steps.

    The order is free: in, mirrored, and out again is one system. Light may travel either way
    along z. A distance to the next surface may be negative (a virtual path).

    Parameters
    ----------
    steps : tuple of Step
    start : float or Gradient
        The medium light starts in.

    Examples
    --------
    >>> from rimwise.optics.surface import sphere
    >>> cornea = sphere(-7.8, name="cornea")
    >>> System((refract(cornea, 1.376),)).media
    (1.0, 1.376)
    """

    steps: tuple[Step, ...]
    start: Medium = 1.0

    def __post_init__(self) -> None:
        if not self.steps:
            raise WrongInput("a system without steps came; give at least one surface")
        if not isinstance(self.start, Gradient):
            checked_index(self.start, "in front of the first surface")

    @property
    def media(self) -> tuple[Medium, ...]:
        """The medium before each step, and the one after the last."""
        found: list[Medium] = [self.start]
        for step in self.steps:
            found.append(found[-1] if step.after is None else step.after)
        return tuple(found)

    @property
    def uniform(self) -> bool:
        """Are all media uniform?"""
        return not any(isinstance(medium, Gradient) for medium in self.media)

    def reversed(self) -> "System":
        """Return the path that light takes backwards through the same steps."""
        media = self.media
        back = tuple(
            replace(step, after=media[i] if step.action == "refract" else None)
            for i, step in reversed(tuple(enumerate(self.steps)))
        )
        return System(back, media[-1])

    def moved(
        self, rotation: FloatArray, about_mm: FloatArray, shift_mm: FloatArray | None = None
    ) -> "System":
        """Return everything, media included, after a rotation about a point and then a shift."""
        shift = as_vec3(np.zeros(3) if shift_mm is None else shift_mm)
        about = as_vec3(about_mm)

        def place(pose: Pose) -> Pose:
            return pose.moved(rotation, about, shift)

        def carry(medium: Medium | None) -> Medium | None:
            return medium.placed(place(medium.pose)) if isinstance(medium, Gradient) else medium

        steps = tuple(
            Step(s.surface.placed(place(s.surface.pose)), s.action, carry(s.after))
            for s in self.steps
        )
        start = carry(self.start)
        return System(steps, 1.0 if start is None else start)

    def unclipped(self) -> "System":
        """Return the same path with every surface wide enough for all rays."""
        return System(
            tuple(
                replace(s, surface=replace(s.surface, semi_diameter_mm=math.inf))
                for s in self.steps
            ),
            self.start,
        )


class Table(NamedTuple):
    """The constants of a system, one row a step, in its surface's own (axis-turned) frame.

    ``codes`` (k, 2) holds kind and action; ``rows`` (k, WIDTH) the way from the frame before,
    shape, index and clip; ``poses`` (k, 12) rotation and vertex of each frame in the system's.
    Where a medium is a gradient its index is NaN.
    """

    codes: IntArray
    rows: FloatArray
    poses: FloatArray


@lru_cache(maxsize=256)
def compile_table(system: System) -> Table:
    """Which constants does a trace through this system need?

    "Leave frame i, enter frame i + 1" is fused into one matrix and a shift.

    Examples
    --------
    >>> from rimwise.optics.surface import plane
    >>> compile_table(System((pass_through(plane()),))).rows.shape
    (1, 27)
    """
    k = len(system.steps)
    codes = np.zeros((k, 2), dtype=np.int64)
    rows = np.zeros((k, WIDTH))
    poses = np.zeros((k, 12))
    media = [math.nan if isinstance(m, Gradient) else m for m in system.media]
    last_matrix, last_origin = np.eye(3), np.zeros(3)
    for i, step in enumerate(system.steps):
        surface = step.surface
        pose = surface.pose.turned(surface.axis_rad) if surface.axis_rad else surface.pose
        matrix, origin = pose.matrix(), pose.origin()
        codes[i] = KINDS[surface.kind], ACTIONS[step.action]
        rows[i, MATRIX:SHIFT] = (matrix.T @ last_matrix).ravel()
        rows[i, SHIFT:CX] = matrix.T @ (last_origin - origin)
        rows[i, CX:INDEX] = (
            surface.curvature_x_per_mm,
            surface.curvature_y_per_mm,
            surface.conic_x,
            surface.conic_y,
        )
        rows[i, INDEX:TERMS] = media[i], media[i] / media[i + 1], surface.semi_diameter_mm**2
        rows[i, TERMS : TERMS + len(surface.coefficients)] = surface.coefficients
        poses[i, :9], poses[i, 9:] = matrix.ravel(), origin
        last_matrix, last_origin = matrix, origin
    for array in (codes, rows, poses):
        array.setflags(write=False)
    return Table(codes, rows, poses)
