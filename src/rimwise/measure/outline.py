"""What a hand-drawn outline alone says, as the method to compare with."""

from dataclasses import replace

from rimwise.measure.correct import correct
from rimwise.records.corrections import Corrections
from rimwise.records.cover import CoverFinding
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput


def outline_by_hand(
    finding: CoverFinding, sheet: PictureSheet, outline: Corrections
) -> CoverFinding:
    """What would the outline that a reader drew tell, without the found edge?

    Parameters
    ----------
    finding : CoverFinding
        Of the same picture; its opening is left out, and so is its rim where the reader outlined
        the optic too.
    sheet : PictureSheet
    outline : Corrections
        Points along the opening's edge, all round.

    Raises
    ------
    WrongInput
        No point on the opening's edge, or the finding keeps no curves.

    Examples
    --------
    >>> refused = CoverFinding("eye.jpg", "", "right", "visit", "refused")
    >>> outline_by_hand(refused, PictureSheet("right"), Corrections())
    Traceback (most recent call last):
    rimwise.terms.errors.WrongInput: an outline needs points on the opening's edge; give opening_px
    """
    if not outline.opening_px:
        raise WrongInput("an outline needs points on the opening's edge; give opening_px")
    curves = finding.curves if finding.correction is None else finding.correction.found
    if curves is None:
        raise WrongInput(f"{finding.picture} keeps no curves; measure the picture again")
    kept = {} if outline.optic_px else curves.shown
    rim_flags = {name: flags for name, flags in kept.items() if name.startswith("rim_")}
    bare = replace(
        curves, opening=None, rim=None if outline.optic_px else curves.rim, shown=rim_flags
    )
    return correct(replace(finding, curves=bare, correction=None), sheet, outline)
