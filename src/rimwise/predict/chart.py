"""What is shown to the eye: a chart of rings and letters, and lamps in the dark.

Rings are those of ISO 8596: five units across, a stroke and a gap of one unit, in eight
directions. Letters are drawn on the same square of five units with strokes of one unit, out of
straight strokes only. A row of logMAR L has a unit of 10^L minutes of arc.
"""

import math

import numpy as np

from rimwise.predict.as_seen import SeenPoint
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

ROWS_LOGMAR = (0.5, 0.3, 0.2, 0.1, 0.0)
GAPS_DEG = (0.0, 135.0, 270.0, 45.0, 180.0, 315.0, 90.0, 225.0)
_FINE = 4
_PER_ROW = 5
# Each letter is a set of strokes: left, bottom, right, top in units of the five-unit square.
_LETTERS: dict[str, tuple[tuple[int, int, int, int], ...]] = {
    "E": ((0, 0, 1, 5), (0, 0, 5, 1), (0, 2, 5, 3), (0, 4, 5, 5)),
    "H": ((0, 0, 1, 5), (4, 0, 5, 5), (0, 2, 5, 3)),
    "T": ((2, 0, 3, 5), (0, 4, 5, 5)),
    "F": ((0, 0, 1, 5), (0, 2, 5, 3), (0, 4, 5, 5)),
    "U": ((0, 0, 1, 5), (4, 0, 5, 5), (0, 0, 5, 1)),
    "L": ((0, 0, 1, 5), (0, 0, 5, 1)),
}
_ROW_LETTERS = ("EH", "TU", "FL", "HE", "UT", "LF")
Lamps = tuple[tuple[float, float, float], ...]
# Minutes of arc from the middle, right and up, and relative brightness.
LAMPS: Lamps = ((-30.0, 0.0, 1.0), (30.0, 0.0, 1.0))


def decimal_acuity(logmar: float) -> float:
    """Which decimal acuity is this logMAR?

    Examples
    --------
    >>> round(decimal_acuity(0.3), 4)
    0.5012
    """
    return float(10.0**-logmar)


def ring_frequency_cpd(logmar: float) -> float:
    """Which grating has bars as wide as the gap of this row's rings, cycles per degree?

    Examples
    --------
    >>> ring_frequency_cpd(0.0)
    30.0
    """
    return 30.0 * decimal_acuity(logmar)


def snellen(logmar: float, distance: float) -> float:
    """What stands under the line of a Snellen fraction of this test distance (20 ft or 6 m)?

    Examples
    --------
    >>> round(snellen(0.3, 20.0), 1), round(snellen(1.0, 6.0), 1)
    (39.9, 60.0)
    """
    return distance / decimal_acuity(logmar)


def letters_read(logmar: float) -> float:
    """How many letters of a chart with five a row, the first row 1.0, are read at this logMAR?

    Examples
    --------
    >>> letters_read(0.0)
    85.0
    """
    return 85.0 - 50.0 * logmar


def optotype(name: str | float, unit_places: float, size: int) -> FloatArray:
    """What does one ring or letter look like, ink 1 on 0?

    Parameters
    ----------
    name : str or float
        A letter, or the direction of a ring's gap in degrees.
    unit_places : float
        Width of a stroke in places of the picture.
    size : int
        Side of the square of the picture, the optotype in its middle.
    """
    fine = (np.arange(size * _FINE) + 0.5) / _FINE - 0.5 * size
    x, y = np.meshgrid(fine / unit_places, -fine / unit_places)
    if isinstance(name, str):
        if name not in _LETTERS:
            raise WrongInput(f"the letter {name!r} came; one of {''.join(_LETTERS)} is drawn")
        ink = np.zeros(x.shape, dtype=bool)
        for left, low, right, top in _LETTERS[name]:
            ink |= (left <= x + 2.5) & (x + 2.5 < right) & (low <= y + 2.5) & (y + 2.5 < top)
    else:
        r, turn = np.hypot(x, y), math.radians(name)
        along = x * math.cos(turn) + y * math.sin(turn)
        across = -x * math.sin(turn) + y * math.cos(turn)
        ink = (r >= 1.5) & (r < 2.5) & ~((along > 0.0) & (np.abs(across) < 0.5))
    return np.asarray(ink.reshape(size, _FINE, size, _FINE).mean(axis=(1, 3)))


def chart(step_arcmin: float, rows_logmar: tuple[float, ...] = ROWS_LOGMAR) -> FloatArray:
    """What does the chart look like to a perfect eye, paper 1 and ink 0?

    Parameters
    ----------
    step_arcmin : float
        Angle from one place to the next.
    rows_logmar : tuple of floats
        -0.3 to 1.3; each row holds three rings and two letters, one optotype's width apart.

    Examples
    --------
    >>> page = chart(0.5)
    >>> bool(page.min() == 0.0 and page.max() == 1.0)
    True
    """
    if not rows_logmar or not all(-0.3 <= one <= 1.3 for one in rows_logmar):
        raise WrongInput(f"rows of logMAR {rows_logmar} came; -0.3 to 1.3 is allowed")
    units = [10.0**one / step_arcmin for one in rows_logmar]
    sizes = [math.ceil(5.0 * unit) + 2 for unit in units]
    margin = math.ceil(10.0 / step_arcmin)
    width = math.ceil(max(units) * 5.0 * (2 * _PER_ROW - 1)) + 2 * margin
    height = sum(size + round(5.0 * unit * 0.8) for size, unit in zip(sizes, units, strict=True))
    ink, top = np.zeros((height + 2 * margin, width)), margin
    for k, (unit, size) in enumerate(zip(units, sizes, strict=True)):
        names: list[str | float] = [GAPS_DEG[(3 * k + i) % 8] for i in range(3)]
        names += list(_ROW_LETTERS[k % len(_ROW_LETTERS)])
        for i, name in enumerate(names):
            middle = 0.5 * width + (i - 2) * 10.0 * unit
            left = round(middle - 0.5 * size)
            ink[top : top + size, left : left + size] += optotype(name, unit, size)
        top += size + round(5.0 * unit * 0.8)
    return 1.0 - ink


def lamps(shape: tuple[int, int], step_arcmin: float, places: Lamps = LAMPS) -> FloatArray:
    """What do lamps in the dark look like to a perfect eye: single places of light?

    Examples
    --------
    >>> lamps((3, 3), 1.0, ((0.0, 0.0, 1.0),))[1].tolist()
    [0.0, 1.0, 0.0]
    """
    dark = np.zeros(shape)
    for right, up, light in places:
        row = round(0.5 * (shape[0] - 1) - up / step_arcmin)
        dark[row, round(0.5 * (shape[1] - 1) + right / step_arcmin)] += light
    return dark


def seen_through(scene: FloatArray, point: SeenPoint, outside: float) -> FloatArray:
    """What does a scene look like when each of its points is seen as this one is?

    Parameters
    ----------
    scene : array, shape (rows, columns)
    point : SeenPoint
    outside : float
        Light beyond the scene: 1 for paper that goes on, 0 for the dark.

    Returns
    -------
    array, same shape
        Light that falls beyond the point's window is left out: it is missing, not spread.

    Examples
    --------
    >>> from rimwise.predict.as_seen import Window
    >>> one = np.zeros((3, 3))
    >>> one[1, 1] = 0.9
    >>> seen_through(np.ones((4, 4)), SeenPoint(one, Window(3, 1.0)), 1.0).round(3).max().item()
    0.9
    """
    from scipy import fft  # noqa: PLC0415 - a tenth of a second, only where needed

    reach = point.window.samples // 2
    full = np.pad(scene - outside, reach)
    side = [fft.next_fast_len(n + 2 * reach, real=True) for n in full.shape]
    product = fft.rfft2(full, side) * fft.rfft2(point.light, side)
    spread = fft.irfft2(product, side)[2 * reach :, 2 * reach :]
    kept = spread[: scene.shape[0], : scene.shape[1]]
    return np.asarray(np.maximum(kept + outside * point.share, 0.0))
