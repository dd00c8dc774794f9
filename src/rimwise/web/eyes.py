"""The pages of the casebook's eyes: list, eye, both eyes, forms of its sheets, history."""

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import Request, Response
from starlette.exceptions import HTTPException

from rimwise.terms.errors import WrongInput
from rimwise.web import bookkeeping as kept
from rimwise.web.bookkeeping import PAGE, Asked, EyePage, Place, Saving
from rimwise.web.catalogue import TEXT
from rimwise.web.fields import WrongField, in_words, key_in, values_of
from rimwise.web.filling import differences, said, told_of
from rimwise.web.forms import EYE_FORM, SHEET_FORMS
from rimwise.web.keeping import booked
from rimwise.web.masked import MASKED_KINDS
from rimwise.web.pages import Filled
from rimwise.web.views import first, go, sent_form, session_of, shown, whole

if TYPE_CHECKING:
    from rimwise.store.book import Consent

CONSENTS: "tuple[Consent, ...]" = ("care", "teaching", "research", "publication")
MOST_PAGES = 100_000


def to_eye(code: str, page: str = "/eye", **more: str) -> str:
    """Where is the page of this eye?

    Examples
    --------
    >>> to_eye("E 1"), to_eye("E-1", "/eye/sheet", kind="case")
    ('/eye?code=E+1', '/eye/sheet?code=E-1&kind=case')
    """
    return f"{page}?{urlencode({'code': code, **more})}"


async def eyes(request: Request) -> Response:
    """Answer by a page of the list."""
    query = request.query_params
    after = query.get("after", "0")
    side: Any = query.get("side") if query.get("side") in {"right", "left"} else None
    asked = Asked(
        query.get("search", "").strip()[:64],
        query.get("shown") == "hidden",
        side,
        min(int(after), MOST_PAGES)
        if after.isascii() and after.isdigit() and len(after) < 9
        else 0,
    )
    found, count = await booked(request, kept.list_eyes, asked)
    turns = {"search": asked.search, "side": asked.side or "",
             "shown": "hidden" if asked.hidden else ""}  # fmt: skip
    pages = {
        "newer": asked.after and urlencode(turns | {"after": max(asked.after - PAGE, 0)}),
        "older": asked.after + PAGE < count and urlencode(turns | {"after": asked.after + PAGE}),
    }
    return shown(request, "eyes.html", asked=asked, found=found, count=count, pages=pages,
                 to_eye=to_eye)  # fmt: skip


async def new_eye(request: Request) -> Response:
    """Answer by the empty form of an eye."""
    return shown(request, "eye_new.html", form=EYE_FORM, filled=Filled())


async def add_eye(request: Request) -> Response:
    """Add an eye by the form or by its sheet."""
    sent = await sent_form(request)
    sheets = [data for _, data in sent.files if data]
    try:
        if sheets:
            code = await booked(request, kept.add_sheet, sheets[0], who_writes(request, sent.told))
        elif "by_sheet" in sent.told:
            raise WrongField("sheet", TEXT["error.one_sheet"])
        else:
            values = values_of(EYE_FORM, sent.told)
            code = await booked(request, kept.add_eye, values, who_writes(request, sent.told))
    except WrongInput as error:
        filled = _again(EYE_FORM, sent.told, error)
        return shown(request, "eye_new.html", 422, form=EYE_FORM, filled=filled)
    return go(request, to_eye(code))


async def eye(request: Request) -> Response:
    """Answer by the page of an eye."""
    page = await eye_page(request)
    return shown(request, "eye.html", one=page, to_eye=to_eye, consents=CONSENTS)


async def both_eyes(request: Request) -> Response:
    """Answer by both eyes of a person, the right eye on the left as the examiner sees them."""
    page = await eye_page(request)
    other = None if page.fellow is None else await booked(request, kept.read_eye, page.fellow.code)
    pair = [one for one in (page, other) if one is not None]
    pair.sort(key=lambda one: one.eye.side, reverse=True)
    return shown(request, "eyes_beside.html", pair=pair, to_eye=to_eye)


async def sheet(request: Request) -> Response:
    """Answer by the form of a sheet, filled in with its newest version."""
    place, page = await _place(request, request.query_params)
    record = await booked(request, kept.read_record, place)
    document: Mapping[str, Any] = {"side": page.eye.side, "code": page.eye.code,
                                   "person": page.eye.person}  # fmt: skip
    if record is not None:
        document = {**document, **kept.inside(place.kind, record.document)}
    told = told_of(SHEET_FORMS[place.kind], document)
    seen = 0 if record is None else record.version
    return _sheet(request, page, (place, seen), Filled(told))


async def save_sheet(request: Request) -> Response:
    """Keep the next version, ask again, or show what came meanwhile."""
    sent = await sent_form(request)
    place, page = await _place(request, {k: v[0] for k, v in sent.told.items() if v})
    seen = first(sent.told, "seen")
    version = whole(seen)
    saving = Saving(
        sent.told, version, who_writes(request, sent.told), first(sent.told, "why")[:500]
    )
    if "edit" in sent.told:
        return _sheet(request, page, (place, version), Filled(_short(sent.told)))
    try:
        await booked(request, kept.save_sheet, place, saving)
    except WrongInput as error:
        if type(error).__name__ == "WrittenMeanwhile":
            return await meanwhile(request, page, place, saving)
        filled = _again(SHEET_FORMS[place.kind], sent.told, error)
        return _sheet(request, page, (place, version), filled, 422)
    return go(request, to_eye(place.eye))


async def meanwhile(request: Request, page: EyePage, place: Place, saving: Saving) -> Response:
    """Show both versions where somebody else has written one meanwhile."""
    newer, differing = await booked(request, kept.both_versions, place, saving)
    told = dict(saving.told) | {"eye": [place.eye], "kind": [place.kind], "slot": [place.slot]}
    return shown(request, "meanwhile.html", 409, one=page, place=place, newer=newer,
                 differing=differing, to_eye=to_eye, filled=Filled(_short(told)),
                 mine=_mine(told))  # fmt: skip


def _sheet(request: Request, page: EyePage, at: tuple[Place, int], filled: Filled,
           status: int = 200) -> Response:  # fmt: skip
    place, seen = at
    return shown(request, "eye_sheet.html", status, one=page, place=place, seen=seen,
                 form=SHEET_FORMS[place.kind], filled=filled, to_eye=to_eye)  # fmt: skip


async def consent(request: Request) -> Response:
    """Keep to what the person has agreed."""
    sent = await sent_form(request)
    page = await eye_page(request, first(sent.told, "code"))
    to = tuple(one for one in CONSENTS if one in sent.told.get("to", ()))
    saving = Saving(sent.told, 0, who_writes(request, sent.told), first(sent.told, "why")[:500])
    await booked(request, kept.set_consent, page.eye.code, to, saving)
    return go(request, to_eye(page.eye.code))


async def hide(request: Request) -> Response:
    """Take an eye out of the list, or back into it."""
    sent = await sent_form(request)
    page = await eye_page(request, first(sent.told, "code"))
    saving = Saving(sent.told, 0, who_writes(request, sent.told), first(sent.told, "why")[:500])
    await booked(request, kept.set_hidden, page.eye.code, not page.eye.hidden, saving)
    return go(request, to_eye(page.eye.code))


async def history(request: Request) -> Response:
    """Answer by all that was written of an eye."""
    page = await eye_page(request)
    done = await booked(request, kept.history_of, page.eye.code)
    return shown(request, "eye_history.html", one=page, done=done, to_eye=to_eye)


async def version(request: Request) -> Response:
    """Answer by one version of a record, and what it changed."""
    page = await eye_page(request)
    query = request.query_params
    place = Place(page.eye.code, query.get("kind", ""), query.get("slot", ""))
    if place.kind in MASKED_KINDS:
        raise HTTPException(404)
    versions = await booked(request, kept.versions_of, place)
    wanted = [one for one in versions if str(one.version) == query.get("version")]
    if not wanted:
        raise HTTPException(404)
    before = [one for one in versions if one.version == wanted[0].version - 1]
    form, kind = SHEET_FORMS.get(place.kind, ()), place.kind
    document = kept.inside(kind, wanted[0].document)
    changed = differences(form, kept.inside(kind, before[0].document), document) if before else []
    text = json.dumps(wanted[0].document, ensure_ascii=False, indent=1)[:20_000]
    return shown(request, "eye_version.html", one=page, kept=wanted[0], changed=changed,
                 lines=said(form, document), text=text, to_eye=to_eye)  # fmt: skip


async def eye_page(request: Request, code: str | None = None) -> EyePage:
    """Read the eye that is asked for; there is no page where the casebook has none."""
    wanted = request.query_params.get("code", "") if code is None else code
    page = await booked(request, kept.read_eye, wanted[:64]) if wanted else None
    if page is None:
        raise HTTPException(404)
    return page


async def _place(request: Request, told: Mapping[str, str]) -> tuple[Place, EyePage]:
    page = await eye_page(request, told.get("eye", told.get("code", "")))
    kind = told.get("kind", "")
    if kind not in SHEET_FORMS:
        raise HTTPException(404)
    return Place(page.eye.code, kind, told.get("slot", "")[:128]), page


def who_writes(request: Request, told: Mapping[str, Sequence[str]]) -> str:
    """Return who writes, and keep it for the next form; who logged in cannot be another."""
    if session_of(request).person:
        return session_of(request).person
    name = first(told, "who")[:64]
    if name:
        session_of(request).name = name
    return session_of(request).name or "workbench"


def _short(told: Mapping[str, Sequence[str]]) -> dict[str, Sequence[str]]:
    return {name: given[:20] for name, given in told.items()
            if all(len(one) <= 20_000 for one in given)}  # fmt: skip


def _mine(told: Mapping[str, Sequence[str]]) -> list[tuple[str, str]]:
    """Return all that was sent, to be sent again."""
    own = {"csrf", "seen", "edit", "who", "why", "name"}
    return [(name, one) for name, given in told.items() if name not in own for one in given]


def _again(form: Any, told: Mapping[str, Sequence[str]], error: WrongInput) -> Filled:
    key = error.key if isinstance(error, WrongField) else key_in(error.sentence, form)
    return Filled(_short(told), in_words(error.sentence, form), key)


EYE_VIEWS: dict[str, Any] = {
    "/eyes": eyes,
    "/eyes/new": new_eye,
    "/eye": eye,
    "/eye/beside": both_eyes,
    "/eye/sheet": sheet,
    "/eye/history": history,
    "/eye/version": version,
}
EYE_ACTIONS: dict[str, Any] = {
    "/eyes/new": add_eye,
    "/eye/sheet": save_sheet,
    "/eye/consent": consent,
    "/eye/hide": hide,
}
