"""What else may it be? Placements within the ±, drawn and judged.

Contrast falls with the square of what spoils it, so that its ± near the best placement is not
told by slopes, and one side of it reaches further than the other. The wave itself follows the
uncertain numbers as a polynomial of second degree: it is traced at the middle, to both sides of
each number and for each pair of numbers, and drawn placements are taken from that polynomial.
Contrast is worked out at every draw. Own derivation.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

import numpy as np

from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector
from rimwise.predict.criteria import (
    Contrast,
    contrast_of,
    judged,
    lens_wave_um,
    strehl_of,
    view_of,
)
from rimwise.predict.gratings import FREQUENCIES_CPD, Gratings, Sampling, directions_from
from rimwise.predict.judge import ProfiledJudge, judge_of
from rimwise.predict.placed import placed_model
from rimwise.predict.profiled import ROUGH_CELLS, ProfiledView, profiled_view
from rimwise.records.eye import EyeRecord
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.sight import ImplantPlace, Likely
from rimwise.terms.arrays import FloatArray
from rimwise.terms.estimate import Estimate

DRAWS = 256
# Each costs transforms of a whole pupil there.
PROFILED_DRAWS = 64
# Only differences between draws are taken: a rough sampling tells those.
ROUGH = Sampling(along=8, across=12, directions=4, colours=5, step_um=0.5)
_TAKEN_CPD = (2.5, 5.0, 10.0, 15.0, 30.0, 45.0, 60.0)
_BETWEEN = np.stack([np.interp(FREQUENCIES_CPD, _TAKEN_CPD, row) for row in np.eye(7)], axis=1)
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
    seen : ProfiledView or None
        The told placement of an optic with a profile.
    places : array, shape (2, 45, 1 + draws), or None
        Where the light meets that optic in each draw.
    """

    green_um: FloatArray
    colours_um: FloatArray
    pupil_mm: float
    seen: ProfiledView | None = None
    places: FloatArray | None = None

    @property
    def count(self) -> int:
        """The told placement and the draws."""
        return len(self.green_um[0])

    def contrasts(self, lenses: list[PowerVector], meridian_rad: float) -> tuple[FloatArray, ...]:
        """Return contrast along, across, over all directions, (frequencies, count), and Strehl.

        ``lenses`` in the pupil's plane, one a placement.
        """
        if self.seen is None or self.places is None:
            worn = np.stack([lens_wave_um(one, self.pupil_mm) for one in lenses], axis=-1)
            waves = self.colours_um + worn
            kept, ratio = judged(waves, self.pupil_mm, ROUGH, meridian_rad, _TAKEN_CPD)
        else:
            kept, ratio = self._profiled(self.seen, self.places, lenses, meridian_rad)
        rows = [_BETWEEN @ one for one in (kept.tangential, kept.sagittal, kept.mean)]
        return (*rows, ratio[None])

    def _profiled(
        self,
        seen: ProfiledView,
        places: FloatArray,
        lenses: list[PowerVector],
        meridian_rad: float,
    ) -> tuple[Contrast, FloatArray]:
        sampling = seen.view.sampling
        turns = directions_from(meridian_rad, sampling.directions)
        found = []
        for k, lens in enumerate(lenses):
            view = replace(seen.view, colours_um=self.colours_um[:, :, k])
            drawn = replace(seen, view=view, places=places[:, :, k].T)
            found.append(drawn.transfer(lens, _TAKEN_CPD, turns))
        transfer = np.stack(found, axis=-1)
        perfect = Gratings(self.pupil_mm, _TAKEN_CPD, sampling).perfect()
        return contrast_of(transfer), strehl_of(transfer, _TAKEN_CPD, perfect)


def cloud_of(
    record: EyeRecord,
    here: ImplantPlace,
    fovea: Vec3,
    pupil_mm: float,
    profile: ImplantProfile | None = None,
) -> Cloud | None:
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
    if profile is None:

        def smooth(sds: FloatArray) -> FloatArray:
            view = view_of(placed_model(record, moved(here, sds)), fovea, pupil_mm, ROUGH)
            return np.vstack([view.green.coefficients_um, view.colours_um])

        waves = _drawn(smooth, count, DRAWS)
        return Cloud(waves[0], waves[1:], pupil_mm)

    def profiled(sds: FloatArray) -> FloatArray:
        model = placed_model(record, moved(here, sds))
        judge = judge_of(model, fovea, pupil_mm, profile=profile, cells=ROUGH_CELLS)
        assert isinstance(judge, ProfiledJudge)
        green, view = judge.view.green.coefficients_um, judge.seen.view
        return np.vstack([green, judge.seen.places.T, view.colours_um])

    waves = _drawn(profiled, count, PROFILED_DRAWS)
    seen = profiled_view(placed_model(record, here), fovea, pupil_mm, profile, ROUGH_CELLS)
    return Cloud(waves[0], waves[3:], pupil_mm, seen, waves[1:3])


def _drawn(traced: Callable[[FloatArray], FloatArray], count: int, draws: int) -> FloatArray:
    """Return what is traced, (rows, 45, 1 + draws), at draws of so many uncertain numbers."""
    step = _STEP_SD * np.eye(count)
    middle = traced(np.zeros(count))
    up, down = (np.array([traced(way * one) for one in step]) for way in (1.0, -1.0))
    drawn = normal_draws(count, draws)
    slopes = 0.5 * (up - down) / _STEP_SD
    bends = 0.5 * (up + down - 2.0 * middle) / _STEP_SD**2
    waves = np.einsum("dk,kcm->cmd", drawn, slopes) + np.einsum("dk,kcm->cmd", drawn**2, bends)
    for i, j in combinations(range(count), 2):
        crossed = (traced(step[i] + step[j]) - up[i] - up[j] + middle) / _STEP_SD**2
        waves += crossed[:, :, None] * (drawn[:, i] * drawn[:, j])
    alone = np.zeros((*middle.shape, 1))
    return np.asarray(middle[:, :, None] + np.concatenate([alone, waves], axis=2))


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
