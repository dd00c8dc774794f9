"""Least squares with priors: the state of an eye from what was seen of it."""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.published.load import published_value
from rimwise.purkinje.flat import start_rows
from rimwise.purkinje.kernel import U
from rimwise.purkinje.scene import LENS, LIMBUS, PLACES, PUPIL, SHIFT, TILT, TURN, Scene, SceneEye
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import ReflexName, ReflexSighting
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

_ORDER: tuple[ReflexName, ...] = ("P1", "P2", "P3", "P4")
_STEP = 1e-3  # of an sd, for derivatives
# Of a prior's sd: a last step this small changes no digit that is shown; on the way, less will do.
_DONE, _ROUGHLY = 1e-3, 0.1
# Of chi2: a step that gains less moves the state by less than a hundredth of its own sd.
_NO_GAIN = 1e-4
_TURNS = 40
# So far, in sds, the eye's own numbers may move before its surfaces are made linear anew.
_NEAR_ENOUGH = 0.3
_AGAIN = 4
# Sds of chi2 above its mean from which other starts are tried.
_BAD_FIT = 5.0


@dataclass(frozen=True, slots=True)
class PlacePriors:
    """Standard deviations of the priors about a straight eye in front of the camera.

    Parameters
    ----------
    shift_mm : float
        Sideways place of the eye.
    depth_mm : float
        Its distance: how far out of focus an operator lets it be.
    turn_deg : float
        Eye rotation, each component.
    """

    shift_mm: float = 5.0
    depth_mm: float = 1.0
    turn_deg: float = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """An answer from which a like problem may start: the next frame of a clip.

    Parameters
    ----------
    x : array (n,)
        In the priors' sds.
    eye : SceneEye
        Linear about ``about``.
    about : array
    names : tuple of str
    starts : array
        Slopes at which the paths of ``names`` leave the camera.
    """

    x: FloatArray
    eye: SceneEye
    about: FloatArray
    names: tuple[str, ...]
    starts: FloatArray


@dataclass
class Fit:
    """A problem of least squares in units of the priors' sds; see :meth:`of` and :meth:`solve`.

    Examples
    --------
    >>> from rimwise.eye.camera import Camera
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.scene import scene_eye
    >>> setup = SetUp(Camera.in_front(200.0, 50.0), ((8.0, 0.0, 200.0),))
    >>> seen = ReflexSighting({}, 0.5, limbus_px=(50.0, 0.0))
    >>> eye = scene_eye(eye_record(Known("right")), 13.5)
    >>> fit = Fit.of(eye, setup, seen, PlacePriors(), False)
    >>> 0.5 < float((fit.mean + fit.sd * fit.solve())[0]) < 1.0
    True
    """

    scene: Scene
    names: tuple[str, ...]
    measured: FloatArray
    sds: FloatArray
    mean: FloatArray
    sd: FloatArray
    compiled: bool
    starts: FloatArray
    by: FloatArray
    residual: FloatArray
    about: FloatArray
    reached: FloatArray

    @classmethod
    def of(
        cls,
        eye: SceneEye,
        setup: SetUp,
        sighting: ReflexSighting,
        priors: PlacePriors,
        compiled: bool,
    ) -> "Fit":
        """Set the problem up; refuses a sighting that does not fit eye or lamps."""
        paths, names, px, sds = _reflexes(eye, setup, sighting)
        for centre, place, sd_px in (
            ("pupil", sighting.pupil_px, sighting.pupil_sd_px),
            ("limbus", sighting.limbus_px, sighting.limbus_sd_px),
        ):
            if place is not None:
                names.append(centre)
                px.append(place)
                sds.append(sd_px)
        if not px:
            raise MeasurementRefused("nothing-found", "no reflex, pupil or limbus was found")
        centres = sighting.pupil_px is not None, sighting.limbus_px is not None
        scene = Scene(eye, setup, tuple(paths), *centres)
        mean, sd = _priors(eye, priors)
        scale = 1.0 / (setup.camera.px_per_mm * setup.camera.focus_mm)
        none = np.zeros(0)
        return cls(
            scene,
            tuple(names),
            setup.camera.slopes_from_px(np.array(px, dtype=np.float64)),
            np.array(sds)[:, None] * scale * np.ones(2),
            mean,
            sd,
            compiled,
            np.zeros((len(scene.mirrors), 2)),
            none,
            none,
            np.zeros(len(eye.slopes)),
            none,
        )

    def solve(self) -> FloatArray:
        """Find the state; where that fits badly, from other starts too, and keep the best.

        P3 and P4 of an eye that is still badly placed can lead astray: the other ways go from
        the cornea inwards. A reflex that no eye near the answer shows is left out.
        """
        cornea = range(self.scene.eye.corneal)
        front, back = self.scene.eye.corneal, len(self.scene.eye.base) - 1
        ways = (
            (),
            ((*cornea,), (*cornea, back)),
            ((*cornea,),),
            ((*cornea,), (*cornea, front)),
        )
        best: tuple[float, Fit, FloatArray] | None = None
        for way in ways:
            fit = replace(self)
            try:
                x = fit._along(way)
            except MeasurementRefused:
                continue
            # A reflex left out must pay for itself: two coordinates at six sds.
            missing = len(self.names) - len(fit.names)
            cost = float(fit.residual @ fit.residual) + 72.0 * missing
            if best is None or cost < best[0]:
                best = (cost, fit, x)
            dof = 2 * len(self.names)
            if cost < dof + _BAD_FIT * math.sqrt(2.0 * dof):
                break
        if best is None:
            raise MeasurementRefused("no-path", "the reflexes have no path in an eye like this one")
        self.__dict__.update(best[1].__dict__)
        return best[2]

    def solve_near(self, known: Solved) -> FloatArray | None:
        """Find the state near one that was right a moment ago; None where no path leads on."""
        self.about, self.scene = known.about, replace(self.scene, eye=known.eye)
        alike = self.names == known.names
        self.starts = known.starts if alike else self._paraxial_starts(known.x)
        try:
            return self._about_itself(self._descend(known.x, _ROUGHLY))
        except MeasurementRefused:
            return None

    def solved(self, x: FloatArray) -> Solved:
        """Return where a like problem may start."""
        return Solved(x, self.scene.eye, self.about, self.names, self.starts)

    def _along(self, way: tuple[tuple[int, ...], ...]) -> FloatArray:
        """Descend with the mirrors of each stage of the way, then with all."""
        x = self._rough_place()
        for reached in way:
            part = self._part([i for i, (m, _) in enumerate(self.scene.paths) if m in reached])
            if part.names and len(part.names) < len(self.names):
                x = part._tried(x, _ROUGHLY, x)
        return self._about_itself(self._with_all_that_have_a_path(x))

    def _about_itself(self, x: FloatArray) -> FloatArray:
        """Make the eye linear about what was found, until that is near."""
        for _ in range(_AGAIN):
            z = x[len(PLACES) :]
            if np.abs(z - self.about).max(initial=0.0) < _NEAR_ENOUGH:
                break
            before = replace(self)
            try:
                self.about, self.scene = z.copy(), replace(self.scene, eye=self.scene.eye.about(z))
                self.reached = np.zeros(0)
                x = self._descend(x, _ROUGHLY)
            except (WrongInput, MeasurementRefused):
                # No such eye: the linear form about the last one that exists has to do.
                self.about, self.scene, self.reached = before.about, before.scene, before.reached
                break
        return self._descend(x)

    def _tried(self, x: FloatArray, done: float, otherwise: FloatArray) -> FloatArray:
        self.starts, self.reached = self._paraxial_starts(x), np.zeros(0)
        try:
            return self._descend(x, done)
        except MeasurementRefused:
            return otherwise

    def _with_all_that_have_a_path(self, x: FloatArray) -> FloatArray:
        """Descend with all reflexes, else without those that are lost, else without the lens's."""
        front = self.scene.eye.corneal
        for turn in range(4):
            lost = self._lost(x) if turn == 1 else []
            without = {2: range(front, front + 1), 3: range(front, 99)}.get(turn, range(0))
            keep = [
                i
                for i, (part, _) in enumerate(self.scene.paths)
                if i not in lost and part not in without
            ]
            part = self._part(keep)
            found = part._tried(x, _ROUGHLY, np.zeros(0))
            if len(found):
                self.__dict__.update(part.__dict__)
                return found
        raise MeasurementRefused("no-path", "the reflexes have no path in an eye like this one")

    def _lost(self, x: FloatArray) -> list[int]:
        """Which reflexes have no path in the eye of this state?"""
        state = (self.mean + self.sd * x)[None]
        seen, _, _ = self.scene.follow(state, self._paraxial_starts(x), self.compiled)
        return [i for i in range(len(self.scene.paths)) if not np.isfinite(seen[i]).all()]

    def _part(self, paths: list[int]) -> "Fit":
        """Return the problem with these reflexes only, pupil and limbus kept."""
        keep = paths + list(range(len(self.scene.paths), len(self.names)))
        scene = replace(self.scene, paths=tuple(self.scene.paths[i] for i in paths))
        return replace(
            self,
            scene=scene,
            names=tuple(self.names[i] for i in keep),
            measured=self.measured[keep],
            sds=self.sds[keep],
        )

    def _descend(self, x: FloatArray, done: float = _DONE) -> FloatArray:
        """Damped Newton steps until they are small; goes on where it came to before."""
        residual: FloatArray | None = self.residual
        by: FloatArray | None = self.by
        if not np.array_equal(x, self.reached):
            residual, by = self._residual(x)
        if residual is None or by is None:
            raise MeasurementRefused("no-path", "the reflexes have no path in an eye like this one")
        damping, cost = 0.0, float(residual @ residual)
        for _ in range(_TURNS):
            slope = by.T @ residual
            step = -np.linalg.solve(by.T @ by + damping * np.eye(len(x)), slope)
            if damping == 0.0 and -float(slope @ step) < _NO_GAIN:
                break
            new_residual, new_by = self._residual(x + step)
            new_cost = math.inf if new_residual is None else float(new_residual @ new_residual)
            if new_residual is not None and new_by is not None and new_cost <= cost + 1e-9:
                x, residual, by, gain = x + step, new_residual, new_by, cost - new_cost
                cost, damping = new_cost, 0.1 * damping if damping > 1e-3 else 0.0
                if np.abs(step).max() < done or (gain < _NO_GAIN and damping == 0.0):
                    break
            else:
                damping = max(10.0 * damping, 1.0)
                if damping > 1e9:
                    break
        self.by, self.residual, self.reached = by, residual, x
        return x

    def _rough_place(self) -> FloatArray:
        """Put the eye where P1, else limbus, else pupil is seen, before anything is traced."""
        x = np.zeros(len(self.mean))
        wanted = [i for i, name in enumerate(self.names) if name.startswith("P1")]
        if "limbus" in self.names:
            wanted = [self.names.index("limbus")]
        if not wanted:
            wanted = list(range(len(self.names)))
        camera = self.scene.setup.camera
        place = np.array(camera.axes)[:, :2] @ (
            self.measured[wanted].mean(axis=0) * camera.focus_mm
        )
        place = place + np.array(camera.place_mm) - camera.focus_mm * np.array(camera.axes)[:, 2]
        x[SHIFT] = ((place - self.mean[SHIFT]) / self.sd[SHIFT])[:3]
        x[2] = 0.0
        return x

    def _paraxial_starts(self, x: FloatArray) -> FloatArray:
        """Where do the paraxial images of this state's eye lead the camera to look?"""
        state = (self.mean + self.sd * x)[None]
        views, targets = self.scene.views_and_targets(state, self.scene.surfaces(state))
        starts = np.zeros((len(self.scene.mirrors), 2))
        view, axes = views[0], views[0, 3:12].reshape(3, 3)
        codes = np.array(self.scene.mirrors)
        local = (targets[0][codes < 0] - view[:3]) @ axes.T
        starts[codes < 0] = local[:, :2] / -local[:, 2:]
        for mirror in sorted(set(codes[codes >= 0].tolist())):
            mine = codes == mirror
            rows = start_rows(self.scene.eye.model, view, targets[0][mine], mirror)
            starts[mine] = rows[:, U : U + 2]
        return starts

    def _residual(self, x: FloatArray) -> tuple[FloatArray | None, FloatArray | None]:
        """Return residuals and their derivatives by x; None where a path is lost."""
        n = len(x)
        states = np.repeat((self.mean + self.sd * x)[None], n + 1, axis=0)
        states[np.arange(1, n + 1), np.arange(n)] = self.mean + self.sd * (x + _STEP)
        seen, moves, starts = self.scene.follow(states, self.starts, self.compiled)
        if not np.isfinite(seen).all():
            return None, None
        self.starts = starts
        left = ((seen - self.measured) / self.sds).ravel()
        by = moves[1:] / _STEP / self.sds
        slopes = np.zeros((len(left) + n, n))
        slopes[: len(left)] = by.reshape(n, -1).T
        slopes[len(left) + np.arange(n), np.arange(n)] = 1.0
        return np.concatenate([left, x]), slopes


Found = tuple[list[tuple[int, int]], list[str], list[tuple[float, float]], list[float]]


def _reflexes(eye: SceneEye, setup: SetUp, sighting: ReflexSighting) -> Found:
    """Return paths, names, places and sds of the reflexes that were found."""
    paths, names, px, sds = [], [], [], []
    for name in _ORDER:
        places = sighting.reflexes_px.get(name, ())
        part = eye.model.index_of(name)
        _check(name, places, part, setup)
        for lamp, place in enumerate(places):
            if place is not None and part is not None:
                paths.append((part, lamp))
                names.append(f"{name} lamp {lamp}")
                px.append(place)
                sds.append(sighting.reflex_sd_px)
    return paths, names, px, sds


def _check(name: str, places: tuple[object, ...], part: int | None, setup: SetUp) -> None:
    if places and part is None:
        raise WrongInput(f"{name} came, and this eye has no surface that makes it")
    if places and len(places) != len(setup.lamps_mm):
        raise WrongInput(
            f"{name} came with {len(places)} places, and one for each of the "
            f"{len(setup.lamps_mm)} lamps is needed (null where not found)"
        )


def _priors(eye: SceneEye, place: PlacePriors) -> tuple[FloatArray, FloatArray]:
    """Return mean and sd of every parameter."""
    varied = len(eye.slopes)
    mean, sd = np.zeros(len(PLACES) + varied), np.ones(len(PLACES) + varied)
    sd[SHIFT] = (place.shift_mm, place.shift_mm, place.depth_mm)
    sd[TURN] = math.radians(place.turn_deg)
    sd[TILT] = math.radians(published_value("eye_priors", "lens_tilt").sd or 0.0)
    sd[LENS] = published_value("eye_priors", "lens_shift").sd or 0.0
    mean[PUPIL], sd[PUPIL] = eye.model.pupil_mm, eye.pupil_sd_mm
    sd[LIMBUS] = published_value("eye_priors", "limbus_from_corneal_axis").sd or 0.0
    return mean, sd
