"""Does a way of working get better, or drift, from eye to eye?"""

from dataclasses import dataclass

import numpy as np

from rimwise.audit.chapters import known
from rimwise.records.series import Series
from rimwise.stats.control_charts import (
    Cusum,
    cusum,
    ewma,
    limit_for_run_length,
    risk_adjusted_cusum,
    risk_adjusted_weights,
    self_starting,
    two_sided_run_length,
)
from rimwise.terms.arrays import FloatArray, IntArray
from rimwise.terms.errors import MeasurementRefused

_SLACK_SD = 0.5  # looks for a drift of one standard deviation
_RUN_LENGTH = 500.0
_FEWEST = 20
_FAILURE_DRAWS = 2000


@dataclass(frozen=True, slots=True, eq=False)
class LearningChart:
    """A chart of one quantity, eye by eye in the order of operation.

    Parameters
    ----------
    name, unit : str
    values : array, shape (n,)
    upper, lower : array
        Running sums in standard deviations.
    limit : float
    run_length : float
        Mean number of eyes between false alarms.
    first_signal : int or None
        Index of the eye at which the chart first signals.
    mean, low, high : array or None
        Weighted running mean of the scores and its limits, in standard deviations.
    sentence : str
    """

    name: str
    unit: str
    values: FloatArray
    upper: FloatArray
    lower: FloatArray
    limit: float
    run_length: float
    first_signal: int | None
    mean: FloatArray | None
    low: FloatArray | None
    high: FloatArray | None
    sentence: str


def in_order(series: Series) -> IntArray:
    """In which order were the eyes operated? (rows as they stand where days do not tell)

    Examples
    --------
    >>> in_order(Series({"operation_day": np.array([3.0, 1.0])}, {}, np.arange(2))).tolist()
    [1, 0]
    """
    day = np.nan_to_num(series.number("operation_day"), nan=np.inf)
    return np.asarray(np.argsort(day, kind="stable"), dtype=np.int64)


def learning_chart(
    series: Series, column: str, name: str, unit: str, target: float | None = None
) -> LearningChart:
    """Has this quantity drifted from its target?

    Parameters
    ----------
    target : float, optional
        Without one each eye is compared with the mean of those before it.

    Raises
    ------
    MeasurementRefused
        Fewer than 20 eyes.

    Notes
    -----
    Page's sums of self-starting scores with a slack of half a standard deviation and the limit
    that gives 500 eyes in control on average, both sides together.

    Examples
    --------
    >>> cover = np.concatenate([np.tile([0.28, 0.32], 15), np.tile([0.08, 0.12], 15)])
    >>> series = Series({"least_cover_mm": cover}, {}, np.arange(60))
    >>> 30 <= learning_chart(series, "least_cover_mm", "least cover", "mm").first_signal < 40
    True
    """
    order = in_order(series)
    row = series.number(column)[order]
    row = row[np.isfinite(row)]
    if len(row) < _FEWEST:
        raise MeasurementRefused(
            "few-eyes", f"a chart of {name} needs at least {_FEWEST} eyes, got {len(row)}"
        )
    scores = self_starting(row, target)
    limit = limit_for_run_length(_SLACK_SD, _RUN_LENGTH)
    sums = cusum(scores, 0.0, _SLACK_SD, limit)
    running = ewma(scores, 0.0, 1.0)
    level = "the eyes before" if target is None else f"the target of {target:g} {unit}"
    return LearningChart(
        name,
        unit,
        row,
        sums.upper,
        sums.lower,
        limit,
        two_sided_run_length(_SLACK_SD, limit),
        sums.first_signal,
        running.mean,
        running.low,
        running.high,
        _sentence(name, level, sums.first_signal, _above(sums)),
    )


def _above(sums: Cusum) -> bool:
    return sums.first_signal is not None and bool(sums.upper[sums.first_signal] > sums.limit)


def _sentence(name: str, level: str, first: int | None, above: bool) -> str:
    if first is None:
        return f"no drift of {name} against {level} is shown"
    way = "above" if above else "below"
    return (
        f"{name} runs {way} {level} since some time before eye {first + 1}; without any drift one "
        f"alarm in {_RUN_LENGTH:.0f} eyes is expected"
    )


def failure_chart(
    series: Series, expected: float | None, rng: np.random.Generator, odds_ratio: float = 2.0
) -> LearningChart:
    """Do incomplete covers come more often than expected?

    Parameters
    ----------
    expected : float or None
        Expected chance of an incomplete cover, where no model of difficulty is at hand; the
        column ``expected_chance`` goes before it eye by eye.
    rng : Generator
        For the limit: the run length in control is simulated.

    Notes
    -----
    Steiner et al. 2000, one-sided, doubled odds; the limit is the one whose simulated mean run
    length in control is 500 eyes.

    Examples
    --------
    >>> series = Series({"complete": np.repeat([1.0, 0.0], 20)}, {}, np.arange(40))
    >>> 20 <= failure_chart(series, 0.1, np.random.default_rng(1)).first_signal < 30
    True
    """
    complete = series.number("complete")[in_order(series)]
    chance = series.number("expected_chance")[in_order(series)]
    chance = np.where(np.isfinite(chance), chance, np.nan if expected is None else expected)
    rows = known(complete, chance)
    chance = chance[rows]
    failed = complete[rows] < 0.5
    if len(failed) < _FEWEST:
        raise MeasurementRefused(
            "few-eyes", f"a chart of covers needs at least {_FEWEST} eyes, got {len(failed)}"
        )
    limit = _limit_of(chance, odds_ratio, rng)
    chart = risk_adjusted_cusum(risk_adjusted_weights(chance, failed.tolist(), odds_ratio), limit)
    sentence = (
        "incomplete covers come as often as expected"
        if chart.first_signal is None
        else f"incomplete covers come more often than expected since before eye "
        f"{chart.first_signal + 1}"
    )
    return LearningChart(
        "incomplete cover",
        "log odds",
        failed.astype(np.float64),
        chart.upper,
        chart.lower,
        limit,
        _RUN_LENGTH,
        chart.first_signal,
        None,
        None,
        None,
        sentence,
    )


def _limit_of(chance: FloatArray, odds_ratio: float, rng: np.random.Generator) -> float:
    """Limit whose mean run length in control is as stated, by simulation from these chances."""
    runs, longest = _FAILURE_DRAWS, int(6 * _RUN_LENGTH)
    level, peak = np.zeros(runs), np.zeros((runs, longest), dtype=np.float32)
    for step in range(longest):
        p = rng.choice(chance, size=runs)
        weights = risk_adjusted_weights(p, (rng.random(runs) < p).tolist(), odds_ratio)
        level = np.maximum(level + weights, 0.0)
        peak[:, step] = level
    np.maximum.accumulate(peak, axis=1, out=peak)

    def length(limit: float) -> float:
        over = peak > limit
        first = np.where(over.any(axis=1), over.argmax(axis=1) + 1, longest)
        # Runs that never signalled go on at the rate of those that did (exponential tail).
        ended = over.any(axis=1).sum()
        return float(first.sum() / max(int(ended), 1))

    low, high = 0.0, float(peak.max())
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if length(middle) < _RUN_LENGTH else (low, middle)
    return 0.5 * (low + high)
