"""The mirrors of an eye near its axis: one equivalent mirror in air for each, in closed form."""

from dataclasses import dataclass, replace
from functools import lru_cache

from rimwise.eye.model import EyeModel
from rimwise.optics.media import Gradient, Medium
from rimwise.optics.paraxial import ray_matrix
from rimwise.records.eye import LensPlace, ReflexName
from rimwise.terms.errors import WrongInput

REFLEXES: tuple[ReflexName, ...] = ("P1", "P2", "P3", "P4")


@dataclass(frozen=True, slots=True)
class EquivalentMirror:
    """The one mirror in air that would do what an eye's surface does through all before it.

    Places are z in the eye's frame, mm (negative inside); from the matrix of the path in, back
    and out the image of a far lamp stands at depth A/C and has the height 1/C for each radian.

    Parameters
    ----------
    image_z_mm : float
        Where the image of a far lamp stands.
    height_mm : float
        Its height for each radian of the lamp's direction; positive upright.
    light : float
        Share of the light that comes back along the axis, through all surfaces twice.
    """

    image_z_mm: float
    height_mm: float
    light: float

    @property
    def vertex_z_mm(self) -> float:
        """Where the equivalent mirror stands."""
        return self.image_z_mm + self.height_mm

    @property
    def centre_z_mm(self) -> float:
        """Where its centre of curvature lies; the image follows this point when the eye turns."""
        return self.image_z_mm - self.height_mm


@lru_cache(maxsize=256)
def equivalent_mirror(
    model: EyeModel, part: int, meridian_rad: float | None = None
) -> EquivalentMirror:
    """Which mirror in air stands for this surface of the eye, near the axis?

    Parameters
    ----------
    model : EyeModel
        The lens's tilt and shift are left out of account.
    part : int
        Which of ``model.parts`` mirrors.
    meridian_rad : float, optional
        A principal meridian of an eye with cylinder; left out, each surface is taken round, with
        the mean of its two curvatures.

    Raises
    ------
    WrongInput
        If the path has no power: the image lies at infinity.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> eye = schematic_model(schematic_eye("legrand"))
    >>> p4 = equivalent_mirror(eye, eye.index_of("P4"))
    >>> round(-p4.image_z_mm, 4), round(p4.height_mm, 4), round(p4.centre_z_mm, 4)
    (4.342, -2.9746, -1.3674)
    """
    if meridian_rad is None and not any(isinstance(p.behind, Gradient) for p in model.parts):
        a, c = _round_path(model, part)
    else:
        upright = replace(model, lens=LensPlace())
        if meridian_rad is None:
            upright = replace(upright, parts=tuple(one.rounded for one in model.parts))
        a, _, c, _ = ray_matrix(upright.mirror_path(part), way=-1).in_meridian(meridian_rad or 0.0)
    if c == 0.0:
        raise WrongInput(f"part {part} of the eye {model.name!r} mirrors like a plane in air")
    # Outside again the light runs along +z: rays from a far lamp meet at -A/C along their way.
    return EquivalentMirror(-a / c, 1.0 / c, _light_on_axis(model, part))


def _round_path(model: EyeModel, part: int) -> tuple[float, float]:
    """Return A and C of the way in, back and out through round surfaces and uniform media.

    The same as :func:`rimwise.optics.paraxial.ray_matrix` gives, in plain numbers: frames of many
    eyes ask for it again and again.
    """
    curves, places, media = [], [], [1.0]
    for one in model.parts[: part + 1]:
        surface = one.surface
        curves.append(0.5 * (surface.curvature_x_per_mm + surface.curvature_y_per_mm))
        places.append(surface.pose.vertex_mm[2])
        media.append(index_at(one.behind, 0.0))
    height, slope = 1.0, 0.0
    for i in range(part):
        slope += (media[i + 1] - media[i]) * curves[i] * height
        height += (places[i] - places[i + 1]) / media[i + 1] * slope
    slope -= 2.0 * media[part] * curves[part] * height
    for i in range(part - 1, -1, -1):
        height += (places[i] - places[i + 1]) / media[i + 1] * slope
        slope += (media[i + 1] - media[i]) * curves[i] * height
    return height, slope


def mirror_of(model: EyeModel, reflex: ReflexName) -> EquivalentMirror | None:
    """Which equivalent mirror makes this reflex? None where the eye has no such surface.

    Examples
    --------
    >>> from rimwise.eye.schematic import schematic_model
    >>> from rimwise.published.eyes import schematic_eye
    >>> mirror_of(schematic_model(schematic_eye("bennett_rabbetts")), "P2") is None
    True
    """
    part = model.index_of(reflex)
    return None if part is None else equivalent_mirror(model, part)


def _light_on_axis(model: EyeModel, part: int) -> float:
    light, before = 1.0, 1.0
    for i, one in enumerate(model.parts[: part + 1]):
        z_mm = one.surface.pose.vertex_mm[2]
        behind = index_at(one.behind, z_mm)
        mirrored = ((before - behind) / (before + behind)) ** 2  # Fresnel's share along the axis
        light *= mirrored if i == part else (1.0 - mirrored) ** 2
        next_z = model.parts[i + 1].surface.pose.vertex_mm[2] if i < part else z_mm
        before = index_at(one.behind, next_z)
    return light


def index_at(medium: Medium, z_mm: float) -> float:
    """Which index has an upright medium on the eye's axis at this height?

    Examples
    --------
    >>> index_at(1.336, -3.0)
    1.336
    """
    if isinstance(medium, Gradient):
        return medium.index_on_axis(z_mm - medium.pose.vertex_mm[2])
    return medium
