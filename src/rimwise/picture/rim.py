"""The rim of a disc seen nearly face on: a long coherent dark line on a slightly oval circle."""

from dataclasses import dataclass, replace

import numpy as np

from rimwise.geometry.medians import median
from rimwise.geometry.robust import tukey_weights
from rimwise.picture.paths import closed_path, peak_offset
from rimwise.picture.planes import Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.rim_shape import LevelBand, coherent_beyond, most_coherent
from rimwise.picture.rim_strip import LINE, LineStrip, Oval, line_strip, rim_radii
from rimwise.picture.rim_vote import CircleCandidate, rim_candidates
from rimwise.picture.strip import (
    directions_rad,
    points_at,
    radius_about,
    smooth_along,
    unroll,
)
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray

COLUMNS = 720
ALIKE_COLUMNS = 6.0  # errors of a line's place run along with it: so many carry one measurement


@dataclass(frozen=True, slots=True)
class RimSettings:
    """Settings of the rim finder, in rim radii unless named, with reasons.

    Parameters
    ----------
    ovalness_sd : float
        How oval a disc may look, as the sd of the second harmonic: 10° of view make 0.8 %.
    ovalness_limit : float
        Beyond this it is no disc seen through a pupil (17°).
    vote_share, usual_votes : float
        What the first vote adds to a rim's quality: a line that many directions share at once is
        rarely the shadow beside the pupil's margin; false candidates get some 1.2 votes.
    clear_quality : float
        A rim this good needs no rival: false ones stay below it (the scale ends at 4).
    pull : float
        How far the followed line may stray from the coherent oval before it must earn it.
    place_sd_px : float
        Where in its own width a line is found is uncertain by about a pixel, alike over long arcs.
    colour_step : float
        Log units of blue over red from inside to outside that a rim may show; capsule that
        starts there shows more, since it scatters white light and an optic's rim does not.
    scatter : float
        Scatter of a found line about its ellipse that is usual: half a pixel in 300.
    shows : float
        Noise levels over 8° with which a line shows.
    astray : float
        A fit through a short arc may run off: a rim by this share larger or smaller than the ring
        it was followed from is none.
    aside_px, aside_columns : float
        By so much the step of brightness at a rim draws its line aside, all round and either way:
        own renders with steps of 5 and 12 % on lines of 15 and 30 %, blurred by 0.8 to 2.5 px, err
        by 0.31 px root mean square. Half degrees, one sd, over which brightness is averaged to see
        whether it is more.
    double_reach, double_share : float
        How far a strip must reach to hold the outer one of two lines, and how coherent that must
        be against the inner one: of 36 practice pictures, which have single rims, up to 0.51; of
        ten own renders with doubled ones 0.64 and more.
    """

    ovalness_sd: float = 0.008
    ovalness_limit: float = 0.022
    vote_share: float = 0.5
    usual_votes: float = 1.2
    clear_quality: float = 3.4
    pull: float = 0.006
    place_sd_px: float = 1.2
    colour_step: float = 0.14
    scatter: float = 0.0018
    shows: float = 1.5
    astray: float = 0.2
    aside_px: float = 0.3
    aside_columns: float = 12.0
    double_reach: float = 0.075
    double_share: float = 0.58


SETTINGS = RimSettings()


@dataclass(frozen=True, slots=True)
class Rim:
    """A found rim in working pixels: r(θ) = radius + e₂ cos 2θ + e₃ sin 2θ about its centre.

    Parameters
    ----------
    quality : float
        Mean line strength over usable directions in noise levels (at most 4), lowered where
        the line scatters about the ellipse or looks like the start of capsule.
    unbroken : float
        Share of the usable directions in which the line shows. A rim shows wherever it lies
        inside the pupil; folds, pearls and texture that were strung together have breaks.
    waver : float
        Scatter of the line, averaged over 6°, about the ellipse, in 0.0018 radii.
    residual_px : float
        Robust scatter of the found line about the ellipse.
    covariance : array (5, 5)
        Of radius, shift along +u, shift along -v, e₂, e₃.
    usable : array (720,) of bool
        Directions in which the rim lies inside pupil and picture and off reflections.
    strength : array (720,)
        Strength of the line in noise levels.
    residuals_px : array (720,)
        Found line minus ellipse.
    """

    quality: float
    unbroken: float
    waver: float
    centre_px: tuple[float, float]
    radius_px: float
    oval_px: tuple[float, float]
    residual_px: float
    covariance: FloatArray
    usable: BoolArray
    strength: FloatArray
    residuals_px: FloatArray

    @property
    def radii_px(self) -> FloatArray:
        """Radius of the ellipse in each of the 720 directions."""
        return rim_radii(self.radius_px, self.oval_px, directions_rad(COLUMNS))

    @property
    def curve_px(self) -> FloatArray:
        """Points (720, 2) of the ellipse."""
        return points_at(self.centre_px, directions_rad(COLUMNS), self.radii_px)


def find_rims(planes: Planes, pupil: PupilMargin) -> list[Rim]:
    """Which rims does the pupil show, best first?

    Returns
    -------
    list of Rim
        Empty where no coherent line is found.

    Notes
    -----
    Own derivation: circles are voted for, each candidate is moved, scaled and made oval until the
    clipped line strength summed over all directions is greatest (no direction is trusted alone),
    then the line is followed in a narrow band and an ellipse fitted with a robust weight.
    """
    rims: list[Rim] = []
    candidates = rim_candidates(planes, pupil)
    for batch in (candidates[:2], candidates[2:]):
        for candidate in batch:
            rim = _follow(planes, pupil, _settle(planes, pupil, candidate))
            if rim is not None:
                rim = _outer_line(planes, pupil, rim)
                bonus = SETTINGS.vote_share * (candidate.votes - SETTINGS.usual_votes)
                rims.append(replace(rim, quality=rim.quality + bonus))
        rims.sort(key=lambda rim: -rim.quality)
        if rims and rims[0].quality > SETTINGS.clear_quality:
            break
    return rims


def rim_basis(theta: FloatArray) -> FloatArray:
    """Return what radius, shifts along +u and -v, e₂ and e₃ add to the radius by direction.

    Examples
    --------
    >>> rim_basis(np.array([0.0])).tolist()
    [[1.0, 1.0, 0.0, 1.0, 0.0]]
    """
    waves = [np.cos(theta), np.sin(theta), np.cos(2 * theta), np.sin(2 * theta)]
    return np.column_stack([np.ones_like(theta), *waves])


def _settle(planes: Planes, pupil: PupilMargin, candidate: CircleCandidate) -> Oval:
    """Move, scale and make a circle oval until it lies along the most coherent line."""
    radius = candidate.radius_px
    oval = Oval((candidate.u_px, candidate.v_px), radius, (0.0, 0.0), 0.0)
    columns = 240
    strip = line_strip(planes, pupil, oval, int(0.055 * radius), columns)
    band = LevelBand(
        np.clip(strip.line / strip.noise, -2.0, 4.0),
        strip.usable,
        float(strip.offset_px[0]),
        rim_basis(directions_rad(columns)),
    )
    shape, best = most_coherent(band, radius, SETTINGS.ovalness_limit)
    return replace(moved_oval(oval, shape), votes=best)


def _outer_line(planes: Planes, pupil: PupilMargin, rim: Rim) -> Rim:
    """Return the outer line of a rim that shows as two, the same rim where there is but one.

    Nothing of an optic lies outside its edge; what runs along it inside, the border of a bevel or
    the edge's other side, may be the clearer line. It vouches for the rim all the same.
    """
    radius = rim.radius_px
    oval = Oval(rim.centre_px, radius, rim.oval_px, 0.0)
    strip = line_strip(planes, pupil, oval, int(SETTINGS.double_reach * radius), 240)
    basis = rim_basis(directions_rad(240))
    for strength in (strip.line, strip.dark):
        level = np.clip(strength / strip.noise, -2.0, 4.0)
        band = LevelBand(level, strip.usable, float(strip.offset_px[0]), basis)
        shape, share = coherent_beyond(band, radius)
        if shape is None or share < SETTINGS.double_share:
            continue
        moved = moved_oval(oval, shape)
        outer = _follow(planes, pupil, moved)
        if outer is not None and outer.radius_px > radius + 0.5 * float(shape[0]):
            return replace(outer, quality=max(rim.quality, outer.quality))
        return _in_doubt(rim, moved)
    return rim


def _in_doubt(rim: Rim, outer: Oval) -> Rim:
    """Return a rim at an outer line that could not be followed, with a ± that holds both lines."""
    covariance = rim.covariance.copy()
    covariance[0, 0] += (outer.radius_px - rim.radius_px) ** 2
    return replace(
        rim,
        centre_px=outer.centre_px,
        radius_px=outer.radius_px,
        oval_px=outer.oval_px,
        covariance=covariance,
    )


def _follow(planes: Planes, pupil: PupilMargin, oval: Oval) -> Rim | None:
    """Follow the line within a narrow band and fit the ellipse through it."""
    basis = rim_basis(directions_rad(COLUMNS))
    columns = np.arange(COLUMNS)
    start_px = oval.radius_px
    wide = line_strip(planes, pupil, oval, int(0.06 * oval.radius_px), COLUMNS)
    rim: Rim | None = None
    for band in (0.012, 0.008):
        strip = line_strip(planes, pupil, oval, max(4, int(band * oval.radius_px)), COLUMNS)
        level = np.clip(strip.line / wide.noise, -2.0, 6.0) * strip.usable
        pull = 0.5 * (strip.offset_px / (SETTINGS.pull * oval.radius_px)) ** 2
        path = closed_path(pull[:, None] - level, 1, 0.5)
        found = strip.offset_px[path] + _to_line(strip.dark, path)
        usable = strip.usable[path, columns]
        strength = np.where(usable, level[path, columns], 0.0)
        if (strength > 1.0).sum() < COLUMNS // 18:
            return None
        shape, scale, covariance = fit_oval(basis, found, strength, oval)
        aside_px = _drawn_aside(strip, path, found, strength > 1.0)
        covariance[0, 0] += SETTINGS.aside_px**2 + aside_px**2
        oval = moved_oval(oval, shape)
        if abs(oval.radius_px / start_px - 1.0) > SETTINGS.astray:
            return None
        rim = Rim(
            quality=0.0,
            unbroken=0.0,
            waver=np.inf,
            centre_px=oval.centre_px,
            radius_px=oval.radius_px,
            oval_px=oval.oval_px,
            residual_px=scale,
            covariance=covariance,
            usable=usable,
            strength=strength,
            residuals_px=found - basis @ shape,
        )
    if rim is None:
        return None
    unbroken, waver = _unbroken(rim)
    return replace(rim, quality=_quality(planes, pupil, rim), unbroken=unbroken, waver=waver)


def _unbroken(rim: Rim) -> tuple[float, float]:
    """Return the share of the usable way on which the line shows, and how it wavers there."""
    usable = np.maximum(smooth_along(rim.usable[None].astype(np.float64), 8.0)[0], 0.1)
    clipped = np.where(rim.usable, np.clip(rim.strength, -2.0, 4.0), 0.0)
    shows = rim.usable & (smooth_along(clipped[None], 8.0)[0] > SETTINGS.shows * usable)
    if shows.sum() < COLUMNS // 18:
        return 0.0, np.inf
    weight = np.clip(clipped, 0.0, None)
    course = smooth_along((weight * rim.residuals_px)[None], 6.0)[0]
    course /= smooth_along(weight[None], 6.0)[0] + 1e-6
    scatter = 1.4826 * median(np.abs(course[shows]))
    return float(shows.sum() / rim.usable.sum()), scatter / (SETTINGS.scatter * rim.radius_px)


def _to_line(dark: FloatArray, path: IntArray) -> FloatArray:
    """Return the way from the path to the middle of the dark line beside it, in rows.

    The path follows line and fall of brightness together, which draws it inwards by a pixel; the
    rim itself is where the line is darkest.
    """
    columns = np.arange(dark.shape[1])
    near = np.clip(path[None, :] + np.arange(-2, 4)[:, None], 0, dark.shape[0] - 1)
    darkest = near[dark[near, columns].argmax(axis=0), columns]
    return np.asarray(darkest - path + peak_offset(dark, darkest))


def _drawn_aside(strip: LineStrip, path: IntArray, found: FloatArray, shows: BoolArray) -> float:
    """Return how far the step of brightness at the rim may have drawn its line aside, all round.

    Own derivation: a line of area A and width σ on a step H of the same blur is darkest H σ² / A
    aside, and bends most a third of that aside (zeros of the first and third derivative of
    -A g + H Φ). The line is taken where it bends most, so it errs by half of what lies between. A
    glow beside the line, or a second line, acts like a step and is none: so the half is not taken
    off, it is the sd.
    """
    columns = np.arange(len(path))
    log = smooth_along(strip.log, SETTINGS.aside_columns)
    near = np.clip(path[None, :] + np.arange(-4, 5)[:, None], 0, log.shape[0] - 1)
    darkest = near[log[near, columns].argmin(axis=0), columns]
    place = strip.offset_px[darkest] + peak_offset(-log, darkest)
    return 0.5 * median((place - found)[shows])


def moved_oval(oval: Oval, shape: FloatArray) -> Oval:
    """Which oval is it after radius, shifts along +u and -v, e₂ and e₃ have changed by so much?

    Examples
    --------
    >>> moved_oval(Oval((10.0, 10.0), 5.0, (0.0, 0.0), 0.0), np.array([1.0, 2.0, 3.0, 0.0, 0.0]))
    Oval(centre_px=(12.0, 7.0), radius_px=6.0, oval_px=(0.0, 0.0), votes=0.0)
    """
    return Oval(
        (oval.centre_px[0] + float(shape[1]), oval.centre_px[1] - float(shape[2])),
        oval.radius_px + float(shape[0]),
        (oval.oval_px[0] + float(shape[3]), oval.oval_px[1] + float(shape[4])),
        oval.votes,
    )


def fit_oval(
    basis: FloatArray, found: FloatArray, strength: FloatArray, oval: Oval
) -> tuple[FloatArray, float, FloatArray]:
    """Fit the oval's correction; a short arc leaves its ovalness at the prior."""
    base = np.clip(strength - 0.5, 0.0, 3.0) / 3.0
    weights = base.copy()
    prior = np.zeros((5, 5))
    round_ = np.r_[np.zeros(3), -np.asarray(oval.oval_px)]
    shape, scale = np.zeros(5), 1.0
    for _ in range(10):
        doubt = max(scale, SETTINGS.place_sd_px) / (SETTINGS.ovalness_sd * oval.radius_px)
        prior[3, 3] = prior[4, 4] = ALIKE_COLUMNS * doubt**2
        weighted = basis * weights[:, None]
        normal = weighted.T @ basis + prior + 1e-9 * np.eye(5)
        shape = np.linalg.solve(normal, weighted.T @ found + prior @ round_)
        residual = found - basis @ shape
        scale = 1.4826 * median(np.abs(residual[base > 0])) + 0.1
        weights = base * tukey_weights(residual, scale)
    covariance = np.linalg.inv(normal) * scale**2 * ALIKE_COLUMNS
    return shape, scale, np.asarray(covariance)


def _quality(planes: Planes, pupil: PupilMargin, rim: Rim) -> float:
    """Rate a rim: line strength, scatter about the ellipse, and colour step."""
    oval = Oval(rim.centre_px, rim.radius_px, rim.oval_px, 0.0)
    strip = line_strip(planes, pupil, oval, int(0.09 * rim.radius_px), 360)
    level = np.clip(strip.line / strip.noise, -2.0, 4.0)
    middle = int(np.argmin(np.abs(strip.offset_px)))
    usable = strip.usable[middle]
    mean = float((level[middle - 1 : middle + 2].mean(axis=0) * usable).sum())
    mean /= float(usable.sum()) + 0.08 * len(usable)
    steadiness = min(1.0, 1.0 / (rim.residual_px / (SETTINGS.scatter * rim.radius_px) + 0.3))
    colour = min(0.3, _colour_step(planes, pupil, rim)) - SETTINGS.colour_step
    return mean * steadiness - 6.0 * max(0.0, colour)


def _colour_step(planes: Planes, pupil: PupilMargin, rim: Rim) -> float:
    """By how much does blue over red rise from inside to outside the rim, median, log units?"""
    theta = directions_rad(360)
    width = max(2, round(LINE * rim.radius_px))
    radii = rim_radii(rim.radius_px, rim.oval_px, theta) + np.arange(-4 * width, 4 * width)[:, None]
    colours = unroll(planes.log_rgb, rim.centre_px, radii)
    margin = radius_about(pupil.curve_px, rim.centre_px, theta)
    clear = radii[-1] < margin - 2.5 * width
    if clear.sum() < 36:
        return 0.0
    ratio = colours[..., 2] - colours[..., 0]
    return median((ratio[-3 * width :].mean(0) - ratio[: 3 * width].mean(0))[clear])
