"""Several surgeons side by side: whose rate lies farther off than chance explains?"""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.audit.chapters import known
from rimwise.audit.summaries import pair_correlation, share
from rimwise.records.series import AuditPart, Figure, Names, Series
from rimwise.stats.clustered import count_persons, effective_eyes
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

TAILS = (0.025, 0.001)  # each side: 95 % and 99.8 %, the two that funnels are drawn with
_FEWEST_NAMES = 2


@dataclass(frozen=True, slots=True)
class FunnelPoint:
    """One surgeon in a funnel.

    Parameters
    ----------
    told : Figure
        Named as the surgeon; share of complete cover with its interval and counts.
    worth : float
        Separate eyes that the eyes are worth, both eyes of a person being alike.
    limits : ((low, high), (low, high))
        Within which the share lies by chance alone: 95 % and 99.8 %.
    outside : 0, 95 or 99
        Outside neither, the inner or both pairs of limits.
    """

    told: Figure
    worth: float
    limits: tuple[tuple[float, float], tuple[float, float]]
    outside: int

    @property
    def name(self) -> str:
        """Return whose eyes they are."""
        return self.told.name

    @property
    def share(self) -> float:
        """Return the share of eyes with complete cover."""
        return self.told.value or 0.0


@dataclass(frozen=True, slots=True)
class Funnel:
    """All surgeons about the share of all their eyes.

    Parameters
    ----------
    column : str
    target : float
        Share of all eyes together.
    points : tuple of FunnelPoint
        In the order of their names.
    """

    column: str
    target: float
    points: tuple[FunnelPoint, ...]

    @property
    def sentence(self) -> str:
        """Return what the funnel says."""
        off = [one.name for one in self.points if one.outside == 99]
        near = [one.name for one in self.points if one.outside == 95]
        by_chance = 2.0 * TAILS[0] * len(self.points)
        if not (off or near):
            return f"no {self.column} lies outside the 95 % limits about {100 * self.target:.1f} %"
        told = [f"outside the 99.8 % limits: {', '.join(off)}"] if off else []
        told += [f"outside the 95 % limits alone: {', '.join(near)}"] if near else []
        return f"{'; '.join(told)} ({by_chance:.1f} outside 95 % are expected by chance alone)"


def binomial_limit(target: float, eyes: float, tail: float) -> float:
    """Which share of so many eyes is the last one that chance explains, if the target is true?

    Parameters
    ----------
    target : float
        True share, 0 to 1.
    eyes : float
        At least 1; a part of an eye is cut off.
    tail : float
        0.025 for the lower and 0.975 for the upper end of 95 %.

    Notes
    -----
    Quantile of the exact binomial law: beyond it lies at most the stated chance. Funnels about a
    common rate: Spiegelhalter, Statistics in Medicine 24 (2005) 1185; its straight lines between
    the steps are left out, since at an upper end they leave more than the stated chance outside.
    Nothing is added for over-dispersion.

    Examples
    --------
    >>> binomial_limit(0.9, 50, 0.025), binomial_limit(0.9, 50, 0.975)
    (0.82, 0.98)
    """
    from scipy.stats import binom  # noqa: PLC0415  scipy is loaded late

    if not (0.0 <= target <= 1.0 and 0.0 < tail < 1.0 and eyes >= 1.0):
        raise WrongInput(
            f"a limit needs a share from 0 to 1, a tail between 0 and 1 and at least one eye, got "
            f"{target}, {tail} and {eyes}"
        )
    n = math.floor(eyes)
    return float(binom.ppf(tail, n, target)) / n


def funnel_of(series: Series, column: str = "surgeon") -> Funnel:
    """Whose rate of complete cover lies farther from all eyes' than chance explains?

    Parameters
    ----------
    series : Series
        With ``complete``; eyes where the picture cannot tell it are left out.
    column : str
        Column of names: surgeon, technique, implant.

    Raises
    ------
    WrongInput
        There is no such column of names.
    MeasurementRefused
        Fewer than two names, or no eye tells complete cover.

    Notes
    -----
    Eyes of a person being alike, the limits stand at the number of separate eyes that the eyes are
    worth, by one correlation from all eyes together.

    Examples
    --------
    >>> names = Names.of(["S-1"] * 40 + ["S-2"] * 40)
    >>> complete = np.array([1.0] * 40 + [1.0] * 20 + [0.0] * 20)
    >>> told = funnel_of(Series({"complete": complete}, {"surgeon": names}, np.arange(80)))
    >>> [(one.name, one.share, one.outside) for one in told.points]
    [('S-1', 1.0, 99), ('S-2', 0.5, 99)]
    """
    names = series.names.get(column)
    if names is None:
        raise WrongInput(
            f"the table has no column of names called {column}; it has {', '.join(series.names)}"
        )
    rows = known(series.number("complete")) & (names.codes >= 0)
    if not rows.any():
        raise MeasurementRefused(
            "no-cover", f"a funnel needs eyes that tell complete cover and a {column}; none does"
        )
    kept = series.among(rows)
    covered = (kept.number("complete") > 0.5).astype(np.float64)
    target, alike = float(covered.mean()), pair_correlation(covered, kept.person)
    points = _points(kept, covered, (column, target, alike))
    if len(points) < _FEWEST_NAMES:
        raise MeasurementRefused(
            "one-name", f"a funnel sets several side by side, and the rows hold one {column} only"
        )
    return Funnel(column, target, points)


def _points(
    kept: Series, covered: FloatArray, law: tuple[str, float, float]
) -> tuple[FunnelPoint, ...]:
    column, target, alike = law
    names: Names = kept.names[column]
    points = []
    for name in names.names:
        own = names.where(name)
        eyes, persons = int(own.sum()), count_persons(kept.person[own])
        if eyes == 0:
            continue
        separate = effective_eyes(eyes, persons, alike)
        inner, outer = (
            (binomial_limit(target, separate, tail), binomial_limit(target, separate, 1.0 - tail))
            for tail in TAILS
        )
        found = float(covered[own].mean())
        outside = 0 if inner[0] <= found <= inner[1] else 95
        outside = outside if outer[0] <= found <= outer[1] else 99
        told = share(name, covered[own] > 0.5, kept.person[own], _note(outside, inner))
        points.append(FunnelPoint(told, separate, (inner, outer), outside))
    return tuple(points)


def _note(outside: int, inner: tuple[float, float]) -> str:
    where = {0: "within", 95: "outside the 95 %, within the 99.8 %", 99: "outside the 99.8 %"}
    ends = f"{100.0 * inner[0]:.1f} to {100.0 * inner[1]:.1f} %"
    return f"{where[outside]} limits of chance (95 %: {ends})"


def funnel_chapter(funnel: Funnel) -> AuditPart:
    """How does a funnel read as a chapter: one share a name?

    Examples
    --------
    >>> funnel_chapter(Funnel("surgeon", 0.9, ())).title
    'Complete cover by surgeon, about 90.0 % of all eyes'
    """
    title = f"Complete cover by {funnel.column}, about {100.0 * funnel.target:.1f} % of all eyes"
    return AuditPart("funnel", title, tuple(one.told for one in funnel.points))
