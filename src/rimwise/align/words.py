"""The turn in words: made here and nowhere else, so that words and numbers agree."""

from rimwise.terms.frames import Side, nasal_superior

_LEAST_DEG = 0.05


def turn_words(x_deg: float, y_deg: float, side: Side) -> str:
    """How is the turn that is still to be made told to a surgeon?

    Parameters
    ----------
    x_deg, y_deg : float
        How far the front of the eye has to move towards the examiner's +x and +y.
    side : "right" or "left"

    Examples
    --------
    >>> turn_words(2.1, 0.8, "right")
    'turn the front of the eye 2.1° nasal and 0.8° up'
    >>> turn_words(2.1, -0.8, "left")
    'turn the front of the eye 2.1° temporal and 0.8° down'
    >>> turn_words(0.0, 0.01, "left")
    'the eye looks where it looked when it fixated; no turn is needed'
    """
    nasal, up = nasal_superior(x_deg, y_deg, side)
    parts = []
    if abs(nasal) >= _LEAST_DEG:
        parts.append(f"{abs(nasal):.1f}° {'nasal' if nasal > 0 else 'temporal'}")
    if abs(up) >= _LEAST_DEG:
        parts.append(f"{abs(up):.1f}° {'up' if up > 0 else 'down'}")
    if not parts:
        return "the eye looks where it looked when it fixated; no turn is needed"
    return f"turn the front of the eye {' and '.join(parts)}"
