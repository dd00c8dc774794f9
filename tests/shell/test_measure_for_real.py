"""The whole way, with the real step: a file in, the document out, whatever way the file lies."""

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.exchange.results_reading import cover_finding_from_document

# A ray-traced photograph by a program that shares nothing with this one (see its README).
TRACED = Path(str(files("rimwise.demo").joinpath("pictures", "photo_easy_001.jpg")))


def _measured(path: Path, *flags: str) -> dict[str, Any]:
    result = CliRunner().invoke(app, ["measure", str(path), "--json", "-", *flags])
    assert result.exit_code == 0, result.stderr
    entry = json.loads(result.stdout)["results"][0]
    assert isinstance(entry, dict)
    return entry


@pytest.fixture(scope="module")
def upright() -> dict[str, Any]:
    """The traced photograph, measured as it is."""
    return _measured(TRACED)


def test_a_traced_photograph_is_measured_near_its_truth(upright: dict[str, Any]) -> None:
    """The truth beside the picture is the other program's; 4 sd, since ± is what is claimed."""
    truth = json.loads(TRACED.with_suffix(".truth.json").read_text(encoding="utf-8"))
    opening = upright["opening"]["equivalent_diameter_mm"]
    true_mm = truth["equivalent_diameter_mm"]
    assert abs(opening["value"] - true_mm) < 4.0 * opening["sd"]
    least = upright["cover"]["min_mm"]
    assert abs(least["value"] - min(truth["cover_mm"])) < 4.0 * least["sd"]
    assert cover_finding_from_document(upright).picture == str(TRACED)


@pytest.mark.parametrize("orientation", [5, 6])
def test_a_file_stored_sideways_gives_the_same_cover(
    tmp_path: Path, upright: dict[str, Any], orientation: int
) -> None:
    """The tag is read, the pixels stay as stored, directions are the examiner's (convention 5)."""
    back = {
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
    }
    with Image.open(TRACED) as picture:
        stored = picture.transpose(back[orientation])
        shown = np.asarray(picture)
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "eye.png"
    stored.save(path, exif=exif)
    with Image.open(path) as again:
        np.testing.assert_array_equal(np.asarray(ImageOps.exif_transpose(again)), shown)
    turned = _measured(path, "--sheet", str(TRACED.with_suffix(".toml")))
    assert "orientation-tag" in [reason["code"] for reason in turned["reasons"]]
    # The same pixels in another order: a tenth of the claimed ± is left for the search's own path.
    for part, name in (("opening", "equivalent_diameter_mm"), ("cover", "mean_mm")):
        one, other = upright[part][name], turned[part][name]
        assert abs(one["value"] - other["value"]) < 0.1 * one["sd"] + 1e-6
    offset, same = (e["decentration"]["opening-from-optic"] for e in (upright, turned))
    for name in ("x_mm", "y_mm", "nasal_mm", "superior_mm"):
        assert abs(offset[name]["value"] - same[name]["value"]) < 0.1 * offset[name]["sd"] + 1e-6
    # The centre of the optic's rim lies where the stored raster has it; a fifth of a pixel is left
    # for the search, a frame that was turned wrongly would be off by hundreds.
    width = shown.shape[1]
    u, v = (upright["optic"]["ellipse_px"][name] for name in ("cx", "cy"))
    expected = {5: (v, u), 6: (v, width - 1 - u)}[orientation]
    got = (turned["optic"]["ellipse_px"][name] for name in ("cx", "cy"))
    assert tuple(got) == pytest.approx(expected, abs=0.2)
