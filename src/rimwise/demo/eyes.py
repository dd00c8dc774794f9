"""The eyes of an invented clinic and of its invented surgeon. Nobody here ever existed.

Ranges are plausible for eyes before cataract surgery (common practice, no source); they make
the demonstration believable and stand for nothing measured.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.demo.photos import PhotographedEye, draw_view_deg, draw_waves
from rimwise.demo.scene import RoundShape, area_and_centroid
from rimwise.journey import OpeningMade
from rimwise.records.case import (
    CaseLengths,
    CaseSheet,
    Centres,
    Goal,
    OpeningWish,
    PlannedImplant,
)
from rimwise.records.picture import CorneaSheet
from rimwise.terms.frames import Side, examiner_from_nasal_superior, nasal_superior

CLINIC = "Marrowby Vale Eye House, an invented clinic"
SURGEON = "S-2"
EYES = 40
OPTIC_MM = 6.0
OPTIC_SD_MM = 0.05
INTENDED_MM = 5.1


@dataclass(frozen=True, slots=True)
class Hand:
    """The invented surgeon's true spread, which the demonstration has to find out."""

    bias_mm: tuple[float, float] = (-0.05, 0.04)
    sd_mm: tuple[float, float] = (0.13, 0.12)
    diameter_bias_mm: float = 0.03
    diameter_sd_mm: float = 0.11
    optic_from_rest_sd_mm: float = 0.06
    waves: float = 0.010


@dataclass(frozen=True, slots=True)
class InventedEye:
    """One eye of the series: its biometry and what surgery left behind."""

    code: str
    person: str
    side: Side
    age_years: int
    sex: Literal["female", "male"]
    axial_mm: float
    chamber_depth_mm: float
    lens_thickness_mm: float
    power_dpt: float
    body: PhotographedEye

    @property
    def made(self) -> OpeningMade:
        """What the surgeon truly made, in the terms of the audit."""
        area_mm2, centroid = area_and_centroid(self.body.opening.points_mm(720))
        nasal, superior = nasal_superior(float(centroid[0]), float(centroid[1]), self.side)
        diameter_mm = 2.0 * math.sqrt(area_mm2 / math.pi)
        return OpeningMade(nasal, superior, diameter_mm - INTENDED_MM)


def draw_series(rng: np.random.Generator, hand: Hand | None = None) -> tuple[InventedEye, ...]:
    """Draw the eyes of the series; some persons bring both eyes."""
    series: list[InventedEye] = []
    person = 0
    while len(series) < EYES:
        person += 1
        sides: tuple[Side, ...] = ("right", "left")
        if rng.random() > 0.3:
            sides = (sides[int(rng.integers(2))],)
        age = int(rng.integers(58, 88))
        sex: Literal["female", "male"] = "female" if rng.random() < 0.57 else "male"
        for side in sides[: EYES - len(series)]:
            code = f"E-{len(series) + 1:03d}"
            body = _draw_body(rng, side, hand or Hand())
            axial = float(np.clip(rng.normal(23.6, 1.0), 21.0, 27.5))
            series.append(
                InventedEye(
                    code=code,
                    person=f"P-{person:03d}",
                    side=side,
                    age_years=age,
                    sex=sex,
                    axial_mm=round(axial, 2),
                    chamber_depth_mm=round(float(rng.normal(3.1, 0.3)), 2),
                    lens_thickness_mm=round(float(rng.normal(4.6, 0.35)), 2),
                    # A rule of thumb, so that the list looks right; nothing is computed from it.
                    power_dpt=round(2.0 * (21.0 - 2.6 * (axial - 23.6))) / 2.0,
                    body=body,
                )
            )
    return tuple(series)


def _draw_body(rng: np.random.Generator, side: Side, hand: Hand) -> PhotographedEye:
    """Draw what the hand left behind in one eye."""
    nasal, superior = rng.normal(hand.bias_mm, hand.sd_mm) - rng.normal(
        0.0, hand.optic_from_rest_sd_mm, 2
    )
    x, y = examiner_from_nasal_superior(float(nasal), float(superior), side)
    diameter_mm = rng.normal(INTENDED_MM + hand.diameter_bias_mm, hand.diameter_sd_mm)
    return PhotographedEye(
        side=side,
        opening=RoundShape(float(diameter_mm) / 2.0, (x, y), draw_waves(rng, hand.waves)),
        optic_diameter_mm=float(rng.normal(OPTIC_MM, 0.6 * OPTIC_SD_MM)),
        tilt_deg=draw_view_deg(rng, side, 1.8),
        gap_mm=float(rng.uniform(0.05, 0.20)),
        corneal_radius_mm=float(rng.normal(7.7, 0.2)),
        optic_depth_mm=float(rng.normal(4.5, 0.2)),
        white_to_white_mm=float(rng.normal(11.7, 0.3)),
        working_distance_mm=float(rng.uniform(95.0, 115.0)),
    )


def recorded_earlier(rng: np.random.Generator, eye: InventedEye) -> OpeningMade:
    """What the casebook holds of an eye measured on an earlier day: truth with a reader's error."""
    error = rng.normal(0.0, (0.02, 0.02, 0.03))
    made = eye.made
    return OpeningMade(
        round(made.nasal_mm + float(error[0]), 3),
        round(made.superior_mm + float(error[1]), 3),
        round(made.diameter_error_mm + float(error[2]), 3),
    )


def next_case() -> CaseSheet:
    """Return the case sheet of tomorrow's first patient, invented like the others."""
    return CaseSheet(
        code=f"E-{EYES + 1:03d}",
        side="right",
        corneal_surgery="none",
        person="P-099",
        age_years=71,
        sex="female",
        cornea=CorneaSheet(
            radius_flat_mm=7.80, radius_steep_mm=7.65, steep_axis_deg=92.0, thickness_um=545.0
        ),
        lengths=CaseLengths(
            axial_mm=23.61, chamber_depth_mm=3.15, lens_thickness_mm=4.52, white_to_white_mm=11.8
        ),
        implant=PlannedImplant(optic_diameter_mm=OPTIC_MM, power_dpt=21.0),
        goal=Goal(refraction_dpt=-0.25, least_cover_mm=0.15, p_complete=0.95),
        opening=OpeningWish(centre="lens"),
        centres=Centres(lens_mm=(0.10, 0.02), sd_mm=0.05),
    )
