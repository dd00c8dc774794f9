"""A whole plan with 10,000 drawn eyes behind each band, its sheet, and a placement, on one core."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from rimwise.casebook.plan_sheets import sheet_wish, write_plan_sheet
from rimwise.place.edge import edge_of_radii
from rimwise.place.today import put_today
from rimwise.plan.contrast import with_contrast
from rimwise.plan.make import make_plan
from rimwise.records.case import CaseLengths, CaseSheet, PlannedImplant
from rimwise.records.picture import CorneaSheet

_CASE = CaseSheet(
    "E-1",
    "right",
    "none",
    age_years=70.0,
    cornea=CorneaSheet(
        radius_flat_mm=7.8, radius_steep_mm=7.6, steep_axis_deg=90.0, thickness_um=545.0
    ),
    lengths=CaseLengths(23.6, 3.15, 4.5),
    implant=PlannedImplant(6.0, 21.0, 1.5, 1.49, {"a_constant": 118.4}),
)


def rows() -> list[tuple[str, float, str, float | None]]:
    """Return the seconds of a plan, of the first (tables read) and of those after it."""
    start = time.perf_counter()
    make_plan(_CASE)
    first = time.perf_counter() - start
    later = _seconds(lambda: make_plan(_CASE), 10)
    plan = make_plan(_CASE)
    told = with_contrast(_CASE, plan)
    contrast = _seconds(lambda: with_contrast(_CASE, plan), 5)
    with tempfile.TemporaryDirectory() as folder:
        read_from, wish = Path(folder) / "case.toml", sheet_wish(Path(folder) / "plan.pdf", "head")
        read_from.write_text("", encoding="utf-8")
        assert wish is not None
        sheet = _seconds(lambda: write_plan_sheet(wish, told, _CASE, read_from, ()), 3)
    around = np.arange(720) * (2.0 * np.pi / 720)
    edge = edge_of_radii(2.5 + 0.06 * np.cos(3.0 * around) + 0.03 * np.sin(5.0 * around), 6.0)
    place = _seconds(lambda: put_today(edge), 20)
    return [
        ("plan with 10,000 drawn eyes, first, s", first, "-", None),
        ("plan with 10,000 drawn eyes, later, s of processor", later, "-", None),
        ("contrast of the four centres, s of processor", contrast, "-", None),
        ("plan sheet as PDF, s of processor", sheet, "-", None),
        ("place on an edge of 720 points, s of processor", place, "-", None),
    ]


def _seconds(work: Callable[[], object], times: int) -> float:
    """Return the processor's time of one, the first left out."""
    work()
    start = time.process_time()
    for _ in range(times):
        work()
    return (time.process_time() - start) / times
