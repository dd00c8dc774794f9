"""The foci of an implant with a diffractive profile, as ``rimwise.sight/1`` lists them."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class SightFocus:
    """One focus of an implant with a diffractive profile.

    Parameters
    ----------
    order : int
    power_dpt : float
        Against the zeroth order, in aqueous.
    efficiency : float
        Share of the light of 555 nm, where the profile has its full height.
    lens_dpt : float
        Sphere added to the glasses through which this order is sharp for far.

    Examples
    --------
    >>> SightFocus(1, 3.5, 0.405, -2.7).document()["order"]
    1
    """

    order: int
    power_dpt: float
    efficiency: float
    lens_dpt: float

    def document(self) -> dict[str, Any]:
        """Return the entry of the document."""
        return {
            "order": self.order,
            "power_dpt": self.power_dpt,
            "efficiency": self.efficiency,
            "lens_dpt": self.lens_dpt,
        }
