"""Draws an invented eye under an invented microscope, and the sheet a user would write for it."""

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from rimwise.demo.frame_edges import with_edges
from rimwise.demo.frame_looks import flash_look, spoilt, theatre_look, wet_highlights
from rimwise.demo.frame_render import render_frame
from rimwise.demo.frame_scene import Clutter, FrameLook, FrameScene, FrameTruth
from rimwise.demo.hardness import Difficulty
from rimwise.demo.photos import draw_waves, photo_jpeg
from rimwise.demo.scene import RoundShape
from rimwise.eye.build import eye_model
from rimwise.eye.camera import Camera
from rimwise.eye.draws import drawn_eye
from rimwise.eye.known import known_from_picture
from rimwise.eye.model import EyeModel
from rimwise.eye.this_eye import eye_record
from rimwise.picture.raster import UInt8Array
from rimwise.published.load import published_value
from rimwise.purkinje.scene import limbus_of
from rimwise.purkinje.setup import set_up
from rimwise.records.eye import EyePose, EyeRecord
from rimwise.records.picture import CorneaSheet, Lamps, PictureLengths, PictureSheet, State
from rimwise.terms.frames import PictureFrame, Side

LampKind = Literal["one", "pair", "triangle", "ring"]
LookKind = Literal["colour", "infrared", "flash", "theatre"]

# Own settings: what is drawn for each difficulty.
_GAZE_DEG: dict[Difficulty, float] = {"easy": 2.0, "medium": 3.0, "hard": 4.0}
_CLUTTER: dict[Difficulty, int] = {"easy": 1, "medium": 4, "hard": 8}
_NOISE: dict[Difficulty, tuple[float, float]] = {
    "easy": (1.0, 1.8), "medium": (1.6, 3.0), "hard": (2.4, 5.0),
}  # fmt: skip
_BLUR: dict[Difficulty, tuple[float, float]] = {
    "easy": (0.8, 1.2), "medium": (0.9, 1.6), "hard": (1.1, 2.2),
}  # fmt: skip
# Share of P4's light that the lens lets through.
_CLEAR: dict[Difficulty, tuple[float, float]] = {
    "easy": (0.35, 0.8), "medium": (0.2, 0.6), "hard": (0.1, 0.5),
}  # fmt: skip
_PUPILS = ((112.0, 52.0, 30.0), (96.0, 88.0, 84.0), (150.0, 122.0, 92.0), (28.0, 22.0, 20.0),
           (168.0, 92.0, 44.0))  # fmt: skip
_IRISES = ((84.0, 92.0, 100.0), (62.0, 52.0, 40.0), (74.0, 76.0, 58.0), (46.0, 38.0, 32.0))


@dataclass(frozen=True, slots=True)
class FrameWish:
    """Which frame is wanted; what is None is drawn.

    Parameters
    ----------
    difficulty : "easy", "medium" or "hard"
    lens : "natural", "implant", "none"
    lamps : "one", "pair", "triangle" or "ring" (of eight)
    looks : "colour", "infrared", "flash" or "theatre"
    size_px : (int, int)
    turn_deg : (float, float), optional
        Eye rotation.
    near : bool
        An eye that fills the picture, with lashes over it, as before an iris camera.
    edges : bool
        Rings that are no pupil and no limbus: an optic's rim, the capsule's opening, an arcus.
    """

    difficulty: Difficulty = "easy"
    lens: Literal["natural", "implant", "none"] = "natural"
    lamps: LampKind = "pair"
    looks: LookKind = "colour"
    size_px: tuple[int, int] = (1280, 960)
    turn_deg: tuple[float, float] | None = None
    superior_deg: float = 270.0
    look: FrameLook = field(default_factory=FrameLook)
    near: bool = False
    edges: bool = False


def lamp_places_mm(kind: LampKind) -> tuple[tuple[float, float], ...]:
    """Where do the lamps of an invented microscope stand, picture right and up?

    Examples
    --------
    >>> len(lamp_places_mm("ring"))
    8
    """
    if kind == "one":
        return ((4.0, 6.0),)
    if kind == "pair":
        return ((-8.3, 0.0), (8.3, 0.0))
    if kind == "triangle":
        return ((-9.0, -4.0), (9.0, -4.0), (0.0, 11.0))
    around = [2.0 * math.pi * k / 8.0 for k in range(8)]
    return tuple((16.0 * math.cos(a), 16.0 * math.sin(a)) for a in around)


def draw_frame(
    rng: np.random.Generator, wish: FrameWish | None = None
) -> tuple[UInt8Array, FrameTruth, PictureSheet]:
    """What would a microscope show of an invented eye, with the truth and a user's sheet?

    Parameters
    ----------
    rng : numpy.random.Generator
    wish : FrameWish, optional

    Examples
    --------
    >>> wish = FrameWish(size_px=(320, 240))
    >>> pixels, truth, sheet = draw_frame(np.random.default_rng(1), wish)
    >>> pixels.shape, sheet.kind, len(truth.reflexes)
    ((240, 320, 3), 'frame', 8)
    """
    scene, sheet = draw_frame_scene(rng, wish or FrameWish())
    pixels, truth = render_frame(scene, rng)
    if wish is not None and wish.looks in ("flash", "theatre"):
        pixels = spoilt(pixels, rng)
    return pixels, truth, sheet


def invented_frame(seed: int) -> tuple[bytes, PictureSheet]:
    """Which frame is there to try on, as a JPEG with the sheet a user would write for it?"""
    pixels, _, sheet = draw_frame(np.random.default_rng(seed))
    return photo_jpeg(pixels, 90), sheet


def draw_frame_scene(rng: np.random.Generator, wish: FrameWish) -> tuple[FrameScene, PictureSheet]:
    """Draw eye, pose, camera and clutter, and the sheet with a user's errors.

    The eye is drawn within the spread of what the sheet tells, so that the sheet is what is
    known and the eye is one of those that it leaves possible.
    """
    sheet = _draw_sheet(rng, wish)
    record = eye_record(known_from_picture(sheet))
    model = _stood(rng, drawn_eye(record, rng), wish)
    camera = _camera(rng, sheet, wish)
    lamps = sheet.lamps or Lamps(((0.0, 0.0),))
    setup = set_up(camera, lamps)
    _, depth_mm = limbus_of(record, model)
    half_mm = 0.5 * (sheet.lengths.white_to_white_mm or 11.7) + float(rng.normal(0.0, 0.05))
    flat = published_value("microscope", "limbus_height_over_width").value
    away = rng.normal(0.0, published_value("eye_priors", "limbus_from_corneal_axis").sd or 0.0, 2)
    limbus = RoundShape(
        0.5 * half_mm * (1.0 + flat),
        (float(away[0]), float(away[1])),
        ((2, (1.0 - flat) / (1.0 + flat), 0.0),),
    )
    pupil = RoundShape(
        0.5 * model.pupil_diameter_mm,
        model.pupil_mm,
        draw_waves(rng, 0.004 if wish.difficulty == "easy" else 0.012),
    )
    scene = FrameScene(
        sheet.side, model, _pose(rng, wish), setup, wish.size_px, pupil, limbus, depth_mm,
        _lamp_mm(rng, wish), _draw_clutter(rng, wish), _draw_look(rng, wish),
    )  # fmt: skip
    if wish.edges:
        scene = replace(scene, look=with_edges(rng, scene.look, wish.lens == "implant"))
    return scene, sheet


def _lamp_mm(rng: np.random.Generator, wish: FrameWish) -> float:
    """Draw the radius of the lamps: many lamps are small ones."""
    return float(rng.uniform(1.2, 2.5) if wish.lamps == "ring" else rng.uniform(3.0, 4.5))


def _draw_sheet(rng: np.random.Generator, wish: FrameWish) -> PictureSheet:
    natural = wish.lens == "natural"
    states: dict[str, State] = {"natural": "natural", "implant": "implant", "none": "empty-bag"}
    side: Side = "right" if rng.random() < 0.5 else "left"
    deep = rng.normal(3.1, 0.25) if natural else rng.normal(4.5, 0.25)
    return PictureSheet(
        side,
        "frame",
        states[wish.lens],
        superior_deg=wish.superior_deg,
        working_distance_mm=200.0,
        px_per_mm=round(float(rng.uniform(*_px_per_mm(wish))) * wish.size_px[0] / 1280.0, 2),
        lamps=Lamps(lamp_places_mm(wish.lamps)),
        cornea=CorneaSheet(radius_mm=round(float(rng.normal(7.75, 0.2)), 2), thickness_um=545.0),
        lengths=PictureLengths(
            white_to_white_mm=round(float(rng.normal(11.7, 0.3)), 1),
            lens_front_depth_mm=round(float(deep), 2) if wish.lens != "none" else None,
            lens_thickness_mm=round(float(rng.normal(4.5, 0.3)), 2) if natural else None,
        ),
    )


def _px_per_mm(wish: FrameWish) -> tuple[float, float]:
    """Between which scales, of a picture 1280 wide, is one drawn?"""
    if wish.looks == "flash":
        return 26.0, 48.0
    if wish.looks == "theatre":
        return 36.0, 72.0
    return (66.0, 82.0) if wish.near else (50.0, 66.0)


def _stood(rng: np.random.Generator, eye: EyeRecord, wish: FrameWish) -> EyeModel:
    """Build the eye with a dilated pupil and its lens tilted and shifted as lenses are."""
    model = eye_model(eye)
    diameter = rng.uniform(5.8, 7.4) if wish.difficulty == "easy" else rng.uniform(4.6, 7.2)
    if wish.looks in ("infrared", "flash"):
        diameter = rng.uniform(2.4, 6.0)
    away = 0.15 * rng.standard_normal(2)
    model = replace(
        model, pupil_diameter_mm=float(diameter), pupil_mm=(float(away[0]), float(away[1]))
    )
    if wish.lens == "none":
        return model
    tilt = math.radians(published_value("eye_priors", "lens_tilt").sd or 0.0)
    shift = published_value("eye_priors", "lens_shift").sd or 0.0
    t, s = tilt * rng.standard_normal(2), shift * rng.standard_normal(2)
    return model.with_lens((float(t[0]), float(t[1])), (float(s[0]), float(s[1])))


def _camera(rng: np.random.Generator, sheet: PictureSheet, wish: FrameWish) -> Camera:
    scale = (sheet.px_per_mm or 0.0) * (
        1.0 + float(rng.normal(0.0, published_value("microscope", "given_scale").sd or 0.0))
    )
    centre = (0.5 * (wish.size_px[0] - 1), 0.5 * (wish.size_px[1] - 1))
    distance = sheet.working_distance_mm or 200.0
    place = (0.0, 0.0, distance - published_value("microscope", "limbus_depth").value)
    held = sheet.superior_deg + float(rng.normal(0.0, 1.0))
    return Camera(
        place, scale, distance, centre, PictureFrame(held, sheet.mirrored), aperture_mm=9.0
    )


def _pose(rng: np.random.Generator, wish: FrameWish) -> EyePose:
    turn = rng.normal(0.0, _GAZE_DEG[wish.difficulty], 2)
    if wish.turn_deg is not None:
        turn = np.array(wish.turn_deg)
    away = {"easy": 0.5, "medium": 1.0, "hard": 2.0}[wish.difficulty]
    x, y = rng.normal(0.0, away, 2)
    x_rad, y_rad = np.radians(turn)
    # The globe turns about its middle; the operator brings the cornea back under the microscope.
    x, y = x - 12.0 * math.tan(x_rad), y - 12.0 * math.tan(y_rad)
    deep = float(rng.normal(0.0, 0.5))
    return EyePose((float(x_rad), float(y_rad)), (float(x), float(y), deep))


def _draw_look(rng: np.random.Generator, wish: FrameWish) -> FrameLook:
    hard = wish.difficulty
    lids: tuple[float | None, float | None] = (None, None)
    if hard != "easy":
        low, high = (4.6, 7.0) if hard == "medium" else (3.8, 6.0)
        lids = (float(rng.uniform(low, high)), float(rng.uniform(low, high)))
    pick = int(rng.integers(len(_PUPILS)))
    iris = _IRISES[int(rng.integers(len(_IRISES)))]
    look = replace(
        wish.look,
        pupil_rgb=_PUPILS[pick],
        iris_rgb=iris,
        veil=1.0 - (1.0 - wish.look.veil) * float(rng.uniform(*_CLEAR[hard])),
        crescent=float(rng.uniform(0.0, 0.5)),
        lids_mm=lids,
        speculum=hard != "easy" and rng.random() < 0.6,
        vignette_px=0.52 * wish.size_px[0] if rng.random() < 0.3 else None,
        blur_px=float(rng.uniform(*_BLUR[hard])),
        limbus_blur_px=float(rng.uniform(4.0, 10.0)) * wish.size_px[0] / 1280.0,
        noise=float(rng.uniform(*_NOISE[hard])),
        exposure=float(rng.uniform(0.85, 1.1)),
    )
    if wish.looks == "colour":
        return look
    if wish.looks == "flash":
        return flash_look(rng, look)
    if wish.looks == "theatre":
        return theatre_look(rng, look, wish.size_px[0])
    iris_grey, more = float(rng.uniform(88.0, 130.0)), float(rng.uniform(18.0, 50.0))
    if wish.near:
        free_mm = (float(rng.uniform(2.5, 6.0)), float(rng.uniform(4.5, 7.5)))
        look = replace(look, lids_mm=free_mm, lashes=int(rng.integers(8, 40)), speculum=False)
    return replace(
        look, grey=True, iris_rgb=(iris_grey,) * 3, sclera_rgb=(iris_grey + more,) * 3,
        pupil_rgb=(float(rng.uniform(18.0, 40.0)),) * 3, skin_rgb=(iris_grey + 30.0,) * 3,
        crescent=0.0, vignette_px=None,
    )  # fmt: skip


def _draw_clutter(rng: np.random.Generator, wish: FrameWish) -> tuple[Clutter, ...]:
    found = []
    for _ in range(int(rng.integers(0, _CLUTTER[wish.difficulty] + 1))):
        far, at = float(rng.uniform(2.5, 8.0)), float(rng.uniform(0.0, 2.0 * math.pi))
        place = (far * math.cos(at), far * math.sin(at))
        turn = math.degrees(at)
        kinds = ("tear", "tear", "bubble", "glint", "tool", "fold")
        kind = kinds[int(rng.integers(len(kinds)))]
        if kind == "tear":
            found.append(Clutter("tear", place, float(rng.uniform(0.04, 0.12)), turn))
        elif kind == "bubble":
            near = (0.4 * place[0], 0.4 * place[1])
            found.append(Clutter("bubble", near, float(rng.uniform(0.15, 0.5)), turn))
        elif kind == "glint":
            out = (1.3 * place[0], 1.3 * place[1])
            found.append(Clutter("glint", out, float(rng.uniform(0.2, 0.6)), turn))
        elif kind == "tool" and wish.difficulty != "easy":
            found.append(Clutter("tool", place, float(rng.uniform(0.3, 0.6)), turn))
        elif kind == "fold" and wish.difficulty == "hard":
            found.append(Clutter("fold", (0.0, 0.0), float(rng.uniform(7.0, 9.0)), turn))
    more = wet_highlights(rng, 4) if wish.looks in ("flash", "theatre") else ()
    return (*found, *more)
