"""What the worker is asked to do about one eye's visits: pictures in, words and drawings out."""

import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.jobs import picture_sheet

if TYPE_CHECKING:
    from rimwise.follow.changes import SeenVisit

_SHOWN_PX = 1000  # wide enough for a desk, a tenth of the bytes


@dataclass(frozen=True, slots=True)
class SentVisit:
    """A photograph as it was sent or kept, with its day.

    ``sheet`` and ``entry`` are those of a kept photograph: what was told about it, and its newest
    measurement, which is not made again.
    """

    day: int
    name: str
    data: bytes
    sheet: Mapping[str, object] | None = None
    entry: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class ShownVisit:
    """What the page shows of one visit; ``picture`` is a JPEG with the found curves."""

    day: int
    name: str
    status: str
    cells: tuple[str, ...]
    reasons: tuple[str, ...]
    described: str
    picture: bytes


@dataclass(frozen=True, slots=True)
class FollowedEye:
    """What the page shows of one eye's course."""

    side: str
    code: str | None
    headline: str
    visits: tuple[ShownVisit, ...]
    flags: tuple[str, ...]
    expected: tuple[str, ...]
    arcs: tuple[str, ...]
    notes: tuple[str, ...]
    drawing: bytes
    described: str
    document: str


def healing_job(
    values: Mapping[str, object], sent: tuple[SentVisit, ...], limit_mm: float
) -> FollowedEye:
    """What has changed in this eye since its earliest picture?

    Parameters
    ----------
    values : mapping
        Keys of the picture sheet, the same for all pictures.
    sent : tuple of SentVisit
        In any order; at least two, of different days.
    limit_mm : float
        Least cover below which the eye is flagged.

    Raises
    ------
    WrongInput
        A value is outside its range, the bytes are no picture, or the days do not tell a course.
    MeasurementRefused
        No picture could be measured.
    """
    from rimwise.exchange.results import document_of  # noqa: PLC0415
    from rimwise.exchange.writing import json_text  # noqa: PLC0415
    from rimwise.follow.make import follow_visits  # noqa: PLC0415
    from rimwise.report.healing_drawing import draw_healing  # noqa: PLC0415
    from rimwise.report.healing_words import (  # noqa: PLC0415
        course_foot,
        course_rows,
        healing_description,
    )
    from rimwise.report.words import with_minus  # noqa: PLC0415

    if len(sent) < 2 or len({one.day for one in sent}) < len(sent):
        raise WrongInput(
            f"{len(sent)} pictures of {len({one.day for one in sent})} days; a course needs at "
            "least two pictures, each of another day"
        )
    seen = [_seen(values, one) for one in sorted(sent, key=lambda one: one.day)]
    code = seen[0].sheet.code
    course = follow_visits(code or "this eye", seen, limit_mm)
    foot = [one for one in course_foot(course) if not one.startswith(("Flag: ", "No flag"))]
    return FollowedEye(
        side=course.side,
        code=code,
        headline=f"{len(seen)} visits, {len(course.flags)} flag{'s' * (len(course.flags) != 1)}",
        visits=tuple(
            _shown(visit, row) for visit, row in zip(seen, course_rows(course), strict=True)
        ),
        flags=tuple(with_minus(one.sentence) for one in course.flags),
        expected=tuple(one for one in foot if one.startswith("Expected")),
        arcs=tuple(one for one in foot if not one.startswith("Expected")),
        notes=tuple(one.sentence for one in course.notes),
        drawing=draw_healing(course, "svg"),
        described=healing_description(course),
        document=json_text(document_of([course.document()])),
    )


def _seen(values: Mapping[str, object], sent: SentVisit) -> "SeenVisit":
    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415
    from rimwise.exchange.results_reading import cover_finding_from_document  # noqa: PLC0415
    from rimwise.follow.changes import SeenVisit  # noqa: PLC0415
    from rimwise.journey import finding_of  # noqa: PLC0415

    told = {**values, **(sent.sheet or {}), "visit_day": sent.day}
    told.pop("taken", None)  # the day is told
    sheet = picture_sheet(told)
    loaded = picture_from_bytes(sent.data, sent.name)
    if sent.entry is None:
        finding = finding_of(loaded.raster, sheet, sent.name, loaded.sha256)
    else:
        # An entry may bear the path under which a picture was measured: no business of a page.
        finding = replace(cover_finding_from_document(sent.entry), picture=sent.name)
    return SeenVisit(sent.day, loaded.raster, sheet, finding)


def _shown(visit: "SeenVisit", row: tuple[str, ...]) -> ShownVisit:
    from rimwise.report.cover_drawing import draw_cover  # noqa: PLC0415
    from rimwise.report.words import headline, reason_sentences  # noqa: PLC0415

    finding = visit.finding
    return ShownVisit(
        day=visit.day,
        name=finding.picture,
        status=finding.status,
        cells=row,
        reasons=reason_sentences(finding),
        described=f"Day {visit.day}, {finding.picture}: {headline(finding)}",
        picture=_smaller(draw_cover(visit.raster, finding, visit.sheet)),
    )


def _smaller(drawing: bytes) -> bytes:
    from PIL import Image  # noqa: PLC0415

    with Image.open(io.BytesIO(drawing)) as whole:
        shown = whole.convert("RGB")
        shown.thumbnail((_SHOWN_PX, 4 * _SHOWN_PX))
        out = io.BytesIO()
        shown.save(out, "JPEG", quality=88)
    return out.getvalue()
