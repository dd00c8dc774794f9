"""What the worker is asked to do for masked readers: a blank picture, a reading, two beside."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rimwise.terms.errors import WrongInput
from rimwise.web.bench import corrections_told, sheet_told
from rimwise.web.jobs import Line, table_lines

if TYPE_CHECKING:
    from rimwise.audit.repeats import Repeat
    from rimwise.records.study import StudyOfNumber

NAMELESS = "the picture"
_WIDEST_PX = 1600


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
    import numpy as np  # noqa: PLC0415

    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415
    from rimwise.exchange.results import cover_document  # noqa: PLC0415
    from rimwise.records.cover import CoverFinding, FoundCurves  # noqa: PLC0415

    sheet = sheet_told(values, str(values["side"]))
    raster = picture_from_bytes(data, NAMELESS).raster
    held = sheet.frame.stored(raster.orientation).picture_from_examiner(np.eye(2))
    right, up = (tuple(float(one) for one in row) for row in held)
    curves = FoundCurves((right[0], right[1]), (up[0], up[1]), 1.0)
    blank = CoverFinding(NAMELESS, sha256, sheet.side, sheet.state, "refused", curves=curves)
    return cover_document(blank)


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
    read = corrected_finding(blank, sheet_told(values, blank.side), corrections_told(told))
    numbers = found_numbers(read)
    if read.status == "refused" or not numbers:
        raise WrongInput(" ".join(reason_sentences(read)) or "place points on both edges first")
    return cover_document(read), numbers


def pair_job(data: bytes, entries: Sequence[Mapping[str, Any]]) -> ShownPair:
    """How do two readings lie on the photograph?"""
    import io  # noqa: PLC0415

    import numpy as np  # noqa: PLC0415
    from PIL import Image  # noqa: PLC0415

    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415
    from rimwise.records.cover import EllipsePx  # noqa: PLC0415
    from rimwise.report.on_photo import ellipse_points  # noqa: PLC0415
    from rimwise.report.upright import upright_pixels, upright_points  # noqa: PLC0415

    raster = picture_from_bytes(data, NAMELESS).raster
    pixels = np.ascontiguousarray(upright_pixels(raster))
    image = Image.fromarray(pixels)
    image.thumbnail((_WIDEST_PX, _WIDEST_PX))
    sink = io.BytesIO()
    image.convert("RGB").save(sink, "JPEG", quality=88)
    paths = []
    for entry in entries:
        words = ""
        optic, opening = entry.get("optic"), entry.get("opening")
        if optic and optic.get("ellipse_px"):
            around = ellipse_points(EllipsePx(**optic["ellipse_px"]))
            words += _path(upright_points(around, raster))
        if opening:
            known = [one for one in opening["edge_px"] if one is not None]
            words += _path(upright_points(np.array([*known, known[0]]), raster))
        paths.append(words)
    return ShownPair(sink.getvalue(), pixels.shape[1], pixels.shape[0], tuple(paths))


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
