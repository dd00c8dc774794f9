"""An audit as files: JSON, tables, drawings, one page, one PDF."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from rimwise import __version__
from rimwise.audit.compare import Difference
from rimwise.audit.funnel import Funnel
from rimwise.audit.learning import LearningChart
from rimwise.audit.select import EyesChoice
from rimwise.audit.sharing import for_sharing
from rimwise.audit.spread import Hand, OwnSpread
from rimwise.casebook.own_hand import SPREAD_FILE
from rimwise.exchange.results import document_of
from rimwise.exchange.spreads import spread_document
from rimwise.exchange.tables import ReadTable, chapter_csv, lines_csv
from rimwise.exchange.writing import make_folder, write_bytes, write_json
from rimwise.records.series import Audit
from rimwise.report.side_tables import (
    SideTable,
    chart_key,
    chart_points,
    charts_table,
    comparison_table,
    flow_table,
    funnel_table,
    spread_table,
)
from rimwise.store.folder import default_folder

Kind = Literal["svg", "png", "pdf"]
Drawing = tuple[str, str, str, bytes]
_NUMBERS = "Numbers with their 95 % intervals"


@dataclass(frozen=True, slots=True)
class AuditRequest:
    """What the person asked for.

    Parameters
    ----------
    table : Path or None
        None: the casebook is audited.
    columns : mapping of column to heading
    only : mapping of name column to name
    eyes : "both", "first" or "random"
    seed : int
        For all that is drawn.
    compare : (column, first, second), optional
    adjust : tuple of columns held equal
    charts : bool
    expected_bare : float, optional
        Expected chance of an incomplete cover, for its chart.
    json_out, tables, drawings, page : where to
    spread_out : Path, optional
    hand : "manual" or "guided"
    casebook : Path, optional
        The folder of the casebook.
    funnel : str, optional
        A column of names: its names set about their common rate.
    fewest : int, optional
        For sharing: counts below this are withheld.
    pdf : Path, optional
    drawing_kind : "svg", "png" or "pdf"
        Of the drawings written singly.
    covers : Path, optional
        What ``measure --json`` wrote of the rows' pictures: for the cover strips.
    paired : bool
        Compare the two eyes of the same persons.
    margins : mapping of outcome to margin
        For equivalence.
    """

    table: Path | None
    columns: Mapping[str, str] = field(default_factory=dict)
    only: Mapping[str, str] = field(default_factory=dict)
    eyes: EyesChoice = "both"
    seed: int = 1
    compare: tuple[str, str, str] | None = None
    adjust: tuple[str, ...] = ()
    charts: bool = False
    expected_bare: float | None = None
    json_out: Path | str | None = None
    tables: Path | None = None
    drawings: Path | None = None
    page: Path | None = None
    spread_out: Path | str | None = None
    hand: Hand = "manual"
    casebook: Path | None = None
    funnel: str | None = None
    fewest: int | None = None
    pdf: Path | None = None
    drawing_kind: Literal["svg", "png", "pdf"] = "svg"
    covers: Path | None = None
    paired: bool = False
    margins: Mapping[str, float] = field(default_factory=dict)

    @property
    def inputs(self) -> list[Path]:
        """Return the files that are read."""
        return [one for one in (self.table, self.covers) if one is not None]


@dataclass(frozen=True, slots=True, eq=False)
class Audited:
    """An audit with all that was asked beside it."""

    audit: Audit
    read: ReadTable
    differences: tuple[Difference, ...] = ()
    charts: tuple[LearningChart, ...] = ()
    spread: OwnSpread | None = None
    notes: tuple[str, ...] = ()
    written: tuple[Path, ...] = ()
    funnel: Funnel | None = None
    groups: tuple[str, str, str] | None = None


def shared(done: Audited, fewest: int) -> Audited:
    """What of an audit can be passed on, if no count below this may be read from it?

    Everything that is told eye by eye or group by group is withheld: charts, comparisons, a funnel
    with a small group, what was found wrong in single cells, and the cells of the preview.
    """
    told = for_sharing(done.audit, fewest)
    notes = [f"withheld for sharing, {one}" for one in told.withheld]
    if done.charts:
        notes.append("withheld for sharing: charts, which show eye by eye")
    if done.differences:
        notes.append("withheld for sharing: comparisons, from which groups could be reckoned")
    funnel = done.funnel
    if funnel is not None and _tells_few(funnel, fewest):
        funnel = None
        notes.append(f"withheld for sharing: a funnel with a count below {fewest}")
    read = replace(done.read, findings=(), preview=())
    return replace(
        done, audit=told.audit, read=read, differences=(), charts=(), funnel=funnel,
        notes=tuple(notes),
    )  # fmt: skip


def _tells_few(funnel: Funnel, fewest: int) -> bool:
    told = [(one.told.count or 0, one.told.n) for one in funnel.points]
    return any(0 < few < fewest for count, n in told for few in (count, n - count))


def audit_document(done: Audited) -> dict[str, Any]:
    """Return the entry ``rimwise.audit/1`` with comparisons, charts and findings."""
    entry = done.audit.document()
    entry["findings"] = list(done.read.findings)
    entry["columns"] = dict(done.read.mapped.columns)
    entry["unused_headings"] = list(done.read.mapped.unused)
    entry["differences"] = [
        {
            "outcome": one.outcome,
            "unit": one.unit,
            "first": one.first,
            "second": one.second,
            "difference": one.difference.document(),
            "p": one.p,
            "p_holm": one.p_holm,
            "equivalent": one.equivalent,
        }
        for one in done.differences
    ]
    entry["charts"] = [
        {
            "name": one.name,
            "limit": one.limit,
            "run_length": one.run_length,
            "first_signal": one.first_signal,
            "sentence": one.sentence,
        }
        for one in done.charts
    ]
    entry["funnel"] = None if done.funnel is None else _funnel_document(done.funnel)
    return entry


def _funnel_document(funnel: Funnel) -> dict[str, Any]:
    return {
        "column": funnel.column,
        "target": funnel.target,
        "sentence": funnel.sentence,
        "points": [
            {
                "name": one.name,
                "count": one.told.count,
                "n": one.told.n,
                "persons": one.told.persons,
                "worth": one.worth,
                "limits_95": list(one.limits[0]),
                "limits_99_8": list(one.limits[1]),
                "outside": one.outside,
            }
            for one in funnel.points
        ],
    }


def write_audit(done: Audited, request: AuditRequest) -> list[Path]:
    """Which files were written?

    Raises
    ------
    OutputFailed
        One cannot be written.
    """
    written: list[Path] = []
    if request.tables is not None:
        written += _write_tables(done, make_folder(request.tables))
    drawings = [] if request.drawings is None else drawings_of(done, request.drawing_kind)
    if request.drawings is not None:
        make_folder(request.drawings)
        for name, _, _, data in drawings:
            path = request.drawings / f"{name}.{request.drawing_kind}"
            write_bytes(path, data)
            written.append(path)
    written += _write_report(done, request)
    if request.spread_out is not None and done.spread is not None:
        document = document_of([spread_document(done.spread)])
        write_json(request.spread_out, document)
        if request.table is None:  # the casebook's own eyes: what its next plan starts from
            kept = (request.casebook or default_folder()) / SPREAD_FILE
            write_json(kept, document)
            written.append(kept)
    if request.json_out is not None:
        write_json(request.json_out, document_of([audit_document(done)]))
    return written


def side_tables(done: Audited) -> list[SideTable]:
    """Which tables stand beside the chapters: comparison, charts, surgeons, own spread?"""
    told = (
        comparison_table(done.differences, done.groups),
        charts_table(done.charts),
        funnel_table(done.funnel),
        spread_table(done.spread),
    )
    return [one for one in told if one is not None]


def table_texts(done: Audited) -> dict[str, str]:
    """Which tables does an audit hold, by name, as CSV?

    Chapters, the tables beside them, the points of the charts and the cover strips.
    """
    texts = {part.key.replace(":", "-"): chapter_csv(part) for part in done.audit.parts}
    more = [flow_table(done.audit), *side_tables(done)]
    more += [chart_points(one) for one in done.charts]
    texts |= {one.key: lines_csv(one.lines()) for one in more}
    if done.audit.strips is not None:
        texts["cover-strips"] = lines_csv(done.audit.strips.rows())
    return texts


def _write_tables(done: Audited, folder: Path) -> list[Path]:
    written = []
    for key, text in table_texts(done).items():
        written.append(folder / f"{key}.csv")
        write_bytes(written[-1], text.encode("utf-8"))
    return written


def _write_report(done: Audited, request: AuditRequest) -> list[Path]:
    """Write page and PDF: the same drawings, tables and words."""
    if request.page is None and request.pdf is None:
        return []
    drawings, tables = drawings_of(done, "svg"), side_tables(done)
    if request.page is not None:
        from rimwise.report.audit_page import audit_page  # noqa: PLC0415 - brings matplotlib

        shown = [(title, text, data) for _, title, text, data in drawings]
        html = audit_page(done.audit, shown, __version__, tables)
        write_bytes(request.page, html.encode("utf-8"))
    if request.pdf is not None:
        from rimwise.exchange.pdf import page_pdf  # noqa: PLC0415 - brings the typesetter
        from rimwise.report.series_page import series_data  # noqa: PLC0415

        files = {f"{name}.svg": data for name, _, _, data in drawings}
        data = series_data(done.audit, drawings, __version__, tables)
        write_bytes(request.pdf, page_pdf("series", data, files))
    return [one for one in (request.page, request.pdf) if one is not None]


def drawings_of(done: Audited, kind: Kind) -> list[Drawing]:
    """Which drawings show an audit: name, title, description, bytes?"""
    from rimwise.report.audit_drawing import (  # noqa: PLC0415 - brings matplotlib
        draw_chart,
        draw_cloud,
        draw_numbers,
        number_sheets,
        numbers_description,
    )
    from rimwise.report.series_drawing import (  # noqa: PLC0415
        draw_flow,
        draw_funnel,
        flow_description,
    )
    from rimwise.report.strips_drawing import draw_strips, strips_description  # noqa: PLC0415

    audit = done.audit
    made: list[Drawing] = [
        ("flow", "Who is in it and who is out", flow_description(audit), draw_flow(audit, kind))
    ]
    for name, units in number_sheets(audit):
        numbers = draw_numbers(audit, kind, units)
        if numbers is not None:
            made.append((name, _NUMBERS, numbers_description(audit), numbers))
    if audit.strips is not None:
        text = strips_description(audit.strips)
        drawn = draw_strips(audit.strips, kind)
        made.append(("cover-strips", "Cover by direction, all eyes over each other", text, drawn))
    for part in audit.parts:
        cloud = draw_cloud(part, kind)
        if cloud is not None:
            words = f"{part.title}: {len(part.cloud)} eyes as points with their ellipses"
            made.append((part.key.replace(":", "-"), part.title, words, cloud))
    if done.funnel is not None:
        title = f"Complete cover by {done.funnel.column}: {done.funnel.sentence}"
        made.append(("funnel", title, done.funnel.sentence, draw_funnel(done.funnel, kind)))
    made += [
        (chart_key(one), one.name, one.sentence, draw_chart(one, kind))
        for one in done.charts
    ]  # fmt: skip
    return made
