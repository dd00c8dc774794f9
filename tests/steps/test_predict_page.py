"""The page of a sight: pictures with words for those who cannot see them, tables, cautions."""

import re
from html import escape
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app
from rimwise.report.seen_drawing import NOT_FOR_PATIENTS, NOT_IN_IT
from rimwise.terms.cautions import CAUTIONS

CASE = """code = "E-1"
side = "left"
corneal_surgery = "none"
[cornea]
radius_mm = 7.7
[lengths]
axial_mm = 23.6
[implant]
optic_diameter_mm = 6.0
power_dpt = 21.0
"""


@pytest.mark.slow
def test_the_page_holds_all_and_fetches_nothing(tmp_path: Path) -> None:
    case, out = tmp_path / "E-1.toml", tmp_path / "out"
    case.write_text(CASE, encoding="utf-8")
    words = ["predict", str(case), "--decentration-mm", "0.4", "0", "--tilt-deg", "1", "0"]
    done = CliRunner().invoke(app, [*words, "--pupil-mm", "3", "--page", str(out)])
    assert done.exit_code == 0, done.stderr
    page = (out / "E-1-sight.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert not re.findall(r'(?:src|href)="(?!data:)', page)
    images = re.findall(r"<img [^>]*>", page)
    assert len(images) == 5
    assert all(re.search(r'alt="[^"]{20,}"', one) for one in images)
    # A table of the numbers, two behind the drawing, one behind the pictures.
    assert page.count("<table>") == 4
    for sentence in (NOT_FOR_PATIENTS, NOT_IN_IT, *CAUTIONS):
        assert escape(sentence).replace("&#x27;", "&#39;") in page
