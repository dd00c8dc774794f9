"""What the worker is asked to do about a series: rows and wishes in, words and drawings out."""

import io
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rimwise.casebook.audit_writing import Audited
    from rimwise.exchange.tables import ReadTable
    from rimwise.store.book import Casebook

GROUPS = ("side", "technique", "surgeon", "implant")
FEWEST = 5  # counts below are withheld for sharing; common practice, no source
_MOST_NAMES = 40
_MOST_PAIRS = 12
_EPOCH = (1980, 1, 1, 0, 0, 0)  # a file in a ZIP bears a date; this one is always the same


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of a series.

    Parameters
    ----------
    only : mapping of name column to name
    eyes : "both" or "first"
    compare : (column, first, second) or None
    paired, charts, share : bool
    funnel : str
        A name column, or empty.
    expected_bare : float or None
        Share of incomplete covers to expect.
    """

    only: Mapping[str, str] = field(default_factory=dict)
    eyes: str = "both"
    compare: tuple[str, str, str] | None = None
    paired: bool = False
    funnel: str = ""
    charts: bool = False
    expected_bare: float | None = None
    share: bool = False


_WIDTH_PT, _COLUMN_PT = re.compile(rb'<svg[^>]* width="([0-9.]+)pt"'), 300.0


@dataclass(frozen=True, slots=True)
class AuditedSeries:
    """What a page shows of one audited series; drawings are (title, description, SVG).

    ``table`` are the bytes that were sent, None for the casebook; ``names`` the names of each
    column that can be filtered or compared by; ``left_out`` says what is not in the numbers.
    """

    name: str
    headline: str
    head: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]
    beware: tuple[str, ...]
    chapters: tuple[tuple[str, tuple[str, ...], tuple[tuple[str, str, str, str], ...]], ...]
    tables: tuple[tuple[str, str, tuple[str, ...], tuple[tuple[str, ...], ...]], ...]
    drawings: tuple[tuple[str, str, bytes], ...]
    methods: str
    document: str
    zipped: bytes
    table: bytes | None
    wish: Wish
    names: Mapping[str, tuple[str, ...]]

    @property
    def narrow(self) -> list[bool]:
        """Return which drawings are made for one column of a journal, half a page wide."""
        told = [_WIDTH_PT.search(svg[:2000]) for _, _, svg in self.drawings]
        return [one is not None and float(one[1]) < _COLUMN_PT for one in told]

    @property
    def pairs(self) -> list[tuple[str, str, str]]:
        """Return which two groups can be set side by side."""
        pairs = [
            (column, names[one], names[other])
            for column, names in self.names.items()
            if column != "side"
            for one in range(len(names))
            for other in range(one + 1, len(names))
        ]
        return pairs[:_MOST_PAIRS]


def audit_job(data: bytes, name: str, wish: Wish) -> AuditedSeries:
    """What does this table of operated eyes say?

    Raises
    ------
    WrongInput
        It is no table, a heading is unclear, or a wish cannot be met.
    MeasurementRefused
        No column of it says anything.
    """
    from rimwise.exchange.tables import series_from_bytes  # noqa: PLC0415

    return audit_read_job(series_from_bytes(data, name), name, wish, data)


def audit_read_job(
    read: "ReadTable", name: str, wish: Wish, data: bytes | None = None
) -> AuditedSeries:
    """What do these rows say?

    Raises
    ------
    WrongInput
    MeasurementRefused
    """
    from rimwise.audit.select import eyes_choice  # noqa: PLC0415
    from rimwise.casebook.audit_writing import AuditRequest  # noqa: PLC0415
    from rimwise.casebook.auditing import audited_of, only_those  # noqa: PLC0415

    request = AuditRequest(
        None,
        only=wish.only,
        eyes=eyes_choice(wish.eyes),
        compare=wish.compare,
        paired=wish.paired,
        charts=wish.charts,
        expected_bare=wish.expected_bare,
        funnel=wish.funnel or None,
        fewest=FEWEST if wish.share else None,
    )
    names = {
        column: told.names
        for column in GROUPS
        if (told := read.series.names.get(column)) is not None
        and 2 <= len(told.names) <= _MOST_NAMES
    }
    done = audited_of(only_those(read, wish.only), request)
    return _shown(done, name, wish, data, names)


def _shown(
    done: "Audited",
    name: str,
    wish: Wish,
    data: bytes | None,
    names: Mapping[str, tuple[str, ...]],
) -> AuditedSeries:
    from rimwise.casebook.audit_writing import (  # noqa: PLC0415
        audit_document,
        drawings_of,
        side_tables,
        table_texts,
    )
    from rimwise.exchange.results import document_of  # noqa: PLC0415
    from rimwise.exchange.writing import json_text  # noqa: PLC0415
    from rimwise.report.audit_words import audit_head, chapter_rows  # noqa: PLC0415

    audit = done.audit
    unused = ", ".join(done.read.mapped.unused[:12])
    beware = [*done.read.findings, *audit.warnings, *done.notes]
    return AuditedSeries(
        name=name,
        headline=f"{audit.eyes} eyes of {audit.persons} persons",
        head=tuple(audit_head(audit)),
        left_out=tuple(f"{one.rows_out}: {one.reason}" for one in audit.flow if one.rows_out),
        beware=(*beware, *((f"not used: {unused}",) if unused else ())),
        chapters=tuple(
            (part.title, part.left_out, tuple(chapter_rows(part))) for part in audit.parts
        ),
        tables=tuple((one.title, one.note, one.head, one.rows) for one in side_tables(done)),
        drawings=tuple((title, text, svg) for _, title, text, svg in drawings_of(done, "svg")),
        methods=audit.methods,
        document=json_text(document_of([audit_document(done)])),
        zipped=_zip(table_texts(done)),
        table=data,
        wish=wish,
        names=names,
    )


def _zip(texts: Mapping[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for key, text in sorted(texts.items()):
            archive.writestr(zipfile.ZipInfo(f"{key}.csv", _EPOCH), text)
    return out.getvalue()


def read_book(book: "Casebook") -> "ReadTable":
    """Which series do the eyes of the casebook make?

    Raises
    ------
    WrongInput
        No eye can be audited.
    """
    from rimwise.casebook.series_of_book import series_from_book  # noqa: PLC0415

    return series_from_book(book)
