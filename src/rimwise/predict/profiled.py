"""How much contrast do gratings keep behind an implant with a profile? Through its whole pupil.

A profile has steps, and several foci share the light: no smooth wave stands for it. The pupil of
each colour is therefore sampled, the profile in it where the light meets the optic; its image's
intensity, summed against each grating, is the transfer. Through focus the pupil is laid over
itself, shifted by the grating: a sphere adds a phase that is the same along each line across the
grating, so that lines are summed once and all spheres cost one small product. Own derivation.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimwise.eye.model import EyeModel
from rimwise.optics.point_spread import disc, padded_intensity
from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector
from rimwise.optics.zernike import basis
from rimwise.predict.criteria import View, lens_wave_um, view_of
from rimwise.predict.gratings import Sampling, turning
from rimwise.predict.on_optic import on_optic
from rimwise.predict.profile import UM_PER_NM, far_order, path_um, period_mm2, relief_at
from rimwise.predict.relief import Relief, relief_of
from rimwise.predict.shared_area import MODES, Float32Array
from rimwise.predict.sight import ORDER, line_of_sight
from rimwise.records.implant_profile import ImplantProfile
from rimwise.terms.arrays import FloatArray
from rimwise.terms.units import rad_from_deg

ComplexArray = NDArray[np.complex64]
_DEFOCUS = 4
# Along lines a step is taken where it is, and so many places lie on each line.
_SHARP_MM, _LINES = 1e-3, 160
_MOST = 640
_CARRIED = 96
_PAIRS = np.array([(n - k, k) for n in range(ORDER + 1) for k in range(n + 1)])


@dataclass(frozen=True, slots=True)
class Cells:
    """How finely a pupil with a profile is sampled.

    Parameters
    ----------
    cell_mm : float
        Width of a cell in the entrance pupil.
    colours, directions : int
    least : int
        Cells across the smallest pupil.
    """

    cell_mm: float = 0.016
    colours: int = 12
    directions: int = 8
    least: int = 192

    def across(self, pupil_mm: float) -> int:
        """Return how many cells lie across a pupil, even."""
        return 2 * round(0.5 * min(_MOST, max(self.least, pupil_mm / self.cell_mm)))


USUAL_CELLS = Cells()
ROUGH_CELLS = Cells(0.03, 5, 4, 128)


@dataclass(frozen=True, slots=True, eq=False)
class ProfiledView:
    """Every colour of the wave that leaves an eye through one pupil, and the profile in it.

    Parameters
    ----------
    view : View
        Of the same optic without its profile.
    places : array, shape (45, 2)
        Where the pupil's light meets the optic, mm from its axis, as modes over the pupil.
    profile : ImplantProfile
    kept : tuple of floats
        One a colour: share of the profile's path.
    cells : Cells
    """

    view: View
    places: FloatArray
    profile: ImplantProfile
    kept: tuple[float, ...]
    cells: Cells = USUAL_CELLS

    @property
    def scale(self) -> float:
        """How long is a step of the pupil on the optic? (2ρ cos φ is the mode of a slope.)"""
        return 4.0 * float(np.hypot(*self.places[2])) / self.view.pupil_mm

    def transfer(
        self, lens: PowerVector, frequencies_cpd: Sequence[float], directions_rad: FloatArray
    ) -> ComplexArray:
        """Which contrast and shift do gratings get behind this lens?

        Parameters
        ----------
        lens : PowerVector
            In the pupil's plane.
        frequencies_cpd : sequence of floats
        directions_rad : array, shape (d,)

        Returns
        -------
        array of complex, shape (frequencies, d)
        """
        n = self.cells.across(self.view.pupil_mm)
        grid, light = _grid(n), self.view.sampling.light
        waves = grid.modes @ self.view.behind(lens)[:, :, 0].T.astype(np.float32)
        radius = np.hypot(*(grid.modes @ self.places.astype(np.float32)).T)
        step = self.view.pupil_mm / n
        asked = _asked(frequencies_cpd, directions_rad)
        found = np.zeros(len(asked), dtype=np.complex128)
        for c, nm in enumerate(light.wavelengths_nm):
            relief = self._relief(c, step * self.scale)
            phase = waves[:, c] * np.float32(-2e3 * math.pi / nm)
            field = np.zeros((n, n), dtype=np.complex64)
            field[grid.inside] = grid.share * _turned(phase) * relief.at(radius)
            found += light.weights[c] * _transfer(field, grid, asked * (nm * 1e-6 / step))
        return found.reshape(len(frequencies_cpd), -1).astype(np.complex64)

    def lines(self, lens: PowerVector, frequency_cpd: float, directions_rad: FloatArray) -> "Lines":
        """Return the sums along lines across a grating, ready for any sphere."""
        view, light = self.view, self.view.sampling.light
        turns = turning(tuple(directions_rad.tolist()))
        waves = turns @ view.behind(lens)[:, :, 0].T
        places = (turns @ self.places).astype(np.float32)
        rows, slopes = [], []
        for c, nm in enumerate(light.wavelengths_nm):
            shift = 2.0 * math.degrees(frequency_cpd) * nm * 1e-6 / view.pupil_mm
            if shift >= 2.0:
                continue
            laid = _laid(shift, _LINES)
            relief = self._relief(c, _SHARP_MM)
            phases = (waves[:, :, c] * (-2e3 * math.pi / nm)).astype(np.float32)
            sums = laid.sums(phases, places, relief)
            rows.append(np.asarray(light.weights[c] * sums))
            slopes.append(-4.0 * math.sqrt(3.0) * shift * laid.x * (2e3 * math.pi / nm))
        one = float(lens_wave_um(PowerVector(1.0, 0.0, 0.0), view.pupil_mm)[_DEFOCUS])
        return Lines(tuple(rows), tuple(slopes), one)

    def _relief(self, colour: int, cell_mm: float) -> Relief:
        nm = self.view.sampling.light.wavelengths_nm[colour]
        return relief_of(self.profile, nm, self.kept[colour], round(cell_mm, 4))


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Sums along lines across a grating, one array a colour, (directions, lines)."""

    rows: tuple[ComplexArray, ...]
    slopes: tuple[FloatArray, ...]
    um_per_dpt: float

    def behind(self, added_dpt: FloatArray) -> FloatArray:
        """Return the contrast behind these spheres, (directions, spheres)."""
        total: FloatArray | complex = 0.0
        for row, slope in zip(self.rows, self.slopes, strict=True):
            total = total + row @ np.exp(1j * np.outer(slope, self.um_per_dpt * added_dpt))
        return np.asarray(np.abs(total), dtype=np.float64)


def profiled_view(
    model: EyeModel,
    fovea_mm: Vec3,
    pupil_mm: float,
    profile: ImplantProfile,
    cells: Cells = USUAL_CELLS,
) -> ProfiledView:
    """What does this eye send out through this pupil, the profile of its implant in it?

    Examples
    --------
    >>> from rimwise.eye.build import eye_model
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_model(eye_record(Known("right", "implant", axial_mm=23.6)))
    >>> bifocal = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0)
    >>> seen = profiled_view(eye, (0.0, 0.0, -eye.retina_depth_mm), 3.0, bifocal)
    >>> len(seen.kept)
    12
    """
    sampling = Sampling(colours=cells.colours, directions=cells.directions)
    view = view_of(model, fovea_mm, pupil_mm, sampling)
    kept = kept_shares(model, profile, sampling)
    return ProfiledView(view, places_on(model, fovea_mm, pupil_mm), profile, kept, cells)


def kept_shares(model: EyeModel, profile: ImplantProfile, sampling: Sampling) -> tuple[float, ...]:
    """Which share of its path does the profile keep in each colour?"""
    nms = sampling.light.wavelengths_nm
    return tuple(relief_at(model, nm, profile.design_nm) for nm in nms)


def places_on(model: EyeModel, fovea_mm: Vec3, pupil_mm: float) -> FloatArray:
    """Where does this pupil's light meet the optic, as modes over the pupil, (45, 2) in mm?"""
    at = on_optic(model, fovea_mm, pupil_mm, line_of_sight(model, fovea_mm))
    x, y = _ring_places()
    return np.asarray(np.linalg.lstsq(basis(ORDER, x, y), at.at(x, y), rcond=None)[0])


def carried_modes_um(
    profile: ImplantProfile, places: FloatArray, kept: float, wavelength_nm: float
) -> FloatArray:
    """What does the profile add to the wave that is told, (45,)?

    A smooth one all of its path; a diffractive one that of its far focus (:func:`far_order`).
    """
    grid = _grid(_CARRIED)
    radius = np.hypot(*(grid.modes @ places).T)
    if profile.kind == "smooth":
        path = path_um(profile, radius, kept)
    else:
        waves = far_order(profile).number * math.copysign(1.0, profile.add_dpt or 1.0)
        path = -waves * wavelength_nm * UM_PER_NM * radius**2 / period_mm2(profile)
    return np.asarray(-np.linalg.lstsq(grid.modes.astype(np.float64), path, rcond=None)[0])


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """The cells of a round pupil: which, where in radii, their modes and shares."""

    inside: NDArray[np.bool_]
    modes: Float32Array
    share: Float32Array


@lru_cache(maxsize=2)
def _grid(n: int) -> _Grid:
    coverage = disc(n)
    inside = coverage > 0.0
    side = (np.arange(n) - 0.5 * (n - 1)) * 2.0 / n
    x, y = (place[inside] for place in np.meshgrid(side, side))
    modes = basis(ORDER, x, y).astype(np.float32)
    return _Grid(inside, modes, coverage[inside].astype(np.float32))


def _turned(phase: Float32Array) -> ComplexArray:
    """Return exp(i phase): sine and cosine alone are faster than the exponential."""
    wave = np.empty(phase.shape, dtype=np.complex64)
    np.cos(phase, out=wave.real)
    np.sin(phase, out=wave.imag)
    return wave


def _asked(frequencies_cpd: Sequence[float], directions_rad: FloatArray) -> FloatArray:
    """Return cycles per radian along x and y of every grating, (gratings, 2)."""
    way = np.column_stack([np.cos(directions_rad), np.sin(directions_rad)])
    per_rad = np.asarray(frequencies_cpd)[:, None, None] / rad_from_deg(1.0)
    return np.asarray((per_rad * way).reshape(-1, 2))


def _transfer(field: ComplexArray, grid: _Grid, shift: FloatArray) -> ComplexArray:
    """Return the transfer of gratings that shift the pupil by so many cells, (gratings, 2)."""
    from scipy import fft  # noqa: PLC0415 - a tenth of a second, only where needed

    m = fft.next_fast_len(2 * field.shape[0])
    light = padded_intensity(field, m)
    energy = float(grid.share.sum())
    # Cells at the rim meet themselves with their share squared, and steps send light beyond the
    # window: what is missing at no shift, so that gratings are told against all light.
    light += energy - float((field.real**2 + field.imag**2).sum())
    place = np.fft.fftfreq(m).astype(np.float32) * np.float32(2.0 * np.pi)
    ways = [np.exp(1j * np.outer(place, one.astype(np.float32))) for one in shift.T]
    over_x = light @ np.concatenate([ways[0].real, ways[0].imag], axis=1)
    count = len(shift)
    sums = (over_x[:, :count] + 1j * over_x[:, count:]) * ways[1]
    beyond = np.hypot(*shift.T) >= field.shape[0]
    return np.asarray(np.where(beyond, 0.0, sums.sum(axis=0) / (energy * m * m)))


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """A pupil laid over itself, shifted along x: powers of x and y at both, weights a line."""

    x: FloatArray
    forth: Float32Array
    back: Float32Array
    share: Float32Array
    lines: tuple[int, int]

    def sums(self, phases: Float32Array, places: Float32Array, relief: Relief) -> ComplexArray:
        """Return the sum along each line of each direction's wave, (directions, lines).

        ``phases`` (directions, 45), ``places`` (directions, 45, 2).
        """
        to, count = _from_powers(), len(phases)
        phase = (self.forth - self.back) @ (to @ phases.T)
        flat = to @ np.moveaxis(places, 0, 2).reshape(MODES, -1)
        there, here = (
            np.hypot(at[:, :count], at[:, count:]) for at in (self.forth @ flat, self.back @ flat)
        )
        wave = _turned(phase) * relief.at(there) * relief.at(here).conj()
        each = wave.reshape(*self.lines, count).sum(axis=1)
        return np.asarray((self.share[:, None] * each).T)


@lru_cache(maxsize=16)
def _laid(shift: float, n: int) -> _Laid:
    """Cover the shared area with lines across the shift, places along each in its middle steps."""
    lines = max(16, round(n * (1.0 - 0.5 * shift)))
    reach = 1.0 - 0.5 * shift
    x = reach * ((np.arange(lines) + 0.5) / lines * 2.0 - 1.0)
    half = np.sqrt(np.maximum(0.0, 1.0 - (np.abs(x) + 0.5 * shift) ** 2))
    v = (np.arange(n) + 0.5) / n * 2.0 - 1.0
    flat = np.vander((half[:, None] * v).ravel(), ORDER + 1, increasing=True)
    y = flat.astype(np.float32).reshape(lines, n, -1)
    a, b = _PAIRS.T
    both = []
    for way in (0.5, -0.5):
        powers = np.vander(x + way * shift, ORDER + 1, increasing=True).astype(np.float32)
        both.append((powers[:, None, a] * y[:, :, b]).reshape(-1, len(a)))
    share = (4.0 * reach / (lines * n) * half / math.pi).astype(np.float32)
    return _Laid(x, both[0], both[1], share, (lines, n))


@lru_cache(maxsize=1)
def _from_powers() -> Float32Array:
    """Return the matrix from coefficients of modes to factors of powers, (powers, modes)."""
    x, y = _ring_places()
    a, b = _PAIRS.T
    powers = x[:, None] ** a * y[:, None] ** b
    solved = np.linalg.lstsq(powers, basis(ORDER, x, y), rcond=None)[0]
    return np.asarray(solved, dtype=np.float32)


def _ring_places() -> tuple[FloatArray, FloatArray]:
    r = np.sqrt((np.arange(12) + 0.5) / 12.0)[:, None]
    turn = 2.0 * math.pi * np.arange(24) / 24.0
    return (r * np.cos(turn)).ravel(), (r * np.sin(turn)).ravel()
