"""An audit in print: its words, tables and drawings as plain data for the print template."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rimwise.records.series import Audit, AuditPart
from rimwise.report.audit_words import audit_head, figure_words
from rimwise.report.look import LOOK
from rimwise.report.side_tables import SideTable
from rimwise.terms.cautions import CAUTIONS

ONE_COLUMN_MM, TWO_COLUMNS_MM = 89.0, 180.0  # widths that journals ask for; common practice
Drawing = tuple[str, str, str, bytes]  # name, title, description, SVG


def series_data(
    audit: Audit, drawings: list[Drawing], version: str, tables: Sequence[SideTable] = ()
) -> dict[str, Any]:
    """Which plain data does the print template of an audit get? (drawings by file name)

    Clouds are printed one column wide, all else over two.

    Examples
    --------
    >>> told = series_data(Audit("t.csv", 3, 2, "both eyes", (), (), methods="Means."), [], "0")
    >>> told["title"], told["again"]
    ('Audit of t.csv', 'rimwise 0.')
    """
    clouds = {part.key.replace(":", "-") for part in audit.parts if part.cloud or part.ellipses}
    seed = "" if audit.seed is None else f", seed {audit.seed}"
    return {
        "title": f"Audit of {audit.source}",
        "head": [list(row) for row in audit_head(audit)],
        "beware": list(audit.warnings),
        "drawings": [
            {
                "file": f"{name}.svg",
                "caption": title,
                "alt": text,
                "width_mm": ONE_COLUMN_MM if name in clouds else TWO_COLUMNS_MM,
            }
            for name, title, text, _ in drawings
        ],
        "parts": [_part(part) for part in audit.parts],
        "tables": [asdict(one) for one in tables],
        "methods": audit.methods,
        "again": f"rimwise {version}{seed}.",
        "inputs": [list(one) for one in audit.inputs],
        "cautions": list(CAUTIONS),
        "look": {"ink": LOOK.ink, "quiet": LOOK.quiet, "rule": LOOK.rule},
    }


def _part(part: AuditPart) -> dict[str, Any]:
    return {
        "title": part.title,
        "left_out": list(part.left_out),
        "rows": [
            [
                one.name,
                *figure_words(one),
                "; ".join(word for word in (one.way, one.note) if word),
            ]
            for one in part.figures
        ],
    }
