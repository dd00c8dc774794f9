"""From the law of cover to the numbers a surgeon asks for."""

import numpy as np

from rimwise.geometry.arcs import runs_round
from rimwise.geometry.cover import bare_arcs, bare_total_deg, cover_areas, least_cover
from rimwise.measure.width import SETTINGS as WIDTH
from rimwise.measure.width import WidthLaw
from rimwise.records.cover import CoverProfile, LeastCover
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import clock_hour

WHOLE_EDGE_DEG = 300  # less of the opening's edge in sight: no size, no verdict on the whole
SURE = 0.975
TOO_NEAR_MM = 0.05  # nearer to none than this, complete or not is not told
_ORIGIN = "edges against the optic as the ruler"


def cover_profile(law: WidthLaw, optic_radius_mm: float, whole: bool) -> CoverProfile:
    """What does this cover amount to?

    Parameters
    ----------
    law : WidthLaw
        Cover by direction with its draws.
    optic_radius_mm : float
        Radius of the optic as stated.
    whole : bool
        Whether enough of the opening's edge is in sight for a verdict on the whole.

    Notes
    -----
    Least cover of a rough curve is biased low by the edge's own noise; it is taken from the curve
    smoothed over 5°, the ± from the draws treated alike.
    """
    widths = tuple(float(w) if s else None for w, s in zip(law.width_mm, law.seen, strict=True))
    drawn = _smooth(law.draws_mm)
    least_drawn = drawn.min(axis=1)
    complete, chance = _verdict(law, drawn, least_drawn, whole)
    least = _least(law, least_drawn) if whole else None
    arcs = bare_arcs(widths) if law.seen.any() else None
    return CoverProfile(
        width_mm=widths,
        sd_mm=_where(law, law.sd_mm),
        sd_given_optic_mm=_where(law, law.sd_given_optic_mm),
        min_mm=least,
        mean_mm=_mean(law, law.draws_mm) if whole else None,
        area_percent=_area(law, optic_radius_mm) if whole else None,
        bare_arcs_deg=arcs,
        bare_total_deg=_bare(law, drawn) if whole else None,
        assessable_deg=int(law.seen.sum()),
        complete=complete,
        p_complete=chance,
        given_optic=_given(law, least) if whole else {},
    )


def _where(law: WidthLaw, values: FloatArray) -> tuple[float | None, ...]:
    return tuple(float(v) if s else None for v, s in zip(values, law.seen, strict=True))


def _smooth(widths: FloatArray) -> FloatArray:
    """Mean over 5° along the last axis."""
    count = widths.shape[-1]
    closed = np.concatenate([widths[..., -2:], widths, widths[..., :2]], axis=-1)
    total = closed[..., :count].copy()
    for shift in range(1, 5):
        total += closed[..., shift : shift + count]
    return np.asarray(total / 5.0)


def _least(law: WidthLaw, drawn: FloatArray) -> LeastCover:
    found = least_cover(_smooth(law.width_mm))
    if found is None:
        raise ValueError("a law of cover holds 360 numbers")
    value, at = found
    return LeastCover(value, float(drawn.std()), at, clock_hour(at))


def _mean(law: WidthLaw, draws: FloatArray) -> Estimate:
    return Estimate(float(law.width_mm.mean()), float(draws.mean(axis=1).std()), _ORIGIN)


def _area(law: WidthLaw, optic_radius_mm: float) -> Estimate:
    value = cover_areas(optic_radius_mm, law.width_mm).covered_percent
    inner = np.clip(optic_radius_mm - law.draws_mm[::4], 0.0, optic_radius_mm)
    percent = 100.0 * (1.0 - np.mean(inner**2, axis=1) / optic_radius_mm**2)
    return Estimate(float(value), float(percent.std()), _ORIGIN)


def _bare(law: WidthLaw, drawn: FloatArray) -> Estimate:
    """Return the bare total; its law has a lump at 0, so its ± is what holds 95 % of the draws."""
    value = bare_total_deg(law.width_mm)
    away = np.abs((drawn < 0.0).sum(axis=1) - value)
    return Estimate(value, float(np.quantile(away, 0.95)) / 1.96, _ORIGIN)


def _given(law: WidthLaw, least: LeastCover | None) -> dict[str, Estimate]:
    draws = law.draws_given_optic_mm
    radii = law.radius_mm + law.width_mm - draws  # of the opening, the optic's own taken as exact
    area = np.pi * np.mean(radii**2, axis=1)
    size = float(np.pi * np.mean(law.radius_mm**2))
    given = {
        "mean_mm": _mean(law, draws),
        "area_mm2": Estimate(size, float(area.std()), _ORIGIN),
        "equivalent_diameter_mm": Estimate(
            2.0 * float(np.sqrt(size / np.pi)), float((2.0 * np.sqrt(area / np.pi)).std()), _ORIGIN
        ),
    }
    if least is not None:
        sd = float(_smooth(draws).min(axis=1).std())
        given["min_mm"] = Estimate(least.value, sd, _ORIGIN)
    return given


def _verdict(
    law: WidthLaw, drawn: FloatArray, least_drawn: FloatArray, whole: bool
) -> tuple[bool | None, float | None]:
    """Return complete and its probability; a hidden arc can never make an eye incomplete."""
    enough = whole and int(law.found.sum()) >= WHOLE_EDGE_DEG
    told_by = law.found if enough else _bare_in_sight(law)
    found_bare = ((drawn < 0.0) & told_by).any(axis=1).mean()
    least = float(_smooth(law.width_mm).min())
    if abs(least) < TOO_NEAR_MM:
        return None, None if not whole else float((least_drawn > 0.0).mean())
    if found_bare >= SURE:
        return False, 1.0 - float(found_bare)
    if not enough:
        return None, None
    chance = float((least_drawn > 0.0).mean())
    told = chance >= SURE and bool(law.found[int(np.argmin(law.width_mm))])
    return (True if told else None), chance


def _bare_in_sight(law: WidthLaw) -> BoolArray:
    """Return where an arc lies bare that a reader can verify in part.

    It must be longer than the arc over which an edge's errors go together: over less, the edge may
    have jumped to the rim's inner side where it fades.
    """
    bare = np.asarray(law.found & (_smooth(law.width_mm) < 0.0))
    for arc in runs_round(bare):
        bare[arc] = len(arc) > WIDTH.edge_arc_deg and law.seen[arc].any()
    return bare
