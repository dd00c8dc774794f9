"""Where each candidate centre lies, and how far from it the optic will come to rest."""

import math
from dataclasses import dataclass

from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet, Centre, Centres
from rimwise.terms.frames import examiner_from_nasal_superior

CENTRES: tuple[Centre, ...] = ("visual_axis", "lens", "pupil", "limbus")
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Target:
    """A candidate centre against the lens centre, examiner's frame, real mm at the opening plane.

    ``place_mm`` is its place from the limbus centre, ``from_lens_mm`` its place from the lens
    centre and ``sd_mm`` how well that is known; ``assumptions`` the priors that stand behind it.
    """

    centre: Centre
    place_mm: Point
    from_lens_mm: Point
    sd_mm: Point
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True, slots=True)
class _Place:
    """A point from the limbus centre with its sd and the priors it rests on."""

    place_mm: Point
    sd_mm: Point
    assumptions: tuple[Assumption, ...] = ()


def find_target(case: CaseSheet, centre: Centre) -> Target:
    """Where is this candidate centre, and where is it from the lens centre?

    A target that the sheet places is hit where the sheet says: only the lens centre's own sd then
    stands between it and the optic. A centre that nobody placed comes from a published prior.

    Examples
    --------
    >>> from rimwise.records.case import Centres
    >>> centres = Centres(lens_mm=(0.10, 0.02), visual_axis_mm=(-0.18, 0.05))
    >>> target = find_target(CaseSheet("E-1", "right", "none", centres=centres), "visual_axis")
    >>> tuple(round(component, 9) for component in target.from_lens_mm), target.sd_mm
    ((-0.28, 0.03), (0.05, 0.05))
    """
    given = case.centres or Centres()
    lens = _lens(case, given)
    if centre == "lens":
        return _lens_itself(given, lens)
    if centre == "visual_axis" and (given.visual_axis_mm is None):
        return _visual_axis_from_lens(case, lens)
    place = _placed(case, given, centre)
    apart = (place.place_mm[0] - lens.place_mm[0], place.place_mm[1] - lens.place_mm[1])
    sd = (math.hypot(place.sd_mm[0], lens.sd_mm[0]), math.hypot(place.sd_mm[1], lens.sd_mm[1]))
    return Target(centre, place.place_mm, apart, sd, lens.assumptions + place.assumptions)


def _lens(case: CaseSheet, given: Centres) -> _Place:
    if given.lens_mm is not None:
        return _Place(given.lens_mm, (given.sd_mm, given.sd_mm))
    return _prior_place(case, "lens_from_limbus", "lens centre from limbus centre")


def _placed(case: CaseSheet, given: Centres, centre: Centre) -> _Place:
    """Return a target that can be pointed at; where the sheet gives its place, without scatter."""
    exact = (0.0, 0.0)
    if centre == "limbus":
        return _Place((0.0, 0.0), exact)
    measured = given.pupil_mm if centre == "pupil" else given.visual_axis_mm
    if measured is not None:
        return _Place(measured, exact)
    return _prior_place(case, "pupil_from_limbus", "pupil centre from limbus centre")


def _lens_itself(given: Centres, lens: _Place) -> Target:
    """Return the lens as target: off by what its finding is off, wherever in the eye it lies."""
    if given.lens_mm is not None:
        return Target("lens", lens.place_mm, (0.0, 0.0), lens.sd_mm)
    seen = published_value("centres", "lens_seen")
    sd = seen.sd or 0.0
    assumption = Assumption.of("finding of the lens centre by eye", seen)
    return Target("lens", lens.place_mm, (0.0, 0.0), (sd, sd), (assumption,))


def _visual_axis_from_lens(case: CaseSheet, lens: _Place) -> Target:
    apart = _prior_place(case, "visual_axis_from_lens", "visual axis from lens centre")
    place = (lens.place_mm[0] + apart.place_mm[0], lens.place_mm[1] + apart.place_mm[1])
    return Target("visual_axis", place, apart.place_mm, apart.sd_mm, apart.assumptions)


def _prior_place(case: CaseSheet, key: str, what: str) -> _Place:
    nasal = published_value("centres", f"{key}_nasal")
    superior = published_value("centres", f"{key}_superior")
    return _Place(
        examiner_from_nasal_superior(nasal.value, superior.value, case.side),
        (nasal.sd or 0.0, superior.sd or 0.0),
        (Assumption.of(f"{what}, nasal", nasal), Assumption.of(f"{what}, superior", superior)),
    )
