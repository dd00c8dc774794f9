"""What a hand tells about the curves of a photograph."""

from dataclasses import dataclass

PointPx = tuple[float, float]
ArcDeg = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Corrections:
    """What a reader says of the edges; all of it together, never on top of an earlier set.

    Parameters
    ----------
    opening_px, optic_px : tuple of (u, v)
        Points on the opening's edge and on the optic's edge, stored pixels (right, down).
    hidden_opening_deg, hidden_optic_deg : tuple of (from, to)
        Arcs in which that edge cannot be seen: examiner's directions about the optic's centre,
        counter-clockwise.
    haptic_px : tuple of (u, v)
        The two roots where the haptics leave the optic.
    p1_px : tuple of (u, v)
        The cornea's reflex P1 of each lamp, in the sheet's order.
    swap : bool
        The curve found as the opening's edge is the optic's, and the other way round.
    sd_px : float or None
        Standard deviation of a point across the edge; None: that of a usual click.
    who, when : str or None
        Pseudonym of the reader, and the day or moment, as told.

    Examples
    --------
    >>> Corrections().is_empty, Corrections(swap=True).is_empty
    (True, False)
    """

    opening_px: tuple[PointPx, ...] = ()
    optic_px: tuple[PointPx, ...] = ()
    hidden_opening_deg: tuple[ArcDeg, ...] = ()
    hidden_optic_deg: tuple[ArcDeg, ...] = ()
    haptic_px: tuple[PointPx, ...] = ()
    p1_px: tuple[PointPx, ...] = ()
    swap: bool = False
    sd_px: float | None = None
    who: str | None = None
    when: str | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is changed."""
        points = self.opening_px or self.optic_px or self.haptic_px or self.p1_px
        return not (points or self.hidden_opening_deg or self.hidden_optic_deg or self.swap)
