"""A drawing as bytes of a file, with title and description: the same drawing, the same bytes."""

import io
from typing import TYPE_CHECKING, Literal

from rimwise.report.letters import keep_drawable

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Kind = Literal["svg", "png", "pdf"]
SCREEN_DPI = 150
PRINT_DPI = 600


def drawing_bytes(
    figure: "Figure", title: str, description: str, kind: Kind, png_dpi: int = SCREEN_DPI
) -> bytes:
    """How is a drawing written: SVG, PDF, or PNG at the resolution asked for?

    The same drawing gives the same bytes: no date is written.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> drawing_bytes(Figure(), "A page", "Nothing on it.", "svg")[:5]
    b'<?xml'
    """
    keep_drawable(figure)
    out = io.BytesIO()
    if kind == "pdf":
        told = {"Title": title, "Subject": description, "CreationDate": None, "Producer": "rimwise"}
        figure.savefig(out, format="pdf", metadata=told)
    elif kind == "svg":
        words = {"Title": title, "Description": description, "Date": None}
        figure.savefig(out, format="svg", metadata=words)
    else:
        words = {"Title": title, "Description": description, "Software": None}
        figure.savefig(out, format="png", dpi=png_dpi, metadata=words)
    return out.getvalue()
