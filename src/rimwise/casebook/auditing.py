"""A table of operated eyes in, an audit out: read, judged, drawn, written."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from rimwise import __version__
from rimwise.audit.compare import Difference, compare
from rimwise.audit.learning import LearningChart, failure_chart, learning_chart
from rimwise.audit.make import audit_of
from rimwise.audit.recount import Recount, recount
from rimwise.audit.select import EyesChoice
from rimwise.audit.spread import Hand, OwnSpread, own_spread
from rimwise.exchange.results import document_of
from rimwise.exchange.spreads import spread_document
from rimwise.exchange.tables import ReadTable, chapter_csv, only_named, read_series
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    make_folder,
    write_bytes,
    write_json,
)
from rimwise.records.series import Audit
from rimwise.terms.arrays import BoolArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

CHARTS = {
    "least_cover_mm": ("least cover", "mm"),
    "diameter_mm": ("diameter of the opening", "mm"),
    "opening_from_target_nasal_mm": ("opening from its target, nasal", "mm"),
    "opening_from_target_superior_mm": ("opening from its target, superior", "mm"),
}


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

    @property
    def inputs(self) -> list[Path]:
        """Return the files that are read."""
        return [] if self.table is None else [self.table]


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


def audit_table(request: AuditRequest) -> Audited:
    """What does this table of eyes say, and what is written of it?

    Raises
    ------
    WrongInput
        The table, a column or a group cannot be used.
    MeasurementRefused
        Nothing can be told.
    OutputFailed
        A file cannot be written.
    """
    for place in (request.json_out, request.page, request.spread_out):
        if place is not None:
            check_writable(place)
            check_not_input(place, request.inputs)
    read = _read(request)
    rng = np.random.default_rng(request.seed)
    seed = request.seed if request.eyes == "random" else None
    audit = audit_of(read.series, read.flow, request.eyes, rng, seed)
    audit = replace(audit, inputs=tuple((one.name, _digest(one)) for one in request.inputs))
    notes: list[str] = []
    done = Audited(
        audit,
        read,
        tuple(_differences(read, request, rng)),
        tuple(_charts(read, request, rng, notes)) if request.charts else (),
        _spread(read, request) if request.spread_out is not None else None,
        tuple(notes),
    )
    return replace(done, written=tuple(_write(done, request)))


def _read(request: AuditRequest) -> ReadTable:
    if request.table is not None:
        return read_series(request.table, request.columns, request.only)
    from rimwise.casebook.book import open_book  # noqa: PLC0415 - brings the database
    from rimwise.casebook.series_of_book import series_from_book  # noqa: PLC0415

    with open_book(request.casebook) as book:
        read = series_from_book(book)
    series, flow = read.series, list(read.flow)
    for column, wanted in request.only.items():
        series, step = only_named(series, column, wanted)
        flow.append(step)
    return replace(read, series=series, flow=tuple(flow))


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _differences(
    read: ReadTable, request: AuditRequest, rng: np.random.Generator
) -> list[Difference]:
    if request.compare is None:
        return []
    column, first, second = request.compare
    names = read.series.names.get(column)
    if names is None:
        raise WrongInput(
            f"the table has no column {column} to compare by; it has {', '.join(read.series.names)}"
        )
    for one in (first, second):
        if one not in names.names:
            raise WrongInput(f"no row has {column} {one!r}; it has {', '.join(names.names[:12])}")
    for one in request.adjust:
        if one not in read.series.numbers:
            raise WrongInput(f"the table has no column {one} to hold equal")
    either: BoolArray = names.where(first) | names.where(second)
    kept = read.series.among(either)
    return compare(kept, kept.names[column].where(second), rng, request.adjust)


def _charts(
    read: ReadTable, request: AuditRequest, rng: np.random.Generator, notes: list[str]
) -> list[LearningChart]:
    charts: list[LearningChart] = []
    for column, (name, unit) in CHARTS.items():
        if read.series.has(column):
            try:
                charts.append(learning_chart(read.series, column, name, unit))
            except MeasurementRefused as refused:
                notes.append(refused.sentence)
    if read.series.has("complete"):
        if request.expected_bare is None and not read.series.has("expected_chance"):
            notes.append("no chart of incomplete covers: tell how many to expect (--expected-bare)")
            return charts
        try:
            charts.append(failure_chart(read.series, request.expected_bare, rng))
        except MeasurementRefused as refused:
            notes.append(refused.sentence)
    return charts


def _spread(read: ReadTable, request: AuditRequest) -> OwnSpread:
    names = read.series.names.get("technique")
    known = () if names is None else tuple(one for one in names.names if names.where(one).any())
    technique = " and ".join(known) or "technique not told"
    if len(known) > 1:
        raise WrongInput(
            f"the rows hold {len(known)} techniques ({technique}); a spread is of one: add "
            f"--only technique={known[0]}"
        )
    surgeons = read.series.names.get("surgeon")
    if surgeons is not None and len(np.unique(surgeons.codes[surgeons.codes >= 0])) > 1:
        raise WrongInput("the rows hold several surgeons; a spread is of one: add --only surgeon=…")
    return own_spread(read.series, technique, request.hand)


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
    return entry


def _write(done: Audited, request: AuditRequest) -> list[Path]:
    written: list[Path] = []
    if request.tables is not None:
        make_folder(request.tables)
        for part in done.audit.parts:
            path = request.tables / f"{part.key.replace(':', '-')}.csv"
            write_bytes(path, chapter_csv(part).encode("utf-8"))
            written.append(path)
    drawings = _drawn(done) if request.drawings is not None or request.page is not None else []
    if request.drawings is not None:
        make_folder(request.drawings)
        for name, _, _, data in drawings:
            write_bytes(request.drawings / f"{name}.svg", data)
            written.append(request.drawings / f"{name}.svg")
    if request.page is not None:
        from rimwise.report.audit_drawing import audit_page  # noqa: PLC0415 - brings matplotlib

        shown = [(title, text, data) for _, title, text, data in drawings]
        write_bytes(request.page, audit_page(done.audit, shown, __version__).encode("utf-8"))
        written.append(request.page)
    if request.spread_out is not None and done.spread is not None:
        write_json(request.spread_out, document_of([spread_document(done.spread)]))
    if request.json_out is not None:
        write_json(request.json_out, document_of([audit_document(done)]))
    return written


def _drawn(done: Audited) -> list[tuple[str, str, str, bytes]]:
    from rimwise.report.audit_drawing import (  # noqa: PLC0415 - brings matplotlib
        draw_chart,
        draw_cloud,
        draw_numbers,
        numbers_description,
    )

    made: list[tuple[str, str, str, bytes]] = []
    numbers = draw_numbers(done.audit)
    if numbers is not None:
        text = numbers_description(done.audit)
        made.append(("numbers", "All numbers with their 95 % intervals", text, numbers))
    for part in done.audit.parts:
        cloud = draw_cloud(part)
        if cloud is not None:
            words = f"{part.title}: {len(part.cloud)} eyes as points with their ellipses"
            made.append((part.key.replace(":", "-"), part.title, words, cloud))
    made += [
        (f"chart-{one.name.replace(' ', '-').replace(',', '')}", one.name, one.sentence,
         draw_chart(one))
        for one in done.charts
    ]  # fmt: skip
    return made


def recount_table(path: Path) -> list[Recount]:
    """Which percentages of somebody's table agree with their counts?

    Parameters
    ----------
    path : Path
        CSV with the headings count, total and percent, whatever else stands there.

    Raises
    ------
    WrongInput
        It cannot be read, lacks a heading, or a cell is no count.
    """
    import csv  # noqa: PLC0415

    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            head = file.readline()
            file.seek(0)
            rows = list(csv.DictReader(file, delimiter=max(",;\t", key=head.count)))
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(f"{path} cannot be read ({error}); give a CSV file in UTF-8") from None
    if not rows or not {"count", "total", "percent"} <= set(rows[0]):
        raise WrongInput(f"{path} needs the headings count, total and percent, and rows below them")
    told = []
    for number, row in enumerate(rows, 2):
        try:
            told.append(recount(int(row["count"]), int(row["total"]), row["percent"] or ""))
        except (ValueError, TypeError):
            raise WrongInput(f"row {number} of {path} holds no whole counts; correct it") from None
    return told
