"""The same system in general-purpose optics libraries, for a second opinion and for speed.

Both libraries pull in drawing tool kits of hundreds of megabytes that tracing never calls; where
those are absent, empty stand-ins take their names while a library is imported.
"""

import importlib
import itertools
import os
import sys
from collections.abc import Callable, Iterator
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any
from unittest.mock import MagicMock

import numpy as np

from rimwise.optics.pose import Pose
from rimwise.optics.rays import Rays
from rimwise.optics.surface import Surface
from rimwise.optics.system import System

WAVELENGTH_NM = 587.56
Ends = tuple[np.ndarray, np.ndarray]
KITS = ("vtk", "galsim", "astropy")  # what the libraries import and tracing never calls


class _StandIns(MetaPathFinder, Loader):
    """Answers imports of absent kits with modules whose every name is a mock."""

    def __init__(self) -> None:
        self.made: list[str] = []

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> ModuleSpec | None:
        del path, target
        if name.split(".", maxsplit=1)[0] not in KITS:
            return None
        return ModuleSpec(name, self, is_package=True)

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        module = ModuleType(spec.name)
        module.__getattr__ = lambda name: MagicMock(name=name)
        self.made.append(spec.name)
        return module

    def exec_module(self, module: ModuleType) -> None:
        """Do nothing: the stand-in is complete."""


def load(name: str) -> ModuleType:
    """Import a library; raises ImportError where it is absent."""
    finder = _StandIns()
    sys.meta_path.append(finder)
    try:
        return importlib.import_module(name)
    finally:
        # Others that look for a kit shall find it as absent as it is.
        sys.meta_path.remove(finder)
        for stand_in in finder.made:
            sys.modules.pop(stand_in, None)


def _turned(surface: Surface) -> Pose:
    return surface.pose.turned(surface.axis_rad)


def _radius(curvature_per_mm: float) -> float:
    return np.inf if curvature_per_mm == 0.0 else 1.0 / curvature_per_mm


def optiland_tracer(system: System) -> Callable[[Rays], Ends]:
    """Return a function that traces in optiland; its Newton tolerance is tightened to 1e-14."""
    run = optiland_paths(system)
    return lambda start: run(start)[:2]


def optiland_paths(system: System) -> Callable[[Rays], tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Return a function that traces in optiland and tells optical paths, too, in mm."""
    load("optiland.optic")
    surfaces = _optiland_surfaces(system)
    real_rays = importlib.import_module("optiland.rays").RealRays

    def run(start: Rays) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        x, y, z = start.positions_mm.T.copy()
        a, b, c = start.directions.T.copy()
        ones = np.ones(len(start))
        rays = real_rays(x, y, z, a, b, c, ones, ones * WAVELENGTH_NM / 1000.0)
        for surface in surfaces[1:]:
            surface.trace(rays, record=False)
        places, ways = (
            np.column_stack(one) for one in ((rays.x, rays.y, rays.z), (rays.L, rays.M, rays.N))
        )
        return places, ways, np.asarray(rays.opd)

    return run


def _optiland_surfaces(system: System) -> list[Any]:
    standard = importlib.import_module("optiland.surfaces.standard_surface")
    models = importlib.import_module("optiland.interactions.refractive_reflective_model")
    ideal = importlib.import_module("optiland.materials").IdealMaterial
    media = [ideal(n=float(m)) for m in system.media]
    planes = importlib.import_module("optiland.geometries.plane")
    frames = importlib.import_module("optiland.coordinate_system")
    found = [standard.Surface(None, media[0], planes.Plane(frames.CoordinateSystem()))]
    for step, medium in zip(system.steps, media[1:], strict=True):
        made = standard.Surface(found[-1], medium, _optiland_shape(step.surface))
        if step.action == "reflect":
            made.interaction_model = models.RefractiveReflectiveModel(made, is_reflective=True)
        found.append(made)
    return found


def _optiland_shape(surface: Surface) -> Any:
    rotation = importlib.import_module("scipy.spatial.transform").Rotation
    frames = importlib.import_module("optiland.coordinate_system")
    shapes = importlib.import_module("optiland.geometries")
    pose = _turned(surface)
    rx, ry, rz = rotation.from_matrix(pose.matrix()).as_euler("xyz")
    frame = frames.CoordinateSystem(*pose.vertex_mm, rx, ry, rz)
    gap = np.abs(np.asarray(frame.get_rotation_matrix()) - pose.matrix()).max()
    if gap > 1e-14:
        raise AssertionError(f"the rotation was not carried over: {gap}")
    rx_mm, ry_mm = _radius(surface.curvature_x_per_mm), _radius(surface.curvature_y_per_mm)
    exact = {"tol": 1e-14, "max_iter": 100}
    if surface.kind == "conic" and np.isinf(rx_mm):
        return shapes.Plane(frame)
    if surface.kind == "conic":
        return shapes.StandardGeometry(frame, rx_mm, surface.conic_x)
    if surface.kind == "even asphere":
        terms = [0.0, *surface.coefficients]
        return shapes.EvenAsphere(frame, rx_mm, surface.conic_x, coefficients=terms, **exact)
    if surface.kind != "toric":
        raise AssertionError("optiland's biconic adds two profiles: another surface than ours")
    return shapes.ToroidalGeometry(frame, rx_mm, ry_mm, surface.conic_y, **exact)


def rayoptics_tracer(system: System) -> Callable[[Rays], Ends]:
    """Return a function that traces ray by ray in rayoptics; conics and even aspheres only."""
    tracing = load("rayoptics.raytr.raytrace")
    path = _rayoptics_path(system)
    last = system.steps[-1].surface.pose

    def run(start: Rays) -> Ends:
        points, ways = np.empty((len(start), 3)), np.empty((len(start), 3))
        for i, (p, d) in enumerate(zip(start.positions_mm, start.directions, strict=True)):
            walk: Iterator[Any] = iter(path)
            ray, *_ = tracing.trace_raw(walk, p, d, WAVELENGTH_NM, eps=1e-15, intersect_obj=False)
            points[i], ways[i] = ray[-1][0], ray[-1][1]
        return last.outward(points), ways @ last.matrix().T

    return run


def _rayoptics_path(system: System) -> list[Any]:
    profiles = importlib.import_module("rayoptics.elem.profiles")
    surfaces = importlib.import_module("rayoptics.elem.surface")
    modes = {"refract": "transmit", "reflect": "reflect", "pass": "dummy"}
    poses = [Pose(), *(step.surface.pose for step in system.steps), Pose()]
    # Light starts towards -z, as it does into an eye.
    way, path = -1.0, []
    for i, (here, there) in enumerate(itertools.pairwise(poses)):
        made = surfaces.Surface(profile=profiles.Spherical(), interact_mode="dummy")
        if i:
            step = system.steps[i - 1]
            profile = _rayoptics_profile(profiles, step.surface)
            made = surfaces.Surface(profile=profile, interact_mode=modes[step.action])
            way = -way if step.action == "reflect" else way
        turn = there.matrix().T @ here.matrix()
        shift = here.matrix().T @ (there.origin() - here.origin())
        path.append([made, None, (turn, shift), float(system.media[i]), way])
    return path


def _rayoptics_profile(profiles: Any, surface: Surface) -> Any:
    if surface.kind == "conic":
        return profiles.Conic(c=surface.curvature_x_per_mm, cc=surface.conic_x)
    terms = [0.0, *surface.coefficients] + [0.0] * (9 - len(surface.coefficients))
    made = profiles.EvenPolynomial(c=surface.curvature_x_per_mm, cc=surface.conic_x, coefs=terms)
    made.update()
    return made


def batoid_tracer(system: System) -> Callable[[Rays], Ends]:
    """Return a function that traces in batoid (compiled, own threads); no torics, no axis."""
    batoid = load("batoid")
    # It would take the number of threads from the environment, or one.
    batoid.global_vars._batoid_max_threads = os.cpu_count() or 1
    parts = []
    for i, step in enumerate(system.steps):
        pose = step.surface.pose
        frame = batoid.CoordSys(origin=pose.origin(), rot=pose.matrix())
        before, behind = (batoid.ConstMedium(float(m)) for m in system.media[i : i + 2])
        parts.append((step.action, _batoid_shape(batoid, step.surface), frame, before, behind))
    first, last = float(system.media[0]), float(system.media[-1])

    def run(start: Rays) -> Ends:
        x, y, z = start.positions_mm.T.copy()
        vx, vy, vz = (start.directions / first).T.copy()
        rays = batoid.RayVector(x, y, z, vx, vy, vz)
        for action, shape, frame, before, behind in parts:
            if action == "refract":
                shape.refract(rays, before, behind, coordSys=frame)
            elif action == "reflect":
                shape.reflect(rays, coordSys=frame)
            else:
                shape.intersect(rays, coordSys=frame)
        rays.toCoordSys(batoid.globalCoordSys)
        return rays.r, rays.v * last

    return run


def _batoid_shape(batoid: Any, surface: Surface) -> Any:
    if surface.curvature_x_per_mm == 0.0:
        return batoid.Plane()
    radius = 1.0 / surface.curvature_x_per_mm
    if surface.kind == "conic":
        return batoid.Quadric(radius, surface.conic_x)
    return batoid.Asphere(radius, surface.conic_x, list(surface.coefficients))
