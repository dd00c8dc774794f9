"""Pictures of one or several eyes in, their courses out: loaded, measured, compared, written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from rimwise.casebook.exits import EXIT_DONE, EXIT_REFUSED, Progress
from rimwise.casebook.measuring import check_kind
from rimwise.exchange.course_sheets import read_course_sheet
from rimwise.exchange.pictures import check_file, load_picture
from rimwise.exchange.results import document_of
from rimwise.exchange.sheets import read_picture_sheet
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    make_folder,
    write_bytes,
    write_json,
)
from rimwise.follow.along import with_contact, with_visits
from rimwise.follow.changes import SeenVisit
from rimwise.follow.make import follow_visits
from rimwise.journey import finding_of
from rimwise.records.healing import AtVisit, Healing
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate


@dataclass(frozen=True, slots=True)
class FollowRequest:
    """What the person asked for.

    ``limit_mm``: least cover below which an eye is flagged. ``contact_deg``: arcs of the last
    picture where a reader saw front and back capsule touch; one eye only.
    """

    paths: Sequence[Path]
    flags: Mapping[str, object]
    limit_mm: float = 0.0
    contact_deg: tuple[tuple[float, float], ...] = ()
    visit_sheets: Sequence[Path] = ()
    json_out: Path | str | None = None
    drawing: Path | None = None


@dataclass(frozen=True, slots=True)
class Followed:
    """The courses, one an eye, and the drawings made."""

    courses: tuple[Healing, ...]
    drawings: tuple[Path, ...]

    @property
    def exit_code(self) -> int:
        """Return 0, or 3 where a picture was refused."""
        refused = any(v.finding.status == "refused" for one in self.courses for v in one.visits)
        return EXIT_REFUSED if refused else EXIT_DONE

    def document(self) -> dict[str, Any]:
        """Return the whole document."""
        return document_of(one.document() for one in self.courses)


@dataclass(frozen=True, slots=True)
class _Loaded:
    path: Path
    sheet: PictureSheet
    day: int | None
    taken: date | None


def follow_pictures(request: FollowRequest, progress: Progress | None = None) -> Followed:
    """What has changed in the eyes of these pictures since each one's first visit?

    Pictures belong to one eye where their sheets bear one code.

    Raises
    ------
    WrongInput
        A picture or sheet cannot be used, an eye has one picture only, or its pictures do not say
        when they were taken or of which side they are.
    MeasurementRefused
        No picture of an eye could be measured.
    OutputFailed
        An answer cannot be written.
    """
    if request.json_out is not None:
        check_writable(request.json_out)
        check_not_input(request.json_out, request.paths)
    loaded = [_sheet(path, request.flags) for path in request.paths]
    eyes: dict[str, list[_Loaded]] = {}
    for one in loaded:
        eyes.setdefault(one.sheet.code or "", []).append(one)
    if request.contact_deg and len(eyes) > 1:
        raise WrongInput(
            f"contact is marked in the last picture of one eye, and these are of {len(eyes)}"
        )
    days = {code: _days(code, pictures) for code, pictures in eyes.items()}
    at_visits = _at_visits(request.visit_sheets, set(eyes))
    courses, drawings, done = [], [], 0
    for code, pictures in eyes.items():
        seen = []
        for one, day in zip(pictures, days[code], strict=True):
            if progress is not None:
                progress(done, len(loaded), one.path.name)
            seen.append(_seen(one, day))
            done += 1
        course = follow_visits(code or one_name(pictures), seen, request.limit_mm)
        course = with_contact(course, request.contact_deg)
        course = with_visits(course, at_visits.get(code, {}))
        courses.append(course)
        if request.drawing is not None:
            drawings.append(_draw(course, request.drawing))
    if progress is not None:
        progress(done, len(loaded), "")
    followed = Followed(tuple(courses), tuple(drawings))
    if request.json_out is not None:
        write_json(request.json_out, followed.document())
    return followed


def _at_visits(sheets: Sequence[Path], codes: set[str]) -> dict[str, dict[int, AtVisit]]:
    """What do visit sheets tell, by eye and day?"""
    told: dict[str, dict[int, AtVisit]] = {}
    for path in sheets:
        sheet = read_course_sheet(path)
        visit, code = sheet.get("visit"), sheet.get("code", "")
        if visit is None or visit.get("day") is None:
            raise WrongInput(f"{path} holds no [visit] with a day; give visit sheets here")
        if code not in codes:
            raise WrongInput(
                f"{path} is of eye {code or 'without code'}, which has no picture here"
            )
        lens, acuity = visit.get("refraction") or {}, visit.get("acuity_logmar")
        letters = not isinstance(acuity, str)
        told.setdefault(code, {})[visit["day"]] = AtVisit(
            lens.get("sphere_dpt"),
            lens.get("cylinder_dpt"),
            lens.get("axis_deg"),
            acuity if letters else None,
            None if letters else acuity,
            *_tilt_told(visit.get("optic_tilt")),
        )
    return told


def _tilt_told(told: Mapping[str, float] | None) -> tuple[Estimate | None, Estimate | None]:
    if told is None:
        return None, None
    nasal, superior = (
        Estimate(told[key], told["sd_deg"], "visit sheet") for key in ("nasal_deg", "superior_deg")
    )
    return nasal, superior


def one_name(pictures: Sequence[_Loaded]) -> str:
    """Which name has an eye whose sheets bear no code? That of its first picture."""
    return pictures[0].path.stem


def _sheet(path: Path, flags: Mapping[str, object]) -> _Loaded:
    check_file(path)
    sheet = read_picture_sheet(path, flags).sheet
    check_kind(sheet, path.name)
    taken = None
    if sheet.taken is not None:
        try:
            taken = date.fromisoformat(str(sheet.taken)[:10])
        except ValueError:
            raise WrongInput(
                f"{path.name}: taken = {sheet.taken} is no date; one such as 2026-03-02 is allowed"
            ) from None
    return _Loaded(path, sheet, sheet.visit_day, taken)


def _days(code: str, pictures: Sequence[_Loaded]) -> list[int]:
    """Days of the visits: as told, else since the first picture."""
    name = code or one_name(pictures)
    if len(pictures) < 2:
        raise WrongInput(
            f"{name} has one picture only; a course needs at least two pictures whose sheets bear "
            "one code, each with visit_day or taken"
        )
    sides = {one.sheet.side for one in pictures}
    if len(sides) > 1:
        raise WrongInput(f"the pictures of {name} are of both sides; give each eye its own code")
    if all(one.day is not None for one in pictures):
        days = [one.day or 0 for one in pictures]
    elif all(one.taken is not None for one in pictures):
        first = min(one.taken for one in pictures if one.taken is not None)
        days = [(one.taken - first).days for one in pictures if one.taken is not None]
    else:
        raise WrongInput(
            f"the pictures of {name} do not all say when they were taken; write visit_day = 28 or "
            "taken = 2026-03-02 into each sheet, the same key in all"
        )
    if len(set(days)) < len(days):
        raise WrongInput(f"two pictures of {name} are of one day; give one picture a visit")
    return days


def _seen(one: _Loaded, day: int) -> SeenVisit:
    loaded = load_picture(one.path)
    finding = finding_of(loaded.raster, one.sheet, str(one.path), loaded.sha256)
    return SeenVisit(day, loaded.raster, one.sheet, replace(finding, picture=str(one.path)))


def _draw(course: Healing, folder: Path) -> Path:
    from rimwise.report.healing_drawing import draw_healing  # noqa: PLC0415 - brings matplotlib

    path = make_folder(folder) / f"{Path(course.code).name}-healing.svg"
    write_bytes(path, draw_healing(course, "svg"))
    return path
