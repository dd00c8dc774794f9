"""A day at an invented clinic: photographs, findings, the hand's spread, the next plan, a page."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from rimwise import __version__
from rimwise.demo.checks import Check, check_table, honesty_words, table_lines
from rimwise.demo.eyes import (
    CLINIC,
    INTENDED_MM,
    OPTIC_MM,
    SURGEON,
    InventedEye,
    draw_series,
    next_case,
    recorded_earlier,
)
from rimwise.demo.hardness import Difficulty
from rimwise.demo.keeping import Keeping, recipe_of
from rimwise.demo.shelf import SEED, ShelvedPicture, shelve_eye, shelve_traced
from rimwise.exchange.pdf import page_pdf
from rimwise.exchange.pictures import LoadedPicture, load_picture
from rimwise.exchange.results import cover_document, document_of
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.exchange.writing import make_folder, write_bytes, write_json
from rimwise.journey import Measure, OpeningMade, finding_of, opening_made, plan_of, spread_of
from rimwise.picture.raster import Raster
from rimwise.records.case import CaseSheet, Spread
from rimwise.records.cover import CoverFinding
from rimwise.records.picture import PictureSheet
from rimwise.records.plan import Plan
from rimwise.report.cover_drawing import draw_cover
from rimwise.report.page import DayPage, PagePicture, day_data, day_html
from rimwise.report.plan_drawing import draw_plan, plan_description
from rimwise.report.plan_words import floor_mm
from rimwise.report.words import Row, estimate_words, headline, number_words, place_words
from rimwise.terms.units import percent

# One difficulty for each photographed eye: a day's mixture. The rest of the series is data only.
DAY: tuple[Difficulty, ...] = (
    "easy", "easy", "medium", "easy", "easy", "medium", "easy", "hard", "easy", "medium", "easy",
    "medium",
)  # fmt: skip
HEAD_END = 4  # this eye was photographed from the head end, so that superior points down
SHOWN = 4  # pictures on the HTML page

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class DayOutcome:
    """What came of the day, before it is written on the page."""

    checks: list[Check]
    drawings: dict[str, bytes]
    made: list[OpeningMade]
    spread: Spread
    plan: Plan
    plan_svg: bytes


def run_demo(
    out: Path, progress: Progress | None = None, measure: Measure | None = None
) -> tuple[str, ...]:
    """What does a day with this program look like, from pictures to the next plan?

    Parameters
    ----------
    out : Path
        The folder for pictures, drawings, results and report; made where it is missing.
    progress : callable, optional
        Told before each picture: how many are done, how many there are, the name of the next.
    measure : callable, optional
        The measuring step; the real one unless a test gives another.

    Returns
    -------
    tuple of str
        The lines to print: the three numbers, the table against the truth, the paths.

    Raises
    ------
    OutputFailed
        The folder cannot be written.
    """
    out = make_folder(out)
    series = draw_series(np.random.default_rng(SEED))
    shelf = _shelve(make_folder(out / "pictures"), series, progress)
    outcome = _measure_day(out, series, shelf, progress, measure)
    page = _page(outcome)
    _write(out, series, outcome, page)
    if progress is not None:
        progress(2 * len(shelf), 2 * len(shelf), "")
    return _lines(out, outcome, page)


def _shelve(
    folder: Path, series: tuple[InventedEye, ...], progress: Progress | None
) -> list[ShelvedPicture]:
    """Have all pictures on disk."""
    shelf = []
    total = 2 * (len(DAY) + 3)
    for index, (eye, difficulty) in enumerate(zip(series, DAY, strict=False)):
        if progress is not None:
            progress(index, total, f"photograph {eye.code}")
        shelf.append(shelve_eye(folder, eye, difficulty, index == HEAD_END))
    return shelf + shelve_traced(folder)


def _measure_day(
    out: Path,
    series: tuple[InventedEye, ...],
    shelf: list[ShelvedPicture],
    progress: Progress | None,
    measure: Measure | None,
) -> DayOutcome:
    """Measure and draw every picture, gather the spread, plan the next eye."""
    folder, findings = make_folder(out / "drawings"), make_folder(out / "findings")
    checks, drawings = [], {}
    for index, shelved in enumerate(shelf):
        if progress is not None:
            progress(len(shelf) + index, 2 * len(shelf), f"measure {shelved.path.name}")
        loaded, sheet = load_picture(shelved.path), picture_sheet_for(shelved.path)
        if measure is None:
            place = findings / f"{shelved.path.stem}.json"
            finding = _finding(place, shelved.path.name, loaded, sheet)
        else:
            finding = finding_of(loaded.raster, sheet, shelved.path.name, loaded.sha256, measure)
        checks.append(Check(shelved, finding))
        path = folder / f"{shelved.path.stem}.cover.png"
        drawings[finding.picture] = _drawing(path, loaded.raster, finding, sheet)
    made = _series_made(series, checks)
    spread = spread_of(made)
    plan = plan_of(next_case(), spread)
    svg = draw_plan(plan, "svg")
    write_bytes(folder / f"invented_{plan.code}.plan.svg", svg)
    return DayOutcome(checks, drawings, made, spread, plan, svg)


def _finding(path: Path, picture: str, loaded: LoadedPicture, sheet: PictureSheet) -> CoverFinding:
    """Measure a picture, unless this very program measured these very bytes before."""
    recipe, keeping = recipe_of("rimwise", loaded.sha256, sheet), Keeping(path.parent)
    if not keeping.has(recipe, path):
        found = finding_of(loaded.raster, sheet, picture, loaded.sha256)
        write_json(path, document_of([cover_document(found)]))
        keeping.note(recipe, path)
    document = json.loads(path.read_text(encoding="utf-8"))
    return cover_finding_from_document(document["results"][0])


def _drawing(path: Path, raster: Raster, finding: CoverFinding, sheet: PictureSheet) -> bytes:
    """Draw a finding, unless the drawing on disk is of the same picture and finding."""
    recipe, keeping = recipe_of("rimwise.report", finding, sheet), Keeping(path.parent)
    if not keeping.has(recipe, path):
        write_bytes(path, draw_cover(raster, finding, sheet))
        keeping.note(recipe, path)
    return path.read_bytes()


def _series_made(series: tuple[InventedEye, ...], checks: list[Check]) -> list[OpeningMade]:
    """Gather what the hand made: today's from the pictures, the others' from the casebook."""
    rng = np.random.default_rng([SEED, 1])
    today = {check.shelved.code for check in checks}
    made = [
        opening_made(check.finding, INTENDED_MM)
        for check in checks
        if check.shelved.code is not None
    ]
    earlier = [recorded_earlier(rng, eye) for eye in series if eye.code not in today]
    return [one for one in made if one is not None] + earlier


def _worst(checks: list[Check]) -> CoverFinding | None:
    """Return today's finding with the least cover, whole ones before partial ones."""
    told = [
        (check.finding.status != "measured", check.finding.cover.min_mm.value, check.finding)
        for check in checks
        if check.shelved.code is not None
        and check.finding.cover is not None
        and check.finding.cover.min_mm is not None
    ]
    return min(told, key=lambda entry: entry[:2])[2] if told else None


def _numbers(outcome: DayOutcome) -> tuple[Row, ...]:
    """Return the three numbers that a surgeon would ask for."""
    worst, plan = _worst(outcome.checks), outcome.plan
    rows = []
    if worst is None or worst.cover is None or worst.cover.min_mm is None:
        rows.append(Row("Least cover today", "not measured", "no picture could answer"))
    else:
        least = worst.cover.min_mm
        place = f"{_code(worst)}, {worst.side} eye, at {place_words(least.at_deg, worst.side)}"
        rows.append(Row("Least cover today", number_words(least.value, least.sd, "mm"), place))
    size = worst.opening.equivalent_diameter_mm if worst and worst.opening else None
    note = "not seen all the way round" if size is None else "of the circle of equal area"
    rows.append(Row("Opening diameter, same eye", estimate_words(size, "mm"), note))
    chosen = plan.chosen
    if chosen is None:
        rows.append(Row("Next plan", "not planned", " ".join(r.sentence for r in plan.reasons)))
    else:
        reached = "" if chosen.best_mm is not None else ", the goal is not reached"
        rows.append(
            Row(
                f"Complete cover of the next eye ({plan.code})",
                percent(chosen.p_complete),
                f"with an opening of {floor_mm(chosen.judged_mm)} on the lens centre{reached}",
            )
        )
    return tuple(rows)


def _code(finding: CoverFinding) -> str:
    return finding.picture.removeprefix("invented_").removesuffix(".jpg")


def _page(outcome: DayOutcome) -> DayPage:
    """Put the day on a page."""
    worst = _worst(outcome.checks)
    order = sorted(outcome.checks, key=lambda check: check.finding is not worst)
    order = order[:1] + _one_of_each(order[1:])
    return DayPage(
        title="Cover after cataract surgery: a day's photographs and the next plan",
        subtitle=f"{CLINIC}. Every eye, person and number here is invented; surgeon {SURGEON}.",
        numbers=_numbers(outcome),
        pictures=tuple(_picture(check.finding, outcome) for check in order[:SHOWN]),
        plan=PagePicture(
            f"invented_{outcome.plan.code}.plan.svg",
            f"Next eye, {outcome.plan.code} (invented), with the measured spread.",
            plan_description(outcome.plan),
            outcome.plan_svg,
            "image/svg+xml",
        ),
        table=check_table(outcome.checks),
        methods=_methods(outcome),
        inputs=tuple((_code(c.finding), c.finding.sha256) for c in outcome.checks),
        version=__version__,
    )


def _one_of_each(checks: list[Check]) -> list[Check]:
    """Put pictures first that show something new: each status, then the traced ones."""
    seen: set[object] = set()
    first: list[Check] = []
    later: list[Check] = []
    for check in checks:
        kind = (check.finding.status, check.shelved.code is None)
        (later if kind in seen else first).append(check)
        seen.add(kind)
    return first + later


def _picture(finding: CoverFinding, outcome: DayOutcome) -> PagePicture:
    """Return a drawing as a light picture for the page."""
    sink = io.BytesIO()
    picture = Image.open(io.BytesIO(outcome.drawings[finding.picture])).convert("RGB")
    picture.save(sink, format="JPEG", quality=86)
    words = f"{_code(finding)} (invented), {finding.side} eye. {headline(finding)}."
    alt = f"Photograph with the found curves and the unrolled cover strip: {words}"
    name = finding.picture.removesuffix(".jpg") + ".cover.jpg"
    return PagePicture(name, words, alt, sink.getvalue(), "image/jpeg")


def _methods(outcome: DayOutcome) -> str:
    """Write the methods paragraph."""
    spread = outcome.spread
    nasal, superior = spread.opening_from_target_sd_mm
    words = (
        f"{len(outcome.checks)} invented photographs were measured with the optic (nominal "
        f"{OPTIC_MM:.1f} mm, or as the sheet says) as the ruler; cover is the optic edge's radius "
        "minus the opening edge's radius by direction about the optic's centre, real mm at the "
        "optic plane. Directions that were not seen were left out. The surgeon's spread is the "
        f"plain mean and scatter of {len(outcome.made)} eyes (today's pictures with a full result, "
        "and the clinic's earlier records): opening from optic "
        f"{spread.opening_from_target_bias_mm[0]:+.2f} ± {nasal:.2f} mm nasal, "
        f"{spread.opening_from_target_bias_mm[1]:+.2f} ± {superior:.2f} mm superior, diameter "
        f"{spread.diameter_bias_mm:+.2f} ± {spread.diameter_sd_mm:.2f} mm from intended "
        f"{INTENDED_MM:.1f} mm; measurement error was not taken off. The plan treats this as the "
        "scatter of the next opening about the lens centre."
    )
    return words.replace(" -", " −")


def _write(out: Path, series: tuple[InventedEye, ...], outcome: DayOutcome, page: DayPage) -> None:
    """Write results, tables and the page."""
    results = [cover_document(check.finding) for check in outcome.checks]
    write_json(out / "results.json", document_of([*results, outcome.plan.document()]))
    write_bytes(out / "invented_eyes.csv", _series_csv(series).encode("utf-8"))
    cases = make_folder(out / "cases")
    name = f"invented_{outcome.plan.code}.toml"
    write_bytes(cases / name, case_toml(next_case(), outcome.spread).encode("utf-8"))
    write_bytes(out / "report.html", day_html(page).encode("utf-8"))
    files = {picture.name: picture.data for picture in page.pictures[:1]}
    if page.plan is not None:
        files[page.plan.name] = page.plan.data
    write_bytes(out / "report.pdf", page_pdf("day", day_data(page), files))


def _series_csv(series: tuple[InventedEye, ...]) -> str:
    """Write the series as a table; the first line says that it is invented."""
    sink = io.StringIO()
    sink.write(f"# {CLINIC}: no eye or person in this table exists\n")
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerow(
        ("code", "person", "side", "age_years", "sex", "axial_mm", "chamber_depth_mm",
         "lens_thickness_mm", "power_dpt", "surgeon", "intended_opening_mm", "optic_diameter_mm")
    )  # fmt: skip
    for eye in series:
        writer.writerow(
            (eye.code, eye.person, eye.side, eye.age_years, eye.sex, eye.axial_mm,
             eye.chamber_depth_mm, eye.lens_thickness_mm, eye.power_dpt, SURGEON, INTENDED_MM,
             OPTIC_MM)
        )  # fmt: skip
    return sink.getvalue()


def case_toml(case: CaseSheet, spread: Spread) -> str:
    """Which case sheet does the clinic write for its next eye?"""
    tables: list[tuple[str, object, tuple[str, ...]]] = [
        ("", case, ("code", "person", "side", "age_years", "sex", "corneal_surgery")),
        ("cornea", case.cornea, ("radius_flat_mm", "radius_steep_mm", "steep_axis_deg",
                                 "thickness_um")),
        ("lengths", case.lengths, ("axial_mm", "chamber_depth_mm", "lens_thickness_mm",
                                   "white_to_white_mm")),
        ("implant", case.implant, ("optic_diameter_mm", "power_dpt")),
        ("goal", case.goal, ("refraction_dpt", "least_cover_mm", "p_complete",
                             "diameter_limits_mm")),
        ("opening", case.opening, ("centre",)),
        ("centres", case.centres, ("lens_mm", "sd_mm")),
        ("spread", spread, ("opening_from_target_bias_mm", "opening_from_target_sd_mm",
                            "diameter_bias_mm", "diameter_sd_mm", "optic_from_rest_sd_mm",
                            "optic_rest")),
    ]  # fmt: skip
    lines = ["# invented eye of an invented clinic", f"# spread: {spread.origin}"]
    for table, record, keys in tables:
        lines += [f"\n[{table}]"] if table else []
        lines += [f"{key} = {_toml(getattr(record, key))}" for key in keys]
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    """Write one value of a sheet: words, a length to 0.1 µm, or a list of numbers."""
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(one) for one in value)}]"
    return repr(round(value, 4)) if isinstance(value, float) else f'"{value}"'


def _lines(out: Path, outcome: DayOutcome, page: DayPage) -> tuple[str, ...]:
    """Return what the command prints."""
    numbers = [f"{row.label}: {row.value} ({row.note})" for row in page.numbers]
    return (
        f"{CLINIC}: everything below is invented.",
        "",
        *table_lines(page.table),
        honesty_words(outcome.checks),
        "",
        f"report    {out / 'report.html'} and {out / 'report.pdf'}",
        f"drawings  {out / 'drawings'}",
        f"pictures  {out / 'pictures'}",
        f"results   {out / 'results.json'}",
        "",
        *numbers,
    )
