"""Haptics and the cornea's reflex P1, as a reader marked them."""

import math

import numpy as np

from rimwise.measure.axes import stretched
from rimwise.measure.edges import Edges
from rimwise.measure.hand_rim import points_of
from rimwise.measure.magnification import corneal_radius_mm
from rimwise.measure.opening_size import vector_estimate
from rimwise.published.load import published_value
from rimwise.records.corrections import PointPx
from rimwise.records.cover import Reason, VectorEstimate
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import axis_deg

_TILT_SD_DEG = 0.15  # what the ellipse's own error and perspective turn an axis by
_DISTANCE_SD = 0.3  # of a working distance that nobody told


def haptic_axis(edges: Edges, roots_px: tuple[PointPx, ...], click_px: float) -> Estimate | None:
    """Along which meridian do the haptics' two roots lie? None where none was marked.

    Raises
    ------
    WrongInput
        Another number of points than two.
    """
    if not roots_px:
        return None
    if len(roots_px) != 2:
        raise WrongInput(
            f"haptic_px has {len(roots_px)} points; mark the two roots where the haptics leave "
            "the optic"
        )
    first, second = points_of(roots_px)
    along = stretched((first - second)[None, :], edges)[0]
    right, up = edges.direction_px[0], edges.direction_px[90]
    turn = math.degrees(math.atan2(float(along @ up), float(along @ right)))
    place = math.degrees(click_px * math.sqrt(2.0) / float(np.hypot(*along)))
    return Estimate(axis_deg(turn), math.hypot(place, _TILT_SD_DEG), "roots marked by a reader")


def optic_from_p1(
    edges: Edges, sheet: PictureSheet, points_px: tuple[PointPx, ...], click_px: float
) -> tuple[VectorEstimate | None, Reason | None]:
    """Where is the optic's centre from P1, apparent, along the view; else, why is it not told?

    Parameters
    ----------
    edges : Edges
    sheet : PictureSheet
        Fixation must be confirmed and the lamps known; ``optic_diameter_mm`` is the scale.
    points_px : tuple of (u, v)
        P1 of each lamp, in the sheet's order.
    click_px : float

    Notes
    -----
    P1 of a lamp h beside the camera's axis lies h·f/(D + f) beside where a lamp on the axis would
    show it, with f half the cornea's radius and D its distance (mirror equation, any textbook). Of
    the lamp that is fixated, its own P1 counts. An eye that looks aside by ε moves P1 against the
    optic by ε times the way from the optic to the cornea's centre of curvature.
    """
    lamps = sheet.lamps
    if not points_px:
        return None, None
    if sheet.fixation != "confirmed" or lamps is None or len(lamps.places_mm) != len(points_px):
        return None, Reason(
            "p1-not-used",
            "P1 was marked, but it tells the visual axis only with confirmed fixation, with the "
            "lamps in the sheet, and with one point for each of them.",
        )
    points, places = points_of(points_px), np.asarray(lamps.places_mm)
    told, usual = sheet.working_distance_mm, published_value("microscope", "working_distance")
    focus = 0.5 * corneal_radius_mm(sheet)
    distance = (told or usual.value) - lamps.plane_mm
    beside_mm = places * focus / (distance + focus)
    per_px = 0.5 * float(sheet.optic_diameter_mm or 0.0) / float(edges.rim_px.mean())
    if lamps.fixated is None:
        # Lamps are told as (picture right, picture up), pixels as (right, down).
        points = points - beside_mm * [1.0, -1.0] / per_px
    else:
        points, beside_mm = points[[lamps.fixated]], np.zeros((1, 2))
    shift = np.asarray(edges.centre_px) - points.mean(axis=0)
    x, y = (edges.direction_px[[0, 90]] @ shift) * per_px
    unsure = 0.0 if told else _DISTANCE_SD * float(np.abs(beside_mm.mean(axis=0)).max())
    behind = published_value("lengths", "lens_front_depth_implant").value
    gaze = math.radians(published_value("microscope", "fixation_confirmed").sd or 0.0)
    sd = math.hypot(
        click_px * per_px / math.sqrt(len(points)), unsure, gaze * (2.0 * focus - behind)
    )
    vector = vector_estimate(
        (float(x), float(y)), (sd, sd), sheet.side, math.radians(sheet.superior_sd_deg),
        "rim against P1 marked by a reader, apparent, along the view",
    )  # fmt: skip
    return vector, None
