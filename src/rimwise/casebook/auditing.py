"""A table of operated eyes in, an audit out: read, judged, drawn, written."""

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from rimwise.audit.compare import OUTCOMES, Difference, compare
from rimwise.audit.compare_pairs import compare_pairs
from rimwise.audit.funnel import funnel_chapter, funnel_of
from rimwise.audit.learning import LearningChart, failure_chart, learning_chart
from rimwise.audit.make import audit_of
from rimwise.audit.recount import Recount, recount
from rimwise.audit.select import one_eye_each
from rimwise.audit.spread import OwnSpread, own_spread
from rimwise.casebook.audit_writing import Audited, AuditRequest, shared, write_audit
from rimwise.casebook.strips import with_covers
from rimwise.exchange.tables import ReadTable, only_named, read_series
from rimwise.exchange.writing import check_not_input, check_writable
from rimwise.records.series import Series
from rimwise.terms.arrays import BoolArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

CHARTS = {
    "least_cover_mm": ("least cover", "mm"),
    "diameter_mm": ("diameter of the opening", "mm"),
    "opening_from_target_nasal_mm": ("opening from its target, nasal", "mm"),
    "opening_from_target_superior_mm": ("opening from its target, superior", "mm"),
}


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
    for place in (request.json_out, request.page, request.pdf, request.spread_out):
        if place is not None:
            check_writable(place)
            check_not_input(place, request.inputs)
    read, notes = _read(request)
    done = audited_of(read, request, tuple(notes))
    digests = tuple((one.name, _digest(one)) for one in request.inputs)
    done = replace(done, audit=replace(done.audit, inputs=digests))
    return replace(done, written=tuple(write_audit(done, request)))


def audited_of(read: ReadTable, request: AuditRequest, notes: tuple[str, ...] = ()) -> Audited:
    """What do these eyes say, with all that was asked beside it? Nothing is read or written.

    Parameters
    ----------
    read : ReadTable
    request : AuditRequest
        Its files are not looked at; ``only`` has been heeded before.
    notes : tuple of str
        What is to be said of the reading.

    Raises
    ------
    WrongInput
    MeasurementRefused
    """
    rng, said = np.random.default_rng(request.seed), list(notes)
    seed = request.seed if request.eyes == "random" else None
    audit = audit_of(read.series, read.flow, request.eyes, rng, seed)
    # The same eyes as in the audit: a fresh generator of the same seed draws the same ones.
    kept, _ = one_eye_each(read.series, request.eyes, np.random.default_rng(request.seed))
    funnel = None if request.funnel is None else funnel_of(kept, request.funnel)
    if funnel is not None:
        audit = replace(audit, parts=(*audit.parts, funnel_chapter(funnel)))
    done = Audited(
        audit,
        read,
        tuple(_differences(kept, request, rng)),
        tuple(_charts(read, request, rng, said)) if request.charts else (),
        _spread(read, request) if request.spread_out is not None else None,
        tuple(said),
        funnel=funnel,
        groups=request.compare,
    )
    return done if request.fewest is None else shared(done, request.fewest)


def _read(request: AuditRequest) -> tuple[ReadTable, list[str]]:
    """The series, and what is to be said of it."""
    if request.table is not None:
        read = read_series(request.table, request.columns, request.only)
        if request.covers is None:
            return read, []
        series, said = with_covers(read.series, request.covers)
        return replace(read, series=series), list(said)
    from rimwise.casebook.book import open_book  # noqa: PLC0415 - brings the database
    from rimwise.casebook.series_of_book import series_from_book  # noqa: PLC0415

    with open_book(request.casebook) as book:
        read = series_from_book(book)
    return only_those(read, request.only), []


def only_those(read: ReadTable, only: Mapping[str, str]) -> ReadTable:
    """Which rows are left by these filters, each told as a step of the flow?

    Raises
    ------
    WrongInput
        There is no such column or name.
    """
    series, flow = read.series, list(read.flow)
    for column, wanted in only.items():
        series, step = only_named(series, column, wanted)
        flow.append(step)
    return replace(read, series=series, flow=tuple(flow))


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _differences(
    series: Series, request: AuditRequest, rng: np.random.Generator
) -> list[Difference]:
    if request.compare is None:
        return []
    column, first, second = request.compare
    names = series.names.get(column)
    if names is None:
        raise WrongInput(
            f"the table has no column {column} to compare by; it has {', '.join(series.names)}"
        )
    for one in (first, second):
        if one not in names.names:
            raise WrongInput(f"no row has {column} {one!r}; it has {', '.join(names.names[:12])}")
    for one in request.adjust:
        if one not in series.numbers:
            raise WrongInput(f"the table has no column {one} to hold equal")
    either: BoolArray = names.where(first) | names.where(second)
    kept = series.among(either)
    _check_margins(request)
    rows = kept.names[column].where(second)
    if request.paired and request.eyes != "both":
        raise WrongInput("pairs need both eyes of a person; leave --eyes out")
    if request.paired:
        if request.adjust:
            raise WrongInput("pairs hold the person equal by themselves; leave --adjust out")
        return compare_pairs(kept, rows, request.margins)
    return compare(kept, rows, rng, request.adjust, request.margins)


def _check_margins(request: AuditRequest) -> None:
    known = {key for key, *_ in OUTCOMES} | {"distance", "error", "absolute"}
    if not request.paired:
        known.add("complete")
    for key, margin in request.margins.items():
        if key not in known:
            raise WrongInput(f"--margin {key}: one of {', '.join(sorted(known))} is allowed")
        if not margin > 0.0:
            raise WrongInput(f"--margin {key}={margin:g}: a margin above 0 is needed")


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
        except WrongInput as error:
            raise WrongInput(f"row {number} of {path}: {error.sentence}") from None
        except (ValueError, TypeError):
            raise WrongInput(f"row {number} of {path} holds no whole counts; correct it") from None
    return told
