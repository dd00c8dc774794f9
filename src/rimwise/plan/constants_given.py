"""What stands behind a constant that a case sheet gives."""

import re

from rimwise.plan.lens_series import CALIBRATED_EYES
from rimwise.records.lens_power import Calibration

_OWN_SERIES = re.compile(r"own series\D*(\d+)?", re.IGNORECASE)


def calibration_of(source: str | None) -> tuple[str, Calibration]:
    """Where did a constant come from, in words, and does that count?

    Examples
    --------
    >>> calibration_of("own series, 12")[1], calibration_of("own series, n = 41")[1]
    ('uncalibrated', 'own series')
    """
    if source is None:
        return "the case sheet, no source named", "uncalibrated"
    series = _OWN_SERIES.search(source)
    if series is None:
        return source, "named source"
    eyes = int(series[1]) if series[1] else 0
    return source, "own series" if eyes >= CALIBRATED_EYES else "uncalibrated"
