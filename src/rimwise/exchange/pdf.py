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


def page_pdf(
    template_name: Literal["day", "plan", "series"],
    data: Mapping[str, Any],
    files: Mapping[str, bytes],
) -> bytes:
    """How does a page print: a clinic's day, a plan's sheet, or an audit?

    Parameters
    ----------
    template_name : str
        Which of the print templates beside this module.
    data : mapping
        What ``day_data``, ``sheet_data`` or ``series_data`` of ``rimwise.report`` returns.
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
