"""A case and a placement in, a sight out: loaded, traced, written."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimwise.casebook.placing import read_cover_findings
from rimwise.casebook.seeing import (
    Shown,
    edge_notes,
    keep_pictures,
    marked,
    measured_cover,
    profile_notes,
    shown_pictures,
)
from rimwise.exchange.results import document_of, reasons_document
from rimwise.exchange.sheets import read_case_sheet
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    make_folder,
    write_bytes,
    write_json,
)
from rimwise.records.as_seen import EdgeInPupil
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.eye import EyeRecord
from rimwise.records.sight import ImplantPlace, Sight
from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import examiner_from_nasal_superior

if TYPE_CHECKING:
    from rimwise.eye.implant import ImplantTerms


@dataclass(frozen=True, slots=True)
class SightRequest:
    """What the person asked for.

    Parameters
    ----------
    case : Path
    placement : Path or None
        Results of ``measure``: the optic against the limbus.
    decentration_mm : (nasal, superior) or None
    tilt_deg : (nasal, superior) or None
        Where the front of the optic's axis points.
    marks_deg : float or None
        Where the marks of a toric implant lie.
    pupils_mm : tuple of float
    map_pupil_mm : float or None
        Through which pupil to map other placements; a drawing needs one, 4 mm if not given.
    loss : float
        Of contrast, that the tolerance circle allows.
    drawing, pictures, page : Path or None
        Folders for the drawing, for pictures of a chart and lamps as seen, and for one page of all.
    json_out : Path, "-" or None
    """

    case: Path
    placement: Path | None = None
    decentration_mm: tuple[float, float] | None = None
    tilt_deg: tuple[float, float] | None = None
    marks_deg: float | None = None
    pupils_mm: tuple[float, ...] = ()
    map_pupil_mm: float | None = None
    loss: float = 0.1
    drawing: Path | None = None
    pictures: Path | None = None
    page: Path | None = None
    json_out: Path | str | None = None


@dataclass(frozen=True, slots=True)
class Predicted:
    """A sight, what should be said about the sheet that it came from, and what was drawn."""

    path: Path
    sight: Sight
    notes: tuple[Reason, ...]
    drawing: Path | None = None
    edges: tuple[EdgeInPupil, ...] = ()
    pictures: tuple[Path, ...] = ()
    page: Path | None = None

    def document(self) -> dict[str, Any]:
        """Return the entry of the results; the notes stand among the warnings."""
        entry = self.sight.document()
        entry["case"] = str(self.path)
        entry["bare_edge_in_pupil"] = [one.document() for one in self.edges]
        entry["warnings"] = reasons_document(self.notes)
        return entry


def predict_case(request: SightRequest) -> Predicted:
    """What will this eye see with its implant there?

    Raises
    ------
    WrongInput
        The case has no implant power, or no placement was told.
    MeasurementRefused
        Light through a pupil does not all pass the optic.
    OutputFailed
        The document cannot be written.
    """
    from rimwise.predict.gratings import USUAL  # noqa: PLC0415
    from rimwise.predict.looks import bare_edges  # noqa: PLC0415
    from rimwise.predict.make import (  # noqa: PLC0415
        MAP_PUPIL_MM,
        PUPILS_MM,
        SightQuestion,
        predict_sight,
    )

    inputs = [one for one in (request.case, request.placement) if one is not None]
    if request.json_out is not None:
        check_writable(request.json_out)
        check_not_input(request.json_out, inputs)
    read = read_case_sheet(request.case)
    record = record_of(read.sheet, request)
    place, notes = place_of(record, request)
    notes = (*missing_notes(read.sheet), *notes)
    pupils = request.pupils_mm or PUPILS_MM
    mapped = request.map_pupil_mm
    if mapped is None and request.drawing is not None:
        mapped = MAP_PUPIL_MM
    _check_pupils((*pupils, *(() if mapped is None else (mapped,))))
    profile = None if read.sheet.implant is None else read.sheet.implant.profile
    asked = SightQuestion(read.sheet.code, pupils, USUAL, mapped, request.loss, profile)
    cover = measured_cover(request.placement)
    edges = bare_edges(record, place, pupils, cover)
    sight = marked(predict_sight(record, place, asked), edges)
    drawing = None if request.drawing is None else _draw(sight, request.drawing)
    said = (*read.notes, *notes, *profile_notes(profile), *edge_notes(edges))
    shown: tuple[Shown, ...] = ()
    if request.pictures is not None or request.page is not None:
        shown = shown_pictures(read.sheet, record, place, cover)
    seen = () if request.pictures is None else keep_pictures(request.pictures, sight.code, shown)
    page = None if request.page is None else _write_page(request.page, sight, said, shown)
    done = Predicted(request.case, sight, said, drawing, edges, seen, page)
    if request.json_out is not None:
        write_json(request.json_out, document_of([done.document()]))
    return done


def _check_pupils(pupils_mm: tuple[float, ...]) -> None:
    for pupil in pupils_mm:
        if not 1.0 <= pupil <= 8.0:
            raise WrongInput(f"a pupil of {pupil:g} mm came; 1 to 8 mm is allowed")


def _write_page(
    folder: Path, sight: Sight, notes: tuple[Reason, ...], shown: tuple[Shown, ...]
) -> Path:
    from rimwise import __version__  # noqa: PLC0415
    from rimwise.report.sight_drawing import draw_sight  # noqa: PLC0415 - brings matplotlib
    from rimwise.report.sight_page import SightPage, sight_html  # noqa: PLC0415

    make_folder(folder)
    path = folder / f"{sight.code}-sight.html"
    said = tuple(one.sentence for one in notes)
    page = SightPage(sight, said, draw_sight(sight, "svg"), shown, __version__)
    write_bytes(path, sight_html(page).encode("utf-8"))
    return path


def _draw(sight: Sight, folder: Path) -> Path:
    from rimwise.report.sight_drawing import draw_sight  # noqa: PLC0415 - brings matplotlib

    make_folder(folder)
    path = folder / f"{sight.code}-sight.svg"
    write_bytes(path, draw_sight(sight, "svg"))
    return path


def record_of(case: CaseSheet, request: SightRequest) -> EyeRecord:
    """Which eye, with its implant, is this? What would have to be guessed is refused."""
    from dataclasses import replace  # noqa: PLC0415

    from rimwise.eye.known import known_from_case  # noqa: PLC0415
    from rimwise.eye.this_eye import eye_record  # noqa: PLC0415
    from rimwise.plan.traced import FLATTEST_DPT  # noqa: PLC0415

    name, planned = request.case.name, case.implant
    if planned is None or planned.power_dpt is None:
        raise WrongInput(
            f"{name} states no power_dpt in [implant]; a sight is of one implant, so write its "
            "power there"
        )
    if case.corneal_surgery != "none":
        raise MeasurementRefused(
            "cornea-not-plain",
            f"{name} gives the cornea as {case.corneal_surgery!r}: the back surface and "
            "asphericity of untouched corneas do not hold for it; its sight is not predicted.",
        )
    if case.lengths.axial_mm is None:
        raise WrongInput(
            f"{name} states no axial_mm in [lengths]; where the retina stands is not guessed, so "
            "write it there"
        )
    known = known_from_case(case, "implant")
    if known.implant is None:
        return eye_record(known)
    terms = _with_cylinder(known.implant, case, request)
    return eye_record(
        replace(known, implant=replace(terms, power_dpt=terms.power_dpt or FLATTEST_DPT))
    )


def _with_cylinder(terms: "ImplantTerms", case: CaseSheet, request: SightRequest) -> "ImplantTerms":
    """Return the implant with its cylinder, the marks on the steep meridian of the cornea."""
    from dataclasses import replace  # noqa: PLC0415

    name = request.case.name
    cylinder_dpt = 0.0 if case.implant is None else case.implant.cylinder_dpt
    if not cylinder_dpt and request.marks_deg is not None:
        raise WrongInput(
            f"--marks-deg came for an implant without a cylinder; write cylinder_dpt in [implant] "
            f"of {name}, or leave the marks out"
        )
    if not cylinder_dpt:
        return terms
    if case.cornea.steep_axis_deg is None:
        raise WrongInput(
            f"{name} gives an implant with a cylinder and a cornea without steep_axis_deg; "
            "write where its steep meridian lies, for the marks belong there"
        )
    return replace(terms, cylinder_dpt=cylinder_dpt, axis_deg=case.cornea.steep_axis_deg)


def place_of(record: EyeRecord, request: SightRequest) -> tuple[ImplantPlace, tuple[Reason, ...]]:
    """Where does its implant stand, and what has to be said of that?"""
    from dataclasses import replace  # noqa: PLC0415

    from rimwise.predict.placed import place_at, unknown_tilt  # noqa: PLC0415

    notes: list[Reason] = []
    told = [*(request.decentration_mm or ()), *(request.tilt_deg or ())]
    if not all(math.isfinite(one) for one in (*told, request.marks_deg or 0.0)):
        raise WrongInput("a placement that is no number came; give finite mm and degrees")
    if (request.placement is None) == (request.decentration_mm is None):
        raise WrongInput(
            "where the implant stands is told once: --placement COVER.json or --decentration-mm "
            "NASAL SUPERIOR"
        )
    place = place_at(record, marks_deg=request.marks_deg)
    if request.placement is not None:
        place = replace(place, shift_mm=_measured_shift(record, request.placement))
    elif request.decentration_mm is not None:
        x, y = examiner_from_nasal_superior(*request.decentration_mm, record.side)
        place = replace(place, shift_mm=(Estimate(x, 0.0, "given"), Estimate(y, 0.0, "given")))
        notes.append(
            Reason(
                "placement-without-sd",
                "The optic's place was typed in and is taken as exact: its own ± is in no number "
                "here; --placement COVER.json brings the measured one.",
            )
        )
    if request.tilt_deg is None:
        place = replace(place, tilt_deg=unknown_tilt())
        notes.append(
            Reason(
                "tilt-unknown",
                "Nobody measured the implant's tilt: it is taken as upright with the usual ±; "
                "give --tilt-deg NASAL SUPERIOR where it is known.",
            )
        )
    else:
        x, y = examiner_from_nasal_superior(*request.tilt_deg, record.side)
        place = replace(place, tilt_deg=(Estimate(x, 0.0, "given"), Estimate(y, 0.0, "given")))
    return place, tuple(notes)


def missing_notes(case: CaseSheet) -> tuple[Reason, ...]:
    """What does the sheet not tell that a sight needs?"""
    cornea = case.cornea
    if cornea.radius_mm is not None or None not in {cornea.radius_flat_mm, cornea.radius_steep_mm}:
        return ()
    return (
        Reason(
            "corneal-radius-assumed",
            f"{case.code} states no radius_mm in [cornea]: an average cornea is assumed, and what "
            "that leaves open is not in the ±; write the measured radius there.",
        ),
    )


def _measured_shift(record: EyeRecord, path: Path) -> tuple[Estimate, Estimate]:
    findings = read_cover_findings(path)
    if len(findings) != 1:
        raise WrongInput(
            f"{path} holds {len(findings)} pictures; a sight is of one: give one picture's results"
        )
    finding = findings[0]
    if finding.side != record.side:
        raise WrongInput(
            f"{path} is of a {finding.side} eye, the case of a {record.side} one; give both of one "
            "eye"
        )
    vector = finding.decentration.get("optic-from-limbus")
    if vector is None:
        raise WrongInput(
            f"{path} does not tell the optic against the limbus; give --decentration-mm NASAL "
            "SUPERIOR, or a picture with the whole limbus"
        )
    return vector.x_mm, vector.y_mm
