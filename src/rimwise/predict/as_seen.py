"""What does a point look like to this eye, in light of all colours, at true angular scale?

The wave that leaves the eye tells, by the reversibility of light, how much light from each
direction reaches the fovea. A point straight ahead is therefore seen by the places that look the
other way: the spread of light turned by half a turn. For the patient, who looks out, the
examiner's +x is on the left. Both together leave right as it is and turn up into down.
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.point_spread import Pupil, disc, point_spread_window
from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector
from rimwise.optics.zernike import basis
from rimwise.predict.criteria import View, view_of
from rimwise.predict.gratings import Sampling
from rimwise.predict.on_optic import on_optic
from rimwise.predict.profile import path_um, relief_at
from rimwise.predict.sight import ORDER, line_of_sight
from rimwise.records.implant_profile import ImplantProfile
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput
from rimwise.terms.units import rad_from_deg

COLOURS = 12
ACROSS = 256
_SHORTEST_MM = 4e-4
_ROOM = 1.15
ARCMIN_RAD = rad_from_deg(1.0 / 60.0)


@dataclass(frozen=True, slots=True)
class Window:
    """A square of the visual field about a point; ``samples``, odd, put the point in its middle."""

    samples: int = 257
    step_arcmin: float = 0.25

    def __post_init__(self) -> None:
        if self.samples < 3 or self.samples % 2 == 0 or not self.step_arcmin > 0.0:
            raise WrongInput(
                f"a window of {self.samples} places of {self.step_arcmin} minutes of arc came; an "
                "odd number from 3 and a positive step are needed"
            )


@dataclass(frozen=True, slots=True)
class SeenPoint:
    """A point of light as seen.

    Parameters
    ----------
    light : array, shape (samples, samples)
        Share of its light at each place, up first, the patient's right on the right.
    window : Window
    """

    light: FloatArray
    window: Window

    @property
    def share(self) -> float:
        """Share of the light within the window."""
        return float(self.light.sum())


@dataclass(frozen=True, slots=True)
class SeenEye:
    """An eye that looks: its implant placed, its profile, its pupil.

    Parameters
    ----------
    model : EyeModel
    fovea_mm : tuple of 3 floats
    pupil_mm : float
    profile : ImplantProfile or None
    """

    model: EyeModel
    fovea_mm: Vec3
    pupil_mm: float
    profile: ImplantProfile | None = None


def pupils_of(
    eye: SeenEye, lens: PowerVector, across: int = ACROSS, colours: int = COLOURS
) -> tuple[list[Pupil], View]:
    """Which wave, sampled over the pupil, leaves this eye in each colour?

    Parameters
    ----------
    eye : SeenEye
    lens : PowerVector
        Glasses worn, in the pupil's plane.
    across, colours : int
        Cells across the pupil; wavelengths.

    Returns
    -------
    list of Pupil, View
        One a colour, the profile of the implant in it; and the view they were made of.
    """
    view = view_of(eye.model, eye.fovea_mm, eye.pupil_mm, Sampling(colours=colours))
    coverage = disc(across)
    inside = coverage > 0.0
    side = (np.arange(across) - 0.5 * (across - 1)) * 2.0 / across
    x, y = (place[inside] for place in np.meshgrid(side, side))
    waves = basis(ORDER, x, y) @ view.behind(lens)[:, :, 0].T
    if eye.profile is not None:
        waves -= _profile_um(eye, eye.profile, view, x, y)
    step, found = eye.pupil_mm / across, []
    for c, nm in enumerate(view.sampling.light.wavelengths_nm):
        error = np.zeros_like(coverage)
        error[inside] = waves[:, c]
        found.append(Pupil(error, coverage, step, nm))
    return found, view


def _profile_um(
    eye: SeenEye, profile: ImplantProfile, view: View, x: FloatArray, y: FloatArray
) -> FloatArray:
    """Return the path that the profile adds at each place and colour, (places, colours)."""
    sight = line_of_sight(eye.model, eye.fovea_mm)
    at = on_optic(eye.model, eye.fovea_mm, eye.pupil_mm, sight).at(x, y)
    full = path_um(profile, np.hypot(at[:, 0], at[:, 1]))
    kept = [
        relief_at(eye.model, nm, profile.design_nm) for nm in view.sampling.light.wavelengths_nm
    ]
    return np.asarray(full[:, None] * np.array(kept))


def seen_point(eye: SeenEye, lens: PowerVector, window: Window | None = None) -> SeenPoint:
    """What does a point of white light look like to this eye behind this lens?

    Parameters
    ----------
    eye : SeenEye
    lens : PowerVector
        In the pupil's plane.
    window : Window, optional

    Notes
    -----
    Finer places than the window's are summed, so that none of the image's detail falls between
    them, and the pupil has so many cells that the image's repetition lies outside the window.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1985"))
    >>> looks = SeenEye(eye, (0.0, 0.0, -eye.retina_depth_mm), 2.0)
    >>> point = seen_point(looks, PowerVector(0.0, 0.0, 0.0), Window(65, 0.5))
    >>> bool(0.8 < point.share < 1.0)
    True
    """
    asked = Window() if window is None else window
    step_rad = asked.step_arcmin * ARCMIN_RAD
    resolved = 0.5 * _SHORTEST_MM / eye.pupil_mm
    each = 2 * math.ceil(0.5 * (step_rad / resolved - 1.0)) + 1
    width = asked.samples * step_rad
    across = max(ACROSS, math.ceil(_ROOM * width * eye.pupil_mm / _SHORTEST_MM))
    pupils, view = pupils_of(eye, lens, across)
    fine, size = np.zeros((asked.samples * each,) * 2), step_rad / each
    for pupil, weight in zip(pupils, view.sampling.light.weights, strict=True):
        spread = point_spread_window(pupil, asked.samples * each, size)
        # From 1 in the middle of a perfect wave to the share of a place: Parseval's theorem.
        amplitude = pupil.amplitude
        area = amplitude.sum() ** 2 / float(np.sum(amplitude**2)) * pupil.step_mm**2
        per_place = area * (size / (pupil.wavelength_nm * 1e-6)) ** 2
        fine += weight * per_place * spread.intensity
    # Rows of the spread ascend along y, and what is up is seen down: first row on top as it is.
    total = fine.reshape(asked.samples, each, asked.samples, each).sum(axis=(1, 3))
    return SeenPoint(total, asked)
