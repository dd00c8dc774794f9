"""A table of repeated pictures, readers and methods: measured, compared, told."""

import csv
import hashlib
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rimwise.audit.repeats import Repeat, paired_means, study_of
from rimwise.casebook.exits import Progress
from rimwise.casebook.measuring import Request, measure_pictures
from rimwise.exchange.results import document_of
from rimwise.exchange.sheets import read_picture_sheet
from rimwise.exchange.studies import STUDY_COLUMNS, study_document, study_table
from rimwise.exchange.writing import make_folder, write_bytes, write_json
from rimwise.records.cover import CoverFinding
from rimwise.records.study import ALLOWED, UNITS, StudyOfNumber
from rimwise.report.study_words import methods_sentence
from rimwise.terms.errors import WrongInput

OWN_METHOD = "rimwise"
HAND_METHOD = "outline by hand"
COLUMNS = ("eye", "picture", "points", "method", *UNITS)


@dataclass(frozen=True, slots=True)
class Study:
    """What a table of repeats says, and which of its pictures gave no answer."""

    numbers: tuple[StudyOfNumber, ...]
    left_out: tuple[str, ...]
    exit_code: int
    drawings: tuple[Path, ...] = ()


def measure_study(
    table: Path,
    flags: Mapping[str, object],
    progress: Progress | None = None,
    drawing_dir: Path | None = None,
) -> Study:
    """How well do the measurements of this table repeat, and do its methods agree?

    Parameters
    ----------
    table : path
        CSV with the columns ``eye``; ``picture`` (from the table's folder) to be measured, or
        numbers such as ``equivalent_diameter_mm`` that a reader measured by hand; ``points``, the
        file of an outline drawn in that picture, which is then measured instead of the found edge;
        ``method``, the name of method or reader, "rimwise" for a picture without one.
    flags : mapping
        Keys of the picture sheet for all pictures.
    progress : callable, optional
    drawing_dir : path, optional
        Folder for one plot a pair of methods: difference against mean, with its limits.

    Raises
    ------
    WrongInput
        The table cannot be read, a column is unknown, a number is none of an eye, a picture is
        named twice as if taken twice, or no eye was measured twice.
    """
    rows = _rows(table)
    _check_repeats(rows, table)
    # Pictures named twice, such as once with an outline, are measured once.
    pictures = list(dict.fromkeys(table.parent / row["picture"] for row in rows if row["picture"]))
    told = [_told(row, table) for row in rows]
    outcome = measure_pictures(Request(pictures, flags), progress) if pictures else None
    measured = dict(zip(pictures, () if outcome is None else outcome.pictures, strict=True))
    repeats, left_out = [], []
    for row, by_hand in zip(rows, told, strict=True):
        values, usual = by_hand, OWN_METHOD
        if row["picture"]:
            found = measured[table.parent / row["picture"]].finding
            if row["points"] and found is not None:
                usual, found = HAND_METHOD, _outlined(row, table, found, flags)
            values = {} if found is None else found_numbers(found)
            if not values:
                left_out.append(row["picture"])
        if values:
            repeats.append(Repeat(row["eye"], row.get("method") or usual, values))
    code = 0 if outcome is None else outcome.exit_code
    numbers = study_of(repeats)
    drawings = _draw(numbers, repeats, drawing_dir)
    return Study(numbers, tuple(left_out), code, drawings)


def _outlined(
    row: Mapping[str, str], table: Path, finding: CoverFinding, flags: Mapping[str, object]
) -> CoverFinding:
    """Return what the outline drawn in this picture tells by itself."""
    from rimwise.exchange.points import read_corrections  # noqa: PLC0415 - brings pydantic
    from rimwise.measure.outline import outline_by_hand  # noqa: PLC0415 - brings SciPy

    sheet = read_picture_sheet(table.parent / row["picture"], flags).sheet
    return outline_by_hand(finding, sheet, read_corrections(table.parent / row["points"]))


def write_study(study: Study, table: Path, destination: str) -> None:
    """Write a study as JSON, or as a table where the name ends in .csv.

    Raises
    ------
    OutputFailed
        The file cannot be written.
    """
    if not destination.lower().endswith(".csv"):
        sentence = methods_sentence(study.numbers)
        one = study_document(str(table), study.numbers, study.left_out, sentence)
        write_json(destination, document_of([one]))
        return
    sink = io.StringIO()
    rows = csv.writer(sink, lineterminator="\n")
    rows.writerow(STUDY_COLUMNS)
    rows.writerows(study_table(study.numbers))
    write_bytes(destination, sink.getvalue().encode("utf-8"))


def _draw(
    numbers: Sequence[StudyOfNumber], repeats: Sequence[Repeat], drawing_dir: Path | None
) -> tuple[Path, ...]:
    if drawing_dir is None:
        return ()
    from rimwise.report.study_drawing import draw_agreement  # noqa: PLC0415

    folder, written = make_folder(drawing_dir), []
    for one in numbers:
        for count, pair in enumerate(one.agreements):
            points = paired_means(repeats, one.name, pair)
            path = folder / f"study-{one.name}-{count + 1}.png"
            write_bytes(path, draw_agreement(one.name, pair, points))
            written.append(path)
    return tuple(written)


def _rows(table: Path) -> list[dict[str, str]]:
    try:
        with table.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            names = reader.fieldnames or []
            rows = [
                {"picture": "", "points": "", "row": str(reader.line_num)}
                | {key: (row[key] or "").strip() for key in names}
                for row in reader
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise WrongInput(
            f"{table} cannot be read as a table ({type(error).__name__}); give a CSV file in UTF-8"
        ) from None
    unknown = [name for name in names if name not in COLUMNS]
    if unknown or "eye" not in names or not rows:
        raise WrongInput(
            f"{table.name} has the columns {', '.join(names) or 'none'}; it needs eye, then "
            f"picture or numbers, out of: {', '.join(COLUMNS)}"
        )
    if not all(row["eye"] for row in rows):
        raise WrongInput(f"{table.name} has a row without an eye; give each row its eye's code")
    return rows


def _check_repeats(rows: Sequence[Mapping[str, str]], table: Path) -> None:
    """Refuse one picture that stands in for two: what is measured twice from it repeats itself."""
    eyes: dict[str, Mapping[str, str]] = {}
    readings: dict[tuple[str, str], Mapping[str, str]] = {}
    for row in rows:
        if not row["picture"]:
            continue
        picture = _sha256(table.parent / row["picture"])
        points = _sha256(table.parent / row["points"]) if row["points"] else ""
        first = eyes.setdefault(picture, row)
        if first["eye"] != row["eye"]:
            raise WrongInput(
                f"{table.name}: row {first['row']} and row {row['row']} name the same picture "
                f"({_names(first, row)}) for {first['eye']} and {row['eye']}; correct the eye or "
                "the picture in one of them"
            )
        first = readings.setdefault((picture, points), row)
        if first is not row:
            raise WrongInput(
                f"{table.name}: row {first['row']} and row {row['row']} hold the same picture"
                f"{' with the same points' if points else ''} ({_names(first, row)}), which is no "
                "repeat; take the picture anew, or leave one of the two rows out"
            )


def _names(first: Mapping[str, str], row: Mapping[str, str]) -> str:
    return " and ".join(dict.fromkeys((first["picture"], row["picture"])))


def _sha256(path: Path) -> str:
    """Return the hash of a file; one that cannot be read is told apart by its name."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return str(path)


def _told(row: Mapping[str, str], table: Path) -> dict[str, float]:
    """Return the numbers that a row holds, each one that an eye can have."""
    values = {}
    for name in UNITS:
        if not row.get(name):
            continue
        least, most = ALLOWED[name]
        try:
            value = float(row[name])
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            why = "no number" if math.isnan(value) else "none of an eye"
            raise WrongInput(
                f"{table.name}: {name} of {row['eye']} (row {row['row']}) is {row[name]!r}, which "
                f"is {why}; write a number from {least:g} to {most:g}, or leave it empty"
            )
        values[name] = value
    if values and row["picture"]:
        raise WrongInput(
            f"{table.name}: row {row['row']} holds a picture, which is measured, and numbers told "
            "by hand; give the numbers a row of their own"
        )
    if values.get("least_cover_mm", -math.inf) > values.get("mean_cover_mm", math.inf):
        raise WrongInput(
            f"{table.name}: in row {row['row']} the least cover is more than the mean cover; "
            "correct one of them"
        )
    return values


def found_numbers(finding: CoverFinding) -> dict[str, float]:
    """Return the numbers that a finding gives."""
    cover, opening = finding.cover, finding.opening
    offset = finding.decentration.get("opening-from-optic")
    given = {
        "least_cover_mm": None if cover is None else cover.min_mm,
        "mean_cover_mm": None if cover is None else cover.mean_mm,
        "equivalent_diameter_mm": None if opening is None else opening.equivalent_diameter_mm,
        "area_mm2": None if opening is None else opening.area_mm2,
        "opening_from_optic_nasal_mm": None if offset is None else offset.nasal_mm,
        "opening_from_optic_superior_mm": None if offset is None else offset.superior_mm,
    }
    return {name: one.value for name, one in given.items() if one is not None}
