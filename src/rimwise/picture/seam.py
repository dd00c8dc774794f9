"""The edge of a thin whitish sheet: a rise of blue over red outwards, with a fine dark line."""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import median_filter

from rimwise.geometry.medians import median, median_deviation
from rimwise.picture.contrast import drawn_aside
from rimwise.picture.iris_colour import iris_colour_px
from rimwise.picture.paths import closed_path, flanks, peak_offset
from rimwise.picture.planes import Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.rims_own import SETTINGS as OWN
from rimwise.picture.rims_own import echo, second_line, slow_part
from rimwise.picture.strip import (
    directions_rad,
    inside_frame,
    radial_means,
    radius_about,
    smooth_along,
    unroll,
    unrolled,
)
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class SeamSettings:
    """Settings of the seam finder, lengths in rim radii, with reasons.

    Parameters
    ----------
    reach_in, reach_out : float
        Where the seam is looked for: an opening of half to five quarters of the optic.
    line : float
        Width of the fine line along the seam.
    sheet : float
        How far the whitish sheet must go on outwards.
    fine : float
        Over which the steepest rise is sought at last: as short as JPEG leaves colour.
    course_columns, jump_px : int, float
        A direction that departs further than this from the median of its neighbours is a speck.
    line_share : float
        Weight of the line against the rise of whiteness: the line is sharper, the rise surer.
    backing : float
        Rise in noise levels at which a line counts in full.
    iris_blur : float
        As far inside the margin blur usually carries the iris's colour.
    clear_of_margin : float
        Rows this near to the pupil's margin belong to the iris's shadow. Where the picture tells
        that the iris's colour comes farther, its own reach stands for both.
    adds : float
        A sheet that scatters adds light: most of the rise of blue over red is blue that rises. A
        shadow takes light away, and what black level and flare leave makes it look bluer all the
        same; beside the iris red falls. From this share of the rise on blue's part counts in full,
        below its negative not at all.
    line_shows, off_rim : tuple of float
        From so many noise levels, and so far from the rim, the fine line's own place counts;
        from the second in full.
    shows_columns : float
        Half degrees over which that is judged: the edge found must not flicker between the two.
    place_sd_px, colour_alone : float
        How uncertain the place of a sharp line in its own profile is; how far apart line and rise
        are taken to be where no line shows.
    line_weight : float
        Its weight in full: where a blurred line errs inwards, the rise of whiteness errs outwards.
    apart : float
        A second seam keeps so far from the first: nearer, both would be one edge's two sides.
    grey_clear, grey_rim : float
        Without colour an edge nearer to the rim than the first is not looked for, and up to the
        second what keeps to the rim all round is taken out.
    """

    reach_in: float = 0.55
    reach_out: float = 0.30
    line: float = 0.010
    sheet: float = 0.022
    fine: float = 0.008
    course_columns: int = 25
    jump_px: float = 1.5
    line_share: float = 0.6
    backing: float = 1.5
    iris_blur: float = 0.012
    clear_of_margin: float = 0.020
    adds: float = 0.25
    line_shows: tuple[float, float] = (2.0, 4.0)
    off_rim: tuple[float, float] = (0.02, 0.04)
    shows_columns: float = 12.0
    line_weight: float = 0.75
    place_sd_px: float = 0.3
    colour_alone: float = 2.0
    apart: float = 0.04
    grey_clear: float = 0.05
    grey_rim: float = 0.10


SETTINGS = SeamSettings()
_MOST = 6.0  # noise levels of rise up to which each counts in full
_BEYOND = 0.2  # breaks ties within one edge's blur, and is too little to draw the path to another
_QUIET = 0.01  # log units: a rise of 1 % is no more than a fold's or texture's, in any picture
_NO_RISE = 1.2  # noise levels; what rises by less is no seam's flank
_NEAR_PX = 16  # rows to both sides in which the noise of the fine line is judged


@dataclass(frozen=True, slots=True)
class SeamLevels:
    """What the strip around the rim tells of seams, in noise levels.

    Parameters
    ----------
    told : array (rows, 720)
        Rise and line together; 0 where nothing can be seen.
    rise : array (rows, 720)
        Rise of whiteness alone.
    usable : array (rows, 720) of bool
    offset_px : array (rows,)
        Way outwards from the rim.
    """

    told: FloatArray
    rise: FloatArray
    usable: BoolArray
    offset_px: FloatArray


@dataclass(frozen=True, slots=True)
class Seam:
    """A found seam in working pixels, 720 directions about the rim's centre.

    Parameters
    ----------
    radii_px : array (720,)
        Radius of the seam.
    strength : array (720,)
        Strength of rise and line together, in noise levels; 0 where nothing can be seen.
    rise : array (720,)
        Rise of whiteness alone, in noise levels.
    usable : array (720,) of bool
        Directions in which the path runs through visible tissue.
    place_sd_px : float
        How uncertain the seam's place in its own profile is, alike all round.
    steepest_px : array (720,)
        Where whiteness rises fastest: beside the edge by as much as JPEG blurs colour, and steady
        where noise sends the fine line's darkest place from column to column.
    levels : SeamLevels or None
        The strip that it was traced in.
    """

    radii_px: FloatArray
    strength: FloatArray
    rise: FloatArray
    usable: BoolArray
    place_sd_px: float
    steepest_px: FloatArray
    levels: SeamLevels | None = None


@dataclass(frozen=True, slots=True)
class _Strips:
    offset_px: FloatArray
    rise: FloatArray
    line: FloatArray
    lit: FloatArray
    usable: BoolArray


def find_seams(planes: Planes, pupil: PupilMargin, rim: Rim) -> tuple[Seam, Seam]:
    """Where does the whitish sheet begin, all the way round, and where else might one?

    Returns
    -------
    best, runner_up : Seam
        The runner-up is the best path that keeps apart from the first, whatever it is worth.

    Notes
    -----
    Own derivation: capsule scatters white light, so blue over red rises where it begins, whatever
    the lighting; the sheet's edge also shows as a fine line. Both are measured in the strip around
    the rim, in noise levels, clipped, and the closed path of greatest sum is taken.
    """
    strips = _strips(planes, pupil, rim)
    rise = np.clip(_levels(strips.rise, strips.usable) * strips.lit, -3.0, _MOST)
    line = np.clip(_levels(strips.line, strips.usable), -2.0, 4.0)
    told = _with_line(rise, line) * strips.usable
    risen = _levels(strips.rise, strips.usable, _QUIET) * strips.lit
    level = _with_line(np.clip(risen, -3.0, _MOST), line) * strips.usable
    level += _beyond(risen, strips, rim) * strips.usable
    rows, columns = np.arange(len(level)), np.arange(COLUMNS)
    levels = SeamLevels(told, rise, strips.usable, strips.offset_px)
    seams = []
    free = level
    for _ in range(2):
        path = closed_path(-free, 1, 0.15)
        coarse = rim.radii_px + strips.offset_px[path]
        fine, steepest, place_sd_px = _to_edge(planes, rim, coarse)
        seams.append(
            Seam(
                radii_px=coarse + fine,
                strength=told[path, columns],
                rise=rise[path, columns],
                usable=strips.usable[path, columns],
                place_sd_px=place_sd_px,
                steepest_px=coarse + steepest,
                levels=levels,
            )
        )
        taken = np.abs(rows[:, None] - path[None]) < SETTINGS.apart * rim.radius_px
        free = np.where(taken | flanks(told, path, _NO_RISE), float(level.min()), level)
    return seams[0], seams[1]


def _with_line(rise: FloatArray, line: FloatArray) -> FloatArray:
    """Return rise and line together: a line without a rise is a fold, a haptic or the rim."""
    return rise + SETTINGS.line_share * line * np.clip(rise / SETTINGS.backing, 0.0, 1.0)


def _beyond(risen: FloatArray, strips: _Strips, rim: Rim) -> FloatArray:
    """Return what a rise beyond the most that counts in full adds, by its logarithm.

    Were nothing added, the path would be free to run anywhere within an edge's blur. At the rim
    what is left of its own lines, and the roots of haptics, pass that most too: nothing is added.
    """
    off_rim = np.abs(strips.offset_px) > OWN.rim_reach * rim.radius_px
    return np.asarray(_BEYOND * np.log(np.maximum(risen / _MOST, 1.0)) * off_rim[:, None])


def _to_edge(planes: Planes, rim: Rim, radii: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Return the way from the path to the edge, to the steepest rise, and the edge's common sd.

    A camera's JPEG keeps brightness sharp and blurs colour over eight pixels and more: where the
    fine line stands out, its darkest place is the edge, else where whiteness rises fastest. Beside
    the rim its own line is dark too, and only whiteness counts. Either place may be the nearer one
    and the edge beyond it, the less likely the farther: spread as a triangle over twice their
    distance, its sd is that over √6, and never below that of a sharp line.
    """
    offset = np.arange(-_NEAR_PX, _NEAR_PX + 1)
    at = radii[None, :] + offset[:, None]
    log = unroll(planes.log_rgb, rim.centre_px, at[_NEAR_PX - 9 : _NEAR_PX + 10])
    whiteness = smooth_along(log[..., 2] - log[..., 0], 4.0)
    reach = max(2, round(SETTINGS.fine * rim.radius_px))
    steep = _step(whiteness, reach)
    by_colour = _peak(steep, 9)[0]
    dark, _ = _line_and_fall(smooth_along(unroll(planes.log_grey, rim.centre_px, at), 4.0), 1, 1)
    by_line, depth = _peak(dark, _NEAR_PX)
    by_line += drawn_aside(planes, rim.centre_px, radii + by_line, SETTINGS.shows_columns)
    if planes.is_grey:
        return by_line, by_line, SETTINGS.place_sd_px
    noise = 1.4826 * median_deviation(dark) + 1e-6
    off_rim = np.abs(radii - rim.radii_px) / rim.radius_px
    shows = smooth_along(depth[None] / noise, SETTINGS.shows_columns)[0]
    share = _ramp(shows, SETTINGS.line_shows) * _ramp(off_rim, SETTINGS.off_rim)
    share *= SETTINGS.line_weight
    shown = share > 0.5 * SETTINGS.line_weight
    between = SETTINGS.colour_alone
    if shown.any():
        between = median(np.abs(by_line - by_colour)[shown])
    place_sd = float(np.hypot(SETTINGS.place_sd_px, between / np.sqrt(6.0)))
    return np.asarray(share * by_line + (1.0 - share) * by_colour), by_colour, place_sd


def _peak(values: FloatArray, middle: int) -> tuple[FloatArray, FloatArray]:
    """Return where, from the middle row, each column is greatest within four rows, and that.

    A speck or a crossing fold draws single directions away; the edge itself does not jump.
    """
    row = values[middle - 4 : middle + 5].argmax(axis=0) + middle - 4
    fine = row - middle + peak_offset(values, row)
    course = median_filter(fine, size=SETTINGS.course_columns, mode="wrap")
    place = np.where(np.abs(fine - course) > SETTINGS.jump_px, course, fine)
    return np.asarray(place), np.asarray(values[row, np.arange(values.shape[1])])


def _ramp(values: FloatArray, ends: tuple[float, float]) -> FloatArray:
    return np.asarray(np.clip((values - ends[0]) / (ends[1] - ends[0]), 0.0, 1.0))


def _levels(values: FloatArray, usable: BoolArray, least: float = 1e-6) -> FloatArray:
    chosen = values[usable]
    if chosen.size == 0:
        return np.zeros_like(values)
    noise = 1.4826 * median_deviation(chosen)
    return values / max(noise, least)


def _strips(planes: Planes, pupil: PupilMargin, rim: Rim) -> _Strips:
    radius = rim.radius_px
    offset = np.arange(-int(SETTINGS.reach_in * radius), int(SETTINGS.reach_out * radius) + 1)
    radii = rim.radii_px[None, :] + offset[:, None]
    theta = directions_rad(COLUMNS)
    margin = radius_about(pupil.curve_px, rim.centre_px, theta)
    log, glare = unrolled((planes.log_rgb, planes.glare), rim.centre_px, radii)
    colours = [plane.astype(np.float64) for plane in cv2.split(log)]
    clear = margin[None, :] - radii
    sheet = max(2, round(SETTINGS.sheet * radius))
    noise = _noise(colours[2] - colours[0], sheet, clear)
    coloured, shaded = _iris_within(planes, pupil, rim, noise)
    tissue = clear > coloured
    # Beyond the margin the last tissue is repeated, so that no false step arises there.
    last = np.maximum(tissue.sum(axis=0) - 1, 0), np.arange(COLUMNS)
    red, green, blue = (np.where(tissue, plane, plane[last]) for plane in colours)
    inside = inside_frame(planes.log_rgb.shape[:2], rim.centre_px, radii) > 0
    usable = (clear > shaded) & (glare < 0.05) & inside
    brightness = smooth_along((red + green + blue) / 3.0, 2.0)
    line, fall = _line_and_fall(brightness, max(1, round(0.5 * SETTINGS.line * radius)), sheet)
    if planes.is_grey:
        return _without_colour(offset / radius, line, usable, offset.astype(np.float64))
    rise = _step(smooth_along(blue - red, 3.0), sheet)
    near_rim = np.abs(offset) <= OWN.rim_reach * radius
    lit = _adds_light(blue, rise, sheet)
    rise[near_rim] -= echo(rise[near_rim], (fall[near_rim], line[near_rim]), usable[near_rim])
    doubled = second_line(line, usable, np.abs(offset) / radius)
    for strip in (rise, line):
        strip[near_rim] -= slow_part(strip[near_rim], usable[near_rim])
        if doubled.any():
            strip[doubled] -= slow_part(strip[doubled], usable[doubled])
    lit[near_rim | doubled] = 1.0  # there the rim's own dark line takes light away
    return _Strips(offset.astype(np.float64), rise, line, lit, usable)


def _without_colour(
    away: FloatArray, line: FloatArray, usable: BoolArray, offset: FloatArray
) -> _Strips:
    """Return strips of a picture in which nothing but its fine line tells of an edge.

    The rim is a line as well, with a glow on its inner side, and so is the iris's shadow outside of
    it: an edge is looked for clear of both, and what keeps to the rim all round is the rim's.
    """
    near_rim = (away > -SETTINGS.grey_rim) & (away < 0.0)
    line = line.copy()
    line[near_rim] -= slow_part(line[near_rim], usable[near_rim])
    inside = away < -SETTINGS.grey_clear
    return _Strips(offset, line, line, np.ones_like(line), usable & inside[:, None])


def _iris_within(planes: Planes, pupil: PupilMargin, rim: Rim, noise: float) -> tuple[float, float]:
    """Return how far inside the margin the iris colours the tissue, and hides a seam, pixels."""
    sheet = max(2, round(SETTINGS.sheet * rim.radius_px))
    told = iris_colour_px(planes, pupil.curve_px, rim.centre_px, sheet, noise)
    usual = SETTINGS.clear_of_margin * rim.radius_px
    return (told, told) if told > usual else (SETTINGS.iris_blur * rim.radius_px, usual)


def _noise(whiteness: FloatArray, sheet: int, clear: FloatArray) -> float:
    """Return the noise of the rise of whiteness, well inside the margin."""
    inside = (clear > 3 * sheet)[:, ::4]
    if not inside.any():
        return 0.0
    rise = _step(smooth_along(whiteness, 3.0)[:, ::4], sheet)[inside]
    return 1.4826 * median_deviation(rise)


def _adds_light(blue: FloatArray, rise: FloatArray, sheet: int) -> FloatArray:
    """Return how far a rise of blue over red is light added (1), not light taken away (0)."""
    step = smooth_along(_step(blue, sheet), 3.0)
    return np.clip(0.5 + 0.5 * step / (SETTINGS.adds * np.maximum(rise, 1e-6)), 0.0, 1.0)


def _step(strip: FloatArray, reach: int) -> FloatArray:
    """Return by how much each sample's outer side is above its inner one."""
    outside, inside = radial_means(strip, (1, reach), (-reach, -1))
    outside -= inside
    return outside


def _line_and_fall(brightness: FloatArray, half: int, reach: int) -> tuple[FloatArray, FloatArray]:
    """Return how dark a line each sample lies on, and the step of brightness across it."""
    inner, outer, middle, inside, outside = radial_means(
        brightness,
        (-3 * half, -2 * half),
        (2 * half, 3 * half),
        (-half, half),
        (-reach, -1),
        (1, reach),
    )
    return np.asarray(0.5 * (inner + outer) - middle), np.asarray(outside - inside)
