"""The edge of an opening as the optic meets it: points about the optic's present centre."""

import math
from dataclasses import dataclass

import numpy as np

from rimwise.geometry.cover import bare_arcs
from rimwise.records.cover import CoverFinding
from rimwise.records.placement import Spot
from rimwise.terms.arrays import FloatArray
from rimwise.terms.errors import MeasurementRefused, WrongInput
from rimwise.terms.frames import direction_deg

_LEAST_SEEN_DEG = 180  # fewer, and a circle about the seen part says nothing about the rest
_DIRECTIONS = 360


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """An opening's edge behind which an optic is to be placed; real mm at the optic plane.

    Parameters
    ----------
    points_mm : array, shape (n, 2)
        Seen points of the edge in the order of their direction, from the optic's present centre,
        examiner's frame.
    sd_mm : array, shape (n,)
        Of each point along its direction.
    optic_radius_mm : float
    seen_deg : int
        Directions that were seen; 360 is all.
    """

    points_mm: FloatArray
    sd_mm: FloatArray
    optic_radius_mm: float
    seen_deg: int

    @property
    def whole(self) -> bool:
        """Return whether the edge was seen all the way round."""
        return self.seen_deg >= _DIRECTIONS

    def least_cover_mm(self, centres_mm: FloatArray) -> FloatArray:
        """Which least cover does an optic at each of these centres (..., 2) have?

        The farthest point of the edge decides, whatever the directions are counted about.
        """
        centres = np.asarray(centres_mm, dtype=np.float64)
        # |p - c|² = |p|² - 2 p·c + |c|²: one matrix product, and only the farthest gets a root.
        far = ((self.points_mm**2).sum(axis=1) - 2.0 * centres @ self.points_mm.T).max(axis=-1)
        return np.asarray(self.optic_radius_mm - np.sqrt(far + (centres**2).sum(axis=-1)))

    def spot(self, centre_mm: tuple[float, float]) -> Spot:
        """What cover does an optic with this centre have?"""
        gap = self.points_mm - np.asarray(centre_mm)
        reach = np.hypot(gap[:, 0], gap[:, 1])
        far = int(np.argmax(reach))
        at = direction_deg(math.degrees(math.atan2(gap[far, 1], gap[far, 0])))
        least = float(self.optic_radius_mm - reach[far])
        return Spot(centre_mm, least, at, self.bare_arcs_deg(centre_mm))

    def bare_arcs_deg(self, centre_mm: tuple[float, float]) -> tuple[tuple[float, float], ...]:
        """Over which directions about this centre would the optic be bare, among those seen?"""
        gap = self.points_mm - np.asarray(centre_mm)
        angle = np.degrees(np.arctan2(gap[:, 1], gap[:, 0])) % 360.0
        order = np.argsort(angle)
        angle, reach = angle[order], np.hypot(gap[order, 0], gap[order, 1])
        wanted = np.arange(_DIRECTIONS, dtype=np.float64)
        width = self.optic_radius_mm - np.interp(wanted, angle, reach, period=360.0)
        if not self.whole:
            apart = np.abs((wanted[:, None] - angle + 180.0) % 360.0 - 180.0).min(axis=1)
            width[apart > 1.5] = np.nan
        return bare_arcs(width)


def edge_of_finding(finding: CoverFinding) -> Edge:
    """Which edge did this picture show?

    Parameters
    ----------
    finding : CoverFinding
        Its cover by direction gives the edge: optic radius less cover. Where the cover is not
        known the edge is left out, never filled in.

    Raises
    ------
    MeasurementRefused
        Nothing was measured ("no-cover"), or less than half of the edge ("edge-unseen").

    Examples
    --------
    >>> edge_of_finding(CoverFinding("e.jpg", "0" * 64, "right", "visit", "refused"))
    Traceback (most recent call last):
    ...
    rimwise.terms.errors.MeasurementRefused: e.jpg shows no cover, so there is no edge to place...
    """
    if finding.cover is None or finding.optic is None:
        raise MeasurementRefused(
            "no-cover",
            f"{finding.picture} shows no cover, so there is no edge to place an optic behind; "
            "measure a picture that shows optic and opening.",
        )
    widths = finding.cover.width_mm
    seen = [k for k, width in enumerate(widths) if width is not None]
    if len(seen) < _LEAST_SEEN_DEG:
        raise MeasurementRefused(
            "edge-unseen",
            f"{finding.picture} shows the edge over {len(seen)}° of 360°, and at least "
            f"{_LEAST_SEEN_DEG}° are needed to say where an optic should sit; take another picture "
            "with the pupil wider.",
        )
    radius = finding.optic.diameter_mm / 2.0
    theta = np.radians(np.array(seen, dtype=np.float64))
    reach = radius - np.array([widths[k] for k in seen], dtype=np.float64)
    scatter = [finding.cover.sd_mm[k] for k in seen]
    sd = np.array([0.0 if one is None else one for one in scatter])
    points = np.stack([reach * np.cos(theta), reach * np.sin(theta)], axis=-1)
    return Edge(points, sd, radius, len(seen))


def edge_of_radii(radii_mm: FloatArray, optic_diameter_mm: float) -> Edge:
    """Which edge has these radii in equal steps from 0° about the optic's present centre?

    Raises
    ------
    WrongInput
        Fewer than eight radii, or one that is not above 0.

    Examples
    --------
    >>> round(float(edge_of_radii(np.full(360, 2.5), 6.0).least_cover_mm(np.zeros(2))), 9)
    0.5
    """
    radii = np.asarray(radii_mm, dtype=np.float64)
    if radii.ndim != 1 or len(radii) < 8 or not (np.isfinite(radii) & (radii > 0.0)).all():
        raise WrongInput(f"an edge is a row of at least 8 radii above 0 mm, got {radii.shape}")
    theta = np.arange(len(radii)) * (2.0 * math.pi / len(radii))
    points = np.stack([radii * np.cos(theta), radii * np.sin(theta)], axis=-1)
    return Edge(points, np.zeros(len(radii)), optic_diameter_mm / 2.0, _DIRECTIONS)


def edge_of_circle(
    diameter_mm: float, centre_mm: tuple[float, float], optic_diameter_mm: float
) -> Edge:
    """Which edge has a planned round opening, its centre so far from the optic's?

    Examples
    --------
    >>> edge = edge_of_circle(5.0, (0.2, 0.0), 6.0)
    >>> round(float(edge.least_cover_mm(np.zeros(2))), 9)
    0.3
    """
    theta = np.arange(2 * _DIRECTIONS) * (math.pi / _DIRECTIONS)
    ring = 0.5 * diameter_mm * np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    points = ring + np.asarray(centre_mm)
    return Edge(points, np.zeros(len(points)), optic_diameter_mm / 2.0, _DIRECTIONS)
