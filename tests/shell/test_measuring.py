"""From pictures to one document: none is lost, none stops the others."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

import pytest
from PIL import Image

from rimwise.casebook.measuring import Request, measure_pictures
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.journey import Measure
from rimwise.records.cover import CoverFinding
from rimwise.terms.errors import MeasurementRefused, OutputFailed


def _refuse(*_: object, **__: object) -> NoReturn:
    raise MeasurementRefused("no-optic", "no optic is seen; take another picture")


def _fail(*_: object, **__: object) -> NoReturn:
    raise ZeroDivisionError("division by zero\nover two lines")


def _draw(*_: object) -> bytes:
    return b"drawing"


def test_a_measured_picture_is_written_with_its_notes(
    tmp_path: Path, photograph: Callable[..., Path], measure_step: Measure, noise: Image.Image
) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    path = photograph("eye.tif")
    noise.save(path, exif=exif)
    out = tmp_path / "out.json"
    outcome = measure_pictures(Request([path], {}, json_out=out), measure=measure_step)
    assert outcome.exit_code == 0
    entry = json.loads(out.read_text(encoding="utf-8"))["results"][0]
    assert entry["picture"] == str(path)
    assert [reason["code"] for reason in entry["reasons"]] == ["glare", "orientation-tag"]
    assert cover_finding_from_document(entry).side == "left"


def test_one_bad_picture_does_not_stop_the_others(
    tmp_path: Path, photograph: Callable[..., Path], measure_step: Measure
) -> None:
    good = photograph("good.png")
    sideless = photograph("sideless.png", sheet=None)
    frame = photograph("frame.png", sheet='side = "left"\nkind = "frame"\n')
    text = photograph("text.png")
    text.write_text("no picture")
    paths = [tmp_path / "missing.png", good, sideless, frame, text, tmp_path]
    out = tmp_path / "out.json"
    outcome = measure_pictures(Request(paths, {}, json_out=out), measure=measure_step)
    assert outcome.exit_code == 2
    results = json.loads(out.read_text(encoding="utf-8"))["results"]
    assert [entry["picture"] for entry in results] == [str(path) for path in paths]
    assert [entry["status"] for entry in results] == ["refused", "measured", *(["refused"] * 4)]
    sentences = [entry["reasons"][0]["sentence"] for entry in results]
    for sentence, words in zip(
        sentences,
        ["no file", "reflex", "never guessed", "align", "not a picture", "folder"],
        strict=True,
    ):
        assert words in sentence
    assert {entry["reasons"][0]["code"] for entry in results} == {"wrong-input", "glare"}


def test_refused_is_exit_code_3_unless_an_input_was_bad(
    tmp_path: Path, photograph: Callable[..., Path]
) -> None:
    path = photograph()
    outcome = measure_pictures(Request([path], {}), measure=_refuse)
    assert outcome.exit_code == 3
    entry: dict[str, Any] = outcome.document()["results"][0]
    assert entry["reasons"] == [
        {"code": "no-optic", "sentence": "no optic is seen; take another picture"}
    ]
    assert (entry["side"], len(entry["sha256"])) == ("left", 64)
    outcome = measure_pictures(Request([path, tmp_path / "none.png"], {}), measure=_refuse)
    assert outcome.exit_code == 2


def test_a_fault_of_the_program_is_one_sentence_and_exit_code_1(
    photograph: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("RIMWISE_DEBUG", raising=False)
    path = photograph()
    outcome = measure_pictures(Request([path], {}), measure=_fail)
    assert outcome.exit_code == 1
    reason = outcome.document()["results"][0]["reasons"][0]
    assert reason["code"] == "unexpected-error"
    assert "ZeroDivisionError" in reason["sentence"]
    assert "\n" not in reason["sentence"]
    monkeypatch.setenv("RIMWISE_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        measure_pictures(Request([path], {}), measure=_fail)


def test_drawings_never_share_a_name(
    tmp_path: Path, photograph: Callable[..., Path], measure_step: Measure
) -> None:
    first, second = photograph("eye.png"), photograph("eye.bmp")
    request = Request([first, second], {}, drawing_dir=tmp_path / "new" / "drawings")
    outcome = measure_pictures(request, measure=measure_step, draw=_draw)
    names = [one.drawing.name for one in outcome.pictures if one.drawing is not None]
    assert names == ["eye.cover.png", "eye-2.cover.png"]
    assert sorted(p.name for p in (tmp_path / "new" / "drawings").iterdir()) == sorted(names)


def test_an_output_that_cannot_be_written_is_refused_before_any_work(
    tmp_path: Path, photograph: Callable[..., Path]
) -> None:
    path = photograph()
    for request in (
        Request([path], {}, json_out=tmp_path / "none" / "out.json"),
        Request([path], {}, json_out=path / "out.json"),
        Request([path], {}, json_out=path),
        Request([path], {}, json_out=path.with_suffix(".toml")),
        Request([path], {}, drawing_dir=path / "drawings"),
    ):
        with pytest.raises(OutputFailed):
            measure_pictures(request, measure=_fail, draw=_draw)


def test_progress_is_told_before_each_picture_and_at_the_end(
    photograph: Callable[..., Path], measure_step: Measure
) -> None:
    told: list[tuple[int, int, str]] = []
    paths = [photograph("a.png"), photograph("b.png")]
    measure_pictures(Request(paths, {}), lambda *now: told.append(now), measure=measure_step)
    assert told == [(0, 2, "a.png"), (1, 2, "b.png"), (2, 2, "")]


def test_flags_outrank_the_sheet_of_every_picture(
    photograph: Callable[..., Path], measure_step: Measure
) -> None:
    request = Request([photograph()], {"side": "right", "state": None})
    finding = measure_pictures(request, measure=measure_step).pictures[0].finding
    assert isinstance(finding, CoverFinding)
    assert (finding.side, finding.state) == ("right", "visit")
