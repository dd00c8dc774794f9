"""What would it cost if the implant stood elsewhere? Maps, costs by direction, tolerance circles.

Waves change smoothly with the implant's place, so that they are traced at Chebyshev's nodes and
carried to the map by the polynomial through them; contrast, which is not smooth, is worked out at
every place of the map. Own derivation.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector, least_squares_refraction
from rimwise.optics.zernike import Wavefront, number_of
from rimwise.predict.carry import carrying, chebyshev
from rimwise.predict.criteria import View, contrast, lens_wave_um, view_of
from rimwise.predict.gratings import Sampling, directions_from
from rimwise.predict.judge import ProfiledJudge, judge_of
from rimwise.predict.light import MIDDLE_NM
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.predict.profiled import Cells
from rimwise.records.eye import EyeRecord
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.sight import ImplantPlace, Sensitivity, SightMap, Tolerance
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.units import rad_from_deg

Unit = Literal["mm", "deg"]
UNITS: tuple[Unit, Unit] = ("mm", "deg")
REACH = {"mm": 1.0, "deg": 10.0}
STEP = {"mm": 0.1, "deg": 1.0}
PLACES = 21
DIRECTIONS = 12
_NODES, _PROFILED_NODES = 7, 9
MAP_CELLS = Cells(0.03, 8, 6, 128)
_RAYS, _ALONG = 72, 201


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """An eye and what its placements are judged by.

    Parameters
    ----------
    record : EyeRecord
        Of an eye with an implant.
    glasses : PowerVector
        Worn at every placement, in the pupil's plane.
    pupil_mm, frequency_cpd : float
    sampling : Sampling
    profile : ImplantProfile, optional
        Of the implant.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.gratings import COARSE
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> ask = Elsewhere(eye, PowerVector(0.0, 0.0, 0.0), 3.0, 15.0, COARSE)
    >>> ask.model(place_at(eye, (0.2, 0.0))).lens.shift_mm
    (0.2, 0.0)
    """

    record: EyeRecord
    glasses: PowerVector
    pupil_mm: float
    frequency_cpd: float
    sampling: Sampling
    profile: ImplantProfile | None = None

    def model(self, place: ImplantPlace) -> EyeModel:
        """Return the eye with its implant standing there."""
        return placed_model(self.record, place)

    def view(self, place: ImplantPlace, fovea: Vec3) -> View:
        """Return what this placement sends out."""
        return view_of(self.model(place), fovea, self.pupil_mm, self.sampling)

    def contrast(self, colours_um: FloatArray) -> FloatArray:
        """Return the contrast behind the glasses of waves of shape (colours, 45, waves)."""
        worn = lens_wave_um(self.glasses, self.pupil_mm)[:, None]
        kept = contrast(colours_um + worn, self.pupil_mm, self.sampling, 0.0, (self.frequency_cpd,))
        return np.asarray(kept.mean[0])

    def contrasts(self, places: Sequence[ImplantPlace], fovea: Vec3) -> FloatArray:
        """Return the contrast behind the glasses at each of these places."""
        if self.profile is None:
            views = [self.view(one, fovea) for one in places]
            return self.contrast(np.stack([view.colours_um for view in views], axis=-1))
        return np.array([self.profiled(one, fovea)[1] for one in places])

    def profiled(self, place: ImplantPlace, fovea: Vec3) -> tuple[FloatArray, float]:
        """Return the wave of 555 nm and the contrast of an optic with a profile."""
        judge = judge_of(
            self.model(place), fovea, self.pupil_mm, self.sampling, self.profile, MAP_CELLS
        )
        assert isinstance(judge, ProfiledJudge)
        turns = directions_from(0.0, MAP_CELLS.directions)
        kept = np.abs(judge.seen.transfer(self.glasses, (self.frequency_cpd,), turns))
        return judge.view.green.coefficients_um, float(kept.mean())


def sensitivity(asked: Elsewhere, here: ImplantPlace, loss: float = 0.1) -> Sensitivity:
    """What would each 0.1 mm and each degree cost, and how far off may the implant stand?

    Parameters
    ----------
    asked : Elsewhere
    here : ImplantPlace
        Costs start here; the maps are about the ideal placement.
    loss : float
        Share of the ideal placement's contrast that may be lost, 0 to 1.

    Raises
    ------
    MeasurementRefused
        Light through the pupil does not all pass the optic somewhere on a map.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.gratings import COARSE
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> ask = Elsewhere(eye, PowerVector(0.0, 0.0, 0.0), 3.0, 15.0, COARSE)
    >>> found = sensitivity(ask, place_at(eye, (0.4, 0.0)))
    >>> [(one.unit, len(one.contrast), one.here) for one in found.maps]
    [('mm', 21, (0.4, 0.0)), ('deg', 21, (0.0, 0.0))]
    """
    maps = tuple(sight_map(asked, here, unit) for unit in UNITS)
    return Sensitivity(
        asked.pupil_mm,
        asked.frequency_cpd,
        maps,
        tuple(tolerance(one, _stands(here, one.unit), loss) for one in maps),
    )


def contrast_lost_at(asked: Elsewhere, shifts_mm: Sequence[tuple[float, float]]) -> FloatArray:
    """How much contrast would each of these places of the optic's middle cost?

    Some 0.03 s a place; upright, at the eye's own depth, marks where they belong.

    Parameters
    ----------
    asked : Elsewhere
        Glasses, pupil and grating it is judged by.
    shifts_mm : sequence of (x, y)
        From the corneal axis, examiner's frame, up to 1 mm or so.

    Returns
    -------
    array, shape (places,)
        Contrast of the place on the corneal axis less that of each; negative where it would gain.

    Raises
    ------
    MeasurementRefused
        Light through the pupil does not all pass the optic at one of them.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.gratings import COARSE
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> ask = Elsewhere(eye, PowerVector(-0.8, 0.0, 0.0), 4.0, 15.0, COARSE)
    >>> lost = contrast_lost_at(ask, [(0.0, 0.0), (0.8, 0.0), (-0.8, 0.0)])
    >>> lost.shape, float(lost[0]), bool(abs(lost[1:]).min() > 0.001)
    ((3,), 0.0, True)
    """
    fovea, ideal = fovea_of(asked.record), place_at(asked.record)
    places = [ideal, *(_at(ideal, one, "mm") for one in shifts_mm)]
    kept = asked.contrasts(places, fovea)
    return np.asarray(kept[0] - kept[1:])


def sight_map(asked: Elsewhere, here: ImplantPlace, unit: Unit) -> SightMap:
    """What do placements in a plane of shifts, or of tilts, give?

    All else is as in the ideal placement; only the costs start where the implant really stands.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.gratings import COARSE
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> ask = Elsewhere(eye, PowerVector(0.0, 0.0, 0.0), 3.0, 15.0, COARSE)
    >>> found = sight_map(ask, place_at(eye), "deg")
    >>> found.steps[0], found.steps[-1], found.cylinder_dpt[10][10] < 1e-6
    (-10.0, 10.0, True)
    """
    fovea, ideal = fovea_of(asked.record), place_at(asked.record)
    steps = np.linspace(-REACH[unit], REACH[unit], PLACES)
    if asked.profile is None:
        green, kept = _smooth_map(asked, ideal, unit, fovea)
    else:
        green, kept = _profiled_map(asked, ideal, unit, fovea)
    coma = np.hypot(green[:, number_of(3, 1)], green[:, number_of(3, -1)]).reshape(kept.shape)
    cylinder = _induced_cylinder(green, asked.view(ideal, fovea))
    x, y = _pair(here, unit)
    return SightMap(
        unit, tuple(float(round(s, 6)) for s in steps), _rows(kept), _rows(cylinder), _rows(coma),
        (x.value, y.value), _costs(asked, here, unit, fovea),
    )  # fmt: skip


def _nodes(unit: Unit, count: int) -> tuple[FloatArray, FloatArray]:
    """Return places to trace along one side of a map, and what carries them to all of it."""
    nodes = REACH[unit] * chebyshev(count)
    return nodes, carrying(nodes, np.linspace(-REACH[unit], REACH[unit], PLACES))


def _smooth_map(
    asked: Elsewhere, ideal: ImplantPlace, unit: Unit, fovea: Vec3
) -> tuple[FloatArray, FloatArray]:
    """Return waves of 555 nm, (places, 45), and contrast, (21, 21), worked out at every place."""
    nodes, carry = _nodes(unit, _NODES)
    views = [[asked.view(_at(ideal, (x, y), unit), fovea) for x in nodes] for y in nodes]
    told = np.array([[_modes(view) for view in row] for row in views])
    waves = np.einsum("ij,jlcm->ilcm", carry, told)
    waves = np.einsum("kl,ilcm->ikcm", carry, waves)
    flat = waves.reshape(PLACES * PLACES, *waves.shape[2:])
    kept = asked.contrast(np.moveaxis(flat[:, 1:], 0, -1))
    return flat[:, 0], kept.reshape(PLACES, PLACES)


def _profiled_map(
    asked: Elsewhere, ideal: ImplantPlace, unit: Unit, fovea: Vec3
) -> tuple[FloatArray, FloatArray]:
    """Return the same for an optic with a profile: contrast too is carried from the nodes."""
    nodes, carry = _nodes(unit, _PROFILED_NODES)
    found = [[asked.profiled(_at(ideal, (x, y), unit), fovea) for x in nodes] for y in nodes]
    green = np.array([[wave for wave, _ in row] for row in found])
    kept = np.array([[contrast for _, contrast in row] for row in found])
    waves = np.einsum("ij,kl,jlm->ikm", carry, carry, green)
    return waves.reshape(PLACES * PLACES, -1), carry @ kept @ carry.T


def tolerance(found: SightMap, here: Estimate, loss: float) -> Tolerance:
    """How far off the ideal may the optic stand in any direction before it loses too much?

    Parameters
    ----------
    found : SightMap
    here : Estimate
        How far this implant stands off.
    loss : float
        Share of the contrast in the middle of the map.

    Notes
    -----
    The contrast between the map's places is a bicubic spline, followed along 72 directions.
    Whether the implant stands within is told where two sd do not reach the circle.

    Examples
    --------
    >>> steps = tuple(np.linspace(-1.0, 1.0, 21).tolist())
    >>> hill = tuple(tuple(1.0 - x * x - y * y for x in steps) for y in steps)
    >>> one = SightMap("mm", steps, hill, hill, hill, (0.2, 0.0), ())
    >>> told = tolerance(one, Estimate(0.2, 0.03), 0.25)
    >>> round(told.radius, 2), told.within
    (0.5, True)
    """
    from scipy.interpolate import RectBivariateSpline  # noqa: PLC0415 - slow to import

    kept = np.array(found.contrast)
    surface = RectBivariateSpline(found.steps, found.steps, kept)
    turn = 2.0 * math.pi * np.arange(_RAYS) / _RAYS
    radii = np.linspace(0.0, found.steps[-1], _ALONG)
    at = (np.outer(radii, np.sin(turn)), np.outer(radii, np.cos(turn)))
    least = np.asarray(surface.ev(*at), dtype=np.float64).min(axis=1)
    floor = (1.0 - loss) * float(surface.ev(0.0, 0.0))
    below = np.flatnonzero(least < floor)
    radius = None
    if len(below):
        k = int(below[0])
        share = (least[k - 1] - floor) / (least[k - 1] - least[k])
        radius = float(radii[k - 1] + share * (radii[k] - radii[k - 1]))
    return Tolerance(loss, radius, found.unit, here, _within(here, radius, found.steps[-1]))


def _within(here: Estimate, radius: float | None, reach: float) -> bool | None:
    low, high = here.value - 2.0 * here.sd, here.value + 2.0 * here.sd
    if radius is None:
        return True if high <= reach else None
    if high <= radius:
        return True
    return False if low > radius else None


def _pair(place: ImplantPlace, unit: Unit) -> tuple[Estimate, Estimate]:
    return place.shift_mm if unit == "mm" else place.tilt_deg


def _stands(here: ImplantPlace, unit: Unit) -> Estimate:
    """How far off the ideal, which stands in the middle; ± along the direction it stands in."""
    x, y = _pair(here, unit)
    far = math.hypot(x.value, y.value)
    if far == 0.0:
        return Estimate(0.0, max(x.sd, y.sd), "placement")
    sd = math.hypot(x.value * x.sd, y.value * y.sd) / far
    return Estimate(far, sd, "placement")


def _at(place: ImplantPlace, to: tuple[float, float], unit: Unit) -> ImplantPlace:
    x, y = _pair(place, unit)
    pair = (replace(x, value=to[0]), replace(y, value=to[1]))
    return replace(place, shift_mm=pair) if unit == "mm" else replace(place, tilt_deg=pair)


def _modes(view: View) -> FloatArray:
    """Return the coefficients of 555 nm, then of all colours."""
    return np.vstack([view.green.coefficients_um, view.colours_um])


def _induced_cylinder(green: FloatArray, view: View) -> FloatArray:
    """Return the cylinder at the spectacles beside that of the map's middle, dpt, (21, 21)."""
    lenses = [
        least_squares_refraction(
            Wavefront(one, view.green.pupil_radius_mm, "entrance pupil", MIDDLE_NM)
        ).moved_towards_light(view.vertex_mm)
        for one in green
    ]
    crossed = np.array([complex(one.j0_dpt, one.j45_dpt) for one in lenses])
    middle = crossed[len(crossed) // 2]
    return np.asarray(2.0 * np.abs(crossed - middle)).reshape(PLACES, PLACES)


def _costs(
    asked: Elsewhere, here: ImplantPlace, unit: Unit, fovea: Vec3
) -> tuple[tuple[float, float], ...]:
    x, y = (one.value for one in _pair(here, unit))
    turns = [360.0 * k / DIRECTIONS for k in range(DIRECTIONS)]
    places = [here]
    for turn in turns:
        way = rad_from_deg(turn)
        to = (x + STEP[unit] * math.cos(way), y + STEP[unit] * math.sin(way))
        places.append(_at(here, to, unit))
    kept = asked.contrasts(places, fovea)
    return tuple((turn, float(kept[0] - one)) for turn, one in zip(turns, kept[1:], strict=True))


def _rows(values: FloatArray) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(row) for row in values.tolist())
