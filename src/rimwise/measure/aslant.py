"""How far is the opening, which lies before the optic's rim, shown aside of it at a slant?"""

from dataclasses import dataclass

import numpy as np

from rimwise.published.load import published_table
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import Side, examiner_from_nasal_superior

DRAWN = ("gap", "view_temporal", "view_vertical")
_ROUND = np.radians(np.arange(360.0))
_UNIT = np.stack([np.cos(_ROUND), np.sin(_ROUND)])


@dataclass(frozen=True, slots=True)
class Aslant:
    """The usual slant of an eye before a camera, and draws about it; examiner's (x, y).

    Parameters
    ----------
    shift_mm : array (2,)
        By how much the gap shifts the opening against the rim, mean.
    grows_per_mm : array (2,)
        By how much larger things are shown, per mm towards a side, where the view slants to it.
    by_gap_mm, by_view_mm : array (m, 2)
        Errors of the shift, mean 0: the gap's at the usual view, and what the view adds.
    growth_per_mm : array (m, 2)
        Errors of the growth, mean 0.
    """

    shift_mm: FloatArray
    grows_per_mm: FloatArray
    by_gap_mm: FloatArray
    by_view_mm: FloatArray
    growth_per_mm: FloatArray

    def errors_mm(self, radius_mm: FloatArray, rim_radius_mm: float) -> dict[str, FloatArray]:
        """Return by source what these errors add to a ring's cover in 360 directions (m, 360)."""
        beyond = rim_radius_mm**2 - radius_mm**2
        view = toward(self.by_view_mm) - toward(self.growth_per_mm) * beyond
        return {"plane-gap": toward(self.by_gap_mm), "tilt": view}


def usual_aslant(side: Side, standard: dict[str, FloatArray]) -> Aslant:
    """How far aside is an opening usually shown, and how does that scatter?

    Parameters
    ----------
    side : "right" or "left"
    standard : dict of array (m, 1)
        Standard normal draws for each name in ``DRAWN``.
    """
    table = published_table("photograph")

    def drawn(name: str) -> FloatArray:
        return np.asarray(table[name].value + (table[name].sd or 0.0) * standard[name][:, 0])

    gap = np.abs(drawn("gap"))
    x, y = examiner_from_nasal_superior(1.0, 1.0, side)
    slopes = np.tan(np.radians([drawn(name) for name in DRAWN[1:]])).T * [-x, y]
    usual = np.tan(np.radians([table[name].value for name in DRAWN[1:]])) * [-x, y]
    shifts, by_gap = gap[:, None] * slopes, gap[:, None] * usual
    by_view = shifts - by_gap
    # The rate's own scatter moves an opening by 0.002 mm, which drowns in the gap's 0.009 mm.
    rate, scattered = (
        table[name].value / table["traced_cornea"].value
        for name in ("grows_aslant", "grows_scattered")
    )
    return Aslant(
        shift_mm=shifts.mean(axis=0),
        grows_per_mm=rate * usual,
        by_gap_mm=by_gap - by_gap.mean(axis=0),
        by_view_mm=by_view - by_view.mean(axis=0),
        growth_per_mm=scattered * (slopes - slopes.mean(axis=0)),
    )


def set_straight(radius_mm: FloatArray, rim_radius_mm: float, aslant: Aslant) -> FloatArray:
    """Which course has an opening that is shown so, about the optic's centre?

    Parameters
    ----------
    radius_mm : array (360,)
        Radius about the middle of the rim as shown.
    rim_radius_mm : float
    aslant : Aslant

    Returns
    -------
    array (360,)

    Notes
    -----
    Own derivation. At a slant the scale grows across the optic's plane, by g·p at a place p: what
    lies on one side is shown (1 + g·p) times as large as in the middle. A circle of radius R is
    shown with its middle moved by g R², the rim by more than the smaller opening, which lies before
    it and so is moved by the gap's parallax besides; and an opening off the middle is shown larger
    on one side than on the other. g is traced (published table "photograph"; a test traces again).

    Examples
    --------
    >>> none = np.zeros((1, 2))
    >>> view = Aslant(np.array([0.0, 0.0]), np.array([0.003, 0.0]), none, none, none)
    >>> set_straight(np.full(360, 3.0), 3.0, view)[[0, 90, 180]].round(3).tolist()
    [3.0, 3.0, 3.0]
    >>> set_straight(np.full(360, 2.5), 3.0, view)[[0, 180]].round(3).tolist()
    [2.508, 2.492]
    """
    shown = radius_mm * _UNIT
    true = shown * (1.0 - aslant.grows_per_mm @ shown)
    true += (aslant.grows_per_mm * rim_radius_mm**2 - aslant.shift_mm)[:, None]
    around = np.arctan2(true[1], true[0])
    return np.asarray(np.interp(_ROUND, around, np.hypot(*true), period=2.0 * np.pi))


def toward(shifts: FloatArray) -> FloatArray:
    """Return what shifts (m, 2) add to a radius in each of the 360 directions, (m, 360)."""
    return np.asarray(shifts @ _UNIT)
