"""Where may each reflex be, how large, and how sure is that, before anyone looks?"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rimwise.align.looking import Looking
from rimwise.eye.model import EyeModel
from rimwise.published.load import published_value
from rimwise.purkinje.forward import Engine, reflexes
from rimwise.records.eye import EyePose, Reflex, ReflexName
from rimwise.terms.arrays import FloatArray

_PROBE_RAD = 0.01
_PROBE_MM = 0.1
# Points of all lamps, share of the light, size: by reflex.
Look = dict[ReflexName, tuple[FloatArray, float, float]]


@dataclass(frozen=True, slots=True)
class SpreadSettings:
    """How well biometry tells a reflex, with reasons.

    Parameters
    ----------
    place_mm : float
        Of its place, from radii nobody measured.
    smaller, larger : float
        Relative, of the pattern's size, downwards and upwards.
    """

    place_mm: float
    smaller: float
    larger: float


# Radii of natural lenses scatter by some 10 percent, and away from the pole a front flattens,
# which draws P3 out but never in (bubbles show smaller patterns); an implant's radii are whatever
# its maker chose for a power that the sheet does not tell.
_SPREADS: dict[tuple[bool, ReflexName], SpreadSettings] = {
    (True, "P1"): SpreadSettings(0.02, 0.015, 0.015),
    (True, "P2"): SpreadSettings(0.03, 0.05, 0.05),
    (True, "P3"): SpreadSettings(0.25, 0.08, 0.28),
    (True, "P4"): SpreadSettings(0.10, 0.08, 0.08),
    (False, "P1"): SpreadSettings(0.02, 0.015, 0.015),
    (False, "P2"): SpreadSettings(0.03, 0.05, 0.05),
    (False, "P3"): SpreadSettings(0.35, 0.40, 0.40),
    (False, "P4"): SpreadSettings(0.35, 0.35, 0.35),
}


@dataclass(frozen=True, slots=True)
class Expected:
    """One reflex of all lamps as the model foretells it, stored pixels.

    Parameters
    ----------
    name : str
    place_px : array (2,)
        Mean over the lamps.
    offsets_px : array (n, 2)
        Of each lamp's reflex from the mean.
    sd_px : float
        Of the place, each coordinate.
    size_sd : (float, float)
        Relative, of the offsets, downwards and upwards.
    light : float
        Share of the light that comes back.
    height : float
        Size of its spots over those of P1; negative inverted.
    """

    name: ReflexName
    place_px: FloatArray
    offsets_px: FloatArray
    sd_px: float
    size_sd: tuple[float, float]
    light: float
    height: float


def expected(
    of: Looking, pose: EyePose, turn_sd_rad: float, names: tuple[ReflexName, ...], compiled: bool
) -> dict[ReflexName, Expected]:
    """Where may these reflexes be, if P1 is where the pose puts it?

    Parameters
    ----------
    of : Looking
    pose : EyePose
    turn_sd_rad : float
        How far the eye may really be turned otherwise, P1 staying where it is.
    names : tuple of str
    compiled : bool
        False spares loading the compiler.
    """
    if names == ("P1",):
        return _alone(of, pose, compiled)
    every: tuple[ReflexName, ...] = ("P1", *(name for name in names if name != "P1"))
    engine: Engine = "compiled" if compiled else "plain"
    model = of.model
    turned = EyePose((pose.turn_rad[0] + _PROBE_RAD, pose.turn_rad[1]), pose.shift_mm)
    looks = [
        _places(reflexes(one, way, of.setup, every, engine))
        for one, way in (
            (model, pose),
            (model, turned),
            *((moved, pose) for moved in _moved(model)),
        )
    ]
    found: dict[ReflexName, Expected] = {}
    base, natural = looks[0], of.record.lens == "natural"
    for name in names:
        if not all(name in look for look in looks):
            continue
        points, light, size = base[name]
        spread = _SPREADS[natural, name]
        sd = math.hypot(_moves_px(looks, name, turn_sd_rad), spread.place_mm * of.px_per_mm.value)
        mean, height = points.mean(axis=0), size / base["P1"][2]
        sizes = (spread.smaller, spread.larger)
        found[name] = Expected(name, mean, points - mean, sd, sizes, light, height)
    return found


@lru_cache(maxsize=8)  # the frames of a clip have one eye
def _moved(model: EyeModel) -> tuple[EyeModel, EyeModel]:
    """Return the eye with its lens tilted a little, and shifted a little."""
    tilted = model.with_lens((_PROBE_RAD, 0.0), (0.0, 0.0))
    return tilted, model.with_lens((0.0, 0.0), (_PROBE_MM, 0.0))


def _moves_px(looks: list[Look], name: ReflexName, turn_sd_rad: float) -> float:
    """How far may turn (P1 staying), tilt and shift of the lens carry a reflex, one sd?"""
    move = [look[name][0].mean(axis=0) - looks[0][name][0].mean(axis=0) for look in looks[1:]]
    own = move[0] - (looks[1]["P1"][0] - looks[0]["P1"][0]).mean(axis=0)
    tilt_rad = math.radians(published_value("eye_priors", "lens_tilt").sd or 0.0)
    shift_mm = published_value("eye_priors", "lens_shift").sd or 0.0
    parts = (
        turn_sd_rad / _PROBE_RAD * own,
        tilt_rad / _PROBE_RAD * move[1],
        shift_mm / _PROBE_MM * move[2],
    )
    return math.hypot(*(float(np.linalg.norm(part)) for part in parts))


def _alone(of: Looking, pose: EyePose, compiled: bool) -> dict[ReflexName, Expected]:
    """Return P1, whose place is the pose's own."""
    engine: Engine = "compiled" if compiled else "plain"
    points, light, _ = _places(reflexes(of.model, pose, of.setup, ("P1",), engine))["P1"]
    spread = _SPREADS[of.record.lens == "natural", "P1"]
    mean, sd = points.mean(axis=0), spread.place_mm * of.px_per_mm.value
    sizes = (spread.smaller, spread.larger)
    return {"P1": Expected("P1", mean, points - mean, sd, sizes, light, 1.0)}


def _places(seen: tuple[Reflex, ...]) -> Look:
    points: dict[ReflexName, list[tuple[float, float]]] = {}
    light: dict[ReflexName, tuple[float, float]] = {}
    for one in seen:
        points.setdefault(one.name, []).append(one.px)
        light[one.name] = (one.light, one.magnification)
    return {
        name: (np.array(px), *light[name])
        for name, px in points.items()
        if np.isfinite(np.array(px)).all()
    }
