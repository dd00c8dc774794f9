"""A sheet with a decimal comma is refused with the number as TOML wants it."""

from pathlib import Path

import pytest

from rimwise.exchange.sheets import read_case_sheet
from rimwise.terms.errors import WrongInput


@pytest.mark.parametrize("line", ["axial_mm = 23,61", "axial_mm = 23,61   # printout"])
def test_a_decimal_comma_is_named(tmp_path: Path, line: str) -> None:
    path = tmp_path / "E-1.toml"
    path.write_text(f'code = "E-1"\nside = "left"\n[lengths]\n{line}\n', encoding="utf-8")
    with pytest.raises(WrongInput, match=r"write 23\.61 with a point"):
        read_case_sheet(path)


def test_another_fault_is_not_called_a_comma(tmp_path: Path) -> None:
    path = tmp_path / "E-1.toml"
    path.write_text('code = "E-1\nside = "left"\nplaces_mm = [[1, 2], [3, 4]]\n', encoding="utf-8")
    with pytest.raises(WrongInput, match="correct that line"):
        read_case_sheet(path)
