"""What an invented microscope frame shows, and the exact truth that follows from it.

The eye is a model, traced exactly: reflexes through all its surfaces, the pupil through the
cornea, the limbus through air. Only colours, textures and clutter are painted.
"""

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from rimwise.demo.scene import RoundShape
from rimwise.eye.model import EyeModel
from rimwise.eye.seen import EyePlane, Sight
from rimwise.geometry.ellipse import fit_ellipse
from rimwise.purkinje.forward import reflexes
from rimwise.purkinje.setup import SetUp
from rimwise.records.cover import EllipsePx
from rimwise.records.eye import EyePose, Reflex, ReflexName
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import Side

RIM_POINTS = 360
Rgb = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Clutter:
    """One thing that lies in the picture and is no part of the eye.

    Parameters
    ----------
    kind : str
        "tool" (a bar with a tip), "bubble", "tear" (a small highlight), "glint" (a large one,
        of drape or wet sclera), "fold" (a straight line of the drape).
    place_mm : (float, float)
        Examiner's x and y from the pupil's middle, mm of the limbus plane.
    size_mm : float
        Radius or half width.
    turn_deg : float
        Direction in which it lies or comes in, examiner's.
    strength : float
        0 to 1.
    """

    kind: Literal["tool", "bubble", "tear", "glint", "fold"]
    place_mm: tuple[float, float]
    size_mm: float
    turn_deg: float = 0.0
    strength: float = 1.0


@dataclass(frozen=True, slots=True)
class FrameLook:
    """How a frame looks: colour, contrast, light, blur and noise.

    ``gain`` is the grey level of a whole lamp's light share of one; P1 sends back 0.025 of it.
    ``ruff`` is the darkness of the pigment border on the pupil's margin;
    ``veil`` is the share of light that a cloudy lens keeps from P4; ``lids_mm`` are the free
    heights above and below the pupil's middle; ``vignette_px`` is the radius of the lit disc.
    ``optic`` is how plain an implant's rim is within the pupil, with the capsule's opening at
    ``opening_mm`` (x and y from the lens's axis, radius); ``arcus`` and ``limbal_ring`` are how
    white and how dark rings inside of the limbus are.
    """

    iris_rgb: Rgb = (84.0, 92.0, 100.0)
    sclera_rgb: Rgb = (168.0, 152.0, 146.0)
    pupil_rgb: Rgb = (112.0, 52.0, 30.0)
    skin_rgb: Rgb = (150.0, 112.0, 94.0)
    ruff: float = 0.0
    crescent: float = 0.3
    unevenness: float = 0.12
    texture: float = 1.0
    gain: float = 2.6e5
    veil: float = 0.0
    hidden: tuple[ReflexName, ...] = ()
    bloom: float = 1.0
    lids_mm: tuple[float | None, float | None] = (None, None)
    speculum: bool = False
    lashes: int = 0
    blood: float = 0.0
    vignette_px: float | None = None
    vignette_off_px: tuple[float, float] = (0.0, 0.0)
    grey: bool = False
    blur_px: float = 1.0
    limbus_blur_px: float = 6.0
    noise: float = 1.6
    exposure: float = 1.0
    jpeg_quality: int = 92
    optic: float = 0.0
    opening_mm: tuple[float, float, float] = (0.0, 0.0, 2.5)
    arcus: float = 0.0
    limbal_ring: float = 0.0


@dataclass(frozen=True, slots=True)
class FrameScene:
    """Everything that an invented frame shows.

    Parameters
    ----------
    side : "right" or "left"
    model : EyeModel
        Its lens placed.
    pose : EyePose
    setup : SetUp
        Camera and lamps; the camera's ``aperture_mm`` blurs what is out of focus.
    size_px : (int, int)
    pupil : RoundShape
        Real mm in the plane of the iris, about the corneal axis.
    limbus : RoundShape
        Real mm in its plane, about the corneal axis.
    limbus_depth_mm : float
    lamp_radius_mm : float
    clutter : tuple of Clutter
    look : FrameLook
    """

    side: Side
    model: EyeModel
    pose: EyePose
    setup: SetUp
    size_px: tuple[int, int] = (1280, 960)
    pupil: RoundShape = field(default_factory=lambda: RoundShape(3.5))
    limbus: RoundShape = field(default_factory=lambda: RoundShape(5.65, (0.0, 0.0)))
    limbus_depth_mm: float = 2.6
    lamp_radius_mm: float = 4.0
    clutter: tuple[Clutter, ...] = ()
    look: FrameLook = field(default_factory=FrameLook)

    @property
    def sight(self) -> Sight:
        """The eye before its camera."""
        return Sight(self.model, self.pose, self.setup.camera, engine="numpy")


@dataclass(frozen=True, slots=True)
class FrameTruth:
    """The exact answers to what a frame is asked.

    Parameters
    ----------
    reflexes : tuple of Reflex
        All that have a path, painted or not.
    painted : tuple of (name, lamp)
        Those that are in the picture.
    pupil_px, limbus_px : array (360, 2)
    lens_tilt_deg, lens_pole_mm : (float, float) or None
        Against the corneal axis.
    """

    reflexes: tuple[Reflex, ...]
    painted: tuple[tuple[ReflexName, int], ...]
    pupil_px: FloatArray
    limbus_px: FloatArray
    turn_deg: tuple[float, float]
    lens_tilt_deg: tuple[float, float] | None
    lens_pole_mm: tuple[float, float] | None
    px_per_mm: float

    def points_px(self, name: ReflexName) -> list[tuple[float, float] | None]:
        """Return a reflex's places, lamp by lamp; None where it is not in the picture."""
        own = [one for one in self.reflexes if one.name == name]
        return [one.px if (name, one.lamp) in self.painted else None for one in own]

    @property
    def pupil(self) -> EllipsePx:
        """The ellipse nearest to the pupil's margin."""
        return ellipse_of(self.pupil_px)

    @property
    def limbus(self) -> EllipsePx:
        """The ellipse nearest to the limbus."""
        return ellipse_of(self.limbus_px)

    def document(self) -> dict[str, Any]:
        """Return the truth as it is written beside a picture."""
        names: tuple[ReflexName, ...] = ("P1", "P2", "P3", "P4")
        return {
            "drawn_by": "this project",
            "reflexes": {name: {"points_px": self.points_px(name)} for name in names},
            "pupil": {"ellipse_px": _ellipse_document(self.pupil)},
            "limbus": {"ellipse_px": _ellipse_document(self.limbus)},
            "eye_rotation_deg": list(self.turn_deg),
            "lens_tilt_deg": None if self.lens_tilt_deg is None else list(self.lens_tilt_deg),
            "lens_pole_mm": None if self.lens_pole_mm is None else list(self.lens_pole_mm),
            "px_per_mm": self.px_per_mm,
        }


def ellipse_of(points_px: FloatArray) -> EllipsePx:
    """Which ellipse lies nearest to these points?

    Examples
    --------
    >>> around = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    >>> round(ellipse_of(np.column_stack([9 * np.cos(around), 7 * np.sin(around)])).a, 6)
    9.0
    """
    found = fit_ellipse(points_px).ellipse
    turn_deg = math.degrees(found.angle_rad) % 180.0
    return EllipsePx(found.cx, found.cy, found.a, found.b, turn_deg)


def _ellipse_document(one: EllipsePx) -> dict[str, float]:
    return {"cx": one.cx, "cy": one.cy, "a": one.a, "b": one.b, "angle_deg": one.angle_deg}


def pupil_curve_px(scene: FrameScene) -> FloatArray:
    """Where does the pupil's margin appear through the cornea? Shape (360, 2)."""
    points = scene.pupil.points_mm(RIM_POINTS)
    depth = np.full(len(points), -scene.model.stop_depth_mm)
    return scene.sight.project(np.column_stack([points, depth]))


def limbus_curve_px(scene: FrameScene) -> FloatArray:
    """Where does the limbus appear? Shape (360, 2)."""
    points = scene.limbus.points_mm(RIM_POINTS)
    depth = np.full(len(points), -scene.limbus_depth_mm)
    return scene.sight.project_in_air(np.column_stack([points, depth]))


def frame_truth(scene: FrameScene) -> FrameTruth:
    """What is true of this scene?

    Reflexes behind the iris or beside the optic are not painted, nor those that the look hides.
    """
    seen = tuple(
        one for one in reflexes(scene.model, scene.pose, scene.setup) if math.isfinite(one.px[0])
    )
    painted = tuple(
        (one.name, one.lamp)
        for one in seen
        if one.status == "seen" and one.name not in scene.look.hidden
    )
    model, tilt, pole = scene.model, None, None
    if model.lens_limits_mm is not None:
        x_rad, y_rad = model.lens.tilt_rad
        tilt = (math.degrees(x_rad), math.degrees(y_rad))
        x, y, _ = EyePlane.of_lens(model, model.lens_limits_mm[0]).point_mm
        pole = (x, y)
    turn_x, turn_y = scene.pose.turn_rad
    return FrameTruth(
        seen,
        painted,
        pupil_curve_px(scene),
        limbus_curve_px(scene),
        (math.degrees(turn_x), math.degrees(turn_y)),
        tilt,
        pole,
        scene.setup.camera.px_per_mm,
    )
