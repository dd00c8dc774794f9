"""The page about a series: eyes of the casebook or of a table, with filters that are said."""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.fields import NUMBER, WrongField
from rimwise.web.keeping import booked
from rimwise.web.pages import Filled
from rimwise.web.series_jobs import (
    GROUPS,
    AuditedSeries,
    Wish,
    audit_job,
    audit_read_job,
    read_book,
)
from rimwise.web.uploads import picture_name
from rimwise.web.views import (
    asks_for_json,
    first,
    go,
    result_of,
    sent_form,
    session_of,
    shown,
    work,
)

BOOK = "casebook"


async def series_form(request: Request) -> Response:
    """Show the form."""
    return shown(request, "series.html", form=(), filled=Filled())


async def series(request: Request) -> Response:
    """Audit the table that was sent, or the casebook."""
    sent = await sent_form(request)
    try:
        if "book" in sent.told:
            audited = await _audit(request, BOOK, None, Wish())
        else:
            tables = [(name, data) for name, data in sent.files if data]
            if len(tables) != 1:
                raise WrongField("table", TEXT["error.one_table"])
            name, data = tables[0]
            audited = await _audit(request, picture_name(name), data, Wish())
    except (WrongInput, MeasurementRefused) as error:
        filled = Filled({}, error.sentence, "table")
        if asks_for_json(request):
            told = {"sentence": error.sentence, "field": "table"}
            return JSONResponse(told, status_code=422)
        return shown(request, "series.html", 422, form=(), filled=filled)
    return go(request, f"/audited/{session_of(request).keep(audited)}")


async def _audit(request: Request, name: str, data: bytes | None, wish: Wish) -> AuditedSeries:
    audited: AuditedSeries
    if data is None:
        read = await booked(request, read_book)
        audited = await work(request, audit_read_job, read, name, wish)
    else:
        audited = await work(request, audit_job, data, name, wish)
    return audited


async def audited(request: Request, name: str) -> Response:
    """Show an audited series."""
    result = result_of(request, name, AuditedSeries)
    return shown(request, "audited.html", shown=result, name=name, wrong="")


async def audit_again(request: Request, name: str) -> Response:
    """Audit the same rows with other filters, another comparison, or for sharing."""
    sent = await sent_form(request)
    result = result_of(request, name, AuditedSeries)
    try:
        wish = _wish(sent.told, result)
        again = await _audit(request, result.name, result.table, wish)
    except (WrongInput, MeasurementRefused) as error:
        if asks_for_json(request):
            told = {"sentence": error.sentence, "field": None}
            return JSONResponse(told, status_code=422)
        return shown(request, "audited.html", 422, shown=result, name=name, wrong=error.sentence)
    return go(request, f"/audited/{session_of(request).keep(again)}")


def _wish(told: Mapping[str, Sequence[str]], result: AuditedSeries) -> Wish:
    """What is wished, of what this series offers; anything else is not looked at."""
    only = {
        column: name
        for column in GROUPS
        if (name := first(told, f"only-{column}")) in result.names.get(column, ())
    }
    pairs = {f"{number}": pair for number, pair in enumerate(result.pairs)}
    funnel = first(told, "funnel")
    return Wish(
        only=only,
        eyes="first" if first(told, "eyes") == "first" else "both",
        compare=pairs.get(first(told, "compare")),
        paired="paired" in told,
        funnel=funnel if funnel in result.names else "",
        charts="charts" in told,
        expected_bare=_percent(first(told, "bare")),
        share="share" in told,
    )


def _percent(told: str) -> float | None:
    if not told:
        return None
    if not NUMBER.fullmatch(told) or not 0.0 <= float(told.replace(",", ".")) <= 100.0:
        raise WrongField("bare", TEXT["series.bare.wrong"])
    return float(told.replace(",", ".")) / 100.0


async def audit_drawing(request: Request, name: str, number: int) -> Response:
    """Show one drawing by itself."""
    drawings = result_of(request, name, AuditedSeries).drawings
    if not 0 <= number < len(drawings):
        raise HTTPException(404)
    return Response(drawings[number][2], media_type="image/svg+xml")


async def audit_tables(request: Request, name: str) -> Response:
    """Hand out every table as CSV."""
    zipped = result_of(request, name, AuditedSeries).zipped
    headers = {"Content-Disposition": 'attachment; filename="rimwise-tables.zip"'}
    return Response(zipped, media_type="application/zip", headers=headers)


SERIES_VIEWS: dict[str, Any] = {
    "/series": series_form,
    "/audited/{name}": audited,
    "/audited/{name}/drawing-{number}.svg": audit_drawing,
    "/audited/{name}/tables.zip": audit_tables,
}
SERIES_ACTIONS: dict[str, Any] = {"/series": series, "/audited/{name}": audit_again}
