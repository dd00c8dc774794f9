"""How does the index of a medium change with wavelength? The usual closed forms."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

Form = Literal["constant", "cauchy", "sellmeier", "cornu", "laurent"]


@dataclass(frozen=True, slots=True)
class Dispersion:
    """An index by wavelength, with λ in µm inside the formula.

    Parameters
    ----------
    form : str
        - "constant": n = a
        - "cauchy": n = a + b / λ² + c / λ⁴ + ...
        - "sellmeier": n² = 1 + Σ b_i λ² / (λ² - c_i); coefficients b1, c1, b2, c2 ...
        - "cornu": n = a + b / (λ - c)
        - "laurent": n² = a + b λ² + c / λ² + d / λ⁴ + ...
    coefficients : tuple of floats
    valid_nm : tuple of 2 floats
        Wavelengths in which the form holds; others are refused.
    name : str
        For people.

    Examples
    --------
    >>> water = Dispersion("cauchy", (1.3199, 0.00653), (400.0, 800.0), "invented")
    >>> round(water.index(555.0), 6)
    1.3411
    """

    form: Form
    coefficients: tuple[float, ...]
    valid_nm: tuple[float, float] = (380.0, 900.0)
    name: str = ""

    def __post_init__(self) -> None:
        count, least = len(self.coefficients), {"cornu": 3, "sellmeier": 2}.get(self.form, 1)
        pairs = self.form != "sellmeier" or count % 2 == 0
        if count < least or not pairs or not np.all(np.isfinite(self.coefficients)):
            raise WrongInput(
                f"the dispersion {self.name!r} of form {self.form!r} came with {count} "
                f"coefficients; at least {least} finite ones (Sellmeier: pairs) are needed"
            )

    def index(self, wavelength_nm: float) -> float:
        """Return the index at one wavelength, nm; refuses one outside ``valid_nm``."""
        return float(self.indices(wavelength_nm))

    def indices(self, wavelength_nm: ArrayLike) -> FloatArray:
        """Return the index at wavelengths of any shape."""
        given = np.asarray(wavelength_nm, dtype=np.float64)
        low, high = self.valid_nm
        if not np.all((given >= low) & (given <= high)):
            raise WrongInput(
                f"a wavelength of {given} nm came for {self.name or self.form!r}; "
                f"from {low} to {high} nm is allowed"
            )
        um, c = given / 1000.0, self.coefficients
        if self.form == "constant":
            return np.full_like(um, c[0])
        if self.form == "cauchy":
            return np.asarray(sum(a / um ** (2 * i) for i, a in enumerate(c)))
        if self.form == "cornu":
            return np.asarray(c[0] + c[1] / (um - c[2]))
        if self.form == "sellmeier":
            terms = (b * um**2 / (um**2 - d) for b, d in zip(c[::2], c[1::2], strict=True))
            return np.sqrt(1.0 + sum(terms))
        powers = (0, 2, *(-2 * i for i in range(1, len(c))))
        return np.sqrt(sum(a * um**p for a, p in zip(c, powers, strict=False)))

    def scaled(self, index: float, at_nm: float) -> "Dispersion":
        """Return the same shape of curve, shifted so that it gives this index there.

        Only for forms that are sums of n itself ("constant", "cauchy", "cornu").
        """
        if self.form in ("sellmeier", "laurent"):
            raise WrongInput(
                f"the dispersion {self.name!r} has the form {self.form!r}, which gives n²; only "
                "constant, Cauchy and Cornu curves can be shifted"
            )
        first = self.coefficients[0] + index - self.index(at_nm)
        rest = self.coefficients[1:]
        return Dispersion(self.form, (first, *rest), self.valid_nm, self.name)


def abbe_number(medium: Dispersion) -> float:
    """Return v_d = (n_d - 1) / (n_F - n_C), with 587.56, 486.13 and 656.27 nm.

    Examples
    --------
    >>> round(abbe_number(Dispersion("cauchy", (1.32, 0.003))), 1)
    57.4
    """
    blue, yellow, red = medium.indices((486.13, 587.56, 656.27))
    return float((yellow - 1.0) / (blue - red))
