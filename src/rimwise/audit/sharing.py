"""An audit to pass on: small counts withheld, and whatever they could be reckoned from."""

from dataclasses import dataclass, replace

from rimwise.records.series import Audit, AuditPart, CoverStrips, Figure, FlowStep
from rimwise.terms.errors import WrongInput

# Shares of one total that lie within each other, so that the difference of two is a count too.
_APART = frozenset({"complications", "laser"})


@dataclass(frozen=True, slots=True)
class Shared:
    """An audit for sharing, with what was withheld from it.

    Parameters
    ----------
    audit : Audit
    withheld : tuple of str
        One sentence a chapter.
    """

    audit: Audit
    withheld: tuple[str, ...]


def for_sharing(audit: Audit, fewest: int) -> Shared:
    """Which audit can be passed on, if no count of eyes from 1 to below this may be read from it?

    Parameters
    ----------
    audit : Audit
    fewest : int
        At least 2; common practice is 5 (no source).

    Returns
    -------
    Shared
        Withheld figures keep their name, without value, interval and count.

    Raises
    ------
    WrongInput

    Notes
    -----
    A count is small where it, the rest of its total, or its difference from another share of the
    same chapter lies between 1 and ``fewest - 1``: then every share of that chapter is withheld,
    since one could be reckoned from the others (errors as they are and about their mean apart).
    Chapters whose shares do not lie within each other (complications, laser) lose the small ones
    alone. Numbers from fewer eyes than ``fewest`` are withheld. Steps of the flow are told as one
    where one of them is small. Points, which stand for single eyes, are taken out of the clouds.
    Two shared audits of overlapping series can still be subtracted from each other; that no rule
    of one audit can prevent.

    Examples
    --------
    >>> part = AuditPart("cover", "Cover",
    ...     (Figure("covered", 0.98, 0.9, 1.0, "1", 100, 100, count=98),))
    >>> told = for_sharing(Audit("t.csv", 100, 100, "", (), (part,)), 5)
    >>> told.audit.parts[0].figures[0].value is None, told.withheld
    (True, ('Cover: 1 number withheld',))
    """
    if fewest < 2:
        raise WrongInput(f"counts are withheld below 2 or more, got {fewest}; 5 is common")
    parts, withheld = [], []
    for part in audit.parts:
        kept = _part(part, audit.eyes, fewest)
        parts.append(kept)
        lost = sum(
            one.value is None and was.value is not None
            for one, was in zip(kept.figures, part.figures, strict=True)
        )
        if lost:
            withheld.append(f"{part.title}: {lost} number{'s' if lost > 1 else ''} withheld")
    flow = _flow(audit.flow, fewest)
    if flow != audit.flow:
        withheld.append("who was left out is told as one number")
    strips = None if audit.strips is None else _strips(audit.strips, fewest)
    if audit.strips is not None:
        words = "single eyes, and bare eyes by direction" if strips else "all of them"
        withheld.append(f"Cover strips: {words} withheld")
    shared = replace(audit, parts=tuple(parts), flow=flow, strips=strips)
    return Shared(shared, tuple(withheld))


def _strips(strips: CoverStrips, fewest: int) -> CoverStrips | None:
    """Half of the eyes by direction; nothing that a few eyes could be read from."""
    blank: tuple[float | None, ...] = (None,) * 360
    # The quartiles of fewer eyes are single eyes.
    told = [n >= 4 * fewest for n in strips.seen]
    if not any(told):
        return None
    inner = [
        tuple(one if kept else None for one, kept in zip(row, told, strict=True))
        for row in strips.levels_mm[1:4]
    ]
    return replace(
        strips,
        seen=tuple(n if kept else 0 for n, kept in zip(strips.seen, told, strict=True)),
        bare=(),
        levels_mm=(blank, *inner, blank),
        lines_mm=(),
    )


def _small(count: int, fewest: int) -> bool:
    return 0 < count < fewest


def _part(part: AuditPart, eyes: int, fewest: int) -> AuditPart:
    counted = [one for one in part.figures if one.count is not None]
    alone = {id(one) for one in counted if _tells_few(one, fewest)}
    if part.key not in _APART:
        for group in _groups(part.key, counted):
            if any(id(one) in alone for one in group) or _apart(group, fewest):
                alone |= {id(one) for one in group}
    figures = tuple(
        _withheld(one, fewest) if id(one) in alone or _from_few(one, fewest) else one
        for one in part.figures
    )
    missing = any(_small(eyes - one.n, fewest) for one in part.figures)
    left_out = (f"fewer than {fewest} eyes are not in all of it",) if missing else part.left_out
    return replace(part, figures=figures, cloud=(), left_out=left_out)


def _groups(key: str, counted: list[Figure]) -> list[list[Figure]]:
    """Shares that lie within each other: errors as they are, and those about their mean, apart."""
    if key != "refraction":
        return [counted]
    endings = {one.name.rpartition(", ")[2] for one in counted}
    return [[one for one in counted if one.name.endswith(f", {end}")] for end in sorted(endings)]


def _tells_few(figure: Figure, fewest: int) -> bool:
    count = figure.count or 0
    return _small(count, fewest) or _small(figure.n - count, fewest)


def _apart(counted: list[Figure], fewest: int) -> bool:
    """Whether two shares differ by few eyes: thresholds lie within each other."""
    counts = [one.count or 0 for one in counted]
    return any(
        _small(abs(one - other), fewest) for k, one in enumerate(counts) for other in counts[:k]
    )


def _from_few(figure: Figure, fewest: int) -> bool:
    if _small(figure.n, fewest):
        return True
    # A share by time without a count: its events can be reckoned from it.
    if figure.unit != "1" or figure.count is not None or not figure.name.startswith("laser by"):
        return False
    return _small(round((figure.value or 0.0) * figure.n), fewest)


def _withheld(figure: Figure, fewest: int) -> Figure:
    few = f"withheld: fewer than {fewest} eyes could be read from it"
    n = 0 if _small(figure.n, fewest) else figure.n
    persons = 0 if n == 0 else figure.persons
    return replace(
        figure, value=None, low=None, high=None, count=None, n=n, persons=persons, way="", note=few
    )


def _flow(flow: tuple[FlowStep, ...], fewest: int) -> tuple[FlowStep, ...]:
    if not any(_small(one.rows_out, fewest) for one in flow):
        return flow
    out = sum(one.rows_out for one in flow)
    if _small(out, fewest):
        return (FlowStep(f"left out for any reason: fewer than {fewest}", 0, flow[-1].rows_left),)
    return (FlowStep("left out for any reason", out, flow[-1].rows_left),)
