"""What the lamps' reflexes say of the implant in a photograph, or why they say nothing."""

from rimwise.records.cover import CoverFinding
from rimwise.records.frame import Pair
from rimwise.terms.frames import Side, nasal_superior

# A photograph without lamps in its sheet is the usual one: its row says so, no sentence beside it.
SAID_IN_ITS_ROW = ("lamps-unknown",)
_WHY = (
    ("lamps-unknown", "the sheet has no lamps, and a reflex is the image of one"),
    ("reflexes-not-told", "the lamps' reflexes were not found"),
    ("P4-not-found", "P4 was not found"),
    ("fixation-not-confirmed", "fixation is not confirmed, and the reflexes move with the gaze"),
    ("tilt-not-told", "the reflexes say no more than what is usual"),
)
_LENS_FROM_PRIOR = "not told by this frame"
_NEEDS = {
    "optic-from-P1": ("lamps-unknown", "reflexes-not-told", "fixation-not-confirmed"),
    "optic-from-P4": (
        "lamps-unknown", "reflexes-not-told", "P4-not-found", "fixation-not-confirmed",
    ),
    "tilt": ("reflexes-not-told", "P4-not-found", "tilt-not-told"),
}  # fmt: skip


def pair_words(pair: Pair | None, unit: str, side: Side, digits: int = 1) -> str:
    """How is a vector told: nasal or temporal, up or down, each with its ±?

    Examples
    --------
    >>> from rimwise.terms.estimate import Estimate
    >>> pair_words((Estimate(2.0, 0.5), Estimate(-1.0, 0.4)), "°", "left")
    '2.0 ± 0.5° temporal, 1.0 ± 0.4° down'
    """
    if pair is None:
        return _LENS_FROM_PRIOR
    nasal, up = nasal_superior(pair[0].value, pair[1].value, side)
    across = "nasal" if nasal >= 0.0 else "temporal"
    return (
        f"{abs(nasal):.{digits}f} ± {pair[0].sd:.{digits}f}{unit} {across}, "
        f"{abs(up):.{digits}f} ± {pair[1].sd:.{digits}f}{unit} {'up' if up >= 0.0 else 'down'}"
    )


def why_not(finding: CoverFinding, thing: str) -> str:
    """Why is a pair of centres, or the tilt, not told? Empty where no reflex is asked for.

    Examples
    --------
    >>> from rimwise.records.cover import Reason
    >>> reasons = (Reason("lamps-unknown", "No lamps."),)
    >>> finding = CoverFinding("eye.jpg", "0" * 64, "right", "visit", "measured", reasons)
    >>> why_not(finding, "optic-from-P4")
    'the sheet has no lamps, and a reflex is the image of one'
    """
    given = {reason.code for reason in finding.reasons}
    asked = _NEEDS.get(thing, ())
    return next((words for code, words in _WHY if code in asked and code in given), "")


def tilt_row(finding: CoverFinding) -> tuple[str, str, str] | None:
    """Which row tells the optic's tilt? None where no lamps were given.

    Examples
    --------
    >>> tilt_row(CoverFinding("eye.jpg", "0" * 64, "right", "visit", "refused")) is None
    True
    """
    tilt = None if finding.reflexes is None else finding.reflexes.lens_tilt_deg
    why = why_not(finding, "tilt")
    if tilt is None:
        return ("Optic's tilt", "not measured", why) if why else None
    words = pair_words(tilt, "°", finding.side)
    return (
        "Optic's tilt",
        words,
        "from the corneal axis: where the front of its axis points, from P1 and P4 (reflex of the "
        "implant's back)",
    )
