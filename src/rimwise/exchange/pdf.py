"""A page as PDF: data handed to a print template as JSON, never by formatting strings."""

import json
import tempfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from rimwise.terms.errors import OutputFailed

# Readable by a screen reader; PDF/A would want a date, and a page made twice must be the same.
STANDARD: Literal["ua-1"] = "ua-1"


def day_pdf(data: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """How does a day's page print?

    Parameters
    ----------
    data : mapping
        What ``rimwise.report.page.day_data`` returns.
    files : mapping
        The pictures that the data name, by plain file name.

    Returns
    -------
    bytes
        A PDF; equal input gives equal bytes.

    Raises
    ------
    OutputFailed
        The page cannot be set: a name leaves its folder, or a sign is in none of the fonts.
    """
    return _set("day", data, files)


def sheet_pdf(data: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """How does a plan's sheet print, on one page?

    Parameters
    ----------
    data : mapping
        What ``rimwise.report.plan_sheet.sheet_data`` returns.
    files : mapping
        The drawings that the data name, by plain file name.

    Returns
    -------
    bytes
        A PDF; equal input gives equal bytes.

    Raises
    ------
    OutputFailed
        A sign is in none of the fonts.
    """
    return _set("plan", data, files)


def series_pdf(data: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """How does an audit print?

    Parameters
    ----------
    data : mapping
        What ``rimwise.report.series_page.series_data`` returns.
    files : mapping
        The drawings that the data name, by plain file name.

    Returns
    -------
    bytes
        A PDF; equal input gives equal bytes.

    Raises
    ------
    OutputFailed
        A sign is in none of the fonts.
    """
    return _set("series", data, files)


def _set(template_name: str, data: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    import typst  # noqa: PLC0415 - only this page needs it
    from matplotlib import get_data_path  # noqa: PLC0415 - the fonts of the drawings, for one look

    with tempfile.TemporaryDirectory(prefix="rimwise-") as folder:
        root = Path(folder)
        for name, content in files.items():
            if Path(name).name != name:
                raise OutputFailed(f"a page cannot hold a picture called {name}; give a plain name")
            (root / name).write_bytes(content)
        template = root / f"{template_name}.typ"
        source = resources.files("rimwise.exchange").joinpath(f"{template_name}.typ")
        template.write_bytes(source.read_bytes())
        try:
            made = typst.compile(
                str(template),
                root=folder,
                font_paths=[str(Path(get_data_path()) / "fonts" / "ttf")],
                ignore_system_fonts=True,
                format="pdf",
                sys_inputs={template_name: json.dumps(data, allow_nan=False)},
                pdf_standards=STANDARD,
                timestamp=0,
            )
        except typst.TypstError as error:
            words = " ".join(str(error).split())[:200]
            raise OutputFailed(
                f"the page could not be set as PDF ({words}); use the HTML"
            ) from None
    return bytes(made)
