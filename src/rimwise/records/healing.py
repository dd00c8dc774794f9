"""One eye through its visits: the record behind ``rimwise.healing/1``."""

from dataclasses import dataclass
from typing import Any

from rimwise.records.assumption import Assumption
from rimwise.records.cover import CoverFinding, Reason
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side

DIGITS = 6


def _told(estimate: Estimate | None, unit: str) -> dict[str, Any] | None:
    if estimate is None:
        return None
    return {"value": round(estimate.value, DIGITS), "sd": round(estimate.sd, DIGITS), "unit": unit}


def _pair(nasal: Estimate | None, superior: Estimate | None, unit: str) -> dict[str, Any] | None:
    if nasal is None or superior is None:
        return None
    return {"nasal": _told(nasal, unit), "superior": _told(superior, unit)}


@dataclass(frozen=True, slots=True)
class Change:
    """What has changed in the eye since the first visit; the picture's own roll is taken off.

    Parameters
    ----------
    area_percent, diameter_percent : Estimate or None
        Of the opening; negative is contraction.
    edge_move_mm : tuple of 360
        Movement of the opening's edge away from the first optic's centre, by the examiner's
        direction in the first picture; None where not seen.
    shift_nasal_mm, shift_superior_mm : Estimate or None
        Movement of the optic's centre against the limbus.
    turn_deg : Estimate or None
        Of the implant, counter-clockwise as the examiner sees it.
    least_cover_mm : Estimate or None
        Change of the least cover.
    registered_by : tuple of str
        What carried the registration.
    residual_mm : float or None
        Of the registration at the limbus.
    roll_deg : float or None
        Turn of this picture against the first one, counter-clockwise as the examiner sees it.
    opening_nasal_mm, opening_superior_mm : Estimate or None
        Movement of the opening's centroid against the limbus: the bag may drag opening and optic
        along, or the optic may move within it.
    tilt_nasal_deg, tilt_superior_deg : Estimate or None
        Change of the optic's tilt where visit sheets tell it; no photograph does.
    """

    area_percent: Estimate | None
    diameter_percent: Estimate | None
    edge_move_mm: tuple[float | None, ...]
    shift_nasal_mm: Estimate | None
    shift_superior_mm: Estimate | None
    turn_deg: Estimate | None
    least_cover_mm: Estimate | None
    registered_by: tuple[str, ...]
    residual_mm: float | None
    roll_deg: float | None
    opening_nasal_mm: Estimate | None = None
    opening_superior_mm: Estimate | None = None
    tilt_nasal_deg: Estimate | None = None
    tilt_superior_deg: Estimate | None = None

    def document(self) -> dict[str, Any]:
        """Return the entry of the results."""
        return {
            "area_percent": _told(self.area_percent, "percent"),
            "diameter_percent": _told(self.diameter_percent, "percent"),
            "edge_move_mm": [None if m is None else round(m, 4) for m in self.edge_move_mm],
            "implant_shift_mm": _pair(self.shift_nasal_mm, self.shift_superior_mm, "mm"),
            "opening_shift_mm": _pair(self.opening_nasal_mm, self.opening_superior_mm, "mm"),
            "implant_tilt_deg": _pair(self.tilt_nasal_deg, self.tilt_superior_deg, "deg"),
            "implant_turn_deg": _told(self.turn_deg, "deg"),
            "least_cover_mm": _told(self.least_cover_mm, "mm"),
            "registration": {
                "from": list(self.registered_by),
                "residual_mm": None if self.residual_mm is None else round(self.residual_mm, 4),
                "roll_deg": None if self.roll_deg is None else round(self.roll_deg, 3),
            },
        }


@dataclass(frozen=True, slots=True)
class AtVisit:
    """What was found at a visit beside its picture; None where the sheet does not tell.

    Parameters
    ----------
    sphere_dpt, cylinder_dpt, axis_deg : float or None
        Minus cylinder at the spectacle plane.
    acuity_logmar : float or None
    acuity_category : str or None
        Below letters.
    tilt_nasal_deg, tilt_superior_deg : Estimate or None
        Where the front end of the optic's axis points, as another instrument or a frame tells.

    Examples
    --------
    >>> AtVisit(acuity_logmar=0.02).document()["refraction"] is None
    True
    """

    sphere_dpt: float | None = None
    cylinder_dpt: float | None = None
    axis_deg: float | None = None
    acuity_logmar: float | None = None
    acuity_category: str | None = None
    tilt_nasal_deg: Estimate | None = None
    tilt_superior_deg: Estimate | None = None

    def document(self) -> dict[str, Any]:
        """Return the entry of the results."""
        refraction = None
        if self.sphere_dpt is not None:
            refraction = {
                "sphere_dpt": self.sphere_dpt,
                "cylinder_dpt": self.cylinder_dpt,
                "axis_deg": self.axis_deg,
            }
        return {
            "refraction": refraction,
            "acuity_logmar": self.acuity_logmar,
            "acuity_category": self.acuity_category,
            "optic_tilt_deg": _pair(self.tilt_nasal_deg, self.tilt_superior_deg, "deg"),
        }


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit: its day, what its picture showed, and what has changed since the first.

    Parameters
    ----------
    day : int
        Days since surgery where the sheets tell, else since the first picture.
    finding : CoverFinding
    change : Change or None
        None at the first visit, and where the picture was refused.
    opacification_score : float or None
        Graded score within the opening, 0 to 4.
    at_visit : AtVisit or None
        From a visit sheet of the same day.
    """

    day: int
    finding: CoverFinding
    change: Change | None = None
    opacification_score: float | None = None
    at_visit: AtVisit | None = None

    def document(self) -> dict[str, Any]:
        """Return the entry of the results."""
        cover, opening = self.finding.cover, self.finding.opening
        least = None if cover is None else cover.min_mm
        return {
            "picture": self.finding.picture,
            "day": self.day,
            "status": self.finding.status,
            "reasons": [
                {"code": one.code, "sentence": one.sentence} for one in self.finding.reasons
            ],
            "cover": None
            if cover is None
            else {
                "min_mm": None
                if least is None
                else _told(Estimate(least.value, least.sd), "mm") or {},
                "mean_mm": _told(cover.mean_mm, "mm"),
                "bare_total_deg": _told(cover.bare_total_deg, "deg"),
                "complete": cover.complete,
            },
            "opening": None
            if opening is None
            else {
                "equivalent_diameter_mm": _told(opening.equivalent_diameter_mm, "mm"),
                "area_mm2": _told(opening.area_mm2, "mm2"),
            },
            "opacification_score": self.opacification_score,
            "at_visit": None if self.at_visit is None else self.at_visit.document(),
            "change": None if self.change is None else self.change.document(),
        }


@dataclass(frozen=True, slots=True)
class BareArc:
    """A bare arc of the last visit and how it has grown.

    Parameters
    ----------
    from_deg, to_deg : float
        Counter-clockwise, examiner's directions in the last picture.
    width_deg, depth_mm, area_mm2 : float
        Depth is the largest distance of the edge outside the optic.
    growth_from_deg_per_month, growth_to_deg_per_month : float or None
        Of each end since a visit, a month ago or more, that shows it too; positive is growth.
    haptic_within_30_deg : bool or None
        None where no haptic axis is known.
    drift_towards_mm : Estimate or None
        Movement of the optic towards the arc's middle since the first visit.
    capsules_touch : bool or None
        Whether a reader marked contact of front and back capsule there; None where nobody looked.
    from_seen, to_seen : bool
        Whether cover is seen beside that end. Where it is not, the arc may go on: width, depth and
        area are the least that they can be.
    """

    from_deg: float
    to_deg: float
    width_deg: float
    depth_mm: float
    area_mm2: float
    growth_from_deg_per_month: float | None
    growth_to_deg_per_month: float | None
    haptic_within_30_deg: bool | None
    drift_towards_mm: Estimate | None
    capsules_touch: bool | None = None
    from_seen: bool = True
    to_seen: bool = True

    def document(self) -> dict[str, Any]:
        """Return the entry of the results; contact of the capsules is marked by hand alone."""
        return {
            "from_deg": round(self.from_deg, 2),
            "to_deg": round(self.to_deg, 2),
            "width_deg": round(self.width_deg, 2),
            "depth_mm": round(self.depth_mm, 4),
            "area_mm2": round(self.area_mm2, 4),
            "ends_seen": {"from": self.from_seen, "to": self.to_seen},
            "growth_deg_per_month": {
                "from": self.growth_from_deg_per_month,
                "to": self.growth_to_deg_per_month,
            },
            "haptic_within_30_deg": self.haptic_within_30_deg,
            "capsules_touch": self.capsules_touch,
            "drift_towards_mm": _told(self.drift_towards_mm, "mm"),
        }


@dataclass(frozen=True, slots=True)
class Foretold:
    """Least cover expected on a day, with the sd of a new measurement's true value."""

    day: int
    least_cover_mm: Estimate


@dataclass(frozen=True, slots=True)
class Healing:
    """One eye through its visits."""

    code: str
    side: Side
    first_day: int
    visits: tuple[Visit, ...]
    bare_arcs: tuple[BareArc, ...] = ()
    forecast: tuple[Foretold, ...] = ()
    flags: tuple[Reason, ...] = ()
    notes: tuple[Reason, ...] = ()
    assumptions: tuple[Assumption, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return the document ``rimwise.healing/1``."""
        return {
            "schema": "rimwise.healing/1",
            "code": self.code,
            "side": self.side,
            "first_day": self.first_day,
            "visits": [visit.document() for visit in self.visits],
            "bare_arcs": [arc.document() for arc in self.bare_arcs],
            "forecast": [
                {"day": one.day, "least_cover_mm": _told(one.least_cover_mm, "mm")}
                for one in self.forecast
            ],
            "flags": [{"code": one.code, "sentence": one.sentence} for one in self.flags],
            "notes": [{"code": one.code, "sentence": one.sentence} for one in self.notes],
            "assumptions": [one.document() for one in self.assumptions],
        }
