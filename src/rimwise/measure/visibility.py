"""How well is each edge seen, by direction: plain, faint or hidden?"""

from typing import Literal

from rimwise.records.cover import FoundCurves

Grade = Literal[0, 1, 2]
EdgeName = Literal["opening", "optic"]
HIDDEN: Grade = 0
FAINT: Grade = 1
PLAIN: Grade = 2
GRADE_WORDS: dict[Grade, str] = {PLAIN: "plain", FAINT: "faint", HIDDEN: "hidden"}
_NONE = (False,) * 360


def visibility(curves: FoundCurves | None) -> dict[EdgeName, tuple[Grade, ...]]:
    """How well is each edge seen in the 360 examiner's directions?

    Parameters
    ----------
    curves : FoundCurves or None

    Returns
    -------
    dict
        By edge: plain (2) where a reader can verify it; faint (1) where the curve runs on through
        signs too weak for that; hidden (0) where it does not show: the iris, a reflex or the
        picture's border lies over it, it melts into its ground, or a reader said so. Empty where
        no edges were found.

    Examples
    --------
    >>> shown = {"opening_plain": (True,) * 360, "rim_hidden": (True,) * 360}
    >>> seen = visibility(FoundCurves((1.0, 0.0), (0.0, -1.0), 1.0, shown=shown))
    >>> seen["opening"][0], seen["optic"][0]
    (2, 0)
    """
    if curves is None or not curves.shown:
        return {}
    shown = curves.shown
    found = shown.get("opening_found", _NONE)
    behind = shown.get("rim_hidden", _NONE)
    return {
        "opening": _grades(shown.get("opening_plain", _NONE), found),
        "optic": _grades(shown.get("rim_seen", _NONE), tuple(not away for away in behind)),
    }


def _grades(plain: tuple[bool, ...], traced: tuple[bool, ...]) -> tuple[Grade, ...]:
    both = zip(plain, traced, strict=True)
    return tuple(PLAIN if seen else FAINT if there else HIDDEN for seen, there in both)


def degrees_by_grade(grades: tuple[Grade, ...]) -> dict[Grade, int]:
    """Over how many degrees is an edge plain, faint, hidden?

    Examples
    --------
    >>> degrees_by_grade((2, 2, 0, 1))
    {2: 2, 1: 1, 0: 1}
    """
    return {grade: grades.count(grade) for grade in GRADE_WORDS}
