"""How many eyes must a series have to tell two ways apart?"""

import math

from rimwise.terms.errors import WrongInput


def eyes_for_share(first: float, second: float, power: float = 0.8, alpha: float = 0.05) -> int:
    """How many eyes a group tell these two shares apart?

    Notes
    -----
    Normal law without continuity correction (Fleiss, Statistical methods for rates and
    proportions); one eye a person.

    Examples
    --------
    >>> eyes_for_share(0.80, 0.95)
    76
    """
    from scipy.special import ndtri  # noqa: PLC0415  scipy is loaded late

    if not (0.0 < first < 1.0 and 0.0 < second < 1.0 and first != second):
        raise WrongInput(f"two different shares between 0 and 1 are needed, got {first}, {second}")
    z, b = float(ndtri(1.0 - 0.5 * alpha)), float(ndtri(power))
    pooled = 0.5 * (first + second)
    spread = z * math.sqrt(2.0 * pooled * (1.0 - pooled))
    spread += b * math.sqrt(first * (1.0 - first) + second * (1.0 - second))
    return math.ceil((spread / (first - second)) ** 2)


def eyes_for_mean(difference: float, sd: float, power: float = 0.8, alpha: float = 0.05) -> int:
    """How many eyes a group tell two means apart that differ by this much?

    Notes
    -----
    Normal law plus z²/4 for Student's t (Guenther 1981, from memory; compared with an exact
    library in the tests).

    Examples
    --------
    >>> eyes_for_mean(0.25, 0.5)
    64
    """
    from scipy.special import ndtri  # noqa: PLC0415  scipy is loaded late

    if not (sd > 0.0 and difference != 0.0):
        raise WrongInput(f"a difference and an sd above 0 are needed, got {difference} and {sd}")
    z, b = float(ndtri(1.0 - 0.5 * alpha)), float(ndtri(power))
    return math.ceil(2.0 * ((z + b) * sd / difference) ** 2 + 0.25 * z**2)
