"""Where bag and haptics are expected to hold the optic, which is not where it can be put."""

import math

import numpy as np

from rimwise.place.edge import Edge
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.case import CaseSheet
from rimwise.records.cover import CoverFinding, Reason
from rimwise.records.placement import Point, Rest
from rimwise.stats.containment_edge import CentringLaw, p_contained_edge

_STEPS = 360


def rest_of(
    edge: Edge, finding: CoverFinding, case: CaseSheet | None
) -> tuple[Rest | None, Reason | None, tuple[Assumption, ...]]:
    """Where will the optic rest, and is it covered there?

    Parameters
    ----------
    edge : Edge
    finding : CoverFinding
        At a visit the optic rests where it is; at surgery it will rest about the lens centre.
    case : CaseSheet or None
        Where the lens centre was, from the limbus centre.

    Returns
    -------
    Rest or None, Reason or None, tuple of Assumption
        A reason wherever it cannot be told.
    """
    if finding.state == "visit":
        return _as_found(edge, finding), None, ()
    lens = None if case is None or case.centres is None else case.centres.lens_mm
    limbus = finding.decentration.get("optic-from-limbus")
    if case is None or case.centres is None or lens is None or limbus is None:
        return None, _unknown(lens, limbus is None), ()
    scatter, assumed = _rest_scatter(case)
    mean = (lens[0] - limbus.x_mm.value, lens[1] - limbus.y_mm.value)
    sd = (
        math.hypot(case.centres.sd_mm, limbus.x_mm.sd, scatter[0]),
        math.hypot(case.centres.sd_mm, limbus.y_mm.sd, scatter[1]),
    )
    return _resting(edge, mean, sd, "lens centre of the case sheet"), None, assumed


def _rest_scatter(case: CaseSheet) -> tuple[Point, tuple[Assumption, ...]]:
    if case.spread is not None:
        return case.spread.optic_from_rest_sd_mm, ()
    prior = published_value("spreads", "optic_from_rest")
    sd = prior.sd or 0.0
    what = "optic from its resting place, each component"
    return (sd, sd), (Assumption.of(what, prior),)


def _as_found(edge: Edge, finding: CoverFinding) -> Rest:
    least = float(edge.least_cover_mm(np.zeros(2)))
    chance = None if finding.cover is None else finding.cover.p_complete
    return Rest((0.0, 0.0), (0.0, 0.0), least, chance, "as found at this visit")


def _resting(edge: Edge, mean: Point, sd: Point, origin: str) -> Rest:
    """Return the rest with its chance; unseen parts of the edge are taken not to stand in the way.

    So the chance is at most what is told where part of the edge was not seen.
    """
    angle = np.degrees(np.arctan2(edge.points_mm[:, 1], edge.points_mm[:, 0])) % 360.0
    reach = np.hypot(edge.points_mm[:, 0], edge.points_mm[:, 1])
    order = np.argsort(angle)
    steps = np.arange(_STEPS, dtype=np.float64)
    radii = np.interp(steps, angle[order], reach[order], period=360.0)
    if not edge.whole:
        apart = np.abs((steps[:, None] - angle + 180.0) % 360.0 - 180.0).min(axis=1)
        radii = np.where(apart > 1.5, reach.min(), radii)
    # The present centre as the offset law sees it: away from where the optic goes.
    law = CentringLaw(sd, (-mean[0], -mean[1]))
    chance = p_contained_edge(edge.optic_radius_mm, radii, law)
    return Rest(mean, sd, float(edge.least_cover_mm(np.asarray(mean))), chance, origin)


def _unknown(lens: Point | None, no_limbus: bool) -> Reason:
    missing = ["the lens centre (lens_mm in [centres] of the case sheet)"] if lens is None else []
    missing += ["the optic's place from the limbus in the picture"] if no_limbus else []
    return Reason(
        "rest-unknown",
        "Where the optic will rest is not known, only where it can be put today; what is missing: "
        + ", ".join(missing)
        + ".",
    )
