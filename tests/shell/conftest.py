"""Pictures, sheets and findings that the tests of the shell share."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from real_browser import address, chromium, opened  # noqa: F401 - fixtures
from two_stores import again, server  # noqa: F401 - fixtures
from workbench import PORT, Browser, HereWorker

from rimwise.picture.raster import Raster
from rimwise.records.corrections import Corrections
from rimwise.records.cover import (
    Correction,
    CoverFinding,
    CoverProfile,
    EllipsePx,
    FoundCurves,
    FoundLimbus,
    FoundOpening,
    FoundRim,
    FoundSecond,
    LeastCover,
    OpeningFinding,
    OpticFinding,
    PupilFinding,
    Reason,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.cover_budget import CoverBudget, NumberBudget
from rimwise.records.implant_reflexes import ImplantReflexes, MirrorPlace
from rimwise.records.opacification import OpacificationFinding
from rimwise.records.picture import PictureSheet
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side
from rimwise.web.app import make_app
from rimwise.web.door import Door
from rimwise.web.keeping import Keeping


@pytest.fixture
def door() -> Door:
    return Door(PORT)


@pytest.fixture
def keeping(tmp_path: Path) -> Iterator[Keeping]:
    kept = Keeping(tmp_path / "book")
    yield kept
    kept.close()


@pytest.fixture
def outside(door: Door, keeping: Keeping) -> Browser:
    """A browser that has not come in."""
    return Browser(make_app(door, HereWorker(), keeping))


@pytest.fixture
def inside(outside: Browser, door: Door) -> Browser:
    """A browser that opened the printed address."""
    assert outside.get("/", params={"token": door.token}).status_code == 200
    return outside


@pytest.fixture
def noise() -> Image.Image:
    """A colour picture, 400 by 300 px, in which no two rows are alike."""
    values = np.random.default_rng(5).integers(0, 256, (300, 400, 3), dtype=np.uint8)
    return Image.fromarray(values)


@pytest.fixture
def photograph(tmp_path: Path, noise: Image.Image) -> Callable[..., Path]:
    """Write a picture with its sheet; ``sheet=None`` leaves the sheet out."""

    def write(name: str = "eye.png", sheet: str | None = 'side = "left"\n') -> Path:
        path = tmp_path / name
        noise.save(path)
        if sheet is not None:
            path.with_suffix(".toml").write_text(sheet, encoding="utf-8")
        return path

    return write


def full_finding(picture: str, sha256: str, side: Side, state: str) -> CoverFinding:
    """An invented finding with every part filled."""
    millimetre = Estimate(0.25, 0.03, "invented")
    seen = tuple(None if 40 <= deg < 60 else 0.3 - 0.1 * (deg % 2) for deg in range(360))
    spread = tuple(None if width is None else 0.03 for width in seen)
    edge = tuple(
        None if width is None else (100.0 + deg / 7, 90.5) for deg, width in enumerate(seen)
    )
    return CoverFinding(
        picture,
        sha256,
        side,
        state,
        "measured",
        (Reason("glare", "a reflex hides 20°"),),
        ScaleFinding(Estimate(60.1, 0.4, "optic"), "optic", "optic"),
        OpticFinding(EllipsePx(200.5, 150.25, 180.0, 179.0, 12.5), 6.0, 340),
        PupilFinding(EllipsePx(200.0, 150.0, 210.0, 208.0, 0.0), Estimate(7.1, 0.1, "scale")),
        OpeningFinding(edge, ((1.0, 2.0), (3.5, 4.25)), 340, True, *([millimetre] * 6)),
        {"opening-from-optic": VectorEstimate(*([millimetre] * 4)), "optic-from-P1": None,
         "optic-from-P4": None},
        CoverProfile(
            seen, spread, spread, LeastCover(0.14, 0.03, 91.0, 11.97), millimetre, millimetre,
            ((10.0, 20.5),), millimetre, 340, None, 0.5, {"min_mm": millimetre},
        ),
        Estimate(91.0, 1.0, "marks"),
        None,
        OpacificationFinding(
            Estimate(70.0, 3.0), Estimate(1.1, 0.1), (30.0, 30.0, 40.0, 0.0, 0.0), 1.5
        ),
        curves=full_curves(),
        correction=Correction(
            Corrections(opening_px=((1.5, 2.5),), who="R-2", sd_px=1.5), full_curves()
        ),
        budget=CoverBudget(
            (NumberBudget("least_cover_mm", "mm", 0.5, (("tilt", 0.4), ("plane-gap", 0.3))),),
            {"tilt": (0.25,) * 360}, {"tilt": 0.5},
        ),
        reflexes=ImplantReflexes(
            {"P1": MirrorPlace(((1.5, 2.5), None), 0.5, (1.5, 2.5), 0.5, 250.0), "P4": None},
            (Estimate(1.5, 0.5), Estimate(-1.5, 0.5)), (Estimate(2.5, 0.5), Estimate(0.5, 0.5)),
        ),
    )  # fmt: skip


def full_curves() -> FoundCurves:
    """Invented curves with every part filled."""
    ring = EllipsePx(200.5, 150.25, 180.0, 179.0, 12.5)
    names = ("rim_seen", "rim_hidden", "opening_found", "opening_plain", "opening_hidden")
    covariance = tuple(tuple(0.25 * (row == column) for column in range(5)) for row in range(5))
    return FoundCurves(
        (1.0, 0.0), (0.0, -1.0), 1.5,
        FoundRim(ring, covariance), FoundOpening((150.5,) * 360, 0.75),
        {name: tuple(deg % 7 > 2 for deg in range(360)) for name in names},
        ring, 0.5, FoundLimbus(ring, 300.0, 2.0, 200),
        second=FoundSecond((100.5, *(None,) * 359), 1, 0.25, None, counted=False),
    )  # fmt: skip


@pytest.fixture
def finding() -> CoverFinding:
    """An invented finding with every part filled."""
    return full_finding("eye.png", "0" * 64, "left", "visit")


@pytest.fixture
def measure_step() -> Callable[..., CoverFinding]:
    """A step that stands in for the measurement: the same answer for every picture."""

    def measure(raster: Raster, sheet: PictureSheet, *, picture: str, sha256: str) -> CoverFinding:
        return full_finding(picture, sha256, sheet.side, sheet.state)

    return measure
