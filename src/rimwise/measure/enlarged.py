"""How much larger than the optic's rim does the cornea show the opening, which lies before it?"""

from dataclasses import dataclass

import numpy as np

from rimwise.published.load import published_table
from rimwise.terms.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Enlarged:
    """The opening's magnification over the rim's, and its sd."""

    value: FloatArray
    sd: FloatArray


def enlarged(radius_mm: FloatArray, rim_radius_mm: float) -> Enlarged:
    """How much larger than the rim, each at its own radius, is a ring before it shown?

    Parameters
    ----------
    radius_mm : array (n,)
        Radius of the opening in each direction.
    rim_radius_mm : float

    Notes
    -----
    Own derivation. The cornea enlarges what lies farther from the axis less, as the square of the
    radius, and what lies nearer to it less; both rates are traced through a schematic eye
    (published table "photograph"; a test traces them again).

    Examples
    --------
    >>> both = enlarged(np.array([2.2, 2.6, 3.0]), 3.0)
    >>> both.value.round(4).tolist(), both.sd.round(4).tolist()
    ([1.0056, 1.0011, 0.996], [0.0026, 0.0022, 0.002])
    """
    table = published_table("photograph")
    outward, nearer, gap = (table[name] for name in ("enlarged_outward", "enlarged_nearer", "gap"))
    unit_mm = table["traced_cornea"].value
    inside = (rim_radius_mm**2 - np.asarray(radius_mm) ** 2) / unit_mm**2
    value = 1.0 + outward.value * inside - nearer.value * gap.value / unit_mm
    return Enlarged(
        value, np.hypot(nearer.value * (gap.sd or 0.0) / unit_mm, (outward.sd or 0.0) * inside)
    )
