"""What the worker is asked to do for masked readers: a blank picture, a reading, two beside."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.bench import corrections_told
from rimwise.web.jobs import Line, picture_sheet, table_lines

if TYPE_CHECKING:
    from rimwise.audit.repeats import Repeat
    from rimwise.records.study import StudyOfNumber

NAMELESS = "the picture"


@dataclass(frozen=True, slots=True)
class ShownPair:
    """A photograph as it is held upright, with two readings as paths of an SVG."""

    jpeg: bytes
    width_px: int
    height_px: int
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShownStudy:
    """What the page shows of a closed study; ``drawings`` are (number, first, second)."""

    rows: tuple[Line, ...]
    sentence: str
    drawings: tuple[tuple[str, str, str], ...]
    document: str


def blank_job(values: Mapping[str, object], data: bytes, sha256: str) -> dict[str, Any]:
    """With which finding does a masked reader begin? With none: only how the picture is held.

    Raises
    ------
    WrongInput
        The sheet or the picture cannot be used.
    """
    from rimwise.casebook.masked import blank_finding  # noqa: PLC0415
    from rimwise.exchange.results import cover_document  # noqa: PLC0415

    sheet = picture_sheet(values)
    return cover_document(blank_finding(data, sheet, sha256, NAMELESS))


def reading_job(
    entry: Mapping[str, Any], values: Mapping[str, object], told: Mapping[str, object]
) -> tuple[dict[str, Any], dict[str, float]]:
    """What did a masked reader read, by the outlines alone: the document and its numbers?

    Raises
    ------
    WrongInput
        The points are too few to tell anything, and the sentence says what is missing.
    """
    from rimwise.casebook.studying import found_numbers  # noqa: PLC0415
    from rimwise.exchange.results import cover_document  # noqa: PLC0415
    from rimwise.exchange.results_reading import cover_finding_from_document  # noqa: PLC0415
    from rimwise.journey import corrected_finding  # noqa: PLC0415
    from rimwise.report.words import reason_sentences  # noqa: PLC0415

    blank = cover_finding_from_document(entry)
    read = corrected_finding(
        blank, picture_sheet({"side": blank.side} | dict(values)), corrections_told(told)
    )
    numbers = found_numbers(read)
    if read.status == "refused" or not numbers:
        raise WrongInput(" ".join(reason_sentences(read)) or "place points on both edges first")
    return cover_document(read), numbers


def pair_job(data: bytes, entries: Sequence[Mapping[str, Any]]) -> ShownPair:
    """How do two readings lie on the photograph?"""
    from rimwise.casebook.masked import reading_outlines, shown_jpeg  # noqa: PLC0415
    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415
    from rimwise.report.upright import upright_pixels  # noqa: PLC0415

    raster = picture_from_bytes(data, NAMELESS).raster
    high, wide = upright_pixels(raster).shape[:2]
    paths = tuple(
        "".join(_path(one) for one in reading_outlines(raster, entry)) for entry in entries
    )
    return ShownPair(shown_jpeg(raster), wide, high, paths)


def _path(points: Any) -> str:
    return "M" + "L".join(f"{u:.1f} {v:.1f}" for u, v in points)


def result_job(told: Sequence[tuple[str, str, Mapping[str, float]]], source: str) -> ShownStudy:
    """How well do these readings repeat, and do readers and program agree?

    Parameters
    ----------
    told : sequence of (picture, method, numbers)
    source : str
        Name of the study.

    Raises
    ------
    WrongInput
        No picture was read twice.
    """
    from rimwise.audit.repeats import study_of  # noqa: PLC0415
    from rimwise.exchange.results import document_of  # noqa: PLC0415
    from rimwise.exchange.studies import study_document  # noqa: PLC0415
    from rimwise.exchange.writing import json_text  # noqa: PLC0415
    from rimwise.report.study_words import methods_sentence, study_rows  # noqa: PLC0415

    numbers: tuple[StudyOfNumber, ...] = study_of(_repeats(told))
    sentence = methods_sentence(numbers)
    document = document_of([study_document(source, numbers, (), sentence)])
    drawings = [(one.name, pair.first, pair.second) for one in numbers for pair in one.agreements]
    return ShownStudy(
        table_lines(study_rows(numbers)), sentence, tuple(drawings), json_text(document)
    )


def agreement_job(
    told: Sequence[tuple[str, str, Mapping[str, float]]], which: tuple[str, str, str]
) -> bytes:
    """How do two methods differ over the range of what was read (PNG)?

    Raises
    ------
    WrongInput
        There is no such pair.
    """
    from rimwise.audit.repeats import paired_means, study_of  # noqa: PLC0415
    from rimwise.report.study_drawing import draw_agreement  # noqa: PLC0415

    repeats, (name, first, second) = _repeats(told), which
    for one in study_of(repeats):
        for pair in one.agreements:
            if (one.name, pair.first, pair.second) == (name, first, second):
                return draw_agreement(name, pair, paired_means(repeats, name, pair))
    raise WrongInput("this study compares no such pair; open its page again")


def _repeats(told: Sequence[tuple[str, str, Mapping[str, float]]]) -> "list[Repeat]":
    from rimwise.audit.repeats import Repeat  # noqa: PLC0415

    return [Repeat(picture, method, values) for picture, method, values in told]


def cover_numbers_job(entries: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, float]]:
    """Which numbers did the program find by itself, where no hand had a part in it?"""
    from rimwise.casebook.studying import found_numbers  # noqa: PLC0415
    from rimwise.exchange.results_reading import cover_finding_from_document  # noqa: PLC0415

    found = {}
    for key, entry in entries.items():
        if entry.get("correction") is None and entry.get("status") != "refused":
            found[key] = found_numbers(cover_finding_from_document(entry))
    return {key: one for key, one in found.items() if one}
