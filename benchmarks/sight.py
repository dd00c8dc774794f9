"""What one placement and a map of placements take, without pictures."""

import time
from collections.abc import Callable
from dataclasses import replace

from rimwise.eye.this_eye import Known, eye_record
from rimwise.optics.refraction import PowerVector
from rimwise.predict.criteria import contrast, three_refractions, view_of, visual_strehl
from rimwise.predict.gratings import USUAL
from rimwise.predict.make import SightQuestion, predict_sight
from rimwise.predict.placed import fovea_of, place_at, placed_model, unknown_tilt
from rimwise.predict.sensitivity import Elsewhere, sight_map

Row = tuple[str, str, str, float | None]


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours."""
    pupils = (3.0, 6.0)
    return [
        *(_placement(pupil) for pupil in pupils),
        *(_with_scatter(pupil) for pupil in pupils),
        *(_map(pupil) for pupil in pupils),
    ]


def _placement(pupil_mm: float) -> Row:
    eye = eye_record(Known("right", "implant", axial_mm=23.6))
    fovea, sampling = fovea_of(eye), USUAL

    def work() -> None:
        model = placed_model(eye, place_at(eye, (0.4, -0.2), (3.0, 1.0)))
        view = view_of(model, fovea, pupil_mm, sampling)
        waves = view.behind(three_refractions(view)[2])
        contrast(waves, pupil_mm, sampling)
        visual_strehl(waves, pupil_mm, sampling)

    return _row(f"one placement, all colours, pupil {pupil_mm:g} mm", work)


def _with_scatter(pupil_mm: float) -> Row:
    """All of one pupil: here with its ±, the ideal placement, both lenses, focus."""
    eye = eye_record(Known("right", "implant", axial_mm=23.6))
    place = place_at(eye, (0.4, -0.2))
    x, y = place.shift_mm
    shift = (replace(x, sd=0.08), replace(y, sd=0.08))
    here = replace(place, shift_mm=shift, tilt_deg=unknown_tilt())
    ask = SightQuestion("E-1", (pupil_mm,))
    name = f"one pupil with ±, here and ideal, pupil {pupil_mm:g} mm"
    return _row(name, lambda: predict_sight(eye, here, ask))


def _map(pupil_mm: float) -> Row:
    eye = eye_record(Known("right", "implant", axial_mm=23.6))
    lens = PowerVector(-0.7, 0.0, 0.0)
    asked = Elsewhere(eye, lens, pupil_mm, 15.0, USUAL)
    place = place_at(eye, (0.4, -0.2))
    return _row(
        f"map of 21 x 21 shifts, pupil {pupil_mm:g} mm", lambda: sight_map(asked, place, "mm")
    )


def _row(name: str, work: Callable[[], object]) -> Row:
    """Time the first run, and the best of three later ones, in seconds of wall and processor."""
    told = []
    for _ in range(4):
        wall, processor = time.perf_counter(), time.process_time()
        work()
        told.append((time.perf_counter() - wall, time.process_time() - processor))
    (first, first_cpu), (later, later_cpu) = told[0], min(told[1:])
    value = f"{later:.2f} s ({later_cpu:.2f} s cpu)"
    return name, value, f"first run: {first:.2f} s ({first_cpu:.2f} s cpu)", None
