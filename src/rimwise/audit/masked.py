"""Two masked readers: in which order each reads, where they disagree, what is agreed in the end."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

# Numbers of which a difference matters to a surgeon; all in mm.
COMPARED = ("equivalent_diameter_mm", "least_cover_mm")
CENTRE = ("opening_from_optic_nasal_mm", "opening_from_optic_superior_mm")

Numbers = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Reading:
    """What one reader read in one picture; ``values`` is None where it could not be read.

    Parameters
    ----------
    picture : str
        Any key of the picture.
    reader : str
        Pseudonym.
    turn : int
        Which time this reader read it, from 1.
    values : mapping or None
        Numbers by the keys of ``rimwise.records.study.UNITS``.
    """

    picture: str
    reader: str
    turn: int
    values: Numbers | None


def reading_order(pictures: Sequence[str], salt: str, reader: str, turn: int) -> list[str]:
    """In which order does a reader read these pictures this time?

    Mixed by a hash, so that it can be told again and nobody foresees it without the salt; another
    reader, and the same one the next time, has another order.

    Examples
    --------
    >>> reading_order(["a", "b", "c", "d"], "salt", "R-1", 1)
    ['c', 'd', 'b', 'a']
    >>> reading_order(["a", "b", "c", "d"], "salt", "R-1", 2)
    ['d', 'b', 'c', 'a']
    """

    def place(picture: str) -> str:
        told = "/".join((salt, reader, str(turn), picture))
        return hashlib.sha256(told.encode("utf-8")).hexdigest()

    return sorted(pictures, key=place)


def mean_of(readings: Sequence[Reading]) -> Numbers | None:
    """What did one reader read on the average? None where it could not be read every time.

    Examples
    --------
    >>> mean_of([Reading("a", "R-1", turn, {"area_mm2": 19.0 + turn}) for turn in (1, 2)])
    {'area_mm2': 20.5}
    """
    told = [one.values for one in readings]
    known = [one for one in told if one is not None]
    if not known or len(known) < len(told):
        return None
    names = [name for name in known[0] if all(name in one for one in known)]
    return {name: fmean(one[name] for one in known) for name in names}


def differences(
    first: Sequence[Reading], second: Sequence[Reading], limit_mm: float
) -> tuple[str, ...]:
    """Where do two readers of one picture differ by more than is allowed?

    Parameters
    ----------
    first, second : sequence of Reading
        All that each reader read in this picture.
    limit_mm : float
        For the diameter, the least cover and the centre of the opening (as a distance).

    Returns
    -------
    tuple of str
        "readable", names of numbers, "centre", "complete"; nothing where they agree. Complete
        against bare is a difference however small it is.

    Examples
    --------
    >>> one = [Reading("a", "R-1", 1, {"equivalent_diameter_mm": 5.0, "least_cover_mm": 0.02})]
    >>> two = [Reading("a", "R-2", 1, {"equivalent_diameter_mm": 5.3, "least_cover_mm": -0.02})]
    >>> differences(one, two, 0.2)
    ('equivalent_diameter_mm', 'complete')
    >>> differences(one, [Reading("a", "R-2", 1, None)], 0.2)
    ('readable',)
    """
    one, two = mean_of(first), mean_of(second)
    if one is None and two is None:
        return ()
    if one is None or two is None:
        return ("readable",)
    found = [
        name
        for name in COMPARED
        if name in one and name in two and abs(one[name] - two[name]) > limit_mm
    ]
    if all(name in told for name in CENTRE for told in (one, two)):
        off = [one[name] - two[name] for name in CENTRE]
        if (off[0] ** 2 + off[1] ** 2) ** 0.5 > limit_mm:
            found.append("centre")
    least = [told.get("least_cover_mm") for told in (one, two)]
    if least[0] is not None and least[1] is not None and (least[0] > 0.0) != (least[1] > 0.0):
        found.append("complete")
    return tuple(found)


def agreed(
    first: Sequence[Reading],
    second: Sequence[Reading],
    limit_mm: float,
    judged: Reading | None = None,
) -> Numbers | None:
    """What is taken of one picture in the end? None where nothing is.

    The mean of both readers where they agree, what the third decided where they do not.

    Examples
    --------
    >>> one = [Reading("a", "R-1", 1, {"equivalent_diameter_mm": 5.0})]
    >>> two = [Reading("a", "R-2", 1, {"equivalent_diameter_mm": 5.1})]
    >>> round(agreed(one, two, 0.2)["equivalent_diameter_mm"], 3)
    5.05
    >>> agreed(one, two, 0.05) is None
    True
    """
    if differences(first, second, limit_mm):
        return None if judged is None else judged.values
    one, two = mean_of(first), mean_of(second)
    if one is None or two is None:
        return None
    return {name: 0.5 * (one[name] + two[name]) for name in one if name in two}
