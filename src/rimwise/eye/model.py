"""An eye as a row of surfaces with a lens that may stand tilted and off the axis.

The eye's own frame is the examiner's with the corneal vertex as its origin: +z out of the eye, so
that everything inside has z < 0 (``depth_mm`` = -z) and the corneal axis is the z axis.
"""

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

from rimwise.optics.media import Gradient, Medium
from rimwise.optics.paraxial import RayMatrix, ray_matrix
from rimwise.optics.pose import Pose, tilt_rotation
from rimwise.optics.surface import Surface, plane
from rimwise.optics.system import Step, System, pass_through, reflect, refract
from rimwise.published.eyes import Role
from rimwise.records.eye import LensPlace, ReflexName
from rimwise.terms.errors import WrongInput

MIRRORS: dict[ReflexName, Role] = {
    "P1": "cornea front",
    "P2": "cornea back",
    "P3": "lens front",
    "P4": "lens back",
}


@dataclass(frozen=True, slots=True)
class Part:
    """One surface, upright on the corneal axis, and the medium behind it (towards the retina)."""

    role: Role
    surface: Surface
    behind: Medium

    @property
    def depth_mm(self) -> float:
        """How far behind the corneal front does it stand?"""
        return -self.surface.pose.vertex_mm[2]

    @property
    def of_lens(self) -> bool:
        """Does it move with the lens?"""
        return self.role.startswith("lens")

    @property
    def rounded(self) -> "Part":
        """The same surface without its cylinder: the mean of its two curvatures all round."""
        one, other = self.surface.curvature_x_per_mm, self.surface.curvature_y_per_mm
        if one == other:
            return self
        mean = 0.5 * (one + other)
        return replace(
            self, surface=replace(self.surface, curvature_x_per_mm=mean, curvature_y_per_mm=mean)
        )


@dataclass(frozen=True)
class EyeModel:
    """An eye that light can be sent through.

    Parameters
    ----------
    name : str
        For people.
    parts : tuple of Part
        From the cornea inwards; the lens's surfaces upright, its place is in ``lens``.
    stop_depth_mm : float
        Plane of the pupil behind the corneal front.
    retina_depth_mm : float or None
        Along the corneal axis.
    lens : LensPlace
        Tilt and shift of the lens (or implant).
    pupil_mm : tuple of 2 floats
        Real centre of the pupil at the stop plane, from the corneal axis.
    pupil_diameter_mm : float
        Real.
    """

    name: str
    parts: tuple[Part, ...]
    stop_depth_mm: float
    retina_depth_mm: float | None = None
    lens: LensPlace = field(default_factory=LensPlace)
    pupil_mm: tuple[float, float] = (0.0, 0.0)
    pupil_diameter_mm: float = 3.0

    def __post_init__(self) -> None:
        depths = [part.depth_mm for part in self.parts]
        if not self.parts or self.parts[0].role != "cornea front" or depths[0] != 0.0:
            raise WrongInput(f"the eye {self.name!r} needs a corneal front at depth 0 as its first")
        if any(b <= a for a, b in pairwise(depths)):
            raise WrongInput(
                f"the surfaces of the eye {self.name!r} stand at {depths} mm; each has to lie "
                "behind the one before it"
            )
        if self.retina_depth_mm is not None and not self.retina_depth_mm > depths[-1]:
            raise WrongInput(
                f"the retina of the eye {self.name!r} stands at {self.retina_depth_mm} mm, and "
                f"more than {depths[-1]} mm (its last surface) is allowed; check the axial length"
            )

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        """Kept, since a model is asked for it again and again and has many numbers."""
        told = (self.name, self.parts, self.stop_depth_mm, self.retina_depth_mm)
        return hash((*told, self.lens, self.pupil_mm, self.pupil_diameter_mm))

    @property
    def lens_limits_mm(self) -> tuple[float, float] | None:
        """At which depths do the lens's poles stand when it is upright? None without a lens."""
        depths = [part.depth_mm for part in self.parts if part.of_lens]
        return (depths[0], depths[-1]) if depths else None

    @property
    def lens_semi_diameter_mm(self) -> float:
        """How far from its axis does the lens reach? Infinity where nobody said."""
        return min((p.surface.semi_diameter_mm for p in self.parts if p.of_lens), default=math.inf)

    @property
    def pivot_mm(self) -> tuple[float, float, float]:
        """About which point does the lens tilt? Its middle, unless its place says otherwise."""
        if self.lens.pivot_depth_mm is not None:
            return (0.0, 0.0, -self.lens.pivot_depth_mm)
        limits = self.lens_limits_mm or (0.0, 0.0)
        return (0.0, 0.0, -(limits[0] + limits[1]) / 2.0)

    @cached_property
    def placed(self) -> tuple[Part, ...]:
        """The parts where they really stand."""
        if self.lens.upright:
            return self.parts
        rotation = tilt_rotation(*self.lens.tilt_rad)
        shift = (*self.lens.shift_mm, 0.0)

        def place(pose: Pose) -> Pose:
            return pose.moved(rotation, self.pivot_mm, shift, "lens middle")

        def carry(part: Part) -> Part:
            if not part.of_lens:
                return part
            surface = part.surface.placed(place(part.surface.pose))
            behind = part.behind
            if isinstance(behind, Gradient):
                behind = behind.placed(place(behind.pose))
            return Part(part.role, surface, behind)

        return tuple(carry(part) for part in self.parts)

    def index_of(self, reflex: ReflexName) -> int | None:
        """Which part mirrors this reflex? None where the eye has no such surface."""
        role = MIRRORS[reflex]
        return next((i for i, part in enumerate(self.parts) if part.role == role), None)

    def with_lens(self, tilt_rad: tuple[float, float], shift_mm: tuple[float, float]) -> "EyeModel":
        """Return the same eye with its lens standing so (about the same pivot)."""
        return replace(self, lens=replace(self.lens, tilt_rad=tilt_rad, shift_mm=shift_mm))

    @cached_property
    def refracting(self) -> System:
        """The surfaces that light crosses on its way in."""
        return System(tuple(refract(part.surface, part.behind) for part in self.placed))

    @cached_property
    def cornea(self) -> System:
        """The corneal surfaces, as light crosses them on its way in."""
        return System(tuple(refract(p.surface, p.behind) for p in self.parts if not p.of_lens))

    @cached_property
    def whole(self) -> System:
        """Into the eye: cornea, stop, lens and, where its place is known, the retina's plane."""
        stop = pass_through(
            plane(
                Pose.at(*self.pupil_mm, -self.stop_depth_mm), self.pupil_diameter_mm / 2.0, "stop"
            )
        )
        steps = [refract(p.surface, p.behind) for p in self.placed if not p.of_lens]
        steps.append(stop)
        steps += [refract(p.surface, p.behind) for p in self.placed if p.of_lens]
        if self.retina_depth_mm is not None:
            steps.append(
                pass_through(plane(Pose.at(0.0, 0.0, -self.retina_depth_mm), name="retina"))
            )
        return System(tuple(steps))

    @property
    def stop_step(self) -> int:
        """Which step of ``whole`` is the stop?"""
        return sum(not part.of_lens for part in self.parts)

    def mirror_path(self, mirror: int) -> System:
        """Which way does light take that is mirrored by part ``mirror``: in, back, and out?"""
        parts = self.placed
        inward = [refract(part.surface, part.behind) for part in parts[:mirror]]
        outward: list[Step] = []
        for i in range(mirror - 1, -1, -1):
            before: Medium = parts[i - 1].behind if i else 1.0
            outward.append(refract(parts[i].surface, before))
        return System((*inward, reflect(parts[mirror].surface), *outward)).unclipped()

    @cached_property
    def matrix(self) -> RayMatrix:
        """The paraxial matrix of the eye, from the corneal front to its last surface."""
        return ray_matrix(self.refracting, way=-1)


def is_centred(model: EyeModel) -> bool:
    """Do all surfaces stand upright on one axis?

    Examples
    --------
    >>> from rimwise.optics.surface import sphere
    >>> eye = EyeModel("one surface", (Part("cornea front", sphere(-7.8), 1.336),), 3.0)
    >>> is_centred(eye)
    True
    """
    poses = [part.surface.pose for part in model.placed]
    return all(pose.rotation[2][2] == 1.0 and pose.vertex_mm[:2] == (0.0, 0.0) for pose in poses)
