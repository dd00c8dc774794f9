"""What does one placement give through one pupil, whether its optic has a profile or not?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from rimwise.eye.model import EyeModel
from rimwise.optics.pose import Vec3
from rimwise.optics.refraction import PowerVector
from rimwise.predict.criteria import (
    FOCUS_CPD,
    KNOWN_CPD,
    TOLD,
    Contrast,
    View,
    best_of,
    best_sphere_dpt,
    contrast_of,
    judged,
    spheres_about,
    strehl_of,
    through_focus,
    view_of,
)
from rimwise.predict.gratings import USUAL, Gratings, Sampling, directions_from
from rimwise.predict.light import MIDDLE_NM
from rimwise.predict.profile import far_order, orders, relief_at
from rimwise.predict.profiled import (
    USUAL_CELLS,
    Cells,
    ProfiledView,
    carried_modes_um,
    profiled_view,
)
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.sight_focus import SightFocus
from rimwise.terms.arrays import FloatArray

# The far focus is looked for so near that of its own wave that a near one is not taken for it.
_SHARE_OF_ADD, _SMOOTH_REACH_DPT = 0.4, 2.0
_LEAST_SHARE = 0.01


class Judge(Protocol):
    """What is asked of a placement."""

    @property
    def view(self) -> View:
        """Its waves; the green one is that of the far focus."""

    def curves(
        self, lenses: Sequence[PowerVector], meridian_rad: float
    ) -> tuple[Contrast, FloatArray]:
        """Return contrast at the told frequencies, (frequencies, lenses), and visual Strehl."""

    def focus(self, lens: PowerVector, added_dpt: FloatArray) -> FloatArray:
        """Return contrast at 10 cycles per degree behind further spheres."""

    def sphere(self, cylinder: PowerVector) -> float:
        """Return the sphere that gives most contrast beside this cylinder."""


@dataclass(frozen=True, slots=True, eq=False)
class SmoothJudge:
    """An optic that is what its surfaces are."""

    view: View

    def curves(
        self, lenses: Sequence[PowerVector], meridian_rad: float
    ) -> tuple[Contrast, FloatArray]:
        """Return contrast at the told frequencies, (frequencies, lenses), and visual Strehl."""
        view = self.view
        waves = np.concatenate([view.behind(one) for one in lenses], axis=2)
        kept, ratio = judged(waves, view.pupil_mm, view.sampling, meridian_rad)
        return _told(kept), ratio

    def focus(self, lens: PowerVector, added_dpt: FloatArray) -> FloatArray:
        """Return contrast at 10 cycles per degree behind further spheres."""
        return through_focus(self.view, lens, added_dpt, FOCUS_CPD)

    def sphere(self, cylinder: PowerVector) -> float:
        """Return the sphere that gives most contrast beside this cylinder."""
        return best_sphere_dpt(self.view, cylinder)


@dataclass(frozen=True, slots=True, eq=False)
class ProfiledJudge:
    """An optic with a profile: several foci, or an extended one."""

    view: View
    seen: ProfiledView
    kept_green: float

    def curves(
        self, lenses: Sequence[PowerVector], meridian_rad: float
    ) -> tuple[Contrast, FloatArray]:
        """Return contrast at the told frequencies, (frequencies, lenses), and visual Strehl."""
        sampling = self.seen.view.sampling
        turns = directions_from(meridian_rad, sampling.directions)
        found = np.stack([self.seen.transfer(one, KNOWN_CPD, turns) for one in lenses], axis=-1)
        perfect = Gratings(self.view.pupil_mm, KNOWN_CPD, sampling).perfect()
        return _told(contrast_of(found)), strehl_of(found, KNOWN_CPD, perfect)

    def focus(self, lens: PowerVector, added_dpt: FloatArray) -> FloatArray:
        """Return contrast at 10 cycles per degree behind further spheres."""
        turns = directions_from(0.0, self.seen.view.sampling.directions)
        kept = self.seen.lines(lens, FOCUS_CPD, turns).behind(added_dpt)
        return np.asarray(kept.mean(axis=0))

    def sphere(self, cylinder: PowerVector) -> float:
        """Return the sphere that gives most contrast beside this cylinder, for far."""
        turns = directions_from(0.0, self.seen.view.sampling.directions)
        worn = PowerVector(0.0, cylinder.j0_dpt, cylinder.j45_dpt)
        lines, reach = self.seen.lines(worn, FOCUS_CPD, turns), _SMOOTH_REACH_DPT
        add = self.seen.profile.add_dpt
        if add is not None:
            reach = min(reach, _SHARE_OF_ADD * abs(add) * self.seen.scale**2)
        powers = spheres_about(self.view, reach)
        return best_of(lambda one: np.asarray(lines.behind(one).mean(axis=0)), powers)[0]


def judge_of(
    model: EyeModel,
    fovea_mm: Vec3,
    pupil_mm: float,
    sampling: Sampling = USUAL,
    profile: ImplantProfile | None = None,
    cells: Cells = USUAL_CELLS,
) -> Judge:
    """Who judges this placement through this pupil?

    Parameters
    ----------
    model : EyeModel
        Implant placed.
    fovea_mm : tuple of 3 floats
    pupil_mm : float
    sampling : Sampling
        Of an optic without a profile; one with a profile has its own.
    profile : ImplantProfile, optional
    cells : Cells
        Sampling of an optic with a profile.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1999"))
    >>> kept, ratio = judge_of(eye, (0.0, 0.0, -eye.retina_depth_mm), 3.0).curves(
    ...     [PowerVector(0.0, 0.0, 0.0)], 0.0
    ... )
    >>> kept.mean.shape, ratio.shape
    ((12, 1), (1,))
    """
    if profile is None:
        return SmoothJudge(view_of(model, fovea_mm, pupil_mm, sampling))
    seen = profiled_view(model, fovea_mm, pupil_mm, profile, cells)
    kept = relief_at(model, MIDDLE_NM, profile.design_nm)
    carried = carried_modes_um(profile, seen.places, kept, MIDDLE_NM)
    green = replace(seen.view.green, coefficients_um=seen.view.green.coefficients_um + carried)
    return ProfiledJudge(replace(seen.view, green=green), seen, kept)


def foci_of(judge: Judge, glasses: PowerVector) -> tuple[SightFocus, ...]:
    """Which foci do the orders of a diffractive profile make behind these glasses?

    Those that hold a hundredth of the light of 555 nm or more; none without such a profile.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("navarro1999"))
    >>> foci_of(judge_of(eye, (0.0, 0.0, -eye.retina_depth_mm), 3.0), PowerVector(0.0, 0.0, 0.0))
    ()
    """
    if not isinstance(judge, ProfiledJudge) or judge.seen.profile.kind != "diffractive":
        return ()
    profile, vertex = judge.seen.profile, judge.view.vertex_mm
    far, worn = far_order(profile).power_dpt, glasses.moved_towards_light(vertex).m_dpt
    found = []
    for one in orders(profile, MIDDLE_NM, judge.kept_green):
        # A thin power at the implant acts at the pupil by the square of the beam's ratio.
        more = (one.power_dpt - far) * judge.seen.scale**2
        lens = replace(glasses, m_dpt=glasses.m_dpt - more).moved_towards_light(vertex)
        if one.efficiency >= _LEAST_SHARE:
            focus = SightFocus(one.number, one.power_dpt, one.efficiency, lens.m_dpt - worn)
            found.append(focus)
    return tuple(found)


def _told(kept: Contrast) -> Contrast:
    return Contrast(kept.tangential[TOLD], kept.sagittal[TOLD], kept.mean[TOLD])
