"""The found curves as a plain record, and back: numbers can be had again without the picture."""

import numpy as np

from rimwise.geometry.arcs import runs_round
from rimwise.measure.axes import found_haptic_axis
from rimwise.measure.edges import Edges
from rimwise.measure.second_edge import second_of
from rimwise.picture.limbus import Limbus
from rimwise.picture.planes import working_factor
from rimwise.picture.raster import Raster
from rimwise.records.cover import EllipsePx, FoundCurves, FoundLimbus, FoundOpening, FoundRim
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import BoolArray, FloatArray

_FLAGS = {
    "rim_seen": "rim_seen",
    "rim_hidden": "rim_hidden",
    "opening_found": "opening_found",
    "opening_plain": "opening_plain",
    "opening_hidden": "opening_hidden_by_pupil",
}


def rim_basis(theta_rad: FloatArray) -> FloatArray:
    """Which rows (1, cos θ, sin θ, cos 2θ, sin 2θ) belong to these angles of the picture?

    Examples
    --------
    >>> rim_basis(np.array([0.0])).tolist()
    [[1.0, 1.0, 0.0, 1.0, 0.0]]
    """
    waves = [np.cos(theta_rad), np.sin(theta_rad), np.cos(2 * theta_rad), np.sin(2 * theta_rad)]
    return np.stack([np.ones_like(theta_rad), *waves], axis=-1)


def picture_rad(vectors_px: FloatArray) -> FloatArray:
    """Which angles, counter-clockwise from +u, have these vectors (right, down)?

    Examples
    --------
    >>> float(np.degrees(picture_rad(np.array([0.0, -2.0]))))
    90.0
    """
    return np.asarray(np.arctan2(-vectors_px[..., 1], vectors_px[..., 0]))


def oval_of(ellipse: EllipsePx) -> FloatArray:
    """Which (R, e₂, e₃) of r(θ) = R + e₂ cos 2θ + e₃ sin 2θ has this ellipse?

    Examples
    --------
    >>> (oval_of(EllipsePx(0.0, 0.0, 302.0, 298.0, 0.0)) + 0.0).tolist()
    [300.0, 2.0, 0.0]
    """
    turn = np.radians(ellipse.angle_deg)
    oval = 0.5 * (ellipse.a - ellipse.b)
    return np.array(
        [0.5 * (ellipse.a + ellipse.b), oval * np.cos(2.0 * turn), -oval * np.sin(2.0 * turn)]
    )


def ellipse_of(centre_px: FloatArray, oval: FloatArray) -> EllipsePx:
    """Which ellipse has this centre and these (R, e₂, e₃)?"""
    size = float(np.hypot(oval[1], oval[2]))
    angle = -0.5 * float(np.degrees(np.arctan2(oval[2], oval[1])))
    return EllipsePx(
        float(centre_px[0]),
        float(centre_px[1]),
        float(oval[0]) + size,
        float(oval[0]) - size,
        angle,
    )


def directions_of(curves: FoundCurves) -> FloatArray:
    """Which unit vectors (360, 2) of the stored picture are the examiner's 360 directions?

    Examples
    --------
    >>> directions_of(FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0))[90].round(9).tolist()
    [0.0, -1.0]
    """
    angles = np.radians(np.arange(360.0))
    return np.asarray(
        np.outer(np.cos(angles), curves.right_px) + np.outer(np.sin(angles), curves.up_px)
    )


def curves_of(edges: Edges) -> FoundCurves:
    """Which record holds these edges? An edge that lies behind the optic is none of an opening."""
    across = np.linalg.pinv(rim_basis(picture_rad(edges.direction_px)))
    covariance = across @ edges.rim_covariance @ across.T
    limbus = edges.limbus
    return FoundCurves(
        right_px=_pair(edges.direction_px[0]),
        up_px=_pair(edges.direction_px[90]),
        px=edges.px,
        rim=FoundRim(edges.rim_ellipse, tuple(tuple(float(v) for v in row) for row in covariance)),
        opening=None
        if edges.before_optic is False
        else FoundOpening(
            tuple(float(r) for r in edges.opening_px),
            edges.opening_sd_px,
            edges.opening_place_sd_px,
        ),
        shown=_shown(edges),
        pupil=edges.pupil,
        pupil_sd_px=edges.pupil_sd_px,
        limbus=None
        if limbus is None
        else FoundLimbus(limbus.ellipse_px, limbus.radius_px, limbus.centre_sd_px, limbus.seen_deg),
        haptic_axis_deg=found_haptic_axis(edges),
        second=second_of(edges),
    )


def _shown(edges: Edges) -> dict[str, tuple[bool, ...]]:
    shown = {
        name: tuple(bool(flag) for flag in getattr(edges, of))
        for name, of in _FLAGS.items()
        if edges.before_optic is not False or name.startswith("rim")
    }
    if edges.before_optic is False:
        return shown
    for name, value in (("opening_broken", edges.broken), ("opening_torn", edges.torn_px)):
        if value is not None and value.any():
            shown[name] = tuple(bool(flag) for flag in value)
    return shown


def _torn_px(curves: FoundCurves) -> FloatArray:
    """Return how far tears lead out of the straight course between their ends."""
    radius = np.asarray(() if curves.opening is None else curves.opening.radius_px)
    depth = np.zeros(360)
    for arc in runs_round(flags_of(curves, "opening_torn")):
        course = np.linspace(radius[arc[0] - 1], radius[(arc[-1] + 1) % 360], len(arc))
        depth[arc] = np.maximum(radius[arc] - course, 0.0)
    return depth


def edges_of(curves: FoundCurves) -> Edges:
    """Which edges does this record hold?

    Raises
    ------
    ValueError
        Rim or opening is missing.
    """
    if curves.rim is None or curves.opening is None:
        raise ValueError("these curves hold no rim or no opening")
    ellipse = curves.rim.ellipse_px
    direction = directions_of(curves)
    basis = rim_basis(picture_rad(direction))
    limbus = curves.limbus
    return Edges(
        centre_px=(ellipse.cx, ellipse.cy),
        direction_px=direction,
        rim_ellipse=ellipse,
        rim_px=basis[:, [0, 3, 4]] @ oval_of(ellipse),
        rim_covariance=basis @ np.asarray(curves.rim.covariance_px2) @ basis.T,
        opening_px=np.asarray(curves.opening.radius_px),
        opening_sd_px=curves.opening.sd_px,
        opening_place_sd_px=curves.opening.place_sd_px,
        rim_seen=flags_of(curves, "rim_seen"),
        opening_found=flags_of(curves, "opening_found"),
        opening_plain=flags_of(curves, "opening_plain"),
        opening_hidden_by_pupil=flags_of(curves, "opening_hidden"),
        rim_hidden=flags_of(curves, "rim_hidden"),
        pupil=curves.pupil,
        pupil_sd_px=curves.pupil_sd_px,
        px=curves.px,
        limbus=None
        if limbus is None
        else Limbus(limbus.ellipse_px, limbus.radius_px, limbus.centre_sd_px, limbus.seen_deg),
        marks=None,
        torn_px=_torn_px(curves),
        broken=flags_of(curves, "opening_broken"),
    )


def flags_of(curves: FoundCurves, name: str) -> BoolArray:
    """In which of the 360 directions does this hold? In none where the record does not say.

    Examples
    --------
    >>> int(flags_of(FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0), "rim_seen").sum())
    0
    """
    return np.asarray(curves.shown.get(name, (False,) * 360), dtype=np.bool_)


def blank_curves(raster: Raster, sheet: PictureSheet) -> FoundCurves:
    """What is known of a picture in which no curve was found: how it was held, and its grain."""
    frame = sheet.frame.stored(raster.orientation)
    axes = frame.picture_from_examiner(np.eye(2))
    return FoundCurves(
        right_px=_pair(axes[0]),
        up_px=_pair(axes[1]),
        px=1.0 / working_factor(raster.width_px, raster.height_px),
    )


def _pair(vector: FloatArray) -> tuple[float, float]:
    return float(vector[0]), float(vector[1])
