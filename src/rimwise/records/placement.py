"""Where the optic should sit behind a given opening: behind ``rimwise.place/1``.

All places are in real mm at the optic plane, in the examiner's frame, from the centre of the
optic where it is now. *Today* is where it can be put; *rest* is where it will stay: two things.
"""

from dataclasses import dataclass
from typing import Any, Literal

from rimwise.records.assumption import Assumption
from rimwise.records.cover import Reason
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, nasal_superior

Point = tuple[float, float]
Arc = tuple[float, float]
PlaceStatus = Literal["placed", "partial", "refused"]


@dataclass(frozen=True, slots=True)
class Spot:
    """One place of the optic's centre and the cover it gives.

    Parameters
    ----------
    at_mm : (float, float)
    least_cover_mm : float
        Over the directions whose edge was seen; unseen ones can only lower it.
    at_deg : float
        Direction of the least cover, about the optic's centre there.
    bare_arcs_deg : tuple of (from, to)
    """

    at_mm: Point
    least_cover_mm: float
    at_deg: float
    bare_arcs_deg: tuple[Arc, ...]


@dataclass(frozen=True, slots=True)
class Today:
    """Where the optic can be put now.

    Parameters
    ----------
    best : Spot
        Greatest least cover: centre of the smallest circle about the edge.
    sd_mm : float
        Of the best centre's place.
    margin_mm : Estimate
        Least cover there; how far the optic may miss and still be covered all round.
    complete_region_mm : tuple of points
        Outline of all centres with complete cover, counter-clockwise; empty where there is none.
    region_area_mm2 : float
    least_bare : Spot or None
        Where no place covers all round: the one with the least bare arc within reach.
    """

    best: Spot
    sd_mm: float
    margin_mm: Estimate
    complete_region_mm: tuple[Point, ...]
    region_area_mm2: float
    least_bare: Spot | None


@dataclass(frozen=True, slots=True)
class TradeOffPoint:
    """The greatest least cover that a distance from the visual axis allows."""

    from_visual_axis_mm: float
    least_cover_mm: float
    at_mm: Point


@dataclass(frozen=True, slots=True)
class TradeOff:
    """Cover against centration on the visual axis; the first point lies on the axis."""

    visual_axis_mm: Point
    sd_mm: float
    origin: str
    curve: tuple[TradeOffPoint, ...]


@dataclass(frozen=True, slots=True)
class Rest:
    """Where bag and haptics are expected to hold the optic.

    At a visit ``p_complete`` is what the picture itself told, None where it told nothing; else it
    is at most so where part of the edge was not seen.
    """

    mean_mm: Point
    sd_mm: Point
    least_cover_mm: float
    p_complete: float | None
    origin: str


@dataclass(frozen=True, slots=True)
class AngleGain:
    """The least cover found with the haptics at one angle, and the gain over now."""

    haptic_axis_deg: float
    least_cover_mm: Estimate
    gain_mm: Estimate


@dataclass(frozen=True, slots=True)
class Turning:
    """What turning the implant is known to do for cover.

    ``best_turn_deg`` is None wherever no gain was measured.
    """

    code: Literal["gain", "no-measurable-gain", "bag-unknown", "toric"]
    sentence: str
    best_turn_deg: float | None
    by_angle: tuple[AngleGain, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedOpening:
    """A round opening as a plan has it, mm from where the optic is expected to rest.

    Parameters
    ----------
    code : str
    side : "right" or "left"
    optic_diameter_mm, diameter_mm : float
    at_mm, sd_mm : (float, float)
        Of its centre, and of that law.
    visual_axis_mm : (float, float)
    visual_axis_sd_mm : float or None
        None where a prior stands in for its place.
    p_complete : float
    """

    code: str
    side: Side
    optic_diameter_mm: float
    diameter_mm: float
    at_mm: Point
    sd_mm: Point
    visual_axis_mm: Point
    visual_axis_sd_mm: float | None
    p_complete: float


@dataclass(frozen=True, slots=True)
class Placement:
    """The whole answer for one picture; a refused one has no ``now`` and no ``today``.

    ``edge_mm`` holds the seen points of the edge, for drawings; it is not written.
    """

    picture: str
    side: Side
    status: PlaceStatus
    reasons: tuple[Reason, ...]
    optic_diameter_mm: float | None = None
    seen_deg: int = 0
    now: Spot | None = None
    today: Today | None = None
    trade_off: TradeOff | None = None
    rest: Rest | None = None
    turning: Turning | None = None
    assumptions: tuple[Assumption, ...] = ()
    edge_mm: tuple[Point, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return the placement as ``rimwise.place/1``, ready for JSON (docs/results.md)."""
        return {
            "schema": "rimwise.place/1",
            "picture": self.picture,
            "side": self.side,
            "status": self.status,
            "reasons": [{"code": one.code, "sentence": one.sentence} for one in self.reasons],
            "optic_diameter_mm": self.optic_diameter_mm,
            "seen_deg": self.seen_deg,
            "now": None if self.now is None else _spot(self.now, self.side),
            "today": None if self.today is None else _today(self.today, self.side),
            "trade_off": None if self.trade_off is None else _trade(self.trade_off, self.side),
            "rest": None if self.rest is None else _rest(self.rest, self.side),
            "turning": None if self.turning is None else _turning(self.turning),
            "assumptions": [one.document() for one in self.assumptions],
        }


def _vector(at_mm: Point, side: Side) -> dict[str, float]:
    nasal, superior = nasal_superior(*at_mm, side)
    return {"x_mm": at_mm[0], "y_mm": at_mm[1], "nasal_mm": nasal, "superior_mm": superior}


def _estimate(estimate: Estimate) -> dict[str, Any]:
    return {"value": estimate.value, "sd": estimate.sd, "unit": "mm"}


def _spot(spot: Spot, side: Side) -> dict[str, Any]:
    return {
        "centre": _vector(spot.at_mm, side),
        "least_cover_mm": spot.least_cover_mm,
        "at_deg": spot.at_deg,
        "bare_arcs_deg": [list(arc) for arc in spot.bare_arcs_deg],
    }


def _today(today: Today, side: Side) -> dict[str, Any]:
    bare = today.least_bare
    return {
        "best": _spot(today.best, side) | {"centre_sd_mm": today.sd_mm},
        "margin_mm": _estimate(today.margin_mm),
        "complete_region_mm": [list(point) for point in today.complete_region_mm],
        "region_area_mm2": today.region_area_mm2,
        "least_bare": None if bare is None else _spot(bare, side),
    }


def _trade(trade: TradeOff, side: Side) -> dict[str, Any]:
    return {
        "visual_axis": _vector(trade.visual_axis_mm, side) | {"sd_mm": trade.sd_mm},
        "from": trade.origin,
        "curve": [
            {
                "from_visual_axis_mm": point.from_visual_axis_mm,
                "least_cover_mm": point.least_cover_mm,
                "centre": _vector(point.at_mm, side),
            }
            for point in trade.curve
        ],
    }


def _rest(rest: Rest, side: Side) -> dict[str, Any]:
    return {
        "mean": _vector(rest.mean_mm, side),
        "sd_mm": {"nasal": rest.sd_mm[0], "superior": rest.sd_mm[1]},
        "least_cover_mm": rest.least_cover_mm,
        "p_complete": rest.p_complete,
        "from": rest.origin,
    }


def _turning(turning: Turning) -> dict[str, Any]:
    return {
        "code": turning.code,
        "sentence": turning.sentence,
        "best_turn_deg": turning.best_turn_deg,
        "by_angle": [
            {
                "haptic_axis_deg": one.haptic_axis_deg,
                "least_cover_mm": _estimate(one.least_cover_mm),
                "gain_mm": _estimate(one.gain_mm),
            }
            for one in turning.by_angle
        ],
    }
