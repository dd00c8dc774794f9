"""Drawn eyes are found again from their reflexes, and the claimed ± is shown to be true.

The truth is made by the exact trace of a drawn eye (its unknown numbers drawn from their spreads,
lens and gaze from their priors), the pupil's ellipse through the general trace; the inverse knows
only the best values. Reflexes carry 10 µm of noise.
"""

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from rimwise.eye.build import eye_model
from rimwise.eye.camera import Camera, world_from_eye
from rimwise.eye.draws import drawn_eye
from rimwise.eye.known import Known
from rimwise.eye.model import EyeModel
from rimwise.eye.seen import Sight
from rimwise.eye.this_eye import eye_record
from rimwise.published.load import published_value
from rimwise.purkinje.fit import PlacePriors
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.inverse import eye_from_reflexes, prepared
from rimwise.purkinje.scene import scene_eye
from rimwise.purkinje.setup import SetUp
from rimwise.records.eye import EyePose, EyeRecord, ReflexSighting
from rimwise.records.picture import CorneaSheet
from rimwise.terms.errors import MeasurementRefused, WrongInput

PX_PER_MM = 50.0
SETUP = SetUp(
    Camera.in_front(200.0, PX_PER_MM, (640.0, 512.0)),
    ((-8.3, 0.0, 200.0), (8.3, 0.0, 200.0), (0.0, 12.0, 195.0)),
)
PRIORS = PlacePriors(shift_mm=2.0, depth_mm=0.7, turn_deg=3.0)
NOISE_PX = 0.010 * PX_PER_MM
RING = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)


def known(lens: str) -> EyeRecord:
    cornea = CorneaSheet(radius_flat_mm=7.80, radius_steep_mm=7.65, steep_axis_deg=92.0)
    deep = 3.15 if lens == "natural" else 4.6
    thick = 4.52 if lens == "natural" else None
    return eye_record(Known("right", lens, cornea, 71.0, deep, thick, 23.6, 11.8, 7.0))


def truth(record: EyeRecord, rng: np.random.Generator) -> tuple[EyeModel, EyePose, np.ndarray]:
    """Draw an eye, its gaze and its lens; return also what the inverse is asked for."""
    eye = eye_model(drawn_eye(record, rng))
    # The same plane of the limbus and pupil's size as the inverse takes for granted.
    eye = replace(eye, pupil_diameter_mm=record.value("pupil_diameter_mm"))
    turn = np.radians(PRIORS.turn_deg) * rng.standard_normal(2)
    shift = np.array([PRIORS.shift_mm, PRIORS.shift_mm, PRIORS.depth_mm]) * rng.standard_normal(3)
    tilt = np.radians(2.5) * rng.standard_normal(2)
    lens = 0.2 * rng.standard_normal(2)
    eye = eye.with_lens(tuple(tilt), tuple(lens))
    pose = EyePose(tuple(turn), tuple(shift))
    return eye, pose, np.concatenate([np.degrees(turn), np.degrees(tilt), lens])


def sighting(
    record: EyeRecord, eye: EyeModel, pose: EyePose, rng: np.random.Generator
) -> ReflexSighting:
    """What a frame of this eye holds, with noise."""
    found = {}
    for one in reflexes(eye, pose, SETUP, engine="compiled"):
        noisy = np.array(one.px) + NOISE_PX * rng.standard_normal(2)
        noisy = tuple(noisy) if one.status == "seen" else None
        found.setdefault(one.name, []).append(noisy)
    sight = Sight(eye, pose, SETUP.camera)
    (x, y), radius = eye.pupil_mm, eye.pupil_diameter_mm / 2.0
    ring = np.column_stack([x + radius * np.cos(RING), y + radius * np.sin(RING), 0 * RING])
    ring[:, 2] = -eye.stop_depth_mm
    pupil = sight.project(ring).mean(axis=0) + 1.0 * rng.standard_normal(2)
    width, depth = scene_eye(record, 13.5).limbus_mm
    # The visible limbus lies off the corneal axis as the published spread says.
    off_mm = published_value("eye_priors", "limbus_from_corneal_axis").sd or 0.0
    lx, ly = off_mm * rng.standard_normal(2)
    rim = np.column_stack([lx + width * np.cos(RING), ly + width * np.sin(RING), 0 * RING - depth])
    world = world_from_eye(pose, rim)
    camera = SETUP.camera
    limbus = camera.px_from_slopes(camera.slopes(world)).mean(axis=0)
    limbus = limbus + 2.0 * rng.standard_normal(2)
    return ReflexSighting(
        {name: tuple(places) for name, places in found.items()},
        NOISE_PX,
        tuple(pupil),
        1.0,
        tuple(limbus),
        2.0,
    )


def run(lens: str, seed: int, count: int):
    """Return errors, claimed sds and fits of so many drawn eyes; a refusal counts as a failure."""
    rng, record = np.random.default_rng(seed), known(lens)
    errors, sds, fits, failures = [], [], [], 0
    for _ in range(count):
        eye, pose, asked = truth(record, rng)
        seen = sighting(record, eye, pose, rng)
        try:
            got = eye_from_reflexes(record, SETUP, seen, PRIORS)
        except MeasurementRefused:
            failures += 1
            continue
        estimates = (*got.turn_deg, *got.lens_tilt_deg, *got.lens_shift_mm)
        errors.append([one.value - true for one, true in zip(estimates, asked, strict=True)])
        sds.append([one.sd for one in estimates])
        fits.append(got.p_fit)
    return np.array(errors), np.array(sds), np.array(fits), failures


def held(errors: np.ndarray, sds: np.ndarray) -> np.ndarray:
    return (np.abs(errors) <= 1.959963984540054 * sds).mean(axis=0)


@pytest.mark.slow
@pytest.mark.parametrize("lens", ["natural", "implant"])
def test_two_thousand_eyes(lens):
    """A seed that was used for nothing else: bias, 95 % intervals and failures.

    Four times the 500 eyes that are asked for: with 500 one of the twelve means lies beyond three
    standard errors by chance once in 30 seeds, and did with the first one (3.3); over 4,000 eyes
    of eight other seeds the largest of the six was 1.4.
    """
    errors, sds, fits, failures = run(lens, 314_159, 2000)
    assert failures == 0
    standard_error = errors.std(axis=0) / math.sqrt(len(errors))
    assert np.all(np.abs(errors.mean(axis=0)) < 3.0 * standard_error)
    share = held(errors, sds)
    assert np.all((share >= 0.92) & (share <= 0.98)), share
    # A test of fit that is true is uniform: one in a hundred below 0.01, within its own chance.
    assert (fits < 0.01).mean() < 0.03


@pytest.mark.parametrize("lens", ["natural", "implant"])
def test_sixty_eyes(lens):
    """The short form: the same claims within what sixty draws can tell."""
    errors, sds, _, failures = run(lens, 7, 60)
    assert failures == 0
    standard_error = errors.std(axis=0) / math.sqrt(len(errors))
    assert np.all(np.abs(errors.mean(axis=0)) < 4.0 * standard_error)
    # 57 of 60 expected; below 51 has a chance of 1 in 500 for each of the six.
    assert np.all(held(errors, sds) >= 51 / 60)


def test_without_p3_and_p4_the_lens_is_the_priors():
    record, rng = known("natural"), np.random.default_rng(3)
    eye, pose, _ = truth(record, rng)
    seen = sighting(record, eye, pose, rng)
    full = eye_from_reflexes(record, SETUP, seen, PRIORS)
    assert not {"tilt_x", "tilt_y", "lens_x", "lens_y", "turn_x", "turn_y"} & set(full.from_prior)
    bare = replace(seen, reflexes_px={"P1": seen.reflexes_px["P1"]})
    found = eye_from_reflexes(record, SETUP, bare, PRIORS)
    assert {"tilt_x", "tilt_y", "lens_x", "lens_y"} <= set(found.from_prior)
    assert not {"turn_x", "turn_y"} & set(found.from_prior)
    assert found.lens_tilt_deg[0].origin == "prior"
    # Nothing known, nothing claimed: the prior's sd comes back.
    assert found.lens_tilt_deg[0].sd == pytest.approx(2.5, rel=0.02)
    assert found.lens_tilt_deg[0].value == pytest.approx(0.0, abs=0.2)


def test_plain_and_compiled_give_the_same_finding():
    record, rng = known("implant"), np.random.default_rng(5)
    eye, pose, _ = truth(record, rng)
    seen = sighting(record, eye, pose, rng)
    plain = eye_from_reflexes(record, SETUP, seen, PRIORS, compiled=False)
    compiled = eye_from_reflexes(record, SETUP, seen, PRIORS)
    for one, other in zip(plain.turn_deg, compiled.turn_deg, strict=True):
        assert one.value == pytest.approx(other.value, abs=1e-6)
        assert one.sd == pytest.approx(other.sd, rel=1e-5)


def test_a_wrong_match_shows_in_the_test_of_fit():
    """P4 of one lamp handed in as that of another: the numbers come, and the fit is bad."""
    record, rng = known("natural"), np.random.default_rng(11)
    eye, pose, _ = truth(record, rng)
    seen = sighting(record, eye, pose, rng)
    right = eye_from_reflexes(record, SETUP, seen, PRIORS)
    swapped = dict(seen.reflexes_px)
    one, two, three = swapped["P4"]
    swapped["P4"] = (two, one, three)
    wrong = eye_from_reflexes(record, SETUP, replace(seen, reflexes_px=swapped), PRIORS)
    assert right.p_fit > 0.001
    assert wrong.p_fit < 1e-6


def test_a_subset_of_lamps_and_reflexes_is_enough():
    record, rng = known("natural"), np.random.default_rng(13)
    eye, pose, asked = truth(record, rng)
    seen = sighting(record, eye, pose, rng)
    part = {"P1": (seen.reflexes_px["P1"][0], None, None),
            "P4": (None, seen.reflexes_px["P4"][1], None)}  # fmt: skip
    found = eye_from_reflexes(record, SETUP, replace(seen, reflexes_px=part), PRIORS)
    assert found.used == ("P1 lamp 0", "P4 lamp 1", "pupil", "limbus")
    for one, true in zip(found.turn_deg, asked, strict=False):
        assert abs(one.value - true) < 4.0 * one.sd


def test_what_cannot_be_is_refused():
    record = known("natural")
    with pytest.raises(MeasurementRefused, match="no reflex"):
        eye_from_reflexes(record, SETUP, ReflexSighting({}, 0.5), compiled=False)
    with pytest.raises(WrongInput, match="3 lamps"):
        eye_from_reflexes(record, SETUP, ReflexSighting({"P1": ((0, 0),)}, 0.5), compiled=False)
    empty = eye_record(Known("right", "none"))
    three = ((0, 0), (1, 1), None)
    with pytest.raises(WrongInput, match="P4 came"):
        eye_from_reflexes(empty, SETUP, ReflexSighting({"P4": three}, 0.5), compiled=False)


@pytest.mark.slow
def test_a_frame_takes_fifteen_milliseconds():
    record, rng = known("natural"), np.random.default_rng(17)
    seen = []
    for _ in range(20):
        eye, pose, _ = truth(record, rng)
        seen.append(sighting(record, eye, pose, rng))
    eye_from_reflexes(record, SETUP, seen[0], PRIORS)
    ready = prepared(record)
    taken = []
    for one in seen:
        start = time.process_time()
        eye_from_reflexes(ready, SETUP, one, PRIORS)
        taken.append(time.process_time() - start)
    assert np.median(taken) <= 0.015, np.median(taken)


@pytest.mark.slow
def test_reflexes_of_three_lamps_take_a_millisecond():
    record, rng = known("natural"), np.random.default_rng(19)
    scenes = [truth(record, rng)[:2] for _ in range(40)]
    taken = []
    for eye, pose in scenes:
        reflexes(eye, pose, SETUP, engine="compiled")
        start = time.process_time()
        reflexes(eye, pose, SETUP, engine="compiled")
        taken.append(time.process_time() - start)
    assert np.median(taken) <= 0.001, np.median(taken)
