"""Cover by direction with its law of error: which errors go together, and over which arcs."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from rimwise.geometry.fourier import FourierSettings, fourier_radius, fourier_terms
from rimwise.measure.aslant import DRAWN, set_straight, usual_aslant
from rimwise.measure.edges import Edges
from rimwise.measure.enlarged import enlarged
from rimwise.measure.torn import tears_unseen, torn_errors
from rimwise.picture.rim import rim_basis
from rimwise.stats.sampling import stream
from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.frames import Side

DRAWS = 800
_FEWEST_DEG = 24  # fewer directions carry no curve


@dataclass(frozen=True, slots=True)
class WidthSettings:
    """Errors that no picture shows by itself, in mm at the optic plane, with reasons.

    Parameters
    ----------
    oval_sd_mm : float
        Cornea and view enlarge the field unequally by direction: two components of an oval.
    place_sd_px : float
        Where in its own profile an edge lies is uncertain by this, alike all round, where the
        picture does not tell.
    edge_arc_deg : float
        Arc over which localisation errors of an edge go together (fold, fibre, JPEG block).
    crowd_sd_mm, crowd_mm, crowd_arc_deg : float
        Where the opening's edge runs within ``crowd_mm`` of the rim, the profiles of the two lines
        overlap and draw each other by this much, alike over this arc.
    waviness_mm : tuple of float
        How far an opening's edge strays from a centred circle, sd by harmonic 1, 2, 3 and, for
        harmonics k above, waviness / k²: what keeps the curve finite across a gap.
    """

    oval_sd_mm: float = 0.006
    place_sd_px: float = 0.7
    edge_arc_deg: float = 8.0
    crowd_sd_mm: float = 0.030
    crowd_mm: float = 0.080
    crowd_arc_deg: float = 25.0
    waviness_mm: tuple[float, float, float] = (0.35, 0.12, 0.60)
    harmonics: int = 18


SETTINGS = WidthSettings()
_EIGHTHS = 8
_ALIKE = {"rim": 5, "place": 1, "oval": 2, "magnification": 1, "optic": 1} | dict.fromkeys(DRAWN, 1)


@dataclass(frozen=True, slots=True)
class WidthLaw:
    """Cover in 360 directions and draws of what it may be.

    Parameters
    ----------
    width_mm : array (360,)
        Cover; measured where ``found``, else from the curve through what is seen.
    seen : array (360,) of bool
        Directions in which a reader can verify both edges.
    found : array (360,) of bool
        Directions in which the opening's edge was found and the rim lies in sight, faint or plain.
    sd_mm, sd_given_optic_mm : array (360,)
        Standard deviation, in all and with the optic's diameter taken as exact.
    draws_mm, draws_given_optic_mm : array (800, 360)
        Equally likely courses of the cover.
    radius_mm : array (360,)
        Radius of the opening about the optic's centre.
    optic_scale : array (800, 1)
        By how much each draw's optic is larger than told; every length grows with it.
    parts_mm : dict of array (800, 360) or (800, 1)
        By source, what the draws hold of it; the optic's own size is in ``optic_scale``.
    """

    width_mm: FloatArray
    seen: BoolArray
    found: BoolArray
    sd_mm: FloatArray
    sd_given_optic_mm: FloatArray
    draws_mm: FloatArray
    draws_given_optic_mm: FloatArray
    radius_mm: FloatArray
    optic_scale: FloatArray
    parts_mm: dict[str, FloatArray]


def width_law(
    edges: Edges, optic_diameter_mm: float, optic_diameter_sd_mm: float, side: Side
) -> WidthLaw:
    """How wide is the cover in each direction, and how sure is that?

    Notes
    -----
    Own derivation. Along a direction of the picture rim and opening edge share one perspective, so
    cover = R (1 - r_opening / r_rim) with R the optic's true radius: the scale of the picture, the
    camera's distance and the eye's tilt drop out to first order. What is left is that the opening
    lies before the rim and nearer to the axis: parallax, unequal magnification and a scale that
    grows across the field. Their means by the usual gap and direction of view (published table
    "photograph") are taken off, their scatter goes into the ±. Other errors: the rim's ellipse, the
    edge's localisation, what the curve does in gaps, the optic's tolerance; each is drawn with its
    own correlation.
    """
    radius = 0.5 * optic_diameter_mm
    per_px = radius / edges.rim_px
    drawn = _standard_draws()
    aslant = usual_aslant(side, drawn)
    seen = radius * edges.opening_px / edges.rim_px
    measured = set_straight(seen / enlarged(seen, radius).value, radius, aslant)
    local_sd = float(np.median(per_px)) * edges.opening_sd_px
    opening, gap_draws = _through_gaps(measured, edges.opening_found, local_sd)
    parts = _common_parts(edges, opening, (per_px, local_sd), drawn)
    parts |= aslant.errors_mm(opening, radius)
    parts["hidden-part"] = np.where(edges.opening_found, 0.0, gap_draws)
    if edges.torn_px is not None and edges.torn_px.any():
        parts["opening-edge"] += torn_errors(edges.torn_px * per_px, DRAWS)
    if edges.broken is not None and edges.broken.any():
        parts["hidden-part"] -= tears_unseen(edges.broken, radius - opening, DRAWS)
    given = _summed(parts) + (radius - opening)
    scale = np.asarray(1.0 + drawn["optic"] * optic_diameter_sd_mm / optic_diameter_mm)
    total = given * scale
    return WidthLaw(
        width_mm=radius - opening,
        seen=edges.both_seen,
        found=edges.opening_found & ~edges.rim_hidden,
        sd_mm=_scatter(total),
        sd_given_optic_mm=_scatter(given),
        draws_mm=total,
        draws_given_optic_mm=given,
        radius_mm=opening,
        optic_scale=scale,
        parts_mm=parts,
    )


def with_errors(law: WidthLaw, errors_mm: FloatArray) -> WidthLaw:
    """How wide is the cover when its course has these errors (m, 360) besides?"""
    draws_given = law.draws_given_optic_mm + errors_mm
    parts = law.parts_mm | {"opening-edge": law.parts_mm["opening-edge"] + errors_mm}
    total = draws_given * law.optic_scale
    return replace(
        law,
        draws_mm=total,
        draws_given_optic_mm=draws_given,
        sd_mm=_scatter(total),
        sd_given_optic_mm=_scatter(draws_given),
        parts_mm=parts,
    )


def _summed(parts: Mapping[str, FloatArray]) -> FloatArray:
    """Add the parts up in place: a copy for each would take most of the time."""
    first, *others = parts.values()
    total = np.array(first)
    for part in others:
        total += part
    return total


def _scatter(draws: FloatArray) -> FloatArray:
    """Return the sd of each direction's draws, without copies of all of them."""
    mean = draws.mean(axis=0)
    squared = np.einsum("ij,ij->j", draws, draws) / len(draws)
    return np.asarray(np.sqrt(np.maximum(squared - mean**2, 0.0)))


def _standard_draws() -> dict[str, FloatArray]:
    """Draw what is alike all round, standard normal, (800, k) by name.

    They have mean 0, variance 1 and no correlation exactly, all together and every eighth of them
    alone (of which costly numbers are worked out), so that chance makes no ± larger than another.
    """
    count = sum(_ALIKE.values())
    raw = stream(0, "alike all round").normal(size=(_EIGHTHS, DRAWS // _EIGHTHS, count))
    even, _ = np.linalg.qr(raw - raw.mean(axis=1, keepdims=True))
    even *= np.sqrt(DRAWS // _EIGHTHS)
    ends = np.cumsum(list(_ALIKE.values()))[:-1]
    in_turn = even.swapaxes(0, 1).reshape(DRAWS, count)
    return dict(zip(_ALIKE, np.split(in_turn, ends, axis=1), strict=True))


def _through_gaps(
    measured: FloatArray, seen: BoolArray, local_sd: float
) -> tuple[FloatArray, FloatArray]:
    """Return the radius with gaps bridged by a curve, and draws of the bridge's error."""
    if seen.all() or seen.sum() < _FEWEST_DEG:
        return measured, np.zeros((DRAWS, len(measured)))
    angles = np.radians(np.arange(360.0))
    first, second, rest = SETTINGS.waviness_mm
    prior = (first, second, *(rest / k**2 for k in range(3, SETTINGS.harmonics + 1)))
    rules = FourierSettings(
        robust=False,
        prior_sd=prior,
        sd=max(local_sd, 0.005),
        correlated_points=SETTINGS.edge_arc_deg,
    )
    curve = fourier_radius(angles[seen], measured[seen], SETTINGS.harmonics, settings=rules)
    opening = np.where(seen, measured, curve.radius(angles))
    terms = fourier_terms(angles, SETTINGS.harmonics)
    standard = stream(0, "gaps").normal(size=(DRAWS, terms.shape[1]))
    return opening, _drawn(standard, terms, curve.covariance)


def _drawn(standard: FloatArray, terms: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return courses (m, 360) of a sum of terms (360, k) with this covariance of their shares."""
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(standard @ (terms @ root).T)


def _common_parts(
    edges: Edges,
    opening: FloatArray,
    scale: tuple[FloatArray, float],
    drawn: dict[str, FloatArray],
) -> dict[str, FloatArray]:
    """Draw the errors of both edges and of unequal magnification, each by its source."""
    per_px, local_sd = scale
    edge, crowded = _rough()
    # A rim has five numbers, whichever way they are turned: its errors are drawn in their terms.
    basis = rim_basis(np.radians(np.arange(360.0)))
    across = np.linalg.pinv(basis)
    rim = _drawn(drawn["rim"], basis, across @ edges.rim_covariance @ across.T)
    usual_px = edges.px * SETTINGS.place_sd_px
    told_px = edges.opening_place_sd_px
    place_mm = float(np.median(per_px)) * (usual_px if told_px is None else told_px)
    twice = 2.0 * np.radians(np.arange(360.0))
    oval = drawn["oval"] @ np.stack([np.cos(twice), np.sin(twice)])
    radius = float(np.mean(edges.rim_px * per_px))
    width = radius - opening
    crowd = SETTINGS.crowd_sd_mm * np.exp(-0.5 * (width / SETTINGS.crowd_mm) ** 2)
    # In place: most of the time would go into fresh memory for each sum.
    local = crowded * crowd
    local += drawn["place"] * place_mm
    local += edge * local_sd
    rim *= per_px * opening / radius
    oval *= SETTINGS.oval_sd_mm
    oval += drawn["magnification"] * (opening * enlarged(opening, radius).sd)
    return {"optic-edge": rim, "opening-edge": local, "magnification": oval}


@cache
def placed_by_hand() -> FloatArray:
    """Return the draws (800, 360) of a course through placed points, the same for every picture."""
    return _fixed(stream(0, "placed by hand").normal(size=(DRAWS, 360)))


@cache
def _rough() -> tuple[FloatArray, FloatArray]:
    """Return the draws of an edge's own roughness: the same for every picture, and hands wait."""
    rng = stream(0, "cover")
    edge, crowded = (
        _fixed(_along(rng.normal(size=(DRAWS, 360)), arc_deg))
        for arc_deg in (SETTINGS.edge_arc_deg, SETTINGS.crowd_arc_deg)
    )
    return edge, crowded


def _fixed(draws: FloatArray) -> FloatArray:
    draws.flags.writeable = False
    return draws


def _along(noise: FloatArray, arc_deg: float) -> FloatArray:
    """Give white noise round a turn a correlation over an arc, at unit variance."""
    frequency = np.fft.rfftfreq(noise.shape[1], d=1.0)
    shape = np.exp(-2.0 * (np.pi * frequency * arc_deg / 2.355) ** 2)
    smooth = np.fft.irfft(np.fft.rfft(noise, axis=1) * shape, n=noise.shape[1], axis=1)
    full = np.r_[shape, shape[1:-1]] if noise.shape[1] % 2 == 0 else np.r_[shape, shape[1:]]
    return np.asarray(smooth / np.sqrt(np.mean(full**2)))
