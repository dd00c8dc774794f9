"""Measured covers in, places out: loaded, placed, drawn, written."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimwise.casebook.exits import EXIT_DONE, EXIT_REFUSED
from rimwise.exchange.plan_layer import PLAN_SCHEMA, planned_opening
from rimwise.exchange.results import COVER_SCHEMA, document_of
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.exchange.sheets import read_case_sheet
from rimwise.exchange.writing import (
    check_not_input,
    check_writable,
    make_folder,
    write_bytes,
    write_json,
)
from rimwise.journey import placement_of
from rimwise.records.case import CaseSheet
from rimwise.records.cover import CoverFinding, Reason
from rimwise.records.placement import Placement
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class PlaceRequest:
    """What the person asked for.

    ``same_eye``: all pictures show one eye, the last as it is now.
    """

    cover: Path
    case: Path | None = None
    json_out: Path | str | None = None
    drawing: Path | None = None
    same_eye: bool = False


@dataclass(frozen=True, slots=True)
class Placed:
    """The placements with what should be said about the sheets, and the drawings made."""

    placements: tuple[Placement, ...]
    notes: tuple[Reason, ...]
    drawings: tuple[Path, ...]

    @property
    def exit_code(self) -> int:
        """Return 0, or 3 where a placement is refused."""
        refused = any(one.status == "refused" for one in self.placements)
        return EXIT_REFUSED if refused else EXIT_DONE


def place_findings(request: PlaceRequest) -> Placed:
    """With the openings that were measured, where should the optics sit?

    Raises
    ------
    WrongInput
        The results or the case sheet cannot be used.
    OutputFailed
        The document or a drawing cannot be written.
    """
    inputs = [request.cover] if request.case is None else [request.cover, request.case]
    if request.json_out is not None:
        check_writable(request.json_out)
        check_not_input(request.json_out, inputs)
    plans = _plans_in(request.cover)
    if plans:
        return _placed_plans(plans, request)
    findings = read_cover_findings(request.cover)
    case: CaseSheet | None = None
    notes: tuple[Reason, ...] = ()
    if request.case is not None:
        case, notes = read_case_sheet(request.case)
    if request.same_eye:
        placements = [placement_of(findings[-1], case, findings[:-1])]
    else:
        _check_one_eye(findings, case)
        placements = [placement_of(finding, case) for finding in findings]
    drawings = [] if request.drawing is None else _draw(placements, request.drawing)
    if request.json_out is not None:
        write_json(request.json_out, document_of([one.document() for one in placements]))
    return Placed(tuple(placements), notes, tuple(drawings))


def _plans_in(path: Path) -> list[dict[str, Any]]:
    """Return the plans of a file that holds nothing else that could be placed."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        results = [one for one in document["results"] if isinstance(one, dict)]
    except (OSError, ValueError, RecursionError, TypeError, KeyError):
        return []  # said where covers are read
    if any(one.get("schema") == COVER_SCHEMA for one in results):
        return []
    return [one for one in results if one.get("schema") == PLAN_SCHEMA and "opening" in one]


def _placed_plans(plans: list[dict[str, Any]], request: PlaceRequest) -> Placed:
    from rimwise.place.planned import place_planned  # noqa: PLC0415 - brings SciPy

    if request.case is not None or request.same_eye:
        raise WrongInput(
            f"{request.cover.name} holds a plan, which knows its own eye; leave --case and "
            "--same-eye out"
        )
    try:
        meant = [planned_opening(one) for one in plans]
    except (KeyError, TypeError):
        raise WrongInput(f"{request.cover.name} holds a damaged plan; write it again") from None
    placements = [place_planned(one, f"{one.code} (plan)") for one in meant]
    drawings = [] if request.drawing is None else _draw(placements, request.drawing)
    if request.json_out is not None:
        write_json(request.json_out, document_of([one.document() for one in placements]))
    return Placed(tuple(placements), (), tuple(drawings))


def read_cover_findings(path: Path) -> list[CoverFinding]:
    """Which covers does this file of results hold?

    Raises
    ------
    WrongInput
        It cannot be read, is no JSON, or holds no measured cover.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WrongInput(
            f"{path} cannot be read ({error.strerror}); give results that measure --json wrote"
        ) from None
    except (ValueError, RecursionError):
        raise WrongInput(f"{path} is no JSON; give results that measure --json wrote") from None
    results = document.get("results") if isinstance(document, dict) else None
    if not isinstance(results, list) or not results:
        raise WrongInput(f"{path} holds no results; give a file that measure --json wrote")
    covers = [one for one in results if isinstance(one, dict) and one.get("schema") == COVER_SCHEMA]
    if not covers:
        raise WrongInput(f"{path} holds no {COVER_SCHEMA}; give a file that measure --json wrote")
    return [cover_finding_from_document(one) for one in covers]


def _check_one_eye(findings: list[CoverFinding], case: CaseSheet | None) -> None:
    if case is not None and len(findings) > 1:
        raise WrongInput(
            f"a case sheet is of one eye, and the results hold {len(findings)} pictures; add "
            "--same-eye if all show that eye, or give one picture's results"
        )


def _draw(placements: list[Placement], folder: Path) -> list[Path]:
    from rimwise.report.place_drawing import draw_placement  # noqa: PLC0415 - brings matplotlib

    make_folder(folder)
    drawn = []
    for one in placements:
        if one.today is not None:
            path = folder / f"{Path(one.picture).stem}-place.svg"
            write_bytes(path, draw_placement(one, "svg"))
            drawn.append(path)
    return drawn
