"""Tears: where an opening's edge leaves its round course for the rim, steeper than it is traced."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter1d

from rimwise.geometry.arcs import runs_round
from rimwise.picture.iris_colour import clear_of_iris
from rimwise.picture.paths import steep_path
from rimwise.picture.planes import Planes
from rimwise.picture.rim import COLUMNS, Rim
from rimwise.picture.rims_own import SETTINGS as OWN
from rimwise.picture.seam import Seam, SeamLevels
from rimwise.picture.strip import unroll
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class TearSettings:
    """When a tear is followed, with reasons.

    Parameters
    ----------
    shortest, longest : int
        Half degrees over which the edge is lost or weak: at least 2°, and no more than 60°.
    ends : int
        Half degrees by which it is opened on both sides: the path that could not follow left the
        edge before it was given up.
    in_sight : float
        Share of the gap that no iris and no reflex hides: what is hidden has no known course.
    step, toll : int, float
        Rows to the next half degree, and what each costs: a tear of 0.9 mm may be as narrow as 12°,
        and a path of texture would zigzag.
    rise, strength, shown : float, float, float
        The new course must stand out as any edge does, over this share of its way.
    alike, enough : float, int
        It must be so strong, against the rest of the edge, in the median, and so many pixels long.
    out, in_ : float
        Shares of the rim's radius by which it leads outwards at least, and inwards at most: a tear
        runs towards the lens's equator (common practice, no source).
    lost, strong : float
        Shares of its usual strength: below the first an edge is lost, above the second it is there.
    """

    shortest: int = 4
    longest: int = 120
    ends: int = 8
    in_sight: float = 0.9
    step: int = 10
    toll: float = 0.15
    rise: float = 1.2
    strength: float = 2.5
    shown: float = 0.8
    alike: float = 0.6
    enough: int = 16
    out: float = 0.04
    in_: float = 0.02
    lost: float = 0.3
    strong: float = 0.7


SETTINGS = TearSettings()
_GLOW = 0.05  # of the rim's radius: how far inside of it a path follows its own lines
_NEAR = 5  # half degrees: a smoothed path cuts the corner where an edge breaks off
_OVER_FEW, _SUDDEN = 3, 8  # half degrees: an edge torn off ends within 4°
# From where to where about its course, in radii of the rim, light is read; and how much more of it,
# log units, is a mirror image's.
_LIT, _ADDED = (-0.08, 0.03), 0.1
_OVER = 5  # half degrees over which strength is averaged


@dataclass(frozen=True, slots=True)
class Tears:
    """An edge with its tears.

    Parameters
    ----------
    seam : Seam
    found : array (720,) of bool
        Where the edge stands out, tears included.
    depth_px : array (720,)
        How far a tear that was followed leads out of the edge's course; 0 elsewhere.
    broken : array (720,) of bool
        Where the edge breaks off and begins again though nothing hides it, and no tear was found:
        there may be one all the same.
    """

    seam: Seam
    found: BoolArray
    depth_px: FloatArray
    broken: BoolArray

    @property
    def clear(self) -> BoolArray:
        """Where no tear is, and none may be: there a radius is well defined."""
        near = np.stack([np.roll(self.broken, turn) for turn in (-_NEAR, 0, _NEAR)]).any(axis=0)
        return np.asarray(~near & (self.depth_px == 0.0))


def followed_into_tears(seam: Seam, found: BoolArray, rim: Rim, margin_px: FloatArray) -> Tears:
    """Does the edge go on, farther out, where its round course was lost?

    Parameters
    ----------
    seam : Seam
        With the levels that it was traced in.
    found : array (720,) of bool
        Where it stands out.
    rim : Rim
    margin_px : array (720,)
        Radius of the pupil's margin about the rim's centre.

    Notes
    -----
    Own derivation. The closed path of :func:`rimwise.picture.seam.find_seams` moves one row in a
    half degree at most, 20° off the round, or texture would lead it astray. A tear is steeper. In a
    gap that nothing hides the strip is searched anew for the best way from end to end, as steep as
    it may be; it is taken if it stands out nearly all the way, as the rest of the edge does.

    Examples
    --------
    >>> from rimwise.picture.seam import SeamLevels
    >>> none, full = np.zeros(720), np.full(720, 8.0)
    >>> rim = Rim(4.0, 1.0, 0.5, (600.0, 450.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none + 300.0, none)
    >>> told, columns = np.zeros((200, 720)), np.arange(720)
    >>> edge = np.rint(30.0 + 99.0 * np.exp(-0.5 * ((columns - 360) / 12.0) ** 2)).astype(int)
    >>> for row in range(-3, 4):
    ...     told[edge + row, columns] = 8.0
    >>> levels = SeamLevels(told, told, told == told, np.arange(200.0) - 90.0)
    >>> torn = np.abs(columns - 360) < 30
    >>> round_px = none + 240.0
    >>> seam = Seam(round_px, np.where(torn, 0.0, full), full, none == 0.0, 0.7, round_px, levels)
    >>> tears = followed_into_tears(seam, ~torn, rim, none + 400.0)
    >>> float(tears.seam.radii_px[360]), int(tears.found.sum()), int(tears.depth_px[360])
    (336.0, 720, 96)
    """
    depth = np.zeros(COLUMNS)
    if seam.levels is None or not found.any():
        return Tears(seam, found, depth, depth > 0.0)
    found = found.copy()
    usual = float(np.median(seam.strength[found]))
    strength = uniform_filter1d(seam.strength, _OVER, mode="wrap")
    # Beside the rim a strength far below the usual may be that of the rim's own lines.
    weak = strength < np.where(_beside(seam, rim), SETTINGS.alike * usual, SETTINGS.strength)
    for stretch in _stretches(~found | weak, seam, rim):
        opened = np.arange(-SETTINGS.ends, len(stretch) + SETTINGS.ends)
        gap = (stretch[0] + opened) % COLUMNS
        rows = _way(seam, seam.levels, gap, rim, usual, margin_px)
        if rows is None:
            continue
        seam = _with_way(seam, seam.levels, gap, rows, rim)
        found[gap] |= seam.usable[gap]
        depth[gap] = np.maximum(_outwards(rows), 0.0)
    return Tears(seam, found, depth, _broken(seam, found, rim, usual) & (depth == 0.0))


def breaks_in_sight(planes: Planes, rim: Rim, tears: Tears) -> Tears:
    """Does a lamp's mirror image lie over a break? A faint one hides an edge and is no glare yet.

    Parameters
    ----------
    planes : Planes
    rim : Rim
    tears : Tears

    Notes
    -----
    A mirror image adds light; where capsule is missing there is less, or as much. A break that is
    brighter than the opening on both its sides is hidden, not torn.

    Examples
    --------
    >>> from rimwise.picture.planes import planes_of
    >>> from rimwise.picture.raster import Raster
    >>> grey, none = np.full((900, 1200, 3), 90, dtype=np.uint8), np.zeros(720)
    >>> grey[440:460, 800:900] += 40
    >>> rim = Rim(4.0, 1.0, 0.5, (700.0, 525.0), 300.0, (0.0, 0.0), 0.5, np.zeros((5, 5)),
    ...           none == 0.0, none + 300.0, none)
    >>> seam = Seam(none + 270.0, none, none, none == 0.0, 0.7, none + 270.0)
    >>> at = np.arange(720)
    >>> broken = (at < 8) | (np.abs(at - 300) < 8)
    >>> left = breaks_in_sight(planes_of(Raster(grey)), rim, Tears(seam, none > 0, none, broken))
    >>> bool(left.broken[0]), bool(left.broken[300])
    (False, True)
    """
    if not tears.broken.any():
        return tears
    inner, outer = (round(share * rim.radius_px) for share in _LIT)
    rows = tears.seam.radii_px[None, :] + np.arange(inner, outer + 1)[:, None]
    light = unroll(planes.log_mean, rim.centre_px, rows).mean(axis=0)
    broken = tears.broken.copy()
    aside = np.arange(_NEAR, _NEAR + 12)
    for columns in runs_round(broken):
        sides = [light[at % COLUMNS].mean() for at in (columns[0] - aside, columns[-1] + aside)]
        broken[columns] = light[columns].max() <= max(sides) + _ADDED
    return replace(tears, broken=broken)


def _beside(seam: Seam, rim: Rim) -> BoolArray:
    """Return where the edge runs among the rim's own lines."""
    beyond = (seam.radii_px - rim.radii_px) / rim.radius_px
    return np.asarray((beyond > -_GLOW) & (beyond < OWN.rim_reach))


def _stretches(lost: BoolArray, seam: Seam, rim: Rim) -> list[IntArray]:
    """Return the columns of each stretch without an edge, in order and in sight.

    Beside the rim a path that has lost its edge follows the rim's own lines, which are no edge
    begun again: what runs there belongs to the stretch that it adjoins.
    """
    found = []
    for columns in runs_round(lost | _beside(seam, rim)):
        in_sight = seam.usable[columns].mean() >= SETTINGS.in_sight
        enough = lost[columns].sum() >= SETTINGS.shortest and len(columns) <= SETTINGS.longest
        if in_sight and enough:
            found.append(columns)
    return found


def _broken(seam: Seam, found: BoolArray, rim: Rim, usual: float) -> BoolArray:
    """Where does a strong edge end within a few half degrees, and begin again as suddenly?

    An edge that fades does so over tens of degrees.
    """
    strength = uniform_filter1d(seam.strength, _OVER_FEW, mode="wrap")
    beside = np.arange(1, 2 * _SUDDEN + 1)
    broken = np.zeros(COLUMNS, dtype=np.bool_)
    for columns in _stretches(strength < SETTINGS.lost * usual, seam, rim):
        sides = (columns[0] - beside) % COLUMNS, (columns[-1] + beside) % COLUMNS
        broken[columns] = all(
            (strength[side[:_SUDDEN]] > SETTINGS.strong * usual).any() and found[side].any()
            for side in sides
        )
    return broken


def _way(
    seam: Seam, levels: SeamLevels, gap: IntArray, rim: Rim, usual: float, margin_px: FloatArray
) -> IntArray | None:
    """Return the rows of a tear in this gap, if there is one."""
    lost = np.zeros(len(gap), dtype=np.bool_)
    lost[SETTINGS.ends : -SETTINGS.ends] = True
    old = np.rint(seam.radii_px - rim.radii_px - levels.offset_px[0]).astype(np.int64)[gap]
    old = np.clip(old, 0, len(levels.told) - 1)
    # What is left of the rim's own lines, on the inner side also of its glow, is no edge of a tear.
    beyond = levels.offset_px / rim.radius_px
    off_rim = (beyond > OWN.rim_reach) | (beyond < -OWN.double_reach)
    told = levels.told[:, gap] * off_rim[:, None]
    rows = steep_path(-told, (int(old[0]), int(old[-1])), SETTINGS.step, SETTINGS.toll)
    outwards = _outwards(rows)
    radius = rim.radius_px
    if outwards.max() < SETTINGS.out * radius or outwards.min() < -SETTINGS.in_ * radius:
        return None
    every, rows_between = _every_pixel(rows)
    columns = gap[every]
    strength = uniform_filter1d(told[rows_between, every], _OVER)
    rise = uniform_filter1d(levels.rise[rows_between, columns], _OVER)
    shown = (strength > SETTINGS.strength) & (rise > SETTINGS.rise)
    shown &= levels.usable[rows_between, columns]
    own = rim.radii_px[columns] / radius
    shown &= clear_of_iris(own + beyond[rows_between], own, margin_px[columns] / radius)
    counted = lost[every] & off_rim[rows_between]
    if counted.sum() < SETTINGS.enough or shown[counted].mean() < SETTINGS.shown:
        return None
    return rows if np.median(strength[counted]) > SETTINGS.alike * usual else None


def _outwards(rows: IntArray) -> FloatArray:
    """Return how far a way leads out of the straight one between its ends."""
    return rows - np.linspace(float(rows[0]), float(rows[-1]), len(rows))


def _every_pixel(rows: IntArray) -> tuple[IntArray, IntArray]:
    """Return columns and rows of all samples that a steep path passes, many in one column."""
    columns, passed = [np.array([0])], [rows[:1]]
    for column in range(1, len(rows)):
        first, last = rows[column - 1], rows[column]
        way = np.linspace(first, last, max(1, abs(int(last - first))) + 1)[1:]
        passed.append(np.rint(way).astype(np.int64))
        columns.append(column - (np.arange(len(way)) < len(way) // 2).astype(np.int64))
    return np.concatenate(columns), np.concatenate(passed)


def _with_way(seam: Seam, levels: SeamLevels, columns: IntArray, rows: IntArray, rim: Rim) -> Seam:
    """Return the seam along this way."""

    def along(values: FloatArray, new: FloatArray) -> FloatArray:
        changed = values.copy()
        changed[columns] = new
        return changed

    usable = seam.usable.copy()
    usable[columns] = levels.usable[rows, columns]
    radii = rim.radii_px[columns] + levels.offset_px[rows]
    return replace(
        seam,
        radii_px=along(seam.radii_px, radii),
        steepest_px=along(seam.steepest_px, radii),
        strength=along(seam.strength, levels.told[rows, columns]),
        rise=along(seam.rise, levels.rise[rows, columns]),
        usable=usable,
    )
