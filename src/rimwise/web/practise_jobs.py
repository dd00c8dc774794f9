"""A picture to practise on: drawn, measured, and its truth known."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PractisePicture:
    """An invented photograph and the opening in it, as ``PractisePhoto`` of the demo.

    ``wanted_mm`` is told of a frame before the opening is made: how large the planned one is.
    """

    data: bytes
    side: str
    size_px: tuple[int, int]
    centre_px: tuple[float, float]
    diameter_px: float
    mm_per_px: float
    nasal: tuple[float, float]
    superior: tuple[float, float]
    measured_mm: tuple[float, float] | None
    wanted_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Placed:
    """What a learner placed, and how far it is off; nasal, superior and larger are positive."""

    x_px: float
    y_px: float
    diameter_px: float
    nasal_mm: float
    superior_mm: float
    diameter_off_mm: float


def practise_job(level: str, seed: int) -> PractisePicture:
    """Which picture of this level is there to practise on?"""
    from rimwise.demo.practising import draw_practice  # noqa: PLC0415

    one = draw_practice(level, seed)
    return PractisePicture(
        one.data, one.side, one.size_px, one.centre_px, one.diameter_px, one.mm_per_px, one.nasal,
        one.superior, one.measured_mm,
    )  # fmt: skip


def practise_frame_job(level: str, seed: int) -> PractisePicture:
    """Which frame of this level, before the opening is made, is there to practise on?"""
    from rimwise.demo.practising_frames import draw_practice_frame  # noqa: PLC0415

    one, wanted_mm = draw_practice_frame(level, seed)
    return PractisePicture(
        one.data, one.side, one.size_px, one.centre_px, one.diameter_px, one.mm_per_px, one.nasal,
        one.superior, one.measured_mm, wanted_mm,
    )  # fmt: skip


def placed_on(picture: PractisePicture, x_px: float, y_px: float, diameter_px: float) -> Placed:
    """How far off is what a learner placed?

    Examples
    --------
    >>> picture = PractisePicture(b"", "right", (100, 100), (50.0, 50.0), 40.0, 0.1,
    ...                           (1.0, 0.0), (0.0, -1.0), None)
    >>> off = placed_on(picture, 52.0, 49.0, 42.0)
    >>> round(off.nasal_mm, 6), round(off.superior_mm, 6), round(off.diameter_off_mm, 6)
    (0.2, 0.1, 0.2)
    """
    dx, dy = x_px - picture.centre_px[0], y_px - picture.centre_px[1]
    nasal = dx * picture.nasal[0] + dy * picture.nasal[1]
    superior = dx * picture.superior[0] + dy * picture.superior[1]
    off = diameter_px - picture.diameter_px
    scale = picture.mm_per_px
    return Placed(x_px, y_px, diameter_px, nasal * scale, superior * scale, off * scale)
