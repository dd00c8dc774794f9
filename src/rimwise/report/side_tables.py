"""Tables beside an audit's chapters: who is in, comparisons, charts, surgeons, own spread."""

from collections.abc import Sequence
from dataclasses import dataclass

from rimwise.audit.compare import Difference
from rimwise.audit.funnel import Funnel
from rimwise.audit.learning import LearningChart
from rimwise.audit.spread import OwnComponent, OwnSpread
from rimwise.records.series import Audit

Row = tuple[str, ...]
EQUIVALENT = {True: "yes", False: "not shown", None: "-"}


@dataclass(frozen=True, slots=True)
class SideTable:
    """A table of words: a name for its file, a title, headings, rows, and what is to be said.

    Examples
    --------
    >>> SideTable("flow", "Who is in", ("a",), (("1",),)).lines()
    [('a',), ('1',)]
    """

    key: str
    title: str
    head: Row
    rows: tuple[Row, ...]
    note: str = ""

    def lines(self) -> list[Row]:
        """Return headings and rows."""
        return [self.head, *self.rows]


def flow_table(audit: Audit) -> SideTable:
    """Who is in an audit and who is out, as a table?

    Examples
    --------
    >>> flow_table(Audit("t.csv", 3, 2, "", (), ())).rows
    (('audited', '0', '3'),)
    """
    rows = [(one.reason, str(one.rows_out), str(one.rows_left)) for one in audit.flow]
    rows.append(("audited", "0", str(audit.eyes)))
    return SideTable("flow", "Who is in it and who is out", ("step", "out", "left"), tuple(rows))


def comparison_table(
    differences: Sequence[Difference], groups: tuple[str, str, str] | None
) -> SideTable | None:
    """How do two groups differ, outcome by outcome? None where nothing was compared.

    Parameters
    ----------
    differences : sequence of Difference
    groups : (column, first, second), optional

    Examples
    --------
    >>> comparison_table((), None) is None
    True
    """
    if not differences:
        return None
    first, second = ("first", "second") if groups is None else groups[1:]
    head = ("outcome", "unit", first, second, "difference", "95 % interval", "eyes", "p",
            "p (Holm)", "equivalent", "how")  # fmt: skip
    rows = tuple(_compared(one) for one in differences)
    title = f"{second} less {first}" if groups is not None else "Second less first"
    return SideTable(
        "comparison", title, head, rows,
        "Scatters are told as a ratio. A difference that is not shown is not shown to be absent.",
    )  # fmt: skip


def _compared(one: Difference) -> Row:
    told = one.difference
    ratio = told.unit != one.unit  # of scatters, which bear the outcome's own unit
    return (
        f"{one.outcome} (difference: second over first)" if ratio else one.outcome,
        "share" if one.unit == "1" else one.unit,
        _number(one.first),
        _number(one.second),
        _number(told.value),
        _ends(told.low, told.high),
        str(told.n),
        _chance(one.p),
        _chance(one.p_holm),
        EQUIVALENT[one.equivalent],
        "; ".join(word for word in (told.way, told.note) if word),
    )


def _number(value: float | None) -> str:
    # A value that rounds to nothing has no sign.
    return "-" if value is None else f"{round(value, 3) + 0.0:.3f}"


def _ends(low: float | None, high: float | None) -> str:
    return "-" if low is None or high is None else f"{_number(low)} to {_number(high)}"


def _chance(p: float | None) -> str:
    if p is None:
        return "-"
    return f"{p:.1e}" if p < 0.001 else f"{p:.3f}"


def charts_table(charts: Sequence[LearningChart]) -> SideTable | None:
    """What do the charts say, one row each? None where none was made.

    Examples
    --------
    >>> charts_table(()) is None
    True
    """
    if not charts:
        return None
    rows = tuple(
        (
            one.name,
            str(len(one.values)),
            f"{one.limit:.2f}",
            f"{one.run_length:.0f}",
            "none" if one.first_signal is None else f"eye {one.first_signal + 1}",
            one.sentence,
        )
        for one in charts
    )
    head = ("chart", "eyes", "limit", "eyes between false alarms", "first signal", "in words")
    return SideTable("charts", "Charts in the order of operation", head, rows)


def chart_points(chart: LearningChart) -> SideTable:
    """Which numbers does a chart draw, eye by eye?

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.audit.learning import learning_chart
    >>> from rimwise.records.series import Series
    >>> series = Series({"x": np.tile([1.0, 2.0], 10)}, {}, np.arange(20))
    >>> len(chart_points(learning_chart(series, "x", "size", "mm")).rows)
    20
    """
    head = ("eye", f"value_{chart.unit}", "sum_above", "sum_below", "mean_sd", "low_sd", "high_sd")
    columns = [chart.values, chart.upper, chart.lower, chart.mean, chart.low, chart.high]
    rows = tuple(
        (str(eye + 1), *("" if one is None else f"{one[eye]:.6g}" for one in columns))
        for eye in range(len(chart.values))
    )
    return SideTable(chart_key(chart), chart.name, head, rows)


def chart_key(chart: LearningChart) -> str:
    """What is a chart's file called?

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.audit.learning import learning_chart
    >>> from rimwise.records.series import Series
    >>> series = Series({"x": np.tile([1.0, 2.0], 10)}, {}, np.arange(20))
    >>> chart_key(learning_chart(series, "x", "least cover, mean", "mm"))
    'chart-least-cover-mean'
    """
    return f"chart-{chart.name.replace(' ', '-').replace(',', '')}"


def funnel_table(funnel: Funnel | None) -> SideTable | None:
    """How does each name of a funnel stand to the common rate? None without a funnel.

    Examples
    --------
    >>> funnel_table(None) is None
    True
    """
    if funnel is None:
        return None
    rows = tuple(
        (
            one.name,
            f"{one.told.count} of {one.told.n}",
            f"{100.0 * one.share:.1f} %",
            f"{one.worth:.0f}",
            *(f"{100.0 * low:.1f} to {100.0 * high:.1f} %" for low, high in one.limits),
            {0: "within", 95: "outside 95 %", 99: "outside 99.8 %"}.get(one.outside, "outside"),
        )
        for one in funnel.points
    )
    head = (funnel.column, "covered all round", "share", "separate eyes", "95 % by chance",
            "99.8 % by chance", "stands")  # fmt: skip
    title = f"Each {funnel.column} about all eyes, {100.0 * funnel.target:.1f} %"
    return SideTable("funnel-limits", title, head, rows, funnel.sentence)


def spread_table(own: OwnSpread | None) -> SideTable | None:
    """Which bias and scatter go back into the plan? None where they were not asked for.

    Examples
    --------
    >>> spread_table(None) is None
    True
    """
    if own is None:
        return None
    parts = [
        ("opening from its target, nasal", own.nasal),
        ("opening from its target, superior", own.superior),
        ("diameter, made less wanted", own.diameter),
    ]
    for words, pair in (
        ("optic from its rest", own.rest),
        ("opening from the visual axis", own.visual_axis),
    ):
        if pair is not None:
            parts += [(f"{words}, nasal", pair[0]), (f"{words}, superior", pair[1])]
    head = ("what", "bias (mm)", "its ± (mm)", "scatter (mm)", "scatter as seen (mm)",
            "measurement's own (mm)", "from published", "eyes")  # fmt: skip
    rows = tuple(_spread_row(words, one) for words, one in parts)
    return SideTable(
        "spread", f"Own spread, {own.technique}", head, rows, f"Published: {own.prior}."
    )


def _spread_row(words: str, one: OwnComponent) -> Row:
    numbers = (one.bias, one.bias_sd, one.sd, one.seen_sd, one.measurement_sd)
    return (
        words,
        f"{one.bias:+.3f}",
        *(f"{number:.3f}" for number in numbers[1:]),
        f"{100.0 * one.shrunk:.0f} %",
        str(one.eyes),
    )
