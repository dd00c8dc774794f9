"""The loops of :mod:`rimwise.purkinje.kernel`, compiled and cached on disk.

Importing this module costs about half a second (and a few seconds the first time ever): only
those who solve many frames do.
"""

from collections.abc import Callable
from typing import Any

from numba import njit
from numba.extending import register_jitable

from rimwise.purkinje import kernel

for _function in (
    kernel.biconic_normal,
    kernel.meet,
    kernel.cross,
    kernel.walk,
    kernel.land,
    kernel.miss,
    kernel.slope_by_slope,
    kernel.solve,
    kernel.light,
    kernel.describe,
    kernel.at_stop,
):
    register_jitable(_function)

_compile = njit(cache=True, error_model="numpy", nogil=True)
solve_all: Callable[..., Any] = _compile(kernel.solve_all)
follow: Callable[..., Any] = _compile(kernel.follow)
