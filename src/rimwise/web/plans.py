"""The pages of plans: the form with live numbers, what came of it, saving, theatre, bias."""

import json
from typing import Any

from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from rimwise.terms.errors import RimwiseError, WrongInput
from rimwise.web import bookkeeping as kept
from rimwise.web.bookkeeping import Place, Saving
from rimwise.web.catalogue import TEXT
from rimwise.web.eyes import eye_page, meanwhile, to_eye, who_writes
from rimwise.web.fields import WrongField, in_words, key_in, values_of
from rimwise.web.filling import told_of
from rimwise.web.forms import PLAN_FORM
from rimwise.web.glance import glance_of
from rimwise.web.jobs import PlannedOpening, eye_job, plan_job, sheet_job
from rimwise.web.keeping import book_folder, booked
from rimwise.web.pages import Filled
from rimwise.web.views import first, go, result_of, sent_form, session_of, shown, whole, work

MOST_IN_THEATRE = 12  # a day's list; each result is kept for its page


async def plan_form(request: Request) -> Response:
    """Answer by the form: empty, as it was sent before, or with an eye's case sheet in it."""
    query = request.query_params
    if not query.get("code"):
        entries = session_of(request).entries(query.get("from", ""))
        return shown(request, "plan.html", form=PLAN_FORM, filled=Filled(entries))
    page = await eye_page(request)
    record = await booked(request, kept.read_record, Place(page.eye.code, "case"))
    told = told_of(PLAN_FORM, {"side": page.eye.side, "code": page.eye.code,
                               "person": page.eye.person})  # fmt: skip
    if record is not None:
        told |= told_of(PLAN_FORM, record.document)
    told |= {"code": [page.eye.code], "eye": [page.eye.code],
             "seen": [str(record.version if record else 0)]}  # fmt: skip
    return shown(request, "plan.html", form=PLAN_FORM, filled=Filled(told))


async def live(request: Request) -> Response:
    """Answer a script, while the form is being filled in: the numbers so far, or what is wrong."""
    sent = await sent_form(request)
    try:
        planned = await work(
            request, plan_job, values_of(PLAN_FORM, sent.told), book_folder(request)
        )
    except RimwiseError as error:
        key = error.key if isinstance(error, WrongField) else key_in(error.sentence, PLAN_FORM)
        fields = {one.key: one.element for group in PLAN_FORM for one in group.fields}
        told = {"sentence": in_words(error.sentence, PLAN_FORM), "field": fields.get(key or "")}
        return JSONResponse(told)
    session = session_of(request)
    session.live = planned
    session.drawn += 1
    drawing = f"/plan/live.svg?n={session.drawn}" if planned.drawing else None
    return JSONResponse({
        "headline": planned.headline, "rows": planned.rows, "warnings": planned.warnings,
        "drawing": drawing, "described": planned.described,
    })  # fmt: skip


async def live_drawing(request: Request) -> Response:
    """Answer by the drawing of the numbers so far."""
    planned = session_of(request).live
    if planned is None or planned.drawing is None:
        raise HTTPException(404)
    return Response(planned.drawing, media_type="image/svg+xml")


async def planned(request: Request, name: str) -> Response:
    """Answer by a plan, and the form that saves it."""
    result = result_of(request, name, PlannedOpening)
    entries = session_of(request).entries(name)
    code = first(entries, "eye") or result.code or ""
    return shown(request, "planned.html", shown=result, name=name, code=code)


async def eye_drawing(request: Request, name: str) -> Response:
    """Answer by the eye of a plan in section, to scale, with the reflexes it will show."""
    result_of(request, name, PlannedOpening)
    values = values_of(PLAN_FORM, session_of(request).entries(name))
    drawing = await work(request, eye_job, values)
    return Response(drawing, media_type="image/svg+xml")


async def plan_sheet(request: Request, name: str) -> Response:
    """Answer by the plan on one page, turned as the surgeon sits."""
    result_of(request, name, PlannedOpening)
    seat = "side" if request.query_params.get("seat") == "side" else "head"
    values = values_of(PLAN_FORM, session_of(request).entries(name))
    sheet = await work(request, sheet_job, values, seat, book_folder(request))
    headers = {"Content-Disposition": 'attachment; filename="rimwise-plan.pdf"'}
    return Response(sheet, media_type="application/pdf", headers=headers)


async def save(request: Request) -> Response:
    """Save a plan with its case sheet into the casebook."""
    sent = await sent_form(request)
    name = first(sent.told, "name")
    result = result_of(request, name, PlannedOpening)
    told = dict(session_of(request).entries(name))
    code = first(sent.told, "code")[:64]
    seen = first(told, "seen") if first(told, "eye") == code else "0"
    saving = Saving(told, whole(seen),
                    who_writes(request, sent.told), first(sent.told, "why")[:500])  # fmt: skip
    try:
        if not code:
            raise WrongInput(TEXT["error.code"])
        document = json.loads(result.document)["results"][0]
        await booked(request, kept.save_plan, code, saving, document)
    except WrongInput as error:
        if type(error).__name__ == "WrittenMeanwhile":
            page = await eye_page(request, code)
            return await meanwhile(request, page, Place(code, "case"), saving)
        told_again = {"why": [saving.why]}
        return shown(request, "planned.html", 422, shown=result, name=name, code=code,
                     filled=Filled(told_again, in_words(error.sentence, PLAN_FORM)))  # fmt: skip
    return go(request, to_eye(code))


async def theatre(request: Request) -> Response:
    """Answer by the list for theatre: a plan for each of the eyes that were ticked."""
    codes = list(dict.fromkeys(request.query_params.getlist("code")))
    rows: list[dict[str, Any]] = []
    for code in codes[:MOST_IN_THEATRE]:
        page = await booked(request, kept.read_eye, code[:64])
        if page is not None:
            rows.append(await _listed(request, page))
    return shown(request, "theatre.html", rows=rows, left=codes[MOST_IN_THEATRE:], to_eye=to_eye)


async def _listed(request: Request, page: kept.EyePage) -> dict[str, Any]:
    row: dict[str, Any] = {"eye": page.eye, "name": None, "plan": None, "sentence": ""}
    sheets = page.sheets.get("case", [])
    if not sheets:
        return row | {"sentence": TEXT["theatre.no_case"]}
    told = told_of(PLAN_FORM, sheets[0].document)
    told |= {"code": [page.eye.code], "eye": [page.eye.code], "seen": [str(sheets[0].version)]}
    try:
        result = await work(request, plan_job, values_of(PLAN_FORM, told), book_folder(request))
    except RimwiseError as error:
        return row | {"sentence": in_words(error.sentence, PLAN_FORM)}
    return row | {"plan": result, "name": session_of(request).keep(result, told)}


async def glance(request: Request) -> Response:
    """Answer by the last eyes, how far their openings were off, and the bias in it."""
    last = await booked(request, kept.last_measured)
    return shown(request, "glance.html", seen=glance_of(last), to_eye=to_eye)


PLAN_VIEWS: dict[str, Any] = {
    "/plan": plan_form,
    "/plan/live.svg": live_drawing,
    "/planned/{name}": planned,
    "/planned/{name}/eye.svg": eye_drawing,
    "/planned/{name}/sheet.pdf": plan_sheet,
    "/theatre": theatre,
    "/glance": glance,
}
PLAN_ACTIONS: dict[str, Any] = {"/plan/live": live, "/plan/save": save}
