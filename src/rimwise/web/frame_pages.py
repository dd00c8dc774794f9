"""The pages of recorded frames and clips: dropped, aligned beside the pages, read at leisure."""

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from anyio import to_thread
from fastapi import Request, Response
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.eyes import who_writes
from rimwise.web.fields import WrongField, in_words, key_in, values_of
from rimwise.web.forms import FRAME_FORM
from rimwise.web.frame_desk import DONE, RUNS, WAITS, FrameDesk
from rimwise.web.frame_jobs import MADE
from rimwise.web.keeping import booked
from rimwise.web.pages import Filled
from rimwise.web.uploads import Sent, picture_name
from rimwise.web.views import asks_for_json, first, go, sent_form, session_of, shown

if TYPE_CHECKING:
    from rimwise.store.book import Casebook

KINDS = {".png": "image/png", ".csv": "text/csv", ".json": "application/json"}


def _desk(request: Request) -> FrameDesk:
    desk = request.app.state.desk
    assert isinstance(desk, FrameDesk)
    return desk


async def frame_page(request: Request) -> Response:
    """Answer by the form and the list; what an earlier run of the program left is gone on with."""
    desk = _desk(request)
    listed = await to_thread.run_sync(desk.listed)
    if any(one["state"] in (WAITS, RUNS) for one in listed):
        await to_thread.run_sync(desk.go_on)
    return shown(request, "frames.html", form=FRAME_FORM, filled=Filled(), listed=listed)


async def add(request: Request) -> Response:
    """Put frames or a clip on the list."""
    sent = await sent_form(request)
    desk = _desk(request)
    if "invented" in sent.told:
        number = await to_thread.run_sync(desk.invent, session_of(request).called)
        return go(request, f"/frame/{number}")
    try:
        values, reference, files = _sorted(sent)
        code = str(values.get("code") or "")
        if reference is None and code and "own_reference" in sent.told:
            reference = await booked(request, own_reference, code)
        told = {"values": values, "code": code, "who": who_writes(request, sent.told),
                "make": "make" in sent.told}  # fmt: skip
        number = await to_thread.run_sync(desk.add, files, told, reference)
    except WrongInput as error:
        return await _again(request, sent, error)
    return go(request, f"/frame/{number}")


async def _again(request: Request, sent: Sent, error: WrongInput) -> Response:
    key = error.key if isinstance(error, WrongField) else key_in(error.sentence, FRAME_FORM)
    sentence = in_words(error.sentence, FRAME_FORM)
    if asks_for_json(request):
        fields = {one.key: one.element for group in FRAME_FORM for one in group.fields}
        where = fields.get(key or "", "frame" if key == "frame" else None)
        return JSONResponse({"sentence": sentence, "field": where}, status_code=422)
    told = {name: given[:20] for name, given in sent.told.items()
            if all(len(one) <= 2000 for one in given)}  # fmt: skip
    listed = await to_thread.run_sync(_desk(request).listed)
    filled = Filled(told, sentence, key)
    return shown(request, "frames.html", 422, form=FRAME_FORM, filled=filled, listed=listed)


def _sorted(sent: Sent) -> tuple[dict[str, Any], bytes | None, list[tuple[str, bytes]]]:
    """Which of the files are recordings, which is their sheet, and which their reference?"""
    sheet: dict[str, Any] = {}
    reference, files = None, []
    for name, data in sent.files:
        if not data:
            continue
        if name.lower().endswith(".toml"):
            sheet = read_sheet(data)
        elif name.lower().endswith(".json"):
            reference = data
        else:
            files.append((picture_name(name), data))
    if not files:
        raise WrongField("frame", TEXT["frame.none"])
    values = merged(sheet, values_of(FRAME_FORM, sent.told))
    if "side" not in values:
        raise WrongField("side", TEXT["error.side"])
    if "lamps" not in values:
        raise WrongField("lamps.places_mm", TEXT["frame.no_lamps"])
    return values, reference, files


def read_sheet(data: bytes) -> dict[str, Any]:
    """Which keys has a picture sheet that was sent? A path to a reference is none of them.

    Raises
    ------
    WrongInput
        It is no TOML.

    Examples
    --------
    >>> read_sheet(b"reference = 'a.json'")
    {}
    """
    try:
        told = tomllib.loads(data.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError, ValueError):
        raise WrongInput(TEXT["error.no_sheet"]) from None
    # The file comes along by itself; a path of the machine is never followed from a page.
    told.pop("reference", None)
    try:
        json.dumps(told, allow_nan=False)
    except (TypeError, ValueError):
        told = {key: str(one) if hasattr(one, "isoformat") else one for key, one in told.items()}
    return told


def merged(sheet: Mapping[str, Any], form: Mapping[str, Any]) -> dict[str, Any]:
    """What do sheet and form say together? The form outranks the sheet, key by key.

    Examples
    --------
    >>> merged({"side": "left", "lamps": {"plane_mm": 0}}, {"lamps": {"fixated": 1}})
    {'side': 'left', 'lamps': {'plane_mm': 0, 'fixated': 1}}
    """
    told = dict(sheet)
    for key, one in form.items():
        before = told.get(key)
        if isinstance(before, Mapping) and isinstance(one, Mapping):
            told[key] = {**before, **one}
        else:
            told[key] = one
    return told


def own_reference(book: "Casebook", code: str) -> bytes | None:
    """Which reference has this eye in the casebook?"""
    kept = book.newest(code, "reference")
    return None if kept is None else json.dumps(kept.document).encode("utf-8")


async def framed(request: Request, number: str) -> Response:
    """Answer by what was found in a recording, or how far it is."""
    desk = _desk(request)
    told = await to_thread.run_sync(desk.told, number)
    if told is None:
        raise HTTPException(404)
    result = await to_thread.run_sync(desk.result, number)
    return shown(request, "framed.html", job=told, found=result, number=number)


async def state(request: Request, number: str) -> Response:
    """Answer a script by how far a recording is."""
    told = await to_thread.run_sync(_desk(request).told, number)
    if told is None:
        raise HTTPException(404)
    done, of = told["progress"]
    open_ = told["state"] in (WAITS, RUNS)
    return JSONResponse({"state": TEXT[f"queue.{told['state']}"], "open": open_, "done": done,
                         "of": of})  # fmt: skip


async def file(request: Request, number: str, name: str) -> Response:
    """Answer by a drawing, the table or the reference that was made: by names of ours only."""
    desk = _desk(request)
    result = await to_thread.run_sync(desk.result, number)
    if result is None or name not in files_of(result):
        raise HTTPException(404)
    path = desk.place(number) / name
    if not path.is_file():
        raise HTTPException(404)
    data = await to_thread.run_sync(path.read_bytes)
    kind = KINDS[Path(name).suffix]
    headers = {} if kind == "image/png" else {"Content-Disposition": "attachment"}
    return Response(data, media_type=kind, headers=headers)


def files_of(result: Mapping[str, Any]) -> set[str]:
    """Which files may be fetched of a recording?

    Examples
    --------
    >>> sorted(files_of({"kind": "clip", "timeline": "a.png", "stills": [{"drawing": "b.png"}]}))
    ['a.png', 'b.png', 'table.csv']
    """
    if result["kind"] == "clip":
        return {result["timeline"], "table.csv", *(one["drawing"] for one in result["stills"])}
    made = result["reference"] and result["reference"]["status"] != "none"
    drawn = {one["drawing"] for one in result["frames"] if one["drawing"]}
    return drawn | ({MADE} if made else set())


async def document(request: Request, number: str) -> Response:
    """Answer by the numbers of all frames as a file."""
    result = await to_thread.run_sync(_desk(request).result, number)
    if result is None or result["kind"] != "frames":
        raise HTTPException(404)
    from rimwise import __version__  # noqa: PLC0415

    told = {"rimwise": __version__, "results": [one["document"] for one in result["frames"]]}
    headers = {"Content-Disposition": 'attachment; filename="rimwise-frame.json"'}
    return JSONResponse(told, headers=headers)


async def act(request: Request, number: str) -> Response:
    """Cancel a recording, remove it, or keep what was found in the casebook."""
    sent = await sent_form(request)
    desk = _desk(request)
    told = await to_thread.run_sync(desk.told, number)
    if told is None:
        raise HTTPException(404)
    if "cancel" in sent.told:
        await to_thread.run_sync(desk.cancel, number)
    elif "remove" in sent.told:
        await to_thread.run_sync(desk.remove, number)
        return go(request, "/frame")
    else:
        return await _keep(request, sent, number, told)
    return go(request, f"/frame/{number}")


async def _keep(request: Request, sent: Sent, number: str, told: Mapping[str, Any]) -> Response:
    desk = _desk(request)
    result = await to_thread.run_sync(desk.result, number)
    code, why = first(sent.told, "code")[:64], first(sent.told, "why")[:500]
    if result is None or told["state"] != DONE or result["kind"] != "frames":
        raise HTTPException(404)
    if not code:
        raise WrongInput(TEXT["error.bench_code"])
    who = (who_writes(request, sent.told), why)
    await booked(request, keep_frames, code, who, (desk.place(number), told, result))
    return go(request, f"/eye?code={code}")


def keep_frames(
    book: "Casebook", code: str, by: tuple[str, str], what: tuple[Path, Mapping[str, Any], Any]
) -> None:
    """Keep what was found in frames, and the reference made of them, with their eye.

    Raises
    ------
    WrongInput
        The eye is the other one of the person.
    """
    from rimwise.store.book import Who  # noqa: PLC0415
    from rimwise.store.shelf import digest  # noqa: PLC0415

    place, told, result = what
    who, side = Who(*by), told["values"]["side"]
    known = book.eye(code)
    if known is None:
        book.add_eye(code, side, who)
    elif known.side != side:
        raise WrongInput(TEXT["error.other_side"])
    for name, file_name, one in zip(told["names"], told["files"], result["frames"], strict=True):
        sha256 = digest((place / file_name).read_bytes())
        document_ = dict(one["document"]) | {"picture": name, "sha256": sha256}
        book.put(code, "frame", document_, who, slot=sha256)
    if result["reference"] and result["reference"]["status"] != "none":
        made = json.loads((place / MADE).read_text("utf-8"))
        book.put(code, "reference", made, who)


FRAME_VIEWS: dict[str, Any] = {
    "/frame": frame_page,
    "/frame/{number}": framed,
    "/frame/{number}/state": state,
    "/frame/{number}/document.json": document,
    "/frame/{number}/file/{name}": file,
}
FRAME_ACTIONS: dict[str, Any] = {"/frame": add, "/frame/{number}": act}
