"""The page to practise on: place an opening, see the truth, know one's own bias and scatter."""

import json
import os
import secrets
from pathlib import Path
from typing import Any

from anyio import to_thread
from fastapi import Request, Response
from starlette.exceptions import HTTPException

from rimwise.terms.errors import OutputFailed, WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.eyes import who_writes
from rimwise.web.fields import NUMBER
from rimwise.web.glance import LEAST, Common, common_of
from rimwise.web.keeping import Keeping
from rimwise.web.practise_jobs import Placed, placed_on, practise_frame_job, practise_job
from rimwise.web.views import first, go, sent_form, session_of, shown, work

FILE = "practise.jsonl"  # beside the casebook: it is of hands, not of eyes
KEYS = ("nasal_mm", "superior_mm", "diameter_off_mm")


async def practise(request: Request) -> Response:
    """Answer by the picture that is there, what was placed on it, and the learner's own hand."""
    session = session_of(request)
    hands = {
        kind: await to_thread.run_sync(own_hand, _file(request), session.called, kind == "frames")
        for kind in ("photographs", "frames")
    }
    return shown(request, "practise.html", picture=session.practised, placed=session.placed,
                 hands=hands, name=session.called)  # fmt: skip


async def new_picture(request: Request) -> Response:
    """Draw another picture."""
    sent = await sent_form(request)
    session = session_of(request)
    seed = secrets.randbelow(2**31)
    job = practise_frame_job if "frame" in sent.told else practise_job
    level = first(sent.told, "frame") or first(sent.told, "level")
    session.practised = await work(request, job, level, seed)
    session.placed = None
    return go(request, "/practise")


async def picture(request: Request) -> Response:
    """Answer by the picture."""
    practised = session_of(request).practised
    if practised is None:
        raise HTTPException(404)
    return Response(practised.data, media_type="image/jpeg")


async def place(request: Request) -> Response:
    """Take what was placed, once for each picture, and keep how far it is off."""
    sent = await sent_form(request)
    session = session_of(request)
    if session.practised is None or session.placed is not None:
        return go(request, "/practise")
    texts = [first(sent.told, name).replace(",", ".") for name in ("x", "y", "size")]
    if not all(NUMBER.fullmatch(one) and len(one) < 12 for one in texts):
        raise WrongInput(TEXT["practise.wrong"])
    x, y, size = (float(one) for one in texts)
    width, height = session.practised.size_px
    if not (0.0 <= x <= width and 0.0 <= y <= height and 0.0 < size <= width):
        raise WrongInput(TEXT["practise.wrong"])
    placed = placed_on(session.practised, x, y, size)
    name = who_writes(request, sent.told)
    surgical = session.practised.wanted_mm is not None
    await to_thread.run_sync(keep_placed, _file(request), name, placed, surgical)
    session.placed = placed
    return go(request, "/practise")


def _file(request: Request) -> Path:
    keeping: Keeping = request.app.state.keeping
    return keeping.folder / FILE


def keep_placed(path: Path, name: str, placed: Placed, surgical: bool = False) -> None:
    """Keep how far off a placed opening was; a line is whole or not there.

    ``surgical`` says that it was placed on a frame before the opening was made: another task, whose
    bias is told by itself.

    Raises
    ------
    OutputFailed
        It cannot be written.
    """
    line = (
        json.dumps(
            {"who": name, "on": "frame" if surgical else "photograph"}
            | {key: getattr(placed, key) for key in KEYS}
        )
        + "\n"
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputFailed(f"{path.name} could not be written ({error.strerror})") from None


def own_hand(path: Path, name: str, surgical: bool = False) -> tuple[Common, ...]:
    """Which bias and scatter has this learner on pictures of a kind? Nothing below three."""
    on = "frame" if surgical else "photograph"
    try:
        lines = path.read_text("utf-8").splitlines()
    except OSError:
        return ()
    told = []
    for line in lines:
        try:
            one = json.loads(line)
        except ValueError:
            continue  # a line that a kill cut short
        if isinstance(one, dict) and one.get("who") == name and one.get("on", "photograph") == on:
            told.append(one)
    if len(told) < LEAST:
        return ()
    return tuple(common_of(key, [float(one[key]) for one in told]) for key in KEYS)


PRACTISE_VIEWS: dict[str, Any] = {"/practise": practise, "/practise/picture.jpg": picture}
PRACTISE_ACTIONS: dict[str, Any] = {"/practise": place, "/practise/new": new_picture}
