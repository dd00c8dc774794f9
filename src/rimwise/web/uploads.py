"""A sent form, read into memory and nowhere else, up to a limit."""

from collections.abc import AsyncGenerator, Mapping, Sequence
from dataclasses import dataclass

from starlette.datastructures import UploadFile
from starlette.formparsers import FormParser, MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request

from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT

MOST_BYTES = 40_000_000
MOST_DRAINED_BYTES = 10 * MOST_BYTES  # read and thrown away, so that the browser shows the sentence
MOST_FIELDS = 200
MOST_FILES = 6  # visits of one eye


class TooLarge(WrongInput):
    """More bytes than are taken."""


class NotReadable(WrongInput):
    """No form of ours."""


class _InMemory(MultiPartParser):
    """Keeps what is sent in memory: by default the parser writes larger files to disk."""

    spool_max_size = 2 * MOST_BYTES


@dataclass(frozen=True, slots=True)
class Sent:
    """What came with a form: the words by the name of their control, and the files."""

    told: Mapping[str, Sequence[str]]
    files: tuple[tuple[str, bytes], ...]


async def read_form(request: Request) -> Sent:
    """What came with this form?

    Raises
    ------
    TooLarge
        Over 40 MB.
    NotReadable
        Neither kind of form, broken off, or more fields than any form here has.
    """
    body = await _body(request)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    try:
        if kind == "multipart/form-data":
            parser = _InMemory(
                request.headers, _once(body), max_files=MOST_FILES, max_fields=MOST_FIELDS,
                max_part_size=100_000,
            )  # fmt: skip
            form = await parser.parse()
        elif kind == "application/x-www-form-urlencoded":
            form = await FormParser(request.headers, _once(body), max_fields=MOST_FIELDS).parse()
        else:
            raise NotReadable(TEXT["error.form"])
    except (MultiPartException, KeyError, UnicodeError, ValueError):
        raise NotReadable(TEXT["error.form"]) from None
    told: dict[str, list[str]] = {}
    files = []
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            files.append((value.filename or "", await value.read()))
        else:
            told.setdefault(name, []).append(value)
    await form.close()
    return Sent(told, tuple(files))


async def _body(request: Request) -> bytes:
    said = request.headers.get("content-length", "")
    if said.isdigit() and int(said) > MOST_DRAINED_BYTES:
        raise TooLarge(TEXT["error.large"])
    parts: list[bytes] = []
    size = 0
    try:
        async for part in request.stream():
            size += len(part)
            if size > MOST_DRAINED_BYTES:
                raise TooLarge(TEXT["error.large"])
            if size > MOST_BYTES:
                parts.clear()
            else:
                parts.append(part)
    except ClientDisconnect:
        raise NotReadable(TEXT["error.form"]) from None
    if size > MOST_BYTES:
        raise TooLarge(TEXT["error.large"])
    return b"".join(parts)


async def _once(body: bytes) -> AsyncGenerator[bytes, None]:
    yield body
    yield b""


def picture_name(sent: str) -> str:
    r"""How is an uploaded picture called? Its plain last name; never a way to a folder.

    Examples
    --------
    >>> picture_name("../../etc/eye.jpg"), picture_name("C:\\eyes\\a.png"), picture_name("..")
    ('eye.jpg', 'a.png', 'the photograph')
    """
    last = sent.replace("\\", "/").rpartition("/")[2]
    plain = "".join(one for one in last if one.isprintable())[:80].strip(" .")
    return plain or "the photograph"
