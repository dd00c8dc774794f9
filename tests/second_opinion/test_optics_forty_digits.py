"""Rays and Fresnel's equations against an evaluation in 40 digits, written from the definitions.

mpmath does the arithmetic; the tracer here knows only sag formulas, a root finder and Snell's law
by angles of the tangential component, none of the kernel's rearrangements.
"""

import numpy as np
import pytest

from rimwise.optics.fresnel import amplitudes, shares
from rimwise.optics.pose import Pose
from rimwise.optics.rays import Rays, rays
from rimwise.optics.surface import Surface, biconic, conic, even_asphere, plane, toric
from rimwise.optics.system import System, pass_through, reflect, refract
from rimwise.optics.trace import trace

mpmath = pytest.importorskip("mpmath")
mp = mpmath.mp.clone()
mp.dps = 40
Vector = list


def _system() -> System:
    """Return a path in through every kind of surface, off a mirror, and out again."""
    at = Pose.at
    first = even_asphere(-7.8, -0.2, (1e-4, 1e-6, -1e-8), at(0.05, 0, 0).tilted(0.05, -0.02))
    second = biconic((-6.4, -6.7), (-0.3, 0.1), 0.4, at(0.0, 0.1, -0.5))
    third = toric((-9.0, -9.6), -1.0, 0.9, at(0.1, 0.0, -4.5).tilted(0.03, 0.06))
    mirror = conic(6.1, -0.8, at(0.02, -0.1, -8.0).tilted(-0.04, 0.01))
    return System(
        (
            refract(first, 1.376),
            refract(second, 1.336),
            refract(third, 1.49),
            reflect(mirror),
            refract(third, 1.336),
            refract(second, 1.376),
            refract(first, 1.0),
            pass_through(plane(at(0.0, 0.0, 2.0))),
        )
    )


def _sag(surface: Surface, x: object, y: object) -> object:
    c, s = mp.cos(mp.mpf(surface.axis_rad)), mp.sin(mp.mpf(surface.axis_rad))
    x, y = c * x + s * y, c * y - s * x
    cx, cy = mp.mpf(surface.curvature_x_per_mm), mp.mpf(surface.curvature_y_per_mm)
    kx, ky = mp.mpf(surface.conic_x), mp.mpf(surface.conic_y)
    if surface.kind == "toric":
        height = cy * y * y / (1 + mp.sqrt(1 - (1 + ky) * (cy * y) ** 2))
        radius = 1 / cx
        side = radius - height
        return radius - mp.sign(radius) * mp.sqrt(side**2 - x**2)
    root = mp.sqrt(1 - (1 + kx) * (cx * x) ** 2 - (1 + ky) * (cy * y) ** 2)
    total = (cx * x * x + cy * y * y) / (1 + root)
    for i, a in enumerate(surface.coefficients):
        total += mp.mpf(a) * (x * x + y * y) ** (i + 2)
    return total


def _meet(surface: Surface, p: Vector, d: Vector) -> object:
    """Return the distance to the surface by the secant method on z - sag."""

    def height(t: object) -> object:
        q = [a + t * b for a, b in zip(p, d, strict=True)]
        return q[2] - _sag(surface, q[0], q[1])

    guess = -p[2] / d[2]
    return mp.findroot(height, (guess, guess + mp.mpf("0.01")), tol=mp.mpf(10) ** -70)


def _normal(surface: Surface, p: Vector) -> Vector:
    """Return the unit normal by a central difference of 40 digits (error 1e-26)."""
    h = mp.mpf(10) ** -13
    by_x = (_sag(surface, p[0] + h, p[1]) - _sag(surface, p[0] - h, p[1])) / (2 * h)
    by_y = (_sag(surface, p[0], p[1] + h) - _sag(surface, p[0], p[1] - h)) / (2 * h)
    length = mp.sqrt(by_x**2 + by_y**2 + 1)
    return [-by_x / length, -by_y / length, 1 / length]


def _dot(a: Vector, b: Vector) -> object:
    return sum((x * y for x, y in zip(a, b, strict=True)), mp.mpf(0))


def _bend(d: Vector, n: Vector, ratio: object, mirrored: bool) -> Vector:
    across = _dot(d, n)
    tangent = [a - across * b for a, b in zip(d, n, strict=True)]
    if mirrored:
        return [t - across * b for t, b in zip(tangent, n, strict=True)]
    tangent = [ratio * t for t in tangent]
    left = mp.sign(across) * mp.sqrt(1 - _dot(tangent, tangent))
    return [t + left * b for t, b in zip(tangent, n, strict=True)]


def _follow(system: System, p: Vector, d: Vector) -> tuple[Vector, Vector, object]:
    path, media = mp.mpf(0), [mp.mpf(m) for m in system.media]
    for i, step in enumerate(system.steps):
        pose = step.surface.pose
        turn = [[mp.mpf(v) for v in row] for row in pose.rotation]
        columns = list(zip(*turn, strict=True))
        vertex = [mp.mpf(v) for v in pose.vertex_mm]
        local = [_dot(c, [a - b for a, b in zip(p, vertex, strict=True)]) for c in columns]
        way = [_dot(c, d) for c in columns]
        t = _meet(step.surface, local, way)
        path += media[i] * t
        local = [a + t * b for a, b in zip(local, way, strict=True)]
        if step.action != "pass":
            ratio = media[i] / media[i + 1]
            way = _bend(way, _normal(step.surface, local), ratio, step.action == "reflect")
        p = [_dot(row, local) + b for row, b in zip(turn, vertex, strict=True)]
        d = [_dot(row, way) for row in turn]
    return p, d, path


def _bundle() -> Rays:
    rng = np.random.default_rng(11)
    start = np.column_stack([rng.uniform(-1.5, 1.5, (200, 2)), np.full(200, 4.0)])
    return rays(start, np.column_stack([rng.uniform(-0.08, 0.08, (200, 2)), np.full(200, -1.0)]))


@pytest.mark.parametrize("engine", ["numpy", "compiled"])
def test_two_hundred_rays_agree_to_1e12(engine: str, exact: list) -> None:
    """Seven bends and a mirror at about 10 mm: thousands of units of round-off are 1e-12."""
    out = trace(_system(), _bundle(), engine=engine)
    assert out.ok.all()
    for i, (p, d, path) in enumerate(exact):
        for axis in range(3):
            assert abs(float(mp.mpf(out.positions_mm[i, axis]) - p[axis])) < 1e-12
            assert abs(float(mp.mpf(out.directions[i, axis]) - d[axis])) < 1e-12
        assert abs(float(mp.mpf(out.opl_mm[i]) - path)) < 1e-12


@pytest.fixture(name="exact", scope="module")
def _exact() -> list:
    system, start = _system(), _bundle()
    return [
        _follow(system, [mp.mpf(float(v)) for v in p], [mp.mpf(float(v)) for v in d])
        for p, d in zip(start.positions_mm, start.directions, strict=True)
    ]


@pytest.mark.parametrize(("before", "behind"), [(1.0, 1.376), (1.376, 1.336), (1.49, 1.0)])
def test_fresnel_agrees_to_1e12(before: float, behind: float) -> None:
    """Rs = -sin(i - t) / sin(i + t), rp = tan(i - t) / tan(i + t), by angles (any optics text)."""
    limit = min(1.5, float(np.arcsin(min(1.0, behind / before))) - 0.01)
    for angle in np.linspace(0.05, limit, 23):
        i = mp.acos(mp.mpf(float(np.cos(angle))))
        t = mp.asin(mp.mpf(before) / mp.mpf(behind) * mp.sin(i))
        rs, rp = -mp.sin(i - t) / mp.sin(i + t), mp.tan(i - t) / mp.tan(i + t)
        found = amplitudes(np.cos(angle), before, behind)
        energy = shares(np.cos(angle), before, behind)
        assert abs(float(found.rs.real - float(rs))) < 1e-12
        assert abs(float(found.rp.real - float(rp))) < 1e-12
        assert abs(float(energy.reflected_s) - float(rs**2)) < 1e-12
        assert abs(float(energy.reflected_p) - float(rp**2)) < 1e-12
        # Energy carried across, by amplitudes: n' cos t / (n cos i) |t|².
        carried = mp.mpf(behind) * mp.cos(t) / (mp.mpf(before) * mp.cos(i))
        assert (
            abs(float(carried * abs(complex(found.ts)) ** 2) - float(energy.transmitted_s)) < 1e-12
        )
        assert (
            abs(float(carried * abs(complex(found.tp)) ** 2) - float(energy.transmitted_p)) < 1e-12
        )


def test_fresnel_at_its_landmarks() -> None:
    """Normal incidence ((n - n') / (n + n'))², Brewster's angle and total reflection."""
    assert float(shares(1.0, 1.0, 1.376).reflected) == pytest.approx(
        (0.376 / 2.376) ** 2, abs=1e-15
    )
    brewster = np.cos(np.arctan(1.376))
    assert float(shares(brewster, 1.0, 1.376).reflected_p) == pytest.approx(0.0, abs=1e-15)
    total = shares(np.cos(1.2), 1.376, 1.0)
    assert float(total.reflected_s) == pytest.approx(1.0, abs=1e-15)
    assert float(total.transmitted_p) == pytest.approx(0.0, abs=1e-15)
