"""The demonstration's pictures on disk: rendered once, kept while their recipe is the same."""

import json
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from rimwise.demo.eyes import OPTIC_MM, OPTIC_SD_MM, InventedEye
from rimwise.demo.hardness import Difficulty
from rimwise.demo.keeping import Keeping, recipe_of
from rimwise.demo.photos import draw_scene, draw_sheet, photo_jpeg
from rimwise.demo.render import render_photo
from rimwise.demo.scene import PhotoScene, PhotoTruth
from rimwise.exchange.writing import write_bytes, write_json
from rimwise.records.picture import PictureSheet
from rimwise.terms.frames import PictureFrame

TRACED = ("photo_easy_001", "photo_medium_002", "photo_hard_009")
SEED = 20260302  # any number: it only makes the clinic the same one every day


@dataclass(frozen=True, slots=True)
class ShelvedPicture:
    """A picture on disk with the truth that its measurement is checked against."""

    path: Path
    drawn_by: str
    cover_mm: tuple[float, ...]
    equivalent_diameter_mm: float
    code: str | None = None


def shelve_traced(folder: Path) -> list[ShelvedPicture]:
    """Lay out the three pictures that this project did not draw."""
    shelved = []
    for name in TRACED:
        packed = resources.files("rimwise.demo").joinpath("pictures")
        stem = f"invented_{name.replace('photo', 'traced')}"
        for end in (".jpg", ".toml", ".truth.json"):
            content = packed.joinpath(name + end).read_bytes()
            if end == ".toml":
                content = b"# invented eye, ray traced by an independent program\n" + content
            _write_if_other(folder / (stem + end), content)
        shelved.append(_shelved(folder / f"{stem}.jpg"))
    return shelved


def shelve_eye(
    folder: Path, eye: InventedEye, difficulty: Difficulty, head_end: bool
) -> ShelvedPicture:
    """Render the photograph of an eye, unless the one on disk has the same recipe."""
    rng = np.random.default_rng([SEED, int(eye.code[2:])])
    scene = draw_scene(rng, eye.body, difficulty)
    sheet = draw_sheet(rng, eye.body, scene)
    if head_end:
        scene = _held(scene, 270.0)
    path = folder / f"invented_{eye.code}.jpg"
    made = (path, path.with_suffix(".truth.json"))
    recipe, keeping = recipe_of("rimwise.demo", scene, eye.code), Keeping(folder)
    if not keeping.has(recipe, *made):
        pixels, truth = render_photo(scene, rng)
        write_bytes(made[0], photo_jpeg(pixels, scene.look.jpeg_quality))
        write_json(made[1], _truth_document(truth))
        keeping.note(recipe, *made)
    _write_if_other(path.with_suffix(".toml"), sheet_toml(sheet, eye, scene).encode())
    return _shelved(path, eye.code)


def sheet_toml(sheet: PictureSheet, eye: InventedEye, scene: PhotoScene) -> str:
    """Which sheet does the clinic write beside a photograph?"""
    lines = [
        "# invented eye of an invented clinic",
        f'code = "{eye.code}"',
        f'side = "{sheet.side}"',
        'kind = "photograph"',
        'state = "visit"',
        f"superior_deg = {scene.frame.superior_deg:.0f}",
        "visit_day = 28",
        f"optic_diameter_mm = {OPTIC_MM}",
        f"optic_diameter_sd_mm = {OPTIC_SD_MM}",
        f"toric_marks_per_end = {sheet.toric_marks_per_end}",
        f"working_distance_mm = {sheet.working_distance_mm}",
        'fixation = "none"',
        "",
        "[cornea]",
        f"radius_mm = {sheet.cornea.radius_mm}",
        "",
        "[lengths]",
        f"white_to_white_mm = {sheet.lengths.white_to_white_mm}",
        f"lens_front_depth_mm = {sheet.lengths.lens_front_depth_mm}",
    ]
    return "\n".join(lines) + "\n"


def _held(scene: PhotoScene, superior_deg: float) -> PhotoScene:
    return replace(scene, frame=PictureFrame(superior_deg))


def _truth_document(truth: PhotoTruth) -> dict[str, Any]:
    return {
        "cover_mm": [round(float(width), 5) for width in truth.cover_mm],
        "opening_visible": truth.opening_visible.tolist(),
        "optic_visible": truth.optic_visible.tolist(),
        "equivalent_diameter_mm": truth.equivalent_diameter_mm,
        "area_mm2": truth.area_mm2,
        "decentration_mm": list(truth.decentration_mm),
        "px_per_mm": truth.px_per_mm,
        "drawn_by": "this project",
    }


def _shelved(path: Path, code: str | None = None) -> ShelvedPicture:
    truth = json.loads(path.with_suffix(".truth.json").read_text(encoding="utf-8"))
    return ShelvedPicture(
        path, truth["drawn_by"], tuple(truth["cover_mm"]), truth["equivalent_diameter_mm"], code
    )


def _write_if_other(path: Path, content: bytes) -> None:
    if not path.is_file() or path.read_bytes() != content:
        write_bytes(path, content)
