"""Where does the ± come from? Each number again with one source of error alone."""

from dataclasses import replace

import numpy as np

from rimwise.measure.correct import corrected_curves
from rimwise.measure.cover_profile import cover_profile
from rimwise.measure.curves import edges_of
from rimwise.measure.edges import Edges
from rimwise.measure.opening_size import opening_finding, opening_from_optic
from rimwise.measure.ruler import OpticRuler, optic_ruler
from rimwise.measure.width import WidthLaw, width_law, with_errors
from rimwise.records.cover import CoverFinding
from rimwise.records.cover_budget import CoverBudget, NumberBudget, Source
from rimwise.records.picture import PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import WrongInput

SOURCES: tuple[Source, ...] = (
    "opening-edge",
    "optic-edge",
    "hidden-part",
    "optic-diameter",
    "magnification",
    "tilt",
    "plane-gap",
)
_UNITS = {
    "least_cover_mm": "mm",
    "mean_cover_mm": "mm",
    "area_percent": "percent",
    "bare_total_deg": "deg",
    "equivalent_diameter_mm": "mm",
    "area_mm2": "mm2",
    "circularity": "1",
    "opening_from_optic_nasal_mm": "mm",
    "opening_from_optic_superior_mm": "mm",
}


def cover_budget(finding: CoverFinding, sheet: PictureSheet) -> CoverBudget:
    """Which source of error adds how much to each number of this finding?

    Parameters
    ----------
    finding : CoverFinding
        Measured or partial; its curves are enough, the picture is not read.
    sheet : PictureSheet
        As it was measured with.

    Returns
    -------
    CoverBudget
        Of a partial finding by direction alone.

    Raises
    ------
    WrongInput
        The finding was refused or keeps no curves.

    Notes
    -----
    The errors of all directions are drawn together, each source with its own correlation along the
    edge; a number's part is its scatter when only that source is drawn. Parts add in squares for
    numbers that are linear in the cover; least cover and bare arcs are not, and theirs need not.

    Examples
    --------
    >>> cover_budget(CoverFinding("e.jpg", "", "right", "visit", "refused"), PictureSheet("right"))
    Traceback (most recent call last):
    rimwise.terms.errors.WrongInput: e.jpg was refused; a budget needs a measured picture
    """
    if finding.cover is None or finding.curves is None:
        raise WrongInput(f"{finding.picture} was refused; a budget needs a measured picture")
    edges, ruler, law = _law(finding, sheet)
    whole = finding.status == "measured"
    single = {source: _alone(law, source) for source in SOURCES}
    widths = {source: one.draws_mm - law.width_mm for source, one in single.items()}
    return CoverBudget(
        numbers=_numbers(edges, ruler, law, single, sheet) if whole else (),
        width_sd_mm={
            source: tuple(float(sd) for sd in np.broadcast_to(width.std(axis=0), (360,)))
            for source, width in widths.items()
        },
        alike={source: _alike(width) for source, width in widths.items()},
    )


def _law(finding: CoverFinding, sheet: PictureSheet) -> tuple[Edges, OpticRuler, WidthLaw]:
    """Return edges, ruler and law that the finding's numbers came from."""
    curves, errors = finding.curves, None
    if finding.correction is not None:
        told = finding.correction
        curves, errors = corrected_curves(told.found, told.told, sheet)
    if curves is None:
        raise ValueError("a finding with cover has curves")
    edges = edges_of(curves)
    ruler = optic_ruler(edges, sheet)
    law = width_law(edges, ruler.diameter_mm, ruler.sd_mm, sheet.side)
    if errors is not None:
        law = with_errors(law, 0.5 * ruler.diameter_mm * errors)
    return edges, ruler, law


def _alone(law: WidthLaw, source: Source) -> WidthLaw:
    """Return the law as it would be with one source of error."""
    if source == "optic-diameter":
        return _drawn(law, np.zeros((1, 360)), law.optic_scale)
    return _drawn(law, law.parts_mm[source], np.ones_like(law.optic_scale))


def _drawn(law: WidthLaw, part_mm: FloatArray, scale: FloatArray) -> WidthLaw:
    given = np.broadcast_to(law.width_mm + part_mm, (len(scale), 360))
    return replace(law, draws_mm=given * scale, draws_given_optic_mm=given, optic_scale=scale)


def _numbers(
    edges: Edges,
    ruler: OpticRuler,
    law: WidthLaw,
    single: dict[Source, WidthLaw],
    sheet: PictureSheet,
) -> tuple[NumberBudget, ...]:
    total = _spreads(edges, ruler, law, sheet)
    parts = {source: _spreads(edges, ruler, one, sheet) for source, one in single.items()}
    numbers = []
    for name, sd in total.items():
        shares = [(source, parts[source][name]) for source in SOURCES]
        shares.sort(key=lambda share: -share[1])
        numbers.append(NumberBudget(name, _UNITS[name], sd, tuple(shares)))
    return tuple(numbers)


def _spreads(
    edges: Edges, ruler: OpticRuler, law: WidthLaw, sheet: PictureSheet
) -> dict[str, float]:
    """Return the sd of each number under this law."""
    radius = 0.5 * ruler.diameter_mm
    cover = cover_profile(law, radius, whole=True)
    opening = opening_finding(edges, law, ruler.diameter_mm, whole=True)
    # The roll of the picture turns the frame, not the opening: it is no error of the measurement.
    offset = opening_from_optic(law, radius, sheet.side, 0.0)
    found = {
        "least_cover_mm": cover.min_mm,
        "mean_cover_mm": cover.mean_mm,
        "area_percent": cover.area_percent,
        "bare_total_deg": cover.bare_total_deg,
        "equivalent_diameter_mm": opening.equivalent_diameter_mm,
        "area_mm2": opening.area_mm2,
        "circularity": opening.circularity,
        "opening_from_optic_nasal_mm": offset.nasal_mm,
        "opening_from_optic_superior_mm": offset.superior_mm,
    }
    return {name: one.sd for name, one in found.items() if one is not None}


def _alike(width: FloatArray) -> float:
    """Return the share of the variance that all directions have in common."""
    every = float(np.mean(np.var(width, axis=0)))
    return 0.0 if every <= 0.0 else float(np.var(width.mean(axis=1))) / every
