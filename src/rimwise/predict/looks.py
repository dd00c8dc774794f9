"""The step: how a chart and lamps look to this eye, implant here and where it should be."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rimwise.optics.refraction import PowerVector, least_squares_refraction
from rimwise.predict.as_seen import SeenEye, SeenPoint, Window, seen_point
from rimwise.predict.bare_edge import edges_in_pupils
from rimwise.predict.chart import chart, lamps, seen_through
from rimwise.predict.judge import judge_of
from rimwise.predict.placed import fovea_of, place_at, placed_model
from rimwise.records.as_seen import EdgeInPupil, Scene, SeenPicture
from rimwise.records.eye import EyeRecord
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.sight import ImplantPlace
from rimwise.terms.errors import WrongInput

GLASSES_PUPIL_MM = 3.0
# A chart needs fine places near it; what a lamp throws wide needs a wide window.
_CHART_WINDOW, _LAMP_WINDOW = Window(321, 0.25), Window(241, 0.5)
_LAMP_ROWS, _LAMP_COLUMNS = 181, 301


@dataclass(frozen=True, slots=True)
class Looking:
    """What is looked with, and under which lights.

    Parameters
    ----------
    profile : ImplantProfile or None
        Of the implant.
    pupils_mm : tuple of (light, pupil_mm)
        Entrance pupil of each light; the larger one is only the pupil: colours are weighted as by
        day in both.
    cover_mm : 360 numbers or None, or None
        Cover by direction, where it was measured.
    """

    profile: ImplantProfile | None = None
    pupils_mm: tuple[tuple[str, float], ...] = (("photopic", 3.0), ("mesopic", 5.0))
    cover_mm: tuple[float | None, ...] | None = None


def bare_edges(
    record: EyeRecord,
    here: ImplantPlace,
    pupils_mm: Sequence[float],
    cover_mm: Sequence[float | None] | None = None,
) -> tuple[EdgeInPupil, ...]:
    """For which of these pupils does light reach the optic's edge where it stands, and where?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> eye = eye_record(Known("right", "implant", axial_mm=23.6))
    >>> [bool(one.arcs_deg) for one in bare_edges(eye, place_at(eye, (0.6, 0.0)), (3.0, 6.0))]
    [False, True]
    """
    if record.implant is None:
        raise WrongInput("an eye without an implant came; only an optic has an edge in the pupil")
    model, fovea = placed_model(record, here), fovea_of(record)
    optic = record.implant.optic_diameter_mm
    return edges_in_pupils(model, fovea, pupils_mm, optic, cover_mm)


def distance_glasses(record: EyeRecord, profile: ImplantProfile | None = None) -> PowerVector:
    """Which glasses suit the ideal placement for far, in the plane of the pupil?

    The cylinder of least squares and the sphere of most contrast through 3 mm; of a profile with
    several foci the far one's.
    """
    model, fovea = placed_model(record, place_at(record)), fovea_of(record)
    judge = judge_of(model, fovea, GLASSES_PUPIL_MM, profile=profile)
    squares = least_squares_refraction(judge.view.green)
    return replace(squares, m_dpt=judge.sphere(squares))


def seen_pictures(
    record: EyeRecord, here: ImplantPlace, looking: Looking | None = None
) -> tuple[SeenPicture, ...]:
    """How do a chart and two lamps look to this eye, beside the ideal placement?

    Parameters
    ----------
    record : EyeRecord
        Of an eye with an implant.
    here : ImplantPlace
        Its values are taken, not its ±.
    looking : Looking, optional

    Returns
    -------
    tuple of SeenPicture
        Chart and lamps of each light, both placements behind the glasses that suit the ideal one.

    Raises
    ------
    WrongInput
        The eye holds no implant, or a pupil is out of range.
    MeasurementRefused
        Light through a pupil does not get out of the eye.
    """
    asked = Looking() if looking is None else looking
    glasses = distance_glasses(record, asked.profile)
    fovea = fovea_of(record)
    models = [placed_model(record, one) for one in (here, place_at(record))]
    edges = bare_edges(record, here, [mm for _, mm in asked.pupils_mm], asked.cover_mm)
    found = []
    for (light, pupil_mm), edge in zip(asked.pupils_mm, edges, strict=True):
        eyes = [SeenEye(one, fovea, pupil_mm, asked.profile) for one in models]
        for scene, window in (("chart", _CHART_WINDOW), ("lamps", _LAMP_WINDOW)):
            points = [seen_point(eye, glasses, window) for eye in eyes]
            found.append(_picture("chart" if scene == "chart" else "lamps", light, points, edge))
    return tuple(found)


def _picture(scene: Scene, light: str, points: list[SeenPoint], edge: EdgeInPupil) -> SeenPicture:
    step = points[0].window.step_arcmin
    shown, outside = lamps((_LAMP_ROWS, _LAMP_COLUMNS), step), 0.0
    if scene == "chart":
        shown, outside = chart(step), 1.0
    here, ideal = (seen_through(shown, one, outside) for one in points)
    return SeenPicture(
        scene, light, edge.pupil_mm, shown, here, ideal, step,
        points[0].share, points[1].share, edge,
    )  # fmt: skip
