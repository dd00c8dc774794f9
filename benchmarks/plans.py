"""A whole plan with 10,000 drawn eyes behind each band, on one core."""

import time
from dataclasses import replace

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
    cpu = time.process_time()
    for turn in range(10):
        make_plan(replace(_CASE, code=f"E-{turn}"))
    later = (time.process_time() - cpu) / 10
    return [
        ("plan with 10,000 drawn eyes, first, s", first, "-", None),
        ("plan with 10,000 drawn eyes, later, s of processor", later, "-", None),
    ]
