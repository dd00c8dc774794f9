"""A million eyes audited; the same medians and shares by surgeon in pandas and in polars."""

import math
import resource
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas
import polars

from rimwise.audit.make import audit_of
from rimwise.records.series import Series
from rimwise.stats.order_statistics import quantile_interval

Row = tuple[str, str, str, float | None]
EYES, SURGEONS = 1_000_000, 50


def columns() -> dict[str, np.ndarray]:
    """Return twelve columns of an invented million; two eyes a person, alike to 0.6."""
    rng = np.random.default_rng(20261125)
    person = np.arange(EYES) // 2
    shared = rng.normal(size=EYES // 2)[person]

    def alike(mean: float, sd: float) -> np.ndarray:
        return mean + sd * (np.sqrt(0.6) * shared + np.sqrt(0.4) * rng.normal(size=EYES))

    cover = alike(0.25, 0.2)
    return {
        "person": person,
        "surgeon": rng.integers(0, SURGEONS, EYES),
        "least_cover_mm": cover,
        "complete": (cover > 0.0).astype(float),
        "diameter_mm": alike(5.2, 0.2),
        "target_diameter_mm": np.full(EYES, 5.2),
        "opening_from_optic_nasal_mm": alike(0.05, 0.2),
        "opening_from_optic_superior_mm": alike(0.0, 0.2),
        "predicted_dpt": np.full(EYES, -0.25),
        "achieved_dpt": alike(-0.25, 0.4),
        "acuity_logmar": alike(0.05, 0.1),
        "opacification_score": np.abs(alike(0.3, 0.3)),
    }


def _best(what: Callable[[], object], times: int = 3) -> float:
    return _both(what, times)[0]


def _both(what: Callable[[], object], times: int) -> tuple[float, float, float]:
    """Return the least wall and the least processor time, and what that wall had to wait."""
    walls, spent = [], []
    for _ in range(times):
        wall, processor, waited = time.perf_counter(), time.process_time(), _waited_s()
        what()
        walls.append((time.perf_counter() - wall, _waited_s() - waited))
        spent.append(time.process_time() - processor)
    least_wall, its_wait = min(walls)
    return least_wall, min(spent), its_wait


def _waited_s() -> float:
    """Return for how long this process was ready and had no processor: others had them all."""
    try:
        return int(Path("/proc/self/schedstat").read_text(encoding="ascii").split()[1]) / 1e9
    except (OSError, IndexError, ValueError):
        return math.nan  # not every system tells


def _largest_gb() -> float:
    """Return the largest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours."""
    told = columns()
    numbers = {k: v for k, v in told.items() if k not in {"person", "surgeon"}}
    series = Series(numbers, {}, told["person"])
    loaded_gb = _largest_gb()
    whole_s, whole_processor_s, waited_s = _both(lambda: audit_of(series), 2)
    more_gb = _largest_gb() - loaded_gb
    medians = ("least_cover_mm", "diameter_mm", "achieved_dpt", "acuity_logmar")
    shares = ("complete",)
    ours_s = _best(lambda: _by_surgeon(told, medians, shares))
    frame, table = pandas.DataFrame(told), polars.DataFrame(told)
    pandas_s = _best(
        lambda: (
            frame.groupby("surgeon")[list(medians)].median(),
            frame.groupby("surgeon")[list(shares)].mean(),
        )
    )
    polars_s = _best(
        lambda: table.group_by("surgeon").agg(
            [polars.col(one).median() for one in medians]
            + [polars.col(one).mean() for one in shares]
        )
    )
    value = f"{1e3 * ours_s:.0f} ms"
    name = "medians with intervals, shares, by surgeon, 1e6 eyes"
    return [
        ("audit of 1e6 eyes x 12 columns, all chapters, wall", f"{whole_s:.2f} s", "", None),
        ("the same, processor time", f"{whole_processor_s:.2f} s", "", None),
        ("of that wall, waiting for a processor that others used", f"{waited_s:.2f} s", "", None),
        ("the same, memory beyond the loaded table", f"{more_gb:.2f} GB", "", None),
        (name, value, f"pandas without intervals {1e3 * pandas_s:.0f} ms", pandas_s / ours_s),
        (name, value, f"polars without intervals {1e3 * polars_s:.0f} ms", polars_s / ours_s),
    ]


def _by_surgeon(
    told: dict[str, np.ndarray], medians: tuple[str, ...], shares: tuple[str, ...]
) -> None:
    order = np.argsort(told["surgeon"], kind="stable")
    ends = np.cumsum(np.bincount(told["surgeon"], minlength=SURGEONS))[:-1]
    for name in medians:
        for part in np.split(told[name][order], ends):
            quantile_interval(part)
    for name in shares:
        np.bincount(told["surgeon"], told[name], SURGEONS) / np.bincount(told["surgeon"])
