"""The page about healing: photographs of one eye across its visits."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.fields import NUMBER, Field, Group, WrongField, in_words, key_in, values_of
from rimwise.web.forms import MEASURE_FORM
from rimwise.web.healing_book import chosen_visits, kept_visits
from rimwise.web.healing_jobs import FollowedEye, SentVisit, ShownVisit, healing_job
from rimwise.web.keeping import booked
from rimwise.web.pages import Filled
from rimwise.web.uploads import Sent, picture_name
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

MOST_VISITS = 6
HEALING_FORM = (
    Group("group.eye", (*MEASURE_FORM[0].fields, Field("code", "text", hint="field.code.hint"))),
)
_DAY = re.compile(r"\d{1,5}", re.ASCII)


async def healing_form(request: Request) -> Response:
    """Show the empty form, or the kept photographs of an eye."""
    code = request.query_params.get("eye", "")[:64]
    if code:
        return await _kept(request, code, Filled())
    return shown(request, "healing.html", form=HEALING_FORM, filled=Filled(), most=MOST_VISITS)


async def _kept(request: Request, code: str, filled: Filled, status: int = 200) -> Response:
    kept = await booked(request, kept_visits, code)
    if kept is None:
        raise HTTPException(404)
    return shown(request, "healing_kept.html", status, code=code, kept=kept, filled=filled,
                 most=MOST_VISITS)  # fmt: skip


async def healing_kept(request: Request) -> Response:
    """Follow the eye of the kept photographs that were ticked."""
    sent = await sent_form(request)
    code, wanted = first(sent.told, "eye")[:64], sent.told.get("sha", ())
    try:
        limit_mm = _limit(first(sent.told, "limit"))
        if not 2 <= len(wanted) <= MOST_VISITS:
            raise WrongInput(TEXT["healing.kept.number"])
        chosen = await booked(request, chosen_visits, code, wanted)
        visits = tuple(
            SentVisit(day, one.name, data, one.sheet, one.entry) for day, one, data in chosen
        )
        followed = await work(request, healing_job, {"code": code}, visits, limit_mm)
    except (WrongInput, MeasurementRefused) as error:
        return await _kept(request, code, Filled(sent.told, error.sentence, None), 422)
    return go(request, f"/healed/{session_of(request).keep(followed)}")


async def healing(request: Request) -> Response:
    """Follow the eye of the pictures that were sent."""
    sent = await sent_form(request)
    try:
        values = values_of(HEALING_FORM, sent.told)
        limit_mm = _limit(first(sent.told, "limit"))
        followed = await work(request, healing_job, values, _visits(sent), limit_mm)
    except (WrongInput, MeasurementRefused) as error:
        return _again(request, sent, error)
    return go(request, f"/healed/{session_of(request).keep(followed)}")


def _limit(told: str) -> float:
    if not told:
        return 0.0
    if not NUMBER.fullmatch(told):
        raise WrongField("limit", TEXT["healing.number"])
    return float(told.replace(",", "."))


def _visits(sent: Sent) -> tuple[SentVisit, ...]:
    """Pictures and days by the order of their controls; a row is filled in both or in none."""
    days = [one.strip() for one in sent.told.get("day", ())]
    files = list(sent.files)
    if len(days) != len(files):
        raise WrongField("picture-1", TEXT["healing.pair"])
    visits = []
    for number, (day, (name, data)) in enumerate(zip(days, files, strict=True), 1):
        if not day and not data:
            continue
        if not (_DAY.fullmatch(day) and data):
            raise WrongField(f"day-{number}" if data else f"picture-{number}", TEXT["healing.pair"])
        visits.append(SentVisit(int(day), picture_name(name), data))
    return tuple(visits)


def _again(request: Request, sent: Sent, error: WrongInput | MeasurementRefused) -> Response:
    key = error.key if isinstance(error, WrongField) else key_in(error.sentence, HEALING_FORM)
    sentence = in_words(error.sentence, HEALING_FORM)
    if asks_for_json(request):
        elements = {one.key: one.element for group in HEALING_FORM for one in group.fields}
        return JSONResponse(
            {"sentence": sentence, "field": elements.get(key or "", key)}, status_code=422
        )
    told: Mapping[str, Sequence[str]] = {
        name: given[:MOST_VISITS]
        for name, given in sent.told.items()
        if all(len(one) <= 200 for one in given)
    }
    return shown(
        request, "healing.html", 422, form=HEALING_FORM, filled=Filled(told, sentence, key),
        most=MOST_VISITS,
    )  # fmt: skip


async def healed(request: Request, name: str) -> Response:
    """Show a followed eye; a filter says what it leaves out."""
    result = result_of(request, name, FollowedEye)
    asked = {one: request.query_params.get(one, "")[:20] for one in ("from", "to", "told")}
    left_out = [(one, why) for one in result.visits if (why := _why_not(one, asked))]
    kept = [one for one in enumerate(result.visits) if not _why_not(one[1], asked)]
    return shown(
        request, "healed.html", shown=result, name=name, kept=kept, left_out=left_out, asked=asked
    )


def _why_not(visit: ShownVisit, asked: Mapping[str, str]) -> str:
    """Why does the filter leave this visit out? Empty where it is shown."""
    begin, end = (int(asked[one]) if _DAY.fullmatch(asked[one]) else None for one in ("from", "to"))
    if begin is not None and visit.day < begin:
        return TEXT["healing.before"]
    if end is not None and visit.day > end:
        return TEXT["healing.after"]
    return TEXT["healing.unmeasured"] if asked["told"] and visit.status == "refused" else ""


async def healing_drawing(request: Request, name: str) -> Response:
    """Show the drawing of a course."""
    drawing = result_of(request, name, FollowedEye).drawing
    return Response(drawing, media_type="image/svg+xml")


async def healing_picture(request: Request, name: str, number: int) -> Response:
    """Show one visit's picture with the found curves."""
    visits = result_of(request, name, FollowedEye).visits
    if not 0 <= number < len(visits):
        raise HTTPException(404)
    return Response(visits[number].picture, media_type="image/jpeg")


HEALING_VIEWS: dict[str, Any] = {
    "/healing": healing_form,
    "/healed/{name}": healed,
    "/healed/{name}/drawing.svg": healing_drawing,
    "/healed/{name}/picture-{number}.jpg": healing_picture,
}
HEALING_ACTIONS: dict[str, Any] = {"/healing": healing, "/healing/kept": healing_kept}
