"""What else may it be? Placements within the ±, drawn and judged.

Contrast falls with the square of what spoils it, so that its ± near the best placement is not
told by slopes, and one side of it reaches further than the other. The wave itself follows the
uncertain numbers as a polynomial of second degree: it is traced at the middle, to both sides of
each number and for each pair of numbers, and drawn placements are taken from that polynomial.
Contrast is worked out at every draw. Own derivation.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

import numpy as np

from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector
from rimwise.predict.criteria import contrast, lens_wave_um, view_of, visual_strehl
from rimwise.predict.gratings import FREQUENCIES_CPD, Sampling
from rimwise.predict.placed import placed_model
from rimwise.records.eye import EyeRecord
from rimwise.records.sight import ImplantPlace, Likely
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

DRAWS = 256
# Only differences between draws are taken: a rough sampling tells those.
ROUGH = Sampling(along=8, across=12, directions=4, colours=5)
_TAKEN_CPD, _STREHL_NODES = (5.0, 15.0, 30.0, 45.0, 60.0), 7
_BETWEEN = np.stack([np.interp(FREQUENCIES_CPD, _TAKEN_CPD, row) for row in np.eye(5)], axis=1)
_STEP_SD = 1.5
_LOW, _HIGH = 0.025, 0.975


@dataclass(frozen=True, slots=True)
class Cloud:
    """Waves of drawn placements through one pupil; the first one is the told placement itself.

    Parameters
    ----------
    green_um : array, shape (45, 1 + draws)
    colours_um : array, shape (colours, 45, 1 + draws)
        Of the rough sampling.
    pupil_mm : float
    """

    green_um: FloatArray
    colours_um: FloatArray
    pupil_mm: float

    @property
    def count(self) -> int:
        """The told placement and the draws."""
        return len(self.green_um[0])

    def contrasts(self, lenses: list[PowerVector], meridian_rad: float) -> tuple[FloatArray, ...]:
        """Return contrast along, across, over all directions, (frequencies, count), and Strehl.

        ``lenses`` in the pupil's plane, one a placement.
        """
        worn = np.stack([lens_wave_um(one, self.pupil_mm) for one in lenses], axis=-1)
        waves = self.colours_um + worn
        kept = contrast(waves, self.pupil_mm, ROUGH, meridian_rad, _TAKEN_CPD)
        rows = [_BETWEEN @ one for one in (kept.tangential, kept.sagittal, kept.mean)]
        return (*rows, visual_strehl(waves, self.pupil_mm, ROUGH, _STREHL_NODES)[None])


def cloud_of(record: EyeRecord, here: ImplantPlace, fovea: Vec3, pupil_mm: float) -> Cloud | None:
    """Which waves may leave this eye, its implant being here within the ±? None without any ±.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.placed import fovea_of, place_at
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> cloud_of(eye, place_at(eye), fovea_of(eye), 3.0) is None
    True
    """
    count = len(_sds(here))
    if not count:
        return None

    def traced(sds: FloatArray) -> FloatArray:
        view = view_of(placed_model(record, moved(here, sds)), fovea, pupil_mm, ROUGH)
        return np.vstack([view.green.coefficients_um, view.colours_um])

    step = _STEP_SD * np.eye(count)
    middle = traced(np.zeros(count))
    up, down = (np.array([traced(way * one) for one in step]) for way in (1.0, -1.0))
    draws = normal_draws(count)
    slopes = 0.5 * (up - down) / _STEP_SD
    bends = 0.5 * (up + down - 2.0 * middle) / _STEP_SD**2
    waves = np.einsum("dk,kcm->cmd", draws, slopes) + np.einsum("dk,kcm->cmd", draws**2, bends)
    for i, j in combinations(range(count), 2):
        crossed = (traced(step[i] + step[j]) - up[i] - up[j] + middle) / _STEP_SD**2
        waves += crossed[:, :, None] * (draws[:, i] * draws[:, j])
    waves = middle[:, :, None] + np.concatenate([np.zeros((*middle.shape, 1)), waves], axis=2)
    return Cloud(waves[0], waves[1:], pupil_mm)


def moved(here: ImplantPlace, sds: FloatArray) -> ImplantPlace:
    """Where is the implant when its uncertain numbers are off by so many sd each?

    Shift x and y, tilt x and y, marks, depth; numbers without a ± are passed over.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.predict.placed import place_at
    >>> here = place_at(eye_record(Known("right", "implant", axial_mm=23.6)), (0.3, 0.0))
    >>> here = replace(here, shift_mm=(here.shift_mm[0], Estimate(0.0, 0.1)))
    >>> moved(here, np.array([2.0])).shift_mm[1].value
    0.2
    """
    left = iter(sds.tolist())

    def off(one: Estimate) -> Estimate:
        return replace(one, value=one.value + next(left) * one.sd) if one.sd > 0.0 else one

    shift = (off(here.shift_mm[0]), off(here.shift_mm[1]))
    tilt = (off(here.tilt_deg[0]), off(here.tilt_deg[1]))
    marks = None if here.marks_deg is None else off(here.marks_deg)
    return replace(
        here,
        shift_mm=shift,
        tilt_deg=tilt,
        marks_deg=marks,
        front_depth_mm=off(here.front_depth_mm),
    )


def sd_of(rows: FloatArray) -> FloatArray:
    """How far do the draws scatter? Last axis: the told placement, then its draws."""
    return np.asarray(rows[..., 1:].std(axis=-1, ddof=1))


def likely(value: float, row: FloatArray) -> Likely:
    """Between which values lie 95 % of the draws, told from the told value?

    Examples
    --------
    >>> low, high = likely(0.5, np.array([0.4, *np.linspace(0.1, 0.5, 101)]))
    >>> round(low, 2), round(high, 2)
    (0.21, 0.59)
    """
    low, high = np.quantile(row[1:] - row[0], (_LOW, _HIGH))
    return value + float(low), value + float(high)


@lru_cache(maxsize=8)
def normal_draws(count: int, draws: int = DRAWS) -> FloatArray:
    """Which standard normal numbers stand for a draw of so many? The same ones every time.

    Notes
    -----
    Sobol's points, each in the middle of its share, fill the cube more evenly than chance: far
    draws, which matter most here, come as often as they should. Means are then made 0, sd 1 and
    correlations 0.

    Examples
    --------
    >>> drawn = normal_draws(4)
    >>> drawn.shape, drawn.std(axis=0).round(6).tolist()
    ((256, 4), [1.0, 1.0, 1.0, 1.0])
    """
    from scipy.special import ndtri  # noqa: PLC0415  scipy is loaded late
    from scipy.stats.qmc import Sobol  # noqa: PLC0415

    even = Sobol(count, scramble=False).random(draws) + 0.5 / draws
    normal = np.asarray(ndtri(even), dtype=np.float64)
    normal -= normal.mean(axis=0)
    spread = np.linalg.cholesky(normal.T @ normal / draws)
    return np.asarray(normal @ np.linalg.inv(spread).T)


def _sds(here: ImplantPlace) -> list[float]:
    marks = () if here.marks_deg is None else (here.marks_deg,)
    told = (*here.shift_mm, *here.tilt_deg, *marks, here.front_depth_mm)
    return [one.sd for one in told if one.sd > 0.0 and math.isfinite(one.sd)]
