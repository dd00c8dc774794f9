"""Masked reading: two readers who see neither visit nor arm nor what they read before."""

from collections.abc import Mapping
from typing import Any

from fastapi import Request, Response
from starlette.exceptions import HTTPException

from rimwise.audit.masked import agreed, mean_of
from rimwise.terms.errors import WrongInput
from rimwise.web import masked_book as kept
from rimwise.web.bench import Bench
from rimwise.web.bench_pages import bench_of, told_points
from rimwise.web.catalogue import TEXT
from rimwise.web.eyes import who_writes
from rimwise.web.fields import NUMBER
from rimwise.web.keeping import booked
from rimwise.web.masked import Course, Task
from rimwise.web.masked_jobs import (
    NAMELESS,
    ShownPair,
    agreement_job,
    blank_job,
    cover_numbers_job,
    pair_job,
    reading_job,
    result_job,
)
from rimwise.web.views import first, go, sent_form, session_of, shown, whole, work

OWN, AGREED = "rimwise", "agreed"
MOST_TURNS = 3
_LONGEST = 24  # signs of a reader's pseudonym: it is part of a record's name


def to_study(code: str, page: str = "/masked/study") -> str:
    """Where is the page of this study?

    Examples
    --------
    >>> to_study("M-1"), to_study("M-1", "/masked/read")
    ('/masked/study?study=M-1', '/masked/read?study=M-1')
    """
    return f"{page}?study={code}"


async def masked_list(request: Request) -> Response:
    """Answer by the studies, and the form that begins one."""
    return await _list(request, {}, "")


async def _list(request: Request, told: Mapping[str, Any], wrong: str) -> Response:
    listed = await booked(request, kept.listed)
    filled = {name: first(told, name) for name in told} or {"limit": "0.2", "turns": "2"}
    return shown(request, "masked.html", 422 if wrong else 200, listed=listed, filled=filled,
                 wrong=wrong, to_study=to_study, most=MOST_TURNS)  # fmt: skip


async def begin(request: Request) -> Response:
    """Begin a study."""
    sent = await sent_form(request)
    try:
        asked = _asked(sent.told)
        code = await booked(request, kept.begin, asked, who_writes(request, sent.told))
    except WrongInput as error:
        return await _list(request, sent.told, error.sentence)
    return go(request, to_study(code))


def _asked(told: Mapping[str, Any]) -> kept.Asked:
    names = [first(told, one) for one in ("reader-1", "reader-2", "judge")]
    if not all(one and len(one) <= _LONGEST and one.isprintable() and "/" not in one
               for one in names):  # fmt: skip
        raise WrongInput(TEXT["masked.names"])
    if len(set(names)) < len(names) or {OWN, AGREED} & set(names):
        raise WrongInput(TEXT["masked.three"])
    limit, turns = first(told, "limit"), whole(first(told, "turns"))
    limit_mm = float(limit.replace(",", ".")) if NUMBER.fullmatch(limit) else 0.0
    if not 0.01 <= limit_mm <= 2.0:
        raise WrongInput(TEXT["masked.limit.wrong"])
    if not 1 <= turns <= MOST_TURNS:
        raise WrongInput(TEXT["masked.turns.wrong"])
    title = first(told, "title")[:120]
    return kept.Asked(title, (names[0], names[1]), names[2], turns, limit_mm,
                      first(told, "start")[:64], "research" in told)  # fmt: skip


async def study(request: Request) -> Response:
    """Answer by how far a study is; by its results where it is closed."""
    course = await _course(request, request.query_params.get("study", ""))
    result = sentence = None
    if course.study.closed:
        try:
            result = await work(request, result_job, await _told(request, course),
                                course.study.code)  # fmt: skip
        except WrongInput as error:
            sentence = error.sentence
    return shown(request, "masked_study.html", course=course, study=course.study, result=result,
                 sentence=sentence, to_study=to_study, lines=_lines(course),
                 differing=len(course.differing) if course.is_read else None)  # fmt: skip


def _lines(course: Course) -> list[tuple[Any, list[str]]]:
    """Return the pictures of a closed study, unmasked, with two numbers of each."""
    if not course.study.closed:
        return []
    lines = []
    for one in course.study.pictures:
        told = [mean_of(readings) for readings in course.both(one.sha256)]
        told.append(_agreed(course, one.sha256))
        lines.append((one, [_words(numbers) for numbers in told]))
    return lines


def _words(numbers: Mapping[str, float] | None) -> str:
    if numbers is None:
        return TEXT["masked.unreadable"]
    wanted = (numbers.get("equivalent_diameter_mm"), numbers.get("least_cover_mm"))
    told = ["–" if one is None else f"{one:.2f}".replace("-", "−") for one in wanted]
    return f"{told[0]} / {told[1]}"


def _agreed(course: Course, sha256: str) -> Mapping[str, float] | None:
    one, two = course.both(sha256)
    return agreed(one, two, course.study.limit_mm, course.judged.get(sha256))


async def _told(request: Request, course: Course) -> list[tuple[str, str, Mapping[str, float]]]:
    """Return all readings, what was agreed and what the program found: picture, method, numbers."""
    numbers = {one.sha256: f"{k:03d}" for k, one in enumerate(course.study.pictures, 1)}
    told = [
        (numbers[one.picture], name, one.values)
        for name in course.study.readers for one in course.readings
        if one.reader == name and one.values is not None
    ]  # fmt: skip
    for sha256, number in numbers.items():
        values = _agreed(course, sha256)
        if values is not None:
            told.append((number, AGREED, values))
    entries = await booked(request, kept.own_findings, course.study)
    found = await work(request, cover_numbers_job, entries)
    return told + [(numbers[sha256], OWN, values) for sha256, values in found.items()]


async def drawing(request: Request) -> Response:
    """Answer by two methods of a closed study against each other."""
    course = await _course(request, request.query_params.get("study", ""))
    if not course.study.closed:
        raise HTTPException(404)
    which = tuple(request.query_params.get(one, "") for one in ("number", "first", "second"))
    told = await _told(request, course)
    return Response(await work(request, agreement_job, told, which), media_type="image/png")


async def document(request: Request) -> Response:
    """Answer by the statistics of a closed study as a file."""
    course = await _course(request, request.query_params.get("study", ""))
    if not course.study.closed:
        raise HTTPException(404)
    told = await _told(request, course)
    result = await work(request, result_job, told, course.study.code)
    attached = {"Content-Disposition": 'attachment; filename="rimwise-study.json"'}
    return Response(result.document, media_type="application/json", headers=attached)


async def come(request: Request) -> Response:
    """Let a reader begin, under the pseudonym that the study names."""
    sent = await sent_form(request)
    course = await _course(request, first(sent.told, "study"))
    who = who_writes(request, sent.told)
    if who == course.study.judge:
        return go(request, to_study(course.study.code, "/masked/judge"))
    _check_reader(course, who)
    return go(request, to_study(course.study.code, "/masked/read"))


async def read(request: Request) -> Response:
    """Answer by the next picture of this reader: nameless, and without any curve."""
    course = await _course(request, request.query_params.get("study", ""))
    who = session_of(request).called
    _check_reader(course, who)
    task = None if course.study.closed else course.next_for(who)
    if task is None:
        return go(request, to_study(course.study.code))
    return await _reads(request, task, course)


async def _reads(request: Request, task: Task, course: Course) -> Response:
    values, data = await booked(request, kept.masked_picture, task)
    entry = await work(request, blank_job, values, data, task.sha256)
    bench = Bench(NAMELESS, values, entry, data, task=task)
    name = session_of(request).lay(bench)
    return shown(request, "masked_read.html", bench=bench, name=name, task=task,
                 turns=course.study.turns)  # fmt: skip


async def keep(request: Request, name: str) -> Response:
    """Keep what was read in a picture, or that it cannot be read; then the next one."""
    sent = await sent_form(request)
    task = bench_of(request, name).task
    if task is None:
        raise HTTPException(404)
    bench, why = bench_of(request, name), first(sent.told, "why")[:500]
    if ("unreadable" in sent.told or task.turn == 0) and not why:
        raise WrongInput(TEXT["error.why"])
    if (await _course(request, task.study)).study.closed:
        raise WrongInput(TEXT["masked.shut"])
    read, values = None, None
    if "unreadable" not in sent.told:
        told = told_points(first(sent.told, "told")) | {"who": task.reader}
        read, values = await work(request, reading_job, bench.entry, bench.values, told)
    try:
        await booked(request, kept.keep_reading, task, {"cover": read, "why": why}, values)
    except WrongInput as error:
        if type(error).__name__ != "WrittenMeanwhile":
            raise
    return go(request, to_study(task.study, "/masked/read" if task.turn else "/masked/judge"))


async def judge(request: Request) -> Response:
    """Answer by the next picture in which the readers differ, with both readings, unnamed."""
    course = await _course(request, request.query_params.get("study", ""))
    who = session_of(request).called
    if who != course.study.judge:
        raise WrongInput(TEXT["masked.no_judge"])
    waiting = [] if course.study.closed else course.to_judge
    if not waiting:
        return go(request, to_study(course.study.code))
    task = _judging(course, waiting)
    values, data = await booked(request, kept.masked_picture, task)
    pair = await _pair(request, course, task, data)
    name = session_of(request).lay(
        Bench(NAMELESS, values, {"side": values["side"]}, data, task=task)
    )
    session_of(request).pair = pair
    return shown(request, "masked_judge.html", task=task, name=name, pair=pair,
                 what=course.differing[task.sha256])  # fmt: skip


def _judging(course: Course, waiting: list[str]) -> Task:
    study, sha256 = course.study, waiting[0]
    done = len(course.judged)
    eye = study.picture(sha256).eye
    return Task(study.code, eye, sha256, study.judge, 0, done + 1, done + len(waiting))


async def _pair(request: Request, course: Course, task: Task, data: bytes) -> ShownPair:
    both = await booked(request, kept.kept_readings, course, task.sha256)
    pair: ShownPair = await work(request, pair_job, data, [one["cover"] or {} for one in both])
    return pair


async def pair_picture(request: Request) -> Response:
    """Answer by the photograph under two readings."""
    pair = session_of(request).pair
    if pair is None:
        raise HTTPException(404)
    return Response(pair.jpeg, media_type="image/jpeg")


async def decide(request: Request, name: str) -> Response:
    """Keep which of two readings holds; or let the third read anew."""
    sent = await sent_form(request)
    task = bench_of(request, name).task
    if task is None or task.turn:
        raise HTTPException(404)
    course = await _course(request, task.study)
    choice, why = first(sent.told, "choice"), first(sent.told, "why")[:500]
    if choice == "own":
        return await _reads(request, task, course)
    if choice not in ("A", "B") or not why:
        raise WrongInput(TEXT["masked.choose"])
    both = await booked(request, kept.kept_readings, course, task.sha256)
    taken = both["AB".index(choice)]
    values = mean_of(course.of(task.sha256, str(taken["reader"])))
    told = {"cover": taken["cover"], "why": why, "taken": taken["reader"]}
    await booked(request, kept.keep_reading, task, told, values)
    return go(request, to_study(task.study, "/masked/judge"))


async def close(request: Request) -> Response:
    """Close a study that is read and decided: from now on all is told."""
    sent = await sent_form(request)
    course = await _course(request, first(sent.told, "study"))
    if not course.is_read or course.to_judge:
        raise WrongInput(TEXT["masked.open"])
    if not course.study.closed:
        await booked(request, kept.close, course.study, who_writes(request, sent.told))
    return go(request, to_study(course.study.code))


async def _course(request: Request, code: str) -> Course:
    course = await booked(request, kept.course, code[:16])
    if course is None:
        raise HTTPException(404)
    return course


def _check_reader(course: Course, who: str) -> None:
    if who not in course.study.readers:
        raise WrongInput(TEXT["masked.no_reader"])


MASKED_VIEWS: dict[str, Any] = {
    "/masked": masked_list,
    "/masked/study": study,
    "/masked/read": read,
    "/masked/judge": judge,
    "/masked/pair.jpg": pair_picture,
    "/masked/drawing.png": drawing,
    "/masked/study.json": document,
}
MASKED_ACTIONS: dict[str, Any] = {
    "/masked": begin,
    "/masked/come": come,
    "/masked/keep/{name}": keep,
    "/masked/decide/{name}": decide,
    "/masked/close": close,
}
