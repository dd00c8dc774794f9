"""The three curves of a photograph, by the examiner's degree about the rim's centre."""

from dataclasses import dataclass, replace

import numpy as np

from rimwise.geometry.ellipse import fit_ellipse
from rimwise.measure.which_rim import rim_and_limbus
from rimwise.picture.alone import (
    alone_at_rim,
    carried_on,
    ends_along_rim,
    in_pieces,
    without_veiled,
)
from rimwise.picture.edge_shows import edge_shows
from rimwise.picture.haptics import Haptics, find_haptics
from rimwise.picture.iris_colour import clear_of_iris
from rimwise.picture.limbus import Limbus
from rimwise.picture.marks import LEAST_MARKS, Marks, find_marks
from rimwise.picture.one_circle import on_one_circle
from rimwise.picture.planes import WORKING_LONG_SIDE_PX, Planes, planes_of, with_colour_of
from rimwise.picture.pupil import PupilMargin, find_pupil
from rimwise.picture.raster import Raster
from rimwise.picture.rim import COLUMNS, Rim, rim_basis
from rimwise.picture.rim_doubt import covariance_where
from rimwise.picture.rim_flank import rim_foot_px, settled_by_flank
from rimwise.picture.rim_shows import rim_shows
from rimwise.picture.rims_own import SETTINGS as OWN
from rimwise.picture.seam import Seam, find_seams
from rimwise.picture.strip import directions_rad, radius_about
from rimwise.picture.tear import Tears, breaks_in_sight, followed_into_tears
from rimwise.picture.which_edge import Choice, Rival, which_edge
from rimwise.records.cover import EllipsePx
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import LookNearer, MeasurementRefused
from rimwise.terms.frames import PictureFrame


@dataclass(frozen=True, slots=True)
class EdgeSettings:
    """When an edge is trusted, with reasons.

    Parameters
    ----------
    rise, strength : float
        Least rise of whiteness, and least rise and line together, in noise levels, along the
        seam; a line without a rise is no capsule.
    rim_zone, rise_at_rim : float
        Within this share of the rim's radius from the rim its own lines resemble an edge, and as
        far as its dark line reaches in a blurred picture; there the rise must be this strong.
    columns : int
        Half degrees over which they are averaged; the strength must hold 5° to both sides too, so
        that a path which only connects two ends of the edge is not taken for it.
    """

    rise: float = 1.2
    strength: float = 2.5
    rim_zone: float = 0.022
    rise_at_rim: float = 4.0
    columns: int = 13


SETTINGS = EdgeSettings()
_FLATTEST = 0.85  # seen from 30 degrees aside; a flatter ring is no pupil's whole margin
_LEAST_RIM_PX = 230.0  # at working size: lines of a smaller eye are finer than the finders expect


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges in stored pixels; arrays run over the examiner's degrees 0 to 359.

    Parameters
    ----------
    centre_px : (float, float)
        Centre of the rim's ellipse.
    direction_px : array (360, 2)
        Unit vectors (right, down) of the directions.
    rim_px, rim_sd_px : array (360,)
        Radius of the optic's rim and its sd.
    opening_px : array (360,)
        Radius of the opening's edge, also where it is not in sight.
    opening_sd_px : float
        Scatter of the found edge about its own smooth course.
    opening_place_sd_px : float or None
        How uncertain the edge's place in its own profile is, alike all round; None: as usual.
    rim_seen : array (360,) of bool
        Directions in which the rim shows.
    opening_found : array (360,) of bool
        Directions in which the opening's edge stands out of the noise.
    opening_plain : array (360,) of bool
        Where, besides, a reader can verify it with his own eyes in the picture.
    pupil_px : EllipsePx or None
    pupil_sd_px : float
    px : float
        Stored pixels in one pixel of the size that edges were found at.
    limbus : Limbus or None
    marks : Marks or None
        The toric marks, stored pixels.
    before_optic : bool or None
        Whether what begins at the opening's edge lies before the optic; None: not to be told.
    haptics : Haptics or None
        Where both arms leave the rim, an angle of the stored picture.
    rival : Rival or None
        Another edge that stands out all the same and was not taken.
    colour : bool
        Whether the picture has any: without it nothing but a fine line told of the edge.
    torn_px : array (360,), optional
        How far a tear leads out of the edge's course; 0 elsewhere.
    broken : array (360,) of bool, optional
        Where the edge breaks off though nothing hides it.
    """

    centre_px: tuple[float, float]
    direction_px: FloatArray
    rim_ellipse: EllipsePx
    rim_px: FloatArray
    rim_covariance: FloatArray
    opening_px: FloatArray
    opening_sd_px: float
    rim_seen: BoolArray
    opening_found: BoolArray
    opening_plain: BoolArray
    opening_hidden_by_pupil: BoolArray
    rim_hidden: BoolArray
    pupil: EllipsePx | None
    pupil_sd_px: float
    px: float
    limbus: Limbus | None
    marks: Marks | None
    before_optic: bool | None = None
    haptics: Haptics | None = None
    rival: Rival | None = None
    opening_place_sd_px: float | None = None
    torn_px: FloatArray | None = None
    broken: BoolArray | None = None
    colour: bool = True

    @property
    def both_seen(self) -> BoolArray:
        """Directions in which cover can be told."""
        return np.asarray(self.rim_seen & self.opening_plain)

    def points_px(self, radii_px: FloatArray) -> FloatArray:
        """Points (360, 2) at these radii."""
        return np.asarray(self.centre_px) + radii_px[:, None] * self.direction_px


def find_edges(raster: Raster, sheet: PictureSheet) -> Edges:
    """Where are the optic's rim, the opening's edge, the pupil and the limbus?

    Parameters
    ----------
    raster : Raster
        The picture as stored.
    sheet : PictureSheet
        How the picture is held, and what is known of optic and eye.

    Raises
    ------
    MeasurementRefused
        No pupil, or no rim of an optic in sight.
    """
    planes = planes_of(raster)
    pupil = find_pupil(planes)
    if pupil is None:
        raise MeasurementRefused(
            "no-pupil",
            "No dilated pupil stands out in this picture; a sharp photograph with the fundus glow "
            "in a dilated pupil is needed.",
        )
    planes = with_colour_of(planes, pupil.curve_px)
    margin = _pupil_ellipse(planes, pupil)
    which = rim_and_limbus(raster, planes, (pupil, margin), sheet)
    rim = which.rim
    if rim is None:
        raise _no_rim(planes, pupil, which.contradicted)
    _check_size_of_eye(planes, rim)
    rim = settled_by_flank(planes, rim)
    zone = np.maximum(SETTINGS.rim_zone, rim_foot_px(planes, rim) / rim.radius_px)
    choice = which_edge(
        planes,
        pupil,
        rim,
        find_seams(planes, pupil, rim),
        lambda seam: _found(pupil, rim, seam, planes.is_grey, zone),
    )
    torn = _with_tears(planes, pupil, rim, choice)
    edges = _in_examiner_degrees(
        planes, rim, choice, sheet.frame.stored(raster.orientation), zone, torn
    )
    per_end = sheet.toric_marks_per_end
    marks = find_marks(planes, pupil, rim, per_end) if per_end >= LEAST_MARKS else None
    return replace(
        edges,
        pupil=None if margin is None or margin.b < _FLATTEST * margin.a else margin,
        pupil_sd_px=planes.stored_length(pupil.residual_px / np.sqrt(60.0)),
        limbus=which.limbus,
        marks=None if marks is None else _stored(planes, marks),
        haptics=find_haptics(planes, pupil, rim),
        colour=not planes.is_grey,
    )


def _with_tears(planes: Planes, pupil: PupilMargin, rim: Rim, choice: Choice) -> Tears:
    margin_px = radius_about(pupil.curve_px, rim.centre_px, directions_rad(COLUMNS))
    tears = followed_into_tears(choice.edge.seam, choice.edge.found, rim, margin_px)
    return breaks_in_sight(planes, rim, tears)


def _no_rim(planes: Planes, pupil: PupilMargin, contradicted: bool) -> LookNearer:
    """Return why there is no rim; in a small pupil its line may be too fine to be found."""
    code, sentence = (
        "no-optic-edge",
        "The rim of the implant's optic was not found, and without it there is no scale; a "
        "wider pupil, sharper focus on the optic's rim or light from behind will show it.",
    )
    if contradicted:
        sentence += (
            " A ring was found that is too small for it against the limbus: the iris hides the "
            "rim, or the sheet's optic_diameter_mm or white_to_white_mm is wrong."
        )
    middle = pupil.curve_px.mean(axis=0)
    radius_px = float(np.hypot(*(pupil.curve_px - middle).T).mean())
    centre_px = _pair(planes.stored(middle))
    return LookNearer(code, sentence, centre_px, planes.stored_length(radius_px))


def _check_size_of_eye(planes: Planes, rim: Rim) -> None:
    """Refuse an eye whose lines are finer than the finders expect: it does not fill the picture."""
    if rim.radius_px < _LEAST_RIM_PX:
        share, least = (2.0 * px / WORKING_LONG_SIDE_PX for px in (rim.radius_px, _LEAST_RIM_PX))
        raise LookNearer(
            "eye-too-small",
            f"The optic takes up {share:.0%} of the picture's longer side, and {least:.0%} are "
            "needed, or 300 pixels of it in a larger picture; take one from nearer by.",
            _pair(planes.stored(np.asarray(rim.centre_px))),
            planes.stored_length(rim.radius_px),
        )


def _stored(planes: Planes, marks: Marks) -> Marks:
    first, second = planes.stored(marks.first_px), planes.stored(marks.second_px)
    return replace(marks, first_px=first, second_px=second)


def _in_examiner_degrees(
    planes: Planes,
    rim: Rim,
    choice: Choice,
    frame: PictureFrame,
    zone: FloatArray,
    torn: Tears,
) -> Edges:
    seam = torn.seam
    found, plain, shows = _trusted(planes, rim, choice, zone, torn)
    degrees = np.arange(360.0)
    radians = np.radians(degrees)
    direction = frame.picture_from_examiner(np.stack([np.cos(radians), np.sin(radians)], axis=-1))
    column = np.degrees(np.arctan2(-direction[:, 1], direction[:, 0])) % 360.0 * COLUMNS / 360.0
    basis = rim_basis(column * 2.0 * np.pi / COLUMNS)
    return Edges(
        centre_px=_pair(planes.stored(np.asarray(rim.centre_px))),
        direction_px=direction,
        rim_ellipse=_ellipse(planes, rim),
        rim_px=planes.stored_length(1.0) * _at(rim.radii_px, column),
        rim_covariance=planes.stored_length(1.0) ** 2
        * (basis @ covariance_where(rim, shows) @ basis.T),
        opening_px=planes.stored_length(1.0) * _at(seam.radii_px, column),
        opening_sd_px=planes.stored_length(_roughness(seam.radii_px, found)),
        rim_seen=_both(shows, column),
        opening_found=_both(found, column),
        opening_plain=_both(plain, column),
        opening_hidden_by_pupil=~_both(seam.usable, column),
        rim_hidden=~_both(rim.usable, column),
        pupil=None,
        pupil_sd_px=0.0,
        px=planes.stored_length(1.0),
        limbus=None,
        marks=None,
        before_optic=choice.before,
        rival=choice.rival,
        opening_place_sd_px=planes.stored_length(seam.place_sd_px),
        torn_px=planes.stored_length(1.0) * _at(torn.depth_px, column),
        broken=_both(torn.broken, column),
    )


def _trusted(
    planes: Planes, rim: Rim, choice: Choice, zone: FloatArray, torn: Tears
) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Return where the edge is found, where it is plain, and where the rim shows, by column."""
    seam, found = torn.seam, torn.found
    seam_line, carries = edge_shows(planes, rim, seam)
    found = found | carried_on(found, carries, seam, rim, zone)
    off = (seam.radii_px - rim.radii_px) / rim.radius_px
    own = None if choice.before is None else np.maximum(zone, OWN.rim_reach)
    seam_line &= ~ends_along_rim(found, off, own)
    plain = in_pieces(found & seam_line) & torn.clear
    shows = rim_shows(planes, rim, np.where(found, seam.radii_px, np.inf))
    found = without_veiled(found, plain | shows)
    return found, plain, shows


def _found(pupil: PupilMargin, rim: Rim, seam: Seam, grey: bool, zone: FloatArray) -> BoolArray:
    """In which directions does a seam stand out, and as more than the iris or the rim?"""
    margin = radius_about(pupil.curve_px, rim.centre_px, directions_rad(COLUMNS))
    found = _stands_out(seam, rim, zone)
    found &= clear_of_iris(
        seam.radii_px / rim.radius_px, rim.radii_px / rim.radius_px, margin / rim.radius_px
    )
    if grey:
        found = on_one_circle(found, seam.radii_px, rim.radius_px)
    return np.asarray(found & ~alone_at_rim(found, seam, rim, zone))


def _stands_out(seam: Seam, rim: Rim, zone: FloatArray) -> BoolArray:
    share = np.maximum(_running_mean(seam.usable.astype(np.float64), SETTINGS.columns), 0.05)
    rise = _running_mean(np.where(seam.usable, seam.rise, 0.0), SETTINGS.columns) / share
    strength = _running_mean(np.where(seam.usable, seam.strength, 0.0), SETTINGS.columns) / share
    # Where a reflex or the iris interrupts the edge, there is nothing to be steady about.
    strength = np.where(seam.usable, strength, np.inf)
    steady = np.minimum.reduce([np.roll(strength, turn) for turn in (-10, 0, 10)])
    at_rim = np.abs(seam.radii_px - rim.radii_px) < zone * rim.radius_px
    enough = rise > np.where(at_rim, SETTINGS.rise_at_rim, SETTINGS.rise)
    return np.asarray(seam.usable & enough & (steady > SETTINGS.strength), dtype=np.bool_)


def _pair(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _at(values: FloatArray, column: FloatArray) -> FloatArray:
    return np.asarray(np.interp(column, np.arange(COLUMNS), values, period=COLUMNS))


def _both(flags: BoolArray, column: FloatArray) -> BoolArray:
    low = np.floor(column).astype(np.int64)
    return np.asarray(flags[low % COLUMNS] & flags[(low + 1) % COLUMNS])


def _running_mean(values: FloatArray, count: int) -> FloatArray:
    pad = count // 2
    closed = np.r_[values[-pad:], values, values[:pad]]
    return np.convolve(closed, np.full(count, 1.0 / count), mode="valid")


def _roughness(radii: FloatArray, seen: BoolArray) -> float:
    """Scatter of the edge about its running mean over 6°, where it is in sight."""
    rough = (radii - _running_mean(radii, 13))[seen]
    if rough.size < 30:
        return 2.0
    return max(0.3, 1.4826 * float(np.median(np.abs(rough))))


def _ellipse(planes: Planes, rim: Rim) -> EllipsePx:
    """Turn r(θ) = R + e₂ cos 2θ + e₃ sin 2θ into semi-axes; exact to (e/R)², 0.02 px."""
    oval = float(np.hypot(*rim.oval_px))
    # θ runs counter-clockwise in the picture, an ellipse's angle clockwise (from +u to +v).
    angle = -0.5 * float(np.degrees(np.arctan2(rim.oval_px[1], rim.oval_px[0])))
    centre = planes.stored(np.asarray(rim.centre_px))
    return EllipsePx(
        float(centre[0]),
        float(centre[1]),
        planes.stored_length(rim.radius_px + oval),
        planes.stored_length(rim.radius_px - oval),
        angle,
    )


def _pupil_ellipse(planes: Planes, pupil: PupilMargin) -> EllipsePx | None:
    points = planes.stored(pupil.curve_px[pupil.seen])
    if len(points) < 90:
        return None
    oval = fit_ellipse(points).ellipse
    return EllipsePx(oval.cx, oval.cy, oval.a, oval.b, float(np.degrees(oval.angle_rad)))
