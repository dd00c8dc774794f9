"""How likely does a random opening lie wholly inside the optic?

The opening's diameter D is normal, its centre from the optic's centre is normal in two axes, all
independent; the opening is contained, with a margin, where |offset| + D/2 + margin <= optic/2.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.stats.quadrature import panel_nodes
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

_REACH = 9.0  # sd; a normal law leaves 2e-19 beyond
_NODES = 24  # per panel of six sd: round-off for a Gaussian
_DISC_NODES = 16
_NO_SCATTER = 1e-12  # of the optic's diameter: less is none, and its square would underflow


@dataclass(frozen=True, slots=True)
class ContainmentSpec:
    """What is asked of a random round opening before a round optic, mm.

    Parameters
    ----------
    optic_diameter_mm : float
        Above 0.
    opening_mean_mm, opening_sd_mm : float
        Normal law of the opening's diameter; sd 0 where it is fixed.
    centring_sd_mm : (float, float)
        Scatter of the opening's centre from the optic's in two perpendicular axes; 0 allowed.
    bias_mm : (float, float)
        Mean of the opening's centre from the optic's in the same axes.
    margin_mm : float
        Cover that must remain everywhere.

    Examples
    --------
    >>> spec = ContainmentSpec(6.0, 5.0, 0.0, (0.2, 0.2), (0.3, 0.0))
    >>> round(p_contained(spec), 10)
    0.7678743874
    """

    optic_diameter_mm: float
    opening_mean_mm: float
    opening_sd_mm: float
    centring_sd_mm: tuple[float, float]
    bias_mm: tuple[float, float] = (0.0, 0.0)
    margin_mm: float = 0.0

    def __post_init__(self) -> None:
        numbers = (
            self.optic_diameter_mm,
            self.opening_mean_mm,
            self.opening_sd_mm,
            *self.centring_sd_mm,
            *self.bias_mm,
            self.margin_mm,
        )
        if not all(math.isfinite(number) for number in numbers):
            raise WrongInput(f"containment needs finite numbers, got {numbers}")
        if not self.optic_diameter_mm > 0.0:
            raise WrongInput(f"the optic's diameter must be above 0 mm, got {numbers[0]}")
        if self.opening_sd_mm < 0.0 or min(self.centring_sd_mm) < 0.0:
            raise WrongInput("standard deviations must be 0 mm or more")

    @property
    def slack_mm(self) -> float:
        """Offset that the mean opening may have: half the difference of diameters, less margin."""
        return 0.5 * (self.optic_diameter_mm - self.opening_mean_mm) - self.margin_mm


def p_contained(spec: ContainmentSpec) -> float:
    """How likely does the opening lie inside the optic with the margin?

    Closed form (noncentral chi-square) for a fixed diameter and equal axes, else quadrature good
    to 1e-12.

    Examples
    --------
    >>> round(p_contained(ContainmentSpec(6.0, 5.0, 0.25, (0.2, 0.2), (0.1, 0.0))), 10)
    0.8905213176
    """
    return float(p_contained_over(spec, np.array([spec.opening_mean_mm]))[0])


def p_not_contained(spec: ContainmentSpec) -> float:
    """How likely is some part bare (or the margin lost)? Keeps its digits where it is tiny.

    Examples
    --------
    >>> p_not_contained(ContainmentSpec(6.0, 5.0, 0.0, (0.05, 0.05)))
    1.92...e-22
    """
    return float(p_not_contained_over(spec, np.array([spec.opening_mean_mm]))[0])


def p_contained_over(spec: ContainmentSpec, opening_means_mm: FloatArray) -> FloatArray:
    """How likely is containment for each of these mean diameters (n,), all else as in the spec?

    Examples
    --------
    >>> spec = ContainmentSpec(6.0, 5.0, 0.25, (0.2, 0.2), (0.1, 0.0))
    >>> p_contained_over(spec, np.array([4.5, 5.0, 5.5])).round(10).tolist()
    [0.9918620601, 0.8905213176, 0.4836455245]
    """
    slacks, spec = _slacks(spec, opening_means_mm), _without_specks(spec)
    sd = spec.centring_sd_mm
    if spec.opening_sd_mm == 0.0 and sd[0] == sd[1] and sd[0] > 0.0:
        from scipy.special import chndtr  # noqa: PLC0415  scipy is loaded late

        reach = np.clip(slacks / sd[0], 0.0, None) ** 2
        bias = (spec.bias_mm[0] ** 2 + spec.bias_mm[1] ** 2) / sd[0] ** 2
        return np.asarray(chndtr(reach, 2.0, bias))
    return np.asarray(1.0 - p_not_contained_over(spec, opening_means_mm))


def p_not_contained_over(spec: ContainmentSpec, opening_means_mm: FloatArray) -> FloatArray:
    """How likely is containment lost for each of these mean diameters (n,)?

    Examples
    --------
    >>> spec = ContainmentSpec(6.0, 5.0, 0.0, (0.2, 0.2))
    >>> p_not_contained_over(spec, np.array([4.0, 5.0])).round(8).tolist()
    [3.73e-06, 0.04393693]
    """
    from scipy.special import ndtr  # noqa: PLC0415  scipy is loaded late

    slacks, spec = _slacks(spec, opening_means_mm), _without_specks(spec)
    sd, scatter = spec.centring_sd_mm, 0.5 * spec.opening_sd_mm
    bias = math.hypot(*spec.bias_mm)
    if max(sd) == 0.0:
        if scatter == 0.0:
            return np.asarray((bias > slacks).astype(np.float64))
        return np.asarray(ndtr((bias - slacks) / scatter))
    if sd[0] == sd[1]:
        return _lost_equal(bias, sd[0], slacks, scatter)
    return _lost_unequal(spec, slacks, scatter)


def _without_specks(spec: ContainmentSpec) -> ContainmentSpec:
    """Return the spec with scatters that no arithmetic can carry set to none."""
    least = _NO_SCATTER * spec.optic_diameter_mm
    made, x, y = (0.0 if sd < least else sd for sd in (spec.opening_sd_mm, *spec.centring_sd_mm))
    return replace(spec, opening_sd_mm=made, centring_sd_mm=(x, y))


def _slacks(spec: ContainmentSpec, opening_means_mm: FloatArray) -> FloatArray:
    means = np.asarray(opening_means_mm, dtype=np.float64)
    if means.ndim != 1 or not np.isfinite(means).all():
        raise WrongInput(f"mean diameters are a row of finite numbers, got shape {means.shape}")
    return np.asarray(0.5 * (spec.optic_diameter_mm - means) - spec.margin_mm)


def _lost_equal(bias: float, sd: float, slacks: FloatArray, scatter: float) -> FloatArray:
    """∫ f(ρ) P(R < ρ) dρ with the Rice density f of the offset and the slack R ~ N(M, scatter²).

    Every panel is at most six sd of whichever of the two laws varies in it.
    """
    from scipy.special import i0e, ndtr  # noqa: PLC0415  scipy is loaded late

    low, high = max(0.0, bias - _REACH * sd), bias + _REACH * sd
    # Far beyond the reach the tail still counts where the slack itself lies there.
    ends = np.maximum(high, slacks + _REACH * sd)[:, None]
    rise = low + (high - low) * np.linspace(0.0, 1.0, 4)
    step = slacks[:, None] + scatter * np.linspace(-_REACH, _REACH, 4)
    tail = np.maximum(slacks, 0.0)[:, None] + sd * np.array([0.0, 0.5, 1.5, 4.0, 9.0])
    fixed = np.broadcast_to(rise, (len(slacks), 4))
    edges = np.sort(np.clip(np.concatenate([fixed, step, tail], axis=1), low, ends), axis=1)
    if scatter == 0.0:
        edges = np.maximum(edges, np.clip(slacks, 0.0, None)[:, None])
    rho, weight = panel_nodes(edges, _NODES)
    rice = rho / sd**2 * np.exp(-0.5 * ((rho - bias) / sd) ** 2) * i0e(rho * bias / sd**2)
    lost = np.ones_like(rho) if scatter == 0.0 else ndtr((rho - slacks[:, None]) / scatter)
    return np.asarray(np.minimum((weight * rice * lost).sum(axis=1), 1.0))


def _lost_unequal(spec: ContainmentSpec, slacks: FloatArray, scatter: float) -> FloatArray:
    """P(R < 0) + ∫ φ(r) P(|offset| > r) dr over the slack R ~ N(M, scatter²)."""
    from scipy.special import ndtr  # noqa: PLC0415  scipy is loaded late

    if scatter == 0.0:
        return np.where(slacks < 0.0, 1.0, _beyond(spec, np.clip(slacks, 0.0, None)))
    edges = _slack_panels(spec, slacks, scatter)
    r, weight = panel_nodes(edges, 12)
    beyond = _beyond(spec, r) * weight
    z = (r - slacks[:, None]) / scatter
    normal = np.exp(-0.5 * z * z) / (scatter * math.sqrt(2.0 * math.pi))
    return np.asarray(np.minimum(ndtr(-slacks / scatter) + normal @ beyond, 1.0))


def _slack_panels(spec: ContainmentSpec, slacks: FloatArray, scatter: float) -> FloatArray:
    """Panels over r >= 0, each short against whatever varies in it; shared by all slacks."""
    top = max(scatter, float(slacks.max()) + _REACH * scatter)
    steps = 2.0 * scatter * np.arange(-5, 6)
    edges = [np.array([0.0, top])]
    if top / (2.0 * scatter) < 10 * len(slacks):
        edges.append(np.arange(0.0, top, 2.0 * scatter))
    else:
        edges.append((slacks[:, None] + steps).ravel())
    # The disc's probability rises within a few sd of |bias| in each axis, then like a square root.
    for centre, sd in zip(spec.bias_mm, spec.centring_sd_mm, strict=True):
        if sd < 0.5 * scatter:
            finest = sd if sd > 0.0 else 1e-15 * max(top, scatter)
            grading = 9.0 * finest * 4.0 ** np.arange(math.ceil(math.log(scatter / finest, 4.0)))
            near = np.concatenate([finest * np.arange(0.0, 9.0, 2.0), grading])
            edges += [abs(centre) - near, abs(centre) + near]
    return np.unique(np.clip(np.concatenate(edges), 0.0, top))


def _beyond(spec: ContainmentSpec, r: FloatArray) -> FloatArray:
    """P(|offset| > r) for r (n,) >= 0 with unequal axes.

    Along the narrower axis x = r sin α, so that the chord r cos α of the other has no root in it.
    """
    from scipy.special import ndtr  # noqa: PLC0415  scipy is loaded late

    wide = int(spec.centring_sd_mm[1] >= spec.centring_sd_mm[0])
    (sx, bx), (sy, by) = (
        (spec.centring_sd_mm[axis], spec.bias_mm[axis]) for axis in (1 - wide, wide)
    )
    if sx == 0.0:
        half = np.sqrt(np.clip(r * r - bx * bx, 0.0, None))
        outside = ndtr((-half - by) / sy) + ndtr((by - half) / sy)
        return np.where(r < abs(bx), 1.0, outside)
    # A disc too small for its square is empty whatever its chords.
    safe = np.where(r > 1e-150, r, 1.0)
    marks = (bx + sx * np.array([-9.0, -5.0, -2.5, 0.0, 2.5, 5.0, 9.0])) / safe[:, None]
    edges = np.arcsin(np.clip(marks, -1.0, 1.0))
    alpha, weight = panel_nodes(edges, _DISC_NODES)
    x, half = r[:, None] * np.sin(alpha), r[:, None] * np.cos(alpha)
    density = np.exp(-0.5 * ((x - bx) / sx) ** 2) / (sx * math.sqrt(2.0 * math.pi)) * half
    chord = ndtr((-half - by) / sy) + ndtr((by - half) / sy)
    return np.asarray(
        ndtr((bx - r) / sx) + ndtr((-r - bx) / sx) + (weight * density * chord).sum(axis=1)
    )


def largest_opening_mm(spec: ContainmentSpec, p_wanted: float) -> float:
    """Which mean diameter is the largest that is contained with this probability?

    Parameters
    ----------
    spec : ContainmentSpec
        Its ``opening_mean_mm`` is not used.
    p_wanted : float
        Strictly between 0 and 1.

    Returns
    -------
    float
        mm; may be far below any sensible opening (even below 0) where the scatter is wide.

    Examples
    --------
    >>> spec = ContainmentSpec(6.0, 5.0, 0.25, (0.2, 0.2))
    >>> round(largest_opening_mm(spec, 0.95), 6)
    4.877623
    """
    from scipy.optimize import brentq  # noqa: PLC0415  scipy is loaded late

    if not 0.0 < p_wanted < 1.0:
        raise WrongInput(f"a wanted probability lies between 0 and 1, got {p_wanted}")
    top = spec.optic_diameter_mm - 2.0 * spec.margin_mm
    reach = math.hypot(*spec.bias_mm) + 12.0 * max(spec.centring_sd_mm) + 6.0 * spec.opening_sd_mm
    if reach == 0.0:
        return top
    if max(*spec.centring_sd_mm, spec.opening_sd_mm) == 0.0:
        return top - 2.0 * math.hypot(*spec.bias_mm)

    def excess(mean_mm: float) -> float:
        return p_contained(replace(spec, opening_mean_mm=mean_mm)) - p_wanted

    return float(brentq(excess, top - 2.0 * reach, top + 2.0 * reach, xtol=1e-10))


def p_contained_by_magnitude(
    optic_diameter_mm: float,
    opening_mm: tuple[float, float],
    decentration_mm: tuple[float, float],
) -> float:
    """How likely is containment if the *magnitude* of the decentration is taken as normal?

    The way published means and sd of a decentration's magnitude are combined; a magnitude is never
    negative and not normal, so ``p_contained`` is the better law where the axes are known.

    Parameters
    ----------
    optic_diameter_mm : float
    opening_mm, decentration_mm : (mean, sd)
        Of the opening's diameter and of the decentration's magnitude; not both sd 0.

    Examples
    --------
    >>> round(p_contained_by_magnitude(6.0, (5.24, 0.16), (0.30, 0.14)), 2)
    0.69
    """
    mean = 0.5 * opening_mm[0] + decentration_mm[0]
    sd = math.hypot(0.5 * opening_mm[1], decentration_mm[1])
    if not sd > 0.0:
        raise WrongInput("one of the two standard deviations must be above 0 mm")
    return 0.5 * math.erfc((mean - 0.5 * optic_diameter_mm) / (sd * math.sqrt(2.0)))
