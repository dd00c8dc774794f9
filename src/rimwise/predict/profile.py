"""Which path does an implant's profile add, and where do its foci lie?

Own derivation. A period of a diffractive profile is equal in r²: after k of them, at
r = √(2 k λ / A), the path to the focus of the first order has grown by k waves, A being the add.
With u the share of a period, the profile sends out the field T(u) = exp(2πi q p(u)), p its path
in waves and q what is left of them at another wavelength; the order m holds the share
|∫ T(u) exp(2πi m u) du|² of the light and has the power m A λ / λ(design).
"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.media import Gradient
from rimwise.predict.light import in_colour
from rimwise.records.implant_profile import ImplantProfile
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

UM_PER_NM = 1e-3
MOST_ORDER = 4
# What holds less of the light than this is no focus that a far one could be.
_FOCUS_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Order:
    """One focus of a diffractive profile.

    Parameters
    ----------
    number : int
    power_dpt : float
        Against the zeroth order, in aqueous.
    efficiency : float
        Share of the light, 0 to 1, where the profile has its full height.
    """

    number: int
    power_dpt: float
    efficiency: float


def period_mm2(profile: ImplantProfile) -> float:
    """How far apart, in r², do the periods of a diffractive profile lie?

    Examples
    --------
    >>> bifocal = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0)
    >>> round(period_mm2(bifocal), 4)
    0.37
    """
    if profile.kind != "diffractive" or not profile.add_dpt:
        raise WrongInput(
            f"a {profile.kind} profile with an add_dpt of {profile.add_dpt} came; orders need a "
            "diffractive one with an add other than 0"
        )
    return 2.0 * profile.design_nm * UM_PER_NM / abs(profile.add_dpt)


def zone_radii_mm(profile: ImplantProfile, count: int) -> FloatArray:
    """At which radii do the first periods of a diffractive profile end?

    Examples
    --------
    >>> bifocal = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0)
    >>> zone_radii_mm(bifocal, 3).round(3).tolist()
    [0.608, 0.86, 1.054]
    """
    return np.asarray(np.sqrt(period_mm2(profile) * np.arange(1, count + 1)))


def orders(
    profile: ImplantProfile,
    wavelength_nm: float | None = None,
    relief: float = 1.0,
    most: int = MOST_ORDER,
) -> tuple[Order, ...]:
    """Which foci does a diffractive profile make, and how much light goes to each?

    Parameters
    ----------
    profile : ImplantProfile
    wavelength_nm : float, optional
        The design wavelength if not given.
    relief : float
        Step of index there over that at the design wavelength (:func:`relief_at`).
    most : int
        Orders from -most to most.

    Notes
    -----
    Between samples the path is straight, so that each stretch integrates in closed form.

    Examples
    --------
    >>> bifocal = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0)
    >>> [(one.number, round(one.efficiency, 3)) for one in orders(bifocal, most=1)]
    [(-1, 0.045), (0, 0.405), (1, 0.405)]
    """
    period_mm2(profile)
    nm = profile.design_nm if wavelength_nm is None else wavelength_nm
    kept = relief * profile.design_nm / nm
    u, p = np.array(profile.period_waves).T
    way = math.copysign(1.0, profile.add_dpt or 1.0)
    found = []
    for m in range(-most, most + 1):
        ends = kept * p + way * m * u
        middle, step = 0.5 * (ends[1:] + ends[:-1]), np.diff(ends)
        field = np.sum(np.diff(u) * np.exp(2j * np.pi * middle) * np.sinc(step))
        power = m * (profile.add_dpt or 0.0) * nm / profile.design_nm
        found.append(Order(m, power, float(abs(field) ** 2)))
    return tuple(found)


def far_order(profile: ImplantProfile) -> Order:
    """Which focus of a diffractive profile is the far one: of least power, with its share?

    Examples
    --------
    >>> bifocal = ImplantProfile("diffractive", (), ((0.0, 0.5), (1.0, 0.0)), 3.0)
    >>> far_order(bifocal).number
    0
    """
    found = orders(profile)
    least = min(_FOCUS_SHARE, max(one.efficiency for one in found))
    focal = [one for one in found if one.efficiency >= least]
    return min(focal, key=lambda one: one.power_dpt)


def path_um(profile: ImplantProfile, radius_mm: FloatArray, relief: float = 1.0) -> FloatArray:
    """Which path does the profile add at these radii?

    Parameters
    ----------
    profile : ImplantProfile
    radius_mm : array
        From the optic's axis.
    relief : float
        As for :func:`orders`.

    Returns
    -------
    array
        µm; positive delays light. A diffractive profile is told about its mean, which is a plane
        plate of no effect, so that a fading height fades to the mean.

    Examples
    --------
    >>> smooth = ImplantProfile("smooth", ((0.0, 0.6), (0.6, 0.1), (1.2, 0.0), (3.0, 0.0)))
    >>> path_um(smooth, np.array([0.0, 0.6, 1.2, 4.0])).round(3).tolist()
    [0.6, 0.1, 0.0, 0.0]
    """
    r = np.asarray(radius_mm, dtype=np.float64)
    if profile.kind == "smooth":
        added = _smooth(profile, r)
    else:
        u, p = np.array(profile.period_waves).T
        mean = float(np.sum(np.diff(u) * 0.5 * (p[1:] + p[:-1])))
        share = np.mod(r * r / period_mm2(profile), 1.0)
        added = (_stepped(share, u, p) - mean) * profile.design_nm * UM_PER_NM
    return np.asarray(added * _height(profile, r) * relief)


def _smooth(profile: ImplantProfile, r: FloatArray) -> FloatArray:
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - slow to import

    radii, path = np.array(profile.path_um).T
    # Round about the axis: no slope there; flat beyond the last sample.
    spline = CubicSpline(radii, path, bc_type=((1, 0.0), (1, 0.0)))
    return np.asarray(spline(np.minimum(r, radii[-1])), dtype=np.float64)


def _stepped(share: FloatArray, u: FloatArray, p: FloatArray) -> FloatArray:
    """Return the path at shares of a period; at a step the value behind it."""
    k = np.clip(np.searchsorted(u, share, side="right") - 1, 0, len(u) - 2)
    width = u[k + 1] - u[k]
    along = (share - u[k]) / np.where(width > 0.0, width, 1.0)
    return np.asarray(p[k] + along * (p[k + 1] - p[k]))


def _height(profile: ImplantProfile, r: FloatArray) -> FloatArray:
    height = np.ones_like(r)
    if profile.apodised_mm is not None:
        height = np.interp(r, profile.apodised_mm, (1.0, 0.0))
    if profile.diameter_mm is not None:
        height = np.where(r <= 0.5 * profile.diameter_mm, height, 0.0)
    return height


def relief_at(model: EyeModel, wavelength_nm: float, design_nm: float) -> float:
    """How much of its path does the implant's relief keep in light of another wavelength?

    Returns
    -------
    float
        (implant's index less that of aqueous) there over the same at the design wavelength.

    Examples
    --------
    >>> from rimwise.eye.build import eye_model
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_model(eye_record(Known("right", "implant")))
    >>> relief_at(eye, 555.0, 555.0), 1.0 < relief_at(eye, 450.0, 555.0) < 1.1
    (1.0, True)
    """
    there, here = (_step(in_colour(model, nm)) for nm in (wavelength_nm, design_nm))
    return there / here


def _step(model: EyeModel) -> float:
    parts = model.parts
    k = next(i for i, part in enumerate(parts) if part.role == "lens front")
    inside, outside = parts[k].behind, parts[k - 1].behind
    if isinstance(inside, Gradient) or isinstance(outside, Gradient):
        raise WrongInput("a gradient lens came with a profile; a profile is on an implant")
    return inside - outside
