"""An audit in words and rows."""

from rimwise.records.series import Audit, AuditPart, Figure

Row = tuple[str, str, str, str]
_DIGITS = {"mm": 3, "dpt": 3, "deg": 1, "logMAR": 3, "1": 3, "d": 0}


def figure_words(figure: Figure) -> tuple[str, str, str]:
    """How are value, interval and count of a figure told?

    Examples
    --------
    >>> figure_words(Figure("covered", 0.8, 0.49, 0.943, "1", 10, 10, count=8))
    ('80.0 %', '49.0 to 94.3 %', '8 of 10')
    >>> figure_words(Figure("size", 5.2, None, None, "mm", 3, 3))
    ('5.200 mm', '-', '3')
    """
    counted = f"{figure.count} of {figure.n}" if figure.count is not None else f"{figure.n}"
    if figure.value is None:
        return "not told", "-", counted
    if figure.count is not None or figure.name.startswith("laser by"):
        value, ends, unit = f"{100.0 * figure.value:.1f} %", _ends(figure, 100.0, 1), " %"
    else:
        digits = _DIGITS.get(figure.unit, 3)
        unit = "" if figure.unit == "1" else f" {figure.unit}"
        value, ends = f"{figure.value:.{digits}f}{unit}", _ends(figure, 1.0, digits)
        if figure.unit == "1" and 0.0 < figure.value < 0.001:
            value = f"{figure.value:.1e}"
    return value, f"{ends}{unit}" if ends != "-" else "-", counted


def _ends(figure: Figure, factor: float, digits: int) -> str:
    if figure.low is None or figure.high is None:
        return "-"
    return f"{factor * figure.low:.{digits}f} to {factor * figure.high:.{digits}f}"


def chapter_rows(part: AuditPart) -> list[Row]:
    """Which rows has a chapter's table: name, value, 95 % interval, eyes?

    Examples
    --------
    >>> chapter_rows(AuditPart("cover", "Cover", (Figure("c", 0.5, None, None, "mm", 4, 4),)))
    [('c', '0.500 mm', '-', '4')]
    """
    return [(one.name, *figure_words(one)) for one in part.figures]


def audit_head(audit: Audit) -> list[tuple[str, str]]:
    """Which rows open an audit: what was read, who is in and who is out?

    Examples
    --------
    >>> audit_head(Audit("eyes.csv", 3, 3, "both eyes", (), ()))[0]
    ('Table', 'eyes.csv')
    """
    rows = [
        ("Table", audit.source),
        ("Eyes", f"{audit.eyes} of {audit.persons} persons"),
        ("Two eyes of one person", audit.eyes_choice),
    ]
    rows += [
        (f"Left out: {step.reason}", f"{step.rows_out}, {step.rows_left} left")
        for step in audit.flow
        if step.rows_out
    ]
    if audit.seed is not None:
        rows.append(("Seed", str(audit.seed)))
    return rows
