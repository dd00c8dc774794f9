"""Measured against truth: what the demonstration says about its own pictures."""

from dataclasses import dataclass

from rimwise.demo.shelf import ShelvedPicture
from rimwise.records.cover import CoverFinding
from rimwise.report.page import PageTable
from rimwise.report.words import STATUS_WORDS, number_words

HEAD = (
    "Picture",
    "Drawn by",
    "Status",
    "Least cover, mm",
    "Truth there",
    "Opening diameter, mm",
    "Truth",
    "Complete",
    "Truth",
)
COMPLETE = {True: "yes", False: "no", None: "not told"}


@dataclass(frozen=True, slots=True)
class Check:
    """One picture's measured numbers beside the truth.

    ``true_least_mm`` is the least true cover over the directions that were measured.
    """

    shelved: ShelvedPicture
    finding: CoverFinding

    @property
    def true_least_mm(self) -> float | None:
        """The least true cover among the directions that the finding tells of."""
        if self.finding.cover is None:
            return None
        told = [
            true
            for true, width in zip(self.shelved.cover_mm, self.finding.cover.width_mm, strict=True)
            if width is not None
        ]
        return min(told, default=None)

    @property
    def covered(self) -> bool:
        """Whether the optic is truly covered all the way round."""
        return min(self.shelved.cover_mm) > 0.0

    def row(self) -> tuple[str, ...]:
        """Return the cells of the table."""
        finding, cover, opening = self.finding, self.finding.cover, self.finding.opening
        least = None if cover is None else cover.min_mm
        return (
            finding.picture.removesuffix(".jpg").removeprefix("invented_"),
            self.shelved.drawn_by,
            STATUS_WORDS[finding.status].lower(),
            "–" if least is None else _bare(least.value, least.sd),
            "–" if least is None or self.true_least_mm is None
            else _bare(self.true_least_mm, None),
            "–" if opening is None or opening.equivalent_diameter_mm is None
            else _bare(opening.equivalent_diameter_mm.value, opening.equivalent_diameter_mm.sd),
            _bare(self.shelved.equivalent_diameter_mm, None),
            "–" if cover is None else COMPLETE[cover.complete],
            COMPLETE[self.covered],
        )  # fmt: skip


def _bare(value_mm: float, sd_mm: float | None) -> str:
    """Write a number whose unit stands in the table's head."""
    return number_words(value_mm, sd_mm, "").strip()


def honesty_words(checks: list[Check]) -> str:
    """How often do value and ± hold against the truth, and is anything claimed falsely?"""
    least = [
        abs(check.finding.cover.min_mm.value - check.true_least_mm) / check.finding.cover.min_mm.sd
        for check in checks
        if check.finding.cover is not None
        and check.finding.cover.min_mm is not None
        and check.finding.cover.min_mm.sd > 0.0
        and check.true_least_mm is not None
    ]
    false = sum(
        check.finding.cover is not None
        and check.finding.cover.complete is not None
        and check.finding.cover.complete is not check.covered
        for check in checks
    )
    held = sum(ratio <= 2.0 for ratio in least)
    told = sum(
        check.finding.cover is not None and check.finding.cover.complete is not None
        for check in checks
    )
    return (
        f"{held} of {len(least)} least covers lie within ± 2 sd of the truth; complete or not was "
        f"told for {told} of {len(checks)} pictures, wrongly for {false}."
    )


def check_table(checks: list[Check]) -> PageTable:
    """Which table shows measured numbers beside the truth?"""
    caption = (
        "Least cover (± one sd) beside the least true cover over the same directions; the last "
        f"pictures were ray traced by an independent program. {honesty_words(checks)}"
    )
    return PageTable(caption, HEAD, tuple(check.row() for check in checks))


def table_lines(table: PageTable) -> list[str]:
    """How does a table read in plain text?

    Examples
    --------
    >>> table_lines(PageTable("", ("a", "bb"), (("ccc", "d"),)))
    ['a    bb', 'ccc  d']
    """
    lines = [table.head, *table.rows]
    widths = [max(len(line[i]) for line in lines) for i in range(len(table.head))]
    return [
        "  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() for line in lines
    ]
