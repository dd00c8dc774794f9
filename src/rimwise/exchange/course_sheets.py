"""Operation and visit sheets: what was done in an eye, and how it did since (docs/sheets.md)."""

from pathlib import Path
from typing import Any

from rimwise.exchange.sheet_keys import Code, Keys, OperationKeys, Side, VisitKeys
from rimwise.exchange.sheet_layers import checked_layer, read_toml
from rimwise.terms.errors import WrongInput


class CourseKeys(Keys):
    """An operation or visit sheet: the eye, and one of the two tables or both."""

    code: Code | None = None
    side: Side | None = None
    operation: OperationKeys | None = None
    visit: VisitKeys | None = None


def read_course_sheet(path: Path) -> dict[str, Any]:
    """What does an operation or visit sheet say, checked?

    Raises
    ------
    WrongInput
        It cannot be read, holds an unknown key or a value outside its range, or neither table.
    """
    values = checked_layer(read_toml(path), CourseKeys, str(path)).values
    if "operation" not in values and "visit" not in values:
        raise WrongInput(f"{path} holds neither [operation] nor [visit]; give one of them")
    return dict(values)
