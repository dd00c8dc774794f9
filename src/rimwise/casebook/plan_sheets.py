"""A plan on one page: the eye described, drawn from the front and the side, set as PDF or HTML."""

from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from rimwise import __version__
from rimwise.exchange.writing import write_bytes
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.eye import EyeRecord
from rimwise.records.plan import Plan
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

if TYPE_CHECKING:
    from rimwise.report.plan_sheet import SheetPicture

Seat = Literal["head", "side"]
SEATS: tuple[Seat, ...] = ("head", "side")
_FRONT = (
    "The surgeon's picture, to scale: apparent mm at the limbus plane, the eye fixating, reflexes "
    "before the operation, the optic where it is expected to rest."
)
_FRONT_REAL = (
    "From the front, to scale in real mm: how large things look through this cornea, and where its "
    "reflexes lie, is not told. The optic where it is expected to rest."
)
_SIDE = "From above, to scale in real mm, with traced rays; the implant's form is generic."
_SIDE_GENERIC = (
    "From above, to scale: a generic eye wherever nothing was measured, with a generic implant. "
    "Where its rays meet tells nothing about this eye."
)
SHEET_KINDS = (".pdf", ".html")


@dataclass(frozen=True, slots=True)
class SheetWish:
    """Where the sheet goes, and where the surgeon sits at whom it is turned."""

    path: Path
    seat: Seat = "head"


def sheet_wish(path: Path | None, seat: str) -> SheetWish | None:
    """Which sheet is asked for?

    Raises
    ------
    WrongInput
        The name ends in neither .pdf nor .html, or the seat is none.

    Examples
    --------
    >>> sheet_wish(Path("plan.pdf"), "side").seat
    'side'
    """
    sits = next((one for one in SEATS if one == seat), None)
    if sits is None:
        raise WrongInput(f"the surgeon's seat is {seat!r}, and head or side is allowed")
    if path is None:
        return None
    if path.suffix.lower() not in SHEET_KINDS:
        raise WrongInput(f"{path} ends in neither .pdf nor .html; name the plan sheet so")
    return SheetWish(path, sits)


def write_plan_sheet(
    wish: SheetWish, plan: Plan, case: CaseSheet, read_from: Path, notes: tuple[Reason, ...]
) -> None:
    """Set the plan on one page and write it.

    Parameters
    ----------
    wish : SheetWish
    plan : Plan
        Not refused.
    case : CaseSheet
        What it was made from, flags included.
    read_from : path
        The case sheet's file, for its hash.
    notes : tuple of Reason
        What is to be said of the files that were read.

    Raises
    ------
    OutputFailed
        The sheet cannot be set or written.
    """
    origin = f"rimwise {__version__}; SHA-256 of {read_from.name}: {_digest(read_from)}"
    write_bytes(wish.path, plan_sheet_bytes(wish, plan, case, notes, origin))


def plan_sheet_bytes(
    wish: SheetWish, plan: Plan, case: CaseSheet, notes: tuple[Reason, ...], origin: str
) -> bytes:
    """Set the plan on one page, of the kind that its name ends in.

    Parameters
    ----------
    wish : SheetWish
    plan : Plan
        Not refused.
    case : CaseSheet
    notes : tuple of Reason
    origin : str
        What the sheet says it was made from.

    Raises
    ------
    OutputFailed
        The sheet cannot be set.
    """
    from rimwise.report.plan_sheet import plan_sheet, sheet_data, sheet_html  # noqa: PLC0415

    sheet = plan_sheet(plan, case, _pictures(plan, case, wish.seat), notes, origin)
    if wish.path.suffix.lower() == ".html":
        return sheet_html(sheet).encode("utf-8")
    from rimwise.exchange.pdf import page_pdf  # noqa: PLC0415

    return page_pdf("plan", sheet_data(sheet), {one.name: one.svg for one in sheet.pictures})


def _pictures(plan: Plan, case: CaseSheet, seat: Seat) -> "tuple[SheetPicture, ...]":
    from rimwise.eye.known import known_from_case  # noqa: PLC0415
    from rimwise.eye.this_eye import eye_record  # noqa: PLC0415
    from rimwise.purkinje.describe import describe_eye  # noqa: PLC0415
    from rimwise.report.plan_sheet import SheetPicture  # noqa: PLC0415
    from rimwise.report.plan_sheet_drawing import (  # noqa: PLC0415
        draw_front,
        draw_side,
        front_description,
        side_description,
    )
    from rimwise.report.plan_view import plan_view, seen_through  # noqa: PLC0415

    deep = _implant_depth(plan)
    known = known_from_case(_with_surfaces(case), "implant")
    after = eye_record(known)
    if deep is not None:
        front_mm = deep.value - after.value("lens_thickness_mm") / 2.0
        after = eye_record(replace(known, lens_front_depth_mm=front_mm))
    before = describe_eye(case.code, eye_record(known_from_case(case)))
    view = plan_view(plan, before, _middle_mm(after), case.lengths.pupil_dilated_mm)
    told = describe_eye(case.code, after)
    return (
        SheetPicture(
            "front.svg",
            draw_front(plan, view, seat),
            _FRONT if seen_through(plan) else _FRONT_REAL,
            front_description(plan, seat),
        ),
        SheetPicture(
            "side.svg",
            draw_side(told, deep),
            _SIDE if deep is not None else _SIDE_GENERIC,
            side_description(told, deep),
        ),
    )


def _with_surfaces(case: CaseSheet) -> CaseSheet:
    """Return the case with an implant of no power as the trace takes it: all but flat."""
    from rimwise.plan.traced import FLATTEST_DPT  # noqa: PLC0415

    if case.implant is None or case.implant.power_dpt != 0.0:
        return case
    return replace(case, implant=replace(case.implant, power_dpt=FLATTEST_DPT))


def _implant_depth(plan: Plan) -> Estimate | None:
    """Return where the trace expects the implant's middle; None where it tells nothing."""
    line = next((one for one in plan.refraction if one.lens_position_sd_mm is not None), None)
    if line is None or line.lens_position_sd_mm is None:
        return None
    return Estimate(line.lens_position_mm, line.lens_position_sd_mm, "predicted")


def _middle_mm(after: EyeRecord) -> float:
    return after.value("lens_front_depth_mm") + after.value("lens_thickness_mm") / 2.0


def _digest(path: Path) -> str:
    return sha256(path.read_bytes()).hexdigest()
