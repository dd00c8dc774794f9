"""Photographs of an eye with an implant in which known lamps are mirrored, all places traced.

Paint and edges are the photographs' own; rim, pupil, limbus and reflexes stand where the eye's
model puts them, so that it says nothing about that model.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from rimwise.demo.clutter import Window
from rimwise.demo.frame_render import reflex_light
from rimwise.demo.frame_scene import FrameScene, FrameTruth, ellipse_of, frame_truth
from rimwise.demo.frames import FrameWish, draw_frame_scene
from rimwise.demo.render import render_photo
from rimwise.demo.scene import PhotoLook, PhotoScene, RoundShape, TracedShape
from rimwise.picture.raster import UInt8Array
from rimwise.published.load import published_value
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.setup import set_up
from rimwise.records.implant_reflexes import MirrorName
from rimwise.records.picture import Lamps, PictureSheet
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import PictureFrame

SIZE_PX = (1400, 1050)
_PX_PER_MM = (80.0, 95.0)  # at the limbus
_AROUND = 180


@dataclass(frozen=True, slots=True)
class LitTruth:
    """What is true of the photograph.

    Parameters
    ----------
    frame : FrameTruth
        Places of the reflexes, stand of the implant.
    rim_px : array (n, 2)
    from_axial_mm : dict
        The rim's centre from where an axial lamp's reflex would be at exact fixation, examiner's
        x and y, mm of the optic plane.
    """

    frame: FrameTruth
    rim_px: FloatArray
    from_axial_mm: dict[MirrorName, tuple[float, float]]


def draw_lit_photo(
    rng: np.random.Generator, wish: FrameWish, look: PhotoLook | None = None
) -> tuple[UInt8Array, LitTruth, PictureSheet]:
    """What does a photograph with known lamps look like, and what is the exact answer?

    Parameters
    ----------
    rng : numpy.random.Generator
    wish : FrameWish
        Lamps and gaze; the lens is an implant.
    look : PhotoLook, optional

    Examples
    --------
    >>> pixels, truth, sheet = draw_lit_photo(np.random.default_rng(1), FrameWish())
    >>> pixels.shape, sheet.fixation, len(truth.frame.points_px("P4"))
    ((1050, 1400, 3), 'confirmed', 2)
    """
    told = replace(wish, lens="implant", size_px=SIZE_PX, superior_deg=90.0)
    scene, sheet = draw_frame_scene(rng, told)
    scene = _closer(scene, float(rng.uniform(*_PX_PER_MM)), sheet)
    model = replace(scene.model, pupil_diameter_mm=float(rng.uniform(6.6, 7.2)))
    pupil = RoundShape(0.5 * model.pupil_diameter_mm, model.pupil_mm)
    watched = replace(scene, model=model, pupil=pupil)
    stray = math.radians(published_value("microscope", "fixation_confirmed").sd or 0.0)
    x, y = np.asarray(watched.pose.turn_rad) + stray * rng.standard_normal(2)
    scene = replace(watched, pose=replace(watched.pose, turn_rad=(float(x), float(y))))
    truth = frame_truth(scene)
    photo = _photo_scene(scene, truth, look or PhotoLook())
    pixels, _ = render_photo(photo, rng)
    light = reflex_light(scene, truth, Window.of(0, 0, *SIZE_PX))
    lit = np.clip(np.rint(pixels + light[..., None]), 0.0, 255.0).astype(np.uint8)
    sheet = replace(
        sheet, kind="photograph", state="visit", px_per_mm=None, fixation="confirmed",
        optic_diameter_mm=2.0 * model.lens_semi_diameter_mm, optic_diameter_sd_mm=0.0,
    )  # fmt: skip
    return lit, LitTruth(truth, rim_curve_px(scene), _from_axial(watched, sheet)), sheet


def rim_curve_px(scene: FrameScene) -> FloatArray:
    """Where does the optic's rim appear through the cornea? Shape (n, 2)."""
    model = scene.model
    around = np.linspace(0.0, 2.0 * math.pi, _AROUND, endpoint=False)
    radius = model.lens_semi_diameter_mm
    ring = radius * np.column_stack([np.cos(around), np.sin(around), np.zeros(_AROUND)])
    x_rad, y_rad = model.lens.tilt_rad
    normal = np.array([math.tan(x_rad), math.tan(y_rad), 1.0])
    normal /= np.linalg.norm(normal)
    # The ring is laid into the plane across the tilted axis.
    first = np.cross([0.0, 1.0, 0.0], normal)
    first /= np.linalg.norm(first)
    turned = ring[:, :1] * first + ring[:, 1:2] * np.cross(normal, first)
    middle = np.add(model.pivot_mm, (*model.lens.shift_mm, 0.0))
    return scene.sight.project(turned + middle)


def _closer(scene: FrameScene, px_per_mm: float, sheet: PictureSheet) -> FrameScene:
    """Return the scene with the photograph's camera, superior exactly up."""
    camera = replace(scene.setup.camera, px_per_mm=px_per_mm, frame=PictureFrame(90.0))
    return replace(scene, setup=set_up(camera, sheet.lamps or Lamps(((0.0, 0.0),))))


def _photo_scene(scene: FrameScene, truth: FrameTruth, look: PhotoLook) -> PhotoScene:
    """Return the painted scene whose rim, pupil and limbus lie where the trace puts them."""
    rim = ellipse_of(rim_curve_px(scene))
    centre = np.array([rim.cx, rim.cy])
    px_per_mm = rim.a / scene.model.lens_semi_diameter_mm
    # The rim's short axis is where the optic's axis points, either way.
    short = math.radians(90.0 - rim.angle_deg)
    lean = math.degrees(math.acos(min(1.0, rim.b / rim.a)))
    tilt = (lean * math.cos(short - math.pi), lean * math.sin(short - math.pi))
    right_up = np.array([1.0, -1.0]) / px_per_mm
    return PhotoScene(
        side=scene.side,
        size_px=SIZE_PX,
        px_per_mm=px_per_mm,
        optic_centre_px=(rim.cx, rim.cy),
        optic_diameter_mm=2.0 * scene.model.lens_semi_diameter_mm,
        tilt_deg=tilt,
        opening=RoundShape(2.5, (0.08, -0.05)),
        pupil=_traced((truth.pupil_px - centre) * right_up),
        limbus=_traced((truth.limbus_px - centre) * right_up),
        look=look,
    )


def _traced(points_mm: FloatArray) -> RoundShape:
    """Return the circle of this outline: its waviness does not matter here."""
    shape = TracedShape(points_mm)
    x, y = shape.centre_mm
    return RoundShape(float(shape.radius_mm), (float(x), float(y)))


def _from_axial(scene: FrameScene, sheet: PictureSheet) -> dict[MirrorName, tuple[float, float]]:
    camera, lamps = scene.setup.camera, sheet.lamps or Lamps(((0.0, 0.0),))
    place = (0.0, 0.0) if lamps.fixated is None else lamps.places_mm[lamps.fixated]
    setup = set_up(camera, Lamps((place,), lamps.plane_mm))
    rim = ellipse_of(rim_curve_px(scene))
    per_mm = 0.5 * (rim.a + rim.b) / scene.model.lens_semi_diameter_mm
    found: dict[MirrorName, tuple[float, float]] = {}
    for name in ("P1", "P4"):
        (one,) = reflexes(scene.model, scene.pose, setup, (name,))
        u, v = rim.cx - one.px[0], rim.cy - one.px[1]
        found[name] = (u / per_mm, -v / per_mm)
    return found
