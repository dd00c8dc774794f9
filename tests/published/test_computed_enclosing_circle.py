"""Smallest enclosing circles against computed values.

Source: tests/data/enclosing_circles.toml, status *computed* by two routes outside this project.
Tolerance: half the last printed digit.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rimwise.geometry.enclosing import smallest_enclosing_circle

DATA = Path(__file__).parents[1] / "data" / "enclosing_circles.toml"
ENTRIES = tomllib.loads(DATA.read_text())


def drawn(count: int) -> list[float]:
    state, numbers = 12345, []
    for _ in range(count):
        state = (1103515245 * state + 12345) % 2**31
        numbers.append(state / 2**31)
    return numbers


def by_rule(name: str) -> np.ndarray:
    if name == "equilateral":
        return np.array([[0.0, 0.0], [1.0, 0.0], [0.5, np.sqrt(3.0) / 2.0]])
    if name == "ellipse36":
        t = np.radians(np.arange(0.0, 360.0, 10.0))
        return np.stack([2.6 * np.cos(t) + 0.1, 2.4 * np.sin(t) - 0.05], axis=-1)
    if name == "lobed72":
        t = np.radians(np.arange(0.0, 360.0, 5.0))
        rho = 2.5 + 0.08 * np.cos(3 * t) + 0.05 * np.sin(2 * t)
        return np.stack([rho * np.cos(t) + 0.12, rho * np.sin(t) - 0.07], axis=-1)
    assert name == "lcg20"
    return np.array(drawn(40)).reshape(-1, 2)


@pytest.mark.parametrize("name", sorted(ENTRIES))
def test_value(name):
    entry = ENTRIES[name]
    points = np.array(entry["pts"], dtype=float) if "pts" in entry else by_rule(name)
    assert smallest_enclosing_circle(points) == pytest.approx(entry["c"], abs=5.1e-11)
