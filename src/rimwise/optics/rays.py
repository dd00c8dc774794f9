"""Rays, how they fared, and what a trace hands back."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import WrongInput

Int8Array = NDArray[np.int8]
Int16Array = NDArray[np.int16]


class Status(IntEnum):
    """How a ray fared; anything but OK stops it at the step named beside it."""

    OK = 0
    MISSED = 1
    CLIPPED = 2
    TOTAL_REFLECTION = 3
    NO_CONVERGENCE = 4
    LEFT_MEDIUM = 5


@dataclass(frozen=True, slots=True)
class Rays:
    """A bundle of rays in the system's frame; make one with :func:`rays`.

    Parameters
    ----------
    positions_mm, directions : array, shape (n, 3)
        A point on each ray and its unit direction of travel.
    opl_mm : array, shape (n,)
        Optical path length gathered so far.
    status : array of int8, shape (n,)
        :class:`Status` codes.
    at_surface : array of int16, shape (n,)
        The step of the system at which a ray failed, counted from 0; -1 where none did.
    """

    positions_mm: FloatArray
    directions: FloatArray
    opl_mm: FloatArray
    status: Int8Array
    at_surface: Int16Array

    def __len__(self) -> int:
        return int(self.positions_mm.shape[0])

    @property
    def ok(self) -> BoolArray:
        """Which rays came through?"""
        return np.asarray(self.status == Status.OK)

    def reversed(self) -> "Rays":
        """Return the same rays running back, their path length counted from here."""
        return Rays(
            self.positions_mm,
            -self.directions,
            np.zeros_like(self.opl_mm),
            self.status,
            self.at_surface,
        )

    def advanced(self, distance_mm: ArrayLike, index: float = 1.0) -> "Rays":
        """Return the rays further along by a distance (scalar or (n,)) in a uniform medium."""
        step = np.broadcast_to(np.asarray(distance_mm, dtype=np.float64), self.opl_mm.shape)
        return Rays(
            self.positions_mm + step[:, None] * self.directions,
            self.directions,
            self.opl_mm + index * step,
            self.status,
            self.at_surface,
        )


@dataclass(frozen=True, slots=True)
class Record:
    """What happened at every step, where asked for; NaN from the step at which a ray failed.

    Parameters
    ----------
    points_mm, directions : array, shape (steps, n, 3)
        Where each ray met the surface, and its direction afterwards, in the system's frame.
    opl_mm : array, shape (steps, n)
        Optical path length up to there.
    cosines : array, shape (steps, n)
        |cos| of the angle of incidence.
    """

    points_mm: FloatArray
    directions: FloatArray
    opl_mm: FloatArray
    cosines: FloatArray


@dataclass(frozen=True, slots=True)
class Traced(Rays):
    """The rays after the last step, on its surface; failed rays hold NaN. ``record`` on request."""

    record: Record | None = None


def rays(positions_mm: ArrayLike, directions: ArrayLike) -> Rays:
    """Make a bundle from points and directions.

    Parameters
    ----------
    positions_mm, directions : array_like, shape (3,) or (n, 3)
        Broadcast against each other; directions need not have unit length.

    Returns
    -------
    Rays

    Raises
    ------
    WrongInput
        If a direction is zero or not finite.

    Examples
    --------
    >>> fan = rays([0.0, 0.0, 10.0], [[0.0, 0.0, -2.0], [0.0, 3.0, -4.0]])
    >>> len(fan), fan.directions[1].tolist()
    (2, [0.0, 0.6, -0.8])
    """
    points = np.atleast_2d(np.asarray(positions_mm, dtype=np.float64))
    ways = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    if points.shape[-1] != 3 or ways.shape[-1] != 3:
        raise WrongInput("rays need three coordinates and three direction components each")
    length = np.sqrt(np.einsum("ij,ij->i", ways, ways))
    if not (np.all(length > 0.0) and np.all(np.isfinite(length))):
        raise WrongInput("a ray has a zero or infinite direction; give any vector of finite length")
    points, ways = np.broadcast_arrays(points, ways / length[:, None])
    n = points.shape[0]
    return Rays(
        np.ascontiguousarray(points),
        np.ascontiguousarray(ways),
        np.zeros(n),
        np.zeros(n, dtype=np.int8),
        np.full(n, -1, dtype=np.int16),
    )


def rays_towards(from_mm: ArrayLike, to_mm: ArrayLike) -> Rays:
    """Make a bundle from points towards other points, both (3,) or (n, 3)."""
    start = np.atleast_2d(np.asarray(from_mm, dtype=np.float64))
    end = np.atleast_2d(np.asarray(to_mm, dtype=np.float64))
    return rays(start, end - start)
