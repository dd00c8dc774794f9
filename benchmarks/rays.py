"""Rays a second, against general-purpose libraries and against C compiled on the spot.

All contestants trace the same six tilted, decentred surfaces in the proportions of an eye with
an implant, in double precision, and are timed in turns in one run: only the ratios mean much.
"""

import ctypes
import os
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests"))

from peers import batoid_tracer, optiland_tracer  # noqa: E402

from rimwise.optics.pose import Pose  # noqa: E402
from rimwise.optics.rays import Rays, rays  # noqa: E402
from rimwise.optics.surface import Surface, conic, even_asphere  # noqa: E402
from rimwise.optics.system import System, compile_table, pass_through, refract  # noqa: E402
from rimwise.optics.trace import trace  # noqa: E402
from rimwise.terms.arrays import FloatArray  # noqa: E402

Row = tuple[str, str, str, float | None]
ROUNDS = 7
ONE_SHOT = """
import numpy as np
from rimwise.optics.pose import Pose
from rimwise.optics.rays import rays
from rimwise.optics.surface import conic
from rimwise.optics.system import System, refract
from rimwise.optics.trace import trace
eye = System((
    refract(conic(-7.8, -0.2), 1.376),
    refract(conic(-6.5, -0.3, Pose.at(0, 0, -0.5)), 1.336),
    refract(conic(-12.0, -1.0, Pose.at(0.1, 0, -4.5)), 1.49),
    refract(conic(14.0, -2.0, Pose.at(0.1, 0, -5.4)), 1.336),
))
start = np.zeros((1000, 3)); start[:, 0] = np.linspace(-2, 2, 1000); start[:, 2] = 5.0
assert trace(eye, rays(start, [0.0, 0.0, -1.0]){engine}).ok.all()
"""


def eye_like(aspheric: bool) -> System:
    """Return six tilted surfaces: even aspheres of two terms, or conics."""

    def made(radius: float, k: float, terms: tuple[float, float], pose: Pose) -> Surface:
        return even_asphere(radius, k, terms, pose) if aspheric else conic(radius, k, pose)

    at = Pose.at
    implant = at(0.15, -0.05, -4.5).tilted(0.05, 0.03)
    behind = at(0.15, -0.05, -5.4).tilted(0.05, 0.03)
    return System(
        (
            refract(made(-7.8, -0.2, (1e-4, 1e-6), at(0, 0, 0).tilted(0.01, 0.02)), 1.376),
            refract(made(-6.5, -0.3, (1e-4, -1e-6), at(0.0, 0.1, -0.5).tilted(0.01, 0)), 1.336),
            pass_through(made(-90.0, 0.0, (1e-5, 1e-7), at(0.1, 0.0, -3.5).tilted(0.02, 0))),
            refract(made(-12.0, -0.9, (-1e-4, 1e-5), implant), 1.49),
            refract(made(14.0, -2.0, (2e-4, 1e-6), behind), 1.336),
            pass_through(made(12.0, 0.1, (1e-6, 1e-8), at(0, 0, -23.5).tilted(0.01, 0.01))),
        )
    )


def bundle(n: int) -> Rays:
    """Return rays through a 4 mm pupil."""
    rng = np.random.default_rng(7)
    start = np.column_stack([rng.uniform(-2.0, 2.0, (n, 2)), np.full(n, 5.0)])
    return rays(start, np.column_stack([rng.uniform(-0.1, 0.1, (n, 2)), np.full(n, -1.0)]))


class CLoop:
    """The yardstick in C, compiled on the spot."""

    def __init__(self, folder: Path) -> None:
        library = folder / "trace_loop.so"
        command = ["gcc", "-O3", "-march=native", "-fopenmp", "-shared", "-fPIC"]
        # Without these two gcc keeps sqrt scalar for the sake of errno: the stronger yardstick.
        command += ["-fno-math-errno", "-fno-trapping-math"]
        subprocess.run([*command, "-o", library, HERE / "trace_loop.c", "-lm"], check=True)
        self.library = ctypes.CDLL(str(library))

    def tracer(
        self, name: str, system: System, start: Rays, threads: int
    ) -> Callable[[], FloatArray]:
        """Return a function that traces into arrays of its own, which it reuses."""
        table, n = compile_table(system), len(start)
        out = [np.empty((n, 3)), np.empty((n, 3)), np.empty(n), np.empty(n)]
        pose = np.ascontiguousarray(table.poses[-1])
        inward = [table.rows, table.codes, pose]
        bundle_arrays = [start.positions_mm, start.directions]
        function = getattr(self.library, name)

        def pointer(array: np.ndarray) -> ctypes.c_void_p:
            return ctypes.c_void_p(array.ctypes.data)

        arguments = [
            *map(pointer, inward),
            ctypes.c_long(len(table.codes)),
            ctypes.c_long(n),
            *map(pointer, bundle_arrays + out),
            ctypes.c_int(threads),
        ]

        def run() -> FloatArray:
            function(*arguments)
            # The pointers live as long as the arrays that are named here.
            return (out, inward, bundle_arrays)[0][0]

        return run


def in_turns(
    contestants: dict[str, Callable[[], object]],
    rounds: int = ROUNDS,
    clock: Callable[[], float] = time.perf_counter,
) -> dict[str, float]:
    """Return the median seconds of each contestant, run in turns after one warm-up each."""
    for run in contestants.values():
        run()
    seconds: dict[str, list[float]] = {name: [] for name in contestants}
    for _ in range(rounds):
        for name, run in contestants.items():
            begin = clock()
            run()
            seconds[name].append(clock() - begin)
    return {name: statistics.median(found) for name, found in seconds.items()}


def _kernel_rows(loop: CLoop, n: int, aspheric: bool) -> list[Row]:
    system, start = eye_like(aspheric), bundle(n)
    threads = 2 if n >= 100_000 else 1
    kept = trace(system, start, engine="compiled")
    contestants: dict[str, Callable[[], object]] = {
        "rimwise": lambda: trace(system, start, engine="compiled", out=kept),
        "rimwise, new arrays": lambda: trace(system, start, engine="compiled"),
        "C, ray by ray": loop.tracer("trace_plain", system, start, threads),
        "C, blocks of 64": loop.tracer("trace_blocked", system, start, threads),
    }
    for name in ("C, ray by ray", "C, blocks of 64"):
        _check_c(contestants[name](), kept)
    peers: dict[str, Callable[[], object]] = {}
    for name, tracer in (("optiland", optiland_tracer), ("batoid", batoid_tracer)):
        try:
            run = tracer(system)
        except ImportError:
            continue
        peers[name] = lambda run=run: run(start)
    seconds = in_turns(contestants)
    seconds |= in_turns(peers, 3)
    what = f"{n:.0e} rays, six {'aspheres' if aspheric else 'conics'}, {threads} threads"

    def speed(name: str) -> str:
        return f"{6e-6 * n / seconds[name]:.1f} M ray-surfaces/s"

    rows: list[Row] = []
    for name in [*contestants, *peers]:
        if name != "rimwise":
            rows.append(
                (
                    what,
                    speed("rimwise"),
                    f"{name}: {speed(name)}",
                    seconds[name] / seconds["rimwise"],
                )
            )
    if peers:
        best = min(peers, key=lambda name: seconds[name])
        ratio = seconds[best] / seconds["rimwise, new arrays"]
        rows.append(
            (
                f"{what}, new arrays",
                speed("rimwise, new arrays"),
                f"fastest peer ({best}): {speed(best)}",
                ratio,
            )
        )
    return rows


def _core_rows(loop: CLoop, aspheric: bool) -> list[Row]:
    """Return speeds on one core by processor time, which neighbours disturb least."""
    n = 90_000  # stays serial
    system, start = eye_like(aspheric), bundle(n)
    kept = trace(system, start, engine="compiled")
    contestants: dict[str, Callable[[], object]] = {
        "rimwise": lambda: trace(system, start, engine="compiled", out=kept),
        "C, ray by ray": loop.tracer("trace_plain", system, start, 1),
        "C, blocks of 64": loop.tracer("trace_blocked", system, start, 1),
    }
    for name, tracer in (("optiland", optiland_tracer), ("batoid", batoid_tracer)):
        try:
            run = tracer(system)
        except ImportError:
            continue
        contestants[name] = lambda run=run: run(start)
    seconds = in_turns(contestants, clock=time.process_time)
    what = f"one core's processor time, six {'aspheres' if aspheric else 'conics'}"
    speed = {name: f"{6e-6 * n / s:.1f} M ray-surfaces/s" for name, s in seconds.items()}
    return [
        (what, speed["rimwise"], f"{name}: {speed[name]}", seconds[name] / seconds["rimwise"])
        for name in contestants
        if name != "rimwise"
    ]


def _check_c(positions_mm: object, kept: Rays) -> None:
    """Refuse to compare speeds of different answers."""
    gap = np.abs(np.asarray(positions_mm) - kept.positions_mm).max()
    if not gap < 1e-12:
        raise AssertionError(f"the C loop and the kernel disagree by {gap} mm")


def _process_seconds(code: str, rounds: int = 5) -> float:
    found = []
    for _ in range(rounds):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True, env=os.environ)
        found.append(time.perf_counter() - begin)
    return statistics.median(found)


def _process_rows() -> list[Row]:
    bare = _process_seconds("import numpy")
    plain = _process_seconds(ONE_SHOT.replace("{engine}", ""))
    compiled = _process_seconds(ONE_SHOT.replace("{engine}", ', engine="compiled"'))
    limit = f"interpreter and NumPy alone: {bare:.3f} s"
    return [
        ("1,000 rays, whole process", f"{plain:.3f} s", limit, bare / plain),
        ("first compiled trace, fresh process", f"{compiled:.3f} s", limit, bare / compiled),
    ]


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours (more than 1: ours is faster)."""
    # A peer's own compiler warnings are not ours to mend.
    warnings.simplefilter("ignore")
    found = _process_rows()
    with tempfile.TemporaryDirectory() as folder:
        loop = CLoop(Path(folder))
        found += _core_rows(loop, True) + _core_rows(loop, False)
        for n in (100_000, 1_000_000):
            for aspheric in (True, False):
                found += _kernel_rows(loop, n, aspheric)
    return found
