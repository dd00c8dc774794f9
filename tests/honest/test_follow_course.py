"""Courses of healing: registration recovered, forecasts as sure as they say, practice visits.

Sources: pictures of known truth by an independent program (practice set, when it is there), and
turned copies of a packaged picture; forecasts against eyes drawn from the model's own law, which
proves the arithmetic, nothing about patients.
"""

import json
import math
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from practice import AWAY, FOLDER
from scipy.ndimage import affine_transform

from rimwise.casebook.following import FollowRequest, follow_pictures
from rimwise.exchange.pictures import load_picture
from rimwise.exchange.sheets import picture_sheet_for
from rimwise.follow.changes import SeenVisit, place_in_eye
from rimwise.follow.trend import foretell, usual_healing
from rimwise.measure.photograph import measure_photograph
from rimwise.picture.raster import Raster
from rimwise.records.healing import Healing

VISITS = sorted(FOLDER.glob("visits/*.jpg"))


@cache
def courses() -> tuple[tuple[Healing, dict], ...]:
    done = follow_pictures(FollowRequest(VISITS, {}))
    return tuple(
        (one, json.loads((FOLDER / "visits" / f"{one.code}.truth.json").read_text()))
        for one in done.courses
    )


def changes() -> list[tuple]:
    return [
        (visit, truth["change_from_first"])
        for course, told in courses()
        for visit, truth in zip(course.visits, told["visits"], strict=True)
        if visit.change is not None
    ]


@pytest.mark.skipif(not VISITS, reason=AWAY)
def test_practice_visits_are_within_the_stated_limits() -> None:
    """Area within 2 points, shift within 0.04 mm, turn within 0.5°, in the median."""
    area, shift, turn = [], [], []
    for visit, truth in changes():
        change = visit.change
        nasal, superior = truth["shift_mm_nasal_superior"]
        # What is not told counts as infinitely wrong, as the practice set's own scorer counts it.
        told = change.area_percent
        area.append(math.inf if told is None else abs(told.value - truth["area_percent"]))
        shift.append(
            math.hypot(
                change.shift_nasal_mm.value - nasal, change.shift_superior_mm.value - superior
            )
        )
        turn.append(
            math.inf if change.turn_deg is None else abs(change.turn_deg.value - truth["turn_deg"])
        )
    assert np.median(area) <= 2.0
    assert np.median(shift) <= 0.04
    assert np.median(turn) <= 0.5
    # A turn that was told wrongly is worse than one that was not told.
    assert max(t for t in turn if math.isfinite(t)) < 2.0


@pytest.mark.skipif(not VISITS, reason=AWAY)
def test_the_openings_own_movement_is_recovered() -> None:
    """Against the limbus within 0.04 mm in the median, and its ± holds, as the optic's must."""
    off, pulls = [], []
    for course, told in courses():
        was = told["visits"][0]["capsulotomy"]["centroid_from_optic_mm_eye_axes"]
        nasal_way = 1.0 if course.side == "right" else -1.0
        for visit, truth in zip(course.visits, told["visits"], strict=True):
            change = visit.change
            if change is None or change.opening_nasal_mm is None:
                continue
            now = truth["capsulotomy"]["centroid_from_optic_mm_eye_axes"]
            nasal, superior = truth["change_from_first"]["shift_mm_nasal_superior"]
            # The truth's own axes: x right, y down.
            apart = (
                change.opening_nasal_mm.value - nasal - nasal_way * (now[0] - was[0]),
                change.opening_superior_mm.value - superior + (now[1] - was[1]),
            )
            off.append(math.hypot(*apart))
            pulls += [one / change.opening_nasal_mm.sd for one in apart]
    assert len(off) >= len(changes()) - 2
    assert np.median(off) <= 0.04
    assert np.mean(np.abs(pulls) <= 2.0) >= 0.9


@pytest.mark.skipif(not VISITS, reason=AWAY)
def test_practice_changes_lie_within_their_errors() -> None:
    pulls = []
    for visit, truth in changes():
        change = visit.change
        nasal, superior = truth["shift_mm_nasal_superior"]
        if change.area_percent is not None:
            pulls.append(
                (change.area_percent.value - truth["area_percent"]) / change.area_percent.sd
            )
        pulls += [
            (change.shift_nasal_mm.value - nasal) / change.shift_nasal_mm.sd,
            (change.shift_superior_mm.value - superior) / change.shift_superior_mm.sd,
        ]
        if change.turn_deg is not None:
            pulls.append((change.turn_deg.value - truth["turn_deg"]) / change.turn_deg.sd)
    assert np.mean(np.abs(pulls) <= 2.0) >= 0.9
    assert np.median(np.abs(pulls)) >= 0.2


def packaged() -> SeenVisit:
    path = Path(str(resources.files("rimwise.demo") / "pictures" / "photo_easy_001.jpg"))
    loaded, sheet = load_picture(path), picture_sheet_for(path)
    finding = measure_photograph(loaded.raster, sheet, picture=path.name, sha256=loaded.sha256)
    return SeenVisit(0, loaded.raster, sheet, finding)


@pytest.mark.parametrize("roll_deg", [-6.0, 11.0])
def test_a_rolled_copy_has_not_changed(roll_deg: float) -> None:
    first = packaged()
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    # Output (row, column) to input, for a counter-clockwise turn of the picture by roll_deg.
    back = np.array([[c, s], [-s, c]])
    pixels = first.raster.pixels
    middle = (np.array(pixels.shape[:2]) - 1.0) / 2.0
    planes = [
        affine_transform(
            pixels[..., k].astype(float), back, middle - back @ middle, order=1, mode="nearest"
        )
        for k in range(3)
    ]
    turned = Raster(np.clip(np.stack(planes, axis=-1), 0, 255).astype(np.uint8))
    finding = measure_photograph(turned, first.sheet, picture="turned.jpg", sha256="")
    place = place_in_eye(first, SeenVisit(30, turned, first.sheet, finding))
    assert place is not None
    assert place.roll_deg == pytest.approx(roll_deg, abs=0.15)
    assert np.hypot(*place.shift_mm) < 0.02


def test_a_picture_held_sideways_has_not_changed() -> None:
    """Turned by a quarter with its sheet: what the sheet tells is no roll."""
    first = packaged()
    turned = Raster(np.ascontiguousarray(np.rot90(first.raster.pixels)))
    sheet = replace(first.sheet, superior_deg=(first.sheet.superior_deg + 90.0) % 360.0)
    finding = measure_photograph(turned, sheet, picture="turned.jpg", sha256="")
    place = place_in_eye(first, SeenVisit(30, turned, sheet, finding))
    assert place is not None
    assert place.roll_deg == pytest.approx(0.0, abs=0.1)
    assert np.hypot(*place.shift_mm) < 0.01


def test_a_mirrored_copy_is_not_laid_on_its_original() -> None:
    first = packaged()
    other = replace(first, sheet=replace(first.sheet, mirrored=True))
    assert place_in_eye(first, other) is None


def test_another_eye_is_not_laid_on_this_one() -> None:
    first = packaged()
    rng = np.random.default_rng(3)
    noise = rng.integers(60, 120, first.raster.pixels.shape, dtype=np.uint8)
    assert place_in_eye(first, replace(first, raster=Raster(noise))) is None


def test_forecasts_hold_as_often_as_they_say() -> None:
    usual, _ = usual_healing()
    rng = np.random.default_rng(20260501)
    spread = math.sqrt(math.log1p((usual.settle_sd_day / usual.settle_day) ** 2))
    days, held, eyes = np.array([1.0, 7.0, 30.0]), 0, 1500
    for _ in range(eyes):
        settle = usual.settle_day * math.exp(spread * rng.normal() - 0.5 * spread**2)
        change = usual.change_mm + usual.change_sd_mm * rng.normal()
        every = np.append(days, 365.0)
        late = usual.late_sd_mm * np.sqrt(np.diff(every, prepend=0.0) / 365.0)
        true = rng.normal(0.25, 0.2) + change * -np.expm1(-every / settle)
        true += np.cumsum(late * rng.normal(size=4)) + usual.wander_sd_mm * rng.normal(size=4)
        seen = true[:3] + 0.02 * rng.normal(size=3)
        told = foretell(days, seen, np.full(3, 0.02), (365,), usual)[0].least_cover_mm
        low, high = told.interval()
        held += low <= true[3] <= high
    # 95 % with three standard errors of 1,500 eyes.
    assert 0.93 < held / eyes < 0.97


@pytest.mark.parametrize("course", ["hyperbola", "evenly", "late"])
def test_forecasts_for_eyes_that_heal_otherwise(course: str) -> None:
    """Courses that the law does not know, the late one the one to be feared: seldom outside."""
    usual, _ = usual_healing()
    rng = np.random.default_rng(20261126)
    days, held, eyes = np.array([1.0, 7.0, 30.0, 90.0]), 0, 400
    every = np.append(days, 365.0)
    shapes = {
        "hyperbola": every / (every + usual.settle_day),
        "evenly": every / 365.0,
        "late": 1.0 / (1.0 + np.exp(-(every - 120.0) / 20.0)),
    }
    for _ in range(eyes):
        change = usual.change_mm + usual.change_sd_mm * rng.normal()
        true = 0.25 + change * shapes[course] + usual.wander_sd_mm * rng.normal(size=5)
        seen = true[:4] + 0.02 * rng.normal(size=4)
        told = foretell(days, seen, np.full(4, 0.02), (365,), usual)[0].least_cover_mm
        low, high = told.interval()
        held += low <= true[4] <= high
    # 95 % cannot be promised for a law that is not known; one in eight outside is the most.
    assert held / eyes > 0.875


def test_more_visits_make_a_forecast_surer() -> None:
    usual, _ = usual_healing()
    few = foretell(np.array([1.0]), np.array([0.2]), np.array([0.02]), (365,), usual)
    many = foretell(np.array([1.0, 30.0, 90.0]), np.full(3, 0.2), np.full(3, 0.02), (365,), usual)
    assert many[0].least_cover_mm.sd < few[0].least_cover_mm.sd
