"""What was found in a frame, marked on it: rings, reflexes, targets, and a close-up with names."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from rimwise.picture.raster import Raster
from rimwise.records.eye import ReflexName
from rimwise.records.frame import FrameFinding, TargetFinding, TargetName
from rimwise.records.picture import PictureSheet
from rimwise.report.frame_words import TARGET_WORDS
from rimwise.report.look import LOOK
from rimwise.report.on_photo import casing, draw_curve, ellipse_points, lay_photograph
from rimwise.report.upright import upright_pixels, upright_points
from rimwise.terms.arrays import FloatArray
from rimwise.terms.frames import PictureFrame, examiner_from_nasal_superior

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_95 = math.sqrt(5.991464547107979)
# Shape before colour: each reflex has its own mark, each ring its own dashes.
_MARKS: dict[ReflexName, str] = {"P1": "o", "P2": "v", "P3": "s", "P4": "D"}
_FAR: tuple[ReflexName, ...] = ("P3",)  # large and far off: told on the frame, not in the close-up
_LEAST_REACH = 0.055  # of the frame's width: half of the close-up at the least
_LETTER = 0.062  # of the close-up's height: one line of its labels
# The opening is planned about the first of these that is told.
_ORDER: tuple[TargetName, ...] = ("visual_axis", "lens_pole", "line_of_sight", "corneal_axis")
_GHOST = "P4 after the turn"


@dataclass(frozen=True, slots=True)
class CloseUp:
    """Which square of the upright picture is enlarged?"""

    middle_px: tuple[float, float]
    reach_px: float


def close_up_of(raster: Raster, finding: FrameFinding) -> CloseUp | None:
    """Which part holds the reflexes near the middle, the ghost and the targets?

    Examples
    --------
    >>> black = Raster(np.zeros((60, 80), dtype=np.uint8))
    >>> close_up_of(black, FrameFinding("f.jpg", "left", "natural", "refused")) is None
    True
    """
    named = [point for point, _ in _named_points(raster, finding)]
    if not named:
        return None
    points = np.concatenate([*_pattern_points(raster, finding), np.array(named)])
    low, high = points.min(axis=0), points.max(axis=0)
    middle = 0.5 * (low + high)
    least = _LEAST_REACH * upright_pixels(raster).shape[1]
    across, along = (float(v) for v in high - low)
    reach = max(1.2 * across, 0.7 * along, least)  # the names stand at the left and right border
    return CloseUp((float(middle[0]), float(middle[1])), reach)


def mark_frame(axes: "Axes", raster: Raster, finding: FrameFinding, sheet: PictureSheet) -> None:
    """Draw the whole frame: rings, reflexes, targets, compass, mm bar, and what is enlarged."""
    shown = lay_photograph(axes, raster)
    if finding.limbus is not None:
        ring = ellipse_points(finding.limbus.ellipse_px)
        draw_curve(axes, raster, ring, LOOK.optic_curve, "solid")
    if finding.pupil is not None:
        ring = ellipse_points(finding.pupil.ellipse_px)
        draw_curve(axes, raster, ring, LOOK.pupil_curve, (0, (5, 3)))
    _draw_reflexes(axes, raster, finding, 26.0)
    _draw_targets(axes, raster, finding, 7.0)
    part = close_up_of(raster, finding)
    if part is not None:
        _outline(axes, part)
    for name in _FAR:
        one = finding.reflexes.get(name)
        if one is not None:
            points = upright_points(np.array([p for p in one.points_px if p is not None]), raster)
            _label(axes, points[int(points[:, 0].argmax())], name)
    _draw_compass(axes, raster, finding, sheet)
    if finding.scale is not None:
        _draw_bar(axes, shown, finding.scale.px_per_mm.value)


def mark_close_up(axes: "Axes", raster: Raster, finding: FrameFinding, part: CloseUp) -> None:
    """Draw the close-up: the same marks, larger and named, with nothing laid on the reflexes."""
    shown = upright_pixels(raster)
    (u, v), reach = part.middle_px, part.reach_px
    left, right = max(int(u - reach) - 1, 0), min(int(u + reach) + 2, shown.shape[1])
    top, down = max(int(v - reach) - 1, 0), min(int(v + reach) + 2, shown.shape[0])
    grey: dict[str, Any] = {"cmap": "gray", "vmin": 0, "vmax": 255} if shown.ndim == 2 else {}
    axes.imshow(
        shown[top:down, left:right],
        extent=(left - 0.5, right - 0.5, down - 0.5, top - 0.5), **grey,
    )  # fmt: skip
    axes.set_facecolor(LOOK.casing)
    axes.set_xlim(u - reach, u + reach)
    axes.set_ylim(v + reach, v - reach)
    axes.set_xticks([])
    axes.set_yticks([])
    _draw_reflexes(axes, raster, finding, 150.0)
    _draw_targets(axes, raster, finding, 13.0)
    if finding.pupil is not None:
        ring = ellipse_points(finding.pupil.ellipse_px)
        draw_curve(axes, raster, ring, LOOK.pupil_curve, (0, (5, 3)))
    _name_all(axes, _named_points(raster, finding), part)


def spread_outline(target: TargetFinding) -> FloatArray:
    """Return the outline, (73, 2), in which the target lies with 95 %."""
    uu, vv, uv = target.spread_px
    root = np.linalg.cholesky(np.array([[uu, uv], [uv, vv]]) + 1e-9 * np.eye(2))
    around = np.radians(np.arange(0.0, 361.0, 5.0))
    circle = np.stack([np.cos(around), np.sin(around)])
    return np.asarray(np.array(target.px) + _95 * (root @ circle).T)


def _pattern_points(raster: Raster, finding: FrameFinding) -> list[FloatArray]:
    """Return all spots that the close-up shows, upright, one array a reflex."""
    found = [
        np.array([p for p in one.points_px if p is not None])
        for name, one in finding.reflexes.items()
        if one is not None and name not in _FAR
    ]
    if finding.offset is not None and finding.offset.ghost_px:
        found.append(np.array(finding.offset.ghost_px))
    return [upright_points(points, raster) for points in found if len(points)]


def _named_points(raster: Raster, finding: FrameFinding) -> list[tuple[FloatArray, str]]:
    """Return what the close-up names: a place in the upright picture and its words."""
    named: list[tuple[FloatArray, str]] = []
    for name, one in finding.reflexes.items():
        if one is not None and name not in _FAR:
            points = np.array([p for p in one.points_px if p is not None])
            shown = upright_points(points, raster)
            named.append((shown[int(shown[:, 0].argmax())], name))
    if finding.offset is not None and finding.offset.ghost_px:
        ghost = upright_points(np.array(finding.offset.ghost_px), raster)
        named.append((ghost[int(ghost[:, 0].argmin())], _GHOST))
    for target_name in _ORDER:
        target = finding.targets.get(target_name)
        if target is not None:
            at = upright_points(np.array([target.px]), raster)[0]
            named.append((at, TARGET_WORDS[target_name]))
    return named


def _name_all(axes: "Axes", named: list[tuple[FloatArray, str]], part: CloseUp) -> None:
    """Write the names at both borders, each on a line of its own, with a line to its place."""
    (u, v), reach = part.middle_px, part.reach_px
    by_x = sorted(named, key=lambda one: float(one[0][0]))
    half = (len(by_x) + 1) // 2
    for group, sign in ((by_x[:half], -1.0), (by_x[half:], 1.0)):
        ordered = sorted(group, key=lambda one: float(one[0][1]))
        lines = label_lines([float((at[1] - v) / reach) for at, _ in ordered], 2.0 * _LETTER)
        for (at, words), line in zip(ordered, lines, strict=True):
            end = (u + sign * 0.97 * reach, v + line * reach)
            axes.annotate(
                words, (float(at[0]), float(at[1])), xytext=end, va="center",
                ha="right" if sign > 0.0 else "left", color=LOOK.paper, fontsize=LOOK.small_pt,
                path_effects=casing(),
                arrowprops={"arrowstyle": "-", "color": LOOK.paper, "linewidth": 0.6, "alpha": 0.8},
            )  # fmt: skip


def label_lines(wanted: list[float], apart: float) -> list[float]:
    """On which heights (−1 to 1, ascending) stand labels that want these and must not touch?

    Examples
    --------
    >>> label_lines([0.0, 0.01, 0.9], 0.1)
    [0.0, 0.1, 0.9]
    >>> [round(line, 2) for line in label_lines([0.95, 0.96], 0.1)]
    [0.84, 0.94]
    """
    lines: list[float] = []
    for want in wanted:
        lines.append(max(want, lines[-1] + apart) if lines else max(want, -1.0 + 0.6 * apart))
    highest = 1.0 - 0.6 * apart
    for k in range(len(lines) - 1, -1, -1):
        lines[k] = min(lines[k], highest)
        highest = lines[k] - apart
    return lines


def _label(axes: "Axes", at: FloatArray, words: str) -> None:
    axes.annotate(
        words, (float(at[0]), float(at[1])), xytext=(7.0, 0.0), textcoords="offset points",
        color=LOOK.paper, fontsize=LOOK.small_pt, path_effects=casing(), annotation_clip=True,
        va="center",
    )  # fmt: skip


def _outline(axes: "Axes", part: CloseUp) -> None:
    (u, v), reach = part.middle_px, part.reach_px
    x = [u - reach, u + reach, u + reach, u - reach, u - reach]
    y = [v - reach, v - reach, v + reach, v + reach, v - reach]
    axes.plot(x, y, color=LOOK.paper, linewidth=0.8, alpha=0.8)


def _draw_reflexes(axes: "Axes", raster: Raster, finding: FrameFinding, size: float) -> None:
    for name, one in finding.reflexes.items():
        points = [] if one is None else [p for p in one.points_px if p is not None]
        if points:
            _marks(axes, upright_points(np.array(points), raster), _MARKS[name], size)
    ghost = () if finding.offset is None else finding.offset.ghost_px
    if ghost:
        _marks(axes, upright_points(np.array(ghost), raster), _MARKS["P4"], size, ghost=True)


def _marks(axes: "Axes", shown: FloatArray, marker: str, size: float, ghost: bool = False) -> None:
    """Draw hollow marks, cased; a ghost's outline is broken."""
    lines: tuple[tuple[str, float, Any], ...] = (
        (LOOK.casing, 2.4, "solid"),
        (LOOK.opening_curve, 1.2, (0, (1.6, 1.1)) if ghost else "solid"),
    )
    for colour, width, line in lines:
        axes.scatter(
            shown[:, 0], shown[:, 1], s=size, marker=marker, facecolors="none",
            edgecolors=colour, linewidths=width, linestyle=line,
        )  # fmt: skip


def _draw_targets(axes: "Axes", raster: Raster, finding: FrameFinding, size: float) -> None:
    told = [finding.targets.get(name) for name in _ORDER]
    for k, target in enumerate([one for one in told if one is not None]):
        at = upright_points(np.array([target.px]), raster)[0]
        for colour, width in ((LOOK.casing, 2.4), (LOOK.paper, 1.1)):
            axes.plot(*at, marker="+", markersize=size, color=colour, markeredgewidth=width)
        if k == 0:
            draw_curve(axes, raster, spread_outline(target), LOOK.paper, (0, (1.2, 1.2)))
            if target.opening_ring_px is not None:
                ring = np.array([*target.opening_ring_px, target.opening_ring_px[0]])
                draw_curve(axes, raster, ring, LOOK.opening_curve, (0, (6, 2, 1.2, 2)))


def _draw_bar(axes: "Axes", shown: Any, px_per_mm: float) -> None:
    """Draw a bar of one millimetre of the limbus plane, in the corner away from the compass."""
    right, low = 0.97 * shown.shape[1], 0.955 * shown.shape[0]
    for colour, width in ((LOOK.casing, 5.5), (LOOK.paper, 3.0)):
        axes.plot([right - px_per_mm, right], [low, low], color=colour, linewidth=width,
                  solid_capstyle="butt")  # fmt: skip
    axes.text(right, low - 0.012 * shown.shape[0], "1 mm (limbus plane)", color=LOOK.paper,
              fontsize=LOOK.small_pt, ha="right", va="bottom", path_effects=casing())  # fmt: skip


def _draw_compass(axes: "Axes", raster: Raster, finding: FrameFinding, sheet: PictureSheet) -> None:
    """Say at the picture's corner where up and nasal are."""
    frame: PictureFrame = sheet.frame.stored(raster.orientation)
    nasal, _ = examiner_from_nasal_superior(1.0, 0.0, finding.side)
    shown = upright_pixels(raster)
    reach = 0.05 * shown.shape[1]
    origin = upright_points(np.zeros((1, 2)), raster)[0]
    middle = np.array([0.085 * shown.shape[1], shown.shape[0] - 0.1 * shown.shape[1]])
    for words, way in (("up", (0.0, 1.0)), ("nasal", (nasal, 0.0))):
        ahead = frame.picture_from_examiner(np.array([way]))
        turned = upright_points(ahead, raster)[0] - origin
        end = middle + reach * turned
        for colour, width in ((LOOK.casing, 3.0), (LOOK.paper, 1.2)):
            axes.plot(*np.array([middle, end]).T, color=colour, linewidth=width)
        at = end + 0.02 * shown.shape[1] * turned
        axes.text(float(at[0]), float(at[1]), words, color=LOOK.paper, ha="center", va="center",
                  fontsize=LOOK.small_pt, path_effects=casing())  # fmt: skip
