"""Which lies in front, the whitish sheet or the disc? The disc's rim seen in two colours tells."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.special import stdtrit

from rimwise.geometry.medians import median
from rimwise.geometry.robust import tukey_weights
from rimwise.picture.planes import Float32Array, Planes
from rimwise.picture.pupil import PupilMargin
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.seam import Seam
from rimwise.picture.strip import directions_rad, radius_about, unroll
from rimwise.terms.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class OrderSettings:
    """Settings of the judgement, lengths in rim radii, with reasons.

    Parameters
    ----------
    clear : float
        The sheet's edge must run this far inside the rim, so that the two profiles are apart.
    reach : float
        How far from the rim its profile is read.
    clear_of_margin, no_glare : float
        As near to the pupil's margin, and with as much of a reflex, nothing is read.
    smooth_px : float
        Across the rim: as much as a JPEG of usual quality keeps of colour.
    beyond_seam, within_rim : tuple of float
        Bands on the inner side of the seam and of the rim where blue over red is read; the first
        on the outer side of the seam too.
    arc_columns : int
        Half degrees that make one reading.
    least_own : float
        Least share of the whole rise of blue over red that is taken to be the seam's own.
    least_columns, least_arcs : int
        With less of the rim under the sheet nothing is told.
    far_inside, least_arcs_far : float, int
        An edge of which the middle one of its radii is no larger than so many rim radii may be a
        laser's: over a quarter of the turn a glow of the lamp's may lie all along the rim, so it
        takes more of the rim.
    behind_before : tuple of float
        Shares of the foretold loss: the rim that lies in front of the sheet loses none, the rim
        behind it all. Whitening of the sheet's very edge foretells too much, and what a JPEG takes
        of a fine line's colour makes the loss less in both cases.
    sure_before, sure_behind, sharp_sd : float
        A share so many standard deviations above the first is before, below the second behind; to
        say behind refuses the picture, so it takes more, and no larger a standard deviation.
    """

    clear: float = 0.06
    reach: float = 0.06
    clear_of_margin: float = 0.025
    no_glare: float = 0.05
    smooth_px: float = 4.0
    beyond_seam: tuple[float, float] = (0.010, 0.028)
    within_rim: tuple[float, float] = (0.036, 0.052)
    arc_columns: int = 24
    least_own: float = 0.1
    least_columns: int = 60
    least_arcs: int = 4
    far_inside: float = 0.80
    least_arcs_far: int = 8
    behind_before: tuple[float, float] = (0.2, 0.3)
    sure_before: float = 1.5
    sure_behind: float = 2.0
    sharp_sd: float = 0.20


SETTINGS = OrderSettings()
_ROUNDS = 6
_SURE, _SURE_NORMAL = 0.975, 1.96


@dataclass(frozen=True, slots=True)
class Begins:
    """Where a sheet begins: its seam, and in which of the 720 directions that stands out."""

    seam: Seam
    found: BoolArray

    def inside(self, rim: Rim) -> BoolArray:
        """Return where the seam lies so far inside the rim that their profiles are apart."""
        clear = SETTINGS.clear * rim.radius_px
        return np.asarray(self.seam.radii_px < rim.radii_px - clear, dtype=np.bool_)


def sheet_before_rim(
    planes: Planes,
    pupil: PupilMargin,
    rim: Rim,
    begins: Begins,
    farther: Begins | None = None,
) -> bool | None:
    """Does the sheet that begins at the seam lie in front of the rim?

    Parameters
    ----------
    planes : Planes
    pupil : PupilMargin
    rim : Rim
    begins : Begins
        The seam and where it stands out. The rim need not: a faint line weighs little by itself.
    farther : Begins, optional
        Another sheet that begins farther out: where that lies at the rim, nothing is read.

    Returns
    -------
    bool or None
        True before, False behind; None where the picture does not tell.

    Notes
    -----
    Own derivation. A sheet in front that scatters the share v of white light W turns a light I
    into I (1 - v) + v W, so that a line of contrast c behind it keeps c I (1 - v) / (I (1 - v) +
    v W). Taken in blue over red the share v drops out: the line's contrast falls in blue, against
    red, by the very factor by which blue over red rises where the sheet begins. A rim in front of
    the sheet keeps the same contrast in both colours.

    Where blue over red rises by less at the seam than on the whole way to the rim, another sheet
    begins in between. Any loss that this other sheet accounts for says nothing of the first.
    """
    if planes.is_grey:
        return None
    used = begins.found & rim.usable & begins.inside(rim)
    if farther is not None:
        used &= ~(farther.found & ~farther.inside(rim))
    if used.sum() < SETTINGS.least_columns:
        return None
    grey = planes.grey.astype(np.float32)
    light, clear = _across(planes, grey, pupil, rim)
    whiter, at_seam = _whiter(grey, rim, begins.seam)
    readings = []
    for start in range(0, COLUMNS, SETTINGS.arc_columns):
        arc = np.arange(start, start + SETTINGS.arc_columns)
        chosen = arc[used[arc]]
        if 2 * len(chosen) < SETTINGS.arc_columns:
            continue
        lines = _lines(light[:, chosen], np.asarray(clear[:, chosen].all(axis=1)))
        if lines is not None:
            whole, own = median(whiter[chosen]), median(at_seam[chosen])
            readings.append((*lines, whole, own))
    middle = median((begins.seam.radii_px / rim.radii_px)[begins.found])
    least = SETTINGS.least_arcs_far if middle < SETTINGS.far_inside else SETTINGS.least_arcs
    if len(readings) < least:
        return None
    return _verdict(*_share(np.array(readings)))


def _verdict(share: float, sd: float) -> bool | None:
    behind, before = SETTINGS.behind_before
    if share - SETTINGS.sure_before * sd > behind:
        return True
    if sd > SETTINGS.sharp_sd:
        return None
    return False if share + SETTINGS.sure_behind * sd < before else None


def _share(readings: FloatArray) -> tuple[float, float]:
    """Return how much of the foretold loss of blue contrast is there, and its sd (jackknife).

    Arcs that a haptic, a fold or a speck crosses depart from the rest and weigh little. The sd is
    widened as Student's law is for as many arcs as carry the weight.
    """
    count = len(readings)
    whole, at_seam = median(readings[:, 2]), median(readings[:, 3])
    foretold = 1.0 - float(np.exp(-whole))
    if foretold <= 0.0:
        return 0.0, np.inf
    blue, red = readings[:, 0], readings[:, 1]
    weights = np.ones(count)
    for _ in range(_ROUNDS):
        away = (blue - (weights @ blue) / (weights @ red) * red) / np.sqrt(np.maximum(red, 1e-9))
        weights = tukey_weights(away, 1.4826 * median(np.abs(away)) + 1e-9)
    blue, red = weights * blue, weights * red
    shares = (1.0 - (blue.sum() - blue) / (red.sum() - red)) / foretold
    spread = float(np.sqrt((count - 1.0) / count * ((shares - shares.mean()) ** 2).sum()))
    carry = float(red.sum() ** 2 / (red**2).sum())
    spread *= float(stdtrit(max(carry - 1.0, 1.0), _SURE)) / _SURE_NORMAL
    share = float((1.0 - blue.sum() / red.sum()) / foretold)
    own = float(np.clip(at_seam / whole, SETTINGS.least_own, 1.0))
    return (share - (1.0 - own)) / own, spread / own


def _across(
    planes: Planes, grey: Float32Array, pupil: PupilMargin, rim: Rim
) -> tuple[FloatArray, BoolArray]:
    """Return red and blue light across the rim, and where it is light of the pupil's inner part.

    Beside the iris its shadow and its own light, blurred, are no ground to hold a line against.
    """
    reach = int(SETTINGS.reach * rim.radius_px)
    radii = rim.radii_px[None] + np.arange(-reach, reach + 1)[:, None]
    light = unroll(grey, rim.centre_px, radii)[..., [0, 2]]
    margin = radius_about(pupil.curve_px, rim.centre_px, directions_rad(COLUMNS))
    clear = radii < margin[None] - SETTINGS.clear_of_margin * rim.radius_px
    clear &= unroll(planes.glare, rim.centre_px, radii) < SETTINGS.no_glare
    return gaussian_filter1d(light, SETTINGS.smooth_px, axis=0), np.asarray(clear)


def _lines(light: FloatArray, clear: BoolArray) -> tuple[float, float] | None:
    """Return blue against red and red against red of the rim's lines over an arc.

    Each product takes its two factors from different columns, so that noise adds nothing to it.
    """
    if 2 * clear.sum() < len(clear):
        return None
    level = light[clear]
    halves = [level[:, part::2].mean(axis=1) for part in (0, 1)]
    row = np.flatnonzero(clear).astype(np.float64)
    row -= row.mean()
    one, other = (_over(half, _straight(row, half)) for half in halves)
    blue = 0.5 * (one[:, 1] @ other[:, 0] + other[:, 1] @ one[:, 0])
    return float(blue), float(one[:, 0] @ other[:, 0])


def _straight(row: FloatArray, level: FloatArray) -> FloatArray:
    """Return the straight line of least squares through a level over rows about their mean."""
    return np.asarray(level.mean(axis=0) + row[:, None] * (row @ level / (row @ row)))


def _over(level: FloatArray, ground: FloatArray) -> FloatArray:
    return np.asarray(level / np.maximum(ground, 1.0) - 1.0)


def _whiter(grey: Float32Array, rim: Rim, seam: Seam) -> tuple[FloatArray, FloatArray]:
    """Return the log step of blue over red from within the seam to just within the rim.

    Not at the seam itself: a sheet's edge is often whiter than the sheet that crosses the rim. The
    step to just outside the seam, which is the sheet's own, comes second.
    """
    near, far = SETTINGS.beyond_seam
    ground = _blue_over_red(grey, rim, seam.radii_px, (-far, -near))
    sheet = _blue_over_red(grey, rim, seam.radii_px, (near, far))
    near, far = SETTINGS.within_rim
    at_rim = _blue_over_red(grey, rim, rim.radii_px, (-far, -near))
    return at_rim - ground, sheet - ground


def _blue_over_red(
    grey: Float32Array, rim: Rim, radii_px: FloatArray, band: tuple[float, float]
) -> FloatArray:
    offset = np.arange(int(band[0] * rim.radius_px), int(band[1] * rim.radius_px))
    light = unroll(grey, rim.centre_px, radii_px[None] + offset[:, None]).mean(axis=0)
    red, _, blue = np.log(light + 1.0).T
    return np.asarray(blue - red)
