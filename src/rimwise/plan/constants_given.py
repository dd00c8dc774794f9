"""What stands behind a constant that a case sheet gives."""

import re

from rimwise.plan.lens_series import CALIBRATED_EYES
from rimwise.records.lens_power import Calibration

_OWN_SERIES = re.compile(r"\bown\b.*\b(?:series|eyes)\b|\bseries\b.*\bown\b", re.IGNORECASE)
_SAID_EYES = re.compile(r"\bn\s*=\s*(\d+)|(\d+)\s*(?:own\s+)?eyes\b", re.IGNORECASE)
_YEAR = re.compile(r"(?:19|20)\d\d")
_NO_SOURCE = frozenset({"", "unknown", "none", "not known", "no source"})


def calibration_of(source: str | None) -> tuple[str, Calibration]:
    """Where did a constant come from, in words, and does that count?

    An own series counts with the eyes it says ("n = 41", "41 eyes"); where it only holds numbers,
    the least of them is taken, since a year is no number of eyes.

    Examples
    --------
    >>> calibration_of("own series, 12")[1], calibration_of("own series, n = 41")[1]
    ('uncalibrated', 'own series')
    >>> calibration_of("own series (2019), 12 eyes")[1], calibration_of("unknown")[1]
    ('uncalibrated', 'uncalibrated')
    """
    if source is None or source.lower().strip(" .?-") in _NO_SOURCE:
        return "the case sheet, no source named", "uncalibrated"
    if _OWN_SERIES.search(source) is None:
        return source, "named source"
    return source, "own series" if _eyes(source) >= CALIBRATED_EYES else "uncalibrated"


def _eyes(source: str) -> int:
    said = [int(one or other) for one, other in _SAID_EYES.findall(source)]
    bare = [int(one) for one in re.findall(r"\d+", source) if not _YEAR.fullmatch(one)]
    return min(said or bare or [0])
