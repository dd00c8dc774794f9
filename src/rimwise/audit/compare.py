"""Two ways of working set side by side: what differs, by how much, and what is only chance."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rimwise.audit.chapters import known
from rimwise.records.series import Figure, Series
from rimwise.stats.clustered import bootstrap_by_person, clustered_fit, count_persons, gapless
from rimwise.stats.paired import holm, mcnemar, same_spread
from rimwise.stats.trimmed import yuen
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.errors import WrongInput

_DRAWS = 2000
_FEWEST = 5


@dataclass(frozen=True, slots=True)
class Difference:
    """One outcome in two groups.

    Parameters
    ----------
    outcome, unit : str
    first, second : float
        Mean, share or standard deviation of each group.
    difference : Figure
        Second less first; a ratio for scatters.
    p : float or None
        As tested.
    p_holm : float or None
        After correction for all outcomes of the comparison.
    equivalent : bool or None
        Whether the 90 % interval lies within the margin; None where no margin was given.
    """

    outcome: str
    unit: str
    first: float
    second: float
    difference: Figure
    p: float | None
    p_holm: float | None = None
    equivalent: bool | None = None


def mean_difference(  # noqa: PLR0913, PLR0917  one outcome with all that bears on it
    outcome: str,
    values: FloatArray,
    second: BoolArray,
    person: IntArray,
    unit: str,
    adjust: FloatArray | None = None,
    margin: float | None = None,
) -> Difference:
    """By how much do the means of two groups differ, with both eyes of a person allowed for?

    Parameters
    ----------
    values : array, shape (n,)
    second : array of bool, shape (n,)
        Which eyes belong to the second group.
    person : array of int
    adjust : array, shape (n, k), optional
        Case mix: columns that are held equal (centred here).
    margin : float, optional
        For equivalence, in the unit.

    Raises
    ------
    WrongInput
        Too few persons in a group.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> second = np.arange(80) % 2 == 1
    >>> told = mean_difference("cover", rng.normal(0, 1, 80) + second, second, np.arange(80), "mm")
    >>> told.p < 0.01
    True
    """
    _check(second, person)
    columns = [np.ones(len(values)), second.astype(np.float64)]
    if adjust is not None:
        columns += list((adjust - adjust.mean(axis=0)).T)
    fit = clustered_fit(values, np.column_stack(columns), gapless(person))
    low, high = fit.interval(1)
    way = f"estimating equations by person, {fit.way}"
    if adjust is not None:
        way += f", {adjust.shape[1]} columns of case mix held equal"
    told = Figure(
        f"{outcome}: second less first",
        float(fit.coefficients[1]),
        low,
        high,
        unit,
        fit.eyes,
        fit.persons,
        way,
        note=fit.note,
    )
    equivalent = None
    if margin is not None:
        narrow = fit.interval(1, 0.90)
        equivalent = -margin < narrow[0] and narrow[1] < margin
    groups = float(values[~second].mean()), float(values[second].mean())
    return Difference(outcome, unit, *groups, told, fit.p_value(1), equivalent=equivalent)


def _check(second: BoolArray, person: IntArray) -> None:
    for name, rows in (("first", ~second), ("second", second)):
        count = count_persons(person[rows])
        if count < _FEWEST:
            raise WrongInput(
                f"the {name} group has {count} persons, and a comparison needs at least {_FEWEST}"
            )


def spread_ratio(
    outcome: str,
    values: FloatArray,
    second: BoolArray,
    person: IntArray,
    unit: str,
    rng: np.random.Generator,
) -> Difference:
    """How many times as much does the second group scatter?

    Notes
    -----
    p: mean absolute deviation from each group's median, compared by estimating equations
    (Brown and Forsythe 1974, persons allowed for); interval of the ratio of standard deviations
    by bootstrap of persons (percentile on the log scale).

    Examples
    --------
    >>> rng = np.random.default_rng(4)
    >>> second = np.arange(200) % 2 == 1
    >>> told = spread_ratio("error", rng.normal(0, 1 + second), second, np.arange(200), "dpt", rng)
    >>> told.p < 0.01, told.difference.low > 1.0
    (True, True)
    """
    _check(second, person)
    deviation = np.empty_like(values)
    for rows in (second, ~second):
        deviation[rows] = np.abs(values[rows] - np.median(values[rows]))
    fit = clustered_fit(
        deviation,
        np.column_stack([np.ones(len(values)), second.astype(np.float64)]),
        gapless(person),
    )
    weights = bootstrap_by_person(gapless(person), rng, _DRAWS)
    logs = _log_sd(values, weights * second) - _log_sd(values, weights * ~second)
    low, high = np.exp(np.quantile(logs[np.isfinite(logs)], [0.025, 0.975]))
    sds = float(values[~second].std(ddof=1)), float(values[second].std(ddof=1))
    told = Figure(
        f"{outcome}: scatter, second over first",
        sds[1] / sds[0],
        float(low),
        float(high),
        "1",
        len(values),
        fit.persons,
        f"bootstrap by person, {_DRAWS} draws",
    )
    return Difference(f"{outcome}, scatter", unit, *sds, told, fit.p_value(1))


def _log_sd(values: FloatArray, weights: FloatArray) -> FloatArray:
    total = weights.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = weights @ values / total
        square = weights @ values**2 / total - mean**2
        return np.asarray(0.5 * np.log(square * total / (total - 1.0)))


def trimmed_difference(
    outcome: str, values: FloatArray, second: BoolArray, unit: str
) -> Difference:
    """By how much do 20 % trimmed means of two groups of separate eyes differ?

    Give one eye a person: this test knows no pairs.

    Examples
    --------
    >>> told = trimmed_difference("error", np.array([1.0, 2, 3, 4, 5, 2, 3, 4, 5, 60]),
    ...     np.arange(10) >= 5, "dpt")
    >>> told.difference.value
    1.0
    """
    test = yuen(values[second], values[~second])
    told = Figure(
        f"{outcome}: trimmed mean, second less first",
        test.difference,
        test.low,
        test.high,
        unit,
        len(values),
        len(values),
        "Yuen, 20 % trimmed; one eye a person",
    )
    groups = float(np.median(values[~second])), float(np.median(values[second]))
    return Difference(f"{outcome}, trimmed", unit, *groups, told, test.p)


def fisher(first: tuple[int, int], second: tuple[int, int]) -> float:
    """How likely is so uneven a fourfold table by chance (exact, both sides)?

    Parameters
    ----------
    first, second : (count, total)
        One eye a person.

    Examples
    --------
    >>> round(fisher((15, 804), (1, 822)), 5)
    0.00023
    """
    from scipy.stats import fisher_exact  # noqa: PLC0415  scipy is loaded late

    (k1, n1), (k2, n2) = first, second
    return float(fisher_exact([[k1, n1 - k1], [k2, n2 - k2]]).pvalue)


def paired_within(outcome: str, first: BoolArray, second: BoolArray) -> Difference:
    """Do two predictions of the same eyes hit equally often?

    Examples
    --------
    >>> told = paired_within("hit", np.array([True] * 5), np.array([False] * 5))
    >>> told.p
    0.0625
    """
    p = mcnemar(int((first & ~second).sum()), int((second & ~first).sum()))
    shares = float(first.mean()), float(second.mean())
    told = Figure(
        f"{outcome}: second less first",
        shares[1] - shares[0],
        None,
        None,
        "1",
        len(first),
        len(first),
        "McNemar, exact",
    )
    return Difference(outcome, "1", *shares, told, p)


def paired_spread(outcome: str, first: FloatArray, second: FloatArray, unit: str) -> Difference:
    """Do two predictions of the same eyes scatter alike, whatever their tails?

    Examples
    --------
    >>> rng = np.random.default_rng(5)
    >>> paired_spread("error", rng.normal(0, 2, 99), rng.normal(0, 1, 99), "dpt").p < 1e-6
    True
    """
    test = same_spread(first, second)
    sds = float(first.std(ddof=1)), float(second.std(ddof=1))
    told = Figure(
        f"{outcome}: scatter, second over first",
        sds[1] / sds[0],
        None,
        None,
        "1",
        len(first),
        len(first),
        "heteroscedastic test of paired spreads (HC4)",
    )
    return Difference(f"{outcome}, scatter", unit, *sds, told, test.p)


def corrected(differences: list[Difference]) -> list[Difference]:
    """Which p values remain after Holm's correction for all outcomes that were tested?

    Examples
    --------
    >>> figure = Figure("d", 0.0, None, None, "1", 9, 9)
    >>> rows = [Difference("a", "1", 0, 0, figure, 0.02), Difference("b", "1", 0, 0, figure, 0.03)]
    >>> [one.p_holm for one in corrected(rows)]
    [0.04, 0.04]
    """
    from dataclasses import replace  # noqa: PLC0415

    tested = [index for index, one in enumerate(differences) if one.p is not None]
    fixed = holm([differences[index].p or 0.0 for index in tested])
    told = list(differences)
    for index, p in zip(tested, fixed, strict=True):
        told[index] = replace(told[index], p_holm=p)
    return told


OUTCOMES: tuple[tuple[str, str, str], ...] = (
    ("least_cover_mm", "least cover", "mm"),
    ("diameter_mm", "diameter of the opening", "mm"),
    ("bare_total_deg", "bare arc", "deg"),
    ("acuity_logmar", "acuity", "logMAR"),
    ("opacification_score", "opacification score", "1"),
)


def compare(
    series: Series,
    second: BoolArray,
    rng: np.random.Generator,
    adjust: tuple[str, ...] = (),
    margins: Mapping[str, float] | None = None,
) -> list[Difference]:
    """In which outcomes do two groups of a series differ?

    Parameters
    ----------
    series : Series
    second : array of bool
        Which eyes are the second group.
    rng : Generator
        For the bootstrap.
    adjust : tuple of column names
        Case mix that is held equal.
    margins : mapping of outcome to margin, optional
        For equivalence: whether the 90 % interval lies within it.

    Raises
    ------
    WrongInput
        A group is too small, or no outcome is known in both.

    Examples
    --------
    >>> rng = np.random.default_rng(6)
    >>> series = Series({"least_cover_mm": rng.normal(0.3, 0.2, 40)}, {}, np.arange(40))
    >>> [one.outcome for one in compare(series, np.arange(40) % 2 == 1, rng)]
    ['least cover', 'least cover, scatter']
    """
    mix = tuple(series.number(name) for name in adjust)
    told: list[Difference] = []
    for key, words, unit, values in outcomes_of(series):
        rows = known(values, *mix)
        if min(_persons(series, rows & second), _persons(series, rows & ~second)) < _FEWEST:
            continue
        held = np.column_stack([one[rows] for one in mix]) if mix else None
        part = values[rows], second[rows], series.person[rows]
        told.append(mean_difference(words, *part, unit, held, (margins or {}).get(key)))
        if unit != "1" and key not in {"distance", "absolute"}:
            told.append(spread_ratio(words, *part, unit, rng))
        if key == "absolute" and _persons(series, rows) == int(rows.sum()):
            # Skewed; the test knows no pairs, so only where every eye is another person's.
            told.append(trimmed_difference(words, values[rows], second[rows], unit))
    if not told:
        raise WrongInput(
            f"no outcome is known for at least {_FEWEST} persons in both groups; check the columns"
        )
    return corrected(told)


def _persons(series: Series, rows: BoolArray) -> int:
    return count_persons(series.person[rows])


def outcomes_of(series: Series) -> list[tuple[str, str, str, FloatArray]]:
    """Which outcomes are compared: key, words, unit and a value an eye?

    Examples
    --------
    >>> [one[0] for one in outcomes_of(Series({}, {}, np.arange(2)))][-3:]
    ['distance', 'error', 'absolute']
    """
    told = [(name, words, unit, series.number(name)) for name, words, unit in OUTCOMES]
    told.append(("complete", "complete cover", "1", series.number("complete")))
    return told + _derived(series)


def _derived(series: Series) -> list[tuple[str, str, str, FloatArray]]:
    from rimwise.audit.refraction import prediction_errors  # noqa: PLC0415

    distance = np.hypot(
        series.number("opening_from_optic_nasal_mm"),
        series.number("opening_from_optic_superior_mm"),
    )
    errors = prediction_errors(series)
    return [
        ("distance", "distance of opening from optic centre", "mm", distance),
        ("error", "prediction error", "dpt", errors),
        ("absolute", "absolute prediction error", "dpt", np.abs(errors)),
    ]
